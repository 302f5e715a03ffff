"""The first page of the bench sheet: whose arrows, whether to build, what, and the drawings."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from advisor.decision import HANGS, Caution, Conflict, Decision, Number, Reason
from advisor.render.drawing_facts import Facts
from advisor.render.numbers import plain
from advisor.render.sheet_words import (
    REVIEWER,
    STATUS,
    asked,
    bare_tick,
    blank,
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
    shown,
    table,
    tick,
    wing,
    words,
)
from advisor.render.svg import behind, side, unrolled
from advisor.render.text import build_lines, equals_told

_LEVELS = {"stop": "STOP.", "caution": "Caution.", "note": "Note."}


class Supply(NamedTuple):
    """Something a step uses up or protects with, and how a step's words tell that it does."""

    name: str
    asked: re.Pattern[str]
    denied: re.Pattern[str] | None = None


_SUPPLIES = (
    Supply("isopropyl alcohol", re.compile(r"\balcohol\b", re.IGNORECASE)),
    Supply("lint-free wipes", re.compile(r"\blint-free\b", re.IGNORECASE)),
    Supply(
        "primer",
        re.compile(r"\bprimer\b", re.IGNORECASE),
        re.compile(r"\b(?:no|without) primer\b", re.IGNORECASE),
    ),
    Supply("fine abrasive pad", re.compile(r"\bfine pad\b", re.IGNORECASE)),
    Supply("dust mask", re.compile(r"\bmask\b", re.IGNORECASE)),
    Supply("eye protection", re.compile(r"\beye protection\b", re.IGNORECASE)),
    Supply("gel or filling glue", re.compile(r"\buse a gel\b", re.IGNORECASE)),
    Supply("fletching tape", re.compile(r"\bdouble-sided tape\b", re.IGNORECASE)),
    Supply("thread lock, thread wax or washers", re.compile(r"\bthread lock\b", re.IGNORECASE)),
    Supply("foot powder", re.compile(r"\bpowder\b", re.IGNORECASE)),
)
_PROTECTS = ("dust mask", "eye protection")
"""What a caution alone puts on the list; it names the rest only to warn of it."""

_ARROW = (
    ("Use", ("discipline",)),
    ("Bow", ("bow.type", "bow.draw_weight", "bow.draw_length", "rest.type")),
    (
        "Shaft",
        (
            "shaft.material",
            "shaft.outside_diameter",
            "shaft.length",
            "shaft.spine",
            "shaft.surface",
        ),
    ),
    ("Head", ("point.type", "point.mass", "point.blades", "point.cutting_width", "point.bevel")),
    ("Glue", ("glue.type",)),
    ("Primer", ("vane.primer",)),
)
_BARE = re.compile(r"\.(?:type|surface|material|primer)$|^discipline$")
"""Facts whose value says what it is of without their name."""


def header(decision: Decision) -> str:
    """Return whose arrows these are, and lines for the day and the hand."""
    base = decision.rulebase
    hands = ("Built by, initials", "Checked by, initials") if may_build(decision) else ("Read by",)
    fields = (("Date", "short"), *((hand, "") for hand in hands))
    if not decision.title:
        fields = (("For", ""), *fields)
    lines = "".join(blank(name, size) for name, size in fields)
    return (
        f'<header>\n<div class="head"><h1>{foreign(decision.title or "Untitled setup")}</h1>\n'
        f'<p class="quiet">Bench sheet, rules {esc(base.name)} {esc(base.version)}, '
        f"digest {esc(base.digest[:12])}</p></div>\n{_which_pages(decision)}"
        f'<div class="fill">{lines}</div>\n</header>\n'
    )


def _which_pages(decision: Decision) -> str:
    if not may_build(decision):
        return ""
    return (
        f'<p class="quiet">The bench needs the pages up to the heading '
        f"<strong>{esc(REVIEWER)}</strong>; from there on it is told why.</p>\n"
    )


_MOST_WAITING = 5
"""Open facts named on the first page; all of them stand under Check and ask."""


