"""The back of the bench sheet: what was assumed, what to ask, numbers, reasons, the rules."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.decision import Decision, Reason
from advisor.render.numbers import amount, plain
from advisor.render.sheet_words import (
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
    section,
    table,
    words,
)

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
    rows = []
    for name, value in d.assumed.items():
        why = d.assumptions.get(name)
        told = words(capital(why.because)) if why else ""
        if why and why.by != ground:
            told += f" ({esc(why.by)})"
        mark = ". <strong>The verdict rests on it.</strong>" if name in d.rests_on else ""
        rows.append(
            (
                words(capital(label(d, name))),
                words(plain(value)),
                told + mark,
                "",
                bare_tick(f"{label(d, name)}: checked"),
            )
        )
    heads = ("Fact", "Taken as", "Because", "It is", "True")
    return table("Assumed, to be checked", heads, rows, (23, 13, 41, 14, 9)) + "\n"


def _questions(decision: Decision) -> str:
    d = decision
    if not d.questions:
        return ""
    rows = []
    for question in d.questions[:_MOST_QUESTIONS]:
        bears = f" {words(capital(question.because))}." if question.because else ""
        rows.append((words(question.asks) + bears, esc(label(d, question.fact)), ""))
    told = table("Ask next, weightiest first", ("Question", "Fact", "Answer"), rows, (50, 22, 28))
    rest = [q.fact for q in d.questions[_MOST_QUESTIONS:]]
    more = f"<p>Then: {words(labels(d, rest))}.</p>\n" if rest else ""
    return f"{told}\n{more}"


def stated(decision: Decision) -> str:
    """Return what was stated, as it was written."""
    d = decision
    pairs = []
    for name, value in d.given.items():
        where = d.stated.get(name)
        pairs.append((label(d, name), foreign(where.written if where else plain(value))))
    return section("stated", "What was stated", _pairs(pairs))


def _pairs(pairs: Iterable[tuple[str, str]], kind: str = "pairs") -> str:
    """Return names and values in two columns; the values are markup."""
    return items(
        (f"<span>{words(capital(name))}</span> <span>{value}</span>" for name, value in pairs),
        kind,
    )


def numbers(decision: Decision) -> str:
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
        body += f"<p>{words(capital(why_not))}: no {words(labels(d, names))}.</p>"
    return section("numbers", "Numbers", body)


def reasons(decision: Decision) -> str:
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
    live = [u for u in d.undecided if not u.overruled_by]
    if live:
        lacking = "; ".join(
            f"{rule_name(u.rule)} ({words(labels(d, u.lacks))})" for u in live[:_MOST_UNDECIDED]
        )
        rest = len(live) - _MOST_UNDECIDED
        more = f"; and {rest} more" if rest > 0 else ""
        lack = f"Rules that lack a fact: {lacking}{more}."
        body += f"<h3>Undecided</h3>\n<p>{lack}</p>\n"
    return section("reasons", "Reasons in brief", body)


_KINDS = {
    "published": "published",
    "derived": "derived",
    "common-practice": "common practice",
    "house": "house rule",
}


def _reason(decision: Decision, told: list[Reason]) -> str:
    """Tell one rule's reason on every fact it speaks on, and what it asks in vain."""
    first = told[0]
    about = capital(labels(decision, (reason.fact for reason in told)))
    missed = "".join(
        f" <strong>{esc(reason.outcome.upper())}: {words(reason.asks)}.</strong>"
        for reason in told
        if reason.outcome != "met"
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
    return f"<h3>{esc(title)}</h3>\n{body}\n" if body else ""


def identity(decision: Decision) -> str:
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
    return section("rules", "The rules behind this sheet", body)
