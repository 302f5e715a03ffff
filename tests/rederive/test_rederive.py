from __future__ import annotations

import copy
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from advisor.decision import Decision
from advisor.seals import seal as seal_of
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
    ways,
)
from tests.rederive import SEALED_ONLY, Checker, read_base, read_stock
from tests.rederive.checker import compare, weighed

pytestmark = untraced


@cache
def checker_of(rules: str | None, stock: str | None) -> Checker:
    base = read_base(rules)
    return Checker(base, read_stock(stock, base), str(ROOT))


def checker(job: Job) -> Checker:
    return checker_of(*files_of(job))


def broken(job: Job, found: Plain) -> list[str]:
    lines = checker(job).lines(found)
    return [f"{line.field} {line.words}" for line in lines if line.holds is False]


@pytest.fixture(autouse=True)
def at_the_top(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)


# Agreement


HERE = sorted(str(p.relative_to(ROOT)) for p in EXAMPLES.glob("*.yaml") if p.stem != "mistyped")
ELEVEN = sorted(str(p.relative_to(ROOT)) for p in EXAMPLES.glob("eleven-arrows/*.yaml"))
CUSTOMERS = sorted(str(p.relative_to(ROOT)) for p in HOUSE.glob("customers/*.yaml"))
JOBS = [
    *(Job(setup) for setup in (*HERE, *ELEVEN)),
    *(Job(setup, house=True) for setup in CUSTOMERS),
    Job(HERE[0], weigh=True),
    Job(CUSTOMERS[0], ("from_stock.vane=QV-13",), house=True),
    Job(sets=FLETCHED),
    Job(sets=("point.type=mechanical", "arrow.mass=300 gr")),
    Job(CUSTOMERS[-1], ("nock.lighted=true",), house=True),
    Job(sets=("bow.type=crossbow", "point.type=field-point")),
    Job(sets=("vane.length=5 in", "shaft.outside_diameter=9.3 mm", "point.type=target-point")),
]


GARDENS = [
    (),
    ("bed.soil=clay", "bed.wet=true", "gardener.hands=6"),
    ("bed.soil=sand", "bed.plants=[leek, pea]", "bed.width=50 cm", "bed.frost=true"),
    ("bed.soil=sand", "bed.plants=[leek]"),
    ("bed.soil=clay", "bed.frost=true", "gardener.hands=7"),
    ("bed.width=40 cm",),
    (
        "bed.soil=loam",
        "bed.width=55 cm",
        "bed.sign=keep off",
        "seed.kind=leek",
        "seed.depth=30",
        "seed.rows=2",
        "seed.mass=1 g",
    ),
]
"""Setups of a rule base with every kind of doubt in it, and nothing of the trade."""
JOBS += [
    Job(sets=sets, rules=str(GARDEN / name))
    for name in ("plot", "walled", "fenced")
    for sets in GARDENS
]


@pytest.mark.parametrize("job", JOBS, ids=lambda job: f"{Path(job.setup).stem} {len(job.sets)}")
def test_what_the_program_decides_comes_out_the_same(job: Job) -> None:
    assert broken(job, saved(job)) == []


def test_the_house_example_reads_no_file_it_may_not(tmp_path: Path) -> None:
    """A Decision could name any file; only those near it, or below where one is, are opened."""
    job = Job(str(ROOT / HERE[0]))
    base = read_base(None)
    elsewhere = Checker(base, read_stock(None, base), str(tmp_path))
    found = saved(job)
    assert not any(line.holds is None for line in elsewhere.given(found).lines)
    for name, words in (("/etc/hostname", "not looked into"), ("gone\0.yaml", "not")):
        moved = copy.deepcopy(found)
        for told in moved["stated"].values():
            told["file"] = name
        (line,) = [line for line in elsewhere.given(moved).lines if line.holds is None]
        assert words in line.words


# Mutations


Undo = Callable[[], None]


def mutants(found: Plain, at: Way) -> Iterator[tuple[str, Undo]]:
    """Change what stands at a place in every way, one after the other; undo each before the next."""
    holder: Any = found
    for key in at[:-1]:
        holder = holder[key]
    key = at[-1]
    value = holder[key]
    if not isinstance(value, (dict, list)):
        holder[key] = otherwise(value)
        yield f"is {holder[key]!r}", lambda: holder.__setitem__(key, value)
    if isinstance(holder, dict):
        order = list(holder.items())
        del holder[key]

        def restore() -> None:
            holder.clear()
            holder.update(order)

        yield "is dropped", restore
        return
    place = int(key)
    whole = list(holder)
    changed = {
        "is dropped": [*whole[:place], *whole[place + 1 :]],
        "is doubled": [*whole[:place], value, *whole[place:]],
    }
    if place + 1 < len(whole) and whole[place + 1] != value:
        changed["is swapped"] = [*whole[:place], whole[place + 1], value, *whole[place + 2 :]]
    for what, others in changed.items():
        holder[:] = others
        yield what, lambda: holder.__setitem__(slice(None), whole)


