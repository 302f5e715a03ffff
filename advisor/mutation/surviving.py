"""The case that would have to be written for a change of a rule that no case notices.

A rule is laid beside the others that fires just where the change makes a difference; why it does
not stand in a case, and the nearest change that would let it, is asked as of any other rule. The
setup so found is judged with the rules as they are and with the change: what differs is what the
case has to expect. A proposal is told only if that case holds, and fails under the change.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import ROUND_DOWN, ROUND_UP, Decimal
from typing import NamedTuple

from advisor.case_findings import NO_OVERRIDE, Differs, Proposal
from advisor.cases import Case, run_case
from advisor.coverage.exercised import Exercise
from advisor.decision import FactValue, Number
from advisor.engine.conditions import All, Any, Node, Not, Test, compile_condition, parts_of
from advisor.engine.rules import Rule
from advisor.engine.values import CONCLUDED, NO, OPTION, YES, FactTable, Value, has_value
from advisor.findings import Move
from advisor.judge import Judgement
from advisor.mutation.mutants import Mutant, mutated
from advisor.needs import Needs, nearest_value
from advisor.pipeline import offered_stock
from advisor.quantities import round9
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Given, Setup
from advisor.vocabulary import COUNT, FLAG, TEXT
from advisor.why_not_rule import move_of, why_not_rule

DIFFERENCE = "the-difference"
"""The name of the rule that fires where a change makes a difference."""

_STARTS = 5
"""Cases begun from at most, the nearest first."""

_MOST_WAYS = 6
"""Ways followed at most in which options are given that nothing offers."""

_SHORT = 6
"""As many characters a number may have before a shorter one is looked for."""


def propose(
    base: RuleBase, mutant: Mutant, other: RuleBase, exercises: Sequence[Exercise]
) -> Proposal | None:
    """Return the case that would notice a mutant, changed as little as may be from one there is.

    Args:
        base: the rules as they are.
        mutant: what no case notices.
        other: the rules with it.
        exercises: the cases there are, judged by `base`.
    """
    original = base.entries[mutant.rule.id].rule
    where = _where_it_matters(mutant, original, base)
    rule = Rule(DIFFERENCE, when=where, layer=original.layer)
    beside = mutated(base, original, more=(rule,))
    found: Proposal | None = None
    nearest = _nearest(exercises, where, base.table)
    for ways in (_ways, _ways_with_options):
        for exercise in nearest:
            most = None if found is None else len(found.moves)
            for moves in ways(exercise, beside, most):
                proposal = _told(exercise.case, moves, base, other, original.id)
                if proposal is not None:
                    found = proposal
                    break
            if found is not None and len(found.moves) <= 1:
                return found
        if found is not None:
            break
    return found


# Where it matters


def _where_it_matters(mutant: Mutant, original: Rule, base: RuleBase) -> Node | None:
    """Return the condition that holds just where a change can make a difference; None is always."""
    rule = mutant.rule
    if (original.when, original.unless) != (rule.when, rule.unless):
        return _apart(_fires(original), _fires(rule))
    parts = [_fires(original)]
    if mutant.kind == NO_OVERRIDE:
        parts.append(_fires(base.entries[mutant.loser].rule))
    elif mutant.place >= 0:
        one = next(d for d in original.demands if d.place == mutant.place)
        then = next(d for d in rule.demands if d.place == mutant.place)
        if one.test == then.test:
            parts.append(one.test if one.is_negative else Not(one.test))
        else:
            parts.append(_apart(one.test, then.test))
    return _all(parts)


def _fires(rule: Rule) -> Node | None:
    return _all([rule.when, None if rule.unless is None else Not(rule.unless)])


def _all(nodes: Sequence[Node | None]) -> Node | None:
    parts = tuple(node for node in nodes if node is not None)
    return parts[0] if len(parts) == 1 else All(parts) if parts else None


def _apart(one: Node | None, other: Node | None) -> Node | None:
    """Return the condition that one of two holds and the other does not."""
    sides = []
    for holds, fails in ((one, other), (other, one)):
        if fails is not None:
            sides.append(_all([holds, Not(fails)]))
    kept = tuple(side for side in sides if side is not None)
    return kept[0] if len(kept) == 1 else Any(kept) if kept else None


# Where to begin


def _nearest(exercises: Sequence[Exercise], where: Node | None, table: FactTable) -> list[Exercise]:
    """Return the cases of which the fewest tests would have to come out otherwise."""
    if where is None:
        return list(exercises[:_STARTS])
    far = _farness(where, table, want=True)
    ranked = [
        (far(one.judgement.run.values), len(one.case.setup.facts), i)
        for i, one in enumerate(exercises)
    ]
    return [exercises[i] for _, _, i in sorted(ranked)[:_STARTS]]


def _farness(node: Node, table: FactTable, *, want: bool) -> Callable[[list[Value]], int]:
    """Return what counts the tests of a condition that would have to come out otherwise."""
    if isinstance(node, Not):
        return _farness(node.part, table, want=not want)
    if isinstance(node, Test):
        judge = compile_condition(node, table)
        wanted = YES if want else NO
        return lambda values: int(judge(values) != wanted)
    each = [_farness(part, table, want=want) for part in parts_of(node)]
    together = sum if isinstance(node, All) == want else min
    return lambda values: together([far(values) for far in each])


def _ways(exercise: Exercise, beside: RuleBase, most: int | None) -> Iterator[tuple[Move, ...]]:
    """Yield the changes of a case with which the change of the rule makes a difference."""
    case = exercise.case
    judgement = Judgement(case.setup, beside, offered_stock(beside, case.stock))
    if judgement.run.stands(DIFFERENCE):
        yield ()
        return
    for change in why_not_rule(judgement, DIFFERENCE).changes:
        if most is None or len(change.moves) < most:
            yield change.moves


def _ways_with_options(
    exercise: Exercise, beside: RuleBase, most: int | None
) -> Iterator[tuple[Move, ...]]:
    """Yield the same with options given that nothing offers."""
    case, vocabulary = exercise.case, beside.vocabulary
    where = beside.entries[DIFFERENCE].rule.when
    judgement = exercise.judgement
    if where is None:
        return
    needs = Needs(vocabulary, judgement.run.value)
    seen: list[dict[str, Value]] = []
    for way in needs.ways(where, want=True)[:_MOST_WAYS]:
        options: dict[str, Value] = {}
        for fact, need in way.items():
            if vocabulary[fact].origin == OPTION:
                near = nearest_value(need, judgement.run.value(fact), vocabulary[fact])
                if near is not None and has_value(near):
                    options[fact] = near
        if not options or options in seen:
            continue
        seen.append(options)
        given = tuple(
            move_of(judgement, fact, judgement.run.value(fact), value)
            for fact, value in options.items()
        )
        with_them = Exercise(case._replace(setup=_moved(case.setup, given, beside)), beside)
        for more in _ways(with_them, beside, None if most is None else most - len(given)):
            yield (*given, *(move for move in more if move.fact not in options))


# What it comes to


def _told(
    case: Case, moves: Sequence[Move], base: RuleBase, other: RuleBase, rule_id: str
) -> Proposal | None:
    """Return the case with the setup so changed, if it tells the two rule bases apart.

    Numbers are made as short as they can be.
    """
    found = _tell(case, moves, base, other, rule_id)
    if found is None:
        return None
    for i, move in enumerate(moves):
        for short in _shorter(move):
            tried = (*moves[:i], short, *moves[i + 1 :])
            shorter = _tell(case, tried, base, other, rule_id)
            if shorter is not None and _is_expecting_the_same(shorter, found):
                moves, found = tried, shorter
                break
    return found


def _is_expecting_the_same(one: Proposal, other: Proposal) -> bool:
    return one.expect.keys() == other.expect.keys()


def _shorter(move: Move) -> Iterator[Move]:
    """Yield the change with numbers of fewer digits, close to the one it has."""
    number = move.value
    if not isinstance(number, Number) or len(repr(number.value)) <= _SHORT:
        return
    for digits in (3, 4):
        step = Decimal(1).scaleb(Decimal(repr(number.value)).adjusted() + 1 - digits)
        for way in (ROUND_DOWN, ROUND_UP):
            x = float((Decimal(repr(number.value)) / step).to_integral_value(way) * step)
            distance = move.distance
            if distance is not None:
                off = round9(distance.value + x - number.value)
                distance = distance._replace(value=off)
            yield move._replace(value=number._replace(value=x), distance=distance)


def _tell(
    case: Case, moves: Sequence[Move], base: RuleBase, other: RuleBase, rule_id: str
) -> Proposal | None:
    setup = _moved(case.setup, moves, base)
    stock = offered_stock(base, case.stock)
    judged = Judgement(setup, base, stock), Judgement(setup, other, stock)
    one, then = (_said(judgement, rule_id) for judgement in judged)
    what = dict.fromkeys((*one, *then))
    pairs = {name: (one.get(name, _NOT_ASIDE), then.get(name, _NOT_ASIDE)) for name in what}
    differs = [(name, a, b) for name, (a, b) in pairs.items() if a.words != b.words]
    # What a case best expects is what is nearest to the rule; the first that tells is enough.
    for _, said, _ in differs:
        if said.expect:
            proposed = case._replace(setup=setup, expect=read_back(said.expect, base))
            if not run_case(proposed, base) and run_case(proposed, other):
                return Proposal(
                    case.name,
                    tuple(moves),
                    {
                        name: _written(given.value, base, name)
                        for name, given in setup.facts.items()
                    },
                    case.stock is not None,
                    said.expect,
                    tuple(Differs(what, a.words, b.words) for what, a, b in differs),
                )
    return None


def _moved(setup: Setup, moves: Sequence[Move], base: RuleBase) -> Setup:
    """Return a setup with some facts otherwise."""
    facts = dict(setup.facts)
    for move in moves:
        if move.value is None:
            facts.pop(move.fact, None)
        else:
            value = _bare(move.value, base, move.fact)
            facts[move.fact] = Given(value, "proposed", 0, 0, "")
    return Setup(setup.title, facts, setup.taken)


class _Said(NamedTuple):
    """What is said of one thing, and what a case has to expect so that it is."""

    words: str
    expect: Mapping[str, tuple[str, ...]]


_NOT_ASIDE = _Said("not set aside", {})
"""What is said of a rule that one of two rule bases sets aside."""


def _said(judgement: Judgement, rule_id: str) -> dict[str, _Said]:
    """Return what a rule base says of a setup, as far as a case can expect it, by what it is of."""
    base, run = judgement.base, judgement.run
    state = run.states()[rule_id]
    if rule_id in {rule.id for rule in run.excepted()}:
        found = {rule_id: _Said("silent by its exception", {"excepted": (rule_id,)})}
    else:
        found = {rule_id: _Said(state, {state: (rule_id,)})}
    aside = run.set_aside()
    for loser, winners in aside.items():
        found[loser] = _Said(f"set aside by {' and '.join(winners)}", {"set_aside": (loser,)})
    found["status"] = _Said(judgement.status, {"status": (judgement.status,)})
    blamed = tuple(sorted({rule for rules in judgement.conflicts for rule in rules}))
    found["cannot hold together"] = _Said(
        ", ".join(blamed) or "nothing", {"rejected_by": blamed} if blamed else {}
    )
    for name, entry in base.vocabulary.entries.items():
        if entry.origin in (OPTION, CONCLUDED):
            value = run.value(name)
            section = "build" if entry.origin == OPTION else "numbers"
            if has_value(value):
                said = base.words.value(name, value)
                found[name] = _Said(said, {f"{section} {name}": (said,)})
            else:
                found[name] = _Said("not known", {})
    return found


def read_back(expect: Mapping[str, tuple[str, ...]], base: RuleBase) -> dict[str, object]:
    """Return what a proposal expects as a case holds it."""
    found: dict[str, object] = {}
    for key, values in expect.items():
        section, _, fact = key.partition(" ")
        if fact:
            found[section] = {fact: _as_written(values[0], base, fact)}
        else:
            found[key] = values[0] if key == "status" else list(values)
    return found


def _as_written(said: str, base: RuleBase, fact: str) -> object:
    kind = base.vocabulary[fact].kind
    if kind == COUNT:
        return int(said)
    return said == "true" if kind == FLAG else said


def _bare(value: FactValue, base: RuleBase, fact: str) -> Value:
    if not isinstance(value, Number):
        return value
    return int(value.value) if base.vocabulary[fact].kind == COUNT else value.value


def _written(value: Value, base: RuleBase, fact: str) -> str:
    """Return a value as a setup file has it."""
    if isinstance(value, tuple):
        return f"[{', '.join(value)}]"
    said = base.words.value(fact, value)
    return json.dumps(said) if base.vocabulary[fact].kind == TEXT else said
