"""Coverage against hands that count: what the cases of a kettle exercise, and what they leave out."""

from __future__ import annotations

from pathlib import Path

import jsonschema
import pytest

from advisor.case_findings import BOUND, EXCEPTION, FAILING, HOLDING, OVERRIDE, STATE, Coverage
from advisor.coverage.rules import coverage, gate, unclear_facts
from advisor.coverage.terms import fails_alone, groups_of, holds_alone, notch, replaced, terms_of
from advisor.decision import to_plain
from advisor.engine.conditions import All, Any, Not, judge
from advisor.engine.conditions import Test as Check
from advisor.engine.values import NO, UNKNOWN, YES, FactTable
from advisor.render.coverage_text import render
from advisor.rulebase.decision_schema import schema_of
from advisor.rulebase.read import read_rule_base
from advisor.vocabulary import FactEntry
from tests.heavy import untraced
from tests.rulebase import folders

TWO = """\
- case: green-for-six
  says: Six want a large pot.
  setup: {tea: {kind: green, guests: 6}}
  expect: {fired: [large-pot-for-many]}
- case: black-for-two
  says: Two do not.
  setup: {tea: {kind: black, guests: 2}}
  expect: {silent: [large-pot-for-many]}
"""
AT_THE_BOUND = """\
- case: four-and-a-lid
  says: Four do not.
  setup: {tea: {guests: 4}}
  expect: {silent: [large-pot-for-many]}
- case: five
  says: Five do.
  setup: {tea: {guests: 5}}
  expect: {fired: [large-pot-for-many]}
- case: nobody-counted
  says: Who does not know waits.
  setup: {tea: {kind: herb}}
  expect: {undecided: [large-pot-for-many]}
"""
HASTE = """\
- id: no-clay-in-haste
  says: Take no clay lid in a hurry.
  when: {any: [{tea.in_a_hurry: true}, {tea.guests: {at_least: 10}}]}
  unless: {tea.kind: herb, pot.lid: clay}
  then: [{should: {pot.lid: glass}}]
  because: Clay warms slowly.
  evidence: {class: common-practice}
  overrides: [clay-keeps-the-heat]
"""


def kettle(root: Path, cases: str, rules: str = "") -> Coverage:
    folder = Path(folders.write_kettle(root, {"haste.yaml": rules} if rules else None))
    (folder / "cases").mkdir()
    (folder / "cases" / "table.yaml").write_text(cases, encoding="utf-8")
    return coverage(read_rule_base(str(folder)))


def missing(found: Coverage, rule: str) -> list[str]:
    return [item.what for item in found.missing if item.rule == rule]


def test_two_cases_of_a_kettle_are_counted_as_by_hand(tmp_path: Path) -> None:
    found = kettle(tmp_path, TWO)
    assert found.cases == 2
    assert found.total == (19, 15)
    assert found.kinds[STATE] == (11, 10)
    assert found.kinds[FAILING] == (4, 4)
    assert found.kinds[BOUND] == (4, 1)
    assert found.kinds[HOLDING] == found.kinds[EXCEPTION] == found.kinds[OVERRIDE] == (0, 0)
    assert found.kinds[OVERRIDE].percent == 100.0
    pot = next(rule for rule in found.rules if rule.rule == "large-pot-for-many")
    assert (pot.fired, pot.silent, pot.undecided) == (1, 1, 0)
    assert [item.what for item in pot.missing] == [
        "stays undecided",
        "when tea.guests is above 4, just within",
        "when tea.guests is above 4, just beyond",
        "must pot.size is at least 1000 ml, just beyond",
    ]
    assert {rule.rule for rule in found.rules if rule.missing} == {"large-pot-for-many"}
    shown = {item.what: item.case for item in pot.items}
    assert shown["fires"] == "green-for-six"
    assert shown["stays silent"] == "black-for-two"


def test_cases_at_the_bound_leave_only_what_no_pot_offers(tmp_path: Path) -> None:
    found = kettle(tmp_path, TWO + AT_THE_BOUND)
    assert missing(found, "large-pot-for-many") == [
        "must pot.size is at least 1000 ml, just beyond"
    ]
    assert found.total == (19, 18)


def test_alternatives_exceptions_and_overrides_are_asked_for(tmp_path: Path) -> None:
    found = kettle(tmp_path, TWO, HASTE)
    asked = [
        item.what for rule in found.rules for item in rule.items if rule.rule.startswith("no-")
    ]
    assert asked == [
        "fires",
        "stays silent",
        "stays undecided",
        "when tea.in_a_hurry is true, alone failing",
        "when tea.in_a_hurry is true, alone holding",
        "when tea.guests is at least 10, alone failing",
        "when tea.guests is at least 10, alone holding",
        "unless tea.kind is herb, alone failing",
        "unless pot.lid is clay, alone failing",
        "when tea.guests is at least 10, just within",
        "when tea.guests is at least 10, just beyond",
        "its exception holds",
        "sets clay-keeps-the-heat aside",
    ]
    more = """\
- case: in-a-hurry
  says: In a hurry glass is taken.
  setup: {tea: {in_a_hurry: true, guests: 2}, pot: {lid: clay}}
  expect: {fired: [no-clay-in-haste]}
- case: ten-with-herbs
  says: Herbs in clay are left alone.
  setup: {tea: {in_a_hurry: false, kind: herb, guests: 10}, pot: {lid: clay}}
  expect: {excepted: [no-clay-in-haste]}
- case: nine
  says: Nine are not many enough.
  setup: {tea: {in_a_hurry: false, guests: 9}}
  expect: {silent: [no-clay-in-haste]}
- case: herbs-in-glass
  says: Herbs in glass need no exception.
  setup: {tea: {in_a_hurry: true, kind: herb, guests: 2}, pot: {lid: glass}}
  expect: {fired: [no-clay-in-haste]}
"""
    more_found = kettle(tmp_path / "more", TWO + more, HASTE)
    assert missing(more_found, "no-clay-in-haste") == []


