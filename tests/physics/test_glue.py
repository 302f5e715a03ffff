"""The geometry of the glue line: worked numbers, a second way to each, and what must hold.

The formulas are own derivations, exact; the worked numbers were reckoned apart from the code.
"""

import math
from typing import Any

import pint
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from advisor.physics.glue import (
    end_gap,
    foot_pitch,
    glue_volume,
    largest_offset,
    open_lane,
    rear_radius,
    root_space,
    wrap_angle_helical,
    wrap_angle_straight,
)

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


def si(value: float, unit: str) -> float:
    return float(UNITS.Quantity(value, unit).to_base_units().magnitude)


# The worked case: R 2.9 mm, L 2.6 in, 2 degrees.
DIAMETER = si(5.8, "mm")
LENGTH = si(2.6, "inch")
OFFSET = si(2.0, "degree")

diameters = st.floats(0.0035, 0.012)
lengths = st.floats(0.025, 0.140)
offsets = st.floats(0.0, math.radians(12.0))
angled = st.floats(math.radians(0.1), math.radians(12.0))
gaps = st.floats(0.0, 0.001)
widths = st.floats(0.001, 0.008)


# --- worked numbers ---------------------------------------------------------------------------


def test_end_gap_worked() -> None:
    # Own derivation: 0.22057 mm.
    assert end_gap(DIAMETER, LENGTH, OFFSET) == pytest.approx(si(0.22057, "mm"), abs=5e-9)


def test_largest_offset_worked() -> None:
    # Own derivation: a gap of 0.25 mm allows 2.1345 degrees.
    angle = math.degrees(largest_offset(DIAMETER, LENGTH, si(0.25, "mm")))
    assert angle == pytest.approx(2.1345, abs=5e-5)


@pytest.mark.parametrize(
    ("diameter", "length", "degrees"),
    [
        (si(5.8, "mm"), 2.0, 2.8),
        (si(5.8, "mm"), 2.6, 2.1),
        (si(5.8, "mm"), 3.0, 1.8),
        (si(27 / 64, "inch"), 2.0, 3.7),
        (si(27 / 64, "inch"), 2.6, 2.9),
        (si(27 / 64, "inch"), 3.0, 2.5),
    ],
)
def test_what_a_straight_clamp_allows(diameter: float, length: float, degrees: float) -> None:
    # Own derivation, at a gap of 0.25 mm (the project's own choice), as told to one decimal.
    angle = largest_offset(diameter, si(length, "inch"), si(0.25, "mm"))
    assert math.degrees(angle) == pytest.approx(degrees, abs=0.06)


def test_wrap_angles_worked() -> None:
    # Own derivation: 45.536 degrees helical, 43.343 straight.
    helical = wrap_angle_helical(DIAMETER, LENGTH, OFFSET)
    straight = wrap_angle_straight(DIAMETER, LENGTH, OFFSET)
    assert math.degrees(helical) == pytest.approx(45.536, abs=5e-4)
    assert math.degrees(straight) == pytest.approx(43.343, abs=5e-4)


def test_foot_pitch_worked() -> None:
    # Own derivation: 0.52179 m.
    assert foot_pitch(DIAMETER, OFFSET) == pytest.approx(0.52179, abs=5e-6)


def test_root_space_worked() -> None:
    # By hand: 18.221237 mm around, a third of it 6.073746 mm, times cos 2 degrees (0.99939083)
    # 6.070046 mm, less a foot of 4 mm.
    space = root_space(DIAMETER, 3, OFFSET, si(4, "mm"))
    assert space == pytest.approx(si(2.070046, "mm"), abs=1e-9)


def test_root_space_tells_an_overlap_by_its_sign() -> None:
    # By hand: pi x 5 mm / 4 is 3.926991 mm, 0.573009 mm short of a foot of 4.5 mm.
    assert root_space(0.005, 4, 0.0, 0.0045) == pytest.approx(-0.000573009, abs=1e-9)


