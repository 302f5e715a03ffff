"""The conformance cases: read, worked out by the naive evaluator, and run by the engine.

README.md beside this tells the format. `naive` is what the expectations were written by: the
reference evaluator and `naive_layers`, both written from the design alone. `engine` runs the
package's own engine, and for layers its own reader of rule bases.
"""

from __future__ import annotations

import glob
import json
import os
from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any, NamedTuple

from advisor.documents import read_document
from advisor.engine.program import Program
from advisor.engine.ranking import conflicts, nearest, rank, stopped, survivors
from advisor.engine.rules import CircleError
from advisor.engine.run import Run
from advisor.engine.values import MISSING
from advisor.errors import Faults
from advisor.rulebase.read import read_rule_base
from tests.conformance.naive_layers import RefusedError, resolve
from tests.reference import adapter
from tests.reference.evaluator import Choice, CycleError, Result, choose, evaluate

FOLDER = os.path.join(os.path.dirname(__file__), "cases")
Plain = dict[str, Any]


class Case(NamedTuple):
    """One case with the facts of its file."""

    name: str
    file: str
    facts: Mapping[str, Plain]
    body: Plain

    @property
    def expect(self) -> Plain | None:
        """Return what is expected, None where nobody has written it yet."""
        found: Plain | None = self.body.get("expect")
        return found

    @property
    def given(self) -> Plain:
        """Return the facts that have a value from outside."""
        return dict(self.body.get("given", {}))

    @property
    def stated(self) -> set[str]:
        """Return those of them that are stated: all, where nothing is said."""
        return set(self.body.get("stated", self.given))


def read_cases() -> list[Case]:
    """Return every case of the kit, file by file."""
    cases = []
    for path in sorted(glob.glob(os.path.join(FOLDER, "*.yaml"))):
        data = read_document(path).data
        cases += [
            Case(body["case"], os.path.basename(path), data["facts"], body)
            for body in data["cases"]
        ]
    return cases


# By the naive evaluator


def naive(case: Case) -> Plain:
    """Work out what a case means, slowly and plainly."""
    rules = [{"layer": 0, **rule} for rule in case.body.get("rules", [])]
    favours = case.body.get("favours", [])
    given, told = case.given, {}
    if len({rule["id"] for rule in rules}) != len(rules):
        return {"refused": "clash"}
    try:
        if "layers" in case.body:
            rules, favours, assumed, retired = resolve(case.body["layers"], set(case.facts))
            told = {"rules": sorted(rule["id"] for rule in rules), "retired": retired}
            given = {**assumed, **given}
        if "options" in case.body:
            builds = builds_of(case)
            choice = choose(case.facts, rules, given, case.stated, builds, favours)
            return trimmed({**told, **of_choice(choice)})
        result = evaluate(case.facts, rules, given, case.stated)
    except RefusedError as refused:
        return {"refused": refused.why}
    except CycleError:
        return {"refused": "circle"}
    except ValueError:
        return {"refused": "meaningless"}
    return trimmed({**told, **of_result(result)})


def builds_of(case: Case) -> list[Plain]:
    """Return every combination of the options, the last axis fastest."""
    return [
        {fact: value for row in rows for fact, value in row.items()}
        for rows in product(*case.body["options"])
    ]


def of_result(result: Result) -> Plain:
    """Return a run as the cases write it."""
    return {
        "states": dict(sorted(result.states.items())),
        "facts": result.values,
        "ties": result.ties,
        "open": sorted(result.open),
        "standing": sorted(result.standing),
        "defeats": result.set_aside,
        "demands": {
            f"{rule} {place}": outcome for (rule, place), outcome in sorted(result.demands.items())
        },
        "reasons": trimmed(
            {
                "lacks": result.lacks,
                "unless_unknown": result.unless_unknown,
                "stands_unless": result.stands_unless,
                "value_stands_unless": result.value_stands_unless,
            }
        ),
    }


