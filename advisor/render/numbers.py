"""Numbers as they deserve to be shown: a few digits, the unit, the band beside them."""

from __future__ import annotations

import math

from advisor.decision import FactValue, Number, is_rough

_PLAIN_UNITS = {"": "", "1": "", "ratio": "", "spine": "", "lbf": " lb", "%": " %", "N-m2": " N m2"}


def amount(number: Number) -> str:
    """Show a computed number to the digits its band deserves, and the band.

    Three digits, or two where the band is a tenth of the number or more.
    """
    band = f" +/- {number.band}" if number.band else ""
    value = _two_digits(number.value) if is_rough(number.band) else digits(number.value, 3)
    return f"{value}{unit_words(number.unit)}{band}"


def _two_digits(value: float) -> str:
    """Round to two digits, whole ones too, and show both: 2.0, 0.76, 3000."""
    rounded = float(f"{value:.2g}")
    if rounded == 0:
        return "0"
    return f"{rounded:.{max(0, 1 - math.floor(math.log10(abs(rounded))))}f}"


def plain(value: FactValue) -> str:
    """Show a stated or chosen value as it was written."""
    if isinstance(value, Number):
        return f"{digits(value.value, 5)}{unit_words(value.unit)}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    return ", ".join(value) or "none"


def unit_words(unit: str) -> str:
    """Return a unit as it is written behind a number, the space included."""
    return _PLAIN_UNITS.get(unit, f" {unit}")


def digits(value: float, significant: int) -> str:
    """Round to significant digits without an exponent; whole digits are never rounded away."""
    if value == 0:
        return "0"
    whole = len(str(int(abs(value))))
    if whole >= significant:
        return f"{value:.0f}"
    return f"{float(f'{value:.{significant}g}'):.10f}".rstrip("0").rstrip(".")


_BESIDE = 2e-8
"""How near, in parts of it, a number of nine digits stands to the next."""


def edged(value: FactValue | None) -> str:
    """Show a value where it matters on which side of a short number it stands."""
    if not isinstance(value, Number):
        return "none" if value is None else plain(value)
    short = float(f"{value.value:.5g}")
    off = value.value - short
    told = plain(value._replace(value=short))
    if abs(off) <= 1e-12 or abs(off) > max(_BESIDE * abs(short), 2e-9):
        return told
    return f"just {'above' if off > 0 else 'below'} {told}"


def apart(distance: Number) -> str:
    """Show how far something is off, and to which side."""
    side = "more" if distance.value > 0 else "less"
    if abs(distance.value) <= 2e-7:
        return f"a hair {side}"
    return f"{plain(distance._replace(value=abs(distance.value)))} {side}"
