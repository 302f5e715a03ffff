"""Reading the vocabulary: what each layer declares of its facts."""

from __future__ import annotations

from typing import Any

from advisor.engine.values import GIVEN, OPTION
from advisor.quantities import QuantityError, parse_quantity
from advisor.rulebase.conditions import Path
from advisor.rulebase.files import Desk, LayerFiles, SourceFile
from advisor.vocabulary import (
    CHOICE,
    NUMBERS,
    QUANTITY,
    Assumption,
    FactEntry,
    UnfitError,
    Vocabulary,
    show,
)

_DISTANCES = ("tolerance", "within", "step")
_ONLY_FOR = {
    "choices": (CHOICE,),
    "several": (CHOICE,),
    **dict.fromkeys(("range", *_DISTANCES), NUMBERS),
    **dict.fromkeys(("unit", "bare"), (QUANTITY,)),
}
"""What only facts of some kinds can declare."""


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
    for key, kinds in _ONLY_FOR.items():
        if key in raw and kind not in kinds:
            desk.fault(
                file,
                (*path, key),
                f"`{key}` says nothing of a {kind}",
                f"leave it out, or make {name} a {' or '.join(kinds)}",
                key=True,
            )
    if kind == CHOICE and not raw["choices"]:
        desk.fault(
            file, path, f"{name} is a choice without choices", "list its choices, a line each"
        )
        desk.sound = False  # every choice that rules name would be at fault
        return None
    if origin == OPTION and raw.get("several"):
        desk.fault(
            file,
            (*path, "several"),
            f"{name} is an option, and of an option one value is chosen",
            "leave `several` out, or make it a given fact",
        )
    unit = raw.get("unit", "")
    numbers = _numbers(desk, file, name, raw, path, unit) if kind in NUMBERS else {}
    ranged = "low" in numbers and "high" in numbers
    entry = FactEntry(
        name=name,
        label=raw.get("label", name),
        kind=kind,
        origin=origin,
        several=bool(raw.get("several", False)),
        choices=_choices(raw.get("choices")),
        unit=unit,
        bare=bool(raw.get("bare", True)),
        low=numbers["low"] if ranged else None,
        high=numbers["high"] if ranged else None,
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


def _numbers(
    desk: Desk, file: SourceFile, name: str, raw: dict[str, Any], path: Path, unit: str
) -> dict[str, float]:
    """Read the numbers that a fact declares; the ends of its range are `low` and `high`."""
    written: list[tuple[str, Any, Path]] = [
        (key, raw[key], (key,)) for key in _DISTANCES if key in raw
    ]
    ends = zip(("low", "high"), raw.get("range", ()), strict=False)
    written += [(end, value, ("range", i)) for i, (end, value) in enumerate(ends)]
    numbers: dict[str, float] = {}
    for key, value, at in written:
        try:
            number = parse_quantity(value, unit, bare=True, name=name)
        except QuantityError as error:
            desk.fault(file, (*path, *at), error.what, error.help)
            continue
        if key in _DISTANCES and (number < 0 or (key == "step" and not number)):
            least = "above zero" if key == "step" else "zero or more"
            desk.fault(
                file,
                (*path, *at),
                f"the {key} of {name} is not {least}",
                "write a distance, without a sign",
            )
            continue
        numbers[key] = number
    if "low" in numbers and "high" in numbers and numbers["low"] > numbers["high"]:
        desk.fault(
            file,
            (*path, "range"),
            f"the range of {name} is upside down",
            "write the lower end first",
        )
    return numbers


def read_assumption(
    desk: Desk, file: SourceFile, entry: FactEntry, raw: dict[str, Any], path: Path, layer: str
) -> Assumption | None:
    """Read a default for a given fact, with its reason."""
    if entry.origin != GIVEN:
        desk.fault(
            file,
            path,
            f"{entry.name} is {entry.described_origin}, and only given facts are assumed",
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
