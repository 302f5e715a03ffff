"""The drawings: to scale, readable by eye and by ear, and never raising on any Decision.

Geometry is checked by reading coordinates back. Angles and lengths are the facts' own; the turn of
a foot and its end gap are exact geometry (own derivation, worked: 5.8 mm shaft, 2.6 in foot, 2 deg
gives 45.536 deg helical, 43.343 deg straight, 0.22057 mm).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any, get_origin, get_type_hints
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cases import case_files, read_cases
from advisor.decision import Decision, FactValue, Number, RuleBaseName, from_plain, to_plain
from advisor.pipeline import advise
from advisor.render import FORMATS, renderer
from advisor.render import drawing_outlines as outlines
from advisor.render.drawing_canvas import px, spread
from advisor.render.drawing_style import STYLE
from advisor.render.svg import behind, render, side, unrolled
from advisor.rulebase.locate import base_folder
from advisor.rulebase.read import read_rule_base
from tests.heavy import untraced

SVG = "{http://www.w3.org/2000/svg}"
INCH = 25.4
Drawing = Callable[[Decision], str]
DRAWINGS: tuple[Drawing, ...] = (side, behind, unrolled)

ARROW: dict[str, FactValue] = {
    "point.type": "fixed-blade",
    "point.length": Number(1.6, "in"),
    "point.blades": Number(4, ""),
    "point.cutting_width": Number(1.125, "in"),
    "point.blade_length": Number(1.0, "in"),
    "point.blade_start": Number(0.4, "in"),
    "point.nose": "cone",
    "shaft.outside_diameter": Number(5.8, "mm"),
    "shaft.length": Number(28, "in"),
    "nock.throat": Number(0.3, "in"),
    "rest.clearance": Number(18, "mm"),
}
TAIL: dict[str, FactValue] = {
    "vane.length": Number(2.6, "in"),
    "vane.height": Number(0.45, "in"),
    "vane.silhouette": "shield",
    "vane.thickness": Number(0.6, "mm"),
    "vane.foot_width": Number(2.6, "mm"),
    "fletching.count": Number(4, ""),
    "fletching.direction": "right",
    "fletching.offset": Number(2, "deg"),
    "fletching.rear_gap": Number(1, "in"),
    "bench.clamp": "right",
}
NUMBERS = {
    "arrow.balance": Number(18, "in", "0.2 in", "balance"),
    "arrow.foc": Number(13.7, "%", "1 point", "foc"),
    "steering.head_pressure_point": Number(28.9, "in", "0.3 in", "model"),
    "steering.vane_pressure_point": Number(2.3, "in", "0.1 in", "model"),
    "steering.pressure_point": Number(14.2, "in", "1 in", "model"),
    "spin.travel_per_turn": Number(1.77, "m", "40 %", "model"),
    "fletching.rear_radius": Number(14.33, "mm", "0.3 mm", "sum"),
    "fletching.wrap_angle": Number(45.536, "deg", "5 deg", "geometry"),
    "fletching.root_space": Number(1.9525, "mm", "0.2 mm", "geometry"),
    "glue.end_gap": Number(0.22057, "mm", "0.05 mm", "geometry"),
    "glue.offset_limit": Number(2.1345, "deg", "0.2 deg", "geometry"),
}
EVERY = {**ARROW, **TAIL, **NUMBERS}


def decision(changes: Mapping[str, FactValue | None] | None = None, **others: Any) -> Decision:
    """A Decision of the arrow above; a fact changed to None is not there."""
    facts = {k: v for k, v in {**EVERY, **(changes or {})}.items() if v is not None}
    kinds = {name: get_origin(kind) for name, kind in get_type_hints(Decision).items()}
    parts: dict[str, Any] = {n: () if k is tuple else {} for n, k in kinds.items() if k}
    parts.update(
        status="advised",
        rulebase=RuleBaseName("base", "1.0.0", "0123456789abcdef" * 4, ("base 1.0.0",)),
        title="Ridge dozen",
        stock="",
        given={k: v for k, v in facts.items() if k not in NUMBERS and k not in TAIL},
        build={k: v for k, v in facts.items() if k in TAIL},
        numbers={k: v for k, v in facts.items() if k in NUMBERS},
        more_conflicts=False,
        builds=12,
        survivors=3,
    )
    return Decision(**{**parts, **others})


def tree(drawing: str) -> ET.Element:
    return ET.fromstring(drawing)  # noqa: S314  # of our own making


def every(root: ET.Element, *classes: str) -> list[ET.Element]:
    """All elements that have every one of some classes, in drawing order."""
    return [e for e in root.iter() if set(classes) <= set((e.get("class") or "").split())]


def points(element: ET.Element) -> list[tuple[float, float]]:
    pairs = [pair.split(",") for pair in element.get("points", "").split()]
    return [(float(x), float(y)) for x, y in pairs]


def width(element: ET.Element) -> float:
    xs = [x for x, _ in points(element)]
    return max(xs) - min(xs)


def height(element: ET.Element) -> float:
    ys = [y for _, y in points(element)]
    return max(ys) - min(ys)


def texts(root: ET.Element) -> list[str]:
    return ["".join(e.itertext()).replace("\u00a0", " ") for e in root.iter(f"{SVG}text")]


def said(root: ET.Element) -> str:
    return " ".join(texts(root))


def description(root: ET.Element) -> str:
    return root.findtext(f"{SVG}desc") or ""


def area(outline: list[tuple[float, float]]) -> float:
    """What a closed way goes round."""
    around = pairwise([*outline, outline[0]])
    return abs(sum(x * v - u * y for (x, y), (u, v) in around)) / 2


def close(value: float, wanted: float, share: float = 0.005) -> bool:
    return abs(value - wanted) <= share * abs(wanted)


def pixels_per_mm(root: ET.Element, which: int) -> float:
    """What a drawing's own scale bar says, from its length and the words beside it."""
    bar = every(root, "scale-bar")[which]
    words = [t for t in texts(root) if re.fullmatch(r"[\d.]+ in, [\d.]+ mm", t)][which]
    long = float(bar.get("x2", "0")) - float(bar.get("x1", "0"))
    return long / float(words.split(", ")[1].split(" ")[0])


# The documents


