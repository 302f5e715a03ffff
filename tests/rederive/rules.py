"""What rechecking reads for itself: rule bases and all they extend, straight from the YAML.

None of this is shared with the program that is checked; what a rule file means is read anew from
the rule language's description. Rule files are taken as the program accepted them: what does not
read as a rule base is refused as a whole, and `advisor rules list` says what is wrong in it.
"""

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import advisor
from advisor.documents import Document, read_document
from advisor.errors import Collector, Fault, Faults
from advisor.quantities import parse_quantity, round9
from tests.rederive.facts import UNREADABLE, Fact, Stock, Value, stock_of

SPECIAL = ("manifest.yaml", "vocabulary.yaml", "sources.yaml", "ladder.yaml")

STRENGTHS = ("must", "must_not", "should", "should_not")
MUSTS = ("must", "must_not")


class Test(NamedTuple):
    """One comparison: is, a bound, known or stated; with a value or with another fact."""

    fact: str
    op: str
    value: Value = None
    other: str = ""

    @property
    def facts(self) -> tuple[str, ...]:
        """The facts on its sides."""
        return (self.fact, self.other) if self.other else (self.fact,)


class Group(NamedTuple):
    """Conditions under `all`, `any` or `not`."""

    word: str
    parts: tuple["Condition", ...]


Condition = Test | Group


class Demand(NamedTuple):
    """What a rule asks of one fact; `place` is its place in `then`."""

    place: int
    strength: str
    fact: str
    test: Condition

    @property
    def is_must(self) -> bool:
        """Whether breaking it turns a build down."""
        return self.strength in MUSTS

    @property
    def is_negative(self) -> bool:
        """Whether it asks that its test does not hold."""
        return self.strength.endswith("_not")


class Rule(NamedTuple):
    """One rule as its file has it."""

    id: str
    layer: int
    by: str  # the layer's name
    when: Condition | None
    unless: Condition | None
    sets: tuple[tuple[str, Value], ...]
    demands: tuple[Demand, ...]
    favour: tuple[str, str] | None
    cautions: tuple[tuple[str, str], ...]  # level, text
    steps: tuple[tuple[str, str, tuple[str, ...]], ...]  # phase, text, after
    overrides: tuple[str, ...]
    says: str
    because: str
    evidence: Mapping[str, str]
    contested: Mapping[str, str] | None

    @property
    def stop(self) -> bool:
        """Whether it can stop a build."""
        return any(level == "stop" for level, _ in self.cautions)

    @property
    def reads(self) -> frozenset[str]:
        """The facts that its conditions read."""
        both = (node for node in (self.when, self.unless) if node is not None)
        return frozenset(fact for node in both for test in tests_of(node) for fact in test.facts)


class Assumption(NamedTuple):
    """A default, with its reason and the layer that says so."""

    value: Value
    because: str
    by: str


class Gone(NamedTuple):
    """A rule that a layer took out of use."""

    rule: Rule
    because: str
    by: str
    replacement: str


class Base(NamedTuple):
    """A rule base with all that it extends."""

    layers: tuple[tuple[str, str], ...]  # name and version, lowest first
    digest: str
    facts: Mapping[str, Fact]
    rules: Mapping[str, Rule]
    sources: Mapping[str, Mapping[str, Any]]
    favours: tuple[str, ...]
    assume: Mapping[str, Assumption]
    gone: tuple[Gone, ...]
    ladder: Stock

    def of_origin(self, origin: str) -> list[str]:
        """Return the facts of one origin, as declared."""
        return [name for name, fact in self.facts.items() if fact.origin == origin]


def tests_of(node: Condition) -> Iterator[Test]:
    """Yield every test of a condition."""
    if isinstance(node, Test):
        yield node
    else:
        for part in node.parts:
            yield from tests_of(part)


# Rule bases


def read_base(folder: str | None) -> Base:
    """Read a rule base and all it extends.

    Raises:
        Faults: about "rules".
    """
    top = os.path.join(_shipped(), "base") if folder is None else folder
    layers = _layers(top)
    try:
        return _together(layers)
    except UNREADABLE as error:
        raise _unreadable(top, error) from None


