"""A Comparison as text: exact, in its columns, nothing left out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor.comparing import compare_decisions
from advisor.comparison import BUILDS, SECOND, Comparison, Count, Said, Stage
from advisor.decision import (
    Caution,
    Decision,
    NoNumber,
    Number,
    RuleBaseName,
    SetAside,
    Step,
    Undecided,
)
from advisor.render import comparison_words as told
from advisor.render.comparison_text import render
from tests.comparisons import HUNTING, builds, decisions, three_against_four
from tests.render.test_sheet import HOSTILE
from tests.render.test_text import kettle

GOLDEN = Path(__file__).parent / "golden"


def other_kettle() -> Decision:
    """The kettle with something otherwise in every part of it."""
    d = kettle()
    whistle, volume = d.reasons["kettle.whistle"], d.reasons["kettle.volume"]
    return d._replace(
        title="Uncle Orrin's kettle",
        stock="attic",
        rulebase=RuleBaseName("base", "1.0.0", "fedcba9876543210" * 4, ("base 1.0.0",)),
        given={"stove.fuel": "wood"},
        assumed={"rim.width": Number(4, "mm"), "cook.patient": True},
        build={"kettle.whistle": "none", "kettle.volume": Number(2, "ml")},
        numbers={
            "kettle.mass": Number(815, "g", "2 %", "sum", "scales", ("rim.width",)),
            "kettle.rate": Number(3, "ml/s", "40 %", "flow"),
        },
        unknown={"boil.time": NoNumber(("stove.heat",))},
        items={"kettle": "K-9"},
        reasons={
            "kettle.whistle": (whistle[0]._replace(outcome="broken"),),
            "kettle.volume": (volume[0]._replace(outcome="met"),),
        },
        cautions=(Caution("leak", "stop", "It leaks: do not light the wood."),),
        steps=(Step("fill", "prepare", "Fill it to 2 ml."), Step("chop", "prepare", "Chop wood.")),
        set_aside=(SetAside("hot", "Steam.", "", "night-rule", "", ""),),
        ties=(),
        undecided=(Undecided("quiet", "Keep it quiet.", ("cat",)),),
        retired=(),
        labels={"kettle.rate": "flow", "kettle.mass": "mass"},
    )


def kettles() -> Comparison:
    return compare_decisions(kettle(), other_kettle())


def ranked() -> Comparison:
    """The kettles as if they were builds of one setup, with a stage of every kind."""
    c = kettles()
    stages = (
        Stage("broken", "musts broken and stops", "even", Number(0, ""), Number(0, "")),
        Stage(
            "shoulds",
            "facts that fail shoulds of kitchen",
            "even",
            Number(1, ""),
            Number(1, ""),
            (Count("kettle.volume", ("whistle-on-gas", "small-for-one")),),
            (Count("kettle.whistle", ("quiet",)),),
            layer="kitchen",
        ),
        Stage(
            "favour",
            "lowest boil.time",
            SECOND,
            Number(240.04, "s"),
            Number(240.01, "s"),
            rule="boil-soon",
            fact="boil.time",
            within=Number(0.01, "s"),
            best=Number(240.0, "s"),
        ),
        Stage("favour", "highest kettle.mass", "", None, Number(1, "g"), rule="stand-firm"),
    )

    return c._replace(
        kind=BUILDS,
        ahead=SECOND,
        verdict="The second is ahead: boil.time is 240.04 s for the first.",
        first=c.first._replace(
            named={"kettle.volume": Number(1.5, "ml")},
            stands="behind",
            says="behind the build advised",
            because="so",
        ),
        second=c.second._replace(named={"kettle.volume": Number(2, "ml")}),
        grounds=(),
        stages=stages,
    )


@pytest.mark.parametrize(("name", "c"), [("decisions", kettles()), ("builds", ranked())])
def test_the_text_is_exactly_this(name: str, c: Comparison) -> None:
    expected = (GOLDEN / f"compared-{name}.txt").read_text(encoding="utf-8")
    assert render(c, False) == expected


def every() -> list[Comparison]:
    return [
        kettles(),
        ranked(),
        three_against_four(),
        builds(HUNTING, "", ""),
        builds("left-bevel-right-clamp", "fletching.direction=left", ""),
        builds("too-light", "fletching.count=3", "fletching.count=4"),
        decisions(HUNTING, "/first-hunting-dozen"),
        decisions("too-light", "target-recurve"),
    ]


def test_it_is_at_most_eighty_columns_wide() -> None:
    for c in every():
        for line in render(c, False).splitlines():
            assert len(line) <= 80, line
            assert line == line.rstrip()


def test_colour_adds_nothing_but_colour() -> None:
    for c in every():
        coloured = render(c, True)
        assert "\x1b[1m" in coloured
        assert re.sub(r"\x1b\[[\d;]*m", "", coloured) == render(c, False)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_everything_that_differs_is_told() -> None:
    for c in every():
        text = render(c, False)
        for row in c.facts:
            assert f"\n  {row.fact}" in text, row.fact
        for rule in c.rules:
            assert re.search(rf"\b{rule.rule}\b", text), rule.rule
        for name in [row.rule for row in c.cautions] + [row.rule for row in c.steps]:
            assert re.search(rf"\b{name}\b", text), name
        words = set(text.split())
        for number in c.numbers:
            label = c.labels.get(number.fact, number.fact)
            assert set(label.split()) <= words, label
        assert flat(c.verdict) in flat(text)
        assert flat(text).endswith(told.CLOSING)


def test_what_lies_inside_the_band_stands_apart() -> None:
    text = render(three_against_four(), False)
    loud = text.index("Numbers that differ")
    quiet = text.index("Inside the band")
    assert told.LITTLE in text[quiet:]
    assert loud < text.index("bare shaft between two feet") < quiet
    assert quiet < text.index("finished mass")


def test_a_stop_is_told_in_full_before_the_builds() -> None:
    text = render(builds("too-light", "fletching.count=3", "fletching.count=4"), False)
    assert "On both: Stop below 5 grains" in text
    assert text.index("\nStop\n") < text.index("First: fletching.count 3")
    one = render(decisions("too-light", HUNTING), False)
    assert "On the first: " in one


def test_the_second_column_stands_under_its_head() -> None:
    lines = render(three_against_four(), False).splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("What differs"))
    columns = [lines[at].index(name) for name in ("first", "second")]
    rows = {line.split()[0]: line for line in lines[at + 1 : at + 6]}
    assert rows["vane.height"][columns[0] :].startswith("0.55 in ")
    assert rows["vane.height"][columns[1] :] == "0.5 in"
    at = next(i for i, line in enumerate(lines) if "fletching.count is 4" in line)
    head = next(line for line in reversed(lines[:at]) if line.startswith("Speaks for the second"))
    assert lines[at][head.index("first") :].startswith("BROKEN")
    assert lines[at][head.index("second", 30) :] == "met"


def test_strangers_words_neither_break_the_columns_nor_drive_the_terminal() -> None:
    nasty = HOSTILE + "\x1b[2J"
    one = kettle()._replace(title=nasty, items={"kettle": nasty}, given={"stove.fuel": nasty})
    text = render(compare_decisions(one, other_kettle()), False)
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "\u202e" not in text
    long = [line for line in text.splitlines() if len(line) > 80]
    assert all(" " not in line.strip() or "WWW" in line for line in long)


@pytest.mark.parametrize(
    ("one", "other", "shown"),
    [
        (Number(2.0, "1", "30 %"), Number(1.6, "1", "30 %"), ("2.0", "1.6")),
        (Number(15.66, "in", "8 %"), Number(15.7, "in", "8 %"), ("15.66 in", "15.7 in")),
        (Number(1.96, "1", "30 %"), Number(1.99, "1", "30 %"), ("1.96", "1.99")),
        (Number(440.7, "gr", "2 %"), Number(445.0, "gr", "2 %"), ("441 gr", "445 gr")),
    ],
)
def test_numbers_that_differ_look_different(
    one: Number, other: Number, shown: tuple[str, str]
) -> None:
    row = next(row for row in three_against_four().numbers)
    assert told.pair(row._replace(first=one, second=other)) == shown


def test_what_set_a_rule_aside_is_told() -> None:
    assert told.detail(Said("set-aside", ("a", "b"))) == "set aside by a, b"
    assert told.detail(Said("undecided", ("a",), ("cat",))) == "overruled by a; lacks cat"
    assert told.detail(Said("met")) == ""
