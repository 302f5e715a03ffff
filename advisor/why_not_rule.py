"""Why a rule does not stand, and the nearest change that would let it."""

from __future__ import annotations

import itertools
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from advisor.decision import FactValue, Number
from advisor.engine.conditions import Any, Node, Not, Test, judge, parts_of
from advisor.engine.rules import Rule
from advisor.engine.run import FIRED, UNDECIDED, Run
from advisor.engine.values import (
    COMPUTED,
    CONCLUDED,
    MISSING,
    NO,
    OPTION,
    YES,
    FactTable,
    Value,
    has_value,
)
from advisor.findings import (
    EXACT,
    OVERRULED,
    SEARCHED,
    SET_ASIDE,
    STANDS,
    Beaten,
    Change,
    Move,
    Shortfall,
    WhyNotRule,
)
from advisor.findings import SILENT as IS_SILENT
from advisor.findings import UNDECIDED as IS_UNDECIDED
from advisor.judge import Judgement
from advisor.needs import Need, Needs, Way, nearest_value, together
from advisor.premises import Origins
from advisor.quantities import round9
from advisor.searching import Found, Scale, Tests, nearest
from advisor.turning import scale_of
from advisor.vocabulary import FLAG, NUMBERS, FactEntry

MOST_CHANGES = 3
_MOST_TRIED = 24
"""Changes applied at most, the nearest first, to see which of them do it."""

_DEEPEST = 6
"""Conclusions that are followed down through rules, one under the other."""


class Shortfalls:
    """Tells what falls short in one run.

    Args:
        judgement: of the setup.
        run: of one of its builds.
    """

    def __init__(self, judgement: Judgement, run: Run) -> None:
        self.judgement = judgement
        self.run = run
        self.vocabulary = judgement.base.vocabulary
        self.words = judgement.base.words
        self.origins = Origins(judgement, run, self.words)
        self.needs = Needs(self.vocabulary, run.value)
        self._choices = itertools.count(1)

    def of(self, node: Node, *, want: bool, absent: int = NO) -> tuple[Shortfall, ...]:
        """Return the tests that keep a condition from coming to yes (or to no, if unwanted)."""
        return tuple(self._of(node, want, absent, 0))

    def _of(self, node: Node, want: bool, absent: int, choice: int) -> Iterator[Shortfall]:
        outcome = judge(node, self.run.program.table, self.run.values, absent).outcome
        if outcome == (YES if want else NO):
            return
        if isinstance(node, Not):
            yield from self._of(node.part, not want, absent, choice)
        elif isinstance(node, Test) or _one_fact(node):
            yield self._told(node, want, choice)
        else:
            alternatives = isinstance(node, Any) == want
            if alternatives and not choice:
                choice = next(self._choices)
            for part in parts_of(node):
                yield from self._of(part, want, absent, choice)

    def _told(self, node: Node, want: bool, choice: int) -> Shortfall:
        test = node if isinstance(node, Test) else _first(node)
        fact = test.fact
        entry = self.vocabulary[fact]
        value = self.run.value(fact)
        said = self.words.condition(node)
        needed: Value | None = None
        for way in self.needs.ways(node, want):
            if fact in way:
                found = nearest_value(way[fact], value, entry)
                nearer = (
                    needed is None
                    or not has_value(needed)
                    or _gap(found, value) < _gap(needed, value)
                )
                # Where two facts are compared, one way holds this one and moves the other.
                if found is not None and found != value and nearer:
                    needed = found
        distance = None
        if entry.kind in NUMBERS and needed is not None and has_value(value) and has_value(needed):
            distance = Number(round9(needed - value), entry.unit)
        shown = self.shown(fact, value)
        told = said if want else f"not: {said}"
        return Shortfall(
            told, fact, shown, self.shown(fact, needed), distance, self.origins.fact(fact), choice
        )

    def shown(self, fact: str, value: Value) -> FactValue | None:
        """Return a value as findings hold it."""
        if value is None or not has_value(value):
            return None
        entry = self.vocabulary[fact]
        return Number(value, entry.unit) if entry.kind in NUMBERS else value


