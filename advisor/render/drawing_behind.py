"""The arrow from behind, as its nock is seen: vanes at their angles, and what they must pass."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from advisor.render import drawing_outlines as outlines
from advisor.render.drawing_canvas import WIDTH, Canvas, Picture, broken, text_width
from advisor.render.drawing_facts import Facts, Vanes, angle, both, inches, millimetres
from advisor.render.drawing_outlines import Point
from advisor.render.drawing_parts import GUESSED_RADIUS
from advisor.render.numbers import digits

_CENTRE_X = 226.0
_RADIUS = 122.0  # pixels from the axis to the outermost circle
_LEAST_RADIUS = 80.0  # pixels within which no label stands
_LARGEST = 9.0  # pixels a millimetre
_KEY_X = 440.0
_KEY_SAMPLE = 38.0
_STEPS = 16
_CLEARANCE_SHOWN = 2.0  # a clearance beyond so many times the vanes' reach is only told
_STANDS_OUT = 0.3  # mm that a flat vane's ends may stand further out before it is said
_FULL = 0.85  # share of the room between two vanes that a drawn turn may fill


def draw(facts: Facts) -> Picture:
    """Draw the arrow from behind, cock vane up."""
    return _Behind(facts).picture()


class _Behind:
    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.vanes = Vanes(facts)
        self.canvas = Canvas()
        bare = facts.mm("shaft.outside_diameter")
        self.known = bare is not None
        self.shaft = bare / 2 if bare else GUESSED_RADIUS
        self.root = self.vanes.diameter / 2 if self.vanes.diameter else self.shaft
        self.reach = self.root + (self.vanes.height or 0.0)
        self.rear = facts.mm("fletching.rear_radius")
        self.clearance = facts.mm("rest.clearance")
        self.key: list[tuple[str, str]] = []
        self.notes: list[str] = []
        self.farthest = self._farthest()
        most = max(self.farthest, self.rear or 0.0)
        self.clearance_shown = (
            self.clearance is not None and self.clearance <= most * _CLEARANCE_SHOWN
        )
        if self.clearance_shown and self.clearance is not None:
            most = max(most, self.clearance)
        self.scale = min(_RADIUS / most, _LARGEST)
        self.outer = max(most * self.scale, _LEAST_RADIUS)
        self.centre: Point = (_CENTRE_X, 0.0)

    def picture(self) -> Picture:
        canvas = self.canvas
        title = "The arrow from behind"
        canvas.heading(title, self.facts.banner)
        canvas.scale_bar(17, self.scale)
        top = canvas.y
        self.centre = (_CENTRE_X, top + 48 + self.outer)
        count = self.vanes.count
        if count is None:
            self.notes.append("Number of vanes not stated: the cock vane alone is drawn.")
        turns = [2 * math.pi * vane / (count or 1) for vane in range(count or 1)]
        for turn in turns:
            canvas.line(self.centre, self.polar(self.outer + 6, turn), "axis")
        self._sweeps(turns)
        self._circles()
        self._rear_ends(turns)
        canvas.circle(self.centre, self.shaft * self.scale, "shaft" if self.known else "guess")
        self._measures(turns)
        self._spin()
        self._facts()
        low = self._key(top + 24)
        canvas.y = max(self.centre[1] + self.outer + 34, low)
        told = [words for _, words in self.key]
        return canvas.finish("behind", title, self.facts.banner, told, self.notes)

    # Where things are

    def polar(self, radius: float, turn: float) -> Point:
        """Return the place at a radius in pixels and an angle from upright, clockwise."""
        x, y = self.centre
        return (x + radius * math.sin(turn), y - radius * math.cos(turn))

    def _place(self, turn: float, along: float, up: float) -> Point:
        """Return where a point of a vane is seen: `along` from mid-foot forward, `up` from it."""
        aside = along * math.sin(self.vanes.lean or 0.0)
        high = self.root + up
        if self.vanes.clamp == "straight":
            # A flat vane, square to the shaft at mid-foot: its ends stand aside, not round.
            x, y = aside, high
            return self.polar(math.hypot(x, y) * self.scale, turn + math.atan2(x, y))
        return self.polar(high * self.scale, turn + aside / self.root)

    def _farthest(self) -> float:
        """Return how far from the axis a vane is seen to stand, in mm."""
        if self.vanes.clamp != "straight" or not self._turn():
            return self.reach
        middle = (self.vanes.length or 0.0) / 2
        return max(
            math.hypot((along - middle) * math.sin(self.vanes.lean or 0.0), self.root + up)
            for along, up in self._profile().points
        )

    def _profile(self) -> outlines.VaneOutline:
        vanes = self.vanes
        return outlines.vane(vanes.length or 0.0, vanes.height or 0.0, vanes.silhouette)

    def _way(self, turn: float, points: Sequence[Point]) -> list[Point]:
        """Return the line through points of a vane's outline as it is seen."""
        half = (self.vanes.length or 0.0) / 2
        seen = []
        for (a, va), (b, vb) in pairwise(points):
            steps = max(1, math.ceil(_STEPS * abs(b - a) / self._longest()))
            for step in range(steps + 1):
                part = step / steps
                seen.append(self._place(turn, a + (b - a) * part - half, va + (vb - va) * part))
        return seen

    def _longest(self) -> float:
        return max(self.vanes.length or 0.0, 1.0)

    # What is drawn

    def _circles(self) -> None:
        canvas, facts = self.canvas, self.facts
        words = f"shaft, {both_mm(2 * self.shaft)} across{facts.star('shaft.outside_diameter')}"
        if self.known:
            self.key.append(("shaft", words))
        else:
            self.key.append(("guess", "shaft, a stand-in"))
            shown = digits(2 * self.shaft, 3)
            self.notes.append(f"Shaft diameter not stated: {shown} mm is drawn, dashed.")
        if self.root > self.shaft:
            canvas.circle(self.centre, self.root * self.scale, "thin")
            self.key.append(("thin", f"wrap, {both_mm(2 * self.root)} across"))
        if self.rear is not None:
            canvas.circle(self.centre, self.rear * self.scale, "rear-circle")
            told = facts.amount("fletching.rear_radius")
            self.key.append(("rear-circle", f"the vanes' edges from the axis, {told}"))
        if self.clearance is None:
            self.notes.append("Rest clearance not stated: what the vanes must pass is left out.")
            return
        words = f"rest clearance from the axis, {millimetres(self.clearance)}"
        words += facts.star("rest.clearance")
        if self.rear is not None:
            spare = self.clearance - self.rear
            word = "to spare" if spare >= 0 else "too little"
            words += f": {millimetres(abs(spare))} {word}"
        if self.clearance_shown:
            canvas.circle(self.centre, self.clearance * self.scale, "clearance")
            self.key.append(("clearance", words))
        else:
            self.key.append(("", f"{words}; its circle lies outside the drawing"))

    def _sweeps(self, turns: list[float]) -> None:
        """Draw what is seen of each vane behind its rear end."""
        vanes, canvas, profile = self.vanes, self.canvas, self._profile()
        turned = self._turn()
        if vanes.height is None or not turned:
            return
        crowded = turned > _FULL * 360 / len(turns)
        if crowded and len(turns) > 1:
            self.notes.append("The turns of the vanes overlap: only the cock vane's is drawn.")
        for turn in turns[:1] if crowded else reversed(turns):
            around = [*profile.points, profile.rear[0]]
            canvas.polygon(self._way(turn, around), "sweep")
            canvas.polyline(self._way(turn, profile.front[::-1]), "front-end")
        if self.farthest > self.reach + _STANDS_OUT:
            far = millimetres(self.farthest)
            words = f"The ends of flat vanes stand out to {far} from the axis"
            # The rule base reckons with the middle of the vane.
            if self.rear and self.clearance and self.rear <= self.clearance < self.farthest:
                words += ", beyond the rest clearance"
            self.notes.append(f"{words}.")

    def _rear_ends(self, turns: list[float]) -> None:
        vanes, canvas = self.vanes, self.canvas
        if vanes.height is None:
            self.notes.append("Vane height not stated: the places of the feet alone are marked.")
            for turn in turns:
                near, far = self.root * self.scale, self.root * self.scale + 6
                canvas.line(self.polar(near, turn), self.polar(far, turn), "foot-line")
            return
        profile, turned = self._profile(), self._turn()
        for place, turn in enumerate(turns):
            edge = self._way(turn, profile.rear) if turned else self._straight(turn)
            width = max(1.5, (vanes.thickness or 0.0) * self.scale)
            canvas.polyline(edge, "edge vane-edge" + ("" if place else " cock"), width)
        self.key.append(("edge", f"rear end of a vane, near you{self._thick()}"))
        if turned:
            self.key.append(("front-end", "its front end, seen behind it"))
            self.key.append(("axis", "where the middle of each foot stands"))

    def _straight(self, turn: float) -> list[Point]:
        return [self.polar(self.root * self.scale, turn), self.polar(self.reach * self.scale, turn)]

    def _thick(self) -> str:
        if self.vanes.thickness is None:
            return "; its thickness is not stated"
        return f", {millimetres(self.vanes.thickness)} thick"

    def _turn(self) -> float:
        """Return the angle in degrees between a foot's ends that is drawn; 0 where it cannot be."""
        vanes = self.vanes
        if vanes.diameter is None or vanes.length is None or not vanes.lean:
            return 0.0
        aside = vanes.length / 2 * math.sin(abs(vanes.lean))
        if vanes.clamp == "straight":
            return math.degrees(2 * math.atan(aside / self.root))
        return math.degrees(2 * aside / self.root) if vanes.clamp else 0.0

    def _spin(self) -> None:
        """Show at the lower right which way the vanes turn the arrow."""
        side = self.vanes.side
        if not side:
            return
        middle, radius = math.radians(140), self.outer + 14
        if self.vanes.count == 2:
            radius += 20  # outside the angle between the two, which goes half round
        way = [self.polar(radius, middle + side * math.radians(a)) for a in range(-12, 13, 4)]
        self.canvas.polyline(way, "thin spin")
        (x1, y1), (x2, y2) = way[-2:]
        self.canvas.tip((x2, y2), math.atan2(y2 - y1, x2 - x1))
        x, y = self.polar(radius + 8, middle)
        self.canvas.text((x, y + 8), f"turns {self.vanes.direction}", "halo")

    def _measures(self, turns: list[float]) -> None:
        canvas, vanes, scale = self.canvas, self.vanes, self.scale
        x, y = self.centre
        canvas.circle((x, y - self.outer - 10), 3.5, "ink cock-mark")
        canvas.text((x, y - self.outer - 28), "cock vane", "halo", "middle")
        if vanes.height is not None:
            left = x - self.outer - 26
            words = (inches(vanes.height), millimetres(vanes.height))
            root, top = y - self.root * scale, y - self.reach * scale
            canvas.upright(top, root, left, words, (x - 3, x - 3))
        if len(turns) > 1:
            self._angle(turns[1])
        if self.rear is not None:
            # Between the vanes at the lower left, clear of the height and of the angle.
            middle = (len(turns) // 2 + 0.5) * 2 * math.pi / len(turns)
            middle = math.radians(225) if len(turns) == 2 else middle
            at = self.polar(self.rear * scale, middle)
            canvas.line(self.centre, at, "dim")
            canvas.tip(at, math.atan2(at[1] - y, at[0] - x))
            told = f"radius {millimetres(self.rear)}"
            place = self.polar(self.outer + 18, middle)
            anchor = "end" if place[0] < x - 8 else "middle"
            canvas.text((place[0], place[1] + 4), told, "halo", anchor)

    def _angle(self, turn: float) -> None:
        """Draw the angle from the cock vane to its neighbour, outside everything else."""
        radius = self.outer + 21
        steps = max(2, int(math.degrees(turn) / 4))
        arc = [self.polar(radius, turn * step / steps) for step in range(steps + 1)]
        self.canvas.polyline(arc, "dim")
        for end, before in ((arc[0], arc[1]), (arc[-1], arc[-2])):
            self.canvas.tip(end, math.atan2(end[1] - before[1], end[0] - before[0]))
        x, y = self.polar(radius + 9, turn / 2)
        self.canvas.text((x, y + 4), angle(math.degrees(turn)), "halo")

    # What is said

    def _facts(self) -> None:
        vanes, facts, key = self.vanes, self.facts, self.key
        if vanes.count:
            apart = "" if vanes.count == 1 else f", {angle(360 / vanes.count)} apart"
            key.append(("", f"{vanes.count} vanes{apart}, cock vane up"))
        if vanes.height is not None:
            key.append(("", f"vane height {both(vanes.height)}"))
        if vanes.side is None or vanes.offset is None:
            key.append(("", "side or offset not stated: no turn is drawn"))
        elif vanes.side == 0:
            key.append(("", "set straight along the shaft: no turn"))
        else:
            way = "clockwise" if vanes.side > 0 else "anticlockwise"
            words = f"offset {angle(vanes.offset)} {vanes.direction}"
            key.append(("", f"{words}: turns the arrow {way} from here"))
            told = facts.amount("fletching.wrap_angle")
            if told:
                key.append(("", f"each foot turns {told} round the shaft"))
            if not self._turn():
                needs = "clamp, vane length and shaft diameter"
                self.notes.append(f"The turn of the vanes is not drawn: it needs {needs}.")
            if vanes.clamp in ("left", "right"):
                key.append(("", f"{vanes.clamp} helical clamp: the foot winds round"))
            elif vanes.clamp == "straight":
                key.append(("", "straight clamp: the foot stays straight"))
        travel = facts.amount("spin.travel_per_turn")
        if travel:
            key.append(("", f"one turn in {travel} of flight, once spinning"))

    def _key(self, y: float) -> float:
        """Write what each line means and what the drawing says, beside it."""
        most = int((WIDTH - 20 - _KEY_X - _KEY_SAMPLE) / text_width("x"))
        for style, words in self.key:
            if style:
                self._sample(style, y)
            for line in broken(words, most):
                self.canvas.text((_KEY_X + _KEY_SAMPLE, y), line, "small")
                y += 16
            y += 4
        return y

    def _sample(self, style: str, y: float) -> None:
        a, b = (_KEY_X, y - 4), (_KEY_X + _KEY_SAMPLE - 8, y - 4)
        if style == "shaft":
            self.canvas.circle((_KEY_X + 15, y - 4), 6, style)
        elif style == "edge":
            self.canvas.polyline([a, b], style, 3)
        else:
            self.canvas.line(a, b, style)


def both_mm(mm: float) -> str:
    """Say a small length as a caliper shows it: millimetres, and inches behind them."""
    return f"{millimetres(mm)} ({inches(mm)})"
