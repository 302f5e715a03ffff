"""What an interview says each turn: how the advice stands, what moved, what is asked and why."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap

from advisor.ask_answers import due, listed
from advisor.ask_choices import numbered
from advisor.decision import Decision, Question
from advisor.render.numbers import digits, plain, unit_words
from advisor.rulebase.model import RuleBase
from advisor.vocabulary import CHOICE, Vocabulary

WIDTH = 80
MOST_RULES = 8
NO_BUILD = ("stopped", "rejected")

INTRODUCTION = (
    "Answer what you know. An empty line passes a question by; ? tells what else can be written, "
    "and quit ends the questions."
)
NO_CHOICE_WAITS = (
    "No choice waits for any question that is left. Their answers may still turn a build down, or "
    "bring numbers, cautions and steps; quit when it is enough."
)
ASKS_NAME = "A name for this setup (Enter for none):"
TAKE_BACK = "If the last answer was a slip, back takes it back."
HELP = (
    ("choices", "by number, by name or its beginning, or by a word of the line beside it"),
    ("measures", "with their unit, as on the bench: 28 1/2 in, 6.2 mm, 70 lb, 9.5 gr/in"),
    ("empty line", "you do not know, or what is assumed may stand; don't know says the same"),
    ("why", "shows the rules that wait for this answer"),
    ("back", "takes the last answer back, step by step to the first"),
    ("quit", "ends the questions; the advice is given as it stands"),
)

_IN_SHORT: Mapping[str, str] = {
    "fletching.count": "{} vanes",
    "vane.length": "{} long",
    "vane.height": "{} high",
    "vane.stiffness": "{}",
    "vane.material": "{}",
    "fletching.direction": "{} side",
    "fletching.offset": "{} offset",
    "bench.clamp": "{} clamp",
}
_GOES_ALONG = ("mass", "thickness", "width")
"""What comes with a vane; told only on the page at the end."""


def wrapped(text: str, indent: int = 0, hang: int = 0) -> list[str]:
    """Wrap a text to the width of a terminal."""
    return wrap(
        text,
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        break_on_hyphens=False,
        break_long_words=False,
    )


# How the advice stands


def standing(before: Decision | None, now: Decision, vocabulary: Vocabulary) -> list[str]:
    """Say how the advice stands, and what moved or firmed up since the last answer."""
    moved = _rests(before, now, vocabulary)
    if now.status not in NO_BUILD:
        settled, numbers = _settled(before, now, vocabulary), _worked_out(before, now, vocabulary)
        moved = [*settled, *moved, *numbers]
        if not moved and before is not None and before.survivors != now.survivors:
            moved = [f"{now.survivors} builds hold, {before.survivors} before."]
    return wrapped(" ".join((*_verdict(before, now), _build(before, now, vocabulary), *moved)))


def _build(before: Decision | None, now: Decision, vocabulary: Vocabulary) -> str:
    """Say the build in short, with what each part was; one that stays is not told again."""
    was = before.build if before is not None else {}
    changed = [
        fact
        for fact, value in now.build.items()
        if was.get(fact, value) != value
        and not fact.endswith(_GOES_ALONG)
        and not (fact.startswith("point.") and "point" in now.items)
    ]
    nearest = now.status in NO_BUILD
    head, head_was = now.items.get("point"), before.items.get("point") if before else None
    if before is not None and not changed and head == head_was:
        return f"The {'nearest ' if nearest else ''}build stays as it is."
    told = [f"head {head}" + (f" (was {head_was})" if head_was not in (None, head) else "")]
    told = told if head is not None else []
    for fact in dict.fromkeys((*_IN_SHORT, *changed)):
        if fact in now.build:
            pattern = _IN_SHORT.get(fact, f"{vocabulary[fact].label} {{}}")
            old = f" (was {plain(was[fact])})" if fact in changed else ""
            told.append(pattern.format(plain(now.build[fact])) + old)
    lead = "Nearest, not to be built" if nearest else "So far" if before is None else "Now"
    return f"{lead}: {', '.join(told)}."


def _verdict(before: Decision | None, now: Decision) -> list[str]:
    """Tell a stop or a conflict once, when it comes up, and that it is gone."""
    if now.status not in NO_BUILD:
        again = before is not None and before.status in NO_BUILD
        return ["Now a build satisfies every must."] if again else []
    if before is not None and (before.status, before.conflicts) == (now.status, now.conflicts):
        stopped = now.status == "stopped"
        return ["The stop stands." if stopped else "Still no build satisfies every must."]
    stops = [caution.text for caution in now.cautions if caution.level == "stop"]
    if stops:
        return ["STOP: do not build this.", *stops, *([] if before is None else [TAKE_BACK])]
    told = ["No build satisfies every must."]
    for conflict in now.conflicts[:1]:
        alone = len(conflict.rules) == 1
        told.append("This cannot be met:" if alone else "These cannot hold together:")
        told.append("; ".join(says.rstrip(".") for says in conflict.says) + ".")
    return told if before is None else [*told, TAKE_BACK]


def _settled(before: Decision | None, now: Decision, vocabulary: Vocabulary) -> list[str]:
    was = {u.fact for u in before.unsettled} if before is not None else set()
    waits = list(dict.fromkeys(u.fact for u in now.unsettled))
    settled = sorted(fact for fact in was if fact not in waits)
    fresh = [fact for fact in waits if fact not in was]
    told = []
    if settled:
        told.append(f"Settled now: {_labels(settled, vocabulary)}.")
    if fresh:
        told.append(f"Not settled yet: {_labels(fresh, vocabulary)}.")
    return told


def _rests(before: Decision | None, now: Decision, vocabulary: Vocabulary) -> list[str]:
    was = before.rests_on if before is not None else ()
    gone = [fact for fact in was if fact not in now.rests_on]
    fresh = [fact for fact in now.rests_on if fact not in was]
    told = []
    if gone:
        told.append(f"It rests no longer on an assumption: {_labels(gone, vocabulary)}.")
    if fresh:
        word = "an assumption" if len(fresh) == 1 else "assumptions"
        told.append(f"It rests on {word}: {_labels(fresh, vocabulary)}.")
    return told


def _worked_out(before: Decision | None, now: Decision, vocabulary: Vocabulary) -> list[str]:
    if before is None:
        return []
    fresh = []
    for name, number in now.numbers.items():
        if name not in before.numbers:
            label = vocabulary[name].label.partition(",")[0]
            fresh.append(f"{label} {digits(number.value, 3)}{unit_words(number.unit)}")
    return [f"Worked out: {listed(fresh, 2)}."] if fresh else []


def _labels(facts: list[str], vocabulary: Vocabulary) -> str:
    return listed([vocabulary[fact].label for fact in facts])


# What is asked


def asking(question: Question, base: RuleBase) -> list[str]:
    """Say how a question can be answered, and why it is asked."""
    entry = base.vocabulary[question.fact]
    lines = choices(entry.choices) if entry.kind == CHOICE else []
    assumption = base.assume.get(question.fact) if question.assumed else None
    how = [due(entry, by_example=assumption is None)]
    if assumption is not None:
        kept = base.words.value(question.fact, assumption.value)
        if isinstance(assumption.value, bool):
            kept = "yes" if assumption.value else "no"
        how.append(f"An empty line keeps {kept}: {assumption.because}.")
    lines += wrapped(" ".join(part for part in how if part), 2)
    lines += wrapped(_because(question), 2)
    if question.changing:
        told = "One answer" if question.changing == 1 else f"{question.changing} answers"
        changes = "changes" if question.changing == 1 else "change"
        lines += wrapped(f"{told} of {question.tried} tried {changes} the advice.", 2)
    return lines


def choices(told: Mapping[str, str]) -> list[str]:
    """List choices by number, each with its line."""
    width = max(map(len, told)) + 2
    numbers = {name: str(number) for number, name in numbered(told).items()}
    lines = []
    for name, says in told.items():
        lead = f"  {numbers.get(name, ''):>2}  {name:<{width}}"
        lines += wrap(
            says,
            WIDTH,
            initial_indent=lead,
            subsequent_indent=" " * len(lead),
            break_on_hyphens=False,
            break_long_words=False,
        ) or [lead.rstrip()]
    return lines


def _because(question: Question) -> str:
    bears = f"it bears on {listed(question.rules, 2)}" if question.rules else ""
    parts = [part for part in (question.because, bears) if part]
    return f"Asked because {'; '.join(parts)}." if parts else ""


def waiting(question: Question, base: RuleBase) -> list[str]:
    """Tell the rules that wait for an answer, the weightiest first."""
    if not question.rules:
        return wrapped("No rule names it; what the build rests on goes back to it.", 2)
    lines = []
    for rule in question.rules[:MOST_RULES]:
        lines += wrapped(f"{rule}: {base.entries[rule].says}", 2, 2)
    more = question.rules[MOST_RULES:]
    if more:
        lines += wrapped(f"and {', '.join(more)}", 2, 2)
    return [*lines, f"  `advisor rules show {question.rules[0]}` tells a rule in full."]


def helping(question: Question, now: Decision, base: RuleBase) -> list[str]:
    """Tell what can be written, and how the advice stands."""
    entry = base.vocabulary[question.fact]
    lines = wrapped(f"The question is about {entry.name}: {entry.label}. {due(entry)}", 2)
    for label, text in HELP:
        body = wrap(text, WIDTH - 14)
        lines.append(f"  {label:<12}{body[0]}")
        lines += [" " * 14 + line for line in body[1:]]
    return lines + wrapped(_build(None, now, base.vocabulary), 2)
