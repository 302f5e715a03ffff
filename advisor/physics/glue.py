"""The geometry of a vane's foot on a round shaft: gap, wrap, pitch, room and reach.

Lengths are metres, angles radians. `fletching_offset` is the angle between the foot and the
shaft's axis, from 0 (straight) to a right angle; its size only, for to which side the vane leans
changes nothing here. The foot is as long as the vane. The diameter is that of the surface the foot
is glued to: over the wrap, where there is one. Everything is exact for a foot without width.
"""

import math

from advisor.physics.checks import not_negative, positive


def _angle(fletching_offset: float) -> None:
    if not 0.0 <= fletching_offset <= math.pi / 2.0:
        raise ValueError(
            f"fletching_offset must be from 0 to a right angle in radians, not {fletching_offset!r}"
        )


def _half_across(
    shaft_outside_diameter: float, vane_length: float, fletching_offset: float
) -> tuple[float, float]:
    """Return the shaft's radius R and y = (L/2) sin(offset), how far a foot's end lies aside."""
    positive("shaft_outside_diameter", shaft_outside_diameter)
    positive("vane_length", vane_length)
    _angle(fletching_offset)
    return shaft_outside_diameter / 2.0, vane_length / 2.0 * math.sin(fletching_offset)


def end_gap(shaft_outside_diameter: float, vane_length: float, fletching_offset: float) -> float:
    """Return the gap in m between the shaft and the ends of a stiff straight foot.

    The foot touches at mid-length, as a straight clamp holds it; its ends stand off by
    sqrt(R^2 + y^2) - R with R the shaft's radius and y = (L/2) sin(offset).

    Source: own derivation, exact.

    Raises:
        ValueError: a length is not positive and finite, or the angle is outside its range.

    """
    radius, aside = _half_across(shaft_outside_diameter, vane_length, fletching_offset)
    # The same as hypot(R, y) - R, without losing the digits of a small gap in the difference.
    return aside * aside / (math.hypot(radius, aside) + radius)


def largest_offset(shaft_outside_diameter: float, vane_length: float, glue_end_gap: float) -> float:
    """Return the largest offset in radians at which `end_gap` is at most `glue_end_gap` (m).

    sin(offset) = 2 sqrt(2 R g + g^2) / L. Where no angle opens the gap so far (a foot short
    against the shaft) the answer is a right angle.

    Source: own derivation, exact; `end_gap` solved for the angle.

    Raises:
        ValueError: a length is not positive and finite, or the gap is negative or not finite.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    positive("vane_length", vane_length)
    not_negative("glue_end_gap", glue_end_gap)
    aside = math.sqrt(glue_end_gap * (shaft_outside_diameter + glue_end_gap))
    return math.asin(min(1.0, 2.0 * aside / vane_length))


def wrap_angle_straight(
    shaft_outside_diameter: float, vane_length: float, fletching_offset: float
) -> float:
    """Return the angle in radians about the axis between the two ends of a straight foot.

    2 atan(y / R), never as much as half a turn.

    Source: own derivation, exact.

    Raises:
        ValueError: as in `end_gap`.

    """
    radius, aside = _half_across(shaft_outside_diameter, vane_length, fletching_offset)
    return 2.0 * math.atan(aside / radius)


def wrap_angle_helical(
    shaft_outside_diameter: float, vane_length: float, fletching_offset: float
) -> float:
    """Return the angle in radians about the axis that a helical foot winds through.

    L sin(offset) / R, for a foot that lies on the shaft all along. It may exceed a whole turn.

    Source: own derivation, exact.

    Raises:
        ValueError: as in `end_gap`.

    """
    radius, aside = _half_across(shaft_outside_diameter, vane_length, fletching_offset)
    return 2.0 * aside / radius


def foot_pitch(shaft_outside_diameter: float, fletching_offset: float) -> float:
    """Return the length in m along the shaft in which the foot's helix would make a whole turn.

    2 pi R / tan(offset), infinite for a straight foot. This is the foot's geometry, not the
    distance in which a flying arrow turns once, which is longer.

    Source: own derivation, exact.

    Raises:
        ValueError: the diameter is not positive and finite, or the angle is outside its range.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    _angle(fletching_offset)
    if fletching_offset == 0.0:
        return math.inf
    return math.pi * shaft_outside_diameter / math.tan(fletching_offset)


def root_space(
    shaft_outside_diameter: float,
    fletching_count: int,
    fletching_offset: float,
    vane_foot_width: float,
) -> float:
    """Return the bare shaft in m between neighbouring feet, measured square to them.

    (2 pi R / n) cos(offset) - w, with w the width of a foot. Negative when the feet overlap, by as
    much as they do.

    Source: own derivation, exact.

    Raises:
        ValueError: the diameter or the width is not positive and finite, there is not at least
            one vane, or the angle is outside its range.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    if not 1 <= fletching_count < math.inf:
        raise ValueError(f"fletching_count must be at least 1, not {fletching_count!r}")
    _angle(fletching_offset)
    positive("vane_foot_width", vane_foot_width)
    pitch = math.pi * shaft_outside_diameter / fletching_count
    return pitch * math.cos(fletching_offset) - vane_foot_width


def rear_radius(shaft_outside_diameter: float, vane_height: float) -> float:
    """Return how far a vane's outer edge stands from the shaft's axis in m: R + height.

    This is what must pass the rest and the cables.

    Source: a sum, exact.

    Raises:
        ValueError: the diameter or the height is not positive and finite.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    positive("vane_height", vane_height)
    return shaft_outside_diameter / 2.0 + vane_height


def open_lane(
    shaft_outside_diameter: float,
    fletching_count: int,
    fletching_wrap_angle: float,
    vane_foot_width: float,
) -> float:
    """Return the width in m of the lane that stays open straight along the shaft between two feet.

    2 pi R / n - R wrap - w: a foot wound round by the wrap angle (radians) shuts that much of its
    share of the surface, and its own width w. Measured round the shaft; negative when there is no
    lane, by as much as the feet overlap seen from behind.

    Source: own derivation, exact.

    Raises:
        ValueError: the diameter or the width is not positive and finite, there is not at least
            one vane, or the angle is negative or not finite.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    if not 1 <= fletching_count < math.inf:
        raise ValueError(f"fletching_count must be at least 1, not {fletching_count!r}")
    not_negative("fletching_wrap_angle", fletching_wrap_angle)
    positive("vane_foot_width", vane_foot_width)
    share = 2.0 * math.pi / fletching_count - fletching_wrap_angle
    return shaft_outside_diameter / 2.0 * share - vane_foot_width


def glue_volume(vane_count: int, vane_length: float, bead_section: float, waste: float) -> float:
    """Return the glue for `vane_count` feet in m^3: a bead along each, times a factor for waste.

    `bead_section` is the bead's cross section in m^2.

    Source: a product, exact.

    Raises:
        ValueError: the length or the section is not positive and finite, the count is negative, or
            the waste is below 1.

    """
    not_negative("vane_count", vane_count)
    positive("vane_length", vane_length)
    positive("bead_section", bead_section)
    if not 1.0 <= waste < math.inf:
        raise ValueError(f"waste must be at least 1, not {waste!r}")
    return vane_count * vane_length * bead_section * waste
