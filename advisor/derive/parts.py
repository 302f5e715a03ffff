"""What the rows of flight share: the heads, the vanes and the air they ask for."""

from __future__ import annotations

from functools import lru_cache

from advisor.physics import fins, layer

SLACK = 1e-6
"""A micrometre, as in the physics: lengths that agree to it agree."""

BLADED = ("fixed-blade", "mechanical")

SHAFT = ("shaft.outside_diameter", "shaft.length", "nock.throat")
BLADES = (
    "point.type",
    "point.blades",
    "point.cutting_width",
    "point.closed_width",
    "point.blade_length",
)
VANE = ("vane.length", "vane.height", "vane.silhouette")
AIR = ("air.viscosity",)


def asked(*more: str) -> dict[str, tuple[str, ...]]:
    """Return what each kind of bladed head asks for; the width is the one it flies with."""
    common = ("point.blades", "point.blade_length", *more)
    return {
        "fixed-blade": (*common, "point.cutting_width"),
        "mechanical": (*common, "point.closed_width"),
    }


def viscosity_of(density: float, viscosity: float | None) -> float:
    """Return the kinematic viscosity: as stated, or that of air at 15 C and this density.

    The dynamic viscosity of air does not depend on its density (Sutherland, from memory).
    """
    if viscosity is not None:
        return viscosity
    return layer.AIR_VISCOSITY * layer.AIR_DENSITY / density


@lru_cache(maxsize=256)
def blade_of(
    kind: str,
    count: int | None,
    cutting: float | None,
    closed: float | None,
    length: float | None,
    diameter: float,
) -> tuple[int, fins.Fin | None]:
    """Return how many blades stand in the wind, and their shape.

    Raises:
        ValueError: the theory does not cover such blades, in the trade's words.
    """
    if kind not in BLADED or count is None:
        return 0, None
    if count not in fins.BLADE_COUNTS:
        raise ValueError(f"the theory covers heads of two, three or four blades, not {count}")
    width = cutting if kind == "fixed-blade" else closed
    if width is None or length is None:
        return 0, None
    if width < diameter:
        raise ValueError("the blades are narrower than the shaft: measure both again")
    return count, fins.blade(width, length, diameter)


def check_vanes(count: int) -> None:
    """Refuse, in the trade's words, a count of vanes that the theory does not cover."""
    if count not in fins.VANE_COUNTS:
        raise ValueError(f"the theory covers three or four vanes, not {count}")


def vane_of(length: float, height: float, silhouette: str) -> fins.Fin:
    """Return the shape that stands in for a vane of this silhouette, in m."""
    return fins.vane(length, height, fins.SILHOUETTES[silhouette])