def test_rear_radius_is_shaft_and_vane() -> None:
    # By hand: 2.9 mm and half an inch.
    assert rear_radius(DIAMETER, si(0.5, "inch")) == pytest.approx(si(15.6, "mm"), rel=1e-12)


# --- a second way to the same number ----------------------------------------------------------


@given(diameters, lengths, offsets)
def test_straight_foot_in_space(diameter: float, length: float, offset: float) -> None:
    # Lay the foot in space: tangent to the cylinder at its middle, turned by the offset.
    radius = diameter / 2
    ends = [(radius, side * length / 2 * math.sin(offset)) for side in (-1, 1)]
    gap = math.hypot(*ends[0]) - radius
    assert end_gap(diameter, length, offset) == pytest.approx(gap, abs=1e-15)
    turned = math.atan2(ends[1][1], ends[1][0]) - math.atan2(ends[0][1], ends[0][0])
    assert wrap_angle_straight(diameter, length, offset) == pytest.approx(turned, abs=1e-12)


@given(diameters, lengths, angled)
def test_helical_foot_as_a_share_of_its_pitch(
    diameter: float, length: float, offset: float
) -> None:
    # A helix turns once per pitch, and the foot covers L cos(offset) of the shaft's length.
    turns = length * math.cos(offset) / foot_pitch(diameter, offset)
    turned = wrap_angle_helical(diameter, length, offset)
    assert turned == pytest.approx(2 * math.pi * turns, rel=1e-9)


@given(diameters, st.integers(1, 6), offsets, widths)
def test_feet_and_spaces_fill_the_girth(
    diameter: float, count: int, offset: float, width: float
) -> None:
    # Along a line square to the feet, feet and spaces together span the girth times cos(offset).
    filled = count * (root_space(diameter, count, offset, width) + width)
    assert filled == pytest.approx(math.pi * diameter * math.cos(offset), rel=1e-12)


# --- what must hold ---------------------------------------------------------------------------


@given(diameters, lengths)
def test_nothing_opens_or_turns_at_zero_angle(diameter: float, length: float) -> None:
    assert end_gap(diameter, length, 0.0) == 0.0
    assert wrap_angle_straight(diameter, length, 0.0) == 0.0
    assert wrap_angle_helical(diameter, length, 0.0) == 0.0
    assert largest_offset(diameter, length, 0.0) == 0.0
    assert foot_pitch(diameter, 0.0) == math.inf


@given(diameters, lengths, offsets)
def test_gap_of_an_offset_gives_the_offset_back(
    diameter: float, length: float, offset: float
) -> None:
    gap = end_gap(diameter, length, offset)
    assert largest_offset(diameter, length, gap) == pytest.approx(offset, rel=1e-9, abs=1e-12)


@given(diameters, lengths, gaps)
def test_offset_of_a_gap_gives_the_gap_back(diameter: float, length: float, gap: float) -> None:
    offset = largest_offset(diameter, length, gap)
    assume(offset < math.pi / 2)
    assert end_gap(diameter, length, offset) == pytest.approx(gap, rel=1e-9, abs=1e-15)


@given(diameters, lengths, gaps)
def test_just_beyond_the_largest_offset_the_gap_is_too_wide(
    diameter: float, length: float, gap: float
) -> None:
    beyond = largest_offset(diameter, length, gap) + math.radians(0.01)
    assume(beyond < math.pi / 2)
    assert end_gap(diameter, length, beyond) > gap


@given(diameters, st.floats(0.3, 1.0), lengths, gaps)
def test_a_thinner_shaft_never_raises_the_largest_offset(
    diameter: float, by: float, length: float, gap: float
) -> None:
    thinner = largest_offset(diameter * by, length, gap)
    assert thinner <= largest_offset(diameter, length, gap)


