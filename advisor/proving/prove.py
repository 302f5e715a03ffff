"""All proofs about a rule base."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.proving.builds import about_builds
from advisor.proving.encoding import Encoding
from advisor.proving.found import Found
from advisor.proving.states import about_rules
from advisor.proving.ties import about_ties
from advisor.proving.witness import Witnesses
from advisor.rulebase.model import RuleBase


def prove(base: RuleBase) -> Iterator[Found]:
    """Yield what is proved: about single rules, about ties, about setups without a build.

    Each has a witness on which the engine was run, and did what is said.
    """
    encoding = Encoding(base)
    if encoding.possible() is False:
        # Everything would be true of it; so nothing else is told.
        yield Found(
            "empty-domain",
            (),
            "No setup meets the declared domain, so nothing can be proved about it.",
            "Correct the conditions under `domain`.",
            ("domain",),
        )
        return
    witnesses = Witnesses(encoding)
    yield from about_rules(encoding, witnesses)
    yield from about_ties(encoding, witnesses)
    yield from about_builds(encoding, witnesses)
