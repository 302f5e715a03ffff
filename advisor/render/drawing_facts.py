"""What a drawing needs to know of a Decision: lengths in millimetres, angles in degrees, or None.

A drawing never guesses in silence. What is not known, or no size a thing can have, comes back as
None, and the drawing says so in words.
"""

from __future__ import annotations

import math

from advisor.decision import Decision, FactValue, Number
from advisor.render.numbers import amount, digits

MM_PER_INCH = 25.4
SILHOUETTES = {"swept": (0.25, 0.75), "shield": (0.40, 0.50), "parabolic": (0.50, 0.35)}
"""Tip chord and setback of the leading edge, as shares of the root chord."""
_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_INCH, "ft": 304.8}
_LEAST, _MOST = 0.05, 2000.0
_MOST_VANES = 12
_STOPPED = "STOP: do not build this. It is drawn for comparison only."
_NEAREST = "No build satisfies every must. The nearest is drawn for comparison only."
_BROKEN = "This build breaks a must. It is drawn as stated, for comparison only."


class Facts:
    """The facts of a Decision as a draughtsman asks for them."""

    def __init__(self, decision: Decision) -> None:
        self._places = (decision.build, decision.given, decision.numbers, decision.assumed)
        self._assumed = decision.assumed
        broken = _BROKEN if decision.builds == 1 else _NEAREST
        self.banner = {"stopped": _STOPPED, "rejected": broken}.get(decision.status, "")

    def value(self, name: str) -> FactValue | None:
        """Return a fact's value, whatever it is and wherever it came from."""
        for place in self._places:
            if name in place:
                return place[name]
        return None

    def number(self, name: str) -> Number | None:
        """Return a fact that is a finite number."""
        value = self.value(name)
        if isinstance(value, Number) and isinstance(value.value, (int, float)):
            return value if math.isfinite(value.value) else None
        return None

    def mm(self, name: str, *, zero: bool = False) -> float | None:
        """Return a length in mm; None if it is unknown or no length a thing can have."""
        number = self.number(name)
        if number is None or number.unit not in _MM:
            return None
        length = number.value * _MM[number.unit]
        if zero and length == 0:
            return 0.0
        return length if _LEAST <= length <= _MOST else None

    def degrees(self, name: str) -> float | None:
        """Return an angle in degrees, from none at all to two whole turns."""
        number = self.number(name)
        if number is None or number.unit != "deg":
            return None
        return number.value if 0 <= number.value <= 720 else None

    def count(self, name: str, least: int = 1) -> int | None:
        """Return a count that can be drawn."""
        number = self.number(name)
        if number is None or number.value != int(number.value):
            return None
        return int(number.value) if least <= number.value <= _MOST_VANES else None

    def word(self, name: str) -> str:
        """Return a choice, or an empty text."""
        value = self.value(name)
        return value if isinstance(value, str) else ""

    def star(self, name: str) -> str:
        """Return the mark of a fact that is assumed or rests on something assumed."""
        value = self.value(name)
        resting = isinstance(value, Number) and bool(value.rests_on)
        return "*" if resting or (name in self._assumed and value is self._assumed[name]) else ""

    def amount(self, name: str) -> str:
        """Say a computed number with its unit and band; empty if it is not known."""
        number = self.number(name)
        return amount(number) + self.star(name) if number is not None else ""


class Vanes:
    """The tail as far as it is known, in mm and degrees."""

    def __init__(self, facts: Facts) -> None:
        self.count = facts.count("fletching.count")
        self.length = facts.mm("vane.length")
        self.height = facts.mm("vane.height")
        self.silhouette = facts.word("vane.silhouette")
        self.thickness = facts.mm("vane.thickness")
        self.foot_width = facts.mm("vane.foot_width")
        self.rear_gap = facts.mm("fletching.rear_gap", zero=True)
        self.diameter = surface(facts)
        offset = facts.degrees("fletching.offset")
        direction = facts.word("fletching.direction")
        if direction == "straight":
            offset = 0.0
        self.offset = offset if offset is None or offset <= 60 else None
        self.side = {"right": 1, "left": -1, "straight": 0}.get(direction)
        if self.offset == 0:
            self.side = 0
        self.direction = direction
        self.clamp = facts.word("bench.clamp")

    @property
    def lean(self) -> float | None:
        """The offset in radians, positive to the right as seen from the nock; None if unknown."""
        if self.offset is None or self.side is None:
            return None
        return math.radians(self.offset) * self.side

    def missing(self) -> list[str]:
        """Say what of a vane is not known and how it is drawn from the side instead."""
        notes = []
        if self.count is None:
            notes.append("Number of vanes not stated: one is drawn.")
        if self.height is None:
            notes.append("Vane height not stated: the feet alone are drawn.")
        elif self.silhouette not in SILHOUETTES:
            notes.append("Outline of the vane not stated: the box it fits in is drawn, dashed.")
        return notes


def surface(facts: Facts) -> float | None:
    """Return the diameter the vanes stand on: over the wrap if the numbers count it, or bare."""
    bare = facts.mm("shaft.outside_diameter")
    over = facts.mm("wrap.outside_diameter")
    reach, height = facts.mm("fletching.rear_radius"), facts.mm("vane.height")
    if bare and over and reach and height and abs(reach - height - over / 2) < 0.02:
        return over
    return bare


def inches(mm: float) -> str:
    """Say a length in inches, to a thousandth at best."""
    return f"{digits(round(mm / MM_PER_INCH, 3), 4)} in"


def millimetres(mm: float) -> str:
    """Say a length in millimetres, to three digits."""
    return f"{digits(mm, 3)} mm"


def angle(degrees: float) -> str:
    """Say an angle in degrees, to a hundredth at best."""
    return f"{digits(round(degrees, 2), 4)} deg"


def both(mm: float) -> str:
    """Say a length as a builder reads it: inches, and millimetres behind them."""
    return f"{inches(mm)} ({millimetres(mm)})"
