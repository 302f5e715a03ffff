"""Conditions of one form come to the same on every setup; ways of writing one share its form."""

from __future__ import annotations

import random
from collections.abc import Hashable
from typing import Any

import pytest

from advisor.engine.conditions import All, Node, Not, compile_condition
from advisor.engine.conditions import Any as AnyNode
from advisor.engine.conditions import Test as OneTest
from advisor.engine.rules import Demand
from advisor.engine.values import NO, UNKNOWN, YES, FactTable, Value
from advisor.meanings.canonical import condition_form, demand_form
from advisor.rulebase.conditions import ConditionReader
from advisor.vocabulary import FactEntry, Vocabulary
from tests.toys import CHOICES, NUMBERS, READ, _condition, vocabulary

WORDS = vocabulary()
TABLE: FactTable = WORDS.table()


def node(rng: random.Random) -> Node:
    raw: dict[str, Any] = _condition(rng)
    read = ConditionReader(WORDS, lambda *fault: pytest.fail(str(fault))).condition(raw, ())
    assert read is not None
    return read


def rewritten(node: Node, rng: random.Random) -> Node:
    """Return another way of writing a condition."""
    if isinstance(node, OneTest):
        return Not(Not(node)) if rng.random() < 0.3 else node
    if isinstance(node, Not):
        if isinstance(node.part, (All, AnyNode)) and rng.random() < 0.6:
            dual = AnyNode if isinstance(node.part, All) else All
            return dual(tuple(rewritten(Not(part), rng) for part in node.part.parts))
        return Not(rewritten(node.part, rng))
    parts = [rewritten(part, rng) for part in node.parts]
    rng.shuffle(parts)
    parts.append(rng.choice(parts))
    kind = type(node)
    return kind((kind(tuple(parts[:2])), *parts[2:])) if len(parts) > 2 else kind(tuple(parts))


def values(rng: random.Random) -> list[Value]:
    found = TABLE.blank()
    for fact in READ:
        if rng.random() < 0.3:
            continue
        value: Value = rng.random() < 0.5
        if fact in NUMBERS:
            value = float(rng.choice(list(NUMBERS[fact])))
        elif fact == "toy.uses":
            value = tuple(rng.sample("xyz", 2))
        elif fact in CHOICES:
            value = rng.choice(CHOICES[fact])
        found[TABLE.slot[fact]] = value
        found[TABLE.stated_slot(fact)] = True
    return found


def outcomes(node: Node, absent: int) -> tuple[int, ...]:
    judge = compile_condition(node, TABLE, absent)
    return tuple(judge(values(random.Random(seed))) for seed in range(60))


@pytest.mark.parametrize("seed", range(150))
def test_ways_of_writing_a_condition_share_its_form(seed: int) -> None:
    rng = random.Random(seed)
    one = node(rng)
    other = rewritten(one, rng)
    assert condition_form(one, WORDS) == condition_form(other, WORDS)
    assert outcomes(one, NO) == outcomes(other, NO)


def test_conditions_of_one_form_come_to_the_same() -> None:
    rng = random.Random(1)
    seen: dict[Hashable, tuple[int, ...]] = {}
    shared = 0
    for _ in range(1500):
        fact = rng.choice(("toy.width", "toy.count", "said.class", "toy.uses"))
        operand = rng.choice(list(NUMBERS.get(fact) or CHOICES[fact]))
        op = rng.choice(("at_least", "below", "at_most", "above")) if fact in NUMBERS else "is"
        one: Node = OneTest(fact, op, operand)
        if rng.random() < 0.5:
            one = Not(one)
        form, came_to = condition_form(one, WORDS), outcomes(one, NO)
        shared += form in seen
        assert seen.setdefault(form, came_to) == came_to
    assert shared > 500


@pytest.mark.parametrize("seed", range(100))
def test_what_must_not_be_is_a_must_of_the_opposite(seed: int) -> None:
    rng = random.Random(seed)
    one = node(rng)
    negative = Demand(0, "must_not", "pick.size", one)
    positive = Demand(0, "must", "pick.size", Not(one))
    assert demand_form(negative) == demand_form(positive)
    assert tuple(2 - x for x in outcomes(one, UNKNOWN)) == outcomes(Not(one), UNKNOWN)
    assert demand_form(negative) != demand_form(negative._replace(strength="must"))


def test_not_at_least_is_not_below_where_rules_conclude_the_number() -> None:
    """Without a value both tests are no, so the opposite of the one is yes."""
    words = Vocabulary([FactEntry("said.number", "n", "count", "concluded")])
    table = words.table()
    one, other = Not(OneTest("said.number", "at_least", 3)), OneTest("said.number", "below", 3)
    came_to = [compile_condition(test, table)(table.blank()) for test in (one, other)]
    assert came_to == [YES, NO]
    assert condition_form(one, words) != condition_form(other, words)
