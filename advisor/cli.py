"""The command line: with the other `cli_*` all that prints, exits or knows Typer."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from advisor.cli_common import (
    NO_BUILD,
    Out,
    Rules,
    Sets,
    StockFile,
    check_format,
    colour,
    fail,
    misuse,
    refuse_output,
    replace,
    write,
)
from advisor.errors import Fault, Faults, quoted, suggest, visible

if TYPE_CHECKING:
    from advisor.decision import Decision
    from advisor.rulebase.model import RuleBase
    from advisor.setups.model import Setup, Stock

INTERRUPTED = 130
"""Exit status of an interview that was broken off: 128 and the number of the signal."""


class _Commands(TyperGroup):
    """All commands; those of reviewers and of authors of rules are made only when wanted.

    Making a command costs the start of every other one.
    """

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name == "rules":
            self._add_rules()
        elif cmd_name not in self.commands:
            self._add_others()
        return super().get_command(ctx, cmd_name)

    def list_commands(self, ctx: Any) -> list[str]:
        self._add_others()
        self._add_rules()
        return super().list_commands(ctx)

    def _add_others(self) -> None:
        from advisor.cli_review import app as others

        found: Any = typer.main.get_group(others)
        first = {name: self.commands[name] for name in ("advise", "ask")}
        self.commands = {**first, **found.commands, **self.commands}

    def _add_rules(self) -> None:
        from advisor.cli_rules import app as rules

        self.commands = {**self.commands, "rules": typer.main.get_group(rules)}


app = typer.Typer(
    cls=_Commands,
    add_completion=True,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Which vanes, how many, on which side and at what angle; which head behind which vanes; "
    "and the rule behind every word.",
)


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import PackageNotFoundError, version

        try:
            told = version("arrow-advisor")
        except PackageNotFoundError:
            told = "of an unpacked copy"
        write(f"advisor {told}\n", None)
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[  # the callback does all there is to do
        bool,
        typer.Option("--version", help="Show the version.", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    """Which vanes, how many, on which side and at what angle; which head behind which vanes."""


def _complete_format(incomplete: str) -> list[str]:
    from advisor.render import FORMATS

    return [name for name in FORMATS if name.startswith(incomplete)]


Format = Annotated[
    str,
    typer.Option("--format", metavar="text|json|html|svg", autocompletion=_complete_format),
]


@app.command()
def advise(
    setup: Annotated[
        str | None, typer.Argument(metavar="[SETUP.yaml]", help="What is given; - reads it here.")
    ] = None,
    sets: Sets = None,
    rules: Rules = None,
    stock: StockFile = None,
    weigh: Annotated[
        bool,
        typer.Option(
            "--weigh/--quick",
            help="Whether to try what each answer to an open question would change.",
        ),
    ] = True,
    form: Format = "text",
    out: Out = None,
) -> None:
    """Advise on a setup: complete whatever half of the build is not given, or judge all of it."""
    from advisor.pipeline import advise as advise_on
    from advisor.render import FORMATS

    check_format(form, FORMATS)
    if setup is None and not sets:
        remedy = "name a setup file, or state facts: --set point.type=fixed-blade"
        fail(misuse("advisor advise", "nothing is stated", remedy))
    try:
        base, stated, listed = _read_inputs(setup, sets, rules, stock)
        decision = advise_on(stated, base, listed, weigh=weigh)
    except Faults as refused:
        fail(refused)
    _give(decision, form, out, (setup, stock))


def _read_inputs(
    setup: str | None, sets: list[str] | None, rules: str | None, stock: str | None
) -> tuple[RuleBase, Setup, Stock | None]:
    """Read rules, setup and stock, telling the faults of the latter two together."""
    from advisor.rulebase.read import read_rule_base
    from advisor.setups.read import read_setup, read_stock

    base = read_rule_base(rules)
    listed, stated = None, None
    faults: list[Fault] = []
    try:
        text = sys.stdin.read() if setup == "-" else None
        stated = read_setup(
            "standard input" if setup == "-" else setup, sets or [], base.vocabulary, text=text
        )
    except Faults as refused:
        faults += refused.faults
    if stock is not None:
        try:
            listed = read_stock(stock, base.vocabulary)
        except Faults as refused:
            faults += refused.faults
    if stated is None or faults:
        raise Faults(faults, "setup")
    if stated.taken:
        from advisor.pipeline import offered_stock, taken

        taken(stated, base, offered_stock(base, listed))  # to refuse it before anything is asked
    return base, stated, listed


def _give(decision: Decision, form: str, out: str | None, inputs: tuple[str | None, ...]) -> None:
    """Write the advice, and end with the status it asks for."""
    from advisor.render import renderer

    write(renderer(form)(decision, colour(out)), out, inputs)
    if decision.status in ("stopped", "rejected"):
        raise typer.Exit(NO_BUILD)


@app.command()
def ask(
    setup: Annotated[
        str | None, typer.Argument(metavar="[SETUP.yaml]", help="What is known already.")
    ] = None,
    sets: Sets = None,
    rules: Rules = None,
    stock: StockFile = None,
    save: Annotated[
        str | None,
        typer.Option("--save", metavar="FILE", help="Keep what was stated as a setup file."),
    ] = None,
    form: Format = "text",
    out: Out = None,
) -> None:
    """Ask what decides most next, question by question, then advise on the answers."""
    from advisor.render import FORMATS

    check_format(form, FORMATS)
    if setup == "-":
        remedy = "name a setup file, or state facts with --set"
        fail(misuse("advisor ask", "standard input is where the answers come from", remedy))
    inputs = setup, stock
    goes_on = bool(save and setup and os.path.exists(save) and os.path.samefile(save, setup))
    _refuse_late_surprise("--save", save, (stock,) if goes_on else inputs)
    if save is not None and os.path.exists(save) and not goes_on:
        remedy = f"name a new file, or go on with that one: advisor ask {save} --save {save}"
        fail(misuse("--save", f"{quoted(save)} is there already", remedy))
    _refuse_late_surprise("--out", None if out == "-" else out, (*inputs, save))
    try:
        base, stated, listed = _read_inputs(setup, sets, rules, stock)
        decision = _interview(base, stated, listed, setup, save)
        _give(decision, form, out, (*inputs, save))
    except Faults as refused:
        fail(refused)
    except KeyboardInterrupt:
        if sys.stderr is not None:
            sys.stderr.write("\nStopped.\n")
        raise typer.Exit(INTERRUPTED) from None


def _refuse_late_surprise(option: str, name: str | None, inputs: tuple[str | None, ...]) -> None:
    """Refuse before the first question what could not be written after the last."""
    if name is None:
        return
    refuse_output(name, inputs, option)
    real = os.path.realpath(name)
    if not os.path.isdir(os.path.dirname(real)):
        fail(misuse(option, f"there is no folder for {quoted(name)}", "make it first"))
    if any(other and os.path.realpath(other) == real for other in inputs):
        fail(misuse(option, f"{quoted(name)} is named twice", "name another file"))


def _interview(
    base: RuleBase, stated: Setup, listed: Stock | None, setup: str | None, save: str | None
) -> Decision:
    """Hold the interview, keep what was stated if that is wanted, and return the advice on it."""
    from advisor.ask import interview
    from advisor.ask_save import notes_of, setup_text
    from advisor.ask_terminal import Terminal
    from advisor.pipeline import advise as advise_on
    from advisor.setups.read import read_setup

    watched = sys.stderr is not None and sys.stderr.isatty() and not os.environ.get("NO_COLOR")
    terminal = Terminal(sys.stdin, sys.stderr, colour=watched)
    notes = notes_of(setup)
    saves = save is not None
    stated, _ = interview(stated, base, listed, terminal, saves=saves)
    if save is None:
        return advise_on(stated, base, listed, weigh=True)
    text = setup_text(stated, base.vocabulary, notes)
    # The advice names the places in the file that was saved: that is the one to go on with.
    kept = read_setup(save, [], base.vocabulary, text=text)
    decision = advise_on(kept, base, listed, weigh=True)
    try:
        replace(os.path.realpath(save), text)
    except OSError as error:
        terminal.say(text)  # so that no answer is lost
        reason = (error.strerror or str(error)).lower()
        raise misuse(save, f"this cannot be written: {reason}", "write elsewhere") from None
    terminal.say(f"What was stated is kept in {visible(save)}.", "")
    return decision


@app.command()
def facts(
    group: Annotated[
        str | None,
        typer.Argument(metavar="[GROUP]", help="Only facts of a group, or one fact: point"),
    ] = None,
    rules: Rules = None,
) -> None:
    """List the facts: what can be stated, with choices and units, and what is worked out."""
    from advisor.pages import facts_text
    from advisor.rulebase.read import read_rule_base

    try:
        words = read_rule_base(rules).vocabulary
        groups = sorted({*words.groups, *words.entries})
        if group is not None and group not in groups:
            raise misuse(
                "facts", f"there are no facts of `{group}`", suggest(group, groups, "groups")
            )
    except Faults as refused:
        fail(refused)
    write(facts_text(words, group), None)
