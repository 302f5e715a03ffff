"""Judgements of the shipped examples, for tests that ask them why."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

from advisor.judge import Judgement
from advisor.pipeline import offered_stock, taken
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.setups.model import Setup, Stock
from advisor.setups.read import read_setup, read_stock

ROOT = Path(__file__).resolve().parents[1]
BASE = read_rule_base()
QUILLMERE = ROOT / "examples" / "quillmere"
HOUSE = read_rule_base(str(QUILLMERE / "rules"), cache=False)
STOCK = read_stock(str(QUILLMERE / "stock.yaml"), HOUSE.vocabulary)

FLETCHED = (
    "discipline=[hunting]",
    "shaft.outside_diameter=6.2 mm",
    "fletching.count=3",
    "fletching.direction=right",
    "fletching.offset=2 deg",
    "vane.length=2.6 in",
    "vane.height=0.5 in",
)
"""A fletching without a head: the heads are the options."""

JUDGED = (
    *FLETCHED,
    "point.type=fixed-blade",
    "bench.clamp=right",
    "fletching.rear_gap=1 in",
    "vane.silhouette=shield",
    "vane.stiffness=stiff",
    "vane.material=urethane",
    "vane.mass=8.5 gr",
    "vane.thickness=0.65 mm",
    "vane.foot_width=2.6 mm",
)
"""All of it: there is one build, and it is judged."""

FILES = {
    **{p.stem: p for p in sorted((ROOT / "examples").glob("*.yaml")) if p.stem != "mistyped"},
    **{f"quillmere {p.stem}": p for p in sorted((QUILLMERE / "customers").glob("*.yaml"))},
}
STATED: dict[str, Sequence[str]] = {"heads": FLETCHED, "judged": JUDGED, "nothing": ()}
THIN_AIR = "fixed-blade-hunting in thin air"
"""Its numbers use a fact that none of them asks for."""
GARDEN = ROOT / "tests" / "garden"
GARDENS = {
    "garden tied": ("plot", ["bed.soil=clay", "bed.wet=true", "gardener.hands=6"]),
    "garden frozen": ("plot", ["bed.soil=clay", "bed.frost=true", "gardener.hands=7"]),
    "garden leeks": (
        "plot",
        ["bed.soil=sand", "bed.plants=[leek, pea]", "bed.width=50 cm", "bed.frost=true"],
    ),
    "garden fenced": ("fenced", ["bed.soil=clay", "gardener.hands=2", "bed.plants=[leek]"]),
}
"""Beds in which rules tie, stop, are open, or come to the same."""
NAMES = (*FILES, *STATED, THIN_AIR, *GARDENS)


def judged(setup: Setup, base: RuleBase, stock: Stock | None) -> Judgement:
    """Judge a setup as `advise` does."""
    offered = offered_stock(base, stock)
    return Judgement(taken(setup, base, offered), base, offered)


@cache
def judgement_of(name: str) -> Judgement:
    """Return the judgement of one of NAMES."""
    if name in STATED:
        return judged(read_setup(None, STATED[name], BASE.vocabulary), BASE, None)
    if name == THIN_AIR:
        sets = ["air.viscosity=19 mm2/s", "air.density=0.9 kg/m3"]
        path = str(FILES["fixed-blade-hunting"])
        return judged(read_setup(path, sets, BASE.vocabulary), BASE, None)
    if name in GARDENS:
        folder, sets = GARDENS[name]
        base = read_rule_base(str(GARDEN / folder), cache=False)
        return judged(read_setup(None, sets, base.vocabulary), base, None)
    by = (HOUSE, STOCK) if name.startswith("quillmere ") else (BASE, None)
    return judged(read_setup(str(FILES[name]), [], by[0].vocabulary), *by)


def ruled_by(name: str) -> tuple[RuleBase, Stock | None]:
    """Return the rules and the stock that one of NAMES is judged by."""
    return judgement_of(name).base, STOCK if name.startswith("quillmere ") else None


def asked_of(name: str, *what: str, every: int = 1) -> list[str]:
    """Return those of some names that there are, and every so manieth rule; of a bed everything."""
    base = judgement_of(name).base
    if name in GARDENS:
        return [*base.vocabulary.entries, *base.entries]
    known = [one for one in what if one in base.vocabulary or one in base.entries]
    return [*known, *list(base.entries)[::every]]
