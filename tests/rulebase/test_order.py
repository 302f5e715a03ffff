"""Neither the order of files nor that of rules changes anything that is decided."""

from __future__ import annotations

import random
import re
import shutil
from pathlib import Path

import pytest

from advisor.documents import read_document
from advisor.pipeline import advise
from advisor.rulebase.locate import SPECIAL, base_folder
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup

SETUPS: dict[str, list[str]] = {
    "nothing but a use": ["discipline=[hunting]"],
    "a fixed-blade head": [
        "discipline=[hunting, 3d]",
        "point.type=fixed-blade",
        "point.mass=100 gr",
        "point.cutting_width=1.125 in",
        "shaft.outside_diameter=5.8 mm",
        "shaft.length=28 in",
        "shaft.mass_per_length=9 gr/in",
        "bow.type=compound",
        "bow.draw_weight=65 lb",
        "rest.type=drop-away",
        "bench.clamps=[left, straight, right]",
    ],
    "no build": [
        "point.type=fixed-blade",
        "point.blades=2",
        "point.bevel=single-left",
        "bench.clamps=[right]",
    ],
    "everything conflicts": [
        "discipline=[hunting, indoor-target]",
        "event.rule_book=world-archery",
        "point.type=fixed-blade",
        "rest.type=full-containment",
        "bow.draw_weight=22 lb",
        "shaft.outside_diameter=10.7 mm",
    ],
    "the heads are chosen": [
        "vane.length=2 in",
        "vane.height=0.35 in",
        "fletching.count=3",
        "fletching.direction=right",
        "fletching.offset=2 deg",
        "shaft.outside_diameter=5.8 mm",
    ],
}


def blocks(path: Path) -> list[str]:
    """Cut a topic file into the texts of its rules."""
    text = path.read_text(encoding="utf-8")
    starts = [found.start() for found in re.finditer(r"^- id:", text, re.MULTILINE)]
    return [text[a:b] for a, b in zip(starts, [*starts[1:], len(text)], strict=True)]


def shuffled(folder: Path, seed: int) -> str:
    """Copy the base rules with all rules dealt out anew over files of other names."""
    folder.mkdir()
    chance = random.Random(seed)
    rules: list[str] = []
    for path in sorted(Path(base_folder()).glob("*.yaml")):
        if path.name in SPECIAL:
            shutil.copy(path, folder)
        else:
            rules += blocks(path)
    chance.shuffle(rules)
    names = ["z-first", "a-last", "m", "topic"]
    for i, name in enumerate(names):
        (folder / f"{name}.yaml").write_text("".join(rules[i :: len(names)]), encoding="utf-8")
    return str(folder)


@pytest.fixture(scope="module")
def base() -> RuleBase:
    return read_rule_base(cache=False)


@pytest.mark.parametrize("seed", [1, 2])
def test_files_and_rules_in_another_order_decide_the_same(
    seed: int, base: RuleBase, tmp_path: Path
) -> None:
    other = read_rule_base(shuffled(tmp_path / "other", seed), cache=False)
    assert [e.file for e in other.entries.values()] != [e.file for e in base.entries.values()]
    assert other.digest == base.digest
    assert list(other.entries) == list(base.entries)
    assert other.favours == base.favours
    statuses = set()
    for name, sets in SETUPS.items():
        one = advise(read_setup(None, sets, base.vocabulary), base)
        assert advise(read_setup(None, sets, other.vocabulary), other) == one, name
        statuses.add(one.status)
    assert len(statuses) >= 2  # the setups try more than one way to end


def test_facts_stated_in_another_order_decide_the_same(base: RuleBase, tmp_path: Path) -> None:
    for name, sets in SETUPS.items():
        one = advise(read_setup(None, sets, base.vocabulary), base)
        other = advise(read_setup(None, sets[::-1], base.vocabulary), base)
        assert other == one, name
        assert other.build == one.build


def test_rules_are_cut_out_whole() -> None:
    for path in Path(base_folder()).glob("*.yaml"):
        if path.name not in SPECIAL:
            assert len(blocks(path)) == len(read_document(str(path)).data)
