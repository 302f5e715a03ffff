"""Conditions over columns: three-valued, each as one small whole number a setup, as the engine's.

What one fact decides alone is looked up: the engine's own closure judges each value that occurs,
once, and a column of places in that table does the rest. Two facts compared are compared value by
value. `all` is the lesser, `any` the greater, `not` what is left to 2.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence

import numpy as np
import numpy.typing as npt

from advisor.columns.draw import GONE, NOT_STATED, VALUES
from advisor.columns.facts import Column
from advisor.engine.conditions import (
    All,
    Any,
    Node,
    Not,
    Ref,
    Test,
    compile_condition,
    parts_of,
    tests_of,
)
from advisor.engine.values import ABSENT, NO, UNKNOWN, YES, FactTable, Missing, Value

Outcome = npt.NDArray[np.int8] | int
"""What a condition comes to for each setup, or for all of them."""

_COMPARE: dict[str, Callable[[npt.NDArray[np.float64], npt.NDArray[np.float64]], object]] = {
    "at_least": np.greater_equal,
    "at_most": np.less_equal,
    "above": np.greater,
    "below": np.less,
    "is": np.equal,
}


def least(one: Outcome, other: Outcome) -> Outcome:
    """Return what both come to together."""
    if isinstance(one, int) or isinstance(other, int):
        if isinstance(one, int) and isinstance(other, int):
            return min(one, other)
        known, column = (one, other) if isinstance(one, int) else (other, one)
        if known == NO:
            return NO
        if known == YES:
            return column
        return np.minimum(column, np.int8(1))
    return np.minimum(one, other)


def greatest(one: Outcome, other: Outcome) -> Outcome:
    """Return what either comes to."""
    return swapped(least(swapped(one), swapped(other)))


def swapped(one: Outcome) -> Outcome:
    """Return what `not` makes of it."""
    return 2 - one


class Tables:
    """What the values of each fact come to against the parts of conditions, kept over all chunks.

    Args:
        table: of the rule base that the conditions are of.
        numbers: facts that are numbers.
    """

    def __init__(self, table: FactTable, numbers: frozenset[str]) -> None:
        self._table = table
        self._numbers = numbers
        self._held: dict[Hashable, npt.NDArray[np.int8]] = {}
        self._floats: dict[str, npt.NDArray[np.float64]] = {}

    def of(self, node: Node, fact: str, column: Column, absent: int) -> npt.NDArray[np.int8]:
        """Return what each code of a column comes to against a condition on that fact alone."""
        key = id(node), absent
        found = self._held.get(key)
        if found is None:
            found = self._held[key] = self._made(node, fact, column, absent)
        return found

    def _made(self, node: Node, fact: str, column: Column, absent: int) -> npt.NDArray[np.int8]:
        if fact in self._numbers and not isinstance(node, Test):
            # A number may have as many values as there are setups, so these are not gone through.
            return self._joined(node, fact, column, absent)
        judge = compile_condition(node, self._table, absent)
        slot, flag = self._table.slot[fact], self._table.stated_slot(fact)
        values = self._table.blank()

        def judged(value: Value, *, stated: bool) -> int:
            values[slot], values[flag] = value, stated
            return judge(values)

        found = np.empty(len(column.values) + VALUES, np.int8)
        found[NOT_STATED] = judged(column.blank, stated=False)
        found[GONE] = judged(ABSENT, stated=False)
        stated = self._table.origin(fact) != "concluded"
        if isinstance(node, Test) and node.op == "known":
            found[VALUES:] = YES if node.operand else NO
        elif isinstance(node, Test) and fact in self._numbers and node.op in _COMPARE:
            numbers = self.floats(fact, column)[VALUES:]
            held = _COMPARE[node.op](numbers, np.float64(node.operand))  # type: ignore[arg-type]
            found[VALUES:] = np.where(held, YES, NO)  # type: ignore[call-overload]
            found[VALUES:][np.isnan(numbers)] = UNKNOWN
        else:
            found[VALUES:] = [judged(value, stated=stated) for value in column.values]
        return found

    def _joined(
        self, node: All | Any | Not, fact: str, column: Column, absent: int
    ) -> npt.NDArray[np.int8]:
        parts = [self.of(part, fact, column, absent) for part in parts_of(node)]
        if isinstance(node, Not):
            return np.int8(2) - parts[0]
        join = np.minimum if isinstance(node, All) else np.maximum
        found: npt.NDArray[np.int8] = join.reduce(parts)
        return found

    def floats(self, fact: str, column: Column) -> npt.NDArray[np.float64]:
        """Return the number of each code of a fact; nan where there is none."""
        held = self._floats.get(fact)
        if held is None:
            plain = [float("nan") if x.__class__ is Missing else x for x in column.listed()]
            held = self._floats[fact] = np.array(plain, np.float64)
        return held


class Conditions:
    """Judges conditions over the columns of some setups.

    Args:
        tables: kept over all chunks.
        column: returns a fact's column of this chunk.
        several: facts with several values.
    """

    def __init__(
        self, tables: Tables, column: Callable[[str], Column], several: frozenset[str]
    ) -> None:
        self._tables = tables
        self._column = column
        self._several = several

    def judge(self, node: Node | None, absent: int = NO) -> Outcome:
        """Return what a condition comes to; one that is not there holds."""
        if node is None:
            return YES
        fact = self._alone(node)
        if fact is not None:
            column = self._column(fact)
            found = self._tables.of(node, fact, column, absent)
            return int(found[NOT_STATED]) if column.codes is None else found[column.codes]
        if isinstance(node, Test):
            return self._test(node, absent)
        if isinstance(node, Not):
            return swapped(self.judge(node.part, absent))
        join = least if isinstance(node, All) else greatest
        settled = NO if isinstance(node, All) else YES
        result: Outcome = 2 - settled
        for part in node.parts:
            result = join(result, self.judge(part, absent))
            if isinstance(result, int) and result == settled:
                return settled
        return result

    def _alone(self, node: Node) -> str | None:
        """Return the one fact that decides a condition, if its codes do."""
        tests = tests_of(node)
        facts = {fact for test in tests for fact in test.facts()}
        if len(facts) != 1 or any(isinstance(test.operand, Ref) for test in tests):
            return None
        fact = tests[0].fact
        apart = self._column(fact).stated is not None
        return None if apart and any(test.op == "stated" for test in tests) else fact

    def _test(self, test: Test, absent: int) -> Outcome:
        column = self._column(test.fact)
        if test.op == "stated":
            assert column.stated is not None
            return np.where(column.stated == test.operand, np.int8(YES), np.int8(NO))
        assert isinstance(test.operand, Ref)
        return self._pair(test, column, self._column(test.operand.fact), absent)

    def _pair(self, test: Test, one: Column, other: Column, absent: int) -> Outcome:
        if one.codes is None and other.codes is None:
            table = self._pairs(test, one, other, absent)
            return int(table[NOT_STATED, NOT_STATED])
        if test.fact in self._tables._numbers:  # noqa: SLF001 - they are told to both
            return self._numbers(test, one, other, absent)
        table = self._pairs(test, one, other, absent)
        found: npt.NDArray[np.int8] = table[_codes(one), _codes(other)]
        return found

    def _numbers(self, test: Test, one: Column, other: Column, absent: int) -> Outcome:
        left = self._tables.floats(test.fact, one)[_codes(one)]
        right = self._tables.floats(test.operand.fact, other)[_codes(other)]
        held = np.asarray(_COMPARE[test.op](left, right), np.bool_)
        found = np.where(held, np.int8(YES), np.int8(NO))
        missing = np.isnan(left) | np.isnan(right)
        found[missing] = UNKNOWN
        for column in (one, other):
            if column.codes is not None and absent != UNKNOWN:
                found[column.codes == GONE] = absent
        return found

    def _pairs(self, test: Test, one: Column, other: Column, absent: int) -> npt.NDArray[np.int8]:
        """Return what each pair of codes comes to, by the engine's own closure."""
        table = self._tables._table  # noqa: SLF001 - as above
        judge = compile_condition(test, table, absent)
        assert isinstance(test.operand, Ref)
        here, there = table.slot[test.fact], table.slot[test.operand.fact]
        values = table.blank()
        rows: list[Sequence[int]] = []
        for x in one.listed():
            row = []
            for y in other.listed():
                values[here], values[there] = x, y
                row.append(judge(values))
            rows.append(row)
        return np.array(rows, np.int8)


def _codes(column: Column) -> npt.NDArray[np.int32] | int:
    return NOT_STATED if column.codes is None else column.codes


__all__ = ["Conditions", "Outcome", "Tables", "greatest", "least", "swapped"]
