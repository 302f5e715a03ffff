"""Mutants against brute force: each differs, each that is killed is, and each case proposed kills."""

from __future__ import annotations

import re
from pathlib import Path

import jsonschema
import pytest

from advisor.case_findings import CHANGED, Differs, Killed, Mutation, Proposal, Survivor, Tally
from advisor.cases import Case, read_cases, run_case
from advisor.coverage.exercised import name_of, own_cases
from advisor.decision import Number, to_plain
from advisor.engine.conditions import Not
from advisor.findings import Move
from advisor.mutation.mutants import Mutant, mutants_of, mutated, sample
from advisor.mutation.score import gate, mutation
from advisor.render.mutation_text import case_lines, render
from advisor.rulebase.decision_schema import schema_of
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from tests import toys
from tests.heavy import untraced
from tests.rulebase import folders

CASES = """\
- case: green-for-six
  says: Six want a large pot.
  setup: {tea: {kind: green, guests: 6}}
  expect: {fired: [large-pot-for-many], build: {pot.size: 1000 ml, pot.lid: glass}}
- case: black-for-two
  says: Two do not, and strong tea has a clay lid.
  setup: {tea: {kind: black, guests: 2}}
  expect: {silent: [large-pot-for-many], build: {pot.size: 300 ml, pot.lid: clay}}
"""
HASTE = """\
- id: no-clay-in-haste
  says: Take no clay lid in a hurry.
  when: {tea.in_a_hurry: true, tea.guests: {above: 2}}
  unless: {tea.kind: herb}
  then: [{should: {pot.lid: glass}}, {caution: {level: stop, text: Wait.}}]
  because: Clay warms slowly.
  evidence: {class: common-practice}
  overrides: [clay-keeps-the-heat, glass-shows-the-leaves]
"""
NAMES = [
    "black-tea-is-strong: when tea.kind dropped",
    "black-tea-is-strong: when tea.kind negated",
    "black-tea-is-strong: when tea.kind is black made green",
    "black-tea-is-strong: set brew.strength strong made weak",
    "clay-keeps-the-heat: when brew.strength dropped",
    "clay-keeps-the-heat: when brew.strength negated",
    "clay-keeps-the-heat: when brew.strength is strong made weak",
    "clay-keeps-the-heat: should (pot.lid is clay) made must",
    "clay-keeps-the-heat: should pot.lid is clay made glass",
    "glass-shows-the-leaves: when tea.kind dropped",
    "glass-shows-the-leaves: when tea.kind negated",
    "glass-shows-the-leaves: when tea.kind is green made herb",
    "glass-shows-the-leaves: should (pot.lid is glass) made must",
    "glass-shows-the-leaves: should pot.lid is glass made clay",
    "large-pot-for-many: when tea.guests dropped",
    "large-pot-for-many: when tea.guests negated",
    "large-pot-for-many: when tea.guests is above 4 moved to 3",
    "large-pot-for-many: when tea.guests is above 4 moved to 5",
    "large-pot-for-many: must (pot.size is at least 1000 ml) made should",
    "large-pot-for-many: must pot.size is at least 1000 ml moved to 950 ml",
    "large-pot-for-many: must pot.size is at least 1000 ml moved to 1050 ml",
    "small-pot: favour pot.size made highest",
]
SURVIVORS = [
    "clay-keeps-the-heat: should (pot.lid is clay) made must",
    "glass-shows-the-leaves: when tea.kind is green made herb",
    "glass-shows-the-leaves: should (pot.lid is glass) made must",
    "large-pot-for-many: when tea.guests is above 4 moved to 3",
    "large-pot-for-many: when tea.guests is above 4 moved to 5",
    "large-pot-for-many: must (pot.size is at least 1000 ml) made should",
    "large-pot-for-many: must pot.size is at least 1000 ml moved to 950 ml",
]
SCHEMA = schema_of(Mutation, "Mutation")


