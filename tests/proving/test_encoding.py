"""What the solver is told of a rule base, held against the engine on setups both are given."""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import pairwise, product
from pathlib import Path
from typing import Any

import pytest
import z3

from advisor.cases import case_files, read_cases
from advisor.engine.conditions import compile_condition
from advisor.engine.rules import Rule
from advisor.engine.run import FIRED, FIRED_OPEN, SILENT, UNDECIDED, Run
from advisor.engine.values import (
    ABSENT,
    CONCLUDED,
    OPTION,
    UNKNOWN,
    YES,
    Value,
    has_value,
)
from advisor.judge import Judgement
from advisor.proving.encoding import Encoding
from advisor.proving.logic import Term, conj, neg
from advisor.proving.states import about_rules
from advisor.proving.witness import Witnesses, plain_number
from advisor.replaying import needed_of
from advisor.rulebase.locate import base_folder
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from tests.rulebase.folders import VOCABULARY, write, write_kettle
from tests.rulebase.folders import rule as written
from tests.toys import toy_base, toy_setup

TOYS = [seed for seed in range(60) if toy_base(seed) is not None]


def toy(seed: int) -> RuleBase:
    base = toy_base(seed)
    assert base is not None
    return base


def pinned(encoding: Encoding, run: Run) -> list[Term]:
    """Return what says that facts are just as in a run: their values, and which were stated."""
    table = encoding.base.table
    terms: list[Term] = [neg(encoding.facts.pairing)]
    for name, fact in encoding.facts.facts.items():
        if fact.entry.origin == CONCLUDED:
            continue
        value = run.values[table.slot[name]]
        stated = run.values[table.stated_slot(name)]
        terms.append(fact.stated if stated else neg(fact.stated))
        terms.append(fact.known if has_value(value) else neg(fact.known))
        if has_value(value):
            terms.append(encoding.facts.has(fact, value))
    return terms


class Told:
    """What terms come to where every fact is as in a run.

    Asked both ways it is certain that nothing else matters; read off a model it is found sooner.
    """

    def __init__(self, encoding: Encoding, run: Run, *, both_ways: bool) -> None:
        self.encoding = encoding
        self.given = pinned(encoding, run)
        assert encoding.possible(*self.given), "the solver rules out what the engine ran on"
        self.model = None if both_ways else encoding.solver.model()

    def __call__(self, term: Term) -> bool:
        if isinstance(term, bool):
            return term
        if self.model is not None:
            return bool(z3.is_true(self.model.evaluate(term, model_completion=True)))
        holds = self.encoding.possible(*self.given, term)
        assert holds is not self.encoding.possible(*self.given, neg(term)), "it is left open"
        return bool(holds)


def hold_together(encoding: Encoding, run: Run, *, both_ways: bool = True) -> None:
    """Compare every state of every rule, every concluded fact and every demand."""
    told = Told(encoding, run, both_ways=both_ways)
    program = encoding.base.program
    for rule in program.rules:
        terms = encoding.rules[rule.id]
        status = run.status(rule.id)
        assert told(terms.fired) == (status in (FIRED, FIRED_OPEN)), rule.id
        assert told(terms.undecided) == (status == UNDECIDED), rule.id
        if status in (FIRED, FIRED_OPEN):
            assert told(terms.sure) == (status == FIRED), rule.id
        standing = run.standing(program.place[rule.id])
        assert told(terms.stands) == (standing in (FIRED, FIRED_OPEN)), rule.id
        assert told(terms.waits) == (standing == UNDECIDED), rule.id
        hold_demands_together(encoding, told, rule, run)
    for fact in encoding.base.vocabulary.of_origin(CONCLUDED):
        terms_of = encoding.facts.facts.get(fact)
        value = run.value(fact)
        if terms_of is not None:
            assert told(terms_of.known) == has_value(value), fact
            assert told(terms_of.absent) == (value is ABSENT), fact
            for one, term in terms_of.values.items():
                if has_value(value):
                    assert told(term) == (one == value), fact
        if fact in encoding.ties:
            assert told(encoding.ties[fact]) == (fact in run.tied()), fact


def hold_demands_together(encoding: Encoding, told: Told, rule: Rule, run: Run) -> None:
    for demand in rule.demands:
        outcome = compile_condition(demand.test, encoding.base.table, UNKNOWN)(run.values)
        met = outcome == (YES if not demand.is_negative else 0)
        asked = encoding.asked(demand)
        assert told(asked.yes) == met, (rule.id, demand)
        assert told(asked.no) == (outcome != UNKNOWN and not met), rule.id


