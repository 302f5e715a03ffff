"""The commands about rules themselves: reading them, checking them, proving them."""

from __future__ import annotations

import gc
import json
import os
import re
from typing import TYPE_CHECKING, Annotated, Any

import typer

from advisor.cli_common import (
    NO_BUILD,
    Out,
    Rules,
    check_format,
    colour,
    fail,
    misuse,
    progress,
    replace,
    write,
)
from advisor.decision import to_plain
from advisor.errors import Faults, did_you_mean, suggest
from advisor.rulebase.model import EVIDENCE

if TYPE_CHECKING:
    from collections.abc import Iterable

    from advisor.authoring.drafts import Draft

RULE_FORMATS = ("text", "json")

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Read the rules, prove and test them, and write new ones.",
)


def _complete_rule(incomplete: str) -> list[str]:
    from advisor.rulebase.read import read_rule_base

    try:
        return [r for r in read_rule_base().entries if r.startswith(incomplete)]
    except Faults:
        return []


def _complete_rule_format(incomplete: str) -> list[str]:
    return [name for name in RULE_FORMATS if name.startswith(incomplete)]


RuleFormat = Annotated[
    str,
    typer.Option("--format", metavar="text|json", autocompletion=_complete_rule_format),
]


MOST_PERCENT, MOST_WORKERS = 100, 64

NOT_WRITTEN = "nothing was written"
NOT_COMPARED = "nothing was compared"

House = Annotated[str, typer.Option("--rules", metavar="DIR", help="The folder of the rules.")]
Least = Annotated[
    float | None,
    typer.Option(
        "--at-least", metavar="PERCENT", min=0, max=100, help="End with 1 if less is reached."
    ),
]


@app.command("list")
def rules_list(
    rules: Rules = None,
    topic: Annotated[
        str | None, typer.Option("--topic", metavar="NAME", help="Only the rules of one file.")
    ] = None,
    form: RuleFormat = "text",
    out: Out = None,
) -> None:
    """List the rules by topic: what each asks and what it rests on."""
    from advisor.pages import list_json, list_text, topics
    from advisor.rulebase.read import read_rule_base

    check_format(form, RULE_FORMATS, "nothing was listed")
    try:
        base = read_rule_base(rules)
        if topic is not None and topic not in topics(base):
            remedy = suggest(topic, topics(base), "topics")
            raise misuse("--topic", f"`{topic}` is no topic", remedy)
    except Faults as refused:
        fail(refused, "nothing was listed")
    write(list_json(base, topic) if form == "json" else list_text(base, topic), out)


@app.command("show")
def rules_show(
    rule_id: Annotated[
        str, typer.Argument(metavar="ID", help="The rule's name.", autocompletion=_complete_rule)
    ],
    rules: Rules = None,
    form: RuleFormat = "text",
    out: Out = None,
) -> None:
    """Show a rule's page: what it says, when, its exceptions, why, on what evidence."""
    from advisor.pages import page_json, page_text
    from advisor.rulebase.read import read_rule_base

    check_format(form, RULE_FORMATS, "nothing was shown")
    try:
        base = read_rule_base(rules)
        gone = {retired.rule for retired in base.retired}
        if rule_id not in base.entries and rule_id not in gone:
            near = did_you_mean(rule_id, [*base.entries, *gone])
            remedy = f"did you mean {near}?" if near else "advisor rules list shows them all"
            raise misuse("rules show", f"there is no rule `{rule_id}`", remedy)
        shown = page_json(base, rule_id) if form == "json" else page_text(base, rule_id)
    except Faults as refused:
        fail(refused, "nothing was shown")
    write(shown, out)


@app.command("cases")
def rules_cases(
    rules: Rules = None,
    only: Annotated[
        str, typer.Option("--only", metavar="NAME", help="Only cases with this in their name.")
    ] = "",
    form: Annotated[str, typer.Option("--format", metavar="text|json|junit")] = "text",
    out: Out = None,
) -> None:
    """Run the cases kept beside the rules, and say which do not hold."""
    from advisor.case_report import FORMS, run_all, text, without_a_case
    from advisor.rulebase.read import read_rule_base

    check_format(form, tuple(FORMS), "nothing was run")
    try:
        base = read_rule_base(rules)
        outcomes = run_all(base, only)
        if only and not outcomes:
            raise misuse("--only", f"no case has `{only}` in its name", "name another, or none")
    except Faults as refused:
        fail(refused, "nothing was run")
    if form == "text":
        uncovered = [] if only else without_a_case(outcomes, base)
        write(text(outcomes, uncovered), out)
    else:
        write(FORMS[form](outcomes), out)
    if any(outcome.fails for outcome in outcomes):
        raise typer.Exit(NO_BUILD)


