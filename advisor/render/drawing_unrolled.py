"""The shaft's surface under the feet, cut open along the shaft and laid flat.

It is seen from outside with the head to the right. Looking forward from the nock, clockwise then
runs down the page: a foot that leans to the right goes down toward the head.
"""

from __future__ import annotations

import math

from advisor.render.drawing_canvas import (
    WIDTH,
    Canvas,
    Picture,
    px,
    spread,
)
from advisor.render.drawing_facts import Facts, Vanes, angle, both, millimetres
from advisor.render.drawing_glue import draw_glue_line
from advisor.render.drawing_outlines import Point
from advisor.render.numbers import digits

_LEFT, _RIGHT = 100.0, 190.0
_BARE_BEHIND, _BARE_AHEAD = 56.0, 62.0  # bare shaft drawn beyond the feet, pixels
_ROOM_AT, _FOOT_AT, _SPACING_AT = 14.0, 30.0, 46.0  # their dimensions, ahead of the feet
_TALLEST, _LARGEST = 210.0, 7.0
_LEAN_AT = 8.0  # how far behind the feet their lean is dimensioned, pixels
_HALF_FOOT = 1.0  # mm, drawn dashed where no foot width is stated


def draw(facts: Facts) -> Picture:
    """Draw the unrolled surface with its feet."""
    return _Unrolled(facts).picture()


