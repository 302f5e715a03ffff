"""Changes planted in more than one place at once: what is told, and what is proved of them."""

from __future__ import annotations

import pytest

from advisor.comparing_rules import compare_rules
from advisor.decision import Number
from advisor.render.rules_comparison_text import render
from advisor.rules_compared import BY_PROOF, DIFFERS, FAVOURS, NO_DIFFERENCE_FOUND, NOT_LOOKED_AT
from tests.columns.test_planted import CHANGES, MORE, WORDS, base, before, compared, topics
from tests.rulebase.folders import LADDER, MANIFEST, VOCABULARY, rule


def test_to_take_over_the_words_of_another_caution_is_no_rewording() -> None:
    """The first rule warns of what the other one warned of, and its own warning is lost."""
    two = MORE + rule(
        "scald", "[{caution: {level: caution, text: Do not scald.}}]", when="{tea.kind: herb}"
    )
    found = compared(
        base({"more.yaml": two}), base({"more.yaml": two.replace("Mind them.", "Do not scald.")})
    )
    assert topics(found) == {"cautions"}
    (topic,) = found.topics
    assert 0 < topic.changed < topic.of


def test_a_witness_shows_what_stands_where_that_differs() -> None:
    """Setups on which only undecided rules differ are smaller, and show less."""
    found = compared(before(), base(CHANGES["an alternative"][0]))
    topic = next(topic for topic in found.topics if topic.topic == "brew.strength")
    assert topic.changed
    assert topic.opened
    assert topic.witness is not None
    assert topic.witness.setup["tea.guests"] == Number(3, "")
    assert "not decided" not in topic.witness.new[0].says


def test_the_order_of_favours_is_part_of_the_advice() -> None:
    large = rule("large-pot", "[{favour: {pot.size: highest}}]", when="{tea.guests: {below: 3}}")
    old, new = (
        base({
            "more.yaml": MORE + large,
            "manifest.yaml": MANIFEST.replace("[small-pot]", order),
        })
        for order in ("[small-pot, large-pot]", "[large-pot, small-pot]")
    )  # fmt: skip
    found = compared(old, new)
    assert found.rules == ()
    assert [change.kind for change in found.vocabulary] == ["favours-ordered"]
    (topic,) = found.topics
    assert (topic.topic, topic.known) == (FAVOURS, DIFFERS)
    assert topic.witness is not None
    assert topic.witness.builds
    assert topic.witness.old != topic.witness.new
    assert 0 < topic.changed < topic.of
    assert found.share is None or not found.share.changed
    assert "pot.size" in {one.topic for one in found.builds}
    (unseen,) = compare_rules(old, new, setups=2000, builds=0, proofs=False).topics
    assert (unseen.known, unseen.changed > 0) == (NOT_LOOKED_AT, True)


def test_favours_that_choose_the_same_however_weighed_are_no_change_shown() -> None:
    """They stand together, and every build they could choose from is the only one."""
    large = rule("large-pot", "[{favour: {pot.size: highest}}]", when="{tea.guests: {below: 3}}")
    one_pot = LADDER.replace("[300 ml, 500 ml, 1000 ml]", "[1000 ml]")
    old, new = (
        base({
            "more.yaml": MORE + large,
            "ladder.yaml": one_pot,
            "manifest.yaml": MANIFEST.replace("[small-pot]", order),
        })
        for order in ("[small-pot, large-pot]", "[large-pot, small-pot]")
    )  # fmt: skip
    found = compared(old, new)
    (topic,) = found.topics
    assert (topic.known, topic.witness) == (NO_DIFFERENCE_FOUND, None)
    assert topic.changed
    assert found.exit_status == 0
    assert "no other build was found among those looked at" in render(found, False).replace(
        "\n         ", " "
    )


LADDERS = {
    "more": (
        "vanes: [{id: V1, length: 2 in}, {id: V2, length: 3 in}]",
        "vanes: [{id: V1, length: 2 in}, {id: V2, length: 3 in}, {id: V3, length: 4 in}]",
        "the ladder lists a new vane V3",
    ),
    "fewer": (
        "vanes: [{id: V1, length: 2 in}, {id: V2, length: 3 in}]",
        "vanes: [{id: V1, length: 2 in}]",
        "the ladder lists no vane V2 any more",
    ),
    "another": (
        "vanes: [{id: V1, length: 2 in}, {id: V2, length: 3 in}]",
        "vanes: [{id: V1, length: 2 in}, {id: V2, length: 3.5 in}]",
        "the ladder's vane V2 has another vane.length",
    ),
    "turned": (
        "vanes: [{id: V1, length: 2 in}, {id: V2, length: 3 in}]",
        "vanes: [{id: V2, length: 3 in}, {id: V1, length: 2 in}]",
        "the ladder lists each vane in another order",
    ),
}


