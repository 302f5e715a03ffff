"""What a recheck makes of the rules: each build judged by itself, in the plainest way, and ranked.

Written from what the rules are said to mean; nothing is shared with the engine that is checked.
From the top: conditions and numbers, one build, all builds.
"""

from __future__ import annotations

import json
import operator
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from itertools import product
from math import isfinite
from typing import Any, NamedTuple

from advisor.derive import TABLE
from advisor.documents import Document
from advisor.quantities import UNITS, round9
from advisor.recheck.files import NUMBERS, Item, Plain, RuleFiles, Stock, Value

NO, UNKNOWN, YES = 0, 1, 2
BOUNDS: dict[str, Callable[[Any, Any], bool]] = {"at_least": operator.ge, "at_most": operator.le}
BOUNDS |= {"above": operator.gt, "below": operator.lt}
STRENGTHS = ("must", "must_not", "should", "should_not", "favour")
MOST_ALTERNATIVES, LOOK_AHEAD, MOST_CONFLICTS, MOST_COUNTS = 3, 40, 20, 12
CLOSED = object()  # in the place of a value: no rule can conclude this fact any more

Failure = tuple[str, int]  # a rule and the place of a demand in it; -1 for its stop
Answer = tuple[int, frozenset[str]]  # no, unknown or yes; for unknown, the facts that are lacking
Told = tuple[str, list[str], list[str]]  # how a rule's conditions come out, what each of them lacks
Progress = Callable[[int, int], None]


# Conditions and numbers


