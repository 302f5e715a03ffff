"""YAML as it is written: the tree of a document with its comments, each beside what it is about.

`documents` reads what a file says; this reads how it says it, for whoever writes the file anew.
A comment belongs to the entry it stands above, beside or at the end of:

    # above the entry `when`
    when:  # beside it
      point.type: blunt
      # at its end

What is read here has been read by `documents` before, so it is sound, and small enough.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from typing import Any, NamedTuple

_BREAKS = "\n\r\x85\u2028\u2029"
_COMMENT = re.compile(f"#[^{_BREAKS}]*")
_HEADER = re.compile(f"[|>][-+0-9]*[ \t]+(#[^{_BREAKS}]*)")
_ONLY_DASHES = re.compile(r"[-?\s]*")
SCALAR, ALIAS, MAPPING, SEQUENCE = "scalar", "alias", "mapping", "sequence"


class Comment(NamedTuple):
    """A comment from its `#` on; `spaced` if an empty line stands before it."""

    text: str
    spaced: bool = False


class Value:
    """A scalar, an alias, a mapping or a sequence, as it is written.

    `text` is what a scalar says (a plain one: as it is spelled) or the name of an alias; `entries`
    what a mapping or sequence holds; `column` where these begin in a block, from 0.
    """

    __slots__ = ("anchor", "column", "entries", "flow", "kind", "quoted", "tag", "text")

    def __init__(self, kind: str, event: Any) -> None:
        self.kind = kind
        self.anchor: str = (event.anchor or "") if kind != ALIAS else ""
        self.tag: str = getattr(event, "tag", None) or ""
        self.text: str = event.anchor if kind == ALIAS else getattr(event, "value", "")
        self.quoted = bool(kind == SCALAR and event.style)
        self.flow = bool(getattr(event, "flow_style", False))
        self.entries: list[Entry] = []
        self.column = event.start_mark.column

    @property
    def holds(self) -> bool:
        """Tell whether it has entries."""
        return bool(self.entries)


class Entry:
    """One `name: value` of a mapping, or one item of a sequence, with its comments."""

    __slots__ = ("above", "beside", "key", "parent", "spaced", "tail", "value")

    def __init__(self, parent: Entry | None, key: Value | None) -> None:
        self.parent = parent
        self.key = key
        self.value: Value
        self.above: list[Comment] = []
        self.beside: list[Comment] = []
        self.tail: list[Comment] = []
        self.spaced = False  # whether an empty line stands between what is above and the entry

    def has_comments_inside(self) -> bool:
        """Tell whether a comment stands between the first and the last of its value."""
        return bool(self.tail) or any(
            entry.above or entry.beside or entry.has_comments_inside()
            for entry in self.value.entries
        )


class _Point(NamedTuple):
    """Where an entry begins, or its value ends, in the text."""

    at: int
    column: int
    entry: Entry
    ends: bool


def read_annotated(text: str) -> Entry:
    """Return the document as an entry without a name: its value is that of the document.

    Args:
        text: sound YAML of one document, read by `documents` before.
    """
    root, points = _Reader(text).read()
    spans = list(_scalars(text))
    places = [point.at for point in points]
    gap, column = -1, 0
    for at, comment in _comments(text, spans):
        here = bisect_right(places, at)
        before = text[_line_start(text, at) : at]
        # Of comments between the same two parts none goes further in than one before it.
        column = min(column, len(before)) if here == gap else len(before)
        gap = here
        last = points[here - 1] if here else None
        following = points[here] if here < len(points) else None
        if last is not None and not _ONLY_DASHES.fullmatch(before):
            _beside(last, comment)
            gap = -1
        elif following is not None and following.ends:
            _within(following.entry, comment)
        else:
            owner = _owner(last, following, column, root)
            if owner is not None:
                owner.tail.append(comment)
            elif following is not None:
                _above(following.entry, comment, text, at, following)
    return root


def comments_of(text: str) -> list[str]:
    """Return every comment of a text, in order."""
    return [comment.text for _, comment in _comments(text, list(_scalars(text)))]


def has_anchors(text: str) -> bool:
    """Tell whether a text names any of its values, for an alias to repeat."""
    import yaml

    return "&" in text and any(
        type(token).__name__ == "AnchorToken" for token in yaml.scan(text, _loader())
    )


def _loader() -> Any:
    """Return PyYAML's loader over libyaml, or the plain one."""
    import yaml

    return getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class _Reader:
    """Builds the tree from the events of one document."""

    def __init__(self, text: str) -> None:
        import yaml

        self.events: Iterator[Any] = iter(yaml.parse(text, _loader()))
        self.dashes = [
            token.start_mark
            for token in yaml.scan(text, _loader())
            if type(token).__name__ == "BlockEntryToken"
        ]
        self.dash_places = [mark.index for mark in self.dashes]
        self.points: list[_Point] = []

    def read(self) -> tuple[Entry, list[_Point]]:
        """Return the document and its points in the order of the text."""
        root = Entry(None, None)
        event = next(self.events)
        while not hasattr(event, "anchor"):  # starts of the stream and of the document
            event = next(self.events)
        root.value = self._value(event, root)
        return root, self.points

    def _value(self, event: Any, entry: Entry) -> Value:
        kind = type(event).__name__
        if kind in {"ScalarEvent", "AliasEvent"}:
            self._point(event.end_mark, entry, ends=True)
            return Value(SCALAR if kind == "ScalarEvent" else ALIAS, event)
        value = Value(MAPPING if kind == "MappingStartEvent" else SEQUENCE, event)
        entry.value = value
        while not type(event := next(self.events)).__name__.endswith("EndEvent"):
            name = None
            mark = event.start_mark
            if value.kind == MAPPING:
                name = Value(ALIAS if type(event).__name__ == "AliasEvent" else SCALAR, event)
            elif not value.flow:
                mark = self.dashes[bisect_left(self.dash_places, mark.index) - 1]
            if not value.entries:
                value.column = mark.column  # an anchor may stand before it
            child = Entry(entry, name)
            self._point(mark, child, ends=False)
            child.value = self._value(event if name is None else next(self.events), child)
            value.entries.append(child)
        if value.flow:
            self._point(event.end_mark, entry, ends=True)
        return value

    def _point(self, mark: Any, entry: Entry, *, ends: bool) -> None:
        self.points.append(_Point(mark.index, mark.column, entry, ends))


