"""A Comparison as plain text: who is ahead and why, then all that differs, in two columns.

Eighty columns, no box drawing. Colour marks headings, what is broken and who is ahead; nothing is
told by colour alone. A difference inside the band of its number stands apart from the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import zip_longest
from textwrap import wrap

from advisor.comparison import (
    ALIKE,
    NEITHER,
    Comparison,
    Contender,
    NumberRow,
    RuleRow,
    Stage,
)
from advisor.errors import visible
from advisor.render import comparison_words as told
from advisor.render.page import WIDTH
from advisor.render.text import build_lines

_HEAD, _ALARM, _AHEAD, _RULE = "1", "1;31", "1;32", "36"
_HALVES = (4, 38, 38)
_FACTS = (2, 26, 26, 26)
_NUMBERS = (2, 34, 15, 15, 14)
_RULES = (4, 48, 14, 14)
_STAGES = (2, 40, 13, 13, 12)
_COLUMNS = ("first", "second")


class _Page:
    """Lines of text, in columns or across the page."""

    def __init__(self, colour: bool) -> None:
        self.lines: list[str] = []
        self.colour = colour

    def paint(self, text: str, code: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self.colour and text.strip() else text

    def head(self, text: str, layout: Sequence[int] = (), columns: Sequence[str] = ()) -> None:
        """Put a heading, and over the columns what stands in them."""
        self.lines.append("")
        if columns:
            indent, label, *rest = layout
            line = text.ljust(indent + label) if len(text) < indent + label else f"{text}\n"
            line = line if not line.endswith("\n") else line + " " * (indent + label)
            cells = [name.ljust(width) for name, width in zip(columns, rest, strict=True)]
            text = f"{line}{''.join(cells)}".rstrip()
        self.lines += [self.paint(line, _HEAD) for line in text.split("\n")]

    def title(self, left: str, right: str) -> None:
        """Put the title, and at the right of it, or under it, what else identifies the page."""
        left, right = visible(left), visible(right)
        gap = WIDTH - len(left) - len(right)
        if gap >= 2:
            self.lines.append((self.paint(left, _HEAD) + " " * gap + right).rstrip())
        else:
            self.put(left, 0, code=_HEAD)
            self.put(right, 0)

    def put(self, text: str, indent: int = 2, hang: int = 0, code: str = "") -> None:
        lines = wrap(
            visible(text),
            WIDTH,
            initial_indent=" " * indent,
            subsequent_indent=" " * (indent + hang),
            break_on_hyphens=False,
            break_long_words=False,
        )
        self.lines += [self.paint(line, code) if code else line for line in lines]

    def line(self, before: str, rule: str, behind: str = "") -> None:
        """Put a rule's name, with a word before or behind it."""
        self.lines.append(f"  {visible(before)}{self.paint(visible(rule), _RULE)}{behind}")

    def row(self, layout: Sequence[int], cells: Sequence[str], codes: Sequence[str] = ()) -> None:
        """Put cells beside each other, each wrapped within its column."""
        indent, *widths = layout
        wrapped = [
            wrap(visible(cell), width - 2 * (i < len(widths) - 1), break_on_hyphens=False)
            for i, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ]
        for parts in zip_longest(*wrapped, fillvalue=""):
            line = " " * indent
            for i, (part, width) in enumerate(zip(parts, widths, strict=True)):
                code = codes[i] if i < len(codes) else ""
                line += (self.paint(part, code) if code else part) + " " * (width - len(part))
            self.lines.append(line.rstrip())

    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


def render(comparison: Comparison, colour: bool) -> str:
    """Return the Comparison as text, at most eighty columns wide."""
    page = _Page(colour)
    _top(comparison, page)
    _facts(comparison, page)
    _stages(comparison, page)
    _rules(comparison, page)
    _numbers(comparison, page)
    _bench(comparison, page)
    _alike(comparison, page)
    page.lines.append("")
    page.put(told.CLOSING, 0)
    return page.text()


def _top(c: Comparison, page: _Page) -> None:
    sides = c.first, c.second
    titles = list(dict.fromkeys(side.title or "Untitled setup" for side in sides))
    same = not any(ground.what == "rule base" for ground in c.grounds)
    page.title(" against ".join(titles), told.base_words(c.first.rulebase) if same else "")
    page.head(told.title(c))
    page.put(c.verdict, hang=2, code=_AHEAD if c.ahead else "")
    for stop in told.stops(c):
        page.head("Stop")
        page.put(stop, hang=2, code=_ALARM)
    if c.grounds:
        page.head("Not judged alike", _FACTS, _COLUMNS)
        for ground in c.grounds:
            page.row(_FACTS, (ground.what, ground.first, ground.second))
    page.lines.append("")
    names = [f"First: {told.named(c.first)}", f"Second: {told.named(c.second)}"]
    page.row(_HALVES, names, (_HEAD, _HEAD))
    lines = [build_lines(side.build, side.items) for side in sides]
    for one, other in zip_longest(*lines, fillvalue=""):
        page.row(_HALVES, (one, other))
    stands = told.stands(c.first, c.second), told.stands(c.second, c.first)
    page.row(_HALVES, stands, [_stand_code(side) for side in sides])


