"""What rechecking makes of premises: the way back from a fact to what somebody stated."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from advisor.decision import Premise, Stated
from advisor.derive import BY_FACT, ROUGH
from tests.rederive.builds import Builds
from tests.rederive.rules import Condition, Rule, Test, tests_of
from tests.rederive.run import YES, has, judge
from tests.rederive.words import Words


class Origins:
    """Tells where the facts of the chosen (or nearest) build have their values from."""

    def __init__(self, builds: Builds, stated: Mapping[str, Stated], words: Words) -> None:
        self.builds = builds
        self.stated = stated
        self.words = words
        self.runner = builds.runner
        self.rules = builds.base.rules
        self.facts = builds.base.facts
        self.run = builds.chosen
        self.world = self.run.world
        self._premises: dict[str, Premise] = {}
        self._assumed_behind: dict[str, frozenset[str]] = {}

    def fact(self, name: str) -> Premise:
        """Return where a fact has its value from, down to what was stated."""
        if name not in self._premises:
            self._premises[name] = self._trace(name)
        return self._premises[name]

    def _trace(self, name: str) -> Premise:
        value = self.world[name]
        if not has(value):
            return Premise(name, f"{name} is not known", "missing")
        says = self.words.is_value(name, value, 3 if name in ROUGH else 5)
        shown = self.words.shown(name, value)
        stated = self.stated.get(name)
        if stated is not None:
            return Premise(name, says, "given", shown, stated.file, stated.line)
        if name in self.builds.assumed:
            because = self.builds.assumed[name].because
            return Premise(name, says, "assumed", shown, because=because)
        origin = self.facts[name].origin
        if origin == "computed":
            below = tuple(map(self.fact, self.runner.inputs(name, self.world)))
            function = BY_FACT[name].function
            return Premise(name, says, origin, shown, function=function, premises=below)
        if origin == "concluded":
            setters = (rule for rule, _ in self.runner.setters[name])
            rules = tuple(rule for rule in setters if rule in self.run.standing)
            below = tuple(p for rule in rules for p in self.rule(self.rules[rule]))
            return Premise(name, says, origin, shown, rules=rules, premises=below)
        return Premise(name, says, "option", shown)

    def rule(self, rule: Rule) -> tuple[Premise, ...]:
        """Return what a rule's condition rests on: its tests that hold, each with its facts."""
        found: dict[tuple[str, str], Premise] = {}
        for test, holds in self._telling(rule.when) if rule.when is not None else ():
            for name in test.facts:
                premise = self.fact(name)
                valued = premise.value is not None
                if test.op == "known" and holds and valued:
                    pass
                elif not valued or test.op in ("known", "stated"):
                    said = self.words.condition(test)
                    premise = premise._replace(says=said if holds else f"not: {said}")
                found.setdefault((name, premise.says), premise)
        return tuple(found.values())

    def _telling(self, node: Condition) -> Iterator[tuple[Test, bool]]:
        """Yield the tests that make a condition hold, and whether each holds itself."""
        if isinstance(node, Test):
            yield node, self._holds(node)
        elif node.word == "not":
            for test in tests_of(node):
                yield test, self._holds(test)
        else:
            for part in node.parts:
                if node.word == "all" or self._holds(part):
                    yield from self._telling(part)

    def _holds(self, node: Condition) -> bool:
        return judge(node, self.world).truth == YES

    def rests_on(self, name: str) -> frozenset[str]:
        """Return the assumed facts that a fact's value goes back to."""
        if name not in self._assumed_behind:
            self._assumed_behind[name] = self._find_assumed(name)
        return self._assumed_behind[name]

    def _find_assumed(self, name: str) -> frozenset[str]:
        if name in self.stated or not has(self.world[name]):
            return frozenset()
        if name in self.builds.assumed:
            return frozenset((name,))
        origin = self.facts[name].origin
        if origin == "computed":
            inputs = self.runner.inputs(name, self.world)
            return frozenset().union(*map(self.rests_on, inputs))
        return self.behind(self.fact(name).premises) if origin == "concluded" else frozenset()

    def behind(self, premises: Iterable[Premise]) -> frozenset[str]:
        """Return the assumed facts that premises go back to."""
        return frozenset().union(*(self.rests_on(premise.fact) for premise in premises))
