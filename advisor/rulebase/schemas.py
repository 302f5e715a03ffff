"""The JSON Schemas (draft 2020-12) of every document, those with fact names made from a vocabulary.

The files in `rules/schemas` are what this module makes of the base vocabulary; a test holds them
together. An editor that is pointed at one completes fact names, choices and units. A rule base is
checked against the same schemas with its fact names left open, because a house adds facts; names
are checked by the reader, which can say what was meant.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from advisor.engine.values import COMPUTED, CONCLUDED, GIVEN, OPTION
from advisor.quantities import UNITS, spellings
from advisor.rulebase.model import ACCEPTABLE, EVIDENCE, LEVELS, PHASES
from advisor.setups.read import FROM_STOCK, ITEM_LISTS
from advisor.setups.take import NAMES
from advisor.vocabulary import CHOICE, COUNT, FLAG, QUANTITY, FactEntry, Vocabulary

Schema = dict[str, Any]
DRAFT = "https://json-schema.org/draft/2020-12/schema"
ID = "^[a-z0-9]+(-[a-z0-9]+)*$"
FACT = r"^[a-z0-9_]+(\.[a-z0-9_]+)*$"
OPEN_FACT = r"^(?!(any|all|not)$)[a-z0-9_]+(\.[a-z0-9_]+)*$"
VERSION = r"^\d+\.\d+\.\d+(-[0-9A-Za-z.-]+)?(\+[0-9A-Za-z.-]+)?$"
TEXT: Schema = {"type": "string", "minLength": 1}
NAME: Schema = {"type": "string", "pattern": ID}
STRENGTHS = ("must", "must_not", "should", "should_not")


ROOM: Schema = {r"\.": {}}
"""What lets the name of any fact through, of a vocabulary that a house may add to."""


def _object(properties: Schema, required: tuple[str, ...] = (), **more: Any) -> Schema:
    return {
        "type": "object",
        "properties": properties,
        "required": list(required),
        "additionalProperties": False,
        **more,
    }


def _head(title: str, schema: Schema) -> Schema:
    return {"$schema": DRAFT, "title": title, **schema}


def manifest() -> Schema:
    """Return the schema of manifest.yaml."""
    return _head(
        "rule base manifest",
        _object(
            {
                "schema": {"const": 1},
                "name": NAME,
                "version": {"type": "string", "pattern": VERSION},
                "says": TEXT,
                "favours": {"type": "array", "items": NAME, "uniqueItems": True},
                "extends": _object({"name": TEXT, "version": TEXT}, ("name",)),
                "retire": {
                    "type": "array",
                    "items": _object({"rule": NAME, "because": TEXT}, ("rule", "because")),
                },
                "assume": {
                    "type": "object",
                    "propertyNames": {"pattern": FACT},
                    "additionalProperties": _object(
                        {"value": {}, "because": TEXT}, ("value", "because")
                    ),
                },
                "domain": {"type": "array", "items": {"type": "object", "minProperties": 1}},
            },
            ("name", "version"),
        ),
    )


def vocabulary() -> Schema:
    """Return the schema of vocabulary.yaml."""
    number = {"type": ["number", "string"]}
    fact = _object(
        {
            "label": TEXT,
            "kind": {"enum": ["choice", "flag", "count", "quantity", "text"]},
            "origin": {"enum": [GIVEN, OPTION, COMPUTED, CONCLUDED]},
            "choices": {
                "anyOf": [
                    {"type": "object", "additionalProperties": {"type": ["string", "null"]}},
                    {"type": "array", "items": {"type": "string"}, "uniqueItems": True},
                ]
            },
            "several": {"type": "boolean"},
            "unit": {"enum": list(UNITS)},
            "bare": {"type": "boolean"},
            "range": {"type": "array", "items": number, "minItems": 2, "maxItems": 2},
            "tolerance": number,
            "within": number,
            "step": number,
            "pairs": {"type": "boolean"},
            "question": TEXT,
            "assume": _object({"value": {}, "because": TEXT}, ("value", "because")),
        },
        ("kind", "origin"),
        allOf=[
            {
                "if": {"properties": {"kind": {"const": "quantity"}}, "required": ["kind"]},
                "then": {"required": ["unit"]},
            },
            {
                "if": {"properties": {"kind": {"const": "choice"}}, "required": ["kind"]},
                "then": {"required": ["choices"]},
            },
        ],
    )
    facts = {
        "type": "object",
        "propertyNames": {"pattern": FACT},
        "additionalProperties": fact,
    }
    return _head("vocabulary", _object({"schema": {"const": 1}, "facts": facts}, ("facts",)))


def sources() -> Schema:
    """Return the schema of sources.yaml."""
    source = _object(
        {
            "author": TEXT,
            "title": TEXT,
            "year": {"type": ["integer", "string"]},
            "where": TEXT,
            "from_memory": {"type": "boolean"},
            "note": TEXT,
        },
        ("title",),
    )
    listed = {"type": "object", "propertyNames": {"pattern": ID}, "additionalProperties": source}
    return _head("sources", _object({"schema": {"const": 1}, "sources": listed}, ("sources",)))


# Documents that name facts


def _constant(entry: FactEntry | None) -> Schema:
    """Return what may be written for one value of a fact."""
    if entry is None:
        return {"type": ["string", "number", "boolean"]}
    if entry.kind == CHOICE:
        return {"enum": list(entry.choices)}
    if entry.kind == FLAG:
        return {"type": "boolean"}
    if entry.kind == COUNT:
        return {"type": "integer"}
    if entry.kind == QUANTITY:
        return {"type": ["string", "number"], "description": f"in {entry.unit}"}
    return {"type": "string"}


def _kind_of(entry: FactEntry | None) -> str:
    """Return what facts must share to share their definitions."""
    if entry is None:
        return "anything"
    if entry.kind == CHOICE:
        return entry.name
    if entry.kind != QUANTITY:
        return entry.kind
    # Definitions are referred to by JSON Pointer in a URI, where a slash or a percent sign speaks.
    return "quantity-in-" + entry.unit.replace("/", "-per-").replace("%", "percent")


def _test(entry: FactEntry | None) -> Schema:
    """Refer to what a fact may be tested for."""
    return {"$ref": f"#/$defs/test-of-{_kind_of(entry)}"}


def _test_definitions(entries: Mapping[str, FactEntry] | None) -> Schema:
    """Return the definitions that `_test` refers to."""
    defs: Schema = {
        "another-fact": _object({"fact": {"type": "string", "pattern": FACT}}, ("fact",))
    }
    for entry in [None] if entries is None else entries.values():
        kind = _kind_of(entry)
        defs[f"value-of-{kind}"] = _constant(entry)
        value = {"$ref": f"#/$defs/value-of-{kind}"}
        properties: Schema = {
            "known": {"type": "boolean"},
            "stated": {"type": "boolean"},
            "fact": {"type": "string", "pattern": FACT},
        }
        if entry is None or (entry.is_number and not entry.several):
            defs[f"bound-of-{kind}"] = {"anyOf": [value, {"$ref": "#/$defs/another-fact"}]}
            bound = {"$ref": f"#/$defs/bound-of-{kind}"}
            properties |= dict.fromkeys(("at_least", "at_most", "above", "below"), bound)
        defs[f"single-test-of-{kind}"] = {"anyOf": [value, _object(properties, minProperties=1)]}
        single = {"$ref": f"#/$defs/single-test-of-{kind}"}
        defs[f"test-of-{kind}"] = {
            "anyOf": [
                value,
                _object(properties, minProperties=1),
                {"type": "array", "minItems": 1, "items": single},
            ]
        }
    return defs


def _by_fact(entries: Mapping[str, FactEntry] | None, of: Callable[..., Schema]) -> Schema:
    """Return a mapping of fact names; without a vocabulary any name will do."""
    if entries is None:
        return {"patternProperties": {OPEN_FACT: of(None)}, "additionalProperties": False}
    return {
        "properties": {
            name: {"description": entry.label, **of(entry)} for name, entry in entries.items()
        },
        # A house adds facts of its own: the reader, which knows them, judges their names.
        "patternProperties": ROOM,
        "additionalProperties": False,
    }


def rules(words: Vocabulary | None = None) -> Schema:
    """Return the schema of a topic file; with a vocabulary it knows its facts."""
    entries = None if words is None else words.entries
    concluded = _some(entries, (CONCLUDED,))
    demanded = _some(entries, (GIVEN, OPTION, COMPUTED))
    numbers = None if entries is None else {n: e for n, e in entries.items() if e.is_number}
    condition = {"$ref": "#/$defs/condition"}
    by_fact = _by_fact(entries, _test)
    by_fact.setdefault("properties", {})
    by_fact["properties"] = {
        **by_fact["properties"],
        "any": {"type": "array", "minItems": 1, "items": condition},
        "all": {"type": "array", "minItems": 1, "items": condition},
        "not": condition,
    }
    one: Schema = {"minProperties": 1, "maxProperties": 1}
    demand = {"type": "object", **_by_fact(demanded, _test), **one}
    conclusion = _object(
        {
            "set": {
                "type": "object",
                "minProperties": 1,
                **_by_fact(concluded, _settable),
            },
            **{strength: {"$ref": "#/$defs/demand"} for strength in STRENGTHS},
            "favour": {
                "type": "object",
                **_by_fact(numbers, lambda _entry: {"enum": ["highest", "lowest"]}),
                **one,
            },
            "caution": _object({"level": {"enum": list(LEVELS)}, "text": TEXT}, ("level", "text")),
            "step": _object(
                {
                    "phase": {"enum": list(PHASES)},
                    "text": TEXT,
                    "after": {"type": "array", "items": NAME, "uniqueItems": True},
                },
                ("phase", "text"),
            ),
        },
        **one,
    )
    evidence = _object(
        {
            "class": {"enum": list(EVIDENCE)},
            "source": TEXT,
            "place": TEXT,
            "function": TEXT,
            "note": TEXT,
        },
        ("class",),
        allOf=[
            _needs_more("published", ["source", "place"]),
            _needs_more("derived", ["function"]),
        ],
    )
    rule = _object(
        {
            "id": NAME,
            "says": TEXT,
            "when": condition,
            "unless": condition,
            "then": {"type": "array", "minItems": 1, "items": conclusion},
            "because": TEXT,
            "evidence": evidence,
            "overrides": {"type": "array", "items": NAME, "uniqueItems": True},
            "contested": _object({"by": {"enum": list(EVIDENCE)}, "note": TEXT}, ("by", "note")),
            "replaces": NAME,
            "accept": {
                "type": "array",
                "items": _object(
                    {
                        "finding": {"enum": list(ACCEPTABLE)},
                        "because": TEXT,
                        "with": {"type": "array", "items": NAME, "uniqueItems": True},
                    },
                    ("finding", "because"),
                ),
            },
        },
        ("id", "says", "then", "because", "evidence"),
    )
    return _head(
        "rules of one topic",
        {
            "type": "array",
            "items": rule,
            "$defs": {
                "condition": {"type": "object", "minProperties": 1, **by_fact},
                "demand": demand,
                **_test_definitions(entries),
            },
        },
    )


def _needs_more(kind: str, keys: list[str]) -> Schema:
    return {
        "if": {"properties": {"class": {"const": kind}}, "required": ["class"]},
        "then": {"required": keys},
    }


def _settable(entry: FactEntry | None) -> Schema:
    constant = _constant(entry)
    if entry is None or entry.several:
        return {"anyOf": [constant, {"type": "array", "items": constant}]}
    return constant


def _some(
    entries: Mapping[str, FactEntry] | None, origins: tuple[str, ...]
) -> Mapping[str, FactEntry] | None:
    if entries is None:
        return None
    return {name: entry for name, entry in entries.items() if entry.origin in origins}


def _value(entry: FactEntry | None) -> Schema:
    """Return what may be stated of a fact; a quantity with a unit that fits it."""
    constant = _constant(entry)
    if entry is not None and entry.kind == QUANTITY:
        units = "|".join(re.escape(unit).replace("\\-", "-") for unit in spellings(entry.unit))
        written = {"type": "string", "pattern": rf"^[-+]?[0-9 ./-]+(?:{units})?$"}
        if entry.bare:
            return {"anyOf": [written, {"type": "number"}]}
        return {"type": "string", "pattern": rf"^[-+]?[0-9 ./-]+(?:{units})$"}
    if entry is None or entry.several:
        return {"anyOf": [constant, {"type": "array", "items": constant}]}
    return constant


def _nested(entries: Mapping[str, FactEntry], of: Callable[[FactEntry], Schema]) -> Schema:
    """Return properties that nest by the dots of the fact names, dotted names allowed too."""
    properties: Schema = {}
    groups: dict[str, dict[str, FactEntry]] = {}
    for name, entry in entries.items():
        head, dot, rest = name.partition(".")
        if dot:
            groups.setdefault(head, {})[rest] = entry
        properties[name] = {"description": entry.label, **of(entry)}
    for head, members in groups.items():
        inner = {
            "type": ["object", "null"],
            "properties": _nested(members, of),
            "additionalProperties": False,
        }
        properties[head] = {**properties.get(head, {}), **inner}
    return properties


def setup(words: Vocabulary) -> Schema:
    """Return the schema of a setup."""
    stated = _some(words.entries, (GIVEN, OPTION, COMPUTED)) or {}
    return _head(
        "setup",
        {
            "type": "object",
            "properties": {
                "schema": {"const": 1},
                "title": {"type": "string"},
                "notes": {"type": "string"},
                FROM_STOCK: _object({name: {"type": "string"} for name in NAMES}),
                **_nested(stated, _value),
            },
            "additionalProperties": False,
        },
    )


def stock(words: Vocabulary | None = None) -> Schema:
    """Return the schema of a stock file."""
    properties: Schema = {"schema": {"const": 1}, "stock": {"type": "string"}}
    entries = {} if words is None else words.entries
    for key, group in ITEM_LISTS.items():
        members = {n[len(group) + 1 :]: e for n, e in entries.items() if n.startswith(group + ".")}
        item: Schema = {
            "type": "object",
            "properties": {"id": {"type": "string"}, **_nested(members, _value)},
        }
        properties[key] = {"type": "array", "items": item}
    options = _some(entries, (OPTION,)) or {}
    properties |= _nested(
        options, lambda e: {"anyOf": [_constant(e), {"type": "array", "items": _constant(e)}]}
    )
    return _head("stock", {"type": "object", "properties": properties})


def cases(words: Vocabulary | None = None) -> Schema:
    """Return the schema of a file of cases."""
    entries = None if words is None else words.entries
    names = {"type": "array", "items": {"type": "string"}, "uniqueItems": True}
    tests = {"type": "object", **_by_fact(entries, _test)}
    expect = _object(
        {
            "status": {"enum": ["advised", "judged", "rejected", "stopped"]},
            "build": tests,
            "numbers": tests,
            **dict.fromkeys(EXPECTED_LISTS, names),
        }
    )
    case = _object(
        {
            "case": NAME,
            "says": TEXT,
            "setup": {"type": "object"} if words is None else setup(words),
            "stock": {"type": "object"},
            "expect": expect,
        },
        ("case", "says", "setup", "expect"),
    )
    defs = _test_definitions(entries)
    return _head("cases", {"type": "array", "items": case, "$defs": defs})


SHARE: Schema = {"type": "number", "minimum": 0, "maximum": 1}


def population(words: Vocabulary | None = None) -> Schema:
    """Return the schema of a population of setups."""
    weight: Schema = {"type": "number", "minimum": 0}
    spread = _object(
        {
            "choices": {"type": "object", "additionalProperties": weight, "minProperties": 1},
            "values": {"type": "array", "minItems": 1},
            "weights": {"type": "array", "items": weight, "minItems": 1},
            "between": {"type": "array", "minItems": 2, "maxItems": 2},
            "step": {"type": ["number", "string"]},
            "share": SHARE,
            "stated": SHARE,
        }
    )
    named: Schema = {
        "type": "object",
        "minProperties": 1,
        "propertyNames": {"pattern": FACT},
        "additionalProperties": spread,
    }
    if words is not None:
        stateable = [n for n, e in words.entries.items() if e.origin != CONCLUDED]
        named = _object({name: {"$ref": "#/$defs/spread"} for name in stateable}, minProperties=1)
    body = _object(
        {"schema": {"const": 1}, "population": TEXT, "because": TEXT, "facts": named},
        ("population", "because", "facts"),
    )
    return _head("population", {**body, "$defs": {"spread": spread}} if words else body)


EXPECTED_LISTS = (
    "fired",
    "silent",
    "undecided",
    "excepted",
    "set_aside",
    "cautions",
    "unknown",
    "asked",
    "ties",
    "rejected_by",
)


def all_schemas(words: Vocabulary) -> dict[str, Schema]:
    """Return every schema file by its name."""
    from advisor.case_findings import Coverage, Mutation
    from advisor.checked import CheckReport
    from advisor.comparison import Comparison
    from advisor.derivation import Derivation
    from advisor.findings import TurningPoints, WhyNot
    from advisor.recheck.report import Report
    from advisor.reviewing import Review
    from advisor.rulebase.decision_schema import decision, schema_of
    from advisor.rules_compared import RulesComparison

    return {
        "manifest": manifest(),
        "vocabulary": vocabulary(),
        "sources": sources(),
        "rules": rules(words),
        "setup": setup(words),
        "stock": stock(words),
        "cases": cases(words),
        "decision": decision(),
        "population": population(words),
        "rules-comparison": schema_of(RulesComparison, "Comparison of rule bases"),
        "derivation": schema_of(Derivation, "Derivation"),
        "comparison": schema_of(Comparison, "Comparison"),
        "turning-points": schema_of(TurningPoints, "Turning points"),
        "why-not": schema_of(WhyNot, "Why not"),
        "coverage": schema_of(Coverage, "Coverage"),
        "mutation": schema_of(Mutation, "Mutation"),
        "review": schema_of(Review, "Review"),
        "check": schema_of(CheckReport, "Check of a rule base"),
        "recheck": schema_of(Report, "Recheck"),
    }
