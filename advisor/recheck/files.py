"""What a recheck reads: a saved Decision, the rule files, a stock. No meaning of rules is here.

None of this is shared with the program that is checked; the rule files are taken as well formed.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from functools import cache
from types import UnionType
from typing import Any, NamedTuple, NoReturn, Union, get_args, get_origin, get_type_hints

from advisor.decision import FORMAT, Decision
from advisor.documents import Document, read_document
from advisor.errors import Collector, Fault, Faults, quoted
from advisor.quantities import QuantityError, parse_quantity

SPECIAL = ("manifest.yaml", "vocabulary.yaml", "sources.yaml", "ladder.yaml")
LISTS = {"vanes": "vane", "heads": "point", "shafts": "shaft"}
"""The lists of a stock, and the group of facts that the entries of each tell."""
NUMBERS = ("count", "quantity")
UNREADABLE = (LookupError, TypeError, ValueError, AttributeError, RecursionError, QuantityError)
"""What comes of files that are not what they should be; the last but one of rules in a circle."""

Value = Any  # a text, a flag, a number, a tuple of texts; None where there is none
Plain = dict[str, Any]


class Item(NamedTuple):
    """A vane, head or shaft of a stock."""

    id: str
    facts: Mapping[str, Value]
    file: str
    line: int


class Stock(NamedTuple):
    """What there is to choose from; `typical` are the groups that are only usual sizes."""

    name: str
    items: Mapping[str, list[Item]]
    options: Mapping[str, list[Value]]
    typical: frozenset[str] = frozenset()


class RuleFiles:
    """A rule base with all that it extends, from each layer's documents, lowest first."""

    def __init__(self, layers: list[dict[str, Document]]) -> None:
        self.facts: dict[str, Plain] = {}  # as the vocabularies declare them
        self.sources: Plain = {}
        self.written: dict[str, Plain] = {}  # all rules, as they are written
        self.layer: dict[str, int] = {}  # of each rule
        self.names: list[tuple[str, str]] = []  # and versions, of the layers
        self.assumed: dict[str, tuple[Value, str, str]] = {}  # value, because, by
        self.gone: dict[str, tuple[str, str, str]] = {}  # because, by, replacement
        self.favours: list[str] = []
        self.ladder = Stock("nothing listed", {}, {})
        told = []
        for files in layers:
            manifest, facts, sources = (files[n].data if n in files else {} for n in SPECIAL[:3])
            facts, sources = facts.get("facts", {}), sources.get("sources", {})
            rules = {raw["id"]: raw for n in files if n not in SPECIAL for raw in files[n].data}
            parts = {"manifest": manifest, "vocabulary": facts, "sources": sources}
            told.append({**parts, "rules": rules})
            by = manifest["name"]
            self.layer |= dict.fromkeys(rules, len(self.names))
            self.names.append((by, str(manifest["version"])))
            self.facts |= facts
            self.sources |= sources
            self.written |= rules
            self.favours = [*manifest.get("favours", ()), *self.favours]
            own = {name: raw["assume"] for name, raw in facts.items() if "assume" in raw}
            for name, raw in {**own, **manifest.get("assume", {})}.items():
                self.assumed[name] = self.read(name, raw["value"]), raw["because"], by
            for raw in manifest.get("retire", ()):
                self.gone[raw["rule"]] = raw["because"], by, ""
            for raw in (raw for raw in rules.values() if "replaces" in raw):
                self.gone[raw["replaces"]] = raw["because"], by, raw["id"]
            if "ladder.yaml" in files:
                ladder = self.stock_of(files["ladder.yaml"])
                self.ladder = ladder._replace(typical=frozenset(ladder.items))
        self.digest = sha256(told, digits=9)
        self.rules = {n: self.written[n] for n in sorted(self.written.keys() - self.gone.keys())}

    def of(self, origin: str) -> list[str]:
        """Return the facts of one origin, as declared."""
        return [name for name, fact in self.facts.items() if fact["origin"] == origin]

    def told(self, rule: str, kind: str) -> list[Any]:
        """Return what a rule concludes of one kind."""
        return [one[kind] for one in self.written[rule]["then"] if kind in one]

    def now(self, rule: str) -> str:
        """Return the rule that a name means now: its replacement, or none if it is retired."""
        while rule in self.gone:
            rule = self.gone[rule][2]
        return rule

    def read(self, fact: str, raw: Any, *, in_rule: bool = False) -> Value:
        """Read a value as it is written; a rule may leave out the unit, and pass the range."""
        declared = self.facts[fact]
        kind, unit = declared["kind"], declared.get("unit", "")
        if kind in NUMBERS:
            bare = in_rule or declared.get("bare", True)
            value = parse_quantity(raw, unit, bare=bare, name=fact)
            ends = [] if in_rule else declared.get("range", ())
            low, high = [parse_quantity(end, unit, bare=True, name=fact) for end in ends] or [
                value
            ] * 2
            if not low <= value <= high:
                raise ValueError(f"{raw!r} is outside the range of {fact}")
            return int(value) if kind == "count" else value
        several = declared.get("several", False)
        listed = raw if several and isinstance(raw, list) else [raw]
        if kind == "choice" and any(one not in declared["choices"] for one in listed):
            raise ValueError(f"{raw!r} is no choice of {fact}")
        if kind != "choice" and not isinstance(raw, bool if kind == "flag" else str):
            raise ValueError(f"{raw!r} is no {kind}")
        return tuple(dict.fromkeys(listed)) if several else raw

    def stock_of(self, document: Document) -> Stock:
        """Read what a stock file, or a ladder, lists."""
        body = {key: raw for key, raw in document.data.items() if key not in ("schema", "stock")}
        items: dict[str, list[Item]] = {LISTS[key]: [] for key in body if key in LISTS}
        for key, group in LISTS.items():
            for i, raw in enumerate(body.pop(key, ())):
                told = dict(self._flat(raw, group))
                name = str(told.pop(f"{group}.id", f"no. {i + 1}"))
                facts = {fact: self.read(fact, one) for fact, one in told.items()}
                items[group].append(Item(name, facts, document.path, document.where(key, i)[0]))
        options = {name: raw if isinstance(raw, list) else [raw] for name, raw in self._flat(body)}
        values = {name: [self.read(name, one) for one in raw] for name, raw in options.items()}
        return Stock(document.data.get("stock", ""), items, values)

    def _flat(self, body: Mapping[str, Any], *path: str) -> Iterator[tuple[str, Any]]:
        """Yield the facts of a mapping that nests by the dots of their names."""
        for key, raw in body.items():
            name = ".".join((*path, key))
            nests = isinstance(raw, dict) and name not in self.facts
            yield from self._flat(raw, name) if nests else [(name, raw)]