def test_the_gate_names_what_is_missing(tmp_path: Path) -> None:
    found = kettle(tmp_path, TWO)
    assert found.total.percent == 78.95
    passed, failed = gate(found, 78.95), gate(found, 79)
    assert passed.passes
    assert not failed.passes
    assert failed.missing[0] == "large-pot-for-many: stays undecided"
    assert len(failed.missing) == 4
    told = render(found, False, failed)
    assert "Not enough" in told
    assert "79 % are asked for, 78.95 % are reached" in told
    assert "when tea.guests is above 4, just beyond" in told
    assert "large-pot-for-many (kettle/pot.yaml:1)" in told
    assert all(len(line) <= 80 for line in told.splitlines())
    assert "Enough" in render(found, False, passed)


def test_it_fits_its_schema(tmp_path: Path) -> None:
    found = kettle(tmp_path, TWO)
    jsonschema.validate(to_plain(found), schema_of(Coverage, "Coverage"))


def test_only_the_top_layer_is_looked_at(tmp_path: Path) -> None:
    folders.write_kettle(tmp_path)
    house = folders.write_house(
        tmp_path, {"ours.yaml": folders.rule("ours", "[{should: {pot.lid: clay}}]")}
    )
    found = coverage(read_rule_base(house))
    assert [rule.rule for rule in found.rules] == ["ours"]
    assert found.cases == 0
    assert [item.what for item in found.missing] == ["fires"]


def test_facts_with_a_default_are_always_known(tmp_path: Path) -> None:
    base = read_rule_base(folders.write_kettle(tmp_path))
    assert unclear_facts(base) == {"tea.guests", "tea.in_a_hurry"}


A, B, C = (Check(name, "is", True) for name in "abc")
TABLE = FactTable(dict.fromkeys("abc", "given"))


def values(**told: bool) -> list[object]:
    found = TABLE.blank()
    for name, value in told.items():
        found[TABLE.slot[name]] = value
    return found


@pytest.mark.parametrize(
    ("node", "told", "fails", "holds"),
    [
        (All((A, B)), {"a": False, "b": True}, "a", ""),
        (All((A, B)), {"a": False, "b": False}, "", ""),
        (All((A, B)), {"a": False}, "", ""),
        (Any((A, B)), {"a": False, "b": False}, "ab", ""),
        (Any((A, B)), {"a": True, "b": False}, "", "a"),
        (Any((A, B)), {"a": True}, "", ""),
        (All((A, Not(Any((B, C))))), {"a": True, "b": True, "c": False}, "b", ""),
        (All((A, Not(Any((B, C))))), {"a": True, "b": True, "c": True}, "", ""),
    ],
)
def test_what_decides_alone(node: All | Any, told: dict[str, bool], fails: str, holds: str) -> None:
    judged = judge(node, TABLE, values(**told))
    assert judged.outcome in (NO, UNKNOWN, YES)
    terms = terms_of(node)
    names = [(term, term.node.fact) for term in terms if isinstance(term.node, Check)]
    assert "".join(name for term, name in names if fails_alone(judged, term)) == fails
    alternatives = [(term, name) for term, name in names if term.alternative]
    assert "".join(name for term, name in alternatives if holds_alone(judged, term)) == holds


def test_parts_are_replaced_and_groups_without_parts_are_dropped() -> None:
    node = All((A, Not(Any((B, C)))))
    assert [term.path for term in terms_of(node)] == [(0,), (1, 0, 0), (1, 0, 1)]
    assert [term.wanted for term in terms_of(node)] == [YES, NO, NO]
    assert [group.path for group in groups_of(node)] == [(1,), (1, 0)]
    assert replaced(node, (0,), lambda _: None) == Not(Any((B, C)))
    assert replaced(node, (1, 0, 0), lambda _: None) == All((A, Not(C)))
    assert replaced(Not(A), (0,), lambda _: None) is None
    assert replaced(node, (1, 0), lambda _: None) == A
    with pytest.raises(IndexError):
        replaced(A, (0,), lambda _: None)


@pytest.mark.parametrize(
    ("entry", "bound", "step"),
    [
        (FactEntry("a", "", "count", "given"), 4, 1),
        (FactEntry("a", "", "quantity", "option", step=0.25, tolerance=0.02), 2.5, 0.25),
        (FactEntry("a", "", "quantity", "given", tolerance=2.0), 290, 2.0),
        (FactEntry("a", "", "quantity", "computed", tolerance=0.3), 10, 0.5),
        (FactEntry("a", "", "quantity", "computed", low=-1, high=3), 0, 0.04),
    ],
)
def test_a_notch_is_the_least_step_that_matters(
    entry: FactEntry, bound: float, step: float
) -> None:
    assert notch(entry, bound) == step


@untraced
def test_the_base_is_exercised() -> None:
    found = coverage(read_rule_base())
    assert found.total.percent > 90
    assert found.kinds[EXCEPTION].percent == found.kinds[OVERRIDE].percent == 100
