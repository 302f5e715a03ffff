"""The JSON Schema of a Decision, made from its own types so that the two cannot drift."""

from __future__ import annotations

from collections.abc import Mapping
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from advisor.decision import FORMAT, Decision, Number

DRAFT = "https://json-schema.org/draft/2020-12/schema"
_PLAIN: dict[Any, dict[str, Any]] = {
    str: {"type": "string"},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    float: {"type": "number"},
    type(None): {"type": "null"},
}
_STATUS = {"enum": ["advised", "judged", "rejected", "stopped"]}


def decision() -> dict[str, Any]:
    """Return the schema: each type of the Decision becomes a definition of its own name."""
    defs: dict[str, Any] = {}
    _define(Decision, defs)
    whole = defs.pop("Decision")
    whole["properties"]["status"] = _STATUS
    whole["properties"]["format"] = {"const": FORMAT}
    whole["required"].append("format")
    return {"$schema": DRAFT, "title": "Decision", **whole, "$defs": defs}


def _define(kind: Any, defs: dict[str, Any]) -> dict[str, Any]:
    """Add the definition of a type and return a reference to it."""
    name = kind.__name__
    if name not in defs:
        defs[name] = {}  # taken before its parts, for types that hold themselves
        hints = get_type_hints(kind)
        defs[name] = {
            "type": "object",
            "description": (kind.__doc__ or "").strip().splitlines()[0],
            "properties": {field: _schema(hints[field], defs) for field in kind._fields},
            "required": [f for f in kind._fields if f not in kind._field_defaults],
            "additionalProperties": False,
        }
    return {"$ref": f"#/$defs/{name}"}


def _schema(kind: Any, defs: dict[str, Any]) -> dict[str, Any]:
    if kind in _PLAIN:
        return _PLAIN[kind]
    if hasattr(kind, "_fields"):
        return _define(kind, defs)
    origin, parts = get_origin(kind), get_args(kind)
    if origin is tuple:
        return {"type": "array", "items": _schema(parts[0], defs)}
    if origin is Mapping:
        return {"type": "object", "additionalProperties": _schema(parts[1], defs)}
    if origin in (Union, UnionType):
        return {"anyOf": [_schema(part, defs) for part in parts]}
    raise TypeError(f"no schema for {kind}")  # pragma: no cover


__all__ = ["Number", "decision"]
