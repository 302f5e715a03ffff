"""Reading setups and stock against a vocabulary: every fault is told, nothing is guessed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from advisor.engine.values import CONCLUDED, GIVEN, OPTION, Value
from advisor.errors import Collector, Faults, quoted
from advisor.setups.model import Given, Item, Setup, Stock
from advisor.setups.take import LISTS, NAMES
from advisor.vocabulary import UnfitError, Vocabulary, show

SCHEMA_VERSION = 1
FROM_STOCK = "from_stock"
"""Below this a setup names what it takes from stock by its number."""
ITEM_LISTS = {key: group for group, key in LISTS.items()}
"""Lists of a stock file, and the group of facts their entries give."""
ITEM_ORIGIN = {"vane": OPTION, "point": GIVEN, "shaft": GIVEN}
"""Which facts of a group its entries can give: those that are chosen with an entry."""

Path = tuple[str | int, ...]
Where = Callable[..., tuple[int, int]]


class _FactReader:
    """Walks a document that nests by the dots of the fact names."""

    def __init__(self, vocabulary: Vocabulary, collector: Collector, file: str) -> None:
        self.vocabulary = vocabulary
        self.collector = collector
        self.file = file

    def fault(self, place: tuple[int, int] | None, what: str, remedy: str) -> None:
        """Take one fault."""
        line, column = place if place is not None else (None, None)
        self.collector.add(self.file, line, column, what, remedy)

    def walk(
        self,
        data: Mapping[str, Any],
        prefix: str,
        path: Path,
        document: Any,
        found: dict[str, Given],
    ) -> None:
        """Read every fact below a mapping into `found`."""
        for key, raw in data.items():
            name = f"{prefix}{key}"
            here = (*path, key)
            if name in self.vocabulary:
                if name in found:
                    self.fault(
                        document.where_key(*here),
                        f"`{name}` is stated twice",
                        f"it is stated in line {found[name].line} already: keep one",
                    )
                else:
                    given = self.read(name, raw, document.where(*here), document.where_key(*here))
                    if given is not None:
                        found[name] = given
            elif name in self.vocabulary.groups:
                if isinstance(raw, dict):
                    self.walk(raw, f"{name}.", here, document, found)
                elif raw is not None:
                    self.group(name, document.where(*here))
            elif key in self.vocabulary and key.startswith(prefix):
                self.fault(
                    document.where_key(*here),
                    f"`{key}` is written in full within {prefix[:-1]}",
                    f"write `{key[len(prefix) :]}`",
                )
            else:
                self.fault(document.where_key(*here), *self.unknown(name))

    def group(self, name: str, place: tuple[int, int]) -> None:
        """Refuse one value where a group of facts is due."""
        names = [n[len(name) + 1 :] for n in self.vocabulary.entries if n.startswith(name + ".")]
        members = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
        self.fault(
            place,
            f"`{name}` is a group of facts, not one",
            f"write below it, two spaces in: {members}",
        )

    def unknown(self, name: str) -> tuple[str, str]:
        """Say that a name is no fact, and what may have been meant."""
        groups = () if "." in name else self.vocabulary.groups
        return self.vocabulary.no_such(name, [*self.vocabulary.entries, *groups])

    def read(
        self,
        name: str,
        raw: Any,
        place: tuple[int, int] | None = None,
        key_place: tuple[int, int] | None = None,
    ) -> Given | None:
        """Read one stated fact; without places if it does not stand in a file."""
        entry = self.vocabulary[name]
        if entry.origin == CONCLUDED:
            self.fault(
                key_place,
                f"{name} is concluded by rules and cannot be stated",
                "state what it is concluded from",
            )
            return None
        try:
            value = entry.read(raw)
        except UnfitError as fault:
            self.fault(place, fault.what, fault.help)
            return None
        return Given(value, self.file, *(place or (0, 0)), show(raw))


def read_setup(
    path: str | None,
    sets: Sequence[str],
    vocabulary: Vocabulary,
    *,
    text: str | None = None,
) -> Setup:
    """Read a setup file and what `--set` states over it.

    Args:
        path: of the file, or None if everything is in `sets`.
        sets: each "fact.name=value", the value as it would stand in a file.
        vocabulary: what facts there are.
        text: the file's contents, if they were read already.

    Raises:
        Faults: about "setup", with every fault of the file and of `sets`.
    """
    collector = Collector("setup")
    title = ""
    facts: dict[str, Given] = {}
    taken: dict[str, Given] = {}
    if path is not None:
        from advisor.documents import read_document

        try:
            document = read_document(path, text)
        except Faults as faults:
            collector.absorb(faults)
        else:
            read = walk_setup(document, (), vocabulary, collector)
            title = read.title
            facts.update(read.facts)
            taken.update(read.taken)
    said: set[str] = set()
    for written in sets:
        name = written.partition("=")[0].strip()
        if name in said:
            collector.add(
                f"--set {name}", None, None, f"{quoted(name)} is stated twice", "state it once"
            )
        said.add(name)
        _read_set(written, vocabulary, collector, facts, taken)
    collector.raise_if_any()
    return Setup(title, facts, taken)


def walk_setup(document: Any, path: Path, vocabulary: Vocabulary, collector: Collector) -> Setup:
    """Read the setup that stands at a place of a document, taking every fault."""
    reader = _FactReader(vocabulary, collector, document.path)
    data = document.data
    for key in path:
        data = data[key]
    if not isinstance(data, dict):
        reader.fault(
            document.where(*path),
            "a setup is a mapping of facts",
            "write for example discipline: [3d]",
        )
        return Setup("", {})
    body = dict(data)
    check_version(reader, document, path, body.pop("schema", SCHEMA_VERSION))
    title = body.pop("title", "")
    if not isinstance(title, str):
        reader.fault(document.where(*path, "title"), "the title is not text", "write it in quotes")
        title = ""
    notes = body.pop("notes", "")
    if not isinstance(notes, str):
        reader.fault(document.where(*path, "notes"), "notes are text", "write them in quotes")
    taken = _taken(reader, document, path, body.pop(FROM_STOCK, {}))
    facts: dict[str, Given] = {}
    reader.walk(body, "", path, document, facts)
    return Setup(title, facts, taken)


def _taken(reader: _FactReader, document: Any, path: Path, raw: Any) -> dict[str, Given]:
    """Read the stock numbers that a setup names."""
    if not isinstance(raw, dict):
        reader.fault(
            document.where(*path, FROM_STOCK),
            f"`{FROM_STOCK}` is a mapping",
            f"write for example {FROM_STOCK}: {{head: QH-2}}",
        )
        return {}
    found = {}
    for name, number in raw.items():
        here = (*path, FROM_STOCK, name)
        if name not in NAMES:
            reader.fault(document.where_key(*here), *_no_such_list(show(name)))
        elif not isinstance(number, str):
            reader.fault(document.where(*here), *_no_number(number))
        else:
            line, column = document.where(*here)
            found[NAMES[name]] = Given(number, reader.file, line, column, number)
    return found


def _no_such_list(name: str) -> tuple[str, str]:
    return f"nothing is taken from stock as {quoted(name)}", f"known here: {', '.join(NAMES)}"


def _no_number(raw: Any) -> tuple[str, str]:
    if isinstance(raw, (list, dict)):
        return f"{quoted(show(raw))} is not one stock number", "name one"
    return f"{quoted(show(raw))} is no stock number in text", f'write it in quotes: "{show(raw)}"'


def check_version(reader: _FactReader, document: Any, path: Path, version: Any) -> None:
    """Refuse a file written for another version of the format."""
    if version != SCHEMA_VERSION or isinstance(version, bool):
        reader.fault(
            document.where(*path, "schema"),
            f"{quoted(show(version))} is no schema version this program reads",
            f"this program reads schema: {SCHEMA_VERSION}",
        )


def _read_set(
    written: str,
    vocabulary: Vocabulary,
    collector: Collector,
    facts: dict[str, Given],
    taken: dict[str, Given],
) -> None:
    from advisor.documents import parse_scalar

    name, equals, raw = written.partition("=")
    name = name.strip()
    file = f"--set {name}"
    reader = _FactReader(vocabulary, collector, file)
    if not equals:
        reader.fault(None, f"{quoted(written)} states nothing", "write --set fact.name=value")
        return
    if name.startswith(f"{FROM_STOCK}."):
        of = name.removeprefix(f"{FROM_STOCK}.")
        if of in NAMES:
            taken[NAMES[of]] = Given(raw.strip(), file, 0, 0, raw.strip())
        else:
            reader.fault(None, *_no_such_list(of))
        return
    if name not in vocabulary:
        if name in vocabulary.groups:
            reader.fault(
                None, f"{quoted(name)} is a group of facts, not one", "name one of its facts"
            )
        else:
            reader.fault(None, *reader.unknown(name))
        return
    try:
        value = parse_scalar(raw, file)
    except Faults as faults:
        collector.absorb(faults)
        return
    if isinstance(value, dict):
        reader.fault(None, f"{quoted(raw)} is a mapping", f"write {vocabulary[name].due()}")
        return
    given = reader.read(name, value)
    if given is not None:
        facts[name] = given


# Stock


def read_stock(path: str, vocabulary: Vocabulary) -> Stock:
    """Read a stock file.

    Raises:
        Faults: about "setup", with every fault of the file.
    """
    from advisor.documents import read_document

    collector = Collector("setup")
    stock = stock_of(read_document(path), vocabulary, collector)
    collector.raise_if_any()
    return stock


_ITEM = 2
"""The length of an item's path: its list and its number."""


