from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def no_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read every rule base anew, except where a test is about the cache."""
    monkeypatch.setenv("ADVISOR_CACHE", "off")
