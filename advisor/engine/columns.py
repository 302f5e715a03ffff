"""Columns: values over the combinations of some axes, spread over more only where they meet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from itertools import combinations
from math import prod
from operator import itemgetter
from typing import NamedTuple

from advisor.engine.values import Value

_UNSEEN = object()


class Column(NamedTuple):
    """Values over the combinations of the axes in `mask`; one value where the mask is 0."""

    mask: int
    cells: Sequence[Value]


class Kept:
    """What the first of several grids over the same axes worked out, for the others to take.

    A column is the same wherever what it comes from is; setups that differ in one fact share most.
    """

    def __init__(self) -> None:
        self.axes: tuple[object, ...] | None = None
        self.columns: dict[tuple[Value, ...], tuple[list[Value], Column]] = {}
        self.verdicts: tuple[object, list[int], dict[int, list[int]]] | None = None

    def take(
        self, key: tuple[Value, ...], inputs: list[Value], make: Callable[[], Column]
    ) -> Column:
        """Return the column kept under a key if it came from the same inputs, or make one."""
        held = self.columns.get(key)
        if held is None:
            held = self.columns[key] = inputs, make()
        return held[1] if held[0] == inputs else make()


@lru_cache(maxsize=4096)
def project(sizes: tuple[int, ...], mask: int, onto: int) -> tuple[int, ...]:
    """Return, for each combination of the axes in `mask`, the place of its part in `onto`.

    The last axis varies fastest.
    """
    places = [0]
    for bit, size in enumerate(sizes):
        if mask >> bit & 1:
            if onto >> bit & 1:
                places = [p * size + i for p in places for i in range(size)]
            else:
                places = [p for p in places for _ in range(size)]
    return tuple(places)


@lru_cache(maxsize=4096)
def spreading(
    sizes: tuple[int, ...], mask: int, onto: int
) -> Callable[[Sequence[Value]], Sequence[Value]]:
    """Return what spreads the cells of the axes `onto` over those of `mask`, in C."""
    return picker(project(sizes, mask, onto))


@lru_cache(maxsize=1024)
def merging(sizes: tuple[int, ...], masks: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
    """Return in which order to unite tables over the axes in `masks`: two at a time.

    Those two are next that make the smallest table together, so few are ever of full size.
    """

    def size(mask: int) -> int:
        return prod(size for bit, size in enumerate(sizes) if mask >> bit & 1)

    left = set(masks)
    found = []
    while len(left) > 1:
        one, other = min(combinations(sorted(left), 2), key=lambda pair: size(pair[0] | pair[1]))
        found.append((one, other))
        left -= {one, other}
        left.add(one | other)
    return tuple(found)


def picker(places: Sequence[int]) -> Callable[[Sequence[Value]], Sequence[Value]]:
    """Return what picks the cells in `places`, in C."""
    if not places:
        return lambda _: ()
    if len(places) == 1:
        return lambda cells: (cells[places[0]],)
    pick: Callable[[Sequence[Value]], Sequence[Value]] = itemgetter(*places)
    return pick


def each(of: Callable[[Value], Value], rows: Iterable[Value]) -> list[Value]:
    """Return what each row comes to. Rows repeat, and what they come to does not change."""
    seen: dict[Value, Value] = {}
    known = seen.get
    cells = []
    for row in rows:
        cell = known(row, _UNSEEN)
        if cell is _UNSEEN:
            cell = seen[row] = of(row)
        cells.append(cell)
    return cells
