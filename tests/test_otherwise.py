"""Advice with a fact otherwise: the short way must say what a whole new judgement says."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.judge import Judgement
from advisor.otherwise import Otherwise, build_of
from advisor.pipeline import offered_stock, taken
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup, read_stock
from advisor.trying import possible_values
from tests.heavy import untraced

pytestmark = untraced

ROOT = Path(__file__).resolve().parents[1]
QUILLMERE = ROOT / "examples" / "quillmere"
BASE = read_rule_base()
SETUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("fixed-blade-hunting.yaml", ()),
    ("target-recurve.yaml", ()),
    ("too-light.yaml", ()),
    ("left-bevel-right-clamp.yaml", ()),
    ("", ("discipline=[hunting]", "bow.type=compound")),
    ("eleven-arrows/A.yaml", ()),
    ("fixed-blade-hunting.yaml", ("arrow.mass=455 gr",)),
)


def otherwise_of(file: str, sets: tuple[str, ...]) -> Otherwise:
    path = str(ROOT / "examples" / file) if file else None
    setup = read_setup(path, list(sets), BASE.vocabulary)
    return Otherwise(Judgement(setup, BASE, offered_stock(BASE, None)))


def compare(otherwise: Otherwise) -> tuple[int, int, int]:
    """Compare every fact with every value that rules tell apart; count what moved, and how."""
    compared = moved = powerless = 0
    now = otherwise.now
    for fact in otherwise.base.vocabulary.of_origin("given"):
        idle = otherwise.is_powerless(fact)
        powerless += idle
        for value in possible_values(otherwise.base, fact):
            mine, whole = otherwise.advice({fact: value}), otherwise.stated({fact: value})
            assert mine.status == whole.status, (fact, value)
            assert mine.build == build_of(whole, whole.at), (fact, value)
            changed = (mine.status, mine.build) != (now.status, now.build)
            assert not (idle and changed), (fact, value)
            compared += 1
            moved += changed
    return compared, moved, powerless


@pytest.mark.parametrize(("file", "sets"), SETUPS)
def test_the_short_way_says_what_the_whole_one_says(file: str, sets: tuple[str, ...]) -> None:
    compared, moved, powerless = compare(otherwise_of(file, sets))
    assert compared > 200
    assert moved > 5
    assert powerless > 5


def test_so_it_does_for_a_house_and_its_stock() -> None:
    house = read_rule_base(str(QUILLMERE / "rules"))
    stock = read_stock(str(QUILLMERE / "stock.yaml"), house.vocabulary)
    offered = offered_stock(house, stock)
    customers = sorted((QUILLMERE / "customers").glob("*.yaml"))
    assert len(customers) >= 3
    for customer in customers[:3]:
        setup = taken(read_setup(str(customer), [], house.vocabulary), house, offered)
        compared, moved, _ = compare(Otherwise(Judgement(setup, house, offered)))
        assert compared > 200
        assert moved > 5


def test_two_facts_at_once() -> None:
    otherwise = otherwise_of("fixed-blade-hunting.yaml", ())
    for facts in (
        {"insert.mass": 16.0, "point.mass": 6.0},
        {"bow.draw_weight": 140.0, "arrow.speed": 95.0},
        {"rest.type": "full-containment", "point.type": "mechanical"},
    ):
        mine, whole = otherwise.advice(facts), otherwise.stated(facts)
        assert (mine.status, mine.build) == (whole.status, build_of(whole, whole.at))


def test_what_decides_what_there_is_to_choose_from_is_judged_anew() -> None:
    otherwise = otherwise_of("fixed-blade-hunting.yaml", ())
    for fact in ("fletching.count", "vane.length"):
        assert otherwise.decides_what_there_is(fact)
        assert not otherwise.is_powerless(fact)
    three = otherwise.advice({"fletching.count": 3.0})
    assert three.at == -1
    assert otherwise.now.build["fletching.count"] == 4
    unstated = otherwise_of("", ("discipline=[hunting]",))
    assert unstated.decides_what_there_is("point.type")
