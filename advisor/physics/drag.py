"""The arrow's drag, part by part, on pi d^2 / 4 with d the shaft's outside diameter.

Whether the layer along the shaft is laminar or turbulent outweighs any choice of vane, and no one
can tell beforehand: both bounds are to be shown. Point, nock and edge drag (0.05, 0.10, 0.5 to 0.6
of the frontal area) are estimates without source.
"""

import math
from typing import NamedTuple

from advisor.physics.checks import acute, not_negative, positive
from advisor.physics.fins import Fin, fin_area, strip_integral
from advisor.physics.layer import AIR_VISCOSITY, laminar_friction, reynolds, turbulent_friction
from advisor.physics.spin import slope_per_area

POINT = 0.05
BLADED_HEAD = 0.10
NOCK = 0.10
VANE_EDGE = 0.5
BLADE_EDGE = 0.6

SLENDER_ROD = 0.26
"""Seban, Bond and Kelly's first term, as a mean over the rod (from memory)."""


class Drag(NamedTuple):
    """Drag coefficients of the parts; `drag_coefficient` adds them up."""

    shaft: float
    base: float
    vanes: float
    edges: float
    spin: float
    head: float


def shaft_friction(
    *,
    turbulent: bool,
    shaft_outside_diameter: float,
    overall_length: float,
    arrow_speed: float,
    air_viscosity: float = AIR_VISCOSITY,
) -> float:
    """Return the friction coefficient of the whole length, from the tip to the nock throat.

    A flat plate of area pi d L; if laminar times 1 + 0.26 xi, xi = (4 / R) sqrt(nu L / V), for the
    layer is thick against the rod. Head and nock count as bare shaft (own choice).

    Source: Schlichting, Boundary-Layer Theory; Seban, Bond and Kelly (both from memory).

    Raises:
        ValueError: a number is not positive and finite, or the Reynolds number is too low.

    """
    positive("shaft_outside_diameter", shaft_outside_diameter)
    on_length = reynolds(arrow_speed, overall_length, air_viscosity)
    wetted = 4.0 * overall_length / shaft_outside_diameter
    if turbulent:
        return wetted * turbulent_friction(on_length)
    thick = 8.0 / shaft_outside_diameter * math.sqrt(air_viscosity * overall_length / arrow_speed)
    return wetted * laminar_friction(on_length) * (1.0 + SLENDER_ROD * thick)


def base_drag(friction: float) -> float:
    """Return the drag of base and nock, 0.029 / sqrt(CD_friction) + 0.10.

    `friction` is that of the shaft alone (own choice, the literal reading).

    Source: S. F. Hoerner, Fluid-Dynamic Drag (from memory) for the base; own estimate for the nock.

    Raises:
        ValueError: the friction is not positive and finite.

    """
    positive("friction", friction)
    return 0.029 / math.sqrt(friction) + NOCK


def offset_drag(
    vane: Fin,
    fletching_count: int,
    shaft_outside_diameter: float,
    fletching_offset: float,
    *,
    spun_up: bool,
) -> float:
    """Return what the offset costs: N a tan^2(offset) times an area, over pi d^2 / 4.

    The area is I_0 before the arrow turns. Spun up, the strips' angles have evened out to
    I_0 - I_1^2 / I_2, and next to nothing is left. In the free stream: eta is left out (own
    choice).

    Source: own derivation, strip theory as in `spin`: lift times the strip's own angle.

    Raises:
        ValueError: an impossible count, diameter or offset.

    """
    not_negative("fletching_count", fletching_count)
    acute("fletching_offset", fletching_offset)
    area = strip_integral(vane, 0, shaft_outside_diameter)
    if spun_up:
        force = strip_integral(vane, 1, shaft_outside_diameter)
        area -= force * force / strip_integral(vane, 2, shaft_outside_diameter)
    slope = fletching_count * slope_per_area(vane, shaft_outside_diameter)
    angle = math.tan(fletching_offset)
    reference = math.pi * shaft_outside_diameter * shaft_outside_diameter / 4.0
    return slope * angle * angle * area / reference


def drag_parts(
    *,
    turbulent: bool,
    shaft_outside_diameter: float,
    overall_length: float,
    vane: Fin,
    vane_thickness: float,
    fletching_count: int,
    fletching_offset: float,
    point_blades: int,
    blade: Fin | None,
    blade_thickness: float,
    arrow_speed: float,
    air_viscosity: float = AIR_VISCOSITY,
) -> Drag:
    """Return the drag of a spun-up arrow flying straight, part by part, for one of the bounds.

    Both sides of a vane rub by the bound's own law, those of a blade always by the laminar one,
    each with the Reynolds number on its root chord (own choice). A head without blades has
    `point_blades` 0, and `blade` and `blade_thickness` are not looked at. The bound need not be
    what `layer.is_turbulent` says: that is for the vanes' steering.

    Source: beside the functions above; the head's and the edges' numbers are own estimates.

    Raises:
        ValueError: an impossible count, length, angle or speed, or a Reynolds number too low.

    """
    not_negative("vane_thickness", vane_thickness)
    not_negative("fletching_count", fletching_count)
    friction = shaft_friction(
        turbulent=turbulent,
        shaft_outside_diameter=shaft_outside_diameter,
        overall_length=overall_length,
        arrow_speed=arrow_speed,
        air_viscosity=air_viscosity,
    )
    reference = math.pi * shaft_outside_diameter * shaft_outside_diameter / 4.0
    on_chord = reynolds(arrow_speed, vane.root_chord, air_viscosity)
    rubbing = turbulent_friction(on_chord) if turbulent else laminar_friction(on_chord)
    front = POINT
    if point_blades:
        if blade is None:
            raise ValueError("blade must be told for a head with blades")
        not_negative("point_blades", point_blades)
        not_negative("blade_thickness", blade_thickness)
        on_blade = laminar_friction(reynolds(arrow_speed, blade.root_chord, air_viscosity))
        edge = BLADE_EDGE * blade_thickness * blade.span
        front = BLADED_HEAD + point_blades * (edge + 2.0 * fin_area(blade) * on_blade) / reference
    return Drag(
        friction,
        base_drag(friction),
        2.0 * fletching_count * fin_area(vane) * rubbing / reference,
        VANE_EDGE * fletching_count * vane_thickness * vane.span / reference,
        offset_drag(vane, fletching_count, shaft_outside_diameter, fletching_offset, spun_up=True),
        front,
    )


def drag_coefficient(parts: Drag) -> float:
    """Return the whole drag coefficient: the sum of its parts."""
    return sum(parts)
