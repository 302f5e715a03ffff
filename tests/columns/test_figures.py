"""What a caution or a step shows of a fact is part of it, and so is what that rests on."""

from __future__ import annotations

import pytest

from advisor.comparing_rules import compare_rules
from advisor.rulebase.model import RuleBase
from advisor.rules_compared import BY_PROOF, BY_STRUCTURE, DIFFERS
from tests.columns.test_planted import MORE, base
from tests.rulebase.folders import TEA, VOCABULARY, rule

CUPS = (
    "  tea.cups: {kind: count, origin: given, range: [1, 40], question: Q?, "
    "assume: {value: 12, because: a dozen}}\n"
)


def with_step(text: str, cups: str = "12", tea: str = TEA, when: str = "") -> RuleBase:
    """Return rules with a step that shows something, and a number of cups that is assumed."""
    shows = rule(
        "show",
        f"[{{step: {{phase: prepare, text: {text!r}}}}}]",
        **({"when": when} if when else {}),
    )
    words = VOCABULARY + CUPS.replace("value: 12", f"value: {cups}")
    return base({"vocabulary.yaml": words, "more.yaml": MORE + shows, "tea.yaml": tea})


@pytest.mark.parametrize("proofs", [True, False])
@pytest.mark.parametrize("numpy", [True, False])
def test_an_assumption_that_only_a_text_shows_is_other_advice(
    monkeypatch: pytest.MonkeyPatch, proofs: bool, numpy: bool
) -> None:
    if not numpy:
        monkeypatch.setitem(__import__("sys").modules, "numpy", None)
    old, new = (with_step("Lay out {tea.cups} cups.", cups) for cups in ("12", "6"))
    found = compare_rules(old, new, setups=2000, builds=30, proofs=proofs)
    (topic,) = found.topics
    assert (topic.topic, topic.known, found.setup, found.exit_status) == (
        "steps",
        DIFFERS,
        DIFFERS,
        1,
    )
    assert topic.witness is not None
    assert topic.witness.setup == {}
    assert [one.says for one in topic.witness.old] == ["step of prepare: Lay out 12 cups."]
    assert [one.says for one in topic.witness.new] == ["step of prepare: Lay out 6 cups."]
    # Half the setups state the cups, and see no other figure.
    assert topic.changed / topic.of == pytest.approx(0.5, abs=0.05)
    assert "steps" in {one.topic for one in found.builds}


def test_the_solver_finds_a_figure_that_differs_and_proves_one_that_does_not() -> None:
    old, new = (with_step("Lay out {tea.cups} cups.", cups) for cups in ("12", "6"))
    (topic,) = compare_rules(old, new, setups=0, builds=0).topics
    assert (topic.known, topic.witness is not None) == (DIFFERS, True)
    when = "{tea.cups: {stated: true}}"
    old, new = (with_step("Lay out {tea.cups} cups.", cups, when=when) for cups in ("12", "6"))
    (topic,) = compare_rules(old, new, setups=0, builds=0).topics
    assert (topic.topic, topic.known) == ("steps", BY_PROOF)


def test_a_figure_that_is_concluded_rests_on_what_concludes_it() -> None:
    old = with_step("Make it {brew.strength}.")
    new = with_step(
        "Make it {brew.strength}.", tea=TEA.replace("strength: strong}", "strength: weak}", 1)
    )
    found = compare_rules(old, new, setups=2000, builds=0)
    steps = next(topic for topic in found.topics if topic.topic == "steps")
    assert (steps.known, steps.changed > 0) == (DIFFERS, True)


def test_an_assumption_that_nothing_shows_or_reads_changes_nothing() -> None:
    old, new = (with_step("Lay out the cups.", cups) for cups in ("12", "6"))
    found = compare_rules(old, new, setups=0, builds=0)
    assert (found.setup, found.build, found.topics) == (BY_STRUCTURE, BY_STRUCTURE, ())


def test_another_figure_in_other_words_is_a_change_of_the_text_alone() -> None:
    """The new text shows what the old one did not: that is to be read, not counted."""
    old, new = with_step("Lay out the cups."), with_step("Lay out {tea.cups} cups.")
    found = compare_rules(old, new, setups=0, builds=0)
    assert found.setup == BY_STRUCTURE
    assert found.has_other_texts
    assert found.exit_status == 1
