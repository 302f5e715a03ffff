"""Searching a number for the nearest value that changes something.

Rules compare a fact with some numbers; between two of them it makes no difference which value it
has, unless something is computed from it. So the nearest change is found exactly by going through
these cells, outward, one value of each. Where figures are computed from the fact, values are tried
outward in steps that grow, and the change between two of them is closed in on by halving. Between
two that change nothing something may still have come and gone: where more than one figure passes a
bound on the way, the way is parted until each passing stands alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator
from decimal import Context, Decimal
from typing import NamedTuple

from advisor.quantities import round9

_GROWS = 8.0
"""By how much each step outward is longer than the last."""

_FINE = 20.0
"""Into how many parts of the tolerance a change is closed in on."""

_DIGITS = 9
_NINE = Context(prec=_DIGITS)
_LEAST = 1e-9
"""What stands next to zero."""


class Scale(NamedTuple):
    """The values a number can have: its range, whether whole, and how well it can be measured."""

    low: float
    high: float
    whole: bool
    tolerance: float  # 0 where none is declared


class Found(NamedTuple):
    """The nearest value that changes something, and the last one before it that does not."""

    value: float
    keeps: float
    tried: int


def beside(x: float, up: bool, whole: bool) -> float:
    """Return the next number of nine digits, or the next whole one."""
    if whole:
        return x + 1.0 if up else x - 1.0
    if x == 0.0:
        return _LEAST if up else -_LEAST
    exact = Decimal(repr(x))
    return float(_NINE.next_plus(exact) if up else _NINE.next_minus(exact))


def cells(start: float, bounds: Collection[float], up: bool, scale: Scale) -> list[float]:
    """Return, outward from a value, the nearest value of each cell that bounds make.

    A bound is a cell of its own, for it may count to either side.
    """
    found = {beside(start, up, scale.whole)} if start in bounds else set()
    for bound in bounds:
        if bound > start if up else bound < start:
            found |= {bound, beside(bound, up, scale.whole)}
    return _within(found, start, up, scale)


def steps(start: float, up: bool, scale: Scale) -> list[float]:
    """Return values outward in growing steps, the first as far as measuring can be out."""
    end = scale.high if up else scale.low
    step = scale.tolerance or abs(end - start) / 1000.0
    found = {end}
    while 0.0 < step < abs(end - start):
        x = start + step if up else start - step
        found.add(float(round(x)) if scale.whole else round9(x))
        step *= _GROWS
    return _within(found, start, up, scale)


def _within(found: Iterable[float], start: float, up: bool, scale: Scale) -> list[float]:
    beyond = (x for x in found if (start < x <= scale.high if up else scale.low <= x < start))
    return sorted(beyond, reverse=not up)


class Tests(NamedTuple):
    """What is asked of a value: whether it keeps things; and, quicker, whether it likely does.

    `sides` tells where the figures that are computed with it stand among their bounds: twice the
    number of bounds below, and one more on a bound.
    """

    keeps: Callable[[float], bool]
    likely_keeps: Callable[[float], bool]
    sides: Callable[[float], tuple[int, ...]] | None = None


def nearest(
    start: float,
    bounds: Collection[float],
    up: bool,
    scale: Scale,
    tests: Tests,
    *,
    computed: bool,
) -> Found | int:
    """Return the nearest value to one side that does not keep things as they are.

    Args:
        start: the value as it is, which keeps them.
        bounds: the numbers that the fact is compared with.
        up: to which side.
        scale: the values it can have.
        tests: what to ask of a value.
        computed: whether something is computed from the fact, so that changes may lie between
            bounds.

    Returns:
        What was found, or how many values were tried in vain.
    """
    points: Iterable[float] = set(cells(start, bounds, up, scale))
    if computed:
        points = {*points, *steps(start, up, scale)}
    points = sorted(points, reverse=not up)
    if tests.sides is not None:
        points = _parted(start, points, scale, tests.sides)
    last, tried = start, 0
    for x in points:
        tried += 1
        if tests.keeps(x):
            last = x
        elif computed:
            return _close_in(last, x, scale, tests, tried)
        else:
            # All of a cell comes to the same, so what stands before this one keeps things.
            return Found(x, beside(x, not up, scale.whole), tried)
    return tried


def _parted(
    start: float,
    points: Iterable[float],
    scale: Scale,
    sides: Callable[[float], tuple[int, ...]],
) -> Iterator[float]:
    """Yield points, and between two of them others wherever several figures pass a bound."""
    fine = _fine(scale)

    def between(
        one: float, mine: tuple[int, ...], other: float, theirs: tuple[int, ...]
    ) -> Iterator[float]:
        passed = sum((abs(a - b) + 1) // 2 for a, b in zip(mine, theirs, strict=True))
        middle = _short(one, other, scale.whole)
        if passed < 2 or abs(other - one) <= fine or middle in (one, other):
            return
        there = sides(middle)
        yield from between(one, mine, middle, there)
        yield middle
        yield from between(middle, there, other, theirs)

    last, mine = start, sides(start)
    for x in points:
        theirs = sides(x)
        yield from between(last, mine, x, theirs)
        yield x
        last, mine = x, theirs


def _fine(scale: Scale) -> float:
    return scale.tolerance / _FINE or abs(scale.high - scale.low) / 1e6


def _close_in(kept: float, changed: float, scale: Scale, tests: Tests, tried: int) -> Found:
    """Halve the way between a value that keeps things as they are and one that does not.

    First by the quick test. What it comes to is then asked in full; if that says otherwise, the
    way is gone once more with the full test.
    """
    near, far, more = _halve(kept, changed, scale, tests.likely_keeps)
    tried += more
    if (near == kept or tests.keeps(near)) and (far == changed or not tests.keeps(far)):
        return Found(far, near, tried)
    near, far, more = _halve(kept, changed, scale, tests.keeps)
    return Found(far, near, tried + more)


def _halve(
    kept: float, changed: float, scale: Scale, keeps: Callable[[float], bool]
) -> tuple[float, float, int]:
    """Return how near two values come between which something changes, and how many were tried."""
    fine = _fine(scale)
    tried = 0
    while abs(changed - kept) > fine:
        middle = _short(kept, changed, scale.whole)
        if middle in (kept, changed):
            break
        tried += 1
        if keeps(middle):
            kept = middle
        else:
            changed = middle
    return kept, changed, tried


def _short(one: float, other: float, whole: bool) -> float:
    """Return a number about half way between two, of as few digits as it takes."""
    middle, quarter = (one + other) / 2.0, abs(other - one) / 4.0
    if whole:
        return float(round(middle))
    digits = -math.floor(math.log10(quarter)) - 1 if quarter else _DIGITS
    for more in range(3):
        x = round(middle, digits + more)
        if abs(x - middle) <= quarter:
            return round9(x)
    return round9(middle)