# Files

LARGEST = 1 << 24
"""The largest Decision that is read, in bytes."""
ANEW = "make it anew: advisor advise SETUP.yaml --format json --out DECISION.json"


def read_decision(path: str) -> dict[str, Any]:
    """Read a saved Decision as plain data.

    Raises:
        Faults: about "setup".
    """

    def refuse(what: str, remedy: str = ANEW, line: int | None = None) -> NoReturn:
        raise Faults([Fault(path, line, None, what, remedy)]) from None

    try:
        with open(path, "rb") as file:
            raw = file.read(LARGEST + 1)
    except (OSError, ValueError) as error:
        told = (getattr(error, "strerror", None) or "no file can have this name").lower()
        refuse(f"this cannot be read: {told}", "check the name")
    if len(raw) > LARGEST:
        refuse("this is too large for a Decision", "check that it is the right file")
    try:
        found = json.loads(raw.decode(), object_pairs_hook=_once, parse_constant=_no_number)
    except RecursionError:
        refuse("this is no JSON that is read here: it is nested too deeply")
    except ValueError as error:
        refuse(f"this is no JSON: {error}", line=getattr(error, "lineno", None))
    if not isinstance(found, dict) or "rulebase" not in found or "given" not in found:
        refuse("this is no Decision")
    if found.get("format") != FORMAT:
        told = quoted(json.dumps(found.get("format")))
        refuse(f"this is a Decision of format {told}; {FORMAT} is read here")
    told = misshapen(Decision, {name: part for name, part in found.items() if name != "seal"}, "")
    faults = [Fault(path, None, None, what, ANEW) for what in told]
    if faults:
        raise Faults(faults)
    return found


def misshapen(kind: Any, data: Any, at: str) -> Iterator[str]:
    """Yield what keeps plain data from being of a type of the Decision."""
    fields, origin, parts = getattr(kind, "_fields", None), get_origin(kind), get_args(kind)
    if fields is not None and isinstance(data, dict):
        hints = _hints(kind)
        yield from (f"`{at}{name}` is no part of a Decision" for name in data if name not in hints)
        for name in fields:
            if name in data:
                yield from misshapen(hints[name], data[name], f"{at}{name}.")
            elif name not in kind._field_defaults:
                yield f"`{at}{name}` is left out"
    elif origin is tuple and isinstance(data, list):
        for i, part in enumerate(data):
            yield from misshapen(parts[0], part, f"{at}{i}.")
    elif origin is Mapping and isinstance(data, dict):
        for name, part in data.items():
            yield from misshapen(parts[1], part, f"{at}{name}.")
    elif origin in (Union, UnionType):
        told = [list(misshapen(part, data, at)) for part in parts]
        yield from min(told, key=len)[:1]
    elif fields is not None or origin is not None or not _is_plain(kind, data):
        yield f"`{at.removesuffix('.')}` is not what a Decision has there"


