"""Comparing two builds of one setup, or two whole Decisions: who is ahead, and by which rule."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from functools import cached_property

from advisor import side_by_side
from advisor.comparison import (
    AS_GOOD,
    BEHIND,
    BREAKS,
    BUILDS,
    CHOSEN,
    DECISIONS,
    EVEN,
    FIRST,
    SECOND,
    STOPPED,
    Comparison,
    Contender,
    Count,
    Stage,
)
from advisor.decide import decide
from advisor.decision import Decision, FactValue, Number
from advisor.derive import ROUGH
from advisor.engine.ranking import Wish, rank
from advisor.engine.values import Value, has_value
from advisor.judge import ADVISED, JUDGED, REJECTED, Judgement
from advisor.named_builds import build_named, builds_named, find_builds
from advisor.vocabulary import NUMBERS

_SHOULDS = ("should", "should_not")
_MUSTS = ("must", "must_not")


# Ranking two


def seen_from(judgement: Judgement, at: int) -> Judgement:
    """Return a judgement as it would stand had another of its builds been chosen.

    What it tells of that build, its run and its numbers is whole; there are no builds beside it.
    """
    view = copy(judgement)
    for name, held in vars(Judgement).items():
        if isinstance(held, cached_property):
            view.__dict__.pop(name, None)  # it was worked out for the build that was chosen
    view.at = at
    view.equals = []
    view.others = []
    return view


def stages_of(judgement: Judgement, one: int, other: int) -> tuple[Stage, ...]:
    """Return how two builds of a judgement rank against each other, stage by stage."""
    return _Ranking(judgement).stages(one, other)


class _Ranking:
    """The ranking of two builds of one setup, stage by stage.

    It is that of `engine.ranking`, whose order is asked for two builds among all that rank alike
    so far; builds that break a must are ranked by how many first, as the nearest one is found.
    """

    def __init__(self, judgement: Judgement) -> None:
        self.judgement = judgement
        self.grid = judgement.grid
        self.base = judgement.base

    def stages(self, one: int, other: int) -> tuple[Stage, ...]:
        """Return every stage; the first that goes to one of the two decides."""
        found: list[Stage] = []
        decided = False
        for stage in self._counted(one, other):
            found.append(stage._replace(goes="") if decided else stage)
            decided = decided or stage.goes != EVEN
        group = [] if decided else self._alike(one)
        for wish in self.judgement.wishes:
            stage, group = self._favour(wish, group, one, other)
            found.append(stage)
            group = group if stage.goes == EVEN else []
        return tuple(found)

    def _key(self, verdict: int) -> tuple[int, ...]:
        grid = self.grid
        bits = (grid.broken_bits, grid.unproven_bits, *grid.failed_bits.values())
        return tuple((verdict & some).bit_count() for some in bits)

    def _alike(self, at: int) -> list[int]:
        """Return every combination that counts alike, among which favours choose."""
        key = self._key(self.grid.verdicts[at])
        return [n for v, alike in self.grid.alike.items() if self._key(v) == key for n in alike]

    def _counted(self, one: int, other: int) -> Iterable[Stage]:
        verdicts = self.grid.verdicts[one], self.grid.verdicts[other]
        runs = [self.judgement.run_of(at) for at in (one, other)]
        for kind, says in (
            ("broken", "musts broken and stops"),
            ("unproven", "musts not proven"),
        ):
            counts = [self._offences(verdict, kind) for verdict in verdicts]
            yield _counts(kind, says, counts)
        for layer in sorted(range(len(self.base.layers)), reverse=True):
            counts = []
            for verdict, run in zip(verdicts, runs, strict=True):
                failed: dict[str, list[str]] = {
                    fact: [] for of, fact in self.grid.failed(verdict) if of == layer
                }
                for rule_id, place in sorted(self.judgement.failures(run)):
                    rule = self.base.entries[rule_id].rule
                    for demand in rule.demands if rule.layer == layer else ():
                        if demand.place == place and demand.strength in _SHOULDS:
                            failed[demand.fact].append(rule_id)
                counts.append([Count(fact, tuple(failed[fact])) for fact in sorted(failed)])
            name = self.base.layers[layer].name
            says = f"facts that fail shoulds of {name}"
            yield _counts("shoulds", says, counts)._replace(layer=name)

    def _offences(self, verdict: int, kind: str) -> list[Count]:
        found = [
            Count("stop" if what.place < 0 else "must", (what.rule,))
            for what in self.grid.offences(verdict, kind)
        ]
        return sorted(found)

    def _favour(
        self, wish: Wish, group: list[int], one: int, other: int
    ) -> tuple[Stage, list[int]]:
        """Return a favour's stage, and the part of a group that holds both of the two.

        An empty group says that the ranking was decided before.
        """
        slot = self.base.table.slot[wish.fact]
        goes, part, best = "", [], None
        if group:
            verdicts = self.grid.verdicts
            by_verdict: dict[int, list[int]] = {}
            for at in group:
                by_verdict.setdefault(verdicts[at], []).append(at)
            parts = rank(self.grid, by_verdict, [wish])
            part = next(part for part in parts if one in part or other in part)
            goes = EVEN if one in part and other in part else FIRST if one in part else SECOND
            known = [x for x in self.grid.cells(slot, part).values() if has_value(x)]
            if known:
                best = max(known) if wish.highest else min(known)
        cells = self.grid.cells(slot, (one, other))
        unit = self.base.vocabulary[wish.fact].unit
        mine, theirs, top, within = (
            Number(x, unit) if x is not None and has_value(x) else None
            for x in (cells[one], cells[other], best, wish.within)
        )
        end = "highest" if wish.highest else "lowest"
        says = f"{end} {wish.fact}"
        stage = Stage(
            "favour",
            says,
            goes,
            mine,
            theirs,
            rule=wish.rule,
            fact=wish.fact,
            within=within,
            best=top,
        )
        return stage, part

    def because(self, stage: Stage, names: tuple[str, str]) -> str:
        """Say why a stage goes to one of the two, the loser told first."""
        one, other = names
        sides = [(one, stage.first, stage.first_on), (other, stage.second, stage.second_on)]
        if stage.goes == FIRST:
            sides.reverse()
        (loser, value, on), (leader, better, better_on) = sides
        if stage.kind == "favour":
            mine, theirs = self._told(stage.fact, value, better)
            return f"{stage.fact} is {mine} for {loser} and {theirs} for {leader} ({stage.rule})"
        verb, link = {
            "broken": ("breaks", ""),
            "unproven": ("leaves unproven", ""),
            "shoulds": (f"falls short of the shoulds of {stage.layer} on", "on "),
        }[stage.kind]
        return f"{loser} {verb} {_things(on)}, {leader} {link}{_things(better_on)}"

    def _told(self, fact: str, one: Number | None, other: Number | None) -> tuple[str, str]:
        """Say two values to as many digits as it takes to tell them apart."""
        words = self.base.words
        told = "not known", "not known"
        for digits in (2 if fact in ROUGH else 3, 5, 9):
            a, b = (
                "not known" if x is None else words.value(fact, x.value, digits)
                for x in (one, other)
            )
            told = a, b
            if a != b:
                break
        return told


def _counts(kind: str, says: str, on: Sequence[Sequence[Count]]) -> Stage:
    a, b = map(len, on)
    goes = EVEN if a == b else FIRST if a < b else SECOND
    return Stage(kind, says, goes, Number(a, ""), Number(b, ""), tuple(on[0]), tuple(on[1]))


def _things(on: Iterable[Count]) -> str:
    """Name what counts against a build: a rule for a must, a fact with its rules for shoulds."""
    told = []
    for count in on:
        rules = ", ".join(count.rules)
        told.append(
            {"must": rules, "stop": f"{rules} (a stop)"}.get(count.what, f"{count.what} ({rules})")
        )
    return " and ".join(told) or "nothing"


def _deciding(stages: Iterable[Stage]) -> Stage | None:
    return next((stage for stage in stages if stage.goes in (FIRST, SECOND)), None)


# The two comparisons


def compare_builds(
    judgement: Judgement, one: Mapping[str, Value], other: Mapping[str, Value]
) -> Comparison:
    """Compare two builds of one setup, each named by some of its options.

    What is not named is chosen as the advice would with those options stated: the best build of
    those that agree, or the nearest if none of them survives. Nothing named is the build advised.

    Args:
        judgement: of the setup, with the whole choice.
        one: values by option, numbers in the vocabulary's unit (see `build_named`).
        other: the same of the second.

    Raises:
        Faults: about "usage": what was named is not offered, not chosen or agrees with no build.
    """
    at_one, at_other = find_builds(judgement, (one, other))
    ranking = _Ranking(judgement)
    told = [decide(seen_from(judgement, at)) for at in (at_one, at_other)]
    stages = ranking.stages(at_one, at_other)
    decided = _deciding(stages)
    first, second = (
        _build(ranking, at, decision, named)
        for at, decision, named in zip((at_one, at_other), told, (one, other), strict=True)
    )
    ahead = EVEN if decided is None else decided.goes
    verdict = _verdict(ranking, decided, (first, second))
    if at_one == at_other:
        verdict = (
            f"They are one and the same build.{' It is not to be built.' * bool(first.breaks)}"
        )
    found = _together(BUILDS, (first, second), (told[0], told[1]))
    entries = judgement.base.entries
    rules = tuple(
        row._replace(says=entries[row.rule].says, layer=entries[row.rule].layer)
        for row in found.rules
    )
    little = {row.fact for row in found.numbers if row.inside}
    if decided is not None and decided.fact in little:
        verdict += " That difference lies inside the band of the number."
    return found._replace(ahead=ahead, verdict=verdict, stages=stages, rules=rules)


def _verdict(ranking: _Ranking, decided: Stage | None, sides: tuple[Contender, Contender]) -> str:
    """Say in a line who is ahead and by what; of what breaks a must, that it is not to be built."""
    neither = all(side.breaks for side in sides)
    warning = "Neither is to be built. " if neither else ""
    if decided is None:
        as_what = "as near" if neither else "as good"
        return f"{warning}They are {as_what}: nothing in the ranking parts them."
    because = ranking.because(decided, ("the first", "the second"))
    if neither:
        return f"{warning}The {decided.goes} is nearer: {because}."
    loser = FIRST if decided.goes == SECOND else SECOND
    if any(side.breaks for side in sides):
        return f"The {decided.goes} is ahead, and the {loser} is not to be built: {because}."
    return f"The {decided.goes} is ahead: {because}."


def _build(ranking: _Ranking, at: int, decision: Decision, named: Mapping[str, Value]) -> Contender:
    judgement = ranking.judgement
    breaks = _broken(decision)
    because = ""
    stopped = any(caution.level == "stop" for caution in decision.cautions)
    status = "stopped" if stopped else REJECTED if breaks else JUDGED
    chosen = "the build advised" if judgement.count > 1 else "the build as stated"
    if breaks:
        stands = STOPPED if stopped else BREAKS
        says = "not to be built"
        because = _breaking(decision)
        if at == judgement.at and judgement.count > 1:
            says = "the nearest of builds none of which holds"
        elif at in judgement.equals:
            says = "as near as the nearest of builds none of which holds"
    elif at == judgement.at:
        stands, says = CHOSEN, chosen
    elif at in judgement.equals:
        stands, says = AS_GOOD, f"as good as {chosen}"
    else:
        decided = _deciding(ranking.stages(at, judgement.at))
        assert decided is not None  # else it would be among the equals
        stands, says = BEHIND, f"behind {chosen}"
        because = ranking.because(decided, ("this", "that"))
    return _contender(decision, named, judgement)._replace(
        status=status, stands=stands, says=says, because=because, breaks=breaks
    )


def _contender(decision: Decision, named: Mapping[str, Value], judgement: Judgement) -> Contender:
    vocabulary = judgement.base.vocabulary
    shown: dict[str, FactValue] = {
        name: Number(value, vocabulary[name].unit)
        if name in vocabulary and vocabulary[name].kind in NUMBERS
        else value
        for name, value in named.items()
    }
    return _whole(decision)._replace(named=shown)


def _broken(decision: Decision) -> tuple[str, ...]:
    """Return the rules whose must a Decision's build breaks, or whose stop stands on it."""
    found = {
        reason.rule
        for told in decision.reasons.values()
        for reason in told
        if reason.strength in _MUSTS and reason.outcome == "broken"
    }
    found.update(caution.rule for caution in decision.cautions if caution.level == "stop")
    return tuple(sorted(found))