def write_kettle(root: Path, rules: str = "") -> str:
    folder = Path(folders.write_kettle(root, {"haste.yaml": rules} if rules else None))
    (folder / "cases").mkdir()
    (folder / "cases" / "table.yaml").write_text(CASES, encoding="utf-8")
    return str(folder)


def mutant_named(base: RuleBase, name: str) -> Mutant:
    return next(mutant for mutant in mutants_of(base) if mutant.name == name)


def test_the_mutants_of_a_kettle_are_those_made_by_hand(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path))
    assert [mutant.name for mutant in mutants_of(base)] == NAMES
    assert {mutant.kind for mutant in mutants_of(base)} <= set(CHANGED)


def test_exceptions_overrides_and_stops_are_changed_too(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path, HASTE))
    names = [m.name for m in mutants_of(base) if m.rule.id == "no-clay-in-haste"]
    assert names == [
        "no-clay-in-haste: when tea.in_a_hurry dropped",
        "no-clay-in-haste: when tea.in_a_hurry negated",
        "no-clay-in-haste: when tea.guests dropped",
        "no-clay-in-haste: when tea.guests negated",
        "no-clay-in-haste: when tea.guests is above 2 moved to 1",
        "no-clay-in-haste: when tea.guests is above 2 moved to 3",
        "no-clay-in-haste: unless dropped",
        "no-clay-in-haste: unless tea.kind negated",
        "no-clay-in-haste: unless tea.kind is herb made black",
        "no-clay-in-haste: override of clay-keeps-the-heat dropped",
        "no-clay-in-haste: override of glass-shows-the-leaves dropped",
        "no-clay-in-haste: should (pot.lid is glass) made must",
        "no-clay-in-haste: should pot.lid is glass made clay",
        "no-clay-in-haste: stop made a caution",
    ]


def test_what_cannot_change_anything_is_not_made(tmp_path: Path) -> None:
    rules = """\
- id: small-pot-for-few
  says: A small pot for one.
  when: {tea.kind: black, tea.guests: {below: 2, at_least: 1}}
  then: [{should: {pot.size: {at_most: 300 ml}}}]
  because: One drinks little.
  evidence: {class: common-practice}
  overrides: [glass-shows-the-leaves]
"""
    names = [m.name for m in mutants_of(read_rule_base(write_kettle(tmp_path, rules)))]
    # At least one drinks, so a bound below that lets nothing more in.
    assert "small-pot-for-few: when tea.guests is at least 1 moved to 2" in names
    assert "small-pot-for-few: when tea.guests is at least 1 moved to 0" not in names
    # Black tea is never green, so the two never meet.
    assert not any("override" in name for name in names)


def test_every_mutant_differs_and_has_a_name_of_its_own() -> None:
    base = read_rule_base()
    mutants = mutants_of(base)
    assert len({mutant.name for mutant in mutants}) == len(mutants) > 2000
    assert len({(m.rule.id, repr(m.rule)) for m in mutants}) == len(mutants)
    for mutant in mutants:
        assert mutant.rule != base.entries[mutant.rule.id].rule, mutant.name
        assert mutant.name.startswith(f"{mutant.rule.id}: ")
    assert mutants == mutants_of(read_rule_base())


def test_known_survivors_of_a_kettle(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path))
    found = mutation(base)
    assert [one.mutant for one in found.survivors] == SURVIVORS
    assert found.total == (22, 15)
    assert sum(tally.of for tally in found.kinds.values()) == 22
    jsonschema.validate(to_plain(found), SCHEMA)


def test_what_is_killed_is_really_killed(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path, HASTE))
    cases = {case.name: case for case in own_cases(base)}
    for killed in mutation(base, propose=False).killed:
        other = mutated(base, mutant_named(base, killed.mutant).rule)
        assert run_case(cases[killed.case], base) == []
        assert run_case(cases[killed.case], other)[0] == killed.problem


