"""A mark for tests that run again and again what others run too, and have coverage from those.

Tracing every line makes them several times slower, which is most of the time of a whole run.
"""

import pytest

untraced = pytest.mark.untraced
