"""The review page on what could have come out otherwise: near misses, turns, builds, questions."""

from __future__ import annotations

from advisor.decision import Alternative, Number, Question
from advisor.derivation import Conclusion
from advisor.findings import (
    EVERY_VALUE,
    NOTHING_DEPENDS,
    VALUES_TRIED,
    TurningPoint,
)
from advisor.render.numbers import amount, apart, digits, edged, plain
from advisor.render.review_marks import Marks, paragraphs, place
from advisor.render.sheet_words import (
    asked,
    capital,
    esc,
    items,
    label,
    rule_name,
    rule_names,
    said,
    section,
    table,
    words,
)
from advisor.render.text import brief, equals_told
from advisor.render.turning_text import turn_words
from advisor.reviewing import NearMiss

_POWERLESS = {
    NOTHING_DEPENDS: "No rule that decides goes back to them",
    EVERY_VALUE: "Whatever value they have",
    VALUES_TRIED: "No value that was tried changes it, out to the ends of the range",
}
_WARNINGS = ("stop", "caution", "note")
_BESIDE = 0.001
"""Reach under which a number stands on the bound itself: it is the next one of nine digits."""


# Near misses


def near(marks: Marks) -> str:
    """Return the rules that one number keeps silent, the nearest first."""
    misses = marks.review.near_misses
    lead = (
        "<p>Rules that demand or warn, are silent here, and would fire if one number were a little "
        "otherwise, everything else as it is. How far that is, is counted in what measuring the "
        "number can be out by; where no such tolerance is declared, in hundredths of it.</p>\n"
    )
    rows = [(_rule(marks, miss), _number(marks, miss), _away(miss)) for miss in misses]
    caption = "The nearest first"
    told = table(caption, ("Rule, and what it would add", "Number", "Away"), rows, (44, 34, 22))
    nothing = "<p>None: no silent rule is kept so by one number alone.</p>"
    return section("near", "Near misses", lead + (told if rows else nothing))


def _rule(marks: Marks, miss: NearMiss) -> str:
    adds = "; ".join(_adds(marks, conclusion) for conclusion in miss.asks)
    by = f"It would be set aside at once by {rule_names(miss.overruled_by)}."
    return paragraphs(
        (
            rule_name(miss.rule),
            f"{words(miss.says)} Adds {adds}.",
            by if miss.overruled_by else "",
        )
    )


def _adds(marks: Marks, conclusion: Conclusion) -> str:
    if conclusion.kind in _WARNINGS:
        return f"a <strong>{esc(conclusion.kind)}</strong>"
    return f"<strong>{esc(conclusion.kind)}</strong>: {marks.text(conclusion.says)}"


def _number(marks: Marks, miss: NearMiss) -> str:
    short = miss.shortfall
    told = marks.d.numbers.get(short.fact)
    if told is not None:
        now = f" is {words(amount(told))}"
    else:
        now = f" is {words(plain(short.value))}" if short.value is not None else ""
    return paragraphs(
        (
            f"{marks.label(short.fact)}{now}, {marks.origin(short.fact)}",
            f"Fires at {words(edged(short.needed))}, for it asks {marks.text(short.test)}",
        )
    )


def _away(miss: NearMiss) -> str:
    distance = miss.shortfall.distance
    assert distance is not None
    if miss.reach < _BESIDE:
        return "next to nothing: it stands on the bound"
    rounded = distance._replace(value=float(f"{distance.value:.3g}"))
    reach = digits(miss.reach, 2)
    unit = f"{reach} times the tolerance" if miss.tolerance else f"{reach} % of it"
    return paragraphs((words(apart(rounded)), unit))


# Turning points


def turning(marks: Marks) -> str:
    """Return where the advice turns, fact by fact, and which stated facts cannot turn it."""
    found = marks.review.turning_points
    lead = "<p>One stated fact at a time, the smallest change of it that alters the advice.</p>\n"
    rows = [(_point(marks, point), _turns(marks, point)) for point in found.points]
    heads = ("Stated", "It turns")
    told = table("What turns the advice, the nearest first", heads, rows, (36, 64)) if rows else ""
    nothing = "<p>Nothing that is stated, changed by itself, changes this advice.</p>\n"
    body = lead + (told or nothing) + _powerless(marks)
    return section("turning", "Turning points", body)


