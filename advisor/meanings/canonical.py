"""One form for all ways of writing a condition or a demand that come to the same.

Order, nesting and repetition do not count; a `not` is carried down to the tests. Two nodes of one
form come to the same on every setup. The other way round need not hold: that is for proofs.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable

from advisor.engine.conditions import All, Node, Not, Ref, Test
from advisor.engine.rules import Demand
from advisor.engine.values import CONCLUDED, Value
from advisor.vocabulary import Vocabulary

Form = Hashable

_FLIPPED = {"at_least": "below", "below": "at_least", "at_most": "above", "above": "at_most"}


def condition_form(node: Node | None, words: Vocabulary) -> Form:
    """Return the form of a condition; None for one that is not there."""

    def flips(fact: str) -> bool:
        # A test on a concluded fact without a value is no, and so is its opposite.
        return fact in words and words[fact].origin != CONCLUDED

    return None if node is None else _form(node, flips, wanted=True)


def demand_form(demand: Demand) -> Form:
    """Return the form of what a demand asks; `must_not` is a `must` of the opposite."""
    # In a demand a concluded fact without a value is unproven, and so is the opposite.
    return _form(demand.test, lambda _: True, wanted=not demand.is_negative)


def value_form(value: Value) -> Form:
    """Return the form of a value: several values are a set, and a flag is no number."""
    if isinstance(value, tuple):
        return frozenset(value)
    return ("flag", value) if isinstance(value, bool) else value


def _form(node: Node, flips: Callable[[str], bool], *, wanted: bool) -> Form:
    if isinstance(node, Test):
        return _test_form(node, flips, wanted=wanted)
    if isinstance(node, Not):
        return _form(node.part, flips, wanted=not wanted)
    every = isinstance(node, All) is wanted
    kind = "all" if every else "any"
    parts: set[Form] = set()
    for part in node.parts:
        form = _form(part, flips, wanted=wanted)
        if isinstance(form, tuple) and form[0] == kind:
            parts |= form[1]
        else:
            parts.add(form)
    return next(iter(parts)) if len(parts) == 1 else (kind, frozenset(parts))


def _test_form(test: Test, flips: Callable[[str], bool], *, wanted: bool) -> Form:
    fact, op, operand = test
    if op in ("known", "stated"):
        return (op, fact, bool(operand) is wanted)
    other = isinstance(operand, Ref)
    held: Form = ("fact", operand.fact) if isinstance(operand, Ref) else value_form(operand)
    if wanted:
        return ("test", fact, op, held)
    if op in _FLIPPED and flips(fact) and (not other or flips(operand.fact)):
        return ("test", fact, _FLIPPED[op], held)
    return ("not", ("test", fact, op, held))


def conjuncts(node: Node | None) -> tuple[Node, ...]:
    """Return the parts that must all hold, nested ones included."""
    if node is None:
        return ()
    if isinstance(node, All):
        return tuple(part for one in node.parts for part in conjuncts(one))
    return (node,)


def demand_forms(demand: Demand) -> frozenset[Form]:
    """Return the forms of the parts of a demand each of which alone would offend.

    Of a should it is all one whether one part or several fail: a build fails at most once per
    layer and fact. What leaves a must unproven is counted, so a must stays whole.
    """
    form = demand_form(demand)
    if not demand.is_must and isinstance(form, tuple) and form[0] == "all":
        parts: frozenset[Form] = form[1]
        return parts
    return frozenset((form,))


__all__ = [
    "Form",
    "condition_form",
    "conjuncts",
    "demand_form",
    "demand_forms",
    "value_form",
]
