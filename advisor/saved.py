"""Saved Decisions: reading one back, and the setup that it was decided on.

A Decision that `advise --format json` wrote is input like any other: it is bounded, checked
against its schema, and refused with every fault. It is parsed as JSON; the YAML reader, which
knows where each part of a text stands, is asked for places only where there is a fault to tell.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from math import isfinite
from typing import Any, NoReturn

from advisor.decision import FORMAT, Decision, FactValue, Number, from_plain
from advisor.documents import LARGEST, Document, check_schema, read_document
from advisor.engine.values import CONCLUDED
from advisor.errors import Collector, Faults, quoted
from advisor.rulebase.model import RuleBase
from advisor.seals import seal
from advisor.setups.model import Given, Setup, Stock
from advisor.setups.read import read_setup
from advisor.vocabulary import FactEntry, UnfitError, Vocabulary

SEAL = "seal"
"""Beside the Decision's own parts its file may hold this, for whoever checks the file."""

_ANEW = "make it anew: advisor advise SETUP.yaml --format json"
# Characters that cannot be seen, or turn the direction of writing, or are halves of a pair.
_UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufeff]"
)


def read_decision(path: str, text: str | None = None) -> Decision:
    """Read a saved Decision.

    Args:
        path: of the file, as the user wrote it.
        text: the file's contents, if they were read already.

    Raises:
        Faults: about "setup": no such file, no JSON, another format, or no Decision at all.
    """
    from advisor.rulebase.decision_schema import decision as decision_schema

    document = _Saved(path, _text_of(path) if text is None else text)
    data = document.data
    collector = Collector("setup")
    _refuse_unseen(path, document, data, collector)
    if not isinstance(data, dict) or not {"rulebase", "given"} <= data.keys():
        collector.add(path, 1, 1, "this is no Decision", _ANEW)
        collector.raise_if_any()
    told = data.get("format")
    if told is not None and told != FORMAT:
        what = f"this is a Decision of format {quoted(str(told))}; format {FORMAT} is read here"
        collector.add(path, *document.where("format"), what, _ANEW)
        collector.raise_if_any()
    document.data = {name: part for name, part in data.items() if name != SEAL}
    check_schema(document, decision_schema(), collector)
    collector.raise_if_any()
    if SEAL in data and data[SEAL] != seal(document.data):
        collector.add(
            path,
            *document.where(SEAL),
            "this was changed after it was written: its seal is broken",
            f"advisor recheck {path} tells what; or {_ANEW}",
        )
    collector.raise_if_any()
    return from_plain(document.data)


def is_saved(text: str) -> bool:
    """Tell whether a text is a saved Decision, or meant to be one, and not a setup.

    A setup may be JSON too, but it has no fact named like the parts of a Decision.
    """
    return text.removeprefix("\ufeff").lstrip().startswith("{") and '"rulebase"' in text


class _Saved(Document):
    """JSON that was parsed; where its parts stand is looked up when it is asked for."""

    def __init__(self, path: str, text: str) -> None:
        self.text = text.removeprefix("\ufeff")
        self._places: Document | None = None
        super().__init__(path, _parsed(path, self.text), None)

    def where(self, *path: str | int) -> tuple[int, int]:
        """Return line and column of a value, or the beginning where they cannot be told."""
        return self._document.where(*path)

    def where_key(self, *path: str | int) -> tuple[int, int]:
        """Return line and column of the name before a value."""
        return self._document.where_key(*path)

    def written(self, *path: str | int) -> str | None:
        """Return the words of a value."""
        return self._document.written(*path)

    @property
    def _document(self) -> Document:
        if self._places is None:
            try:
                self._places = read_document(self.path, self.text)
            except Faults:
                # JSON allows a few things that YAML does not, such as escapes of halves of a pair.
                self._places = read_document(self.path, "{}")
        return self._places


def _parsed(path: str, text: str) -> Any:
    """Return what a text holds as JSON."""
    collector = Collector("setup")
    if len(text) > LARGEST:
        _refuse(path, text, "this is too large")
    try:
        return json.loads(
            text, object_pairs_hook=_once, parse_float=_finite, parse_constant=_no_number
        )
    except json.JSONDecodeError as error:
        what = f"this is no JSON: {error.msg[0].lower()}{error.msg[1:]}"
        collector.add(path, error.lineno, error.colno, what, _ANEW)
        raise Faults(collector.faults, "setup") from None
    except RecursionError:
        _refuse(path, text, "this is nested too deeply")
    except ValueError as error:
        _refuse(path, text, str(error))


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"{quoted(twice)} is written twice")
    return made


def _finite(written: str) -> float:
    found = float(written)
    if not isfinite(found):
        raise ValueError(f"{quoted(written)} is too large a number")
    return found


def _no_number(written: str) -> NoReturn:
    raise ValueError(f"{quoted(written)} is no number of JSON")


def _text_of(path: str) -> str:
    try:
        with open(path, "rb") as file:
            raw = file.read(LARGEST + 1)
        text = raw.decode() if len(raw) <= LARGEST else None
    except (OSError, ValueError):
        text = None
    if text is None:
        _refuse(path, None, "this cannot be read")
    return text


def _refuse(path: str, text: str | None, what: str) -> NoReturn:
    """Refuse a text for what the reader of documents finds in it, else for `what`."""
    read_document(path, text)
    collector = Collector("setup")
    collector.add(path, 1, 1, what, _ANEW)
    raise Faults(collector.faults, "setup")


