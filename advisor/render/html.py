"""The Decision as a bench sheet: one page of HTML to print and work from.

It follows the order of the work, keeps each caution where the hand meets its danger, and leaves
squares to tick and lines to write on. Nothing in it runs, and nothing is fetched from elsewhere.
"""

from __future__ import annotations

from advisor.decision import Decision
from advisor.render import sheet_reasons, sheet_steps, sheet_top
from advisor.render.sheet_places import place
from advisor.render.sheet_style import STYLE
from advisor.render.sheet_words import esc, may_build


def render(decision: Decision, colour: bool) -> str:  # noqa: ARG001  # style follows the reader
    """Return the Decision as one HTML document, whole in itself."""
    d = decision
    build = may_build(d)
    placed = place(d, steps=build)
    parts = [
        sheet_top.header(d),
        "<main>\n",
        sheet_top.banner(d, placed.stops),
        sheet_top.build(d),
        sheet_top.before_the_first_step(d, placed.front),
        sheet_top.drawings(d) if build else "",
        sheet_top.lay_out(d) if build else "",
        sheet_steps.phases(d, placed) if build else "",
        sheet_reasons.to_check(d),
        sheet_reasons.for_reviewer(d),
        "</main>\n",
    ]
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{esc(d.title or 'Untitled setup')}, bench sheet</title>\n"
        f"<style>{STYLE}</style>\n</head>\n<body>\n{''.join(parts)}</body>\n</html>\n"
    )
