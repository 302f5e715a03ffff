"""The Decision as drawings: the arrow from the side, from behind, and its surface unrolled.

`render` gives one document with all three; `side`, `behind` and `unrolled` give each as a document
of its own, to be set into a page. Nothing in them runs or is fetched from elsewhere. Each shows
sizes to scale, and says in words what nobody stated.
"""

from __future__ import annotations

from collections.abc import Callable

from advisor.decision import Decision
from advisor.render import drawing_behind, drawing_side, drawing_unrolled
from advisor.render.drawing_canvas import MARGIN, WIDTH, Picture, escape, px
from advisor.render.drawing_facts import Facts
from advisor.render.drawing_style import STYLE

_DRAWINGS: tuple[Callable[[Facts], Picture], ...] = (
    drawing_side.draw,
    drawing_behind.draw,
    drawing_unrolled.draw,
)
_HEADER = 46.0
_LONGEST_TITLE = 70


def render(decision: Decision, colour: bool) -> str:  # noqa: ARG001  # style follows the reader
    """Return one SVG document with all three drawings, one under the other."""
    facts = Facts(decision)
    pictures = [draw(facts) for draw in _DRAWINGS]
    base = decision.rulebase
    title = decision.title or "Untitled setup"
    short = title if len(title) <= _LONGEST_TITLE else f"{title[: _LONGEST_TITLE - 3]}..."
    right = f"{base.name} {base.version}, digest {base.digest[:12]}"
    lines = [
        f'<text class="title" x="{px(MARGIN)}" y="24">{escape(short)}</text>',
        f'<text class="small" x="{px(MARGIN)}" y="40">{escape(right)}</text>',
    ]
    y = _HEADER
    for picture in pictures:
        place = f'y="{px(y)}" width="{px(WIDTH)}" height="{px(picture.height)}"'
        box = f'viewBox="0 0 {px(WIDTH)} {px(picture.height)}"'
        lines.append(f'<svg class="{picture.name}" {place} {box}>\n{picture.body}\n</svg>')
        y += picture.height
    words = " ".join(f"{picture.title}. {picture.description}" for picture in pictures)
    return _document(Picture("arrow", f"Drawings: {title}", words, y, "\n".join(lines)), "arrow")


def side(decision: Decision, ids: str = "side") -> str:
    """Return the arrow from the side; `ids` begins the ids, which a page must not hold twice."""
    return _document(drawing_side.draw(Facts(decision)), ids)


def behind(decision: Decision, ids: str = "behind") -> str:
    """Return the arrow from behind, as its nock is seen."""
    return _document(drawing_behind.draw(Facts(decision)), ids)


def unrolled(decision: Decision, ids: str = "unrolled") -> str:
    """Return the shaft's surface under the feet, cut open and laid flat."""
    return _document(drawing_unrolled.draw(Facts(decision)), ids)


def _document(picture: Picture, ids: str) -> str:
    ids = "".join(letter if letter.isalnum() and letter.isascii() else "-" for letter in ids)
    wide, high = px(WIDTH), px(picture.height)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="arrow-drawing {picture.name}" role="img" '
        f'aria-labelledby="{ids}-title {ids}-desc" width="{wide}" height="{high}" '
        f'viewBox="0 0 {wide} {high}">\n'
        f'<title id="{ids}-title">{escape(picture.title)}</title>\n'
        f'<desc id="{ids}-desc">{escape(picture.description)}</desc>\n'
        f"<style>{STYLE}</style>\n"
        f'<rect class="paper" width="{wide}" height="{high}"/>\n'
        f"{picture.body}\n</svg>\n"
    )
