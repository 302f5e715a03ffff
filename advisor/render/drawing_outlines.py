"""Outlines of vanes and heads in millimetres, as points (along, across).

A vane has the outline its silhouette is named for, in the length and the height stated, and covers
the area of the trapezoid that the flight model reckons with in its stead. The blades are the
model's own fins; a head's body is its nose drawn over the whole exposed length. They show sizes and
kinds of shape, not a maker's shape.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

from advisor.render.drawing_facts import SILHOUETTES, Facts, both

Point = tuple[float, float]

_OUTER_CHORD = 0.10
_OVERHANG = 6.0  # mm a blade may reach back over the shaft before its sizes are doubted
_STEPS = 12
_SHIELD_CORNER = 0.04  # where a shield is highest, as a share of its length ahead of the rear
_SHIELD_HOLLOW = 0.06  # how far its rear edge is cut in, at half its height
_PARABOLIC_TOP = 0.36  # where a parabolic vane is highest


class VaneOutline(NamedTuple):
    """A vane's two edges: up from the rear of its foot, and down to the front of it."""

    rear: tuple[Point, ...]
    front: tuple[Point, ...]

    @property
    def points(self) -> list[Point]:
        """The whole way over the vane, from the rear of its foot to the front of it."""
        joined = self.front[1:] if self.front[0] == self.rear[-1] else self.front
        return [*self.rear, *joined]


