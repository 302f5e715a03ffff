"""A vocabulary with a fact of every kind and origin, for what the base rules do not have."""

from __future__ import annotations

from advisor.vocabulary import FactEntry, Vocabulary


def choice_of(*names: str) -> dict[str, str]:
    return dict.fromkeys(names, "")


TOY = Vocabulary(
    [
        FactEntry("use", "", "choice", "given", several=True, choices=choice_of("hall", "wood")),
        FactEntry("note", "", "text", "given"),
        FactEntry("bow.let_off", "", "flag", "given"),
        FactEntry("point.type", "", "choice", "given", choices=choice_of("field", "blade")),
        FactEntry("point.mass", "", "quantity", "given", unit="gr", bare=False, low=30, high=400),
        FactEntry("point.blades", "", "count", "given", low=0, high=4),
        FactEntry("point.class", "", "choice", "concluded", choices=choice_of("easy", "hard")),
        FactEntry("point.density", "", "quantity", "computed", unit="1"),
        FactEntry("vane.primer", "", "choice", "given", choices=choice_of("ready", "needed")),
        FactEntry("vane.length", "", "quantity", "option", unit="in", bare=False, pairs=True),
        FactEntry("vane.shape", "", "choice", "option", choices=choice_of("shield", "swept")),
        FactEntry("vane.mass", "", "quantity", "option", unit="gr", bare=False),
        FactEntry("vane.band", "", "choice", "concluded", choices=choice_of("short", "long")),
        FactEntry("vane.area", "", "quantity", "computed", unit="mm2"),
        FactEntry("fletching.count", "", "count", "option", low=2, high=6, pairs=True),
        FactEntry(
            "fletching.direction", "", "choice", "option", choices=choice_of("right", "left")
        ),
        FactEntry("fletching.offset", "", "quantity", "option", unit="deg", low=0, high=10),
        FactEntry("bench.rare", "", "quantity", "option", unit="mm"),
    ]
)
