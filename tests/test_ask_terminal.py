"""The interview on a real terminal, typed by hand: a pseudo-terminal with a program behind it."""

from __future__ import annotations

import contextlib
import fcntl
import io
import json
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from advisor.ask_terminal import Terminal
from advisor.pipeline import advise
from advisor.rulebase.read import read_rule_base
from advisor.setups.model import Setup
from tests.test_ask import ONE

ROOT = Path(__file__).resolve().parents[1]
SGR = re.compile(r"\x1b\[[0-9;]*m")
PASTE = re.compile(r"\x1b\[\?2004[hl]")
"""What line editing sends so that pasted lines are told from typed ones; it moves nothing."""
PATIENCE = 20.0
ON_ITS_OWN_TERMINAL = (
    "import fcntl, runpy, signal, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); "
    "signal.signal(signal.SIGINT, signal.default_int_handler); "
    "runpy.run_module('advisor', run_name='__main__')"
)
"""Runs the program with its terminal in charge of it, so that keys become signals."""


class Session:
    """A program on a terminal of eighty columns."""

    def __init__(self, *words: str, out: Path | None = None, **environment: str) -> None:
        self.here, there = pty.openpty()
        fcntl.ioctl(there, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        unset = {"NO_COLOR", "COLUMNS", "LINES"}
        inherited = {k: v for k, v in os.environ.items() if k not in unset}
        with contextlib.ExitStack() as stack:
            stdout = stack.enter_context(out.open("wb")) if out is not None else there
            self.running = subprocess.Popen(
                [sys.executable, "-c", ON_ITS_OWN_TERMINAL, "ask", *words],
                stdin=there,
                stdout=stdout,
                stderr=there,
                start_new_session=True,
                env={**inherited, "PYTHONPATH": str(ROOT), "TERM": "xterm", **environment},
            )
        os.close(there)
        self.seen = ""

    def until(self, wanted: str) -> str:
        """Read until a text was seen after all that was read before; return what came."""
        start = len(self.seen)
        end = time.monotonic() + PATIENCE
        while wanted not in self.seen[start:]:
            assert time.monotonic() < end, self.seen[start:]
            if not self._more():
                raise AssertionError(f"{wanted!r} never came: {self.seen[start:]}")
        return self.seen[start:]

    def type(self, keys: str) -> None:
        os.write(self.here, keys.encode())

    def answer(self, keys: str) -> str:
        """Type a line and read on to the next prompt."""
        self.type(f"{keys}\r")
        return self.until("\n> ") if keys else self.until("> ")

    def end(self) -> int:
        """Read to the end; return the exit status."""
        end = time.monotonic() + PATIENCE
        while self._more():
            assert time.monotonic() < end
        return self.running.wait(PATIENCE)

    def _more(self) -> bool:
        if not select.select([self.here], [], [], PATIENCE)[0]:
            return False
        try:
            data = os.read(self.here, 65536)
        except OSError:  # the other end is closed
            return False
        self.seen += PASTE.sub("", data.decode())
        return bool(data)

    @property
    def plain(self) -> str:
        return SGR.sub("", self.seen).replace("\r\n", "\n")

    def close(self) -> None:
        if self.running.poll() is None:
            self.running.kill()
            self.running.wait()
        os.close(self.here)


@pytest.fixture(params=["xterm", "dumb"])
def term(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@contextlib.contextmanager
def session(*words: str, out: Path | None = None, **environment: str) -> Iterator[Session]:
    running = Session(*words, out=out, **environment)
    try:
        yield running
    finally:
        running.close()


def test_a_session_typed_by_hand(term: str, tmp_path: Path) -> None:
    saved = tmp_path / "typed.yaml"
    known = ["--set", "point.type=field-point", "--set", "discipline=[indoor-target]"]
    with session(*known, "--save", str(saved), TERM=term) as typed:
        assert "So far: 3 vanes" in typed.until("> ")
        for _ in range(12):
            if "outside diameter at the fletching" in typed.seen.rpartition("of about")[2]:
                break
            typed.answer("dk")
        said = typed.answer("10.7")
        assert "`10.7` has no unit; write the unit: 10.7 mm (or in)" in SGR.sub("", said)
        # The first letters are rubbed out again.
        said = typed.answer("9xx\x7f\x7f\x7f27 serie\x7fes")
        assert "Settled now: " in " ".join(SGR.sub("", said).split())
        assert "no earlier answer" not in typed.answer("back")
        typed.answer("27 series")
        assert "A name for this setup (Enter for none)" in typed.answer("quit")
        typed.type("Hall dozen\r")
        assert typed.end() == 0
    assert "\ntitle: Hall dozen\n" in saved.read_text()
    assert "shaft:\n  outside_diameter: 27 series\n" in saved.read_text()
    words = [sys.executable, "-m", "advisor", "advise", str(saved)]
    advice = subprocess.run(words, capture_output=True, text=True, cwd=ROOT).stdout
    assert typed.plain.endswith(advice)
    assert "\n27 series\n" not in typed.plain, "the terminal has shown what was typed"
    if term == "dumb":
        assert "\x1b" not in typed.plain, "only colours; nothing moves the cursor"
    wide = [line for line in typed.plain.split("\n") if len(line) > 80]
    assert all(str(saved) in line for line in wide), wide


def test_only_the_result_goes_to_a_redirected_output(term: str, tmp_path: Path) -> None:
    out = tmp_path / "decision.json"
    with session("--format", "json", out=out, TERM=term) as typed:
        typed.until("> ")
        typed.answer(ONE)
        typed.type("quit\r")
        assert typed.end() == 0
    assert len(json.loads(out.read_text())["given"]) == 1
    assert '"given"' not in typed.seen
    assert "1 of about " in typed.plain


def test_ctrl_c_at_the_prompt(term: str, tmp_path: Path) -> None:
    saved = tmp_path / "typed.yaml"
    with session("--save", str(saved), TERM=term) as typed:
        typed.until("> ")
        typed.answer(ONE)
        typed.type("half an ans")
        typed.until("ans")
        time.sleep(0.2)  # a person looks up before breaking off
        typed.type("\x03")
        assert typed.end() == 130
    assert typed.plain.endswith("Stopped.\n")
    assert "Traceback" not in typed.seen
    assert list(tmp_path.iterdir()) == []


def test_ctrl_d_ends_the_questions(term: str) -> None:
    with session(TERM=term) as typed:
        typed.until("> ")
        typed.type("\x04")
        assert typed.end() == 0
    assert "\n\nUntitled setup" in typed.plain


def test_keys_that_are_no_text_are_refused_or_edit_the_line() -> None:
    with session(TERM="dumb") as typed:
        typed.until("> ")
        typed.type("\x16\x07one\r")  # a bell, typed literally
        assert "U+0007" in typed.until("\n> ")
    with session(TERM="xterm") as typed:
        typed.until("> ")
        typed.type(f"x\x1b[D\x1b[3~{ONE}\r")  # x, left, delete: leaves the answer
        assert "1 of about" not in typed.until("2 of about")


def test_colour_is_left_out_where_it_is_not_wanted() -> None:
    with session(NO_COLOR="1") as plain:
        plain.until("> ")
        assert "\x1b" not in plain.seen
    with session() as coloured:
        coloured.until("> ")
        first = advise(Setup("", {}), read_rule_base()).questions[0]
        assert "\x1b[1m1 of about " in coloured.seen
        assert first.asks.split()[0] in coloured.seen


# Without a program behind it


def test_what_is_piped_in_is_repeated_behind_the_prompt() -> None:
    talk = io.StringIO()
    terminal = Terminal(io.StringIO("one\n\x1b[2J\nlast"), talk, colour=False)
    assert [terminal.read() for _ in range(4)] == ["one", "\x1b[2J", "last", None]
    assert talk.getvalue() == "> one\n> \\x1b[2J\n> last\n> \n"


def test_an_over_long_line_is_read_past() -> None:
    talk = io.StringIO()
    terminal = Terminal(io.StringIO("x" * 200_000 + "\nnext\n"), talk, colour=False)
    long = terminal.read()
    assert long is not None
    assert 1000 < len(long) < 1100
    assert terminal.read() == "next"
    assert talk.getvalue() == "> ...\n> next\n"


def test_an_endless_line_is_the_end() -> None:
    class Endless(io.StringIO):
        def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]
            return "x" * (size or 1)

    assert Terminal(Endless(), None, colour=False).read() is None


def test_nobody_listening_is_no_reason_to_stop() -> None:
    class Closed(io.StringIO):
        def write(self, _: str, /) -> int:
            raise BrokenPipeError

    terminal = Terminal(io.StringIO("one\n"), Closed(), colour=False)
    terminal.say("hello")
    assert terminal.talk is None
    assert terminal.read() == "one"


def test_streams_that_are_closed_or_fail_are_at_their_end() -> None:
    closed = io.StringIO("one\n")
    closed.close()

    class Failing(io.StringIO):
        def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]
            raise OSError(size)

    for answers in (None, closed, Failing()):
        assert Terminal(answers, None, colour=False).read() is None


def test_bytes_that_are_no_text_are_passed_on() -> None:
    answers = io.TextIOWrapper(io.BytesIO(b"caf\xe9\nnext\n"), encoding="utf-8")
    terminal = Terminal(answers, None, colour=False)
    assert terminal.read() == "caf\udce9"
    assert terminal.read() == "next"
