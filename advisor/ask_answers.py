"""What a person types in an interview: commands, and answers read as a setup file would be."""

from __future__ import annotations

import re
from collections.abc import Sequence

from advisor.ask_choices import NAYS, one_choice, some_choices
from advisor.ask_measures import in_digits
from advisor.documents import parse_scalar
from advisor.errors import Faults, quoted
from advisor.quantities import format_number, format_quantity
from advisor.setups.model import Given
from advisor.vocabulary import CHOICE, COUNT, FLAG, TEXT, FactEntry, UnfitError, show

HELP, WHY, BACK, QUIT, PASS = "help", "why", "back", "quit", "pass"

LONGEST = 1000
"""The longest line that is taken for an answer."""

ANSWERED = "your answer"
"""Where a fact stands that was answered and not saved."""

_COMMANDS = {
    "?": HELP,
    "help": HELP,
    "why": WHY,
    "why?": WHY,
    "back": BACK,
    "quit": QUIT,
    "q": QUIT,
    "exit": QUIT,
    "stop": QUIT,
    "": PASS,
    "dk": PASS,
    "don't know": PASS,
    "dont know": PASS,
    "do not know": PASS,
    "i don't know": PASS,
    "i dont know": PASS,
    "i do not know": PASS,
    "unknown": PASS,
    "not known": PASS,
    "skip": PASS,
    "dunno": PASS,
    "no idea": PASS,
    "not sure": PASS,
}
_YES_NO = {
    **dict.fromkeys(("y", "yes", "true", "yep", "yeah"), True),
    **dict.fromkeys(("n", "no", "false", "nope", "none"), False),
}

_PLAIN = re.compile(r"[-+.]?[^\W_](?:[\w .+/%'\"°-]*[\w.%'\"°])?")
"""What YAML reads as one plain scalar whatever stands around it."""


def command(text: str) -> str | None:
    """Return which command a line is, or None if it must be an answer."""
    return _COMMANDS.get(" ".join(text.replace("\u2019", "'").lower().split()).rstrip(".!"))


def scalar(text: str, *, as_text: bool = False) -> str:
    """Write a text as a YAML scalar, plain if that is read back alike.

    Args:
        text: what is to stand there.
        as_text: whether it must be read as text, even if it looks like a number or a yes.
    """
    if _PLAIN.fullmatch(text) and not (as_text and parse_scalar(text, "") != text):
        return text
    marked = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else _escape(c) for c in marked) + '"'


def _escape(letter: str) -> str:
    return f"\\U{ord(letter):08X}"


def read_answer(entry: FactEntry, text: str) -> Given:
    """Read an answer to the question about a fact, as it would be read from a setup file.

    A choice may also be given by its number, by the beginning of its name or by the words told of
    it, a flag as yes or no, several choices with commas or spaces between them, and a number as it
    is said.

    Raises:
        UnfitError: with the fault and the remedy.
    """
    text = text.strip()
    _refuse_unseen(text)
    if entry.kind == CHOICE and entry.several:
        raw: object = some_choices(text.strip("[]"), entry.choices, entry.label)
    elif entry.kind == CHOICE:
        raw = one_choice(text, entry.choices, entry.label)
    elif entry.kind == FLAG:
        raw = _yes_or_no(text)
        if raw is None:
            raise UnfitError(f"{quoted(text)} is neither yes nor no", "type yes or no")
    elif entry.kind == TEXT and not (len(text) > 1 and text[0] == text[-1] == '"'):
        raw = text
    else:
        raw = _as_in_a_file(text if entry.kind == TEXT else scalar(in_digits(entry, text)))
    return Given(entry.read(raw), ANSWERED, 0, 0, show(raw))


def understood(entry: FactEntry, text: str, given: Given) -> str:
    """Return what an answer was taken for, if it was not typed just so; else an empty text."""
    typed = " ".join(text.split()).lower()
    if entry.kind == FLAG:
        taken = show(given.value)
        return "" if typed.rstrip(".!") in _YES_NO else {"true": "yes", "false": "no"}[taken]
    if entry.kind == CHOICE:
        names = list(given.value) if entry.several else [given.value]
        plain = re.sub(r"[\[\],;]|\band\b", " ", typed) if entry.several else typed
        said = [word.replace("_", "-") for word in plain.split()]
        return "" if said == names or "-".join(said) == names[0] else ", ".join(names)
    return "" if given.written.lower() == typed else given.written


