"""What all commands share: their options, refusing, and writing a result whole or not at all."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from advisor.errors import Fault, Faults, suggest

if TYPE_CHECKING:
    from collections.abc import Callable

NO_BUILD = 1
"""Exit status where no build survives or a stop stands; a refusal knows its own."""


def _complete_set(incomplete: str) -> list[str]:
    from advisor.engine.values import CONCLUDED
    from advisor.rulebase.read import read_rule_base

    try:
        words = read_rule_base().vocabulary
    except Faults:
        return []
    name, equals, start = incomplete.partition("=")
    if equals and name in words:
        return [f"{name}={c}" for c in words[name].choices if c.startswith(start)]
    return [
        f"{fact}="
        for fact, entry in words.entries.items()
        if fact.startswith(name) and entry.origin != CONCLUDED
    ]


_BAR = 30  # letters

Rules = Annotated[
    str | None,
    typer.Option("--rules", metavar="DIR", help="A house's rule base; without it, the base rules."),
]
Sets = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="FACT=VALUE",
        help="State a fact, over the file's: --set point.type=fixed-blade",
        autocompletion=_complete_set,
    ),
]
StockFile = Annotated[
    str | None,
    typer.Option("--stock", metavar="FILE", help="The vanes, heads and shafts there are."),
]
Out = Annotated[str | None, typer.Option("--out", metavar="FILE", help="Write to a file instead.")]


def misuse(where: str, what: str, remedy: str) -> Faults:
    """Return the one fault of a command that was asked for something it cannot do."""
    return Faults([Fault(where, None, None, what, remedy)], "usage")


def check_format(form: str, formats: tuple[str, ...], closing: str = "nothing was advised") -> None:
    """Refuse what is no format."""
    if form not in formats:
        fault = misuse("--format", f"`{form}` is no format", suggest(form, formats, "formats"))
        fail(fault, closing)


def fail(faults: Faults, closing: str = "nothing was advised") -> NoReturn:
    """Tell every fault and end, with the exit status that they have."""
    closing = {"rules": "the rules were not used"}.get(faults.about, closing)
    sys.stderr.write(faults.text(closing) + "\n")
    raise typer.Exit(faults.exit_status)


def colour(out: str | None) -> bool:
    """Colour only what a person watches; the NO_COLOR convention is honoured."""
    watched = out is None and sys.stdout is not None and sys.stdout.isatty()
    return watched and not os.environ.get("NO_COLOR")


def write(text: str, out: str | None, inputs: tuple[str | None, ...] = ()) -> None:
    """Write a result: to standard output, or to a file that is whole or not there."""
    try:
        if out is None or out == "-":
            _print(text)
        else:
            refuse_output(out, inputs)
            replace(os.path.realpath(out), text)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        where = "standard output" if out in (None, "-") else str(out)
        fault = misuse(where, f"this cannot be written: {reason}", "write elsewhere")
        fail(fault, "nothing was written")


def _print(text: str) -> None:
    if sys.stdout is None:
        raise OSError("standard output is closed")
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader has seen enough; what is left has nowhere to go.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError:
        # What is still buffered would fail once more when the program ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise


def refuse_output(out: str, inputs: tuple[str | None, ...], option: str = "--out") -> None:
    """Refuse to write over anything but a plain file, and over what was read."""
    what = ""
    if os.path.exists(out) and not os.path.isfile(out):
        what = f"`{out}` is no plain file"
    elif any(
        name and os.path.exists(name) and os.path.exists(out) and os.path.samefile(name, out)
        for name in inputs
    ):
        what = f"`{out}` is what the advice is about"
    elif not out:
        what = "the name is empty"
    if what:
        fail(misuse(option, what, "name another file"), "nothing was written")


def replace(out: str, text: str) -> None:
    """Put a whole file in the place of what stood there, with the mode that had."""
    part = f"{out}.{os.getpid()}.part"
    try:
        with open(part, "w", encoding="utf-8") as file:
            file.write(text)
        if os.path.exists(out):
            os.chmod(part, os.stat(out).st_mode & 0o777)
        os.replace(part, out)
    except BaseException:  # an interruption leaves nothing behind either
        if os.path.exists(part):
            os.unlink(part)
        raise


def progress(what: str) -> Callable[[int, int], None] | None:
    """Return what shows on a terminal how far the work has come; nothing elsewhere."""
    if sys.stderr is None or not sys.stderr.isatty():
        return None

    def show(done: int, of: int) -> None:
        full = _BAR * done // max(of, 1)
        end = "\n" if done >= of else ""
        sys.stderr.write(f"\r[{'#' * full}{'.' * (_BAR - full)}] {done} of {of} {what}{end}")
        sys.stderr.flush()

    return show
