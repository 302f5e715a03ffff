"""Leaving out of a setup what is not needed for what it shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from advisor.engine.values import Value


def needed_of(
    stated: Mapping[str, Value], suffices: Callable[[Mapping[str, Value]], bool]
) -> dict[str, Value]:
    """Return a part of some statements that suffices, no single one of which can be left out.

    Halves are tried first, then quarters, so that a small part of many is found soon.
    """
    kept = list(stated)
    size = max(1, len(kept) // 2)
    while True:
        at, dropped = 0, False
        while at < len(kept):
            rest = kept[:at] + kept[at + size :]
            if suffices({name: stated[name] for name in rest}):
                kept, dropped = rest, True
            else:
                at += size
        if size == 1 and not dropped:
            return {name: stated[name] for name in kept}
        size = max(1, size // 2)
