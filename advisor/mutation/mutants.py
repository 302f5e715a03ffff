"""Small changes of rules, made on the rules as data, to see whether a case would notice them.

Each changes one thing: a bound is moved by one notch to either side, a condition or an alternative
is dropped or negated, an exception or an override is dropped, a strength is swapped, a choice is
changed. What is known by structure to change nothing is not made: a bound moved where no value of
the fact's range lies between, an override between rules of which one fact lets only one fire, and
what comes to a condition that is there already.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from copy import copy
from functools import cached_property
from typing import NamedTuple

from advisor.case_findings import (
    CHOICE,
    DROPPED,
    MOVED,
    NEGATED,
    NO_EXCEPTION,
    NO_OVERRIDE,
    STRENGTH,
)
from advisor.coverage.exercised import own_rules
from advisor.coverage.terms import Path, Term, fact_of, groups_of, notch, replaced, terms_of
from advisor.engine.conditions import All, Any, Node, Not, Ref, Test, parts_of, tests_of
from advisor.engine.program import Program
from advisor.engine.rules import Demand, Favour, Rule
from advisor.engine.values import ABSENT, CONCLUDED, MISSING, Value
from advisor.needs import MOST_WAYS, Needs, Way, together
from advisor.quantities import round9
from advisor.rulebase.model import RuleBase
from advisor.vocabulary import COUNT, FLAG, TEXT, FactEntry

_BOUNDS = ("at_least", "at_most", "above", "below")
_SWAPPED = {"must": "should", "should": "must", "must_not": "should_not", "should_not": "must_not"}
_PARTS = 1 << 32


class Mutant(NamedTuple):
    """A rule changed in one thing; `name` says in which."""

    name: str
    kind: str
    rule: Rule
    place: int = -1  # of the demand that is changed, if it is one
    loser: str = ""  # the rule that is not set aside any more, if it is an override


def mutants_of(base: RuleBase) -> list[Mutant]:
    """Return the mutants of a rule base's top layer, by rule and then as its parts stand."""
    making = _Making(base)
    return [mutant for entry in own_rules(base) for mutant in making.of(entry.rule)]


def sample(mutants: list[Mutant], share: float) -> list[Mutant]:
    """Return about a share of mutants, the same ones each time, whatever the others are.

    Args:
        mutants: in any order, which is kept.
        share: from 0 to 1.
    """

    def turn(mutant: Mutant) -> float:
        return int(hashlib.sha256(mutant.name.encode()).hexdigest()[:8], 16) / _PARTS

    return [mutant for mutant in mutants if turn(mutant) < share]


def mutated(base: RuleBase, rule: Rule, *, more: tuple[Rule, ...] = ()) -> RuleBase:
    """Return a rule base with one rule otherwise; only its program is made anew.

    Args:
        base: as it was read.
        rule: to stand in the place of the one of its id.
        more: rules to be there besides; they have the words of that rule.
    """
    entry = base.entries[rule.id]
    entries = {**base.entries, rule.id: entry._replace(rule=rule)}
    entries.update({other.id: entry._replace(rule=other) for other in more})
    other = copy(base)
    for name in [name for name in vars(other) if _is_kept(name)]:
        del other.__dict__[name]
    other.entries = entries
    other.program = Program([held.rule for held in entries.values()], base.table)
    return other


def _is_kept(name: str) -> bool:
    """Tell whether a part of a rule base was worked out from its rules when first asked for."""
    return name.startswith("_") or isinstance(vars(RuleBase).get(name), cached_property)


class _Change(NamedTuple):
    """A condition changed: how, and what is said of it."""

    kind: str
    told: str
    node: Node | None


