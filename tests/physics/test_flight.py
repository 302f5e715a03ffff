"""Flat fire and yaw: worked numbers beside their source, limits, and what is refused."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics.flight import (
    drag_per_distance,
    drift_at,
    drop_at,
    speed_at,
    swing,
    time_at,
    yaw_damping_distance,
    yaw_wavelength,
)

speeds = st.floats(40.0, 110.0)
losses = st.floats(1e-5, 0.01)
distances = st.floats(1.0, 80.0)

# A plausible arrow's yaw in round numbers.
YAW = {
    "lift_slope": 50.0,
    "stability_arm": 0.08,
    "pitch_damping": 7.0,
    "shaft_outside_diameter": 0.006,
    "arrow_mass": 0.028,
    "transverse_inertia": 1.9e-3,
}


# --- worked numbers ---------------------------------------------------------------------------


def test_flat_fire() -> None:
    # McCoy, Modern Exterior Ballistics, 1999 (from memory), worked: 84 m/s, 0.002 per m, 36.576 m,
    # wind 4.4704 m/s (40 yd and 10 mph).
    shot = (84.0, 0.002, 36.576)
    assert speed_at(*shot) == pytest.approx(78.0746, abs=5e-5)
    assert time_at(*shot) == pytest.approx(0.451750, abs=5e-7)
    assert drop_at(*shot) == pytest.approx(0.976707, abs=5e-7)
    assert drift_at(*shot, 4.4704) == pytest.approx(0.0729649, abs=5e-8)


def test_loss_worked_by_hand() -> None:
    # Own arithmetic: 1.225 x 2 x 2.827433e-5 / (2 x 0.025).
    assert drag_per_distance(2.0, 0.006, 0.025) == pytest.approx(1.385442e-3, rel=1e-6)


def test_yaw_worked_by_hand() -> None:
    # Own derivation. q = 0.5 x 1.225 x 2.8274334e-5 = 1.7318030e-5; path q 50 / 0.028 =
    # 0.030925053, turn q 7 / 0.0019 = 0.063803268 per m; stiffness q 4 / 0.0019 +
    # path x turn = 0.036459011 + 0.001973120; decay 0.047364161; swing
    # sqrt(0.038432131 - 0.002243364) = 0.190233452 per m.
    assert yaw_wavelength(swing(**YAW)) == pytest.approx(2 * math.pi / 0.190233452, rel=1e-6)
    assert yaw_damping_distance(swing(**YAW)) == pytest.approx(1 / 0.047364161, rel=1e-6)


# --- flat fire: what must hold ----------------------------------------------------------------


@given(speeds, losses, distances)
def test_closed_forms_as_the_books_write_them(v0: float, k: float, x: float) -> None:
    grown = math.exp(k * x)
    assert time_at(v0, k, x) == pytest.approx((grown - 1) / (k * v0), rel=1e-9)
    fall = 9.80665 * (grown**2 - 1 - 2 * k * x) / (4 * k**2 * v0**2)
    # The books' difference loses digits where k x is small; ours must not.
    assert drop_at(v0, k, x) == pytest.approx(fall, rel=1e-12 / (k * x) ** 2 + 1e-9)
    assert drift_at(v0, k, x, 5.0) == pytest.approx(5.0 * (time_at(v0, k, x) - x / v0), abs=1e-12)


@pytest.mark.parametrize("z", [0.00999999, 0.01, 0.0100001])
def test_no_step_where_series_and_closed_form_meet(z: float) -> None:
    exact = 0.5 + z / 6 + z**2 / 24 + z**3 / 120 + z**4 / 720 + z**5 / 5040 + z**6 / 40320
    assert drop_at(1.0, z / 2, 1.0) == pytest.approx(9.80665 * exact, rel=1e-11)
    assert drift_at(1.0, z, 1.0, 1.0) == pytest.approx(z * exact, rel=1e-11)


@given(speeds, distances)
def test_without_drag_it_is_a_parabola(v0: float, x: float) -> None:
    assert speed_at(v0, 0.0, x) == v0
    assert time_at(v0, 0.0, x) == pytest.approx(x / v0, rel=1e-12)
    assert drop_at(v0, 0.0, x) == pytest.approx(9.80665 * (x / v0) ** 2 / 2, rel=1e-12)
    assert drift_at(v0, 0.0, x, 5.0) == 0.0


@given(speeds, losses, distances, st.floats(1.02, 2.0))
def test_more_drag_or_distance_is_worse(v0: float, k: float, x: float, by: float) -> None:
    assert speed_at(v0, k * by, x) < speed_at(v0, k, x) < v0
    for there in (time_at, drop_at):
        assert there(v0, k * by, x) > there(v0, k, x)
        assert there(v0, k, x * by) > there(v0, k, x)
        assert there(v0 * by, k, x) < there(v0, k, x)
    assert drift_at(v0, k * by, x, 5.0) > drift_at(v0, k, x, 5.0) > 0.0
    assert drift_at(v0, k, x, -5.0) == -drift_at(v0, k, x, 5.0)
    assert drift_at(v0, k, x, 5.0 * by) == pytest.approx(by * drift_at(v0, k, x, 5.0), rel=1e-12)


@given(speeds, losses, distances, distances)
def test_two_legs_make_one_flight(v0: float, k: float, x: float, y: float) -> None:
    between = speed_at(v0, k, x)
    assert speed_at(between, k, y) == pytest.approx(speed_at(v0, k, x + y), rel=1e-12)
    total = time_at(v0, k, x) + time_at(between, k, y)
    assert total == pytest.approx(time_at(v0, k, x + y), rel=1e-12)


@given(st.floats(0.5, 4.0), st.floats(1.02, 3.0))
def test_proportions_of_loss(coefficient: float, by: float) -> None:
    base = drag_per_distance(coefficient, 0.006, 0.025)
    assert drag_per_distance(coefficient * by, 0.006, 0.025) == pytest.approx(base * by)
    assert drag_per_distance(coefficient, 0.006 * by, 0.025) == pytest.approx(base * by**2)
    assert drag_per_distance(coefficient, 0.006, 0.025 * by) == pytest.approx(base / by)
    assert drag_per_distance(coefficient, 0.006, 0.025, 1.225 * by) == pytest.approx(base * by)


# --- yaw: what must hold ----------------------------------------------------------------------


@given(st.floats(0.02, 0.3), st.floats(1.05, 2.0))
def test_a_larger_margin_swings_quicker_and_dies_no_sooner(arm: float, by: float) -> None:
    base, more = YAW | {"stability_arm": arm}, YAW | {"stability_arm": arm * by}
    assert yaw_wavelength(swing(**more)) < yaw_wavelength(swing(**base))
    assert yaw_damping_distance(swing(**more)) == yaw_damping_distance(swing(**base))


def test_more_damping_dies_sooner() -> None:
    more = YAW | {"pitch_damping": 8.0}
    assert yaw_damping_distance(swing(**more)) < yaw_damping_distance(swing(**YAW))


def test_without_damping_or_path_it_is_a_pendulum() -> None:
    # A heavy arrow whose parts damp nothing: 2 pi sqrt(I / (q C arm)), and no decay to speak of.
    heavy = YAW | {"arrow_mass": 1e6, "pitch_damping": 0.0}
    q = 0.5 * 1.225 * math.pi * 0.006**2 / 4
    expected = 2 * math.pi * math.sqrt(1.9e-3 / (q * 50 * 0.08))
    assert yaw_wavelength(swing(**heavy)) == pytest.approx(expected, rel=1e-6)
    assert yaw_damping_distance(swing(**heavy)) > 1e6


def test_an_overdamped_arrow_does_not_swing() -> None:
    # Own arithmetic: with next to no margin the two decays are path and turn themselves, and the
    # slower is path.
    lazy = YAW | {"stability_arm": 0.0}
    assert yaw_wavelength(swing(**lazy)) == math.inf
    path = 0.5 * 1.225 * math.pi * 0.006**2 / 4 * 50 / 0.028
    assert yaw_damping_distance(swing(**lazy)) == pytest.approx(1 / path, rel=1e-9)


def test_an_unstable_arrow_never_settles() -> None:
    loose = YAW | {"stability_arm": -0.05}
    assert yaw_wavelength(swing(**loose)) == math.inf
    assert yaw_damping_distance(swing(**loose)) == math.inf


# --- refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize("bad", [-1.0, math.inf, math.nan])
def test_impossible_flights(bad: float) -> None:
    for there in (speed_at, time_at, drop_at):
        for shot in ((bad, 0.002, 30.0), (84.0, bad, 30.0), (84.0, 0.002, bad)):
            with pytest.raises(ValueError, match="finite number"):
                there(*shot)
    for shot in ((bad, 0.002, 30.0), (84.0, bad, 30.0), (84.0, 0.002, bad)):
        with pytest.raises(ValueError, match="finite number"):
            drift_at(*shot, 5.0)
    with pytest.raises(ValueError, match="drag_coefficient"):
        drag_per_distance(bad, 0.006, 0.025)


def test_no_speed_no_wind() -> None:
    with pytest.raises(ValueError, match="arrow_speed"):
        time_at(0.0, 0.002, 30.0)
    with pytest.raises(ValueError, match="crosswind"):
        drift_at(84.0, 0.002, 30.0, math.inf)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf, math.nan])
def test_impossible_sizes(bad: float) -> None:
    with pytest.raises(ValueError, match="shaft_outside_diameter"):
        drag_per_distance(2.0, bad, 0.025)
    with pytest.raises(ValueError, match="arrow_mass"):
        drag_per_distance(2.0, 0.006, bad)
    with pytest.raises(ValueError, match="air_density"):
        drag_per_distance(2.0, 0.006, 0.025, bad)
    for name in ("lift_slope", "shaft_outside_diameter", "arrow_mass", "transverse_inertia"):
        with pytest.raises(ValueError, match=name):
            swing(**YAW | {name: bad})
    with pytest.raises(ValueError, match="air_density"):
        swing(**YAW, air_density=bad)
    with pytest.raises(ValueError, match="stability_arm"):
        swing(**YAW | {"stability_arm": math.nan})
    with pytest.raises(ValueError, match="pitch_damping"):
        swing(**YAW | {"pitch_damping": -1.0})
