"""The parts of an arrow as they are seen from its side: nock, shaft, vanes, head."""

from __future__ import annotations

import math

from advisor.render import drawing_outlines as outlines
from advisor.render.drawing_canvas import Canvas
from advisor.render.drawing_facts import SILHOUETTES, Facts, Vanes
from advisor.render.drawing_outlines import Head, Point, VaneOutline

GUESSED_RADIUS = 3.0  # mm; drawn dashed, and said, where no diameter is stated
EARS = 6.4  # how far a nock is drawn behind its throat, mm: for the eye only
_EDGE_ON = 0.02  # a vane whose cosine is smaller is seen on its edge


class Parts:
    """Draws parts of one arrow at any scale; `scale` is pixels a millimetre throughout."""

    def __init__(self, canvas: Canvas, facts: Facts) -> None:
        self.canvas = canvas
        self.facts = facts
        self.vanes = vanes = Vanes(facts)
        self.throat = facts.mm("nock.throat", zero=True)
        self.length = facts.mm("shaft.length")
        self.notes: list[str] = []  # small print
        self.told: list[str] = []  # what the drawing shows, in words
        bare = facts.mm("shaft.outside_diameter")
        self.radius = bare / 2 if bare else GUESSED_RADIUS
        self.root = vanes.diameter / 2 if vanes.diameter else self.radius
        self.shaft_style = "shaft" if bare else "guess shaft"
        self.head = Head(facts, self.radius)

    def reach(self) -> float:
        """How far the arrow stands out from its axis, in mm."""
        vane = self.root + (self.vanes.height or 0.0) if self.vanes.length else 0.0
        return max(self.radius, vane, self.head.reach if self.head.length else 0.0)

    def profile(self) -> VaneOutline:
        """Return the vane's outline as far as it is known; its height is zero if it is not."""
        vanes = self.vanes
        return outlines.vane(vanes.length or 0.0, vanes.height or 0.0, vanes.silhouette)

    def nock(self, throat: float, tube: float, axis: float, scale: float) -> None:
        """Draw a nock between two places: where the string sits, and the end of the tube."""
        half = self.radius * 0.92 * scale
        slot = min(1.3, self.radius * 0.45) * scale
        end = throat - EARS * scale
        upper = [(tube, -half), (end, -half), (end, -slot), (throat, -slot)]
        lower = [(x, -y) for x, y in reversed(upper)]
        self.canvas.polygon([(x, axis + y) for x, y in upper + lower], "nock")

    def tail(
        self,
        shaft: Point,
        rear: float | None,
        axis: float,
        scale: float,
        where: str,
        *,
        whole: bool = True,
    ) -> None:
        """Draw the shaft between two places, and the vanes from the rear of their feet."""
        turns = self._turns() if rear is not None and self.vanes.length else []
        for turn in turns:
            if math.sin(turn) < 0 and not _is_edge_on(turn):
                self._vane(rear or 0.0, turn, axis, scale, where)
        self._bar(shaft, axis, self.radius * scale, self.shaft_style)
        long = self.facts.mm("wrap.length")
        if long and whole:
            end = min(shaft[1], shaft[0] + long * scale)
            self._bar((shaft[0], end), axis, self.root * scale, "wrap")
        for turn in turns:
            if math.sin(turn) >= 0:
                self._vane(rear or 0.0, turn, axis, scale, where)

    def stub(self, shaft: Point, axis: float, scale: float) -> None:
        """Draw a piece of shaft without a tail."""
        self._bar(shaft, axis, self.radius * scale, self.shaft_style)

    def draw_head(self, front: float, axis: float, scale: float) -> None:
        """Draw the head from the shaft's front end forward."""
        head, canvas = self.head, self.canvas
        body = head.body()
        if not body:
            return

        def put(points: list[Point], turn: float) -> list[Point]:
            return [(front + u * scale, axis - v * turn * scale) for u, v in points]

        blade = head.blade()
        style = "blade" if head.blade_is_known() else "guess blade"
        if blade:
            for turn in head.turns():
                if abs(turn) < _EDGE_ON:
                    continue
                canvas.polygon(put(blade, turn), style)
        canvas.polygon(put(body, 1.0) + put(body, -1.0)[::-1], "head")
        if blade and any(abs(turn) < _EDGE_ON for turn in head.turns()):
            rear, tip = front + blade[0][0] * scale, front + blade[3][0] * scale
            canvas.line((rear, axis), (tip, axis), "outline" if head.blade_is_known() else "guess")

    def _turns(self) -> list[float]:
        """Return the angle of each vane from upright, clockwise as seen from the nock."""
        count = self.vanes.count or 1
        return [2 * math.pi * vane / count for vane in range(count)]

    def _vane(self, rear: float, turn: float, axis: float, scale: float, where: str) -> None:
        canvas, root = self.canvas, self.root * scale
        first = "cock " if turn == 0 else ""
        if not self.vanes.height:
            y = axis - root * math.cos(turn)
            canvas.line((rear, y), (rear + (self.vanes.length or 0) * scale, y), "foot-line")
            return
        style = f"vane {first}{where}"
        if self.vanes.silhouette not in SILHOUETTES:
            style += " guess"
        points = [(rear + u * scale, v * scale) for u, v in self.profile().points]
        if _is_edge_on(turn):
            half = (self.vanes.thickness or 0.4) / 2 * scale
            self._bar((points[0][0], points[-1][0]), axis, half, style)
            return
        lean = math.cos(turn)
        canvas.polygon([(x, axis - (root + v) * lean) for x, v in points], style)

    def _bar(self, ends: Point, axis: float, half: float, style: str) -> None:
        (a, b), top, low = ends, axis - half, axis + half
        self.canvas.polygon([(a, top), (b, top), (b, low), (a, low)], style)


def _is_edge_on(turn: float) -> bool:
    return abs(math.cos(turn)) < _EDGE_ON
