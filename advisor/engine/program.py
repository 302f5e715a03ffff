"""A run: one pass over the strata of a rule base, and everything there is to tell of it.

Rules are numbered, and sets of rules are integers with a bit for each. A condition is mostly a
conjunction of parts that read one fact; so each fact keeps, for each value it has been seen with
(for numbers: each interval between the bounds that rules set), which conditions that value rules
out and which it leaves unknown. A run then looks up one bit set for each fact and intersects them:
its cost grows with the facts, hardly with the rules. Parts that read several facts are judged one
by one, and only where everything else has left the condition open.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from advisor.engine.conditions import (
    All,
    Judge,
    Node,
    Ref,
    compile_condition,
    slots_of,
    tests_of,
)
from advisor.engine.lookup import KeptFact, Looks
from advisor.engine.rules import FIRING, STANDING, Rule, order, overriders
from advisor.engine.run import Bits, Run, members, settle
from advisor.engine.values import MISSING, NO, OPEN, UNKNOWN, FactTable, Value


class _Contest(NamedTuple):
    """A rule that others override, all as bits."""

    bit: int
    winners: int
    stop: bool


class _Claim(NamedTuple):
    """A concluded fact and the rules that could set it."""

    slot: int
    setters: int
    told: tuple[tuple[int, Value], ...]  # bit, value
    alone: Mapping[int, Value]  # bit -> value


class _Stratum(NamedTuple):
    """What is settled together: firings, then standings in order, then values."""

    fire: int
    mixed: int  # rules whose `when` has mixed parts, or whose `unless` has
    contests: tuple[_Contest, ...]
    contested: int
    claims: tuple[_Claim, ...]
    facts: Looks  # concluded here, read later


class Program:
    """Rules compiled for running; built once, used for any number of runs.

    Args:
        rules: in any order.
        table: the slots of their facts.

    Raises:
        CircleError: if the rules cannot be ordered.
    """

    def __init__(self, rules: Sequence[Rule], table: FactTable) -> None:
        self.table = table
        self.rules: tuple[Rule, ...] = tuple(sorted(rules, key=lambda rule: rule.id))
        self.place: dict[str, int] = {rule.id: i for i, rule in enumerate(self.rules)}
        self.rank = order(self.rules, table)
        self.overriders: tuple[tuple[int, ...], ...] = self._overriders()
        self.setters: dict[int, tuple[tuple[int, Value], ...]] = self._setters()
        self._shift = len(self.rules)
        self._bits = [1 << i for i in range(self._shift)]
        self._excepting = 0
        self._mixed: dict[int, tuple[Judge | None, Judge | None]] = {}
        parts = self._part_conditions()
        self._facts = Looks(())
        self._strata = self._stratify(parts)

    def _overriders(self) -> tuple[tuple[int, ...], ...]:
        winners = overriders(self.rules)
        return tuple(
            tuple(self.place[winner] for winner in winners.get(rule.id, ())) for rule in self.rules
        )

    def _setters(self) -> dict[int, tuple[tuple[int, Value], ...]]:
        found: dict[int, list[tuple[int, Value]]] = {}
        for i, rule in enumerate(self.rules):
            for fact, value in rule.sets:
                found.setdefault(self.table.slot[fact], []).append((i, value))
        return {slot: tuple(claims) for slot, claims in found.items()}

    def _part_conditions(self) -> dict[int, list[tuple[int, Node]]]:
        """Take conditions apart: by slot where a part reads one, else into mixed remainders.

        Conditions are bits: `when` of rule i is bit i, its `unless` as many bits up as there are
        rules. A condition's upper bit, twice as far up again, is set while it may still be yes.
        """
        parts: dict[int, list[tuple[int, Node]]] = {}
        for i, rule in enumerate(self.rules):
            mixed: list[Judge | None] = []
            for condition, bit in ((rule.when, 1 << i), (rule.unless, 1 << i + self._shift)):
                rest: list[Node] = []
                for part in () if condition is None else _conjuncts(condition):
                    slots = slots_of(part, self.table)
                    refers = any(isinstance(test.operand, Ref) for test in tests_of(part))
                    if len(slots) == 1 and not refers:
                        parts.setdefault(min(slots), []).append((bit, part))
                    else:
                        rest.append(part)
                mixed.append(compile_condition(All(tuple(rest)), self.table) if rest else None)
            if any(mixed):
                self._mixed[i] = mixed[0], mixed[1]
            if rule.unless is not None:
                self._excepting |= 1 << i
        return parts

    def _stratify(self, parts: dict[int, list[tuple[int, Node]]]) -> tuple[_Stratum, ...]:
        depth = max(self.rank.values(), default=0) + 1
        fire = [0] * depth
        contests: list[list[_Contest]] = [[] for _ in range(depth)]
        claims: list[list[_Claim]] = [[] for _ in range(depth)]
        later: list[list[KeptFact]] = [[] for _ in range(depth)]
        facts: dict[int, KeptFact] = {}
        for slot, held in parts.items():
            facts[slot] = KeptFact(slot, tuple(held), 2 * self._shift, self.table)
        for (kind, name), rank in self.rank.items():
            if kind == FIRING:
                fire[rank] |= 1 << self.place[name]
            elif kind == STANDING:
                i = self.place[name]
                if self.overriders[i]:
                    # `rank` lists standings in an order in which overriders come first.
                    winners = sum(1 << w for w in self.overriders[i])
                    contests[rank].append(_Contest(1 << i, winners, self.rules[i].stop))
            else:
                slot = self.table.slot[name]
                setters = self.setters.get(slot, ())
                told = tuple((1 << i, value) for i, value in setters)
                claims[rank].append(_Claim(slot, sum(b for b, _ in told), told, dict(told)))
                if slot in facts:
                    later[rank].append(facts.pop(slot))
        # Concluded facts that nothing sets, or that only a `stated` test reads, settle nothing.
        self._facts = Looks([facts[slot] for slot in sorted(facts)])
        mixed = sum(1 << i for i in self._mixed)
        return tuple(
            _Stratum(
                fire[rank],
                fire[rank] & mixed,
                tuple(contests[rank]),
                sum(contest.bit for contest in contests[rank]),
                tuple(claims[rank]),
                Looks(later[rank]),
            )
            for rank in range(depth)
        )

    def run(self, values: list[Value], *, sure: bool = False) -> Run:
        """Fire everything that can fire on `values`, in place, and return the finished run.

        Args:
            values: from `FactTable.blank()`, with the facts that have a value and the `stated`
                flags filled in; concluded facts are written into it.
            sure: whether only what holds whatever becomes of the facts that are OPEN counts as
                fired, standing or concluded; the rest is undecided.
        """
        n = self._shift
        excepting = self._excepting
        # Four sets in one number: `when` possible, `unless` possible, `when` yes, `unless` yes.
        left = self._facts.left((1 << 4 * n) - 1, values)
        fired = undecided = opened = excepted = standing = waiting = 0
        ties: list[int] = []
        for fire, mixed, contests, contested, claims, facts in self._strata:
            many = left & mixed
            if many:
                left = self._judge_mixed(many, left, values)
            may = left & fire
            if may:
                barred = may & (left >> 3 * n) & excepting
                excepted |= barred
                now = may ^ barred
                hits = now & (left >> 2 * n)
                doubtful = hits & (left >> n) & excepting
                if sure:
                    hits ^= doubtful
                else:
                    opened |= doubtful
                fired |= hits
                standing |= hits
                undecided |= now ^ hits
                waiting |= now ^ hits
            live = standing | waiting
            if contested & live:
                for bit, winners, stop in contests:
                    if live & bit:
                        beating = winners & standing
                        if beating and (not stop or beating & ~opened):
                            standing &= ~bit
                            waiting &= ~bit
                        elif sure and winners & waiting and standing & bit:
                            standing &= ~bit
                            waiting |= bit
                live = standing | waiting
            for slot, setters, told, alone in claims:
                if live & setters:
                    hits = standing & setters
                    if sure and waiting & setters:
                        values[slot] = OPEN
                    elif not hits:
                        values[slot] = MISSING
                    elif hits in alone:
                        values[slot] = alone[hits]
                    else:
                        values[slot], tied = settle(told, standing, waiting)
                        if tied:
                            ties.append(slot)
            left = facts.left(left, values)
        bits = Bits(fired, undecided, opened, excepted, standing, waiting)
        return Run(self, values, bits, tuple(ties))

    def _judge_mixed(self, rules: int, left: int, values: list[Value]) -> int:
        """Judge the parts of conditions that read several facts, where the rest leaves it open."""
        n = self._shift
        mixed = self._mixed
        bits = self._bits
        unless_open = left >> n
        not_when = maybe_when = not_unless = maybe_unless = 0
        for i in members(rules):
            when, unless = mixed[i]
            if when is not None:
                outcome = when(values)
                if outcome == NO:
                    not_when |= bits[i]
                    continue
                if outcome == UNKNOWN:
                    maybe_when |= bits[i]
            if unless is not None and unless_open & bits[i]:
                outcome = unless(values)
                if outcome == NO:
                    not_unless |= bits[i]
                elif outcome == UNKNOWN:
                    maybe_unless |= bits[i]
        settled = not_when | not_unless << n
        return left & ~(settled | (settled | maybe_when | maybe_unless << n) << 2 * n)


def _conjuncts(node: Node) -> Iterator[Node]:
    """Yield the parts that must all hold, nested alls taken apart."""
    if isinstance(node, All):
        for part in node.parts:
            yield from _conjuncts(part)
    else:
        yield node
