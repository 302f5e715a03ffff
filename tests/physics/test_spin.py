"""Spin: worked numbers beside their source, the strips' balance, limits, and refusals."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.fins import Fin, fin, fin_area, fin_slope, strip_integral
from advisor.physics.spin import (
    build_up_distance,
    slope_per_area,
    spin_radius,
    spin_rate,
    travel_per_turn,
)
from tests.physics.plausible import A, B, C

WORKED = fin(0.0508, 0.02032, 0.0254, 0.0127)
SHAFT = 0.0058

vanes = st.builds(
    lambda root, tip, setback, span: fin(root, tip * root, setback * root, span),
    st.floats(0.025, 0.130),
    st.floats(0.1, 1.0),
    st.floats(0.0, 0.8),
    st.floats(0.004, 0.020),
)
diameters = st.floats(0.004, 0.011)
offsets = st.floats(math.radians(0.5), math.radians(8))
speeds = st.floats(40.0, 110.0)


# --- worked numbers ---------------------------------------------------------------------------


def test_travel_per_turn() -> None:
    # RocketPy technical notes 2022 with one slope for both (own choice), worked: 9.855 mm and,
    # at 2 degrees, 1.773 m a turn.
    assert spin_radius(WORKED, SHAFT) == pytest.approx(9.855e-3, abs=5e-7)
    assert travel_per_turn(WORKED, SHAFT, math.radians(2)) == pytest.approx(1.773, abs=5e-4)


def test_rate_worked_by_hand() -> None:
    # Own arithmetic: 84 m/s over 1.7732 m a turn is 47.37 turns a second, 2842 rpm.
    rate = spin_rate(WORKED, SHAFT, math.radians(2), 84.0)
    assert rate * 30 / math.pi == pytest.approx(2842, abs=1)


def test_build_up_worked_by_hand() -> None:
    # Own derivation: I_x / (0.5 rho N a eta I_2), here with a from the worked fin, 18.2683 on
    # A_ref 2.64208e-5 over 4.51612e-4 m^2 (1.068755), and I_2 3.7132e-8 m^4.
    found = build_up_distance(
        vane=WORKED, fletching_count=3, shaft_outside_diameter=SHAFT, axial_inertia=4e-7, eta=0.784
    )
    assert slope_per_area(WORKED, SHAFT) == pytest.approx(1.06875, abs=2e-5)
    expected = 4e-7 / (0.5 * 1.225 * 3 * 1.068755 * 0.784 * 3.7132e-8)
    assert found == pytest.approx(expected, rel=1e-4)


# --- what must hold of any vane ---------------------------------------------------------------


@given(vanes, diameters, offsets, speeds)
def test_the_strips_moments_balance_at_the_steady_rate(
    vane: Fin, diameter: float, offset: float, speed: float
) -> None:
    rate = spin_rate(vane, diameter, offset, speed)
    steps, ahead, behind = 400, 0.0, 0.0
    for i in range(steps):
        share = (i + 0.5) / steps
        arm = diameter / 2 + share * vane.span
        chord = vane.root_chord + (vane.tip_chord - vane.root_chord) * share
        moment = chord * arm * (math.tan(offset) - rate * arm / speed)
        ahead += max(moment, 0.0)
        behind -= min(moment, 0.0)
    assert ahead == pytest.approx(behind, rel=1e-2)


@given(vanes, diameters, offsets, speeds)
def test_rate_times_travel_is_speed(
    vane: Fin, diameter: float, offset: float, speed: float
) -> None:
    turns = spin_rate(vane, diameter, offset, speed) / (2 * math.pi)
    assert turns * travel_per_turn(vane, diameter, offset) == pytest.approx(speed, rel=1e-12)


@given(vanes, diameters, offsets, st.floats(1.02, 2.0))
def test_more_offset_turns_faster_and_taller_vanes_slower(
    vane: Fin, diameter: float, offset: float, by: float
) -> None:
    travel = travel_per_turn(vane, diameter, offset)
    assert travel_per_turn(vane, diameter, offset * by) < travel
    assert travel_per_turn(vane._replace(span=vane.span * by), diameter, offset) > travel
    # Chord alone, at one outline, changes nothing.
    root, tip, setback, span = vane
    assert travel_per_turn(fin(root * by, tip * by, setback, span), diameter, offset) == (
        pytest.approx(travel, rel=1e-12)
    )


@given(vanes, diameters)
def test_the_radius_lies_on_the_vane(vane: Fin, diameter: float) -> None:
    assert diameter / 2 < spin_radius(vane, diameter) < diameter / 2 + vane.span


@given(vanes, diameters)
def test_no_fin_lifts_more_for_its_area_than_the_endless_wing(vane: Fin, diameter: float) -> None:
    # Niskanen 2009, chapter 3, damps with the 2-D slope 2 pi and so would spin slower.
    assert 0.0 < slope_per_area(vane, diameter) < 2 * math.pi
    endless = fin(0.01, 0.01, 0.0, 1e4)
    assert slope_per_area(endless, diameter) == pytest.approx(2 * math.pi, rel=1e-4)
    reference = math.pi * diameter**2 / 4
    lift = slope_per_area(vane, diameter) * fin_area(vane) / reference
    assert lift == pytest.approx(fin_slope(vane, diameter), rel=1e-12)


@given(vanes, diameters, st.floats(0.5, 1.0), st.floats(1.02, 2.0))
def test_proportions_of_build_up(vane: Fin, diameter: float, eta: float, by: float) -> None:
    def distance(inertia: float, eta: float, count: int = 3, density: float = 1.2) -> float:
        return build_up_distance(
            vane=vane,
            fletching_count=count,
            shaft_outside_diameter=diameter,
            axial_inertia=inertia,
            eta=eta,
            air_density=density,
        )

    base = distance(4e-7, eta)
    assert distance(4e-7 * by, eta) == pytest.approx(base * by, rel=1e-12)
    assert distance(4e-7, eta / by) == pytest.approx(base * by, rel=1e-12)
    assert distance(4e-7, eta, density=1.2 / by) == pytest.approx(base * by, rel=1e-12)
    assert distance(4e-7, eta, count=4) == pytest.approx(base * 3 / 4, rel=1e-12)


def test_no_offset_no_turn() -> None:
    assert spin_rate(WORKED, SHAFT, 0.0, 84.0) == 0.0
    assert travel_per_turn(WORKED, SHAFT, 0.0) == math.inf
    assert strip_integral(WORKED, 1, SHAFT) > 0.0


def test_taller_and_more_vanes_come_up_sooner() -> None:
    # A plausible arrow and its changes, vane mass and the air's loss included.
    assert C.build_up() > A.build_up() > B.build_up()


# --- refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize("bad", [-0.01, math.pi / 2, math.inf, math.nan])
def test_impossible_offsets(bad: float) -> None:
    with pytest.raises(ValueError, match="fletching_offset"):
        travel_per_turn(WORKED, SHAFT, bad)
    with pytest.raises(ValueError, match="fletching_offset"):
        spin_rate(WORKED, SHAFT, bad, 84.0)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf, math.nan])
def test_impossible_numbers(bad: float) -> None:
    with pytest.raises(ValueError, match="arrow_speed"):
        spin_rate(WORKED, SHAFT, 0.03, bad)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        travel_per_turn(WORKED, bad, 0.03)
    for name in ("axial_inertia", "eta", "air_density"):
        given_numbers = {"axial_inertia": 4e-7, "eta": 0.8, "air_density": 1.2} | {name: bad}
        with pytest.raises(ValueError, match=name):
            build_up_distance(
                vane=WORKED, fletching_count=3, shaft_outside_diameter=SHAFT, **given_numbers
            )


def test_vanes_without_height_and_counts_without_theory() -> None:
    flat = WORKED._replace(span=0.0)
    for call in (spin_radius, slope_per_area):
        with pytest.raises(ValueError, match=r"vane\.span"):
            call(flat, SHAFT)
    for count in (0, 2, 5):
        with pytest.raises(ValueError, match="fletching_count must be one of 3, 4"):
            build_up_distance(
                vane=WORKED,
                fletching_count=count,
                shaft_outside_diameter=SHAFT,
                axial_inertia=4e-7,
                eta=0.8,
            )
