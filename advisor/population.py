"""A population of setups: who comes to the bench how often, as a person estimates it.

A population declares for each fact how its values are spread, and how many setups state it at all.
Facts are drawn independently of each other; `because` says so, and what the estimate rests on.
Every fact is drawn from the seed and its own name, so that what else is drawn changes nothing.
"""

from __future__ import annotations

import os
import random
from collections.abc import Mapping
from itertools import accumulate, product
from math import isfinite
from typing import Any, NamedTuple

from advisor.engine.values import CONCLUDED, GIVEN, Value
from advisor.errors import Collector, Faults, quoted
from advisor.quantities import round9
from advisor.rulebase.locate import shipped
from advisor.vocabulary import CHOICE, COUNT, FLAG, FactEntry, UnfitError, Vocabulary, show

MOST_LEVELS = 5000
"""How many values a fact may have between two bounds."""

_EXACT = 1e-9
_STEPS = 100
_MOST_SEVERAL = 8
_MOST_TOLD = 6


class Spread(NamedTuple):
    """How one fact is spread: its values with a weight each, and the share that states it.

    The weights add up to 1. For a fact with several values each value is one combination of them;
    an empty one is not stated.
    """

    values: tuple[Value, ...]
    weights: tuple[float, ...]
    stated: float = 1.0


class Population(NamedTuple):
    """A declared population; facts that it does not name are not stated."""

    name: str
    because: str
    facts: Mapping[str, Spread]
    file: str = ""

    @property
    def always(self) -> frozenset[str]:
        """Return the facts that every setup states."""
        return frozenset(name for name, spread in self.facts.items() if spread.stated >= 1.0)


def usual_file() -> str:
    """Return the population that ships with the program."""
    return os.path.join(shipped(), "populations", "usual.yaml")


def read_population(path: str, words: Vocabulary, text: str | None = None) -> Population:
    """Read a population against a vocabulary.

    Args:
        path: of the YAML file.
        words: the vocabulary its facts are of; quantities are read in its units.
        text: what stands in the file, if it was read already.

    Raises:
        Faults: everything that is wrong with it, each with line, column and remedy.
    """
    from advisor.documents import check_schema, read_document
    from advisor.rulebase import schemas

    collector = Collector("usage")
    document = read_document(path, text, about="usage")
    if not check_schema(document, schemas.population(), collector):
        data = document.data
        named = data.get("facts") if isinstance(data, dict) else None
        for name in named if isinstance(named, dict) else ():
            _SpreadReader(document, name, {}, words, collector).is_known()
        raise Faults(collector.faults, "usage")
    facts: dict[str, Spread] = {}
    for name, raw in document.data["facts"].items():
        reader = _SpreadReader(document, name, raw, words, collector)
        spread = reader.read()
        if spread is not None:
            facts[name] = spread
    collector.raise_if_any()
    because = " ".join(document.data["because"].split())
    return Population(document.data["population"], because, facts, path)


