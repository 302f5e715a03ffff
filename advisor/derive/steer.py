"""Computed facts of steering: what vanes and head do to each other, and how yaw dies out."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from advisor.derive.arrow import MASS_NEEDS
from advisor.derive.parts import (
    AIR,
    BLADES,
    SHAFT,
    SLACK,
    VANE,
    asked,
    blade_of,
    check_vanes,
    viscosity_of,
)
from advisor.derive.row import Computed
from advisor.physics import fins, flight, inertia, layer, steering

AMPLE = 1.9
"""Steering ratio from which on more is not asked for: our own estimate, not flight data."""

_LIFT = (
    *SHAFT,
    "point.length",
    "point.nose",
    *BLADES,
    "point.blade_start",
    *VANE,
    "fletching.count",
    "fletching.rear_gap",
)
_FAST = (*_LIFT, "arrow.speed", "air.density", "air.viscosity")
_LIFT_CASES = asked("point.blade_start")

_BARROWMAN = "J. S. and J. A. Barrowman, 1966 (from memory), on our arrow model"
_OWN_YAW = "own derivation, linear theory on our arrow model"


# One arrow's lift serves half a dozen facts, and one vane on it every angle and side.
@lru_cache(maxsize=4096)
def _lift(
    diameter: float,
    shaft: float,
    throat: float,
    head: float,
    nose: str,
    kind: str,
    blades: int | None,
    cutting: float | None,
    closed: float | None,
    blade_length: float | None,
    blade_start: float | None,
    vane_length: float,
    vane_height: float,
    silhouette: str,
    count: int,
    rear_gap: float,
    speed: float,
    density: float,
    viscosity: float | None,
) -> steering.Lift:
    check_vanes(count)
    if rear_gap < throat - SLACK or vane_length + rear_gap > shaft + throat + SLACK:
        raise ValueError("the vanes do not fit on the shaft between head and nock")
    number, blade = blade_of(kind, blades, cutting, closed, blade_length, diameter)
    return steering.arrow_lift(
        shaft_outside_diameter=diameter,
        shaft_length=shaft,
        nock_throat=throat,
        point_length=head,
        nose_centre=fins.NOSE_CENTRE[nose],
        point_blades=number,
        blade=blade,
        blade_start=blade_start or 0.0,
        vane=fins.vane(vane_length, vane_height, fins.SILHOUETTES[silhouette]),
        fletching_count=count,
        fletching_rear_gap=rear_gap,
        arrow_speed=speed,
        air_viscosity=viscosity_of(density, viscosity),
    )


def _ratio(*values: Any) -> float:
    *arrow, balance = values
    lift = _lift(*arrow)
    return steering.steering_ratio(lift, lift.length - balance)


_STILL = (1.0, layer.AIR_DENSITY, None)
"""Speed and air for what does not look at the boundary layer, which alone they touch."""


def _ratio_plain(*values: Any) -> float:
    *arrow, balance = values
    lift = _lift(*arrow, *_STILL)
    return steering.steering_ratio_plain(lift, lift.length - balance)


def _shortfall(ratio: float) -> float:
    return max(0.0, AMPLE - ratio)


def _margin(*values: Any) -> float:
    *arrow, balance = values
    lift = _lift(*arrow)
    return steering.margin(lift, lift.length - balance) / 100.0


def _layer_factor(*arrow: Any) -> float:
    return _lift(*arrow).eta


def _head_centre(*arrow: Any) -> float:
    lift = _lift(*arrow, *_STILL)
    return lift.length - steering.head(lift).centre


def _vane_centre(*arrow: Any) -> float:
    lift = _lift(*arrow, *_STILL)
    return lift.length - lift.vanes.centre


def _centre(*arrow: Any) -> float:
    lift = _lift(*arrow)
    return lift.length - steering.whole(lift).centre


_YAW = tuple(
    dict.fromkeys(
        (*_FAST, "arrow.balance", "arrow.mass", *MASS_NEEDS, "insert.length", "wrap.length")
    )
)


@lru_cache(maxsize=64)
def _swing(*values: Any) -> flight.Swing:
    arrow = values[: len(_FAST)]
    told = dict(zip(_YAW, values, strict=True))
    lift = _lift(*arrow)
    from_tip = lift.length - told["arrow.balance"]
    all_of_it = steering.whole(lift)
    across = inertia.transverse_inertia(
        point_mass=told["point.mass"],
        point_length=told["point.length"],
        shaft_length=told["shaft.length"],
        shaft_mass_per_length=told["shaft.mass_per_length"],
        insert_mass=told["insert.mass"],
        insert_length=told["insert.length"],
        nock_mass=told["nock.mass"],
        nock_throat=told["nock.throat"],
        vane_mass=told["vane.mass"],
        fletching_count=told["fletching.count"],
        vane_length=told["vane.length"],
        fletching_rear_gap=told["fletching.rear_gap"],
        wrap_mass=told["wrap.mass"],
        wrap_length=told["wrap.length"],
    )
    return flight.swing(
        lift_slope=all_of_it.slope,
        stability_arm=all_of_it.centre - from_tip,
        pitch_damping=steering.pitch_damping(lift, from_tip),
        shaft_outside_diameter=told["shaft.outside_diameter"],
        arrow_mass=told["arrow.mass"],
        transverse_inertia=across,
        air_density=told["air.density"],
    )


def _yaw_wavelength(*values: Any) -> float:
    return flight.yaw_wavelength(_swing(*values))


def _yaw_damping(*values: Any) -> float:
    return flight.yaw_damping_distance(_swing(*values))


ROWS: tuple[Computed, ...] = (
    Computed(
        "steering.ratio",
        (*_FAST, "arrow.balance"),
        _ratio,
        "what the vanes steer over what the head pulls, boundary layer counted",
        _BARROWMAN,
        "30 %",
        "point.type",
        _LIFT_CASES,
        AIR,
    ),
    Computed(
        "steering.shortfall",
        ("steering.ratio",),
        _shortfall,
        "what the steering ratio lacks to 1.9",
        "our own estimate of what is ample, not flight data",
    ),
    Computed(
        "steering.ratio_plain",
        (*_LIFT, "arrow.balance"),
        _ratio_plain,
        "what the vanes steer over what the head pulls, as if in free air",
        _BARROWMAN,
        "30 %",
        "point.type",
        _LIFT_CASES,
    ),
    Computed(
        "steering.margin",
        (*_FAST, "arrow.balance"),
        _margin,
        "pressure point behind the balance point, in % of the length from tip to throat",
        _BARROWMAN,
        "6 points",
        "point.type",
        _LIFT_CASES,
        AIR,
    ),
    Computed(
        "steering.layer_factor",
        _FAST,
        _layer_factor,
        "mean dynamic pressure over the vane's height in the shaft's boundary layer",
        "flat-plate layer (Schlichting, from memory) and its profile, own estimate",
        "20 %",
        "point.type",
        _LIFT_CASES,
        AIR,
    ),
    Computed(
        "steering.head_pressure_point",
        _LIFT,
        _head_centre,
        "where the lift of nose and blades acts",
        _BARROWMAN,
        "0.2 in",
        "point.type",
        _LIFT_CASES,
    ),
    Computed(
        "steering.vane_pressure_point",
        _LIFT,
        _vane_centre,
        "where the lift of the vanes acts",
        _BARROWMAN,
        "0.2 in",
        "point.type",
        _LIFT_CASES,
    ),
    Computed(
        "steering.pressure_point",
        _FAST,
        _centre,
        "where the lift of the whole arrow acts",
        _BARROWMAN,
        "2 in",
        "point.type",
        _LIFT_CASES,
        AIR,
    ),
    Computed(
        "yaw.wavelength",
        _YAW,
        _yaw_wavelength,
        "flight in which the arrow swings once to and fro",
        _OWN_YAW,
        "20 %",
        "point.type",
        _LIFT_CASES,
        AIR,
    ),
    Computed(
        "yaw.damping",
        _YAW,
        _yaw_damping,
        "flight that brings the swing down to 37 %",
        _OWN_YAW,
        "40 %",
        "point.type",
        _LIFT_CASES,
        AIR,
    ),
)
