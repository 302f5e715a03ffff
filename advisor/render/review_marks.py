"""Links of the review page: from each rule to its text, from each step to where it was told."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from advisor.decision import Premise
from advisor.derivation import (
    ASSUMED,
    COMPUTED,
    CONCLUDED,
    GIVEN,
    MISSING,
    OPTION,
    RULE,
    Step,
)
from advisor.render.sheet_words import asked, esc, foreign, label, labels, rule_name, words
from advisor.reviewing import Review

FACTS = (GIVEN, ASSUMED, OPTION, CONCLUDED, COMPUTED, MISSING)
"""The kinds of steps that tell of a fact."""

_NAMED = re.compile(r"(?<![\w.-])[a-z0-9]+(?:-[a-z0-9]+)+(?![\w-])")
_CODE = re.compile(r"<code>([a-z0-9-]+)</code>")


class Marks:
    """Sets what a review says into markup, with its links.

    A rule's id is set as code, which nothing but this program's own markup can be, for all other
    text is escaped; `linked` then turns those whose text is on the page into links, in one go.
    """

    def __init__(self, review: Review) -> None:
        self.review = review
        self.d = review.decision
        self.texts = {text.rule: text for text in review.rule_texts}
        self.retired = {gone.rule for gone in self.d.retired}
        self.facts: dict[str, int] = {}
        self.rules: dict[str, Step] = {}
        for step in review.steps:
            if step.kind in FACTS:
                self.facts[step.name] = step.number
            elif step.kind == RULE:
                self.rules[step.name] = step

    def linked(self, page: str) -> str:
        """Return a page in which every rule whose text stands on it is a link to that text."""

        def link(match: re.Match[str]) -> str:
            rule = match[1]
            if rule in self.texts:
                return f'<a href="#rule-{rule}">{match[0]}</a>'
            return f'<a href="#gone-{rule}">{match[0]}</a>' if rule in self.retired else match[0]

        return _CODE.sub(link, page)

    def text(self, text: str) -> str:
        """Put a text into words, escaped: facts by their labels, rules as the names they are."""
        return self.named(asked(self.d, text))

    def named(self, safe: str) -> str:
        """Set the rules that an escaped text names."""

        def name(match: re.Match[str]) -> str:
            known = match[0] in self.texts or match[0] in self.retired
            return rule_name(match[0]) if known else match[0]

        return _NAMED.sub(name, safe)

    def what(self, what: str) -> str:
        """Name a rule, or say a fact in words, whichever it is."""
        return rule_name(what) if what in self.texts else self.label(what)

    def label(self, fact: str) -> str:
        """Say a fact in words, with a link to where it was told."""
        return self.to_fact(fact, words(label(self.d, fact)))

    def labels(self, facts: Iterable[str]) -> str:
        """Say several facts in words, each once, with links."""
        return ", ".join(map(self.label, dict.fromkeys(facts)))

    def plain_labels(self, facts: Iterable[str]) -> str:
        """Say several facts in words, each once."""
        return words(labels(self.d, facts))

    def origin(self, fact: str) -> str:
        """Say where a fact has its value from."""
        number = self.facts.get(fact)
        if number is None:
            return "not known"
        step = self.review.step(number)
        told = {GIVEN: "stated", OPTION: "of this build", MISSING: "not known"}
        return told.get(step.kind, step.kind)

    def to_fact(self, fact: str, markup: str) -> str:
        """Make of some markup a link to where a fact was told."""
        number = self.facts.get(fact)
        return markup if number is None else f'<a href="#s{number}">{markup}</a>'

    def premises(self, premises: Iterable[Premise]) -> str:
        """Say what a reason rests on: each fact with its place, or where it comes from."""
        return "; ".join(map(self._premise, premises))

    def _premise(self, premise: Premise) -> str:
        says = self.to_fact(premise.fact, self.text(premise.says))
        if premise.origin == GIVEN:
            return f"{says} ({place(premise.file, premise.line)})"
        if premise.origin == CONCLUDED:
            return f"{says} (by {', '.join(map(rule_name, premise.rules))})"
        if premise.origin in (ASSUMED, COMPUTED):
            return f"{says} ({premise.origin})"
        return says


def place(file: str, line: int) -> str:
    """Name a place in a file, whichever way its name reads."""
    return foreign(f"{file}:{line}" if line else file)


def number(step: Step) -> str:
    """Return the number of a step, at the place where it is told."""
    return f'<span class="no" id="s{step.number}">{step.number}</span>'


def see(step: int) -> str:
    """Return a link to the place where a step is told."""
    return f'<a class="no" href="#s{step}">{step}</a>'


def paragraphs(lines: Iterable[str]) -> str:
    """Return markup lines as paragraphs; empty ones are left out."""
    return "".join(f"<p>{line}</p>\n" for line in lines if line)


def folded(steps: Sequence[Step], title: str, body: str, ids: str = "") -> str:
    """Return what can be folded away, its title and the numbers of its steps always shown.

    The places that links lead to are inside: a browser then unfolds what it is sent to. `title` and
    `body` are markup; `ids` names one more such place.
    """
    inside = "".join(f'<span id="s{step.number}"></span>' for step in steps)
    more = f' id="{esc(ids)}"' if ids else ""
    shown = ", ".join(f'<span class="no">{step.number}</span>' for step in steps)
    return (
        f"<details>\n<summary>{shown} {title}</summary>\n"
        f'<div class="inside"{more}>{inside}\n{body}</div>\n</details>\n'
    )