class _SpreadReader:
    """Reads how one fact is spread, taking every fault."""

    def __init__(
        self, document: Any, name: str, raw: Mapping[str, Any], words: Vocabulary, faults: Collector
    ) -> None:
        self.document = document
        self.name = name
        self.raw = raw
        self.words = words
        self.faults = faults

    def is_known(self) -> bool:
        """Tell whether setups can state the fact, with a fault if not."""
        if self.name not in self.words:
            what, remedy = self.words.no_such(self.name)
            self._fault((), what, remedy, key=True)
            return False
        if self.words[self.name].origin == CONCLUDED:
            what = f"{self.name} is concluded by rules; no setup states it"
            self._fault((), what, "leave it out", key=True)
            return False
        return True

    def read(self) -> Spread | None:
        """Return how the fact is spread, or None with the faults told."""
        if not self.is_known():
            return None
        self.entry = self.words[self.name]
        ways = [way for way in ("choices", "values", "between", "share") if way in self.raw]
        if len(ways) != 1:
            told = " and ".join(ways) if ways else "nothing"
            what = f"{self.name} is spread by {told}"
            self._fault((), what, "give one of choices, values, between or share", key=True)
            return None
        if "step" in self.raw and ways != ["between"]:
            self._fault(("step",), "a step goes with `between`", "leave it out", key=True)
            return None
        if not self._has_numbers_only():
            return None
        before = len(self.faults)
        found = {
            "choices": self._choices,
            "values": self._values,
            "between": self._between,
            "share": self._share,
        }[ways[0]]()
        if found is None or len(self.faults) != before:
            return None
        values, weights = found
        total = sum(weights)
        if total <= 0 or not isfinite(total):
            told = f"no value of {self.name} has any weight"
            if total > 0:
                told = f"the values of {self.name} weigh more than a number can hold"
            self._fault((ways[0],), told, "give each a weight, such as 1")
            return None
        stated = float(self.raw.get("stated", 1.0))
        return Spread(tuple(values), tuple(weight / total for weight in weights), stated)

    def _has_numbers_only(self) -> bool:
        """Tell whether every weight and share is a number, with a fault for each that is none."""
        named: list[tuple[tuple[str | int, ...], Any]] = [
            *((("choices", name), weight) for name, weight in self.raw.get("choices", {}).items()),
            *((("weights", i), weight) for i, weight in enumerate(self.raw.get("weights", ()))),
            *(((part,), self.raw[part]) for part in ("share", "stated") if part in self.raw),
        ]
        bad = [(path, number) for path, number in named if not isfinite(number)]
        for path, number in bad:
            remedy = "write a number, such as 0.5"
            self._fault(path, f"{quoted(show(number))} is no share and no weight", remedy)
        return not bad

    def _fault(
        self, path: tuple[str | int, ...], what: str, remedy: str, *, key: bool = False
    ) -> None:
        where = self.document.where_key if key else self.document.where
        line, column = where("facts", self.name, *path)
        self.faults.add(self.document.path, line, column, what, remedy)

    def _one(self, raw: Any, path: tuple[str | int, ...], *, key: bool = False) -> Value:
        try:
            return self.entry.read(raw)
        except UnfitError as fault:
            self._fault(path, fault.what, fault.help, key=key)
            return None

    def _choices(self) -> tuple[list[Value], list[float]] | None:
        if self.entry.kind != CHOICE:
            what = f"{self.name} has no choices"
            self._fault(("choices",), what, self._due(), key=True)
            return None
        shares: dict[str, float] = {}
        for name, weight in self.raw["choices"].items():
            value = self._one(name, ("choices", name), key=True)
            if value is not None:
                shares[name] = float(weight)
        if not self.entry.several:
            return list(shares), list(shares.values())
        for name, share in shares.items():
            if share > 1:
                what = f"{show(share)} is no share: {name} is in so many of all setups"
                self._fault(("choices", name), what, "write a share from 0 to 1")
        return _combinations({n: shares[n] for n in self.entry.choices if n in shares})

    def _values(self) -> tuple[list[Value], list[float]] | None:
        if self.entry.several:
            what = f"{self.name} takes several values"
            self._fault(("values",), what, self._due(), key=True)
            return None
        listed = self.raw["values"]
        values = [self._one(raw, ("values", i)) for i, raw in enumerate(listed)]
        weights = [float(w) for w in self.raw.get("weights", [1.0] * len(listed))]
        if len(weights) != len(values):
            few = len(weights) == 1
            told = f"there {'is' if few else 'are'} {len(weights)} weight{'' if few else 's'}"
            what = f"{told} for {len(values)} value{'' if len(values) == 1 else 's'}"
            self._fault(("weights",), what, "give one weight for each value", key=True)
            return None
        return values, weights

    def _between(self) -> tuple[list[Value], list[float]] | None:
        if not self.entry.is_number:
            what = f"{self.name} is no number"
            self._fault(("between",), what, self._due(), key=True)
            return None
        low, high = (self._one(raw, ("between", i)) for i, raw in enumerate(self.raw["between"]))
        if "step" not in self.raw:
            what = f"{self.name} is spread between two bounds without a step"
            self._fault(("between",), what, "add a step, such as the tolerance", key=True)
            return None
        step = self._step()
        if low is None or high is None or step is None:
            return None
        if low > high:
            self._fault(("between",), "the bounds are the wrong way round", "the lower one first")
            return None
        count = int((high - low) / step + _EXACT) + 1
        if step <= 0 or count > MOST_LEVELS:
            what = f"the step makes {count} values of {self.name}"
            self._fault(("step",), what, f"take a wider one: at most {MOST_LEVELS} values")
            return None
        whole = self.entry.kind == "count"
        made = [round9(low + i * step) for i in range(count)]
        return [int(x) if whole else x for x in made], [1.0] * count

    def _step(self) -> float | None:
        """Read the step: a quantity like the fact's, which its range does not bind."""
        try:
            step = self.entry.read(self.raw["step"], in_rule=True)
        except UnfitError as fault:
            self._fault(("step",), fault.what, fault.help)
            return None
        if step <= 0:
            self._fault(("step",), f"{quoted(show(self.raw['step']))} is no step", "write one > 0")
            return None
        return float(step)

    def _share(self) -> tuple[list[Value], list[float]] | None:
        if self.entry.kind != FLAG:
            what = f"{self.name} is no flag"
            self._fault(("share",), what, self._due(), key=True)
            return None
        share = float(self.raw["share"])
        return [False, True], [1.0 - share, share]

    def _due(self) -> str:
        entry = self.entry
        if entry.kind == CHOICE:
            return "give `choices`, each with its weight"
        if entry.kind == FLAG:
            return "give `share`, of those where it is so"
        return "give `between` with a step, or `values`" if entry.is_number else "give `values`"


