"""Rules that are undecided only for want of an option's value, over all combinations."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from advisor.engine.columns import Column
from advisor.engine.conditions import lacking, slots_of
from advisor.engine.run import FIRED, SILENT, UNDECIDED
from advisor.engine.values import CONCLUDED, Value

if TYPE_CHECKING:
    from advisor.engine.grid import Grid


class Wants:
    """Follows what undecided rules lack down to what nobody told of an option."""

    def __init__(self, grid: Grid) -> None:
        self.grid = grid
        self.chooser = grid.chooser

    def column(self, place: int, status: Column) -> Column:
        """Tell, where a rule is undecided, whether only an option's value is wanting."""
        if self.grid.complete or UNDECIDED not in status.cells:
            return Column(0, (False,))
        slots = self._closure(place)
        rules = self._closure_rules(slots) | {place}
        columns = [(slot, self.grid.column(slot)) for slot in slots]
        statuses = [(i, self.grid.status[i]) for i in rules if i in self.grid.status]
        mask = status.mask
        for _, column in [*columns, *statuses]:
            mask |= column.mask
        spread = [self.grid.spread(column, mask) for _, column in columns]
        standing = [self.grid.spread(column, mask) for _, column in statuses]
        cells = []
        v = self.grid.values.copy()
        for at in range(self.grid.size(mask)):
            for (slot, _), column_cells in zip(columns, spread, strict=True):
                v[slot] = column_cells[at]
            live = {i: cells_[at] for (i, _), cells_ in zip(statuses, standing, strict=True)}
            cells.append(live.get(place) == UNDECIDED and self._only_options(place, v, live))
        return Column(mask, cells)

    def _closure(self, place: int) -> list[int]:
        """Return every slot that what a rule lacks could be followed down to."""
        program, table = self.chooser.program, self.chooser.table
        found: set[int] = set()
        todo = list(slots_of(program.rules[place].when, table))
        while todo:
            slot = todo.pop()
            if slot in found:
                continue
            found.add(slot)
            if slot >= table.size:
                continue
            for i, _ in program.setters.get(slot, ()):
                todo += slots_of(program.rules[i].when, table)
            todo += [table.slot[n] for n in self.chooser.needs.get(table.names[slot], ())]
        return sorted(found)

    def _closure_rules(self, slots: Iterable[int]) -> set[int]:
        setters = self.chooser.program.setters
        return {i for slot in slots for i, _ in setters.get(slot, ())}

    def _only_options(self, place: int, v: list[Value], live: Mapping[int, Value]) -> bool:
        """Follow what a rule lacks down, and tell whether all of it is options without a value.

        `live` holds the standing of the rules that could matter; a tied fact is nobody's want.
        """
        program, table = self.chooser.program, self.chooser.table

        def lacks(i: int) -> list[str]:
            when = program.rules[i].when
            return [] if when is None else sorted(lacking(when, table, v))

        todo = lacks(place)
        seen: set[str] = set()
        while todo:
            fact = todo.pop()
            if fact in seen:
                continue
            seen.add(fact)
            slot = table.slot[fact]
            deeper: list[str] = []
            if table.origins[slot] == CONCLUDED:
                setters = [i for i, _ in program.setters.get(slot, ())]
                if any(live.get(i, SILENT) >= FIRED for i in setters):
                    return False
                for i in setters:
                    if live.get(i) == UNDECIDED:
                        deeper += lacks(i)
            else:
                deeper = self.chooser.lacking(fact, v)
            if not deeper and fact not in self.chooser.chosen:
                return False
            todo += deeper
        return bool(seen)
