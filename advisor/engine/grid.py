"""Judging every combination of alternatives at once, each rule only where it can differ.

An axis is a list of alternatives (rows) for a group of facts. A combination takes one row of every
axis. A rule, a fact or a demand depends on some of the axes only, so it is judged once for each
combination of *those*: its column. Columns are kept with the axes they depend on, as bits, and are
spread over more axes only where columns meet.

For one combination a `Run` says the same, and says why; tests hold the two together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from operator import or_
from typing import NamedTuple

from advisor.engine.conditions import All as AllOf
from advisor.engine.conditions import (
    Judge,
    Node,
    Test,
    compile_condition,
    lacking,
    parts_of,
    slots_of,
)
from advisor.engine.rules import FIRING, STANDING, VALUE, Demand, Rule, references
from advisor.engine.run import FIRED, FIRED_OPEN, SILENT, UNDECIDED, Program, Run, defeats, settle
from advisor.engine.values import (
    ABSENT,
    CONCLUDED,
    MISSING,
    NO,
    OPTION,
    UNKNOWN,
    YES,
    FactTable,
    Value,
    has_value,
)


class Axis(NamedTuple):
    """Alternatives for a group of facts: each row gives `facts` their values, in order."""

    name: str
    facts: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]


class Function(NamedTuple):
    """How a computed fact comes from others; `call` takes the values of `needs` in order."""

    fact: str
    needs: tuple[str, ...]
    call: Callable[..., Value]


class Column(NamedTuple):
    """Values over the combinations of the axes in `mask`; one value where the mask is 0."""

    mask: int
    cells: Sequence[Value]


@lru_cache(maxsize=4096)
def project(sizes: tuple[int, ...], mask: int, onto: int) -> tuple[int, ...]:
    """Return, for each combination of the axes in `mask`, the place of its part in `onto`.

    The last axis varies fastest.
    """
    places = [0]
    for bit, size in enumerate(sizes):
        if mask >> bit & 1:
            if onto >> bit & 1:
                places = [p * size + i for p in places for i in range(size)]
            else:
                places = [p for p in places for _ in range(size)]
    return tuple(places)


class _Split(NamedTuple):
    """What of a program is the same for every combination, and what is not."""

    setup: Program
    steps: tuple[tuple[str, int], ...]  # (kind, place of the rule or slot of the fact), in order
    guards: dict[int, Judge | None]
    conditions: dict[int, tuple[Judge | None, Judge | None]]
    reads: dict[int, frozenset[int]]
    demand_judges: dict[tuple[int, int], Judge]
    demand_reads: dict[tuple[int, int], frozenset[int]]


class Chooser:
    """A program made ready for choosing among alternatives for the facts `chosen`.

    Args:
        program: all rules.
        functions: of the computed facts, each after those it needs.
        chosen: facts that axes may give, whether or not an axis does in a certain grid.

    """

    def __init__(
        self, program: Program, functions: Sequence[Function], chosen: frozenset[str]
    ) -> None:
        self.program = program
        self.functions = tuple(functions)
        self.chosen = chosen
        table = program.table
        self.table: FactTable = table
        self._function_of = {f.fact: f for f in self.functions}
        self.needs = {f.fact: f.needs for f in self.functions}
        varying = set(chosen)
        for function in self.functions:
            if not varying.isdisjoint(function.needs):
                varying.add(function.fact)
        build = self._build_rules(varying)
        self.setup_rules = frozenset(rule.id for rule in program.rules) - build
        self._split = self._prepare(build, varying)

    def _build_rules(self, varying: set[str]) -> frozenset[str]:
        """Return the rules that belong to the build, and add to `varying` what they conclude."""
        build: set[str] = set()
        reads = {rule.id: rule.reads() for rule in self.program.rules}
        winners = {rule.id: self._winners(rule) for rule in self.program.rules}
        grew = True
        while grew:
            grew = False
            for rule in self.program.rules:
                if rule.id in build:
                    continue
                if not varying.isdisjoint(reads[rule.id]) or not build.isdisjoint(winners[rule.id]):
                    build.add(rule.id)
                    varying.update(fact for fact, _ in rule.sets)
                    grew = True
        return frozenset(build)

    def _winners(self, rule: Rule) -> list[str]:
        program = self.program
        return [program.rules[w].id for w in program.overriders[program.place[rule.id]]]

    def _prepare(self, build: frozenset[str], varying: set[str]) -> _Split:
        program, table = self.program, self.table
        setup = program.part(self.setup_rules)
        build &= self._telling()
        steps: list[tuple[str, int]] = []
        for kind, name in program.rank:  # an order in which what is needed comes first
            if kind == VALUE:
                if name in varying:
                    steps.append((VALUE, table.slot[name]))
            elif name in build:
                steps.append((kind, program.place[name]))
        guards: dict[int, Judge | None] = {}
        conditions: dict[int, tuple[Judge | None, Judge | None]] = {}
        reads: dict[int, frozenset[int]] = {}
        for i, rule in enumerate(program.rules):
            if rule.id in build:
                guards[i] = self._guard(rule, varying)
                when, unless = (
                    None if node is None else compile_condition(node, table)
                    for node in (rule.when, rule.unless)
                )
                conditions[i] = when, unless
                reads[i] = slots_of(rule.when, table) | slots_of(rule.unless, table)
        demand_judges = {}
        demand_reads = {}
        for i, rule in enumerate(program.rules):
            for demand in rule.demands:
                key = i, demand.place
                demand_judges[key] = compile_condition(demand.test, table, UNKNOWN)
                demand_reads[key] = slots_of(demand.test, table)
        return _Split(setup, tuple(steps), guards, conditions, reads, demand_judges, demand_reads)

    def _telling(self) -> frozenset[str]:
        """Return the rules that can tell one combination from another.

        A rule that only warns or adds a step changes no verdict, unless it sets aside one that
        does or concludes what such a rule reads; the run of a single combination tells of it.
        """
        program = self.program
        setters: dict[str, list[str]] = {}
        for rule in program.rules:
            for fact, _ in rule.sets:
                setters.setdefault(fact, []).append(rule.id)
        todo = [rule.id for rule in program.rules if rule.demands or rule.stop]
        found: set[str] = set()
        while todo:
            rule_id = todo.pop()
            if rule_id in found:
                continue
            found.add(rule_id)
            rule = program.rules[program.place[rule_id]]
            todo += self._winners(rule)
            for fact in references(rule):
                todo += setters.get(fact, ())
        return frozenset(found)

    def _guard(self, rule: Rule, varying: set[str]) -> Judge | None:
        """Compile the conjuncts of a rule that no alternative can change."""
        if rule.when is None:
            return None
        conjuncts = rule.when.parts if isinstance(rule.when, AllOf) else (rule.when,)
        fixed = [part for part in conjuncts if varying.isdisjoint(_facts(part))]
        return compile_condition(AllOf(tuple(fixed)), self.table) if fixed else None

    @property
    def split(self) -> _Split:
        """Return what was prepared."""
        return self._split

    def function(self, fact: str) -> Function | None:
        """Return the function of a computed fact, or None."""
        return self._function_of.get(fact)

    def compute(self, values: list[Value]) -> None:
        """Fill in, in place, every computed fact that has its inputs and no value yet."""
        slot = self.table.slot
        for fact, needs, call in self.functions:
            here = slot[fact]
            if not has_value(values[here]):
                inputs = [values[slot[name]] for name in needs]
                if all(map(has_value, inputs)):
                    values[here] = call(*inputs)


def _facts(node: Node) -> frozenset[str]:
    if isinstance(node, Test):
        return frozenset(node.facts())
    return frozenset(fact for part in parts_of(node) for fact in _facts(part))


def _each(of: Callable[[Value], Value], rows: Iterable[Value]) -> list[Value]:
    """Return what each row comes to. Rows repeat, and what they come to does not change."""
    seen: dict[Value, Value] = {}
    cells = []
    for row in rows:
        try:
            cells.append(seen[row])
        except KeyError:
            cell = seen[row] = of(row)
            cells.append(cell)
    return cells


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

    """

    def __init__(self, chooser: Chooser, values: list[Value], axes: Sequence[Axis]) -> None:
        self.chooser = chooser
        self.axes = tuple(axes)
        self.sizes = tuple(len(axis.rows) for axis in axes)
        self.everything = (1 << len(self.axes)) - 1
        self._v = values
        self._columns: dict[int, Column] = {}
        self._status: dict[int, Column] = {}
        self._offences: list[Offence] = []
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
                    self._v[slot] = cells[0]
                else:
                    self._columns[slot] = Column(1 << bit, cells)
                complete = complete and all(map(has_value, cells))
                self._v[table.stated_slot(fact)] = has_value(cells[0])
                if not all(map(has_value, cells)) and any(map(has_value, cells)):
                    flags = [has_value(cell) for cell in cells]
                    self._columns[table.stated_slot(fact)] = Column(1 << bit, flags)
        self._complete = complete and all(
            has_value(self._v[table.slot[name]]) or table.slot[name] in self._columns
            for name in table.names
            if table.origin(name) == OPTION
        )
        chooser.compute(self._v)
        self.setup_run: Run = chooser.split.setup.run(self._v)
        self._settle()
        self.verdicts: list[int] = self._judge()

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
        cells = column.cells
        return [cells[p] for p in project(self.sizes, mask, column.mask)]

    def column(self, slot: int) -> Column:
        """Return the values of a fact, computing them where a function is needed."""
        found = self._columns.get(slot)
        if found is None:
            name = self.chooser.table.names[slot] if slot < self.chooser.table.size else ""
            function = self.chooser.function(name)
            value = self._v[slot]
            if function is None or has_value(value):
                return Column(0, (value,))
            found = self._computed(function)
            self._columns[slot] = found
        return found

    def _computed(self, function: Function) -> Column:
        slot = self.chooser.table.slot
        inputs = [self.column(slot[name]) for name in function.needs]
        mask = 0
        for column in inputs:
            mask |= column.mask
        call = function.call

        def value(row: tuple[Value, ...]) -> Value:
            return MISSING if MISSING in row or ABSENT in row else call(*row)

        return Column(mask, _each(value, zip(*(self.spread(c, mask) for c in inputs), strict=True)))

    def _judged(self, slots: Iterable[int], judge: Callable[[list[Value]], int]) -> Column:
        """Judge a condition once for each combination of the axes that its slots depend on."""
        v = self._v
        varying: list[tuple[int, Column]] = []
        mask = 0
        for slot in slots:
            column = self.column(slot)
            if column.mask:
                varying.append((slot, column))
                mask |= column.mask
            else:
                v[slot] = column.cells[0]
        if not varying:
            return Column(0, (judge(v),))
        if len(varying) == 1:
            slot, column = varying[0]

            def one(x: Value) -> int:
                v[slot] = x
                return judge(v)

            return Column(mask, _each(one, column.cells))
        places = [slot for slot, _ in varying]

        def several(row: tuple[Value, ...]) -> int:
            for slot, x in zip(places, row, strict=True):
                v[slot] = x
            return judge(v)

        spread = [self.spread(column, mask) for _, column in varying]
        return Column(mask, _each(several, zip(*spread, strict=True)))

    # Rules

    def _settle(self) -> None:
        """Fire the rules that belong to the build, and settle what stands and what it concludes."""
        program = self.chooser.program
        split = self.chooser.split
        v = self._v
        setup = split.setup
        self._status = {
            program.place[rule.id]: Column(0, (self.setup_run.standing(i),))
            for i, rule in enumerate(setup.rules)
            if self.setup_run.standing(i)
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

                column = self._judged(split.reads[place], fire)
                if any(column.cells):
                    self._status[place] = column
            elif kind == STANDING:
                self._stand(place)
            else:
                self._conclude(place)

    def _stand(self, place: int) -> None:
        own = self._status.get(place)
        winners = [
            self._status[w] for w in self.chooser.program.overriders[place] if w in self._status
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
        self._status[place] = Column(mask, cells)

    def _conclude(self, slot: int) -> None:
        claims = [
            (self._status[i], value)
            for i, value in self.chooser.program.setters.get(slot, ())
            if i in self._status
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

        cells = _each(value, zip(*(self.spread(column, mask) for column, _ in claims), strict=True))
        if mask:
            self._columns[slot] = Column(mask, cells)
        else:
            self._v[slot] = cells[0]

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

    def _judge(self) -> list[int]:
        tables: dict[int, list[int]] = {}

        def add(column: Column) -> None:
            cells = column.cells
            if any(cells):
                held = tables.get(column.mask)
                if held is None:
                    tables[column.mask] = list(cells)
                else:
                    tables[column.mask] = list(map(or_, held, cells))

        for place, status in self._status.items():
            rule = self.chooser.program.rules[place]
            if rule.stop:
                add(self._stops(place, rule, status))
            for demand in rule.demands:
                add(self._demanded(place, rule, demand, status))
        return self._merge(tables)

    def _stops(self, place: int, rule: Rule, status: Column) -> Column:
        broken = self._bit("broken", Offence(rule.id, -1))
        open_ = self._wanting(place, status)
        unproven = self._bit("unproven", Offence(rule.id, -1)) if any(open_.cells) else 0
        mask = status.mask | open_.mask
        rows = zip(self.spread(status, mask), self.spread(open_, mask), strict=True)
        return Column(mask, [broken if s >= FIRED else unproven if w else 0 for s, w in rows])

    def _demanded(self, place: int, rule: Rule, demand: Demand, status: Column) -> Column:
        split = self.chooser.split
        key = place, demand.place
        if not demand.is_must and not any(s >= FIRED for s in status.cells):
            return Column(0, (0,))
        outcome = self._judged(split.demand_reads[key], split.demand_judges[key])
        good = NO if demand.is_negative else YES
        mask = status.mask | outcome.mask
        rows = zip(self.spread(status, mask), self.spread(outcome, mask), strict=True)
        if not demand.is_must:
            bit = self._bit("failed", (rule.layer, demand.fact))
            return Column(mask, [bit if s >= FIRED and x != good else 0 for s, x in rows])
        broken = self._bit("broken", Offence(rule.id, demand.place))
        unproven = self._bit("unproven", Offence(rule.id, demand.place))
        open_ = self._wanting(place, status)
        mask |= open_.mask
        return Column(
            mask,
            [
                0
                if x == good
                else (unproven if x == UNKNOWN else broken)
                if s >= FIRED
                else unproven
                if w
                else 0
                for s, x, w in zip(
                    self.spread(status, mask),
                    self.spread(outcome, mask),
                    self.spread(open_, mask),
                    strict=True,
                )
            ],
        )

    def _merge(self, tables: dict[int, list[int]]) -> list[int]:
        """Combine verdicts, always with the table that asks for the fewest further axes."""
        mask, cells = 0, [0]
        while tables:
            nearest = min(tables, key=lambda m: (self.size(mask | m), m))
            union = mask | nearest
            mine = self.spread(Column(mask, cells), union)
            theirs = self.spread(Column(nearest, tables.pop(nearest)), union)
            mask, cells = union, list(map(or_, mine, theirs))
        return list(self.spread(Column(mask, cells), self.everything))

    # Rules that are undecided only for want of an option's value

    def _wanting(self, place: int, status: Column) -> Column:
        """Tell, where a rule is undecided, whether only an option's value is wanting."""
        if self._complete or UNDECIDED not in status.cells:
            return Column(0, (False,))
        slots = self._closure(place)
        rules = self._closure_rules(slots) | {place}
        columns = [(slot, self.column(slot)) for slot in slots]
        statuses = [(i, self._status[i]) for i in rules if i in self._status]
        mask = status.mask
        for _, column in [*columns, *statuses]:
            mask |= column.mask
        spread = [self.spread(column, mask) for _, column in columns]
        standing = [self.spread(column, mask) for _, column in statuses]
        cells = []
        v = self._v.copy()
        for at in range(self.size(mask)):
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
                deeper = [
                    name
                    for name in self.chooser.needs.get(fact, ())
                    if not has_value(v[table.slot[name]])
                ]
            if not deeper and fact not in self.chooser.chosen:
                return False
            todo += deeper
        return bool(seen)

    # Combinations

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

    def bits(self, kind: str) -> Mapping[Value, int]:
        """Return the bit of each thing of one kind."""
        return {what: bit for (k, what), bit in self._bits.items() if k == kind}

    def stands_everywhere(self, rule_id: str) -> bool:
        """Tell whether a rule stands on every combination."""
        status = self._status.get(self.chooser.program.place[rule_id])
        return status is not None and all(cell >= FIRED for cell in status.cells)

    def outcomes(self, rule_id: str, demand: Demand) -> Column:
        """Return what a demand's test comes to, whether or not its rule stands."""
        split = self.chooser.split
        key = self.chooser.program.place[rule_id], demand.place
        return self._judged(split.demand_reads[key], split.demand_judges[key])


__all__ = ["Axis", "Chooser", "Column", "Function", "Grid", "Offence", "project"]