def test_a_proposed_case_tells_the_two_apart_when_it_is_written_down(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path, HASTE))
    found = mutation(base)
    proposed = [one for one in found.survivors if one.proposal is not None]
    assert len(proposed) >= len(found.survivors) - 2
    for i, survivor in enumerate(proposed):
        assert survivor.proposal is not None
        path = tmp_path / f"proposed-{i}.yaml"
        lines = case_lines(survivor.mutant, survivor.proposal)
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        (case,) = read_cases(str(path), base)
        other = mutated(base, mutant_named(base, survivor.mutant).rule)
        assert run_case(case, base) == [], survivor.mutant
        assert run_case(case, other) != [], survivor.mutant
        assert all(one.original != one.mutant for one in survivor.proposal.differs)


def test_a_proposal_changes_as_little_as_may_be(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path))
    found = {one.mutant: one.proposal for one in mutation(base, only="large-pot").survivors}
    moved = found["large-pot-for-many: when tea.guests is above 4 moved to 5"]
    assert moved is not None
    assert (moved.start, [move.fact for move in moved.moves]) == ("green-for-six", ["tea.guests"])
    assert moved.setup == {"tea.kind": "green", "tea.guests": "5"}
    assert moved.expect == {"fired": ("large-pot-for-many",)}
    # No pot on the shelf holds between 950 and 1000 ml, so one has to be given.
    given = found["large-pot-for-many: must pot.size is at least 1000 ml moved to 950 ml"]
    assert given is not None
    assert given.expect == {"status": ("rejected",)}


def expectations(case: Case, base: RuleBase, some: int) -> Case:
    """A case that expects part of what the rules make of it."""
    judgement = toys.judged(base, case.setup)
    states = judgement.run.states()
    ids = [rule_id for i, rule_id in enumerate(states) if (i + some) % 3 == 0]
    expect: dict[str, object] = {
        state: [rule_id for rule_id in ids if states[rule_id] == state]
        for state in ("fired", "silent", "undecided")
    }
    if some % 2:
        expect["status"] = judgement.status
    if some % 4 == 0:
        expect["build"] = {"pick.size": int(judgement.run.value("pick.size"))}
    tied = list(judgement.run.tied())
    if tied:
        expect["ties"] = tied
    return case._replace(expect=expect)


@untraced
@pytest.mark.parametrize("seed", [0, 1, 3, 4, 5, 6, 7, 8, 11, 12])
def test_no_case_that_could_notice_is_left_out(seed: int) -> None:
    """With every case run for every mutant the same ones survive."""
    base = toys.toy_base(seed)
    assert base is not None
    cases = []
    for some in range(6):
        setup = toys.toy_setup(100 * seed + some)
        if some % 3 == 2:
            facts = {n: g for n, g in setup.facts.items() if n not in ("toy.flag", "toy.shape")}
            setup = setup._replace(facts=facts)
        cases.append(
            expectations(Case(f"case-{some}", "Made up.", setup, None, {}, "", 1), base, some)
        )
    found = mutation(base, cases, propose=False)
    held = [case for case in cases if case.name not in found.unfit]
    assert len(held) >= 3
    survivors = {one.mutant for one in found.survivors}
    for mutant in mutants_of(base):
        other = mutated(base, mutant.rule)
        noticed = any(run_case(case, other) for case in held)
        assert noticed is (mutant.name not in survivors), mutant.name


@pytest.mark.parametrize("seed", [1, 7])
def test_proposals_for_toys_tell_the_two_apart(seed: int) -> None:
    base = toys.toy_base(seed)
    assert base is not None
    cases = [
        Case(f"case-{i}", "Made up.", toys.toy_setup(i), None, {"status": "judged"}, "", 1)
        for i in range(3)
    ]
    cases = [
        case._replace(expect={"status": toys.judged(base, case.setup).status}) for case in cases
    ]
    found = mutation(base, cases)
    assert sum(one.proposal is not None for one in found.survivors) > len(found.survivors) / 3


