"""Notes beside a build: what is listed otherwise than stated, and what a house takes for granted."""

from __future__ import annotations

from pathlib import Path

from advisor.decision import Decision
from advisor.pipeline import advise
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup, read_stock

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "examples" / "quillmere"
HOUSE = read_rule_base(str(FOLDER / "rules"))
STOCK = read_stock(str(FOLDER / "stock.yaml"), HOUSE.vocabulary)


def walk_in(*sets: str) -> Decision:
    path = str(FOLDER / "customers" / "walk-in.yaml")
    return advise(read_setup(path, list(sets), HOUSE.vocabulary), HOUSE, STOCK)


def about(decision: Decision, word: str) -> list[str]:
    return [note for note in decision.notes if word in note]


def test_an_item_taken_by_number_of_which_something_else_is_stated_is_noted() -> None:
    assert not about(walk_in(), "listed with another")
    (note,) = about(walk_in("shaft.outside_diameter=6.5 mm"), "listed with another")
    assert note == (
        "QS-58 is listed with another outside diameter, 5.8 mm: it is judged as stated, 6.5 mm."
    )


def test_a_chosen_vane_of_another_size_than_stated_is_noted() -> None:
    # Within what can be measured the vane agrees; what is stated is judged all the same.
    decision = walk_in("vane.length=2.6 in", "vane.thickness=0.62 mm")
    (note,) = about(decision, "listed with another")
    assert note.startswith(f"{decision.items['vane']} is listed with another thickness")
    assert note.endswith("judged as stated, 0.62 mm.")


def test_usual_sizes_are_on_no_shelf() -> None:
    base = read_rule_base()
    setup = read_setup(None, ["point.type=fixed-blade", "vane.foot_width=3.1 mm"], base.vocabulary)
    assert not about(advise(setup, base), "listed with another")


def test_a_house_that_takes_for_granted_what_a_stop_waits_for_is_told(tmp_path: Path) -> None:
    house = tmp_path / "rash"
    house.mkdir()
    (house / "manifest.yaml").write_text(
        "name: rash\nversion: 1.0.0\nsays: A house in a hurry.\n"
        'extends: {name: base, version: ">=0.2,<1"}\n'
        "assume: {shaft.condition: {value: sound, because: we never saw one crack}}\n",
        encoding="utf-8",
    )
    base = read_rule_base(str(house))
    decision = advise(read_setup(None, ["shaft.material=carbon"], base.vocabulary), base)
    (note,) = about(decision, "takes for granted")
    assert "rash takes for granted that shaft.condition is sound (we never saw one crack)" in note
    assert "otherwise a stop could stand" in note
    stated = ["shaft.material=carbon", "shaft.condition=sound"]
    assert not about(advise(read_setup(None, stated, base.vocabulary), base), "for granted")
    # The base's own assumptions stand under their heading, and are asked.
    plain = read_rule_base()
    own = advise(read_setup(None, ["shaft.material=carbon"], plain.vocabulary), plain)
    assert not about(own, "for granted")
