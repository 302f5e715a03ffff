"""Setups that show a difference: as small as can be, run through both engines, and put in words."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence

from advisor.engine.run import Run
from advisor.engine.values import Value, has_value
from advisor.meanings.matching import shown, tidy
from advisor.meanings.sides import (
    AFTER,
    ASKED,
    CAUTION,
    FAVOUR,
    OFFENCE,
    SET,
    SHOWN,
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
    UNPROVEN,
    Carrier,
    Engine,
    kind_of,
    settled,
)
from advisor.replaying import needed_of
from advisor.rules_compared import RulePlace, Said, Witness
from advisor.vocabulary import QUANTITY, named_in

Stated = Mapping[str, Value]

_Way = Callable[[Sequence[Key], Stated], list[Key]]
"""Tells which of some effects come out differently on a setup."""

FIRM, UNDECIDED = 1, 2
"""How telling a witness is that shows what stands, and one that shows what is undecided. Less than
FIRM is one that breaks what is asked on one side."""

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
        found = self.most_telling(keys, tried)
        return None if found is None else found[1]

    def most_telling(
        self, keys: Sequence[Key], tried: Iterable[Stated]
    ) -> tuple[int, Witness] | None:
        """Return how telling the witness is, from 0 for the most, and the witness."""
        some_setups = list(tried)
        # The most telling first: a demand that is broken, then what stands, then the undecided.
        for level, how in enumerate((self.offended, self._firm, self.differing)):
            for stated in some_setups:
                found = self._small(keys, stated, how)
                if found is not None:
                    return level, found._replace(undecided=level == UNDECIDED)
        return None

    def _firm(self, keys: Sequence[Key], stated: Stated) -> list[Key]:
        return self.differing(keys, stated, firm=True)

    def offended(self, keys: Sequence[Key], stated: Stated) -> list[Key]:
        """Return what differs in what is asked where a setup breaks other demands on each side."""
        asked = [key for key in keys if key.kind == ASKED]
        runs = self.runs(stated) if asked else None
        if runs is None:
            return []
        kinds = {kind_of(key) for key in asked}
        old, new = (
            {kind: engine.broken(kind, run) for kind in kinds}
            for engine, run in zip((self.old, self.new), runs, strict=True)
        )
        apart = [key for key in asked if old[kind_of(key)] != new[kind_of(key)]]
        return self.differing(apart, stated, firm=True)

    def _small(self, keys: Sequence[Key], stated: Stated, how: _Way) -> Witness | None:
        def suffices(some: Stated) -> bool:
            return bool(how(keys, some))

        if not suffices(stated):
            return None
        small = self.plainer(needed_of(stated, suffices), suffices)

        def is_confirmed(some: Stated) -> bool:
            found = how(keys, some)
            return bool(found) and self.is_confirmed(found, some)

        if is_confirmed(small):
            return self._told(how(keys, small), small)
        if is_confirmed(stated):
            # Whole builds for every try: longer, and seldom needed.
            small = needed_of(stated, is_confirmed)
            return self._told(how(keys, small), small)
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


def filled(side: Side, text: str, run: Run) -> str:
    """Return a text with the values it shows; as it is written where one of them is not known."""
    told = tidy(text)
    if not all(has_value(run.value(fact)) for fact in named_in(told)):
        return told
    return side.base.words.text(told, run.value)


def said_of(engine: Engine, key: Key, run: Run) -> list[Said]:
    """Return what one side says of an effect in a run; nothing if it does not have it."""
    side = engine.side
    if key.kind == SET:
        return _value_said(engine, key.topic, run)
    state = engine.effect(key, run)
    if state == NONE:
        return []
    found: dict[str, list[RulePlace]] = {}
    for source in engine.having(key, run):
        told = _source_said(side, key, source, run)
        if state != COULD:
            told += _offended(key, engine, source, run)
        if state == COULD:
            told += " (not decided)"
        found.setdefault(told, []).append(place_of(side, side.rule(source.place).id))
    return [Said(told, tuple(places)) for told, places in found.items()]


def _offended(key: Key, engine: Engine, source: Source, run: Run) -> str:
    """Return how a demand is offended; that an option is not chosen yet is nothing to tell."""
    if source.demand is None:
        return ""
    state = engine.offence(source, run)
    if state == BROKEN:
        return ", which is broken"
    return ", which is unproven" if state == UNPROVEN and key.kind == OFFENCE else ""


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
    if key.kind == SHOWN:
        kind = STEP if key.topic == "steps" else CAUTION
        assert isinstance(key.more, tuple)
        return _source_said(side, Key(kind, key.topic, key.more[:2]), source, run)
    if key.kind == CAUTION:
        for caution in entry.cautions:
            topic = "stops" if caution.level == "stop" else "cautions"
            if Key(CAUTION, topic, (caution.level, side.names.text(caution.text))) == key:
                return f"{caution.level}: {filled(side, caution.text, run)}"
    if key.kind == STEP:
        assert isinstance(key.more, tuple)
        for step in entry.steps:
            if (step.phase, side.names.text(step.text)) == key.more[:2]:
                return f"step of {step.phase}: {filled(side, step.text, run)}"
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
