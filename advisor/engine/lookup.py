"""Looking facts up: what each value of a fact holds against the conditions that read it."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from functools import reduce
from operator import getitem, itemgetter, or_

from advisor.engine.conditions import compile_condition, tests_of
from advisor.engine.parting import Part
from advisor.engine.values import NO, UNKNOWN, FactTable, Value, has_value

MOST_SEEN = 512
"""Values of one fact whose bit sets are kept; texts could otherwise pile up without end."""


class KeptFact:
    """What each value of one fact does to the conditions that read it.

    `seen` holds for each value the bits of the conditions that it rules out or leaves unknown.
    """

    __slots__ = ("_cuts", "_near", "_values", "parts", "seen", "slot", "table")

    def __init__(self, slot: int, parts: Sequence[Part], table: FactTable) -> None:
        self.slot = slot
        self.parts = parts
        self.table = table
        self.seen: dict[Value, int] = {}
        self._near: dict[float, int] = {}
        self._cuts = self._find_cuts()
        self._values = table.blank()

    def _find_cuts(self) -> tuple[float, ...]:
        """Return the numbers that split the fact's values into those that rules tell apart."""
        operands = [test.operand for part in self.parts for test in tests_of(part.node)]
        numbers = {x for x in operands if isinstance(x, (int, float)) and not isinstance(x, bool)}
        return tuple(sorted(numbers))

    def learn(self, value: Value) -> int:
        """Return and keep what a value not seen before does."""
        cuts = self._cuts
        if cuts and has_value(value):
            # Numbers between two neighbouring bounds are alike to every rule.
            at = bisect_left(cuts, value)
            near = at + 0.5 if at < len(cuts) and cuts[at] == value else at
            found = self._near.get(near)
            if found is None:
                found = self._near[near] = self._judge(value)
        else:
            found = self._judge(value)
        if len(self.seen) >= MOST_SEEN:
            self.seen.clear()
        self.seen[value] = found
        return found

    def _judge(self, value: Value) -> int:
        against = 0
        values = self._values
        values[self.slot] = value
        for no, unknown, node in self.parts:
            outcome = compile_condition(node, self.table)(values)
            if outcome == NO:
                against |= no
            elif outcome == UNKNOWN:
                against |= unknown
        return against


class Looks:
    """Facts looked up together: what their values hold against the conditions.

    Those come first that stand against low bits alone, so that most unions are of short integers.
    """

    __slots__ = ("_facts", "_pick", "_seen")

    def __init__(self, facts: Sequence[KeptFact]) -> None:
        facts = sorted(facts, key=lambda fact: (max(part.no for part in fact.parts), fact.slot))
        self._facts = tuple(facts)
        self._seen = tuple(fact.seen for fact in facts)
        # With one slot itemgetter gives no tuple, so the list of values is picked from twice.
        slots = [fact.slot for fact in facts]
        self._pick = itemgetter(*slots, *slots[:1]) if slots else None

    def gather(self, against: int, values: list[Value]) -> int:
        """Return `against` and what the facts' values add to it."""
        if self._pick is None:
            return against
        try:
            # All of it in C: this is the loop in which a run spends its time.
            return reduce(or_, map(getitem, self._seen, self._pick(values)), against)
        except KeyError:
            for fact in self._facts:
                value = values[fact.slot]
                known = fact.seen.get(value)
                against |= fact.learn(value) if known is None else known
            return against
