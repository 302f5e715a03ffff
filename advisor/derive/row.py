"""What a row of the table of computed facts is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple


class Computed(NamedTuple):
    """How one fact is computed.

    `call` takes and returns SI (or plain numbers and choices), in the order of `needs`; a need
    that is not there comes as None. `by` is one of the needs, a choice, and `cases` tells which of
    the others are asked for with each of its values only. An `optional` need is never asked for. On
    an `idle` need nothing hangs where the other it names is 0: the length of a part without mass.
    """

    fact: str
    needs: tuple[str, ...]
    call: Callable[..., float]
    function: str
    source: str
    band: str = ""
    by: str = ""
    cases: Mapping[str, tuple[str, ...]] | None = None
    optional: tuple[str, ...] = ()
    idle: Mapping[str, str] | None = None