def test_a_thinner_shaft_lowers_it_in_fact() -> None:
    # So that a function blind to the diameter fails: half the shaft, less than 0.75 of the angle.
    half = largest_offset(DIAMETER / 2, LENGTH, 0.00025)
    assert half < 0.75 * largest_offset(DIAMETER, LENGTH, 0.00025)


@given(diameters, lengths, angled, st.floats(1.01, 2.0))
def test_gap_grows_with_angle_and_length_and_shrinks_with_the_shaft(
    diameter: float, length: float, offset: float, by: float
) -> None:
    gap = end_gap(diameter, length, offset)
    assert end_gap(diameter, length, offset * by) > gap
    assert end_gap(diameter, length * by, offset) > gap
    assert end_gap(diameter * by, length, offset) < gap


@given(diameters, lengths, offsets)
def test_a_straight_foot_wraps_no_further_than_a_helical_one(
    diameter: float, length: float, offset: float
) -> None:
    straight = wrap_angle_straight(diameter, length, offset)
    # The 1e-15 is for rounding, where both all but vanish.
    assert straight <= wrap_angle_helical(diameter, length, offset) + 1e-15
    assert straight < math.pi


def test_a_foot_shorter_than_any_gap_needs_may_stand_at_any_angle() -> None:
    assert largest_offset(0.010, 0.001, 0.001) == math.pi / 2
    assert end_gap(0.010, 0.001, math.pi / 2) < 0.001


@given(diameters, st.integers(1, 5), offsets, widths, st.floats(1.05, 2.0))
def test_room_shrinks_with_count_width_and_angle(
    diameter: float, count: int, offset: float, width: float, by: float
) -> None:
    space = root_space(diameter, count, offset, width)
    assert root_space(diameter, count + 1, offset, width) < space
    assert root_space(diameter, count, offset, width * by) < space
    assert root_space(diameter, count, offset + math.radians(0.5), width) < space
    assert root_space(diameter * by, count, offset, width) > space


@given(diameters, angled, st.floats(1.01, 2.0))
def test_pitch_shortens_with_angle_and_goes_with_diameter(
    diameter: float, offset: float, by: float
) -> None:
    pitch = foot_pitch(diameter, offset)
    assert foot_pitch(diameter, offset * by) < pitch
    assert foot_pitch(diameter * by, offset) == pytest.approx(pitch * by, rel=1e-12)


@given(diameters, st.floats(0.002, 0.06), st.floats(0.0001, 0.01))
def test_rear_radius_adds(diameter: float, height: float, taller: float) -> None:
    reach = rear_radius(diameter, height)
    assert reach > diameter / 2
    assert rear_radius(diameter, height + taller) == pytest.approx(reach + taller, rel=1e-12)
    assert rear_radius(diameter + 2 * taller, height) == pytest.approx(reach + taller, rel=1e-12)


# --- what is refused --------------------------------------------------------------------------

NOT_POSITIVE = [0.0, -0.005, math.inf, math.nan]
NO_ANGLE = [-0.01, 1.6, math.inf, math.nan]


@pytest.mark.parametrize("bad", NOT_POSITIVE)
def test_lengths_must_be_positive(bad: float) -> None:
    for function in (end_gap, wrap_angle_straight, wrap_angle_helical):
        with pytest.raises(ValueError, match="shaft_outside_diameter"):
            function(bad, LENGTH, OFFSET)
        with pytest.raises(ValueError, match="vane_length"):
            function(DIAMETER, bad, OFFSET)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        largest_offset(bad, LENGTH, 0.00025)
    with pytest.raises(ValueError, match="vane_length"):
        largest_offset(DIAMETER, bad, 0.00025)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        foot_pitch(bad, OFFSET)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        root_space(bad, 3, OFFSET, 0.004)
    with pytest.raises(ValueError, match="vane_foot_width"):
        root_space(DIAMETER, 3, OFFSET, bad)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        rear_radius(bad, 0.0127)
    with pytest.raises(ValueError, match="vane_height"):
        rear_radius(DIAMETER, bad)


