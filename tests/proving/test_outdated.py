"""Acceptances whose finding is left out for another one, and findings that would be told twice."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor import checking
from advisor.checking import check, check_rules
from advisor.proving.looking import look
from advisor.rulebase.read import read_rule_base
from tests.proving.test_planted import ASKS, MANY, NOTE, STEP, accepting, kettle, told
from tests.rulebase.folders import MANIFEST, rule

BOTH_LIDS = (
    rule(
        "only-glass",
        "[{must: {pot.lid: glass}}]",
        when=MANY,
        accept=accepting("no-build", ", with: [only-clay]"),
    )
    + rule("only-clay", "[{must: {pot.lid: clay}}]", when="{tea.in_a_hurry: true}")
)  # fmt: skip
SMALL = "[{must: {pot.size: {at_most: 300 ml}}}]"


@pytest.mark.parametrize("more", [{}, {"accept": accepting("no-build")}])
def test_an_acceptance_is_not_outdated_only_because_another_finding_masks_its_own(
    more: dict[str, str], tmp_path: Path
) -> None:
    # Wherever many come the pot must be large and small, with one lid or with the other.
    report = check_rules(kettle(tmp_path, BOTH_LIDS + rule("small", SMALL, when=MANY, **more)))
    masking = {("no-build", ("large-pot-for-many", "small"))}
    assert told((*report.findings, *report.accepted)) == masking


def test_an_acceptance_is_outdated_where_masking_or_not_nothing_of_its_own_is(
    tmp_path: Path,
) -> None:
    rules = BOTH_LIDS.replace("{tea.in_a_hurry: true}", "{tea.guests: {below: 3}}")
    report = check_rules(kettle(tmp_path, rules + rule("small", SMALL, when=MANY)))
    assert ("acceptance-outdated", ("only-glass",)) in told(report.findings)


@pytest.mark.parametrize(
    ("accepted", "then", "more", "masking"),
    [
        ("never-fires", NOTE, {"when": "{tea.guests: {above: 6, below: 4}}"}, "contradictory-bounds"),
        ("never-matters", ASKS.replace("500", "2000"), {}, "threshold-outside-range"),
        (
            "exception-never-holds",
            NOTE,
            {"when": MANY, "unless": "{tea.guests: {above: 40}}"},
            "threshold-outside-range",
        ),
        ("no-build", ASKS.replace("500", "250"), {"when": MANY}, "demand-nothing-meets"),
    ],
)  # fmt: skip
def test_an_acceptance_of_what_only_follows_is_not_outdated(
    accepted: str, then: str, more: dict[str, str], masking: str, tmp_path: Path
) -> None:
    plain = check_rules(kettle(tmp_path / "plain", rule("lost", then, **more)))
    meant = rule("lost", then, accept=accepting(accepted), **more)
    report = check_rules(kettle(tmp_path / "meant", meant))
    assert told(report.findings) == told(plain.findings)
    assert (masking, ("lost",)) in told(plain.findings)
    # Of a rule without that fault the same acceptance is outdated.
    sound = rule("lost", NOTE, when=MANY, accept=accepting(accepted))
    (one,) = check_rules(kettle(tmp_path / "sound", sound)).findings
    assert one.finding == "acceptance-outdated"


def test_an_acceptance_of_an_override_lasts_as_long_as_it_may_be_so(tmp_path: Path) -> None:
    loser = rule("loser", NOTE, when="{tea.guests: {above: 6, below: 4}}")
    winner = rule(
        "winner", STEP, when=MANY, overrides="[loser]", accept=accepting("always-set-aside")
    )
    masked = check_rules(kettle(tmp_path / "a", loser + winner))
    assert told(masked.findings) == {("contradictory-bounds", ("loser",))}
    stands = rule("loser", NOTE, when="{tea.guests: {above: 4}}")
    freed = check_rules(kettle(tmp_path / "b", stands + winner))
    assert told(freed.findings) == {("acceptance-outdated", ("winner",))}


def test_where_no_setup_is_possible_no_acceptance_is_outdated(tmp_path: Path) -> None:
    empty = MANIFEST + "domain:\n  - {tea.kind: {known: false}}\n"
    rules = rule("calm", NOTE, when=MANY, accept=accepting("open-tie"))
    (one,) = check_rules(kettle(tmp_path, rules, **{"manifest.yaml": empty})).findings
    assert one.finding == "empty-domain"


@pytest.mark.parametrize("more", [{}, {"accept": accepting("near-duplicate")}])
def test_nothing_is_told_twice(
    more: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rules = rule("broad", NOTE, when=MANY, **more) + rule("narrow", NOTE, when=MANY)
    base = read_rule_base(kettle(tmp_path, rules))
    monkeypatch.setattr(checking, "look", lambda base: [*look(base), *look(base)])
    report = check(base)
    assert told((*report.findings, *report.accepted)) == {("near-duplicate", ("narrow", "broad"))}
    assert len(report.findings) + len(report.accepted) == 1
