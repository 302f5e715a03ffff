"""The glue line under a stiff straight foot, its depth drawn larger than true."""

from __future__ import annotations

import math

from advisor.render.drawing_canvas import MARGIN, Canvas
from advisor.render.drawing_facts import Facts, Vanes

_DEPTH = 26.0  # pixels a drawn glue gap may take
_MAGNIFY = (1, 2, 5, 10, 20, 50, 100)
_STEPS = 40
_THICK = 8.0  # pixels of foot above the line, and of shaft under the deepest gap


def draw_glue_line(
    canvas: Canvas,
    facts: Facts,
    vanes: Vanes,
    along: tuple[float, float, float],
    told: list[str],
    notes: list[str],
) -> None:
    """Draw the gap if there is one; else say why not.

    `along` is where the foot's rear and front ends are drawn, and the pixels a millimetre.
    """
    gap, lean = facts.mm("glue.end_gap"), vanes.lean
    if not vanes.clamp:
        notes.append("Clamp not stated: the glue line is left out.")
    elif vanes.clamp != "straight":
        notes.append("A helical clamp bends the foot round the shaft: an even glue line.")
    elif not lean:
        notes.append("A straight foot along the shaft touches all the way: no gap.")
    elif gap is None or vanes.diameter is None or vanes.length is None:
        notes.append("Gap under the ends of the foot not known: left out.")
    else:
        words = facts.amount("glue.end_gap")
        aside = vanes.length / 2 * math.sin(abs(lean))
        _gap(canvas, along, gap, (vanes.diameter / 2, aside), words)
        told.append(f"Under the ends of a stiff straight foot the gap is {words}")
    limit = facts.amount("glue.offset_limit")
    if vanes.clamp == "straight" and lean and limit:
        notes.append(f"Largest offset the glue line allows: {limit}.")


def _gap(
    canvas: Canvas,
    along: tuple[float, float, float],
    gap: float,
    shape: tuple[float, float],
    words: str,
) -> None:
    """Draw foot, glue and shaft.

    `shape` is the shaft's radius and how far the foot's ends lie aside, in mm.
    """
    rear, front, scale = along
    radius, aside = shape
    deeper = max((n for n in _MAGNIFY if gap * scale * n <= _DEPTH), default=1)
    deep = gap * scale * deeper
    canvas.y += 30
    depth = f"its depth drawn {deeper} times" if deeper > 1 else "its depth to scale"
    canvas.text((MARGIN, canvas.y), f"Glue line, {depth}", "strong")
    y = canvas.y + 22
    end = math.hypot(radius, aside) - radius
    curve = []
    for step in range(_STEPS + 1):
        at = 2 * step / _STEPS - 1
        # A very small gap has no digits left in the difference; its curve is a parabola.
        falls = (math.hypot(radius, aside * at) - radius) / end if end > 1e-9 else at * at
        curve.append((rear + (front - rear) * step / _STEPS, y + falls * deep))
    low = y + deep + _THICK
    canvas.polygon([(rear, y), *curve, (front, y)], "glue")
    canvas.polygon([*curve, (front, low), (rear, low)], "shaft glue-shaft")
    foot = [(rear, y - _THICK), (front, y - _THICK), (front, y), (rear, y)]
    canvas.polygon(foot, "foot glue-foot")
    lines = ("gap at the ends", words)
    canvas.upright(y, y + deep, front + 16, lines, (front, front), left=False)
    canvas.text((rear - 8, y - 1), "foot", "small", "end")
    canvas.text((rear - 8, low + 1), "shaft", "small", "end")
    canvas.y = low
