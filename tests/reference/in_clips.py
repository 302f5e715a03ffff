"""A rule base as a CLIPS program, run through clipspy: a second opinion and a speed peer.

CLIPS is the C Language Integrated Production System; its Rete network and agenda decide here which
rules match and when. This module shares no code with the engine it is compared with. It reads plain
data (see `ClipsProgram`) and keeps the meaning of the rules: three values, exceptions, defeat,
ties, and concluded facts that are "no" once nothing could conclude them.

How the rules are put into CLIPS, chosen for speed by measurement:

* The setup is held by a few wide facts, a slot for each given, option or computed fact that some
  rule reads: `(setup0 (i0 oak) (i1 UNKNOWN) ...)`. So most rules about the setup are one or two
  patterns, judged in the pattern network without a join. A fact for each name (`width=1`) is the
  textbook way and somewhat slower; one fact for all is slow with many names, because CLIPS marks
  every slot of every matched fact as busy, and as free again, each time that a rule fires.
* Each rule becomes one CLIPS rule whose left side says "`when` is not no, and `unless` is not yes".
  What does not match is silent and costs nothing more; what matches is fired if `when` is yes,
  else undecided.
* A concluded fact is one CLIPS fact, asserted once, when all that could set it is settled: its
  value, UNKNOWN, or NEVER (no undecided rule could still conclude it). Rules that read it then
  match of themselves. NEVER is asserted only where some rule could match because of it.
* The order of values and standing is worked out here, once, and given to CLIPS as salience.
* Rules report in short codes, gathered in a few multifields (many short ones, for a multifield is
  copied to grow), and the whole trace leaves CLIPS as one string.
* A setup enters CLIPS as one string too. clipspy's error router is switched off meanwhile: CLIPS
  asks it, in Python, about every character that it reads from a string, which would make the run
  about three times slower. What CLIPS has to say of an error then goes to standard error.
"""

from __future__ import annotations

import importlib
import math
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import TopologicalSorter
from typing import Any, TypedDict

WIDTH = 16  # measured: 12 to 32 are much alike from 50 to 1000 rules
Node = tuple[str, str]

_DEMANDS = ("must", "must_not", "should", "should_not")
_BOUNDS = {"at_least": ">=", "at_most": "<=", "above": ">", "below": "<"}
_NUMBERS = ("count", "quantity")
_PLAIN = re.compile(r"[a-z][a-z0-9-]*")
# Words that CLIPS reads as part of a pattern or an action rather than as a symbol.
_RESERVED = frozenset(
    ("and", "or", "not", "test", "exists", "forall", "logical", "object", "nil", "if", "then")
)
_TOKENS_KEPT = 65_536
_RULES_A_LOG = 6


class Outcome(TypedDict):
    """What one run decided. Facts and rules that are not named have nothing to say.

    values: concluded fact -> its value (numbers as floats, several values as a sorted list).
    ties: concluded facts that standing rules set differently. states: every rule -> "fired",
    "silent" or "undecided". set_aside: fired rule -> the standing rules that set it aside.
    demands: (standing rule, place in its `then`, from 0) -> "met", "broken" or "unproven".
    """

    values: dict[str, Any]
    ties: set[str]
    states: dict[str, str]
    set_aside: dict[str, set[str]]
    demands: dict[tuple[str, int], str]


