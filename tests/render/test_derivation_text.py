from __future__ import annotations

import re

import pytest

from advisor.derivation import CHOICE, STAGE
from advisor.render.derivation_text import WIDTH, brief, render, told
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup
from advisor.why import why
from tests.derivations import BASE, FILES, NAMES, asked_of, judged, judgement_of

ESCAPE = re.compile(r"\x1b\[[0-9;]*m")
ASKED = (
    "vane.length",
    "fletching.count",
    "steering.ratio",
    "use.place",
    "arrow.mass",
    "shaft.length",
)


@pytest.mark.parametrize("name", NAMES)
def test_lines_are_no_wider_than_a_page(name: str) -> None:
    for what in asked_of(name, *ASKED, every=5):
        for line in render(why(judgement_of(name), what), colour=False).split("\n"):
            # A word that is too long alone is better whole than cut: it may have to be copied.
            assert len(line) <= WIDTH or len(line.split()) <= 2, line


@pytest.mark.parametrize("name", NAMES)
def test_every_step_is_told_once_in_the_order_of_the_numbers(name: str) -> None:
    for what in asked_of(name, *ASKED, every=5):
        derivation = why(judgement_of(name), what)
        text = render(derivation, colour=False)
        last = len(derivation.steps)
        at = -1
        for step in derivation.steps:
            first = told(step, derivation)[0].split()[0]
            places = re.findall(rf"^ *{step.number} {re.escape(first)}", text, re.MULTILINE)
            assert len(places) == 1, (what, step)
            assert at < (at := text.index(f"\n{places[0]}"))
        flat = " ".join(text.split())
        for step in derivation.steps:
            if step.kind not in (CHOICE, STAGE):
                assert " ".join(brief(step).split()) in flat or step.name in flat
        for number in re.findall(r"\((\d+)\)(?=;|$)", text, re.MULTILINE):
            assert 1 <= int(number) <= last


def test_what_was_told_before_is_referred_to() -> None:
    text = render(why(judgement_of("fixed-blade-hunting"), "vane.length"), colour=False)
    flat = " ".join(text.split())
    number = re.search(r"(\d+) point\.type is fixed-blade \(", flat)
    assert number is not None
    assert flat.count(f"point.type is fixed-blade ({number[1]})") > 3
    assert "Rules that speak on it" in text
    assert "How the choice went" in text
    assert "which could set it aside" in flat


def test_colour_marks_names_and_changes_no_word() -> None:
    for name, what in (
        ("left-bevel-right-clamp", "fletching.direction"),
        ("too-light", "vane.mass"),
    ):
        derivation = why(judgement_of(name), what)
        plain, coloured = (render(derivation, colour=colour) for colour in (False, True))
        assert "\x1b" not in plain
        assert ESCAPE.sub("", coloured) == plain
    broken = why(judgement_of("left-bevel-right-clamp"), "fletching.direction")
    assert "\x1b[31mmatch-a-left-bevel\x1b[0m" in render(broken, colour=True)


def test_a_derivation_reads_as_it_should() -> None:
    text = FILES["too-light"].read_text(encoding="utf-8")
    setup = read_setup("examples/too-light.yaml", [], BASE.vocabulary, text=text)
    derivation = why(judged(setup, read_rule_base(), None), "arrow.mass_per_draw")
    base = f"base {BASE.version}, digest {BASE.digest[:12]}"
    assert render(derivation, colour=False) == (
        f"Why arrow.mass_per_draw{base:>57}\n"
        "Too light to shoot\n"
        "No build holds: this is of the nearest one, which is not to be built.\n"
        "\n"
        "1 arrow.mass_per_draw is 4.6 gr/lb, +/- 2 %: computed, mass per unit of draw\n"
        "    weight\n"
        "    Source: quotient\n"
        "  2 arrow.mass is 322 gr (examples/too-light.yaml:5)\n"
        "      Stated, and takes the place of what is computed: finished mass.\n"
        "  3 bow.draw_weight is 70 lb (examples/too-light.yaml:6)\n"
    )
