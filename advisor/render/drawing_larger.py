"""The tail and the head of an arrow from the side, larger, both at one scale."""

from __future__ import annotations

from advisor.render.drawing_canvas import MARGIN, WIDTH, label_place
from advisor.render.drawing_facts import both, inches, millimetres
from advisor.render.drawing_outlines import Point
from advisor.render.drawing_parts import EARS, Parts

_Row = tuple[float, float, str]  # a dimension: from, to, words
_ROW = 23.0
_LARGEST = 4.2  # pixels a millimetre
_TALLEST = 240.0
_ROOM_LEFT, _ROOM_BETWEEN, _ROOM_RIGHT = 80.0, 60.0, 94.0
_STUB = 15.0  # how much shaft is drawn beside a head or a vane, mm


class Larger:
    """Draws what is known of tail and head."""

    def __init__(self, parts: Parts) -> None:
        self.parts = parts
        self.canvas, self.facts = parts.canvas, parts.facts
        self.vanes, self.head = parts.vanes, parts.head
        self.throat = parts.throat
        self.notes, self.told = parts.notes, parts.told
        self.taken: list[tuple[float, float, float]] = []  # height, from, to of what is written

    def draw(self) -> None:
        """Draw the tail, and the head beside it at the same scale."""
        canvas, vanes, head, throat = self.canvas, self.vanes, self.head, self.throat
        gap = vanes.rear_gap if throat is not None else None
        begins, ends = -EARS, (throat or 0.0) + 2 * _STUB
        if vanes.length is not None:
            begins = -EARS if gap is not None else -_STUB
            ends = (gap or 0.0) + vanes.length + _STUB * 0.8
        has_head = head.length is not None
        head_long = _STUB + (head.length or 0.0) if has_head else 0.0
        room = WIDTH - 2 * MARGIN - _ROOM_RIGHT - (_ROOM_BETWEEN if has_head else 0.0)
        up, pad = self.parts.reach(), 0.0
        most = min(_TALLEST / (2 * up), _LARGEST)
        for _ in range(2):  # the height's label needs room on the left, less of it the larger
            scale = min((room - pad) / (ends - begins + head_long), most)
            pad = max(0.0, _ROOM_LEFT - ((gap or 0.0) - begins) * scale)

        canvas.y += 20
        words = f"Tail{' and head' if has_head else ''}, larger"
        canvas.text((MARGIN, canvas.y), words, "strong")
        canvas.scale_bar(canvas.y - 4, scale)
        # The shaft's diameter is written above the shaft, and stays clear of the scale.
        axis = canvas.y + max(16 + up * scale, 32 + self.parts.radius * scale)
        zero = MARGIN + pad - begins * scale

        def at(mm: float) -> float:
            return zero + mm * scale

        low = axis + up * scale
        bottom = low
        self._tail((begins, ends), gap, axis, scale, zero)
        rows = self._tail_rows(gap, scale, zero)
        bottom = max(bottom, self._rows(rows, axis + self.parts.radius * scale, low))
        self._diameter(at(ends), axis, scale)
        if has_head:
            start = at(ends) + _ROOM_BETWEEN
            bottom = max(bottom, self._head(start, axis, scale, low))
        canvas.y = bottom + 6

    def _tail(self, ends: Point, gap: float | None, axis: float, scale: float, zero: float) -> None:
        canvas, vanes, throat = self.canvas, self.vanes, self.throat
        whole = throat is not None and (gap is not None or vanes.length is None)
        begin = zero + (throat if whole and throat is not None else ends[0]) * scale
        end = zero + ends[1] * scale
        canvas.line((begin - 12, axis), (end + 12, axis), "axis")
        if whole and throat is not None:
            self.parts.nock(zero, begin, axis, scale)
        rear = zero + (gap or 0.0) * scale if vanes.length is not None else None
        self.parts.tail((begin, end), rear, axis, scale, "larger", whole=whole)
        canvas.break_line(end, axis, self.parts.radius * scale)
        if not whole:
            canvas.break_line(begin, axis, self.parts.radius * scale)
        if rear is not None and vanes.height is not None and vanes.length is not None:
            root = axis - self.parts.root * scale
            top = root - vanes.height * scale
            upper = self.parts.profile().rear[-1][0] * scale
            words = (inches(vanes.height), millimetres(vanes.height))
            # Above the shaft's surface, for a low vane's label would else stand on the nock.
            canvas.upright(top, root, rear - 14, words, (rear + upper, rear), low=root - 4)
            self.told.append(f"The vanes are {both(vanes.height)} high.")

    def _tail_rows(self, gap: float | None, scale: float, zero: float) -> list[_Row]:
        """Return what is dimensioned under the tail: from, to, words."""
        vanes, facts, throat = self.vanes, self.facts, self.throat
        rows: list[_Row] = []
        if vanes.length is not None:
            start = zero + (gap or 0.0) * scale
            words = f"vane {both(vanes.length)}"
            rows.append((start, start + vanes.length * scale, words))
            self.told.append(f"The vanes are {both(vanes.length)} long.")
            if gap is not None:
                words = f"rear gap {both(gap)}{facts.star('fletching.rear_gap')}"
                rows.append((zero, start, words))
                self.told.append(f"Their rear ends stand {both(gap)} ahead of the nock throat.")
        if throat is not None and (gap is not None or vanes.length is None):
            words = f"throat behind the tube {both(throat)}{facts.star('nock.throat')}"
            rows.append((zero, zero + throat * scale, words))
        return rows

    def _rows(self, rows: list[_Row], top: float, low: float, *, left: bool = False) -> float:
        """Put dimensions in rows under `low`, each in the next row where its label is free."""
        y = low + 2
        for x1, x2, words in rows:
            start, end, _ = label_place(x1, x2, words, left=left)
            span = (min(start, x1) - 4, max(end, x2) + 4)
            y += _ROW
            while any(at == y and span[0] < b and a < span[1] for at, a, b in self.taken):
                y += _ROW
            self.taken.append((y, *span))
            self.canvas.across(x1, x2, y, words, (top, top), left=left)
        return y

    def _diameter(self, x: float, axis: float, scale: float) -> None:
        """Dimension the shaft's diameter just behind the break."""
        bare = self.facts.mm("shaft.outside_diameter")
        if bare is None:
            return
        at, half = x - 8, bare / 2 * scale
        self.canvas.span((at, axis - half), (at, axis + half))
        words = f"shaft {millimetres(bare)}{self.facts.star('shaft.outside_diameter')}"
        self.canvas.text((at + 5, axis - half - 8), words, "halo")
        self.told.append(f"The shaft is {millimetres(bare)} ({inches(bare)}) thick.")

    def _head(self, start: float, axis: float, scale: float, low: float) -> float:
        canvas, facts, head = self.canvas, self.facts, self.head
        if head.length is None:
            return low
        front = start + _STUB * scale
        tip = front + head.length * scale
        canvas.line((start - 12, axis), (tip + 12, axis), "axis")
        self.parts.stub((start, front), axis, scale)
        canvas.break_line(start, axis, self.parts.radius * scale)
        self.parts.draw_head(front, axis, scale)
        self.told.append(f"Head: {head.words()}, {both(head.length)} exposed.")
        rows: list[_Row] = []
        if head.width is not None and head.blade_is_known():
            blade = head.blade()
            rear, fore = front + blade[0][0] * scale, front + blade[3][0] * scale
            rows.append((rear, fore, f"blade {inches(blade[3][0] - blade[0][0])}"))
            if head.blade_start:
                rows.append((fore, tip, f"starts {inches(head.blade_start)} behind the tip"))
        words = f"exposed {both(head.length)}{facts.star('point.length')}"
        rows.append((front, tip, words))
        bottom = self._rows(rows, axis, low, left=True)
        wide, words = head.across()
        if wide is not None:
            outer = front + head.widest_at() * scale
            half = wide / 2 * scale
            lines = (words, inches(wide), millimetres(wide))
            canvas.upright(axis - half, axis + half, tip + 22, lines, (outer, outer), left=False)
            verb = {"across": "measures", "closed": "is closed to"}.get(words, words)
            self.told.append(f"It {verb} {both(wide)} across.")
        return bottom
