"""What a JSON Schema says of a document, in plain words, at the place that is meant.

Works on the error objects that the schema library made; imports no library itself. An error inside
alternatives (`oneOf`, `anyOf`) is told as the error of the alternative that was most likely meant.
"""

from __future__ import annotations

from advisor.errors import quoted, suggest

TYPE_CHECKING = False  # the literal name is enough for a type checker, and saves importing typing
if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from typing import Any

    from advisor.documents import Document

    Told = tuple[tuple[int, int], str, str]
    """A place, what is wrong there, and the remedy."""

_ALTERNATIVES = ("anyOf", "oneOf")
_DUE = {
    "object": "a mapping",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "nothing",
}
_YES_AND_NO = {"yes": "true", "on": "true", "no": "false", "off": "false"}


def faults_of(error: Any, document: Document) -> Iterator[Told]:
    """Tell one error of the schema library as faults: mostly one, one for each name at fault."""
    kind = error.validator
    tell = _TELL.get(kind, _anything_else)
    if "propertyNames" in error.absolute_schema_path:
        tell = _bad_name
    elif kind in _ALTERNATIVES and error.context:
        yield from _alternatives(error, document)
        return
    path = tuple(error.absolute_path)
    described = error.schema.get("description", "") if isinstance(error.schema, dict) else ""
    for place, what, remedy in tell(error, document, path):
        yield place, what, _join(remedy, described)


def first_twice(items: list[Any]) -> int | None:
    """Return the index of the first item that equals one before it, or None."""
    seen = set()
    for index, item in enumerate(items):
        mark = _mark(item)
        if mark in seen:
            return index
        seen.add(mark)
    return None


def _mark(item: Any) -> Any:
    """Return something hashable that is equal for items that JSON Schema holds equal."""
    if isinstance(item, dict):
        return ("mapping", frozenset((name, _mark(value)) for name, value in item.items()))
    if isinstance(item, list):
        return ("list", tuple(_mark(value) for value in item))
    return (isinstance(item, bool), item)


def _join(remedy: str, described: str) -> str:
    described = described.strip().rstrip(".")
    if described[1:2].islower() or described[1:2] == " ":
        described = described[0].lower() + described[1:]
    return f"{remedy}; {described}" if remedy and described else remedy or described


def _name(path: tuple[str | int, ...]) -> str:
    """Name a part of the document: `point.mass`, `item 2 of then`, `this file`."""
    if not path:
        return "this file"
    end = len(path)
    start = end
    while start and isinstance(path[start - 1], str):
        start -= 1
    if start < end:
        return ".".join(str(step) for step in path[start:end])
    number = int(path[-1]) + 1
    before = path[:-1]
    return f"item {number} of {_name(before)}" if before else f"item {number}"


def _words(document: Document, path: tuple[str | int, ...], value: Any) -> str:
    """Show what was written: the user's own words, or what kind of thing stands there."""
    if isinstance(value, dict):
        return "a mapping" if value else "an empty mapping"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    written = document.written(*path)
    return quoted(written) if written else "nothing"


def _kind(value: Any) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "boolean"
    if isinstance(value, int):
        return "integer"
    if isinstance(value, float):
        return "number"
    if isinstance(value, str):
        return "string"
    return "array" if isinstance(value, list) else "object"


