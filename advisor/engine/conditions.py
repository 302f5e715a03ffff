"""Conditions: their tree, their compilation to closures, and judging one with its whole trace."""

import operator
from collections.abc import Callable, Mapping
from typing import NamedTuple

from advisor.engine.values import ABSENT, MISSING, NO, OPEN, UNKNOWN, YES, FactTable, Missing, Value

Judge = Callable[[list[Value]], int]


class Ref(NamedTuple):
    """The value of another fact, where a test takes a constant."""

    fact: str


class Test(NamedTuple):
    """One fact against one operand; `op` is one of `OPS`."""

    fact: str
    op: str
    operand: Value

    def facts(self) -> tuple[str, ...]:
        """Return the facts whose values the test reads."""
        if isinstance(self.operand, Ref):
            return (self.fact, self.operand.fact)
        return (self.fact,)


class All(NamedTuple):
    """Holds if every part does."""

    parts: tuple["Node", ...]


class Any(NamedTuple):
    """Holds if some part does."""

    parts: tuple["Node", ...]


class Not(NamedTuple):
    """Swaps yes and no, keeps unknown."""

    part: "Node"


Node = Test | All | Any | Not

OPS = ("is", "at_least", "at_most", "above", "below", "known", "stated")


def parts_of(node: Node) -> tuple[Node, ...]:
    """Return the parts of a condition; a test has none."""
    if isinstance(node, Test):
        return ()
    if isinstance(node, Not):
        return (node.part,)
    return node.parts


def tests_of(node: Node) -> list[Test]:
    """Return every test of a condition, from left to right."""
    if isinstance(node, Test):
        return [node]
    found: list[Test] = []
    todo: list[Node] = [node]
    while todo:
        here = todo.pop()
        if isinstance(here, Test):
            found.append(here)
        elif isinstance(here, Not):
            todo.append(here.part)
        else:
            todo.extend(reversed(here.parts))
    return found


def facts_of(node: Node | None) -> frozenset[str]:
    """Return the facts a condition reads."""
    found: set[str] = set()
    if node is not None:
        _gather_facts(node, found)
    return frozenset(found)


def _gather_facts(node: Node, found: set[str]) -> None:
    if isinstance(node, Test):
        found.add(node.fact)
        if isinstance(node.operand, Ref):
            found.add(node.operand.fact)
    elif isinstance(node, Not):
        _gather_facts(node.part, found)
    else:
        for part in node.parts:
            _gather_facts(part, found)


def slots_of(node: Node | None, table: FactTable) -> frozenset[int]:
    """Return the slots a condition reads: of values, or of the flags that `stated` looks at."""
    found: set[int] = set()
    if node is not None:
        _gather_slots(node, table.slot, table.size, found)
    return frozenset(found)


def _gather_slots(node: Node, slot: Mapping[str, int], size: int, found: set[int]) -> None:
    if isinstance(node, Test):
        flags = size if node.op == "stated" else 0
        found.add(flags + slot[node.fact])
        if isinstance(node.operand, Ref):
            found.add(flags + slot[node.operand.fact])
    elif isinstance(node, Not):
        _gather_slots(node.part, slot, size, found)
    else:
        for part in node.parts:
            _gather_slots(part, slot, size, found)


def plain_slots(node: Node | None, table: FactTable, settled: int) -> frozenset[int] | None:
    """Return the slots of a condition that lacks just those of them that could get a value.

    That is so, and nothing need be judged to tell, where no part can be settled against another.
    A condition on one fact is: its tests are all settled or all open. So is an `all` that does not
    come to no, and an `any` that does not come to yes.

    Args:
        node: the condition.
        table: its slots.
        settled: what the condition is known not to come to, NO or YES.

    Returns:
        The slots, or None for other conditions.
    """
    found: set[int] = set()
    if node is not None and _gather_plain(node, table, settled, found):
        return frozenset(found)
    return None