@pytest.mark.parametrize("drawing", [lambda d: render(d, False), *DRAWINGS])
def test_a_drawing_is_an_accessible_document(drawing: Drawing) -> None:
    root = tree(drawing(decision()))
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids)) == 2
    assert (root.get("aria-labelledby") or "").split() == ids
    assert [root[0].tag, root[1].tag] == [f"{SVG}title", f"{SVG}desc"]
    assert root[0].text
    assert len((root[1].text or "").split()) > 30
    _, _, wide, high = (float(n) for n in (root.get("viewBox") or "").split())
    assert (wide, high) == (float(root.get("width") or 0), float(root.get("height") or 0))


def test_ids_can_be_kept_apart_on_one_page() -> None:
    page = f"<div>{side(decision(), ids='first')}{side(decision(), ids='se<c>ond')}</div>"
    ids = [e.get("id") for e in tree(page).iter() if e.get("id")]
    assert ids == ["first-title", "first-desc", "se-c-ond-title", "se-c-ond-desc"]


def test_the_descriptions_tell_the_numbers() -> None:
    told = description(tree(render(decision(), False)))
    for words in (
        "29.9 in (759 mm) from nock throat to tip",
        "The vanes are 2.6 in (66 mm) long",
        "1 in (25.4 mm) ahead of the nock throat",
        "FOC 13.7 % +/- 1 point",
        "4 vanes, 90 deg apart",
        "Offset 2 deg right: turns the arrow clockwise",
        "14.3 mm +/- 0.3 mm",
        "3.67 mm to spare",
        "1.95 mm +/- 0.2 mm",
        "2.3 mm to the right of its rear end",
    ):
        assert words in told, words


def test_nothing_runs_and_nothing_is_fetched() -> None:
    hostile = "\"><script>alert(1)</script>&'\x07\ud800"
    drawn = render(decision({"point.type": hostile, "bench.clamp": hostile}, title=hostile), True)
    root = tree(drawn)
    assert "\\u003cscript" not in drawn
    assert "<script" not in drawn
    assert '"><script>' in (root.findtext(f"{SVG}title") or "")
    tags = {e.tag.removeprefix(SVG) for e in root.iter()}
    drawn_with = {"svg", "title", "desc", "style", "rect", "text", "line", "polygon", "polyline"}
    assert tags <= drawn_with | {"circle", "path"}
    for element in root.iter():
        for name in element.attrib:
            assert "href" not in name
            assert not name.startswith("on")
            assert name != "style"
    assert "url(" not in drawn
    assert "@import" not in drawn
    assert drawn.count("http") == 1  # the name of the SVG namespace


def test_the_same_decision_always_gives_the_same_drawing() -> None:
    one = decision()
    again = from_plain(to_plain(one))
    turned = one._replace(given=dict(sorted(one.given.items(), reverse=True)))
    assert render(one, False) == render(again, True) == render(turned, False)


def test_svg_is_a_format_of_the_advisor() -> None:
    assert "svg" in FORMATS
    assert renderer("svg")(decision(), False) == render(decision(), False)


def test_the_whole_document_holds_the_three_drawings() -> None:
    root = tree(render(decision(), False))
    inner = [e for e in root if e.tag == f"{SVG}svg"]
    assert [e.get("class") for e in inner] == ["side", "behind", "unrolled"]
    bottoms = [float(e.get("y") or 0) + float(e.get("height") or 0) for e in inner]
    for below, bottom in zip(inner[1:], bottoms, strict=False):
        assert float(below.get("y") or 0) >= bottom - 0.02
    assert close(bottoms[-1], float(root.get("height") or 0))
    for drawing, one in zip(DRAWINGS, inner, strict=True):
        assert texts(tree(drawing(decision()))) == texts(one)


@pytest.mark.parametrize(
    ("status", "builds", "words"),
    [
        ("stopped", 4, "STOP: do not build this"),
        ("rejected", 4, "The nearest is drawn for comparison only"),
        ("rejected", 1, "This build breaks a must"),
    ],
)
@pytest.mark.parametrize("drawing", DRAWINGS)
def test_what_is_not_to_be_built_says_so(
    drawing: Drawing, status: str, builds: int, words: str
) -> None:
    root = tree(drawing(decision(status=status, builds=builds)))
    assert words in said(root)
    assert words in description(root)[:80]
    assert words not in drawing(decision())


# The style


def test_the_style_stays_inside_its_drawing() -> None:
    bare = re.sub(r"@media[^{]*\{(.*?\})\}", r"\1", STYLE)
    for selector in re.findall(r"([^{}]+)\{", bare):
        for one in selector.split(","):
            assert one.strip().startswith(".arrow-drawing"), one


def test_dark_is_for_screens_and_print_is_black_on_white() -> None:
    dark, printed = STYLE.index("prefers-color-scheme:dark"), STYLE.index("@media print")
    assert dark < printed  # the later rule holds where both do
    of_print = STYLE[printed : STYLE.index("}}", printed)]
    assert "--ink:#000000" in of_print
    assert "--paper:#ffffff" in of_print
    of_dark = STYLE[dark : STYLE.index("}}", dark)]
    assert _contrast(of_dark, "ink", "paper") >= 7
    for scheme in (of_dark, of_print, STYLE[:dark]):
        for colour in ("ink", "thin", "measure"):
            assert _contrast(scheme, colour, "paper") >= 4.5  # WCAG 2.1, 1.4.3


def _contrast(scheme: str, one: str, other: str) -> float:
    """Contrast of two colours as WCAG 2.1 defines it."""

    def light(name: str) -> float:
        found = re.search(rf"--{name}:#(\w\w)(\w\w)(\w\w)", scheme)
        assert found, name
        parts = [int(part, 16) / 255 for part in found.groups()]
        r, g, b = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    a, b = sorted((light(one), light(other)))
    return (b + 0.05) / (a + 0.05)


def test_a_dimension_is_seen_on_what_it_measures() -> None:
    dark, printed = STYLE.index("prefers-color-scheme:dark"), STYLE.index("@media print")
    for scheme in (STYLE[:dark], STYLE[dark:printed], STYLE[printed:]):
        for ground in ("fill", "shade", "pale"):
            assert _contrast(scheme, "measure", ground) >= 3  # WCAG 2.1, 1.4.11
            assert _contrast(scheme, "ink", ground) >= 3
    assert re.search(r"\.wrap\{[^}]*fill:var\(--shade\)", STYLE)


