"""A report of a check as text, JSON and SARIF."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from advisor.checked import KINDS, LOOKED_UP, PROVED, CheckReport, Finding
from advisor.checking import check_rules
from advisor.decision import Number, RuleBaseName, to_plain
from advisor.render import check_sarif, check_text
from advisor.rulebase.locate import schema_folder
from tests.proving.test_planted import CLAY, MANY, NOTE, PLANTED, accepting, kettle
from tests.rulebase.folders import rule, write_house

NAME = RuleBaseName("house", "0.3.0", "f" * 64, ("kettle 1.2.0", "house 0.3.0"))
TIE = Finding(
    "open-tie",
    "warning",
    "`one` and `other` can stand together and ask for what cannot be had together.",
    "Let one override the other.",
    "rules/house/a tea.yaml",
    12,
    3,
    ("one", "other"),
    "house",
    PROVED,
    {"pot.size": Number(300.000001, "ml"), "tea.kind": "green", "cup.handle": False},
    "both stand",
    ("tea.warmth",),
)
REPEAT = Finding(
    "near-duplicate", "warning", "They are alike.", "Keep one.", "/far/tea.yaml", 1, 1, ("a", "b"),
    "kettle", LOOKED_UP, own=False,
)  # fmt: skip
MEANT = TIE._replace(finding="no-build", accepted="We sell no such pot.", rules=("one",))
REPORT = CheckReport(NAME, 7, (TIE, REPEAT), (MEANT,), proved=True)


def test_the_text_tells_all_of_a_finding() -> None:
    title = "Check of the rules            house 0.3.0 over kettle 1.2.0, digest ffffffffffff\n"
    assert check_text.render(REPORT, colour=False) == (
        f"{title}\n"
        "To look at\n"
        "  rules/house/a tea.yaml:12  open-tie\n"
        "       `one` and `other` can stand together and ask for what cannot be had\n"
        "         together.\n"
        "       Let one override the other.\n"
        "       With pot.size 300.000001 ml, tea.kind green, cup.handle no: both stand.\n"
        "       Taken for free within their range: tea.warmth.\n"
        "\n"
        "In the layers below, for whoever writes them\n"
        "  /far/tea.yaml:1  near-duplicate\n"
        "       They are alike.\n"
        "       Keep one.\n"
        "\n"
        "Accepted\n"
        "       no-build (one), rules/house/a tea.yaml:12: We sell no such pot.\n"
        "\n"
        "In all\n"
        "       7 rules, 1 finding.\n"
        "       1 finding in the layers below, which fails nothing.\n"
        "       1 finding accepted beside the rules.\n"
        "       Proofs are over the declared ranges and choices of all facts; every setup\n"
        "         shown was run by the engine.\n"
    )


@pytest.mark.parametrize("lesson", PLANTED)
def test_the_text_is_eighty_columns_wide(
    lesson: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = kettle(tmp_path, PLANTED[lesson][0])
    monkeypatch.chdir(tmp_path)
    report = check_rules("kettle")
    told = check_text.render(report, colour=False)
    assert max(map(len, told.splitlines())) <= 80
    assert all(one.finding in told and one.file in told for one in report.findings)
    assert not any(one.file.startswith(str(tmp_path)) for one in report.findings), folder


def test_colours_are_only_there_where_they_are_wanted() -> None:
    assert "\x1b[" in check_text.render(REPORT, colour=True)
    assert "\x1b[" not in check_text.render(REPORT, colour=False)


def test_the_text_of_a_refused_rule_base(tmp_path: Path) -> None:
    report = check_rules(kettle(tmp_path, "- id: lost\n  says: Lost.\n"))
    told = check_text.render(report, colour=False)
    assert told.startswith("Check of the rules in kettle\n\nWrong\n")
    assert "because is missing from `lost`" in told.lower()
    assert "proved" not in told
    assert told.endswith("\nIn all\n       3 findings.\n")
    assert report.exit_status == 3


def test_a_question_in_a_remedy_has_one_mark(tmp_path: Path) -> None:
    report = check_rules(kettle(tmp_path, rule("a", NOTE, when="{tea.kinds: green}")))
    (one,) = report.findings
    assert one.remedy == "Did you mean tea.kind?"
    assert one.says.endswith(".")
    assert not one.says.endswith("..")


def test_the_layers_are_named_with_their_versions(tmp_path: Path) -> None:
    kettle(tmp_path, rule("a", NOTE, when=MANY))
    report = check_rules(write_house(tmp_path, {}), proofs=False)
    assert report.rulebase.layers == ("kettle 1.2.0", "house 0.3.0")
    assert "house 0.3.0 over kettle 1.2.0, digest" in check_text.render(report, colour=False)


def test_the_text_says_what_was_not_proved(tmp_path: Path) -> None:
    folder = kettle(tmp_path, rule("a", NOTE, when=MANY))
    assert "Nothing was proved: that was not asked for." in check_text.render(
        check_rules(folder, proofs=False), colour=False
    )
    hinted = REPORT._replace(proved=False, hint="nothing was proved: no solver")
    assert "Nothing was proved: no solver." in check_text.render(hinted, colour=False)


def test_the_json_keeps_to_its_schema(tmp_path: Path) -> None:
    schema = json.loads((Path(schema_folder()) / "check.schema.json").read_text())
    validator = jsonschema.Draft202012Validator(schema)
    lessons = ("a-tie-of-values", "two-facts-that-exclude-each-other")
    rules = "".join(PLANTED[lesson][0] for lesson in lessons)
    report = check_rules(kettle(tmp_path, rules))
    assert len(report.findings) == 2
    for one in (report, REPORT):
        plain = json.loads(json.dumps(to_plain(one)))
        validator.validate(plain)
        assert plain["format"] == 1
    spoilt = to_plain(REPORT)
    del spoilt["findings"][0]["level"]
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(json.loads(json.dumps(spoilt)))


# SARIF. The structure is that of the published schema, written down from memory; what the project
# uses of it is closed, so that a misspelt property is found.

TEXT: dict[str, Any] = {
    "type": "object",
    "properties": {"text": {"type": "string", "minLength": 1}},
    "required": ["text"],
    "additionalProperties": False,
}
LEVEL = {"enum": ["none", "note", "warning", "error"]}
WHOLE = {"type": "integer", "minimum": 1}


def closed(required: list[str], **properties: Any) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }


def listed(item: dict[str, Any], least: int = 0) -> dict[str, Any]:
    return {"type": "array", "items": item, "minItems": least}


LOCATION = closed(
    ["physicalLocation"],
    physicalLocation=closed(
        ["artifactLocation", "region"],
        artifactLocation=closed(["uri"], uri={"type": "string", "pattern": r"^[!-~]+$"}),
        region=closed(["startLine"], startLine=WHOLE, startColumn=WHOLE),
    ),
    logicalLocations=listed(closed(["name"], name={"type": "string"}), 1),
)
RESULT = closed(
    ["ruleId", "message", "locations"],
    ruleId={"type": "string"},
    ruleIndex={"type": "integer", "minimum": -1},
    level=LEVEL,
    message=TEXT,
    locations=listed(LOCATION, 1),
    suppressions=listed(
        closed(
            ["kind"],
            kind={"enum": ["inSource", "external"]},
            justification={"type": "string"},
        )
    ),
    properties={"type": "object"},
)
DRIVER = closed(
    ["name"],
    name={"type": "string"},
    rules=listed(
        closed(
            ["id"],
            id={"type": "string"},
            shortDescription=TEXT,
            defaultConfiguration=closed([], level=LEVEL),
        )
    ),
)
NOTIFICATION = closed(["message"], level=LEVEL, message=TEXT)
SARIF = closed(
    ["version", "runs", "$schema"],
    **{"$schema": {"type": "string", "format": "uri"}},
    version={"const": "2.1.0"},
    runs=listed(
        closed(
            ["tool", "results"],
            tool=closed(["driver"], driver=DRIVER),
            results=listed(RESULT),
            columnKind={"enum": ["utf16CodeUnits", "unicodeCodePoints"]},
            invocations=listed(
                closed(
                    ["executionSuccessful"],
                    executionSuccessful={"type": "boolean"},
                    toolExecutionNotifications=listed(NOTIFICATION),
                )
            ),
        ),
        1,
    ),
)


def sarif(report: CheckReport) -> dict[str, Any]:
    log: dict[str, Any] = json.loads(check_sarif.render(report))
    jsonschema.validate(log, SARIF)
    (run,) = log["runs"]
    kinds = run["tool"]["driver"]["rules"]
    for result in run["results"]:
        assert kinds[result["ruleIndex"]]["id"] == result["ruleId"]
    return log


def test_sarif_shows_a_finding_in_its_place() -> None:
    (run,) = sarif(REPORT)["runs"]
    first, second, third = run["results"]
    assert first["ruleId"] == "open-tie"
    assert first["level"] == "warning"
    place = first["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "rules/house/a%20tea.yaml"
    assert place["region"] == {"startLine": 12, "startColumn": 3}
    assert first["message"]["text"].endswith(
        "Let one override the other. With pot.size 300.000001 ml, tea.kind green, cup.handle no: "
        "both stand. Computed, and free within their range here: tea.warmth."
    )
    assert first["properties"]["witness"]["pot.size"] == {"value": 300.000001, "unit": "ml"}
    assert "suppressions" not in first
    # What concerns layers below only is no more than a note.
    assert second["level"] == "note"
    assert second["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == (
        "file:///far/tea.yaml"
    )
    assert third["suppressions"] == [{"kind": "inSource", "justification": "We sell no such pot."}]


@pytest.mark.parametrize("lesson", PLANTED)
def test_sarif_of_every_planted_fault_is_well_formed(lesson: str, tmp_path: Path) -> None:
    report = check_rules(kettle(tmp_path, PLANTED[lesson][0]))
    (run,) = sarif(report)["runs"]
    assert len(run["results"]) == len(report.findings)
    assert run["invocations"] == [{"executionSuccessful": True}]


def test_sarif_of_a_refused_rule_base_has_the_faults_in_place(tmp_path: Path) -> None:
    report = check_rules(kettle(tmp_path, rule("a", NOTE, wen=MANY)))
    (run,) = sarif(report)["runs"]
    (result,) = run["results"]
    assert run["invocations"] == [{"executionSuccessful": False}]
    assert result["ruleId"] == "refused"
    assert result["level"] == "error"
    assert result["locations"][0]["physicalLocation"]["region"]["startLine"] == 6


def test_sarif_says_that_proofs_could_not_be_tried() -> None:
    (run,) = sarif(REPORT._replace(proved=False, hint="no solver"))["runs"]
    (invocation,) = run["invocations"]
    assert invocation["executionSuccessful"] is False
    assert invocation["toolExecutionNotifications"][0]["message"]["text"] == "no solver"


def test_sarif_of_an_accepted_finding_says_why(tmp_path: Path) -> None:
    rules = rule("clay-for-many", CLAY, when=MANY, accept=accepting("open-tie"))
    (run,) = sarif(check_rules(kettle(tmp_path, rules)))["runs"]
    (result,) = run["results"]
    assert result["suppressions"][0]["justification"] == "It is meant so."


def test_every_kind_has_a_weight_and_a_meaning() -> None:
    assert {kind.level for kind in KINDS.values()} == {"error", "warning", "note"}
    assert all(kind.means.endswith(".") for kind in KINDS.values())
