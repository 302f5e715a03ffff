"""Noses, blades and vanes: worked numbers beside their source, limits, and what is refused."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.fins import (
    NOSE_CENTRE,
    NOSE_SLOPE,
    SILHOUETTES,
    Fin,
    blade,
    fin,
    fin_area,
    fin_centre,
    fin_slope,
    interference,
    set_slope,
    set_slope_worst_plane,
    strip_integral,
    vane,
)

# The vane worked by hand for Barrowman's equations: 2.0 in, shield, 0.5 in high, 5.8 mm shaft.
WORKED = fin(0.0508, 0.02032, 0.0254, 0.0127)
SHAFT = 0.0058

spans = st.floats(0.002, 0.030)
diameters = st.floats(0.0035, 0.012)
fins = st.builds(
    lambda root, tip, setback, span: fin(root, tip * root, setback * root, span),
    st.floats(0.010, 0.150),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.5),
    spans,
)
counts = st.sampled_from((2, 3, 4))


def by_strips(shape: Fin, power: int, diameter: float, steps: int = 400) -> float:
    """Add up chord * xi^p strip by strip (midpoints)."""
    step = shape.span / steps
    total = 0.0
    for i in range(steps):
        share = (i + 0.5) / steps
        chord = shape.root_chord + (shape.tip_chord - shape.root_chord) * share
        total += chord * (diameter / 2 + share * shape.span) ** power * step
    return total


# --- worked numbers ---------------------------------------------------------------------------


def test_one_fin_and_sets() -> None:
    # Barrowman 1966, worked: one fin 18.2683, three 32.4966, four 43.3287 per radian.
    assert fin_slope(WORKED, SHAFT) == pytest.approx(18.2683, abs=5e-5)
    assert set_slope(WORKED, 3, SHAFT) == pytest.approx(32.4966, abs=5e-5)
    assert set_slope(WORKED, 4, SHAFT) == pytest.approx(43.3287, abs=5e-5)


def test_centre() -> None:
    # Barrowman 1966, worked: 20.320 mm behind the front of the root chord.
    assert fin_centre(WORKED) == pytest.approx(0.020320, abs=5e-7)


def test_nose() -> None:
    # Barrowman 1966: 2 per radian whatever the shape; 0.466 (from memory) and 2/3 of the length.
    assert NOSE_SLOPE == 2.0
    assert pytest.approx({"ogive": 0.466, "cone": 2 / 3}) == NOSE_CENTRE


def test_strip_integral() -> None:
    # RocketPy technical notes 2022, worked: 3.7132e-8 m^4.
    assert strip_integral(WORKED, 2, SHAFT) == pytest.approx(3.7132e-8, rel=2e-5)


def test_mean_chord_stands_where_the_first_moment_says() -> None:
    # Niskanen 2009, chapter 3: y_MAC = (s/3)(cr + 2 ct)/(cr + ct), worked 5.4429 mm.
    arm = strip_integral(WORKED, 1, SHAFT) / strip_integral(WORKED, 0, SHAFT)
    assert arm - SHAFT / 2 == pytest.approx(5.4429e-3, abs=5e-8)


@pytest.mark.parametrize(
    ("name", "tip", "setback"),
    [("swept", 0.25, 0.75), ("shield", 0.40, 0.50), ("parabolic", 0.50, 0.35)],
)
def test_silhouettes(name: str, tip: float, setback: float) -> None:
    # The project's own stand-in trapezoids; no source.
    shape = vane(0.060, 0.012, SILHOUETTES[name])
    assert shape == pytest.approx((0.060, tip * 0.060, setback * 0.060, 0.012))
    assert shape.setback + shape.tip_chord <= shape.root_chord


def test_blade() -> None:
    # The arrow model: half the width less the shaft's radius, tip 0.10, square at the rear.
    shape = blade(0.028575, 0.0254, SHAFT)
    assert shape == pytest.approx((0.0254, 0.00254, 0.02286, 0.0113875))
    assert blade(SHAFT, 0.0254, SHAFT).span == 0.0


# --- other roads to the same numbers ----------------------------------------------------------


@given(fins, diameters)
def test_the_same_as_the_other_form_of_one_fin(shape: Fin, diameter: float) -> None:
    # Niskanen 2009, chapter 3, at Mach 0: 2 pi (s^2/A_ref) / (1 + sqrt(1 + (s^2/(A cos G))^2)),
    # G the sweep of the mid-chord line.
    aside = shape.setback + (shape.tip_chord - shape.root_chord) / 2
    cosine = math.cos(math.atan2(aside, shape.span))
    reference = math.pi * diameter**2 / 4
    ratio = shape.span**2 / (fin_area(shape) * cosine)
    expected = 2 * math.pi * shape.span**2 / reference / (1 + math.hypot(1, ratio))
    assert fin_slope(shape, diameter) == pytest.approx(expected, rel=1e-12)


@given(fins, diameters, st.floats(0, 2 * math.pi))
def test_a_set_is_the_sum_over_its_fins_whatever_the_roll(
    shape: Fin, diameter: float, roll: float
) -> None:
    # Niskanen 2009, chapter 3: each fin gives sin^2 of its angle to the plane of yaw.
    one = interference(shape, diameter) * fin_slope(shape, diameter)
    for count in (3, 4):
        turns = (roll + 2 * math.pi * i / count for i in range(count))
        total = one * sum(math.sin(turn) ** 2 for turn in turns)
        assert set_slope(shape, count, diameter) == pytest.approx(total, rel=1e-9)
        assert set_slope_worst_plane(shape, count, diameter) == set_slope(shape, count, diameter)


@given(fins, diameters)
def test_two_fins_swing_about_their_mean(shape: Fin, diameter: float) -> None:
    one = interference(shape, diameter) * fin_slope(shape, diameter)
    rolls = [math.pi * i / 90 for i in range(180)]
    planes = [one * 2 * math.sin(roll) ** 2 for roll in rolls]
    assert set_slope(shape, 2, diameter) == pytest.approx(sum(planes) / len(planes), rel=1e-9)
    assert set_slope_worst_plane(shape, 2, diameter) == pytest.approx(max(planes), rel=1e-9)


@given(fins, diameters, st.sampled_from((0, 1, 2)))
def test_strip_integrals_add_up(shape: Fin, diameter: float, power: int) -> None:
    expected = by_strips(shape, power, diameter)
    assert strip_integral(shape, power, diameter) == pytest.approx(expected, rel=1e-4)


@given(fins)
def test_area(shape: Fin) -> None:
    assert fin_area(shape) == pytest.approx(by_strips(shape, 0, 0.006), rel=1e-9)


@given(fins)
def test_lift_acts_at_the_quarter_of_the_chords(shape: Fin) -> None:
    # Barrowman 1966: the area's mean of the leading edge plus a quarter of the chord.
    steps, moment, area = 2000, 0.0, 0.0
    for i in range(steps):
        share = (i + 0.5) / steps
        chord = shape.root_chord + (shape.tip_chord - shape.root_chord) * share
        moment += chord * (share * shape.setback + chord / 4)
        area += chord
    assert fin_centre(shape) == pytest.approx(moment / area, rel=1e-5)


# --- what must hold of any fin ----------------------------------------------------------------


@given(fins, diameters, counts, st.floats(1.01, 2.0))
def test_height_always_lifts_more(shape: Fin, diameter: float, count: int, by: float) -> None:
    taller = shape._replace(span=shape.span * by)
    assert set_slope(taller, count, diameter) > set_slope(shape, count, diameter)
    assert fin_centre(taller) == fin_centre(shape)


@given(fins, diameters)
def test_lift_stays_between_nothing_and_the_slender_limit(shape: Fin, diameter: float) -> None:
    # Barrowman 1966: length adds nothing beyond 4 (S/d)^2, the slender wing.
    slope = fin_slope(shape, diameter)
    assert 0.0 < slope < 4.0 * (shape.span / diameter) ** 2
    long = fin(1e4 * shape.span, 1e4 * shape.span, 0.0, shape.span)
    assert fin_slope(long, diameter) == pytest.approx(4 * (shape.span / diameter) ** 2, rel=1e-6)


@given(fins, diameters)
def test_the_shaft_adds_up_to_half_of_itself(shape: Fin, diameter: float) -> None:
    assert 1.0 < interference(shape, diameter) < 2.0
    flat = shape._replace(span=0.0)
    assert interference(flat, diameter) == 2.0
    assert set_slope(flat, 3, diameter) == 0.0


# --- refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [0, 1, 5, 6, 8])
def test_counts_without_theory(count: int) -> None:
    with pytest.raises(ValueError, match="count must be one of 2, 3, 4"):
        set_slope(WORKED, count, SHAFT)
    with pytest.raises(ValueError, match="count must be one of 2, 3, 4"):
        set_slope_worst_plane(WORKED, count, SHAFT)


def test_powers_without_formula() -> None:
    with pytest.raises(ValueError, match="power must be one of 0, 1, 2"):
        strip_integral(WORKED, 3, SHAFT)


def test_blades_narrower_than_the_shaft() -> None:
    with pytest.raises(ValueError, match="blade_width must not be less than the shaft's diameter"):
        blade(0.0057, 0.0254, SHAFT)


@pytest.mark.parametrize("bad", [0.0, -0.01, math.inf, math.nan])
def test_impossible_numbers(bad: float) -> None:
    for call in (fin_slope, interference):
        with pytest.raises(ValueError, match="shaft_outside_diameter"):
            call(WORKED, bad)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        strip_integral(WORKED, 0, bad)
    with pytest.raises(ValueError, match="root_chord"):
        fin(bad, 0.0, 0.0, 0.01)
    with pytest.raises(ValueError, match="vane_length"):
        vane(bad, 0.01, SILHOUETTES["shield"])
    with pytest.raises(ValueError, match="vane_height"):
        vane(0.06, bad, SILHOUETTES["shield"])
    with pytest.raises(ValueError, match="blade_width"):
        blade(bad, 0.0254, SHAFT)
    with pytest.raises(ValueError, match="blade_length"):
        blade(0.03, bad, SHAFT)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        blade(0.03, 0.0254, bad)


@pytest.mark.parametrize("bad", [-0.01, math.inf, math.nan])
def test_impossible_trapezoids(bad: float) -> None:
    with pytest.raises(ValueError, match="tip_chord"):
        fin(0.06, bad, 0.0, 0.01)
    with pytest.raises(ValueError, match="setback"):
        fin(0.06, 0.0, bad, 0.01)
    with pytest.raises(ValueError, match="span"):
        fin(0.06, 0.0, 0.0, bad)