def _gap(one: Value, other: Value) -> float:
    numbers = all(isinstance(x, (int, float)) and not isinstance(x, bool) for x in (one, other))
    return float(abs(one - other)) if numbers else 1e9


def _one_fact(node: Node) -> bool:
    """Tell whether a condition is about one fact, and told in one go."""
    if isinstance(node, Test):
        return True
    if isinstance(node, Not):
        return False
    tests = [part for part in node.parts if isinstance(part, Test)]
    facts = {fact for test in tests for fact in test.facts()}
    return len(tests) == len(node.parts) and len(facts) == 1


def _first(node: Node) -> Test:
    while not isinstance(node, Test):
        node = parts_of(node)[0]
    return node


def why_not_rule(judgement: Judgement, rule_id: str) -> WhyNotRule:
    """Return why a rule does not stand on the chosen (or nearest) build."""
    run = judgement.run
    entry = judgement.base.entries[rule_id]
    rule = entry.rule
    told = Shortfalls(judgement, run)
    words = judgement.base.words
    failing = () if rule.when is None else told.of(rule.when, want=True)
    excepting: tuple[Shortfall, ...] = ()
    if rule.unless is not None and _outcome(rule.unless, run) == YES:
        excepting = told.of(rule.unless, want=False)
    beaten = {**run.set_aside(), **run.overruled()}.get(rule_id, [])
    lacks = run.lacks(rule) if run.status(rule_id) == UNDECIDED else frozenset()
    state = _state(run, rule_id, bool(beaten))
    changes = () if state == STANDS else _Changes(judgement, rule).find()
    return WhyNotRule(
        rule_id,
        entry.says,
        words.text(entry.because, run.value),
        state,
        tuple(words.demand(demand) for demand in rule.demands),
        judgement.base.file_words(entry.file),
        entry.line,
        failing,
        excepting,
        tuple(sorted(lacks)),
        beaten_by(judgement, run, beaten),
        changes,
    )


def beaten_by(judgement: Judgement, run: Run, winners: Sequence[str]) -> tuple[Beaten, ...]:
    """Return what is told of rules that set another aside."""
    words, entries = judgement.base.words, judgement.base.entries
    return tuple(
        Beaten(w, entries[w].says, words.text(entries[w].because, run.value)) for w in winners
    )


def _state(run: Run, rule_id: str, beaten: bool) -> str:
    status = run.status(rule_id)
    if status >= FIRED:
        return SET_ASIDE if beaten else STANDS
    if status == UNDECIDED:
        return OVERRULED if beaten else IS_UNDECIDED
    return IS_SILENT


def _outcome(node: Node, run: Run) -> int:
    return judge(node, run.program.table, run.values).outcome


class _Candidate(NamedTuple):
    """A change not yet applied: values by fact, and the computed fact that must get there."""

    values: Mapping[str, Value]
    computed: tuple[str, Need] | None
    cost: float
    only_stated: frozenset[str] = frozenset()  # facts of which any value would do


