"""One fault planted in a sound rule base: it is found, where it stands, and nothing else is."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from advisor.checked import KINDS, Finding
from advisor.checking import check, check_rules
from advisor.decision import Number
from advisor.engine.run import FIRED
from advisor.engine.values import Value
from advisor.judge import REJECTED, Judgement
from advisor.replaying import setup_of
from advisor.rulebase.model import ACCEPTABLE, RuleBase
from advisor.rulebase.read import read_rule_base
from tests.rulebase.folders import MANIFEST, VOCABULARY, rule, write, write_house, write_kettle

NOTE = "[{caution: {level: note, text: Mind this.}}]"
STOP = "[{caution: {level: stop, text: Do not drink this.}}]"
GREEN = "{tea.kind: green}"
MANY = "{tea.guests: {above: 6}}"
STRONG = "[{set: {brew.strength: strong}}]"
WEAK = "[{set: {brew.strength: weak}}]"
CLAY = "[{should: {pot.lid: clay}}]"
GLASS = "[{should: {pot.lid: glass}}]"
STEP = "[{step: {phase: prepare, text: Mind the cups.}}]"
ASKS = "[{must: {pot.size: {at_most: 500 ml}}}]"

PLANTED: dict[str, tuple[str, set[tuple[str, tuple[str, ...]]]]] = {
    "two-tests-that-exclude-each-other": (
        rule("lost", NOTE, when="{tea.kind: green, any: [{tea.kind: black}, {tea.kind: herb}]}"),
        {("contradictory-bounds", ("lost",))},
    ),
    "bounds-that-exclude-each-other": (
        rule("lost", NOTE, when="{tea.guests: {above: 6, below: 4}}"),
        {("contradictory-bounds", ("lost",))},
    ),
    "bounds-between-which-no-whole-number-lies": (
        rule("lost", NOTE, when="{tea.guests: {above: 6, below: 7}}"),
        {("contradictory-bounds", ("lost",))},
    ),
    "bounds-that-exclude-each-other-in-an-alternative": (
        rule("half", NOTE, when="{any: [{tea.guests: {above: 6, below: 4}}, {tea.kind: herb}]}"),
        {("contradictory-bounds", ("half",))},
    ),
    "bounds-that-exclude-each-other-in-a-demand": (
        rule("lost", "[{must: {pot.size: {at_least: 500 ml, at_most: 300 ml}}}]", when=MANY),
        {("contradictory-bounds", ("lost",))},
    ),
    "bounds-that-exclude-each-other-in-an-exception": (
        rule("bold", NOTE, when=MANY, unless="{tea.guests: {above: 9, below: 4}}"),
        {("contradictory-bounds", ("bold",))},
    ),
    "a-demand-out-of-range": (
        rule("lost", "[{must: {pot.size: {at_least: 5000 ml}}}]", when=MANY),
        {("threshold-outside-range", ("lost",))},
    ),
    "a-rule-that-sets-aside-what-never-fires-with-it": (
        rule("green", "[{should: {pot.size: {at_most: 500 ml}}}]", when=GREEN)
        + rule(
            "idle",
            "[{must: {tea.guests: {at_least: 2}}}]",
            when="{tea.kind: herb, tea.guests: {above: 3}}",
            overrides="[green]",
        ),
        {("never-matters", ("idle",))},
    ),
    "a-condition-that-only-rules-exclude": (
        # Only green tea sets what this one asks for, and not for black.
        rule("weak-green", WEAK, when=GREEN)
        + rule("lost", NOTE, when="{brew.strength: weak, tea.kind: herb}"),
        {("never-fires", ("lost",))},
    ),
    "two-facts-that-exclude-each-other": (
        rule(
            "lost",
            NOTE,
            when="{pot.size: {above: {fact: cup.size}}, cup.size: {above: {fact: pot.size}}}",
        ),
        {("never-fires", ("lost",))},
    ),
    "an-exception-that-always-holds": (
        rule("lost", NOTE, when=MANY, unless="{tea.guests: {at_least: 5}}"),
        {("never-fires", ("lost",))},
    ),
    "an-exception-that-never-holds": (
        rule("bold", NOTE, when=MANY, unless="{tea.guests: {at_most: 5}}"),
        {("exception-never-holds", ("bold",))},
    ),
    "always-set-aside": (
        rule("loser", NOTE, when=MANY)
        + rule(
            "winner",
            "[{step: {phase: prepare, text: Do it.}}]",
            when="{tea.guests: {above: 4}}",
            overrides="[loser]",
        ),
        {("always-set-aside", ("loser", "winner"))},
    ),
    "a-demand-that-always-holds": (
        rule(
            "idle",
            "[{must: {tea.guests: {at_least: 3}}}]",
            when="{tea.guests: {at_least: 5}}",
        ),
        {("never-matters", ("idle",))},
    ),
    "a-demand-that-another-rule-makes": (
        rule("broad", "[{must: {pot.size: {at_least: 500 ml}}}]", when="{tea.guests: {above: 2}}")
        + rule("idle", "[{must: {pot.size: {at_least: 300 ml}}}]", when="{tea.guests: {above: 3}}"),
        {("never-matters", ("idle",))},
    ),
    "a-demand-that-another-rule-makes-of-what-may-be-unknown": (
        # Where the cup is not stated each of them leaves a build unproven once more.
        rule("broad", "[{must: {cup.size: {at_least: 300 ml}}}]", when="{tea.guests: {above: 2}}")
        + rule(
            "not-idle", "[{must: {cup.size: {at_least: 200 ml}}}]", when="{tea.guests: {above: 3}}"
        ),
        set(),
    ),
    "a-should-that-another-rule-has": (
        rule("broad", "[{should: {cup.size: {at_least: 300 ml}}}]", when="{tea.guests: {above: 2}}")
        + rule(
            "idle", "[{should: {cup.size: {at_least: 200 ml}}}]", when="{tea.guests: {above: 3}}"
        ),
        {("never-matters", ("idle",))},
    ),
    "a-conclusion-nobody-reads": (
        rule("idle", "[{set: {brew.colour: dark}}]", when=MANY),
        {("never-matters", ("idle",))},
    ),
    "a-tie-of-values": (
        rule("weak-for-many", WEAK, when=MANY),
        {("open-tie", ("black-tea-is-strong", "weak-for-many"))},
    ),
    "a-tie-of-shoulds": (
        rule("clay-for-many", CLAY, when=MANY),
        {("open-tie", ("clay-for-many", "glass-shows-the-leaves"))},
    ),
    "a-tie-with-what-should-not-be": (
        rule("no-glass-for-many", "[{should_not: {pot.lid: glass}}]", when=MANY),
        {("open-tie", ("glass-shows-the-leaves", "no-glass-for-many"))},
    ),
    "shoulds-of-which-nothing-meets-one": (
        # One of them fails whatever is chosen, which is no tie.
        rule("tiny", "[{should: {pot.size: {at_most: 250 ml}}}]", when=MANY)
        + rule("large", "[{should: {pot.size: {at_least: 500 ml}}}]", when=MANY),
        {("demand-nothing-meets", ("tiny",))},
    ),
    "musts-that-leave-no-build": (
        rule("only-glass", "[{must: {pot.lid: glass}}]", when=MANY)
        + rule("only-clay", "[{must: {pot.lid: clay}}]", when="{tea.in_a_hurry: true}"),
        {("no-build", ("only-clay", "only-glass"))},
    ),
    "a-must-that-nothing-listed-meets": (
        rule("huge", "[{must: {pot.size: {at_least: 1500 ml}}}]", when=MANY),
        {("demand-nothing-meets", ("huge",))},
    ),
    "a-must-on-what-is-stated": (
        # It refuses a setup, as a stop does: that is what it is for.
        rule("no-herbs", "[{must_not: {tea.kind: herb}}]"),
        set(),
    ),
    "a-must-on-what-is-assumed": (
        # Black tea is what is assumed: where no kind is stated this refuses by itself, too.
        rule("only-glass", "[{must: {pot.lid: glass}}]", when=MANY)
        + rule("only-clay", "[{must: {pot.lid: clay}}]", when="{tea.in_a_hurry: true}")
        + rule("no-black", "[{must_not: {tea.kind: black}}]", when=MANY),
        {("no-build", ("only-clay", "only-glass"))},
    ),
    "a-must-on-what-is-stated-by-what-the-build-concludes": (
        rule("pour-more", "[{set: {pour.size: 300 ml}}]", when="{pot.size: {at_least: 500 ml}}")
        + rule("wide-cups", "[{must: {cup.size: {at_least: {fact: pour.size}}}}]", when=MANY),
        {("no-build", ("large-pot-for-many", "wide-cups"))},
    ),
    "a-stop": (rule("too-many", STOP, when="{tea.guests: {above: 11}}"), set()),
    "a-number-out-of-range": (
        rule("lost", NOTE, when="{tea.guests: {above: 40}}"),
        {("threshold-outside-range", ("lost",))},
    ),
    "a-number-out-of-range-that-always-holds": (
        rule("plain", NOTE, when="{tea.guests: {below: 40}}"),
        {("threshold-outside-range", ("plain",))},
    ),
    "a-bound-at-the-lower-end-of-the-range": (
        rule("plain", NOTE, when="{tea.guests: {at_least: 1}}"),
        {("threshold-outside-range", ("plain",))},
    ),
    "a-bound-at-the-upper-end-of-the-range": (
        rule("idle", "[{must: {pot.size: {at_most: 2000 ml}}}]", when=MANY),
        {("threshold-outside-range", ("idle",))},
    ),
    "a-value-that-no-rule-concludes": (
        rule("lost", NOTE, when="{brew.strength: weak}"),
        {("threshold-outside-range", ("lost",))},
    ),
    "the-same-rule-twice": (
        rule("one", "[{must: {pot.size: {at_least: 500 ml}}}]", when=MANY)
        + rule("other", "[{must: {pot.size: {at_least: 500 ml}}}]", when=MANY),
        {("near-duplicate", ("other", "one"))},
    ),
    "a-rule-within-a-rule": (
        rule("broad", NOTE, when=MANY)
        + rule("narrow", NOTE, when="{tea.guests: {above: 6}, tea.kind: green}"),
        {("near-duplicate", ("narrow", "broad"))},
    ),
    "a-rule-beyond-a-bound-within-a-rule": (
        rule("broad", NOTE, when="{tea.guests: {above: 6}}")
        + rule("narrow", NOTE, when="{tea.guests: {at_least: 8}}"),
        {("near-duplicate", ("narrow", "broad"))},
    ),
    "a-should-beyond-a-bound-within-a-rule": (
        rule("broad", CLAY, when="{tea.kind: herb, tea.guests: {above: 6}}")
        + rule("narrow", CLAY, when="{tea.kind: herb, tea.guests: {above: 7}}"),
        {("near-duplicate", ("narrow", "broad"))},
    ),
    "a-step-that-goes-with-what-is-set-aside": (
        rule(
            "carrier",
            "[{should: {pot.size: {at_most: 500 ml}}}, {step: {phase: prepare, text: Warm the cups.}}]",
            when="{tea.in_a_hurry: true}",
        )
        + rule("for-many", NOTE, when=MANY, overrides="[carrier]"),
        {("carries-more-than-it-should", ("carrier", "for-many"))},
    ),
}


VOCABULARY_MORE = (
    VOCABULARY
    + "  cup.size: {kind: quantity, origin: given, unit: ml, range: [50, 400]}\n"
    + "  pour.size: {kind: quantity, origin: concluded, unit: ml, range: [50, 400]}\n"
    + "  brew.colour: {kind: choice, origin: concluded, choices: [dark, light]}\n"
)


def kettle(root: Path, rules: str, **more: str) -> str:
    files = {"vocabulary.yaml": VOCABULARY_MORE, "planted.yaml": rules}
    return write_kettle(root, {**files, **more})


def told(findings: tuple[Finding, ...]) -> set[tuple[str, tuple[str, ...]]]:
    return {(one.finding, one.rules) for one in findings}


@pytest.mark.parametrize("lesson", PLANTED)
def test_what_was_planted_is_found_and_nothing_else(lesson: str, tmp_path: Path) -> None:
    rules, expected = PLANTED[lesson]
    folder = kettle(tmp_path, rules)
    report = check_rules(folder)
    assert told(report.findings) == expected
    assert report.proved
    assert report.exit_status == (1 if expected else 0)
    base = read_rule_base(folder)
    for one in report.findings:
        assert os.path.basename(one.file) in ("planted.yaml", "tea.yaml", "pot.yaml")
        assert one.remedy
        assert one.level == KINDS[one.finding].level
        replay(base, one)


def test_a_sound_rule_base_has_nothing_found(tmp_path: Path) -> None:
    report = check_rules(write_kettle(tmp_path))
    assert report.findings == report.accepted == ()
    assert report.exit_status == 0


def test_every_kind_of_finding_is_planted_somewhere() -> None:
    planted = {finding for _, expected in PLANTED.values() for finding, _ in expected}
    elsewhere = {"should-overrides-stop", "dropped-override"}
    assert planted | elsewhere == set(ACCEPTABLE)
    assert set(ACCEPTABLE) < set(KINDS)


def stated(one: Finding) -> dict[str, Value]:
    return {
        fact: (value.value if isinstance(value, Number) else value)
        for fact, value in one.witness.items()
    }


def replay(base: RuleBase, one: Finding) -> None:
    """Judge a witness as any setup is judged, and see what the finding says."""
    if not one.shows:
        return
    setup = setup_of(stated(one))
    judgement = Judgement(setup, base, base.ladder)
    run = judgement.run
    if one.finding == "never-fires":
        assert run.status(one.rules[0]) < FIRED
    elif one.finding == "always-set-aside":
        assert one.rules[0] in run.set_aside()
    elif one.finding in ("never-matters", "exception-never-holds"):
        assert run.stands(one.rules[0])
    elif one.finding == "no-build":
        assert judgement.status == REJECTED
        assert {*one.rules} in [set(some) for some in judgement.conflicts]
    elif one.finding == "open-tie":
        pairs = [set(rules) for rules in run.tied().values()]
        for (first, _), (second, _) in judgement.should_ties(run, judgement.own_failures):
            pairs.append({first.id, second.id})
        assert any(set(one.rules) <= pair for pair in pairs)
    else:
        assert one.finding == "threshold-outside-range"
        ((fact, value),) = stated(one).items()
        entry = base.vocabulary[fact]
        assert value in (entry.low, entry.high)


# Houses


def test_a_replacement_that_drops_an_override(tmp_path: Path) -> None:
    kettle(
        tmp_path,
        rule("lid-for-many", CLAY, when=MANY, overrides="[glass-shows-the-leaves]"),
    )
    house = write_house(
        tmp_path, {"habits.yaml": rule("our-lid", CLAY, when=MANY, replaces="lid-for-many")}
    )
    report = check_rules(house)
    ours = [one for one in report.findings if one.own]
    assert told(tuple(ours)) == {("dropped-override", ("our-lid", "glass-shows-the-leaves"))}
    assert "nothing overrides `glass-shows-the-leaves` any more" in ours[0].says


def test_what_concerns_the_layers_below_alone_fails_nothing(tmp_path: Path) -> None:
    kettle(tmp_path, PLANTED["a-tie-of-shoulds"][0])
    house = write_house(tmp_path, {"habits.yaml": rule("ours", NOTE, when=MANY)})
    report = check_rules(house)
    assert [(one.finding, one.own, one.layer) for one in report.findings] == [
        ("open-tie", False, "kettle")
    ]
    assert report.exit_status == 0


def test_a_finding_on_two_layers_is_told_where_it_can_be_mended(tmp_path: Path) -> None:
    kettle(tmp_path, rule("only-glass", "[{must: {pot.lid: glass}}]", when=MANY))
    house = write_house(
        tmp_path,
        {
            "habits.yaml": rule(
                "only-clay", "[{must: {pot.lid: clay}}]", when="{tea.in_a_hurry: true}"
            )
        },
    )
    report = check_rules(house)
    (one,) = report.findings
    assert os.path.basename(one.file) == "habits.yaml"
    assert (one.finding, one.layer, one.own) == ("no-build", "house", True)


def test_computed_facts_are_free_and_the_finding_names_them(tmp_path: Path) -> None:
    heavy = rule("heavy", "[{should: {fletching.count: 3}}]", when="{arrow.mass: {above: 500 gr}}")
    short = rule("short", "[{should: {fletching.count: 4}}]", when="{steering.ratio: {below: 1.5}}")
    manifest = "name: house\nversion: 0.1.0\nextends: {name: base}\n"
    folder = write(tmp_path / "house", {"manifest.yaml": manifest, "ours.yaml": heavy + short})
    base = read_rule_base(folder)
    (one,) = [found for found in check(base).findings if found.own]
    assert (one.finding, one.rules) == ("open-tie", ("heavy", "short"))
    assert one.free == ("arrow.mass", "steering.ratio")
    assert set(one.witness) == {"arrow.mass", "steering.ratio"}
    replay(base, one)


# Sources, domains, acceptances


def test_a_source_that_nobody_cites(tmp_path: Path) -> None:
    sources = "sources:\n  tea-book: {title: The tea book}\n  lost-book: {title: Lost}\n"
    report = check_rules(kettle(tmp_path, rule("a", NOTE, when=MANY), **{"sources.yaml": sources}))
    (one,) = report.findings
    assert (one.finding, one.level, one.rules) == ("source-never-cited", "note", ())
    assert (os.path.basename(one.file), one.line, one.column) == ("sources.yaml", 3, 3)


HURRY = "domain:\n  - {any: [{tea.in_a_hurry: false}, {tea.guests: {at_most: 6}}]}\n"


def test_what_the_domain_rules_out_is_no_finding(tmp_path: Path) -> None:
    rules = PLANTED["musts-that-leave-no-build"][0]
    report = check_rules(kettle(tmp_path, rules, **{"manifest.yaml": MANIFEST + HURRY}))
    assert report.findings == ()


def test_a_rule_that_the_domain_rules_out_never_fires(tmp_path: Path) -> None:
    rules = rule("rush", NOTE, when="{tea.in_a_hurry: true, tea.guests: 8}")
    assert check_rules(kettle(tmp_path / "a", rules)).findings == ()
    report = check_rules(kettle(tmp_path / "b", rules, **{"manifest.yaml": MANIFEST + HURRY}))
    assert told(report.findings) == {("never-fires", ("rush",))}


def test_a_witness_lies_within_the_domain(tmp_path: Path) -> None:
    # The tie itself needs neither of the two facts that every setup of this domain states.
    rules = rule("clay-for-black", CLAY, when=GREEN)
    domain = "domain: [{tea.guests: {known: true}}, {tea.in_a_hurry: {stated: true}}]\n"
    folder = kettle(tmp_path, rules, **{"manifest.yaml": MANIFEST + domain})
    (one,) = check_rules(folder).findings
    assert one.finding == "open-tie"
    assert {"tea.guests", "tea.in_a_hurry", "tea.kind"} == set(one.witness)
    rules += rule("only-glass", "[{must: {pot.lid: glass}}]", when=GREEN)
    rules += rule("only-clay", "[{must: {pot.lid: clay}}]", when=GREEN)
    folder = kettle(tmp_path, rules, **{"manifest.yaml": MANIFEST + domain})
    for found in check_rules(folder).findings:
        assert {"tea.guests", "tea.in_a_hurry"} <= set(found.witness), found.finding


def test_a_should_of_a_house_is_not_idle_for_one_of_the_layer_below(tmp_path: Path) -> None:
    broad = "[{should: {cup.size: {at_least: 300 ml}}}]"
    kettle(tmp_path, rule("broad", broad, when="{tea.guests: {above: 2}}"))
    ours = "[{should: {cup.size: {at_least: 200 ml}}}]"
    house = write_house(
        tmp_path, {"ours.yaml": rule("ours", ours, when="{tea.guests: {above: 3}}")}
    )
    assert check_rules(house).findings == ()


def test_a_domain_that_no_setup_meets(tmp_path: Path) -> None:
    empty = "domain:\n  - {tea.kind: {known: false}}\n"
    report = check_rules(
        kettle(tmp_path, rule("a", NOTE, when=MANY), **{"manifest.yaml": MANIFEST + empty})
    )
    (one,) = report.findings
    assert (one.finding, os.path.basename(one.file)) == ("empty-domain", "manifest.yaml")
    assert one.line == MANIFEST.count("\n") + 1


def accepting(finding: str, more: str = "") -> str:
    return f"[{{finding: {finding}, because: It is meant so.{more}}}]"


def test_what_is_accepted_is_told_apart(tmp_path: Path) -> None:
    rules = rule("clay-for-many", CLAY, when=MANY, accept=accepting("open-tie"))
    report = check_rules(kettle(tmp_path, rules))
    assert report.findings == ()
    (one,) = report.accepted
    assert (one.finding, one.accepted) == ("open-tie", "It is meant so.")
    assert report.exit_status == 0


@pytest.mark.parametrize(
    ("other", "found"),
    [("glass-shows-the-leaves", set()), ("boil-the-water", {"open-tie", "acceptance-outdated"})],
)
def test_an_acceptance_can_be_narrowed(other: str, found: set[str], tmp_path: Path) -> None:
    accept = accepting("open-tie", f", with: [{other}]")
    report = check_rules(kettle(tmp_path, rule("clay-for-many", CLAY, when=MANY, accept=accept)))
    assert {one.finding for one in report.findings} == found


def test_an_acceptance_that_nothing_needs_is_a_finding(tmp_path: Path) -> None:
    rules = rule("calm", NOTE, when=MANY, accept=accepting("open-tie"))
    (one,) = check_rules(kettle(tmp_path, rules)).findings
    assert (one.finding, one.rules) == ("acceptance-outdated", ("calm",))
    # Without proofs nobody can tell whether it still occurs.
    assert check_rules(str(tmp_path / "kettle"), proofs=False).findings == ()


def test_acceptances_and_domains_are_part_of_the_digest(tmp_path: Path) -> None:
    plain = read_rule_base(kettle(tmp_path / "a", rule("calm", NOTE, when=MANY)))
    rules = rule("calm", NOTE, when=MANY, accept=accepting("open-tie"))
    more = kettle(tmp_path / "b", rules, **{"manifest.yaml": MANIFEST + HURRY})
    assert read_rule_base(more).digest != plain.digest
    assert len(read_rule_base(more).domain) == 1


@pytest.mark.parametrize(
    ("accept", "what"),
    [
        ("[{finding: open-ties, because: So.}]", "`open-ties` is no choice of finding"),
        ("[{finding: open-tie}]", "because is missing"),
        ("[{finding: open-tie, because: So., with: [nobody]}]", "there is no rule `nobody`"),
    ],
)
def test_a_wrong_acceptance_is_refused_and_told_in_the_report(
    accept: str, what: str, tmp_path: Path
) -> None:
    report = check_rules(kettle(tmp_path, rule("calm", NOTE, when=MANY, accept=accept)))
    (one,) = report.findings
    assert one.finding == "refused"
    assert what.lower() in one.says.lower()
    assert report.exit_status == 3


def test_a_domain_of_unknown_facts_is_refused(tmp_path: Path) -> None:
    manifest = MANIFEST + "domain:\n  - {tea.kinds: green}\n"
    report = check_rules(kettle(tmp_path, "[]\n", **{"manifest.yaml": manifest}))
    (one,) = report.findings
    assert (one.finding, one.line) == ("refused", MANIFEST.count("\n") + 2)
    assert "tea.kinds" in one.says


# Without the solver, and on what ships


def test_without_the_solver_the_rest_is_found_and_a_hint_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "z3", None)
    rules = PLANTED["a-tie-of-shoulds"][0] + PLANTED["a-number-out-of-range"][0]
    report = check_rules(kettle(tmp_path, rules))
    assert told(report.findings) == {("threshold-outside-range", ("lost",))}
    assert not report.proved
    assert "pip install '.[prove]'" in report.hint
    assert report.exit_status == 2


def test_every_finding_on_the_base_rules_replays() -> None:
    base = read_rule_base()
    report = check(base)
    assert report.proved
    assert report.rules == len(base.entries)
    for one in (*report.findings, *report.accepted):
        replay(base, one)
        # What can be found by proof has a witness, if only one that states nothing.
        assert one.shows or one.known_by != "proved", one


def test_a_report_is_the_same_however_often_it_is_made(tmp_path: Path) -> None:
    rules = "".join(
        PLANTED[lesson][0] for lesson in ("a-tie-of-shoulds", "musts-that-leave-no-build")
    )
    folder = kettle(tmp_path, rules)
    assert check_rules(folder) == check_rules(folder)
