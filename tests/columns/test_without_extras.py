"""Without numpy, and without the solver: a hint, and what needs neither is still told."""

from __future__ import annotations

import subprocess
import sys

import pytest

from advisor.comparing_rules import NO_NUMPY, NO_SOLVER, compare_rules
from advisor.rules_compared import BY_STRUCTURE, DIFFERS, NO_DIFFERENCE_FOUND
from tests.columns.test_planted import CHANGES, SAME, base, before


def test_without_numpy_setups_are_looked_at_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "numpy", None)
    found = compare_rules(before(), base(CHANGES["a bound"][0]), builds=20)
    assert NO_NUMPY in found.hints
    assert found.setup == DIFFERS
    assert found.share is not None
    assert found.share.of == 2000
    assert 0 < found.share.changed < 2000
    (topic,) = found.topics
    assert topic.witness is not None


def test_without_a_solver_nothing_is_said_to_be_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "z3", None)
    changed, _ = SAME["at least for above, of a count"]
    found = compare_rules(before(), base(changed), setups=5000, builds=20)
    assert NO_SOLVER in found.hints
    assert (found.setup, found.build) == (NO_DIFFERENCE_FOUND, NO_DIFFERENCE_FOUND)


def test_what_structure_settles_needs_neither(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "z3", None)
    monkeypatch.setitem(sys.modules, "numpy", None)
    found = compare_rules(before(), base(SAME["other reasons"][0]))
    assert (found.setup, found.build, found.hints) == (BY_STRUCTURE, BY_STRUCTURE, ())


def test_neither_is_imported_before_it_is_needed() -> None:
    told = (
        "import sys, advisor.comparing_rules, advisor.revisions, "
        "advisor.render.rules_comparison_text; "
        "print([m for m in ('numpy', 'z3', 'jsonschema') if m in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert found.stdout == "[]\n"
