"""Reading a rule base and all that it extends."""

from __future__ import annotations

from advisor.rulebase.assembly import Assembly
from advisor.rulebase.facts import read_vocabulary
from advisor.rulebase.files import Desk
from advisor.rulebase.layers import Stack
from advisor.rulebase.locate import base_folder
from advisor.rulebase.model import RuleBase


def read_rule_base(folder: str | None = None, *, cache: bool = True) -> RuleBase:
    """Read a rule base and all it extends.

    Args:
        folder: holding manifest.yaml; None for the base rules.
        cache: whether documents checked before may be taken from the cache.

    Raises:
        Faults: everything wrong with any file of any layer.
    """
    desk = Desk()
    stack = Stack(desk, cache=cache)
    layers = stack.open(base_folder() if folder is None else folder)
    base = Assembly(desk).rules(layers, read_vocabulary(desk, layers))
    if base is None and stack.used_cache:
        # A cached document has no places; the report must have them.
        return read_rule_base(folder, cache=False)
    desk.collector.raise_if_any()
    if base is None:  # pragma: no cover  # a missing base always leaves a fault
        raise AssertionError("a rule base was refused without a fault")
    return base
