"""Lift of noses, blades and vanes at small angles, by the Barrowman equations.

Lengths are metres. Slopes (CN_alpha) are per radian, on the reference area pi d^2 / 4 with d the
shaft's outside diameter. The air is slow against sound, the fins flat, thin and rigid.

Sources: J. S. and J. A. Barrowman, The Theoretical Prediction of the Center of Pressure, 1966
(from memory; every formula was read in Niskanen or RocketPy); S. Niskanen, Development of an open
source model rocket simulation software, 2009, chapter 3; RocketPy technical notes, Roll equations
for high-powered rockets, 2022.
"""

import math
from functools import lru_cache
from typing import NamedTuple

from advisor.physics.checks import not_negative, one_of, positive

NOSE_SLOPE = 2.0
"""CN_alpha of any nose that widens to the shaft's diameter (Barrowman 1966)."""

NOSE_CENTRE = {"ogive": 0.466, "cone": 2.0 / 3.0}
"""Where a nose's lift acts, as a share of the exposed head behind the tip (Barrowman 1966).

The ogive's is a slender one's; at three radii of length it lies 4 % too far back.
"""

SILHOUETTES = {"swept": (0.25, 0.75), "shield": (0.40, 0.50), "parabolic": (0.50, 0.35)}
"""Stand-in trapezoids (own model): tip chord and leading edge's setback over root chord."""

BLADE_TIP = 0.10
"""A blade's outer chord as a share of its length (the project's own arrow model)."""

VANE_COUNTS = (3, 4)
BLADE_COUNTS = (2, 3, 4)


class Fin(NamedTuple):
    """A flat trapezoid standing on the shaft, in m: made by `fin`, `vane` or `blade`."""

    root_chord: float
    tip_chord: float
    setback: float
    span: float


def fin(root_chord: float, tip_chord: float, setback: float, span: float) -> Fin:
    """Return the trapezoid, checked: its chords, the tip's setback and the exposed span, in m.

    `setback` is how far the front of the tip chord lies behind the front of the root chord.

    Raises:
        ValueError: the root is not positive, another length is negative, or one is not finite.

    """
    positive("root_chord", root_chord)
    not_negative("tip_chord", tip_chord)
    not_negative("setback", setback)
    not_negative("span", span)
    return Fin(root_chord, tip_chord, setback, span)


def vane(vane_length: float, vane_height: float, vane_silhouette: tuple[float, float]) -> Fin:
    """Return the trapezoid that stands in for a vane; silhouettes are those of `SILHOUETTES`.

    Source: the project's own arrow model.

    Raises:
        ValueError: length or height is not positive and finite, or as in `fin`.

    """
    positive("vane_length", vane_length)
    positive("vane_height", vane_height)
    tip, setback = vane_silhouette
    return fin(vane_length, tip * vane_length, setback * vane_length, vane_height)


def blade(blade_width: float, blade_length: float, shaft_outside_diameter: float) -> Fin:
    """Return the trapezoid that stands in for one blade of a head.

    `blade_width` is the head's cutting width, or its closed width if it flies closed: the span is
    half of it less the shaft's radius. Cut-outs are not modelled.

    Source: the project's own arrow model.

    Raises:
        ValueError: a number is not positive and finite, or the blades are narrower than the shaft.

    """
    positive("blade_width", blade_width)
    positive("blade_length", blade_length)
    positive("shaft_outside_diameter", shaft_outside_diameter)
    span = (blade_width - shaft_outside_diameter) / 2.0
    if span < 0.0:
        raise ValueError(
            f"blade_width must not be less than the shaft's diameter of "
            f"{shaft_outside_diameter!r}, not {blade_width!r}"
        )
    tip = BLADE_TIP * blade_length
    return Fin(blade_length, tip, blade_length - tip, span)


def fin_area(shape: Fin) -> float:
    """Return the area of one side in m^2."""
    return 0.5 * (shape.root_chord + shape.tip_chord) * shape.span


