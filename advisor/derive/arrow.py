"""Computed facts of the whole arrow: mass, balance, energy, stiffness."""

from __future__ import annotations

from advisor.derive.row import Computed
from advisor.physics import energy, mass, stiffness

_RODS = "centre of mass of uniform rods"


def _arrow_mass(
    point: float,
    length: float,
    per_length: float,
    insert: float,
    nock: float,
    vane: float,
    count: int,
    wrap: float,
) -> float:
    return mass.finished_mass(
        point_mass=point,
        shaft_length=length,
        shaft_mass_per_length=per_length,
        insert_mass=insert,
        nock_mass=nock,
        vane_mass=vane,
        fletching_count=count,
        wrap_mass=wrap,
    )


MASS_NEEDS = (
    "point.mass",
    "shaft.length",
    "shaft.mass_per_length",
    "insert.mass",
    "nock.mass",
    "vane.mass",
    "fletching.count",
    "wrap.mass",
)


WITHOUT_MASS = {"insert.length": "insert.mass", "wrap.length": "wrap.mass"}
"""Lengths that the model of the arrow does not look at where the part has no mass."""


def _mass_without_vanes(
    point: float, length: float, per_length: float, insert: float, nock: float, wrap: float
) -> float:
    return _arrow_mass(point, length, per_length, insert, nock, 0.0, 0, wrap)


def _balance(
    point: float,
    length: float,
    per_length: float,
    insert: float,
    nock: float,
    vane: float,
    count: int,
    wrap: float,
    point_length: float,
    insert_length: float,
    throat: float,
    vane_length: float,
    rear_gap: float,
    wrap_length: float,
) -> float:
    return mass.balance(
        point_mass=point,
        point_length=point_length,
        shaft_length=length,
        shaft_mass_per_length=per_length,
        insert_mass=insert,
        insert_length=insert_length,
        nock_mass=nock,
        nock_throat=throat,
        vane_mass=vane,
        fletching_count=count,
        vane_length=vane_length,
        fletching_rear_gap=rear_gap,
        wrap_mass=wrap,
        wrap_length=wrap_length,
    )[0]


def _proud(width: float, diameter: float) -> float:
    return (width - diameter) / 2.0


def _blade_room(head: float, start: float, length: float) -> float:
    return head - start - length


def _beyond_rest(length: float, throat: float, draw: float) -> float:
    return length + throat - draw


ROWS: tuple[Computed, ...] = (
    Computed(
        "point.proud",
        ("point.cutting_width", "shaft.outside_diameter"),
        _proud,
        "half the cutting width less the shaft's radius",
        "difference",
        "0.01 in",
    ),
    Computed(
        "point.blade_room",
        ("point.length", "point.blade_start", "point.blade_length"),
        _blade_room,
        "exposed head less the blades' start and length",
        "difference",
        "0.05 in",
    ),
    Computed(
        "shaft.beyond_rest",
        ("shaft.length", "nock.throat", "bow.draw_length"),
        _beyond_rest,
        "shaft and nock throat less the draw to the rest",
        "difference",
        "0.25 in",
    ),
    Computed(
        "arrow.mass",
        MASS_NEEDS,
        _arrow_mass,
        "finished mass",
        "sum of the parts; glue is not counted",
        "2 %",
    ),
    Computed(
        "arrow.mass_per_draw",
        ("arrow.mass", "bow.draw_weight"),
        mass.mass_per_draw_force,
        "mass per unit of draw weight",
        "quotient",
        "2 %",
    ),
    Computed(
        "arrow.mass_without_vanes",
        tuple(name for name in MASS_NEEDS if name not in ("vane.mass", "fletching.count")),
        _mass_without_vanes,
        "finished mass less the vanes",
        "sum of the parts; glue is not counted",
        "2 %",
    ),
    Computed(
        "arrow.vaneless_mass_per_draw",
        ("arrow.mass_without_vanes", "bow.draw_weight"),
        mass.mass_per_draw_force,
        "the same per unit of draw weight",
        "quotient",
        "2 %",
    ),
    Computed(
        "arrow.balance",
        (
            *MASS_NEEDS,
            "point.length",
            "insert.length",
            "nock.throat",
            "vane.length",
            "fletching.rear_gap",
            "wrap.length",
        ),
        _balance,
        "balance point from the nock throat",
        _RODS,
        "0.2 in",
        idle=WITHOUT_MASS,
    ),
    Computed(
        "arrow.foc",
        ("arrow.balance", "shaft.length", "nock.throat"),
        # FOC comes back in percent; the table's unit says so, and the ratio stays untouched.
        lambda balance, length, throat: mass.front_of_centre(balance, length, throat) / 100.0,
        "front of centre, point left out of the length",
        "AMO Standards, 2000 (from memory)",
        "1 point",
    ),
    Computed(
        "arrow.kinetic_energy",
        ("arrow.mass", "arrow.speed"),
        energy.kinetic_energy,
        "kinetic energy",
        "definition",
        "5 %",
    ),
    Computed(
        "arrow.momentum",
        ("arrow.mass", "arrow.speed"),
        energy.momentum,
        "momentum",
        "definition",
        "3 %",
    ),
    Computed(
        "shaft.bending_stiffness",
        ("shaft.spine",),
        stiffness.bending_stiffness,
        "bending stiffness from static spine, 1.94 lb on 28 in",
        "ASTM F2031, static spine (read second-hand), and beam theory",
        "5 %",
    ),
)
