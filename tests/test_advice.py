"""What the advisor must show: the setups that a good builder has a ready answer to."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.decision import Decision, Number
from advisor.pipeline import advise
from advisor.rulebase.read import read_rule_base
from advisor.setups.model import Item, Setup, Stock
from advisor.setups.read import read_setup
from tests.toys import stating

ROOT = Path(__file__).resolve().parents[1]
BASE = read_rule_base()


def decided(*sets: str, file: str | None = None) -> Decision:
    path = str(ROOT / "examples" / f"{file}.yaml") if file else None
    return advise(read_setup(path, sets, BASE.vocabulary), BASE)


def number(decision: Decision, fact: str) -> float:
    value = decision.build.get(fact, decision.numbers.get(fact))
    assert isinstance(value, Number), fact
    return value.value


def test_a_fixed_blade_hunter_gets_four_stiff_vanes_to_the_right() -> None:
    decision = decided(file="fixed-blade-hunting")
    assert decision.status == "advised"
    assert number(decision, "fletching.count") == 4
    assert 2.6 <= number(decision, "vane.length") <= 2.75
    assert decision.build["fletching.direction"] == "right"
    assert 1 <= number(decision, "fletching.offset") <= 2
    assert decision.build["vane.stiffness"] == "stiff"
    for fact in ("fletching.count", "vane.length", "fletching.direction"):
        shoulds = [r for r in decision.reasons[fact] if r.strength == "should"]
        assert shoulds, fact
        assert all(r.evidence.kind == "common-practice" for r in shoulds), fact


def test_a_mechanical_head_gets_a_short_tail() -> None:
    decision = decided(file="mechanical-head")
    assert 2.0 <= number(decision, "vane.length") <= 2.25
    assert "mechanical-heads-are-not-lawful-everywhere" in [
        c.rule for c in decision.cautions
    ] or any("lawful" in c.rule or "law" in c.rule for c in decision.cautions)


@pytest.mark.parametrize("series", [23, 25, 27])
def test_a_fat_shaft_indoors_gets_three_long_vanes_and_more_turn(series: int) -> None:
    arrow = (
        "point.type=field-point",
        f"shaft.outside_diameter={series} series",
        "bench.clamps=[left, straight, right]",
        "bow.type=compound",
    )
    indoors = decided("discipline=[indoor-target]", *arrow)
    assert number(indoors, "vane.length") >= 3
    assert number(indoors, "fletching.count") == 3
    for use in ("3d", "field", "outdoor-target"):
        outdoors = decided(f"discipline=[{use}]", "wind.exposure=open", *arrow)
        assert number(outdoors, "vane.length") < 3
        assert number(outdoors, "fletching.offset") < number(indoors, "fletching.offset")


def test_the_target_setup_asks_for_the_bare_shaft_before_it_names_a_side() -> None:
    decision = decided(file="target-recurve")
    assert decision.questions[0].fact == "bare_shaft.rotation"
    assert any(
        u.fact == "fletching.direction" and u.facts == ("bare_shaft.rotation",)
        for u in decision.unsettled
    )
    for turn in ("left", "right"):
        named = decided(f"bare_shaft.rotation={turn}", file="target-recurve")
        assert named.build["fletching.direction"] == turn
        assert not any(u.fact == "fletching.direction" for u in named.unsettled)


def test_a_left_bevel_with_only_a_right_clamp_has_no_build_and_names_the_musts() -> None:
    decision = decided(file="left-bevel-right-clamp")
    assert decision.status == "rejected"
    assert any("match-a-left-bevel" in conflict.rules for conflict in decision.conflicts)
    opened = decided("bench.clamps=[right, straight]", file="left-bevel-right-clamp")
    assert opened.status == "advised"
    assert opened.build["fletching.direction"] == "left"
    assert opened.build["bench.clamp"] == "straight"


def test_a_light_arrow_is_stopped_whatever_else_is_stated() -> None:
    decision = decided(file="too-light")
    assert decision.status == "stopped"
    assert decision.cautions[0].level == "stop"


def test_heads_are_the_options_when_the_fletching_is_given() -> None:
    decision = decided(
        "discipline=[hunting]",
        "fletching.count=3",
        "fletching.direction=right",
        "fletching.offset=2",
        "vane.length=2.0 in",
        "vane.height=0.35 in",
    )
    assert "point" in decision.items
    assert "point.type" in decision.chosen
    assert "point.type" not in decision.assumed


def test_a_whole_build_is_judged() -> None:
    decision = decided(
        "point.type=fixed-blade",
        "discipline=[hunting]",
        "shaft.outside_diameter=5.4 mm",
        "fletching.count=4",
        "fletching.direction=right",
        "fletching.offset=4",
        "fletching.rear_gap=1 in",
        "bench.clamp=straight",
        "vane.length=2.6 in",
        "vane.height=0.5 in",
        "vane.silhouette=shield",
        "vane.stiffness=stiff",
        "vane.material=urethane",
        "vane.mass=8 gr",
        "vane.thickness=0.7 mm",
        "vane.foot_width=2.6 mm",
    )
    assert decision.builds == 1
    assert decision.status == "rejected"
    assert [c.rules for c in decision.conflicts] == [("a-straight-foot-keeps-to-the-glue-line",)]
    # The largest offset that fits a gap of 0.25 mm on this shaft, from the geometry of a straight
    # foot on a cylinder: sin(delta) = 2 sqrt(2 R g + g^2) / L.
    assert number(decision, "glue.offset_limit") == pytest.approx(2.07, abs=0.03)


def test_nothing_but_a_purpose_still_gets_an_answer() -> None:
    decision = decided("discipline=[hunting]")
    assert decision.status == "advised"
    assert decision.assumed["point.type"] == "fixed-blade"
    assert "point.type" in decision.rests_on
    assert {"point.type", "shaft.outside_diameter"} <= {q.fact for q in decision.questions}


def values_to_try(fact: str) -> list[str]:
    """Return values of a fact from all over its domain, as they would be stated."""
    entry = BASE.vocabulary[fact]
    if entry.choices:
        return list(entry.choices)
    if entry.kind == "flag":
        return ["true", "false"]
    assert entry.low is not None
    assert entry.high is not None
    spread = [entry.low + (entry.high - entry.low) * i / 4 for i in range(5)]
    if entry.kind == "count":
        return [str(int(x)) for x in spread]
    unit = {"lbf": "lb", "1": "", "spine": "spine"}.get(entry.unit, entry.unit)
    return [f"{x:.6g} {unit}" for x in spread]


@pytest.mark.parametrize(
    "stated",
    [
        ["point.type=fixed-blade"],
        ["discipline=[hunting]", "point.type=mechanical", "bow.type=compound"],
        [
            "discipline=[indoor-target]",
            "point.type=field-point",
            "shaft.outside_diameter=23 series",
        ],
        [
            "discipline=[3d]",
            "point.type=field-point",
            "rest.type=launcher-blade",
            "wind.exposure=open",
        ],
        ["bow.type=crossbow"],
        ["bow.type=longbow", "rest.type=shelf", "discipline=[hunting]"],
    ],
    ids=" ".join,
)
def test_a_fact_that_cannot_matter_changes_nothing_whatever_it_is(stated: list[str]) -> None:
    before = decided(*stated)
    assert before.cannot_matter
    for fact in before.cannot_matter:
        for value in values_to_try(fact):
            after = decided(*stated, f"{fact}={value}")
            place = (fact, value)
            assert after.status == before.status, place
            assert after.build == before.build, place
            assert after.fired == before.fired, place
            assert after.conflicts == before.conflicts, place


def test_facts_that_only_matter_once_stated_are_asked_for() -> None:
    """A rule that waits for `known` or `stated` is still open: stating the fact could fire it."""
    decision = decided(file="fixed-blade-hunting")
    for fact, value in (
        ("rest.clearance", "10 mm"),
        ("bow.least_arrow_mass", "500 gr"),
        ("jig.offset_limit", "1 deg"),
    ):
        assert fact in {q.fact for q in decision.questions}, fact
        changed = decided(f"{fact}={value}", file="fixed-blade-hunting")
        assert (changed.status, changed.build) != (decision.status, decision.build), fact


def test_a_fact_of_a_head_that_nobody_named_may_matter() -> None:
    given = read_setup(str(ROOT / "examples" / "fixed-blade-hunting.yaml"), [], BASE.vocabulary)
    left = {"point.type", "point.blade_thickness"}
    facts = {name: fact for name, fact in given.facts.items() if name not in left}
    setup = Setup("", facts)
    open_advice = advise(setup, BASE)
    assert "point.blade_thickness" not in open_advice.cannot_matter
    assert "point.blade_thickness" in [q.fact for q in open_advice.questions]
    thick = advise(stating(setup, {"point.blade_thickness": 2.0}), BASE)
    assert number(thick, "vane.height") > number(open_advice, "vane.height")


def test_a_favour_that_goes_by_the_head_ranks_among_heads_too() -> None:
    heads = tuple(
        Item(
            f"H-{i}",
            {
                "point.type": "fixed-blade",
                "point.mass": mass,
                "point.length": 1.6,
                "point.blades": 3.0,
                "point.cutting_width": width,
                "point.blade_length": 1.0,
            },
            "heads.yaml",
            i,
        )
        for i, (mass, width) in enumerate(((100.0, 1.125), (125.0, 1.0)))
    )
    sets = [
        "vane.length=2.6 in",
        "vane.height=0.5 in",
        "fletching.count=4",
        "fletching.direction=right",
        "fletching.offset=2 deg",
        "discipline=[hunting]",
        "shaft.outside_diameter=5.8 mm",
        "arrow.speed=272 fps",
    ]
    setup = read_setup(None, sets, BASE.vocabulary)
    decision = advise(setup, BASE, Stock("two heads", {"point": heads}, {}))
    assert decision.items["point"].startswith("H-")
    rules = {reason.rule for reasons in decision.reasons.values() for reason in reasons}
    assert "turn-soonest-behind-blades" in rules
