"""Why not, against brute force: what is said to fall short does, and by so much; what would do, does."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from advisor.decision import Number, Premise, to_plain
from advisor.engine.values import MISSING, Value, has_value
from advisor.errors import Faults
from advisor.findings import (
    AS_GOOD,
    BEHIND,
    BREAKS,
    CHOSEN,
    EXACT,
    SET_ASIDE,
    SILENT,
    STANDS,
    Change,
    WhyNot,
)
from advisor.judge import Judgement
from advisor.otherwise import build_of
from advisor.pipeline import offered_stock
from advisor.render.why_not_text import render
from advisor.rulebase.decision_schema import schema_of
from advisor.rulebase.read import read_rule_base
from advisor.searching import beside
from advisor.setups.model import Stock
from advisor.setups.read import read_setup
from advisor.why_not import why_not
from advisor.why_not_rule import cost_of, why_not_rule
from tests import toys
from tests.heavy import untraced
from tests.test_needs import values_of

ROOT = Path(__file__).resolve().parents[1]
BASE = read_rule_base()
SCHEMA = schema_of(WhyNot, "Why not")


def bare(value: Any) -> Any:
    return value.value if isinstance(value, Number) else value


def stands(judgement: Judgement, rule: str, moved: dict[str, Value]) -> bool:
    """Whether a rule stands on the chosen build with some facts otherwise."""
    table = judgement.base.table
    values = table.blank()
    facts = {n: g.value for n, g in judgement.setup.facts.items()}
    for name, value in {**facts, **build_of(judgement, judgement.at), **moved}.items():
        values[table.slot[name]] = value
        values[table.stated_slot(name)] = has_value(value)
    judgement.ways.chooser.compute(values, all_of_them=True)
    return judgement.base.program.run(values).stands(rule)


def brute(judgement: Judgement, rule: str) -> dict[str, float]:
    """The cost of the nearest value of each fact that by itself lets a rule stand."""
    found: dict[str, float] = {}
    facts = {n: g.value for n, g in judgement.setup.facts.items()}
    for fact, value in {**facts, **build_of(judgement, judgement.at)}.items():
        entry = judgement.base.vocabulary[fact]
        costs = [
            cost_of(entry, value, other)
            for other in values_of(entry)
            if other != value and stands(judgement, rule, {fact: other})
        ]
        if costs:
            found[fact] = min(costs)
    return found


def moves(change: Change) -> dict[str, Value]:
    return {m.fact: MISSING if m.value is None else bare(m.value) for m in change.moves}


@pytest.mark.parametrize("block", range(4))
def test_the_nearest_change_lets_a_rule_stand_and_nothing_nearer_does(block: int) -> None:
    single = double = none = computed = 0
    for seed in range(block * 60, block * 60 + 30):
        base = toys.toy_base(seed)
        if base is None:
            continue
        judgement = toys.judged(base, toys.toy_setup(seed))
        for rule in base.entries:
            found = why_not_rule(judgement, rule)
            if found.state == STANDS:
                assert stands(judgement, rule, {})
                assert not found.changes
                continue
            assert not stands(judgement, rule, {})
            for change in found.changes:
                assert stands(judgement, rule, moves(change)), (seed, rule, change)
            alone = brute(judgement, rule)
            direct = {f: c for f, c in alone.items() if not f.startswith("arrow.")}
            if not found.changes:
                assert not alone, (seed, rule, alone)
                none += 1
                continue
            first = found.changes[0]
            if direct:
                assert len(first.moves) == 1, (seed, rule, alone, first)
            if len(first.moves) == 1:
                single += 1
                computed += first.found != EXACT
                check_single(judgement, rule, first, alone)
            else:
                double += 1
                assert not direct
    assert single > 25
    assert double > 1


def check_single(judgement: Judgement, rule: str, change: Change, alone: dict[str, float]) -> None:
    (move,) = change.moves
    entry = judgement.base.vocabulary[move.fact]
    if change.found != EXACT or not entry.is_number:
        return
    value, was = bare(move.value), bare(move.was)
    assert move.distance is not None
    whole = entry.kind == "count"
    for nearer in values_of(entry):
        if min(was, value) < nearer < max(was, value):
            assert not stands(judgement, rule, {move.fact: nearer}), (rule, move, nearer)
    if abs(value - was) > (1 if whole else 1e-8):
        before = beside(value, value < was, whole)
        assert not stands(judgement, rule, {move.fact: before})
    if not move.option:
        mine = cost_of(entry, was, value)
        assert mine <= min(c for f, c in alone.items() if f == move.fact) + 1e-6


def real(name: str, stock: Stock | None = None, *sets: str) -> Judgement:
    path = str(ROOT / "examples" / f"{name}.yaml") if name else None
    setup = read_setup(path, list(sets), BASE.vocabulary)
    return Judgement(setup, BASE, offered_stock(BASE, stock))


@untraced
@pytest.mark.parametrize("name", ["fixed-blade-hunting", "target-recurve", "too-light"])
def test_every_rule_of_the_base_is_answered_and_every_change_does_it(name: str) -> None:
    judgement = real(name)
    table = BASE.table
    changed = 0
    for rule in BASE.entries:
        found = why_not(judgement, rule)
        jsonschema.Draft202012Validator(SCHEMA).validate(to_plain(found))
        text = render(found, False)
        assert all(len(line) <= 80 for line in text.splitlines()), rule
        assert found.rule is not None
        run = judgement.run
        assert (found.rule.state == STANDS) == run.stands(rule)
        assert (found.rule.state == SET_ASIDE) == (rule in run.set_aside())
        if found.rule.state == SILENT:
            assert found.rule.failing or found.rule.excepting
        for change in found.rule.changes:
            values = judgement.values_of(judgement.at)
            for computed in judgement.ways.chooser.functions:
                if computed.fact not in judgement.setup.facts:
                    values[table.slot[computed.fact]] = MISSING
            for name_of, origin in zip(table.names, table.origins, strict=True):
                if origin == "concluded":
                    values[table.slot[name_of]] = table.blank()[table.slot[name_of]]
            for fact, value in moves(change).items():
                values[table.slot[fact]] = value
                values[table.stated_slot(fact)] = has_value(value)
            judgement.ways.chooser.compute(values, all_of_them=True)
            assert BASE.program.run(values).stands(rule), (rule, change)
            changed += 1
    assert changed > 150


def test_a_distance_is_told_in_the_unit_of_the_fact() -> None:
    found = why_not(real("fixed-blade-hunting"), "hunting-balance-band").rule
    assert found is not None
    by_test = {short.test: short for short in found.failing}
    low = by_test["arrow.foc is below 10 %"]
    assert low.distance is not None
    assert low.distance.unit == "%"
    foc = bare(low.value)
    assert low.distance.value == pytest.approx(10.0 - foc, abs=1e-6)
    assert low.choice == 1  # one of two alternatives
    assert {"point.mass", "insert.mass"} <= facts_under(low.premise)


def facts_under(premise: Premise) -> set[str]:
    return {premise.fact}.union(*(facts_under(one) for one in premise.premises))


def test_of_two_facts_compared_the_distance_is_that_to_the_other() -> None:
    found = why_not(real("fixed-blade-hunting"), "arrow-shorter-than-the-draw").rule
    assert found is not None
    short = next(s for s in found.failing if "shaft.length" in s.test or "draw" in s.test)
    assert short.distance is not None
    assert abs(short.distance.value) > 0.1
    assert short.needed != short.value


# Builds


def agreeing(judgement: Judgement, named: dict[str, Value]) -> list[int]:
    return [
        at
        for at in range(judgement.count)
        if all(build_of(judgement, at).get(n) == x for n, x in named.items())
    ]


@pytest.mark.parametrize("block", range(3))
def test_a_build_is_told_as_it_ranks_and_what_makes_it_chosen_does(block: int) -> None:
    seen = {CHOSEN: 0, AS_GOOD: 0, BEHIND: 0, BREAKS: 0}
    changes = nothing = 0
    for seed in range(block * 50, block * 50 + 25):
        base = toys.toy_base(seed)
        if base is None:
            continue
        judgement = toys.judged(base, toys.toy_setup(seed))
        for size, kind in itertools.product((1.0, 2.0, 4.0), "pr"):
            named: dict[str, Value] = {"pick.size": size, "pick.kind": kind}
            told = why_not(judgement, named).other
            assert told is not None
            seen[told.stands] += 1
            (at,) = agreeing(judgement, named)
            broken = judgement.grid.verdicts[at] & judgement.grid.broken_bits
            assert bool(told.obstacles) == bool(broken) == (told.stands == BREAKS)
            assert (told.stands == CHOSEN) == (at == judgement.at and not broken)
            for obstacle in told.obstacles:
                assert obstacle.failing
            for change in told.changes:
                assert is_chosen(judgement, moves(change), at), (seed, named, change)
                changes += 1
            if told.stands in (BEHIND, BREAKS) and not told.changes:
                nothing += 1
                for fact, given in judgement.setup.facts.items():
                    entry = base.vocabulary[fact]
                    if entry.kind in ("flag", "count") or (
                        entry.kind == "choice" and not entry.several
                    ):
                        for value in values_of(entry):
                            assert value == given.value or not is_chosen(
                                judgement, {fact: value}, at
                            ), (seed, named, fact, value)
    assert changes > 8
    assert nothing > 8
    assert min(seen[CHOSEN], seen[BEHIND], seen[BREAKS]) > 3, seen


def is_chosen(judgement: Judgement, moved: dict[str, Value], at: int) -> bool:
    other = Judgement(toys.stating(judgement.setup, moved), judgement.base, judgement.stock)
    return other.status in ("advised", "judged") and at in (other.at, *other.equals)


def test_three_short_vanes_behind_a_fixed_blade_head() -> None:
    found = why_not(real("fixed-blade-hunting"), {"fletching.count": 3.0, "vane.length": 2.25})
    told = found.other
    assert told is not None
    assert told.stands == BEHIND
    assert {
        one.rule: one.failing[0].distance.value for one in told.misses if one.failing[0].distance
    } == {
        "four-vanes-behind-exposed-blades": 1.0,
        "medium-length-behind-exposed-blades": 0.25,
    }
    text = render(found, False)
    assert "0.25\n" in text or "0.25 in" in text
    assert "It could be built; it ranks behind." in text


def test_a_left_side_with_a_right_clamp_alone() -> None:
    found = why_not(real("left-bevel-right-clamp"), {"fletching.direction": "left"})
    told = found.other
    assert told is not None
    assert told.stands == BREAKS
    assert {one.rule for one in told.obstacles} == {
        "a-right-clamp-sets-right",
        "helical-clamps-alone-name-the-side",
    }
    (change,) = told.changes
    assert moves(change) == {"bench.clamps": ("left",)}
    text = render(found, False)
    assert "It is not to be built." in text
    assert "bench.clamps left (right now)" in text


def test_a_stop_tells_how_far_off_it_is() -> None:
    found = why_not(real("too-light"), {"fletching.count": 3.0})
    assert found.other is not None
    (stop,) = found.other.obstacles
    assert stop.strength == "stop"
    (short,) = stop.failing
    assert short.fact == "arrow.mass_per_draw"
    assert short.distance is not None
    assert bare(short.value) + short.distance.value == pytest.approx(5.0)
    assert {c.moves[0].fact for c in found.other.changes} == {"bow.draw_weight", "arrow.mass"}


def test_what_is_advised_needs_no_why_not() -> None:
    judgement = real("fixed-blade-hunting")
    found = why_not(judgement, dict(build_of(judgement, judgement.at)))
    assert found.other is not None
    assert found.other.stands == CHOSEN
    assert not found.other.changes
    assert "It is what is advised." in render(found, False)


def test_no_such_rule_is_refused_with_the_one_that_was_meant() -> None:
    with pytest.raises(Faults) as refused:
        why_not(real("fixed-blade-hunting"), "four-vanes-behind-exposed-blade")
    assert refused.value.about == "usage"
    assert "did you mean four-vanes-behind-exposed-blades?" in refused.value.text(
        "nothing was told"
    )


def test_what_holds_if_one_of_several_gives_way() -> None:
    named: dict[str, Value] = {"fletching.direction": "left", "bench.clamp": "right"}
    found = why_not(real("fixed-blade-hunting"), named).other
    assert found is not None
    assert found.stands == BREAKS
    told = {tuple(instead.gives_way.items()) for instead in found.instead}
    assert told == {(("fletching.direction", "right"),), (("bench.clamp", "left"),)}
