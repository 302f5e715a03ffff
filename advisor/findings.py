"""What a reviewer finds out about a Decision: what would change it, and why not something else.

Leaves beside the Decision and the Comparison: frozen data that imports nothing else of ours.
Numbers are exact in the unit that stands beside them, and texts are ready to show.
"""

from collections.abc import Mapping
from typing import NamedTuple

from advisor.comparison import Stage
from advisor.decision import FactValue, Number, Premise, RuleBaseName, Stated

FORMAT = 1

EXACT, SEARCHED = "exact", "searched"
"""How a nearest value was found: among all that rules tell apart, or by closing in on it."""

NOTHING_DEPENDS, EVERY_VALUE, VALUES_TRIED = "nothing-depends", "every-value", "values-tried"
"""Why a fact is called powerless: no rule that decides goes back to it; every value, or one for
each that rules tell apart, changes nothing; so do all those tried, for figures computed from it."""


class Turn(NamedTuple):
    """The nearest value of a fact, on one side for a number, with which something else is advised.

    `distance` is from the stated value, in the fact's unit; `keeps` the last value before it that
    still changes nothing, so that what lies between is settled by neither; `gives` the options that
    come out otherwise, `gone` those that have no value any more.
    """

    value: FactValue
    status: str
    gives: Mapping[str, FactValue]
    says: str
    distance: Number | None = None
    keeps: FactValue | None = None
    found: str = EXACT
    gone: tuple[str, ...] = ()


class TurningPoint(NamedTuple):
    """A stated fact that can alter the advice: how far it is from doing so.

    `fragile` tells that a turn lies within what measuring the fact can be out by.
    """

    fact: str
    value: FactValue
    stated: Stated
    turns: tuple[Turn, ...]
    keeps: tuple[FactValue, ...] = ()  # other choices that change nothing
    tolerance: Number | None = None
    fragile: bool = False


class Powerless(NamedTuple):
    """A stated fact that cannot alter the advice, and how that is known."""

    fact: str
    value: FactValue
    by: str
    tried: int = 0


class TurningPoints(NamedTuple):
    """What would change a piece of advice: every stated fact, the nearest turn first."""

    title: str
    rulebase: RuleBaseName
    stock: str
    status: str
    build: Mapping[str, FactValue]
    points: tuple[TurningPoint, ...]
    powerless: tuple[Powerless, ...]
    measure_again: tuple[str, ...]
    labels: Mapping[str, str]
    format: int = FORMAT


SILENT, UNDECIDED, SET_ASIDE, OVERRULED, STANDS = (
    "silent",
    "undecided",
    "set-aside",
    "overruled",
    "stands",
)
"""What became of a rule. An overruled one is undecided, and could conclude nothing any more."""

CHOSEN, AS_GOOD, BEHIND, BREAKS = "chosen", "as-good", "behind", "breaks"
"""How a build stands to the chosen one; what breaks a must or carries a stop is not to be built."""


class Shortfall(NamedTuple):
    """One test that does not come out as it would have to, and how far it is from it.

    `needed` is the nearest value with which it would, `distance` the way there in the fact's own
    unit; neither is there where no single value would do. Tests with one `choice` number are
    alternatives: one of them is enough. 0 stands alone. `premise` goes back to what was stated.
    """

    test: str
    fact: str
    value: FactValue | None
    needed: FactValue | None
    distance: Number | None
    premise: Premise
    choice: int = 0


class Beaten(NamedTuple):
    """By which rule another was set aside, both reasons being told."""

    by: str
    by_says: str
    by_because: str


class Move(NamedTuple):
    """One fact that would have to be otherwise; `value` None asks that it has no value.

    With `any_value` it need only be stated, and `value` is one with which it was tried.
    """

    fact: str
    was: FactValue | None
    value: FactValue | None
    distance: Number | None = None
    option: bool = False  # chosen by the advisor: so it is a matter of the build
    any_value: bool = False


class Change(NamedTuple):
    """A change that does it; it was applied, and does what it says."""

    moves: tuple[Move, ...]
    gives: str
    found: str = EXACT


class WhyNotRule(NamedTuple):
    """Why a rule does not stand on the chosen (or nearest) build.

    `failing` keeps its condition from holding, `excepting` makes its exception hold; `lacks` are
    facts it waits for. `changes` are the nearest that let it stand, fewest facts first.
    """

    rule: str
    says: str
    because: str
    state: str
    asks: tuple[str, ...]
    file: str
    line: int
    failing: tuple[Shortfall, ...]
    excepting: tuple[Shortfall, ...]
    lacks: tuple[str, ...]
    beaten: tuple[Beaten, ...]
    changes: tuple[Change, ...]


class Obstacle(NamedTuple):
    """A must that a build breaks, a stop on it, or a should that it fails.

    What is asked, and what falls short of it; `premises` tell why the rule is in force.
    """

    rule: str
    strength: str  # must, must_not, should, should_not or stop
    says: str
    because: str
    asks: str
    failing: tuple[Shortfall, ...]
    premises: tuple[Premise, ...]


class Advocate(NamedTuple):
    """A rule that would speak for the build if it were not set aside."""

    rule: str
    says: str
    because: str
    beaten: tuple[Beaten, ...]


class Instead(NamedTuple):
    """The nearest build that holds: which of the named options give way, and to what."""

    build: Mapping[str, FactValue]
    gives_way: Mapping[str, FactValue]
    says: str


class WhyNotBuild(NamedTuple):
    """Why a build that somebody named is not the chosen one.

    The options that were not named are chosen as the advisor would. `misses` are shoulds that it
    fails and the chosen one does not; `stages` is how it ranks against the chosen build, which is
    the first there. `changes` are stated facts, one at a time,
    that would make it, or one that agrees with what was named, chosen or as good.
    """

    named: Mapping[str, FactValue]
    build: Mapping[str, FactValue]
    stands: str
    obstacles: tuple[Obstacle, ...]
    misses: tuple[Obstacle, ...]
    stages: tuple[Stage, ...]
    advocates: tuple[Advocate, ...]
    instead: tuple[Instead, ...]
    changes: tuple[Change, ...]


class WhyNot(NamedTuple):
    """The answer to "why not": of a rule or of a build."""

    title: str
    rulebase: RuleBaseName
    stock: str
    status: str
    build: Mapping[str, FactValue]
    says: str
    rule: WhyNotRule | None = None
    other: WhyNotBuild | None = None
    labels: Mapping[str, str] = {}
    format: int = FORMAT
