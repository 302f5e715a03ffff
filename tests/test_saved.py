from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from advisor.decide import decide
from advisor.decision import Decision, Number
from advisor.errors import Faults
from advisor.pipeline import advise
from advisor.render.json import render
from advisor.saved import is_saved, read_decision, read_subject, setup_of
from advisor.seals import seal
from tests.derivations import BASE, FILES, HOUSE, NAMES, QUILLMERE, STOCK, judgement_of, ruled_by

HUNTING = "fixed-blade-hunting"


def text_of(name: str) -> str:
    return render(decide(judgement_of(name)), colour=False)


def refused(text: str, path: str = "saved.json") -> list[tuple[str, str, str]]:
    with pytest.raises(Faults) as caught:
        read_decision(path, text)
    assert caught.value.about == "setup"
    return [(fault.place, fault.what, fault.help) for fault in caught.value.faults]


def changed(name: str, **parts: Any) -> str:
    plain = json.loads(text_of(name))
    plain.update(parts)
    return json.dumps(plain, indent=2)


@pytest.mark.parametrize("name", NAMES)
def test_a_saved_decision_is_read_back_and_judged_again_to_the_same(
    name: str, tmp_path: Path
) -> None:
    path = tmp_path / "saved.json"
    path.write_text(text_of(name), encoding="utf-8")
    decision = decide(judgement_of(name))
    assert read_decision(str(path)) == decision
    base, stock = ruled_by(name)
    again = read_subject(str(path), [], base, stock)
    stated = judgement_of(name).setup.facts
    assert {fact: given._replace(column=0) for fact, given in stated.items()} == again.facts
    assert advise(again, base, stock) == decision


def test_what_was_taken_from_stock_is_taken_again_and_what_was_chosen_is_not() -> None:
    decision = decide(judgement_of("quillmere walk-in"))
    assert decision.items.keys() == {"point", "shaft", "vane"}
    setup = setup_of(decision, HOUSE.vocabulary, "walk-in.json")
    assert {group: given.value for group, given in setup.taken.items()} == {
        "point": "QH-2",
        "shaft": "QS-58",
    }


def test_a_subject_is_told_apart_by_its_content(tmp_path: Path) -> None:
    setup = tmp_path / "setup.json"  # JSON is YAML, so a setup may have this name
    setup.write_text('{"point": {"type": "mechanical"}, "title": "Mine"}')
    assert not is_saved(setup.read_text())
    read = read_subject(str(setup), [], BASE, None)
    assert (read.title, read.facts["point.type"].value) == ("Mine", "mechanical")
    saved = tmp_path / "setup.yaml"
    saved.write_text(text_of(HUNTING), encoding="utf-8")
    assert is_saved(saved.read_text(encoding="utf-8"))
    read = read_subject(str(saved), [], BASE, None)
    assert read.title == "Ansel Brook, ridge elk dozen"
    assert read.facts["point.type"].line == 11
    plain = read_subject(str(FILES[HUNTING]), [], BASE, None)
    assert plain.facts.keys() == read.facts.keys()
    assert read_subject(None, ["point.type=blunt"], BASE, None).facts["point.type"].line == 0


def test_sets_stand_over_a_saved_decision_and_their_faults_are_told_with_its() -> None:
    text = text_of(HUNTING)
    read = read_subject("saved.json", ["point.type=blunt"], BASE, None, text)
    assert (read.facts["point.type"].value, read.facts["point.type"].file) == (
        "blunt",
        "--set point.type",
    )
    with pytest.raises(Faults) as caught:
        read_subject("saved.json", ["point.typ=blunt"], HOUSE, STOCK, text)
    told = str(caught.value)
    assert "`point.typ` is no fact" in told
    assert f"decided by base {BASE.version}, digest {BASE.digest[:12]}" in told.replace("\n", " ")
    assert "3 faults" in told


def test_other_rules_and_another_stock_are_refused_with_both_named() -> None:
    text = text_of("quillmere walk-in")
    with pytest.raises(Faults) as caught:
        read_subject("saved.json", [], BASE, None, text)
    assert caught.value.about == "setup"
    stock, rules = caught.value.faults
    assert f"quillmere {HOUSE.version}, digest {HOUSE.digest[:12]}" in rules.what
    assert f"base {BASE.version}, digest {BASE.digest[:12]}" in rules.what
    assert "--rules" in rules.help
    assert "`the bench at Quillmere`; the stock at hand is `usual sizes`" in stock.what
    assert "--stock" in stock.help
    with pytest.raises(Faults) as caught:
        read_subject("saved.json", [], HOUSE, None, text)
    assert [fault.what for fault in caught.value.faults] == [stock.what]


def test_what_is_no_json_or_no_decision_is_refused_with_its_place() -> None:
    whole = text_of(HUNTING)
    ((place, what, _),) = refused(whole[:3000])
    assert what.startswith("this is no JSON: ")
    line = whole[:3000].count("\n") + 1
    assert place.split(":")[1] in (str(line), str(line - 1))
    assert refused("[1, 2]") == [("saved.json:1:1", "this is no Decision", refused("3")[0][2])]
    assert refused("")[0][1] == "this is no JSON: expecting value"
    assert refused('{"point": {"type": "blunt"}}')[0][1] == "this is no Decision"
    assert refused('{"a": NaN}')[0][1] == "`NaN` is no number of JSON"
    assert refused('{"a": 1e999}')[0][1] == "`1e999` is too large a number"
    assert "deep" in refused("[" * 100_000)[0][1]
    assert refused('{"a": "' + "x" * (1 << 20) + '"}')[0][1] == "this is larger than 1 MiB"
    ((place, what, remedy),) = refused('{"a": 1,\n "a": 2}')
    assert (place, what) == ("saved.json:2:2", "`a` is written twice")
    assert "line 1" in remedy