class Rules(RuleFiles):
    """The rules in use, turned about: who overrides, who sets, who asks."""

    def __init__(self, layers: list[dict[str, Document]]) -> None:
        super().__init__(layers)
        known = self.facts.keys()
        self.rows = {row.fact: row for row in TABLE if known >= {row.fact, *row.needs}}
        self.computes = {
            n: remembering(self.rows[n].needs, partial(self._compute, n)) for n in self.rows
        }
        self.overriders: dict[str, list[str]] = {name: [] for name in self.rules}
        self.setters: dict[str, list[tuple[str, Value]]] = {}
        self.demands: dict[str, list[tuple[int, str, str]]] = {}  # place in `then`, strength, fact
        self.stops = {
            n for n in self.rules for one in self.told(n, "caution") if one["level"] == "stop"
        }
        self.fires: dict[str, Callable[[Run], Told]] = {}
        self.outcomes: dict[Failure, Callable[[Run], str]] = {}
        for name, raw in self.rules.items():
            reads = [*facts_of(raw.get("when", {})), *facts_of(raw.get("unless", {}))]
            if not known >= {fact.lstrip("?") for fact in reads}:
                raise ValueError(f"{name} looks at what is no fact")
            self.fires[name] = remembering(reads, partial(self._fire, raw))
            for loser in {*map(self.now, raw.get("overrides", ()))} - {"", name}:
                self.overriders[loser].append(name)
            for fact, value in (pair for body in self.told(name, "set") for pair in body.items()):
                claim = name, self.read(fact, value, in_rule=True)
                self.setters.setdefault(fact, []).append(claim)
            then = [(place, *one.items()) for place, one in enumerate(raw["then"])]
            asked = [(place, kind, body) for place, (kind, body) in then if kind in STRENGTHS[:4]]
            self.demands[name] = [(place, kind, *body) for place, kind, body in asked]
            for place, kind, body in asked:
                outcome = partial(self._outcome, body, kind.endswith("_not"))
                self.outcomes[name, place] = remembering(facts_of(body), outcome)

    def judge(self, condition: Plain, run: Run, closed: int = NO) -> Answer:
        """Judge a condition as it is written; all its parts must hold.

        `closed` is what a test on a fact comes to that nobody can conclude any more: no in a rule's
        conditions, unknown in what it asks.
        """
        return joined(min, [self._part(key, condition[key], run, closed) for key in condition])

    def _part(self, key: str, inside: Any, run: Run, closed: int) -> Answer:
        if key == "not":
            truth, lacks = self.judge(inside, run, closed)
            return YES - truth, lacks
        if key in ("any", "all"):
            parts = [self.judge(one, run, closed) for one in inside]
            return joined(max if key == "any" else min, parts)
        if isinstance(inside, list):
            return joined(max, [self._part(key, one, run, closed) for one in inside])
        tests = inside if isinstance(inside, dict) and "fact" not in inside else {"is": inside}
        return joined(min, [self._test(key, op, tests[op], run, closed) for op in tests])

    def _test(self, fact: str, op: str, operand: Any, run: Run, closed: int) -> Answer:
        if op in ("known", "stated"):
            holds = has(run[fact]) if op == "known" else run[f"?{fact}"]
            return YES if holds is operand else NO, frozenset()
        other = operand["fact"] if isinstance(operand, dict) else ""
        missing = [side for side in (fact, other) if side and not has(run[side])]
        if missing:
            is_no = closed == NO and any(run[side] is CLOSED for side in missing)
            return (NO, frozenset()) if is_no else (UNKNOWN, frozenset(missing))
        left, right = run[fact], run[other] if other else self.read(fact, operand, in_rule=True)
        holds = set_of(left) & set_of(right) if op == "is" else BOUNDS[op](left, right)
        return YES if holds else NO, frozenset()

    def _fire(self, rule: Plain, run: Run) -> Told:
        when, lacks = self.judge(rule.get("when", {}), run)
        unless, doubts = self.judge(rule["unless"], run) if "unless" in rule else (NO, frozenset())
        if when == NO or unless == YES:
            return "silent", [], []
        return ("fired", [], sorted(doubts)) if when == YES else ("undecided", sorted(lacks), [])

    def _outcome(self, asked: Plain, is_negative: int, run: Run) -> str:
        truth, _ = self.judge(asked, run, UNKNOWN)
        return ("broken", "unproven", "met")[YES - truth if is_negative else truth]

    def asks(self, fact: str, run: Run) -> list[str]:
        """Return the facts that a computed one asks for, with the kind of head there is."""
        row = self.rows[fact]
        kind, cases = run[row.by or ""], row.cases or {}
        special = {need for needs in cases.values() for need in needs} - {*cases.get(kind, ())}
        idle = {*row.optional, *(special if has(kind) else ())}
        return [need for need in row.needs if need not in idle]

    def _compute(self, fact: str, run: Run) -> Value:
        row = self.rows[fact]
        if not all(has(run[need]) for need in self.asks(fact, run)):
            return None
        needs = [run[n] * self._si(n) if has(run[n]) else None for n in row.needs]
        try:
            found = row.call(*needs) * (1.0 / self._si(fact))
            found = int(found) if self.facts[fact]["kind"] == "count" else round9(found)
        except (ValueError, ArithmeticError):
            return None
        return found if isfinite(found) else None

    def _si(self, fact: str) -> float:
        is_quantity = self.facts[fact]["kind"] == "quantity"
        return UNITS[self.facts[fact].get("unit") or "1"][1] if is_quantity else 1


def has(value: Value) -> bool:
    """Tell whether there is a value."""
    return value is not None and value is not CLOSED


def set_of(value: Value) -> set[Value]:
    """Return the values of a fact that may have several."""
    return set(value) if isinstance(value, tuple) else {value}


def joined(least: Callable[..., int], answers: list[Answer]) -> Answer:
    """Join answers by `min`, all of them, or `max`, any of them."""
    truth = least((truth for truth, _ in answers), default=YES if least is min else NO)
    unknown = [lacks for other, lacks in answers if other == truth == UNKNOWN]
    return truth, frozenset().union(*unknown)


def facts_of(condition: Plain) -> Iterator[str]:
    """Yield the facts that a condition looks at, with `?` where it asks whether one is stated."""
    for key, inside in condition.items():
        listed = inside if isinstance(inside, list) else [inside]
        if key in ("any", "all", "not"):
            yield from (fact for one in listed for fact in facts_of(one))
            continue
        yield key
        for test in (one for one in listed if isinstance(one, dict)):
            yield from [f"?{key}"] if "stated" in test else []
            operands = [test] if "fact" in test else test.values()
            yield from (operand["fact"] for operand in operands if isinstance(operand, dict))


def remembering(reads: Iterable[str], tell: Callable[[Run], Any]) -> Callable[[Run], Any]:
    """Work out once, for each set of values, what depends on nothing but the facts it reads."""
    pick, held = operator.itemgetter("", *reads), {}

    def remembered(run: Run) -> Any:
        key = pick(run)
        if key not in held:
            held[key] = tell(run)
        return held[key]

    return remembered


