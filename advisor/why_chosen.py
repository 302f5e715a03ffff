"""Why an option has the value it has: the rules that speak on it, and how the choice went."""

from __future__ import annotations

from advisor.decision import FactValue
from advisor.derivation import CHOICE, STAGE, Count, Rejects, Step
from advisor.engine.grid import Offence
from advisor.engine.values import has_value
from advisor.judge import Judgement
from advisor.narrowing import (
    FAVOUR,
    MUSTS,
    NEAREST,
    OFFERED,
    SHOULDS,
    UNPROVEN,
    Stage,
    failed_elsewhere,
    stages,
)
from advisor.options import offered
from advisor.why_steps import Way

_STRENGTHS = ("must", "must_not", "should", "should_not")
_DIGITS = 4
"""Digits of a number that builds are told apart by."""


def is_chosen(judgement: Judgement, fact: str) -> bool:
    """Tell whether a fact has a value because it was chosen."""
    on_axes = {name for axis in judgement.choice.axes for name in axis.facts}
    return (
        fact in on_axes
        and fact not in judgement.setup.facts
        and has_value(judgement.run.value(fact))
    )


def choice(way: Way, fact: str) -> int:
    """Take the steps of a choice, down to what was stated, and return the number of the first.

    First come all rules that speak on the option itself, for its value and against it, those that
    are set aside or cannot be judged included; then how the choice of the whole build went, stage
    by stage, each with the rules that told its builds apart.
    """
    return way.add((CHOICE, fact), lambda number: _Choosing(way, fact).choice(number))


