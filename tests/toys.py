"""Small made-up rule bases over a few facts, so that every value of every fact can be tried."""

from __future__ import annotations

import random
from typing import Any

from advisor.engine.program import Program
from advisor.engine.rules import CircleError
from advisor.judge import Judgement
from advisor.rulebase.model import Evidence, Layer, RuleBase, RuleEntry
from advisor.rulebase.rules import RuleReader
from advisor.setups.model import Given, Setup, Stock
from advisor.vocabulary import FactEntry, Vocabulary

FACTS = (
    FactEntry("toy.flag", "flag", "flag", "given"),
    FactEntry("toy.shape", "shape", "choice", "given", choices=dict.fromkeys("abc", "")),
    FactEntry(
        "toy.uses", "uses", "choice", "given", several=True, choices=dict.fromkeys("xyz", "")
    ),
    FactEntry("toy.count", "count", "count", "given", tolerance=1.0, low=0.0, high=6.0),
    FactEntry("toy.other", "other", "count", "given", low=0.0, high=6.0),
    FactEntry(
        "toy.width", "width", "quantity", "given", unit="1", tolerance=0.5, low=0.0, high=6.0
    ),
    FactEntry("arrow.mass", "mass", "quantity", "given", unit="gr", low=200, high=800, tolerance=2),
    FactEntry(
        "arrow.speed", "speed", "quantity", "given", unit="fps", low=100, high=400, tolerance=3
    ),
    FactEntry("arrow.momentum", "momentum", "quantity", "computed", unit="slug-ft/s"),
    FactEntry("arrow.kinetic_energy", "energy", "quantity", "computed", unit="ft-lbf"),
    FactEntry("pick.size", "size", "count", "option", low=1.0, high=4.0),
    FactEntry("pick.kind", "kind", "choice", "option", choices=dict.fromkeys("pqr", "")),
    FactEntry("said.class", "class", "choice", "concluded", choices=dict.fromkeys("uvw", "")),
    FactEntry("said.big", "big", "flag", "concluded"),
)
NUMBERS = {
    "toy.count": range(7),
    "toy.other": range(7),
    "toy.width": (0, 1, 2, 2.5, 3, 4, 5, 6),
    "arrow.mass": (300, 350, 400, 450, 500),
    "arrow.speed": (200, 250, 300),
    "arrow.momentum": (0.3, 0.4, 0.5, 0.6),
    "arrow.kinetic_energy": (40, 60, 80, 100),
    "pick.size": range(1, 5),
}
CHOICES = {"toy.shape": "abc", "toy.uses": "xyz", "pick.kind": "pqr", "said.class": "uvw"}
FLAGS = ("toy.flag", "said.big")
READ = (*NUMBERS, *CHOICES, *FLAGS)


def vocabulary() -> Vocabulary:
    return Vocabulary(FACTS)


def _test(rng: random.Random, fact: str) -> Any:
    if fact in FLAGS:
        return rng.random() < 0.5
    if fact in CHOICES:
        few = rng.sample(CHOICES[fact], rng.randint(1, 2))
        return few if len(few) > 1 else few[0]
    if fact == "toy.count" and rng.random() < 0.2:
        return {rng.choice(("at_least", "below")): {"fact": "toy.other"}}
    bounds = NUMBERS[fact]
    kind = rng.choice(("at_least", "at_most", "above", "below", "is", "between"))
    if kind == "is":
        return rng.choice(bounds)
    if kind == "between":
        low, high = sorted(rng.sample(list(bounds), 2))
        return {"at_least": low, "below": high}
    return {kind: rng.choice(bounds)}


def _condition(rng: random.Random, depth: int = 0) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for fact in rng.sample(READ, rng.randint(1, 2)):
        found[fact] = _test(rng, fact)
    if depth < 1 and rng.random() < 0.3:
        found["any"] = [_condition(rng, 1), _condition(rng, 1)]
    if depth < 1 and rng.random() < 0.2:
        found["not"] = _condition(rng, 1)
    return found


