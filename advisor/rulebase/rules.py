"""Reading one rule: its conditions, what it concludes, its words."""

from __future__ import annotations

from typing import Any

from advisor.engine.conditions import Node
from advisor.engine.rules import Demand, Favour, Rule
from advisor.engine.values import CONCLUDED
from advisor.rulebase.conditions import ConditionReader, Path, Report
from advisor.rulebase.model import CautionText, StepText
from advisor.vocabulary import NAMED, UnfitError, Vocabulary

STRENGTHS = ("must", "must_not", "should", "should_not")


class RuleReader:
    """Reads one rule from plain data; every fault is reported, none is raised.

    Args:
        raw: the rule as its schema has it.
        start: its place in the document.
        layer: the number of its layer, 0 for the lowest.
    """

    def __init__(
        self, raw: dict[str, Any], vocabulary: Vocabulary, report: Report, start: int, layer: int
    ) -> None:
        reader = ConditionReader(vocabulary, report)
        when = reader.condition(raw["when"], (start, "when")) if "when" in raw else None
        unless = reader.condition(raw["unless"], (start, "unless")) if "unless" in raw else None
        part = _Conclusions(reader, vocabulary, report)
        for i, conclusion in enumerate(raw["then"]):
            if conclusion is not None:  # refused before; the rest is read for its faults
                ((kind, body),) = conclusion.items()
                part.read(kind, body, i, (start, "then", i, kind))
        part.check_sets((start, "then"))
        for key in ("says", "because"):
            if key in raw:
                check_text(raw[key], vocabulary, report, (start, key))
        self.cautions = tuple(part.cautions)
        self.steps = tuple(part.steps)
        self.rule = Rule(
            id=raw["id"],
            when=when,
            unless=unless,
            sets=tuple(part.sets),
            demands=tuple(part.demands),
            favour=part.favour,
            stop=any(caution.level == "stop" for caution in part.cautions),
            overrides=tuple(raw.get("overrides", ())),
            layer=layer,
        )


class _Conclusions:
    """The `then` of one rule as it is read."""

    def __init__(self, reader: ConditionReader, vocabulary: Vocabulary, report: Report) -> None:
        self.reader = reader
        self.vocabulary = vocabulary
        self.report = report
        self.sets: list[tuple[str, Any]] = []
        self.demands: list[Demand] = []
        self.favour: Favour | None = None
        self.cautions: list[CautionText] = []
        self.steps: list[StepText] = []

    def read(self, kind: str, body: Any, place: int, path: Path) -> None:
        """Read one conclusion."""
        if kind == "set":
            for name, value in body.items():
                self._set(name, value, (*path, name))
        elif kind in STRENGTHS:
            ((name, test),) = body.items()
            self._demand(kind, name, test, place, (*path, name))
        elif kind == "favour":
            ((name, end),) = body.items()
            self._favour(name, end, (*path, name))
        elif kind == "caution":
            check_text(body["text"], self.vocabulary, self.report, (*path, "text"))
            self.cautions.append(CautionText(body["level"], body["text"]))
        else:
            check_text(body["text"], self.vocabulary, self.report, (*path, "text"))
            self.steps.append(StepText(body["phase"], body["text"], tuple(body.get("after", ()))))

    def _set(self, name: str, value: Any, path: Path) -> None:
        entry = self.reader.fact(name, path)
        if entry is None:
            return
        if entry.origin != CONCLUDED:
            self.report(
                path,
                f"`set` names {name}, which is {entry.described_origin}",
                "rules conclude concluded facts; ask for others with should or must",
            )
            return
        try:
            self.sets.append((name, entry.read(value, in_rule=True)))
        except UnfitError as fault:
            self.report(path, fault.what, fault.help)

    def _demand(self, kind: str, name: str, test: Any, place: int, path: Path) -> None:
        entry = self.reader.fact(name, path)
        if entry is None:
            return
        if entry.origin == CONCLUDED:
            self.report(
                path,
                f"`{kind}` asks for {name}, which rules conclude",
                "demand a given, option or computed fact",
            )
            return
        node: Node | None = self.reader.test(name, test, path)
        if node is not None:
            self.demands.append(Demand(place, kind, name, node))

    def _favour(self, name: str, end: str, path: Path) -> None:
        entry = self.reader.fact(name, path)
        if entry is None:
            return
        if not entry.is_number:
            self.report(path, f"{name} has no highest or lowest", "favour a number")
        elif self.favour is not None:
            self.report(path, "a rule favours one fact", "write a second rule")
        else:
            self.favour = Favour(name, end == "highest")

    def check_sets(self, path: Path) -> None:
        """Refuse a rule that sets one fact twice."""
        names = [name for name, _ in self.sets]
        for name in sorted({name for name in names if names.count(name) > 1}):
            self.report(path, f"the rule sets {name} twice", "keep one of them")


def check_text(text: str, vocabulary: Vocabulary, report: Report, path: Path) -> None:
    """Report braces in a text that name no fact."""
    for name in NAMED.findall(text):
        if name not in vocabulary:
            report(path, *vocabulary.no_such(name))
    rest = NAMED.sub("", text)
    if "{" in rest or "}" in rest:
        report(path, "a brace stands alone", "braces name a fact: {arrow.mass}")
