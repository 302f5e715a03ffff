"""What to ask next: facts nobody stated, by how much hangs on them; and what cannot matter."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from advisor.decision import HANGS, Question, Unsettled
from advisor.engine.conditions import lacking
from advisor.engine.values import GIVEN, UNKNOWN, Missing, has_value
from advisor.judge import MET, Judgement

_LAST = 9


class Questions:
    """Works out the questions of one judgement, about its chosen (or nearest) build."""

    def __init__(self, judgement: Judgement, chosen: tuple[str, ...]) -> None:
        self.judgement = judgement
        self.base = judgement.base
        self.vocabulary = judgement.base.vocabulary
        self.entries = judgement.base.entries
        self.run = judgement.run
        self.chosen = frozenset(chosen)
        self.words = judgement.base.words

    def ranked(self, rests: tuple[str, ...]) -> tuple[tuple[Question, ...], tuple[str, ...]]:
        """Order the facts nobody stated by how much hangs on them.

        First what a verdict against every build rests on, then what could set aside or tie what
        stands, then by the strength of the rules that wait. A fact that no rule, bound, exception
        or favour that is still open goes back to cannot matter.
        """
        run, table = self.judgement.open_run, self.base.table
        values, reads = run.values, self.judgement.ways.reads
        missing = {slot for slot, x in enumerate(values) if x.__class__ is Missing}
        ends = run.open_ends()
        # Many rules lack the same, so what that goes back to is followed once for all of them.
        alike: dict[frozenset[str], list[str]] = {}
        for rule in (*(self.entries[rule_id].rule for rule_id in ends), *run.standing_rules()):
            lacks = ends.get(rule.id, frozenset())
            for demand in rule.demands:
                # Most demands lack nothing, which their slots tell sooner than their trees.
                if not missing.isdisjoint(reads[rule.id, demand.place]):
                    lacks = lacks | lacking(demand.test, table, values, UNKNOWN)
            if rule.favour is not None and not has_value(run.value(rule.favour.fact)):
                lacks = lacks | {rule.favour.fact}
            if lacks:
                alike.setdefault(lacks, []).append(rule.id)
        waiting: dict[str, set[str]] = {}
        for lacks, rules in alike.items():
            for fact in run.roots(lacks, self.judgement.lacking):
                waiting.setdefault(fact, set()).update(rules)
        first = self._first_questions(rests)
        for fact in waiting.keys() & self.judgement.assumed.keys():
            # Whoever lets an assumption stand should know of the stop that it keeps silent.
            if any(self.entries[rule_id].rule.stop for rule_id in waiting[fact]):
                first[fact] = min(first.get(fact, _LAST), 3)
        possible = self._possible()
        weight = self.base.weights.__getitem__

        def turn(fact: str) -> tuple[int, int, str]:
            hanging = sum(map(weight, waiting.get(fact, ())))
            return first.get(fact, _LAST), -hanging, fact

        asked = sorted((f for f in possible if f in waiting or f in first), key=turn)
        questions = tuple(self._question(fact, waiting.get(fact, set()), first) for fact in asked)
        # What a number would take where it is known is not asked for, yet could change it.
        used = self.judgement.ways.chooser.optional
        return questions, tuple(f for f in possible if f not in asked and f not in used)

    def _possible(self) -> list[str]:
        on_axes = {fact for axis in self.judgement.choice.axes for fact in axis.facts}
        return [
            name
            for name in self.vocabulary.of_origin(GIVEN)
            if name not in self.judgement.setup.facts and name not in on_axes
        ]

    def _first_questions(self, rests: tuple[str, ...]) -> dict[str, int]:
        """Return the class of the facts that bear on the build itself, 0 the first to ask."""
        first: dict[str, int] = {}
        inputs = self.judgement.lacking
        if not self.judgement.survivors:
            first.update(dict.fromkeys(rests, 0))
        doubts = [*self.run.stands_unless().values(), *self.run.value_stands_unless().values()]
        for pairs in doubts:
            for _, facts in pairs:
                for fact in self.run.roots(facts, inputs):
                    first.setdefault(fact, 1)
        for unsettled in self.unsettled:
            for fact in unsettled.facts:
                first.setdefault(fact, 2)
        for rule in self.run.open_rules():
            stops = rule.stop or any(demand.is_must for demand in rule.demands)
            for fact in self.run.roots(self.run.lacks(rule), inputs):
                first[fact] = min(first.get(fact, _LAST), 3 if stops else 4)
                # What the rule took for granted is asked no later than what it asks for: the
                # head before its bevel.
                for taken in rule.reads() & self.judgement.assumed.keys():
                    first[taken] = min(first.get(taken, _LAST), first[fact])
        return first

    @cached_property
    def unsettled(self) -> tuple[Unsettled, ...]:
        """Return what undecided rules would ask of chosen options that the build may not meet."""
        found = []
        for rule in self.run.open_rules():
            roots = tuple(sorted(self.run.roots(self.run.lacks(rule), self.judgement.lacking)))
            for demand in rule.demands:
                if demand.fact in self.chosen and (
                    self.judgement.outcome(rule, demand, self.run) != MET
                ):
                    asks = self.words.demand(demand)
                    found.append(Unsettled(demand.fact, rule.id, asks, roots))
        return tuple(sorted(found))

    def _question(self, fact: str, rules: set[str], first: Mapping[str, int]) -> Question:
        entry = self.vocabulary[fact]
        reasons = {
            0: "the verdict rests on it",
            1: "it could overturn what stands",
            2: "a choice waits for it",
            3: HANGS,
        }
        ordered = sorted(rules, key=self.base.turn_by_weight.__getitem__)
        return Question(
            fact,
            entry.question or f"{entry.label}?",
            entry.choices,
            fact in self.judgement.assumed,
            reasons.get(first.get(fact, _LAST), ""),
            tuple(ordered),
        )
