"""YAML documents, with line and column kept; the only user of yaml and jsonschema.

Documents are untrusted: nothing but plain data is built, size, depth, nodes and aliases are
bounded, and whatever cannot be read becomes faults, never another exception. Scalars are those of
the YAML 1.2 core schema (YAML 1.2.2, section 10.3): `no` and `12:30` are text, `010` is ten.

Both libraries are slow to load and are imported where they are used.
"""

from __future__ import annotations

from advisor.errors import Collector, Fault, Faults, did_you_mean, quoted, visible

TYPE_CHECKING = False  # the literal name is enough for a type checker, and saves importing typing
if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from re import Pattern
    from typing import Any

    from advisor.errors import About

LARGEST = 1 << 20
"""The largest document, in bytes of UTF-8."""
MOST_NODES = 50_000
"""The most values, names included, with every alias written out."""
DEEPEST = 40
MOST_ALIASES = 100
LONGEST_NUMBER = 100

_CORE = "tag:yaml.org,2002:"
_CONSTANTS: dict[str, bool | None] = {"": None, "~": None}
for _word, _constant in (("null", None), ("true", True), ("false", False)):
    _CONSTANTS |= dict.fromkeys((_word, _word.capitalize(), _word.upper()), _constant)
_NUMBER_STARTS = frozenset("0123456789+-.")
_NUMBER = (
    r"([-+]?[0-9]+)|(0o[0-7]+|0x[0-9a-fA-F]+)"
    r"|([-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?)"
    r"|([-+]?)\.(?:inf|Inf|INF)|(\.(?:nan|NaN|NAN))"
)
# What YAML does not let a file hold, and the marks that turn the direction of writing, which make
# a line read otherwise than it is written.
_UNSEEN = (
    "[^\\t\\n\\r\x20-\x7e\x85\xa0-\u2029\u202f-\u2065\u206a-\ud7ff\ue000-\ufefe\uff00-\ufffd"
    "\U00010000-\U0010ffff]"
)
_PATTERNS: dict[str, Pattern[str]] = {}
_LOADERS: list[Any] = []
_VALIDATORS: list[Any] = []


class Document:
    """What a file holds, and where in the file each part of it stands.

    `path` is the name as the user wrote it; `data` is plain dict, list, str, int, float, bool and
    None, to be read and not changed (an alias shares the value of its anchor).
    """

    __slots__ = ("_root", "data", "path")

    path: str
    data: Any

    def __init__(self, path: str, data: Any, root: Any) -> None:
        self.path = path
        self.data = data
        self._root = root

    def where(self, *path: str | int) -> tuple[int, int]:
        """Return line and column, from 1, of the value at `path`.

        Names lead into mappings, numbers from 0 into lists. If the path ends early, the place is
        that of the last part that is there.
        """
        return _place(self._find(path)[1])

    def where_key(self, *path: str | int) -> tuple[int, int]:
        """Return line and column, from 1, of the name before the value at `path`.

        For an item of a list, and for the whole document, that of the value.
        """
        return _place(self._find(path)[0])

    def written(self, *path: str | int) -> str | None:
        """Return the words of the user for the value at `path`: `0.50` where the data has 0.5.

        None for a list or mapping, or where there is nothing.
        """
        value = self._find(path)[1].value
        return value if isinstance(value, str) else None

    def _find(self, path: tuple[str | int, ...]) -> tuple[Any, Any]:
        """Return the nodes of the name and of the value."""
        name = node = self._root
        for step in path:
            if isinstance(step, int):
                if node.id != "sequence" or not 0 <= step < len(node.value):
                    break
                name = node = node.value[step]
            else:
                for pair in node.value if node.id == "mapping" else ():
                    if pair[0].value == step:
                        name, node = pair
                        break
                else:
                    break
        return name, node


def read_document(path: str, text: str | None = None, *, about: About = "setup") -> Document:
    """Read a file, or `text` under the name `path`.

    Raises:
        Faults: with everything that is wrong and can be found together; `about` says whose it is.

    """
    collector = Collector(about)
    if text is None:
        text = _read_text(path, collector)
        collector.raise_if_any()
    elif len(text) > LARGEST or len(text.encode("utf-8", "surrogatepass")) > LARGEST:
        _too_large(path, collector)
        collector.raise_if_any()
    return _read(path, text.removeprefix("\ufeff"), collector)


def parse_scalar(text: str, where_label: str) -> Any:
    """Read the value part of `--set a.b=VALUE` exactly as it would be read after `b:` in a file.

    Raises:
        Faults: about the usage, with `where_label` as the place.

    """
    collector = Collector("usage")
    if len(text.splitlines()) > 1 or text.endswith(("\n", "\r")):
        collector.add(
            where_label, None, None, "the value runs over several lines", "write it on one line"
        )
        collector.raise_if_any()
    try:
        value: Any = read_document(where_label, f"value: {text}").data["value"]
    except Faults as refused:
        # The columns are those of a line the user did not write.
        placeless = (Fault(where_label, None, None, f.what, f.help) for f in refused.faults)
        raise Faults(placeless, "usage") from None
    return value


