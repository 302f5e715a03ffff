"""Two rule bases in one solver, over the same setups: on which of them does their advice differ.

Both are encoded over the same variables, so a setup is one and the same for both; what each assumes
of what is not stated is its own. Only rules that can make a difference, and what they rest on, are
encoded at all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import z3

from advisor.engine.conditions import facts_of
from advisor.engine.program import Program
from advisor.engine.values import COMPUTED, CONCLUDED, Value
from advisor.meanings.canonical import value_form
from advisor.meanings.sides import (
    ASKED,
    FAVOUR,
    OFFENCE,
    ORDER,
    SET,
    SHOWN,
    Key,
    Side,
    Sides,
    Source,
    shown_by,
)
from advisor.meanings.states import Kind, kind_of, pair_of
from advisor.proving.encoding import Encoding
from advisor.proving.facts import FactSpace, FactTerms, texts_of
from advisor.proving.logic import Term, conj, disj, neg
from advisor.proving.witness import Witnesses
from advisor.rulebase.model import RuleBase
from advisor.vocabulary import TEXT


class Both:
    """Some effects of two rule bases in one solver.

    Args:
        sides: the two.
        keys: the effects.
    """

    def __init__(self, sides: Sides, keys: Iterable[Key]) -> None:
        self.sides = sides
        self.keys = tuple(keys)
        self._offences = _offences(sides, self.keys)
        old, new = (
            sliced(side, self._places(side), self._facts(side)) for side in (sides.old, sides.new)
        )
        self.differing = _differing(old, new)
        """Facts that are not of one kind in both: nothing can be said where they are read."""
        apart = _apart(sides, self.differing)
        texts = _joined(texts_of(old), texts_of(new))
        self.old = Encoding(
            old, prefix="old ", space=FactSpace(old, texts=texts, apart=apart, prefix="old ")
        )
        self.new = Encoding(
            new,
            prefix="new ",
            beside=self.old,
            space=FactSpace(new, texts=texts, apart=apart, prefix="new "),
        )
        self._terms = {key: self._differs(key) for key in self.keys}
        self._linked: list[Term] = self._links(apart)
        # What was defined of the one is handed over with the other's.
        self._witnesses: tuple[_Both, _Both] | None = None

    def _places(self, side: Side) -> set[int]:
        found = {p for key in self.keys for s in _sources(side, key) for p in _places_of(s)}
        for old, new in self._offences.values():
            found |= {source.place for source in (old if side is self.sides.old else new)}
        return found

    def _facts(self, side: Side) -> set[str]:
        words = side.base.vocabulary
        found = {key.topic for key in self.keys if key.kind == SET and key.topic in words}
        return found | {shown_by(key) for key in self.keys if key.kind == SHOWN}

    def free_for(self, keys: Iterable[Key]) -> tuple[str, ...]:
        """Return the computed facts behind some effects: they count as free within their range."""
        found: set[str] = set()
        for side in (self.sides.old, self.sides.new):
            words = side.base.vocabulary
            for key in keys:
                sources = _sources(side, key)
                if key.kind in (ASKED, OFFENCE):
                    sources = self._offences[kind_of(key)][side is self.sides.new]
                places = [p for source in sources for p in _places_of(source)]
                read = side.behind(places, [shown_by(key)] if key.kind == SHOWN else ())[1]
                for source in sources:
                    if source.demand is not None:
                        read |= {source.demand.fact, *facts_of(source.demand.test)}
                found |= {f for f in read if f in words and words[f].origin == COMPUTED}
        return tuple(sorted(found))

    def possible(self, keys: Iterable[Key]) -> bool | None:
        """Tell whether some setup has one of these effects on one side and not on the other.

        None if the solver cannot say in time, or a fact is not of one kind in both.
        """
        if self.differing:
            return None
        return self._possible(disj(*(self._terms[key] for key in keys)), *self._linked)

    def _possible(self, *terms: Term) -> bool | None:
        self.new.sync()
        return self.old.possible(*terms)

    def model(self, keys: Iterable[Key], *, firm: bool = False) -> dict[str, Value] | None:
        """Return what a setup would state on which one of these effects differs, options included.

        No engine was run on it.

        Args:
            keys: the effects.
            firm: whether undecided rules are taken to conclude nothing.
        """
        if self.differing:
            return None
        if self._witnesses is None:
            self._witnesses = _Both(self.old, self), _Both(self.new, self)
        one, other = self._witnesses
        told = (self._differs(key, firm=True) if firm else self._terms[key] for key in keys)
        term = disj(*told)
        if self._possible(term, *self._linked, *one.plain, *other.plain) is not True:
            return None
        model = self.old.solver.model()
        return {**one.stated(model), **other.stated(model)}

    # What differs

    def _differs(self, key: Key, *, firm: bool = False) -> Term:
        if key.kind == SET:
            return self._set_differs(key.topic, firm=firm)
        if key.kind == SHOWN:
            return self._shown_differs(key)
        if key.kind == ORDER:
            one, other = pair_of(key)
            return disj(
                *(
                    conj(self._stand(side, one)[0], self._stand(side, other)[0])
                    for side in (self.old, self.new)
                )
            )
        if key.kind in (ASKED, OFFENCE):
            return self._offence_differs(kind_of(key), counted=key.kind == ASKED, firm=firm)
        if key.kind == FAVOUR and self._is_apart(key.topic):
            return True  # what it favours is another number, and what that does nobody can say
        stands, waits = self._stand(self.old, key)
        stands_now, waits_now = self._stand(self.new, key)
        if firm:
            return _unlike(stands, stands_now)
        return _states_differ(stands, waits, stands_now, waits_now)

    def _set_differs(self, fact: str, *, firm: bool) -> Term:
        return _values_differ(
            _terms_of(self.old, fact),
            _terms_of(self.new, fact),
            self.old.ties.get(fact, False),
            self.new.ties.get(fact, False),
            firm=firm,
        )

    def _shown_differs(self, key: Key) -> Term:
        """Return whether a text stands on both sides and shows another value of a fact."""
        fact = shown_by(key)
        one, other = self.old.facts.fact(fact), self.new.facts.fact(fact)
        if one.entry.unit != other.entry.unit or one.entry.kind == TEXT:
            differ: Term = self._is_apart(fact)
        elif one.number is not None and other.number is not None:
            both = conj(one.known, other.known)
            differ = disj(_unlike(one.known, other.known), conj(both, one.number != other.number))
        else:
            differ = self._set_differs(fact, firm=True)
        return conj(self._stand(self.old, key)[0], self._stand(self.new, key)[0], differ)

    def _is_apart(self, fact: str) -> bool:
        one, other = self.sides.old.facts.get(fact), self.sides.new.facts.get(fact)
        return one is not None and other is not None and one != other

    def _side(self, encoding: Encoding) -> Side:
        return self.sides.old if encoding is self.old else self.sides.new

    def _stand(self, encoding: Encoding, key: Key) -> tuple[Term, Term]:
        stands: list[Term] = []
        waits: list[Term] = []
        for source in self._side(encoding).effects.get(key, ()):
            rules = [self._id(encoding, place) for place in _places_of(source)]
            terms = [encoding.rules[rule_id] for rule_id in rules]
            stands.append(conj(*(t.stands for t in terms)))
            waits.append(conj(*(disj(t.stands, t.waits) for t in terms)))
        return disj(*stands), disj(*waits)

    def _id(self, encoding: Encoding, place: int) -> str:
        return self._side(encoding).rule(place).id

    def _offence_differs(self, kind: Kind, *, counted: bool, firm: bool = False) -> Term:
        """Return whether what is asked of a fact is offended differently by some build.

        A build is as good as another where it breaks as much and fails as many shoulds. Musts are
        `counted`, for that ranks builds; but not those on what the setup settles.
        """
        old, new = self._offences[kind]
        before, after = self._offended(self.old, old), self._offended(self.new, new)
        must = kind[1] == "must"
        broken, broken_now = disj(*before[0]), disj(*after[0])
        bad, bad_now = disj(*before[0], *before[1]), disj(*after[0], *after[1])
        if firm:
            # What is broken, not what is unproven, shows the most.
            return _unlike(broken, broken_now)
        if not must:
            return _states_differ(bad, disj(*before[2]), bad_now, disj(*after[2]))
        if counted:
            return disj(*map(_numbers_differ, before, after))
        unproven, unproven_now = disj(*before[1]), disj(*after[1])
        rest = _states_differ(unproven, disj(*before[2]), unproven_now, disj(*after[2]))
        return disj(_unlike(broken, broken_now), conj(neg(broken), neg(broken_now), rest))

    def _offended(
        self, encoding: Encoding, sources: Sequence[Source]
    ) -> tuple[list[Term], list[Term], list[Term]]:
        """Return where each demand is broken, unproven, and could be offended by who is undecided.

        Two that ask the same on the same setups are one.
        """
        found: tuple[list[Term], list[Term], list[Term]] = ([], [], [])
        for source in sources:
            assert source.demand is not None
            terms = encoding.rules[self._id(encoding, source.place)]
            outcome = encoding.asked(source.demand)
            found[0].append(conj(terms.stands, outcome.no))
            found[1].append(conj(terms.stands, outcome.unknown))
            found[2].append(conj(terms.waits, neg(outcome.yes)))
        return found

    # What both sides have in common of facts that each has its own variables for

    def _links(self, apart: frozenset[str]) -> list[Term]:
        found: list[Term] = []
        for name in sorted(apart):
            one, other = self.old.facts.facts.get(name), self.new.facts.facts.get(name)
            if one is None or other is None:
                continue
            same: list[Term] = []
            if one.number is not None and other.number is not None:
                same.append(one.number == other.number)
            same += [
                neg(_unlike(one.values.get(value, False), other.values.get(value, False)))
                for value in {**one.values, **other.values}
            ]
            found += [
                neg(_unlike(one.stated, other.stated)),
                disj(neg(conj(one.stated, other.stated)), conj(*same)),
            ]
        return found


class _Both(Witnesses):
    """Reads statements of one side out of a model, with numbers plain for both."""

    def __init__(self, encoding: Encoding, both: Both) -> None:
        self._both = both
        super().__init__(encoding)

    @property
    def plain(self) -> list[Term]:
        """What makes a model one that a setup can state."""
        return [*self._plain, *self._wide]

    def stated(self, model: Any) -> dict[str, Value]:
        """Return what a model states, every option included."""
        return self._stated(model)

    def bounds_on(self, name: str) -> frozenset[float]:
        """Return the numbers that rules of either side compare a fact with."""
        return self._both.old.base.bounds_on(name) | self._both.new.base.bounds_on(name)


def sliced(side: Side, places: Iterable[int], facts: Iterable[str]) -> RuleBase:
    """Return the part of a rule base that some rules and facts rest on."""
    base = side.base
    rules, _ = side.behind(places, facts)
    kept = [base.program.rules[place] for place in sorted(rules)]
    return RuleBase(
        layers=base.layers,
        vocabulary=base.vocabulary,
        table=base.table,
        program=Program(kept, base.table),
        entries=tuple(base.entries[rule.id] for rule in kept),
        sources=base.sources,
        favours=(),
        assume=base.assume,
        retired=(),
        digest=base.digest,
        ladder=base.ladder,
        domain=base.domain,
    )


def _sources(side: Side, key: Key) -> list[Source]:
    parts = pair_of(key) if key.kind == ORDER else (key,)
    return [source for part in parts for source in side.effects.get(part, ())]


def _places_of(source: Source) -> list[int]:
    return [source.place] if source.other < 0 else [source.place, source.other]


def _offences(sides: Sides, keys: Iterable[Key]) -> dict[Kind, tuple[list[Source], list[Source]]]:
    """Return every demand of either side on what these effects ask for."""
    wanted = {kind_of(key) for key in keys if key.kind in (ASKED, OFFENCE)}
    found: dict[Kind, tuple[list[Source], list[Source]]] = {kind: ([], []) for kind in wanted}
    for i, side in enumerate((sides.old, sides.new)):
        for key, sources in side.effects.items():
            if key.kind in (ASKED, OFFENCE) and kind_of(key) in wanted:
                held = found[kind_of(key)][i]
                held += [source for source in sources if source not in held]
    return found


def _terms_of(encoding: Encoding, fact: str) -> FactTerms | None:
    return encoding.facts.fact(fact) if fact in encoding.base.vocabulary else None


def _values_differ(
    one: FactTerms | None, other: FactTerms | None, tied: Term, tied_now: Term, *, firm: bool
) -> Term:
    known, absent, values = (
        (False, True, {}) if one is None else (one.known, one.absent, one.values)
    )
    known_now, absent_now, values_now = (
        (False, True, {}) if other is None else (other.known, other.absent, other.values)
    )
    before = {value_form(value): term for value, term in values.items()}
    after = {value_form(value): term for value, term in values_now.items()}
    told = [
        _unlike(before.get(form, False), after.get(form, False)) for form in {**before, **after}
    ]
    return disj(
        _unlike(known, known_now),
        False if firm else _unlike(absent, absent_now),
        _unlike(tied, tied_now),
        conj(known, known_now, disj(*told)),
    )


def _states_differ(stands: Term, waits: Term, stands_now: Term, waits_now: Term) -> Term:
    idle = conj(neg(stands), neg(stands_now))
    return disj(_unlike(stands, stands_now), conj(idle, _unlike(waits, waits_now)))


def _unlike(one: Term, other: Term) -> Term:
    """Return whether one holds and the other does not."""
    return disj(conj(one, neg(other)), conj(neg(one), other))


def _numbers_differ(one: Sequence[Term], other: Sequence[Term]) -> Term:
    """Return whether there are not as many on both sides that hold."""
    before, after = ([t for t in terms if t is not False] for terms in (one, other))
    if not before and not after:
        return False
    if len(before) == len(after) == 1:
        return _unlike(before[0], after[0])

    def number(terms: Sequence[Term]) -> Any:
        ones = [z3.If(z3.BoolVal(t) if isinstance(t, bool) else t, 1, 0) for t in terms]
        return z3.Sum(ones) if ones else z3.IntVal(0)

    return number(before) != number(after)


def _differing(old: RuleBase, new: RuleBase) -> tuple[str, ...]:
    """Return the facts that rules read and that the two vocabularies take for different things."""
    read = {fact for base in (old, new) for rule in base.program.rules for fact in rule.reads()}
    found = []
    for name in sorted(read):
        one, other = old.vocabulary.entries.get(name), new.vocabulary.entries.get(name)
        if one is None or other is None:
            continue
        if (one.kind, one.unit, one.several, one.origin) != (
            other.kind,
            other.unit,
            other.several,
            other.origin,
        ):
            found.append(name)
    return tuple(found)


def _apart(sides: Sides, differing: Iterable[str]) -> frozenset[str]:
    """Return the facts of which each side has its own value: assumed, or computed from such."""
    found = set(differing)
    both = sides.old.facts.keys() & sides.new.facts.keys()
    for name in both:
        entry = sides.old.base.vocabulary[name]
        if entry.origin != CONCLUDED and sides.old.facts[name] != sides.new.facts[name]:
            found.add(name)
    return frozenset(found)


def _joined(one: Mapping[str, list[str]], other: Mapping[str, list[str]]) -> dict[str, list[str]]:
    return {
        name: list(dict.fromkeys((*one.get(name, ()), *other.get(name, ()))))
        for name in {**one, **other}
    }
