"""Judging and choosing: from a setup, a rule base and a stock to the builds that matter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from advisor.derive.bound import functions
from advisor.engine.chooser import Chooser
from advisor.engine.columns import Kept
from advisor.engine.conditions import Judge
from advisor.engine.grid import Grid
from advisor.engine.ranking import (
    Wish,
    conflicts,
    nearest,
    rank,
    round9,
    stopped,
    survivors,
)
from advisor.engine.rules import Demand, Rule
from advisor.engine.run import Run
from advisor.engine.values import NO, OPEN, OPTION, UNKNOWN, YES, Missing, Value, has_value
from advisor.options import HEADS, Choice, choice, offered
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Setup, Stock
from advisor.vocabulary import Assumption

STOPPED, REJECTED, JUDGED, ADVISED = "stopped", "rejected", "judged", "advised"
MET, BROKEN, UNPROVEN = "met", "broken", "unproven"

MOST_ALTERNATIVES = 3
_LOOK_AHEAD = 40
"""Groups looked through for alternatives that each lose in a way of their own."""


class Ways(NamedTuple):
    """A rule base made ready to choose: with or without the heads among the options."""

    chooser: Chooser
    demands: tuple[tuple[int, str, int, Judge, int], ...]  # bit, rule, place, test, what meets it
    stops: tuple[tuple[int, str], ...]  # bit, rule
    reads: Mapping[tuple[str, int], frozenset[int]]  # slots of a demand, by rule and place
    demands_on: Mapping[str, list[tuple[int, str, int, Judge, int]]]  # the demands by their fact


def ways(base: RuleBase, *, pairing: bool) -> Ways:
    """Return the compiled choice of a rule base; made once for each kind of choice."""
    held: dict[bool, Ways] = base.__dict__.setdefault("_ways", {})
    found = held.get(pairing)
    if found is None:
        chosen = set(base.vocabulary.of_origin(OPTION))
        if pairing:
            chosen.update(n for n in base.vocabulary.entries if n.startswith(HEADS + "."))
        chooser = Chooser(
            base.program, functions(base.vocabulary), frozenset(chosen), base.named_in_texts
        )
        judges = chooser.split.demand_judges
        rules = list(enumerate(base.program.rules))
        demands = tuple(
            (1 << i, rule.id, d.place, judges[i, d.place], NO if d.is_negative else YES)
            for i, rule in rules
            for d in rule.demands
        )
        stops = tuple((1 << i, rule.id) for i, rule in rules if rule.stop)
        facts = [d.fact for _, rule in rules for d in rule.demands]
        demands_on: dict[str, list[tuple[int, str, int, Judge, int]]] = {}
        for fact, demand in zip(facts, demands, strict=True):
            demands_on.setdefault(fact, []).append(demand)
        split = chooser.split
        names = {i: rule.id for i, rule in rules}
        reads = {(names[i], place): slots for (i, place), slots in split.demand_reads.items()}
        found = held[pairing] = Ways(chooser, demands, stops, reads, demands_on)
    return found


class Judgement:
    """Everything decided about a setup, before it is put into words.

    Args:
        setup: what was stated.
        base: the rules.
        stock: what can be chosen from.
        kept: what was worked out for setups that differ in little, if this is one of several.
        alone: whether to look for the chosen build alone, and for no alternatives.
    """

    def __init__(
        self,
        setup: Setup,
        base: RuleBase,
        stock: Stock,
        kept: Kept | None = None,
        *,
        alone: bool = False,
    ) -> None:
        self.setup = setup
        self.base = base
        self.stock = stock
        self.choice: Choice = choice(setup, base.vocabulary, stock)
        self.ways = ways(base, pairing=self.choice.pairing)
        self.assumed: Mapping[str, Assumption] = self._assumed()
        self._before = self._values()
        self.grid = Grid(self.ways.chooser, self._before.copy(), self.choice.axes, kept)
        self.wishes = self._wishes()
        alive = survivors(self.grid)
        self.survivors = sum(map(len, alive.values()))
        """How many builds hold."""
        self.count = len(self.grid.verdicts)
        groups = self._choose(alive)
        self.others: list[int] = [] if alone else self._find_others(groups)

    def _assumed(self) -> dict[str, Assumption]:
        on_axes = {fact for axis in self.choice.axes for fact in axis.facts}
        return {
            name: assumption
            for name, assumption in self.base.assume.items()
            if name not in self.setup.facts and name not in on_axes
        }

    def _values(self, *, assumed: bool = True) -> list[Value]:
        """Return the values that no choice changes."""
        table = self.base.table
        values = table.blank()
        for name, given in self.setup.facts.items():
            values[table.slot[name]] = given.value
            values[table.stated_slot(name)] = True
        if assumed:
            for name, assumption in self.assumed.items():
                values[table.slot[name]] = assumption.value
        return values

    def _wishes(self) -> tuple[Wish, ...]:
        wishes = []
        for rule_id in self.base.favours:
            favour = self.base.entries[rule_id].rule.favour
            if favour is not None and self.grid.stands_everywhere(rule_id):
                within = self.base.vocabulary[favour.fact].within
                wishes.append(Wish(rule_id, favour.fact, favour.highest, within))
        return tuple(wishes)

    def _choose(self, alive: Mapping[int, Sequence[int]]) -> Iterator[list[int]]:
        """Choose a build, and return the groups of those that come after it."""
        grid = self.grid
        self.conflicts: list[tuple[str, ...]] = []
        self.more_conflicts = False
        if alive:
            self.status = JUDGED if self.count == 1 else ADVISED
            candidates = alive
        else:
            self.status = STOPPED if stopped(grid) else REJECTED
            self.conflicts, self.more_conflicts = conflicts(grid)
            candidates = nearest(grid)
        groups = rank(grid, candidates, self.wishes)
        first = next(groups)
        self.at = first[0]
        self.equals = first[1:]
        return groups

    def _find_others(self, groups: Iterator[list[int]]) -> list[int]:
        found: list[int] = []
        seen: set[object] = set()
        for looked, group in enumerate(groups):
            # One alternative for each way of losing: the same loss told twice helps nobody.
            way = self._way(group[0])
            if way not in seen:
                seen.add(way)
                found.append(group[0])
            if len(found) == MOST_ALTERNATIVES or looked == _LOOK_AHEAD:
                break
        return found

    def _way(self, at: int) -> object:
        """Return what tells one way of losing from another: the shoulds failed and the vane."""
        row = self.grid.combination(at)
        return self.grid.verdicts[at], row[0] if row else 0

    # One build in full

    def values_of(self, at: int) -> list[Value]:
        """Return the values of one combination.

        Of another than the chosen one, computed facts are there if a rule in force or a text
        names them.
        """
        values = self._before.copy()
        table = self.base.table
        for axis, row in zip(self.choice.axes, self.grid.combination(at), strict=True):
            for fact, value in zip(axis.facts, axis.rows[row], strict=True):
                values[table.slot[fact]] = value
                values[table.stated_slot(fact)] = has_value(value)
        self.grid.fill(at, values)
        for wish in self.wishes:
            slot = table.slot[wish.fact]
            values[slot] = self.grid.cells(slot, (at,))[at]
        if at == self.at:
            self.ways.chooser.compute(values, all_of_them=True)
        else:
            self.ways.chooser.compute(values, like=self.run.values)
        return values

    def run_of(self, at: int) -> Run:
        """Run all rules on one combination, with their whole trace."""
        return self.base.program.run(self.values_of(at))

    @cached_property
    def run(self) -> Run:
        """Return the run of the chosen (or nearest) build."""
        return self.run_of(self.at)

    def outcome(self, rule: Rule, demand: Demand, run: Run) -> str:
        """Return whether a standing rule's demand is met, broken or unproven in a run."""
        place = self.base.program.place[rule.id]
        judged = self.ways.chooser.split.demand_judges[place, demand.place](run.values)
        if judged == UNKNOWN:
            return UNPROVEN
        return MET if judged == (NO if demand.is_negative else YES) else BROKEN

    def lacking(self, fact: str, values: list[Value]) -> list[str]:
        """Return the facts without a value that a computed fact waits for."""
        return self.ways.chooser.lacking(fact, values)

    # What else could happen

    @cached_property
    def open_run(self) -> Run:
        """Return a run in which whatever was not stated is open: no option chosen, nothing assumed.

        What is silent or settled in it stays so whatever is chosen and whatever is answered.
        """
        values = self._values(assumed=False)
        table = self.base.table
        for slot, stated in self.base.open_slots:
            if values[slot].__class__ is Missing:
                values[slot] = values[stated] = OPEN
        for name in self.choice.fixed:
            values[table.stated_slot(name)] = True
        self.ways.chooser.compute(values, like=self.run.values)
        for computed in self.ways.chooser.functions:
            slot = table.slot[computed.fact]
            if not has_value(values[slot]):
                values[slot] = OPEN
        return self.base.program.run(values, sure=True)

    def beyond(self, fact: str) -> Value | None:
        """Return the next value past the end at which a chosen one stands, if it breaks nothing.

        None if the value stands at no end, the next is out of range, or it breaks something that
        the chosen value does not.
        """
        entry = self.base.vocabulary[fact]
        chosen = self.run.value(fact)
        if entry.step is None or not has_value(chosen):
            return None
        values = offered(self.choice.axes, fact)
        if not values:
            return None
        for end, step in ((max(values), entry.step), (min(values), -entry.step)):
            if chosen != end:
                continue
            next_one = round9(chosen + step)
            in_range = (
                entry.low is None or entry.high is None or entry.low <= next_one <= entry.high
            )
            if in_range and self._breaks_nothing_new(fact, next_one):
                return next_one
        return None

    def _breaks_nothing_new(self, fact: str, value: Value) -> bool:
        values = self._before.copy()
        table = self.base.table
        for axis, row in zip(self.choice.axes, self.grid.combination(self.at), strict=True):
            for name, x in zip(axis.facts, axis.rows[row], strict=True):
                values[table.slot[name]] = x
                values[table.stated_slot(name)] = has_value(x)
        values[table.slot[fact]] = value
        self.ways.chooser.compute(values, like=self.run.values)
        failures = self.failures(self.base.program.run(values))
        about = {(rule, place) for _, rule, place, _, _ in self.ways.demands_on.get(fact, ())}
        return not failures - self.own_failures and not failures & about

    @cached_property
    def own_failures(self) -> set[tuple[str, int]]:
        """Return what the chosen (or nearest) build fails."""
        return self.failures(self.run)

    def failures(self, run: Run) -> set[tuple[str, int]]:
        """Return the demands a run does not meet, and its stops (place -1)."""
        values, standing = run.values, run.bits.standing
        found = {
            (rule_id, place)
            for bit, rule_id, place, judge, good in self.ways.demands
            if standing & bit and judge(values) != good
        }
        found.update((rule_id, -1) for bit, rule_id in self.ways.stops if standing & bit)
        return found

    def should_ties(
        self, run: Run, failures: Iterable[tuple[str, int]]
    ) -> list[tuple[tuple[Rule, Demand], tuple[Rule, Demand]]]:
        """Return pairs of shoulds of one layer on one chosen option that no candidate can meet.

        Each is met by some candidate; they are an open tie, and the ranking has gone on.

        Args:
            run: of one combination.
            failures: what it fails.
        """
        chosen = {f for axis in self.choice.axes if len(axis.rows) > 1 for f in axis.facts}

        def asks(rule: Rule) -> list[Demand]:
            return [d for d in rule.demands if not d.is_must and d.fact in chosen]

        failed = [(self.base.entries[rule_id].rule, place) for rule_id, place in failures]
        failing = {
            (rule.layer, demand.fact)
            for rule, place in failed
            for demand in asks(rule)
            if demand.place == place
        }
        if not failing:
            return []
        asked: dict[tuple[int, str], list[tuple[Rule, Demand]]] = {}
        for rule in run.standing_rules():
            for demand in asks(rule):
                asked.setdefault((rule.layer, demand.fact), []).append((rule, demand))
        found = []
        for key in sorted(failing):
            sides = asked[key]
            for i, one in enumerate(sides):
                found += [(one, other) for other in sides[i + 1 :] if self._apart(one, other)]
        return found

    def _apart(self, one: tuple[Rule, Demand], other: tuple[Rule, Demand]) -> bool:
        grid = self.grid
        mine = grid.outcomes(one[0].id, one[1])
        theirs = grid.outcomes(other[0].id, other[1])
        mask = mine.mask | theirs.mask
        good_one, good_other = (NO if d.is_negative else YES for _, d in (one, other))
        met_one = [x == good_one for x in grid.spread(mine, mask)]
        met_other = [x == good_other for x in grid.spread(theirs, mask)]
        both = any(a and b for a, b in zip(met_one, met_other, strict=True))
        return any(met_one) and any(met_other) and not both


__all__ = ["Judgement"]