class PlainDocument:
    """Data that was checked before, and the lines of its items: what `stock_of` reads."""

    def __init__(self, path: str, data: Any, lines: Mapping[str, int]) -> None:
        self.path = path
        self.data = data
        self.lines = lines

    def where(self, *path: str | int) -> tuple[int, int]:
        """Return the line of an item; the rest has no place."""
        return (self.lines.get(f"{path[0]}.{path[1]}", 0) if len(path) == _ITEM else 0), 0

    where_key = where


def stock_of(document: Any, vocabulary: Vocabulary, collector: Collector) -> Stock:
    """Read a stock document: lists of vanes and heads, and values of single options."""
    reader = _FactReader(vocabulary, collector, document.path)
    data = document.data
    if not isinstance(data, dict):
        reader.fault(document.where(), "a stock file is a mapping", "write vanes: and a list")
        return Stock("", {}, {})
    body = dict(data)
    check_version(reader, document, (), body.pop("schema", SCHEMA_VERSION))
    name = body.pop("stock", "")
    items: dict[str, tuple[Item, ...]] = {}
    options: dict[str, tuple[Value, ...]] = {}
    for key, raw in body.items():
        if key in ITEM_LISTS:
            items[ITEM_LISTS[key]] = _items(reader, document, key, raw)
        else:
            _options(reader, document, key, raw, (key,), options)
    return Stock(show(name), items, options)


