"""Faults: how they are kept, gathered and told."""

from __future__ import annotations

import pickle
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.errors import (
    SHOWN,
    Collector,
    Fault,
    Faults,
    did_you_mean,
    quoted,
    suggest,
    visible,
)

CHOICE = Fault(
    "ridge-elk.yaml",
    4,
    9,
    "`fixed-bladed` is no choice of point.type",
    "did you mean fixed-blade? choices: field-point, target-point, fixed-blade",
)
RANGE = Fault(
    "ridge-elk.yaml",
    9,
    22,
    "`0.295 mm` is outside shaft.outside_diameter (3.5 to 12 mm)",
    "0.295 in is 7.49 mm: write the unit you measured in",
)
HEADS = ["field-point", "target-point", "fixed-blade", "mechanical", "blunt"]


def test_a_report_tells_all_faults_in_order_with_their_remedies_beneath() -> None:
    assert (
        Faults([RANGE, CHOICE]).text("nothing was advised")
        == """\
ridge-elk.yaml:4:9   `fixed-bladed` is no choice of point.type
                     did you mean fixed-blade? choices: field-point,
                     target-point, fixed-blade
ridge-elk.yaml:9:22  `0.295 mm` is outside shaft.outside_diameter (3.5 to 12 mm)
                     0.295 in is 7.49 mm: write the unit you measured in
2 faults; nothing was advised"""
    )


def test_a_long_place_stands_on_a_line_of_its_own() -> None:
    fault = Fault("orders/a-very-long-folder/of-the-shop/ridge-elk.yaml", 4, 9, "is amiss", "mend")
    assert (
        Faults([fault]).text("nothing was advised")
        == """\
orders/a-very-long-folder/of-the-shop/ridge-elk.yaml:4:9
    is amiss
    mend
1 fault; nothing was advised"""
    )


def test_a_place_stands_beside_its_fault_as_long_as_there_is_room() -> None:
    beside, alone = ("x" * 30 + ":1:1", "x" * 31 + ":1:1")
    assert str(Faults([Fault(beside[:30], 1, 1, "w")])).startswith(f"{beside}  w\n")
    assert str(Faults([Fault(alone[:31], 1, 1, "w")])).startswith(f"{alone}\n    w\n")


@pytest.mark.parametrize(
    ("fault", "place"),
    [
        (Fault("a.yaml", 4, 9, "x"), "a.yaml:4:9"),
        (Fault("a.yaml", 4, None, "x"), "a.yaml:4"),
        (Fault("--set point.type", None, None, "x"), "--set point.type"),
        (Fault("a\x1b[31m.yaml", None, None, "x"), "a\\x1b[31m.yaml"),
    ],
)
def test_a_place_is_as_much_as_is_known_and_safe_to_print(fault: Fault, place: str) -> None:
    assert fault.place == place
    assert str(Faults([fault])) == f"{place}  x\n1 fault; nothing was done"


def test_faults_are_sorted_by_file_line_and_column_and_told_once() -> None:
    places = [("b", 1, 1), ("a", 10, 1), ("a", 2, 30), ("a", 2, 4), ("a", None, None), ("a", 2, 4)]
    faults = Faults(Fault(file, line, column, "x") for file, line, column in places)
    assert [fault.place for fault in faults.faults] == ["a", "a:2:4", "a:2:30", "a:10:1", "b:1:1"]


def test_a_report_counts_what_it_does_not_spell_out() -> None:
    faults = Faults(Fault("a", line, 1, "x") for line in range(1, SHOWN + 8))
    lines = faults.text("nothing was advised").splitlines()
    assert lines[SHOWN - 1] == "a:50:1  x"
    assert lines[SHOWN:] == ["and 7 more", "57 faults; nothing was advised"]


def test_the_exit_status_tells_rules_from_the_rest() -> None:
    statuses = [Faults([CHOICE], about).exit_status for about in ("setup", "usage", "rules")]
    assert statuses == [2, 2, 3]


def test_a_fault_is_not_to_be_changed() -> None:
    with pytest.raises(AttributeError, match="line"):
        CHOICE.line = 5
    with pytest.raises(AttributeError, match="what"):
        del CHOICE.what
    assert CHOICE.line == 4


def test_equal_faults_are_one_in_a_set() -> None:
    again = Fault(CHOICE.file, CHOICE.line, CHOICE.column, CHOICE.what, CHOICE.help)
    assert {CHOICE, again} == {CHOICE}
    assert Fault("a", 1, 1, "x") != Fault("a", 1, 2, "x")
    assert Fault("a", 1, 1, "x") != "a:1:1"
    assert Fault("a", None, None, "x") != Fault("a", 1, 1, "x") != Fault("a", 1, None, "x")
    assert Fault("a", 1, None, "x") != Fault("a", 1, 1, "x")
    assert repr(Fault("a", 1, None, "x", "y")) == "Fault('a', 1, None, 'x', 'y')"