def _combinations(shares: Mapping[str, float]) -> tuple[list[Value], list[float]]:
    """Return every combination of values that are drawn one by one, with its weight."""
    values: list[Value] = []
    weights: list[float] = []
    for chosen in product((False, True), repeat=len(shares)):
        weight = 1.0
        for share, is_in in zip(shares.values(), chosen, strict=True):
            weight *= share if is_in else 1.0 - share
        if weight > 0:
            values.append(tuple(n for n, is_in in zip(shares, chosen, strict=True) if is_in))
            weights.append(weight)
    return values, weights


def cumulated(spread: Spread) -> list[float]:
    """Return the upper end of each value's part of the way from 0 to 1."""
    return list(accumulate(spread.weights))


def sample(population: Population, seed: int, count: int) -> list[dict[str, Value]]:
    """Draw some setups one by one: what each states, by fact."""
    found: list[dict[str, Value]] = [{} for _ in range(count)]
    for name, spread in population.facts.items():
        # Drawn by name, so that what else a population declares changes nothing.
        source = random.Random(f"{seed} {name}")  # noqa: S311 - a sample is no secret
        for setup in found:
            states = source.random() < spread.stated
            (value,) = source.choices(spread.values, spread.weights)
            if states and value != ():
                setup[name] = value
    return found


def even_population(words: Vocabulary) -> Population:
    """Return a population for any vocabulary: half the setups state a fact, all its values alike.

    Texts are left out: there is no telling what they could say.
    """
    facts = {}
    for name in words.of_origin(GIVEN):
        values = _even_values(words[name])
        if values:
            weights = (1.0 / len(values),) * len(values)
            facts[name] = Spread(tuple(values), weights, 0.5)
    because = "Made up: every fact is stated by half the setups, and all its values are as likely."
    return Population("even", because, facts)


def _even_values(entry: FactEntry) -> list[Value]:
    if entry.kind == FLAG:
        return [False, True]
    if entry.kind == CHOICE:
        if not entry.several:
            return list(entry.choices)
        few = list(entry.choices)[:_MOST_SEVERAL]
        return [value for value in _combinations(dict.fromkeys(few, 0.5))[0] if value]
    if entry.low is None or entry.high is None:
        return []
    if entry.kind == COUNT:
        return list(range(int(entry.low), min(int(entry.high), int(entry.low) + _STEPS) + 1))
    span = entry.high - entry.low
    return list(dict.fromkeys(round9(entry.low + span * i / _STEPS) for i in range(_STEPS + 1)))


def usual_population(words: Vocabulary) -> tuple[Population, list[str]]:
    """Return the shipped population as far as a vocabulary takes it, and what was done to it.

    Values that the vocabulary does not take are left out of it, and facts that it does not have; if
    it has none of them, the population is an even one.
    """
    path = usual_file()
    try:
        return read_population(path, words), []
    except Faults:
        pass
    from advisor.documents import read_document

    document = read_document(path, about="usage")
    facts: dict[str, Spread] = {}
    left_out: list[str] = []
    for name, raw in document.data["facts"].items():
        some, without = _fitting(document, name, raw, words)
        if some is not None:
            facts[name] = some
        left_out += without
    used = Population(document.data["population"], " ".join(document.data["because"].split()), {})
    if not facts:
        hint = (
            f"the population `{used.name}` states nothing that these rules know; an even one was "
            "taken"
        )
        return even_population(words), [hint]
    more = len(left_out) - _MOST_TOLD
    told = ", ".join(left_out[:_MOST_TOLD]) + (f" and {more} more" if more > 0 else "")
    hint = f"of the population `{used.name}` is left out what neither takes: {told}"
    return used._replace(facts=facts, file=path), [hint]


def _fitting(
    document: Any, name: str, raw: Mapping[str, Any], words: Vocabulary
) -> tuple[Spread | None, list[str]]:
    """Return how a fact is spread over what its vocabulary takes, and what was left out of it."""

    def read(part: Mapping[str, Any]) -> Spread | None:
        return _SpreadReader(document, name, part, words, Collector("usage")).read()

    whole = read(raw)
    if whole is not None:
        return whole, []
    if name not in words:
        return None, [name]
    listed = "choices" if "choices" in raw else "values" if "values" in raw else ""
    kept: dict[str, Any] = {**raw, listed: {} if listed == "choices" else [], "weights": []}
    gone: list[str] = []
    weights = raw.get("weights") or [1.0] * len(raw.get(listed, ()))
    for i, value in enumerate(raw.get(listed, ())):
        weight = raw[listed][value] if listed == "choices" else weights[i]
        single = {listed: {value: 1.0} if listed == "choices" else [value]}
        if read(single) is None:
            gone.append(f"{name} {show(value)}")
        elif listed == "choices":
            kept[listed][value] = weight
        else:
            kept[listed].append(value)
            kept["weights"].append(weight)
    if listed == "choices":
        del kept["weights"]
    fitting = read(kept) if listed else None
    return fitting, [name] if fitting is None else gone
