"""The Decision that ought to be there: all that is told of a choice, from the rules alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import NamedTuple

from advisor.decision import (
    Alternative,
    Assumed,
    Bounded,
    Caution,
    Conflict,
    Contest,
    Decision,
    Dispute,
    Evidence,
    FactValue,
    NoNumber,
    Number,
    Reason,
    Rejection,
    RetiredRule,
    RuleBaseName,
    SetAside,
    Side,
    StandsUnless,
    Stated,
    Step,
    Tie,
    Undecided,
    Unproven,
)
from advisor.derive import BY_FACT
from tests.rederive.asked import Asking, notes_on
from tests.rederive.builds import Builds, Failure
from tests.rederive.facts import Item, Value
from tests.rederive.origins import Origins
from tests.rederive.rules import Demand, Rule, tests_of
from tests.rederive.run import (
    BROKEN,
    FIRED,
    MET,
    UNDECIDED,
    UNKNOWN,
    UNPROVEN,
    EndlessError,
    Run,
    has,
    judge,
    same,
)
from tests.rederive.words import Words

STRENGTHS = ("must", "must_not", "should", "should_not", "favour")
PHASES = ("prepare", "set-up", "bond", "cure", "verify", "shoot", "care")
LEVELS = ("stop", "caution", "note")


class Inputs(NamedTuple):
    """What a Decision says was put in: all that is not derived."""

    title: str
    stock: str
    values: Mapping[str, Value]
    stated: Mapping[str, Stated]
    taken: Mapping[str, Item]  # group of facts -> the listed item they were taken from
    typical: frozenset[str]  # groups that hold usual sizes, nothing on a shelf


class Teller:
    """Tells the Decision on one setup, as the rules have it."""

    def __init__(self, builds: Builds, inputs: Inputs) -> None:
        self.builds = builds
        self.inputs = inputs
        self.runner = builds.runner
        self.base = builds.base
        self.rules = builds.base.rules
        self.facts = builds.base.facts
        self.words = Words(self.facts)
        self.run = builds.chosen
        self.world = self.run.world
        self.standing = [self.rules[name] for name in sorted(self.run.standing)]
        self.own_failures = builds.failures(self.run)
        self.origins = Origins(builds, inputs.stated, self.words)

    def decision(self) -> Decision:
        """Return the whole Decision."""
        builds = self.builds
        reasons = self._reasons()
        rests = self._verdict_rests_on(reasons)
        numbers = self._numbers()
        doubts = tuple(self._doubts())
        asking = Asking(builds, self.words, self._chosen)
        questions, cannot = asking.questions(rests, doubts)
        shown = self.words.shown
        return Decision(
            status=builds.status,
            rulebase=RuleBaseName(
                *self.base.layers[-1],
                self.base.digest,
                tuple(f"{name} {version}" for name, version in self.base.layers),
            ),
            title=self.inputs.title,
            stock=self.inputs.stock,
            given={name: shown(name, value) for name, value in self.inputs.values.items()},
            assumed={name: shown(name, found.value) for name, found in builds.assumed.items()},
            build=self._build(self.world),
            numbers=numbers,
            chosen=self._chosen,
            items=self._items(),
            notes=tuple(
                notes_on(builds, self.words, questions, self._beaten(FIRED), self._named_items())
            ),
            concluded={
                name: shown(name, self.world[name])
                for name in self.base.of_origin("concluded")
                if has(self.world[name])
            },
            reasons=reasons,
            cautions=self._cautions(self.run),
            steps=self._steps(self.run),
            set_aside=tuple(self._set_aside()),
            stands_unless=doubts,
            ties=self._ties(self.run, self.own_failures),
            unproven=tuple(self._unproven()),
            contested=tuple(
                Dispute(rule.id, rule.says, rule.contested["by"], rule.contested["note"])
                for rule in self.standing
                if rule.contested
            ),
            equals=tuple(self._build(builds.world(at, ())) for at in builds.equals),
            alternatives=tuple(self._alternative(at, numbers) for at in builds.others),
            rejected=self._rejected(),
            conflicts=tuple(
                Conflict(
                    names,
                    tuple(self.rules[name].says for name in names),
                    tuple(self._offered_against(self.rules[name]) for name in names),
                )
                for names in builds.conflicts
            ),
            more_conflicts=builds.more_conflicts,
            undecided=tuple(self._undecided()),
            unsettled=asking.unsettled,
            questions=questions,
            cannot_matter=cannot,
            bounded=tuple(self._bounded()),
            retired=tuple(
                RetiredRule(
                    gone.rule.id,
                    gone.rule.says,
                    gone.because,
                    gone.by,
                    gone.replacement,
                    any(level != "note" for level, _ in gone.rule.cautions),
                )
                for gone in self.base.gone
            ),
            rests_on=rests,
            fired=tuple(sorted(n for n, told in self.run.told.items() if told.state == FIRED)),
            unknown=self._unknown(),
            stated=self.inputs.stated,
            assumptions={
                name: Assumed(found.because, found.by) for name, found in builds.assumed.items()
            },
            labels={name: fact.label for name, fact in self.facts.items() if fact.label},
            builds=builds.count,
            survivors=builds.survivors,
        )

    # The build

    @cached_property
    def _option_facts(self) -> list[str]:
        on_axes = self.builds.on_axes
        return [n for n, fact in self.facts.items() if fact.origin == "option" or n in on_axes]

    @cached_property
    def _chosen(self) -> tuple[str, ...]:
        return tuple(name for name in self._option_facts if name not in self.inputs.values)

    def _build(self, world: Mapping[str, Value]) -> dict[str, FactValue]:
        return {
            name: self.words.shown(name, world[name])
            for name in self._option_facts
            if has(world[name])
        }

    def _items(self) -> dict[str, str]:
        found = {group: item.id for group, item in self.inputs.taken.items()}
        found.update({axis: item.id for axis, item in self._chosen_items()})
        return found

    def _chosen_items(self) -> Iterator[tuple[str, Item]]:
        rows = self.builds.rows_of(self.builds.at)
        for axis, row in zip(self.builds.axes, rows, strict=True):
            item = axis.items[row] if axis.items else None
            if item is not None:
                yield axis.name, item

    def _named_items(self) -> Iterator[Item]:
        """Yield the items of a shelf that are named beside the build; usual sizes are on none."""
        for axis, item in self._chosen_items():
            if axis not in self.inputs.typical:
                yield item
        yield from self.inputs.taken.values()

    def _numbers(self) -> dict[str, Number]:
        found = {}
        for name in self.base.of_origin("computed"):
            if not has(self.world[name]):
                continue
            unit, value = self.facts[name].unit, self.world[name]
            if name in self.inputs.stated:
                told = self.inputs.stated[name]
                place = f"{told.file}:{told.line}" if told.line else told.file
                found[name] = Number(value, unit, "", "as stated", place)
            else:
                row = BY_FACT[name]
                rests = tuple(sorted(self.origins.rests_on(name)))
                found[name] = Number(value, unit, row.band, row.function, row.source, rests)
        return found

    def _unknown(self) -> dict[str, NoNumber]:
        found = {}
        for name in self.base.of_origin("computed"):
            if name in self.runner.rows and not has(self.world[name]):
                lacks = tuple(self.runner.lacking(name, self.world))
                found[name] = NoNumber(lacks, "" if lacks else self._refusal(name))
        return found

    def _refusal(self, fact: str) -> str:
        """Say why a function has no answer though it has all that it asks for."""
        try:
            self.runner.call(fact, self.world)
        except EndlessError:
            return "it has no end"
        except ValueError as error:
            part, misfit, _ = str(error).partition(" would reach from ")
            return f"the {part} does not fit where it belongs" if misfit else str(error)
        except ArithmeticError:
            return "the numbers are too large or too small for it"
        return ""  # pragma: no cover  # it has an answer, then

    # Reasons

    def _reasons(self) -> dict[str, tuple[Reason, ...]]:
        found: dict[str, list[Reason]] = {}
        for rule in self.standing:
            for demand in rule.demands:
                asks = self.words.demand(demand)
                outcome = self._outcome(rule, demand)
                reason = self._reason(rule, demand.strength, demand.fact, asks, outcome)
                found.setdefault(demand.fact, []).append(reason)
        for wish in self.builds.wishes:
            outcome = MET if has(self.world[wish.fact]) else UNPROVEN
            asks = f"{wish.fact} is {wish.end}"
            reason = self._reason(self.rules[wish.rule], "favour", wish.fact, asks, outcome)
            found.setdefault(wish.fact, []).append(reason)
        return {
            fact: tuple(sorted(told, key=lambda r: (STRENGTHS.index(r.strength), r.rule)))
            for fact, told in found.items()
        }

    def _outcome(self, rule: Rule, demand: Demand, run: Run | None = None) -> str:
        world = (run or self.run).world
        return self.runner.meets(rule.id, demand.place, demand.is_negative, world)

    def _reason(self, rule: Rule, strength: str, fact: str, asks: str, outcome: str) -> Reason:
        evidence = rule.evidence
        source = self.base.sources.get(evidence.get("source", ""), {})
        told = (str(source.get(key, "")) for key in ("author", "title", "year"))
        return Reason(
            rule=rule.id,
            layer=rule.by,
            strength=strength,
            fact=fact,
            asks=asks,
            outcome=outcome,
            says=rule.says,
            because=self.words.text(rule.because, self.world),
            evidence=Evidence(
                evidence["class"],
                evidence.get("source", ""),
                ", ".join(part for part in told if part),
                evidence.get("place", ""),
                evidence.get("function", ""),
                evidence.get("note", ""),
                bool(source.get("from_memory", False)),
            ),
            premises=self.origins.rule(rule),
            contested=Contest(rule.contested["by"], rule.contested["note"])
            if rule.contested
            else None,
            unless_open=self._unless_open(rule.id),
        )

    def _unless_open(self, name: str) -> tuple[str, ...]:
        told = self.run.told[name]
        return tuple(sorted(told.unless.lacks)) if told.opened else ()

    def _verdict_rests_on(self, reasons: Mapping[str, tuple[Reason, ...]]) -> tuple[str, ...]:
        found: set[str] = set()
        if self.builds.conflicts:
            for name in {name for names in self.builds.conflicts for name in names}:
                rule = self.rules[name]
                found |= self.origins.behind(self.origins.rule(rule))
                musts = (demand for demand in rule.demands if demand.is_must)
                for fact in {f for d in musts for t in tests_of(d.test) for f in t.facts}:
                    found |= self.origins.rests_on(fact)
        else:
            for reason in (reason for told in reasons.values() for reason in told):
                found |= self.origins.behind(reason.premises)
                if self.facts[reason.fact].origin != "option":
                    found |= self.origins.rests_on(reason.fact)
        return tuple(sorted(found))

    # Cautions and steps

    def _cautions(self, run: Run) -> tuple[Caution, ...]:
        found = [
            Caution(name, level, self.words.text(text, run.world))
            for name in sorted(run.standing)
            for level, text in self.rules[name].cautions
        ]
        return tuple(sorted(found, key=lambda c: (LEVELS.index(c.level), c.rule)))

    def _steps(self, run: Run) -> tuple[Step, ...]:
        """Order the steps by phase, then by what each waits for, then by id."""
        told = []
        for phase in PHASES:
            left = {
                name: steps
                for name in sorted(run.standing)
                if (steps := [step for step in self.rules[name].steps if step[0] == phase])
            }
            while left:
                first = next(
                    name
                    for name, steps in left.items()
                    if not any(other in left for _, _, after in steps for other in after)
                )
                for _, text, _ in left.pop(first):
                    told.append(Step(first, phase, self.words.text(text, run.world)))
        return tuple(told)

    # Defeats, ties, what is not known

    def _set_aside(self) -> Iterator[SetAside]:
        for loser, winners in self._beaten(FIRED):
            lost = self.rules[loser]
            for winner in winners:
                won = self.rules[winner]
                yield SetAside(
                    loser,
                    lost.says,
                    self.words.text(lost.because, self.world),
                    winner,
                    won.says,
                    self.words.text(won.because, self.world),
                    self._unless_open(winner),
                )

    def _beaten(self, state: str) -> Iterator[tuple[str, list[str]]]:
        for name in sorted(name for name, told in self.run.told.items() if told.state == state):
            overriders = self.runner.overriders[name]
            winners = [w for w in overriders if self.runner.beats(self.run, w, name)]
            if winners:
                yield name, winners

    def _doubts(self) -> Iterator[StandsUnless]:
        """Yield what could still set a standing rule aside, then what could still tie a value."""
        for rule in self.standing:
            for winner in self.runner.overriders[rule.id]:
                told = self.run.told.get(winner)
                if told is not None and winner in self.run.live:
                    yield StandsUnless(rule.id, "rule", winner, tuple(sorted(told.when.lacks)))
                elif told is not None and told.opened and rule.stop and self._stands(winner):
                    yield StandsUnless(rule.id, "rule", winner, tuple(sorted(told.unless.lacks)))
        for fact in sorted(self.runner.setters):
            for rival, value in self.runner.setters[fact] if has(self.world[fact]) else ():
                if rival in self.run.live and not same(value, self.world[fact]):
                    lacks = tuple(sorted(self.runner.lacks(self.run, rival)))
                    yield StandsUnless(fact, "fact", rival, lacks)

    def _stands(self, name: str) -> bool:
        return name in self.run.standing

    def _ties(self, run: Run, failures: Iterable[Failure]) -> tuple[Tie, ...]:
        found = []
        for fact in sorted(run.ties):
            sides = [
                Side(name, self.words.is_value(fact, value), self.rules[name].because)
                for name, value in self.runner.setters[fact]
                if name in run.standing
            ]
            found.append(Tie(fact, "values", tuple(sides)))
        for fact, pair in self._tied_shoulds(run, failures):
            sides = [
                Side(rule.id, self.words.demand(demand), rule.because) for rule, demand in pair
            ]
            found.append(Tie(fact, "shoulds", tuple(sides)))
        return tuple(found)

    def _tied_shoulds(
        self, run: Run, failures: Iterable[Failure]
    ) -> Iterator[tuple[str, tuple[tuple[Rule, Demand], tuple[Rule, Demand]]]]:
        """Yield pairs of shoulds of one layer on one chosen option of which no build meets both."""
        chosen = {f for axis in self.builds.axes if len(axis.rows) > 1 for f in axis.facts}
        asked: dict[tuple[int, str], list[tuple[Rule, Demand]]] = {}
        for name in sorted(run.standing):
            rule = self.rules[name]
            for demand in rule.demands:
                if not demand.is_must and demand.fact in chosen:
                    asked.setdefault((rule.layer, demand.fact), []).append((rule, demand))
        failing = {
            key
            for key, sides in asked.items()
            if any((rule.id, demand.place) in set(failures) for rule, demand in sides)
        }
        for key in sorted(failing):
            sides = asked[key]
            meeting = [
                self.builds.meeting(rule.id, demand.place, demand.is_negative)
                for rule, demand in sides
            ]
            for i, one in enumerate(sides):
                for j in range(i + 1, len(sides)):
                    if meeting[i] and meeting[j] and not meeting[i] & meeting[j]:
                        yield key[1], (one, sides[j])

    def _unproven(self) -> Iterator[Unproven]:
        for rule in self.standing:
            for demand in rule.demands:
                if demand.is_must and self._outcome(rule, demand) == UNPROVEN:
                    lacks = judge(demand.test, self.world, UNKNOWN).lacks
                    roots = self.runner.roots(self.run, lacks)
                    yield Unproven(rule.id, self.words.demand(demand), tuple(sorted(roots)))

    def _undecided(self) -> Iterator[Undecided]:
        overruled = dict(self._beaten(UNDECIDED))
        for name in sorted(self.run.told):
            told = self.run.told[name]
            if told.state == UNDECIDED:
                lacks = tuple(sorted(told.when.lacks))
                yield Undecided(name, self.rules[name].says, lacks, tuple(overruled.get(name, ())))

    # Other builds

    def _alternative(self, at: int, numbers: Mapping[str, Number]) -> Alternative:
        looked_at = self.builds.looked_at
        run = self.runner.run(self.builds.world(at, looked_at))
        for wish in self.builds.wishes:
            run.world[wish.fact] = self.builds.value(at, wish.fact)
        failures = self.builds.failures(run)
        lost = sorted(failures - self.own_failures)
        loses = [self._loss(name, place, run) for name, place in lost]
        return Alternative(
            build=self._build(run.world),
            numbers={
                name: number._replace(value=run.world[name])
                for name, number in numbers.items()
                if has(run.world[name])
            },
            loses=tuple(loses or self._wishes_lost(run)),
            breaks=tuple(dict.fromkeys(name for name, _ in lost)),
            cautions=self._cautions(run),
            steps=self._steps(run),
            ties=self._ties(run, failures),
        )

    def _loss(self, name: str, place: int, run: Run) -> str:
        if place < 0:
            return f"carries the stop of {name}"
        rule = self.rules[name]
        demand = next(d for d in rule.demands if d.place == place)
        verb = "breaks" if self._outcome(rule, demand, run) == BROKEN else "leaves unproven"
        return f"{verb} {name}: {self.words.demand(demand)}"

    def _wishes_lost(self, run: Run) -> Iterator[str]:
        for wish in self.builds.wishes:
            mine, theirs = self.world[wish.fact], run.world[wish.fact]
            if mine == theirs:
                continue
            told, here = (
                self.words.value(wish.fact, x, 3) if has(x) else "not known" for x in (theirs, mine)
            )
            yield f"{wish.fact} {told} against {here} ({wish.rule})"

    def _rejected(self) -> tuple[Rejection, ...]:
        found = []
        for (name, place), times in self.builds.times().items():
            rule = self.rules[name]
            asks = "stop"
            if place >= 0:
                demand = next(d for d in rule.demands if d.place == place)
                asks = f"{demand.strength.replace('_', ' ')}: {self.words.demand(demand)}"
            found.append((-times, name, place, Rejection(name, rule.says, asks, times)))
        return tuple(told for *_, told in sorted(found, key=lambda one: one[:3]))

    def _offered_against(self, rule: Rule) -> str:
        """Say which musts of a rule the nearest build breaks, and what it offers instead."""
        told = []
        for demand in rule.demands if self._stands(rule.id) else ():
            if demand.is_must and self._outcome(rule, demand) == BROKEN:
                others = {fact for test in tests_of(demand.test) for fact in test.facts}
                facts = [demand.fact, *sorted(others - {demand.fact})]
                here = ", ".join(self.origins.fact(name).says for name in facts)
                told.append(f"{self.words.demand(demand)}; here {here}")
        return "; ".join(told)

    def _bounded(self) -> Iterator[Bounded]:
        for fact in self._chosen if self.builds.survivors else ():
            beyond = self.builds.beyond(fact)
            if beyond is not None:
                shown = self.words.shown
                yield Bounded(fact, shown(fact, self.world[fact]), shown(fact, beyond))
