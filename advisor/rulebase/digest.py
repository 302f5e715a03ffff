"""The identity of a rule base: a digest of its meaning, whatever its files look like."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any


def canonical(data: Any) -> Any:
    """Return plain data with its numbers at nine digits, without a trailing `.0`."""
    if isinstance(data, bool) or data is None or isinstance(data, str):
        return data
    if isinstance(data, (int, float)):
        rounded = float(f"{data:.9g}")
        return int(rounded) if rounded == int(rounded) else rounded
    if isinstance(data, Mapping):
        return {str(key): canonical(value) for key, value in data.items()}
    return [canonical(item) for item in data]


def canonical_json(data: Any) -> str:
    """Return the one way in which data is written for a digest: sorted keys, no spaces."""
    return json.dumps(canonical(data), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def digest(layers: Iterable[Mapping[str, Any]]) -> str:
    """Return the SHA-256 of the layers, lowest first, in hexadecimal.

    Args:
        layers: each with `manifest`, `vocabulary`, `sources` and `rules` (by id), as read from
            the files. Cases, comments, file names and order do not count.
    """
    return hashlib.sha256(canonical_json(list(layers)).encode()).hexdigest()