def _unreadable(folder: str, error: Exception) -> Faults:
    what = f"this does not read as a rule base ({type(error).__name__}: {error})"
    remedy = "`advisor rules list --rules DIR` says what is wrong in it"
    return Faults([Fault(folder, None, None, what, remedy)], "rules")


def _shipped() -> str:
    """Return the folder of the rules that came with the program."""
    package = os.path.dirname(os.path.abspath(advisor.__file__))
    inside = os.path.join(package, "_rules")
    return inside if os.path.isdir(inside) else os.path.join(os.path.dirname(package), "rules")


_Files = dict[str, Document]


def _layers(folder: str) -> list[_Files]:
    """Read the files of a rule base and of those under it, lowest first."""
    layers: list[_Files] = []
    seen: set[str] = set()
    here: str | None = folder
    while here is not None:
        seen.add(os.path.realpath(here))
        layers.insert(0, _files(here))
        manifest = layers[0]["manifest.yaml"].data
        extends = manifest.get("extends") if isinstance(manifest, dict) else None
        here = _under(here, extends, seen) if extends else None
    return layers


def _files(folder: str) -> _Files:
    collector = Collector("rules")
    try:
        names = sorted(n for n in os.listdir(folder) if n.endswith((".yaml", ".yml")))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        what = f"the rule base cannot be read: {reason}"
        raise Faults([Fault(folder, None, None, what, "name a folder")], "rules") from None
    if "manifest.yaml" not in names:
        collector.add(folder, None, None, "there is no manifest.yaml", "name a rule base's folder")
    files: _Files = {}
    for name in names:
        path = name if folder == os.curdir else os.path.join(folder, name)
        try:
            files[name] = read_document(path, about="rules")
        except Faults as faults:
            collector.absorb(faults)
    collector.raise_if_any()
    return files


def _under(folder: str, extends: Any, seen: set[str]) -> str:
    name = str(extends.get("name", "")) if isinstance(extends, dict) else ""
    for parent in (os.path.join(folder, os.pardir), _shipped()):
        found = os.path.normpath(os.path.join(parent, name))
        there = os.path.isfile(os.path.join(found, "manifest.yaml"))
        if name and os.sep not in name and there and os.path.realpath(found) not in seen:
            return found
    path = os.path.join(folder, "manifest.yaml")
    what = f"there is no rule base `{name}` under this one"
    raise Faults([Fault(path, None, None, what, "put its folder beside this one")], "rules")


def _together(layers: list[_Files]) -> Base:
    facts: dict[str, Fact] = {}
    assume: dict[str, Assumption] = {}
    sources: dict[str, Mapping[str, Any]] = {}
    every: dict[str, Rule] = {}
    names: list[tuple[str, str]] = []
    for files in layers:
        manifest = files["manifest.yaml"].data
        names.append((manifest["name"], str(manifest["version"])))
        for name, raw in _section(files, "vocabulary.yaml", "facts").items():
            facts[name] = _fact(name, raw)
            if "assume" in raw:
                value = facts[name].read(raw["assume"]["value"])
                assume[name] = Assumption(value, raw["assume"]["because"], manifest["name"])
        sources.update(_section(files, "sources.yaml", "sources"))
    for number, files in enumerate(layers):
        for raw in _raw_rules(files):
            if raw["id"] in every:
                raise ValueError(f"there are two rules {raw['id']}")
            every[raw["id"]] = _rule(raw, facts, number, names[number][0])
        for name, raw in files["manifest.yaml"].data.get("assume", {}).items():
            value = facts[name].read(raw["value"])
            assume[name] = Assumption(value, raw["because"], names[number][0])
    gone = _gone(layers, every)
    return Base(
        layers=tuple(names),
        digest=_digest(layers),
        facts=facts,
        rules=_resolved(every, gone),
        sources=sources,
        favours=tuple(
            rule_id
            for files in reversed(layers)
            for rule_id in files["manifest.yaml"].data.get("favours", ())
            if rule_id not in gone
        ),
        assume=assume,
        gone=tuple(gone[rule_id] for rule_id in sorted(gone)),
        ladder=_ladder(layers, facts),
    )


