from __future__ import annotations

import copy
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

import jsonschema
import pytest

import advisor.decision
from advisor.decision import Decision
from advisor.errors import Faults
from advisor.recheck import SEALED_ONLY, read_given, recheck, seal_line
from advisor.recheck.builds import Builds, Rules
from advisor.recheck.files import misshapen, read_decision, read_layers, read_stock
from advisor.recheck.report import Line, Report, compared
from advisor.recheck.telling import Teller
from advisor.rulebase.decision_schema import schema_of
from tests.heavy import untraced
from tests.jobs import (
    EXAMPLES,
    FLETCHED,
    GARDEN,
    HOUSE,
    ROOT,
    Job,
    Plain,
    Way,
    files_of,
    otherwise,
    saved,
    sealed,
    ways,
    written,
)


@pytest.fixture(autouse=True)
def at_the_top(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)


def rechecked(folder: Path, found: Plain, job: Job) -> Report:
    path = folder / "decision.json"
    path.write_text(json.dumps(found))
    return recheck(str(path), *files_of(job))


def failures(report: Report) -> dict[str, Line]:
    return {line.field: line for line in report.lines if line.holds is False}


# What the program decides


HERE = sorted(str(p.relative_to(ROOT)) for p in EXAMPLES.glob("*.yaml") if p.stem != "mistyped")
CUSTOMERS = sorted(str(p.relative_to(ROOT)) for p in HOUSE.glob("customers/*.yaml"))
JOBS = [
    *(Job(setup) for setup in HERE),
    *(Job(setup, house=True) for setup in CUSTOMERS),
    Job("examples/eleven-arrows/D.yaml"),
    Job(HERE[0], weigh=True),
    Job(CUSTOMERS[0], ("from_stock.vane=QV-13",), house=True),
    Job(CUSTOMERS[0], ("from_stock.vane=QV-13", "vane.length=2.5 in"), house=True),
    Job(CUSTOMERS[-1], ("nock.lighted=true",), house=True),
    Job(CUSTOMERS[0], ("vane.mass=8.6 gr",), house=True),
    Job(HERE[0], ("vane.mass=8.5 gr", "vane.length=2.6 in")),
    Job(sets=FLETCHED),
    Job(sets=("point.type=mechanical", "arrow.mass=300 gr")),
]


@untraced
@pytest.mark.parametrize("job", JOBS, ids=lambda job: f"{Path(job.setup).stem} {len(job.sets)}")
def test_what_the_program_decides_comes_out_the_same(job: Job, tmp_path: Path) -> None:
    report = rechecked(tmp_path, saved(job), job)
    assert failures(report) == {}
    assert report.holds
    assert report.exit_status == 0
    assert {line.field.partition(".")[0] for line in report.lines} == {*saved(job)}


# Mutations


FIELDS = {
    field
    for kind in vars(advisor.decision).values()
    for field in getattr(kind, "_fields", ())
    if isinstance(kind, type)
}


def kind_of(way: Way) -> str:
    """Return what kind of part a way leads to: `*` for names of facts and for places in lists."""
    told = ".".join(str(key) if key in FIELDS else "*" for key in way)
    return re.sub(r"(\.premises\.\*)+", ".premises.*", told)


def holder_of(found: Plain, way: Way) -> Any:
    """Return the mapping or list that a part stands in."""
    holder: Any = found
    for key in way[:-1]:
        holder = holder[key]
    return holder


def mutants(found: Plain, way: Way) -> Iterator[str]:
    """Change what stands somewhere in every way, one after the other; each is undone again."""
    holder, key = holder_of(found, way), way[-1]
    value = holder[key]
    if not isinstance(value, (dict, list)):
        holder[key] = otherwise(value)
        yield "is changed"
        holder[key] = value
    if isinstance(holder, dict):
        order = list(holder.items())
        del holder[key]
        yield "is dropped"
        holder.clear()
        holder.update(order)
        return
    place, whole = int(key), list(holder)
    holder[:] = [*whole[:place], *whole[place + 1 :]]
    yield "is dropped"
    holder[:] = [*whole[:place], value, *whole[place:]]
    yield "is doubled"
    if place + 1 < len(whole) and whole[place + 1] != value:
        holder[:] = [*whole[:place], whole[place + 1], value, *whole[place + 2 :]]
        yield "is swapped"
    holder[:] = whole


