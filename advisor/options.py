"""From a setup and a stock to the axes of a choice: which options there are, and which is first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from advisor.engine.chooser import Axis
from advisor.engine.values import GIVEN, MISSING, OPTION, Value, has_value
from advisor.quantities import round9
from advisor.setups.model import Item, Setup, Stock
from advisor.vocabulary import CHOICE, COUNT, FactEntry, Vocabulary

HEADS = "point"
HEAD_TYPE = "point.type"
MOST_COUNTS = 12
"""How many values of a count are offered without a stock that lists them."""


class Choice(NamedTuple):
    """What will be chosen: the axes, and behind each row of listed items the item itself."""

    axes: tuple[Axis, ...]
    items: Mapping[str, tuple[Item | None, ...]]  # axis name -> item of each row
    pairing: bool  # whether the heads are the options
    fixed: frozenset[str]  # options that the setup gives
    notes: tuple[str, ...] = ()  # what to know of how the choice was laid out


def is_pairing(setup: Setup, vocabulary: Vocabulary, stock: Stock) -> bool:
    """Tell whether the fletching is given and the head is not, so that heads are the options."""
    if HEAD_TYPE not in vocabulary or HEAD_TYPE in setup.facts or not stock.items.get(HEADS):
        return False
    options = vocabulary.of_origin(OPTION)
    telling = [name for name in options if vocabulary[name].pairs] or options
    return bool(telling) and all(name in setup.facts for name in telling)


def choice(setup: Setup, vocabulary: Vocabulary, stock: Stock) -> Choice:
    """Lay out everything there is to choose, in the order in which equal builds are listed.

    Heads come first, then vanes as listed, then each single option the setup does not give: a
    choice in the order of the vocabulary, a number ascending.
    """
    stated = {name: given.value for name, given in setup.facts.items()}
    axes: list[Axis] = []
    items: dict[str, tuple[Item | None, ...]] = {}
    pairing = is_pairing(setup, vocabulary, stock)
    options = vocabulary.of_origin(OPTION)
    groups = [group for group in stock.items if group != HEADS]
    if pairing:
        members = [n for n in vocabulary.of_origin(GIVEN) if n.startswith(HEADS + ".")]
        axis, behind = _item_axis(HEADS, members, stock.items[HEADS], stated, vocabulary)
        axes.append(axis)
        items[HEADS] = behind
    grouped: set[str] = set()
    notes: list[str] = []
    for group in groups:
        members = [name for name in options if name.startswith(group + ".")]
        grouped.update(members)
        if not members or all(name in stated for name in members):
            continue
        listed = stock.items[group]
        typical = group in stock.typical
        axis, behind = _item_axis(group, members, listed, stated, vocabulary, typical=typical)
        axes.append(axis)
        items[group] = behind
        if listed and behind == (None,):
            notes.append(
                f"No listed {group} agrees with what is stated of it: it is judged as stated."
            )
        elif not typical:
            notes += _notes(axis, behind, stated, vocabulary)
    for name in options:
        if name in grouped or name in stated:
            continue
        entry = vocabulary[name]
        values = list(stock.options.get(name, ()))
        if entry.kind == CHOICE:
            order = {value: i for i, value in enumerate(entry.choices)}
            values = sorted(values or list(order), key=lambda v: order[v])
        else:
            values = sorted(values or _whole_numbers(entry))
        axes.append(Axis(name, (name,), tuple((value,) for value in values or [MISSING])))
    fixed = frozenset(name for name in options if name in stated)
    return Choice(tuple(axes), items, pairing, fixed, tuple(notes))


def _whole_numbers(entry: FactEntry) -> list[int]:
    """Return every value of a count that no stock lists, if there are few enough to offer."""
    if entry.kind != COUNT or entry.low is None or entry.high is None:
        return []
    values = list(range(int(entry.low), int(entry.high) + 1))
    return values if len(values) <= MOST_COUNTS else []


def _item_axis(
    group: str,
    members: list[str],
    listed: tuple[Item, ...],
    stated: Mapping[str, Value],
    vocabulary: Vocabulary,
    *,
    typical: bool = False,
) -> tuple[Axis, tuple[Item | None, ...]]:
    """Keep the listed items that agree with what is stated of them, or do not tell.

    If none agrees in everything, those are kept that do but for the fewest numbers by which items
    are not told apart (a foot's width, not a length; never a head's): what is stated takes their
    place. Of usual sizes such numbers are only what is usual, so what is stated always does. If
    none is kept, the one row is what the setup states: it is judged as it stands.
    """
    given = {name: stated[name] for name in members if name in stated}
    # What no item tells is left to the defaults.
    members = [m for m in members if m in given or any(m in item.facts for item in listed)]
    apart = [_apart(item, given, vocabulary) for item in listed]
    close = [
        (item, len(names))
        for item, names in zip(listed, apart, strict=True)
        if not names or (group != HEADS and all(_is_by_the_way(vocabulary[n]) for n in names))
    ]
    counts = [count for _, count in close]
    most = (max if typical else min)(counts, default=0)
    kept: list[Item | None] = [item for item, count in close if count <= most]
    rows = []
    for item in kept or [None]:
        facts = {**(item.facts if item is not None else {}), **given}
        rows.append(tuple(facts.get(name, MISSING) for name in members))
    return Axis(group, tuple(members), tuple(rows)), tuple(kept or [None])


def _is_by_the_way(entry: FactEntry) -> bool:
    return entry.is_number and not entry.pairs


def _apart(item: Item, given: Mapping[str, Value], vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the stated facts that a listed item tells otherwise."""
    return tuple(
        name
        for name, value in given.items()
        if name in item.facts and not _agrees(vocabulary[name], item.facts[name], value)
    )


def _notes(
    axis: Axis,
    behind: Sequence[Item | None],
    stated: Mapping[str, Value],
    vocabulary: Vocabulary,
) -> list[str]:
    """Say what of the listed items does not go together with the setup, or is not told of them."""
    items = [item for item in behind if item is not None]
    given = {name: stated[name] for name in axis.facts if name in stated}
    found = []
    untold: dict[tuple[str, ...], list[str]] = {}
    for name in axis.facts:
        silent = tuple(item.id for item in items if name not in item.facts)
        if name not in given and silent:
            untold.setdefault(silent, []).append(vocabulary[name].label or name)
    for silent, names in untold.items():
        whose = _listed(silent if len(silent) <= _MOST_NAMED else [f"{len(silent)} of them"])
        found.append(
            f"The list does not tell the {_listed(names)} of {whose}: what a rule asks of that "
            f"stays unproven there, so whatever tells it goes first."
        )
    return found


_MOST_NAMED = 4


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _agrees(entry: FactEntry, listed: Value, stated: Value) -> bool:
    """Tell whether two values are one, as far as the fact can be measured."""
    if entry.is_number and entry.tolerance is not None:
        return bool(round9(abs(listed - stated)) <= entry.tolerance)
    return bool(listed == stated)


def offered(axes: tuple[Axis, ...], fact: str) -> list[Value]:
    """Return the values offered for one fact, each once, as listed."""
    for axis in axes:
        if fact in axis.facts:
            place = axis.facts.index(fact)
            return list(dict.fromkeys(row[place] for row in axis.rows if has_value(row[place])))
    return []
