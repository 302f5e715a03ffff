"""What is proved about made-up rule bases, held against many setups that are judged."""

from __future__ import annotations

import random
from functools import cache
from itertools import combinations

import pytest

from advisor.engine.program import Program
from advisor.engine.values import NO, YES
from advisor.judge import REJECTED, Judgement, ways
from advisor.proving.builds import about_builds
from advisor.proving.encoding import Encoding
from advisor.proving.found import Found
from advisor.proving.prove import Proofs
from advisor.proving.states import about_rules
from advisor.proving.ties import about_ties
from advisor.proving.witness import Witnesses
from advisor.replaying import setup_of
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Setup
from tests.heavy import untraced
from tests.toys import judged, toy_base, toy_setup

TOYS = [seed for seed in range(60) if toy_base(seed) is not None]


@cache
def toy(seed: int) -> RuleBase:
    base = toy_base(seed)
    assert base is not None
    return base


@cache
def proved(seed: int) -> list[Found]:
    encoding = Encoding(toy(seed))
    witnesses = Witnesses(encoding)
    return [
        *about_rules(encoding, witnesses),
        *about_ties(encoding, witnesses),
        *about_builds(encoding, witnesses),
    ]


def of_kind(seed: int, finding: str) -> list[Found]:
    return [one for one in proved(seed) if one.finding == finding]


def setups(seed: int, count: int) -> list[Setup]:
    """Return setups that state most of the facts, and no option."""
    rng = random.Random(seed)
    found = []
    for turn in range(count):
        facts = {
            name: given
            for name, given in toy_setup(1000 * seed + turn).facts.items()
            if rng.random() < 0.85
        }
        found.append(Setup("Toy", facts))
    return found


@pytest.mark.parametrize("seed", TOYS)
def test_ties_that_occur_are_among_those_found(seed: int) -> None:
    base = toy(seed)
    found = {frozenset(one.rules) for one in of_kind(seed, "open-tie")}
    for setup in setups(seed, 60):
        judgement = judged(base, setup)
        run = judgement.run
        for fact, rules in run.tied().items():
            told = [
                frozenset((one, other))
                for one, other in combinations(rules, 2)
                if dict(base.entries[one].rule.sets)[fact]
                != dict(base.entries[other].rule.sets)[fact]
            ]
            assert set(told) <= found
        for (one, _), (other, _) in judgement.should_ties(run, judgement.own_failures):
            assert one.id == other.id or frozenset((one.id, other.id)) in found


def test_some_toys_tie_in_both_ways_and_some_leave_no_build() -> None:
    says = " ".join(one.says for seed in TOYS for one in proved(seed))
    assert "without a value" in says
    assert "something listed meets either" in says
    assert "left without a build" in says
    assert "nothing ever hangs on it" in says


def refuses(judgement: Judgement) -> bool:
    """Tell whether a stop, or a must on what is stated, refuses the setup by itself."""
    base, run = judgement.base, judgement.run
    setup_rules = ways(base, pairing=False).chooser.setup_rules
    for rule in run.standing_rules():
        if rule.stop:
            return True
        if rule.id not in setup_rules:
            continue
        for demand in rule.demands:
            if demand.is_must and not demand.fact.startswith("pick."):
                place = base.program.place[rule.id]
                judge = judgement.ways.chooser.split.demand_judges[place, demand.place]
                if judge(run.values) == (YES if demand.is_negative else NO):
                    return True
    return False


@pytest.mark.parametrize("seed", TOYS)
def test_a_setup_without_a_build_is_explained_by_what_was_found(seed: int) -> None:
    base = toy(seed)
    found = [set(one.rules) for one in of_kind(seed, "no-build")]
    for setup in setups(seed, 80):
        judgement = judged(base, setup)
        if judgement.status != REJECTED or refuses(judgement):
            continue
        if any(base.entries[rule].rule.stop for some in judgement.conflicts for rule in some):
            continue
        assert any(set(some) <= rules for some in judgement.conflicts for rules in found)


@pytest.mark.parametrize("seed", TOYS)
def test_a_witness_without_a_build_has_none(seed: int) -> None:
    base = toy(seed)
    for one in of_kind(seed, "no-build"):
        judgement = judged(base, setup_of(one.witness))
        assert judgement.status == REJECTED
        assert set(one.rules) in [set(some) for some in judgement.conflicts]


@untraced
@pytest.mark.parametrize("seed", TOYS)
def test_what_was_found_or_occurs_is_never_said_to_be_gone(seed: int) -> None:
    base = toy(seed)
    proofs = Proofs(base)
    for one in proved(seed):
        assert not proofs.is_gone(one.finding, one.rules)
    occur = set()
    for setup in setups(seed, 80):
        judgement = judged(base, setup)
        if judgement.status == REJECTED and not refuses(judgement):
            occur.update(judgement.conflicts)
    for rules in occur:
        if not any(base.entries[rule].rule.stop for rule in rules):
            assert not proofs.is_gone("no-build", rules)


def test_of_most_musts_of_toys_it_is_proved_that_they_leave_no_setup_without_a_build() -> None:
    gone = kept = 0
    for seed in TOYS:
        base = toy(seed)
        proofs = Proofs(base)
        told = {rule for one in of_kind(seed, "no-build") for rule in one.rules}
        for rule in base.program.rules:
            if not any(demand.is_must for demand in rule.demands):
                continue
            if proofs.is_gone("no-build", [rule.id]):
                gone += 1
                assert rule.id not in told
            else:
                kept += 1
    assert gone > kept > 0


def without(base: RuleBase, rule_id: str) -> RuleBase:
    """Return a rule base without one of its rules."""
    entries = tuple(entry for entry in base.entries.values() if entry.id != rule_id)
    return RuleBase(
        layers=base.layers,
        vocabulary=base.vocabulary,
        table=base.table,
        program=Program([entry.rule for entry in entries], base.table),
        entries=entries,
        sources={},
        favours=base.favours,
        assume={},
        retired=(),
        digest="1" * 64,
        ladder=base.ladder,
    )


@untraced
@pytest.mark.parametrize("seed", [seed for seed in TOYS if of_kind(seed, "never-matters")])
def test_without_a_rule_that_never_matters_the_advice_is_the_same(seed: int) -> None:
    base = toy(seed)
    for one in of_kind(seed, "never-matters"):
        (rule_id,) = one.rules
        less = without(base, rule_id)
        for setup in setups(seed, 120):
            before, after = judged(base, setup), judged(less, setup)
            assert before.status == after.status
            if before.status != REJECTED:
                # Which build is nearest where none holds may hang on how often it offends.
                assert (before.at, before.equals) == (after.at, after.equals)


@pytest.mark.parametrize("seed", TOYS)
def test_an_exception_that_never_holds_is_never_used(seed: int) -> None:
    base = toy(seed)
    never = {one.rules[0] for one in of_kind(seed, "exception-never-holds")}
    for setup in setups(seed, 80):
        run = judged(base, setup).run
        for rule in run.excepted():
            assert rule.id not in never
