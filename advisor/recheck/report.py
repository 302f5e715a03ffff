"""What a recheck found: plain data compared, line by line, and the report to print or to keep.

Nothing here knows what a rule or a fact means; `recheck` does.
"""

# Annotations are not put off here: see `decision`.

import json
from collections.abc import Iterator
from typing import Any, NamedTuple

FORMAT = 1
SHOWN = 40
"""How many lines that do not hold are spelled out; the rest are counted."""
LONGEST = 400
"""Letters of a found or expected part that are printed; the JSON has all of them."""


class Line(NamedTuple):
    """One part of a Decision and what became of it: it holds, does not, or nobody could look.

    `field` leads to the part by names and, in lists, by what an item is about or its number from 0.
    Where the two differ, `found` is what the Decision has there and `expected` what the rules and
    the givens come to, both as JSON.
    """

    field: str
    holds: bool | None
    found: str = ""
    expected: str = ""
    words: str = ""


class Report(NamedTuple):
    """The whole recheck of one Decision."""

    decision: str  # the file
    title: str
    rules: str
    stock: str
    holds: bool
    held: int  # how many lines hold
    failed: int  # how many do not
    open: int  # of how many nobody could tell
    lines: tuple[Line, ...]
    sealed_only: tuple[str, ...]  # what is not derived anew, and so covered by the seal alone
    format: int = FORMAT

    @property
    def exit_status(self) -> int:
        """The exit status of a command that ends with this: 0 if it holds, else 1."""
        return 0 if self.holds else 1

    def to_plain(self) -> dict[str, Any]:
        """Return what JSON can hold of it; see `advisor.decision.to_plain`."""
        from advisor.decision import to_plain

        plain: dict[str, Any] = to_plain(self)
        return plain

    def to_text(self) -> str:
        """Write the report for a terminal: what holds in short, what does not, the verdict last."""
        told = [
            *_wrapped(f"Recheck of {self.decision}"),
            *_wrapped(self.title or "Untitled setup"),
            *_wrapped(f"{self.rules}; {self.stock}"),
            *_wrapped(
                "Derived anew from the rule files and what was stated, without the engine that "
                "advised. It trusts the YAML reader, the units and the functions of physics."
            ),
            "",
            "Comes out the same",
            *_wrapped(_counted(self.lines), "  ", "  "),
            "",
            "Not derived anew, covered by the seal only",
        ]
        for part in self.sealed_only:
            told += _wrapped(part, "  ", " " * 7)
        failures = [line for line in self.lines if line.holds is False]
        if failures:
            told += ["", "Does not hold"]
        for line in failures[:SHOWN]:
            told += _wrapped(f"{line.field} {line.words}", "  ", " " * 7)
            for name, text in (("found", line.found), ("expected", line.expected)):
                cut = text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."
                told += _wrapped(f"{name:<9}{cut}", " " * 5, " " * 14) if text else []
        if len(failures) > SHOWN:
            told.append(f"  and {len(failures) - SHOWN} more; all of them are in the JSON")
        return "\n".join([*told, "", *_wrapped(_verdict(self))]) + "\n"


def _counted(lines: tuple[Line, ...]) -> str:
    """Count what holds by the part of the Decision that it belongs to."""
    counts: dict[str, int] = {}
    for line in lines:
        if line.holds:
            part = line.field.partition(".")[0]
            counts[part] = counts.get(part, 0) + (line.words != "none")
    return ", ".join(f"{part} {n or 'none'}" for part, n in counts.items()) or "nothing"


def _verdict(report: Report) -> str:
    told = f"Holds: all of {report.held} parts come out the same."
    if report.failed:
        differences = "1 difference" if report.failed == 1 else f"{report.failed} differences"
        told = f"Does not hold: {differences}; {report.held} parts come out the same."
    if any(line.field == "seal" and line.holds is None for line in report.lines):
        told += " It has no seal, so what is not derived anew may have been edited."
    return told


def _wrapped(text: str, first: str = "", later: str = "") -> list[str]:
    from textwrap import wrap

    from advisor.errors import visible

    return wrap(
        visible(text), 80, initial_indent=first, subsequent_indent=later, break_on_hyphens=False
    )


def report_of(
    decision: str,
    title: str,
    rules: str,
    stock: str,
    lines: list[Line],
    sealed_only: tuple[str, ...],
) -> Report:
    """Put lines together and count them."""
    held, failed, undecided = (
        sum(line.holds is state for line in lines) for state in (True, False, None)
    )
    return Report(
        decision,
        title,
        rules,
        stock,
        not failed,
        held,
        failed,
        undecided,
        tuple(lines),
        sealed_only,
    )


# Comparing


def compared(field: str, expected: Any, found: Any, *, tell: bool = True) -> Iterator[Line]:
    """Yield a line for each difference, and with `tell` for each entry or item that is the same.

    Where a function is expected it is asked what ought to be there, given what is found there.
    """
    if callable(expected):
        try:
            expected = expected(found)
        except (LookupError, TypeError, AttributeError, ValueError):
            yield Line(field, False, _text(found), "", "is not what a Decision has there")
            return
    here, there = _parts(expected, found)
    if not here and not there:
        same = expected == found and isinstance(expected, bool) == isinstance(found, bool)
        if not same:
            yield Line(field, False, _text(found), _text(expected), "comes out otherwise")
        elif tell:
            yield Line(field, True, words="none" if expected in ([], {}) else "")
    for key in {**here, **there}:
        at = f"{field}.{key}"
        if key not in there:
            yield Line(at, False, "", _text(here[key]), "is left out")
        elif key not in here:
            yield Line(at, False, _text(there[key]), "", "does not follow from the rules")
        else:
            differences = list(compared(at, here[key], there[key], tell=False))
            yield from differences or ([Line(at, True)] if tell else [])
    mine, theirs = [key for key in here if key in there], [key for key in there if key in here]
    if isinstance(found, list) and mine != theirs:
        yield Line(field, False, _text(theirs), _text(mine), "stands in another order")


def _parts(expected: Any, found: Any) -> tuple[dict[Any, Any], dict[Any, Any]]:
    """Return the entries of two mappings, or the items of two lists by what they are about."""
    if isinstance(expected, dict) and isinstance(found, dict):
        return expected, found
    if not isinstance(expected, list) or not isinstance(found, list):
        return {}, {}
    both = []
    for items in (expected, found):
        about = [
            one.get("rule", one.get("fact")) if isinstance(one, dict) else one for one in items
        ]
        names = [name for name in about if isinstance(name, str)]
        both.append(
            dict(zip(names, items, strict=False)) if len(set(names)) == len(items) else None
        )
    if None in both:  # an item is about nothing, or two are about the same: by their places
        return dict(enumerate(expected)), dict(enumerate(found))
    return both[0] or {}, both[1] or {}


def _text(part: Any) -> str:
    return json.dumps(part, sort_keys=True, ensure_ascii=False, default=lambda _: "(as found)")
