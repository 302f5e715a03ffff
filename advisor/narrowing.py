"""How a choice went: from all that is offered to the build, stage by stage, in the ranking's order.

The ranking itself keeps no record of its stages, for advice needs only where it ends. This goes the
same way once more for whoever asks why, and a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from advisor.engine.grid import Offence
from advisor.engine.ranking import Wish, nearest, survivors, within_reach
from advisor.engine.run import FIRED
from advisor.engine.values import NO, YES, Value, has_value
from advisor.judge import Judgement

OFFERED, MUSTS, NEAREST, UNPROVEN, SHOULDS, FAVOUR, ORDER = (
    "offered",
    "musts",
    "nearest",
    "unproven",
    "shoulds",
    "favour",
    "order",
)


class Stage(NamedTuple):
    """One stage: the builds that came to it and those that it left, by their places in the grid.

    `fails` is what some of those that came fail on: offences, or for shoulds the (layer, fact).
    `rejects` counts the builds that fail, by the rule, or for shoulds by the fact. `least` is on
    how much those left fail. For a favour, `best` is the best value among those that came, None
    where nobody knows one.
    """

    kind: str
    came: Sequence[int]
    left: Sequence[int]
    layer: int = 0
    wish: Wish | None = None
    fails: tuple[Offence | tuple[int, str], ...] = ()
    rejects: Mapping[str, int] = {}
    least: int = 0
    best: Value = None


def stages(judgement: Judgement) -> list[Stage]:
    """Return the stages of a judgement's choice; the last leaves the chosen (or nearest) build."""
    grid = judgement.grid
    every: Sequence[int] = range(judgement.count)
    found = [Stage(OFFERED, every, every)]

    def narrow(kind: str, bits: int, keep: Sequence[int] | None = None, layer: int = 0) -> None:
        came = found[-1].left
        counts = {at: (grid.verdicts[at] & bits).bit_count() for at in came}
        least = min(counts.values())
        left = [at for at in came if counts[at] == least] if keep is None else keep
        fails, rejects = _fails(judgement, _KINDS[kind], bits, came)
        found.append(Stage(kind, came, left, layer, None, fails, rejects, least))

    alive = survivors(grid)
    kept = alive or nearest(grid)
    narrow(
        MUSTS if alive else NEAREST, grid.broken_bits, sorted(at for g in kept.values() for at in g)
    )
    if any(grid.verdicts[at] & grid.unproven_bits for at in found[-1].left):
        narrow(UNPROVEN, grid.unproven_bits)
    for layer in sorted(grid.failed_bits, reverse=True):
        narrow(SHOULDS, grid.failed_bits[layer], layer=layer)
    for wish in judgement.wishes:
        if len(found[-1].left) > 1:
            found.append(_favoured(judgement, wish, list(found[-1].left)))
    if len(found[-1].left) > 1:
        found.append(Stage(ORDER, found[-1].left, [judgement.at]))
    return found


_KINDS = {MUSTS: "broken", NEAREST: "broken", UNPROVEN: "unproven", SHOULDS: "failed"}


def _fails(
    judgement: Judgement, kind: str, bits: int, came: Sequence[int]
) -> tuple[tuple[Offence | tuple[int, str], ...], dict[str, int]]:
    """Return what some builds fail on, and how many fail by the rule, or the fact, that it is."""
    grid = judgement.grid
    times: dict[int, int] = {}
    for at in came:
        failed = grid.verdicts[at] & bits
        times[failed] = times.get(failed, 0) + 1
    seen = 0
    for failed in times:
        seen |= failed
    whats = {what: bit for what, bit in grid.bits(kind).items() if bit & seen}
    together: dict[str, int] = {}
    for what, bit in whats.items():
        name = what.rule if isinstance(what, Offence) else what[1]
        together[name] = together.get(name, 0) | bit
    rejects = {
        name: sum(n for failed, n in times.items() if failed & mask)
        for name, mask in together.items()
    }
    ordered = dict(sorted(rejects.items(), key=lambda item: (-item[1], item[0])))
    turn = {name: i for i, name in enumerate(ordered)}
    fails = sorted(whats, key=lambda w: (turn[w.rule if isinstance(w, Offence) else w[1]], w))
    return tuple(fails), ordered


def _favoured(judgement: Judgement, wish: Wish, came: list[int]) -> Stage:
    slot = judgement.base.table.slot[wish.fact]
    values = judgement.grid.cells(slot, came)
    left, _ = within_reach(came, values, wish)
    known = [x for at in came if has_value(x := values[at])]
    best = (max if wish.highest else min)(known, default=None)
    return Stage(FAVOUR, came, left, wish=wish, best=best)


def failed_elsewhere(judgement: Judgement, stage: Stage, layer: int, fact: str) -> list[str]:
    """Return the rules whose shoulds on a fact fail a build that came, and do not stand here.

    Args:
        judgement: of the choice.
        stage: one of shoulds.
        layer: of the rules.
        fact: that the shoulds are about.
    """
    grid, run = judgement.grid, judgement.run
    found = []
    for place, rule in enumerate(judgement.base.program.rules):
        status = grid.status.get(place)
        if status is None or rule.layer != layer or run.stands(rule.id):
            continue
        stands = grid.spread(status, grid.everything)
        for demand in rule.demands:
            if demand.is_must or demand.fact != fact:
                continue
            good = NO if demand.is_negative else YES
            comes_to = grid.spread(grid.outcomes(rule.id, demand), grid.everything)
            if any(stands[at] >= FIRED and comes_to[at] != good for at in stage.came):
                found.append(rule.id)
                break
    return sorted(found)
