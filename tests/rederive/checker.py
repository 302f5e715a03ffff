"""A Decision held, part by part, against what the rule files and what was stated come to."""

from __future__ import annotations

import hashlib
import json
import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from advisor.decision import Decision, to_plain
from tests.rederive.builds import Builds
from tests.rederive.facts import Stock
from tests.rederive.given import Given, read_given
from tests.rederive.report import Line
from tests.rederive.rules import Base
from tests.rederive.run import Runner
from tests.rederive.told import Inputs, Teller

SEALED_ONLY = (
    (
        "questions.*.tried, changing, stopping and example, for each answer tried would take all "
        "builds anew; whether they agree with each other and with their order is checked"
    ),
    (
        "title, stated.*.file and line, and the spelling of written, where the setup file is not "
        "there to compare; file and line are checked wherever a reason names them"
    ),
)
"""All that is not derived anew. Nothing but the seal tells whether it was edited."""

_WEIGHED = ("tried", "changing", "stopping", "example")

Plain = dict[str, Any]
Progress = Callable[[int, int], None]


class Checker:
    """Holds Decisions against one rule base and one stock.

    Args:
        base: the rules.
        stock: what there was to choose from.
        near: the folder below which the setup file of a Decision may be looked into.
        progress: told now and then how many builds are judged, and of how many.
    """

    def __init__(
        self, base: Base, stock: Stock, near: str = os.curdir, progress: Progress | None = None
    ) -> None:
        self.runner = Runner(base)
        self.base = base
        self.stock = stock
        self.near = near
        self.progress = progress
        self._derived: dict[str, Plain] = {}

    def lines(self, found: Plain) -> list[Line]:
        """Say of every part of a Decision whether it holds."""
        given = self.given(found)
        expected = self.derive(given.inputs)
        told = [*given.lines, *compare(weighed(expected, found), found)]
        return [*sorted(told, key=lambda line: _place_of(line.field)), _seal_line(found)]

    def given(self, found: Plain) -> Given:
        """Read what was put in."""
        return read_given(found, self.base, self.stock, self.near)

    def derive(self, inputs: Inputs) -> Plain:
        """Return the Decision that these inputs come to; worked out once for the same inputs."""
        key = repr(inputs)
        if key not in self._derived:
            builds = Builds(self.runner, inputs.values, self.stock, self.progress)
            decision = Teller(builds, inputs).decision()
            # As it travels through a file, so that lists and tuples are alike.
            self._derived[key] = json.loads(json.dumps(to_plain(decision)))
        return self._derived[key]


# The seal


def seal_of(found: Plain) -> str:
    """Return the SHA-256 of all but the seal, written canonically: names sorted, no spaces.

    Whole numbers are written without a point, so that it survives other writers of JSON.
    """
    body = {name: _whole(part) for name, part in found.items() if name != "seal"}
    text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _whole(part: Any) -> Any:
    if isinstance(part, float) and part.is_integer():
        return int(part)
    if isinstance(part, dict):
        return {name: _whole(inner) for name, inner in part.items()}
    return [_whole(inner) for inner in part] if isinstance(part, list) else part


def _seal_line(found: Plain) -> Line:
    if "seal" not in found:
        return Line("seal", holds=None, words="there is none")
    expected = seal_of(found)
    holds = found["seal"] == expected
    words = "nothing was edited since it was sealed" if holds else "was broken by an edit"
    return Line("seal", holds, found["seal"], expected, words)


# Comparing


def weighed(expected: Plain, found: Plain) -> Plain:
    """Take over what a Decision tells of answers tried, if it agrees with itself, and its order."""
    told = {question.get("fact"): question for question in found["questions"]}
    if not any(question.get("tried") for question in told.values()):
        return expected
    questions = []
    for question in expected["questions"]:
        there = told.get(question["fact"], {})
        weights = {name: there[name] for name in _WEIGHED if name in there}
        questions.append({**question, **weights} if _agrees(weights) else question)
    order = {question["fact"]: i for i, question in enumerate(questions)}
    questions.sort(key=lambda question: (*_decides(question), order[question["fact"]]))
    return {**expected, "questions": questions}


def _agrees(weights: Plain) -> bool:
    tried, changing, stopping = (weights.get(name, 0) for name in _WEIGHED[:3])
    told = bool(weights.get("example")) == bool(changing)
    return told and 0 <= stopping <= changing <= tried and 0 not in weights.values()


def _decides(question: Plain) -> tuple[float, float]:
    """Return how little a question decides: by answers that lead elsewhere, then to no build."""
    tried, changing, stopping = (question.get(name, 0) for name in _WEIGHED[:3])
    return (-(changing - stopping) / tried, -stopping / tried) if tried else (0.0, 0.0)


