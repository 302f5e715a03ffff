"""The house example: a shop's rules over the base, its shelf, its customers."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from advisor.cases import Case, case_files, read_cases, run_case
from advisor.decision import Decision
from advisor.errors import Faults
from advisor.pipeline import advise
from advisor.render.text import render
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup, read_stock

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "examples" / "quillmere"
BASE = read_rule_base()
HOUSE = read_rule_base(str(FOLDER / "rules"), cache=False)
STOCK = read_stock(str(FOLDER / "stock.yaml"), HOUSE.vocabulary)
OURS = [entry for entry in HOUSE.entries.values() if entry.layer == "quillmere"]
CUSTOMERS = sorted((FOLDER / "customers").glob("*.yaml"))
NAMED = re.compile(r"\b(?i:(head|shaft)) (QH-\d+|QS-\d+)")
"""How a customer's file names what it took from the shelf."""
BLOCK = re.compile(r"```console\n\$ (.*?)\n(.*?)```", re.DOTALL)
CASES = [case for path in case_files(str(FOLDER / "rules")) for case in read_cases(path, HOUSE)]


def text_of(name: str) -> str:
    return (FOLDER / "customers" / f"{name}.yaml").read_text(encoding="utf-8")


NAMING = [path.stem for path in CUSTOMERS if NAMED.search(text_of(path.stem))]


def customer(name: str, *sets: str) -> Decision:
    """Advise a customer; the file is told as it is named from the top of the project."""
    told = f"examples/quillmere/customers/{name}.yaml"
    setup = read_setup(told, list(sets), HOUSE.vocabulary, text=text_of(name))
    return advise(setup, HOUSE, STOCK)


def by_the_base(name: str) -> Decision:
    """Advise by the base alone, which cannot read the facts of the house."""
    path = FOLDER / "customers" / f"{name}.yaml"
    text = re.sub(
        r"^(shop|club|hunt): .*$", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE
    )
    return advise(read_setup(str(path), [], BASE.vocabulary, text=text), BASE)


def asks(decision: Decision, fact: str) -> dict[str, str]:
    """Return what each rule on a fact comes to, by rule."""
    return {reason.rule: reason.outcome for reason in decision.reasons[fact]}


# The rules


def test_the_house_stands_on_the_base_and_has_a_digest_of_its_own() -> None:
    assert [layer.name for layer in HOUSE.layers] == ["base", "quillmere"]
    assert HOUSE.digest != BASE.digest
    kept = set(BASE.entries) - {"compare-three-with-four", "weigh-and-sort-the-dozen"}
    assert {name for name, e in HOUSE.entries.items() if e.layer == "base"} == kept


def test_every_house_rule_says_that_it_is_one_and_what_stands_behind_it() -> None:
    assert len(OURS) >= 12
    for entry in OURS:
        assert entry.evidence.kind == "house", entry.id
        assert entry.evidence.note, entry.id


def test_the_house_differs_in_every_way_a_house_can() -> None:
    manifest = (FOLDER / "rules" / "manifest.yaml").read_text(encoding="utf-8")
    for way in ("extends:", "retire:", "assume:", "favours:"):
        assert f"\n{way}" in manifest, way
    assert any(entry.replaces for entry in OURS)
    assert any(entry.rule.overrides for entry in OURS)
    assert any(entry.rule.favour for entry in OURS)
    assert set(HOUSE.vocabulary.entries) > set(BASE.vocabulary.entries)


def test_the_house_silences_no_caution_of_the_base() -> None:
    silenced = {gone.rule for gone in HOUSE.retired}
    silenced |= {other for entry in OURS for other in entry.rule.overrides}
    assert silenced
    assert [name for name in sorted(silenced) if BASE.entries[name].cautions] == []


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case: Case) -> None:
    assert run_case(case, HOUSE) == []


@pytest.mark.parametrize("rule", [entry.id for entry in OURS])
def test_a_house_rule_has_a_case_in_which_it_speaks_and_one_in_which_it_does_not(
    rule: str,
) -> None:
    told = {what for case in CASES for what in case.expects(rule)}
    assert told & {"fired", "cautions", "rejected by"}, told
    assert told & {"silent", "excepted"}, told


# The customers


@pytest.mark.parametrize("path", CUSTOMERS, ids=[path.stem for path in CUSTOMERS])
def test_every_customer_is_advised_from_the_shelf_on_a_page_of_80_columns(path: Path) -> None:
    decision = customer(path.stem)
    assert decision.status == "advised"
    assert decision.rulebase.name == "quillmere"
    assert decision.stock == "the bench at Quillmere"
    on_shelf = {item.id: item.facts["vane.on_shelf"] for item in STOCK.items["vane"]}
    assert on_shelf[decision.items["vane"]] == number(decision, "vane.on_shelf")
    assert number(decision, "vane.on_shelf") >= decision.numbers["fletching.vanes_needed"].value
    retired = {gone.rule: (gone.by, gone.replacement) for gone in decision.retired}
    assert retired == {
        "compare-three-with-four": ("quillmere", ""),
        "weigh-and-sort-the-dozen": ("quillmere", "sort-by-our-scales"),
    }
    text = render(decision, False)
    assert "Retired by the house" in text
    assert decision.items["vane"] in text
    assert max(map(len, text.splitlines())) <= 80


