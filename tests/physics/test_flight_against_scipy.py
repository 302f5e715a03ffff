"""Flat fire, spin-up and yaw against the equations of motion themselves, solved by scipy.

What is integrated here is written from the forces on the parts; none of the closed forms is used.
"""

import math
import random
from collections.abc import Sequence
from typing import Any

import pytest

from advisor.physics.fins import strip_integral
from advisor.physics.flight import (
    GRAVITY,
    drift_at,
    drop_at,
    speed_at,
    swing,
    time_at,
    yaw_damping_distance,
    yaw_wavelength,
)
from advisor.physics.spin import slope_per_area, spin_rate
from tests.physics.plausible import ALL, DEGREE, A, Arrow

integrate = pytest.importorskip(
    "scipy.integrate", reason="scipy, which solves the equations of motion, is not installed"
)


def solve(rates: Any, end: float, start: Sequence[float], **options: Any) -> Any:
    return integrate.solve_ivp(rates, (0.0, end), start, rtol=1e-10, atol=1e-12, **options)


# --- flat fire --------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(60))
def test_flat_fire(seed: int) -> None:
    # Tolerances stated for McCoy's flat fire: time 0.3 %, drop 0.5 %, drift 3 %; speed as time.
    draw = random.Random(seed)
    v0, k = draw.uniform(60.0, 105.0), draw.uniform(0.0005, 0.005)
    x, w = draw.uniform(10.0, 55.0), draw.choice((-1, 1)) * draw.uniform(1.0, 7.0)
    if GRAVITY * time_at(v0, k, x) / speed_at(v0, k, x) > math.tan(5 * DEGREE):
        x /= 3.0  # the path must stay within 5 degrees of level

    def rates(_: float, state: Sequence[float]) -> list[float]:
        _x, _y, _z, vx, vy, vz = state
        airspeed = math.sqrt(vx * vx + vy * vy + (vz - w) ** 2)
        return [
            vx,
            vy,
            vz,
            -k * airspeed * vx,
            -k * airspeed * vy - GRAVITY,
            -k * airspeed * (vz - w),
        ]

    def arrived(_: float, state: Sequence[float]) -> float:
        return state[0] - x

    arrived.terminal = True  # type: ignore[attr-defined]
    flown = solve(rates, 10.0, [0.0, 0.0, 0.0, v0, 0.0, 0.0], events=arrived)
    (t,), (state,) = flown.t_events[0], flown.y_events[0]
    assert time_at(v0, k, x) == pytest.approx(t, rel=0.003)
    assert speed_at(v0, k, x) == pytest.approx(math.hypot(*state[3:]), rel=0.005)
    assert drop_at(v0, k, x) == pytest.approx(-state[1], rel=0.005)
    assert drift_at(v0, k, x, w) == pytest.approx(state[2], rel=0.03)


# --- spin-up ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(ALL))
def test_spin_up(name: str) -> None:
    # Strip by strip: lift 0.5 rho V^2 eta a chord times the strip's own angle, arm xi.
    arrow = ALL[name]
    shape, eta, inertia = arrow.vane, arrow.lift().eta, arrow.about()
    slope, tangent, speed = (
        slope_per_area(shape, arrow.diameter),
        math.tan(arrow.offset * DEGREE),
        arrow.speed,
    )
    steps = 200
    strips = []
    for i in range(steps):
        share = (i + 0.5) / steps
        chord = shape.root_chord + (shape.tip_chord - shape.root_chord) * share
        strips.append((chord * shape.span / steps, arrow.diameter / 2 + share * shape.span))

    def rates(_: float, state: Sequence[float]) -> list[float]:
        moment = sum(area * arm * (tangent - state[0] * arm / speed) for area, arm in strips)
        moment *= 0.5 * 1.225 * speed**2 * eta * slope * arrow.count
        return [moment / inertia]

    steady = spin_rate(shape, arrow.diameter, arrow.offset * DEGREE, speed)

    def reached(_: float, state: Sequence[float]) -> float:
        return float(state[0] - (1.0 - math.exp(-1.0)) * steady)

    turned = solve(rates, 40.0 * arrow.build_up() / speed, [0.0], events=reached)
    assert turned.y[0][-1] == pytest.approx(steady, rel=1e-4)
    assert turned.t_events[0][0] * speed == pytest.approx(arrow.build_up(), rel=1e-3)
    assert strip_integral(shape, 2, arrow.diameter) == pytest.approx(
        sum(area * arm * arm for area, arm in strips), rel=1e-4
    )


