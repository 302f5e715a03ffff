"""Computed facts of flight: steering, spin, drag, what happens downrange, and how yaw dies out."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from advisor.derive.arrow import MASS_NEEDS
from advisor.derive.row import Computed
from advisor.physics import drag, fins, flight, inertia, layer, spin, steering

AMPLE = 1.9
"""Steering ratio from which on more is not asked for: our own estimate, not flight data."""

BLADED = ("fixed-blade", "mechanical")

_SHAFT = ("shaft.outside_diameter", "shaft.length", "nock.throat")
_BLADES = (
    "point.type",
    "point.blades",
    "point.cutting_width",
    "point.closed_width",
    "point.blade_length",
)
_VANE = ("vane.length", "vane.height", "vane.silhouette")
_LIFT = (
    *_SHAFT,
    "point.length",
    "point.nose",
    *_BLADES,
    "point.blade_start",
    *_VANE,
    "fletching.count",
    "fletching.rear_gap",
)
_FAST = (*_LIFT, "arrow.speed", "air.viscosity")


def _asked(*more: str) -> dict[str, tuple[str, ...]]:
    """Return what each kind of bladed head asks for; the width is the one it flies with."""
    common = ("point.blades", "point.blade_length", *more)
    return {
        "fixed-blade": (*common, "point.cutting_width"),
        "mechanical": (*common, "point.closed_width"),
    }


_LIFT_CASES = _asked("point.blade_start")
_THICKNESS_CASES = _asked("point.blade_thickness")

_BARROWMAN = "J. S. and J. A. Barrowman, 1966 (from memory), on our arrow model"
_OWN_YAW = "own derivation, linear theory on our arrow model"
_OWN_SPIN = "own derivation, strip theory after RocketPy's technical notes, 2022"
_FLAT_FIRE = "flat fire: R. L. McCoy, Modern Exterior Ballistics, 1999 (from memory)"
_DRAG = "flat-plate friction (Schlichting, from memory); head, nock and edges are own estimates"


def _blade(
    kind: str,
    count: int | None,
    cutting: float | None,
    closed: float | None,
    length: float | None,
    diameter: float,
) -> tuple[int, fins.Fin | None]:
    """Return how many blades stand in the wind, and their shape."""
    width = cutting if kind == "fixed-blade" else closed
    if kind not in BLADED or not count or width is None or length is None:
        return 0, None
    return count, fins.blade(width, length, diameter)


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
    viscosity: float,
) -> steering.Lift:
    number, blade = _blade(kind, blades, cutting, closed, blade_length, diameter)
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
        air_viscosity=viscosity,
    )


def _ratio(*values: Any) -> float:
    *arrow, balance = values
    lift = _lift(*arrow)
    return steering.steering_ratio(lift, lift.length - balance)


def _ratio_plain(*values: Any) -> float:
    *arrow, balance = values
    # Speed and air touch the boundary layer alone, which this ratio does not look at.
    lift = _lift(*arrow, 1.0, layer.AIR_VISCOSITY)
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
    lift = _lift(*arrow, 1.0, layer.AIR_VISCOSITY)
    return lift.length - steering.head(lift).centre


def _vane_centre(*arrow: Any) -> float:
    lift = _lift(*arrow, 1.0, layer.AIR_VISCOSITY)
    return lift.length - lift.vanes.centre


def _centre(*arrow: Any) -> float:
    lift = _lift(*arrow)
    return lift.length - steering.whole(lift).centre


def _vane(length: float, height: float, silhouette: str) -> fins.Fin:
    return fins.vane(length, height, fins.SILHOUETTES[silhouette])


def _travel(length: float, height: float, silhouette: str, diameter: float, offset: float) -> float:
    return spin.travel_per_turn(_vane(length, height, silhouette), diameter, offset)


def _rate(
    length: float, height: float, silhouette: str, diameter: float, offset: float, speed: float
) -> float:
    return spin.spin_rate(_vane(length, height, silhouette), diameter, offset, speed)


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
    vane = _vane(length, height, silhouette)
    number, blade = _blade(kind, blades, cutting, closed, blade_length, diameter)
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
        viscosity,
    ) = values
    number, blade = _blade(kind, blades, cutting, closed, blade_length, diameter)
    parts = drag.drag_parts(
        turbulent=turbulent,
        shaft_outside_diameter=diameter,
        overall_length=head + shaft + throat,
        vane=_vane(length, height, silhouette),
        vane_thickness=vane_thickness,
        fletching_count=count,
        fletching_offset=offset,
        point_blades=number,
        blade=blade,
        blade_thickness=thickness or 0.0,
        arrow_speed=speed,
        air_viscosity=viscosity,
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
    viscosity: float,
    mass: float,
    density: float,
) -> float:
    """Return the share of its speed the arrow loses in a metre, by the bound that fits its head."""
    rough = layer.is_turbulent(int(kind in BLADED), diameter, speed, viscosity)
    coefficient = turbulent if rough else laminar
    return flight.drag_per_distance(coefficient, diameter, mass, density)


def _speed_at(*values: Any) -> float:
    *arrow, distance = values
    return flight.speed_at(arrow[4], _loss(*arrow), distance)


def _time_at(*values: Any) -> float:
    *arrow, distance = values
    return flight.time_at(arrow[4], _loss(*arrow), distance)


def _drop_at(*values: Any) -> float:
    *arrow, distance = values
    return flight.drop_at(arrow[4], _loss(*arrow), distance)


def _drift_at(*values: Any) -> float:
    *arrow, distance, wind = values
    return flight.drift_at(arrow[4], _loss(*arrow), distance, wind)


_YAW = tuple(
    dict.fromkeys(
        (*_FAST, "arrow.balance", "arrow.mass", *MASS_NEEDS, "insert.length", "wrap.length")
    )
)


def _yaw(*values: Any) -> dict[str, float]:
    arrow = values[: len(_FAST)]
    told = dict(zip((*_YAW, "air.density"), values, strict=True))
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
    return {
        "lift_slope": all_of_it.slope,
        "stability_arm": all_of_it.centre - from_tip,
        "pitch_damping": steering.pitch_damping(lift, from_tip),
        "shaft_outside_diameter": told["shaft.outside_diameter"],
        "arrow_mass": told["arrow.mass"],
        "transverse_inertia": across,
        "air_density": told["air.density"],
    }


def _yaw_wavelength(*values: Any) -> float:
    return flight.yaw_wavelength(**_yaw(*values))


def _yaw_damping(*values: Any) -> float:
    return flight.yaw_damping_distance(**_yaw(*values))


_DRAG_NEEDS = (
    *_SHAFT,
    "point.length",
    *_BLADES,
    "point.blade_thickness",
    *_VANE,
    "vane.thickness",
    "fletching.count",
    "fletching.offset",
    "arrow.speed",
    "air.viscosity",
)
_FLIGHT = (
    "drag.coefficient",
    "drag.coefficient_turbulent",
    "point.type",
    "shaft.outside_diameter",
    "arrow.speed",
    "air.viscosity",
    "arrow.mass",
    "air.density",
    "shot.distance",
)

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
        "30 %",
        "point.type",
        _LIFT_CASES,
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
    ),
    Computed(
        "spin.travel_per_turn",
        (*_VANE, "shaft.outside_diameter", "fletching.offset"),
        _travel,
        "flight in which a spun-up arrow turns once",
        _OWN_SPIN,
        "40 %",
    ),
    Computed(
        "spin.rate",
        (*_VANE, "shaft.outside_diameter", "fletching.offset", "arrow.speed"),
        _rate,
        "steady spin at launch speed",
        _OWN_SPIN,
        "40 %",
    ),
    Computed(
        "spin.build_up",
        (
            *_VANE,
            "shaft.outside_diameter",
            "shaft.inside_diameter",
            "shaft.length",
            "shaft.mass_per_length",
            *_BLADES,
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
    ),
    Computed("flight.speed", _FLIGHT, _speed_at, "speed left", _FLAT_FIRE, "4 %"),
    Computed("flight.time", _FLIGHT, _time_at, "time of flight", _FLAT_FIRE, "3 %"),
    Computed("flight.drop", _FLIGHT, _drop_at, "fall below the line it left on", _FLAT_FIRE, "5 %"),
    Computed(
        "wind.drift",
        (*_FLIGHT, "wind.cross"),
        _drift_at,
        "lag rule for a steady wind from the side",
        _FLAT_FIRE,
        "50 %",
    ),
    Computed(
        "yaw.wavelength",
        (*_YAW, "air.density"),
        _yaw_wavelength,
        "flight in which the arrow swings once to and fro",
        _OWN_YAW,
        "20 %",
        "point.type",
        _LIFT_CASES,
    ),
    Computed(
        "yaw.damping",
        (*_YAW, "air.density"),
        _yaw_damping,
        "flight that brings the swing down to 37 %",
        _OWN_YAW,
        "40 %",
        "point.type",
        _LIFT_CASES,
    ),
)
