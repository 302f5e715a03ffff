from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from advisor.decide import decide
from advisor.decision import Decision, Number, Premise, to_plain
from advisor.derivation import (
    ADVICE,
    ASSUMED,
    CHOICE,
    COMPUTED,
    CONCLUDED,
    DEMAND,
    EXCEPTED,
    GIVEN,
    LACKS,
    LEAVES,
    MISSING,
    NOT_CONCLUDED,
    OPTION,
    REFUSED,
    RULE,
    SET_ASIDE,
    SILENT,
    STAGE,
    STANDS,
    STANDS_OPEN,
    STATES,
    UNDECIDED,
    Derivation,
    Step,
    from_plain,
)
from advisor.engine.conditions import compile_condition
from advisor.engine.ranking import nearest, rank, survivors
from advisor.engine.values import ABSENT, NO, UNKNOWN, YES, Value, has_value
from advisor.engine.values import MISSING as NO_VALUE
from advisor.errors import Faults
from advisor.judge import Judgement
from advisor.narrowing import MUSTS, NEAREST, ORDER, SHOULDS, UNPROVEN, stages
from advisor.rulebase.locate import schema_folder
from advisor.setups.read import read_setup, read_stock
from advisor.why import answer, why
from tests.derivations import (
    BASE,
    FILES,
    HOUSE,
    JUDGED,
    NAMES,
    STOCK,
    asked_of,
    judged,
    judgement_of,
)
from tests.heavy import untraced

HUNTING = "fixed-blade-hunting"
FACTS = (GIVEN, ASSUMED, OPTION, COMPUTED, CONCLUDED, MISSING)
SCHEMA = jsonschema.Draft202012Validator(
    json.loads((Path(schema_folder()) / "derivation.schema.json").read_text())
)


@cache
def derivations_of(name: str) -> dict[str, Derivation]:
    """Return why everything is as it is: every fact of the vocabulary and every rule."""
    judgement = judgement_of(name)
    asked = [*judgement.base.vocabulary.entries, *judgement.base.entries]
    return {what: why(judgement, what) for what in asked}


@cache
def decision_on(name: str) -> Decision:
    return decide(judgement_of(name))


def steps_of(name: str, kind: str) -> Iterator[tuple[Derivation, Step]]:
    """Yield the steps of a kind, each once for all that is asked, as they never differ."""
    seen: dict[tuple[str, ...], tuple[Any, ...]] = {}
    for derivation in derivations_of(name).values():
        for step in derivation.steps:
            if step.kind != kind:
                continue
            below = tuple(derivation.step(n).name for n in step.rests_on)
            key = step.name, step.rule, step.says
            told = seen.get(key)
            assert told is None or told == (step.state, below) or kind == STAGE
            if told is None:
                seen[key] = step.state, below
                yield derivation, step


def value_in(judgement: Judgement, fact: str) -> Value:
    return judgement.run.value(fact)


@untraced
@pytest.mark.parametrize("name", NAMES)
def test_every_derivation_is_whole(name: str) -> None:
    for what, derivation in derivations_of(name).items():
        steps = derivation.steps
        assert [step.number for step in steps] == list(range(1, len(steps) + 1))
        keys = [(step.kind, step.name, step.rule, step.says) for step in steps]
        assert len(set(keys)) == len(keys), what
        named = {n for step in steps for n in step.rests_on}
        assert named == set(range(2, len(steps) + 1)), what
        assert in_the_order_told(derivation) == [step.number for step in steps], what
        for step in steps:
            facts = {n for test in step.tests for n in test.facts}
            assert all(derivation.step(n).kind in FACTS for n in facts)
            facts.update(n for conclusion in step.concludes for n in conclusion.facts)
            assert facts <= set(step.rests_on)
            if not step.rests_on:
                assert is_an_end(step), (what, step)
            if step.kind in (GIVEN, ASSUMED, OPTION):
                assert not step.rests_on
        assert not in_a_circle(derivation), what


