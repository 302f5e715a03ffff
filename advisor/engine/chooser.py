"""Preparing a program for choosing: what is the same for every combination, and what is not."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from advisor.engine.columns import picker
from advisor.engine.conditions import All, Judge, compile_condition, facts_of, slots_of
from advisor.engine.program import Program
from advisor.engine.rules import VALUE, Rule, references
from advisor.engine.values import (
    ABSENT,
    MISSING,
    OPEN,
    UNKNOWN,
    FactTable,
    Missing,
    Value,
)


class Axis(NamedTuple):
    """Alternatives for a group of facts: each row gives `facts` their values, in order."""

    name: str
    facts: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]


Prepare = Callable[[Sequence[Value], Sequence[int]], Callable[[Sequence[Value]], Value]]


class Function:
    """How a computed fact comes from others.

    Args:
        fact: its name.
        needs: every fact it may need; `call` takes their values in order.
        call: returns the value, or MISSING where it refuses; a need that its case does not ask
            for may come without a value.
        by: one of `needs`, a choice that decides which of the others are asked for.
        cases: for values of `by`, the needs asked for in that case only.
        optional: needs that are never asked for, and used where they are known.
        idle: needs that change nothing where another need, named for each, is 0.
        prepare: given a row of which only some places will change, and these, returns what gives
            `call`'s value for the values in these places; all that is asked for has a value.
    """

    __slots__ = (
        "_asked",
        "_idle",
        "_optional",
        "_pickers",
        "_plain",
        "call",
        "chooser",
        "fact",
        "needs",
        "prepare",
    )

    def __init__(
        self,
        fact: str,
        needs: tuple[str, ...],
        call: Callable[..., Value],
        by: str = "",
        cases: Mapping[Value, Collection[str]] | None = None,
        optional: Collection[str] = (),
        prepare: Prepare | None = None,
        idle: Mapping[str, str] | None = None,
    ) -> None:
        self.fact = fact
        self.needs = needs
        self.call = call
        self.prepare = prepare or self._prepare
        self._idle = {needs.index(a): needs.index(b) for a, b in (idle or {}).items()}
        self.chooser = needs.index(by) if by else -1
        cases = cases or {}
        special = {name for asked in cases.values() for name in asked}
        places = [(i, name) for i, name in enumerate(needs) if name not in optional]
        self._asked: dict[Value, tuple[int, ...]] = {
            value: tuple(i for i, name in places if name not in special or name in asked)
            for value, asked in cases.items()
        }
        # Without a value of `by` everything may be asked for; with another one, none of the cases.
        self._asked[MISSING] = tuple(i for i, _ in places)
        self._asked[ABSENT] = tuple(i for i, name in places if name not in special)
        self._pickers: dict[tuple[int, ...], Callable[[Sequence[Value]], Sequence[Value]]] = {}
        self._plain = not by and not optional
        self._optional = tuple(i for i, name in enumerate(needs) if name in optional)

    def _prepare(
        self, row: Sequence[Value], places: Sequence[int]
    ) -> Callable[[Sequence[Value]], Value]:
        held = list(row)

        def value(cells: Sequence[Value]) -> Value:
            for i, cell in zip(places, cells, strict=True):
                held[i] = cell
            return self.call(*held)

        return value

    def asked(self, row: Sequence[Value]) -> tuple[int, ...]:
        """Return the places of the needs that these inputs ask for."""
        if self.chooser < 0:
            return self._asked[MISSING]
        value = row[self.chooser]
        if value.__class__ is Missing:
            value = MISSING  # one that is open may still turn out to be any
        return self._asked.get(value, self._asked[ABSENT])

    def _pick_asked(self, row: Sequence[Value]) -> Sequence[Value]:
        places = self.asked(row)
        pick = self._pickers.get(places)
        if pick is None:
            pick = self._pickers[places] = picker(places)
        return pick(row)

    def value(self, row: Sequence[Value]) -> Value:
        """Return the fact's value for the values of `needs`, or MISSING."""
        for x in row if self._plain else self._pick_asked(row):
            if x.__class__ is Missing:
                return MISSING
        for i in self._optional:
            # Somebody could still tell it, so nothing is sure of what it would change.
            if row[i] is OPEN:
                return OPEN
        return self.call(*row)

    @property
    def optional(self) -> list[str]:
        """Return the names of the needs that are never asked for."""
        return [self.needs[i] for i in self._optional]

    def inputs(self, row: Sequence[Value]) -> list[str]:
        """Return the names of the needs that these inputs ask for, and that bear on the value."""
        idle = {i for i, other in self._idle.items() if row[other] == 0}
        return [self.needs[i] for i in self.asked(row) if i not in idle]


