"""The back of the bench sheet: what was assumed and what to ask, and then, for the reviewer, why.

What the reviewer gets is not needed at the bench: reasons, what lost, other builds, what is not
known, numbers, what was stated, and the rules.
"""

from __future__ import annotations

from collections.abc import Iterable

from advisor.decision import Decision, Number, Reason
from advisor.render.numbers import amount
from advisor.render.sheet_words import (
    REVIEWER,
    asked,
    bare_tick,
    capital,
    esc,
    foreign,
    items,
    label,
    labels,
    may_build,
    rule_name,
    rule_names,
    said,
    section,
    table,
    words,
)
from advisor.render.text import brief

_MOST_QUESTIONS = 6
_MOST_UNDECIDED = 8


def to_check(decision: Decision) -> str:
    """Return what was assumed, each with a square, and what to ask, each with room to answer."""
    body = _assumed(decision) + _questions(decision)
    return section("check", "Check and ask", body)


def _assumed(decision: Decision) -> str:
    d = decision
    if not d.assumed:
        return ""
    ground = d.rulebase.layers[0].split(" ")[0] if d.rulebase.layers else ""
    resting: list[tuple[str, ...]] = []
    others: list[tuple[str, ...]] = []
    for name, value in d.assumed.items():
        if name in d.cannot_matter:
            continue  # whoever checked it would have checked it in vain
        why = d.assumptions.get(name)
        told = words(capital(why.because)) if why else ""
        if why and why.by != ground:
            told += f" ({esc(why.by)})"
        row = (
            words(capital(label(d, name))),
            words(said(value)),
            told,
            "",
            bare_tick(f"{label(d, name)}: checked"),
        )
        (resting if name in d.rests_on else others).append(row)
    heads, widths = ("Fact", "Taken as", "Because", "It is", "True"), (24, 13, 43, 12, 8)
    return "".join(
        table(caption, heads, rows, widths) + "\n"
        for caption, rows in (
            ("Assumed, and the verdict rests on it: check these first", resting),
            ("Assumed, to be checked", others),
        )
        if rows
    )


def _questions(decision: Decision) -> str:
    d = decision
    if not d.questions:
        return ""
    rows = []
    for question in d.questions[:_MOST_QUESTIONS]:
        bears = f" {words(capital(question.because))}." if question.because else ""
        rows.append((words(question.asks) + bears, esc(label(d, question.fact)), ""))
    heads = ("Question", "Fact", "Answer")
    return table("Ask next", heads, rows, (56, 22, 22)) + "\n"


def for_reviewer(decision: Decision) -> str:
    """Return all that tells why, under one heading."""
    d = decision
    parts = (_reasons, _other_builds, _not_known, _numbers, _stated, _identity)
    body = "".join(part(d) for part in parts)
    # Where nothing may be built there is no bench part to print by itself.
    kind = "apart" if may_build(d) else ""
    return section("reviewer", REVIEWER, f'<div class="review">\n{body}</div>', kind)


def _part(ids: str, title: str, body: str) -> str:
    return section(ids, title, body, level=3)


def _stated(decision: Decision) -> str:
    """Return what was stated: quantities as they were written, the rest in words."""
    d = decision
    pairs = []
    for name, value in d.given.items():
        where = d.stated.get(name)
        written = where.written if where and isinstance(value, Number) else said(value)
        pairs.append((label(d, name), foreign(written)))
    return _part("stated", "What was stated", _pairs(pairs))


def _pairs(pairs: Iterable[tuple[str, str]], kind: str = "pairs") -> str:
    """Return names and values in two columns; the values are markup."""
    return items(
        (f"<span>{words(capital(name))}</span> <span>{value}</span>" for name, value in pairs),
        kind,
    )


def _numbers(decision: Decision) -> str:
    """Return what was worked out, each number with its band."""
    d = decision
    resting = sorted({fact for n in d.numbers.values() for fact in n.rests_on})
    body = (
        f'<p class="star">* rests on something assumed: {esc(labels(d, resting))}.</p>\n'
        if resting
        else ""
    )
    body += _pairs(
        (
            (label(d, name), words(amount(n) + ("*" if n.rests_on else "")))
            for name, n in d.numbers.items()
        ),
        "pairs numbers",
    )
    refused: dict[str, list[str]] = {}
    for name, why in d.unknown.items():
        if why.refused:
            refused.setdefault(why.refused, []).append(name)
    for why_not, names in refused.items():
        body += f"<p>{capital(asked(d, why_not))}: no {words(labels(d, names))}.</p>"
    return _part("numbers", "Numbers", body)


