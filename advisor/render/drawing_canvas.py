"""A sheet to draw on: lines, outlines, texts and dimensions as SVG elements, in pixels.

Line styles carry the meaning, so that a drawing reads the same in grey: whole lines are edges,
dashed ones are not there or not measured, dash and dot are axes. Everything that is text comes
through `escape`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import NamedTuple

from advisor.render.drawing_facts import MM_PER_INCH
from advisor.render.drawing_outlines import Point
from advisor.render.numbers import digits

WIDTH = 760.0
MARGIN = 28.0
TEXT = 13.0  # pixels; sheet_style says how large that is in print
_LETTER = 0.53  # mean width of a letter in sizes of type, on the wide side for common sans serifs
_SURELY = 0.85  # share of that width a text surely fills
_TIP = 7.0
_SHORT = 2.4 * _TIP  # arrowheads of a shorter dimension stand outside it
_AMOUNT = re.compile(r"(?<=\d) (?=(?:mm|in|deg|m|%|\+/-)\b)|(?<=\+/-) | (?=\+/-)")
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class Picture(NamedTuple):
    """A finished drawing before it becomes a document."""

    name: str
    title: str
    description: str
    height: float
    body: str


def escape(text: str) -> str:
    """Make a text safe inside an element; what XML cannot hold becomes a replacement mark."""
    text = _NOT_XML.sub("\ufffd", text)
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def px(value: float) -> str:
    """Write a coordinate to a hundredth."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def text_width(text: str, size: float = TEXT) -> float:
    """Return about how wide a text will be."""
    return len(text) * size * _LETTER


def broken(text: str, most: int) -> list[str]:
    """Break a text into lines; a number stays with its unit and its band."""
    return wrap(_AMOUNT.sub("\u00a0", text), most)


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Move centres of labels apart, in their order, as little as keeps them within two bounds."""
    before = [sum(sizes[:at]) + size / 2 for at, size in enumerate(sizes)]
    # Labels that would stand on one another stand side by side about the middle of their places.
    groups: list[tuple[float, int]] = []  # where a group's row begins, and how many stand in it
    for centre, back in zip(wanted, before, strict=True):
        start, many = centre - back, 1
        while groups and groups[-1][0] > start:
            other, more = groups.pop()
            start, many = (start * many + other * more) / (many + more), many + more
        groups.append((start, many))
    starts = [
        min(max(start, low), high - sum(sizes)) for start, many in groups for _ in range(many)
    ]
    return [start + back for start, back in zip(starts, before, strict=True)]


def label_place(x1: float, x2: float, label: str, *, left: bool) -> tuple[float, float, bool]:
    """Return from where to where a dimension's label goes, and whether that is on its line."""
    wide = text_width(label)
    if wide + 8 <= x2 - x1:
        middle = (x1 + x2) / 2
        return middle - wide / 2, middle + wide / 2, True
    out = 2 * _TIP + 4 if x2 - x1 < _SHORT else 6
    if left or x2 + out + wide > WIDTH - 8:
        return x1 - out - wide, x1 - out, False
    return x2 + out, x2 + out + wide, False


