"""Laying rule bases over one another: what is retired, replaced, overridden, and in what order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from collections.abc import Set as AbstractSet
from functools import partial
from typing import Any

from advisor.engine.conditions import Node
from advisor.engine.program import Program
from advisor.engine.rules import CircleError, overriders
from advisor.engine.values import OPTION, FactTable
from advisor.errors import did_you_mean
from advisor.rulebase import store
from advisor.rulebase.conditions import ConditionReader, Path
from advisor.rulebase.digest import digest
from advisor.rulebase.facts import read_assumption
from advisor.rulebase.files import Desk, LayerFiles, SourceFile, Spot
from advisor.rulebase.locate import SPECIAL
from advisor.rulebase.model import (
    Acceptance,
    Contest,
    Evidence,
    Layer,
    Retired,
    RuleBase,
    RuleEntry,
    Source,
)
from advisor.rulebase.rules import RuleReader
from advisor.setups.model import EMPTY_STOCK, Stock
from advisor.setups.read import PlainDocument, stock_of
from advisor.vocabulary import Assumption, Vocabulary


class Assembly:
    """Reads the rules of all layers and puts them together, gathering every fault."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._build_rules: set[str] = set()

    def rules(self, layers: list[LayerFiles], vocabulary: Vocabulary) -> RuleBase | None:
        """Read all rules and put the layers together."""
        entries: dict[str, RuleEntry] = {}
        homes: dict[str, Spot] = {}
        for layer in layers:
            for file in layer.files.files:
                if file.name in SPECIAL:
                    continue
                for i, raw in enumerate(file.data):
                    # Of a refused rule what is left is read for its faults, and for its name.
                    left = file.remains.get(i, {}) if raw is None else raw
                    rule_id = left.get("id", "")
                    spot = Spot(file, i, layer)
                    if raw is None and left:
                        self._read(spot, left, vocabulary)
                    if not rule_id:
                        continue
                    if rule_id in homes:
                        other = homes[rule_id]
                        self.desk.fault(
                            file,
                            (i, "id"),
                            f"there is another rule `{rule_id}` ({other.place()})",
                            "give one of them another name"
                            if other.layer is layer
                            else "give it a name of its own; `replaces` says what it replaces",
                        )
                    homes.setdefault(rule_id, spot)
                    entry = None if raw is None else self._rule(spot, raw, vocabulary)
                    if entry is not None and homes[rule_id] is spot:
                        entries[rule_id] = entry
        return self._together(layers, vocabulary, entries, homes)

    def _read(self, spot: Spot, raw: dict[str, Any], vocabulary: Vocabulary) -> RuleReader:
        def report(path: Path, what: str, remedy: str) -> None:
            if self.desk.sound:
                self.desk.fault(spot.file, path, what, remedy)

        return RuleReader(raw, vocabulary, report, spot.at, spot.layer.number)

    def _rule(self, spot: Spot, raw: dict[str, Any], vocabulary: Vocabulary) -> RuleEntry | None:
        before = len(self.desk.collector)
        file = spot.file
        read = self._read(spot, raw, vocabulary)
        if len(self.desk.collector) != before:
            return None
        evidence = raw["evidence"]
        contested = raw.get("contested")
        return RuleEntry(
            rule=read.rule,
            says=raw["says"],
            because=raw["because"],
            evidence=Evidence(
                evidence["class"],
                evidence.get("source", ""),
                evidence.get("place", ""),
                evidence.get("function", ""),
                evidence.get("note", ""),
            ),
            contested=Contest(contested["by"], contested["note"]) if contested else None,
            cautions=read.cautions,
            steps=read.steps,
            layer=spot.layer.name,
            file=file.path,
            line=file.lines.get(raw["id"], 0),
            replaces=raw.get("replaces", ""),
            source=raw,
            accepts=tuple(
                Acceptance(one["finding"], one["because"], tuple(one.get("with", ())))
                for one in raw.get("accept", ())
            ),
        )

    # Putting layers together

    def _together(
        self,
        layers: list[LayerFiles],
        vocabulary: Vocabulary,
        entries: dict[str, RuleEntry],
        homes: dict[str, Spot],
    ) -> RuleBase | None:
        gone = self._gone(layers, entries, homes)
        sources = self._sources(layers)
        for spot in homes.values():
            self._check_names(spot, homes, sources)
        kept = self._resolve(entries, homes, gone)
        favours = self._favours(layers, kept, homes, vocabulary)
        assume = self._assume(layers, vocabulary)
        domain = self._domain(layers, vocabulary)
        ladder = self._ladder(layers, vocabulary)
        self._check_steps(kept, homes)
        table = vocabulary.table()
        program = None
        if self.desk.sound and not len(self.desk.collector):
            program = self._program(kept, homes, table)
        if program is None:
            return None
        retired = tuple(
            Retired(
                rule_id,
                entries[rule_id].says,
                because,
                by,
                replacement,
                any(caution.level != "note" for caution in entries[rule_id].cautions),
            )
            for rule_id, (because, by, replacement) in sorted(gone.items())
        )
        return RuleBase(
            layers=tuple(
                Layer(
                    layer.name,
                    str(layer.manifest["version"]),
                    str(layer.manifest.get("says", "")),
                    layer.files.folder,
                )
                for layer in layers
            ),
            vocabulary=vocabulary,
            table=table,
            program=program,
            entries=tuple(kept[rule_id] for rule_id in sorted(kept)),
            sources=sources,
            favours=favours,
            assume=assume,
            retired=retired,
            digest=_identity(layers),
            ladder=ladder,
            domain=domain,
        )

    def _gone(
        self, layers: list[LayerFiles], entries: dict[str, RuleEntry], homes: dict[str, Spot]
    ) -> dict[str, tuple[str, str, str]]:
        """Return the rules that are gone: (because, by which layer, by which rule)."""
        gone: dict[str, tuple[str, str, str]] = {}
        for layer in layers:
            file = layer.files.named("manifest.yaml")
            for i, raw in enumerate(layer.manifest.get("retire", ())):
                path: Path = ("retire", i, "rule")
                if file is not None and self._can_go(file, path, raw["rule"], layer, homes, gone):
                    gone[raw["rule"]] = (raw["because"], layer.name, "")
            for rule_id, spot in homes.items():
                if spot.layer is layer and "replaces" in spot.raw:
                    path = (spot.at, "replaces")
                    replaced = spot.raw["replaces"]
                    if self._can_go(spot.file, path, replaced, layer, homes, gone):
                        gone[replaced] = (spot.raw.get("because", ""), layer.name, rule_id)
        return {rule_id: told for rule_id, told in gone.items() if rule_id in entries}

    def _can_go(
        self,
        file: SourceFile,
        path: Path,
        rule_id: str,
        layer: LayerFiles,
        homes: dict[str, Spot],
        gone: dict[str, tuple[str, str, str]],
    ) -> bool:
        """Tell whether a layer can retire or replace a rule; why not is a fault."""
        home = homes.get(rule_id)
        if home is None:
            self.desk.no_rule(file, path, rule_id, homes)
        elif home.layer.number >= layer.number:
            self.desk.fault(
                file,
                path,
                f"`{rule_id}` is no rule of a layer under this one",
                "edit or drop the rule itself",
            )
        elif rule_id in gone:
            _, by, replacement = gone[rule_id]
            how = f"replaced by `{replacement}`" if replacement else f"retired by `{by}`"
            self.desk.fault(
                file,
                path,
                f"`{rule_id}` is {how} already",
                "name that rule instead" if replacement and by != layer.name else "do one of them",
            )
        else:
            return True
        return False

    def _resolve(
        self,
        entries: dict[str, RuleEntry],
        homes: dict[str, Spot],
        gone: dict[str, tuple[str, str, str]],
    ) -> dict[str, RuleEntry]:
        """Drop what is gone, and let every reference follow replacements."""

        def follow(rule_id: str) -> str:
            """Return what a name means now: nothing if the rule is retired."""
            while rule_id in gone:
                rule_id = gone[rule_id][2]
            return rule_id

        kept: dict[str, RuleEntry] = {}
        for entry in entries.values():
            if entry.id in gone:
                continue
            overrides = dict.fromkeys(
                follow(other) for other in entry.rule.overrides if other in homes
            )
            steps = tuple(
                step._replace(
                    after=tuple(
                        dict.fromkeys(
                            after
                            for other in step.after
                            # What a rule replaces it need not wait for.
                            if (after := follow(other)) and (after != entry.id or other == after)
                        )
                    )
                )
                for step in entry.steps
            )
            rule = entry.rule._replace(overrides=tuple(o for o in overrides if o and o != entry.id))
            replaced = entries.get(entry.replaces)
            before = () if replaced is None else map(follow, replaced.rule.overrides)
            dropped = tuple(o for o in before if o and o != entry.id and o not in overrides)
            kept[entry.id] = entry._replace(rule=rule, steps=steps, dropped=dropped)
        return kept

    def _favours(
        self,
        layers: list[LayerFiles],
        kept: dict[str, RuleEntry],
        homes: dict[str, Spot],
        vocabulary: Vocabulary,
    ) -> tuple[str, ...]:
        """Return the favours in order, the top layer's first."""
        listed: dict[str, None] = {}
        for layer in reversed(layers):
            file = layer.files.named("manifest.yaml")
            if file is None:
                continue
            for i, rule_id in enumerate(layer.manifest.get("favours", ())):
                path: Path = ("favours", i)
                home = homes.get(rule_id)
                if home is None:
                    self.desk.no_rule(file, path, rule_id, homes)
                elif home.layer is not layer:
                    self.desk.fault(
                        file,
                        path,
                        f"`{rule_id}` was written by `{home.layer.name}`",
                        "favours are listed in the manifest of the layer that wrote the rule",
                    )
                elif rule_id in kept and kept[rule_id].rule.favour is None:
                    self.desk.fault(file, path, f"`{rule_id}` favours nothing", "leave it out")
                elif rule_id in kept:
                    listed[rule_id] = None
        build = self._build_facts(kept, vocabulary)
        for rule_id, entry in kept.items():
            spot = homes[rule_id]
            if entry.rule.favour is None:
                continue
            if rule_id not in listed and spot.layer.files.named("manifest.yaml") is not None:
                self.desk.fault(
                    spot.file,
                    (spot.at, "then"),
                    f"the favour of `{rule_id}` is not listed",
                    f"add it to `favours` in the manifest of {spot.layer.name}, in its place",
                )
            reads = sorted(build.intersection(entry.rule.reads()))
            if reads:
                self.desk.fault(
                    spot.file,
                    (spot.at, "then"),
                    f"`{rule_id}` favours a build by {', '.join(reads)}, which the build decides",
                    "a favour's conditions read only what is the same for every build",
                )
            elif rule_id in self._build_rules:
                self.desk.fault(
                    spot.file,
                    (spot.at, "then"),
                    f"`{rule_id}` is a favour, overridden by a rule that reads the build",
                    "a favour belongs to the setup; override it by a rule that does too",
                )
        return tuple(listed)

    def _build_facts(self, kept: dict[str, RuleEntry], vocabulary: Vocabulary) -> set[str]:
        """Return the facts that can differ between builds; computed ones when inputs are known."""
        from advisor.derive import NEEDS

        varying = set(vocabulary.of_origin(OPTION))
        build_rules: set[str] = set()
        winners = overriders(entry.rule for entry in kept.values())
        reads = {entry.id: entry.rule.reads() for entry in kept.values()}
        facts = {fact: needs for fact, needs in NEEDS.items() if fact in vocabulary}
        grew = True
        while grew:
            before = len(varying), len(build_rules)
            for fact, needs in facts.items():
                if not varying.isdisjoint(needs):
                    varying.add(fact)
            for rule_id in [rule_id for rule_id in reads if rule_id not in build_rules]:
                beaten = not build_rules.isdisjoint(winners.get(rule_id, ()))
                if beaten or not varying.isdisjoint(reads[rule_id]):
                    build_rules.add(rule_id)
                    varying.update(fact for fact, _ in kept[rule_id].rule.sets)
            grew = before != (len(varying), len(build_rules))
        self._build_rules = build_rules
        return varying

    def _assume(self, layers: list[LayerFiles], vocabulary: Vocabulary) -> dict[str, Assumption]:
        """Return the defaults, a house's over those of the layers under it."""
        assume = {
            name: entry.assume
            for name, entry in vocabulary.entries.items()
            if entry.assume is not None
        }
        for layer in layers:
            file = layer.files.named("manifest.yaml")
            if file is None:
                continue
            for name, raw in layer.manifest.get("assume", {}).items():
                path: Path = ("assume", name)
                if name not in vocabulary:
                    if self.desk.sound:
                        self.desk.fault(file, path, *vocabulary.no_such(name), key=True)
                    continue
                found = read_assumption(self.desk, file, vocabulary[name], raw, path, layer.name)
                if found is not None:
                    assume[name] = found
        return assume

    def _domain(self, layers: list[LayerFiles], vocabulary: Vocabulary) -> tuple[Node, ...]:
        """Return what every layer says that all setups meet, for proofs."""
        found: list[Node] = []
        for layer in layers:
            file = layer.files.named("manifest.yaml")
            if file is None or not self.desk.sound:
                continue
            reader = ConditionReader(vocabulary, partial(self.desk.fault, file))
            for i, raw in enumerate(layer.manifest.get("domain", ())):
                node = reader.condition(raw, ("domain", i))
                if node is not None:
                    found.append(node)
        return tuple(found)

    def _ladder(self, layers: list[LayerFiles], vocabulary: Vocabulary) -> Stock:
        """Return the generic stock: of the highest layer that has one."""
        for layer in reversed(layers):
            file = layer.files.named("ladder.yaml")
            if file is not None and self.desk.sound:
                document = file.document or PlainDocument(file.path, file.data, file.lines)
                stock = stock_of(document, vocabulary, self.desk.collector)
                return stock._replace(typical=frozenset(stock.items))
        return EMPTY_STOCK

    def _sources(self, layers: list[LayerFiles]) -> dict[str, Source]:
        sources: dict[str, Source] = {}
        for layer in layers:
            file = layer.files.named("sources.yaml")
            for name, raw in layer.sources.items():
                if name in sources and file is not None:
                    self.desk.fault(
                        file,
                        ("sources", name),
                        f"there is another source `{name}`",
                        "give it another name",
                        key=True,
                    )
                    continue
                sources[name] = Source(
                    name,
                    raw.get("author", ""),
                    raw["title"],
                    str(raw.get("year", "")),
                    raw.get("where", ""),
                    bool(raw.get("from_memory", False)),
                    raw.get("note", ""),
                )
        return sources

    def _check_names(self, spot: Spot, homes: dict[str, Spot], sources: dict[str, Source]) -> None:
        """Check the rules and the source that a rule names."""
        for i, other in enumerate(spot.raw.get("overrides", ())):
            path: Path = (spot.at, "overrides", i)
            home = homes.get(other)
            if home is None:
                self.desk.no_rule(spot.file, path, other, homes)
            elif home is spot:
                self.desk.fault(spot.file, path, "a rule overrides itself", "leave it out")
            elif home.layer.number > spot.layer.number:
                self.desk.fault(
                    spot.file,
                    path,
                    f"`{other}` is a rule of a layer above this one",
                    "a rule overrides rules of its own layer and of those under it",
                )
        for i, accepted in enumerate(spot.raw.get("accept", ())):
            for j, other in enumerate(accepted.get("with", ())):
                if other not in homes:
                    self.desk.no_rule(spot.file, (spot.at, "accept", i, "with", j), other, homes)
        for i, conclusion in enumerate(spot.raw["then"]):
            for j, other in enumerate((conclusion or {}).get("step", {}).get("after", ())):
                if other not in homes:
                    path = (spot.at, "then", i, "step", "after", j)
                    self.desk.no_rule(spot.file, path, other, homes)
        source = spot.raw.get("evidence", {}).get("source")
        if source and source not in sources and self.desk.cited:
            near = did_you_mean(source, sources)
            self.desk.fault(
                spot.file,
                (spot.at, "evidence", "source"),
                f"there is no source `{source}`",
                f"did you mean {near}?" if near else "add it to sources.yaml",
            )

    def _check_steps(self, kept: dict[str, RuleEntry], homes: dict[str, Spot]) -> None:
        """Refuse a circle of steps that wait for each other."""
        waits: dict[str, set[str]] = {}
        for entry in kept.values():
            for step in entry.steps:
                waits.setdefault(entry.id, set()).update(step.after)
        for circle in _circles(waits):
            spot = homes[circle[0]]
            self.desk.fault(
                spot.file,
                (spot.at,),
                "steps wait for each other: " + " after ".join(circle),
                "drop one of these `after`",
            )

    def _program(
        self, kept: dict[str, RuleEntry], homes: dict[str, Spot], table: FactTable
    ) -> Program | None:
        """Compile the rules; a circle among them is a fault."""
        try:
            return Program([entry.rule for entry in kept.values()], table)
        except CircleError as circle:
            first = next(name for kind, name in circle.steps if kind != "value")
            spot = homes[first]
            self.desk.fault(spot.file, (spot.at,), *spell_circle(circle))
            return None


