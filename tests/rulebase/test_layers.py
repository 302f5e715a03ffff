"""Layers: a house adds, retires, replaces and overrides, and never edits what lies under it."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.decision import Decision
from advisor.engine.values import Value
from advisor.judge import Judgement
from advisor.pipeline import advise
from advisor.rulebase.locate import base_folder
from advisor.rulebase.model import Layer, Retired, RuleBase
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup
from advisor.vocabulary import Assumption
from tests.rulebase.folders import (
    HOUSE_MANIFEST,
    KETTLE,
    MANIFEST,
    rule,
    write_house,
    write_kettle,
)

CLAY = "[{should: {pot.lid: clay}}]"
GLASS = "[{should: {pot.lid: glass}}]"


def house(root: Path, files: dict[str, str], kettle: dict[str, str | None] | None = None) -> str:
    write_kettle(root, kettle)
    return write_house(root, files)


def decision(base: RuleBase, *sets: str) -> Decision:
    return advise(read_setup(None, sets, base.vocabulary), base)


def chosen(base: RuleBase, fact: str, *sets: str) -> Value:
    return Judgement(read_setup(None, sets, base.vocabulary), base, base.ladder).run.value(fact)


def beaten(base: RuleBase, *sets: str) -> list[tuple[str, str]]:
    """Return who lost, and to whom."""
    return [(aside.rule, aside.by) for aside in decision(base, *sets).set_aside]


# What a house can do.


def test_a_house_adds_rules_facts_and_sources(tmp_path: Path) -> None:
    folder = house(
        tmp_path,
        {
            "vocabulary.yaml": "facts:\n  tea.cosy: {kind: flag, origin: given}\n",
            "sources.yaml": "sources: {house-book: {title: Our own book}}\n",
            "habits.yaml": rule(
                "cosy-over-clay",
                CLAY,
                when="{tea.cosy: true, tea.kind: green}",
                evidence="{class: published, source: house-book, place: inside the cover}",
            )
            + rule(
                "cites-the-kettle",
                CLAY,
                evidence="{class: published, source: tea-book, place: page 9}",
            ),
        },
    )
    base = read_rule_base(folder)
    under = read_rule_base(str(tmp_path / "kettle"))
    assert base.layers == (
        Layer("kettle", "1.2.0", "How to make tea.", str(tmp_path / "kettle")),
        Layer("house", "0.3.0", "", folder),
    )
    assert (base.name, base.version) == ("house", "0.3.0")
    assert set(base.entries) - set(under.entries) == {"cosy-over-clay", "cites-the-kettle"}
    assert {base.entries[r] == under.entries[r] for r in under.entries} == {True}
    assert base.entries["cosy-over-clay"].layer == "house"
    assert base.entries["cosy-over-clay"].rule.layer == 1
    assert base.entries["boil-the-water"].rule.layer == 0
    assert set(base.vocabulary.entries) - set(under.vocabulary.entries) == {"tea.cosy"}
    assert set(base.sources) == {"tea-book", "house-book"}
    assert base.ladder == under.ladder
    assert base.retired == ()


def test_a_house_that_says_nothing_of_its_own_says_what_lies_under_it(tmp_path: Path) -> None:
    base = read_rule_base(house(tmp_path, {}))
    under = read_rule_base(str(tmp_path / "kettle"))
    assert base.entries == under.entries
    assert base.favours == under.favours
    assert base.assume == under.assume


def test_a_house_retires_a_rule_and_says_why(tmp_path: Path) -> None:
    manifest = HOUSE_MANIFEST + "retire: [{rule: clay-keeps-the-heat, because: we broke it}]\n"
    base = read_rule_base(house(tmp_path, {"manifest.yaml": manifest}))
    assert base.retired == (
        Retired(
            "clay-keeps-the-heat", "Take a clay lid for strong tea.", "we broke it", "house", ""
        ),
    )
    assert "clay-keeps-the-heat" not in base.entries
    told = decision(base, "tea.kind=black")
    assert [(r.rule, r.by, r.because) for r in told.retired] == [
        ("clay-keeps-the-heat", "house", "we broke it")
    ]
    assert chosen(base, "pot.lid") == "glass"  # the first of equal lids, nothing asks for clay


def test_a_replacement_is_whole(tmp_path: Path) -> None:
    kettle = {
        "pot.yaml": rule("glass", GLASS)
        + rule("clay", CLAY, overrides="[glass]", when="{tea.kind: black}")
    }
    folder = house(
        tmp_path,
        {"habits.yaml": rule("lid-of-the-house", CLAY, replaces="clay", when="{tea.kind: herb}")},
        {**kettle, "manifest.yaml": MANIFEST.replace("favours: [small-pot]\n", "")},
    )
    base = read_rule_base(folder)
    replacement = base.entries["lid-of-the-house"]
    assert replacement.rule.overrides == ()  # those of the replaced rule went with it
    assert replacement.layer == "house"
    assert replacement.rule.layer == 1
    assert "clay" not in base.entries
    assert base.retired == (
        Retired(
            "clay",
            "Do as the house does.",
            "The house has its reasons.",
            "house",
            "lid-of-the-house",
        ),
    )
    assert beaten(base, "tea.kind=herb") == []
    assert beaten(read_rule_base(str(tmp_path / "kettle")), "tea.kind=black") == [("glass", "clay")]


def test_a_house_overrides_a_rule_under_it_which_is_shown(tmp_path: Path) -> None:
    folder = house(
        tmp_path, {"habits.yaml": rule("glass-always", GLASS, overrides="[clay-keeps-the-heat]")}
    )
    base = read_rule_base(folder)
    assert beaten(base, "tea.kind=black") == [("clay-keeps-the-heat", "glass-always")]
    assert chosen(base, "pot.lid", "tea.kind=black") == "glass"


def test_what_is_gone_is_listed_by_name(tmp_path: Path) -> None:
    manifest = HOUSE_MANIFEST + (
        "retire:\n"
        "  - {rule: large-pot-for-many, because: there is one pot}\n"
        "  - {rule: glass-shows-the-leaves, because: we broke it}\n"
        "  - {rule: boil-the-water, because: it comes hot}\n"
    )
    habits = rule("ours", CLAY, replaces="clay-keeps-the-heat")
    base = read_rule_base(house(tmp_path, {"manifest.yaml": manifest, "habits.yaml": habits}))
    gone = [retired.rule for retired in base.retired]
    assert gone == sorted(gone)
    assert len(gone) == 4


# Names follow what became of them.


def kettle_of_lids(overrides: str) -> dict[str, str | None]:
    return {
        "manifest.yaml": MANIFEST.replace("favours: [small-pot]\n", ""),
        "tea.yaml": None,
        "pot.yaml": rule("glass", GLASS) + rule("clay", CLAY, overrides=overrides),
    }


def test_overrides_follow_a_replacement(tmp_path: Path) -> None:
    folder = house(
        tmp_path,
        {"habits.yaml": rule("house-glass", GLASS, replaces="glass")},
        kettle_of_lids("[glass]"),
    )
    base = read_rule_base(folder)
    assert base.entries["clay"].rule.overrides == ("house-glass",)
    assert beaten(base) == [("house-glass", "clay")]


def test_overrides_follow_a_replacement_of_a_replacement(tmp_path: Path) -> None:
    house(
        tmp_path,
        {"habits.yaml": rule("house-glass", GLASS, replaces="glass")},
        kettle_of_lids("[glass]"),
    )
    top = write_house(
        tmp_path,
        {
            "manifest.yaml": "name: top\nversion: 1.0.0\nextends: {name: house}\n",
            "ours.yaml": rule("top-glass", GLASS, replaces="house-glass")
            + rule("top-clay", CLAY, overrides="[glass, house-glass]"),
        },
        "top",
    )
    base = read_rule_base(top)
    assert base.entries["clay"].rule.overrides == ("top-glass",)
    assert base.entries["top-clay"].rule.overrides == ("top-glass",)  # once, by either name
    assert [(r.rule, r.by, r.replacement) for r in base.retired] == [
        ("glass", "house", "house-glass"),
        ("house-glass", "top", "top-glass"),
    ]


def test_an_override_of_a_retired_rule_is_passed_over(tmp_path: Path) -> None:
    manifest = HOUSE_MANIFEST + "retire: [{rule: glass, because: it broke}]\n"
    base = read_rule_base(
        house(
            tmp_path,
            {
                "manifest.yaml": manifest,
                "habits.yaml": rule("ours", CLAY, overrides="[clay, glass]"),
            },
            kettle_of_lids("[glass]"),
        )
    )
    assert base.entries["clay"].rule.overrides == ()
    assert base.entries["ours"].rule.overrides == ("clay",)


def test_the_overrides_of_a_retired_rule_go_with_it(tmp_path: Path) -> None:
    manifest = HOUSE_MANIFEST + "retire: [{rule: clay, because: it is heavy}]\n"
    base = read_rule_base(house(tmp_path, {"manifest.yaml": manifest}, kettle_of_lids("[glass]")))
    assert beaten(base) == []
    assert chosen(base, "pot.lid") == "glass"


def test_a_rule_may_override_what_it_replaces(tmp_path: Path) -> None:
    habits = rule("house-glass", GLASS, replaces="glass", overrides="[glass, clay]")
    base = read_rule_base(house(tmp_path, {"habits.yaml": habits}, kettle_of_lids("[]")))
    assert base.entries["house-glass"].rule.overrides == ("clay",)


def steps(base: RuleBase, *sets: str) -> list[str]:
    return [step.rule for step in decision(base, *sets).steps]


def test_steps_wait_for_replacements_and_pass_over_the_retired(tmp_path: Path) -> None:
    def step(after: str) -> str:
        return f"[{{step: {{phase: bond, text: Do it., after: [{after}]}}}}]"

    pot = (
        rule("a-last", step("z-first, m-middle"))
        + rule("m-middle", step("z-first"))
        + rule("z-first", step(""))
    )
    kettle: dict[str, str | None] = {
        "manifest.yaml": MANIFEST.replace("favours: [small-pot]\n", ""),
        "pot.yaml": pot,
    }
    write_kettle(tmp_path, kettle)
    assert steps(read_rule_base(str(tmp_path / "kettle"))) == ["z-first", "m-middle", "a-last"]
    replaced = write_house(
        tmp_path, {"habits.yaml": rule("zz-first", step("z-first"), replaces="z-first")}
    )
    base = read_rule_base(replaced)
    assert base.entries["a-last"].steps[0].after == ("zz-first", "m-middle")
    assert base.entries["zz-first"].steps[0].after == ()  # it need not wait for what it replaces
    assert steps(base) == ["zz-first", "m-middle", "a-last"]
    retired = write_house(
        tmp_path,
        {"manifest.yaml": HOUSE_MANIFEST + "retire: [{rule: z-first, because: of no use}]\n"},
        "retiring",
    )
    base = read_rule_base(retired)
    assert base.entries["a-last"].steps[0].after == ("m-middle",)
    assert base.entries["m-middle"].steps[0].after == ()
    assert steps(base) == ["m-middle", "a-last"]


# Defaults and favours.


def test_a_default_of_the_house_wins(tmp_path: Path) -> None:
    manifest = HOUSE_MANIFEST + (
        "assume:\n"
        "  tea.kind: {value: green, because: we drink green}\n"
        "  tea.guests: {value: 6, because: we are six}\n"
    )
    base = read_rule_base(house(tmp_path, {"manifest.yaml": manifest}))
    assert base.assume == {
        "tea.kind": Assumption("green", "we drink green", "house"),
        "tea.guests": Assumption(6, "we are six", "house"),
    }
    told = decision(base)
    assert chosen(base, "pot.size") == 1000
    assert chosen(base, "pot.lid") == "glass"
    assert "black-tea-is-strong" not in told.fired
    assert "large-pot-for-many" in told.fired
    assert told.assumptions["tea.kind"].because == "we drink green"
    under = read_rule_base(str(tmp_path / "kettle"))
    assert under.assume == {
        "tea.kind": Assumption("black", "most people drink it", "kettle"),
    }
    assert "black-tea-is-strong" in decision(under).fired
    # What is stated wins over any default.
    assert "black-tea-is-strong" in decision(base, "tea.kind=black").fired


def test_the_highest_of_several_houses_has_the_last_word_on_a_default(tmp_path: Path) -> None:
    manifest = HOUSE_MANIFEST + "assume: {tea.kind: {value: green, because: we drink green}}\n"
    house(tmp_path, {"manifest.yaml": manifest})
    top = (
        "name: top\nversion: 1.0.0\nextends: {name: house}\n"
        "assume: {tea.kind: {value: herb, because: it is late}}\n"
    )
    base = read_rule_base(write_house(tmp_path, {"manifest.yaml": top}, "top"))
    assert base.assume["tea.kind"] == Assumption("herb", "it is late", "top")


def test_favours_of_the_house_come_first_each_in_its_order(tmp_path: Path) -> None:
    kettle: dict[str, str | None] = {
        "manifest.yaml": MANIFEST.replace("[small-pot]", "[small-pot, few-guests]"),
        "pot.yaml": KETTLE["pot.yaml"] + rule("few-guests", "[{favour: {tea.guests: lowest}}]"),
    }
    manifest = HOUSE_MANIFEST + "favours: [large-pot, many-guests]\n"
    habits = rule("many-guests", "[{favour: {tea.guests: highest}}]") + rule(
        "large-pot", "[{favour: {pot.size: highest}}]"
    )
    base = read_rule_base(
        house(tmp_path, {"manifest.yaml": manifest, "habits.yaml": habits}, kettle)
    )
    assert base.favours == ("large-pot", "many-guests", "small-pot", "few-guests")
    assert chosen(base, "pot.size") == 1000
    assert chosen(read_rule_base(str(tmp_path / "kettle")), "pot.size") == 300


def test_a_favour_that_is_retired_or_replaced_leaves_the_list(tmp_path: Path) -> None:
    manifest = HOUSE_MANIFEST + "retire: [{rule: small-pot, because: we have one}]\n"
    base = read_rule_base(house(tmp_path, {"manifest.yaml": manifest}))
    assert base.favours == ()
    habits = rule("large-pot", "[{favour: {pot.size: highest}}]", replaces="small-pot")
    manifest = HOUSE_MANIFEST + "favours: [large-pot]\n"
    folder = write_house(tmp_path, {"manifest.yaml": manifest, "habits.yaml": habits}, "other")
    assert read_rule_base(folder).favours == ("large-pot",)


def test_a_house_may_bring_its_own_ladder_which_is_whole(tmp_path: Path) -> None:
    base = read_rule_base(house(tmp_path, {"ladder.yaml": "stock: ours\npot: {size: 700 ml}\n"}))
    assert base.ladder.name == "ours"
    assert base.ladder.options == {"pot.size": (700.0,)}
    assert chosen(base, "pot.size") == 700
    assert chosen(base, "pot.lid") == "clay"  # not listed, so every choice of the vocabulary


# Where rule bases are found.


def test_a_rule_base_is_found_beside_the_house_first(tmp_path: Path) -> None:
    write_kettle(tmp_path, {"manifest.yaml": MANIFEST.replace("name: kettle", "name: base")})
    (tmp_path / "kettle").rename(tmp_path / "base")
    manifest = "name: house\nversion: 1.0.0\nextends: {name: base}\n"
    base = read_rule_base(write_house(tmp_path, {"manifest.yaml": manifest}))
    assert "tea.kind" in base.vocabulary


def test_a_rule_base_is_found_among_those_that_come_with_the_program(tmp_path: Path) -> None:
    manifest = "name: house\nversion: 1.0.0\nextends: {name: base, version: '>=0.1'}\n"
    base = read_rule_base(write_house(tmp_path, {"manifest.yaml": manifest}))
    assert base.layers[0].name == "base"
    assert base.layers[0].folder == base_folder()
    assert "point.type" in base.vocabulary


@pytest.mark.parametrize("here", [".", "house", "house/", "../house", "house/../house"])
def test_a_house_is_read_from_wherever_one_stands(
    here: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    house(tmp_path, {"habits.yaml": rule("ours", CLAY)})
    monkeypatch.chdir(tmp_path / ("house" if here.startswith(".") else "."))
    base = read_rule_base(here)
    assert [layer.name for layer in base.layers] == ["kettle", "house"]
    # A path stays as relative as it was written.
    assert not Path(base.entries["boil-the-water"].file).is_absolute()
    assert not Path(base.entries["ours"].file).is_absolute()


def test_what_lies_under_a_house_is_never_written_to(tmp_path: Path) -> None:
    folder = house(tmp_path, {"habits.yaml": rule("ours", CLAY, overrides="[clay-keeps-the-heat]")})
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    read_rule_base(folder)
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


# Words and places of what was read.


def test_a_rule_keeps_its_words_and_its_place(tmp_path: Path) -> None:
    pot = KETTLE["pot.yaml"] + rule(
        "warm-words",
        '[{caution: {level: caution, text: "{tea.kind} is hot"}}]',
        contested="{by: published, note: some drink it cold}",
        evidence="{class: published, source: tea-book, place: page 4, note: second printing}",
    )
    base = read_rule_base(write_kettle(tmp_path, {"pot.yaml": pot}))
    entry = base.entries["warm-words"]
    assert entry.file == str(tmp_path / "kettle" / "pot.yaml")
    assert pot.split("\n")[entry.line - 1] == "- id: warm-words"
    assert (entry.says, entry.because) == ("Do as the house does.", "The house has its reasons.")
    assert tuple(entry.evidence) == ("published", "tea-book", "page 4", "", "second printing")
    assert entry.contested is not None
    assert tuple(entry.contested) == ("published", "some drink it cold")
    assert [tuple(caution) for caution in entry.cautions] == [("caution", "{tea.kind} is hot")]
    assert not entry.rule.stop
    source = base.sources["tea-book"]
    assert (source.author, source.title, source.year) == ("A. Leaf", "The tea book", "1950")
    assert source.from_memory
    assert [step.phase for step in base.entries["boil-the-water"].steps] == ["prepare"]


def test_a_vocabulary_keeps_what_it_declares(tmp_path: Path) -> None:
    vocabulary = KETTLE["vocabulary.yaml"] + (
        "  pot.weight: {kind: quantity, origin: given, unit: g, bare: false, range: [0.1 kg, 2 kg],\n"
        "               tolerance: 0.01 kg, within: 20, step: 100, question: How heavy?}\n"
        "  pot.handles: {kind: count, origin: option, range: [0, 2], step: 1, pairs: true}\n"
        "  tea.extras: {kind: choice, origin: given, several: true, choices: {milk: , sugar: sweet}}\n"
    )
    words = read_rule_base(write_kettle(tmp_path, {"vocabulary.yaml": vocabulary})).vocabulary
    weight = words["pot.weight"]
    assert (weight.low, weight.high, weight.tolerance) == (100.0, 2000.0, 10.0)
    assert (weight.within, weight.step, weight.bare) == (20.0, 100.0, False)
    assert (weight.label, weight.question) == ("pot.weight", "How heavy?")
    handles = words["pot.handles"]
    assert (handles.low, handles.high, handles.step, handles.pairs) == (0.0, 2.0, 1.0, True)
    assert words["tea.extras"].choices == {"milk": "", "sugar": "sweet"}
    assert words["tea.extras"].several
    zero = KETTLE["vocabulary.yaml"] + (
        "  pot.depth: {kind: quantity, origin: given, unit: mm, range: [3, 3], tolerance: 0, within: 0}\n"
    )
    depth = read_rule_base(write_kettle(tmp_path, {"vocabulary.yaml": zero})).vocabulary[
        "pot.depth"
    ]
    assert (depth.low, depth.high, depth.tolerance, depth.within) == (3.0, 3.0, 0.0, 0.0)
    assert words["tea.kind"].choices["herb"] == "no tea at all"
    assert words["pot.lid"].choices == {"glass": "", "clay": ""}
    assert list(words.entries)[:2] == ["tea.kind", "tea.guests"]  # in the order of the file
