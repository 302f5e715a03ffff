"""The style of the drawings: black on white, light on dark if the reader asks, print black.

Every rule is written twice where it uses a variable, first with the plain colour, so that a viewer
without variables still draws black on white. All of it is kept to the drawings' own class, for a
style inside an SVG holds for the whole page it is set into.
"""

from __future__ import annotations

_LIGHT = {
    "ink": "#111111",
    "thin": "#4a4a4a",
    "measure": "#1f4e79",
    "fill": "#dedede",
    "shade": "#bdbdbd",
    "pale": "#f1f1f1",
    "paper": "#ffffff",
}
_DARK = {
    "ink": "#eeeeee",
    "thin": "#b5b5b5",
    "measure": "#a9cbe8",
    "fill": "#4a4f56",
    "shade": "#666d76",
    "pale": "#2c3036",
    "paper": "#16191d",
}
_PRINT = _LIGHT | {"ink": "#000000", "thin": "#000000", "measure": "#000000"}

# What each class fills and strokes with, how wide, and how it is dashed.
_RULES = (
    (".paper", "paper", "", 0.0, ""),
    ("text", "ink", "", 0.0, ""),
    (".small", "thin", "", 0.0, ""),
    (".outline,.thin", "none", "ink", 1.2, ""),
    (".thin", "none", "thin", 0.8, ""),
    (".edge", "none", "ink", 0.0, ""),
    (".ink", "ink", "", 0.0, ""),
    (".nock", "paper", "thin", 0.8, ""),
    (".shaft", "fill", "ink", 1.2, ""),
    (".wrap", "shade", "ink", 1.0, ""),
    (".vane", "pale", "ink", 1.2, ""),
    (".sweep", "pale", "thin", 0.8, ""),
    (".surface", "fill", "", 0.0, ""),
    (".foot", "pale", "ink", 1.2, ""),
    (".foot-line", "none", "ink", 2.4, ""),
    (".head,.blade", "fill", "ink", 1.2, ""),
    (".blade", "pale", "ink", 1.2, ""),
    (".mark", "paper", "ink", 1.2, ""),
    (".glue", "thin", "", 0.0, ""),
    (".guess", "none", "thin", 1.0, "4 3"),
    (".axis", "none", "thin", 0.7, "9 3 2 3"),
    (".rear-circle", "none", "ink", 1.0, "5 3"),
    (".clearance", "none", "ink", 1.4, "12 4"),
    (".front-end", "none", "ink", 1.0, "2 2"),
    (".cut", "none", "ink", 1.2, "12 4"),
    (".dim,.witness", "none", "measure", 0.8, ""),
    (".witness", "none", "measure", 0.5, ""),
    (".tip", "measure", "", 0.0, ""),
)


def _variables(colours: dict[str, str]) -> str:
    return "".join(f"--{name}:{colour};" for name, colour in colours.items())


def _paint(part: str, name: str) -> str:
    if name == "none":
        return f"{part}:none;"
    return f"{part}:{_LIGHT[name]};{part}:var(--{name});"


def _rule(selector: str, fill: str, stroke: str, width: float, dash: str) -> str:
    own = ",".join(f".arrow-drawing {one}" for one in selector.split(","))
    words = _paint("fill", fill)
    if stroke:
        words += _paint("stroke", stroke)
    if width:
        words += f"stroke-width:{width:g}px;"
    if dash:
        words += f"stroke-dasharray:{dash};"
    return f"{own}{{{words}}}\n"


STYLE = (
    f"\n.arrow-drawing{{{_variables(_LIGHT)}max-width:100%;height:auto;"
    "font-family:'Liberation Sans',Arial,Helvetica,sans-serif;font-size:13px;}\n"
    f"@media (prefers-color-scheme:dark){{.arrow-drawing{{{_variables(_DARK)}}}}}\n"
    f"@media print{{.arrow-drawing{{{_variables(_PRINT)}max-height:100vh;}}}}\n"
    + "".join(_rule(*rule) for rule in _RULES)
    + ".arrow-drawing polygon,.arrow-drawing polyline{stroke-linejoin:round;}\n"
    ".arrow-drawing .title{font-size:16px;font-weight:bold;}\n"
    ".arrow-drawing .strong{font-weight:bold;}\n"
    ".arrow-drawing .halo{paint-order:stroke;stroke:#ffffff;stroke:var(--paper);"
    "stroke-width:5px;stroke-linejoin:round;}\n"
)
"""The text of the style element."""
