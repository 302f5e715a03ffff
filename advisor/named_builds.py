"""Naming a build by some of its options, and finding the best one that agrees."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import product

from advisor.engine.chooser import Axis
from advisor.engine.ranking import rank
from advisor.engine.values import Value, has_value
from advisor.errors import Collector, Fault, Faults, quoted
from advisor.judge import Judgement
from advisor.options import offered
from advisor.quantities import round9
from advisor.rulebase.model import RuleBase
from advisor.setups.read import FROM_STOCK, read_setup
from advisor.setups.take import NAMES
from advisor.vocabulary import NUMBERS

_PART = re.compile(r",\s*(?=[a-z][a-z0-9_]*(?:\.[a-z][a-z0-9_]*)+\s*=)")
"""What stands between two facts in one text: a comma that a fact's name and `=` follow."""

_MOST_OFFERED = 24
_OPTION = "--build"


def build_named(base: RuleBase, words: Sequence[str]) -> dict[str, Value]:
    """Read the options by which a build is named.

    Args:
        base: the rules, whose vocabulary the facts are of.
        words: each "fact=value", or several of them with commas between; a value is written as in
            a setup file, with its unit ("vane.length=2.25 in"). `from_stock.vane=NUMBER` names a
            listed vane.

    Returns:
        Values by fact, numbers in the vocabulary's unit; stock numbers by "from_stock." and group.

    Raises:
        Faults: about "usage", with every fault of all the words.
    """
    parts = [part.strip() for text in words for part in _PART.split(text)]
    try:
        read = read_setup(None, parts, base.vocabulary)
    except Faults as faults:
        raise Faults(map(_as_build, faults.faults), "usage") from None
    named = {name: given.value for name, given in read.facts.items()}
    named.update({f"{FROM_STOCK}.{group}": given.value for group, given in read.taken.items()})
    return named


def builds_named(base: RuleBase, builds: Iterable[Sequence[str]]) -> list[dict[str, Value]]:
    """Read several builds, each by its words as `build_named` does.

    Raises:
        Faults: about "usage", with every fault of all the builds.
    """
    collector = Collector("usage")
    found = []
    for words in builds:
        try:
            found.append(build_named(base, words))
        except Faults as faults:
            collector.absorb(faults)
    collector.raise_if_any()
    return found


def _as_build(fault: Fault) -> Fault:
    """Tell a fault of a stated fact as one of a named build."""
    told = (text.replace("--set", _OPTION) for text in (fault.file, fault.what, fault.help))
    file, what, remedy = told
    return Fault(file, fault.line, fault.column, what, remedy)


def find_builds(judgement: Judgement, builds: Iterable[Mapping[str, Value]]) -> list[int]:
    """Return, for each of several named builds, the best combination that agrees with it.

    Raises:
        Faults: about "usage": what was named is not offered, not chosen or agrees with no build.
    """
    collector = Collector("usage")
    finder = _Finder(judgement, collector)
    found = [finder.find(named) for named in builds]
    collector.raise_if_any()
    return [at for at in found if at is not None]


