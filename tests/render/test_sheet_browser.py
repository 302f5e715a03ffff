"""The bench sheet in a real browser: whole, no wider than its window or its paper, printable.

Set CI_BROWSER=1 where a browser must be there; elsewhere these tests are skipped without one.
"""

from __future__ import annotations

import os
import re
import shutil
import struct
import subprocess
import zlib
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from advisor.decision import Decision, Number
from advisor.render.html import render
from tests.pictures import CHROMIUM
from tests.render.test_sheet import HOSTILE, Page, alone, example
from tests.render.test_text import kettle

BROWSERS = ("chromium", "chromium-browser")
FLAGS = (*CHROMIUM, "--force-device-scale-factor=1")
PATIENCE = 120
A4, LETTER = (595, 842), (612, 792)
PAPERS = {"A4": A4, "letter": LETTER}
Run = Callable[..., str]


def long_words() -> Decision:
    """Everything a stranger can write, in words that no line can hold."""
    return kettle()._replace(
        title=HOSTILE,
        stock=HOSTILE,
        items={"vane": HOSTILE},
        given={"glue.type": HOSTILE, "arrow.quantity": Number(30, "")},
        labels={"glue.type": HOSTILE, "rim.width": HOSTILE},
        stated={},
    )


SHEETS: dict[str, Callable[[], Decision]] = {
    "fixed-blade-hunting": lambda: example("fixed-blade-hunting"),
    "indoor-fat-shaft": lambda: example("indoor-fat-shaft"),
    "mechanical-head": lambda: example("mechanical-head"),
    "left-bevel-right-clamp": lambda: example("left-bevel-right-clamp"),
    "too-light": lambda: example("too-light"),
    "hunting alone": lambda: alone("discipline=[hunting]"),
    "J": lambda: example("eleven-arrows/J"),
    "long words": long_words,
}
ENDS = {"left-bevel-right-clamp", "too-light"}
"""Sheets that forbid building: no drawings, and fewer pages."""
MOST = {"long words": 14, "hunting alone": 9}
"""Words of three hundred letters wherever a stranger can write; and next to nothing stated, so that
all is to be checked and asked."""


@cache
def sheet(name: str) -> str:
    return render(SHEETS[name](), False)


@pytest.fixture
def browse(tmp_path: Path) -> Run:
    """Run the browser on a page; what it prints comes back."""
    found = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if found is None:
        reason = f"no browser: none of {', '.join(BROWSERS)} is on the path"
        if os.environ.get("CI_BROWSER") == "1":
            pytest.fail(reason)
        pytest.skip(reason)

    def run(html: str, *options: str) -> str:
        page = tmp_path / "sheet.html"
        page.write_text(html, encoding="utf-8")
        profile = f"--user-data-dir={tmp_path / 'profile'}"
        done = subprocess.run(
            [found, *FLAGS, profile, *options, page.as_uri()],
            capture_output=True,
            text=True,
            timeout=PATIENCE,
            check=False,
        )
        assert done.returncode == 0, done.stderr[-2000:]
        return done.stdout

    return run


def measured(html: str) -> str:
    """A copy of a page, not the page itself, in which a script measures what stands out."""
    script = """<script>addEventListener("load", () => {
      const root = document.documentElement, wide = root.clientWidth;
      const out = [...document.querySelectorAll("body *")].filter(e =>
        !e.closest("svg") && !e.closest(".wide") && e.getBoundingClientRect().right > wide + 1);
      root.dataset.wide = root.scrollWidth - wide;
      root.dataset.out = out.map(e => e.tagName + "." + e.className).join(" ");
    });</script>"""
    free = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", html)
    assert free != html
    return free.replace("</body>", script + "</body>")


def pages(pdf: bytes) -> list[tuple[int, int]]:
    """The size of each page of a PDF in whole points, from its uncompressed page objects."""
    found = []
    for body in re.findall(rb"<<[^<>]*?/Type /Page\b(?:(?!endobj).)*", pdf, re.DOTALL):
        box = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", body)
        assert box
        found.append((round(float(box[1])), round(float(box[2]))))
    return found