def read_title(text: str) -> str:
    """Read the name of a setup; none if the line holds a command that means none.

    Raises:
        UnfitError: if it is too long, or holds what cannot be seen.
    """
    text = text.strip()
    if command(text) in (PASS, QUIT):
        return ""
    _refuse_unseen(text)
    return text


def _yes_or_no(text: str) -> bool | None:
    """Return what a line says that is yes or no, or begins so and does not take it back."""
    words = re.findall(r"[\w']+", text.replace("\u2019", "'").lower())
    said = _YES_NO.get(words[0]) if words else None
    rest = set(words[1:])
    back = {"but", "or", "only", "some", "except"} | {w for w, x in _YES_NO.items() if x != said}
    return None if rest & (back | NAYS if said else back) else said


def _as_in_a_file(written: str) -> object:
    try:
        return parse_scalar(written, "")
    except Faults as refused:
        raise UnfitError(refused.faults[0].what, refused.faults[0].help) from None


def _refuse_unseen(text: str) -> None:
    """Refuse what a setup file may not hold either, before anything of it is shown."""
    if len(text) > LONGEST:
        raise UnfitError(f"this answer is longer than {LONGEST} letters", "write it shorter")
    for letter in text:
        if "\udc80" <= letter <= "\udcff":
            byte = ord(letter) - 0xDC00
            meant = quoted(bytes([byte]).decode("cp1252", "replace"))
            raise UnfitError(
                f"the byte 0x{byte:02X} is not UTF-8",
                f"send the answers as UTF-8 (in Latin-1 this byte is {meant})",
            )
    if not text.isprintable():
        _as_in_a_file('"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"')


# How to answer


def due(entry: FactEntry, *, by_example: bool = True) -> str:
    """Say how the fact is answered; of one choice among those listed nothing need be said."""
    if entry.kind == CHOICE:
        return "Several may be named, with commas." if entry.several else ""
    if entry.kind == FLAG:
        return "Yes or no."
    if entry.kind == TEXT:
        return "In your own words."
    what = "A whole number" if entry.kind == COUNT else "A measure with its unit"
    if entry.low is not None and entry.high is not None:
        low, high = format_number(entry.low), format_quantity(entry.high, entry.unit, 9)
        what = f"A whole number from {low}" if entry.kind == COUNT else f"From {low}"
        what += f" to {high}"
    return f"{what}, such as {example(entry)}." if by_example else f"{what}."


def example(entry: FactEntry) -> str:
    """Write a value as a builder would; of lengths in inches one with a fraction."""
    if entry.low is None or entry.high is None:
        middle = 2.0
    elif entry.low < 0 or entry.unit == "%":
        middle = (entry.low + entry.high) / 2
    elif entry.low > 0:
        middle = (entry.low * entry.high) ** 0.5
    else:
        middle = entry.high / (2 if entry.kind == COUNT else 5)
    if entry.kind == COUNT:
        return format_number(max(round(middle), entry.low or 1))
    return _inches(middle) if entry.unit == "in" else format_quantity(middle, entry.unit, 2)


def _inches(x: float) -> str:
    """Write a length to the nearest eighth, from two inches on to the nearest half."""
    parts = 2 if x >= 2 else 8
    count = max(round(x * parts), 1)
    if parts == 2 and count % parts == 0:
        count += 1
    whole, over = divmod(count, parts)
    while over and over % 2 == 0:
        over, parts = over // 2, parts // 2
    fraction = f"{over}/{parts}" if over else ""
    return " ".join(part for part in (str(whole) if whole else "", fraction, "in") if part)


def listed(names: Sequence[str], most: int = 3) -> str:
    """List names in words: "a", "a and b", "a, b, c and 2 more"; a single one more is named."""
    shown = list(names[:most])
    if len(names) > most + 1:
        return f"{', '.join(shown)} and {len(names) - most} more"
    shown = list(names)
    return " and ".join((", ".join(shown[:-1]), shown[-1]) if shown[1:] else shown)
