"""Words and marks of the bench sheet: everything that is set into the page passes through here.

Text is escaped for elements and for quoted attributes. Controls that turn the reading order
become replacement marks, so that a title cannot make words, its own or others, read backwards.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from advisor.decision import Decision, FactValue, Number
from advisor.render.drawing_canvas import escape
from advisor.render.numbers import amount, plain

STATUS = {
    "stopped": "STOP: do not build this",
    "rejected": "STOP: no build satisfies every must",
    "judged": "The build as stated holds",
    "advised": "Advised build",
}
PHASES = {
    "prepare": "Prepare shafts and vanes",
    "set-up": "Set up the jig",
    "bond": "Glue",
    "cure": "Cure",
    "verify": "Verify every arrow",
    "shoot": "Shooting test",
    "care": "Care",
}
"""Headings of the phases; one that is not here is headed by its own name."""

REVIEWER = "For the reviewer"
"""Heading of what nobody needs at the bench; the first page says that the work ends there."""

_FACT = re.compile(r"\b[a-z][a-z0-9_]+(?:\.[a-z][a-z0-9_]+)+\b")
_CHOICE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)+")
_TURNS = re.compile("[\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069]")
_JOINED = re.compile(r"(?<=\d) (?=(?:mm|cm|in|deg|m|ml|gr|gr/in|gr/lb|lb|fps|%|\+/-)(?![\w]))")


def esc(text: str) -> str:
    """Make a text safe inside an element or a quoted attribute."""
    safe = escape(_TURNS.sub("\ufffd", text))
    return safe.replace('"', "&quot;").replace("'", "&#39;")


def words(text: str) -> str:
    """Escape a text and keep each number on one line with its unit."""
    return _JOINED.sub("\u00a0", esc(text))


def foreign(text: str) -> str:
    """Escape a text that a stranger wrote, whichever way it reads."""
    return f"<bdi>{esc(text)}</bdi>"


def rule_name(rule: str) -> str:
    """Set a rule's id as the name it is."""
    return f"<code>{esc(rule)}</code>"


def rule_names(rules: Iterable[str]) -> str:
    """Set several rules' ids, each once."""
    return ", ".join(rule_name(rule) for rule in dict.fromkeys(rules))


def label(decision: Decision, fact: str) -> str:
    """Say a fact in words: its label, or its name with the dots taken out."""
    return decision.labels.get(fact) or fact.replace(".", " ").replace("_", " ")


def labels(decision: Decision, facts: Iterable[str]) -> str:
    """Say several facts in words, each once."""
    return ", ".join(label(decision, fact) for fact in dict.fromkeys(facts))


def asked(decision: Decision, text: str) -> str:
    """Put the facts that a demand names into words, escaped; what else it says stays."""
    return words(_FACT.sub(lambda name: label(decision, name[0]), text))


def said(value: FactValue) -> str:
    """Say a stated or chosen value in words: a choice without its hyphens."""
    if isinstance(value, str):
        return value.replace("-", " ") if _CHOICE.fullmatch(value) else value
    if isinstance(value, (bool, Number)):
        return plain(value)
    return ", ".join(said(part) for part in value) or "none"


def wing(decision: Decision) -> str:
    """Return which wing the feathers are from; empty if there are none or nobody knows."""
    d = decision
    if d.build.get("vane.material", d.given.get("vane.material")) != "feather":
        return ""
    for place in (d.build, d.given, d.concluded):
        value = place.get("feather.wing")
        if isinstance(value, str):
            return value
    return ""


def capital(text: str) -> str:
    """Begin a text with a capital letter."""
    return text[:1].upper() + text[1:]


def shown(value: FactValue | None) -> str:
    """Show a value: a computed number with its band, anything else as it was written."""
    if value is None:
        return ""
    if isinstance(value, Number) and value.function:
        return amount(value) + ("*" if value.rests_on else "")
    return plain(value)


def tick(text: str, *, marked: bool = False) -> str:
    """Return a square to tick with its words; `marked` says the words are markup already."""
    inner = text if marked else words(text)
    return f'<label class="tick"><input type="checkbox"> <span>{inner}</span></label>'


def bare_tick(name: str) -> str:
    """Return a square to tick whose name is only read aloud."""
    return f'<input type="checkbox" aria-label="{esc(name)}">'


def blank(name: str, size: str = "") -> str:
    """Return a line to write on behind its name; `size` is short, long or empty."""
    kind = f"blank {size}".strip()
    return f'<span class="{kind}"><span>{words(name)}</span> <span class="rule"></span></span>'


def section(ids: str, title: str, body: str, kind: str = "", level: int = 2) -> str:
    """Return a section under its heading, or nothing if there is nothing to put in it."""
    if not body:
        return ""
    more = f' class="{kind}"' if kind else ""
    return (
        f'<section id="{esc(ids)}" aria-labelledby="{esc(ids)}-head"{more}>\n'
        f'<h{level} id="{esc(ids)}-head">{esc(title)}</h{level}>\n{body}\n</section>\n'
    )


def table(
    caption: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    widths: Sequence[int],
    kind: str = "",
) -> str:
    """Return a table. Cells are markup; the first of a row is its heading; widths are percent."""
    lines = [f'<div class="wide"><table class="{kind}">' if kind else '<div class="wide"><table>']
    lines.append(f"<caption>{caption}</caption>")
    columns = "".join(f'<col style="width:{width}%">' for width in widths)
    lines.append(f"<colgroup>{columns}</colgroup>")
    cells = "".join(f'<th scope="col">{words(head)}</th>' for head in heads)
    lines.append(f"<thead><tr>{cells}</tr></thead>\n<tbody>")
    for first, *others in rows:
        rest = "".join(f"<td>{cell}</td>" for cell in others)
        lines.append(f'<tr><th scope="row">{first}</th>{rest}</tr>')
    lines.append("</tbody></table></div>")
    return "\n".join(lines)


def items(lines: Iterable[str], kind: str = "") -> str:
    """Return a list of markup lines, or nothing."""
    body = "".join(f"<li>{line}</li>\n" for line in lines)
    if not body:
        return ""
    return f'<ul class="{kind}">\n{body}</ul>' if kind else f"<ul>\n{body}</ul>"


def may_build(decision: Decision) -> bool:
    """Tell whether the sheet may send anybody to the bench."""
    stops = any(caution.level == "stop" for caution in decision.cautions)
    return decision.status not in ("stopped", "rejected") and not stops