@pytest.mark.parametrize("seed", TOYS[::2])
def test_made_up_rules_are_in_the_states_that_the_engine_finds(seed: int) -> None:
    base = toy(seed)
    encoding = Encoding(base)
    witnesses = Witnesses(encoding)
    rng = random.Random(seed)
    for turn in range(6):
        stated = {name: given.value for name, given in toy_setup(100 * seed + turn).facts.items()}
        kept = {name: value for name, value in stated.items() if rng.random() < 0.7}
        # What is listed to choose from always has a value.
        kept["pick.size"] = rng.randint(1, 4)
        kept["pick.kind"] = rng.choice("pqr")
        kept["toy.count"] = int(kept.get("toy.count", 3))
        hold_together(encoding, witnesses.run(kept))


NOTED = "[{caution: {level: note, text: Mind this.}}]"
HARD = (
    written("scalding", "[{caution: {level: stop, text: Hot.}}]", when="{tea.guests: {above: 4}}")
    + written(
        "cooled",
        "[{caution: {level: note, text: Wait.}}]",
        when="{tea.kind: green}",
        unless="{tea.in_a_hurry: true}",
        overrides="[scalding]",
    )
    + written(
        "not-so",
        "[{caution: {level: note, text: No.}}]",
        when="{tea.in_a_hurry: false, tea.guests: 12}",
        overrides="[cooled]",
    )
    + written("weak", "[{set: {brew.strength: weak}}]", when="{tea.in_a_hurry: true}")
    + written("least", "[{set: {brew.least: 500 ml}}]", when="{tea.guests: {above: 6}}")
    + written("more", "[{set: {brew.least: 1000 ml}}]", when="{tea.kind: green, tea.guests: 12}")
    + written("enough", "[{must: {pot.size: {at_least: {fact: brew.least}}}}]")
    + written("reads", "[{should_not: {pot.lid: glass}}]", when="{not: {brew.strength: strong}}")
    + written("knows", "[{should: {tea.guests: {below: 9}}}]", when="{brew.strength: {known: false}}")
    + written("compares", "[{must_not: {pot.size: {at_most: 300 ml}}}]",
           when="{brew.least: {below: {fact: pot.size}}}")
)  # fmt: skip
LEAST = "  brew.least: {kind: quantity, origin: concluded, unit: ml, range: [200, 2000]}\n"


def test_stops_ties_and_absent_facts_are_as_the_engine_has_them(tmp_path: Path) -> None:
    files = {"vocabulary.yaml": VOCABULARY + LEAST, "hard.yaml": HARD}
    base = read_rule_base(write_kettle(tmp_path, files))
    encoding = Encoding(base)
    witnesses = Witnesses(encoding)
    seen = set()
    for kind, guests, hurry, size in product(
        (None, "black", "green", "herb"), (None, 1, 5, 8, 12), (None, True, False), (300.0, 1000.0)
    ):
        facts = {"tea.kind": kind, "tea.guests": guests, "tea.in_a_hurry": hurry, "pot.size": size}
        stated = {name: value for name, value in facts.items() if value is not None}
        run = witnesses.run({**stated, "pot.lid": "clay"})
        hold_together(encoding, run, both_ways=False)
        seen |= {"stop-stands-unless"} if "scalding" in run.stands_unless() else set()
        seen |= {"stop-beaten"} if "scalding" in run.set_aside() else set()
        seen |= set(run.tied())
    assert seen == {"stop-stands-unless", "stop-beaten", "brew.strength", "brew.least"}


ODD_FACTS = """\
facts:
  a.name: {kind: text, origin: given}
  a.mark: {kind: text, origin: given}
  a.count: {kind: count, origin: given, range: [0, 9]}
  pick.count: {kind: count, origin: option}
  pick.flag: {kind: flag, origin: option}
  pick.text: {kind: text, origin: option}
  pick.shape: {kind: choice, origin: option, choices: [round, square]}
  said.least: {kind: count, origin: concluded}
  said.most: {kind: count, origin: concluded}
  said.uses: {kind: choice, origin: concluded, several: true, choices: [x, y, z]}
  said.also: {kind: choice, origin: concluded, several: true, choices: [x, y, z]}
"""
ODD = (
    written("named", "[{set: {said.least: 3}}]", when="{a.name: oak}")
    + written("alike", "[{set: {said.most: 2}}]", when="{a.name: {fact: a.mark}}")
    + written("uses", "[{set: {said.uses: [x, y]}}]", when="{a.count: {above: 3}}")
    + written("other", "[{set: {said.uses: [y, x]}}]", when="{a.count: {above: 5}}")
    + written("also", "[{set: {said.also: z}}]", when="{a.name: {known: true}}")
    + written("upside", NOTED, when="{said.least: {above: {fact: said.most}}}")
    + written("fewer", NOTED, when="{a.count: {below: {fact: said.least}}}")
    + written("share", NOTED, when="{said.uses: {fact: said.also}}")
    + written("uses-y", NOTED, when="{said.uses: y, said.least: {at_most: 4}}")
    + written("picked", NOTED, when="{pick.flag: true, pick.text: so, pick.count: {at_least: 2}}")
    + written("round", "[{should: {pick.shape: round}}]", when="{said.uses: {known: false}}")
)


