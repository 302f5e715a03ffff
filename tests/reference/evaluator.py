"""What a rule base means, worked out slowly and plainly, as a check on the engine.

It is written from the text of the design alone and shares no code with the
package. It takes plain data (dicts, lists, strings, numbers), so it can be held
against any other way of running the same rules. Nothing here is fast.

Input
-----
vocabulary  name -> {kind, origin, several?, choices?, within?}
rules       list of {id, layer, when?, unless?, then, overrides?}; numbers bare
facts       name -> value, of given, option and computed facts that have one
stated      names of the facts the setup or the stock gave

Readings
--------
Where the text leaves room, this is what is taken here.

1.  Order: a rule's standing also waits for its own firing, so a rule that reads
    the fact it sets is a cycle, and so is a rule that overrides itself. Facts read
    by demands, favours and texts order nothing: they are looked at when all is
    done. A fact read only by `known` or `stated` orders as any other does.
2.  Cycles are sought in the rules as written, whatever the facts of the run.
3.  Overrides are honoured as listed (absent ids apart). Whether a layer may
    override another is settled by whoever resolves the layers, since a rule may by
    right override the replacement, from a higher layer, of a rule under it.
4.  A concluded fact that is closed (no value, none possible) makes a test no even
    where the other side of that test is unknown. This holds for the one comparison
    it takes part in: the other parts of a list or of a set of bounds are judged
    alone.
5.  `known` of a tied fact is no. `stated` is: named in `stated`, or an option with
    a value. `stated` of a concluded fact is therefore no.
6.  A several fact with an empty list has a value, and equals nothing. A value is
    compared within its sort: a flag is never equal to a number.
7.  A bound on anything but a number, or on a several fact, is an error (ValueError),
    as are an empty mapping or list, an unknown key, an undeclared fact, a `set` on
    a fact that is not concluded, a demand on one that is, a given concluded fact, and
    an id used twice.
8.  `lacks` names, for an unknown comparison, every side without a value.
    `unless_unknown` is read off `unless` in the same way, and is kept for every rule
    that fires so, set aside or not.
9.  Only rules that fire are in `set_aside`. An undecided rule that a standing rule
    overrides is simply not in `live_undecided`.
10. The guard of a rule with a stop (only a rule whose `unless` is not unknown
    overrides it) covers all that rule's conclusions, and covers it while it is
    undecided too.
11. `stands_unless` of a rule that an undecided rule overrides names what that
    rule's `when` lacks, not its `unless`. An undecided rule that is itself
    overridden asks nothing and is not counted.
12. A tie names every standing rule that sets the fact, also those that agree. One
    rule setting one fact to two values ties with itself. A tied fact is unknown
    whatever undecided rules remain.
13. A value "could still be tied" only by a live undecided rule that sets another
    value; one that would set the same value is no threat.
14. The value of a several fact is given back as a sorted list without repeats;
    one word set on a several fact is a list of one.
15. Demands keep closed concluded facts unknown (unproven). `known` and `stated` in a
    demand are yes or no.
16. In `choose`, a fact of a build that is not computed is an option of that run, and
    stated where it has a value, whatever the vocabulary calls its origin. A build's
    facts go before those of the setup, but where a build does not tell (None) the
    setup's value holds. A number that is not finite is no value.
17. Broken and unproven musts are counted by conclusion, stops by rule. "Fewest broken
    musts and stops" is the sum of the two.
18. A rule is undecided only for want of an option's value if each fact it lacks is an
    option without a value; or a computed fact of whose inputs at least one has no
    value and each such input traces so; or a concluded fact, not tied, of which every
    live undecided rule that could set it traces so. A tie, a given fact and a computed
    fact of unknown inputs never do. The alternatives inside an `any` are all lacks.
19. A favour counts if its rule stands on every build of the run (it should belong to
    the setup, so stand on all or none). An id in `favours` that names no rule is
    passed over. A rule with a favour that is not listed, or with more than one favour,
    is an error.
20. "The rest rank behind, among themselves in the same way": by the same favour and
    those after it. Starting again at the first favour would give the same order.
21. Builds are `equals` if no step of the ranking separates them, values that differ
    inside `within` included.
22. No build at all is an error: the text gives it no status.
23. Conflict sets are those of every build, also when the status is `stopped`; there
    are none as soon as one build survives.
24. Should ties are looked for among the shoulds standing on the chosen (or nearest)
    build; whether a candidate meets one is judged on that candidate's own facts, and
    every build is a candidate, also those that do not survive. Not telling is one way
    of varying. Two shoulds of one rule can be such a pair.
25. A should of an undecided rule costs nothing.
"""

