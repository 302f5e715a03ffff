"""The Comparison: two Decisions, or two builds of one setup, side by side, as frozen data.

A leaf beside the Decision: it imports nothing else of ours. The two are the `first` and the
`second`; swapped, everything is mirrored. Numbers are exact in their unit, and rules are told by
name, so that a renderer needs nothing but this.
"""

from collections.abc import Mapping
from typing import NamedTuple

from advisor.decision import Evidence, FactValue, Number, RuleBaseName, Tie

FORMAT = 1

FIRST, SECOND, EVEN = "first", "second", "even"
"""Who is ahead, or which of the two something stands on; empty where that was not asked."""

BUILDS, DECISIONS = "builds", "decisions"
"""What was compared: builds of one setup, which can be ranked, or whole Decisions."""

CHOSEN, AS_GOOD, BEHIND, BREAKS, STOPPED = "chosen", "as-good", "behind", "breaks", "stopped"
"""How one of the two stands by its own rules."""

FOR_FIRST, FOR_SECOND = "for-first", "for-second"
AGAINST_FIRST, AGAINST_SECOND = "against-first", "against-second"
ALIKE, NEITHER = "alike", "neither"
GROUPS = (FOR_FIRST, FOR_SECOND, AGAINST_FIRST, AGAINST_SECOND, ALIKE, NEITHER)
"""Where a rule speaks. For the first: it meets the rule, and the second does not, or is not spoken
of. Against the first: it is behind on the rule, and the second is no more than not spoken of.
Neither: it is set aside, undecided or a mere favour wherever it is not silent."""

MET, BROKEN, UNPROVEN = "met", "broken", "unproven"
WARNS, FAVOURS, SILENT = "warns", "favours", "silent"
SET_ASIDE, UNDECIDED = "set-aside", "undecided"


class Contender(NamedTuple):
    """One of the two: by what it was named, how it stands, in words too, and what is chosen.

    `because` tells by what it is behind, and `breaks` names the rules whose must it breaks or whose
    stop stands on it.
    """

    title: str
    named: Mapping[str, FactValue]
    rulebase: RuleBaseName
    stock: str
    status: str
    stands: str
    says: str
    because: str
    breaks: tuple[str, ...]
    build: Mapping[str, FactValue]
    items: Mapping[str, str]


class Ground(NamedTuple):
    """Something under the two that differs, so that they are not judged alike."""

    what: str
    first: str
    second: str


class FactRow(NamedTuple):
    """A fact that differs. An origin is given, assumed or option, or empty without a value."""

    fact: str
    first: FactValue | None
    second: FactValue | None
    first_origin: str
    second_origin: str


class NumberRow(NamedTuple):
    """A computed number that differs.

    `difference` is the second less the first, in the number's unit. `inside` tells that it is no
    wider than the band of the number (of what it is worked out from, if it has none of its own), so
    that one should not make much of it. Where one of the two has no value, its `lacks` says why.
    """

    fact: str
    first: Number | None
    second: Number | None
    difference: Number | None = None
    inside: bool = False
    first_lacks: str = ""
    second_lacks: str = ""


class Said(NamedTuple):
    """What a rule comes to on one of the two.

    `state` is met, broken, unproven, warns, favours, silent, set-aside or undecided; `by` names
    the rules that set it aside, `lacks` the facts it waits for.
    """

    state: str
    by: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()


class Asked(NamedTuple):
    """One thing a rule asks, with its outcome on each; empty where the rule does not stand."""

    strength: str
    fact: str
    asks: str
    first: str
    second: str


class RuleRow(NamedTuple):
    """What a rule says of the one and of the other; `warns` is the level of its caution, if any."""

    rule: str
    group: str
    layer: str
    says: str
    first: Said
    second: Said
    asks: tuple[Asked, ...]
    warns: str = ""
    evidence: Evidence | None = None
    contested: bool = False


class CautionRow(NamedTuple):
    """A caution that only one has, or that reads otherwise; empty where it does not stand."""

    rule: str
    level: str
    first: str
    second: str


class StepRow(NamedTuple):
    """A step that only one has, or that reads otherwise; empty where it is not to be done."""

    rule: str
    phase: str
    first: str
    second: str


class TieRow(NamedTuple):
    """An open tie, and on which of the two it stands: first, second or even, for both."""

    tie: Tie
    on: str


class Count(NamedTuple):
    """One thing that counts against one of the two: a must, a stop or a fact, and its rules."""

    what: str
    rules: tuple[str, ...]


class Stage(NamedTuple):
    """One stage of the ranking.

    `kind` is broken (musts and stops), unproven, shoulds (of a `layer`, by fact) or favour (of a
    `rule`, on a `fact`). The values are counts, or those of the favoured fact. A favour keeps what
    is `within` of the `best` that was still in. `goes` is first, second or even; empty means the
    ranking was decided before.
    """

    kind: str
    says: str
    goes: str
    first: Number | None
    second: Number | None
    first_on: tuple[Count, ...] = ()
    second_on: tuple[Count, ...] = ()
    layer: str = ""
    rule: str = ""
    fact: str = ""
    within: Number | None = None
    best: Number | None = None


class Comparison(NamedTuple):
    """The whole comparison. `ahead` is empty, and there are no stages, where none can be ranked."""

    kind: str
    first: Contender
    second: Contender
    ahead: str
    verdict: str
    grounds: tuple[Ground, ...]
    facts: tuple[FactRow, ...]
    facts_alike: int
    numbers: tuple[NumberRow, ...]
    numbers_alike: int
    rules: tuple[RuleRow, ...]
    cautions: tuple[CautionRow, ...]
    steps: tuple[StepRow, ...]
    ties: tuple[TieRow, ...]
    stages: tuple[Stage, ...]
    labels: Mapping[str, str]
    format: int = FORMAT
