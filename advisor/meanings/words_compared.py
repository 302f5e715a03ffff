"""What of two vocabularies, and of what there is to choose from, is otherwise."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from typing import Any

from advisor.engine.values import OPTION
from advisor.meanings.canonical import condition_form, value_form
from advisor.meanings.matching import Matches, shown, tidy
from advisor.rulebase.model import RuleBase
from advisor.rules_compared import Change
from advisor.setups.model import Stock
from advisor.vocabulary import FactEntry, show
from advisor.words import Words


def vocabulary_changes(old: RuleBase, new: RuleBase, matches: Matches) -> tuple[Change, ...]:
    """Return what bears on advice and is no rule: facts, defaults, favours, ladder, domain."""
    return (
        *_facts(old, new),
        *_assumptions(old, new),
        *_favours(old, new, matches),
        *_ladder(old.ladder, new.ladder, new.words),
        *_domain(old, new),
        *_texts(old, new),
        *_sources(old, new),
    )


def _texts(old: RuleBase, new: RuleBase) -> Iterator[Change]:
    """Yield what people read of facts and is otherwise, and bears on no advice."""
    for name, entry in new.vocabulary.entries.items():
        before = old.vocabulary.entries.get(name)
        if before is None:
            continue
        parts = [part for part in ("label", "question") if _differ(before, entry, part)]
        described = [
            choice
            for choice, told in entry.choices.items()
            if choice in before.choices and tidy(before.choices[choice]) != tidy(told)
        ]
        parts += [f"what {choice} means" for choice in described]
        one, other = old.assume.get(name), new.assume.get(name)
        if one is not None and other is not None and tidy(one.because) != tidy(other.because):
            parts.append("the reason of what is assumed")
        if parts:
            yield Change("reworded", f"{name} is told in other words: {', '.join(parts)}", name)


def _differ(old: FactEntry, new: FactEntry, part: str) -> bool:
    return tidy(getattr(old, part)) != tidy(getattr(new, part))


def _sources(old: RuleBase, new: RuleBase) -> Iterator[Change]:
    for name in dict.fromkeys((*old.sources, *new.sources)):
        one, other = old.sources.get(name), new.sources.get(name)
        if one is None:
            yield Change("source-added", f"there is a new source {name}")
        elif other is None:
            yield Change("source-dropped", f"there is no source {name} any more")
        elif one != other:
            yield Change("source-reworded", f"the source {name} is told otherwise")


def choosing(base: RuleBase) -> Hashable:
    """Return what builds there are and how equal ones are ordered; where it is the same, so are."""
    ladder, words = base.ladder, base.vocabulary
    return (
        tuple(
            (group, tuple((item.id, _frozen(item.facts)) for item in items))
            for group, items in ladder.items.items()
        ),
        _frozen(ladder.options),
        ladder.typical,
        tuple(
            (name, words[name].kind, tuple(words[name].choices), *_numbers(words[name]))
            for name in words.of_origin(OPTION)
        ),
    )


def _numbers(entry: FactEntry) -> tuple[Hashable, ...]:
    return (entry.unit, entry.low, entry.high, entry.pairs, entry.tolerance)


def _frozen(facts: Mapping[str, Any]) -> Hashable:
    return frozenset(
        (name, tuple(value) if isinstance(value, (list, tuple)) else value_form(value))
        for name, value in facts.items()
    )


def _facts(old: RuleBase, new: RuleBase) -> Iterator[Change]:
    before, after = old.vocabulary.entries, new.vocabulary.entries
    for name in before:
        if name not in after:
            yield Change("fact-dropped", f"there is no fact {name} any more", name)
    for name, entry in after.items():
        if name not in before:
            yield Change("fact-added", f"there is a new fact {name}", name)
        else:
            yield from _fact(before[name], entry)


_PLAIN = (
    ("kind", "is a {}"),
    ("origin", "is {}"),
    ("unit", "is told in {}"),
    ("within", "favours take differences within {} for equal"),
    ("step", "its next size is {} away"),
    ("tolerance", "is measured to {}"),
)


def _fact(old: FactEntry, new: FactEntry) -> Iterator[Change]:
    name = new.name
    for field, says in _PLAIN:
        before, after = getattr(old, field), getattr(new, field)
        if before != after:
            told = says.format(_shown(after))
            yield Change(f"{field}-changed", f"{name} {told}, before {_shown(before)}", name)
    if old.several != new.several:
        counts = ("several values", "one value only")
        now, then = counts if new.several else counts[::-1]
        yield Change("several-changed", f"{name} takes {now}, before {then}", name)
    if old.pairs != new.pairs:
        told_now = "tells" if new.pairs else "no longer tells"
        yield Change("pairs-changed", f"{name} {told_now} that the fletching is given", name)
    if (old.low, old.high) != (new.low, new.high):
        ranges = [
            "any number" if e.low is None or e.high is None else f"{e.low:g} to {e.high:g} {e.unit}"
            for e in (new, old)
        ]
        told = f"{name} is from {ranges[0].strip()}, before {ranges[1].strip()}"
        yield Change("range-changed", told, name)
    for choice in old.choices:
        if choice not in new.choices:
            yield Change("choice-dropped", f"{name} is never {choice} any more", name, choice)
    for choice in new.choices:
        if choice not in old.choices:
            yield Change("choice-added", f"{name} can be {choice} now", name, None, choice)
    kept = [
        [c for c in one.choices if c in other.choices] for one, other in ((old, new), (new, old))
    ]
    if new.origin == OPTION and kept[0] != kept[1]:
        told = f"equal builds are listed by {name} in another order: {', '.join(new.choices)}"
        yield Change("choices-ordered", told, name)


def _shown(value: Any) -> str:
    return "nothing" if value is None or value == "" else show(value)


def _assumptions(old: RuleBase, new: RuleBase) -> Iterator[Change]:
    for name in dict.fromkeys((*old.assume, *new.assume)):
        one, other = old.assume.get(name), new.assume.get(name)
        if one is None and other is not None:
            told = new.words.value(name, other.value)
            says = f"where nobody states {name}, {told} is assumed now"
            yield Change(
                "assumption-added", says, name, None, shown(name, other.value, new.vocabulary)
            )
        elif other is None and one is not None:
            says = f"where nobody states {name}, nothing is assumed any more"
            yield Change("assumption-dropped", says, name, shown(name, one.value, old.vocabulary))
        elif (
            one is not None
            and other is not None
            and value_form(one.value) != value_form(other.value)
        ):
            told, before = new.words.value(name, other.value), old.words.value(name, one.value)
            yield Change(
                "assumption-changed",
                f"where nobody states {name}, {told} is assumed, before {before}",
                name,
                shown(name, one.value, old.vocabulary),
                shown(name, other.value, new.vocabulary),
            )


def _favours(old: RuleBase, new: RuleBase, matches: Matches) -> Iterator[Change]:
    before = list(old.favours)
    after = [matches.old_name.get(name, name) for name in new.favours]
    both = [name for name in before if name in after]
    if both != [name for name in after if name in before]:
        told = ", ".join(name for name in after if name in before)
        yield Change("favours-ordered", f"favours decide in another order: {told}")


def _ladder(old: Stock, new: Stock, words: Words) -> Iterator[Change]:
    for group in dict.fromkeys((*old.items, *new.items)):
        before = {item.id: item.facts for item in old.items.get(group, ())}
        after = {item.id: item.facts for item in new.items.get(group, ())}
        for name, listed in before.items():
            if name not in after:
                yield Change("ladder-dropped", f"the ladder lists no {group} {name} any more")
            elif _frozen(listed) != _frozen(after[name]):
                facts = dict.fromkeys((*listed, *after[name]))
                others = [f for f in facts if listed.get(f) != after[name].get(f)]
                says = f"the ladder's {group} {name} has another {', '.join(others)}"
                yield Change("ladder-changed", says)
        for name in after:
            if name not in before:
                yield Change("ladder-added", f"the ladder lists a new {group} {name}")
        if list(before) != list(after) and sorted(before) == sorted(after):
            yield Change("ladder-ordered", f"the ladder lists each {group} in another order")
    for fact in dict.fromkeys((*old.options, *new.options)):
        before_values, after_values = old.options.get(fact, ()), new.options.get(fact, ())
        if tuple(before_values) != tuple(after_values):
            told = ", ".join(words.value(fact, v) for v in after_values) or "nothing"
            yield Change("ladder-changed", f"the ladder offers of {fact}: {told}", fact)


def _domain(old: RuleBase, new: RuleBase) -> Iterator[Change]:
    before = {condition_form(n, old.vocabulary): n for n in old.domain}
    after = {condition_form(n, new.vocabulary): n for n in new.domain}
    for form, node in before.items():
        if form not in after:
            says = f"the domain no longer asks that {old.words.condition(node)}"
            yield Change("domain-dropped", says)
    for form, node in after.items():
        if form not in before:
            yield Change("domain-added", f"the domain asks that {new.words.condition(node)}")