class _Changes:
    """Finds the nearest changes that let a rule stand on a build."""

    def __init__(self, judgement: Judgement, rule: Rule) -> None:
        self.judgement = judgement
        self.rule = rule
        self.base = judgement.base
        self.run = judgement.run
        self.vocabulary = judgement.base.vocabulary
        self.needs = Needs(self.vocabulary, self.run.value)
        self.chooser = judgement.ways.chooser

    def find(self) -> tuple[Change, ...]:
        """Return the nearest changes, fewest facts first, each having been applied."""
        candidates = [c for way in self._whole_ways() if (c := self._candidate(way)) is not None]
        candidates.sort(key=lambda c: (len(c.values) + (c.computed is not None), c.cost))
        found: list[Change] = []
        seen: list[frozenset[str]] = []
        for candidate in candidates[:_MOST_TRIED]:
            for values, how in self._worked_out(candidate):
                facts = frozenset(values)
                # What moves more facts than another change does is no nearer.
                if any(known <= facts for known in seen) or not self._stands(values):
                    continue
                seen.append(facts)
                found.append(self._change(values, how, candidate.only_stated))
        found.sort(key=lambda c: (len(c.moves), any(m.option for m in c.moves), _cost_of(c)))
        return tuple(found[:MOST_CHANGES])

    # Ways

    def _whole_ways(self) -> list[Way]:
        """Return the ways in which the rule fires and nothing sets it aside."""
        return self._expanded(self._standing(self.rule), _DEEPEST)

    def _standing(self, rule: Rule) -> list[Way]:
        found = self._firing(rule)
        program = self.base.program
        for place in program.overriders[program.place[rule.id]]:
            winner = program.rules[place]
            if self.run.status(winner.id) >= FIRED:
                found = together(found, self._silent(winner))
        return found

    def _firing(self, rule: Rule) -> list[Way]:
        ways = [{}] if rule.when is None else self.needs.ways(rule.when, want=True)
        if rule.unless is not None and _outcome(rule.unless, self.run) == YES:
            ways = together(ways, self.needs.ways(rule.unless, want=False))
        return ways

    def _silent(self, rule: Rule) -> list[Way]:
        ways = [] if rule.when is None else self.needs.ways(rule.when, want=False)
        return ways + ([] if rule.unless is None else self.needs.ways(rule.unless, want=True))

    def _expanded(self, ways: Sequence[Way], depth: int) -> list[Way]:
        """Follow what is needed of concluded facts down to the rules that conclude them."""
        found: list[Way] = []
        for way in ways:
            concluded = next((f for f in way if self._is_concluded(f)), None)
            if concluded is None:
                found.append(way)
                continue
            rest = {f: need for f, need in way.items() if f != concluded}
            need = way[concluded]
            if self._meets(concluded, need, self.run.value(concluded)):
                found += self._expanded([rest], depth)
            elif depth:
                found += self._expanded(
                    together([rest], self._concluding(concluded, need)), depth - 1
                )
        return found

    def _is_concluded(self, fact: str) -> bool:
        return self.vocabulary[fact].origin == CONCLUDED

    def _concluding(self, fact: str, need: Need) -> list[Way]:
        """Return the ways to a value of a concluded fact that meets a need, or to none."""
        setters = self.base.program.setters.get(self.base.table.slot[fact], ())
        standing = set(self.run.supporters(fact))
        found: list[Way] = []
        for place, claimed in setters:
            rule = self.base.program.rules[place]
            if self._meets(fact, need, claimed):
                ways = self._standing(rule)
                for other in standing - {rule.id}:
                    ways = together(ways, self._silent(self.base.entries[other].rule))
                found += ways
        if need.there is False or (need.allowed is None and need.intervals is None):
            ways = [{}]
            for other in standing:
                ways = together(ways, self._silent(self.base.entries[other].rule))
            found += ways
        return found

    def _meets(self, fact: str, need: Need, value: Value) -> bool:
        if not has_value(value):
            return need.there is False
        near = nearest_value(need, value, self.vocabulary[fact])
        return near is not None and bool(near == value)

    # Candidates

    def _candidate(self, way: Way) -> _Candidate | None:
        """Return the nearest values that go one way; None where there is none."""
        values: dict[str, Value] = {}
        computed: list[tuple[str, Need]] = []
        only_stated = set()
        cost = 0.0
        for fact, need in way.items():
            entry = self.vocabulary[fact]
            value = self.run.value(fact)
            if entry.origin == COMPUTED and fact not in self.judgement.setup.facts:
                if not self._meets(fact, need, value):
                    computed.append((fact, need))
                continue
            near = self._near(fact, need, value, entry)
            if near is None and need.there is True and not has_value(value):
                near = a_value(entry)
                only_stated.add(fact)
            if near is None:
                return None
            if near != value or need.stated is not None:
                if self._is_as_needed(fact, need, near, value):
                    continue
                values[fact] = near
                cost += cost_of(entry, value, near)
        if len(computed) > 1:
            return None
        return _Candidate(values, computed[0] if computed else None, cost, frozenset(only_stated))

    def _is_as_needed(self, fact: str, need: Need, near: Value, value: Value) -> bool:
        flag = self.run.values[self.base.table.stated_slot(fact)]
        return bool(near == value) and (need.stated is None or need.stated is flag)

    def _near(self, fact: str, need: Need, value: Value, entry: FactEntry) -> Value | None:
        if entry.origin == OPTION or fact in self._on_axes:
            offered = [x for x in self._offered(fact) if self._meets(fact, need, x)]
            if self._meets(fact, need, value):
                return value
            return min(offered, key=lambda x: (_gap(x, value), str(x)), default=None)
        if need.stated is True and has_value(value):
            return nearest_value(need._replace(stated=None), value, entry)
        return nearest_value(need, value, entry)

    @property
    def _on_axes(self) -> set[str]:
        return {fact for axis in self.judgement.choice.axes for fact in axis.facts}

    def _offered(self, fact: str) -> list[Value]:
        for axis in self.judgement.choice.axes:
            if fact in axis.facts:
                place = axis.facts.index(fact)
                return [x for row in axis.rows if has_value(x := row[place])]
        return []

    # Working out

    def _worked_out(self, candidate: _Candidate) -> Iterator[tuple[dict[str, Value], str]]:
        """Yield values to apply: a computed fact gets where it must by one more stated fact."""
        if candidate.computed is None:
            yield dict(candidate.values), EXACT
            return
        fact, need = candidate.computed
        if candidate.values and self._meets(fact, need, self._computed(fact, candidate.values)):
            yield dict(candidate.values), EXACT
            return
        for given in self._stated_under(fact):
            if given in candidate.values:
                continue
            found = self._reach(given, fact, need, candidate.values)
            if found is not None:
                yield {**candidate.values, given: found}, SEARCHED

    def _stated_under(self, fact: str) -> list[str]:
        """Return the stated or assumed numbers that a computed fact comes from."""
        found: dict[str, None] = {}
        todo = list(self.chooser.inputs(fact, self.run.values))
        while todo:
            name = todo.pop(0)
            if name in found:
                continue
            entry = self.vocabulary[name]
            if entry.origin == COMPUTED and name not in self.judgement.setup.facts:
                todo += self.chooser.inputs(name, self.run.values)
            elif entry.is_number and entry.origin != OPTION and name not in self._on_axes:
                found[name] = None
        return list(found)

    def _reach(
        self, given: str, fact: str, need: Need, values: Mapping[str, Value]
    ) -> Value | None:
        """Return the nearest value of one stated number with which a computed one is as needed."""
        start = self.run.value(given)
        entry = self.vocabulary[given]
        if not has_value(start):
            return None
        scale: Scale = scale_of(entry)

        def falls_short(x: float) -> bool:
            return not self._meets(fact, need, self._computed(fact, {**values, given: x}))

        marks = sorted({x for interval in need.intervals or () for x in interval})

        def side(x: float) -> tuple[int, ...]:
            value = self._computed(fact, {**values, given: x})
            return (2 * bisect_left(marks, value) + (value in marks) if has_value(value) else -1,)

        tests = Tests(falls_short, falls_short, side if marks else None)
        if not falls_short(float(start)):
            return None
        ends = [nearest(float(start), (), up, scale, tests, computed=True) for up in (False, True)]
        found = [end.value for end in ends if isinstance(end, Found)]
        return min(found, key=lambda x: abs(x - start), default=None)

    def _computed(self, fact: str, values: Mapping[str, Value]) -> Value:
        """Work out one computed fact with some stated ones otherwise, and no more than it takes."""
        known: dict[str, Value] = dict(values)

        def value(name: str) -> Value:
            if name not in known:
                known[name] = self._again(name, value, values)
            return known[name]

        return value(fact)

    def _again(self, name: str, value_of: Value, values: Mapping[str, Value]) -> Value:
        stated = name in self.judgement.setup.facts
        function = None if stated else self.chooser.function(name)
        if function is None or values.keys().isdisjoint(self._roots(name)):
            return self.run.value(name)
        return function.value([value_of(need) for need in function.needs])

    def _roots(self, name: str) -> frozenset[str]:
        """Return every fact that a computed one could come from."""
        held: dict[str, frozenset[str]] = self.base.__dict__.setdefault("_roots_of", {})
        found = held.get(name)
        if found is None:
            function = self.chooser.function(name)
            below = function.needs if function is not None else ()
            found = held[name] = frozenset(below).union(*[self._roots(need) for need in below])
        return found

    # Applying

    def _applied(self, values: Mapping[str, Value]) -> Run:
        """Run the build with some facts otherwise."""
        table = self.base.table
        held = self.judgement.values_of(self.judgement.at)
        for computed in self.chooser.functions:
            if computed.fact not in self.judgement.setup.facts:
                held[table.slot[computed.fact]] = MISSING
        for fact, value in values.items():
            held[table.slot[fact]] = value
            held[table.stated_slot(fact)] = has_value(value)
        self.chooser.compute(held, like=self.run.values)
        return self.base.program.run(_without_conclusions(held, table))

    def _stands(self, values: Mapping[str, Value]) -> bool:
        return self._applied(values).stands(self.rule.id)

    def _change(self, values: Mapping[str, Value], how: str, stated: frozenset[str]) -> Change:
        moves = tuple(
            move_of(self.judgement, fact, self.run.value(fact), value)._replace(
                any_value=fact in stated
            )
            for fact, value in values.items()
        )
        return Change(moves, f"{self.rule.id} stands", how)


