"""The end of the review page: what the rules rest on, and each rule as it stood and came out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from advisor.derivation import ADVICE, DEMAND, STANDS, STANDS_OPEN, Conclusion, Step, Tested
from advisor.render.derivation_text import state_words
from advisor.render.review_marks import FACTS, Marks, folded, number, paragraphs, place, see
from advisor.render.sheet_words import (
    capital,
    esc,
    items,
    rule_name,
    rule_names,
    section,
    table,
    words,
)
from advisor.render.text import evidence_words
from advisor.reviewing import Cited, EvidenceGroup, RuleText, Work

_TITLES = {
    "published": "Published",
    "derived": "Derived by the model",
    "common-practice": "Common practice",
    "house": "The house's own",
}
_BENCH = ("step", "stop", "caution", "note")


# Evidence


def evidence(marks: Marks) -> str:
    """Return what the rules in force rest on, class by class, with the sources."""
    groups = marks.review.evidence
    rows = [(esc(_title(group)), str(len(group.rules)), esc(_works(group))) for group in groups]
    total = sum(len(group.rules) for group in groups)
    caption = f"The {total} rules in force here"
    body = table(caption, ("Evidence", "Rules", "Works"), rows, (50, 20, 30)) + "\n" if rows else ""
    for group in groups:
        told = items((_work(work) for work in group.works), "cases") + _others(group)
        body += section(f"evidence-{esc(group.kind)}", _title(group), told, level=3)
    return section("evidence", "What the rules rest on", body)


def _title(group: EvidenceGroup) -> str:
    return _TITLES.get(group.kind, group.kind)


def _works(group: EvidenceGroup) -> str:
    memory = sum(work.from_memory for work in group.works)
    told = f", {memory} from memory" if memory else ""
    return f"{len(group.works)}{told}" if group.works else "none named"


def _work(work: Work) -> str:
    parts = [part for part in (work.author, work.title, work.year) if part]
    memory = "From memory: it was not at hand, and must be checked before it is quoted."
    cited = "; ".join(f"{rule_name(one.rule)}{_where(one)}" for one in work.cited)
    return paragraphs(
        (
            f"<strong>{words(', '.join(parts))}</strong>"
            + (f" ({words(work.where)})" if work.where else ""),
            f"<strong>{memory}</strong>" if work.from_memory else "",
            words(work.note),
            f"Rules: {cited}.",
        )
    )


def _where(one: Cited) -> str:
    told = "; ".join(words(part) for part in (one.place, one.function, one.note) if part)
    return f" ({told})" if told else ""


def _others(group: EvidenceGroup) -> str:
    if not group.others:
        return ""
    lead = "<p>With no work named:</p>\n" if group.works else ""
    if not any(map(_where, group.others)):
        return f'{lead}<p class="names">{rule_names(one.rule for one in group.others)}.</p>'
    return lead + items(f"{rule_name(one.rule)}{_where(one)}" for one in group.others)


# Rules


def rules(marks: Marks) -> str:
    """Return every rule that is named on the page: what it came to, why, and its text."""
    by_file: dict[str, list[RuleText]] = {}
    for text in marks.review.rule_texts:
        by_file.setdefault(text.file, []).append(text)
    steps = _steps_by_rule(marks)
    body = "".join(
        f"<h3>{esc(file)}</h3>\n" + "".join(_rule(marks, text, steps) for text in texts)
        for file, texts in by_file.items()
    )
    lead = (
        "<p>Each as it stood when the advice was given, and what it came to: which of its tests "
        "held, and at which steps the facts behind them are told.</p>\n"
    )
    return section("texts", "The rules as they stood", lead + body if body else "")


def _steps_by_rule(marks: Marks) -> dict[str, list[Step]]:
    found: dict[str, list[Step]] = {}
    for step in marks.review.steps:
        if step.kind in (ADVICE, DEMAND):
            name = step.name if step.kind == ADVICE else step.rule
            found.setdefault(name, []).append(step)
    return found


def _rule(marks: Marks, text: RuleText, steps: dict[str, list[Step]]) -> str:
    step = marks.review.step(text.step)
    more = steps.get(text.rule, [])
    own = sorted((step, *(s for s in more if s.kind == ADVICE)), key=lambda s: s.number)
    title = (
        f'<span class="id">{esc(text.rule)}</span> <span class="quiet">{esc(_state(step))}</span>'
    )
    lines = [
        f"{place(text.file, text.line)}. {words(evidence_words(text.evidence))}",
        *_tests(step.tests),
        f"Set aside by {rule_names(step.by_rules)}." if step.by_rules else "",
        f"It sets aside {rule_names(step.defeated)}." if step.defeated else "",
        *_beaten(marks, step),
        *(
            f"It stands unless {rule_name(doubt.by)} comes to hold; not stated: "
            f"{marks.labels(doubt.facts)}."
            for doubt in step.stands_unless
        ),
    ]
    adds = items(_conclusions(marks, more, " ".join(text.text.split())))
    source = f"<pre>{esc(text.text)}</pre>\n"
    return folded(own, title, paragraphs(lines) + adds + source, f"rule-{text.rule}")


def _state(step: Step) -> str:
    return step.state if step.by_rules and step.state == "set aside" else state_words(step)


def _beaten(marks: Marks, step: Step) -> list[str]:
    """Say which rules could have set it aside, and do not."""
    if step.state not in (STANDS, STANDS_OPEN):
        return []
    below = [marks.review.step(n) for n in step.rests_on]
    could = [f"{rule_name(s.name)} ({esc(s.state)})" for s in below if s.name in marks.rules]
    return [f"Could set it aside, and does not: {', '.join(could)}."] if could else []


def _tests(tests: Iterable[Tested]) -> list[str]:
    found = list(tests)
    lines = []
    for part, word in (("when", "When"), ("unless", "Unless")):
        told = [
            f"{_linked(test.says, test.facts)}: {esc(test.outcome)}"
            for test in found
            if test.part == part
        ]
        if told:
            lines.append(f"{word} {'; '.join(told)}.")
    return lines or ["It holds always."]


def _linked(says: str, facts: Sequence[int]) -> str:
    """Say a text with links to the steps of the facts that it is about."""
    if len(facts) == 1:
        return f'<a href="#s{facts[0]}">{words(says)}</a>'
    return f"{words(says)} (steps {', '.join(map(see, facts))})" if facts else words(says)


def _conclusions(marks: Marks, steps: Iterable[Step], source: str) -> list[str]:
    """Say what a rule asks or concludes and what that came to.

    A demand that the choice of an option looked at has a step of its own, told here. What the rule
    says at the bench is left out where it stands in its text word for word.
    """
    found = list(steps)
    demands = {(s.strength, s.says): s for s in found if s.kind == DEMAND}
    lines = []
    for conclusion in (c for s in found if s.kind == ADVICE for c in s.concludes):
        if conclusion.kind in _BENCH and " ".join(conclusion.says.split()) in source:
            continue
        own = demands.pop((conclusion.kind, conclusion.says), None)
        lines.append(_conclusion(conclusion, own))
    for step in demands.values():
        facts = [n for n in step.rests_on if marks.review.step(n).kind in FACTS]
        asked = _linked(step.says, facts)
        lines.append(f"{number(step)} {capital(esc(step.strength))}: {asked}: {esc(step.state)}")
    return lines


def _conclusion(conclusion: Conclusion, own: Step | None) -> str:
    count = f"{number(own)} " if own else ""
    outcome = f": {esc(conclusion.outcome)}" if conclusion.outcome else ""
    kind = f"{conclusion.kind}, {conclusion.phase}" if conclusion.phase else conclusion.kind
    if conclusion.kind in _BENCH:
        # A link over several lines reads badly: the steps stand behind them.
        steps = f" (steps {', '.join(map(see, conclusion.facts))})" if conclusion.facts else ""
        said = f"{words(conclusion.says)}{steps}"
    else:
        said = _linked(conclusion.says, conclusion.facts)
    return f"{count}{capital(esc(kind))}: {said}{outcome}"
