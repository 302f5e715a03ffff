"""The Decision as JSON, for machines and for keeping, sealed against edits nobody meant."""

from __future__ import annotations

import json

from advisor.decision import Decision, to_plain
from advisor.seals import seal


def render(decision: Decision, colour: bool) -> str:  # noqa: ARG001  # JSON has no colour
    """Return the Decision as JSON; `advisor/decision.py` reads it back unchanged."""
    plain = to_plain(decision)
    plain["seal"] = seal(plain)
    return json.dumps(plain, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
