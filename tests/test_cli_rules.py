"""The commands about rules, from the outside: what they print, write, and end with."""

from __future__ import annotations

import json
import re
import shutil
import sys
from itertools import takewhile
from pathlib import Path

import jsonschema
import pytest

from tests.heavy import untraced
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


@untraced
def test_the_shipped_rules_have_no_finding_that_is_not_accepted() -> None:
    for words in ([], ["--rules", HOUSE]):
        status, out, err = run("rules", "check", *words)
        assert (status, err) == (0, "")
        assert " no finding.\n" in out
        assert "every setup" in out
        assert all(len(line) <= 80 for line in out.splitlines())


@untraced
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
    assert "pip install '.[prove]'" in " ".join(out.split())
    assert "contradictory-bounds" in out
    assert run("rules", "check", "--no-proofs", "--rules", HOUSE)[0] == 0


def test_an_unknown_format_is_refused() -> None:
    status, out, err = run("rules", "check", "--format", "sariff")
    assert (status, out) == (2, "")
    assert "did you mean sarif?" in err
    assert err.endswith("nothing was checked\n")


WARM = """\
- id: warm-hands
  says: Warm your hands at a draw of sixty pounds.
  when: {bow.draw_weight: {at_least: 60 lbf}}
  then: [{caution: {level: note, text: Warm them.}}]
  because: It is planted.
  evidence: {class: house, note: planted}
"""
CASES = """\
- case: sixty
  says: Sixty pounds is enough.
  setup: {bow: {draw_weight: 60 lbf}}
  expect: {fired: [warm-hands]}
"""


@pytest.fixture
def warm(shed: Path) -> str:
    """A house with one rule and one case, in which it fires on its bound."""
    (shed / "care.yaml").write_text(WARM)
    (shed / "cases").mkdir()
    (shed / "cases" / "care.yaml").write_text(CASES)
    return str(shed)


def test_coverage_tells_what_no_case_shows_and_keeps_a_gate(warm: str) -> None:
    status, out, err = run("rules", "coverage", "--rules", warm)
    assert (status, err) == (0, "")
    told = " ".join(out.split())
    for missing in ("stays silent", "stays undecided", "just beyond", "alone failing"):
        assert missing in told.partition("Missing: ")[2]
    assert "just within" not in told.partition("Missing: ")[2]
    assert run("rules", "coverage", "--rules", warm, "--at-least", "90")[0] == 1
    assert run("rules", "coverage", "--rules", warm, "--at-least", "20")[0] == 0
    plain = json.loads(run("rules", "coverage", "--rules", warm, "--format", "json")[1])
    jsonschema.validate(plain, json.loads((SCHEMAS / "coverage.schema.json").read_text()))
    assert run("rules", "coverage", "--rules", warm, "--at-least", "101")[0] == 2


@untraced
def test_a_change_that_no_case_notices_is_told_with_the_case_that_would(warm: str) -> None:
    status, out, err = run("rules", "mutate", "--rules", warm, "--workers", "1")
    assert (status, err) == (0, "")
    assert "bow.draw_weight is at least 60 lb moved to 59 lb" in " ".join(out.split())
    for words in (["--at-least", "99"], ["--at-least", "99", "--workers", "2"]):
        assert run("rules", "mutate", "--rules", warm, *words)[0] == 1
    plain = json.loads(
        run("rules", "mutate", "--rules", warm, "--workers", "1", "--format", "json")[1]
    )
    jsonschema.validate(plain, json.loads((SCHEMAS / "mutation.schema.json").read_text()))
    assert len(plain["survivors"]) == 2
    names = re.findall(r"- case: (\S+)", out)
    assert len(names) == len(set(names)) == 2
    # The first case that is shown, kept as it stands, notices its change.
    first, *others = out[out.index("         - case: warm-hands") :].splitlines()
    case = [first, *takewhile(lambda line: line.startswith(" " * 11), others)]
    with open(Path(warm) / "cases" / "care.yaml", "a") as file:
        file.write("\n" + "\n".join(line[9:] for line in case) + "\n")
    assert run("rules", "cases", "--rules", warm, "--only", "warm")[0] == 0
    out = run("rules", "mutate", "--rules", warm, "--workers", "1")[1]
    assert "in all                  4 of 4, 100.0 %" in out
    assert "Not noticed" not in out


@pytest.mark.parametrize(
    "words",
    [["--share", "0"], ["--share", "101"], ["--workers", "0"], ["--only", "no such change"]],
)
def test_what_cannot_be_tried_is_refused(words: list[str], warm: str) -> None:
    status, out, err = run("rules", "mutate", "--rules", warm, *words)
    assert (status, out) == (2, "")
    assert words[0] in err
    assert err.endswith("nothing was changed\n")


