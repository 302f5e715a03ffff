"""Taking conditions apart: what one fact settles by itself, and what takes several."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from advisor.engine.conditions import All, Any, Judge, Node, Not, Test, compile_condition, slots_of
from advisor.engine.rules import Rule
from advisor.engine.values import FactTable


class Part(NamedTuple):
    """A part of a condition that reads one fact."""

    no: int  # the condition's bit, if the part rules it out
    unknown: int  # the same, if the part leaves it unknown
    node: Node


class Plane(NamedTuple):
    """One of the places among the alternatives of an `any`."""

    rules: int  # that have an alternative in it, as bits
    no: int  # how far up the bits of these alternatives stand
    unknown: int


class _Taken(NamedTuple):
    """A condition taken apart."""

    alone: tuple[tuple[int, Node], ...]  # slot, part
    alternatives: tuple[tuple[tuple[int, Node], ...], ...]  # of one `any`: slot, part
    rest: tuple[Node, ...]


class Parting:
    """The conditions of a rule base as bits.

    A rule has a bit where its `when` is ruled out, and another where that is unknown. The same for
    its `unless`, and for each alternative of one `any` in its `when`; these blocks are kept short
    by numbering rules that have such things first. What is left of a condition (two facts
    compared, above all) becomes a closure.

    Args:
        rules: in any order.
        table: the slots of their facts.
    """

    def __init__(self, rules: Sequence[Rule], table: FactTable) -> None:
        taken = {rule.id: _take_apart(rule.when, table, choice=True) for rule in rules}

        def turn(rule: Rule) -> tuple[int, str]:
            chooses = bool(taken[rule.id].alternatives)
            excepts = rule.unless is not None
            return (excepts if chooses else 3 - excepts), rule.id

        self.rules: tuple[Rule, ...] = tuple(sorted(rules, key=turn))
        self.parts: dict[int, list[Part]] = {}
        self.judges: dict[int, Judge] = {}
        """What is left of the `when` of some rules, by place."""
        self.exception_judges: dict[int, Judge] = {}
        """The same of their `unless`."""
        self._table = table
        whens = [taken[rule.id] for rule in self.rules]
        count = len(self.rules)
        self.choosing = sum(1 << i for i, when in enumerate(whens) if when.alternatives)
        self.excepting = sum(1 << i for i, rule in enumerate(self.rules) if rule.unless is not None)
        first = (self.excepting & -self.excepting).bit_length() - 1 if self.excepting else 0
        self.unknown = count
        """How far up `when` bits stand again for unknown; what follows is the same for others."""
        length = self.excepting.bit_length() - first
        self.exception_no = 2 * count - first
        self.exception_unknown = self.exception_no + length
        for i, when in enumerate(whens):
            self._place(when.alone, i, i + count)
            self._keep(when.rest, i, self.judges)
        for i, rule in enumerate(self.rules):
            if rule.unless is not None:
                unless = _take_apart(rule.unless, table, choice=False)
                self._place(unless.alone, i + self.exception_no, i + self.exception_unknown)
                self._keep(unless.rest, i, self.exception_judges)
        self.planes = tuple(self._planes(whens, 2 * count + 2 * length))

    def _planes(self, whens: Sequence[_Taken], base: int) -> Iterator[Plane]:
        length = self.choosing.bit_length()
        for turn in range(max((len(when.alternatives) for when in whens), default=0)):
            no = base + 2 * length * turn
            rules = 0
            for i, when in enumerate(whens):
                if turn < len(when.alternatives):
                    rules |= 1 << i
                    self._place(when.alternatives[turn], i + no, i + no + length)
            yield Plane(rules, no, no + length)

    def _place(self, parts: Sequence[tuple[int, Node]], no: int, unknown: int) -> None:
        for slot, node in parts:
            self.parts.setdefault(slot, []).append(Part(1 << no, 1 << unknown, node))

    def _keep(self, rest: tuple[Node, ...], i: int, judges: dict[int, Judge]) -> None:
        if rest:
            judges[i] = compile_condition(All(rest), self._table)


def _take_apart(condition: Node | None, table: FactTable, *, choice: bool) -> _Taken:
    alone: list[tuple[int, Node]] = []
    alternatives: tuple[tuple[tuple[int, Node], ...], ...] = ()
    rest: list[Node] = []
    for part in () if condition is None else _conjuncts(condition):
        slots = slots_of(part, table)
        if len(slots) == 1:
            alone.append((min(slots), part))
        elif choice and not alternatives and (found := _alternatives(part, table)):
            alternatives = found
        else:
            rest.append(part)
    return _Taken(tuple(alone), alternatives, tuple(rest))


def _alternatives(node: Node, table: FactTable) -> tuple[tuple[tuple[int, Node], ...], ...]:
    """Return the alternatives of an `any`, each as parts that must all hold.

    Nothing is returned for any other node, nor if some part of it reads two facts.
    """
    if not isinstance(node, Any):
        return ()
    found: list[tuple[tuple[int, Node], ...]] = []
    for alternative in node.parts:
        parts = [(slots_of(part, table), part) for part in _conjuncts(alternative)]
        if any(len(slots) != 1 for slots, _ in parts):
            return ()
        found.append(tuple((min(slots), part) for slots, part in parts))
    return tuple(found)


def _conjuncts(node: Node) -> Iterator[Node]:
    """Yield the parts that must all hold: nested alls taken apart, denials moved to the tests."""
    if isinstance(node, Not) and not isinstance(node.part, Test):
        node = _denied(node.part)
    if isinstance(node, All):
        for part in node.parts:
            yield from _conjuncts(part)
    else:
        yield node


def _denied(node: Node) -> Node:
    """Return what comes to 2 minus the node: `min` and `max` change places."""
    if isinstance(node, Test):
        return Not(node)
    if isinstance(node, Not):
        return node.part
    parts = tuple(_denied(part) for part in node.parts)
    return Any(parts) if isinstance(node, All) else All(parts)


__all__ = ["Part", "Parting", "Plane"]
