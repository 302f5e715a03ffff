"""The mutation score as plain text: how many changes are noticed, and the cases that are lacking.

A case that is lacking is shown as it would stand in a case file, so its lines are not wrapped.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from textwrap import wrap

from advisor.case_findings import Gate, Mutation, Proposal, Survivor
from advisor.decision import FactValue
from advisor.findings import Move
from advisor.render.coverage_text import count, share, tell_gate
from advisor.render.numbers import edged
from advisor.render.page import Page

_COLUMN = 24
_LONGEST_NAME = 60
_WRAPPED = 66
_NONE = (
    "No case was found that would notice it: other rules may ask the same, or nothing hangs on it."
)


def render(found: Mutation, colour: bool, gate: Gate | None = None) -> str:
    """Return a mutation score as text.

    Args:
        found: the score.
        colour: whether the terminal shows it.
        gate: what was asked for, if anything was.
    """
    page = Page(colour)
    page.title(f"Which changes of the rules {count(found.cases, 'case')} notice", found.rulebase)
    page.head("Noticed")
    for kind, tally in found.kinds.items():
        if tally.of:
            page.pair(kind, share(tally), 7, _COLUMN)
    page.pair("in all", share(found.total), 7, _COLUMN)
    if found.share < 1:
        page.put(f"A sample: {100 * found.share:g} % of all changes were tried.")
    if found.unfit:
        page.head("Cases that do not hold, and so notice nothing", "1;31")
        page.put(", ".join(found.unfit), hang=2)
    if found.survivors:
        page.head(f"Not noticed: {len(found.survivors)}", "1;33")
    names: dict[str, int] = {}
    for survivor in found.survivors:
        _survivor(page, survivor, names)
    tell_gate(page, gate)
    return page.text()


def _survivor(page: Page, survivor: Survivor, names: dict[str, int]) -> None:
    page.put(f"{survivor.mutant} ({survivor.file}:{survivor.line})", hang=2)
    proposal = survivor.proposal
    if proposal is None:
        page.put(_NONE, indent=9)
        return
    if proposal.moves:
        told = "; ".join(map(_move, proposal.moves))
        page.put(f"Begin with the case {proposal.start}; there {told}.", indent=9, hang=2)
    else:
        page.put(f"The case {proposal.start} would notice it if it expected this.", indent=9)
    for differs in proposal.differs:
        page.put(
            f"{differs.what}: {differs.original}; with the change {differs.mutant}",
            indent=9,
            hang=2,
        )
    name = _name(survivor.mutant)
    names[name] = names.get(name, 0) + 1
    if names[name] > 1:
        name = f"{name}-{names[name]}"
    page.lines += [f"         {line}" for line in case_lines(survivor.mutant, proposal, name)]


def _move(move: Move) -> str:
    if move.value is None:
        return f"{move.fact} is not stated"
    value, was = _shown(move.value), _shown(move.was)
    if value == was:  # chosen before
        return f"{move.fact} is stated, as {value}"
    return f"{move.fact} is {value} and not {was}"


def _shown(value: FactValue | None) -> str:
    return "unknown" if value is None else edged(value)


def case_lines(mutant: str, proposal: Proposal, name: str = "") -> Iterator[str]:
    """Yield the lines of a case as they would stand in a case file."""
    yield f"- case: {name or _name(mutant)}"
    yield "  says: >-"
    yield from (f"    {line}" for line in wrap(f"Would notice {mutant}.", _WRAPPED))
    yield "  setup:"
    for fact, value in proposal.setup.items():
        yield f"    {fact}: {value}"
    if proposal.own_stock:
        yield f"  # with the stock of {proposal.start}"
    yield "  expect:"
    for key, values in proposal.expect.items():
        section, _, fact = key.partition(" ")
        if fact:
            yield f"    {section}: {{{fact}: {values[0]}}}"
        elif section == "status":
            yield f"    status: {values[0]}"
        else:
            yield f"    {section}: [{', '.join(values)}]"


def _name(mutant: str) -> str:
    words = re.sub(r"[^a-z0-9]+", "-", mutant.lower()).strip("-")
    # Cut between two words, so that what is left of the last one says nothing it did not say.
    return words if len(words) <= _LONGEST_NAME else words[:_LONGEST_NAME].rpartition("-")[0]
