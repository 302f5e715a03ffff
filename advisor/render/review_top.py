"""The front of the review page: which advice this is, what forbids it, what it says, how firm."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.decision import HANGS, Caution, Conflict, Decision
from advisor.findings import TurningPoint
from advisor.render.numbers import edged, plain
from advisor.render.review_marks import Marks, paragraphs
from advisor.render.sheet_words import (
    STATUS,
    asked,
    capital,
    esc,
    foreign,
    items,
    may_build,
    rule_name,
    said,
    section,
    words,
)

_LEVELS = {"stop": "STOP.", "caution": "Caution.", "note": "Note."}
Contents = Sequence[tuple[str, str]]


def header(marks: Marks) -> str:
    """Return whose arrows these are, and by which rules and from what they were judged."""
    d = marks.d
    base = d.rulebase
    pairs = [
        ("Verdict", esc(_status(d))),
        ("Rule base", f"{foreign(base.name)} {esc(base.version)}"),
        ("Layers", foreign(", ".join(base.layers))),
        ("Digest of the rules", esc(base.digest)),
        ("Stock", foreign(d.stock) if d.stock else "none"),
        ("Builds", esc(_builds(d))),
    ]
    told = "".join(f"<dt>{esc(name)}</dt><dd>{value}</dd>\n" for name, value in pairs)
    return (
        f"<header>\n<h1>{foreign(d.title or 'Untitled setup')}</h1>\n"
        f'<p class="quiet">Review of the advice: what it says, the rules behind it, and the way '
        f'back to what was stated.</p>\n<dl class="identity">\n{told}</dl>\n</header>\n'
    )


def _status(d: Decision) -> str:
    return STATUS[d.status] if may_build(d) or d.status == "rejected" else STATUS["stopped"]


def _builds(d: Decision) -> str:
    if d.builds == 1:
        return "one, as stated"
    return f"{d.survivors} of {d.builds} break no must and carry no stop"


def contents(listed: Contents) -> str:
    """Return the list of sections, each a link; titles are markup."""
    lines = "".join(f'<li><a href="#{esc(ids)}">{title}</a></li>\n' for ids, title in listed)
    return (
        '<nav aria-labelledby="contents-head">\n<h2 id="contents-head">Contents</h2>\n'
        f'<ol class="contents">\n{lines}</ol>\n</nav>\n'
    )


def verdict(marks: Marks) -> str:
    """Return the verdict, and whatever forbids building."""
    d = marks.d
    build = may_build(d)
    lines = [esc(_status(d))]
    stops = [c for c in d.cautions if c.level == "stop"]
    told = "".join(
        f'<p class="stop">{words(stop.text)} ({rule_name(stop.rule)})</p>\n' for stop in stops
    )
    body = paragraphs(lines) + told
    if d.status in ("stopped", "rejected"):
        every = "It" if d.builds == 1 else f"Every one of {d.builds} builds"
        body += f"<p>{every} breaks a must or carries a stop.</p>\n"
        body += "".join(_conflict(d, conflict) for conflict in d.conflicts)
        if d.more_conflicts:
            body += "<p>There are more such sets; the smallest are shown.</p>\n"
    if build and d.rests_on:
        body += f"<p>It rests on what was assumed: {marks.labels(d.rests_on)}.</p>\n"
    waiting = [q.fact for q in d.questions if q.because == HANGS and not q.assumed]
    if build and waiting:
        body += (
            "<p>A stop or a must hangs on what nobody stated: "
            f'{marks.plain_labels(waiting)} (see <a href="#questions">Questions</a>).</p>\n'
        )
    kind = "status" if build else "status halt"
    return f'<div class="{kind}" role="note" aria-label="Verdict">\n{body}</div>\n'


def _conflict(d: Decision, conflict: Conflict) -> str:
    asks = conflict.asks or ("",) * len(conflict.rules)
    lines = [
        f"{rule_name(rule)}: {words(says)}{f' It asks that {asked(d, ask)}.' if ask else ''}"
        for rule, says, ask in zip(conflict.rules, conflict.says, asks, strict=True)
    ]
    several = "These cannot hold together; one must give way:"
    head = "No build satisfies this rule:" if len(lines) == 1 else several
    return f"<p>{head}</p>\n{items(lines)}\n"


def cautions(marks: Marks) -> str:
    """Return every warning that stands on the build, each with its rule."""
    boxes = [_box(c) for c in marks.d.cautions if c.level != "stop"]
    return section("cautions", "Cautions", "".join(boxes))


def _box(caution: Caution) -> str:
    level = _LEVELS.get(caution.level, f"{capital(caution.level)}.")
    kind = "caution note" if caution.level == "note" else "caution"
    return (
        f'<div class="{kind}" role="note"><p><strong>{esc(level)}</strong> {words(caution.text)} '
        f"({rule_name(caution.rule)})</p></div>\n"
    )


def measure(marks: Marks) -> str:
    """Return what to measure or find out again before the advice is relied on."""
    d, found = marks.d, marks.review.turning_points
    body = ""
    fragile = [point for point in found.points if point.fragile]
    if fragile:
        body += (
            "<p>This advice is fragile: it turns within what measuring can be out by.</p>\n"
            + items(_fragile(marks, point) for point in fragile)
            + "\n"
        )
    resting = [name for name in d.assumed if name in d.rests_on]
    if resting:
        body += "<p>Assumed, and the verdict rests on it:</p>\n" + items(
            f"{marks.label(name)} {words(said(d.assumed[name]))}: "
            f"{words(d.assumptions[name].because) if name in d.assumptions else ''}"
            for name in resting
        )
    if not body:
        body = (
            "<p>Nothing: the advice turns on no stated number within what measuring it can be out "
            "by, and rests on nothing assumed.</p>"
        )
    return section("measure", "Measure again", body)


def _fragile(marks: Marks, point: TurningPoint) -> str:
    near = f"it turns at {words(edged(point.turns[0].value))}"
    out = f"; measuring can be out by {words(plain(point.tolerance))}" if point.tolerance else ""
    return f"<strong>{marks.label(point.fact)} {words(plain(point.value))}</strong>: {near}{out}."
