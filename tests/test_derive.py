"""The table that joins physics to facts: its units, its gaps, and what it refuses."""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any

import pytest

from advisor.decision import Decision, Number
from advisor.derive import BY_FACT, NEEDS, TABLE
from advisor.derive.bound import functions, refusal
from advisor.derive.steer import AMPLE
from advisor.engine import conditions
from advisor.engine.chooser import Function
from advisor.engine.values import COMPUTED, MISSING, OPEN, Value, has_value
from advisor.physics.flight import (
    drift_at,
    drop_at,
    speed_at,
    swing,
    time_at,
    yaw_damping_distance,
    yaw_wavelength,
)
from advisor.physics.layer import is_turbulent
from advisor.physics.steering import head, whole
from advisor.pipeline import advise
from advisor.quantities import UNITS
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup
from advisor.vocabulary import COUNT, NUMBERS, QUANTITY
from tests.heavy import untraced
from tests.physics.plausible import ALL, DEGREE, INCH, Arrow

ROOT = Path(__file__).resolve().parents[1]
ELEVEN = sorted((ROOT / "examples" / "eleven-arrows").glob("*.yaml"))
BASE = read_rule_base()
FUNCTIONS = {function.fact: function for function in functions(BASE.vocabulary)}


def decided(path: Path, *more: str) -> Decision:
    return advise(read_setup(str(path), list(more), BASE.vocabulary), BASE)


def si(number: Number) -> float:
    return float(number.value) * (UNITS[number.unit][1] if number.unit else 1.0)


def test_every_computed_fact_is_computed_and_every_row_is_declared() -> None:
    assert set(BASE.vocabulary.of_origin(COMPUTED)) == set(BY_FACT) == set(FUNCTIONS)
    assert len(BY_FACT) == len(TABLE)


def test_rows_stand_after_the_rows_they_need() -> None:
    seen: set[str] = set()
    for row in TABLE:
        assert not (set(row.needs) & set(BY_FACT)) - seen, row.fact
        seen.add(row.fact)
        assert len(set(row.needs)) == len(row.needs)


def test_every_row_names_its_source_and_most_their_band() -> None:
    for row in TABLE:
        assert row.function
        assert row.source
    exact = {row.fact for row in TABLE if not row.band}
    assert exact == {"fletching.vanes_needed", "fletching.surface_diameter", "steering.shortfall"}


def test_the_examples_are_the_eleven_plausible_arrows() -> None:
    assert [path.stem for path in ELEVEN] == sorted(ALL)


@pytest.mark.parametrize("path", ELEVEN, ids=lambda path: path.stem)
def test_facts_come_to_what_physics_says_in_si(path: Path) -> None:
    # Trade units through the file, the table and the Decision, against SI straight from physics.
    arrow: Arrow = ALL[path.stem]
    numbers = {name: si(number) for name, number in decided(path).numbers.items()}
    lift, from_tip = arrow.lift(), arrow.from_tip()
    rough = is_turbulent(arrow.blades, arrow.diameter, arrow.speed)
    loss, far = arrow.loss(turbulent=rough), 40 * 0.9144
    expected: dict[str, float] = {
        "arrow.mass": arrow.mass(),
        "arrow.balance": arrow.balance()[0],
        "arrow.foc": arrow.foc() / 100,
        "glue.end_gap": arrow.gap(),
        "steering.ratio": arrow.steering(),
        "steering.ratio_plain": arrow.steering_plain(),
        "steering.shortfall": max(0.0, 1.9 - arrow.steering()),
        "steering.margin": arrow.margin() / 100,
        "steering.layer_factor": lift.eta,
        "steering.head_pressure_point": arrow.length - head(lift).centre,
        "steering.vane_pressure_point": arrow.length - lift.vanes.centre,
        "steering.pressure_point": arrow.length - whole(lift).centre,
        "spin.travel_per_turn": arrow.travel(),
        "spin.rate": arrow.spin(),
        "spin.build_up": arrow.build_up(),
        "drag.coefficient": arrow.drag(turbulent=False),
        "drag.coefficient_turbulent": arrow.drag(turbulent=True),
        "flight.speed": speed_at(arrow.speed, loss, far),
        "flight.time": time_at(arrow.speed, loss, far),
        "flight.drop": drop_at(arrow.speed, loss, far),
        "wind.drift": drift_at(arrow.speed, loss, far, 4.4704),
        "yaw.wavelength": yaw_wavelength(swing(**arrow.yaw())),
        "yaw.damping": yaw_damping_distance(swing(**arrow.yaw())),
    }
    assert from_tip + expected["arrow.balance"] == pytest.approx(arrow.length)
    for name, value in expected.items():
        # J is written as 27 series, 10.716 mm to five digits; zero is zero.
        assert numbers[name] == pytest.approx(value, rel=2e-4, abs=1e-9), name


