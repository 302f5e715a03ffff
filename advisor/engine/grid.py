"""Judging every combination of alternatives at once, each rule only where it can differ.

An axis is a list of alternatives (rows) for a group of facts. A combination takes one row of every
axis. A rule, a fact or a demand depends on some of the axes only, so it is judged once for each
combination of *those*: its column. Columns are kept with the axes they depend on, as bits, and are
spread over more axes only where columns meet.

For one combination a `Run` says the same, and says why; tests hold the two together.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from operator import or_
from typing import NamedTuple

from advisor.engine.chooser import Axis, Chooser, Function
from advisor.engine.columns import Column, Kept, each, merging, project, spreading
from advisor.engine.conditions import Judge
from advisor.engine.rules import FIRING, STANDING, Demand, Rule
from advisor.engine.run import FIRED, FIRED_OPEN, SILENT, UNDECIDED, Run, defeats, members, settle
from advisor.engine.values import (
    MISSING,
    NO,
    OPTION,
    UNKNOWN,
    YES,
    Missing,
    Value,
    has_value,
)
from advisor.engine.wanting import Wants

_SURE = tuple(Column(0, (status,)) for status in (SILENT, UNDECIDED, FIRED, FIRED_OPEN))
"""The same status in every combination, by status."""


_NOTHING = Column(0, (0,))
"""No offence in any combination."""


class Offence(NamedTuple):
    """A reason for which a combination may be turned down; each has a bit in a verdict."""

    rule: str
    place: int  # in the rule's `then`; -1 for a stop


class Grid:
    """The verdict of a rule base on every combination of the axes.

    `verdicts[i]` is a number whose bits say what combination i does: breaks a demand (`broken`),
    leaves one unproven (`unproven`), fails a should of a layer on a fact (`failed`).

    Args:
        values: with everything stated, assumed and computed that no axis changes.
        axes: each with at least one row.
        kept: what an earlier grid of the same chooser worked out, or an empty one to fill.

    """

    def __init__(
        self,
        chooser: Chooser,
        values: list[Value],
        axes: Sequence[Axis],
        kept: Kept | None = None,
    ) -> None:
        self.chooser = chooser
        self.axes = tuple(axes)
        self.sizes = tuple(len(axis.rows) for axis in axes)
        self.everything = (1 << len(self.axes)) - 1
        self.values = values
        self._kept = kept
        if kept is not None:
            kept.axes = kept.axes or self.axes
            if kept.axes != self.axes:
                self._kept = None
        self._wants = Wants(self)
        self._columns: dict[int, Column] = {}
        self._masks: dict[int, int] = {}
        self._cells: dict[int, dict[int, Value]] = {}
        self._computed_slots: set[int] = set()
        self.status: dict[int, Column] = {}
        self._bits: dict[tuple[str, Value], int] = {}
        self.broken_bits = 0
        self.unproven_bits = 0
        self.failed_bits: dict[int, int] = {}
        table = chooser.table
        complete = True
        for bit, axis in enumerate(self.axes):
            for place, fact in enumerate(axis.facts):
                cells = [row[place] for row in axis.rows]
                slot = table.slot[fact]
                if all(cell == cells[0] for cell in cells):
                    self.values[slot] = cells[0]
                else:
                    self._columns[slot] = Column(1 << bit, cells)
                complete = complete and all(map(has_value, cells))
                self.values[table.stated_slot(fact)] = has_value(cells[0])
                if not all(map(has_value, cells)) and any(map(has_value, cells)):
                    flags = [has_value(cell) for cell in cells]
                    self._columns[table.stated_slot(fact)] = Column(1 << bit, flags)
        self.complete = complete and all(
            has_value(self.values[table.slot[name]]) or table.slot[name] in self._columns
            for name in table.names
            if table.origin(name) == OPTION
        )
        chooser.compute(self.values)
        # Rules of the setup read nothing that a combination changes, so one run of all rules tells
        # what they come to; what it says of the others, whose facts it lacks, is not looked at.
        self.setup_run: Run = chooser.program.run(self.values.copy())
        for slot in chooser.split.fixed:
            self.values[slot] = self.setup_run.values[slot]
        self._settle()
        self._tables: dict[int, list[int]] = self._judge()
        self.verdicts, self.alike = self._together()

    # Columns

    def size(self, mask: int) -> int:
        """Return the number of combinations of the axes in `mask`."""
        n = 1
        for bit, size in enumerate(self.sizes):
            if mask >> bit & 1:
                n *= size
        return n

    def spread(self, column: Column, mask: int) -> Sequence[Value]:
        """Spread a column over more axes."""
        if column.mask == mask:
            return column.cells
        if column.mask == 0:
            return [column.cells[0]] * self.size(mask)
        return spreading(self.sizes, mask, column.mask)(column.cells)

    def column(self, slot: int) -> Column:
        """Return the values of a fact, computing them where a function is needed."""
        return self._varying(slot) or Column(0, (self.values[slot],))

    def _varying(self, slot: int) -> Column | None:
        """Return the column of a fact that varies; what does not is left in `values`."""
        found = self._columns.get(slot)
        if found is None and self.values[slot].__class__ is Missing:
            function = self.chooser.function_at.get(slot)
            if function is not None:
                found = self._columns[slot] = self._computed(function)
                self._computed_slots.add(slot)
                if not found.mask:
                    self.values[slot] = found.cells[0]
        return found if found is not None and found.mask else None

    def _computed(self, function: Function) -> Column:
        slots = self.chooser.slots_of(function)
        inputs = {
            i: column for i, slot in enumerate(slots) if (column := self._varying(slot)) is not None
        }
        if self._kept is None:
            return self._compute(function, slots, inputs)
        row = [inputs.get(i, self.values[slot]) for i, slot in enumerate(slots)]
        key = "computed", function.fact
        return self._kept.take(key, row, lambda: self._compute(function, slots, inputs))

    def _compute(
        self, function: Function, slots: tuple[int, ...], inputs: Mapping[int, Column]
    ) -> Column:
        row = [self.values[slot] for slot in slots]
        mask = 0
        for i, column in inputs.items():
            mask |= column.mask
            row[i] = column.cells[0]
        if not mask:
            return Column(0, (function.value(row),))

        varying = list(inputs)
        spread = [self.spread(inputs[i], mask) for i in varying]
        rows = zip(*spread, strict=True)
        if function.chooser not in varying:
            # What does not vary is looked at once.
            asked = function.asked(row)
            if any(row[i].__class__ is Missing for i in asked if i not in inputs):
                return Column(0, (MISSING,))
            told = (inputs[i].cells for i in varying if i in asked)
            if not any(cell.__class__ is Missing for cells in told for cell in cells):
                return Column(mask, each(function.prepare(row, varying), rows))

        def value(cells: tuple[Value, ...]) -> Value:
            for i, cell in zip(varying, cells, strict=True):
                row[i] = cell
            return function.value(row)

        return Column(mask, each(value, rows))

    def mask_of(self, slot: int) -> int:
        """Return the axes that a fact varies with, whether or not its column is known yet."""
        column = self._columns.get(slot)
        if column is not None or has_value(self.values[slot]):
            return column.mask if column else 0
        found = self._masks.get(slot)
        if found is None:
            table = self.chooser.table
            function = self.chooser.function(table.names[slot])
            found = 0
            for name in function.needs if function else ():
                found |= self.mask_of(table.slot[name])
            self._masks[slot] = found
        return found

    def is_untold(self, slot: int) -> bool:
        """Tell whether a fact has no value yet that a function may give it."""
        return slot in self.chooser.function_at and not has_value(self.values[slot])

    def cells(self, slot: int, combinations: Sequence[int]) -> dict[int, Value]:
        """Return a fact's value in some of the combinations, computing no more than it takes."""
        mask = self.mask_of(slot)
        places = project(self.sizes, self.everything, mask)
        column = self._columns.get(slot)
        if column is not None:
            return {at: column.cells[places[at]] for at in combinations}
        known = self._cells.setdefault(slot, {})
        for at in combinations:
            if places[at] not in known:
                known[places[at]] = self._cell(slot, at)
        return {at: known[places[at]] for at in combinations}

    def cell(self, slot: int, at: int, here: int) -> Value:
        """Return a fact's value in one combination, `here` on the axes that it varies with."""
        column = self._columns.get(slot)
        return self._cell(slot, at) if column is None else column.cells[here]

    def _cell(self, slot: int, at: int) -> Value:
        column = self._columns.get(slot)
        if column is not None:
            return column.cells[project(self.sizes, self.everything, column.mask)[at]]
        value = self.values[slot]
        table = self.chooser.table
        name = table.names[slot] if slot < table.size else ""
        function = self.chooser.function(name)
        if function is None or has_value(value):
            return value
        return function.value([self._cell(table.slot[need], at) for need in function.needs])

    def _judged(
        self, key: tuple[Value, ...], slots: Collection[int], judge: Callable[[list[Value]], int]
    ) -> Column:
        """Judge a condition once for each combination of the axes that its slots depend on.

        Args:
            key: of the condition among all.
            slots: that it reads.
            judge: what it comes to.
        """
        varying = {slot: c for slot in slots if (c := self._varying(slot)) is not None}
        if self._kept is None:
            return self._judge_each(varying, judge)
        row = [varying.get(slot, self.values[slot]) for slot in slots]
        return self._kept.take(key, row, lambda: self._judge_each(varying, judge))

    def _judge_each(
        self, varying: Mapping[int, Column], judge: Callable[[list[Value]], int]
    ) -> Column:
        v = self.values
        mask = 0
        for column in varying.values():
            mask |= column.mask
        if not varying:
            return Column(0, (judge(v),))
        if len(varying) == 1:
            ((slot, column),) = varying.items()

            def one(x: Value) -> int:
                v[slot] = x
                return judge(v)

            return Column(mask, each(one, column.cells))

        def several(row: tuple[Value, ...]) -> int:
            for slot, x in zip(varying, row, strict=True):
                v[slot] = x
            return judge(v)

        spread = [self.spread(column, mask) for column in varying.values()]
        return Column(mask, each(several, zip(*spread, strict=True)))

    # Rules

    def _settle(self) -> None:
        """Fire the rules that belong to the build, and settle what stands and what it concludes."""
        split = self.chooser.split
        v = self.values
        bits = self.setup_run.bits
        self.status = {
            place: _SURE[self.setup_run.standing(place)]
            for place in members((bits.standing | bits.waiting) & split.setup)
        }
        for kind, place in split.steps:
            if kind == FIRING:
                guard = split.guards[place]
                if guard is not None and guard(v) == NO:
                    continue
                when, unless = split.conditions[place]

                def fire(
                    values: list[Value], when: Judge | None = when, unless: Judge | None = unless
                ) -> int:
                    held = YES if when is None else when(values)
                    if held and unless is not None:
                        barred = unless(values)
                        if barred == YES:
                            return SILENT
                        if barred and held == YES:
                            return FIRED_OPEN
                    return held

                column = self._judged((FIRING, place), split.reads[place], fire)
                if any(column.cells):
                    self.status[place] = column
            elif kind == STANDING:
                self._stand(place)
            else:
                self._conclude(place)

    def _stand(self, place: int) -> None:
        own = self.status.get(place)
        winners = [
            self.status[w] for w in self.chooser.program.overriders[place] if w in self.status
        ]
        if own is None or not winners:
            return
        stop = self.chooser.program.rules[place].stop
        mask = own.mask
        for column in winners:
            mask |= column.mask
        rows = zip(*(self.spread(column, mask) for column in (own, *winners)), strict=True)
        cells = [
            SILENT if any(defeats(int(w), stop) for w in beating) else status
            for status, *beating in rows
        ]
        self.status[place] = Column(mask, cells)

    def _conclude(self, slot: int) -> None:
        claims = [
            (self.status[i], value)
            for i, value in self.chooser.program.setters.get(slot, ())
            if i in self.status
        ]
        if not claims:
            return
        mask = 0
        for column, _ in claims:
            mask |= column.mask
        told = [(1 << n, value) for n, (_, value) in enumerate(claims)]

        def value(row: tuple[int, ...]) -> Value:
            standing = sum(1 << n for n, status in enumerate(row) if status >= FIRED)
            waiting = sum(1 << n for n, status in enumerate(row) if status == UNDECIDED)
            return settle(told, standing, waiting)[0]

        cells = each(value, zip(*(self.spread(column, mask) for column, _ in claims), strict=True))
        if mask:
            self._columns[slot] = Column(mask, cells)
        else:
            self.values[slot] = cells[0]

    # Verdicts

    def _bit(self, kind: str, what: Value) -> int:
        key = kind, what
        bit = self._bits.get(key)
        if bit is None:
            bit = 1 << len(self._bits)
            self._bits[key] = bit
            if kind == "broken":
                self.broken_bits |= bit
            elif kind == "unproven":
                self.unproven_bits |= bit
            else:
                layer = what[0]
                self.failed_bits[layer] = self.failed_bits.get(layer, 0) | bit
        return bit

    def _judge(self) -> dict[int, list[int]]:
        """Return what combinations offend against, in tables by the axes that it depends on."""
        tables: dict[int, list[int]] = {}

        def add(column: Column) -> None:
            cells = column.cells
            if any(cells):
                held = tables.get(column.mask)
                if held is None:
                    tables[column.mask] = list(cells)
                else:
                    tables[column.mask] = list(map(or_, held, cells))

        for place, status in self.status.items():
            rule = self.chooser.program.rules[place]
            if rule.stop:
                add(self._stops(place, rule, status))
            for demand in rule.demands:
                add(self._demanded(place, rule, demand, status))
        return tables

    def _together(self) -> tuple[list[int], dict[int, list[int]]]:
        """Return the verdict on each combination, and the combinations by their verdict.

        There are far fewer verdicts than combinations.
        """
        told = self._tables, self._bits
        kept = self._kept
        if kept is not None and kept.verdicts is not None and kept.verdicts[0] == told:
            return kept.verdicts[1:]
        verdicts = self._merge(dict(self._tables))
        alike: dict[int, list[int]] = {}
        for at, verdict in enumerate(verdicts):
            if verdict in alike:
                alike[verdict].append(at)
            else:
                alike[verdict] = [at]
        if kept is not None and kept.verdicts is None:
            kept.verdicts = told, verdicts, alike
        return verdicts, alike

    def _stops(self, place: int, rule: Rule, status: Column) -> Column:
        broken = self._bit("broken", Offence(rule.id, -1))
        open_ = self._wants.column(place, status)
        unproven = self._bit("unproven", Offence(rule.id, -1)) if any(open_.cells) else 0
        mask = status.mask | open_.mask
        rows = zip(self.spread(status, mask), self.spread(open_, mask), strict=True)
        return Column(mask, [broken if s >= FIRED else unproven if w else 0 for s, w in rows])

    def _demanded(self, place: int, rule: Rule, demand: Demand, status: Column) -> Column:
        split = self.chooser.split
        key = place, demand.place
        if not demand.is_must and not any(s >= FIRED for s in status.cells):
            return _NOTHING
        outcome = self._judged(key, split.demand_reads[key], split.demand_judges[key])
        good = NO if demand.is_negative else YES
        # What an outcome comes to where the rule stands: a bit, or nothing where it is met. Only
        # what happens gets a bit, for a verdict of few bits is quicker to merge and to compare.
        seen = set(outcome.cells) - {good}
        if not seen:
            return _NOTHING
        comes_to = [0, 0, 0]
        if demand.is_must:
            what = Offence(rule.id, demand.place)
            for x in seen:
                comes_to[x] = self._bit("unproven" if x == UNKNOWN else "broken", what)
        else:
            bit = self._bit("failed", (rule.layer, demand.fact))
            for x in seen:
                comes_to[x] = bit
        if status.mask == 0 and status.cells[0] >= FIRED:
            return Column(outcome.mask, list(map(comes_to.__getitem__, outcome.cells)))
        mask = status.mask | outcome.mask
        if not demand.is_must:
            rows = zip(self.spread(status, mask), self.spread(outcome, mask), strict=True)
            return Column(mask, [comes_to[x] if s >= FIRED else 0 for s, x in rows])
        open_ = self._wants.column(place, status)
        waits = [0, 0, 0]
        if any(open_.cells):
            for x in seen:
                waits[x] = self._bit("unproven", what)
        mask |= open_.mask
        return Column(
            mask,
            [
                comes_to[x] if s >= FIRED else waits[x] if w else 0
                for s, x, w in zip(
                    self.spread(status, mask),
                    self.spread(outcome, mask),
                    self.spread(open_, mask),
                    strict=True,
                )
            ],
        )

    def _merge(self, tables: dict[int, list[int]]) -> list[int]:
        """Combine verdicts, always the two tables that make the smallest one together."""
        if not tables:
            return [0] * self.size(self.everything)
        for one, other in merging(self.sizes, tuple(sorted(tables))):
            union = one | other
            mine = self.spread(Column(one, tables.pop(one)), union)
            theirs = self.spread(Column(other, tables.pop(other)), union)
            cells = list(map(or_, mine, theirs))
            held = tables.get(union)
            tables[union] = cells if held is None else list(map(or_, held, cells))
        mask, cells = tables.popitem()
        return list(self.spread(Column(mask, cells), self.everything))

    # Combinations

    def fill(self, at: int, values: list[Value]) -> None:
        """Write into `values` the computed facts of combination `at` that are known already."""
        rows = self.combination(at)
        for slot, column in self._columns.items():
            if slot in self._computed_slots and not has_value(values[slot]):
                place = 0
                for bit, row in enumerate(rows):
                    if column.mask >> bit & 1:
                        place = place * self.sizes[bit] + row
                values[slot] = column.cells[place]

    def combination(self, at: int) -> tuple[int, ...]:
        """Return the row of each axis in combination `at`."""
        rows = []
        for size in reversed(self.sizes):
            at, row = divmod(at, size)
            rows.append(row)
        return tuple(reversed(rows))

    def offences(self, verdict: int, kind: str) -> list[Offence]:
        """Return what a verdict holds of one kind: broken or unproven."""
        return [what for (k, what), bit in self._bits.items() if k == kind and verdict & bit]

    def failed(self, verdict: int) -> list[tuple[int, str]]:
        """Return the (layer, fact) on which a combination fails a should."""
        return [what for (k, what), bit in self._bits.items() if k == "failed" and verdict & bit]

    def offences_seen(self) -> list[tuple[str, Value, int]]:
        """Return everything that some combination offends against: its kind, what, its bit."""
        return [(kind, what, bit) for (kind, what), bit in self._bits.items()]

    def times(self, kind: str) -> dict[int, int]:
        """Return, by the bit of each thing of one kind, in how many combinations it occurs."""
        bits = sum(self.bits(kind).values())
        total = self.size(self.everything)
        counts: dict[int, int] = {}
        for mask, cells in self._tables.items():
            each_stands_for = total // self.size(mask)
            for cell in cells:
                left = cell & bits
                while left:
                    bit = left & -left
                    counts[bit] = counts.get(bit, 0) + each_stands_for
                    left ^= bit
        return counts

    def bits(self, kind: str) -> Mapping[Value, int]:
        """Return the bit of each thing of one kind."""
        return {what: bit for (k, what), bit in self._bits.items() if k == kind}

    def stands_everywhere(self, rule_id: str) -> bool:
        """Tell whether a rule stands on every combination."""
        status = self.status.get(self.chooser.program.place[rule_id])
        return status is not None and all(cell >= FIRED for cell in status.cells)

    def outcomes(self, rule_id: str, demand: Demand) -> Column:
        """Return what a demand's test comes to, whether or not its rule stands."""
        split = self.chooser.split
        key = self.chooser.program.place[rule_id], demand.place
        return self._judged(key, split.demand_reads[key], split.demand_judges[key])
