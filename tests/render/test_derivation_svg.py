from __future__ import annotations

import re
from itertools import pairwise
from typing import NamedTuple
from xml.etree import ElementTree as ET

import pytest

from advisor.derivation import Derivation
from advisor.render.derivation_svg import line_width, render, tree_of
from advisor.setups.read import read_setup
from advisor.why import why
from tests.derivations import BASE, NAMES, asked_of, judged, judgement_of
from tests.heavy import untraced

SVG = "{http://www.w3.org/2000/svg}"
LOWEST_LETTER = 0.25  # of the size of type, below the line that it stands on
SIZES = {"small": 11.0, "title": 16.0}


class Place(NamedTuple):
    left: float
    top: float
    right: float
    bottom: float


class Picture(NamedTuple):
    root: ET.Element
    width: float
    height: float
    boxes: list[Place]
    texts: list[tuple[Place, str]]
    ways: list[str]


def parsed(text: str) -> ET.Element:
    return ET.fromstring(text)  # noqa: S314  # our own output, and no entities are declared in it


def picture_of(derivation: Derivation) -> Picture:
    root = parsed(render(derivation, colour=False))
    _, _, width, height = (float(part) for part in root.attrib["viewBox"].split())
    boxes = []
    for rect in root.iter(f"{SVG}rect"):
        if "box" in rect.attrib["class"].split():
            x, y, w, h = (float(rect.attrib[name]) for name in ("x", "y", "width", "height"))
            boxes.append(Place(x, y, x + w, y + h))
    texts = []
    for text in root.iter(f"{SVG}text"):
        style, words = text.attrib.get("class", ""), text.text or ""
        x, y, size = float(text.attrib["x"]), float(text.attrib["y"]), SIZES.get(style, 12.0)
        place = Place(x, y - 0.8 * size, x + line_width(words, style), y + LOWEST_LETTER * size)
        texts.append((place, words))
    ways = [path.attrib["d"] for path in root.iter(f"{SVG}path")]
    return Picture(root, width, height, boxes, texts, ways)


def holds(outer: Place, inner: Place) -> bool:
    return (
        outer.left <= inner.left
        and outer.top <= inner.top
        and inner.right <= outer.right
        and inner.bottom <= outer.bottom
    )


def check(picture: Picture) -> None:
    page = Place(0, 0, picture.width, picture.height)
    assert picture.boxes
    head = min(box.top for box in picture.boxes)
    for box in picture.boxes:
        assert holds(page, box)
    for place, words in picture.texts:
        assert holds(page, place), words
        assert place.bottom < head or any(holds(box, place) for box in picture.boxes), words
    columns: dict[float, list[Place]] = {}
    for box in picture.boxes:
        columns.setdefault(box.left, []).append(box)
    for boxes in columns.values():
        for one, other in pairwise(sorted(boxes, key=lambda box: box.top)):
            assert one.bottom < other.top
    lefts = sorted(columns)
    rights = [columns[left][0].right for left in lefts]
    assert all(right < left for right, left in zip(rights, lefts[1:], strict=False))
    rows: dict[tuple[float, float], list[tuple[float, str]]] = {}
    for place, words in picture.texts:
        near = next((b for b in picture.boxes if holds(b, place)), page)
        rows.setdefault((near.left, near.top), []).append((place.bottom, words))
    for lines in rows.values():
        ends = sorted(bottom for bottom, _ in lines)
        assert all(later - earlier > 11 for earlier, later in pairwise(ends))


def ends_of(way: str) -> tuple[tuple[float, float], list[tuple[float, float]]]:
    """Return where a way begins, and where its branches end."""
    parts = [part.split() for part in way.split("M") if part]
    start = float(parts[0][0]), float(re.split("[HV]", parts[0][1])[0])
    if len(parts) == 1:
        raise AssertionError(way)
    ends = []
    for x, rest in parts[1:]:
        y, end = rest.split("H")
        assert float(x) < float(end)
        ends.append((float(end), float(y)))
    return start, ends


@untraced
@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_cut_off_and_nothing_stands_on_another(name: str) -> None:
    judgement = judgement_of(name)
    asked = ["vane.length", "fletching.offset", "steering.ratio", "use.place", "point.type"]
    for what in asked_of(name, *asked, every=9):
        derivation = why(judgement, what)
        picture = picture_of(derivation)
        check(picture)
        told = " ".join(words for _, words in picture.texts)
        numbers = {int(n) for n in re.findall(r"(?<![\w.-])(\d+) ", told)}
        assert {step.number for step in derivation.steps} <= numbers
        reached = []
        for way in picture.ways:
            start, ends = ends_of(way)
            assert any(
                box.right == start[0] and box.top < start[1] < box.bottom for box in picture.boxes
            )
            reached += ends
        # Every box but the first is at the end of one way.
        first = min(picture.boxes)
        others = [box for box in picture.boxes if box != first]
        at = sorted(
            (x, next(b for b in others if b.left == x and b.top < y < b.bottom)) for x, y in reached
        )
        assert [box for _, box in at] == sorted(others)