def test_text_is_large_enough_and_plain_viewers_get_plain_colours() -> None:
    assert all(float(size) >= 13 for size in re.findall(r"font-size:([\d.]+)px", STYLE))
    for before, name in re.findall(r"([\w-]+:#\w{6};)?(?:fill|stroke):var\(--(\w+)\)", STYLE):
        assert before, name


def test_lines_differ_by_their_dashes_and_not_by_colour_alone() -> None:
    dashes = dict(re.findall(r"\.([\w-]+)\{[^}]*stroke-dasharray:([\d. ]+);", STYLE))
    circles = ("rear-circle", "clearance", "front-end", "axis", "guess")
    assert len({dashes[name] for name in circles}) == len(circles)


# The arrow from the side


def test_the_whole_arrow_is_to_scale() -> None:
    root = tree(side(decision()))
    scale = pixels_per_mm(root, 0)
    shaft, head = every(root, "shaft")[0], every(root, "head")[0]
    vane = every(root, "vane", "cock", "whole")[0]
    assert close(width(shaft), 28 * INCH * scale)
    assert close(height(shaft), 5.8 * scale)
    assert close(width(head), 1.6 * INCH * scale)
    assert close(width(vane), 2.6 * INCH * scale)
    assert close(height(vane), 0.45 * INCH * scale)
    tip = max(x for x, _ in points(head))
    throat = min(x for x, _ in points(shaft)) - 0.3 * INCH * scale
    overall = tip - throat
    assert close(width(vane) / overall, 2.6 / 29.9)
    rear = min(x for x, _ in points(vane))
    assert close((rear - throat) / overall, 1.0 / 29.9)
    # The shaft's front end and the head's base are one place.
    assert abs(max(x for x, _ in points(shaft)) - min(x for x, _ in points(head))) < 0.02
    blade = every(root, "blade")[0]
    assert close(width(blade), 1.0 * INCH * scale)


def test_marks_stand_where_the_numbers_say() -> None:
    root = tree(side(decision()))
    scale = pixels_per_mm(root, 0)
    throat = min(x for x, _ in points(every(root, "shaft")[0])) - 0.3 * INCH * scale
    balance = every(root, "mark", "balance")[0]
    assert close(float(balance.get("cx") or 0) - throat, 18 * INCH * scale)
    for name, inches in (("head-pressure", 28.9), ("vane-pressure", 2.3), ("whole-pressure", 14.2)):
        xs = [x for x, _ in points(every(root, "mark", name)[0])]
        middle = (max(xs) + min(xs)) / 2
        assert close(middle - throat, inches * INCH * scale), name
    assert "of the whole arrow" in texts(root)
    assert "3.85 in ahead of the middle: FOC 13.7 % +/- 1 point" in texts(root)


@pytest.mark.parametrize("whole", [0, 1.9, 2.3, 14.2, 16.5, 17.9, 18, 19, 28.9])
@pytest.mark.parametrize("length", [15, 28, 33])
def test_pressure_points_are_told_apart_from_the_balance_point(whole: float, length: float) -> None:
    share = length / 28
    at = {"whole": whole * share, "head": 28.9 * share, "vane": 2.3, "balance": 18 * share}
    facts: dict[str, FactValue] = {
        "shaft.length": Number(length, "in"),
        "arrow.balance": Number(at["balance"], "in", "0.2 in"),
        "steering.pressure_point": Number(at["whole"], "in", "1.2 in"),
        "steering.head_pressure_point": Number(at["head"], "in", "0.3 in"),
    }
    drawn = side(decision(facts))
    _check_texts(drawn, "pressure points")
    root = tree(drawn)
    scale = pixels_per_mm(root, 0)
    throat = min(x for x, _ in points(every(root, "shaft")[0])) - 0.3 * INCH * scale
    # A leader comes down to each mark, and none crosses another.
    leaders = [
        (float(e.get("x1") or 0), float(e.get("x2") or 0))
        for e in every(root, "witness")
        if float(e.get("y1") or 0) < float(every(root, "balance")[0].get("cy") or 0) - 20
    ][: len(at)]
    ends = sorted(throat + inches * INCH * scale for inches in at.values())
    assert [x for _, x in leaders] == pytest.approx(ends, abs=0.02 * length)
    assert [x for x, _ in leaders] == sorted(x for x, _ in leaders)
    # The balance point is drawn last, and the smaller, so that either is seen on the other.
    marks = every(root, "mark")
    assert "balance" in (marks[-1].get("class") or "")
    assert width(every(root, "mark", "whole-pressure")[0]) > 2 * float(marks[-1].get("r") or 0) + 4


def test_the_balance_is_told_to_three_digits() -> None:
    words = said(tree(side(decision({"shaft.length": Number(27.789, "in")}))))
    assert "3.96 in ahead of the middle" in words


@pytest.mark.parametrize("thick", [3.6, 11])
def test_the_height_of_a_low_vane_is_told_above_the_shaft(thick: float) -> None:
    low: dict[str, FactValue] = {
        "vane.height": Number(0.2, "in"),
        "shaft.outside_diameter": Number(thick, "mm"),
    }
    root = tree(side(decision(low)))
    surface = min(y for _, y in points(every(root, "shaft")[1]))
    label = next(e for e in root.iter(f"{SVG}text") if e.text == "5.08 mm")
    assert float(label.get("y") or 0) <= surface - 3


def test_lines_do_not_run_through_labels() -> None:
    for drawing in DRAWINGS:
        drawn = list(tree(drawing(decision())))
        first = next(at for at, e in enumerate(drawn) if e.get("class") == "halo")
        assert {e.tag for e in drawn[first:]} <= {f"{SVG}text", f"{SVG}rect"}
    # The lines of the head's exposed length come down through another row's label.
    root = tree(side(decision()))
    label = next(e for e in root.iter(f"{SVG}text") if (e.text or "").startswith("starts"))
    end, y = float(label.get("x") or 0), float(label.get("y") or 0)
    crossing = [
        float(e.get("x1") or 0)
        for e in every(root, "witness")
        if e.get("x1") == e.get("x2")
        and end - 130 < float(e.get("x1") or 0) < end
        and float(e.get("y2") or 0) > y
    ]
    assert crossing
    grounds = [e for e in every(root, "paper") if close(float(e.get("y") or 0), y - 11)]
    for x in crossing:
        assert any(
            float(e.get("x") or 0) < x < float(e.get("x") or 0) + float(e.get("width") or 0)
            for e in grounds
        )