def _refuse_unseen(path: str, document: _Saved, data: Any, collector: Collector) -> None:
    """Refuse texts, written as escapes, that would drive a terminal or cannot be written."""
    todo: list[tuple[tuple[str | int, ...], Any]] = [((), data)]
    while todo:
        at, part = todo.pop()
        if isinstance(part, dict):
            todo += [((*at, name), inner) for name, inner in part.items()]
            todo += [((*at, name), name) for name in part]
        elif isinstance(part, list):
            todo += [((*at, i), inner) for i, inner in enumerate(part)]
        elif isinstance(part, str) and (found := _UNSEEN.search(part)):
            what = f"a character that cannot be seen stands here (U+{ord(found[0]):04X})"
            collector.add(path, *document.where(*at), what, "delete it")


# Back to a setup


def setup_of(decision: Decision, vocabulary: Vocabulary, path: str = "the saved Decision") -> Setup:
    """Return the setup that a Decision was made on, so that it can be judged again.

    Every fact keeps the file, the line and the words it was stated with; columns are not kept in
    a Decision and are 0. What was taken from stock by its number is taken by it again.

    Args:
        decision: what was read.
        vocabulary: that of the rules it was decided by.
        path: of the file it was read from, to name in faults.

    Raises:
        Faults: about "setup": a fact, a value or a unit that the vocabulary does not know.
    """
    collector = Collector("setup")
    facts: dict[str, Given] = {}
    for name, value in decision.given.items():
        place = decision.stated.get(name)
        if name not in vocabulary:
            collector.add(path, None, None, *vocabulary.no_such(name))
        elif vocabulary[name].origin == CONCLUDED:
            what = f"{name} is concluded by rules and cannot be stated"
            collector.add(path, None, None, what, _ANEW)
        elif place is None:
            what = f"{name} is given, and nothing tells where it was stated"
            collector.add(path, None, None, what, _ANEW)
        else:
            try:
                plain = _value(value, vocabulary[name])
            except UnfitError as fault:
                collector.add(path, None, None, fault.what, fault.help)
            else:
                facts[name] = Given(plain, place.file, place.line, 0, place.written)
    collector.raise_if_any()
    return Setup(decision.title, facts, _taken(decision, path))


def _value(value: FactValue, entry: FactEntry) -> Any:
    """Return a value of a Decision as the engine holds it."""
    if isinstance(value, Number):
        if value.unit != entry.unit:
            raise UnfitError(
                f"{entry.name} is told in {quoted(value.unit)}, not {quoted(entry.unit)}", _ANEW
            )
        # The number is exact in the vocabulary's unit, which stands beside it.
        return entry._replace(bare=True).read(value.value)
    if entry.is_number:
        raise UnfitError(f"{entry.name} is told without a number", _ANEW)
    return entry.read(list(value) if isinstance(value, tuple) else value)


def _taken(decision: Decision, path: str) -> dict[str, Given]:
    """Return the stock numbers that were stated: of groups of which nothing was chosen."""
    chosen = {name.partition(".")[0] for name in decision.chosen}
    return {
        group: Given(number, path, 0, 0, number)
        for group, number in decision.items.items()
        if group not in chosen
    }


# Either of them


def read_subject(
    path: str | None,
    sets: Sequence[str],
    base: RuleBase,
    stock: Stock | None,
    text: str | None = None,
) -> Setup:
    """Read what is to be judged: a setup file, or a saved Decision, told apart by content.

    Args:
        path: of the file, or None if everything is in `sets`.
        sets: each "fact.name=value"; they stand over what the file states.
        base: the rules at hand.
        stock: the stock at hand, or None for the usual sizes of the rules.
        text: the file's contents, if they were read already.

    Raises:
        Faults: about "setup": everything wrong with the file and with `sets`, or a Decision that
            other rules or another stock made.
    """
    if path is not None and text is None:
        text = _text_of(path)
    if path is None or text is None or not is_saved(text):
        return read_setup(path, sets, base.vocabulary, text=text)
    collector = Collector("setup")
    saved, over = Setup("", {}), Setup("", {})
    try:
        decision = read_decision(path, text)
        refuse_others(decision, base, stock, path)
        saved = setup_of(decision, base.vocabulary, path)
    except Faults as faults:
        collector.absorb(faults)
    try:
        over = read_setup(None, sets, base.vocabulary)
    except Faults as faults:
        collector.absorb(faults)
    collector.raise_if_any()
    return Setup(saved.title, {**saved.facts, **over.facts}, {**saved.taken, **over.taken})


def refuse_others(decision: Decision, base: RuleBase, stock: Stock | None, path: str) -> None:
    """Refuse a Decision that other rules made, or that was chosen from another stock.

    Raises:
        Faults: about "setup", naming both.
    """
    collector = Collector("setup")
    by = decision.rulebase
    if by.digest != base.digest:
        collector.add(
            path,
            None,
            None,
            f"this was decided by {by.name} {by.version}, digest {by.digest[:12]}; the rules at "
            f"hand are {base.name} {base.version}, digest {base.digest[:12]}",
            "name the rules it was decided by with --rules, or advise anew",
        )
    here = (base.ladder if stock is None else stock).name
    if decision.stock != here:
        collector.add(
            path,
            None,
            None,
            f"this was chosen from the stock {quoted(decision.stock)}; the stock at hand is "
            f"{quoted(here)}",
            "name the stock it was chosen from with --stock, or advise anew",
        )
    collector.raise_if_any()


__all__ = ["is_saved", "read_decision", "read_subject", "refuse_others", "setup_of"]
