"""What a rule base is once read: rules with their words, sources, layers and identity."""

import os
from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any, NamedTuple

from advisor.engine.conditions import Node, tests_of
from advisor.engine.program import Program
from advisor.engine.rules import Rule
from advisor.engine.values import CONCLUDED, FactTable
from advisor.setups.model import Stock
from advisor.vocabulary import Assumption, Vocabulary, named_in
from advisor.words import Words

_WEIGHT = {"stop": 64, "must": 16, "must_not": 16, "should": 4, "should_not": 4}

PHASES = ("prepare", "set-up", "bond", "cure", "verify", "shoot", "care")
LEVELS = ("stop", "caution", "note")
EVIDENCE = ("published", "derived", "common-practice", "house")

PROVABLE = (
    "never-fires",
    "never-matters",
    "always-set-aside",
    "exception-never-holds",
    "open-tie",
    "no-build",
)
ACCEPTABLE = (
    *PROVABLE,
    "threshold-outside-range",
    "contradictory-bounds",
    "near-duplicate",
    "demand-nothing-meets",
    "carries-more-than-it-should",
    "should-overrides-stop",
    "dropped-override",
)
"""What a check may find about a rule, and a rule may accept; some of it only by proof."""


class Source(NamedTuple):
    """One entry of the bibliography."""

    id: str
    author: str
    title: str
    year: str
    where: str
    from_memory: bool
    note: str


class Evidence(NamedTuple):
    """What a rule rests on."""

    kind: str
    source: str = ""
    place: str = ""
    function: str = ""
    note: str = ""


class Contest(NamedTuple):
    """Another kind of evidence that disagrees with the rule."""

    by: str
    note: str


class CautionText(NamedTuple):
    """A warning; its text may name facts in braces."""

    level: str
    text: str


class StepText(NamedTuple):
    """Something to do at the bench; `after` names rules whose steps come first."""

    phase: str
    text: str
    after: tuple[str, ...]


class Acceptance(NamedTuple):
    """A finding of a check that is meant so; `others` narrows it to findings with these rules."""

    finding: str
    because: str
    others: tuple[str, ...] = ()


class RuleEntry(NamedTuple):
    """A rule with its words and its place."""

    rule: Rule
    says: str
    because: str
    evidence: Evidence
    contested: Contest | None
    cautions: tuple[CautionText, ...]
    steps: tuple[StepText, ...]
    layer: str
    file: str
    line: int
    replaces: str
    source: Mapping[str, Any]
    accepts: tuple[Acceptance, ...] = ()
    dropped: tuple[str, ...] = ()  # what the rule it replaces overrode, and it does not

    @property
    def id(self) -> str:
        """Return the rule's name."""
        return self.rule.id


def _title(source: Source) -> str:
    return ", ".join(part for part in (source.author, source.title, source.year) if part)


class Retired(NamedTuple):
    """A rule that a higher layer took out of use."""

    rule: str
    says: str
    because: str
    by: str
    replacement: str = ""
    warned: bool = False  # whether it was a stop or a caution


class Layer(NamedTuple):
    """One rule base of a stack, as its manifest names it."""

    name: str
    version: str
    says: str
    folder: str


