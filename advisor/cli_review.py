"""The reviewer's commands: why, why not, what would change it, two side by side, check it again."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

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
    progress,
    write,
)
from advisor.errors import Fault, Faults

if TYPE_CHECKING:
    from collections.abc import Callable

    from advisor.judge import Judgement

app = typer.Typer(rich_markup_mode=None)

_TEXT_JSON = ("text", "json")
_REVIEW = ("html", "json")

Subject = Annotated[
    str,
    typer.Argument(
        metavar="SETUP|DECISION",
        help="A setup file, or a Decision kept as JSON; - reads it here.",
    ),
]
TextJson = Annotated[str, typer.Option("--format", metavar="text|json")]


@app.command()
def why(
    subject: Subject,
    what: Annotated[
        str, typer.Argument(metavar="FACT|RULE", help="What to go back from, to what was stated.")
    ],
    sets: Sets = None,
    rules: Rules = None,
    stock: StockFile = None,
    form: Annotated[str, typer.Option("--format", metavar="text|json|svg")] = "text",
    out: Out = None,
) -> None:
    """Tell why something is so: a fact, an option, a rule, down to the lines that were stated."""
    from advisor.why import FORMATS, answer

    check_format(form, FORMATS, "nothing was told")
    try:
        judgement = _judged(subject, sets, rules, stock)
        told = answer(judgement, what, form, colour(out))
    except Faults as refused:
        fail(refused, "nothing was told")
    write(told, out, (subject, stock))


@app.command("why-not")
def why_not(
    subject: Subject,
    what: Annotated[
        list[str],
        typer.Argument(
            metavar="RULE|FACT=VALUE...",
            help="A rule, or a build by some options: fletching.count=3 'vane.length=2 in'",
        ),
    ],
    sets: Sets = None,
    rules: Rules = None,
    stock: StockFile = None,
    form: TextJson = "text",
    out: Out = None,
) -> None:
    """Tell what keeps a rule from standing, or a build from being chosen, and what would do."""
    check_format(form, _TEXT_JSON, "nothing was told")
    try:
        judgement = _judged(subject, sets, rules, stock)
        from advisor.named_builds import build_named
        from advisor.render.why_not_text import render
        from advisor.why_not import why_not as tell

        is_rule = len(what) == 1 and "=" not in what[0]
        named = what[0] if is_rule else build_named(judgement.base, what)
        found = tell(judgement, named)
    except Faults as refused:
        fail(_without_option(refused), "nothing was told")
    write(_told(found, form, out, render), out, (subject, stock))


@app.command("turning-points")
def turning_points(
    subject: Subject,
    sets: Sets = None,
    rules: Rules = None,
    stock: StockFile = None,
    form: TextJson = "text",
    out: Out = None,
) -> None:
    """Tell, for each stated fact, the smallest change of it that alters the advice, and to what."""
    check_format(form, _TEXT_JSON, "nothing was told")
    try:
        judgement = _judged(subject, sets, rules, stock)
    except Faults as refused:
        fail(refused, "nothing was told")
    from advisor.render.turning_text import render
    from advisor.turning import turning_points as find

    write(_told(find(judgement), form, out, render), out, (subject, stock))


@app.command()
def compare(
    subject: Subject,
    other: Annotated[
        str | None,
        typer.Argument(metavar="[SETUP|DECISION]", help="The other, to compare whole advice."),
    ] = None,
    builds: Annotated[
        list[str] | None,
        typer.Option(
            "--build",
            metavar="FACT=VALUE",
            help="A build of the setup, by some options; twice, or once against the advised build.",
        ),
    ] = None,
    sets: Sets = None,
    rules: Rules = None,
    stock: StockFile = None,
    form: Annotated[str, typer.Option("--format", metavar="text|json|html")] = "text",
    out: Out = None,
) -> None:
    """Put two builds of a setup, or the advice on two setups, side by side."""
    check_format(form, ("text", "json", "html"), "nothing was compared")
    named = builds or []
    if other is None and not 1 <= len(named) <= 2:
        remedy = (
            "name another setup, or builds: --build fletching.count=3 --build fletching.count=4"
        )
        fail(misuse("compare", "it takes two to compare", remedy), "nothing was compared")
    if other is not None and named:
        remedy = "leave one of them out"
        fail(misuse("--build", "two setups are named already", remedy), "nothing was compared")
    try:
        judgement = _judged(subject, sets, rules, stock)
        from advisor.comparing import compare_builds, compare_decisions
        from advisor.decide import decide
        from advisor.named_builds import builds_named

        if other is None:
            pair = [[name] for name in named] if len(named) == 2 else [[], [named[0]]]
            found = compare_builds(judgement, *builds_named(judgement.base, pair))
        else:
            found = compare_decisions(decide(judgement), decide(_judged(other, sets, rules, stock)))
    except Faults as refused:
        fail(refused, "nothing was compared")
    if form == "html":
        from advisor.render.comparison_html import render as render_html

        write(render_html(found, False), out, (subject, other, stock))
    else:
        from advisor.render.comparison_text import render

        write(_told(found, form, out, render), out, (subject, other, stock))
    if found.first.breaks and found.second.breaks:
        raise typer.Exit(NO_BUILD)


@app.command()
def review(
    subject: Subject,
    sets: Sets = None,
    rules: Rules = None,
    stock: StockFile = None,
    form: Annotated[str, typer.Option("--format", metavar="html|json")] = "html",
    out: Out = None,
) -> None:
    """Write a page to audit the advice from: reasons, what lost, the rules as they stood."""
    check_format(form, _REVIEW, "nothing was told")
    try:
        judgement = _judged(subject, sets, rules, stock)
    except Faults as refused:
        fail(refused, "nothing was told")
    from advisor.review import answer

    write(answer(judgement, form, colour(out)), out, (subject, stock))


@app.command()
def recheck(
    decision: Annotated[
        str, typer.Argument(metavar="DECISION.json", help="A Decision kept as JSON.")
    ],
    rules: Rules = None,
    stock: StockFile = None,
    form: TextJson = "text",
    out: Out = None,
) -> None:
    """Derive a saved Decision anew, by a program of its own, and say what of it holds."""
    check_format(form, _TEXT_JSON, "nothing was checked")
    from advisor.recheck import recheck as check

    try:
        report = check(decision, rules, stock, progress("builds judged"))
    except Faults as refused:
        fail(refused, "nothing was checked")
    plain = json.dumps(report.to_plain(), indent=2, ensure_ascii=False) + "\n"
    write(plain if form == "json" else report.to_text(), out, (decision, stock))
    if report.exit_status:
        raise typer.Exit(report.exit_status)


def _without_option(faults: Faults) -> Faults:
    """Return faults of a build that was named without an option."""
    told = (
        Fault(f.file.removeprefix("--build "), f.line, f.column, f.what, f.help)
        for f in faults.faults
    )
    return Faults(told, faults.about)


def _judged(
    subject: str, sets: list[str] | None, rules: str | None, stock: str | None
) -> Judgement:
    """Judge a setup, or once more what a saved Decision was made on.

    Raises:
        Faults: everything wrong with rules, stock and subject.
    """
    from advisor.judge import Judgement
    from advisor.pipeline import offered_stock, taken
    from advisor.rulebase.read import read_rule_base
    from advisor.saved import read_subject
    from advisor.setups.read import read_stock

    base = read_rule_base(rules)
    listed = None if stock is None else read_stock(stock, base.vocabulary)
    text = sys.stdin.read() if subject == "-" else None
    name = "standard input" if subject == "-" else subject
    setup = read_subject(name, sets or [], base, listed, text=text)
    offered = offered_stock(base, listed)
    if setup.taken:
        setup = taken(setup, base, offered)
    return Judgement(setup, base, offered)


def _told(found: Any, form: str, out: str | None, render: Callable[[Any, bool], str]) -> str:
    """Return a finding as text or as JSON."""
    if form == "text":
        return render(found, colour(out))
    from advisor.decision import to_plain

    return json.dumps(to_plain(found), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