# One build


class Run(dict[str, Value]):
    """The facts of one build, and `?fact` whether it is stated; and what the rules come to.

    Computed and concluded facts, and the states of rules, are worked out when first looked at.
    """

    def __init__(self, base: Rules, values: Mapping[str, Value]) -> None:
        super().__init__(values)
        self.base = base
        self.ties: set[str] = set()
        self._states: dict[str, str] = {}

    def __missing__(self, fact: str) -> Value:
        if fact in self.base.computes:
            found = self.base.computes[fact](self)
        else:
            claims = self.base.setters.get(fact, [])
            values = [value for rule, value in claims if self.state(rule) == "standing"]
            waiting = any(self.state(rule) == "live" for rule, _ in claims)
            found = values[-1] if values else None if waiting else CLOSED
            if any(set_of(value) != set_of(values[0]) for value in values):
                found = None
                self.ties.add(fact)
        self[fact] = found
        return found

    def told(self, rule: str) -> Told:
        """Return how a rule's conditions come out, and what each of them lacks."""
        return self.base.fires[rule](self)

    def state(self, rule: str) -> str:
        """Return how a rule stands: standing, beaten, live (undecided and not beaten), silent."""
        if rule not in self._states:
            state, *_ = self.told(rule)
            if state != "silent":
                state = "standing" if state == "fired" else "live"
                state = "beaten" if self.winners(rule) else state
            self._states[rule] = state
        return self._states[rule]

    def winners(self, loser: str) -> list[str]:
        """Return the rules that set one aside; a stop yields to none whose exception is open."""
        standing = [rule for rule in self.base.overriders[loser] if self.state(rule) == "standing"]
        return [w for w in standing if loser not in self.base.stops or not self.told(w)[2]]

    def standing(self) -> list[str]:
        """Return the rules that stand."""
        return [rule for rule in self.base.rules if self.state(rule) == "standing"]

    def outcome(self, rule: str, place: int) -> str:
        """Say whether what a rule asks is met, broken or unproven."""
        return self.base.outcomes[rule, place](self)

    def failures(self) -> set[Failure]:
        """Return what standing rules ask and do not get, and the stops, place -1."""
        demands = [
            (rule, place) for rule in self.standing() for place, *_ in self.base.demands[rule]
        ]
        stops = {(rule, -1) for rule in self.standing() if rule in self.base.stops}
        return {what for what in demands if self.outcome(*what) != "met"} | stops

    def wants_only(self, options: set[str], facts: Iterable[str]) -> bool:
        """Tell whether facts have no value only for want of an option's, however far down."""
        for fact in (fact for fact in facts if not has(self[fact])):
            waits: list[str] = []
            if fact in self.base.rows:
                waits = [need for need in self.base.asks(fact, self) if not has(self[need])]
            elif fact not in self.ties:
                claims = [rule for rule, _ in self.base.setters.get(fact, ())]
                live = [rule for rule in claims if self.state(rule) == "live"]
                waits = [lack for rule in live for lack in self.told(rule)[1]]
            if not (self.wants_only(options, waits) if waits else fact in options):
                return False
        return True


# All builds


class Axis(NamedTuple):
    """Alternatives for some facts; behind each row the listed item, if it is one."""

    name: str
    facts: list[str]
    rows: list[tuple[Value, ...]]
    items: list[Item | None]


def lay_out(base: Rules, given: Mapping[str, Value], stock: Stock) -> list[Axis]:
    """Return all there is to choose: heads, if the fletching is given; vanes; single options."""
    options, heads = base.of("option"), [n for n in base.of("given") if n.startswith("point.")]
    pairs = [name for name in options if base.facts[name].get("pairs")] or options
    headless = "point.type" in heads and "point.type" not in given and stock.items.get("point")
    axes, single = [], [name for name in options if name not in given]
    if pairs and headless and all(name in given for name in pairs):
        axes.append(_items_axis(base, "point", heads, given, stock))
    for group in (group for group in stock.items if group != "point"):
        members = [name for name in options if name.startswith(f"{group}.")]
        if any(name not in given for name in members):
            axes.append(_items_axis(base, group, members, given, stock))
        single = [name for name in single if name not in members]
    for name in single:
        fact, listed = base.facts[name], stock.options.get(name, [])
        if fact["kind"] == "choice":
            values = [choice for choice in fact["choices"] if choice in listed or not listed]
        else:
            low, high = fact.get("range", (0, MOST_COUNTS))
            few = fact["kind"] == "count" and high - low < MOST_COUNTS
            values = sorted(listed) or (list(range(low, high + 1)) if few else [None])
        axes.append(Axis(name, [name], [(value,) for value in values], [None] * len(values)))
    return axes


