"""What a rule base lists to choose from."""

from __future__ import annotations

from advisor.engine.values import OPTION, Value
from advisor.options import HEAD_TYPE, HEADS
from advisor.rulebase.model import RuleBase


def listed(base: RuleBase, fact: str) -> list[Value]:
    """Return what the rule base's own ladder offers of an option, or what its choices are."""
    ladder = base.ladder
    group = fact.partition(".")[0]
    if group in ladder.items and group != HEADS:
        values = [item.facts[fact] for item in ladder.items[group] if fact in item.facts]
    else:
        values = list(ladder.options.get(fact, ())) or list(base.vocabulary[fact].choices)
    return list(dict.fromkeys(values))


def always_chosen(base: RuleBase, fact: str) -> bool:
    """Tell whether an option has a value in every build: it is single, and something is listed.

    What is chosen with a whole vane may be untold of that vane.
    """
    return fact.partition(".")[0] not in base.ladder.items and bool(listed(base, fact))


def left_open(base: RuleBase) -> str:
    """Return the option that a witness without a head leaves to be chosen; empty if there is none.

    With every option stated, and no head, the heads would be what is chosen.
    """
    vocabulary = base.vocabulary
    if HEAD_TYPE not in vocabulary or not base.ladder.items.get(HEADS):
        return ""
    options = vocabulary.of_origin(OPTION)
    pairs = [name for name in options if vocabulary[name].pairs] or options
    single = [name for name in pairs if name.partition(".")[0] not in base.ladder.items]
    return (single or pairs or [""])[-1]