def in_the_order_told(derivation: Derivation) -> list[int]:
    """Return the numbers in the order in which a tree tells each step once, where it is first."""
    told: list[int] = []
    todo = [1]
    while todo:
        number = todo.pop()
        if number not in told:
            told.append(number)
            todo += reversed(derivation.step(number).rests_on)
    return told


def is_an_end(step: Step) -> bool:
    if step.kind == RULE:
        return step.state == STANDS and not step.tests  # it holds always, and nothing overrides it
    if step.kind == STAGE:
        return step.name in ("offered", "order") or not step.rejects
    return step.kind in LEAVES


def in_a_circle(derivation: Derivation) -> bool:
    done: set[int] = set()
    for start in derivation.steps:
        path: list[tuple[int, Iterator[int]]] = [(start.number, iter(start.rests_on))]
        while path:
            number, below = path[-1]
            other = next((n for n in below if n not in done), None)
            if other is None:
                done.add(number)
                path.pop()
            elif any(other == n for n, _ in path):
                return True
            else:
                path.append((other, iter(derivation.step(other).rests_on)))
    return False


def test_a_circle_would_be_seen() -> None:
    derivation = derivations_of(HUNTING)["steering.ratio"]
    assert not in_a_circle(derivation)
    last = derivation.steps[-1]
    bent = derivation._replace(steps=(*derivation.steps[:-1], last._replace(rests_on=(1,))))
    assert in_a_circle(bent)


@pytest.mark.parametrize("name", NAMES)
def test_every_fact_with_a_value_says_it_as_the_decision_does(name: str) -> None:
    decision, judgement = decision_on(name), judgement_of(name)
    told: dict[str, Any] = {
        **decision.given,
        **decision.assumed,
        **decision.build,
        **decision.concluded,
    }
    for fact, derivation in derivations_of(name).items():
        if fact not in judgement.base.vocabulary:
            continue
        step = derivation.steps[0]
        assert step.name == fact
        if fact in told:
            assert step.value == told[fact]
        elif fact in decision.numbers:
            number = decision.numbers[fact]
            assert isinstance(step.value, Number)
            assert (step.value.value, step.function, step.source, step.band) == (
                number.value,
                number.function,
                number.source,
                number.band,
            )
            assumed = [s.name for s in derivation.steps if s.kind == ASSUMED]
            assert sorted(assumed) == list(number.rests_on)
        else:
            assert (step.kind, step.value) == (MISSING, None)
    assert {f for f, d in derivations_of(name).items() if d.steps[0].kind == CHOICE} == {
        fact for fact in decision.chosen if fact in decision.build
    }


@pytest.mark.parametrize("name", NAMES)
def test_every_given_fact_stands_where_it_is_said_to(name: str) -> None:
    judgement = judgement_of(name)
    items = {number.written: number for number in judgement.setup.taken.values()}
    for _, step in steps_of(name, GIVEN):
        given = judgement.setup.facts[step.name]
        assert (step.file, step.line, step.written) == (given.file, given.line, given.written)
        if not step.line:
            assert step.file == f"--set {step.name}"
            continue
        row = Path(step.file).read_text(encoding="utf-8").split("\n")[step.line - 1]
        if step.file.endswith("stock.yaml"):
            assert any(number in row for number in items), (step, row)
        else:
            words = re.findall(r"[\w./%-]+", step.written)
            assert words
            assert all(word in row for word in words), (step, row)


@pytest.mark.parametrize("name", NAMES)
def test_every_rule_and_item_stands_where_it_is_said_to(name: str) -> None:
    base = judgement_of(name).base
    folders = {layer.name: Path(layer.folder) for layer in base.layers}
    for _, step in steps_of(name, RULE):
        layer, _, file = step.file.partition("/")
        rows = (folders[layer] / file).read_text(encoding="utf-8").split("\n")
        assert step.name in rows[step.line - 1]
        assert step.by == layer
        entry = base.entries[step.name]
        assert (step.says, step.state in STATES) == (entry.says, True)
        assert step.evidence is not None
        assert step.evidence.kind == entry.evidence.kind
    for _, step in steps_of(name, OPTION):
        if step.item:
            layer, _, file = step.file.partition("/")
            path = folders[layer] / file if layer in folders else Path(step.file)
            rows = path.read_text(encoding="utf-8").split("\n")
            assert step.item.split(" ", 1)[1] in rows[step.line - 1]