class _Finder:
    """Finds the best build that agrees with what was named, taking every fault."""

    def __init__(self, judgement: Judgement, collector: Collector) -> None:
        self.judgement = judgement
        self.collector = collector
        self.axes = judgement.choice.axes
        self.vocabulary = judgement.base.vocabulary

    def find(self, named: Mapping[str, Value]) -> int | None:
        """Return the best combination that agrees; None after a fault."""
        allowed = [set(range(len(axis.rows))) for axis in self.axes]
        before = len(self.collector)
        for name, value in named.items():
            kept = self._kept(name, value)
            if kept is not None:
                place, rows = kept
                allowed[place] &= rows
        if len(self.collector) > before:
            return None
        for axis, rows in zip(self.axes, allowed, strict=True):
            if not rows:
                self._none_agrees(axis, named)
        if len(self.collector) > before:
            return None
        return self._best(allowed)

    def _fault(self, name: str, what: str, remedy: str) -> None:
        self.collector.add(f"{_OPTION} {name}", None, None, what, remedy)

    def _kept(self, name: str, value: Value) -> tuple[int, set[int]] | None:
        """Return the place of an axis and its rows that agree; None if none is concerned."""
        if name.startswith(f"{FROM_STOCK}."):
            return self._listed(name, value)
        if name not in self.vocabulary:
            self._fault(name, *self.vocabulary.no_such(name))
            return None
        given = self.judgement.setup.facts.get(name)
        place = next((i for i, axis in enumerate(self.axes) if name in axis.facts), None)
        if given is not None and (place is None or given.value == value):
            if given.value != value:
                where = f"{given.file}:{given.line}" if given.line else given.file
                self._fault(
                    name,
                    f"{name} is {self._words(name, given.value)} in the setup ({where})",
                    "leave it out there, or compare two setups",
                )
            return None
        if place is None:
            chosen = ", ".join(fact for axis in self.axes for fact in axis.facts)
            self._fault(
                name,
                f"{name} is {self.vocabulary[name].described_origin}, not chosen here",
                f"name what is: {chosen}" if chosen else "nothing is: all of the build is given",
            )
            return None
        cells = [row[self.axes[place].facts.index(name)] for row in self.axes[place].rows]
        rows = self._agreeing(name, value, cells)
        if not rows:
            self._not_offered(name, value, offered(self.axes, name))
            return None
        return place, rows

    def _agreeing(self, name: str, value: Value, cells: Sequence[Value]) -> set[int]:
        """Return the rows of a value: those that have it, else those no measuring tells apart."""
        exact = {i for i, cell in enumerate(cells) if has_value(cell) and cell == value}
        entry = self.vocabulary[name]
        if exact or not entry.is_number or entry.tolerance is None:
            return exact
        tolerance = entry.tolerance
        return {
            i for i, x in enumerate(cells) if has_value(x) and round9(abs(x - value)) <= tolerance
        }

    def _listed(self, name: str, value: Value) -> tuple[int, set[int]] | None:
        group = name.removeprefix(f"{FROM_STOCK}.")
        said = next((said for said, of in NAMES.items() if of == group), group)
        place = next((i for i, axis in enumerate(self.axes) if axis.name == group), None)
        behind = self.judgement.choice.items.get(group, ())
        rows = {i for i, item in enumerate(behind) if item is not None and item.id == value}
        if place is not None and rows:
            return place, rows
        known = [item.id for item in behind if item is not None]
        what = f"{quoted(str(value))} is not among what is offered as {said}"
        remedy = f"offered: {_few(known)}" if known else f"no {said} is chosen here"
        self._fault(f"{FROM_STOCK}.{said}", what, remedy)
        return None

    def _words(self, name: str, value: Value) -> str:
        return self.judgement.base.words.value(name, value)

    def _not_offered(self, name: str, value: Value, values: Iterable[Value]) -> None:
        told = values if self.vocabulary[name].kind not in NUMBERS else sorted(values)
        known = [self._words(name, x) for x in told]
        self._fault(
            name,
            f"{quoted(self._words(name, value))} is not among what is offered",
            f"offered: {_few(known)}" if known else f"nothing listed tells its {name}",
        )

    def _none_agrees(self, axis: Axis, named: Mapping[str, Value]) -> None:
        """Refuse values that are offered one by one but by no listed item together."""
        about = [name for name in named if name in axis.facts]
        first = (about or [axis.name])[0]
        told = " and ".join(f"{name} {self._words(name, named[name])}" for name in about)
        rows = []
        for row in axis.rows:
            cells = [row[axis.facts.index(name)] for name in about]
            pairs = zip(about, cells, strict=True)
            if any(has_value(x) and x == named[name] for name, x in pairs):
                pairs = zip(about, cells, strict=True)
                rows.append(" with ".join(self._words(n, x) for n, x in pairs if has_value(x)))
        remedy = f"offered together: {_few(list(dict.fromkeys(rows)))}"
        if not about or len(about) == 1:
            told = told or f"that {axis.name}"
            remedy = "name it by its stock number or by its facts, not by both"
        self._fault(first, f"no {axis.name} offered agrees with {told}", remedy)

    def _best(self, allowed: Sequence[set[int]]) -> int:
        """Return the best of the combinations of some rows, the nearest if none survives."""
        grid = self.judgement.grid
        by_verdict: dict[int, list[int]] = {}
        for rows in product(*map(sorted, allowed)):
            at = 0
            for size, row in zip(grid.sizes, rows, strict=True):
                at = at * size + row
            by_verdict.setdefault(grid.verdicts[at], []).append(at)
        counts = {verdict: (verdict & grid.broken_bits).bit_count() for verdict in by_verdict}
        least = min(counts.values())
        best = {verdict: ats for verdict, ats in by_verdict.items() if counts[verdict] == least}
        return next(rank(grid, best, self.judgement.wishes))[0]


def _few(known: Sequence[str]) -> str:
    more = len(known) - _MOST_OFFERED
    return ", ".join(known[:_MOST_OFFERED]) + (f" and {more} more" if more > 0 else "")