def test_faults_travel_between_processes() -> None:
    back = pickle.loads(pickle.dumps(Faults([RANGE, CHOICE], "rules")))  # noqa: S301 - our own
    assert back.faults == (CHOICE, RANGE)
    assert back.about == "rules"


def test_a_collector_gathers_from_everywhere_and_raises_once() -> None:
    collector = Collector("rules")
    collector.raise_if_any()
    assert not collector
    collector.add("b.yaml", 1, 2, "x", "y")
    collector.absorb(Faults([CHOICE]))
    collector.absorb([RANGE])
    assert len(collector) == 3
    assert collector.faults == (Fault("b.yaml", 1, 2, "x", "y"), CHOICE, RANGE)
    with pytest.raises(Faults) as raised:
        collector.raise_if_any()
    assert raised.value.about == "rules"
    assert raised.value.faults == (Fault("b.yaml", 1, 2, "x", "y"), CHOICE, RANGE)


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("fixed-bladed", "fixed-blade"),
        ("Fixed Blade", "fixed-blade"),
        ("fixed_blade", "fixed-blade"),
        ("mecanical", "mechanical"),
        ("feild-point", "field-point"),
        ("broadhead", None),
        ("", None),
        ("blunt" * 1000, None),
    ],
)
def test_the_nearest_choice_is_found_or_none(word: str, meant: str | None) -> None:
    assert did_you_mean(word, HEADS) == meant


def test_a_word_is_never_said_to_stand_for_itself() -> None:
    assert did_you_mean("blunt", ["blunt"]) is None
    assert did_you_mean("blunt", []) is None


def test_a_suggestion_names_the_nearest_and_then_all() -> None:
    assert suggest("fixed", HEADS) == (
        "did you mean fixed-blade?"
        " choices: field-point, target-point, fixed-blade, mechanical, blunt"
    )
    assert suggest("zzz", HEADS[:2], "heads") == "heads: field-point, target-point"
    assert suggest("zzz", []) == ""


def test_two_choices_all_but_as_near_are_both_named() -> None:
    facts = ["shaft.outside_diameter", "shaft.inside_diameter", "shaft.length"]
    assert suggest("shaft.diametre", facts).startswith(
        "did you mean shaft.inside_diameter or shaft.outside_diameter? "
    )


def test_a_choice_less_near_is_not_named() -> None:
    assert suggest("mechanicl", ["mechanism", "mechanical"]).startswith("did you mean mechanical? ")


def test_a_long_list_of_choices_is_cut_and_counted() -> None:
    assert suggest("zzz", [f"q{number}" for number in range(20)]).endswith("q10, q11 and 8 more")
    assert suggest("zzz", [f"q{number}" for number in range(12)]).endswith("q10, q11")
    assert suggest("zzz", [f"q{number}" for number in range(13)]).endswith("q10, q11 and 1 more")


def test_words_of_the_user_are_safe_to_print() -> None:
    assert quoted("2.6 in") == "`2.6 in`"
    assert quoted("\x1b[31mred\n\u202e") == "`\\x1b[31mred\\n\\u202e`"
    assert quoted("x" * 11, 10) == "`xxxxxxx...`"
    assert quoted("x" * 10, 10) == "`xxxxxxxxxx`"
    assert visible("é½") == "é½"


@given(st.text(max_size=30), st.lists(st.text(max_size=12), max_size=6))
def test_any_word_gets_a_choice_or_none(word: str, choices: list[str]) -> None:
    found = did_you_mean(word, choices)
    assert found is None or (found in choices and found != word)


@given(
    st.lists(
        st.builds(
            Fault,
            st.text(max_size=40),
            st.none() | st.integers(1, 9999),
            st.none() | st.integers(1, 999),
            st.text(max_size=200),
            st.text(max_size=200),
        ),
        min_size=1,
        max_size=5,
    )
)
def test_any_report_is_printable_and_no_wider_than_its_words(faults: list[Fault]) -> None:
    lines = Faults(faults).text("nothing was advised").splitlines()
    assert all(line.isprintable() for line in lines)
    for line in lines:
        assert len(line) <= 80 or len(line.split()) == 1 or len(max(line.split(), key=len)) > 38


def test_leaf_modules_load_no_library_before_it_is_needed() -> None:
    script = (
        "import sys; before = set(sys.modules)\n"
        "import advisor.errors, advisor.documents, advisor.quantities\n"
        "print(*sorted(set(sys.modules) - before))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd="."
    )
    loaded = done.stdout.split()
    assert "advisor.documents" in loaded
    assert [name for name in loaded if name.split(".")[0] not in ("advisor", "__future__")] == []
