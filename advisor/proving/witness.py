"""From a model of the solver to a setup that a person could state, on which the engine is run.

A witness states what it needs and no more: every fact without which the engine still does what is
said is left out. Numbers are plain ones of the cell between two bounds that the solver chose; those
that rules compare with each other are rounded to nine digits. A witness on which the engine does
something else is searched again with numbers well apart from each other, and then given up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import z3

from advisor.engine.conditions import Ref
from advisor.engine.run import Run
from advisor.engine.values import COMPUTED, CONCLUDED, GIVEN, OPTION, Value
from advisor.options import HEAD_TYPE
from advisor.proving.encoding import Encoding
from advisor.proving.facts import FactTerms, every_test
from advisor.proving.logic import Term, constant, disj, neg
from advisor.proving.offers import left_open
from advisor.quantities import round9
from advisor.replaying import Replayer, needed_of
from advisor.vocabulary import COUNT, FLAG, QUANTITY, TEXT

Shows = Callable[[Run], bool]
"""Tells whether a run shows what is said of it."""

_APART = 1e-4
_DIGITS = 9


class Witness(NamedTuple):
    """What is stated, by fact."""

    stated: Mapping[str, Value]


class Witnesses(Replayer):
    """Finds witnesses for what is possible in an encoding, and runs the engine on them."""

    def __init__(self, encoding: Encoding) -> None:
        super().__init__(encoding.base)
        self.encoding = encoding
        self._compared = _compared_facts(self.base)
        self._left_open = left_open(self.base)
        self._plain: list[Term] = self._plainly()
        self._wide: list[Term] = self._apart()

    # What a setup can state

    def _plainly(self) -> list[Term]:
        """Return what makes a model one that a setup can state, with one build."""
        space, vocabulary = self.encoding.facts, self.base.vocabulary
        terms: list[Term] = [neg(space.pairing)]
        for name, fact in list(space.facts.items()):
            origin = vocabulary[name].origin
            if name == self._left_open:
                # With every option stated and no head the heads would be the options.
                terms.append(fact.stated == space.fact(HEAD_TYPE).stated)
            elif origin == OPTION:
                terms.append(fact.stated)
            elif origin == COMPUTED:
                unknown = self._unknown_need(name)
                terms += [fact.known == fact.stated, disj(fact.stated, unknown)]
        return terms

    def _unknown_need(self, name: str) -> Term:
        """Return whether something that a computed fact is worked out from has no value."""
        function = self.chooser.function(name)
        if function is None:
            return True
        space, vocabulary = self.encoding.facts, self.base.vocabulary
        found: list[Term] = []
        for need in function.needs:
            if need in function.optional or need not in vocabulary:
                continue
            fact = space.facts.get(need)
            if fact is not None:
                found.append(neg(fact.known))
            elif vocabulary[need].origin == GIVEN:
                found.append(need not in self.base.assume)
            elif vocabulary[need].origin == COMPUTED:
                found.append(self._unknown_need(need))
        return disj(*found)

    def _apart(self) -> list[Term]:
        """Return what keeps numbers that are compared equal, or well apart from each other."""
        space = self.encoding.facts
        terms: list[Term] = []
        for one, other in sorted(self._compared):
            left, right = space.facts.get(one), space.facts.get(other)
            if left is None or right is None or left.number is None or right.number is None:
                continue
            gap = constant(_APART)
            terms.append(
                disj(
                    left.number == right.number,
                    left.number >= right.number + gap,
                    left.number <= right.number - gap,
                )
            )
        return terms

    # Finding one

    def find(self, *terms: Term, shows: Shows) -> Witness | None:
        """Return a setup in which terms hold, on which the engine shows what is said; or None."""
        for more in ([], self._wide):
            if self.encoding.possible(*terms, *self._plain, *more) is True:
                stated = self._stated(self.encoding.solver.model())
                found = self.replayed(stated, shows)
                if found is not None:
                    return found
            if not self._wide:
                break
        return None

    def model_of(self, *terms: Term) -> dict[str, Value] | None:
        """Return what a setup in which terms hold would state, without running the engine on it."""
        if self.encoding.possible(*terms, *self._plain, *self._wide) is not True:
            return None
        return self._stated(self.encoding.solver.model())

    def _stated(self, model: Any) -> dict[str, Value]:
        """Return what a model states, every option included."""
        found = self.stated_in(model, self.encoding.facts.facts)
        for name in self.base.vocabulary.of_origin(OPTION):
            if name not in found and (name != self._left_open or HEAD_TYPE in found):
                found[name] = self._any_value(name)
        return found

    def stated_in(self, model: Any, facts: Mapping[str, FactTerms]) -> dict[str, Value]:
        """Return what a model states of some facts."""
        return {
            name: self._value(model, name, fact)
            for name, fact in facts.items()
            if fact.entry.origin != CONCLUDED and _holds(model, fact.stated)
        }

    def _value(self, model: Any, name: str, fact: FactTerms) -> Value:
        if fact.number is None:
            chosen = tuple(value for value, term in fact.values.items() if _holds(model, term))
            if fact.entry.several:
                return chosen
            return chosen[0]
        term = model.evaluate(fact.number, model_completion=True)
        if fact.entry.kind == COUNT:
            return int(term.as_long())
        exact = term.as_fraction()
        value = float(exact)
        if any(name in pair for pair in self._compared):
            return round9(value)
        bounds = sorted({*self.bounds_on(name), *self._ends(name)})
        return plain_number(value, bounds)

    def bounds_on(self, name: str) -> frozenset[float]:
        """Return the numbers that rules compare a fact with."""
        return self.base.bounds_on(name)

    def _ends(self, name: str) -> list[float]:
        entry = self.base.vocabulary[name]
        ends = [] if entry.low is None or entry.high is None else [entry.low, entry.high]
        assumed = self.base.assume.get(name)
        return [*ends, assumed.value] if assumed is not None else ends

    def _any_value(self, name: str) -> Value:
        """Return some value of an option that nothing hangs on."""
        entry = self.base.vocabulary[name]
        group = name.partition(".")[0]
        listed = [
            item.facts[name] for item in self.base.ladder.items.get(group, ()) if name in item.facts
        ]
        listed += self.base.ladder.options.get(name, ())
        if listed:
            return listed[0]
        if entry.kind == FLAG:
            return False
        if entry.kind == TEXT:
            return "any"
        if entry.choices:
            return next(iter(entry.choices))
        low = 1.0 if entry.low is None else entry.low
        return int(low) if entry.kind == COUNT else low

    # Running the engine on it

    def replayed(self, stated: Mapping[str, Value], shows: Shows) -> Witness | None:
        """Return what of some statements is needed for the engine to show what is said.

        The engine is run twice: on what is stated alone, and as part of a whole judgement, in which
        the options that are not stated are chosen.
        """

        def suffices(some: Mapping[str, Value]) -> bool:
            run = self.run(some)
            return self.in_domain(run) and shows(run)

        if not suffices(stated):
            return None
        needed = needed_of(stated, suffices)
        options = {
            name: value
            for name, value in stated.items()
            if self.base.vocabulary[name].origin == OPTION
        }
        heads = {HEAD_TYPE: stated[HEAD_TYPE]} if HEAD_TYPE in stated else {}
        needed = self.plainer(needed, suffices)
        for tried in (needed, {**needed, **options, **heads}, stated):
            if suffices(tried) and shows(self.judged(tried).run):
                return Witness(_in_order(tried, self.base.vocabulary.entries))
        return None

    def plainer(
        self, stated: Mapping[str, Value], suffices: Callable[[Mapping[str, Value]], bool]
    ) -> dict[str, Value]:
        """Return the same statements with numbers of fewer digits, as long as that suffices."""
        found = dict(stated)
        for name, value in stated.items():
            entry = self.base.vocabulary[name]
            if entry.kind != QUANTITY:
                continue
            for digits in range(1, _DIGITS):
                short = float(f"{value:.{digits}g}")
                if entry.low is not None and entry.high is not None:
                    short = min(max(short, entry.low), entry.high)
                if short == value or suffices({**found, name: short}):
                    found[name] = short
                    break
        return found


def plain_number(value: float, bounds: list[float]) -> float:
    """Return a number with few digits on the same side of every bound; a bound is itself."""
    below = [bound for bound in bounds if bound < value]
    above = [bound for bound in bounds if bound > value]
    if value in bounds:
        return value
    if not below or not above:
        return round9(value)
    low, high = max(below), min(above)
    for digits in range(1, _DIGITS + 1):
        short = float(f"{(low + high) / 2:.{digits}g}")
        if low < short < high:
            return short
    return round9(value)


def _in_order(stated: Mapping[str, Value], order: Mapping[str, Any]) -> dict[str, Value]:
    return {name: stated[name] for name in order if name in stated}


def _holds(model: Any, term: Term) -> bool:
    if isinstance(term, bool):
        return term
    return bool(z3.is_true(model.evaluate(term, model_completion=True)))


def _compared_facts(base: Any) -> set[tuple[str, str]]:
    """Return the pairs of facts that rules compare with each other."""
    return {
        (test.fact, test.operand.fact) for test in every_test(base) if isinstance(test.operand, Ref)
    }
