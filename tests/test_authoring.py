"""Beginning a rule in a house, and the schemas its editor completes by."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from advisor.authoring.begin import EDITED, NewRule, editor_schemas, new_rule, new_rule_text
from advisor.authoring.drafts import Draft, put_all
from advisor.authoring.formatting import format_rules
from advisor.cases import case_files, read_cases, run_case
from advisor.cli_common import replace
from advisor.documents import read_document
from advisor.errors import Faults
from advisor.recheck.files import read_layers as recheck_layers
from advisor.rulebase.read import read_rule_base

ROOT = Path(__file__).parent.parent
EXAMPLE = ROOT / "examples" / "quillmere" / "rules"


@pytest.fixture
def house(tmp_path: Path) -> Path:
    folder = tmp_path / "house"
    shutil.copytree(EXAMPLE, folder)
    return folder


def begin(house: Path, *args: str, **more: Any) -> NewRule:
    made = new_rule(read_rule_base(str(house)), *args, **more)
    put_all(made.files, replace)
    return made


def faults_of(house: Path) -> list[tuple[str, str, str]]:
    with pytest.raises(Faults) as refused:
        read_rule_base(str(house))
    assert refused.value.about == "rules"
    return [(Path(f.file).name, f.what, f.help) for f in refused.value.faults]


def fill(path: Path, **words: str) -> None:
    """Put words in the place of what is due, by the name before it."""
    text = path.read_text(encoding="utf-8")
    for due in (r'"FILL IN [^"]*"', r"FILL IN [^}\n]*"):
        text = re.sub(rf"(\w+): {due}", lambda found: f"{found[1]}: {words[found[1]]}", text)
    path.write_text(text, encoding="utf-8")


WORDS = {
    "says": "Put four vanes behind a blunt.",
    "when": "{point.type: blunt}",
    "then": "[{should: {fletching.count: 4}}]",
    "because": "The guides asked for it.",
    "note": "shop custom",
    "place": "chapter 2",
    "function": "quotient",
    "author": "Ansel Brook",
    "title": "Blunts",
    "year": "undated",
    "where": "in the drawer",
}


@pytest.mark.parametrize("evidence", ["published", "derived", "common-practice", "house"])
@pytest.mark.parametrize("topic", ["tails", "count"])
def test_a_rule_is_begun_refused_until_it_is_filled_in_and_then_in_force(
    house: Path, topic: str, evidence: str
) -> None:
    before = read_rule_base(str(house))
    made = begin(house, topic, "four-behind-a-blunt", evidence)
    names = [str(Path(draft.path).relative_to(house)) for draft in made.files]
    more = ["sources.yaml"] if evidence == "published" else []
    assert names == [f"{topic}.yaml", f"cases/{topic}.yaml", *more]

    told = faults_of(house)
    assert all(what.endswith("is not filled in yet") for _, what, _ in told)
    assert ("`says` is not filled in yet") in [what for _, what, _ in told]
    assert all(remedy.startswith("put here ") for _, _, remedy in told)
    read = [due for due in made.due if "/cases/" not in due]
    assert len(read) == len(told) >= 4

    for name in [f"{topic}.yaml", *more]:
        fill(house / name, **WORDS)
    base = read_rule_base(str(house))
    assert base.entries.keys() - before.entries.keys() == {"four-behind-a-blunt"}
    assert base.entries["four-behind-a-blunt"].evidence.kind == evidence
    assert base.entries["four-behind-a-blunt"].layer == "quillmere"

    cases = house / "cases" / f"{topic}.yaml"
    with pytest.raises(Faults, match="not filled in"):
        read_cases(str(cases), base)
    first, second = (
        cases.read_text(encoding="utf-8").rsplit("\n- case: ", 1)
        if (topic == "tails")
        else cases.read_text(encoding="utf-8").split("\n- case: ", 1)
    )
    cases.write_text(first, encoding="utf-8")
    fill(cases, says="Fires.", setup="{point: {type: blunt}}")
    kept = cases.read_text(encoding="utf-8")
    cases.write_text("- case: " + second, encoding="utf-8")
    fill(cases, says="Stays silent.", setup="{point: {type: field-point}}")
    cases.write_text(kept + "\n" + cases.read_text(encoding="utf-8"), encoding="utf-8")
    ours = [case for case in read_cases(str(cases), base) if "blunt" in case.name]
    assert [case.name for case in ours] == [
        "four-behind-a-blunt-fires",
        "four-behind-a-blunt-stays-silent",
    ]
    assert [run_case(case, base) for case in ours] == [[], []]


def test_what_stood_in_the_files_stands_there_still(house: Path) -> None:
    before = {path: path.read_text(encoding="utf-8") for path in house.rglob("*.yaml")}
    made = begin(house, "tails", "a-new-one", "published")
    for path, text in before.items():
        assert path.read_text(encoding="utf-8").startswith(text)
    assert (house / "sources.yaml").read_text(encoding="utf-8").startswith("schema: 1\nsources:\n")
    assert format_rules(str(house)).changed == ()
    text = new_rule_text(made, tuple(draft.path for draft in made.files))
    assert text.startswith("Begun: a-new-one\n")
    lines = (house / "tails.yaml").read_text(encoding="utf-8").splitlines()
    at = next(
        i
        for i, line in enumerate(lines, 1)
        if "because: FILL IN" in line or 'because: "FILL IN' in line
    )
    assert f"tails.yaml:{at}  because" in text
    assert "sources.yaml:4  author" in text
    assert max(map(len, text.replace(str(house), "house").splitlines())) <= 80


def test_a_second_source_goes_below_the_first_and_one_that_is_there_is_used(house: Path) -> None:
    begin(house, "tails", "first", "published")
    for name in ("tails.yaml", "sources.yaml"):
        fill(house / name, **WORDS)
    begin(house, "tails", "second", "published")
    for name in ("tails.yaml", "sources.yaml"):
        fill(house / name, **WORDS)
    made = begin(house, "tails", "third", "published", source="source-of-first")
    assert [Path(draft.path).name for draft in made.files] == ["tails.yaml", "tails.yaml"]
    fill(house / "tails.yaml", **WORDS)
    base = read_rule_base(str(house))
    assert base.entries["third"].evidence.source == "source-of-first"
    assert {"source-of-first", "source-of-second"} <= base.sources.keys()


@pytest.mark.parametrize(
    ("args", "more", "told"),
    [
        (("tails", "three-behind-a-mechanical", "house"), {}, "there is a rule"),
        (("tails", "four-vanes-behind-exposed-blades", "house"), {}, "`replaces: four-vanes"),
        (("tails", "compare-three-with-four", "house"), {}, "was retired"),
        (("tails", "Four Vanes", "house"), {}, "`Four Vanes` is no name"),
        (("tials", "four", "house"), {}, "did you mean tails?"),
        (("manifest", "four", "house"), {"new_topic": True}, "`manifest` is no topic"),
        (("../tails", "four", "house"), {"new_topic": True}, "`../tails` is no topic"),
        (("tails", "four", "hearsay"), {}, "classes: published"),
        (("tails", "four", "house"), {"source": "x"}, "only published evidence"),
        (("tails", "four", "published"), {"source": "X y"}, "`X y` is no name"),
    ],
)
def test_what_cannot_be_begun_is_refused(
    house: Path, args: tuple[str, str, str], more: dict[str, Any], told: str
) -> None:
    with pytest.raises(Faults) as refused:
        begin(house, *args, **more)
    assert refused.value.exit_status == 2
    assert told in " ".join(refused.value.text("nothing was written").split())


def test_every_fault_is_told_at_once_and_the_shipped_rules_are_not_added_to() -> None:
    with pytest.raises(Faults) as refused:
        new_rule(read_rule_base(), "cuont", "three-or-four-vanes", "hearsay")
    text = " ".join(refused.value.text("nothing was written").split())
    assert "4 faults" in text
    assert "make a house" in text
    assert "did you mean count?" in text


def test_a_new_topic_is_made_where_it_is_asked_for(house: Path) -> None:
    put_all(editor_schemas(read_rule_base(str(house)), str(house / "schemas")), replace)
    begin(house, "feathers", "four", "house", new_topic=True)
    first = "# yaml-language-server: $schema={}\n- "
    rules = (house / "feathers.yaml").read_text(encoding="utf-8")
    cases = (house / "cases" / "feathers.yaml").read_text(encoding="utf-8")
    assert rules.startswith(first.format("schemas/rules.schema.json"))
    assert cases.startswith(first.format("../schemas/cases.schema.json"))
    fill(house / "feathers.yaml", **WORDS)
    assert "four" in read_rule_base(str(house)).entries


@pytest.mark.parametrize("text", ["[{case: x, says: x, setup: {}, expect: {}}]\n", "  - case: x\n"])
def test_a_file_that_cannot_be_added_to_is_refused_whole(house: Path, text: str) -> None:
    (house / "cases" / "tails.yaml").write_text(text, encoding="utf-8")
    before = (house / "tails.yaml").read_text(encoding="utf-8")
    with pytest.raises(Faults, match="nothing can be added"):
        begin(house, "tails", "four", "house")
    assert (house / "tails.yaml").read_text(encoding="utf-8") == before


# --- files, all of them or none -------------------------------------------------------------------


def test_if_one_cannot_be_written_none_is(tmp_path: Path) -> None:
    old, new, last = (str(tmp_path / name) for name in ("old", "new", "last"))
    Path(old).write_text("before")
    drafts = [Draft(old, "after", "before"), Draft(new, "made", None), Draft(last, "x", None)]

    def put(path: str, text: str) -> None:
        if path.endswith("last"):
            raise OSError("the disk is full")
        replace(path, text)

    with pytest.raises(OSError, match="full"):
        put_all(drafts, put)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["old"]
    assert Path(old).read_text() == "before"
    assert put_all(drafts, replace) == (old, new, last)
    assert put_all([Draft(old, "after", "after")], put) == ()


# --- editors --------------------------------------------------------------------------------------


def test_an_editor_completes_the_facts_of_the_house(house: Path) -> None:
    drafts = editor_schemas(read_rule_base(str(house)), str(house / "schemas"))
    assert [Path(draft.path).name for draft in drafts] == [f"{n}.schema.json" for n in EDITED]
    put_all(drafts, replace)
    assert not any(
        d.changes for d in editor_schemas(read_rule_base(str(house)), str(house / "schemas"))
    )
    made = {
        name: json.loads((house / "schemas" / f"{name}.schema.json").read_text()) for name in EDITED
    }
    for schema in made.values():
        Draft202012Validator.check_schema(schema)
    condition = made["rules"]["$defs"]["condition"]["properties"]
    assert "club.book" in condition
    assert "point.type" in condition
    choices = made["rules"]["$defs"]["value-of-club.book"]
    assert choices == {"enum": ["none", "reed-butts"]}
    assert made["setup"]["properties"]["club"]["properties"]["book"]["enum"] == [
        "none",
        "reed-butts",
    ]

    def holds(name: str, path: Path) -> bool:
        return bool(Draft202012Validator(made[name]).is_valid(read_document(str(path)).data))

    for topic in ("tails", "places", "bench"):
        assert holds("rules", house / f"{topic}.yaml")
    for name in ("vocabulary", "manifest"):
        assert holds(name, house / f"{name}.yaml")
    for cases in case_files(str(house)):
        assert holds("cases", Path(cases))
    text = (
        (house / "places.yaml")
        .read_text(encoding="utf-8")
        .replace("reed-butts\n", "red-butts\n", 1)
    )
    (house / "places.yaml").write_text(text, encoding="utf-8")
    assert not holds("rules", house / "places.yaml")


BASE = Path(__file__).resolve().parents[1] / "rules" / "base"
SHIPPED = BASE.parent / "schemas"


@pytest.mark.parametrize("path", sorted(BASE.rglob("*.yaml")), ids=lambda path: path.name)
def test_every_shipped_file_names_the_schema_an_editor_completes_it_by(path: Path) -> None:
    first = path.read_text(encoding="utf-8").partition("\n")[0]
    named = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", first)
    assert named
    assert (path.parent / named[1]).resolve() == SHIPPED / schema_of(path)


def schema_of(path: Path) -> str:
    """Return the file by which this one is also checked, where the Decision's schemas are."""
    kinds = {"ladder": "stock", "manifest": "manifest", "sources": "sources"}
    kinds |= {"vocabulary": "vocabulary"}
    kind = "cases" if path.parent.name == "cases" else kinds.get(path.stem, "rules")
    return f"{kind}.schema.json"


