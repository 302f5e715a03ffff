"""Plain rule bases, as the reference evaluators take them, made ready for the engine."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from advisor.engine.chooser import Axis, Chooser
from advisor.engine.columns import Kept
from advisor.engine.grid import Grid
from advisor.engine.program import Program
from advisor.engine.ranking import Wish
from advisor.engine.rules import Rule
from advisor.engine.run import Run
from advisor.engine.values import MISSING, OPTION, FactTable, Value
from advisor.rulebase.rules import RuleReader
from advisor.vocabulary import FactEntry, Vocabulary

Plain = Mapping[str, Any]


def vocabulary_of(plain: Mapping[str, Plain]) -> Vocabulary:
    return Vocabulary(
        FactEntry(
            name=name,
            label=name,
            kind=raw["kind"],
            origin=raw["origin"],
            several=bool(raw.get("several")),
            choices=dict.fromkeys(raw.get("choices", ()), ""),
            unit="1" if raw["kind"] == "quantity" else "",
            within=raw.get("within", 0.0),
        )
        for name, raw in plain.items()
    )


def rules_of(plain: Sequence[Plain], words: Vocabulary) -> list[Rule]:
    faults: list[str] = []

    def report(path: object, what: str, _help: str) -> None:
        faults.append(f"{path}: {what}")

    rules = [RuleReader(dict(raw), words, report, 0, raw.get("layer", 0)).rule for raw in plain]
    assert not faults, faults
    return rules


def program_of(plain_vocabulary: Mapping[str, Plain], plain_rules: Sequence[Plain]) -> Program:
    words = vocabulary_of(plain_vocabulary)
    return Program(rules_of(plain_rules, words), words.table())


def values_of(
    table: FactTable, words: Mapping[str, Plain], facts: Mapping[str, Any], stated: set[str]
) -> list[Value]:
    values = table.blank()
    for name, value in facts.items():
        values[table.slot[name]] = value_of(words[name], value)
        if words[name]["origin"] == OPTION:
            values[table.stated_slot(name)] = True
    for name in stated:
        values[table.stated_slot(name)] = True
    return values


def value_of(raw: Plain, value: Any) -> Value:
    if raw.get("several"):
        return (value,) if isinstance(value, str) else tuple(value)
    if raw["kind"] in ("count", "quantity"):
        return float(f"{value:.9g}")
    return value


def run_of(
    program: Program, words: Mapping[str, Plain], facts: Mapping[str, Any], stated: set[str]
) -> Run:
    return program.run(values_of(program.table, words, facts, stated))


def grid_of(
    program: Program,
    words: Mapping[str, Plain],
    facts: Mapping[str, Any],
    stated: set[str],
    axes: Sequence[tuple[tuple[str, ...], Sequence[Sequence[Any]]]],
    kept: Kept | None = None,
) -> Grid:
    """Make a grid; an axis is (facts, rows), a row holding None where a value is not told."""
    chosen = frozenset(
        {name for names, _ in axes for name in names}
        | {name for name, raw in words.items() if raw["origin"] == OPTION}
    )
    chooser = Chooser(program, (), chosen)
    made = tuple(
        Axis(
            ",".join(names),
            tuple(names),
            tuple(
                tuple(
                    MISSING if x is None else value_of(words[name], x)
                    for name, x in zip(names, row, strict=True)
                )
                for row in rows
            ),
        )
        for names, rows in axes
    )
    return Grid(chooser, values_of(program.table, words, facts, stated), made, kept)


def wishes_of(
    grid: Grid, rules: Sequence[Rule], words: Mapping[str, Plain], favours: Sequence[str]
) -> tuple[Wish, ...]:
    by_id = {rule.id: rule for rule in rules}
    found = []
    for rule_id in favours:
        favour = by_id[rule_id].favour
        if favour is not None and grid.stands_everywhere(rule_id):
            within = words[favour.fact].get("within", 0.0)
            found.append(Wish(rule_id, favour.fact, favour.highest, within))
    return tuple(found)
