"""The work itself on the bench sheet: steps by phase, each with its cautions, tables and lines."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from advisor.decision import Decision, Number
from advisor.render.drawing_facts import Facts, surface
from advisor.render.numbers import digits
from advisor.render.sheet_places import EARLIER, Placed
from advisor.render.sheet_top import caution_box
from advisor.render.sheet_words import (
    PHASES,
    bare_tick,
    blank,
    capital,
    section,
    shown,
    table,
    tick,
    wing,
    words,
)

DOZEN = 12
_MOST_ROWS = 72
_DISTANCES = 5


def phases(decision: Decision, placed: Placed) -> str:
    """Return a section for each phase; a phase with a table has it even if it has no steps."""
    numbered = list(enumerate(decision.steps))
    by_phase = {
        name: [index for index, _ in group]
        for name, group in groupby(numbered, key=lambda pair: pair[1].phase)
    }
    order = [name for name in PHASES if name in by_phase or name in _ALWAYS]
    order += [name for name in by_phase if name not in order]
    return "".join(_phase(decision, placed, name, by_phase.get(name, [])) for name in order)


def _phase(decision: Decision, placed: Placed, name: str, steps: list[int]) -> str:
    body = _work(decision, placed, steps)
    if name == "set-up":
        body = jig(decision) + body
    elif name == "cure":
        body += cure_lines()
    elif name == "verify":
        body += dozen(decision)
    elif name == "shoot":
        body += shooting_record(decision)
    return section(f"phase-{name}", PHASES.get(name, capital(name)), body)


_ALWAYS = ("set-up", "cure", "verify", "shoot")


def _work(decision: Decision, placed: Placed, steps: Iterable[int]) -> str:
    """Return numbered steps, the list interrupted where a caution stands before one."""
    lines: list[str] = []
    is_open = False
    cautioned = {decision.steps[index].phase for index in placed.before}
    for index in steps:
        cautions = placed.before.get(index, ())
        if cautions and is_open:
            lines.append("</ol>\n")
            is_open = False
        lines += [caution_box(caution) for caution in cautions]
        if not is_open:
            lines.append(f'<ol class="steps" start="{index + 1}">\n')
            is_open = True
        step = decision.steps[index]
        early = [phase for phase in EARLIER.get(step.rule, ()) if phase in cautioned]
        lines.append(f"<li>{tick(words(step.text) + _read_first(early), marked=True)}</li>\n")
    if is_open:
        lines.append("</ol>\n")
    return "".join(lines)


def _read_first(early: list[str]) -> str:
    if not early:
        return ""
    names = " and ".join(
        f'<a href="#phase-{words(phase)}">{words(PHASES.get(phase, phase))}</a>' for phase in early
    )
    return f' <span class="before">First read the cautions under {names}.</span>'


def jig(decision: Decision) -> str:
    """Return the jig's settings, room to write what this jig reads, and three squares."""
    facts = Facts(decision)
    count = facts.count("fletching.count")
    index = f"{count} vanes, {digits(360 / count, 4)} deg apart" if count else ""
    stands_on = shown(facts.number("fletching.surface_diameter"))
    if not stands_on and (bare := surface(facts)) is not None:
        stands_on = f"{digits(bare, 3)} mm"
    feathers = wing(decision)
    settings = (
        *((("Wing of the feathers", feathers),) if feathers else ()),
        ("Clamp", facts.word("bench.clamp")),
        ("Side", facts.word("fletching.direction")),
        ("Offset angle", _shown(facts, "fletching.offset")),
        ("Count and index", index),
        ("Rear gap, nock throat to rear of the vane", _shown(facts, "fletching.rear_gap")),
        ("Diameter the feet stand on", stands_on),
    )
    rows = [
        (words(name), words(value) if value else "not settled", "", bare_tick(f"{name}: set"))
        for name, value in settings
    ]
    heads = ("Setting", "Set to", "This jig reads", "Set")
    done = "".join(
        tick(text)
        for text in ("Dry fitted, no light under the foot", "Place marked", "Settings locked")
    )
    told = table("Jig settings", heads, rows, (36, 30, 24, 10), "settings")
    return f'{told}\n<div class="ticks">{done}</div>\n'