def test_a_head_says_what_its_outline_does_not_show() -> None:
    three = said(tree(side(decision({"point.blades": Number(3, "")}))))
    assert "The width of the head is that of the circle round its blades." in three
    assert "the circle round its blades" not in said(tree(side(decision())))
    closed: dict[str, FactValue] = {
        "point.type": "mechanical",
        "point.closed_width": Number(0.6, "in"),
    }
    assert "open they cut 1.125 in (28.6 mm)" in said(tree(side(decision(closed))))
    guessed = tree(side(decision({"point.blade_start": None})))
    edges = [e for e in every(guessed, "guess") if e.tag == f"{SVG}line"]
    assert edges  # a blade seen on its edge is no surer than one seen flat


@pytest.mark.parametrize(
    ("silhouette", "tip", "setback"),
    [("swept", 0.25, 0.75), ("shield", 0.40, 0.50), ("parabolic", 0.50, 0.35)],
)
def test_tail_and_head_are_to_scale_larger(silhouette: str, tip: float, setback: float) -> None:
    root = tree(side(decision({"vane.silhouette": silhouette})))
    scale = pixels_per_mm(root, 1)
    assert scale > 2 * pixels_per_mm(root, 0)
    vane = every(root, "vane", "cock", "larger")[0]
    long, high = 2.6 * INCH * scale, 0.45 * INCH * scale
    outline = points(vane)
    (rear, root_y), (front, _) = outline[0], outline[-1]
    assert close(front - rear, long)
    assert close(width(vane), long)
    assert close(root_y - min(y for _, y in outline), high)
    # It covers what the flight model's trapezoid covers in its stead.
    assert close(area(outline), (1 + tip) / 2 * long * high, 0.01)
    if silhouette == "swept":
        (top_rear, _), (top_front, _) = outline[1:3]
        assert close(top_front - top_rear, tip * long, 0.01)
        assert close(front - top_front, setback * long, 0.01)
    blade = every(root, "blade")[-2]
    assert close(width(blade), 1.0 * INCH * scale)
    ys = [y for each in every(root, "blade")[-2:] for _, y in points(each)]
    assert close(max(ys) - min(ys), 1.125 * INCH * scale)


def _bends(outline: list[tuple[float, float]]) -> list[float]:
    """How far a way turns to the right at each point between its ends, in degrees."""
    ways = [math.atan2(v - y, u - x) for (x, y), (u, v) in pairwise(outline)]
    return [(math.degrees(b - a) + 180) % 360 - 180 for a, b in pairwise(ways)]


def test_a_silhouette_is_drawn_as_what_it_is() -> None:
    swept = outlines.vane(1, 1, "swept").points
    assert swept == [(0, 0), (0, 1), (0.25, 1), (1, 0)]  # straight, and upright behind

    shield = outlines.vane(1, 1, "shield")
    corner = shield.rear[-1]
    assert 0 < corner[0] < 0.1  # nearly upright behind
    middle = next(x for x, y in shield.rear if y == 0.5)
    assert middle > corner[0] / 2 + 0.03  # cut in: a hollow, ahead of the straight way up
    assert max(x for x, _ in shield.rear) < 0.12
    assert min(_bends(shield.points)) < -60  # the hollow ends in a corner
    assert all(bend > 0 for bend in _bends(list(shield.rear)))
    assert all(bend < 0 for bend in _bends(list(shield.front)))  # and the top is arched

    parabolic = outlines.vane(1, 1, "parabolic").points
    assert all(-20 < bend < 0 for bend in _bends(parabolic))  # rounded, without a corner
    assert 0.25 < max(parabolic, key=lambda point: point[1])[0] < 0.5

    for one, other in ((shield.points, parabolic), (shield.points, swept), (parabolic, swept)):
        apart = max(abs(_height_at(one, x / 100) - _height_at(other, x / 100)) for x in range(100))
        assert apart > 0.25  # of the height: seen at any size it is printed in


def _height_at(outline: list[tuple[float, float]], x: float) -> float:
    """The height of an outline, the highest where it comes back over itself."""
    ends = pairwise(outline)
    over = [(a, va, b, vb) for (a, va), (b, vb) in ends if a != b and min(a, b) <= x <= max(a, b)]
    return max(va + (vb - va) * (x - a) / (b - a) for a, va, b, vb in over)


def test_an_outline_nobody_stated_is_the_box_it_fits_in() -> None:
    assert outlines.vane(4, 2, "").points == [(0, 0), (0, 2), (4, 2), (4, 0)]


def test_three_vanes_are_seen_as_they_stand() -> None:
    root = tree(side(decision({"fletching.count": Number(3, "")})))
    cock = every(root, "vane", "cock", "larger")[0]
    lower = [v for v in every(root, "vane", "larger") if v is not cock]
    assert len(lower) == 2
    for vane in lower:
        assert close(height(vane), height(cock) / 2)


@pytest.mark.parametrize(
    ("kind", "facts", "words", "reach_mm"),
    [
        ("mechanical", {"point.closed_width": Number(0.6, "in")}, "closed", 0.6 * INCH),
        ("fixed-blade", {}, "cuts", 1.125 * INCH),
        ("blunt", {"point.diameter": Number(9.5, "mm")}, "across", 9.5),
        ("field-point", {"point.diameter": Number(7.6, "mm")}, "across", 7.6),
        (
            "target-point",
            {"point.diameter": Number(5.6, "mm"), "point.nose": "ogive"},
            "across",
            5.6,
        ),
    ],
)
def test_every_kind_of_head_has_its_width(
    kind: str, facts: dict[str, FactValue], words: str, reach_mm: float
) -> None:
    blades: dict[str, FactValue | None] = {"point.blades": Number(2, "")}
    root = tree(side(decision({**blades, **facts, "point.type": kind})))
    scale = pixels_per_mm(root, 1)
    seen = [*every(root, "head")[-1:], *every(root, "blade")[-2:]]
    ys = [y for each in seen for _, y in points(each)]
    assert close(max(ys) - min(ys), reach_mm * scale)
    assert words in texts(root)


