"""Setups that one of two rule bases takes and the other refuses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from advisor.engine.values import CONCLUDED, Value
from advisor.errors import quoted
from advisor.meanings.matching import shown
from advisor.meanings.sides import Side
from advisor.meanings.states import Carrier, carry
from advisor.meanings.written import range_in
from advisor.quantities import round9
from advisor.rules_compared import DIFFERS, SETUP, STATED, Said, Topic, Witness
from advisor.vocabulary import CHOICE, COUNT, FLAG, QUANTITY, FactEntry, UnfitError


class Weighed(NamedTuple):
    """How a population spreads a fact: the share of setups that state it, its values, weights."""

    name: str
    stated: float
    values: Sequence[Value]
    weights: Sequence[float]


class _Refused(NamedTuple):
    """A statement that one side takes and the other refuses, and what each says to it."""

    name: str
    value: Value
    old: str
    new: str

    @property
    def is_new(self) -> bool:
        """Whether it is the new side that refuses it."""
        return self.new != _TAKEN


_TAKEN = "takes it"


def refusals(carrier: Carrier, old: Side, new: Side, population: Iterable[Weighed]) -> Topic | None:
    """Return what one side refuses and the other takes, with the share of setups it touches.

    None where both take the same setups. What is refused now is shown before what was.
    """
    found = [one for name in carrier.entries for one in _of_fact(name, carrier, old, new)]
    if not found:
        return None
    first = min(found, key=lambda one: not one.is_new)
    now, before = _shares(carrier, old, new, population)
    entry = carrier.entries[first.name]
    value = [*first.value] if isinstance(first.value, tuple) else first.value
    words = (new if first.name in new.base.vocabulary else old).base.vocabulary
    told = shown(entry.name, value, words)
    witness = Witness({first.name: told}, (Said(_said(first.old)),), (Said(_said(first.new)),))
    return Topic(STATED, SETUP, DIFFERS, witness=witness, refused_now=now, refused_before=before)


def _said(told: str) -> str:
    return "takes it" if told == _TAKEN else f"refuses it: {told}"


def _of_fact(name: str, carrier: Carrier, old: Side, new: Side) -> Iterator[_Refused]:
    entries = tuple(side.base.vocabulary.entries.get(name) for side in (old, new))
    one, other = (None if e is None or e.origin == CONCLUDED else e for e in entries)
    if one is None and other is None:
        return
    written = carrier.entries[name]
    for value in _tried(written, one, other):
        told, told_now = (_answer(name, value, written, entry) for entry in (one, other))
        if (told == _TAKEN) != (told_now == _TAKEN):
            yield _Refused(name, value, told, told_now)


def _answer(name: str, value: Value, written: FactEntry, entry: FactEntry | None) -> str:
    """Return what a side says to a statement, read as it reads a setup."""
    if entry is None:
        return f"{quoted(name)} is no fact that a setup states"
    try:
        entry.read(_raw(value, written))
    except UnfitError as fault:
        return fault.what
    return _TAKEN


def _raw(value: Value, written: FactEntry) -> Any:
    """Return a value as a person would write it."""
    if isinstance(value, tuple):
        return list(value) if len(value) > 1 else value[0]
    return f"{value:.9g} {written.unit}" if written.kind == QUANTITY else value


def _tried(written: FactEntry, one: FactEntry | None, other: FactEntry | None) -> list[Value]:
    """Return statements that would show that one side takes more than the other."""
    if one is None or other is None or one.kind != other.kind:
        return _some(written)
    if written.kind == CHOICE:
        apart = [c for c in written.choices if (c in one.choices) != (c in other.choices)]
        found: list[Value] = [(c,) if written.several else c for c in apart]
        if one.several != other.several and len(written.choices) > 1:
            found.append(tuple(written.choices)[:2])
        return found
    if not written.is_number:
        return []
    ranges = [range_in(entry, written) for entry in (one, other)]
    bounds = {round9(bound) for ends in ranges if ends is not None for bound in ends}
    if len(bounds) < 2 and None not in ranges:
        return []
    if None in ranges:
        bounds |= {x for low, high in [r for r in ranges if r] for x in (low - 1, high + 1)}
        bounds |= set(_numbers(written))
    return [int(x) if written.kind == COUNT else x for x in sorted(bounds)]


def _some(entry: FactEntry) -> list[Value]:
    """Return a value of a fact that only one side has."""
    if entry.kind == CHOICE:
        first = next(iter(entry.choices))
        return [(first,) if entry.several else first]
    if entry.kind == FLAG:
        return [True]
    return list(_numbers(entry)) if entry.is_number else ["something"]


def _numbers(entry: FactEntry) -> tuple[float, ...]:
    return (1.0,) if entry.low is None else (entry.low,)


def _shares(
    carrier: Carrier, old: Side, new: Side, population: Iterable[Weighed]
) -> tuple[float, float]:
    """Return the shares of setups that only the new side refuses, and only the old one.

    Facts are drawn independently of each other, so both are products over facts, and exact.
    """
    by_old = by_new = by_both = 1.0
    for fact in population:
        refused = [0.0, 0.0, 0.0]
        for value, weight in zip(fact.values, fact.weights, strict=True):
            if value != ():
                before, after = (_takes(carrier, fact.name, value, side) for side in (old, new))
                for i, taken in enumerate((before, after, before and after)):
                    refused[i] += 0.0 if taken else weight * fact.stated
        by_old *= 1 - refused[0]
        by_new *= 1 - refused[1]
        by_both *= 1 - refused[2]
    return max(0.0, by_old - by_both), max(0.0, by_new - by_both)


def _takes(carrier: Carrier, name: str, value: Value, side: Side) -> bool:
    entry = carrier.entry_on(name, side)
    return entry is not None and carry(value, carrier.entries[name], entry) is not None


__all__ = ["Weighed", "refusals"]