def test_worked_numbers_through_the_whole_program() -> None:
    # 5.8 mm, 2.6 in and 2 deg: exact geometry; 0.340 in of static spine: ASTM F2031 (read
    # second-hand) and beam theory; 400 gr at 280 fps: exact units.
    path = ROOT / "examples" / "eleven-arrows" / "A.yaml"
    numbers = decided(path, "shaft.spine=0.340").numbers
    assert numbers["glue.end_gap"].value == pytest.approx(0.22057, abs=1e-5)
    assert numbers["glue.offset_limit"].value == pytest.approx(2.1345, abs=1e-4)
    assert numbers["shaft.bending_stiffness"].value == pytest.approx(7.48875, abs=1e-5)
    stated = decided(path, "arrow.mass=400 gr", "arrow.speed=280 fps").numbers
    assert stated["arrow.mass"].function == "as stated"
    assert stated["arrow.kinetic_energy"].value == pytest.approx(69.6213, abs=1e-4)
    assert stated["arrow.momentum"].value == pytest.approx(0.497295, abs=1e-6)


def whole_row(function: Function) -> list[Value]:
    """Return the inputs of a function for arrow B, in the vocabulary's units."""
    values: dict[str, Value] = dict.fromkeys(BASE.vocabulary.entries, MISSING)
    more = "shaft.spine=0.340", "bow.draw_length=26.5 in"
    decision = decided(ROOT / "examples" / "eleven-arrows" / "B.yaml", *more)
    for place in (decision.given, decision.assumed, decision.build, decision.numbers):
        for name, value in place.items():
            values[name] = value.value if isinstance(value, Number) else value
    return [values[name] for name in function.needs]


@pytest.mark.parametrize("fact", sorted(FUNCTIONS))
def test_each_missing_input_leaves_the_fact_unknown_and_no_other_does(fact: str) -> None:
    function = FUNCTIONS[fact]
    row = whole_row(function)
    assert has_value(function.value(row)), dict(zip(function.needs, row, strict=True))
    asked = function.asked(row)
    for i, name in enumerate(function.needs):
        if name in function.optional:
            assert i not in asked
        gone = [MISSING if i == j else value for j, value in enumerate(row)]
        assert has_value(function.value(gone)) == (i not in asked), name


def test_what_is_optional_is_used_and_never_asked_for() -> None:
    function = FUNCTIONS["fletching.surface_diameter"]
    assert function.inputs([5.8, 6.0, 6.2]) == ["shaft.outside_diameter", "wrap.length"]
    assert function.value([5.8, 6.0, MISSING]) == 5.8
    assert function.value([5.8, 6.0, 6.2]) == 6.2
    assert function.value([5.8, 0.0, 6.2]) == 5.8
    # While somebody could still tell it, nothing is sure of the value.
    assert function.value([5.8, 6.0, OPEN]) is OPEN


def test_thin_air_is_thicker_to_a_boundary_layer() -> None:
    # Kinematic viscosity goes with one over the density: 1.4607e-5 at 1.225 is 1.7894e-5 at 1.0.
    path = ROOT / "examples" / "eleven-arrows" / "A.yaml"
    thin = decided(path, "air.density=1.0 kg/m3").numbers["steering.layer_factor"].value
    told = decided(path, "air.density=1.0 kg/m3", "air.viscosity=17.8936 mm2/s")
    plain = decided(path).numbers["steering.layer_factor"].value
    assert thin == pytest.approx(told.numbers["steering.layer_factor"].value, rel=1e-5)
    assert thin < plain
    questions = {q.fact for q in told.questions} | set(decided(path).cannot_matter)
    assert "air.viscosity" not in questions


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        ("arrow.mass=300 gr", True),
        ("arrow.mass=436 gr", False),
        ("arrow.foc=40 %", True),
        ("arrow.foc=15 %", False),
        ("arrow.balance=18.4 in", False),
        ("arrow.balance=19 in", True),
        ("steering.ratio=2", False),
        ("steering.ratio=3", True),
        ("fletching.vanes_needed=41", True),
    ],
)
def test_a_stated_number_far_from_its_function_is_told(stated: str, told: bool) -> None:
    path = ROOT / "examples" / "eleven-arrows" / "A.yaml"
    notes = decided(path, stated).notes
    fact = stated.split("=", maxsplit=1)[0]
    assert any(note.startswith(f"{fact} is stated as") for note in notes) == told


def test_a_head_asks_for_its_own_width_alone() -> None:
    function = FUNCTIONS["steering.ratio"]
    row = whole_row(function)
    kind = function.needs.index("point.type")
    for value, width in (("fixed-blade", "cutting_width"), ("mechanical", "closed_width")):
        row[kind] = value
        asked = {name for name in function.inputs(row) if name.endswith("width")}
        assert asked == {f"point.{width}"}
    row[kind] = "field-point"
    assert not any(name.startswith("point.blade") for name in function.inputs(row))


