"""One order and one shape for rule files, with every comment kept.

The keys of a rule stand in the order in which README of the rules tells them; one empty line
stands between rules; a line has at most 100 columns where words allow it. Conditions of one test
and demands stand on one line, several tests and texts of the bench below each other. The order of
rules, of facts in a condition and of items in a list is the author's and stays. Where a name would
be used before it is made (`*name` before `&name`), so do keys.

Nothing is believed of what is written: it is read again, and must say the same, with the same
comments, and come out the same a second time; else the file is refused and stays as it was.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from advisor.authoring.annotated import (
    ALIAS,
    MAPPING,
    SCALAR,
    SEQUENCE,
    Comment,
    Entry,
    Value,
    comments_of,
    has_anchors,
    read_annotated,
)
from advisor.authoring.drafts import Draft
from advisor.documents import Document, read_document
from advisor.errors import Collector, Fault, Faults

WIDTH = 100
_RULE = (
    "id",
    "says",
    "when",
    "unless",
    "then",
    "because",
    "evidence",
    "overrides",
    "contested",
    "replaces",
    "accept",
)
_ORDERS = {
    "evidence": ("class", "source", "place", "function", "note"),
    "contested": ("by", "note"),
    "caution": ("level", "text"),
    "step": ("phase", "text", "after"),
    "one of accept": ("finding", "with", "because"),
}
_ALWAYS_BLOCK = {"contested", "caution", "step", "then", "any", "all", "accept"}
_ALWAYS_BLOCK |= {"one of then", "one of accept"}
_CONDITIONS = {"when", "unless"}
_PROSE = {"says", "because", "text", "note"}
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}


class Formatting(NamedTuple):
    """All topic files of a rule base, formatted; nothing is written yet."""

    folder: str
    files: tuple[Draft, ...]

    @property
    def changed(self) -> tuple[Draft, ...]:
        """Return those that would change."""
        return tuple(file for file in self.files if file.changes)


def format_rules(folder: str, names: Iterable[str] = ()) -> Formatting:
    """Format the topic files of one rule base, in memory.

    Args:
        folder: holding manifest.yaml.
        names: of the files to format, as they stand in the folder; all topic files if empty.

    Raises:
        Faults: about "rules", with what cannot be read, or is no list of rules; about "usage" for
            a name that is no topic file of the folder.
    """
    from advisor.rulebase.locate import SPECIAL, path_of, rule_files

    collector = Collector("rules")
    found, _ = rule_files(folder, collector)
    collector.raise_if_any()
    topics = [name for name in found if name not in SPECIAL]
    wanted = list(names) or topics
    _refuse_other_names(wanted, topics)
    files = []
    for name in wanted:
        try:
            files.append(format_file(path_of(folder, name)))
        except Faults as faults:
            collector.absorb(faults)
    collector.raise_if_any()
    return Formatting(folder, tuple(files))


def _refuse_other_names(wanted: list[str], topics: list[str]) -> None:
    from advisor.errors import suggest

    faults = [
        Fault(name, None, None, "this is no topic file", suggest(name, topics, "topic files"))
        for name in wanted
        if name not in topics
    ]
    if faults:
        raise Faults(faults, "usage")


def format_file(path: str) -> Draft:
    """Format one topic file, in memory.

    Raises:
        Faults: as `format_text`, and if the file cannot be read.
    """
    read_document(path, about="rules")  # tells what is wrong with it as a file
    with open(path, encoding="utf-8", newline="") as file:
        text = file.read()
    return Draft(path, format_text(path, text), text)


def format_text(path: str, text: str) -> str:
    """Return a topic file in its one shape.

    Args:
        path: the name of the file, for faults.
        text: what stands in it.

    Raises:
        Faults: about "rules": what `documents` refuses, or the text is no list of rules.
    """
    document = read_document(path, text, about="rules")
    _refuse_what_is_no_list(document)
    plain = text.removeprefix("\ufeff")
    formatted = _Writer(plain).write(read_annotated(plain))
    _prove(document, plain, formatted)
    return formatted


def _refuse_what_is_no_list(document: Document) -> None:
    data = document.data
    if not isinstance(data, list):
        what, remedy = "a topic file is a list of rules", "begin each with `- id:`"
        raise Faults([Fault(document.path, 1, 1, what, remedy)], "rules")
    faults = [
        Fault(document.path, *document.where(i), "this is no rule", "begin it with `- id:`")
        for i, rule in enumerate(data)
        if not isinstance(rule, dict) or not rule
    ]
    if faults:
        raise Faults(faults, "rules")


def _prove(document: Document, before: str, after: str) -> None:
    """Refuse a result that does not say what was said, or loses a comment."""
    from advisor.rulebase.digest import canonical_json

    try:
        data = read_document(document.path, after, about="rules").data
    except Faults:
        data = None
    same = canonical_json(data) == canonical_json(document.data) and same_data(data, document.data)
    if not same or sorted(comments_of(after)) != sorted(comments_of(before)):
        what = "this file cannot be formatted without changing it, and stays as it is"
        remedy = "write it plainer: no anchors, no names over several lines"
        raise Faults([Fault(document.path, None, None, what, remedy)], "rules")


def same_data(one: Any, other: Any) -> bool:
    """Tell whether two documents say the same: 1 and true, or 1 and 1.0, are not the same."""
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same_data(one[k], other[k]) for k in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(same_data, one, other))
    return bool(one == other) or (one != one and other != other)  # noqa: PLR0124 - not a number


class _Writer:
    """Writes one document anew, line by line."""

    def __init__(self, text: str) -> None:
        self.lines: list[str] = []
        self.ordered = not has_anchors(text)
        self._plain: dict[tuple[str, str], bool] = {}

    def write(self, root: Entry) -> str:
        """Return the text of the document."""
        self._comments([*root.above, *root.beside], 0, spaced=True)
        for number, rule in enumerate(root.value.entries):
            self._settle(rule, "rule")
            _clear_the_dash(rule)
            if number or root.above or root.beside:
                self._space()
            self._comments(rule.above, 0, spaced=True)
            if rule.above and rule.spaced:
                self._space()
            rule.above = []
            self._item(rule, 0, "rule")
        if root.tail:
            self._space()
            self._comments(root.tail, 0, spaced=True)
        return "\n".join(self.lines) + "\n"

    def _space(self) -> None:
        if self.lines and self.lines[-1]:
            self.lines.append("")

    def _comments(self, comments: list[Comment], indent: int, *, spaced: bool = False) -> None:
        for comment in comments:
            if spaced and comment.spaced:
                self._space()
            self.lines.append(" " * indent + comment.text)

    # Before it is written: order, and where comments go

    def _settle(self, entry: Entry, role: str) -> None:
        """Put keys in order, and comments where they can be written; those inside come first."""
        value = entry.value
        order = _RULE if role == "rule" else _ORDERS.get(role, ())
        if self.ordered and value.kind == MAPPING and order:
            places = {name: place for place, name in enumerate(order)}
            value.entries.sort(key=lambda e: places.get(e.key.text if e.key else "", len(places)))
        for child in value.entries:
            self._settle(child, _role(child))
        if not value.entries:
            entry.beside += entry.tail
            entry.tail = []
        entry.above += entry.beside[:-1]
        entry.beside = entry.beside[-1:]

    # Writing

    def _item(self, entry: Entry, indent: int, role: str) -> None:
        """Write an item of a block sequence, its dash at `indent`."""
        value = entry.value
        is_mapping = value.kind == MAPPING and value.holds
        if is_mapping and value.entries[0].above:
            _clear_the_dash(entry)
        flow = None if role == "rule" else self._fits(entry, indent + 2, role)
        if flow is None and is_mapping:
            _clear_the_dash(entry)
        self._comments(entry.above, indent)
        if flow is not None:
            self.lines.append(f"{' ' * indent}- {flow}{_beside(entry)}")
            return
        if not value.entries:
            self._scalar(entry, f"{' ' * indent}-", indent)
            return
        at = len(self.lines)
        if is_mapping and not _properties(value):
            self._entries(entry, indent + 2)
            # The first line is that of a name: what is above it was moved above the dash.
            self.lines[at] = f"{' ' * indent}- {self.lines[at][indent + 2 :]}"
            return
        # A comment beside a dash alone would be read as standing above what follows.
        self.lines.append(f"{' ' * indent}- {_properties(value)}".rstrip())
        self._comments(entry.beside, indent + 2)
        self._entries(entry, indent + 2)

    def _entries(self, entry: Entry, indent: int) -> None:
        """Write the entries of a block, and the comments at its end."""
        for child in entry.value.entries:
            role = _role(child)
            if entry.value.kind == SEQUENCE:
                self._item(child, indent, role)
            else:
                self._pair(child, indent, role)
        self._comments(entry.tail, indent)

    def _pair(self, entry: Entry, indent: int, role: str) -> None:
        """Write `name: value`."""
        self._comments(entry.above, indent)
        value = entry.value
        name = f"{' ' * indent}{self._name(entry)}"
        flow = self._fits(entry, len(name) + 1, role)
        if flow is not None:
            self.lines.append(f"{name} {flow}".rstrip() + _beside(entry))
        elif not value.entries:
            self._scalar(entry, name, indent)
        else:
            self.lines.append(f"{name} {_properties(value)}".rstrip() + _beside(entry))
            self._entries(entry, indent + 2)

    def _name(self, entry: Entry) -> str:
        key = entry.key
        assert key is not None
        if key.kind == ALIAS:
            return f"*{key.text} :"
        written = self._one_line(key, "name")
        return f"{_properties(key)}{' ' if _properties(key) else ''}{written}:"

    def _fits(self, entry: Entry, column: int, role: str) -> str | None:
        """Return a value on one line if that is its shape, None if it stands below its name."""
        value = entry.value
        if value.entries and (
            role in _ALWAYS_BLOCK
            or entry.has_comments_inside()
            or (role in _CONDITIONS and _is_condition_of_several(value))
            or any(_holds_a_text(child) for child in value.entries)
        ):
            return None
        if role in _PROSE and self._is_better_folded(value):
            return None
        line = self._flow(value, "flow" if value.entries else "block")
        if line is None or (column + len(line) > WIDTH and self._can_be_longer(value, column)):
            return None
        return line

    def _is_better_folded(self, value: Value) -> bool:
        """Tell whether a sentence would need quotes on one line: folded, it needs none."""
        return (
            value.kind == SCALAR
            and _folds(value, WIDTH) is not None
            and not self._is_plain(value.text, "block")
        )

    def _can_be_longer(self, value: Value, column: int) -> bool:
        """Tell whether a value that is too wide for its line can be written otherwise."""
        return value.holds or (value.kind == SCALAR and _folds(value, WIDTH - column) is not None)

    def _flow(self, value: Value, where: str) -> str | None:
        """Return a value on one line; None if its text runs over several."""
        before = _properties(value)
        before += " " if before else ""
        if value.kind == ALIAS:
            return f"*{value.text}"
        if value.kind == SCALAR:
            several = "\n" in value.text.rstrip("\n") or (value.quoted and "\n" in value.text)
            if several and where == "block" and _literal(value) is not None:
                return None
            return before + self._one_line(value, where)
        parts = []
        for child in value.entries:
            inner = self._flow(child.value, "flow")
            if inner is None:
                return None
            parts.append(f"{self._name(child)} {inner}" if child.key is not None else inner)
        opened, closed = "{}" if value.kind == MAPPING else "[]"
        return f"{before}{opened}{', '.join(parts)}{closed}"

    def _scalar(self, entry: Entry, before: str, indent: int) -> None:
        """Write a text that runs over several lines under its name."""
        value = entry.value
        properties = _properties(value)
        start = f"{before} {properties}".rstrip()
        folded = _folds(value, WIDTH - indent - 2)
        lines = folded if folded is not None else _literal(value)
        assert lines is not None
        mark = (">" if folded is not None else "|") + ("" if value.text.endswith("\n") else "-")
        self.lines.append(f"{start} {mark}{_beside(entry)}")
        self.lines += [f"{' ' * (indent + 2)}{line}" if line else "" for line in lines]

    # Scalars

    def _one_line(self, value: Value, where: str) -> str:
        """Return a scalar on one line, in quotes only if it needs them there."""
        text = value.text
        if value.tag and not value.quoted and where == "block" and "\n" not in text:
            return text
        if not value.quoted and not value.tag:
            # Numbers, flags and nothing stay as they are spelled.
            if not text and where == "flow":
                return "null"
            if not text or (_is_no_text(text) and where != "name"):
                return text
        if self._is_plain(text, where):
            return text
        if text.isprintable() and ('"' in text or "\\" in text) and "'" not in text:
            return f"'{text}'"
        return '"' + "".join(_escaped(letter) for letter in text) + '"'

    def _is_plain(self, text: str, where: str) -> bool:
        """Tell whether a text reads as itself without quotes."""
        found = self._plain.get((text, where))
        if found is None:
            found = self._plain[text, where] = _reads_plain(text, where)
        return found


def _clear_the_dash(entry: Entry) -> None:
    """Move the comments between a dash and the first name above the dash; they share a line."""
    first = entry.value.entries[0]
    entry.above += [*entry.beside, *first.above]
    entry.beside, first.above = [], []


def _role(entry: Entry) -> str:
    """Return the name before a value; of an item, in what list it stands."""
    if entry.key is not None:
        return entry.key.text
    return f"one of {_role(entry.parent)}" if entry.parent is not None else ""


def _properties(value: Value) -> str:
    """Return what stands before a value: its anchor, its tag."""
    anchor = f"&{value.anchor}" if value.anchor else ""
    tag = value.tag.replace("tag:yaml.org,2002:", "!!") if value.tag else ""
    return f"{anchor} {tag}".strip()


def _beside(entry: Entry) -> str:
    return f"  {entry.beside[0].text}" if entry.beside else ""


def _is_condition_of_several(value: Value) -> bool:
    """Tell whether tests stand below each other: there are several, or an `any` or `all` is one."""
    return len(value.entries) > 1 or any(_role(child) in ("any", "all") for child in value.entries)


def _holds_a_text(entry: Entry) -> bool:
    """Tell whether a value, or one in it, is a text over several lines."""
    value = entry.value
    if value.kind == SCALAR:
        return "\n" in value.text
    return any(_holds_a_text(child) for child in value.entries)


def _folds(value: Value, width: int) -> list[str] | None:
    """Return the lines of a text that is folded, None if it cannot be or needs no folding."""
    text = value.text.removesuffix("\n")
    if (
        value.kind != SCALAR
        or not text.isprintable()
        or text != text.strip()
        or "  " in text
        or " " not in text
        or (_is_no_text(text) and not value.quoted)
    ):
        return None
    lines, line = [], ""
    for word in text.split(" "):
        if line and len(line) + 1 + len(word) > width:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    return [*lines, line]


def _literal(value: Value) -> list[str] | None:
    """Return the lines of a text that is kept line by line, None if it cannot be."""
    text = value.text.removesuffix("\n")
    lines = text.split("\n")
    if (
        "\n" not in value.text
        or not value.quoted
        or text.endswith("\n")
        or any(not line.isprintable() or line != line.rstrip() for line in lines)
        or not text
        or lines[0] != lines[0].strip()
        or not lines[0]
    ):
        return None
    return lines


def _is_no_text(text: str) -> bool:
    """Tell whether a plain scalar is a number, a flag or nothing."""
    from advisor.documents import parse_scalar

    try:
        return not isinstance(parse_scalar(text, ""), str)
    except Faults:
        return False


def _reads_plain(text: str, where: str) -> bool:
    if not text or text != text.strip() or not text.replace("\xa0", " ").isprintable():
        return False
    shapes = {
        "block": (f"k: {text}", {"k": text}),
        "flow": (f"k: [{text}, {{a: {text}}}]", {"k": [text, {"a": text}]}),
        "name": (f"{text}: [{{{text}: k}}]", {text: [{text: "k"}]}),
    }
    written, meant = shapes[where]
    try:
        return same_data(read_document("", written).data, meant)
    except Faults:
        return False


def _escaped(letter: str) -> str:
    if letter in _ESCAPES:
        return _ESCAPES[letter]
    if letter.isprintable() or letter == "\xa0":
        return letter
    code = ord(letter)
    return (
        f"\\x{code:02x}"
        if code < 0x100
        else f"\\u{code:04x}"
        if code < 0x10000
        else f"\\U{code:08x}"
    )


def formatting_text(formatting: Formatting, *, check: bool) -> str:
    """Tell which files change, or would change if only checked; 80 columns.

    Args:
        formatting: the files of one rule base.
        check: whether nothing is written.
    """
    changed = formatting.changed
    all_files = f"{len(formatting.files)} topic file{'' if len(formatting.files) == 1 else 's'}"
    if not changed:
        return f"{all_files}, all in shape.\n"
    said = "Would change" if check else "Changed"
    lines = [f"{said}: {len(changed)} of {all_files}", *(f"  {file.path}" for file in changed)]
    return "\n".join(lines) + "\n"
