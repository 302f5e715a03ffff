"""Which combination is best, which are as good, and which rules cannot hold together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain
from typing import NamedTuple

from advisor.engine.grid import Grid, Offence
from advisor.engine.values import Value, has_value

MOST_CONFLICTS = 20


class Wish(NamedTuple):
    """A favour ready to rank with: values within `within` of the best count as equal."""

    rule: str
    fact: str
    highest: bool
    within: float


def round9(x: float) -> float:
    """Round to nine significant digits, as every number is when it becomes a fact."""
    return float(f"{x:.9g}")


def rank(
    grid: Grid, candidates: Mapping[int, Sequence[int]], wishes: Sequence[Wish]
) -> Iterator[list[int]]:
    """Yield groups of equal combinations, best first, each in the order of the axes' rows.

    Fewest unproven musts first; then fewest shoulds not met of the highest layer, then of the
    layers under it; then the wishes in order. Lazy: what nobody asks for is not ranked.

    Args:
        grid: with the verdicts.
        candidates: combinations by their verdict.
        wishes: the most important first.
    """
    layers = sorted(grid.failed_bits, reverse=True)
    by_key: dict[tuple[int, ...], list[Sequence[int]]] = {}
    for verdict, alike in candidates.items():
        key = (
            (verdict & grid.unproven_bits).bit_count(),
            *((verdict & grid.failed_bits[layer]).bit_count() for layer in layers),
        )
        by_key.setdefault(key, []).append(alike)
    for key in sorted(by_key):
        yield from _wished(grid, sorted(chain.from_iterable(by_key[key])), wishes)


def _wished(grid: Grid, group: list[int], wishes: Sequence[Wish]) -> Iterator[list[int]]:
    if not wishes or len(group) == 1:
        yield group
        return
    wish, later = wishes[0], wishes[1:]
    slot = grid.chooser.table.slot[wish.fact]
    if grid.mask_of(slot) == 0:
        yield from _wished(grid, group, later)
        return
    values = grid.cells(slot, group)
    while group:
        keep, rest = within_reach(group, values, wish)
        yield from _wished(grid, keep, later)
        group = rest


def within_reach(
    group: list[int], values: dict[int, Value], wish: Wish
) -> tuple[list[int], list[int]]:
    """Part a group into those near the best value and the rest; unknown for all is near for all."""
    known: list[float] = [x for at in group if has_value(x := values[at])]
    if not known:
        return group, []
    best = max(known) if wish.highest else min(known)
    keep: list[int] = []
    rest: list[int] = []
    within = wish.within
    # Rounding to nine digits moves a number by half a unit of the ninth: what is further off is so
    # without it, and that is most of what is asked.
    beyond = within + abs(within) * 1e-8
    for at in group:
        x = values[at]
        near = has_value(x) and (gap := abs(best - x)) <= beyond and round9(gap) <= within
        (keep if near else rest).append(at)
    return keep, rest


def nearest(grid: Grid) -> dict[int, list[int]]:
    """Return, by verdict, the combinations that break the fewest musts and stops."""
    counts = {verdict: (verdict & grid.broken_bits).bit_count() for verdict in grid.alike}
    least = min(counts.values())
    return {verdict: grid.alike[verdict] for verdict, count in counts.items() if count == least}


def survivors(grid: Grid) -> dict[int, list[int]]:
    """Return, by verdict, the combinations that break no must and carry no stop."""
    broken = grid.broken_bits
    return {verdict: alike for verdict, alike in grid.alike.items() if not verdict & broken}


def stopped(grid: Grid) -> bool:
    """Tell whether a stop stands on every combination."""
    stops = 0
    for what, bit in grid.bits("broken").items():
        if isinstance(what, Offence) and what.place < 0:
            stops |= bit
    return all(verdict & stops for verdict in grid.alike)


def conflicts(grid: Grid) -> tuple[list[tuple[str, ...]], bool]:
    """Return the smallest sets of rules that cannot hold together, and whether there are more.

    Every combination breaks a must, or carries a stop, of some rule of such a set, and no part of
    the set will do. They are the minimal hitting sets of what the combinations offend against.
    """
    rule_of = {
        bit: what.rule for what, bit in grid.bits("broken").items() if isinstance(what, Offence)
    }
    edges = {
        frozenset(rule for bit, rule in rule_of.items() if masked & bit)
        for masked in {verdict & grid.broken_bits for verdict in grid.alike}
    }
    if frozenset() in edges:
        return [], False
    found = sorted((tuple(sorted(s)) for s in hitting_sets(edges)), key=lambda s: (len(s), s))
    return found[:MOST_CONFLICTS], len(found) > MOST_CONFLICTS


def hitting_sets(edges: Iterable[frozenset[str]]) -> set[frozenset[str]]:
    """Return the minimal sets that share an element with every edge (Berge's multiplication).

    Source: C. Berge, Hypergraphs, 1989, chapter 2 (from memory).
    """
    minimal = _minimal(edges)
    found: set[frozenset[str]] = {frozenset()}
    for edge in sorted(minimal, key=lambda e: (len(e), sorted(e))):
        hit = {s for s in found if s & edge}
        grown = {s | {x} for s in found - hit for x in edge}
        found = hit | {s for s in grown if not any(h <= s for h in hit)}
        found = _minimal(found)
    return found


def _minimal(sets: Iterable[frozenset[str]]) -> set[frozenset[str]]:
    kept: list[frozenset[str]] = []
    for s in sorted(set(sets), key=len):
        if not any(k <= s for k in kept):
            kept.append(s)
    return set(kept)