def fin_slope(shape: Fin, shaft_outside_diameter: float) -> float:
    """Return CN_alpha of one fin by itself, square to the flow's plane.

    8 (S/d)^2 / (1 + sqrt(1 + (2 l / (cr + ct))^2)), with S the span and l the mid-chord line.

    Source: Barrowman 1966; the same as Niskanen 2009, chapter 3, at Mach 0.

    Raises:
        ValueError: the diameter is not positive and finite.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    root, tip, setback, span = shape
    chords = root + tip
    middle = 2.0 * math.hypot(span, setback + 0.5 * (tip - root)) / chords
    share = span / shaft_outside_diameter
    return 8.0 * share * share / (1.0 + math.sqrt(1.0 + middle * middle))


def interference(shape: Fin, shaft_outside_diameter: float) -> float:
    """Return K = 1 + R / (S + R), what the shaft's presence adds to the fins' lift.

    Source: Barrowman 1966.

    Raises:
        ValueError: the diameter is not positive and finite.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    radius = shaft_outside_diameter / 2.0
    return 1.0 + radius / (shape.span + radius)


# The same head is asked about with every tail that is tried behind it.
@lru_cache(maxsize=1024)
def set_slope(shape: Fin, count: int, shaft_outside_diameter: float) -> float:
    """Return CN_alpha of 2, 3 or 4 fins on the shaft: K N / 2 times that of one fin.

    Two fins swing between nothing and `set_slope_worst_plane` as the arrow rolls; this is their
    mean over a turn. For 3 and 4 it is the same in every plane.

    Source: Barrowman 1966 for 3 and 4; Niskanen 2009, chapter 3, for 2.

    Raises:
        ValueError: another count, or the diameter is not positive and finite.

    """
    one_of("count", count, BLADE_COUNTS)
    factor = interference(shape, shaft_outside_diameter)
    return factor * 0.5 * count * fin_slope(shape, shaft_outside_diameter)


def set_slope_worst_plane(shape: Fin, count: int, shaft_outside_diameter: float) -> float:
    """Return CN_alpha in the plane in which it is greatest: twice the mean for 2 fins.

    Source and errors: as in `set_slope`.
    """
    slope = set_slope(shape, count, shaft_outside_diameter)
    return 2.0 * slope if count == 2 else slope


def fin_centre(shape: Fin) -> float:
    """Return how far behind the front of its root chord a fin's lift acts, in m.

    (xs/3)(cr + 2 ct)/(cr + ct) + (cr + ct - cr ct/(cr + ct))/6.

    Source: Barrowman 1966.
    """
    root, tip, setback, _ = shape
    chords = root + tip
    return setback / 3.0 * (root + 2.0 * tip) / chords + (chords - root * tip / chords) / 6.0


def strip_integral(shape: Fin, power: int, shaft_outside_diameter: float) -> float:
    """Return I_p, the integral of chord times xi^p over the span, in m^(2 + p); p is 0, 1 or 2.

    xi is the distance from the shaft's axis. I_0 is the area, I_1 forces the spin, I_2 damps it.

    Source: RocketPy technical notes 2022 for p = 2; own integration, exact, for the others.

    Raises:
        ValueError: another power, or the diameter is not positive and finite.

    """
    one_of("power", power, (0, 1, 2))
    positive("shaft_outside_diameter", shaft_outside_diameter)
    root, tip, _, span = shape
    radius = shaft_outside_diameter / 2.0
    if power == 0:
        return 0.5 * (root + tip) * span
    if power == 1:
        return span * (0.5 * (root + tip) * radius + (root + 2.0 * tip) * span / 6.0)
    outer = (root + 3.0 * tip) * span * span
    middle = 4.0 * (root + 2.0 * tip) * span * radius
    return span / 12.0 * (outer + middle + 6.0 * (root + tip) * radius * radius)
