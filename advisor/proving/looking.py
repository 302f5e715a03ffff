"""What is found about a rule base by looking at it, without a solver."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from advisor.engine.conditions import All, Any, Node, Not, Ref, Test, compile_condition, facts_of
from advisor.engine.rules import Demand, Rule, overriders
from advisor.engine.values import CONCLUDED, MISSING, NO, OPTION, UNKNOWN, YES, Value
from advisor.errors import Faults
from advisor.needs import Needs
from advisor.proving.found import Found
from advisor.proving.offers import listed
from advisor.rulebase.model import RuleBase, RuleEntry
from advisor.rulebase.read import read_rule_base
from advisor.vocabulary import FactEntry

Path = tuple[str | int, ...]


def look(base: RuleBase) -> Iterator[Found]:
    """Yield what is found by looking, rule by rule in the order of their ids."""
    yield from _sources_never_cited(base)
    yield from _near_duplicates(base)
    for entry in base.entries.values():
        told: set[Path] = set()
        for node, path in _conditions(entry):
            found = [
                *_thresholds(base, entry.rule, node, path),
                *_contradictions(base, entry.rule, node, path),
            ]
            yield from found
            told.update(path for _ in found)
        for one in _demands_nothing_meets(base, entry.rule):
            if one.path not in told:  # else it is told why
                yield one
        yield from _overriding(base, entry)


def _conditions(entry: RuleEntry) -> Iterator[tuple[Node, Path]]:
    rule = entry.rule
    if rule.when is not None:
        yield rule.when, ("when",)
    if rule.unless is not None:
        yield rule.unless, ("unless",)
    for demand in rule.demands:
        yield demand.test, ("then", demand.place)


def _sources_never_cited(base: RuleBase) -> Iterator[Found]:
    cited = {entry.evidence.source for entry in base.entries.values()}
    for source in sorted(set(base.sources) - cited):
        yield Found(
            "source-never-cited",
            (),
            f"No rule cites the source `{source}`.",
            "Cite it where a rule rests on it, or take it out.",
            ("sources", source),
        )


# Rules that repeat each other


def _near_duplicates(base: RuleBase) -> Iterator[Found]:
    beaten = overriders(entry.rule for entry in base.entries.values())
    alike: dict[object, list[RuleEntry]] = {}
    for entry in base.entries.values():
        alike.setdefault(_concludes(entry), []).append(entry)
    for entries in alike.values():
        for one, other in combinations(entries, 2):
            yield from _repeats(one, other, beaten)


def _concludes(entry: RuleEntry) -> object:
    """Return what a rule concludes, so that two that conclude the same compare equal."""
    rule = entry.rule
    return (
        rule.layer,
        frozenset((fact, _plain(value)) for fact, value in rule.sets),
        frozenset((d.strength, d.fact, d.test) for d in rule.demands),
        rule.favour,
        frozenset(entry.cautions),
        frozenset((step.phase, step.text) for step in entry.steps),
    )


def _plain(value: Value) -> Value:
    return frozenset(value) if isinstance(value, tuple) else value


def _repeats(
    one: RuleEntry, other: RuleEntry, beaten: Mapping[str, Sequence[str]]
) -> Iterator[Found]:
    if one.rule.unless != other.rule.unless:
        return
    one_in_other, other_in_one = _is_within(one, other), _is_within(other, one)
    if one_in_other and other_in_one:
        how = "on the same condition"
        wide, narrow = one, other
    elif one_in_other or other_in_one:
        wide, narrow = (other, one) if one_in_other else (one, other)
        how = "wherever it does, and in more cases"
        if not _goes_without_saying(narrow, wide, beaten):
            return
    else:
        return
    yield Found(
        "near-duplicate",
        (narrow.id, wide.id),
        f"`{narrow.id}` concludes just what `{wide.id}` does, which fires {how}.",
        "Keep one of them, or say in one what sets it apart.",
    )


def _is_within(narrow: RuleEntry, wide: RuleEntry) -> bool:
    """Tell whether each part of a rule's condition stands in another's, or in a narrower form."""
    mine, theirs = _conjuncts(narrow.rule.when), _conjuncts(wide.rule.when)
    return all(any(_implies(here, there) for here in mine) for there in theirs)


def _goes_without_saying(
    narrow: RuleEntry, wide: RuleEntry, beaten: Mapping[str, Sequence[str]]
) -> bool:
    """Tell whether a narrow rule neither overrides more than a wide one, nor outlives it."""
    overrides = set(narrow.rule.overrides) <= set(wide.rule.overrides)
    return overrides and set(beaten.get(wide.id, ())) <= set(beaten.get(narrow.id, ()))


def _conjuncts(node: Node | None) -> tuple[Node, ...]:
    if node is None:
        return ()
    return _flattened(node).parts if isinstance(node, All) else (node,)


def _implies(one: Node, other: Node) -> bool:
    """Tell whether, by how they are written, one condition holds only where another does.

    Where this is so, the first is also known not to hold wherever that is known of the other; so
    `not` turns it round.
    """
    if one == other:
        return True
    if isinstance(one, Any):
        return all(_implies(part, other) for part in one.parts)
    if isinstance(other, All):
        return all(_implies(one, part) for part in other.parts)
    if isinstance(one, All) and any(_implies(part, other) for part in one.parts):
        return True
    if isinstance(other, Any):
        return any(_implies(one, part) for part in other.parts)
    if isinstance(one, Not) and isinstance(other, Not):
        return _implies(other.part, one.part)
    return isinstance(one, Test) and isinstance(other, Test) and _test_implies(one, other)


def _test_implies(one: Test, other: Test) -> bool:
    if one.fact != other.fact or not {one.op, other.op} <= {*_SIDES, "is"}:
        return False
    if isinstance(one.operand, Ref) or isinstance(other.operand, Ref):
        return False
    if one.op == "is":
        return all(_meets(value, other) for value in _each(one.operand))
    side = _SIDES.get(other.op)
    if side is None or _SIDES[one.op] != side:
        return False
    if one.operand == other.operand:
        return one.op == other.op or one.op in ("above", "below")
    return bool(side * one.operand > side * other.operand)


def _meets(value: Value, test: Test) -> bool:
    side = _SIDES.get(test.op)
    if side is None:
        return value in _each(test.operand)
    if value == test.operand:
        return test.op in ("at_least", "at_most")
    return bool(side * value > side * test.operand)


def _each(operand: Value) -> Sequence[Value]:
    return operand if isinstance(operand, tuple) else (operand,)


_SIDES = {"at_least": 1, "above": 1, "at_most": -1, "below": -1}
"""On which side of its number a comparison holds."""


# Numbers that no fact reaches, and tests that exclude each other


def _thresholds(base: RuleBase, rule: Rule, node: Node, path: Path) -> Iterator[Found]:
    told: set[Test] = set()
    for test, top in _every_test(node, top=True):
        if test in told or isinstance(test.operand, Ref) or test.op in ("known", "stated"):
            continue
        told.add(test)
        entry = base.vocabulary[test.fact]
        if entry.origin == CONCLUDED:
            yield from _never_concluded(base, rule, test, path, top=top)
        elif entry.low is not None and entry.high is not None:
            yield from _beyond(base, rule, test, path, top=top)


def _every_test(node: Node, *, top: bool) -> Iterator[tuple[Test, bool]]:
    """Yield every test, and whether the whole condition hangs on it."""
    if isinstance(node, Test):
        yield node, top
    elif isinstance(node, Not):
        yield from _every_test(node.part, top=False)
    else:
        for part in node.parts:
            yield from _every_test(part, top=top and isinstance(node, All))


def _never_concluded(
    base: RuleBase, rule: Rule, test: Test, path: Path, *, top: bool
) -> Iterator[Found]:
    claimed = [v for _, v in base.program.setters.get(base.table.slot[test.fact], ())]
    judge = compile_condition(test, base.table)
    values = base.table.blank()
    for value in claimed:
        values[base.table.slot[test.fact]] = value
        if judge(values) == YES:
            return
    yield Found(
        "threshold-outside-range",
        (rule.id,),
        f"`{rule.id}` asks whether {base.words.condition(test)}, which no rule concludes.",
        "Correct the value, or write the rule that concludes it.",
        (*path, test.fact) if top else (*path, "any", test.fact),
    )


def _beyond(base: RuleBase, rule: Rule, test: Test, path: Path, *, top: bool) -> Iterator[Found]:
    entry = base.vocabulary[test.fact]
    bound, low, high = test.operand, entry.low, entry.high
    if low is None or high is None:
        return
    below = bound < low or (bound == low and test.op in ("below", "at_least"))
    above = bound > high or (bound == high and test.op in ("above", "at_most"))
    if not below and not above:
        return
    end = low if below else high
    value: Value = int(end) if entry.kind == "count" else end
    values = base.table.blank()
    values[base.table.slot[test.fact]] = value
    holds = compile_condition(test, base.table)(values) == YES
    span = f"{base.words.value(test.fact, low)} to {base.words.value(test.fact, high)}"
    so = "always holds once the fact is known" if holds else "never holds"
    known = "; if only that is meant, ask for `{known: true}`" if holds else ""
    remedy = f"Correct the number or its unit, or widen the range in the vocabulary{known}."
    # What always holds explains nothing: it only stands in the way of nothing.
    inside = (*path, test.fact) if top and not holds else (*path, "any", test.fact)
    free = (test.fact,) if entry.origin == "computed" else ()
    yield Found(
        "threshold-outside-range",
        (rule.id,),
        f"`{rule.id}` asks whether {base.words.condition(test)}, and the fact's range is {span}: "
        f"that {so}.",
        remedy,
        inside,
        {test.fact: value},
        f"the test {'holds' if holds else 'does not hold'} at the end of the range nearest to it",
        free,
    )


def _contradictions(base: RuleBase, rule: Rule, node: Node, path: Path) -> Iterator[Found]:
    for group, top in _every_all(node, top=True):
        by_fact: dict[str, list[Node]] = {}
        for part in group.parts:
            facts = facts_of(part)
            if len(facts) == 1 and not _compares_facts(part):
                by_fact.setdefault(next(iter(facts)), []).append(part)
        for fact, parts in by_fact.items():
            if len(parts) > 1 and not _possible(base, parts):
                words = base.words.condition(All(tuple(parts)))
                either = (
                    "write them as a list of which one must hold: `[{...}, {...}]`"
                    if path[0] == "then"
                    else "put them under `any`"
                )
                yield Found(
                    "contradictory-bounds",
                    (rule.id,),
                    f"`{rule.id}` wants what no value of {fact} can be: {words}.",
                    f"Keep one of these tests, or {either}.",
                    path if top else (*path, "any"),
                )


def _every_all(node: Node, *, top: bool) -> Iterator[tuple[All, bool]]:
    """Yield every `all`, those within it put in, and whether the condition hangs on it."""
    if isinstance(node, All):
        flat = _flattened(node)
        yield flat, top
        for part in flat.parts:
            yield from _every_all(part, top=False)
    elif isinstance(node, Any):
        for part in node.parts:
            yield from _every_all(part, top=False)
    elif isinstance(node, Not):
        yield from _every_all(node.part, top=False)


def _flattened(node: All) -> All:
    parts: list[Node] = []
    for part in node.parts:
        parts += _flattened(part).parts if isinstance(part, All) else (part,)
    return All(tuple(parts))


def _compares_facts(node: Node) -> bool:
    return any(isinstance(test.operand, Ref) for test, _ in _every_test(node, top=False))


def _possible(base: RuleBase, parts: Sequence[Node]) -> bool:
    if any(base.vocabulary[fact].kind == "text" for part in parts for fact in facts_of(part)):
        return True
    alone = [_in_reach(base, part) for part in parts]
    if not all(alone):
        return True  # one of them is out of range by itself, which is told of it
    return bool(Needs(base.vocabulary, lambda _fact: MISSING).ways(All(tuple(parts)), True))


def _in_reach(base: RuleBase, part: Node) -> bool:
    return bool(Needs(base.vocabulary, lambda _fact: MISSING).ways(part, True))


# What is asked of options


def _demands_nothing_meets(base: RuleBase, rule: Rule) -> Iterator[Found]:
    for demand in rule.demands:
        values = listed(base, demand.fact)
        if base.vocabulary[demand.fact].origin != OPTION or not values:
            continue
        if facts_of(demand.test) != {demand.fact} or _met(base, demand, values):
            continue
        entry: FactEntry = base.vocabulary[demand.fact]
        told = _told(base, entry, values)
        yield Found(
            "demand-nothing-meets",
            (rule.id,),
            f"`{rule.id}` asks that {base.words.demand(demand)}, and nothing listed to choose from "
            f"does: {told}.",
            "Ask for what can be chosen, or list it.",
            ("then", demand.place),
        )


def _met(base: RuleBase, demand: Demand, values: Sequence[Value]) -> bool:
    judge = compile_condition(demand.test, base.table, UNKNOWN)
    good = NO if demand.is_negative else YES
    row = base.table.blank()
    for value in values:
        row[base.table.slot[demand.fact]] = value
        row[base.table.stated_slot(demand.fact)] = True
        if judge(row) == good:
            return True
    return False


def _told(base: RuleBase, entry: FactEntry, values: Sequence[Value]) -> str:
    words = [base.words.value(entry.name, value) for value in sorted(values, key=_sortable)]
    if entry.is_number and len(words) > 4:
        return f"{len(words)} values from {words[0]} to {words[-1]}"
    return ", ".join(words)


def _sortable(value: Value) -> tuple[bool, Value]:
    return isinstance(value, str), value


# Rules and those they override


def _overriding(base: RuleBase, entry: RuleEntry) -> Iterator[Found]:
    rule = entry.rule
    winners = overriders(other.rule for other in base.entries.values()).get(rule.id, [])
    goes_along = [
        word for word, there in (("caution", entry.cautions), ("step", entry.steps)) if there
    ]
    if winners and goes_along and (rule.demands or rule.sets or rule.favour is not None):
        yield Found(
            "carries-more-than-it-should",
            (rule.id, *winners),
            f"Where `{rule.id}` is set aside (by {_listed(winners)}), its {_and(goes_along)} "
            f"{'goes' if len(goes_along) == 1 else 'go'} with what it asks.",
            "Put what must outlive it in a rule of its own.",
            ("then",),
        )
    yield from _weak_against_stops(base, entry)
    yield from _dropped(base, entry)


def _weak_against_stops(base: RuleBase, entry: RuleEntry) -> Iterator[Found]:
    """Yield stops of layers below that go by a rule which has nothing as strong in their place."""
    rule = entry.rule
    if rule.stop or any(demand.is_must for demand in rule.demands):
        return
    for loser in rule.overrides:
        beaten = base.entries.get(loser)
        if beaten is None or not beaten.rule.stop or beaten.rule.layer >= rule.layer:
            continue
        yield Found(
            "should-overrides-stop",
            (rule.id, loser),
            f"`{rule.id}` has neither a stop nor a must, and sets aside the stop of `{loser}`.",
            "Drop the override, or say in a must what makes it safe.",
            ("overrides",),
        )
    stop = _stop_replaced_by(base, entry)
    if stop:
        yield Found(
            "should-overrides-stop",
            (rule.id,),
            f"`{rule.id}` has neither a stop nor a must, and replaces the stop of `{stop}`.",
            "Keep a stop in it, say in a must what makes it safe, or retire the stop with the "
            "reason.",
            ("replaces",),
        )


def _stop_replaced_by(base: RuleBase, entry: RuleEntry) -> str:
    """Return the stop of a layer below in whose place a rule stands; empty if there is none.

    That layer is read again without those over it, for here the rule is gone.
    """
    below = base
    while entry.replaces:
        at = next(i for i, layer in enumerate(below.layers) if layer.name == entry.layer)
        try:
            below = read_rule_base(below.layers[at - 1].folder)
        except Faults:
            return ""  # only with those over it can it be read
        entry = below.entries[entry.replaces]
        if entry.rule.stop:
            return entry.id
    return ""


def _dropped(base: RuleBase, entry: RuleEntry) -> Iterator[Found]:
    if not entry.dropped:
        return
    others = overriders(other.rule for other in base.entries.values())
    again = [loser for loser in entry.dropped if loser not in others]
    told = f"; nothing overrides {_listed(again)} any more" if again else ""
    yield Found(
        "dropped-override",
        (entry.id, *entry.dropped),
        f"`{entry.id}` replaces `{entry.replaces}` and leaves out that it overrides "
        f"{_listed(entry.dropped)}{told}.",
        "Repeat the override, or accept it with the reason.",
        ("replaces",),
    )


def _listed(rules: Sequence[str]) -> str:
    return _and([f"`{rule}`" for rule in rules])


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
