"""Lift of the shaft's side and of the vanes' vortices: worked numbers, limits, refusals."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.crossflow import CROSS_FLOW, body_lift, vortex_lift

angles = st.floats(0.001, 0.3)


def test_body_lift() -> None:
    # Galejs, Wind instability (read in Niskanen 2009): 28 in by 5.8 mm at 3 degrees, 8.984.
    part = body_lift(28 * 0.0254, 0.0058, math.radians(3))
    assert part.slope == pytest.approx(8.984, abs=5e-4)
    assert part.centre == pytest.approx(14 * 0.0254)


def test_vortex_lift() -> None:
    # Polhamus, NASA TN D-3767, 1966 (from memory): three vanes of 4.51612e-4 m^2, 5 degrees.
    found = vortex_lift(4.51612e-4, 3, 0.0058, math.radians(5))
    assert found == pytest.approx(5.9515, abs=5e-5)


@given(angles, st.sampled_from((3, 4)))
def test_vortex_lift_is_the_mean_over_a_turn(angle: float, count: int) -> None:
    # Each vane lifts pi sin^2 of its own angle, and |sin| of that stands in the plane of yaw; at
    # small angles its own angle is that of yaw times |sin| of the roll.
    steps = 720
    mean = sum(abs(math.sin(2 * math.pi * (i + 0.5) / steps)) ** 3 for i in range(steps)) / steps
    areas = count * 4e-4 / (math.pi * 0.006**2 / 4)
    expected = areas * math.pi * math.sin(angle) ** 2 * mean / angle
    assert vortex_lift(4e-4, count, 0.006, angle) == pytest.approx(expected, rel=1e-4)


@given(angles, st.floats(1.01, 2.0))
def test_both_grow_with_the_angle(angle: float, by: float) -> None:
    assert body_lift(0.7, 0.006, angle * by).slope > body_lift(0.7, 0.006, angle).slope
    assert vortex_lift(4e-4, 3, 0.006, angle * by) > vortex_lift(4e-4, 3, 0.006, angle)


def test_both_vanish_where_the_linear_theory_holds() -> None:
    assert body_lift(0.7, 0.006, 0.0) == (0.0, 0.35)
    assert vortex_lift(4e-4, 3, 0.006, 0.0) == 0.0
    small = 1e-6
    plan = 4 * 0.7 / (math.pi * 0.006)
    assert body_lift(0.7, 0.006, small).slope == pytest.approx(CROSS_FLOW * plan * small, rel=1e-9)


@pytest.mark.parametrize("bad", [-0.1, math.pi / 2, math.inf, math.nan])
def test_impossible_angles(bad: float) -> None:
    with pytest.raises(ValueError, match="angle"):
        body_lift(0.7, 0.006, bad)
    with pytest.raises(ValueError, match="angle"):
        vortex_lift(4e-4, 3, 0.006, bad)


@pytest.mark.parametrize("bad", [0.0, -0.1, math.inf, math.nan])
def test_impossible_sizes(bad: float) -> None:
    with pytest.raises(ValueError, match="overall_length"):
        body_lift(bad, 0.006, 0.1)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        body_lift(0.7, bad, 0.1)
    with pytest.raises(ValueError, match="vane_area"):
        vortex_lift(bad, 3, 0.006, 0.1)
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        vortex_lift(4e-4, 3, bad, 0.1)
    with pytest.raises(ValueError, match="fletching_count must be one of 3, 4"):
        vortex_lift(4e-4, 5, 0.006, 0.1)
