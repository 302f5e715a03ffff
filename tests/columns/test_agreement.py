"""Columns held against the engine, setup by setup, on made-up rule bases and on the base rules."""

from __future__ import annotations

import random
from collections.abc import Hashable
from functools import cache
from pathlib import Path

import pytest

from advisor.columns.count import Counting
from advisor.engine.run import FIRED_OPEN
from advisor.engine.values import OPTION
from advisor.meanings.canonical import value_form
from advisor.meanings.matching import match
from advisor.meanings.sides import SET, SHOWN, Key, Sides, sides_of
from advisor.meanings.states import (
    ABSENT_VALUE,
    BROKEN,
    NONE,
    TIED_VALUE,
    UNKNOWN_VALUE,
    Carrier,
    Engine,
    settled,
)
from advisor.population import Population, Spread, even_population, usual_population
from advisor.proving.offers import listed
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.rules_compared import SETUP
from tests.heavy import untraced
from tests.rulebase.folders import rule, write_kettle
from tests.toys import CHOICES, NUMBERS, toy_base

TOYS = [seed for seed in range(60) if toy_base(seed) is not None]


@cache
def toy(seed: int) -> RuleBase:
    base = toy_base(seed)
    assert base is not None
    return base


def population(seed: int) -> Population:
    """Return a population that states most facts, options and computed ones among them."""
    rng = random.Random(seed)
    facts: dict[str, Spread] = {}
    for name, numbers in NUMBERS.items():
        values = tuple(float(x) for x in numbers)
        facts[name] = Spread(values, (1 / len(values),) * len(values), rng.choice((0.7, 1.0)))
    for name in ("toy.shape", "pick.kind"):
        weights = (0.5, 0.3, 0.2)
        facts[name] = Spread(tuple(CHOICES[name]), weights, rng.choice((0.8, 1.0)))
    facts["toy.uses"] = Spread(((), ("x",), ("x", "z"), ("y", "z")), (0.1, 0.3, 0.3, 0.3), 0.9)
    facts["toy.flag"] = Spread((False, True), (0.4, 0.6), 0.8)
    facts["arrow.momentum"] = facts["arrow.momentum"]._replace(stated=0.3)
    facts["arrow.kinetic_energy"] = facts["arrow.kinetic_energy"]._replace(stated=0.3)
    for name in ("pick.size", "pick.kind"):
        facts[name] = facts[name]._replace(stated=1.0)
    if seed % 2:  # what nobody states is the same for all
        for name in rng.sample(["toy.flag", "toy.shape", "toy.count", "toy.other"], 2):
            del facts[name]
    return Population("toys", "made up", facts)


def sides(old: RuleBase, new: RuleBase, people: Population) -> Sides:
    options = ("pick.size", "pick.kind", "arrow.mass")
    given = frozenset(name for name in people.always if name in options)
    return sides_of(old, new, match(old, new), given)


def told(key: Key, code: int, counting: Counting) -> Hashable:
    """Return what a column says of a setup, as the engine would."""
    if key.kind == SHOWN:
        return list(counting.figures.of)[code - 1] if code else NONE
    if key.kind != SET:
        return code
    if code == -1:
        return TIED_VALUE
    if code == 0:
        return UNKNOWN_VALUE
    if code == 1:
        return ABSENT_VALUE
    return ("value", value_form(counting.plans[0].claims[key.topic][code - 2]))


@pytest.mark.parametrize("seed", TOYS)
def test_columns_come_to_what_the_engine_comes_to(seed: int) -> None:
    base = toy(seed)
    people = population(seed)
    both = sides(base, base, people)
    keys = [key for key, needs in both.needs.items() if needs == SETUP]
    counting = Counting(both, keys, people, 250, seed)
    engine = Engine(both.new)
    seen = 0
    for rows, _, run, counts in counting.chunks():
        states = {key: run.state(key) for key in keys}
        for at in range(rows.start, rows.stop):
            found = engine.run(counting.drawn.setup(at))
            assert counts[at - rows.start]
            for key in keys:
                expected = engine.effect(key, found)
                assert told(key, int(states[key][at - rows.start]), counting) == expected
                seen += expected not in (0, ABSENT_VALUE)
    assert seen or not keys