def test_facts_of_every_kind_are_as_the_engine_has_them(tmp_path: Path) -> None:
    files = {
        "manifest.yaml": "name: odd\nversion: 0.1.0\n",
        "vocabulary.yaml": ODD_FACTS,
        "odd.yaml": ODD,
    }
    base = read_rule_base(write(tmp_path / "odd", files))
    encoding = Encoding(base)
    witnesses = Witnesses(encoding)
    for name, mark, count in product((None, "oak", "ash"), (None, "oak"), (None, 1, 4, 7)):
        facts = {"a.name": name, "a.mark": mark, "a.count": count}
        stated: dict[str, Value] = {n: value for n, value in facts.items() if value is not None}
        stated |= {"pick.flag": True, "pick.text": "so", "pick.count": 1, "pick.shape": "round"}
        run = witnesses.run(stated)
        given = pinned_texts(encoding, run)
        for rule in base.program.rules:
            for term, holds in (
                (encoding.rules[rule.id].fired, run.status(rule.id) >= FIRED),
                (encoding.rules[rule.id].undecided, run.status(rule.id) == UNDECIDED),
                (encoding.rules[rule.id].stands, run.stands(rule.id)),
            ):
                assert encoding.possible(*given, term if holds else neg(term)), rule.id
                assert not encoding.possible(*given, neg(term) if holds else term), rule.id
    # What can be, is: each rule has its witness, options that nobody lists included.
    found = [one for one in about_rules(encoding, witnesses) if one.finding == "never-fires"]
    assert [one.rules for one in found] == [("share",)]  # x and y are shared with z by nobody
    for rule in base.program.rules:
        if rule.id != "share":

            def stands(run: Run, rule: Rule = rule) -> bool:
                return run.stands(rule.id)

            assert witnesses.find(encoding.rules[rule.id].stands, shows=stands), rule.id


def pinned_texts(encoding: Encoding, run: Run) -> list[Term]:
    """Return the same as `pinned`, a text that no rule names being one that stands for it."""
    space = encoding.facts
    terms: list[Term] = []
    for name, fact in space.facts.items():
        value = run.values[encoding.base.table.slot[name]]
        if fact.entry.origin == CONCLUDED:
            continue
        terms.append(fact.known if has_value(value) else neg(fact.known))
        terms.append(fact.stated if has_value(value) else neg(fact.stated))
        if has_value(value):
            named = value if fact.entry.kind != "text" or value in fact.values else "text 1"
            terms.append(space.has(fact, named))
    return terms


def test_the_base_rules_are_in_the_states_that_the_engine_finds_in_their_cases() -> None:
    base = read_rule_base()
    encoding = Encoding(base)
    folder = base_folder()
    cases = [case for path in case_files(folder) for case in read_cases(path, base)]
    assert len(cases) > 50
    for case in cases[::10]:
        run = Judgement(case.setup, base, base.ladder).run
        hold_together(encoding, run, both_ways=False)


# What is never reported fires, and what is reported never does.


def values_to_try(base: RuleBase, fact: str) -> list[Value]:
    """Return values of a fact that stand for all: one of every cell that bounds make, and none."""
    entry = base.vocabulary[fact]
    none: list[Value] = [] if entry.origin == OPTION else [None]
    if entry.kind == "flag":
        return [*none, True, False]
    if entry.choices:
        choices = list(entry.choices)
        if entry.several:
            sets = product([False, True], repeat=len(choices))
            return [
                *none,
                *(tuple(c for c, there in zip(choices, s, strict=True) if there) for s in sets),
            ]
        return [*none, *choices]
    if entry.kind == "count":
        low, high = entry.low, entry.high
        assert low is not None
        assert high is not None
        return [*none, *range(int(low), int(high) + 1)]
    bounds = sorted({*base.bounds_on(fact), entry.low or 0.0, entry.high or 900.0})
    between = [(a + b) / 2 for a, b in pairwise(bounds)]
    return [*none, *bounds, *between]


def behind(base: RuleBase, rule: Rule) -> list[str]:
    """Return the facts that a rule's state hangs on, those of rules that conclude them too."""
    found: set[str] = set()
    todo = [rule]
    done: set[str] = set()
    while todo:
        here = todo.pop()
        if here.id in done:
            continue
        done.add(here.id)
        for fact in here.reads():
            if base.vocabulary[fact].origin != CONCLUDED:
                found.add(fact)
                continue
            for i, _ in base.program.setters.get(base.table.slot[fact], ()):
                todo.append(base.program.rules[i])
        todo += [other for other in base.program.rules if here.id in other.overrides]
    return sorted(found)


