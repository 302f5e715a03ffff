"""What a page of a comparison shows: firm setups, the command that runs them, and what was not done."""

from __future__ import annotations

import shlex

import pytest

from advisor.comparing_rules import MOST_SETUPS, compare_rules, compare_versions
from advisor.errors import Faults
from advisor.population import Spread, even_population
from advisor.render.rules_comparison_text import command, render, verdict
from advisor.rules_compared import DIFFERS, NOT_LOOKED_AT
from tests.columns.test_planted import CHANGES, MORE, base, before, compared, more
from tests.columns.test_population import read
from tests.rulebase.folders import VOCABULARY, rule


@pytest.mark.parametrize("name", CHANGES)
def test_every_topic_that_differs_has_a_setup_and_the_verdict_comes_first(name: str) -> None:
    found = compared(before(), base(CHANGES[name][0]))
    witnesses = [topic.witness for topic in found.topics if topic.known == DIFFERS]
    witnesses += [topic.witness for topic in found.builds]
    assert None not in witnesses
    page = " ".join(render(found, False).partition("\n\n")[2].split())
    assert page.startswith(verdict(found))


def test_a_demand_on_an_option_is_shown_where_it_is_broken() -> None:
    """That another number is asked for shows on no build that meets both."""
    found = compare_rules(
        before(), base(CHANGES["a bound of a demand on an option"][0]), setups=0, builds=0
    )
    (topic,) = found.topics
    assert topic.witness is not None
    assert not topic.witness.undecided
    says = [one.says for one in (*topic.witness.old, *topic.witness.new)]
    assert any(one.endswith("which is broken") for one in says)
    assert not all(one.endswith("which is broken") for one in says)


def test_what_stands_is_looked_for_by_the_solver_where_no_setup_drawn_shows_it() -> None:
    """A caution that three facts together call for, in a population that states one of them."""
    seldom = rule(
        "seldom", "[{caution: {level: note, text: Hm.}}]",
        when="{tea.guests: 11, tea.kind: herb, tea.in_a_hurry: true}",
    )  # fmt: skip
    new = base({"more.yaml": MORE + seldom})
    nobody = even_population(before().vocabulary)
    nobody = nobody._replace(facts={"tea.kind": Spread(("herb",), (1.0,), 1.0)})
    found = compare_rules(before(), new, nobody, setups=50, builds=0)
    (topic,) = found.topics
    assert topic.witness is not None
    assert (topic.changed, topic.witness.undecided) == (0, False)
    assert set(topic.witness.setup) == {"tea.guests", "tea.kind", "tea.in_a_hurry"}
    without = compare_rules(before(), new, nobody, setups=50, builds=0, proofs=False)
    (unsure,) = without.topics
    assert unsure.witness is not None
    assert unsure.witness.undecided
    assert "only undecided rules differ" in render(without, False)


def one_line(lines: list[str]) -> str:
    """Return a command as a shell joins its lines."""
    return "\n".join(lines).replace("\\\n", "")


def test_a_setup_is_shown_as_a_command_that_states_it() -> None:
    found = compared(before(), base(CHANGES["an alternative"][0]))
    topic = next(topic for topic in found.topics if topic.topic == "brew.strength")
    assert topic.witness is not None
    lines = command(topic.witness)
    assert all(line in render(found, False) for line in lines)
    parts = shlex.split(one_line(lines))
    assert parts[:4] == ["advisor", "advise", "--rules", "NEW"]
    told = [part.partition("=")[::2] for part in parts[5::2]]
    assert dict(told)["tea.guests"] == "3"
    assert {name for name, _ in told} == set(topic.witness.setup)


def test_a_command_quotes_what_a_shell_would_take_apart() -> None:
    found = compared(before(), base(CHANGES["a bound of a demand on an option"][0]))
    (witness,) = [topic.witness for topic in found.topics]
    assert witness is not None
    sets = shlex.split(one_line(command(witness)))[5::2]
    assert [one for one in sets if one.startswith("pot.size=") and one.endswith(" ml")]


