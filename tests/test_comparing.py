"""Comparisons: mirrored when swapped, true to the ranking, and every rule in its one place."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from itertools import chain, combinations
from random import Random

import jsonschema
import pytest

from advisor.comparing import builds_named, compare_builds, compare_decisions, seen_from
from advisor.comparison import (
    ALIKE,
    FORMAT,
    GROUPS,
    NEITHER,
    Comparison,
    RuleRow,
    Said,
    Stage,
)
from advisor.decide import decide
from advisor.decision import Decision, FactValue, Number, Side, Tie, to_plain
from advisor.derive import BY_FACT, NEEDS
from advisor.engine.ranking import rank, survivors
from advisor.engine.run import SILENT, UNDECIDED, Run
from advisor.engine.values import COMPUTED
from advisor.errors import Faults
from advisor.judge import Judgement
from advisor.pipeline import advise
from advisor.quantities import UNITS
from advisor.rulebase.decision_schema import schema_of
from advisor.setups.read import read_setup
from advisor.side_by_side import group_of, is_inside, ties
from tests.comparisons import (
    HUNTING,
    base,
    builds,
    decided,
    decisions,
    judgement,
    mirrored,
    three_against_four,
    whole_name,
)
from tests.heavy import untraced
from tests.render.test_text import kettle

SETUPS = (
    HUNTING,
    "mechanical-head",
    "indoor-fat-shaft",
    "target-recurve",
    "left-bevel-right-clamp",
    "too-light",
    "/first-hunting-dozen",
    "/walk-in",
)
PAIRS = (
    (HUNTING, "fletching.count=3", "fletching.count=4"),
    (HUNTING, "vane.height=0.45 in", "vane.height=0.55 in, fletching.count=3"),
    (HUNTING, "", "vane.material=feather"),
    (HUNTING, "vane.length=5 in", "fletching.offset=4 deg"),
    ("left-bevel-right-clamp", "fletching.direction=left", "fletching.direction=right"),
    ("too-light", "fletching.count=3", "fletching.count=4"),
    ("target-recurve", "fletching.direction=left", "fletching.direction=right"),
    ("indoor-fat-shaft", "vane.length=3 in", "vane.length=2 in"),
    ("/first-hunting-dozen", "fletching.count=3", "fletching.count=4"),
)
DECISIONS = (
    (HUNTING, "mechanical-head"),
    (HUNTING, "/first-hunting-dozen"),
    (HUNTING, "too-light"),
    ("too-light", "left-bevel-right-clamp"),
    ("indoor-fat-shaft", "same-arrow-outdoors"),
)


def every() -> list[Comparison]:
    return [*(builds(*pair) for pair in PAIRS), *(decisions(*pair) for pair in DECISIONS)]


def sample(held: Judgement, size: int = 4) -> list[int]:
    """Some builds: the best ones, one as good, and others anywhere."""
    found = [held.at, *held.equals[:1], *held.others[:3]]
    found += Random(3).sample(range(held.count), min(size, held.count))
    return list(dict.fromkeys(found))


# Swapped, and with itself


@pytest.mark.parametrize("pair", PAIRS, ids=" ".join)
def test_swapped_builds_mirror_everything(pair: tuple[str, str, str]) -> None:
    name, one, other = pair
    there, back = builds(name, one, other), builds(name, other, one)
    assert mirrored(there) == back
    assert mirrored(mirrored(there)) == there
    assert there != back


@pytest.mark.parametrize("pair", DECISIONS, ids=" ".join)
def test_swapped_decisions_mirror_everything(pair: tuple[str, str]) -> None:
    one, other = pair
    assert mirrored(decisions(one, other)) == decisions(other, one)


@pytest.mark.parametrize("name", SETUPS)
def test_a_build_with_itself_is_as_good_and_differs_in_nothing(name: str) -> None:
    c = builds(name, "", "")
    held = judgement(name)
    assert c.ahead == "even"
    assert c.verdict.startswith("They are one and the same build.")
    assert ("not to be built" in c.verdict) is (held.survivors == 0)
    assert (c.grounds, c.facts, c.numbers, c.cautions, c.steps) == ((), (), (), (), ())
    assert {row.group for row in c.rules} <= {ALIKE, NEITHER}
    assert all(row.first == row.second for row in c.rules)
    assert {stage.goes for stage in c.stages} == {"even"}
    decision = decided(name)
    assert c.first == c.second
    assert c.first.build == decision.build
    assert c.first.items == decision.items
    assert c.numbers_alike == len(decision.numbers)
    assert c.facts_alike == len({**decision.given, **decision.assumed, **decision.build})


def test_a_decision_with_itself_is_the_same() -> None:
    c = decisions(HUNTING, HUNTING)
    assert (c.ahead, c.verdict) == ("even", "They are one and the same Decision.")
    assert (c.grounds, c.facts, c.numbers, c.cautions, c.steps) == ((), (), (), (), ())


# The ranking


@untraced
@pytest.mark.parametrize("name", SETUPS)
def test_the_order_is_that_of_the_ranking(name: str) -> None:
    held = judgement(name)
    place: dict[int, tuple[int, int]] = {}
    by_count: dict[int, dict[int, list[int]]] = {}
    for verdict, alike in held.grid.alike.items():
        broken = (verdict & held.grid.broken_bits).bit_count()
        by_count.setdefault(broken, {})[verdict] = alike
    for broken, candidates in by_count.items():
        for turn, group in enumerate(rank(held.grid, candidates, held.wishes)):
            place.update((at, (broken, turn)) for at in group)
    reached: set[str] = set()
    for one, other in combinations(sample(held), 2):
        c = compare_builds(held, whole_name(held, one), whole_name(held, other))
        want = "even" if place[one] == place[other] else "first"
        want = "second" if place[other] < place[one] else want
        assert c.ahead == want, (one, other, c.verdict)
        reached.update(stage.kind for stage in c.stages if stage.goes in ("first", "second"))
        for side, at in ((c.first, one), (c.second, other)):
            survives = place[at][0] == 0
            assert (not side.breaks) is survives
            chosen = place[at] == place[held.at]
            assert (side.stands in ("chosen", "as-good")) is (survives and chosen), side
            assert (side.stands == "chosen") is (survives and at == held.at)
    assert reached, "no pair was parted"


@pytest.mark.parametrize("name", ["indoor-fat-shaft", "same-arrow-outdoors", "target-recurve"])
def test_what_breaks_a_must_is_no_measure_for_what_does_not(name: str) -> None:
    """A favour's best is that of the builds that hold: here those that do not would part others."""
    held = judgement(name)
    alone = places(rank(held.grid, survivors(held.grid), held.wishes))
    mixed = places(rank(held.grid, held.grid.alike, held.wishes))
    groups: dict[int, list[int]] = {}
    for at, turn in alone.items():
        groups.setdefault(turn, []).append(at)
    one, other = next(
        (group[0], at) for group in groups.values() for at in group if mixed[at] != mixed[group[0]]
    )
    c = compare_builds(held, whole_name(held, one), whole_name(held, other))
    assert c.ahead == "even"


