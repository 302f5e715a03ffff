"""The Derivation as a picture: a tree from what was asked, at the left, to what was stated.

Every step is one box, with its number; what a step rests on stands to the right of it. Facts that
end the way down stand together in one box beside the step that first needs them, and what is told
elsewhere is named by its number. The kind of a step is told in words, and its outline says the
same: thick where something is broken, dashed where it is assumed or told elsewhere, dotted where it
is missing or silent.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import NamedTuple

from advisor.derivation import (
    ADVICE,
    ASSUMED,
    CHOICE,
    COMPUTED,
    DEMAND,
    GIVEN,
    LEAVES,
    MISSING,
    OPTION,
    RULE,
    STAGE,
    STANDS,
    STANDS_OPEN,
    Derivation,
    Step,
)
from advisor.render.derivation_text import (
    brief,
    capital,
    conclusion_words,
    place_words,
    role_words,
    set_lines,
    state_words,
    test_lines,
    told,
)
from advisor.render.drawing_canvas import escape, px, text_width

MARGIN = 20.0
BOX = 236.0
PAD = 9.0
GAP = 36.0  # between a step and what it rests on
BETWEEN = 10.0  # between boxes one under the other
LEADING = 1.3
BODY, SMALL, TITLE = 12.0, 11.0, 16.0
_BOLD = 1.1
"""How much wider than plain letters bold ones are."""
_AMOUNT = re.compile(
    r"(?<=\+/-) |(?<=\d) (?=(?:mm|in|deg|degC|m|gr|fps|kg|lb|lbf|yd|J|N|s|%)\b|%|gr/|kg/)"
)
"""The space between a number and its unit, which stay on one line."""
_ANCHOR = 15.0
"""How far below a box's upper edge its lines leave and reach it."""

_LIGHT = {"ink": "#111111", "thin": "#4a4a4a", "line": "#5b7185", "pale": "#f1f1f1"}
_LIGHT |= {"paper": "#ffffff", "wrong": "#9c1c1c"}
_DARK = {"ink": "#eeeeee", "thin": "#b5b5b5", "line": "#8fa6ba", "pale": "#2c3036"}
_DARK |= {"paper": "#16191d", "wrong": "#f0a0a0"}
_PRINT = _LIGHT | {"thin": "#000000", "line": "#000000", "wrong": "#000000"}

# What each class fills and strokes with, how wide, and how it is dashed.
_RULES = (
    (".paper", "paper", "", 0.0, ""),
    ("text", "ink", "", 0.0, ""),
    (".small", "thin", "", 0.0, ""),
    (".way", "none", "line", 1.2, ""),
    (".box", "paper", "ink", 1.0, ""),
    (".leaf", "pale", "thin", 0.8, ""),
    (".assumed", "pale", "ink", 1.2, "7 3"),
    (".missing", "paper", "ink", 1.2, "2 3"),
    (".silent", "paper", "thin", 1.0, "2 3"),
    (".elsewhere", "paper", "thin", 0.8, "5 3"),
    (".broken", "paper", "wrong", 2.6, ""),
    (".first", "pale", "ink", 2.0, ""),
)


class _Line(NamedTuple):
    """A line of words in a box."""

    text: str
    style: str = ""  # "", "strong" or "small"


class Box(NamedTuple):
    """A box of the tree before it has its place, and those to the right of it."""

    lines: tuple[_Line, ...]
    style: str
    right: tuple[Box, ...] = ()

    @property
    def height(self) -> float:
        """Return how high the box is."""
        return 2 * PAD + sum(map(_leading, self.lines)) - 2

    @property
    def whole(self) -> float:
        """Return how high the box and all to the right of it are together."""
        beside = sum(box.whole for box in self.right) + BETWEEN * (len(self.right) - 1)
        return max(self.height, beside)

    @property
    def depth(self) -> int:
        """Return how many boxes stand side by side."""
        return 1 + max((box.depth for box in self.right), default=0)


def render(derivation: Derivation, colour: bool) -> str:  # noqa: ARG001  # style follows the reader
    """Return the Derivation as one SVG document."""
    tree = tree_of(derivation)
    head = _head(derivation, tree.depth)
    top = MARGIN + sum(map(_leading, head)) + 12
    width = 2 * MARGIN + tree.depth * BOX + (tree.depth - 1) * GAP
    height = top + tree.whole + MARGIN
    parts: list[str] = []
    _write(parts, head, MARGIN, MARGIN)
    ways: list[str] = []
    boxes: list[str] = []
    _draw(tree, MARGIN, top, ways, boxes)
    body = "\n".join([*parts, *ways, *boxes])
    return _document(derivation, width, height, body)


# From steps to boxes


def tree_of(derivation: Derivation) -> Box:
    """Return the tree of boxes: each step told once, where it is first needed."""
    return _Tree(derivation).box(derivation.steps[0], None)


