"""The pictures README shows, made from the program's own output: `python -m tests.pictures`.

The coloured terminal run is an SVG made of the text that a terminal would get. The bench sheet is a
PNG that Chromium makes of the page; what it was made of is written into it as a digest, so that a
test can tell whether it is current without a browser.
"""

from __future__ import annotations

import hashlib
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import zlib
from pathlib import Path
from xml.sax.saxutils import escape

from advisor.pipeline import advise
from advisor.render import renderer
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup

ROOT = Path(__file__).resolve().parents[1]
PICTURES = ROOT / "examples" / "pictures"
TERMINAL = PICTURES / "terminal.svg"
SHEET = PICTURES / "sheet.png"
SETUP = ROOT / "examples" / "fixed-blade-hunting.yaml"
COLUMNS, ROWS = 80, 46
_ESCAPE = re.compile(r"\x1b\[([0-9;]*)m")
CHROMIUM = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)
_WIDE, _HIGH, _ROW, _CELL = 700, 18, 17, 8.4
_COLOURS = {"31": "#c62828", "33": "#8a5a00", "32": "#2e7d32", "36": "#00697a", "2": "#666666"}


def output(form: str, *, colour: bool = False) -> str:
    """Return what the program says of the first example, in one of its formats."""
    base = read_rule_base()
    setup = read_setup(str(SETUP.relative_to(ROOT)), [], base.vocabulary)
    return renderer(form)(advise(setup, base), colour)


def terminal() -> str:
    """Return the first rows of the coloured run as an SVG document."""
    lines = output("text", colour=True).split("\n")[:ROWS]
    high = _ROW * len(lines) + 2 * _HIGH
    rows = [
        f'<text x="14" y="{_HIGH + _ROW * (i + 1) - 6}" xml:space="preserve">{_spans(line)}</text>'
        for i, line in enumerate(lines)
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="t" width="{_WIDE}" '
        f'height="{high}" viewBox="0 0 {_WIDE} {high}" font-family="monospace" font-size="14">\n'
        f'<title id="t">A run in a terminal: {escape(_ESCAPE.sub("", lines[0]).split("  ")[0])}</title>\n'
        f'<rect width="{_WIDE}" height="{high}" rx="6" fill="#fbfaf7" stroke="#b9b4a6"/>\n'
        '<g fill="#1d1d1d">\n' + "\n".join(rows) + "\n</g>\n</svg>\n"
    )


def _spans(line: str) -> str:
    """Turn a line with colours into spans, each as wide as its letters are in a terminal."""
    parts = _ESCAPE.split(line)
    spans, codes, column = [], "", 0
    for i, part in enumerate(parts):
        if i % 2:
            codes = part
            continue
        if part:
            numbers = [code for code in codes.split(";") if code not in ("", "0")]
            style = ' font-weight="bold"' if "1" in numbers else ""
            style += "".join(f' fill="{_COLOURS[code]}"' for code in numbers if code in _COLOURS)
            x, wide = 14 + column * _CELL, len(part) * _CELL
            spans.append(
                f'<tspan x="{x:.1f}" textLength="{wide:.1f}" lengthAdjust="spacingAndGlyphs"'
                f"{style}>{escape(part)}</tspan>"
            )
        column += len(part)
    return "".join(spans)


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def made_of(png: bytes) -> str:
    """Return the digest that a picture carries of what it was made of."""
    match = re.search(rb"made-of\x00([0-9a-f]{64})", png)
    return match.group(1).decode() if match else ""


def _marked(png: bytes, made: str) -> bytes:
    """Write a digest into a PNG, as a text chunk before its end (PNG 1.2, 11.3.4.3)."""
    body = b"tEXt" + b"made-of\x00" + made.encode()
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    end = png.rindex(b"\x00\x00\x00\x00IEND")
    return png[:end] + chunk + png[end:]


def photograph(page: str, wide: int = 900, high: int = 1270) -> bytes:
    """Return a PNG of a page as Chromium shows it."""
    chromium = shutil.which("chromium")
    if chromium is None:
        raise FileNotFoundError("chromium is not installed")
    with tempfile.TemporaryDirectory() as folder:
        source, picture = Path(folder) / "page.html", Path(folder) / "page.png"
        source.write_text(page, encoding="utf-8")
        subprocess.run(
            [
                chromium,
                *CHROMIUM,
                f"--user-data-dir={folder}/profile",
                f"--window-size={wide},{high}",
                f"--screenshot={picture}",
                source.as_uri(),
            ],
            check=True,
            capture_output=True,
            timeout=120,
        )
        return picture.read_bytes()


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    TERMINAL.write_text(terminal(), encoding="utf-8")
    page = output("html")
    if SHEET.exists() and made_of(SHEET.read_bytes()) == digest(page):
        return
    try:
        SHEET.write_bytes(_marked(photograph(page), digest(page)))
    except FileNotFoundError as missing:
        sys.exit(f"{missing}: the picture of the sheet is not made anew")


if __name__ == "__main__":
    main()
