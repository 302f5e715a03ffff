"""The JSON Schemas of our nouns, made from their own types so that the two cannot drift."""

from __future__ import annotations

from collections.abc import Mapping
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from advisor.decision import Decision, Number

DRAFT = "https://json-schema.org/draft/2020-12/schema"
_PLAIN: dict[Any, dict[str, Any]] = {
    str: {"type": "string"},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    float: {"type": "number"},
    type(None): {"type": "null"},
}
_SEAL = {
    "type": "string",
    "pattern": "^[0-9a-f]{64}$",
    "description": "SHA-256 of all the rest as canonical JSON.",
}
_STATUS = {"enum": ["advised", "judged", "rejected", "stopped"]}


def decision() -> dict[str, Any]:
    """Return the schema: each type of the Decision becomes a definition of its own name."""
    schema = schema_of(Decision, "Decision")
    schema["properties"]["status"] = _STATUS
    schema["properties"]["seal"] = _SEAL
    return schema


def schema_of(kind: Any, title: str) -> dict[str, Any]:
    """Return the schema of what `to_plain` makes of a noun, from its type.

    Args:
        kind: a NamedTuple that does not hold itself; one with a `format` always tells it.
        title: of the schema.
    """
    defs: dict[str, Any] = {}
    names: dict[Any, str] = {}
    _define(kind, defs, names)
    whole = defs.pop(names[kind])
    if "format" in kind._fields:
        whole["properties"]["format"] = {"const": kind._field_defaults["format"]}
        whole["required"].append("format")
    return {"$schema": DRAFT, "title": title, **whole, "$defs": defs}


def _define(kind: Any, defs: dict[str, Any], names: dict[Any, str]) -> dict[str, Any]:
    """Add the definition of a type and return a reference to it.

    Two types of one name are told apart by their module.
    """
    name = names.get(kind)
    if name is None:
        name = kind.__name__
        if name in defs:
            name = f"{kind.__module__.rpartition('.')[2]}-{name}"
        names[kind] = name
        defs[name] = {}  # taken before its parts, for types that hold themselves
        hints = get_type_hints(kind)
        defs[name] = {
            "type": "object",
            "description": (kind.__doc__ or "").strip().splitlines()[0],
            "properties": {field: _schema(hints[field], defs, names) for field in kind._fields},
            "required": [f for f in kind._fields if f not in kind._field_defaults],
            "additionalProperties": False,
        }
    return {"$ref": f"#/$defs/{name}"}


def _schema(kind: Any, defs: dict[str, Any], names: dict[Any, str]) -> dict[str, Any]:
    if kind in _PLAIN:
        return _PLAIN[kind]
    if hasattr(kind, "_fields"):
        return _define(kind, defs, names)
    origin, parts = get_origin(kind), get_args(kind)
    if origin is tuple:
        return {"type": "array", "items": _schema(parts[0], defs, names)}
    if origin is Mapping:
        return {"type": "object", "additionalProperties": _schema(parts[1], defs, names)}
    if origin in (Union, UnionType):
        return {"anyOf": [_schema(part, defs, names) for part in parts]}
    raise TypeError(f"no schema for {kind}")  # pragma: no cover


__all__ = ["Number", "decision", "schema_of"]
