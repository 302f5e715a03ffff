"""The Decision as JSON, for machines and for keeping."""

from __future__ import annotations

import json

from advisor.decision import Decision, to_plain


def render(decision: Decision, colour: bool) -> str:  # noqa: ARG001  # JSON has no colour
    """Return the Decision as JSON; `advisor/decision.py` reads it back unchanged."""
    return json.dumps(to_plain(decision), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
