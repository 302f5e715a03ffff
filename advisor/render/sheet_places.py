"""Where each caution stands on the sheet: just before the hand meets the danger it speaks of.

A caution carries the id of its rule and no word of the bench, so its place is looked up by id in
the table below. Reading the place out of the caution's text would be a guess, and a wrong guess
hides a warning; so a caution of a rule that is not in the table, a house's own for instance, stands
before the first step, where nobody can miss it. So does one whose phase has no steps.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from advisor.decision import Caution, Decision

FRONT = ""
"""The place before the first step."""


class Place(NamedTuple):
    """A phase, and the steps of it before the first of which a caution stands."""

    phase: str
    steps: tuple[str, ...] = ()


_DUST = Place(
    "prepare",
    (
        "scrape-off-old-glue",
        "dull-bare-carbon",
        "square-the-front-end",
        "taper-wood-for-its-head",
    ),
)
_SOLVENT = Place(
    "prepare",
    (
        "alcohol-only-on-a-wrap",
        "mild-solvent-on-a-finish",
        "wipe-the-shaft-clean",
        "seat-the-inserts",
        "put-the-wrap-on",
    ),
)
_HEAD = Place(
    "verify",
    (
        "screw-the-broadheads-in",
        "glue-the-broadheads-on",
        "spin-blades-on-rollers-only",
        "spin-closed-heads-on-rollers",
        "spin-every-arrow",
    ),
)
_POWDER = Place("verify", ("powder-test-before-groups",))
_PAIRED = Place("shoot", ("shoot-the-head-you-hunt-with", "broadhead-beside-field-point"))
_STEAM = Place("care", ("blades-off-before-steam", "steam-bent-vanes", "steam-bent-feathers"))

PLACES: Mapping[str, Place] = {
    "settle-a-doubt-before-fletching": Place("prepare", ("inspect-every-shaft-first",)),
    "keep-carbon-dust-out-of-the-lungs": _DUST,
    "solvents-away-from-flame": _SOLVENT,
    "one-helical-clamp-fits-one-size": Place("set-up", ("dry-fit-before-glue",)),
    "a-short-foot-shows-little-curve": Place("set-up", ("dry-fit-before-glue",)),
    "a-stiff-vane-remembers-straight": Place("set-up", ("dry-fit-before-glue",)),
    "feet-stand-close": Place("set-up", ("dry-fit-before-glue",)),
    "too-thin-for-the-jig": Place("set-up"),
    "glue-bonds-skin-and-eyes": Place("bond"),
    "air-the-glue-bench": Place("bond"),
    "cold-or-dry-rooms-cure-slowly": Place("bond"),
    "blades-cut-hands": _HEAD,
    "containment-touches-every-vane": _POWDER,
    "contact-spoils-the-shot": _POWDER,
    "a-wound-vane-finds-the-rest": _POWDER,
    "know-the-backstop-and-never-dry-fire": Place("shoot"),
    "flex-carbon-before-every-shot": Place("shoot"),
    "look-for-dents-in-aluminium": Place("shoot"),
    "wood-breaks-along-the-grain": Place("shoot"),
    "fibreglass-sheds-needles": Place("shoot"),
    "check-a-head-that-loosens": Place("shoot"),
    "a-bevel-works-against-its-thread-in-the-target": Place("shoot"),
    "broadheads-want-a-butt-of-their-own": Place("shoot"),
    "change-the-head-between-game-and-course": Place("shoot"),
    "energy-is-shown-not-judged": Place("shoot"),
    "blades-come-before-drift": Place("shoot"),
    "a-fat-shaft-drifts": Place("shoot"),
    "shorten-the-shot-on-exposed-ground": Place("shoot"),
    "say-that-a-short-tail-carries-blades": _PAIRED,
    "more-height-before-more-length": _PAIRED,
    "a-wide-closed-head-steers-a-little": _PAIRED,
    "steam-scalds": _STEAM,
    "no-dry-heat-on-arrows": _STEAM,
    "feathers-suffer-in-the-wet": Place("care"),
    "feathers-wear-in-containment": Place("care"),
}
"""The base rules' cautions that belong to a phase; all others stand before the first step."""

EARLIER: Mapping[str, tuple[str, ...]] = {
    "scrape-off-old-glue": ("verify",),
    "take-the-wrap-off-with-the-vanes": ("verify",),
    "take-the-heads-off-before-refletching": ("verify",),
    "seat-the-inserts": ("bond",),
    "tune-with-a-bare-shaft-first": ("shoot",),
    "prove-an-unknown-surface": ("bond",),
    "prove-the-bond-on-a-wrap-or-a-sealer": ("bond",),
    "no-primer-where-the-label-forbids-it": ("bond",),
    "prove-an-unknown-foot": ("bond",),
    "one-arrow-before-the-dozen": ("verify", "shoot"),
    "compare-three-with-four": ("verify", "shoot"),
    "compare-counts-through-a-standing-rest": ("verify", "shoot"),
    "powder-test-before-groups": ("shoot",),
}
"""Steps that meet a later phase's danger early: they send the reader to its cautions first."""


class Placed(NamedTuple):
    """Every caution once: the stops, those in front, and those before a step by its number."""

    stops: tuple[Caution, ...]
    front: tuple[Caution, ...]
    before: Mapping[int, tuple[Caution, ...]]
    """Keyed by the index of a step of the Decision."""


def place(decision: Decision, *, steps: bool) -> Placed:
    """Give every caution its place; without steps all but the stops stand in front."""
    stops = tuple(c for c in decision.cautions if c.level == "stop")
    front: list[Caution] = []
    before: dict[int, tuple[Caution, ...]] = {}
    for caution in decision.cautions:
        if caution.level == "stop":
            continue
        index = _step(decision, PLACES.get(caution.rule)) if steps else None
        if index is None:
            front.append(caution)
        else:
            before[index] = (*before.get(index, ()), caution)
    return Placed(stops, tuple(front), before)


def _step(decision: Decision, wanted: Place | None) -> int | None:
    """Return the index of the step that a caution stands before, or None if there is none."""
    if wanted is None:
        return None
    of_phase = [n for n, step in enumerate(decision.steps) if step.phase == wanted.phase]
    named = [n for n in of_phase if decision.steps[n].rule in wanted.steps]
    return min(named or of_phase, default=None)
