"""Rechecking a saved Decision: a second, small program that derives it anew and compares.

A reviewer need not trust the author of a Decision, nor the engine that advised. The rule files and
the words in which the facts were stated are read (`files`), every build is judged one by one in the
plainest way (`builds`), what a Decision ought to say of that is told (`telling`), and held against
what it says, field by field (`report`). Nothing here shares code with the engine, the judging or
the reading of rules.

It trusts, and so proves nothing of: the YAML reader (`documents`), the units (`quantities`), the
functions of `physics` and their table (`derive`), that the rule files are well formed (`advisor
rules list` says so), and that what was stated is true. `SEALED_ONLY` says what is not derived.
"""

from __future__ import annotations

import os

from advisor.documents import parse_scalar
from advisor.errors import Fault, Faults, quoted
from advisor.recheck.builds import Builds, Progress, Rules
from advisor.recheck.files import (
    UNREADABLE,
    Item,
    Plain,
    Stock,
    read_decision,
    read_layers,
    read_stock,
    sha256,
)
from advisor.recheck.report import Line, Report, compared, report_of
from advisor.recheck.telling import Teller

SEALED_ONLY = {
    "the title and the notes": ("title", "notes.*"),
    "the words in which is told what a rule asks, what a premise says and what a build loses on": (
        *(f"{part}.asks" for part in ("reasons.*.*", "unsettled.*")),
        *("ties.*.sides.*.asks", "alternatives.*.ties.*.sides.*.asks"),
        *("unproven.*.asks", "rejected.*.asks", "conflicts.*.asks.*"),
        *("reasons.*.*.premises.*.says", "alternatives.*.loses.*"),
    ),
    "which premises a reason has; those it has are held against what was stated and derived": (
        *("reasons.*.*.premises.*", "reasons.*.*.premises.*.premises", "rests_on.*"),
    ),
    "which questions there are, why and in what order; the vocabulary has their words": (
        *("questions.*", "questions.*.because", "questions.*.rules", "questions.*.rules.*"),
        *(f"questions.*.{part}" for part in ("tried", "changing", "stopping", "example")),
        *("cannot_matter.*", "unproven.*.facts.*"),
    ),
    "what is not settled and what is bounded; their rules and values are derived": (
        *(
            "unsettled.*",
            "unsettled.*.facts.*",
            "bounded.*",
            "bounded.*.beyond.value",
            "bounded.*.beyond.unit",
        ),
    ),
    "why a number's function has no answer": ("unknown.*.refused",),
    "file and line of a fact that no reason goes back to": ("stated.*.file", "stated.*.line"),
}
"""What is not derived, and so covered by the seal alone: in words, and what parts of a Decision."""


def read_given(
    found: Plain, base: Rules, stock: Stock
) -> tuple[Plain, dict[str, Item], list[Line]]:
    """Read what a Decision says was stated, from the words it was stated in.

    Returns:
        The values; by group, the items that were taken from the stock; a line for each statement.
    """
    values, wrong = {}, {}
    for fact, told in found["stated"].items():
        try:
            if base.facts[fact]["origin"] == "concluded":
                raise ValueError("rules alone conclude this")
            is_text = base.facts[fact]["kind"] == "text"
            raw = told["written"] if is_text else parse_scalar(told["written"], "stated")
            values[fact] = base.read(fact, raw)
        except (Faults, *UNREADABLE) as error:
            wrong[fact] = f"cannot be read ({type(error).__name__}: {error})"
    chosen = {fact.partition(".")[0] for fact in found["chosen"]}
    taken: dict[str, Item] = {}
    for group, item in ((name, one) for name in stock.items for one in stock.items[name]):
        here = [found["stated"][fact] for fact in item.facts if fact in values]
        places = {(os.path.basename(told["file"]), told["line"]) for told in here}
        by_number = found["items"].get(group) == item.id and group not in chosen
        if by_number or (os.path.basename(item.file), item.line) in places:
            taken[group] = item
    for item in taken.values():
        for fact, value in item.facts.items():
            by_hand = found["stated"].get(fact, {"file": ""})["file"].startswith("--set")
            if fact not in values or (values[fact] != value and not by_hand):
                wrong[fact] = f"is not as {item.id} of the stock has it"
    told = {**dict.fromkeys(found["stated"], "as it was written"), **wrong}
    return values, taken, [Line(f"stated.{f}", f not in wrong, words=told[f]) for f in told]


def seal_line(found: Plain) -> Line:
    """Say whether a Decision is as it was sealed."""
    if "seal" not in found:
        return Line("seal", holds=None, words="there is none")
    own = sha256({name: part for name, part in found.items() if name != "seal"})
    words = "was broken by an edit" if found["seal"] != own else "nothing was edited since"
    # The right one is not told: that would only help to seal an edit anew.
    return Line("seal", found["seal"] == own, str(found["seal"]), "", words)


def recheck(
    decision_path: str,
    rules_dir: str | None = None,
    stock_path: str | None = None,
    progress: Progress | None = None,
) -> Report:
    """Derive a saved Decision anew and compare.

    Args:
        decision_path: what `advisor advise --format json --out` wrote.
        rules_dir: the rule base it was decided by; None for the base rules.
        stock_path: the stock it was chosen from; None for the usual sizes of the rules.
        progress: told now and then how many builds are judged, and of how many.

    Raises:
        Faults: about "setup": no Decision, or one of an older format, of other rules or of another
            stock; about "rules": the rule base cannot be read.
    """
    found = read_decision(decision_path)
    layers = read_layers(rules_dir)
    try:
        base = Rules(layers)
        stock = base.ladder if stock_path is None else read_stock(stock_path, base)
        refuse_others(found, base, stock, decision_path)
        values, taken, lines = read_given(found, base, stock)
        expected = Teller(Builds(base, values, stock, progress), found["stated"], taken).decision()
    except UNREADABLE as error:
        what = f"this does not read as a rule base ({type(error).__name__}: {error})"
        remedy = "`advisor rules list --rules DIR` says what is wrong in it"
        path = layers[-1]["manifest.yaml"].path
        raise Faults([Fault(path, None, None, what, remedy)], "rules") from None
    for field in expected:
        lines += compared(field, expected[field], found[field])
    name, version = base.names[-1]
    rules = f"{name} {version}, digest {base.digest[:12]}"
    told = (decision_path, found["title"], rules, stock.name)
    return report_of(*told, [*lines, seal_line(found)], tuple(SEALED_ONLY))


def refuse_others(found: Plain, base: Rules, stock: Stock, path: str) -> None:
    """Refuse to hold a Decision against rules or a stock of another name."""
    faults = []
    theirs, mine = found["rulebase"]["name"], base.names[-1][0]
    if theirs != mine:
        what = f"this was decided by the rules {quoted(theirs)}; those at hand are {quoted(mine)}"
        faults.append(Fault(path, None, None, what, "name their folder with --rules"))
    theirs, mine = found["stock"], stock.name
    if theirs != mine:
        what = f"this was chosen from the stock {quoted(theirs)}; the one at hand is {quoted(mine)}"
        faults.append(Fault(path, None, None, what, "name its file with --stock"))
    if faults:
        raise Faults(faults)