def _reasons(decision: Decision) -> str:
    """Return each rule that spoke on the build once, in brief, and what lost or is disputed."""
    d = decision
    by_rule: dict[str, list[Reason]] = {}
    for told in d.reasons.values():
        for reason in told:
            by_rule.setdefault(reason.rule, []).append(reason)
    quiet = [rule for rule, told in by_rule.items() if all(map(_is_quiet, told))]
    lines = [_reason(d, told) for rule, told in by_rule.items() if rule not in quiet]
    body = items(lines, "reasons")
    if quiet:
        body += f"<p>Musts met: {rule_names(quiet)}.</p>\n"
    body += _group(
        "Set aside",
        (
            f"{rule_name(s.rule)} lost to {rule_name(s.by)}: {words(s.by_because)}"
            for s in d.set_aside
        ),
    )
    body += _group(
        "Disputed",
        (f"{rule_name(c.rule)}: {words(c.note)}" for c in d.contested),
    )
    body += _group(
        "Retired by the house",
        (f"{rule_name(r.rule)} ({esc(r.by)}): {words(r.because)}" for r in d.retired),
    )
    return _part("reasons", "Reasons in brief", body)


def _other_builds(decision: Decision) -> str:
    """Return the next builds with what each loses on, and how many each rule turned down."""
    d = decision
    body = items(
        f"{capital(asked(d, brief(other, d)))}: {asked(d, '; '.join(other.loses))}."
        for other in d.alternatives
    )
    if d.rejected and d.status == "advised":
        fallen = f"{d.builds - d.survivors} of {d.builds} builds"
        body += f"<p>{fallen} break a must or carry a stop.</p>"
        body += items(
            f"{rejection.builds} builds: {asked(d, rejection.asks)} ({rule_name(rejection.rule)})"
            for rejection in d.rejected
        )
    return _part("other-builds", "Other builds", body)


def _not_known(decision: Decision) -> str:
    """Return what is still to ask after the first questions, and the rules that lack a fact."""
    d = decision
    body = ""
    rest = [q.fact for q in d.questions[_MOST_QUESTIONS:]]
    if rest:
        body += f"<p>To ask after the first questions: {words(labels(d, rest))}.</p>\n"
    live = [u for u in d.undecided if not u.overruled_by]
    if live:
        lacking = "; ".join(
            f"{rule_name(u.rule)} ({words(labels(d, u.lacks))})" for u in live[:_MOST_UNDECIDED]
        )
        more = len(live) - _MOST_UNDECIDED
        told = f"{lacking}; and {more} more" if more > 0 else lacking
        body += f"<p>Rules that lack a fact: {told}.</p>\n"
    if d.cannot_matter:
        body += f"<p>Cannot matter here: {words(labels(d, d.cannot_matter))}.</p>\n"
    return _part("not-known", "Not known", body)


_KINDS = {
    "published": "published",
    "derived": "derived",
    "common-practice": "common practice",
    "house": "house rule",
}


_MISSED = {"broken": "Not met", "unproven": "Not proven"}


def _reason(decision: Decision, told: list[Reason]) -> str:
    """Tell one rule's reason on every fact it speaks on, and what it asks in vain."""
    first = told[0]
    about = capital(labels(decision, (reason.fact for reason in told)))
    missed = "".join(
        f" <strong>{_MISSED[reason.outcome]}: {asked(decision, reason.asks)}.</strong>"
        for reason in told
        if reason.outcome in _MISSED
    )
    kind = _KINDS.get(first.evidence.kind, first.evidence.kind)
    disputed = ", disputed" if any(reason.contested for reason in told) else ""
    return (
        f"<strong>{words(about)}</strong>, {esc(first.strength.replace('_', ' '))}:{missed} "
        f"{words(first.because)} ({rule_name(first.rule)}, {esc(kind)}{disputed})"
    )


def _is_quiet(reason: Reason) -> bool:
    """Tell whether a must is met without more to say: its name will do."""
    must = reason.strength in ("must", "must_not") and reason.outcome == "met"
    return must and reason.contested is None and not reason.unless_open


def _group(title: str, lines: Iterable[str]) -> str:
    body = items(lines)
    return f"<h4>{esc(title)}</h4>\n{body}\n" if body else ""


def _identity(decision: Decision) -> str:
    """Return the rules this sheet came from, and which of them made its steps."""
    d = decision
    base = d.rulebase
    lines = [
        f"Rule base: {esc(base.name)}, version {esc(base.version)}",
        f"Layers: {esc(', '.join(base.layers))}",
        f"Digest <code>{esc(base.digest)}</code>",
    ]
    if d.builds != 1:
        lines.append(f"{d.survivors} of {d.builds} builds broke no must and carry no stop")
    body = items(lines)
    if may_build(d) and d.steps:
        steps = (f"{n} {rule_name(step.rule)}" for n, step in enumerate(d.steps, 1))
        body += f'<p class="names">Rules of the steps: {", ".join(steps)}.</p>'
    return _part("rules", "The rules behind this sheet", body)