class Checked:
    """A Decision with all that it ought to be, worked out once."""

    def __init__(self, job: Job) -> None:
        rules, stock = files_of(job)
        self.base = Rules(read_layers(rules))
        self.stock = read_stock(stock, self.base) if stock else self.base.ladder
        self.found = saved(job)
        self.values, _, _ = read_given(self.found, self.base, self.stock)
        self.builds = Builds(self.base, self.values, self.stock)
        self.expected = self.derive()

    def derive(self) -> Plain:
        _, taken, _ = read_given(self.found, self.base, self.stock)
        return Teller(self.builds, self.found["stated"], taken).decision()

    def shows(self, way: Way, what: str) -> bool:
        """Tell whether a change at one place shows, by whatever seal.

        Only what the place stands in is compared, for all the rest is as it was.
        """
        top, *rest = way
        found = self.found
        mine: Any = self.expected.get(str(top))
        if top not in found:
            return True  # refused as no Decision: see below
        if what == "is dropped" and any(misshapen(hint_of(way[:-1]), holder_of(found, way), "")):
            return True  # refused likewise
        if top in ("stated", "items", "chosen"):
            values, taken, lines = read_given(found, self.base, self.stock)
            if any(line.holds is False for line in lines) or values != self.values:
                # What was stated is compared with `given`, which did not change.
                return True
            teller = Teller(self.builds, found["stated"], taken)
            if top == "items":
                return any(differences(teller.items(), found[top]))
            if top == "stated":
                told = {"numbers": teller.numbers, "reasons": self.expected["reasons"]}
                return any(any(differences(told[name], found[name])) for name in told)
        theirs = found[top]
        while len(rest) > 1 and isinstance(mine, (dict, list)):
            key: Any = rest[0]
            mine, theirs = mine[key], theirs[key]
            del rest[0]
        if len(rest) > 1 and isinstance(theirs, list):
            theirs = [theirs[int(rest[0])]]
        return any(differences(mine, theirs))


def hint_of(way: Way) -> Any:
    """Return what type a part of a Decision is of."""
    kind: Any = Decision
    for key in way:
        if get_origin(kind) in (Union, UnionType):
            (kind,) = (one for one in get_args(kind) if hasattr(one, "_fields"))
        hints = get_type_hints(kind) if hasattr(kind, "_fields") else {}
        kind = hints[str(key)] if hints else get_args(kind)[get_origin(kind) is Mapping]
    return kind


def differences(mine: Any, theirs: Any) -> Iterator[Line]:
    return (line for line in compared("", mine, theirs, tell=False) if line.holds is False)


MUTATED = {
    "hunting": Job(HERE[0], weigh=True),
    "stopped": Job("examples/too-light.yaml"),
    "house with stock": Job("examples/quillmere/customers/reed-line.yaml", house=True),
    "heads are options": Job(sets=FLETCHED),
    "judged": Job("examples/eleven-arrows/C.yaml", ("point.blades=1",)),
    "tied": Job(
        sets=("bed.soil=clay", "bed.wet=true", "bed.width=55 cm"), rules=str(GARDEN / "plot")
    ),
    "shoulds tied": Job(
        sets=("bed.soil=sand", "bed.plants=[leek, pea]"), rules=str(GARDEN / "plot")
    ),
    "with a note": Job(sets=("bed.width=40 cm",), rules=str(GARDEN / "walled")),
}
"""Decisions in which every part there can be is filled in."""


SEALED = {kind for kinds in SEALED_ONLY.values() for kind in kinds}


