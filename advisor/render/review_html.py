"""The Review as one page of HTML that a reviewer takes away: no script, nothing fetched.

What is dangerous comes first, then what is advised and how firm that is, then why, what lost and
what could change it, and last the whole way back: facts, numbers, stages of the choice, sources,
and each rule as it stood. Every rule is a link to its text, every step's number one to its place.
"""

from __future__ import annotations

import re

from advisor.render import (
    review_back,
    review_change,
    review_rules,
    review_top,
    review_why,
    sheet_top,
)
from advisor.render.review_marks import Marks
from advisor.render.review_style import OWN
from advisor.render.sheet_style import STYLE
from advisor.render.sheet_words import esc
from advisor.reviewing import Review

CLOSING = (
    "This page tells what the rules say and what they rest on; it proves no arrow safe. The "
    "instructions of the makers of the bow, shaft, head, vane, primer and glue come before these "
    "rules, local law decides what may be shot where, and what asks for a licence or for training "
    "is left to those who have it. Where the advice says stop, stop."
)
UNFOLDS = "This browser prints only the parts that are unfolded: unfold what you need first."

_HEADING = re.compile(r'^<section id="([\w-]+)"[^>]*>\n<h2 id="[\w-]+">(.*?)</h2>')


def render(review: Review, colour: bool) -> str:  # noqa: ARG001  # style follows the reader
    """Return the Review as one HTML document, whole in itself."""
    marks = Marks(review)
    verdict = review_top.verdict(marks)
    sections = [
        sheet_top.build(review.decision),
        review_top.cautions(marks),
        review_top.measure(marks),
        review_why.why(marks),
        review_why.lost(marks),
        review_why.disputes(marks),
        review_why.open_ends(marks),
        review_change.near(marks),
        review_change.turning(marks),
        review_change.others(marks),
        review_change.questions(marks),
        review_back.bench(marks),
        review_back.facts(marks),
        review_back.numbers(marks),
        review_back.choices(marks),
        review_rules.evidence(marks),
        review_rules.rules(marks),
    ]
    listed = [found.groups() for one in sections if (found := _HEADING.match(one))]
    body = marks.linked(
        f"{review_top.header(marks)}{verdict}"
        f'<p class="unfolds">{UNFOLDS}</p>\n'
        f"{review_top.contents([(ids, title) for ids, title in listed])}"
        f"<main>\n{''.join(sections)}</main>\n"
        f'<footer class="closing"><p>{esc(CLOSING)}</p></footer>\n'
    )
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{esc(review.decision.title or 'Untitled setup')}, review</title>\n"
        f"<style>{STYLE}{OWN}</style>\n</head>\n<body>\n{body}</body>\n</html>\n"
    )


__all__ = ["render"]
