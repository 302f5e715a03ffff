"""The review page: whole, safe, every rule and every step a link away, readable and printable."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from base64 import b64encode
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from advisor.render.review_html import CLOSING, render
from advisor.render.sheet_words import may_build
from advisor.reviewing import Review
from tests.derivations import NAMES
from tests.heavy import untraced
from tests.render.test_sheet import HOSTILE, Page
from tests.render.test_sheet_browser import (
    BROWSERS,
    FLAGS,
    PAPERS,
    PATIENCE,
    Run,
    browse,  # noqa: F401  # a fixture
    measured,
    printed,
    rows_of,
)
from tests.test_review import review_of

IDS = {
    *(
        "rule",
        "by",
        "what",
        "kind",
        "fact",
        "name",
        "strength",
        "status",
        "state",
        "phase",
        "level",
    ),
    *("origin", "outcome", "part", "found", "unit", "digest", "version", "replacement", "layer"),
    *("replaces", "band"),
}
"""Fields of the nouns that hold names and choices of ours, and no words of a stranger."""


def spoiled(noun: Any, field: str = "") -> Any:
    """The same noun with something hostile wherever a stranger could have written a text."""
    if isinstance(noun, str):
        return noun if field in IDS or not noun else HOSTILE + noun
    if isinstance(noun, tuple) and hasattr(noun, "_fields"):
        parts = zip(noun._fields, noun, strict=True)
        return type(noun)(**{name: spoiled(part, name) for name, part in parts})
    if isinstance(noun, tuple):
        # Lists of names are of rules or of facts; the texts among them are these.
        texts = field in ("says", "asks", "loses", "notes", "layers")
        return tuple(
            spoiled(part, field if texts else "rule") if isinstance(part, str) else spoiled(part)
            for part in noun
        )
    if isinstance(noun, dict):
        return {name: spoiled(part, "") for name, part in noun.items()}
    return noun


def hostile(name: str) -> Review:
    found: Review = spoiled(review_of(name))
    assert found.decision.title.startswith(HOSTILE) or not review_of(name).decision.title
    return found


PAGES: dict[str, Callable[[], Review]] = {
    **{name: lambda name=name: review_of(name) for name in NAMES},  # type: ignore[misc]
    "hostile": lambda: hostile("quillmere reed-line"),
    "hostile stop": lambda: hostile("garden frozen"),
}
SEEN = (
    "fixed-blade-hunting",
    "left-bevel-right-clamp",
    "quillmere reed-line",
    "garden tied",
    "hostile",
    "hostile stop",
)
"""Those that a browser is shown: advised, rejected, a house's, tied, hostile."""


@cache
def page_of(name: str) -> tuple[Review, str, Page]:
    found = PAGES[name]()
    html = render(found, False)
    return found, html, Page(html)  # which insists that every element is closed


