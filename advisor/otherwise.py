"""What would be advised if some facts were otherwise: the engine's short way, or the whole one."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cached_property
from typing import NamedTuple

from advisor.engine.columns import Kept
from advisor.engine.conditions import Test, tests_of
from advisor.engine.nearby import Nearby
from advisor.engine.ranking import Wish
from advisor.engine.rules import Rule
from advisor.engine.values import OPTION, Value, has_value
from advisor.judge import ADVISED, JUDGED, REJECTED, STOPPED, Judgement
from advisor.options import HEAD_TYPE, HEADS
from advisor.setups.model import Given, Setup


class Advice(NamedTuple):
    """What is advised, in short: the verdict and the chosen (or nearest) build."""

    status: str
    build: Mapping[str, Value]
    at: int  # the build's place among those that one may choose from; -1 if these are others
    equals: tuple[int, ...] = ()  # the places of those as good


class Otherwise:
    """Advises again on one setup, with some facts otherwise each time.

    Args:
        judgement: of the setup as it stands.
    """

    def __init__(self, judgement: Judgement) -> None:
        self.judgement = judgement
        self.base = judgement.base
        self._kept = Kept()
        self._builds: dict[int, Mapping[str, Value]] = {}
        self._bounds: dict[str, dict[str, set[float]]] = {}
        self._on_axes = {fact for axis in judgement.choice.axes for fact in axis.facts}
        self.now = Advice(
            judgement.status, self._build(judgement.at), judgement.at, tuple(judgement.equals)
        )
        """What is advised on the setup as it stands."""

    def advice(self, facts: Mapping[str, Value], *, nearest: bool = True) -> Advice:
        """Return what is advised with some facts stated otherwise.

        Args:
            facts: the value of each; as the setup would state it.
            nearest: whether to tell the nearest build where none holds; else there is none then.
        """
        nearby = self._nearby
        if nearby is None or any(map(self.decides_what_there_is, facts)):
            return self._advise_anew(facts)
        outcome = nearby.outcome(facts, nearest=nearest)
        if outcome.survives:
            status = JUDGED if self.judgement.count == 1 else ADVISED
        else:
            status = STOPPED if outcome.stopped else REJECTED
        return Advice(status, self._build(outcome.at), outcome.at, outcome.equals)

    def keeps(self, facts: Mapping[str, Value]) -> bool:
        """Tell whether verdict and build stay as they are, the facts themselves apart."""
        nearby = self._nearby
        if nearby is not None and not any(map(self.decides_what_there_is, facts)):
            return nearby.keeps(facts)
        return self.is_same(self._advise_anew(facts), *facts)

    def is_same(self, then: Advice, *facts: str) -> bool:
        """Tell whether other advice is the same, some facts apart that were themselves changed."""
        if then.status != self.now.status:
            return False
        if then.at >= 0:
            return then.at == self.now.at
        mine, theirs = (
            {name: x for name, x in build.items() if name not in facts}
            for build in (self.now.build, then.build)
        )
        return mine == theirs

    def is_beaten(self, facts: Mapping[str, Value]) -> bool:
        """Guess whether the build does not stay: much quicker than `keeps`, and less sure."""
        nearby = self._nearby
        anew = nearby is None or any(map(self.decides_what_there_is, facts))
        return nearby is not None and not anew and nearby.is_beaten(facts)

    def sides(self, fact: str) -> Callable[[float], tuple[int, ...]] | None:
        """Return what tells, for a value of a fact, where the numbers computed from it stand.

        Of the chosen build, by the bounds that rules set on each: below the first, on it, between
        the first and the second, and so on. None where nothing computed decides.
        """
        nearby = self._nearby
        if nearby is None or self.decides_what_there_is(fact):
            return None
        marks = self.bounds(fact)
        bounded = {n: sorted(marks[n]) for n in nearby.deciding([fact]) if n in marks}
        if not bounded:
            return None
        names, bounds = list(bounded), list(bounded.values())

        def stand(value: float) -> tuple[int, ...]:
            numbers = nearby.numbers({fact: value}, names)
            return tuple(
                2 * bisect_left(ordered, x) + (x in ordered) if has_value(x) else -1
                for x, ordered in zip(numbers, bounds, strict=True)
            )

        return stand

    def bounds(self, fact: str) -> Mapping[str, set[float]]:
        """Return the numbers with which the rules that it bears on compare facts, by fact."""
        found = self._bounds.get(fact)
        if found is None:
            found = self._bounds[fact] = {}
            for test in tests_in(self.bearing(fact)):
                x = test.operand
                if isinstance(x, (int, float)) and not isinstance(x, bool):
                    found.setdefault(test.fact, set()).add(float(x))
        return found

    def bearing(self, fact: str) -> list[Rule]:
        """Return the rules through which a fact may bear on verdict and build."""
        nearby = self._nearby
        if nearby is None or self.decides_what_there_is(fact):
            return [entry.rule for entry in self.base.entries.values()]
        return nearby.live([fact])

    def is_computed_from(self, fact: str) -> bool:
        """Tell whether verdict or build may hang on a number that is computed from a fact."""
        nearby = self._nearby
        if nearby is None or self.decides_what_there_is(fact):
            needs = self.judgement.ways.chooser.needs
            return any(fact in needed for needed in needs.values())
        return nearby.reads_computed([fact])

    def is_powerless(self, fact: str) -> bool:
        """Tell whether nothing that decides on verdict or build depends on a fact."""
        nearby = self._nearby
        return (
            nearby is not None
            and not self.decides_what_there_is(fact)
            and not nearby.depends([fact])
        )

    def decides_what_there_is(self, fact: str) -> bool:
        """Tell whether a fact decides what there is to choose from."""
        return (
            fact in self._on_axes
            or self.base.vocabulary[fact].origin == OPTION
            or (fact == HEAD_TYPE and HEAD_TYPE not in self.judgement.setup.facts)
            or (self.judgement.choice.pairing and fact.startswith(HEADS + "."))
        )

    def stated(self, facts: Mapping[str, Value]) -> Judgement:
        """Judge the setup with some facts stated otherwise, the whole way."""
        setup = self.judgement.setup
        given = {name: Given(value, "tried", 0, 0, str(value)) for name, value in facts.items()}
        stated = Setup(setup.title, {**setup.facts, **given})
        return Judgement(stated, self.base, self.judgement.stock, self._kept, alone=True)

    @cached_property
    def _nearby(self) -> Nearby | None:
        judgement = self.judgement
        if not judgement.grid.complete:
            return None
        favours = []
        for rule_id in self.base.favours:
            favour = self.base.entries[rule_id].rule.favour
            if favour is not None:
                within = self.base.vocabulary[favour.fact].within
                favours.append(Wish(rule_id, favour.fact, favour.highest, within))
        return Nearby(judgement.grid, favours)

    def _advise_anew(self, facts: Mapping[str, Value]) -> Advice:
        other = self.stated(facts)
        at = other.at if other.choice.axes == self.judgement.choice.axes else -1
        equals = tuple(other.equals) if at >= 0 else ()
        return Advice(other.status, build_of(other, other.at), at, equals)

    def _build(self, at: int) -> Mapping[str, Value]:
        if at < 0:
            return {}
        found = self._builds.get(at)
        if found is None:
            found = self._builds[at] = build_of(self.judgement, at)
        return found


def tests_in(rules: Iterable[Rule]) -> Iterator[Test]:
    """Yield every test of some rules' conditions, exceptions and demands."""
    for rule in rules:
        for node in (rule.when, rule.unless, *(demand.test for demand in rule.demands)):
            if node is not None:
                yield from tests_of(node)


def build_of(judgement: Judgement, at: int) -> Mapping[str, Value]:
    """Return what one combination of a judgement is, option by option."""
    rows = judgement.grid.combination(at)
    return {
        name: value
        for axis, row in zip(judgement.choice.axes, rows, strict=True)
        for name, value in zip(axis.facts, axis.rows[row], strict=True)
        if has_value(value)
    }
