"""The CLIPS translation against answers worked out by hand, and the makers of rule bases.

The answers follow from the meaning of the rules as the design states it; kettle and garden are
made up for the purpose.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

import pytest

from tests.reference.in_clips import ClipsProgram, Outcome
from tests.reference.synthetic import Base, facts_read, is_acyclic, nasty, synthetic

VOCABULARY: dict[str, dict[str, Any]] = {
    "kettle.type": {"kind": "choice", "origin": "given"},
    "kettle.spare": {"kind": "choice", "origin": "given"},
    "kettle.lid": {"kind": "flag", "origin": "given"},
    "kettle.water": {"kind": "quantity", "origin": "given"},
    "kettle.cups": {"kind": "count", "origin": "given"},
    "kettle.note": {"kind": "text", "origin": "given"},
    "garden.herbs": {"kind": "choice", "origin": "given", "several": True},
    "garden.wanted": {"kind": "choice", "origin": "given", "several": True},
    "tea.herb": {"kind": "choice", "origin": "option"},
    "tea.heat": {"kind": "quantity", "origin": "option"},
    "tea.minutes": {"kind": "quantity", "origin": "computed"},
    "tea.mood": {"kind": "choice", "origin": "concluded"},
    "tea.guest": {"kind": "choice", "origin": "concluded"},
    "tea.limit": {"kind": "quantity", "origin": "concluded"},
    "tea.blend": {"kind": "choice", "origin": "concluded", "several": True},
}
STOP = {"caution": {"level": "stop", "text": "Do not pour."}}
NOTE = {"caution": {"level": "note", "text": "Mind the steam."}}


def rule(name: str, *then: Mapping[str, Any], **parts: Any) -> dict[str, Any]:
    return {"id": name, "then": list(then) or [NOTE], **parts}


def mood(value: str) -> dict[str, Any]:
    return {"set": {"tea.mood": value}}


def program(*rules: Mapping[str, Any], **more: Any) -> ClipsProgram:
    pytest.importorskip("clips", reason="clipspy is not installed")
    return ClipsProgram(more.pop("vocabulary", VOCABULARY), rules, **more)


def run(
    rules: Sequence[Mapping[str, Any]],
    facts: Mapping[str, Any] | None = None,
    stated: Collection[str] = (),
) -> Outcome:
    return program(*rules).run(facts or {}, stated)


def state(
    condition: Mapping[str, Any],
    facts: Mapping[str, Any],
    stated: Collection[str] = (),
    others: Sequence[Mapping[str, Any]] = (),
) -> str:
    """Judge one condition: fired is yes, silent is no, undecided is unknown."""
    return run([rule("asked", when=condition), *others], facts, stated)["states"]["asked"]


# --- conditions -----------------------------------------------------------------------------------

TESTS: list[tuple[dict[str, Any], dict[str, Any], str]] = [
    ({"kettle.type": "iron"}, {"kettle.type": "iron"}, "fired"),
    ({"kettle.type": "iron"}, {"kettle.type": "clay"}, "silent"),
    ({"kettle.type": "iron"}, {}, "undecided"),
    ({"kettle.type": "iron"}, {"kettle.type": None}, "undecided"),
    ({"kettle.type": ["iron", "clay"]}, {"kettle.type": "clay"}, "fired"),
    ({"kettle.type": ["iron", "clay"]}, {"kettle.type": "glass"}, "silent"),
    ({"kettle.lid": False}, {"kettle.lid": False}, "fired"),
    ({"kettle.lid": False}, {"kettle.lid": True}, "silent"),
    ({"kettle.water": 2}, {"kettle.water": 2.0}, "fired"),
    ({"kettle.cups": 2.0}, {"kettle.cups": 2}, "fired"),
    ({"kettle.water": {"at_least": 1.5}}, {"kettle.water": 1.5}, "fired"),
    ({"kettle.water": {"above": 1.5}}, {"kettle.water": 1.5}, "silent"),
    ({"kettle.water": {"at_most": 1.5}}, {"kettle.water": 1.5}, "fired"),
    ({"kettle.water": {"below": 1.5}}, {"kettle.water": 1.5}, "silent"),
    ({"kettle.water": {"at_least": 1, "below": 2}}, {"kettle.water": 2}, "silent"),
    ({"kettle.water": {"at_least": 1, "below": 2}}, {"kettle.water": 1}, "fired"),
    ({"kettle.water": {"at_least": 1, "below": 2}}, {}, "undecided"),
    ({"kettle.water": [0, {"above": 2}]}, {"kettle.water": 3}, "fired"),
    ({"kettle.water": [0, {"above": 2}]}, {"kettle.water": 1}, "silent"),
    ({"kettle.water": {"at_least": 0.3}}, {"kettle.water": 0.1 + 0.2}, "fired"),
    ({"kettle.water": {"at_most": 0.3}}, {"kettle.water": 0.1 + 0.2}, "fired"),  # nine digits
    ({"kettle.water": 0}, {"kettle.water": -0.0}, "fired"),
    ({"kettle.water": {"above": 0}}, {"kettle.water": float("inf")}, "undecided"),
    ({"kettle.water": {"above": 0}}, {"kettle.water": float("nan")}, "undecided"),
    ({"kettle.water": {"above": 2e15}}, {"kettle.water": 3e15}, "fired"),
    ({"kettle.water": {"below": 2e-7}}, {"kettle.water": 1e-7}, "fired"),
    ({"garden.herbs": "mint"}, {"garden.herbs": ["sage", "mint"]}, "fired"),
    ({"garden.herbs": "mint"}, {"garden.herbs": ["sage"]}, "silent"),
    ({"garden.herbs": "mint"}, {"garden.herbs": []}, "silent"),
    ({"garden.herbs": "mint"}, {}, "undecided"),
    ({"garden.herbs": ["mint", "sage"]}, {"garden.herbs": ["sage", "mint"]}, "fired"),
    ({"garden.herbs": {"fact": "garden.wanted"}}, {"garden.herbs": ["sage"]}, "undecided"),
    (
        {"garden.herbs": {"fact": "garden.wanted"}},
        {"garden.herbs": ["sage", "mint"], "garden.wanted": ["dill", "mint"]},
        "fired",
    ),
    (
        {"garden.herbs": {"fact": "garden.wanted"}},
        {"garden.herbs": ["sage"], "garden.wanted": ["dill", "mint"]},
        "silent",
    ),
    (
        {"tea.herb": {"fact": "garden.herbs"}},
        {"tea.herb": "mint", "garden.herbs": ["sage", "mint"]},
        "fired",
    ),
    (
        {"garden.herbs": {"fact": "tea.herb"}},
        {"tea.herb": "mint", "garden.herbs": ["sage", "mint"]},
        "fired",
    ),
    (
        {"kettle.type": {"fact": "kettle.spare"}},
        {"kettle.type": "iron", "kettle.spare": "iron"},
        "fired",
    ),
    (
        {"kettle.type": {"fact": "kettle.spare"}},
        {"kettle.type": "iron", "kettle.spare": "clay"},
        "silent",
    ),
    ({"kettle.type": {"fact": "kettle.spare"}}, {}, "undecided"),
    (
        {"kettle.water": {"at_least": {"fact": "kettle.cups"}}},
        {"kettle.water": 2.0, "kettle.cups": 2},
        "fired",
    ),
    (
        {"kettle.water": {"above": {"fact": "kettle.cups"}, "at_most": 3}},
        {"kettle.water": 4},
        "silent",
    ),
    ({"kettle.water": [4, {"fact": "kettle.cups"}]}, {"kettle.water": 4}, "fired"),
    ({"kettle.type": "iron", "kettle.lid": True}, {"kettle.type": "clay"}, "silent"),
    ({"kettle.type": "iron", "kettle.lid": True}, {"kettle.type": "iron"}, "undecided"),
    ({"any": [{"kettle.type": "iron"}, {"kettle.lid": True}]}, {"kettle.lid": True}, "fired"),
    ({"any": [{"kettle.type": "iron"}, {"kettle.lid": True}]}, {"kettle.lid": False}, "undecided"),
    ({"all": [{"kettle.type": "iron"}, {"kettle.lid": True}]}, {"kettle.lid": False}, "silent"),
    ({"not": {"kettle.type": "iron"}}, {"kettle.type": "iron"}, "silent"),
    ({"not": {"kettle.type": "iron"}}, {"kettle.type": "clay"}, "fired"),
    ({"not": {"kettle.type": "iron"}}, {}, "undecided"),
    (
        {"not": {"any": [{"kettle.type": "iron"}, {"kettle.water": {"above": 1}}]}},
        {"kettle.type": "clay"},
        "undecided",
    ),
    (
        {"not": {"any": [{"kettle.type": "iron"}, {"kettle.water": {"above": 1}}]}},
        {"kettle.water": 2},
        "silent",
    ),
    # Parts are judged one by one: that they exhaust the choices does not help.
    ({"any": [{"kettle.lid": True}, {"kettle.lid": False}]}, {}, "undecided"),
    ({"kettle.type": {"known": True}}, {}, "silent"),
    ({"kettle.type": {"known": False}}, {}, "fired"),
    ({"garden.herbs": {"known": True}}, {"garden.herbs": []}, "fired"),
    ({"kettle.water": {"known": True}, "kettle.type": "iron"}, {"kettle.type": "iron"}, "silent"),
    ({"kettle.note": 'say "hi" \\ (or not)'}, {"kettle.note": 'say "hi" \\ (or not)'}, "fired"),
    ({"kettle.note": 'say "hi"'}, {"kettle.note": "say hi"}, "silent"),
]


@pytest.mark.parametrize(("condition", "facts", "expected"), TESTS)
def test_a_condition_is_yes_no_or_unknown(
    condition: dict[str, Any], facts: dict[str, Any], expected: str
) -> None:
    assert state(condition, facts) == expected


AWKWARD = ("none", "3d", "UNKNOWN", "NEVER", "TRUE", "nil", "or", "2.5", "1e5", "a b", "?x", "~y")


@pytest.mark.parametrize("word", AWKWARD)
def test_words_that_clips_could_misread_are_plain_values(word: str) -> None:
    assert state({"kettle.type": word}, {"kettle.type": word}) == "fired"
    assert state({"kettle.type": word}, {"kettle.type": "iron"}) == "silent"
    assert state({"kettle.type": word}, {}) == "undecided"
    assert state({"garden.herbs": word}, {"garden.herbs": ["iron", word]}) == "fired"
    assert state({"kettle.note": word}, {"kettle.note": word}) == "fired"
    concluding = run([rule("a", mood(word)), rule("b", when={"tea.mood": word})])
    assert concluding["values"] == {"tea.mood": word}
    assert concluding["states"]["b"] == "fired"


def test_stated_is_asked_of_the_setup_and_a_chosen_option_counts() -> None:
    facts = {"kettle.type": "iron", "tea.herb": "mint", "tea.minutes": 4}
    for name, expected in [
        ("kettle.type", "fired"),
        ("tea.minutes", "silent"),
        ("tea.herb", "fired"),
        ("tea.heat", "silent"),
        ("tea.mood", "silent"),
    ]:
        assert state({name: {"stated": True}}, facts, {"kettle.type"}) == expected
        opposite = {"fired": "silent", "silent": "fired"}[expected]
        assert state({name: {"stated": False}}, facts, {"kettle.type"}) == opposite


# --- exceptions, conclusions, defeat --------------------------------------------------------------


def test_unless_silences_only_when_it_is_yes() -> None:
    one = rule("one", when={"kettle.lid": True}, unless={"kettle.type": "iron"})
    assert run([one], {"kettle.lid": True})["states"]["one"] == "fired"
    assert run([one], {"kettle.lid": True, "kettle.type": "iron"})["states"]["one"] == "silent"
    assert run([one], {"kettle.type": "iron"})["states"]["one"] == "silent"
    assert run([one], {})["states"]["one"] == "undecided"
    assert run([rule("bare")])["states"]["bare"] == "fired"


def test_a_value_feeds_the_rules_that_read_it() -> None:
    rules = [
        rule("third", {"set": {"tea.limit": 2.5}}, when={"tea.guest": "aunt"}),
        rule("second", {"set": {"tea.guest": "aunt"}}, when={"tea.mood": "calm"}),
        rule("first", mood("calm"), when={"kettle.lid": True}),
        rule("fourth", when={"kettle.water": {"below": {"fact": "tea.limit"}}}),
    ]
    outcome = run(rules, {"kettle.lid": True, "kettle.water": 2})
    assert outcome["values"] == {"tea.mood": "calm", "tea.guest": "aunt", "tea.limit": 2.5}
    assert outcome["states"]["fourth"] == "fired"


def test_a_value_that_nothing_can_conclude_makes_a_test_no() -> None:
    setter = rule("setter", mood("calm"), when={"kettle.lid": True})
    on_the_left = {"tea.mood": ["calm", "wild"]}
    on_the_right = {"kettle.type": {"fact": "tea.mood"}}
    for lid, expected in [(False, "silent"), (None, "undecided"), (True, "fired")]:
        facts = {"kettle.lid": lid, "kettle.type": "calm"}
        assert state(on_the_left, facts, others=[setter]) == expected
        assert state(on_the_right, facts, others=[setter]) == expected
    assert state({"not": on_the_left}, {"kettle.lid": False}, others=[setter]) == "fired"
    assert state({"tea.mood": {"known": False}}, {}, others=[setter]) == "fired"
    # The other side is unknown too; what can never be compared is a no all the same.
    assert state(on_the_right, {"kettle.lid": False}, others=[setter]) == "silent"
    assert state(on_the_right, {}, others=[]) == "silent"
    assert state({"tea.limit": {"above": 1}}, {}) == "silent"
    assert state({"kettle.water": {"above": {"fact": "tea.limit"}}}, {}) == "silent"
    assert state({"tea.blend": "mint"}, {}) == "silent"
    assert run([rule("one", unless={"tea.mood": "calm"})])["states"]["one"] == "fired"


def test_two_values_tie_and_a_tied_fact_is_unknown() -> None:
    rules = [
        rule("calm", mood("calm")),
        rule("wild", mood("wild"), when={"kettle.lid": True}),
        rule("again", mood("calm")),
        rule("reader", when={"tea.mood": "calm"}),
        rule("asks", when={"tea.mood": {"known": True}}),
    ]
    tied = run(rules, {"kettle.lid": True})
    assert tied["ties"] == {"tea.mood"}
    assert tied["values"] == {}
    assert tied["states"]["reader"] == "undecided"
    assert tied["states"]["asks"] == "silent"
    agreed = run(rules, {"kettle.lid": False})
    assert (agreed["ties"], agreed["values"]) == (set(), {"tea.mood": "calm"})
    # A value stands though an undecided rule could still tie it.
    assert run(rules)["values"] == {"tea.mood": "calm"}


def test_three_values_tie_once_and_list_order_says_nothing() -> None:
    three = [rule(word, mood(word)) for word in ("calm", "wild", "odd")]
    assert run(three)["ties"] == {"tea.mood"}
    same = [
        rule("a", {"set": {"tea.blend": ["mint", "sage"]}}),
        rule("b", {"set": {"tea.blend": ["sage", "mint"]}}),
        rule("c", when={"tea.blend": "sage"}),
    ]
    outcome = run(same)
    assert outcome["values"] == {"tea.blend": ["mint", "sage"]}
    assert outcome["states"]["c"] == "fired"
    assert run([*same, rule("d", {"set": {"tea.blend": ["mint"]}})])["ties"] == {"tea.blend"}


def test_the_overridden_is_set_aside_by_those_that_stand() -> None:
    rules = [
        rule("loser", mood("calm"), {"must": {"tea.herb": "mint"}}),
        rule("winner", mood("wild"), when={"kettle.lid": True}, overrides=["loser"]),
        rule("above", when={"kettle.water": {"above": 1}}, overrides=["winner"]),
        rule("aside", overrides=["loser", "no-such-rule"], when={"kettle.cups": 2}),
    ]
    both = run(rules, {"kettle.lid": True, "kettle.water": 0, "kettle.cups": 2})
    assert both["set_aside"] == {"loser": {"winner", "aside"}}
    assert both["values"] == {"tea.mood": "wild"}
    assert both["demands"] == {}
    # A rule that is itself set aside sets nothing aside.
    chain = run(rules, {"kettle.lid": True, "kettle.water": 2, "kettle.cups": 1})
    assert chain["set_aside"] == {"winner": {"above"}}
    assert chain["values"] == {"tea.mood": "calm"}
    assert chain["demands"] == {("loser", 1): "unproven"}
    # What fires stands though an undecided rule overrides it.
    open_still = run(rules, {"kettle.cups": 1, "tea.herb": "mint"})
    assert open_still["set_aside"] == {}
    assert open_still["demands"] == {("loser", 1): "met"}


def test_an_undecided_rule_that_is_overridden_can_conclude_nothing() -> None:
    loser = rule("loser", mood("calm"), when={"kettle.lid": True})
    winner = rule("winner", when={"kettle.cups": 2}, overrides=["loser"])
    asked = {"tea.mood": "calm"}
    assert state(asked, {"kettle.cups": 1}, others=[loser, winner]) == "undecided"
    assert state(asked, {"kettle.cups": 2}, others=[loser, winner]) == "silent"
    assert run([loser, winner], {"kettle.cups": 2})["set_aside"] == {}


def test_a_stop_yields_only_to_a_rule_whose_unless_is_not_unknown() -> None:
    stop = rule("stop", STOP, mood("calm"), when={"kettle.lid": True})
    plain = rule("plain", {"set": {"tea.guest": "aunt"}})
    winner = rule("winner", unless={"kettle.type": "iron"}, overrides=["stop", "plain"])
    rules = [stop, plain, winner]
    unsure = run(rules, {"kettle.lid": True})
    assert unsure["set_aside"] == {"plain": {"winner"}}
    assert unsure["values"] == {"tea.mood": "calm"}
    sure = run(rules, {"kettle.lid": True, "kettle.type": "clay"})
    assert sure["set_aside"] == {"plain": {"winner"}, "stop": {"winner"}}
    assert sure["values"] == {}
    # Nor does it take from an undecided stop what the stop could still conclude.
    asked = {"tea.mood": "calm"}
    assert state(asked, {}, others=rules) == "undecided"
    assert state(asked, {"kettle.type": "clay"}, others=rules) == "silent"


def test_a_demand_is_met_broken_or_unproven() -> None:
    rules = [
        rule("must", NOTE, {"must": {"tea.heat": {"at_least": 80}}}),
        rule("must-not", {"must_not": {"tea.heat": {"at_least": 80}}}),
        rule("should", {"should": {"tea.herb": {"fact": "garden.herbs"}}}),
        rule("late", {"should_not": {"tea.heat": {"above": {"fact": "tea.limit"}}}}),
        rule("sets", {"set": {"tea.limit": 90}}, when={"kettle.lid": True}),
        rule("silent", {"must": {"tea.herb": "mint"}}, when={"kettle.lid": False}),
    ]
    hot = run(rules, {"tea.heat": 80, "tea.herb": "mint", "kettle.lid": True})
    assert hot["demands"] == {
        ("must", 1): "met",
        ("must-not", 0): "broken",
        ("should", 0): "unproven",
        ("late", 0): "met",
    }
    cold = run(rules, {"tea.heat": 79, "tea.herb": "mint", "garden.herbs": [], "kettle.lid": False})
    assert cold["demands"] == {
        ("must", 1): "broken",
        ("must-not", 0): "met",
        ("should", 0): "broken",
        ("late", 0): "unproven",  # no rule concludes the limit, and a demand is not told "no"
        ("silent", 0): "met",
    }
    assert run(rules)["demands"] == dict.fromkeys(
        [("must", 1), ("must-not", 0), ("should", 0), ("late", 0)], "unproven"
    )


# --- refusals -------------------------------------------------------------------------------------


def test_cycles_are_refused() -> None:
    for cycle in (
        [rule("a", mood("calm"), when={"tea.mood": {"known": False}})],
        [rule("a", overrides=["a"])],
        [rule("a", overrides=["b"]), rule("b", overrides=["a"])],
        [
            rule("a", mood("calm"), when={"kettle.lid": True}),
            rule("b", when={"tea.mood": "calm"}, overrides=["a"]),
        ],
        [
            rule("a", mood("calm"), when={"kettle.type": {"fact": "tea.guest"}}),
            rule("b", {"set": {"tea.guest": "aunt"}}, unless={"tea.mood": "calm"}),
        ],
    ):
        assert not is_acyclic(cycle)
        with pytest.raises(ValueError, match="cycle"):
            program(*cycle)


@pytest.mark.parametrize(
    "wrong",
    [
        rule("a", when={}),
        rule("a", when={"any": []}),
        rule("a", when={"kettle.type": []}),
        rule("a", when={"kettle.type": {}}),
        rule("a", when={"kettle.type": {"at_least": 2}}),
        rule("a", when={"garden.herbs": {"above": 2}}),
        rule("a", when={"kettle.water": "lots"}),
        rule("a", when={"kettle.lid": 1}),
        rule("a", when={"kettle.colour": "red"}),
        rule("a", when={"kettle.water": {"above": {"fact": "kettle.type"}}}),
        rule("a", when={"kettle.type": {"fact": "kettle.colour"}}),
        rule("a", {"set": {"kettle.type": "iron"}}),
        rule("a", {"must": {"tea.mood": "calm"}}),
    ],
)
def test_what_a_rule_cannot_say_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r".+"):
        program(wrong)


@pytest.mark.parametrize(
    "facts",
    [
        {"tea.mood": "calm"},
        {"kettle.colour": "red"},
        {"kettle.water": "two"},
        {"kettle.water": True},
        {"kettle.lid": "yes"},
        {"kettle.type": 3},
    ],
)
def test_facts_that_mean_nothing_are_refused(facts: dict[str, Any]) -> None:
    reads = {"kettle.water": 1, "kettle.lid": True, "kettle.type": "iron"}
    with pytest.raises(ValueError, match=r".+"):
        run([rule("a", when=reads)], facts)


# --- the same answer however it is written --------------------------------------------------------


def outcomes(base: Base, **more: Any) -> list[Outcome]:
    vocabulary, rules, setups = base
    compiled = program(*rules, vocabulary=vocabulary, **more)
    return [compiled.run(facts, stated) for facts, stated in setups]


@pytest.mark.parametrize("seed", range(25))
def test_neither_order_nor_width_changes_an_answer(seed: int) -> None:
    vocabulary, rules, setups = base = nasty(seed)
    expected = outcomes(base)
    mix = random.Random(seed)
    shuffled = dict(mix.sample(list(vocabulary.items()), len(vocabulary)))
    mixed = mix.sample(rules, len(rules))
    assert outcomes((shuffled, mixed, setups), width=1) == expected
    assert outcomes((vocabulary, rules[::-1], setups), width=3) == expected


def test_a_run_leaves_nothing_behind() -> None:
    vocabulary, rules, setups = synthetic(50, 3)
    compiled = program(*rules, vocabulary=vocabulary)
    forwards = [compiled.run(facts, stated) for facts, stated in setups]
    backwards = [compiled.run(facts, stated) for facts, stated in reversed(setups)]
    assert forwards == backwards[::-1]


# --- the makers of rule bases ---------------------------------------------------------------------


def test_the_makers_repeat_themselves() -> None:
    assert synthetic(60, 5) == synthetic(60, 5)
    assert synthetic(60, 5) != synthetic(60, 6)
    assert nasty(5) == nasty(5)
    assert nasty(5) != nasty(6)
    with pytest.raises(ValueError, match="at least one"):
        synthetic(0, 1)


def keys_of(part: Any) -> Iterator[str]:
    if isinstance(part, Mapping):
        for key, value in part.items():
            yield key
            yield from keys_of(value)
    elif isinstance(part, list):
        for one in part:
            yield from keys_of(one)


@pytest.mark.parametrize("n_rules", [1, 7, 50, 200, 1000])
def test_a_large_base_is_valid_and_as_large_as_asked(n_rules: int) -> None:
    vocabulary, rules, setups = synthetic(n_rules, 1)
    assert len({one["id"] for one in rules}) == len(rules) == n_rules
    assert is_acyclic(rules)
    assert set().union(*map(facts_read, rules)) <= vocabulary.keys()
    given = sum(declared["origin"] == "given" for declared in vocabulary.values())
    assert given == max(4, n_rules // 4)
    assert len(setups) == 40
    for facts, stated in setups:
        assert stated <= facts.keys() <= vocabulary.keys()
        assert not any(vocabulary[name]["origin"] == "concluded" for name in facts)


def test_a_large_base_is_mixed_as_promised() -> None:
    vocabulary, rules, setups = synthetic(1000, 1)
    share = Counter[str]()
    for one in rules:
        share.update(set(one) | set(keys_of(one)))
        assert 1 <= len(one["when"]) <= 4
    assert 150 < share["unless"] < 250
    assert 110 < share["overrides"] < 200
    assert 250 < share["set"] < 350
    for word in ("any", "not", "fact", "must", "should", "caution", "at_least"):
        assert share[word] > 20, word
    given = [name for name, declared in vocabulary.items() if declared["origin"] == "given"]
    missing = sum(name not in facts for facts, _ in setups for name in given)
    assert 0.18 < missing / (len(given) * len(setups)) < 0.22


def test_nasty_bases_are_small_valid_and_reach_every_corner() -> None:
    seen = Counter[str]()
    for seed in range(150):
        vocabulary, rules, setups = nasty(seed)
        assert 3 <= len(rules) <= 14
        assert 6 <= len(vocabulary) <= 10
        assert is_acyclic(rules)
        assert len(setups) == 12
        seen.update(set(keys_of(rules)))
        for facts, stated in setups:
            assert stated <= facts.keys()
    for word in ("known", "stated", "fact", "any", "all", "not", "unless", "overrides", "level"):
        assert seen[word] > 20, word
    plain, _, _ = zip(*(nasty(seed, several_concluded=False) for seed in range(150)), strict=True)
    assert not any(
        declared.get("several") and declared["origin"] == "concluded"
        for vocabulary in plain
        for declared in vocabulary.values()
    )


def test_nasty_runs_reach_every_outcome() -> None:
    seen = Counter[str]()
    for seed in range(60):
        for outcome in outcomes(nasty(seed)):
            seen.update(outcome["states"].values())
            seen.update(outcome["demands"].values())
            seen["tie"] += len(outcome["ties"])
            seen["value"] += len(outcome["values"])
            seen["set aside"] += len(outcome["set_aside"])
    expected = {"fired", "silent", "undecided", "met", "broken", "unproven", "tie", "value"}
    assert all(seen[what] > 50 for what in [*expected, "set aside"]), seen
