"""Checking a rule base: what is wrong with it as written, and what can be proved about it.

What a reader refuses is found first, and alone. Of what can be read, much is found by looking:
rules that repeat each other, sources nobody cites, numbers no fact can reach. The rest is proved
over the declared domain by an outside solver, which is an extra: without it the findings by looking
remain, and the report says what is missing.

A house is checked with what it lies over. What concerns only rules of the layers under it is told,
and fails nothing: a house cannot edit them.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from advisor.checked import KINDS, LOOKED_UP, PROVED, READ, CheckReport, Finding
from advisor.decision import FactValue, Number, RuleBaseName
from advisor.engine.values import Value
from advisor.errors import Faults
from advisor.proving.found import Found
from advisor.proving.looking import look
from advisor.rulebase.locate import base_folder
from advisor.rulebase.model import PROVABLE, Acceptance, RuleBase, RuleEntry
from advisor.rulebase.read import read_rule_base
from advisor.vocabulary import NUMBERS

if TYPE_CHECKING:
    from advisor.proving.prove import Proofs

HINT = (
    "nothing was proved: the solver is not installed; add it, in the project's folder, with "
    "`pip install '.[prove]'`"
)
"""Told where proofs are wanted and cannot be tried."""

_WEIGHT = {"error": 0, "warning": 1, "note": 2}


def check_rules(folder: str | None = None, *, proofs: bool = True) -> CheckReport:
    """Check a rule base and tell all that is found, faults that refuse it included.

    Args:
        folder: holding manifest.yaml; None for the base rules.
        proofs: whether to prove what can be proved, too, which takes some seconds.

    Returns:
        The report; a rule base that cannot be read has its faults as findings, and nothing else.
    """
    where = base_folder() if folder is None else folder
    try:
        base = read_rule_base(where)
    except Faults as refused:
        return _refusal(where, refused)
    return check(base, proofs=proofs)


def check(base: RuleBase, *, proofs: bool = True) -> CheckReport:
    """Check a rule base that was read; see `check_rules`."""
    looked_up = list(look(base))
    provable = _proofs(base) if proofs else None
    found = [(LOOKED_UP, one) for one in looked_up]
    if provable is not None:
        told = _ToldAlready(looked_up)
        found += [(PROVED, one) for one in provable.found() if not told(one)]
    return _Report(base, provable).of(found, HINT if proofs and provable is None else "")


def _proofs(base: RuleBase) -> Proofs | None:
    """Return what can be proved, or None where there is no solver."""
    try:
        import z3  # noqa: F401
    except ImportError:
        return None
    from advisor.proving.prove import Proofs

    return Proofs(base)


def _refusal(folder: str, refused: Faults) -> CheckReport:
    name = os.path.basename(os.path.normpath(folder))
    findings = tuple(
        Finding(
            "refused",
            KINDS["refused"].level,
            _sentence(fault.what),
            _sentence(fault.help),
            fault.file,
            fault.line or 1,
            fault.column or 1,
            (),
            name,
            READ,
        )
        for fault in refused.faults
    )
    return CheckReport(RuleBaseName(name, "", "", (name,)), 0, findings, (), proved=False)


def _sentence(told: str) -> str:
    """Return words with a capital, and a mark at the end if they have none."""
    mark = "" if told.endswith((".", "?", "!")) or not told else "."
    return f"{told[:1].upper()}{told[1:]}{mark}"


class _ToldAlready:
    """Tells whether something proved only follows from what was found by looking."""

    def __init__(self, looked_up: Iterable[Found]) -> None:
        self._causes: dict[str, set[str]] = {}
        for one in looked_up:
            for finding in _FOLLOWS.get((one.finding, one.path[:1]), ()):
                for rule in one.rules:
                    self._causes.setdefault(finding, set()).add(rule)

    def __call__(self, one: Found) -> bool:
        causes = self._causes.get(one.finding, set())
        # Of several rules that cannot hold together one alone may be the cause.
        return len(one.rules) == 1 and one.rules[0] in causes


_FOLLOWS: dict[tuple[str, tuple[str | int, ...]], tuple[str, ...]] = {
    ("contradictory-bounds", ("when",)): ("never-fires",),
    ("contradictory-bounds", ("unless",)): ("exception-never-holds",),
    ("threshold-outside-range", ("when",)): ("never-fires",),
    ("threshold-outside-range", ("unless",)): ("exception-never-holds",),
    ("threshold-outside-range", ("then",)): ("never-matters", "no-build"),
    ("contradictory-bounds", ("then",)): ("never-matters", "no-build"),
    ("near-duplicate", ()): ("never-matters",),
    ("demand-nothing-meets", ("then",)): ("no-build",),
}
"""What may be proved just because of something found by looking, by the part that has it."""


class _Report:
    """Puts what was found into its places and words, and sorts out what is accepted."""

    def __init__(self, base: RuleBase, provable: Proofs | None) -> None:
        self.base = base
        self.provable = provable
        self.top = base.layers[-1].name
        self.places = _Places(base)

    def of(self, found: Sequence[tuple[str, Found]], hint: str) -> CheckReport:
        base = self.base
        told = _each_once(self._finding(known_by, one) for known_by, one in found)
        accepted = [one for one in told if one.accepted]
        left = [one for one in told if not one.accepted]
        left += self._outdated(told)
        layers = tuple(f"{layer.name} {layer.version}" for layer in base.layers)
        return CheckReport(
            RuleBaseName(base.name, base.version, base.digest, layers),
            len(base.entries),
            tuple(sorted(left, key=self._order)),
            tuple(sorted(accepted, key=self._order)),
            self.provable is not None,
            hint,
        )

    def _order(self, one: Finding) -> tuple[bool, int, str, int, int, str, tuple[str, ...]]:
        weight = _WEIGHT[one.level]
        return (not one.own, weight, one.file, one.line, one.column, one.finding, one.rules)

    def _finding(self, known_by: str, one: Found) -> Finding:
        entries = [self.base.entries[rule] for rule in one.rules]
        if entries:
            # A finding on rules of several layers is told where it can be mended.
            beside = next((entry for entry in entries if entry.layer == self.top), entries[0])
            path = one.path if beside is entries[0] else ()
            file, line, column = self.places.of_rule(beside, path)
            layer = beside.layer
        elif one.path[0] == "domain":
            file, line, column, layer = self.places.of_domain()
        else:
            file, line, column, layer = self.places.of_source(str(one.path[-1]))
        return Finding(
            one.finding,
            KINDS[one.finding].level,
            one.says,
            one.remedy,
            file,
            line,
            column,
            one.rules,
            layer,
            known_by,
            {name: self._shown(name, value) for name, value in one.witness.items()},
            one.shows,
            one.free,
            self._accepted(one.finding, entries),
            own=layer == self.top,
        )

    def _shown(self, fact: str, value: Value) -> FactValue:
        entry = self.base.vocabulary[fact]
        return Number(value, entry.unit) if entry.kind in NUMBERS else value

    def _accepted(self, finding: str, entries: Sequence[RuleEntry]) -> str:
        rules = {entry.id for entry in entries}
        for entry in entries:
            for one in entry.accepts:
                if _covers(one, finding, rules):
                    return one.because
        return ""

    def _outdated(self, told: Sequence[Finding]) -> Iterator[Finding]:
        """Yield acceptances of the top layer that nothing was found for, nor could be by proof."""
        for entry in self.base.entries.values():
            if entry.layer != self.top:
                continue
            for i, accepted in enumerate(entry.accepts):
                if any(
                    entry.id in one.rules and _covers(accepted, one.finding, one.rules)
                    for one in told
                ) or self._may_be(accepted, entry.id):
                    continue
                file, line, column = self.places.of_rule(entry, ("accept", i))
                beside = f" with {', '.join(accepted.others)}" if accepted.others else ""
                yield Finding(
                    "acceptance-outdated",
                    KINDS["acceptance-outdated"].level,
                    f"`{entry.id}` accepts {accepted.finding}{beside}; that is not found any more.",
                    "Take the acceptance away.",
                    file,
                    line,
                    column,
                    (entry.id,),
                    entry.layer,
                    LOOKED_UP,
                )

    def _may_be(self, accepted: Acceptance, rule_id: str) -> bool:
        """Tell whether something provable may well be so, though it was not found."""
        if accepted.finding not in PROVABLE:
            return False
        rules = {rule_id, *accepted.others}
        return self.provable is None or not self.provable.is_gone(accepted.finding, rules)


def _each_once(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings without those that say the same of the same place, if of another setup."""
    found: dict[object, Finding] = {}
    for one in findings:
        said = (one.finding, one.rules, one.says, one.file, one.line, one.column)
        found.setdefault(said, one)
    return list(found.values())