def only(judgement: Judgement, derivation: Derivation, step: Step) -> list[Value]:
    """Return the values of a run in which just the facts are known that a step rests on."""
    table = judgement.base.table
    values = table.blank()
    for number in step.rests_on:
        below = derivation.step(number)
        if below.kind not in FACTS:
            continue
        slot = table.slot[below.name]
        if below.kind == MISSING:
            values[slot] = ABSENT if below.state == NOT_CONCLUDED else NO_VALUE
        else:
            values[slot] = value_in(judgement, below.name)
        values[table.stated_slot(below.name)] = below.kind in (GIVEN, OPTION)
    return values


@pytest.mark.parametrize("name", NAMES)
def test_the_facts_under_a_rule_are_all_it_takes_to_judge_it(name: str) -> None:
    judgement = judgement_of(name)
    table = judgement.base.table
    states = dict.fromkeys(STATES, 0)
    for derivation, step in steps_of(name, RULE):
        rule = judgement.base.entries[step.name].rule
        values = only(judgement, derivation, step)
        when = YES if rule.when is None else compile_condition(rule.when, table)(values)
        unless = NO if rule.unless is None else compile_condition(rule.unless, table)(values)
        states[step.state] += 1
        if step.state == SILENT:
            assert when == NO, step
        elif step.state == EXCEPTED:
            assert unless == YES, step
        elif step.state == UNDECIDED:
            assert (when, unless == YES) == (UNKNOWN, False), step
        else:
            assert when == YES, step
            assert unless == (UNKNOWN if step.state == STANDS_OPEN else NO) or (
                step.state == SET_ASIDE and unless != YES
            ), step
        for test in step.tests:
            assert test.outcome in ("yes", "no", "unknown")
    assert states[STANDS]
    assert states[SILENT]


@pytest.mark.parametrize("name", NAMES)
def test_a_rule_stands_because_none_of_the_rules_under_it_sets_it_aside(name: str) -> None:
    judgement = judgement_of(name)
    overriders: dict[str, set[str]] = {}
    for entry in judgement.base.entries.values():
        for loser in entry.rule.overrides:
            overriders.setdefault(loser, set()).add(entry.id)
    lost = {loser.rule: loser for loser in decision_on(name).set_aside}
    for derivation, step in steps_of(name, RULE):
        steps = [derivation.step(n) for n in step.rests_on]
        below = {s.name: s.state for s in steps if s.kind == RULE}
        if step.state in (STANDS, STANDS_OPEN):
            assert set(below) == overriders.get(step.name, set())
            beats = (
                {STANDS} if judgement.base.entries[step.name].rule.stop else {STANDS, STANDS_OPEN}
            )
            assert not beats & set(below.values())
        elif step.state == SET_ASIDE:
            assert step.by_rules
            assert set(step.by_rules) == set(below)
            assert lost[step.name].by in below
        assert {
            loser.rule for loser in decision_on(name).set_aside if loser.by == step.name
        } == set(step.defeated)


@pytest.mark.parametrize("name", NAMES)
def test_the_facts_under_a_demand_are_all_it_takes_to_judge_it(name: str) -> None:
    judgement = judgement_of(name)
    for derivation, step in steps_of(name, DEMAND):
        if step.strength == "favour":
            continue
        rule = judgement.base.entries[step.rule].rule
        if step.state not in ("met", "broken", "unproven"):
            assert step.state in (SET_ASIDE, UNDECIDED)
            continue
        demand = next(d for d in rule.demands if judgement.base.words.demand(d) == step.says)
        values = only(judgement, derivation, step)
        outcome = compile_condition(demand.test, judgement.base.table, UNKNOWN)(values)
        good = NO if demand.is_negative else YES
        expected = "unproven" if outcome == UNKNOWN else "met" if outcome == good else "broken"
        assert step.state == expected


