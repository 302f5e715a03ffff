"""Kinetic energy and momentum: worked numbers in the trade's units, and what must always hold."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.energy import kinetic_energy, momentum

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


def si(value: float, unit: str) -> float:
    return float(UNITS.Quantity(value, unit).to_base_units().magnitude)


def in_unit(value: float, base: str, unit: str) -> float:
    return float(UNITS.Quantity(value, base).to(unit).magnitude)


masses = st.floats(0.005, 0.08)
speeds = st.floats(0.0, 150.0)

MASS = si(400, "grain")
SPEED = si(280, "foot / second")


def test_kinetic_energy_of_400_gr_at_280_fps() -> None:
    # Exact by the definitions of grain, foot, pound and standard gravity: 69.6213 ft lbf.
    energy = in_unit(kinetic_energy(MASS, SPEED), "joule", "foot * force_pound")
    assert energy == pytest.approx(69.6213, abs=5e-5)


def test_momentum_of_400_gr_at_280_fps() -> None:
    # Exact by the same definitions: 0.497295 slug ft/s.
    value = in_unit(momentum(MASS, SPEED), "kilogram * meter / second", "slug * foot / second")
    assert value == pytest.approx(0.497295, abs=5e-7)


def test_the_divisors_of_the_trades_formulas() -> None:
    # KE[ft lbf] = m[gr] v[fps]^2 / 450436.68 and p[slug ft/s] = m v / 225218.34, exact by
    # definition. The trade's own 450240 comes of g = 32.16 ft/s^2 and reads 0.044 % high.
    one_grain, one_fps = si(1, "grain"), si(1, "foot / second")
    energy = in_unit(kinetic_energy(one_grain, one_fps), "joule", "foot * force_pound")
    assert 1 / energy == pytest.approx(450436.68, abs=0.005)
    assert 1 / 450240 / energy == pytest.approx(1.00044, abs=5e-6)
    value = in_unit(
        momentum(one_grain, one_fps), "kilogram * meter / second", "slug * foot / second"
    )
    assert 1 / value == pytest.approx(225218.34, abs=0.005)


def test_in_plain_si() -> None:
    # By hand: 20 g at 60 m/s.
    assert kinetic_energy(0.020, 60.0) == pytest.approx(36.0, rel=1e-12)
    assert momentum(0.020, 60.0) == pytest.approx(1.2, rel=1e-12)


@given(masses, speeds)
def test_energy_and_momentum_agree(mass: float, speed: float) -> None:
    energy, impulse = kinetic_energy(mass, speed), momentum(mass, speed)
    assert energy == pytest.approx(impulse * speed / 2, rel=1e-12)
    assert impulse**2 / (2 * mass) == pytest.approx(energy, rel=1e-12)


@given(masses, masses, speeds)
def test_both_are_additive_in_mass(one: float, other: float, speed: float) -> None:
    for function in (kinetic_energy, momentum):
        apart = function(one, speed) + function(other, speed)
        assert function(one + other, speed) == pytest.approx(apart, rel=1e-12)


@given(masses, st.floats(1.0, 100.0), st.floats(1.01, 3.0))
def test_energy_grows_with_the_square_of_speed_and_momentum_with_speed(
    mass: float, speed: float, by: float
) -> None:
    energy, impulse = kinetic_energy(mass, speed), momentum(mass, speed)
    assert kinetic_energy(mass, speed * by) == pytest.approx(energy * by**2, rel=1e-12)
    assert momentum(mass, speed * by) == pytest.approx(impulse * by, rel=1e-12)


@given(masses)
def test_an_arrow_at_rest_has_neither(mass: float) -> None:
    assert kinetic_energy(mass, 0.0) == 0.0
    assert momentum(mass, 0.0) == 0.0


@pytest.mark.parametrize(
    ("mass", "speed", "message"),
    [
        (0.0, 80.0, "arrow_mass"),
        (-0.02, 80.0, "arrow_mass"),
        (math.inf, 80.0, "arrow_mass"),
        (math.nan, 80.0, "arrow_mass"),
        (0.02, -80.0, "arrow_speed"),
        (0.02, math.inf, "arrow_speed"),
        (0.02, math.nan, "arrow_speed"),
    ],
)
def test_impossible_numbers_are_refused(mass: float, speed: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        kinetic_energy(mass, speed)
    with pytest.raises(ValueError, match=message):
        momentum(mass, speed)