def test_another_format_is_refused_where_it_stands() -> None:
    text = changed(HUNTING, format=1)
    ((place, what, remedy),) = refused(text)
    line = next(i for i, row in enumerate(text.split("\n"), 1) if row.startswith('  "format"'))
    assert place == f"saved.json:{line}:13"
    assert what == "this is a Decision of format `1`; format 2 is read here"
    assert "advisor advise" in remedy


def test_everything_that_breaks_the_schema_is_told_at_once() -> None:
    text = changed(HUNTING, builds="many", survivors=None, more=1)
    told = refused(text)
    assert len(told) == 3
    rows = text.split("\n")
    for place, what, _ in told:
        row = rows[int(place.split(":")[1]) - 1]
        assert any(f'"{name}"' in row and name in what for name in ("builds", "survivors", "more"))
    lacking = json.loads(text_of(HUNTING))
    del lacking["build"]
    assert any("build" in what for _, what, _ in refused(json.dumps(lacking)))


def test_characters_that_cannot_be_seen_are_refused_though_escaped() -> None:
    for escaped in ("\\u202e", "\\u001b[31m", "\\ud83d", "\\u0000"):
        text = text_of(HUNTING).replace('"title": "', f'"title": "{escaped}', 1)
        assert "cannot be seen" in refused(text)[0][1]
    plain = json.loads(text_of(HUNTING))
    plain.pop("seal")
    plain["title"] = f"\U0001f3f9 {plain['title']}"
    pair = json.dumps(plain, ensure_ascii=True)  # it is written as escapes of both halves
    assert read_decision("saved.json", pair).title.startswith("\U0001f3f9 Ansel")


def test_a_decision_that_was_changed_after_it_was_sealed_is_refused() -> None:
    plain = json.loads(text_of(HUNTING))
    plain.pop("seal", None)
    sealed = {**plain, "seal": seal(plain)}
    assert read_decision("saved.json", json.dumps(sealed)) == read_decision(
        "saved.json", json.dumps(plain)
    )
    edits: tuple[dict[str, Any], ...] = ({"title": "Another"}, {"builds": 3}, {"cautions": []})
    for changed in edits:
        ((_, what, remedy),) = refused(json.dumps({**sealed, **changed}))
        assert "its seal is broken" in what
        assert "advisor recheck saved.json" in remedy


def test_files_that_cannot_be_read_are_refused(tmp_path: Path) -> None:
    for path, what in (
        (tmp_path / "none.json", "there is no such file"),
        (tmp_path, "this is a folder"),
        (tmp_path / "latin.json", "is not UTF-8"),
    ):
        (tmp_path / "latin.json").write_bytes(b'{"title": "caf\xe9"}')
        for read in (read_decision, lambda p: read_subject(p, [], BASE, None)):
            with pytest.raises(Faults, match=what):
                read(str(path))


def given_fault(change: dict[str, Any], drop: str = "") -> str:
    decision = decide(judgement_of(HUNTING))
    stated = {name: place for name, place in decision.stated.items() if name != drop}
    decision = decision._replace(given={**decision.given, **change}, stated=stated)
    with pytest.raises(Faults) as caught:
        setup_of(decision, BASE.vocabulary, "saved.json")
    assert caught.value.faults[0].file == "saved.json"
    return " | ".join(f"{fault.what}: {fault.help}" for fault in caught.value.faults)


def test_givens_that_do_not_fit_the_vocabulary_are_refused() -> None:
    assert "`point.typ` is no fact: did you mean point.type?" in given_fault({"point.typ": "x"})
    assert "is concluded by rules" in given_fault({"vane.length_band": "short"})
    assert "`fixed` is no choice of point.type" in given_fault({"point.type": "fixed"})
    assert "told in `g`, not `gr`" in given_fault({"point.mass": Number(6.5, "g")})
    assert "without a number" in given_fault({"point.mass": "heavy"})
    assert "outside" in given_fault({"point.mass": Number(-5.0, "gr")})
    assert "nothing tells where" in given_fault({}, drop="point.type")
    both = given_fault({"point.typ": "x", "point.type": "fixed"})
    assert both.count("|") == 1


def test_the_schema_library_is_loaded_only_for_a_saved_decision() -> None:
    program = (
        "import sys; from advisor.saved import read_subject;"
        "from advisor.rulebase.read import read_rule_base;"
        f"read_subject({str(FILES[HUNTING])!r}, [], read_rule_base(), None);"
        "sys.exit('jsonschema' in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", program], cwd=QUILLMERE.parents[1], check=True)


def test_a_decision_is_what_is_returned() -> None:
    assert isinstance(read_decision("saved.json", text_of(HUNTING)), Decision)
