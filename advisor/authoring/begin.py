"""Beginning a rule: the rule, its cases and its source, written where they belong, to be filled in.

What a person must write is left as a text that begins with FILL IN and says what is due. The
reader refuses such a text, so a rule that is half written is never in force.
"""

from __future__ import annotations

import json
import os
import re
import shlex
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from advisor.authoring.drafts import Draft
from advisor.authoring.formatting import format_text
from advisor.documents import parse_scalar, read_document
from advisor.errors import Fault, Faults, did_you_mean, suggest
from advisor.rulebase import schemas
from advisor.rulebase.locate import CASES, SPECIAL, is_yaml, path_of, shipped
from advisor.rulebase.model import EVIDENCE, RuleBase
from advisor.rulebase.unfilled import MARK, unfilled

EDITED = ("rules", "vocabulary", "cases", "setup", "stock", "manifest", "sources", "population")
"""The documents that people write, for which an editor can complete names."""

_NAME = re.compile(schemas.ID)


class NewRule(NamedTuple):
    """A rule that was begun; nothing is written yet."""

    rule: str
    topic: str
    files: tuple[Draft, ...]
    due: tuple[str, ...]  # what is to be filled in, as "tails.yaml:12  says"


def new_rule(
    base: RuleBase,
    topic: str,
    rule_id: str,
    evidence: str,
    *,
    source: str = "",
    new_topic: bool = False,
) -> NewRule:
    """Begin a rule of a house: the rule, a case in which it fires and one in which it is silent.

    Args:
        base: the house's rule base, as it is read.
        topic: the name of the rules' file without its ending.
        rule_id: of the rule, in kebab-case.
        evidence: its class; `published` also begins an entry in sources.yaml, unless `source`
            names one.
        source: one that is there, for `published`; one is begun under the rule's name if empty.
        new_topic: whether to make the topic's file where neither the house nor what it extends
            has that topic.

    Raises:
        Faults: about "usage": the rules are those that are shipped, the id is taken or is none,
            there is no such topic or class; about "rules": a file cannot be added to.
    """
    folder = base.layers[-1].folder
    _refuse(base, folder, topic, rule_id, evidence, source, new_topic=new_topic)
    source = source or f"source-of-{rule_id}"
    files = [
        _added(folder, f"{topic}.yaml", "rules", _rule_text(rule_id, evidence, source), _one_more),
        _added(folder, f"{CASES}/{topic}.yaml", "cases", _case_texts(rule_id), _two_more),
    ]
    if evidence == "published" and source not in base.sources:
        files.append(_added(folder, "sources.yaml", "sources", _source_text(source), _same_others))
    return NewRule(rule_id, topic, tuple(files), tuple(_due(files)))


