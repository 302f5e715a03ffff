"""What a condition needs of facts: for each fact the values with which it comes to yes, or to no.

A condition is taken apart into ways, each a set of needs on single facts that together settle it.
A need is exact: numbers as closed intervals of nine-digit numbers (what is above a bound begins
with the next such number), choices as sets. So the nearest value that meets it is found by looking,
not by trying.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from advisor.engine.conditions import All, Node, Not, Ref, Test
from advisor.engine.values import ABSENT, MISSING, Value, has_value
from advisor.quantities import round9
from advisor.searching import beside
from advisor.vocabulary import COUNT, FLAG, TEXT, FactEntry, Vocabulary

MOST_WAYS = 256
"""Ways followed at a time; a rule of everyday size has a handful."""

_LOWEST, _HIGHEST = -1e9, 1e9

Interval = tuple[float, float]


class Need(NamedTuple):
    """What is needed of one fact.

    Of a number, to be in one of `intervals`; of a choice, a flag or a text to be among `allowed`;
    of a fact with several values to include one of each of `include` and none of `exclude`. None
    asks nothing. `there` asks that it has a value, or none; `stated` the same of a statement.
    """

    intervals: tuple[Interval, ...] | None = None
    allowed: frozenset[Value] | None = None
    include: tuple[frozenset[Value], ...] = ()
    exclude: frozenset[Value] = frozenset()
    there: bool | None = None
    stated: bool | None = None

    def meet(self, other: Need) -> Need | None:
        """Return what meets both, or None where nothing does."""
        intervals, allowed = self.intervals, self.allowed
        if other.intervals is not None:
            mine = intervals
            intervals = other.intervals if mine is None else _common(mine, other.intervals)
        if other.allowed is not None:
            allowed = other.allowed if allowed is None else allowed & other.allowed
        there, stated = _both(self.there, other.there), _both(self.stated, other.stated)
        exclude = self.exclude | other.exclude
        include = tuple(dict.fromkeys((*self.include, *other.include)))
        empty = intervals == () or allowed == frozenset() or any(one <= exclude for one in include)
        if empty or _CLASH in (there, stated):
            return None
        has = intervals is not None or allowed is not None or include
        if there is False and has:
            return None
        return Need(intervals, allowed, include, exclude, there, stated)  # type: ignore[arg-type]


Way = dict[str, Need]
"""Needs by fact, all of which must be met."""

_CLASH = "clash"


def _both(one: bool | None, other: bool | None) -> bool | str | None:
    if one is None or other is None:
        return other if one is None else one
    return one if one == other else _CLASH


def _common(one: Sequence[Interval], other: Sequence[Interval]) -> tuple[Interval, ...]:
    pairs = ((max(a, c), min(b, d)) for a, b in one for c, d in other)
    return tuple((low, high) for low, high in pairs if low <= high)


class Needs:
    """Takes conditions apart.

    Args:
        vocabulary: what values facts can have.
        value_of: the value a fact has now; a comparison of two facts is a need of either, the
            other being as it is.
    """

    def __init__(self, vocabulary: Vocabulary, value_of: Callable[[str], Value]) -> None:
        self.vocabulary = vocabulary
        self.value_of = value_of

    def ways(self, node: Node, want: bool) -> list[Way]:
        """Return the ways in which a condition comes to yes, or to no.

        They are few and each is whole: with its needs met, and the other facts of the condition as
        they are or otherwise, it comes to what is wanted.
        """
        if isinstance(node, Test):
            return self._of_test(node, want)
        if isinstance(node, Not):
            return self.ways(node.part, not want)
        if isinstance(node, All) == want:
            found: list[Way] = [{}]
            for part in node.parts:
                found = together(found, self.ways(part, want))
            return found
        return [way for part in node.parts for way in self.ways(part, want)][:MOST_WAYS]

    def _of_test(self, test: Test, want: bool) -> list[Way]:
        if test.op == "known":
            return [{test.fact: Need(there=test.operand is want)}]
        if test.op == "stated":
            return [{test.fact: Need(stated=test.operand is want)}]
        if isinstance(test.operand, Ref):
            return self._of_pair(test, test.operand.fact, want)
        need = self._need(self.vocabulary[test.fact], test.op, test.operand, want)
        found: list[Way] = [] if need is None else [{test.fact: need}]
        # What nothing concludes makes a test no as it is.
        as_it_is = not want and self.value_of(test.fact) is ABSENT
        return [{}, *found] if as_it_is else found

    def _of_pair(self, test: Test, other: str, want: bool) -> list[Way]:
        """Return the needs of either side of a comparison, the other being as it is."""
        found: list[Way] = []
        for fact, against, op in (
            (test.fact, other, test.op),
            (other, test.fact, _MIRROR[test.op]),
        ):
            value = self.value_of(against)
            if not has_value(value):
                continue
            need = self._need(self.vocabulary[fact], op, value, want)
            if need is not None:
                # The other side must not move meanwhile.
                held = self._need(self.vocabulary[against], "is", value, True)
                ways = (
                    [{fact: need}] if held is None else together([{fact: need}], [{against: held}])
                )
                found += ways
        return found

    def _need(self, entry: FactEntry, op: str, operand: Value, want: bool) -> Need | None:
        if entry.is_number and isinstance(operand, (int, float)):
            return _of_number(entry, op, float(operand), want)
        values = operand if isinstance(operand, tuple) else (operand,)
        if entry.several:
            some = frozenset(values)
            return Need(include=(some,)) if want else Need(exclude=some)
        if want:
            return Need(allowed=frozenset(values))
        domain: Iterable[Value] = entry.choices
        if entry.kind == FLAG:
            domain = (False, True)
        elif entry.kind == TEXT:
            domain = (self.value_of(entry.name),)
        left = frozenset(x for x in domain if has_value(x)) - frozenset(values)
        return Need(allowed=left) if left else None


_MIRROR = {
    "is": "is",
    "at_least": "at_most",
    "at_most": "at_least",
    "above": "below",
    "below": "above",
}


def _of_number(entry: FactEntry, op: str, bound: float, want: bool) -> Need | None:
    whole = entry.kind == COUNT
    low = _LOWEST if entry.low is None else entry.low
    high = _HIGHEST if entry.high is None else entry.high
    if op == "is":
        apart = ((low, beside(bound, False, whole)), (beside(bound, True, whole), high))
        intervals = ((bound, bound),) if want else apart
    else:
        upward = op in ("at_least", "above")
        closed = op in ("at_least", "at_most")
        if not want:
            upward, closed = not upward, not closed
        edge = bound if closed else beside(bound, upward, whole)
        intervals = ((edge, high),) if upward else ((low, edge),)
    kept = _common(intervals, ((low, high),))
    return Need(kept) if kept else None


def together(some: Iterable[Way], others: Iterable[Way]) -> list[Way]:
    """Return the ways that go one of `some` ways and one of the `others`."""
    found: list[Way] = []
    others = list(others)
    for one in some:
        for other in others:
            met = _joined(one, other)
            if met is not None and met not in found:
                found.append(met)
            if len(found) == MOST_WAYS:
                return found
    return found


def _joined(one: Way, other: Way) -> Way | None:
    joined = dict(one)
    for fact, need in other.items():
        met = joined[fact].meet(need) if fact in joined else need
        if met is None:
            return None
        joined[fact] = met
    return joined


def nearest_value(need: Need, value: Value, entry: FactEntry) -> Value | None:
    """Return the value nearest to one that a fact has, which meets a need of it.

    Returns:
        The value itself if it meets the need; MISSING if the fact must have none; None if nothing
        meets it.
    """
    if need.there is False or (need.stated is False and entry.origin == "given"):
        return MISSING
    if need.intervals is not None:
        return _nearest_number(need.intervals, value)
    if entry.several:
        return _nearest_several(need, value if has_value(value) else (), entry)
    if need.allowed is not None:
        if value in need.allowed:
            return value
        order = [x for x in entry.choices if x in need.allowed] or sorted(need.allowed, key=str)
        return order[0] if order else None
    return value if has_value(value) else None


def _nearest_number(intervals: Sequence[Interval], value: Value) -> Value:
    if not has_value(value):
        return intervals[0][0]
    inside = [min(max(value, low), high) for low, high in intervals]
    return min(inside, key=lambda x: (round9(abs(x - value)), x))


def _nearest_several(need: Need, value: Sequence[Value], entry: FactEntry) -> Value | None:
    kept = [x for x in value if x not in need.exclude]
    for some in need.include:
        if some.isdisjoint(kept):
            kept.append(next(x for x in entry.choices if x in some - need.exclude))
    if value and not kept:
        kept = [x for x in entry.choices if x not in need.exclude][:1]
    return tuple(kept) if kept or not value else None
