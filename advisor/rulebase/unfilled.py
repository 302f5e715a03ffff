"""What a new rule still leaves to a person: texts that begin with FILL IN are refused."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from advisor.errors import Collector

MARK = "FILL IN "
Path = tuple[str | int, ...]


def tell_unfilled(document: Any, collector: Collector) -> bool:
    """Report every text of a document that nobody has filled in yet; tell whether there is one.

    Args:
        document: a `documents.Document`; in each such text the mark stands before what is due.
        collector: takes the faults, each at the line and column of its text.
    """
    found = list(unfilled(document.data))
    for path, due in found:
        line, column = document.where(*path)
        names = [step for step in path if isinstance(step, str)]
        name = f"`{names[-1]}`" if names else "this"
        collector.add(
            document.path, line, column, f"{name} is not filled in yet", f"put here {due}"
        )
    return bool(found)


def unfilled(data: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
    """Yield the path of every text that is not filled in, and what is due there."""
    if isinstance(data, str):
        if data.startswith(MARK.rstrip()):
            due = data.removeprefix(MARK.rstrip()).lstrip(": ")
            yield path, due or "what belongs here"
    elif isinstance(data, dict):
        for name, value in data.items():
            yield from unfilled(value, (*path, name))
    elif isinstance(data, list):
        for i, value in enumerate(data):
            yield from unfilled(value, (*path, i))
