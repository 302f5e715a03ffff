"""Counting the setups of a population on which two rule bases conclude something different."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import numpy.typing as npt

from advisor.columns.draw import Drawn
from advisor.columns.facts import Column, Facts
from advisor.columns.run import ColumnRun, Figures, Plan, Work, settled_states
from advisor.engine.values import Value
from advisor.meanings.canonical import value_form
from advisor.meanings.counted import Counted
from advisor.meanings.sides import Key, Sides
from advisor.meanings.states import Carrier
from advisor.population import Population
from advisor.rules_compared import FAVOURS

CHUNK = 1 << 16
"""Setups looked at together: so many that their columns stay near the processor."""

MOST_EXAMPLES = 40

Progress = Callable[[int, int], None]


class Counting:
    """Both rule bases over the same setups.

    Args:
        sides: the two.
        keys: effects to look at; each needs no build.
        population: what is drawn from.
        setups: how many are drawn.
        seed: of the drawing.
    """

    def __init__(
        self, sides: Sides, keys: Sequence[Key], population: Population, setups: int, seed: int
    ) -> None:
        self.sides = sides
        self.keys = list(keys)
        self.drawn = Drawn(population, seed, setups)
        carrier = Carrier(sides)
        kept: dict[int, Column] = {}
        claims = claims_of(sides)
        self.figures = Figures()
        both = (sides.old, sides.new)
        self._facts = [Facts(side, self.drawn, carrier, kept) for side in both]
        self.plans = [
            Plan(side, facts, self.keys, claims, self.figures)
            for side, facts in zip(both, self._facts, strict=True)
        ]

    def chunks(self) -> Iterator[tuple[slice, ColumnRun, ColumnRun, npt.NDArray[np.bool_]]]:
        """Yield the runs of both over some setups, and which of these count."""
        for plan in self.plans:
            plan.prepare()
        left_out = self._left_out()
        for start in range(0, self.drawn.count, CHUNK):
            rows = slice(start, min(start + CHUNK, self.drawn.count))
            work = Work(rows)
            old, new = (ColumnRun(plan, work) for plan in self.plans)
            counts = old.in_domain() & new.in_domain()
            if left_out is not None:
                counts &= ~left_out[rows]
            yield rows, old, new, counts

    def _left_out(self) -> npt.NDArray[np.bool_] | None:
        found: npt.NDArray[np.bool_] | None = None
        for facts in self._facts:
            facts.find_unfit()
            for some in (facts.pairing(), facts.unfit):
                if some is not None:
                    found = some if found is None else found | some
        return found

    def count(self, progress: Progress | None = None) -> Counted:
        """Count the setups on which something differs."""
        topics = dict.fromkeys(key.topic for key in self.keys)
        looked_at = changed = opened = 0
        by_topic, opened_by_topic = dict.fromkeys(topics, 0), dict.fromkeys(topics, 0)
        examples: dict[str, list[int]] = {topic: [] for topic in topics}
        open_examples: dict[str, list[int]] = {topic: [] for topic in topics}
        for rows, old, new, counts in self.chunks():
            looked_at += int(counts.sum())
            nothing = np.zeros(rows.stop - rows.start, np.bool_)
            firm = dict.fromkeys(topics, nothing)
            any_way = dict.fromkeys(topics, nothing)
            for key in self.keys:
                before, after = old.state(key), new.state(key)
                here = before != after
                any_way[key.topic] = any_way[key.topic] | here
                here = settled_states(key, before) != settled_states(key, after)
                firm[key.topic] = firm[key.topic] | here
            all_firm, all_open = nothing, nothing
            for topic in topics:
                here = firm[topic] & counts
                unsure = any_way[topic] & counts & ~here
                by_topic[topic] += _note(here, rows.start, examples[topic])
                opened_by_topic[topic] += _note(unsure, rows.start, open_examples[topic])
                if topic != FAVOURS:  # what that comes to, builds tell
                    all_firm = all_firm | here
                all_open = all_open | unsure
            changed += int(all_firm.sum())
            opened += int((all_open & ~all_firm).sum())
            if progress is not None:
                progress(rows.stop, self.drawn.count)
        for topic in topics:
            examples[topic] = examples[topic] or open_examples[topic]
        outside = self.drawn.count - looked_at
        return Counted(looked_at, outside, changed, opened, by_topic, opened_by_topic, examples)

    def setup(self, at: int) -> dict[str, Value]:
        """Return what a setup states of the facts that were looked at."""
        read = self.plans[0].read | self.plans[1].read
        return self.drawn.setup(at, dict.fromkeys(read))


def _note(here: npt.NDArray[np.bool_], start: int, examples: list[int]) -> int:
    """Return how many setups are marked, and take note of where the first of them are."""
    found = int(here.sum())
    if found and len(examples) < MOST_EXAMPLES:
        some = np.flatnonzero(here)[: MOST_EXAMPLES - len(examples)]
        examples += [int(at) + start for at in some]
    return found


def claims_of(sides: Sides) -> dict[str, list[Value]]:
    """Return, for each concluded fact, every value that a rule of either side sets it to."""
    found: dict[str, list[Value]] = {}
    for side in (sides.old, sides.new):
        program = side.base.program
        for slot, setters in program.setters.items():
            held = found.setdefault(side.base.table.names[slot], [])
            for _, value in setters:
                if value_form(value) not in [value_form(one) for one in held]:
                    held.append(value)
    return found


__all__ = ["Counted", "Counting"]
