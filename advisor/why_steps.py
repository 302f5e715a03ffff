"""The steps of a derivation: facts, rules and demands of one run, down to what was stated.

The trace is not kept while the engine runs; it is told afterwards from the final values, which are
the same (`engine/conditions.py` says why). What makes a condition what it is, is told in full: of
an `all` that holds every part, of an `any` that holds every part that does, of what does not hold
the other way about, of what is unknown everything.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from advisor.decision import Contest, Evidence, StandsUnless
from advisor.derivation import (
    ADVICE,
    COMPUTED,
    CONCLUDED,
    DEMAND,
    EXCEPTED,
    GIVEN,
    LACKS,
    MISSING,
    NOT_CONCLUDED,
    NOT_STATED,
    OPTION,
    REFUSED,
    RULE,
    SET_ASIDE,
    SILENT,
    STANDS,
    STANDS_OPEN,
    TIED,
    UNDECIDED,
    WAITS,
    Conclusion,
    Step,
    Tested,
)
from advisor.derive import BY_FACT, ROUGH
from advisor.derive.bound import refusal
from advisor.engine.conditions import All, Judged, Node, Not, Test, facts_of, judge, tests_of
from advisor.engine.conditions import Any as AnyOf
from advisor.engine.rules import Demand
from advisor.engine.run import FIRED, FIRED_OPEN
from advisor.engine.run import SILENT as RUN_SILENT
from advisor.engine.values import ABSENT, NO, UNKNOWN, YES, Value, has_value
from advisor.judge import Judgement
from advisor.premises import Origins
from advisor.rulebase.model import RuleEntry
from advisor.vocabulary import named_in

_OUTCOMES = {NO: "no", UNKNOWN: "unknown", YES: "yes"}
Key = tuple[str, ...]


class Way:
    """The way down from one thing: its steps, each told once, numbered as they are met."""

    def __init__(self, judgement: Judgement) -> None:
        self.judgement = judgement
        self.base = judgement.base
        self.run = judgement.run
        self.words = judgement.base.words
        self.origins = Origins(judgement, self.run, self.words)
        self._numbers: dict[Key, int] = {}
        self._steps: dict[int, Step] = {}
        self._beaten = self.run.set_aside()
        self._doubts = self.run.stands_unless()
        self._value_doubts = self.run.value_stands_unless()

    def told(self) -> tuple[Step, ...]:
        """Return the steps in the order of their numbers."""
        return tuple(step for _, step in sorted(self._steps.items()))

    def add(self, key: Key, make: Callable[[int], Step]) -> int:
        """Return the number of a step, making it if it was not told yet.

        `make` is given the number, and takes its own steps after it.
        """
        number = self._numbers.get(key)
        if number is None:
            number = self._numbers[key] = len(self._numbers) + 1
            self._steps[number] = make(number)
        return number

    # Facts

    def fact(self, name: str) -> int:
        """Return the number of the step that tells where a fact has its value from."""
        return self.add(("fact", name), lambda number: self._fact(name, number))

    def facts(self, names: Iterable[str]) -> tuple[int, ...]:
        """Return the same for several facts."""
        return tuple(dict.fromkeys(map(self.fact, names)))

    def _fact(self, name: str, number: int) -> Step:
        premise = self.origins.fact(name)
        step = Step(number, premise.origin, name, premise.says, value=premise.value)
        if premise.origin == MISSING:
            return self._missing(name, step)
        if premise.origin == COMPUTED:
            computed = BY_FACT[name]
            return step._replace(
                rests_on=self.facts(self._inputs(name)),
                function=computed.function,
                source=computed.source,
                band=computed.band,
            )
        if premise.origin == CONCLUDED:
            rules = tuple(map(self.rule, premise.rules))
            doubts = self._value_doubts.get(name, ())
            return step._replace(rests_on=rules, stands_unless=_told_doubts(name, "fact", doubts))
        if premise.origin == GIVEN:
            given = self.judgement.setup.facts[name]
            because = ""
            if name in BY_FACT:
                because = (
                    f"Stated, and takes the place of what is computed: {BY_FACT[name].function}."
                )
            return step._replace(
                file=given.file, line=given.line, written=given.written, because=because
            )
        if premise.origin == OPTION:
            return self.with_item(step)
        assumption = self.judgement.assumed[name]
        return step._replace(because=assumption.because, by=assumption.layer)

    def _inputs(self, name: str) -> list[str]:
        """Return what a computed fact came from, what it used because it was known included."""
        chooser, run = self.judgement.ways.chooser, self.run
        function = chooser.function(name)
        optional = [] if function is None else function.optional
        known = [need for need in optional if has_value(run.value(need))]
        return [*chooser.inputs(name, run.values), *known]

    def _missing(self, name: str, step: Step) -> Step:
        origin = self.base.vocabulary[name].origin
        chooser, run = self.judgement.ways.chooser, self.run
        slot = self.base.table.slot[name]
        if origin == CONCLUDED:
            setters = run.program.setters.get(slot, ())
            rules = [run.program.rules[place].id for place, _ in setters]
            state = NOT_CONCLUDED
            if run.value(name) is not ABSENT:
                state = TIED if slot in run.ties else WAITS
            return step._replace(state=state, rests_on=tuple(map(self.rule, sorted(rules))))
        function = chooser.function(name)
        if function is None:
            return step._replace(says=f"{name} is not stated", state=NOT_STATED)
        step = step._replace(function=BY_FACT[name].function, source=BY_FACT[name].source)
        lacks = chooser.lacking(name, run.values)
        if lacks:
            return step._replace(state=LACKS, rests_on=self.facts(lacks))
        refused = refusal(name, self.base.vocabulary, [run.value(n) for n in function.needs])
        return step._replace(
            state=REFUSED, because=refused, rests_on=self.facts(self._inputs(name))
        )

    def with_item(self, step: Step) -> Step:
        """Add to the step of an option the listed item that its value goes with."""
        judgement = self.judgement
        rows = judgement.grid.combination(judgement.at)
        for axis, row in zip(judgement.choice.axes, rows, strict=True):
            behind = judgement.choice.items.get(axis.name)
            item = behind[row] if behind and step.name in axis.facts else None
            if item is not None:
                file = self._shown(item.file)
                return step._replace(item=f"{axis.name} {item.id}", file=file, line=item.line)
        return step

    def _shown(self, file: str) -> str:
        return self.base.file_words(file)

    # Rules

    def rule(self, rule_id: str) -> int:
        """Return the number of the step that tells why a rule stands, or what keeps it silent."""
        return self.add((RULE, rule_id), lambda number: self._rule(rule_id, number))

    def state(self, rule_id: str) -> str:
        """Return what a rule comes to."""
        run = self.run
        place = self.base.program.place[rule_id]
        status = run.status(rule_id)
        if status >= FIRED:
            if not run.stands(rule_id):
                return SET_ASIDE
            return STANDS_OPEN if status == FIRED_OPEN else STANDS
        if status != RUN_SILENT:
            return UNDECIDED
        return EXCEPTED if run.bits.excepted >> place & 1 else SILENT

    def _rule(self, rule_id: str, number: int) -> Step:
        entry = self.base.entries[rule_id]
        rule, state = entry.rule, self.state(rule_id)
        parts: list[tuple[str, Node | None]] = [("when", rule.when), ("unless", rule.unless)]
        if state == SILENT:
            parts.pop()
        elif state == EXCEPTED:
            parts.pop(0)
        tests = tuple(test for part, node in parts for test in self._tests(part, node))
        winners: list[str] = []
        beaten_by: tuple[str, ...] = ()
        if state in (STANDS, STANDS_OPEN):
            # It stands because none of these sets it aside.
            program = self.base.program
            winners = [program.rules[w].id for w in program.overriders[program.place[rule_id]]]
        elif state == SET_ASIDE:
            winners = self._beaten[rule_id]
            beaten_by = tuple(winners)
        elif state == UNDECIDED:
            winners = self.run.overruled().get(rule_id, [])
            beaten_by = tuple(winners)
        below = [*(n for test in tests for n in test.facts), *map(self.rule, winners)]
        return Step(
            number,
            RULE,
            rule_id,
            entry.says,
            tuple(dict.fromkeys(below)),
            state=state,
            file=self._shown(entry.file),
            line=entry.line,
            because=self.filled(entry.because),
            by=entry.layer,
            evidence=self._evidence(entry),
            contested=Contest(*entry.contested) if entry.contested else None,
            tests=tests,
            condition=self.words.condition(rule.when) if rule.when else "",
            exception=self.words.condition(rule.unless) if rule.unless else "",
            concludes=tuple(Conclusion("set", self._set_words(*told)) for told in rule.sets),
            defeated=tuple(loser for loser, by in sorted(self._beaten.items()) if rule_id in by),
            by_rules=beaten_by,
            stands_unless=_told_doubts(rule_id, "rule", self._doubts.get(rule_id, ())),
        )

    def _set_words(self, fact: str, value: Value) -> str:
        return f"{fact} is {self.words.value(fact, value)}"

    def _tests(self, part: str, node: Node | None) -> list[Tested]:
        """Return the tests that make a condition what it is."""
        if node is None:
            return []
        judged = judge(node, self.base.table, self.run.values)
        return [
            Tested(part, self.words.condition(test), _OUTCOMES[outcome], self.facts(_named(test)))
            for test, outcome in dict.fromkeys(_telling(judged))
        ]

    def _evidence(self, entry: RuleEntry) -> Evidence:
        held = entry.evidence
        source = self.base.sources.get(held.source)
        title = self.base.titles.get(held.source, "")
        memory = source is not None and source.from_memory
        return Evidence(held.kind, held.source, title, held.place, held.function, held.note, memory)

    def filled(self, text: str) -> str:
        """Return a text of a rule with the facts it names filled in."""
        return self.words.text(text, self.run.value, ROUGH)

    # What rules ask

    def demand(self, rule_id: str, demand: Demand) -> int:
        """Return the number of the step that tells what a rule asks and what that comes to."""

        def make(number: int) -> Step:
            names = [demand.fact, *sorted(facts_of(demand.test) - {demand.fact})]
            return Step(
                number,
                DEMAND,
                demand.fact,
                self.words.demand(demand),
                (self.rule(rule_id), *self.facts(names)),
                state=self.outcome(rule_id, demand),
                rule=rule_id,
                strength=demand.strength.replace("_", " "),
            )

        return self.add((DEMAND, rule_id, str(demand.place)), make)

    def outcome(self, rule_id: str, demand: Demand) -> str:
        """Return met, broken or unproven, or what keeps the rule from asking."""
        state = self.state(rule_id)
        if state in (STANDS, STANDS_OPEN):
            return self.judgement.outcome(self.base.entries[rule_id].rule, demand, self.run)
        return state

    def favour(self, rule_id: str) -> int:
        """Return the number of the step that tells what a rule favours, and how it stands here."""

        def make(number: int) -> Step:
            favour = self.base.entries[rule_id].rule.favour
            assert favour is not None
            return Step(
                number,
                DEMAND,
                favour.fact,
                f"{favour.fact} is {'highest' if favour.highest else 'lowest'}",
                (self.rule(rule_id), self.fact(favour.fact)),
                state=self._favoured(rule_id),
                rule=rule_id,
                strength="favour",
            )

        return self.add(("favour", rule_id), make)

    def _favoured(self, rule_id: str) -> str:
        if any(wish.rule == rule_id for wish in self.judgement.wishes):
            return "ranks"
        state = self.state(rule_id)
        # It stands here, yet not for every build, and then it ranks none.
        return "does not rank, for it does not stand for every build" if state == STANDS else state

    # A rule, asked about for what it adds to the advice

    def advice(self, rule_id: str) -> list[str]:
        """Take the step of a rule that was asked about, and return what else to know of it."""
        state = self.state(rule_id)
        if state in (STANDS, STANDS_OPEN):
            self.add((ADVICE, rule_id), lambda number: self._advice(rule_id, number))
            return []
        self.rule(rule_id)
        if state in (SILENT, EXCEPTED):
            return [f"It is silent here; advisor why-not {rule_id} tells what it would take."]
        if state == UNDECIDED:
            return ["It cannot be judged here, and adds nothing until it can."]
        return ["It fired and lost, so it adds nothing here."]

    def _advice(self, rule_id: str, number: int) -> Step:
        entry = self.base.entries[rule_id]
        below = [self.rule(rule_id)]
        concludes = tuple(self._conclusions(entry))
        below += [n for conclusion in concludes for n in conclusion.facts]
        below += self.facts(named_in(entry.because))
        return Step(
            number,
            ADVICE,
            rule_id,
            entry.says,
            tuple(dict.fromkeys(below)),
            concludes=concludes,
        )

    def _conclusions(self, entry: RuleEntry) -> Iterator[Conclusion]:
        rule, tied = entry.rule, self.run.tied()
        for fact, value in rule.sets:
            tie = fact in tied
            says = self._set_words(fact, value)
            yield Conclusion("set", says, TIED if tie else "", self.facts([fact] if tie else ()))
        for demand in rule.demands:
            yield Conclusion(
                demand.strength.replace("_", " "),
                self.words.demand(demand),
                self.outcome(rule.id, demand),
                self.facts([demand.fact, *sorted(facts_of(demand.test) - {demand.fact})]),
            )
        if rule.favour is not None:
            end = "highest" if rule.favour.highest else "lowest"
            fact = rule.favour.fact
            yield Conclusion(
                "favour", f"{fact} is {end}", self._favoured(rule.id), self.facts([fact])
            )
        for caution in entry.cautions:
            named = self.facts(named_in(caution.text))
            yield Conclusion(caution.level, self.filled(caution.text), "", named)
        for step in entry.steps:
            named = self.facts(named_in(step.text))
            yield Conclusion("step", self.filled(step.text), "", named, step.phase)


def _told_doubts(
    what: str, kind: str, doubts: Iterable[tuple[str, frozenset[str]]]
) -> tuple[StandsUnless, ...]:
    return tuple(StandsUnless(what, kind, by, tuple(sorted(facts))) for by, facts in doubts)


def _is_about_one_fact(node: Node) -> bool:
    return isinstance(node, Test) or (
        isinstance(node, (All, AnyOf))
        and all(isinstance(part, Test) for part in node.parts)
        and len({test.fact for test in tests_of(node)}) == 1
    )


def _telling(judged: Judged) -> Iterator[tuple[Node, int]]:
    """Yield the tests that make a condition what it is, each with what it comes to.

    Several tests on one fact are one, as they are written.
    """
    node, outcome = judged.node, judged.outcome
    if _is_about_one_fact(node):
        yield node, outcome
        return
    # Of an `all` that does not hold, and of an `any` that does, some parts are enough.
    settled = None if isinstance(node, Not) else NO if isinstance(node, All) else YES
    for part in judged.parts:
        if outcome != settled or part.outcome == settled:
            yield from _telling(part)


def _named(node: Node) -> list[str]:
    return list(dict.fromkeys(name for test in tests_of(node) for name in test.facts()))
