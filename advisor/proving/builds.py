"""Setups that rules leave without a build: given facts for which every combination breaks a must.

What is asked is "is there a setup so that for every build ...", which the solver is not asked as
such. It is given a few builds and looks for a setup in which each of them breaks a must; the engine
then judges that setup over all that is listed to choose from. A build that holds after all is given
to the solver, too, and it looks again. So a setup that comes out of this is rejected by the engine,
and if the solver finds none, there is none, as far as these musts go:

- those that read no computed fact which depends on the build, since such a fact is a matter of
  physics and not free in each build by itself;
- of the options the ladder lists (or a choice or a count has), not of another shelf.

A must on a given fact judges the setup by itself, as a stop does: it is meant to refuse, and no
finding. Neither is a setup that carries a stop.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import z3

from advisor.engine.conditions import facts_of
from advisor.engine.rules import Demand, Rule
from advisor.engine.values import CONCLUDED, GIVEN, OPTION, Value, has_value
from advisor.judge import REJECTED, Judgement, ways
from advisor.options import choice
from advisor.proving.encoding import PATIENCE, Encoding
from advisor.proving.facts import FactTerms
from advisor.proving.found import Found
from advisor.proving.logic import Term, conj, constant, disj, neg
from advisor.proving.witness import Witnesses
from advisor.replaying import needed_of, setup_of

MOST_ROUNDS = 400
"""Setups tried in all before the search ends."""

MOST_FOUND = 40
"""Setups told at most."""


def about_builds(base_encoding: Encoding, witnesses: Witnesses) -> Iterator[Found]:
    """Yield setups without a build, one for each smallest set of rules that causes one."""
    search = _Search(base_encoding, witnesses)
    for _ in range(MOST_FOUND):
        found = search.next()
        if found is None:
            return
        yield found


class _Search:
    def __init__(self, named: Encoding, witnesses: Witnesses) -> None:
        self.base = named.base
        self.named = named
        self.witnesses = witnesses
        self.encoding = Encoding(self.base, inline=True)
        self.chooser = ways(self.base, pairing=False).chooser
        self.varying = self._varying()
        self.solver = z3.Solver()
        self.solver.set("rlimit", 4 * PATIENCE)
        self.solver.add(*self.encoding.solver.assertions())
        self.rounds = 0
        self._fix_what_varies()
        self.broken = self._broken()
        self.axes = choice(setup_of({}), self.base.vocabulary, self.base.ladder).axes
        if isinstance(self.broken, bool):
            self.solver.add(z3.BoolVal(self.broken))

    def _varying(self) -> frozenset[str]:
        """Return the computed facts that depend on the build."""
        options = set(self.base.vocabulary.of_origin(OPTION))
        varying: set[str] = set()
        for function in self.chooser.functions:  # each after those it needs
            if not (options | varying).isdisjoint(function.needs):
                varying.add(function.fact)
        return frozenset(varying)

    def _fix_what_varies(self) -> None:
        """Let the solver see a setup as somebody states it: no option, and nothing worked out."""
        space = self.encoding.facts
        terms: list[Term] = [neg(space.pairing)]
        for name, fact in space.facts.items():
            if self.base.vocabulary[name].origin not in (OPTION, GIVEN, CONCLUDED):
                terms.append(fact.known == fact.stated)
            if name in self.varying:
                terms.append(neg(fact.stated))
        self.solver.add(*(term for term in terms if not isinstance(term, bool)))

    def _broken(self) -> Term:
        """Return whether a build breaks a must on something that can be chosen.

        Musts on what a setup states, and stops, refuse by themselves; they are kept out.
        """
        terms: list[Term] = []
        for rule in self.base.program.rules:
            stands = self.encoding.rules[rule.id].stands
            if rule.stop and self._of_setup(rule):
                self._exclude(stands)
            for demand in rule.demands:
                if not demand.is_must:
                    continue
                broken = conj(stands, self.encoding.asked(demand).no)
                if self._refuses(rule, demand):
                    self._exclude(broken)
                else:
                    terms.append(broken)
        return disj(*terms)

    def _exclude(self, term: Term) -> None:
        if not isinstance(term, bool):
            self.solver.add(z3.Not(term))

    def _of_setup(self, rule: Rule) -> bool:
        """Tell whether a rule belongs to the setup, so that no choice changes how it stands."""
        return rule.id in self.chooser.setup_rules

    def _refuses(self, rule: Rule, demand: Demand) -> bool:
        options = set(self.base.vocabulary.of_origin(OPTION)) | self.varying
        return self._of_setup(rule) and options.isdisjoint(facts_of(demand.test))

    # One setup after another

    def next(self) -> Found | None:
        """Return a setup without a build that no set of rules found before explains."""
        while self.rounds < MOST_ROUNDS:
            self.rounds += 1
            if self.solver.check() != z3.sat:
                return None
            stated = self._stated(self.solver.model())
            judgement = self._judged(stated)
            if judgement.status == REJECTED:
                found = self._found(stated)
                if found is not None:
                    return found
            elif judgement.survivors:
                self._learn(judgement)
            else:
                # A stop stands on every build that breaks no must: this very setup is left.
                self._leave(stated)
        return None

    def _stated(self, model: Any) -> dict[str, Value]:
        found = self.witnesses.stated_in(model, self.encoding.facts.facts)
        return {n: v for n, v in found.items() if self.base.vocabulary[n].origin != OPTION}

    def _judged(self, stated: Mapping[str, Value]) -> Judgement:
        return self.witnesses.judged(stated)

    def _learn(self, judgement: Judgement) -> None:
        """Ask of later setups that the build which holds here breaks something there."""
        row = judgement.values_of(judgement.at)
        table = self.base.table
        pairs: list[tuple[Any, Any]] = []
        for name in self.base.vocabulary.of_origin(OPTION):
            fact = self.encoding.facts.facts.get(name)
            if fact is not None:
                pairs += _fixed(fact, row[table.slot[name]])
        if not isinstance(self.broken, bool):
            self.solver.add(z3.substitute(self.broken, *pairs))

    def _leave(self, stated: Mapping[str, Value]) -> None:
        """Leave a setup that did not come out as the solver has it."""
        same = []
        for name, value in stated.items():
            fact = self.encoding.facts.facts[name]
            same.append(conj(fact.stated, self.encoding.facts.has(fact, value)))
        self._exclude(conj(*same))

    def _found(self, stated: Mapping[str, Value]) -> Found | None:
        """Return the finding of a rejected setup, and leave what causes it for what follows."""

        def rejected(some: Mapping[str, Value]) -> bool:
            here = self.witnesses.in_domain(self.witnesses.run(some))
            return here and self._judged(some).status == REJECTED

        if not rejected(stated):
            self._leave(stated)
            return None
        needed = self.witnesses.plainer(needed_of(stated, rejected), rejected)
        judgement = self._judged(needed)
        sets = judgement.conflicts
        rules = sets[0] if sets else ()
        if not all(self._rule(rule).demands and not self._rule(rule).stop for rule in rules):
            rules = ()
        if not rules:
            self._leave(stated)
            return None
        self._explain(rules)
        return self._told(rules, needed, sets)

    def _explain(self, rules: Sequence[str]) -> None:
        """Ask of later setups that some listed build breaks no must of these rules."""
        terms = [
            conj(self.encoding.rules[rule_id].stands, self.encoding.asked(demand).no)
            for rule_id in rules
            for demand in self._rule(rule_id).demands
            if demand.is_must
        ]
        broken = disj(*terms)
        if isinstance(broken, bool):
            self.solver.add(z3.BoolVal(not broken))
            return
        # One build for each set of rules: the variables of its options are its own.
        mine: dict[str, FactTerms] = {}
        pairs: list[tuple[Any, Any]] = []
        for name in self.base.vocabulary.of_origin(OPTION):
            fact = self.encoding.facts.facts.get(name)
            if fact is not None:
                mine[name], renamed = _renamed(fact, f"{name} for {rules}")
                pairs += renamed
        self.solver.add(z3.Not(z3.substitute(broken, *pairs)))
        for axis in self.axes:
            rows = []
            for row in axis.rows:
                fixed = [
                    pair
                    for name, value in zip(axis.facts, row, strict=True)
                    if name in mine
                    for pair in _fixed(mine[name], value)
                ]
                rows.append(conj(*(variable == value for variable, value in fixed)))
            listed = disj(*rows)
            if not isinstance(listed, bool):
                self.solver.add(listed)

    def _rule(self, rule_id: str) -> Rule:
        program = self.base.program
        return program.rules[program.place[rule_id]]

    def _told(
        self,
        rules: tuple[str, ...],
        stated: Mapping[str, Value],
        sets: Sequence[tuple[str, ...]],
    ) -> Found:
        first = min(rules, key=lambda rule: (not self._of_setup(self._rule(rule)), rule))
        ordered = (first, *(rule for rule in rules if rule != first))
        names = ", ".join(f"`{rule}`" for rule in ordered)
        what = (
            f"{names} cannot hold together"
            if len(rules) > 1
            else f"nothing that is listed to choose from meets {names}"
        )
        others = "another set" if len(sets) == 2 else f"{len(sets) - 1} other sets"
        more = f"; {others} of rules would, too" if len(sets) > 1 else ""
        suffices = "these rules suffice" if len(rules) > 1 else "this rule suffices"
        remedy = (
            "Let one give way to the other, or accept it with the reason if it is meant so."
            if len(rules) > 1
            else "List what meets it, ask for less, or accept it with the reason if it is meant so."
        )
        return Found(
            "no-build",
            ordered,
            f"A setup is left without a build: {what}.",
            remedy,
            (),
            {name: stated[name] for name in self.base.vocabulary.entries if name in stated},
            f"every build is rejected, and {suffices} for that{more}",
            self.named.computed_behind(rules),
        )


def _renamed(fact: FactTerms, suffix: str) -> tuple[FactTerms, list[tuple[Any, Any]]]:
    """Return an option with variables of its own, and which take the place of which."""
    pairs: list[tuple[Any, Any]] = []

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


def _fixed(fact: FactTerms, value: Value) -> list[tuple[Any, Any]]:
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
