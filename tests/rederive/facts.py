"""What rechecking reads of facts and of stock: what a vocabulary declares, what a shelf holds."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from advisor.documents import Document
from advisor.quantities import QuantityError, parse_quantity

LISTS = {"vanes": "vane", "heads": "point", "shafts": "shaft"}
"""Lists of a stock file, and the group of facts that their entries tell."""

NUMBERS = ("count", "quantity")
UNREADABLE = (KeyError, TypeError, ValueError, AttributeError, IndexError, QuantityError)
"""What reading raises for a file that is no rule base or stock."""

Value = Any
"""A text, a flag, a number, a tuple of texts, or None where there is no value."""


class Fact(NamedTuple):
    """What a vocabulary declares of one fact; numbers are in its unit."""

    name: str
    label: str
    kind: str
    origin: str
    several: bool
    choices: Mapping[str, str]
    unit: str
    bare: bool
    low: float | None
    high: float | None
    tolerance: float | None
    within: float
    step: float | None
    pairs: bool
    question: str

    def read(self, raw: Any, *, in_rule: bool = False) -> Value:
        """Read a value as it is written; ValueError if the fact cannot take it.

        Rules may leave the unit out and name thresholds outside the range.
        """
        if self.kind == "choice":
            listed = raw if isinstance(raw, list) and self.several else [raw]
            if any(one not in self.choices for one in listed):
                raise ValueError(f"{raw!r} is no choice of {self.name}")
            return tuple(dict.fromkeys(listed)) if self.several else raw
        if self.kind in ("flag", "text"):
            if not isinstance(raw, bool if self.kind == "flag" else str):
                raise ValueError(f"{raw!r} is no {self.kind}")
            return raw
        try:
            value = parse_quantity(raw, self.unit, bare=self.bare or in_rule, name=self.name)
        except QuantityError as error:
            raise ValueError(str(error)) from None
        if self.kind == "count":
            value = int(value)
        if not in_rule and not self.takes(value):
            raise ValueError(f"{raw!r} is outside the range of {self.name}")
        return value

    def takes(self, value: float) -> bool:
        """Tell whether a number lies in the fact's range."""
        return self.low is None or self.high is None or self.low <= value <= self.high


class Item(NamedTuple):
    """A vane, head or shaft of a stock."""

    id: str
    facts: Mapping[str, Value]
    file: str
    line: int


class Stock(NamedTuple):
    """What there is to choose from, and which groups are only usual sizes."""

    name: str
    items: Mapping[str, tuple[Item, ...]]
    options: Mapping[str, tuple[Value, ...]]
    typical: frozenset[str] = frozenset()


def stock_of(document: Document, facts: Mapping[str, Fact]) -> Stock:
    """Read a stock document; one of `UNREADABLE` where it is none."""
    body = dict(document.data)
    body.pop("schema", None)
    name = str(body.pop("stock", ""))
    items = {}
    for key, group in LISTS.items():
        if key in body:
            items[group] = tuple(
                _item(raw, group, facts, document.path, f"no. {i + 1}", document.where(key, i)[0])
                for i, raw in enumerate(body.pop(key))
            )
    options = {}
    for fact, raw, _ in flat(body, facts):
        listed = raw if isinstance(raw, list) else [raw]
        options[fact] = tuple(dict.fromkeys(facts[fact].read(one) for one in listed))
    return Stock(name, items, options)


def _item(
    raw: Mapping[str, Any], group: str, facts: Mapping[str, Fact], file: str, number: str, line: int
) -> Item:
    told = {name: value for name, value in raw.items() if name != "id"}
    found = {name: facts[name].read(value) for name, value, _ in flat(told, facts, group)}
    return Item(str(raw.get("id", number)), found, file, line)


def flat(
    body: Mapping[str, Any], facts: Mapping[str, Fact], *path: str
) -> Iterator[tuple[str, Any, tuple[str, ...]]]:
    """Yield the facts of a mapping that nests by the dots of their names.

    Each with its name, what is written, and the path that leads to it.
    """
    for key, raw in body.items():
        here = (*path, str(key))
        name = ".".join(here)
        if name in facts:
            yield name, raw, here
        elif isinstance(raw, dict):
            yield from flat(raw, facts, *here)
        elif raw is not None:
            raise ValueError(f"{name} is no fact")