@pytest.mark.parametrize(
    ("fact", "changes", "says"),
    [
        ("steering.ratio", {"point.cutting_width": 0.2}, "blades are narrower than the shaft"),
        ("steering.ratio", {"point.blades": 0}, "two, three or four blades, not 0"),
        ("spin.build_up", {"point.blades": 1}, "two, three or four blades, not 1"),
        ("steering.ratio", {"vane.length": 40.0}, "vanes do not fit"),
        ("steering.ratio", {"fletching.rear_gap": 0.2}, "vanes do not fit"),
        ("steering.ratio", {"fletching.count": 5}, "three or four vanes, not 5"),
        ("drag.coefficient", {"fletching.count": 2}, "three or four vanes, not 2"),
        ("arrow.balance", {"insert.length": 60.0}, "the insert does not fit"),
        ("flight.drop", {"arrow.speed": 80.0, "shot.distance": 150.0}, "more than 10 degrees up"),
        ("spin.travel_per_turn", {"fletching.offset": 0.0}, "it has no end"),
    ],
)
def test_what_the_model_refuses_is_unknown_and_told(
    fact: str, changes: dict[str, float], says: str
) -> None:
    function = FUNCTIONS[fact]
    row = whole_row(function)
    assert refusal(fact, BASE.vocabulary, row) == ""
    for name, value in changes.items():
        row[function.needs.index(name)] = value
    assert function.value(row) is MISSING
    assert says in refusal(fact, BASE.vocabulary, row)


def test_the_decision_names_what_a_number_lacks_or_why_there_is_none() -> None:
    path = ROOT / "examples" / "eleven-arrows" / "B.yaml"
    decision = decided(path, "fletching.count=5")
    assert decision.unknown["steering.ratio"].refused.startswith("the theory covers three or four")
    assert decision.unknown["steering.ratio"].lacks == ()
    assert decision.unknown["shaft.bending_stiffness"].lacks == ("shaft.spine",)
    bare = advise(read_setup(None, ["point.type=field-point"], BASE.vocabulary), BASE)
    assert "arrow.speed" in bare.unknown["steering.ratio"].lacks
    assert set(bare.unknown) | set(bare.numbers) == set(BY_FACT)


def draw(name: str, rng: random.Random) -> Value:
    entry = BASE.vocabulary[name]
    if rng.random() < 0.03:
        return MISSING
    if entry.kind in NUMBERS:
        low, high = entry.low or 0.0, entry.high or 1.0
        value = rng.choice([low, high, rng.uniform(low, high), rng.uniform(low, high)])
        return int(value) if entry.kind == COUNT else float(f"{value:.9g}")
    choices: Any = list(entry.choices) or [True, False]
    return rng.choice(choices)


@untraced
def test_anything_in_range_gives_a_number_or_nothing_never_an_exception() -> None:
    rng = random.Random(7)
    known = dict.fromkeys(FUNCTIONS, 0)
    for _ in range(2500):
        for fact, function in FUNCTIONS.items():
            row = [draw(name, rng) for name in function.needs]
            value = function.value(row)
            if has_value(value):
                known[fact] += 1
                assert math.isfinite(value), (fact, row)
            elif all(has_value(row[i]) for i in function.asked(row)):
                assert refusal(fact, BASE.vocabulary, row), (fact, row)
    assert min(known.values()) > 20, known


def test_ample_is_the_same_in_the_rule_and_in_the_table() -> None:
    when = BASE.entries["more-height-before-more-length"].rule.when
    assert when is not None
    tests = conditions.tests_of(when)
    assert [test.operand for test in tests if test.fact == "steering.ratio"] == [AMPLE]


def test_the_same_tail_steers_a_wider_head_less_and_the_advice_says_so() -> None:
    path = ROOT / "examples" / "fixed-blade-hunting.yaml"
    narrow, wide = decided(path), decided(path, "point.cutting_width=1.25 in")
    assert narrow.build["vane.height"] == Number(0.5, "in")
    assert wide.build["vane.height"] == Number(0.55, "in")
    kept = decided(
        path,
        "point.cutting_width=1.25 in",
        "vane.height=0.5 in",
        "vane.length=2.6 in",
        "vane.mass=8.5 gr",
        "vane.silhouette=shield",
    )
    assert kept.numbers["steering.ratio"].value < narrow.numbers["steering.ratio"].value
    assert "more-height-before-more-length" in {caution.rule for caution in kept.cautions}
    assert "more-height-before-more-length" not in {caution.rule for caution in narrow.cautions}


def test_the_quantities_of_the_table_have_units() -> None:
    for fact in BY_FACT:
        entry = BASE.vocabulary[fact]
        assert entry.kind in (QUANTITY, COUNT)
        assert set(NEEDS[fact]) <= set(BASE.vocabulary.entries)


def test_degrees_and_inches_of_the_plausible_arrows_are_those_of_the_units() -> None:
    assert UNITS["deg"][1] == DEGREE
    assert UNITS["in"][1] == INCH


def test_the_shaft_beyond_the_rest_is_what_the_draw_leaves_of_it() -> None:
    # 28 in of shaft and 0.3 in of throat, drawn 26.5 in from the throat: exact geometry.
    path = ROOT / "examples" / "eleven-arrows" / "A.yaml"
    numbers = decided(path, "bow.draw_length=26.5 in").numbers
    assert numbers["shaft.beyond_rest"].value == pytest.approx(1.8, abs=1e-9)
    behind = decided(path, "bow.draw_length=28.5 in").numbers
    assert behind["shaft.beyond_rest"].value == pytest.approx(-0.2, abs=1e-9)
