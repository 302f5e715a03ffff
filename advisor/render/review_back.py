"""The back of the review page: steps at the bench, facts, numbers, and how the choice went."""

from __future__ import annotations

from advisor.decision import FactValue
from advisor.derivation import (
    ASSUMED,
    CHOICE,
    COMPUTED,
    CONCLUDED,
    GIVEN,
    MISSING,
    OPTION,
    STAGE,
    Step,
)
from advisor.render.numbers import amount, plain
from advisor.render.review_marks import Marks, folded, number, paragraphs, place, see
from advisor.render.sheet_words import (
    PHASES,
    asked,
    capital,
    esc,
    foreign,
    items,
    label,
    may_build,
    rule_name,
    section,
    table,
    words,
)

_KINDS = (
    (GIVEN, "Stated"),
    (ASSUMED, "Assumed"),
    (OPTION, "Of this build"),
    (CONCLUDED, "Concluded by rules"),
    (MISSING, "Not known"),
)
_MOST_VALUES = 12


def bench(marks: Marks) -> str:
    """Return the steps at the bench in their order, each with its rule."""
    d = marks.d
    if not may_build(d) or not d.steps:
        return ""
    body, phase = "", ""
    for count, step in enumerate(d.steps, 1):
        if step.phase != phase:
            body += "</ol>\n" if phase else ""
            phase = step.phase
            head = capital(PHASES.get(phase, phase))
            body += f'<h3>{esc(head)}</h3>\n<ol start="{count}" class="work">\n'
        body += f"<li>{words(step.text)} ({rule_name(step.rule)})</li>\n"
    return section("bench", "Steps at the bench", f"{body}</ol>\n")


# Facts


def facts(marks: Marks) -> str:
    """Return every fact that anything here goes back to, and where it has its value from."""
    body = ""
    for kind, title in _KINDS:
        steps = [step for step in marks.review.steps if step.kind == kind]
        rows = [(number(step), _fact(marks, step), _origin(marks, step)) for step in steps]
        if rows:
            heads = ("No.", "Fact", "Where it comes from")
            body += table(title, heads, rows, (9, 42, 49)) + "\n"
    return section("facts", "Facts, and where each comes from", body)


def _fact(marks: Marks, step: Step) -> str:
    value = "" if step.value is None else f" <strong>{words(plain(step.value))}</strong>"
    named = capital(words(label(marks.d, step.name)))
    return f'{named}{value}<br><span class="fact">{esc(step.name)}</span>'


def _origin(marks: Marks, step: Step) -> str:
    if step.kind == GIVEN:
        told = f"{place(step.file, step.line)}, written {foreign(step.written)}"
    elif step.kind == ASSUMED:
        told = f"{words(step.because)} ({esc(step.by)})"
    elif step.kind == OPTION:
        told = f"with {foreign(step.item)} ({place(step.file, step.line)})" if step.item else ""
        told = told or "as the choice went"
        choice = next(
            (s.number for s in marks.review.steps if s.kind == CHOICE and s.name == step.name), None
        )
        told += f"; why: step {see(choice)}" if choice else ""
    elif step.kind == CONCLUDED:
        told = "by " + ", ".join(rule_name(marks.review.step(n).name) for n in step.rests_on)
    else:
        told = _missing(marks, step)
    doubts = [
        f"It stands unless {rule_name(doubt.by)} comes to hold; not stated: "
        f"{marks.labels(doubt.facts)}."
        for doubt in step.stands_unless
    ]
    because = words(step.because) if step.kind == GIVEN else ""
    return paragraphs((told, because, *doubts))


def _missing(marks: Marks, step: Step) -> str:
    told = capital(words(step.state))
    if step.because:
        told += f": {marks.text(step.because)}"
    below = [marks.review.step(n) for n in step.rests_on]
    names = [
        rule_name(s.name) if s.name in marks.rules and s.kind == "rule" else marks.label(s.name)
        for s in below
    ]
    return f"{told} ({', '.join(names)})" if names else told


# Numbers


def numbers(marks: Marks) -> str:
    """Return what was worked out: each number with its band, its function and its inputs."""
    d = marks.d
    rows = [_number_row(marks, step) for step in marks.review.steps if step.kind == COMPUTED]
    heads = ("No.", "Number, with its band", "How, and from what")
    body = table("Worked out", heads, rows, (9, 40, 51)) + "\n" if rows else ""
    refused: dict[str, list[str]] = {}
    for name, why in d.unknown.items():
        if why.refused:
            refused.setdefault(why.refused, []).append(name)
    for why_not, names in refused.items():
        body += f"<p>{capital(asked(d, why_not))}: no {marks.labels(names)}.</p>\n"
    lacking = [name for name, why in d.unknown.items() if not why.refused]
    if lacking:
        body += f"<p>Not known for want of something: {marks.labels(lacking)}.</p>\n"
    return section("numbers", "Numbers", body)