def _gather_plain(node: Node, table: FactTable, settled: int, found: set[int]) -> bool:
    if isinstance(node, Test):
        fact, op, operand = node
        found.add(table.slot[fact])
        if isinstance(operand, Ref):
            found.add(table.slot[operand.fact])
            return settled == NO
        return operand is (settled == NO) if op == "known" else op != "stated"
    if isinstance(node, Not):
        return _gather_plain(node.part, table, YES - settled, found)
    if isinstance(node, All if settled == NO else Any):
        return all(_gather_plain(part, table, settled, found) for part in node.parts)
    tests = tests_of(node)
    found.update(slots_of(node, table))
    return len({fact for test in tests for fact in test.facts()}) == 1 and all(
        test.op not in ("known", "stated") for test in tests
    )


# Compilation. Every closure takes the flat list of values and returns NO, UNKNOWN or YES.


def compile_condition(node: Node, table: FactTable, absent: int = NO) -> Judge:
    """Turn a condition into a closure.

    `absent` is what a test on a concluded fact without a value comes to: NO in a condition,
    UNKNOWN in a demand, where a bound nobody concluded leaves the demand unproven.
    """
    if isinstance(node, Test):
        return _compile_test(node, table, absent)
    if isinstance(node, Not):
        part = compile_condition(node.part, table, absent)
        return lambda v: 2 - part(v)
    if isinstance(node, Any):
        member = _membership(node, table, absent)
        if member is not None:
            return member
    judges = tuple(compile_condition(part, table, absent) for part in node.parts)
    if len(judges) == 1:
        return judges[0]
    return _all(judges) if isinstance(node, All) else _any(judges)


def _all(judges: tuple[Judge, ...]) -> Judge:
    if len(judges) == 2:
        first, second = judges

        def both(v: list[Value]) -> int:
            x = first(v)
            if not x:
                return NO
            y = second(v)
            return min(y, x)

        return both

    def every(v: list[Value]) -> int:
        result = YES
        for judge in judges:
            x = judge(v)
            if not x:
                return NO
            result = min(result, x)
        return result

    return every


def _any(judges: tuple[Judge, ...]) -> Judge:
    def some(v: list[Value]) -> int:
        result = NO
        for judge in judges:
            x = judge(v)
            if x == YES:
                return YES
            result = max(result, x)
        return result

    return some


def _membership(node: Any, table: FactTable, absent: int) -> Judge | None:
    """Compile `fact: [a, b, c]` as one look-up; its parts have one fact, so they agree."""
    tests = [part for part in node.parts if isinstance(part, Test)]
    if len(tests) != len(node.parts) or len({t.fact for t in tests}) != 1:
        return None
    if any(t.op != "is" or isinstance(t.operand, (Ref, tuple)) for t in tests):
        return None
    slot = table.slot[tests[0].fact]
    accepted = frozenset(t.operand for t in tests)
    if tests[0].fact in table.several:

        def some_of_several(v: list[Value]) -> int:
            x = v[slot]
            if isinstance(x, tuple):
                return NO if accepted.isdisjoint(x) else YES
            return absent if x is ABSENT else UNKNOWN

        return some_of_several

    def member(v: list[Value]) -> int:
        x = v[slot]
        if x in accepted:
            return YES
        if x.__class__ is Missing:
            return absent if x is ABSENT else UNKNOWN
        return NO

    return member


def _compile_test(test: Test, table: FactTable, absent: int) -> Judge:
    slot = table.slot[test.fact]
    operand = test.operand
    if test.op == "stated":
        flag = table.stated_slot(test.fact)
        return lambda v: UNKNOWN if v[flag] is OPEN else YES if v[flag] is operand else NO
    if test.op == "known":

        def known(v: list[Value]) -> int:
            x = v[slot]
            if x is OPEN:
                return UNKNOWN
            return YES if (x.__class__ is not Missing) is operand else NO

        return known
    if isinstance(operand, Ref):
        plain = test.op == "is" and table.several.isdisjoint(test.facts())
        op = operator.eq if plain else _share if test.op == "is" else _COMPARE[test.op]
        return _compile_pair(op, slot, table.slot[operand.fact], absent)
    if test.op == "is":
        if test.fact in table.several or isinstance(operand, tuple):

            def shares(v: list[Value]) -> int:
                x = v[slot]
                if x.__class__ is Missing:
                    return absent if x is ABSENT else UNKNOWN
                return YES if _share(x, operand) else NO

            return shares

        def equals(v: list[Value]) -> int:
            x = v[slot]
            if x == operand:
                return YES
            if x.__class__ is Missing:
                return absent if x is ABSENT else UNKNOWN
            return NO

        return equals
    compare = _COMPARE[test.op]

    def bound(v: list[Value]) -> int:
        x = v[slot]
        if x.__class__ is Missing:
            return absent if x is ABSENT else UNKNOWN
        return YES if compare(x, operand) else NO

    return bound


