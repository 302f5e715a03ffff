"""What a Decision ought to say of the builds that were judged, part by part, as JSON has it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from typing import Any

from advisor.decision import FORMAT
from advisor.derive import ROUGH
from advisor.quantities import format_quantity
from advisor.recheck.builds import STRENGTHS, Builds, Failure, Run, has, set_of
from advisor.recheck.files import NUMBERS, Item, Plain

LEVELS = ("stop", "caution", "note")
PHASES = ("prepare", "set-up", "bond", "cure", "verify", "shoot", "care")
MOST_CONFLICTS = 20


class Teller:
    """Tells of the best build, or where none survives of the nearest, as JSON.

    What is not derived is a function, which says what ought to be there given what is there.
    """

    def __init__(
        self, builds: Builds, stated: Mapping[str, Plain], taken: Mapping[str, Item]
    ) -> None:
        self.builds, self.base, self.stated, self.taken = builds, builds.base, stated, taken
        self.run = builds.run(builds.best)
        self.failures = self.run.failures()
        self.numbers = self._numbers()

    def decision(self) -> Plain:
        """Return the whole Decision."""
        base, builds, run = self.base, self.builds, self.run
        standing, told = run.standing(), {rule: run.told(rule) for rule in base.rules}
        fired = [rule for rule in told if told[rule][0] == "fired"]
        status = "judged" if len(builds.rows) == 1 else "advised"
        if not builds.survivors:
            stops = [any(place < 0 for _, place in broken) for broken, *_ in builds.verdicts]
            status = "stopped" if all(stops) else "rejected"
        conflicts = [] if builds.survivors else builds.conflicts()
        times = Counter(what for broken, *_ in builds.verdicts for what in broken)
        name, version = base.names[-1]
        layers = [" ".join(layer) for layer in base.names]
        assumed = builds.assumed.items()
        return {
            "status": status,
            "rulebase": {"name": name, "version": version, "digest": base.digest, "layers": layers},
            "title": as_found,
            "stock": builds.stock.name,
            "given": self._shown(builds.given),
            "assumed": self._shown(builds.assumed),
            "assumptions": {fact: {"because": why, "by": by} for fact, (_, why, by) in assumed},
            "build": self._shown(builds.options),
            "numbers": self.numbers,
            "chosen": [fact for fact in builds.options if fact not in builds.given],
            "items": self.items(),
            "notes": as_found,
            "concluded": self._shown(base.of("concluded")),
            "reasons": self._reasons(),
            **self._stands(run),
            "set_aside": [
                {**self._says(loser), "because": self._because(loser), "by": by}
                | {"by_says": base.rules[by]["says"], "by_because": self._because(by)}
                | some(not_stated=told[by][2])
                for loser in fired
                for by in run.winners(loser)
            ],
            "stands_unless": list(self._doubts()),
            "unproven": [
                {"rule": rule, "asks": as_found, "facts": as_found}
                for rule in standing
                for place, kind, _ in base.demands[rule]
                if kind.startswith("must") and run.outcome(rule, place) == "unproven"
            ],
            "contested": [
                {**self._says(rule), **base.rules[rule]["contested"]}
                for rule in standing
                if "contested" in base.rules[rule]
            ],
            "equals": [self._shown(builds.options, builds.run(at)) for at in builds.equals],
            "alternatives": [self._alternative(at) for at in builds.others.values()],
            "rejected": [
                {**self._says(rule), "asks": as_found, "builds": -less}
                for less, (rule, _) in sorted((-count, what) for what, count in times.items())
            ],
            "conflicts": [
                {"rules": rules, "says": [base.rules[r]["says"] for r in rules], "asks": as_found}
                for rules in conflicts[:MOST_CONFLICTS]
            ],
            "more_conflicts": len(conflicts) > MOST_CONFLICTS,
            "undecided": [
                {**self._says(rule), "lacks": lacks} | some(overruled_by=run.winners(rule))
                for rule, (state, lacks, _) in told.items()
                if state == "undecided"
            ],
            "unsettled": self._unsettled,
            "questions": self._questions,
            "cannot_matter": lambda found: [fact for fact in found if self._is_open(fact)],
            "bounded": self._bounded,
            "retired": [self._retired(rule) for rule in sorted(base.gone)],
            "rests_on": lambda found: [fact for fact in found if fact in builds.assumed],
            "fired": fired,
            "unknown": {fact: self._lacking(fact) for fact in base.rows if not has(run[fact])},
            "labels": {fact: raw.get("label", fact) for fact, raw in base.facts.items()},
            "builds": len(builds.rows),
            "survivors": builds.survivors,
            "format": FORMAT,
        }

    def items(self) -> dict[str, str]:
        """Return the names of the listed items that were chosen or taken, by group."""
        axes = zip(self.builds.axes, self.builds.rows[self.builds.best], strict=True)
        items = {axis.name: axis.items[row] for axis, row in axes} | {**self.taken}
        return {group: item.id for group, item in items.items() if item is not None}

    def _says(self, rule: str) -> Plain:
        return {"rule": rule, "says": self.base.written[rule]["says"]}

    def _because(self, rule: str) -> str:
        return self._text(self.base.rules[rule]["because"], self.run)

    def _shown(self, facts: Iterable[str], run: Run | None = None) -> Plain:
        """Return those of the facts that have a value, as a Decision holds it."""
        values = {fact: (run or self.run)[fact] for fact in facts}
        found: Plain = {}
        for fact, value in ((fact, value) for fact, value in values.items() if has(value)):
            found[fact] = list(value) if isinstance(value, tuple) else value
            if self.base.facts[fact]["kind"] in NUMBERS:
                found[fact] = {"value": value, "unit": self.base.facts[fact].get("unit", "")}
        return found

    def _text(self, text: str, run: Run) -> str:
        def filled(match: re.Match[str]) -> str:
            declared, value = self.base.facts[match[1]], run[match[1]]
            if not has(value):
                worked_out = declared["origin"] in ("computed", "concluded")
                return "not known" if worked_out else "not stated"
            if declared["kind"] == "quantity":
                return format_quantity(value, declared["unit"], 2 if match[1] in ROUGH else 3)
            if isinstance(value, tuple):
                return ", ".join(value) or "none"
            return str(value).lower() if declared["kind"] == "flag" else str(value)

        return re.sub(r"\{([^{}]*)\}", filled, text)

    def _numbers(self) -> Plain:
        found = self._shown(self.base.of("computed"))
        for fact, number in found.items():
            if fact in self.stated:
                file, line = self.stated[fact]["file"], self.stated[fact]["line"]
                place = f"{file}:{line}" if line else file
                number |= {"band": "", "function": "as stated", "source": place, "rests_on": []}
            else:
                row = self.base.rows[fact]
                number |= {"band": row.band, "function": row.function, "source": row.source}
                number["rests_on"] = sorted(self._rests_on(fact))
        return found

    def _rests_on(self, fact: str) -> set[str]:
        """Return the assumed facts that a computed one goes back to."""
        if fact in self.builds.given or fact not in self.base.rows:
            return {fact} & self.builds.assumed.keys()
        idle = self.base.rows[fact].idle or {}  # of a part without mass the length does not count
        needs = self.base.asks(fact, self.run)
        counting = [need for need in needs if need not in idle or self.run[idle[need]] != 0]
        return set().union(*map(self._rests_on, counting))

    def _lacking(self, fact: str) -> Plain:
        lacks = [need for need in self.base.asks(fact, self.run) if not has(self.run[need])]
        return {"lacks": lacks} if lacks else {"lacks": lacks, "refused": as_found}

    def _reasons(self) -> Plain:
        asked = [
            (STRENGTHS.index(kind), rule, fact, self.run.outcome(rule, place))
            for rule in self.run.standing()
            for place, kind, fact in self.base.demands[rule]
        ]
        for rule, fact, _ in self.builds.wishes:
            asked.append((4, rule, fact, "met" if has(self.run[fact]) else "unproven"))
        found: Plain = {}
        for kind, rule, fact, outcome in sorted(asked, key=lambda one: one[:2]):
            raw = self.base.rules[rule]
            evidence = {"kind": raw["evidence"]["class"], **raw["evidence"]}
            del evidence["class"]
            source = self.base.sources.get(evidence.get("source", ""), {})
            parts = [str(source[key]) for key in ("author", "title", "year") if source.get(key)]
            told = {"title": ", ".join(parts), "from_memory": source.get("from_memory")}
            reason = {
                **self._says(rule),
                "layer": self.base.names[self.base.layer[rule]][0],
                "strength": STRENGTHS[kind],
                "fact": fact,
                "asks": as_found,
                "outcome": outcome,
                "because": self._because(rule),
                "evidence": evidence | some(**told),
            }
            reason |= some(contested=raw.get("contested"), unless_open=self.run.told(rule)[2])
            reason |= {"premises": self._premises} if "when" in raw else {}
            found.setdefault(fact, []).append(reason)
        return found

    def _stands(self, run: Run) -> Plain:
        """Return the cautions of a build, its steps in order, and its ties."""
        base, standing = self.base, run.standing()
        cautions = [(rule, one) for rule in standing for one in base.told(rule, "caution")]
        steps = []
        for phase in PHASES:
            all_steps = {rule: base.told(rule, "step") for rule in standing}
            left = {
                r: [one for one in own if one["phase"] == phase] for r, own in all_steps.items()
            }
            left = {rule: own for rule, own in left.items() if own}
            while left:
                after = {
                    r: {base.now(a) for s in left[r] for a in s.get("after", ())} for r in left
                }
                first = next(rule for rule in left if not after[rule] & (left.keys() - {rule}))
                steps += [(first, one) for one in left.pop(first)]
        return {
            "cautions": [
                {"rule": r, "level": one["level"], "text": self._text(one["text"], run)}
                for r, one in sorted(cautions, key=lambda told: LEVELS.index(told[1]["level"]))
            ],
            "steps": [
                {"rule": rule, "phase": one["phase"], "text": self._text(one["text"], run)}
                for rule, one in steps
            ],
            "ties": [
                {"fact": fact, "kind": kind, "sides": [self._side(rule) for rule in sides]}
                for fact, kind, sides in self._ties(run)
            ],
        }

    def _side(self, rule: str) -> Plain:
        return {"rule": rule, "asks": as_found, "because": self.base.rules[rule]["because"]}

    def _ties(self, run: Run) -> Iterator[tuple[str, str, list[str]]]:
        """Yield rules that set a fact apart, and shoulds of a layer that no build meets both."""
        base, builds, standing = self.base, self.builds, run.standing()
        for fact in sorted(
            fact for fact in base.setters if not has(run[fact]) and fact in run.ties
        ):
            yield fact, "values", [rule for rule, _ in base.setters[fact] if rule in standing]
        chosen = {fact for axis in builds.axes if axis.rows[1:] for fact in axis.facts}
        asked: dict[tuple[int, str], list[Failure]] = {}
        for rule in standing:
            for place, kind, fact in base.demands[rule]:
                if kind.startswith("should") and fact in chosen:
                    asked.setdefault((base.layer[rule], fact), []).append((rule, place))
        for key in sorted(asked):
            if all(run.outcome(*side) == "met" for side in asked[key]):
                continue
            for one, other in combinations(asked[key], 2):
                met = [builds.meeting(*one), builds.meeting(*other)]
                if all(met) and not met[0] & met[1]:
                    yield key[1], "shoulds", [one[0], other[0]]

    def _doubts(self) -> Iterator[Plain]:
        """Yield what could still set a standing rule aside, then what could still tie a value."""
        run, base = self.run, self.base
        for rule, by in ((r, by) for r in run.standing() for by in base.overriders[r]):
            _, lacks, doubts = run.told(by)
            if run.state(by) == "live" or (doubts and run.state(by) == "standing"):
                yield {"what": rule, "kind": "rule", "by": by, "facts": lacks or doubts}
        for fact in sorted(fact for fact in base.setters if has(run[fact])):
            for by, value in base.setters[fact]:
                if run.state(by) == "live" and set_of(value) != set_of(run[fact]):
                    yield {"what": fact, "kind": "fact", "by": by, "facts": run.told(by)[1]}

    def _alternative(self, at: int) -> Plain:
        run, looked_at = self.builds.run(at), self.builds.looked_at()
        lost = sorted(run.failures() - self.failures)
        told = self._shown((fact for fact in self.numbers if fact in looked_at), run)
        return {
            "build": self._shown(self.builds.options, run),
            "numbers": {fact: self.numbers[fact] | told[fact] for fact in told},
            "loses": as_found,
            **some(breaks=list(dict.fromkeys(rule for rule, _ in lost)), **self._stands(run)),
        }

    def _retired(self, rule: str) -> Plain:
        because, by, replacement = self.base.gone[rule]
        warned = any(one["level"] != "note" for one in self.base.told(rule, "caution"))
        told = some(replacement=replacement, warned=warned)
        return {**self._says(rule), "because": because, "by": by, **told}

    # What is not derived is at least held against the vocabulary and what was stated

    def _is_open(self, fact: str) -> bool:
        """Tell whether a fact could be stated, and is not."""
        settled = {*self.builds.given, *self.builds.options}
        return fact not in settled and self.base.facts[fact]["origin"] == "given"

    def _questions(self, found: list[Plain]) -> list[Plain]:
        return [self._question(asked) for asked in found if self._is_open(asked["fact"])]

    def _question(self, found: Plain) -> Plain:
        fact, raw = found["fact"], self.base.facts[found["fact"]]
        told = {
            "asks": raw.get("question") or f"{raw['label']}?",
            "choices": raw.get("choices", {}),
        }
        rules = [rule for rule in found.get("rules", ()) if rule in self.base.rules]
        return found | told | {"assumed": fact in self.builds.assumed} | some(rules=rules)

    def _unsettled(self, found: list[Plain]) -> list[Plain]:
        chosen = {fact for fact in self.builds.options if fact not in self.builds.given}
        live = [told for told in found if self.run.state(told["rule"]) == "live"]
        return [told for told in live if told["fact"] in chosen]

    def _bounded(self, found: list[Plain]) -> list[Plain]:
        return [told | {"value": self._shown([told["fact"]])[told["fact"]]} for told in found]

    def _premises(self, found: list[Plain]) -> list[Plain]:
        return [self._premise(premise) for premise in found]

    def _premise(self, found: Plain) -> Plain:
        fact, origin = found["fact"], self.base.facts[found["fact"]]["origin"]
        told = {"fact": fact, "says": found["says"], "origin": "option"}
        if not has(self.run[fact]):
            return told | {"origin": "missing"}
        told |= dict.fromkeys(["value"], *self._shown([fact]).values())
        if fact in self.builds.given:
            place = {key: self.stated[fact][key] for key in ("file", "line")}
            return told | {"origin": "given", **some(**place)}
        if fact in self.builds.assumed:
            return told | {"origin": "assumed", "because": self.builds.assumed[fact][1]}
        if origin == "computed":
            told |= {"origin": origin, "function": self.base.rows[fact].function}
        if origin == "concluded":
            claims = [rule for rule, _ in self.base.setters[fact]]
            rules = [rule for rule in claims if self.run.state(rule) == "standing"]
            told |= {"origin": origin, "rules": rules}
        return told | some(premises=self._premises(found.get("premises", [])))


def some(**parts: Any) -> Plain:
    """Return the parts that are there; a Decision leaves out what it does not have."""
    return {name: part for name, part in parts.items() if part}


def as_found(found: Any) -> Any:
    """Take over what is not derived."""
    return found
