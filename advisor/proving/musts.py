"""The musts that a choice of build can meet or break, for setups that no rule refuses by itself."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

import z3

from advisor.engine.conditions import Judge, compile_condition, facts_of
from advisor.engine.rules import Demand, Rule
from advisor.engine.values import CONCLUDED, GIVEN, NO, OPTION, UNKNOWN, YES, Value, has_value
from advisor.judge import Judgement, ways
from advisor.options import choice
from advisor.proving.encoding import PATIENCE, Encoding
from advisor.proving.facts import FactTerms
from advisor.proving.logic import Term, conj, constant, disj, neg
from advisor.replaying import setup_of
from advisor.rulebase.model import RuleBase

Pairs = list[tuple[Any, Any]]
"""Terms of the solver, and what to put in the place of each."""


class Musts:
    """What rules ask of builds, as terms over a setup as somebody states it and over one build.

    Attributes:
        broken: by rule, whether a build breaks one of its musts. Left out are those on what is
            stated or assumed, which refuse a setup by themselves.
    """

    def __init__(self, base: RuleBase) -> None:
        self.base = base
        self.encoding = Encoding(base, inline=True)
        self._chooser = ways(base, pairing=False).chooser
        self._varying = self._that_vary()
        self._axes = choice(setup_of({}), base.vocabulary, base.ladder).axes
        self._terms: list[Term] = []
        self._refusing: list[tuple[str, Judge | None, int]] = []
        self.broken: dict[str, Term] = {}
        self._fix_what_varies()
        self._sort_out()

    def _that_vary(self) -> frozenset[str]:
        """Return the computed and concluded facts that depend on the build."""
        options = set(self.base.vocabulary.of_origin(OPTION))
        varying: set[str] = set()
        for function in self._chooser.functions:  # each after those it needs
            if not (options | varying).isdisjoint(function.needs):
                varying.add(function.fact)
        for rule in self.base.program.rules:
            if not self.of_setup(rule.id):
                varying.update(fact for fact, _ in rule.sets)
        return frozenset(varying)

    def of_setup(self, rule_id: str) -> bool:
        """Tell whether a rule belongs to the setup, so that no choice changes how it stands."""
        return rule_id in self._chooser.setup_rules

    def _fix_what_varies(self) -> None:
        """Let the solver see a setup as somebody states it: no option, and nothing worked out."""
        space = self.encoding.facts
        self._terms.append(neg(space.pairing))
        for name, fact in space.facts.items():
            if self.base.vocabulary[name].origin not in (OPTION, GIVEN, CONCLUDED):
                self._terms.append(fact.known == fact.stated)
            if name in self._varying:
                self._terms.append(neg(fact.stated))

    def _sort_out(self) -> None:
        """Tell musts on what can be chosen from what refuses a setup by itself."""
        broken: dict[str, list[Term]] = {}
        for rule in self.base.program.rules:
            stands = self.encoding.rules[rule.id].stands
            if rule.stop and self.of_setup(rule.id):
                self._terms.append(neg(stands))
                self._refusing.append((rule.id, None, YES))
            for demand in rule.demands:
                if not demand.is_must:
                    continue
                offends = conj(stands, self.encoding.asked(demand).no)
                if self._refuses(rule, demand):
                    self._terms.append(neg(offends))
                    judge = compile_condition(demand.test, self.base.table, UNKNOWN)
                    self._refusing.append((rule.id, judge, YES if demand.is_negative else NO))
                else:
                    broken.setdefault(rule.id, []).append(offends)
        terms = {rule_id: disj(*offences) for rule_id, offences in broken.items()}
        self.broken = {rule_id: term for rule_id, term in terms.items() if term is not False}

    def _refuses(self, rule: Rule, demand: Demand) -> bool:
        options = set(self.base.vocabulary.of_origin(OPTION)) | self._varying
        return self.of_setup(rule.id) and options.isdisjoint(facts_of(demand.test))

    def refused(self, judgement: Judgement) -> bool:
        """Tell whether a setup is refused by a stop, or by a must on what is stated or assumed."""
        run = judgement.run
        return any(
            run.stands(rule_id) and (judge is None or judge(run.values) == bad)
            for rule_id, judge, bad in self._refusing
        )

    def solver(self) -> Any:
        """Return a solver that knows setups which nothing refuses by itself."""
        solver = z3.Solver()
        solver.set("rlimit", 4 * PATIENCE)
        solver.add(*self.encoding.solver.assertions())
        for term in self._terms:
            solver.add(z3.BoolVal(term) if isinstance(term, bool) else term)
        return solver

    # Builds

    @cached_property
    def options(self) -> dict[str, FactTerms]:
        """Return the options that rules name."""
        facts = self.encoding.facts.facts
        names = self.base.vocabulary.of_origin(OPTION)
        return {name: facts[name] for name in names if name in facts}

    def fixed(self, values: Mapping[str, Value]) -> Pairs:
        """Return what to put in the place of the options' variables for one build."""
        return [pair for name, fact in self.options.items() for pair in _fixed(fact, values[name])]

    def copied(self, term: Term, suffix: str) -> Term:
        """Return whether a term holds of a build of its own, which is one that is listed."""
        mine: dict[str, FactTerms] = {}
        pairs: Pairs = []
        for name, fact in self.options.items():
            mine[name], renamed = _renamed(fact, f"{name} {suffix}")
            pairs += renamed
        if not isinstance(term, bool):
            term = z3.substitute(term, *pairs)
        return conj(term, self.listed(mine))

    def listed(self, options: Mapping[str, FactTerms]) -> Term:
        """Return whether a build is one of those that are listed to choose from."""
        terms: list[Term] = []
        on_axes: set[str] = set()
        for axis in self._axes:
            on_axes.update(axis.facts)
            rows = []
            for row in axis.rows:
                fixed = [
                    pair
                    for name, value in zip(axis.facts, row, strict=True)
                    if name in options
                    for pair in _fixed(options[name], value)
                ]
                rows.append(conj(*(variable == value for variable, value in fixed)))
            terms.append(disj(*rows))
        for name, fact in options.items():
            if name not in on_axes:  # no listed item tells it
                terms.append(neg(fact.stated))
        return conj(*terms)


def _renamed(fact: FactTerms, suffix: str) -> tuple[FactTerms, Pairs]:
    """Return an option with variables of its own, and which take the place of which."""
    pairs: Pairs = []

    def renamed(term: Any) -> Any:
        if isinstance(term, bool):
            return term
        if not z3.is_const(term):  # a flag that does not hold
            return z3.Not(renamed(term.arg(0)))
        new = z3.Const(f"{term} of {suffix}", term.sort())
        pairs.append((term, new))
        return new

    number = None if fact.number is None else renamed(fact.number)
    values = {value: renamed(term) for value, term in fact.values.items()}
    stated = renamed(fact.stated)
    return fact._replace(known=stated, stated=stated, values=values, number=number), pairs


def _fixed(fact: FactTerms, value: Value) -> Pairs:
    """Return what to put in the place of an option's variables for one value of it."""
    there = z3.BoolVal(has_value(value))
    pairs = [(term, there) for term in (fact.stated,) if not isinstance(term, bool)]
    if not has_value(value):
        return pairs
    if fact.number is not None:
        number = constant(value)
        if z3.is_real(fact.number):
            number = z3.ToReal(number) if z3.is_int(number) else number
        return [*pairs, (fact.number, z3.simplify(number))]
    return [
        *pairs,
        *(
            (term, z3.BoolVal(choice == value))
            for choice, term in fact.values.items()
            if z3.is_const(term)
        ),
    ]