def test_a_source_is_one_that_is_there(house: Path) -> None:
    base = read_rule_base(str(house))
    with pytest.raises(Faults) as refused:
        new_rule(base, "tails", "a-new-one", "published", source="world-archery-book")
    told = refused.value.text("nothing was written")
    assert "there is no source `world-archery-book`" in told
    assert "did you mean world-archery-books?" in told
    made = new_rule(base, "tails", "a-new-one", "published", source="world-archery-books")
    assert "source: world-archery-books" in made.files[0].text
    assert len(made.files) == 2


@pytest.mark.parametrize("name", ["true", "2024", "1e3", "null"])
def test_an_id_that_yaml_reads_as_no_text_is_refused(house: Path, name: str) -> None:
    with pytest.raises(Faults) as refused:
        new_rule(read_rule_base(str(house)), "tails", name, "house")
    assert f"`{name}` is no name" in refused.value.text("nothing was written")


def test_what_is_added_ends_its_lines_as_the_file_does(house: Path) -> None:
    path = house / "tails.yaml"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    made = new_rule(read_rule_base(str(house)), "tails", "a-new-one", "house")
    assert made.files[0].text.count("\r\n") == made.files[0].text.count("\n")


def test_the_command_that_comes_next_can_be_pasted(house: Path) -> None:
    odd = house.parent / "our rules; $x"
    house.rename(odd)
    made = new_rule(read_rule_base(str(odd)), "tails", "a-new-one", "house")
    assert new_rule_text(made, ()).endswith(f"  advisor rules cases --rules '{odd}'\n")


def test_what_an_editor_hides_is_no_file_of_the_rules(house: Path) -> None:
    before = read_rule_base(str(house)).digest
    (house / ".tails.yaml").write_text("")
    (house / "cases" / ".tails.yaml").write_text("")
    base = read_rule_base(str(house))
    assert base.digest == before
    assert not any(os.path.basename(path).startswith(".") for path in case_files(str(house)))
    assert recheck_layers(str(house))[-1].keys() == {path.name for path in house.glob("[!.]*.yaml")}


def test_an_editor_underlines_a_fact_of_a_house_that_is_mistyped(house: Path) -> None:
    drafts = editor_schemas(read_rule_base(str(house)), str(house / "schemas"))
    rules = next(json.loads(d.text) for d in drafts if d.path.endswith("rules.schema.json"))
    validator = Draft202012Validator(rules)
    text = (house / "tails.yaml").read_text(encoding="utf-8")

    def faults(written: str) -> int:
        return len(list(validator.iter_errors(read_document("", written).data)))

    assert faults(text) == 0
    for right, wrong in (("shop.line: reed", "shop.lin: reed"), ("vane.height:", "vane.hight:")):
        assert right in text
        assert faults(text.replace(right, wrong)) > 0
