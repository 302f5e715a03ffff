"""Do the vanes steer the head? Lift of the whole arrow at small angles, part by part.

x runs from the very tip toward the nock, in m; slopes (CN_alpha) are per radian on pi d^2 / 4.
Left out: the blades' downwash on the vanes (it may take 10 to 40 % of the steering ratio), flex
and flutter of the vanes, porosity of feathers, bending of the shaft, cut-outs in blades. What comes
with larger angles is in `crossflow`.
"""

from typing import NamedTuple

from advisor.physics.checks import not_negative, one_of, positive
from advisor.physics.fins import (
    NOSE_SLOPE,
    VANE_COUNTS,
    Fin,
    fin_centre,
    set_slope,
    set_slope_worst_plane,
)
from advisor.physics.layer import AIR_VISCOSITY, is_turbulent, pressure_factor

_SLACK = 1e-6
"""A micrometre, as in the mass model: lengths that agree to it agree."""


class Part(NamedTuple):
    """A part that lifts: its slope, and where its lift acts behind the tip in m."""

    slope: float
    centre: float


class Lift(NamedTuple):
    """What lifts on an arrow. `vanes` is without the layer's loss; eta is what that leaves."""

    nose: Part
    blades: Part
    vanes: Part
    eta: float
    length: float


def arrow_lift(
    *,
    shaft_outside_diameter: float,
    shaft_length: float,
    nock_throat: float,
    point_length: float,
    nose_centre: float,
    point_blades: int,
    blade: Fin | None,
    blade_start: float,
    vane: Fin,
    fletching_count: int,
    fletching_rear_gap: float,
    arrow_speed: float,
    air_viscosity: float = AIR_VISCOSITY,
    worst_plane: bool = False,
) -> Lift:
    """Return the lift of nose, blades and vanes, each where the arrow model puts it.

    `point_length` is the exposed head, `nose_centre` a share of it (`fins.NOSE_CENTRE`). A head
    without blades has `point_blades` 0, and `blade` and `blade_start` are not looked at.
    `blade_start` is how far behind the tip the blades begin, `fletching_rear_gap` how far ahead of
    the nock throat the vanes end. With `worst_plane` two blades count as in their worst plane.
    The nose lifts alike with blades and without (own choice, the literal reading).

    Source: Barrowman 1966 (from memory) on the project's own arrow model.

    Raises:
        ValueError: a count without theory (vanes 3 or 4; blades 0, 2, 3 or 4), a vane that does
            not lie on the shaft, blades wider than the shaft is long, or an impossible number.

    """
    positive("shaft_length", shaft_length)
    not_negative("nock_throat", nock_throat)
    positive("point_length", point_length)
    not_negative("nose_centre", nose_centre)
    not_negative("fletching_rear_gap", fletching_rear_gap)
    one_of("fletching_count", fletching_count, VANE_COUNTS)
    length = point_length + shaft_length + nock_throat
    rear = length - fletching_rear_gap
    front = rear - vane.root_chord
    if front < point_length - _SLACK or rear > point_length + shaft_length + _SLACK:
        raise ValueError(
            f"vane would reach from {front:.4g} m to {rear:.4g} m behind the tip, but must lie "
            f"between {point_length:.4g} m and {point_length + shaft_length:.4g} m"
        )
    blades = Part(0.0, 0.0)
    if point_blades:
        if blade is None:
            raise ValueError("blade must be told for a head with blades")
        not_negative("blade_start", blade_start)
        if 2.0 * blade.span + shaft_outside_diameter > shaft_length:
            raise ValueError(f"blades must not be wider than the shaft is long, {shaft_length!r}")
        of_set = set_slope_worst_plane if worst_plane else set_slope
        slope = of_set(blade, point_blades, shaft_outside_diameter)
        blades = Part(slope, blade_start + fin_centre(blade))
    return Lift(
        Part(NOSE_SLOPE, nose_centre * point_length),
        blades,
        Part(set_slope(vane, fletching_count, shaft_outside_diameter), front + fin_centre(vane)),
        pressure_factor(
            turbulent=is_turbulent(
                point_blades, shaft_outside_diameter, arrow_speed, air_viscosity
            ),
            distance=front + vane.root_chord / 2.0,
            vane_height=vane.span,
            arrow_speed=arrow_speed,
            air_viscosity=air_viscosity,
        ),
        length,
    )


def _turning(lift: Lift, from_tip: float) -> float:
    """Return the slope times arm with which the head turns the arrow away, in m."""
    positive("from_tip", from_tip)
    nose, blades = lift.nose, lift.blades
    turning = nose.slope * (from_tip - nose.centre) + blades.slope * (from_tip - blades.centre)
    if turning <= 0.0:
        raise ValueError(f"from_tip must lie behind the lift of the head, not at {from_tip!r} m")
    return turning


def steering_ratio(lift: Lift, from_tip: float) -> float:
    """Return the vanes' steering over the head's; 1 is neutral, to be shown with +/-30 %.

    eta times the vanes' slope times their arm behind the balance point, over the slopes of nose
    and blades times their arms ahead of it. `from_tip` is the balance point's distance in m.

    Source: own measure on the Barrowman equations.

    Raises:
        ValueError: the balance point does not lie behind the lift of the head.

    """
    return lift.eta * steering_ratio_plain(lift, from_tip)


def steering_ratio_plain(lift: Lift, from_tip: float) -> float:
    """Return `steering_ratio` as if the vanes stood in the free stream (eta is 1)."""
    turning = _turning(lift, from_tip)
    return lift.vanes.slope * (lift.vanes.centre - from_tip) / turning


def head(lift: Lift) -> Part:
    """Return the slope and centre of nose and blades together."""
    return _together(lift, 0.0)


def whole(lift: Lift) -> Part:
    """Return the slope and centre of pressure of the whole arrow; the vanes count eta times.

    Source: Barrowman 1966: the mean of the centres, each weighed by its slope.
    """
    return _together(lift, lift.eta)


def _together(lift: Lift, eta: float) -> Part:
    nose, blades, vanes, _, _ = lift
    tail = eta * vanes.slope
    slope = nose.slope + blades.slope + tail
    moment = nose.slope * nose.centre + blades.slope * blades.centre + tail * vanes.centre
    return Part(slope, moment / slope)


def margin(lift: Lift, from_tip: float) -> float:
    """Return how far the centre of pressure lies behind the balance point, in % of the length.

    The length is that from the tip to the nock throat; the vanes count eta times (own choice, as
    in the ratio). Negative when the arrow is unstable.

    Raises:
        ValueError: the balance point does not lie behind the tip.

    """
    positive("from_tip", from_tip)
    return 100.0 * (whole(lift).centre - from_tip) / lift.length


def pitch_damping(lift: Lift, from_tip: float) -> float:
    """Return the sum of slope times arm squared in m^2, which damps the yaw.

    All three parts count, the vanes eta times and for most of it (own choice).

    Raises:
        ValueError: the balance point does not lie behind the tip.

    """
    positive("from_tip", from_tip)
    nose, blades, vanes, eta, _ = lift
    ahead = nose.slope * (from_tip - nose.centre) ** 2 + blades.slope * (
        (from_tip - blades.centre) ** 2
    )
    return float(ahead + eta * vanes.slope * (vanes.centre - from_tip) ** 2)
