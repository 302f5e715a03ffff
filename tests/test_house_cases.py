"""Two small houses over the base: their cases, and what the Decision tells of their changes."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.cases import Case, case_files, read_cases, run_case
from advisor.decide import decide
from advisor.decision import Decision, Number, RetiredRule
from advisor.judge import Judgement
from advisor.pipeline import offered_stock
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base

HOUSES = Path(__file__).parent / "house_cases"
BASE = read_rule_base()
RULES: dict[str, RuleBase] = {
    name: read_rule_base(str(HOUSES / name), cache=False) for name in ("quillmere", "downs")
}
CASES = {
    name: {
        case.name: case
        for path in case_files(str(HOUSES / name))
        for case in read_cases(path, base)
    }
    for name, base in RULES.items()
}


def decided(house: str, name: str, base: RuleBase | None = None) -> Decision:
    """Decide a case of a house under its own rules, or under others."""
    rules = base or RULES[house]
    case: Case = CASES[house][name]
    return decide(Judgement(case.setup, rules, offered_stock(rules, case.stock)))


@pytest.mark.parametrize(
    ("house", "name"), [(house, name) for house, cases in CASES.items() for name in cases]
)
def test_a_case_of_a_house_holds(house: str, name: str) -> None:
    assert run_case(CASES[house][name], RULES[house]) == []


def test_the_houses_have_cases_and_each_of_their_rules_fires_in_one() -> None:
    for house, cases in CASES.items():
        own = {rule.id for rule in RULES[house].entries.values()} - set(BASE.entries)
        fired = {rule for name in cases for rule in decided(house, name).fired}
        assert own, house
        assert own <= fired, house


def test_what_the_house_set_aside_is_told_with_both_reasons() -> None:
    (aside,) = [
        a
        for a in decided("quillmere", "three-vanes-behind-blades").set_aside
        if a.rule == "four-vanes-behind-exposed-blades"
    ]
    assert aside.by == "three-vanes-at-quillmere"
    assert "fourth vane" in aside.because
    assert "indexed for three" in aside.by_because


def test_the_same_order_gets_four_vanes_without_the_house() -> None:
    counts = {}
    for rules in (BASE, RULES["quillmere"]):
        decision = decided("quillmere", "three-vanes-behind-blades", rules)
        count = decision.build["fletching.count"]
        assert isinstance(count, Number)
        counts[decision.rulebase.name] = count.value
    assert counts == {"base": 4, "quillmere": 3}


def test_what_the_house_retired_and_replaced_is_told_with_its_reason() -> None:
    retired = {r.rule: r for r in decided("quillmere", "longbow-with-a-raised-rest").retired}
    assert sorted(retired) == ["feathers-on-a-longbow", "medium-length-behind-exposed-blades"]
    gone = retired["feathers-on-a-longbow"]
    assert (gone.by, gone.says, gone.replacement) == (
        "quillmere",
        "Shoot feathers from a longbow.",
        "",
    )
    assert "raised rest" in gone.because
    replaced: RetiredRule = retired["medium-length-behind-exposed-blades"]
    assert replaced.replacement == "one-length-behind-blades"


def test_the_side_of_a_tie_is_left_to_the_archer_with_both_voices() -> None:
    (tie,) = decided("downs", "two-habits-two-sides").ties
    assert (tie.fact, tie.kind) == ("fletching.direction", "shoulds")
    assert [side.rule for side in tie.sides] == ["left-for-the-north-jig", "right-for-the-new-club"]


def test_a_record_of_one_archer_leaves_the_rule_standing_for_others() -> None:
    with_page = decided("quillmere", "the-archer-of-page-41")
    without = decided("quillmere", "three-vanes-behind-blades")
    assert "what-page-41-found" in with_page.fired
    assert "what-page-41-found" not in without.fired
    assert {r.rule for r in with_page.reasons["vane.height"]} >= {"what-page-41-found"}
