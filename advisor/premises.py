"""Where facts come from: the way back from a value to what somebody stated."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.decision import FactValue, Number, Premise
from advisor.derive import BY_FACT, ROUGH
from advisor.engine.conditions import All, Any, Judged, Node, Not, Test, judge
from advisor.engine.run import FIRED, Run
from advisor.engine.values import COMPUTED, CONCLUDED, OPTION, YES, Value, has_value
from advisor.judge import Judgement
from advisor.vocabulary import NUMBERS
from advisor.words import Words

_SHOWN_DIGITS = 5
"""Digits of a number in the words of a premise; the value beside them is exact."""

_ROUGH_DIGITS = 3
"""The same where the band is wide: enough to see on which side of a bound it stands."""


class Origins:
    """Tells the premises of one run; each fact's way back is worked out once."""

    def __init__(self, judgement: Judgement, run: Run, words: Words) -> None:
        self.judgement = judgement
        self.run = run
        self.words = words
        self.vocabulary = judgement.base.vocabulary
        self._facts: dict[str, Premise] = {}
        self._shown: dict[tuple[str, Value], FactValue] = {}
        self._rests: dict[str, frozenset[str]] = {}

    def shown(self, fact: str, value: Value) -> FactValue:
        """Return a value as the Decision holds it."""
        # Alternatives and equals mostly hold the same values as the chosen build.
        found = self._shown.get((fact, value))
        if found is None:
            entry = self.vocabulary[fact]
            found = Number(value, entry.unit) if entry.kind in NUMBERS else value
            self._shown[fact, value] = found
        return found

    def fact(self, name: str) -> Premise:
        """Return where a fact has its value from, down to what was stated."""
        found = self._facts.get(name)
        if found is None:
            found = self._facts[name] = self._trace(name)
        return found

    def _trace(self, name: str) -> Premise:
        value = self.run.value(name)
        judgement = self.judgement
        if not has_value(value):
            return Premise(name, f"{name} is not known", "missing")
        digits = _ROUGH_DIGITS if name in ROUGH else _SHOWN_DIGITS
        says = f"{name} is {self.words.value(name, value, digits)}"
        shown = self.shown(name, value)
        given = judgement.setup.facts.get(name)
        if given is not None:
            return Premise(name, says, "given", shown, given.file, given.line)
        assumption = judgement.assumed.get(name)
        if assumption is not None:
            return Premise(name, says, "assumed", shown, because=assumption.because)
        origin = self.vocabulary[name].origin
        if origin == COMPUTED:
            computed = BY_FACT[name]
            inputs = judgement.ways.chooser.inputs(name, self.run.values)
            needs = tuple(self.fact(need) for need in inputs)
            return Premise(
                name, says, "computed", shown, function=computed.function, premises=needs
            )
        if origin == CONCLUDED:
            rules = tuple(self.run.supporters(name))
            below = tuple(p for rule_id in rules for p in self.rule(rule_id))
            return Premise(name, says, "concluded", shown, rules=rules, premises=below)
        return Premise(name, says, OPTION, shown)

    def rule(self, rule_id: str) -> tuple[Premise, ...]:
        """Return what a rule's condition rests on: the tests that hold, each with its fact."""
        when = self.judgement.base.entries[rule_id].rule.when
        if when is None:
            return ()
        run = self.run
        known = run.status(rule_id) >= FIRED
        telling = _telling_of(when, run) if known else _telling(_judged(when, run))
        found: dict[tuple[str, str], Premise] = {}
        for test, holds in telling:
            for name in test.facts():
                premise = self.fact(name)
                told = test.op == "known" and holds and premise.value is not None
                if (premise.value is None or test.op in ("known", "stated")) and not told:
                    said = self.words.condition(test)
                    premise = premise._replace(says=said if holds else f"not: {said}")
                found.setdefault((name, premise.says), premise)
        return tuple(found.values())

    def rests_on(self, name: str) -> frozenset[str]:
        """Return the assumed facts that a fact's value goes back to."""
        found = self._rests.get(name)
        if found is None:
            found = self._rests[name] = self._find_rests(name)
        return found

    def _find_rests(self, name: str) -> frozenset[str]:
        judgement = self.judgement
        if name in judgement.setup.facts or not has_value(self.run.value(name)):
            return frozenset()
        if name in judgement.assumed:
            return frozenset((name,))
        origin = self.vocabulary[name].origin
        if origin == COMPUTED:
            inputs = judgement.ways.chooser.inputs(name, self.run.values)
            return frozenset().union(*map(self.rests_on, inputs))
        return self.behind(self.fact(name).premises) if origin == CONCLUDED else frozenset()

    def behind(self, premises: Iterable[Premise]) -> frozenset[str]:
        """Return the assumed facts that premises go back to."""
        return frozenset().union(*[self.rests_on(premise.fact) for premise in premises])


def _judged(node: Node, run: Run) -> Judged:
    return judge(node, run.program.table, run.values)


def _telling_of(node: Node, run: Run) -> Iterable[tuple[Test, bool]]:
    """Yield the same for a condition known to hold, judging only what that leaves open."""
    if isinstance(node, Test):
        yield node, True
    elif isinstance(node, All):
        for part in node.parts:
            if isinstance(part, Test):
                yield part, True
            else:
                yield from _telling_of(part, run)
    else:
        yield from _telling(_judged(node, run))


def _telling(judged: Judged) -> Iterable[tuple[Test, bool]]:
    """Yield the tests that make a condition hold, and whether each does."""
    node = judged.node
    if isinstance(node, Test):
        yield node, judged.outcome == YES
        return
    for part in judged.parts:
        if isinstance(node, Any) and part.outcome != YES:
            continue
        if isinstance(node, Not):
            yield from _all_tests(part)
        else:
            yield from _telling(part)


def _all_tests(judged: Judged) -> Iterable[tuple[Test, bool]]:
    if isinstance(judged.node, Test):
        yield judged.node, judged.outcome == YES
    for part in judged.parts:
        yield from _all_tests(part)
