"""Words that the renderers of a Comparison share: how sides, rules and stages are told."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.comparison import (
    AGAINST_FIRST,
    AGAINST_SECOND,
    BUILDS,
    CHOSEN,
    EVEN,
    FOR_FIRST,
    FOR_SECOND,
    NEITHER,
    SET_ASIDE,
    UNDECIDED,
    WARNS,
    Comparison,
    Contender,
    Count,
    NumberRow,
    RuleRow,
    Said,
    Stage,
)
from advisor.decision import FactValue, Number, RuleBaseName
from advisor.render.numbers import amount, digits, plain, unit_words

SPEAKS = {
    FOR_FIRST: "Speaks for the first only",
    FOR_SECOND: "Speaks for the second only",
    AGAINST_FIRST: "Speaks against the first only",
    AGAINST_SECOND: "Speaks against the second only",
}
"""Headings of the groups of rules that part the two."""

LITTLE = "no wider than the band of the number: make little of it"
"""What is said of a difference inside the band."""

CLOSING = (
    "A comparison is not a plan of work. Build by the advice on one of the two, with all its "
    "cautions and steps; the makers' instructions come before it, and local law decides what may "
    "be shot."
)
"""What every comparison ends with: the cautions that both share are not told in it."""

_STATES = {"broken": "BROKEN", "silent": "says nothing", SET_ASIDE: "set aside"}
_VALUES_APART = 9


def title(c: Comparison) -> str:
    """Say what is compared."""
    kind = "Two builds" if c.kind == BUILDS else "Two Decisions"
    return f"{kind} side by side"


def named(side: Contender) -> str:
    """Say by what one of the two is known: its named options, or its title."""
    told = ", ".join(f"{_plainly(fact)} {plain(value)}" for fact, value in side.named.items())
    return told or side.title or "untitled setup"


def _plainly(fact: str) -> str:
    return fact.removeprefix("from_stock.")


def base_words(base: RuleBaseName) -> str:
    """Name a rule base with its layers and the beginning of its digest."""
    under = "".join(f" over {layer}" for layer in reversed(base.layers[:-1]))
    return f"{base.name} {base.version}{under}, digest {base.digest[:12]}"


def stands(side: Contender, other: Contender) -> str:
    """Say how one of the two stands; why it is behind the other is told by the verdict."""
    told = f"This is {side.says}"
    if not side.because or (other.stands == CHOSEN and not side.breaks):
        return f"{told}."
    return f"{told}: {side.because}."


def stops(c: Comparison) -> list[str]:
    """Say every stop that stands, and on which of the two."""
    found = []
    for row in c.rules:
        on = [name for name, said in (("first", row.first), ("second", row.second)) if _warns(said)]
        if row.warns == "stop" and on:
            both = "both" if len(on) == len(("first", "second")) else f"the {on[0]}"
            found.append(f"On {both}: {row.says} ({row.rule})")
    return found


def _warns(said: Said) -> bool:
    return said.state == WARNS


def value(told: FactValue | None, origin: str) -> str:
    """Show a fact that differs, and where it comes from if it was not chosen."""
    if told is None:
        return "not stated"
    return f"{plain(told)} (assumed)" if origin == "assumed" else plain(told)


def pair(row: NumberRow) -> tuple[str, str]:
    """Show the two values of a number, to as many digits as it takes to tell them apart."""
    one, other = row.first, row.second
    told = (
        row.first_lacks if one is None else _as_deserved(one),
        row.second_lacks if other is None else _as_deserved(other),
    )
    if one is not None and other is not None and told[0] == told[1]:
        return apart(one, other)
    return told


def apart(one: Number, other: Number, least: int = 3) -> tuple[str, str]:
    """Show two numbers to at least some digits, and to more if they would look the same."""
    told = "", ""
    for significant in range(least, _VALUES_APART + 1):
        told = _amount(one, significant), _amount(other, significant)
        if told[0] != told[1] or one == other:
            break
    return told


def _as_deserved(number: Number) -> str:
    """Show a number to the digits its band deserves; the band is told beside both."""
    return amount(number).removesuffix(f" +/- {number.band}")


def _amount(number: Number, significant: int) -> str:
    return f"{digits(number.value, significant)}{unit_words(number.unit)}"


def difference(row: NumberRow) -> str:
    """Show how much more or less the second has."""
    gap = row.difference
    if gap is None:
        return ""
    sign = "+" if gap.value > 0 else "-"
    return f"{sign}{_amount(gap._replace(value=abs(gap.value)), 2)}"


def band(row: NumberRow) -> str:
    """Show the band of a number; empty if none is told."""
    bands = dict.fromkeys(n.band for n in (row.first, row.second) if n is not None and n.band)
    return " or ".join(f"+/- {one}" for one in bands)


def state(said: Said) -> str:
    """Say in a word what a rule comes to."""
    return _STATES.get(said.state, said.state)


def detail(said: Said) -> str:
    """Say who set a rule aside, or what leaves it undecided."""
    parts = []
    if said.by:
        verb = "overruled by" if said.state == UNDECIDED else "set aside by"
        parts.append(f"{verb} {', '.join(said.by)}")
    if said.lacks:
        parts.append(f"lacks {', '.join(said.lacks)}")
    return "; ".join(parts)


def outcome(told: str, said: Said) -> str:
    """Say what one thing that a rule asks comes to, or why it is not asked."""
    return _STATES.get(told, told) if told else state(said)


def strength(told: str) -> str:
    """Say a strength in words."""
    return told.replace("_", " ")


def differing(rows: Iterable[RuleRow]) -> list[RuleRow]:
    """Return the rules that speak for and against neither, yet not in the same way."""
    return [row for row in rows if row.group == NEITHER and row.first != row.second]


def goes(stage: Stage) -> str:
    """Say to whom a stage of the ranking goes."""
    return {"": "not reached", EVEN: "even"}.get(stage.goes, f"{stage.goes} ahead")


def stage_values(stage: Stage) -> tuple[str, str]:
    """Show the two values of a stage."""
    if stage.first is None or stage.second is None:
        told = [
            "not known" if number is None else _amount(number, 3)
            for number in (stage.first, stage.second)
        ]
        return told[0], told[1]
    return apart(stage.first, stage.second)


def counted(on: Iterable[Count]) -> str:
    """Name what counts against a side: a must's or a stop's rule, a fact with its rules."""
    told = []
    for count in on:
        rules = ", ".join(count.rules)
        named_by = {"must": rules, "stop": f"{rules} (stop)"}
        told.append(named_by.get(count.what, f"{count.what} ({rules})"))
    return "; ".join(told)


def reach(stage: Stage) -> str:
    """Say what a favour counts as equal."""
    if stage.within is None or not stage.within.value:
        return "only the same value is as good"
    best = f" ({_amount(stage.best, 3)})" if stage.best is not None else ""
    return f"within {_amount(stage.within, 3)} of the best{best} is as good"


def alike(count: int, what: str) -> str:
    """Say how many facts or numbers do not differ."""
    return f"1 {what} is alike." if count == 1 else f"{count or 'No'} {what}s are alike."


def tie_on(on: str) -> str:
    """Say on which of the two a tie stands."""
    return "on both" if on == EVEN else f"on the {on} only"
