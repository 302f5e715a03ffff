"""Rules as the engine sees them, and the order in which they can be settled."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from advisor.engine.conditions import Node, facts_of
from advisor.engine.values import CONCLUDED, FactTable, Value

MUST, MUST_NOT, SHOULD, SHOULD_NOT = "must", "must_not", "should", "should_not"


class Demand(NamedTuple):
    """What a rule asks of one fact; `place` is its place in the rule's `then`."""

    place: int
    strength: str
    fact: str
    test: Node

    @property
    def is_must(self) -> bool:
        """Tell whether breaking the demand rejects a build."""
        return self.strength in (MUST, MUST_NOT)

    @property
    def is_negative(self) -> bool:
        """Tell whether the demand asks that its test does not hold."""
        return self.strength in (MUST_NOT, SHOULD_NOT)


class Favour(NamedTuple):
    """A wish for the highest or the lowest value of a fact."""

    fact: str
    highest: bool


class Rule(NamedTuple):
    """A rule without its words: those stay with whoever reads and shows it."""

    id: str
    when: Node | None = None
    unless: Node | None = None
    sets: tuple[tuple[str, Value], ...] = ()
    demands: tuple[Demand, ...] = ()
    favour: Favour | None = None
    stop: bool = False
    overrides: tuple[str, ...] = ()
    layer: int = 0

    def reads(self) -> frozenset[str]:
        """Return the facts that must have their values before the rule fires."""
        return facts_of(self.when) | facts_of(self.unless)


class CircleError(Exception):
    """A rule base that cannot be ordered; `steps` spells the circle out, first step repeated."""

    def __init__(self, steps: Sequence[tuple[str, str]]) -> None:
        super().__init__(" -> ".join(f"{kind} of {name}" for kind, name in steps))
        self.steps = tuple(steps)


FIRING, VALUE, STANDING = "firing", "value", "standing"
Step = tuple[str, str]


def _needs(rules: Sequence[Rule], table: FactTable) -> dict[Step, list[Step]]:
    """Return, for each thing that is ordered, what must be settled before it.

    A rule fires after the facts it reads have their values; a fact has its value after every rule
    that could set it stands or not; a rule stands or not after every rule that overrides it has
    fired and stands or not.
    """
    ids = {rule.id for rule in rules}
    needs: dict[Step, list[Step]] = {}
    for rule in rules:
        waited = [fact for fact in rule.reads() if table.origin(fact) == CONCLUDED]
        needs[FIRING, rule.id] = [(VALUE, fact) for fact in waited]
        needs.setdefault((STANDING, rule.id), []).append((FIRING, rule.id))
        for loser in rule.overrides:
            if loser in ids:
                needs.setdefault((STANDING, loser), []).append((STANDING, rule.id))
        for fact, _ in rule.sets:
            needs.setdefault((VALUE, fact), []).append((STANDING, rule.id))
    for before in needs.values():
        before.sort()
    return needs


def order(rules: Sequence[Rule], table: FactTable) -> dict[Step, int]:
    """Give every rule's firing and standing and every concluded fact its rank.

    Steps of one rank do not wait for each other, standings apart, which are listed in order.
    The result does not depend on the order of the rules.

    Raises:
        CircleError: if some of these wait for each other.

    """
    needs = _needs(rules, table)
    rank: dict[Step, int] = {}
    path: dict[Step, None] = {}

    for start in sorted(needs):
        # Depth first without recursion, so that a long chain of rules cannot exhaust the stack.
        stack: list[tuple[Step, int]] = [(start, 0)]
        while stack:
            step, turn = stack.pop()
            if turn == 0:
                if step in rank:
                    continue
                path[step] = None
            before = needs.get(step, [])
            for at in range(turn, len(before)):
                other = before[at]
                if other in path:
                    trail = list(path)
                    circle = [*trail[trail.index(other) :], other]
                    raise CircleError(circle[::-1])
                if other not in rank:
                    stack.append((step, at + 1))
                    stack.append((other, 0))
                    break
            else:
                del path[step]
                highest = max((rank[other] for other in before), default=0)
                # Firings wait for values of a lower rank; standings and values share the rank of
                # what they wait for, and are settled in the order computed here.
                rank[step] = highest + 1 if step[0] == FIRING and before else highest
    return rank


def overriders(rules: Iterable[Rule]) -> dict[str, list[str]]:
    """Return, for each rule that is overridden, the ids of those that override it, sorted."""
    found: dict[str, list[str]] = {}
    for rule in rules:
        for loser in rule.overrides:
            found.setdefault(loser, []).append(rule.id)
    return {loser: sorted(winners) for loser, winners in found.items()}


def references(rule: Rule) -> frozenset[str]:
    """Return every fact a rule names, on either side of its tests; what it favours apart."""
    named = set(rule.reads())
    named.update(fact for fact, _ in rule.sets)
    for demand in rule.demands:
        named.add(demand.fact)
        named |= facts_of(demand.test)
    return frozenset(named)


__all__ = [
    "FIRING",
    "MUST",
    "MUST_NOT",
    "SHOULD",
    "SHOULD_NOT",
    "STANDING",
    "VALUE",
    "CircleError",
    "Demand",
    "Favour",
    "Rule",
    "Step",
    "order",
    "overriders",
    "references",
]