# --- yaw --------------------------------------------------------------------------------------


def yaw_history(arrow: Arrow, distance: float) -> Any:
    """Fly a stiff arrow in a plane, each part lifting by the air it meets; return (x, yaw)."""
    lift, from_tip = arrow.lift(), arrow.from_tip()
    parts = [
        (lift.nose.slope, from_tip - lift.nose.centre),
        (lift.blades.slope, from_tip - lift.blades.centre),
        (lift.eta * lift.vanes.slope, from_tip - lift.vanes.centre),
    ]
    mass, inertia = arrow.mass(), arrow.across()
    air = 0.5 * 1.225 * math.pi * arrow.diameter**2 / 4

    def rates(_: float, state: Sequence[float]) -> list[float]:
        _x, _y, vx, vy, heading, turning = state
        along = (math.cos(heading), math.sin(heading))
        forward = vx * along[0] + vy * along[1]
        aside = -vx * along[1] + vy * along[0]
        force = moment = 0.0
        for slope, ahead in parts:
            push = -air * slope * forward * (aside + turning * ahead)
            force += push
            moment += push * ahead
        return [
            vx,
            vy,
            -force / mass * along[1],
            force / mass * along[0],
            turning,
            moment / inertia,
        ]

    def level(_: float, state: Sequence[float]) -> float:
        return float(state[4] - math.atan2(state[3], state[2]))

    def turn_back(_: float, state: Sequence[float]) -> float:
        change = rates(0.0, state)
        vx, vy = state[2], state[3]
        return float(state[5] - (vx * change[3] - vy * change[2]) / (vx * vx + vy * vy))

    start = [0.0, 0.0, arrow.speed, 0.0, 0.005, 0.0]
    return solve(rates, distance / arrow.speed, start, events=(level, turn_back))


@pytest.mark.parametrize("name", sorted(set(ALL) - {"C"}))
def test_yaw(name: str) -> None:
    # Linear theory leaves out that the turning tail also bends the path, and that the speed falls
    # as the arrow lifts: 1 % of the wavelength and 2 % of the damping (own tolerance).
    arrow = ALL[name]
    wavelength, damping = (
        yaw_wavelength(swing(**arrow.yaw())),
        yaw_damping_distance(swing(**arrow.yaw())),
    )
    flown = yaw_history(arrow, 2.2 * wavelength)
    crossings = [state[0] for state in flown.y_events[0]]
    assert crossings[2] - crossings[0] == pytest.approx(wavelength, rel=0.01)
    peaks = [
        (state[0], state[4] - math.atan2(state[3], state[2]))
        for state in flown.y_events[1]
        if state[0] > 0.1
    ]
    (x1, yaw1), (x2, yaw2) = peaks[0], peaks[1]
    assert yaw1 * yaw2 < 0.0
    assert (x2 - x1) / math.log(abs(yaw1 / yaw2)) == pytest.approx(damping, rel=0.02)


def test_yaw_of_an_arrow_that_hardly_swings() -> None:
    # C is all but neutral: over its long swing only the decay can be seen, and the reckoning is
    # good to a tenth.
    arrow = ALL["C"]
    wavelength, damping = (
        yaw_wavelength(swing(**arrow.yaw())),
        yaw_damping_distance(swing(**arrow.yaw())),
    )
    assert wavelength > 3 * damping
    flown = yaw_history(arrow, 2.0 * damping)
    last = flown.y[:, -1]
    left = (last[4] - math.atan2(last[3], last[2])) / 0.005
    # alpha'' + 2 c alpha' + (c^2 + s^2) alpha = 0, started at 1 with the slope of the path alone.
    c, s = 1 / damping, 2 * math.pi / wavelength
    path = 0.5 * 1.225 * math.pi * A.diameter**2 / 4 * arrow.yaw()["lift_slope"] / arrow.mass()
    x = last[0]
    expected = math.exp(-c * x) * (math.cos(s * x) + (c - path) / s * math.sin(s * x))
    assert left == pytest.approx(expected, abs=0.02)
