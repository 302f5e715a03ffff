"""The review: a piece of advice with the way back of every word of it, gathered in one pass."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

from advisor.decide import decide
from advisor.decision import Decision, to_plain
from advisor.derivation import ADVICE, STAGE, STANDS, STANDS_OPEN, Step
from advisor.derivation import RULE as RULE_STEP
from advisor.documents import read_document
from advisor.errors import Faults
from advisor.judge import Judgement
from advisor.near_misses import near_misses
from advisor.reviewing import (
    CAUTION,
    NUMBER,
    OPTION,
    RULE,
    SET_ASIDE,
    Asked,
    Cited,
    EvidenceGroup,
    Review,
    RuleText,
    Work,
)
from advisor.rulebase.model import EVIDENCE, RuleEntry
from advisor.trying import weigh
from advisor.turning import turning_points
from advisor.why_chosen import choice, is_chosen
from advisor.why_steps import Key, Way

FORMATS = ("html", "json")


def review(judgement: Judgement) -> Review:
    """Gather all that a reviewer needs to audit the advice on a setup.

    Args:
        judgement: of the setup; what is told is of its chosen (or nearest) build.

    Returns:
        The Decision as `pipeline.advise` makes it with its questions weighed, and beside it the way
        back of every chosen option, every number and every rule that fired, what nearly fired, what
        would change the advice, and the text of every rule that is named.
    """
    decision = decide(judgement)
    decision = decision._replace(questions=weigh(judgement, decision.questions))
    return _Reviewer(judgement, decision).review()


def answer(judgement: Judgement, form: str, colour: bool) -> str:
    """Return the review as a page or as JSON.

    Args:
        judgement: of the setup.
        form: one of `FORMATS`.
        colour: taken so that all answers are asked alike; neither form has a terminal's colours.
    """
    found = review(judgement)
    if form == "json":
        return json.dumps(to_plain(found), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    from advisor.render.review_html import render

    return render(found, colour)


class _Trail(Way):
    """One way back for many things: what they share is told once.

    A stage of the choice is the exception, for it tells which values of one option are left.
    """

    def __init__(self, judgement: Judgement) -> None:
        super().__init__(judgement)
        self._option = ""

    def add(self, key: Key, make: Callable[[int], Step]) -> int:
        """Return the number of a step, making it if it was not told yet."""
        return super().add((*key, self._option) if key[0] == STAGE else key, make)

    def chosen(self, fact: str) -> int:
        """Return the number of the step that tells why an option has its value."""
        self._option = fact
        return choice(self, fact)

    def fired(self, rule_id: str) -> int:
        """Return the number of the first step on a rule that fired: what it adds, if it stands."""
        self.advice(rule_id)
        return self._numbers.get((ADVICE, rule_id)) or self._numbers[RULE_STEP, rule_id]

    @property
    def rules(self) -> dict[str, int]:
        """Return the rules whose state is told, each with the number of its step."""
        return {key[1]: number for key, number in self._numbers.items() if key[0] == RULE_STEP}


class _Reviewer:
    def __init__(self, judgement: Judgement, decision: Decision) -> None:
        self.judgement = judgement
        self.base = judgement.base
        self.d = decision
        self.trail = _Trail(judgement)

    def review(self) -> Review:
        nearly = near_misses(self.judgement)
        asked = tuple(self._asked())
        for rule_id in sorted(rules_named((self.d, nearly), self.base.entries)):
            self.trail.rule(rule_id)
        steps = self.trail.told()
        return Review(
            self.d,
            turning_points(self.judgement),
            nearly,
            asked,
            steps,
            tuple(self._evidence(steps)),
            tuple(self._texts(steps)),
        )

    def _asked(self) -> Iterator[Asked]:
        d, trail = self.d, self.trail
        for fact in d.build:
            if is_chosen(self.judgement, fact):
                yield Asked(fact, OPTION, trail.chosen(fact))
        kinds = {lost.rule: SET_ASIDE for lost in d.set_aside}
        kinds |= {caution.rule: CAUTION for caution in d.cautions}
        for rule_id in dict.fromkeys((*kinds, *d.fired)):
            yield Asked(rule_id, kinds.get(rule_id, RULE), trail.fired(rule_id))
        for fact in d.numbers:
            yield Asked(fact, NUMBER, trail.fact(fact))

    # Evidence

    def _evidence(self, steps: Iterable[Step]) -> Iterator[EvidenceGroup]:
        """Yield what the rules in force rest on, class by class."""
        standing = [
            step
            for step in sorted(steps, key=lambda step: step.name)
            if step.kind == RULE_STEP and step.state in (STANDS, STANDS_OPEN) and step.evidence
        ]
        for kind in EVIDENCE:
            found = [s for s in standing if s.evidence is not None and s.evidence.kind == kind]
            if not found:
                continue
            cited: dict[str, list[Cited]] = {}
            for step in found:
                held = step.evidence
                assert held is not None
                cited.setdefault(held.source, []).append(
                    Cited(step.name, held.place, held.function, held.note)
                )
            others = tuple(cited.pop("", ()))
            works = tuple(self._work(source, cited[source]) for source in sorted(cited))
            yield EvidenceGroup(kind, tuple(step.name for step in found), works, others)

    def _work(self, source: str, cited: Iterable[Cited]) -> Work:
        held = self.base.sources[source]
        return Work(
            held.id,
            held.author,
            held.title,
            held.year,
            held.where,
            held.note,
            held.from_memory,
            tuple(cited),
        )

    # Texts

    def _texts(self, steps: Iterable[Step]) -> Iterator[RuleText]:
        """Yield the rules whose state is told, in the order of their files."""
        told = {step.name: step for step in steps if step.kind == RULE_STEP}
        files = _Files()
        for entry in self.base.entries.values():
            step = told.get(entry.id)
            if step is None:
                continue
            assert step.evidence is not None
            yield RuleText(
                entry.id,
                entry.layer,
                step.file,
                step.line,
                files.text(entry),
                step.says,
                step.because,
                step.state,
                step.number,
                step.evidence,
                tuple(entry.rule.overrides),
                step.contested,
                entry.replaces,
            )


class _Files:
    """Cuts rules out of the files they stand in, each file being read once."""

    def __init__(self) -> None:
        self._lines: dict[str, list[str]] = {}

    def text(self, entry: RuleEntry) -> str:
        """Return the lines of a rule, word for word.

        Where they are no lines of its own, or the file says something else by now, the rule comes
        as it was read, in JSON: that is YAML too.
        """
        text = _block(self._of(entry.file), entry.line - 1)
        if _says(text, entry):
            return text
        return json.dumps(entry.source, indent=2, ensure_ascii=False)

    def _of(self, file: str) -> list[str]:
        found = self._lines.get(file)
        if found is None:
            try:
                with open(file, encoding="utf-8") as opened:
                    found = opened.read().splitlines()
            except (OSError, UnicodeDecodeError):
                found = []
            self._lines[file] = found
        return found


def _block(lines: Sequence[str], start: int) -> str:
    """Return an item of a list, from its first line to the last that is further in."""
    if not 0 <= start < len(lines):
        return ""
    edge = len(lines[start]) - len(lines[start].lstrip())
    end = start + 1
    for at in range(start + 1, len(lines)):
        line = lines[at].strip()
        further_in = len(lines[at]) - len(lines[at].lstrip()) > edge
        if line and further_in:
            end = at + 1
        elif line and not line.startswith("#"):
            break
    return "\n".join(line[edge:].rstrip() for line in lines[start:end])


def _says(text: str, entry: RuleEntry) -> bool:
    """Tell whether some lines say what was read of a rule."""
    try:
        read = read_document(entry.id, text, about="rules").data
    except Faults:
        return False
    return bool(read == [entry.source])


_NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)+")


def rules_named(found: Any, rules: Collection[str]) -> set[str]:
    """Return the rules that are named anywhere in some nouns, by themselves or inside a text."""
    named: set[str] = set()
    seen: set[int] = set()
    todo = [found]
    while todo:
        one = todo.pop()
        if isinstance(one, str):
            named.update(name for name in (one, *_NAME.findall(one)) if name in rules)
        elif isinstance(one, Mapping):
            todo.extend(one.values())
        elif isinstance(one, tuple) and id(one) not in seen:
            seen.add(id(one))
            todo.extend(one)
    return named
