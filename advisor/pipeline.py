"""The whole way, a line a stage: setup, rule base and stock in, Decision out."""

from __future__ import annotations

from advisor.decide import decide
from advisor.decision import Decision
from advisor.errors import Collector
from advisor.judge import Judgement
from advisor.rulebase.model import RuleBase
from advisor.setups.model import EMPTY_STOCK, Setup, Stock
from advisor.setups.read import PlainDocument, stock_of


def advise(setup: Setup, base: RuleBase, stock: Stock | None = None) -> Decision:
    """Advise on a setup.

    Args:
        setup: what was stated.
        base: the rules.
        stock: what can be chosen from; what it does not list comes from the rule base's ladder.
    """
    return decide(Judgement(setup, base, offered_stock(base, stock)))


def offered_stock(base: RuleBase, stock: Stock | None) -> Stock:
    """Return a stock completed by the ladder of the rule base."""
    ladder = ladder_of(base)
    if stock is None:
        return ladder
    return Stock(
        stock.name,
        {**ladder.items, **stock.items},
        {**ladder.options, **stock.options},
    )


def ladder_of(base: RuleBase) -> Stock:
    """Return the generic stock of a rule base, read once."""
    held = base.__dict__.get("_ladder_stock")
    if held is None:
        held = EMPTY_STOCK
        if base.ladder is not None:
            collector = Collector("rules")
            document = PlainDocument(base.ladder["path"], base.ladder["data"])
            held = stock_of(document, base.vocabulary, collector)
            collector.raise_if_any()
        base.__dict__["_ladder_stock"] = held
    stock: Stock = held
    return stock