def test_that_no_setup_was_looked_at_is_said() -> None:
    found = compare_rules(before(), base(CHANGES["a bound"][0]), setups=0, builds=0, proofs=False)
    assert (found.setup, found.build) == (NOT_LOOKED_AT, NOT_LOOKED_AT)
    assert verdict(found) == "Whether advice changed is not known: no setup was looked at."
    assert "No setup was looked at." in render(found, False)


def test_that_a_solver_found_what_is_shown_is_said() -> None:
    found = compare_rules(before(), base(CHANGES["a bound"][0]), setups=0, builds=0)
    assert found.setup == DIFFERS
    told = "No setup of a population was looked at; a solver found those shown."
    assert told in render(found, False)


def test_other_words_of_facts_and_sources_are_named() -> None:
    new = base({
        "vocabulary.yaml": VOCABULARY.replace("label: lid", "label: cover")
        .replace("question: Which tea?", "question: What tea?")
        .replace("black: fermented", "black: well fermented")
        .replace("most people drink it", "many drink it"),
        "sources.yaml": "sources:\n  tea-book: {author: A. Leaf, title: Tea, year: 1950, from_memory: true}\n",
    })  # fmt: skip
    found = compared(before(), new)
    assert found.exit_status == 0
    parts = "question, what black means, the reason of what is assumed"
    assert [change.says for change in found.vocabulary] == [
        f"tea.kind is told in other words: {parts}",
        "pot.lid is told in other words: label",
        "the source tea-book is told otherwise",
    ]
    assert "tea.kind is told in other words" in render(found, False)


def test_what_has_another_digest_is_not_said_to_be_unchanged() -> None:
    manifest = (
        "schema: 1\nname: kettle\nversion: 1.2.0\nsays: How tea is made.\nfavours: [small-pot]\n"
    )
    found = compared(before(), base({"manifest.yaml": manifest}))
    assert found.old.digest != found.new.digest
    assert "Nothing changed" not in verdict(found)
    assert verdict(compared(before(), base(more("id: wait\n", "id: wait\n")))) == "Nothing changed."


def test_facts_keep_their_small_letters() -> None:
    words = {"vocabulary.yaml": VOCABULARY.replace("range: [1, 12]", "range: [1, 20]")}
    assert "tea.guests is from 1 to 20, before 1 to 12." in render(
        compared(before(), base(words)), False
    )


def test_more_setups_than_there_is_room_for_are_refused() -> None:
    for setups, builds in ((100_000_000_000, 0), (0, 100_000_000_000), (-1, 0)):
        with pytest.raises(Faults, match="is no number of setups to look at") as refused:
            compare_rules(before(), before(), setups=setups, builds=builds)
        assert refused.value.about == "usage"
    with pytest.raises(Faults, match="--setups"):
        compare_versions("nowhere", "nowhere", setups=MOST_SETUPS + 1)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("tea.kind: {choices: {black: .nan}}", "4:31  `.nan` is no share and no weight"),
        ("tea.kind: {choices: {black: .inf}}", "4:31  `.inf` is no share and no weight"),
        ("tea.guests: {values: [1, 2], weights: [1, .nan]}", "`.nan` is no share and no weight"),
        ("tea.kind: {choices: {black: 1}, stated: .nan}", "`.nan` is no share and no weight"),
        ("tea.in_a_hurry: {share: .nan}", "`.nan` is no share and no weight"),
        ("tea.kind: {choices: {black: 1.0e+308, green: 1.0e+308}}", "weigh more than a number"),
        ("tea.guests: {values: [1, 2], weights: [1]}", "there is 1 weight for 2 values"),
    ],
)
def test_what_is_no_number_is_no_weight(line: str, says: str) -> None:
    report = read(f"population: guests\nbecause: Made up.\nfacts:\n  {line}\n")
    assert says in report
    assert "write a number" in report or "give" in report