# The arrow from behind


def _turn(root: ET.Element, at: tuple[float, float]) -> float:
    """The angle of a place from upright about the shaft's axis, clockwise, in degrees."""
    shaft = every(root, "shaft")[0]
    cx, cy = float(shaft.get("cx") or 0), float(shaft.get("cy") or 0)
    return math.degrees(math.atan2(at[0] - cx, cy - at[1])) % 360


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6])
def test_vanes_stand_at_equal_angles(count: int) -> None:
    root = tree(behind(decision({"fletching.count": Number(count, "")})))
    edges = every(root, "vane-edge")
    turns = [_turn(root, points(edge)[0]) for edge in edges]
    assert len(turns) == count
    for one, other in pairwise(turns):
        assert close((other - one) % 360, 360 / count)
    assert f"{360 // count} deg" in texts(root)
    assert "cock vane" in texts(root)
    cock = every(root, "vane-edge", "cock")
    assert [points(e) for e in cock] == [points(edges[0])]


def test_circles_and_vanes_from_behind_are_to_scale() -> None:
    root = tree(behind(decision({"fletching.direction": "straight"})))
    scale = pixels_per_mm(root, 0)
    names = ("shaft", "rear-circle", "clearance")
    radius = {name: float(every(root, name)[0].get("r") or 0) for name in names}
    assert close(radius["shaft"], 2.9 * scale)
    assert close(radius["rear-circle"], 14.33 * scale)
    assert close(radius["clearance"], 18 * scale)
    edge = points(every(root, "vane-edge", "cock")[0])
    assert edge[0][0] == edge[1][0]  # straight up
    assert close(edge[0][1] - edge[1][1], 0.45 * INCH * scale)
    thick = every(root, "vane-edge")[0].get("stroke-width")
    assert close(float(thick or 0), 0.6 * scale)


@pytest.mark.parametrize(
    ("direction", "clamp", "turned"),
    [
        ("right", "right", 45.536),
        ("left", "left", -45.536),
        ("right", "straight", 43.343),
        ("left", "straight", -43.343),
    ],
)
def test_the_front_of_a_foot_is_turned_to_its_side(
    direction: str, clamp: str, turned: float
) -> None:
    root = tree(behind(decision({"fletching.direction": direction, "bench.clamp": clamp})))
    rear = points(every(root, "vane-edge", "cock")[0])[0]
    front = points(every(root, "front-end")[3])[0]  # drawn last to first: the cock vane's
    between = (_turn(root, front) - _turn(root, rear) + 180) % 360 - 180
    assert close(between, turned)
    assert f"turns {direction}" in texts(root)


def test_a_clearance_too_small_or_far_outside_is_told() -> None:
    assert "2.33 mm too little" in said(
        tree(behind(decision({"rest.clearance": Number(12, "mm")})))
    )
    root = tree(behind(decision({"rest.clearance": Number(50, "mm")})))
    assert "its circle lies outside the drawing" in said(root)
    assert not every(root, "clearance")


def test_what_the_vanes_must_pass_is_drawn_on_them() -> None:
    order = [e.get("class") or "" for e in tree(behind(decision())).iter()]
    last_sweep = max(at for at, kind in enumerate(order) if kind == "sweep")
    assert order.index("clearance") > last_sweep
    assert order.index("rear-circle") > last_sweep


def test_flat_vanes_are_seen_to_stand_out_at_their_ends() -> None:
    flat: dict[str, FactValue | None] = {
        "bench.clamp": "straight",
        "fletching.offset": Number(8, "deg"),
        "rest.clearance": Number(14.5, "mm"),
        "vane.silhouette": "shield",
    }
    # The top's rear corner: 0.46 of 66.04 mm behind mid-foot, 8 deg aside, 14.33 mm up.
    told = "stand out to 14.9 mm from the axis, beyond the rest clearance."
    root = tree(behind(decision(flat)))
    assert told in said(root)
    cx, cy = (float(every(root, "shaft")[0].get(name) or 0) for name in ("cx", "cy"))
    spoke = every(root, "axis")[0]
    outer = math.hypot(float(spoke.get("x2") or 0) - cx, float(spoke.get("y2") or 0) - cy)
    for edge in every(root, "vane-edge"):
        assert all(math.hypot(x - cx, y - cy) < outer for x, y in points(edge))
    scale = pixels_per_mm(root, 0)
    far = max(math.hypot(x - cx, y - cy) for x, y in points(every(root, "sweep")[0]))
    assert close(far, 14.94 * scale)
    roomy = said(tree(behind(decision({**flat, "rest.clearance": Number(20, "mm")}))))
    assert "stand out to 14.9 mm from the axis." in roomy
    assert "stand out" not in said(tree(behind(decision({**flat, "bench.clamp": "right"}))))


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("height", [0.2, 0.9])
def test_the_turn_is_shown_clear_of_angle_and_radius(count: int, height: float) -> None:
    facts = {"fletching.count": Number(count, ""), "vane.height": Number(height, "in")}
    root = tree(behind(decision(facts)))
    cx, cy = (float(every(root, "shaft")[0].get(name) or 0) for name in ("cx", "cy"))
    spin = points(every(root, "spin")[0])
    arc = points(next(e for e in every(root, "dim") if e.tag == f"{SVG}polyline"))
    for x, y in spin:
        assert min(math.dist((x, y), other) for other in arc) > 10
    label = next(e for e in root.iter(f"{SVG}text") if (e.text or "").startswith("radius"))
    x1, y2 = float(label.get("x") or 0), float(label.get("y") or 0)
    half = 0 if label.get("text-anchor") == "end" else 40
    assert all(x > x1 + half or y < y2 - 10 for x, y in spin)
    assert math.hypot(spin[0][0] - cx, spin[0][1] - cy) > 80