_hints = cache(get_type_hints)


def _is_plain(kind: type, data: Any) -> bool:
    if isinstance(data, bool) or kind is bool:
        return isinstance(data, bool) and kind is bool
    return isinstance(data, (int, float) if kind is float else kind)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a name is written twice in one place")
    return found


def _no_number(written: str) -> NoReturn:
    raise ValueError(f"{quoted(written)} is no number of JSON")


def read_layers(folder: str | None) -> list[dict[str, Document]]:
    """Read the YAML files of a rule base and of all it extends, lowest first, by their names.

    Args:
        folder: of the rule base; None for the base rules.

    Raises:
        Faults: about "rules".
    """
    package = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    shipped = os.path.join(package, "_rules")
    if not os.path.isdir(shipped):
        shipped = os.path.join(os.path.dirname(package), "rules")
    here = os.path.join(shipped, "base") if folder is None else folder
    layers: list[dict[str, Document]] = []
    seen: set[str] = set()
    while here:
        seen.add(os.path.realpath(here))
        layers.insert(0, _layer(here))
        manifest = layers[0]["manifest.yaml"].data
        extends = manifest.get("extends") if isinstance(manifest, dict) else None
        if not extends:
            break
        name = str(extends.get("name", "")) if isinstance(extends, dict) else ""
        places = [os.path.join(parent, name) for parent in (os.path.join(here, os.pardir), shipped)]
        path = os.path.join(here, "manifest.yaml")
        here = next(
            (
                p
                for p in map(os.path.normpath, places)
                if name
                and os.sep not in name
                and os.path.isfile(os.path.join(p, "manifest.yaml"))
                and os.path.realpath(p) not in seen
            ),
            "",
        )
        if not here:
            what = f"there is no rule base {quoted(name)} under this one"
            raise Faults([Fault(path, None, None, what, "put its folder beside this one")], "rules")
    return layers


def _layer(folder: str) -> dict[str, Document]:
    collector = Collector("rules")
    try:
        names = [n for n in sorted(os.listdir(folder)) if not n.startswith(".")]
        names = [name for name in names if name.endswith((".yaml", ".yml"))]
    except OSError as error:
        what = f"the rule base cannot be read: {(error.strerror or str(error)).lower()}"
        raise Faults([Fault(folder, None, None, what, "name a folder")], "rules") from None
    if "manifest.yaml" not in names:
        collector.add(folder, None, None, "there is no manifest.yaml", "name a rule base's folder")
    files = {}
    for name in names:
        try:
            files[name] = read_document(os.path.join(folder, name), about="rules")
        except Faults as faults:
            collector.absorb(faults)
    collector.raise_if_any()
    return files


def sha256(data: Any, digits: int | None = None) -> str:
    """Return the SHA-256 of plain data as canonical JSON: names sorted, no spaces.

    Whole numbers are written without a point, and all of them with so many digits, if that is told.
    """
    plain = _canonical(data, digits)
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _canonical(data: Any, digits: int | None) -> Any:
    if isinstance(data, dict):
        return {str(key): _canonical(part, digits) for key, part in data.items()}
    if isinstance(data, list):
        return [_canonical(part, digits) for part in data]
    if digits is not None and isinstance(data, int) and not isinstance(data, bool):
        data = float(data)
    if isinstance(data, float):
        rounded = data if digits is None else float(f"{data:.{digits}g}")
        return int(rounded) if rounded.is_integer() else rounded
    return data


def read_stock(path: str, base: RuleFiles) -> Stock:
    """Read a stock file; what it does not list comes from the usual sizes of the rule base.

    Raises:
        Faults: about "setup".
    """
    document, ladder = read_document(path), base.ladder
    try:
        own = base.stock_of(document)
    except UNREADABLE as error:
        what = f"this does not read as a stock file ({type(error).__name__}: {error})"
        raise Faults([Fault(path, None, None, what, "name the one it was chosen from")]) from None
    items, options = {**ladder.items, **own.items}, {**ladder.options, **own.options}
    return Stock(own.name, items, options, ladder.typical - own.items.keys())