@pytest.mark.parametrize("bad", NO_ANGLE)
def test_angles_must_lie_between_straight_and_square(bad: float) -> None:
    for function in (end_gap, wrap_angle_straight, wrap_angle_helical):
        with pytest.raises(ValueError, match="fletching_offset"):
            function(DIAMETER, LENGTH, bad)
    with pytest.raises(ValueError, match="fletching_offset"):
        foot_pitch(DIAMETER, bad)
    with pytest.raises(ValueError, match="fletching_offset"):
        root_space(DIAMETER, 3, bad, 0.004)


@pytest.mark.parametrize("bad", [-1e-6, math.inf, math.nan])
def test_a_gap_must_not_be_negative(bad: float) -> None:
    with pytest.raises(ValueError, match="glue_end_gap"):
        largest_offset(DIAMETER, LENGTH, bad)


@pytest.mark.parametrize("bad", [0, -3])
def test_there_must_be_a_vane(bad: int) -> None:
    with pytest.raises(ValueError, match="fletching_count"):
        root_space(DIAMETER, bad, OFFSET, 0.004)


def test_the_open_lane_is_what_two_helical_feet_leave() -> None:
    # Worked by hand from the wrap of 45.536 deg (2.6 in, 2 deg, 5.8 mm): a quarter of the surface is
    # 4.5553 mm, the wrap takes 2.3048 mm and the foot 2.6 mm.
    wrap = wrap_angle_helical(5.8e-3, 2.6 * 0.0254, math.radians(2.0))
    assert open_lane(5.8e-3, 4, wrap, 2.6e-3) * 1e3 == pytest.approx(-0.3495, abs=5e-4)
    assert open_lane(5.8e-3, 3, wrap, 2.6e-3) * 1e3 == pytest.approx(1.1690, abs=5e-4)
    # Straight feet leave the whole pitch less a foot, the same as square to them.
    assert open_lane(6e-3, 3, 0.0, 2e-3) == pytest.approx(root_space(6e-3, 3, 0.0, 2e-3), rel=1e-12)


@given(diameters, st.integers(1, 12), st.floats(0, 1), st.floats(1e-4, 1e-2))
def test_the_open_lane_narrows_with_turn_and_width(
    diameter: float, count: int, wrap: float, width: float
) -> None:
    lane = open_lane(diameter, count, wrap, width)
    assert open_lane(diameter, count, wrap + 0.1, width) < lane
    assert open_lane(diameter, count, wrap, width * 2) < lane


def test_the_glue_for_a_dozen() -> None:
    # 48 feet of 2.75 in with a bead of 0.1 mm2: 0.335 ml, three times over about 1 ml.
    assert glue_volume(48, 2.75 * 0.0254, 0.1e-6, 1.0) * 1e6 == pytest.approx(0.33528, abs=1e-5)
    assert glue_volume(48, 2.75 * 0.0254, 0.1e-6, 3.0) * 1e6 == pytest.approx(1.006, abs=1e-3)
    assert glue_volume(0, 0.05, 0.1e-6, 1.0) == 0.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: open_lane(0.0, 3, 0.1, 1e-3), "shaft_outside_diameter"),
        (lambda: open_lane(6e-3, 0, 0.1, 1e-3), "fletching_count"),
        (lambda: open_lane(6e-3, 3, -0.1, 1e-3), "fletching_wrap_angle"),
        (lambda: open_lane(6e-3, 3, 0.1, 0.0), "vane_foot_width"),
        (lambda: glue_volume(-1, 0.05, 1e-7, 1.0), "vane_count"),
        (lambda: glue_volume(3, 0.0, 1e-7, 1.0), "vane_length"),
        (lambda: glue_volume(3, 0.05, math.inf, 1.0), "bead_section"),
        (lambda: glue_volume(3, 0.05, 1e-7, 0.5), "waste"),
    ],
)
def test_impossible_lanes_and_beads_are_refused(call: Any, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