def plainly(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


@untraced
@pytest.mark.parametrize("name", PAGES)
def test_it_is_whole_runs_nothing_and_fetches_nothing(name: str) -> None:
    _, html, page = page_of(name)
    tags = {tag for tag, _, _ in page.found}
    assert not tags & {"script", "link", "img", "iframe", "object", "form", "svg", "base", "input"}
    assert "default-src 'none'" in html.split("<title>")[0]
    for tag, attrs, _ in page.found:
        assert not any(key.startswith("on") or key == "src" for key in attrs)
        assert "style" not in attrs or (
            tag == "col" and re.fullmatch(r"width:\d+%", attrs["style"])
        )
    style = html.split("<style>")[1].split("</style>")[0]
    assert "url(" not in style
    assert "@import" not in style
    assert all(attrs["href"].startswith("#") for attrs, _ in page.all("a"))


@pytest.mark.parametrize("name", PAGES)
def test_every_link_leads_somewhere_and_no_two_places_share_a_name(name: str) -> None:
    _, html, page = page_of(name)
    ids = [attrs["id"] for _, attrs, _ in page.found if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert {attrs["href"][1:] for attrs, _ in page.all("a")} <= set(ids)
    assert {a["aria-labelledby"] for _, a, _ in page.found if "aria-labelledby" in a} <= set(ids)
    # A name set as a rule's is a link; that none is left out, the nouns' own tests see to.
    assert html.count("<code>") == len(re.findall(r'<a href="#(?:rule|gone)-[^"]+"><code>', html))
    assert html.count("<code>") > 20


@pytest.mark.parametrize("name", PAGES)
def test_every_step_and_every_rule_has_its_place(name: str) -> None:
    found, html, page = page_of(name)
    ids = {attrs["id"] for _, attrs, _ in page.found if "id" in attrs}
    assert {f"s{step.number}" for step in found.steps} == {i for i in ids if re.match(r"s\d", i)}
    rules = {i for i in ids if i.startswith("rule-")}
    assert rules == {f"rule-{text.rule}" for text in found.rule_texts}
    assert {f"rule-{rule}" for rule in found.decision.fired} <= rules
    led_to = set(re.findall(r'href="#([\w-]+)"', html))
    for number in {n for step in found.steps for n in step.rests_on}:
        step = found.step(number)
        # The stages of an option stand under it; the first words on a rule are those at its text.
        rule = f"rule-{step.name}" if step.kind in ("rule", "advice") else ""
        assert f"s{number}" in led_to or rule in led_to or step.kind == "stage", step


@untraced
@pytest.mark.parametrize("name", PAGES)
def test_every_rule_is_there_word_for_word(name: str) -> None:
    found, _, page = page_of(name)
    shown = ["".join(words) for tag, _, words in page.found if tag == "pre"]
    cleaned = [re.sub("[\u202e\u2066\x07]", "\ufffd", text.text) for text in found.rule_texts]
    assert sorted(shown) == sorted(cleaned)


@untraced
@pytest.mark.parametrize("name", PAGES)
def test_it_can_be_read_aloud(name: str) -> None:
    _, html, page = page_of(name)
    assert '<html lang="en">' in html
    for landmark in ("header", "nav", "main", "footer"):
        assert len(page.all(landmark)) == 1
    levels = [int(tag[1]) for tag, _, _ in page.found if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert all("scope" in attrs for attrs, _ in page.all("th"))
    assert len(page.all("caption")) == len(page.all("table"))
    assert all(text.strip() for _, text in (*page.all("caption"), *page.all("summary")))
    contents = html.split("<nav")[1].split("</nav>")[0]
    assert re.findall(r'href="#([\w-]+)"', contents) == [
        attrs["id"].removesuffix("-head")
        for attrs, _ in page.all("h2")
        if attrs["id"] != "contents-head"
    ]


@pytest.mark.parametrize("name", PAGES)
def test_what_is_dangerous_comes_first(name: str) -> None:
    found, html, page = page_of(name)
    d = found.decision
    before_main = html.split("<main>")[0]
    verdict = page.all("div", "status")[0][1]
    for stop in (c for c in d.cautions if c.level == "stop"):
        assert plainly(stop.text).replace("\u202e", "\ufffd")[-40:] in verdict
        assert f"#rule-{stop.rule}" in before_main
    assert bool(page.all("div", "halt")) is not may_build(d)
    ids = [a["id"] for a, _ in page.all("section") if "id" in a]
    assert ids[0] == "build"
    order = [one for one in ("build", "cautions", "measure", "why") if one in ids]
    assert sorted(order, key=ids.index) == order
    warned = [c for c in d.cautions if c.level != "stop"]
    assert len(page.all("div", "caution")) == len(warned)
    assert ("bench" in ids) is (may_build(d) and bool(d.steps))
    assert plainly(CLOSING) in page.text("footer")


def test_it_tells_what_the_review_holds() -> None:
    for name in NAMES:
        found, _, page = page_of(name)
        d = found.decision
        assert d.rulebase.digest in page.text("header")
        lost = page.section("lost")
        for one in d.set_aside:
            assert f"{one.rule} lost to {one.by}" in lost
            assert plainly(one.because) in lost
            assert plainly(one.by_because) in lost
        for gone in d.retired:
            assert plainly(gone.because) in lost
        for dispute in d.contested:
            assert plainly(dispute.note) in page.section("disputes")
        for miss in found.near_misses:
            assert plainly(miss.says) in page.section("near")
        for tie in d.ties:
            assert all(side.rule in page.section("open") for side in tie.sides)
        for unproven in d.unproven:
            assert unproven.rule in page.section("open")
        rows = [text for _, text in page.all("tr")]
        for point in found.turning_points.points:
            assert any(f"{point.stated.file}:{point.stated.line}" in row for row in rows) or (
                point.stated.file in page.section("turning")
            )
        for question in d.questions:
            assert plainly(question.asks) in page.section("questions")
        for group in found.evidence:
            assert page.section(f"evidence-{group.kind}").count(" ") >= len(group.rules) - 1
            for work in group.works:
                assert plainly(work.title) in page.section("evidence")
        if may_build(d):
            assert all(plainly(step.text) in page.section("bench") for step in d.steps)


def test_fragile_numbers_are_named_where_one_looks_first() -> None:
    fragile = {n: review_of(n).turning_points.measure_again for n in NAMES}
    assert any(fragile.values())
    assert not all(fragile.values())
    for name, facts in fragile.items():
        told = page_of(name)[2].section("measure")
        labels = review_of(name).decision.labels
        assert ("fragile" in told) is bool(facts)
        assert all(labels.get(fact, fact) in told for fact in facts)


@pytest.mark.parametrize("name", ["hostile", "hostile stop"])
def test_what_strangers_write_stays_text(name: str) -> None:
    _, html, page = page_of(name)
    assert "alert(&#39;1&#39;)" in html
    assert "<script" not in html
    assert not set("\u202e\u2066\x07") & set(html)
    plain = page_of("quillmere reed-line" if name == "hostile" else "garden frozen")[2]
    tags = {tag for tag, _, _ in page.found}
    assert tags <= {*(tag for tag, _, _ in plain.found), "bdi", "strong", "em", "p", "h4"}
    keys = {key for _, attrs, _ in page.found for key in attrs}
    assert keys <= {key for _, attrs, _ in plain.found for key in attrs}


# In a browser


@untraced
@pytest.mark.parametrize("width", [380, 1000])
@pytest.mark.parametrize("name", SEEN)
def test_nothing_is_wider_than_the_window(browse: Run, name: str, width: int) -> None:  # noqa: F811
    html = framed(unfolded(page_of(name)[1]), width)
    root = Page(browse(html, "--dump-dom", "--window-size=1400,900")).all("html")[0][0]
    assert (root["data-inner"], root["data-wide"], root["data-out"]) == (str(width), "0", "")


def test_the_measure_notices_what_is_too_wide(browse: Run) -> None:  # noqa: F811
    html = page_of("garden tied")[1].replace("<main>", '<main><p style="width:600px">wide</p>')
    root = Page(browse(framed(html, 380), "--dump-dom", "--window-size=1400,900")).all("html")[0][0]
    assert int(root["data-wide"]) > 200
    assert "P." in root["data-out"]


@untraced
@pytest.mark.parametrize("name", SEEN)
def test_nothing_is_cut_on_paper(browse: Run, name: str) -> None:  # noqa: F811
    """With the style of print, and as wide as A4 leaves: tables too, for paper does not scroll."""
    html = unfolded(page_of(name)[1]).replace("@media print", "@media all")
    html = html.replace('class="wide"', 'class="full"')
    root = Page(browse(framed(html, 718), "--dump-dom", "--window-size=1400,900")).all("html")[0][0]
    assert (root["data-inner"], root["data-wide"], root["data-out"]) == ("718", "0", "")


def unfolded(html: str) -> str:
    """A copy of a page in which nothing is folded away."""
    return html.replace("<details>", "<details open>")


def framed(html: str, width: int) -> str:
    """A copy of a page in a frame, for a window cannot be as narrow as a hand-held screen.

    What is measured in the frame is told to the page around it.
    """
    tell = """<script>addEventListener("load", () => {
      const root = document.documentElement;
      parent.postMessage({...root.dataset, inner: innerWidth}, "*");
    });</script>"""
    inside = b64encode(measured(html).replace("</body>", tell + "</body>").encode()).decode()
    return f"""<!DOCTYPE html><html lang="en"><head><title>frame</title><script>
      addEventListener("message", e => Object.assign(document.documentElement.dataset, e.data));
      </script></head><body><iframe width="{width}" height="800" style="border:0"
      src="data:text/html;charset=utf-8;base64,{inside}"></iframe></body></html>"""


MOST = {"fixed-blade-hunting": 46, "left-bevel-right-clamp": 52, "quillmere reed-line": 54}
"""Pages of a full review on paper, of which the last half are the rules' own texts."""


@untraced
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", MOST)
def test_it_prints_whole_on_both_papers(
    browse: Run,  # noqa: F811
    tmp_path: Path,
    name: str,
    paper: str,
) -> None:
    html = page_of(name)[1]
    found = printed(browse, tmp_path, html, paper)
    wide, high = PAPERS[paper]
    assert all(abs(w - wide) <= 1 and abs(h - high) <= 1 for w, h in found)
    assert 20 <= len(found) <= MOST[name]


def test_what_is_folded_away_prints_too(browse: Run, tmp_path: Path) -> None:  # noqa: F811
    html = page_of("garden tied")[1]
    whole, opened, folded = (
        len(printed(browse, tmp_path, one, "A4"))
        for one in (html, unfolded(html), html.replace("::details-content{", "::no-such-thing{"))
    )
    assert whole == opened > folded


def test_a_link_unfolds_what_it_leads_to(tmp_path: Path) -> None:
    found, html, _ = page_of("garden tied")
    assert "<details open" not in html
    target = f"s{next(s.number for s in found.steps if s.kind == 'rule')}"
    for goal in (f"rule-{found.rule_texts[-1].rule}", target):
        seen, _ = seen_by_browser(html, tmp_path, "--dump-dom", goal=f"#{goal}")
        (inside,) = re.findall(r"<details open[^>]*>.*?</details>", seen, re.DOTALL)
        assert f'id="{goal}"' in inside


@pytest.mark.parametrize("name", SEEN)
def test_the_browser_sees_all_of_it_and_its_console_stays_silent(tmp_path: Path, name: str) -> None:
    _, html, page = page_of(name)
    seen, console = seen_by_browser(html, tmp_path, "--dump-dom")
    assert Page(seen).text() == page.text()
    assert console == []


def test_the_console_would_tell_and_no_script_would_run(tmp_path: Path) -> None:
    html = page_of("garden tied")[1]
    for more in ('<img src="https://example.invalid/x.png" alt="">', "<script>ran</script>"):
        spoilt = html.replace("<main>", f"<main>{more}")
        assert "Content Security Policy" in seen_by_browser(spoilt, tmp_path, "--dump-dom")[1][0]


def pictured(folder: Path, html: str, sandbox: str) -> bytes:
    """A picture of a page in a frame that lets scripts run, or does not."""
    inside = b64encode(html.encode()).decode()
    around = f"""<!DOCTYPE html><html lang="en"><head><title>frame</title></head><body>
      <iframe {sandbox} width="780" height="2900" style="border:0"
      src="data:text/html;charset=utf-8;base64,{inside}"></iframe></body></html>"""
    picture = folder / "review.png"
    seen_by_browser(around, folder, f"--screenshot={picture}", "--window-size=800,3000")
    return picture.read_bytes()


@pytest.mark.parametrize("name", ["fixed-blade-hunting", "garden frozen"])
def test_it_looks_the_same_with_scripts_off(tmp_path: Path, name: str) -> None:
    html = page_of(name)[1]
    for _ in range(3):  # on a busy machine a picture may be taken before the frame is painted
        without, allowed = (pictured(tmp_path, html, s) for s in ("sandbox", ""))
        if without == allowed:
            break
    assert without == allowed
    rows = rows_of(without)
    assert sum(row != rows[0] for row in rows) > 1000


def test_the_picture_would_tell_scripts_off_from_scripts_on(tmp_path: Path) -> None:
    html = '<body>before<script>document.body.textContent = "after, and longer"</script></body>'
    assert pictured(tmp_path, html, "sandbox") != pictured(tmp_path, html, "")


def seen_by_browser(
    html: str, folder: Path, *options: str, goal: str = ""
) -> tuple[str, list[str]]:
    """What a browser makes of a page when sent to a place on it, and what its console says."""
    browser = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if browser is None:
        reason = f"no browser: none of {', '.join(BROWSERS)} is on the path"
        if os.environ.get("CI_BROWSER") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    file = folder / "review.html"
    file.write_text(html, encoding="utf-8")
    profile = f"--user-data-dir={folder / 'profile'}"
    done = subprocess.run(
        [browser, *FLAGS, profile, "--enable-logging=stderr", *options, f"{file.as_uri()}{goal}"],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout, [row for row in done.stderr.split("\n") if "CONSOLE" in row]
