"""Two Decisions side by side: what differs in facts, numbers, rules, cautions, steps and ties.

Nothing is judged again here. Rows stand in an order that does not depend on which of the two
comes first, so that swapping them mirrors everything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import zip_longest

from advisor.comparison import (
    AGAINST_FIRST,
    AGAINST_SECOND,
    ALIKE,
    BROKEN,
    EVEN,
    FAVOURS,
    FIRST,
    FOR_FIRST,
    FOR_SECOND,
    GROUPS,
    MET,
    NEITHER,
    SECOND,
    SET_ASIDE,
    SILENT,
    UNDECIDED,
    UNPROVEN,
    WARNS,
    Asked,
    CautionRow,
    FactRow,
    Ground,
    NumberRow,
    RuleRow,
    Said,
    StepRow,
    TieRow,
)
from advisor.decision import Decision, FactValue, Number, Reason, RuleBaseName
from advisor.derive import NEEDS
from advisor.quantities import UNITS, round9
from advisor.rulebase.model import LEVELS, PHASES

_FAVOUR = "favour"
_STRENGTHS = ("must", "must_not", "should", "should_not", _FAVOUR)
_WARNING = ("stop", "caution")
"""Levels of caution that speak against a build; a note does not."""

_ORIGINS = ("given", "assumed", "option", "")
_WEIGHT = {MET: 1, UNPROVEN: -1, BROKEN: -2, WARNS: -2}
"""How a rule speaks; what is silent, set aside or undecided weighs nothing."""


def grounds(one: Decision, other: Decision) -> tuple[Ground, ...]:
    """Tell how the rule bases and the stocks of two Decisions differ."""
    pairs = [
        ("rule base", _base(one.rulebase), _base(other.rulebase)),
        ("rules retired", *(_listed(sorted(r.rule for r in d.retired)) for d in (one, other))),
        ("stock", one.stock or "none named", other.stock or "none named"),
    ]
    return tuple(Ground(*pair) for pair in pairs if pair[1] != pair[2])


def _base(base: RuleBaseName) -> str:
    layers = " over ".join(reversed(base.layers))
    return f"{layers or f'{base.name} {base.version}'}, digest {base.digest[:12]}"


def _turn(names: Sequence[str], name: str) -> int:
    """Return the place of a name; one that is not known comes last."""
    return names.index(name) if name in names else len(names)


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names) or "none"


class _Order:
    """The order of facts: that of the vocabulary, as far as the labels tell it."""

    def __init__(self, one: Decision, other: Decision) -> None:
        self._turns = [{name: i for i, name in enumerate(d.labels)} for d in (one, other)]

    def __call__(self, fact: str) -> tuple[int, str]:
        last = sum(map(len, self._turns))
        return min(turns.get(fact, last) for turns in self._turns), fact


def facts(one: Decision, other: Decision) -> tuple[tuple[FactRow, ...], int]:
    """Return the facts that differ, given ones first, and how many are alike."""
    mine, theirs = _held(one), _held(other)
    nothing: tuple[FactValue | None, str] = (None, "")
    rows = []
    alike = 0
    for name in mine.keys() | theirs.keys():
        (a, origin_a), (b, origin_b) = mine.get(name, nothing), theirs.get(name, nothing)
        if a == b:
            alike += 1
        else:
            rows.append(FactRow(name, a, b, origin_a, origin_b))
    order = _Order(one, other)

    def turn(row: FactRow) -> tuple[int, tuple[int, str]]:
        origins = (row.first_origin, row.second_origin)
        return min(map(_ORIGINS.index, origins)), order(row.fact)

    return tuple(sorted(rows, key=turn)), alike


def _held(d: Decision) -> dict[str, tuple[FactValue | None, str]]:
    found: dict[str, tuple[FactValue | None, str]] = {
        name: (value, "assumed") for name, value in d.assumed.items()
    }
    found.update({name: (value, "option") for name, value in d.build.items()})
    found.update({name: (value, "given") for name, value in d.given.items()})
    return found


def numbers(one: Decision, other: Decision) -> tuple[tuple[NumberRow, ...], int]:
    """Return the numbers that differ, and how many are alike."""
    rows = []
    alike = 0
    for name in one.numbers.keys() | other.numbers.keys():
        a, b = one.numbers.get(name), other.numbers.get(name)
        if a is None or b is None:
            rows.append(NumberRow(name, a, b, None, False, _lacks(one, name), _lacks(other, name)))
        elif (a.value, a.unit) == (b.value, b.unit):
            alike += 1
        elif a.unit != b.unit:
            rows.append(NumberRow(name, a, b))
        else:
            gap = Number(round9(b.value - a.value), a.unit)
            rows.append(NumberRow(name, a, b, gap, _is_little(name, one, other)))
    order = _Order(one, other)
    return tuple(sorted(rows, key=lambda row: order(row.fact))), alike


def _lacks(d: Decision, name: str) -> str:
    if name in d.numbers:
        return ""
    why = d.unknown.get(name)
    if why is None:
        return "not worked out"
    return why.refused or f"lacks {_listed(why.lacks)}"


def _is_little(name: str, one: Decision, other: Decision) -> bool:
    """Tell whether two values of a number lie no further apart than it can be trusted.

    A number without a band of its own can be trusted as far as what it is worked out from.
    """
    a, b = one.numbers[name], other.numbers[name]
    if a.band or b.band:
        return is_inside(a, b)
    behind = [need for need in NEEDS.get(name, ()) if need in one.numbers and need in other.numbers]
    if a == b or "as stated" in (a.function, b.function) or not behind:
        return a.value == b.value
    apart = [n for n in behind if one.numbers[n].value != other.numbers[n].value]
    return bool(apart) and all(_is_little(need, one, other) for need in apart)


def is_inside(one: Number, other: Number) -> bool:
    """Tell whether two numbers of one unit differ by no more than the wider of their bands."""
    return round9(abs(one.value - other.value)) <= round9(max(_width(one), _width(other)))


def _width(number: Number) -> float:
    """Return the half-width of a number's band in its own unit; 0 without one."""
    amount, _, measure = number.band.partition(" ")
    try:
        band = float(amount)
    except ValueError:
        return 0.0
    if measure == "%":
        return abs(number.value) * band / 100.0
    if measure in UNITS and number.unit in UNITS:
        return band * UNITS[measure][1] / UNITS[number.unit][1]
    return band  # points, that is of the number's own unit


