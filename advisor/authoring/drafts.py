"""Files to be written: several at once, all of them or none."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from typing import NamedTuple


class Draft(NamedTuple):
    """A file as it shall be; `before` is what stands there now, None if there is nothing."""

    path: str
    text: str
    before: str | None

    @property
    def changes(self) -> bool:
        """Tell whether writing it would change anything."""
        return self.text != self.before


def put_all(drafts: Iterable[Draft], put: Callable[[str, str], None]) -> tuple[str, ...]:
    """Write every draft that changes something, and return the paths of these.

    If one cannot be written, those written before it are put back as they were.

    Args:
        drafts: the files; folders that are missing are made.
        put: writes one file whole or not at all, given its path and text.

    Raises:
        OSError: what `put` raises, after putting back.
    """
    written: list[Draft] = []
    try:
        for draft in drafts:
            if draft.changes:
                os.makedirs(os.path.dirname(draft.path) or os.curdir, exist_ok=True)
                put(os.path.realpath(draft.path), draft.text)
                written.append(draft)
    except BaseException:  # an interruption puts back too
        for draft in reversed(written):
            if draft.before is None:
                os.unlink(draft.path)
            else:
                put(os.path.realpath(draft.path), draft.before)
        raise
    return tuple(draft.path for draft in written)
