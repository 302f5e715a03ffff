"""The words in which a Decision tells of facts, conditions and demands, for rechecking."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.decision import FactValue, Number
from advisor.derive import ROUGH
from advisor.quantities import format_number, format_quantity
from tests.rederive.builds import NAMED
from tests.rederive.facts import NUMBERS, Fact, Value
from tests.rederive.rules import Condition, Demand, Group, Test
from tests.rederive.run import World, has

_BOUNDS = {
    "at_least": "at least",
    "at_most": "at most",
    "above": "above",
    "below": "below",
}


class Words:
    """Says what values, conditions and demands are, in the units of a vocabulary."""

    def __init__(self, facts: Mapping[str, Fact]) -> None:
        self.facts = facts

    def shown(self, fact: str, value: Value) -> FactValue:
        """Return a value as a Decision holds it."""
        declared = self.facts[fact]
        found: FactValue = value
        return Number(value, declared.unit) if declared.kind in NUMBERS else found

    def value(self, fact: str, value: Value, digits: int = 9) -> str:
        """Say a value; a number in its unit."""
        declared = self.facts[fact]
        if declared.kind == "quantity":
            return format_quantity(value, declared.unit, digits)
        if declared.kind == "count":
            return format_number(value)
        if isinstance(value, bool):
            return "true" if value else "false"
        return (", ".join(value) or "none") if isinstance(value, tuple) else str(value)

    def is_value(self, fact: str, value: Value, digits: int = 9) -> str:
        """Say which value a fact has."""
        return f"{fact} is {self.value(fact, value, digits)}"

    def demand(self, demand: Demand) -> str:
        """Say what a demand asks."""
        asked = self._asks(demand.test)
        if demand.is_negative:
            for verb, negated in (("is ", "is not "), ("includes ", "does not include ")):
                if asked.startswith(verb):
                    asked = negated + asked.removeprefix(verb)
                    break
            else:
                asked = f"not ({asked})"
        return f"{demand.fact} {asked}"

    def condition(self, node: Condition) -> str:
        """Say a condition."""
        if isinstance(node, Test):
            return f"{node.fact} {self._test(node)}"
        if node.word == "not":
            inner = self.condition(node.parts[0])
            joined = " and " in inner or " or " in inner
            return f"not ({inner})" if joined else f"not {inner}"
        facts = {part.fact if isinstance(part, Test) else "" for part in node.parts}
        if len(facts) == 1 and "" not in facts:
            return f"{facts.pop()} {self._asks(node)}"
        parts = [self.condition(part) for part in node.parts]
        if node.word == "any":
            return " or ".join(parts)
        return " and ".join(f"({part})" if " or " in part else part for part in parts)

    def _operand(self, test: Test) -> str:
        return test.other or self.value(test.fact, test.value)

    def _test(self, test: Test) -> str:
        if test.op in ("known", "stated"):
            return f"is {test.op}" if test.value else f"is not {test.op}"
        if test.op != "is":
            return f"is {_BOUNDS[test.op]} {self._operand(test)}"
        if test.other:
            among = self.facts[test.other].several
            return f"is among {test.other}" if among else f"is the same as {test.other}"
        verb = "includes" if self.facts[test.fact].several else "is"
        return f"{verb} {self._operand(test)}"

    def _asks(self, node: Condition) -> str:
        if isinstance(node, Test):
            return self._test(node)
        if node.word == "not":
            return f"not ({self._asks(node.parts[0])})"
        tests = [part for part in node.parts if isinstance(part, Test)]
        plain = len(tests) == len(node.parts)
        if node.word == "any" and plain:
            if all(test.op == "is" for test in tests):
                verb = self._test(tests[0]).partition(" ")[0]
                return f"{verb} {_or([self._operand(test) for test in tests])}"
            return _or([self._test(test) for test in tests])
        by_op = {test.op: test for test in tests}
        if plain and len(tests) == len(by_op) == 2 and set(by_op) == {"at_least", "at_most"}:
            ends = self._operand(by_op["at_least"]), self._operand(by_op["at_most"])
            return "is from {} to {}".format(*ends)
        return f" {_joining(node)} ".join(self._asks(part) for part in node.parts)

    def text(self, text: str, world: World) -> str:
        """Fill the facts that a rule's text names."""
        if "{" not in text:
            return text

        def filled(name: str) -> str:
            if has(world[name]):
                return self.value(name, world[name], 2 if name in ROUGH else 3)
            worked_out = self.facts[name].origin in ("computed", "concluded")
            return "not known" if worked_out else "not stated"

        return NAMED.sub(lambda match: filled(match.group(1)), text)


def _joining(node: Group) -> str:
    return "and" if node.word == "all" else "or"


def _or(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} or {parts[-1]}"
