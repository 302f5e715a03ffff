"""The Derivation: why something is so, all the way down to what was stated, as frozen data.

A leaf beside the Decision: it imports nothing else of ours. A derivation is a list of numbered
steps, each told once. The first, number 1, is what was asked about. They stand in the order in
which they are told: what a step rests on comes after it, or was told before under its own number.
No step rests on itself, by whatever way, and every step but the first is one that another rests on.

The way down ends in steps of the kinds given, assumed, option and missing. An option's value is
where the way of anything else ends, for it was tried; why it was chosen is asked of the option, and
then the first step is a choice.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from advisor.decision import Contest, Evidence, FactValue, RuleBaseName, StandsUnless, read_plain

FORMAT = 1

GIVEN, ASSUMED, OPTION, MISSING = "given", "assumed", "option", "missing"
COMPUTED, CONCLUDED = "computed", "concluded"
RULE, DEMAND, ADVICE = "rule", "demand", "advice"
CHOICE, STAGE = "choice", "stage"
LEAVES = (GIVEN, ASSUMED, OPTION, MISSING)
"""The kinds in which the way down ends; a missing fact may rest on what it waits for."""

STANDS, STANDS_OPEN, SET_ASIDE = "stands", "stands, its exception open", "set aside"
SILENT, EXCEPTED, UNDECIDED = "silent", "silent, its exception holds", "undecided"
STATES = (STANDS, STANDS_OPEN, SET_ASIDE, SILENT, EXCEPTED, UNDECIDED)
"""What a rule comes to. One that is set aside fired and lost."""

NOT_STATED, LACKS = "not stated", "something that it is computed from is missing"
REFUSED = "its function has no answer"
NOT_CONCLUDED, TIED = "no rule concludes it", "tied by rules of equal standing"
WAITS = "a rule that waits could conclude it"
"""Why a fact has no value."""


class Tested(NamedTuple):
    """A test of a rule's condition or exception that made the rule what it is."""

    part: str  # "when" or "unless"
    says: str
    outcome: str  # "yes", "no" or "unknown"
    facts: tuple[int, ...]  # the steps of the facts it reads


class Conclusion(NamedTuple):
    """What a rule concludes, and for a demand whether the build meets it."""

    kind: str  # set, must, must not, should, should not, favour, stop, caution, note, step
    says: str
    outcome: str = ""  # met, broken, unproven
    facts: tuple[int, ...] = ()  # the steps of the facts it names
    phase: str = ""  # of a step at the bench


class Count(NamedTuple):
    """How many builds came to a stage of the choice and how many it left.

    `values` are those of the option asked about among the builds that are left, in the order in
    which they are offered.
    """

    came: int
    left: int
    values: tuple[FactValue, ...]


class Rejects(NamedTuple):
    """How many of the builds that came to a stage fail on one thing."""

    what: str  # a rule, or for shoulds the fact that they are about
    builds: int


class Step(NamedTuple):
    """One step of a derivation.

    `kind` tells which fields are filled:

    - given: `file`, `line` and `written`, where the fact was stated and in which words
    - assumed: `because`, and `by`, the layer that assumes it
    - option: `item`, what is listed and has this value, with its `file` and `line`
    - missing: `state`, why there is no value; for a number `function` and `source`
    - computed: `function`, `source` and `band`
    - concluded: it rests on the rules that conclude it
    - rule: `state`, `because`, `evidence`, `file` and `line`, `by` (its layer), `tests`, and where
      they apply `concludes` (what it sets), `defeated`, `by_rules` (which set it aside) and
      `stands_unless`; the rules that it rests on set it aside, or could and do not
    - advice: what a rule adds, all of it in `concludes`
    - demand: `rule`, `strength`, `state` (met, broken, unproven, or why it does not ask)
    - choice: it rests on the demands on the option, and on the stages, in their order
    - stage: `builds` and `rejects`
    """

    number: int
    kind: str
    name: str
    says: str
    rests_on: tuple[int, ...] = ()
    value: FactValue | None = None
    state: str = ""
    file: str = ""
    line: int = 0
    written: str = ""
    item: str = ""
    because: str = ""
    by: str = ""
    function: str = ""
    source: str = ""
    band: str = ""
    rule: str = ""
    strength: str = ""
    evidence: Evidence | None = None
    contested: Contest | None = None
    tests: tuple[Tested, ...] = ()
    condition: str = ""  # the whole of it in words, and of its exception
    exception: str = ""
    concludes: tuple[Conclusion, ...] = ()
    defeated: tuple[str, ...] = ()
    by_rules: tuple[str, ...] = ()
    stands_unless: tuple[StandsUnless, ...] = ()
    builds: Count | None = None
    rejects: tuple[Rejects, ...] = ()


class Derivation(NamedTuple):
    """Why something is so. `status` is that of the Decision, `notes` what else to know."""

    what: str
    title: str
    status: str
    rulebase: RuleBaseName
    steps: tuple[Step, ...]
    notes: tuple[str, ...] = ()
    format: int = FORMAT

    def step(self, number: int) -> Step:
        """Return a step by its number."""
        return self.steps[number - 1]


def from_plain(data: Mapping[str, Any]) -> Derivation:
    """Turn what `decision.to_plain` made of a Derivation back into the same.

    Raises:
        ValueError: if the data is of another format.
        TypeError, KeyError: if it is no Derivation; check it against its schema first.
    """
    if data.get("format") != FORMAT:
        raise ValueError(f"this is a Derivation of format {data.get('format')}, not {FORMAT}")
    derivation: Derivation = read_plain(Derivation, data)
    return derivation