def _identity(layers: list[LayerFiles]) -> str:
    """Return the digest of the layers; it is kept beside the documents it was made of."""
    keys = [layer.files.key for layer in layers]
    key = store.key({str(i): key.encode() for i, key in enumerate(keys)}) if all(keys) else ""
    held = store.load(key) if key else None
    if isinstance(held, str):
        return held
    found = digest(
        {
            "manifest": layer.manifest,
            "vocabulary": layer.vocabulary,
            "sources": layer.sources,
            "rules": {
                raw["id"]: raw
                for file in layer.files.files
                if file.name not in SPECIAL
                for raw in file.data
            },
        }
        for layer in layers
    )
    if key:
        store.save(key, found)
    return found


def _circles(waits: Mapping[str, AbstractSet[str]]) -> Iterator[list[str]]:
    """Yield the circles of names that wait for each other, the first name repeated at the end.

    Depth first without recursion, so that a long chain cannot exhaust the stack.
    """
    done: set[str] = set()
    for start in sorted(waits):
        if start in done:
            continue
        trail = {start: iter(sorted(waits[start]))}
        while trail:
            name = next(reversed(trail))
            for other in trail[name]:
                if other in trail:
                    names = list(trail)
                    yield [*names[names.index(other) :], other]
                elif other not in done:
                    trail[other] = iter(sorted(waits.get(other, ())))
                    break
            else:
                del trail[name]
                done.add(name)


def spell_circle(circle: CircleError) -> tuple[str, str]:
    """Spell a circle out in words, with the remedy."""
    words = {"firing": "`{}` fires", "value": "{} has its value", "standing": "`{}` stands"}
    told = [words[kind].format(name) for kind, name in circle.steps]
    return (
        "these wait for each other: " + ", before ".join(told),
        "let one of these rules read, set or override something else",
    )
