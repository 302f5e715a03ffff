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

FORMAT = "3"
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
        total.update(f"\0{name}\0{len(contents[name])}\0".encode())
        total.update(contents[name])
    return total.hexdigest()


def load(name: str) -> Any:
    """Return what was kept under a name, or None."""
    where = folder()
    if where is None:
        return None
    try:
        with open(os.path.join(where, name + ".json"), encoding="utf-8") as file:
            return json.load(file)
    except (OSError, ValueError):
        return None


def save(name: str, data: Any) -> None:
    """Keep data under a name; a cache that cannot be written is done without."""
    where = folder()
    if where is None:
        return
    try:
        os.makedirs(where, mode=0o700, exist_ok=True)
        part = os.path.join(where, f"{name}.{os.getpid()}.part")
        with open(part, "w", encoding="utf-8") as file:
            json.dump(data, file, separators=(",", ":"))
        os.replace(part, os.path.join(where, name + ".json"))
        _forget_oldest(where)
    except OSError:
        return


def _forget_oldest(where: str) -> None:
    """Keep the folder small: every edit of a rule file leaves a file behind."""
    files = [entry for entry in os.scandir(where) if entry.name.endswith(".json")]
    files.sort(key=lambda entry: entry.stat().st_mtime)
    for entry in files[:-_MOST_FILES]:
        os.unlink(entry.path)