def test_a_wrap_counts_where_the_numbers_count_it() -> None:
    wrapped: dict[str, FactValue | None] = {
        "wrap.length": Number(4, "in"),
        "wrap.outside_diameter": Number(6.4, "mm"),
        "fletching.rear_radius": Number(3.2 + 0.45 * INCH, "mm", "0.3 mm", "sum"),
        "fletching.direction": "straight",
    }
    root = tree(behind(decision(wrapped)))
    scale = pixels_per_mm(root, 0)
    assert "wrap, 6.4 mm (0.252 in) across" in texts(root)
    foot = points(every(root, "vane-edge", "cock")[0])[0]
    assert close(float(every(root, "shaft")[0].get("cy") or 0) - foot[1], 3.2 * scale)
    seen = tree(side(decision(wrapped)))
    assert close(width(every(seen, "wrap")[0]), 4 * INCH * pixels_per_mm(seen, 0))
    assert "Wrap 4 in (102 mm) long, shaded." in said(seen)
    # Where the numbers leave the wrap out, so does the drawing.
    bare = decision({**wrapped, "fletching.rear_radius": NUMBERS["fletching.rear_radius"]})
    assert "wrap, 6.4 mm (0.252 in) across" not in texts(tree(behind(bare)))


# The surface unrolled


@pytest.mark.parametrize("offset", [0.5, 2, 6, 10])
@pytest.mark.parametrize(("direction", "sign"), [("right", 1), ("left", -1)])
@pytest.mark.parametrize("count", [3, 4])
def test_feet_lie_at_their_offset_and_spacing(
    offset: float, direction: str, sign: int, count: int
) -> None:
    changes: dict[str, FactValue] = {
        "fletching.offset": Number(offset, "deg"),
        "fletching.direction": direction,
        "fletching.count": Number(count, ""),
    }
    root = tree(unrolled(decision(changes)))
    scale = pixels_per_mm(root, 0)
    feet = [f for f in every(root, "foot") if "again" not in (f.get("class") or "")]
    assert len(feet) == count
    for foot in feet:
        (x1, y1), (x2, y2), _, (_, y4) = points(foot)
        # Looking forward, right is down this page.
        assert close(math.degrees(math.atan2(y2 - y1, x2 - x1)), sign * offset)
        assert close(math.hypot(x2 - x1, y2 - y1), 2.6 * INCH * scale)
        assert close((y4 - y1) * math.cos(math.radians(offset)), 2.6 * scale)
    for one, other in pairwise(feet):
        assert close(points(other)[1][1] - points(one)[1][1], math.pi * 5.8 / count * scale)
    surface = every(root, "surface")[0]
    assert close(height(surface), math.pi * 5.8 * scale)
    first, second = points(feet[0]), points(feet[1])
    room = (second[1][1] - first[2][1]) * math.cos(math.radians(offset)) / scale
    wanted = math.pi * 5.8 / count * math.cos(math.radians(offset)) - 2.6
    assert abs(room - wanted) < 0.02
    assert f"{offset:g} deg" in texts(root)


def test_a_foot_that_runs_over_the_cut_goes_on_at_the_other_edge() -> None:
    root = tree(unrolled(decision({"fletching.offset": Number(6, "deg")})))
    scale = pixels_per_mm(root, 0)
    again = every(root, "foot", "again")
    assert again
    whole = [points(f) for f in every(root, "foot") if f not in again]
    around = math.pi * 5.8 * scale
    for foot in again:
        shifted = [abs(abs(points(foot)[1][1] - one[1][1]) - around) for one in whole]
        assert min(shifted) < 0.05


@pytest.mark.parametrize(("direction", "sign"), [("right", 1), ("left", -1)])
@pytest.mark.parametrize("thick", [3.6, 11])
def test_the_lean_is_shown_as_far_as_the_cut(direction: str, sign: int, thick: float) -> None:
    facts: dict[str, FactValue] = {
        "fletching.offset": Number(8, "deg"),
        "fletching.direction": direction,
        "vane.length": Number(4, "in"),
        "shaft.outside_diameter": Number(thick, "mm"),
    }
    root = tree(unrolled(decision(facts)))
    ys = [y for _, y in points(every(root, "surface")[0])]
    along, lean = every(root, "axis")
    x1, y1, x2, y2 = (float(lean.get(name) or 0) for name in ("x1", "y1", "x2", "y2"))
    assert min(ys) - 0.02 <= y1 <= max(ys) + 0.02
    assert abs(math.degrees(math.atan2(y2 - y1, x2 - x1)) - sign * 8) < 0.05
    assert along.get("y1") == along.get("y2") == lean.get("y2")
    assert "8 deg" in texts(root)


def test_foot_room_and_spacing_are_dimensioned_beside_one_another() -> None:
    for count in (2, 3, 6):
        root = tree(unrolled(decision({"fletching.count": Number(count, "")})))
        dots = [e for e in every(root, "tip") if e.tag == f"{SVG}circle"]
        xs = sorted(float(e.get("cx") or 0) for e in dots)
        assert len(xs) == 3
        assert all(other - one >= 14 for one, other in pairwise(xs))
        assert xs[-1] < max(x for x, _ in points(every(root, "surface")[0]))
    # Dimensions may stand out over the cut, but below the words on the surface's ends.
    crowded: dict[str, FactValue] = {
        "shaft.outside_diameter": Number(4.2, "mm"),
        "vane.foot_width": Number(4, "mm"),
        "fletching.root_space": Number(-1.8, "mm"),
    }
    root = tree(unrolled(decision({**crowded, "fletching.count": Number(6, "")})))
    words = next(e for e in root.iter(f"{SVG}text") if e.text == "to the head")
    tops = [float(e.get("y1") or 0) for e in every(root, "dim")]
    assert min(tops) > float(words.get("y") or 0)


def test_the_glue_line_of_a_straight_clamp_is_drawn_deeper() -> None:
    root = tree(unrolled(decision({"bench.clamp": "straight"})))
    scale = pixels_per_mm(root, 0)
    heading = next(t for t in texts(root) if t.startswith("Glue line"))
    times = float(heading.split()[-2])
    curve = points(every(root, "glue")[0])
    assert close(height(every(root, "glue")[0]), 0.22057 * times * scale, 0.01)
    middle = min(curve[1:-1], key=lambda p: abs(p[0] - (curve[0][0] + curve[-1][0]) / 2))
    assert abs(middle[1] - curve[0][1]) < 0.02  # it touches at mid-length
    assert "0.221 mm +/- 0.05 mm" in texts(root)
    assert "2.13 deg +/- 0.2 deg" in said(root)
    helical = tree(unrolled(decision()))
    assert not every(helical, "glue")
    assert "an even glue line" in said(helical)