class RuleBase:
    """A stack of layers, read and checked, lowest layer first."""

    def __init__(
        self,
        *,
        layers: tuple[Layer, ...],
        vocabulary: Vocabulary,
        table: FactTable,
        program: Program,
        entries: tuple[RuleEntry, ...],
        sources: Mapping[str, Source],
        favours: tuple[str, ...],
        assume: Mapping[str, Assumption],
        retired: tuple[Retired, ...],
        digest: str,
        ladder: Stock,
        domain: tuple[Node, ...] = (),
    ) -> None:
        self.layers = layers
        self.vocabulary = vocabulary
        self.table = table
        self.program = program
        self.entries: dict[str, RuleEntry] = {entry.id: entry for entry in entries}
        self.sources = sources
        self.favours = favours
        self.assume = assume
        self.retired = retired
        self.titles: dict[str, str] = {source: _title(sources[source]) for source in sources}
        self.digest = digest
        self.ladder = ladder
        self.domain = domain
        """What no setup breaks, for proofs; nothing else reads it."""

    @cached_property
    def words(self) -> Words:
        """Return what puts facts and demands of this rule base into words."""
        return Words(self.vocabulary)

    def bounds_on(self, fact: str) -> frozenset[float]:
        """Return the numbers that rules compare a fact with."""
        return self._bounds.get(fact, frozenset())

    @cached_property
    def _bounds(self) -> dict[str, frozenset[float]]:
        found: dict[str, set[float]] = {}
        for entry in self.entries.values():
            rule = entry.rule
            nodes = (rule.when, rule.unless, *(demand.test for demand in rule.demands))
            for test in (t for node in nodes if node is not None for t in tests_of(node)):
                if isinstance(test.operand, (int, float)) and not isinstance(test.operand, bool):
                    found.setdefault(test.fact, set()).add(float(test.operand))
        return {fact: frozenset(numbers) for fact, numbers in found.items()}

    @cached_property
    def named_in_texts(self) -> frozenset[str]:
        """Return the facts that cautions, steps and reasons name in braces."""
        texts = [
            text
            for entry in self.entries.values()
            for text in (
                entry.because,
                *(caution.text for caution in entry.cautions),
                *(step.text for step in entry.steps),
            )
        ]
        return frozenset(named_in(" ".join(texts)))

    @cached_property
    def weights(self) -> dict[str, int]:
        """Return how much hangs on each rule: what it asks, or what it could set aside."""
        found: dict[str, int] = {}

        def weigh(rule: Rule) -> int:
            weight = found.get(rule.id)
            if weight is None:
                own = sum(_WEIGHT[demand.strength] for demand in rule.demands)
                own += _WEIGHT["stop"] if rule.stop else 0
                own += 2 if rule.favour is not None else 0
                beaten = [
                    weigh(self.entries[other].rule)
                    for other in rule.overrides
                    if other in self.entries
                ]
                weight = found[rule.id] = max([own + 1, *beaten])
            return weight

        for entry in self.entries.values():
            weigh(entry.rule)
        return found

    @cached_property
    def turn_by_weight(self) -> dict[str, int]:
        """Return the place of each rule among all, those first on which most hangs."""
        ordered = sorted(self.entries, key=lambda rule_id: (-self.weights[rule_id], rule_id))
        return {rule_id: turn for turn, rule_id in enumerate(ordered)}

    @cached_property
    def labels(self) -> dict[str, str]:
        """Return what the facts are called in words, by name."""
        return {name: entry.label for name, entry in self.vocabulary.entries.items() if entry.label}

    @cached_property
    def open_slots(self) -> tuple[tuple[int, int], ...]:
        """Return the slots of all that is not concluded, each with that of its `stated` flag."""
        table = self.table
        return tuple(
            (table.slot[name], table.stated_slot(name))
            for name, entry in self.vocabulary.entries.items()
            if entry.origin != CONCLUDED
        )

    @cached_property
    def cautioning(self) -> int:
        """Return the rules that have cautions, as bits by their place."""
        return self._having(lambda entry: bool(entry.cautions))

    @cached_property
    def stepping(self) -> int:
        """Return the rules that have steps, as bits by their place."""
        return self._having(lambda entry: bool(entry.steps))

    def _having(self, has: Callable[[RuleEntry], bool]) -> int:
        place = self.program.place
        return sum(1 << place[entry.id] for entry in self.entries.values() if has(entry))

    def file_words(self, file: str) -> str:
        """Name a file of the rules by its layer, and any other as the user wrote it."""
        folder, name = os.path.split(file)
        layers = {os.path.normpath(layer.folder): layer.name for layer in self.layers}
        layer = layers.get(os.path.normpath(folder))
        return file if layer is None else f"{layer}/{name}"

    @property
    def name(self) -> str:
        """Return the name of the top layer."""
        return self.layers[-1].name

    @property
    def version(self) -> str:
        """Return the version of the top layer."""
        return self.layers[-1].version
