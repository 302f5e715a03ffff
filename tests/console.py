"""What README shows of the program: console blocks, a table, a drawing; held to, or written anew.

A block is fenced as `console`, starts with `$ command` and goes on with the output. A last line of
three dots says that the output goes on. `python -m tests.console` writes everything anew.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

from tests.eleven import table

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)
MORE = "..."


TABLE = re.compile(r"(<!-- table: eleven arrows -->\n).*?(<!-- end of table -->)", re.DOTALL)
DRAWING = ROOT / "examples" / "fixed-blade-hunting.svg"


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


def with_table(text: str) -> str:
    """Return a text with the table of the eleven arrows as it is now."""
    return TABLE.sub(lambda match: f"{match[1]}\n{table()}\n\n{match[2]}", text)


def drawing() -> str:
    """Return the drawing that README shows as it is now."""
    setup = DRAWING.with_suffix(".yaml").relative_to(ROOT)
    return "\n".join(output_of(f"advisor advise {setup} --format svg")) + "\n"


def main() -> None:
    DRAWING.write_text(drawing(), encoding="utf-8")
    text = with_table(README.read_text(encoding="utf-8"))
    for block in blocks(text):
        text = text.replace(block.text(), renewed(block).text())
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
