"""The Review holds the Decision and the whole way back, each rule as its file has it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path

import jsonschema
import pytest

from advisor.decision import to_plain
from advisor.derivation import RULE, STAGE, STANDS, STANDS_OPEN, STATES, Step
from advisor.documents import read_document
from advisor.near_misses import near_misses
from advisor.pipeline import advise
from advisor.render.review_html import render
from advisor.review import FORMATS, answer, review, rules_named
from advisor.reviewing import FORMAT, NUMBER, OPTION, Review, from_plain
from advisor.rulebase.locate import schema_folder
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup
from advisor.turning import turning_points
from advisor.why import why
from tests.derivations import GARDEN, GARDENS, NAMES, judged, judgement_of, ruled_by
from tests.heavy import untraced

HUNTING = "fixed-blade-hunting"
SCHEMA = jsonschema.Draft202012Validator(
    json.loads((Path(schema_folder()) / "review.schema.json").read_text())
)


@cache
def review_of(name: str) -> Review:
    return review(judgement_of(name))


@untraced
@pytest.mark.parametrize("name", NAMES)
def test_the_decision_is_the_one_that_is_advised(name: str) -> None:
    judgement, found = judgement_of(name), review_of(name)
    base, stock = ruled_by(name)
    assert found.decision == advise(judgement.setup, base, stock, weigh=True)
    assert found.turning_points == turning_points(judgement)
    assert found.near_misses == near_misses(judgement)


@pytest.mark.parametrize("name", NAMES)
def test_everything_advised_has_its_way_back(name: str) -> None:
    found = review_of(name)
    d = found.decision
    asked = [one.what for one in found.asked]
    assert len(asked) == len(set(asked))
    assert {one.what for one in found.asked if one.kind == NUMBER} == set(d.numbers)
    assert {one.what for one in found.asked if one.kind == OPTION} == set(d.chosen) & set(d.build)
    assert set(asked) == {*d.fired, *d.numbers, *(set(d.chosen) & set(d.build))}
    for rule in (*(c.rule for c in d.cautions), *(s.rule for s in d.steps)):
        assert rule in asked
    assert {one.what for one in found.asked if one.kind == "set-aside"} == {
        lost.rule for lost in d.set_aside
    }


def rewritten(step_of: Callable[[int], Step], start: int) -> set[str]:
    """What a way back says from one step on, told without numbers."""

    def key(number: int) -> tuple[str, ...]:
        step = step_of(number)
        return step.kind, step.name, step.rule, step.says, step.strength

    said: set[str] = set()
    todo, seen = [start], {start}
    while todo:
        step = step_of(todo.pop())
        bare = step._replace(
            number=0,
            rests_on=(),
            tests=tuple(t._replace(facts=()) for t in step.tests),
            concludes=tuple(c._replace(facts=()) for c in step.concludes),
        )
        below = [key(n) for n in step.rests_on]
        groups = [*(t.facts for t in step.tests), *(c.facts for c in step.concludes)]
        said.add(repr((bare, below, [list(map(key, facts)) for facts in groups])))
        more = {*step.rests_on, *(n for facts in groups for n in facts)}
        todo += more - seen
        seen |= more
    return said


@pytest.mark.parametrize("name", NAMES)
def test_told_together_it_says_what_is_told_of_each_by_itself(name: str) -> None:
    judgement, found = judgement_of(name), review_of(name)
    every = 1 if name in GARDENS or name == HUNTING else 7
    for one in found.asked[::every]:
        alone = why(judgement, one.what)
        assert rewritten(found.step, one.step) == rewritten(alone.step, 1), one


@pytest.mark.parametrize("name", NAMES)
def test_steps_are_numbered_and_each_is_led_to(name: str) -> None:
    found = review_of(name)
    assert [step.number for step in found.steps] == list(range(1, len(found.steps) + 1))
    led_to = {one.step for one in found.asked} | {text.step for text in found.rule_texts}
    for step in found.steps:
        led_to |= {*step.rests_on, *(n for test in step.tests for n in test.facts)}
        led_to |= {n for conclusion in step.concludes for n in conclusion.facts}
        assert step.number not in step.rests_on
    assert led_to == {step.number for step in found.steps}
    # But for the stages, which tell what each leaves of one option, nothing is told twice.
    keys = [(s.kind, s.name, s.rule, s.says, s.strength) for s in found.steps if s.kind != STAGE]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize("name", NAMES)
def test_every_rule_stands_there_as_in_its_file(name: str) -> None:
    base, found = judgement_of(name).base, review_of(name)
    texts = {text.rule: text for text in found.rule_texts}
    assert len(texts) == len(found.rule_texts)
    assert set(found.decision.fired) <= set(texts)
    assert {miss.rule for miss in found.near_misses} <= set(texts)
    assert {dispute.rule for dispute in found.decision.contested} <= set(texts)
    assert {step.name for step in found.steps if step.kind == RULE} == set(texts)
    for text in found.rule_texts:
        entry = base.entries[text.rule]
        rows = Path(entry.file).read_text(encoding="utf-8").split("\n")[text.line - 1 :]
        lines = text.text.split("\n")
        assert lines == [row.rstrip() for row in rows[: len(lines)]]
        assert lines[0] == f"- id: {text.rule}"
        after = next((row for row in rows[len(lines) :] if row.strip()), "- id")
        assert after.startswith(("- id", "#")), (text.rule, after)
        assert read_document("rule", text.text).data == [entry.source]
        step = found.step(text.step)
        assert (step.kind, step.name, step.state) == (RULE, text.rule, text.state)
        assert text.state in STATES
        assert (text.says, text.evidence.kind) == (entry.says, entry.evidence.kind)
        assert (text.layer, text.file.partition("/")[0]) == (entry.layer, entry.layer)
        assert text.overrides == tuple(entry.rule.overrides)


@pytest.mark.parametrize("name", NAMES)
def test_no_rule_is_named_whose_text_is_missing(name: str) -> None:
    base, found = judgement_of(name).base, review_of(name)
    parts = (found.decision, found.near_misses, found.steps, found.evidence, found.asked)
    assert rules_named(parts, base.entries) <= {text.rule for text in found.rule_texts}


@pytest.mark.parametrize("name", NAMES)
def test_every_rule_in_force_has_its_evidence_told_once(name: str) -> None:
    judgement, found = judgement_of(name), review_of(name)
    base = judgement.base
    standing = {e for e in base.entries if judgement.run.stands(e)}
    rules = [rule for group in found.evidence for rule in group.rules]
    assert sorted(rules) == sorted(standing)
    states = {text.rule for text in found.rule_texts if text.state in (STANDS, STANDS_OPEN)}
    assert states == standing
    for group in found.evidence:
        cited = [one for work in group.works for one in work.cited] + list(group.others)
        assert sorted(one.rule for one in cited) == sorted(group.rules)
        for one in cited:
            held = base.entries[one.rule].evidence
            assert held.kind == group.kind
            assert (one.place, one.function, one.note) == (held.place, held.function, held.note)
        for work in group.works:
            source = base.sources[work.source]
            assert work[:7] == (
                source.id,
                source.author,
                source.title,
                source.year,
                source.where,
                source.note,
                source.from_memory,
            )
            assert {base.entries[c.rule].evidence.source for c in work.cited} == {work.source}
    assert all(not base.entries[o.rule].evidence.source for g in found.evidence for o in g.others)


def test_the_classes_of_evidence_all_occur() -> None:
    kinds = {group.kind for name in NAMES for group in review_of(name).evidence}
    assert kinds == {"published", "derived", "common-practice", "house"}


@untraced
@pytest.mark.parametrize("name", NAMES)
def test_it_travels_through_json_and_fits_its_schema(name: str) -> None:
    found = review_of(name)
    plain = json.loads(json.dumps(to_plain(found), allow_nan=False))
    SCHEMA.validate(plain)
    assert from_plain(plain) == found
    assert plain["format"] == FORMAT


def test_the_schema_refuses_what_is_no_review() -> None:
    plain = json.loads(json.dumps(to_plain(review_of("garden tied"))))
    for spoil in (
        {"format": 2},
        {"steps": [{"number": 1}]},
        {"rule_texts": None},
        {"date": "today"},
    ):
        assert not SCHEMA.is_valid(plain | spoil), spoil
    with pytest.raises(ValueError, match="format 2, not 1"):
        from_plain(plain | {"format": 2})


@untraced
def test_the_same_input_gives_the_same_bytes() -> None:
    for form in FORMATS:
        assert answer(judgement_of(HUNTING), form, False) == answer(
            judgement_of(HUNTING), form, True
        )


def test_an_answer_is_a_page_or_json() -> None:
    found = review_of("garden tied")
    page, plain = (answer(judgement_of("garden tied"), form, False) for form in FORMATS)
    assert page == render(found, False)
    assert from_plain(json.loads(plain)) == found
    assert plain.endswith("}\n")


# Rules that are no lines of their own


def plot(folder: Path, text: str | None = None) -> Review:
    """Review a bed by a copy of the plot's rules, which may say something else by then."""
    shutil.copytree(GARDEN / "plot", folder, dirs_exist_ok=True)
    base = read_rule_base(str(folder), cache=False)
    setup = read_setup(None, GARDENS["garden leeks"][1], base.vocabulary)
    if text is not None:
        (folder / "sowing.yaml").write_text(text, encoding="utf-8")
    return review(judged(setup, base, None))