from __future__ import annotations

import graphlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

YES, NO, UNKNOWN = "yes", "no", "unknown"
FIRED, SILENT, UNDECIDED = "fired", "silent", "undecided"
MET, BROKEN, UNPROVEN = "met", "broken", "unproven"

BOUNDS = ("at_least", "at_most", "above", "below")
MUSTS = ("must", "must_not")
SHOULDS = ("should", "should_not")
MOST_CONFLICTS = 20

Rule = Mapping[str, Any]
Vocabulary = Mapping[str, Mapping[str, Any]]
Facts = Mapping[str, Any]
Demand = tuple[str, int]  # a rule's id and the place in its `then`, from 0
Node = tuple[str, str]  # ("firing", rule) | ("value", fact) | ("standing", rule)


class CycleError(ValueError):
    """A firing, a value or a standing waits for itself.

    `path` spells the cycle out: each comes before the next, the last is the first.
    """

    def __init__(self, path: Sequence[Node]) -> None:
        self.path = list(path)
        super().__init__(" -> ".join(f"{what} of {name}" for what, name in self.path))


@dataclass(frozen=True)
class Result:
    """One run of the rules over one set of facts. Lists of names are sorted."""

    values: dict[str, Any]  # concluded facts with a value
    ties: dict[str, list[str]]  # fact: the standing rules that set it
    open: set[str]  # concluded facts that are unknown: tied or still concludable
    states: dict[str, str]  # rule: fired | silent | undecided
    lacks: dict[str, list[str]]  # undecided rule: facts
    unless_unknown: dict[str, list[str]]  # rule fired while `unless` is unknown: facts
    set_aside: dict[str, list[str]]  # rule that fired: the standing rules that override it
    standing: set[str]
    live_undecided: set[str]
    stands_unless: dict[str, list[str]]  # standing rule: facts
    value_stands_unless: dict[str, list[str]]  # concluded fact with a value: facts
    demands: dict[Demand, str]  # of standing rules: met | broken | unproven


@dataclass(frozen=True)
class BuildVerdict:
    """What the rules say of one build."""

    broken: list[Demand]  # musts, by rule id and place
    stops: list[str]  # standing rules with a stop
    unproven: int
    unproven_items: list[Demand]  # what `unproven` counts
    should_failures: set[tuple[int, str]]  # (layer, fact)
    survives: bool
    result: Result


@dataclass(frozen=True)
class Choice:
    """The builds judged and ranked. Builds are named by their place in the list given."""

    status: str  # stopped | rejected | judged | advised
    builds: list[BuildVerdict]
    groups: list[list[int]]  # surviving builds, best first; equal builds together
    build: int | None
    equals: list[int]
    nearest: int | None  # only if no build survives
    conflicts: list[list[str]]
    more_conflicts: bool
    should_ties: list[tuple[Demand, Demand]]


# --- values ----------------------------------------------------------------------------


def nine(number: float) -> float:
    """Round a number to nine significant digits."""
    return float(format(number, ".9g"))


