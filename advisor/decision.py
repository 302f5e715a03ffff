"""The Decision: everything the advisor says, as frozen data that travels through JSON.

A leaf: it imports nothing of ours. Renderers see this and nothing else. A field left at its default
is left out of the JSON, numbers are exact in their unit, and texts are ready to show.
"""

# Annotations are not put off here, nor elsewhere where tuples are declared: as texts each of them
# would be parsed when the module is imported, which costs a cold start milliseconds.

from collections.abc import Mapping
from typing import Any, NamedTuple, get_args, get_origin, get_type_hints

FORMAT = 2


ROUGH_BAND = 10
"""Percent of its value from which on a number's third digit says nothing."""


def is_rough(band: str) -> bool:
    """Tell whether a band is a tenth of the number or more."""
    amount, percent, rest = band.partition("%")
    try:
        return bool(percent) and not rest and float(amount) >= ROUGH_BAND
    except ValueError:
        return False


class Number(NamedTuple):
    """A number with its unit; for a computed one, how it came about and how far to trust it."""

    value: float
    unit: str
    band: str = ""
    function: str = ""
    source: str = ""
    rests_on: tuple[str, ...] = ()


FactValue = str | bool | tuple[str, ...] | Number


class Premise(NamedTuple):
    """A fact that a reason rests on, down to where it was stated.

    `origin` is given, assumed, option, computed, concluded or missing; a given fact has file and
    line, an assumed one its reason, a computed one its function, a concluded one its rules.
    """

    fact: str
    says: str
    origin: str
    value: FactValue | None = None
    file: str = ""
    line: int = 0
    because: str = ""
    function: str = ""
    rules: tuple[str, ...] = ()
    premises: tuple["Premise", ...] = ()


class Evidence(NamedTuple):
    """What a rule rests on, with its source spelled out."""

    kind: str
    source: str = ""
    title: str = ""
    place: str = ""
    function: str = ""
    note: str = ""
    from_memory: bool = False


class Contest(NamedTuple):
    """Another kind of evidence that disagrees."""

    by: str
    note: str


class Reason(NamedTuple):
    """A rule that asks something of an option or a number, and whether the build does it."""

    rule: str
    layer: str
    strength: str
    fact: str
    asks: str
    outcome: str
    says: str
    because: str
    evidence: Evidence
    premises: tuple["Premise", ...] = ()
    contested: Contest | None = None
    unless_open: tuple[str, ...] = ()


class SetAside(NamedTuple):
    """A rule that fired and lost."""

    rule: str
    says: str
    because: str
    by: str
    by_says: str
    by_because: str
    not_stated: tuple[str, ...] = ()


class StandsUnless(NamedTuple):
    """A rule, or a fact's value, that an unknown fact could still set aside or tie."""

    what: str
    kind: str  # "rule" or "fact"
    by: str
    facts: tuple[str, ...]


class Side(NamedTuple):
    """One rule of a tie and what it says."""

    rule: str
    asks: str
    because: str


class Tie(NamedTuple):
    """Rules of equal standing that disagree on one fact."""

    fact: str
    kind: str  # "values" or "shoulds"
    sides: tuple[Side, ...]


class Unproven(NamedTuple):
    """A must that nobody could judge, and the facts it lacks."""

    rule: str
    asks: str
    facts: tuple[str, ...]


class NoNumber(NamedTuple):
    """Why a computed fact has no value: what it lacks, or why its function has no answer."""

    lacks: tuple[str, ...]
    refused: str = ""


class Dispute(NamedTuple):
    """A rule in force that another kind of evidence contests."""

    rule: str
    says: str
    by: str
    note: str


class Caution(NamedTuple):
    """A warning that stands on the build."""

    rule: str
    level: str
    text: str


class Step(NamedTuple):
    """Something to do, in order."""

    rule: str
    phase: str
    text: str


class Alternative(NamedTuple):
    """Another build and what it breaks or loses on."""

    build: Mapping[str, FactValue]
    numbers: Mapping[str, Number]
    loses: tuple[str, ...]
    breaks: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    steps: tuple[Step, ...] = ()
    ties: tuple[Tie, ...] = ()


class Rejection(NamedTuple):
    """How many builds one rule turned down."""

    rule: str
    says: str
    asks: str
    builds: int


class Conflict(NamedTuple):
    """Rules that no build can satisfy together; no part of the set will do."""

    rules: tuple[str, ...]
    says: tuple[str, ...]
    asks: tuple[str, ...] = ()


class Undecided(NamedTuple):
    """A rule that could not be judged, and the facts it lacks."""

    rule: str
    says: str
    lacks: tuple[str, ...]
    overruled_by: tuple[str, ...] = ()


HANGS = "a stop or a must hangs on it"
"""Why a question is asked on whose answer an arrow may have to be turned down."""


class Question(NamedTuple):
    """A fact nobody stated: what to ask, and why it could matter."""

    fact: str
    asks: str
    choices: Mapping[str, str]
    assumed: bool
    because: str = ""
    rules: tuple[str, ...] = ()
    tried: int = 0  # possible values tried
    changing: int = 0  # how many of them change the build or the verdict
    example: str = ""  # one that does, and to what
    stopping: int = 0  # how many of those leave no build where there is one now


