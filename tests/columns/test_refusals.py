"""Setups that one of two versions refuses: told, shown, with their share, and never called alike."""

from __future__ import annotations

import pytest

from advisor.comparing_rules import compare_rules
from advisor.decision import Number
from advisor.population import Population, Spread
from advisor.render.rules_comparison_text import render, verdict
from advisor.rules_compared import BY_STRUCTURE, DIFFERS, STATED, RulesComparison, Topic
from tests.columns.test_planted import base, before
from tests.rulebase.folders import VOCABULARY

PEOPLE = Population(
    "people",
    "Made up.",
    {
        "tea.guests": Spread((4, 12), (0.75, 0.25), 0.8),
        "tea.kind": Spread(("green", "herb"), (0.5, 0.5), 0.5),
    },
)


def stated(found: RulesComparison) -> Topic:
    (topic,) = [topic for topic in found.topics if topic.topic == STATED]
    return topic


def words(one: str, other: str) -> dict[str, str | None]:
    assert one in VOCABULARY
    return {"vocabulary.yaml": VOCABULARY.replace(one, other)}


MILK = "  tea.milk: {kind: choice, several: true, origin: given, choices: [cow, oat, soy], question: Q?}\n"
ONE_MILK = MILK.replace("several: true, ", "")

NARROWER: dict[str, tuple[dict[str, str | None], dict[str, str | None], str, object, str, float]] = {
    # old, new, the fact of the setup that is shown, its value there, what refuses it, the share
    "a range": (
        {},
        words("range: [1, 12]", "range: [1, 8]"),
        "tea.guests",
        Number(12, ""),
        "`12` is outside tea.guests (1 to 8)",
        0.2,
    ),
    "a choice": (
        {"more.yaml": None},
        {"more.yaml": None, **words(", herb: no tea at all", "")},
        "tea.kind",
        "herb",
        "`herb` is no choice of tea.kind",
        0.25,
    ),
    "a list": (
        {"vocabulary.yaml": VOCABULARY + MILK},
        {"vocabulary.yaml": VOCABULARY + ONE_MILK},
        "tea.milk",
        ["cow", "oat"],
        "a list is written where tea.milk takes one value",
        0.0,
    ),
    "a fact": (
        {"vocabulary.yaml": VOCABULARY + ONE_MILK},
        {},
        "tea.milk",
        "cow",
        "`tea.milk` is no fact that a setup states",
        0.0,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NARROWER)
def test_what_is_refused_from_now_on_is_other_advice(name: str) -> None:
    before_, after, fact, value, says, share = NARROWER[name]
    old, new = base({"more.yaml": None, **before_}), base({"more.yaml": None, **after})
    found = compare_rules(old, new, PEOPLE, setups=500, builds=5)
    topic = stated(found)
    assert (found.stated, topic.known, found.exit_status) == (DIFFERS, DIFFERS, 1)
    assert topic.refused_now == pytest.approx(share)
    assert topic.refused_before == 0
    assert topic.witness is not None
    assert topic.witness.setup == {fact: value}
    assert [one.says for one in topic.witness.old] == ["takes it"]
    assert [one.says for one in topic.witness.new] == [f"refuses it: {says}"]
    # The other way round they are taken from now on.
    back = stated(compare_rules(new, old, PEOPLE, setups=500, builds=5))
    assert back.refused_now == 0
    assert back.refused_before == pytest.approx(share)


def test_the_share_is_that_of_setups_drawn_that_are_refused() -> None:
    """What is drawn and left out is what one of both refuses."""
    new = base(words("range: [1, 12]", "range: [2, 8]"))
    changed = base({**words("range: [1, 12]", "range: [2, 8]"), "tea.yaml": None})
    assert new.digest != changed.digest
    found = compare_rules(before(), changed, PEOPLE, setups=20_000, builds=0)
    assert found.population is not None
    assert found.population.outside / 20_000 == pytest.approx(0.2, abs=0.01)


def test_nothing_is_said_to_be_alike_beyond_what_both_take() -> None:
    found = compare_rules(before(), base(words("range: [1, 12]", "range: [1, 8]")), PEOPLE)
    assert (found.setup, found.build) == (BY_STRUCTURE, BY_STRUCTURE)
    told = verdict(found)
    assert told.startswith("Some setups are taken by one of both only. For setups that both take:")
    page = " ".join(render(found, False).split())
    assert "Setups are refused from now on: 20 % of the population." in page
    assert "All that follows is about setups that both take." in page


def test_a_list_of_one_is_taken_where_one_value_is() -> None:
    """Where a fact takes several values no more, whoever states one is advised as before."""
    old, new = (base({"vocabulary.yaml": VOCABULARY + milk}) for milk in (MILK, ONE_MILK))
    people = PEOPLE._replace(
        facts={"tea.milk": Spread((("cow",), ("cow", "oat")), (0.5, 0.5), 1.0)}
    )
    topic = stated(compare_rules(old, new, people, setups=500, builds=0))
    assert topic.refused_now == pytest.approx(0.5)


def test_the_same_words_refuse_the_same() -> None:
    found = compare_rules(before(), base(words("label: lid", "label: cover")), PEOPLE)
    assert found.stated == BY_STRUCTURE
    assert found.exit_status == 0