def test_a_share_is_the_same_each_time_and_a_part_of_more() -> None:
    mutants = mutants_of(read_rule_base())
    few, more = sample(mutants, 0.1), sample(mutants, 0.3)
    assert few == sample(mutants, 0.1)
    assert set(few) < set(more)
    assert 0.07 < len(few) / len(mutants) < 0.13
    assert sample(mutants, 1) == mutants
    assert sample(mutants, 0) == []


def test_two_processes_find_what_one_finds(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path, HASTE))
    told: list[tuple[int, int]] = []
    apart = mutation(base, workers=2, progress=lambda done, of: told.append((done, of)))
    assert apart == mutation(base)
    assert told[-1] == (apart.total.of, apart.total.of)
    assert told == sorted(told)


def test_cases_that_do_not_hold_notice_nothing(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path))
    first, second = own_cases(base)
    wrong = second._replace(expect={"status": "rejected"})
    found = mutation(base, [first, wrong], propose=False)
    assert found.unfit == (wrong.name,)
    assert {one.case for one in found.killed} == {first.name}


def test_the_gate_and_the_text_name_the_survivors(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path))
    found = mutation(base)
    failed = gate(found, 85)
    assert not failed.passes
    assert list(failed.missing) == SURVIVORS
    assert gate(found, 68.18).passes
    told = render(found, False, failed)
    assert "15 of 22, 68.2 %" in told
    assert "Not enough" in told
    for name in SURVIVORS:
        assert name.split(": ")[0] in told
    assert "         - case: large-pot-for-many-when-tea-guests-is-above-4-moved-to-5" in told
    assert "Begin with the case green-for-six; there tea.guests is 5 and not 6." in told
    assert "A sample: 50 %" in render(mutation(base, share=0.5, propose=False), False)


def test_a_rule_base_with_one_rule_otherwise_shares_the_rest(tmp_path: Path) -> None:
    base = read_rule_base(write_kettle(tmp_path))
    rule = base.entries["large-pot-for-many"].rule
    assert rule.when is not None
    other = mutated(base, rule._replace(when=Not(rule.when)))
    assert other.entries["large-pot-for-many"].rule != rule
    assert base.entries["large-pot-for-many"].rule is rule
    assert other.table is base.table
    assert other.bounds_on("tea.guests") == base.bounds_on("tea.guests")
    assert "_ways" not in vars(other)


@untraced
def test_a_sample_of_the_base_rules_reaches_the_score() -> None:
    found = mutation(read_rule_base(), share=0.01, propose=False)
    assert found.unfit == ()
    assert found.total.of > 10
    assert gate(found, 85).passes, [one.mutant for one in found.survivors]
    assert all(isinstance(one, Killed) for one in found.killed)
    assert all(isinstance(one, Survivor) for one in found.survivors)


def test_cases_that_are_shown_have_names_of_their_own_and_say_what_is_only_stated() -> None:
    start = Proposal(
        "two-cups",
        (Move("pot.size", Number(2, "l"), Number(2, "l")),),
        {"pot.size": "2 l"},
        own_stock=False,
        expect={"fired": ("a",)},
        differs=(Differs("a", "fired", "silent"),),
    )
    long = "a: when pot.size is at least two litres and not a drop more or less, made "
    survivors = tuple(
        Survivor(f"{long}{more}", "bound moved", "a", "a.yaml", 1, 1, start) for more in "xyz"
    )
    found = Mutation(
        name_of(read_rule_base()),
        1,
        1.0,
        Tally(3, 0),
        dict.fromkeys(CHANGED, Tally(0, 0)),
        (),
        survivors,
    )
    told = render(found, colour=False)
    names = re.findall(r"- case: (\S+)", told)
    assert len(set(names)) == 3
    assert all(name.startswith("a-when-pot-size-is-at-least-two-litres-and-not") for name in names)
    assert "pot.size is stated, as 2 l" in told
