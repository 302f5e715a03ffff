"""Running the cases of a rule base and telling how they went: for people, machines and builders.

The cases of the top layer must hold. Those of the layers under it were written without it: what
comes to something else under it is told, for that may be just what the house wanted, and fails
nothing.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from textwrap import wrap
from typing import NamedTuple
from xml.etree import ElementTree as ET

from advisor.cases import Case, case_files, read_cases, run_case
from advisor.errors import Fault, Faults
from advisor.rulebase.model import RuleBase

WIDTH = 80


class Outcome(NamedTuple):
    """How one case went."""

    case: Case
    layer: str
    own: bool  # whether it belongs to the top layer
    problems: tuple[str, ...]
    seconds: float

    @property
    def fails(self) -> bool:
        """Tell whether the case should hold and does not."""
        return self.own and bool(self.problems)


def run_all(base: RuleBase, only: str = "") -> list[Outcome]:
    """Run the cases of every layer, lowest layer first.

    Args:
        base: the rules.
        only: a part of the names of the cases to run; all of them if empty.

    Raises:
        Faults: about "rules", with every fault of every case file.
    """
    found: list[tuple[str, bool, Case]] = []
    faults: list[Fault] = []
    for layer in base.layers:
        own = layer is base.layers[-1]
        for path in case_files(layer.folder):
            try:
                cases = read_cases(path, base)
            except Faults as refused:
                faults += refused.faults
                continue
            found += [(layer.name, own, case) for case in cases if only in case.name]
    if faults:
        raise Faults(faults, "rules")
    outcomes = []
    for layer_name, own, case in found:
        start = time.perf_counter()
        problems = tuple(run_case(case, base))
        outcomes.append(Outcome(case, layer_name, own, problems, time.perf_counter() - start))
    return outcomes


def without_a_case(outcomes: Sequence[Outcome], base: RuleBase) -> list[str]:
    """Return the rules of the top layer that no case of its own expects to fire."""
    shown = {
        rule
        for outcome in outcomes
        if outcome.own
        for key in ("fired", "cautions", "rejected_by")
        for rule in outcome.case.expect.get(key, ())
    }
    return [
        entry.id
        for entry in base.entries.values()
        if entry.layer == base.layers[-1].name and entry.id not in shown
    ]


def text(outcomes: Sequence[Outcome], uncovered: Sequence[str] = ()) -> str:
    """Tell the outcomes for people: what failed first, then what changed below, then the counts.

    Args:
        outcomes: of all cases that were run.
        uncovered: rules that no case expects to fire.
    """
    lines: list[str] = []
    failing = [outcome for outcome in outcomes if outcome.fails]
    changed = [outcome for outcome in outcomes if outcome.problems and not outcome.own]
    for outcome in failing:
        lines += _told(outcome)
    if changed:
        lines.append("Cases of the layers below that come to something else under these rules")
        for outcome in changed:
            lines += _told(outcome)
    own = sum(outcome.own for outcome in outcomes)
    below = len(outcomes) - own
    if failing:
        lines.append(f"{len(failing)} of {_cases(own)} {_do(len(failing))} not hold")
    else:
        lines.append(f"{_cases(own)}, all of them hold" if own else "there are no cases")
    if uncovered and own:
        lines += wrap(
            f"no case expects these to fire: {', '.join(uncovered)}",
            WIDTH,
            subsequent_indent="  ",
            break_on_hyphens=False,
            break_long_words=False,
        )
    if below:
        lines.append(f"{len(changed)} of {_cases(below)} below {_come(len(changed))} otherwise")
    return "\n".join(lines) + "\n"


def _told(outcome: Outcome) -> list[str]:
    case = outcome.case
    lines = [f"{case.file}:{case.line}  {case.name}"]
    for said, indent in ((case.says, 2), *((problem, 4) for problem in outcome.problems)):
        lines += wrap(
            said,
            WIDTH,
            initial_indent=" " * indent,
            subsequent_indent=" " * (indent + 2),
            break_on_hyphens=False,
            break_long_words=False,
        )
    return [*lines, ""]


def _cases(count: int) -> str:
    return "1 case" if count == 1 else f"{count} cases"


def _do(count: int) -> str:
    return "does" if count == 1 else "do"


def _come(count: int) -> str:
    return "comes out" if count == 1 else "come out"


def as_json(outcomes: Sequence[Outcome]) -> str:
    """Tell the outcomes as JSON: a list of cases with their place, layer and problems."""
    told = [
        {
            "case": outcome.case.name,
            "says": outcome.case.says,
            "file": outcome.case.file,
            "line": outcome.case.line,
            "layer": outcome.layer,
            "must_hold": outcome.own,
            "holds": not outcome.problems,
            "problems": list(outcome.problems),
        }
        for outcome in outcomes
    ]
    return json.dumps(told, indent=2, ensure_ascii=False) + "\n"


def junit(outcomes: Sequence[Outcome]) -> str:
    """Tell the outcomes as JUnit XML, a suite for each case file, which build servers read.

    A case of a lower layer that comes out otherwise is told as skipped: it fails nothing.
    """
    suites: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        suites.setdefault(outcome.case.file, []).append(outcome)
    root = ET.Element("testsuites", _counted(outcomes))
    for file, members in suites.items():
        suite = ET.SubElement(root, "testsuite", {"name": _clean(file), **_counted(members)})
        for outcome in members:
            _add(suite, outcome)
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'


def _counted(outcomes: Sequence[Outcome]) -> dict[str, str]:
    return {
        "tests": str(len(outcomes)),
        "failures": str(sum(outcome.fails for outcome in outcomes)),
        "errors": "0",
        "skipped": str(sum(bool(o.problems) and not o.own for o in outcomes)),
        "time": f"{sum(outcome.seconds for outcome in outcomes):.3f}",
    }


def _add(suite: ET.Element, outcome: Outcome) -> None:
    case = outcome.case
    element = ET.SubElement(
        suite,
        "testcase",
        {
            "classname": _clean(outcome.layer),
            "name": _clean(case.name),
            "file": _clean(case.file),
            "line": str(case.line),
            "time": f"{outcome.seconds:.3f}",
        },
    )
    if outcome.problems:
        verdict = "failure" if outcome.own else "skipped"
        told = ET.SubElement(element, verdict, {"message": _clean(outcome.problems[0])})
        told.text = _clean("\n".join((case.says, *outcome.problems)))


def _clean(said: str) -> str:
    """Leave out the characters that XML 1.0 cannot hold, however they are written."""
    return "".join(
        c
        for c in said
        if c in "\t\n\r" or " " <= c < "\ud800" or ("\udfff" < c != "\ufffe" and c != "\uffff")
    )


FORMS = {"text": text, "json": as_json, "junit": junit}
