"""What leaves rules open is told from the facts alone; the conditions, judged whole, say the same."""

from __future__ import annotations

import random

import pytest

from advisor.engine.conditions import lacking
from advisor.engine.run import Run
from advisor.engine.values import OPEN
from tests.reference import adapter
from tests.reference.synthetic import nasty


def compare(run: Run) -> int:
    """Compare what a run tells with the trees of the conditions; return how many rules it was."""
    table, values = run.program.table, run.values
    told = run.open_ends()
    assert list(told) == [run.program.rules[i].id for i in _places(run.bits.waiting)]
    compared = 0
    for rule in (*run.undecided(), *run.fired()):
        lacks = lacking(rule.when, table, values) if rule.when else frozenset()
        doubts = lacking(rule.unless, table, values) if rule.unless else frozenset()
        assert run.lacks(rule) == lacks, rule
        assert run.unless_open(rule) == doubts, rule
        if rule.id in told:
            assert told[rule.id] == lacks | doubts, rule
        compared += bool(lacks or doubts)
    return compared


def _places(bits: int) -> list[int]:
    return [i for i in range(bits.bit_length()) if bits >> i & 1]


@pytest.mark.parametrize("block", range(4))
def test_the_facts_tell_what_the_conditions_do(block: int) -> None:
    rng = random.Random(block)
    compared = 0
    for seed in range(block * 150, block * 150 + 150):
        vocabulary, rules, setups = nasty(seed)
        program = adapter.program_of(vocabulary, rules)
        table = program.table
        stateable = [name for name in vocabulary if table.origin(name) != "concluded"]
        for facts, stated in setups[:6]:
            values = adapter.values_of(table, vocabulary, facts, stated)
            compared += compare(program.run(values.copy()))
            for name in rng.sample(stateable, min(3, len(stateable))):
                values[table.slot[name]] = values[table.stated_slot(name)] = OPEN
            compared += compare(program.run(values, sure=True))
    assert compared > 2000
