"""The conformance cases hold for the engine, and for the naive evaluator that wrote them."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from advisor.documents import read_document
from tests.conformance.kit import Case, engine, naive, read_cases
from tests.heavy import untraced

pytestmark = untraced

CASES = read_cases()
README = Path(__file__).parent / "README.md"
FOLDER = Path(__file__).parent / "cases"
PARTS = {"case", "says", "rules", "layers", "given", "stated", "options", "favours", "expect"}


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_the_engine_keeps_to_the_case(case: Case, tmp_path: Path) -> None:
    assert engine(case, str(tmp_path)) == case.expect


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_the_naive_evaluator_keeps_to_the_case(case: Case) -> None:
    assert naive(case) == case.expect


def test_the_order_of_rules_changes_nothing(tmp_path: Path) -> None:
    mixed = [case for case in CASES if len(case.body.get("rules", ())) > 1]
    assert len(mixed) > 150
    for number, case in enumerate(mixed):
        folder = tmp_path / str(number)
        folder.mkdir()
        assert engine(case, str(folder), mixed=True) == case.expect, case.name


def test_every_case_has_a_name_of_its_own_and_is_complete() -> None:
    assert len(CASES) >= 300
    names = Counter(case.name for case in CASES)
    assert [name for name, times in names.items() if times > 1] == []
    for case in CASES:
        assert re.fullmatch("[a-z0-9]+(-[a-z0-9]+)+", case.name), case.name
        assert set(case.body) <= PARTS, case.name
        assert ("rules" in case.body) != ("layers" in case.body), case.name
        assert case.expect, case.name
        assert ("states" in case.expect) + ("refused" in case.expect) + (
            "status" in case.expect
        ) == 1


def test_every_outcome_is_among_the_cases() -> None:
    seen: Counter[str] = Counter()
    for case in CASES:
        expect = case.expect or {}
        seen.update(expect.get("states", {}).values())
        seen.update(expect.get("demands", {}).values())
        seen.update(list(expect))
        seen.update(list(expect.get("reasons", {})))
        seen.update(f"refused: {why}" for why in [expect.get("refused")] if why)
        seen.update(f"status: {word}" for word in [expect.get("status")] if word)
    assert set(seen) == {
        *("fired", "silent", "undecided", "met", "broken", "unproven"),
        *("states", "facts", "ties", "open", "standing", "defeats", "demands", "reasons"),
        *("lacks", "unless_unknown", "stands_unless", "value_stands_unless"),
        *("rules", "retired", "status", "ranking", "nearest", "builds", "conflicts"),
        *("status: advised", "status: judged", "status: rejected", "status: stopped"),
        *("refused", "refused: circle", "refused: meaningless", "refused: clash"),
        *("refused: no such rule", "refused: not below", "refused: gone already"),
        *("refused: above", "refused: version", "refused: favour of another layer"),
        "refused: favour not listed",
    }
    assert all(seen[what] >= 10 for what in ("fired", "silent", "undecided", "met", "broken"))


def test_the_readme_tells_every_file_and_its_count() -> None:
    text = README.read_text(encoding="utf-8")
    told = dict(re.findall(r"^\| \[?`([a-z-]+)\.yaml`\]?.*\| (\d+) \|$", text, re.MULTILINE))
    counted = {
        path.stem: len(read_document(str(path)).data["cases"]) for path in FOLDER.glob("*.yaml")
    }
    assert {name: int(count) for name, count in told.items()} == counted


def test_the_cases_are_not_about_arrows() -> None:
    words = r"\b(arrow|vane|fletching|broadhead|shaft|bow|nock|feather|point)s?\b"
    for path in FOLDER.glob("*.yaml"):
        assert not re.search(words, path.read_text(encoding="utf-8")), path.name
