"""Made-up rule bases: large ones for timing, small and awkward ones for finding disagreements.

Both generators return ``(vocabulary, rules, setups)`` and depend on their arguments alone: the
same number and seed give the same rule base on every machine.

* vocabulary: fact name -> ``{"kind", "origin"}``, and ``"several": True`` where a choice holds a
  list. ``"choices"`` (a list of names) and ``"range"`` (lowest, highest) are there for readers
  that want them.
* rules: mappings in the rule format, plain values, numbers bare. Every rule has ``id``, ``says``,
  ``then``, ``because`` and ``evidence``.
* setups: pairs ``(facts, stated)``: the values of given, option and computed facts (a missing one
  has no value), and the names among them that the setup or the stock stated.

No rule base has a cycle: not between a rule's firing, a fact's value and a rule's standing, and
not if a demand's facts are counted among the facts its rule reads either.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from typing import Any

Vocabulary = dict[str, dict[str, Any]]
Rules = list[dict[str, Any]]
Setup = tuple[dict[str, Any], set[str]]
Base = tuple[Vocabulary, Rules, list[Setup]]

DEMANDS = ("must", "must_not", "should", "should_not")
BOUNDS = ("at_least", "at_most", "above", "below")
NUMBERS = ("count", "quantity")

_WOODS = ("alder", "beech", "cedar", "elm", "fir", "oak")
_RULES_A_TOPIC = 8
_TOPICS_A_DISTRICT = 5


def is_acyclic(rules: Sequence[Mapping[str, Any]]) -> bool:
    """Say whether firing, values and standing can be put in an order.

    A rule fires after the facts it reads (here demands count as reading), a fact has its value
    after its setters stand or not, a rule stands or not after those that override it.
    """
    after: TopologicalSorter[tuple[str, str]] = TopologicalSorter()
    for rule in rules:
        fires, stands = ("fires", rule["id"]), ("stands", rule["id"])
        after.add(fires, *(("value", name) for name in facts_read(rule)))
        after.add(stands, fires)
        for loser in rule.get("overrides", ()):
            after.add(("stands", loser), fires, stands)
        for conclusion in rule["then"]:
            for name in conclusion.get("set", ()):
                after.add(("value", name), stands)
    try:
        after.prepare()
    except CycleError:
        return False
    return True


def facts_read(rule: Mapping[str, Any]) -> set[str]:
    """Name every fact that a rule's conditions and demands mention, on either side of a test."""
    found: set[str] = set()
    for part in ("when", "unless"):
        found.update(_mentioned(rule.get(part, {})))
    for conclusion in rule["then"]:
        for word in DEMANDS:
            found.update(_mentioned(conclusion.get(word, {})))
    return found


def _mentioned(condition: Mapping[str, Any]) -> Iterator[str]:
    for key, value in condition.items():
        if key in ("any", "all"):
            for part in value:
                yield from _mentioned(part)
        elif key == "not":
            yield from _mentioned(value)
        else:
            yield key
            yield from _on_the_right(value)


def _on_the_right(test: Any) -> Iterator[str]:
    if isinstance(test, list):
        for one in test:
            yield from _on_the_right(one)
    elif isinstance(test, Mapping):
        for key, value in test.items():
            if key == "fact":
                yield value
            else:
                yield from _on_the_right(value)


# --- large ones -----------------------------------------------------------------------------------