def _shown(facts: Facts, name: str) -> str:
    value = facts.value(name)
    return shown(value) + facts.star(name) if value is not None else ""


def cure_lines() -> str:
    """Return lines for when the glue was set and when it may be touched."""
    fields = "".join(
        blank(name) for name in ("Glued, day and hour", "Label's full cure", "Not before")
    )
    return f'<div class="fill">{fields}</div>\n'


def quantity(decision: Decision) -> int | None:
    """Return how many arrows are built, or None if no whole number of them is known."""
    number = Facts(decision).number("arrow.quantity")
    if number is None or number.value < 1 or number.value != int(number.value):
        return None
    return int(number.value)


def dozen(decision: Decision) -> str:
    """Return a row for each arrow: its mass and balance, and a square for every check."""
    wanted = quantity(decision)
    rows = min(wanted or DOZEN, _MOST_ROWS)
    facts = Facts(decision)
    reckoned = [
        f"{name} {said}"
        for name, said in (
            ("mass", facts.amount("arrow.mass")),
            ("balance point from the nock throat", facts.amount("arrow.balance")),
        )
        if said
    ]
    said = f" Reckoned: {', '.join(reckoned)}; glue is not counted." if reckoned else ""
    if wanted is None:
        said += f" The number of arrows is not known: {rows} rows."
    elif wanted > rows:
        said += f" Print this page again for the other {wanted - rows}."
    unit = _unit(facts.number("arrow.mass"), "gr")
    balance = _unit(facts.number("arrow.balance"), "in")
    heads = (
        "Arrow",
        f"Mass, {unit}",
        "Within tolerance",
        f"Balance, {balance}",
        "Bond holds",
        "Nock sound",
        "Spins true",
        "No contact",
        "Sort",
    )
    checks = ("within tolerance", "bond holds", "nock sound", "spins true", "no contact")
    lines = []
    for row in range(1, rows + 1):
        ticks = [bare_tick(f"arrow {row}: {check}") for check in checks]
        lines.append((str(row), "", ticks[0], "", *ticks[1:], ""))
    fields = "".join(blank(name) for name in ("Mass within", "Balance within", "Scale reads to"))
    told = table(
        "Every arrow of the batch", heads, lines, (9, 14, 12, 14, 10, 10, 10, 11, 10), "record"
    )
    reckoning = f'<p class="star">{words(said.strip())}</p>\n' if said else ""
    return f'<h3>Record</h3>\n<div class="fill">{fields}</div>\n{reckoning}{told}\n'


def _unit(number: Number | None, otherwise: str) -> str:
    return number.unit if number is not None else otherwise


def shooting_record(decision: Decision) -> str:
    """Return lines to write down what the shooting test showed."""
    blades = Facts(decision).word("point.type") in ("fixed-blade", "mechanical")
    other = "Broadhead from field point" if blades else "Bare shaft from fletched"
    heads = (
        "No.",
        "Distance",
        "Head or shaft",
        "Group",
        f"{other}, up and across",
        "Contact marks",
    )
    rows = [(str(row), "", "", "", "", "") for row in range(1, _DISTANCES + 1)]
    fields = "".join(blank(name) for name in ("Date", "Place and wind", "Bow, rest and sight"))
    told = table("What the test showed", heads, rows, (8, 15, 20, 15, 24, 18), "record")
    lines = "".join(
        blank(name, "long") for name in ("Changed, and what it did", "Verdict, initials")
    )
    body = f'<div class="fill">{fields}</div>\n{told}\n<div class="fill">{lines}</div>'
    return f"<h3>Record of the test</h3>\n{body}\n"
