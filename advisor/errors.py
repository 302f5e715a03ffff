"""Faults: what is wrong, where it stands, and what to do about it.

Every refusal of the project ends here. A `Fault` is one thing wrong; `Faults` is the exception
that carries all of them at once; a `Collector` gathers them. Wording: lower case, no full stop,
the user's own words in backticks, the remedy kept apart from the complaint.

This module is imported by every command, so it imports nothing: the helpers that need a library
load it when there is a fault to tell.
"""

from __future__ import annotations

TYPE_CHECKING = False  # the literal name is enough for a type checker, and saves importing typing
if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Literal, NoReturn

    About = Literal["setup", "rules", "usage"]

WIDTH = 80
SHOWN = 50
"""How many faults a report spells out; the rest are counted."""

_WIDEST_PLACE = 34
_EXIT_STATUS = {"setup": 2, "usage": 2, "rules": 3}
_CLOSE_ENOUGH = 0.6
_LONGEST_WORD = 80


class Fault:
    """One thing wrong with what was given. Equal, hashable and not to be changed.

    `file` is the file as the user wrote its name (or the option it came from), `line` and `column`
    count from 1 and are None where the fault is not at one place; `what` is the complaint, `help`
    the remedy (may be empty).
    """

    __slots__ = ("column", "file", "help", "line", "what")

    file: str
    line: int | None
    column: int | None
    what: str
    help: str

    def __init__(
        self, file: str, line: int | None, column: int | None, what: str, remedy: str = ""
    ) -> None:
        put = object.__setattr__
        put(self, "file", file)
        put(self, "line", line)
        put(self, "column", column)
        put(self, "what", what)
        put(self, "help", remedy)

    @property
    def place(self) -> str:
        """`file:line:column`, or as much of it as is known."""
        place = visible(self.file)
        if self.line is not None:
            place += f":{self.line}"
            if self.column is not None:
                place += f":{self.column}"
        return place

    def key(self) -> tuple[str, int, int, str, str]:
        """Return what faults are sorted and compared by."""
        return (self.file, self.line or 0, self.column or 0, self.what, self.help)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError(f"a fault is not to be changed: {name}")

    def __delattr__(self, name: str) -> NoReturn:
        raise AttributeError(f"a fault is not to be changed: {name}")

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Fault) and self.key() == other.key()

    def __hash__(self) -> int:
        return hash(self.key())

    def __repr__(self) -> str:
        return f"Fault({self.file!r}, {self.line}, {self.column}, {self.what!r}, {self.help!r})"

    def __reduce__(self) -> tuple[type[Fault], tuple[str, int | None, int | None, str, str]]:
        # Orders are worked in several processes, so a fault must travel between them.
        return (Fault, (self.file, self.line, self.column, self.what, self.help))


class Faults(Exception):  # noqa: N818 - the word the reports use, and it is several
    """All that is wrong, sorted by file, line and column, each once.

    `about` says whose fault it is: the "setup" (also stock), the "rules", or the "usage" of a
    command.
    """

    faults: tuple[Fault, ...]
    about: About

    def __init__(self, faults: Iterable[Fault], about: About = "setup") -> None:
        self.faults = tuple(sorted(set(faults), key=Fault.key))
        self.about = about
        super().__init__(self.faults, about)

    @property
    def exit_status(self) -> int:
        """The exit status of a command that ends with these: 3 for rules, else 2."""
        return _EXIT_STATUS[self.about]

    def __str__(self) -> str:
        return self.text("nothing was done")

    def text(self, closing: str) -> str:
        """Write the report for a terminal: one entry a fault, then the count and `closing`.

        No line end at the end. Lines are at most 80 columns, unless one word is longer.
        """
        from textwrap import wrap

        shown = self.faults[:SHOWN]
        widest = max((len(fault.place) for fault in shown), default=0)
        beside = widest <= _WIDEST_PLACE
        indent = " " * (widest + 2 if beside else 4)
        lines: list[str] = []
        for fault in shown:
            body: list[str] = []
            for part in (fault.what, fault.help):
                # One over-long word is better whole than cut: it may have to be copied.
                body += wrap(
                    visible(part),
                    WIDTH - len(indent),
                    break_long_words=False,
                    break_on_hyphens=False,
                )
            if beside and body:
                lines.append(fault.place.ljust(len(indent)) + body.pop(0))
            else:
                lines.append(fault.place)
            lines += [indent + line for line in body]
        if len(self.faults) > len(shown):
            lines.append(f"and {len(self.faults) - len(shown)} more")
        count = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        lines.append(f"{count}; {closing}")
        return "\n".join(lines)


class Collector:
    """Gathers faults, so that all of them can be told at once."""

    __slots__ = ("_faults", "about")

    about: About

    def __init__(self, about: About = "setup") -> None:
        self.about = about
        self._faults: list[Fault] = []

    def add(
        self, file: str, line: int | None, column: int | None, what: str, remedy: str = ""
    ) -> None:
        """Take one fault."""
        self._faults.append(Fault(file, line, column, what, remedy))

    def absorb(self, faults: Iterable[Fault] | Faults) -> None:
        """Take the faults of another collector or of an exception that was caught."""
        self._faults += faults.faults if isinstance(faults, Faults) else faults

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What was gathered, in the order it came."""
        return tuple(self._faults)

    def __len__(self) -> int:
        return len(self._faults)

    def raise_if_any(self) -> None:
        """Raise Faults if anything was gathered."""
        if self._faults:
            raise Faults(self._faults, self.about)


def visible(text: str) -> str:
    """Return `text` on one line: what cannot be seen, or would drive a terminal, as an escape."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in text)


def quoted(text: str, limit: int = 60) -> str:
    """Put the user's own words in backticks, safe to print, cut after `limit` letters."""
    shown = text if len(text) <= limit else text[: limit - 3] + "..."
    return f"`{visible(shown)}`"


def did_you_mean(word: str, choices: Iterable[str]) -> str | None:
    """Return the choice that `word` most likely stands for, or None when none is near."""
    near = _near(word, choices)
    return near[0] if near else None


def suggest(word: str, choices: Iterable[str], kind: str = "choices") -> str:
    """Write the remedy for a word that is none of `choices`: the nearest, then all of them.

    "did you mean fixed-blade? choices: field-point, ..."; at most twelve are listed.
    """
    known = list(dict.fromkeys(choices))
    near = _near(word, known)
    told = f"did you mean {' or '.join(near)}? " if near else ""
    listed = ", ".join(known[:12]) + (f" and {len(known) - 12} more" if len(known) > 12 else "")
    return f"{told}{kind}: {listed}" if known else told.rstrip()


def _near(word: str, choices: Iterable[str]) -> list[str]:
    """Return the nearest choice, and the next if all but as near; never `word` itself."""
    folded: dict[str, str] = {}
    for choice in choices:
        if choice != word:
            folded.setdefault(_fold(choice), choice)
    wanted = _fold(word)
    if not wanted or len(wanted) > _LONGEST_WORD or not folded:
        return []
    if wanted in folded:
        return [folded[wanted]]
    from difflib import SequenceMatcher, get_close_matches

    near = get_close_matches(wanted, folded, n=2, cutoff=_CLOSE_ENOUGH)
    if len(near) == 2:
        first, second = (SequenceMatcher(None, name, wanted).ratio() for name in near)
        if first - second > 0.05:
            near.pop()
    return [folded[name] for name in near]


def _fold(word: str) -> str:
    return word.strip().lower().replace("_", "-").replace(" ", "-")
