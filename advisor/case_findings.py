"""What the cases of a rule base prove: what they exercise, and which changes they would notice.

Leaves over the Decision and the findings: frozen data that imports nothing else of ours.
Percentages are of 100, numbers exact in the unit beside them, texts ready to show.
"""

from collections.abc import Mapping
from typing import NamedTuple

from advisor.decision import RuleBaseName
from advisor.findings import Move

FORMAT = 1

STATE, FAILING, HOLDING, BOUND, EXCEPTION, OVERRIDE = (
    "state",
    "only-one-failing",
    "only-one-holding",
    "bound",
    "exception",
    "override",
)
"""What coverage asks for: that a rule was seen fired, silent and undecided; that each condition was
the only one failing, and each alternative the only one holding; that each bound was met closely
from both sides; that each exception held; that each override set its rule aside."""

COVERED = (STATE, FAILING, HOLDING, BOUND, EXCEPTION, OVERRIDE)


class Tally(NamedTuple):
    """How many of how many."""

    of: int
    seen: int

    @property
    def percent(self) -> float:
        """Return the share that was seen, in percent; of nothing it is all."""
        return 100.0 if not self.of else round(100.0 * self.seen / self.of, 2)


class Item(NamedTuple):
    """One thing that coverage asks for: `what` says it of the rule; `case` is the first to show it.

    Without a case it is missing.
    """

    rule: str
    kind: str
    what: str
    case: str = ""


class RuleCovered(NamedTuple):
    """In how many cases a rule fired, stayed silent, stayed undecided; and its items."""

    rule: str
    file: str
    line: int
    fired: int
    silent: int
    undecided: int
    items: tuple[Item, ...]

    @property
    def missing(self) -> tuple[Item, ...]:
        """Return what no case shows."""
        return tuple(item for item in self.items if not item.case)


class Coverage(NamedTuple):
    """What the cases of a rule base's top layer exercise of its rules."""

    rulebase: RuleBaseName
    cases: int
    total: Tally
    kinds: Mapping[str, Tally]
    rules: tuple[RuleCovered, ...]
    format: int = FORMAT

    @property
    def missing(self) -> tuple[Item, ...]:
        """Return what no case shows, rule by rule."""
        return tuple(item for rule in self.rules for item in rule.missing)


class Gate(NamedTuple):
    """Whether a share is large enough, and what is missing if not."""

    least: float  # percent asked for
    percent: float
    passes: bool
    missing: tuple[str, ...]


MOVED, DROPPED, NEGATED, NO_EXCEPTION, NO_OVERRIDE, STRENGTH, CHOICE = (
    "bound moved",
    "condition dropped",
    "condition negated",
    "exception dropped",
    "override dropped",
    "strength swapped",
    "choice changed",
)
"""How a rule is changed to see whether a case notices."""

CHANGED = (MOVED, DROPPED, NEGATED, NO_EXCEPTION, NO_OVERRIDE, STRENGTH, CHOICE)


class Differs(NamedTuple):
    """One thing that a rule base and its mutant say of a setup, each in words."""

    what: str
    original: str
    mutant: str


class Proposal(NamedTuple):
    """The case that one would have to write to notice a change.

    It begins with the setup of the case `start`, changed by `moves`; `setup` is the whole of it as
    its file has it, and a stock is that of the start. `expect` holds what the rules as they are
    say of it, to be kept if it is right; under the mutant that case fails. A fact stands behind
    the section that holds it: `build vane.length`.
    """

    start: str
    moves: tuple[Move, ...]
    setup: Mapping[str, str]
    own_stock: bool
    expect: Mapping[str, tuple[str, ...]]
    differs: tuple[Differs, ...]


class Killed(NamedTuple):
    """A mutant that a case noticed: which, and what did not hold there."""

    mutant: str
    kind: str
    rule: str
    case: str
    problem: str
    tried: int  # cases run until one noticed


class Survivor(NamedTuple):
    """A mutant that no case noticed; without a proposal none was found."""

    mutant: str
    kind: str
    rule: str
    file: str
    line: int
    tried: int
    proposal: Proposal | None = None


class Mutation(NamedTuple):
    """How many small changes of the rules the cases notice.

    `share` is how many of all mutants were tried, from 0 to 1. `unfit` are cases that do not hold
    under the rules as they are, so that they can prove nothing.
    """

    rulebase: RuleBaseName
    cases: int
    share: float
    total: Tally
    kinds: Mapping[str, Tally]
    killed: tuple[Killed, ...]
    survivors: tuple[Survivor, ...]
    unfit: tuple[str, ...] = ()
    format: int = FORMAT