@pytest.mark.parametrize("name", NAMES)
def test_the_facts_under_a_number_are_all_it_takes_to_compute_it(name: str) -> None:
    judgement = judgement_of(name)
    chooser = judgement.ways.chooser
    for derivation, step in steps_of(name, COMPUTED):
        function = chooser.function(step.name)
        assert function is not None
        below = {derivation.step(n).name for n in step.rests_on}
        assert below <= set(function.needs)
        row = [value_in(judgement, n) for n in function.needs]
        # What an input of 0 leaves idle must be there to compute, and changes nothing.
        for factor in (1.0, 0.5):
            told = []
            for need, value in zip(function.needs, row, strict=True):
                if need in below:
                    told.append(value)
                elif has_value(value) and need not in function.optional:
                    told.append(value * factor if isinstance(value, float) else value)
                else:
                    told.append(NO_VALUE)
            assert function.value(told) == value_in(judgement, step.name), step


@pytest.mark.parametrize("name", NAMES)
def test_the_rules_under_a_conclusion_conclude_it(name: str) -> None:
    judgement = judgement_of(name)
    for derivation, step in steps_of(name, CONCLUDED):
        assert step.rests_on
        for number in step.rests_on:
            below = derivation.step(number)
            assert (below.kind, below.state) in ((RULE, STANDS), (RULE, STANDS_OPEN))
            rule = judgement.base.entries[below.name].rule
            assert (step.name, value_in(judgement, step.name)) in rule.sets
        assert {derivation.step(n).name for n in step.rests_on} == {
            entry.id
            for entry in judgement.base.entries.values()
            if judgement.run.stands(entry.id) and step.name in dict(entry.rule.sets)
        }
    for derivation, step in steps_of(name, MISSING):
        below_names = {derivation.step(n).name for n in step.rests_on}
        if judgement.base.vocabulary[step.name].origin == CONCLUDED:
            entries = judgement.base.entries.values()
            setters = {e.id for e in entries if step.name in dict(e.rule.sets)}
            assert below_names == setters
        elif step.rests_on:
            assert judgement.base.vocabulary[step.name].origin == COMPUTED
            lacking = judgement.lacking(step.name, judgement.run.values)
            assert below_names == set(lacking) or step.because


# Choices


@pytest.mark.parametrize("name", NAMES)
def test_a_choice_names_every_rule_that_speaks_on_it(name: str) -> None:
    decision, judgement = decision_on(name), judgement_of(name)
    entries = judgement.base.entries
    for fact, derivation in derivations_of(name).items():
        top = derivation.steps[0]
        if top.kind != CHOICE:
            continue
        speaking = [derivation.step(n) for n in top.rests_on]
        asked = {(s.rule, s.says): s.state for s in speaking if s.strength not in ("", "favour")}
        for reason in decision.reasons.get(fact, ()):
            if reason.strength == "favour":
                assert any(s.rule == reason.rule for s in derivation.steps)
            else:
                assert asked.pop((reason.rule, reason.asks)) == reason.outcome
        lost = {r.rule for r in decision.set_aside}
        waiting = {u.rule for u in decision.undecided}
        expected = {
            (rule_id, judgement.base.words.demand(demand))
            for rule_id in lost | waiting
            for demand in entries[rule_id].rule.demands
            if demand.fact == fact
        }
        assert set(asked) == expected