def of_choice(choice: Choice) -> Plain:
    """Return a choice as the cases write it."""
    return {
        "status": choice.status,
        "ranking": choice.groups,
        "nearest": choice.nearest,
        "builds": [
            trimmed(
                {
                    "breaks": sorted({rule for rule, _ in verdict.broken} | set(verdict.stops)),
                    "unproven": verdict.unproven,
                    "falls_short": sorted([layer, fact] for layer, fact in verdict.should_failures),
                }
            )
            for verdict in choice.builds
        ],
        "conflicts": choice.conflicts,
    }


def trimmed(told: Plain) -> Plain:
    """Leave out what is empty."""
    return {name: value for name, value in told.items() if value not in (None, [], {}, 0)} | {
        name: value for name, value in told.items() if name == "nearest" and value == 0
    }


# By the package


def engine(case: Case, folder: str, *, mixed: bool = False) -> Plain:
    """Run a case by the package's own engine.

    Args:
        folder: an empty one, in which rule bases of several layers are written to be read.
        mixed: whether to hand the rules over in another order, which must change nothing.
    """
    words = adapter.vocabulary_of(case.facts)
    given, told = case.given, {}
    favours = case.body.get("favours", [])
    try:
        if "layers" in case.body or "refused" in (case.expect or {}):
            # What is refused is refused by the reader, so it is written as a rule base.
            base = read_rule_base(written(case, folder, mixed=mixed), cache=False)
            program, favours = base.program, list(base.favours)
            told = {
                "rules": sorted(base.entries),
                "retired": {one.rule: one.replacement or one.by for one in base.retired},
            }
            assumed = {name: one.value for name, one in base.assume.items()}
            given = {**assumed, **given}
        else:
            rules = case.body["rules"]
            made = adapter.rules_of(list(reversed(rules)) if mixed else rules, words)
            program = Program(made, words.table())
    except CircleError:
        return {"refused": "circle"}
    except Faults as faults:
        return {"refused": why_of(faults)}
    if "options" in case.body:
        return trimmed({**told, **chosen(case, program, given, favours)})
    run = adapter.run_of(program, case.facts, given, case.stated)
    return trimmed({**told, **of_run(run)})


def of_run(run: Run) -> Plain:
    """Return a run of the engine as the cases write it."""
    from advisor.engine.conditions import compile_condition

    table = run.program.table
    demands = {}
    for rule in sorted(run.standing_rules(), key=lambda rule: rule.id):
        for demand in rule.demands:
            judged = compile_condition(demand.test, table, 1)(run.values)
            good = 0 if demand.is_negative else 2
            outcome = "unproven" if judged == 1 else "met" if judged == good else "broken"
            demands[f"{rule.id} {demand.place}"] = outcome
    return {
        "states": dict(sorted(run.states().items())),
        "facts": {
            name: sorted(set(value)) if isinstance(value, tuple) else value
            for name, value in run.concluded().items()
        },
        "ties": {fact: sorted(set(rules)) for fact, rules in run.tied().items()},
        "open": sorted(
            name
            for name in table.names
            if table.origin(name) == "concluded" and run.value(name) is MISSING
        ),
        "standing": sorted(rule.id for rule in run.standing_rules()),
        "defeats": run.set_aside(),
        "demands": demands,
        "reasons": trimmed(
            {
                "lacks": {rule.id: sorted(run.lacks(rule)) for rule in run.undecided()},
                "unless_unknown": {
                    rule.id: sorted(run.unless_open(rule))
                    for rule in run.fired()
                    if run.unless_open(rule)
                },
                "stands_unless": doubted(run.stands_unless()),
                "value_stands_unless": doubted(run.value_stands_unless()),
            }
        ),
    }


def doubted(doubts: Mapping[str, list[tuple[str, frozenset[str]]]]) -> Plain:
    return {what: sorted({f for _, facts in d for f in facts}) for what, d in doubts.items()}


