"""What becomes of one part of a Decision that is derived anew."""

from typing import NamedTuple


class Line(NamedTuple):
    """One part of a Decision and what became of it: it holds, does not, or nobody could look.

    `field` leads to the part by names and, in lists, numbers from 0; `found` is what the Decision
    has there and `expected` what the rules and the givens come to, both as JSON.
    """

    field: str
    holds: bool | None
    found: str = ""
    expected: str = ""
    words: str = ""
