"""What is found about a rule base by looking at it, without a solver."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from advisor.engine.conditions import All, Any, Node, Not, Ref, Test, compile_condition, facts_of
from advisor.engine.rules import Demand, Rule, overriders
from advisor.engine.values import CONCLUDED, MISSING, NO, OPTION, UNKNOWN, YES, Value
from advisor.needs import Needs
from advisor.proving.found import Found
from advisor.proving.offers import listed
from advisor.rulebase.model import RuleBase, RuleEntry
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
    alike: dict[object, list[RuleEntry]] = {}
    for entry in base.entries.values():
        alike.setdefault(_concludes(entry), []).append(entry)
    for entries in alike.values():
        for one, other in combinations(entries, 2):
            yield from _repeats(one, other)


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


def _repeats(one: RuleEntry, other: RuleEntry) -> Iterator[Found]:
    mine, theirs = _conjuncts(one.rule.when), _conjuncts(other.rule.when)
    if one.rule.unless != other.rule.unless:
        return
    if mine == theirs:
        how = "on the same condition"
        wide, narrow = one, other
    elif mine < theirs or theirs < mine:
        wide, narrow = (one, other) if mine < theirs else (other, one)
        how = "wherever it does, and in more cases"
    else:
        return
    yield Found(
        "near-duplicate",
        (narrow.id, wide.id),
        f"`{narrow.id}` concludes just what `{wide.id}` does, which fires {how}.",
        "Keep one of them, or say in one what sets it apart.",
    )


def _conjuncts(node: Node | None) -> frozenset[Node]:
    if node is None:
        return frozenset()
    return frozenset(node.parts) if isinstance(node, All) else frozenset((node,))


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
    below = bound < low or (bound == low and test.op == "below")
    above = bound > high or (bound == high and test.op == "above")
    if not below and not above:
        return
    end = low if below else high
    value: Value = int(end) if entry.kind == "count" else end
    values = base.table.blank()
    values[base.table.slot[test.fact]] = value
    holds = compile_condition(test, base.table)(values) == YES
    span = f"{base.words.value(test.fact, low)} to {base.words.value(test.fact, high)}"
    so = "always holds once the fact is known" if holds else "never holds"
    # What always holds explains nothing: it only stands in the way of nothing.
    inside = (*path, test.fact) if top and not holds else (*path, "any", test.fact)
    free = (test.fact,) if entry.origin == "computed" else ()
    yield Found(
        "threshold-outside-range",
        (rule.id,),
        f"`{rule.id}` asks whether {base.words.condition(test)}, and the fact's range is {span}: "
        f"that {so}.",
        "Correct the number or its unit, or widen the range in the vocabulary.",
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
                yield Found(
                    "contradictory-bounds",
                    (rule.id,),
                    f"`{rule.id}` wants what no value of {fact} can be: {words}.",
                    "Keep one of these tests, or put them under `any`.",
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
    for loser in rule.overrides:
        beaten = base.entries.get(loser)
        if beaten is None or not beaten.rule.stop or beaten.rule.layer >= rule.layer:
            continue
        if rule.demands and not rule.stop and not any(d.is_must for d in rule.demands):
            yield Found(
                "should-overrides-stop",
                (rule.id, loser),
                f"`{rule.id}` only says what should be, and sets aside the stop of `{loser}`.",
                "Let a habit give way: drop the override, or say in a must what makes it safe.",
                ("overrides",),
            )
    yield from _dropped(base, entry)


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