def is_number(value: Any) -> bool:
    """Say whether a value is a number; a flag is not."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def normal(value: Any, several: bool) -> Any:
    """Give the value as it is compared, or None if it is no value at all."""
    if value is None:
        return None
    if several:
        return sorted(set(value)) if isinstance(value, list | tuple | set) else [value]
    if is_number(value):
        return nine(value) if math.isfinite(value) else None
    return value


def same(left: Any, right: Any) -> bool:
    """Say whether two values are equal, flags apart from numbers."""
    if is_number(left) and is_number(right):
        return bool(left == right)
    return type(left) is type(right) and bool(left == right)


def compare(how: str, left: Any, right: Any) -> bool:
    """Compare two values, both there: `is`, or a bound."""
    if how == "is":
        lefts = left if isinstance(left, list) else [left]
        rights = right if isinstance(right, list) else [right]
        return any(same(a, b) for a in lefts for b in rights)
    if not (is_number(left) and is_number(right)):
        raise ValueError(f"`{how}` needs a number on both sides, not {left!r} and {right!r}")
    if how == "at_least":
        return bool(left >= right)
    if how == "at_most":
        return bool(left <= right)
    if how == "above":
        return bool(left > right)
    return bool(left < right)


# --- conditions ------------------------------------------------------------------------


@dataclass(frozen=True)
class Answer:
    """Yes, no or unknown; and, for unknown, the facts of the parts that are unknown."""

    truth: str
    lacks: frozenset[str] = frozenset()


@dataclass
class World:
    """The facts as they stand. `open` holds the concluded facts that are unknown."""

    vocabulary: Vocabulary
    values: dict[str, Any]
    stated: set[str]
    open: set[str]

    def declared(self, fact: str) -> Mapping[str, Any]:
        """Give the declaration of a fact; ValueError if there is none."""
        if fact not in self.vocabulary:
            raise ValueError(f"`{fact}` is not in the vocabulary")
        return self.vocabulary[fact]

    def is_closed(self, fact: str) -> bool:
        """Say whether a concluded fact has no value and can get none."""
        concluded = self.declared(fact)["origin"] == "concluded"
        return concluded and fact not in self.values and fact not in self.open

    def is_stated(self, fact: str) -> bool:
        """Say whether the setup or the stock gave the fact."""
        option = self.declared(fact)["origin"] == "option"
        return fact in self.stated or (option and fact in self.values)


def all_of(parts: Sequence[Answer]) -> Answer:
    """No if any part is no, else unknown if any is, else yes."""
    if any(part.truth == NO for part in parts):
        return Answer(NO)
    unknown = [part.lacks for part in parts if part.truth == UNKNOWN]
    return Answer(UNKNOWN, frozenset().union(*unknown)) if unknown else Answer(YES)


def any_of(parts: Sequence[Answer]) -> Answer:
    """Yes if any part is yes, else unknown if any is, else no."""
    return opposite(all_of([opposite(part) for part in parts]))


def opposite(answer: Answer) -> Answer:
    """Swap yes and no, keep unknown."""
    swapped = {YES: NO, NO: YES, UNKNOWN: UNKNOWN}
    return Answer(swapped[answer.truth], answer.lacks)


def judge_condition(world: World, condition: Any) -> Answer:
    """Judge a `when` or an `unless`."""
    if not isinstance(condition, Mapping) or not condition:
        raise ValueError(f"a condition is a mapping with something in it, not {condition!r}")
    parts = []
    for key, inside in condition.items():
        if key in ("any", "all"):
            if not isinstance(inside, list) or not inside:
                raise ValueError(f"`{key}` takes a list with something in it, not {inside!r}")
            answers = [judge_condition(world, one) for one in inside]
            parts.append(any_of(answers) if key == "any" else all_of(answers))
        elif key == "not":
            parts.append(opposite(judge_condition(world, inside)))
        else:
            parts.append(judge_test(world, key, inside, closed_is_no=True))
    return all_of(parts)


def judge_test(world: World, fact: str, test: Any, closed_is_no: bool) -> Answer:
    """Judge one fact by one test. In a demand a closed concluded fact stays unknown."""
    if isinstance(test, list):
        if not test:
            raise ValueError(f"the list for `{fact}` is empty")
        return any_of([judge_test(world, fact, one, closed_is_no) for one in test])
    if isinstance(test, Mapping):
        if not test:
            raise ValueError(f"the test for `{fact}` is empty")
        parts = []
        for key, operand in test.items():
            if key in ("known", "stated") and not isinstance(operand, bool):
                raise ValueError(f"`{key}` takes true or false, not {operand!r}")
            if key == "known":
                parts.append(Answer(YES if (fact in world.values) == operand else NO))
            elif key == "stated":
                parts.append(Answer(YES if world.is_stated(fact) == operand else NO))
            elif key == "fact":
                parts.append(judge_leaf(world, fact, "is", {"fact": operand}, closed_is_no))
            elif key in BOUNDS:
                parts.append(judge_leaf(world, fact, key, operand, closed_is_no))
            else:
                raise ValueError(f"`{key}` is no test (in the test for `{fact}`)")
        return all_of(parts)
    return judge_leaf(world, fact, "is", test, closed_is_no)


def judge_leaf(world: World, fact: str, how: str, operand: Any, closed_is_no: bool) -> Answer:
    """Judge one comparison, with a constant or with `{fact: other}`."""
    if isinstance(operand, Mapping) and set(operand) != {"fact"}:
        raise ValueError(f"`{how}` takes a constant or {{fact: name}}, not {operand!r}")
    other = operand["fact"] if isinstance(operand, Mapping) else None
    sides = [fact] if other is None else [fact, other]
    if how != "is" and any(world.declared(side).get("several") for side in sides):
        raise ValueError(f"`{how}` does not go with a fact of several values ({sides})")
    missing = [side for side in sides if side not in world.values]
    if closed_is_no and any(world.is_closed(side) for side in missing):
        return Answer(NO)
    if missing:
        return Answer(UNKNOWN, frozenset(missing))
    right = normal(operand, several=False) if other is None else world.values[other]
    return Answer(YES if compare(how, world.values[fact], right) else NO)


def facts_in_test(test: Any) -> set[str]:
    """Name the facts on the right-hand side of a test."""
    if isinstance(test, list):
        return set().union(*(facts_in_test(one) for one in test))
    if isinstance(test, Mapping):
        found = {test["fact"]} if "fact" in test else set()
        return found.union(*(facts_in_test(test[key]) for key in BOUNDS if key in test))
    return set()


def facts_in_condition(condition: Mapping[str, Any]) -> set[str]:
    """Name the facts a condition reads, on either side."""
    found: set[str] = set()
    for key, inside in condition.items():
        if key in ("any", "all"):
            found = found.union(*(facts_in_condition(one) for one in inside))
        elif key == "not":
            found |= facts_in_condition(inside)
        else:
            found |= {key} | facts_in_test(inside)
    return found


# --- what a rule concludes -------------------------------------------------------------


def facts_read(rule: Rule) -> set[str]:
    """Name the facts of the rule's `when` and `unless`."""
    conditions = [rule[key] for key in ("when", "unless") if key in rule]
    return set().union(*(facts_in_condition(one) for one in conditions))