def places(groups: Iterable[list[int]]) -> dict[int, int]:
    return {at: turn for turn, group in enumerate(groups) for at in group}


@pytest.mark.parametrize(
    ("name", "one", "other"), [("/mechanical", 12, 57), ("/youth-bow", 12, 22)]
)
def test_the_house_goes_before_the_layers_under_it(name: str, one: int, other: int) -> None:
    held = judgement(name)
    c = compare_builds(held, whole_name(held, one), whole_name(held, other))
    house, under = (stage for stage in c.stages if stage.kind == "shoulds")
    assert (house.layer, under.layer) == ("quillmere", "base")
    counts = [n.value for n in (house.first, house.second, under.first, under.second) if n]
    assert counts == [0, 1, 1, 0]
    assert (house.goes, under.goes, c.ahead) == ("first", "", "first")
    assert "falls short of the shoulds of quillmere on" in c.verdict


@untraced
def test_each_kind_of_stage_decides_somewhere() -> None:
    kinds: dict[str, Stage] = {}
    for name in SETUPS:
        held = judgement(name)
        for one, other in combinations(sample(held, 8), 2):
            c = compare_builds(held, whole_name(held, one), whole_name(held, other))
            for stage in c.stages:
                if stage.goes in ("first", "second"):
                    kinds.setdefault(stage.kind, stage)
    assert {"broken", "shoulds", "favour"} <= kinds.keys()


