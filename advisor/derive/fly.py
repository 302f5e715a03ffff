"""Computed facts of flight: spin, drag, and what happens downrange."""

from __future__ import annotations

import math
from typing import Any

from advisor.derive.parts import (
    AIR,
    BLADED,
    BLADES,
    SHAFT,
    VANE,
    asked,
    blade_of,
    check_vanes,
    vane_of,
    viscosity_of,
)
from advisor.derive.row import Computed
from advisor.physics import drag, flight, inertia, layer, spin

STEEPEST = math.tan(math.radians(10.0))
"""Drop over distance beyond which flat fire is not told: some 10 degrees of aim, our own choice."""

_THICKNESS_CASES = asked("point.blade_thickness")

_OWN_SPIN = "own derivation, strip theory after RocketPy's technical notes, 2022"
_FLAT_FIRE = "flat fire: R. L. McCoy, Modern Exterior Ballistics, 1999 (from memory)"
_AIR_STATE = "turbulent drag behind blades and fast thick shafts, else smooth"
_DRAG = "flat-plate friction (Schlichting, from memory); head, nock and edges are own estimates"


def _travel(length: float, height: float, silhouette: str, diameter: float, offset: float) -> float:
    return spin.travel_per_turn(vane_of(length, height, silhouette), diameter, offset)


def _rate(
    length: float, height: float, silhouette: str, diameter: float, offset: float, speed: float
) -> float:
    return spin.spin_rate(vane_of(length, height, silhouette), diameter, offset, speed)


def _build_up(
    length: float,
    height: float,
    silhouette: str,
    diameter: float,
    bore: float,
    shaft: float,
    per_length: float,
    kind: str,
    blades: int | None,
    cutting: float | None,
    closed: float | None,
    blade_length: float | None,
    thickness: float | None,
    point: float,
    insert: float,
    nock: float,
    vane_mass: float,
    count: int,
    wrap: float,
    eta: float,
    density: float,
) -> float:
    check_vanes(count)
    vane = vane_of(length, height, silhouette)
    number, blade = blade_of(kind, blades, cutting, closed, blade_length, diameter)
    about_axis = inertia.axial_inertia(
        shaft_outside_diameter=diameter,
        shaft_inside_diameter=bore,
        shaft_length=shaft,
        shaft_mass_per_length=per_length,
        point_mass=point,
        point_blades=number,
        blade=blade,
        blade_thickness=thickness or 0.0,
        insert_mass=insert,
        nock_mass=nock,
        vane_mass=vane_mass,
        fletching_count=count,
        vane=vane,
        wrap_mass=wrap,
    )
    return spin.build_up_distance(
        vane=vane,
        fletching_count=count,
        shaft_outside_diameter=diameter,
        axial_inertia=about_axis,
        eta=eta,
        air_density=density,
    )


def _drag(turbulent: bool, *values: Any) -> float:
    (
        diameter,
        shaft,
        throat,
        head,
        kind,
        blades,
        cutting,
        closed,
        blade_length,
        thickness,
        length,
        height,
        silhouette,
        vane_thickness,
        count,
        offset,
        speed,
        density,
        viscosity,
    ) = values
    check_vanes(count)
    number, blade = blade_of(kind, blades, cutting, closed, blade_length, diameter)
    parts = drag.drag_parts(
        turbulent=turbulent,
        shaft_outside_diameter=diameter,
        overall_length=head + shaft + throat,
        vane=vane_of(length, height, silhouette),
        vane_thickness=vane_thickness,
        fletching_count=count,
        fletching_offset=offset,
        point_blades=number,
        blade=blade,
        blade_thickness=thickness or 0.0,
        arrow_speed=speed,
        air_viscosity=viscosity_of(density, viscosity),
    )
    return drag.drag_coefficient(parts)


def _laminar_drag(*values: Any) -> float:
    return _drag(False, *values)


def _turbulent_drag(*values: Any) -> float:
    return _drag(True, *values)


def _loss(
    laminar: float,
    turbulent: float,
    kind: str,
    diameter: float,
    speed: float,
    density: float,
    viscosity: float | None,
    mass: float,
) -> float:
    """Return the share of its speed the arrow loses in a metre.

    The turbulent coefficient behind blades and above the Reynolds number of `layer`, else the
    smooth one: as the vanes' steering has it.
    """
    air = viscosity_of(density, viscosity)
    rough = layer.is_turbulent(int(kind in BLADED), diameter, speed, air)
    coefficient = turbulent if rough else laminar
    return flight.drag_per_distance(coefficient, diameter, mass, density)


