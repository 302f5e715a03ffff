"""Setups that are decided on, in process and once each, for tests of saved Decisions."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from advisor.pipeline import advise
from advisor.render.json import render
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.seals import seal as seal_of
from advisor.setups.model import Stock
from advisor.setups.read import read_setup, read_stock

ROOT = Path(__file__).resolve().parents[1]
EXAMPLES = ROOT / "examples"
HOUSE = EXAMPLES / "quillmere"
GARDEN = ROOT / "tests" / "garden"
FLETCHED = (
    "discipline=[hunting]",
    "shaft.outside_diameter=5.8 mm",
    "vane.length=2.6 in",
    "vane.height=0.5 in",
    "vane.silhouette=shield",
    "vane.stiffness=stiff",
    "vane.material=urethane",
    "vane.mass=8.5 gr",
    "fletching.count=4",
    "fletching.direction=right",
    "fletching.offset=2 deg",
    "bench.clamp=right",
)
"""A fletching that is given, so that the heads are the options."""

Plain = dict[str, Any]
Way = tuple[str | int, ...]


class Job(NamedTuple):
    """A setup to decide on, and to recheck."""

    setup: str = ""
    sets: tuple[str, ...] = ()
    house: bool = False
    weigh: bool = False
    rules: str = ""  # of another rule base than the base or the house


def files_of(job: Job) -> tuple[str | None, str | None]:
    """Return the folder of the rules and the file of the stock."""
    if job.house:
        return str(HOUSE / "rules"), str(HOUSE / "stock.yaml")
    return job.rules or None, None


@cache
def inputs_of(rules: str | None, stock: str | None) -> tuple[RuleBase, Stock | None]:
    """Read a rule base and a stock once."""
    base = read_rule_base(rules)
    return base, None if stock is None else read_stock(stock, base.vocabulary)


@cache
def written(job: Job) -> str:
    """Return the Decision of a job as it is saved."""
    base, stock = inputs_of(*files_of(job))
    setup = read_setup(job.setup or None, list(job.sets), base.vocabulary)
    return render(advise(setup, base, stock, weigh=job.weigh), False)


def saved(job: Job) -> Plain:
    """Return the Decision of a job as it is read back, to be edited at will."""
    found: Plain = json.loads(written(job))
    return found


def sealed(found: Plain) -> Plain:
    """Seal an edited Decision anew, as whoever means it would."""
    body = {name: part for name, part in found.items() if name != "seal"}
    return {**body, "seal": seal_of(body)}


def ways(part: Any, at: Way = ()) -> Iterator[Way]:
    """Yield the way to every part of plain data."""
    for key, value in part.items() if isinstance(part, dict) else enumerate(part):
        yield (*at, key)
        if isinstance(value, (dict, list)):
            yield from ways(value, (*at, key))


def otherwise(value: Any) -> Any:
    """Return another value for a leaf, as near as can be told from it."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, float):
        return value * 1.00000001 if value else 1e-9
    return value + 1 if isinstance(value, int) else f"{value}x"
