"""The seal of a Decision's JSON: it shows an edit that nobody meant."""

from __future__ import annotations

import hashlib
import json
from typing import Any


def seal(plain: dict[str, Any]) -> str:
    """Return the SHA-256 of a Decision's plain data, in hexadecimal.

    It is that of its canonical JSON in UTF-8: names sorted, no spaces, whole numbers without a
    point, so that a writer of JSON that drops the point breaks no seal. It shows an edit that
    nobody meant, and proves nothing: whoever edits on purpose can seal anew.
    """
    text = json.dumps(
        _whole(plain), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _whole(part: Any) -> Any:
    if isinstance(part, float) and part.is_integer():
        return int(part)
    if isinstance(part, dict):
        return {name: _whole(inner) for name, inner in part.items()}
    return [_whole(inner) for inner in part] if isinstance(part, list) else part