class _Tree:
    def __init__(self, derivation: Derivation) -> None:
        self.d = derivation
        self.told: set[int] = set()

    def box(self, step: Step, parent: Step | None) -> Box:
        self.told.add(step.number)
        lines = tuple(self._lines(step, parent))
        style = "first" if parent is None else _style(step)
        return Box(lines, style, tuple(self._right(step)))

    def _right(self, step: Step) -> Iterable[Box]:
        """Make the boxes of what a step rests on, in the order of their numbers."""
        ends: list[Step] = []
        elsewhere: list[Step] = []
        for below in map(self.d.step, step.rests_on):
            if below.number in self.told:
                elsewhere.append(below)
                continue
            if ends and (_style(ends[0]) != _style(below) or not _is_end(below)):
                yield self._ends(ends)
                ends = []
            if _is_end(below):
                self.told.add(below.number)
                ends.append(below)
            else:
                yield self.box(below, step)
        if ends:
            yield self._ends(ends)
        if elsewhere:
            words = "; ".join(f"{s.number} {brief(s)}" for s in elsewhere)
            yield Box(tuple(_broken(f"See {words}", "small")), "elsewhere")

    def _ends(self, steps: Sequence[Step]) -> Box:
        """Make one box of facts that end the way down and have one style."""
        lines = [line for step in steps for line in self._end(step)]
        return Box(tuple(lines), _style(steps[0]))

    def _end(self, step: Step) -> list[_Line]:
        """Return the lines of a fact that ends the way down, in a box with others."""
        words = {GIVEN: "given", ASSUMED: "assumed", OPTION: "of this build", MISSING: "missing"}
        first, *more = told(step, self.d)
        place = place_words(step)
        if step.kind == GIVEN:
            written = "" if step.written in step.says else f", written {step.written}"
            more = [f"{place}{written}", *more]
        elif step.kind == ASSUMED:
            more = [f"By {step.by}: {step.because}"]
        elif step.kind == OPTION:
            more = [f"With {step.item} ({place})"] if step.item else []
        says = f"{step.number} {words[step.kind]}: {step.says}"
        if step.kind == MISSING:
            says = f"{step.number} {first}"
        return [*_broken(says), *(line for text in more for line in _broken(text, "small"))]

    def _lines(self, step: Step, parent: Step | None) -> list[_Line]:
        head, strong, more = self._words(step, parent)
        lines = _broken(f"{step.number} {head}", "small")
        lines += _broken(strong, "strong")
        for text in more:
            lines += _broken(text)
        return lines

    def _words(self, step: Step, parent: Step | None) -> tuple[str, str, list[str]]:
        """Return what a box says: the kind of the step, its main words, and what else."""
        first, *more = told(step, self.d, parent)
        if step.kind == RULE:
            lines = [step.says] if step.state in (STANDS, STANDS_OPEN) or step.by_rules else []
            lines += [*test_lines(step, self.d), *set_lines(step, parent)]
            if step.defeated:
                lines.append(f"It sets aside {', '.join(step.defeated)}.")
            role = role_words(step, parent) or ","
            return f"rule{role} {place_words(step)}", f"{step.name} {state_words(step)}", lines
        if step.kind == DEMAND:
            return f"{step.strength} of {step.rule}", step.says, [f"{capital(step.state)}."]
        if step.kind == ADVICE:
            return (
                "what a rule adds",
                step.name,
                [step.says, *map(conclusion_words, step.concludes)],
            )
        if step.kind == COMPUTED:
            band = f", +/- {step.band}" if step.band else ""
            return "computed", f"{step.says}{band}", [capital(step.function)]
        if step.kind == STAGE:
            return "stage of the choice", f"{capital(step.says)}.", more
        if step.kind == CHOICE:
            item = [f"With {step.item}"] if step.item else []
            return "chosen", step.says, item
        if step.kind == GIVEN:
            written = "" if step.written in step.says else f"Written {step.written}"
            return "given", step.says, [t for t in (place_words(step), written, step.because) if t]
        if step.kind == MISSING:
            return "missing", first, more
        if step.kind == ASSUMED:
            return f"assumed by {step.by}", step.says, [step.because]
        return step.kind, step.says, more


def _is_end(step: Step) -> bool:
    return step.kind in LEAVES and not step.rests_on


def _style(step: Step) -> str:
    if step.kind in (GIVEN, OPTION):
        return "leaf"
    if step.kind in (ASSUMED, MISSING):
        return step.kind
    if step.state == "broken":
        return "broken"
    if step.kind == RULE and step.state not in (STANDS, STANDS_OPEN):
        return "silent"
    return "box"


# From boxes to a picture


def _size(line: _Line) -> float:
    return {"small": SMALL, "title": TITLE}.get(line.style, BODY)