def test_toys_have_all_that_there_is_to_get_wrong() -> None:
    """The agreement above means little unless ties, stops and undecided rules occur in it."""
    seen: set[Hashable] = set()
    for seed in TOYS:
        base, people = toy(seed), population(seed)
        both = sides(base, base, people)
        keys = [key for key, needs in both.needs.items() if needs == SETUP]
        for _, _, run, _ in Counting(both, keys, people, 250, seed).chunks():
            for key in keys:
                seen.update((key.kind, code) for code in set(run.state(key).tolist()))
    for kind, codes in {
        "set": (-1, 0, 1, 2, 3),
        "offence": (0, 1, 2, 3),
        "favour": (0, 1, 2),
    }.items():
        assert {(kind, code) for code in codes} <= seen


@pytest.mark.parametrize("seed", TOYS[:40])
def test_what_is_counted_is_what_the_engines_say_one_by_one(seed: int) -> None:
    old, new, people = toy(seed), toy(TOYS[TOYS.index(seed) + 1]), population(seed)
    both = sides(old, new, people)
    keys = [key for key in both.candidates if both.is_settled(key)]
    counting = Counting(both, keys, people, 200, seed)
    counted = counting.count()
    engines = Engine(both.old), Engine(both.new)
    carrier = Carrier(both)
    by_topic = dict.fromkeys(counted.by_topic, 0)
    opened_by_topic = dict.fromkeys(counted.by_topic, 0)
    changed = opened = 0
    for at in range(200):
        setup = counting.drawn.setup(at)
        states = []
        for engine in engines:
            stated = carrier.stated(setup, engine.side)
            assert stated is not None
            states.append(engine.effects(keys, engine.run(stated)))
        some = {key.topic for key in keys if states[0][key] != states[1][key]}
        firm = {
            key.topic
            for key in keys
            if settled(key, states[0][key]) != settled(key, states[1][key])
        }
        changed += bool(firm)
        opened += bool(some - firm) and not firm
        for topic in some:
            (by_topic if topic in firm else opened_by_topic)[topic] += 1
    assert (counted.changed, counted.opened) == (changed, opened)
    assert counted.by_topic == by_topic
    assert counted.opened_by_topic == opened_by_topic


@untraced
def test_the_base_rules_come_to_the_same_on_two_thousand_setups() -> None:
    base = read_rule_base()
    people = usual_population(base.vocabulary)[0]
    both = sides_of(base, base, match(base, base))
    keys = [key for key, needs in both.needs.items() if needs == SETUP]
    assert len(keys) > 100
    counting = Counting(both, keys, people, 2000, 5)
    engine = Engine(both.new)
    (chunk,) = counting.chunks()
    rows, _, run, counts = chunk
    states = {key: run.state(key).tolist() for key in keys}
    for at in range(rows.stop):
        found = engine.run(counting.drawn.setup(at))
        assert engine.in_domain(found) == counts[at]
        for key in keys:
            assert told(key, states[key][at], counting) == engine.effect(key, found), key


GUARDED = "".join(
    rule(name, then, **more)
    for name, then, more in (
        ("too-many", "[{caution: {level: stop, text: Stop.}}]", {"when": "{tea.guests: {above: 6}}"}),
        ("a-crowd", "[{caution: {level: note, text: Many.}}]", {"when": "{tea.guests: {above: 6}}"}),
        ("never-mind", "[{step: {phase: verify, text: Go on., after: [look]}}]",
         {"when": "{tea.kind: herb}", "unless": "{tea.in_a_hurry: true}",
          "overrides": "[too-many, a-crowd]"}),
        ("mind", "[{set: {brew.strength: weak}}]",
         {"when": "{tea.in_a_hurry: false}", "overrides": "[never-mind]"}),
        ("look", "[{step: {phase: verify, text: Look.}}]", {"when": "{tea.guests: {below: 9}}"}),
    )
)  # fmt: skip


