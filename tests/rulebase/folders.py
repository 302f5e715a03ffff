"""A kettle and its tea: a small rule base to write into folders, whole or changed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

MANIFEST = """\
schema: 1
name: kettle
version: 1.2.0
says: How to make tea.
favours: [small-pot]
"""
VOCABULARY = """\
schema: 1
facts:
  tea.kind:
    label: kind of tea
    kind: choice
    origin: given
    choices: {black: fermented, green: not fermented, herb: no tea at all}
    question: Which tea?
    assume: {value: black, because: most people drink it}
  tea.guests: {kind: count, origin: given, range: [1, 12], question: How many drink?}
  tea.in_a_hurry: {kind: flag, origin: given, question: Is there little time?}
  pot.size: {label: size of the pot, kind: quantity, origin: option, unit: ml, range: [200, 2000]}
  pot.lid: {label: lid, kind: choice, origin: option, choices: [glass, clay]}
  brew.strength: {label: strength, kind: choice, origin: concluded, choices: [weak, strong]}
"""
SOURCES = """\
sources:
  tea-book: {author: A. Leaf, title: The tea book, year: 1950, from_memory: true}
"""
LADDER = """\
stock: the kitchen shelf
pot: {size: [300 ml, 500 ml, 1000 ml], lid: [glass, clay]}
"""
TEA = """\
- id: black-tea-is-strong
  says: Make black tea strong.
  when: {tea.kind: black}
  then:
    - set: {brew.strength: strong}
  because: It tastes of nothing else.
  evidence: {class: common-practice}

- id: clay-keeps-the-heat
  says: Take a clay lid for strong tea.
  when: {brew.strength: strong}
  then:
    - should: {pot.lid: clay}
  because: Strong tea stands long, and clay keeps the heat.
  evidence: {class: published, source: tea-book, place: page 3}

- id: glass-shows-the-leaves
  says: Take a glass lid for green tea.
  when: {tea.kind: green}
  then:
    - should: {pot.lid: glass}
  because: One sees when the leaves have opened.
  evidence: {class: common-practice}
"""
POT = """\
- id: large-pot-for-many
  says: Take a large pot for more than four.
  when: {tea.guests: {above: 4}}
  then:
    - must: {pot.size: {at_least: 1000 ml}}
    - step: {phase: prepare, text: "Take the pot of {pot.size}.", after: [boil-the-water]}
  because: Nobody likes to wait for the second pot.
  evidence: {class: derived, function: cups times guests}

- id: boil-the-water
  says: Boil the water.
  then:
    - step: {phase: prepare, text: Boil the water.}
  because: Cold water draws nothing out.
  evidence: {class: common-practice}

- id: small-pot
  says: Take the smallest pot that will do.
  then:
    - favour: {pot.size: lowest}
  because: It is lighter to carry.
  evidence: {class: common-practice}
"""
KETTLE: Mapping[str, str] = {
    "manifest.yaml": MANIFEST,
    "vocabulary.yaml": VOCABULARY,
    "sources.yaml": SOURCES,
    "ladder.yaml": LADDER,
    "tea.yaml": TEA,
    "pot.yaml": POT,
}
HOUSE_MANIFEST = """\
name: house
version: 0.3.0
extends: {name: kettle, version: ">=1.1,<2"}
"""


def write(folder: Path, files: Mapping[str, str | None]) -> str:
    """Write files into a folder (None takes one away) and return its path."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        if text is None:
            (folder / name).unlink()
        else:
            (folder / name).write_text(text, encoding="utf-8")
    return str(folder)


def write_kettle(root: Path, changed: Mapping[str, str | None] | None = None) -> str:
    """Write the kettle's rule base, some of its files changed, added or taken away (None)."""
    files = {name: text for name, text in {**KETTLE, **(changed or {})}.items() if text is not None}
    return write(root / "kettle", files)


def write_house(root: Path, files: Mapping[str, str], name: str = "house") -> str:
    """Write a house over the kettle, which must stand beside it."""
    return write(root / name, {"manifest.yaml": HOUSE_MANIFEST, **files})


def rule(name: str, then: str, **more: str) -> str:
    """Write a rule; `more` are further lines of it, or others in place of the usual ones."""
    lines = {
        "says": "Do as the house does.",
        "then": then,
        "because": "The house has its reasons.",
        "evidence": "{class: house}",
        **more,
    }
    return f"- id: {name}\n" + "".join(f"  {key}: {text}\n" for key, text in lines.items())
