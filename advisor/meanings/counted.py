"""What counting over many setups gives, in columns or one by one."""

from typing import NamedTuple


class Counted(NamedTuple):
    """How many setups differ, in all and by topic, and where some of those are.

    What differs in undecided rules alone is counted apart, as `opened`. `examples` are places of
    setups among those drawn, few for each topic, that differ in what stands if any do.
    """

    looked_at: int
    outside: int
    changed: int
    opened: int
    by_topic: dict[str, int]
    opened_by_topic: dict[str, int]
    examples: dict[str, list[int]]