def test_stages_come_in_the_order_of_the_ranking_and_end_with_the_deciding_one() -> None:
    order = ["broken", "unproven", "shoulds", "favour"]
    for c in every():
        kinds = [order.index(stage.kind) for stage in c.stages]
        assert kinds == sorted(kinds)
        goes = [stage.goes for stage in c.stages]
        decided_at = next(
            (i for i, who in enumerate(goes) if who in ("first", "second")), len(goes)
        )
        assert set(goes[:decided_at]) <= {"even"}
        assert set(goes[decided_at + 1 :]) <= {""}
        if c.stages:
            assert c.ahead == (goes[decided_at] if decided_at < len(goes) else "even")
        else:
            assert c.kind == "decisions"


def test_the_favours_are_those_of_the_setup_with_the_values_of_each() -> None:
    c, held = three_against_four(), judgement(HUNTING)
    favours = [stage for stage in c.stages if stage.kind == "favour"]
    assert [stage.rule for stage in favours] == [wish.rule for wish in held.wishes]
    for stage, wish in zip(favours, held.wishes, strict=True):
        entry = held.base.vocabulary[wish.fact]
        assert stage.within == Number(entry.within, entry.unit)
        for told, count in ((stage.first, 3), (stage.second, 4)):
            decision = decided(HUNTING, f"fletching.count={count}")
            value = decision.numbers.get(stage.fact, decision.build.get(stage.fact))
            assert isinstance(value, Number)
            assert told == Number(value.value, entry.unit)


@untraced
def test_a_favour_keeps_what_is_within_reach_of_the_best_still_in() -> None:
    """Two near each other can be parted all the same: one is near the best, the other is not."""
    seen = 0
    for name in SETUPS:
        held = judgement(name)
        for one, other in combinations(sample(held, 8), 2):
            c = compare_builds(held, whole_name(held, one), whole_name(held, other))
            for stage in c.stages:
                if stage.kind != "favour" or not stage.goes or stage.best is None:
                    continue
                seen += 1
                assert stage.within is not None
                near = [
                    x is not None and abs(x.value - stage.best.value) <= stage.within.value + 1e-9
                    for x in (stage.first, stage.second)
                ]
                want = "even" if near[0] == near[1] else "first" if near[0] else "second"
                assert stage.goes == want, stage
    assert seen > 20


# What the rest is chosen by


@pytest.mark.parametrize("name", SETUPS)
@pytest.mark.parametrize(
    "stated", ["fletching.count=3", "fletching.count=4", "fletching.offset=2 deg"]
)
def test_the_rest_is_chosen_as_the_advice_would(name: str, stated: str) -> None:
    try:
        c = builds(name, stated, "")
    except Faults:
        assert name.startswith("/")  # the house may not offer it
        return
    want = decided(name, stated)
    assert c.first.build == want.build
    assert c.first.items == want.items
    assert c.first.named == {name: want.build[name] for name in [stated.partition("=")[0]]}
    assert bool(c.first.breaks) is (want.status in ("rejected", "stopped"))


def outcomes(d: Decision) -> list[tuple[str, ...]]:
    """What the rules ask and how it comes out; an option stated has a premise of another origin."""
    return [
        (r.rule, r.strength, r.asks, r.outcome, r.because)
        for told in d.reasons.values()
        for r in told
    ]


def test_a_view_of_a_build_tells_what_its_own_judgement_would() -> None:
    held = judgement(HUNTING)
    for at in sample(held):
        told = decide(seen_from(held, at))
        sets = [f"{n}={held.base.words.value(n, v)}" for n, v in whole_name(held, at).items()]
        own = decided(HUNTING, *sets)
        assert told.numbers == own.numbers
        assert told.build == own.build
        assert outcomes(told) == outcomes(own)
        assert told.cautions == own.cautions
        assert told.steps == own.steps
        assert told.set_aside == own.set_aside
    assert held.run.values is not seen_from(held, sample(held)[1]).run.values


def test_a_build_is_found_by_a_stock_number_and_within_what_can_be_measured() -> None:
    c = builds(HUNTING, "from_stock.vane=V-225-low", "vane.length=57.2 mm, vane.height=0.35 in")
    assert c.first.items == {"vane": "V-225-low"}
    assert c.first.named == {"from_stock.vane": "V-225-low"}
    assert c.second.build["vane.length"] == Number(2.25, "in")
    assert c.second.build["vane.height"] == Number(0.35, "in")


