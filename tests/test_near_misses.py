"""Near misses against brute force: every number a silent rule reads, moved to every bound on it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from advisor.decision import Number
from advisor.engine.conditions import Ref, compile_condition
from advisor.engine.conditions import tests_of as leaves_of
from advisor.engine.run import SILENT
from advisor.engine.values import NO, YES, Value, has_value
from advisor.judge import Judgement
from advisor.near_misses import MOST, near_misses
from advisor.quantities import round9
from advisor.reviewing import NearMiss
from advisor.rulebase.model import RuleEntry
from advisor.rulebase.read import read_rule_base
from advisor.searching import beside
from advisor.setups.read import read_setup
from advisor.vocabulary import COUNT, NUMBERS
from tests.derivations import NAMES, judged, judgement_of

ALL = 10_000
NUMERIC = """
schema: 1
facts:
  pond.depth: {kind: quantity, origin: given, unit: mm, range: [0, 1000], tolerance: 2}
  pond.fish: {kind: count, origin: given, range: [0, 99]}
  pond.width: {kind: quantity, origin: given, unit: mm, range: [0, 1000]}
  pond.ice: {kind: flag, origin: given}
  pond.lid: {kind: flag, origin: option}
"""


def fires(judgement: Judgement, entry: RuleEntry, fact: str, value: Value) -> bool:
    """Whether a rule fires with one fact otherwise and all else as it is."""
    table = judgement.base.table
    values = list(judgement.run.values)
    values[table.slot[fact]] = value
    when, unless = entry.rule.when, entry.rule.unless
    return (YES if when is None else compile_condition(when, table)(values)) == YES and (
        NO if unless is None else compile_condition(unless, table)(values)
    ) != YES


def candidates(judgement: Judgement, entry: RuleEntry, fact: str) -> Iterator[float]:
    """Every value of a number on which a test of the rule could turn."""
    whole = judgement.base.vocabulary[fact].kind == COUNT
    nodes = [node for node in (entry.rule.when, entry.rule.unless) if node is not None]
    for test in (test for node in nodes for test in leaves_of(node)):
        other = test.operand
        if isinstance(other, Ref) and fact in test.facts():
            other = judgement.run.value(other.fact if test.fact == fact else test.fact)
        elif test.fact != fact:
            continue
        for bound in other if isinstance(other, tuple) else (other,):
            if isinstance(bound, (int, float)) and not isinstance(bound, bool):
                yield from (float(bound), beside(bound, False, whole), beside(bound, True, whole))


def in_range(judgement: Judgement, fact: str, value: float) -> bool:
    entry = judgement.base.vocabulary[fact]
    low, high = entry.low, entry.high
    return (low is None or low <= value) and (high is None or value <= high)


def reach(judgement: Judgement, fact: str, value: float) -> float:
    now = judgement.run.value(fact)
    unit = judgement.base.vocabulary[fact].tolerance or abs(now) / 100.0 or 1.0
    return float(abs(round9(value - now)) / unit)


def matters(entry: RuleEntry) -> bool:
    return bool(entry.rule.demands) or any(c.level != "note" for c in entry.cautions)


def brute(judgement: Judgement) -> dict[str, float]:
    """How near each silent rule is by one number, found by trying."""
    found: dict[str, float] = {}
    for entry in judgement.base.entries.values():
        if judgement.run.status(entry.id) != SILENT or not matters(entry):
            continue
        nodes = [node for node in (entry.rule.when, entry.rule.unless) if node is not None]
        facts = {f for node in nodes for test in leaves_of(node) for f in test.facts()}
        for fact in facts:
            numeric = judgement.base.vocabulary[fact].kind in NUMBERS
            if not numeric or not has_value(judgement.run.value(fact)):
                continue
            for value in candidates(judgement, entry, fact):
                if in_range(judgement, fact, value) and fires(judgement, entry, fact, value):
                    far = reach(judgement, fact, value)
                    found[entry.id] = min(far, found.get(entry.id, far))
    return found


def moved(miss: NearMiss) -> tuple[float, float]:
    """The number now and the number at which the rule would fire."""
    short = miss.shortfall
    assert isinstance(short.value, Number)
    assert isinstance(short.needed, Number)
    assert short.distance is not None
    assert short.distance.value == round9(short.needed.value - short.value.value) != 0
    assert short.value.unit == short.needed.unit == short.distance.unit
    return short.value.value, short.needed.value


@pytest.mark.parametrize("name", NAMES)
def test_the_named_number_moved_by_the_named_distance_makes_the_rule_fire(name: str) -> None:
    judgement = judgement_of(name)
    for miss in near_misses(judgement, ALL):
        entry, fact = judgement.base.entries[miss.rule], miss.shortfall.fact
        now, needed = moved(miss)
        whole = judgement.base.vocabulary[fact].kind == COUNT
        assert judgement.run.status(miss.rule) == SILENT
        assert now == judgement.run.value(fact)
        assert not fires(judgement, entry, fact, now)
        assert fires(judgement, entry, fact, needed)
        assert not fires(judgement, entry, fact, beside(needed, needed < now, whole)), miss


@pytest.mark.parametrize("name", NAMES)
def test_no_rule_that_is_as_near_is_left_out(name: str) -> None:
    judgement = judgement_of(name)
    found = near_misses(judgement, ALL)
    assert {miss.rule: miss.reach for miss in found} == brute(judgement)
    assert list(found) == sorted(found, key=lambda miss: (miss.reach, miss.rule))
    assert near_misses(judgement) == found[:MOST]


def test_examples_have_near_misses_of_each_kind() -> None:
    found = [(n, miss) for n in NAMES for miss in near_misses(judgement_of(n), ALL)]
    assert len(found) > 100
    origins = {miss.shortfall.premise.origin for _, miss in found}
    assert {"given", "option", "computed"} <= origins
    assert {c.kind for _, miss in found for c in miss.asks} >= {"should", "stop", "caution"}
    assert {miss.tolerance is None for _, miss in found} == {True, False}


def test_a_warning_is_told_as_it_would_be() -> None:
    misses = {m.rule: m for m in near_misses(judgement_of("fixed-blade-hunting"), ALL)}
    (light,) = misses["light-for-the-bow"].asks
    assert light.says.startswith("6 gr/lb is light")


def pond(folder: Path, rules: str, *stated: str) -> Judgement:
    """Judge a pond by rules written for the occasion."""
    (folder / "manifest.yaml").write_text("schema: 1\nname: pond\nversion: 1.0.0\n")
    (folder / "vocabulary.yaml").write_text(NUMERIC)
    (folder / "pond.yaml").write_text(rules)
    base = read_rule_base(str(folder), cache=False)
    return judged(read_setup(None, stated, base.vocabulary), base, None)


def rule(name: str, condition: str, then: str = "must: {pond.ice: false}") -> str:
    told = "because: So it is.\n  evidence: {class: common-practice}"
    return f"- id: {name}\n  says: Say it.\n{condition}  then: [{{{then}}}]\n  {told}\n"


STATED = ("pond.depth=100 mm", "pond.fish=4", "pond.width=0 mm", "pond.ice=false")


def misses_of(folder: Path, rules: str, *stated: str) -> dict[str, tuple[str, float, float]]:
    found = near_misses(pond(folder, rules, *(stated or STATED)))
    return {m.rule: (m.shortfall.fact, moved(m)[1], m.reach) for m in found}


def test_of_several_alternatives_the_nearest_counts(tmp_path: Path) -> None:
    when = "  when: {any: [{pond.depth: {above: 104}}, {pond.fish: 2}, {pond.ice: true}]}\n"
    found = misses_of(tmp_path, rule("any-of-them", when))
    assert found == {"any-of-them": ("pond.depth", 104.000001, round9(4.000001) / 2)}


def test_two_numbers_too_many_are_none(tmp_path: Path) -> None:
    both = "  when: {pond.depth: {above: 104}, pond.fish: 2}\n"
    flag = "  when: {pond.depth: {above: 104}, pond.ice: true}\n"
    twice = "  when: {all: [{pond.depth: {above: 104}}, {pond.depth: {at_least: 110}}]}\n"
    rules = rule("both", both) + rule("not-a-number", flag) + rule("twice", twice)
    assert misses_of(tmp_path, rules) == {"twice": ("pond.depth", 110.0, 5.0)}


def test_an_exception_that_one_number_lifts_counts_as_well(tmp_path: Path) -> None:
    lifted = "  when: {pond.ice: false}\n  unless: {pond.fish: {at_least: 3}}\n"
    held = "  when: {pond.depth: {above: 104}}\n  unless: {pond.fish: {at_least: 3}}\n"
    again = "  when: {pond.depth: {above: 104}}\n  unless: {pond.depth: {above: 103}}\n"
    rules = rule("lifted", lifted) + rule("held", held) + rule("again", again)
    assert misses_of(tmp_path, rules) == {"lifted": ("pond.fish", 2.0, 50.0)}


def test_what_could_not_matter_is_left_out(tmp_path: Path) -> None:
    when = "  when: {pond.depth: {above: 104}}\n"
    note = "caution: {level: note, text: Deep.}"
    rules = rule("noted", when, note) + rule("told", when, "step: {phase: care, text: Look.}")
    rules += rule("warned", when, "caution: {level: caution, text: Deep.}")
    assert set(misses_of(tmp_path, rules)) == {"warned"}


def test_what_is_out_of_range_or_untold_is_no_near_miss(tmp_path: Path) -> None:
    far = "  when: {pond.depth: {above: 1000}}\n"
    zero = "  when: {pond.width: {at_least: 3}}\n"
    rules = rule("far", far) + rule("from-zero", zero)
    # Of nothing there are no hundredths: the distance itself is taken.
    assert misses_of(tmp_path, rules) == {"from-zero": ("pond.width", 3.0, 3.0)}
    assert misses_of(tmp_path, rules, "pond.depth=4 mm") == {}


def test_it_says_who_would_set_the_rule_aside_at_once(tmp_path: Path) -> None:
    when = "  when: {pond.depth: {above: 104}}\n"
    loser = rule("loser", when)
    winner = rule("winner", "") + "  overrides: [loser]\n"
    (miss,) = near_misses(pond(tmp_path, loser + winner, *STATED))
    assert (miss.rule, miss.overruled_by) == ("loser", ("winner",))
    open_winner = rule("winner", "  unless: {pond.lid: true}\n") + "  overrides: [stopper]\n"
    stopper = rule("stopper", when, "caution: {level: stop, text: Deep.}")
    (stop,) = near_misses(pond(tmp_path, stopper + open_winner, *STATED))
    # A stop gives way only to a rule whose exception is known not to hold.
    assert (stop.rule, stop.overruled_by) == ("stopper", ())