def _breaking(decision: Decision) -> str:
    stops = sorted({c.rule for c in decision.cautions if c.level == "stop"})
    musts = [rule for rule in _broken(decision) if rule not in stops]
    parts = [f"this breaks {', '.join(musts)}"] if musts else []
    parts += [f"this carries the stop of {', '.join(stops)}"] if stops else []
    return " and ".join(parts)


def compare_decisions(one: Decision, other: Decision) -> Comparison:
    """Compare two whole Decisions, perhaps by other rules, on other setups or from other stock.

    A ranking is over the builds of one setup, so two Decisions have none; that they are the same
    is told, and so is which of them holds.
    """
    first, second = _whole(one), _whole(other)
    found = _together(DECISIONS, (first, second), (one, other))
    if one == other:
        return found._replace(ahead=EVEN, verdict="They are one and the same Decision.")
    return found._replace(verdict=_not_ranked(found))


def _whole(decision: Decision) -> Contender:
    breaks = _broken(decision)
    stands, says, because = CHOSEN, "the build as stated, which holds", ""
    if decision.status == ADVISED:
        says = "the build advised"
    elif decision.status != JUDGED:
        stands = STOPPED if decision.status == "stopped" else BREAKS
        says, because = "not to be built", _breaking(decision)
        if decision.builds > 1:
            says = "the nearest of builds none of which holds"
    return Contender(
        decision.title,
        {},
        decision.rulebase,
        decision.stock,
        decision.status,
        stands,
        says,
        because,
        breaks,
        decision.build,
        decision.items,
    )