def _refuse(
    base: RuleBase,
    folder: str,
    topic: str,
    rule_id: str,
    evidence: str,
    source: str,
    *,
    new_topic: bool,
) -> None:
    """Refuse what cannot be begun, all of it together."""
    faults: list[Fault] = []

    def fault(where: str, what: str, remedy: str) -> None:
        faults.append(Fault(where, None, None, what, remedy))

    if os.path.realpath(folder).startswith(os.path.realpath(shipped()) + os.sep):
        fault(
            "--rules",
            "the rules that come with the program are not added to",
            "make a house, a folder whose manifest.yaml extends base, and name it with --rules",
        )
    if not _NAME.fullmatch(rule_id) or not isinstance(parse_scalar(rule_id, ""), str):
        fault("the rule", f"`{rule_id}` is no name", "write it-like-this, small, with dashes")
    elif rule_id in base.entries:
        entry = base.entries[rule_id]
        told = f"{base.file_words(entry.file)}:{entry.line}" if entry.line else entry.layer
        remedy = "give the new one another name"
        if entry.layer != base.name:
            remedy += f"; `replaces: {rule_id}` in it says that it takes the place of that one"
        fault("the rule", f"there is a rule `{rule_id}` already ({told})", remedy)
    elif any(retired.rule == rule_id for retired in base.retired):
        fault("the rule", f"`{rule_id}` is a rule that was retired", "give it another name")
    topics = _topics(base)
    if not _NAME.fullmatch(topic) or f"{topic}.yaml" in SPECIAL or topic == CASES:
        fault("the topic", f"`{topic}` is no topic", suggest(topic, topics, "topics"))
    elif topic not in topics and not new_topic:
        remedy = suggest(topic, topics, "topics")
        fault("the topic", f"there is no topic `{topic}` yet", f"{remedy}; --new-topic makes it")
    if evidence not in EVIDENCE:
        remedy = suggest(evidence, EVIDENCE, "classes")
        fault("the evidence", f"`{evidence}` is no class of evidence", remedy)
    elif source and evidence != "published":
        fault("the source", "only published evidence has a source", "leave it out")
    elif source and not _NAME.fullmatch(source):
        near = did_you_mean(source, base.sources)
        remedy = f"did you mean {near}?" if near else "write it-like-this, small, with dashes"
        fault("the source", f"`{source}` is no name", remedy)
    elif source and source not in base.sources:
        near = did_you_mean(source, base.sources)
        remedy = f"did you mean {near}?" if near else "the sources in force stand in sources.yaml"
        fault("the source", f"there is no source `{source}`", f"{remedy}; without it one is begun")
    if faults:
        raise Faults(faults, "usage")


def _topics(base: RuleBase) -> list[str]:
    """Return the topics that any layer has, the house's first."""
    found: dict[str, None] = {}
    for layer in reversed(base.layers):
        for name in sorted(os.listdir(layer.folder)):
            if is_yaml(name) and name not in SPECIAL:
                found[os.path.splitext(name)[0]] = None
    return list(found)


# What is written


def _rule_text(rule_id: str, evidence: str, source: str) -> str:
    resting = {
        "published": [
            f"source: {source}",
            f'place: "{MARK}the page, chapter or article that was read"',
        ],
        "derived": [f'function: "{MARK}the function or the geometry it follows from"'],
        "house": [f'note: "{MARK}who found it out, when and how; best a dated record of shots"'],
    }.get(evidence, [])
    lines = [
        f"- id: {rule_id}",
        f'  says: "{MARK}one line in the imperative, as a builder would say it"',
        f'  when: "{MARK}what it depends on, as {{point.type: fixed-blade}}, or no such line"',
        f'  then: "{MARK}a list of what follows, as - should: {{fletching.count: 4}}"',
        f'  because: "{MARK}one or two plain sentences that a customer would accept"',
    ]
    if not resting:
        lines.append(f"  evidence: {{class: {evidence}}}")
    else:
        lines += ["  evidence:", f"    class: {evidence}", *(f"    {line}" for line in resting)]
    return format_text(rule_id, "\n".join(lines) + "\n")


def _case_texts(rule_id: str) -> str:
    cases = (
        ("fires", "fired", "what is stated here and makes the rule fire"),
        ("stays-silent", "silent", "what is otherwise here, so that the rule stays silent"),
    )
    return "\n".join(
        f"- case: {rule_id}-{name}\n"
        f"  says: {MARK}{due}\n"
        f'  setup: "{MARK}facts as a setup file states them, as point: {{type: fixed-blade}}"\n'
        f"  expect:\n    {state}: [{rule_id}]\n"
        for name, state, due in cases
    )


def _source_text(source: str) -> str:
    return (
        f"  {source}:\n"
        f"    author: {MARK}who wrote it\n"
        f"    title: {MARK}its title\n"
        f"    year: {MARK}the year, or undated\n"
        f"    where: {MARK}where it can be read\n"
        "    from_memory: true\n"
    )


def _due(files: list[Draft]) -> Iterator[str]:
    """Yield what is to be filled in of what is new, by file, line and name."""
    for draft in files:
        document = read_document(draft.path, draft.text, about="rules")
        for path, _ in unfilled(document.data):
            name = [step for step in path if isinstance(step, str)][-1]
            yield f"{draft.path}:{document.where(*path)[0]}  {name}"


