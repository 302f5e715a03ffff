"""A rule's page and the list of all rules, printed from the rule files themselves."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from textwrap import wrap
from typing import Any

from advisor.cases import Case, case_files, read_cases
from advisor.engine.conditions import Any as AnyOf
from advisor.engine.conditions import Node
from advisor.engine.values import COMPUTED, CONCLUDED, GIVEN, OPTION
from advisor.quantities import format_number
from advisor.rulebase.model import Evidence, RuleBase, RuleEntry
from advisor.vocabulary import QUANTITY, Vocabulary
from advisor.words import Words

WIDTH = 80


def topic_of(entry: RuleEntry) -> str:
    """Return the topic a rule is filed under: the name of its file."""
    return os.path.splitext(os.path.basename(entry.file))[0]


def topics(base: RuleBase) -> list[str]:
    """Return the topics of a rule base, sorted."""
    return sorted({topic_of(entry) for entry in base.entries.values()})


def _kinds(entry: RuleEntry) -> str:
    """Say in a word or two what a rule does."""
    kinds = list(dict.fromkeys(d.strength.replace("_", " ") for d in entry.rule.demands))
    kinds += ["set"] if entry.rule.sets else []
    kinds += ["favour"] if entry.rule.favour else []
    kinds += list(dict.fromkeys(caution.level for caution in entry.cautions))
    kinds += ["step"] if entry.steps else []
    return ", ".join(kinds)


def list_text(base: RuleBase, topic: str | None = None) -> str:
    """Return all rules by topic, a line or two each."""
    lines: list[str] = []
    for name in topics(base):
        if topic not in (None, name):
            continue
        entries = [e for e in base.entries.values() if topic_of(e) == name]
        lines += ["", f"{name} ({len(entries)})"] if lines else [f"{name} ({len(entries)})"]
        for entry in entries:
            mark = " (disputed)" if entry.contested else ""
            layer = "" if entry.layer == base.layers[0].name else f" [{entry.layer}]"
            lines.append(f"  {entry.id}{layer}: {_kinds(entry)}; {entry.evidence.kind}{mark}")
            lines += wrap(entry.says, WIDTH, initial_indent="    ", subsequent_indent="    ")
    if base.retired and topic is None:
        lines += ["", f"taken out of use ({len(base.retired)})"]
        for gone in base.retired:
            instead = f", {gone.replacement} stands for it" if gone.replacement else ""
            lines.append(f"  {gone.rule} [by {gone.by}{instead}]")
            lines += wrap(gone.because, WIDTH, initial_indent="    ", subsequent_indent="    ")
    counts: dict[str, int] = {}
    for entry in base.entries.values():
        if topic in (None, topic_of(entry)):
            counts[entry.evidence.kind] = counts.get(entry.evidence.kind, 0) + 1
    told = ", ".join(f"{n} {kind}" for kind, n in sorted(counts.items()))
    lines += ["", f"{sum(counts.values())} rules: {told}"]
    lines.append(f"{base.name} {base.version}, digest {base.digest[:12]}")
    return "\n".join(lines) + "\n"


def list_json(base: RuleBase, topic: str | None = None) -> str:
    """Return the same for machines."""
    listed = [
        {
            "id": entry.id,
            "topic": topic_of(entry),
            "layer": entry.layer,
            "says": entry.says,
            "does": _kinds(entry),
            "evidence": entry.evidence.kind,
            "contested": entry.contested is not None,
        }
        for entry in base.entries.values()
        if topic in (None, topic_of(entry))
    ]
    return json.dumps(listed, indent=2, ensure_ascii=False) + "\n"


_AS_WRITTEN = {"lbf": "lb"}
_ORIGINS = {
    GIVEN: "stated by you",
    OPTION: "stated by you, or chosen",
    COMPUTED: "computed, unless you state it",
    CONCLUDED: "concluded by rules",
}


def facts_text(words: Vocabulary, group: str | None = None) -> str:
    """Return the facts of a vocabulary with what each takes."""
    lines: list[str] = []
    for origin, head in _ORIGINS.items():
        entries = [
            entry
            for entry in words.entries.values()
            if entry.origin == origin
            and (group is None or entry.name == group or entry.name.startswith(f"{group}."))
        ]
        if entries:
            lines += ["", head.capitalize()] if lines else [head.capitalize()]
        for entry in entries:
            lines += wrap(
                f"{entry.name}: {entry.label}",
                WIDTH,
                initial_indent="  ",
                subsequent_indent="    ",
            )
            taken = entry.due()
            if entry.kind == QUANTITY:
                unit = _AS_WRITTEN.get(entry.unit, entry.unit)
                taken = f"in {unit}" if unit != "1" else "a plain number"
            if entry.low is not None and entry.high is not None:
                low, high = format_number(entry.low), format_number(entry.high)
                taken += f", {low} to {high}"
            if entry.assume is not None:
                taken += f"; assumed {Words(words).value(entry.name, entry.assume.value)}"
            lines += wrap(taken, WIDTH, initial_indent="    ", subsequent_indent="    ")
    return "\n".join(lines) + "\n"


def page(base: RuleBase, rule_id: str) -> dict[str, Any]:
    """Return everything there is to say of a rule, in words, as plain data."""
    gone = next((retired for retired in base.retired if retired.rule == rule_id), None)
    if gone is not None:
        return {
            "id": gone.rule,
            "says": gone.says,
            "retired": {"by": gone.by, "because": gone.because, "replacement": gone.replacement},
        }
    entry = base.entries[rule_id]
    words = Words(base.vocabulary)
    rule = entry.rule
    beaten_by = sorted(e.id for e in base.entries.values() if rule_id in e.rule.overrides)
    return {
        "id": entry.id,
        "topic": topic_of(entry),
        "layer": entry.layer,
        "file": f"{entry.layer}/{os.path.basename(entry.file)}",
        "line": entry.line,
        "says": entry.says,
        "when": _parts(words, rule.when),
        "unless": _alternatives(words, rule.unless),
        "then": _then(entry, words),
        "because": entry.because,
        "evidence": _evidence(base, entry.evidence),
        "contested": f"by {entry.contested.by}: {entry.contested.note}" if entry.contested else "",
        "overrides": list(rule.overrides),
        "overridden_by": beaten_by,
        "replaces": entry.replaces,
        "cases": [
            {
                "case": case.name,
                "says": case.says,
                "expects": case.expects(rule_id),
                "file": os.path.basename(case.file),
                "line": case.line,
            }
            for case in _cases(base)
            if case.expects(rule_id)
        ],
    }


def _cases(base: RuleBase) -> list[Case]:
    return [
        case
        for layer in base.layers
        for path in case_files(layer.folder)
        for case in read_cases(path, base)
    ]


def _parts(words: Words, node: Node | None) -> list[str]:
    if node is None:
        return []
    if isinstance(node, tuple) and type(node).__name__ == "All":
        return [words.condition(part) for part in node.parts]  # type: ignore[union-attr]
    return [words.condition(node)]


def _alternatives(words: Words, node: Node | None) -> list[str]:
    if isinstance(node, AnyOf) and words.condition(node).count(" or ") >= len(node.parts):
        return [words.condition(part) for part in node.parts]
    return [] if node is None else [words.condition(node)]


def _then(entry: RuleEntry, words: Words) -> list[str]:
    told = [
        f"{demand.strength.replace('_', ' ')} have: {demand.fact} {words.asks(demand.test)}"
        for demand in entry.rule.demands
    ]
    told += [f"conclude: {fact} is {words.value(fact, value)}" for fact, value in entry.rule.sets]
    favour = entry.rule.favour
    if favour is not None:
        told.append(f"favour the {'highest' if favour.highest else 'lowest'} {favour.fact}")
    told += [f"{caution.level}: {caution.text}" for caution in entry.cautions]
    told += [
        f"step ({step.phase}): {step.text}"
        + (f" After {', '.join(step.after)}." if step.after else "")
        for step in entry.steps
    ]
    return told


def _evidence(base: RuleBase, evidence: Evidence) -> str:
    source = base.sources.get(evidence.source)
    if evidence.kind == "common-practice":
        return "common practice, no source" + (f": {evidence.note}" if evidence.note else "")
    told = {"published": "published", "derived": "derived", "house": "house"}[evidence.kind]
    parts = [evidence.function] if evidence.function else []
    if source is not None:
        parts.append(", ".join(p for p in (source.author, source.title, source.year) if p))
        if source.from_memory:
            parts.append("from memory")
    parts += [p for p in (evidence.place, evidence.note) if p]
    return f"{told}: {'; '.join(parts)}" if parts else told


def page_json(base: RuleBase, rule_id: str) -> str:
    """Return a rule's page for machines."""
    return json.dumps(page(base, rule_id), indent=2, ensure_ascii=False) + "\n"


