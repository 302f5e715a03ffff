"""Why not: what keeps a rule from standing, or a build that somebody names from being chosen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import product

from advisor.comparing import stages_of
from advisor.decision import FactValue, Number, RuleBaseName
from advisor.engine.grid import Offence
from advisor.engine.rules import Rule
from advisor.engine.run import Run
from advisor.engine.values import NO, UNKNOWN, YES, Value
from advisor.errors import Fault, Faults, did_you_mean, quoted
from advisor.findings import (
    AS_GOOD,
    BEHIND,
    BREAKS,
    CHOSEN,
    EXACT,
    SEARCHED,
    Advocate,
    Change,
    Instead,
    Obstacle,
    WhyNot,
    WhyNotBuild,
)
from advisor.judge import Judgement
from advisor.named_builds import find_builds
from advisor.otherwise import Otherwise, build_of
from advisor.searching import Found, Tests, beside, nearest
from advisor.turning import HOLDS, Alternatives, scale_of
from advisor.vocabulary import COUNT, NUMBERS
from advisor.why_not_rule import Shortfalls, beaten_by, cost_of, move_of, why_not_rule

MOST_CHANGES = 5


def why_not(judgement: Judgement, named: Mapping[str, Value] | str) -> WhyNot:
    """Return why a rule does not stand, or why a build is not the chosen one.

    Args:
        judgement: of the setup.
        named: a rule's name, or some options by which a build is named, as `build_named` reads
            them; the other options are chosen as the advisor would.

    Raises:
        Faults: about "usage": there is no such rule, or no such build to choose.
    """
    if isinstance(named, str):
        if named not in judgement.base.entries:
            raise Faults([_unknown(judgement, named)], "usage")
        rule = why_not_rule(judgement, named)
        return _whole(judgement, f"Why not {named}")._replace(rule=rule)
    other = _WhyNotBuild(judgement, named).tell()
    words = judgement.base.words
    told = ", ".join(
        f"{name} {words.value(name, x) if name in judgement.base.vocabulary else x}"
        for name, x in named.items()
    )
    return _whole(judgement, f"Why not {told}")._replace(other=other)


def _unknown(judgement: Judgement, named: str) -> Fault:
    base = judgement.base
    gone = next((retired for retired in base.retired if retired.rule == named), None)
    if gone is not None:
        instead = f"; {gone.replacement} stands for it" if gone.replacement else ""
        told = f"{quoted(named)} was taken out of use by {gone.by}{instead}: {gone.because}"
        return Fault("why-not", None, None, told, "name a rule that is in use")
    if named in base.vocabulary:
        what = f"{quoted(named)} is a fact"
        return Fault("why-not", None, None, what, f"name a build by it: {named}=...; or a rule")
    near = did_you_mean(named, base.entries)
    lists = "advisor rules list shows the rules; name a build as fletching.count=3"
    return Fault(
        "why-not",
        None,
        None,
        f"{quoted(named)} is no rule of {base.name} {base.version}",
        f"did you mean {near}?" if near else lists,
    )


def _whole(judgement: Judgement, says: str) -> WhyNot:
    base = judgement.base
    layers = tuple(f"{layer.name} {layer.version}" for layer in base.layers)
    return WhyNot(
        judgement.setup.title,
        RuleBaseName(base.name, base.version, base.digest, layers),
        judgement.stock.name,
        judgement.status,
        _shown(judgement, build_of(judgement, judgement.at)),
        says,
        labels=base.labels,
    )


def _shown(judgement: Judgement, build: Mapping[str, Value]) -> dict[str, FactValue]:
    words = judgement.base.vocabulary
    return {
        name: Number(x, words[name].unit) if words[name].kind in NUMBERS else x
        for name, x in build.items()
    }


class _WhyNotBuild:
    def __init__(self, judgement: Judgement, named: Mapping[str, Value]) -> None:
        self.judgement = judgement
        self.named = named
        self.base = judgement.base
        (self.at,) = find_builds(judgement, [named])
        self.run: Run = judgement.run_of(self.at)
        self.told = Shortfalls(judgement, self.run)

    def tell(self) -> WhyNotBuild:
        judgement = self.judgement
        obstacles = tuple(self._obstacles())
        if obstacles:
            stands = BREAKS
        elif self.at == judgement.at:
            stands = CHOSEN
        else:
            stands = AS_GOOD if self.at in judgement.equals else BEHIND
        done = stands in (CHOSEN, AS_GOOD)
        return WhyNotBuild(
            _shown(judgement, {f: x for f, x in self.named.items() if f in self.base.vocabulary}),
            _shown(judgement, build_of(judgement, self.at)),
            stands,
            obstacles,
            () if done else tuple(self._missed()),
            () if self.at == judgement.at else stages_of(judgement, judgement.at, self.at),
            () if done else tuple(self._advocates()),
            () if done else tuple(self._instead()),
            () if done else tuple(self._changes()),
        )

    # What the build breaks

    def _obstacles(self) -> Iterator[Obstacle]:
        grid = self.judgement.grid
        for offence in grid.offences(grid.verdicts[self.at], "broken"):
            yield self._obstacle(offence)

    def _missed(self) -> Iterator[Obstacle]:
        """Tell the shoulds that this build fails and the chosen one does not."""
        failures = self.judgement.failures(self.run) - self.judgement.own_failures
        for rule_id, place in sorted(failures):
            rule = self.base.entries[rule_id].rule
            if any(d.place == place and not d.is_must for d in rule.demands):
                yield self._obstacle(Offence(rule_id, place))

    def _obstacle(self, offence: Offence) -> Obstacle:
        entry = self.base.entries[offence.rule]
        because = self.base.words.text(entry.because, self.run.value)
        premises = self.told.origins.rule(offence.rule)
        if offence.place < 0:
            text = next((c.text for c in entry.cautions if c.level == "stop"), entry.says)
            asks = self.base.words.text(text, self.run.value)
            when = entry.rule.when
            failing = () if when is None else self.told.of(when, want=False)
            return Obstacle(offence.rule, "stop", entry.says, because, asks, failing, premises)
        demand = next(d for d in entry.rule.demands if d.place == offence.place)
        failing = self.told.of(demand.test, want=not demand.is_negative, absent=UNKNOWN)
        return Obstacle(
            offence.rule,
            demand.strength,
            entry.says,
            because,
            self.base.words.demand(demand),
            failing,
            premises,
        )

    def _advocates(self) -> Iterator[Advocate]:
        """Tell the rules set aside that ask for what this build has and the chosen one has not."""
        lost = self.run.set_aside()
        for rule_id, winners in lost.items():
            entry = self.base.entries[rule_id]
            if self._speaks_for(entry.rule):
                because = self.base.words.text(entry.because, self.run.value)
                beaten = beaten_by(self.judgement, self.run, winners)
                yield Advocate(rule_id, entry.says, because, beaten)

    def _speaks_for(self, rule: Rule) -> bool:
        judges = self.judgement.ways.chooser.split.demand_judges
        place = self.base.program.place[rule.id]
        for demand in rule.demands:
            judge = judges[place, demand.place]
            good = NO if demand.is_negative else YES
            if judge(self.run.values) == good and judge(self.judgement.run.values) != good:
                return True
        return False

    # What would do instead

    def _instead(self) -> Iterator[Instead]:
        """Tell the nearest builds that hold: with one of the named options given way, or more."""
        if self._holds(self.at):
            return
        for names in self._givable():
            rest = {name: x for name, x in self.named.items() if name not in names}
            (at,) = find_builds(self.judgement, [rest])
            if self._holds(at):
                build = build_of(self.judgement, at)
                words = self.base.words
                told = [f"{n} {words.value(n, build[n])}" for n in names if n in build]
                yield Instead(
                    _shown(self.judgement, build),
                    _shown(self.judgement, {n: build[n] for n in names if n in build}),
                    f"with {' and '.join(told)} it holds" if told else "another of them holds",
                )

    def _givable(self) -> list[tuple[str, ...]]:
        names = tuple(self.named)
        return [(name,) for name in names] if len(names) > 1 else [names]

    def _holds(self, at: int) -> bool:
        grid = self.judgement.grid
        return not grid.verdicts[at] & grid.broken_bits

    # What would make it so

    def _changes(self) -> Iterator[Change]:
        """Find stated facts, each by itself, that would make the named build chosen or as good."""
        found = [c for fact in self.judgement.setup.facts for c in self._by(fact)]
        found.sort(key=self._cost)
        yield from found[:MOST_CHANGES]

    def _cost(self, change: Change) -> float:
        (move,) = change.moves
        entry = self.base.vocabulary[move.fact]
        if not (isinstance(move.was, Number) and isinstance(move.value, Number)):
            return 10.0
        return cost_of(entry, move.was.value, move.value.value)

    def _by(self, fact: str) -> Iterator[Change]:
        if self._others.is_powerless(fact) or self._others.decides_what_there_is(fact):
            return
        value = self.judgement.setup.facts[fact].value
        entry = self.base.vocabulary[fact]
        if entry.kind in NUMBERS:
            found = self._number(fact, float(value))
        else:
            others = self._alternatives.of(fact, entry, value)
            found = next((other for other in others if self._agrees({fact: other})), None)
        if found is None:
            return
        whole = entry.kind == COUNT or entry.kind not in NUMBERS
        exact = whole or self._is_exact(fact, value, found)
        move = move_of(self.judgement, fact, value, found)
        gives = "as good" if self._is_as_good({fact: found}) else "chosen"
        yield Change((move,), gives, EXACT if exact else SEARCHED)

    def _is_exact(self, fact: str, value: Value, found: Value) -> bool:
        return not self._agrees({fact: beside(found, found < value, whole=False)})

    def _number(self, fact: str, start: float) -> Value | None:
        scale = scale_of(self.base.vocabulary[fact])
        tests = Tests(lambda x: not self._agrees({fact: x}), lambda x: not self._agrees({fact: x}))
        ends = [
            nearest(
                start,
                self._alternatives.bounds_on(fact),
                up,
                scale,
                tests,
                computed=self._others.is_computed_from(fact),
            )
            for up in (False, True)
        ]
        found = [end.value for end in ends if isinstance(end, Found)]
        return min(found, key=lambda x: abs(x - start), default=None)

    def _agrees(self, facts: Mapping[str, Value]) -> bool:
        """Tell whether what is chosen with some facts otherwise has the named options."""
        then = self._others.advice(facts, nearest=False)
        return then.status in HOLDS and (
            then.at in self._named or not self._named.isdisjoint(then.equals)
        )

    def _is_as_good(self, facts: Mapping[str, Value]) -> bool:
        return self._others.advice(facts).at not in self._named

    @cached_property
    def _others(self) -> Otherwise:
        return Otherwise(self.judgement)

    @cached_property
    def _alternatives(self) -> Alternatives:
        return Alternatives(self._others)

    @cached_property
    def _named(self) -> frozenset[int]:
        """Return every combination that agrees with what was named."""
        return frozenset(self._agreeing())

    def _agreeing(self) -> Iterator[int]:
        grid = self.judgement.grid
        rows: list[Sequence[int]] = []
        for axis, mine in zip(self.judgement.choice.axes, grid.combination(self.at), strict=True):
            places = [axis.facts.index(name) for name in self.named if name in axis.facts]
            by_item = f"from_stock.{axis.name}" in self.named
            rows.append(
                [
                    i
                    for i, row in enumerate(axis.rows)
                    if i == mine
                    or (not by_item and all(row[p] == axis.rows[mine][p] for p in places))
                ]
            )
        for picked in product(*rows):
            at = 0
            for size, row in zip(grid.sizes, picked, strict=True):
                at = at * size + row
            yield at