def settings(rule: Rule) -> list[tuple[str, Any]]:
    """List the (fact, value) pairs the rule sets."""
    return [pair for one in rule["then"] if "set" in one for pair in one["set"].items()]


def stop_place(rule: Rule) -> int | None:
    """Give the place of the rule's first stop in its `then`, None without one."""
    for place, one in enumerate(rule["then"]):
        if "caution" in one and one["caution"]["level"] == "stop":
            return place
    return None


def demands_of(rule: Rule, words: Iterable[str]) -> list[tuple[int, str, str, Any]]:
    """List (place, word, fact, test) for the rule's demands of the given words."""
    found = []
    for place, one in enumerate(rule["then"]):
        for word in words:
            if word in one:
                if len(one[word]) != 1:
                    raise ValueError(f"a `{word}` of `{rule['id']}` names not exactly one fact")
                fact, test = next(iter(one[word].items()))
                found.append((place, word, fact, test))
    return found


def judge_demand(world: World, word: str, fact: str, test: Any) -> str:
    """Say whether a demand is met, broken or unproven by the final values."""
    answer = judge_test(world, fact, test, closed_is_no=False)
    if word in ("must_not", "should_not"):
        answer = opposite(answer)
    return {YES: MET, NO: BROKEN, UNKNOWN: UNPROVEN}[answer.truth]


# --- one run ---------------------------------------------------------------------------