class _Choosing:
    """Tells one choice."""

    def __init__(self, way: Way, fact: str) -> None:
        self.way = way
        self.fact = fact
        self.judgement = way.judgement
        self.base = way.base
        self.words = way.words
        self.values = offered(self.judgement.choice.axes, fact)

    def choice(self, number: int) -> Step:
        """Return the first step."""
        value = self.judgement.run.value(self.fact)
        below = [*self._speaking(), *map(self._stage, stages(self.judgement))]
        step = Step(
            number,
            CHOICE,
            self.fact,
            f"{self.fact} is {self.words.value(self.fact, value)}",
            tuple(dict.fromkeys(below)),
            self.way.origins.shown(self.fact, value),
        )
        return self.way.with_item(step)

    def _speaking(self) -> list[int]:
        """Return the steps of all that rules ask of the option, unless they are silent."""
        run = self.judgement.run
        speaking = {rule.id: rule for rule in (*run.fired(), *run.undecided())}
        asked = sorted(
            (_STRENGTHS.index(demand.strength), rule.id, demand.place, demand)
            for rule in speaking.values()
            for demand in rule.demands
            if demand.fact == self.fact
        )
        found = [self.way.demand(rule_id, demand) for _, rule_id, _, demand in asked]
        favours = sorted(r.id for r in speaking.values() if r.favour and r.favour.fact == self.fact)
        return found + [self.way.favour(rule_id) for rule_id in favours]

    # Stages

    def _stage(self, stage: Stage) -> int:
        name = stage.kind
        if stage.kind == SHOULDS:
            name = f"{SHOULDS} {self._layer(stage)}"
        elif stage.wish is not None:
            name = f"{FAVOUR} {stage.wish.rule}"

        def make(number: int) -> Step:
            return Step(
                number,
                STAGE,
                name,
                self._says(stage),
                tuple(dict.fromkeys(self._below(stage))),
                builds=Count(len(stage.came), len(stage.left), self._values_left(stage)),
                rejects=tuple(Rejects(*told) for told in stage.rejects.items()),
            )

        return self.way.add((STAGE, name), make)

    def _layer(self, stage: Stage) -> str:
        return self.base.layers[stage.layer].name

    def _values_left(self, stage: Stage) -> tuple[FactValue, ...]:
        slot = self.base.table.slot[self.fact]
        cells = self.judgement.grid.cells(slot, stage.left)
        left = set(cells.values())
        return tuple(self.way.origins.shown(self.fact, x) for x in self.values if x in left)

    def _says(self, stage: Stage) -> str:
        came, left = len(stage.came), len(stage.left)
        if stage.kind == OFFERED:
            stock = self.judgement.stock.name
            return f"{_builds(came)} offered, from the stock `{stock}` and what is stated"
        if stage.kind == MUSTS:
            return f"{left} of {_builds(came)} break no must and carry no stop"
        if stage.kind == NEAREST:
            most = _count(stage.least, "must or stop", "musts and stops")
            return f"none of {_builds(came)} holds; {left} come nearest, with {most} against each"
        if stage.kind == UNPROVEN:
            least = _count(stage.least, "must or stop", "musts and stops")
            return f"{left} of {_builds(came)} leave the fewest unproven, {least}"
        if stage.kind == SHOULDS:
            of = f"{left} of {_builds(came)}"
            if not stage.least:
                return f"{of} meet every should of {self._layer(stage)}"
            least = _count(stage.least, "fact", "facts")
            return f"{of} fail the shoulds of {self._layer(stage)} on the fewest facts, {least}"
        if stage.kind == FAVOUR:
            return self._says_favour(stage)
        return f"{came} builds are as good; the first of them in the order of the stock is taken"

    def _says_favour(self, stage: Stage) -> str:
        assert stage.wish is not None
        fact, left = stage.wish.fact, len(stage.left)
        end = "highest" if stage.wish.highest else "lowest"
        if stage.best is None:
            return f"{fact} is not known of any of {_builds(len(stage.came))}"
        best = self.words.value(fact, stage.best, _DIGITS)
        value = self.judgement.run.value(fact)
        here = self.words.value(fact, value, _DIGITS) if has_value(value) else "not known"
        within = ""
        if stage.wish.within:
            # A difference shows with its unit; what has an offset to its scale is no such fact.
            within = f" within {self.words.value(fact, stage.wish.within, _DIGITS)}"
        return (
            f"{left} of {_builds(len(stage.came))} have the {end} {fact}{within}: it is {best} at "
            f"best, and {here} here"
        )

    def _below(self, stage: Stage) -> list[int]:
        """Return the steps of what told the builds of a stage apart."""
        way = self.way
        if stage.kind == OFFERED:
            given = self.judgement.setup.facts
            axes = self.judgement.choice.axes
            fixed = {name for axis in axes for name in axis.facts if name in given}
            names = fixed | self.judgement.choice.fixed
            return list(way.facts(name for name in self.base.vocabulary.entries if name in names))
        if stage.wish is not None:
            return [way.favour(stage.wish.rule)]
        found: list[int] = []
        for what in stage.fails:
            if isinstance(what, Offence):
                found.append(self._offence(what))
            else:
                found += self._shoulds(stage, *what)
        return found

    def _offence(self, offence: Offence) -> int:
        """Return the step of a must or a stop that some build breaks, or leaves unproven."""
        entry = self.base.entries[offence.rule]
        run = self.judgement.run
        if offence.place < 0 or not (run.stands(offence.rule) or self._waits(offence.rule)):
            return self.way.rule(offence.rule)
        demand = next(d for d in entry.rule.demands if d.place == offence.place)
        return self.way.demand(offence.rule, demand)

    def _waits(self, rule_id: str) -> bool:
        return any(rule.id == rule_id for rule in self.judgement.run.open_rules())

    def _shoulds(self, stage: Stage, layer: int, fact: str) -> list[int]:
        """Return the steps of the shoulds of a layer on a fact, in force here or elsewhere."""
        found = [
            self.way.demand(rule.id, demand)
            for rule in self.judgement.run.standing_rules()
            if rule.layer == layer
            for demand in rule.demands
            if demand.fact == fact and not demand.is_must
        ]
        others = failed_elsewhere(self.judgement, stage, layer, fact)
        return found + [self.way.rule(rule_id) for rule_id in others]


def _builds(count: int) -> str:
    return _count(count, "build", "builds")


def _count(count: int, one: str, several: str) -> str:
    if not count:
        return "none"
    return f"{count} {one if count == 1 else several}"