def printed(browse: Run, folder: Path, html: str, paper: str) -> list[tuple[int, int]]:
    """The size of each page that the browser prints a page of HTML on."""
    sized = html.replace("</style>\n</head>", f"@page{{size:{paper}}}</style>\n</head>")
    assert sized != html
    pdf = folder / "sheet.pdf"
    browse(sized, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    return pages(pdf.read_bytes())


def rows_of(png: bytes) -> list[bytes]:
    """The rows of an 8-bit PNG's pixels, filters undone (RFC 2083)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    data, at, size, wide, kind = b"", 8, 0, 0, 0
    while at < len(png):
        size, name = struct.unpack(">I4s", png[at : at + 8])
        part = png[at + 8 : at + 8 + size]
        if name == b"IHDR":
            wide, _, _, kind = struct.unpack(">IIBB", part[:10])
        elif name == b"IDAT":
            data += part
        at += 12 + size
    step = {2: 3, 6: 4}[kind]
    raw, stride = zlib.decompress(data), wide * step
    rows, above = [], bytes(stride)
    for start in range(0, len(raw), stride + 1):
        above = _unfilter(raw[start], bytearray(raw[start + 1 : start + 1 + stride]), above, step)
        rows.append(above)
    return rows


def _unfilter(kind: int, row: bytearray, above: bytes, step: int) -> bytes:
    if kind == 2:
        return bytes((a + b) & 255 for a, b in zip(row, above, strict=True))
    for n in range(len(row)) if kind else ():
        left = row[n - step] if n >= step else 0
        corner = above[n - step] if n >= step else 0
        guess = left
        if kind == 3:
            guess = (left + above[n]) // 2
        elif kind == 4:
            whole = left + above[n] - corner
            guess = min((left, above[n], corner), key=lambda side: abs(whole - side))
        row[n] = (row[n] + guess) & 255
    return bytes(row)


@pytest.mark.parametrize("name", SHEETS)
def test_the_browser_sees_all_of_the_page(browse: Run, name: str) -> None:
    seen, made = Page(browse(sheet(name), "--dump-dom")), Page(sheet(name))
    assert seen.text("title") == made.text("title")
    assert seen.text("body") == made.text("body")
    tags = [tag for tag, _, _ in made.found]
    assert [tag for tag, _, _ in seen.found] == tags


@pytest.mark.parametrize("width", [500, 1000])
@pytest.mark.parametrize("name", SHEETS)
def test_nothing_is_wider_than_the_window(browse: Run, name: str, width: int) -> None:
    told = browse(measured(sheet(name)), "--dump-dom", f"--window-size={width},900")
    root = Page(told).all("html")[0][0]
    assert root["data-wide"] == "0"
    assert root["data-out"] == ""


def test_the_measure_notices_what_is_too_wide(browse: Run) -> None:
    wide = sheet("J").replace("<main>", '<main><p style="width:3000px">wide</p>')
    root = Page(browse(measured(wide), "--dump-dom", "--window-size=1000,900")).all("html")[0][0]
    assert int(root["data-wide"]) > 1000
    assert "P." in root["data-out"]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", SHEETS)
def test_it_prints_on_both_papers(browse: Run, tmp_path: Path, name: str, paper: str) -> None:
    found = printed(browse, tmp_path, sheet(name), paper)
    wide, high = PAPERS[paper]
    for one in found:
        assert abs(one[0] - wide) <= 1, one  # every page stands upright
        assert abs(one[1] - high) <= 1, one
    # The build and the drawings, the work, and what is behind it.
    least, most = (2, 5) if name in ENDS else (5, MOST.get(name, 8))
    assert least <= len(found) <= most, len(found)


def test_the_page_count_notices_a_page_too_many(browse: Run, tmp_path: Path) -> None:
    more = '<main><div style="break-after:page">one more</div>'
    html = sheet("J")
    found = printed(browse, tmp_path, html, "A4")
    longer = printed(browse, tmp_path, html.replace("<main>", more), "A4")
    assert len(longer) > len(found)


@pytest.mark.parametrize("name", ["fixed-blade-hunting", "too-light"])
def test_its_picture_has_clear_margins(browse: Run, tmp_path: Path, name: str) -> None:
    picture = tmp_path / "sheet.png"
    browse(sheet(name), f"--screenshot={picture}", "--window-size=700,1200")
    rows = rows_of(picture.read_bytes())
    step = len(rows[0]) // 700
    ground = rows[0][: step * 8]
    assert len(rows) == 1200
    assert all(row[: step * 8] == row[-step * 8 :] == ground for row in rows)
    assert sum(row != ground * (700 // 8) + row[-step * 4 :] for row in rows) > 300
