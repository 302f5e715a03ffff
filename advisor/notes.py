"""What must be said beside a build: what was silenced, taken for granted, or told in two ways."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from advisor.decision import Question
from advisor.derive import differs
from advisor.engine.values import COMPUTED, has_value
from advisor.judge import Judgement
from advisor.setups.model import Item


def notes_on(judgement: Judgement, questions: Iterable[Question]) -> tuple[str, ...]:
    """Return the notes on the chosen (or nearest) build of a judgement.

    Args:
        judgement: of the setup.
        questions: what is asked of it, the assumed facts among them.
    """
    return (
        *_retired(judgement),
        *_granted(judgement, questions),
        *judgement.choice.notes,
        *_listed_otherwise(judgement),
        *_worked_out_otherwise(judgement),
    )


def _retired(judgement: Judgement) -> Iterator[str]:
    """Say which warnings a house took out of use, and which stops were set aside.

    A warning may give way to a rule that says so, but never without a word beside the build.
    """
    base = judgement.base
    for retired in base.retired:
        if retired.warned:
            yield (
                f"{retired.by} took the warning {retired.rule} out of use ({retired.says}): "
                f"{retired.because}"
            )
    for loser, winners in sorted(judgement.run.set_aside().items()):
        if base.entries[loser].rule.stop:
            yield (
                f"The stop {loser} ({base.entries[loser].says}) was set aside by "
                f"{', '.join(winners)}."
            )


def _granted(judgement: Judgement, questions: Iterable[Question]) -> Iterator[str]:
    """Say what a house takes for granted that keeps a stop silent.

    What the base assumes is said under the assumptions, and asked; a house speaks for others.
    """
    base = judgement.base
    for question in questions:
        assumption = judgement.assumed.get(question.fact)
        if assumption is None or assumption.layer == base.layers[0].name:
            continue
        silent = [
            rule
            for rule in question.rules
            if base.entries[rule].rule.stop and not judgement.run.stands(rule)
        ]
        if silent:
            said = base.words.value(question.fact, assumption.value)
            yield (
                f"{assumption.layer} takes for granted that {question.fact} is {said} "
                f"({assumption.because}); otherwise a stop could stand: {', '.join(silent)}."
            )


def _listed_otherwise(judgement: Judgement) -> Iterator[str]:
    """Say what the list tells otherwise of the items named beside the build than is stated.

    Whatever is stated holds, for it was measured or meant; but whoever takes the item from the
    shelf must know that it is not of that size. Usual sizes are on no shelf.
    """
    words, vocabulary = judgement.base.words, judgement.base.vocabulary
    for item in _named_items(judgement):
        for name, value in item.facts.items():
            given = judgement.setup.facts.get(name)
            if given is not None and given.value != value:
                told, stated = (words.value(name, x, 4) for x in (value, given.value))
                yield (
                    f"{item.id} is listed with another {vocabulary[name].label or name}, {told}: "
                    f"it is judged as stated, {stated}."
                )


def _named_items(judgement: Judgement) -> Iterator[Item]:
    choice, stock = judgement.choice, judgement.stock
    rows = judgement.grid.combination(judgement.at)
    for axis, row in zip(choice.axes, rows, strict=True):
        behind = choice.items.get(axis.name, ())
        item = behind[row] if behind and axis.name not in stock.typical else None
        if item is not None:
            yield item
    for group, number in judgement.setup.taken.items():
        yield from (item for item in stock.items.get(group, ()) if item.id == number.value)


def _worked_out_otherwise(judgement: Judgement) -> Iterator[str]:
    """Say of stated facts that could be computed what they would come to, where that differs.

    Within the function's band a stated value is a better one; beyond it one of the two is wrong,
    and whoever reads the page should know.
    """
    run, chooser, base = judgement.run, judgement.ways.chooser, judgement.base
    for name in base.vocabulary.of_origin(COMPUTED):
        function = chooser.function(name)
        if function is None or name not in judgement.setup.facts:
            continue
        own = function.value([run.value(need) for need in function.needs])
        stated = run.value(name)
        if has_value(own) and differs(name, stated, own, base.vocabulary[name].unit):
            told, worked_out = (base.words.value(name, x, 3) for x in (stated, own))
            yield (
                f"{name} is stated as {told}; worked out from the rest it would be {worked_out}. "
                f"One of them is off: measure again."
            )
