from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from advisor.documents import read_document
from advisor.errors import Collector
from advisor.pipeline import advise
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup, stock_of
from tests import pictures
from tests.console import DRAWING, README, ROOT, Block, blocks, drawing, output_of, with_table
from tests.heavy import untraced

TEXT = README.read_text(encoding="utf-8") if README.exists() else ""
BLOCKS = blocks(TEXT)


def test_readme_shows_commands() -> None:
    assert len(BLOCKS) >= 4


@untraced
@pytest.mark.parametrize("block", BLOCKS, ids=[block.command for block in BLOCKS])
def test_shown_output_is_current(block: Block) -> None:
    output = output_of(block.command)
    assert block.shown == (output if block.whole else output[: len(block.shown)])
    if not block.whole:
        assert len(output) > len(block.shown)


def test_the_table_of_the_eleven_arrows_is_current() -> None:
    assert "| K, " in TEXT
    assert with_table(TEXT) == TEXT


def test_the_drawing_is_current() -> None:
    assert str(DRAWING.relative_to(ROOT)) in TEXT
    assert DRAWING.read_text(encoding="utf-8") == drawing()


def test_the_pictures_are_current() -> None:
    for picture in (pictures.TERMINAL, pictures.SHEET):
        assert f"]({picture.relative_to(ROOT)})" in TEXT
    assert pictures.TERMINAL.read_text(encoding="utf-8") == pictures.terminal()
    made = pictures.made_of(pictures.SHEET.read_bytes())
    assert made == pictures.digest(pictures.output("html")), "run python -m tests.pictures"


def test_every_command_and_option_is_documented() -> None:
    listed = "advise ask why why-not turning-points compare recheck review facts"
    about_rules = "list show cases check coverage mutate compare new format schemas"
    for command in (*listed.split(), *(f"rules {name}" for name in about_rules.split())):
        assert f"advisor {command}" in TEXT, command
        shown = "\n".join(output_of(f"advisor {command} --help"))
        for option in set(re.findall(r"--[a-z]+", shown)) - {"--help"}:
            assert option in TEXT, (command, option)


def test_both_set_up_commands_stand_in_readme() -> None:
    for name in ("run", "test"):
        assert re.search(rf"<!-- command: {name} -->\n```sh\n.+\n```", TEXT), name


SHELL = [
    line
    for block in re.findall(r"```sh\n(.*?)```", TEXT, re.DOTALL)
    for line in block.splitlines()
    if not line.startswith("python3 -m venv")  # these two are run by whoever sets a machine up
]
SLOW = {"advisor rules mutate --at-least 85": "advisor rules mutate --share 1"}
"""Commands that take minutes, and what is run of them here."""
ENDS_WITH_1 = "--set nock.lighted=true"


@untraced
def test_every_command_of_the_shell_runs_in_order(tmp_path: Path) -> None:
    """One after the other, as a reader would: some need what those before them wrote."""
    assert len(SHELL) > 10
    for name in ("examples", "rules"):
        shutil.copytree(ROOT / name, tmp_path / name)
    (tmp_path / "advisor").write_text(f'#!/bin/sh\nexec {sys.executable} -m advisor "$@"\n')
    (tmp_path / "advisor").chmod(0o755)
    path = os.pathsep.join((str(tmp_path), os.environ["PATH"]))
    inside = {**os.environ, "PATH": path, "PYTHONPATH": str(ROOT)}
    for line in SHELL:
        done = subprocess.run(
            ["sh", "-c", SLOW.get(line, line)],
            cwd=tmp_path,
            env=inside,
            input="quit\n",
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == (line.endswith(ENDS_WITH_1)), (line, done.stderr)
        assert "Traceback" not in done.stderr


def test_the_job_stands_first() -> None:
    paragraphs = [p for p in TEXT.split("\n\n") if not p.startswith("#")]
    assert "rule" in paragraphs[0]
    assert len(paragraphs[0]) > 400


def test_relative_links_and_named_files_exist() -> None:
    for path in re.findall(r"\]\((?!https?:)([^)#]+)\)", TEXT):
        assert (ROOT / path).exists(), path
    for path in re.findall(r"`((?:examples|rules|tests|advisor)/[\w./-]+)`", TEXT):
        assert (ROOT / path).exists(), path


def test_the_stock_shown_is_one() -> None:
    (shown,) = re.findall(r"```yaml\n(stock:.*?)```", TEXT, re.DOTALL)
    base = read_rule_base()
    collector = Collector("setup")
    stock = stock_of(read_document("README.md", shown), base.vocabulary, collector)
    assert not collector.faults
    assert set(stock.items) == {"vane", "point", "shaft"}
    numbers = [
        f"from_stock.{kind}={item}" for kind, item in (("head", "Q-201"), ("shaft", "Q-301"))
    ]
    decision = advise(read_setup(None, numbers, base.vocabulary), base, stock)
    assert decision.items["shaft"] == "Q-301"
    assert not any("does not tell" in note for note in decision.notes)