class ClipsProgram:
    """A rule base compiled by CLIPS once, to be run on many setups.

    vocabulary: fact name -> {kind, origin, several}. rules: mappings in the rule format with bare
    numbers; of their parts `id`, `when`, `unless`, `then` and `overrides` are read. `text` is the
    whole CLIPS program, for a reader.

    Raises ImportError if clipspy is missing, ValueError (`graphlib.CycleError` is one) if the
    rules have a cycle, name an unknown fact, or write what a rule cannot say.
    """

    def __init__(
        self,
        vocabulary: Mapping[str, Mapping[str, Any]],
        rules: Sequence[Mapping[str, Any]],
        *,
        width: int = WIDTH,
        routers: bool = False,
        fact_by_fact: bool = False,
    ) -> None:
        clips = importlib.import_module("clips")
        translated = _Translation(vocabulary, rules, width)
        self.text = "\n\n".join(translated.constructs)
        environment = clips.Environment()
        for construct in translated.constructs:
            environment.build(construct)
        self._environment = environment  # clipspy frees the network when this is collected
        self._routers = list(environment.routers())
        self._reset: Callable[[], None] = environment.reset
        self._call: Callable[[str, str], str] = environment.call
        self._meaning = translated.meaning
        self._silent = dict.fromkeys((rule["id"] for rule in rules), "silent")
        self._names = frozenset(
            name for name, declared in vocabulary.items() if declared["origin"] != "concluded"
        )
        tables = {kind: _Tokens(kind) for kind in ("choice", "flag", "count", "quantity", "text")}
        self._inputs = [
            (name, tables[vocabulary[name]["kind"]], bool(vocabulary[name].get("several")))
            for name in translated.inputs
        ]
        self._asked_if_stated = [
            (name, vocabulary[name]["origin"] == "option") for name in translated.asked_if_stated
        ]
        # The last line of `advise` reads everything out; fact by fact it is asked for on its own.
        told = self.text.rsplit("(run)", 1)[1].strip().removesuffix(")")
        self._told = told if fact_by_fact else None
        self._slots = [
            (number, slot) for number, group in enumerate(translated.slots) for slot, _ in group
        ]
        if fact_by_fact and width != 1:
            raise ValueError("fact by fact needs facts of width 1")
        # clipspy asks its Python routers about every character that CLIPS reads from a string.
        for router in () if routers else self._routers:
            router.deactivate()

    def _assert_each(self, words: Sequence[str]) -> str:
        """Assert the input fact by fact, as clipspy's documentation shows, and read what fired."""
        environment = self._environment
        environment.reset()
        environment.assert_string("(setup)")
        for (template, slot), word in zip(self._slots, words, strict=True):
            # A several value travels as one quoted text; its slot takes the words in it.
            environment.assert_string(f"(setup{template} ({slot} {word.strip(chr(34))}))")
        environment.run()
        return str(environment.eval(self._told))

    def run(self, facts: Mapping[str, Any], stated: Collection[str]) -> Outcome:
        """Judge every rule on one setup.

        facts: given, option and computed facts with their values (None or a number that is not
        finite is no value). stated: the names that the setup or the stock stated; an option with
        a value counts as stated anyway. Numbers are rounded to nine significant digits.

        Raises ValueError for a name that is not a given, option or computed fact and for a value
        of the wrong kind, RuntimeError if CLIPS did not finish.
        """
        if not facts.keys() <= self._names:
            raise ValueError(f"no such input: {sorted(facts.keys() - self._names)}")
        words: list[str] = []
        for name, tokens, several in self._inputs:
            value = facts.get(name)
            if value is None:
                words.append('"UNKNOWN"' if several else "UNKNOWN")
            elif several:
                words.append(_quoted(" ".join([tokens[one] for one in value])))
            else:
                words.append(tokens[value])
        for name, is_option in self._asked_if_stated:
            yes = name in stated or (is_option and facts.get(name) is not None)
            words.append("TRUE" if yes else "FALSE")
        if self._told is None:
            self._reset()
            codes = self._call("advise", " ".join(words)).split()
        else:
            codes = self._assert_each(words).split()
        if not codes or codes.pop() != "done":
            raise RuntimeError("CLIPS stopped before it was done; its own message says why")
        states = self._silent.copy()
        values: dict[str, Any] = {}
        ties: set[str] = set()
        set_aside: dict[str, set[str]] = {}
        demands: dict[tuple[str, int], str] = {}
        meaning = self._meaning
        for code in codes:
            what, subject, value = meaning[code]
            if what == "state":
                states[subject] = value
            elif what == "demand":
                demands[subject] = value
            elif what == "value":
                values[subject] = value
            elif what == "set aside":
                set_aside.setdefault(subject, set()).add(value)
            else:
                ties.add(subject)
        return {
            "values": values,
            "ties": ties,
            "states": states,
            "set_aside": set_aside,
            "demands": demands,
        }


# --- values ---------------------------------------------------------------------------------------


class _Tokens(dict[Any, str]):
    """CLIPS spellings of the values of one kind, each worked out once."""

    def __init__(self, kind: str) -> None:
        super().__init__()
        self._kind = kind

    def __missing__(self, value: Any) -> str:
        token = _token(value, self._kind)
        if len(self) >= _TOKENS_KEPT:  # any number may come, so the store must not grow for ever
            self.clear()
        self[value] = token
        return token


def _token(value: Any, kind: str) -> str:
    """Spell a value for CLIPS: numbers always as floats, for `eq` tells 3 from 3.0."""
    if kind in _NUMBERS:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError(f"not a number: {value!r}")
        rounded = _rounded(value)
        return repr(rounded) if math.isfinite(rounded) else "UNKNOWN"
    if kind == "flag":
        if not isinstance(value, bool):
            raise ValueError(f"not true or false: {value!r}")
        return "TRUE" if value else "FALSE"
    if not isinstance(value, str) or "\0" in value:
        raise ValueError(f"not a word or text: {value!r}")
    if _PLAIN.fullmatch(value) and value not in _RESERVED:
        return value
    return _quoted(value)


def _rounded(number: float) -> float:
    """Round to nine significant digits; no minus zero, which `eq` would tell from zero."""
    return float(f"{number:.9g}") + 0.0


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


# --- CLIPS expressions ----------------------------------------------------------------------------