def test_the_exact_value_goes_before_what_no_measuring_tells_from_it() -> None:
    rules, setup = base(), judgement(HUNTING).setup
    near = rules.ladder._replace(options={**rules.ladder.options, "fletching.offset": (1.9, 2.0)})
    c = compare_builds(
        Judgement(setup, rules, near), {"fletching.offset": 1.9}, {"fletching.offset": 1.8}
    )
    assert c.first.build["fletching.offset"] == Number(1.9, "deg")
    assert c.second.build["fletching.offset"] == Number(2.0, "deg")  # the better of both near it
    with pytest.raises(Faults, match="not among what is offered"):
        compare_builds(Judgement(setup, rules, near), {"fletching.offset": 1.6}, {})


def test_what_is_named_as_the_setup_states_it_changes_nothing() -> None:
    held = judgement(HUNTING, "fletching.count=4")
    c = compare_builds(held, {"fletching.count": 4}, {"fletching.offset": 2.0})
    assert c.first.build["fletching.count"] == Number(4, "")


# Rules


def said(held: Judgement, run: Run, rule: str) -> Said:
    """What a rule says of a build, told from the run itself."""
    entry = held.base.entries[rule]
    if run.stands(rule):
        if entry.rule.stop:
            return Said("warns")
        outcomes = [held.outcome(entry.rule, demand, run) for demand in entry.rule.demands]
        for state in ("broken", "unproven", "met"):
            if state in outcomes:
                return Said(state)
        if any(caution.level == "caution" for caution in entry.cautions):
            return Said("warns")
        return Said("mute")
    beaten = run.set_aside().get(rule)
    if beaten:
        return Said("set-aside", tuple(beaten))
    if run.status(rule) == UNDECIDED:
        by = tuple(run.overruled().get(rule, ()))
        return Said("undecided", by, tuple(sorted(run.lacks(entry.rule))))
    assert run.status(rule) == SILENT
    return Said("silent")


@untraced
@pytest.mark.parametrize("name", SETUPS)
def test_every_rule_is_in_one_group_or_says_nothing_of_either(name: str) -> None:
    held = judgement(name)
    favours = {wish.rule for wish in held.wishes}
    groups = set()
    for one, other in combinations(sample(held), 2):
        c = compare_builds(held, whole_name(held, one), whole_name(held, other))
        rows = {row.rule: row for row in c.rules}
        assert len(rows) == len(c.rules)
        runs = held.run_of(one), held.run_of(other)
        for rule, entry in held.base.entries.items():
            told = [said(held, run, rule) for run in runs]
            if rule not in rows:
                states = {one_told.state for one_told in told}
                assert rule in favours or states == {"silent"} or "mute" in states, rule
                continue
            row = rows[rule]
            groups.add(row.group)
            if entry.rule.favour is None:
                assert [row.first, row.second] == told, rule
            assert (row.says, row.layer) == (entry.says, entry.layer)
            assert row.group == want_group(row)
    assert groups <= set(GROUPS)
    assert ALIKE in groups


def want_group(row: RuleRow) -> str:
    """The group by the words of the brief: for, against, alike, or nothing on either."""
    for_, against = ("met",), ("broken", "warns", "unproven")
    a, b = row.first.state, row.second.state
    if a in for_ and b not in for_:
        return "for-first"
    if b in for_ and a not in for_:
        return "for-second"
    if a in against and b not in against:
        return "against-first"
    if b in against and a not in against:
        return "against-second"
    if a in for_ or a == b or {a, b} == {"broken", "warns"}:
        return ALIKE if a in (*for_, *against) else NEITHER
    if a in against:
        return "against-second" if a == "unproven" else "against-first"
    return NEITHER


def test_groups_follow_what_is_said() -> None:
    assert group_of(Said("met"), Said("broken")) == "for-first"
    assert group_of(Said("met"), Said("silent")) == "for-first"
    assert group_of(Said("silent"), Said("warns")) == "against-second"
    assert group_of(Said("unproven"), Said("broken")) == "against-second"
    assert group_of(Said("set-aside"), Said("unproven")) == "against-second"
    assert group_of(Said("broken"), Said("broken")) == "alike"
    assert group_of(Said("set-aside"), Said("undecided")) == "neither"


def test_who_set_a_rule_aside_is_told() -> None:
    found = [
        (row, said_of)
        for c in every()
        for row in c.rules
        for said_of in (row.first, row.second)
        if said_of.state == "set-aside"
    ]
    assert found
    assert all(said_of.by for _, said_of in found)