# Rules


class _Spoken:
    """What each rule says in one Decision."""

    def __init__(self, d: Decision) -> None:
        self.reasons: dict[str, list[Reason]] = {}
        for told in d.reasons.values():
            for reason in told:
                self.reasons.setdefault(reason.rule, []).append(reason)
        self.level: dict[str, str] = {}
        self.words: dict[str, str] = {}
        for caution in d.cautions:  # the gravest first
            if caution.level in _WARNING:
                self.level.setdefault(caution.rule, caution.level)
                self.words.setdefault(caution.rule, caution.text)
        self.beaten: dict[str, list[str]] = {}
        for lost in d.set_aside:
            self.beaten.setdefault(lost.rule, []).append(lost.by)
        self.waiting = {u.rule: u for u in d.undecided}
        self.says = {lost.rule: lost.says for lost in d.set_aside}
        self.says |= {u.rule: u.says for u in d.undecided}
        self.says |= {rule: reasons[0].says for rule, reasons in self.reasons.items()}
        # A rule in force that neither asks nor warns concludes something or adds steps.
        self.mute = set(d.fired) - self.beaten.keys() - self.reasons.keys() - self.level.keys()

    def rules(self) -> set[str]:
        return self.reasons.keys() | self.level.keys() | self.beaten.keys() | self.waiting.keys()

    def said(self, rule: str) -> Said:
        if self.level.get(rule) == "stop":
            return Said(WARNS)
        reasons = self.reasons.get(rule, [])
        outcomes = {reason.outcome for reason in reasons if reason.strength != _FAVOUR}
        for state in (BROKEN, UNPROVEN, MET):
            if state in outcomes:
                return Said(state)
        if rule in self.level:
            return Said(WARNS)
        if reasons:
            return Said(FAVOURS)
        if rule in self.beaten:
            return Said(SET_ASIDE, tuple(self.beaten[rule]))
        if rule in self.waiting:
            held = self.waiting[rule]
            return Said(UNDECIDED, held.overruled_by, held.lacks)
        return Said(SILENT)


def rules(one: Decision, other: Decision) -> tuple[RuleRow, ...]:
    """Return what every rule that asks something or warns says of the one and of the other.

    A favour that stands on both is left out: it says something only in the ranking. So is whatever
    concludes and adds steps only, as far as a Decision tells it apart.
    """
    mine, theirs = _Spoken(one), _Spoken(other)
    rows = []
    for rule in (mine.rules() | theirs.rules()) - mine.mute - theirs.mute:
        a, b = mine.said(rule), theirs.said(rule)
        if a.state == b.state == FAVOURS:
            continue
        rows.append(_rule(rule, a, b, mine, theirs))

    def turn(row: RuleRow) -> tuple[int, int, str]:
        strengths = [_turn(_STRENGTHS, asked.strength) for asked in row.asks]
        return GROUPS.index(row.group), min(strengths, default=len(_STRENGTHS)), row.rule

    return tuple(sorted(rows, key=turn))


