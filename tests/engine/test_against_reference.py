"""The engine against a naive evaluator written from the design's text alone."""

from __future__ import annotations

import random
from typing import Any

import pytest

from advisor.engine.columns import Kept
from advisor.engine.conditions import facts_of
from advisor.engine.program import Program
from advisor.engine.ranking import conflicts, nearest, rank, stopped, survivors
from advisor.engine.rules import CircleError
from advisor.engine.run import Run
from advisor.engine.values import MISSING, has_value
from tests.heavy import untraced
from tests.reference import adapter
from tests.reference.evaluator import CycleError, choose, evaluate
from tests.reference.synthetic import nasty, synthetic

pytestmark = untraced

NASTY = 1800
CHOICES = 700


def engine_result(run: Run) -> dict[str, object]:
    table = run.program.table
    concluded = run.concluded()
    return {
        "values": {
            name: sorted(set(value)) if isinstance(value, tuple) else value
            for name, value in concluded.items()
        },
        "ties": {fact: sorted(set(rules)) for fact, rules in run.tied().items()},
        "open": {
            name
            for name in table.names
            if table.origin(name) == "concluded" and run.value(name) is MISSING
        },
        "states": run.states(),
        "lacks": {rule.id: sorted(run.lacks(rule)) for rule in run.undecided()},
        "unless_unknown": {
            rule.id: sorted(run.unless_open(rule)) for rule in run.fired() if run.unless_open(rule)
        },
        "set_aside": run.set_aside(),
        "standing": {rule.id for rule in run.standing_rules()},
        "live_undecided": {rule.id for rule in run.open_rules()},
        "stands_unless": merged(run.stands_unless()),
        "value_stands_unless": merged(run.value_stands_unless()),
    }


def merged(doubts: dict[str, list[tuple[str, frozenset[str]]]]) -> dict[str, list[str]]:
    return {what: sorted({f for _, facts in d for f in facts}) for what, d in doubts.items()}


def demand_outcomes(program: Program, run: Run) -> dict[tuple[str, int], str]:
    from advisor.engine.conditions import compile_condition

    found = {}
    for rule in run.standing_rules():
        for demand in rule.demands:
            judged = compile_condition(demand.test, program.table, 1)(run.values)
            good = 0 if demand.is_negative else 2
            outcome = "unproven" if judged == 1 else "met" if judged == good else "broken"
            found[rule.id, demand.place] = outcome
    return found


