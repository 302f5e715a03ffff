"""Columns of facts as one rule base has them: their values, what is assumed, what is computed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from advisor.columns.draw import GONE, NOT_STATED, VALUES, Codes, Drawn
from advisor.engine.chooser import Function
from advisor.engine.values import ABSENT, COMPUTED, MISSING, Value, has_value
from advisor.meanings.sides import Side
from advisor.meanings.states import Carrier, carry
from advisor.options import HEAD_TYPE, HEADS
from advisor.vocabulary import FactEntry

_FEW = 1 << 22
"""Places up to which distinct rows are marked off in a table, not sorted."""

_MOST = 1 << 62


class Column(NamedTuple):
    """One fact of many setups.

    Codes lead to `values`; without codes all setups are alike and have `blank`. That is also the
    value of whoever does not state the fact: what is assumed, or MISSING. `stated` is there where
    having a code does not tell: a computed fact.
    """

    codes: Codes | None
    values: Sequence[Value]
    blank: Value = MISSING
    stated: npt.NDArray[np.bool_] | None = None

    def listed(self) -> list[Value]:
        """Return the value of each code."""
        return [self.blank, ABSENT, *self.values]

    def part(self, rows: slice) -> Column:
        """Return the column of some of the setups."""
        codes = None if self.codes is None else self.codes[rows]
        stated = None if self.stated is None else self.stated[rows]
        return Column(codes, self.values, self.blank, stated)


NOTHING = Column(None, ())


class Facts:
    """The facts of one side, and which of the setups it cannot read.

    Args:
        side: the rule base.
        drawn: the setups.
        carrier: what brings values into the side's own units.
        kept: columns of computed facts by their signature, shared between sides.
    """

    def __init__(self, side: Side, drawn: Drawn, carrier: Carrier, kept: dict[int, Column]) -> None:
        self.side = side
        self.drawn = drawn
        self.carrier = carrier
        self._kept = kept
        self._columns: dict[str, Column] = {}
        self._functions: dict[str, Function] = {f.fact: f for f in side.functions}
        self.unfit: npt.NDArray[np.bool_] | None = None
        """Setups that state something that this side's vocabulary does not take."""

    def column(self, name: str) -> Column:
        """Return the column of a fact that no rule concludes."""
        found = self._columns.get(name)
        if found is None:
            found = self._columns[name] = self._made(name)
        return found

    def _made(self, name: str) -> Column:
        entry = self.carrier.entry_on(name, self.side)
        if entry is None:
            return NOTHING
        if entry.origin == COMPUTED:
            sign = self.side.facts[name]
            found = self._kept.get(sign)
            if found is None:
                found = self._kept[sign] = self._computed(name, entry)
            return found
        return self._stated(name, entry)

    def _stated(self, name: str, entry: FactEntry) -> Column:
        assumed = self.side.base.assume.get(name)
        blank = MISSING if assumed is None else assumed.value
        codes = self.drawn.codes(name)
        if codes is None:
            return Column(None, (), blank)
        written = self.carrier.entries[name]
        spread = self.drawn.population.facts[name]
        values = [carry(value, written, entry) for value in spread.values]
        wrong = [i + VALUES for i, value in enumerate(values) if value is None]
        if wrong:
            self._refuse(np.isin(codes, wrong))
        return Column(codes, [MISSING if value is None else value for value in values], blank)

    def find_unfit(self) -> None:
        """Look for setups that this side cannot read, by facts that nothing may depend on, too."""
        for name, spread in self.drawn.population.facts.items():
            entry = self.carrier.entry_on(name, self.side)
            if entry is not None:
                written = self.carrier.entries[name]
                if any(carry(value, written, entry) is None for value in spread.values):
                    self.column(name)

    def _refuse(self, rows: npt.NDArray[np.bool_]) -> None:
        self.unfit = rows if self.unfit is None else self.unfit | rows

    # Computed facts

    def _computed(self, name: str, entry: FactEntry) -> Column:
        stated = self._stated(name, entry)
        function = self._functions.get(name)
        told = None if stated.codes is None else stated.codes >= VALUES
        if function is None:
            return stated._replace(stated=told)
        needs = [self.column(need) for need in function.needs]
        if all(need.codes is None for need in needs):
            value = function.value([need.blank for need in needs])
            return stated._replace(blank=value, stated=told)
        count = self.drawn.count
        rows = np.arange(count) if told is None else np.flatnonzero(~told)
        places, firsts = distinct(needs, rows)
        values = self._values(function, needs, rows[firsts])
        offset = len(stated.values)
        codes = np.zeros(count, np.int32) if stated.codes is None else stated.codes.copy()
        kept = [i for i, value in enumerate(values) if has_value(value)]
        code_of = np.full(len(values), NOT_STATED, np.int32)
        code_of[kept] = np.arange(len(kept), dtype=np.int32) + VALUES + offset
        codes[rows] = code_of[places]
        flags = np.zeros(count, np.bool_) if told is None else told
        return Column(codes, [*stated.values, *(values[i] for i in kept)], MISSING, flags)

    def _values(
        self, function: Function, needs: Sequence[Column], rows: npt.NDArray[np.intp]
    ) -> list[Value]:
        """Return a function's value for each of some setups."""
        inputs: list[Iterable[Value]] = []
        for need in needs:
            if need.codes is None:
                inputs.append([need.blank] * len(rows))
            else:
                listed = need.listed()
                inputs.append([listed[code] for code in need.codes[rows].tolist()])
        value = function.value
        return [value(row) for row in zip(*inputs, strict=True)]

    def pairing(self) -> npt.NDArray[np.bool_] | None:
        """Return the setups in which the heads are what is chosen: those are no setups here."""
        base = self.side.base
        if HEAD_TYPE not in base.vocabulary or not base.ladder.items.get(HEADS):
            return None
        options = base.vocabulary.of_origin("option")
        telling = [name for name in options if base.vocabulary[name].pairs] or options
        columns = [self.column(name) for name in telling]
        if not columns or any(column.codes is None for column in columns):
            return None
        found = np.ones(self.drawn.count, np.bool_)
        for column in columns:
            assert column.codes is not None
            found &= column.codes >= VALUES
        head = self.column(HEAD_TYPE).codes
        return found if head is None else found & (head < VALUES)


def distinct(
    needs: Sequence[Column], rows: npt.NDArray[np.intp]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return, for each of some rows, which distinct row it is, and where each of these first is."""
    key = np.zeros(len(rows), np.int64)
    size = 1
    for need in needs:
        if need.codes is None:
            continue
        length = len(need.values) + VALUES
        if size * length > _MOST:
            _, key = np.unique(key, return_inverse=True)
            size = int(key.max(initial=0)) + 1
        key = key * length + need.codes[rows]
        size *= length
    if size <= _FEW:
        first = np.full(size, -1, np.int64)
        first[key[::-1]] = np.arange(len(rows))[::-1]
        used = np.flatnonzero(first >= 0)
        place = np.empty(size, np.int64)
        place[used] = np.arange(len(used))
        return place[key], first[used]
    _, firsts, places = np.unique(key, return_index=True, return_inverse=True)
    return places, firsts


__all__ = ["GONE", "Column", "Facts"]