def _scalars(text: str) -> Iterator[tuple[int, int]]:
    """Yield where scalars begin and end; of a block scalar, without the line of its header."""
    import yaml

    tokens: Iterator[Any] = iter(yaml.scan(text, _loader()))
    for token in tokens:
        if type(token).__name__ == "ScalarToken":
            start = token.start_mark.index
            if token.style in ("|", ">"):
                header = _HEADER.match(text, start)
                if header is not None:
                    start = header.end()
            yield start, token.end_mark.index


def _comments(text: str, spans: list[tuple[int, int]]) -> Iterator[tuple[int, Comment]]:
    """Yield every comment with its place: what begins with `#` outside of scalars."""
    at = 0
    for start, end in [*spans, (len(text), len(text))]:
        while (found := _COMMENT.search(text, at, start)) is not None:
            yield found.start(), Comment(found[0].rstrip(), _is_spaced(text, found.start()))
            at = found.end()
        at = max(at, end)


def _is_spaced(text: str, at: int) -> bool:
    """Tell whether the line before that of a place is empty."""
    before = text[_line_start(text, at) : at]
    lines = text[: at - len(before)].splitlines()
    return not before.strip() and bool(lines) and not lines[-1].strip()


def _line_start(text: str, at: int) -> int:
    return max(text.rfind(mark, 0, at) for mark in _BREAKS) + 1


def _within(entry: Entry, comment: Comment) -> None:
    """Put a comment before the bracket that closes a value, or between a name and its value."""
    (entry.tail if entry.value.holds else entry.beside).append(comment)


def _above(entry: Entry, comment: Comment, text: str, at: int, following: _Point) -> None:
    entry.above.append(comment)
    end = at + len(comment.text)
    entry.spaced = len(text[end : following.at + 1].splitlines()) > 2


def _beside(last: _Point, comment: Comment) -> None:
    entry = last.entry
    if last.ends and entry.value.holds and (entry.beside or entry.has_comments_inside()):
        entry.tail.append(comment)  # what is inside stands before it
    else:
        entry.beside.append(comment)


def _owner(last: _Point | None, following: _Point | None, column: int, root: Entry) -> Entry | None:
    """Return the entry at whose end a comment stands; None if it is above the following one.

    It is the innermost of those ending here whose parts stand no further right than the comment.
    """
    if last is None or (
        following is not None
        and (following.entry.parent is last.entry or column <= following.column)
    ):
        return root if following is None else None
    stays = set() if following is None else set(_line_of(following.entry.parent))
    for entry in _line_of(last.entry):
        if entry in stays:
            return None
        inside_flow = entry.value.flow or not entry.value.holds
        if not inside_flow and entry.value.column <= column:
            return entry
    return root


def _line_of(entry: Entry | None) -> Iterator[Entry]:
    """Yield an entry and all it stands in."""
    while entry is not None:
        yield entry
        entry = entry.parent