@pytest.mark.parametrize("text", ["", "- id: clay-is-late\n  says: Something else.\n", "\t[", None])
def test_a_rule_whose_file_was_changed_comes_as_it_was_read(
    tmp_path: Path, text: str | None
) -> None:
    found = plot(tmp_path, text)
    base = read_rule_base(str(GARDEN / "plot"), cache=False)
    for rule in found.rule_texts:
        assert read_document("rule", rule.text).data in (
            [base.entries[rule.rule].source],
            base.entries[rule.rule].source,
        )
        assert rule.text.startswith("- id:" if text is None else "{")


def test_a_rule_whose_file_is_gone_comes_as_it_was_read(tmp_path: Path) -> None:
    base = read_rule_base(str(shutil.copytree(GARDEN / "plot", tmp_path / "plot")), cache=False)
    setup = read_setup(None, GARDENS["garden leeks"][1], base.vocabulary)
    (tmp_path / "plot" / "sowing.yaml").unlink()
    found = review(judged(setup, base, None))
    assert all(rule.text.startswith("{") for rule in found.rule_texts)
    assert {r.rule for r in found.rule_texts} == {
        r.rule for r in review_of("garden leeks").rule_texts
    }


def test_comments_and_blank_lines_inside_a_rule_stay(tmp_path: Path) -> None:
    file = GARDEN / "plot" / "sowing.yaml"
    text = file.read_text(encoding="utf-8")
    said = "  says: Sow leeks shallow.\n"
    assert said in text
    shutil.copytree(GARDEN / "plot", tmp_path, dirs_exist_ok=True)
    more = f"{said}\n# at the edge\n  # why not deeper\n"
    (tmp_path / "sowing.yaml").write_text(f"# head\n{text.replace(said, more)}# end\n")
    base = read_rule_base(str(tmp_path), cache=False)
    setup = read_setup(None, GARDENS["garden leeks"][1], base.vocabulary)
    found = review(judged(setup, base, None))
    leeks = next(r for r in found.rule_texts if r.rule == "shallow-for-leeks")
    assert more.rstrip("\n") in leeks.text
    assert all("# end" not in r.text and r.text.startswith("- id:") for r in found.rule_texts)
