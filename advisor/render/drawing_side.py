"""The arrow from the side: the whole of it to scale, then its tail and its head larger."""

from __future__ import annotations

from advisor.render.drawing_canvas import Canvas, Picture
from advisor.render.drawing_facts import Facts, both, millimetres
from advisor.render.drawing_larger import Larger
from advisor.render.drawing_parts import Parts
from advisor.render.drawing_whole import Whole


def draw(facts: Facts) -> Picture:
    """Draw the arrow from its right side, nock to the left."""
    title = "The arrow from the side"
    canvas = Canvas()
    parts = Parts(canvas, facts)
    canvas.heading(title, facts.banner)
    notes = parts.notes
    notes += _missing(parts)
    if parts.length is not None:
        Whole(parts).draw(parts.length)
    Larger(parts).draw()
    wrap = facts.mm("wrap.length")
    if wrap:
        notes.append(f"Wrap {both(wrap)} long, shaded.")
    if parts.vanes.length is not None and parts.vanes.height is not None:
        notes.append(
            "Outlines show the kind of shape in its stated sizes; vanes are drawn unturned."
        )
    return canvas.finish("side", title, facts.banner, parts.told, notes)


def _missing(parts: Parts) -> list[str]:
    """Say what cannot be drawn; nothing is left out without a word."""
    vanes, head, notes = parts.vanes, parts.head, []
    if parts.length is None:
        left = "head and tail alone are" if head.length else "tail alone is"
        notes.append(f"Shaft length not stated: the {left} drawn.")
    if parts.facts.mm("shaft.outside_diameter") is None:
        shown = millimetres(2 * parts.radius)
        notes.append(f"Shaft diameter not stated: {shown} is drawn, dashed.")
    if head.length is None:
        notes.append("Exposed length of the head not stated: the head is left out.")
    else:
        notes += head.missing()
    if parts.throat is None:
        notes.append("Depth of the nock throat not stated: lengths begin at the tube's end.")
    if vanes.length is None:
        notes.append("Vane length not stated: the vanes are left out.")
        return notes
    if vanes.rear_gap is None or parts.throat is None:
        notes.append("Where the vanes stand along the shaft is not stated: they are drawn apart.")
    elif vanes.rear_gap < parts.throat:
        notes.append("The rear ends of the vanes stand behind the end of the tube.")
    return notes + vanes.missing()
