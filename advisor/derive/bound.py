"""The table of computed facts bound to a vocabulary, as the engine's functions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isfinite
from operator import mul

from advisor.derive import BY_FACT, TABLE
from advisor.derive.row import Computed
from advisor.engine.chooser import Function, Prepare
from advisor.engine.values import MISSING, Missing, Value
from advisor.quantities import UNITS, round9
from advisor.vocabulary import COUNT, QUANTITY, Vocabulary


def functions(vocabulary: Vocabulary) -> tuple[Function, ...]:
    """Bind the table to a vocabulary: its units in and out, numbers rounded as facts are.

    A fact the vocabulary does not declare, or whose inputs it does not, has no function. What a
    function refuses (an impossible shape) or cannot tell (not finite) stays unknown.
    """
    return tuple(
        Function(
            computed.fact,
            computed.needs,
            _bind(computed, vocabulary),
            computed.by,
            computed.cases,
            computed.optional,
            _preparing(computed, vocabulary),
            computed.idle,
        )
        for computed in TABLE
        if all(name in vocabulary for name in (computed.fact, *computed.needs))
    )


def _factor(vocabulary: Vocabulary, name: str) -> float:
    """Return what turns the vocabulary's number into SI; 1 for what is no quantity."""
    entry = vocabulary[name]
    return UNITS[entry.unit][1] if entry.kind == QUANTITY else 1


def _bind(computed: Computed, vocabulary: Vocabulary) -> Callable[..., Value]:
    ask = _asking(computed, vocabulary)

    def bound(*values: Value) -> Value:
        try:
            result = ask(values)
        except (ValueError, ArithmeticError):
            return MISSING
        return result if isfinite(result) else MISSING

    return bound


def _preparing(computed: Computed, vocabulary: Vocabulary) -> Prepare:
    """Return what turns the part of a row that stays into SI once, for many rows."""
    call = computed.call
    factors = [_factor(vocabulary, name) for name in computed.needs]
    out = 1.0 / _factor(vocabulary, computed.fact)
    turn: Callable[[float], float] = int if vocabulary[computed.fact].kind == COUNT else round9

    def prepare(row: Sequence[Value], places: Sequence[int]) -> Callable[[Sequence[Value]], Value]:
        held = [
            None if x.__class__ is Missing else x * f for x, f in zip(row, factors, strict=True)
        ]
        turned = [(i, factors[i]) for i in places]

        def value(cells: Sequence[Value]) -> Value:
            for (i, factor), x in zip(turned, cells, strict=True):
                held[i] = None if x.__class__ is Missing else x * factor
            try:
                result = turn(call(*held) * out)
            except (ValueError, ArithmeticError):
                return MISSING
            return result if isfinite(result) else MISSING

        return value

    return prepare


def _asking(computed: Computed, vocabulary: Vocabulary) -> Callable[[Sequence[Value]], float]:
    """Return what calls a row's function on values as facts have them, and rounds as they are."""
    call = computed.call
    # What is no quantity is multiplied by the whole number 1, which leaves a count, and a text,
    # as it is: the whole row can then be turned into SI in C.
    factors = [_factor(vocabulary, name) for name in computed.needs]
    out = 1.0 / _factor(vocabulary, computed.fact)
    whole = vocabulary[computed.fact].kind == COUNT

    def ask(values: Sequence[Value]) -> float:
        return round9(call(*map(mul, values, factors)) * out)

    def ask_some(values: Sequence[Value]) -> float:
        pairs = zip(values, factors, strict=True)
        return round9(call(*[None if x.__class__ is Missing else x * f for x, f in pairs]) * out)

    def ask_whole(values: Sequence[Value]) -> float:
        return int(call(*map(mul, values, factors)) * out)

    return ask_whole if whole else ask_some if computed.by or computed.optional else ask


def refusal(fact: str, vocabulary: Vocabulary, row: Sequence[Value]) -> str:
    """Say why a function has no answer for inputs that are all there.

    Args:
        fact: a computed fact.
        vocabulary: that of its rule base.
        row: the values of the facts it needs, in its order.

    Returns:
        What the function says against them, or an empty text if it has an answer.
    """
    try:
        result = _asking(BY_FACT[fact], vocabulary)(row)
    except ValueError as error:
        part, misfit, _ = str(error).partition(" would reach from ")
        return f"the {part} does not fit where it belongs" if misfit else str(error)
    except ArithmeticError:
        return "the numbers are too large or too small for it"
    return "" if isfinite(result) else "it has no end"
