"""Facts as variables of the solver, and tests on them as pairs of yes and no."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import count, islice
from typing import Any, NamedTuple

import z3

from advisor.engine.conditions import All as AllNode
from advisor.engine.conditions import Node, Not, Ref, Test, tests_of
from advisor.engine.values import COMPUTED, CONCLUDED, GIVEN, NO, OPTION, Value
from advisor.options import HEAD_TYPE, HEADS
from advisor.proving.logic import (
    Term,
    Three,
    all_of,
    any_of,
    compare,
    conj,
    constant,
    disj,
    neg,
)
from advisor.proving.offers import always_chosen, left_open
from advisor.rulebase.model import RuleBase
from advisor.vocabulary import COUNT, FLAG, TEXT, FactEntry


class FactTerms(NamedTuple):
    """A fact: whether it has a value, whether it was stated, whether nothing can conclude it.

    Its value is a `number`, or told by the term of each value it could have (of a fact with several
    values: of each that is among them). Of a concluded fact these hold only where it has a value.
    """

    entry: FactEntry
    known: Term
    stated: Term
    absent: Term
    values: Mapping[Value, Term]
    number: Any = None


class FactSpace:
    """The facts that rules name, as variables, and what is taken for granted of them.

    Args:
        base: the rules.
        texts: what the facts of kind text could say, where that is not told by these rules alone.
        apart: facts of which the variables are not those of another rule base beside this one.
        prefix: put before the names of their variables.

    Attributes:
        given: terms that hold in every setup.
        pairing: whether the heads are what is chosen, so that what is not told of them stays
            unknown though it has a default.
    """

    def __init__(
        self,
        base: RuleBase,
        *,
        texts: Mapping[str, list[str]] | None = None,
        apart: frozenset[str] = frozenset(),
        prefix: str = "",
    ) -> None:
        self.base = base
        self._apart = apart
        self._prefix = prefix
        self.given: list[Term] = []
        self.pairing = z3.Bool("pairing") if HEAD_TYPE in base.vocabulary else False
        self.facts: dict[str, FactTerms] = {}
        self._texts = texts_of(base) if texts is None else texts
        self._tests: dict[tuple[Test, int], Three] = {}

    def fact(self, name: str) -> FactTerms:
        """Return a fact; a concluded one that nothing concludes has no value."""
        found = self.facts.get(name)
        if found is None:
            entry = self.base.vocabulary[name]
            if entry.origin == CONCLUDED:
                found = FactTerms(entry, False, False, True, {})
            else:
                found = self._made(entry)
            self.facts[name] = found
        return found

    def _made(self, entry: FactEntry) -> FactTerms:
        name = entry.name
        variable = self._variable(name)
        stated: Term = z3.Bool(f"stated {variable}")
        chosen = entry.origin == OPTION and always_chosen(self.base, name)
        if chosen and name != left_open(self.base):
            stated = True
        known: Term = stated
        assumed = self.base.assume.get(name) if entry.origin == GIVEN else None
        if assumed is not None:
            of_head = name.startswith(HEADS + ".")
            known = disj(stated, neg(self.pairing)) if of_head else True
        elif entry.origin == COMPUTED:
            known = z3.Bool(f"known {variable}")
            self.given.append(z3.Implies(stated, known))
        values, number = self._values(entry)
        found = FactTerms(entry, known, stated, False, values, number)
        if assumed is not None:
            self.given.append(disj(stated, self.has(found, assumed.value)))
        return found

    def _values(self, entry: FactEntry) -> tuple[dict[Value, Term], Any]:
        name = entry.name
        variable = self._variable(name)
        if entry.is_number:
            number = z3.Int(variable) if entry.kind == COUNT else z3.Real(variable)
            if entry.low is not None and entry.high is not None:
                self.given += [number >= constant(entry.low), number <= constant(entry.high)]
            return {}, number
        if entry.kind == FLAG:
            flag = z3.Bool(variable)
            return {True: flag, False: z3.Not(flag)}, None
        choices = self._texts[name] if entry.kind == TEXT else list(entry.choices)
        values = {value: z3.Bool(f"{variable} is {value}") for value in choices}
        if not entry.several:
            self.given.append(z3.PbEq([(term, 1) for term in values.values()], 1))
        return values, None

    def _variable(self, name: str) -> str:
        return self._prefix + name if name in self._apart else name

    def has(self, fact: FactTerms, value: Value) -> Term:
        """Return whether a fact that is no concluded one would have a value."""
        if fact.number is not None:
            return fact.number == constant(value)
        if fact.entry.several:
            return conj(*(t if v in value else neg(t) for v, t in fact.values.items()))
        return fact.values.get(value, False)

    def conclude(self, name: str, fact: FactTerms) -> None:
        """Take what rules conclude of a fact."""
        self.facts[name] = fact

    # Conditions

    def condition(self, node: Node | None, absent: int = NO) -> Three:
        """Return what a condition comes to; `absent` as the engine's compiler has it."""
        if node is None:
            return Three(True, False)
        if isinstance(node, Test):
            key = node, absent
            found = self._tests.get(key)
            if found is None:
                found = self._tests[key] = self._test(node, absent)
            return found
        if isinstance(node, Not):
            part = self.condition(node.part, absent)
            return Three(part.no, part.yes)
        parts = [self.condition(part, absent) for part in node.parts]
        return all_of(parts) if isinstance(node, AllNode) else any_of(parts)

    def _test(self, test: Test, absent: int) -> Three:
        fact = self.fact(test.fact)
        if test.op in ("known", "stated"):
            term = fact.known if test.op == "known" else fact.stated
            return Three(term, neg(term)) if test.operand else Three(neg(term), term)
        known, gone = fact.known, fact.absent
        if isinstance(test.operand, Ref):
            other = self.fact(test.operand.fact)
            known, gone = conj(known, other.known), disj(gone, other.absent)
            holds = _compared(test.op, fact, other)
        else:
            holds = compared_with(test.op, fact, test.operand)
        no = conj(known, neg(holds))
        return Three(conj(known, holds), disj(no, gone) if absent == NO else no)

    def at(self, test: Node, fact: str, value: Value, absent: int) -> Three:
        """Return what a test of one fact comes to if the fact has a value."""
        kept = self.facts.get(fact)
        entry = self.base.vocabulary[fact]
        number = constant(value) if entry.is_number else None
        values = {} if entry.is_number else {value: True}
        tests, self._tests = self._tests, {}
        self.facts[fact] = FactTerms(entry, True, True, False, values, number)
        found = self.condition(test, absent)
        self._tests = tests
        if kept is None:
            del self.facts[fact]
        else:
            self.facts[fact] = kept
        return found