def compare(
    expected: Plain, found: Plain, fields: Iterable[str] = Decision._fields
) -> Iterator[Line]:
    """Yield a line for each part that is the same, an entry or an item, and for each difference."""
    for field in fields:
        # Each statement has its line already.
        if field != "stated":
            yield from _compared(field, expected[field], found.get(field))


def _compared(field: str, mine: Any, theirs: Any) -> Iterator[Line]:
    """Compare one field: a value, the entries of a mapping, or the items of a list."""
    if isinstance(mine, dict) and isinstance(theirs, dict) and mine:
        same = [key for key in mine if key in theirs and mine[key] == theirs[key]]
        for key in (key for key in {**mine, **theirs} if key not in same):
            yield from _entry(f"{field}.{key}", mine, theirs, key)
        yield from (_same(f"{field}.{key}", mine[key]) for key in same)
    elif mine == theirs:
        several = isinstance(mine, list) and mine
        parts = [(f"{field}.{i}", part) for i, part in enumerate(mine)] if several else []
        yield from (_same(at, part) for at, part in parts or [(field, mine)])
    else:
        yield from _differences(field, mine, theirs)
        if isinstance(mine, list) and isinstance(theirs, list):
            both = Counter(map(_text, mine)) & Counter(map(_text, theirs))
            yield from (Line(field, True, _cut(t), _cut(t)) for t in both.elements())


def _differences(field: str, mine: Any, theirs: Any) -> Iterator[Line]:
    """Yield what differs, as far down as it can be told."""
    if mine == theirs:
        return
    if isinstance(mine, dict) and isinstance(theirs, dict):
        for key in {**mine, **theirs}:
            yield from _entry(f"{field}.{key}", mine, theirs, key)
    elif isinstance(mine, list) and isinstance(theirs, list):
        yield from _listed(field, mine, theirs)
    else:
        yield _differs(field, theirs, mine, "comes out otherwise")


def _entry(field: str, mine: Plain, theirs: Plain, key: str) -> Iterator[Line]:
    if key not in theirs:
        yield Line(field, holds=False, expected=_text(mine[key]), words="is left out")
    elif key not in mine:
        words = "does not follow from the rules"
        yield Line(field, holds=False, found=_text(theirs[key]), words=words)
    else:
        yield from _differences(field, mine[key], theirs[key])


def _listed(field: str, mine: list[Any], theirs: list[Any]) -> Iterator[Line]:
    """Tell how lists differ: by what each item is about, if that is told once, else by place."""
    here, there = (_by_name(one) for one in (mine, theirs))
    if here is not None and there is not None:
        for name in {**here, **there}:
            yield from _entry(f"{field}.{name}", here, there, name)
        yield from _order(field, [n for n in here if n in there], [n for n in there if n in here])
    elif len(mine) == len(theirs):
        for i, (one, other) in enumerate(zip(mine, theirs, strict=True)):
            yield from _differences(f"{field}.{i}", one, other)
    else:
        counts = Counter(map(_text, mine)), Counter(map(_text, theirs))
        for text in (counts[0] - counts[1]).elements():
            yield Line(field, holds=False, expected=text, words="leaves this out")
        for text in (counts[1] - counts[0]).elements():
            yield Line(field, holds=False, found=text, words="has what does not follow")


def _by_name(items: list[Any]) -> Plain | None:
    """Return the items of a list by the rule or fact they are about; None if that names no one."""
    named: Plain = {}
    for item in items:
        about = item if isinstance(item, str) else None
        if isinstance(item, dict):
            about = next((item[key] for key in ("rule", "fact") if key in item), None)
        if not isinstance(about, str) or about in named:
            return None
        named[about] = item
    return named


def _order(field: str, mine: list[str], theirs: list[str]) -> Iterator[Line]:
    if mine != theirs:
        at = next(i for i, name in enumerate(mine) if name != theirs[i])
        yield _differs(field, theirs[at:], mine[at:], "stands in another order")


_SHORT = 120


def _cut(text: str) -> str:
    return text if len(text) <= _SHORT else text[: _SHORT - 3] + "..."


def _text(part: Any) -> str:
    return json.dumps(part, sort_keys=True, ensure_ascii=False)


def _same(field: str, part: Any) -> Line:
    text = _cut(_text(part))
    return Line(field, holds=True, found=text, expected=text)


def _differs(field: str, theirs: Any, mine: Any, words: str) -> Line:
    return Line(field, holds=False, found=_text(theirs), expected=_text(mine), words=words)


def _place_of(field: str) -> int:
    top = field.partition(".")[0]
    return Decision._fields.index(top) if top in Decision._fields else len(Decision._fields)
