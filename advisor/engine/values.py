"""Truth values, the two ways of having no value, and the table that gives each fact its slot."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

NO, UNKNOWN, YES = 0, 1, 2
"""The three truth values; `all` is their minimum, `any` their maximum, `not` is 2 minus one."""


class Missing:
    """A value that is not there. It equals nothing, so equality tests on it are simply false."""

    __slots__ = ("name",)

    def __init__(self, name: str) -> None:
        self.name = name

    def __repr__(self) -> str:
        return self.name


MISSING = Missing("MISSING")
"""No value, and it is not settled that there will be none: tests on it are unknown."""

ABSENT = Missing("ABSENT")
"""A concluded fact that nothing can conclude any more: tests on it are no."""

OPEN = Missing("OPEN")
"""A value that somebody could still state or choose: every test on it is unknown, `known` too."""

Value = Any
"""A text, a number, a flag, or for a fact with several values a tuple of texts."""

GIVEN, OPTION, COMPUTED, CONCLUDED = "given", "option", "computed", "concluded"


class FactTable:
    """Slots of the facts: `values[slot]` holds a value, `values[stated_slot]` a flag.

    A run works on one flat list, because reading a list by index is the cheapest look-up
    Python has and every condition is made of them.
    """

    def __init__(self, origins: Mapping[str, str], several: Iterable[str] = ()) -> None:
        self.names: tuple[str, ...] = tuple(origins)
        self.origins: tuple[str, ...] = tuple(origins.values())
        self.slot: dict[str, int] = {name: i for i, name in enumerate(self.names)}
        self.several: frozenset[str] = frozenset(several)
        n = len(self.names)
        self.size = n
        self.judges: dict[Any, Any] = {}
        """Compiled tests, kept by whoever compiles them."""
        self._blank: list[Value] = [
            ABSENT if origin == CONCLUDED else MISSING for origin in self.origins
        ]
        self._blank += [False] * n

    def blank(self) -> list[Value]:
        """Return the values of a run that knows nothing yet."""
        return self._blank.copy()

    def stated_slot(self, name: str) -> int:
        """Return the slot that tells whether the fact was stated."""
        return self.size + self.slot[name]

    def origin(self, name: str) -> str:
        """Return where the fact's values come from."""
        return self.origins[self.slot[name]]


def has_value(value: Value) -> bool:
    """Tell whether this is a value at all."""
    return value.__class__ is not Missing


def same_value(one: Value, other: Value) -> bool:
    """Tell whether two rules set the same: several values are compared as sets."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        return frozenset(one) == frozenset(other)
    return bool(one == other)
