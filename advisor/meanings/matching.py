"""Which rule of one rule base is which of another, and what of it is otherwise."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple, TypeVar

from advisor.decision import FactValue, Number
from advisor.engine.conditions import Node, Ref, Test, facts_of, tests_of
from advisor.engine.rules import Demand
from advisor.engine.values import Value
from advisor.meanings.canonical import Form, condition_form, conjuncts, demand_form, value_form
from advisor.rulebase.model import RuleBase, RuleEntry
from advisor.rules_compared import Change, ComparedText
from advisor.vocabulary import NUMBERS, Vocabulary

T = TypeVar("T")
WORDS = ("says", "because", "evidence", "contested")

OTHER_FORM = "how it is written"
"""What is otherwise in a rule that says the same in another form: a condition, a unit, spaces."""


class Match(NamedTuple):
    """A rule of the old rule base and the one that it is in the new one."""

    old: RuleEntry
    new: RuleEntry
    renamed: bool = False
    replaces: bool = False


class Matches(NamedTuple):
    """All that is matched, and what stands on one side only."""

    pairs: tuple[Match, ...]
    added: tuple[RuleEntry, ...]
    retired: tuple[RuleEntry, ...]
    old_name: Mapping[str, str]  # of every rule of the new rule base that has one


def match(old: RuleBase, new: RuleBase) -> Matches:
    """Match the rules of two rule bases: by id, by what replaces what, and by meaning."""
    pairs = [Match(old.entries[i], new.entries[i]) for i in old.entries if i in new.entries]
    left_old = {i: entry for i, entry in old.entries.items() if i not in new.entries}
    left_new = {i: entry for i, entry in new.entries.items() if i not in old.entries}
    for entry in list(left_new.values()):
        if entry.replaces in left_old:
            pairs.append(Match(left_old.pop(entry.replaces), entry, replaces=True))
            del left_new[entry.id]
    for key_of in (_whole_key, _bare_key):
        by_key: dict[Hashable, list[RuleEntry]] = {}
        for entry in left_old.values():
            by_key.setdefault(key_of(entry, old), []).append(entry)
        for entry in list(left_new.values()):
            same = by_key.get(key_of(entry, new))
            if same:
                before = same.pop(0)
                pairs.append(Match(left_old.pop(before.id), left_new.pop(entry.id), renamed=True))
    pairs.sort(key=lambda pair: pair.new.id)
    return Matches(
        tuple(pairs),
        tuple(left_new.values()),
        tuple(left_old.values()),
        {pair.new.id: pair.old.id for pair in pairs},
    )


def _whole_key(entry: RuleEntry, base: RuleBase) -> Hashable:
    """Return what two rules have in common that differ in their name alone."""
    return (_bare_key(entry, base), entry.says, entry.because)


def _bare_key(entry: RuleEntry, base: RuleBase) -> Hashable:
    """Return what two rules have in common that conclude the same in the same cases."""
    rule, words = entry.rule, base.vocabulary
    return (
        condition_form(rule.when, words),
        condition_form(rule.unless, words),
        frozenset((fact, value_form(value)) for fact, value in rule.sets),
        frozenset((demand.is_must, demand.fact, demand_form(demand)) for demand in rule.demands),
        rule.favour,
        tuple((one.level, tidy(one.text)) for one in entry.cautions),
        tuple((one.phase, tidy(one.text)) for one in entry.steps),
    )


def tidy(text: str) -> str:
    """Return a text as it is read: how it was broken into lines does not count."""
    return " ".join(text.split())


def shown(fact: str, value: Value, words: Vocabulary) -> FactValue:
    """Return a value as a noun holds it, a number with its unit."""
    if fact in words and words[fact].kind in NUMBERS:
        return Number(value, words[fact].unit)
    told: FactValue = value
    return told


class RuleChanges:
    """Tells what of a matched rule is otherwise."""

    def __init__(self, old: RuleBase, new: RuleBase, matches: Matches) -> None:
        self.old = old
        self.new = new
        self.old_name = matches.old_name

    def of(self, pair: Match) -> tuple[Change, ...]:
        """Return what a rule means otherwise than before."""
        one, other = pair.old.rule, pair.new.rule
        found = [
            *self._condition(one.when, other.when, "condition"),
            *self._exception(one.unless, other.unless),
            *self._sets(pair),
            *self._demands(one.demands, other.demands),
            *self._favour(pair),
            *self._cautions(pair),
            *self._steps(pair),
            *self._overrides(pair),
        ]
        if one.layer != other.layer:
            found.append(
                Change(
                    "layer",
                    f"stands in the layer {pair.new.layer}, before in {pair.old.layer}",
                    before=pair.old.layer,
                    after=pair.new.layer,
                )
            )
        return tuple(found)

    def words(self, pair: Match) -> tuple[str, ...]:
        """Return the parts of a rule that are otherwise and only words."""
        found = []
        for part in WORDS:
            before, after = getattr(pair.old, part), getattr(pair.new, part)
            if isinstance(before, str):
                before, after = tidy(before), tidy(after)
            if before != after:
                found.append(part)
        if pair.old.accepts != pair.new.accepts:
            found.append("accept")
        return tuple(found)

    def texts(self, pair: Match) -> tuple[ComparedText, ...]:
        """Return the texts of a rule's cautions and steps that took the place of others."""
        one, other = pair.old, pair.new
        found: list[ComparedText] = []
        cautions = (
            [(c.level, c.text) for c in one.cautions],
            [(c.level, c.text) for c in other.cautions],
        )
        steps = [(s.phase, s.text) for s in one.steps], [(s.phase, s.text) for s in other.steps]
        for what, (before, after) in (("caution", cautions), ("step", steps)):
            if len(before) != len(after):
                continue  # one that is new, or gone, is told as a change
            if Counter(tidy(text) for _, text in before) == Counter(tidy(t) for _, t in after):
                continue
            for (_, was), (sort, now) in zip(before, after, strict=True):
                if tidy(was) != tidy(now):
                    found.append(ComparedText(what, sort, tidy(was), tidy(now)))
        return tuple(found)

    # Conditions

    def _form(self, node: Node | None, side: RuleBase) -> Form:
        return condition_form(node, side.vocabulary)

    def _condition(self, old: Node | None, new: Node | None, part: str) -> Iterator[Change]:
        if self._form(old, self.old) != self._form(new, self.new):
            yield from self._parts(conjuncts(old), conjuncts(new), part)

    def _exception(self, old: Node | None, new: Node | None) -> Iterator[Change]:
        if self._form(old, self.old) == self._form(new, self.new):
            return
        if old is None and new is not None:
            yield Change("exception-added", f"now not where {self._new(new)}")
        elif new is None and old is not None:
            yield Change("exception-dropped", f"no longer excepted where {self._old(old)}")
        else:
            yield from self._condition(old, new, "exception")

    def _old(self, node: Node) -> str:
        return self.old.words.condition(node)

    def _new(self, node: Node) -> str:
        return self.new.words.condition(node)

    def _parts(self, old: Sequence[Node], new: Sequence[Node], part: str) -> Iterator[Change]:
        gone, come = _apart(
            old,
            new,
            lambda node: self._form(node, self.old),
            lambda node: self._form(node, self.new),
        )
        for before, after in _paired(gone, come, _same_test):
            yield self._moved(before, after, part)
        for before, after in _paired(gone, come, _same_facts):
            yield self._other(before, after, part)
        for before, after in _paired(gone, come, _share_facts):
            yield self._other(before, after, part)
        for node in gone:
            yield Change(f"{part}-dropped", f"no longer asks that {self._old(node)}")
        for node in come:
            yield Change(f"{part}-added", f"now also asks that {self._new(node)}")

    def _moved(self, before: Node, after: Node, part: str) -> Change:
        assert isinstance(before, Test)
        assert isinstance(after, Test)
        kind = "bound-moved" if before.op != "is" else f"{part}-changed"
        return Change(
            kind,
            f"{_in(part)}{self._old(before)} became {self._new(after)}",
            before.fact,
            _constant(before, self.old),
            _constant(after, self.new),
        )

    def _other(self, before: Node, after: Node, part: str) -> Change:
        bounds = [[t for t in tests_of(node) if t.op != "is"] for node in (before, after)]
        moved = [(a, b) for a, b in zip(*bounds, strict=False) if _same_test(a, b) and a != b]
        if len(bounds[0]) == len(bounds[1]) and len(moved) == 1:
            one, other = moved[0]
            return Change(
                "bound-moved",
                f"{_in(part)}{self._old(before)} became {self._new(after)}",
                one.fact,
                _constant(one, self.old),
                _constant(other, self.new),
            )
        facts = facts_of(before)
        return Change(
            f"{part}-changed",
            f"{_in(part)}{self._old(before)} became {self._new(after)}",
            next(iter(facts)) if len(facts) == 1 else "",
        )

    # Conclusions

    def _sets(self, pair: Match) -> Iterator[Change]:
        before, after = dict(pair.old.rule.sets), dict(pair.new.rule.sets)
        for fact in dict.fromkeys((*before, *after)):
            if fact not in after:
                told = self.old.words.value(fact, before[fact])
                yield Change("conclusion-dropped", f"no longer sets {fact} to {told}", fact)
            elif fact not in before:
                told = self.new.words.value(fact, after[fact])
                yield Change("conclusion-added", f"now also sets {fact} to {told}", fact)
            elif value_form(before[fact]) != value_form(after[fact]):
                one = self.old.words.value(fact, before[fact])
                other = self.new.words.value(fact, after[fact])
                yield Change(
                    "value-changed",
                    f"sets {fact} to {other}, before to {one}",
                    fact,
                    shown(fact, before[fact], self.old.vocabulary),
                    shown(fact, after[fact], self.new.vocabulary),
                )

    def _demands(self, old: Sequence[Demand], new: Sequence[Demand]) -> Iterator[Change]:
        gone, come = _apart(old, new, _demand_key, _demand_key)
        for before, after in _paired(
            gone, come, lambda a, b: a.fact == b.fact and a.strength == b.strength
        ):
            yield self._demand_moved(before, after)
        for before, after in _paired(gone, come, lambda a, b: a.fact == b.fact):
            asked = f"{before.fact} {self.old.words.asks(before.test)}"
            now = f"{after.fact} {self.new.words.asks(after.test)}"
            same = asked == now
            yield Change(
                "strength-changed",
                f"{_strong(after)} {now}"
                + (
                    f", before {_strong(before)}" if same else f", before {_strong(before)} {asked}"
                ),
                before.fact,
                before.strength,
                after.strength,
            )
        for demand in gone:
            told = f"{_strong(demand)} {demand.fact} {self.old.words.asks(demand.test)}"
            yield Change("demand-dropped", f"no longer: {told}", demand.fact)
        for demand in come:
            told = f"{_strong(demand)} {demand.fact} {self.new.words.asks(demand.test)}"
            yield Change("demand-added", f"now also: {told}", demand.fact)

    def _demand_moved(self, before: Demand, after: Demand) -> Change:
        one, other = self.old.words.asks(before.test), self.new.words.asks(after.test)
        moved = [
            (a, b)
            for a, b in zip(tests_of(before.test), tests_of(after.test), strict=False)
            if a != b
        ]
        single = len(moved) == 1 and len(tests_of(before.test)) == len(tests_of(after.test))
        first, last = moved[0] if single else (None, None)
        bound = single and first is not None and last is not None and _same_test(first, last)
        return Change(
            "bound-moved" if bound and first is not None and first.op != "is" else "demand-changed",
            f"{_strong(after)} {after.fact}: {one} became {other}",
            before.fact,
            _constant(first, self.old) if bound and first is not None else None,
            _constant(last, self.new) if bound and last is not None else None,
        )

    def _favour(self, pair: Match) -> Iterator[Change]:
        before, after = pair.old.rule.favour, pair.new.rule.favour
        if before == after:
            return

        def told(favour: Any) -> str:
            if favour is None:
                return "favours nothing"
            return f"favours the {'highest' if favour.highest else 'lowest'} {favour.fact}"

        either = after or before
        fact = either.fact if either is not None else ""
        yield Change("favour-changed", f"{told(after)}, before it {told(before)}", fact)

    def _cautions(self, pair: Match) -> Iterator[Change]:
        before, after = pair.old.cautions, pair.new.cautions
        if len(before) == len(after):
            for one, other in zip(before, after, strict=True):
                if one.level != other.level:
                    yield Change(
                        "level-changed",
                        f"its {one.level} is a {other.level} now",
                        before=one.level,
                        after=other.level,
                    )
            return
        gone, come = _apart(before, after, lambda c: c.level, lambda c: c.level)
        for caution in gone:
            says = f"drops its {caution.level}: {tidy(caution.text)}"
            yield Change("caution-dropped", says, before=caution.level)
        for caution in come:
            says = f"has one more {caution.level}: {tidy(caution.text)}"
            yield Change("caution-added", says, after=caution.level)

    def _steps(self, pair: Match) -> Iterator[Change]:
        before, after = pair.old.steps, pair.new.steps
        if len(before) != len(after):
            gone, come = _apart(before, after, lambda s: s.phase, lambda s: s.phase)
            for step in gone:
                yield Change("step-dropped", f"drops its step of {step.phase}: {tidy(step.text)}")
            for step in come:
                yield Change("step-added", f"has one more step of {step.phase}: {tidy(step.text)}")
            return
        for one, other in zip(before, after, strict=True):
            if one.phase != other.phase:
                says = f"its step moved from {one.phase} to {other.phase}"
                yield Change("phase-changed", says, before=one.phase, after=other.phase)
            waits = {self.old_name.get(name, name) for name in other.after}
            still = {self.old_name.get(name, name) for name in self.new.entries}
            for name in sorted((set(one.after) - waits) & still):
                yield Change("order-changed", f"its step no longer waits for {name}")
            for name in sorted(waits - set(one.after)):
                yield Change("order-changed", f"its step waits for {name} now")

    def _overrides(self, pair: Match) -> Iterator[Change]:
        before = set(pair.old.rule.overrides)
        after = {self.old_name.get(name, name) for name in pair.new.rule.overrides}
        still = {self.old_name.get(name, name) for name in self.new.entries}
        for name in sorted((before - after) & still):
            yield Change("override-dropped", f"no longer sets {name} aside", before=name)
        for name in sorted(after - before):
            yield Change("override-added", f"now sets {name} aside", after=name)


