"""Taking what a setup names by its stock number: the facts of a listed vane, head or shaft."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.engine.values import Value
from advisor.errors import Collector, quoted, suggest
from advisor.setups.model import Given, Item, Setup, Stock
from advisor.vocabulary import QUANTITY, FactEntry, Vocabulary, show

LISTS = {"vane": "vanes", "point": "heads", "shaft": "shafts"}
"""The list of a stock file for each group of facts that can be taken from it."""

NAMES = {"vane": "vane", "head": "point", "shaft": "shaft"}
"""What a setup calls them below `from_stock`."""


def take(setup: Setup, stock: Stock, vocabulary: Vocabulary, collector: Collector) -> Setup:
    """Return a setup with the facts of what it takes from stock; once taken, nothing changes.

    What `--set` states stands over what is listed; what the setup itself states must agree.

    Args:
        setup: with the stock numbers in `taken`.
        stock: where these are listed.
        vocabulary: the facts.
        collector: for numbers that are not listed, and facts that are told twice and differ.
    """
    facts = dict(setup.facts)
    for group, number in setup.taken.items():
        listed = stock.items.get(group, ())
        item = next((item for item in listed if item.id == number.value), None)
        if item is None:
            _not_listed(number, group, [item.id for item in listed], stock, collector)
            continue
        for name, value in item.facts.items():
            held = facts.get(name)
            if held is None:
                facts[name] = _given(item, value, vocabulary[name])
            elif held.value != value and not held.file.startswith("--set"):
                line = held.line or None
                told = _written(value, vocabulary[name])
                collector.add(
                    held.file,
                    line,
                    held.column or None,
                    f"{name} is stated, and {item.id} of the stock tells {told}",
                    "leave one of them out",
                )
    return setup._replace(facts=facts)


def _not_listed(
    number: Given, group: str, known: list[str], stock: Stock, collector: Collector
) -> None:
    what = f"{quoted(show(number.value))} is not among the {LISTS[group]} of `{stock.name}`"
    told, near, _ = suggest(show(number.value), known).partition("?")
    few = ", ".join(known[:12]) + (", ..." if len(known) > 12 else "")
    if isinstance(number.value, str) and near:
        remedy = f"{told}?"
    elif group in stock.typical or not known:
        remedy = "name the stock with --stock" + (f"; listed here: {few}" if known else "")
    else:
        remedy = f"listed: {few}"
    collector.add(number.file, number.line or None, number.column or None, what, remedy)


def _given(item: Item, value: Value, entry: FactEntry) -> Given:
    return Given(value, item.file, item.line, 1, _written(value, entry))


def _written(value: Value, entry: FactEntry) -> str:
    return f"{value:.9g} {entry.unit}" if entry.kind == QUANTITY else show(value)


def numbers_of(taken: Mapping[str, Given]) -> dict[str, str]:
    """Return the stock numbers by the names a setup gives them."""
    return {name: show(taken[group].value) for name, group in NAMES.items() if group in taken}