@untraced
@pytest.mark.parametrize("name", MUTATED)
def test_every_mutation_is_caught_but_what_the_seal_alone_covers(name: str) -> None:
    """With a new seal, exactly the parts that are listed pass; the old seal catches these too."""
    checked = Checked(MUTATED[name])
    found, clean = checked.found, copy.deepcopy(checked.found)
    missed: set[str] = set()
    kinds: set[str] = set()
    for way in [way for way in ways(clean) if way[0] != "seal"]:
        kind = kind_of(way)
        for what in mutants(found, way):
            kinds.add(kind)
            if not checked.shows(way, what):
                assert holder_of(found, way) != holder_of(clean, way)
                if kind not in missed:
                    assert seal_line(found).holds is False
                    assert seal_line(sealed(found)).holds is True
                missed.add(kind)
    assert found == clean
    assert len(kinds) > 60
    unnamed = found["given"].keys() - {*named(found["reasons"])}
    assert missed == {kind for kind in kinds & SEALED if unnamed or not kind.startswith("stated")}


def named(part: Any) -> Iterator[str]:
    """Yield the given facts that premises go back to."""
    if isinstance(part, dict):
        yield from [part["fact"]] if part.get("origin") == "given" else []
        part = list(part.values())
    yield from (fact for one in part if isinstance(one, (dict, list)) for fact in named(one))


def test_every_part_that_is_left_to_the_seal_was_mutated() -> None:
    everywhere = {kind_of(way) for job in MUTATED.values() for way in ways(saved(job))}
    assert everywhere >= SEALED


@pytest.mark.parametrize("name", ["hunting", "house with stock"])
def test_edits_with_a_new_seal_are_told_by_their_place(name: str, tmp_path: Path) -> None:
    found = saved(MUTATED[name])
    found["build"]["vane.length"]["value"] = 3.0
    gone = found["fired"].pop(3)
    found["steps"][:2] = found["steps"][1::-1]
    given = next(iter(found["given"]))
    found["labels"][given] = "something else"
    report = rechecked(tmp_path, sealed(found), MUTATED[name])
    told = failures(report)
    assert set(told) == {"build.vane.length.value", f"fired.{gone}", "steps", f"labels.{given}"}
    assert told["build.vane.length.value"].found == "3.0"
    assert told["build.vane.length.value"].expected == "2.6"
    assert (report.holds, report.exit_status, report.failed) == (False, 1, 4)
    assert [line.holds for line in report.lines if line.field == "seal"] == [True]
    assert report.to_text().splitlines()[-1].startswith("Does not hold: 4 differences;")


def test_what_was_stated_is_read_from_its_words(tmp_path: Path) -> None:
    """Words, value and all that is told of a fact are changed together: the rest tells of it."""
    job = MUTATED["heads are options"]
    found = saved(job)
    found["stated"]["vane.height"]["written"] = "0.35 in"
    found["given"]["vane.height"]["value"] = found["build"]["vane.height"]["value"] = 0.35
    told = failures(rechecked(tmp_path, sealed(found), job))
    assert {"numbers", "reasons"} <= {field.partition(".")[0] for field in told}
    found = saved(job)
    found["stated"]["vane.height"]["written"] = "50 in"
    found["stated"]["vane.silhouette"]["written"] = "round"
    found["stated"]["shaft.series"] = {"file": "--set", "line": 0, "written": "thin"}
    found["stated"]["no.fact"] = {"file": "--set", "line": 0, "written": "[1"}
    told = failures(rechecked(tmp_path, sealed(found), job))
    read = [f"stated.{name}" for name in ("vane.height", "vane.silhouette", "shaft.series")]
    assert {*read, "stated.no.fact"} <= told.keys()


def test_what_was_taken_from_stock_is_as_the_stock_has_it(tmp_path: Path) -> None:
    job = Job("examples/quillmere/customers/walk-in.yaml", house=True)
    found = saved(job)
    taken = [name for name, told in found["stated"].items() if told["file"].endswith("stock.yaml")]
    assert taken
    del found["stated"][taken[0]], found["given"][taken[0]]
    assert f"stated.{taken[0]}" in failures(rechecked(tmp_path, sealed(found), job))
    found = saved(job)
    found["items"]["shaft"] = "QS-0"
    assert "items.shaft" in failures(rechecked(tmp_path, sealed(found), job))