class Canvas:
    """Elements in the order they are drawn, and a place to go on downward."""

    def __init__(self) -> None:
        self.parts: list[str] = []
        self.labels: list[str] = []  # drawn last, so that no line runs through a label
        self.y = 0.0

    # Elements

    def line(self, a: Point, b: Point, style: str) -> None:
        """Draw a straight line."""
        ends = f'x1="{px(a[0])}" y1="{px(a[1])}" x2="{px(b[0])}" y2="{px(b[1])}"'
        self.parts.append(f'<line class="{style}" {ends}/>')

    def polygon(self, points: Iterable[Point], style: str) -> None:
        """Draw a closed outline."""
        self.parts.append(f'<polygon class="{style}" points="{_points(points)}"/>')

    def polyline(self, points: Iterable[Point], style: str, width: float | None = None) -> None:
        """Draw an open line, of its own width if one is given."""
        own = "" if width is None else f' stroke-width="{px(width)}"'
        self.parts.append(f'<polyline class="{style}" points="{_points(points)}"{own}/>')

    def circle(self, centre: Point, radius: float, style: str) -> None:
        """Draw a circle."""
        at = f'cx="{px(centre[0])}" cy="{px(centre[1])}" r="{px(radius)}"'
        self.parts.append(f'<circle class="{style}" {at}/>')

    def path(self, way: str, style: str) -> None:
        """Draw what only a path can."""
        self.parts.append(f'<path class="{style}" d="{way}"/>')

    def text(self, at: Point, text: str, style: str = "", anchor: str = "start") -> None:
        """Write a line of text; `anchor` is start, middle or end."""
        kind = f' class="{style}"' if style else ""
        side = "" if anchor == "start" else f' text-anchor="{anchor}"'
        place = f'x="{px(at[0])}" y="{px(at[1])}"'
        over = self.labels if "halo" in style else self.parts
        over.append(f"<text{kind} {place}{side}>{escape(text)}</text>")

    # Parts of a page

    def heading(self, title: str, banner: str) -> None:
        """Write the drawing's title and, under it, what must be read first."""
        self.y += 22
        self.text((MARGIN, self.y), title, "title")
        if banner:
            self.y += 19
            self.text((MARGIN, self.y), banner, "strong")

    def notes(self, notes: Iterable[str]) -> None:
        """Write small print under what was drawn, one note behind the other."""
        most = int((WIDTH - 2 * MARGIN) / text_width("x"))
        self.y += 3
        starred = any("*</text>" in part for part in [*self.parts, *self.labels])
        footnote = ["* assumed, or rests on something assumed."] if starred else []
        for line in broken(" ".join([*notes, *footnote]), most):
            self.y += 16
            self.text((MARGIN, self.y), line, "small")
        self.y += 10

    def finish(
        self, name: str, title: str, banner: str, told: Iterable[str], notes: Sequence[str]
    ) -> Picture:
        """Write the small print and return the drawing with all it shows told in words."""
        self.notes(notes)
        sentences = [text.rstrip(".") for text in (banner, *told, *notes) if text]
        words = " ".join(f"{text[0].upper()}{text[1:]}." for text in sentences)
        words = words.replace("*", " (assumed, or rests on something assumed)")
        return Picture(name, title, words, self.y, "\n".join([*self.parts, *self.labels]))

    def scale_bar(self, y: float, scale: float) -> None:
        """Draw a bar at the right edge that says how long an inch is; `scale` is pixels a mm."""
        inch = next((n for n in (0.25, 0.5, 1, 2, 5, 10) if n * MM_PER_INCH * scale >= 60), 20)
        long = inch * MM_PER_INCH * scale
        right = WIDTH - MARGIN
        self.line((right - long, y), (right, y), "outline scale-bar")
        for x in (right - long, right):
            self.line((x, y - 4), (x, y + 4), "outline")
        words = f"{digits(inch, 3)} in, {digits(inch * MM_PER_INCH, 4)} mm"
        self.text((right - long - 8, y + 4), words, "small", "end")

    # Dimensions

    def tip(self, at: Point, angle: float) -> None:
        """Draw an arrowhead at a point, pointing along an angle in radians."""
        back = (at[0] - _TIP * math.cos(angle), at[1] - _TIP * math.sin(angle))
        aside = (2.2 * math.sin(angle), -2.2 * math.cos(angle))
        self.polygon(
            [
                at,
                (back[0] + aside[0], back[1] + aside[1]),
                (back[0] - aside[0], back[1] - aside[1]),
            ],
            "tip",
        )

    def span(self, a: Point, b: Point) -> None:
        """Draw a dimension line between two points, its arrowheads outside where it is short."""
        angle = math.atan2(b[1] - a[1], b[0] - a[0])
        step = (math.cos(angle), math.sin(angle))
        if math.dist(a, b) >= _SHORT:
            self.line(a, b, "dim")
            self.tip(a, angle + math.pi)
            self.tip(b, angle)
            return
        out = 2 * _TIP
        self.line((a[0] - out * step[0], a[1] - out * step[1]), a, "dim")
        self.line(b, (b[0] + out * step[0], b[1] + out * step[1]), "dim")
        self.tip(a, angle)
        self.tip(b, angle + math.pi)

    def across(
        self, x1: float, x2: float, y: float, label: str, tops: Point, *, left: bool = False
    ) -> None:
        """Dimension a length along the page, with witness lines down from two heights.

        The label stands on the line if it fits there, else beside it.
        """
        for x, top in zip((x1, x2), tops, strict=True):
            self.line((x, top), (x, y + 4), "witness")
        self.span((x1, y), (x2, y))
        start, end, inside = label_place(x1, x2, label, left=left)
        if inside:
            self.text(((start + end) / 2, y - 4), label, "halo", "middle")
            return
        # Witness lines of other rows come down here; a halo leaves bits of them between letters.
        wide = (end - start) * _SURELY
        ground = end - wide if end < x1 else start
        size = f'width="{px(wide)}" height="15"'
        self.labels.append(f'<rect class="paper" x="{px(ground)}" y="{px(y - 7)}" {size}/>')
        if end < x1:
            self.text((end, y + 4), label, "halo", "end")
        else:
            self.text((start, y + 4), label, "halo")

    def upright(
        self,
        y1: float,
        y2: float,
        x: float,
        label: Sequence[str],
        starts: Point,
        *,
        left: bool = True,
        low: float = math.inf,
    ) -> None:
        """Dimension a length up the page, with witness lines from two places and a label aside.

        The label's last line stands no lower than `low`.
        """
        toward = -4 if left else 4
        for y, start in zip((y1, y2), starts, strict=True):
            self.line((start, y), (x + toward, y), "witness")
        self.span((x, y1), (x, y2))
        at = x + 2 * toward
        top = min((y1 + y2) / 2 + 4 + 7.5 * (len(label) - 1), low) - 15 * (len(label) - 1)
        for row, words in enumerate(label):
            self.text((at, top + 15 * row), words, "halo", "end" if left else "start")

    def break_line(self, x: float, y: float, half: float) -> None:
        """Draw the wave that says a part goes on."""
        half += 4
        rows = [(-half, 0.0), (-half / 2, 3.0), (0.0, 0.0), (half / 2, -3.0), (half, 0.0)]
        self.polyline([(x + dx, y + dy) for dy, dx in rows], "thin")


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{px(x)},{px(y)}" for x, y in points)
