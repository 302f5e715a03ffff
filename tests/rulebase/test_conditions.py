"""Conditions and tests: plain data read into trees, and what is said where they cannot be."""

from __future__ import annotations

from typing import Any as Anything

import pytest

from advisor.documents import read_document
from advisor.engine.conditions import All, Any, Node, Not, Ref
from advisor.engine.conditions import Test as Single  # pytest collects what is named Test
from advisor.rulebase.conditions import ConditionReader
from advisor.vocabulary import FactEntry, Vocabulary

WORDS = Vocabulary(
    [
        FactEntry("tea.kind", "", "choice", "given", choices={"black": "", "green": ""}),
        FactEntry(
            "tea.extras", "", "choice", "given", several=True, choices={"milk": "", "sugar": ""}
        ),
        FactEntry("tea.guests", "", "count", "given", low=1, high=12),
        FactEntry("tea.lemon", "", "flag", "given"),
        FactEntry("pot.size", "", "quantity", "option", unit="in", bare=False, low=1.0, high=9.0),
        FactEntry("pot.width", "", "quantity", "option", unit="in"),
        FactEntry("pot.ratio", "", "quantity", "computed", unit="1"),
        FactEntry("pot.name", "", "text", "given"),
    ]
)


def read(text: str) -> tuple[Node | None, list[tuple[object, str]]]:
    """Read a condition as it would stand in a file, with the faults it has."""
    faults: list[tuple[object, str]] = []

    def report(path: tuple[str | int, ...], what: str, remedy: str) -> None:
        assert remedy
        faults.append((path, what))

    data: Anything = read_document("x", text).data
    return ConditionReader(WORDS, report).condition(data, ()), faults


@pytest.mark.parametrize(
    ("text", "node"),
    [
        ("{tea.kind: black}", Single("tea.kind", "is", "black")),
        ("{tea.lemon: false}", Single("tea.lemon", "is", False)),
        ("{tea.extras: milk}", Single("tea.extras", "is", "milk")),
        ("{pot.name: '12'}", Single("pot.name", "is", "12")),
        # Numbers come in the vocabulary's unit, bare or not, and outside the range too.
        ("{pot.size: 2.6 in}", Single("pot.size", "is", 2.6)),
        ("{pot.size: {above: 66.04 mm}}", Single("pot.size", "above", 2.6)),
        ("{pot.size: {below: 12}}", Single("pot.size", "below", 12.0)),
        ("{pot.size: 1.23456789012}", Single("pot.size", "is", 1.23456789)),
        ("{tea.guests: 4.0}", Single("tea.guests", "is", 4)),
        ("{tea.guests: {at_least: 20}}", Single("tea.guests", "at_least", 20)),
        ("{tea.guests: {at_most: 1234567891}}", Single("tea.guests", "at_most", 1234567890)),
        # A list is an `any`, several bounds are an `all`, several facts are an `all`.
        ("{tea.kind: [black]}", Single("tea.kind", "is", "black")),
        (
            "{tea.kind: [black, green]}",
            Any((Single("tea.kind", "is", "black"), Single("tea.kind", "is", "green"))),
        ),
        (
            "{pot.size: {at_least: 1 in, below: 2 in}}",
            All((Single("pot.size", "at_least", 1.0), Single("pot.size", "below", 2.0))),
        ),
        (
            "{tea.guests: [1, {above: 3, at_most: 5}]}",
            Any(
                (
                    Single("tea.guests", "is", 1),
                    All((Single("tea.guests", "above", 3), Single("tea.guests", "at_most", 5))),
                )
            ),
        ),
        (
            "{tea.kind: black, tea.lemon: true}",
            All((Single("tea.kind", "is", "black"), Single("tea.lemon", "is", True))),
        ),
        ("{tea.kind: {known: true}}", Single("tea.kind", "known", True)),
        ("{pot.size: {stated: false}}", Single("pot.size", "stated", False)),
        (
            "{tea.guests: {known: true, above: 2}}",
            All((Single("tea.guests", "known", True), Single("tea.guests", "above", 2))),
        ),
        # Another fact, wherever a constant is taken.
        ("{pot.size: {fact: pot.width}}", Single("pot.size", "is", Ref("pot.width"))),
        ("{pot.size: {above: {fact: pot.width}}}", Single("pot.size", "above", Ref("pot.width"))),
        ("{tea.kind: {fact: tea.extras}}", Single("tea.kind", "is", Ref("tea.extras"))),
        ("{tea.guests: {fact: pot.ratio}}", Single("tea.guests", "is", Ref("pot.ratio"))),
        (
            "{pot.size: [{fact: pot.width}, 3 in]}",
            Any((Single("pot.size", "is", Ref("pot.width")), Single("pot.size", "is", 3.0))),
        ),
        # Nesting.
        ("{not: {tea.kind: black}}", Not(Single("tea.kind", "is", "black"))),
        (
            "{any: [{tea.kind: black}, {not: {tea.lemon: true}}]}",
            Any((Single("tea.kind", "is", "black"), Not(Single("tea.lemon", "is", True)))),
        ),
        ("{any: [{tea.kind: black}]}", Any((Single("tea.kind", "is", "black"),))),
        (
            "{all: [{tea.kind: black}], tea.lemon: true}",
            All((All((Single("tea.kind", "is", "black"),)), Single("tea.lemon", "is", True))),
        ),
    ],
)
def test_a_condition_is_read_into_its_tree(text: str, node: Node) -> None:
    found, faults = read(text)
    assert faults == []
    # The parts of a tree are tuples, and tuples of two kinds may be equal: compare what is shown.
    assert repr(found) == repr(node)