# The rules


def other_rules(folder: Path, file: str, old: str, new: str) -> str:
    base = folder / "base"
    shutil.copytree(ROOT / "rules" / "base", base)
    text = (base / file).read_text()
    assert old in text, (file, old)
    (base / file).write_text(text.replace(old, new))
    return str(base)


RULE_OF_COUNT = "says: Put four vanes behind a fixed-blade head."
BAND_OF_LENGTH = "{at_least: 2.5 in, at_most: 2.8 in}"


@untraced
@pytest.mark.parametrize(
    ("file", "old", "new", "field"),
    [
        ("length.yaml", BAND_OF_LENGTH, BAND_OF_LENGTH.replace("2.5", "2.7"), "reasons"),
        ("manifest.yaml", "version: 0.4.0", "version: 0.4.1", "rulebase.version"),
        ("count.yaml", RULE_OF_COUNT, RULE_OF_COUNT.replace("four", "4"), "reasons"),
        ("count.yaml", "Exposed blades steer", "Bare blades steer", "reasons"),
        ("steering.yaml", "{at_least: 1.3}", "{at_least: 1.9}", "rejected"),
        ("vocabulary.yaml", "a plain nock unless said", "a plain nock", "assumptions"),
        ("ladder.yaml", "mass: 8.5 gr", "mass: 8.6 gr", "build"),
        ("ladder.yaml", "count: [3, 4]", "count: [3]", "builds"),
    ],
)
def test_other_rules_are_told(tmp_path: Path, file: str, old: str, new: str, field: str) -> None:
    rules = other_rules(tmp_path, file, old, new)
    path = tmp_path / "decision.json"
    path.write_text(written(MUTATED["hunting"]))
    told = failures(recheck(str(path), rules))
    # The usual sizes are no part of the identity of the rules.
    assert ("rulebase.digest" in told) == (file != "ladder.yaml")
    assert any(name.startswith(field) for name in told), told


OVERRIDE = "four-vanes-behind-exposed-blades"


@untraced
@pytest.mark.parametrize(
    ("pattern", "new", "fields"),
    [
        (r"\A", "# Another comment.\n", set()),
        (rf"{OVERRIDE}, |, {OVERRIDE}|\b{OVERRIDE}\b(?=\])", "", {"set_aside", "rulebase"}),
        (r"fletching.count: 3", "fletching.count: 4", {"build", "reasons", "rulebase"}),
        (r"rule: compare-three-with-four", "rule: three-or-four-vanes", {"retired", "fired"}),
        (r"replaces: \S+", "", {"retired", "steps"}),
        (r"value: open\n", "value: sheltered\n", {"assumed", "rulebase"}),
    ],
)
def test_another_house_is_told(tmp_path: Path, pattern: str, new: str, fields: set[str]) -> None:
    job = MUTATED["house with stock"]
    house = tmp_path / "shop"
    shutil.copytree(HOUSE / "rules", house)
    changed = 0
    for file in house.glob("*.yaml"):
        text, times = re.subn(pattern, new, file.read_text())
        file.write_text(text)
        changed += times
    assert changed
    path = tmp_path / "decision.json"
    path.write_text(written(job))
    told = failures(recheck(str(path), str(house), files_of(job)[1]))
    found = {field.partition(".")[0] for field in told}
    assert fields <= found
    assert bool(fields) == bool(found), told


# Refusals


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "no JSON"),
        ("[1]", "no Decision"),
        ('{"a": 1, "a": 2}', "written twice"),
        ('{"a": NaN}', "no number of JSON"),
        ("[" * 100_000, "nested too deeply"),
        ("title: a setup\n", "no JSON"),
        (b"\xff\xfe", "no JSON"),
        (" " * (1 << 24) + "{}", "too large"),
        ('{"rulebase": {}, "given": {}, "format": 1}', "format `1`"),
        ('{"rulebase": {}, "given": {}, "format": 2}', "`status` is left out"),
    ],
    ids=lambda value: value[:12] if isinstance(value, str) else "bytes",
)
def test_what_is_no_decision_is_refused(tmp_path: Path, text: str | bytes, words: str) -> None:
    path = tmp_path / "decision.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(Faults) as refused:
        recheck(str(path))
    assert refused.value.exit_status == 2
    assert words in " ".join(str(refused.value).split())
    assert all(fault.file == str(path) and fault.help for fault in refused.value.faults)