@pytest.mark.parametrize("block", range(9))
def test_the_engine_agrees_with_the_naive_evaluator(block: int) -> None:
    compared = 0
    for seed in range(block * NASTY // 9, (block + 1) * NASTY // 9):
        vocabulary, rules, setups = nasty(seed)
        program = adapter.program_of(vocabulary, rules)
        for facts, stated in setups:
            run = adapter.run_of(program, vocabulary, facts, stated)
            expected = evaluate(vocabulary, rules, facts, stated)
            mine = engine_result(run)
            for field, value in mine.items():
                assert value == getattr(expected, field), (seed, facts, stated, field)
            outcomes = {tuple(key): value for key, value in expected.demands.items()}
            assert demand_outcomes(program, run) == outcomes, (seed, facts)
            compared += 1
    assert compared >= NASTY


def test_large_rule_bases_agree_too() -> None:
    vocabulary, rules, setups = synthetic(200, 7)
    program = adapter.program_of(vocabulary, rules)
    for facts, stated in setups[:12]:
        run = adapter.run_of(program, vocabulary, facts, stated)
        expected = evaluate(vocabulary, rules, facts, stated)
        for field, value in engine_result(run).items():
            assert value == getattr(expected, field), field


def test_the_order_of_rules_changes_nothing() -> None:
    for seed in range(60):
        vocabulary, rules, setups = nasty(seed)
        shuffled = rules[:]
        random.Random(seed).shuffle(shuffled)
        one, other = (adapter.program_of(vocabulary, r) for r in (rules, shuffled))
        for facts, stated in setups:
            assert engine_result(adapter.run_of(one, vocabulary, facts, stated)) == engine_result(
                adapter.run_of(other, vocabulary, facts, stated)
            )


def axes_for(
    vocabulary: dict[str, dict[str, object]], rules: list[dict[str, object]], seed: int
) -> list[tuple[tuple[str, ...], list[list[object]]]]:
    """Make axes of some options: one group of two facts, the rest alone; some rows do not tell."""
    rng = random.Random(seed)
    options = [n for n, raw in vocabulary.items() if raw["origin"] == "option"]
    rng.shuffle(options)
    names = [tuple(options[:2]), *((n,) for n in options[2:4])]
    axes = []
    for group in (g for g in names if g):
        rows: list[list[object]] = []
        for _ in range(rng.randint(1, 3)):
            rows.append([draw(vocabulary[name], rng) for name in group])
        axes.append((group, rows))
    return axes


def draw(raw: dict[str, object], rng: random.Random) -> object:
    if rng.random() < 0.2:
        return None
    if raw["kind"] == "choice":
        choices = list(raw["choices"])  # type: ignore[call-overload]
        if raw.get("several"):
            return rng.sample(choices, rng.randint(1, len(choices)))
        return rng.choice(choices)
    if raw["kind"] == "flag":
        return rng.random() < 0.5
    if raw["kind"] == "text":
        return rng.choice(["a", "b"])
    bounds: Any = raw.get("range", (0, 3))
    return rng.randint(int(bounds[0]), int(bounds[1]))


@pytest.mark.parametrize("block", range(7))
def test_judging_and_choosing_agree_with_the_naive_evaluator(block: int) -> None:
    from itertools import product

    ranked = rejected = 0
    for seed in range(block * CHOICES // 7, (block + 1) * CHOICES // 7):
        vocabulary, rules, setups = nasty(seed)
        rng = random.Random(seed)
        layered = [{**rule, "layer": rng.choice([0, 0, 1])} for rule in rules]
        words = adapter.vocabulary_of(vocabulary)
        made = adapter.rules_of(layered, words)
        program = Program(made, words.table())
        axes = axes_for(vocabulary, layered, seed)
        favours = [rule.id for rule in made if rule.favour is not None]
        rng.shuffle(favours)
        kept = Kept()
        for facts, stated in setups[:2]:
            on_axes = {name for names, _ in axes for name in names}
            given = {k: v for k, v in facts.items() if k not in on_axes}
            said = {k for k in stated if k not in on_axes}
            builds = [
                {
                    name: x
                    for (names, _), row in zip(axes, rows, strict=True)
                    for name, x in zip(names, row, strict=True)
                    if x is not None
                }
                for rows in product(*(rows for _, rows in axes))
            ]
            expected = choose(vocabulary, layered, given, said, builds, favours)
            # The second takes from the first what it may.
            grid = adapter.grid_of(program, vocabulary, given, said, axes, kept)
            place = (seed, given, axes)
            for at, verdict in enumerate(expected.builds):
                bits = grid.verdicts[at]
                broken = {tuple(o) for o in grid.offences(bits, "broken")}
                reference = {tuple(d) for d in verdict.broken} | {(r, -1) for r in verdict.stops}
                assert broken == reference, place
                unproven = (bits & grid.unproven_bits).bit_count()
                assert unproven == verdict.unproven, place
                assert set(grid.failed(bits)) == verdict.should_failures, place
            wishes = adapter.wishes_of(grid, made, vocabulary, favours)
            alive = survivors(grid)
            if alive:
                ranked += 1
                assert list(rank(grid, alive, wishes)) == expected.groups, place
                assert expected.status in ("advised", "judged")
            else:
                rejected += 1
                assert expected.status == ("stopped" if stopped(grid) else "rejected"), place
                sets, more = conflicts(grid)
                assert [list(s) for s in sets] == expected.conflicts, place
                assert more == expected.more_conflicts
                assert next(rank(grid, nearest(grid), wishes))[0] == expected.nearest, place
    assert ranked > 20
    assert rejected > 20


def test_circles_are_refused_by_both() -> None:
    vocabulary = {
        "kettle.on": {"kind": "flag", "origin": "given"},
        "kettle.hot": {"kind": "flag", "origin": "concluded"},
    }
    rules = [{"id": "heat", "when": {"kettle.hot": False}, "then": [{"set": {"kettle.hot": True}}]}]
    with pytest.raises(CircleError):
        adapter.program_of(vocabulary, rules)
    with pytest.raises(CycleError):
        evaluate(vocabulary, rules, {}, set())


def test_the_grid_says_of_each_build_what_a_run_of_it_says() -> None:
    """Two ways to the same verdict: columns over the axes, and one run for one combination."""
    checked = 0
    for seed in range(300):
        vocabulary, rules, setups = nasty(seed)
        program = adapter.program_of(vocabulary, rules)
        axes = axes_for(vocabulary, rules, seed)
        facts, stated = setups[0]
        on_axes = {name for names, _ in axes for name in names}
        given = {k: v for k, v in facts.items() if k not in on_axes}
        grid = adapter.grid_of(program, vocabulary, given, stated - on_axes, axes)
        for at, verdict in enumerate(grid.verdicts):
            picked = dict(given)
            for axis, row in zip(grid.axes, grid.combination(at), strict=True):
                for name, x in zip(axis.facts, axis.rows[row], strict=True):
                    if has_value(x):
                        picked[name] = x
            run = adapter.run_of(program, vocabulary, picked, stated - on_axes)
            broken = {key for key, o in demand_outcomes(program, run).items() if o == "broken"}
            musts = {
                (rule.id, d.place) for rule in program.rules for d in rule.demands if d.is_must
            }
            stops = {(rule.id, -1) for rule in run.standing_rules() if rule.stop}
            assert {tuple(o) for o in grid.offences(verdict, "broken")} == (broken & musts) | stops
            checked += 1
    assert checked > 500
    assert facts_of(None) == frozenset()
