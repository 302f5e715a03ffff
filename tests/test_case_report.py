"""The cases command: what holds, what does not, what a house changes; for people and machines."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from advisor.case_report import Outcome, junit
from advisor.cases import Case
from advisor.setups.model import Setup
from tests.heavy import untraced
from tests.rulebase import folders
from tests.test_cli import run

MANIFEST = """\
schema: 1
name: quillmere
version: 0.0.1
says: A house for a test.
extends: {name: base, version: ">=0.1,<1"}
"""
RULES = """\
- id: three-vanes-always
  says: Fletch everything with three vanes.
  then:
    - should: {fletching.count: 3}
  because: One index on the jig is one mistake fewer.
  evidence: {class: house, note: the bench's habit}
  overrides: [four-vanes-behind-exposed-blades]
"""
CASES = """\
- case: three-behind-blades
  says: Three vanes behind blades too.
  setup: {point: {type: fixed-blade}}
  expect:
    build: {fletching.count: 3}
    fired: [three-vanes-always]
    set_aside: [four-vanes-behind-exposed-blades]

- case: never-holds
  says: A tail of four, which this house never gives; it is here to be told < & >.
  setup: {point: {type: fixed-blade}}
  expect:
    build: {fletching.count: 4}
    silent: [three-vanes-always]
"""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    folder = tmp_path / "house"
    (folder / "cases").mkdir(parents=True)
    (folder / "manifest.yaml").write_text(MANIFEST, encoding="utf-8")
    (folder / "ours.yaml").write_text(RULES, encoding="utf-8")
    (folder / "cases" / "ours.yaml").write_text(CASES, encoding="utf-8")
    return folder


@untraced
def test_the_cases_of_the_base_hold() -> None:
    status, out, err = run("rules", "cases")
    assert (status, err) == (0, "")
    assert out.endswith(" cases, all of them hold\n")
    assert int(out.split()[0]) > 100
    assert "no case expects" not in out


@untraced
def test_a_case_that_does_not_hold_is_told_and_fails(house: Path) -> None:
    status, out, err = run("rules", "cases", "--rules", str(house))
    assert (status, err) == (1, "")
    lines = out.splitlines()
    assert lines[0].endswith("cases/ours.yaml:9  never-holds")
    assert lines[1].startswith("  A tail of four, which this house never gives")
    assert any("fletching.count is 3" in line for line in lines)
    assert any("three-vanes-always is fired, not silent" in line for line in lines)
    assert "1 of 2 cases does not hold" in lines
    assert all(len(line) <= 80 or ".yaml:" in line for line in lines)


@untraced
def test_a_rule_without_a_case_is_named(house: Path) -> None:
    more = RULES.replace("three-vanes-always", "never-tried").replace("overrides", "# overrides")
    (house / "more.yaml").write_text(more, encoding="utf-8")
    _, out, _ = run("rules", "cases", "--rules", str(house))
    assert "no case expects these to fire: never-tried" in out


def test_what_a_house_changes_below_is_told_and_fails_nothing(house: Path) -> None:
    status, out, _ = run("rules", "cases", "--rules", str(house), "--only", "behind")
    assert status == 0
    assert "Cases of the layers below that come to something else under these rules" in out
    assert "1 case, all of them hold" in out
    below = next(line for line in out.splitlines() if line.endswith("otherwise"))
    changed, _, whole = below.split()[:3]
    assert 0 < int(changed) < int(whole)


@untraced
def test_json_says_the_same(house: Path) -> None:
    status, out, _ = run("rules", "cases", "--rules", str(house), "--format", "json")
    told = {entry["case"]: entry for entry in json.loads(out) if entry["layer"] == "quillmere"}
    assert status == 1
    assert told["three-behind-blades"]["holds"]
    assert not told["never-holds"]["holds"]
    assert told["never-holds"]["must_hold"]
    assert len(told["never-holds"]["problems"]) == 2


@untraced
def test_junit_can_be_read_by_a_build_server(house: Path, tmp_path: Path) -> None:
    file = tmp_path / "cases.xml"
    words = ("rules", "cases", "--rules", str(house), "--format", "junit", "--out", str(file))
    status, out, _ = run(*words)
    assert (status, out) == (1, "")
    root = ET.fromstring(file.read_text(encoding="utf-8"))  # noqa: S314  # our own file
    cases = root.findall("./testsuite/testcase")
    assert len(cases) == int(root.attrib["tests"]) > 100
    failing = [case for case in cases if case.find("failure") is not None]
    assert [case.attrib["name"] for case in failing] == ["never-holds"]
    assert root.attrib["failures"] == "1"
    skipped = [case for case in cases if case.find("skipped") is not None]
    assert len(skipped) == int(root.attrib["skipped"]) > 0
    assert {case.attrib["classname"] for case in skipped} == {"base"}
    told = failing[0].find("failure")
    assert told is not None
    assert "told < & >" in str(told.text)


def test_junit_leaves_out_what_xml_cannot_hold() -> None:
    case = Case("bell", "rings \x07 \ufffe \ud800 here", Setup("", {}), None, {}, "a.yaml", 1)
    text = junit([Outcome(case, "base", True, ("no \x00 ring",), 0.1)])
    root = ET.fromstring(text)  # noqa: S314  # our own text
    told = root.find("./testsuite/testcase/failure")
    assert told is not None
    assert told.attrib["message"] == "no  ring"
    assert str(told.text).startswith("rings    here")


def test_faulty_cases_are_refused_all_at_once(house: Path) -> None:
    (house / "cases" / "ours.yaml").write_text(CASES.replace("count: 3", "cuont: 3"))
    (house / "cases" / "more.yaml").write_text("- case: half\n")
    status, out, err = run("rules", "cases", "--rules", str(house))
    assert (status, out) == (3, "")
    assert "cuont" in err
    assert "more.yaml" in err


def test_misuse_is_refused(house: Path) -> None:
    status, _, err = run("rules", "cases", "--only", "no-such-case")
    assert status == 2
    assert "no case has `no-such-case` in its name" in err
    status, _, err = run("rules", "cases", "--format", "junti")
    assert status == 2
    assert "junit" in err
    status, _, err = run("rules", "cases", "--rules", str(house / "nowhere"))
    assert status == 3


def test_a_rule_base_without_cases_says_so(tmp_path: Path) -> None:
    status, out, _ = run("rules", "cases", "--rules", folders.write_kettle(tmp_path))
    assert (status, out) == (0, "there are no cases\n")
