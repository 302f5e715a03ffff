"""What to ask next, by trying: how much each open fact could still change the chosen build.

Each fact that a rule still waits for is given its possible values in turn, and the setup is judged
with each. A number takes the bounds that rules set, what lies between and beyond them, and where a
figure is computed from it the quarters of its range. One fact is tried at a time: two that matter
only together change nothing by themselves, and keep their place behind those that do.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

from advisor.decision import Question
from advisor.engine.values import Value
from advisor.judge import REJECTED, STOPPED, Judgement
from advisor.otherwise import Otherwise
from advisor.quantities import round9
from advisor.rulebase.model import RuleBase
from advisor.vocabulary import COUNT, FLAG, FactEntry
from advisor.words import Words

NO_BUILD = (STOPPED, REJECTED)

MOST_VALUES = 13
"""Values tried of one number: enough for every bound the rules set on most facts."""


def weigh(judgement: Judgement, questions: Sequence[Question]) -> tuple[Question, ...]:
    """Order questions by how many of their possible answers change the build or the verdict.

    Args:
        judgement: of the setup as it stands.
        questions: in the order that the rules by themselves suggest.

    Returns:
        The same questions, each with how many values were tried, how many of them change what is
        chosen, how many of those turn everything down, and one that does; the most decisive first,
        the rest in their order.
    """
    base = judgement.base
    otherwise = Otherwise(judgement)
    weighed = []
    for question in questions:
        tried = changing = stopping = 0
        example, example_stops = "", False
        if otherwise.is_powerless(question.fact):
            # Every rule that waits for it only warns or adds a step.
            weighed.append(question)
            continue
        for value in possible_values(base, question.fact):
            changed = _changed(otherwise, question.fact, value)
            if changed is None:
                continue
            tried += 1
            changing += bool(changed)
            stops = bool(changed) and changed in NO_BUILD and judgement.status not in NO_BUILD
            stopping += stops
            # One that leads to another build says more than one that leads to none.
            if changed and (not example or (example_stops and not stops)):
                example_stops = stops
                example = f"{base.words.value(question.fact, value)} gives {changed}"
        weighed.append(
            question._replace(tried=tried, changing=changing, example=example, stopping=stopping)
        )
    order = {q.fact: i for i, q in enumerate(weighed)}
    return tuple(sorted(weighed, key=lambda q: (*decides(q), order[q.fact])))


def decides(question: Question) -> tuple[float, float]:
    """Return how little a question decides, to sort by: the least first decides most.

    First by the part of its answers that lead to another build. Those that turn everything down
    come second: they tell of damage, or of what cannot be built, and choose nothing.
    """
    if not question.tried:
        return 0.0, 0.0
    choosing = question.changing - question.stopping
    return -choosing / question.tried, -question.stopping / question.tried


def _changed(otherwise: Otherwise, fact: str, value: Value) -> str | None:
    """Say what the build becomes with one more fact stated; empty if it stays as it is.

    None for a number that cannot be: a must asks something of the fact itself that it breaks, as a
    bore wider than its shaft does, and nobody could answer that.
    """
    base = otherwise.base
    now = otherwise.now
    then = otherwise.advice({fact: value}, nearest=now.status in NO_BUILD)
    if then.status != now.status:
        checked = any(
            base.entries[rule_id].rule.demands[0].is_must
            for _, rule_id, _, _, _ in otherwise.judgement.ways.demands_on.get(fact, ())
        )
        if (
            checked
            and base.vocabulary[fact].is_number
            and _cannot_be(otherwise.stated({fact: value}), fact)
        ):
            return None
        return then.status
    return told_change(base, now.build, then.build, fact)


def told_change(
    base: RuleBase, now: Mapping[str, Value], then: Mapping[str, Value], fact: str
) -> str:
    """Say what differs between two builds, a fact that was itself changed apart."""
    differing = [name for name in then if now.get(name) != then[name] and name != fact]
    words: Words = base.words
    told = [f"{name} {words.value(name, then[name], 4)}" for name in differing]
    gone = [f"no {name}" for name in now if name not in then and name != fact]
    return ", ".join((*told, *gone))


def _cannot_be(judgement: Judgement, fact: str) -> bool:
    """Tell whether a must asks of the fact itself what its value breaks."""
    rules = judgement.base.entries
    return any(
        demand.fact == fact and demand.is_must
        for rule_id, place in judgement.own_failures
        for demand in rules[rule_id].rule.demands
        if demand.place == place
    )


def possible_values(base: RuleBase, fact: str) -> list[Value]:
    """Return values of a fact that stand for all that the rules tell apart.

    Args:
        base: the rules.
        fact: a given fact.
    """
    entry = base.vocabulary[fact]
    if entry.kind == FLAG:
        return [False, True]
    if not entry.is_number:
        return [(choice,) if entry.several else choice for choice in entry.choices]
    low, high = entry.low or 0.0, entry.high if entry.high is not None else 100.0
    if entry.kind == COUNT and high - low < MOST_VALUES:
        return [round9(low + i) for i in range(int(high - low) + 1)]
    return _numbers(base, entry, low, high)


def _numbers(base: RuleBase, entry: FactEntry, low: float, high: float) -> list[Value]:
    bounds = sorted(x for x in base.bounds_on(entry.name) if low < x < high)
    marks = [low, *bounds, high]
    between = [(a + b) / 2.0 for a, b in itertools.pairwise(marks)]
    quarters = [low + (high - low) * share for share in (0.25, 0.5, 0.75)]
    found = _rounded((*bounds, *between, *quarters), entry)
    if len(found) > MOST_VALUES:
        found = _rounded((*bounds, *between), entry)
    if len(found) > MOST_VALUES:
        step = (len(found) - 1) / (MOST_VALUES - 1)
        found = [found[round(i * step)] for i in range(MOST_VALUES)]
    return found


def _rounded(numbers: Sequence[float], entry: FactEntry) -> list[Value]:
    whole = entry.kind == COUNT
    return sorted({float(round(x)) if whole else round9(x) for x in numbers})
