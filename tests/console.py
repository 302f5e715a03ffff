"""Console blocks of README: run each command, hold its output to what is shown, or write it anew.

A block is fenced as `console`, starts with `$ command` and goes on with the output. A last line of
three dots says that the output goes on. `python -m tests.console` writes the blocks anew.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)
MORE = "..."


class Block(NamedTuple):
    """One command with the output shown for it."""

    command: str
    shown: list[str]
    whole: bool

    def text(self) -> str:
        lines = [f"$ {self.command}", *self.shown, *([] if self.whole else [MORE])]
        return "```console\n" + "\n".join(lines) + "\n```"


def blocks(text: str) -> list[Block]:
    found = []
    for match in BLOCK.finditer(text):
        lines = match.group(1).rstrip("\n").split("\n")
        assert lines[0].startswith("$ "), lines[0]
        whole = lines[-1] != MORE
        found.append(Block(lines[0][2:], lines[1:] if whole else lines[1:-1], whole))
    return found


def output_of(command: str) -> list[str]:
    """Run a command of ours as README shows it, standard error after standard output."""
    words = shlex.split(command)
    assert words[0] == "advisor", command
    done = subprocess.run(
        [sys.executable, "-m", "advisor", *words[1:]],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1", "COLUMNS": "80"},
    )
    return (done.stdout + done.stderr).rstrip("\n").split("\n")


def renewed(block: Block) -> Block:
    output = output_of(block.command)
    return Block(block.command, output if block.whole else output[: len(block.shown)], block.whole)


def main() -> None:
    text = README.read_text(encoding="utf-8")
    for block in blocks(text):
        text = text.replace(block.text(), renewed(block).text())
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