class _Making:
    """Makes mutants of the rules of one rule base."""

    def __init__(self, base: RuleBase) -> None:
        self.base = base
        self.vocabulary = base.vocabulary
        self.words = base.words
        self.needs = Needs(base.vocabulary, self._nothing_known)

    def _nothing_known(self, fact: str) -> Value:
        return ABSENT if self.vocabulary[fact].origin == CONCLUDED else MISSING

    def of(self, rule: Rule) -> Iterator[Mutant]:
        """Yield the mutants of one rule, each different from it and from the others."""
        seen = {_form(rule)}
        names: dict[str, int] = {}
        for mutant in self._all(rule):
            form = _form(mutant.rule)
            if form in seen:
                continue
            seen.add(form)
            again = names[mutant.name] = names.get(mutant.name, 0) + 1
            yield mutant if again == 1 else mutant._replace(name=f"{mutant.name} ({again})")

    def _all(self, rule: Rule) -> Iterator[Mutant]:
        for change in self._conditions(rule, "when", rule.when):
            name = f"{rule.id}: when {change.told}"
            yield Mutant(name, change.kind, rule._replace(when=change.node))
        if rule.unless is not None:
            yield Mutant(f"{rule.id}: unless dropped", NO_EXCEPTION, rule._replace(unless=None))
        for change in self._conditions(rule, "unless", rule.unless):
            if change.node is not None:
                name = f"{rule.id}: unless {change.told}"
                yield Mutant(name, change.kind, rule._replace(unless=change.node))
        for loser in rule.overrides:
            if loser in self.base.entries and self._can_both_fire(rule, loser):
                left = tuple(other for other in rule.overrides if other != loser)
                name = f"{rule.id}: override of {loser} dropped"
                yield Mutant(name, NO_OVERRIDE, rule._replace(overrides=left), loser=loser)
        yield from self._conclusions(rule)

    # Conditions

    def _conditions(self, rule: Rule, word: str, node: Node | None) -> Iterator[_Change]:
        """Yield the changes of a condition or an exception."""
        if node is None:
            return
        terms = terms_of(node)
        facts = [fact_of(term.node) for term in (*terms_of(rule.when), *terms_of(rule.unless))]
        for term in terms:
            fact = fact_of(term.node)
            short = facts.count(fact) == 1 or (word == "when" and len(facts) == 1)
            told = fact if short else self.words.condition(term.node)
            yield _Change(DROPPED, f"{told} dropped", replaced(node, term.path, _nothing))
            yield _Change(NEGATED, f"{told} negated", replaced(node, term.path, _negated))
            for change in self._inside(term.node, told):
                yield change._replace(node=_put(node, term.path, change.node))
        for group in groups_of(node):
            told = self.words.condition(group.node)
            yield _Change(DROPPED, f"({told}) dropped", replaced(node, group.path, _nothing))

    def _inside(self, node: Node, told: str) -> Iterator[_Change]:
        """Yield the changes within one term: of its bounds and its choices."""
        if isinstance(node, Test):
            yield from self._test(node)
            return
        entry = self.vocabulary[fact_of(node)]
        places = list(enumerate(parts_of(node)))
        tests = [part for _, part in places if isinstance(part, Test)]
        if isinstance(node, Any) and entry.choices and all(map(_names_one, tests)):
            listed = [test.operand for test in tests]
            for i, test in places:
                left = replaced(node, (i,), _nothing)
                named = test.operand if isinstance(test, Test) else ""
                yield _Change(CHOICE, f"{told} without {named}", left)
            more = _next_choice(entry, listed)
            if more is not None:
                wider = Any((*node.parts, Test(entry.name, "is", more)))
                yield _Change(CHOICE, f"{told} with {more} too", wider)
            return
        for i, test in places:
            if isinstance(test, Test):
                for change in self._test(test):
                    yield change._replace(node=_put(node, (i,), change.node))
                if isinstance(node, Any):
                    left = replaced(node, (i,), _nothing)
                    yield _Change(CHOICE, f"{self.words.condition(test)} dropped", left)

    def _test(self, test: Test) -> Iterator[_Change]:
        """Yield the changes of one test."""
        entry = self.vocabulary[test.fact]
        if test.op in ("known", "stated") or isinstance(test.operand, Ref):
            return
        told = self.words.condition(test)
        if entry.is_number:
            bound = float(test.operand)
            step = notch(entry, bound)
            for moved in (round9(bound - step), round9(bound + step)):
                x = int(moved) if entry.kind == COUNT else moved
                other = test._replace(operand=x)
                if not self._is_same(test, other):
                    to = self.words.value(entry.name, x)
                    yield _Change(MOVED, f"{told} moved to {to}", other)
        elif entry.choices and not isinstance(test.operand, tuple):
            more = _next_choice(entry, [test.operand])
            if more is not None:
                yield _Change(CHOICE, f"{told} made {more}", test._replace(operand=more))

    def _is_same(self, one: Test, other: Test) -> bool:
        """Tell whether no value in the fact's range lies between two bounds."""
        return self.needs.ways(one, want=True) == self.needs.ways(other, want=True)

    # Overrides

    def _can_both_fire(self, rule: Rule, loser: str) -> bool:
        """Tell whether two rules could fire together, as far as single facts tell."""
        other = self.base.entries[loser].rule
        mine, theirs = self._firing(rule.when), self._firing(other.when)
        if mine is None or theirs is None:
            return True
        return bool(together(mine, theirs))

    def _firing(self, node: Node | None) -> list[Way] | None:
        """Return every way in which a condition holds, or None where they cannot be told."""
        if node is None:
            return [{}]
        for test in tests_of(node):
            if isinstance(test.operand, Ref) or self.vocabulary[test.fact].kind == TEXT:
                return None
        found = self.needs.ways(node, want=True)
        return None if len(found) >= MOST_WAYS else found

    # Conclusions

    def _conclusions(self, rule: Rule) -> Iterator[Mutant]:
        for i, demand in enumerate(rule.demands):
            swapped = _SWAPPED[demand.strength]
            asked = self.words.demand(demand)
            yield Mutant(
                f"{rule.id}: {_word(demand.strength)} ({asked}) made {_word(swapped)}",
                STRENGTH,
                _with_demand(rule, i, demand._replace(strength=swapped)),
                demand.place,
            )
            for change in self._asking(demand):
                if change.node is not None:
                    yield Mutant(
                        f"{rule.id}: {_word(demand.strength)} {change.told}",
                        change.kind,
                        _with_demand(rule, i, demand._replace(test=change.node)),
                        demand.place,
                    )
        for i, (fact, value) in enumerate(rule.sets):
            other = self._other_value(self.vocabulary[fact], value)
            if other is not None:
                sets = (*rule.sets[:i], (fact, other), *rule.sets[i + 1 :])
                told = self.words.value(fact, other)
                name = f"{rule.id}: set {fact} {self.words.value(fact, value)} made {told}"
                yield Mutant(name, CHOICE, rule._replace(sets=sets))
        if rule.favour is not None:
            fact, highest = rule.favour
            told = "lowest" if highest else "highest"
            turned = rule._replace(favour=Favour(fact, not highest))
            yield Mutant(f"{rule.id}: favour {fact} made {told}", CHOICE, turned)
        if rule.stop:
            yield Mutant(f"{rule.id}: stop made a caution", STRENGTH, rule._replace(stop=False))

    def _asking(self, demand: Demand) -> Iterator[_Change]:
        """Yield the changes of what a demand asks for; a flag is turned."""
        for term in terms_of(demand.test):
            for change in self._inside(term.node, demand.fact):
                yield change._replace(node=_put(demand.test, term.path, change.node))
        test = demand.test
        if self.vocabulary[demand.fact].kind == FLAG and isinstance(test, Test):
            yield _Change(CHOICE, f"{demand.fact} turned", Not(test))

    def _other_value(self, entry: FactEntry, value: Value) -> Value | None:
        if entry.kind == FLAG:
            return not value
        if entry.kind == COUNT:
            return value + 1
        if entry.is_number:
            return round9(value + notch(entry, value))
        return _next_choice(entry, [value]) if entry.choices and not entry.several else None