_Placed = tuple[int, Callable[[Sequence[Value]], Sequence[Value]], Function]
"""A function with the slot of its fact, and what picks its row from the values of a run."""


class Split(NamedTuple):
    """What of a program is the same for every combination, and what is not."""

    setup: int  # the rules that no combination changes, as bits
    fixed: tuple[int, ...]  # slots that only they conclude
    steps: tuple[tuple[str, int], ...]  # (kind, place of the rule or slot of the fact), in order
    guards: dict[int, Judge | None]
    conditions: dict[int, tuple[Judge | None, Judge | None]]
    reads: dict[int, frozenset[int]]
    demand_judges: dict[tuple[int, int], Judge]
    demand_reads: dict[tuple[int, int], frozenset[int]]


class Followers(NamedTuple):
    """What depends on what: rules by their place, facts by their slot."""

    rules: dict[int, list[int]]  # by slot: whose condition or exception reads it
    computed: dict[int, list[int]]  # by slot: facts whose function needs it
    losers: dict[int, list[int]]  # by place: rules that it overrides
    concluded: dict[int, list[int]]  # by place: facts that it could set
    demands: dict[int, list[tuple[int, int]]]  # by slot: demands whose test reads it


class Chooser:
    """A program made ready for choosing among alternatives for the facts `chosen`.

    Args:
        program: all rules.
        functions: of the computed facts, each after those it needs.
        chosen: facts that axes may give, whether or not an axis does in a certain grid.
        named: computed facts that somebody looks at beside the rules.

    """

    def __init__(
        self,
        program: Program,
        functions: Sequence[Function],
        chosen: frozenset[str],
        named: frozenset[str] = frozenset(),
    ) -> None:
        self.program = program
        self.functions = tuple(functions)
        self.chosen = chosen
        table = program.table
        self.table: FactTable = table
        # What rules favour is left out: the ranking computes it where it must.
        self._references = {rule.id: references(rule) for rule in program.rules}
        looked_at = named.union(*self._references.values())
        self._looked_at = self._placed(self._closure(looked_at))
        self._all = self._placed(self.functions)
        self._placed_of = {placed[2].fact: placed for placed in self._all}
        self._function_of = {f.fact: f for f in self.functions}
        self.function_at = {table.slot[f.fact]: f for f in self.functions}
        self._slots = {f.fact: tuple(table.slot[n] for n in f.needs) for f in self.functions}
        self.needs = {f.fact: f.needs for f in self.functions}
        self.optional = frozenset(name for f in self.functions for name in f.optional)
        varying = set(chosen)
        for function in self.functions:
            if not varying.isdisjoint(function.needs):
                varying.add(function.fact)
        build = self._build_rules(varying)
        self.setup_rules = frozenset(rule.id for rule in program.rules) - build
        self._told = self._telling()
        self.telling = frozenset(program.place[rule_id] for rule_id in self._told)
        """The rules, by place, that can tell one combination from another."""
        self._split = self._prepare(build, varying)
        self._conditions: dict[int, tuple[Judge | None, Judge | None]] = {}

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

    def _prepare(self, build: frozenset[str], varying: set[str]) -> Split:
        program, table = self.program, self.table
        setup = sum(1 << program.place[rule_id] for rule_id in self.setup_rules)
        fixed = tuple(s for s in program.setters if table.names[s] not in varying)
        build &= self._told
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
        return Split(
            setup, fixed, tuple(steps), guards, conditions, reads, demand_judges, demand_reads
        )

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
        todo = [r.id for r in program.rules if r.demands or r.stop or r.favour is not None]
        found: set[str] = set()
        while todo:
            rule_id = todo.pop()
            if rule_id in found:
                continue
            found.add(rule_id)
            rule = program.rules[program.place[rule_id]]
            todo += self._winners(rule)
            for fact in self._references[rule_id]:
                todo += setters.get(fact, ())
            if rule.favour is not None:
                todo += setters.get(rule.favour.fact, ())
        return frozenset(found)

    def _guard(self, rule: Rule, varying: set[str]) -> Judge | None:
        """Compile the conjuncts of a rule that no alternative can change."""
        if rule.when is None:
            return None
        conjuncts = rule.when.parts if isinstance(rule.when, All) else (rule.when,)
        fixed = [part for part in conjuncts if varying.isdisjoint(facts_of(part))]
        return compile_condition(All(tuple(fixed)), self.table) if fixed else None

    @cached_property
    def reads_at(self) -> list[frozenset[int]]:
        """Return the slots that each rule's condition and exception read."""
        table = self.table
        return [
            slots_of(rule.when, table) | slots_of(rule.unless, table) for rule in self.program.rules
        ]

    @cached_property
    def followers(self) -> Followers:
        """Return what depends on what, one step at a time."""
        program, table = self.program, self.table
        found = Followers({}, {}, {}, {}, {})
        for place, slots in enumerate(self.reads_at):
            for slot in slots:
                found.rules.setdefault(slot, []).append(place)
        for function in self.functions:
            for slot in self.slots_of(function):
                found.computed.setdefault(slot, []).append(table.slot[function.fact])
        for loser, winners in enumerate(program.overriders):
            for place in winners:
                found.losers.setdefault(place, []).append(loser)
        for slot, setters in program.setters.items():
            for place, _ in setters:
                found.concluded.setdefault(place, []).append(slot)
        for key, slots in self.split.demand_reads.items():
            for slot in slots:
                found.demands.setdefault(slot, []).append(key)
        return found

    def conditions_at(self, place: int) -> tuple[Judge | None, Judge | None]:
        """Return a rule's condition and exception, compiled when they are first asked for."""
        found = self._split.conditions.get(place) or self._conditions.get(place)
        if found is None:
            rule = self.program.rules[place]
            when, unless = (
                None if node is None else compile_condition(node, self.table)
                for node in (rule.when, rule.unless)
            )
            found = self._conditions[place] = when, unless
        return found

    @property
    def split(self) -> Split:
        """Return what was prepared."""
        return self._split

    def function(self, fact: str) -> Function | None:
        """Return the function of a computed fact, or None."""
        return self._function_of.get(fact)

    def slots_of(self, function: Function) -> tuple[int, ...]:
        """Return the slots of what a function needs, in its order."""
        return self._slots[function.fact]

    def _placed(self, functions: Sequence[Function]) -> list[_Placed]:
        slot = self.table.slot
        return [(slot[f.fact], picker([slot[name] for name in f.needs]), f) for f in functions]

    def _closure(self, facts: Collection[str]) -> tuple[Function, ...]:
        """Return the functions of computed facts and of those they come from, in order."""
        wanted = set(facts)
        for function in reversed(self.functions):
            if function.fact in wanted:
                wanted.update(function.needs)
        return tuple(function for function in self.functions if function.fact in wanted)

    def compute(
        self,
        values: list[Value],
        *,
        all_of_them: bool = False,
        like: Sequence[Value] | None = None,
    ) -> None:
        """Fill in, in place, the computed facts that have their inputs and no value yet.

        Args:
            values: of one combination.
            all_of_them: whether to look after those too that no rule reads or asks something of
                and that are not named.
            like: values in which this was done before; what comes from the same inputs there is
                taken from there.
        """
        for here, pick, function in self._all if all_of_them else self._looked_at:
            if values[here].__class__ is Missing:
                row = pick(values)
                if like is not None and row == pick(like):
                    values[here] = like[here]
                else:
                    values[here] = function.value(row)

    def lacking(self, fact: str, values: list[Value]) -> list[str]:
        """Return the facts without a value that a computed fact waits for."""
        placed = self._placed_of.get(fact)
        if placed is None:
            return []
        _, pick, function = placed
        row = pick(values)
        needs = function.needs
        return [needs[i] for i in function.asked(row) if row[i].__class__ is Missing]

    def inputs(self, fact: str, values: list[Value]) -> list[str]:
        """Return the facts that a computed fact comes from, as these values have it."""
        placed = self._placed_of.get(fact)
        return [] if placed is None else placed[2].inputs(placed[1](values))