class _Unrolled:
    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.vanes = Vanes(facts)
        self.canvas = Canvas()
        self.notes: list[str] = []
        self.told: list[str] = []
        vanes = self.vanes
        self.length = vanes.length or 0.0
        self.lean = vanes.lean or 0.0
        self.round = math.pi * vanes.diameter if vanes.diameter else None
        self.count = vanes.count if vanes.count and self.round else 1
        self.half = vanes.foot_width / 2 if vanes.foot_width else _HALF_FOOT
        self.foot_style = "foot" if vanes.foot_width else "foot guess"
        along = self.length * math.cos(self.lean)
        aside = self.length * math.sin(abs(self.lean))
        self.deep = self.round or aside + 4 * self.half
        room = WIDTH - _LEFT - _RIGHT - _BARE_BEHIND - _BARE_AHEAD
        self.scale = min(room / max(along, 1.0), _TALLEST / self.deep, _LARGEST)
        self.rear = _LEFT + _BARE_BEHIND
        self.front = self.rear + along * self.scale
        self.end = self.front + _BARE_AHEAD
        self.top = 0.0

    def picture(self) -> Picture:
        canvas, vanes = self.canvas, self.vanes
        title = "The shaft's surface unrolled"
        canvas.heading(title, self.facts.banner)
        self._missing()
        if vanes.length is not None and vanes.lean is not None:
            canvas.scale_bar(17, self.scale)
            self.top = canvas.y + 36
            self._surface()
            self._feet()
            self._aside()
            self._beside()
            canvas.y = self.top + self.deep * self.scale + 8
            self._below()
            ends = (self.rear, self.front, self.scale)
            draw_glue_line(canvas, self.facts, vanes, ends, self.told, self.notes)
        return canvas.finish("unrolled", title, self.facts.banner, self.told, self.notes)

    def _missing(self) -> None:
        vanes, notes = self.vanes, self.notes
        if vanes.length is None:
            notes.append("Vane length not stated: the feet are left out.")
        if vanes.lean is None:
            notes.append("Side or offset not stated: the feet are left out.")
        if vanes.length is None or vanes.lean is None:
            return
        notes.append("Seen from outside; clockwise, looking forward from the nock, runs down.")
        if self.round is not None and vanes.count is not None:
            notes.append("A dot marks the cock vane.")
        if self.round is None:
            notes.append("Shaft diameter not stated: one foot alone is drawn.")
        elif vanes.count is None:
            notes.append("Number of vanes not stated: one foot alone is drawn.")
        if vanes.foot_width is None:
            notes.append(f"Foot width not stated: {digits(2 * self.half, 2)} mm is drawn, dashed.")

    # The surface and its feet

    def _surface(self) -> None:
        canvas, low = self.canvas, self.top + self.deep * self.scale
        canvas.text((_LEFT, self.top - 18), "to the nock", "small")
        canvas.text((self.end, self.top - 18), "to the head", "small", "end")
        if self.round is None:
            return
        box = [(_LEFT, self.top), (self.end, self.top), (self.end, low), (_LEFT, low)]
        canvas.polygon(box, "surface")
        words = (millimetres(self.round), "round")
        canvas.upright(self.top, low, _LEFT - 14, words, (_LEFT, _LEFT))
        self.told.append(f"The surface is {both(self.round)} round")

    def middle(self, place: int) -> float:
        """Return how far down the surface a foot's front end is, in mm."""
        return (place + 0.5) * self.deep / self.count

    def foot(self, place: int, turns: int = 0) -> list[Point]:
        """Return a foot's corners in pixels; `turns` moves it round the shaft."""
        half = self.half / math.cos(self.lean)
        ahead = self.middle(place) + turns * self.deep
        if self.round is None:
            ahead = self.deep / 2 + self.length * math.sin(self.lean) / 2
        behind = ahead - self.length * math.sin(self.lean)
        corners = [
            (self.rear, behind - half),
            (self.front, ahead - half),
            (self.front, ahead + half),
            (self.rear, behind + half),
        ]
        return [(x, self.top + y * self.scale) for x, y in corners]

    def _feet(self) -> None:
        canvas = self.canvas
        high = self.deep * self.scale
        box = f"{px(_LEFT)} {px(self.top)} {px(self.end - _LEFT)} {px(high)}"
        place = f'x="{px(_LEFT)}" y="{px(self.top)}" '
        place += f'width="{px(self.end - _LEFT)}" height="{px(high)}"'
        # An inner svg cuts off what runs over the edge; the other end shows it again.
        canvas.parts.append(f'<svg class="flat" {place} viewBox="{box}">')
        around = 1 + int(self.length * math.sin(abs(self.lean)) / self.deep) if self.round else 0
        for place_of_foot in range(self.count):
            for turns in range(-around, around + 1):
                corners = self.foot(place_of_foot, turns)
                if all(y <= self.top for _, y in corners):
                    continue
                if all(y >= self.top + high for _, y in corners):
                    continue
                canvas.polygon(corners, self.foot_style + (" again" if turns else ""))
        canvas.parts.append("</svg>")
        if self.round is not None:
            for y in (self.top, self.top + high):
                canvas.line((_LEFT, y), (self.end, y), "cut")
        if self.round is not None and self.vanes.count:
            y = self._middle_of(self.foot(self._shown()))
            canvas.circle((self.front - 10, y - 10 * math.tan(self.lean)), 3.5, "ink cock-mark")

    def _shown(self) -> int:
        """Return the foot whose lean is dimensioned: the one with most room behind it."""
        return self.count - 1 if self.lean > 0 else 0

    def _aside(self) -> None:
        """Show the offset against a line along the shaft through a foot's front end."""
        canvas, vanes = self.canvas, self.vanes
        if not self.lean:
            self.told.append("The feet stand straight along the shaft")
            return
        corners = self.foot(self._shown())
        ahead = self._middle_of(corners)
        low = self.top + self.deep * self.scale
        # A foot that winds far round runs over the cut; its lean is shown as far as the cut.
        room = ahead - self.top if self.lean > 0 else low - ahead
        far = max(self.rear - _LEAN_AT, self.front - room / math.tan(abs(self.lean)))
        behind = ahead - (self.front - far) * math.tan(self.lean)
        canvas.line((far - 12, ahead), (self.front + 6, ahead), "axis")
        canvas.line((far, behind), (self.front, ahead), "axis")
        canvas.span(*sorted(((far, ahead), (far, behind)), key=lambda point: point[1]))
        words = angle(vanes.offset or 0.0)
        canvas.text((far - 6, (ahead + behind) / 2 + 4), words, "halo", "end")
        over = self.length * math.sin(abs(self.lean))
        self.notes.append(
            f"Offset {words}: seen from the nock the front end of a foot stands "
            f"{millimetres(over)} to the {vanes.direction} of its rear end."
        )

    def _beside(self) -> None:
        """Dimension foot, room and spacing ahead of the feet, and write them beside."""
        canvas, vanes, facts = self.canvas, self.vanes, self.facts
        near, far = self.front + _ROOM_AT, self.front + _SPACING_AT
        labels: list[tuple[float, float, str]] = []
        last = self.count - 1
        first = self.foot(0)
        if vanes.foot_width is not None:
            corners, x = self.foot(min(1, last)), self.front + _FOOT_AT
            a, b = self._ahead(corners[0], corners[1], x), self._ahead(corners[3], corners[2], x)
            self._between(corners[1], corners[2], a, b)
            words = f"foot {millimetres(vanes.foot_width)}{facts.star('vane.foot_width')} wide"
            labels.append((x, (a[1] + b[1]) / 2, words))
            self.told.append(words)
        if self.round is None or vanes.count is None or last < 1:
            self._beside_labels(labels)
            return
        room = facts.number("fletching.root_space")
        if room is not None and vanes.foot_width is not None:
            second = self.foot(1)
            a, b = self._ahead(first[3], first[2], near), self._ahead(second[0], second[1], near)
            self._between(first[2], second[1], a, b)
            told = facts.amount("fletching.root_space")
            words = f"room {told}" if room.value >= 0 else f"overlap {told.lstrip('-')}"
            labels.append((near, (a[1] + b[1]) / 2, words))
            self.told.append(f"Between two feet: {words}")
        above, below = (self._middle_of(self.foot(last - 1)), self._middle_of(self.foot(last)))
        for y in (above, below):
            canvas.line((self.front, y), (far + 4, y), "witness")
        canvas.span((far, above), (far, below))
        words = f"spacing {millimetres(self.deep / self.count)}"
        labels.append((far, (above + below) / 2, words))
        self.told.append(f"Feet are spaced {millimetres(self.deep / self.count)} round the shaft")
        self._beside_labels(labels)

    def _middle_of(self, corners: list[Point]) -> float:
        return (corners[1][1] + corners[2][1]) / 2

    def _ahead(self, rear: Point, front: Point, x: float) -> Point:
        """Return where the line through a foot's edge comes to, further ahead."""
        slope = (front[1] - rear[1]) / (front[0] - rear[0])
        return (x, front[1] + slope * (x - front[0]))

    def _between(self, one: Point, two: Point, a: Point, b: Point) -> None:
        for start, end in ((one, a), (two, b)):
            slope = (end[1] - start[1]) / (end[0] - start[0])
            self.canvas.line(start, (end[0] + 4, end[1] + 4 * slope), "witness")
        self.canvas.span(*sorted((a, b), key=lambda point: point[1]))

    def _beside_labels(self, labels: list[tuple[float, float, str]]) -> None:
        labels.sort(key=lambda label: label[1])
        left = self.end + 22
        low = self.top + max(self.deep * self.scale, 17.0 * len(labels))
        places = spread([label[1] for label in labels], [17.0] * len(labels), self.top - 8, low + 8)
        for (x, y, words), place in zip(labels, places, strict=True):
            self.canvas.circle((x, y), 1.8, "tip")
            self.canvas.line((x, y), (left - 5, place), "witness")
            self.canvas.text((left, place + 4), words, "halo")

    def _below(self) -> None:
        canvas, vanes, facts = self.canvas, self.vanes, self.facts
        corners = self.foot(self.count - 1)
        starts = (min(corners[3][1], canvas.y), min(corners[2][1], canvas.y))
        canvas.y += 24
        words = f"foot {both(self.length)} long{facts.star('vane.length')}"
        canvas.across(self.rear, self.front, canvas.y, words, starts)
        self.told.append(words)
        if vanes.rear_gap is not None:
            canvas.y += 18
            words = f"rear ends {both(vanes.rear_gap)} ahead of the nock throat"
            canvas.text((_LEFT, canvas.y), words)
            self.told.append(words)
