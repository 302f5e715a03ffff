"""Questions about pairs of rules: can both stand where only one can have its way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations, starmap
from typing import NamedTuple

from advisor.engine.rules import Demand, Rule
from advisor.engine.run import Run
from advisor.engine.values import OPTION, UNKNOWN, Value, same_value
from advisor.proving.encoding import Encoding
from advisor.proving.found import Found
from advisor.proving.logic import Term, conj, disj, neg
from advisor.proving.offers import listed
from advisor.proving.witness import Witnesses
from advisor.replaying import needed_of

_REMEDY = "Let one override the other, or give them conditions that exclude each other."


def about_ties(encoding: Encoding, witnesses: Witnesses) -> Iterator[Found]:
    """Yield pairs of rules that can leave an open tie: of a value, then of what they ask."""
    yield from _of_values(encoding, witnesses)
    yield from _of_shoulds(encoding, witnesses)


def can_tie(encoding: Encoding, rules: Iterable[str]) -> bool:
    """Tell whether these rules could be among two that tie: only a proof says that they cannot."""
    wanted = set(rules)
    pairs: list[tuple[Rule, Rule, Sequence[Term]]] = [
        (one.rule, other.rule, _together(one.rule, other.rule, encoding))
        for _, one, other in _setting(encoding)
    ]
    pairs += [(one.rule, other.rule, terms) for one, other, terms in _asking(encoding)]
    return any(
        wanted <= {one.id, other.id} and encoding.possible(*terms) is not False
        for one, other, terms in pairs
    )


class _Set(NamedTuple):
    rule: Rule
    value: Value


def _setting(encoding: Encoding) -> Iterator[tuple[str, _Set, _Set]]:
    """Yield every two rules that set a fact to different values."""
    for fact in sorted(encoding.ties):
        setters = sorted(encoding.setters(fact), key=lambda claim: claim[0].id)
        for one, other in combinations(starmap(_Set, setters), 2):
            if not same_value(one.value, other.value):
                yield fact, one, other


def _together(one: Rule, other: Rule, encoding: Encoding) -> tuple[Term, Term]:
    return encoding.rules[one.id].stands, encoding.rules[other.id].stands


def _of_values(encoding: Encoding, witnesses: Witnesses) -> Iterator[Found]:
    open_ties = {
        fact for fact, tied in encoding.ties.items() if encoding.possible(tied) is not False
    }
    for fact, one, other in _setting(encoding):
        both = _together(one.rule, other.rule, encoding)
        if fact not in open_ties or not encoding.possible(*both):
            continue
        pair = one.rule.id, other.rule.id

        def shows(run: Run, fact: str = fact, pair: tuple[str, str] = pair) -> bool:
            return set(pair) <= set(run.tied().get(fact, ()))

        witness = witnesses.find(*both, shows=shows)
        if witness is not None:
            value = encoding.base.words.value
            yield Found(
                "open-tie",
                pair,
                f"`{pair[0]}` and `{pair[1]}` can stand together and set {fact} to "
                f"{value(fact, one.value)} and to {value(fact, other.value)}, which leaves it "
                "without a value.",
                _REMEDY,
                ("then",),
                witness.stated,
                f"both stand, and {fact} is tied",
                encoding.computed_behind(pair),
            )


class _Asked(NamedTuple):
    rule: Rule
    demand: Demand
    meets: Mapping[Value, Term]  # by what is listed to choose from
    some: Term  # whether anything listed meets it


def _of_shoulds(encoding: Encoding, witnesses: Witnesses) -> Iterator[Found]:
    for one, other, terms in _asking(encoding):
        if encoding.possible(*terms):
            yield from _apart(one, other, terms, encoding, witnesses)


def _asking(encoding: Encoding) -> Iterator[tuple[_Asked, _Asked, Sequence[Term]]]:
    """Yield every two shoulds of a layer on an option, and when both stand and are apart."""
    base = encoding.base
    by_fact: dict[tuple[int, str], list[_Asked]] = {}
    for rule in sorted(base.program.rules, key=lambda rule: rule.id):
        for demand in rule.demands:
            if demand.is_must or base.vocabulary[demand.fact].origin != OPTION:
                continue
            meets = {value: _meets(encoding, demand, value) for value in listed(base, demand.fact)}
            if len(meets) > 1:
                asked = _Asked(rule, demand, meets, disj(*meets.values()))
                by_fact.setdefault((rule.layer, demand.fact), []).append(asked)
    for asks in by_fact.values():
        for one, other in combinations(asks, 2):
            both = disj(*(conj(one.meets[value], other.meets[value]) for value in one.meets))
            never_both = conj(one.some, other.some, neg(both))
            if one.rule.id != other.rule.id and never_both is not False:
                yield one, other, (*_together(one.rule, other.rule, encoding), never_both)


def _meets(encoding: Encoding, demand: Demand, value: Value) -> Term:
    outcome = encoding.facts.at(demand.test, demand.fact, value, UNKNOWN)
    return outcome.no if demand.is_negative else outcome.yes


def _apart(
    one: _Asked,
    other: _Asked,
    terms: Sequence[Term],
    encoding: Encoding,
    witnesses: Witnesses,
) -> Iterator[Found]:
    fact = one.demand.fact
    found = _Shown(one, other, encoding, witnesses).find(terms)
    if found is None:
        return
    words = encoding.base.words
    asks = [words.demand(asked.demand).removeprefix(f"{fact} ") for asked in (one, other)]
    yield Found(
        "open-tie",
        (one.rule.id, other.rule.id),
        f"`{one.rule.id}` and `{other.rule.id}` can stand together and ask of {fact} that it "
        f"{asks[0]} and that it {asks[1]}; something listed meets either, nothing meets both.",
        _REMEDY,
        ("then",),
        found,
        "both stand on the build that is chosen, which fails one of them",
        encoding.computed_behind((one.rule.id, other.rule.id)),
    )


class _Shown:
    """Looks for a setup whose advice tells two shoulds as tied, the option left to be chosen."""

    def __init__(
        self, one: _Asked, other: _Asked, encoding: Encoding, witnesses: Witnesses
    ) -> None:
        self.pair = frozenset((one.rule.id, other.rule.id))
        self.fact = one.demand.fact
        self.encoding = encoding
        self.witnesses = witnesses
        vocabulary = encoding.base.vocabulary
        group = self.fact.partition(".")[0]
        grouped = group in encoding.base.ladder.items
        self.open = {
            name
            for name in vocabulary.of_origin(OPTION)
            if name == self.fact or (grouped and name.startswith(group + "."))
        }

    def find(self, terms: Sequence[Term]) -> dict[str, Value] | None:
        """Return what is stated, or None where the engine tells of no such tie."""
        pair, witnesses = self.pair, self.witnesses

        def both(some: Mapping[str, Value]) -> bool:
            run = witnesses.run(some)
            return witnesses.in_domain(run) and all(run.stands(rule) for rule in pair)

        model = witnesses.model_of(*terms)
        if model is None:
            return None
        stated = {name: value for name, value in model.items() if name not in self.open}
        options = set(self.encoding.base.vocabulary.of_origin(OPTION))
        free = {name: value for name, value in stated.items() if name not in options}
        for tried in (free, stated):
            if not self._tied(tried):
                continue
            needed = needed_of(tried, both)
            if self._tied(needed):
                return needed
            return needed_of(tried, self._tied)
        return None

    def _tied(self, stated: Mapping[str, Value]) -> bool:
        if not self.witnesses.in_domain(self.witnesses.run(stated)):
            return False
        judgement = self.witnesses.judged(stated)
        ties = judgement.should_ties(judgement.run, judgement.own_failures)
        return any(
            {one.id, other.id} == self.pair and demand.fact == self.fact
            for (one, demand), (other, _) in ties
        )
