"""The commands about rules, from the outside: what they print, write, and end with."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import jsonschema
import pytest

from tests.test_cli import run

ROOT = Path(__file__).resolve().parents[1]
HOUSE = str(ROOT / "examples" / "quillmere" / "rules")
SCHEMAS = ROOT / "rules" / "schemas"

MANIFEST = "schema: 1\nname: shed\nversion: 0.1.0\nsays: A shed.\nextends: {name: base}\n"
NEVER = (
    "- id: never\n  says: Warn of it.\n"
    "  when: {all: [{arrow.speed: {at_least: 300 fps}}, {arrow.speed: {below: 290 fps}}]}\n"
    "  then: [{caution: {level: note, text: Nobody reads this.}}]\n"
    "  because: It is planted.\n  evidence: {class: house, note: planted}\n"
)


@pytest.fixture
def shed(tmp_path: Path) -> Path:
    """A house with one rule that can never fire."""
    folder = tmp_path / "shed"
    folder.mkdir()
    (folder / "manifest.yaml").write_text(MANIFEST)
    (folder / "care.yaml").write_text(NEVER)
    return folder


def test_the_shipped_rules_have_no_finding_that_is_not_accepted() -> None:
    for words in ([], ["--rules", HOUSE]):
        status, out, err = run("rules", "check", *words)
        assert (status, err) == (0, "")
        assert " no finding.\n" in out
        assert "every setup" in out
        assert all(len(line) <= 80 for line in out.splitlines())


def test_a_finding_fails_the_check_and_is_told_in_three_forms(shed: Path) -> None:
    status, out, _ = run("rules", "check", "--rules", str(shed))
    assert status == 1
    assert "care.yaml:3 contradictory-bounds" in " ".join(out.split())
    status, out, _ = run("rules", "check", "--rules", str(shed), "--format", "json")
    assert status == 1
    plain = json.loads(out)
    jsonschema.validate(plain, json.loads((SCHEMAS / "check.schema.json").read_text()))
    own = [one for one in plain["findings"] if one.get("own", True)]
    assert [one["finding"] for one in own] == ["contradictory-bounds"]
    target = shed / "found.sarif"
    told = run("rules", "check", "--rules", str(shed), "--format", "sarif", "--out", str(target))
    assert told[:2] == (1, "")
    log = json.loads(target.read_text())
    assert log["version"] == "2.1.0"
    assert "contradictory-bounds" in {one["ruleId"] for one in log["runs"][0]["results"]}


def test_rules_that_cannot_be_read_are_findings_and_end_with_3(shed: Path) -> None:
    (shed / "care.yaml").write_text(NEVER.replace("arrow.speed: {below", "arrow.sped: {below"))
    status, out, _ = run("rules", "check", "--rules", str(shed))
    assert status == 3
    assert "did you mean" in out.lower()
    assert run("rules", "check", "--rules", str(shed / "gone"))[0] == 3


def test_without_the_solver_there_is_a_hint_and_the_rest(
    shed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "z3", None)
    status, out, err = run("rules", "check", "--rules", str(shed))
    assert (status, err) == (2, "")
    assert "pip install 'arrow-advisor[prove]'" in " ".join(out.split())
    assert "contradictory-bounds" in out
    assert run("rules", "check", "--no-proofs", "--rules", HOUSE)[0] == 0


def test_an_unknown_format_is_refused() -> None:
    status, out, err = run("rules", "check", "--format", "sariff")
    assert (status, out) == (2, "")
    assert "did you mean sarif?" in err
    assert err.endswith("nothing was checked\n")