def banner(decision: Decision, stops: Iterable[Caution]) -> str:
    """Return the verdict, and whatever forbids building."""
    d = decision
    stops = tuple(stops)
    build = may_build(d)
    verdict = STATUS[d.status] if build or d.status == "rejected" else STATUS["stopped"]
    lines = [f"<p>{esc(verdict)}</p>"]
    lines += [f'<p class="stop">{words(c.text)} ({rule_name(c.rule)})</p>' for c in stops]
    if not build:
        lines.append("<p>There are no steps on this sheet: do not build from it.</p>")
    if d.status in ("stopped", "rejected"):
        every = "It" if d.builds == 1 else f"Every one of {d.builds} builds"
        lines.append(f"<p>{every} breaks a must or carries a stop.</p>")
        lines += [_conflict(d, conflict) for conflict in d.conflicts]
        if d.more_conflicts:
            lines.append("<p>There are more such sets; the smallest are shown.</p>")
    if build and d.rests_on:
        lines.append(f"<p>It rests on what was assumed: {esc(labels(d, d.rests_on))}.</p>")
    waiting = [q.fact for q in d.questions if q.because == HANGS and not q.assumed]
    if build and waiting:
        shown = labels(d, waiting[:_MOST_WAITING])
        more = len(waiting) - _MOST_WAITING
        lines.append(
            f"<p>Find out first, for a stop or a must hangs on it: {esc(shown)}"
            f"{f' and {more} more, under Check and ask' if more > 0 else ''}.</p>"
        )
    kind = "status" if build else "status halt"
    return (
        f'<div class="{kind}" role="note" aria-label="Verdict">\n' + "\n".join(lines) + "</div>\n"
    )


def _conflict(d: Decision, conflict: Conflict) -> str:
    asks = conflict.asks or ("",) * len(conflict.rules)
    if len(conflict.rules) == 1:
        demand = f" It asks that {asked(d, asks[0])}." if asks[0] else ""
        named = f"{rule_name(conflict.rules[0])}: {words(conflict.says[0])}"
        return f"<p>No build satisfies {named}{demand}</p>"
    lines = [
        f"{words(says)} ({rule_name(rule)}{f'; asks that {asked(d, ask)}' if ask else ''})"
        for rule, says, ask in zip(conflict.rules, conflict.says, asks, strict=True)
    ]
    return f"<p>These cannot hold together; one must give way:</p>\n{items(lines)}"


def build(decision: Decision) -> str:
    """Return the build in large type, and the arrow it is for."""
    d = decision
    title = "Build"
    lead = ""
    if d.status in ("stopped", "rejected") or not may_build(d):
        title = "The build as stated, not to be built" if d.builds == 1 else "Nearest build"
        if d.builds != 1:
            lead = "<p>What breaks least; shown for comparison, not to be built.</p>\n"
    whole = {**d.build, "feather.wing": wing(d)} if wing(d) else d.build
    told_lines = build_lines(whole, d.items, lambda name: label(d, name))
    lines = [f"<p>{words(line)}</p>" for line in told_lines]
    if not lines:
        lines.append("<p>Nothing of a build is settled.</p>")
    told = "\n".join(lines)
    after = []
    if d.stock and d.chosen:
        after.append(f"Chosen from the stock {foreign(d.stock)}.")
    if may_build(d) and d.equals:
        after.append(words(f"As good: {equals_told(d, lambda name: label(d, name))}."))
    after = [f"<p>{' '.join(after)}</p>"] if after else []
    after += [f"<p>{words(note)}</p>" for note in d.notes]
    body = f'{lead}<div class="build">\n{told}\n</div>\n' + "\n".join(after) + _arrow(d)
    return section("build", title, body, "" if may_build(d) else "halted")


def _arrow(decision: Decision) -> str:
    lines = []
    for name, facts in _ARROW:
        parts = []
        for fact in facts:
            value = decision.given.get(fact)
            if value is None or fact in decision.build:
                continue
            told = foreign(said(value)) if isinstance(value, str) else words(said(value))
            parts.append(told if _BARE.search(fact) else f"{esc(_short(fact))} {told}")
        if parts:
            lines.append(f"<strong>{name}:</strong> {', '.join(parts)}")
    return f"\n<h3>For this arrow</h3>\n{items(lines, 'arrow')}" if lines else ""


def _short(fact: str) -> str:
    return fact.rpartition(".")[2].replace("_", " ")


def caution_box(caution: Caution) -> str:
    """Return a caution in its frame, its level first."""
    level = _LEVELS.get(caution.level, f"{capital(caution.level)}.")
    kind = "caution note" if caution.level == "note" else "caution"
    return (
        f'<div class="{kind}" role="note"><p><strong>{esc(level)}</strong> {words(caution.text)} '
        f"({rule_name(caution.rule)})</p></div>\n"
    )


def before_the_first_step(decision: Decision, cautions: Iterable[Caution]) -> str:
    """Return the cautions that hold for the whole job, and what is not settled yet."""
    boxes = "".join(caution_box(caution) for caution in cautions)
    open_ends = items(_open_ends(decision), "open")
    if open_ends:
        open_ends = f"<h3>Not settled</h3>\n{open_ends}"
    title = "Before the first step" if may_build(decision) else "Cautions"
    return section("before", title, boxes + open_ends)


