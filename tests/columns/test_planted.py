"""One change planted in a rule base: it is told as what it is, and so is what it comes to."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from advisor.comparing_rules import compare_rules
from advisor.decision import Number
from advisor.render.rules_comparison_text import render, verdict
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.rules_compared import (
    ADDED,
    BY_PROOF,
    BY_STRUCTURE,
    CHANGED,
    DIFFERS,
    NO_DIFFERENCE_FOUND,
    RENAMED,
    RETIRED,
    REWORDED,
    STATED,
    ComparedText,
    RulesComparison,
)
from tests.rulebase.folders import (
    LADDER,
    MANIFEST,
    POT,
    TEA,
    VOCABULARY,
    rule,
    write_house,
    write_kettle,
)

MORE = "".join(
    rule(name, then, **more)
    for name, then, more in (
        ("mind-the-guests", "[{caution: {level: caution, text: Mind them.}}]",
         {"when": "{tea.guests: {at_least: 6}}", "unless": "{tea.in_a_hurry: true}"}),
        ("no-more-than-eight", "[{must: {tea.guests: {at_most: 8}}}]", {}),
        ("herbs-are-no-tea", "[{set: {brew.strength: weak}}]",
         {"when": "{tea.kind: herb}"}),
        ("hurry-means-strong", "[{set: {brew.strength: strong}}]",
         {"when": "{tea.in_a_hurry: true}", "overrides": "[herbs-are-no-tea]"}),
        ("pour", "[{step: {phase: verify, text: Pour a cup., after: [wait]}}]", {}),
        ("wait", "[{step: {phase: verify, text: Wait.}}]", {}),
        ("lid-for-many", "[{should: {pot.size: {at_least: 400 ml, at_most: 900 ml}}}]",
         {"when": "{tea.guests: {above: 2}}"}),
    )
)  # fmt: skip


def base(changed: Mapping[str, str | None] | None = None) -> RuleBase:
    with TemporaryDirectory() as root:
        files = {"more.yaml": MORE, **(changed or {})}
        return read_rule_base(write_kettle(Path(root), files))


@cache
def before() -> RuleBase:
    return base()


def compared(old: RuleBase, new: RuleBase) -> RulesComparison:
    return compare_rules(old, new, setups=20_000, builds=40)


def more(one: str, other: str) -> dict[str, str | None]:
    assert one in MORE
    return {"more.yaml": MORE.replace(one, other)}


def topics(found: RulesComparison, *known: str) -> set[str]:
    return {
        topic.topic
        for topic in found.topics
        if topic.known in (known or (DIFFERS,)) and topic.topic != STATED
    }


OTHER_WORDS = more("text: Mind them.", "text: Look after them.")

SAME: dict[str, tuple[dict[str, str | None], str]] = {
    "nothing": ({}, BY_STRUCTURE),
    "the order of files": ({"more.yaml": None, "again.yaml": MORE}, BY_STRUCTURE),
    "other reasons": (more("because: ", "because: Well, "), BY_STRUCTURE),
    "another name": (more("id: no-more-than-eight", "id: eight-at-most"), BY_STRUCTURE),
    "the opposite of the opposite": (
        more("[{must: {tea.guests: {at_most: 8}}}]", "[{must_not: {tea.guests: {above: 8}}}]"),
        BY_STRUCTURE,
    ),
    "not below for at least": (
        more("{tea.guests: {at_least: 6}}", "{not: {tea.guests: {below: 6}}}"),
        BY_STRUCTURE,
    ),
    "at least for above, of a count": (
        more("{tea.guests: {at_least: 6}}", "{tea.guests: {above: 5}}"),
        BY_PROOF,
    ),
    "an alternative that is never needed": (
        more("{tea.kind: herb}", "{any: [{tea.kind: herb}, {tea.kind: herb, tea.guests: 3}]}"),
        BY_PROOF,
    ),
    "a should taken apart": (
        {
            "more.yaml": MORE.replace("{at_least: 400 ml, at_most: 900 ml}", "{at_least: 400 ml}")
            + rule("lid-for-more", "[{should: {pot.size: {at_most: 900 ml}}}]",
                   when="{tea.guests: {above: 2}}")
        },
        BY_STRUCTURE,
    ),
    "a rule that another makes idle": (
        {"more.yaml": MORE + rule("again", "[{must: {tea.guests: {at_most: 9}}}]")},
        BY_PROOF,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SAME)
def test_what_means_the_same_is_known_to(name: str) -> None:
    changed, known = SAME[name]
    found = compared(before(), base(changed))
    assert (found.setup, topics(found)) == (known, set())
    assert found.build == known
    assert found.exit_status == 0
    assert not found.builds


def test_a_reworded_copy_is_told_as_reworded() -> None:
    found = compared(before(), base(OTHER_WORDS))
    (one,) = found.rules
    assert (one.rule, one.what, one.words) == ("mind-the-guests", REWORDED, ())
    assert one.texts == (ComparedText("caution", "caution", "Mind them.", "Look after them."),)


def test_other_words_of_a_caution_are_other_advice() -> None:
    """What it comes from is the same, and a person has to read whether it says the same."""
    found = compared(before(), base(OTHER_WORDS))
    assert (found.setup, found.build, found.topics) == (BY_STRUCTURE, BY_STRUCTURE, ())
    assert found.exit_status == 1
    assert verdict(found).startswith("Only texts changed: read them.")
    page = render(found, False)
    assert "caution, before: Mind them." in page
    assert "caution, now: Look after them." in page


def test_how_a_text_is_broken_into_lines_is_not_other_words() -> None:
    found = compared(before(), base(more("text: Mind them.", "text: Mind   them.")))
    assert found.exit_status == 0
    (one,) = found.rules
    assert (one.what, one.words, one.texts) == (REWORDED, ("how it is written",), ())


def test_a_condition_in_another_form_is_named() -> None:
    """The digest is another one, and somebody asks what of."""
    found = compared(before(), base(SAME["not below for at least"][0]))
    assert [(one.rule, one.words) for one in found.rules] == [
        ("mind-the-guests", ("how it is written",))
    ]


def test_a_renamed_rule_is_told_as_renamed() -> None:
    found = compared(before(), base(SAME["another name"][0]))
    (one,) = found.rules
    assert (one.rule, one.what, one.old and one.old.rule) == (
        "eight-at-most",
        RENAMED,
        "no-more-than-eight",
    )


CHANGES: dict[str, tuple[dict[str, str | None], str, str, str, set[str]]] = {
    # what is changed: rule, kind of change, what is said of it, topics on which advice differs
    "a bound": (
        more("{tea.guests: {at_least: 6}}", "{tea.guests: {at_least: 7}}"),
        "mind-the-guests",
        "bound-moved",
        "tea.guests is at least 6 became tea.guests is at least 7",
        {"cautions"},
    ),
    "a bound of a demand on what is stated": (
        more("{at_most: 8}", "{at_most: 9}"),
        "no-more-than-eight",
        "bound-moved",
        "must tea.guests: is at most 8 became is at most 9",
        {"tea.guests"},
    ),
    "a bound of a demand on an option": (
        more("at_most: 900 ml", "at_most: 1200 ml"),
        "lid-for-many",
        "bound-moved",
        "should pot.size: is from 400 ml to 900 ml became is from 400 ml to 1200 ml",
        {"pot.size"},
    ),
    "a strength": (
        more("[{must: {tea.guests: {at_most: 8}}}]", "[{should: {tea.guests: {at_most: 8}}}]"),
        "no-more-than-eight",
        "strength-changed",
        "should tea.guests is at most 8, before must",
        {"tea.guests"},
    ),
    "a condition added": (
        more("when: {tea.kind: herb}", "when: {tea.kind: herb, tea.guests: {above: 3}}"),
        "herbs-are-no-tea",
        "condition-added",
        "now also asks that tea.guests is above 3",
        {"brew.strength", "pot.lid"},
    ),
    "an exception dropped": (
        more("  unless: {tea.in_a_hurry: true}\n", ""),
        "mind-the-guests",
        "exception-dropped",
        "no longer excepted where tea.in_a_hurry is true",
        {"cautions"},
    ),
    "an override dropped": (
        more("  overrides: [herbs-are-no-tea]\n", ""),
        "hurry-means-strong",
        "override-dropped",
        "no longer sets herbs-are-no-tea aside",
        {"brew.strength", "pot.lid"},
    ),
    "a level": (
        more("level: caution", "level: stop"),
        "mind-the-guests",
        "level-changed",
        "its caution is a stop now",
        {"cautions", "stops"},
    ),
    "a value": (
        more("[{set: {brew.strength: weak}}]", "[{set: {brew.strength: strong}}]"),
        "herbs-are-no-tea",
        "value-changed",
        "sets brew.strength to strong, before to weak",
        {"brew.strength", "pot.lid"},
    ),
    "the order of steps": (
        more(", after: [wait]", ""),
        "pour",
        "order-changed",
        "its step no longer waits for wait",
        {"order of steps"},
    ),
    "a phase": (
        more("{phase: verify, text: Wait.}", "{phase: cure, text: Wait.}"),
        "wait",
        "phase-changed",
        "its step moved from verify to cure",
        {"steps"},
    ),
    "a condition dropped": (
        more("  when: {tea.kind: herb}\n", ""),
        "herbs-are-no-tea",
        "condition-dropped",
        "no longer asks that tea.kind is herb",
        {"brew.strength", "pot.lid"},
    ),
    "another choice": (
        more("when: {tea.kind: herb}", "when: {tea.kind: green}"),
        "herbs-are-no-tea",
        "condition-changed",
        "tea.kind is herb became tea.kind is green",
        {"brew.strength", "pot.lid"},
    ),
    "one choice more": (
        more("when: {tea.kind: herb}", "when: {tea.kind: [herb, green]}"),
        "herbs-are-no-tea",
        "condition-changed",
        "tea.kind is herb became tea.kind is herb or green",
        {"brew.strength", "pot.lid"},
    ),
    "an alternative": (
        more("when: {tea.kind: herb}", "when: {any: [{tea.kind: herb}, {tea.guests: 3}]}"),
        "herbs-are-no-tea",
        "condition-changed",
        "tea.kind is herb became tea.kind is herb or tea.guests is 3",
        {"brew.strength", "pot.lid"},
    ),
    "an exception added": (
        more("when: {tea.kind: herb}", "when: {tea.kind: herb}\n  unless: {tea.guests: 3}"),
        "herbs-are-no-tea",
        "exception-added",
        "now not where tea.guests is 3",
        {"brew.strength", "pot.lid"},
    ),
    "an exception changed": (
        more("unless: {tea.in_a_hurry: true}", "unless: {tea.in_a_hurry: false}"),
        "mind-the-guests",
        "exception-changed",
        "its exception: tea.in_a_hurry is true became tea.in_a_hurry is false",
        {"cautions"},
    ),
    "a bound of an alternative": (
        more(
            "unless: {tea.in_a_hurry: true}",
            "unless: {any: [{tea.in_a_hurry: true}, {tea.guests: {above: 11}}]}",
        ),
        "mind-the-guests",
        "exception-changed",
        "its exception: tea.in_a_hurry is true became tea.in_a_hurry is true or tea.guests is above 11",
        {"cautions"},
    ),
    "an override added": (
        more(
            "then: [{set: {brew.strength: weak}}]",
            "then: [{set: {brew.strength: weak}}]\n  overrides: [black-tea-is-strong]",
        ),
        "herbs-are-no-tea",
        "override-added",
        "now sets black-tea-is-strong aside",
        set(),
    ),
    "a demand added": (
        more(
            "[{must: {tea.guests: {at_most: 8}}}]",
            "[{must: {tea.guests: {at_most: 8}}}, {should: {pot.lid: glass}}]",
        ),
        "no-more-than-eight",
        "demand-added",
        "now also: should pot.lid is glass",
        {"pot.lid"},
    ),
    "a demand dropped": (
        {
            "tea.yaml": TEA.replace(
                "    - should: {pot.lid: glass}\n", "    - caution: {level: note, text: Look.}\n"
            )
        },
        "glass-shows-the-leaves",
        "demand-dropped",
        "no longer: should pot.lid is glass",
        {"pot.lid", "cautions"},
    ),
    "a conclusion added": (
        more(
            "[{caution: {level: caution, text: Mind them.}}]",
            "[{caution: {level: caution, text: Mind them.}}, {set: {brew.strength: weak}}]",
        ),
        "mind-the-guests",
        "conclusion-added",
        "now also sets brew.strength to weak",
        {"brew.strength", "pot.lid"},
    ),
    "a caution added": (
        more(
            "[{caution: {level: caution, text: Mind them.}}]",
            "[{caution: {level: caution, text: Mind them.}}, {caution: {level: note, text: Hm.}}]",
        ),
        "mind-the-guests",
        "caution-added",
        "has one more note: Hm.",
        {"cautions"},
    ),
    "a step added": (
        more(
            "[{step: {phase: verify, text: Wait.}}]",
            "[{step: {phase: verify, text: Wait.}}, {step: {phase: cure, text: Rest.}}]",
        ),
        "wait",
        "step-added",
        "has one more step of cure: Rest.",
        {"steps"},
    ),
    "a favour": (
        {"pot.yaml": POT.replace("pot.size: lowest", "pot.size: highest")},
        "small-pot",
        "favour-changed",
        "favours the highest pot.size, before it favours the lowest pot.size",
        {"pot.size"},
    ),
}


BACK = {
    "condition-added": "condition-dropped",
    "exception-added": "exception-dropped",
    "override-added": "override-dropped",
    "demand-added": "demand-dropped",
    "conclusion-added": "conclusion-dropped",
    "caution-added": "caution-dropped",
    "step-added": "step-dropped",
}


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_the_other_way_is_told_as_its_opposite(name: str) -> None:
    changed, rule_id, kind, _, differing = CHANGES[name]
    back = {after: before for before, after in BACK.items()} | BACK
    found = compared(base(changed), before())
    (one,) = found.rules
    assert one.rule == rule_id
    assert back.get(kind, kind) in [change.kind for change in one.changes]
    assert topics(found) == differing


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_of_meaning_is_told_and_only_what_it_changes(name: str) -> None:
    changed, rule_id, kind, says, differing = CHANGES[name]
    found = compared(before(), base(changed))
    (one,) = found.rules
    assert (one.rule, one.what) == (rule_id, CHANGED)
    assert (kind, says) in [(change.kind, change.says) for change in one.changes]
    assert len(one.changes) == 1 + (name == "a demand dropped")
    assert topics(found) == differing
    assert found.exit_status == bool(differing)
    for topic in found.topics:
        if topic.known == BY_PROOF:
            continue
        assert topic.witness is not None
        assert topic.witness.old != topic.witness.new


def test_a_bound_is_told_in_the_unit_of_its_fact() -> None:
    found = compared(before(), base(CHANGES["a bound of a demand on an option"][0]))
    (change,) = found.rules[0].changes
    assert (change.before, change.after) == (Number(900, "ml"), Number(1200, "ml"))


def test_rules_come_and_go() -> None:
    new = more("herbs-are-no-tea", "herbs-are-weak")["more.yaml"]
    assert new is not None
    new = new.replace("{tea.kind: herb}", "{tea.kind: green}").replace("weak}", "strong}")
    found = compared(before(), base({"more.yaml": new}))
    assert {(one.rule, one.what) for one in found.rules} == {
        ("herbs-are-no-tea", RETIRED),
        ("herbs-are-weak", ADDED),
        ("hurry-means-strong", CHANGED),
    }
    assert topics(found) == {"brew.strength", "pot.lid"}


def test_a_house_is_compared_with_what_it_lies_over(tmp_path: Path) -> None:
    write_kettle(tmp_path, {"more.yaml": MORE})
    mine = rule(
        "seven", "[{caution: {level: caution, text: Mind them.}}]",
        when="{tea.guests: {at_least: 7}}", unless="{tea.in_a_hurry: true}",
    ) + "  replaces: mind-the-guests\n"  # fmt: skip
    new = read_rule_base(write_house(tmp_path, {"mine.yaml": mine}))
    found = compared(before(), new)
    (one,) = found.rules
    assert (one.rule, one.what, one.replaces) == ("seven", CHANGED, True)
    assert [change.kind for change in one.changes] == ["bound-moved", "layer"]
    assert topics(found) == {"cautions"}


WORDS: dict[str, tuple[dict[str, str | None], str, bool]] = {
    "an assumption": (
        {"vocabulary.yaml": VOCABULARY.replace("value: black", "value: green")},
        "where nobody states tea.kind, green is assumed, before black",
        True,
    ),
    "a choice": (
        {"vocabulary.yaml": VOCABULARY.replace("herb: no", "fruit: no tea, herb: no")},
        "tea.kind can be fruit now",
        False,
    ),
    "a range": (
        {"vocabulary.yaml": VOCABULARY.replace("range: [1, 12]", "range: [1, 20]")},
        "tea.guests is from 1 to 20, before 1 to 12",
        False,
    ),
    "the ladder": (
        {"ladder.yaml": LADDER.replace("300 ml, ", "")},
        "the ladder offers of pot.size: 500 ml, 1000 ml",
        True,
    ),
    "the domain": (
        {"manifest.yaml": MANIFEST + "domain: [{tea.guests: {below: 10}}]\n"},
        "the domain asks that tea.guests is below 10",
        False,
    ),
    "a choice that is gone": (
        {
            "vocabulary.yaml": VOCABULARY.replace(", herb: no tea at all", ""),
            "more.yaml": MORE.replace("herb", "green"),
        },
        "tea.kind is never herb any more",
        True,
    ),
    "an assumption that is gone": (
        {
            "vocabulary.yaml": VOCABULARY.replace(
                "    assume: {value: black, because: most people drink it}\n", ""
            )
        },
        "where nobody states tea.kind, nothing is assumed any more",
        True,
    ),
    "a unit": (
        {
            "vocabulary.yaml": VOCABULARY.replace(
                "unit: ml, range: [200, 2000]", "unit: mm2, range: [200, 2000]"
            ),
            "ladder.yaml": LADDER.replace(" ml", " mm2"),
            "pot.yaml": POT.replace(" ml", " mm2"),
            "more.yaml": MORE.replace(" ml", " mm2"),
        },
        "pot.size is told in mm2, before ml",
        True,  # a step shows it
    ),
    "a fact": (
        {"vocabulary.yaml": VOCABULARY + "  tea.milk: {kind: flag, origin: given, question: Q?}\n"},
        "there is a new fact tea.milk",
        False,
    ),
}


REFUSING = ("a choice", "a range", "a choice that is gone", "a unit", "a fact")


@pytest.mark.parametrize("name", WORDS)
def test_a_change_of_the_vocabulary_is_told(name: str) -> None:
    changed, says, differs = WORDS[name]
    found = compared(before(), base(changed))
    meant_otherwise = [rule.rule for rule in found.rules if rule.what != REWORDED]
    assert bool(meant_otherwise) == (name == "a choice that is gone")
    assert says in [change.says for change in found.vocabulary]
    assert (DIFFERS in (found.setup, found.build)) == differs
    assert (found.stated == DIFFERS) == (name in REFUSING)
    assert found.exit_status == (differs or name in REFUSING)


def test_the_ladder_alone_changes_builds_and_nothing_else() -> None:
    found = compared(before(), base(WORDS["the ladder"][0]))
    assert found.setup == BY_STRUCTURE
    assert found.build == DIFFERS
    assert {topic.topic for topic in found.builds} >= {"pot.size"}


def test_what_no_proof_settles_is_not_said_to_be_the_same() -> None:
    """Without a solver the same change is only not found."""
    changed, known = SAME["an alternative that is never needed"]
    assert known == BY_PROOF
    found = compare_rules(before(), base(changed), setups=5000, builds=20, proofs=False)
    assert (found.setup, found.build) == (NO_DIFFERENCE_FOUND, NO_DIFFERENCE_FOUND)
    assert found.exit_status == 0
