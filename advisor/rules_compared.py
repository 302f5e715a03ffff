"""What comparing two versions of a rule base tells: frozen data that travels through JSON."""

from collections.abc import Mapping
from typing import NamedTuple

from advisor.decision import FactValue, RuleBaseName

FORMAT = 1

ADDED, RETIRED, CHANGED, REWORDED, RENAMED = (
    "added",
    "retired",
    "changed",
    "reworded",
    "renamed",
)
"""What became of a rule. A reworded one concludes the same on the same setups in other words."""

BY_STRUCTURE, BY_PROOF, NO_DIFFERENCE_FOUND, DIFFERS, NOT_LOOKED_AT = (
    "same-by-structure",
    "same-by-proof",
    "no-difference-found",
    "differs",
    "not-looked-at",
)
"""What is known of some advice. By structure: everything it comes from is the same but for names
and order. By proof: a solver found no setup of the declared domain on which it differs. No
difference found: in so many setups that were tried, which proves nothing."""

SETUP, BUILD = "setup", "build"
"""Whether a conclusion is the same for all builds of a setup, or waits for the build."""


class RulePlace(NamedTuple):
    """A rule and where it stands; `file` is named by its layer."""

    rule: str
    file: str
    line: int


class Change(NamedTuple):
    """One thing that is otherwise in a rule: its kind, and the whole in a sentence.

    `before` and `after` are there where a single value became another, in the fact's unit.
    """

    kind: str
    says: str
    fact: str = ""
    before: FactValue | None = None
    after: FactValue | None = None


class ComparedRule(NamedTuple):
    """A rule of which something is otherwise; `words` names the parts that were only reworded."""

    rule: str
    what: str
    says: str
    old: RulePlace | None = None
    new: RulePlace | None = None
    replaces: bool = False
    changes: tuple[Change, ...] = ()
    words: tuple[str, ...] = ()


class Said(NamedTuple):
    """What a rule base concludes on a setup, and the rules that say so."""

    says: str
    rules: tuple[RulePlace, ...] = ()


class Witness(NamedTuple):
    """A setup on which both engines were run: what it states, and what each concluded there.

    Only what differs is told. `builds` tells whether whole builds were chosen for it.
    """

    setup: Mapping[str, FactValue]
    old: tuple[Said, ...]
    new: tuple[Said, ...]
    builds: bool = False


class Topic(NamedTuple):
    """Advice about one thing: the fact asked for or concluded, or cautions, stops, steps.

    `changed` counts setups of the population (`of` so many) on which it differs, `opened` those on
    which only that differs which undecided rules could still conclude.
    """

    topic: str
    needs: str
    known: str
    changed: int = 0
    opened: int = 0
    of: int = 0
    witness: Witness | None = None
    free: tuple[str, ...] = ()  # computed facts that a proof took for free within their range


class Share(NamedTuple):
    """A share of the population with its interval of 95 %; ends 0 to 1.

    The interval (Wilson's) is what drawing by chance leaves open; that the population is an
    estimate is not in it.
    """

    changed: int
    of: int
    low: float
    high: float


class BuildTopic(NamedTuple):
    """What of chosen builds differs: an option, the verdict, cautions, steps, a concluded fact."""

    topic: str
    share: Share
    witness: Witness | None = None


class PopulationUse(NamedTuple):
    """Which setups were looked at: how many were drawn, and how many of them were left out."""

    name: str
    because: str
    seed: int
    drawn: int = 0
    outside: int = 0  # of the domain or of what both can read, or the head is to be chosen


class RulesComparison(NamedTuple):
    """Two versions of a rule base, compared by what they mean.

    `setup` and `build` tell what is known of conclusions that need no build, and of chosen builds.
    `share` is that of setups on which a conclusion that needs no build differs, `opened` that of
    others on which only that differs which undecided rules could still conclude.
    """

    old: RuleBaseName
    new: RuleBaseName
    rules: tuple[ComparedRule, ...]
    vocabulary: tuple[Change, ...]
    setup: str
    build: str
    topics: tuple[Topic, ...]
    builds: tuple[BuildTopic, ...]
    population: PopulationUse | None = None
    share: Share | None = None
    opened: Share | None = None
    build_share: Share | None = None
    hints: tuple[str, ...] = ()
    format: int = FORMAT

    @property
    def exit_status(self) -> int:
        """The exit status of a command that ends with this: 1 if advice differs, else 0."""
        return 1 if DIFFERS in (self.setup, self.build) else 0
