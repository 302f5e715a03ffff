"""Which choice a person means: by number, by name, or by the words that are told of it.

A choice is taken only where just one fits; several are named, so that nothing is guessed. A word
that says no is never passed over: `not sound` is not sound.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from difflib import SequenceMatcher

from advisor.errors import did_you_mean, quoted
from advisor.vocabulary import UnfitError

_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)?")
_IDLE = frozenset(
    (  # noqa: SIM905 - easier read than a list
        "a an the of my mine our it its it's is are i i'm we they them use using with on in at to "
        "and for some this that have has got by from just only so"
    ).split()
)
"""Words that tell no choice from another."""

NAYS = frozenset(
    (  # noqa: SIM905 - easier read than a list
        "no not non none nor never neither without nothing cannot can't isn't aren't wasn't don't "
        "doesn't didn't won't hasn't haven't except but"
    ).split()
)
"""Words that turn round what is said with them."""

_BINDING = NAYS | {"or", "either"}
"""Words that change what the others mean: a choice fits only if they are told of it as well."""

_NUMERALS = (
    "zero",
    *("one", "two", "three", "four", "five", "six"),
    *("seven", "eight", "nine", "ten", "eleven", "twelve"),
)

_ALIKE = 0.8
"""How like a word must be to one it is taken for; its first letter must be the same."""

_LEAST = 4
"""Letters that a misspelt word must have to be taken for another."""

_BEGINS = 3
"""Letters that must be there of a word of a choice's name."""


def one_choice(text: str, choices: Mapping[str, str], label: str = "") -> str:
    """Return the choice that a text means.

    Args:
        text: a number, a name or the beginning of one, or words told of a choice.
        choices: the line that is told of each, by name.
        label: what is chosen; its words tell no choice from another.

    Raises:
        UnfitError: if none fits, or more than one.
    """
    named = _named(text, choices)
    if named is None:
        named = _by_words(text, choices, label)
    if named is None:
        raise _no_choice(text, choices)
    return named


def some_choices(text: str, choices: Mapping[str, str], label: str = "") -> list[str]:
    """Return the choices that a text lists: with commas, with `and`, or with spaces.

    Raises:
        UnfitError: if a part of it fits none, or more than one, or nothing is listed.
    """
    if text.strip().lower() in ("all", "all of them", "every one", "everything"):
        return list(choices)
    parts = [part.strip() for part in re.split(r"[,;&+]|\band\b", text, flags=re.IGNORECASE)]
    found: list[str] = []
    for part in filter(None, parts):
        name = _exact(part, choices)
        if name is not None:
            found.append(name)
            continue
        words = part.split()
        named = [_named(word, choices) if len(words) > 1 else None for word in words]
        found += [x for x in named if x] if all(named) else [one_choice(part, choices, label)]
    if not found:
        raise UnfitError(f"{quoted(text)} names nothing", _how(choices))
    return list(dict.fromkeys(found))


def _fold(text: str) -> str:
    return text.strip().lower().replace("_", "-").replace(" ", "-")


def _exact(text: str, choices: Mapping[str, str]) -> str | None:
    """Return the choice of this name or number."""
    folded = _fold(text)
    if folded in choices:
        return folded
    closed = {name.replace("-", ""): name for name in choices}
    if folded.replace("-", "") in closed:
        return closed[folded.replace("-", "")]
    number = folded.rstrip(".)")
    if number.isascii() and number.isdigit():
        return numbered(choices).get(int(number))
    return None


def numbered(choices: Iterable[str]) -> dict[int, str]:
    """Return the number by which each choice can be taken: its place, or the number it is.

    Where choices are numbers themselves, `three` and `six`, a 3 must not mean the third.
    """
    names = list(choices)
    if any(name in _NUMERALS for name in names):
        return {_NUMERALS.index(name): name for name in names if name in _NUMERALS}
    return dict(enumerate(names, 1))


def _named(text: str, choices: Mapping[str, str]) -> str | None:
    """Return the choice of this name or number, or whose name begins so."""
    found = _exact(text, choices)
    if found is not None:
        return found
    folded = _fold(text)
    begun = [name for name in choices if folded and name.startswith(folded)]
    if len(begun) > 1:
        raise _may_be(text, begun)
    return begun[0] if begun else None


def _words(text: str) -> list[str]:
    return [w for w in _WORD.findall(text.replace("\u2019", "'").lower()) if w not in _IDLE]


def _by_words(text: str, choices: Mapping[str, str], label: str) -> str | None:
    """Return the one choice that all the words fit which fit any; None where none does."""
    names = {name: frozenset(_words(name)) for name in choices}
    told = {name: names[name] | frozenset(_words(line)) for name, line in choices.items()}
    known = frozenset().union(*told.values())
    fits: dict[str, frozenset[str]] = {}
    for said in _joined(_words(text), known):
        word = _meant(said, known, frozenset().union(*names.values()))
        if word in _BINDING or word not in _words(label):
            fits[word] = frozenset(
                n for n in choices if word in told[n] | _begun(word, name=names[n])
            )
    fits = {word: fitting for word, fitting in fits.items() if fitting or word in _BINDING}
    found = [name for name in choices if fits and all(name in x for x in fits.values())]
    if len(found) > 1:
        by_name = [n for n in found if fits.keys() <= names[n] | _begun(*fits, name=names[n])]
        whole = [n for n in by_name if names[n] == fits.keys()]
        found = next((few for few in (whole, by_name) if len(few) == 1), found)
    elif not found and NAYS.isdisjoint(fits):
        found = [name for name in choices if any(name in x for x in fits.values())]
        if found:
            raise _may_be(text, found)
    if len(found) > 1:
        raise _may_be(text, found)
    return found[0] if found else None


def _begun(*words: str, name: Iterable[str]) -> frozenset[str]:
    """Return those of the words that begin a word of a name."""
    return frozenset(
        word for word in words if len(word) >= _BEGINS and any(x.startswith(word) for x in name)
    )


def _joined(words: list[str], known: Collection[str]) -> list[str]:
    """Put words together that are known as one: `broad head`."""
    found: list[str] = []
    for word in words:
        if found and found[-1] + word in known:
            found[-1] += word
        else:
            found.append(word)
    return found


def _meant(word: str, known: Collection[str], names: Iterable[str]) -> str:
    """Return the known word that a word is: as it is, singular, plural, or misspelt."""
    if word in known or word in _BINDING or _begun(word, name=names):
        return word
    for other in (word.removesuffix("s"), f"{word}s"):
        if other in known:
            return other
    # `unsound` is not `sound`: the first letter must be the same.
    alike = [
        (SequenceMatcher(None, other, word).ratio(), other)
        for other in known
        if min(len(word), len(other)) >= _LEAST and other[0] == word[0]
    ]
    likeness, other = max(alike, default=(0.0, word))
    return other if likeness >= _ALIKE else word


def _may_be(text: str, names: list[str]) -> UnfitError:
    may_be = " or ".join((", ".join(names[:-1]), names[-1]) if names[1:] else names)
    return UnfitError(f"{quoted(text)} may be {may_be}", "write more of it, or its number")


def _no_choice(text: str, choices: Mapping[str, str]) -> UnfitError:
    near = None if not NAYS.isdisjoint(_words(text)) else did_you_mean(text, choices)
    meant = f"did you mean {near}? " if near and near[0] == text.lower()[0] else ""
    return UnfitError(f"{quoted(text)} is no choice here", f"{meant}{_how(choices)}")


def _how(choices: Mapping[str, str]) -> str:
    return (
        f"type its number (1 to {len(choices)}), its name ({', '.join(choices)}) or a word of its "
        "line"
    )
