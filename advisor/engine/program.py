"""A run: one pass over the strata of a rule base, and everything there is to tell of it.

Rules are numbered, and sets of rules are integers with a bit for each. A condition is mostly a
conjunction of parts that read one fact; so each fact keeps, for each value it has been seen with
(for numbers: each interval between the bounds that rules set), which conditions that value rules
out and which it leaves unknown. A run then looks up one bit set for each fact and unites them: its
cost grows with the facts, hardly with the rules. An `any` over several facts has bits for its
alternatives, each a conjunction itself. What is left, two facts compared above all, is judged one
by one, and only where everything else has left the condition open.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from advisor.engine.conditions import Judge, Node, plain_slots
from advisor.engine.lookup import KeptFact, Looks
from advisor.engine.parting import Parting
from advisor.engine.rules import FIRING, STANDING, Rule, order, overriders
from advisor.engine.run import Bits, Run, members
from advisor.engine.values import (
    ABSENT,
    MISSING,
    NO,
    OPEN,
    UNKNOWN,
    YES,
    FactTable,
    Missing,
    Value,
    same_value,
)


class _Contest(NamedTuple):
    """A rule that others override, all as bits."""

    bit: int
    winners: int
    stop: bool


class _Stratum(NamedTuple):
    """What is settled together: firings, then standings, then values."""

    fire: int
    choices: int  # rules whose `when` has an `any` whose alternatives have bits
    mixed: int  # rules whose `when` has mixed parts
    winners: int  # rules that override, and are themselves settled before this stratum's contests
    losers: Mapping[int, tuple[_Contest, ...]]  # by the place of such a winner
    chained: tuple[_Contest, ...]  # in order: among their winners are rules contested here
    setters: int
    sets: Mapping[int, Sequence[tuple[int, Value]]]  # slot and value, by the setter's place
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
        self._parting = Parting(rules, table)
        self.rules: tuple[Rule, ...] = self._parting.rules
        self.place: dict[str, int] = {rule.id: i for i, rule in enumerate(self.rules)}
        self.all_silent = dict.fromkeys(sorted(self.place), "silent")
        turn = {rule_id: i for i, rule_id in enumerate(self.all_silent)}
        self.turn = [turn[rule.id] for rule in self.rules]
        """The place of each rule in the order of ids."""
        self.plain_when = [
            plain_slots(rule.when, table, NO) or plain_slots(rule.when, table, YES)
            for rule in self.rules
        ]
        """What an undecided rule's condition reads, by place, if that alone tells what it lacks."""
        self.plain_unless = [plain_slots(rule.unless, table, YES) for rule in self.rules]
        """The same of its exception where that does not hold."""
        self.plainly_read = tuple(map(_by_slot, (self.plain_when, self.plain_unless)))
        """By the slots that they take, the rules to which the one applies, and the other."""
        self.not_plain = (
            _without(self.plain_when, [rule.when for rule in self.rules]),
            _without(self.plain_unless, [rule.unless for rule in self.rules]),
        )
        """The rules whose condition, and whose exception, must be judged to tell what it lacks."""
        self.rank = order(self.rules, table)
        self.overriders: tuple[tuple[int, ...], ...] = self._overriders()
        self.setters: dict[int, tuple[tuple[int, Value], ...]] = self._setters()
        self._mixed_exceptions = sum(1 << i for i in self._parting.exception_judges)
        self._facts = Looks(())
        self._strata = self._stratify()

    def _overriders(self) -> tuple[tuple[int, ...], ...]:
        winners = overriders(self.rules)
        return tuple(
            tuple(self.place[winner] for winner in winners.get(rule.id, ())) for rule in self.rules
        )

    def _setters(self) -> dict[int, tuple[tuple[int, Value], ...]]:
        found: dict[int, list[tuple[int, Value]]] = {}
        for rule in sorted(self.rules, key=lambda rule: rule.id):
            for fact, value in rule.sets:
                found.setdefault(self.table.slot[fact], []).append((self.place[rule.id], value))
        return {slot: tuple(claims) for slot, claims in found.items()}

    def _stratify(self) -> tuple[_Stratum, ...]:
        depth = max(self.rank.values(), default=0) + 1
        fire = [0] * depth
        contests: list[list[_Contest]] = [[] for _ in range(depth)]
        sets: list[dict[int, list[tuple[int, Value]]]] = [{} for _ in range(depth)]
        later: list[list[KeptFact]] = [[] for _ in range(depth)]
        parting = self._parting
        facts = {slot: KeptFact(slot, held, self.table) for slot, held in parting.parts.items()}
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
                for i, value in self.setters.get(slot, ()):
                    sets[rank].setdefault(i, []).append((slot, value))
                if slot in facts:
                    later[rank].append(facts.pop(slot))
        # Concluded facts that nothing sets, or that only a `stated` test reads, settle nothing.
        self._facts = Looks([facts[slot] for slot in sorted(facts)])
        mixed = sum(1 << i for i in parting.judges)
        return tuple(
            _Stratum(
                fire[rank],
                fire[rank] & parting.choosing,
                fire[rank] & mixed,
                *_in_the_open(contests[rank]),
                sum(1 << i for i in sets[rank]),
                sets[rank],
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
        parting = self._parting
        excepting, unknown = parting.excepting, parting.unknown
        exception_no, exception_unknown = parting.exception_no, parting.exception_unknown
        against = self._facts.gather(0, values)
        fired = undecided = unsure = opened = excepted = standing = waiting = 0
        ties: list[int] = []
        for stratum in self._strata:
            fire, choices, mixed, winners, losers, chained, setters, sets, facts = stratum
            # x ^ x & y is x without y and no longer than x; x & ~y would first copy all of y.
            choices ^= choices & against
            if choices:
                against |= self._unite_choices(choices, against)
            mixed ^= mixed & against
            if mixed:
                against |= self._judge_mixed(mixed, values)
            may = fire ^ fire & against
            if may:
                guarded = may & excepting
                if guarded:
                    mixed = guarded & self._mixed_exceptions
                    if mixed:
                        against |= self._judge_exceptions(mixed, values)
                    guarded ^= guarded & against >> exception_no
                    doubtful = guarded & against >> exception_unknown
                    excepted |= guarded ^ doubtful
                    may ^= guarded ^ doubtful
                unclear = may & against >> unknown
                unsure |= unclear
                hits = may ^ unclear
                if guarded:
                    doubtful &= hits
                    if sure:
                        hits ^= doubtful
                    else:
                        opened |= doubtful
                fired |= hits
                standing |= hits
                undecided |= may ^ hits
                waiting |= may ^ hits
            if winners & standing or (sure and winners & waiting):
                standing, waiting = self._contest(losers, winners, opened, standing, waiting, sure)
            for bit, beating, stop in chained:
                if (standing | waiting) & bit:
                    ahead = beating & standing
                    if ahead and (not stop or ahead ^ ahead & opened):
                        standing ^= standing & bit
                        waiting ^= waiting & bit
                    elif sure and beating & waiting and standing & bit:
                        standing ^= bit
                        waiting |= bit
            if setters & (standing | waiting):
                _conclude(sets, setters & standing, setters & waiting, values, ties, sure)
            against = facts.gather(against, values)
        bits = Bits(fired, undecided, unsure, opened, excepted, standing, waiting)
        return Run(self, values, bits, tuple(ties))

    def _contest(
        self,
        losers: Mapping[int, tuple[_Contest, ...]],
        winners: int,
        opened: int,
        standing: int,
        waiting: int,
        sure: bool,
    ) -> tuple[int, int]:
        """Return what stands and waits once what stands has set aside what it overrides."""
        beaten = doubted = 0
        for i in members(winners & standing):
            certain = not opened >> i & 1
            for bit, _, stop in losers[i]:
                if certain or not stop:
                    beaten |= bit
        standing ^= standing & beaten
        waiting ^= waiting & beaten
        if sure:
            for i in members(winners & waiting):
                for bit, _, _ in losers[i]:
                    doubted |= bit
            doubted &= standing
            standing ^= doubted
            waiting |= doubted
        return standing, waiting

    def _unite_choices(self, rules: int, against: int) -> int:
        """Return what stands against rules for want of an alternative: none left, or none sure."""
        possible = sure = 0
        for having, no, unknown in self._parting.planes:
            left = rules & having
            left ^= left & against >> no
            possible |= left
            sure |= left ^ left & against >> unknown
        return rules ^ possible | (rules ^ sure) << self._parting.unknown

    def _judge_mixed(self, rules: int, values: list[Value]) -> int:
        """Judge what is left of conditions one by one; return what that stands against."""
        no, unknown = self._judge(self._parting.judges, rules, values)
        return no | unknown << self._parting.unknown

    def _judge_exceptions(self, rules: int, values: list[Value]) -> int:
        no, unknown = self._judge(self._parting.exception_judges, rules, values)
        return no << self._parting.exception_no | unknown << self._parting.exception_unknown

    def _judge(
        self, judges: Mapping[int, Judge], rules: int, values: list[Value]
    ) -> tuple[int, int]:
        no = unknown = 0
        while rules:
            # As in `members`, but with the bit at hand.
            i = rules.bit_length() - 1
            bit = 1 << i
            rules ^= bit
            outcome = judges[i](values)
            if outcome == NO:
                no |= bit
            elif outcome == UNKNOWN:
                unknown |= bit
        return no, unknown


def _by_slot(plain: Sequence[frozenset[int] | None]) -> dict[int, int]:
    found: dict[int, int] = {}
    for i, slots in enumerate(plain):
        for slot in slots or ():
            found[slot] = found.get(slot, 0) | 1 << i
    return found


def _without(plain: Sequence[object], nodes: Sequence[Node | None]) -> int:
    """Return, as bits by place, the conditions that have no plain slots."""
    pairs = enumerate(zip(plain, nodes, strict=True))
    return sum(1 << i for i, (slots, node) in pairs if node is not None and slots is None)


def _conclude(
    sets: Mapping[int, Sequence[tuple[int, Value]]],
    standing: int,
    waiting: int,
    values: list[Value],
    ties: list[int],
    sure: bool,
) -> None:
    """Give facts the values that rules set; those that only undecided rules set stay unknown.

    Standing rules that differ tie the fact: it has no value, yet is not absent.
    """
    if sure:
        for i in members(waiting):
            for slot, _ in sets[i]:
                values[slot] = OPEN
    for i in members(standing):
        for slot, claimed in sets[i]:
            value = values[slot]
            if value is ABSENT:
                values[slot] = claimed
            elif value.__class__ is not Missing and not same_value(value, claimed):
                values[slot] = MISSING
                ties.append(slot)
    if not sure:
        for i in members(waiting):
            for slot, _ in sets[i]:
                if values[slot] is ABSENT:
                    values[slot] = MISSING


def _in_the_open(
    contests: list[_Contest],
) -> tuple[int, dict[int, tuple[_Contest, ...]], tuple[_Contest, ...]]:
    """Split the contests of a stratum: those between rules settled before, and those in a chain.

    Returns the winners of the first as bits, their contests by the winner's place, and the rest.
    """
    contested = sum(contest.bit for contest in contests)
    winners = 0
    losers: dict[int, list[_Contest]] = {}
    for contest in contests:
        if not contest.winners & contested:
            winners |= contest.winners
            for i in members(contest.winners):
                losers.setdefault(i, []).append(contest)
    chained = tuple(contest for contest in contests if contest.winners & contested)
    return winners, {i: tuple(found) for i, found in losers.items()}, chained
