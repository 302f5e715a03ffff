"""Running the engine on what a witness states, and leaving out of it what is not needed."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from advisor.engine.conditions import compile_condition
from advisor.engine.run import Run
from advisor.engine.values import NO, Value
from advisor.judge import Judgement, ways
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Given, Setup
from advisor.vocabulary import show


class Replayer:
    """Runs the rules on statements: alone, or as part of a whole judgement."""

    def __init__(self, base: RuleBase) -> None:
        self.base = base
        self.chooser = ways(base, pairing=False).chooser
        self._domain = [compile_condition(node, base.table) for node in base.domain]

    def run(self, stated: Mapping[str, Value]) -> Run:
        """Run the rules on what is stated and assumed, with no option chosen beside."""
        table = self.base.table
        values = table.blank()
        for name, assumption in self.base.assume.items():
            values[table.slot[name]] = assumption.value
        for name, value in stated.items():
            values[table.slot[name]] = value
            values[table.stated_slot(name)] = True
        self.chooser.compute(values)
        return self.base.program.run(values)

    def in_domain(self, run: Run) -> bool:
        """Tell whether a run breaks nothing of the declared domain."""
        return all(judge(run.values) != NO for judge in self._domain)

    def judged(self, stated: Mapping[str, Value]) -> Judgement:
        """Judge a setup as `advise` does, with the rule base's own ladder."""
        return Judgement(setup_of(stated), self.base, self.base.ladder, alone=True)


def setup_of(stated: Mapping[str, Value]) -> Setup:
    """Return a setup that states some facts."""
    given = {name: Given(value, "witness", 0, 0, show(value)) for name, value in stated.items()}
    return Setup("witness", given)


def needed_of(
    stated: Mapping[str, Value], suffices: Callable[[Mapping[str, Value]], bool]
) -> dict[str, Value]:
    """Return a part of some statements that suffices, no single one of which can be left out.

    Halves are tried first, then quarters, so that a small part of many is found soon.
    """
    kept = list(stated)
    size = max(1, len(kept) // 2)
    while True:
        at, dropped = 0, False
        while at < len(kept):
            rest = kept[:at] + kept[at + size :]
            if suffices({name: stated[name] for name in rest}):
                kept, dropped = rest, True
            else:
                at += size
        if size == 1 and not dropped:
            return {name: stated[name] for name in kept}
        size = max(1, size // 2)
