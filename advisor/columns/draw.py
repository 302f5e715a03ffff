"""Drawing setups from a population: for each fact a column of places among its values."""

from __future__ import annotations

from collections.abc import Mapping
from zlib import crc32

import numpy as np
import numpy.typing as npt

from advisor.engine.values import Value
from advisor.population import Population, Spread, cumulated

Codes = npt.NDArray[np.int32]
"""For each setup the place of its value: VALUES and up; NOT_STATED and GONE have none."""

NOT_STATED, GONE, VALUES = 0, 1, 2
"""Codes: no value (or the one assumed), nothing can conclude it, the first of the values."""


def _chance(seed: int, name: str, stream: int, count: int) -> npt.NDArray[np.float64]:
    source = np.random.SeedSequence([seed, crc32(name.encode()), stream])
    return np.random.Generator(np.random.PCG64(source)).random(count)


def draw(name: str, spread: Spread, seed: int, count: int) -> Codes:
    """Draw one fact for many setups.

    The first setups are the same however many are drawn, and whatever else is.
    """
    chance = _chance(seed, name, 0, count)
    codes: Codes
    if min(spread.weights) == max(spread.weights):
        codes = (chance * len(spread.values)).astype(np.int32)
    else:
        codes = np.searchsorted(cumulated(spread), chance, side="right").astype(np.int32)
    np.minimum(codes, len(spread.values) - 1, out=codes)
    codes += VALUES
    if spread.stated < 1.0:
        codes[_chance(seed, name, 1, count) >= spread.stated] = NOT_STATED
    for i, value in enumerate(spread.values):
        if value == ():
            codes[codes == i + VALUES] = NOT_STATED
    return codes


class Drawn:
    """Setups drawn from a population, each fact when it is first asked for."""

    def __init__(self, population: Population, seed: int, count: int) -> None:
        self.population = population
        self.seed = seed
        self.count = count
        self._codes: dict[str, Codes] = {}

    def codes(self, name: str) -> Codes | None:
        """Return a fact's column, or None if no setup states it."""
        spread = self.population.facts.get(name)
        if spread is None or spread.stated <= 0:
            return None
        found = self._codes.get(name)
        if found is None:
            found = self._codes[name] = draw(name, spread, self.seed, self.count)
        return found

    def setup(self, at: int, facts: Mapping[str, object] | None = None) -> dict[str, Value]:
        """Return what one of the setups states: of some facts, or of all."""
        found: dict[str, Value] = {}
        for name, spread in self.population.facts.items():
            codes = self.codes(name) if facts is None or name in facts else None
            if codes is not None and codes[at] >= VALUES:
                found[name] = spread.values[int(codes[at]) - VALUES]
        return found
