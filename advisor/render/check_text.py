"""A check of a rule base as plain text: what was found, where, what to do, and on which setup."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.checked import ERROR, PROVED, WARNING, CheckReport, Finding
from advisor.decision import FactValue, Number
from advisor.render.numbers import digits, plain, unit_words
from advisor.render.page import Page

_HEADS = {ERROR: ("Wrong", "1;31"), WARNING: ("To look at", "1;33")}
_NINE = 9


def render(report: CheckReport, colour: bool) -> str:
    """Return a report as text, at most eighty columns wide but for long names and paths."""
    page = Page(colour)
    if report.rulebase.version:
        page.title("Check of the rules", report.rulebase)
    else:
        page.lines.append(page.paint(f"Check of the rules in {report.rulebase.name}", "1"))
    own = [one for one in report.findings if one.own]
    below = [one for one in report.findings if not one.own]
    for level in (ERROR, WARNING, "note"):
        some = [one for one in own if one.level == level]
        if some:
            page.head(*_HEADS.get(level, ("Tidy up", "1")))
            _tell(page, some)
    if below:
        page.head("In the layers below, for whoever writes them")
        _tell(page, below)
    accepted = [one for one in report.accepted if one.own]
    if accepted:
        page.head("Accepted")
        for one in accepted:
            rules = ", ".join(one.rules)
            page.put(f"{one.finding} ({rules}), {one.file}:{one.line}: {one.accepted}", hang=2)
    page.head("In all")
    for line in summary(report):
        page.put(line, hang=2)
    return page.text()


def summary(report: CheckReport) -> list[str]:
    """Return what a check comes to, in a few sentences."""
    own = sum(one.own for one in report.findings)
    below = len(report.findings) - own
    findings = _count(own, "finding") if own else "no finding"
    # Rules that cannot be read were not counted either.
    told = [f"{_count(report.rules, 'rule')}, {findings}." if report.rules else f"{findings}."]
    told[0] = f"{told[0][:1].upper()}{told[0][1:]}"
    if below:
        told.append(
            f"{_count(below, 'finding')} in the layers below, which {_fail(below)} nothing."
        )
    if report.accepted:
        lower = sum(not one.own for one in report.accepted)
        where = f", {lower} of them in the layers below" if lower else ""
        told.append(f"{_count(len(report.accepted), 'finding')} accepted beside the rules{where}.")
    if report.proved:
        told.append(
            "Proofs are over the declared ranges and choices of all facts; every setup shown was "
            "run by the engine."
        )
    elif report.hint:
        told.append(f"{report.hint[:1].upper()}{report.hint[1:]}.")
    elif report.rules:
        told.append("Nothing was proved: that was not asked for.")
    return told


def _count(n: int, what: str) -> str:
    return f"1 {what}" if n == 1 else f"{n} {what}s"


def _fail(n: int) -> str:
    return "fails" if n == 1 else "fail"


def _tell(page: Page, findings: Sequence[Finding]) -> None:
    for i, one in enumerate(findings):
        if i:
            page.lines.append("")
        page.put(f"{one.file}:{one.line}  {one.finding}", indent=2, hang=2)
        page.put(one.says, hang=2)
        if one.remedy:
            page.put(one.remedy, hang=2)
        if one.shows:
            if one.witness:
                told = ", ".join(f"{fact} {exact(v)}" for fact, v in one.witness.items())
                page.put(f"With {told}: {one.shows}.", hang=2)
            else:
                page.put(f"With nothing stated: {one.shows}.", hang=2)
        if one.free:
            taken = "Taken for free within their range" if one.known_by == PROVED else "Computed"
            page.put(f"{taken}: {', '.join(one.free)}.", hang=2)


def exact(value: FactValue) -> str:
    """Show a value with all its digits, for on a witness every one of them may count."""
    if isinstance(value, Number):
        return f"{digits(value.value, _NINE)}{unit_words(value.unit)}"
    return plain(value)