def _items_axis(
    base: Rules, group: str, members: list[str], given: Mapping[str, Value], stock: Stock
) -> Axis:
    """Keep the listed items that agree with what is given of them, or do not tell.

    Numbers by which items are not told apart give way to what is given: those of usual sizes
    always, those of a shelf only where no item agrees in all.
    """
    told = {name: given[name] for name in members if name in given}
    close: list[tuple[int, Item]] = []
    for item in stock.items[group]:
        both = [(name, item.facts[name], told[name]) for name in told if name in item.facts]
        apart = [base.facts[name] for name, *values in both if not _agree(base, name, *values)]
        by_the_way = all(fact["kind"] in NUMBERS and not fact.get("pairs") for fact in apart)
        if not apart or (by_the_way and group != "point"):
            close.append((len(apart), item))
    most = (max if group in stock.typical else min)((n for n, _ in close), default=0)
    kept: list[Item | None] = [item for count, item in close if count <= most]
    kept = kept or [None]
    listed = {*told, *(name for item in stock.items[group] for name in item.facts)}
    members = [name for name in members if name in listed]
    values = [{**(item.facts if item else {}), **told} for item in kept]
    return Axis(group, members, [tuple(map(one.get, members)) for one in values], kept)


def _agree(base: Rules, fact: str, listed: Value, stated: Value) -> bool:
    tolerance = base.facts[fact].get("tolerance")
    if tolerance is None or base.facts[fact]["kind"] not in NUMBERS:
        return bool(listed == stated)
    return bool(round9(abs(listed - stated)) <= base.read(fact, tolerance, in_rule=True))


Verdict = tuple[frozenset[Failure], frozenset[Failure], frozenset[tuple[int, str]]]
"""Of one build: the musts broken, those unproven, and layer and fact of the shoulds not met."""