PUT_IN = ("title", "stock", "stated", "items", "chosen")
"""What the reading of the givens looks at; all else is held against what these come to."""

MUTATED = {
    "hunting": Job(HERE[0], weigh=True),
    "stopped": Job("examples/too-light.yaml"),
    "house with stock": Job("examples/quillmere/customers/walk-in.yaml", house=True),
    "house with set aside": Job("examples/quillmere/customers/reed-line.yaml", house=True),
    "stands unless": Job("examples/indoor-fat-shaft.yaml"),
    "heads are options": Job(sets=FLETCHED),
    "judged": Job("examples/eleven-arrows/A.yaml"),
    "judged and rejected": Job("examples/eleven-arrows/C.yaml"),
}
SEALED = ("tried", "changing", "stopping", "example")


@pytest.mark.parametrize("name", MUTATED)
def test_mutations_are_caught(name: str) -> None:
    """One part of the Decision in eleven is mutated in every way.

    All parts are mutated where `advisor recheck` is tested.
    """
    job = MUTATED[name]
    found = saved(job)
    clean = copy.deepcopy(found)
    check = checker(job)
    expected = check.derive(check.given(found).inputs)
    missed: list[str] = []
    tops: set[str] = set()
    for at in [at for at in ways(clean) if at != ("seal",)][::EVERY]:
        top = str(at[0])
        tops.add(top)
        for what, undo in mutants(found, at):
            if at[0] == "questions" and at[-1] in SEALED:
                caught = found != edited(found)  # and no new one is made
            else:
                caught = _is_caught(check, expected, found, top)
            if not caught:
                missed.append(f"{'.'.join(map(str, at))} {what}")
            undo()
    assert missed == []
    assert found == clean
    assert len(tops) > 15


EVERY = 11


def _is_caught(check: Checker, expected: Plain, found: Plain, top: str) -> bool:
    """Tell whether a change in one field shows, by whatever seal."""
    if top not in found:
        return True  # refused as no Decision
    fields: Iterable[str] = [top]
    if top in PUT_IN:
        try:
            given = check.given(found)
        except (KeyError, TypeError):
            return True  # refused likewise
        if any(line.holds is False for line in given.lines):
            return True
        expected = check.derive(given.inputs)
        fields = Decision._fields
    if top == "questions":
        expected = weighed(expected, found)
    return any(line.holds is False for line in compare(expected, found, fields))


def edited(found: Plain) -> Plain:
    """Seal an edited Decision anew, as whoever means it would."""
    body = {name: part for name, part in found.items() if name != "seal"}
    return {**body, "seal": seal_of(body)}


def test_an_edit_with_a_new_seal_is_told_by_its_place() -> None:
    job = MUTATED["hunting"]
    found = saved(job)
    found["questions"][0]["asks"] += "?"
    found["fired"].remove("a-side-needs-an-angle")
    found["steps"][:2] = found["steps"][1::-1]
    found["reasons"]["vane.length"][0]["premises"][0]["line"] = 7
    lines = [line for line in checker(job).lines(edited(found)) if line.holds is not True]
    assert {line.field for line in lines} == {
        f"questions.{found['questions'][0]['fact']}.asks",
        "fired.a-side-needs-an-angle",
        "steps",
        "reasons.vane.length.no-long-vanes-in-open-wind.premises.wind.exposure.line",
    }


def test_another_given_is_another_decision() -> None:
    """Words, value and all that is told of a fact are changed together: the rest tells of it."""
    job = MUTATED["heads are options"]
    found = saved(job)
    found["stated"]["vane.height"]["written"] = "0.35 in"
    found["given"]["vane.height"]["value"] = found["build"]["vane.height"]["value"] = 0.35
    assert any(line.startswith(("numbers", "reasons")) for line in broken(job, edited(found)))


# What is not derived anew


def test_only_what_is_listed_is_left_to_the_seal(tmp_path: Path) -> None:
    gone = tmp_path / "gone.yaml"
    shutil.copy(ROOT / HERE[0], gone)
    job = Job(str(gone))
    found = saved(job)
    gone.unlink()
    base = read_base(None)
    check = Checker(base, read_stock(None, base), str(tmp_path))
    lines = check.lines(found)
    assert [line.words for line in lines if line.holds is None] == [
        "the setup file is not there any more"
    ]
    assert not [line for line in lines if line.holds is False]
    unnamed = set(found["given"]) - set(_named(found["reasons"]))
    assert unnamed
    for name in unnamed:
        found["stated"][name]["line"] += 1
    found["title"] = "Another"
    told = [line.field for line in check.lines(found) if line.holds is False]
    assert told == ["seal"]
    assert len(SEALED_ONLY) == 2
    named = next(iter(set(found["given"]) - unnamed))
    found["stated"][named]["line"] += 1
    assert any(
        line.field.startswith("reasons") for line in check.lines(found) if line.holds is False
    )