def _not_ranked(found: Comparison) -> str:
    """Say that two Decisions have no ranking, why, and which of them holds."""
    differs = [ground.what for ground in found.grounds if ground.what != "rules retired"]
    if any("given" in (row.first_origin, row.second_origin) for row in found.facts):
        differs.append("what is given")
    if any("assumed" in (row.first_origin, row.second_origin) for row in found.facts):
        differs.append("what is assumed")
    told = " and ".join([", ".join(differs[:-1]), *differs[-1:]] if differs[1:] else differs)
    why = f"they differ in {told}" if differs else "each is of a setup of its own"
    holds = [side.stands == CHOSEN for side in (found.first, found.second)]
    told = f"They cannot be ranked against each other: {why}."
    if holds[0] == holds[1]:
        return f"{told} {'Both hold.' if holds[0] else 'Neither holds.'}"
    ahead = "The first holds, the second does not."
    behind = "The second holds, the first does not."
    return f"{told} {ahead if holds[0] else behind}"


def _together(
    kind: str, sides: tuple[Contender, Contender], told: tuple[Decision, Decision]
) -> Comparison:
    one, other = told
    facts, facts_alike = side_by_side.facts(one, other)
    numbers, numbers_alike = side_by_side.numbers(one, other)
    return Comparison(
        kind=kind,
        first=sides[0],
        second=sides[1],
        ahead="",
        verdict="",
        grounds=side_by_side.grounds(one, other),
        facts=facts,
        facts_alike=facts_alike,
        numbers=numbers,
        numbers_alike=numbers_alike,
        rules=side_by_side.rules(one, other),
        cautions=side_by_side.cautions(one, other),
        steps=side_by_side.steps(one, other),
        ties=side_by_side.ties(one, other),
        stages=(),
        labels={**other.labels, **one.labels},
    )


__all__ = ["build_named", "builds_named", "compare_builds", "compare_decisions", "seen_from"]