class Unsettled(NamedTuple):
    """An option that a rule would still speak on, if the facts it waits for were known."""

    fact: str
    rule: str
    asks: str
    facts: tuple[str, ...]


class Bounded(NamedTuple):
    """A choice at the end of what was offered, where the next beyond would break nothing."""

    fact: str
    value: FactValue
    beyond: FactValue


class Assumed(NamedTuple):
    """Why a fact was assumed, and by which layer."""

    because: str
    by: str


class Stated(NamedTuple):
    """Where a given fact stands, and the words there."""

    file: str
    line: int
    written: str


class RuleBaseName(NamedTuple):
    """The identity of the rules."""

    name: str
    version: str
    digest: str
    layers: tuple[str, ...]


class RetiredRule(NamedTuple):
    """A rule of a lower layer that the house took out of use."""

    rule: str
    says: str
    because: str
    by: str
    replacement: str = ""
    warned: bool = False  # whether it was a stop or a caution


class Decision(NamedTuple):
    """The whole advice. Mappings are keyed by fact name."""

    status: str
    rulebase: RuleBaseName
    title: str
    stock: str
    given: Mapping[str, FactValue]
    assumed: Mapping[str, FactValue]
    build: Mapping[str, FactValue]
    numbers: Mapping[str, Number]
    chosen: tuple[str, ...]
    items: Mapping[str, str]
    notes: tuple[str, ...]
    concluded: Mapping[str, FactValue]
    reasons: Mapping[str, tuple[Reason, ...]]
    cautions: tuple[Caution, ...]
    steps: tuple[Step, ...]
    set_aside: tuple[SetAside, ...]
    stands_unless: tuple[StandsUnless, ...]
    ties: tuple[Tie, ...]
    unproven: tuple[Unproven, ...]
    contested: tuple[Dispute, ...]
    equals: tuple[Mapping[str, FactValue], ...]
    alternatives: tuple[Alternative, ...]
    rejected: tuple[Rejection, ...]
    conflicts: tuple[Conflict, ...]
    more_conflicts: bool
    undecided: tuple[Undecided, ...]
    unsettled: tuple[Unsettled, ...]
    questions: tuple[Question, ...]
    cannot_matter: tuple[str, ...]
    bounded: tuple[Bounded, ...]
    retired: tuple[RetiredRule, ...]
    rests_on: tuple[str, ...]
    fired: tuple[str, ...]
    unknown: Mapping[str, NoNumber]
    stated: Mapping[str, Stated]
    assumptions: Mapping[str, Assumed]
    labels: Mapping[str, str]
    builds: int
    survivors: int
    format: int = FORMAT


def to_plain(value: Any) -> Any:
    """Turn a Decision, or any part of one, into what JSON can hold; defaults are left out."""
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        # A computed number shows all it has, an empty band included; the format is always told.
        whole = isinstance(value, Number) and bool(value.function)
        keep: Mapping[str, Any] = {} if whole else getattr(value, "_field_defaults", {})
        return {
            name: to_plain(part)
            for name, part in zip(getattr(value, "_fields", ()), value, strict=True)
            if name not in keep or part != keep[name] or name == "format"
        }
    if isinstance(value, (tuple, list)):
        return [to_plain(part) for part in value]
    if isinstance(value, Mapping):
        return {name: to_plain(part) for name, part in value.items()}
    return value


def from_plain(data: Mapping[str, Any]) -> Decision:
    """Turn what `to_plain` gave back into the same Decision.

    Raises:
        ValueError: if the data is of another format.
        TypeError, KeyError: if it is no Decision at all; check it against its schema first.
    """
    if data.get("format") != FORMAT:
        raise ValueError(f"this is a Decision of format {data.get('format')}, not {FORMAT}")
    # A seal stands beside the Decision in its file, and is no part of it.
    decision: Decision = read_plain(Decision, {k: part for k, part in data.items() if k != "seal"})
    return decision


def read_plain(kind: Any, data: Any) -> Any:
    """Turn what `to_plain` gave of a noun back into it.

    Args:
        kind: the noun's type.
        data: as JSON holds it; check it against its schema first.
    """
    if data is None:
        return None
    if kind is Any or kind in (str, int, bool):
        return data
    if kind is float:
        return data
    if isinstance(kind, type) and hasattr(kind, "_fields"):
        hints = _hints(kind)
        return kind(**{name: read_plain(hints[name], part) for name, part in data.items()})
    origin = get_origin(kind)
    parts = get_args(kind)
    if origin is tuple:
        return tuple(read_plain(parts[0], part) for part in data)
    if origin is Mapping:
        return {name: read_plain(parts[1], part) for name, part in data.items()}
    # A union: a number is a mapping, several values a list, anything else stands for itself.
    if isinstance(data, Mapping):
        choice = next(p for p in parts if isinstance(p, type) and hasattr(p, "_fields"))
        return read_plain(choice, data)
    return tuple(data) if isinstance(data, list) else data


def _hints(kind: type) -> dict[str, Any]:
    found = _HINTS.get(kind)
    if found is None:
        found = _HINTS[kind] = get_type_hints(kind)
    return found


_HINTS: dict[type, dict[str, Any]] = {}
