"""A small rule base about a garden: the whole way, told exactly, with every kind of doubt in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.cases import case_files, read_cases, run_case
from advisor.decision import Decision
from advisor.errors import Faults
from advisor.pages import list_json, list_text, page_json, page_text, topics
from advisor.pipeline import advise
from advisor.render.text import render
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup
from advisor.words import Words

GARDEN = Path(__file__).parent / "garden"
BASE = read_rule_base(str(GARDEN / "plot"), cache=False)
HOUSE = read_rule_base(str(GARDEN / "walled"), cache=False)
SETUPS = {
    "tied": ["bed.soil=clay", "bed.wet=true", "gardener.hands=6"],
    "leeks": ["bed.soil=sand", "bed.plants=[leek, pea]", "bed.width=50 cm", "bed.frost=true"],
    "frozen": ["bed.soil=clay", "bed.frost=true", "gardener.hands=7"],
    "nothing": ["bed.width=40 cm"],
    "judged": [
        "bed.soil=loam",
        "bed.width=55 cm",
        "bed.sign=keep off",
        "seed.kind=leek",
        "seed.depth=30",
        "seed.rows=2",
        "seed.mass=1 g",
    ],
}


def decided(name: str, house: bool = False) -> Decision:
    base = HOUSE if house else BASE
    return advise(read_setup(None, SETUPS[name], base.vocabulary), base)


def golden(name: str, text: str) -> None:
    path = GARDEN / "golden" / f"{name}.txt"
    shown = text.replace(str(GARDEN), "GARDEN")
    assert shown == path.read_text(encoding="utf-8"), name


@pytest.mark.parametrize("name", SETUPS)
def test_the_whole_advice_is_exactly_this(name: str) -> None:
    golden(name, render(decided(name), False))


def test_a_house_retires_and_replaces_and_says_so() -> None:
    golden("house", render(decided("nothing", house=True), False))


def test_a_tie_of_values_leaves_the_fact_unknown() -> None:
    decision = decided("tied")
    assert [(tie.fact, tie.kind) for tie in decision.ties] == [("bed.state", "values")]
    assert "bed.state" not in decision.concluded
    assert [(u.rule, u.lacks) for u in decision.undecided] == [
        ("beans-climb", ("bed.plants",)),
        ("late-wants-more", ("bed.state",)),
        ("room-for-rows", ("bed.width",)),
        ("shallow-for-leeks", ("bed.plants",)),
    ]


def test_shoulds_that_part_are_an_open_tie_and_the_ranking_goes_on() -> None:
    decision = advise(
        read_setup(None, ["bed.soil=sand", "bed.plants=[leek]"], BASE.vocabulary), BASE
    )
    assert [(tie.fact, tie.kind) for tie in decision.ties] == [("seed.depth", "shoulds")]
    assert decision.status == "advised"


def test_a_stop_gives_way_only_to_a_rule_whose_exception_is_settled() -> None:
    frozen = decided("frozen")
    assert frozen.status == "stopped"
    doubts = {d.what: (d.by, d.facts) for d in frozen.stands_unless}
    assert doubts == {
        "never-in-ice": ("many-hands", ("bed.sign",)),
        "bed.state": ("wet-is-spoilt", ("bed.wet",)),
    }
    assert frozen.questions[0].fact == "bed.sign"
    read = read_setup(None, [*SETUPS["frozen"], "bed.sign=welcome"], BASE.vocabulary)
    assert advise(read, BASE).status == "advised"


def test_cases_of_the_garden_hold_and_a_bad_case_is_refused(tmp_path: Path) -> None:
    (path,) = case_files(str(GARDEN / "plot"))
    for case in read_cases(path, BASE):
        assert run_case(case, BASE) == []
    assert case_files(str(tmp_path)) == []
    bad = tmp_path / "bad.yaml"
    bad.write_text(
        "- case: a\n  says: s\n  setup: {bed: {soil: mud}}\n"
        "  expect: {fired: [clay-is-lat], ties: [bed.stat]}\n"
        "- case: a\n  says: s\n  setup: {}\n  expect: {build: {seed.kind: tulip}}\n"
    )
    with pytest.raises(Faults) as refused:
        read_cases(str(bad), BASE)
    told = [fault.what for fault in refused.value.faults]
    assert told == [
        "`mud` is no choice of bed.soil",
        "there is no rule `clay-is-lat`",
        "there is no fact `bed.stat`",
        "there is another case `a`",
    ]
    bad.write_text("- case: a\n  says: s\n  setup: {}\n  expect: {build: {seed.kind: tulip}}\n")
    (case,) = read_cases(str(bad), BASE)
    assert run_case(case, BASE) == ["`tulip` is no choice of seed.kind"]
    bad.write_text("- case: a\n")
    with pytest.raises(Faults):
        read_cases(str(bad), BASE)


@pytest.mark.parametrize(
    "rule",
    [
        "no-beans-in-frost",
        "beans-climb",
        "many-hands",
        "clay-is-late",
        "sow-as-thin-as-may-be",
        "dark-when-wet",
    ],
)
def test_a_rules_page_is_exactly_this(rule: str) -> None:
    golden(f"page-{rule}", page_text(BASE, rule))


def test_pages_of_a_house() -> None:
    golden("page-our-depth", page_text(HOUSE, "our-depth"))
    golden("page-retired", page_text(HOUSE, "beans-climb"))
    assert '"retired"' in page_json(HOUSE, "deep-on-sand")


def test_the_list_of_rules() -> None:
    golden("list", list_text(HOUSE))
    assert topics(HOUSE) == ["ours", "sowing"]
    assert list_text(HOUSE, "ours").count("our-depth") == 1
    assert '"topic": "sowing"' in list_json(BASE)


def test_conditions_in_words() -> None:
    from advisor.rulebase.conditions import ConditionReader

    words = Words(BASE.vocabulary)
    reader = ConditionReader(BASE.vocabulary, lambda *_: pytest.fail("a fault"))

    def said(raw: dict[str, object]) -> str:
        node = reader.condition(raw, ())
        assert node is not None
        return words.condition(node)

    assert said({"bed.soil": "clay"}) == "bed.soil is clay"
    assert said({"bed.soil": ["clay", "sand", "loam"]}) == "bed.soil is clay, sand or loam"
    assert said({"bed.plants": ["pea", "leek"]}) == "bed.plants includes pea or leek"
    assert (
        said({"seed.depth": {"at_least": 5, "at_most": "2 cm"}})
        == "seed.depth is from 5 mm to 20 mm"
    )
    assert (
        said({"seed.depth": {"above": 5, "below": 9}})
        == "seed.depth is above 5 mm and is below 9 mm"
    )
    assert (
        said({"seed.depth": [{"below": 5}, {"above": 9}]})
        == "seed.depth is below 5 mm or is above 9 mm"
    )
    assert said({"not": {"bed.wet": True}}) == "not bed.wet is true"
    assert (
        said({"not": {"bed.wet": True, "bed.soil": "clay"}})
        == "not (bed.wet is true and bed.soil is clay)"
    )
    assert said({"bed.sign": {"known": False}}) == "bed.sign is not known"
    assert said({"seed.kind": {"stated": True}}) == "seed.kind is stated"
    assert said({"seed.kind": {"fact": "bed.plants"}}) == "seed.kind is among bed.plants"
    assert (
        said({"bed.wet": True, "any": [{"bed.soil": "clay"}, {"bed.frost": True}]})
        == "bed.wet is true and (bed.soil is clay or bed.frost is true)"
    )
