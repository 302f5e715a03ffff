"""Renderers: each turns a finished Decision into text. They know nothing else of the advisor."""

from __future__ import annotations

from collections.abc import Callable

from advisor.decision import Decision

FORMATS = ("text", "json", "svg", "html")


def renderer(name: str) -> Callable[[Decision, bool], str]:
    """Return the renderer of a format: it takes a Decision and whether colour is wanted.

    Each is imported when it is asked for, so that none costs the others' start.
    """
    if name == "json":
        from advisor.render.json import render as render_json

        return render_json
    if name == "svg":
        from advisor.render.svg import render as render_svg

        return render_svg
    if name == "html":
        from advisor.render.html import render as render_html

        return render_html
    from advisor.render.text import render as render_text

    return render_text
