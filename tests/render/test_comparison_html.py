"""A Comparison as a page: whole, safe, in two columns, printable on both papers."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.comparing import compare_decisions
from advisor.comparison import ALIKE, Comparison
from advisor.render import comparison_words as told
from advisor.render.comparison_html import render
from tests.comparisons import HUNTING, builds, decisions, three_against_four
from tests.heavy import untraced
from tests.render.test_comparison_text import kettles, other_kettle, ranked
from tests.render.test_sheet import HOSTILE, Page
from tests.render.test_sheet_browser import (
    PAPERS,
    Run,
    browse,  # noqa: F401  # a fixture
    measured,
    printed,
)
from tests.render.test_text import kettle


def hostile() -> Comparison:
    one = kettle()._replace(
        title=HOSTILE,
        stock=HOSTILE,
        items={"kettle": HOSTILE},
        given={"stove.fuel": HOSTILE},
        labels={"stove.fuel": HOSTILE, "kettle.mass": HOSTILE},
    )
    return compare_decisions(one, other_kettle())


PAGES = {
    "three against four": three_against_four,
    "itself": lambda: builds(HUNTING, "", ""),
    "nothing holds": lambda: builds(
        "left-bevel-right-clamp", "fletching.direction=left", "fletching.direction=right"
    ),
    "stopped": lambda: builds("too-light", "fletching.count=3", "fletching.count=4"),
    "house against base": lambda: decisions("/first-hunting-dozen", HUNTING),
    "kettles": kettles,
    "ranked kettles": ranked,
    "hostile": hostile,
}


def plainly(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


@pytest.mark.parametrize("name", PAGES)
def test_it_is_whole_and_runs_and_fetches_nothing(name: str) -> None:
    html = render(PAGES[name](), False)
    page = Page(html)  # which insists that every element is closed
    tags = {tag for tag, _, _ in page.found}
    assert not tags & {"script", "link", "img", "iframe", "object", "form"}
    assert "default-src 'none'" in html
    attributes = [key for _, attrs, _ in page.found for key in attrs]
    assert not any(key.startswith("on") or key in ("src", "href") for key in attributes)
    ids = [attrs["id"] for _, attrs, _ in page.found if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert {attrs["aria-labelledby"] for attrs, _ in page.all("section")} <= set(ids)


@pytest.mark.parametrize("name", PAGES)
def test_it_tells_all_that_differs(name: str) -> None:
    c = PAGES[name]()
    page = Page(render(c, False))
    text = page.text()
    for row in c.rules:
        assert row.rule in text, row.rule
        if row.group != ALIKE and row.group in told.SPEAKS:
            assert row.rule in page.section(row.group)
    told_on = [(row.first, row.second) for row in c.cautions]
    told_on += [(row.first, row.second) for row in c.steps]
    for words in (words for both in told_on for words in both):
        assert plainly(words) in text
    for fact in c.facts:
        label = c.labels.get(fact.fact)
        if label and label != HOSTILE:
            assert plainly(label) in page.section("facts")
    for number in c.numbers:
        label = c.labels.get(number.fact, "")
        if label != HOSTILE:
            assert plainly(label) in page.section("little" if number.inside else "numbers")
    assert told.CLOSING in text
    for stop in told.stops(c):
        assert plainly(stop) in text


def test_the_one_ahead_is_marked_and_what_is_broken_too() -> None:
    page = Page(render(three_against_four(), False))
    sides = [attrs["class"] for attrs, _ in page.all("section", "side")]
    assert sides == ["side", "side ahead"]
    assert [text for _, text in page.all("p", "loud")] == ["BROKEN"]
    assert [text for _, text in page.all("span", "loud")] == ["second ahead"]
    halted = Page(render(PAGES["stopped"](), False))
    assert [attrs["class"] for attrs, _ in halted.all("section", "side")] == ["side halt"] * 2


def test_what_strangers_write_stays_text() -> None:
    html = render(hostile(), False)
    assert "<script" not in html
    assert "\u202e" not in html
    assert "\x07" not in html
    assert "alert(&#39;1&#39;)" in html
    assert "default-src" in html.split("<title>")[0]


@untraced
@pytest.mark.parametrize("width", [380, 1000])
@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_wider_than_the_window(browse: Run, name: str, width: int) -> None:  # noqa: F811
    html = measured(render(PAGES[name](), False))
    root = Page(browse(html, "--dump-dom", f"--window-size={width},900")).all("html")[0][0]
    assert (root["data-wide"], root["data-out"]) == ("0", "")


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("name", "most"), [("three against four", 3), ("hostile", 6)])
def test_it_prints_on_both_papers(
    browse: Run,  # noqa: F811
    tmp_path: Path,
    name: str,
    most: int,
    paper: str,
) -> None:
    found = printed(browse, tmp_path, render(PAGES[name](), False), paper)
    wide, high = PAPERS[paper]
    assert all(abs(w - wide) <= 1 and abs(h - high) <= 1 for w, h in found)
    assert 1 <= len(found) <= most