def move_of(judgement: Judgement, fact: str, was: Value, value: Value) -> Move:
    """Return what is told of one fact that would be otherwise."""
    entry = judgement.base.vocabulary[fact]
    number = entry.kind in NUMBERS
    both = has_value(was) and has_value(value)
    distance = Number(round9(value - was), entry.unit) if number and both else None

    def shown(x: Value) -> FactValue | None:
        if not has_value(x):
            return None
        return Number(x, entry.unit) if number else x

    on_axes = any(fact in axis.facts for axis in judgement.choice.axes)
    return Move(fact, shown(was), shown(value), distance, entry.origin == OPTION or on_axes)


def a_value(entry: FactEntry) -> Value | None:
    """Return some value of a fact, where any would do."""
    if entry.kind == FLAG:
        return True
    if entry.is_number:
        scale = scale_of(entry)
        middle = (scale.low + scale.high) / 2.0
        return float(round(middle)) if scale.whole else round9(middle)
    choice = next(iter(entry.choices), None)
    return (choice,) if entry.several and choice is not None else choice


def cost_of(entry: FactEntry, value: Value, near: Value) -> float:
    """Return how far a value is from another, in what measuring can be out by; a choice is ten."""
    if not (entry.is_number and has_value(value) and has_value(near)):
        return 10.0
    span = (entry.high or 0.0) - (entry.low or 0.0)
    return float(abs(near - value)) / (entry.tolerance or span / 100.0 or 1.0)


def _cost_of(change: Change) -> float:
    return sum(abs(m.distance.value) if m.distance else 10.0 for m in change.moves)


def _without_conclusions(values: list[Value], table: FactTable) -> list[Value]:
    """Return values as a run takes them: what rules conclude is not there yet."""
    blank = table.blank()
    for slot, origin in enumerate(table.origins):
        if origin == CONCLUDED:
            values[slot] = blank[slot]
    return values


__all__ = ["Shortfalls", "beaten_by", "cost_of", "move_of", "why_not_rule"]
