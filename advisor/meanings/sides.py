"""Two rule bases side by side: what each concludes, as effects that have no rule's name in them.

An effect is something that advice holds or does not: a fact concluded, a caution, a step, a demand
on an option, an offence against a demand on what is stated, a figure that a caution or a step
shows. Rules come and go; where the same effects stand, the advice is the same.

Each rule's standing has a signature: a number for everything that it comes from, names and order
apart. Rules of equal signatures stand on the same setups, in whichever of the two they are.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from typing import NamedTuple

from advisor.derive.bound import functions
from advisor.engine.chooser import Function
from advisor.engine.conditions import facts_of
from advisor.engine.rules import FIRING, STANDING, Demand, Rule
from advisor.engine.values import COMPUTED, CONCLUDED, OPTION
from advisor.meanings.canonical import (
    Form,
    condition_form,
    demand_form,
    demand_forms,
    value_form,
)
from advisor.meanings.matching import Matches, tidy
from advisor.rulebase.model import RuleBase, RuleEntry
from advisor.rules_compared import BUILD, FAVOURS, SETUP
from advisor.vocabulary import named_in

SET, ASKED, OFFENCE, CAUTION, STEP, AFTER, FAVOUR, ORDER, SHOWN = (
    "set",
    "asked",
    "offence",
    "caution",
    "step",
    "after",
    "favour",
    "order",
    "shown",
)
MUST, SHOULD = "must", "should"


class Key(NamedTuple):
    """Which effect: its kind, the topic it is told under, and what else tells it from others."""

    kind: str
    topic: str
    more: Hashable = ()


class Source(NamedTuple):
    """A rule that an effect comes from, by its place, and the demand in question if it is one.

    An effect of two rules together, as the order of their steps is, has the `other` one's place.
    """

    place: int
    demand: Demand | None = None
    other: int = -1


class Side:
    """One rule base as effects.

    Attributes:
        base: the rules.
        varying: facts that wait for the build.
        setup_rules: the places of rules that are the same for all builds.
        standing: the signature of each rule's standing, by place.
        facts: the signature of each fact's value.
        effects: where each effect comes from.
    """

    def __init__(self, base: RuleBase, given: frozenset[str], names: Names) -> None:
        self.base = base
        self.names = names
        self.functions: tuple[Function, ...] = functions(base.vocabulary)
        self.varying, self.setup_rules = _apart_by_build(base, given, self.functions)
        self.standing: dict[int, int] = {}
        self.facts: dict[str, int] = {}
        self._sign_facts()
        self._sign_rules()
        self.effects: dict[Key, list[Source]] = {}

    def rule(self, place: int) -> Rule:
        """Return a rule by its place."""
        return self.base.program.rules[place]

    def _sign_facts(self) -> None:
        words, sign = self.base.vocabulary, self.names.sign
        for name, entry in words.entries.items():
            if entry.origin not in (COMPUTED, CONCLUDED):
                assumed = self.base.assume.get(name)
                held = None if assumed is None else (value_form(assumed.value),)
                of = entry.origin, entry.kind, entry.unit, entry.several
                self.facts[name] = sign((name, of, held))
        for function in self.functions:
            needs = tuple(self.facts[need] for need in function.needs)
            entry = words[function.fact]
            self.facts[function.fact] = sign((function.fact, entry.kind, entry.unit, needs))
        for name, entry in words.entries.items():
            if name not in self.facts:
                self.facts[name] = sign((name, entry.kind, entry.unit, entry.origin))

    def _sign_rules(self) -> None:
        program, words, sign = self.base.program, self.base.vocabulary, self.names.sign
        firing: dict[int, int] = {}
        for kind, name in program.rank:  # an order in which what is needed comes first
            if kind == FIRING:
                rule = program.rules[program.place[name]]
                firing[program.place[name]] = sign(
                    (
                        condition_form(rule.when, words),
                        condition_form(rule.unless, words),
                        frozenset((fact, self.facts[fact]) for fact in rule.reads()),
                    )
                )
            elif kind == STANDING:
                place = program.place[name]
                winners = frozenset(self.standing[w] for w in program.overriders[place])
                # That a rule is a stop matters to those only that would set it aside.
                stop = bool(winners) and program.rules[place].stop
                self.standing[place] = sign((firing[place], stop, winners))
            else:
                claims = program.setters.get(self.base.table.slot[name], ())
                self.facts[name] = sign(
                    (
                        name,
                        words[name].unit,
                        frozenset((value_form(value), self.standing[i]) for i, value in claims),
                    )
                )

    def needs_build(self, key: Key) -> bool:
        """Tell whether an effect waits for the build here."""
        if key.kind == SHOWN and shown_by(key) in self.varying:
            return True
        places = {p for source in self.effects.get(key, ()) for p in (source.place, source.other)}
        return not places - {-1} <= self.setup_rules

    def signature(self, key: Key) -> Hashable:
        """Return what an effect comes from; where it is the same, so is the effect."""
        if key.kind == SHOWN:
            # Where the text stands is what its own effect tells.
            return self.facts[shown_by(key)]
        found: set[Hashable] = set()
        for place, demand, other in self.effects.get(key, ()):
            asked: Hashable = () if other < 0 else self.standing[other]
            if demand is not None:
                facts = {demand.fact, *facts_of(demand.test)}
                asked = (
                    demand_form(demand) if key.kind == OFFENCE else (),
                    frozenset((fact, self.facts[fact]) for fact in facts),
                )
            if key.kind == SET:
                asked = value_form(dict(self.rule(place).sets)[key.topic])
            if key.kind == FAVOUR:
                asked = self.facts[key.topic]
            found.add((self.standing[place], asked))
        return frozenset(found)

    def behind(self, places: Iterable[int], facts: Iterable[str] = ()) -> tuple[set[int], set[str]]:
        """Return the rules and facts that some rules' standing and some facts' values rest on."""
        program = self.base.program
        rules: set[int] = set()
        seen: set[str] = set()
        todo, wanted = list(places), list(facts)
        by_fact = {function.fact: function for function in self.functions}
        while todo or wanted:
            if todo:
                place = todo.pop()
                if place not in rules:
                    rules.add(place)
                    wanted += program.rules[place].reads()
                    todo += program.overriders[place]
                continue
            fact = wanted.pop()
            if fact in seen:
                continue
            seen.add(fact)
            todo += [i for i, _ in program.setters.get(self.base.table.slot[fact], ())]
            if fact in by_fact:
                wanted += by_fact[fact].needs
        return rules, seen


class Names:
    """What is said to be one and the same in two rule bases: signatures, texts, rules."""

    def __init__(self, matches: Matches) -> None:
        self._signs: dict[Hashable, int] = {}
        self.old_name = matches.old_name
        self._texts = _reworded(matches)
        self._reworded_to = {old: new for new, old in self._texts.items()}

    def sign(self, what: Hashable) -> int:
        """Return the number of something: equal things have equal numbers."""
        return self._signs.setdefault(what, len(self._signs))

    def text(self, text: str) -> str:
        """Return the text that stands for a text: the old one of what was only reworded."""
        told = tidy(text)
        return self._texts.get(told, told)

    def shown_in(self, text: str) -> tuple[str, ...]:
        """Return the facts whose values a text shows, in its old words and in its new ones.

        What only one of them shows is a change of the text, not of a value.
        """
        told = self.text(text)
        after = named_in(self._reworded_to.get(told, told))
        return tuple(dict.fromkeys(fact for fact in named_in(told) if fact in after))


class Sides(NamedTuple):
    """Both rule bases, and every effect of either with whether it needs a build.

    In which order favours are weighed shows in the build alone, whoever they are of.
    """

    old: Side
    new: Side
    needs: Mapping[Key, str]

    def is_settled(self, key: Key) -> bool:
        """Tell whether the setup alone settles what becomes of an effect."""
        if key.kind != ORDER:
            return self.needs[key] == SETUP
        assert isinstance(key.more, tuple)
        return all(self.needs[one] == SETUP for one in key.more)

    @property
    def candidates(self) -> list[Key]:
        """Return the effects that can differ: they do not come from the same on both sides."""
        return [
            key
            for key in self.needs
            if key.kind == ORDER or self.old.signature(key) != self.new.signature(key)
        ]


def sides_of(
    old: RuleBase, new: RuleBase, matches: Matches, given: frozenset[str] = frozenset()
) -> Sides:
    """Put two rule bases side by side.

    Args:
        old: rules.
        new: rules.
        matches: which rules of them are the same.
        given: options and computed facts that every setup states.
    """
    names = Names(matches)
    one, other = Side(old, given, names), Side(new, given, names)
    varying = one.varying | other.varying
    for side in (one, other):
        _find_effects(side, varying)
    keys = list(dict.fromkeys((*one.effects, *other.effects)))
    steps = {key.more for key in one.effects if key.kind == STEP}
    steps &= {key.more for key in other.effects if key.kind == STEP}
    # The order of steps is nothing apart where one of them is new, or not there any more.
    keys = [key for key in keys if key.kind != AFTER or steps.issuperset(_steps_of(key))]
    keys = [key for key in keys if key.kind != SHOWN or _is_on_both(key, one, other)]
    keys += _orders(one, other)
    needs = {
        key: BUILD if key.kind == ORDER or one.needs_build(key) or other.needs_build(key) else SETUP
        for key in keys
    }
    return Sides(one, other, needs)


def _apart_by_build(
    base: RuleBase, given: frozenset[str], table: Iterable[Function]
) -> tuple[set[str], frozenset[int]]:
    """Return the facts that wait for the build, and the rules that do not."""
    program = base.program
    varying = {name for name in base.vocabulary.of_origin(OPTION) if name not in given}
    for function in table:
        if function.fact not in given and not varying.isdisjoint(function.needs):
            varying.add(function.fact)
    build: set[int] = set()
    reads = [rule.reads() for rule in program.rules]
    grew = True
    while grew:
        grew = False
        for place, rule in enumerate(program.rules):
            if place in build:
                continue
            if not varying.isdisjoint(reads[place]) or not build.isdisjoint(
                program.overriders[place]
            ):
                build.add(place)
                varying.update(fact for fact, _ in rule.sets)
                grew = True
    return varying, frozenset(range(len(program.rules))) - build


def _find_effects(side: Side, varying: set[str]) -> None:
    base, names, place_of = side.base, side.names, side.base.program.place

    def add(key: Key, place: int, demand: Demand | None = None, other: int = -1) -> None:
        side.effects.setdefault(key, []).append(Source(place, demand, other))

    def add_text(kind: str, topic: str, sort: str, text: str, place: int) -> None:
        here = sort, names.text(text)
        add(Key(kind, topic, here), place)
        for fact in names.shown_in(text):
            add(Key(SHOWN, topic, (*here, fact)), place)

    for place, rule in enumerate(base.program.rules):
        entry = base.entries[rule.id]
        for fact, _ in rule.sets:
            add(Key(SET, fact), place)
        for demand in rule.demands:
            for key in _asked(rule, demand, varying):
                add(key, place, demand)
        for caution in entry.cautions:
            topic = "stops" if caution.level == "stop" else "cautions"
            add_text(CAUTION, topic, caution.level, caution.text, place)
        for step in entry.steps:
            here = step.phase, names.text(step.text)
            add_text(STEP, "steps", step.phase, step.text, place)
            for name in step.after:
                for before in base.entries[name].steps if name in base.entries else ():
                    there = before.phase, names.text(before.text)
                    if before.phase == step.phase:
                        key = Key(AFTER, "order of steps", (there, here))
                        add(key, place, other=place_of[name])
        if rule.favour is not None and rule.id in base.favours:
            add(favour_key(side, rule), place)


def shown_by(key: Key) -> str:
    """Return the fact whose value is shown, of an effect that is a figure in a text."""
    assert isinstance(key.more, tuple)
    fact = key.more[-1]
    assert isinstance(fact, str)
    return fact


def _is_on_both(key: Key, one: Side, other: Side) -> bool:
    """Tell whether both show a figure; a text that is new, or gone, is an effect of its own."""
    return key in one.effects and key in other.effects


def _steps_of(key: Key) -> tuple[Hashable, ...]:
    """Return the two steps whose order an effect is about."""
    assert isinstance(key.more, tuple)
    return key.more


def _asked(rule: Rule, demand: Demand, varying: set[str]) -> list[Key]:
    """Return the effects of a demand.

    Where what it asks is settled by the setup, what counts is whether that offends it; where it
    waits for the build, that it stands. What a should asks counts once for each layer and fact.
    """
    kind: Hashable = MUST if demand.is_must else (SHOULD, rule.layer)
    if varying.isdisjoint({demand.fact, *facts_of(demand.test)}):
        return [Key(OFFENCE, demand.fact, kind)]
    return [Key(ASKED, demand.fact, (kind, form)) for form in demand_forms(demand)]


def favour_key(side: Side, rule: Rule) -> Key:
    """Return the effect of a favour."""
    assert rule.favour is not None
    fact, highest = rule.favour
    return Key(FAVOUR, fact, (highest, side.base.vocabulary[fact].within))


def _orders(old: Side, new: Side) -> list[Key]:
    """Return the pairs of favours whose order is the other way round."""

    def places(side: Side) -> dict[Key, int]:
        found: dict[Key, int] = {}
        for i, rule_id in enumerate(side.base.favours):
            found.setdefault(favour_key(side, side.base.entries[rule_id].rule), i)
        return found

    before, after = places(old), places(new)
    both = [key for key in before if key in after]
    return [
        Key(ORDER, FAVOURS, (one, other))
        for i, one in enumerate(both)
        for other in both[i + 1 :]
        if (before[one] < before[other]) != (after[one] < after[other])
    ]


def _reworded(matches: Matches) -> dict[str, str]:
    """Return the old text of each new one that took its place in the same rule.

    A text that still stands, or stood, elsewhere is another caution and no rewording.
    """
    old_texts = _texts([*(pair.old for pair in matches.pairs), *matches.retired])
    new_texts = _texts([*(pair.new for pair in matches.pairs), *matches.added])
    found: dict[str, str] = {}
    taken: set[str] = set()
    for pair in matches.pairs:
        for before, after in _side_by_side(pair.old, pair.new):
            one, other = tidy(before), tidy(after)
            fresh = other not in old_texts and one not in new_texts
            if one != other and fresh and other not in found and one not in taken:
                found[other] = one
                taken.add(one)
    return found


def _texts(entries: Iterable[RuleEntry]) -> set[str]:
    found: set[str] = set()
    for entry in entries:
        found.update(tidy(caution.text) for caution in entry.cautions)
        found.update(tidy(step.text) for step in entry.steps)
    return found


def _side_by_side(old: RuleEntry, new: RuleEntry) -> list[tuple[str, str]]:
    """Return the texts of a rule that took each other's place: of one level, or of one phase."""
    found = []
    if len(old.cautions) == len(new.cautions):
        pairs = zip(old.cautions, new.cautions, strict=True)
        found += [(one.text, other.text) for one, other in pairs]
    if len(old.steps) == len(new.steps):
        steps = zip(old.steps, new.steps, strict=True)
        found += [(one.text, other.text) for one, other in steps]
    return found


__all__ = ["Form", "Key", "Names", "Side", "Sides", "Source", "shown_by", "sides_of"]
