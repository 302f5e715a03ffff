"""Bending stiffness EI of a shaft from its static spine, and back.

Static spine is the deflection at mid-span of a shaft that lies on two supports and carries a load
between them. In inches it is the number the trade writes on a shaft; here it is in metres.
"""

from advisor.physics.checks import positive

SPAN = 28.0 * 0.0254
"""Distance between the supports, metres: 28 in (ASTM F2031-05, read second-hand)."""

LOAD = 1.94 * 0.45359237 * 9.80665
"""Load at mid-span, newtons: the weight of 1.94 lb (ASTM F2031-05, read second-hand)."""


def bending_stiffness(shaft_spine: float, *, span: float = SPAN, load: float = LOAD) -> float:
    """Return the bending stiffness EI in N m^2 of a shaft that deflects by `shaft_spine` (m).

    EI = P L^3 / (48 deflection), with `span` L in m and `load` P in N. Good for small deflections
    of an even shaft; the shaft's own weight is not counted. Older practice for wood hangs 2 lb on
    26 in: pass those.

    Source: ASTM F2031-05 (reapproved 2010), static spine (its scope was read, span and load
    second-hand); the formula is beam theory (any textbook of strength of materials).

    Raises:
        ValueError: a number is not positive and finite.

    """
    positive("shaft_spine", shaft_spine)
    positive("span", span)
    positive("load", load)
    return load * span**3 / (48.0 * shaft_spine)


def static_spine(
    shaft_bending_stiffness: float, *, span: float = SPAN, load: float = LOAD
) -> float:
    """Return the static spine in m of a shaft of bending stiffness EI (N m^2).

    The inverse of `bending_stiffness`, from the same source and with the same limits.

    Raises:
        ValueError: a number is not positive and finite.

    """
    positive("shaft_bending_stiffness", shaft_bending_stiffness)
    positive("span", span)
    positive("load", load)
    return load * span**3 / (48.0 * shaft_bending_stiffness)
