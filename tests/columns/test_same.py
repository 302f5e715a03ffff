"""What is proved to be the same, held against many setups on made-up rule bases; and witnesses."""

from __future__ import annotations

import random
from collections.abc import Hashable, Mapping
from functools import cache
from typing import Any

import pytest

from advisor.engine.run import Run
from advisor.engine.values import Value
from advisor.meanings.matching import match
from advisor.meanings.sides import ASKED, OFFENCE, Key, Sides, sides_of
from advisor.meanings.states import BROKEN, COULD, UNPROVEN, Engine, offence
from advisor.meanings.witnessing import Replay
from advisor.proving.same import Both
from advisor.rulebase.model import RuleBase
from tests.columns.test_agreement import population
from tests.toys import NUMBERS, base_of, toy_base, toy_rules

from advisor.population import sample  # isort: skip

TOYS = [seed for seed in range(60) if toy_base(seed) is not None]


def changed(seed: int) -> list[dict[str, Any]]:
    """Return the rules of a toy, one or two things of them otherwise; the sense may stay."""
    rng = random.Random(seed)
    rules = [dict(rule) for rule in toy_rules(seed)]
    for rule in rng.sample(rules[:-1], 2):
        way = rng.randint(0, 5)
        if way == 0:
            rule.pop("unless", None)
        elif way == 1:
            rule.pop("overrides", None)
        elif way == 2:
            rule["when"] = {"all": [rule["when"], {"any": [rule["when"], {"toy.count": 3}]}]}
        elif way == 3:
            rule["when"] = {"any": [rule["when"], {"all": [rule["when"], {"toy.flag": True}]}]}
        elif way == 4:
            fact = rng.choice(list(NUMBERS))
            rule["when"] = {**rule["when"], fact: {"at_least": rng.choice(NUMBERS[fact])}}
        else:
            rule["then"] = [{"should": {"pick.size": rng.randint(1, 4)}}]
    if rng.random() < 0.5:
        twin = dict(rng.choice(rules[:-1]))
        rules.append({**twin, "id": "twin", "overrides": []})
        del rules[-1]["overrides"]
    return rules


@cache
def pair(seed: int) -> tuple[RuleBase, RuleBase] | None:
    old, new = toy_base(seed), base_of(changed(seed))
    return None if old is None or new is None else (old, new)


def outcome(engine: Engine, key: Key, run: Run) -> Hashable:
    """Return what counts of an effect: of a demand whether, and how often, it is offended."""
    if key.kind not in (ASKED, OFFENCE):
        return engine.effect(key, run)
    kind = key.more[0] if key.kind == ASKED and isinstance(key.more, tuple) else key.more
    found: list[int] = []
    seen: set[tuple[int, int]] = set()
    for other, sources in engine.side.effects.items():
        if other.kind not in (ASKED, OFFENCE) or other.topic != key.topic:
            continue
        theirs = (
            other.more[0] if other.kind == ASKED and isinstance(other.more, tuple) else other.more
        )
        if theirs != kind:
            continue
        for source in sources:
            demand = source.demand
            assert demand is not None
            if (source.place, demand.place) in seen:
                continue
            seen.add((source.place, demand.place))
            bit = 1 << source.place
            state = 2 if run.bits.standing & bit else 1 if run.bits.waiting & bit else 0
            if state:
                judged = engine.judge(source)(run.values)
                found.append(offence(state, judged, negative=demand.is_negative))
    if key.kind == ASKED and kind == "must":
        return tuple(found.count(state) for state in (COULD, UNPROVEN, BROKEN))
    worst = max(found, default=0)
    return worst if kind == "must" else min(worst, UNPROVEN)


def setups(seed: int) -> list[Mapping[str, Value]]:
    return list(sample(population(seed), seed, 150))


@pytest.mark.parametrize("seed", TOYS)
def test_what_is_proved_to_be_the_same_is_so_on_every_setup_tried(seed: int) -> None:
    both = pair(seed)
    if both is None:
        pytest.skip("its rules go in a circle")
    sides: Sides = sides_of(*both, match(*both))
    keys = sides.candidates
    if not keys:
        return
    solver = Both(sides, keys)
    proved = [key for key in keys if solver.possible([key]) is False]
    engines = Engine(sides.old), Engine(sides.new)
    for setup in setups(seed):
        runs = [engine.run(setup) for engine in engines]
        for key in proved:
            one, other = (outcome(e, key, run) for e, run in zip(engines, runs, strict=True))
            assert one == other, (key, setup)


def test_some_toys_are_proved_the_same_and_some_have_witnesses() -> None:
    proved = witnessed = 0
    for seed in TOYS:
        both = pair(seed)
        if both is None:
            continue
        sides = sides_of(*both, match(*both))
        keys = sides.candidates
        solver = Both(sides, keys) if keys else None
        replay = Replay(sides)
        for key in keys:
            assert solver is not None
            if solver.possible([key]) is False:
                proved += 1
                continue
            model = solver.model([key])
            witness = None if model is None else replay.witness([key], [model])
            if witness is not None:
                witnessed += 1
                assert witness.old != witness.new
    assert proved > 20
    assert witnessed > 40


@pytest.mark.parametrize("seed", TOYS[:30])
def test_what_differs_on_a_setup_tried_is_not_proved_the_same(seed: int) -> None:
    both = pair(seed)
    if both is None:
        pytest.skip("its rules go in a circle")
    sides = sides_of(*both, match(*both))
    keys = list(sides.needs)
    engines = Engine(sides.old), Engine(sides.new)
    differing = {
        key
        for setup in setups(seed)
        for key in keys
        if engines[0].effect(key, engines[0].run(setup))
        != engines[1].effect(key, engines[1].run(setup))
    }
    assert differing <= set(sides.candidates)