def test_a_stop_gives_way_only_to_a_rule_whose_exception_does_not_hold(tmp_path: Path) -> None:
    """Made-up rules seldom meet that; so this does, with a chain of overrides and ordered steps."""
    base = read_rule_base(write_kettle(tmp_path, {"guarded.yaml": GUARDED}))
    people = even_population(base.vocabulary)
    both = sides_of(base, base, match(base, base))
    keys = [key for key, needs in both.needs.items() if needs == SETUP]
    assert {key.kind for key in keys} >= {"caution", "step", "after", "set"}
    counting = Counting(both, keys, people, 3000, 1)
    engine = Engine(both.new)
    (chunk,) = counting.chunks()
    rows, _, run, _ = chunk
    states = {key: run.state(key).tolist() for key in keys}
    guarded = 0
    for at in range(rows.stop):
        found = engine.run(counting.drawn.setup(at))
        for key in keys:
            assert told(key, states[key][at], counting) == engine.effect(key, found), key
        place = base.program.place
        fired_open = found.status("never-mind") == FIRED_OPEN and found.stands("never-mind")
        guarded += fired_open and found.bits.standing >> place["too-many"] & 1
    assert guarded > 20


def test_all_base_rules_come_to_the_same_where_the_setup_states_the_build() -> None:
    """With every option stated no rule waits for the build, and figures come from the options."""
    base = read_rule_base()
    facts = dict(usual_population(base.vocabulary)[0].facts)
    facts["arrow.mass"] = facts["arrow.mass"]._replace(stated=0.3)
    for name in base.vocabulary.of_origin(OPTION):
        values = tuple(dict.fromkeys(listed(base, name)))
        facts[name] = Spread(values, (1 / len(values),) * len(values), 1.0)
    for name in ("point.type", "shaft.outside_diameter", "shaft.length", "arrow.speed"):
        facts[name] = facts[name]._replace(stated=1.0)
    people = Population("builds", "made up", facts)
    given = frozenset(base.vocabulary.of_origin(OPTION))
    both = sides_of(base, base, match(base, base), given)
    assert set(both.needs.values()) == {SETUP}
    keys = list(both.needs)
    counting = Counting(both, keys, people, 400, 2)
    engine = Engine(both.new)
    (chunk,) = counting.chunks()
    rows, _, run, _ = chunk
    states = {key: run.state(key).tolist() for key in keys}
    offended = 0
    for at in range(rows.stop):
        found = engine.run(counting.drawn.setup(at))
        for key in keys:
            expected = engine.effect(key, found)
            assert told(key, states[key][at], counting) == expected, key
            offended += key.kind == "offence" and expected == BROKEN
    assert offended > 400


def test_setups_in_which_the_head_is_chosen_are_left_out() -> None:
    base = read_rule_base()
    assert base.ladder.items["point"]
    facts = {
        name: Spread(tuple(dict.fromkeys(listed(base, name)))[:1], (1.0,), 1.0)
        for name in base.vocabulary.of_origin(OPTION)
    }
    facts["point.type"] = Spread(("field-point",), (1.0,), 0.6)
    people = Population("heads", "made up", facts)
    both = sides_of(base, base, match(base, base), frozenset(facts) - {"point.type"})
    counting = Counting(both, list(both.needs), people, 2000, 2)
    kept = sum(int(counts.sum()) for *_, counts in counting.chunks())
    assert kept == sum("point.type" in counting.drawn.setup(at) for at in range(2000))
    assert 1100 < kept < 1300


def test_the_first_setups_are_the_same_however_many_are_drawn() -> None:
    base = read_rule_base()
    people = usual_population(base.vocabulary)[0]
    both = sides_of(base, base, match(base, base))
    few, many = (Counting(both, [], people, count, 3).drawn for count in (50, 5000))
    assert [few.setup(at) for at in range(50)] == [many.setup(at) for at in range(50)]
    other = Counting(both, [], people, 50, 4).drawn
    assert few.setup(0) != other.setup(0)
