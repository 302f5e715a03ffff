"""What all tests share: those marked `untraced` run without the tracer; no example is timed."""

from __future__ import annotations

import sys
from collections.abc import Generator

import pytest
from hypothesis import settings

# How long an example takes says nothing on a machine that has other work.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, object, object]:
    """Run a test that is marked so without tracing.

    The plugin's own mark does not do it in a worker process: another tracer takes over there.
    """
    if item.get_closest_marker("untraced") is None:
        return (yield)
    tracer = sys.gettrace()
    sys.settrace(None)
    try:
        return (yield)
    finally:
        sys.settrace(tracer)