def _and(parts: Iterable[str]) -> str:
    kept = [part for part in dict.fromkeys(parts) if part != "TRUE"]
    if "FALSE" in kept:
        return "FALSE"
    return "TRUE" if not kept else kept[0] if len(kept) == 1 else f"(and {' '.join(kept)})"


def _or(parts: Iterable[str]) -> str:
    kept = [part for part in dict.fromkeys(parts) if part != "FALSE"]
    if "TRUE" in kept:
        return "TRUE"
    return "FALSE" if not kept else kept[0] if len(kept) == 1 else f"(or {' '.join(kept)})"


def _not(part: str) -> str:
    if part.startswith("(not "):
        return part[len("(not ") : -1]
    return {"TRUE": "FALSE", "FALSE": "TRUE"}.get(part, f"(not {part})")


def _if(condition: str, then: str, otherwise: str) -> str:
    if condition == "TRUE":
        return then
    if condition == "FALSE":
        return otherwise
    alternative = f" else {otherwise}" if otherwise else ""
    return (
        f"(if {condition} then {then}{alternative})"
        if then
        else f"(if {condition} then{alternative})"
    )


@dataclass(frozen=True)
class _Judged:
    """A three-valued condition as two CLIPS tests: is it yes, and is it yes or unknown.

    names: the facts whose variables the tests use; asks: the facts asked whether they are stated.
    literal: if the condition is about one fact and can be written inside a pattern, "possible"
    that way. bare: with "possible" known, the condition is yes if the one fact has a value.
    """

    yes: str
    possible: str
    names: frozenset[str] = frozenset()
    asks: frozenset[str] = frozenset()
    literal: str = ""
    bare: bool = False


def _all(parts: Sequence[_Judged]) -> _Judged:
    if len(parts) == 1:
        return parts[0]
    return _Judged(
        _and(part.yes for part in parts),
        _and(part.possible for part in parts),
        frozenset().union(*(part.names for part in parts)),
        frozenset().union(*(part.asks for part in parts)),
    )


def _any(parts: Sequence[_Judged]) -> _Judged:
    if len(parts) == 1:
        return parts[0]
    return _Judged(
        _or(part.yes for part in parts),
        _or(part.possible for part in parts),
        frozenset().union(*(part.names for part in parts)),
        frozenset().union(*(part.asks for part in parts)),
    )


def _opposite(part: _Judged) -> _Judged:
    return _Judged(_not(part.possible), _not(part.yes), part.names, part.asks)


# --- the translation ------------------------------------------------------------------------------


@dataclass
class _Rule:
    """One rule with its conditions judged."""

    number: int
    id: str
    when: list[_Judged]
    unless: _Judged
    sets: list[tuple[str, Any]]
    demands: list[tuple[int, _Judged]]
    is_stop: bool
    overrides: list[str]
    overridden_by: list[str] = field(default_factory=list)

    @property
    def reads(self) -> frozenset[str]:
        return self.unless.names.union(*(part.names for part in self.when))