@pytest.mark.parametrize(
    ("text", "path", "what"),
    [
        ("{any: {tea.kind: black}}", ("any",), "`any` takes a list of conditions"),
        ("{all: []}", ("all",), "`all` takes a list of conditions"),
        ("{any: [{}]}", ("any", 0), "a condition is empty or no mapping"),
        ("{not: [1]}", ("not",), "a condition is empty or no mapping"),
        ("[1]", (), "a condition is empty or no mapping"),
        ("{tea.kind: []}", ("tea.kind",), "an empty list never holds"),
        ("{tea.kind: {}}", ("tea.kind",), "an empty test never holds"),
        ("{tea.kind: {known: 1}}", ("tea.kind", "known"), "`known` takes true or false"),
        ("{tea.kind: {is: black}}", ("tea.kind", "is"), "`is` is no test"),
        ("{pot.size: {above: {known: true}}}", ("pot.size", "above"), "this is no value"),
        ("{pot.size: {fact: [1]}}", ("pot.size", "fact"), "`[1]` is no fact"),
        (
            "{pot.size: {above: [1 in]}}",
            ("pot.size", "above"),
            "a list is written where pot.size takes one value",
        ),
        ("{tea.kind: [black, [blue]]}", ("tea.kind", 1, 0), "`blue` is no choice of tea.kind"),
    ],
)
def test_what_no_file_can_hold_is_refused_too(
    text: str, path: tuple[object, ...], what: str
) -> None:
    # A schema refuses these in a rule; a case's expectations come here without one.
    _, faults = read(text)
    assert faults == [(path, what)]


def test_a_mapping_in_a_list_is_shown_as_it_was_written() -> None:
    _, faults = read("{tea.extras: [[{milk: true, with: [sugar, 0.50]}]]}")
    assert faults == [
        (("tea.extras", 0, 0, "milk"), "`milk` is no test"),
        (("tea.extras", 0, 0, "with"), "`with` is no test"),
    ]


def test_every_fault_of_a_condition_is_told() -> None:
    node, faults = read(
        "{any: [{tea.knd: 1}, {tea.kind: blue}], not: {tea.lemon: yes}, pot.size: 1 mm}"
    )
    assert [path for path, _ in faults] == [
        ("any", 0, "tea.knd"),
        ("any", 1, "tea.kind"),
        ("not", "tea.lemon"),
    ]
    # What could be read is there, so that a reader can go on.
    assert repr(node) == repr(Single("pot.size", "is", 0.0393700787))