def number(decision: Decision, fact: str) -> float:
    value = decision.build[fact]
    return float(getattr(value, "value", value))  # type: ignore[arg-type]


def test_there_are_the_customers_a_shop_has() -> None:
    assert {path.stem for path in CUSTOMERS} >= {
        "first-hunting-dozen",
        "mechanical",
        "indoor-fat-shaft",
        "left-bevel-left-clamp",
        "youth-bow",
        "longbow-feathers",
    }


def test_the_first_hunting_dozen_dries_two_nights_and_is_told_the_order() -> None:
    decision = customer("first-hunting-dozen")
    steps = [step.rule for step in decision.steps]
    assert steps.index("two-nights-when-the-bench-is-damp") > steps.index("cure-before-shooting")
    (order,) = [c for c in decision.cautions if c.rule == "read-the-orders-of-the-hundred"]
    assert order.level == "caution"
    assert "invented" in order.text
    assert "1 March 2026" in order.text
    assert "in force" in order.text
    assert asks(decision, "fletching.count")["four-vanes-behind-exposed-blades"] == "met"
    assert decision.assumed["wind.exposure"] == "open"
    assert decision.assumptions["wind.exposure"].by == "quillmere"
    read = customer("first-hunting-dozen", "law.checked=true", "room.humidity=50 %")
    assert "read-the-orders-of-the-hundred" not in {c.rule for c in read.cautions}
    assert "two-nights-when-the-bench-is-damp" not in {step.rule for step in read.steps}


def test_a_replaced_step_keeps_its_place_among_those_of_the_base() -> None:
    before = [step.rule for step in by_the_base("first-hunting-dozen").steps]
    after = [step.rule for step in customer("first-hunting-dozen").steps]
    assert "weigh-and-sort-the-dozen" in before
    assert "weigh-and-sort-the-dozen" not in after
    place = after.index("sort-by-our-scales")
    assert after.index("try-every-nock") < place < after.index("spin-every-arrow")


def test_the_mechanical_head_has_three_vanes_by_the_record_of_shots() -> None:
    decision = customer("mechanical")
    (ours,) = [
        r for r in decision.reasons["fletching.count"] if r.rule == "three-behind-a-mechanical"
    ]
    assert number(decision, "fletching.count") == 3
    assert (ours.layer, ours.outcome) == ("quillmere", "met")
    assert "May 2026" in ours.evidence.note
    assert "compare-three-with-four" not in {step.rule for step in decision.steps}
    assert "compare-three-with-four" in {s.rule for s in by_the_base("mechanical").steps}


def test_a_light_in_the_nock_is_refused_in_the_hundred_and_not_elsewhere() -> None:
    refused = customer("mechanical", "nock.lighted=true")
    assert refused.status == "rejected"
    assert ("no-lights-in-the-hundred",) in [conflict.rules for conflict in refused.conflicts]
    elsewhere = customer("mechanical", "nock.lighted=true", "hunt.district=elsewhere")
    assert elsewhere.status == "advised"
    assert "ask-for-the-order-of-elsewhere" in {c.rule for c in elsewhere.cautions}


def test_the_hall_arrow_turns_to_the_side_of_the_bench_and_ends_at_the_jig() -> None:
    decision = customer("indoor-fat-shaft")
    assert decision.build["fletching.direction"] == "right"
    assert asks(decision, "fletching.direction")["our-bench-turns-right"] == "met"
    assert "our-bench-turns-right" not in by_the_base("indoor-fat-shaft").fired
    watched = customer("indoor-fat-shaft", "bare_shaft.rotation=left")
    assert watched.build["fletching.direction"] == "left"
    most = max(v for v in STOCK.options["fletching.offset"] if isinstance(v, (int, float)))
    assert number(decision, "fletching.offset") < most
    lane = asks(decision, "fletching.open_lane")
    assert lane["leave-a-wider-lane-for-a-launcher-blade"] == "met"
    clear = customer("indoor-fat-shaft", "rest.type=drop-away")
    assert number(clear, "fletching.offset") == most
    assert "fletching.offset" in {bounded.fact for bounded in clear.bounded}
    assert "bounded by the stock" in render(clear, False)


def test_the_gauge_of_the_club_refuses_a_27_series() -> None:
    assert "reed-butts-peg-number" in {s.rule for s in customer("indoor-fat-shaft").steps}
    refused = customer(
        "indoor-fat-shaft", "shaft.outside_diameter=10.7 mm", "shaft.inside_diameter=9.8 mm"
    )
    assert refused.status == "rejected"
    assert ("reed-butts-gauge",) in [conflict.rules for conflict in refused.conflicts]


