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
from advisor.engine.columns import Kept
from advisor.engine.values import Value, has_value
from advisor.judge import Judgement
from advisor.quantities import round9
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Given, Setup
from advisor.vocabulary import COUNT, FLAG, FactEntry
from advisor.words import Words

MOST_VALUES = 13
"""Values tried of one number: enough for every bound the rules set on most facts."""


def weigh(judgement: Judgement, questions: Sequence[Question]) -> tuple[Question, ...]:
    """Order questions by how many of their possible answers change the build or the verdict.

    Args:
        judgement: of the setup as it stands.
        questions: in the order that the rules by themselves suggest.

    Returns:
        The same questions, each with how many values were tried, how many of them change what is
        chosen, and one that does; the most decisive first, the rest in their order.
    """
    base = judgement.base
    bearing = _bearing(base)
    # The setup itself comes first, for most of it stays as it is whatever one more fact is.
    kept = Kept()
    Judgement(judgement.setup, base, judgement.stock, kept, alone=True)
    weighed = []
    for question in questions:
        tried = changing = 0
        example = ""
        if bearing.isdisjoint(question.rules):
            # Every rule that waits for it only warns or adds a step.
            weighed.append(question)
            continue
        for value in possible_values(base, question.fact):
            changed = _changed(judgement, question.fact, value, kept)
            if changed is None:
                continue
            tried += 1
            changing += bool(changed)
            if changed and not example:
                said = base.words.value(question.fact, value)
                example = f"{said} gives {changed}"
        weighed.append(question._replace(tried=tried, changing=changing, example=example))
    order = {q.fact: i for i, q in enumerate(weighed)}
    return tuple(sorted(weighed, key=lambda q: (-share(q), order[q.fact])))


def share(question: Question) -> float:
    """Return which part of the answers tried change the advice; 0 where none was tried."""
    return question.changing / question.tried if question.tried else 0.0


def _bearing(base: RuleBase) -> frozenset[str]:
    """Return the rules that can move a choice or a verdict, not only warn or add a step."""
    return frozenset(
        entry.id
        for entry in base.entries.values()
        if entry.rule.demands
        or entry.rule.stop
        or entry.rule.favour
        or entry.rule.sets
        or entry.rule.overrides
    )


def _changed(judgement: Judgement, fact: str, value: Value, kept: Kept) -> str | None:
    """Say what the build becomes with one more fact stated; empty if it stays as it is.

    None for a number that cannot be: a must asks something of the fact itself that it breaks, as a
    bore wider than its shaft does, and nobody could answer that.
    """
    setup, base = judgement.setup, judgement.base
    given = Given(value, "tried", 0, 0, str(value))
    stated = Setup(setup.title, {**setup.facts, fact: given})
    other = Judgement(stated, base, judgement.stock, kept, alone=True)
    if other.status != judgement.status:
        if base.vocabulary[fact].is_number and _cannot_be(other, fact):
            return None
        return other.status
    mine, theirs = _build(judgement), _build(other)
    differing = [name for name in theirs if mine.get(name) != theirs[name] and name != fact]
    words: Words = base.words
    told = [f"{name} {words.value(name, theirs[name], 4)}" for name in differing]
    gone = [f"no {name}" for name in mine if name not in theirs and name != fact]
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


def _build(judgement: Judgement) -> Mapping[str, Value]:
    """Return what a judgement chose, option by option."""
    rows = judgement.grid.combination(judgement.at)
    return {
        name: value
        for axis, row in zip(judgement.choice.axes, rows, strict=True)
        for name, value in zip(axis.facts, axis.rows[row], strict=True)
        if has_value(value)
    }


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