@pytest.mark.parametrize("name", NAMES)
def test_a_choice_tells_how_it_went_as_the_ranking_went(name: str) -> None:
    decision, judgement = decision_on(name), judgement_of(name)
    went = stages(judgement)
    alive = survivors(judgement.grid)
    group = next(rank(judgement.grid, alive or nearest(judgement.grid), judgement.wishes))
    before_order = [stage for stage in went if stage.kind != ORDER][-1]
    assert list(before_order.left) == group == [judgement.at, *judgement.equals]
    assert list(went[-1].left) == [judgement.at]
    rejected: dict[str, int] = {}
    for rejection in decision.rejected:
        rejected[rejection.rule] = max(rejected.get(rejection.rule, 0), rejection.builds)
    for derivation in derivations_of(name).values():
        top = derivation.steps[0]
        if top.kind != CHOICE:
            continue
        told = [s for n in top.rests_on if (s := derivation.step(n)).kind == STAGE]
        counts = [s.builds for s in told if s.builds is not None]
        assert len(counts) == len(told) == len(went)
        assert (counts[0].came, counts[-1].left) == (decision.builds, 1)
        assert [c.came for c in counts[1:]] == [c.left for c in counts[:-1]]
        if alive:
            assert counts[1].left == decision.survivors
        fails = {reject.what: reject.builds for reject in told[1].rejects}
        assert fails.keys() == rejected.keys()
        assert all(fails[rule] >= builds for rule, builds in rejected.items())
        assert all(top.value in c.values for c in counts)
        assert counts[-1].values == (top.value,)
        names = {s.rule or s.name for s in derivation.steps if s.kind in (RULE, DEMAND)}
        assert rejected.keys() <= names


@pytest.mark.parametrize("name", NAMES)
def test_the_builds_that_fail_a_rule_are_counted_one_by_one(name: str) -> None:
    judgement = judgement_of(name)
    grid = judgement.grid
    for stage in stages(judgement):
        verdicts = [grid.verdicts[at] for at in stage.came]
        for what, builds in stage.rejects.items():
            if stage.kind == SHOULDS:
                failing = [(stage.layer, what) in grid.failed(verdict) for verdict in verdicts]
            else:
                kind = "unproven" if stage.kind == UNPROVEN else "broken"
                failing = [
                    any(offence.rule == what for offence in grid.offences(verdict, kind))
                    for verdict in verdicts
                ]
            assert builds == sum(failing) > 0