def _conclusion(rng: random.Random) -> dict[str, Any]:
    kind = rng.choice(("must", "must_not", "should", "should", "should", "set", "stop", "note"))
    if kind == "set":
        return {"set": rng.choice(({"said.class": rng.choice("uvw")}, {"said.big": True}))}
    if kind in ("stop", "note"):
        return {"caution": {"level": kind, "text": "Mind this."}}
    fact = rng.choice(("pick.size", "pick.kind", "pick.size", "pick.kind", "toy.count"))
    return {kind: {fact: _test(rng, fact)}}


def toy_rules(seed: int) -> list[dict[str, Any]]:
    rng = random.Random(seed)
    rules: list[dict[str, Any]] = []
    for i in range(rng.randint(4, 9)):
        rule: dict[str, Any] = {
            "id": f"rule-{i}",
            "says": "Do so.",
            "when": _condition(rng),
            "then": [_conclusion(rng)],
            "because": "It was made up.",
            "evidence": {"class": "common-practice"},
        }
        if rng.random() < 0.25:
            rule["unless"] = _condition(rng, 1)
        if rules and rng.random() < 0.3:
            rule["overrides"] = [rng.choice(rules)["id"]]
        rules.append(rule)
    favours = (({"pick.size": "lowest"}, "size"), ({"pick.size": "highest"}, "big"))
    favour, name = rng.choice(favours)
    rules.append(
        {
            "id": f"favour-{name}",
            "says": "Rather so.",
            "when": {rng.choice(("toy.flag",)): rng.random() < 0.5},
            "then": [{"favour": favour}],
            "because": "It was made up.",
            "evidence": {"class": "common-practice"},
        }
    )
    return rules


def toy_base(seed: int) -> RuleBase | None:
    """Return a made-up rule base, or None if its rules go in a circle."""
    return base_of(toy_rules(seed))


def base_of(rules: list[dict[str, Any]]) -> RuleBase | None:
    """Return a rule base of some made-up rules, or None if they go in a circle."""
    words = vocabulary()
    table = words.table()
    entries = []
    faults: list[str] = []
    for raw in rules:
        reader = RuleReader(dict(raw), words, lambda path, what, _: faults.append(what), 0, 0)
        entries.append(
            RuleEntry(
                reader.rule,
                raw["says"],
                raw["because"],
                Evidence("common-practice"),
                None,
                (),
                (),
                "toy",
                "toy.yaml",
                1,
                "",
                raw,
            )
        )
    assert not faults, faults
    try:
        program = Program([entry.rule for entry in entries], table)
    except CircleError:
        return None
    favours = tuple(entry.id for entry in entries if entry.rule.favour is not None)
    options = {"pick.size": (1.0, 2.0, 3.0, 4.0), "pick.kind": ("p", "q", "r")}
    return RuleBase(
        layers=(Layer("toy", "1.0.0", "Made up.", "toy"),),
        vocabulary=words,
        table=table,
        program=program,
        entries=tuple(entries),
        sources={},
        favours=favours,
        assume={},
        retired=(),
        digest="0" * 64,
        ladder=Stock("toys", {}, options),
    )


def toy_setup(seed: int) -> Setup:
    rng = random.Random(seed)
    values: dict[str, Any] = {
        "toy.flag": rng.random() < 0.5,
        "toy.shape": rng.choice("abc"),
        "toy.uses": tuple(rng.sample("xyz", rng.randint(1, 2))),
        "toy.count": float(rng.randint(0, 6)),
        "toy.other": float(rng.randint(0, 6)),
        "toy.width": rng.choice((0.5, 1.0, 2.25, 3.0, 4.75)),
        "arrow.mass": float(rng.choice((320, 405, 450, 520))),
        "arrow.speed": float(rng.choice((180, 250, 285))),
    }
    return stating(Setup("Toy", {}), values)


def stating(setup: Setup, values: dict[str, Any]) -> Setup:
    given = {
        name: Given(value, "toy.yaml", i + 1, 1, str(value))
        for i, (name, value) in enumerate(values.items())
    }
    return Setup(setup.title, {**setup.facts, **given})


def judged(base: RuleBase, setup: Setup) -> Judgement:
    return Judgement(setup, base, base.ladder)
