from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from advisor.decision import Decision, Number, from_plain, to_plain
from advisor.pipeline import advise
from advisor.render.text import render
from advisor.rulebase.__main__ import schema_texts
from advisor.rulebase.locate import schema_folder
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup
from tests.heavy import untraced

ROOT = Path(__file__).resolve().parents[1]
BASE = read_rule_base()
EXAMPLES = sorted(
    path for path in (ROOT / "examples").glob("*.yaml") if path.name != "mistyped.yaml"
)


def decision_on(path: Path) -> Decision:
    return advise(read_setup(str(path), [], BASE.vocabulary), BASE)


@pytest.mark.parametrize("path", EXAMPLES, ids=[path.stem for path in EXAMPLES])
def test_a_decision_travels_through_json_and_keeps_to_its_schema(path: Path) -> None:
    decision = decision_on(path)
    plain = json.loads(json.dumps(to_plain(decision)))
    assert from_plain(plain) == decision
    schema = json.loads((Path(schema_folder()) / "decision.schema.json").read_text())
    validator = jsonschema.Draft202012Validator(schema)
    assert list(validator.iter_errors(plain)) == []
    plain["status"] = "perhaps"
    plain["build"]["fletching.count"] = ["four"]
    plain["surprise"] = 1
    assert len(list(validator.iter_errors(plain))) >= 2


def test_another_format_is_refused() -> None:
    plain = to_plain(decision_on(EXAMPLES[0]))
    plain["format"] = 0
    with pytest.raises(ValueError, match="format 0"):
        from_plain(plain)


def test_schema_files_are_current() -> None:
    folder = Path(schema_folder())
    texts = schema_texts()
    assert {path.name for path in folder.iterdir()} == set(texts)
    for name, text in texts.items():
        assert (folder / name).read_text() == text, f"{name}: run python -m advisor.rulebase"


def test_what_ships_keeps_to_the_schemas_for_editors() -> None:
    from advisor.documents import read_document

    base = ROOT / "rules" / "base"
    special = {"manifest": "manifest", "vocabulary": "vocabulary", "sources": "sources"}
    of = {f"{name}.yaml": schema for name, schema in special.items()} | {"ladder.yaml": "stock"}
    files = [(path, of.get(path.name, "rules")) for path in base.glob("*.yaml")]
    files += [(path, "cases") for path in (base / "cases").glob("*.yaml")]
    files += [(path, "setup") for path in EXAMPLES]
    validators: dict[str, jsonschema.Draft202012Validator] = {}
    for path, name in files:
        if name not in validators:
            schema = json.loads((Path(schema_folder()) / f"{name}.schema.json").read_text())
            jsonschema.Draft202012Validator.check_schema(schema)
            validators[name] = jsonschema.Draft202012Validator(schema)
        assert list(validators[name].iter_errors(read_document(str(path)).data)) == [], path


def test_the_schema_for_editors_refuses_what_the_reader_refuses() -> None:
    schema = json.loads((Path(schema_folder()) / "rules.schema.json").read_text())
    validator = jsonschema.Draft202012Validator(schema)

    def faults(when: object, then: object) -> int:
        rule = {
            "id": "a-rule",
            "says": "Say.",
            "when": when,
            "then": [then],
            "because": "So.",
            "evidence": {"class": "common-practice"},
        }
        return len(list(validator.iter_errors([rule])))

    good = {"should": {"fletching.count": 4}}
    assert faults({"point.type": "fixed-blade"}, good) == 0
    assert faults({"point.type": "fixed-bladed"}, good) > 0
    assert faults({"point.type": {"at_least": 3}}, good) > 0
    assert faults({"point.type": {"fact": "point.bevel"}}, good) == 0
    assert faults({"discipline": ["hunting", "3d"]}, {"set": {"vane.length_band": "short"}}) == 0
    assert faults({"discipline": "hunting"}, {"set": {"vane.length_band": "tiny"}}) > 0
    assert faults({}, good) > 0
    assert faults({"any": []}, good) > 0
    assert faults({"point.type": "blunt"}, {"favour": {"wind.drift": "lowest"}}) == 0
    assert faults({"point.type": "blunt"}, {"favour": {"wind.drift": "least"}}) > 0