def _point(marks: Marks, point: TurningPoint) -> str:
    fragile = "<strong>Fragile: measure it again.</strong>" if point.fragile else ""
    return paragraphs(
        (
            f"{marks.label(point.fact)} {words(_one(point.value))}",
            f"({place(point.stated.file, point.stated.line)})",
            fragile,
        )
    )


def _turns(marks: Marks, point: TurningPoint) -> str:
    lines = [marks.text(turn_words(turn)) for turn in point.turns]
    if point.keeps:
        lines.append(f"stays so with {words('; '.join(map(_one, point.keeps)))}")
    return paragraphs(lines)


def _one(value: object) -> str:
    if isinstance(value, tuple) and not isinstance(value, Number):
        return " and ".join(value) or "none"
    assert isinstance(value, (str, bool, Number))
    return plain(value)


def _powerless(marks: Marks) -> str:
    found = marks.review.turning_points.powerless
    lines = []
    for by, why in _POWERLESS.items():
        facts = [f"{marks.label(p.fact)} {words(_one(p.value))}" for p in found if p.by == by]
        if facts:
            lines.append(f"{why}: {', '.join(facts)}")
    return section("powerless", "What is powerless here", items(lines), level=3)


# Other builds


def others(marks: Marks) -> str:
    """Return what is as good, what comes close behind, and what turned the rest down."""
    d = marks.d
    body = ""
    if d.equals:
        told = words(equals_told(d, lambda name: label(d, name)))
        body += f"<p>As good: {told}.</p>\n"
    close = items((_alternative(marks, other) for other in d.alternatives), "cases")
    body += section("close", "Close behind", close, level=3)
    if d.rejected and d.builds > 1:
        rows = [
            (rule_name(one.rule), marks.text(one.asks or one.says), str(one.builds))
            for one in d.rejected
        ]
        fallen = f"{d.builds - d.survivors} of {d.builds} builds break a must or carry a stop"
        told = table(fallen, ("Rule", "It asks", "Builds"), rows, (38, 48, 14))
        body += section("turned-down", "Turned down", told, level=3)
    return section("others", "Other builds", body)


def _alternative(marks: Marks, other: Alternative) -> str:
    d = marks.d
    loses = marks.text("; ".join(other.loses))
    mine = {caution.rule for caution in d.cautions}
    more = [caution.rule for caution in other.cautions if caution.rule not in mine]
    breaks = f" It breaks {rule_names(other.breaks)}." if other.breaks else ""
    return paragraphs(
        (
            f"<strong>{capital(asked(d, brief(other, d)))}</strong>: {loses}.{breaks}",
            f"It would bring warnings of its own: {rule_names(more)}." if more else "",
        )
    )


# Questions


def questions(marks: Marks) -> str:
    """Return what to ask next and why, what was assumed, and what cannot matter."""
    d = marks.d
    lines = [_question(marks, question) for question in d.questions]
    body = "<p>What nobody stated, the most decisive first.</p>\n" if lines else ""
    body += items(lines, "cases")
    assumed = items(
        f"{marks.label(name)} {words(said(value))}"
        + (f": {words(why.because)} ({esc(why.by)})" if (why := d.assumptions.get(name)) else "")
        for name, value in d.assumed.items()
    )
    body += section("assumed", "Assumed", assumed, level=3)
    if d.cannot_matter:
        told = f"<p>{marks.plain_labels(d.cannot_matter)}.</p>"
        body += section("idle", "Not stated, and cannot matter here", told, level=3)
    return section("questions", "Questions", body or "<p>Nothing is left to ask.</p>")


def _question(marks: Marks, question: Question) -> str:
    told = []
    if question.because:
        told.append(f"{capital(words(question.because))}.")
    if question.changing:
        stop = f", {question.stopping} of them to no build" if question.stopping else ""
        told.append(
            f"{question.changing} of {question.tried} answers tried change the advice{stop}: "
            f"{marks.text(question.example)}."
        )
    elif question.tried:
        told.append(f"By itself none of {question.tried} answers tried changes the build.")
    assumed = " (assumed for now)" if question.assumed else ""
    bears = f"Bears on {rule_names(question.rules)}." if question.rules else ""
    return paragraphs(
        (
            f"<strong>{words(question.asks)}</strong> {marks.label(question.fact)}{assumed}",
            " ".join(told),
            bears,
        )
    )
