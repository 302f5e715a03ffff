"""A whole rule base for the solver: how rules fire, stand and conclude, and what they ask."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import z3

from advisor.engine.rules import FIRING, STANDING, Demand, Rule
from advisor.engine.values import CONCLUDED, UNKNOWN, Value
from advisor.proving.facts import FactSpace, FactTerms
from advisor.proving.logic import Term, Three, conj, disj, neg
from advisor.rulebase.model import RuleBase

PATIENCE = 20_000_000
"""Steps that the solver gets for a question, some seconds; those of the base rules take up to a
hundred thousand. Steps and not time, so that a busy machine finds what an idle one does."""


class RuleTerms(NamedTuple):
    """States of a rule; `sure` is whether it fired and its exception is known not to hold."""

    when: Three
    unless: Three
    fired: Term
    sure: Term
    undecided: Term
    stands: Term = False
    waits: Term = False


class Encoding:
    """A rule base as one solver with a definition for each state of each rule.

    Args:
        base: the rules.
        inline: whether states are put in where they are used, instead of being named; terms can
            then be rewritten for a certain build.
        beside: another one, if this is to share its solver and what setups state.
        prefix: put before the names of this one's definitions, to tell them from that one's.
        space: the facts, if they are not those of the rules alone.
    """

    def __init__(
        self,
        base: RuleBase,
        *,
        inline: bool = False,
        beside: Encoding | None = None,
        prefix: str = "",
        space: FactSpace | None = None,
    ) -> None:
        self.base = base
        self.inline = inline
        self.prefix = prefix
        self.facts = FactSpace(base) if space is None else space
        if beside is None:
            self.solver = z3.Solver()
            self.solver.set("rlimit", PATIENCE)
        else:
            self.solver = beside.solver
        self._definitions: list[Term] = []
        self.rules: dict[str, RuleTerms] = {}
        self.ties: dict[str, Term] = {}
        program = base.program
        for kind, name in program.rank:  # an order in which what is needed comes first
            if kind == FIRING:
                self._fire(program.rules[program.place[name]])
            elif kind == STANDING:
                self._settle(program.rules[program.place[name]])
            else:
                self._conclude(name)
        self.domain = [neg(self.facts.condition(node).no) for node in base.domain]
        for rule in program.rules:
            for demand in rule.demands:
                self.asked(demand)
        self.solver.add(*(t for t in self.domain if not isinstance(t, bool)))
        if False in self.domain:
            self.solver.add(z3.BoolVal(False))
        self.sync()

    def sync(self) -> None:
        """Hand over what was defined, and learned of facts, since the last time."""
        self.solver.add(*self._definitions, *self.facts.given)
        self._definitions.clear()
        self.facts.given.clear()

    def define(self, name: str, term: Term) -> Term:
        """Give a term a name, so that the solver meets it once."""
        if self.inline or isinstance(term, bool) or z3.is_const(term):
            return term
        named = z3.Bool(self.prefix + name)
        self._definitions.append(named == term)
        return named

    def _fire(self, rule: Rule) -> None:
        when = self.facts.condition(rule.when)
        unless = Three(False, True) if rule.unless is None else self.facts.condition(rule.unless)
        may = neg(disj(when.no, unless.yes))
        self.rules[rule.id] = RuleTerms(
            when,
            unless,
            self.define(f"fired {rule.id}", conj(when.yes, neg(unless.yes))),
            self.define(f"sure {rule.id}", conj(when.yes, unless.no)),
            self.define(f"undecided {rule.id}", conj(may, neg(when.yes))),
        )

    def defeat(self, winner: Rule, loser: Rule) -> Term:
        """Return whether one rule sets aside what the other concludes, if that fired."""
        terms = self.rules[winner.id]
        return conj(terms.stands, terms.sure) if loser.stop else terms.stands

    def winners(self, rule: Rule) -> list[Rule]:
        """Return the rules that override one."""
        program = self.base.program
        return [program.rules[i] for i in program.overriders[program.place[rule.id]]]

    def _settle(self, rule: Rule) -> None:
        terms = self.rules[rule.id]
        beaten = disj(*(self.defeat(winner, rule) for winner in self.winners(rule)))
        beaten = self.define(f"beaten {rule.id}", beaten)
        self.rules[rule.id] = terms._replace(
            stands=self.define(f"stands {rule.id}", conj(terms.fired, neg(beaten))),
            waits=self.define(f"waits {rule.id}", conj(terms.undecided, neg(beaten))),
        )

    def _conclude(self, name: str) -> None:
        setters = self.setters(name)
        claims: dict[Value, list[Term]] = {}
        for rule, value in setters:
            key = frozenset(value) if isinstance(value, tuple) else value
            claims.setdefault(key, []).append(self.rules[rule.id].stands)
        told = {v: self.define(f"{name} is {v}", disj(*terms)) for v, terms in claims.items()}
        some = list(told.values())
        tied = disj(*(conj(a, b) for i, a in enumerate(some) for b in some[i + 1 :]))
        tied = self.ties[name] = self.define(f"tied {name}", tied)
        anyone = disj(*some)
        waiting = disj(*(self.rules[rule.id].waits for rule, _ in setters))
        entry = self.base.vocabulary[name]
        values: dict[Value, Term] = dict(told)
        if entry.several:
            values = {
                choice: disj(*(term for value, term in told.items() if choice in value))
                for choice in entry.choices
            }
        self.facts.conclude(
            name,
            FactTerms(
                entry,
                self.define(f"known {name}", conj(anyone, neg(tied))),
                False,
                self.define(f"absent {name}", neg(disj(anyone, waiting))),
                values,
            ),
        )

    def setters(self, fact: str) -> list[tuple[Rule, Value]]:
        """Return the rules that could set a concluded fact, and to what."""
        program = self.base.program
        claims = program.setters.get(program.table.slot[fact], ())
        return [(program.rules[i], value) for i, value in claims]

    def asked(self, demand: Demand) -> Three:
        """Return whether a demand is met (yes), broken (no), or unproven."""
        found = self.facts.condition(demand.test, UNKNOWN)
        return Three(found.no, found.yes) if demand.is_negative else found

    # Asking

    def possible(self, *terms: Term) -> bool | None:
        """Tell whether terms can hold together; None if the solver cannot say in time."""
        if any(term is False for term in terms):
            return False
        self.sync()
        asked = [term for term in terms if term is not True]
        result = self.solver.check(*asked)
        return None if result == z3.unknown else bool(result == z3.sat)

    def core(self, *terms: Term) -> list[int] | None:
        """Return the places of terms that cannot hold together, none of which can be left out.

        None if they can, or the solver cannot say.
        """
        for i, term in enumerate(terms):
            if term is False:
                return [i]
        kept = [i for i, term in enumerate(terms) if term is not True]
        if self.possible(*(terms[i] for i in kept)) is not False:
            return None
        for i in list(kept):
            rest = [j for j in kept if j != i]
            if self.possible(*(terms[j] for j in rest)) is False:
                kept = rest
        return kept

    def computed_behind(self, rules: Iterable[str], facts: Iterable[str] = ()) -> tuple[str, ...]:
        """Return the computed facts that the states of rules and the values of facts rest on."""
        program = self.base.program
        seen_rules: set[str] = set()
        seen: set[str] = set()
        todo = list(rules)
        wanted = list(facts)
        while todo or wanted:
            while wanted:
                fact = wanted.pop()
                if fact in seen:
                    continue
                seen.add(fact)
                if program.table.origin(fact) == CONCLUDED:
                    todo += [rule.id for rule, _ in self.setters(fact)]
            if todo:
                rule_id = todo.pop()
                if rule_id not in seen_rules:
                    seen_rules.add(rule_id)
                    rule = program.rules[program.place[rule_id]]
                    wanted += rule.reads()
                    todo += [winner.id for winner in self.winners(rule)]
        return tuple(sorted(f for f in seen if self.base.vocabulary[f].origin == "computed"))