def test_numbers_say_where_they_come_from() -> None:
    decision = decision_on(ROOT / "examples" / "fixed-blade-hunting.yaml")
    mass = decision.numbers["arrow.mass"]
    # 100 head + 50 insert + 28 in of 9.0 gr/in + 9 nock + 4 vanes of the chosen kind.
    vane = decision.build["vane.mass"]
    assert isinstance(vane, Number)
    assert mass.value == pytest.approx(100 + 50 + 28 * 9.0 + 9 + 4 * vane.value, rel=1e-9)
    assert (mass.unit, mass.function, mass.band) == ("gr", "finished mass", "2 %")
    assert set(to_plain(mass)) >= {"value", "unit", "band", "function", "source"}


def test_every_chosen_value_cites_a_rule_that_stands() -> None:
    for path in EXAMPLES:
        decision = decision_on(path)
        for reasons in decision.reasons.values():
            for reason in reasons:
                assert reason.rule in decision.fired, (path.name, reason.rule)
                assert reason.because
        for lost in decision.set_aside:
            assert lost.rule in decision.fired
            assert lost.by in decision.fired


def test_premises_lead_down_to_the_line_of_the_file() -> None:
    path = ROOT / "examples" / "fixed-blade-hunting.yaml"
    decision = decision_on(path)
    reason = next(
        r for r in decision.reasons["fletching.count"] if r.rule.startswith("four-vanes-behind")
    )
    (premise,) = [p for p in reason.premises if p.fact == "point.type"]
    line = path.read_text().splitlines()[premise.line - 1]
    assert premise.origin == "given"
    assert "fixed-blade" in line


@untraced
def test_no_choice_on_the_ladder_is_bounded_by_it() -> None:
    """A choice at the end of the ladder that no rule bounds is a fault of the base rules."""
    from advisor.cases import case_files, read_cases
    from advisor.rulebase.locate import base_folder

    for file in case_files(base_folder()):
        for case in read_cases(file, BASE):
            if case.stock is None:
                decision = advise(case.setup, BASE)
                assert decision.bounded == (), (case.name, decision.bounded)


def test_the_same_setup_in_another_order_gives_the_same_advice(tmp_path: Path) -> None:
    path = ROOT / "examples" / "mechanical-head.yaml"
    from advisor.documents import read_document

    data = read_document(str(path)).data
    shuffled = tmp_path / path.name
    shuffled.write_text(json.dumps(dict(reversed(data.items()))))  # JSON is YAML
    one, other = decision_on(path), decision_on(shuffled)
    assert one.build == other.build
    assert one.fired == other.fired
    assert one.questions == other.questions
    assert one.rulebase == other.rulebase


def test_a_house_that_silences_a_warning_says_so_beside_the_build(tmp_path: Path) -> None:
    house = tmp_path / "house"
    house.mkdir()
    (house / "manifest.yaml").write_text(
        "schema: 1\nname: quillmere\nversion: 0.0.1\nsays: A house for a test.\n"
        'extends: {name: base, version: ">=0.1,<1"}\n'
        "retire:\n"
        "  - {rule: too-light-to-shoot, because: we shoot them light}\n"
        "  - {rule: carry-the-lightest-vane, because: we have one vane}\n",
        encoding="utf-8",
    )
    (house / "ours.yaml").write_text(
        "- id: we-know-our-crossbows\n"
        "  says: Build bolts as we always did.\n"
        "  when: {bow.type: crossbow}\n"
        "  then:\n"
        "    - caution: {level: note, text: We know them.}\n"
        "  because: We have built them for years.\n"
        "  evidence: {class: house, note: habit}\n"
        "  overrides: [crossbow-bolts-are-out-of-scope]\n",
        encoding="utf-8",
    )
    base = read_rule_base(str(house))
    stops = [name for name, entry in base.entries.items() if entry.rule.stop]
    assert "crossbow-bolts-are-out-of-scope" in stops
    light = advise(read_setup(str(ROOT / "examples" / "too-light.yaml"), [], base.vocabulary), base)
    assert light.status == "advised"
    [note] = [n for n in light.notes if "too-light-to-shoot" in n]
    assert "we shoot them light" in note
    assert not any("carry-the-lightest-vane" in n for n in light.notes)
    bolt = advise(read_setup(None, ["bow.type=crossbow"], base.vocabulary), base)
    assert any("crossbow-bolts-are-out-of-scope" in n and "set aside" in n for n in bolt.notes)
    assert render(light, False).index(" took the warning") < render(light, False).index("\nWhy")