@pytest.mark.parametrize("field", Decision._fields)
def test_a_decision_without_a_part_is_refused(field: str, tmp_path: Path) -> None:
    found = saved(MUTATED["judged"])
    del found[field]
    path = tmp_path / "decision.json"
    path.write_text(json.dumps(found))
    with pytest.raises(Faults, match=r"left out|no Decision|format"):
        read_decision(str(path))


def test_every_misshapen_part_is_told_at_once(tmp_path: Path) -> None:
    found = saved(MUTATED["judged"])
    found["builds"] = "one"
    found["given"]["point.type"] = 3
    found["more_conflicts"] = 0
    found["surprise"] = 1
    found["numbers"]["arrow.mass"]["value"] = True
    found["cautions"][0] = []
    del found["fired"]
    path = tmp_path / "decision.json"
    path.write_text(json.dumps(found))
    with pytest.raises(Faults) as refused:
        read_decision(str(path))
    told = [fault.what for fault in refused.value.faults]
    names = ("builds", "given.point.type", "more_conflicts", "surprise", "fired", "value", "0")
    assert len(told) == len(names)
    for name in names:
        assert any(f"{name}`" in what for what in told), name


def test_other_rules_another_stock_and_what_is_no_rule_base_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "decision.json"
    path.write_text(written(MUTATED["house with stock"]))

    def refusal(rules: str | None = None, stock: str | None = None) -> Faults:
        with pytest.raises(Faults) as refused:
            recheck(str(path), rules, stock)
        return refused.value

    both = refusal()
    assert both.exit_status == 2
    assert {fault.help for fault in both.faults} == {
        "name their folder with --rules",
        "name its file with --stock",
    }
    house, stock = str(HOUSE / "rules"), str(HOUSE / "stock.yaml")
    assert "--stock" in refusal(house).faults[0].help
    assert refusal(house, str(tmp_path / "gone.yaml")).exit_status == 2
    assert refusal(house, str(ROOT / "examples" / "mistyped.yaml")).exit_status == 2
    assert refusal(str(tmp_path / "nowhere"), stock).exit_status == 3
    assert refusal(str(HOUSE / "customers"), stock).exit_status == 3
    bad = tmp_path / "bad"
    bad.mkdir()
    manifest, rules = bad / "manifest.yaml", bad / "rules.yaml"
    manifest.write_text("name: bad\nversion: 1.0.0\nextends: {name: base}\n")
    rules.write_text("- id: x\n  when: {no.fact: 1}\n  then: [{must: {a: 1}}]\n")
    assert "advisor rules list" in refusal(str(bad)).faults[0].help
    rules.write_text("- id: x\n  when: {point.type: sharp}\n  then: [{must: {point.type: 1}}]\n")
    found = saved(MUTATED["judged"])
    found["rulebase"]["name"] = "bad"
    path.write_text(json.dumps(found))
    assert "advisor rules list" in refusal(str(bad)).faults[0].help
    circle = (
        "- id: x\n  when: {shaft.size_class: micro}\n  then: [{set: {shaft.size_class: micro}}]\n"
    )
    rules.write_text(circle + "  says: s\n  because: b\n  evidence: {class: house}\n")
    assert "advisor rules list" in refusal(str(bad)).faults[0].help
    assert "RecursionError" in refusal(str(bad)).faults[0].what
    rules.write_text("- id: x\n  id: y\n")
    assert refusal(str(bad), stock).exit_status == 3
    rules.unlink()
    manifest.write_text("name: bad\nextends: {name: nothing}\n")
    assert "nothing" in str(refusal(str(bad), stock))
    with pytest.raises(Faults) as missing:
        recheck(str(tmp_path / "gone.json"))
    assert missing.value.exit_status == 2


