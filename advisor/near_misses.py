"""Near misses: rules that are silent and would fire if one number were a little otherwise."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.decision import Number
from advisor.derivation import Conclusion
from advisor.derive import ROUGH
from advisor.engine.conditions import Test, judge, tests_of
from advisor.engine.rules import Rule
from advisor.engine.run import SILENT, defeats
from advisor.engine.values import YES, Value
from advisor.findings import Shortfall
from advisor.judge import Judgement
from advisor.needs import Needs
from advisor.quantities import round9
from advisor.reviewing import NearMiss
from advisor.rulebase.model import RuleEntry
from advisor.why_not_rule import Shortfalls

MOST = 12
_WARNS = ("stop", "caution")


def near_misses(judgement: Judgement, most: int = MOST) -> tuple[NearMiss, ...]:
    """Return the rules nearest to firing on the chosen (or nearest) build, the nearest first.

    Only rules that could matter count, those that demand, stop or caution, and only those that need
    no more than one number to be otherwise: with it moved by itself to the value that is told, and
    everything else as it is, the rule fires; with the number just before that it does not. One that
    is computed is moved as if it had been stated.

    Args:
        judgement: of the setup.
        most: how many to return.
    """
    return _NearMisses(judgement).all()[:most]


class _NearMisses:
    def __init__(self, judgement: Judgement) -> None:
        self.base = judgement.base
        self.run = judgement.run
        self.words = judgement.base.words
        self.needs = Needs(judgement.base.vocabulary, judgement.run.value)
        self.told = Shortfalls(judgement, judgement.run)

    def all(self) -> tuple[NearMiss, ...]:
        found = []
        for entry in self.base.entries.values():
            if self.run.status(entry.id) == SILENT and _matters(entry):
                shortfall = self._nearest(entry)
                if shortfall is not None:
                    found.append(self._miss(entry, shortfall))
        return tuple(sorted(found, key=lambda miss: (miss.reach, miss.rule)))

    def _nearest(self, entry: RuleEntry) -> Shortfall | None:
        """Return the nearest number with which the rule would fire, if one is enough."""
        edges = [
            (self._reach(fact, x), fact, x, test)
            for test, fact, x in self._edges(entry.rule)
            if x != self.run.value(fact)
        ]
        # Which test is named first decides between equals, so that the answer is always the same.
        for _, fact, x, test in sorted(edges, key=lambda edge: edge[:3]):
            if self._fires(entry.rule, fact, x):
                return self._shortfall(entry.rule, fact, x, test)
        return None

    def _edges(self, rule: Rule) -> Iterator[tuple[Test, str, float]]:
        """Yield every value of a number at which some test of a rule begins to hold, or to fail.

        The nearest with which the rule fires is among them, for just before it something differs.
        """
        for node in (rule.when, rule.unless):
            for test in () if node is None else tests_of(node):
                ways = [way for want in (True, False) for way in self.needs.ways(test, want)]
                for fact in test.facts():
                    if isinstance(self.told.shown(fact, self.run.value(fact)), Number):
                        for need in (way[fact] for way in ways if fact in way):
                            for x in {x for ends in need.intervals or () for x in ends}:
                                yield test, fact, x

    def _fires(self, rule: Rule, fact: str, x: float) -> bool:
        """Tell whether a rule fires with one number otherwise."""
        values = list(self.run.values)
        values[self.base.table.slot[fact]] = x
        fires = rule.when is None or judge(rule.when, self.base.table, values).outcome == YES
        return fires and (
            rule.unless is None or judge(rule.unless, self.base.table, values).outcome != YES
        )

    def _shortfall(self, rule: Rule, fact: str, x: float, test: Test) -> Shortfall:
        unit = self.base.vocabulary[fact].unit
        value = self.run.value(fact)
        return Shortfall(
            self._asked(rule, fact, test),
            fact,
            Number(value, unit),
            Number(x, unit),
            Number(round9(x - value), unit),
            self.told.origins.fact(fact),
        )

    def _asked(self, rule: Rule, fact: str, test: Test) -> str:
        """Say what falls short: all that is asked of the fact in one place, or else the test."""
        short = () if rule.when is None else self.told.of(rule.when, want=True)
        if not short and rule.unless is not None:
            short = self.told.of(rule.unless, want=False)
        said = (one.test for one in short if one.fact == fact)
        return next(said, self.words.condition(test))

    def _reach(self, fact: str, x: float) -> float:
        value = self.run.value(fact)
        unit = self.base.vocabulary[fact].tolerance or abs(value) / 100.0 or 1.0
        return float(abs(round9(x - value)) / unit)

    def _miss(self, entry: RuleEntry, shortfall: Shortfall) -> NearMiss:
        fact = self.base.vocabulary[shortfall.fact]
        program = self.base.program
        winners = [program.rules[w].id for w in program.overriders[program.place[entry.id]]]
        needed = shortfall.needed
        assert isinstance(needed, Number)
        return NearMiss(
            entry.id,
            entry.says,
            self._filled(entry.because, shortfall),
            tuple(self._asks(entry, shortfall)),
            shortfall,
            self._reach(shortfall.fact, needed.value),
            None if fact.tolerance is None else Number(fact.tolerance, fact.unit),
            tuple(winner for winner in winners if self._beats(winner, entry)),
        )

    def _beats(self, winner: str, loser: RuleEntry) -> bool:
        run = self.run
        return run.stands(winner) and defeats(run.status(winner), bool(loser.rule.stop))

    def _asks(self, entry: RuleEntry, shortfall: Shortfall) -> list[Conclusion]:
        """Return what the rule would add: its demands first, then what it warns of."""
        asks = [
            Conclusion(demand.strength.replace("_", " "), self.words.demand(demand))
            for demand in entry.rule.demands
        ]
        return asks + [
            Conclusion(caution.level, self._filled(caution.text, shortfall))
            for caution in entry.cautions
        ]

    def _filled(self, text: str, shortfall: Shortfall) -> str:
        """Fill in the facts as they would be: with those that are, a warning would not be true."""

        def value(fact: str) -> Value:
            needed = shortfall.needed
            if fact == shortfall.fact and isinstance(needed, Number):
                return needed.value
            return self.run.value(fact)

        return self.words.text(text, value, ROUGH)


def _matters(entry: RuleEntry) -> bool:
    """Tell whether a rule demands something, or warns with more than a note."""
    return bool(entry.rule.demands) or any(c.level in _WARNS for c in entry.cautions)
