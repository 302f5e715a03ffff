"""Computed facts: the one table that joins physics to the vocabulary.

Physics works in SI on plain numbers and knows no facts; rules know facts and no arithmetic. Here
each computed fact has its name, the facts it needs, its function, its source and its band.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from advisor.engine.chooser import Function
from advisor.engine.values import MISSING, Value
from advisor.physics import energy, glue, mass
from advisor.quantities import UNITS, round9
from advisor.vocabulary import COUNT, QUANTITY, Vocabulary

GLUE_GAP = 0.25e-3
"""Largest end gap a thin glue line should bridge, metres: our own choice, no source."""

SPARE_VANES = 1.1
"""Vanes bought for each vane needed: common practice, no source."""


class Computed(NamedTuple):
    """How one fact is computed; `call` takes and returns SI (or plain numbers and choices)."""

    fact: str
    needs: tuple[str, ...]
    call: Callable[..., float]
    function: str
    source: str
    band: str = ""


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


_MASS_NEEDS = (
    "point.mass",
    "shaft.length",
    "shaft.mass_per_length",
    "insert.mass",
    "nock.mass",
    "vane.mass",
    "fletching.count",
    "wrap.mass",
)


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


def _wrap_angle(diameter: float, length: float, offset: float, clamp: str) -> float:
    if clamp == "straight":
        return glue.wrap_angle_straight(diameter, length, offset)
    return glue.wrap_angle_helical(diameter, length, offset)


def _vanes_needed(quantity: int, count: int) -> float:
    return math.ceil(round9(quantity * count * SPARE_VANES))


_GEOMETRY = "exact geometry of a straight foot on a cylinder"
_RODS = "centre of mass of uniform rods"

TABLE: tuple[Computed, ...] = (
    Computed(
        "arrow.mass",
        _MASS_NEEDS,
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
        "arrow.balance",
        (
            *_MASS_NEEDS,
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
        "glue.end_gap",
        ("shaft.outside_diameter", "vane.length", "fletching.offset"),
        glue.end_gap,
        "gap under the ends of a stiff straight foot",
        _GEOMETRY,
        "0.05 mm",
    ),
    Computed(
        "glue.offset_limit",
        ("shaft.outside_diameter", "vane.length"),
        lambda diameter, length: glue.largest_offset(diameter, length, GLUE_GAP),
        "largest offset of a straight foot for a gap of 0.25 mm",
        _GEOMETRY,
        "0.2 deg",
    ),
    Computed(
        "fletching.wrap_angle",
        ("shaft.outside_diameter", "vane.length", "fletching.offset", "bench.clamp"),
        _wrap_angle,
        "turn of a foot round the shaft",
        _GEOMETRY,
        "5 deg",
    ),
    Computed(
        "fletching.root_space",
        ("shaft.outside_diameter", "fletching.count", "fletching.offset", "vane.foot_width"),
        glue.root_space,
        "bare shaft between two feet",
        _GEOMETRY,
        "0.2 mm",
    ),
    Computed(
        "fletching.rear_radius",
        ("shaft.outside_diameter", "vane.height"),
        glue.rear_radius,
        "radius over shaft and vane",
        "sum",
        "0.3 mm",
    ),
    Computed(
        "fletching.vanes_needed",
        ("arrow.quantity", "fletching.count"),
        _vanes_needed,
        "vanes to buy, a tenth of them spare",
        "common practice, no source",
    ),
)

BY_FACT = {computed.fact: computed for computed in TABLE}
NEEDS = {computed.fact: computed.needs for computed in TABLE}


def functions(vocabulary: Vocabulary) -> tuple[Function, ...]:
    """Bind the table to a vocabulary: its units in and out, numbers rounded as facts are.

    A fact the vocabulary does not declare, or whose inputs it does not, has no function. What a
    function refuses (an impossible shape) or cannot tell (not finite) stays unknown.
    """
    return tuple(
        Function(computed.fact, computed.needs, _bind(computed, vocabulary))
        for computed in TABLE
        if all(name in vocabulary for name in (computed.fact, *computed.needs))
    )


def _factor(vocabulary: Vocabulary, name: str) -> float | None:
    """Return what turns the vocabulary's number into SI, or None for what is no quantity."""
    entry = vocabulary[name]
    return UNITS[entry.unit][1] if entry.kind == QUANTITY else None


def _bind(computed: Computed, vocabulary: Vocabulary) -> Callable[..., Value]:
    call = computed.call
    factors: Sequence[float | None] = [_factor(vocabulary, name) for name in computed.needs]
    out = 1.0 / (_factor(vocabulary, computed.fact) or 1.0)
    whole = vocabulary[computed.fact].kind == COUNT

    def bound(*values: Value) -> Value:
        inputs = [x if f is None else x * f for x, f in zip(values, factors, strict=True)]
        try:
            result = call(*inputs) * out
        except (ValueError, ArithmeticError):
            return MISSING
        if not math.isfinite(result):
            return MISSING
        return int(result) if whole else round9(result)

    return bound