def synthetic(n_rules: int, seed: int) -> Base:
    """Make a rule base of `n_rules` rules shaped like a real one, and forty setups for it.

    Eight rules make a topic and share its facts; about a quarter as many given facts as rules;
    two to four conditions a rule, some of them any, not, lists or {fact: other}; a fifth with an
    unless; about 15 % with overrides; about 30 % set a concluded fact that later rules of the
    topic, or of a near one, read; the rest carry demands on options, or cautions. In a setup
    every option has a value and about a fifth of the given facts are missing.

    Raises ValueError if `n_rules` is not positive.
    """
    if n_rules < 1:
        raise ValueError("a rule base needs at least one rule")
    draw = random.Random(f"synthetic {n_rules} {seed}")
    vocabulary = _large_vocabulary(n_rules, draw)
    rules: Rules = []
    topics = -(-n_rules // _RULES_A_TOPIC)
    for topic in range(topics):
        size = min(_RULES_A_TOPIC, n_rules - len(rules))
        rules.extend(_topic(topic, size, vocabulary, draw))
    return vocabulary, rules, [_large_setup(vocabulary, draw) for _ in range(40)]


def _large_vocabulary(n_rules: int, draw: random.Random) -> Vocabulary:
    vocabulary: Vocabulary = {}
    topics = -(-n_rules // _RULES_A_TOPIC)
    for number in range(max(4, n_rules // 4)):
        vocabulary[f"topic{number % topics}.given{number // topics}"] = _declare(
            draw, "given", draw.choices(("choice", "several", "flag", "quantity"), (50, 8, 12, 30))
        )
    for number in range(max(5, n_rules // 50)):
        kind = ("choice", "count", "quantity")[number % 3]
        vocabulary[f"option.part{number}"] = _declare(draw, "option", [kind])
    for number in range(max(3, n_rules // 20)):
        vocabulary[f"computed.figure{number}"] = _declare(draw, "computed", ["quantity"])
    for topic in range(topics):
        for number in range(2):
            vocabulary[f"topic{topic}.concluded{number}"] = _declare(
                draw, "concluded", draw.choices(("choice", "flag"), (70, 30))
            )
    return vocabulary


def _declare(draw: random.Random, origin: str, kinds: Sequence[str]) -> dict[str, Any]:
    kind = kinds[0]
    if kind in ("choice", "several"):
        declared: dict[str, Any] = {"kind": "choice", "origin": origin}
        declared["choices"] = list(_WOODS[: draw.randint(3, 6)])
        if kind == "several":
            declared["several"] = True
        return declared
    if kind == "count":
        return {"kind": "count", "origin": origin, "range": [2, 6]}
    if kind == "quantity":
        return {"kind": "quantity", "origin": origin, "range": [0, draw.choice((5, 10, 20))]}
    return {"kind": "flag", "origin": origin}


def _topic(topic: int, size: int, vocabulary: Vocabulary, draw: random.Random) -> Rules:
    """Write the rules of one topic. Overrides stay inside it, so any cycle would lie inside it."""
    given = [name for name, d in vocabulary.items() if d["origin"] == "given"]
    options = [name for name, d in vocabulary.items() if d["origin"] == "option"]
    computed = [name for name, d in vocabulary.items() if d["origin"] == "computed"]
    own = [name for name in given if name.startswith(f"topic{topic}.")]
    shared = [*own, *draw.sample(given, min(3, len(given))), draw.choice(computed)]
    shared += draw.sample(options, min(2, len(options)))
    shared = list(dict.fromkeys(shared))
    first_of_district = topic - topic % _TOPICS_A_DISTRICT
    near = [f"topic{t}.concluded{n}" for t in range(first_of_district, topic) for n in range(2)]
    first, second = f"topic{topic}.concluded0", f"topic{topic}.concluded1"
    rules: Rules = []
    for position in range(size):
        early, middle = position < 4, 4 <= position < 6
        readable = near if early else [first, first, *near] if middle else [first, second, *near]
        rule: dict[str, Any] = {"id": f"topic-{topic}-rule-{position}", "says": "Do as it asks."}
        rule["when"] = _large_condition(vocabulary, shared, readable, draw)
        if draw.random() < 0.2:
            name = draw.choice(shared)
            rule["unless"] = {name: _large_test(name, vocabulary, draw)}
        settable = first if early else second
        sets = (early and draw.random() < 0.45) or (middle and draw.random() < 0.3)
        if sets:
            rule["then"] = [{"set": {settable: _any_value(settable, vocabulary, draw)}}]
        else:
            rule["then"] = [_large_demand(vocabulary, options, draw)]
        if draw.random() < 0.12:
            level = draw.choices(("note", "caution", "stop"), (45, 45, 10))[0]
            if sets or draw.random() < 0.5:
                rule["then"].append({"caution": {"level": level, "text": "Mind this."}})
            else:
                rule["then"] = [{"caution": {"level": level, "text": "Mind this."}}]
        rule["because"] = "It was made up to be timed."
        rule["evidence"] = {"class": "common-practice"}
        rules.append(rule)
        if position and draw.random() < 0.17:
            _let_it_override(rules, vocabulary, shared, draw)
    return rules


def _large_condition(
    vocabulary: Vocabulary, shared: Sequence[str], readable: Sequence[str], draw: random.Random
) -> dict[str, Any]:
    wanted = draw.choices((2, 3, 4), (50, 35, 15))[0]
    condition: dict[str, Any] = {}
    if readable and draw.random() < 0.45:
        name = draw.choice(readable)
        condition[name] = _large_test(name, vocabulary, draw)
    for name in draw.sample(shared, min(wanted, len(shared))):
        if len(condition) >= wanted:
            break
        shape = draw.random()
        if shape < 0.07 and "any" not in condition:
            other = draw.choice([one for one in shared if one != name])
            condition["any"] = [
                {name: _large_test(name, vocabulary, draw)},
                {other: _large_test(other, vocabulary, draw)},
            ]
        elif shape < 0.14 and "not" not in condition:
            condition["not"] = {name: _large_test(name, vocabulary, draw)}
        elif shape < 0.20 and vocabulary[name]["kind"] in ("choice", "quantity"):
            kind = vocabulary[name]["kind"]
            alike = [one for one in shared if one != name and vocabulary[one]["kind"] == kind]
            if not alike:
                condition[name] = _large_test(name, vocabulary, draw)
            elif kind == "choice":
                condition[name] = {"fact": draw.choice(alike)}
            else:
                condition[name] = {draw.choice(BOUNDS): {"fact": draw.choice(alike)}}
        else:
            condition[name] = _large_test(name, vocabulary, draw)
    return condition


def _large_test(name: str, vocabulary: Vocabulary, draw: random.Random) -> Any:
    declared = vocabulary[name]
    if declared["kind"] == "choice":
        choices = declared["choices"]
        if draw.random() < 0.4:
            return _common(choices, draw)
        return sorted(draw.sample(choices, draw.randint((len(choices) + 1) // 2, len(choices) - 1)))
    if declared["kind"] in NUMBERS:
        low, high = declared["range"]
        if draw.random() < 0.25:
            return {"at_least": low + 1, "at_most": draw.randint(low + 2, high)}
        near = draw.randint(1, max(1, (high - low) // 3))  # most rules of this kind ask for most
        if draw.random() < 0.5:
            return {draw.choice(("at_least", "above")): low + near}
        return {draw.choice(("at_most", "below")): high - near}
    return draw.random() < 0.6


def _common(choices: Sequence[str], draw: random.Random) -> str:
    """Draw a choice, the earlier ones more often: builders and rules both dwell on the usual."""
    return min(draw.choice(choices), draw.choice(choices), key=choices.index)


def _large_demand(
    vocabulary: Vocabulary, options: Sequence[str], draw: random.Random
) -> dict[str, Any]:
    name = draw.choice(options)
    word = draw.choices(DEMANDS, (35, 10, 45, 10))[0]
    return {word: {name: _large_test(name, vocabulary, draw)}}


def _let_it_override(
    rules: Rules, vocabulary: Vocabulary, shared: Sequence[str], draw: random.Random
) -> None:
    """Let the newest rule override an older one of the topic, unless that makes a cycle.

    Two times in three it becomes the usual exception: the loser's conditions and one more.
    """
    winner = rules[-1]
    for loser in draw.sample(rules[:-1], len(rules) - 1):
        before = copy.deepcopy(winner)
        winner["overrides"] = [loser["id"]]
        if draw.random() < 0.67:
            when = copy.deepcopy(loser["when"])
            spare = [name for name in shared if name not in when]
            if spare and len(when) < 4:
                name = draw.choice(spare)
                when[name] = _large_test(name, vocabulary, draw)
            winner["when"] = when
        if is_acyclic(rules):
            return
        winner.clear()
        winner.update(before)


def _any_value(name: str, vocabulary: Vocabulary, draw: random.Random) -> Any:
    declared = vocabulary[name]
    if declared["kind"] == "choice":
        if declared.get("several"):
            return draw.sample(declared["choices"], draw.randint(1, 2))
        return _common(declared["choices"], draw)
    if declared["kind"] in NUMBERS:
        low, high = declared["range"]
        if declared["kind"] == "count":
            return draw.randint(low, high)
        return draw.randint(2 * low, 2 * high) / 2
    return draw.random() < 0.5


def _large_setup(vocabulary: Vocabulary, draw: random.Random) -> Setup:
    facts: dict[str, Any] = {}
    stated: set[str] = set()
    for name, declared in vocabulary.items():
        missing = {"given": 0.2, "option": 0.0, "computed": 0.1, "concluded": 1.0}
        if draw.random() < missing[declared["origin"]]:
            continue
        facts[name] = _any_value(name, vocabulary, draw)
        if declared["origin"] == "given" and draw.random() < 0.9:
            stated.add(name)
    return facts, stated


# --- small and nasty ones -------------------------------------------------------------------------

_NAMES = ("none", "3d", "left")  # one reads like "nothing", one like a number: both are choices
_TEXTS = ("a b", 'so "said"')


def nasty(seed: int, *, several_concluded: bool = True) -> Base:
    """Make a small rule base in which everything meets everything, and twelve setups for it.

    Three to fourteen rules over six to ten facts of tiny domains (two or three choices, counts 0
    to 3, quantities 0 to 2 in halves), so bounds are hit exactly and rules often meet: several
    facts, chains of concluded facts, ties, known and stated on concluded facts, {fact: concluded}
    on either side, overrides of undecided rules and chains of overrides, stops overridden by
    rules whose unless is unknown, nots of anys.

    With `several_concluded` false no concluded fact holds a list.
    """
    draw = random.Random(f"nasty {seed}")
    vocabulary = _small_vocabulary(draw, several_concluded)
    rules: Rules = []
    if draw.random() < 0.5:
        rules += _duel(vocabulary, draw)
    for number in range(len(rules), draw.randint(3, 14)):
        _add_small_rule(number, rules, vocabulary, draw)
    return vocabulary, rules, [_small_setup(vocabulary, draw) for _ in range(12)]


def _small_vocabulary(draw: random.Random, several_concluded: bool) -> Vocabulary:
    origins = ["given", "given", "option", "concluded", "concluded"]
    for _ in range(draw.randint(1, 5)):
        origins += draw.choices(("given", "option", "computed", "concluded"), (3, 2, 1, 4))
    shapes = ("choice", "several", "flag", "count", "quantity", "text")
    vocabulary: Vocabulary = {}
    for number, origin in enumerate(origins):
        shape = draw.choices(shapes, (35, 20, 15, 10, 17, 3))[0]
        if origin == "computed":
            shape = draw.choice(("count", "quantity"))
        elif shape == "several" and origin == "concluded" and not several_concluded:
            shape = "choice"
        declared: dict[str, Any] = {"kind": shape, "origin": origin}
        if shape in ("choice", "several"):
            declared["kind"] = "choice"
            declared["choices"] = list(_NAMES[: draw.choice((2, 3, 3))])
            if shape == "several":
                declared["several"] = True
        elif shape == "count":
            declared["range"] = [0, 3]
        elif shape == "quantity":
            declared["range"] = [0, 2]
        vocabulary[f"{origin}.fact{number}"] = declared
    return vocabulary


def _duel(vocabulary: Vocabulary, draw: random.Random) -> Rules:
    """Write what chance alone seldom brings together: a loser, its winner, and a reader.

    The loser concludes a fact that the reader reads, is often undecided and often a stop; the
    winner's unless is often unknown. So whether the fact can still be concluded hangs on whether
    the winner may override.
    """
    given = [name for name, declared in vocabulary.items() if declared["origin"] == "given"]
    concluded = [name for name, d in vocabulary.items() if d["origin"] == "concluded"]
    fact, asked, excepted = draw.choice(concluded), draw.choice(given), draw.choice(given)
    loser: dict[str, Any] = {"id": "rule-0", "says": "Do as it asks."}
    loser["when"] = {asked: _small_test(asked, vocabulary, given, draw)}
    loser["then"] = [{"set": {fact: _small_value(fact, vocabulary, draw)}}]
    if draw.random() < 0.75:
        loser["then"].append({"caution": {"level": "stop", "text": "Mind this."}})
    winner: dict[str, Any] = {"id": "rule-1", "says": "Do as it asks."}
    if draw.random() < 0.4:
        winner["when"] = _small_condition(vocabulary, given, draw, 0)
    if draw.random() < 0.8:
        winner["unless"] = {excepted: _small_test(excepted, vocabulary, given, draw)}
    winner["then"] = [{"caution": {"level": "note", "text": "Mind this."}}]
    winner["overrides"] = ["rule-0"]
    reader: dict[str, Any] = {"id": "rule-2", "says": "Do as it asks."}
    reader["when"] = {fact: _small_plain_test(fact, vocabulary, given, draw)}
    reader["then"] = [_small_conclusion(vocabulary, given, draw)]
    reader["then"] = [one for one in reader["then"] if fact not in one.get("set", ())] or [
        {"caution": {"level": "note", "text": "Mind this."}}
    ]
    for rule in (loser, winner, reader):
        rule["because"] = "It was made up to be awkward."
        rule["evidence"] = {"class": "common-practice"}
    return [loser, winner, reader]


def _add_small_rule(number: int, rules: Rules, vocabulary: Vocabulary, draw: random.Random) -> None:
    """Append a rule that makes no cycle: try ever tamer ones."""
    concluded = [name for name, d in vocabulary.items() if d["origin"] == "concluded"]
    for attempt in range(40):
        readable = list(vocabulary)
        if attempt >= 10:
            readable = [name for name in vocabulary if name not in concluded]
        rule = _small_rule(number, rules, vocabulary, readable, draw)
        if attempt >= 25:
            rule.pop("overrides", None)
        rules.append(rule)
        if is_acyclic(rules):
            return
        rules.pop()
    raise AssertionError("a rule that reads no concluded fact cannot make a cycle")


def _small_rule(
    number: int,
    rules: Rules,
    vocabulary: Vocabulary,
    readable: Sequence[str],
    draw: random.Random,
) -> dict[str, Any]:
    rule: dict[str, Any] = {"id": f"rule-{number}", "says": "Do as it asks."}
    twin = draw.choice(rules) if rules and draw.random() < 0.3 else None
    if twin is not None and "when" in twin:
        rule["when"] = copy.deepcopy(twin["when"])
        if draw.random() < 0.4:
            rule["when"].update(_small_condition(vocabulary, readable, draw, 0))
    elif draw.random() < 0.9:
        rule["when"] = _small_condition(vocabulary, readable, draw, draw.choice((0, 1, 1, 2)))
    if draw.random() < 0.4:
        rule["unless"] = _small_condition(vocabulary, readable, draw, draw.choice((0, 0, 1, 2)))
    rule["then"] = [
        _small_conclusion(vocabulary, readable, draw) for _ in range(draw.choice((1, 1, 2, 3)))
    ]
    if twin is not None and draw.random() < 0.7:
        again = [copy.deepcopy(one) for one in twin["then"] if "set" in one]
        for one in again:
            name = next(iter(one["set"]))
            one["set"][name] = _small_value(name, vocabulary, draw)
        rule["then"] += again
    rule["then"] = _one_set_a_fact(rule["then"])
    rule["because"] = "It was made up to be awkward."
    rule["evidence"] = {"class": "common-practice"}
    if rules and draw.random() < (0.7 if twin is not None else 0.35):
        losers = draw.sample(rules, min(len(rules), draw.choice((1, 1, 2))))
        if twin is not None and twin not in losers:
            losers[0] = twin
        rule["overrides"] = [loser["id"] for loser in losers]
    return rule


def _one_set_a_fact(conclusions: Rules) -> Rules:
    """Drop a second set of one fact: a rule does not disagree with itself."""
    kept: Rules = []
    seen: set[str] = set()
    for one in conclusions:
        names = set(one.get("set", ()))
        if not names & seen:
            kept.append(one)
            seen |= names
    return kept


def _small_conclusion(
    vocabulary: Vocabulary, readable: Sequence[str], draw: random.Random
) -> dict[str, Any]:
    shape = draw.random()
    if shape < 0.55:
        name = draw.choice([n for n, d in vocabulary.items() if d["origin"] == "concluded"])
        return {"set": {name: _small_value(name, vocabulary, draw)}}
    if shape < 0.8:
        name = draw.choice([n for n, d in vocabulary.items() if d["origin"] != "concluded"])
        return {draw.choice(DEMANDS): {name: _small_test(name, vocabulary, readable, draw)}}
    level = draw.choices(("note", "caution", "stop"), (15, 15, 70))[0]
    return {"caution": {"level": level, "text": "Mind this."}}


def _small_condition(
    vocabulary: Vocabulary, readable: Sequence[str], draw: random.Random, depth: int
) -> dict[str, Any]:
    condition: dict[str, Any] = {}
    for _ in range(draw.choice((1, 1, 2) if depth else (1, 2, 2))):
        if depth and draw.random() < 0.55:
            word = draw.choice(("any", "all", "not", "not"))
            if word == "not":
                condition[word] = _small_condition(vocabulary, readable, draw, depth - 1)
            else:
                condition[word] = [
                    _small_condition(vocabulary, readable, draw, depth - 1)
                    for _ in range(draw.choice((1, 2, 2, 3)))
                ]
        else:
            name = draw.choice(readable)
            condition[name] = _small_test(name, vocabulary, readable, draw)
    return condition


def _small_test(
    name: str, vocabulary: Vocabulary, readable: Sequence[str], draw: random.Random
) -> Any:
    shape = draw.random()
    if shape < 0.14:
        return {draw.choice(("known", "known", "stated")): draw.random() < 0.5}
    if shape < 0.34:
        return [
            _small_plain_test(name, vocabulary, readable, draw)
            for _ in range(draw.choice((1, 2, 2, 3)))
        ]
    return _small_plain_test(name, vocabulary, readable, draw)


def _small_plain_test(
    name: str, vocabulary: Vocabulary, readable: Sequence[str], draw: random.Random
) -> Any:
    declared = vocabulary[name]
    group = "number" if declared["kind"] in NUMBERS else declared["kind"]
    alike = [
        one
        for one in readable
        if one != name
        and ("number" if vocabulary[one]["kind"] in NUMBERS else vocabulary[one]["kind"]) == group
    ]
    if group == "number" and draw.random() < 0.7:
        test: dict[str, Any] = {}
        for word in draw.sample(BOUNDS, draw.choice((1, 1, 2))):
            other = draw.choice(alike) if alike and draw.random() < 0.3 else None
            test[word] = {"fact": other} if other else _small_value(name, vocabulary, draw)
        return test
    if alike and draw.random() < 0.3:
        return {"fact": draw.choice(alike)}
    if declared.get("several"):
        return draw.choice(declared["choices"])
    return _small_value(name, vocabulary, draw)


def _small_value(name: str, vocabulary: Vocabulary, draw: random.Random) -> Any:
    declared = vocabulary[name]
    if declared["kind"] == "text":
        return draw.choice(_TEXTS)
    if declared.get("several"):
        wanted = draw.choice((1, 1, 2))
        return [one for one in declared["choices"] if one in draw.sample(_NAMES, wanted)] or [
            declared["choices"][0]
        ]
    return _any_value(name, vocabulary, draw)


def _small_setup(vocabulary: Vocabulary, draw: random.Random) -> Setup:
    facts: dict[str, Any] = {}
    stated: set[str] = set()
    missing = draw.choice((0.1, 0.35, 0.6))
    for name, declared in vocabulary.items():
        if declared["origin"] == "concluded" or draw.random() < missing:
            continue
        facts[name] = _small_value(name, vocabulary, draw)
        if draw.random() < 0.6:
            stated.add(name)
    return facts, stated
