"""Computed facts: the one table that joins physics to the vocabulary.

Physics works in SI on plain numbers and knows no facts; rules know facts and no arithmetic. Here
each computed fact has its name, the facts it needs, its function, its source and its band. A row
stands after the rows of the computed facts it needs. The table is plain: `bound` joins it to the
engine, and whoever checks the engine reads the same table without it.
"""

from __future__ import annotations

from advisor.decision import is_rough
from advisor.derive import arrow, fly, steer, tail
from advisor.derive.row import Computed
from advisor.quantities import UNITS

TABLE: tuple[Computed, ...] = (*arrow.ROWS, *tail.ROWS, *steer.ROWS, *fly.ROWS)

BY_FACT = {computed.fact: computed for computed in TABLE}
NEEDS = {computed.fact: computed.needs for computed in TABLE}
ROUGH = frozenset(computed.fact for computed in TABLE if is_rough(computed.band))
"""Facts whose third digit says nothing."""


def differs(fact: str, stated: float, own: float, unit: str) -> bool:
    """Tell whether a stated number lies outside the band of what its function comes to.

    Args:
        fact: a computed fact.
        stated: its stated value.
        own: the function's.
        unit: of both.
    """
    amount, _, measure = BY_FACT[fact].band.partition(" ")
    if not amount:
        return stated != own
    band = float(amount)
    if measure == "%":
        band *= abs(own) / 100.0
    elif measure in UNITS and unit in UNITS:
        band *= UNITS[measure][1] / UNITS[unit][1]
    return abs(stated - own) > band