def check_schema(document: Document, schema: Mapping[str, Any], collector: Collector) -> bool:
    """Check a document against a JSON Schema (draft 2020-12); tell whether it holds.

    Every error becomes a fault in plain words at the line and column of the name or value meant.
    A `description` in the schema, beside what failed, is added to the remedy. References are
    followed inside the schema only.
    """
    from referencing import Registry

    from advisor.schema_words import faults_of

    if not _VALIDATORS:
        _VALIDATORS.append(_make_validator())
    validator = _VALIDATORS[0](schema, registry=Registry())
    found: dict[Any, Any] = {}
    for error in validator.iter_errors(document.data):
        found |= {told[:2]: told for told in faults_of(error, document)}
    for (line, column), what, remedy in found.values():
        collector.add(document.path, line, column, what, remedy)
    return not found


def faulty_parts(document: Document, schema: Mapping[str, Any]) -> list[list[list[Any]]]:
    """Return, for each item of a list, the paths in it that break the schema of the list.

    An item that keeps to the schema on its own has none; one that lacks a part has the empty path.
    """
    validator = _make_validator()(schema)
    items = document.data if isinstance(document.data, list) else []
    return [
        [list(error.absolute_path)[1:] for error in validator.iter_errors([item])] for item in items
    ]


def _make_validator() -> Any:
    """Make the validator, with a `uniqueItems` that takes linear time on any list."""
    from jsonschema import Draft202012Validator, ValidationError, validators

    from advisor.schema_words import first_twice

    def unique(_validator: Any, wanted: Any, instance: Any, _schema: Any) -> Iterator[Any]:
        if wanted and isinstance(instance, list) and first_twice(instance) is not None:
            yield ValidationError("twice")

    extend: Any = validators.extend
    return extend(Draft202012Validator, {"uniqueItems": unique})


def _read_text(path: str, collector: Collector) -> str:
    """Read the file as UTF-8; what prevents that goes to the collector."""
    try:
        with open(path, "rb") as file:
            raw = file.read(LARGEST + 1)
    except FileNotFoundError:
        near = did_you_mean(*_among_siblings(path))
        remedy = f"did you mean {near}?" if near else "check the name, and the folder you are in"
        collector.add(path, None, None, "there is no such file", remedy)
    except IsADirectoryError:
        inside = [name for name in _names_in(path) if name.endswith((".yaml", ".yml"))]
        remedy = f"name a file in it: {', '.join(inside[:6])}" if inside else "name a file"
        collector.add(path, None, None, "this is a folder, not a file", remedy)
    except PermissionError:
        collector.add(
            path,
            None,
            None,
            "there is no permission to read this file",
            "change its permissions, or copy it to where you may read it",
        )
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no file can have this name"
        collector.add(path, None, None, f"this cannot be read: {reason.lower()}", "check the name")
    else:
        if len(raw) > LARGEST:
            _too_large(path, collector)
            return ""
        try:
            return raw.decode()
        except UnicodeDecodeError:
            _not_utf8(path, raw, collector)
    return ""


def _names_in(folder: str) -> list[str]:
    from os import listdir

    try:
        return sorted(listdir(folder or "."))
    except (OSError, ValueError):
        return []


def _among_siblings(path: str) -> tuple[str, list[str]]:
    folder, slash, name = path.rpartition("/")
    return name, [visible(sibling) for sibling in _names_in(folder + slash)]


def _too_large(path: str, collector: Collector) -> None:
    collector.add(
        path,
        None,
        None,
        "this is larger than 1 MiB",
        "check that it is the right file, or split it",
    )


