"""Facts, values and conditions in plain words, with the units of the vocabulary."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection

from advisor.engine.conditions import All, Any, Node, Not, Ref, Test, tests_of
from advisor.engine.rules import Demand
from advisor.engine.values import COMPUTED, CONCLUDED, Value, has_value
from advisor.quantities import format_number, format_quantity
from advisor.vocabulary import COUNT, NAMED, QUANTITY, Vocabulary, show

_OPS = {
    "at_least": "at least",
    "at_most": "at most",
    "above": "above",
    "below": "below",
}


class Words:
    """Says what facts, conditions and demands mean."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self.vocabulary = vocabulary
        self._demands: dict[int, tuple[Demand, str]] = {}

    def value(self, fact: str, value: Value, digits: int = 9) -> str:
        """Show a value of a fact; a number in the fact's unit."""
        entry = self.vocabulary[fact]
        if entry.kind == QUANTITY:
            return format_quantity(value, entry.unit, digits)
        if entry.kind == COUNT:
            return format_number(value)
        if isinstance(value, tuple):
            return ", ".join(value) or "none"
        return show(value)

    def _operand(self, test: Test) -> str:
        if isinstance(test.operand, Ref):
            return test.operand.fact
        return self.value(test.fact, test.operand)

    def condition(self, node: Node) -> str:
        """Say a condition in words."""
        if isinstance(node, Test):
            return f"{node.fact} {self._test(node)}"
        if isinstance(node, Not):
            inner = self.condition(node.part)
            return f"not ({inner})" if " and " in inner or " or " in inner else f"not {inner}"
        one_fact = self._about_one_fact(node)
        if one_fact is not None:
            return f"{one_fact} {self.asks(node)}"
        word = " and " if isinstance(node, All) else " or "
        parts = [self.condition(part) for part in node.parts]
        return word.join(f"({p})" if " or " in p and word == " and " else p for p in parts)

    def _about_one_fact(self, node: All | Any) -> str | None:
        if not all(isinstance(part, Test) for part in node.parts):
            return None
        facts = {test.fact for test in tests_of(node)}
        return facts.pop() if len(facts) == 1 else None

    def _test(self, test: Test) -> str:
        operand = self._operand(test) if test.op not in ("known", "stated") else ""
        if test.op == "is" and isinstance(test.operand, Ref):
            other = self.vocabulary[test.operand.fact]
            return f"is among {other.name}" if other.several else f"is the same as {other.name}"
        if test.op == "is":
            several = test.fact in self.vocabulary and self.vocabulary[test.fact].several
            return f"{'includes' if several else 'is'} {operand}"
        if test.op in ("known", "stated"):
            return f"is {test.op}" if test.operand else f"is not {test.op}"
        return f"is {_OPS[test.op]} {operand}"

    def asks(self, node: Node) -> str:
        """Say a test on one fact, the fact itself left out."""
        if isinstance(node, Test):
            return self._test(node)
        if isinstance(node, Not):
            return f"not ({self.asks(node.part)})"
        tests = [part for part in node.parts if isinstance(part, Test)]
        if isinstance(node, Any) and len(tests) == len(node.parts):
            if all(test.op == "is" for test in tests):
                verb = self._test(tests[0]).split(" ", 1)[0]
                return f"{verb} {_or([self._operand(test) for test in tests])}"
            return _or([self._test(test) for test in tests])
        if len(tests) == len(node.parts) == 2:
            ops = {test.op: test for test in tests}
            if set(ops) == {"at_least", "at_most"}:
                low, high = self._operand(ops["at_least"]), self._operand(ops["at_most"])
                return f"is from {low} to {high}"
        word = " and " if isinstance(node, All) else " or "
        return word.join(self.asks(part) for part in node.parts)

    def demand(self, demand: Demand) -> str:
        """Say what a demand asks; told once for each demand of a rule base."""
        held = self._demands.get(id(demand))
        if held is None:
            asked = self.asks(demand.test)
            told = f"{demand.fact} {_negated(asked) if demand.is_negative else asked}"
            # The demand is kept too, for its id is its own only as long as it lives.
            held = self._demands[id(demand)] = demand, told
        return held[1]

    def text(self, text: str, value_of: Callable[[str], Value], rough: Collection[str] = ()) -> str:
        """Fill the facts named in a text; one without a value is said to be so.

        Numbers are told to three digits, those of `rough` facts to two.
        """

        def filled(match: re.Match[str]) -> str:
            fact = match.group(1)
            value = value_of(fact)
            if has_value(value):
                return self.value(fact, value, 2 if fact in rough else 3)
            origin = self.vocabulary[fact].origin
            return "not known" if origin in (COMPUTED, CONCLUDED) else "not stated"

        return NAMED.sub(filled, text)


def _or(parts: list[str]) -> str:
    if len(parts) == 1:
        return parts[0]
    return ", ".join(parts[:-1]) + " or " + parts[-1]


def _negated(asked: str) -> str:
    for verb, negative in (("is ", "is not "), ("includes ", "does not include ")):
        if asked.startswith(verb):
            return negative + asked[len(verb) :]
    return f"not ({asked})"
