"""A run: one pass over the strata of a rule base, and everything there is to tell of it.

Rules are numbered, and sets of rules are integers with a bit for each. A condition is mostly a
conjunction of parts that read one fact; so each fact keeps, for each value it has been seen with
(for numbers: each interval between the bounds that rules set), which conditions that value rules
out and which it leaves unknown. A run then looks up one bit set for each fact and intersects them:
its cost grows with the facts, hardly with the rules. Parts that read several facts are judged one
by one, and only where everything else has left the condition open.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import reduce
from operator import and_, getitem, itemgetter
from typing import NamedTuple

from advisor.engine.conditions import (
    All,
    Judge,
    Node,
    Ref,
    compile_condition,
    lacking,
    slots_of,
    tests_of,
)
from advisor.engine.rules import FIRING, STANDING, VALUE, Rule, Step, order, overriders
from advisor.engine.values import (
    ABSENT,
    CONCLUDED,
    MISSING,
    NO,
    UNKNOWN,
    YES,
    FactTable,
    Value,
    has_value,
    same_value,
)

SILENT, UNDECIDED, FIRED, FIRED_OPEN = 0, 1, 2, 3
"""States of a rule; FIRED_OPEN fired while its `unless` is unknown."""

STATE_NAMES = ("silent", "undecided", "fired", "fired")


def settle(told: Iterable[tuple[int, Value]], standing: int, waiting: int) -> tuple[Value, bool]:
    """Return the value of a concluded fact and whether it is tied.

    `told` are (bit, value) of the rules that could set it; `standing` and `waiting` hold the bits
    of those that do and of those that are undecided. Standing rules that differ tie the fact: it
    has no value, yet is not absent. A fact that only an undecided rule could set stays unknown.
    """
    value: Value = ABSENT
    for bit, claimed in told:
        if standing & bit:
            if has_value(value) and not same_value(value, claimed):
                return MISSING, True
            value = claimed
        elif waiting & bit and value is ABSENT:
            value = MISSING
    return value, False


def defeats(status: int, loser_is_stop: bool) -> bool:
    """Tell whether a rule of this standing sets aside what it overrides.

    A stop gives way only to a rule whose exception is known not to hold.
    """
    return status == FIRED or (status == FIRED_OPEN and not loser_is_stop)


MOST_SEEN = 512
"""Values of one fact whose bit sets are kept; texts could otherwise pile up without end."""


def members(bits: int) -> Iterator[int]:
    """Yield the numbers of the rules in a set, ascending."""
    # Searching the binary text is several times faster than picking bits off a long integer.
    text = bin(bits)[:1:-1]
    at = text.find("1")
    while at >= 0:
        yield at
        at = text.find("1", at + 1)


class _Fact:
    """What each value of one fact does to the conditions that read it.

    `parts` are (bit of the condition, part of it). `seen` holds for each value the set of
    conditions it does not rule out and, further up, of those it does not leave unknown either.
    """

    __slots__ = ("_cuts", "_near", "_values", "everything", "parts", "seen", "slot", "table", "up")

    def __init__(
        self, slot: int, parts: Sequence[tuple[int, Node]], up: int, table: FactTable
    ) -> None:
        self.slot = slot
        self.parts = parts
        self.up = up
        self.everything = (1 << 2 * up) - 1
        self.table = table
        self.seen: dict[Value, int] = {}
        self._near: dict[float, int] = {}
        self._cuts = self._find_cuts()
        self._values = table.blank()

    def _find_cuts(self) -> tuple[float, ...]:
        """Return the numbers that split the fact's values into those that rules tell apart."""
        operands = [test.operand for _, part in self.parts for test in tests_of(part)]
        numbers = {x for x in operands if isinstance(x, (int, float)) and not isinstance(x, bool)}
        return tuple(sorted(numbers))

    def learn(self, value: Value) -> int:
        """Return and keep what a value not seen before does."""
        cuts = self._cuts
        if cuts and has_value(value):
            # Numbers between two neighbouring bounds are alike to every rule.
            at = bisect_left(cuts, value)
            near = at + 0.5 if at < len(cuts) and cuts[at] == value else at
            found = self._near.get(near)
            if found is None:
                found = self._near[near] = self._judge(value)
        else:
            found = self._judge(value)
        if len(self.seen) >= MOST_SEEN:
            self.seen.clear()
        self.seen[value] = found
        return found

    def _judge(self, value: Value) -> int:
        left = self.everything
        values = self._values
        values[self.slot] = value
        for bit, part in self.parts:
            outcome = compile_condition(part, self.table)(values)
            if outcome != YES:
                left &= ~(bit << self.up)
                if outcome == NO:
                    left &= ~bit
        return left


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


