"""What is found about a rule base, before it has its place in a file and its words for values."""

from collections.abc import Mapping
from typing import NamedTuple

from advisor.engine.values import Value


class Found(NamedTuple):
    """A finding about rules, the first of which it is told beside.

    `path` leads to the part of that rule it is about. `witness` states a setup, on which the engine
    does what `shows` says; `free` are computed facts that count as free within their range.
    """

    finding: str
    rules: tuple[str, ...]
    says: str
    remedy: str
    path: tuple[str | int, ...] = ()
    witness: Mapping[str, Value] = {}
    shows: str = ""
    free: tuple[str, ...] = ()
