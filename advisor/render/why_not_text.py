"""Why not, as plain text: what falls short and by how much, what lost to what, what would do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from advisor.comparison import EVEN, FIRST, SECOND
from advisor.decision import FactValue, Number, Premise
from advisor.findings import (
    AS_GOOD,
    BEHIND,
    BREAKS,
    CHOSEN,
    OVERRULED,
    SEARCHED,
    SET_ASIDE,
    SILENT,
    STANDS,
    UNDECIDED,
    Beaten,
    Change,
    Move,
    Obstacle,
    Shortfall,
    WhyNot,
    WhyNotBuild,
    WhyNotRule,
)
from advisor.render.numbers import apart, edged, plain
from advisor.render.page import Page
from advisor.render.text import build_lines

_STATES = {
    STANDS: "It does stand on the chosen build: `advisor why` tells why.",
    SILENT: "It is silent.",
    UNDECIDED: "It could not be judged.",
    SET_ASIDE: "Its condition holds, and it is set aside.",
    OVERRULED: "It could not be judged, and is set aside whatever it would come to.",
}
_STANDS = {
    CHOSEN: "It is what is advised.",
    AS_GOOD: "It is as good: it comes behind only in the order in which builds are listed.",
    BEHIND: "It could be built; it ranks behind.",
    BREAKS: "It is not to be built.",
}
_STRENGTH = {"must": "must", "must_not": "must", "should": "should", "should_not": "should"}


def render(found: WhyNot, colour: bool) -> str:
    """Return the answer as text, at most eighty columns wide."""
    page = Page(colour)
    page.title(found.says, found.rulebase)
    if found.title:
        page.put(f"of {found.title}", indent=0)
    if found.rule is not None:
        _rule(page, found.rule, nearest=found.status in ("stopped", "rejected"))
    if found.other is not None:
        _build(page, found, found.other)
    return page.text()


def _rule(page: Page, rule: WhyNotRule, *, nearest: bool) -> None:
    page.head(_STATES[rule.state])
    if nearest:
        page.put("No build holds here; this is of the nearest one, which is not to be built.")
    page.put(f"{rule.says} ({rule.file}:{rule.line})", hang=2)
    page.put(rule.because, hang=2)
    for asked in rule.asks:
        page.put(f"It would ask that {asked}.", hang=2)
    if rule.failing:
        page.head("What its condition lacks")
        _shortfalls(page, rule.failing)
    if rule.excepting:
        page.head("What its exception rests on")
        page.put("The exception would have to end:", hang=2)
        _shortfalls(page, rule.excepting)
    if rule.lacks:
        page.head("What it waits for")
        page.put(", ".join(rule.lacks), hang=2)
    _beaten(page, rule.beaten)
    _changes(page, rule.changes, "let it stand", nothing=rule.state != STANDS)


def _shortfalls(page: Page, failing: Sequence[Shortfall], indent: int = 7) -> None:
    choice = 0
    for short in failing:
        if short.choice and short.choice != choice:
            page.put("one of these:", indent)
        choice = short.choice
        page.put(_short(short), indent + (2 if choice else 0), hang=2)


def _short(short: Shortfall) -> str:
    here = "not known" if short.value is None else plain(short.value)
    told = f"{short.test}; here it is {here}{_place(short.premise)}"
    if short.distance is not None:
        return f"{told}: {apart(short.distance)} would do"
    if short.needed is not None and short.needed != short.value:
        return f"{told}: {_one(short.needed)} would do"
    return told


def _one(value: FactValue | None) -> str:
    if isinstance(value, tuple) and not isinstance(value, Number):
        return " and ".join(value) or "none"
    return edged(value)


def _place(premise: Premise) -> str:
    if premise.origin == "given":
        return f" ({premise.file}:{premise.line})" if premise.line else f" ({premise.file})"
    if premise.origin == "computed":
        under = ", ".join(sorted(_stated_under(premise)))
        return f" (from {under})" if under else ""
    return f" ({premise.origin})" if premise.origin in ("assumed", "concluded") else ""


def _stated_under(premise: Premise) -> set[str]:
    if premise.origin in ("given", "assumed"):
        return {premise.fact}
    return set().union(*(_stated_under(p) for p in premise.premises))


def _beaten(page: Page, beaten: Iterable[Beaten]) -> None:
    for one in beaten:
        page.head(f"Set aside by {one.by}")
        page.put(f"{one.by_says} {one.by_because}", hang=2)


def _changes(page: Page, changes: Sequence[Change], does: str, *, nothing: bool) -> None:
    if changes:
        page.head(f"What would {does}, the nearest first")
    elif nothing:
        page.head(f"What would {does}")
        page.put("No change of one stated fact, nor of the few looked at together, does.")
    if changes:
        page.put(
            "It is arithmetic, not advice: state it, and ask again what is advised then.", hang=2
        )
    for change in changes:
        about = "about " if change.found == SEARCHED else ""
        told = " and ".join(_move(move, about) for move in change.moves)
        page.put(told, hang=2)


def _move(move: Move, about: str) -> str:
    was = "not stated" if move.was is None else f"{_one(move.was)} now"
    if move.any_value:
        return f"{move.fact} stated, whatever it is"
    if move.value is None:
        return f"{move.fact} left out ({was})"
    option = ", a matter of the build" if move.option else ""
    if move.distance is not None:
        return f"{move.fact} {about}{edged(move.value)} ({was}, {apart(move.distance)}{option})"
    return f"{move.fact} {_one(move.value)} ({was}{option})"


# A build


def _build(page: Page, found: WhyNot, other: WhyNotBuild) -> None:
    page.head(_STANDS[other.stands], "1;31" if other.stands == BREAKS else "1")
    if other.stands == BREAKS and other.build == found.build:
        page.put("No build holds here, and this is the nearest one.")
    page.put("What was not named is chosen as the advisor would:")
    for line in build_lines(other.build, {}):
        page.put(line, indent=9, hang=2)
    for heading, asked in (("It breaks", other.obstacles), ("It fails", other.misses)):
        if asked:
            page.head(heading)
            for one in asked:
                _obstacle(page, one)
    _ranked(page, found, other)
    for advocate in other.advocates:
        page.head(f"{advocate.rule} would speak for it")
        page.put(f"{advocate.says} {advocate.because}", hang=2)
        for winner in advocate.beaten:
            told = f"It lost to {winner.by}: {winner.by_says} {winner.by_because}"
            page.put(told, hang=2)
    if other.instead:
        page.head("The nearest that holds")
        for instead in other.instead:
            page.put(instead.says, hang=2)
    if other.stands not in (CHOSEN, AS_GOOD):
        _changes(page, other.changes, "make it chosen", nothing=True)


def _obstacle(page: Page, one: Obstacle) -> None:
    kind = _STRENGTH.get(one.strength, "stop")
    page.pair(kind, f"{one.rule}: {one.says} {one.because}", 7, 9)
    if one.strength == "stop":
        page.put(one.asks, indent=16)
    _shortfalls(page, one.failing, indent=16)
    for premise in one.premises:
        page.put(f"for {premise.says}{_place(premise)}", indent=16, hang=2)


def _ranked(page: Page, found: WhyNot, other: WhyNotBuild) -> None:
    stage = next((s for s in other.stages if s.goes in (FIRST, SECOND)), None)
    if stage is None or other.stands == BREAKS:
        return
    page.head("What decides")
    even = [s.rule or s.says for s in other.stages if s.goes == EVEN]
    if even:
        page.put(f"Even: {', '.join(even)}.", hang=2)
    mine, theirs = _counted(stage.second), _counted(stage.first)
    name = f"{stage.rule}, {stage.says}" if stage.rule else stage.says
    within = f"; within {plain(stage.within)} counts as even" if stage.within else ""
    page.put(f"{name}: {mine} here, {theirs} in the advised build{within}.", hang=2)
    _numbers(page, found.build, other.build)


def _counted(value: Number | None) -> str:
    return "not known" if value is None else plain(value)


def _numbers(page: Page, advised: Mapping[str, FactValue], build: Mapping[str, FactValue]) -> None:
    differing = [
        f"{name} {plain(advised[name])} there, {plain(build[name])} here"
        for name in build
        if name in advised and advised[name] != build[name]
    ]
    if differing:
        page.put(f"The two differ in {'; '.join(differing)}.", hang=2)
