"""The table of the eleven arrows in README: `python -m tests.eleven` prints it."""

from __future__ import annotations

from pathlib import Path

from advisor.decision import Decision
from advisor.pipeline import advise
from advisor.render.numbers import digits
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup

ARROWS = Path(__file__).resolve().parents[1] / "examples" / "eleven-arrows"
_HEAD = """\
| arrow | steering ratio, +/- 30 % | in free air | margin, % of length | travel per turn, m \
| end gap, mm | drag, smooth to turbulent |
|---|---|---|---|---|---|---|"""


def table() -> str:
    """Return the table in Markdown, a line for each arrow."""
    base = read_rule_base()
    lines = [_HEAD]
    for path in sorted(ARROWS.glob("*.yaml")):
        decision = advise(read_setup(str(path), [], base.vocabulary), base)
        lines.append(_line(decision))
    return "\n".join(lines)


def _line(decision: Decision) -> str:
    def said(fact: str, places: int) -> str:
        return f"{decision.numbers[fact].value:.{places}f}"

    drag = " to ".join(
        digits(decision.numbers[fact].value, 2)
        for fact in ("drag.coefficient", "drag.coefficient_turbulent")
    )
    cells = (
        decision.title,
        said("steering.ratio", 1),
        said("steering.ratio_plain", 1),
        said("steering.margin", 0),
        said("spin.travel_per_turn", 1),
        said("glue.end_gap", 2),
        drag,
    )
    return f"| {' | '.join(cells)} |"


if __name__ == "__main__":
    print(table())
