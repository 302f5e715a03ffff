"""The review page on the rules that spoke: why, what lost, what is disputed, what stays open."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.decision import Reason, RetiredRule, SetAside, Tie
from advisor.render.numbers import plain
from advisor.render.review_marks import Marks, paragraphs, see
from advisor.render.sheet_words import (
    capital,
    esc,
    items,
    label,
    rule_name,
    rule_names,
    said,
    section,
    words,
)
from advisor.render.text import evidence_words
from advisor.reviewing import OPTION

CLASSES = {
    "published": "published work",
    "derived": "the model",
    "common-practice": "common practice",
    "house": "the house",
}
"""Whose word a class of evidence is."""

_MARKS = {"met": "met", "broken": "NOT MET", "unproven": "NOT PROVEN"}


def why(marks: Marks) -> str:
    """Return, option by option, the rules that speak on it; then those on all else."""
    d = marks.d
    choices = {one.what: one.step for one in marks.review.asked if one.kind == OPTION}
    told: set[str] = set()
    parts, silent = [], []
    for fact, value in d.build.items():
        reasons = d.reasons.get(fact, ())
        if reasons:
            title = f"{capital(label(d, fact))} {said(value)}"
            body = _reasons(marks, reasons, told)
            if fact in choices:
                body += f"<p>How the choice went: step {see(choices[fact])}.</p>\n"
            parts.append(section(f"why-{_ids(fact)}", title, body, level=3))
        else:
            way = f" (step {see(choices[fact])})" if fact in choices else ""
            silent.append(f"{words(label(d, fact))} {words(said(value))}{way}")
    if silent:
        lead = "No rule asks anything of these; they come with the rest of the build"
        parts.append(f"<p>{lead}: {'; '.join(silent)}.</p>\n")
    others = [fact for fact in d.reasons if fact not in d.build]
    body = "".join(
        f"<h4>{marks.label(fact)}</h4>\n{_reasons(marks, d.reasons[fact], told)}" for fact in others
    )
    parts.append(section("why-numbers", "What is asked of the rest", body, level=3))
    return section("why", "Why", "".join(parts))


def _ids(fact: str) -> str:
    return fact.replace(".", "-").replace("_", "-")


def _reasons(marks: Marks, reasons: Iterable[Reason], told: set[str]) -> str:
    lines, quiet = [], []
    for reason in reasons:
        if _is_quiet(reason):
            quiet.append(f"{rule_name(reason.rule)} ({marks.text(reason.asks)})")
        else:
            lines.append(_reason(marks, reason, again=reason.rule in told))
            told.add(reason.rule)
    body = items(lines, "reasons") + "\n" if lines else ""
    return body + (f"<p>Musts met: {', '.join(quiet)}.</p>\n" if quiet else "")


def _is_quiet(reason: Reason) -> bool:
    """Tell whether a must is met without more to say: its name will do."""
    must = reason.strength in ("must", "must_not") and reason.outcome == "met"
    return must and reason.contested is None and not reason.unless_open


def _reason(marks: Marks, reason: Reason, *, again: bool) -> str:
    strength = esc(reason.strength.replace("_", " "))
    disputed = ', <a href="#disputes">disputed</a>' if reason.contested else ""
    outcome = _MARKS.get(reason.outcome, reason.outcome)
    if reason.strength == "favour":
        known = reason.outcome == "met"
        outcome = "ranks builds that are even otherwise" if known else "not known here"
    if reason.outcome != "met":
        outcome = f"<strong>{esc(outcome)}</strong>"
    asks = f"{rule_name(reason.rule)} asks that {marks.text(reason.asks)}"
    first = f"<strong>{strength}</strong> {asks}: {outcome}{disputed}"
    if again:
        return f"<p>{first}. Its reason is told above.</p>"
    rests = marks.premises(reason.premises)
    return paragraphs(
        (
            first,
            f"{words(reason.because)} <em>{words(evidence_words(reason.evidence))}</em>",
            f"Rests on: {rests}." if rests else "It has no condition.",
            f"Its exception is open; not stated: {marks.labels(reason.unless_open)}."
            if reason.unless_open
            else "",
        )
    )


# What lost


def lost(marks: Marks) -> str:
    """Return the rules that fired and were set aside, and those that a house retired."""
    d = marks.d
    body = items((_lost(marks, one) for one in d.set_aside), "cases") or (
        "<p>No rule that fired was set aside.</p>"
    )
    gone = items((_retired(one) for one in d.retired), "cases")
    body += section("retired", "Retired by the house", gone, level=3)
    return section("lost", "What lost", body)


def _lost(marks: Marks, one: SetAside) -> str:
    not_stated = f"Not stated, and it would matter: {marks.labels(one.not_stated)}."
    return paragraphs(
        (
            f"{rule_name(one.rule)} lost to {rule_name(one.by)}",
            f"It said: {words(one.says)} {words(one.because)}",
            f"Against it: {words(one.by_says)} {words(one.by_because)}",
            not_stated if one.not_stated else "",
        )
    )


def _retired(one: RetiredRule) -> str:
    instead = f"; {rule_name(one.replacement)} stands for it" if one.replacement else ""
    warned = " <strong>It was a warning.</strong>" if one.warned else ""
    return (
        f'<p id="gone-{esc(one.rule)}"><span class="id">{esc(one.rule)}</span>, by {esc(one.by)}'
        f"{instead}.{warned}</p>\n<p>It said: {words(one.says)}</p>\n"
        f"<p>Because: {words(one.because)}</p>\n"
    )


# What is disputed


def disputes(marks: Marks) -> str:
    """Return the rules in force that another kind of evidence contests, both sides told."""
    lines = []
    for dispute in marks.d.contested:
        text = marks.texts.get(dispute.rule)
        own = CLASSES.get(text.evidence.kind, text.evidence.kind) if text else ""
        by = CLASSES.get(dispute.by, dispute.by)
        because = f" {words(text.because)}" if text else ""
        lines.append(
            paragraphs(
                (
                    rule_name(dispute.rule),
                    f"{capital(esc(own or 'the rule'))} says: {words(dispute.says)}{because}",
                    f"Against it, {esc(by)}: {words(dispute.note)}",
                )
            )
        )
    return section("disputes", "Disputed", items(lines, "cases"))


# What stays open


def open_ends(marks: Marks) -> str:
    """Return ties, what is not met or not proven, and what unknown facts could still change."""
    d = marks.d
    unmet = dict.fromkeys(
        (r.rule, r.outcome, r.asks)
        for told in d.reasons.values()
        for r in told
        if r.strength != "favour" and r.outcome == "broken"
    )
    unsettled = dict.fromkeys(one.fact for one in d.unsettled)
    parts = (
        ("Open ties", (_tie(marks, tie) for tie in d.ties)),
        (
            "Not met",
            (f"{rule_name(rule)} asks that {marks.text(asks)}" for rule, _, asks in unmet),
        ),
        (
            "Unproven",
            (
                f"{rule_name(one.rule)} demands that {marks.text(one.asks)}; it lacks "
                f"{marks.labels(one.facts)}"
                for one in d.unproven
            ),
        ),
        ("Not settled", (_unsettled(marks, fact) for fact in unsettled)),
        (
            "Stands unless",
            (
                f"{rule_name(one.what) if one.kind == 'rule' else marks.label(one.what)} stands "
                f"unless {rule_name(one.by)} comes to hold; not stated: {marks.labels(one.facts)}"
                for one in d.stands_unless
            ),
        ),
        (
            "Bounded by the stock, not by a rule",
            (
                f"{marks.label(one.fact)} {words(plain(one.value))}: {words(plain(one.beyond))} "
                "would break nothing"
                for one in d.bounded
            ),
        ),
        (
            "Rules that could not be judged",
            (
                f"{rule_name(one.rule)} lacks {marks.labels(one.lacks)}"
                for one in d.undecided
                if not one.overruled_by
            ),
        ),
        (
            "Could not be judged, and are overruled anyway",
            (
                f"{rule_name(one.rule)}, by {rule_names(one.overruled_by)}"
                for one in d.undecided
                if one.overruled_by
            ),
        ),
    )
    body = "".join(_group(title, lines) for title, lines in parts)
    nothing = "<p>Nothing: no tie, nothing unproven, no rule that could not be judged.</p>"
    return section("open", "Ties, unproven, open", body or nothing)


def _group(title: str, lines: Iterable[str]) -> str:
    body = items(f"{line}" for line in lines)
    return f"<h3>{esc(title)}</h3>\n{body}\n" if body else ""


def _tie(marks: Marks, tie: Tie) -> str:
    sides = items(
        f"{rule_name(side.rule)} asks that {marks.text(side.asks)}: {words(side.because)}"
        for side in tie.sides
    )
    lead = "rules of equal standing disagree, and none is preferred."
    return f"{marks.label(tie.fact)}: {lead}\n{sides}"


def _unsettled(marks: Marks, fact: str) -> str:
    waits = [one for one in marks.d.unsettled if one.fact == fact]
    facts = marks.labels(f for one in waits for f in one.facts)
    return f"{marks.label(fact)} waits for {facts} ({rule_names(one.rule for one in waits)})"