def evaluate(
    vocabulary: Vocabulary, rules: Sequence[Rule], facts: Facts, stated: Iterable[str]
) -> Result:
    """Run the rules once. CycleError for a cycle, ValueError for input that means nothing."""
    return run(vocabulary, rules, facts, stated)[0]


def run(
    vocabulary: Vocabulary, rules: Sequence[Rule], facts: Facts, stated: Iterable[str]
) -> tuple[Result, World]:
    """Run the rules once and give back the final facts as well."""
    by_id = {rule["id"]: rule for rule in rules}
    if len(by_id) != len(rules):
        raise ValueError("an id is used twice")
    world = World(vocabulary, starting_values(vocabulary, facts), set(stated), set())
    # overriders[r]: the rules that override r. setters[f]: the rules that set f.
    overriders: dict[str, set[str]] = {name: set() for name in by_id}
    setters: dict[str, set[str]] = {fact: set() for fact in vocabulary}
    for name, rule in by_id.items():
        for loser in rule.get("overrides", []):
            if loser in overriders:
                overriders[loser].add(name)
        for fact, _ in settings(rule):
            if world.declared(fact)["origin"] != "concluded":
                raise ValueError(f"`{name}` sets `{fact}`, which is not a concluded fact")
            setters[fact].add(name)
        for _, word, fact, test in demands_of(rule, MUSTS + SHOULDS):
            if world.declared(fact)["origin"] == "concluded":
                raise ValueError(f"a `{word}` of `{name}` is on `{fact}`, a concluded fact")
            for other in facts_in_test(test):
                world.declared(other)

    when: dict[str, Answer] = {}
    unless: dict[str, Answer] = {}
    states: dict[str, str] = {}
    defeaters: dict[str, list[str]] = {}  # standing rules that override it effectively
    standing: set[str] = set()
    live: set[str] = set()
    ties: dict[str, list[str]] = {}

    for what, name in in_order(world, by_id, overriders, setters):
        if what == "firing":
            rule = by_id[name]
            when[name] = judge_condition(world, rule["when"]) if "when" in rule else Answer(YES)
            unless[name] = (
                judge_condition(world, rule["unless"]) if "unless" in rule else Answer(NO)
            )
            states[name] = state_of(when[name], unless[name])
        elif what == "standing":
            guarded = stop_place(by_id[name]) is not None
            defeaters[name] = sorted(
                winner
                for winner in overriders[name]
                if winner in standing and not (guarded and unless[winner].truth == UNKNOWN)
            )
            if states[name] == FIRED and not defeaters[name]:
                standing.add(name)
            if states[name] == UNDECIDED and not defeaters[name]:
                live.add(name)
        elif vocabulary[name]["origin"] == "concluded":
            standing_setters = sorted(setters[name] & standing)
            values = [v for one in standing_setters for v in values_set(world, by_id[one], name)]
            if any(not same(value, values[0]) for value in values):
                ties[name] = standing_setters
                world.open.add(name)
            elif values:
                world.values[name] = values[0]
            elif setters[name] & live:
                world.open.add(name)

    lacks = {name: sorted(when[name].lacks) for name in by_id if states[name] == UNDECIDED}
    unless_unknown = {
        name: sorted(unless[name].lacks)
        for name in by_id
        if states[name] == FIRED and unless[name].truth == UNKNOWN
    }

    stands_unless: dict[str, list[str]] = {}
    for name in standing:
        doubts: set[str] = set()
        for winner in overriders[name]:
            if winner in live:
                doubts |= set(lacks[winner])
            elif winner in standing:
                # It stands and yet did not win: its `unless` is unknown and this rule stops.
                doubts |= set(unless_unknown[winner])
        if doubts:
            stands_unless[name] = sorted(doubts)

    value_stands_unless: dict[str, list[str]] = {}
    for fact, rivals in setters.items():
        doubts = set()
        for rival in rivals & live:
            others = values_set(world, by_id[rival], fact)
            if fact in world.values and any(not same(v, world.values[fact]) for v in others):
                doubts |= set(lacks[rival])
        if doubts:
            value_stands_unless[fact] = sorted(doubts)

    result = Result(
        values={fact: world.values[fact] for fact in setters if is_concluded(world, fact)},
        ties=ties,
        open=set(world.open),
        states=states,
        lacks=lacks,
        unless_unknown=unless_unknown,
        set_aside={
            name: defeaters[name] for name in by_id if states[name] == FIRED and defeaters[name]
        },
        standing=standing,
        live_undecided=live,
        stands_unless=stands_unless,
        value_stands_unless=value_stands_unless,
        demands={
            (name, place): judge_demand(world, word, fact, test)
            for name in standing
            for place, word, fact, test in demands_of(by_id[name], MUSTS + SHOULDS)
        },
    )
    return result, world


