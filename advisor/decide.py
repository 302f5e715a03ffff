"""From a judgement to a Decision: reasons, defeats, questions, all in words and display units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property

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
from advisor.derive import BY_FACT, ROUGH
from advisor.derive.bound import refusal
from advisor.engine.conditions import lacking
from advisor.engine.grid import Offence
from advisor.engine.rules import MUST, Demand, Rule
from advisor.engine.run import FIRED_OPEN, Run
from advisor.engine.values import COMPUTED, CONCLUDED, OPTION, UNKNOWN, Value, has_value
from advisor.judge import BROKEN, MET, UNPROVEN, Judgement
from advisor.notes import notes_on
from advisor.premises import Origins
from advisor.questions import Questions
from advisor.rulebase.model import LEVELS, PHASES, RuleBase, RuleEntry, StepText
from advisor.vocabulary import named_in

_STRENGTH_ORDER = {"must": 0, "must_not": 1, "should": 2, "should_not": 3, "favour": 4}


def decide(judgement: Judgement) -> Decision:
    """Put a judgement into words."""
    return _Teller(judgement).decision()


class _Teller:
    """Tells one judgement."""

    def __init__(self, judgement: Judgement) -> None:
        self.judgement = judgement
        self.base: RuleBase = judgement.base
        self.vocabulary = judgement.base.vocabulary
        self.words = judgement.base.words
        self.run = judgement.run
        self.origins = Origins(judgement, self.run, self.words)
        self.grid = judgement.grid
        self.entries: Mapping[str, RuleEntry] = self.base.entries
        self._told_texts: dict[tuple[Value, ...], str] = {}
        self._step_orders: dict[int, list[Step]] = {}
        self._caution_orders: dict[int, list[Caution]] = {}

    def decision(self) -> Decision:
        j = self.judgement
        reasons = self._reasons()
        rests = self._rests_on(reasons)
        asking = Questions(j, self._chosen())
        questions, cannot = asking.ranked(rests)
        numbers = self._numbers()
        return Decision(
            status=j.status,
            rulebase=RuleBaseName(
                self.base.name,
                self.base.version,
                self.base.digest,
                tuple(f"{layer.name} {layer.version}" for layer in self.base.layers),
            ),
            title=j.setup.title,
            stock=j.stock.name,
            given={
                name: self.origins.shown(name, given.value) for name, given in j.setup.facts.items()
            },
            assumed={
                name: self.origins.shown(name, assumption.value)
                for name, assumption in j.assumed.items()
            },
            build=self._build(self.run.values),
            numbers=numbers,
            chosen=self._chosen(),
            items=self._items(j.at),
            notes=notes_on(j, questions),
            concluded={
                name: self.origins.shown(name, value)
                for name, value in self.run.concluded().items()
            },
            reasons=reasons,
            cautions=self._cautions(self.run),
            steps=self._steps(self.run),
            set_aside=self._set_aside(),
            stands_unless=self._stands_unless(),
            ties=self._ties(self.run, j.own_failures),
            unproven=self._unproven(),
            contested=self._contested(),
            equals=tuple(self._build_at(at) for at in j.equals),
            alternatives=tuple(self._alternative(at, numbers) for at in j.others),
            rejected=self._rejected(),
            conflicts=tuple(
                Conflict(
                    rules,
                    tuple(self.entries[r].says for r in rules),
                    tuple(self._offered_against(r) for r in rules),
                )
                for rules in j.conflicts
            ),
            more_conflicts=j.more_conflicts,
            undecided=self._undecided(),
            unsettled=asking.unsettled,
            questions=questions,
            cannot_matter=cannot,
            bounded=self._bounded(),
            retired=tuple(RetiredRule(*retired) for retired in self.base.retired),
            rests_on=rests,
            fired=tuple(rule.id for rule in self.run.fired()),
            unknown=self._unknown(),
            stated={
                name: Stated(given.file, given.line, given.written)
                for name, given in j.setup.facts.items()
            },
            assumptions={
                name: Assumed(assumption.because, assumption.layer)
                for name, assumption in j.assumed.items()
            },
            labels=self.base.labels,
            builds=j.count,
            survivors=j.survivors,
        )

    # The build

    @cached_property
    def _option_facts(self) -> list[str]:
        chosen = {fact for axis in self.judgement.choice.axes for fact in axis.facts}
        return [
            name
            for name, entry in self.vocabulary.entries.items()
            if entry.origin == OPTION or name in chosen
        ]

    def _chosen(self) -> tuple[str, ...]:
        return tuple(n for n in self._option_facts if n not in self.judgement.setup.facts)

    def _build(self, values: list[Value]) -> dict[str, FactValue]:
        slot = self.base.table.slot
        return {
            name: self.origins.shown(name, values[slot[name]])
            for name in self._option_facts
            if has_value(values[slot[name]])
        }

    def _build_at(self, at: int) -> dict[str, FactValue]:
        build = self._build(self.run.values)
        for axis, row in zip(self.judgement.choice.axes, self.grid.combination(at), strict=True):
            for name, value in zip(axis.facts, axis.rows[row], strict=True):
                if has_value(value):
                    build[name] = self.origins.shown(name, value)
                else:
                    build.pop(name, None)
        return build

    def _items(self, at: int) -> dict[str, str]:
        found = {group: number.written for group, number in self.judgement.setup.taken.items()}
        rows = self.grid.combination(at)
        for axis, row in zip(self.judgement.choice.axes, rows, strict=True):
            behind = self.judgement.choice.items.get(axis.name)
            item = behind[row] if behind else None
            if item is not None:
                found[axis.name] = item.id
        return found

    def _numbers(self) -> dict[str, Number]:
        found = {}
        run, origins = self.run, self.origins
        for name in self.vocabulary.of_origin(COMPUTED):
            value = run.value(name)
            if not has_value(value):
                continue
            unit = self.vocabulary[name].unit
            given = self.judgement.setup.facts.get(name)
            if given is not None:
                place = f"{given.file}:{given.line}" if given.line else given.file
                found[name] = Number(value, unit, "", "as stated", place)
            else:
                computed = BY_FACT[name]
                rests = tuple(sorted(origins.rests_on(name)))
                found[name] = Number(
                    value, unit, computed.band, computed.function, computed.source, rests
                )
        return found

    def _unknown(self) -> dict[str, NoNumber]:
        """Return the computed facts without a value, each with what it lacks or why it has none."""
        found = {}
        run, chooser = self.run, self.judgement.ways.chooser
        for name in self.vocabulary.of_origin(COMPUTED):
            function = chooser.function(name)
            if function is None or has_value(run.value(name)):
                continue
            lacks = tuple(chooser.lacking(name, run.values))
            refused = ""
            if not lacks:
                row = [run.value(need) for need in function.needs]
                refused = refusal(name, self.vocabulary, row)
            found[name] = NoNumber(lacks, refused)
        return found

    # Reasons

    def _reasons(self) -> dict[str, tuple[Reason, ...]]:
        found: dict[str, list[Reason]] = {}
        for rule in self.run.standing_rules():
            for demand in rule.demands:
                outcome = self.judgement.outcome(rule, demand, self.run)
                found.setdefault(demand.fact, []).append(self._reason(rule, demand, outcome))
        for wish in self.judgement.wishes:
            entry = self.entries[wish.rule]
            end = "highest" if wish.highest else "lowest"
            known = has_value(self.run.value(wish.fact))
            reason = self._told(
                entry, "favour", wish.fact, f"{wish.fact} is {end}", MET if known else UNPROVEN
            )
            found.setdefault(wish.fact, []).append(reason)
        order = {name: i for i, name in enumerate(self.vocabulary.entries)}
        return {
            fact: tuple(sorted(found[fact], key=lambda r: (_STRENGTH_ORDER[r.strength], r.rule)))
            for fact in sorted(found, key=lambda name: order[name])
        }

    def _reason(self, rule: Rule, demand: Demand, outcome: str) -> Reason:
        asks = self.words.demand(demand)
        return self._told(self.entries[rule.id], demand.strength, demand.fact, asks, outcome)

    def _told(self, entry: RuleEntry, strength: str, fact: str, asks: str, outcome: str) -> Reason:
        return Reason(
            rule=entry.id,
            layer=entry.layer,
            strength=strength,
            fact=fact,
            asks=asks,
            outcome=outcome,
            says=entry.says,
            because=self._text(entry.because, self.run),
            evidence=self._evidence(entry),
            premises=self.origins.rule(entry.id),
            contested=Contest(*entry.contested) if entry.contested else None,
            unless_open=self._unless_open(entry.rule),
        )

    def _unless_open(self, rule: Rule) -> tuple[str, ...]:
        if self.run.status(rule.id) != FIRED_OPEN:
            return ()
        return tuple(sorted(self.run.unless_open(rule)))

    def _evidence(self, entry: RuleEntry) -> Evidence:
        held = entry.evidence
        source = self.base.sources.get(held.source)
        title = self.base.titles.get(held.source, "")
        memory = source is not None and source.from_memory
        return Evidence(held.kind, held.source, title, held.place, held.function, held.note, memory)

    def _rests_on(self, reasons: Mapping[str, tuple[Reason, ...]]) -> tuple[str, ...]:
        """Return the assumed facts that the verdict goes back to."""
        judgement = self.judgement
        found: set[str] = set()
        if judgement.conflicts:
            for rules in judgement.conflicts:
                for rule_id in rules:
                    found |= self.origins.behind(self.origins.rule(rule_id))
                    for demand in self.entries[rule_id].rule.demands:
                        if demand.is_must:
                            for test_fact in _facts(demand):
                                found |= self.origins.rests_on(test_fact)
        else:
            for told in reasons.values():
                for reason in told:
                    found |= self.origins.behind(reason.premises)
                    if self.vocabulary[reason.fact].origin != OPTION:
                        found |= self.origins.rests_on(reason.fact)
        return tuple(sorted(found))

    # Cautions and steps

    def _text(self, text: str, run: Run) -> str:
        if "{" not in text:
            return text
        # An alternative mostly names the same values as the chosen build.
        key = text, *map(run.value, named_in(text))
        told = self._told_texts.get(key)
        if told is None:
            told = self._told_texts[key] = self.words.text(text, run.value, ROUGH)
        return told

    # The chosen build and its alternatives mostly have the same rules standing that caution or add
    # a step, so these are put in order once for each such set, and only texts that name facts told
    # anew.

    def _cautions(self, run: Run) -> tuple[Caution, ...]:
        cautioning = run.bits.standing & self.base.cautioning
        order = self._caution_orders.get(cautioning)
        if order is None:
            found = [
                Caution(rule.id, caution.level, caution.text)
                for rule in run.standing_rules()
                for caution in self.entries[rule.id].cautions
            ]
            found.sort(key=lambda c: (LEVELS.index(c.level), c.rule))
            order = self._caution_orders[cautioning] = found
        return tuple(
            Caution(c.rule, c.level, self._text(c.text, run)) if "{" in c.text else c for c in order
        )

    def _steps(self, run: Run) -> tuple[Step, ...]:
        """Order the steps by phase, then by what each waits for, then by id."""
        stepping = run.bits.standing & self.base.stepping
        order = self._step_orders.get(stepping)
        if order is None:
            order = [Step(rule, s.phase, s.text) for rule, s in self._order_steps(run)]
            self._step_orders[stepping] = order
        return tuple(
            Step(s.rule, s.phase, self._text(s.text, run)) if "{" in s.text else s for s in order
        )

    def _order_steps(self, run: Run) -> list[tuple[str, StepText]]:
        phases: dict[str, dict[str, list[StepText]]] = {}
        for rule in run.standing_rules():
            for step in self.entries[rule.id].steps:
                phases.setdefault(step.phase, {}).setdefault(rule.id, []).append(step)
        told: list[tuple[str, StepText]] = []
        for phase in PHASES:
            left = phases.get(phase, {})
            while left:
                first = min(
                    rule_id
                    for rule_id, steps in left.items()
                    if not any(other in left for step in steps for other in step.after)
                )
                told += [(first, step) for step in left.pop(first)]
        return told

    # Defeats, ties, disputes

    def _set_aside(self) -> tuple[SetAside, ...]:
        return tuple(
            SetAside(
                loser,
                self.entries[loser].says,
                self._text(self.entries[loser].because, self.run),
                winner,
                self.entries[winner].says,
                self._text(self.entries[winner].because, self.run),
                self._unless_open(self.entries[winner].rule),
            )
            for loser, winners in sorted(self.run.set_aside().items())
            for winner in winners
        )

    def _stands_unless(self) -> tuple[StandsUnless, ...]:
        found = [
            StandsUnless(what, "rule", by, tuple(sorted(facts)))
            for what, doubts in sorted(self.run.stands_unless().items())
            for by, facts in doubts
        ]
        found += [
            StandsUnless(what, "fact", by, tuple(sorted(facts)))
            for what, doubts in sorted(self.run.value_stands_unless().items())
            for by, facts in doubts
        ]
        return tuple(found)

    def _ties(self, run: Run, failures: Iterable[tuple[str, int]]) -> tuple[Tie, ...]:
        found = []
        for fact, rules in sorted(run.tied().items()):
            sides = []
            for rule_id in rules:
                value = next(v for f, v in self.entries[rule_id].rule.sets if f == fact)
                sides.append(
                    Side(
                        rule_id,
                        f"{fact} is {self.words.value(fact, value)}",
                        self.entries[rule_id].because,
                    )
                )
            found.append(Tie(fact, "values", tuple(sides)))
        for pair in self.judgement.should_ties(run, failures):
            sides = [
                Side(rule.id, self.words.demand(demand), self.entries[rule.id].because)
                for rule, demand in pair
            ]
            found.append(Tie(pair[0][1].fact, "shoulds", tuple(sides)))
        return tuple(found)

    def _unproven(self) -> tuple[Unproven, ...]:
        found = []
        table = self.base.table
        for rule in self.run.standing_rules():
            for demand in rule.demands:
                if not demand.is_must:
                    continue
                if self.judgement.outcome(rule, demand, self.run) == UNPROVEN:
                    facts = lacking(demand.test, table, self.run.values, UNKNOWN)
                    roots = self.run.roots(facts, self.judgement.lacking)
                    asks = self.words.demand(demand)
                    found.append(Unproven(rule.id, asks, tuple(sorted(roots))))
        return tuple(found)

    def _contested(self) -> tuple[Dispute, ...]:
        return tuple(
            Dispute(rule.id, self.entries[rule.id].says, contest.by, contest.note)
            for rule in self.run.standing_rules()
            if (contest := self.entries[rule.id].contested) is not None
        )

    # Other builds

    def _alternative(self, at: int, numbers: Mapping[str, Number]) -> Alternative:
        run = self.judgement.run_of(at)
        failures = self.judgement.failures(run)
        breaks: dict[str, None] = {}
        loses: list[str] = []
        for rule_id, place in sorted(failures - self.judgement.own_failures):
            breaks[rule_id] = None
            rule = self.entries[rule_id].rule
            if place < 0:
                loses.append(f"carries the stop of {rule_id}")
                continue
            demand = next(d for d in rule.demands if d.place == place)
            outcome = self.judgement.outcome(rule, demand, run)
            verb = "breaks" if outcome == BROKEN else "leaves unproven"
            loses.append(f"{verb} {rule_id}: {self.words.demand(demand)}")
        if not loses:
            loses = self._wishes_lost(run)
        return Alternative(
            build=self._build(run.values),
            numbers={
                name: number if value == number.value else Number(value, *number[1:])
                for name, number in numbers.items()
                if has_value(value := run.value(name))
            },
            loses=tuple(loses),
            breaks=tuple(breaks),
            cautions=self._cautions(run),
            steps=self._steps(run),
            ties=self._ties(run, failures),
        )

    def _wishes_lost(self, run: Run) -> list[str]:
        found = []
        for wish in self.judgement.wishes:
            mine, theirs = self.run.value(wish.fact), run.value(wish.fact)
            if mine == theirs:
                continue
            mine_said, theirs_said = (
                self.words.value(wish.fact, x, 3) if has_value(x) else "not known"
                for x in (mine, theirs)
            )
            found.append(f"{wish.fact} {theirs_said} against {mine_said} ({wish.rule})")
        return found

    def _rejected(self) -> tuple[Rejection, ...]:
        counts = self.grid.times("broken")
        found = [
            Rejection(
                what.rule,
                self.entries[what.rule].says,
                self._offence(self.entries[what.rule], what),
                counts[bit],
            )
            for what, bit in self.grid.bits("broken").items()
            if bit in counts
        ]
        return tuple(sorted(found, key=lambda r: (-r.builds, r.rule)))

    def _offered_against(self, rule_id: str) -> str:
        """Say which musts of a rule the nearest build breaks, and what it offers instead."""
        told = []
        for rule in self.run.standing_rules():
            for demand in rule.demands if rule.id == rule_id else ():
                if demand.is_must and self.judgement.outcome(rule, demand, self.run) == BROKEN:
                    facts = [demand.fact, *sorted(_facts(demand) - {demand.fact})]
                    here = ", ".join(self.origins.fact(name).says for name in facts)
                    told.append(f"{self.words.demand(demand)}; here {here}")
        return "; ".join(told)

    def _offence(self, entry: RuleEntry, what: Offence) -> str:
        if what.place < 0:
            return "stop"
        demand = next(d for d in entry.rule.demands if d.place == what.place)
        return f"{demand.strength.replace('_', ' ')}: {self.words.demand(demand)}"

    def _bounded(self) -> tuple[Bounded, ...]:
        if not self.judgement.survivors:
            return ()
        found = []
        for fact in self._chosen():
            beyond = self.judgement.beyond(fact)
            if beyond is not None:
                shown = self.origins.shown
                found.append(Bounded(fact, shown(fact, self.run.value(fact)), shown(fact, beyond)))
        return tuple(found)

    # What is not known

    def _undecided(self) -> tuple[Undecided, ...]:
        overruled = self.run.overruled()
        return tuple(
            Undecided(
                rule.id,
                self.entries[rule.id].says,
                tuple(sorted(self.run.lacks(rule))),
                tuple(overruled.get(rule.id, ())),
            )
            for rule in self.run.undecided()
        )


def _facts(demand: Demand) -> frozenset[str]:
    from advisor.engine.conditions import facts_of

    return facts_of(demand.test)


__all__ = ["CONCLUDED", "MUST", "decide"]
