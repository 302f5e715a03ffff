"""The terms of a condition: what its writer put down as one test of one fact, and what settles it.

A term is a fact with its test, lists and several bounds included; `any`, `all` and `not` group
terms. Each stands at a path from the root, so that it can be judged as if it came out otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from advisor.engine.conditions import All, Any, Judged, Node, Not, Test, parts_of
from advisor.engine.values import COMPUTED, NO, OPTION, YES
from advisor.quantities import round9
from advisor.vocabulary import COUNT, FactEntry

Path = tuple[int, ...]

_PART_OF_BOUND = 0.05
"""By how much of itself a bound is moved where nothing tells how well its fact is measured."""


class Term(NamedTuple):
    """A term and where it stands.

    `wanted` is what it must come to for the condition to hold: NO under a `not`. An `alternative`
    need not, if another does.
    """

    path: Path
    node: Node
    wanted: int = YES
    alternative: bool = False


def is_term(node: Node) -> bool:
    """Tell whether a condition is about one fact, written as one test of it."""
    if isinstance(node, Test):
        return True
    if isinstance(node, Not):
        return False
    tests = [part for part in node.parts if isinstance(part, Test)]
    return len(tests) == len(node.parts) and len({test.fact for test in tests}) == 1


def terms_of(node: Node | None) -> list[Term]:
    """Return the terms of a condition from left to right; None has none."""
    return [] if node is None else list(_terms(Term((), node)))


def _terms(here: Term) -> Iterator[Term]:
    path, node, wanted, alternative = here
    if is_term(node):
        yield here
        return
    if isinstance(node, Not):
        wanted = 2 - wanted
    elif len(parts_of(node)) > 1:
        alternative = alternative or isinstance(node, Any) == (wanted == YES)
    for i, part in enumerate(parts_of(node)):
        yield from _terms(Term((*path, i), part, wanted, alternative))


def groups_of(node: Node | None) -> list[Term]:
    """Return the parts of a condition that hold several terms, the whole of it apart."""
    found: list[Term] = []

    def walk(path: Path, here: Node) -> None:
        for i, part in enumerate(() if is_term(here) else parts_of(here)):
            if not is_term(part):
                found.append(Term((*path, i), part))
                walk((*path, i), part)

    if node is not None:
        walk((), node)
    return found


def fact_of(node: Node) -> str:
    """Return the fact that a term is about."""
    while not isinstance(node, Test):
        node = parts_of(node)[0]
    return node.fact


def at(judged: Judged, path: Path) -> Judged:
    """Return the part of a judged condition that stands at a path."""
    for i in path:
        judged = judged.parts[i]
    return judged


def if_it_came_to(judged: Judged, path: Path, outcome: int) -> int:
    """Return what a judged condition would come to with the part at a path otherwise."""
    if not path:
        return outcome
    outcomes = [part.outcome for part in judged.parts]
    outcomes[path[0]] = if_it_came_to(judged.parts[path[0]], path[1:], outcome)
    if isinstance(judged.node, Not):
        return 2 - outcomes[0]
    return min(outcomes) if isinstance(judged.node, All) else max(outcomes)


def fails_alone(judged: Judged, term: Term) -> bool:
    """Tell whether a term is all that keeps a condition from holding."""
    return (
        judged.outcome == NO
        and at(judged, term.path).outcome == 2 - term.wanted
        and if_it_came_to(judged, term.path, term.wanted) == YES
    )


def holds_alone(judged: Judged, term: Term) -> bool:
    """Tell whether a term is all that lets a condition hold."""
    return (
        judged.outcome == YES
        and at(judged, term.path).outcome == term.wanted
        and if_it_came_to(judged, term.path, 2 - term.wanted) == NO
    )


def replaced(node: Node, path: Path, make: Callable[[Node], Node | None]) -> Node | None:
    """Return a condition with the part at a path made into another, or dropped if it is None.

    A group from which the last part is dropped is dropped itself.
    """
    if not path:
        return make(node)
    if isinstance(node, Test):
        raise IndexError(path)
    if isinstance(node, Not):
        part = replaced(node.part, path[1:], make)
        return None if part is None else Not(part)
    parts = list(node.parts)
    new = replaced(parts[path[0]], path[1:], make)
    if new is None:
        del parts[path[0]]
    else:
        parts[path[0]] = new
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else type(node)(tuple(parts))


def notch(entry: FactEntry, bound: float) -> float:
    """Return the least step of a number that matters, in the unit of its fact.

    A count's is one, an option's the step in which it is offered, a measure's what measuring can
    be out by. Where nothing tells, it is a twentieth of the bound (of 0: a hundredth of the range).
    """
    if entry.kind == COUNT:
        return 1.0
    if entry.origin == OPTION and entry.step:
        return entry.step
    if entry.tolerance and entry.origin != COMPUTED:
        return entry.tolerance
    if bound:
        return round9(abs(bound) * _PART_OF_BOUND)
    return round9(((entry.high or 1.0) - (entry.low or 0.0)) / 100.0)


__all__ = [
    "Path",
    "Term",
    "at",
    "fact_of",
    "fails_alone",
    "groups_of",
    "holds_alone",
    "if_it_came_to",
    "is_term",
    "notch",
    "replaced",
    "terms_of",
]