def _not_utf8(path: str, raw: bytes, collector: Collector) -> None:
    """Tell of the first byte of each line that is not UTF-8."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        collector.add(path, 1, 1, "this file is UTF-16, not UTF-8", "save it as UTF-8")
        return
    for number, line in enumerate(raw.split(b"\n"), 1):
        try:
            line.decode()
        except UnicodeDecodeError as error:
            byte = line[error.start]
            meant = bytes([byte]).decode("cp1252", "replace")
            collector.add(
                path,
                number,
                len(line[: error.start].decode()) + 1,
                f"the byte 0x{byte:02X} is not UTF-8",
                f"save the file as UTF-8 (in Latin-1 this byte is {quoted(meant)})",
            )


def _pattern(source: str) -> Pattern[str]:
    """Compile once, and not before it is needed: compiling is most of the cost of importing."""
    if source not in _PATTERNS:
        from re import compile as compile_pattern

        _PATTERNS[source] = compile_pattern(source)
    return _PATTERNS[source]


def _loader(text: str) -> Any:
    """Make a composer over libyaml, or over plain Python where libyaml is missing."""
    if not _LOADERS:
        try:
            from yaml._yaml import CParser
        except ImportError:  # PyYAML was built without libyaml
            _LOADERS.append(_pure_loader())
        else:
            # A subclass, so that the hooks can be set on it.
            _LOADERS.append(type("Loader", (CParser,), {}))
    return _LOADERS[0](text)


def _pure_loader() -> Any:
    from yaml.composer import Composer
    from yaml.parser import Parser
    from yaml.reader import Reader
    from yaml.scanner import Scanner

    def start(self: Any, text: str) -> None:
        Reader.__init__(self, text)
        Scanner.__init__(self)
        Parser.__init__(self)
        Composer.__init__(self)

    return type("Loader", (Reader, Scanner, Parser, Composer), {"__init__": start})


class _OutOfBoundsError(Exception):
    def __init__(self, node: Any, what: str, remedy: str) -> None:
        super().__init__(what)
        self.node = node
        self.what = what
        self.help = remedy


def _too_many(node: Any) -> _OutOfBoundsError:
    return _OutOfBoundsError(
        node, f"this holds more than {MOST_NODES} values", "split it, or use fewer aliases"
    )


def _compose(text: str) -> Any:
    """Return the tree of nodes, its depth and size bounded while it grows.

    The composer calls these three for every node. Resolving nothing here (the data is resolved
    once, in `_build`) makes this faster than the library's own loader.
    """
    loader = _loader(text)
    depth = count = 0

    def descend(parent: Any, _index: Any) -> None:
        nonlocal depth, count
        depth += 1
        count += 1
        if depth > DEEPEST:
            raise _OutOfBoundsError(
                parent, f"this is more than {DEEPEST} levels deep", "write it flatter"
            )
        if count > MOST_NODES:
            raise _too_many(parent)

    def ascend() -> None:
        nonlocal depth
        depth -= 1

    def resolve(_kind: Any, _value: Any, _implicit: Any) -> None:
        return None

    loader.descend_resolver = descend
    loader.ascend_resolver = ascend
    loader.resolve = resolve
    try:
        return loader.get_single_node()
    finally:
        loader.dispose()


def _read(path: str, text: str, collector: Collector) -> Document:
    from yaml.error import MarkedYAMLError, YAMLError

    if not text.isascii():
        _find_unseen(path, text, collector)
        collector.raise_if_any()
    try:
        root = _compose(text)
        data = None if root is None else _build(path, text, root, collector)
    except _OutOfBoundsError as error:
        collector.add(path, *_place(error.node), error.what, error.help)
    except MarkedYAMLError as error:
        from advisor.syntax_words import tell_syntax

        tell_syntax(path, text, error, collector)
        _find_unseen(path, text, collector)
    except YAMLError:  # the reader's own, for characters that no file may hold
        _find_unseen(path, text, collector)
    else:
        if data is None and not collector:
            collector.add(
                path, 1, 1, "this holds nothing", "write at least one line, or name another file"
            )
    collector.raise_if_any()
    return Document(path, data, root)


def _find_unseen(path: str, text: str, collector: Collector) -> None:
    """Tell of the first unseen character of each line."""
    search = _pattern(_UNSEEN).search
    for number, line in enumerate(text.split("\n"), 1):
        match = search(line)
        if match:
            collector.add(
                path,
                number,
                match.start() + 1,
                f"a character that cannot be seen stands here (U+{ord(match[0]):04X})",
                "delete it, and write the line anew if it cannot be found",
            )


def _place(node: Any) -> tuple[int, int]:
    mark = node.start_mark
    return mark.line + 1, mark.column + 1


def _build(path: str, text: str, root: Any, collector: Collector) -> Any:
    """Turn nodes into data in one pass; what may not stand goes to the collector.

    The recursion is bounded by the depth of the tree, aliases by `enter`, which is called only if
    the text can hold an anchor at all.
    """
    from yaml.nodes import MappingNode, ScalarNode

    shared = "&" in text and _pattern(r"&[\w-]").search(text) is not None
    aliases = total = 0
    unfinished: set[int] = set()
    finished: dict[int, tuple[Any, int]] = {}

    def tell(node: Any, what: str, remedy: str) -> None:
        collector.add(path, *_place(node), what, remedy)

    def number(node: Any, value: str) -> Any:
        match = _pattern(_NUMBER).fullmatch(value)
        if match is None:
            return value
        kind = match.lastindex
        if kind == 4:
            return float(f"{match[4]}inf")
        if kind == 5:
            return float("nan")
        if len(value) > LONGEST_NUMBER:
            tell(
                node, f"{quoted(value, 20)} is too long a number", "put it in quotes if it is text"
            )
            return None
        if kind == 1:
            return int(value)
        if kind == 2:
            return int(value, 0)
        found = float(value)
        if found in (float("inf"), float("-inf")):
            tell(node, f"{quoted(value)} is too large a number", "put it in quotes if it is text")
            return None
        return found

    def scalar(node: Any) -> Any:
        value: str = node.value
        if node.tag is not None:
            return tagged(node, value)
        if not node.style:
            if value in _CONSTANTS:
                return _CONSTANTS[value]
            if value[0] in _NUMBER_STARTS:
                return number(node, value)
        elif node.style == '"' and not value.isprintable():
            unseen = _pattern(_UNSEEN).search(value)
            if unseen:
                tell(
                    node,
                    f"{quoted(value)} holds a character that cannot be seen"
                    f" (U+{ord(unseen[0]):04X})",
                    "leave the escape out",
                )
        return value

    def tagged(node: Any, value: str) -> Any:
        kind = node.tag.removeprefix(_CORE)
        if kind == "str":
            return value
        if node.tag.startswith(_CORE) and kind in {"null", "bool", "int", "float"}:
            found = _CONSTANTS[value] if value in _CONSTANTS else number(node, value)
            if kind == "float" and type(found) is int:
                return float(found)
            if type(found).__name__.removesuffix("Type") == kind.replace("null", "None"):
                return found
            tell(node, f"{quoted(value)} is not what its tag says", "leave the tag out")
            return None
        refuse_tag(node)
        return value

    def refuse_tag(node: Any) -> None:
        shown = node.tag.replace(_CORE, "!!")
        tell(node, f"{quoted(shown)} is a tag that is not read here", "leave the tag out")

    def name(node: Any) -> str | None:
        """Return what may stand before a colon, or None."""
        if type(node) is not ScalarNode:
            kind = "mapping" if type(node) is MappingNode else "list"
            tell(
                node,
                f"a {kind} stands where a name is due",
                "write the name as plain text, or put text that holds brackets in quotes",
            )
            return None
        if node.value == "<<" and not node.style:
            tell(node, "`<<` would merge another mapping into this one", "write its lines out here")
            return None
        told = len(collector)
        found = scalar(node)
        if isinstance(found, str):
            return found
        if len(collector) > told:
            pass  # its fault is told already
        elif node.value:
            tell(
                node, f"{quoted(node.value)} is no name", "put it in quotes if it is meant as text"
            )
        else:
            tell(node, "a name is missing before the colon", "write `name: value`")
        return None

    def enter(node: Any, made: Callable[[Any], Any]) -> Any:
        """Build a node that may be shared, once; count what it would be when written out."""
        nonlocal aliases, total
        mark = id(node)
        if mark in unfinished:
            raise _OutOfBoundsError(
                node, "this holds an alias of itself", "write out what the alias stands for"
            )
        if mark in finished:
            value, size = finished[mark]
            aliases += 1
            if aliases > MOST_ALIASES:
                raise _OutOfBoundsError(
                    node, f"this has more than {MOST_ALIASES} aliases", "write some of them out"
                )
        else:
            unfinished.add(mark)
            before = total
            value = made(node)
            unfinished.remove(mark)
            size = total - before + 1
            finished[mark] = value, size
            total = before
        total += size
        if total > MOST_NODES:
            raise _too_many(node)
        return value

    def mapping(node: Any) -> dict[str, Any]:
        made: dict[str, Any] = {}
        first: dict[Any, Any] = {}
        for name_node, value_node in node.value:
            if (
                shared
                or type(name_node) is not ScalarNode
                or name_node.style
                or name_node.tag is not None
                or (key := name_node.value) in _CONSTANTS
                or key[0] in _NUMBER_STARTS
                or key == "<<"
            ):
                if shared:
                    enter(name_node, content)  # for its share of the bounds
                key = name(name_node)
            if key is None:
                build(value_node)  # for the faults in it
            elif key in made:
                if not first:  # rare, so looked up only now, and once
                    names = [pair[0] for pair in node.value if isinstance(pair[0].value, str)]
                    first = {one.value: one for one in reversed(names)}
                line, column = _place(first[key])
                tell(
                    name_node,
                    f"{quoted(key)} is written twice",
                    f"keep one of them; the first is at line {line}, column {column}",
                )
                build(value_node)
            else:
                made[key] = build(value_node)
        return made

    def content(node: Any) -> Any:
        kind = type(node)
        if kind is ScalarNode:
            return scalar(node)
        if node.tag is not None and node.tag != _CORE + ("map" if kind is MappingNode else "seq"):
            refuse_tag(node)
        if kind is MappingNode:
            return mapping(node)
        return [build(item) for item in node.value]

    def build_shared(node: Any) -> Any:
        return enter(node, content)

    build = build_shared if shared else content
    return build(root)
