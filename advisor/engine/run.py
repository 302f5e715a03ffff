"""A run: one pass over the strata of a rule base, and everything there is to tell of it."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from advisor.engine.conditions import All as AllOf
from advisor.engine.conditions import (
    Any,
    Judge,
    Node,
    Ref,
    Test,
    compile_condition,
    lacking,
    parts_of,
)
from advisor.engine.rules import FIRING, STANDING, VALUE, Rule, order, overriders
from advisor.engine.values import (
    ABSENT,
    CONCLUDED,
    MISSING,
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


def settle(
    claims: Iterable[tuple[int, Value]],
) -> tuple[Value, bool]:
    """Return the value of a concluded fact and whether it is tied.

    `claims` are (status, value) of the rules that could set it, status being SILENT for a rule
    that concludes nothing. Standing rules that differ tie the fact: it has no value, yet is not
    absent. A fact that only an undecided rule could set stays unknown.
    """
    value: Value = ABSENT
    for status, claimed in claims:
        if status >= FIRED:
            if has_value(value) and not same_value(value, claimed):
                return MISSING, True
            value = claimed
        elif status == UNDECIDED and value is ABSENT:
            value = MISSING
    return value, False


def defeats(status: int, loser_is_stop: bool) -> bool:
    """Tell whether a rule of this standing sets aside what it overrides.

    A stop gives way only to a rule whose exception is known not to hold.
    """
    return status == FIRED or (status == FIRED_OPEN and not loser_is_stop)


class _Index(NamedTuple):
    """Rules of one stratum that share a telling fact, by its values or by its bounds."""

    slot: int
    by_value: Mapping[Value, tuple[int, ...]] | None
    cuts: tuple[float, ...]
    buckets: tuple[tuple[int, ...], ...]
    everything: tuple[int, ...]


class _Stratum(NamedTuple):
    always: tuple[int, ...]
    indexes: tuple[_Index, ...]
    contested: tuple[int, ...]


class Program:
    """Rules compiled for running; built once, used for any number of runs.

    Raises:
        CircleError: if the rules cannot be ordered.

    """

    def __init__(self, rules: Sequence[Rule], table: FactTable) -> None:
        self.table = table
        self.rules: tuple[Rule, ...] = tuple(sorted(rules, key=lambda rule: rule.id))
        self.place: dict[str, int] = {rule.id: i for i, rule in enumerate(self.rules)}
        self.rank = order(self.rules, table)
        self.when: list[Judge | None] = [
            None if rule.when is None else compile_condition(rule.when, table)
            for rule in self.rules
        ]
        self.unless: list[Judge | None] = [
            None if rule.unless is None else compile_condition(rule.unless, table)
            for rule in self.rules
        ]
        self.overriders: tuple[tuple[int, ...], ...] = self._overriders()
        self.setters: dict[int, tuple[tuple[int, Value], ...]] = self._setters()
        self._touches: list[tuple[int, ...]] = [
            tuple(table.slot[fact] for fact, _ in rule.sets) for rule in self.rules
        ]
        self._value_rank = {
            table.slot[name]: rank for (kind, name), rank in self.rank.items() if kind == VALUE
        }
        self._strata = self._stratify()

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

    def _stratify(self) -> tuple[_Stratum, ...]:
        depth = max(self.rank.values(), default=0) + 1
        firing: list[list[int]] = [[] for _ in range(depth)]
        contested: list[list[int]] = [[] for _ in range(depth)]
        for (kind, name), rank in self.rank.items():
            if kind == FIRING:
                firing[rank].append(self.place[name])
            elif kind == STANDING and name in self.place and self.overriders[self.place[name]]:
                # `rank` lists standings in an order in which overriders come first.
                contested[rank].append(self.place[name])
        return tuple(
            _stratum(self, tuple(fire), tuple(stand))
            for fire, stand in zip(firing, contested, strict=True)
        )

    def run(self, values: list[Value]) -> Run:
        """Fire everything that can fire on `values`, in place, and return the finished run.

        Args:
            values: from `FactTable.blank()`, with the facts that have a value and the `stated`
                flags filled in; concluded facts are written into it.

        """
        state = bytearray(len(self.rules))
        standing = bytearray(len(self.rules))
        excepted: list[int] = []
        ties: list[int] = []
        when, unless, touches = self.when, self.unless, self._touches
        touched: set[int] = set()
        for rank, (always, indexes, contested) in enumerate(self._strata):
            candidates = always
            for slot, by_value, cuts, buckets, everything in indexes:
                x = values[slot]
                if x is MISSING:
                    candidates += everything
                elif by_value is not None:
                    candidates += by_value.get(x, ())
                elif x is not ABSENT:
                    # An odd place is a cut itself, an even one the open interval before it.
                    at = bisect_left(cuts, x)
                    candidates += buckets[at + bisect_right(cuts, x)]
            for i in candidates:
                judge = when[i]
                held = YES if judge is None else judge(values)
                if held:
                    judge = unless[i]
                    if judge is None:
                        status = held
                    else:
                        barred = judge(values)
                        if barred == YES:
                            excepted.append(i)
                            continue
                        status = held + 1 if barred and held == YES else held
                    state[i] = standing[i] = status
                    if touches[i]:
                        touched.update(touches[i])
            for i in contested:
                if standing[i]:
                    stop = self.rules[i].stop
                    for winner in self.overriders[i]:
                        if defeats(standing[winner], stop):
                            standing[i] = SILENT
                            break
            if touched:
                for slot in [slot for slot in touched if self._value_rank[slot] == rank]:
                    touched.discard(slot)
                    claims = ((standing[i], value) for i, value in self.setters[slot])
                    values[slot], tied = settle(claims)
                    if tied:
                        ties.append(slot)
        return Run(self, values, state, standing, tuple(excepted), tuple(sorted(ties)))


def _stratum(program: Program, fire: tuple[int, ...], stand: tuple[int, ...]) -> _Stratum:
    """Index the rules of one stratum by the test that tells most."""
    always: list[int] = []
    equal: dict[int, dict[int, frozenset[Value]]] = {}
    bounded: dict[int, dict[int, tuple[tuple[str, float], ...]]] = {}
    for i in fire:
        when = program.rules[i].when
        telling = None if when is None else _telling(when, program.table)
        if telling is None:
            always.append(i)
        elif isinstance(telling[1], frozenset):
            equal.setdefault(telling[0], {})[i] = telling[1]
        else:
            bounded.setdefault(telling[0], {})[i] = telling[1]
    indexes = [
        _Index(
            slot,
            {
                value: tuple(sorted(i for i, accepted in rules.items() if value in accepted))
                for value in {value for accepted in rules.values() for value in accepted}
            },
            (),
            (),
            tuple(sorted(rules)),
        )
        for slot, rules in sorted(equal.items())
    ]
    for slot, bounds in sorted(bounded.items()):
        cuts = sorted({cut for tests in bounds.values() for _, cut in tests})
        samples = [cuts[0] - 1.0]
        for low, high in zip(cuts, [*cuts[1:], cuts[-1] + 2.0], strict=True):
            samples += [low, (low + high) / 2]
        buckets = tuple(
            tuple(sorted(i for i, tests in bounds.items() if _within(sample, tests)))
            for sample in samples
        )
        indexes.append(_Index(slot, None, tuple(cuts), buckets, tuple(sorted(bounds))))
    return _Stratum(tuple(sorted(always)), tuple(indexes), stand)


def _within(x: float, tests: tuple[tuple[str, float], ...]) -> bool:
    return all(
        x >= cut
        if op == "at_least"
        else x <= cut
        if op == "at_most"
        else x > cut
        if op == "above"
        else x < cut
        for op, cut in tests
    )


def _telling(
    when: Node, table: FactTable
) -> tuple[int, frozenset[Value] | tuple[tuple[str, float], ...]] | None:
    """Return the slot and the accepted values, or the bounds, of the conjunct that tells most.

    Only a conjunct of constants on a fact with one value can be indexed: where it is no, the
    rule is silent, whatever the rest of it says.
    """
    conjuncts: list[Node] = [*when.parts] if isinstance(when, AllOf) else [when]
    flat: list[Node] = []
    while conjuncts:
        part = conjuncts.pop()
        if isinstance(part, AllOf):
            conjuncts.extend(part.parts)
        else:
            flat.append(part)
    best: tuple[int, frozenset[Value]] | None = None
    bounds: dict[int, list[tuple[str, float]]] = {}
    for part in sorted(flat, key=repr):
        tests = parts_of(part) if isinstance(part, Any) else (part,)
        if not all(isinstance(test, Test) for test in tests):
            continue
        plain = [test for test in tests if isinstance(test, Test)]
        fact = plain[0].fact
        if fact in table.several or any(
            test.fact != fact or isinstance(test.operand, (Ref, tuple)) for test in plain
        ):
            continue
        slot = table.slot[fact]
        if all(test.op == "is" for test in plain):
            accepted = frozenset(test.operand for test in plain)
            if best is None or len(accepted) < len(best[1]):
                best = slot, accepted
        elif len(plain) == 1 and plain[0].op in ("at_least", "at_most", "above", "below"):
            bounds.setdefault(slot, []).append((plain[0].op, float(plain[0].operand)))
    if best is not None:
        return best
    for slot, tests_on in sorted(bounds.items(), key=lambda item: (-len(item[1]), item[0])):
        return slot, tuple(tests_on)
    return None


class Run:
    """A finished run; what it does not hold outright it tells from the values, which are final."""

    __slots__ = ("_standing_rules", "excepted", "program", "standing", "state", "ties", "values")

    def __init__(
        self,
        program: Program,
        values: list[Value],
        state: bytearray,
        standing: bytearray,
        excepted: tuple[int, ...],
        ties: tuple[int, ...],
    ) -> None:
        self.program = program
        self.values = values
        self.state = state
        self.standing = standing
        self.excepted = excepted
        self.ties = ties
        self._standing_rules: list[Rule] | None = None

    def value(self, fact: str) -> Value:
        """Return the value of a fact, MISSING or ABSENT included."""
        return self.values[self.program.table.slot[fact]]

    def status(self, rule_id: str) -> int:
        """Return SILENT, UNDECIDED, FIRED or FIRED_OPEN."""
        return self.state[self.program.place[rule_id]]

    def stands(self, rule_id: str) -> bool:
        """Tell whether a rule fired and nothing set it aside."""
        return self.standing[self.program.place[rule_id]] >= FIRED

    def states(self) -> dict[str, str]:
        """Return the state of every rule by its id."""
        return {
            rule.id: STATE_NAMES[s] for rule, s in zip(self.program.rules, self.state, strict=True)
        }

    def fired(self) -> list[Rule]:
        """Return the rules that fired, set aside or not."""
        return [r for r, s in zip(self.program.rules, self.state, strict=True) if s >= FIRED]

    def standing_rules(self) -> list[Rule]:
        """Return the rules whose conclusions count."""
        if self._standing_rules is None:
            pairs = zip(self.program.rules, self.standing, strict=True)
            self._standing_rules = [rule for rule, s in pairs if s >= FIRED]
        return self._standing_rules

    def open_rules(self) -> list[Rule]:
        """Return the undecided rules that could still conclude something."""
        return [r for r, s in zip(self.program.rules, self.standing, strict=True) if s == UNDECIDED]

    def undecided(self) -> list[Rule]:
        """Return the undecided rules, those that a standing rule overrides included."""
        return [r for r, s in zip(self.program.rules, self.state, strict=True) if s == UNDECIDED]

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
        return self._beaten(FIRED)

    def overruled(self) -> dict[str, list[str]]:
        """Return the same for undecided rules: they can conclude nothing any more."""
        return self._beaten(UNDECIDED)

    def _beaten(self, least: int) -> dict[str, list[str]]:
        program = self.program
        found = {}
        for i, rule in enumerate(program.rules):
            s = self.state[i]
            if self.standing[i] == SILENT and (s >= FIRED if least == FIRED else s == UNDECIDED):
                found[rule.id] = [
                    program.rules[w].id
                    for w in program.overriders[i]
                    if defeats(self.standing[w], rule.stop)
                ]
        return found

    def stands_unless(self) -> dict[str, list[tuple[str, frozenset[str]]]]:
        """Return what could still set a standing rule aside: (overrider, facts it waits for)."""
        program = self.program
        found: dict[str, list[tuple[str, frozenset[str]]]] = {}
        for i, rule in enumerate(program.rules):
            if self.standing[i] < FIRED:
                continue
            for w in program.overriders[i]:
                winner = program.rules[w]
                if self.standing[w] == UNDECIDED:
                    facts = self.lacks(winner)
                elif self.standing[w] == FIRED_OPEN and rule.stop:
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
                if self.standing[i] == UNDECIDED and not same_value(value, claimed):
                    rule = program.rules[i]
                    name = program.table.names[slot]
                    found.setdefault(name, []).append((rule.id, self.lacks(rule)))
        return found

    def tied(self) -> dict[str, list[str]]:
        """Return the facts that standing rules set differently, with the ids of those rules."""
        program = self.program
        return {
            program.table.names[slot]: [
                program.rules[i].id for i, _ in program.setters[slot] if self.standing[i] >= FIRED
            ]
            for slot in self.ties
        }

    def concluded(self) -> dict[str, Value]:
        """Return the concluded facts that have a value."""
        table = self.program.table
        return {
            name: value
            for name, origin, value in zip(table.names, table.origins, self.values, strict=False)
            if origin == CONCLUDED and has_value(value)
        }

    def supporters(self, fact: str) -> list[str]:
        """Return the ids of the standing rules that gave a concluded fact its value."""
        program = self.program
        return [
            program.rules[i].id
            for i, _ in program.setters.get(program.table.slot[fact], ())
            if self.standing[i] >= FIRED
        ]

    def roots(self, facts: Iterable[str], needs: Mapping[str, Sequence[str]]) -> frozenset[str]:
        """Follow facts without a value down to those that somebody can state.

        A concluded fact leads to what its undecided rules lack, a computed one to the missing
        inputs of its function (`needs`); a tied fact, or a computed one that lacks nothing, is
        its own root. A computed fact can itself be stated, yet its inputs are what is asked.
        """
        found: set[str] = set()
        seen: set[str] = set()
        todo = list(facts)
        program = self.program
        while todo:
            fact = todo.pop()
            if fact in seen:
                continue
            seen.add(fact)
            slot = program.table.slot[fact]
            if has_value(self.values[slot]):
                continue
            deeper: list[str] = []
            if program.table.origins[slot] == CONCLUDED:
                if slot not in self.ties:
                    for i, _ in program.setters.get(slot, ()):
                        if self.standing[i] == UNDECIDED:
                            deeper += self.lacks(program.rules[i])
            else:
                deeper = [name for name in needs.get(fact, ()) if not has_value(self.value(name))]
            if deeper:
                todo += deeper
            else:
                found.add(fact)
        return frozenset(found)


__all__ = ["UNKNOWN", "Program", "Run", "defeats", "settle"]
