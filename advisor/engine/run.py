"""A finished run and everything there is to tell of it: states, defeats, ties, what is lacking."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, NamedTuple

from advisor.engine.conditions import lacking
from advisor.engine.rules import Rule
from advisor.engine.values import ABSENT, CONCLUDED, MISSING, Missing, Value, has_value, same_value

if TYPE_CHECKING:
    from advisor.engine.program import Program

SILENT, UNDECIDED, FIRED, FIRED_OPEN = 0, 1, 2, 3
"""States of a rule; FIRED_OPEN fired while its `unless` is unknown."""

Inputs = Callable[[str, list[Value]], list[str]]
"""Given a computed fact and the values, the facts without a value that it waits for."""

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


def members(bits: int) -> list[int]:
    """Return the numbers of the rules in a set, ascending."""
    # Peeling bits off the top is faster than off the bottom, and than searching the binary text.
    found = []
    while bits:
        i = bits.bit_length() - 1
        found.append(i)
        bits ^= 1 << i
    found.reverse()
    return found


class Bits(NamedTuple):
    """Sets of rules, a bit each."""

    fired: int
    undecided: int
    unsure: int  # undecided, their condition unknown; in a run of what is sure others are too
    opened: int  # fired, their exception unknown
    excepted: int  # silent because their exception holds
    standing: int  # fired and not set aside
    waiting: int  # undecided and not overruled


class Run:
    """A finished run; what it does not hold outright it tells from the values, which are final."""

    __slots__ = (
        "_lacks",
        "_open",
        "_roots",
        "_standing_rules",
        "bits",
        "program",
        "ties",
        "values",
    )

    def __init__(
        self, program: Program, values: list[Value], bits: Bits, ties: tuple[int, ...]
    ) -> None:
        self.program = program
        self.values = values
        self.bits = bits
        self.ties = ties
        self._standing_rules: list[Rule] | None = None
        self._open: frozenset[int] | None = None
        self._lacks: dict[str, frozenset[str]] = {}
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
        found = self.program.all_silent.copy()
        rules = self.program.rules
        for i in members(self.bits.undecided):
            found[rules[i].id] = "undecided"
        for i in members(self.bits.fired):
            found[rules[i].id] = "fired"
        return found

    def _in_order(self, bits: int) -> list[int]:
        """Return the places of rules in the order of their ids."""
        return sorted(members(bits), key=self.program.turn.__getitem__)

    def _rules(self, bits: int) -> list[Rule]:
        rules = self.program.rules
        return [rules[i] for i in self._in_order(bits)]

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
        """Return the facts that leave a rule's condition unknown."""
        found = self._lacks.get(rule.id)
        if found is None:
            found = self._lacks[rule.id] = self._find_lacks(rule)
        return found

    def _find_lacks(self, rule: Rule) -> frozenset[str]:
        place = self.program.place[rule.id]
        if rule.when is None or not self.bits.unsure >> place & 1:
            return frozenset()
        plain = self.program.plain_when[place]
        if plain is None:
            return lacking(rule.when, self.program.table, self.values)
        return self._open_among(plain)

    def _open_among(self, slots: frozenset[int]) -> frozenset[str]:
        if self._open is None:
            values = enumerate(self.values)
            found = [i for i, x in values if x.__class__ is Missing and x is not ABSENT]
            self._open = frozenset(found)
        names = self.program.table.names
        return frozenset([names[slot] for slot in slots & self._open])

    def unless_open(self, rule: Rule) -> frozenset[str]:
        """Return the facts that leave a rule's exception unknown."""
        if rule.unless is None:
            return frozenset()
        place = self.program.place[rule.id]
        plain = self.program.plain_unless[place]
        if plain is None or not (self.bits.fired | self.bits.undecided) >> place & 1:
            return lacking(rule.unless, self.program.table, self.values)
        return self._open_among(plain)

    def open_ends(self) -> dict[str, frozenset[str]]:
        """Return, for each rule that could still conclude something, all that leaves it open.

        So `lacks` and `unless_open` together, worked out for all of them at once: by the facts,
        which are fewer than what rules ask of them.
        """
        program, values, waiting = self.program, self.values, self.bits.waiting
        names, rules = program.table.names, program.rules
        found: dict[int, list[str]] = {i: [] for i in members(waiting)}
        bits = waiting & self.bits.unsure, waiting
        for looked_at, reading in zip(bits, program.plainly_read, strict=True):
            for slot, readers in reading.items():
                x = values[slot]
                if x.__class__ is Missing and x is not ABSENT and readers & looked_at:
                    for i in members(readers & looked_at):
                        found[i].append(names[slot])
        for bits_left, lacks in zip(program.not_plain, (self.lacks, self.unless_open), strict=True):
            for i in members(bits_left & waiting):
                found[i] += lacks(rules[i])
        return {rules[i].id: frozenset(facts) for i, facts in found.items()}

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
            for i in self._in_order(losers)
        }

    def stands_unless(self) -> dict[str, list[tuple[str, frozenset[str]]]]:
        """Return what could still set a standing rule aside: (overrider, facts it waits for)."""
        program = self.program
        found: dict[str, list[tuple[str, frozenset[str]]]] = {}
        for i in self._in_order(self.bits.standing):
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
            if (value := values[slot]).__class__ is not Missing
        }

    def supporters(self, fact: str) -> list[str]:
        """Return the ids of the standing rules that gave a concluded fact its value."""
        program = self.program
        return [
            program.rules[i].id
            for i, _ in program.setters.get(program.table.slot[fact], ())
            if self.standing(i) >= FIRED
        ]

    def roots(self, facts: Iterable[str], inputs: Inputs) -> frozenset[str]:
        """Follow facts without a value down to those that somebody can state.

        A concluded fact leads to what its undecided rules lack, a computed one to the `inputs` it
        waits for (the same function for every call); a tied fact, or a computed one that waits for
        nothing, is its own root.
        """
        found: set[str] = set()
        for fact in facts:
            below = self._roots.get(fact)
            if below is None:
                below = self._roots[fact] = self._roots_of(fact, inputs)
            found |= below
        return frozenset(found)

    def _roots_of(self, fact: str, inputs: Inputs) -> frozenset[str]:
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
            deeper = inputs(fact, self.values)
        return self.roots(deeper, inputs) if deeper else frozenset((fact,))
