"""All proofs about a rule base."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property

from advisor.proving.builds import about_builds, conflicting
from advisor.proving.encoding import Encoding
from advisor.proving.found import Found
from advisor.proving.musts import Musts
from advisor.proving.states import Matters, about_rules
from advisor.proving.ties import about_ties, can_tie
from advisor.proving.witness import Witnesses
from advisor.rulebase.model import RuleBase


class Proofs:
    """What can be proved about a rule base."""

    def __init__(self, base: RuleBase) -> None:
        self.base = base
        self.encoding = Encoding(base)
        self._empty = self.encoding.possible() is False

    @cached_property
    def _musts(self) -> Musts:
        return Musts(self.base)

    def found(self) -> Iterator[Found]:
        """Yield what is proved: about single rules, about ties, about setups without a build.

        Each has a witness on which the engine was run, and did what is said.
        """
        if self._empty:
            # Everything would be true of it; so nothing else is told.
            yield Found(
                "empty-domain",
                (),
                "No setup meets the declared domain, so nothing can be proved about it.",
                "Correct the conditions under `domain`.",
                ("domain",),
            )
            return
        witnesses = Witnesses(self.encoding)
        yield from about_rules(self.encoding, witnesses)
        yield from about_ties(self.encoding, witnesses)
        yield from about_builds(self.encoding, witnesses, self._musts)

    def is_gone(self, finding: str, rules: Iterable[str]) -> bool:
        """Tell whether it is proved that no finding of a sort can be about all of these rules.

        What was found does not tell that: one finding may be left out for another that explains
        it, or for want of a setup to show it on.
        """
        wanted = frozenset(rules)
        if self._empty:
            return False
        if finding == "no-build":
            return conflicting(self._musts, wanted) is False
        if finding == "open-tie":
            return not can_tie(self.encoding, wanted)
        return all(
            self._is_sound(finding, rule_id)
            for rule_id in self.base.entries
            if wanted <= self._told_of(finding, rule_id)
        )

    def _told_of(self, finding: str, rule_id: str) -> frozenset[str]:
        """Return the rules that a finding about one rule names."""
        if finding != "always-set-aside":
            return frozenset((rule_id,))
        program = self.base.program
        rule = program.rules[program.place[rule_id]]
        return frozenset((rule_id, *(winner.id for winner in self.encoding.winners(rule))))

    def _is_sound(self, finding: str, rule_id: str) -> bool:
        """Tell whether it is proved that a rule has no fault of a sort."""
        encoding, program = self.encoding, self.base.program
        rule, terms = program.rules[program.place[rule_id]], encoding.rules[rule_id]
        if finding == "never-fires":
            return encoding.possible(terms.fired) is True
        if finding == "always-set-aside":
            return encoding.possible(terms.stands) is True or not encoding.winners(rule)
        if finding == "never-matters":
            return Matters(encoding).can(rule) is True
        if rule.unless is None:
            return True
        return encoding.possible(terms.when.yes, terms.unless.yes) is True
