"""Turning points as plain text: what to measure again, what changes the advice, what cannot."""

from __future__ import annotations

from advisor.decision import FactValue, Number
from advisor.findings import (
    EVERY_VALUE,
    NOTHING_DEPENDS,
    SEARCHED,
    VALUES_TRIED,
    Turn,
    TurningPoint,
    TurningPoints,
)
from advisor.render.numbers import apart, edged, plain
from advisor.render.page import Page
from advisor.render.text import build_lines

STATUS = {
    "stopped": "a stop stands on every build",
    "rejected": "no build satisfies every must",
    "judged": "the build holds",
    "advised": "a build holds",
}
"""What a status means."""

_POWERLESS = {
    NOTHING_DEPENDS: "no rule that decides goes back to",
    EVERY_VALUE: "whatever value it has",
    VALUES_TRIED: "no value tried, out to the ends of the range",
}

_NOTHING = "Nothing that is stated, changed by itself, changes this advice."


def render(found: TurningPoints, colour: bool) -> str:
    """Return turning points as text, at most eighty columns wide."""
    page = Page(colour)
    page.title(f"What would change it: {found.title or 'untitled setup'}", found.rulebase)
    if found.status in ("stopped", "rejected"):
        page.head("Nothing to build", "1;31")
        page.put(f"As stated, {STATUS[found.status]}. The nearest build, for comparison only:")
    else:
        page.head("Build")
    for line in build_lines(found.build, {}):
        page.put(line, hang=2)
    _fragile(page, found)
    _turning(page, found)
    _powerless(page, found)
    return page.text()


def _fragile(page: Page, found: TurningPoints) -> None:
    fragile = [point for point in found.points if point.fragile]
    if fragile:
        page.head("Measure again", "1;33")
        page.put("This advice is fragile: it turns within what measuring can be out by.")
    for point in fragile:
        tolerance = f"measuring can be out by {plain(point.tolerance)}" if point.tolerance else ""
        near = point.turns[0]
        page.put(
            f"{point.fact} {plain(point.value)}: it turns at {edged(near.value)}; {tolerance}.",
            hang=2,
        )


def _turning(page: Page, found: TurningPoints) -> None:
    page.head("It turns")
    if not found.points:
        page.put(_NOTHING)
    for point in found.points:
        page.put(f"{point.fact} is {plain(point.value)}{_where(point)}", hang=2)
        for turn in point.turns:
            page.put(turn_words(turn), indent=9, hang=2)
        if point.keeps:
            told = "; ".join(_one(value) for value in point.keeps)
            page.put(f"stays so with {told}", indent=9, hang=2)


def _where(point: TurningPoint) -> str:
    stated = point.stated
    place = f"{stated.file}:{stated.line}" if stated.line else stated.file
    return f" ({place}); fragile" if point.fragile else f" ({place})"


def turn_words(turn: Turn) -> str:
    """Say at which value the advice turns, and to what."""
    gives = turn.says
    for status, words in STATUS.items():
        if gives == status or gives.startswith(f"{status}, "):
            gives = words + gives.removeprefix(status)
    if turn.distance is None:
        return f"{_one(turn.value)}: {gives}"
    about = "about " if turn.found == SEARCHED else ""
    return f"{about}{edged(turn.value)} ({apart(turn.distance)}): {gives}"


def _one(value: FactValue) -> str:
    if isinstance(value, tuple) and not isinstance(value, Number):
        return " and ".join(value) or "none"
    return plain(value)


def _powerless(page: Page, found: TurningPoints) -> None:
    if not found.powerless:
        return
    page.head("It does not turn")
    for by, words in _POWERLESS.items():
        facts = [f"{p.fact} {_one(p.value)}" for p in found.powerless if p.by == by]
        if facts:
            page.put(f"{words}: {', '.join(facts)}", hang=2)