@pytest.mark.parametrize("name", NAMES)
def test_beside_each_step_stands_all_that_it_rests_on(name: str) -> None:
    asked = ("fletching.direction", "spin.build_up", "tail.kind", "too-light-to-shoot")
    for what in asked_of(name, *asked, every=40):
        derivation = why(judgement_of(name), what)
        todo, seen = [tree_of(derivation)], set()
        while todo:
            box = todo.pop()
            todo += box.right
            number = int(box.lines[0].text.split()[0]) if box.style != "elsewhere" else 0
            if box.right:
                seen.add(number)
                beside = " ".join(line.text for other in box.right for line in other.lines)
                for below in derivation.step(number).rests_on:
                    assert re.search(rf"(?<![\w.-]){below} ", beside), (what, number, below)
        assert seen == {step.number for step in derivation.steps if step.rests_on}


def test_words_of_whoever_wrote_them_are_escaped_and_long_ones_broken() -> None:
    path = "my</text><script>&\"' " + "x" * 200 + ".yaml"
    text = 'title: "<b>&amp; ]]> \\" end</b>"\npoint: {type: fixed-blade}\ndiscipline: [hunting]\n'
    setup = read_setup(path, [], BASE.vocabulary, text=text)
    derivation = why(judged(setup, BASE, None), "vane.length")
    raw = render(derivation, colour=False)
    assert "<script" not in raw
    assert "<b>" not in raw
    picture = picture_of(derivation)
    check(picture)
    told = [words for _, words in picture.texts]
    assert any(words.startswith('<b>&amp; ]]> " end</b>') for words in told)
    assert "x" * 200 in "".join(told).replace(" ", "")


def test_it_needs_nothing_from_elsewhere_and_reads_aloud() -> None:
    derivation = why(judgement_of("too-light"), "too-light-to-shoot")
    raw = render(derivation, colour=False)
    assert raw.count("http") == 1  # the name space
    for word in ("<script", "href", "url(", "@import", "<image", "<foreignObject", " on"):
        assert word not in re.sub(r"<(title|desc|text)\b.*?</\1>", "", raw, flags=re.DOTALL)
    root = parsed(raw)
    named = {element.attrib.get("id"): element for element in root.iter()}
    title, desc = (named[name] for name in root.attrib["aria-labelledby"].split())
    assert root.attrib["role"] == "img"
    assert title.text == "Why too-light-to-shoot"
    assert desc.text is not None
    assert [int(n) for n in re.findall(r"Step (\d+): ", desc.text)] == [
        step.number for step in derivation.steps
    ]
    assert "too-light.yaml:5" in desc.text


def test_it_is_light_dark_and_black_in_print() -> None:
    raw = render(why(judgement_of("nothing"), "vane.length"), colour=False)
    light = re.search(r"\.derivation\{(.*?)font-size", raw)
    dark = re.search(r"prefers-color-scheme:dark\)\{\.derivation\{(.*?)\}", raw)
    printed = re.search(r"@media print\{\.derivation\{(.*?)max-width", raw)
    assert light
    assert dark
    assert printed
    names = [re.findall(r"--(\w+):", found[1]) for found in (light, dark, printed)]
    assert set(names[0]) == set(names[1]) == set(names[2])
    used = set(re.findall(r"var\(--(\w+)\)", raw))
    assert used == set(names[0])
    assert "--line:#000000" in printed[1]
    classes = {c for text in re.findall(r'class="([^"]*)"', raw) for c in text.split()}
    styled = set(re.findall(r"\.derivation \.([a-z]+)", raw))
    assert classes - {"derivation", "box"} <= styled


def test_kinds_of_outline_are_those_of_the_steps() -> None:
    def classes(name: str, what: str) -> set[str]:
        root = parsed(render(why(judgement_of(name), what), colour=False))
        return {c for rect in root.iter(f"{SVG}rect") for c in rect.attrib["class"].split()}

    assert "broken" in classes("left-bevel-right-clamp", "fletching.direction")
    assert "broken" not in classes("fixed-blade-hunting", "fletching.direction")
    assert {"assumed", "leaf", "first"} <= classes("fixed-blade-hunting", "steering.ratio")
    assert {"missing", "silent", "elsewhere"} <= classes("quillmere walk-in", "fletching.count")