def _flat(arrow: list[Any], distance: float) -> tuple[float, float, float]:
    """Return speed, loss and distance of a path that flat fire covers.

    Raises:
        ValueError: it does not, in the trade's words.
    """
    flown = arrow[4], _loss(*arrow), distance
    if flight.drop_at(*flown) > STEEPEST * distance:
        raise ValueError("so slow or so far it must be aimed more than 10 degrees up")
    return flown


def _speed_at(*values: Any) -> float:
    *arrow, distance = values
    return flight.speed_at(*_flat(arrow, distance))


def _time_at(*values: Any) -> float:
    *arrow, distance = values
    return flight.time_at(*_flat(arrow, distance))


def _drop_at(*values: Any) -> float:
    *arrow, distance = values
    return flight.drop_at(*_flat(arrow, distance))


def _drift_at(*values: Any) -> float:
    *arrow, distance, wind = values
    return flight.drift_at(*_flat(arrow, distance), wind)


_DRAG_NEEDS = (
    *SHAFT,
    "point.length",
    *BLADES,
    "point.blade_thickness",
    *VANE,
    "vane.thickness",
    "fletching.count",
    "fletching.offset",
    "arrow.speed",
    "air.density",
    "air.viscosity",
)
_FLIGHT = (
    "drag.coefficient",
    "drag.coefficient_turbulent",
    "point.type",
    "shaft.outside_diameter",
    "arrow.speed",
    "air.density",
    "air.viscosity",
    "arrow.mass",
    "shot.distance",
)

ROWS: tuple[Computed, ...] = (
    Computed(
        "spin.travel_per_turn",
        (*VANE, "shaft.outside_diameter", "fletching.offset"),
        _travel,
        "flight in which a spun-up arrow turns once",
        _OWN_SPIN,
        "40 %",
    ),
    Computed(
        "spin.rate",
        (*VANE, "shaft.outside_diameter", "fletching.offset", "arrow.speed"),
        _rate,
        "steady spin at launch speed",
        _OWN_SPIN,
        "40 %",
    ),
    Computed(
        "spin.build_up",
        (
            *VANE,
            "shaft.outside_diameter",
            "shaft.inside_diameter",
            "shaft.length",
            "shaft.mass_per_length",
            *BLADES,
            "point.blade_thickness",
            "point.mass",
            "insert.mass",
            "nock.mass",
            "vane.mass",
            "fletching.count",
            "wrap.mass",
            "steering.layer_factor",
            "air.density",
        ),
        _build_up,
        "flight in which the spin reaches 63 % of its steady rate",
        _OWN_SPIN,
        "40 %",
        "point.type",
        _THICKNESS_CASES,
    ),
    Computed(
        "drag.coefficient",
        _DRAG_NEEDS,
        _laminar_drag,
        "drag on the shaft's cross section, air along the shaft smooth",
        _DRAG,
        "25 %",
        "point.type",
        _THICKNESS_CASES,
        AIR,
    ),
    Computed(
        "drag.coefficient_turbulent",
        _DRAG_NEEDS,
        _turbulent_drag,
        "drag on the shaft's cross section, air along the shaft turbulent",
        _DRAG,
        "25 %",
        "point.type",
        _THICKNESS_CASES,
        AIR,
    ),
    Computed(
        "flight.speed",
        _FLIGHT,
        _speed_at,
        f"speed left; {_AIR_STATE}",
        _FLAT_FIRE,
        "6 %",
        optional=AIR,
    ),
    Computed(
        "flight.time",
        _FLIGHT,
        _time_at,
        f"time of flight; {_AIR_STATE}",
        _FLAT_FIRE,
        "4 %",
        optional=AIR,
    ),
    Computed(
        "flight.drop",
        _FLIGHT,
        _drop_at,
        f"fall below the line it left on; {_AIR_STATE}",
        _FLAT_FIRE,
        "8 %",
        optional=AIR,
    ),
    Computed(
        "wind.drift",
        (*_FLIGHT, "wind.cross"),
        _drift_at,
        f"lag rule for a steady wind from the side; {_AIR_STATE}",
        _FLAT_FIRE,
        "60 %",
        optional=AIR,
    ),
)