def _section(files: _Files, name: str, key: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = files[name].data[key] if name in files else {}
    return found


def _raw_rules(files: _Files) -> Iterator[dict[str, Any]]:
    for name, document in files.items():
        if name not in SPECIAL:
            yield from document.data


def _digest(layers: list[_Files]) -> str:
    """Return the identity of the rules: SHA-256 over the canonical JSON of each layer."""
    told = [
        {
            "manifest": files["manifest.yaml"].data,
            "vocabulary": _section(files, "vocabulary.yaml", "facts"),
            "sources": _section(files, "sources.yaml", "sources"),
            "rules": {raw["id"]: raw for raw in _raw_rules(files)},
        }
        for files in layers
    ]
    return hashlib.sha256(canonical(told).encode()).hexdigest()


def canonical(data: Any) -> str:
    """Return the one way to write data for a digest: sorted names, no spaces, nine digits."""
    return json.dumps(_nine(data), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _nine(data: Any) -> Any:
    if isinstance(data, dict):
        return {str(key): _nine(part) for key, part in data.items()}
    if isinstance(data, list):
        return [_nine(part) for part in data]
    if isinstance(data, (int, float)) and not isinstance(data, bool):
        rounded = round9(data)
        return int(rounded) if rounded == int(rounded) else rounded
    return data


def _fact(name: str, raw: Mapping[str, Any]) -> Fact:
    unit = raw.get("unit", "")

    def number(written: Any) -> float | None:
        return None if written is None else parse_quantity(written, unit, bare=True, name=name)

    low, high = map(number, raw.get("range", (None, None)))
    choices = raw.get("choices") or {}
    if isinstance(choices, list):
        choices = dict.fromkeys(choices, "")
    return Fact(
        name=name,
        label=raw.get("label", name),
        kind=raw["kind"],
        origin=raw["origin"],
        several=raw.get("several", False),
        choices={str(key): "" if line is None else str(line) for key, line in choices.items()},
        unit=unit,
        bare=raw.get("bare", True),
        low=low,
        high=high,
        tolerance=number(raw.get("tolerance")),
        within=number(raw.get("within")) or 0.0,
        step=number(raw.get("step")),
        pairs=raw.get("pairs", False),
        question=raw.get("question", ""),
    )


def _rule(raw: dict[str, Any], facts: Mapping[str, Fact], layer: int, by: str) -> Rule:
    then = [next(iter(one.items())) for one in raw["then"]]
    demands = []
    for place, (kind, body) in enumerate(then):
        if kind in STRENGTHS:
            ((fact, test),) = body.items()
            demands.append(Demand(place, kind, fact, _test(facts, fact, test)))
    when, unless = (
        _condition(facts, raw[key]) if key in raw else None for key in ("when", "unless")
    )
    return Rule(
        id=raw["id"],
        layer=layer,
        by=by,
        when=when,
        unless=unless,
        sets=tuple(
            (fact, facts[fact].read(value, in_rule=True))
            for kind, body in then
            if kind == "set"
            for fact, value in body.items()
        ),
        demands=tuple(demands),
        favour=next((next(iter(body.items())) for kind, body in then if kind == "favour"), None),
        cautions=tuple((body["level"], body["text"]) for kind, body in then if kind == "caution"),
        steps=tuple(
            (body["phase"], body["text"], tuple(body.get("after", ())))
            for kind, body in then
            if kind == "step"
        ),
        overrides=tuple(raw.get("overrides", ())),
        says=raw["says"],
        because=raw["because"],
        evidence=raw["evidence"],
        contested=raw.get("contested"),
    )


def _condition(facts: Mapping[str, Fact], raw: Mapping[str, Any]) -> Condition:
    parts: list[Condition] = []
    for key, inside in raw.items():
        if key in ("any", "all"):
            parts.append(Group(key, tuple(_condition(facts, one) for one in inside)))
        elif key == "not":
            parts.append(Group("not", (_condition(facts, inside),)))
        else:
            parts.append(_test(facts, key, inside))
    return parts[0] if len(parts) == 1 else Group("all", tuple(parts))


def _test(facts: Mapping[str, Fact], fact: str, raw: Any) -> Condition:
    declared = facts[fact]
    if isinstance(raw, list):
        some = tuple(_test(facts, fact, one) for one in raw)
        return some[0] if len(some) == 1 else Group("any", some)
    if not isinstance(raw, dict):
        return Test(fact, "is", _constant(declared, raw))
    if set(raw) == {"fact"}:
        return Test(fact, "is", None, facts[raw["fact"]].name)
    parts: list[Condition] = []
    for op, operand in raw.items():
        if op in ("known", "stated"):
            parts.append(Test(fact, op, operand))
        elif op not in ("at_least", "at_most", "above", "below"):
            raise ValueError(f"`{op}` is no test of {fact}")
        elif isinstance(operand, dict):
            parts.append(Test(fact, op, None, facts[operand["fact"]].name))
        else:
            parts.append(Test(fact, op, _constant(declared, operand)))
    return parts[0] if len(parts) == 1 else Group("all", tuple(parts))


def _constant(fact: Fact, raw: Any) -> Value:
    value = fact.read(raw, in_rule=True)
    return value[0] if isinstance(value, tuple) else value


def _gone(layers: list[_Files], every: Mapping[str, Rule]) -> dict[str, Gone]:
    """Return the rules that are retired or replaced, by their names."""
    gone: dict[str, Gone] = {}
    for files in layers:
        manifest = files["manifest.yaml"].data
        for raw in manifest.get("retire", ()):
            rule_id = raw["rule"]
            gone[rule_id] = Gone(every[rule_id], raw["because"], manifest["name"], "")
        for raw in _raw_rules(files):
            if "replaces" in raw:
                rule_id = raw["replaces"]
                told = raw["because"], manifest["name"], raw["id"]
                gone[rule_id] = Gone(every[rule_id], *told)
    return gone


def _resolved(every: Mapping[str, Rule], gone: Mapping[str, Gone]) -> dict[str, Rule]:
    """Return the rules in use, by id; what names a replaced rule means its replacement."""

    def now(rule_id: str) -> str:
        while rule_id in gone:
            rule_id = gone[rule_id].replacement
        return rule_id

    found = {}
    for rule_id in sorted(every):
        if rule_id in gone:
            continue
        rule = every[rule_id]
        beaten = dict.fromkeys(map(now, rule.overrides))
        steps = tuple(
            (phase, text, tuple(n for other in after if (n := now(other)) and n != rule_id))
            for phase, text, after in rule.steps
        )
        overrides = tuple(other for other in beaten if other and other != rule_id)
        found[rule_id] = rule._replace(overrides=overrides, steps=steps)
    return found


def _ladder(layers: list[_Files], facts: Mapping[str, Fact]) -> Stock:
    for files in reversed(layers):
        if "ladder.yaml" in files:
            stock = stock_of(files["ladder.yaml"], facts)
            return stock._replace(typical=frozenset(stock.items))
    return Stock("nothing listed", {}, {})


def read_stock(path: str | None, base: Base) -> Stock:
    """Read a stock, completed by the usual sizes of the rule base.

    Raises:
        Faults: about "setup".
    """
    if path is None:
        return base.ladder
    document = read_document(path)
    try:
        stock = stock_of(document, base.facts)
    except UNREADABLE as error:
        what = f"this does not read as a stock file ({type(error).__name__}: {error})"
        raise Faults([Fault(path, None, None, what, "name the one it was chosen from")]) from None
    ladder = base.ladder
    return Stock(
        stock.name,
        {**ladder.items, **stock.items},
        {**ladder.options, **stock.options},
        ladder.typical - stock.items.keys(),
    )