@pytest.mark.parametrize("name", NAMES)
def test_the_rules_that_fail_a_build_on_its_way_out_are_all_named(name: str) -> None:
    judgement = judgement_of(name)
    entries = judgement.base.entries
    chosen = [d for d in derivations_of(name).values() if d.steps[0].kind == CHOICE]
    for derivation in chosen[:1]:
        steps = derivation.steps
        named = {step.rule or step.name for step in steps if step.kind in (RULE, DEMAND)}
        for stage in stages(judgement):
            if stage.kind not in (MUSTS, NEAREST, UNPROVEN, SHOULDS):
                continue
            for at in list(stage.came)[:: max(1, len(stage.came) // 25)]:
                for rule_id, place in judgement.failures(judgement.run_of(at)):
                    rule = entries[rule_id].rule
                    must = place < 0 or next(d for d in rule.demands if d.place == place).is_must
                    decides = not must and stage.layer == rule.layer
                    if must if stage.kind != SHOULDS else decides:
                        assert rule_id in named


def test_the_shoulds_of_the_house_go_before_those_under_it() -> None:
    kinds = [s.layer for s in stages(judgement_of("quillmere mechanical")) if s.kind == SHOULDS]
    assert kinds == [1, 0]


# Rules asked about for what they add


@pytest.mark.parametrize("name", NAMES)
def test_a_rule_tells_all_it_adds_and_names_the_facts_in_it(name: str) -> None:
    decision, judgement = decision_on(name), judgement_of(name)
    cautions = {(c.rule, c.level, c.text) for c in decision.cautions}
    steps = {(s.rule, s.phase, s.text) for s in decision.steps}
    reasons = {
        (r.rule, r.strength.replace("_", " "), r.asks, r.outcome)
        for told in decision.reasons.values()
        for r in told
        if r.strength != "favour"
    }
    found: list[set[tuple[str, ...]]] = [set(), set(), set()]
    for rule_id, entry in judgement.base.entries.items():
        derivation = derivations_of(name)[rule_id]
        top = derivation.steps[0]
        stands = judgement.run.stands(rule_id)
        assert top.kind == (ADVICE if stands else RULE)
        assert bool(derivation.notes) or stands
        below = {derivation.step(n).name for n in top.rests_on}
        if not stands:
            continue
        for conclusion in top.concludes:
            if conclusion.kind in ("stop", "caution", "note"):
                found[0].add((rule_id, conclusion.kind, conclusion.says))
            elif conclusion.kind == "step":
                found[1].add((rule_id, conclusion.phase, conclusion.says))
            elif conclusion.kind not in ("set", "favour"):
                found[2].add((rule_id, conclusion.kind, conclusion.says, conclusion.outcome))
        texts = [entry.because, *(c.text for c in entry.cautions), *(s.text for s in entry.steps)]
        assert set(re.findall(r"\{(.*?)\}", " ".join(texts))) <= below
    assert found == [cautions, steps, reasons]


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_the_decision_goes_back_to_is_left_out(name: str) -> None:
    derivations = derivations_of(name)

    def facts(premises: tuple[Premise, ...]) -> Iterator[str]:
        for premise in premises:
            yield premise.fact
            yield from facts(premise.premises)

    for told in decision_on(name).reasons.values():
        for reason in told:
            names = {step.name for step in derivations[reason.rule].steps}
            assert set(facts(reason.premises)) <= names
            for doubt in decision_on(name).stands_unless:
                if doubt.kind == "rule" and doubt.what == reason.rule:
                    steps = derivations[reason.rule].steps
                    rule = next(s for s in steps if (s.kind, s.name) == (RULE, reason.rule))
                    assert doubt in rule.stands_unless


# Forms


@untraced
@pytest.mark.parametrize("name", NAMES)
def test_a_derivation_travels_through_json_and_keeps_to_its_schema(name: str) -> None:
    for derivation in derivations_of(name).values():
        plain = json.loads(json.dumps(to_plain(derivation)))
        assert from_plain(plain) == derivation
    plain = json.loads(answer(judgement_of(name), "arrow.mass", "json", colour=False))
    assert from_plain(plain) == derivations_of(name)["arrow.mass"]
    for what in asked_of(name, "vane.length", "steering.ratio", every=12):
        plain = json.loads(json.dumps(to_plain(derivations_of(name)[what])))
        assert list(SCHEMA.iter_errors(plain)) == []
    plain["steps"][0]["number"] = "one"
    plain["more"] = 1
    assert len(list(SCHEMA.iter_errors(plain))) == 2
    with pytest.raises(ValueError, match="format 9"):
        from_plain({**plain, "format": 9})


def test_each_form_is_given() -> None:
    judgement = judgement_of(HUNTING)
    assert answer(judgement, "arrow.mass", "text", colour=False).startswith("Why arrow.mass ")
    assert answer(judgement, "arrow.mass", "svg", colour=False).startswith("<svg ")


# What cannot be asked, and what there is to say of it


def refusal(what: str, judgement: Judgement | None = None) -> tuple[str, str]:
    with pytest.raises(Faults) as caught:
        why(judgement or judgement_of(HUNTING), what)
    assert caught.value.about == "usage"
    (fault,) = caught.value.faults
    return fault.what, fault.help


def test_what_is_neither_a_fact_nor_a_rule_is_refused_with_what_was_meant() -> None:
    told, remedy = refusal("vane.lenght")
    assert told == f"`vane.lenght` is neither a fact nor a rule of base {BASE.version}"
    assert remedy == "did you mean vane.length?"
    assert refusal("steer-the-heads")[1] == "did you mean steer-the-head?"
    assert "advisor rules list" in refusal("zzzzzz")[1]
    assert "vane.length" in refusal("vane")[1]


def test_a_rule_that_the_house_took_out_of_use_is_said_to_be_so() -> None:
    gone = HOUSE.retired[0].rule
    told, remedy = refusal(gone, judgement_of("quillmere walk-in"))
    assert told.startswith(f"`{gone}` was taken out of use by quillmere")
    assert remedy == f"advisor rules show {gone} tells why"


def test_a_silent_rule_points_to_what_it_would_take() -> None:
    derivation = derivations_of(HUNTING)["too-light-to-shoot"]
    assert derivation.steps[0].state in (SILENT, EXCEPTED)
    assert derivation.notes == (
        "It is silent here; advisor why-not too-light-to-shoot tells what it would take.",
    )


def test_a_nearest_build_is_not_taken_for_advice() -> None:
    for name in ("too-light", "left-bevel-right-clamp"):
        for derivation in derivations_of(name).values():
            assert derivation.notes[0].startswith("No build holds")
    assert not derivations_of(HUNTING)["vane.length"].notes
    stated = (*JUDGED, "arrow.mass=200 gr", "bow.draw_weight=70 lb")
    setup = read_setup(None, (*stated, "bow.type=compound"), BASE.vocabulary)
    alone = why(judged(setup, BASE, None), "vane.length")
    assert alone.status == "stopped"
    assert alone.notes == ("The build as stated does not hold, and is not to be built.",)


def test_the_kinds_of_jobs_are_among_those_tested() -> None:
    assert {decision_on(name).status for name in NAMES} >= {"advised", "judged", "stopped"}
    assert judgement_of("heads").choice.pairing
    assert derivations_of("heads")["point.type"].steps[0].kind == CHOICE
    assert derivations_of("judged")["vane.length"].steps[0].kind == GIVEN
    assert judgement_of("judged").count == 1
    assert STOCK.name == decision_on("quillmere walk-in").stock
    states = {
        step.state
        for name in NAMES
        for derivation in derivations_of(name).values()
        for step in derivation.steps
        if step.kind == RULE
    }
    assert states == set(STATES)
    assert FILES


def test_a_number_that_has_no_answer_says_why_and_from_what() -> None:
    setup = read_setup(str(FILES[HUNTING]), ["fletching.count=2"], BASE.vocabulary)
    derivation = why(judged(setup, BASE, None), "steering.ratio")
    top = derivation.steps[0]
    assert (top.kind, top.state) == (MISSING, REFUSED)
    assert top.because.startswith("the theory covers three or four")
    assert "fletching.count" in {derivation.step(n).name for n in top.rests_on}
    lacking = derivations_of("nothing")["steering.ratio"].steps[0]
    assert (lacking.state, lacking.value) == (LACKS, None)
    assert lacking.function == derivations_of(HUNTING)["steering.ratio"].steps[0].function


def test_a_stage_tells_what_some_builds_leave_unproven(tmp_path: Path) -> None:
    listed = tmp_path / "stock.yaml"
    vane = (
        "length: 2.6 in, height: 0.5 in, silhouette: shield, stiffness: stiff, material: urethane"
    )
    listed.write_text(
        f"vanes:\n  - {{id: Q-1, {vane}, mass: 8.5 gr}}\n"
        f"  - {{id: Q-2, {vane}, mass: 8.5 gr, thickness: 0.65 mm, foot_width: 2.6 mm}}\n"
    )
    setup = read_setup(str(FILES[HUNTING]), [], BASE.vocabulary)
    stock = read_stock(str(listed), BASE.vocabulary)
    derivation = why(judged(setup, BASE, stock), "vane.foot_width")
    stage = next(s for s in derivation.steps if s.name == UNPROVEN)
    assert stage.builds is not None
    assert stage.says.endswith("leave the fewest unproven, none")
    assert stage.builds.left < stage.builds.came
    assert derivation.steps[0].item == "vane Q-2"
    names = {s.rule or s.name for n in stage.rests_on if (s := derivation.step(n))}
    assert {reject.what for reject in stage.rejects} == names
