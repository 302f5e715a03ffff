"""Numbers as they are said: `about 70 lb`, `5,8 mm`, `a dozen`, `28 and a half inches`.

Only what can be meant in one way is put into digits; a span is refused, as one value is due.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from advisor.errors import quoted
from advisor.quantities import format_number, format_quantity
from advisor.vocabulary import COUNT, FactEntry, UnfitError

_LONGEST = 100
"""The longest text in which a number is looked for."""

_ABOUT = re.compile(
    r"^(?:(?:it is|it's|its|about|approximately|approx\.?|around|roughly|some|circa|ca\.?|say)"
    r"(?=[\s\d])|[~\u2248])\s*",
    re.IGNORECASE,
)
_OR_SO = re.compile(r"[\s,]+(?:or so|or thereabouts|roughly|approximately|about)$", re.IGNORECASE)
_NONE = re.compile(r"(?:none|nothing|nil|no|not any)(?: (?P<what>[a-z ]+))?", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"(?<![\d.,])(0,\d+|\d+,(?:\d{1,2}|\d{4,}))(?![\d.,])")
_AN_INCH = re.compile(r" an? (?=(?:inch|met(?:re|er)|pound)$)", re.IGNORECASE)

_NUMBER = r"(\d+(?:\.\d+)?(?: \d+/\d+)?(?![\d/]))"
_SPAN = re.compile(
    rf"(?:between |from )?{_NUMBER}\s*(?:[^\d\s/-][^\d]*?)?\s*"
    rf"(?:-|\u2013|\u2014|\.\.+|\bto\b|\band\b|\bor\b)\s*{_NUMBER}(\s*)(\D*)",
    re.IGNORECASE,
)

_ONES = (  # noqa: SIM905 - easier read than a list
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
    "fifteen sixteen seventeen eighteen nineteen"
).split()
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()  # noqa: SIM905
_VALUE: Mapping[str, int] = {
    **{word: n for n, word in enumerate(_ONES)},
    **{word: 10 * n for n, word in enumerate(_TENS, 2)},
}
_PART = {"half": "1/2", "quarter": "1/4", "three quarters": "3/4"}
_SAID = re.compile(
    rf"^(?:(?P<hundreds>{'|'.join(_ONES[1:10])}|an?) hundred(?: and|,)?(?=\s|$)\s*)?"
    rf"(?P<rest>(?:(?:{'|'.join(_TENS)})(?:[- ](?:{'|'.join(_ONES[1:10])}))?|{'|'.join(_ONES)})"
    r"(?![a-z]))?\s*",
    re.IGNORECASE,
)
_A_PART = re.compile(
    r"^(?:(?P<whole>\d+) and )?(?:an? )?(?P<part>half|quarter|three[- ]quarters)"
    r"(?: of)?(?: an?)?(?=\s|$)",
    re.IGNORECASE,
)
_DOZEN = re.compile(r"^(?:an?|(\d+)) dozen(?=\s|$)", re.IGNORECASE)


def in_digits(entry: FactEntry, text: str) -> str:
    """Return a number as it would be written, if it was said in one of the ways known.

    Args:
        entry: the fact asked for, a count or a quantity.
        text: what was typed, without spaces round it.

    Raises:
        UnfitError: if it is a span of two values.
    """
    if len(text) > _LONGEST:
        return text
    nothing = _nothing(entry, text)
    if nothing is not None:
        return nothing
    said = _OR_SO.sub("", _ABOUT.sub("", _ABOUT.sub("", text)))
    said = _DECIMAL_COMMA.sub(lambda found: found[1].replace(",", "."), said)
    said = _spelled_out(said)
    _refuse_span(entry, said, text)
    if entry.kind == COUNT:
        return _counted(entry, said)
    return _AN_INCH.sub("/", said)


def _nothing(entry: FactEntry, text: str) -> str | None:
    """Return zero for `none`, where the fact can be zero: what is not there weighs nothing."""
    found = _NONE.fullmatch(text)
    if found is None or entry.low != 0:
        return None
    known = f"{entry.name} {entry.label} {entry.question}".lower()
    if any(word not in known for word in (found["what"] or "").lower().split()):
        return None
    return "0" if entry.kind == COUNT else format_quantity(0.0, entry.unit)


def _spelled_out(said: str) -> str:
    """Put a number in words at the beginning into digits."""
    found = None if _A_PART.match(said) else _SAID.match(said)
    if found is not None and (found["hundreds"] or found["rest"]):
        hundreds = (found["hundreds"] or "zero").lower()
        value = 100 * (1 if hundreds in ("a", "an") else _VALUE[hundreds])
        value += sum(_VALUE[word] for word in re.split("[- ]", (found["rest"] or "zero").lower()))
        said = f"{value} {said[found.end() :]}".rstrip()
    said = _A_PART.sub(
        lambda x: f"{x['whole'] or ''} {_PART[x['part'].lower().replace('-', ' ')]}".lstrip(), said
    )
    return _DOZEN.sub(lambda dozen: format_number(12.0 * int(dozen[1] or 1)), said)


def _counted(entry: FactEntry, said: str) -> str:
    """Leave out what is counted, if it is what the question counts: `12 arrows`."""
    number, _, what = said.partition(" ")
    asked = f"{entry.label} {entry.question}".lower()
    return number if number.isdecimal() and what and what.lower() in asked else said


def _refuse_span(entry: FactEntry, said: str, text: str) -> None:
    found = _SPAN.fullmatch(said)
    if found is None:
        return
    low, high, gap, unit = found.groups()
    if not unit and entry.unit and entry.kind != COUNT:
        gap, unit = " ", format_quantity(1.0, entry.unit).removeprefix("1").strip()
    ends = [f"{end}{gap}{unit}".rstrip() for end in (low, high)]
    raise UnfitError(f"{quoted(text)} is a span, not one value", f"write {' or '.join(ends)}")