def _stand_code(side: Contender) -> str:
    return "31" if side.stands in ("breaks", "stopped") else ""


def _facts(c: Comparison, page: _Page) -> None:
    if not c.facts:
        page.head("Nothing that is given, assumed or chosen differs")
    else:
        page.head("What differs", _FACTS, _COLUMNS)
        for row in c.facts:
            first = told.value(row.first, row.first_origin)
            page.row(_FACTS, (row.fact, first, told.value(row.second, row.second_origin)))
    page.put(told.alike(c.facts_alike, "fact"))


def _stages(c: Comparison, page: _Page) -> None:
    if not c.stages:
        return
    page.head("What decides, first to last", _STAGES, (*_COLUMNS, ""))
    for stage in c.stages:
        _stage(stage, page)


def _stage(stage: Stage, page: _Page) -> None:
    code = _AHEAD if stage.goes in _COLUMNS else ""
    cells = [stage.says, *told.stage_values(stage), told.goes(stage)]
    page.row(_STAGES, cells, ("", "", "", code))
    for name, on in (("first", stage.first_on), ("second", stage.second_on)):
        if on:
            page.put(f"{name}: {told.counted(on)}", 6, hang=2)
    if stage.rule:
        page.put(f"{stage.rule}: {told.reach(stage)}" if stage.goes else stage.rule, 6, hang=2)


def _rules(c: Comparison, page: _Page) -> None:
    for group, heading in told.SPEAKS.items():
        rows = [row for row in c.rules if row.group == group]
        if rows:
            page.head(heading, _RULES, _COLUMNS)
        for row in rows:
            _rule(row, page)
    rows = told.differing(c.rules)
    if rows:
        page.head("Speaks on neither, but not alike", _RULES, _COLUMNS)
    for row in rows:
        _rule(row, page)


def _rule(row: RuleRow, page: _Page) -> None:
    disputed = "  (disputed)" if row.contested else ""
    page.line("", row.rule, disputed)
    for asked in row.asks:
        cells = [
            f"{told.strength(asked.strength)}: {asked.asks}",
            told.outcome(asked.first, row.first),
            told.outcome(asked.second, row.second),
        ]
        page.row(_RULES, cells, ["", *("31" if cell == "BROKEN" else "" for cell in cells[1:])])
    if not row.asks:
        warns = f"{row.warns}: {row.says}" if row.warns else row.says
        page.row(_RULES, (warns, told.state(row.first), told.state(row.second)))
    for name, said in (("first", row.first), ("second", row.second)):
        if told.detail(said):
            page.put(f"{name}: {told.detail(said)}", 6, hang=2)


def _numbers(c: Comparison, page: _Page) -> None:
    loud = [row for row in c.numbers if not row.inside]
    quiet = [row for row in c.numbers if row.inside]
    if not c.numbers:
        page.head("No number differs")
    if loud:
        page.head("Numbers that differ", _NUMBERS, (*_COLUMNS, "second has"))
        _number_rows(c, loud, page)
    if quiet:
        page.head("Inside the band", _NUMBERS, (*_COLUMNS, "second has"))
        page.put(f"The difference is {told.LITTLE}.")
        _number_rows(c, quiet, page)
    page.put(told.alike(c.numbers_alike, "number"))


def _number_rows(c: Comparison, rows: Iterable[NumberRow], page: _Page) -> None:
    for row in rows:
        label = c.labels.get(row.fact, row.fact)
        band = told.band(row)
        label = f"{label} ({band})" if band else label
        page.row(_NUMBERS, (label, *told.pair(row), told.difference(row)))


def _bench(c: Comparison, page: _Page) -> None:
    if c.cautions:
        page.head("Cautions that differ")
        for caution in c.cautions:
            page.line(f"{caution.level}, ", caution.rule)
            page.row(_HALVES, (caution.first or "-", caution.second or "-"))
    if c.steps:
        page.head("Steps that differ")
        for step in c.steps:
            page.line(f"{step.phase}, ", step.rule)
            page.row(_HALVES, (step.first or "-", step.second or "-"))
    for tie in c.ties:
        page.head(f"Open tie {told.tie_on(tie.on)}: {tie.tie.fact}")
        for side in tie.tie.sides:
            page.put(f"{side.rule} asks that {side.asks}", hang=2)


def _alike(c: Comparison, page: _Page) -> None:
    """Name the rules that part nothing, by what they say of both."""
    rows = [row for row in c.rules if row.group == ALIKE]
    if rows:
        page.head("Speaks alike of both")
    for state in ("broken", "unproven", "warns", "met"):
        names = [row.rule for row in rows if row.first.state == state]
        if names:
            page.put(f"{state} ({len(names)}): {', '.join(names)}", hang=2)
    names = [row.rule for row in c.rules if row.group == NEITHER and row.first == row.second]
    if names:
        page.put(f"undecided or set aside on both ({len(names)}): {', '.join(names)}", hang=2)


__all__ = ["render"]