# The seal and the report


def test_the_seal_is_the_same_by_both_and_by_another_writer_of_json() -> None:
    found = saved(MUTATED["judged"])

    def pointless(part: Any) -> Any:
        if isinstance(part, dict):
            return {name: pointless(part[name]) for name in reversed(part)}
        if isinstance(part, list):
            return [pointless(one) for one in part]
        return int(part) if isinstance(part, float) and part == int(part) else part

    again = json.loads(json.dumps(pointless(found), indent=7))
    assert json.dumps(again, sort_keys=True) != json.dumps(found, sort_keys=True)
    for one in (found, again):
        assert seal_line(one).holds is True
    again["title"] += " "
    assert seal_line(again).holds is False


def test_a_decision_without_a_seal_is_told_to_have_none(tmp_path: Path) -> None:
    found = saved(MUTATED["judged"])
    del found["seal"]
    report = rechecked(tmp_path, found, MUTATED["judged"])
    assert (report.holds, report.open) == (True, 1)
    assert report.to_text().splitlines()[-1].endswith("edited.")


@untraced
def test_the_report_is_narrow_ends_with_its_verdict_and_keeps_to_a_schema(tmp_path: Path) -> None:
    done: list[tuple[int, int]] = []
    path = tmp_path / "decision.json"
    found = saved(MUTATED["stopped"])
    path.write_text(json.dumps(found))
    held = recheck(str(path), progress=lambda at, of: done.append((at, of)))
    assert done[-1] == (2898, 2898)
    assert all(at <= of for at, of in done)
    found["title"] = "\x1b[2J hidden"
    found["steps"][0]["text"] = "why? " * 300
    found["labels"] = {"\x1b": "x"} | {f"a {i}": "x" for i in range(60)}
    path.write_text(json.dumps(found))
    failed = recheck(str(path))
    schema = json.loads((ROOT / "rules" / "schemas" / "recheck.schema.json").read_text())
    assert schema == schema_of(Report, "Recheck")
    validator = jsonschema.Draft202012Validator(schema)
    for report in (held, failed):
        lines = report.to_text().splitlines()
        assert max(map(len, lines)) <= 80
        assert lines[-1].startswith(("Holds:", "Does not hold:"))
        assert all(line.isprintable() for line in lines)
        plain = json.loads(json.dumps(report.to_plain()))
        assert list(validator.iter_errors(plain)) == []
        assert plain["held"] + plain["failed"] + plain["open"] == len(plain["lines"])
        text = " ".join(report.to_text().split())
        assert all(" ".join(words.split()) in text for words in SEALED_ONLY)
    assert failed.to_text().index("Comes out the same") < failed.to_text().index("Does not hold")
    assert re.search(r"\n  and \d+ more; all of them are in the JSON\n", failed.to_text())


def test_rechecking_loads_nothing_of_the_engine(tmp_path: Path) -> None:
    path = tmp_path / "decision.json"
    path.write_text(written(MUTATED["judged"]))
    code = (
        "import sys, advisor.recheck as r; "
        f"assert r.recheck({str(path)!r}).holds; "
        "print(*[m for m in sys.modules if m.startswith('advisor.')])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert told.returncode == 0, told.stderr
    loaded = set(told.stdout.split())
    trusted = ("derive", "physics", "decision", "documents", "errors", "quantities")
    assert {".".join(name.split(".")[:2]) for name in loaded} == {
        f"advisor.{name}" for name in ("recheck", *trusted)
    }
    assert "advisor.derive.bound" not in loaded


def test_rechecking_is_small_enough_to_be_read_in_one_sitting() -> None:
    """Whoever need not trust the engine has to be able to read what checks it."""
    lines = [len(path.read_text().splitlines()) for path in (ROOT / "advisor/recheck").glob("*.py")]
    whole = [len(path.read_text().splitlines()) for path in (ROOT / "advisor").rglob("*.py")]
    assert sum(lines) < 1600
    assert sum(lines) < sum(whole) / 10