def chosen(case: Case, program: Program, given: Plain, favours: Sequence[str]) -> Plain:
    """Judge and rank every build by the engine's grid."""
    axes = [
        (
            tuple(dict.fromkeys(fact for row in rows for fact in row)),
            [[row.get(fact) for fact in dict.fromkeys(f for r in rows for f in r)] for row in rows],
        )
        for rows in case.body["options"]
    ]
    grid = adapter.grid_of(program, case.facts, given, case.stated, axes)
    wishes = adapter.wishes_of(grid, program.rules, case.facts, favours)
    alive = survivors(grid)
    builds = [
        trimmed(
            {
                "breaks": sorted({rule for rule, _ in grid.offences(bits, "broken")}),
                "unproven": (bits & grid.unproven_bits).bit_count(),
                "falls_short": sorted([layer, fact] for layer, fact in set(grid.failed(bits))),
            }
        )
        for bits in grid.verdicts
    ]
    if alive:
        status = "judged" if len(grid.verdicts) == 1 else "advised"
        ranking = [list(group) for group in rank(grid, alive, wishes)]
        return {"status": status, "ranking": ranking, "builds": builds}
    return {
        "status": "stopped" if stopped(grid) else "rejected",
        "nearest": next(iter(rank(grid, nearest(grid), wishes)))[0],
        "builds": builds,
        "conflicts": [list(names) for names in conflicts(grid)[0]],
    }


# Layers, written out as the package reads them


def written(case: Case, folder: str, *, mixed: bool) -> str:
    """Write the layers of a case as rule bases beside each other; return the highest."""
    path = folder
    alone = [{"name": "base", "rules": case.body.get("rules", [])}]
    for number, layer in enumerate(case.body.get("layers", alone)):
        path = os.path.join(folder, layer["name"])
        os.makedirs(path)
        manifest = {name: layer[name] for name in ("name", "favours") if name in layer}
        manifest["version"] = layer.get("version", "1.0.0")
        if number:
            below = case.body["layers"][number - 1]["name"]
            manifest["extends"] = {"name": below, **layer.get("extends", {})}
        if "retire" in layer:
            because = "It is done otherwise here."
            manifest["retire"] = [{"because": because, **one} for one in layer["retire"]]
        if "assume" in layer:
            manifest["assume"] = {
                fact: {"value": value, "because": "It is so here."}
                for fact, value in layer["assume"].items()
            }
        put(path, "manifest.yaml", manifest)
        if number == 0:
            facts = {name: declared(raw) for name, raw in case.facts.items()}
            put(path, "vocabulary.yaml", {"facts": facts})
        rules = [worded(rule) for rule in layer["rules"]]
        put(path, "rules.yaml", rules[::-1] if mixed else rules)
    return path


def declared(raw: Plain) -> Plain:
    return {**raw, "unit": "1"} if raw["kind"] == "quantity" else dict(raw)


def worded(rule: Plain) -> Plain:
    """Add the words that a rule base wants and that mean nothing to the rules."""
    words = {"says": "Do so.", "because": "It is so.", "evidence": {"class": "common-practice"}}
    return {**words, **rule}


def put(folder: str, name: str, data: Any) -> None:
    with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
        json.dump(data, file)


WHY = {
    "wait for each other": "circle",
    "overrides itself": "circle",
    "there is another rule": "clash",
    "there is no rule": "no such rule",
    "is no rule of a layer under this one": "not below",
    "already": "gone already",
    "of a layer above this one": "above",
    "is at version": "version",
    "was written by": "favour of another layer",
    "is not listed": "favour not listed",
}


def why_of(faults: Faults) -> str:
    """Return the one word for why a rule base was refused."""
    found = {why for fault in faults.faults for words, why in WHY.items() if words in fault.what}
    return ", ".join(sorted(found)) or "meaningless"
