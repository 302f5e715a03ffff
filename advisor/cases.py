"""Cases: setups kept beside the rules with what is expected, and holding the two together."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any, NamedTuple

from advisor.decide import decide
from advisor.decision import Decision
from advisor.engine.conditions import compile_condition
from advisor.engine.values import YES, has_value
from advisor.errors import Collector, Faults
from advisor.judge import Judgement
from advisor.rulebase.conditions import ConditionReader
from advisor.rulebase.locate import CASES, is_yaml
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Setup, Stock


class Case(NamedTuple):
    """One case: where it stands, what it states and what it expects."""

    name: str
    says: str
    setup: Setup
    stock: Stock | None
    expect: dict[str, Any]
    file: str
    line: int

    def expects(self, rule_id: str) -> list[str]:
        """Return what the case expects of a rule: fired, silent, a caution shown."""
        return [
            key.replace("_", " ")
            for key, listed in self.expect.items()
            if key not in _TESTS and rule_id in listed
        ]


_TESTS = ("build", "numbers", "status")


def case_files(folder: str) -> list[str]:
    """Return the case files of a rule base, sorted; those in folders of their own too."""
    return sorted(
        os.path.join(where, name)
        for where, _, names in os.walk(os.path.join(folder, CASES))
        for name in names
        if is_yaml(name)
    )


def read_cases(path: str, base: RuleBase) -> list[Case]:
    """Read one file of cases against the rule base they belong to.

    Raises:
        Faults: about "rules", with every fault of the file.
    """
    from advisor.documents import check_schema, read_document
    from advisor.pipeline import offered_stock
    from advisor.rulebase import schemas
    from advisor.rulebase.unfilled import tell_unfilled
    from advisor.setups.read import walk_setup
    from advisor.setups.take import take

    collector = Collector("rules")
    document = read_document(path, about="rules")
    if tell_unfilled(document, collector):
        raise Faults(collector.faults, "rules")
    if not check_schema(document, schemas.cases(), collector):
        raise Faults(collector.faults, "rules")
    cases = []
    seen: dict[str, int] = {}
    for i, raw in enumerate(document.data):
        line, column = document.where(i)
        if raw["case"] in seen:
            collector.add(
                path,
                line,
                column,
                f"there is another case `{raw['case']}`",
                f"it stands in line {seen[raw['case']]}: give this one another name",
            )
        seen[raw["case"]] = line
        setup = walk_setup(document, (i, "setup"), base.vocabulary, collector)
        stock = _stock(document, i, base, collector) if "stock" in raw else None
        setup = take(setup, offered_stock(base, stock), base.vocabulary, collector)
        expect = raw["expect"]
        _check_names(document, i, expect, base, collector)
        cases.append(Case(raw["case"], raw["says"], setup, stock, expect, path, line))
    collector.raise_if_any()
    return cases


class _Part:
    """A part of a document, as a document of its own."""

    def __init__(self, document: Any, path: tuple[str | int, ...]) -> None:
        self._document = document
        self._path = path
        self.path = document.path
        self.data = document.data
        for key in path:
            self.data = self.data[key]

    def where(self, *path: str | int) -> tuple[int, int]:
        place: tuple[int, int] = self._document.where(*self._path, *path)
        return place

    def where_key(self, *path: str | int) -> tuple[int, int]:
        place: tuple[int, int] = self._document.where_key(*self._path, *path)
        return place


def _stock(document: Any, at: int, base: RuleBase, collector: Collector) -> Stock:
    from advisor.setups.read import stock_of

    return stock_of(_Part(document, (at, "stock")), base.vocabulary, collector)


def _check_names(
    document: Any, at: int, expect: dict[str, Any], base: RuleBase, collector: Collector
) -> None:
    from advisor.errors import did_you_mean

    for section in ("build", "numbers"):
        for name in expect.get(section, {}):
            if name not in base.vocabulary:
                near = did_you_mean(name, base.vocabulary.entries)
                line, column = document.where_key(at, "expect", section, name)
                collector.add(
                    document.path,
                    line,
                    column,
                    f"there is no fact `{name}`",
                    f"did you mean {near}?" if near else "advisor facts lists them all",
                )
    for key, listed in expect.items():
        if key in _TESTS:
            continue
        of_facts = key in ("unknown", "asked", "ties")
        # A case of a lower layer may speak of a rule that a house has retired since.
        rules = {*base.entries, *(retired.rule for retired in base.retired)}
        known = base.vocabulary.entries if of_facts else rules
        kind = "fact" if of_facts else "rule"
        for j, name in enumerate(listed):
            if name not in known:
                near = did_you_mean(name, known)
                line, column = document.where(at, "expect", key, j)
                collector.add(
                    document.path,
                    line,
                    column,
                    f"there is no {kind} `{name}`",
                    f"did you mean {near}?" if near else f"name a {kind} of this rule base",
                )


def run_case(case: Case, base: RuleBase) -> list[str]:
    """Return what of a case does not hold; nothing if all of it does."""
    from advisor.pipeline import offered_stock

    judgement = Judgement(case.setup, base, offered_stock(base, case.stock))
    return list(_differences(case, base, judgement, decide(judgement)))


def _differences(
    case: Case, base: RuleBase, judgement: Judgement, decision: Decision
) -> Iterator[str]:
    expect = case.expect
    if expect.get("status", decision.status) != decision.status:
        yield f"status is {decision.status}, not {expect['status']}"
    for section in ("build", "numbers"):
        for fact, test in expect.get(section, {}).items():
            problem = _holds(base, judgement, fact, test)
            if problem:
                yield problem
    run = judgement.run
    states = {**dict.fromkeys((r.rule for r in base.retired), "retired"), **run.states()}
    for rule_id in expect.get("fired", ()):
        if states[rule_id] != "fired":
            yield f"{rule_id} is {states[rule_id]}, not fired"
    for rule_id in expect.get("silent", ()):
        if states[rule_id] != "silent":
            yield f"{rule_id} is {states[rule_id]}, not silent"
    for rule_id in expect.get("undecided", ()):
        if states[rule_id] != "undecided":
            yield f"{rule_id} is {states[rule_id]}, not undecided"
    excepted = {rule.id for rule in run.excepted()}
    for rule_id in expect.get("excepted", ()):
        if rule_id not in excepted:
            yield f"{rule_id} is {states[rule_id]}, not silent by its exception"
    aside = run.set_aside()
    for rule_id in expect.get("set_aside", ()):
        if rule_id not in aside:
            yield f"{rule_id} is not set aside"
    shown = {caution.rule for caution in decision.cautions}
    for rule_id in expect.get("cautions", ()):
        if rule_id not in shown:
            yield f"{rule_id} shows no caution"
    for fact in expect.get("unknown", ()):
        if has_value(run.value(fact)):
            yield f"{fact} is known"
    asked = {question.fact for question in decision.questions}
    for fact in expect.get("asked", ()):
        if fact not in asked:
            yield f"{fact} is not asked for"
    tied = {tie.fact for tie in decision.ties}
    for fact in expect.get("ties", ()):
        if fact not in tied:
            yield f"{fact} is not tied"
    if "ties" not in expect and tied:
        yield f"{', '.join(sorted(tied))} tied, which the case does not expect"
    conflicting = {rule for conflict in decision.conflicts for rule in conflict.rules}
    for rule_id in expect.get("rejected_by", ()):
        if rule_id not in conflicting:
            yield f"{rule_id} is in no set of rules that cannot hold together"


def _holds(base: RuleBase, judgement: Judgement, fact: str, test: Any) -> str:
    """Say what is wrong with one expected value, or nothing."""
    problems: list[str] = []
    reader = ConditionReader(base.vocabulary, lambda _path, what, _help: problems.append(what))
    node = reader.test(fact, test, ())
    if node is None or problems:
        return "; ".join(problems)
    values = judgement.run.values
    if compile_condition(node, base.table)(values) == YES:
        return ""
    value = judgement.run.value(fact)
    words = base.words
    found = words.value(fact, value) if has_value(value) else "not known"
    return f"{fact} is {found}, expected that it {words.asks(node)}"