class _Translation:
    """The CLIPS constructs of a rule base, and what the codes they report in mean.

    inputs: the facts of the setup, in the order of their slots; asked_if_stated: those after
    them, asked for as TRUE or FALSE.
    """

    def __init__(
        self,
        vocabulary: Mapping[str, Mapping[str, Any]],
        rules: Sequence[Mapping[str, Any]],
        width: int,
    ) -> None:
        if width < 1:
            raise ValueError("a fact of the setup needs at least one slot")
        self.vocabulary = vocabulary
        self._width = width
        self.meaning: dict[str, tuple[str, Any, Any]] = {}
        self.constructs: list[str] = []
        self._variables = {
            name: ("c" if declared["origin"] == "concluded" else "i") + str(number)
            for number, (name, declared) in enumerate(vocabulary.items())
        }
        self.rules = {
            rule["id"]: self._read_rule(number, rule) for number, rule in enumerate(rules)
        }
        if len(self.rules) != len(rules):
            raise ValueError("two rules have one id")
        for rule in self.rules.values():
            rule.overrides = [loser for loser in rule.overrides if loser in self.rules]
            for loser in rule.overrides:
                self.rules[loser].overridden_by.append(rule.id)
        self._levels = self._order()
        self._choose_inputs()
        self._logs = max(1, len(rules) // _RULES_A_LOG)
        self._values = self._code_values()
        self._write()

    # Reading the rules

    def _read_rule(self, number: int, rule: Mapping[str, Any]) -> _Rule:
        sets: list[tuple[str, Any]] = []
        demands: list[tuple[int, _Judged]] = []
        is_stop = False
        for place, conclusion in enumerate(rule["then"]):
            for word, body in conclusion.items():
                if word == "set":
                    sets.extend(body.items())
                elif word in _DEMANDS:
                    ((name, test),) = body.items()
                    if self._declared(name)["origin"] == "concluded":
                        raise ValueError(f"{rule['id']} asks something of the concluded {name}")
                    wanted = self._test(name, test, in_demand=True)
                    negative = word.endswith("_not")
                    demands.append((place, _opposite(wanted) if negative else wanted))
                elif word == "caution" and body["level"] == "stop":
                    is_stop = True
        for name, _ in sets:
            if self._declared(name)["origin"] != "concluded":
                raise ValueError(f"{rule['id']} sets {name}, which is not a concluded fact")
        when = self._parts(rule["when"]) if "when" in rule else []
        unless = (
            _all(self._parts(rule["unless"])) if "unless" in rule else _Judged("FALSE", "FALSE")
        )
        overrides = list(dict.fromkeys(rule.get("overrides", ())))
        return _Rule(number, rule["id"], when, unless, sets, demands, is_stop, overrides)

    def _declared(self, name: str) -> Mapping[str, Any]:
        if name not in self.vocabulary:
            raise ValueError(f"no such fact: {name}")
        return self.vocabulary[name]

    def _parts(self, condition: Mapping[str, Any]) -> list[_Judged]:
        """Judge the parts of a condition, those of an `all` among them laid open."""
        if not condition:
            raise ValueError("an empty condition")
        parts: list[_Judged] = []
        for key, value in condition.items():
            if key in ("any", "all") and not value:
                raise ValueError(f"an empty {key}")
            if key == "all":
                for one in value:
                    parts.extend(self._parts(one))
            elif key == "any":
                parts.append(_any([_all(self._parts(one)) for one in value]))
            elif key == "not":
                parts.append(_opposite(_all(self._parts(value))))
            else:
                parts.append(self._test(key, value))
        return parts

    def _test(self, name: str, test: Any, *, in_demand: bool = False) -> _Judged:
        """Judge one test. In a demand, a fact without a value is never a plain no."""
        self._declared(name)
        if isinstance(test, list):
            if not test:
                raise ValueError(f"an empty list as a test of {name}")
            constants = [one for one in test if not isinstance(one, (Mapping, list))]
            parts = [self._is_one_of(name, constants)] if constants else []
            parts += [
                self._test(name, one, in_demand=in_demand)
                for one in test
                if isinstance(one, (Mapping, list))
            ]
            return _any(parts)
        if not isinstance(test, Mapping):
            return self._is_one_of(name, [test])
        words = set(test)
        if words == {"fact"}:
            return self._is_like(name, test["fact"], in_demand)
        if words == {"known"}:
            has = self._has(name)
            yes = has if test["known"] else _not(has)
            return _Judged(yes, yes, frozenset([name]), literal=self._known_literal(name, **test))
        if words == {"stated"}:
            if self.vocabulary[name]["origin"] == "concluded":
                yes = "FALSE" if test["stated"] else "TRUE"
                return _Judged(yes, yes)
            yes = f"(eq {self._asked(name)} {'TRUE' if test['stated'] else 'FALSE'})"
            return _Judged(yes, yes, asks=frozenset([name]))
        if words and words <= set(_BOUNDS):
            return self._is_within(name, test, in_demand)
        raise ValueError(f"not a test of {name}: {test!r}")

    def _is_one_of(self, name: str, constants: Sequence[Any]) -> _Judged:
        declared, variable = self.vocabulary[name], self._variable(name)
        tokens = list(dict.fromkeys(_token(one, declared["kind"]) for one in constants))
        names = frozenset([name])
        if declared.get("several"):
            held = [f"(member$ {token} {variable})" for token in tokens]
            unknown = f"(member$ UNKNOWN {variable})"
            return _Judged(_or(held), _or([*held, unknown]), names)
        return _Judged(
            _among(variable, tokens),
            _among(variable, [*tokens, "UNKNOWN"]),
            names,
            literal="|".join([*tokens, "UNKNOWN"]),
            bare=True,
        )

    def _is_within(self, name: str, bounds: Mapping[str, Any], in_demand: bool) -> _Judged:
        if self.vocabulary[name]["kind"] not in _NUMBERS:
            raise ValueError(f"a bound on {name}, which is not a number")
        variable = self._variable(name)
        inside: list[str] = []
        parts: list[_Judged] = []
        for word, bound in bounds.items():
            if isinstance(bound, Mapping):
                parts.append(self._compare(name, bound["fact"], _BOUNDS[word], in_demand))
            else:
                inside.append(f"({_BOUNDS[word]} {variable} {_token(bound, 'quantity')})")
        if inside:
            holds = _and(inside)
            is_number = f"(floatp {variable})"
            safely = holds
            if self.vocabulary[name]["origin"] == "concluded":  # it may be NEVER
                safely = _and([is_number, *inside])
            parts.append(
                _Judged(
                    _and([is_number, *inside]),
                    _or([f"(eq {variable} UNKNOWN)", safely]),
                    frozenset([name]),
                    bare=True,
                )
            )
        return _all(parts)

    def _is_like(self, name: str, other: str, in_demand: bool) -> _Judged:
        left, right = self._variable(name), self._variable(other)
        several = bool(self.vocabulary[name].get("several"))
        others = bool(self._declared(other).get("several"))
        if several and others:
            same = f"(share {left} {right})"
        elif several:
            same = f"(member$ {right} {left})"
        elif others:
            same = f"(member$ {left} {right})"
        else:
            same = f"(eq {left} {right})"
        return self._both(name, other, same, in_demand)

    def _compare(self, name: str, other: str, sign: str, in_demand: bool) -> _Judged:
        if self._declared(other)["kind"] not in _NUMBERS:
            raise ValueError(f"a bound by {other}, which is not a number")
        same = f"({sign} {self._variable(name)} {self._variable(other)})"
        return self._both(name, other, same, in_demand)

    def _both(self, name: str, other: str, holds: str, in_demand: bool) -> _Judged:
        """Judge a relation of two facts: no if either is never to have a value."""
        have = [self._has(name), self._has(other)]
        if in_demand:
            alive: list[str] = []
        else:
            alive = [self._alive(name), self._alive(other)]
        return _Judged(
            _and([*have, holds]),
            _and([*alive, _or([*map(_not, have), holds])]),
            frozenset([name, other]),
        )

    def _variable(self, name: str) -> str:
        self._declared(name)
        return "?" + self._variables[name]

    def _asked(self, name: str) -> str:
        return "?s" + self._variables[name][1:]

    def _has(self, name: str) -> str:
        """Test that a fact has a value."""
        declared, variable = self._declared(name), self._variable(name)
        marks = ["UNKNOWN", "NEVER"] if declared["origin"] == "concluded" else ["UNKNOWN"]
        if declared.get("several"):
            return _not(_or([f"(member$ {mark} {variable})" for mark in marks]))
        return f"(neq {variable} {' '.join(marks)})"

    def _alive(self, name: str) -> str:
        """Test that a fact has a value or could still have one."""
        declared, variable = self._declared(name), self._variable(name)
        if declared["origin"] != "concluded":
            return "TRUE"
        if declared.get("several"):
            return f"(not (member$ NEVER {variable}))"
        return f"(neq {variable} NEVER)"

    def _known_literal(self, name: str, known: bool) -> str:
        declared = self.vocabulary[name]
        if declared.get("several") or declared["kind"] in _NUMBERS:
            return ""  # CLIPS refuses to compare a variable that a literal makes a symbol
        if declared["origin"] == "concluded":
            return "~UNKNOWN&~NEVER" if known else "UNKNOWN|NEVER"
        return "~UNKNOWN" if known else "UNKNOWN"

    # Order

    def _order(self) -> dict[Node, int]:
        """Give each firing, value and standing the number of settlings that come before it."""
        before: dict[Node, set[Node]] = {}
        for rule in self.rules.values():
            before[("fires", rule.id)] = {
                ("value", name)
                for name in rule.reads
                if self.vocabulary[name]["origin"] == "concluded"
            }
            before[("stands", rule.id)] = {("fires", rule.id)}.union(
                *({("fires", one), ("stands", one)} for one in rule.overridden_by)
            )
            for name, _ in rule.sets:
                before.setdefault(("value", name), set()).add(("stands", rule.id))
        levels: dict[Node, int] = {}
        for node in TopologicalSorter(before).static_order():
            after = max((levels[one] for one in before.get(node, ())), default=0)
            what, name = node
            settles = what == "value" or (what == "stands" and self.rules[name].overridden_by)
            levels[node] = after + 1 if settles else after
        return levels

    def _choose_inputs(self) -> None:
        """Keep the facts that some rule reads, and deal them out to facts of the setup.

        They are dealt in the order in which the rules first read them, since neighbours in a file
        tend to read the same; inside a fact the often read come first, so patterns share tests.
        """
        often: dict[str, int] = {}
        asked: dict[str, None] = {}
        self._read: set[str] = set()
        self._never_matters: set[str] = set()
        for rule in self.rules.values():
            judged = [*rule.when, rule.unless, *(one for _, one in rule.demands)]
            for part in judged:
                asked.update(dict.fromkeys(sorted(part.asks)))
                for name in sorted(part.names):
                    if self.vocabulary[name]["origin"] == "concluded":
                        self._read.add(name)
                        if not part.bare or part not in rule.when:
                            self._never_matters.add(name)
                    else:
                        often[name] = often.get(name, 0) + 1
        first_read = list(often)
        groups = [
            first_read[start : start + self._width]
            for start in range(0, len(first_read), self._width)
        ]
        for group in groups:
            group.sort(key=lambda name: -often[name])
        self.asked_if_stated = list(asked)
        self.slots = [
            [(self._variables[name], bool(self.vocabulary[name].get("several"))) for name in group]
            for group in groups
        ]
        for start in range(0, len(self.asked_if_stated), self._width):
            some = self.asked_if_stated[start : start + self._width]
            self.slots.append([("s" + self._variables[name][1:], False) for name in some])
        self.inputs = [name for group in groups for name in group]
        self._place = {
            slot: (number, place)
            for number, group in enumerate(self.slots)
            for place, (slot, _) in enumerate(group)
        }

    def _code_values(self) -> dict[str, dict[str, str]]:
        """Give each value that a rule sets a code: fact -> spelling -> code."""
        codes: dict[str, dict[str, str]] = {}
        for rule in self.rules.values():
            for name, value in rule.sets:
                known = codes.setdefault(name, {})
                spelling, plain = self._spelled(name, value)
                if spelling not in known:
                    code = f"v{self._variables[name][1:]}.{len(known)}"
                    known[spelling] = self._means(code, "value", name, plain)
        return codes

    def _spelled(self, name: str, value: Any) -> tuple[str, Any]:
        """Spell a value to be set, and say it as it will be reported."""
        declared = self.vocabulary[name]
        kind = declared["kind"]
        if declared.get("several"):
            # The order of several values says nothing, so it must not tell two values apart.
            kept = sorted(set(value)) if isinstance(value, list) else [value]
            return " ".join(_token(one, kind) for one in kept), kept
        spelling = _token(value, kind)
        if spelling == "UNKNOWN":
            raise ValueError(f"{name} cannot be set to {value!r}")
        return spelling, _rounded(value) if kind in _NUMBERS else value

    def _means(self, code: str, what: str, subject: Any, value: Any) -> str:
        self.meaning[code] = (what, subject, value)
        return code

    # Writing CLIPS

    def _write(self) -> None:
        for number in range(self._logs):
            self.constructs.append(f"(defglobal ?*log{number}* = (create$))")
        self.constructs.append("(defglobal ?*done* = stopped)")
        for number, group in enumerate(self.slots):
            slots = [f"({'multislot' if several else 'slot'} {slot})" for slot, several in group]
            self.constructs.append(f"(deftemplate setup{number} {' '.join(slots)})")
        self.constructs.append(
            "(deffunction share (?some ?others)\n"
            "  (foreach ?one ?some (if (member$ ?one ?others) then (return TRUE)))\n"
            "  FALSE)"
        )
        for rule in self.rules.values():
            self._write_firing(rule)
            if rule.overridden_by:
                self._write_standing(rule)
            for place, demand in rule.demands:
                if self._comes_late(demand):
                    self._write_late_demand(rule, place, demand)
        for name in sorted(self._read | set(self._values)):
            self._write_value(name)
        self._add_rule("done", ["(setup)"], ["(bind ?*done* done)"], salience=-10_000)
        self._write_advise()

    def _write_advise(self) -> None:
        asserted = ["(setup)"]
        place = 0
        for number, group in enumerate(self.slots):
            filled: list[str] = []
            for slot, several in group:
                place += 1
                value = f"(nth$ {place} ?in)"
                filled.append(f"({slot} {f'(explode$ {value})' if several else value})")
            asserted.append(f"(setup{number} {' '.join(filled)})")
        logs = " ".join(f"?*log{number}*" for number in range(self._logs))
        self.constructs.append(
            "(deffunction advise (?text)\n"
            "  (bind ?in (explode$ ?text))\n"
            f"  (assert {' '.join(asserted)})\n"
            "  (run)\n"
            f"  (implode$ (create$ {logs} ?*done*)))"
        )

    def _write_firing(self, rule: _Rule) -> None:
        """Match if `when` is not no and `unless` is not yes; then fire, or be undecided."""
        facts = sorted({name for part in rule.when if part.bare for name in part.names})
        exact = [part.yes for part in rule.when if not part.bare and part.yes != part.possible]
        has = [f"(neq UNKNOWN {' '.join(map(self._variable, facts))})"] if facts else []
        is_yes = _and([*has, *exact])
        fired = self._means(f"f{rule.number}", "state", rule.id, "fired")
        undecided = self._means(f"u{rule.number}", "state", rule.id, "undecided")
        if rule.overridden_by:
            needed = self._unless_is_unknown_for_a_stop(rule)
            unknown = rule.unless.possible if needed else "FALSE"
            yes = [self._log(rule, fired), f"(assert (fired{rule.number} {unknown}))"]
            perhaps = [self._log(rule, undecided)]
            if rule.sets:
                perhaps.append(f"(assert (open{rule.number}))")
            wanted = [rule.unless] if needed else []
        else:
            yes = self._stand(rule, fired, rule.unless.possible)
            perhaps = [self._log(rule, undecided), *self._leave_open(rule)]
            wanted = self._needed_to_stand(rule)
            if self._unless_is_unknown_for_a_stop(rule):
                wanted.append(rule.unless)
        actions = [_if(is_yes, " ".join(yes), " ".join(perhaps))]
        patterns = self._patterns(rule.when, rule.unless, wanted)
        if patterns is not None:
            self._add_rule(f"fire{rule.number}", patterns, actions, comment=rule.id)

    def _write_standing(self, rule: _Rule) -> None:
        """Settle an overridden rule after all that override it."""
        salience = -self._levels[("stands", rule.id)]
        unbeaten = f"(not (beat{rule.number} ?))"
        self._add_rule(
            f"stand{rule.number}",
            [
                f"(fired{rule.number} ?unless-unknown)",
                unbeaten,
                *(self._patterns([], None, self._needed_to_stand(rule), plain=True) or ()),
            ],
            self._stand(rule, "", "?unless-unknown"),
            salience=salience,
        )
        if rule.sets:
            self._add_rule(
                f"live{rule.number}",
                [f"(open{rule.number})", unbeaten],
                self._leave_open(rule),
                salience=salience,
            )
        self._add_rule(
            f"aside{rule.number}",
            [f"(fired{rule.number} ?)", f"(beat{rule.number} ?winner)"],
            [self._log(rule, "?winner")],
        )

    def _needed_to_stand(self, rule: _Rule) -> list[_Judged]:
        return [one for _, one in rule.demands if not self._comes_late(one)]

    def _comes_late(self, demand: _Judged) -> bool:
        """Say whether a demand waits for concluded facts."""
        return any(self.vocabulary[name]["origin"] == "concluded" for name in demand.names)

    def _unless_is_unknown_for_a_stop(self, rule: _Rule) -> bool:
        """Say whether it matters that the rule's unless is unknown."""
        beats_a_stop = any(self.rules[loser].is_stop for loser in rule.overrides)
        return beats_a_stop and rule.unless.possible != "FALSE"

    def _stand(self, rule: _Rule, first_code: str, unless_unknown: str) -> list[str]:
        """Report the demands, conclude the facts and set aside the rules of a standing rule."""
        codes = [first_code] if first_code else []
        late = False
        for place, demand in rule.demands:
            if self._comes_late(demand):
                late = True
            else:
                codes.append(self._demand_code(rule, place, demand))
        actions = [self._log(rule, *codes)] if codes else []
        asserted = [self._setting(name, value) for name, value in rule.sets]
        guarded: list[str] = []
        for loser in (self.rules[one] for one in rule.overrides):
            code = self._means(f"a{loser.number}.{rule.number}", "set aside", loser.id, rule.id)
            beat = f"(beat{loser.number} {code})"
            if loser.is_stop and self._unless_is_unknown_for_a_stop(rule):
                guarded.append(beat)
            else:
                asserted.append(beat)
        if late:
            asserted.append(f"(stands{rule.number})")
        if asserted:
            actions.append(f"(assert {' '.join(asserted)})")
        if guarded:
            actions.append(_if(unless_unknown, "", f"(assert {' '.join(guarded)})"))
        return actions

    def _setting(self, name: str, value: Any) -> str:
        spelling, _ = self._spelled(name, value)
        return f"(set{self._variables[name][1:]} {self._values[name][spelling]} {spelling})"

    def _leave_open(self, rule: _Rule) -> list[str]:
        """Let an undecided rule keep the facts it could still conclude from being a no."""
        facts = dict.fromkeys(name for name, _ in rule.sets if name in self._read)
        marks = " ".join(f"(open-fact{self._variables[name][1:]})" for name in facts)
        return [f"(assert {marks})"] if marks else []

    def _demand_code(self, rule: _Rule, place: int, demand: _Judged) -> str:
        met, unproven, broken = (
            self._means(f"{word[0]}{rule.number}.{place}", "demand", (rule.id, place), word)
            for word in ("met", "unproven", "broken")
        )
        return _if(demand.yes, met, _if(demand.possible, unproven, broken))

    def _write_late_demand(self, rule: _Rule, place: int, demand: _Judged) -> None:
        self._add_rule(
            f"demand{rule.number}-{place}",
            [
                f"(stands{rule.number})",
                *(self._patterns([], None, [demand], plain=True) or ()),
            ],
            [self._log(rule, self._demand_code(rule, place, demand))],
        )

    def _write_value(self, name: str) -> None:
        """Settle a concluded fact once all that could set it stands or does not."""
        number = self._variables[name][1:]
        several = bool(self.vocabulary[name].get("several"))
        salience = -self._levels.get(("value", name), 1)
        is_read = name in self._read
        spellings = self._values.get(name, {})
        held = "$?value" if several else "?value"
        log = self._log_number(int(number))
        if spellings:
            patterns = [f"(set{number} ?code {held})"]
            if len(spellings) > 1:
                patterns.append(f"(not (set{number} ~?code $?))")
            actions = [f"(bind ?*log{log}* (create$ ?*log{log}* ?code))"]
            if is_read:
                actions.append(f"(assert (c{number} {held}))")
            self._add_rule(f"value{number}", patterns, actions, salience=salience, comment=name)
        if len(spellings) > 1:
            code = self._means(f"t{number}", "tie", name, None)
            self._add_rule(
                f"tie{number}",
                [
                    f"(set{number} ?code $?)",
                    f"(set{number} ~?code $?)",
                    f"(not (c{number} $?))",
                ],
                [
                    f"(assert (c{number} UNKNOWN))",
                    f"(bind ?*log{log}* (create$ ?*log{log}* {code}))",
                ],
                salience=salience,
            )
        if is_read and spellings:
            self._add_rule(
                f"unknown{number}",
                [f"(open-fact{number})", f"(not (set{number} $?))"],
                [f"(assert (c{number} UNKNOWN))"],
                salience=salience,
            )
        if name in self._never_matters:
            self._add_rule(
                f"never{number}",
                ["(setup)", f"(not (set{number} $?))", f"(not (open-fact{number}))"],
                [f"(assert (c{number} NEVER))"],
                salience=salience,
            )

    def _log(self, rule: _Rule, *codes: str) -> str:
        log = self._log_number(rule.number)
        return f"(bind ?*log{log}* (create$ ?*log{log}* {' '.join(codes)}))"

    def _log_number(self, number: int) -> int:
        return number % self._logs

    def _patterns(
        self,
        when: Sequence[_Judged],
        unless: _Judged | None,
        wanted: Sequence[_Judged],
        *,
        plain: bool = False,
    ) -> list[str] | None:
        """Write the patterns that bind every fact named and hold if the rule is not silent.

        Returns None if they never hold. With `plain` there is no pattern where no fact is named.
        """
        names: dict[str, list[str]] = {}
        asks: dict[str, None] = {}
        tests: list[str] = []
        conditions = list(when)
        if unless is not None and unless.yes != "FALSE":
            conditions.append(_Judged("", _not(unless.yes), unless.names, unless.asks))
        for part in [*conditions, *wanted]:
            names.update({name: names.get(name, []) for name in sorted(part.names)})
            asks.update(dict.fromkeys(sorted(part.asks)))
        alone: dict[str, list[_Judged]] = {}
        for part in conditions:
            if part.possible == "FALSE":
                return None
            if part.possible == "TRUE":
                continue
            if len(part.names) == 1 and not part.asks:
                alone.setdefault(next(iter(part.names)), []).append(part)
            else:
                tests.append(f"(test {part.possible})")
        for name, parts in alone.items():
            if len(parts) == 1 and parts[0].literal:
                names[name].append(parts[0].literal)
            else:
                names[name].append(f":{_and(part.possible for part in parts)}")
        outside: list[str] = []
        inside: list[tuple[tuple[int, int], str]] = []
        for name, constraints in names.items():
            pattern = self._field(name, constraints)
            slot = self._variables[name]
            if slot in self._place:
                inside.append((self._place[slot], pattern))
            else:
                outside.append(pattern)
        for name in asks:
            asked = self._asked(name)
            inside.append((self._place[asked[1:]], f"({asked[1:]} {asked})"))
        fields: dict[int, list[str]] = {}
        for (number, _), pattern in sorted(inside):
            fields.setdefault(number, []).append(pattern)
        patterns = [f"(setup{number} {' '.join(some)})" for number, some in fields.items()]
        patterns += outside
        if not patterns and not plain:
            patterns = ["(setup)"]
        return [*patterns, *tests]

    def _field(self, name: str, constraints: Sequence[str]) -> str:
        """Write `(slot ?variable&constraint)`, or the same as the pattern of a whole fact."""
        several = "$" if self.vocabulary[name].get("several") else ""
        variable = self._variables[name]
        return f"({variable} {'&'.join([f'{several}?{variable}', *constraints])})"

    def _add_rule(
        self,
        name: str,
        patterns: Sequence[str],
        actions: Sequence[str],
        *,
        salience: int = 0,
        comment: str = "",
    ) -> None:
        declared = [f"(declare (salience {salience}))"] if salience else []
        head = f"(defrule {name} {_quoted(comment)}" if comment else f"(defrule {name}"
        body = [*declared, *patterns, "=>", *actions]
        self.constructs.append("\n  ".join([head, *body]) + ")")


def _among(variable: str, tokens: Sequence[str]) -> str:
    if len(tokens) == 1:
        return f"(eq {variable} {tokens[0]})"
    return f"(not (neq {variable} {' '.join(tokens)}))"
