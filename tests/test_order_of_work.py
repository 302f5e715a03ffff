"""The steps of a whole run stand in the order of the bench."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from advisor.decision import Decision
from advisor.pipeline import advise
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup

ROOT = Path(__file__).resolve().parents[1]
BASE = read_rule_base()
EXAMPLES = sorted(p for p in (ROOT / "examples").glob("*.yaml") if p.stem != "mistyped")
ORDERS = (
    ("take-the-heads-off-before-refletching", "inspect-every-shaft-first", "scrape-off-old-glue"),
    (
        "measure-the-old-vanes-before-stripping",
        "take-the-wrap-off-with-the-vanes",
        "scrape-off-old-glue",
    ),
    ("square-the-front-end", "seat-the-inserts", "wipe-the-shaft-clean", "dry-fit-before-glue"),
    ("put-the-wrap-on", "alcohol-only-on-a-wrap", "wipe-the-shaft-clean"),
    (
        "dry-fit-before-glue",
        "mark-the-jig-for-this-setup",
        "prove-an-unknown-foot",
        "prime-if-the-trial-said-so",
        "cock-vane-first",
    ),
    (
        "seat-the-inserts",
        "tune-with-a-bare-shaft-first",
        "no-blades-on-a-bare-shaft",
        "wipe-the-shaft-clean",
        "dry-fit-before-glue",
        "cock-vane-first",
        "tune-before-you-blame-the-vanes",
    ),
    ("dry-fit-before-glue", "cock-vane-up-on-a-launcher", "cock-vane-first"),
    ("dry-fit-before-glue", "cock-vane-away-from-the-riser", "cock-vane-first"),
    ("mark-the-jig-for-this-setup", "prove-an-unknown-surface", "one-arrow-before-the-dozen"),
    (
        "mark-the-jig-for-this-setup",
        "prove-the-bond-on-a-wrap-or-a-sealer",
        "one-arrow-before-the-dozen",
    ),
    ("one-arrow-before-the-dozen", "compare-three-with-four", "prime-the-foot", "cock-vane-first"),
    ("one-arrow-before-the-dozen", "compare-counts-through-a-standing-rest", "cock-vane-first"),
    ("gel-for-a-gap", "small-beads-of-glue", "press-the-air-out", "hold-until-it-is-set"),
    ("try-every-nock", "screw-the-points-in", "weigh-and-sort-the-dozen", "spin-every-arrow"),
    (
        "try-every-nock",
        "screw-the-broadheads-in",
        "blades-and-vanes-line-up-for-looks",
        "spin-every-arrow",
    ),
    ("weigh-and-sort-the-dozen", "spin-blades-on-rollers-only", "spin-every-arrow"),
    ("weigh-and-sort-the-dozen", "spin-closed-heads-on-rollers", "spin-every-arrow"),
    (
        "closed-and-held-before-every-shot",
        "shoot-the-head-you-hunt-with",
        "broadhead-beside-field-point",
    ),
    (
        "glue-the-points-on",
        "weigh-and-sort-the-dozen",
        "spin-every-arrow",
        "powder-test-before-groups",
    ),
    ("glue-the-broadheads-on", "spin-blades-on-rollers-only"),
    ("spin-every-arrow", "lock-the-thread-on-a-loosening-side", "powder-test-before-groups"),
    ("broadhead-beside-field-point", "write-the-dozen-down"),
    ("retire-torn-vanes", "blades-off-before-steam", "steam-bent-vanes"),
)
MORE = (
    (),
    ("fletching.refletch=true", "wrap.length=5 in", "shaft.surface=old-residue"),
    ("wrap.length=5 in",),
    ("rest.type=full-containment",),
    ("point.thread=glued",),
    ("shaft.material=wood", "shaft.surface=raw-wood"),
    ("fletching.direction=left",),
)


def runs() -> list[tuple[object, Decision]]:
    made = []
    for path in EXAMPLES:
        stated = path.read_text(encoding="utf-8")
        for sets in MORE:
            setup = read_setup(str(path), list(sets), BASE.vocabulary, text=stated)
            made.append(
                (
                    setup.facts["point.type"].value if "point.type" in setup.facts else "",
                    advise(setup, BASE),
                )
            )
    return made


RUNS = runs()


@pytest.mark.parametrize("order", ORDERS, ids="-".join)
def test_steps_that_are_told_stand_in_the_order_of_the_work(order: tuple[str, ...]) -> None:
    together = 0
    for _, decision in RUNS:
        steps = [step.rule for step in decision.steps]
        told = [rule for rule in order if rule in steps]
        together += len(told) > 1
        for first, then in pairwise(told):
            assert steps.index(first) < steps.index(then), (decision.title, first, then)
    assert together


def test_nobody_without_blades_is_told_of_them() -> None:
    plain = [d for head, d in RUNS if head in {"field-point", "target-point", "blunt"}]
    told = {(step.rule, step.text) for d in plain for step in d.steps}
    told |= {(caution.rule, caution.text) for d in plain for caution in d.cautions}
    assert len(plain) > 5
    speak = {rule for rule, text in told if "blade" in text or "broadhead" in text.lower()}
    assert speak <= {"cock-vane-up-on-a-launcher"}  # the blade of the rest