def _number_row(marks: Marks, step: Step) -> tuple[str, str, str]:
    told = marks.d.numbers.get(step.name)
    shown = amount(told) if told is not None else plain(step.value or "")
    resting = told.rests_on if told is not None else ()
    star = "*" if resting else ""
    value = (
        f"{capital(words(label(marks.d, step.name)))} <strong>{words(shown)}{star}</strong>"
        f'<br><span class="fact">{esc(step.name)}</span>'
    )
    below = marks.labels(marks.review.step(n).name for n in step.rests_on)
    how = (
        f"{capital(words(step.function))}. Source: {words(step.source)}.",
        f"From {below}." if below else "",
        f"* rests on assumed {marks.labels(resting)}." if resting else "",
    )
    return number(step), value, paragraphs(how)


# The choice


def choices(marks: Marks) -> str:
    """Return the stages of the choice, and what speaks on each option and is left of it in each."""
    steps = [step for step in marks.review.steps if step.kind == CHOICE]
    if not steps:
        return ""
    lead = (
        "<p>Builds are chosen whole: each stage keeps those of the builds left that do best in it, "
        "and so narrows every option.</p>\n"
    )
    options = "".join(_choice(marks, step, first=step is steps[0]) for step in steps)
    return section("choices", "How the choice went", lead + _stages(marks, steps[0]) + options)


def _stages_of(marks: Marks, choice: Step) -> list[Step]:
    below = (marks.review.step(n) for n in choice.rests_on)
    return [step for step in below if step.kind == STAGE]


def _stages(marks: Marks, first: Step) -> str:
    """Return the stages of the choice; they are the same for every option but for its values."""
    rows = [
        (number(step), _stage(marks, step), str(step.builds.left) if step.builds else "")
        for step in _stages_of(marks, first)
    ]
    heads = ("No.", "Stage, and who fails in it", "Builds left")
    return table("The stages, in their order", heads, rows, (9, 77, 14)) + "\n" if rows else ""


def _stage(marks: Marks, step: Step) -> str:
    rests = ", ".join(see(n) for n in step.rests_on)
    rejects = ", ".join(f"{marks.what(one.what)} {one.builds}" for one in step.rejects)
    return paragraphs(
        (
            f"<strong>{_short(step.name)}</strong>: {marks.text(step.says)}.",
            f"Builds that fail on it: {rejects}." if rejects else "",
            f"Rests on steps {rests}." if rests else "",
        )
    )


def _choice(marks: Marks, step: Step, *, first: bool) -> str:
    """Tell what speaks on an option, and what the stages leave of its values.

    The first option's stages were numbered where all are told; those of the others are here.
    """
    speaking = [one for n in step.rests_on if (one := marks.review.step(n)).kind != STAGE]
    body = items(
        f"step {see(one.number)}: {esc(one.strength)} of {rule_name(one.rule)}: "
        f"{marks.text(one.says)}, {esc(one.state)}"
        for one in speaking
    )
    body = body or "<p>No rule asks anything of it.</p>"
    told: list[tuple[list[str], str]] = []
    for stage in _stages_of(marks, step):
        values = words(_values(stage.builds.values)) if stage.builds else ""
        name = f"{see(stage.number) if first else number(stage)} {_short(stage.name)}"
        if told and told[-1][1] == values:
            told[-1][0].append(name)
        else:
            told.append(([name], values))
    body += items((f"left after {', '.join(names)}: {values}" for names, values in told), "left")
    item = f", with {foreign(step.item)}" if step.item else ""
    value = "" if step.value is None else words(plain(step.value))
    title = f"{capital(words(label(marks.d, step.name)))} {value}{item}"
    return folded((step,), title, body + "\n")


def _short(name: str) -> str:
    """Name a stage: its kind, and the layer or the favour that it is of."""
    kind, _, of = name.partition(" ")
    named = rule_name(of) if kind == "favour" else esc(of)
    return f"{esc(kind.replace('-', ' '))} {named}".strip()


def _values(values: tuple[FactValue, ...]) -> str:
    shown = [plain(value) for value in values[:_MOST_VALUES]]
    more = len(values) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")