# Numbers


def width(fact: str, value: float, unit: str) -> float:
    amount, _, measure = BY_FACT[fact].band.partition(" ")
    if measure == "%":
        return float(amount) / 100 * abs(value)
    if measure.startswith("point"):
        return float(amount)
    return float(amount) * UNITS[measure][1] / UNITS[unit][1]


@pytest.mark.parametrize("pair", PAIRS, ids=" ".join)
def test_numbers_their_units_and_their_bands(pair: tuple[str, str, str]) -> None:
    c, held = builds(*pair), judgement(pair[0])
    rows = {row.fact: row for row in c.numbers}
    sets = [[f"{n}={shown(v)}" for n, v in side.build.items()] for side in (c.first, c.second)]
    one, other = (decided(pair[0], *stated) for stated in sets)
    alike = 0
    for fact in held.base.vocabulary.of_origin(COMPUTED):
        a, b = one.numbers.get(fact), other.numbers.get(fact)
        if a == b:
            alike += a is not None
            assert fact not in rows
            continue
        row = rows[fact]
        assert (row.first, row.second) == (a, b)
        if a is None or b is None:
            assert (row.difference, row.inside) == (None, False)
            assert bool(row.first_lacks) is (a is None)
            assert bool(row.second_lacks) is (b is None)
            continue
        assert a.unit == held.base.vocabulary[fact].unit
        assert row.difference is not None
        assert row.difference.unit == a.unit
        assert row.difference.value == pytest.approx(b.value - a.value, rel=1e-7, abs=1e-12)
        if a.band and BY_FACT[fact].band:
            wide = max(width(fact, a.value, a.unit), width(fact, b.value, b.unit))
            assert row.inside is (abs(b.value - a.value) <= wide * (1 + 1e-9)), fact
        elif not any(need in BY_FACT for need in NEEDS[fact]):
            assert not row.inside
    assert c.numbers_alike == alike


def shown(value: FactValue) -> str:
    if isinstance(value, Number):
        return f"{value.value!r} {value.unit}".strip()
    return str(value)


def test_a_band_is_as_wide_as_it_says() -> None:
    def near(a: float, b: float, unit: str, band: str) -> bool:
        return is_inside(Number(a, unit, band, "f"), Number(b, unit, band, "f"))

    assert near(1.0, 1.4, "1", "30 %")  # 30 % of the wider one, 0.42
    assert not near(1.0, 1.5, "1", "30 %")
    assert near(2.0, 3.0, "%", "1 point")
    assert not near(2.0, 3.01, "%", "1 point")
    assert near(1.0, 1.3, "mm", "0.01 in") is False
    assert near(1.0, 1.25, "mm", "0.01 in")
    assert near(5.0, 5.0, "", "")
    assert not near(5.0, 6.0, "", "")


def test_a_number_without_a_band_is_trusted_as_far_as_what_it_comes_from() -> None:
    rows = {row.fact: row for row in three_against_four().numbers}
    assert rows["steering.ratio"].inside
    assert not BY_FACT["steering.shortfall"].band
    assert rows["steering.shortfall"].inside  # it is the ratio's
    assert not rows["fletching.vanes_needed"].inside  # a count is exact


def test_numbers_of_other_units_or_stated_ones_are_not_made_little_of() -> None:
    d = decided(HUNTING)
    drift, ratio, short = (
        d.numbers[name] for name in ("wind.drift", "steering.ratio", "steering.shortfall")
    )
    other = d._replace(
        numbers={
            **d.numbers,
            "wind.drift": drift._replace(unit="mm"),
            "steering.ratio": ratio._replace(value=ratio.value + 0.01),
            "steering.shortfall": Number(short.value + 0.01, "1", "", "as stated", "setup.yaml:3"),
            "arrow.mass": Number(d.numbers["arrow.mass"].value + 2, "gr", "", "as stated", ""),
        }
    )
    rows = {row.fact: row for row in compare_decisions(d, other).numbers}
    assert (rows["wind.drift"].difference, rows["wind.drift"].inside) == (None, False)
    assert rows["steering.ratio"].inside
    assert not rows["steering.shortfall"].inside  # stated, so it is not worked out from the ratio
    assert rows["arrow.mass"].inside  # 2 gr are within the band of the one that was worked out