def test_feet_that_overlap_are_said_to() -> None:
    wide = decision({"fletching.root_space": Number(-1.2, "mm", "0.2 mm", "geometry")})
    assert "overlap 1.2 mm +/- 0.2 mm" in texts(tree(unrolled(wide)))


# What is not known


@pytest.mark.parametrize(
    ("drawing", "missing", "words"),
    [
        (side, "shaft.length", "Shaft length not stated: the head and tail alone are drawn."),
        (side, "shaft.outside_diameter", "Shaft diameter not stated: 6 mm is drawn, dashed."),
        (side, "point.length", "the head is left out"),
        (side, "nock.throat", "lengths begin at the tube's end"),
        (side, "vane.length", "Vane length not stated"),
        (side, "vane.height", "the feet alone are drawn"),
        (side, "vane.silhouette", "the box it fits in is drawn, dashed"),
        (side, "fletching.rear_gap", "they are drawn apart"),
        (side, "fletching.count", "Number of vanes not stated"),
        (side, "point.cutting_width", "Cutting width of the head not stated"),
        (side, "point.blade_length", "their outline is dashed"),
        (side, "point.blade_start", "their outline is dashed"),
        (side, "point.blades", "Number of blades not stated"),
        (side, "steering.pressure_point", "left out: pressure point of the whole arrow"),
        (side, "arrow.balance", "left out: balance point"),
        (behind, "shaft.outside_diameter", "Shaft diameter not stated: 6 mm is drawn, dashed."),
        (behind, "vane.height", "Vane height not stated"),
        (behind, "fletching.count", "the cock vane alone is drawn"),
        (behind, "rest.clearance", "Rest clearance not stated"),
        (behind, "fletching.offset", "side or offset not stated"),
        (behind, "fletching.direction", "side or offset not stated"),
        (behind, "bench.clamp", "The turn of the vanes is not drawn"),
        (behind, "vane.thickness", "its thickness is not stated"),
        (unrolled, "shaft.outside_diameter", "one foot alone is drawn"),
        (unrolled, "fletching.count", "one foot alone is drawn"),
        (unrolled, "vane.length", "the feet are left out"),
        (unrolled, "fletching.offset", "the feet are left out"),
        (unrolled, "vane.foot_width", "Foot width not stated"),
        (unrolled, "bench.clamp", "Clamp not stated"),
    ],
)
def test_what_is_missing_is_said_and_the_rest_is_drawn(
    drawing: Drawing, missing: str, words: str
) -> None:
    root = tree(drawing(decision({missing: None})))
    assert words in said(root)
    assert words.rstrip(".").lower() in description(root).lower()
    assert words not in said(tree(drawing(decision())))


def test_nothing_known_but_the_head() -> None:
    bare = decision()._replace(given={"point.type": "fixed-blade"}, build={}, numbers={})
    root = tree(render(bare, False))
    told = said(root)
    for words in ("the tail alone is drawn", "the head is left out", "the feet are left out"):
        assert words in told
    assert not every(root, "vane")
    assert not every(root, "head")


def test_guesses_are_dashed() -> None:
    root = tree(side(decision({"shaft.outside_diameter": None, "vane.silhouette": None})))
    assert all("guess" in (e.get("class") or "") for e in every(root, "shaft"))
    assert all("guess" in (e.get("class") or "") for e in every(root, "vane", "larger"))


def test_sizes_no_thing_can_have_are_not_drawn() -> None:
    for value in (float("nan"), float("inf"), -1.0, 0.0, 1e9):
        root = tree(side(decision({"shaft.length": Number(value, "in")})))
        assert "Shaft length not stated" in said(root)
    root = tree(side(decision({"point.blade_start": Number(1.5, "in")})))
    assert "Length and place that fit the head are not stated" in said(root)


def test_what_is_assumed_is_starred() -> None:
    plain = decision()
    throat = plain.given["nock.throat"]
    given_facts = {k: v for k, v in plain.given.items() if k != "nock.throat"}
    resting = NUMBERS["arrow.balance"]._replace(rests_on=("nock.throat",))
    assumed = plain._replace(
        given=given_facts,
        assumed={"nock.throat": throat},
        numbers={**plain.numbers, "arrow.balance": resting},
    )
    told = texts(tree(side(assumed)))
    assert "over all 29.9 in (759 mm)*" in told
    assert "18 in +/- 0.2 in*" in told
    assert "* assumed, or rests on something assumed." in said(tree(side(assumed)))
    assert "*" not in said(tree(side(plain)))
    assert "(assumed, or rests on something assumed)" in description(tree(side(assumed)))


# Any Decision


def _boxes(root: ET.Element) -> list[tuple[float, float, float, float, str]]:
    """Where texts stand, by a mean width of letters; they are not measured."""
    boxes = []
    for element in root.iter(f"{SVG}text"):
        words = "".join(element.itertext())
        kind = (element.get("class") or "").split()
        size = 16 if "title" in kind else 13
        wide = len(words) * size * 0.5
        x, y = float(element.get("x") or 0), float(element.get("y") or 0)
        x -= {"middle": wide / 2, "end": wide}.get(element.get("text-anchor") or "", 0.0)
        boxes.append((x, y - size * 0.7, x + wide, y, words))
    return boxes


def _check_texts(drawn: str, name: str) -> None:
    root = tree(drawn)
    high = float(root.get("height") or 0)
    boxes = _boxes(root)
    for at, (x1, y1, x2, y2, words) in enumerate(boxes):
        assert x1 >= 0, (name, words)
        assert x2 <= 768, (name, words)
        assert 0 <= y1 < y2 <= high, (name, words)
        for a1, b1, a2, b2, others in boxes[at + 1 :]:
            apart = x2 <= a1 + 1 or a2 <= x1 + 1 or y2 <= b1 + 1 or b2 <= y1 + 1
            assert apart, (name, words, others)


def test_the_shafts_diameter_stays_clear_of_the_scale_on_a_bare_tail() -> None:
    bare = (
        "vane.height",
        "shaft.length",
        "point.length",
        "point.diameter",
        "point.cutting_width",
        "point.closed_width",
    )
    tail: dict[str, FactValue | None] = dict.fromkeys(bare)
    tail |= {
        "vane.length": Number(2, "in"),
        "shaft.outside_diameter": Number(4, "mm"),
        "nock.throat": Number(0, "in"),
        "fletching.rear_gap": Number(2, "in"),
    }
    drawn = side(decision(tail))
    assert "shaft 4 mm" in drawn
    _check_texts(drawn, "a bare tail")


