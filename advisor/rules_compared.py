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
"""What became of a rule. A reworded one stands and concludes on the same setups in other words;
texts of cautions and steps are advice all the same."""

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

STATED = "what can be stated"
"""The topic of setups that one of both refuses."""

FAVOURS = "order of favours"
"""The topic of which favour is weighed before which; what that comes to, chosen builds tell."""

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


class ComparedText(NamedTuple):
    """A text that took another's place in a rule; `sort` is a caution's level or a step's phase."""

    what: str  # caution, step
    sort: str
    old: str
    new: str


class ComparedRule(NamedTuple):
    """A rule of which something is otherwise.

    `words` names the parts that were only reworded, and `texts` holds what people read of it as
    advice in its old words and in its new ones: cautions, stops and steps.
    """

    rule: str
    what: str
    says: str
    old: RulePlace | None = None
    new: RulePlace | None = None
    replaces: bool = False
    changes: tuple[Change, ...] = ()
    words: tuple[str, ...] = ()
    texts: tuple[ComparedText, ...] = ()


class Said(NamedTuple):
    """What a rule base concludes on a setup, and the rules that say so."""

    says: str
    rules: tuple[RulePlace, ...] = ()


class Witness(NamedTuple):
    """A setup on which both engines were run: what it states, and what each concluded there.

    Only what differs is told. `builds` tells whether whole builds were chosen for it, `undecided`
    that only that differs which undecided rules could still conclude.
    """

    setup: Mapping[str, FactValue]
    old: tuple[Said, ...]
    new: tuple[Said, ...]
    builds: bool = False
    undecided: bool = False


class Topic(NamedTuple):
    """Advice about one thing: the fact asked for or concluded, or cautions, stops, steps.

    `changed` counts setups of the population (`of` so many) on which it differs, `opened` those on
    which only that differs which undecided rules could still conclude.

    The topic `what can be stated` is about setups that one side refuses: of the population the
    share `refused_now` by the new side alone, the share `refused_before` by the old one alone. All
    other topics are about setups that both take.
    """

    topic: str
    needs: str
    known: str
    changed: int = 0
    opened: int = 0
    of: int = 0
    witness: Witness | None = None
    free: tuple[str, ...] = ()  # computed facts that a proof took for free within their range
    refused_now: float = 0.0
    refused_before: float = 0.0


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

    `stated` tells what is known of which setups are taken; `setup` and `build`, for setups that
    both take, of conclusions that need no build, and of chosen builds. Texts of cautions and steps
    that were reworded are in neither, but in `rules`.
    `share` is that of setups on which a conclusion that needs no build differs, `opened` that of
    others on which only that differs which undecided rules could still conclude.
    """

    old: RuleBaseName
    new: RuleBaseName
    rules: tuple[ComparedRule, ...]
    vocabulary: tuple[Change, ...]
    stated: str
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
    def has_other_texts(self) -> bool:
        """Whether a caution, a stop or a step is told in other words."""
        return any(rule.texts for rule in self.rules)

    @property
    def differs(self) -> bool:
        """Whether advice differs in more than words."""
        return DIFFERS in (self.stated, self.setup, self.build)

    @property
    def exit_status(self) -> int:
        """The exit status of a command that ends with this.

        1 if advice differs: its meaning, the words of a caution or a step, or which setups get any;
        else 0, also where only reasons, sources, labels and questions are otherwise.
        """
        return 1 if self.differs or self.has_other_texts else 0
