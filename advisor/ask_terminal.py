"""Talking with a person over two streams: a terminal, or a pipe that holds the answers."""

from __future__ import annotations

import io
import sys
from typing import TextIO

from advisor.ask_answers import LONGEST
from advisor.errors import visible

PROMPT = "> "
_CHUNK = 1 << 16
_MOST_CHUNKS = 256
"""How much of one endless line is read past before the answers are given up as no text."""


class Terminal:
    """Says lines to one stream and reads answers from another; neither needs to be there.

    Nothing moves the cursor. A line that is piped in is repeated behind the prompt, so that what
    was said reads as a conversation.
    """

    def __init__(self, answers: TextIO | None, talk: TextIO | None, *, colour: bool) -> None:
        self.answers = answers
        self.talk = talk
        self.colour = colour
        self.typed = _is_terminal(answers)
        if isinstance(answers, io.TextIOWrapper):
            # A byte that is no text is told as such, and must not end the interview.
            answers.reconfigure(errors="surrogateescape")
        self._edits = self.typed and talk is sys.stderr and _can_edit()

    def say(self, *lines: str, code: str = "") -> None:
        """Say lines; `code` is an SGR code for them, used on terminals alone."""
        on, off = (f"\x1b[{code}m", "\x1b[0m") if code and self.colour else ("", "")
        self._write("".join(f"{on}{line}{off}\n" for line in lines))

    def read(self) -> str | None:
        """Return the next answer without its line end, or None when there are no more."""
        try:
            line = self._typed_with_editing() if self._edits else self._line()
        except (EOFError, OSError, ValueError):
            line = None
        if line is None:
            self._write("\n")
        elif not self.typed:
            shown = line if len(line) <= LONGEST else "..."
            self._write(f"{visible(shown)}\n")
        return line

    def _typed_with_editing(self) -> str:
        self._write("")
        return input(PROMPT)

    def _line(self) -> str | None:
        self._write(PROMPT)
        if self.answers is None:
            return None
        line = self.answers.readline(LONGEST + 2)
        if not line:
            return None
        if len(line) > LONGEST + 1 and not line.endswith("\n"):
            for _ in range(_MOST_CHUNKS):
                rest = self.answers.readline(_CHUNK)
                if not rest or rest.endswith("\n"):
                    return line
            return None
        return line.removesuffix("\n").removesuffix("\r")

    def _write(self, text: str) -> None:
        if self.talk is None:
            return
        try:
            self.talk.write(text)
            self.talk.flush()
        except (OSError, ValueError):
            # Nobody listens any more; the answers still count.
            self.talk = None


def _is_terminal(stream: TextIO | None) -> bool:
    try:
        return stream is not None and stream.isatty()
    except ValueError:
        return False


def _can_edit() -> bool:
    """Tell whether lines can be edited as they are typed; that needs all three streams."""
    if not all(map(_is_terminal, (sys.stdin, sys.stdout, sys.stderr))):
        return False
    try:
        import readline
    except ImportError:
        return False
    return readline is not None