def _leading(line: _Line) -> float:
    return _size(line) * LEADING


def line_width(text: str, style: str) -> float:
    """Return about how wide a line of words will be."""
    wider = _BOLD if style in ("strong", "title") else 1.0
    return text_width(text, _size(_Line(text, style))) * wider


def _broken(text: str, style: str = "", room: float = BOX - 2 * PAD) -> list[_Line]:
    """Break words into lines that fit, and a word longer than a line too."""
    most = max(1, int(room / line_width("x", style)))
    return [_Line(part, style) for part in wrap(_AMOUNT.sub("\u00a0", text), most)]


def _head(derivation: Derivation, depth: int) -> list[_Line]:
    room = depth * BOX + (depth - 1) * GAP
    base = derivation.rulebase
    words = [
        derivation.title or "Untitled setup",
        f"{base.name} {base.version}, digest {base.digest[:12]}",
        *derivation.notes,
    ]
    lines = _broken(f"Why {derivation.what}", "title", room)
    return lines + [line for text in words for line in _broken(text, "small", room)]


def _write(parts: list[str], lines: Iterable[_Line], x: float, y: float) -> None:
    for line in lines:
        y += _leading(line)
        kind = f' class="{line.style}"' if line.style else ""
        at = f'x="{px(x)}" y="{px(y - 0.25 * _size(line))}"'
        parts.append(f"<text{kind} {at}>{escape(line.text)}</text>")


def _draw(box: Box, x: float, y: float, ways: list[str], boxes: list[str]) -> None:
    """Draw a box, those to the right of it, and the lines between them."""
    size = f'width="{px(BOX)}" height="{px(box.height)}"'
    boxes.append(f'<rect class="box {box.style}" x="{px(x)}" y="{px(y)}" {size} rx="3"/>')
    _write(boxes, box.lines, x + PAD, y + PAD - 2)
    if not box.right:
        return
    middle, beside = x + BOX + GAP / 2, x + BOX + GAP
    at, ends = y, []
    for other in box.right:
        _draw(other, beside, at, ways, boxes)
        ends.append(at + _ANCHOR)
        at += other.whole + BETWEEN
    way = f"M{px(x + BOX)} {px(y + _ANCHOR)}H{px(middle)}"
    if len(ends) > 1:
        way += f"V{px(ends[-1])}"
    way += "".join(f"M{px(middle)} {px(end)}H{px(beside)}" for end in ends)
    ways.append(f'<path class="way" d="{way}"/>')


def _paint(part: str, name: str) -> str:
    # Twice where a variable is used, for viewers that know none.
    return f"{part}:none;" if name == "none" else f"{part}:{_LIGHT[name]};{part}:var(--{name});"


def _rule(selector: str, fill: str, stroke: str, width: float, dash: str) -> str:
    words = _paint("fill", fill) + (_paint("stroke", stroke) if stroke else "")
    words += f"stroke-width:{width:g}px;" if width else ""
    words += f"stroke-dasharray:{dash};" if dash else ""
    return f".derivation {selector}{{{words}}}\n"


def _variables(colours: dict[str, str]) -> str:
    return "".join(f"--{name}:{colour};" for name, colour in colours.items())


def style() -> str:
    """Return the text of the style element: light, dark if the reader asks, and black in print."""
    return (
        f"\n.derivation{{{_variables(_LIGHT)}font-size:{BODY:g}px;"
        "font-family:'Liberation Sans',Arial,Helvetica,sans-serif;}\n"
        f"@media (prefers-color-scheme:dark){{.derivation{{{_variables(_DARK)}}}}}\n"
        f"@media print{{.derivation{{{_variables(_PRINT)}max-width:100%;max-height:100vh;}}}}\n"
        + "".join(_rule(*rule) for rule in _RULES)
        + f".derivation .small{{font-size:{SMALL:g}px;}}\n"
        + f".derivation .title{{font-size:{TITLE:g}px;font-weight:bold;}}\n"
        + ".derivation .strong{font-weight:bold;}\n"
    )


def _document(derivation: Derivation, width: float, height: float, body: str) -> str:
    wide, high = px(width), px(height)
    words = " ".join(f"Step {s.number}: {told(s, derivation)[0]}." for s in derivation.steps)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="derivation" role="img" '
        f'aria-labelledby="derivation-title derivation-desc" width="{wide}" height="{high}" '
        f'viewBox="0 0 {wide} {high}">\n'
        f'<title id="derivation-title">{escape(f"Why {derivation.what}")}</title>\n'
        f'<desc id="derivation-desc">{escape(words)}</desc>\n'
        f"<style>{style()}</style>\n"
        f'<rect class="paper" width="{wide}" height="{high}"/>\n'
        f"{body}\n</svg>\n"
    )