def _type(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    wanted = error.validator_value
    yield _wrong_type(
        [wanted] if isinstance(wanted, str) else wanted, error.instance, document, path
    )


def _wrong_type(
    wanted: Iterable[str], value: Any, document: Document, path: tuple[str | int, ...]
) -> Told:
    kinds = [kind for kind in dict.fromkeys(wanted) if kind in _DUE]
    if "number" in kinds and "integer" in kinds:
        kinds.remove("integer")
    due = " or ".join(_DUE[kind] for kind in kinds)
    name, kind = _name(path), _kind(value)
    words = _words(document, path, value)
    if isinstance(value, (dict, list)):
        what = f"{words} stands here; {name} is {due}"
    elif value is None:
        what = f"nothing is written here; {name} is {due}"
    else:
        what = f"{words} is {_DUE[kind] if kind != 'boolean' else 'a yes or no'}; {name} is {due}"
    return document.where(*path), what, _remedy_for(kinds, value, words.strip("`"), name)


def _remedy_for(kinds: list[str], value: Any, written: str, name: str) -> str:
    """Say how to write what is due, with the user's own words where they can be kept."""
    first = kinds[0] if kinds else ""
    plain = not isinstance(value, (dict, list)) and value is not None
    if "string" in kinds:
        return f'put it in quotes: "{written}"' if plain else f"write {name} as plain text"
    if first == "array":
        return f"write a list: [{written}]" if plain else "write a list: [one, two]"
    if first == "object":
        return "write `name: value` lines, indented, or {name: value}"
    if first == "boolean":
        meant = _YES_AND_NO.get(str(value).lower())
        return f"write {meant}" if meant else "write true or false"
    if first == "integer":
        return "write a whole number in digits, without a unit"
    if first == "number":
        return "write a number in digits, without a unit"
    return "leave it out" if first == "null" else ""


def _choice(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    """Tell of `enum` and of `const`, which is a choice of one."""
    wanted = error.validator_value if error.validator == "enum" else [error.validator_value]
    choices = [_yaml(choice) for choice in wanted]
    words = _words(document, path, error.instance)
    what = f"{words} is no choice of {_name(path)}"
    word = document.written(*path) or ""
    remedy = f"write {choices[0]}" if len(choices) == 1 else suggest(word, choices)
    yield document.where(*path), what, remedy


def _yaml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "nothing" if value is None else str(value)


def _missing(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    properties = error.schema.get("properties", {})
    for name in error.validator_value:
        if name not in error.instance:
            yield (
                document.where_key(*path),
                f"{name} is missing from {_whose(path, error.instance)}",
                _join(f"add `{name}: ...`", _described(properties.get(name))),
            )


def _described(schema: Any) -> str:
    return str(schema.get("description", "")) if isinstance(schema, dict) else ""


def _whose(path: tuple[str | int, ...], value: Mapping[str, Any]) -> str:
    """Name a mapping, by its own id if it has one."""
    own = value.get("id")
    return quoted(own) if isinstance(own, str) and own else _name(path)


def _unknown(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    known = list(_properties(error.schema))
    for name in _extra(error, known):
        # `{note: returns, summer 2026}` has a name without a value where text goes on.
        goes_on = isinstance(error.instance, dict) and error.instance.get(name, name) is None
        yield _unknown_name(name, known, document, path, goes_on=goes_on)


def _unknown_name(
    name: str,
    known: Iterable[str],
    document: Document,
    path: tuple[str | int, ...],
    *,
    goes_on: bool = False,
) -> Told:
    remedy = suggest(name, known, "known here") or "leave it out"
    if goes_on:
        remedy = f"put text that holds a comma in quotes, or: {remedy}"
    return document.where_key(*path, name), f"{quoted(name)} is not known in {_name(path)}", remedy


def _properties(schema: Any) -> Iterator[str]:
    """Return the names that a schema declares, also in what it joins by allOf and the like."""
    if isinstance(schema, dict):
        yield from schema.get("properties", {})
        for joined in ("allOf", *_ALTERNATIVES):
            for part in schema.get(joined, ()):
                yield from _properties(part)


def _extra(error: Any, known: list[str]) -> Iterator[str]:
    if error.validator == "unevaluatedProperties":
        # Only the message tells which names no other part of the schema took.
        for name in error.instance:
            if repr(name) in error.message and name not in known:
                yield name
        return
    from re import search

    patterns = error.schema.get("patternProperties", {})
    for name in error.instance:
        if name not in known and not any(search(pattern, name) for pattern in patterns):
            yield name


def _bound(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    schema = error.schema
    parts = [
        f"{words} {_yaml(schema[bound])}"
        for bound, words in (
            ("minimum", "at least"),
            ("exclusiveMinimum", "above"),
            ("maximum", "at most"),
            ("exclusiveMaximum", "below"),
        )
        if bound in schema
    ]
    due = ", ".join(parts)
    words = _words(document, path, error.instance)
    yield (
        document.where(*path),
        f"{words} is outside {_name(path)} ({due})",
        f"write a number {due}",
    )


def _multiple(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    words = _words(document, path, error.instance)
    of = _yaml(error.validator_value)
    yield (
        document.where(*path),
        f"{words} is no multiple of {of}, as {_name(path)} is",
        f"write a multiple of {of}",
    )


def _pattern(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    described = error.schema.get("description")
    yield (
        document.where(*path),
        f"{_words(document, path, error.instance)} is not written as {_name(path)} must be",
        "" if described else f"it must match {error.validator_value}",
    )


def _size(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    """Tell of a text, list or mapping that is too short or too long."""
    count, bound = len(error.instance), error.validator_value
    unit = {"L": "letter", "I": "item", "P": "name"}[error.validator[3]]
    name = _name(path)
    if error.validator.startswith("min"):
        what = f"{name} is empty"
        if count:
            what = f"{name} has {_count(count, unit)}, and at least {bound} are due"
        remedy = f"write at least {_count(bound, unit)}"
    else:
        what = f"{name} has {_count(count, unit)}, and at most {bound} can stand here"
        remedy = f"keep at most {_count(bound, unit)}"
    yield document.where(*path), what, remedy


def _count(number: int, unit: str) -> str:
    return f"{number} {unit}" if number == 1 else f"{number} {unit}s"


def _twice(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    index = first_twice(error.instance)
    at = (*path, index) if index is not None else path
    words = _words(document, at, error.instance[index] if index is not None else None)
    yield document.where(*at), f"{words} stands twice in {_name(path)}", "keep one of them"


def _bad_name(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    """Tell of a name that may not stand in a mapping (`propertyNames`)."""
    name = error.instance
    choices = error.validator_value if error.validator == "enum" else None
    yield (
        document.where_key(*path, name),
        f"{quoted(name)} is no name that {_name(path)} can hold",
        suggest(name, choices, "known here") if choices else "",
    )


def _needs(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    for name, needed in error.validator_value.items():
        if name in error.instance:
            for other in needed:
                if other not in error.instance:
                    yield (
                        document.where_key(*path, name),
                        f"{quoted(name)} stands without {other}",
                        f"add `{other}: ...`",
                    )


def _anything_else(error: Any, document: Document, path: tuple[str | int, ...]) -> Iterator[Told]:
    """Tell of what has no words of its own: `not`, `contains`, a schema that is false."""
    words = _words(document, path, error.instance)
    if error.schema is False and not isinstance(error.instance, (dict, list)):
        # The library gives the path of what it stands in.
        words = quoted(_yaml(error.instance))
    described = _described(error.schema)
    yield (
        document.where(*path),
        f"{words} cannot stand in {_name(path)}",
        "" if described else "leave it out, or see what is allowed here",
    )


def _alternatives(error: Any, document: Document) -> Iterator[Told]:
    """Tell of what fits none of several forms, as the form that was most likely meant."""
    branches: dict[int, list[Any]] = {}
    for inner in error.context:
        branches.setdefault(inner.schema_path[0], []).append(inner)
    path = tuple(error.absolute_path)
    # The form meant is one of the right type; else nothing but the types can be told.
    of_type = [b for b in branches.values() if not any(_is_type_here(inner) for inner in b)]
    if not of_type:
        wanted: list[str] = []
        for inner in error.context:
            if _is_type_here(inner):
                value = inner.validator_value
                wanted += [value] if isinstance(value, str) else value
        place, what, remedy = _wrong_type(wanted, error.instance, document, path)
        yield place, what, _join(remedy, _described(error.schema))
        return
    least = min(_distance(branch) for branch in of_type)
    nearest = [branch for branch in of_type if _distance(branch) == least]
    if len(nearest) > 1:
        told = list(_together(nearest, error, document, path))
        if told:
            yield from told
            return
    for inner in nearest[0]:
        yield from faults_of(inner, document)


def _is_type_here(error: Any) -> bool:
    return error.validator == "type" and not error.relative_path


def _fails_here(branch: list[Any], kind: str) -> bool:
    return any(inner.validator == kind and not inner.relative_path for inner in branch)


def _distance(branch: list[Any]) -> tuple[int, int, int]:
    """Measure how far a form is from what was written.

    First by what fails at the top of it (a form's own names), then by which of its choices fail (a
    form is often told by one word of its own), then by all that fails.
    """
    here = sum(not inner.relative_path for inner in branch)
    chosen = sum(inner.validator in {"const", "enum"} for inner in branch)
    return here, chosen, len(branch)


def _together(
    nearest: list[list[Any]], error: Any, document: Document, path: tuple[str | int, ...]
) -> Iterator[Told]:
    """Tell of forms equally near: a name that none of them knows, a word that none of them has."""
    value = error.instance
    if isinstance(value, dict):
        known = list(dict.fromkeys(_properties(error.schema))) or [
            name
            for branch in nearest
            for inner in branch
            if isinstance(inner.schema, dict)
            for name in _properties(inner.schema)
        ]
        unknown = [name for name in value if name not in known]
        if known and unknown:
            for name in unknown:
                yield _unknown_name(name, known, document, path)
        elif known and all(_fails_here(branch, "additionalProperties") for branch in nearest):
            both = " and ".join(value)
            remedy = "give each an item of its own" if path and isinstance(path[-1], int) else ""
            what = f"{both} cannot stand together in {_name(path)}"
            yield document.where(*path), what, remedy or "keep one of them"
        elif known and all(_fails_here(branch, "required") for branch in nearest):
            some = ", ".join(known[:-1]) + f" or {known[-1]}"
            what = f"{some} is missing from {_name(path)}"
            yield document.where_key(*path), what, "add one of them"
    elif not isinstance(value, list):
        choices: list[str] = []
        for branch in nearest:
            for inner in branch:
                if inner.validator in {"const", "enum"} and not inner.relative_path:
                    some = inner.validator_value
                    choices += map(_yaml, some if inner.validator == "enum" else [some])
        if choices:
            words = _words(document, path, value)
            remedy = suggest(document.written(*path) or "", choices)
            yield document.where(*path), f"{words} is no choice of {_name(path)}", remedy


_TELL = {
    "type": _type,
    "enum": _choice,
    "const": _choice,
    "required": _missing,
    "additionalProperties": _unknown,
    "unevaluatedProperties": _unknown,
    "minimum": _bound,
    "maximum": _bound,
    "exclusiveMinimum": _bound,
    "exclusiveMaximum": _bound,
    "multipleOf": _multiple,
    "pattern": _pattern,
    "minLength": _size,
    "maxLength": _size,
    "minItems": _size,
    "maxItems": _size,
    "minProperties": _size,
    "maxProperties": _size,
    "uniqueItems": _twice,
    "dependentRequired": _needs,
}
