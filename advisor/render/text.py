"""The Decision as plain text: what to build, why, what lost, what is assumed, what to ask.

Eighty columns, no box drawing. A reason shared by several rules is told once and referred to by
its number. Colour marks headings and warnings on a terminal; nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from math import prod

from advisor.decision import (
    Alternative,
    Decision,
    Evidence,
    FactValue,
    Number,
    Premise,
    Question,
    Reason,
)
from advisor.render.numbers import amount, plain
from advisor.render.page import INDENT, Page

_MOST_QUESTIONS = 6
_MOST_UNDECIDED = 8
_MOST_EQUALS = 4
_GOES_ALONG = ("mass", "thickness", "width")

_STATUS = {
    "stopped": "STOP: do not build this",
    "rejected": "No build satisfies every must",
    "judged": "The build as stated holds",
    "advised": "Build",
}


def render(decision: Decision, colour: bool) -> str:
    """Return the Decision as text, at most eighty columns wide."""
    page = Page(colour)
    teller = _Teller(decision, page)
    teller.tell()
    return page.text()


class _Teller:
    def __init__(self, decision: Decision, page: Page) -> None:
        self.d = decision
        self.page = page
        self.told: dict[str, int] = {}  # rule id -> number of its reason

    def tell(self) -> None:
        d = self.d
        self._title()
        for caution in d.cautions:
            if caution.level == "stop":
                self.page.head("Stop", "1;31")
                self.page.put(f"{caution.text} ({caution.rule})")
        if d.status in ("stopped", "rejected"):
            self._conflicts()
        self._build()
        self._why()
        self._lost()
        self._doubts()
        self._close_behind()
        self._numbers()
        self._not_known()
        self._cautions()
        self._steps()

    def _title(self) -> None:
        self.page.title(self.d.title or "Untitled setup", self.d.rulebase)

    # What to build

    def _build(self) -> None:
        d, page = self.d, self.page
        if d.status not in ("stopped", "rejected"):
            page.head(_STATUS[d.status])
        elif d.builds == 1:
            page.head("The build as stated")
        else:
            page.head("Nearest build")
            page.put("What breaks least; it is shown for comparison, not to be built.")
        for line in build_lines(d.build, d.items):
            page.put(line, hang=2)
        if d.stock and d.chosen:
            page.put(f"chosen from the stock `{d.stock}`")
        for note in d.notes:
            page.put(note, hang=2)
        unmet = [r for told in d.reasons.values() for r in told if _is_unmet(r)]
        for reason in unmet:
            verb = "Not proven:" if reason.outcome == "unproven" else "Does not meet"
            page.put(f"{verb} {reason.rule}, which asks that {reason.asks}.", hang=2)
        for fact in dict.fromkeys(u.fact for u in d.unsettled):
            waits = [u for u in d.unsettled if u.fact == fact]
            facts = ", ".join(dict.fromkeys(f for u in waits for f in u.facts))
            rules = ", ".join(dict.fromkeys(u.rule for u in waits))
            page.put(f"Not settled: {fact} waits for {facts} ({rules}).", hang=2)
        if d.rests_on:
            page.put(f"This verdict rests on assumed {', '.join(d.rests_on)}.")
        if d.equals:
            page.put(_as_good(d))
        for bounded in d.bounded:
            page.put(
                f"{bounded.fact} {plain(bounded.value)} is bounded by the stock, not by a rule: "
                f"{plain(bounded.beyond)} would break nothing."
            )

    # Numbers

    def _numbers(self) -> None:
        """Tell what was worked out, a line for each number."""
        d, page = self.d, self.page
        refused = {name: why.refused for name, why in d.unknown.items() if why.refused}
        if not d.numbers and not refused:
            return
        page.head("Numbers")
        labels = {name: d.labels.get(name, name) for name in d.numbers}
        width = max(map(len, labels.values()), default=0) + 2
        for name, number in d.numbers.items():
            star = "*" if number.rests_on else ""
            page.pair(labels[name], amount(number) + star, INDENT, width)
        resting = sorted({f for n in d.numbers.values() for f in n.rests_on})
        if resting:
            page.put(f"* rests on assumed {', '.join(resting)}")
        for reason in dict.fromkeys(refused.values()):
            names = [name for name, why in refused.items() if why == reason]
            page.put(f"{reason[0].upper()}{reason[1:]}: no {', '.join(names)}.", hang=2)

    # Why

    def _why(self) -> None:
        page = self.page
        shown = {
            fact: reasons for fact, reasons in self.d.reasons.items() if self._worth_telling(fact)
        }
        if not shown:
            return
        page.head("Why")
        for fact, reasons in shown.items():
            value = self.d.build.get(fact, self.d.numbers.get(fact, self.d.given.get(fact)))
            said = plain(value) if value is not None else "not known"
            page.lines.append(f"  {fact} {said}")
            quiet = [r for r in reasons if _is_quiet(r)]
            for reason in reasons:
                if reason not in quiet:
                    self._reason(reason)
            if quiet:
                page.put(f"musts met: {', '.join(r.rule for r in quiet)}", indent=4, hang=11)

    def _worth_telling(self, fact: str) -> bool:
        return fact in self.d.build or any(r.outcome != "met" for r in self.d.reasons[fact])

    def _reason(self, reason: Reason) -> None:
        """Tell a reason in full the first time, and by its number after that."""
        page = self.page
        word = reason.strength.replace("_", " ")
        mark = {"met": "", "broken": "  BROKEN", "unproven": "  unproven"}[reason.outcome]
        disputed = "  (disputed)" if reason.contested else ""
        number = self.told.get(reason.rule)
        if number is not None:
            page.put(f"{word:<10} {reason.rule}{mark}: see ({number})", indent=4)
            return
        number = self.told[reason.rule] = len(self.told) + 1
        code = "31" if reason.outcome == "broken" else "36"
        line = f"    {word:<10} {page.paint(reason.rule, code)} ({number}){mark}{disputed}"
        page.lines.append(line)
        page.put(f"asks that {reason.asks}", indent=15, hang=2)
        page.put(f"{reason.because} {evidence_words(reason.evidence)}", indent=15)
        told = premise_words(reason.premises)
        if told:
            page.put(told, indent=15)
        if reason.unless_open:
            page.put(f"its exception is open: {', '.join(reason.unless_open)} not stated", 15)

    # What lost, what could still change

    def _lost(self) -> None:
        d, page = self.d, self.page
        if d.set_aside:
            page.head("Set aside")
            for lost in d.set_aside:
                page.put(f"{lost.rule} lost to {lost.by}", hang=2)
                page.put(f"it said: {lost.says} {lost.because}", indent=9, hang=2)
                page.put(f"but: {lost.by_because}", indent=9, hang=2)
                if lost.not_stated:
                    page.put(f"not stated: {', '.join(lost.not_stated)}", indent=9, hang=2)
        if d.retired:
            page.head("Retired by the house")
            for retired in d.retired:
                by = f" for {retired.replacement}" if retired.replacement else ""
                page.put(f"{retired.rule} ({retired.by}{by}): {retired.because}", hang=2)
        if d.contested:
            page.head("Disputed")
            for dispute in d.contested:
                page.put(f"{dispute.rule}, by {_kind(dispute.by)}: {dispute.note}", hang=2)

    def _doubts(self) -> None:
        d, page = self.d, self.page
        if d.ties:
            page.head("Open ties", "1;33")
            for tie in d.ties:
                page.put(f"{tie.fact}: rules of equal standing disagree, and none is preferred")
                for side in tie.sides:
                    page.put(f"{side.rule} asks that {side.asks}: {side.because}", 9, hang=2)
        if d.stands_unless:
            page.head("Stands unless")
            for doubt in d.stands_unless:
                page.put(
                    f"{doubt.what} stands unless {doubt.by} comes to hold; not stated: "
                    f"{', '.join(doubt.facts)}",
                    hang=2,
                )
        if d.unproven:
            page.head("Unproven", "1;33")
            for unproven in d.unproven:
                lacks = ", ".join(unproven.facts)
                page.put(f"{unproven.rule} demands that {unproven.asks}; it lacks {lacks}", hang=2)

    # Other builds

    def _close_behind(self) -> None:
        d, page = self.d, self.page
        if d.alternatives:
            page.head("Close behind")
            for other in d.alternatives:
                page.put(f"{brief(other, d)}: {'; '.join(other.loses)}", hang=2)
        if d.rejected and d.status == "advised":
            page.head("Turned down")
            page.put(f"{d.builds - d.survivors} of {d.builds} builds break a must or carry a stop.")
            for rejection in d.rejected:
                page.put(f"{rejection.builds:>6}  {rejection.rule}: {rejection.asks}", hang=8)

    def _conflicts(self) -> None:
        d, page = self.d, self.page
        page.head(_STATUS[d.status], "1;31")
        every = "It" if d.builds == 1 else f"Every one of {d.builds} builds"
        page.put(f"{every} breaks a must or carries a stop.")
        for conflict in d.conflicts:
            if len(conflict.rules) == 1:
                page.put(f"No build satisfies {conflict.rules[0]}: {conflict.says[0]}", hang=2)
                if conflict.asks and conflict.asks[0]:
                    page.put(f"It asks that {conflict.asks[0]}.", indent=9, hang=2)
                continue
            page.put("These cannot hold together; one must give way:", hang=2)
            for rule, says in zip(conflict.rules, conflict.says, strict=True):
                page.put(f"{rule}: {says}", indent=9, hang=2)
        if d.more_conflicts:
            page.put("There are more such sets; the smallest are shown.")

    # What is not known

    def _not_known(self) -> None:
        d, page = self.d, self.page
        if d.assumed:
            page.head("Assumed")
            quiet = []
            for name, value in d.assumed.items():
                why = d.assumptions[name]
                if name in d.rests_on or why.by != d.rulebase.layers[0].split(" ")[0]:
                    page.put(f"{name} {plain(value)}: {why.because} ({why.by})", hang=2)
                else:
                    quiet.append(f"{name} {plain(value)}")
            if quiet:
                page.put(f"and, with less hanging on it, {', '.join(quiet)}", hang=2)
        if d.questions:
            page.head("Ask next")
            for question in d.questions[:_MOST_QUESTIONS]:
                page.put(f"{question.fact}: {question.asks}{_bears(question)}", hang=2)
            rest = [q.fact for q in d.questions[_MOST_QUESTIONS:]]
            if rest:
                page.put(f"Then: {', '.join(rest)}", hang=2)
            if not any(q.tried for q in d.questions):
                page.put("In the order the rules suggest; no answer was tried.", hang=2)
        if d.cannot_matter:
            page.put(f"Cannot matter here: {', '.join(d.cannot_matter)}", hang=2)
        live = [u for u in d.undecided if not u.overruled_by]
        if live:
            page.head("Undecided")
            for undecided in live[:_MOST_UNDECIDED]:
                page.put(f"{undecided.rule} lacks {', '.join(undecided.lacks)}", hang=2)
            if len(live) > _MOST_UNDECIDED:
                rest = [u.rule for u in live[_MOST_UNDECIDED:]]
                page.put(f"and {', '.join(rest)}", hang=2)

    # The bench

    def _steps(self) -> None:
        d, page = self.d, self.page
        if not d.steps or d.status in ("stopped", "rejected"):
            return
        page.head("Steps")
        phase = ""
        for number, step in enumerate(d.steps, 1):
            if step.phase != phase:
                phase = step.phase
                page.lines.append(f"  {phase}")
            page.pair(f"{number}.", f"{step.text} ({step.rule})", 4, 4)

    def _cautions(self) -> None:
        page = self.page
        cautions = [c for c in self.d.cautions if c.level != "stop"]
        if not cautions:
            return
        page.head("Cautions", "1;33")
        for caution in cautions:
            page.pair(caution.level, f"{caution.text} ({caution.rule})", 2, 9)


# Words


def _bears(question: Question) -> str:
    """Say what a question bears on."""
    shown = question.rules[:2]
    more = len(question.rules) - len(shown)
    rules = ", ".join(shown) + (f" and {more} more" if more > 0 else "")
    parts = [f"bears on {rules}"] if rules else []
    parts += [question.because] if question.because else []
    if question.changing:
        parts += [f"{question.changing} of {question.tried} answers tried change the advice"]
        parts += [question.example]
    elif question.tried:
        parts += ["by itself no answer tried changes the build"]
    told = "; ".join(parts)
    return f" {told[0].upper()}{told[1:]}." if told else ""


def _is_unmet(reason: Reason) -> bool:
    """Tell whether a build that may be built leaves a should, or the proof of a must, undone."""
    if reason.strength in ("must", "must_not"):
        return reason.outcome == "unproven"
    return reason.strength in ("should", "should_not") and reason.outcome != "met"


def _is_quiet(reason: Reason) -> bool:
    """Tell whether a reason only kept other builds out: its name will do."""
    return (
        reason.strength in ("must", "must_not")
        and reason.outcome == "met"
        and reason.contested is None
        and not reason.unless_open
    )


def build_lines(
    build: Mapping[str, FactValue], items: Mapping[str, str], named: Callable[[str], str] = str
) -> list[str]:
    """Say a build in the trade's order: vanes, then side and angle, then where they sit.

    `named` puts what has no place in that order into words.
    """
    left = dict(build)

    def take(name: str) -> str:
        value = left.pop(name, None)
        return "" if value is None else plain(value)

    vane = [
        _unless_empty(take("fletching.count"), "{} vanes"),
        _unless_empty(take("vane.length"), "{} long"),
        _unless_empty(take("vane.height"), "{} high"),
        take("vane.silhouette"),
        take("vane.stiffness"),
        take("vane.material"),
    ]
    detail = [
        _unless_empty(take("vane.mass"), "{} each"),
        _unless_empty(take("vane.thickness"), "{} thick"),
        _unless_empty(take("vane.foot_width"), "foot {} wide"),
    ]
    angle = [
        _unless_empty(take("fletching.direction"), "{} side"),
        _unless_empty(take("fletching.offset"), "{} offset"),
        _unless_empty(take("bench.clamp"), "{} clamp"),
        _unless_empty(take("feather.wing"), "{}-wing feathers"),
        _unless_empty(take("fletching.rear_gap"), "rear end {} ahead of the nock throat"),
    ]
    lines = [", ".join(p for p in part if p) for part in (vane, detail, angle)]
    for group, item in items.items():
        lines.append(f"{'head' if group == 'point' else group} {item}")
    if left:
        lines.append(", ".join(f"{named(name)} {plain(value)}" for name, value in left.items()))
    return [line for line in lines if line]


def _unless_empty(value: str, text: str) -> str:
    return text.format(value) if value else ""


def brief(other: Alternative, decision: Decision) -> str:
    """Say how another build differs from the chosen one."""
    differing = [name for name, value in other.build.items() if decision.build.get(name) != value]
    # What merely goes with a choice is told only where nothing else tells the builds apart.
    telling = [name for name in differing if not name.endswith(_GOES_ALONG)] or differing
    return ", ".join(f"{name} {plain(other.build[name])}" for name in telling)


def _as_good(decision: Decision) -> str:
    return f"You may as well use: {equals_told(decision)}."


def equals_told(decision: Decision, named: Callable[[str], str] = str) -> str:
    """Say how the equals of the chosen build differ from it; `named` puts facts into words."""
    builds = [decision.build, *decision.equals]
    groups = _free_groups(builds)
    if groups:
        told = [_group_told(decision.build, group, named) for group in groups]
        return "; or ".join(one for one in told if one)
    shown = []
    for build in decision.equals[:_MOST_EQUALS]:
        differing = [
            f"{named(name)} {plain(value)}"
            for name, value in build.items()
            if decision.build.get(name) != value
        ]
        shown.append(", ".join(differing) or "another of the same in every fact told")
    more = len(decision.equals) - len(shown)
    return "; ".join(shown) + (f"; and {more} more" if more > 0 else "")


_Build = Mapping[str, FactValue]
_MOST_GROUPS = 3


def _free_groups(builds: list[_Build]) -> list[dict[str, list[FactValue]]]:
    """Part equal builds into few groups within which any value of a fact goes with any other.

    Each group is told as the values of every fact, first of that by which they were parted.
    """
    if any(build.keys() != builds[0].keys() for build in builds):
        return []
    whole = _free_values(builds)
    if whole:
        return [whole]
    for name in builds[0]:
        by_value: dict[FactValue, list[_Build]] = {}
        for build in builds:
            by_value.setdefault(build[name], []).append(build)
        groups = [_free_values(alike) for alike in by_value.values()]
        if len(groups) <= _MOST_GROUPS and all(groups):
            return [{name: group[name], **group} for group in groups]
    return []


def _free_values(builds: list[_Build]) -> dict[str, list[FactValue]]:
    values = {name: list(dict.fromkeys(build[name] for build in builds)) for name in builds[0]}
    return values if prod(map(len, values.values())) == len(builds) else {}


def _group_told(
    chosen: _Build, group: Mapping[str, list[FactValue]], named: Callable[[str], str]
) -> str:
    told = []
    own = all(chosen[name] in values for name, values in group.items())
    for name, values in group.items():
        others = [value for value in values if value != chosen[name]]
        if others:
            # Beside another value the chosen one must be told too, or it would seem to be out.
            shown = others if own else values
            told.append(f"{named(name)} {' or '.join(map(plain, shown))}")
    if own or len(told) == 1:
        return "; ".join(told) + ("; each with each" if len(told) > 1 else "")
    return f"{told[0]} with {' and '.join(told[1:])}"


def _kind(kind: str) -> str:
    return {
        "published": "published work",
        "derived": "the model",
        "common-practice": "common practice",
        "house": "the house",
    }[kind]


def evidence_words(evidence: Evidence) -> str:
    """Say what a rule rests on."""
    if evidence.kind == "common-practice":
        return "Common practice, no source."
    if evidence.kind == "house":
        note = f": {evidence.note}" if evidence.note else ""
        return f"House rule{note}."
    memory = ", from memory" if evidence.from_memory else ""
    place = f", {evidence.place}" if evidence.place else ""
    if evidence.kind == "derived":
        source = f" after {evidence.title}" if evidence.title else ""
        return f"Derived: {evidence.function}{source}{memory}."
    return f"Published: {evidence.title or evidence.source}{place}{memory}."


def premise_words(premises: Iterable[Premise]) -> str:
    """Say what a reason rests on, each fact with its place."""
    return "; ".join(_premise(premise) for premise in premises)


def _premise(premise: Premise) -> str:
    if premise.origin == "given":
        place = f"{premise.file}:{premise.line}" if premise.line else premise.file
        return f"{premise.says} ({place})"
    if premise.origin == "assumed":
        return f"{premise.says} (assumed)"
    if premise.origin == "computed":
        return f"{premise.says} (computed: {premise.function})"
    if premise.origin == "concluded":
        below = premise_words(_leaves(premise.premises))
        because = f": {below}" if below else ""
        return f"{premise.says} (by {', '.join(premise.rules)}{because})"
    return premise.says


def _leaves(premises: Iterable[Premise]) -> list[Premise]:
    return list({p.says: p for p in premises}.values())


__all__ = ["Number", "render"]
