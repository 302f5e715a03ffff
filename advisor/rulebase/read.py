"""Reading rule bases: files into documents, documents into layers, layers into one rule base."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from advisor.engine.conditions import Node
from advisor.engine.rules import CircleError, Demand, Favour, Rule, order
from advisor.engine.values import CONCLUDED, GIVEN, OPTION
from advisor.errors import Collector, Faults, did_you_mean
from advisor.quantities import UNITS, QuantityError, parse_quantity
from advisor.rulebase import store
from advisor.rulebase.conditions import ConditionReader, Path
from advisor.rulebase.digest import digest
from advisor.rulebase.locate import SPECIAL, base_folder, find, rule_files
from advisor.rulebase.model import (
    CautionText,
    Contest,
    Evidence,
    Layer,
    Retired,
    RuleBase,
    RuleEntry,
    Source,
    StepText,
)
from advisor.vocabulary import (
    CHOICE,
    NAMED,
    NUMBERS,
    Assumption,
    FactEntry,
    UnfitError,
    Vocabulary,
    show,
)

SCHEMA_VERSION = 1
STRENGTHS = ("must", "must_not", "should", "should_not")


class _File(NamedTuple):
    """A file of a rule base with its data; places are found only when a fault must be told."""

    path: str
    name: str
    data: Any
    lines: Mapping[str, int]  # rule id -> line
    document: Any  # documents.Document, or None when the data came from the cache

    def where(self, path: Path, *, key: bool = False) -> tuple[int | None, int | None]:
        """Return line and column of a value, or of its key."""
        if self.document is None:
            return None, None
        place: tuple[int, int] = (
            self.document.where_key(*path) if key else self.document.where(*path)
        )
        return place


class _Files(NamedTuple):
    folder: str
    files: tuple[_File, ...]
    cached: bool

    def named(self, name: str) -> _File | None:
        """Return one of the special files."""
        return next((file for file in self.files if file.name == name), None)


def _schema_of(name: str) -> dict[str, Any]:
    """Return the JSON Schema that a file of a rule base must keep to, fact names left open."""
    from advisor.rulebase import schemas

    make = {
        "manifest.yaml": schemas.manifest,
        "vocabulary.yaml": schemas.vocabulary,
        "sources.yaml": schemas.sources,
        "ladder.yaml": schemas.stock,
    }
    return make.get(name, schemas.rules)()


def _open(folder: str, collector: Collector, *, cache: bool) -> _Files:
    """Read and check the files of one rule base, from the cache if they were checked before."""
    names = rule_files(folder, collector)
    contents: dict[str, bytes] = {}
    for name in names:
        try:
            with open(os.path.join(folder, name), "rb") as file:
                contents[name] = file.read()
        except OSError:
            cache = False  # the reader below says what is wrong
    key = store.key(contents)
    held = store.load(key) if cache else None
    if held is not None:
        files = tuple(
            _File(os.path.join(folder, name), name, data, lines, None) for name, data, lines in held
        )
        return _Files(folder, files, cached=True)
    before = len(collector)
    read = [_read_file(folder, name, collector) for name in names]
    files = tuple(file for file in read if file is not None)
    if len(collector) == before and cache:
        store.save(key, [[file.name, file.data, file.lines] for file in files])
    return _Files(folder, files, cached=False)


def _read_file(folder: str, name: str, collector: Collector) -> _File | None:
    from advisor.documents import check_schema, read_document

    path = os.path.join(folder, name)
    try:
        document = read_document(path)
    except Faults as faults:
        collector.absorb(faults)
        return None
    if not check_schema(document, _schema_of(name), collector):
        return None
    lines: dict[str, int] = {}
    if name not in SPECIAL:
        for i, rule in enumerate(document.data):
            lines.setdefault(rule["id"], document.where(i)[0])
    return _File(path, name, document.data, lines, document)


class _Layer(NamedTuple):
    """One rule base of the stack with what its files declare."""

    files: _Files
    manifest: dict[str, Any]
    vocabulary: dict[str, Any]
    sources: dict[str, Any]
    number: int

    @property
    def name(self) -> str:
        """Return its name."""
        return str(self.manifest.get("name", ""))


class _Reader:
    """Reads one stack of layers, gathering every fault."""

    def __init__(self, *, cache: bool) -> None:
        self.collector = Collector("rules")
        self.cache = cache
        self.used_cache = False
        self.sound = True  # false once a vocabulary is missing: names cannot be checked then

    def fault(self, file: _File, path: Path, what: str, remedy: str, *, key: bool = False) -> None:
        line, column = file.where(path, key=key)
        self.collector.add(file.path, line, column, what, remedy)

    # Layers

    def stack(self, folder: str) -> list[_Layer]:
        """Return the layers, lowest first."""
        chain: list[tuple[_Files, dict[str, Any]]] = []
        seen: set[str] = set()
        here: str | None = folder
        while here is not None:
            seen.add(os.path.realpath(here))
            files = _open(here, self.collector, cache=self.cache)
            self.used_cache = self.used_cache or files.cached
            manifest = files.named("manifest.yaml")
            data = manifest.data if manifest is not None else {}
            chain.append((files, data))
            here = self._under(files, manifest, seen)
        return [
            _Layer(
                files,
                manifest,
                self._section(files, "vocabulary.yaml", "facts"),
                self._section(files, "sources.yaml", "sources"),
                number,
            )
            for number, (files, manifest) in enumerate(reversed(chain))
        ]

    def _section(self, files: _Files, name: str, key: str) -> dict[str, Any]:
        file = files.named(name)
        if file is None:
            if name == "vocabulary.yaml" and os.path.exists(os.path.join(files.folder, name)):
                self.sound = False
            return {}
        section: dict[str, Any] = file.data.get(key) or {}
        return section

    def _under(self, files: _Files, manifest: _File | None, seen: set[str]) -> str | None:
        """Return the folder of the rule base that this one extends."""
        extends = manifest.data.get("extends") if manifest is not None else None
        if manifest is None or extends is None:
            return None
        name = extends["name"]
        if os.sep in name or name.startswith("."):
            found = None
        else:
            found = find(name, files.folder)
        if found is None:
            self.fault(
                manifest,
                ("extends", "name"),
                f"there is no rule base `{name}` to extend",
                "put its folder beside this one, or extend `base`",
            )
            self.sound = False
            return None
        if os.path.realpath(found) in seen:
            self.fault(
                manifest,
                ("extends", "name"),
                f"`{name}` extends itself in the end",
                "a rule base can only extend those under it",
            )
            return None
        self._check_version(manifest, extends, found)
        return found

    def _check_version(self, manifest: _File, extends: dict[str, str], found: str) -> None:
        under = _open(found, Collector("rules"), cache=self.cache).named("manifest.yaml")
        if under is None or "version" not in extends:
            return
        version = under.data["version"]
        try:
            fits = satisfies(version, extends["version"])
        except ValueError as error:
            self.fault(manifest, ("extends", "version"), str(error), 'write ">=1.2,<2"')
            return
        if not fits:
            self.fault(
                manifest,
                ("extends", "version"),
                f"`{extends['name']}` is at version {version}, not `{extends['version']}`",
                "read what changed in its changelog, then widen the range",
            )

    # Vocabulary

    def vocabulary(self, layers: list[_Layer]) -> Vocabulary:
        """Read every layer's facts; a fact declared twice is a fault."""
        entries: dict[str, FactEntry] = {}
        home: dict[str, str] = {}
        for layer in layers:
            file = layer.files.named("vocabulary.yaml")
            if file is None:
                continue
            for name, raw in layer.vocabulary.items():
                path: Path = ("facts", name)
                if name in entries:
                    self.fault(
                        file,
                        path,
                        f"`{name}` is declared by `{home[name]}` already",
                        "choose another name: a house adds facts, it does not change them",
                        key=True,
                    )
                    continue
                entry = self._entry(file, name, raw, path, layer.name)
                if entry is not None:
                    entries[name] = entry
                    home[name] = layer.name
        return Vocabulary(entries.values())

    def _entry(
        self, file: _File, name: str, raw: dict[str, Any], path: Path, layer: str
    ) -> FactEntry | None:
        kind, origin = raw["kind"], raw["origin"]
        unit = raw.get("unit", "")
        if kind == "quantity" and unit not in UNITS:
            near = did_you_mean(unit, UNITS)
            self.fault(
                file,
                (*path, "unit"),
                f"`{unit}` is no unit",
                f"did you mean {near}?" if near else "units: " + ", ".join(UNITS),
            )
            return None
        low = high = None
        numbers: dict[str, float] = {}
        if kind in NUMBERS:
            bounds = raw.get("range")
            for key, value, at in [
                *(("range", item, ("range", i)) for i, item in enumerate(bounds or ())),
                *((k, raw[k], (k,)) for k in ("tolerance", "within", "step") if k in raw),
            ]:
                try:
                    number = (
                        parse_quantity(value, unit, bare=True, name=name)
                        if kind == "quantity"
                        else float(value)
                    )
                except QuantityError as error:
                    self.fault(file, (*path, *at), error.what, error.help)
                    return None
                if key == "range":
                    low, high = (number, high) if at[1] == 0 else (low, number)
                else:
                    numbers[key] = number
            if low is not None and high is not None and low > high:
                self.fault(
                    file,
                    (*path, "range"),
                    f"the range of {name} is upside down",
                    "write the lower end first",
                )
        if kind == CHOICE and not raw.get("choices"):
            self.fault(
                file, path, f"{name} is a choice without choices", "list its choices, a line each"
            )
            return None
        entry = FactEntry(
            name=name,
            label=raw.get("label", name),
            kind=kind,
            origin=origin,
            several=bool(raw.get("several", False)),
            choices=_choices(raw.get("choices")),
            unit=unit,
            bare=bool(raw.get("bare", True)),
            low=low,
            high=high,
            tolerance=numbers.get("tolerance"),
            within=numbers.get("within", 0.0),
            step=numbers.get("step"),
            pairs=bool(raw.get("pairs", False)),
            question=raw.get("question", ""),
        )
        if "assume" in raw:
            assumption = self._assumption(file, entry, raw["assume"], (*path, "assume"), layer)
            entry = entry._replace(assume=assumption)
        return entry

    def _assumption(
        self, file: _File, entry: FactEntry, raw: dict[str, Any], path: Path, layer: str
    ) -> Assumption | None:
        if entry.origin != GIVEN:
            self.fault(
                file,
                path,
                f"{entry.name} is {entry.origin}, and only given facts are assumed",
                "leave the assumption out",
            )
            return None
        try:
            value = entry.read(raw["value"])
        except UnfitError as fault:
            self.fault(file, (*path, "value"), fault.what, fault.help)
            return None
        return Assumption(value, raw["because"], layer)

    # Rules

    def rules(self, layers: list[_Layer], vocabulary: Vocabulary) -> RuleBase | None:
        """Read all rules and put the layers together."""
        entries: dict[str, RuleEntry] = {}
        homes: dict[str, _Spot] = {}
        for layer in layers:
            for file in layer.files.files:
                if file.name in SPECIAL:
                    continue
                for i, raw in enumerate(file.data):
                    rule_id = raw["id"]
                    spot = _Spot(file, i, layer)
                    if rule_id in homes:
                        other = homes[rule_id]
                        self.fault(
                            file,
                            (i, "id"),
                            f"there is another rule `{rule_id}` ({other.place()})",
                            "give one of them another name"
                            if other.layer is layer
                            else "give it a name of its own; `replaces` says what it replaces",
                        )
                        continue
                    homes[rule_id] = spot
                    entry = self._rule(spot, raw, vocabulary)
                    if entry is not None:
                        entries[rule_id] = entry
        return self._together(layers, vocabulary, entries, homes)

    def _rule(self, spot: _Spot, raw: dict[str, Any], vocabulary: Vocabulary) -> RuleEntry | None:
        before = len(self.collector)
        file, start = spot.file, spot.at

        def report(path: Path, what: str, remedy: str) -> None:
            if self.sound:
                self.fault(file, path, what, remedy)

        reader = ConditionReader(vocabulary, report)
        when = reader.condition(raw["when"], (start, "when")) if "when" in raw else None
        unless = reader.condition(raw["unless"], (start, "unless")) if "unless" in raw else None
        part = _Conclusions(reader, vocabulary, report)
        for i, conclusion in enumerate(raw["then"]):
            ((kind, body),) = conclusion.items()
            part.read(kind, body, i, (start, "then", i, kind))
        part.check_sets((start, "then"))
        texts = [("says", raw["says"]), ("because", raw["because"])]
        for key, text in texts:
            check_text(text, vocabulary, report, (start, key))
        for replaced_in in ("overrides",):
            for i, other in enumerate(raw.get(replaced_in, ())):
                if other == raw["id"]:
                    report((start, replaced_in, i), "a rule overrides itself", "leave it out")
        if len(self.collector) != before:
            return None
        evidence = raw["evidence"]
        contested = raw.get("contested")
        return RuleEntry(
            rule=Rule(
                id=raw["id"],
                when=when,
                unless=unless,
                sets=tuple(part.sets),
                demands=tuple(part.demands),
                favour=part.favour,
                stop=any(caution.level == "stop" for caution in part.cautions),
                overrides=tuple(raw.get("overrides", ())),
                layer=spot.layer.number,
            ),
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
            cautions=tuple(part.cautions),
            steps=tuple(part.steps),
            layer=spot.layer.name,
            file=file.path,
            line=file.lines.get(raw["id"], 0),
            replaces=raw.get("replaces", ""),
            source=raw,
        )

    # Putting layers together

    def _together(
        self,
        layers: list[_Layer],
        vocabulary: Vocabulary,
        entries: dict[str, RuleEntry],
        homes: dict[str, _Spot],
    ) -> RuleBase | None:
        gone = self._gone(layers, entries, homes)
        sources = self._sources(layers)
        self._check_evidence(entries, homes, sources)
        kept = self._resolve(entries, homes, gone)
        favours = self._favours(layers, kept, homes, gone, vocabulary)
        assume = self._assume(layers, vocabulary)
        self._check_steps(kept, homes)
        if self.sound and not len(self.collector):
            self._check_order(kept, homes, vocabulary)
        if len(self.collector):
            return None
        retired = tuple(
            Retired(
                rule_id,
                entries[rule_id].says,
                because,
                by,
                replacement,
            )
            for rule_id, (because, by, replacement) in sorted(gone.items())
        )
        ladder = None
        for layer in layers:
            file = layer.files.named("ladder.yaml")
            if file is not None:
                ladder = {"path": file.path, "data": file.data}
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
            entries=tuple(kept[rule_id] for rule_id in sorted(kept)),
            sources=sources,
            favours=favours,
            assume=assume,
            retired=retired,
            digest=digest(
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
            ),
            ladder=ladder,
        )

    def _gone(
        self, layers: list[_Layer], entries: dict[str, RuleEntry], homes: dict[str, _Spot]
    ) -> dict[str, tuple[str, str, str]]:
        """Return the rules that are retired or replaced: (because, by which layer, by which rule)."""
        gone: dict[str, tuple[str, str, str]] = {}
        for layer in layers:
            file = layer.files.named("manifest.yaml")
            for i, raw in enumerate(layer.manifest.get("retire", ())):
                path: Path = ("retire", i, "rule")
                if file is not None and self._is_under(file, path, raw["rule"], layer, homes):
                    gone[raw["rule"]] = (raw["because"], layer.name, "")
        for entry in entries.values():
            if entry.replaces:
                spot = homes[entry.id]
                path = (spot.at, "replaces")
                if not self._is_under(spot.file, path, entry.replaces, spot.layer, homes):
                    continue
                if entry.replaces in gone:
                    self.fault(
                        spot.file,
                        path,
                        f"`{entry.replaces}` is retired or replaced already",
                        "let one rule replace it",
                    )
                    continue
                gone[entry.replaces] = (entry.because, spot.layer.name, entry.id)
        return {rule_id: told for rule_id, told in gone.items() if rule_id in entries}

    def _is_under(
        self, file: _File, path: Path, rule_id: str, layer: _Layer, homes: dict[str, _Spot]
    ) -> bool:
        home = homes.get(rule_id)
        if home is None:
            self._no_rule(file, path, rule_id, homes)
        elif home.layer.number >= layer.number:
            self.fault(
                file,
                path,
                f"`{rule_id}` is no rule of a layer under this one",
                "edit or drop the rule itself",
            )
        else:
            return True
        return False

    def _no_rule(self, file: _File, path: Path, rule_id: str, homes: Mapping[str, Any]) -> None:
        near = did_you_mean(rule_id, homes)
        self.fault(
            file,
            path,
            f"there is no rule `{rule_id}`",
            f"did you mean {near}?" if near else "name a rule of this layer or of one under it",
        )

    def _resolve(
        self,
        entries: dict[str, RuleEntry],
        homes: dict[str, _Spot],
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
            spot = homes[entry.id]
            for i, other in enumerate(entry.rule.overrides):
                home = homes.get(other)
                if home is None:
                    self._no_rule(spot.file, (spot.at, "overrides", i), other, homes)
                elif home.layer.number > spot.layer.number:
                    self.fault(
                        spot.file,
                        (spot.at, "overrides", i),
                        f"`{other}` is a rule of a layer above this one",
                        "a rule overrides rules of its own layer and of those under it",
                    )
            if entry.id in gone:
                continue
            overrides = dict.fromkeys(
                follow(other) for other in entry.rule.overrides if other in homes
            )
            steps = tuple(
                step._replace(
                    after=tuple(
                        dict.fromkeys(filter(None, (follow(other) for other in step.after)))
                    )
                )
                for step in entry.steps
            )
            rule = entry.rule._replace(overrides=tuple(o for o in overrides if o and o != entry.id))
            kept[entry.id] = entry._replace(rule=rule, steps=steps)
        return kept

    def _favours(
        self,
        layers: list[_Layer],
        kept: dict[str, RuleEntry],
        homes: dict[str, _Spot],
        gone: dict[str, tuple[str, str, str]],
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
                    self._no_rule(file, path, rule_id, homes)
                elif home.layer is not layer:
                    self.fault(
                        file,
                        path,
                        f"`{rule_id}` was written by `{home.layer.name}`",
                        "favours are listed in the manifest of the layer that wrote the rule",
                    )
                elif rule_id in kept and kept[rule_id].rule.favour is None:
                    self.fault(file, path, f"`{rule_id}` favours nothing", "leave it out")
                elif rule_id in kept:
                    listed[rule_id] = None
        build = self._build_facts(kept, vocabulary)
        for rule_id, entry in kept.items():
            spot = homes[rule_id]
            if entry.rule.favour is None:
                continue
            if rule_id not in listed:
                self.fault(
                    spot.file,
                    (spot.at, "then"),
                    f"the favour of `{rule_id}` is not listed",
                    f"add it to `favours` in the manifest of {spot.layer.name}, in its place",
                )
            reads = sorted(build.intersection(entry.rule.reads()))
            if reads:
                self.fault(
                    spot.file,
                    (spot.at, "then"),
                    f"`{rule_id}` favours a build by {', '.join(reads)}, which the build decides",
                    "a favour's conditions read only what is the same for every build",
                )
            elif rule_id in self._beaten_by_build:
                self.fault(
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
        grew = True
        build_rules: set[str] = set()
        beaten = {loser: entry.id for entry in kept.values() for loser in entry.rule.overrides}
        while grew:
            grew = False
            for fact, needs in NEEDS.items():
                if fact in vocabulary and fact not in varying and not varying.isdisjoint(needs):
                    varying.add(fact)
                    grew = True
            for entry in kept.values():
                if entry.id in build_rules:
                    continue
                if (
                    not varying.isdisjoint(entry.rule.reads())
                    or beaten.get(entry.id) in build_rules
                ):
                    build_rules.add(entry.id)
                    varying.update(fact for fact, _ in entry.rule.sets)
                    grew = True
        self._beaten_by_build = build_rules
        return varying

    def _assume(self, layers: list[_Layer], vocabulary: Vocabulary) -> dict[str, Assumption]:
        """Return the defaults, a house's over those of the layers under it."""
        assume = {
            name: entry.assume
            for name, entry in vocabulary.entries.items()
            if entry.assume is not None
        }
        for layer in layers:
            file = layer.files.named("manifest.yaml")
            for name, raw in layer.manifest.get("assume", {}).items():
                path: Path = ("assume", name)
                if file is None:
                    continue
                if name not in vocabulary:
                    if self.sound:
                        self.fault(file, path, *vocabulary.no_such(name), key=True)
                    continue
                found = self._assumption(file, vocabulary[name], raw, path, layer.name)
                if found is not None:
                    assume[name] = found
        return assume

    def _sources(self, layers: list[_Layer]) -> dict[str, Source]:
        sources: dict[str, Source] = {}
        for layer in layers:
            file = layer.files.named("sources.yaml")
            for name, raw in layer.sources.items():
                if name in sources and file is not None:
                    self.fault(
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

    def _check_evidence(
        self,
        entries: dict[str, RuleEntry],
        homes: dict[str, _Spot],
        sources: dict[str, Source],
    ) -> None:
        for entry in entries.values():
            source = entry.evidence.source
            if source and source not in sources:
                spot = homes[entry.id]
                near = did_you_mean(source, sources)
                self.fault(
                    spot.file,
                    (spot.at, "evidence", "source"),
                    f"there is no source `{source}`",
                    f"did you mean {near}?" if near else "add it to sources.yaml",
                )

    def _check_steps(self, kept: dict[str, RuleEntry], homes: dict[str, _Spot]) -> None:
        """Refuse a circle of steps that wait for each other."""
        waits: dict[str, set[str]] = {}
        for entry in kept.values():
            spot = homes[entry.id]
            for step in entry.steps:
                waits.setdefault(entry.id, set()).update(step.after)
            for i, conclusion in enumerate(spot.file.data[spot.at]["then"]):
                for j, other in enumerate(conclusion.get("step", {}).get("after", ())):
                    if other not in homes:
                        path: Path = (spot.at, "then", i, "step", "after", j)
                        self._no_rule(spot.file, path, other, homes)
        done: set[str] = set()
        for start in sorted(waits):
            trail: list[str] = []
            self._follow_steps(start, waits, trail, done, homes)

    def _follow_steps(
        self,
        rule_id: str,
        waits: dict[str, set[str]],
        trail: list[str],
        done: set[str],
        homes: dict[str, _Spot],
    ) -> None:
        if rule_id in trail:
            spot = homes[rule_id]
            circle = [*trail[trail.index(rule_id) :], rule_id]
            self.fault(
                spot.file,
                (spot.at,),
                "steps wait for each other: " + " after ".join(circle),
                "drop one of these `after`",
            )
            done.update(circle)
        if rule_id in done:
            return
        trail.append(rule_id)
        for other in sorted(waits.get(rule_id, ())):
            self._follow_steps(other, waits, trail, done, homes)
        trail.pop()
        done.add(rule_id)

    def _check_order(
        self, kept: dict[str, RuleEntry], homes: dict[str, _Spot], vocabulary: Vocabulary
    ) -> None:
        try:
            order([entry.rule for entry in kept.values()], vocabulary.table())
        except CircleError as circle:
            first = next(name for kind, name in circle.steps if kind != "value")
            spot = homes[first]
            self.fault(spot.file, (spot.at,), *spell_circle(circle))


class _Spot(NamedTuple):
    """Where a rule stands."""

    file: _File
    at: int
    layer: _Layer

    def place(self) -> str:
        line = self.file.lines.get(self.file.data[self.at]["id"])
        return f"{self.file.path}:{line}" if line else self.file.path


class _Conclusions:
    """The `then` of one rule as it is read."""

    def __init__(self, reader: ConditionReader, vocabulary: Vocabulary, report: Any) -> None:
        self.reader = reader
        self.vocabulary = vocabulary
        self.report = report
        self.sets: list[tuple[str, Any]] = []
        self.demands: list[Demand] = []
        self.favour: Favour | None = None
        self.cautions: list[CautionText] = []
        self.steps: list[StepText] = []

    def read(self, kind: str, body: Any, place: int, path: Path) -> None:
        """Read one conclusion."""
        if kind == "set":
            for name, value in body.items():
                self._set(name, value, (*path, name))
        elif kind in STRENGTHS:
            ((name, test),) = body.items()
            self._demand(kind, name, test, place, (*path, name))
        elif kind == "favour":
            ((name, end),) = body.items()
            self._favour(name, end, (*path, name))
        elif kind == "caution":
            check_text(body["text"], self.vocabulary, self.report, (*path, "text"))
            self.cautions.append(CautionText(body["level"], body["text"]))
        else:
            check_text(body["text"], self.vocabulary, self.report, (*path, "text"))
            self.steps.append(StepText(body["phase"], body["text"], tuple(body.get("after", ()))))

    def _set(self, name: str, value: Any, path: Path) -> None:
        entry = self.reader.fact(name, path)
        if entry is None:
            return
        if entry.origin != CONCLUDED:
            self.report(
                path,
                f"`set` names {name}, which is {entry.origin}",
                "rules conclude concluded facts; ask for others with should or must",
            )
            return
        try:
            self.sets.append((name, entry.read(value, in_rule=True)))
        except UnfitError as fault:
            self.report(path, fault.what, fault.help)

    def _demand(self, kind: str, name: str, test: Any, place: int, path: Path) -> None:
        entry = self.reader.fact(name, path)
        if entry is None:
            return
        if entry.origin == CONCLUDED:
            self.report(
                path,
                f"`{kind}` asks for {name}, which rules conclude",
                "demand a given, option or computed fact",
            )
            return
        node: Node | None = self.reader.test(name, test, path)
        if node is not None:
            self.demands.append(Demand(place, kind, name, node))

    def _favour(self, name: str, end: str, path: Path) -> None:
        entry = self.reader.fact(name, path)
        if entry is None:
            return
        if not entry.is_number:
            self.report(path, f"{name} has no highest or lowest", "favour a number")
        elif self.favour is not None:
            self.report(path, "a rule favours one fact", "write a second rule")
        else:
            self.favour = Favour(name, end == "highest")

    def check_sets(self, path: Path) -> None:
        """Refuse a rule that sets one fact twice."""
        names = [name for name, _ in self.sets]
        for name in sorted({name for name in names if names.count(name) > 1}):
            self.report(path, f"the rule sets {name} twice", "keep one of them")


def check_text(text: str, vocabulary: Vocabulary, report: Any, path: Path) -> None:
    """Report braces in a text that name no fact."""
    for name in NAMED.findall(text):
        if name not in vocabulary:
            report(path, *vocabulary.no_such(name))
    rest = NAMED.sub("", text)
    if "{" in rest or "}" in rest:
        report(path, "a brace stands alone", "braces name a fact: {arrow.mass}")


def spell_circle(circle: CircleError) -> tuple[str, str]:
    """Spell a circle out in words, with the remedy."""
    words = {"firing": "`{}` fires", "value": "{} has its value", "standing": "`{}` stands"}
    told = [words[kind].format(name) for kind, name in circle.steps]
    return (
        "these wait for each other: " + ", before ".join(told),
        "let one of these rules read, set or override something else",
    )


def _choices(raw: Any) -> dict[str, str]:
    if raw is None:
        return {}
    if isinstance(raw, list):
        return {show(item): "" for item in raw}
    return {str(name): "" if line is None else str(line) for name, line in raw.items()}


_BOUND = re.compile(r"(>=|<=|==|!=|>|<)\s*(\d+(?:\.\d+){0,2})$")


def satisfies(version: str, wanted: str) -> bool:
    """Tell whether a version lies in a range such as ">=1.2,<2".

    Raises:
        ValueError: if the range cannot be read.
    """
    have = _numbers(version)
    for part in wanted.split(","):
        found = _BOUND.match(part.strip())
        if found is None:
            raise ValueError(f"`{part.strip()}` is no version bound")
        op, bound = found.group(1), _numbers(found.group(2))
        fits = {
            ">=": have >= bound,
            "<=": have <= bound,
            "==": have == bound,
            "!=": have != bound,
            ">": have > bound,
            "<": have < bound,
        }[op]
        if not fits:
            return False
    return True


def _numbers(version: str) -> tuple[int, int, int]:
    parts = [
        int(n)
        for n in re.findall(r"\d+", version.split("-", maxsplit=1)[0].split("+", maxsplit=1)[0])[:3]
    ]
    parts += [0] * (3 - len(parts))
    return parts[0], parts[1], parts[2]


def read_rule_base(folder: str | None = None, *, cache: bool = True) -> RuleBase:
    """Read a rule base and all it extends.

    Args:
        folder: holding manifest.yaml; None for the base rules.
        cache: whether documents checked before may be taken from the cache.

    Raises:
        Faults: everything wrong with any file of any layer.
    """
    where = base_folder() if folder is None else folder
    reader = _Reader(cache=cache)
    layers = reader.stack(where)
    vocabulary = reader.vocabulary(layers)
    base = reader.rules(layers, vocabulary)
    if base is None and reader.used_cache:
        # A cached document has no places; the report must have them.
        return read_rule_base(folder, cache=False)
    reader.collector.raise_if_any()
    if base is None:  # pragma: no cover  # a missing base always leaves a fault
        raise AssertionError("a rule base was refused without a fault")
    return base


@lru_cache(maxsize=8)
def shared_rule_base(folder: str | None = None) -> RuleBase:
    """Read a rule base once for a whole process."""
    return read_rule_base(folder)
