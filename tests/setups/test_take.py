"""Taking from stock by number: the listed facts, or a fault that says what is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.documents import read_document
from advisor.errors import Collector, Faults
from advisor.setups.model import Setup, Stock
from advisor.setups.read import read_setup, stock_of
from advisor.setups.take import numbers_of, take
from tests.setups.toy import TOY

SHELF = """\
stock: shelf
vanes:
  - {id: V-1, length: 3 in, shape: shield, mass: 9 gr}
  - {id: V-2, length: 2 in}
heads:
  - {id: H-1, type: blade, mass: 100 gr, blades: 3}
"""


def shelf(text: str = SHELF) -> Stock:
    collector = Collector()
    stock = stock_of(read_document("shelf.yaml", text), TOY, collector)
    assert not collector.faults, collector.faults
    return stock


def setup(text: str, *sets: str) -> Setup:
    return read_setup("job.yaml", list(sets), TOY, text=text)


def taken(text: str, *sets: str, stock: Stock | None = None) -> Setup:
    collector = Collector("setup")
    found = take(setup(text, *sets), stock or shelf(), TOY, collector)
    collector.raise_if_any()
    return found


def values(found: Setup) -> dict[str, object]:
    return {name: given.value for name, given in found.facts.items()}


def test_a_setup_has_the_facts_of_what_it_takes() -> None:
    found = taken("from_stock: {head: H-1, vane: V-2}\nvane: {mass: 7 gr}\n")
    assert values(found) == {
        "vane.mass": 7.0,
        "point.type": "blade",
        "point.mass": 100.0,
        "point.blades": 3,
        "vane.length": 2.0,
    }
    head = found.facts["point.mass"]
    assert (head.file, head.line, head.written) == ("shelf.yaml", 6, "100 gr")
    assert numbers_of(found.taken) == {"vane": "V-2", "head": "H-1"}


def test_taking_again_changes_nothing() -> None:
    once = taken("from_stock: {head: H-1}\n")
    collector = Collector("setup")
    assert take(once, shelf(), TOY, collector) == once
    assert not collector.faults


def test_nothing_is_taken_where_nothing_is_named() -> None:
    assert values(taken("vane: {mass: 7 gr}\n")) == {"vane.mass": 7.0}


def test_what_the_setup_states_must_agree_and_what_set_states_stands() -> None:
    assert values(taken("from_stock: {vane: V-1}\nvane: {mass: 9 gr}\n"))["vane.mass"] == 9.0
    with pytest.raises(Faults) as refused:
        taken("from_stock: {vane: V-1}\nvane: {mass: 8 gr}\n")
    (fault,) = refused.value.faults
    assert (fault.file, fault.line) == ("job.yaml", 2)
    assert fault.what == "vane.mass is stated, and V-1 of the stock tells 9 gr"
    over = taken("from_stock: {vane: V-1}\n", "vane.mass=8 gr")
    assert values(over)["vane.mass"] == 8.0


@pytest.mark.parametrize(
    ("written", "sets", "what", "remedy"),
    [
        ("{vane: V-3}", (), "`V-3` is not among the vanes of `shelf`", "did you mean V-2 or V-1?"),
        ("{head: 100 gr}", (), "`100 gr` is not among the heads of `shelf`", "listed: H-1"),
        ("{shaft: S-1}", (), "`S-1` is not among the shafts of `shelf`", "name the stock with"),
        ("{vane: V-1}", ("from_stock.vane=X",), "`X` is not among the vanes", "listed: V-1, V-2"),
    ],
)
def test_a_number_that_is_not_listed_is_told(
    written: str, sets: tuple[str, ...], what: str, remedy: str
) -> None:
    with pytest.raises(Faults) as refused:
        taken(f"from_stock: {written}\n", *sets)
    (fault,) = refused.value.faults
    assert what in fault.what
    assert remedy in fault.help
    assert fault.line == (None if sets else 1)


@pytest.mark.parametrize(
    ("written", "what"),
    [
        ("V-1", "`from_stock` is a mapping"),
        ("{heads: H-1}", "nothing is taken from stock as `heads`"),
        ("{head: 2}", "`2` is no stock number in text"),
        ("{head: [H-1]}", "is not one stock number"),
    ],
)
def test_what_names_no_number_is_refused(written: str, what: str) -> None:
    with pytest.raises(Faults) as refused:
        setup(f"from_stock: {written}\n")
    (fault,) = refused.value.faults
    assert what in fault.what
    assert fault.line == 1


def test_set_names_numbers_too_and_only_of_what_is_listed() -> None:
    found = taken("from_stock: {vane: V-1}\n", "from_stock.vane=V-2", "from_stock.head=H-1")
    assert numbers_of(found.taken) == {"vane": "V-2", "head": "H-1"}
    with pytest.raises(Faults) as refused:
        setup("", "from_stock.nock=N-1")
    assert "known here: vane, head, shaft" in refused.value.faults[0].help


def test_a_fault_of_what_is_taken_stands_in_a_case_file(tmp_path: Path) -> None:
    from advisor.cases import read_cases
    from advisor.rulebase.read import read_rule_base

    path = tmp_path / "odd.yaml"
    path.write_text(
        "- case: one\n  says: it takes what is not there\n"
        "  setup: {from_stock: {vane: nothing-like-it}}\n  expect: {}\n",
        encoding="utf-8",
    )
    with pytest.raises(Faults) as refused:
        read_cases(str(path), read_rule_base())
    (fault,) = refused.value.faults
    assert "is not among the vanes of `usual sizes`" in fault.what
    assert fault.line == 3


def test_what_names_several_is_not_told_to_be_put_in_quotes() -> None:
    with pytest.raises(Faults) as refused:
        setup("from_stock: {vane: [V-1, V-2]}\n")
    assert refused.value.faults[0].help == "name one"


def test_without_a_stock_it_is_said_that_one_is_wanting() -> None:
    usual = shelf()._replace(typical=frozenset(("vane", "point")))
    with pytest.raises(Faults) as refused:
        taken("from_stock: {head: QH-9}\n", stock=usual)
    assert refused.value.faults[0].help == "name the stock with --stock; listed here: H-1"