def test_why_a_number_is_not_there() -> None:
    c = compare_decisions(decided(HUNTING), decided("too-light"))
    row = next(row for row in c.numbers if row.fact == "steering.ratio")
    assert row.second is None
    assert row.second_lacks.startswith("lacks shaft.outside_diameter, ")
    assert (row.difference, row.inside) == (None, False)


# Facts, cautions, steps, ties


def test_facts_that_differ_and_those_that_do_not() -> None:
    for c, (name, one, other) in zip((builds(*pair) for pair in PAIRS), PAIRS, strict=True):
        assert all(row.first != row.second for row in c.facts), (name, one, other)
        differ = {row.fact for row in c.facts}
        a, b = c.first.build, c.second.build
        assert differ == {fact for fact in a.keys() | b.keys() if a.get(fact) != b.get(fact)}
        assert {row.first_origin for row in c.facts} <= {"option", ""}


def test_cautions_and_steps_are_those_that_only_one_has() -> None:
    for name, one, other in PAIRS:
        c = builds(name, one, other)
        held = judgement(name)
        told = []
        for side in (c.first, c.second):
            values = {n: v.value if isinstance(v, Number) else v for n, v in side.build.items()}
            at = next(n for n in range(held.count) if whole_name(held, n).items() <= values.items())
            told.append(decide(seen_from(held, at)))
        for rows, kind in ((c.cautions, "cautions"), (c.steps, "steps")):
            a, b = ({part.text for part in getattr(d, kind)} for d in told)
            assert {row.first for row in rows} - {""} == a - b
            assert {row.second for row in rows} - {""} == b - a


def test_ties_are_told_of_the_one_they_stand_on() -> None:
    def tie(fact: str) -> Tie:
        return Tie(fact, "values", (Side("a-rule", f"{fact} is a", ""), Side("b-rule", "", "")))

    one = kettle()._replace(ties=(tie("lid.fit"), tie("base.width")))
    other = kettle()._replace(ties=(tie("lid.fit"), tie("spout.side")))
    found = [(row.tie.fact, row.on) for row in ties(one, other)]
    assert found == [("base.width", "first"), ("lid.fit", "even"), ("spout.side", "second")]


# As a shop would ask it


def test_three_against_four_vanes_behind_a_fixed_blade() -> None:
    c = three_against_four()
    assert c.ahead == "second"
    assert c.verdict == (
        "The second is ahead: the first falls short of the shoulds of base on fletching.count "
        "(four-vanes-behind-exposed-blades), the second on nothing."
    )
    assert (c.first.stands, c.second.stands) == ("behind", "chosen")
    assert c.first.says == "behind the build advised"
    assert c.first.because == (
        "this falls short of the shoulds of base on fletching.count "
        "(four-vanes-behind-exposed-blades), that on nothing"
    )
    rules = {row.rule: row for row in c.rules}
    four = rules["four-vanes-behind-exposed-blades"]
    assert (four.group, four.first.state, four.second.state) == ("for-second", "broken", "met")
    assert rules["three-vanes-to-four-degrees"].group == "for-first"
    assert rules["feet-need-room"].group == "alike"
    numbers = {row.fact: row for row in c.numbers}
    assert numbers["arrow.mass"].inside
    assert numbers["steering.ratio"].inside
    assert not numbers["fletching.root_space"].inside
    steps = {row.rule: (bool(row.first), bool(row.second)) for row in c.steps}
    assert steps["index-for-three"] == (True, False)
    assert steps["index-for-four"] == (False, True)


def test_with_the_same_vane_a_third_less_steering_is_what_decides_for_the_shop() -> None:
    vane = "vane.length=2.6 in, vane.height=0.5 in, vane.stiffness=stiff"
    c = builds(HUNTING, f"{vane}, fletching.count=3", f"{vane}, fletching.count=4")
    assert [row.fact for row in c.facts] == ["fletching.count"]
    numbers = {row.fact: row for row in c.numbers}
    ratio = numbers["steering.ratio"]
    assert ratio.first is not None
    assert ratio.second is not None
    assert 1.2 < ratio.second.value / ratio.first.value < 1.34
    assert numbers["fletching.vanes_needed"].difference == Number(13, "")


