"""Changes of the base rules: what they come to, and that every setup shown really shows it."""

from __future__ import annotations

import json
import shutil
from functools import cache, partial
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from advisor.comparing_rules import compare_rules
from advisor.decision import Number, to_plain
from advisor.engine.values import Value
from advisor.meanings.matching import match
from advisor.meanings.sampling import Builds
from advisor.meanings.sides import sides_of
from advisor.meanings.witnessing import Replay
from advisor.population import usual_population
from advisor.render.rules_comparison_text import render
from advisor.rulebase.locate import base_folder, schema_folder
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.rules_compared import (
    BUILD,
    BY_PROOF,
    BY_STRUCTURE,
    DIFFERS,
    NO_DIFFERENCE_FOUND,
    NOT_LOOKED_AT,
    REWORDED,
    ComparedRule,
    RulePlace,
    RulesComparison,
    Witness,
)
from tests.heavy import untraced

CHANGED: dict[str, tuple[str, str, str]] = {
    "a bound on a computed fact": (
        "mass-and-balance.yaml",
        "{arrow.vaneless_mass_per_draw: {below: 4.6 gr/lb}}",
        "{arrow.vaneless_mass_per_draw: {below: 4.9 gr/lb}}",
    ),
    "a bound that waits for the build": (
        "mass-and-balance.yaml",
        "{arrow.mass_per_draw: {below: 5 gr/lb}}",
        "{arrow.mass_per_draw: {below: 5.5 gr/lb}}",
    ),
    "a must for a should": (  # much of a whole build differs where it does
        "count.yaml",
        "- should: {fletching.count: 4}",
        "- must: {fletching.count: 4}",
    ),
    "a demand on an option": ("count.yaml", "fletching.count: 4", "fletching.count: 3"),
    "an exception dropped": (
        "mass-and-balance.yaml",
        "{below: 4.6 gr/lb}}\n  unless: {bow.type: crossbow}\n",
        "{below: 4.6 gr/lb}}\n",
    ),
    "another head": (
        "wind.yaml",
        "point.type: fixed-blade",
        "point.type: [fixed-blade, mechanical]",
    ),
}


@cache
def old() -> RuleBase:
    return read_rule_base()


def changed(root: Path, name: str) -> RuleBase:
    file, before, after = CHANGED[name]
    folder = root / "base"
    shutil.copytree(base_folder(), folder)
    text = (folder / file).read_text(encoding="utf-8")
    assert before in text
    (folder / file).write_text(text.replace(before, after, 1), encoding="utf-8")
    return read_rule_base(str(folder))


def stated(witness: Witness) -> dict[str, Value]:
    return {
        name: value.value if isinstance(value, Number) else value
        for name, value in witness.setup.items()
    }


@untraced
@pytest.mark.parametrize("name", CHANGED)
def test_every_setup_shown_shows_a_difference(tmp_path: Path, name: str) -> None:
    new = changed(tmp_path, name)
    found = compare_rules(old(), new, setups=100_000, builds=60)
    assert DIFFERS in (found.setup, found.build)
    sides = sides_of(old(), new, match(old(), new))
    replay, shown = Replay(sides), 0
    for topic in found.topics:
        if topic.witness is not None:
            shown += 1
            keys = [key for key in sides.candidates if key.topic == topic.topic]
            facts = stated(topic.witness)
            assert replay.differing(keys, facts)
            # No single fact can be left out, or the build that is chosen shows nothing of it.
            ways = (
                replay.offended,
                partial(replay.differing, firm=True),
                replay.differing,
            )
            way = next(way for way in ways if way(keys, facts))
            for fact in facts:
                less = {name: value for name, value in facts.items() if name != fact}
                still = way(keys, less)
                assert not still or not replay.is_confirmed(still, less)
    builds = Builds(replay)
    for one in found.builds:
        shown += 1
        assert one.witness is not None, one.topic
        assert one.topic in builds.differing(stated(one.witness))
    assert shown
    holds_together(found)


def holds_together(found: RulesComparison) -> None:
    """Check that a comparison keeps to its schema, and its page to eighty columns."""
    plain = json.loads(json.dumps(to_plain(found)))
    with open(f"{schema_folder()}/rules-comparison.schema.json", encoding="utf-8") as file:
        Draft202012Validator(json.load(file)).validate(plain)
    page = render(found, False)
    assert all(len(line) <= 80 for line in page.splitlines())
    assert page in render(found, True).replace("\x1b[0m", "").replace("\x1b[1m", "").replace(
        "\x1b[1;33m", ""
    )


def test_the_base_rules_are_what_they_are() -> None:
    found = compare_rules(old(), read_rule_base(base_folder()))
    assert (found.setup, found.build, found.exit_status) == (BY_STRUCTURE, BY_STRUCTURE, 0)
    assert render(found, False) == (
        "Two rule bases compared\n"
        f"       from base {old().version}, digest {old().digest[:12]}\n"
        f"       to   base {old().version}, digest {old().digest[:12]}\n"
        "\n"
        "       Nothing changed.\n"
        "\n"
        "Conclusions that need no build\n"
        "       As before: all that they come from is the same.\n"
        "\n"
        "Whole builds\n"
        "       As before: all that they come from is the same.\n"
        "\n"
        "How it is known\n"
        "       By comparing what all advice comes from; no setup was needed.\n"
    )


def test_what_waits_for_the_build_is_counted_where_every_setup_settles_it(tmp_path: Path) -> None:
    """Who weighs every arrow knows its mass, whatever is chosen."""
    new = changed(tmp_path, "a bound that waits for the build")
    people = usual_population(new.vocabulary)[0]
    facts = {**people.facts, "arrow.mass": people.facts["arrow.mass"]._replace(stated=1.0)}
    found = compare_rules(old(), new, people._replace(facts=facts), setups=100_000, builds=0)
    (topic,) = found.topics
    assert (topic.topic, topic.needs, topic.known) == ("stops", "setup", DIFFERS)
    assert 0 < topic.changed < 100_000
    assert topic.witness is not None
    assert set(topic.witness.setup) == {"arrow.mass", "bow.draw_weight"}


def test_a_house_over_the_base_is_told_in_eighty_columns() -> None:
    house = read_rule_base("examples/quillmere/rules")
    found = compare_rules(old(), house, setups=20_000, builds=20)
    assert {one.rule for one in found.rules if one.what == "retired"} == {"compare-three-with-four"}
    holds_together(found)
    # What a solver found states every option; what is shown states what counts.
    shown = [topic.witness for topic in found.topics if topic.needs == BUILD]
    assert max(len(one.setup) for one in shown if one is not None) <= 8
    (hint,) = found.hints
    assert hint == "no setup of the population states club.book, hunt.district, shop.line"


@pytest.mark.parametrize(
    ("setup", "build", "says"),
    [
        (BY_STRUCTURE, BY_PROOF, "gets other advice (proved)."),
        (BY_STRUCTURE, NOT_LOOKED_AT, "No difference of advice was found; that is no proof."),
        (NO_DIFFERENCE_FOUND, BY_PROOF, "No difference of advice was found; that is no proof."),
        (BY_PROOF, DIFFERS, "Advice changed."),
    ],
)
def test_the_page_claims_no_more_than_is_known(setup: str, build: str, says: str) -> None:
    found = compare_rules(old(), old())
    rule = ComparedRule("steer", REWORDED, "Steer.", None, RulePlace("steer", "base/a.yaml", 3))
    page = render(found._replace(setup=setup, build=build, rules=(rule,)), False)
    assert says in " ".join(page.partition("Reworded")[0].split())
