"""Which questions may be put, and which must wait: from the rules and functions that use a fact.

A question is not put once its subject is ruled out. The vocabulary has no word for that; it shows
in what still waits for the fact:

- A part that weighs nothing is not there, and nothing else of it is asked. One that is assumed not
  to be there, and is, is asked about while it is at hand.
- A rule that only checks what is stated needs no statement: a fact that nothing else can use any
  more, given the answers, is not asked for the sake of the check.

What could matter only if something assumed were otherwise waits until that was asked.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from advisor.decision import Question
from advisor.derive.bound import functions
from advisor.engine.conditions import facts_of
from advisor.engine.values import GIVEN, Value
from advisor.quantities import dimension
from advisor.rulebase.model import RuleBase, RuleEntry
from advisor.vocabulary import QUANTITY, FactEntry


def group_of(fact: str) -> str:
    """Return what a fact is about: its name up to the last dot."""
    return fact.rpartition(".")[0]


class Subjects:
    """What the facts of a rule base are about, and what uses them."""

    def __init__(self, base: RuleBase) -> None:
        self.base = base
        self._presence = self._find_presence()
        self._unless_said = {
            group
            for group, facts in self._presence.items()
            if all(fact in base.assume and base.assume[fact].value == 0 for fact in facts)
        }
        computed = functions(base.vocabulary)
        self._needed = {name for function in computed for name in function.needs}
        self._optional = {name for function in computed for name in function.optional}
        self._used: dict[str, bool] = {}

    def worth(
        self, questions: Sequence[Question], known: Mapping[str, Value], firm: Collection[str]
    ) -> list[tuple[int, Question]]:
        """Return the questions that may be put now, each with its class, the first to put first.

        Args:
            questions: those not put yet, in order.
            known: what is stated, and what is assumed and was let stand.
            firm: facts that matter even if all that is assumed is so.
        """
        held = [q for q in questions if not self._is_ruled_out(q, known)]

        def turn(question: Question) -> int:
            group = group_of(question.fact)
            if group in self._unless_said and self._is_there(group, known):
                return -1
            if question.assumed:
                return 0 if question.because else 1
            return 0 if question.fact in firm else 2

        held.sort(key=turn)
        first: dict[str, str] = {}
        for question in held:
            group = group_of(question.fact)
            if question.fact in self._presence.get(group, ()):
                first.setdefault(group, question.fact)
        return [
            (turn(q), q)
            for q in held
            if self._is_there(group_of(q.fact), known)
            or first.get(group_of(q.fact), q.fact) == q.fact
        ]

    def _find_presence(self) -> dict[str, list[str]]:
        """Return, for each group, the facts that can say that there is no such part."""
        found: dict[str, list[str]] = {}
        for name in self.base.vocabulary.of_origin(GIVEN):
            if group_of(name) and self._may_say_none(self.base.vocabulary[name]):
                found.setdefault(group_of(name), []).append(name)
        return found

    def _may_say_none(self, entry: FactEntry) -> bool:
        """Tell whether zero means that there is none: a mass, or a length that is assumed zero."""
        if entry.kind != QUANTITY or entry.low != 0:
            return False
        measured = dimension(entry.unit)
        assumed = self.base.assume.get(entry.name)
        none = assumed is not None and assumed.value == 0
        return measured == "mass" or (measured == "length" and none)

    def implied(self, known: Mapping[str, Value]) -> list[str]:
        """Return the facts that are 0 because others told that there is no such part.

        Only of parts that are assumed not to be there: who says so confirms all of the assumption.
        """
        return [
            fact
            for group in self._unless_said
            if self._told(group, known) and not self._is_there(group, known)
            for fact in self._presence[group]
            if fact not in known
        ]

    def _told(self, group: str, known: Mapping[str, Value]) -> list[Value]:
        return [known[fact] for fact in self._presence.get(group, ()) if fact in known]

    def _is_there(self, group: str, known: Mapping[str, Value]) -> bool:
        return any(value != 0 for value in self._told(group, known))

    def _is_ruled_out(self, question: Question, known: Mapping[str, Value]) -> bool:
        group = group_of(question.fact)
        if self._told(group, known) and not self._is_there(group, known):
            return True
        fact = question.fact
        waiting = [self.base.entries[rule] for rule in question.rules]
        rest = [entry for entry in waiting if not _checks(entry, fact, known)]
        return (
            len(rest) < len(waiting)
            and all(_would_only_be_silenced(entry, fact) for entry in rest)
            and fact not in self._optional
            and self._is_used(fact)
        )

    def _is_used(self, fact: str) -> bool:
        """Tell whether anything but checks could ever use the fact."""
        found = self._used.get(fact)
        if found is None:
            found = self._used[fact] = fact in self._needed or any(
                not _only_warns(entry) and not _checks_itself(entry, fact)
                for entry in self.base.entries.values()
                if fact in entry.rule.reads()
            )
        return found


def _checks(entry: RuleEntry, fact: str, known: Mapping[str, Value]) -> bool:
    """Tell whether a rule does no more than hold a fact against what is known of its subject."""
    if _checks_itself(entry, fact):
        return True
    others = entry.rule.reads() - {fact}
    return (
        _only_warns(entry)
        and bool(others)
        and all(group_of(other) == group_of(fact) and other in known for other in others)
    )


def _would_only_be_silenced(entry: RuleEntry, fact: str) -> bool:
    """Tell whether a fact could do no more than keep back a warning, as its exception."""
    return _only_warns(entry) and fact not in facts_of(entry.rule.when)


def _only_warns(entry: RuleEntry) -> bool:
    rule = entry.rule
    does = rule.demands or rule.stop or rule.favour or rule.sets or rule.overrides or entry.steps
    return not does


def _checks_itself(entry: RuleEntry, fact: str) -> bool:
    """Tell whether a rule goes by one fact, and asks of it no more than to fit others."""
    rule = entry.rule
    does_more = rule.stop or rule.favour or rule.sets or rule.overrides or entry.steps
    return (
        bool(rule.demands)
        and not does_more
        and facts_of(rule.when) == {fact}  # an exception only loosens a check
        and all(d.fact == fact and facts_of(d.test) - {fact} for d in rule.demands)
    )