def _demand_key(demand: Demand) -> Hashable:
    return demand.is_must, demand.fact, demand_form(demand)


def _strong(demand: Demand) -> str:
    return demand.strength.replace("_", " ")


def _in(part: str) -> str:
    return "its exception: " if part == "exception" else ""


def _constant(test: Test, base: RuleBase) -> FactValue | None:
    if test.op in ("known", "stated"):
        return bool(test.operand)
    if isinstance(test.operand, Ref):
        return test.operand.fact
    return shown(test.fact, test.operand, base.vocabulary)


def _same_test(one: Node, other: Node) -> bool:
    return (
        isinstance(one, Test)
        and isinstance(other, Test)
        and (one.fact, one.op) == (other.fact, other.op)
    )


def _same_facts(one: Node, other: Node) -> bool:
    return facts_of(one) == facts_of(other)


def _share_facts(one: Node, other: Node) -> bool:
    return not facts_of(one).isdisjoint(facts_of(other))


def _apart(
    old: Iterable[T],
    new: Iterable[T],
    old_key: Callable[[T], Hashable],
    new_key: Callable[[T], Hashable],
) -> tuple[list[T], list[T]]:
    """Return what stands on one side only, by a key; what stands twice counts twice."""
    come = list(new)
    gone = []
    for one in old:
        key = old_key(one)
        at = next((i for i, other in enumerate(come) if new_key(other) == key), -1)
        if at < 0:
            gone.append(one)
        else:
            del come[at]
    return gone, come


def _paired(gone: list[T], come: list[T], alike: Callable[[T, T], bool]) -> Iterator[tuple[T, T]]:
    """Yield pairs that are alike, taking them out of both lists."""
    for one in list(gone):
        other = next((two for two in come if alike(one, two)), None)
        if other is not None:
            gone.remove(one)
            come.remove(other)
            yield one, other