def _covers(accepted: Acceptance, finding: str, rules: Iterable[str]) -> bool:
    return accepted.finding == finding and set(accepted.others) <= set(rules)


class _Places:
    """Finds where things stand in the files of a rule base, read only if something is found."""

    def __init__(self, base: RuleBase) -> None:
        self.base = base
        self._documents: dict[str, object] = {}

    def _document(self, path: str) -> object:
        from advisor.documents import read_document

        if path not in self._documents:
            try:
                self._documents[path] = read_document(path, about="rules")
            except Faults:
                # It was read a moment ago; who takes it away meanwhile gets the line of the rule.
                self._documents[path] = None
        return self._documents[path]

    def of_rule(self, entry: RuleEntry, path: Sequence[str | int] = ()) -> tuple[str, int, int]:
        """Return file, line and column of a part of a rule, or of the rule."""
        from advisor.documents import Document

        document = self._document(entry.file)
        if not isinstance(document, Document):
            return _near(entry.file), entry.line, 1
        at = next(i for i, raw in enumerate(document.data) if raw.get("id") == entry.id)
        for length in range(len(path), -1, -1):
            part = (at, *path[:length])
            try:
                where = document.where_key if path[:length] else document.where
                line, column = where(*part)
            except (KeyError, IndexError):
                continue
            return _near(entry.file), line, column
        return _near(entry.file), entry.line, 1

    def of_domain(self) -> tuple[str, int, int, str]:
        """Return the place of the highest domain that a layer declares."""
        from advisor.documents import Document

        for layer in reversed(self.base.layers):
            path = os.path.join(layer.folder, "manifest.yaml")
            document = self._document(path)
            if isinstance(document, Document) and document.data.get("domain"):
                return _near(path), *document.where_key("domain"), layer.name
        return self.base.layers[-1].folder, 1, 1, self.base.layers[-1].name

    def of_source(self, source: str) -> tuple[str, int, int, str]:
        """Return file, line, column and layer of a source."""
        from advisor.documents import Document

        for layer in self.base.layers:
            path = os.path.join(layer.folder, "sources.yaml")
            if not os.path.isfile(path):
                continue
            document = self._document(path)
            if isinstance(document, Document) and source in document.data.get("sources", {}):
                line, column = document.where_key("sources", source)
                return _near(path), line, column, layer.name
        return self.base.layers[-1].folder, 1, 1, self.base.layers[-1].name


def _near(path: str) -> str:
    """Return a path from where the user stands, if it lies below that."""
    here = os.path.relpath(path)
    return path if here.startswith(os.pardir) else here


__all__ = ["HINT", "KINDS", "check", "check_rules"]
