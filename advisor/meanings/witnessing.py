"""Setups that show a difference: as small as can be, run through both engines, and put in words."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence

from advisor.engine.run import Run
from advisor.engine.values import Value
from advisor.meanings.matching import shown, tidy
from advisor.meanings.sides import (
    AFTER,
    ASKED,
    CAUTION,
    FAVOUR,
    OFFENCE,
    ORDER,
    SET,
    STEP,
    Key,
    Side,
    Sides,
    Source,
)
from advisor.meanings.states import (
    ABSENT_VALUE,
    BROKEN,
    COULD,
    NONE,
    TIED_VALUE,
    UNKNOWN_VALUE,
    Carrier,
    Engine,
    pair_of,
    settled,
)
from advisor.replaying import needed_of
from advisor.rules_compared import RulePlace, Said, Witness
from advisor.vocabulary import QUANTITY

Stated = Mapping[str, Value]

_DIGITS = 9


class Replay:
    """Runs both engines on setups.

    A setup states facts as the new vocabulary has them, or the old one where that alone has them.
    """

    def __init__(self, sides: Sides) -> None:
        self.sides = sides
        self.carrier = Carrier(sides)
        self.old = Engine(sides.old)
        self.new = Engine(sides.new)

    def runs(self, stated: Stated) -> tuple[Run, Run] | None:
        """Return both runs on what is stated; None if it is no setup of both."""
        found = []
        for engine in (self.old, self.new):
            carried = self.carrier.stated(stated, engine.side)
            if carried is None:
                return None
            run = engine.run(carried)
            if not engine.in_domain(run):
                return None
            found.append(run)
        return found[0], found[1]

    def differing(self, keys: Iterable[Key], stated: Stated, *, firm: bool = False) -> list[Key]:
        """Return those of some effects that come out differently on a setup.

        Args:
            keys: the effects.
            stated: the setup.
            firm: whether undecided rules are taken to conclude nothing.
        """
        runs = self.runs(stated)
        if runs is None:
            return []
        if firm:
            return [
                key
                for key in keys
                if settled(key, self.old.effect(key, runs[0]))
                != settled(key, self.new.effect(key, runs[1]))
            ]
        return [
            key for key in keys if self.old.effect(key, runs[0]) != self.new.effect(key, runs[1])
        ]

    def is_confirmed(self, keys: Sequence[Key], stated: Stated) -> bool:
        """Tell whether the difference is there, too, where builds are chosen as for advice.

        Effects that need no build must come out as they did without one.
        """
        runs = self.runs(stated)
        if runs is None:
            return False
        for engine, run in zip((self.old, self.new), runs, strict=True):
            carried = self.carrier.stated(stated, engine.side)
            assert carried is not None
            whole = engine.judged(carried).run
            if engine.effects(keys, run) != engine.effects(keys, whole):
                return False
        return True

    def witness(self, keys: Sequence[Key], tried: Iterable[Stated]) -> Witness | None:
        """Return a witness made of the first setup on which some effect differs; None without one.

        Facts are left out as long as some effect still differs, and numbers made plain.
        """
        some_setups = list(tried)
        for firm in (True, False):
            for stated in some_setups:
                found = self._small(keys, stated, firm=firm)
                if found is not None:
                    return found
        return None

    def _small(self, keys: Sequence[Key], stated: Stated, *, firm: bool) -> Witness | None:
        def suffices(some: Stated) -> bool:
            return bool(self.differing(keys, some, firm=firm))

        if not suffices(stated):
            return None
        small = self.plainer(needed_of(stated, suffices), suffices)
        for one in (small, dict(stated)):
            found = self.differing(keys, one, firm=firm)
            if found and self.is_confirmed(found, one):
                return self._told(found, one)
        return None

    def plainer(self, stated: Stated, suffices: Callable[[Stated], bool]) -> dict[str, Value]:
        """Return statements with numbers of fewer digits, as long as that suffices."""
        found = dict(stated)
        for name, value in stated.items():
            if self.carrier.entries[name].kind != QUANTITY:
                continue
            for digits in range(1, _DIGITS):
                short = float(f"{value:.{digits}g}")
                if short == value or suffices({**found, name: short}):
                    found[name] = short
                    break
        return found

    def _told(self, keys: Sequence[Key], stated: Stated) -> Witness:
        runs = self.runs(stated)
        assert runs is not None
        old, new = (
            tuple(dict.fromkeys(one for key in keys for one in said_of(engine, key, run)))
            for engine, run in zip((self.old, self.new), runs, strict=True)
        )
        return Witness(self.shown(stated), old, new)

    def shown(self, stated: Stated) -> dict[str, Value]:
        """Return statements as a noun holds them, in the order of the vocabulary."""
        new, old = self.sides.new.base.vocabulary, self.sides.old.base.vocabulary
        order = dict.fromkeys((*new.entries, *old.entries))
        return {
            name: shown(name, stated[name], new if name in new else old)
            for name in order
            if name in stated
        }


def place_of(side: Side, rule_id: str) -> RulePlace:
    """Return where a rule stands."""
    entry = side.base.entries[rule_id]
    return RulePlace(rule_id, side.base.file_words(entry.file), entry.line)


def said_of(engine: Engine, key: Key, run: Run) -> list[Said]:
    """Return what one side says of an effect in a run; nothing if it does not have it."""
    side = engine.side
    if key.kind == ORDER:
        one, other = pair_of(key)
        order = engine.effect(key, run)
        if order == NONE:
            return []
        first = one if order == 1 else other
        assert isinstance(first.more, tuple)
        most = "highest" if first.more[0] else "lowest"
        return [Said(f"the {most} {first.topic} decides first")]
    if key.kind == SET:
        return _value_said(engine, key.topic, run)
    state = engine.effect(key, run)
    if state == NONE:
        return []
    found: dict[str, list[RulePlace]] = {}
    for source in engine.having(key, run):
        told = _source_said(side, key, source, run)
        if key.kind == OFFENCE and state != COULD:
            told += ", which is broken" if state == BROKEN else ", which is unproven"
        if state == COULD:
            told += " (not decided)"
        found.setdefault(told, []).append(place_of(side, side.rule(source.place).id))
    return [Said(told, tuple(places)) for told, places in found.items()]


def _value_said(engine: Engine, fact: str, run: Run) -> list[Said]:
    side = engine.side
    if fact not in side.base.vocabulary:
        return []
    state: Hashable = engine.effect(Key(SET, fact), run)
    slot = side.base.table.slot[fact]
    setters = [side.rule(i).id for i, _ in side.base.program.setters.get(slot, ())]
    if state == ABSENT_VALUE:
        return [Said(f"{fact} is not concluded")]
    if state == UNKNOWN_VALUE:
        waiting = tuple(place_of(side, rule.id) for rule in run.open_rules() if rule.id in setters)
        return [Said(f"{fact} is not decided", waiting)]
    if state == TIED_VALUE:
        rules = tuple(place_of(side, rule_id) for rule_id in run.tied()[fact])
        return [Said(f"{fact} is tied", rules)]
    told = side.base.words.value(fact, run.value(fact))
    return [Said(f"{fact} is {told}", tuple(place_of(side, i) for i in run.supporters(fact)))]


def _source_said(side: Side, key: Key, source: Source, run: Run) -> str:
    base = side.base
    rule = side.rule(source.place)
    entry = base.entries[rule.id]
    if key.kind == CAUTION:
        for caution in entry.cautions:
            topic = "stops" if caution.level == "stop" else "cautions"
            if Key(CAUTION, topic, (caution.level, side.names.text(caution.text))) == key:
                return f"{caution.level}: {base.words.text(tidy(caution.text), run.value)}"
    if key.kind == STEP:
        assert isinstance(key.more, tuple)
        for step in entry.steps:
            if (step.phase, side.names.text(step.text)) == key.more[:2]:
                return f"step of {step.phase}: {base.words.text(tidy(step.text), run.value)}"
    if key.kind == AFTER:
        assert isinstance(key.more, tuple)
        (phase, first), (_, then) = key.more
        return f"step of {phase}: `{first}` before `{then}`"
    if key.kind == FAVOUR and rule.favour is not None:
        return f"favours the {'highest' if rule.favour.highest else 'lowest'} {rule.favour.fact}"
    assert key.kind in (ASKED, OFFENCE)
    assert source.demand is not None
    strength = "must" if source.demand.is_must else "should"
    return f"{strength}: {base.words.demand(source.demand)}"
