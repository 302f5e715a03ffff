"""What a saved Decision says was put in, held against its own words and the files they stand in."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from advisor.decision import Stated
from advisor.documents import Document, parse_scalar, read_document
from advisor.errors import Faults
from tests.rederive.facts import Fact, Item, Stock, Value, flat
from tests.rederive.report import Line
from tests.rederive.rules import Base
from tests.rederive.told import Inputs

SET = "--set "
NOT_A_FILE = ("standard input", "your answer")
"""Where a fact can be stated that is no file to look into."""
BESIDE_FACTS = ("schema", "title", "notes", "from_stock")
"""What stands in a setup file beside its facts."""

Plain = Mapping[str, Any]


class Given(NamedTuple):
    """What was put in, as far as it can be read, and a line on each statement."""

    inputs: Inputs
    lines: tuple[Line, ...]


def read_given(found: Plain, base: Base, stock: Stock, near: str) -> Given:
    """Read the givens of a Decision from the words they were stated with.

    Args:
        found: the Decision, its shape known to be one.
        base: the rules.
        stock: what there was to choose from.
        near: the folder of the Decision's file. Files are looked into only below it and below the
            folder that one works in, for whoever wrote the Decision could name any file.
    """
    stated = {name: Stated(**told) for name, told in found["stated"].items()}
    taken = dict(_taken(found, stated, stock))
    values: dict[str, Value] = {}
    lines: list[Line] = []
    listed: dict[str, tuple[Item, Value]] = {
        name: (item, value) for item in taken.values() for name, value in item.facts.items()
    }
    main = _setup_file(stated, listed)
    setup = _Setup(main, base, near)
    for name, told in list(stated.items()):
        fact = base.facts.get(name)
        if fact is None or fact.origin == "concluded":
            words = "is no fact that can be stated under these rules"
            lines.append(Line(f"stated.{name}", holds=False, words=words))
            continue
        item, value = listed.get(name, (None, None))
        if item is not None and _is_file(told.file, item.file):
            stated[name], line = _from_stock(name, told, item, value, fact)
            values[name] = value
            lines.append(line)
            continue
        try:
            values[name] = _read(told, fact)
        except ValueError as error:
            words = f"cannot be read: {error}"
            lines.append(Line(f"stated.{name}", holds=False, found=told.written, words=words))
            continue
        stated[name], line = _place(name, told, main, setup)
        lines.append(line)
        if item is not None and not told.file.startswith(SET) and values[name] != value:
            words = f"is stated otherwise than {item.id} of the stock has it"
            lines.append(Line(f"stated.{name}", holds=False, found=told.written, words=words))
    lines += [
        Line(f"stated.{name}", holds=False, words=f"is left out, and {item.id} tells it")
        for name, (item, _) in listed.items()
        if name not in stated
    ]
    lines += setup.lines(stated)
    title = found["title"] if setup.title is None else setup.title
    inputs = Inputs(title, stock.name, values, stated, taken, stock.typical)
    return Given(inputs, tuple(lines))


def _taken(found: Plain, stated: Mapping[str, Stated], stock: Stock) -> Iterator[tuple[str, Item]]:
    """Yield what was taken from stock by its number: the item whose facts stand at its line."""
    chosen = {name.partition(".")[0] for name in found["chosen"]}
    groups = [*found["items"], *(group for group in stock.items if group not in found["items"])]
    for group in groups:
        for item in stock.items.get(group, ()):
            by_line = any(
                name in stated
                and stated[name].line == item.line
                and _is_file(stated[name].file, item.file)
                for name in item.facts
            )
            by_number = group not in chosen and found["items"].get(group) == item.id
            if by_line or by_number:
                yield group, item
                break


def _is_file(told: str, path: str) -> bool:
    """Tell whether a Decision means a file, which it may have named from another folder."""
    if told == path or _real(told) == _real(path):
        return True
    return not os.path.exists(told) and os.path.basename(told) == os.path.basename(path)


def _from_stock(
    name: str, told: Stated, item: Item, value: Value, fact: Fact
) -> tuple[Stated, Line]:
    """Say whether a fact is as its item has it, and how it ought to be stated."""
    written = _show(value)
    if fact.kind == "quantity":
        written = f"{value:.9g} {fact.unit}"
    expected = Stated(told.file, item.line, written)
    holds = told == expected
    words = f"as {item.id} of the stock" if holds else f"is not as {item.id} of the stock"
    return expected, Line(f"stated.{name}", holds, _shown(told), _shown(expected), words)


def _shown(stated: Stated) -> str:
    return f"{stated.file}:{stated.line} {stated.written}"


def _read(told: Stated, fact: Fact) -> Value:
    """Read a value from the words it was stated with; ValueError if they do not do."""
    return told.written if fact.kind == "text" else fact.read(_scalar(told.written))


@lru_cache(maxsize=1024)
def _scalar(written: str) -> Any:
    try:
        return parse_scalar(written, "stated")
    except Faults as faults:
        raise ValueError(faults.faults[0].what) from None


def _setup_file(stated: Mapping[str, Stated], listed: Mapping[str, Any]) -> str:
    """Return the file that most facts are stated in, where that is a setup; empty if none is."""
    files = Counter(
        told.file
        for name, told in stated.items()
        if not told.file.startswith(SET)
        and not (name in listed and _is_file(told.file, listed[name][0].file))
    )
    return files.most_common(1)[0][0] if files else ""


def _place(name: str, told: Stated, main: str, setup: _Setup) -> tuple[Stated, Line]:
    """Say whether a fact stands where it is said to stand, and where it ought to."""
    if told.file.startswith(SET):
        expected, words = told._replace(file=f"{SET}{name}", line=0), "as stated with --set"
    elif main in NOT_A_FILE:
        line = told.line if main == NOT_A_FILE[0] else 0
        expected, words = told._replace(file=main, line=line), "as it was written"
    elif setup.document is None:
        expected, words = told._replace(file=main), "as it was written"
    elif name in setup.facts:
        line, written = setup.facts[name]
        expected, words = Stated(main, line, written), "still stands there"
    else:
        words = "is not stated in the setup file that is there now"
        return told, Line(f"stated.{name}", holds=False, found=_shown(told), words=words)
    holds = told == expected
    words = words if holds else "does not stand there"
    return expected, Line(f"stated.{name}", holds, _shown(told), _shown(expected), words)


class _Setup:
    """The setup file of a Decision, if it is still there."""

    def __init__(self, path: str, base: Base, near: str) -> None:
        self.path = path
        self.document: Document | None = None
        self.title: str | None = "" if not path else None
        self.facts: dict[str, tuple[int, str]] = {}  # name -> line, written
        self.why_not = ""
        if not path or path in NOT_A_FILE:
            return
        if not _is_below(path, (os.curdir, near)):
            self.why_not = "the setup file is in another place, and is not looked into"
        elif not os.path.isfile(path):
            self.why_not = "the setup file is not there any more"
        else:
            self._look(base)

    def _look(self, base: Base) -> None:
        try:
            document = read_document(self.path)
            body = {k: part for k, part in document.data.items() if k not in BESIDE_FACTS}
            told = list(flat(body, base.facts))
        except (Faults, AttributeError, ValueError):
            self.why_not = "the setup file cannot be read as a setup any more"
            return
        self.document = document
        self.title = str(document.data.get("title", ""))
        self.facts = {name: (document.where(*at)[0], _show(raw)) for name, raw, at in told}

    def lines(self, stated: Mapping[str, Stated]) -> Iterator[Line]:
        """Yield what else there is to say of the file."""
        if self.why_not:
            yield Line("stated", holds=None, found=self.path, words=self.why_not)
        for name, (line, written) in self.facts.items():
            if name not in stated:
                words = "is left out, though the setup file that is there now states it"
                expected = f"{self.path}:{line} {written}"
                yield Line(f"stated.{name}", holds=False, expected=expected, words=words)


def _is_below(path: str, folders: tuple[str, ...]) -> bool:
    real = _real(path)
    roots = map(_real, folders)
    return any(os.path.commonpath((real, root)) == root for root in roots)


def _real(path: str) -> str:
    try:
        return os.path.realpath(path)
    except ValueError:  # no file can have this name
        return os.sep


def _show(raw: Any) -> str:
    """Write a value as a setup file has it."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, float):
        return f"{raw:.9g}"
    if isinstance(raw, (list, tuple)):
        return "[" + ", ".join(map(_show, raw)) + "]"
    return "null" if raw is None else str(raw)
