"""A Comparison as one page of HTML to print: no script, and nothing fetched from elsewhere.

The two stand in two columns throughout, under the same heads. What is broken, and who is ahead, is
said in words and set in bold, so that it prints in grey as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from advisor.comparison import ALIKE, NEITHER, Comparison, Contender, RuleRow
from advisor.render import comparison_words as told
from advisor.render.sheet_style import STYLE
from advisor.render.sheet_words import (
    capital,
    esc,
    foreign,
    items,
    rule_name,
    rule_names,
    section,
    table,
    words,
)
from advisor.render.text import build_lines

_FACT = re.compile(r"\b[a-z][a-z0-9_]+(?:\.[a-z][a-z0-9_]+)+\b")
_HEADS = ("first", "second")
_OWN = """
.sides{display:grid;grid-template-columns:1fr 1fr;gap:.8rem 1.2rem;margin:.8rem 0;}
.side{border:1pt solid var(--line);padding:.5rem .8rem;min-width:0;break-inside:avoid;}
.side h3{margin:.1rem 0 .3rem;}
.side.ahead{border:2.5pt solid var(--ink);}
.side.halt{border-style:dashed;border-color:var(--alarm);}
.loud{font-weight:bold;}
.rules p{margin:.1rem 0;}
.rules caption{display:none;}
.rules tbody tr:last-child{break-after:auto;}
@media screen and (max-width:34rem){.sides{grid-template-columns:1fr;}}
@media print{.sides{gap:2mm;margin:.3rem 0;}.side{padding:.2rem .5rem;}}
"""


def render(comparison: Comparison, colour: bool) -> str:  # noqa: ARG001  # style follows the reader
    """Return the Comparison as one HTML document, whole in itself."""
    c = comparison
    parts = [
        _header(c),
        "<main>\n",
        _verdict(c),
        _sides(c),
        section("grounds", "Not judged alike", _grounds(c)),
        section("facts", "What differs", _facts(c)),
        section("ranking", "What decides, first to last", _ranking(c)),
        *(
            section(group, heading, _rules(c, [row for row in c.rules if row.group == group]))
            for group, heading in told.SPEAKS.items()
        ),
        section("open", "Speaks on neither, but not alike", _rules(c, told.differing(c.rules))),
        section("numbers", "Numbers that differ", _numbers(c, inside=False)),
        section("little", "Inside the band", _little(c)),
        section("cautions", "Cautions that differ", _cautions(c)),
        section("steps", "Steps that differ", _steps(c)),
        section("ties", "Open ties", _ties(c)),
        section("alike", "Speaks alike of both", _alike(c)),
        f"<p>{esc(told.CLOSING)}</p>\n",
        "</main>\n",
    ]
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{esc(_titles(c))}, {esc(told.title(c).lower())}</title>\n"
        f"<style>{STYLE}{_OWN}</style>\n</head>\n<body>\n{''.join(parts)}</body>\n</html>\n"
    )


def _titles(c: Comparison) -> str:
    titles = dict.fromkeys(side.title or "Untitled setup" for side in (c.first, c.second))
    return " against ".join(titles)


def _header(c: Comparison) -> str:
    same = c.first.rulebase == c.second.rulebase
    base = f'<p class="quiet">{esc(told.base_words(c.first.rulebase))}</p>\n' if same else ""
    return (
        f'<header class="head">\n<h1>{foreign(_titles(c))}</h1>\n'
        f"<p>{esc(told.title(c))}</p>\n{base}</header>\n"
    )


def _verdict(c: Comparison) -> str:
    stops = [f'<p class="stop">Stop. {_plain(c, stop)}</p>' for stop in told.stops(c)]
    return f'<div class="status"><p>{_plain(c, c.verdict)}</p>{"".join(stops)}</div>\n'


def _plain(c: Comparison, text: str) -> str:
    """Put the facts that a text names into words, escaped; what else it says stays."""
    return words(_FACT.sub(lambda name: c.labels.get(name[0], name[0]), text))


def _label(c: Comparison, fact: str) -> str:
    return words(c.labels.get(fact) or fact.replace(".", " ").replace("_", " "))


def _sides(c: Comparison) -> str:
    one = _side(c, "first", c.first, c.second)
    return f'<div class="sides">\n{one}{_side(c, "second", c.second, c.first)}</div>\n'


def _side(c: Comparison, name: str, side: Contender, other: Contender) -> str:
    kind = "side ahead" if c.ahead == name else "side"
    kind += " halt" if side.breaks else ""
    lines = build_lines(side.build, side.items, lambda fact: c.labels.get(fact, fact))
    named = ", ".join(_named(c, side)) or foreign(side.title or "Untitled setup")
    build = "".join(f"<p>{words(line)}</p>\n" for line in lines)
    loud = ' class="loud"' if side.breaks else ""
    return (
        f'<section id="{name}" class="{kind}" aria-labelledby="{name}-head">\n'
        f'<h3 id="{name}-head">{capital(name)}: {named}</h3>\n{build}'
        f"<p{loud}>{_plain(c, told.stands(side, other))}</p>\n</section>\n"
    )


def _named(c: Comparison, side: Contender) -> list[str]:
    return [
        f"{_label(c, fact.removeprefix('from_stock.'))} {words(told.value(value, ''))}"
        for fact, value in side.named.items()
    ]


def _table(
    caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]], widths: Sequence[int]
) -> str:
    found = list(rows)
    return table(esc(caption), heads, found, widths, "rules") if found else ""


def _grounds(c: Comparison) -> str:
    rows = [(words(g.what), foreign(g.first), foreign(g.second)) for g in c.grounds]
    return _table("Not judged alike", ("", *_HEADS), rows, (20, 40, 40))


def _facts(c: Comparison) -> str:
    rows = [
        (
            _label(c, row.fact),
            words(told.value(row.first, row.first_origin)),
            words(told.value(row.second, row.second_origin)),
        )
        for row in c.facts
    ]
    alike = f"<p>{told.alike(c.facts_alike, 'fact')}</p>"
    nothing = "" if rows else "<p>Nothing that is given, assumed or chosen differs.</p>\n"
    return _table("What differs", ("fact", *_HEADS), rows, (40, 30, 30)) + nothing + alike


def _ranking(c: Comparison) -> str:
    rows = []
    for stage in c.stages:
        says = [f"<p>{_plain(c, stage.says)}</p>"]
        if stage.rule:
            reach = f": {words(told.reach(stage))}" if stage.goes else ""
            says.append(f"<p>{rule_name(stage.rule)}{reach}</p>")
        for name, on in zip(_HEADS, (stage.first_on, stage.second_on), strict=True):
            if on:
                says.append(f"<p>{name}: {_plain(c, told.counted(on))}</p>")
        goes = esc(told.goes(stage))
        goes = f'<span class="loud">{goes}</span>' if stage.goes in _HEADS else goes
        one, other = told.stage_values(stage)
        rows.append(("".join(says), words(one), words(other), goes))
    return _table("What decides", ("in this order", *_HEADS, ""), rows, (52, 15, 15, 18))


def _rules(c: Comparison, found: Sequence[RuleRow]) -> str:
    rows = []
    for row in found:
        says = [f"<p>{rule_name(row.rule)}{' (disputed)' if row.contested else ''}</p>"]
        says.append(f"<p>{words(row.says)}</p>")
        cells = [[told.state(row.first)], [told.state(row.second)]]
        if row.asks:
            cells = [[], []]
        for asked in row.asks:
            says.append(f"<p>{esc(told.strength(asked.strength))}: {_plain(c, asked.asks)}</p>")
            cells[0].append(told.outcome(asked.first, row.first))
            cells[1].append(told.outcome(asked.second, row.second))
        for cell, said in zip(cells, (row.first, row.second), strict=True):
            cell.extend([told.detail(said)] if told.detail(said) else [])
        one, other = (_states(c, list(dict.fromkeys(lines))) for lines in cells)
        rows.append(("".join(says), one, other))
    return _table("Rules", ("rule", *_HEADS), rows, (58, 21, 21))


def _states(c: Comparison, lines: Iterable[str]) -> str:
    marks = {"BROKEN": ' class="loud"'}
    return "".join(f"<p{marks.get(line, '')}>{_plain(c, line)}</p>" for line in lines)


def _numbers(c: Comparison, *, inside: bool) -> str:
    rows = []
    for row in c.numbers:
        if row.inside == inside:
            one, other = told.pair(row)
            more = told.difference(row)
            cells = (_plain(c, one), _plain(c, other), words(more), words(told.band(row)))
            rows.append((_label(c, row.fact), *cells))
    heads = ("number", *_HEADS, "second has", "band")
    found = _table("Numbers", heads, rows, (36, 17, 17, 16, 14))
    if inside:
        return found
    nothing = "" if c.numbers else "<p>No number differs.</p>\n"
    return f"{found}{nothing}<p>{told.alike(c.numbers_alike, 'number')}</p>"


def _little(c: Comparison) -> str:
    found = _numbers(c, inside=True)
    return f"<p>The difference is {esc(told.LITTLE)}.</p>\n{found}" if found else ""


def _cautions(c: Comparison) -> str:
    rows = [
        (
            f"<p>{esc(row.level)}</p><p>{rule_name(row.rule)}</p>",
            words(row.first or "-"),
            words(row.second or "-"),
        )
        for row in c.cautions
    ]
    return _table("Cautions", ("caution", *_HEADS), rows, (26, 37, 37))


def _steps(c: Comparison) -> str:
    rows = [
        (
            f"<p>{esc(row.phase)}</p><p>{rule_name(row.rule)}</p>",
            words(row.first or "-"),
            words(row.second or "-"),
        )
        for row in c.steps
    ]
    return _table("Steps", ("step", *_HEADS), rows, (26, 37, 37))


def _ties(c: Comparison) -> str:
    return items(
        f"{_label(c, row.tie.fact)}, {told.tie_on(row.on)}: "
        + "; ".join(f"{rule_name(s.rule)} asks that {_plain(c, s.asks)}" for s in row.tie.sides)
        for row in c.ties
    )


def _alike(c: Comparison) -> str:
    rows = [row for row in c.rules if row.group == ALIKE]
    lines = []
    for state in ("broken", "unproven", "warns", "met"):
        names = [row.rule for row in rows if row.first.state == state]
        if names:
            lines.append(f"{state} ({len(names)}): {rule_names(names)}")
    names = [row.rule for row in c.rules if row.group == NEITHER and row.first == row.second]
    if names:
        lines.append(f"undecided or set aside on both ({len(names)}): {rule_names(names)}")
    return items(lines)


__all__ = ["render"]
