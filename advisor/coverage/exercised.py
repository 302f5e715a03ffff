"""The cases beside a rule base, each with what its rules make of it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

from advisor.cases import Case, case_files, read_cases
from advisor.decision import RuleBaseName
from advisor.errors import Fault, Faults
from advisor.judge import Judgement
from advisor.pipeline import offered_stock
from advisor.rulebase.model import RuleBase, RuleEntry


class Exercise:
    """One case, judged when that is first asked for."""

    def __init__(self, case: Case, base: RuleBase) -> None:
        self.case = case
        self.base = base

    @cached_property
    def judgement(self) -> Judgement:
        """Return what the rules make of the case."""
        return Judgement(self.case.setup, self.base, offered_stock(self.base, self.case.stock))


def own_cases(base: RuleBase) -> list[Case]:
    """Return the cases of the top layer, in the order of their files.

    Raises:
        Faults: about "rules", with every fault of every case file.
    """
    found: list[Case] = []
    faults: list[Fault] = []
    for path in case_files(base.layers[-1].folder):
        try:
            found += read_cases(path, base)
        except Faults as refused:
            faults += refused.faults
    if faults:
        raise Faults(faults, "rules")
    return found


def own_rules(base: RuleBase) -> Sequence[RuleEntry]:
    """Return the rules of the top layer in the order of their ids."""
    top = base.layers[-1].name
    return [entry for _, entry in sorted(base.entries.items()) if entry.layer == top]


def name_of(base: RuleBase) -> RuleBaseName:
    """Return the identity of a rule base as findings carry it."""
    layers = tuple(f"{layer.name} {layer.version}" for layer in base.layers)
    return RuleBaseName(base.name, base.version, base.digest, layers)
