"""The text of a Decision, exact, and its promises on any Decision."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from advisor.cases import case_files, read_cases
from advisor.decision import (
    Alternative,
    Assumed,
    Bounded,
    Caution,
    Conflict,
    Contest,
    Decision,
    Dispute,
    Evidence,
    NoNumber,
    Number,
    Premise,
    Question,
    Reason,
    Rejection,
    RetiredRule,
    RuleBaseName,
    SetAside,
    Side,
    StandsUnless,
    Stated,
    Step,
    Tie,
    Undecided,
    Unproven,
    Unsettled,
)
from advisor.pipeline import advise
from advisor.render.numbers import digits, plain
from advisor.render.text import equals_told, render
from advisor.rulebase.locate import base_folder
from advisor.rulebase.read import read_rule_base
from tests.heavy import untraced

GOLDEN = Path(__file__).parent / "golden"
PRACTICE = Evidence("common-practice")


def kettle() -> Decision:
    """A Decision made by hand, about a kettle, with something in every part of it."""
    on_gas = Premise("stove.fuel", "stove.fuel is gas", "given", "gas", "kettle.yaml", 3)
    rim = Premise("rim.width", "rim.width is 3 mm", "assumed", Number(3, "mm"), because="usual")
    heat = Premise(
        "stove.heat",
        "stove.heat is high",
        "concluded",
        "high",
        rules=("gas-is-hot",),
        premises=(on_gas,),
    )
    shared = Reason(
        "whistle-on-gas",
        "base",
        "should",
        "kettle.whistle",
        "kettle.whistle is loud",
        "met",
        "Let it whistle on gas.",
        "A flame is easily forgotten.",
        PRACTICE,
        (on_gas, heat),
        Contest("derived", "The model shows no difference."),
        ("kitchen.size",),
    )
    return Decision(
        status="advised",
        rulebase=RuleBaseName(
            "kitchen", "1.2.0", "0123456789abcdef" * 4, ("base 1.0.0", "kitchen 1.2.0")
        ),
        title="Aunt Tessaly's kettle",
        stock="shelf",
        given={"stove.fuel": "gas"},
        assumed={"rim.width": Number(3, "mm"), "cook.patient": True},
        build={"kettle.whistle": "loud", "kettle.volume": Number(1.5, "ml")},
        numbers={
            "kettle.mass": Number(812.25, "g", "2 %", "sum", "scales", ("rim.width",)),
            "boil.time": Number(240, "s", "", "as stated", "kettle.yaml:9"),
        },
        chosen=("kettle.whistle",),
        items={"kettle": "K-7"},
        notes=("No listed kettle agrees with what is stated of it: it is judged as stated.",),
        concluded={"stove.heat": "high"},
        reasons={
            "kettle.whistle": (
                Reason(
                    "must-be-whole",
                    "base",
                    "must",
                    "kettle.whistle",
                    "x",
                    "met",
                    "s",
                    "b",
                    PRACTICE,
                ),
                shared,
            ),
            "kettle.volume": (
                shared._replace(fact="kettle.volume", outcome="broken"),
                Reason(
                    "small-for-one",
                    "kitchen",
                    "favour",
                    "kettle.volume",
                    "kettle.volume is lowest",
                    "met",
                    "Boil no more than you drink.",
                    "Water costs gas.",
                    Evidence("published", "s1", "A. Cook, Kettles, 1950", "page 3", "", "", True),
                    (rim,),
                ),
            ),
        },
        cautions=(
            Caution("hot", "caution", "Steam scalds."),
            Caution("scale", "note", "Descale now and then."),
        ),
        steps=(Step("fill", "prepare", "Fill it."), Step("light", "shoot", "Light the gas.")),
        set_aside=(
            SetAside(
                "quiet",
                "Keep it quiet.",
                "Nerves.",
                "whistle-on-gas",
                "Whistle.",
                "Flames.",
                ("cat",),
            ),
        ),
        stands_unless=(
            StandsUnless("whistle-on-gas", "rule", "sleeping-child", ("child.asleep",)),
        ),
        ties=(
            Tie(
                "kettle.colour",
                "values",
                (
                    Side("red", "kettle.colour is red", "r"),
                    Side("blue", "kettle.colour is blue", "b"),
                ),
            ),
        ),
        unproven=(Unproven("lid-fits", "lid.width is at most 90 mm", ("lid.width",)),),
        contested=(
            Dispute("whistle-on-gas", "Whistle.", "derived", "The model shows no difference."),
        ),
        equals=({"kettle.whistle": "loud", "kettle.volume": Number(1.6, "ml")},),
        alternatives=(
            Alternative(
                {"kettle.whistle": "none", "kettle.volume": Number(1.5, "ml")},
                {},
                ("breaks whistle-on-gas: kettle.whistle is loud",),
                ("whistle-on-gas",),
            ),
        ),
        rejected=(Rejection("must-be-whole", "No holes.", "must: kettle.holes is 0", 12),),
        conflicts=(),
        more_conflicts=False,
        undecided=(
            Undecided("night-rule", "Hush at night.", ("clock.hour",)),
            Undecided("old-rule", "Old.", ("clock.hour",), ("night-rule",)),
        ),
        unsettled=(
            Unsettled("kettle.whistle", "night-rule", "kettle.whistle is none", ("clock.hour",)),
        ),
        questions=(
            Question(
                "clock.hour",
                "What time is it?",
                {},
                assumed=False,
                because="a choice waits for it",
                rules=("night-rule", "b", "c"),
            ),
            Question("cat", "Is there a cat?", {}, assumed=False),
        ),
        cannot_matter=("weather.wet",),
        bounded=(Bounded("kettle.volume", Number(1.5, "ml"), Number(1.4, "ml")),),
        retired=(
            RetiredRule("tea-first", "Tea first.", "We drink coffee.", "kitchen", "coffee-first"),
        ),
        rests_on=("rim.width",),
        fired=("whistle-on-gas",),
        unknown={"kettle.rate": NoNumber((), "the spout is wider than the kettle")},
        stated={"stove.fuel": Stated("kettle.yaml", 3, "gas")},
        assumptions={
            "rim.width": Assumed("most are", "base"),
            "cook.patient": Assumed("one hopes", "base"),
        },
        labels={"kettle.mass": "mass", "boil.time": "time to boil"},
        builds=40,
        survivors=28,
    )


def stopped() -> Decision:
    return kettle()._replace(
        status="stopped",
        cautions=(Caution("leak", "stop", "It leaks: do not light the gas."),),
        conflicts=(
            Conflict(("leak",), ("Stop where it leaks.",)),
            Conflict(("red", "blue"), ("Paint it red.", "Paint it blue.")),
        ),
        more_conflicts=True,
        bounded=(),
    )


@pytest.mark.parametrize(("name", "decision"), [("advised", kettle()), ("stopped", stopped())])
def test_the_text_is_exactly_this(name: str, decision: Decision) -> None:
    assert render(decision, False) == (GOLDEN / f"{name}.txt").read_text(encoding="utf-8")


def test_colour_adds_nothing_but_colour() -> None:
    import re

    coloured = render(kettle(), True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[\d;]*m", "", coloured) == render(kettle(), False)


@untraced
def test_cases_fit_eighty_columns_and_tell_no_reason_twice() -> None:
    base = read_rule_base()
    for path in case_files(base_folder()):
        for case in read_cases(path, base)[::3]:  # a third of them, from every file
            text = render(advise(case.setup, base), False)
            for line in text.splitlines():
                # Only a single word that cannot be broken may stand out.
                assert len(line) <= 80 or " " not in line.strip(), (case.name, line)
            numbers = [w for w in text.split() if w.startswith("(") and w.rstrip(")")[1:].isdigit()]
            assert len(numbers) == len(set(numbers)) or "see (" in text


@pytest.mark.parametrize(
    ("value", "significant", "shown"),
    [
        (0, 3, "0"),
        (429.6, 3, "430"),
        (1.875, 3, "1.88"),
        (12345.6, 3, "12346"),
        (0.00012345, 3, "0.000123"),
        (-2.5, 3, "-2.5"),
        (2.6, 6, "2.6"),
    ],
)
def test_digits(value: float, significant: int, shown: str) -> None:
    assert digits(value, significant) == shown


def test_plain_values() -> None:
    assert plain(Number(65, "lbf")) == "65 lb"
    assert plain(True) == "yes"
    assert plain(("a", "b")) == "a, b"
    assert plain(()) == "none"
    assert plain(Number(11.5, "%")) == "11.5 %"


# Equal builds


def equal(*others: dict[str, str]) -> str:
    chosen: dict[str, Any] = {"lid": "tin", "spout": "long", "rim": "1"}
    return equals_told(
        kettle()._replace(build=chosen, equals=tuple({**chosen, **o} for o in others))
    )


def test_what_is_free_is_told_once_and_not_in_every_mixture() -> None:
    assert equal({"lid": "clay"}) == "lid clay"
    assert equal({"lid": "clay"}, {"lid": "glass"}) == "lid clay or glass"
    both = equal({"lid": "clay"}, {"spout": "short"}, {"lid": "clay", "spout": "short"})
    assert both == "lid clay; spout short; each with each"


def test_what_goes_with_one_value_only_is_told_with_it() -> None:
    left = [{"spout": "short", "lid": lid, "rim": rim} for lid in ("tin", "iron") for rim in "12"]
    assert equal({"lid": "clay"}, *left) == (
        "lid clay; or spout short with lid tin or iron and rim 1 or 2"
    )
    # The chosen build stands alone in its group: nothing to tell of that.
    assert equal(*left) == "spout short with lid tin or iron and rim 1 or 2"


def test_mixtures_without_an_order_are_told_one_by_one() -> None:
    assert equal({"lid": "clay", "rim": "2"}) == "lid clay with rim 2"
    mixed = equal(*({"lid": f"clay {i}", "rim": str(i)} for i in (2, 3, 4)))
    assert mixed == "lid clay 2, rim 2; lid clay 3, rim 3; lid clay 4, rim 4"
    assert equal({}) == "another of the same in every fact told"
