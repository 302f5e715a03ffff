"""A cache of rule-base documents that were read and checked before, as JSON.

Reading YAML with places and checking it against a schema takes ten times as long as the advice.
The key is a digest of the files' bytes and of the program's own version, so a changed file is
always read anew; the cache holds plain data, never code. Losing it costs a moment, no more.
"""

from __future__ import annotations

import hashlib
import json
import os
from typing import Any

FORMAT = "5"
"""Raised whenever what the reader accepts or keeps changes."""

_MOST_FILES = 32


def folder() -> str | None:
    """Return the cache folder, or None where the user wants none (ADVISOR_CACHE=off)."""
    chosen = os.environ.get("ADVISOR_CACHE", "")
    if chosen == "off":
        return None
    if chosen:
        return chosen
    root = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    return os.path.join(root, "arrow-advisor")


def key(contents: dict[str, bytes]) -> str:
    """Return the name under which these files' documents are kept."""
    total = hashlib.sha256(FORMAT.encode())
    for name in sorted(contents):
        # A file name need not be UTF-8.
        total.update(f"\0{name}\0{len(contents[name])}\0".encode(errors="surrogateescape"))
        total.update(contents[name])
    return total.hexdigest()


def load(name: str) -> Any:
    """Return what was kept under a name, or None; a file that was damaged holds nothing."""
    where = folder()
    if where is None:
        return None
    try:
        with open(os.path.join(where, name + ".json"), "rb") as file:
            kept, _, text = file.read().partition(b"\n")
    except OSError:
        return None
    return json.loads(text) if kept == _seal(text) else None


def save(name: str, data: Any) -> None:
    """Keep data under a name; a cache that cannot be written is done without."""
    where = folder()
    if where is None:
        return
    try:
        os.makedirs(where, mode=0o700, exist_ok=True)
        part = os.path.join(where, f"{name}.{os.getpid()}.part")
        text = json.dumps(data, separators=(",", ":")).encode()
        with open(part, "wb") as file:
            file.write(_seal(text) + b"\n" + text)
        os.replace(part, os.path.join(where, name + ".json"))
        _forget_oldest(where)
    except OSError:
        return


def _seal(text: bytes) -> bytes:
    """Return what stands before a text that is whole."""
    return hashlib.sha256(text).hexdigest().encode()


def _forget_oldest(where: str) -> None:
    """Keep the folder small: every edit of a rule file leaves a file behind."""
    files = [entry for entry in os.scandir(where) if entry.name.endswith(".json")]
    files.sort(key=lambda entry: entry.stat().st_mtime)
    for entry in files[:-_MOST_FILES]:
        os.unlink(entry.path)