def test_what_is_decided_by_less_than_the_band_says_so() -> None:
    c = builds("/first-hunting-dozen", "from_stock.vane=QV-21", "from_stock.vane=QV-22")
    assert c.ahead == "second"
    assert re.fullmatch(
        r"The second is ahead: steering.shortfall is 0\.\d+ for the first and 0 for the second "
        r"\(steering-comes-first\)\. That difference lies inside the band of the number\.",
        c.verdict,
    )
    stage = next(stage for stage in c.stages if stage.goes == "second")
    assert stage.rule == "steering-comes-first"
    assert "inside the band" not in three_against_four().verdict


def test_where_nothing_holds_neither_is_to_be_built() -> None:
    c = builds("left-bevel-right-clamp", "fletching.direction=left", "fletching.direction=right")
    assert c.verdict == (
        "Neither is to be built. The second is nearer: the first breaks a-right-clamp-sets-right "
        "and helical-clamps-alone-name-the-side, the second match-a-left-bevel."
    )
    assert c.second.says == "the nearest of builds none of which holds"
    assert c.first.breaks == ("a-right-clamp-sets-right", "helical-clamps-alone-name-the-side")
    light = builds("too-light", "fletching.count=3", "fletching.count=4")
    assert light.verdict == (
        "Neither is to be built. They are as near: nothing in the ranking parts them."
    )
    assert {light.first.stands, light.second.stands} == {"stopped"}


def test_a_build_that_breaks_a_must_is_not_to_be_built() -> None:
    c = builds(HUNTING, "", "vane.height=0.35 in")
    assert c.ahead == "first"
    assert c.verdict == (
        "The first is ahead, and the second is not to be built: the second breaks steer-the-head, "
        "the first nothing."
    )
    assert c.second.because == "this breaks steer-the-head"
    assert c.second.stands == "breaks"
    assert c.second.status == "rejected"


# Whole Decisions


def test_decisions_by_other_rules_and_stock_say_so_first_and_have_no_ranking() -> None:
    c = decisions(HUNTING, "/first-hunting-dozen")
    assert (c.ahead, c.stages) == ("", ())
    whats = [ground.what for ground in c.grounds]
    assert (whats[0], whats[-1]) == ("rule base", "stock")
    assert c.grounds[0].first == f"base 0.4.0, digest {base().digest[:12]}"
    assert c.grounds[0].second.startswith("quillmere 1.4.0 over base 0.4.0, digest ")
    assert c.verdict == (
        "They cannot be ranked against each other: they differ in rule base, stock, what is given "
        "and what is assumed. Both hold."
    )
    origins = [min(row.first_origin or "z", row.second_origin or "z") for row in c.facts]
    given = [("given" in (row.first_origin, row.second_origin)) for row in c.facts]
    assert given == sorted(given, reverse=True), origins


def test_decisions_tell_which_holds() -> None:
    assert decisions(HUNTING, "too-light").verdict.endswith("The first holds, the second does not.")
    assert decisions("too-light", "left-bevel-right-clamp").verdict.endswith("Neither holds.")
    c = decisions(HUNTING, "too-light")
    assert c.second.because == "this carries the stop of too-light-to-shoot"
    assert c.second.breaks == ("too-light-to-shoot",)


def test_one_setup_with_an_option_stated_twice_compares_as_its_builds_do() -> None:
    """What is said of the sides does not depend on how they were come by."""
    one, other = (decided(HUNTING, f"fletching.count={n}") for n in (3, 4))
    whole, of_builds = compare_decisions(one, other), three_against_four()
    assert whole.numbers == of_builds.numbers
    unnamed = [row._replace(says="", layer="") for row in of_builds.rules]
    assert [row._replace(says="", layer="") for row in whole.rules] == unnamed
    assert whole.cautions == of_builds.cautions
    assert whole.steps == of_builds.steps
    assert whole.verdict.startswith("They cannot be ranked against each other: they differ in what")


# Refused


def refused(name: str, *words: str) -> str:
    held = judgement(name)
    with pytest.raises(Faults) as caught:
        compare_builds(held, *builds_named(held.base, [[text] if text else [] for text in words]))
    assert caught.value.about == "usage"
    assert caught.value.exit_status == 2
    return caught.value.text("nothing was compared")


def unwrapped(text: str) -> str:
    return " ".join(text.split())


def test_what_is_not_offered_is_refused_with_what_is() -> None:
    assert refused(HUNTING, "fletching.count=2", "fletching.offset=9 deg") == (
        "--build fletching.count   `2` is not among what is offered\n"
        "                          offered: 3, 4\n"
        "--build fletching.offset  `9 deg` is not among what is offered\n"
        "                          offered: 0 deg, 1 deg, 1.5 deg, 2 deg, 2.5 deg, 3 deg,\n"
        "                          4 deg\n"
        "2 faults; nothing was compared"
    )


