"""Turning points: for each stated fact the smallest change that alters the advice, and to what."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.decision import FactValue, Number, RuleBaseName, Stated
from advisor.engine.conditions import Ref
from advisor.engine.values import OPTION, Value, has_value
from advisor.findings import (
    EVERY_VALUE,
    EXACT,
    NOTHING_DEPENDS,
    SEARCHED,
    VALUES_TRIED,
    Powerless,
    Turn,
    TurningPoint,
    TurningPoints,
)
from advisor.judge import ADVISED, JUDGED, Judgement
from advisor.otherwise import Advice, Otherwise, tests_in
from advisor.quantities import round9
from advisor.searching import Found, Scale, Tests, beside, nearest
from advisor.setups.model import Given
from advisor.vocabulary import COUNT, FLAG, NUMBERS, TEXT, FactEntry

HOLDS = (ADVISED, JUDGED)
_HIGHEST = 1e9
"""Where a number ends that declares no range."""


def turning_points(judgement: Judgement) -> TurningPoints:
    """Find, for each fact that a setup states, what change of it alone alters the advice.

    Facts that were taken from stock by a listed number count as stated one by one.
    """
    return _Turning(judgement).all()


class _Turning:
    def __init__(self, judgement: Judgement) -> None:
        self.judgement = judgement
        self.base = judgement.base
        self.words = judgement.base.words
        self.vocabulary = judgement.base.vocabulary
        self.otherwise = Otherwise(judgement)
        self.alternatives = Alternatives(self.otherwise)

    def all(self) -> TurningPoints:
        judgement, base = self.judgement, self.base
        points: list[TurningPoint] = []
        powerless: list[Powerless] = []
        for fact, given in judgement.setup.facts.items():
            found = self._of(fact, given)
            if isinstance(found, Powerless):
                powerless.append(found)
            else:
                points.append(found)
        points.sort(key=lambda point: (not point.fragile, _reach(point)))
        layers = tuple(f"{layer.name} {layer.version}" for layer in base.layers)
        build = {name: self._shown(name, value) for name, value in self.otherwise.now.build.items()}
        return TurningPoints(
            judgement.setup.title,
            RuleBaseName(base.name, base.version, base.digest, layers),
            judgement.stock.name,
            judgement.status,
            build,
            tuple(points),
            tuple(powerless),
            tuple(point.fact for point in points if point.fragile),
            {name: base.labels[name] for name in judgement.setup.facts if name in base.labels},
        )

    def _of(self, fact: str, given: Given) -> TurningPoint | Powerless:
        entry = self.vocabulary[fact]
        shown = self._shown(fact, given.value)
        if self.otherwise.is_powerless(fact):
            return Powerless(fact, shown, NOTHING_DEPENDS)
        stated = Stated(given.file, given.line, given.written)
        if entry.kind in NUMBERS:
            return self._number(fact, entry, given.value, shown, stated)
        turns, keeping = [], []
        for value in self.alternatives.of(fact, entry, given.value):
            then = self._advice(fact, value)
            if self.otherwise.is_same(then, fact):
                keeping.append(self._shown(fact, value))
            else:
                turns.append(self._turn(fact, value, then))
        if not turns:
            return Powerless(fact, shown, EVERY_VALUE, len(keeping))
        return TurningPoint(fact, shown, stated, tuple(turns), tuple(keeping))

    def _number(
        self, fact: str, entry: FactEntry, value: float, shown: FactValue, stated: Stated
    ) -> TurningPoint | Powerless:
        scale = scale_of(entry)
        computed = self.otherwise.is_computed_from(fact)
        bounds = self.alternatives.bounds_on(fact)
        turns: list[Turn] = []
        tried = 0
        for up in (False, True):
            found = nearest(
                float(value),
                bounds,
                up,
                scale,
                Tests(
                    lambda x: self.otherwise.keeps({fact: x}),
                    lambda x: not self.otherwise.is_beaten({fact: x}),
                    self.otherwise.sides(fact) if computed else None,
                ),
                computed=computed,
            )
            if isinstance(found, int):
                tried += found
            else:
                then = self._advice(fact, found.value)
                turns.append(self._turn(fact, found.value, then, found, float(value)))
        if not turns:
            return Powerless(fact, shown, VALUES_TRIED if computed else EVERY_VALUE, tried)
        turns.sort(key=lambda turn: abs(turn.distance.value) if turn.distance else 0.0)
        tolerance = None if entry.tolerance is None else Number(entry.tolerance, entry.unit)
        near = turns[0].distance
        fragile = bool(tolerance and near and abs(near.value) <= tolerance.value)
        return TurningPoint(fact, shown, stated, tuple(turns), (), tolerance, fragile)

    def _advice(self, fact: str, value: Value) -> Advice:
        """Return what is advised; where a build holds now, the nearest one is not asked for."""
        return self.otherwise.advice({fact: value}, nearest=self.otherwise.now.status not in HOLDS)

    def _turn(
        self,
        fact: str,
        value: Value,
        then: Advice,
        found: Found | None = None,
        start: float = 0.0,
    ) -> Turn:
        entry = self.vocabulary[fact]
        gives, gone = self.differing(fact, then)
        told = Turn(
            self._shown(fact, value), then.status, gives, self._says(then, gives, gone), gone=gone
        )
        if found is None:
            return told
        exactly_before = beside(found.value, found.value < start, entry.kind == COUNT)
        return told._replace(
            distance=Number(round9(value - start), entry.unit),
            keeps=Number(found.keeps, entry.unit),
            found=EXACT if found.keeps == exactly_before else SEARCHED,
        )

    def differing(self, fact: str, then: Advice) -> tuple[dict[str, FactValue], tuple[str, ...]]:
        """Return the options that come out otherwise, and those that have no value any more."""
        now = self.otherwise.now.build
        if then.status not in HOLDS and self.otherwise.now.status in HOLDS:
            return {}, ()  # the nearest build is none to build
        gives = {
            name: self._shown(name, value)
            for name, value in then.build.items()
            if now.get(name) != value and name != fact
        }
        return gives, tuple(n for n in now if n not in then.build and n != fact)

    def _says(self, then: Advice, gives: Iterable[str], gone: Iterable[str]) -> str:
        told = [f"{name} {self.words.value(name, then.build[name], 4)}" for name in gives]
        told += [f"no {name}" for name in gone]
        if then.status != self.otherwise.now.status:
            told.insert(0, then.status)
        return ", ".join(told)

    def _shown(self, fact: str, value: Value) -> FactValue:
        entry = self.vocabulary[fact]
        return Number(value, entry.unit) if entry.kind in NUMBERS else value


class Alternatives:
    """Which other values of a fact could make a difference, by what rules say of it.

    Args:
        otherwise: of the setup, whose other facts some rules compare with it.
    """

    def __init__(self, otherwise: Otherwise) -> None:
        self.otherwise = otherwise
        self.judgement = otherwise.judgement
        self.base = otherwise.base

    def bounds_on(self, fact: str) -> set[float]:
        """Return every number that rules compare a fact with, other facts' values among them."""
        bounds = set(self.otherwise.bounds(fact).get(fact, ()))
        for test in tests_in(self.otherwise.bearing(fact)):
            if isinstance(test.operand, Ref) and fact in test.facts():
                other = test.operand.fact if test.fact == fact else test.fact
                values = self._values(other)
                bounds.update(float(x) for x in values if isinstance(x, (int, float)))
        return bounds

    def _values(self, fact: str) -> list[Value]:
        grid = self.judgement.grid
        column = grid.column(self.base.table.slot[fact])
        return [x for x in dict.fromkeys(column.cells) if has_value(x)]

    def of(self, fact: str, entry: FactEntry, value: Value) -> list[Value]:
        """Return the other values of a fact that is no number; of several, one more or one less."""
        if entry.kind == FLAG:
            return [not value]
        if entry.kind == TEXT:
            tests = tests_in(self.otherwise.bearing(fact))
            return sorted(
                {t.operand for t in tests if t.fact == fact and isinstance(t.operand, str)}
                - {value}
            )
        if not entry.several:
            return [choice for choice in entry.choices if choice != value]
        fewer = [tuple(x for x in value if x != one) for one in value if len(value) > 1]
        more = [(*value, one) for one in entry.choices if one not in value]
        instead = [(one,) for one in entry.choices if len(value) == 1 and one not in value]
        return [*fewer, *instead, *more]


def scale_of(entry: FactEntry) -> Scale:
    """Return the values that a number of the vocabulary can have."""
    low = 0.0 if entry.low is None else entry.low
    high = _HIGHEST if entry.high is None else entry.high
    return Scale(low, high, entry.kind == COUNT, entry.tolerance or 0.0)


def _reach(point: TurningPoint) -> float:
    """Return how far off the nearest turn is, in what measuring can be out by; choices are last."""
    near = point.turns[0].distance
    if near is None:
        return float("inf")
    tolerance = point.tolerance.value if point.tolerance else 0.0
    start = point.value.value if isinstance(point.value, Number) else 0.0
    return abs(near.value) / (tolerance or abs(start) / 100.0 or 1.0)


__all__ = ["OPTION", "scale_of", "turning_points"]