def test_a_rule_is_begun_filled_in_and_holds(warm: str) -> None:
    words = ["rules", "new", "care", "cool-hands", "--rules", warm, "--evidence", "house"]
    status, out, err = run(*words)
    assert (status, err) == (0, "")
    assert "care.yaml" in out
    assert "FILL IN" in (Path(warm) / "care.yaml").read_text()
    status, out, err = run("rules", "cases", "--rules", warm)
    assert (status, out) == (3, "")
    assert err.count("is not filled in yet") == 5
    before = [(path, path.read_bytes()) for path in Path(warm).rglob("*.yaml")]
    assert run(*words)[0] == 3  # what is half written is not added to
    assert all(path.read_bytes() == held for path, held in before)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["care", "warm-hands", "--evidence", "house"], "there is a rule `warm-hands` already"),
        (["car", "cool-hands", "--evidence", "house"], "there is no topic `car` yet"),
        (["care", "cool-hands", "--evidence", "hearsay"], "`hearsay` is no class of evidence"),
        (["care", "Cool Hands", "--evidence", "house"], "`Cool Hands` is no name"),
    ],
)
def test_what_cannot_be_begun_is_refused(words: list[str], told: str, warm: str) -> None:
    before = [(path, path.read_bytes()) for path in Path(warm).rglob("*.yaml")]
    status, out, err = run("rules", "new", *words, "--rules", warm)
    assert (status, out) == (2, "")
    assert told in " ".join(err.split())
    assert err.endswith("nothing was written\n")
    assert all(path.read_bytes() == held for path, held in before)


def test_formatting_is_checked_done_and_then_in_shape(warm: str) -> None:
    path = Path(warm) / "care.yaml"
    path.write_text(WARM.replace("  says:", "  # Kept.\n  says:").replace("'", '"') + "\n\n")
    held = path.read_text()
    assert run("rules", "format", "--rules", warm, "--check")[0] == 1
    assert path.read_text() == held
    status, out, err = run("rules", "format", "--rules", warm)
    assert (status, err) == (0, "")
    assert "care.yaml" in out
    assert "# Kept." in path.read_text()
    assert run("rules", "format", "--rules", warm, "--check")[:2] == (
        0,
        "1 topic file, all in shape.\n",
    )
    assert run("rules", "format", "gone.yaml", "--rules", warm)[0] == 2


def test_shipped_rules_are_in_shape() -> None:
    for folder in (str(ROOT / "rules" / "base"), HOUSE):
        assert run("rules", "format", "--rules", folder, "--check")[0] == 0


def test_schemas_hold_the_facts_of_a_house(tmp_path: Path) -> None:
    folder = tmp_path / "schemas"
    status, out, _ = run("rules", "schemas", "--rules", HOUSE, "--out", str(folder))
    assert status == 0
    assert "8 written, 0 as they should be" in out
    assert "shop.line" in (folder / "rules.schema.json").read_text()
    assert "shop.line" not in (SCHEMAS / "rules.schema.json").read_text()
    again = run("rules", "schemas", "--rules", HOUSE, "--out", str(folder))[1]
    assert again == "0 written, 8 as they should be\n"
    (tmp_path / "file").write_text("")
    status, _, err = run("rules", "schemas", "--rules", HOUSE, "--out", str(tmp_path / "file/x"))
    assert status == 2
    assert "cannot be written" in err


FEW = ("--setups", "2000", "--builds", "10")


def test_two_versions_are_compared_and_the_status_tells_whether_advice_changed(warm: str) -> None:
    held = str(Path(warm).parent / "held")
    shutil.copytree(warm, held)
    status, out, err = run("rules", "compare", held, warm, *FEW)
    assert (status, err) == (0, "")
    assert "As before: all that they come from is the same." in out
    path = Path(warm) / "care.yaml"
    path.write_text(path.read_text().replace("at_least: 60 lbf", "at_least: 50 lbf"))
    status, out, err = run("rules", "compare", held, warm, *FEW)
    assert (status, err) == (1, "")
    told = " ".join(out.split())
    assert "is at least 60 lb became bow.draw_weight is at least 50 lb" in told
    assert "new: note: Warm them." in told
    assert all(len(line) <= 80 for line in out.splitlines())
    status, out, _ = run("rules", "compare", held, warm, *FEW, "--format", "json")
    plain = json.loads(out)
    jsonschema.validate(plain, json.loads((SCHEMAS / "rules-comparison.schema.json").read_text()))
    assert plain["setup"] == "differs"


def test_a_population_of_ones_own_is_drawn_from(warm: str, tmp_path: Path) -> None:
    held = str(Path(warm).parent / "held")
    shutil.copytree(warm, held)
    path = Path(warm) / "care.yaml"
    path.write_text(path.read_text().replace("at_least: 60 lbf", "at_least: 50 lbf"))
    people = tmp_path / "people.yaml"
    people.write_text(
        "population: halves\nbecause: It is planted.\nfacts:\n"
        "  bow.draw_weight: {values: [40 lb, 55 lb], weights: [3, 1]}\n"
    )
    words = ["rules", "compare", held, warm, "--population", str(people)]
    status, out, _ = run(*words, *FEW, "--format", "json")
    share = json.loads(out)["share"]
    assert status == 1
    assert share["of"] == 2000
    assert abs(share["changed"] - 500) < 100  # five times the deviation of a quarter of 2,000
    people.write_text("population: halves\nfacts:\n  bow.draw_wait: {values: [40 lb]}\n")
    status, out, err = run(*words, *FEW)
    assert (status, out) == (2, "")
    assert "did you mean bow.draw_weight?" in " ".join(err.split())
    assert "because" in err
    assert err.endswith("nothing was compared\n")


def test_versions_that_are_not_there_are_refused_together(tmp_path: Path) -> None:
    status, out, err = run("rules", "compare", str(tmp_path / "one"), str(tmp_path / "two"))
    assert (status, out) == (3, "")
    assert "one" in err
    assert "two" in err