def starting_values(vocabulary: Vocabulary, facts: Facts) -> dict[str, Any]:
    """Give the values a run starts from, rounded; those that are none left out."""
    values = {}
    for fact, value in facts.items():
        if fact not in vocabulary:
            raise ValueError(f"`{fact}` is not in the vocabulary")
        if vocabulary[fact]["origin"] == "concluded":
            raise ValueError(f"`{fact}` is concluded by rules and cannot be given")
        usable = normal(value, bool(vocabulary[fact].get("several")))
        if usable is not None:
            values[fact] = usable
    return values


def in_order(
    world: World,
    by_id: Mapping[str, Rule],
    overriders: Mapping[str, set[str]],
    setters: Mapping[str, set[str]],
) -> list[Node]:
    """Put every firing, value and standing after those it waits for; CycleError if it cannot be."""
    waits: dict[Node, set[Node]] = {}
    for name, rule in by_id.items():
        for fact in facts_read(rule):
            world.declared(fact)
        waits["firing", name] = {("value", fact) for fact in facts_read(rule)}
        waits["standing", name] = {("firing", name)}
        for winner in overriders[name]:
            waits["standing", name] |= {("firing", winner), ("standing", winner)}
    for fact in world.vocabulary:
        waits["value", fact] = {("standing", name) for name in setters[fact]}
    try:
        return list(graphlib.TopologicalSorter(waits).static_order())
    except graphlib.CycleError as error:
        raise CycleError(error.args[1]) from None


def state_of(when: Answer, unless: Answer) -> str:
    """Fired, silent or undecided."""
    if when.truth == NO or unless.truth == YES:
        return SILENT
    return FIRED if when.truth == YES else UNDECIDED


def values_set(world: World, rule: Rule, fact: str) -> list[Any]:
    """List the values the rule sets the fact to (one, in a sound rule)."""
    several = bool(world.vocabulary[fact].get("several"))
    return [normal(value, several) for name, value in settings(rule) if name == fact]


def is_concluded(world: World, fact: str) -> bool:
    """Say whether the fact is a concluded one with a value."""
    return world.vocabulary[fact]["origin"] == "concluded" and fact in world.values


# --- choosing --------------------------------------------------------------------------


