"""Choosing nearby, against choosing anew: whatever one fact is, both must say the same."""

from __future__ import annotations

import random
from typing import Any

import pytest

from advisor.engine.grid import Grid
from advisor.engine.nearby import Nearby, Outcome
from advisor.engine.ranking import Wish, nearest, rank, stopped, survivors
from advisor.engine.values import MISSING, Value
from tests.engine.test_against_reference import axes_for
from tests.heavy import untraced
from tests.reference import adapter
from tests.reference.synthetic import nasty

pytestmark = untraced

BLOCKS = 6
BASES = 480


def anew(grid: Grid, wishes: tuple[Wish, ...]) -> Outcome:
    """Choose as a judgement does, from a grid of its own."""
    alive = survivors(grid)
    first = next(rank(grid, alive or nearest(grid), wishes))
    verdict = grid.verdicts[first[0]]
    layers = sorted(grid.failed_bits, reverse=True)
    key = (
        (verdict & grid.broken_bits).bit_count(),
        (verdict & grid.unproven_bits).bit_count(),
        *((verdict & grid.failed_bits[layer]).bit_count() for layer in layers),
    )
    return Outcome(first[0], tuple(first[1:]), key, not alive and stopped(grid))


def values_for(raw: dict[str, Any], bounds: list[float]) -> list[Any]:
    if raw["kind"] == "flag":
        return [False, True, None]
    if raw["kind"] == "text":
        return ["a", "b", None]
    if raw["kind"] == "choice":
        some = list(raw["choices"])
        return [[some[0]], some, None] if raw.get("several") else [*some, None]
    return [*sorted({b + d for b in bounds for d in (-1, 0, 1)}), None]


def bounds_in(data: Any) -> list[float]:
    if isinstance(data, dict):
        data = list(data.values())
    if isinstance(data, list):
        return [b for part in data for b in bounds_in(part)]
    return [data] if isinstance(data, (int, float)) and not isinstance(data, bool) else []


def complete(axes: list[tuple[tuple[str, ...], list[list[object]]]]) -> Any:
    """Leave out the rows in which an option is not told."""
    kept = [(names, [row for row in rows if None not in row]) for names, rows in axes]
    return [(names, rows) for names, rows in kept if rows]


@pytest.mark.parametrize("block", range(BLOCKS))
def test_nearby_chooses_what_a_new_grid_chooses(block: int) -> None:
    compared = moved = idle = uniform = rejected = 0
    for seed in range(block * BASES // BLOCKS, (block + 1) * BASES // BLOCKS):
        rng = random.Random(seed)
        vocabulary, rules, setups = nasty(seed)
        program = adapter.program_of(vocabulary, rules)
        axes = complete(axes_for(vocabulary, rules, seed))
        on_axes = {name for names, _ in axes for name in names}
        options = [n for n, raw in vocabulary.items() if raw["origin"] == "option"]
        facts, stated = setups[0]
        given = {k: v for k, v in facts.items() if k not in on_axes}
        said = stated - on_axes
        grid = adapter.grid_of(program, vocabulary, given, said, axes)
        if not grid.complete:
            for name in options:  # what no axis tells, the setup does
                if name not in on_axes and name not in given:
                    given[name] = next(x for x in values_for(vocabulary[name], [1.0]))
            grid = adapter.grid_of(program, vocabulary, given, said, axes)
        assert grid.complete
        by_id = {rule.id: rule for rule in program.rules}
        favours = [r["id"] for r in rules if by_id[r["id"]].favour is not None]
        rng.shuffle(favours)
        wishes = [
            Wish(r, f.fact, f.highest, vocabulary[f.fact].get("within", 0.0))
            for r in favours
            if (f := by_id[r].favour) is not None
        ]
        nearby = Nearby(grid, wishes)
        standing = tuple(w for w in wishes if grid.stands_everywhere(w.rule))
        assert in_key(nearby, nearby.now) == in_key(nearby, anew(grid, standing))
        bounds = sorted(set(bounds_in(rules)))
        changeable = [
            n
            for n, raw in vocabulary.items()
            if raw["origin"] in ("given", "computed") and n not in on_axes
        ]
        for name in changeable:
            for value in values_for(vocabulary[name], bounds):
                changed = {k: v for k, v in given.items() if k != name}
                if value is not None:
                    changed[name] = value
                also = (said | {name}) if value is not None else said - {name}
                other = adapter.grid_of(program, vocabulary, changed, also, axes)
                told: Value = (
                    MISSING if value is None else adapter.value_of(vocabulary[name], value)
                )
                mine = nearby.outcome({name: told})
                still = tuple(w for w in wishes if other.stands_everywhere(w.rule))
                theirs = in_key(nearby, anew(other, still))
                assert in_key(nearby, mine) == theirs, (seed, name, value)
                compared += 1
                moved += mine.at != nearby.now.at
                idle += not nearby.depends([name])
                uniform += nearby.plan([name]).uniform
                rejected += not mine.survives
    assert compared > 500
    assert min(moved, idle, uniform, rejected) > 8, (moved, idle, uniform, rejected)


def in_key(nearby: Nearby, outcome: Outcome) -> Outcome:
    """Count in as many layers as there are rules of: a grid counts those in which some should failed."""
    return outcome._replace(key=outcome.key[:2])
