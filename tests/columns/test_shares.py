"""Shares held against exact ones: every setup of a small population, with its weight."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from advisor.comparing_rules import compare_rules
from advisor.engine.values import Value
from advisor.meanings.matching import match
from advisor.meanings.sampling import wilson
from advisor.meanings.sides import sides_of
from advisor.meanings.states import settled
from advisor.meanings.witnessing import Replay
from advisor.population import Population, Spread, sample
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.rules_compared import SETUP
from tests.columns.test_planted import CHANGES, MORE, WORDS, base, before
from tests.rulebase.folders import MANIFEST, write_kettle

PEOPLE = Population(
    "guests",
    "made up",
    {
        "tea.kind": Spread(("black", "green", "herb"), (0.5, 0.3, 0.2), 0.9),
        "tea.guests": Spread(tuple(range(1, 13)), (1 / 12,) * 12, 0.75),
        "tea.in_a_hurry": Spread((False, True), (0.7, 0.3), 0.5),
    },
)


def weighed(people: Population) -> list[tuple[float, dict[str, Value]]]:
    """Return every setup of a population with how often it is drawn."""
    columns = []
    for name, spread in people.facts.items():
        cells: list[tuple[float, dict[str, Value]]] = [(1 - spread.stated, {})]
        for value, weight in zip(spread.values, spread.weights, strict=True):
            cells.append((spread.stated * weight, {name: value}))
        columns.append(cells)
    found = []
    for row in product(*columns):
        weight, setup = 1.0, {}
        for part, facts in row:
            weight *= part
            setup.update(facts)
        found.append((weight, setup))
    return found


def exact(old: RuleBase, new: RuleBase) -> tuple[float, dict[str, float]]:
    """Return the share of setups on which something that stands differs, in all and by topic."""
    sides = sides_of(old, new, match(old, new))
    keys = [key for key, needs in sides.needs.items() if needs == SETUP]
    replay = Replay(sides)
    share, by_topic = 0.0, dict.fromkeys((key.topic for key in keys), 0.0)
    for weight, setup in weighed(PEOPLE):
        runs = replay.runs(setup)
        assert runs is not None
        topics = {
            key.topic
            for key in keys
            if settled(key, replay.old.effect(key, runs[0]))
            != settled(key, replay.new.effect(key, runs[1]))
        }
        share += weight * bool(topics)
        for topic in topics:
            by_topic[topic] += weight
    return share, by_topic


@pytest.mark.parametrize("name", ["a bound", "an override dropped", "a value", "a level"])
def test_shares_are_those_of_the_whole_population(name: str) -> None:
    new = base(CHANGES[name][0])
    share, by_topic = exact(before(), new)
    assert 0 < share < 1
    count = 200_000
    found = compare_rules(before(), new, PEOPLE, setups=count, builds=0)
    assert found.share is not None
    assert found.share.of == count

    def is_near(changed: int, expected: float) -> bool:
        deviation: float = (expected * (1 - expected) / count) ** 0.5
        return abs(changed / count - expected) < 5 * deviation

    assert is_near(found.share.changed, share)
    for topic in found.topics:
        if topic.needs == SETUP and topic.of:
            assert is_near(topic.changed, by_topic[topic.topic])


def test_drawing_again_from_a_seed_gives_the_same() -> None:
    new = base(CHANGES["a bound"][0])
    one, again, other = (
        compare_rules(before(), new, PEOPLE, setups=5000, builds=20, seed=seed)
        for seed in (7, 7, 8)
    )
    assert one == again
    assert one.share != other.share


def test_single_setups_are_drawn_with_the_declared_weights() -> None:
    drawn = sample(PEOPLE, 3, 20_000)
    herbs = sum(setup.get("tea.kind") == "herb" for setup in drawn) / len(drawn)
    guests = sum("tea.guests" in setup for setup in drawn) / len(drawn)
    assert abs(herbs - 0.18) < 0.015
    assert abs(guests - 0.75) < 0.015


@pytest.mark.parametrize(
    ("changed", "of", "low", "high"),
    # E. B. Wilson's interval, worked by hand from its formula.
    [
        (0, 10, 0.0, 0.2775),
        (10, 10, 0.7225, 1.0),
        (5, 10, 0.2366, 0.7634),
        (1, 300, 0.0006, 0.0186),
    ],
)
def test_the_interval_is_wilsons(changed: int, of: int, low: float, high: float) -> None:
    share = wilson(changed, of)
    assert (round(share.low, 4), round(share.high, 4)) == (low, high)


def test_setups_outside_the_domain_are_left_out_and_counted(tmp_path: Path) -> None:
    domain = MANIFEST + "domain: [{tea.guests: {below: 10}}]\n"
    moved = MORE.replace("{at_least: 6}", "{at_least: 7}")
    new = read_rule_base(write_kettle(tmp_path, {"manifest.yaml": domain, "more.yaml": moved}))
    found = compare_rules(before(), new, PEOPLE, setups=40_000, builds=0)
    assert found.population is not None
    assert found.share is not None
    expected = 0.75 * 3 / 12
    assert abs(found.population.outside / 40_000 - expected) < 0.01
    assert found.share.of == 40_000 - found.population.outside


def test_setups_that_one_of_the_two_cannot_read_are_left_out_and_counted() -> None:
    changed, _, _ = WORDS["a choice"]
    moved = {"more.yaml": MORE.replace("{at_least: 6}", "{at_least: 7}")}
    found = compare_rules(before(), base({**changed, **moved}), setups=40_000, builds=40)
    assert found.population is not None
    assert found.share is not None
    assert found.build_share is not None
    # A quarter of those that state the tea state fruit, which the old rules know nothing of.
    assert abs(found.population.outside / 40_000 - 0.5 / 4) < 0.01
    assert found.share.of == 40_000 - found.population.outside
    assert 25 < found.build_share.of < 40
