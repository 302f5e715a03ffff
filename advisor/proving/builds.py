"""Setups that rules leave without a build: given facts for which every combination breaks a must.

What is asked is "is there a setup so that for every build ...", which the solver is not asked as
such. It is given a few builds and looks for a setup in which each of them breaks a must; the engine
then judges that setup over all that is listed to choose from. A build that holds after all is given
to the solver, too, and it looks again. So a setup that comes out of this is rejected by the engine,
and if the solver finds none, there is none, as far as these musts go:

- those that read no computed fact which depends on the build, since such a fact is a matter of
  physics and not free in each build by itself;
- of the options the ladder lists (or a choice or a count has), not of another shelf.

A must on what is stated, or assumed where it is not, judges the setup by itself, as a stop does: it
is meant to refuse, and no finding. Neither is a setup that carries a stop.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import z3

from advisor.engine.rules import Rule
from advisor.engine.values import OPTION, Value
from advisor.judge import REJECTED, Judgement
from advisor.proving.encoding import Encoding
from advisor.proving.found import Found
from advisor.proving.logic import conj, disj, neg
from advisor.proving.musts import Musts, Pairs
from advisor.proving.witness import Witnesses
from advisor.replaying import needed_of

MOST_ROUNDS = 400
"""Setups tried in all before the search ends."""

MOST_FOUND = 40
"""Setups told at most."""


def about_builds(
    encoding: Encoding, witnesses: Witnesses, musts: Musts | None = None
) -> Iterator[Found]:
    """Yield setups without a build, one for each smallest set of rules that causes one."""
    search = _Search(encoding, witnesses, Musts(encoding.base) if musts is None else musts)
    for _ in range(MOST_FOUND):
        found = search.next()
        if found is None:
            return
        yield found


class _Search:
    def __init__(self, named: Encoding, witnesses: Witnesses, musts: Musts) -> None:
        self.base = named.base
        self.named = named
        self.witnesses = witnesses
        self.musts = musts
        self.encoding = musts.encoding
        self.solver = musts.solver()
        self.rounds = 0
        self.told: set[frozenset[str]] = set()
        self.broken = disj(*musts.broken.values())
        if isinstance(self.broken, bool):
            self.solver.add(z3.BoolVal(self.broken))

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
        slot = self.base.table.slot
        if not isinstance(self.broken, bool):
            pairs = self.musts.fixed({name: row[slot[name]] for name in self.musts.options})
            self.solver.add(z3.substitute(self.broken, *pairs))

    def _leave(self, stated: Mapping[str, Value]) -> None:
        """Leave a setup that did not come out as the solver has it."""
        same = []
        for name, value in stated.items():
            fact = self.encoding.facts.facts[name]
            same.append(conj(fact.stated, self.encoding.facts.has(fact, value)))
        different = neg(conj(*same))
        if not isinstance(different, bool):
            self.solver.add(different)

    def _found(self, stated: Mapping[str, Value]) -> Found | None:
        """Return the finding of a rejected setup, and leave what causes it for what follows."""

        def rejected(some: Mapping[str, Value]) -> bool:
            if not self.witnesses.in_domain(self.witnesses.run(some)):
                return False
            # Without a statement something else may be assumed, which a must refuses by itself.
            judgement = self._judged(some)
            return judgement.status == REJECTED and not self.musts.refused(judgement)

        if not rejected(stated):
            self._leave(stated)
            return None
        needed = self.witnesses.plainer(needed_of(stated, rejected), rejected)
        sets = self._judged(needed).conflicts
        rules = next((some for some in sets if self._is_new(some)), ())
        if not rules:
            self._leave(stated)
            return None
        self.told.add(frozenset(rules))
        self._explain(rules)
        return self._told(rules, needed, sets)

    def _is_new(self, rules: Sequence[str]) -> bool:
        """Tell whether a set of rules is one of musts alone that was not told yet."""
        musts = all(self._rule(rule).demands and not self._rule(rule).stop for rule in rules)
        return musts and frozenset(rules) not in self.told

    def _explain(self, rules: Sequence[str]) -> None:
        """Ask of later setups that some listed build breaks no must of these rules."""
        broken = disj(*(self.musts.broken.get(rule, False) for rule in rules))
        met = self.musts.copied(neg(broken), f"for {rules}")
        self.solver.add(z3.BoolVal(met) if isinstance(met, bool) else met)

    def _rule(self, rule_id: str) -> Rule:
        program = self.base.program
        return program.rules[program.place[rule_id]]

    def _told(
        self,
        rules: tuple[str, ...],
        stated: Mapping[str, Value],
        sets: Sequence[tuple[str, ...]],
    ) -> Found:
        first = min(rules, key=lambda rule: (not self.musts.of_setup(rule), rule))
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


def conflicting(musts: Musts, rules: Iterable[str]) -> bool | None:
    """Tell whether on some setup no build meets a set of musts, and without any of these one does.

    So these rules belong to a smallest such set, whichever others that setup lacks a build for. The
    solver chooses the setup and the set; builds that meet the set are held against it one by one.

    Returns:
        None where the solver cannot say.
    """
    wanted = sorted(set(rules))
    if any(rule not in musts.broken for rule in wanted):
        return False
    chosen = {rule: z3.Bool(f"chosen {rule}") for rule in musts.broken}
    offends = {rule: conj(chosen[rule], term) for rule, term in musts.broken.items()}
    solver = musts.solver()
    for rule in wanted:
        rest = disj(*(term for other, term in offends.items() if other != rule))
        met = musts.copied(neg(rest), f"but for {rule}")
        solver.add(chosen[rule], z3.BoolVal(met) if isinstance(met, bool) else met)
    broken = disj(*offends.values())
    builds = _Builds(musts, broken)
    for _ in range(MOST_ROUNDS):
        result = solver.check()
        if result != z3.sat:
            return None if result == z3.unknown else False
        meeting = builds.meeting(solver.model())
        if meeting is None:
            return True
        solver.add(z3.substitute(broken, *meeting))
    return None


class _Builds:
    """Finds listed builds on which a term does not hold, for one setup of a model after another."""

    def __init__(self, musts: Musts, broken: Any) -> None:
        self._broken = broken
        options = [
            term
            for fact in musts.options.values()
            for term in (fact.stated, fact.number, *fact.values.values())
            if term is not None and not isinstance(term, bool) and z3.is_const(term)
        ]
        named = {str(term) for term in options}
        self._options = options
        self._others = [term for term in _variables(broken) if str(term) not in named]
        self._solver = z3.Solver()
        listed = musts.listed(musts.options)
        if not isinstance(listed, bool):
            self._solver.add(listed)

    def meeting(self, model: Any) -> Pairs | None:
        """Return a build that meets what a model asks; None if there is none, or none is known."""

        def valued(terms: Sequence[Any], model: Any) -> Pairs:
            return [(term, model.evaluate(term, model_completion=True)) for term in terms]

        here = z3.substitute(self._broken, *valued(self._others, model))
        self._solver.push()
        self._solver.add(z3.Not(here))
        found = None
        if self._solver.check() == z3.sat:
            found = valued(self._options, self._solver.model())
        self._solver.pop()
        return found


def _variables(term: Any) -> list[Any]:
    """Return the variables of a term."""
    found: dict[int, Any] = {}
    seen: set[int] = set()
    todo = [term]
    while todo:
        here = todo.pop()
        if here.get_id() in seen:
            continue
        seen.add(here.get_id())
        if z3.is_const(here) and here.decl().kind() == z3.Z3_OP_UNINTERPRETED:
            found[here.get_id()] = here
        todo += here.children()
    return list(found.values())
