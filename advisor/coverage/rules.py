"""What the cases beside a rule base exercise of its rules, and what they leave out.

Asked for are, of each rule of the top layer: that it fired, stayed silent and stayed undecided in
some case, as far as it can; that each test of its condition and of its exception was once the only
one failing, and each alternative once the only one holding; that each number it compares a fact
with was met closely from both sides; that its exception held; and that it set aside what it
overrides. What counts is what the rules made of the case, whether or not the case expects it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from advisor.case_findings import (
    BOUND,
    COVERED,
    EXCEPTION,
    FAILING,
    HOLDING,
    OVERRIDE,
    STATE,
    Coverage,
    Gate,
    Item,
    RuleCovered,
    Tally,
)
from advisor.cases import Case
from advisor.coverage.exercised import Exercise, name_of, own_cases, own_rules
from advisor.coverage.terms import Term, fails_alone, holds_alone, notch, terms_of
from advisor.derive import NEEDS
from advisor.engine.conditions import Judged, Node, Test, compile_condition, judge, tests_of
from advisor.engine.rules import Rule
from advisor.engine.run import FIRED, SILENT, UNDECIDED
from advisor.engine.values import CONCLUDED, GIVEN, YES, FactTable, Value, has_value
from advisor.quantities import round9
from advisor.rulebase.model import RuleBase, RuleEntry
from advisor.vocabulary import Vocabulary
from advisor.words import Words

BOUNDS = ("at_least", "at_most", "above", "below")


def coverage(base: RuleBase, cases: Sequence[Case] | None = None) -> Coverage:
    """Return what cases exercise of a rule base's top layer.

    Args:
        base: the rules.
        cases: to run; those of the top layer if None.

    Raises:
        Faults: about "rules", if a case file is refused.
    """
    held = own_cases(base) if cases is None else cases
    gatherer = _Gatherer(base)
    for case in held:
        gatherer.add(Exercise(case, base))
    rules = gatherer.rules()
    items = [item for rule in rules for item in rule.items]
    return Coverage(
        name_of(base),
        len(held),
        _tally(items),
        {kind: _tally([item for item in items if item.kind == kind]) for kind in COVERED},
        rules,
    )


def gate(found: Coverage, least: float) -> Gate:
    """Return whether coverage reaches a threshold, and what is missing.

    Args:
        found: the coverage.
        least: in percent; reached exactly it passes.
    """
    percent = found.total.percent
    missing = tuple(f"{item.rule}: {item.what}" for item in found.missing)
    return Gate(least, percent, percent >= least, missing)


def _tally(items: Sequence[Item]) -> Tally:
    return Tally(len(items), sum(bool(item.case) for item in items))


class _Seen:
    """One rule in one case."""

    def __init__(self, rule: Rule, exercise: Exercise) -> None:
        self.rule = rule
        self.judgement = exercise.judgement
        self.run = self.judgement.run
        self.table: FactTable = exercise.base.table
        self.status = self.run.status(rule.id)
        self._judged: dict[int, Judged] = {}

    def judged(self, node: Node) -> Judged:
        """Return a whole condition judged, once."""
        found = self._judged.get(id(node))
        if found is None:
            found = self._judged[id(node)] = judge(node, self.table, self.run.values)
        return found

    def offered(self, fact: str) -> Sequence[Value]:
        """Return the values that the builds of the case have of a fact."""
        return self.judgement.grid.column(self.table.slot[fact]).cells


class _Asked(NamedTuple):
    """An item and what tells whether a case shows it."""

    kind: str
    what: str
    seen: Callable[[_Seen], bool]


class _Gatherer:
    """Gathers what cases show of the rules.

    Args:
        base: whose top layer's rules are looked at.
    """

    def __init__(self, base: RuleBase) -> None:
        self.base = base
        self.entries = own_rules(base)
        asking = _Asking(base)
        self.asked = {entry.id: list(asking.of(entry.rule)) for entry in self.entries}
        self.shown: dict[str, dict[int, str]] = {entry.id: {} for entry in self.entries}
        self.counts: dict[str, list[int]] = {entry.id: [0, 0, 0] for entry in self.entries}

    def add(self, exercise: Exercise) -> None:
        """Look at one case."""
        for entry in self.entries:
            seen = _Seen(entry.rule, exercise)
            self.counts[entry.id][min(seen.status, FIRED)] += 1
            shown = self.shown[entry.id]
            for i, asked in enumerate(self.asked[entry.id]):
                if i not in shown and asked.seen(seen):
                    shown[i] = exercise.case.name

    def rules(self) -> tuple[RuleCovered, ...]:
        """Return what was seen of each rule."""
        return tuple(map(self._rule, self.entries))

    def _rule(self, entry: RuleEntry) -> RuleCovered:
        shown, counts = self.shown[entry.id], self.counts[entry.id]
        items = tuple(
            Item(entry.id, asked.kind, asked.what, shown.get(i, ""))
            for i, asked in enumerate(self.asked[entry.id])
        )
        return RuleCovered(
            entry.id,
            self.base.file_words(entry.file),
            entry.line,
            counts[FIRED],
            counts[SILENT],
            counts[UNDECIDED],
            items,
        )


class _Asking:
    """Tells what is asked for of a rule."""

    def __init__(self, base: RuleBase) -> None:
        self.vocabulary: Vocabulary = base.vocabulary
        self.table = base.table
        self.words: Words = base.words
        self.ids = frozenset(base.entries)
        self.unclear = unclear_facts(base)

    def of(self, rule: Rule) -> Iterator[_Asked]:
        """Yield what is asked for of a rule, in the order in which it is told."""
        yield _Asked(STATE, "fires", lambda seen: seen.status >= FIRED)
        if rule.when is not None or rule.unless is not None:
            yield _Asked(STATE, "stays silent", lambda seen: seen.status == SILENT)
        if self._can_be_undecided(rule.when):
            yield _Asked(STATE, "stays undecided", lambda seen: seen.status == UNDECIDED)
        for word, node in (("when", rule.when), ("unless", rule.unless)):
            if node is not None:
                yield from self._terms(word, node)
        for word, node in (("when", rule.when), ("unless", rule.unless)):
            for test in self._bounds(node):
                yield from self._sides(f"{word} {self.words.condition(test)}", test, _met)
        for demand in rule.demands:
            for test in self._bounds(demand.test):
                told = f"{demand.strength.replace('_', ' ')} {self.words.condition(test)}"
                yield from self._sides(told, test, _asked_of)
        if rule.unless is not None:
            yield _Asked(EXCEPTION, "its exception holds", _is_excepted)
        for loser in rule.overrides:
            if loser in self.ids:
                yield _Asked(OVERRIDE, f"sets {loser} aside", _Beats(loser).sees)

    def _can_be_undecided(self, when: Node | None) -> bool:
        return when is not None and any(
            fact in self.unclear
            for test in tests_of(when)
            if test.op not in ("known", "stated")
            for fact in test.facts()
        )

    def _terms(self, word: str, whole: Node) -> Iterator[_Asked]:
        for term in terms_of(whole):
            told = f"{word} {self.words.condition(term.node)}"
            yield _Asked(FAILING, f"{told}, alone failing", _Alone(whole, term, fails_alone).sees)
            if term.alternative:
                yield _Asked(
                    HOLDING, f"{told}, alone holding", _Alone(whole, term, holds_alone).sees
                )

    def _bounds(self, node: Node | None) -> list[Test]:
        """Return the tests that compare a fact with a number."""
        return [] if node is None else [test for test in tests_of(node) if is_bound(test)]

    def _sides(self, told: str, test: Test, values: _Values) -> Iterator[_Asked]:
        entry = self.vocabulary[test.fact]
        step = notch(entry, float(test.operand))
        holds = compile_condition(Test(entry.name, test.op, test.operand), self.table)
        blank = self.table.blank()
        slot = self.table.slot[entry.name]

        def is_within(x: float) -> bool:
            blank[slot] = x
            return holds(blank) == YES

        for side, wanted in (("just within", True), ("just beyond", False)):
            if _is_possible(test, wanted, entry.low, entry.high):
                near = _Near(test, step, wanted, is_within, values)
                yield _Asked(BOUND, f"{told}, {side}", near.sees)


def is_bound(test: Test) -> bool:
    """Tell whether a test compares its fact with a number."""
    number = isinstance(test.operand, (int, float)) and not isinstance(test.operand, bool)
    return test.op in BOUNDS and number


def _is_possible(test: Test, wanted: bool, low: float | None, high: float | None) -> bool:
    """Tell whether a fact can stand on one side of a bound."""
    bound = test.operand
    if low is None or high is None:
        return True
    upward = (test.op in ("at_least", "above")) == wanted
    closed = (test.op in ("at_least", "at_most")) == wanted
    if upward:
        return bool(high >= bound if closed else high > bound)
    return bool(low <= bound if closed else low < bound)


_Values = Callable[[_Seen, str], Sequence[Value]]


def _met(seen: _Seen, fact: str) -> Sequence[Value]:
    """Return the value with which a condition met its bound."""
    return (seen.run.value(fact),)


def _asked_of(seen: _Seen, fact: str) -> Sequence[Value]:
    """Return the values of the builds of which a rule in force asked something."""
    return seen.offered(fact) if seen.run.stands(seen.rule.id) else ()


class _Near(NamedTuple):
    """Sees whether a value stands on one side of a bound, close to it."""

    test: Test
    step: float
    wanted: bool
    is_within: Callable[[float], bool]
    values: _Values

    def sees(self, seen: _Seen) -> bool:
        """Tell whether a rule in a case shows it."""
        bound = self.test.operand
        return any(
            has_value(x)
            and round9(abs(x - bound)) <= self.step
            and self.is_within(x) is self.wanted
            for x in self.values(seen, self.test.fact)
        )


class _Alone(NamedTuple):
    """Sees whether a term is all that decides a condition."""

    whole: Node
    term: Term
    decides: Callable[[Judged, Term], bool]

    def sees(self, seen: _Seen) -> bool:
        """Tell whether a rule in a case shows it."""
        return self.decides(seen.judged(self.whole), self.term)


class _Beats(NamedTuple):
    """Sees whether a rule sets another aside."""

    loser: str

    def sees(self, seen: _Seen) -> bool:
        """Tell whether a rule in a case shows it."""
        return seen.rule.id in seen.run.set_aside().get(self.loser, ())


def _is_excepted(seen: _Seen) -> bool:
    return bool(seen.run.bits.excepted >> seen.run.program.place[seen.rule.id] & 1)


def unclear_facts(base: RuleBase) -> frozenset[str]:
    """Return the facts that can lack a value without its being settled that they have none.

    Given ones with a default always have a value, and options get one; computed facts lack one if
    an input may, or if their function refuses; concluded ones if a rule that concludes them may be
    undecided, or if two such rules may differ.
    """
    vocabulary = base.vocabulary
    found = {name for name in vocabulary.of_origin(GIVEN) if name not in base.assume}
    found |= {name for name in NEEDS if name in vocabulary}
    grew = True
    while grew:
        before = len(found)
        for entry in base.entries.values():
            when = entry.rule.when
            if when is not None and not found.isdisjoint(
                fact
                for test in tests_of(when)
                if test.op not in ("known", "stated")
                for fact in test.facts()
            ):
                found.update(fact for fact, _ in entry.rule.sets)
        grew = len(found) != before
    return frozenset(
        name for name in found if vocabulary[name].origin != CONCLUDED or _is_set(base, name)
    )


def _is_set(base: RuleBase, name: str) -> bool:
    return base.table.slot[name] in base.program.setters


__all__ = ["coverage", "gate", "is_bound", "unclear_facts"]
