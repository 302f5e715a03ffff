"""Stock files: what is on the bench, read or refused; and what completes it."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.documents import read_document
from advisor.errors import Collector, Faults
from advisor.pipeline import offered_stock
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Item, Stock
from advisor.setups.read import PlainDocument, read_stock, stock_of
from advisor.vocabulary import Vocabulary
from tests.setups.toy import TOY

REFUSED = Path(__file__).parents[1] / "refused" / "setups" / "stock"
LESSONS = sorted(REFUSED.glob("*.yaml"))

SHELF = """\
schema: 1
stock: the shelf by the window
vanes:
  - {id: Q-101, length: 2.6 in, mass: 7 gr, shape: shield}
  - id: Q-7
    length: 2 5/8 in
  - {mass: 0.5 g}
heads:
  - {id: H-1, type: blade, mass: 100 gr, blades: 3}
fletching: {count: [4, 3, 4], direction: left}
fletching.offset: [2 deg, 1]
"""


def read(text: str, words: Vocabulary = TOY) -> Stock:
    collector = Collector()
    stock = stock_of(read_document("shelf.yaml", text), words, collector)
    assert not collector.faults, collector.faults
    return stock


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda file: file.stem)
def test_a_refused_stock_gets_exactly_its_report(
    lesson: Path, words: Vocabulary, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(REFUSED)
    with pytest.raises(Faults) as raised:
        read_stock(lesson.name, words)
    assert raised.value.exit_status == 2
    report = raised.value.text("nothing was advised")
    assert report + "\n" == lesson.with_suffix(".txt").read_text("utf-8")


def test_every_report_has_its_stock() -> None:
    assert {f.stem for f in LESSONS} == {f.stem for f in REFUSED.glob("*.txt")}
    assert len(LESSONS) >= 9


def test_a_stock_that_cannot_be_opened_is_told(words: Vocabulary, tmp_path: Path) -> None:
    with pytest.raises(Faults, match="there is no such file"):
        read_stock(str(tmp_path / "shelf.yaml"), words)
    (tmp_path / "shelf.yaml").write_text("vanes: [{id: Q-1}\n")
    with pytest.raises(Faults, match="the list opened here is not closed"):
        read_stock(str(tmp_path / "shelf.yaml"), words)


# Read.


def test_a_stock_is_read_in_the_units_of_the_vocabulary() -> None:
    assert read(SHELF) == Stock(
        "the shelf by the window",
        {
            "vane": (
                Item(
                    "Q-101",
                    {"vane.length": 2.6, "vane.mass": 7.0, "vane.shape": "shield"},
                    "shelf.yaml",
                    4,
                ),
                Item("Q-7", {"vane.length": 2.625}, "shelf.yaml", 5),
                Item("no. 3", {"vane.mass": 7.71617918}, "shelf.yaml", 7),
            ),
            "point": (
                Item(
                    "H-1",
                    {"point.type": "blade", "point.mass": 100.0, "point.blades": 3},
                    "shelf.yaml",
                    9,
                ),
            ),
        },
        {
            "fletching.count": (4, 3),
            "fletching.direction": ("left",),
            "fletching.offset": (2.0, 1.0),
        },
    )


def test_a_stock_is_read_from_its_file(tmp_path: Path) -> None:
    file = tmp_path / "shelf.yaml"
    file.write_text(SHELF, encoding="utf-8")
    stock = read_stock(str(file), TOY)
    assert stock.items["vane"][0].file == str(file)
    assert (stock.name, stock.options) == ("the shelf by the window", read(SHELF).options)


def test_an_empty_group_lists_nothing() -> None:
    assert read("stock: shelf\nfletching:\n") == Stock("shelf", {}, {})


def test_vanes_and_heads_may_share_a_number_and_alike_ones_may_be_listed_twice() -> None:
    stock = read(
        "vanes: [{id: N-1, length: 2 in}, {id: N-2, length: 2 in}]\nheads: [{id: N-1, type: blade}]"
    )
    assert [item.id for item in stock.items["vane"]] == ["N-1", "N-2"]
    assert [item.id for item in stock.items["point"]] == ["N-1"]


def test_an_item_may_tell_nothing_but_its_number() -> None:
    assert read("vanes: [{id: N-1}]").items["vane"][0].facts == {}


@pytest.mark.parametrize(("written", "name"), [("12", "12"), ("1.50", "1.5"), ("", "null")])
def test_a_stock_is_named_by_whatever_is_written(written: str, name: str) -> None:
    assert read(f"stock: {written}\nfletching: {{count: 3}}").name == name
    assert read("fletching: {count: 3}").name == ""


def test_a_file_that_was_checked_before_keeps_the_lines_of_its_items() -> None:
    document = read_document("shelf.yaml", SHELF)
    kept = PlainDocument("shelf.yaml", document.data, {"vanes.0": 4, "vanes.1": 5, "heads.0": 9})
    items = stock_of(kept, TOY, Collector()).items
    assert [item.line for item in items["vane"]] == [4, 5, 0]
    assert [item.line for item in items["point"]] == [9]


def told(text: str) -> list[str]:
    collector = Collector()
    stock_of(read_document("x", text), TOY, collector)
    return [f"{f.place} {f.what} | {f.help}" for f in collector.faults]


def test_an_item_gives_only_what_is_chosen_with_it() -> None:
    # A vane is chosen by what it measures; how its foot takes glue is stated of the job.
    item = "{id: N-1, length: 2 in, primer: ready, area: 9 mm2, band: long}"
    assert told(f"vanes: [{item}]") == [
        "x:1:61 vane.band is concluded by rules and cannot be stated | state what it is concluded from",
        "x:1:33 vane.primer is given, and comes with no vane | state it in the setup",
        "x:1:48 vane.area is computed, and comes with no vane | state it in the setup",
    ]


def test_a_head_gives_only_given_facts() -> None:
    assert told("heads: [{id: N-1, type: blade, density: 0.25}]") == [
        "x:1:32 point.density is computed, and comes with no head | state it in the setup"
    ]


# Completed by the ladder.


def test_what_a_stock_does_not_list_comes_from_the_ladder(base: RuleBase) -> None:
    own = read("vanes: [{id: Q-1, length: 2.6 in}]\nfletching: {count: [3]}", base.vocabulary)
    both = offered_stock(base, own)
    assert both.name == own.name
    assert both.items["vane"] == own.items["vane"]
    assert both.items["point"] == base.ladder.items["point"]
    assert both.options["fletching.count"] == (3,)
    assert both.options["fletching.direction"] == base.ladder.options["fletching.direction"]
    assert offered_stock(base, None) == base.ladder
