"""What rechecking makes of the rules for one build: plainly, from what the rules are said to mean.

Everything about a build stands in one dictionary, its world: each fact with its value, and under
`?` and its name whether it was stated. Nothing here is shared with the engine that is checked.
"""

from __future__ import annotations

import graphlib
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from math import isfinite
from operator import itemgetter
from typing import Any, NamedTuple

from advisor.derive import TABLE
from advisor.derive.row import Computed
from advisor.quantities import UNITS, round9
from tests.rederive.facts import Value
from tests.rederive.rules import Base, Condition, Rule, Test, tests_of

NO, UNKNOWN, YES = 0, 1, 2
FIRED, UNDECIDED = "fired", "undecided"
MET, BROKEN, UNPROVEN = "met", "broken", "unproven"

World = dict[str, Value]
Node = tuple[str, str]  # ("firing" | "standing", rule) or ("value", fact)


class Mark:
    """A value that is not there, for a reason that tests look at."""


CLOSED = Mark()
"""A concluded fact that no rule can conclude any more."""
OPEN = Mark()
"""A fact that somebody could still state: nothing at all is sure of it."""


def has(value: Value) -> bool:
    """Tell whether there is a value."""
    return value is not None and not isinstance(value, Mark)


class Answer(NamedTuple):
    """Yes, no or unknown; and, for unknown, the facts that are lacking."""

    truth: int
    lacks: frozenset[str] = frozenset()


_SETTLED = {NO: Answer(NO), YES: Answer(YES)}


def judge(node: Condition | None, world: World, closed: int = NO) -> Answer:
    """Judge a condition; none at all holds.

    `closed` is what a test comes to on a concluded fact that has no value and will get none: no in
    a rule's conditions, unknown in what it asks.
    """
    if node is None:
        return _SETTLED[YES]
    if isinstance(node, Test):
        return _judge_test(node, world, closed)
    answers = [judge(part, world, closed) for part in node.parts]
    truths = [answer.truth for answer in answers]
    if node.word == "not":
        return Answer(2 - truths[0], answers[0].lacks)
    truth = max(truths) if node.word == "any" else min(truths)
    if truth != UNKNOWN:
        return _SETTLED[truth]
    return Answer(UNKNOWN, frozenset().union(*(a.lacks for a in answers if a.truth == UNKNOWN)))


def _judge_test(test: Test, world: World, closed: int) -> Answer:
    if test.op in ("known", "stated"):
        looked_at = world[test.fact if test.op == "known" else f"?{test.fact}"]
        if looked_at is OPEN:
            return Answer(UNKNOWN, frozenset((test.fact,)))
        holds = has(looked_at) if test.op == "known" else looked_at
        return _SETTLED[YES if holds is test.value else NO]
    missing = [side for side in test.facts if not has(world[side])]
    if closed == NO and any(world[side] is CLOSED for side in missing):
        return _SETTLED[NO]
    if missing:
        return Answer(UNKNOWN, frozenset(missing))
    right = world[test.other] if test.other else test.value
    return _SETTLED[YES if _compare(test.op, world[test.fact], right) else NO]


def _compare(op: str, left: Value, right: Value) -> bool:
    if op == "is":
        lefts = left if isinstance(left, tuple) else (left,)
        rights = right if isinstance(right, tuple) else (right,)
        return any(one == other for one in lefts for other in rights)
    if op in ("at_least", "at_most"):
        return bool(left >= right if op == "at_least" else left <= right)
    return bool(left > right if op == "above" else left < right)


def same(one: Value, other: Value) -> bool:
    """Tell whether two rules set the same: several values are compared as sets."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        return set(one) == set(other)
    return bool(one == other)


def _truth(test: Condition, world: World) -> int:
    return judge(test, world, UNKNOWN).truth


class EndlessError(ArithmeticError):
    """A function's number has no end."""