def choose(
    vocabulary: Vocabulary,
    rules: Sequence[Rule],
    facts: Facts,
    stated: Iterable[str],
    builds: Sequence[Facts],
    favours: Sequence[str],
    layers: Sequence[int] | None = None,
    needs: Mapping[str, Sequence[str]] | None = None,
) -> Choice:
    """Judge every build and rank those that survive.

    builds   the chosen (and per-build computed) facts of each, in stock order
    favours  rule ids, the house's first
    layers   the layers, highest first; all those of the rules if not given
    needs    computed fact -> the facts its function reads

    CycleError and ValueError as `evaluate`; ValueError without any build, and for a
    favour that is not listed.
    """
    if not builds:
        raise ValueError("there is no build to judge")
    by_id = {rule["id"]: rule for rule in rules}
    if layers is None:
        layers = sorted({rule["layer"] for rule in rules}, reverse=True)
    options = {fact for fact in vocabulary if vocabulary[fact]["origin"] == "option"}
    for build in builds:
        options |= {fact for fact in build if vocabulary[fact]["origin"] != "computed"}

    verdicts: list[BuildVerdict] = []
    worlds: list[World] = []
    for build in builds:
        own = {fact: value for fact, value in build.items() if value is not None}
        told = options & set(own)
        result, world = run(vocabulary, rules, {**facts, **own}, set(stated) | told)
        verdicts.append(verdict_of(by_id, result, world, options, needs or {}))
        worlds.append(world)

    standing_favours = favours_in_force(by_id, verdicts, favours)

    def ranked(among: Sequence[int]) -> list[list[int]]:
        return rank(among, verdicts, worlds, layers, standing_favours)

    survivors = [place for place, verdict in enumerate(verdicts) if verdict.survives]
    groups = ranked(survivors)
    nearest = None
    if not survivors:
        faults = [len(verdict.broken) + len(verdict.stops) for verdict in verdicts]
        nearest = ranked([p for p, count in enumerate(faults) if count == min(faults)])[0][0]

    if all(verdict.stops for verdict in verdicts):
        status = "stopped"
    elif not survivors:
        status = "rejected"
    else:
        status = "judged" if len(builds) == 1 else "advised"

    conflicts = conflict_sets(verdicts)
    shown = groups[0][0] if nearest is None else nearest
    return Choice(
        status=status,
        builds=verdicts,
        groups=groups,
        build=groups[0][0] if groups else None,
        equals=groups[0][1:] if groups else [],
        nearest=nearest,
        conflicts=conflicts[:MOST_CONFLICTS],
        more_conflicts=len(conflicts) > MOST_CONFLICTS,
        should_ties=tied_shoulds(by_id, verdicts[shown], worlds, options),
    )


def verdict_of(
    by_id: Mapping[str, Rule],
    result: Result,
    world: World,
    options: set[str],
    needs: Mapping[str, Sequence[str]],
) -> BuildVerdict:
    """Sum up what one run says of its build."""
    broken: list[Demand] = []
    unproven: list[Demand] = []
    stops: list[str] = []
    failures: set[tuple[int, str]] = set()
    for name in sorted(result.standing):
        rule = by_id[name]
        if stop_place(rule) is not None:
            stops.append(name)
        for place, _, _, _ in demands_of(rule, MUSTS):
            if result.demands[name, place] == BROKEN:
                broken.append((name, place))
            elif result.demands[name, place] == UNPROVEN:
                unproven.append((name, place))
        for place, _, fact, _ in demands_of(rule, SHOULDS):
            if result.demands[name, place] != MET:
                failures.add((rule["layer"], fact))
    for name in sorted(result.live_undecided):
        rule = by_id[name]
        if not all(
            wants_option(f, by_id, result, world, options, needs) for f in result.lacks[name]
        ):
            continue
        stop = stop_place(rule)
        if stop is not None:
            unproven.append((name, stop))
        for place, word, fact, test in demands_of(rule, MUSTS):
            if judge_demand(world, word, fact, test) != MET:
                unproven.append((name, place))
    return BuildVerdict(
        broken=broken,
        stops=stops,
        unproven=len(unproven),
        unproven_items=sorted(unproven),
        should_failures=failures,
        survives=not broken and not stops,
        result=result,
    )


def wants_option(
    fact: str,
    by_id: Mapping[str, Rule],
    result: Result,
    world: World,
    options: set[str],
    needs: Mapping[str, Sequence[str]],
) -> bool:
    """Say whether an unknown fact is unknown only because options have no value."""

    def traces(one: str) -> bool:
        return wants_option(one, by_id, result, world, options, needs)

    if fact in options:
        return True
    origin = world.declared(fact)["origin"]
    if origin == "computed":
        missing = [one for one in needs.get(fact, ()) if one not in world.values]
        return bool(missing) and all(traces(one) for one in missing)
    if origin == "concluded" and fact not in result.ties:
        could_set = [name for name in result.live_undecided if fact in dict(settings(by_id[name]))]
        return bool(could_set) and all(
            traces(one) for name in could_set for one in result.lacks[name]
        )
    return False