def runs_of(base: RuleBase, facts: list[str], most: int) -> Iterator[Run]:
    """Yield runs over all combinations of values, or over many if there are too many."""
    choices = [values_to_try(base, fact) for fact in facts]
    size = 1
    for some in choices:
        size *= len(some)
    rng = random.Random(size)
    rows: Any = product(*choices)
    if size > most:
        rows = (tuple(rng.choice(some) for some in choices) for _ in range(most))
    table = base.table
    for row in rows:
        values = table.blank()
        for fact, value in zip(facts, row, strict=True):
            if value is not None:
                values[table.slot[fact]] = value
                values[table.stated_slot(fact)] = True
        yield base.program.run(values)


@pytest.mark.parametrize("seed", TOYS)
def test_a_rule_fires_on_its_witness_or_nowhere(seed: int) -> None:
    base = toy(seed)
    encoding = Encoding(base)
    witnesses = Witnesses(encoding)
    found = {(one.finding, one.rules[0]) for one in about_rules(encoding, witnesses)}
    for rule in base.program.rules:
        never = ("never-fires", rule.id) in found
        aside = ("always-set-aside", rule.id) in found

        def fires(run: Run, rule: Rule = rule) -> bool:
            return run.status(rule.id) != SILENT and run.status(rule.id) != UNDECIDED

        def stands(run: Run, rule: Rule = rule) -> bool:
            return run.stands(rule.id)

        if never or aside:
            shown = fires if never else stands
            runs = runs_of(base, behind(base, rule), 3000)
            assert not any(shown(run) for run in runs), (rule.id, found)
        else:
            witness = witnesses.find(encoding.rules[rule.id].stands, shows=stands)
            assert witness is not None, rule.id
            assert stands(witnesses.run(witness.stated))


def test_toys_have_rules_that_never_fire_and_rules_that_do() -> None:
    kinds = set()
    for seed in TOYS:
        encoding = Encoding(toy(seed))
        kinds |= {one.finding for one in about_rules(encoding, Witnesses(encoding))}
    assert {"never-fires", "exception-never-holds"} <= kinds


def test_every_base_rule_stands_on_a_witness_of_its_own() -> None:
    base = read_rule_base()
    encoding = Encoding(base)
    witnesses = Witnesses(encoding)
    for rule in base.program.rules[::6]:

        def stands(run: Run, rule: Rule = rule) -> bool:
            return run.stands(rule.id)

        witness = witnesses.find(encoding.rules[rule.id].stands, shows=stands)
        assert witness is not None, rule.id
        assert stands(witnesses.judged(witness.stated).run)


# Small parts


@pytest.mark.parametrize(
    ("value", "bounds", "plain"),
    [
        (2.0, [1.0, 2.0, 3.0], 2.0),
        (2.3781, [1.0, 2.0, 3.0], 2.5),
        (1.00000001, [1.0, 1.00000002], 1.00000001),
        (7.123456789123, [1.0, 2.0], 7.12345679),
        (5.5, [], 5.5),
    ],
)
def test_a_number_is_as_plain_as_its_cell_allows(
    value: float, bounds: list[float], plain: float
) -> None:
    assert plain_number(value, bounds) == plain


def test_what_is_needed_is_found_among_much() -> None:
    stated = {f"fact-{i}": i for i in range(50)}
    tried = 0

    def suffices(some: Any) -> bool:
        nonlocal tried
        tried += 1
        return {"fact-7", "fact-31"} <= set(some)

    assert needed_of(stated, suffices) == {"fact-7": 7, "fact-31": 31}
    assert tried < 60


def test_a_condition_taken_at_a_value_leaves_the_fact_as_it_was() -> None:
    base = toy(TOYS[0])
    encoding = Encoding(base)
    demands = [d for rule in base.program.rules for d in rule.demands]
    demand = next(d for d in demands if base.vocabulary[d.fact].origin == OPTION)
    before = dict(encoding.facts.facts)
    encoding.facts.at(demand.test, demand.fact, 1 if demand.fact == "pick.size" else "p", UNKNOWN)
    assert encoding.facts.facts == before


def test_nothing_holds_and_does_not_hold_at_once() -> None:
    base = toy(TOYS[1])
    encoding = Encoding(base)
    for terms in encoding.rules.values():
        for outcome in (terms.when, terms.unless):
            assert encoding.possible(conj(outcome.yes, outcome.no)) is False
