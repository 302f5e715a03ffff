"""Coverage of a rule base as plain text: how much its cases exercise, and what they leave out."""

from __future__ import annotations

from advisor.case_findings import (
    BOUND,
    EXCEPTION,
    FAILING,
    HOLDING,
    OVERRIDE,
    STATE,
    Coverage,
    Gate,
    Tally,
)
from advisor.render.page import Page

_KINDS = {
    STATE: "rules fired, silent, undecided",
    FAILING: "tests as the only one failing",
    HOLDING: "alternatives as the only one holding",
    BOUND: "bounds met closely, on either side",
    EXCEPTION: "exceptions that held",
    OVERRIDE: "overrides that were used",
}
_COLUMN = 40


def render(found: Coverage, colour: bool, gate: Gate | None = None) -> str:
    """Return coverage as text, at most eighty columns wide but for long names.

    Args:
        found: what the cases exercise.
        colour: whether the terminal shows it.
        gate: what was asked for, if anything was.
    """
    page = Page(colour)
    page.title(f"What {count(found.cases, 'case')} exercise of the rules", found.rulebase)
    page.head("Seen")
    for kind, told in _KINDS.items():
        if found.kinds[kind].of:
            page.pair(told, share(found.kinds[kind]), 7, _COLUMN)
    page.pair("in all", share(found.total), 7, _COLUMN)
    missing = found.missing
    if missing:
        page.head(f"Missing: {len(missing)}", "1;33")
    for rule in found.rules:
        if rule.missing:
            page.put(f"{rule.rule} ({rule.file}:{rule.line})", hang=2)
            for item in rule.missing:
                page.put(item.what, indent=9, hang=2)
    tell_gate(page, gate)
    return page.text()


def tell_gate(page: Page, gate: Gate | None) -> None:
    """Say whether the share that was asked for is reached."""
    if gate is None:
        return
    asked = f"{gate.least:g} % are asked for"
    if gate.passes:
        page.head("Enough", "1;32")
        page.put(f"{asked}, {gate.percent:g} % are reached.")
    else:
        page.head("Not enough", "1;31")
        page.put(f"{asked}, {gate.percent:g} % are reached; what is missing stands above.")


def share(tally: Tally) -> str:
    """Say how many of how many, and how much that is in percent."""
    return f"{tally.seen} of {tally.of}, {tally.percent:.1f} %"


def count(number: int, of: str) -> str:
    """Say how many of something there are."""
    return f"1 {of}" if number == 1 else f"{number} {of}s"
