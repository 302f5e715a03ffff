"""What rechecking makes of the open questions, and of what must be said beside the build."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property

from advisor.decision import HANGS, Question, StandsUnless, Unsettled
from advisor.derive import differs
from tests.rederive.builds import Builds
from tests.rederive.facts import Item
from tests.rederive.rules import Rule
from tests.rederive.run import MET, OPEN, UNKNOWN, Run, has, judge
from tests.rederive.words import Words

WEIGHTS = {"must": 16, "must_not": 16, "should": 4, "should_not": 4}
STOP, FAVOUR = 64, 2
LAST = 9
WHY_ASKED = {
    0: "the verdict rests on it",
    1: "it could overturn what stands",
    2: "a choice waits for it",
    3: HANGS,
}


class Asking:
    """Works out what is still worth asking about the chosen (or nearest) build."""

    def __init__(self, builds: Builds, words: Words, chosen: tuple[str, ...]) -> None:
        self.builds = builds
        self.base = builds.base
        self.runner = builds.runner
        self.run = builds.chosen
        self.words = words
        self.chosen = chosen

    @cached_property
    def unsettled(self) -> tuple[Unsettled, ...]:
        """What undecided rules would ask of chosen options that the build may not meet."""
        found = []
        for name in self.run.live:
            roots = self._roots(self.runner.lacks(self.run, name))
            for demand in self.base.rules[name].demands:
                place, negative, world = demand.place, demand.is_negative, self.run.world
                if demand.fact in self.chosen and (
                    self.runner.meets(name, place, negative, world) != MET
                ):
                    asks = self.words.demand(demand)
                    found.append(Unsettled(demand.fact, name, asks, tuple(sorted(roots))))
        return tuple(sorted(found))

    def _roots(self, facts: Iterable[str]) -> frozenset[str]:
        return self.runner.roots(self.run, facts)

    def questions(
        self, rests: Iterable[str], doubts: Iterable[StandsUnless]
    ) -> tuple[tuple[Question, ...], tuple[str, ...]]:
        """Return the questions, those first on which most hangs, and what cannot matter."""
        waiting = self._waiting()
        first = self._first(rests, doubts)
        for fact in waiting.keys() & self.builds.assumed.keys():
            if any(self.base.rules[name].stop for name in waiting[fact]):
                first[fact] = min(first.get(fact, LAST), 3)
        possible = [
            name
            for name in self.base.of_origin("given")
            if name not in self.builds.given and name not in self.builds.on_axes
        ]

        def turn(fact: str) -> tuple[int, int, str]:
            hanging = sum(self._weight(name) for name in waiting.get(fact, ()))
            return first.get(fact, LAST), -hanging, fact

        asked = sorted((f for f in possible if f in waiting or f in first), key=turn)
        optional = {name for row in self.runner.rows.values() for name in row.optional}
        cannot = tuple(f for f in possible if f not in asked and f not in optional)
        return tuple(self._question(f, waiting.get(f, set()), first) for f in asked), cannot

    def _question(self, fact: str, rules: set[str], first: Mapping[str, int]) -> Question:
        declared = self.base.facts[fact]
        return Question(
            fact,
            declared.question or f"{declared.label}?",
            declared.choices,
            fact in self.builds.assumed,
            WHY_ASKED.get(first.get(fact, LAST), ""),
            tuple(sorted(rules, key=lambda name: (-self._weight(name), name))),
        )

    def _weight(self, name: str) -> int:
        """Return how much hangs on a rule: what it asks, or what it could set aside."""
        if name not in self._weights:
            rule = self.base.rules[name]
            own = sum(WEIGHTS[demand.strength] for demand in rule.demands)
            own += (STOP if rule.stop else 0) + (FAVOUR if rule.favour else 0)
            beaten = [self._weight(other) for other in rule.overrides if other in self.base.rules]
            self._weights[name] = max([own + 1, *beaten])
        return self._weights[name]

    @cached_property
    def _weights(self) -> dict[str, int]:
        return {}

    def _waiting(self) -> dict[str, set[str]]:
        """Return, for each fact, the rules that wait for it where nothing unstated is settled."""
        run = self._open_run()
        waiting: dict[str, set[str]] = {}
        for name in run.live | run.standing:
            for fact in self.runner.roots(run, self._open_ends(run, self.base.rules[name])):
                waiting.setdefault(fact, set()).add(name)
        return waiting

    def _open_run(self) -> Run:
        """Return a run in which no option is chosen and nothing assumed: all of that is open."""
        world = self.builds.before(assumed=False)
        for name, fact in self.base.facts.items():
            if fact.origin != "concluded" and not has(world[name]):
                world[name] = world[f"?{name}"] = OPEN
        self.runner.compute(world)
        for name in self.base.of_origin("computed"):
            if not has(world[name]):
                world[name] = OPEN
        return self.runner.run(world, sure=True)

    def _open_ends(self, run: Run, rule: Rule) -> set[str]:
        lacks: set[str] = set()
        if rule.id in run.live:
            told = run.told[rule.id]
            lacks |= told.when.lacks | told.unless.lacks
        for demand in rule.demands:
            lacks |= judge(demand.test, run.world, UNKNOWN).lacks
        if rule.favour is not None and not has(run.world[rule.favour[0]]):
            lacks.add(rule.favour[0])
        return lacks

    def _first(self, rests: Iterable[str], doubts: Iterable[StandsUnless]) -> dict[str, int]:
        """Return the class of the facts that bear on the build itself, 0 the first to ask."""
        first: dict[str, int] = {}
        if not self.builds.survivors:
            first.update(dict.fromkeys(rests, 0))
        for doubt in doubts:
            for fact in self._roots(doubt.facts):
                first.setdefault(fact, 1)
        for unsettled in self.unsettled:
            for fact in unsettled.facts:
                first.setdefault(fact, 2)
        for name in sorted(self.run.live):
            rule = self.base.rules[name]
            own = 3 if rule.stop or any(demand.is_must for demand in rule.demands) else 4
            for fact in self._roots(self.runner.lacks(self.run, name)):
                first[fact] = min(first.get(fact, LAST), own)
                # What the rule took for granted is asked no later than what it asks for.
                for taken in rule.reads & self.builds.assumed.keys():
                    first[taken] = min(first.get(taken, LAST), first[fact])
        return first


# Notes


def notes_on(
    builds: Builds,
    words: Words,
    questions: Iterable[Question],
    beaten: Iterable[tuple[str, list[str]]],
    named: Iterable[Item],
) -> Iterator[str]:
    """Yield what must be said beside the build.

    Args:
        builds: all of them.
        words: of the vocabulary.
        questions: that are asked.
        beaten: the rules that fired and lost, with their winners.
        named: the items of a shelf that stand beside the build.
    """
    rules = builds.base.rules
    for gone in builds.base.gone:
        if any(level != "note" for level, _ in gone.rule.cautions):
            yield (
                f"{gone.by} took the warning {gone.rule.id} out of use ({gone.rule.says}): "
                f"{gone.because}"
            )
    for loser, winners in beaten:
        if rules[loser].stop:
            yield f"The stop {loser} ({rules[loser].says}) was set aside by {', '.join(winners)}."
    yield from _granted(builds, words, questions)
    yield from builds.notes
    for item in named:
        for name, value in item.facts.items():
            given = builds.given.get(name)
            if given is not None and given != value:
                told, stated = (words.value(name, x, 4) for x in (value, given))
                yield (
                    f"{item.id} is listed with another {builds.base.facts[name].label}, {told}: "
                    f"it is judged as stated, {stated}."
                )
    yield from _otherwise(builds, words)


def _granted(builds: Builds, words: Words, questions: Iterable[Question]) -> Iterator[str]:
    """Say what a house takes for granted that keeps a stop silent."""
    for question in questions:
        assumed = builds.assumed.get(question.fact)
        if assumed is None or assumed.by == builds.base.layers[0][0]:
            continue
        silent = [
            name
            for name in question.rules
            if builds.base.rules[name].stop and name not in builds.chosen.standing
        ]
        if silent:
            said = words.is_value(question.fact, assumed.value)
            yield (
                f"{assumed.by} takes for granted that {said} ({assumed.because}); otherwise a stop "
                f"could stand: {', '.join(silent)}."
            )


def _otherwise(builds: Builds, words: Words) -> Iterator[str]:
    """Say of stated facts that could be computed what they would come to, where that differs."""
    world = builds.chosen.world
    for name in builds.base.of_origin("computed"):
        if name not in builds.runner.rows or name not in builds.given:
            continue
        own = builds.runner.work_out(name, world)
        if has(own) and differs(name, world[name], own, builds.base.facts[name].unit):
            told, worked_out = (words.value(name, x, 3) for x in (world[name], own))
            yield (
                f"{name} is stated as {told}; worked out from the rest it would be {worked_out}. "
                f"One of them is off: measure again."
            )
