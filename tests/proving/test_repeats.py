"""Rules that repeat each other in other words, and what to do about bounds that exclude each other.

What is found by looking is held against the solver.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.proving.encoding import Encoding
from advisor.proving.logic import neg
from advisor.proving.looking import look
from advisor.rulebase.read import read_rule_base
from tests.proving.test_planted import GREEN, MANY, NOTE, STEP, kettle
from tests.rulebase.folders import rule

WITHIN = [
    ("{tea.guests: {above: 6}}", "{tea.guests: {above: 7}}"),
    ("{tea.guests: {at_least: 6}}", "{tea.guests: {above: 6}}"),
    ("{tea.guests: {at_least: 6}}", "{tea.guests: 6}"),
    ("{tea.guests: {below: 6}}", "{tea.guests: {at_most: 4}}"),
    ("{tea.guests: {at_most: 6}}", "{tea.guests: [2, 6]}"),
    ("{tea.kind: [green, herb]}", "{tea.kind: herb}"),
    ("{any: [{tea.kind: green}, {tea.guests: {above: 6}}]}", "{tea.guests: {above: 7}}"),
    ("{tea.guests: {above: 3}}", "{any: [{tea.guests: 8}, {tea.guests: {above: 9}}]}"),
    ("{not: {tea.kind: herb}}", "{not: {tea.kind: [green, herb]}}"),
    ("{not: {tea.guests: {above: 7}}}", "{not: {tea.guests: {above: 6}}}"),
    ("{tea.guests: {above: 6}}", "{tea.guests: {above: 7}, tea.kind: [green, herb]}"),
]
BESIDE = [
    ("{tea.guests: {above: 6}}", "{tea.guests: {below: 7}}"),
    ("{tea.guests: {above: 6}}", "{tea.guests: {at_least: 6}, tea.kind: green}"),
    ("{tea.guests: {above: 6}, tea.kind: green}", "{tea.guests: {above: 7}}"),
    ("{tea.kind: [green, herb]}", "{tea.kind: [black, herb]}"),
    ("{tea.guests: {above: 6}}", "{any: [{tea.guests: {above: 7}}, {tea.kind: herb}]}"),
    ("{not: {tea.guests: {above: 6}}}", "{not: {tea.guests: {above: 7}}, tea.kind: herb}"),
    ("{tea.guests: {above: 6}}", "{tea.guests: {known: true}, tea.kind: herb}"),
    ("{pot.size: {above: {fact: cup.size}}}", "{pot.size: {above: 500 ml}}"),
]


@pytest.mark.parametrize(("wide", "narrow"), WITHIN)
def test_a_narrower_condition_is_seen_whatever_its_form(
    wide: str, narrow: str, tmp_path: Path
) -> None:
    rules = rule("wide", NOTE, when=wide) + rule("narrow", NOTE, when=narrow)
    base = read_rule_base(kettle(tmp_path, rules))
    (one,) = [one for one in look(base) if one.finding == "near-duplicate"]
    assert one.rules == ("narrow", "wide")
    assert one.says.endswith("which fires wherever it does, and in more cases.")
    # As the solver has it, too.
    encoding = Encoding(base)
    here, there = encoding.rules["narrow"].fired, encoding.rules["wide"].fired
    assert encoding.possible(here, neg(there)) is False
    assert encoding.possible(there, neg(here)) is True


@pytest.mark.parametrize(("one", "other"), BESIDE)
def test_conditions_beside_each_other_are_no_repetition(
    one: str, other: str, tmp_path: Path
) -> None:
    rules = rule("one", NOTE, when=one) + rule("other", NOTE, when=other)
    base = read_rule_base(kettle(tmp_path, rules))
    assert not [found for found in look(base) if found.finding == "near-duplicate"]
    encoding = Encoding(base)
    here, there = encoding.rules["other"].fired, encoding.rules["one"].fired
    assert encoding.possible(here, neg(there)) is True


def test_the_same_condition_in_another_form_is_a_repetition(tmp_path: Path) -> None:
    rules = rule("one", NOTE, when="{tea.kind: [green, herb]}")
    rules += rule("other", NOTE, when="{any: [{tea.kind: herb}, {tea.kind: green}]}")
    (found,) = look(read_rule_base(kettle(tmp_path, rules)))
    assert found.says.endswith("which fires on the same condition.")


def test_a_narrow_rule_that_overrides_more_or_outlives_the_wide_one_repeats_nothing(
    tmp_path: Path,
) -> None:
    narrow = "{tea.guests: {above: 8}}"
    more = rule("wide", NOTE, when=MANY)
    more += rule("narrow", NOTE, when=narrow, overrides="[clay-keeps-the-heat]")
    assert list(look(read_rule_base(kettle(tmp_path / "a", more)))) == []
    outlives = rule("wide", NOTE, when=MANY) + rule("narrow", NOTE, when=narrow)
    calm = rule("calm", STEP, when=GREEN, overrides="[wide]")
    assert list(look(read_rule_base(kettle(tmp_path / "b", outlives + calm)))) == []
    calm = calm.replace("[wide]", "[wide, narrow]")
    assert len(list(look(read_rule_base(kettle(tmp_path / "c", outlives + calm))))) == 1


def test_what_is_advised_against_bounds_that_exclude_each_other_can_be_done(
    tmp_path: Path,
) -> None:
    asks = "[{must: {pot.size: {at_least: 500 ml, at_most: 300 ml}}}]"
    (one,) = look(read_rule_base(kettle(tmp_path / "a", rule("lost", asks, when=MANY))))
    assert "`[{...}, {...}]`" in one.remedy
    assert "any" not in one.remedy
    mended = asks.replace("{at_least: 500 ml, at_most", "[{at_least: 500 ml}, {at_most").replace(
        "}}}]", "}]}}]"
    )
    assert list(look(read_rule_base(kettle(tmp_path / "b", rule("lost", mended, when=MANY))))) == []
    (one,) = look(
        read_rule_base(
            kettle(tmp_path / "c", rule("lost", NOTE, when="{tea.guests: {above: 6, below: 4}}"))
        )
    )
    assert "put them under `any`" in one.remedy