class Builds:
    """All builds of one setup, judged one after the other, and ranked."""

    def __init__(
        self, base: Rules, given: Plain, stock: Stock, progress: Progress | None = None
    ) -> None:
        self.base, self.given, self.stock = base, given, stock
        self.axes = lay_out(base, given, stock)
        self.rows = list(product(*(range(len(axis.rows)) for axis in self.axes)))
        on_axes = {fact for axis in self.axes for fact in axis.facts}
        options = {*base.of("option"), *on_axes}
        self.options = [name for name in base.facts if name in options]
        heads = [name for name in base.facts if "point.type" in on_axes and name[:6] == "point."]
        self._open = {*options, *heads}
        told = {**given, **dict.fromkeys(on_axes)}
        self.assumed = {name: found for name, found in base.assumed.items() if name not in told}
        later = {*base.rows, *base.of("concluded")}  # what each build works out for itself
        self._before: Plain = {name: None for name in ("", *base.facts) if name not in later}
        self._before |= {f"?{name}": name in given for name in base.facts}
        self._before |= {name: value for name, (value, *_) in self.assumed.items()} | given
        self.verdicts: list[Verdict] = []
        always = set(base.favours)
        for at in range(len(self.rows)):
            run = self.run(at)
            self.verdicts.append(self._verdict(run))
            always = {rule for rule in always if run.state(rule) == "standing"}
            if progress is not None and (at % 64 == 63 or at + 1 == len(self.rows)):
                progress(at + 1, len(self.rows))
        wishes = [(rule, base.told(rule, "favour")[0]) for rule in base.favours if rule in always]
        self.wishes = [(rule, *pair) for rule, favour in wishes for pair in favour.items()]
        fewest = min(len(broken) for broken, *_ in self.verdicts)
        best = [at for at, (broken, *_) in enumerate(self.verdicts) if len(broken) == fewest]
        self.survivors = 0 if fewest else len(best)
        (self.best, *self.equals), *groups = self._rank(best)
        self.others: dict[Any, int] = {}  # the next in rank, one for each way of losing
        for at, *_ in groups[: LOOK_AHEAD + 1]:
            if len(self.others) < MOST_ALTERNATIVES:
                self.others.setdefault((self.verdicts[at], self.rows[at][:1]), at)

    def run(self, at: int) -> Run:
        """Return one build."""
        run = Run(self.base, self._before)
        for axis, row in zip(self.axes, self.rows[at], strict=True):
            for fact, value in zip(axis.facts, axis.rows[row], strict=True):
                run[fact], run[f"?{fact}"] = value, value is not None
        return run

    def _verdict(self, run: Run) -> Verdict:
        broken: set[Failure] = set()
        unproven: set[Failure] = set()
        failed: set[tuple[int, str]] = set()
        for rule, demands in self.base.demands.items():
            if not demands and rule not in self.base.stops:
                continue
            state = run.state(rule)
            stands, waits = state == "standing", state == "live"
            if not stands and not (waits and run.wants_only(self._open, run.told(rule)[1])):
                continue
            if rule in self.base.stops:
                (broken if stands else unproven).add((rule, -1))
            for place, strength, fact in demands:
                outcome = run.outcome(rule, place)
                if outcome != "met" and strength.startswith("must"):
                    is_broken = stands and outcome == "broken"
                    (broken if is_broken else unproven).add((rule, place))
                elif outcome != "met" and stands:
                    failed.add((self.base.layer[rule], fact))
        return frozenset(broken), frozenset(unproven), frozenset(failed)

    def _rank(self, among: list[int]) -> list[list[int]]:
        """Rank by unproven musts, shoulds not met layer by layer, then favours; equals together."""
        scores: dict[tuple[int, ...], list[int]] = {}
        for at in among:
            _, unproven, failed = self.verdicts[at]
            by_layer = Counter(layer for layer, _ in failed)
            layers = (by_layer[layer] for layer in reversed(range(len(self.base.names))))
            scores.setdefault((len(unproven), *layers), []).append(at)
        return [group for key in sorted(scores) for group in self._split(scores[key], self.wishes)]

    def _split(self, group: list[int], wishes: list[tuple[str, str, str]]) -> list[list[int]]:
        if not wishes or len(group) < 2:
            return [group] if group else []
        _, fact, end = wishes[0]
        values = {at: value for at in group if has(value := self.run(at)[fact])}
        if not values:
            return self._split(group, wishes[1:])
        best = (max if end == "highest" else min)(values.values())
        within = self.base.read(fact, self.base.facts[fact].get("within", 0), in_rule=True)
        near = [at for at, value in values.items() if round9(abs(best - value)) <= within]
        rest = [at for at in group if at not in near]
        return self._split(near, wishes[1:]) + self._split(rest, wishes)

    def conflicts(self) -> list[list[str]]:
        """Return the smallest sets of rules of which every build breaks one."""
        found: set[frozenset[str]] = {frozenset()}
        for offence in {frozenset(rule for rule, _ in broken) for broken, *_ in self.verdicts}:
            wider = {one for one in found if one & offence}
            wider |= {one | {rule} for one in found - wider for rule in offence}
            found = {one for one in wider if not any(other < one for other in wider)}
        return sorted(map(sorted, found), key=lambda rules: (len(rules), rules))

    def looked_at(self) -> set[str]:
        """Return the computed facts that rules name, those they come from, and the wished for."""
        rules = self.base.rules.values()
        parts = [raw.get(key) for raw in rules for key in ("when", "unless", "because")]
        parts += [one for raw in rules for one in raw["then"] if "favour" not in one]
        found = set(re.findall(r"[\w.]+\w", json.dumps(parts)))
        for fact in reversed(self.base.rows):
            found.update(self.base.rows[fact].needs if fact in found else ())
        return found.union(fact for _, fact, _ in self.wishes)

    def meeting(self, rule: str, place: int) -> set[int]:
        """Return the builds that meet a demand, whether or not its rule stands in them."""
        return {at for at in range(len(self.rows)) if self.run(at).outcome(rule, place) == "met"}
