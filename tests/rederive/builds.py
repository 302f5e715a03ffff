"""What rechecking makes of the choice: every build judged one by one, ranked, the best named."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from functools import cached_property
from itertools import product
from math import prod
from typing import Any, NamedTuple

from advisor.quantities import round9
from tests.rederive.facts import Fact, Item, Stock, Value
from tests.rederive.rules import Base, Condition, tests_of
from tests.rederive.run import BROKEN, CLOSED, MET, Run, Runner, World, has

NAMED = re.compile(r"\{([^{}]*)\}")
"""A fact named in a text."""

MOST_COUNTS = 12
MOST_ALTERNATIVES = 3
LOOK_AHEAD = 40
MOST_CONFLICTS = 20
MOST_NAMED = 4
EVERY = 64
"""Builds judged between two words on the progress."""

Failure = tuple[str, int]  # a rule and the place of a demand in it; -1 for its stop
Progress = Callable[[int, int], None]


class Axis(NamedTuple):
    """Alternatives for some facts; behind each row the listed item, if it is one."""

    name: str
    facts: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    items: tuple[Item | None, ...] = ()


class Verdict(NamedTuple):
    """What the rules say of one build."""

    broken: frozenset[Failure]
    unproven: frozenset[Failure]
    failed: frozenset[tuple[int, str]]  # layer and fact of the shoulds it does not meet


class Wish(NamedTuple):
    """A favour that counts."""

    rule: str
    fact: str
    end: str
    within: float


# What there is to choose


def lay_out(base: Base, given: Mapping[str, Value], stock: Stock) -> tuple[list[Axis], list[str]]:
    """Return everything that is chosen, in the order in which equal builds are listed, and notes.

    Heads come first if they are the options, then vanes as listed, then each single option that is
    not given: a choice in the order of the vocabulary, a number ascending.
    """
    axes: list[Axis] = []
    notes: list[str] = []
    options = base.of_origin("option")
    if is_pairing(base, given, stock):
        heads = [name for name in base.of_origin("given") if name.startswith("point.")]
        axes.append(_item_axis("point", heads, given, stock, base.facts))
    grouped: set[str] = set()
    for group in stock.items:
        members = [name for name in options if name.startswith(f"{group}.")]
        grouped.update(members)
        if group == "point" or all(name in given for name in members):
            continue
        axis = _item_axis(group, members, given, stock, base.facts)
        axes.append(axis)
        if stock.items[group] and axis.items == (None,):
            notes.append(
                f"No listed {group} agrees with what is stated of it: it is judged as stated."
            )
        elif group not in stock.typical:
            notes += _untold(axis, given, base.facts)
    for name in options:
        if name not in grouped and name not in given:
            values = _single(base.facts[name], stock.options.get(name, ()))
            axes.append(Axis(name, (name,), tuple((value,) for value in values)))
    return axes, notes


def is_pairing(base: Base, given: Mapping[str, Value], stock: Stock) -> bool:
    """Tell whether the fletching is given and the head is not, so that heads are the options."""
    if "point.type" not in base.facts or "point.type" in given or not stock.items.get("point"):
        return False
    options = base.of_origin("option")
    telling = [name for name in options if base.facts[name].pairs] or options
    return bool(telling) and all(name in given for name in telling)


def _single(fact: Fact, listed: Sequence[Value]) -> Sequence[Value]:
    if fact.kind == "choice":
        order = list(fact.choices)
        return sorted(listed or order, key=order.index)
    if not listed and fact.kind == "count" and fact.low is not None and fact.high is not None:
        low, high = int(fact.low), int(fact.high)
        listed = range(low, high + 1) if high - low < MOST_COUNTS else ()
    return sorted(listed) or [None]


def _item_axis(
    group: str,
    members: list[str],
    given: Mapping[str, Value],
    stock: Stock,
    facts: Mapping[str, Fact],
) -> Axis:
    """Keep the listed items that agree with what is given of them, or do not tell.

    Numbers by which items are not told apart give way to what is given: those of usual sizes
    always, those of a shelf only where no item agrees in all.
    """
    listed = stock.items[group]
    told = {name: given[name] for name in members if name in given}
    members = [m for m in members if m in told or any(m in item.facts for item in listed)]
    close: list[tuple[Item, int]] = []
    for item in listed:
        apart = [
            facts[name]
            for name, value in told.items()
            if name in item.facts and not _agree(facts[name], item.facts[name], value)
        ]
        by_the_way = all(f.kind in ("count", "quantity") and not f.pairs for f in apart)
        if not apart or (group != "point" and by_the_way):
            close.append((item, len(apart)))
    counts = [count for _, count in close] or [0]
    most = max(counts) if group in stock.typical else min(counts)
    kept: list[Item | None] = [item for item, count in close if count <= most]
    kept = kept or [None]
    rows = []
    for one in kept:
        values = {**(one.facts if one is not None else {}), **told}
        rows.append(tuple(values.get(name) for name in members))
    return Axis(group, tuple(members), tuple(rows), tuple(kept))


def _agree(fact: Fact, listed: Value, stated: Value) -> bool:
    if fact.kind in ("count", "quantity") and fact.tolerance is not None:
        return round9(abs(listed - stated)) <= fact.tolerance
    return bool(listed == stated)


def _untold(axis: Axis, given: Mapping[str, Value], facts: Mapping[str, Fact]) -> list[str]:
    """Say what a shelf does not tell of some of its items."""
    items = [item for item in axis.items if item is not None]
    silent: dict[tuple[str, ...], list[str]] = {}
    for name in axis.facts:
        whose = tuple(item.id for item in items if name not in item.facts)
        if whose and name not in given:
            silent.setdefault(whose, []).append(facts[name].label or name)
    return [
        f"The list does not tell the {_listed(names)} of "
        f"{_listed(whose if len(whose) <= MOST_NAMED else [f'{len(whose)} of them'])}: what a rule "
        "asks of that stays unproven there, so whatever tells it goes first."
        for whose, names in silent.items()
    ]


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


# Every build


class Builds:
    """All builds of one setup, judged one after the other.

    Args:
        runner: of the rule base.
        given: what was stated, with its values.
        stock: what there is to choose from.
        progress: told after every few builds how many are done, and of how many.
    """

    def __init__(
        self,
        runner: Runner,
        given: Mapping[str, Value],
        stock: Stock,
        progress: Progress | None = None,
    ) -> None:
        self.runner = runner
        self.base = base = runner.base
        self.given = given
        self.axes, self.notes = lay_out(base, given, stock)
        self.pairing = is_pairing(base, given, stock)
        on_axes = {fact for axis in self.axes for fact in axis.facts}
        self.on_axes = frozenset(on_axes)
        self.assumed = {
            name: assumption
            for name, assumption in base.assume.items()
            if name not in given and name not in on_axes
        }
        self.options = set(base.of_origin("option"))
        if self.pairing:
            self.options |= {name for name in base.facts if name.startswith("point.")}
        self.count = prod(len(axis.rows) for axis in self.axes)
        self._telling = [name for name, rule in base.rules.items() if rule.demands or rule.stop]
        self._before = self.before()
        self.looked_at = runner.closure(_named_in_rules(base))
        self.verdicts = self._judge_all(progress)
        self._choose()

    def before(self, *, assumed: bool = True) -> World:
        """Return the world before anything is chosen, computed or concluded."""
        world: World = {}
        for name, fact in self.base.facts.items():
            world[name] = CLOSED if fact.origin == "concluded" else None
            world[f"?{name}"] = name in self.given
        world.update(self.given)
        if assumed:
            world.update({name: found.value for name, found in self.assumed.items()})
        return world

    def rows_of(self, at: int) -> list[int]:
        """Return the row of each axis in build `at`."""
        rows: list[int] = []
        for axis in reversed(self.axes):
            at, row = divmod(at, len(axis.rows))
            rows.insert(0, row)
        return rows

    def _place(self, world: World, rows: Iterable[tuple[Value, ...]]) -> World:
        for axis, row in zip(self.axes, rows, strict=True):
            for fact, value in zip(axis.facts, row, strict=True):
                world[fact] = value
                world[f"?{fact}"] = value is not None
        return world

    def world(self, at: int, facts: Collection[str] | None = None) -> World:
        """Return the world of build `at`, some or all of its computed facts filled in."""
        rows = [axis.rows[row] for axis, row in zip(self.axes, self.rows_of(at), strict=True)]
        world = self._place(dict(self._before), rows)
        self.runner.compute(world, facts)
        return world

    def run(self, at: int) -> Run:
        """Run all rules on build `at`."""
        return self.runner.run(self.world(at))

    def _judge_all(self, progress: Progress | None) -> list[Verdict]:
        self._share()
        self._stand_always = set(self.base.favours)
        found = []
        for done, rows in enumerate(product(*(axis.rows for axis in self.axes)), 1):
            run = self._told(rows)
            self._stand_always &= run.standing
            found.append(self._verdict(run))
            if progress is not None and (done % EVERY == 0 or done == self.count):
                progress(done, self.count)
        return found

    def _share(self) -> None:
        """Settle once what no option bears on."""
        differing = {fact for axis in self.axes if len(axis.rows) > 1 for fact in axis.facts}
        self._nodes = self.runner.varying(differing, self.given)
        self._shared = shared = self.run(0)
        for what, name in self._nodes:
            if what == "firing":
                shared.told.pop(name, None)
            elif what == "standing":
                shared.standing.discard(name)
                shared.live.discard(name)
            else:
                shared.ties.discard(name)
        left = {name for what, name in self._nodes if what == "value"}
        concluded = [name for name in self.base.of_origin("concluded") if name not in left]
        self._settled = {**self._before, **{name: shared.world[name] for name in concluded}}

    def _told(self, rows: Iterable[tuple[Value, ...]]) -> Run:
        """Run the rules on one build, of its computed facts only those that rules look at."""
        world = self._place(dict(self._settled), rows)
        self.runner.compute(world, self.looked_at)
        return self.runner.run(world, after=self._shared, nodes=self._nodes)

    def _verdict(self, run: Run) -> Verdict:
        broken: set[Failure] = set()
        unproven: set[Failure] = set()
        failed: set[tuple[int, str]] = set()
        for name in self._telling:
            rule = self.base.rules[name]
            stands = name in run.standing
            if not stands and not (name in run.live and self._wants_options_only(run, name)):
                continue
            if rule.stop:
                (broken if stands else unproven).add((name, -1))
            for demand in rule.demands:
                outcome = self.runner.meets(name, demand.place, demand.is_negative, run.world)
                if outcome == MET:
                    continue
                if not demand.is_must:
                    if stands:
                        failed.add((rule.layer, demand.fact))
                elif stands and outcome == BROKEN:
                    broken.add((name, demand.place))
                else:
                    unproven.add((name, demand.place))
        return Verdict(frozenset(broken), frozenset(unproven), frozenset(failed))

    def _wants_options_only(self, run: Run, name: str) -> bool:
        """Tell whether a rule is undecided only for want of an option's value, however far down."""
        lacks = self.runner.lacks(run, name)
        return all(self._is_wanted_option(run, fact) for fact in lacks)

    def _is_wanted_option(self, run: Run, fact: str) -> bool:
        if has(run.world[fact]):
            return True
        deeper = self.runner.behind(run, fact)
        if not deeper:
            return fact in self.options
        return all(self._is_wanted_option(run, other) for other in deeper)

    # The choice

    def _choose(self) -> None:
        alive = [at for at, verdict in enumerate(self.verdicts) if not verdict.broken]
        self.survivors = len(alive)
        self.wishes = [
            Wish(name, *favour, self.base.facts[favour[0]].within)
            for name in self.base.favours
            if name in self._stand_always and (favour := self.base.rules[name].favour)
        ]
        self.conflicts: list[tuple[str, ...]] = []
        self.more_conflicts = False
        if alive:
            self.status = "judged" if self.count == 1 else "advised"
        else:
            stopped = all(any(p < 0 for _, p in verdict.broken) for verdict in self.verdicts)
            self.status = "stopped" if stopped else "rejected"
            sets = _conflict_sets({frozenset(n for n, _ in v.broken) for v in self.verdicts})
            self.conflicts = sets[:MOST_CONFLICTS]
            self.more_conflicts = len(sets) > MOST_CONFLICTS
            fewest = min(len(verdict.broken) for verdict in self.verdicts)
            alive = [at for at, v in enumerate(self.verdicts) if len(v.broken) == fewest]
        groups = self._rank(alive)
        self.at, *self.equals = groups[0]
        self.others = self._others(groups[1:])

    def _rank(self, among: list[int]) -> list[list[int]]:
        """Rank builds: unproven musts, then shoulds not met layer by layer, then the favours."""
        layers = range(len(self.base.layers) - 1, -1, -1)
        scores: dict[tuple[int, ...], list[int]] = {}
        for at in among:
            verdict = self.verdicts[at]
            by_layer = Counter(layer for layer, _ in verdict.failed)
            score = (len(verdict.unproven), *(by_layer[layer] for layer in layers))
            scores.setdefault(score, []).append(at)
        return [group for score in sorted(scores) for group in self._split(scores[score], 0)]

    def _split(self, group: list[int], wish_at: int) -> list[list[int]]:
        if wish_at == len(self.wishes) or len(group) < 2:
            return [group] if group else []
        wish = self.wishes[wish_at]
        values = {at: value for at in group if has(value := self.value(at, wish.fact))}
        if not values:
            return self._split(group, wish_at + 1)
        best = (max if wish.end == "highest" else min)(values.values())
        near = [at for at in values if round9(abs(best - values[at])) <= wish.within]
        rest = [at for at in group if at not in set(near)]
        return self._split(near, wish_at + 1) + self._split(rest, wish_at)

    def value(self, at: int, fact: str) -> Value:
        """Return the value of a fact in build `at`, computed if it must be."""
        if has(self._before[fact]) or fact not in self.runner.rows:
            return self.world(at, ())[fact]
        if fact not in self._closures:
            self._closures[fact] = self.runner.closure({fact})
        return self.world(at, self._closures[fact])[fact]

    @cached_property
    def _closures(self) -> dict[str, set[str]]:
        return {}

    def _others(self, groups: list[list[int]]) -> list[int]:
        """Return the next builds in rank, one for each way of losing."""
        found: list[int] = []
        seen: set[Any] = set()
        for looked, (at, *_) in enumerate(groups):
            way = self.verdicts[at], self.rows_of(at)[:1] and self.rows_of(at)[0]
            if way not in seen:
                seen.add(way)
                found.append(at)
            if len(found) == MOST_ALTERNATIVES or looked == LOOK_AHEAD:
                break
        return found

    # The chosen (or nearest) build

    @cached_property
    def chosen(self) -> Run:
        """The run of the chosen build."""
        return self.run(self.at)

    def failures(self, run: Run) -> set[Failure]:
        """Return what a build does not meet."""
        return self.runner.failures(run, self._telling)

    def times(self) -> Counter[Failure]:
        """Return in how many builds each must is broken and each stop stands."""
        return Counter(what for verdict in self.verdicts for what in verdict.broken)

    def beyond(self, fact: str) -> Value:
        """Return the next value past the end at which a chosen one stands, if it breaks nothing."""
        declared, chosen = self.base.facts[fact], self.chosen.world[fact]
        axis = next((axis for axis in self.axes if fact in axis.facts), None)
        if declared.step is None or not has(chosen) or axis is None:
            return None
        place = axis.facts.index(fact)
        offered = [row[place] for row in axis.rows if row[place] is not None]
        for end, step in ((max(offered), declared.step), (min(offered), -declared.step)):
            further = round9(chosen + step)
            if chosen == end and declared.takes(further) and self._breaks_nothing(fact, further):
                return further
        return None

    def _breaks_nothing(self, fact: str, value: Value) -> bool:
        world = self.world(self.at, ())
        world[fact] = value
        self.runner.compute(world)
        failures = self.failures(self.runner.run(world))
        about = {
            (name, demand.place)
            for name, rule in self.base.rules.items()
            for demand in rule.demands
            if demand.fact == fact
        }
        return not failures - self.failures(self.chosen) and not failures & about

    def meeting(self, rule: str, place: int, is_negative: bool) -> set[int]:
        """Return the builds that meet a demand, whether or not its rule stands in them."""
        key = rule, place
        if key not in self._meeting:
            builds = enumerate(product(*(axis.rows for axis in self.axes)))
            self._meeting[key] = {
                at
                for at, rows in builds
                if self.runner.meets(rule, place, is_negative, self._told(rows).world) == MET
            }
        return self._meeting[key]

    @cached_property
    def _meeting(self) -> dict[Failure, set[int]]:
        return {}


def _facts_of(test: Condition) -> list[str]:
    return [fact for one in tests_of(test) for fact in one.facts]


def _named_in_rules(base: Base) -> set[str]:
    """Return the facts that rules read, ask for, conclude or name in their texts."""
    named: set[str] = set()
    for rule in base.rules.values():
        named |= rule.reads
        named.update(fact for fact, _ in rule.sets)
        for demand in rule.demands:
            named.update((demand.fact, *_facts_of(demand.test)))
        texts = [rule.because, *(text for _, text in rule.cautions)]
        texts += [text for _, text, _ in rule.steps]
        named.update(NAMED.findall(" ".join(texts)))
    return named & base.facts.keys()


def _conflict_sets(offences: set[frozenset[str]]) -> list[tuple[str, ...]]:
    """Return the smallest sets of rules of which every build offends against one."""
    found: set[frozenset[str]] = {frozenset()}
    for offence in offences:
        wider = {
            grown
            for one in found
            for grown in ([one] if one & offence else [one | {name} for name in offence])
        }
        found = {one for one in wider if not any(other < one for other in wider)}
    return sorted((tuple(sorted(one)) for one in found), key=lambda names: (len(names), names))
