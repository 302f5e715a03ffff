"""The engine against CLIPS, a forward-chaining engine from outside (through clipspy)."""

from __future__ import annotations

import gc

import pytest

from tests.engine.test_against_reference import demand_outcomes
from tests.heavy import untraced
from tests.reference import adapter
from tests.reference.synthetic import Base, nasty, synthetic

pytestmark = untraced

clips = pytest.importorskip("clips", reason="clipspy is not installed (the test extra brings it)")

NASTY = 1000


def compare(base: Base, place: object) -> int:
    from tests.reference.in_clips import ClipsProgram

    vocabulary, rules, setups = base
    ours = adapter.program_of(vocabulary, rules)
    theirs = ClipsProgram(vocabulary, rules)
    for facts, stated in setups:
        run = adapter.run_of(ours, vocabulary, facts, stated)
        outcome = theirs.run(facts, stated)
        values = {
            fact: sorted(set(value)) if isinstance(value, tuple) else value
            for fact, value in run.concluded().items()
        }
        assert values == outcome["values"], (place, facts)
        assert run.states() == outcome["states"], (place, facts)
        assert set(run.tied()) == outcome["ties"], (place, facts)
        aside = {loser: set(winners) for loser, winners in run.set_aside().items()}
        assert aside == outcome["set_aside"], (place, facts)
        assert demand_outcomes(ours, run) == outcome["demands"], (place, facts)
    return len(setups)


@pytest.mark.parametrize("block", range(10))
def test_small_and_nasty_rule_bases_come_to_the_same(block: int) -> None:
    compared = 0
    for seed in range(block * NASTY // 10, (block + 1) * NASTY // 10):
        compared += compare(nasty(seed), seed)
    assert compared >= NASTY
    gc.collect()  # CLIPS environments are large and freed only when they are collected


@pytest.mark.parametrize("rules", [50, 200])
def test_larger_rule_bases_come_to_the_same(rules: int) -> None:
    assert compare(synthetic(rules, 3), rules) == 40