def _compile_pair(
    compare: Callable[[Value, Value], bool], left: int, right: int, absent: int
) -> Judge:
    def pair(v: list[Value]) -> int:
        x, y = v[left], v[right]
        if x.__class__ is Missing or y.__class__ is Missing:
            # A side that nothing can conclude settles the test, whatever the other side is.
            return absent if x is ABSENT or y is ABSENT else UNKNOWN
        return YES if compare(x, y) else NO

    return pair


def _share(x: Value, y: Value) -> bool:
    """Tell whether two values, either of which may be several, have one in common."""
    if isinstance(x, tuple):
        return not frozenset(x).isdisjoint(y) if isinstance(y, tuple) else y in x
    if isinstance(y, tuple):
        return x in y
    return bool(x == y)


_COMPARE: dict[str, Callable[[Value, Value], bool]] = {
    "at_least": operator.ge,
    "at_most": operator.le,
    "above": operator.gt,
    "below": operator.lt,
}


# The trace. A fact is assigned once in a run and before anything reads it, so a condition judged
# again afterwards comes to the same; nothing needs to be kept while the engine runs.


class Judged(NamedTuple):
    """A condition with what it came to and, for each part, the same."""

    node: Node
    outcome: int
    parts: tuple["Judged", ...]


def judge(node: Node, table: FactTable, values: list[Value], absent: int = NO) -> Judged:
    """Judge a condition part by part against the values of a finished run."""
    if isinstance(node, Test):
        return Judged(node, _judge_of(node, table, absent)(values), ())
    parts = tuple(judge(part, table, values, absent) for part in parts_of(node))
    outcomes = [part.outcome for part in parts]
    if isinstance(node, Not):
        return Judged(node, 2 - outcomes[0], parts)
    return Judged(node, min(outcomes) if isinstance(node, All) else max(outcomes), parts)


def _judge_of(test: Test, table: FactTable, absent: int) -> Judge:
    """Return the closure of one test, compiled once for a table."""
    key = id(test), absent
    held: tuple[Test, Judge] | None = table.judges.get(key)
    if held is None:
        # The test is kept too, for its id is its own only as long as it lives.
        held = table.judges[key] = test, _compile_test(test, table, absent)
    return held[1]


_NOTHING: frozenset[str] = frozenset()


def lacking(node: Node, table: FactTable, values: list[Value], absent: int = NO) -> frozenset[str]:
    """Return the facts without a value that leave a condition unknown.

    Only parts that are themselves unknown are followed: what is settled lacks nothing.
    """
    found: list[str] = []
    outcome = _lack(node, table, values, absent, found)
    return frozenset(found) if outcome == UNKNOWN else _NOTHING


def _lack(node: Node, table: FactTable, values: list[Value], absent: int, found: list[str]) -> int:
    """Judge a condition, adding to `found` what it lacks if it comes to unknown."""
    if isinstance(node, Test):
        outcome = _judge_of(node, table, absent)(values)
        if outcome == UNKNOWN:
            for fact in node.facts():
                value = values[table.slot[fact]]
                if value is MISSING or value is OPEN or (value is ABSENT and absent == UNKNOWN):
                    found.append(fact)
        return outcome
    if isinstance(node, Not):
        return 2 - _lack(node.part, table, values, absent, found)
    settled = NO if isinstance(node, All) else YES
    outcome = 2 - settled
    start = len(found)
    for part in node.parts:
        judged = _lack(part, table, values, absent, found)
        if judged == settled:
            del found[start:]
            return settled
        if judged == UNKNOWN:
            outcome = UNKNOWN
    return outcome
