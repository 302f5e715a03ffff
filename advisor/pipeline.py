"""The whole way, a line a stage: setup, rule base and stock in, Decision out."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.decide import decide
from advisor.decision import Decision, Question
from advisor.errors import Collector
from advisor.judge import Judgement
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Setup, Stock
from advisor.setups.take import take


def advise(
    setup: Setup, base: RuleBase, stock: Stock | None = None, *, weigh: bool = False
) -> Decision:
    """Advise on a setup.

    Args:
        setup: what was stated.
        base: the rules.
        stock: what can be chosen from; what it does not list comes from the rule base's ladder.
        weigh: whether the questions are put in order by trying their possible answers, which takes
            some ten times as long as the advice.

    Raises:
        Faults: about "setup": what it takes from stock is not listed there, or is stated otherwise.
    """
    judgement = _judge(setup, base, stock)
    decision = decide(judgement)
    if not weigh:
        return decision
    from advisor.trying import weigh as weigh_questions

    return decision._replace(questions=weigh_questions(judgement, decision.questions))


def weighed(
    questions: Sequence[Question], setup: Setup, base: RuleBase, stock: Stock | None = None
) -> list[Question]:
    """Return some questions of a setup's Decision, put in order by trying their answers."""
    from advisor.trying import weigh

    return list(weigh(_judge(setup, base, stock), questions))


def _judge(setup: Setup, base: RuleBase, stock: Stock | None) -> Judgement:
    offered = offered_stock(base, stock)
    if setup.taken:
        setup = taken(setup, base, offered)
    return Judgement(setup, base, offered)


def taken(setup: Setup, base: RuleBase, stock: Stock) -> Setup:
    """Return a setup with the facts of what it takes from stock.

    Raises:
        Faults: about "setup": it is not listed, or the setup states it otherwise.
    """
    collector = Collector("setup")
    complete = take(setup, stock, base.vocabulary, collector)
    collector.raise_if_any()
    return complete


def offered_stock(base: RuleBase, stock: Stock | None) -> Stock:
    """Return a stock completed by the ladder of the rule base."""
    if stock is None:
        return base.ladder
    return Stock(
        stock.name,
        {**base.ladder.items, **stock.items},
        {**base.ladder.options, **stock.options},
        base.ladder.typical - stock.items.keys(),
    )