def _nothing(_: Node) -> None:
    return None


def _negated(node: Node) -> Node:
    if isinstance(node, Not):
        return node.part
    if isinstance(node, Test) and node.op in ("known", "stated"):
        return node._replace(operand=not node.operand)
    return Not(node)


def _put(node: Node, path: Path, part: Node | None) -> Node | None:
    return replaced(node, path, lambda _: part)


def _names_one(test: Test) -> bool:
    return test.op == "is" and isinstance(test.operand, str)


def _next_choice(entry: FactEntry, listed: list[Value]) -> Value | None:
    """Return the choice that is declared next after those listed, from the start again at the end.

    None if all are listed.
    """
    order = list(entry.choices)
    last = max(order.index(value) for value in listed)
    turned = [*order[last + 1 :], *order[: last + 1]]
    return next((value for value in turned if value not in listed), None)


def _with_demand(rule: Rule, at: int, demand: Demand) -> Rule:
    return rule._replace(demands=(*rule.demands[:at], demand, *rule.demands[at + 1 :]))


def _word(strength: str) -> str:
    return strength.replace("_", " ")


def _form(rule: Rule) -> object:
    """Return what a rule comes to, the order and the nesting of its conditions apart."""
    demands = tuple((*demand[:3], _plain(demand.test)) for demand in rule.demands)
    return rule._replace(
        when=_plain(rule.when),  # type: ignore[arg-type]
        unless=_plain(rule.unless),  # type: ignore[arg-type]
        demands=demands,  # type: ignore[arg-type]
        overrides=tuple(sorted(rule.overrides)),
    )


def _plain(node: Node | None) -> object:
    """Return a condition in one form for all the ways of writing it."""
    if node is None or isinstance(node, Test):
        return node
    if isinstance(node, Not):
        inner = node.part
        if isinstance(inner, Not):
            return _plain(inner.part)
        if isinstance(inner, Test) and inner.op in ("known", "stated"):
            return inner._replace(operand=not inner.operand)
        return "not", _plain(inner)
    word = "all" if isinstance(node, All) else "any"
    parts: list[object] = []
    for part in node.parts:
        form = _plain(part)
        same = isinstance(form, tuple) and bool(form) and form[0] == word
        parts += form[1] if same else [form]  # type: ignore[index]
    unique = sorted(dict.fromkeys(parts), key=repr)
    return unique[0] if len(unique) == 1 else (word, tuple(unique))


__all__ = ["Mutant", "Term", "mutants_of", "mutated", "sample"]
