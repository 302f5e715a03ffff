"""What a check of a rule base finds: frozen data that travels through JSON."""

from collections.abc import Mapping
from typing import NamedTuple

from advisor.decision import FactValue, RuleBaseName

FORMAT = 1

PROVED, LOOKED_UP, READ = "proved", "looked-up", "read"
"""How a finding is known: by proof over the domain, from the rules as written, while reading."""

ERROR, WARNING, NOTE = "error", "warning", "note"
"""How much a finding weighs, in the words of SARIF."""


class Kind(NamedTuple):
    """One sort of finding: its weight and what it means, in one sentence."""

    level: str
    means: str


KINDS: Mapping[str, Kind] = {
    "refused": Kind(ERROR, "The rule base cannot be read as it stands."),
    "never-fires": Kind(ERROR, "No setup of the domain lets the rule fire."),
    "always-set-aside": Kind(ERROR, "Wherever the rule fires, another one sets it aside."),
    "never-matters": Kind(WARNING, "The rule stands somewhere, and nothing hangs on it there."),
    "exception-never-holds": Kind(
        WARNING, "The exception holds nowhere where the rule's condition does."
    ),
    "open-tie": Kind(WARNING, "Two rules can stand together and ask what cannot be had together."),
    "no-build": Kind(WARNING, "Some setup is left without a build by rules that ask for one."),
    "threshold-outside-range": Kind(
        WARNING, "A test of a number comes out alike over the whole range of its fact."
    ),
    "contradictory-bounds": Kind(ERROR, "Tests of one fact that must hold together cannot."),
    "near-duplicate": Kind(
        WARNING, "Two rules of a strength conclude the same, one in more cases."
    ),
    "demand-nothing-meets": Kind(WARNING, "Nothing that is listed to choose from meets a demand."),
    "carries-more-than-it-should": Kind(
        WARNING, "A rule that others override takes a caution or a step with it."
    ),
    "should-overrides-stop": Kind(
        ERROR,
        "A rule with neither a stop nor a must sets aside or replaces a stop of a layer under it.",
    ),
    "dropped-override": Kind(
        WARNING, "A replacement leaves out what the rule before it had overridden."
    ),
    "empty-domain": Kind(ERROR, "No setup meets what the manifest declares of all of them."),
    "source-never-cited": Kind(NOTE, "No rule cites the source."),
    "acceptance-outdated": Kind(WARNING, "A rule accepts a finding that no longer occurs."),
}
"""Every sort of finding by its name."""


class Finding(NamedTuple):
    """One thing that a check found; `level` is its weight: error, warning or note.

    `witness` states a setup (values by fact, numbers in their unit) on which the engine was run,
    and `shows` says what it did there; both are empty where there is nothing to run. `free` are
    computed facts that a proof took for free within their range. `accepted` is the reason for
    which a rule accepts the finding. What concerns layers under the top one alone is not `own`.
    """

    finding: str
    level: str
    says: str
    remedy: str
    file: str
    line: int
    column: int
    rules: tuple[str, ...]
    layer: str
    known_by: str
    witness: Mapping[str, FactValue] = {}
    shows: str = ""
    free: tuple[str, ...] = ()
    accepted: str = ""
    own: bool = True  # whether it concerns the top layer


class CheckReport(NamedTuple):
    """All that a check of a rule base found, most weighty first, and what of it is accepted.

    `proved` tells whether proofs were tried; if they should have been and could not, `hint` says
    what to do about it.
    """

    rulebase: RuleBaseName
    rules: int  # how many were checked
    findings: tuple[Finding, ...]
    accepted: tuple[Finding, ...]
    proved: bool
    hint: str = ""
    format: int = FORMAT

    @property
    def exit_status(self) -> int:
        """The exit status of a command that ends with this.

        3 if the rules were refused, 2 if proofs were wanted and could not be tried, 1 if anything
        was found in the top layer that no rule accepts, else 0.
        """
        if any(finding.finding == "refused" for finding in self.findings):
            return 3
        if self.hint:
            return 2
        return 1 if any(finding.own for finding in self.findings) else 0