def test_values_that_no_vane_has_together_are_refused() -> None:
    words = "vane.length=2.25 in, vane.height=0.55 in"
    told = unwrapped(refused(HUNTING, words, "fletching.count=4"))
    assert "no vane offered agrees with vane.length 2.25 in and" in told
    assert "offered together: 2.25 in with 0.35 in" in told
    told = unwrapped(refused(HUNTING, "from_stock.vane=V-225-low, vane.height=0.55 in", ""))
    assert "no vane offered agrees with" in told
    assert "by its stock number or by its facts" in told


def test_what_is_not_chosen_here_is_refused() -> None:
    told = unwrapped(refused(HUNTING, "point.type=blunt", "arrow.mass=400 gr"))
    assert "point.type is fixed-blade in the setup (" in told
    assert "leave it out there, or compare two setups" in told
    assert "arrow.mass is computed, not chosen here" in told
    assert refused(HUNTING, "from_stock.vane=none", "from_stock.head=Q-1").count("offered as") == 2


def test_a_name_that_is_no_fact_is_refused_wherever_it_comes_from() -> None:
    with pytest.raises(Faults, match=r"did you mean fletching\.count"):
        compare_builds(judgement(HUNTING), {"fletching.cont": 3}, {})


def test_every_fault_of_the_words_is_told_at_once() -> None:
    held = judgement(HUNTING)
    with pytest.raises(Faults) as caught:
        builds_named(held.base, [["fletching.cont=3", "vane.length=2.25"], ["fletching.count"]])
    assert caught.value.about == "usage"
    assert [fault.file for fault in caught.value.faults] == [
        "--build fletching.cont",
        "--build fletching.count",
        "--build vane.length",
    ]
    assert "--set" not in str(caught.value)


# JSON


def test_a_comparison_keeps_to_its_schema() -> None:
    schema = schema_of(Comparison, "Comparison")
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for c in every():
        plain = json.loads(json.dumps(to_plain(c)))
        assert list(validator.iter_errors(plain)) == []
        assert plain["format"] == FORMAT
    plain["ahead"] = 1
    plain["surprise"] = 1
    plain["facts"] = [{"fact": "vane.length"}]
    assert len(list(validator.iter_errors(plain))) >= 3


def test_the_samples_hold_something_of_everything() -> None:
    """Else the tests above would pass on nothing."""
    found = every()
    groups = {row.group for c in found for row in c.rules}
    assert groups == set(GROUPS)
    assert {c.ahead for c in found} == {"first", "second", "even", ""}
    assert {row.inside for c in found for row in c.numbers} == {True, False}
    states = {said.state for c in found for row in c.rules for said in (row.first, row.second)}
    assert {"met", "broken", "unproven", "warns", "silent", "set-aside", "undecided"} <= states
    assert any(chain.from_iterable(c.grounds for c in found))


def test_a_setup_all_given_has_one_build() -> None:
    rules = base()
    setup = read_setup(None, [], rules.vocabulary)
    whole = advise(setup, rules)
    sets = ["point.type=field-point", *(f"{n}={shown(v)}" for n, v in whole.build.items())]
    held = Judgement(read_setup(None, sets, rules.vocabulary), rules, rules.ladder)
    assert held.count == 1
    with pytest.raises(Faults, match="in the setup"):
        compare_builds(held, {"fletching.count": 5}, {})
    c = compare_builds(held, {}, {})
    assert c.first.says == "the build as stated"


def test_heads_are_compared_where_they_are_the_options() -> None:
    rules = base()
    whole = advise(read_setup(None, [], rules.vocabulary), rules)
    sets = [f"{n}={shown(v)}" for n, v in whole.build.items()]
    held = Judgement(read_setup(None, sets, rules.vocabulary), rules, rules.ladder)
    assert held.choice.pairing
    c = compare_builds(held, {"point.type": "fixed-blade"}, {"point.type": "mechanical"})
    assert c.facts[0].fact == "point.type"
    assert c.first.build["point.type"] == "fixed-blade"
    with pytest.raises(Faults, match="not among what is offered"):
        compare_builds(held, {"point.mass": 1}, {})
