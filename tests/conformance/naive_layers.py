"""Laying layers over one another, slowly and plainly, from the text of the design.

A layer is `{name, version?, extends?: {version}, rules, retire?, favours?, assume?}`; the lowest
comes first. Shares no code with the package.

Readings where the text leaves room: what a rule replaces it neither overrides nor needs to; a
replacement of a replacement is followed to the last; an id belongs to a rule even when that is
retired, so another rule cannot take it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

Plain = dict[str, Any]


class RefusedError(ValueError):
    """The layers cannot be laid over one another; `why` is one word or two."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


def resolve(
    layers: Sequence[Mapping[str, Any]], facts: set[str]
) -> tuple[list[Plain], list[str], Plain, Plain]:
    """Return the rules in force, the favours in order, what is assumed, and who took what away."""
    home: dict[str, int] = {}
    rules: dict[str, Plain] = {}
    for number, layer in enumerate(layers):
        if number and "extends" in layer:
            check_version(layers[number - 1].get("version", "1.0.0"), layer["extends"]["version"])
        for rule in layer["rules"]:
            if rule["id"] in home:
                raise RefusedError("clash")
            home[rule["id"]] = number
            rules[rule["id"]] = {**rule, "layer": number}

    gone: dict[str, str] = {}  # rule -> its replacement, or nothing
    by: Plain = {}
    for number, layer in enumerate(layers):
        taken = [(one["rule"], "", layer["name"]) for one in layer.get("retire", [])]
        taken += [
            (rule["replaces"], rule["id"], rule["id"])
            for rule in layer["rules"]
            if "replaces" in rule
        ]
        for victim, replacement, told in taken:
            if victim not in home:
                raise RefusedError("no such rule")
            if home[victim] >= number:
                raise RefusedError("not below")
            if victim in gone:
                raise RefusedError("gone already")
            gone[victim] = replacement
            by[victim] = told

    def now(name: str) -> str:
        while name in gone:
            name = gone[name]
        return name

    kept = []
    for name, rule in rules.items():
        for other in rule.get("overrides", []):
            if other not in home:
                raise RefusedError("no such rule")
            if home[other] > home[name]:
                raise RefusedError("above")
        if name not in gone:
            listed = rule.get("overrides", [])
            named = {now(other) for other in listed if other == name or now(other) != name} - {""}
            plain = {key: value for key, value in rule.items() if key != "replaces"}
            kept.append({**plain, "overrides": sorted(named)})

    favours, assumed = favours_of(layers, home, {rule["id"] for rule in kept}), {}
    for rule in kept:
        if any("favour" in one for one in rule["then"]) and rule["id"] not in favours:
            raise RefusedError("favour not listed")
    for layer in layers:
        assumed.update(layer.get("assume", {}))
    if not set(assumed) <= facts:
        raise RefusedError("no such fact")
    return kept, favours, assumed, by


def favours_of(
    layers: Sequence[Mapping[str, Any]], home: Mapping[str, int], kept: set[str]
) -> list[str]:
    """Return the favours, those of the highest layer first, each layer in its own order."""
    found = []
    for number, layer in reversed(list(enumerate(layers))):
        for name in layer.get("favours", []):
            if name not in home:
                raise RefusedError("no such rule")
            if home[name] != number:
                raise RefusedError("favour of another layer")
            if name in kept:
                found.append(name)
    return found


def check_version(have: str, wanted: str) -> None:
    """Refuse a version that a range like ">=1.2,<2" does not hold."""
    for part in wanted.split(","):
        found = re.fullmatch(r"\s*(>=|<=|==|!=|>|<)\s*([\d.]+)\s*", part)
        if found is None:
            raise RefusedError("version")
        low, bound = (padded(text) for text in (have, found[2]))
        fits = {
            ">=": low >= bound,
            "<=": low <= bound,
            "==": low == bound,
            "!=": low != bound,
            ">": low > bound,
            "<": low < bound,
        }[found[1]]
        if not fits:
            raise RefusedError("version")


def padded(version: str) -> tuple[int, ...]:
    numbers = [int(part) for part in version.split(".")]
    return tuple(numbers + [0] * (3 - len(numbers)))
