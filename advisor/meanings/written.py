"""The words that setups are written in where two rule bases are compared: all that either takes."""

from __future__ import annotations

from advisor.quantities import convert, dimension
from advisor.rulebase.model import RuleBase
from advisor.vocabulary import CHOICE, QUANTITY, FactEntry, Vocabulary


def vocabulary_of_both(old: RuleBase, new: RuleBase) -> Vocabulary:
    """Return a vocabulary that takes whatever either takes: setups are written in it.

    Units are the new ones. Of a fact that is of another kind in each, or measured in what cannot be
    converted, it takes what the new one takes.
    """
    entries = {**old.vocabulary.entries, **new.vocabulary.entries}
    for name, before in old.vocabulary.entries.items():
        if name in new.vocabulary:
            entries[name] = _either(before, entries[name])
    return Vocabulary(entries.values())


def _either(old: FactEntry, new: FactEntry) -> FactEntry:
    """Return an entry that takes every value that one of two takes."""
    if old.kind != new.kind:
        return new
    if new.kind == CHOICE:
        several = old.several or new.several
        return new._replace(choices={**new.choices, **old.choices, **new.choices}, several=several)
    bounds = range_in(old, new)
    if bounds is None or new.low is None or new.high is None:
        return new
    return new._replace(low=min(bounds[0], new.low), high=max(bounds[1], new.high))


def range_in(entry: FactEntry, other: FactEntry) -> tuple[float, float] | None:
    """Return the range of a fact in the unit of another entry, or None if it has none in it."""
    if not entry.is_number or entry.low is None or entry.high is None:
        return None
    if entry.kind != QUANTITY or entry.unit == other.unit:
        return entry.low, entry.high
    if dimension(entry.unit) != dimension(other.unit):
        return None
    low, high = (convert(bound, entry.unit, other.unit) for bound in (entry.low, entry.high))
    return low, high


__all__ = ["range_in", "vocabulary_of_both"]
