"""A run of the rules over many setups: what fires, stands and is concluded, a column for each.

The same steps in the same order as the engine's run of one setup, and the same names for them.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from advisor.columns.conditions import Conditions, Outcome, Tables, swapped
from advisor.columns.draw import GONE, NOT_STATED, VALUES
from advisor.columns.facts import Column, Facts
from advisor.engine.conditions import facts_of
from advisor.engine.rules import FIRING, STANDING, VALUE
from advisor.engine.values import CONCLUDED, MISSING, NO, UNKNOWN, YES, Value
from advisor.meanings.canonical import Form, value_form
from advisor.meanings.sides import ASKED, OFFENCE, ORDER, SET, SHOWN, Key, Side, Source, shown_by
from advisor.meanings.states import (
    BROKEN,
    COULD,
    NONE,
    STANDS,
    UNPROVEN,
    figure,
    order_on,
    pair_of,
)
from advisor.vocabulary import FactEntry

Flags = npt.NDArray[np.bool_]
States = npt.NDArray[np.int16] | npt.NDArray[np.int32]


class Standing:
    """Which setups a rule stands in, could still, and stands in with its exception unknown."""

    __slots__ = ("opened", "stands", "waits")

    def __init__(self, stands: Flags, waits: Flags, opened: Flags) -> None:
        self.stands = stands
        self.waits = waits
        self.opened = opened


class Concluded:
    """A concluded fact: its column, and where standing rules differ on it."""

    __slots__ = ("column", "tied")

    def __init__(self, column: Column, tied: Flags) -> None:
        self.column = column
        self.tied = tied


class Work:
    """What both sides share on one chunk, by signature."""

    def __init__(self, rows: slice) -> None:
        self.rows = rows
        self.count = rows.stop - rows.start
        self.standing: dict[int, Standing] = {}
        self.concluded: dict[int, Concluded] = {}
        self.nothing: Flags = np.zeros(self.count, np.bool_)


class Figures:
    """Numbers for what texts show of facts: the same on both sides for the same figure."""

    def __init__(self) -> None:
        self.of: dict[Hashable, int] = {}

    def number(self, entry: FactEntry, value: Value) -> int:
        """Return the number of what is shown, from 1."""
        return self.of.setdefault(figure(entry, value), len(self.of) + 1)


class Plan:
    """One side's rules made ready for columns: those that some effects rest on, in order.

    Args:
        side: the rule base.
        facts: its columns.
        keys: the effects.
        claims: for each concluded fact every value that either side's rules set it to.
        figures: of both sides.
    """

    def __init__(
        self,
        side: Side,
        facts: Facts,
        keys: Iterable[Key],
        claims: Mapping[str, Sequence[Value]],
        figures: Figures,
    ) -> None:
        self.side = side
        self.facts = facts
        self.claims = claims
        self.figures = figures
        self._shown: dict[str, npt.NDArray[np.int32]] = {}
        base = side.base
        words = base.vocabulary
        numbers = frozenset(name for name, entry in words.entries.items() if entry.is_number)
        self.tables = Tables(base.table, numbers)
        places, wanted = sources_of(side, keys)
        rules, seen = side.behind(places, wanted)
        domain = {fact for node in base.domain for fact in facts_of(node)}
        self.read = frozenset((seen | wanted | domain) & set(words.entries))
        """Facts whose columns are needed."""
        self.steps: list[tuple[str, int]] = []
        program = base.program
        for kind, name in program.rank:  # an order in which what is needed comes first
            if kind == VALUE:
                if name in seen or name in wanted:
                    self.steps.append((VALUE, base.table.slot[name]))
            elif program.place[name] in rules:
                self.steps.append((kind, program.place[name]))

    def shown(self, name: str, column: Column) -> npt.NDArray[np.int32]:
        """Return the number of what is shown of a fact for each code of its column."""
        found = self._shown.get(name)
        if found is None:
            entry, number = self.side.base.vocabulary[name], self.figures.number
            found = np.array([number(entry, value) for value in column.listed()], np.int32)
            self._shown[name] = found
        return found

    def prepare(self) -> None:
        """Draw and compute the columns that are needed."""
        for name in sorted(self.read):
            if self.side.base.vocabulary[name].origin != CONCLUDED:
                self.facts.column(name)


def sources_of(side: Side, keys: Iterable[Key]) -> tuple[set[int], set[str]]:
    """Return the rules that effects come from, and the facts that they are told by."""
    places: set[int] = set()
    facts: set[str] = set()
    for key in keys:
        parts = pair_of(key) if key.kind == ORDER else (key,)
        for part in parts:
            for source in side.effects.get(part, ()):
                places |= {source.place, source.other} - {-1}
                if source.demand is not None and key.kind == OFFENCE:
                    facts |= {source.demand.fact, *facts_of(source.demand.test)}
        if key.kind == SET and key.topic in side.base.vocabulary:
            facts.add(key.topic)
        if key.kind == SHOWN:
            facts.add(shown_by(key))
    return places, facts


class ColumnRun:
    """A run of one side over one chunk."""

    def __init__(self, plan: Plan, work: Work) -> None:
        self.plan = plan
        self.work = work
        self.side = plan.side
        self._parts: dict[str, Column] = {}
        table = plan.side.base.table
        self._conditions = Conditions(plan.tables, self.column, table.several)
        for kind, place in plan.steps:
            if kind == FIRING:
                self._fire(place)
            elif kind == STANDING:
                self._settle(place)
            else:
                self._conclude(place)

    def column(self, name: str) -> Column:
        """Return the column of a fact in this chunk."""
        found = self._parts.get(name)
        if found is None:
            if self.side.base.vocabulary[name].origin == CONCLUDED:
                held = self.work.concluded.get(self.side.facts[name])
                if held is None:
                    gone = np.full(self.work.count, GONE, np.int32)
                    return Column(gone, ())
                found = held.column
            else:
                found = self.plan.facts.column(name).part(self.work.rows)
            self._parts[name] = found
        return found

    def in_domain(self) -> Flags:
        """Return the setups that break nothing of the declared domain."""
        found = ~self.work.nothing
        for node in self.side.base.domain:
            outcome = self._conditions.judge(node)
            if isinstance(outcome, int):
                if outcome == NO:
                    found[:] = False
            else:
                found &= outcome != NO
        return found

    def _sign(self, place: int) -> int:
        return self.side.standing[place]

    def _fire(self, place: int) -> None:
        sign = self._sign(place)
        if sign in self.work.standing:
            return
        rule = self.side.rule(place)
        when = self._conditions.judge(rule.when)
        if isinstance(when, int) and when == NO:
            nothing = self.work.nothing
            self.work.standing[sign] = Standing(nothing, nothing, nothing)
            return
        unless: Outcome = NO if rule.unless is None else self._conditions.judge(rule.unless)
        fired, undecided = self._is(when, YES), self._is(when, UNKNOWN)
        opened = self.work.nothing
        if not (isinstance(unless, int) and unless == NO):
            excepted = self._is(unless, YES)
            fired, undecided = fired & ~excepted, undecided & ~excepted
            opened = fired & self._is(unless, UNKNOWN)
        self.work.standing[sign] = Standing(fired, undecided, opened)

    def _is(self, outcome: Outcome, what: int) -> Flags:
        if isinstance(outcome, int):
            return np.full(self.work.count, outcome == what, np.bool_)
        found: Flags = outcome == what
        return found

    def _settle(self, place: int) -> None:
        overriders = self.side.base.program.overriders[place]
        sign = self._sign(place)
        if not overriders or -sign - 1 in self.work.standing:
            return
        # A rule's signature is settled once, whichever side gets there first.
        found = self.work.standing[sign]
        stop = self.side.rule(place).stop
        beaten = self.work.nothing
        for other in overriders:
            winner = self.work.standing[self._sign(other)]
            beaten = beaten | (winner.stands & ~winner.opened if stop else winner.stands)
        self.work.standing[sign] = Standing(
            found.stands & ~beaten, found.waits & ~beaten, found.opened & ~beaten
        )
        self.work.standing[-sign - 1] = self.work.standing[sign]

    def _conclude(self, slot: int) -> None:
        base = self.side.base
        name = base.table.names[slot]
        sign = self.side.facts[name]
        if sign in self.work.concluded:
            return
        claims = self.plan.claims.get(name, ())
        forms: list[Form] = [value_form(value) for value in claims]
        codes = np.full(self.work.count, GONE, np.int32)
        tied = self.work.nothing
        waiting = self.work.nothing
        told: dict[int, Flags] = {}
        for place, value in base.program.setters.get(slot, ()):
            standing = self.work.standing[self._sign(place)]
            at = forms.index(value_form(value))
            told[at] = told[at] | standing.stands if at in told else standing.stands
            waiting = waiting | standing.waits
        anyone = self.work.nothing
        for at, stands in told.items():
            tied = tied | (anyone & stands)
            anyone = anyone | stands
            codes[stands] = at + VALUES
        codes[waiting & ~anyone] = NOT_STATED
        codes[tied] = NOT_STATED
        self.work.concluded[sign] = Concluded(Column(codes, claims, MISSING), tied)

    # Effects

    def state(self, key: Key) -> States:
        """Return what becomes of an effect in each setup, numbered alike on both sides."""
        if key.kind == SET:
            return self._value(key.topic)
        if key.kind == ORDER:
            one, other = pair_of(key)
            both = (self.state(one) == STANDS) & (self.state(other) == STANDS)
            order = order_on(self.side, one, other) if both.any() else NONE
            return np.where(both, np.int16(order), np.int16(NONE))
        if key.kind == SHOWN:
            return self._shown(key)
        found = np.zeros(self.work.count, np.int16)
        for source in self.side.effects.get(key, ()):
            of = self._offence if key.kind == OFFENCE else self._standing
            np.maximum(found, of(source), out=found)
        return found

    def _shown(self, key: Key) -> States:
        stands = self.work.nothing
        for source in self.side.effects.get(key, ()):
            stands = stands | self.work.standing[self._sign(source.place)].stands
        name = shown_by(key)
        column = self.column(name)
        numbers = self.plan.shown(name, column)
        found = numbers[0 if column.codes is None else column.codes]
        return np.where(stands, found, np.int32(NONE))

    def _standing(self, source: Source) -> States:
        standing = self.work.standing[self._sign(source.place)]
        found = standing.stands.astype(np.int16) * np.int16(STANDS)
        found += standing.waits * np.int16(COULD)
        if source.other < 0:
            return found
        both: States = np.minimum(found, self._standing(Source(source.other)))
        return both

    def _offence(self, source: Source) -> States:
        demand = source.demand
        assert demand is not None
        judged = self._conditions.judge(demand.test, UNKNOWN)
        met = swapped(judged) if demand.is_negative else judged
        state = self._standing(source)
        bad, unclear = self._is(met, NO), self._is(met, UNKNOWN)
        found = np.zeros(self.work.count, np.int16)
        found[(state == COULD) & (bad | unclear)] = COULD
        found[(state == STANDS) & unclear] = UNPROVEN
        found[(state == STANDS) & bad] = BROKEN
        return found

    def _value(self, name: str) -> States:
        if name not in self.side.base.vocabulary:
            return np.full(self.work.count, GONE, np.int16)
        held = self.work.concluded.get(self.side.facts[name])
        if held is None or held.column.codes is None:
            return np.full(self.work.count, GONE, np.int16)
        found = held.column.codes.astype(np.int16)
        found[held.tied] = -1
        return found


def settled_states(key: Key, states: States) -> States:
    """Return what becomes of an effect if undecided rules conclude nothing any more."""
    if key.kind in (ORDER, SHOWN):
        return states
    unsure, instead = (NOT_STATED, GONE) if key.kind == SET else (COULD, NONE)
    found: States = states.copy()
    found[states == unsure] = instead
    return found


__all__ = ["ASKED", "ColumnRun", "Figures", "Plan", "Work"]
