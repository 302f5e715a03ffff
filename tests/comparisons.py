"""What the tests of comparisons share: judgements to compare builds of, and the mirror."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from advisor.comparing import build_named, compare_builds, compare_decisions
from advisor.comparison import GROUPS, Comparison, NumberRow
from advisor.decision import Decision
from advisor.engine.values import Value, has_value
from advisor.judge import Judgement
from advisor.pipeline import advise, offered_stock, taken
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.setups.model import Stock
from advisor.setups.read import read_setup, read_stock

ROOT = Path(__file__).resolve().parents[1]
EXAMPLES = ROOT / "examples"
HOUSE = EXAMPLES / "quillmere"
HUNTING = "fixed-blade-hunting"
PAIRS = {
    "for-first": "for-second",
    "against-first": "against-second",
    "first": "second",
}
SWAPPED = {
    **PAIRS,
    **{b: a for a, b in PAIRS.items()},
    "First": "Second",
    "Second": "First",
}


@cache
def base(house: bool = False) -> RuleBase:
    return read_rule_base(str(HOUSE / "rules") if house else None)


@cache
def stock(house: bool = False) -> Stock | None:
    return read_stock(str(HOUSE / "stock.yaml"), base(house).vocabulary) if house else None


@cache
def judgement(name: str, *sets: str) -> Judgement:
    """Judge an example, or a customer of the house, whose names begin with a slash."""
    house = name.startswith("/")
    path = HOUSE / "customers" / f"{name[1:]}.yaml" if house else EXAMPLES / f"{name}.yaml"
    rules = base(house)
    setup = read_setup(str(path) if name else None, sets, rules.vocabulary)
    offered = offered_stock(rules, stock(house))
    return Judgement(taken(setup, rules, offered), rules, offered)


@cache
def decided(name: str, *sets: str) -> Decision:
    house = name.startswith("/")
    held = judgement(name, *sets)
    return advise(held.setup, held.base, stock(house))


@cache
def builds(name: str, one: str, other: str) -> Comparison:
    """Compare two builds of a setup, each named in words."""
    held = judgement(name)
    named = [build_named(held.base, [words] if words else []) for words in (one, other)]
    return compare_builds(held, *named)


@cache
def decisions(one: str, other: str) -> Comparison:
    return compare_decisions(decided(one), decided(other))


def three_against_four() -> Comparison:
    return builds(HUNTING, "fletching.count=3", "fletching.count=4")


def whole_name(held: Judgement, at: int) -> dict[str, Value]:
    """Name a combination by everything that was chosen in it."""
    rows = zip(held.choice.axes, held.grid.combination(at), strict=True)
    return {
        fact: value
        for axis, row in rows
        for fact, value in zip(axis.facts, axis.rows[row], strict=True)
        if has_value(value)
    }


def mirrored(c: Comparison) -> Comparison:
    """Return what a comparison would be were the two the other way round.

    Words are swapped only where the comparison itself speaks of the first and the second, not in
    the texts of rules.
    """
    swapped: Comparison = _swapped(c)
    rules = sorted(swapped.rules, key=lambda row: GROUPS.index(row.group))  # stable within a group
    verdict = re.sub(r"\b(first|second)\b", lambda m: SWAPPED[m[0]], c.verdict, flags=re.IGNORECASE)
    return swapped._replace(rules=tuple(rules), verdict=verdict)


def _swapped(value: Any) -> Any:
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        named = zip(value._fields, value, strict=True)
        parts = {_other(name): _swapped(part) for name, part in named}
        for name in ("ahead", "group", "goes", "on"):
            if isinstance(parts.get(name), str):
                parts[name] = SWAPPED.get(parts[name], parts[name])
        if isinstance(value, NumberRow) and value.difference is not None:
            gap = value.difference
            parts["difference"] = gap._replace(value=-gap.value)
        return type(value)(**parts)
    return tuple(map(_swapped, value)) if isinstance(value, tuple) else value


def _other(name: str) -> str:
    head, line, rest = name.partition("_")
    return f"{SWAPPED[head]}{line}{rest}" if head in ("first", "second") else name