def compared_with(op: str, fact: FactTerms, operand: Value) -> Term:
    """Return whether a fact's value compares so with a constant, provided it has one."""
    if fact.number is not None:
        return compare(op, fact.number, constant(operand))
    if fact.entry.is_number:
        pairs = fact.values.items()
        return disj(*(term for value, term in pairs if compare(op, value, operand)))
    accepted = operand if isinstance(operand, tuple) else (operand,)
    return disj(*(fact.values.get(value, False) for value in accepted))


def _compared(op: str, one: FactTerms, other: FactTerms) -> Term:
    """Return the same of two facts, provided both have values."""
    if one.number is not None and other.number is not None:
        return compare(op, one.number, other.number)
    if one.number is not None:
        pairs = other.values.items()
        return disj(*(conj(t, compare(op, one.number, constant(v))) for v, t in pairs))
    if other.number is not None:
        pairs = one.values.items()
        return disj(*(conj(t, compare(op, constant(v), other.number)) for v, t in pairs))
    if one.entry.is_number:
        both = [
            conj(t, u)
            for v, t in one.values.items()
            for w, u in other.values.items()
            if compare(op, v, w)
        ]
        return disj(*both)
    return disj(*(conj(t, other.values.get(v, False)) for v, t in one.values.items()))


def texts_of(base: RuleBase) -> dict[str, list[str]]:
    """Return texts that stand for all that a fact could say.

    They are those that rules name, of it or of a fact that it is compared with, directly or not;
    and as many others as there are such facts, for all of these could say something else.
    """
    group_of: dict[str, set[str]] = {}
    named: dict[str, set[str]] = {}
    for name, entry in base.vocabulary.entries.items():
        if entry.kind == TEXT:
            group_of[name] = {name}
            named[name] = {base.assume[name].value} if name in base.assume else set()
    for test in every_test(base):
        if test.fact not in named:
            continue
        if isinstance(test.operand, Ref):
            joined = group_of[test.fact] | group_of[test.operand.fact]
            group_of.update(dict.fromkeys(joined, joined))
        elif isinstance(test.operand, str):
            named[test.fact].add(test.operand)
    for slot, claims in base.program.setters.items():
        fact = base.table.names[slot]
        if fact in named:
            named[fact].update(value for _, value in claims)
    found = {}
    for name, group in group_of.items():
        told = sorted(set().union(*(named[other] for other in group)))
        others = (text for i in count(1) if (text := f"text {i}") not in told)
        found[name] = [*told, *islice(others, len(group))]
    return found


def every_test(base: RuleBase) -> Iterable[Test]:
    """Yield every test of every rule, and of the domain."""
    for entry in base.entries.values():
        rule = entry.rule
        for node in (rule.when, rule.unless, *(demand.test for demand in rule.demands)):
            if node is not None:
                yield from tests_of(node)
    for node in base.domain:
        yield from tests_of(node)