def _rule(rule: str, a: Said, b: Said, mine: _Spoken, theirs: _Spoken) -> RuleRow:
    reasons = [*mine.reasons.get(rule, []), *theirs.reasons.get(rule, [])]
    levels = {spoken.level[rule] for spoken in (mine, theirs) if rule in spoken.level}
    says = {spoken.says[rule] for spoken in (mine, theirs) if rule in spoken.says}
    warned = {spoken.words[rule] for spoken in (mine, theirs) if rule in spoken.words}
    return RuleRow(
        rule=rule,
        group=group_of(a, b),
        layer=min((reason.layer for reason in reasons), default=""),
        says=min(says or warned),
        first=a,
        second=b,
        asks=_asks(mine.reasons.get(rule, []), theirs.reasons.get(rule, [])),
        warns=min(levels, key=LEVELS.index, default=""),
        evidence=min((reason.evidence for reason in reasons), default=None),
        contested=any(reason.contested is not None for reason in reasons),
    )


def group_of(one: Said, other: Said) -> str:
    """Return where a rule belongs that says this of the one and that of the other."""
    a, b = (_WEIGHT.get(said.state, 0) for said in (one, other))
    if a == b:
        return ALIKE if a else NEITHER
    if max(a, b) > 0:
        return FOR_FIRST if a > b else FOR_SECOND
    return AGAINST_FIRST if a < b else AGAINST_SECOND


def _asks(mine: Iterable[Reason], theirs: Iterable[Reason]) -> tuple[Asked, ...]:
    a, b = (
        {
            (r.strength, r.fact, r.asks): FAVOURS if r.strength == _FAVOUR else r.outcome
            for r in told
        }
        for told in (mine, theirs)
    )
    found = sorted(a.keys() | b.keys(), key=lambda key: (_turn(_STRENGTHS, key[0]), *key[1:]))
    return tuple(Asked(*key, a.get(key, ""), b.get(key, "")) for key in found)


# Cautions, steps, ties


def cautions(one: Decision, other: Decision) -> tuple[CautionRow, ...]:
    """Return the cautions that are not the same on both, the gravest first."""
    mine, theirs = (_by_key((c.rule, c.level, c.text) for c in d.cautions) for d in (one, other))
    rows = [
        CautionRow(rule, level, a, b)
        for rule, level in mine.keys() | theirs.keys()
        for a, b in _unlike(mine.get((rule, level), ()), theirs.get((rule, level), ()))
    ]
    return tuple(sorted(rows, key=lambda row: (_turn(LEVELS, row.level), row.rule)))


def steps(one: Decision, other: Decision) -> tuple[StepRow, ...]:
    """Return the steps that are not the same on both, in the order of the work."""
    mine, theirs = (_by_key((s.rule, s.phase, s.text) for s in d.steps) for d in (one, other))
    turns = [{key: i for i, key in enumerate(told)} for told in (mine, theirs)]
    last = len(mine) + len(theirs)
    keys = sorted(
        mine.keys() | theirs.keys(),
        key=lambda key: (_turn(PHASES, key[1]), min(turn.get(key, last) for turn in turns), key),
    )
    return tuple(
        StepRow(*key, a, b)
        for key in keys
        for a, b in _unlike(mine.get(key, ()), theirs.get(key, ()))
    )


def _by_key(told: Iterable[tuple[str, str, str]]) -> Mapping[tuple[str, str], list[str]]:
    found: dict[tuple[str, str], list[str]] = {}
    for rule, kind, text in told:
        found.setdefault((rule, kind), []).append(text)
    return found


def _unlike(mine: Iterable[str], theirs: Iterable[str]) -> list[tuple[str, str]]:
    """Pair what a rule tells on the one with what it tells on the other; what is alike goes."""
    a, b = list(mine), list(theirs)
    only_a, only_b = [text for text in a if text not in b], [text for text in b if text not in a]
    return list(zip_longest(only_a, only_b, fillvalue=""))


def ties(one: Decision, other: Decision) -> tuple[TieRow, ...]:
    """Return every open tie, and on which of the two it stands."""
    found = sorted({*one.ties, *other.ties}, key=lambda tie: (tie.fact, tie.kind, tie.sides))
    return tuple(
        TieRow(tie, EVEN if tie in one.ties and tie in other.ties else FIRST)
        if tie in one.ties
        else TieRow(tie, SECOND)
        for tie in found
    )