# Where it is written


def _added(
    folder: str, name: str, schema: str, more: str, fits: Callable[[Any, Any], bool]
) -> Draft:
    """Return a file with a text added at its end, or a new file.

    Raises:
        Faults: about "rules", if the file would not read as it did and what was added.
    """
    path = path_of(folder, name)
    if not os.path.exists(path):
        head = _head(folder, name, schema)
        return Draft(
            path, head + ("schema: 1\nsources:\n" if schema == "sources" else "") + more, None
        )
    document = read_document(path, about="rules")
    with open(path, encoding="utf-8", newline="") as file:
        before = file.read()
    gap = "" if schema == "sources" else "\n"
    added = ("" if before.endswith("\n") else "\n") + gap + more
    text = before + (added.replace("\n", "\r\n") if "\r\n" in before else added)
    try:
        sound = fits(document.data, read_document(path, text, about="rules").data)
    except Faults:
        sound = False
    if not sound:
        what = "nothing can be added at the end of this file"
        remedy = "write it as a list with each `-` at the left edge, or mapping below mapping"
        raise Faults([Fault(path, None, None, what, remedy)], "rules")
    return Draft(path, text, before)


def _head(folder: str, name: str, schema: str) -> str:
    """Return the line that an editor looks for, where the house has schemas of its own."""
    file = f"schemas/{schema}.schema.json"
    if not os.path.isfile(os.path.join(folder, file)):
        return ""
    up = "../" * name.count("/")
    return f"# yaml-language-server: $schema={up}{file}\n"


def _one_more(before: Any, after: Any) -> bool:
    return bool(isinstance(before, list) and after[:-1] == before)


def _two_more(before: Any, after: Any) -> bool:
    if not isinstance(before, list) or after[:-2] != before:
        return False
    names = [case["case"] for case in after]
    return len(set(names)) == len(names)


def _same_others(before: Any, after: Any) -> bool:
    kept = {name: one for name, one in after["sources"].items() if name in before["sources"]}
    return bool({**after, "sources": kept} == before)


def new_rule_text(made: NewRule, written: tuple[str, ...]) -> str:
    """Tell what was written, what is to be filled in, and what comes next; 80 columns.

    Args:
        made: the rule that was begun.
        written: the paths that were written.
    """
    lines = [f"Begun: {made.rule}", "", "Written"]
    lines += [f"  {path}" for path in written]
    lines += ["", "To be filled in; until then the rules are refused, and then the cases"]
    lines += [f"  {due}" for due in made.due]
    folder = os.path.dirname(made.files[0].path) or os.curdir
    lines += ["", "Then", f"  advisor rules cases --rules {shlex.quote(folder)}"]
    return "\n".join(lines) + "\n"


# What editors complete by


def editor_schemas(base: RuleBase, out: str) -> tuple[Draft, ...]:
    """Return the JSON Schemas of all that people write, with the facts of a house's vocabulary.

    Args:
        base: the rule base whose facts, choices and units are to be completed.
        out: the folder they shall stand in.
    """
    made = schemas.all_schemas(base.vocabulary)
    drafts = []
    for name in EDITED:
        path = os.path.join(out, f"{name}.schema.json")
        text = json.dumps(_closed(made[name]), indent=1, ensure_ascii=False) + "\n"
        before = None
        if os.path.isfile(path):
            with open(path, encoding="utf-8", newline="") as file:
                before = file.read()
        drafts.append(Draft(path, text, before))
    return tuple(drafts)


def _closed(schema: Any) -> Any:
    """Return a schema without room for facts that it does not name.

    The shipped ones leave room, because a house adds facts; the house's own know them all.
    """
    if isinstance(schema, list):
        return [_closed(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    left = {name: part for name, part in schema.items() if part != schemas.ROOM}
    return {name: _closed(part) for name, part in left.items()}