class _Looks:
    """Facts looked up together: what their values leave of the conditions."""

    __slots__ = ("_facts", "_pick", "_seen")

    def __init__(self, facts: Sequence[_Fact]) -> None:
        self._facts = tuple(facts)
        self._seen = tuple(fact.seen for fact in facts)
        # With one slot itemgetter gives no tuple, so the list of values is picked from twice.
        slots = [fact.slot for fact in facts]
        self._pick = itemgetter(*slots, *slots[:1]) if slots else None

    def left(self, left: int, values: list[Value]) -> int:
        """Return what the facts' values leave of `left`."""
        if self._pick is None:
            return left
        try:
            # All of it in C: this is the loop in which a run spends its time.
            return reduce(and_, map(getitem, self._seen, self._pick(values)), left)
        except KeyError:
            for fact in self._facts:
                value = values[fact.slot]
                known = fact.seen.get(value)
                left &= fact.learn(value) if known is None else known
            return left


class _Stratum(NamedTuple):
    """What is settled together: firings, then standings in order, then values."""

    fire: int
    mixed: int  # rules whose `when` has mixed parts, or whose `unless` has
    contests: tuple[_Contest, ...]
    contested: int
    claims: tuple[_Claim, ...]
    facts: _Looks  # concluded here, read later


class Program:
    """Rules compiled for running; built once, used for any number of runs.

    Args:
        rules: in any order.
        table: the slots of their facts.
        rank: their order, if it is known.

    Raises:
        CircleError: if the rules cannot be ordered.
    """

    def __init__(
        self, rules: Sequence[Rule], table: FactTable, rank: Mapping[Step, int] | None = None
    ) -> None:
        self.table = table
        self.rules: tuple[Rule, ...] = tuple(sorted(rules, key=lambda rule: rule.id))
        self.place: dict[str, int] = {rule.id: i for i, rule in enumerate(self.rules)}
        self.rank = order(self.rules, table) if rank is None else rank
        self.overriders: tuple[tuple[int, ...], ...] = self._overriders()
        self.setters: dict[int, tuple[tuple[int, Value], ...]] = self._setters()
        self._shift = len(self.rules)
        self._bits = [1 << i for i in range(self._shift)]
        self._excepting = 0
        self._mixed: dict[int, tuple[Judge | None, Judge | None]] = {}
        parts = self._part_conditions()
        self._facts = _Looks(())
        self._strata = self._stratify(parts)

    def part(self, ids: Collection[str]) -> Program:
        """Return a program of some of the rules; whatever overrides one of them is among them."""
        rules = [rule for rule in self.rules if rule.id in ids]
        rank = {step: n for step, n in self.rank.items() if step[0] == VALUE or step[1] in ids}
        return Program(rules, self.table, rank)

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
        later: list[list[_Fact]] = [[] for _ in range(depth)]
        facts: dict[int, _Fact] = {}
        for slot, held in parts.items():
            facts[slot] = _Fact(slot, tuple(held), 2 * self._shift, self.table)
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
        self._facts = _Looks([facts[slot] for slot in sorted(facts)])
        mixed = sum(1 << i for i in self._mixed)
        return tuple(
            _Stratum(
                fire[rank],
                fire[rank] & mixed,
                tuple(contests[rank]),
                sum(contest.bit for contest in contests[rank]),
                tuple(claims[rank]),
                _Looks(later[rank]),
            )
            for rank in range(depth)
        )

    def run(self, values: list[Value]) -> Run:
        """Fire everything that can fire on `values`, in place, and return the finished run.

        Args:
            values: from `FactTable.blank()`, with the facts that have a value and the `stated`
                flags filled in; concluded facts are written into it.
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
                fired |= hits
                standing |= hits
                undecided |= now ^ hits
                waiting |= now ^ hits
                opened |= hits & (left >> n) & excepting
            live = standing | waiting
            if contested & live:
                for bit, winners, stop in contests:
                    if live & bit:
                        beating = winners & standing
                        if beating and (not stop or beating & ~opened):
                            standing &= ~bit
                            waiting &= ~bit
                live = standing | waiting
            for slot, setters, told, alone in claims:
                if live & setters:
                    hits = standing & setters
                    if not hits:
                        values[slot] = MISSING
                    elif hits in alone:
                        values[slot] = alone[hits]
                    else:
                        values[slot], tied = settle(told, standing, waiting)
                        if tied:
                            ties.append(slot)
            left = facts.left(left, values)
        bits = _Bits(fired, undecided, opened, excepted, standing, waiting)
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


class _Bits(NamedTuple):
    """Sets of rules, a bit each."""

    fired: int
    undecided: int
    opened: int  # fired, their exception unknown
    excepted: int  # silent because their exception holds
    standing: int  # fired and not set aside
    waiting: int  # undecided and not overruled


class Run:
    """A finished run; what it does not hold outright it tells from the values, which are final."""

    __slots__ = ("_roots", "_standing_rules", "bits", "program", "ties", "values")

    def __init__(
        self, program: Program, values: list[Value], bits: _Bits, ties: tuple[int, ...]
    ) -> None:
        self.program = program
        self.values = values
        self.bits = bits
        self.ties = ties
        self._standing_rules: list[Rule] | None = None
        self._roots: dict[str, frozenset[str]] = {}

    def value(self, fact: str) -> Value:
        """Return the value of a fact, MISSING or ABSENT included."""
        return self.values[self.program.table.slot[fact]]

    def status(self, rule_id: str) -> int:
        """Return SILENT, UNDECIDED, FIRED or FIRED_OPEN."""
        bit = 1 << self.program.place[rule_id]
        if self.bits.fired & bit:
            return FIRED_OPEN if self.bits.opened & bit else FIRED
        return UNDECIDED if self.bits.undecided & bit else SILENT

    def standing(self, place: int) -> int:
        """Return the same for a rule by its place, SILENT where it concludes nothing any more."""
        bit = 1 << place
        if self.bits.standing & bit:
            return FIRED_OPEN if self.bits.opened & bit else FIRED
        return UNDECIDED if self.bits.waiting & bit else SILENT

    def stands(self, rule_id: str) -> bool:
        """Tell whether a rule fired and nothing set it aside."""
        return bool(self.bits.standing >> self.program.place[rule_id] & 1)

    def states(self) -> dict[str, str]:
        """Return the state of every rule by its id."""
        found = dict.fromkeys(self.program.place, "silent")
        rules = self.program.rules
        for i in members(self.bits.undecided):
            found[rules[i].id] = "undecided"
        for i in members(self.bits.fired):
            found[rules[i].id] = "fired"
        return found

    def _rules(self, bits: int) -> list[Rule]:
        rules = self.program.rules
        return [rules[i] for i in members(bits)]

    def fired(self) -> list[Rule]:
        """Return the rules that fired, set aside or not."""
        return self._rules(self.bits.fired)

    def standing_rules(self) -> list[Rule]:
        """Return the rules whose conclusions count."""
        if self._standing_rules is None:
            self._standing_rules = self._rules(self.bits.standing)
        return self._standing_rules

    def open_rules(self) -> list[Rule]:
        """Return the undecided rules that could still conclude something."""
        return self._rules(self.bits.waiting)

    def undecided(self) -> list[Rule]:
        """Return the undecided rules, those that a standing rule overrides included."""
        return self._rules(self.bits.undecided)

    def excepted(self) -> list[Rule]:
        """Return the rules that are silent because their exception holds."""
        return self._rules(self.bits.excepted)

    def lacks(self, rule: Rule) -> frozenset[str]:
        """Return the facts that leave an undecided rule undecided."""
        if rule.when is None:
            return frozenset()
        return lacking(rule.when, self.program.table, self.values)

    def unless_open(self, rule: Rule) -> frozenset[str]:
        """Return the facts that leave a rule's exception unknown."""
        if rule.unless is None:
            return frozenset()
        return lacking(rule.unless, self.program.table, self.values)

    def set_aside(self) -> dict[str, list[str]]:
        """Return, for each rule that fired and lost, the ids of those that set it aside."""
        return self._beaten(self.bits.fired & ~self.bits.standing)

    def overruled(self) -> dict[str, list[str]]:
        """Return the same for undecided rules: they can conclude nothing any more."""
        return self._beaten(self.bits.undecided & ~self.bits.waiting)

    def _beaten(self, losers: int) -> dict[str, list[str]]:
        program = self.program
        return {
            program.rules[i].id: [
                program.rules[w].id
                for w in program.overriders[i]
                if defeats(self.standing(w), program.rules[i].stop)
            ]
            for i in members(losers)
        }

    def stands_unless(self) -> dict[str, list[tuple[str, frozenset[str]]]]:
        """Return what could still set a standing rule aside: (overrider, facts it waits for)."""
        program = self.program
        found: dict[str, list[tuple[str, frozenset[str]]]] = {}
        for i in members(self.bits.standing):
            rule = program.rules[i]
            for w in program.overriders[i]:
                winner = program.rules[w]
                if self.standing(w) == UNDECIDED:
                    facts = self.lacks(winner)
                elif self.standing(w) == FIRED_OPEN and rule.stop:
                    facts = self.unless_open(winner)
                else:
                    continue
                found.setdefault(rule.id, []).append((winner.id, facts))
        return found

    def value_stands_unless(self) -> dict[str, list[tuple[str, frozenset[str]]]]:
        """Return what could still tie a value: (undecided rule, facts it waits for) by fact."""
        program = self.program
        found: dict[str, list[tuple[str, frozenset[str]]]] = {}
        for slot, setters in program.setters.items():
            value = self.values[slot]
            if not has_value(value):
                continue
            for i, claimed in setters:
                if self.standing(i) == UNDECIDED and not same_value(value, claimed):
                    rule = program.rules[i]
                    name = program.table.names[slot]
                    found.setdefault(name, []).append((rule.id, self.lacks(rule)))
        return found

    def tied(self) -> dict[str, list[str]]:
        """Return the facts that standing rules set differently, with the ids of those rules."""
        program = self.program
        return {
            program.table.names[slot]: [
                program.rules[i].id for i, _ in program.setters[slot] if self.standing(i) >= FIRED
            ]
            for slot in self.ties
        }

    def concluded(self) -> dict[str, Value]:
        """Return the concluded facts that have a value."""
        names, values = self.program.table.names, self.values
        return {
            names[slot]: value
            for slot in self.program.setters
            if (value := values[slot]) is not MISSING and value is not ABSENT
        }

    def supporters(self, fact: str) -> list[str]:
        """Return the ids of the standing rules that gave a concluded fact its value."""
        program = self.program
        return [
            program.rules[i].id
            for i, _ in program.setters.get(program.table.slot[fact], ())
            if self.standing(i) >= FIRED
        ]

    def roots(self, facts: Iterable[str], needs: Mapping[str, Sequence[str]]) -> frozenset[str]:
        """Follow facts without a value down to those that somebody can state.

        A concluded fact leads to what its undecided rules lack, a computed one to the missing
        inputs of its function (`needs`, the same for every call); a tied fact, or a computed one
        that lacks nothing, is its own root.
        """
        found: set[str] = set()
        for fact in facts:
            below = self._roots.get(fact)
            if below is None:
                below = self._roots[fact] = self._roots_of(fact, needs)
            found |= below
        return frozenset(found)

    def _roots_of(self, fact: str, needs: Mapping[str, Sequence[str]]) -> frozenset[str]:
        program = self.program
        slot = program.table.slot[fact]
        if has_value(self.values[slot]):
            return frozenset()
        deeper: list[str] = []
        if program.table.origins[slot] == CONCLUDED:
            if slot not in self.ties:
                for i, _ in program.setters.get(slot, ()):
                    if self.standing(i) == UNDECIDED:
                        deeper += self.lacks(program.rules[i])
        else:
            deeper = [name for name in needs.get(fact, ()) if not has_value(self.value(name))]
        return self.roots(deeper, needs) if deeper else frozenset((fact,))


__all__ = ["UNKNOWN", "Program", "Run", "defeats", "settle"]