def favours_in_force(
    by_id: Mapping[str, Rule], verdicts: Sequence[BuildVerdict], favours: Sequence[str]
) -> list[tuple[str, str]]:
    """List (fact, highest | lowest) for the favours of rules that stand, in the order given."""
    wanted: dict[str, tuple[str, str]] = {}
    for name, rule in by_id.items():
        pairs = [pair for one in rule["then"] if "favour" in one for pair in one["favour"].items()]
        if len(pairs) > 1:
            raise ValueError(f"`{name}` favours more than one fact")
        if pairs and name not in favours:
            raise ValueError(f"`{name}` favours `{pairs[0][0]}` but is not among the favours")
        if pairs and pairs[0][1] not in ("highest", "lowest"):
            raise ValueError(f"`{name}` favours neither the highest nor the lowest")
        if pairs and all(name in verdict.result.standing for verdict in verdicts):
            wanted[name] = pairs[0]
    return [wanted[name] for name in favours if name in wanted]


def rank(
    among: Sequence[int],
    verdicts: Sequence[BuildVerdict],
    worlds: Sequence[World],
    layers: Sequence[int],
    favours: Sequence[tuple[str, str]],
) -> list[list[int]]:
    """Rank builds: unproven, then shoulds layer by layer, then favours. Best first."""
    by_score: dict[tuple[int, ...], list[int]] = {}
    for place in sorted(among):
        failures = verdicts[place].should_failures
        per_layer = [sum(1 for at, _ in failures if at == layer) for layer in layers]
        by_score.setdefault((verdicts[place].unproven, *per_layer), []).append(place)
    return [
        group
        for score in sorted(by_score)
        for group in split_by_favours(by_score[score], worlds, favours)
    ]


def split_by_favours(
    among: list[int], worlds: Sequence[World], favours: Sequence[tuple[str, str]]
) -> list[list[int]]:
    """Split builds that are level so far by the favours, first to last."""
    if not among:
        return []
    if not favours:
        return [among]
    fact, which = favours[0]
    values = {p: worlds[p].values[fact] for p in among if fact in worlds[p].values}
    if not values:
        return split_by_favours(among, worlds, favours[1:])
    if not all(is_number(value) for value in values.values()):
        raise ValueError(f"`{fact}` is favoured but is not a number")
    best = max(values.values()) if which == "highest" else min(values.values())
    within = nine(worlds[among[0]].declared(fact).get("within", 0))
    kept = [p for p in among if p in values and nine(abs(values[p] - best)) <= within]
    rest = [p for p in among if p not in kept]
    return split_by_favours(kept, worlds, favours[1:]) + split_by_favours(rest, worlds, favours)


def conflict_sets(verdicts: Sequence[BuildVerdict]) -> list[list[str]]:
    """List the least sets of rules of which every build breaks a must or carries a stop.

    Smallest first, then by the ids in order.
    """
    found: set[frozenset[str]] = {frozenset()}
    for verdict in verdicts:
        against = {name for name, _ in verdict.broken} | set(verdict.stops)
        # Each set so far speaks against the builds before; make it speak against this one.
        wider = {
            grown
            for one in found
            for grown in ([one] if one & against else [one | {name} for name in against])
        }
        found = {one for one in wider if not any(other < one for other in wider)}
    return sorted((sorted(one) for one in found), key=lambda names: (len(names), names))


def tied_shoulds(
    by_id: Mapping[str, Rule],
    shown: BuildVerdict,
    worlds: Sequence[World],
    options: set[str],
) -> list[tuple[Demand, Demand]]:
    """List the pairs of shoulds that some build meets one of, and none both."""
    shoulds = []  # ((id, place), layer, fact, the builds that meet it)
    for name in sorted(shown.result.standing):
        for place, word, fact, test in demands_of(by_id[name], SHOULDS):
            values = [world.values.get(fact) for world in worlds]
            if fact in options and any(not same(value, values[0]) for value in values):
                meet = {
                    at
                    for at, world in enumerate(worlds)
                    if judge_demand(world, word, fact, test) == MET
                }
                shoulds.append(((name, place), by_id[name]["layer"], fact, meet))
    return [
        (one, other)
        for (one, layer, fact, meet), (other, layer2, fact2, meet2) in combinations(shoulds, 2)
        if (layer, fact) == (layer2, fact2) and meet and meet2 and not meet & meet2
    ]
