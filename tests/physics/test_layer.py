"""The air along the shaft: worked numbers beside their source, limits, and what is refused."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.layer import (
    AIR_DENSITY,
    AIR_VISCOSITY,
    is_turbulent,
    laminar_friction,
    laminar_pressure_factor,
    laminar_thickness,
    pressure_factor,
    reynolds,
    turbulent_friction,
    turbulent_pressure_factor,
    turbulent_thickness,
)

speeds = st.floats(25.0, 130.0)
heights = st.floats(0.004, 0.030)
thicknesses = st.floats(0.0005, 0.030)
factors = st.sampled_from((laminar_pressure_factor, turbulent_pressure_factor))


# --- worked numbers ---------------------------------------------------------------------------


def test_the_standard_air() -> None:
    # ISO 2533, sea level, 15 C: 1.225 kg/m^3 and 1.4607e-5 m^2/s; viscosity 1.7894e-5 Pa s.
    assert AIR_DENSITY == 1.225
    assert pytest.approx(1.7894e-5 / 1.225, rel=5e-5) == AIR_VISCOSITY


def test_friction() -> None:
    # Schlichting, Boundary-Layer Theory (from memory), worked at Re 2e6: 9.390e-4 and 3.940e-3.
    assert laminar_friction(2e6) == pytest.approx(9.390e-4, abs=5e-8)
    assert turbulent_friction(2e6) == pytest.approx(3.940e-3, abs=5e-7)


def test_thickness() -> None:
    # Schlichting, Boundary-Layer Theory (from memory), worked at 0.7 m and 84 m/s.
    assert laminar_thickness(0.7, 84.0) == pytest.approx(1.74e-3, abs=5e-6)
    assert turbulent_thickness(0.7, 84.0) == pytest.approx(12.37e-3, abs=5e-6)


@pytest.mark.parametrize(("height", "eta"), [(0.0127, 0.784), (0.00762, 0.677)])
def test_pressure_factor(height: float, eta: float) -> None:
    # Own estimate from Schlichting's 1/7 law, worked for 0.5 in and 0.3 in at 0.7 m and 84 m/s.
    found = pressure_factor(turbulent=True, distance=0.7, vane_height=height, arrow_speed=84.0)
    assert found == pytest.approx(eta, abs=5e-4)


def test_a_laminar_layer_leaves_more() -> None:
    # Own arithmetic: 1 - (7/15)(1.7439/12.7).
    found = pressure_factor(turbulent=False, distance=0.7, vane_height=0.0127, arrow_speed=84.0)
    assert found == pytest.approx(0.9359, abs=1e-4)


@pytest.mark.parametrize(
    ("blades", "number", "turbulent"),
    [(0, 1.99e4, False), (0, 2.01e4, True), (2, 1.0e4, True), (3, 3.0e4, True)],
)
def test_when_the_layer_is_turbulent(blades: int, number: float, *, turbulent: bool) -> None:
    # Own choice after Mukaiyama et al. 2011 (points) and Ortiz et al. 2020 (Reynolds number).
    speed = number * AIR_VISCOSITY / 0.006
    assert is_turbulent(blades, 0.006, speed) is turbulent


def test_the_limit_itself_is_laminar() -> None:
    assert reynolds(4.0, 5.0, 1.0e-3) == 2.0e4
    assert not is_turbulent(0, 5.0, 4.0, 1.0e-3)


# --- other roads and limits -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("factor", "profile"),
    [
        (laminar_pressure_factor, lambda s: 2 * s - s * s),
        (turbulent_pressure_factor, lambda s: s ** (1 / 7)),
    ],
)
@given(thickness=thicknesses, height=heights)
def test_the_mean_over_the_height_by_strips(
    factor: Callable[[float, float], float],
    profile: Callable[[float], float],
    thickness: float,
    height: float,
) -> None:
    steps = 1000
    total = 0.0
    for i in range(steps):
        share = (i + 0.5) / steps * height / thickness
        total += profile(share) ** 2 if share < 1.0 else 1.0
    assert factor(thickness, height) == pytest.approx(total / steps, abs=1e-3)


@given(factors, thicknesses, heights, st.floats(1.01, 3.0))
def test_taller_vanes_meet_more_wind(
    factor: Callable[[float, float], float], thickness: float, height: float, by: float
) -> None:
    assert 0.0 < factor(thickness, height) < factor(thickness, height * by) < 1.0
    assert factor(thickness * by, height) < factor(thickness, height)


@pytest.mark.parametrize("factor", [laminar_pressure_factor, turbulent_pressure_factor])
def test_limits_of_the_pressure_factor(factor: Callable[[float, float], float]) -> None:
    assert factor(1e-9, 0.01) == pytest.approx(1.0, abs=1e-6)
    assert factor(1.0, 1e-12) == pytest.approx(0.0, abs=1e-3)
    # No step where the vane just stands out of the layer.
    assert factor(0.01, 0.01 * (1 - 1e-12)) == pytest.approx(factor(0.01, 0.01), rel=1e-10)


@given(st.floats(0.1, 1.0), speeds, st.floats(1.01, 2.0))
def test_layers_grow_along_the_shaft_and_thin_with_speed(
    distance: float, speed: float, by: float
) -> None:
    for thickness in (laminar_thickness, turbulent_thickness):
        assert thickness(distance * by, speed) > thickness(distance, speed)
        assert thickness(distance, speed * by) < thickness(distance, speed)
    assert turbulent_thickness(distance, speed) > laminar_thickness(distance, speed)


@given(st.floats(2e4, 1e7), st.floats(1.01, 10.0))
def test_friction_falls_with_the_reynolds_number(number: float, by: float) -> None:
    for friction in (laminar_friction, turbulent_friction):
        assert friction(number * by) < friction(number)
    assert turbulent_friction(number) > laminar_friction(number)


# --- refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf, math.nan])
def test_impossible_numbers(bad: float) -> None:
    with pytest.raises(ValueError, match="arrow_speed"):
        reynolds(bad, 1.0)
    with pytest.raises(ValueError, match="length"):
        reynolds(1.0, bad)
    with pytest.raises(ValueError, match="air_viscosity"):
        reynolds(1.0, 1.0, bad)
    for factor in (laminar_pressure_factor, turbulent_pressure_factor):
        with pytest.raises(ValueError, match="thickness"):
            factor(bad, 0.01)
        with pytest.raises(ValueError, match="vane_height"):
            factor(0.01, bad)


@pytest.mark.parametrize("bad", [0.0, 999.0, -1.0, math.inf, math.nan])
def test_reynolds_numbers_without_meaning(bad: float) -> None:
    for friction in (laminar_friction, turbulent_friction):
        with pytest.raises(ValueError, match="plate_reynolds must be at least"):
            friction(bad)


def test_negative_blades() -> None:
    with pytest.raises(ValueError, match="point_blades"):
        is_turbulent(-1, 0.006, 80.0)
