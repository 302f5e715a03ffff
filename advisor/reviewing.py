"""The Review: all that a reviewer needs to audit a piece of advice, as frozen data in one whole.

A leaf over the Decision, the Derivation and the findings: it imports nothing else of ours. It holds
the Decision and, beside it, the way back of everything in it. That way is one list of numbered
steps, each told once however many things rest on it; `asked` tells at which step each thing begins.
There is no date in it: the same input gives the same bytes.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from advisor.decision import Contest, Decision, Evidence, Number, read_plain
from advisor.derivation import Conclusion, Step
from advisor.findings import Shortfall, TurningPoints

FORMAT = 1

OPTION, CAUTION, SET_ASIDE, RULE, NUMBER = "option", "caution", "set-aside", "rule", "number"
"""What a way back is told of: a chosen option, a rule that warns, one that lost, another one that
fired, or a number."""


class Asked(NamedTuple):
    """Something whose whole way back is told, and the step at which it begins."""

    what: str  # a fact or a rule
    kind: str
    step: int


class NearMiss(NamedTuple):
    """A rule that is silent and would fire if one number were a little otherwise.

    `reach` is how far that number is off: in what measuring it can be out by (`tolerance`), or in
    hundredths of its value where no such tolerance is declared. `asks` is what the rule would add;
    rules in `overruled_by` stand here, and would set it aside at once.
    """

    rule: str
    says: str
    because: str
    asks: tuple[Conclusion, ...]
    shortfall: Shortfall
    reach: float
    tolerance: Number | None = None
    overruled_by: tuple[str, ...] = ()


class RuleText(NamedTuple):
    """A rule as it stood in its file when the advice was given.

    `text` is the rule's own lines, word for word. `state` is what it comes to here, one of those in
    `derivation.STATES`, and `step` the number of the step that tells why.
    """

    rule: str
    layer: str
    file: str
    line: int
    text: str
    says: str
    because: str
    state: str
    step: int
    evidence: Evidence
    overrides: tuple[str, ...] = ()
    contested: Contest | None = None
    replaces: str = ""


class Cited(NamedTuple):
    """What one rule takes from a work: where in it, or by which function; and what it notes."""

    rule: str
    place: str = ""
    function: str = ""
    note: str = ""


class Work(NamedTuple):
    """An entry of the bibliography, and the rules in force that go back to it."""

    source: str
    author: str
    title: str
    year: str
    where: str
    note: str
    from_memory: bool
    cited: tuple[Cited, ...]


class EvidenceGroup(NamedTuple):
    """The rules in force whose evidence is of one class; `others` are those that name no work."""

    kind: str  # published, derived, common-practice or house
    rules: tuple[str, ...]
    works: tuple[Work, ...] = ()
    others: tuple[Cited, ...] = ()


class Review(NamedTuple):
    """A Decision with all that it rests on.

    `steps` are those of a Derivation, numbered from 1, one list for everything in `asked`; a stage
    of the choice is told once for each option. Every rule that is named anywhere in the Review, but
    for those a house retired, is among `rule_texts`. What facts are called stands in the Decision.
    """

    decision: Decision
    turning_points: TurningPoints
    near_misses: tuple[NearMiss, ...]
    asked: tuple[Asked, ...]
    steps: tuple[Step, ...]
    evidence: tuple[EvidenceGroup, ...]
    rule_texts: tuple[RuleText, ...]
    format: int = FORMAT

    def step(self, number: int) -> Step:
        """Return a step by its number."""
        return self.steps[number - 1]


def from_plain(data: Mapping[str, Any]) -> Review:
    """Turn what `decision.to_plain` made of a Review back into the same.

    Raises:
        ValueError: if the data is of another format.
        TypeError, KeyError: if it is no Review; check it against its schema first.
    """
    if data.get("format") != FORMAT:
        raise ValueError(f"this is a Review of format {data.get('format')}, not {FORMAT}")
    review: Review = read_plain(Review, data)
    return review
