"""A check of a rule base in SARIF, which code review shows beside the lines it is about.

Source: OASIS, Static Analysis Results Interchange Format (SARIF) Version 2.1.0, 2020 (from memory).
"""

from __future__ import annotations

import json
import os
from typing import Any
from urllib.parse import quote

from advisor.checked import KINDS, CheckReport, Finding
from advisor.decision import to_plain
from advisor.render.check_text import exact

SCHEMA = "https://json.schemastore.org/sarif-2.1.0.json"
VERSION = "2.1.0"

NOT_DONE = 2
"""The least exit status of a check that could not do all that was wanted."""


def render(report: CheckReport) -> str:
    """Return a report as a SARIF log of one run; what is accepted is there, and suppressed."""
    return json.dumps(log(report), indent=2, ensure_ascii=False) + "\n"


def log(report: CheckReport) -> dict[str, Any]:
    """Return the same as plain data."""
    found = [*report.findings, *report.accepted]
    names = [name for name in KINDS if any(one.finding == name for one in found)]
    run: dict[str, Any] = {
        "tool": {"driver": {"name": "arrow-advisor", "rules": [_kind(name) for name in names]}},
        "columnKind": "unicodeCodePoints",
        "results": [_result(one, names.index(one.finding)) for one in found],
        "invocations": [_invocation(report)],
    }
    return {"$schema": SCHEMA, "version": VERSION, "runs": [run]}


def _kind(name: str) -> dict[str, Any]:
    kind = KINDS[name]
    return {
        "id": name,
        "shortDescription": {"text": kind.means},
        "defaultConfiguration": {"level": kind.level},
    }


def _invocation(report: CheckReport) -> dict[str, Any]:
    # Found or not: whether all that was wanted could be looked at.
    told: dict[str, Any] = {"executionSuccessful": report.exit_status < NOT_DONE}
    if report.hint:
        told["toolExecutionNotifications"] = [
            {"level": "warning", "message": {"text": report.hint}}
        ]
    return told


def _result(one: Finding, index: int) -> dict[str, Any]:
    place: dict[str, Any] = {
        "artifactLocation": {"uri": _uri(one.file)},
        "region": {"startLine": max(1, one.line), "startColumn": max(1, one.column)},
    }
    location: dict[str, Any] = {"physicalLocation": place}
    if one.rules:
        location["logicalLocations"] = [{"name": rule} for rule in one.rules]
    result: dict[str, Any] = {
        "ruleId": one.finding,
        "ruleIndex": index,
        # What concerns only layers below is nothing that fails here.
        "level": one.level if one.own else "note",
        "message": {"text": _message(one)},
        "locations": [location],
    }
    if one.accepted:
        result["suppressions"] = [{"kind": "inSource", "justification": one.accepted}]
    if one.shows:
        result["properties"] = {"witness": to_plain(one.witness), "shows": one.shows}
    return result


def _message(one: Finding) -> str:
    parts = [one.says, one.remedy]
    if one.shows:
        told = ", ".join(f"{fact} {exact(value)}" for fact, value in one.witness.items())
        parts.append(f"With {told or 'nothing stated'}: {one.shows}.")
    if one.free:
        parts.append(f"Computed, and free within their range here: {', '.join(one.free)}.")
    return " ".join(part for part in parts if part)


def _uri(path: str) -> str:
    """Return a path as a URI: relative where the user wrote it so, else of a file."""
    written = quote(path.replace(os.sep, "/"))
    return f"file://{written}" if os.path.isabs(path) else written
