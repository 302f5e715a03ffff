"""The files of a rule base: read, checked against their schema, kept with their places."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from advisor.errors import Collector, Faults, did_you_mean
from advisor.rulebase import store
from advisor.rulebase.conditions import Path
from advisor.rulebase.locate import SPECIAL, path_of, rule_files
from advisor.setups.read import ITEM_LISTS


class SourceFile(NamedTuple):
    """A file of a rule base with its data; places are found only when a fault must be told."""

    path: str
    name: str
    data: Any
    lines: Mapping[str, int]  # rule id, or in the ladder "vanes.0" -> line
    document: Any  # documents.Document, or None when the data came from the cache
    whole: bool = True  # false if some of its rules were refused; None stands for them in `data`
    remains: Mapping[int, dict[str, Any]] = {}  # of refused rules, what can be read

    def where(self, path: Path, *, key: bool = False) -> tuple[int | None, int | None]:
        """Return line and column of a value, or of its key."""
        if self.document is None:
            return None, None
        place: tuple[int, int] = (
            self.document.where_key(*path) if key else self.document.where(*path)
        )
        return place


class SourceFiles(NamedTuple):
    """The files of one rule base."""

    folder: str
    files: tuple[SourceFile, ...]
    unread: tuple[str, ...]  # names of files that are there but were refused
    key: str  # of the cache; empty where none is used
    cached: bool

    def named(self, name: str) -> SourceFile | None:
        """Return one of the special files."""
        return next((file for file in self.files if file.name == name), None)


class LayerFiles(NamedTuple):
    """One rule base of the stack with what its files declare."""

    files: SourceFiles
    manifest: dict[str, Any]
    vocabulary: dict[str, Any]
    sources: dict[str, Any]
    number: int

    @property
    def name(self) -> str:
        """Return its name."""
        return str(self.manifest.get("name", ""))


class Spot(NamedTuple):
    """Where a rule stands."""

    file: SourceFile
    at: int
    layer: LayerFiles

    @property
    def raw(self) -> dict[str, Any]:
        """Return the rule as it is written."""
        rule: dict[str, Any] = self.file.data[self.at] or self.file.remains[self.at]
        return rule

    def place(self) -> str:
        """Return file and line."""
        line = self.file.lines.get(self.raw["id"])
        return f"{self.file.path}:{line}" if line else self.file.path


class Desk:
    """Where faults are laid down while a stack of rule bases is read."""

    def __init__(self) -> None:
        self.collector = Collector("rules")
        self.sound = True
        """False once a vocabulary is missing: names of facts cannot be checked any more."""
        self.complete = True
        """False once rules are missing: names of rules cannot be checked any more."""
        self.cited = True
        """False once sources are missing: their names cannot be checked any more."""

    def lose(self, files: SourceFiles) -> None:
        """Take note of what the files of a rule base would have declared, had they been read.

        Their own faults are told; that nothing they declare is found would be no fault of others.
        """
        # Without its manifest a rule base may lack all that it extends.
        blind = files.named("manifest.yaml") is None
        self.sound = self.sound and not (blind or "vocabulary.yaml" in files.unread)
        self.cited = self.cited and not (blind or "sources.yaml" in files.unread)
        self.complete = self.complete and not (blind or set(files.unread) - set(SPECIAL))

    def fault(
        self, file: SourceFile, path: Path, what: str, remedy: str, *, key: bool = False
    ) -> None:
        """Take one fault at a place of a file."""
        line, column = file.where(path, key=key)
        self.collector.add(file.path, line, column, what, remedy)

    def no_rule(self, file: SourceFile, path: Path, rule_id: str, known: Mapping[str, Any]) -> None:
        """Say that there is no such rule, and what may have been meant."""
        if not self.complete:
            return
        near = did_you_mean(rule_id, known)
        self.fault(
            file,
            path,
            f"there is no rule `{rule_id}`",
            f"did you mean {near}?" if near else "name a rule of this layer or of one under it",
        )


def schema_of(name: str) -> dict[str, Any]:
    """Return the JSON Schema that a file of a rule base must keep to, fact names left open."""
    from advisor.rulebase import schemas

    make = {
        "manifest.yaml": schemas.manifest,
        "vocabulary.yaml": schemas.vocabulary,
        "sources.yaml": schemas.sources,
        "ladder.yaml": schemas.stock,
    }
    return make.get(name, schemas.rules)()


def open_files(folder: str, collector: Collector, *, cache: bool) -> SourceFiles:
    """Read and check the files of one rule base, from the cache if they were checked before."""
    from advisor.documents import LARGEST

    names, refused = rule_files(folder, collector)
    contents: dict[str, bytes] = {}
    for name in names:
        try:
            with open(path_of(folder, name), "rb") as file:
                contents[name] = file.read(LARGEST + 1)
        except OSError:
            cache = False  # the reader below says what is wrong
    key = store.key(contents)
    held = store.load(key) if cache else None
    if held is not None:
        files = tuple(
            SourceFile(path_of(folder, name), name, data, lines, None) for name, data, lines in held
        )
        return SourceFiles(folder, files, tuple(refused), key, cached=True)
    before = len(collector)
    read = [_read_file(folder, name, contents.get(name), collector) for name in names]
    files = tuple(file for file in read if file is not None)
    if len(collector) == before and cache:
        store.save(key, [[file.name, file.data, file.lines] for file in files])
    refused += [
        name
        for name, file in zip(names, read, strict=True)
        if file is None or not all(rule.get("id") for rule in file.remains.values())
    ]
    return SourceFiles(folder, files, tuple(refused), key if cache else "", cached=False)


def _read_file(
    folder: str, name: str, content: bytes | None, collector: Collector
) -> SourceFile | None:
    from advisor.documents import check_schema, faulty_parts, read_document
    from advisor.rulebase.unfilled import tell_unfilled

    path = path_of(folder, name)
    try:
        # What is kept under the digest of these bytes must come from these bytes.
        text = None if content is None else content.decode()
    except UnicodeDecodeError:
        text = None
    try:
        document = read_document(path, text, about="rules")
    except Faults as faults:
        collector.absorb(faults)
        return None
    if tell_unfilled(document, collector):
        return None  # what else would be said of it is no news to whoever has just begun it
    data = document.data
    schema = schema_of(name)
    whole = check_schema(document, schema, collector)
    remains: dict[int, dict[str, Any]] = {}
    if not whole:
        if name in SPECIAL:
            return None
        # The rest of the topic is read on, so that its faults are told as well.
        parts = faulty_parts(document, schema)
        remains = {i: remains_of(data[i], faulty) for i, faulty in enumerate(parts) if faulty}
        data = [None if faulty else data[i] for i, faulty in enumerate(parts)]
    lines: dict[str, int] = {}
    if name == "ladder.yaml":
        for key in ITEM_LISTS:
            for i in range(len(document.data.get(key, ()))):
                lines[f"{key}.{i}"] = document.where(key, i)[0]
    elif name not in SPECIAL:
        for i, rule in enumerate(data):
            rule_id = (remains[i] if rule is None else rule)["id"]
            if rule_id:
                lines.setdefault(rule_id, document.where(i)[0])
    return SourceFile(path, name, data, lines, document, whole, remains)


def remains_of(rule: Any, faulty: Sequence[Sequence[Any]]) -> dict[str, Any]:
    """Return what can be read of a rule that breaks its schema: the conditions and conclusions.

    Args:
        rule: as it is written.
        faulty: the paths in it that break the schema.

    Returns:
        A rule with its id, empty if that is no text; None stands for its refused conclusions.
    """
    if not isinstance(rule, dict):
        return {"id": "", "then": []}
    name = rule.get("id")
    named = {"id": name if isinstance(name, str) else "", "then": []}
    if not isinstance(rule.get("then"), list):
        return named
    keys = {path[0] for path in faulty if len(path) == 1}
    conclusions = {path[1] for path in faulty if len(path) > 1 and path[0] == "then"}
    keys |= {path[0] for path in faulty if len(path) > 1 and path[0] != "then"}
    whole = ("when", "unless", "overrides", "replaces", "evidence")
    found = {key: rule[key] for key in whole if key in rule and key not in keys}
    then = [] if "then" in keys else rule["then"]
    found["then"] = [None if i in conclusions else one for i, one in enumerate(then)]
    return named | found