def _open_ends(decision: Decision) -> list[str]:
    d = decision
    lines = []
    for tie in d.ties:
        sides = "; ".join(
            f"{asked(d, side.asks)}, {words(side.because)} ({rule_name(side.rule)})"
            for side in tie.sides
        )
        told = f"rules of equal standing disagree, and none is preferred: {sides}"
        lines.append(f"<strong>{esc(capital(label(d, tie.fact)))}:</strong> {told}")
    for fact in dict.fromkeys(u.fact for u in d.unsettled):
        waits = [u for u in d.unsettled if u.fact == fact]
        facts = labels(d, (f for u in waits for f in u.facts))
        rules = rule_names(u.rule for u in waits)
        lines.append(f"{esc(capital(label(d, fact)))} waits for {esc(facts)} ({rules}).")
    for unproven in d.unproven:
        lacks = labels(d, unproven.facts)
        lines.append(
            f"Nobody could prove that {asked(d, unproven.asks)}; it lacks {esc(lacks)} "
            f"({rule_name(unproven.rule)})."
        )
    known = {unproven.rule for unproven in d.unproven}
    unmet = [r for told in d.reasons.values() for r in told if _is_unmet(r)]
    for reason in dict.fromkeys((r.rule, r.outcome, r.asks) for r in unmet if r.rule not in known):
        rule, outcome, asks = reason
        verb = "Not proven" if outcome == "unproven" else "Not met"
        lines.append(f"{verb}: {asked(d, asks)} ({rule_name(rule)}).")
    for doubt in d.stands_unless:
        facts = labels(d, doubt.facts)
        what = rule_name(doubt.what) if doubt.kind == "rule" else esc(label(d, doubt.what))
        lines.append(f"{what} stands unless {rule_name(doubt.by)}; not stated: {esc(facts)}.")
    lines += [
        f"{esc(capital(label(d, b.fact)))} {words(plain(b.value))} is bounded by the stock, not by "
        f"a rule: {words(plain(b.beyond))} would break nothing."
        for b in d.bounded
    ]
    return lines


def _is_unmet(reason: Reason) -> bool:
    if reason.strength in ("must", "must_not"):
        return reason.outcome != "met"
    return reason.strength in ("should", "should_not") and reason.outcome != "met"


def lay_out(decision: Decision) -> str:
    """Return what the batch uses up: counted, reckoned, or asked for by a step."""
    d = decision
    facts = Facts(d)
    rows = []
    for name, kind, fact, note in (
        ("shafts, nocks, inserts and heads", "", "arrow.quantity", " of each"),
        ("vanes", d.items.get("vane", ""), "fletching.vanes_needed", ", spares included"),
        ("glue", said(facts.word("glue.type")), "glue.volume", ", waste included"),
    ):
        value = facts.value(fact)
        star = "" if _computed(value) else facts.star(fact)
        much = f"{shown(value)}{star}{note}" if value is not None else "not known"
        what = f"{name}, {kind}" if kind else name
        rows.append((words(capital(what)), words(much), "", bare_tick(f"{name}: laid out")))
    caption = "For the whole batch"
    if any("*" in much for _, much, _, _ in rows):
        caption += ' <span class="quiet">(* rests on something assumed)</span>'
    told = table(caption, ("What", "How much", "Batch or lot", "There"), rows, (38, 30, 22, 10))
    supplies = "".join(tick(supply) for supply in _supplies(d))
    return section("lay-out", "Lay out", f'{told}\n<div class="ticks">{supplies}</div>')


def _supplies(decision: Decision) -> list[str]:
    told = []
    for supply in _SUPPLIES:
        steps = [str(n) for n, step in enumerate(decision.steps, 1) if _asks(supply, step.text)]
        if steps:
            told.append(f"{supply.name} (step {', '.join(steps)})")
        elif supply.name in _PROTECTS and any(
            _asks(supply, caution.text) for caution in decision.cautions
        ):
            told.append(f"{supply.name} (a caution)")
    return told


def _computed(value: object) -> bool:
    return isinstance(value, Number) and bool(value.function)


def _asks(supply: Supply, text: str) -> bool:
    if supply.denied and supply.denied.search(text):
        return False
    return bool(supply.asked.search(text))


def drawings(decision: Decision) -> str:
    """Return the three drawings, the smallest first: it fits under the build in print."""
    pictures = (
        behind(decision, "sheet-behind"),
        side(decision, "sheet-side"),
        unrolled(decision, "sheet-unrolled"),
    )
    body = "".join(f'<div class="drawing">\n{picture}</div>\n' for picture in pictures)
    return section("drawings", "Drawings", body, "drawings")