@app.command("check")
def rules_check(
    rules: Rules = None,
    proofs: Annotated[
        bool,
        typer.Option("--proofs/--no-proofs", help="Whether to prove what can be proved, too."),
    ] = True,
    form: Annotated[str, typer.Option("--format", metavar="text|json|sarif")] = "text",
    out: Out = None,
) -> None:
    """Check rules: what is wrong as written, and what is proved, with a setup that shows it."""
    from advisor.checking import check_rules

    check_format(form, ("text", "json", "sarif"), "nothing was checked")
    report = check_rules(rules, proofs=proofs)
    if form == "text":
        from advisor.render.check_text import render

        write(render(report, colour(out)), out)
    elif form == "json":
        write(_json(report), out)
    else:
        from advisor.render.check_sarif import render as render_sarif

        write(render_sarif(report), out)
    _end(report.exit_status)


@app.command("coverage")
def rules_coverage(
    rules: Rules = None,
    least: Least = None,
    form: RuleFormat = "text",
    out: Out = None,
) -> None:
    """Tell what the cases exercise of the rules: states, tests, bounds, exceptions, overrides."""
    check_format(form, RULE_FORMATS, "nothing was run")
    from advisor.coverage.rules import coverage, gate
    from advisor.render.coverage_text import render
    from advisor.rulebase.read import read_rule_base

    try:
        found = coverage(read_rule_base(rules))
    except Faults as refused:
        fail(refused, "nothing was run")
    passed = None if least is None else gate(found, least)
    write(_json(found) if form == "json" else render(found, colour(out), passed), out)
    _end(0 if passed is None or passed.passes else NO_BUILD)


@app.command("mutate")
def rules_mutate(
    rules: Rules = None,
    least: Least = None,
    share: Annotated[
        float,
        typer.Option("--share", metavar="PERCENT", help="How many of all changes to try."),
    ] = 100,
    only: Annotated[
        str, typer.Option("--only", metavar="NAME", help="Only changes with this in their name.")
    ] = "",
    workers: Annotated[
        int | None,
        typer.Option("--workers", metavar="N", help="Processes to work in; one for each core."),
    ] = None,
    form: RuleFormat = "text",
    out: Out = None,
) -> None:
    """Change the rules in many small ways, and tell which changes no case notices."""
    check_format(form, RULE_FORMATS, "nothing was changed")
    from advisor.mutation.score import gate, mutation
    from advisor.render.mutation_text import render
    from advisor.rulebase.read import read_rule_base

    gc.enable()  # this takes minutes, not the tenth of a second for which it was turned off
    try:
        if not 0 < share <= MOST_PERCENT:
            raise misuse("--share", f"{share:g} % is no share", "name more than 0, up to 100")
        if workers is not None and not 0 < workers <= MOST_WORKERS:
            remedy = f"name from 1 to {MOST_WORKERS}"
            raise misuse("--workers", f"{workers} is no number of processes", remedy)
        found = mutation(
            read_rule_base(rules),
            share=share / 100,
            only=only,
            workers=workers or min(os.cpu_count() or 1, MOST_WORKERS),
            progress=progress("changes tried"),
        )
        if only and not found.total.of:
            raise misuse("--only", f"no change has `{only}` in its name", "name a rule, or none")
    except Faults as refused:
        fail(refused, "nothing was changed")
    passed = None if least is None else gate(found, least)
    write(_json(found) if form == "json" else render(found, colour(out), passed), out)
    _end(0 if passed is None or passed.passes else NO_BUILD)


