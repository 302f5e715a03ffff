"""Stops of a layer below, and what may take their place in a house."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.checking import check_rules
from tests.proving.test_planted import ASKS, CLAY, MANY, NOTE, STEP, STOP, STRONG, kettle, told
from tests.rulebase.folders import rule, write

FAVOUR = "[{favour: {pot.size: highest}}]"
NEITHER = [CLAY, NOTE, STEP, STRONG, FAVOUR]
RARE = "{tea.guests: {above: 10}, tea.kind: black}"


def scalded(root: Path, *houses: str) -> set[tuple[str, tuple[str, ...]]]:
    """Return what is said of stops in houses, one over the other, above a kettle that has one."""
    kettle(root, rule("scalding", STOP, when="{tea.guests: {above: 9}}"))
    below, version, folder = "kettle", "1.2.0", ""
    for i, rules in enumerate(houses):
        manifest = f"name: house-{i}\nversion: 0.{i}.0\nextends: {{name: {below}}}\n"
        favours = "favours: [ours]\n" if "favour:" in rules else ""
        folder = write(
            root / f"house-{i}", {"manifest.yaml": manifest + favours, "habits.yaml": rules}
        )
        below = f"house-{i}"
    report = check_rules(folder, proofs=False)
    assert report.rulebase.layers[0] == f"kettle {version}"
    assert not any(one.finding == "refused" for one in report.findings), report.findings
    stops = [one for one in report.findings if one.finding == "should-overrides-stop"]
    assert all(one.level == "error" and one.own for one in stops)
    return told(tuple(stops))


@pytest.mark.parametrize("then", NEITHER)
def test_what_is_neither_stop_nor_must_sets_no_stop_aside(then: str, tmp_path: Path) -> None:
    found = scalded(tmp_path, rule("ours", then, when=RARE, overrides="[scalding]"))
    assert found == {("should-overrides-stop", ("ours", "scalding"))}


@pytest.mark.parametrize("then", NEITHER)
def test_what_is_neither_stop_nor_must_replaces_no_stop(then: str, tmp_path: Path) -> None:
    found = scalded(tmp_path, rule("ours", then, when=RARE, replaces="scalding"))
    assert found == {("should-overrides-stop", ("ours",))}


@pytest.mark.parametrize("how", [{"overrides": "[scalding]"}, {"replaces": "scalding"}])
@pytest.mark.parametrize("then", [ASKS, STOP])
def test_a_stop_or_a_must_may_take_the_place_of_a_stop(
    then: str, how: dict[str, str], tmp_path: Path
) -> None:
    assert scalded(tmp_path, rule("ours", then, when=RARE, **how)) == set()


def test_a_replaced_rule_that_is_no_stop_may_be_replaced_by_anything(tmp_path: Path) -> None:
    assert scalded(tmp_path, rule("ours", NOTE, when=RARE, replaces="boil-the-water")) == set()


def test_what_stands_for_a_stop_is_replaced_like_one(tmp_path: Path) -> None:
    asks = rule("theirs", ASKS, when=MANY, replaces="scalding")
    found = scalded(tmp_path, asks, rule("ours", NOTE, when=MANY, replaces="theirs"))
    assert found == {("should-overrides-stop", ("ours",))}


def test_a_stop_that_is_retired_with_a_reason_is_no_finding(tmp_path: Path) -> None:
    kettle(tmp_path, rule("scalding", STOP, when="{tea.guests: {above: 9}}"))
    retire = "retire: [{rule: scalding, because: We have cups with handles.}]\n"
    manifest = "name: house\nversion: 0.3.0\nextends: {name: kettle}\n"
    house = write(tmp_path / "house", {"manifest.yaml": manifest + retire})
    assert check_rules(house).findings == ()
