"""Computed facts of the tail: the vane's foot on the shaft, reach, room, and what to lay out."""

from __future__ import annotations

import math

from advisor.derive.row import Computed
from advisor.physics import glue
from advisor.quantities import round9

GLUE_GAP = 0.25e-3
"""Largest end gap a thin glue line should bridge, metres: our own choice, no source."""

SPARE_VANES = 1.1
"""Vanes bought for each vane needed: common practice, no source."""

GLUE_BEAD = 0.1e-6
"""Cross section of a bead of glue, square metres: our own choice, no source."""

GLUE_WASTE = 3.0
"""Glue laid out for each drop that stays on: common practice, no source."""

_GEOMETRY = "exact geometry of a straight foot on a cylinder"


def _wrap_angle(diameter: float, length: float, offset: float, clamp: str) -> float:
    if clamp == "straight":
        return glue.wrap_angle_straight(diameter, length, offset)
    return glue.wrap_angle_helical(diameter, length, offset)


def _vanes_needed(quantity: int, count: int) -> float:
    return math.ceil(round9(quantity * count * SPARE_VANES))


def _glue_volume(quantity: int, count: int, length: float) -> float:
    return glue.glue_volume(quantity * count, length, GLUE_BEAD, GLUE_WASTE)


def _surface_diameter(shaft: float, wrap_length: float, over_wrap: float | None) -> float:
    return over_wrap if over_wrap is not None and wrap_length > 0.0 else shaft


ROWS: tuple[Computed, ...] = (
    Computed(
        "fletching.surface_diameter",
        ("shaft.outside_diameter", "wrap.length", "wrap.outside_diameter"),
        _surface_diameter,
        "diameter the feet stand on: over the wrap where that is known, else the shaft's",
        "as stated",
        optional=("wrap.outside_diameter",),
    ),
    Computed(
        "glue.end_gap",
        ("fletching.surface_diameter", "vane.length", "fletching.offset"),
        glue.end_gap,
        "gap under the ends of a stiff straight foot",
        _GEOMETRY,
        "0.05 mm",
    ),
    Computed(
        "glue.offset_limit",
        ("fletching.surface_diameter", "vane.length"),
        lambda diameter, length: glue.largest_offset(diameter, length, GLUE_GAP),
        "largest offset of a straight foot for a gap of 0.25 mm",
        _GEOMETRY,
        "0.2 deg",
    ),
    Computed(
        "fletching.wrap_angle",
        ("fletching.surface_diameter", "vane.length", "fletching.offset", "bench.clamp"),
        _wrap_angle,
        "turn of a foot round the shaft",
        _GEOMETRY,
        "5 deg",
    ),
    Computed(
        "fletching.root_space",
        ("fletching.surface_diameter", "fletching.count", "fletching.offset", "vane.foot_width"),
        glue.root_space,
        "bare shaft between two feet",
        _GEOMETRY,
        "0.2 mm",
    ),
    Computed(
        "fletching.open_lane",
        (
            "fletching.surface_diameter",
            "fletching.count",
            "fletching.wrap_angle",
            "vane.foot_width",
        ),
        glue.open_lane,
        "what stays open straight along the shaft between two feet",
        _GEOMETRY,
        "0.3 mm",
    ),
    Computed(
        "fletching.rear_radius",
        ("fletching.surface_diameter", "vane.height"),
        glue.rear_radius,
        "radius over shaft and vane",
        "sum",
        "0.3 mm",
    ),
    Computed(
        "glue.volume",
        ("arrow.quantity", "fletching.count", "vane.length"),
        _glue_volume,
        "a bead of 0.1 mm2 along each foot, three times over for waste",
        "common practice, no source",
        "50 %",
    ),
    Computed(
        "fletching.vanes_needed",
        ("arrow.quantity", "fletching.count"),
        _vanes_needed,
        "vanes to buy, a tenth of them spare",
        "common practice, no source",
    ),
)
