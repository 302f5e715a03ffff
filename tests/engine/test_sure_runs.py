"""What a run calls sure, when some facts are open, must hold whatever these turn out to be."""

from __future__ import annotations

import itertools
import random

import pytest

from advisor.engine import conditions
from advisor.engine.program import Program
from advisor.engine.rules import Rule
from advisor.engine.values import GIVEN, MISSING, OPEN, FactTable, Value, has_value, same_value
from tests.reference import adapter
from tests.reference.synthetic import Base, nasty


def possible_values(raw: dict[str, object]) -> list[Value]:
    """List values that together satisfy and break every test a nasty rule base can write."""
    if raw["kind"] == "choice":
        choices: list[str] = list(raw["choices"])  # type: ignore[call-overload]
        if not raw.get("several"):
            return list(choices)
        pairs = list(itertools.combinations(choices, 2))
        return [(choice,) for choice in choices] + [tuple(pair) for pair in pairs]
    if raw["kind"] == "flag":
        return [False, True]
    if raw["kind"] == "text":
        return ["a", "b"]
    return [half / 2 for half in range(-1, 14)]


def check(base: Base, rng: random.Random) -> int:
    vocabulary, rules, setups = base
    program = adapter.program_of(vocabulary, rules)
    table = program.table
    stateable = [name for name in vocabulary if table.origin(name) != "concluded"]
    checked = 0
    for facts, stated in setups[:4]:
        opened = rng.sample(stateable, min(2, len(stateable)))
        values = adapter.values_of(table, vocabulary, facts, stated)
        for name in opened:
            values[table.slot[name]] = values[table.stated_slot(name)] = OPEN
        sure = program.run(values.copy(), sure=True)
        ways = [[MISSING, *possible_values(vocabulary[name])] for name in opened]
        for chosen in itertools.product(*ways):
            for name, value in zip(opened, chosen, strict=True):
                values[table.slot[name]] = value
                values[table.stated_slot(name)] = has_value(value) and rng.random() < 0.5
            run = program.run(values.copy())
            place = (opened, chosen, facts)
            assert not sure.bits.fired & ~run.bits.fired, place
            assert not sure.bits.standing & ~run.bits.standing, place
            may_fire = sure.bits.fired | sure.bits.undecided
            assert not (run.bits.fired | run.bits.undecided) & ~may_fire, place
            live = sure.bits.standing | sure.bits.waiting
            assert not (run.bits.standing | run.bits.waiting) & ~live, place
            for fact, value in sure.concluded().items():
                assert same_value(run.value(fact), value), (place, fact)
            checked += 1
    return checked


@pytest.mark.parametrize("block", range(6))
def test_what_is_sure_holds_whatever_the_open_facts_are(block: int) -> None:
    rng = random.Random(block)
    checked = sum(check(nasty(seed), rng) for seed in range(block * 40, block * 40 + 40))
    assert checked > 2000


def test_a_rule_that_an_undecided_one_may_set_aside_is_not_sure() -> None:
    table = FactTable({"pot.lid": GIVEN, "tea.kind": "concluded"})
    rules = [
        Rule("plain", sets=(("tea.kind", "green"),)),
        Rule("lidded", when=conditions.Test("pot.lid", "is", "tin"), overrides=("plain",)),
    ]
    values = table.blank()
    values[table.slot["pot.lid"]] = OPEN
    run = Program(rules, table).run(values, sure=True)
    assert not run.stands("plain")
    assert run.value("tea.kind") is OPEN
