"""What conditions need, against judging them: on every combination of a few facts' values."""

from __future__ import annotations

import itertools
import random
from collections.abc import Mapping
from typing import Any

import pytest

from advisor.engine import conditions
from advisor.engine.conditions import All, Node, Ref, facts_of, judge
from advisor.engine.values import MISSING, NO, YES, Value, has_value
from advisor.needs import Need, Needs, nearest_value, together
from advisor.rulebase.rules import RuleReader
from advisor.searching import beside
from advisor.vocabulary import FactEntry
from tests import toys

WORDS = toys.vocabulary()
TABLE = WORDS.table()


def node_of(condition: Mapping[str, Any]) -> Node:
    faults: list[str] = []
    raw = {"id": "one", "when": condition, "then": [], "says": "", "because": ""}
    reader = RuleReader(raw, WORDS, lambda path, what, _: faults.append(what), 0, 0)
    assert not faults, faults
    assert reader.rule.when is not None
    return reader.rule.when


def values_of(entry: FactEntry) -> list[Value]:
    """Values that stand for all that the conditions here can tell apart."""
    if entry.kind == "flag":
        return [False, True]
    if entry.several:
        return [c for n in (1, 2, 3) for c in itertools.combinations(entry.choices, n)]
    if not entry.is_number:
        return list(entry.choices)
    whole = entry.kind == "count"
    marks = [float(x) for x in toys.NUMBERS[entry.name]]
    near = [x for m in marks for x in (m, beside(m, True, whole), beside(m, False, whole))]
    low = -1e9 if entry.low is None else entry.low
    high = 1e9 if entry.high is None else entry.high
    return sorted({x for x in near if low <= x <= high})


def meets(need: Need, value: Value, fact: str) -> bool:
    found = nearest_value(need, value, WORDS[fact])
    return found is not None and has_value(value) and bool(found == value)


def worlds(node: Node, rng: random.Random, most: int = 300) -> list[dict[str, Value]]:
    facts = sorted(facts_of(node))
    found = [{fact: rng.choice([*values_of(WORDS[fact])]) for fact in facts} for _ in range(most)]
    return [dict(world) for world in {tuple(sorted(w.items())) for w in found}]


def outcome(node: Node, world: Mapping[str, Value]) -> int:
    values = TABLE.blank()
    for fact, value in world.items():
        values[TABLE.slot[fact]] = value
    return judge(node, TABLE, values).outcome


@pytest.mark.parametrize("want", [True, False])
def test_a_condition_comes_out_as_wanted_where_one_of_its_ways_is_met_and_nowhere_else(
    want: bool,
) -> None:
    met = unmet = 0
    for seed in range(150):
        rng = random.Random(seed)
        node = node_of(toys._condition(rng))
        if any(isinstance(test.operand, Ref) for test in conditions.tests_of(node)):
            continue  # of two facts compared, one is held still: told apart below
        ways = Needs(WORDS, lambda _: MISSING).ways(node, want)
        for world in worlds(node, rng):
            as_wanted = outcome(node, world) == (YES if want else NO)
            told = any(all(meets(n, world[f], f) for f, n in way.items()) for way in ways)
            assert told == as_wanted, (seed, world, ways)
            met += as_wanted
            unmet += not as_wanted
    assert met > 1000
    assert unmet > 1000


@pytest.mark.parametrize("want", [True, False])
def test_of_two_facts_compared_either_may_give_way(want: bool) -> None:
    for op in ("at_least", "at_most", "above", "below"):
        node = node_of({"toy.count": {op: {"fact": "toy.other"}}})
        for one, other in itertools.product(range(7), range(7)):
            world = {"toy.count": float(one), "toy.other": float(other)}
            ways = Needs(WORDS, world.__getitem__).ways(node, want)
            for way in ways:
                moved = {
                    f: nearest_value(way[f], x, WORDS[f]) if f in way else x
                    for f, x in world.items()
                }
                assert outcome(node, moved) == (YES if want else NO), (op, world, way)
            if outcome(node, world) != (YES if want else NO):
                # At the ends of the range one of the two has nowhere to go.
                assert ways or {one, other} & {0, 6}


def test_the_nearest_value_is_the_nearest() -> None:
    for seed in range(120):
        rng = random.Random(seed)
        fact = rng.choice(["toy.count", "toy.width", "arrow.mass", "pick.size"])
        node = node_of({fact: toys._test(rng, fact)})
        if any(isinstance(test.operand, Ref) for test in conditions.tests_of(node)):
            continue
        entry = WORDS[fact]
        every = values_of(entry)
        for want in (True, False):
            ways = Needs(WORDS, lambda _: MISSING).ways(node, want)
            good = [x for x in every if outcome(node, {fact: x}) == (YES if want else NO)]
            for start in rng.sample(every, min(5, len(every))):
                found = [nearest_value(way[fact], start, entry) for way in ways]
                gaps = [abs(x - start) for x in found if x is not None]
                assert bool(gaps) == bool(good), (seed, want)
                if good:
                    assert min(gaps) <= min(abs(x - start) for x in good) + 1e-12


def test_several_values_change_by_as_few_as_it_takes() -> None:
    entry = WORDS["toy.uses"]
    need = Need(include=(frozenset("x"),), exclude=frozenset("z"))
    assert nearest_value(need, ("y", "z"), entry) == ("y", "x")
    assert nearest_value(need, ("x",), entry) == ("x",)
    assert nearest_value(Need(exclude=frozenset("z")), ("z",), entry) == ("x",)
    assert nearest_value(Need(exclude=frozenset("xyz")), ("z",), entry) is None


def test_what_cannot_be_met_together_is_no_way() -> None:
    low, high = Need(((0.0, 2.0),)), Need(((3.0, 6.0),))
    assert together([{"toy.width": low}], [{"toy.width": high}]) == []
    assert low.meet(Need(((2.0, 4.0),))) == Need(((2.0, 2.0),))
    assert Need(there=True).meet(Need(there=False)) is None
    assert Need(there=False).meet(low) is None
    assert Need(allowed=frozenset("ab")).meet(Need(allowed=frozenset("c"))) is None
    assert Need(stated=True).meet(Need(stated=False)) is None


def test_known_and_stated_are_needs_too() -> None:
    needs = Needs(WORDS, lambda _: MISSING)
    known = node_of({"toy.width": {"known": True}})
    assert needs.ways(known, True) == [{"toy.width": Need(there=True)}]
    assert needs.ways(known, False) == [{"toy.width": Need(there=False)}]
    assert nearest_value(Need(there=False), 2.0, WORDS["toy.width"]) is MISSING
    stated = node_of({"toy.width": {"stated": False}})
    assert needs.ways(stated, True) == [{"toy.width": Need(stated=False)}]
    assert isinstance(node_of({"toy.flag": True, "toy.shape": "a"}), All)