def _named(part: Any) -> Iterator[str]:
    if isinstance(part, dict):
        if part.get("origin") == "given":
            yield part["fact"]
        part = list(part.values())
    if isinstance(part, list):
        for one in part:
            yield from _named(one)


def test_answers_tried_must_agree_with_each_other_and_with_their_order() -> None:
    job = MUTATED["hunting"]
    for change in (
        {"changing": 99},
        {"tried": 0},
        {"stopping": 5},
        {"example": ""},
    ):
        found = saved(job)
        question = next(q for q in found["questions"] if q.get("changing"))
        question.update(change)
        assert any(line.startswith("questions") for line in broken(job, edited(found))), change
    found = saved(job)
    found["questions"].reverse()
    assert any("order" in line for line in broken(job, edited(found)))


# The rules


def other_rules(folder: Path, file: str, old: str, new: str) -> str:
    base = folder / "base"
    shutil.copytree(ROOT / "rules" / "base", base)
    text = (base / file).read_text()
    assert old in text, (file, old)
    (base / file).write_text(text.replace(old, new))
    return str(base)


RULE_OF_COUNT = "says: Put four vanes behind a fixed-blade head."


@pytest.mark.parametrize(
    ("file", "old", "new", "field"),
    [
        (
            "length.yaml",
            "{at_least: 2.5 in, at_most: 2.8 in}",
            "{at_least: 2.4 in, at_most: 2.8 in}",
            "reasons",
        ),
        ("manifest.yaml", "version: 0.4.0", "version: 0.4.1", "rulebase.version"),
        ("count.yaml", RULE_OF_COUNT, RULE_OF_COUNT.replace("four", "4"), "reasons"),
        (
            "steering.yaml",
            "{steering.ratio: {at_least: 1.3}}",
            "{steering.ratio: {at_least: 1.9}}",
            "rejected",
        ),
        (
            "vocabulary.yaml",
            "because: a plain nock unless said",
            "because: a plain nock",
            "assumptions",
        ),
        ("ladder.yaml", "mass: 8.5 gr", "mass: 8.6 gr", "build"),
    ],
)
def test_other_rules_are_told(tmp_path: Path, file: str, old: str, new: str, field: str) -> None:
    base = read_base(other_rules(tmp_path, file, old, new))
    lines = Checker(base, read_stock(None, base)).lines(saved(MUTATED["hunting"]))
    failed = [line.field for line in lines if line.holds is False]
    # The stock is no part of the identity of the rules.
    assert ("rulebase.digest" in failed) == (file != "ladder.yaml")
    assert any(name.startswith(field) for name in failed), failed


def test_a_dropped_override_and_swapped_conclusions_are_told(tmp_path: Path) -> None:
    job = MUTATED["house with set aside"]
    house = tmp_path / "shop"
    stock = str(HOUSE / "stock.yaml")

    def failed(change: Callable[[str], str]) -> set[str]:
        shutil.rmtree(house, ignore_errors=True)
        shutil.copytree(HOUSE / "rules", house)
        for file in house.glob("*.yaml"):
            file.write_text(change(file.read_text()))
        base = read_base(str(house))
        lines = Checker(base, read_stock(stock, base)).lines(saved(job))
        return {line.field.partition(".")[0] for line in lines if line.holds is False}

    assert failed(lambda text: f"# Another comment.\n{text}") == set()
    override = "four-vanes-behind-exposed-blades"
    assert "set_aside" in failed(
        lambda text: (
            text.replace(f"{override}, ", "")
            .replace(f", {override}", "")
            .replace(f"[{override}]", "[]")
        )
    )
    assert "build" in failed(lambda text: text.replace("fletching.count: 3", "fletching.count: 4"))


def test_it_shares_nothing_with_the_engine() -> None:
    code = (
        "import sys, tests.rederive; print(*[m for m in sys.modules if m.startswith('advisor.')])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert told.returncode == 0, told.stderr
    tops = {".".join(name.split(".")[:2]) for name in told.stdout.split()}
    shared = ("derive", "physics", "decision", "documents", "errors", "quantities")
    assert tops == {f"advisor.{name}" for name in shared}
    assert "advisor.derive.bound" not in told.stdout.split()
