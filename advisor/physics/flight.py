"""Flat fire downrange, and how the arrow swings its yaw out. Metres, seconds, kilograms.

Flat fire holds while the path stays within some 5 degrees of level; the drag coefficient is taken
as constant. Against the full equations: time 0.3 %, drop 0.5 %, drift 3 %.

Source: R. L. McCoy, Modern Exterior Ballistics, 1999 (from memory); the lag rule, Didion's, was
read in a derivation credited to McCoy. Yaw: own derivation.
"""

import math
from typing import NamedTuple

from advisor.physics.checks import finite, not_negative, positive
from advisor.physics.layer import AIR_DENSITY

GRAVITY = 9.80665
"""Standard gravity in m/s^2, exact by definition."""


def drag_per_distance(
    drag_coefficient: float,
    shaft_outside_diameter: float,
    arrow_mass: float,
    air_density: float = AIR_DENSITY,
) -> float:
    """Return k = rho CD A / (2 m) per metre, the share of its speed an arrow loses in one.

    Raises:
        ValueError: the drag is negative, another number not positive, or one is not finite.

    """
    not_negative("drag_coefficient", drag_coefficient)
    positive("shaft_outside_diameter", shaft_outside_diameter)
    positive("arrow_mass", arrow_mass)
    positive("air_density", air_density)
    area = math.pi * shaft_outside_diameter * shaft_outside_diameter / 4.0
    return air_density * drag_coefficient * area / (2.0 * arrow_mass)


def _check(arrow_speed: float, loss: float, distance: float) -> None:
    positive("arrow_speed", arrow_speed)
    not_negative("loss", loss)
    not_negative("distance", distance)


def _curve(z: float) -> float:
    """Return (e^z - 1 - z) / z^2; by its series where the difference would lose its digits."""
    if z < 1e-2:
        return 0.5 + z / 6.0 * (1.0 + z / 4.0 * (1.0 + z / 5.0 * (1.0 + z / 6.0)))
    return (math.expm1(z) - z) / (z * z)


def speed_at(arrow_speed: float, loss: float, distance: float) -> float:
    """Return the speed in m/s after `distance`: v0 e^(-k x). `loss` is k of `drag_per_distance`.

    Raises:
        ValueError: the speed is not positive, another number negative, or one is not finite.

    """
    _check(arrow_speed, loss, distance)
    return arrow_speed * math.exp(-loss * distance)


def time_at(arrow_speed: float, loss: float, distance: float) -> float:
    """Return the time of flight in s: (e^(k x) - 1) / (k v0).

    Raises:
        ValueError: as in `speed_at`.

    """
    _check(arrow_speed, loss, distance)
    z = loss * distance
    return distance / arrow_speed * (1.0 + z * _curve(z))


def drop_at(arrow_speed: float, loss: float, distance: float) -> float:
    """Return how far the arrow falls below its line of departure, in m.

    g (e^(2 k x) - 1 - 2 k x) / (4 k^2 v0^2).

    Raises:
        ValueError: as in `speed_at`.

    """
    _check(arrow_speed, loss, distance)
    return GRAVITY * (distance / arrow_speed) ** 2 * _curve(2.0 * loss * distance)


def drift_at(arrow_speed: float, loss: float, distance: float, crosswind: float) -> float:
    """Return the drift in m in a steady crosswind (m/s, either sign): w (t - x / v0).

    Raises:
        ValueError: as in `speed_at`, or the wind is not finite.

    """
    _check(arrow_speed, loss, distance)
    finite("crosswind", crosswind)
    z = loss * distance
    return crosswind * distance / arrow_speed * z * _curve(z)


class Swing(NamedTuple):
    """A damped swing by distance flown: alpha'' + 2 decay alpha' + stiffness alpha = 0."""

    decay: float  # per m
    stiffness: float  # per m^2


def swing(
    *,
    lift_slope: float,
    stability_arm: float,
    pitch_damping: float,
    shaft_outside_diameter: float,
    arrow_mass: float,
    transverse_inertia: float,
    air_density: float = AIR_DENSITY,
) -> Swing:
    """Return how an arrow swings its yaw out; no speed enters.

    `lift_slope` is that of the whole arrow, `stability_arm` the distance in m of its centre of
    pressure behind the balance point (`steering.whole`), `pitch_damping` in m^2 that of
    `steering`. With q = 0.5 rho A: the lift bends the path by q C / m for each radian of yaw and
    metre flown, the moment turns the arrow by q C arm / I, and the parts' sideways speed damps it
    by q (sum of C l^2) / I; eliminating the turn leaves a damped swing.
    Constant speed; gravity, spin and the bending of the shaft are left out.

    Source: own derivation, linear theory.

    Raises:
        ValueError: a number is impossible.

    """
    positive("lift_slope", lift_slope)
    finite("stability_arm", stability_arm)
    not_negative("pitch_damping", pitch_damping)
    positive("shaft_outside_diameter", shaft_outside_diameter)
    positive("arrow_mass", arrow_mass)
    positive("transverse_inertia", transverse_inertia)
    positive("air_density", air_density)
    area = math.pi * shaft_outside_diameter * shaft_outside_diameter / 4.0
    air = 0.5 * air_density * area
    path = air * lift_slope / arrow_mass
    turn = air * pitch_damping / transverse_inertia
    stiffness = air * lift_slope * stability_arm / transverse_inertia
    return Swing(0.5 * (path + turn), stiffness + path * turn)


def yaw_wavelength(arrow_swing: Swing) -> float:
    """Return the flight in m in which the arrow swings once to and fro; infinite if it does not."""
    decay, stiffness = arrow_swing
    square = stiffness - decay * decay
    return 2.0 * math.pi / math.sqrt(square) if square > 0.0 else math.inf


def yaw_damping_distance(arrow_swing: Swing) -> float:
    """Return the flight in m that brings the yaw down to 1/e (37 %); infinite if none does.

    Where the arrow does not swing, that of the slower of its two decays.
    """
    decay, stiffness = arrow_swing
    if stiffness <= 0.0:
        return math.inf
    beyond = decay * decay - stiffness
    if beyond <= 0.0:
        return 1.0 / decay
    # The same as decay - sqrt(beyond), without losing digits where the two nearly agree.
    return (decay + math.sqrt(beyond)) / stiffness
