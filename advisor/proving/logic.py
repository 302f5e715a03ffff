"""Terms of the solver, put together so that what is settled already never reaches it."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple

import z3

Term = Any
"""A Boolean of the solver, or True or False where that is settled."""


class Three(NamedTuple):
    """What a condition comes to: yes, no, or unknown where neither holds; never both."""

    yes: Term
    no: Term

    @property
    def unknown(self) -> Term:
        """Return whether it comes to neither."""
        return conj(neg(self.yes), neg(self.no))


NEVER = Three(False, True)
ALWAYS = Three(True, False)


def conj(*parts: Term) -> Term:
    """Return whether all parts hold."""
    kept = _without(parts, True)
    if kept is None:
        return False
    return z3.And(kept) if len(kept) > 1 else kept[0] if kept else True


def disj(*parts: Term) -> Term:
    """Return whether some part holds."""
    kept = _without(parts, False)
    if kept is None:
        return True
    return z3.Or(kept) if len(kept) > 1 else kept[0] if kept else False


def neg(part: Term) -> Term:
    """Return whether a part does not hold."""
    return not part if isinstance(part, bool) else z3.Not(part)


def _without(parts: Iterable[Term], idle: bool) -> list[Term] | None:
    """Return the parts that are not settled; None where a settled one decides for all."""
    kept = []
    for part in parts:
        if not isinstance(part, bool):
            kept.append(part)
        elif part is not idle:
            return None
    return kept


def all_of(parts: Iterable[Three]) -> Three:
    """Return what an `all` comes to."""
    parts = list(parts)
    return Three(conj(*(p.yes for p in parts)), disj(*(p.no for p in parts)))


def any_of(parts: Iterable[Three]) -> Three:
    """Return what an `any` comes to."""
    parts = list(parts)
    return Three(disj(*(p.yes for p in parts)), conj(*(p.no for p in parts)))


def exact(number: float) -> Fraction:
    """Return a number of nine digits as it is written, not as a binary fraction."""
    return Fraction(Decimal(repr(number)))


def constant(number: float) -> Any:
    """Return a number as the solver has it, exactly."""
    value = exact(number)
    if value.denominator == 1:
        return z3.IntVal(value.numerator)
    return z3.Q(value.numerator, value.denominator)


def compare(op: str, left: Any, right: Any) -> Any:
    """Return a comparison of two numbers, terms of the solver or plain ones."""
    if op == "at_least":
        return left >= right
    if op == "at_most":
        return left <= right
    if op == "above":
        return left > right
    if op == "below":
        return left < right
    return left == right
