"""Questions put in order by trying: what they say must be true of the advice itself."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from advisor.decision import Decision, Question
from advisor.pipeline import advise
from advisor.rulebase.read import read_rule_base
from advisor.setups.model import Given, Setup
from advisor.setups.read import read_setup
from advisor.trying import MOST_VALUES, NO_BUILD, possible_values
from advisor.vocabulary import COUNT, QUANTITY
from tests.heavy import untraced
from tests.test_cli import run

ROOT = Path(__file__).resolve().parents[1]
BASE = read_rule_base()
SETUPS = (
    ("fixed-blade-hunting.yaml", ()),
    ("target-recurve.yaml", ()),
    ("", ("point.type=fixed-blade",)),
    ("", ("discipline=[hunting]", "bow.type=compound")),
    ("left-bevel-right-clamp.yaml", ()),
)


def setup_of(file: str, sets: tuple[str, ...]) -> Setup:
    path = str(ROOT / "examples" / file) if file else None
    return read_setup(path, list(sets), BASE.vocabulary)


def chosen(decision: Decision, but: str) -> tuple[object, ...]:
    return (
        decision.status,
        {name: value for name, value in decision.build.items() if name != but},
    )


def answered(setup: Setup, question: Question) -> list[Decision]:
    found = []
    for value in possible_values(BASE, question.fact):
        given = Given(value, "here", 1, 1, str(value))
        found.append(advise(Setup(setup.title, {**setup.facts, question.fact: given}), BASE))
    return found


def can_be(decision: Decision, plain: Decision, fact: str) -> bool:
    """Tell whether an answer is possible: no must asks of the number itself what it breaks."""
    if not BASE.vocabulary[fact].is_number or decision.status == plain.status:
        return True
    return not any(
        demand.fact == fact and demand.is_must
        for conflict in decision.conflicts
        for rule in conflict.rules
        for demand in BASE.entries[rule].rule.demands
    )


def test_a_bore_wider_than_its_shaft_is_no_answer() -> None:
    setup = setup_of("", ("point.type=field-point", "shaft.outside_diameter=5.8 mm"))
    (bore,) = [
        q for q in advise(setup, BASE, weigh=True).questions if q.fact == "shaft.inside_diameter"
    ]
    assert max(possible_values(BASE, bore.fact)) > 5.8
    assert 0 < bore.tried < len(possible_values(BASE, bore.fact))
    assert not bore.changing


@untraced
@pytest.mark.parametrize(("file", "sets"), SETUPS)
def test_what_is_said_of_each_question_is_true_of_the_advice(
    file: str, sets: tuple[str, ...]
) -> None:
    setup = setup_of(file, sets)
    plain = advise(setup, BASE)
    weighed = advise(setup, BASE, weigh=True)
    assert {q.fact for q in weighed.questions} == {q.fact for q in plain.questions}
    checked = changing = 0
    for question in weighed.questions:
        decisions = [d for d in answered(setup, question) if can_be(d, plain, question.fact)]
        mine = chosen(plain, question.fact)
        moved = [d for d in decisions if chosen(d, question.fact) != mine]
        assert question.changing == (len(moved) if question.tried else 0), question
        lost = [d for d in moved if d.status in NO_BUILD and plain.status not in NO_BUILD]
        assert question.stopping == (len(lost) if question.tried else 0), question
        # What was not tried must be powerless over the build: its rules only warn.
        assert question.tried in (0, len(decisions))
        assert question.tried or not moved, question.fact
        assert bool(question.example) == bool(question.changing)
        checked += 1
        changing += bool(moved)
    assert checked > 5
    assert changing > 0


@pytest.mark.parametrize(("file", "sets"), SETUPS)
def test_the_most_decisive_question_comes_first(file: str, sets: tuple[str, ...]) -> None:
    questions = advise(setup_of(file, sets), BASE, weigh=True).questions
    # First by the answers that lead to another build, then by those that turn all down.
    building = [(q.changing - q.stopping) / q.tried if q.tried else 0.0 for q in questions]
    assert building == sorted(building, reverse=True)
    stopping = [q.stopping / q.tried if q.tried else 0.0 for q in questions]
    for (one, stops), (other, others) in itertools.pairwise(zip(building, stopping, strict=True)):
        assert one > other or stops >= others


@pytest.mark.parametrize("fact", BASE.vocabulary.of_origin("given"))
def test_possible_values_are_values_of_the_fact(fact: str) -> None:
    entry = BASE.vocabulary[fact]
    values = possible_values(BASE, fact)
    assert len(values) > 1 or entry.kind == COUNT
    assert len(set(values)) == len(values)
    if entry.kind in (COUNT, QUANTITY):
        assert len(values) <= MOST_VALUES
        assert all((entry.low or 0) <= value <= (entry.high or 1e9) for value in values)


def test_bounds_are_tried_from_both_sides_and_on_the_bound() -> None:
    bounds = sorted(BASE.bounds_on("bow.draw_weight"))
    values = possible_values(BASE, "bow.draw_weight")
    assert 1 < len(bounds) < MOST_VALUES // 2
    for bound in bounds:
        assert bound in values
        assert any(value < bound for value in values)
        assert any(value > bound for value in values)


def test_answers_are_tried_unless_it_must_be_quick() -> None:
    words = ("advise", "--set", "discipline=[hunting]")
    _, plain, _ = run(*words, "--quick")
    status, out, _ = run(*words)
    assert run(*words, "--weigh")[1] == out
    assert status == 0
    said = " ".join(out.split())
    assert "answers tried change the advice" in said
    assert "answers tried" not in plain
    assert all(len(line) <= 80 for line in out.splitlines())
