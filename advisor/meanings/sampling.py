"""Whole advice on a sample of setups: what both rule bases choose, warn of and conclude."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import NamedTuple

from advisor.engine.run import Run
from advisor.engine.values import OPTION, Value, has_value
from advisor.judge import Judgement
from advisor.meanings.canonical import value_form
from advisor.meanings.states import Engine, figure
from advisor.meanings.witnessing import Replay, Stated, filled, place_of
from advisor.replaying import needed_of
from advisor.rules_compared import BuildTopic, RulePlace, Said, Share, Witness

VERDICT, CAUTIONS, STOPS, STEPS = "verdict", "cautions", "stops", "steps"

_NINETY_FIVE = 1.959963984540054
"""How many standard deviations either way hold 95 % of a normal distribution."""

Progress = Callable[[int, int], None]


class Outcome(NamedTuple):
    """Whole advice on a setup, by topic, with no rule's name in it, and how it was judged."""

    by_topic: Mapping[str, Hashable]
    judgement: Judgement


def wilson(changed: int, of: int) -> Share:
    """Return a share with its interval of 95 % (E. B. Wilson, 1927, from memory)."""
    if not of:
        return Share(0, 0, 0.0, 1.0)
    z, p = _NINETY_FIVE, changed / of
    middle = p + z * z / (2 * of)
    reach = z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    whole = 1 + z * z / of
    low, high = (middle - reach) / whole, (middle + reach) / whole
    return Share(changed, of, 0.0 if not changed else low, 1.0 if changed == of else high)


class Builds:
    """Compares whole advice."""

    def __init__(self, replay: Replay) -> None:
        self.replay = replay

    def outcome(self, engine: Engine, stated: Stated) -> Outcome | None:
        """Return what one side advises on a setup; None if it cannot take it."""
        carried = self.replay.carrier.stated(stated, engine.side)
        if carried is None:
            return None
        judgement = engine.judged(carried)
        run, base = judgement.run, engine.base
        if not engine.in_domain(run):
            return None
        found: dict[str, Hashable] = {VERDICT: judgement.status}
        for fact in base.vocabulary.of_origin(OPTION):
            value = run.value(fact)
            found[fact] = value_form(value) if has_value(value) else None
        for fact, value in run.concluded().items():
            found[fact] = value_form(value)
        cautions: set[Hashable] = set()
        stops: set[Hashable] = set()
        steps: set[Hashable] = set()
        for rule in run.standing_rules():
            entry = base.entries[rule.id]
            for caution in entry.cautions:
                kept = stops if caution.level == "stop" else cautions
                kept.add(self._read(engine, run, caution.level, caution.text))
            steps.update(self._read(engine, run, s.phase, s.text) for s in entry.steps)
        found |= {
            CAUTIONS: frozenset(cautions),
            STOPS: frozenset(stops),
            STEPS: frozenset(steps),
        }
        return Outcome(found, judgement)

    @staticmethod
    def _read(engine: Engine, run: Run, sort: str, text: str) -> Hashable:
        """Return what is read of a text: its words but for rewording, and what it shows."""
        names, words = engine.side.names, engine.base.vocabulary
        shown = tuple(figure(words[fact], run.value(fact)) for fact in names.shown_in(text))
        return sort, names.text(text), shown

    def both(self, stated: Stated) -> tuple[Outcome, Outcome] | None:
        """Return what both sides advise."""
        old = self.outcome(self.replay.old, stated)
        new = None if old is None else self.outcome(self.replay.new, stated)
        return None if old is None or new is None else (old, new)

    def differing(self, stated: Stated) -> dict[str, None]:
        """Return the topics on which whole advice differs; none where it cannot be had."""
        found = self.both(stated)
        return {} if found is None else _differing(*found)

    def compare(
        self, setups: Iterable[Stated], count: int, progress: Progress | None = None
    ) -> tuple[Share, tuple[BuildTopic, ...], int]:
        """Return the share of setups with other advice, the same by topic, and how many were left.

        Args:
            setups: what each states.
            count: how many they are.
            progress: told after each.
        """
        changed = looked_at = 0
        where: dict[str, list[Stated]] = {}
        for i, stated in enumerate(setups):
            found = self.both(stated)
            if found is not None:
                looked_at += 1
                topics = _differing(*found)
                changed += bool(topics)
                for topic in topics:
                    where.setdefault(topic, []).append(stated)
            if progress is not None:
                progress(i + 1, count)
        order = sorted(where, key=lambda topic: (-len(where[topic]), topic))
        small: list[Stated] = []
        told = tuple(
            BuildTopic(
                topic,
                wilson(len(where[topic]), looked_at),
                self.witness(topic, where[topic], small),
            )
            for topic in order
        )
        return wilson(changed, looked_at), told, count - looked_at

    def witness(self, topic: str, setups: Iterable[Stated], known: list[Stated]) -> Witness | None:
        """Return a small setup on which whole advice differs on a topic.

        Args:
            topic: of whole advice.
            setups: on which it differs.
            known: small setups of other topics, one of which may do: to make one small takes some
                hundred judgements. What is found is added.
        """

        def suffices(some: Stated) -> bool:
            return topic in self.differing(some)

        small = next(filter(suffices, known), None)
        if small is None:
            small = needed_of(min(setups, key=len), suffices)
            known.append(small)
        found = self.both(small)
        if found is None:  # pragma: no cover  # it was judged a moment ago
            return None
        old, new = found
        return Witness(
            self.replay.shown(small),
            self._said(topic, self.replay.old, old, new),
            self._said(topic, self.replay.new, new, old),
            builds=True,
        )

    def _said(
        self, topic: str, engine: Engine, outcome: Outcome, other: Outcome
    ) -> tuple[Said, ...]:
        """Return what one side advises of a topic and the other does not."""
        judgement, side = outcome.judgement, engine.side
        run, words = judgement.run, engine.base.words
        if topic == VERDICT:
            return (Said(_verdict(judgement)),)
        if topic in (CAUTIONS, STOPS, STEPS):
            told = outcome.by_topic[topic]
            theirs = other.by_topic[topic]
            assert isinstance(told, frozenset)
            assert isinstance(theirs, frozenset)
            found: dict[str, list[RulePlace]] = {}
            for rule in run.standing_rules():
                entry = engine.base.entries[rule.id]
                parts = [(c.level, c.text) for c in entry.cautions]
                parts += [(s.phase, s.text) for s in entry.steps]
                for kind, text in parts:
                    if self._read(engine, run, kind, text) in told - theirs:
                        says = f"{kind}: {filled(side, text, run)}"
                        found.setdefault(says, []).append(place_of(side, rule.id))
            return tuple(Said(says, tuple(places)) for says, places in found.items())
        value: Value = run.value(topic) if topic in engine.base.vocabulary else None
        if value is None or not has_value(value):
            return (Said(f"{topic} has no value"),)
        rules = [
            place_of(side, rule.id)
            for rule in run.standing_rules()
            if any(demand.fact == topic for demand in rule.demands)
            or any(fact == topic for fact, _ in rule.sets)
        ]
        return (Said(f"{topic} is {words.value(topic, value)}", tuple(rules)),)


def _verdict(judgement: Judgement) -> str:
    return {
        "stopped": "a stop stands on every build",
        "rejected": "no build survives",
        "judged": "the build holds",
        "advised": "a build is advised",
    }[judgement.status]


def _differing(old: Outcome, new: Outcome) -> dict[str, None]:
    topics = dict.fromkeys((*old.by_topic, *new.by_topic))
    return {topic: None for topic in topics if old.by_topic.get(topic) != new.by_topic.get(topic)}
