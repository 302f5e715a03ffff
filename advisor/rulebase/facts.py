"""Reading the vocabulary: what each layer declares of its facts."""

from __future__ import annotations

from typing import Any

from advisor.engine.values import GIVEN
from advisor.errors import did_you_mean
from advisor.quantities import UNITS, QuantityError, parse_quantity
from advisor.rulebase.conditions import Path
from advisor.rulebase.files import Desk, LayerFiles, SourceFile
from advisor.vocabulary import (
    CHOICE,
    NUMBERS,
    Assumption,
    FactEntry,
    UnfitError,
    Vocabulary,
    show,
)


def read_vocabulary(desk: Desk, layers: list[LayerFiles]) -> Vocabulary:
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
                desk.fault(
                    file,
                    path,
                    f"`{name}` is declared by `{home[name]}` already",
                    "choose another name: a house adds facts, it does not change them",
                    key=True,
                )
                continue
            entry = _entry(desk, file, name, raw, path, layer.name)
            if entry is not None:
                entries[name] = entry
                home[name] = layer.name
    return Vocabulary(entries.values())


def _entry(
    desk: Desk, file: SourceFile, name: str, raw: dict[str, Any], path: Path, layer: str
) -> FactEntry | None:
    kind, origin = raw["kind"], raw["origin"]
    unit = raw.get("unit", "")
    if kind == "quantity" and unit not in UNITS:
        near = did_you_mean(unit, UNITS)
        desk.fault(
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
                desk.fault(file, (*path, *at), error.what, error.help)
                return None
            if key == "range":
                low, high = (number, high) if at[1] == 0 else (low, number)
            else:
                numbers[key] = number
        if low is not None and high is not None and low > high:
            desk.fault(
                file,
                (*path, "range"),
                f"the range of {name} is upside down",
                "write the lower end first",
            )
    if kind == CHOICE and not raw.get("choices"):
        desk.fault(
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
        assumption = read_assumption(desk, file, entry, raw["assume"], (*path, "assume"), layer)
        entry = entry._replace(assume=assumption)
    return entry


def read_assumption(
    desk: Desk, file: SourceFile, entry: FactEntry, raw: dict[str, Any], path: Path, layer: str
) -> Assumption | None:
    """Read a default for a given fact, with its reason."""
    if entry.origin != GIVEN:
        desk.fault(
            file,
            path,
            f"{entry.name} is {entry.origin}, and only given facts are assumed",
            "leave the assumption out",
        )
        return None
    try:
        value = entry.read(raw["value"])
    except UnfitError as fault:
        desk.fault(file, (*path, "value"), fault.what, fault.help)
        return None
    return Assumption(value, raw["because"], layer)


def _choices(raw: Any) -> dict[str, str]:
    if raw is None:
        return {}
    if isinstance(raw, list):
        return {show(item): "" for item in raw}
    return {str(name): "" if line is None else str(line) for name, line in raw.items()}
