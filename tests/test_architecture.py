from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor.rulebase.read import read_rule_base

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "advisor"
LONGEST_MODULE = 600


def test_import_contracts_are_kept(capfd: pytest.CaptureFixture[str]) -> None:
    cli = pytest.importorskip("importlinter.cli")
    status = cli.lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True)
    assert status == 0, capfd.readouterr().out


def test_the_engine_speaks_no_word_of_the_trade() -> None:
    base = read_rule_base()
    trade = {name.split(".")[0] for name in base.vocabulary.entries if "." in name}
    trade |= {"arrow", "vane", "broadhead", "fletch", "archer", "bow"}
    # Words that the trade shares with everybody.
    trade -= {"rest", "use", "room", "event", "law", "contact", "weather", "glue", "wind"}
    for path in (PACKAGE / "engine").glob("*.py"):
        text = path.read_text(encoding="utf-8").lower()
        for word in trade:
            assert not re.search(rf"\b{word}s?\b", text), (path.name, word)


def test_no_module_grows_too_long() -> None:
    for path in PACKAGE.rglob("*.py"):
        lines = path.read_text(encoding="utf-8").count("\n")
        assert lines <= LONGEST_MODULE, f"{path.name} has {lines} lines: split it"


def test_the_top_level_holds_what_was_agreed() -> None:
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "advisor",
        "rules",
        "tests",
        "examples",
    }
    built = {"build", "dist"}
    there = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert agreed <= there
    assert {name for name in there - agreed - built if not name.endswith(".egg-info")} == set()


def test_nothing_is_evaluated_or_unpickled() -> None:
    forbidden = re.compile(r"\b(eval|exec|pickle|marshal|__import__)\b\s*[(.]")
    for path in PACKAGE.rglob("*.py"):
        assert not forbidden.search(path.read_text(encoding="utf-8")), path
