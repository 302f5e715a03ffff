"""Options: what there is to choose from a setup and a stock, and which of equal builds is first."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from advisor.documents import read_document
from advisor.engine.chooser import Axis
from advisor.engine.values import MISSING, Value
from advisor.errors import Collector
from advisor.judge import Judgement
from advisor.options import Choice, choice, is_pairing, offered
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Stock
from advisor.setups.read import read_setup, stock_of
from advisor.vocabulary import FactEntry, Vocabulary
from tests.setups.toy import TOY, choice_of

SHELF = """\
stock: shelf
vanes:
  - {id: long, length: 3 in, shape: shield, mass: 9 gr}
  - {id: untold, length: 2 in}
  - {id: swept, length: 2 in, shape: swept, mass: 6 gr}
  - {id: shield, length: 2 in, shape: shield, mass: 7 gr}
heads:
  - {id: field, type: field, mass: 100 gr}
  - {id: blade, type: blade, mass: 100 gr, blades: 3}
  - {id: heavy, type: blade, mass: 125 gr}
fletching: {count: [4, 3], direction: [left, right], offset: [2, 0, 10, 1]}
"""


def shelf(text: str = SHELF, words: Vocabulary = TOY) -> Stock:
    collector = Collector()
    stock = stock_of(read_document("shelf", text), words, collector)
    assert not collector.faults, collector.faults
    return stock


def chosen(*sets: str, stock: Stock | None = None, words: Vocabulary = TOY) -> Choice:
    return choice(read_setup(None, sets, words), words, shelf() if stock is None else stock)


def axis(found: Choice, name: str) -> Axis:
    (one,) = [one for one in found.axes if one.name == name]
    return one


def names(found: Choice, group: str) -> list[str | None]:
    return [None if item is None else item.id for item in found.items[group]]


def rows(found: Choice, name: str) -> list[dict[str, Value]]:
    """Return what each row of an axis gives; facts that it does not tell are left out."""
    one = axis(found, name)
    return [
        {fact: v for fact, v in zip(one.facts, row, strict=True) if v is not MISSING}
        for row in one.rows
    ]


# Which vanes are kept.


def test_all_vanes_are_offered_when_nothing_is_said_of_them() -> None:
    found = chosen()
    assert names(found, "vane") == ["long", "untold", "swept", "shield"]
    assert rows(found, "vane") == [
        {"vane.length": 3.0, "vane.shape": "shield", "vane.mass": 9.0},
        {"vane.length": 2.0},
        {"vane.length": 2.0, "vane.shape": "swept", "vane.mass": 6.0},
        {"vane.length": 2.0, "vane.shape": "shield", "vane.mass": 7.0},
    ]
    assert not found.pairing
    assert found.fixed == frozenset()


@pytest.mark.parametrize(
    ("sets", "kept"),
    [
        (["vane.length=2 in"], ["untold", "swept", "shield"]),
        (["vane.length=50.8 mm"], ["untold", "swept", "shield"]),  # in whatever unit
        (["vane.shape=swept"], ["untold", "swept"]),  # one agrees, one does not tell
        (["vane.shape=swept", "vane.length=2 in"], ["untold", "swept"]),
        (["vane.mass=9 gr"], ["long", "untold"]),
        (["vane.mass=9 gr", "vane.length=2 in"], ["untold"]),
        (["vane.mass=9.0001 gr"], ["untold"]),
        (["vane.length=2.1 in"], [None]),  # none agrees, and none keeps silent
    ],
)
def test_vanes_are_kept_that_agree_or_do_not_tell(sets: list[str], kept: list[str | None]) -> None:
    found = chosen(*sets)
    assert names(found, "vane") == kept
    # Whatever is stated is so in every row.
    stated = {name: given.value for name, given in read_setup(None, sets, TOY).facts.items()}
    for row in rows(found, "vane"):
        assert row.items() >= stated.items()
    assert found.fixed == set(stated)


def test_a_vane_that_does_not_tell_takes_what_is_stated_and_nothing_else() -> None:
    found = chosen("vane.shape=swept")
    assert rows(found, "vane") == [
        {"vane.length": 2.0, "vane.shape": "swept"},
        {"vane.length": 2.0, "vane.shape": "swept", "vane.mass": 6.0},
    ]


def test_where_no_vane_agrees_what_is_stated_is_judged_as_it_stands() -> None:
    found = chosen("vane.length=2.1 in", "vane.shape=shield")
    assert names(found, "vane") == [None]
    assert rows(found, "vane") == [{"vane.length": 2.1, "vane.shape": "shield"}]


def test_what_is_measured_agrees_within_its_tolerance_and_counts_as_stated() -> None:
    words = Vocabulary(
        entry._replace(tolerance=0.02) if entry.name == "vane.length" else entry
        for entry in TOY.entries.values()
    )
    found = chosen("vane.length=2.02 in", words=words)
    assert names(found, "vane") == ["untold", "swept", "shield"]
    assert offered(found.axes, "vane.length") == [2.02]
    assert names(chosen("vane.length=1.98 in", words=words), "vane") == [
        "untold",
        "swept",
        "shield",
    ]
    assert names(chosen("vane.length=2.0201 in", words=words), "vane") == [None]
    # What has no tolerance agrees exactly or not at all.
    assert names(chosen("vane.mass=7.001 gr", words=words), "vane") == ["untold"]


def test_that_no_listed_vane_agrees_is_noted() -> None:
    assert chosen("vane.length=3 in").notes == ()
    (note,) = chosen("vane.length=2.1 in").notes
    assert "judged as stated" in note
    assert chosen("vane.length=2.1 in", stock=shelf("stock: nothing")).notes == ()


def test_a_number_that_tells_no_vane_from_another_takes_the_place_of_the_listed() -> None:
    found = chosen("vane.length=3 in", "vane.mass=8 gr")
    assert names(found, "vane") == ["long"]
    assert rows(found, "vane") == [{"vane.length": 3.0, "vane.shape": "shield", "vane.mass": 8.0}]
    # A choice is no such number, nor is one by which vanes are told apart.
    assert names(chosen("vane.length=3 in", "vane.shape=swept"), "vane") == [None]


def test_of_a_head_nothing_is_taken_as_stated_against_the_list() -> None:
    whole = ("vane.length=2 in", "vane.shape=swept", "vane.mass=6 gr", "fletching.count=3")
    assert names(chosen(*whole, "point.mass=150 gr"), "point") == [None]


def test_of_usual_sizes_such_a_number_keeps_none_from_the_list() -> None:
    usual = shelf()._replace(typical=frozenset(("vane",)))
    found = chosen("vane.mass=7 gr", stock=usual)
    assert names(found, "vane") == ["long", "untold", "swept", "shield"]
    assert offered(found.axes, "vane.mass") == [7.0]
    assert found.notes == ()
    # On a shelf it is looked for.
    assert names(chosen("vane.mass=7 gr"), "vane") == ["untold", "shield"]


def test_what_the_list_does_not_tell_of_a_vane_is_noted() -> None:
    (note,) = chosen("vane.length=2 in").notes
    assert "does not tell the vane.shape and vane.mass of untold:" in note
    assert chosen("vane.length=2 in", "vane.shape=swept", "vane.mass=6 gr").notes == ()
    many = shelf(
        "vanes: [{id: a, length: 2 in, mass: 6 gr}"
        + "".join(f", {{id: b{i}, length: 2 in}}" for i in range(5))
        + "]"
    )
    assert "vane.mass of 5 of them:" in chosen(stock=many).notes[0]


def test_a_vane_stated_whole_is_no_choice() -> None:
    found = chosen("vane.length=5 in", "vane.shape=shield", "vane.mass=1 gr")
    assert "vane" not in found.items
    assert [one.name for one in found.axes] == [
        "fletching.count",
        "fletching.direction",
        "fletching.offset",
        "bench.rare",
    ]


def test_what_no_vane_tells_is_on_no_axis() -> None:
    lengths = shelf("vanes: [{id: a, length: 2 in}, {id: b, length: 3 in}]")
    assert axis(chosen(stock=lengths), "vane").facts == ("vane.length",)
    # Unless the setup tells it.
    assert rows(chosen("vane.shape=swept", stock=lengths), "vane") == [
        {"vane.length": 2.0, "vane.shape": "swept"},
        {"vane.length": 3.0, "vane.shape": "swept"},
    ]


# The order in which equal builds are listed.


def test_vanes_as_listed_then_each_option_in_the_order_of_the_vocabulary() -> None:
    found = chosen()
    assert [one.name for one in found.axes] == [
        "vane",
        "fletching.count",
        "fletching.direction",
        "fletching.offset",
        "bench.rare",
    ]


def values(found: Choice, name: str) -> Sequence[Value]:
    return [row[0] for row in axis(found, name).rows]


def test_numbers_ascend_and_choices_follow_the_vocabulary() -> None:
    found = chosen()
    assert values(found, "fletching.count") == [3, 4]
    assert values(found, "fletching.direction") == ["right", "left"]
    assert values(found, "fletching.offset") == [0.0, 1.0, 2.0, 10.0]


def test_a_stock_may_have_some_of_the_choices_only() -> None:
    found = chosen(stock=shelf("fletching: {direction: [left]}"))
    assert values(found, "fletching.direction") == ["left"]


def test_what_nobody_lists_is_every_choice_every_count_or_unknown() -> None:
    found = chosen(stock=shelf("stock: nothing"))
    assert values(found, "fletching.direction") == ["right", "left"]
    assert values(found, "vane.shape") == ["shield", "swept"]
    assert values(found, "fletching.count") == [2, 3, 4, 5, 6]
    assert values(found, "bench.rare") == [MISSING]
    assert found.items == {}


def test_a_count_of_too_many_values_is_not_spelled_out() -> None:
    def counts(low: float | None, high: float | None) -> Sequence[Value]:
        words = Vocabulary([FactEntry("n", "", "count", "option", low=low, high=high)])
        return values(chosen(stock=shelf("stock: x", words), words=words), "n")

    assert counts(1, 12) == list(range(1, 13))
    assert counts(0, 12) == [MISSING]
    assert counts(None, None) == [MISSING]
    assert counts(None, 5) == counts(5, None) == [MISSING]


def test_an_option_that_is_stated_is_no_choice() -> None:
    found = chosen("fletching.direction=left", "fletching.offset=3")
    assert [one.name for one in found.axes] == ["vane", "fletching.count", "bench.rare"]
    assert found.fixed == {"fletching.direction", "fletching.offset"}


def test_offered_values_are_told_once_as_listed() -> None:
    found = chosen()
    assert offered(found.axes, "vane.length") == [3.0, 2.0]
    assert offered(found.axes, "vane.shape") == ["shield", "swept"]
    assert offered(found.axes, "bench.rare") == []
    assert offered(found.axes, "point.type") == []


def test_the_base_rules_list_equal_builds_by_vane_count_side_offset_and_clamp(
    base: RuleBase,
) -> None:
    found = choice(read_setup(None, [], base.vocabulary), base.vocabulary, base.ladder)
    order = [one.name for one in found.axes]
    wanted = [
        "vane",
        "fletching.count",
        "fletching.direction",
        "fletching.offset",
        "bench.clamp",
    ]
    assert [name for name in order if name in wanted] == wanted
    assert values(found, "fletching.direction") == ["right", "left", "straight"]
    offsets = values(found, "fletching.offset")
    assert list(offsets) == sorted(offsets)
    assert names(found, "vane") == [item.id for item in base.ladder.items["vane"]]


# When the heads are the options.


def test_the_heads_are_chosen_when_the_fletching_is_given_and_the_head_is_not() -> None:
    found = chosen("vane.length=2 in", "fletching.count=3")
    assert found.pairing
    assert names(found, "point") == ["field", "blade", "heavy"]
    assert found.axes[0].name == "point"  # heads before vanes
    assert rows(found, "point") == [
        {"point.type": "field", "point.mass": 100.0},
        {"point.type": "blade", "point.mass": 100.0, "point.blades": 3},
        {"point.type": "blade", "point.mass": 125.0},
    ]
    # What is concluded or computed of a head is never on its axis.
    assert axis(found, "point").facts == ("point.type", "point.mass", "point.blades")


TELLING = ["vane.length=2 in", "fletching.count=3"]


@pytest.mark.parametrize(
    ("sets", "pairing"),
    [
        ([], False),
        (TELLING[:1], False),
        (TELLING[1:], False),
        (TELLING, True),
        ([*TELLING, "vane.shape=swept", "fletching.direction=left", "bench.rare=1"], True),
        ([*TELLING, "point.type=blade"], False),
        ([*TELLING, "point.mass=100 gr"], True),
        (["vane.shape=swept", "fletching.direction=left", "fletching.offset=1"], False),
    ],
)
def test_it_is_the_telling_options_and_the_type_of_the_head_that_decide(
    sets: list[str], pairing: bool
) -> None:
    setup = read_setup(None, sets, TOY)
    assert is_pairing(setup, TOY, shelf()) is pairing
    assert chosen(*sets).pairing is pairing


def test_without_telling_options_every_option_must_be_given() -> None:
    plain = Vocabulary(entry._replace(pairs=False) for entry in TOY.entries.values())
    some = ["vane.length=2 in", "fletching.count=3", "vane.shape=swept", "vane.mass=6 gr"]
    rest = ["fletching.direction=left", "fletching.offset=1", "bench.rare=1 mm"]
    assert not chosen(*some, words=plain).pairing
    assert chosen(*some, *rest, words=plain).pairing


def test_without_heads_to_choose_from_none_is_chosen() -> None:
    assert not chosen(*TELLING, stock=shelf("vanes: [{id: a, length: 2 in}]")).pairing
    headless = Vocabulary(e for e in TOY.entries.values() if e.name != "point.type")
    assert not is_pairing(read_setup(None, TELLING, headless), headless, shelf())
    optionless = Vocabulary([TOY["point.type"]])
    heads = shelf("heads: [{id: a, type: blade}]", optionless)
    assert not is_pairing(read_setup(None, [], optionless), optionless, heads)


def test_heads_are_kept_that_agree_or_do_not_tell() -> None:
    assert names(chosen(*TELLING, "point.mass=125 gr"), "point") == ["heavy"]
    assert names(chosen(*TELLING, "point.blades=3"), "point") == ["field", "blade", "heavy"]
    assert names(chosen(*TELLING, "point.mass=90 gr"), "point") == [None]


BASE_TELLING = [
    "vane.length=2 in",
    "vane.height=0.35 in",
    "fletching.count=3",
    "fletching.direction=right",
    "fletching.offset=2 deg",
]


def test_given_the_fletching_the_base_rules_choose_among_the_heads(base: RuleBase) -> None:
    judgement = Judgement(read_setup(None, BASE_TELLING, base.vocabulary), base, base.ladder)
    assert judgement.choice.pairing
    assert names(judgement.choice, "point") == [item.id for item in base.ladder.items["point"]]
    assert "point.type" not in judgement.assumed
    # With one of them less, or with the head, it is assumed or given and vanes are chosen.
    for less in BASE_TELLING:
        sets = [one for one in BASE_TELLING if one != less]
        judgement = Judgement(read_setup(None, sets, base.vocabulary), base, base.ladder)
        assert not judgement.choice.pairing
        assert judgement.assumed["point.type"].value == "fixed-blade"
    given = read_setup(None, [*BASE_TELLING, "point.type=mechanical"], base.vocabulary)
    judgement = Judgement(given, base, base.ladder)
    assert not judgement.choice.pairing
    assert "point" not in judgement.choice.items
    assert "point.type" not in judgement.assumed


def test_a_fact_that_rules_conclude_of_a_head_is_still_concluded(base: RuleBase) -> None:
    # Were it on the axis of the heads, it would be blotted out there.
    words = Vocabulary(
        [
            *base.vocabulary.entries.values(),
            FactEntry("point.class", "", "choice", "concluded", choices=choice_of("a", "b")),
        ]
    )
    found = choice(read_setup(None, BASE_TELLING, words), words, base.ladder)
    assert found.pairing
    assert "point.class" not in axis(found, "point").facts