def _items(reader: _FactReader, document: Any, key: str, raw: Any) -> tuple[Item, ...]:
    group = ITEM_LISTS[key]
    if not isinstance(raw, list):
        reader.fault(document.where(key), f"`{key}` is a list", "write each below it after a dash")
        return ()
    if not raw:
        reader.fault(document.where(key), f"`{key}` lists nothing", "leave the line out")
    items: list[Item] = []
    seen: dict[str, int] = {}
    for i, item in enumerate(raw):
        if not isinstance(item, dict):
            reader.fault(document.where(key, i), "this is no mapping", "write {id: ..., ...}")
            continue
        body = dict(item)
        item_id = body.pop("id", f"no. {i + 1}")
        line = document.where(key, i)[0]
        if not isinstance(item_id, str):
            reader.fault(
                document.where(key, i, "id"),
                f"{quoted(show(item_id))} is no stock number in text",
                "write one in quotes, or leave `id` out"
                if item_id is None or isinstance(item_id, (dict, list))
                else f'write it in quotes: "{show(item_id)}"',
            )
            item_id = show(item_id)
        if item_id in seen:
            reader.fault(
                document.where(key, i),
                f"{quoted(item_id)} is listed twice",
                f"it is listed in line {seen[item_id]} already: keep one",
            )
            continue
        seen[item_id] = line
        found: dict[str, Given] = {}
        reader.walk(body, f"{group}.", (key, i), document, found)
        for name in found:
            entry = reader.vocabulary[name]
            if entry.origin != ITEM_ORIGIN[group]:
                reader.fault(
                    document.where_key(key, i, name[len(group) + 1 :]),
                    f"{name} is {entry.described_origin}, and comes with no {key[:-1]}",
                    "state it in the setup",
                )
        items.append(Item(item_id, {n: g.value for n, g in found.items()}, document.path, line))
    return tuple(items)


def _options(
    reader: _FactReader,
    document: Any,
    name: str,
    raw: Any,
    path: Path,
    options: dict[str, tuple[Value, ...]],
) -> None:
    vocabulary = reader.vocabulary
    if name in options:
        reader.fault(document.where_key(*path), f"`{name}` is listed twice", "keep one of them")
    elif name in vocabulary:
        entry = vocabulary[name]
        listed = {group: key for key, group in ITEM_LISTS.items()}.get(name.partition(".")[0])
        if entry.origin != OPTION:
            reader.fault(
                document.where_key(*path),
                f"{name} is {entry.origin}, not an option",
                "leave it out: stock lists options"
                if entry.origin == CONCLUDED
                else "stock lists options; state it in the setup",
            )
            return
        if listed:
            reader.fault(
                document.where_key(*path),
                f"{name} cannot be chosen alone",
                f"list it with what it belongs to, under `{listed}`",
            )
            return
        values = raw if isinstance(raw, list) else [raw]
        if not values:
            reader.fault(document.where(*path), f"`{name}` lists nothing", "leave the line out")
            return
        read: list[Value] = []
        for i, item in enumerate(values):
            at = (*path, i) if isinstance(raw, list) else path
            given = reader.read(name, item, document.where(*at), document.where_key(*path))
            if given is not None:
                read.append(given.value)
        options[name] = tuple(dict.fromkeys(read))
    elif name in vocabulary.groups:
        if isinstance(raw, dict):
            for key, value in raw.items():
                _options(reader, document, f"{name}.{key}", value, (*path, key), options)
        elif raw is not None:
            reader.group(name, document.where(*path))
    elif name.endswith("s") and name[:-1] in vocabulary.groups:
        reader.fault(
            document.where_key(*path),
            f"a stock has no {name}",
            f"it lists {', '.join(ITEM_LISTS)} and options; state {name[:-1]}: in the setup",
        )
    else:
        known = vocabulary.of_origin(OPTION) + ([] if "." in name else list(ITEM_LISTS))
        reader.fault(document.where_key(*path), *vocabulary.no_such(name, known))