@untraced
def test_no_label_stands_on_another_in_cases_of_the_rules() -> None:
    base = read_rule_base()
    seen = 0
    for path in case_files(base_folder()):
        for case in read_cases(path, base)[::3]:  # a third of them, from every file
            made = advise(case.setup, base)
            for drawing in DRAWINGS:
                _check_texts(drawing(made), case.name)
            tree(render(made, False))
            seen += 1
    assert seen > 10


LENGTHS = {
    "point.length": (0.2, 4, "in"),
    "point.diameter": (3.5, 14, "mm"),
    "point.cutting_width": (0.4, 3, "in"),
    "point.closed_width": (0.2, 2, "in"),
    "point.blade_length": (0.2, 3, "in"),
    "point.blade_start": (0, 3, "in"),
    "shaft.outside_diameter": (3.5, 12, "mm"),
    "shaft.length": (14, 34, "in"),
    "nock.throat": (0, 1.2, "in"),
    "wrap.length": (0, 14, "in"),
    "wrap.outside_diameter": (3.5, 13, "mm"),
    "rest.clearance": (4, 60, "mm"),
    "vane.length": (1, 6, "in"),
    "vane.height": (0.15, 1, "in"),
    "vane.thickness": (0.05, 3, "mm"),
    "vane.foot_width": (0.8, 8, "mm"),
    "fletching.rear_gap": (0.2, 3, "in"),
    "fletching.offset": (0, 10, "deg"),
    "fletching.count": (2, 6, ""),
    "point.blades": (0, 4, ""),
    "arrow.balance": (5, 34, "in"),
    "arrow.foc": (-20, 50, "%"),
    "steering.pressure_point": (1, 30, "in"),
    "steering.head_pressure_point": (14, 38, "in"),
    "steering.vane_pressure_point": (0.5, 7, "in"),
    "fletching.rear_radius": (3, 40, "mm"),
    "fletching.wrap_angle": (0, 720, "deg"),
    "fletching.root_space": (-10, 20, "mm"),
    "glue.end_gap": (0, 20, "mm"),
    "glue.offset_limit": (0, 90, "deg"),
    "spin.travel_per_turn": (0, 1000, "m"),
}
CHOICES = {
    "point.type": ("field-point", "target-point", "fixed-blade", "mechanical", "blunt"),
    "point.nose": ("ogive", "cone"),
    "vane.silhouette": ("swept", "shield", "parabolic"),
    "fletching.direction": ("left", "straight", "right"),
    "bench.clamp": ("left", "straight", "right"),
}


@st.composite
def builds(draw: st.DrawFn) -> dict[str, FactValue | None]:
    """Facts within the vocabulary's ranges, some of them missing."""
    facts: dict[str, FactValue | None] = {}
    for name, (low, high, unit) in LENGTHS.items():
        whole = unit == "" and name != "fletching.offset"
        value = draw(st.integers(int(low), int(high)) if whole else st.floats(low, high))
        facts[name] = draw(st.sampled_from([None, *[Number(float(f"{value:.9g}"), unit)] * 6]))
    for name, choices in CHOICES.items():
        facts[name] = draw(st.sampled_from([None, *choices]))
    return facts


@given(builds())
@settings(max_examples=150, deadline=None)
def test_any_build_is_drawn_with_labels_apart(facts: dict[str, FactValue | None]) -> None:
    made = decision(facts)
    for drawing in DRAWINGS:
        _check_texts(drawing(made), "drawn at random")
    assert "nan" not in re.sub(r"<desc.*?</desc>", "", render(made, False), flags=re.DOTALL)


ANYTHING = st.one_of(
    st.text(max_size=20),
    st.booleans(),
    st.tuples(st.text(max_size=5)),
    st.builds(
        Number,
        st.floats(),
        st.sampled_from(["in", "mm", "cm", "m", "ft", "deg", "", "%", "gr", "cubits"]),
        st.text(max_size=8),
        st.sampled_from(["", "f"]),
        st.just(""),
        st.sampled_from([(), ("nock.throat",)]),
    ),
    st.builds(Number, st.integers(-(10**30), 10**30), st.sampled_from(["in", "mm", "deg", ""])),
)


@untraced
@given(
    st.dictionaries(st.sampled_from([*LENGTHS, *CHOICES]), ANYTHING),
    st.text(max_size=200),
    st.sampled_from(["advised", "judged", "rejected", "stopped", "?"]),
)
@settings(max_examples=200, deadline=None)
def test_nothing_at_all_makes_a_drawing_raise(
    facts: dict[str, FactValue | None], title: str, status: str
) -> None:
    made = decision(facts, title=title, status=status)
    for text in (render(made, True), side(made), behind(made), unrolled(made)):
        root = tree(text)
        for element in root.iter():
            for name in ("x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "width", "height"):
                assert math.isfinite(float(element.get(name) or 0))
            for x, y in points(element):
                assert math.isfinite(x)
                assert math.isfinite(y)


# Small things


def test_coordinates_are_short() -> None:
    assert [px(v) for v in (1.0, 2.345, -0.001, 10.5)] == ["1", "2.35", "0", "10.5"]
    for element in tree(render(decision(), False)).iter():
        for name, value in element.attrib.items():
            assert not re.search(r"\d\.\d{3}", value), (name, value)


@given(
    st.lists(st.floats(0, 700), min_size=1, max_size=6).map(sorted),
    st.floats(10, 100),
)
def test_labels_are_spread_in_order_and_apart(wanted: list[float], size: float) -> None:
    placed = spread(wanted, [size] * len(wanted), 0, 700)
    assert placed[0] >= size / 2 - 1e-9
    assert placed[-1] <= 700 - size / 2 + 1e-9
    for one, other in pairwise(placed):
        assert other - one >= size - 1e-9


def test_labels_with_room_stay_where_they_belong() -> None:
    assert spread([100, 300], [50, 50], 0, 700) == [100, 300]
    assert spread([100, 100, 300], [50, 50, 50], 0, 700) == [75, 125, 300]
    assert spread([10, 690], [50, 50], 0, 700) == [25, 675]
    assert spread([], [], 0, 1) == []