def test_a_left_bevel_and_a_left_clamp_are_built_to_the_left() -> None:
    decision = customer("left-bevel-left-clamp")
    assert decision.build["fletching.direction"] == "left"
    assert decision.build["bench.clamp"] == "left"
    assert "our-bench-turns-right" not in decision.fired


def test_the_youth_takes_the_vane_from_the_fullest_box_that_does() -> None:
    decision = customer("youth-bow")
    assert asks(decision, "vane.on_shelf")["spend-the-full-boxes-on-practice"] == "met"
    course = customer("youth-bow", "discipline=[practice, field]")
    assert number(decision, "vane.on_shelf") > number(course, "vane.on_shelf")
    assert decision.build["fletching.direction"] == "right"


def test_the_longbow_shoots_feathers_of_its_wing_and_is_warned_of_the_wet() -> None:
    decision = customer("longbow-feathers")
    assert decision.build["vane.material"] == "feather"
    assert decision.build["fletching.direction"] == "left"
    assert asks(decision, "vane.material")["reed-butts-longbows-shoot-feathers"] == "met"
    assert decision.assumptions["weather.wet"].by == "quillmere"
    assert "feathers-suffer-in-the-wet" in {c.rule for c in decision.cautions}
    assert "two-nights-when-the-bench-is-damp" in decision.fired


def test_the_reed_line_overrides_the_fourth_vane_and_shows_both_reasons() -> None:
    decision = customer("reed-line")
    assert number(decision, "fletching.count") == 3
    (aside,) = [s for s in decision.set_aside if s.rule == "four-vanes-behind-exposed-blades"]
    assert aside.by == "the-reed-line-is-three-vanes"
    assert "guides' bows" in aside.by_because
    assert "rear" in aside.because
    assert number(by_the_base("reed-line"), "fletching.count") == 4
    to_order = customer("reed-line", "shop.line=to-order")
    assert number(to_order, "fletching.count") == 4


# Stock and shafts


def test_the_stock_needs_the_words_of_the_house() -> None:
    with pytest.raises(Faults) as refused:
        read_stock(str(FOLDER / "stock.yaml"), BASE.vocabulary)
    assert any("on_shelf" in fault.what for fault in refused.value.faults)


@pytest.mark.parametrize("name", NAMING)
def test_what_a_customer_file_names_is_what_the_shelf_has(name: str) -> None:
    path = FOLDER / "customers" / f"{name}.yaml"
    facts = read_setup(str(path), [], HOUSE.vocabulary).facts
    listed = {
        kind: {item.id: item.facts for item in STOCK.items[group]}
        for kind, group in (("head", "point"), ("shaft", "shaft"))
    }
    checked = 0
    for kind, number_there in NAMED.findall(path.read_text(encoding="utf-8")):
        told = listed[kind.lower()][number_there]
        assert {fact: facts[fact].value for fact in told} == told
        checked += 1
    assert checked


def test_every_shaft_is_used_and_most_customers_name_their_parts() -> None:
    named = {number_there for name in NAMING for _, number_there in NAMED.findall(text_of(name))}
    walk_in = read_setup(str(FOLDER / "customers" / "walk-in.yaml"), [], HOUSE.vocabulary)
    named |= {number.value for number in walk_in.taken.values()}
    assert {item.id for item in STOCK.items["shaft"]} <= named
    assert len(NAMING) >= 5


def test_what_is_taken_by_number_is_what_the_shelf_tells() -> None:
    decision = customer("walk-in")
    assert decision.items["point"] == "QH-2"
    assert decision.items["shaft"] == "QS-58"
    assert not decision.unproven
    shaft = next(item for item in STOCK.items["shaft"] if item.id == "QS-58")
    assert decision.stated["shaft.spine"].line == shaft.line
    assert decision.stated["shaft.spine"].file.endswith("stock.yaml")
    assert getattr(decision.given["shaft.spine"], "value", None) == shaft.facts["shaft.spine"]


def test_a_vane_taken_by_number_is_judged() -> None:
    decision = customer("walk-in", "from_stock.vane=QV-13")
    assert decision.items["vane"] == "QV-13"
    assert {"vane.length", "vane.height"}.isdisjoint(decision.chosen)
    assert number(decision, "vane.length") == 2.25
    # A box of 36 holds no dozen with spares.
    assert decision.conflicts[0].rules == ("the-shelf-must-hold-the-batch",)


@pytest.mark.parametrize(
    ("command", "shown"), BLOCK.findall((FOLDER / "README.md").read_text(encoding="utf-8"))
)
def test_what_the_readme_shows_is_what_the_command_tells(command: str, shown: str) -> None:
    """A line shown stands in the output, in its order; the lines between are left out."""
    told = subprocess.run(
        re.sub(r"\badvisor (?=advise|rules)", f"'{sys.executable}' -m advisor ", command),
        shell=True,
        cwd=ROOT,
        capture_output=True,
        text=True,
    ).stdout.splitlines()
    assert shown.strip()
    for line in shown.splitlines():
        places = [at for at, other in enumerate(told) if line.strip() in other]
        assert places, line
        told = told[places[0] + 1 :]
