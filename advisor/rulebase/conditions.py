"""Reading conditions and tests: plain data of a document into the engine's trees."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any as Anything

from advisor.engine.conditions import All, Any, Node, Not, Ref, Test
from advisor.vocabulary import FactEntry, UnfitError, Vocabulary, show

BOUNDS = ("at_least", "at_most", "above", "below")
GROUPS = ("any", "all", "not")
Path = tuple[str | int, ...]
Report = Callable[[Path, str, str], None]
"""Takes the place in the document, what is wrong and the remedy."""


class ConditionReader:
    """Reads conditions against a vocabulary, reporting every fault instead of raising."""

    def __init__(self, vocabulary: Vocabulary, report: Report) -> None:
        self.vocabulary = vocabulary
        self.report = report

    def condition(self, raw: Anything, path: Path) -> Node | None:
        """Read a mapping of fact to test; None if nothing of it could be read."""
        if not isinstance(raw, dict) or not raw:
            self.report(
                path, "a condition is empty or no mapping", "write `fact: test`, or leave it out"
            )
            return None
        parts: list[Node] = []
        for key, value in raw.items():
            here = (*path, key)
            part: Node | None
            if key in ("any", "all"):
                part = self._group(key, value, here)
            elif key == "not":
                inner = self.condition(value, here)
                part = None if inner is None else Not(inner)
            else:
                part = self.test(key, value, here)
            if part is not None:
                parts.append(part)
        if not parts:
            return None
        return parts[0] if len(parts) == 1 else All(tuple(parts))

    def _group(self, key: str, raw: Anything, path: Path) -> Node | None:
        if not isinstance(raw, list) or not raw:
            self.report(path, f"`{key}` takes a list of conditions", f"write {key}: [{{...}}]")
            return None
        read = [self.condition(item, (*path, i)) for i, item in enumerate(raw)]
        parts = tuple(part for part in read if part is not None)
        if not parts:
            return None
        return All(parts) if key == "all" else Any(parts)

    def fact(self, name: Anything, path: Path) -> FactEntry | None:
        """Look up a fact by its name."""
        if isinstance(name, str) and name in self.vocabulary:
            return self.vocabulary[name]
        self.report(path, *self.vocabulary.no_such(show(name)))
        return None

    def test(self, name: str, raw: Anything, path: Path) -> Node | None:
        """Read the test of one fact."""
        entry = self.fact(name, path)
        return None if entry is None else self._test(entry, raw, path)

    def _test(self, entry: FactEntry, raw: Anything, path: Path) -> Node | None:
        if isinstance(raw, list):
            if not raw:
                self.report(path, "an empty list never holds", "list what is accepted")
                return None
            read = [self._test(entry, item, (*path, i)) for i, item in enumerate(raw)]
            parts = tuple(part for part in read if part is not None)
            if not parts:
                return None
            return parts[0] if len(parts) == 1 else Any(parts)
        if isinstance(raw, dict):
            return self._mapping(entry, raw, path)
        return self._compared(entry, "is", raw, path)

    def _mapping(self, entry: FactEntry, raw: dict[str, Anything], path: Path) -> Node | None:
        if not raw:
            self.report(path, "an empty test never holds", "write what the fact is tested for")
            return None
        parts: list[Node] = []
        for key, operand in raw.items():
            here = (*path, key)
            if key in ("known", "stated"):
                if isinstance(operand, bool):
                    parts.append(Test(entry.name, key, operand))
                else:
                    self.report(here, f"`{key}` takes true or false", f"write {key}: true")
            elif key == "fact" and len(raw) > 1:
                self.report(
                    here,
                    "`fact` takes the place of the whole test",
                    "write the rest of it as a condition of its own, under `all`",
                )
            elif key == "fact":
                part = self._compared(entry, "is", raw, path)
                if part is not None:
                    parts.append(part)
            elif key in BOUNDS:
                part = self._compared(entry, key, operand, here)
                if part is not None:
                    parts.append(part)
            else:
                self.report(
                    here,
                    f"`{key}` is no test",
                    "write a value, a list, " + ", ".join(BOUNDS) + ", known, stated or fact",
                )
        if not parts:
            return None
        return parts[0] if len(parts) == 1 else All(tuple(parts))

    def _compared(self, entry: FactEntry, op: str, raw: Anything, path: Path) -> Node | None:
        if op != "is" and (not entry.is_number or entry.several):
            self.report(
                path,
                f"`{op}` is a bound, and {entry.name} is no number",
                "name the values instead, in a list if there are several",
            )
            return None
        if isinstance(raw, dict):
            if set(raw) != {"fact"}:
                self.report(path, "this is no value", "write a value, or {fact: other.fact}")
                return None
            other = self.fact(raw["fact"], (*path, "fact"))
            if other is None:
                return None
            mismatch = _mismatch(entry, other)
            if mismatch:
                self.report(path, mismatch, "compare facts of one kind and one unit")
                return None
            return Test(entry.name, op, Ref(other.name))
        try:
            value = entry.read(raw, in_rule=True)
        except UnfitError as fault:
            self.report(path, fault.what, fault.help)
            return None
        if isinstance(value, tuple):  # of a fact with several values; a list was taken apart above
            (value,) = value
        return Test(entry.name, op, value)


def _mismatch(one: FactEntry, other: FactEntry) -> str:
    """Say why two facts cannot be compared, or nothing."""
    if one.is_number != other.is_number or (not one.is_number and one.kind != other.kind):
        return f"{one.name} ({one.kind}) cannot be compared with {other.name} ({other.kind})"
    # A count and a plain number are both without a unit.
    here, there = (e.unit if e.unit != "1" else "" for e in (one, other))
    if here != there:
        here, there = here or "no unit", there or "no unit"
        return f"{one.name} is in {here} and {other.name} in {there}"
    return ""
