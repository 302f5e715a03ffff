"""Telling which cases could notice a change of a rule, from what they came to without it.

A case in which the changed condition comes to the same on every build that is looked at, and lacks
the same, comes to the same altogether; so it need not be run again. What is told here errs to one
side only: a case that is left out cannot notice.
"""

from __future__ import annotations

from collections.abc import Sequence

from advisor.case_findings import NO_OVERRIDE
from advisor.coverage.exercised import Exercise
from advisor.engine.conditions import Judge, Node, compile_condition, lacking, slots_of
from advisor.engine.grid import Grid
from advisor.engine.rules import Demand, Rule
from advisor.engine.run import FIRED, FIRED_OPEN, SILENT, UNDECIDED, Run
from advisor.engine.values import NO, UNKNOWN, YES, FactTable, Value
from advisor.judge import Judgement
from advisor.mutation.mutants import Mutant

SURELY_LOOK, LOOK_FURTHER, CANNOT = 2, 1, 0
"""Whether a case could notice, as far as the chosen build tells."""


class Noticing:
    """Looks at cases for one mutant.

    Args:
        mutant: the changed rule.
        original: the rule as it is.
        table: the slots of the facts.
    """

    def __init__(self, mutant: Mutant, original: Rule, table: FactTable) -> None:
        self.mutant = mutant
        self.original = original
        self.table = table
        self.changes_condition = (original.when, original.unless) != (
            mutant.rule.when,
            mutant.rule.unless,
        )
        self._fires = _firing(original, table), _firing(mutant.rule, table)
        self._nodes = original.when, original.unless, mutant.rule.when, mutant.rule.unless
        self._slots = sorted(frozenset().union(*[slots_of(node, table) for node in self._nodes]))

    def at_first(self, exercise: Exercise) -> int:
        """Return what the chosen build tells: SURELY_LOOK, LOOK_FURTHER or CANNOT."""
        judgement = exercise.judgement
        if self._concerns_itself_only(judgement) and not self._is_spoken_of(exercise):
            return CANNOT
        if self.changes_condition:
            if self._differs_in(judgement.run) or (
                "asked" in exercise.case.expect and self._differs_in(judgement.open_run)
            ):
                return SURELY_LOOK
            return LOOK_FURTHER if self._may_vary(judgement) else CANNOT
        if self._is_in_force(judgement):
            return LOOK_FURTHER if self.mutant.place >= 0 else SURELY_LOOK
        return CANNOT

    def _concerns_itself_only(self, judgement: Judgement) -> bool:
        """Tell whether nothing hangs on the rule but its own state, its cautions and its steps."""
        chooser = judgement.ways.chooser
        rule = self.original
        is_telling = chooser.program.place[rule.id] in chooser.telling
        return not (is_telling or rule.sets or rule.overrides or self.mutant.rule.sets)

    def _is_spoken_of(self, exercise: Exercise) -> bool:
        case = exercise.case
        return "asked" in case.expect or bool(case.expects(self.original.id))

    def on_any_build(self, exercise: Exercise) -> bool:
        """Tell whether the change makes a difference on any build that was judged."""
        judgement = exercise.judgement
        if self.changes_condition:
            was, then = self._fires
            return _differ(judgement.grid, self._slots, was, then)
        return self._demand_differs(judgement)

    def _differs_in(self, run: Run) -> bool:
        values = run.values
        was, then = (fires(values) for fires in self._fires)
        if was != then:
            return True
        when, unless, other_when, other_unless = self._nodes
        if was == SILENT:
            # Why it is silent is told too: an exception that holds is not a condition that fails.
            return _holds(unless, self.table, values) != _holds(other_unless, self.table, values)
        return self._lack(when, values) != self._lack(other_when, values) or self._lack(
            unless, values
        ) != self._lack(other_unless, values)

    def _lack(self, node: Node | None, values: list[Value]) -> frozenset[str]:
        return frozenset() if node is None else lacking(node, self.table, values)

    def _may_vary(self, judgement: Judgement) -> bool:
        """Tell whether the rule may differ on other builds, and bear on which is chosen."""
        chooser = judgement.ways.chooser
        place = chooser.program.place[self.original.id]
        return place in chooser.telling and self.original.id not in chooser.setup_rules

    def _is_in_force(self, judgement: Judgement) -> bool:
        """Tell whether the rule fires, or might, on the chosen build or on any other."""
        if judgement.run.status(self.original.id) != SILENT:
            return True
        status = judgement.grid.status.get(judgement.base.program.place[self.original.id])
        if self.mutant.kind == NO_OVERRIDE and self._may_vary(judgement):
            return True
        return status is not None and any(status.cells)

    def _demand_differs(self, judgement: Judgement) -> bool:
        one = next(d for d in self.original.demands if d.place == self.mutant.place)
        other = next(d for d in self.mutant.rule.demands if d.place == self.mutant.place)
        slots = sorted(slots_of(one.test, self.table) | slots_of(other.test, self.table))
        was, then = _asking(one, self.table), _asking(other, self.table)
        return _differ(judgement.grid, slots, was, then)


def _firing(rule: Rule, table: FactTable) -> Judge:
    when = None if rule.when is None else compile_condition(rule.when, table)
    unless = None if rule.unless is None else compile_condition(rule.unless, table)

    def fires(values: list[Value]) -> int:
        held = YES if when is None else when(values)
        barred = NO if unless is None else unless(values)
        if held == NO or barred == YES:
            return SILENT
        if held == UNKNOWN:
            return UNDECIDED
        return FIRED_OPEN if barred == UNKNOWN else FIRED

    return fires


def _asking(demand: Demand, table: FactTable) -> Judge:
    """Return what tells how a demand comes out: met, or broken or unproven in its strength."""
    test = compile_condition(demand.test, table, UNKNOWN)
    good = NO if demand.is_negative else YES
    bad = 3 if demand.is_must else 0

    def asks(values: list[Value]) -> int:
        outcome = test(values)
        return -1 if outcome == good else bad + (outcome == UNKNOWN)

    return asks


def _holds(node: Node | None, table: FactTable, values: list[Value]) -> bool:
    return node is not None and compile_condition(node, table)(values) == YES


def _differ(grid: Grid, slots: Sequence[int], one: Judge, other: Judge) -> bool:
    """Tell whether two things come out differently on any combination of what they read."""
    values = grid.values.copy()
    columns = {slot: grid.column(slot) for slot in slots}
    mask = 0
    for column in columns.values():
        mask |= column.mask
    spread = [grid.spread(column, mask) for column in columns.values()]
    for row in dict.fromkeys(zip(*spread, strict=True)):
        for slot, x in zip(columns, row, strict=True):
            values[slot] = x
        if one(values) != other(values):
            return True
    return not slots and one(values) != other(values)
