"""The whole arrow from the side, to scale, with its balance, its pressure points and lengths."""

from __future__ import annotations

from typing import NamedTuple

from advisor.render.drawing_canvas import MARGIN, WIDTH, px, spread, text_width
from advisor.render.drawing_facts import MM_PER_INCH, both
from advisor.render.drawing_outlines import Point
from advisor.render.drawing_parts import Parts
from advisor.render.numbers import digits

_ROW = 23.0
_LINE = 15.0  # from one line of a label to the next
_LARGEST = 3.0  # pixels a millimetre

_MARKS = (
    ("arrow.balance", ("balance point",), "balance"),
    ("steering.head_pressure_point", ("pressure point", "of the head"), "head"),
    ("steering.pressure_point", ("pressure point", "of the whole arrow"), "whole"),
    ("steering.vane_pressure_point", ("pressure point", "of the vanes"), "vanes"),
)


class _Mark(NamedTuple):
    at: float
    words: tuple[str, ...]
    shape: str


class Whole:
    """Draws one arrow from nock to tip."""

    def __init__(self, parts: Parts) -> None:
        self.parts = parts
        self.canvas, self.facts = parts.canvas, parts.facts
        self.vanes, self.head = parts.vanes, parts.head
        self.throat = parts.throat
        self.notes, self.told = parts.notes, parts.told

    def draw(self, length: float) -> None:
        """Draw the whole arrow from its shaft's length in mm."""
        canvas, facts, vanes, head = self.canvas, self.facts, self.vanes, self.head
        throat = self.throat or 0.0
        front = throat + length
        tip = front + (head.length or 0.0)
        left = MARGIN + 8
        scale = min((WIDTH - MARGIN - left) / tip, _LARGEST)
        canvas.scale_bar(17, scale)
        marks = self._marks(tip)
        up = self.parts.reach() * scale
        deep = _LINE * max((len(mark.words) for mark in marks), default=0)
        axis = canvas.y + 18 + up + (deep + 24 if marks else 0)

        def at(mm: float) -> float:
            return left + mm * scale

        canvas.line((left - 8, axis), (at(tip) + 8, axis), "axis")
        stands = vanes.rear_gap is not None and self.throat is not None
        rear = at(vanes.rear_gap or 0.0) if stands else None
        if self.throat is not None:
            self.parts.nock(left, at(throat), axis, scale)
        self.parts.tail((at(throat), at(front)), rear, axis, scale, "whole")
        self.parts.draw_head(at(front), axis, scale)
        self._labels(marks, canvas.y + 4 + deep, axis, left, scale)

        canvas.y = axis + up + 4
        low = axis + self.parts.radius * scale
        star = facts.star("nock.throat")
        balance = facts.mm("arrow.balance")
        if balance is not None and balance <= tip and self.throat is not None:
            middle = front / 2
            a, b = sorted((middle, balance))
            side = "ahead of" if balance >= middle else "behind"
            foc = facts.amount("arrow.foc")
            apart = f"{digits((b - a) / MM_PER_INCH, 3)} in"
            words = f"{apart} {side} the middle" + (f": FOC {foc}" if foc else "")
            self._row((at(a), at(b)), words, (low, low))
            self.told.append(f"The balance point lies {words}.")
        self._row((at(throat), at(front)), f"shaft {both(length)}", (low, low))
        self.told.append(f"The cut shaft is {both(length)} long.")
        if self.throat is not None:
            words = f"nock throat to front of shaft, the length for FOC {both(front)}{star}"
            self._row((left, at(front)), words, (axis, low))
            self.told.append(f"From the nock throat to the front of the shaft it is {both(front)}.")
            if head.length is not None:
                self._row((left, at(tip)), f"over all {both(tip)}{star}", (axis, axis))
                self.told.append(f"Over all it is {both(tip)} from nock throat to tip.")
        canvas.y += 8

    def _row(self, ends: Point, words: str, tops: Point) -> None:
        """Put one dimension in the next row under what is drawn."""
        self.canvas.y += _ROW
        self.canvas.across(ends[0], ends[1], self.canvas.y, words, tops)

    def _marks(self, tip: float) -> list[_Mark]:
        if self.throat is None:
            return []
        found = []
        for name, words, shape in _MARKS:
            at = self.facts.mm(name, zero=True)
            if at is None:
                continue
            told, label = self.facts.amount(name), " ".join(words).capitalize()
            self.told.append(f"{label}: {told} from the nock throat.")
            if at > tip:
                self.notes.append(f"{label}, {told}: ahead of what is drawn.")
            else:
                found.append(_Mark(at, (*words, told), shape))
        unknown = [
            " ".join(words) for name, words, _ in _MARKS if self.facts.mm(name, zero=True) is None
        ]
        if unknown:
            self.notes.append(f"Not known, and left out: {'; '.join(unknown)}.")
        return sorted(found, key=lambda mark: (mark.at, mark.shape))

    def _labels(
        self, marks: list[_Mark], low: float, axis: float, left: float, scale: float
    ) -> None:
        """Write what each mark means above the arrow, moved apart, with leaders down to them."""
        sizes = [max(text_width(w) for w in mark.words) + 12 for mark in marks]
        wanted = [left + mark.at * scale for mark in marks]
        for mark, x, at in zip(marks, spread(wanted, sizes, 8, WIDTH - 8), wanted, strict=True):
            for row, words in enumerate(reversed(mark.words)):
                self.canvas.text((x, low - _LINE * row), words, "", "middle")
            self.canvas.line((x, low + 5), (at, axis - 9), "witness")
        # Where two marks stand on one spot the balance point is seen on the other.
        for mark in sorted(marks, key=lambda mark: mark.shape == "balance"):
            self._shape(mark.shape, left + mark.at * scale, axis)

    def _shape(self, shape: str, x: float, y: float) -> None:
        canvas = self.canvas
        if shape == "balance":
            canvas.circle((x, y), 6, "mark balance")
            for way in (-6, 6):
                corner = f"{px(x + way)} {px(y)}"
                canvas.path(f"M{px(x)} {px(y)}V{px(y + way)}A6 6 0 0 0 {corner}Z", "ink")
        elif shape == "head":
            canvas.polygon([(x, y - 7), (x + 6, y + 5), (x - 6, y + 5)], "mark head-pressure")
        elif shape == "vanes":
            square = [(x - 5, y - 5), (x + 5, y - 5), (x + 5, y + 5), (x - 5, y + 5)]
            canvas.polygon(square, "mark vane-pressure")
        else:
            diamond = [(x, y - 9), (x + 9, y), (x, y + 9), (x - 9, y)]
            canvas.polygon(diamond, "mark whole-pressure")
