"""The cases that are kept beside the base rules, each a test of its own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from advisor.cases import Case, case_files, read_cases, run_case
from advisor.judge import Judgement
from advisor.pipeline import offered_stock
from advisor.rulebase.locate import base_folder
from advisor.rulebase.read import read_rule_base
from advisor.vocabulary import show
from tests.heavy import untraced

if TYPE_CHECKING:
    from collections.abc import Sequence

    from advisor.rulebase.model import RuleEntry

BASE = read_rule_base()
CASES = [case for path in case_files(base_folder()) for case in read_cases(path, BASE)]


@untraced
@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case: Case) -> None:
    assert run_case(case, BASE) == []


def test_case_names_are_unique() -> None:
    names = [case.name for case in CASES]
    assert len(names) == len(set(names))


def excepted_in(case: Case) -> set[str]:
    """Return the rules that their own `unless` keeps silent in a case."""
    run = Judgement(case.setup, BASE, offered_stock(BASE, case.stock)).run
    return {rule.id for rule in run.excepted()}


def shown_by(cases: Sequence[Case]) -> dict[str, set[str]]:
    """Return the rules that the cases name as firing, as held back, and as excepted.

    That a case is right about the rules it names is what `test_case` proves. A rule that is named
    as silent where its exception holds shows the exception, not what its `when` leaves out.
    """
    shown: dict[str, set[str]] = {"fires": set(), "is held back": set(), "is excepted": set()}
    for case in cases:
        shown["fires"].update(case.expect.get("fired", ()))
        shown["is excepted"].update(case.expect.get("excepted", ()))
        silent = set(case.expect.get("silent", ()))
        shown["is held back"] |= silent - (excepted_in(case) if silent else set())
        shown["is held back"].update(case.expect.get("undecided", ()))
    return shown


def wanted_of(entry: RuleEntry) -> list[str]:
    """Return what the cases must show of a rule: a condition can fail, an exception can hold."""
    wanted = ["fires"]
    if entry.rule.when is not None:
        wanted.append("is held back")
    if entry.rule.unless is not None:
        wanted.append("is excepted")
    return wanted


def unproven(cases: Sequence[Case]) -> list[str]:
    """Return what of which base rule no case shows."""
    shown = shown_by(cases)
    return [
        f"{entry.id} {what}"
        for entry in BASE.entries.values()
        for what in wanted_of(entry)
        if entry.id not in shown[what]
    ]


def test_every_rule_fires_is_held_back_and_is_excepted_in_a_case() -> None:
    assert unproven(CASES) == []


def test_a_rule_whose_cases_are_missing_is_told() -> None:
    rule = "no-index-for-four"
    kinds = ("fired", "silent", "undecided", "excepted")
    rest = [c for c in CASES if all(rule not in c.expect.get(kind, ()) for kind in kinds)]
    assert {
        f"{rule} fires",
        f"{rule} is held back",
        f"{rule} is excepted",
    } <= set(unproven(rest))


def test_an_exception_does_not_pass_for_a_condition_that_fails() -> None:
    """A case that names a rule silent where its `unless` holds proves nothing of its `when`."""
    rule = "no-index-for-four"
    case = next(c for c in CASES if rule in c.expect.get("excepted", ()))
    named = case._replace(expect={"silent": [rule]})
    assert run_case(named._replace(expect={**named.expect, "ties": []}), BASE) == []
    assert rule not in shown_by([named])["is held back"]


def test_no_rule_silences_a_stop() -> None:
    stops = {entry.id for entry in BASE.entries.values() if entry.rule.stop}
    assert "too-light-to-shoot" in stops
    beaten = {loser for entry in BASE.entries.values() for loser in entry.rule.overrides}
    assert sorted(stops & beaten) == []


def test_what_stands_under_safety_is_a_stop_or_a_caution() -> None:
    soft = [
        entry.id
        for entry in BASE.entries.values()
        if entry.file.endswith(("safety.yaml", "law.yaml"))
        for caution in entry.cautions
        if caution.level == "note"
    ]
    assert soft == []
    assert sum(entry.file.endswith("safety.yaml") for entry in BASE.entries.values()) > 20


def test_every_case_says_something_that_could_fail() -> None:
    for case in CASES:
        assert case.expect, case.name
        assert show(case.says)


@pytest.mark.parametrize(
    ("expect", "problem"),
    [
        ({"status": "rejected"}, "status is advised, not rejected"),
        ({"build": {"fletching.count": 3}}, "fletching.count is 4, expected that it is 3"),
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


def test_case_files_may_stand_in_folders_of_their_own(tmp_path: Path) -> None:
    for name in ("b.yaml", "deep/a.yml", "deep/er/c.yaml", "deep/notes.txt"):
        path = tmp_path / "cases" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("[]\n", encoding="utf-8")
    found = [str(Path(path).relative_to(tmp_path / "cases")) for path in case_files(str(tmp_path))]
    assert found == ["b.yaml", "deep/a.yml", "deep/er/c.yaml"]
    assert case_files(str(tmp_path / "nowhere")) == []