@pytest.mark.parametrize("name", LADDERS)
def test_items_of_the_ladder_are_told(name: str) -> None:
    old_items, new_items, says = LADDERS[name]
    words = (
        VOCABULARY + "  vane.length: {kind: quantity, unit: in, origin: option, range: [1, 6]}\n"
    )
    old, new = (
        base({"vocabulary.yaml": words, "ladder.yaml": f"{LADDER}{items}\n"})
        for items in (old_items, new_items)
    )
    found = compared(old, new)
    assert [change.says for change in found.vocabulary] == [says]
    assert found.build in (DIFFERS, NO_DIFFERENCE_FOUND)


WATER = "  tea.water: {kind: quantity, unit: ml, origin: given, range: [100, 3000], question: Q?}\n"
ENOUGH = rule("enough", "[{must: {pot.size: {at_least: {fact: tea.water}}}}]")


def test_a_must_that_is_more_often_unproven_is_no_proof_of_the_same() -> None:
    """It breaks nothing more, but builds are ranked by how many musts nobody could judge."""
    words = {"vocabulary.yaml": VOCABULARY + WATER}
    again = rule(
        "again", "[{must: {pot.size: {at_least: {fact: tea.water}, at_most: 2000 ml}}}]",
        when="{tea.water: {known: false}}",
    )  # fmt: skip
    old = base({**words, "more.yaml": MORE + ENOUGH})
    found = compared(old, base({**words, "more.yaml": MORE + ENOUGH + again}))
    (topic,) = found.topics
    assert (topic.topic, topic.known) == ("pot.size", DIFFERS)


def test_a_must_that_adds_nothing_where_it_could_is_proved_to() -> None:
    words = {"vocabulary.yaml": VOCABULARY + WATER}
    idle = rule("idle", "[{must: {pot.size: {at_most: 2000 ml}}}]", when="{tea.guests: 3}")
    old = base({**words, "more.yaml": MORE + ENOUGH})
    found = compared(old, base({**words, "more.yaml": MORE + ENOUGH + idle}))
    assert (found.setup, found.build) == (BY_PROOF, BY_PROOF)


def test_proofs_know_what_each_side_assumes() -> None:
    """Only setups that do not state the tea differ, and each side assumes another."""
    changed, _, _ = WORDS["an assumption"]
    found = compare_rules(before(), base(changed), setups=0, builds=0)
    assert {topic.topic for topic in found.topics if topic.known == DIFFERS} == {
        "brew.strength",
        "pot.lid",
    }
    for topic in found.topics:
        assert topic.witness is not None
        assert "tea.kind" not in topic.witness.setup


def test_a_fact_of_another_kind_is_not_proved_about() -> None:
    flag = VOCABULARY.replace(
        "tea.guests: {kind: count, origin: given, range: [1, 12]",
        'tea.guests: {kind: quantity, unit: "1", origin: given, range: [1, 12]',
    )
    found = compared(before(), base({"vocabulary.yaml": flag}))
    assert "tea.guests is not the same kind of fact in both" in " ".join(found.hints)
    assert found.setup == NO_DIFFERENCE_FOUND


def test_a_fact_that_is_chosen_now_is_not_what_it_was() -> None:
    """What was stated of the lid is an option now, so what hangs on it waits for the build."""
    given = VOCABULARY + "  tea.cups: {kind: choice, origin: given, choices: [two, four]}\n"
    given = given.replace("four]}", "four], question: Q?}")
    chosen = given.replace("origin: given, choices: [two", "origin: option, choices: [two")
    warns = rule("cups", "[{caution: {level: note, text: Small cups.}}]", when="{tea.cups: two}")
    old, new = (
        base({"vocabulary.yaml": words, "more.yaml": MORE + warns}) for words in (given, chosen)
    )
    found = compared(old, new)
    assert "origin-changed" in [change.kind for change in found.vocabulary]
    assert [(topic.topic, topic.needs) for topic in found.topics] == [("cautions", "build")]
    assert found.build == DIFFERS