def page_text(base: RuleBase, rule_id: str) -> str:
    """Return a rule's page."""
    told = page(base, rule_id)
    lines = [told["id"]]
    lines += wrap(told["says"], WIDTH, initial_indent="  ", subsequent_indent="  ")
    if "retired" in told:
        retired = told["retired"]
        by = f", replaced by {retired['replacement']}" if retired["replacement"] else ""
        lines.append("")
        lines += wrap(f"Retired by {retired['by']}{by}: {retired['because']}", WIDTH)
        return "\n".join(lines) + "\n"
    _section(lines, "When", told["when"] or ["always"])
    _section(lines, "Unless", told["unless"])
    _section(lines, "Then", told["then"])
    _section(lines, "Because", [told["because"]])
    _section(lines, "Evidence", [told["evidence"]])
    _section(lines, "Disputed", [told["contested"]] if told["contested"] else [])
    _section(lines, "Overrides", [_named(base, other) for other in told["overrides"]])
    _section(lines, "Overridden by", [_named(base, other) for other in told["overridden_by"]])
    _section(lines, "Replaces", [told["replaces"]] if told["replaces"] else [])
    _section(
        lines,
        "Cases",
        [
            f"{case['case']} ({', '.join(case['expects'])}): {case['says']}"
            for case in told["cases"]
        ],
    )
    _section(lines, "Written in", [f"{told['file']}:{told['line']}"])
    return "\n".join(lines) + "\n"


def _named(base: RuleBase, rule_id: str) -> str:
    entry = base.entries.get(rule_id)
    return f"{rule_id}: {entry.says}" if entry else rule_id


def _section(lines: list[str], head: str, items: list[str]) -> None:
    if not items:
        return
    lines += ["", head]
    for item in items:
        lines += wrap(
            item,
            WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
            break_on_hyphens=False,
            break_long_words=False,
        )


__all__ = ["Mapping", "list_json", "list_text", "page_json", "page_text", "topics"]
