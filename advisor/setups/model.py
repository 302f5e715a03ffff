"""What was stated, and what there is to choose from."""

from collections.abc import Mapping
from typing import NamedTuple

from advisor.engine.values import Value


class Given(NamedTuple):
    """A stated value and where it stands; `written` is what the person wrote."""

    value: Value
    file: str
    line: int
    column: int
    written: str


class Setup(NamedTuple):
    """Everything a person stated, by fact name."""

    title: str
    facts: Mapping[str, Given]
    taken: Mapping[str, Given] = {}  # group of facts -> the stock number it is taken under


class Item(NamedTuple):
    """A vane or a head of the stock: its number, its facts, and where it is listed."""

    id: str
    facts: Mapping[str, Value]
    file: str
    line: int


class Stock(NamedTuple):
    """What can be chosen from: whole vanes and heads, and single options."""

    name: str
    items: Mapping[str, tuple[Item, ...]]  # group of facts ("vane", "point") -> items as listed
    options: Mapping[str, tuple[Value, ...]]  # fact -> values
    typical: frozenset[str] = frozenset()  # groups that hold usual sizes, nothing on a shelf


EMPTY_STOCK = Stock("nothing listed", {}, {})
