"""Turning points against brute force: each does what it says, and nothing nearer does."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from advisor.decision import Number, to_plain
from advisor.findings import (
    EVERY_VALUE,
    EXACT,
    NOTHING_DEPENDS,
    VALUES_TRIED,
    Powerless,
    Turn,
    TurningPoint,
    TurningPoints,
)
from advisor.judge import Judgement
from advisor.otherwise import build_of
from advisor.pipeline import offered_stock
from advisor.quantities import round9
from advisor.render.turning_text import render
from advisor.rulebase.decision_schema import schema_of
from advisor.rulebase.read import read_rule_base
from advisor.searching import beside
from advisor.setups.read import read_setup
from advisor.trying import possible_values
from advisor.turning import turning_points
from tests import toys
from tests.heavy import untraced

ROOT = Path(__file__).resolve().parents[1]
BASE = read_rule_base()
BLOCKS = 4
SEEDS = 160


def advice(judgement: Judgement, fact: str, value: Any) -> tuple[str, dict[str, Any]]:
    """What a whole new judgement advises with one fact otherwise, the fact itself apart."""
    setup = toys.stating(judgement.setup, {fact: value})
    other = Judgement(setup, judgement.base, judgement.stock)
    return other.status, {n: x for n, x in build_of(other, other.at).items() if n != fact}


def now(judgement: Judgement, fact: str) -> tuple[str, dict[str, Any]]:
    build = build_of(judgement, judgement.at)
    return judgement.status, {n: x for n, x in build.items() if n != fact}


def bare(value: Any) -> Any:
    return value.value if isinstance(value, Number) else value


def values_between(low: float, high: float, whole: bool, marks: int = 60) -> list[float]:
    """Values strictly between two, the bounds that rules of the toys set among them."""
    if whole:
        return [float(x) for x in range(int(low) + 1, int(high))]
    grid = [round9(low + (high - low) * i / marks) for i in range(1, marks)]
    near = [
        x
        for bounds in toys.NUMBERS.values()
        for b in bounds
        for x in (float(b), beside(float(b), True, False), beside(float(b), False, False))
    ]
    return [x for x in (*grid, *near) if low < x < high]


def check_turn(judgement: Judgement, point: TurningPoint, turn: Turn, whole: bool) -> None:
    fact, value, start = point.fact, bare(turn.value), bare(point.value)
    status, build = advice(judgement, fact, value)
    mine = now(judgement, fact)
    assert (status, build) != mine, (fact, value, "it must turn there")
    assert status == turn.status
    if status in ("advised", "judged") or mine[0] not in ("advised", "judged"):
        told = {name: bare(x) for name, x in turn.gives.items()}
        assert told == {n: x for n, x in build.items() if mine[1].get(n) != x}, (fact, value)
    if turn.distance is None:
        return
    assert turn.distance.value == round9(value - start)
    assert turn.keeps is not None
    keeps = bare(turn.keeps)
    assert advice(judgement, fact, keeps) == mine, (fact, keeps, "it must keep there")
    if turn.found == EXACT:
        assert keeps == beside(value, value < start, whole)
    for nearer in values_between(min(start, keeps), max(start, keeps), whole):
        assert advice(judgement, fact, nearer) == mine, (fact, nearer, "nothing nearer turns")


@untraced
@pytest.mark.parametrize("block", range(BLOCKS))
def test_turning_points_against_brute_force(block: int) -> None:
    turns = exact = searched = powerless = 0
    for seed in range(block * SEEDS // BLOCKS, (block + 1) * SEEDS // BLOCKS):
        base = toys.toy_base(seed)
        if base is None:
            continue
        judgement = toys.judged(base, toys.toy_setup(seed))
        found = turning_points(judgement)
        for point in found.points:
            entry = base.vocabulary[point.fact]
            for turn in point.turns:
                check_turn(judgement, point, turn, entry.kind == "count")
                turns += 1
                exact += turn.found == EXACT
                searched += turn.found != EXACT
            for kept in point.keeps:
                assert advice(judgement, point.fact, kept) == now(judgement, point.fact)
            if entry.is_number:
                one_sided(judgement, point)
        for gone in found.powerless:
            powerless += 1
            check_powerless(judgement, gone)
        told = {p.fact for p in found.points} | {p.fact for p in found.powerless}
        assert told == set(judgement.setup.facts)
    assert turns > 40
    assert exact > 25
    assert searched > 0
    assert powerless > 40


def one_sided(judgement: Judgement, point: TurningPoint) -> None:
    """Where one side has no turn, no value on it changes anything."""
    entry = judgement.base.vocabulary[point.fact]
    start = bare(point.value)
    sides = {bare(turn.value) > start for turn in point.turns}
    low, high = (start, entry.high) if True not in sides else (entry.low, start)
    if len(sides) == 1 and low is not None and high is not None:
        whole = entry.kind == "count"
        for value in values_between(low, high, whole, 20):
            assert advice(judgement, point.fact, value) == now(judgement, point.fact)


def check_powerless(judgement: Judgement, gone: Powerless) -> None:
    base, fact = judgement.base, gone.fact
    entry = base.vocabulary[fact]
    values: list[Any] = possible_values(base, fact)
    if entry.several:
        values = [c for n in (1, 2, 3) for c in itertools.combinations(entry.choices, n)]
        if gone.by == EVERY_VALUE:
            held = set(bare(gone.value))  # one more, one less, or another instead
            values = [v for v in values if len(set(v) ^ held) == 1 or len(v) == len(held) == 1]
    elif entry.is_number and entry.low is not None and entry.high is not None:
        whole = entry.kind == "count"
        values = [entry.low, *values_between(entry.low, entry.high, whole), entry.high]
    for value in values:
        assert advice(judgement, fact, value) == now(judgement, fact), (fact, value, gone)


SETUPS = ("fixed-blade-hunting", "target-recurve", "too-light", "left-bevel-right-clamp")


def real(name: str) -> Judgement:
    setup = read_setup(str(ROOT / "examples" / f"{name}.yaml"), [], BASE.vocabulary)
    return Judgement(setup, BASE, offered_stock(BASE, None))


@untraced
@pytest.mark.parametrize("name", SETUPS)
def test_turning_points_of_the_base_rules_do_what_they_say(name: str) -> None:
    judgement = real(name)
    found = turning_points(judgement)
    for point in found.points:
        whole = BASE.vocabulary[point.fact].kind == "count"
        for turn in point.turns:
            status, build = advice(judgement, point.fact, bare(turn.value))
            mine = now(judgement, point.fact)
            assert (status, build) != mine
            assert status == turn.status
            if turn.keeps is not None:
                assert advice(judgement, point.fact, bare(turn.keeps)) == mine
                start, keeps = bare(point.value), bare(turn.keeps)
                low, high = sorted((start, keeps))
                for nearer in values_between(low, high, whole, 12):
                    assert advice(judgement, point.fact, nearer) == mine, (point.fact, nearer)
    assert len(found.points) > 3
    for gone in found.powerless:
        for value in possible_values(BASE, gone.fact):
            if gone.by == EVERY_VALUE and BASE.vocabulary[gone.fact].several:
                continue
            assert advice(judgement, gone.fact, value) == now(judgement, gone.fact)


def test_what_lies_within_the_tolerance_is_fragile() -> None:
    firm = turning_points(real("fixed-blade-hunting"))
    draw = next(p for p in firm.points if p.fact == "bow.draw_length")
    assert not draw.fragile
    assert draw.tolerance is not None
    turn = draw.turns[0]
    # Measured a little longer, it stands within the tolerance of what turns the advice.
    near = round9(bare(turn.keeps) - draw.tolerance.value / 2.0)
    setup = toys.stating(real("fixed-blade-hunting").setup, {"bow.draw_length": near})
    found = turning_points(Judgement(setup, BASE, offered_stock(BASE, None)))
    assert found.measure_again == ("bow.draw_length",)
    assert found.points[0].fact == "bow.draw_length"
    assert found.points[0].fragile
    text = render(found, False)
    assert "Measure again" in text
    assert "bow.draw_length 27.87" in text
    assert "Measure again" not in render(firm, False)


def test_they_travel_as_json_and_read_as_text() -> None:
    schema = schema_of(TurningPoints, "Turning points")
    for name in SETUPS:
        found = turning_points(real(name))
        plain = to_plain(found)
        jsonschema.Draft202012Validator(schema).validate(plain)
        text = render(found, False)
        assert all(len(line) <= 80 for line in text.splitlines())
        for fact in (*(p.fact for p in found.points), *(p.fact for p in found.powerless)):
            assert fact in text
        assert {p.by for p in found.powerless} <= {NOTHING_DEPENDS, EVERY_VALUE, VALUES_TRIED}
