"""Columns: values over the combinations of some axes, spread over more only where they meet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from operator import itemgetter
from typing import NamedTuple

from advisor.engine.values import Value


class Column(NamedTuple):
    """Values over the combinations of the axes in `mask`; one value where the mask is 0."""

    mask: int
    cells: Sequence[Value]


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
    cells = []
    for row in rows:
        try:
            cells.append(seen[row])
        except KeyError:
            cell = seen[row] = of(row)
            cells.append(cell)
    return cells
