"""The vocabulary: every fact's name, kind, origin, unit and words, and reading its values."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from math import isnan
from typing import Any, NamedTuple

from advisor.engine.values import COMPUTED, CONCLUDED, GIVEN, OPTION, FactTable, Value
from advisor.errors import did_you_mean, quoted, suggest
from advisor.quantities import QuantityError, check_range, format_quantity, parse_quantity, round9

CHOICE, FLAG, COUNT, QUANTITY, TEXT = "choice", "flag", "count", "quantity", "text"
NAMED = re.compile(r"\{([^{}]*)\}")
"""A fact named in a text."""

ORIGINS = (GIVEN, OPTION, COMPUTED, CONCLUDED)
NUMBERS = (COUNT, QUANTITY)


@lru_cache(maxsize=4096)
def named_in(text: str) -> tuple[str, ...]:
    """Return the facts that a rule's text names in braces."""
    return tuple(NAMED.findall(text))


class UnfitError(Exception):
    """A value that its fact cannot take: what is wrong, and the remedy."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what = what
        self.help = remedy


class Assumption(NamedTuple):
    """A value taken when nobody states one, with its reason and who says so."""

    value: Value
    because: str
    layer: str


class FactEntry(NamedTuple):
    """What the vocabulary says of one fact; numbers are in `unit`."""

    name: str
    label: str
    kind: str
    origin: str
    several: bool = False
    choices: Mapping[str, str] = {}
    unit: str = ""
    bare: bool = True
    low: float | None = None
    high: float | None = None
    tolerance: float | None = None
    within: float = 0.0
    step: float | None = None
    pairs: bool = False
    question: str = ""
    assume: Assumption | None = None

    @property
    def is_number(self) -> bool:
        """Tell whether bounds can be set on the fact."""
        return self.kind in NUMBERS

    @property
    def described_origin(self) -> str:
        """Return what follows "is" when the fact's origin is told."""
        return "an option" if self.origin == OPTION else self.origin

    def read(self, raw: Any, *, in_rule: bool = False) -> Value:
        """Read one value as a person wrote it.

        Args:
            raw: what the document holds.
            in_rule: rules may write bare numbers in the vocabulary's unit, and thresholds outside
                the range; setups and stock may not.

        Raises:
            UnfitError: if the fact cannot take the value.
        """
        if raw is None:
            raise UnfitError(
                f"{self.name} has no value", "write one, or leave the line out if it is not known"
            )
        if isinstance(raw, dict):
            raise UnfitError(f"{self.name} is one fact, not a group", f"write {self.due()}")
        if isinstance(raw, list):
            return self._read_list(raw)
        if self.kind == CHOICE:
            one = self._choice(raw)
            return (one,) if self.several else one
        if self.kind == FLAG:
            if not isinstance(raw, bool):
                raise UnfitError(
                    f"{quoted(show(raw))} is no answer to {self.name}", "write true or false"
                )
            return raw
        if self.kind == TEXT:
            if not isinstance(raw, str):
                raise UnfitError(
                    f"{quoted(show(raw))} is not text", f'write it in quotes: "{show(raw)}"'
                )
            return raw
        try:
            return self._number(raw, in_rule)
        except QuantityError as error:
            raise UnfitError(error.what, error.help) from None

    def _read_list(self, raw: list[Any]) -> Value:
        if not self.several:
            raise UnfitError(
                f"a list is written where {self.name} takes one value", f"write {self.due()}"
            )
        return tuple(dict.fromkeys(self._choice(item) for item in raw))

    def _choice(self, raw: Any) -> str:
        if isinstance(raw, str) and raw in self.choices:
            return raw
        near = did_you_mean(raw, self.choices) if isinstance(raw, str) else None
        listed = "choices: " + ", ".join(self.choices)
        if raw == "unknown":
            raise UnfitError(
                f"`unknown` is no choice of {self.name}", "leave the line out if it is not known"
            )
        raise UnfitError(
            f"{quoted(show(raw))} is no choice of {self.name}",
            f"did you mean {near}? {listed}" if near else listed,
        )

    def _number(self, raw: Any, in_rule: bool) -> float:
        if self.kind == COUNT:
            if isinstance(raw, bool) or not isinstance(raw, (int, float)) or isnan(raw):
                raise UnfitError(
                    f"{quoted(show(raw))} is no count",
                    f"write {self.name} as a whole number in digits",
                )
            if raw in (float("inf"), float("-inf")) or raw != int(raw):
                raise UnfitError(
                    f"{quoted(show(raw))} is no whole number", f"{self.name} is a count"
                )
            value: float = int(round9(raw))
        else:
            value = parse_quantity(raw, self.unit, bare=self.bare or in_rule, name=self.name)
        if not in_rule and self.low is not None and self.high is not None:
            try:
                check_range(value, self.low, self.high, self.unit, self.name, show(raw))
            except QuantityError as error:
                if self.kind != COUNT:
                    raise
                # Of a count no slip of unit or decimal point can be guessed.
                remedy = f"write a whole number from {self.low:g} to {self.high:g}"
                raise UnfitError(error.what, remedy) from None
        return value

    def due(self) -> str:
        """Say what the fact takes."""
        if self.kind == CHOICE:
            listed = ", ".join(self.choices)
            return f"a list of: {listed}" if self.several else f"one of: {listed}"
        if self.kind == FLAG:
            return "true or false"
        if self.kind == TEXT:
            return "text"
        if self.kind == COUNT:
            return "a whole number"
        return f"one value, such as {format_quantity(self.low or 2, self.unit)}"


def show(raw: Any) -> str:
    """Show a value as it would be written."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, float):
        if isnan(raw):
            return ".nan"
        if raw in (float("inf"), float("-inf")):
            return ".inf" if raw > 0 else "-.inf"
        return f"{raw:.9g}"
    if isinstance(raw, (list, tuple)):
        return "[" + ", ".join(show(item) for item in raw) + "]"
    if isinstance(raw, dict):
        return "{" + ", ".join(f"{key}: {show(value)}" for key, value in raw.items()) + "}"
    if raw is None:
        return "null"
    return str(raw)


class Vocabulary:
    """All facts of a rule base, its own and those of the layers under it."""

    def __init__(self, entries: Iterable[FactEntry]) -> None:
        self.entries: dict[str, FactEntry] = {entry.name: entry for entry in entries}
        self.groups = frozenset(
            name[:i] for name in self.entries for i, c in enumerate(name) if c == "."
        )

    def __contains__(self, name: object) -> bool:
        return name in self.entries

    def __getitem__(self, name: str) -> FactEntry:
        return self.entries[name]

    def of_origin(self, origin: str) -> list[str]:
        """Return the names of the facts of one origin, as declared."""
        return [name for name, entry in self.entries.items() if entry.origin == origin]

    def table(self) -> FactTable:
        """Return the engine's view of the vocabulary."""
        return FactTable(
            {name: entry.origin for name, entry in self.entries.items()},
            [name for name, entry in self.entries.items() if entry.several],
        )

    def no_such(self, name: str, among: Iterable[str] | None = None) -> tuple[str, str]:
        """Say that a fact is not in the vocabulary, and what may have been meant."""
        known = self.entries if among is None else among
        # The list of all that is known, after the question mark, is too long to help.
        told, near, _ = suggest(name, known).partition("?")
        return (
            f"{quoted(name)} is no fact",
            f"{told}?" if near else "the vocabulary has no such fact",
        )
