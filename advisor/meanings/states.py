"""What the engine does on one setup, as effects: for witnesses, and to hold the columns against."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence

from advisor.engine.conditions import Judge, compile_condition
from advisor.engine.run import Run
from advisor.engine.values import CONCLUDED, NO, UNKNOWN, YES, Value, has_value
from advisor.meanings.canonical import value_form
from advisor.meanings.sides import (
    ASKED,
    FAVOUR,
    MUST,
    OFFENCE,
    ORDER,
    SET,
    SHOWN,
    Key,
    Side,
    Sides,
    Source,
    favour_key,
    shown_by,
)
from advisor.meanings.written import vocabulary_of_both
from advisor.quantities import convert, dimension
from advisor.replaying import Replayer
from advisor.vocabulary import CHOICE, QUANTITY, FactEntry

NONE, COULD, STANDS = 0, 1, 2
"""An effect that nothing has, that an undecided rule could have, that a standing one has."""
Kind = tuple[str, Hashable]
"""The fact that demands are about, and what kind of demand they are."""

UNPROVEN, BROKEN = 2, 3
"""The same of an offence that stands; COULD where an undecided rule's demand is not met."""
ABSENT_VALUE, UNKNOWN_VALUE, TIED_VALUE = ("absent",), ("unknown",), ("tied",)
"""A concluded fact that nothing concludes, that an undecided rule could, that rules differ on."""


def carry(value: Value, written: FactEntry, entry: FactEntry) -> Value | None:
    """Return a value as another vocabulary has it, or None if that one cannot take it.

    Args:
        value: in the unit of `written`.
        written: what the vocabulary in which it is written says of the fact.
        entry: what the other one says.
    """
    if written.kind != entry.kind:
        return None
    if written.several != entry.several:
        if written.several and len(value) != 1:
            return None
        value = value[0] if written.several else (value,)
    if entry.kind == CHOICE:
        several = value if isinstance(value, tuple) else (value,)
        return value if all(one in entry.choices for one in several) else None
    if entry.kind == QUANTITY and written.unit != entry.unit:
        if dimension(written.unit) != dimension(entry.unit):
            return None
        value = convert(value, written.unit, entry.unit)
    if entry.is_number and entry.low is not None and entry.high is not None:
        return value if entry.low <= value <= entry.high else None
    return value


def settled(key: Key, state: Hashable) -> Hashable:
    """Return what becomes of an effect if undecided rules conclude nothing any more."""
    if key.kind == SET:
        return ABSENT_VALUE if state == UNKNOWN_VALUE else state
    return NONE if state == COULD and key.kind != ORDER else state


class Carrier:
    """What a setup states, as each of two vocabularies has it.

    A setup is written in the words of both: see `vocabulary_of_both`.
    """

    def __init__(self, sides: Sides) -> None:
        both = vocabulary_of_both(sides.old.base, sides.new.base)
        self.entries: dict[str, FactEntry] = both.entries

    def entry_on(self, name: str, side: Side) -> FactEntry | None:
        """Return what a side's vocabulary says of a fact that a setup can state."""
        entry = side.base.vocabulary.entries.get(name)
        return None if entry is None or entry.origin == CONCLUDED else entry

    def stated(self, facts: Mapping[str, Value], side: Side) -> dict[str, Value] | None:
        """Return statements as a side has them; None if it cannot take one of them."""
        found: dict[str, Value] = {}
        for name, value in facts.items():
            entry = self.entry_on(name, side)
            if entry is None:
                continue
            carried = carry(value, self.entries[name], entry)
            if carried is None:
                return None
            found[name] = carried
        return found