@app.command("compare")
def rules_compare(
    old: Annotated[str, typer.Argument(metavar="OLD", help="A folder, or FOLDER@REVISION of git.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="The same, as the rules are now.")],
    population: Annotated[
        str | None,
        typer.Option("--population", metavar="FILE", help="The setups that advice is given on."),
    ] = None,
    setups: Annotated[
        int, typer.Option("--setups", metavar="N", min=0, help="How many of them to draw.")
    ] = 1_000_000,
    builds: Annotated[
        int, typer.Option("--builds", metavar="N", min=0, help="How many to choose builds for.")
    ] = 300,
    form: RuleFormat = "text",
    out: Out = None,
) -> None:
    """Compare two versions of rules by what they mean: which advice changes, and for whom."""
    check_format(form, RULE_FORMATS, NOT_COMPARED)
    from advisor.comparing_rules import compare_versions
    from advisor.render.rules_comparison_text import render

    gc.enable()
    shown = {what: progress(f"{what} compared") for what in ("setups", "builds")}

    def show(done: int, of: int, what: str) -> None:
        tell = shown[what]
        if tell is not None:
            tell(done, of)

    try:
        found = compare_versions(old, new, population, setups=setups, builds=builds, progress=show)
    except Faults as refused:
        fail(refused, NOT_COMPARED)
    write(_json(found) if form == "json" else render(found, colour(out)), out, (population,))
    _end(found.exit_status)


@app.command("new")
def rules_new(
    topic: Annotated[
        str, typer.Argument(metavar="TOPIC", help="The file it belongs in, without its ending.")
    ],
    rule_id: Annotated[
        str, typer.Argument(metavar="ID", help="The rule's name, in-small-letters.")
    ],
    rules: House,
    evidence: Annotated[
        str, typer.Option("--evidence", metavar="CLASS", help=" | ".join(EVIDENCE))
    ],
    source: Annotated[
        str,
        typer.Option(
            "--source", metavar="ID", help="Of published evidence: a source that is there."
        ),
    ] = "",
    new_topic: Annotated[
        bool, typer.Option("--new-topic", help="Make the topic, where there is none.")
    ] = False,
) -> None:
    """Begin a rule of a house: the rule, two cases and its source, to be filled in."""
    from advisor.authoring.begin import new_rule, new_rule_text
    from advisor.rulebase.read import read_rule_base

    try:
        base = read_rule_base(rules)
        made = new_rule(base, topic, rule_id, evidence, source=source, new_topic=new_topic)
    except Faults as refused:
        fail(refused, NOT_WRITTEN)
    write(new_rule_text(made, _put(made.files)), None)


@app.command("format")
def rules_format(
    rules: House,
    files: Annotated[
        list[str] | None,
        typer.Argument(metavar="[FILE.yaml...]", help="Files in it; without, all topics."),
    ] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Write nothing, and end with 1 if it would.")
    ] = False,
) -> None:
    """Give rule files one order and one shape; every comment stays where it stood."""
    from advisor.authoring.formatting import format_rules, formatting_text

    try:
        made = format_rules(rules, files or [])
    except Faults as refused:
        fail(refused, NOT_WRITTEN)
    if not check:
        _put(made.changed)
    write(formatting_text(made, check=check), None)
    _end(NO_BUILD if check and made.changed else 0)


@app.command("schemas")
def rules_schemas(
    rules: House,
    folder: Annotated[
        str, typer.Option("--out", metavar="DIR", help="The folder they shall stand in.")
    ],
) -> None:
    """Write the schemas an editor completes by, with the facts of a house among them."""
    from advisor.authoring.begin import editor_schemas
    from advisor.rulebase.read import read_rule_base

    try:
        made = editor_schemas(read_rule_base(rules), folder)
    except Faults as refused:
        fail(refused, NOT_WRITTEN)
    written = _put(made)
    told = [*written, f"{len(written)} written, {len(made) - len(written)} as they should be"]
    write("\n".join(told) + "\n", None)


def _put(drafts: Iterable[Draft]) -> tuple[str, ...]:
    """Write files, all of them or none."""
    from advisor.authoring.drafts import put_all

    try:
        return put_all(drafts, replace)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        where = re.sub(r"\.\d+\.part$", "", str(error.filename or "the files"))
        fail(misuse(where, f"this cannot be written: {reason}", "look at the folder"), NOT_WRITTEN)


def _json(found: Any) -> str:
    return json.dumps(to_plain(found), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _end(status: int) -> None:
    if status:
        raise typer.Exit(status)
