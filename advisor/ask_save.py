"""Writing what was stated as a setup file that reads back to the same facts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from advisor.ask_answers import scalar
from advisor.documents import read_document
from advisor.setups.model import Given, Setup
from advisor.setups.read import FROM_STOCK, SCHEMA_VERSION
from advisor.setups.take import numbers_of
from advisor.vocabulary import CHOICE, FLAG, TEXT, FactEntry, Vocabulary, show


def in_file_order(facts: Mapping[str, Given], vocabulary: Vocabulary) -> dict[str, Given]:
    """Return facts in the order in which a file lists them: those of a group together."""
    return {name: facts[name] for name in _leaves(_tree(facts, vocabulary))}


def setup_text(setup: Setup, vocabulary: Vocabulary, notes: str = "") -> str:
    """Write a setup file: nested by the dots of the fact names, quantities as they were written.

    Args:
        setup: what was stated.
        vocabulary: the facts there are.
        notes: free text of the file that the setup came from.
    """
    lines = [f"schema: {SCHEMA_VERSION}"]
    lines += [
        f"{key}: {scalar(text, as_text=True)}"
        for key, text in (("title", setup.title), ("notes", notes))
        if text
    ]
    lines += [f"{FROM_STOCK}:"] if setup.taken else []
    lines += [
        f"  {name}: {scalar(number, as_text=True)}"
        for name, number in numbers_of(setup.taken).items()
    ]
    _put(_tree(setup.facts, vocabulary), setup.facts, vocabulary, "", lines)
    return "\n".join(lines) + "\n"


def notes_of(path: str | None) -> str:
    """Return the notes of a setup file, which say nothing to the rules but are worth keeping."""
    if path is None:
        return ""
    notes = read_document(path).data.get("notes", "")
    return notes if isinstance(notes, str) else ""


def _tree(facts: Mapping[str, Given], vocabulary: Vocabulary) -> dict[str, Any]:
    """Nest names by their dots; the leaves are the full names."""
    tree: dict[str, Any] = {}
    for name in facts:
        # Below a fact nothing can be nested: the name is then written in full.
        nests = not any(name[:i] in vocabulary for i, c in enumerate(name) if c == ".")
        *groups, last = name.split(".") if nests else [name]
        here = tree
        for group in groups:
            here = here.setdefault(group, {})
        here[last] = name
    return tree


def _leaves(tree: Mapping[str, Any]) -> Iterator[str]:
    for below in tree.values():
        if isinstance(below, str):
            yield below
        else:
            yield from _leaves(below)


def _put(
    tree: Mapping[str, Any],
    facts: Mapping[str, Given],
    vocabulary: Vocabulary,
    indent: str,
    lines: list[str],
) -> None:
    for key, below in tree.items():
        lead = f"{indent}{scalar(key, as_text=True)}:"
        if isinstance(below, str):
            lines.append(f"{lead} {_value(vocabulary[below], facts[below])}")
        else:
            lines.append(lead)
            _put(below, facts, vocabulary, f"{indent}  ", lines)


def _value(entry: FactEntry, given: Given) -> str:
    if entry.kind == CHOICE and entry.several:
        return "[" + ", ".join(scalar(one, as_text=True) for one in given.value) + "]"
    if entry.kind in (CHOICE, TEXT):
        return scalar(given.value, as_text=True)
    return show(given.value) if entry.kind == FLAG else scalar(given.written)
