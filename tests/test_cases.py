"""The cases that are kept beside the base rules, each a test of its own."""

from __future__ import annotations

import pytest

from advisor.cases import Case, case_files, read_cases, run_case
from advisor.rulebase.locate import base_folder
from advisor.rulebase.read import read_rule_base
from advisor.vocabulary import show

BASE = read_rule_base()
CASES = [case for path in case_files(base_folder()) for case in read_cases(path, BASE)]


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case: Case) -> None:
    assert run_case(case, BASE) == []


def test_case_names_are_unique() -> None:
    names = [case.name for case in CASES]
    assert len(names) == len(set(names))


def test_every_rule_fires_in_some_case() -> None:
    from advisor.judge import Judgement
    from advisor.pipeline import offered_stock

    fired: set[str] = set()
    for case in CASES:
        judgement = Judgement(case.setup, BASE, offered_stock(BASE, case.stock))
        fired |= {rule.id for rule in judgement.run.fired()}
    assert sorted(set(BASE.entries) - fired) == []


def test_every_case_says_something_that_could_fail() -> None:
    for case in CASES:
        assert case.expect, case.name
        assert show(case.says)


@pytest.mark.parametrize(
    ("expect", "problem"),
    [
        ({"status": "rejected"}, "status is advised, not rejected"),
        ({"build": {"fletching.count": 3}}, "fletching.count is 4, expected 3"),
        ({"fired": ["match-a-left-bevel"]}, "match-a-left-bevel is undecided, not fired"),
        ({"silent": ["three-or-four-vanes"]}, "three-or-four-vanes is fired, not silent"),
        ({"undecided": ["three-or-four-vanes"]}, "three-or-four-vanes is fired, not undecided"),
        ({"set_aside": ["three-or-four-vanes"]}, "three-or-four-vanes is not set aside"),
        ({"excepted": ["three-or-four-vanes"]}, "three-or-four-vanes is fired, not silent by"),
        ({"cautions": ["three-or-four-vanes"]}, "three-or-four-vanes shows no caution"),
        ({"unknown": ["point.type"]}, "point.type is known"),
        ({"asked": ["point.type"]}, "point.type is not asked for"),
        ({"ties": ["vane.length"]}, "vane.length is not tied"),
        ({"rejected_by": ["three-or-four-vanes"]}, "three-or-four-vanes is in no set of rules"),
    ],
)
def test_a_case_that_does_not_hold_says_why(expect: dict[str, object], problem: str) -> None:
    from advisor.setups.model import Setup
    from advisor.setups.read import read_setup

    setup: Setup = read_setup(
        None, ["point.type=fixed-blade", "discipline=[hunting]"], BASE.vocabulary
    )
    case = Case("made-up", "a case that fails", setup, None, expect, "nowhere", 1)
    assert any(told.startswith(problem) for told in run_case(case, BASE)), run_case(case, BASE)