def vane(length: float, height: float, silhouette: str) -> VaneOutline:
    """Return a vane's outline in the unit of its length and height.

    A swept vane is the straight-edged trapezoid of the model, upright behind. A shield is cut off
    behind in a shallow hollow that ends in a corner, and falls in a curve to the front. A parabolic
    one is rounded all over. An unknown silhouette comes back as the box it fits in.
    """
    if silhouette == "shield":
        share = _shield()
    elif silhouette == "parabolic":
        share = _parabolic()
    else:
        tip, setback = SILHOUETTES.get(silhouette, (1.0, 0.0))
        rear = max(0.0, 1 - setback - tip)
        share = VaneOutline(((0.0, 0.0), (rear, 1.0)), ((1 - setback, 1.0), (1.0, 0.0)))

    def sized(edge: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple((along * length, up * height) for along, up in edge)

    return VaneOutline(sized(share.rear), sized(share.front))


def _shield() -> VaneOutline:
    corner, half = _SHIELD_CORNER, _STEPS // 2
    rear = []
    for step in range(half + 1):
        up = step / half
        rear.append((corner * up + _SHIELD_HOLLOW * 4 * up * (1 - up), up))
    # Behind the edge lie half the corner's share, and two thirds of the hollow's depth.
    hidden = corner / 2 + _SHIELD_HOLLOW * 2 / 3
    power = _power(_model_share("shield") + hidden - corner, 1 - corner)
    return VaneOutline(tuple(rear), _fall(corner, power))


def _parabolic() -> VaneOutline:
    top = _PARABOLIC_TOP
    turns = [math.pi / 2 * step / _STEPS for step in range(_STEPS + 1)]
    rear = tuple((top * (1 - math.cos(turn)), math.sin(turn)) for turn in turns)
    power = _power(_model_share("parabolic") - top * math.pi / 4, 1 - top)
    return VaneOutline(rear, _fall(top, power))


def _model_share(silhouette: str) -> float:
    """Return how much of its box a silhouette's trapezoid in the flight model fills."""
    tip, _ = SILHOUETTES[silhouette]
    return (1 + tip) / 2


def _power(area: float, long: float) -> float:
    """Return the power n whose curve 1 - x^n covers an area over a length; n / (n + 1) of it."""
    return area / (long - area)


def _fall(top: float, power: float) -> tuple[Point, ...]:
    """Return the curve from the highest place down to the front of the foot."""
    steps = 2 * _STEPS
    # Closer together toward the front, where the curve is steepest.
    shares = [math.sin(math.pi / 2 * step / steps) for step in range(steps + 1)]
    return tuple((top + (1 - top) * x, max(0.0, 1 - x**power)) for x in shares)


def nose(length: float, radius: float, shape: str) -> list[Point]:
    """Return the upper half of a nose from its base (0, radius) to its tip (length, 0)."""
    if shape != "ogive" or radius >= length:
        return [(0.0, radius), (length, 0.0)]
    curve = (radius * radius + length * length) / (2 * radius)
    return [
        (
            length * step / _STEPS,
            max(0.0, math.sqrt(curve**2 - (length * step / _STEPS) ** 2) + radius - curve),
        )
        for step in range(_STEPS + 1)
    ]


class Head:
    """A head drawn from its facts; `along` runs forward from the shaft's front end."""

    def __init__(self, facts: Facts, shaft_radius: float) -> None:
        self.kind = facts.word("point.type")
        self.length = facts.mm("point.length")
        self.blades = facts.count("point.blades", 0)
        self.bladed = self.kind in ("fixed-blade", "mechanical")
        closed = self.kind == "mechanical"
        self.width_fact = "point.closed_width" if closed else "point.cutting_width"
        self.width = facts.mm(self.width_fact) if self.bladed else None
        self.open_width = facts.mm("point.cutting_width") if closed else None
        self.diameter = None if self.bladed else facts.mm("point.diameter")
        self.radius = self.diameter / 2 if self.diameter else shaft_radius
        self.blade_length = facts.mm("point.blade_length") if self.bladed else None
        self.blade_start = facts.mm("point.blade_start", zero=True) if self.bladed else None
        self.shape = facts.word("point.nose") or "ogive"

    @property
    def reach(self) -> float:
        """How far the head stands out from the axis, in mm."""
        return max(self.radius, self.width / 2 if self.width else 0.0)

    def body(self) -> list[Point]:
        """Return the upper half of the body from its base to its tip; empty without a length."""
        if self.length is None:
            return []
        if self.kind == "blunt":
            bevel = min(self.length, self.radius) * 0.12
            flat = self.length - bevel
            return [
                (0.0, self.radius),
                (flat, self.radius),
                (self.length, self.radius - bevel),
                (self.length, 0.0),
            ]
        return nose(self.length, self.radius, self.shape)

    def blade_is_known(self) -> bool:
        """Tell whether a blade's place and length are known, and lie on the head."""
        if self.length is None or self.blade_length is None or self.blade_start is None:
            return False
        return self.blade_start + self.blade_length <= self.length + _OVERHANG

    def blade(self) -> list[Point]:
        """Return one blade seen flat, from the rear of its root round to the front.

        Where length or place is unknown it runs from the base to the tip: to be drawn as a guess.
        """
        if self.length is None or self.width is None:
            return []
        front, rear = self.length, 0.0
        if self.blade_is_known():
            front -= self.blade_start or 0.0
            rear = front - (self.blade_length or 0.0)
        outer = self.width / 2
        chord = (front - rear) * _OUTER_CHORD
        return [
            (rear, self._body_radius(rear)),
            (rear, outer),
            (rear + chord, outer),
            (front, self._body_radius(front)),
        ]

    def turns(self) -> list[float]:
        """Return how far each blade is seen out from the axis, as cosines; the first is whole."""
        n = self.blades or 2
        return [math.cos(2 * math.pi * i / n) for i in range(n)]

    def widest_at(self) -> float:
        """Return where along the head it is widest, in mm ahead of the shaft."""
        blade = self.blade()
        return blade[1][0] if blade else 0.0

    def across(self) -> tuple[float | None, str]:
        """Return the head's width in mm, if it is known, and the word for it."""
        if not self.bladed:
            return self.diameter, "across"
        return self.width, "closed" if self.kind == "mechanical" else "cuts"

    def words(self) -> str:
        """Name the head with its blades."""
        kind = self.kind.replace("-", " ") or "of a kind not stated"
        if not self.bladed or self.blades is None:
            return kind
        return f"{kind}, {self.blades} blade{'' if self.blades == 1 else 's'}"

    def missing(self) -> list[str]:
        """Say what of the head is not known and how it is drawn instead."""
        if not self.bladed:
            return [] if self.diameter else ["Head diameter not stated: the shaft's is drawn."]
        notes = []
        if self.width is None:
            what = "Closed" if self.kind == "mechanical" else "Cutting"
            notes.append(f"{what} width of the head not stated: its blades are left out.")
        elif not self.blade_is_known():
            stated = self.blade_length is not None and self.blade_start is not None
            why = "that fit the head are not" if stated else "of the blades not"
            notes.append(f"Length and place {why} stated: their outline is dashed.")
        if self.width is not None and self.blades is None:
            notes.append("Number of blades not stated: the outline in one plane is drawn.")
        if self.width is not None and self.blades is not None and self.blades % 2 == 1:
            notes.append("The width of the head is that of the circle round its blades.")
        if self.open_width is not None:
            opened = f"open they cut {both(self.open_width)}"
            notes.append(f"Blades are drawn closed, as they fly; {opened}.")
        return notes

    def _body_radius(self, along: float) -> float:
        """Return the body's radius at a place, by the straight lines it is drawn with."""
        points = self.body()
        if along <= 0:
            return points[0][1]
        for (a, ra), (b, rb) in pairwise(points):
            if a <= along <= b and b > a:
                return ra + (rb - ra) * (along - a) / (b - a)
        return 0.0
