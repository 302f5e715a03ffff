"""Populations as they are written: what is read, and every fault of one told at once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

from advisor.engine.values import GIVEN
from advisor.errors import Faults
from advisor.population import read_population, sample, usual_file, usual_population
from advisor.rulebase.locate import schema_folder
from advisor.rulebase.read import read_rule_base
from advisor.vocabulary import Vocabulary
from tests.columns.test_planted import before

GOOD = """\
population: guests
because: Made up for a test. Facts are drawn
  independently.
facts:
  tea.kind: {choices: {black: 3, green: 1}, stated: 0.9}
  tea.guests: {between: [2, 8], step: 2}
  tea.in_a_hurry: {share: 0.25}
  pot.size: {values: [300 ml, 1 l], weights: [1, 3], stated: 0.5}
"""


def read(text: str) -> str:
    """Return the report of a population's faults."""
    with pytest.raises(Faults) as refused:
        read_population("people.yaml", before().vocabulary, text)
    assert refused.value.exit_status == 2
    return refused.value.text("nothing was compared")


def test_a_population_is_read_in_the_units_of_the_vocabulary(tmp_path: Path) -> None:
    path = tmp_path / "people.yaml"
    path.write_text(GOOD.replace("1 l", "1000 ml"), encoding="utf-8")
    people = read_population(str(path), before().vocabulary)
    assert (people.name, people.because) == (
        "guests",
        "Made up for a test. Facts are drawn independently.",
    )
    kind, guests = people.facts["tea.kind"], people.facts["tea.guests"]
    assert (kind.values, kind.weights, kind.stated) == (("black", "green"), (0.75, 0.25), 0.9)
    assert (guests.values, guests.weights) == ((2, 4, 6, 8), (0.25,) * 4)
    assert people.facts["tea.in_a_hurry"].weights == (0.75, 0.25)
    assert people.facts["pot.size"].values == (300.0, 1000.0)
    assert people.always == {"tea.guests", "tea.in_a_hurry"}


def test_all_faults_are_told_at_once() -> None:
    text = """\
population: guests
because: Made up.
facts:
  tea.kind: {choices: {blck: 3, green: 1}}
  tea.gests: {between: [2, 8], step: 2}
  tea.guests: {between: [8, 2], step: 2}
  tea.in_a_hurry: {choices: {yes: 1}}
  pot.size: {values: [300 ml], weights: [1, 3]}
  pot.lid: {choices: {clay: 1}, values: [clay]}
  brew.strength: {choices: {weak: 1}}
"""
    assert read(text) == (
        "people.yaml:4:24  `blck` is no choice of tea.kind\n"
        "                  did you mean black? choices: black, green, herb\n"
        "people.yaml:5:3   `tea.gests` is no fact\n"
        "                  did you mean tea.guests?\n"
        "people.yaml:6:25  the bounds are the wrong way round\n"
        "                  the lower one first\n"
        "people.yaml:7:20  tea.in_a_hurry has no choices\n"
        "                  give `share`, of those where it is so\n"
        "people.yaml:8:32  there are 2 weights for 1 value\n"
        "                  give one weight for each value\n"
        "people.yaml:9:3   pot.lid is spread by choices and values\n"
        "                  give one of choices, values, between or share\n"
        "people.yaml:10:3  brew.strength is concluded by rules; no setup states it\n"
        "                  leave it out\n"
        "7 faults; nothing was compared"
    )


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("tea.guests: {between: [2, 8]}", "is spread between two bounds without a step"),
        ("tea.guests: {between: [2, 8], step: 0}", "`0` is no step"),
        ("tea.guests: {between: [2, 18], step: 1}", "18"),
        ("tea.guests: {values: [2], step: 1}", "a step goes with `between`"),
        ("tea.kind: {choices: {green: 0}}", "no value of tea.kind has any weight"),
        ("tea.kind: {between: [black, green], step: 1}", "tea.kind is no number"),
        ("tea.guests: {share: 0.5}", "tea.guests is no flag"),
        ("tea.guests: {stated: 0.5}", "tea.guests is spread by nothing"),
        ("tea.guests: {values: [2], stated: 1.5}", "1.5"),
        ("pot.size: {between: [200 ml, 2000 ml], step: 0.1 ml}", "the step makes 18001 values"),
    ],
)
def test_each_fault_is_told(line: str, what: str) -> None:
    report = read(f"population: guests\nbecause: Made up.\nfacts:\n  {line}\n")
    assert what in report
    assert report.endswith("1 fault; nothing was compared")


def test_shares_of_a_fact_with_several_values_go_up_to_one() -> None:
    words = read_rule_base().vocabulary
    text = "population: p\nbecause: b\nfacts:\n  discipline: {choices: {hunting: 2, 3d: 0.5}}\n"
    with pytest.raises(Faults, match="2 is no share: hunting is in so many of all setups"):
        read_population("people.yaml", words, text)


def test_the_shipped_population_names_every_given_fact_but_few() -> None:
    words = read_rule_base().vocabulary
    people = usual_population(words)[0]
    assert people.name == "usual"
    assert "no source" in people.because
    left_out = set(words.of_origin(GIVEN)) - set(people.facts)
    assert left_out <= {"air.viscosity", "law.checked", "air.temperature"}


def test_the_shipped_population_keeps_to_its_schema() -> None:
    with open(f"{schema_folder()}/population.schema.json", encoding="utf-8") as file:
        schema = json.load(file)
    with open(usual_file(), encoding="utf-8") as file:
        Draft202012Validator(schema).validate(yaml.safe_load(file))


def test_every_choice_of_a_shipped_fact_is_drawn_by_somebody() -> None:
    """What is left out of a population would never be seen to change."""
    words = read_rule_base().vocabulary
    people = usual_population(words)[0]
    for name, spread in people.facts.items():
        entry = words[name]
        if entry.choices and not entry.several:
            assert set(spread.values) == set(entry.choices), name
    seen = {value for setup in sample(people, 1, 500) for value in setup.get("discipline", ())}
    assert seen == set(words["discipline"].choices)


def test_another_vocabulary_gets_an_even_population() -> None:
    people = usual_population(before().vocabulary)[0]
    assert people.name == "even"
    assert people.facts["tea.guests"].values == tuple(range(1, 13))
    assert all(spread.stated == 0.5 for spread in people.facts.values())


def test_of_the_shipped_population_only_what_does_not_fit_is_left_out() -> None:
    """One choice is gone, a fact has another range, a third is not there: all else is drawn."""
    words = read_rule_base().vocabulary
    entries = dict(words.entries)
    head = entries["point.type"]
    kept = {name: told for name, told in head.choices.items() if name != "blunt"}
    entries["point.type"] = head._replace(choices=kept)
    del entries["nock.lighted"]
    people, hints = usual_population(Vocabulary(entries.values()))
    whole, none = usual_population(words)
    assert none == []
    assert people.name == "usual"
    assert set(people.facts) == set(whole.facts) - {"nock.lighted"}
    assert "blunt" not in people.facts["point.type"].values
    assert sum(people.facts["point.type"].weights) == pytest.approx(1)
    assert people.facts["point.type"].stated == whole.facts["point.type"].stated
    (hint,) = hints
    assert "point.type blunt" in hint
    assert "nock.lighted" in hint
    assert len([name for name in whole.facts if name in hint]) == 2


def test_that_an_even_population_was_taken_is_said() -> None:
    _, hints = usual_population(before().vocabulary)
    assert hints == [
        "the population `usual` states nothing that these rules know; an even one was taken"
    ]
