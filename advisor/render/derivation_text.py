"""The Derivation as plain text: a tree of numbered steps, each told once.

Eighty columns. What a step rests on stands under it, further in; what was told before is referred
to by its number. Colour marks names and what is broken, on a terminal; nothing is told by it alone.
"""

from __future__ import annotations

from textwrap import wrap

from advisor.decision import FactValue
from advisor.derivation import (
    ADVICE,
    ASSUMED,
    CHOICE,
    COMPUTED,
    CONCLUDED,
    DEMAND,
    GIVEN,
    MISSING,
    OPTION,
    RULE,
    SET_ASIDE,
    STAGE,
    STANDS,
    STANDS_OPEN,
    Conclusion,
    Derivation,
    Step,
)
from advisor.render.numbers import plain
from advisor.render.text import evidence_words

WIDTH = 80
_IN = 2
_DEEPEST = 24
"""Columns by which text is moved in at most, so that enough is left to read."""
_MOST_VALUES = 12
_BOLD, _NAME, _BROKEN = "1", "36", "31"


def render(derivation: Derivation, colour: bool) -> str:
    """Return the Derivation as text, at most eighty columns wide."""
    return _Tree(derivation, colour).text()


class _Tree:
    def __init__(self, derivation: Derivation, colour: bool) -> None:
        self.d = derivation
        self.colour = colour
        self.lines: list[str] = []
        self.told: set[int] = set()
        self.digits = len(str(len(derivation.steps)))

    def text(self) -> str:
        d = self.d
        base = d.rulebase
        left = f"Why {d.what}"
        right = f"{base.name} {base.version}, digest {base.digest[:12]}"
        if len(left) + len(right) + 2 > WIDTH:
            self.lines += [self.paint(left, _BOLD), right]
        else:
            gap = " " * (WIDTH - len(left) - len(right))
            self.lines.append(self.paint(left, _BOLD) + gap + right)
        if d.title:
            self.put(d.title, 0)
        for note in d.notes:
            self.put(note, 0)
        self.lines.append("")
        self.step(d.steps[0], 0)
        return "\n".join(self.lines) + "\n"

    def paint(self, text: str, code: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self.colour else text

    def put(self, text: str, indent: int, hang: int = 0, lead: str = "") -> None:
        lines = wrap(
            text,
            WIDTH,
            initial_indent=lead.ljust(indent),
            subsequent_indent=" " * (indent + hang),
            break_on_hyphens=False,
            break_long_words=False,
        )
        self.lines += lines

    def step(self, step: Step, depth: int, parent: Step | None = None) -> None:
        """Tell a step and, under it, what it rests on."""
        self.told.add(step.number)
        at = min(depth * _IN, _DEEPEST)
        column = at + self.digits + 1
        first, *more = told(step, self.d, parent)
        start = len(self.lines)
        self.put(first, column, 2, lead=" " * at + str(step.number).rjust(self.digits) + " ")
        self._colour(step, start)
        for line in more:
            self.put(line, column + 2, 2)
        if step.kind == CHOICE:
            self._choice(step, depth)
        else:
            self._below(step.rests_on, depth + 1, step)

    def _choice(self, step: Step, depth: int) -> None:
        """Tell what a choice rests on in two parts, each under a heading of its own."""
        stages = [n for n in step.rests_on if self.d.step(n).kind == STAGE]
        speaking = [n for n in step.rests_on if n not in stages]
        column = (depth + 1) * _IN
        head = "Rules that speak on it" if speaking else "No rule asks anything of it."
        self.lines += ["", self.paint(" " * column + head, _BOLD)]
        self._below(tuple(speaking), depth + 1, step)
        self.lines += ["", self.paint(" " * column + "How the choice went", _BOLD)]
        self._below(tuple(stages), depth + 1, step)

    def _below(self, numbers: tuple[int, ...], depth: int, parent: Step) -> None:
        before = [n for n in numbers if n in self.told]
        if before:
            parts = [f"{brief(self.d.step(n))} ({n})" for n in before]
            column = min(depth * _IN, _DEEPEST) + self.digits + 1
            self.put(f"see {'; '.join(parts)}", column, 2)
        for number in numbers:
            if number not in self.told:
                self.step(self.d.step(number), depth, parent)
            elif number not in before:
                # It was told just now, under one of its neighbours.
                column = min(depth * _IN, _DEEPEST) + self.digits + 1
                self.put(f"see {brief(self.d.step(number))} ({number})", column, 2)

    def _colour(self, step: Step, start: int) -> None:
        if not self.colour:
            return
        name = step.rule or step.name
        code = _BROKEN if step.state == "broken" else _NAME
        for at in range(start, len(self.lines)):
            if name in self.lines[at]:
                self.lines[at] = self.lines[at].replace(name, self.paint(name, code), 1)
                return


# Words, shared with the picture


def brief(step: Step) -> str:
    """Name a step that is told elsewhere."""
    if step.kind in (RULE, ADVICE):
        return f"{step.name} {state_words(step)}" if step.kind == RULE else step.name
    if step.kind == DEMAND:
        return f"{step.strength} of {step.rule}"
    return step.says


def role_words(step: Step, parent: Step | None) -> str:
    """Say what a rule is to the step that rests on it, where that is not plain."""
    if parent is None or parent.kind not in (RULE, MISSING, STAGE):
        return ""
    if parent.kind == RULE:
        return ", which sets it aside," if step.name in parent.by_rules else _COULD_BEAT
    return ", which could conclude it," if parent.kind == MISSING else ", on which builds fail,"


_COULD_BEAT = ", which could set it aside,"


def told(step: Step, derivation: Derivation, parent: Step | None = None) -> list[str]:
    """Say a step: the first line tells what it is, those after it what there is to know of it.

    `parent` is the step under which it is told.
    """
    if step.kind == RULE:
        return _rule(step, derivation, parent)
    return {
        GIVEN: _given,
        ASSUMED: _assumed,
        OPTION: _option,
        MISSING: _missing,
        COMPUTED: _computed,
        CONCLUDED: _concluded,
        DEMAND: _demand,
        ADVICE: _advice,
        CHOICE: _chosen,
        STAGE: _stage,
    }[step.kind](step, derivation)


def place_words(step: Step) -> str:
    """Return file and line, or as much of it as there is."""
    return f"{step.file}:{step.line}" if step.line else step.file


def _given(step: Step, _: Derivation) -> list[str]:
    written = "" if step.written in step.says else f", written {step.written}"
    return [f"{step.says} ({place_words(step)}{written})", *_lines(step.because)]


def _assumed(step: Step, _: Derivation) -> list[str]:
    return [f"{step.says}: assumed by {step.by}. {step.because}"]


def _option(step: Step, _: Derivation) -> list[str]:
    return [f"{step.says}: of this build{_item(step)}"]


def _item(step: Step) -> str:
    return f", with {step.item} ({place_words(step)})" if step.item else ""


def _missing(step: Step, _: Derivation) -> list[str]:
    state = "" if step.state in step.says else f": {step.state}"
    function = [f"It would be computed: {step.function}."] if step.function else []
    return [f"{step.says}{state}", *_lines(capital(step.because)), *function]


def _computed(step: Step, _: Derivation) -> list[str]:
    band = f", +/- {step.band}" if step.band else ""
    return [f"{step.says}{band}: computed, {step.function}", *_lines(f"Source: {step.source}")]


def _concluded(step: Step, _: Derivation) -> list[str]:
    return [f"{step.says}: concluded", *_doubts(step)]


def state_words(step: Step) -> str:
    """Say what a rule comes to, as a verb."""
    verbs = {
        STANDS: "stands",
        STANDS_OPEN: "stands, its exception open",
        SET_ASIDE: f"is set aside by {', '.join(step.by_rules)}",
    }
    overruled = f", and overruled by {', '.join(step.by_rules)}" if step.by_rules else ""
    return verbs.get(step.state, f"is {step.state}{overruled}")


def _rule(step: Step, derivation: Derivation, parent: Step | None) -> list[str]:
    lines = []
    role = role_words(step, parent)
    if step.state in (STANDS, STANDS_OPEN, SET_ASIDE):
        evidence = f" {evidence_words(step.evidence)}" if step.evidence else ""
        lines.append(f"{step.says} {step.because}{evidence}")
        if step.contested:
            lines.append(f"Disputed: {step.contested.note}")
    lines += test_lines(step, derivation)
    lines += set_lines(step, parent)
    if step.defeated:
        lines.append(f"It sets aside {', '.join(step.defeated)}.")
    return [
        f"rule {step.name}{role} {state_words(step)} ({place_words(step)})",
        *lines,
        *_doubts(step),
    ]


def test_lines(step: Step, derivation: Derivation) -> list[str]:
    """Say the tests of a rule, but for those that the facts under it say in the same words."""
    lines = []
    if not step.tests:
        lines.append("It holds always.")
    for part, word in (("when", "When"), ("unless", "Unless")):
        tests = [
            f"{test.says}: {test.outcome}"
            for test in step.tests
            if test.part == part
            and not (
                part == "when"
                and test.outcome == "yes"
                and test.says in [derivation.step(n).says for n in test.facts]
            )
        ]
        whole = step.condition if part == "when" else step.exception
        if len(tests) > 1 and whole:
            lines.append(f"{word} {whole}. Here {'; '.join(tests)}")
        elif tests:
            lines.append(f"{word} {'; '.join(tests)}")
    return lines


def set_lines(step: Step, parent: Step | None) -> list[str]:
    """Say what a rule concludes, where that is not said by what rests on it."""
    if not step.concludes or (parent is not None and parent.kind in (ADVICE, CONCLUDED)):
        return []
    told = ", ".join(conclusion.says for conclusion in step.concludes)
    return [
        f"It {'concludes' if step.state in (STANDS, STANDS_OPEN) else 'would conclude'} {told}."
    ]


def _doubts(step: Step) -> list[str]:
    return [
        f"It stands unless {doubt.by} comes to hold; not stated: {', '.join(doubt.facts)}"
        for doubt in step.stands_unless
    ]


def _demand(step: Step, _: Derivation) -> list[str]:
    return [f"{step.strength} of {step.rule}: {step.says}. {capital(step.state)}."]


def _advice(step: Step, _: Derivation) -> list[str]:
    return [f"{step.name}: {step.says}", *map(conclusion_words, step.concludes)]


def conclusion_words(conclusion: Conclusion) -> str:
    """Say what a rule concludes."""
    kind = f"step, {conclusion.phase}" if conclusion.phase else conclusion.kind
    outcome = f": {conclusion.outcome}" if conclusion.outcome else ""
    return f"{kind}: {conclusion.says}{outcome}"


def _chosen(step: Step, _: Derivation) -> list[str]:
    return [f"{step.says}: chosen{_item(step)}"]


def _stage(step: Step, _: Derivation) -> list[str]:
    lines = [f"{capital(step.says)}."]
    if step.builds is not None:
        lines.append(f"{_fact_of(step)}: {_values(step.builds.values)}")
    if step.rejects:
        told = ", ".join(f"{reject.what} {reject.builds}" for reject in step.rejects)
        lines.append(f"Of those that came fail: {told}")
    return lines


def _fact_of(step: Step) -> str:
    return "Left of its values" if step.builds and step.builds.came > step.builds.left else "Values"


def _values(values: tuple[FactValue, ...]) -> str:
    shown = [plain(value) for value in values[:_MOST_VALUES]]
    more = len(values) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def _lines(text: str) -> list[str]:
    return [text] if text else []


def capital(text: str) -> str:
    """Return a text with a large first letter."""
    return f"{text[:1].upper()}{text[1:]}"