class Engine(Replayer):
    """Runs one rule base on statements, and tells what becomes of effects."""

    def __init__(self, side: Side) -> None:
        super().__init__(side.base)
        self.side = side
        self._judges: dict[int, tuple[object, Judge]] = {}

    def effect(self, key: Key, run: Run) -> Hashable:
        """Return what becomes of an effect in a run."""
        if key.kind == SET:
            return self._value(key.topic, run)
        if key.kind == ORDER:
            return self._order(key, run)
        sources = self.side.effects.get(key, ())
        if key.kind == SHOWN:
            return self._shown(shown_by(key), run) if _stands(sources, run) else NONE
        of: Callable[[Source, Run], int] = self.offence if key.kind == OFFENCE else _standing
        return max((of(source, run) for source in sources), default=NONE)

    def effects(self, keys: Iterable[Key], run: Run) -> dict[Key, Hashable]:
        """Return the same of several."""
        return {key: self.effect(key, run) for key in keys}

    def having(self, key: Key, run: Run) -> list[Source]:
        """Return where an effect comes from in a run, undecided rules last."""
        sources = self.side.effects.get(key, ())
        of: Callable[[Source, Run], int] = self.offence if key.kind == OFFENCE else _standing
        found = [(of(source, run), source) for source in sources]
        best = max((state for state, _ in found), default=NONE)
        if best == NONE:
            return []
        least = COULD if best == COULD else STANDS
        return [source for state, source in found if state >= least]

    def _shown(self, fact: str, run: Run) -> Hashable:
        return figure(self.base.vocabulary[fact], run.value(fact))

    def _value(self, fact: str, run: Run) -> Hashable:
        if fact not in self.base.table.slot:
            return ABSENT_VALUE
        value = run.value(fact)
        if has_value(value):
            return ("value", value_form(value))
        if self.base.table.slot[fact] in run.ties:
            return TIED_VALUE
        return ABSENT_VALUE if repr(value) == "ABSENT" else UNKNOWN_VALUE

    def judge(self, source: Source) -> Judge:
        """Return the closure of a demand's test."""
        demand = source.demand
        held = self._judges.get(id(demand))
        if held is None:
            assert demand is not None
            judge = compile_condition(demand.test, self.base.table, UNKNOWN)
            held = self._judges[id(demand)] = demand, judge
        return held[1]

    def broken(self, kind: Kind, run: Run) -> Hashable:
        """Return how much of what is asked of an option a run breaks."""
        found: list[int] = []
        for key, sources in self.side.effects.items():
            if key.kind == ASKED and kind_of(key) == kind:
                found += [max(self.offence(source, run) for source in sources)]
        return found.count(BROKEN) if kind[1] == MUST else BROKEN in found

    def offence(self, source: Source, run: Run) -> int:
        """Return how the demand of a rule is offended in a run."""
        state = _standing(source, run)
        demand = source.demand
        if state == NONE or demand is None:
            return NONE
        return offence(state, self.judge(source)(run.values), negative=demand.is_negative)

    def _order(self, key: Key, run: Run) -> int:
        one, other = pair_of(key)
        if self.effect(one, run) != STANDS or self.effect(other, run) != STANDS:
            return NONE
        return order_on(self.side, one, other)


def kind_of(key: Key) -> Kind:
    """Return what demand on which fact an effect is: a must, or a should of a layer."""
    more = key.more[0] if key.kind == ASKED and isinstance(key.more, tuple) else key.more
    return key.topic, more


def figure(entry: FactEntry, value: Value) -> Hashable:
    """Return what a text shows of a fact's value: the number with its unit, or that it has none."""
    return ("shown", entry.unit, value_form(value)) if has_value(value) else ("shown",)


def pair_of(key: Key) -> tuple[Key, Key]:
    """Return the two favours whose order an effect is about."""
    assert isinstance(key.more, tuple)
    one, other = key.more
    assert isinstance(one, Key)
    assert isinstance(other, Key)
    return one, other


def order_on(side: Side, one: Key, other: Key) -> int:
    """Return 1 if a side lists one favour before the other, else 2."""
    places: Sequence[Key] = [
        favour_key(side, side.base.entries[name].rule) for name in side.base.favours
    ]
    assert one.kind == other.kind == FAVOUR
    return 1 if places.index(one) < places.index(other) else 2


def offence(state: int, judged: int, *, negative: bool) -> int:
    """Return how a demand is offended whose rule stands, or could, and whose test came to this."""
    if judged == (NO if negative else YES):
        return NONE
    if state == COULD:
        return COULD
    return UNPROVEN if judged == UNKNOWN else BROKEN


def _stands(sources: Iterable[Source], run: Run) -> bool:
    return any(_standing(source, run) == STANDS for source in sources)


def _standing(source: Source, run: Run) -> int:
    bit = 1 << source.place
    state = STANDS if run.bits.standing & bit else COULD if run.bits.waiting & bit else NONE
    if source.other < 0:
        return state
    return min(state, _standing(Source(source.other), run))


__all__ = ["SET", "Carrier", "Engine", "Kind", "carry", "figure", "kind_of", "offence"]