class Told(NamedTuple):
    """What a rule's conditions come to."""

    state: str  # fired, undecided, or empty for silent
    when: Answer
    unless: Answer
    opened: bool  # it fired while its exception is unknown


@dataclass
class Run:
    """The rules' outcome for one world. Rules are named by their ids."""

    world: World
    told: dict[str, Told] = field(default_factory=dict)  # of rules that are not silent
    standing: set[str] = field(default_factory=set)
    live: set[str] = field(default_factory=set)  # undecided, and nothing overrides them
    ties: set[str] = field(default_factory=set)  # concluded facts

    def copy(self, world: World) -> Run:
        """Return the same outcome for another world, to go on with."""
        return Run(world, dict(self.told), set(self.standing), set(self.live), set(self.ties))


class Runner:
    """Runs the rules of one rule base, and remembers what each condition came to."""

    def __init__(self, base: Base) -> None:
        self.base = base
        self.overriders: dict[str, list[str]] = {name: [] for name in base.rules}
        self.setters: dict[str, list[tuple[str, Value]]] = {}
        for name in sorted(base.rules):
            rule = base.rules[name]
            for loser in rule.overrides:
                if loser in self.overriders:
                    self.overriders[loser].append(name)
            for fact, value in rule.sets:
                self.setters.setdefault(fact, []).append((name, value))
        self.order = self._in_order()
        self.rows = {
            row.fact: row
            for row in TABLE
            if all(name in base.facts for name in (row.fact, *row.needs))
        }
        self._fires = {name: self._remembering(rule) for name, rule in base.rules.items()}
        self._meets = {
            (name, demand.place): _remembered([demand.test], partial(_truth, demand.test))
            for name, rule in base.rules.items()
            for demand in rule.demands
        }
        self._computes = {fact: self._computing(row) for fact, row in self.rows.items()}

    def _in_order(self) -> list[Node]:
        """Put firings, values and standings after what they wait for; ValueError for a circle."""
        waits: dict[Node, set[Node]] = {}
        for name, rule in self.base.rules.items():
            waits["firing", name] = {("value", fact) for fact in rule.reads}
            waits["standing", name] = {("firing", name)}
            for winner in self.overriders[name]:
                waits["standing", name] |= {("firing", winner), ("standing", winner)}
        for fact, claims in self.setters.items():
            waits["value", fact] = {("standing", name) for name, _ in claims}
        order = graphlib.TopologicalSorter(waits).static_order()
        return [node for node in order if node[0] != "value" or node[1] in self.setters]

    def _remembering(self, rule: Rule) -> Callable[[World], Told]:
        def tell(world: World) -> Told:
            when = judge(rule.when, world)
            unless = _SETTLED[NO] if rule.unless is None else judge(rule.unless, world)
            if when.truth == NO or unless.truth == YES:
                return Told("", when, unless, opened=False)
            fired = when.truth == YES
            opened = fired and unless.truth == UNKNOWN
            return Told(FIRED if fired else UNDECIDED, when, unless, opened)

        return _remembered([n for n in (rule.when, rule.unless) if n is not None], tell)

    # Computed facts

    def _computing(self, row: Computed) -> Callable[[World], Value]:
        pick = _picking(row.needs)
        held: dict[Any, Value] = {}

        def value(world: World) -> Value:
            key = pick(world)
            if key not in held:
                held[key] = self._compute(row, world)
            return held[key]

        return value

    def _compute(self, row: Computed, world: World) -> Value:
        if any(not has(world[need]) for need in self.asked(row.fact, world)):
            return None
        if any(world[need] is OPEN for need in row.optional):
            return OPEN
        try:
            return self.call(row.fact, world)
        except (ValueError, ArithmeticError):
            return None

    def call(self, fact: str, world: World) -> Value:
        """Call a fact's function; ValueError or ArithmeticError where it has no answer."""
        row = self.rows[fact]
        result = row.call(*(self._in_si(need, world[need]) for need in row.needs))
        result *= 1.0 / self._factor(fact)
        found = int(result) if self.base.facts[fact].kind == "count" else round9(result)
        if not isfinite(found):
            raise EndlessError
        return found

    def work_out(self, fact: str, world: World) -> Value:
        """Return what a fact's function comes to, whatever is stated of it."""
        return self._computes[fact](world)

    def _factor(self, fact: str) -> float:
        declared = self.base.facts[fact]
        return UNITS[declared.unit][1] if declared.kind == "quantity" else 1

    def _in_si(self, fact: str, value: Value) -> Value:
        return value * self._factor(fact) if has(value) else None

    def asked(self, fact: str, world: World) -> list[str]:
        """Return the facts that a computed one asks for with this kind of head."""
        row = self.rows[fact]
        needs = [need for need in row.needs if need not in row.optional]
        cases = row.cases or {}
        if not row.by or not has(world[row.by]):
            return needs
        special = {name for asked in cases.values() for name in asked}
        here = cases.get(world[row.by], ())
        return [need for need in needs if need not in special or need in here]

    def inputs(self, fact: str, world: World) -> list[str]:
        """Return the same, less the lengths of parts that have no mass."""
        idle = self.rows[fact].idle or {}
        return [n for n in self.asked(fact, world) if n not in idle or world[idle[n]] != 0]

    def lacking(self, fact: str, world: World) -> list[str]:
        """Return what a computed fact asks for and does not have."""
        if fact not in self.rows:
            return []
        return [need for need in self.asked(fact, world) if not has(world[need])]

    def compute(self, world: World, facts: Collection[str] | None = None) -> None:
        """Fill in the computed facts, or some of them, that have no value yet."""
        for fact, value in self._computes.items():
            if (facts is None or fact in facts) and not has(world[fact]):
                world[fact] = value(world)

    def closure(self, facts: Iterable[str]) -> set[str]:
        """Return the computed facts among some facts, and those they come from."""
        wanted = set(facts)
        for fact in reversed(list(self.rows)):
            if fact in wanted:
                wanted.update(self.rows[fact].needs)
        return wanted & self.rows.keys()

    # Running

    def run(
        self,
        world: World,
        *,
        sure: bool = False,
        after: Run | None = None,
        nodes: Iterable[Node] | None = None,
    ) -> Run:
        """Run the rules on a world, writing what they conclude into it.

        Args:
            world: with every value but those that rules conclude.
            sure: whether only what holds whatever becomes of OPEN facts counts.
            after: the outcome of all that `nodes` leaves out.
            nodes: what to settle, in order; everything if not told.
        """
        run = Run(world) if after is None else after.copy(world)
        for what, name in self.order if nodes is None else nodes:
            if what == "firing":
                told = self._fires[name](world)
                if told.state:
                    if sure and told.opened:
                        told = Told(UNDECIDED, told.when, told.unless, opened=False)
                    run.told[name] = told
            elif what == "standing":
                if name in run.told:
                    self._stand(run, name, sure)
            else:
                self._conclude(run, name, sure)
        return run

    def beats(self, run: Run, winner: str, loser: str) -> bool:
        """Tell whether a rule sets another aside; a stop yields to no rule of open exception."""
        guarded = self.base.rules[loser].stop and run.told.get(winner, _SILENT).opened
        return winner in run.standing and not guarded

    def _stand(self, run: Run, name: str, sure: bool) -> None:
        winners = self.overriders[name]
        if any(self.beats(run, winner, name) for winner in winners):
            return
        doubted = sure and any(winner in run.live for winner in winners)
        stands = run.told[name].state == FIRED and not doubted
        (run.standing if stands else run.live).add(name)

    def _conclude(self, run: Run, fact: str, sure: bool) -> None:
        claims = self.setters[fact]
        told = [value for name, value in claims if name in run.standing]
        waiting = any(name in run.live for name, _ in claims)
        if sure and waiting:
            run.world[fact] = OPEN
        elif any(not same(told[0], value) for value in told):
            run.world[fact] = None
            run.ties.add(fact)
        elif told:
            run.world[fact] = told[-1]
        else:
            run.world[fact] = None if waiting else CLOSED

    def meets(self, rule: str, place: int, is_negative: bool, world: World) -> str:
        """Say whether a demand is met, broken or unproven in a world."""
        truth = self._meets[rule, place](world)
        if truth == UNKNOWN:
            return UNPROVEN
        return MET if truth == (NO if is_negative else YES) else BROKEN

    def failures(self, run: Run, rules: Iterable[str]) -> set[tuple[str, int]]:
        """Return the demands that are not met, by rule and place, and the stops, place -1."""
        found = set()
        for name in rules:
            if name in run.standing:
                rule = self.base.rules[name]
                if rule.stop:
                    found.add((name, -1))
                for demand in rule.demands:
                    if self.meets(name, demand.place, demand.is_negative, run.world) != MET:
                        found.add((name, demand.place))
        return found

    # What is lacking

    def lacks(self, run: Run, name: str) -> frozenset[str]:
        """Return the facts that leave a rule's condition unknown."""
        return run.told[name].when.lacks

    def roots(self, run: Run, facts: Iterable[str]) -> frozenset[str]:
        """Follow facts without a value down to those that somebody can state."""
        found: set[str] = set()
        todo, seen = list(facts), set()
        while todo:
            fact = todo.pop()
            if fact in seen or has(run.world[fact]):
                continue
            seen.add(fact)
            deeper = self.behind(run, fact)
            todo += deeper
            if not deeper:
                found.add(fact)
        return frozenset(found)

    def behind(self, run: Run, fact: str) -> list[str]:
        """Return what a fact without a value waits for."""
        if self.base.facts[fact].origin != "concluded":
            return self.lacking(fact, run.world)
        if fact in run.ties:
            return []
        waiting = [name for name, _ in self.setters.get(fact, ()) if name in run.live]
        return [lack for name in waiting for lack in self.lacks(run, name)]

    # What cannot differ between builds

    def varying(self, facts: Iterable[str], given: Mapping[str, Any]) -> list[Node]:
        """Return what is to be settled anew, in order, where `facts` differ."""
        differing = set(facts)
        for fact, row in self.rows.items():
            if fact not in given and not differing.isdisjoint(row.needs):
                differing.add(fact)
        nodes: dict[Node, None] = {}
        for what, name in self.order:
            if what == "firing":
                differs = not differing.isdisjoint(self.base.rules[name].reads)
            elif what == "standing":
                before = [("firing", name), *(("standing", w) for w in self.overriders[name])]
                differs = any(node in nodes for node in before)
            else:
                differs = any(("standing", w) in nodes for w, _ in self.setters.get(name, ()))
                if differs:
                    differing.add(name)
            if differs:
                nodes[what, name] = None
        return list(nodes)


_SILENT = Told("", _SETTLED[NO], _SETTLED[NO], opened=False)


def _remembered(nodes: Iterable[Condition], tell: Callable[[World], Any]) -> Callable[[World], Any]:
    """Return a function of the world that is worked out once for each set of values it reads."""
    tests = [test for node in nodes for test in tests_of(node)]
    keys = [f"?{t.fact}" if t.op == "stated" else t.fact for t in tests]
    keys += [test.other for test in tests if test.other]
    pick = _picking(tuple(dict.fromkeys(keys)))
    held: dict[Any, Any] = {}

    def remembered(world: World) -> Any:
        key = pick(world)
        found = held.get(key)
        if found is None:
            found = held[key] = tell(world)
        return found

    return remembered


def _picking(keys: tuple[str, ...]) -> Callable[[World], Any]:
    return itemgetter(*keys) if keys else lambda _: ()
