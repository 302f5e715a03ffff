"""The reference evaluator against answers worked out by hand: a kettle and a garden."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import permutations
from typing import Any

import pytest

from tests.reference.evaluator import Choice, CycleError, Result, choose, evaluate


def declare(kind: str, origin: str, **more: Any) -> dict[str, Any]:
    return {"kind": kind, "origin": origin, **more}


KETTLE: dict[str, dict[str, Any]] = {
    "water.level": declare("quantity", "given"),
    "water.kind": declare("choice", "given", choices=["tap", "spring", "rain"]),
    "kettle.plugged": declare("flag", "given"),
    "kettle.marks": declare("quantity", "given"),
    "kitchen.users": declare("choice", "given", several=True, choices=["ann", "bo", "cy"]),
    "kitchen.awake": declare("choice", "given", several=True, choices=["ann", "bo", "cy"]),
    "kettle.size": declare("quantity", "option"),
    "boil.minutes": declare("quantity", "computed"),
    "tea.kind": declare("choice", "concluded", choices=["black", "green", "white"]),
    "tea.strength": declare("choice", "concluded", choices=["weak", "strong"]),
    "cup.count": declare("count", "concluded"),
    "tea.drinkers": declare("choice", "concluded", several=True, choices=["ann", "bo", "cy"]),
}

STOP = {"caution": {"level": "stop", "text": "Do not switch on."}}


def rule(name: str, *then: Mapping[str, Any], layer: int = 0, **more: Any) -> dict[str, Any]:
    return {"id": name, "layer": layer, "then": list(then), **more}


def sets(fact: str, value: Any) -> dict[str, Any]:
    return {"set": {fact: value}}


def kettle(*rules: Mapping[str, Any], **facts: Any) -> Result:
    """Run kettle rules; facts are written with `__` for the dot, and are all stated."""
    named = {name.replace("__", "."): value for name, value in facts.items()}
    return evaluate(KETTLE, rules, named, set(named))


def state(when: Mapping[str, Any], **facts: Any) -> str:
    return kettle(
        rule("r", {"caution": {"level": "note", "text": "."}}, when=when), **facts
    ).states["r"]


# --- conditions --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "expected"),
    [
        # water.level is 2, water.kind is spring, users ann and bo; plugged is not known
        ({"water.level": 2}, "fired"),
        ({"water.level": {"at_least": 2, "at_most": 2}}, "fired"),
        ({"water.level": {"above": 2}}, "silent"),
        ({"water.level": {"below": 2}}, "silent"),
        ({"water.level": [{"above": 5}, 2]}, "fired"),
        ({"water.kind": ["tap", "rain"]}, "silent"),
        ({"water.kind": "spring", "kettle.plugged": True}, "undecided"),
        ({"water.kind": "tap", "kettle.plugged": True}, "silent"),
        ({"any": [{"water.kind": "spring"}, {"kettle.plugged": True}]}, "fired"),
        ({"any": [{"water.kind": "tap"}, {"kettle.plugged": True}]}, "undecided"),
        ({"all": [{"water.kind": "tap"}, {"kettle.plugged": True}]}, "silent"),
        ({"not": {"kettle.plugged": True}}, "undecided"),
        ({"not": {"water.kind": "tap"}}, "fired"),
        # part by part: that true and false exhaust a flag is not seen
        ({"kettle.plugged": [True, False]}, "undecided"),
        ({"kettle.plugged": {"known": False}}, "fired"),
        ({"kettle.plugged": [{"known": False}, True]}, "fired"),
        ({"kettle.plugged": {"stated": True}}, "silent"),
        ({"water.level": {"stated": True, "known": True, "above": 1}}, "fired"),
        ({"water.level": {"at_least": {"fact": "kettle.marks"}}}, "undecided"),
        # several values
        ({"kitchen.users": ["bo", "cy"]}, "fired"),
        ({"kitchen.users": "cy"}, "silent"),
        ({"kitchen.users": {"fact": "kitchen.awake"}}, "fired"),
        ({"not": {"kitchen.users": "ann"}}, "silent"),
    ],
)
def test_condition(when: dict[str, Any], expected: str) -> None:
    got = state(
        when,
        water__level=2,
        water__kind="spring",
        kitchen__users=["ann", "bo"],
        kitchen__awake=["bo", "cy"],
    )
    assert got == expected


def test_a_several_fact_sharing_no_value_and_an_empty_one() -> None:
    when = {"kitchen.users": {"fact": "kitchen.awake"}}
    assert state(when, kitchen__users=["ann"], kitchen__awake=["bo"]) == "silent"
    assert state(when, kitchen__users=[], kitchen__awake=["bo"]) == "silent"
    assert state({"kitchen.users": {"known": True}}, kitchen__users=[]) == "fired"


def test_numbers_are_compared_at_nine_digits() -> None:
    assert state({"water.level": 0.3}, water__level=0.1 + 0.2) == "fired"
    assert state({"water.level": {"at_most": 1.00000000049}}, water__level=1) == "fired"
    assert state({"water.level": {"above": 1}}, water__level=1.0000000004) == "silent"
    assert state({"water.level": {"above": 1}}, water__level=1.00000001) == "fired"


def test_a_flag_is_no_number_and_what_is_not_finite_is_unknown() -> None:
    assert state({"kettle.plugged": 1}, kettle__plugged=True) == "silent"
    assert state({"boil.minutes": {"above": 1}}, boil__minutes=float("inf")) == "undecided"
    assert state({"boil.minutes": {"above": 1}}, boil__minutes=float("nan")) == "undecided"


def test_an_option_with_a_value_counts_as_stated_and_an_assumed_fact_does_not() -> None:
    facts = {"kettle.size": 1.5, "water.kind": "tap"}
    note = {"caution": {"level": "note", "text": "."}}
    rules = [
        rule("size", note, when={"kettle.size": {"stated": True}}),
        rule("kind", note, when={"water.kind": {"stated": True}}),
    ]
    assert evaluate(KETTLE, rules, facts, set()).states == {"size": "fired", "kind": "silent"}


@pytest.mark.parametrize(
    ("when", "says"),
    [
        ({}, "something in it"),
        ({"water.level": []}, "empty"),
        ({"water.level": {}}, "empty"),
        ({"any": []}, "something in it"),
        ({"not": {}}, "something in it"),
        ({"water.level": {"around": 2}}, "no test"),
        ({"water.level": {"known": "yes"}}, "true or false"),
        ({"water.level": {"at_least": {"value": 2}}}, "constant or"),
        ({"water.kind": {"at_least": 2}}, "needs a number"),
        ({"kitchen.users": {"at_least": 2}}, "several values"),
        ({"water.level": {"at_least": {"fact": "kitchen.users"}}}, "several values"),
        ({"water.colour": "brown"}, "not in the vocabulary"),
    ],
)
def test_a_condition_that_means_nothing_is_refused(when: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        state(when, water__kind="tap", kitchen__users=["ann"])


def test_lacks_names_only_unknown_parts_under_unknown_parts() -> None:
    when = {
        "water.level": {"at_least": {"fact": "kettle.marks"}},  # marks unknown
        "any": [
            {"water.kind": "rain", "kettle.plugged": True},  # no: kind is tap
            {"boil.minutes": {"below": 4}},  # unknown
        ],
        "all": [{"any": [{"water.kind": "tap"}, {"kettle.size": 1}]}],  # yes: not descended into
    }
    result = kettle(
        rule("r", sets("tea.kind", "black"), when=when), water__kind="tap", water__level=1
    )
    assert result.states == {"r": "undecided"}
    assert result.lacks == {"r": ["boil.minutes", "kettle.marks"]}
    assert result.open == {"tea.kind"}


# --- unless, and the states -------------------------------------------------------------


def test_unless() -> None:
    when, unless = {"water.kind": "tap"}, {"kettle.plugged": False}
    made = rule("r", sets("cup.count", 2), when=when, unless=unless)

    fired = kettle(made, water__kind="tap", kettle__plugged=True)
    assert (fired.states, fired.unless_unknown) == ({"r": "fired"}, {})
    assert fired.values == {"cup.count": 2}

    excepted = kettle(made, water__kind="tap", kettle__plugged=False)
    assert (excepted.states, excepted.values, excepted.open) == ({"r": "silent"}, {}, set())

    unknown = kettle(made, water__kind="tap")
    assert (unknown.states, unknown.unless_unknown) == (
        {"r": "fired"},
        {"r": ["kettle.plugged"]},
    )
    assert unknown.standing == {"r"}

    assert kettle(made, kettle__plugged=False).states == {"r": "silent"}
    assert kettle(made).states == {"r": "undecided"}
    assert kettle(made).lacks == {"r": ["water.kind"]}  # `when` only


# --- concluded facts ---------------------------------------------------------------------

GREEN = rule("green", sets("tea.kind", "green"), when={"water.kind": "spring"})


def test_a_concluded_fact_is_no_once_closed_and_unknown_while_open() -> None:
    reads = rule("reads", sets("cup.count", 1), when={"tea.kind": "green"})
    negates = rule("negates", sets("cup.count", 2), when={"not": {"tea.kind": "green"}})
    knows = rule("knows", sets("tea.strength", "weak"), when={"tea.kind": {"known": False}})

    closed = kettle(GREEN, reads, negates, knows, water__kind="tap")
    assert closed.states == {
        "green": "silent",
        "reads": "silent",
        "negates": "fired",
        "knows": "fired",
    }
    assert closed.open == set()
    assert closed.values == {"cup.count": 2, "tea.strength": "weak"}

    still_open = kettle(GREEN, reads, negates, knows)
    assert still_open.states == {
        "green": "undecided",
        "reads": "undecided",
        "negates": "undecided",
        "knows": "fired",
    }
    assert still_open.lacks["negates"] == ["tea.kind"]
    assert still_open.open == {"tea.kind", "cup.count"}


def test_closed_on_the_right_is_no_whatever_the_left() -> None:
    three = rule("three", sets("cup.count", 3), when={"water.kind": "rain"})
    reads = rule("reads", sets("tea.kind", "black"), when={"water.level": {"fact": "cup.count"}})
    parts = rule(
        "parts",
        sets("tea.strength", "weak"),
        when={"water.level": [{"fact": "cup.count"}, {"above": 1}]},
    )
    closed = kettle(three, reads, parts, water__kind="tap")
    assert closed.states["reads"] == "silent"
    assert closed.states["parts"] == "undecided"
    assert closed.lacks["parts"] == ["water.level"]
    assert kettle(three, reads, parts).lacks["reads"] == ["cup.count", "water.level"]


def test_a_tie_is_unknown_and_names_its_rules() -> None:
    black = rule("black", sets("tea.kind", "black"))
    white = rule("white", sets("tea.kind", "white"))
    reads = rule("reads", sets("cup.count", 1), when={"tea.kind": ["black", "white"]})
    knows = rule("knows", sets("tea.strength", "weak"), when={"tea.kind": {"known": True}})
    result = kettle(white, black, reads, knows)
    assert result.ties == {"tea.kind": ["black", "white"]}
    assert result.open == {"tea.kind", "cup.count"}
    assert result.lacks == {"reads": ["tea.kind"]}
    assert result.states["knows"] == "silent"
    assert result.values == {}


def test_several_values_set_are_equal_as_sets() -> None:
    one = rule("one", sets("tea.drinkers", ["bo", "ann"]))
    two = rule("two", sets("tea.drinkers", ["ann", "bo"]))
    three = rule("three", sets("tea.drinkers", ["ann"]))
    assert kettle(one, two).values == {"tea.drinkers": ["ann", "bo"]}
    assert kettle(one, three).ties == {"tea.drinkers": ["one", "three"]}


def test_a_value_that_an_undecided_rule_could_still_tie() -> None:
    black = rule("black", sets("tea.kind", "black"))
    result = kettle(black, GREEN)
    assert result.values == {"tea.kind": "black"}
    assert result.value_stands_unless == {"tea.kind": ["water.kind"]}
    also_black = rule("also", sets("tea.kind", "black"), when={"kettle.plugged": True})
    assert kettle(black, also_black).value_stands_unless == {}


# --- defeat -------------------------------------------------------------------------------


def test_a_defeated_rule_loses_everything_and_sets_nothing_aside() -> None:
    a = rule("a", sets("tea.kind", "black"), sets("cup.count", 4))
    b = rule("b", sets("tea.kind", "green"), overrides=["a", "gone"])
    c = rule("c", sets("tea.strength", "weak"), overrides=["b"])
    two = kettle(a, b)
    assert (two.set_aside, two.standing) == ({"a": ["b"]}, {"b"})
    assert two.values == {"tea.kind": "green"}
    three = kettle(a, b, c)
    assert (three.set_aside, three.standing) == ({"b": ["c"]}, {"a", "c"})
    assert three.values == {"tea.kind": "black", "cup.count": 4, "tea.strength": "weak"}


def test_a_rule_stands_though_an_undecided_rule_overrides_it() -> None:
    a = rule("a", sets("tea.kind", "black"))
    b = rule("b", sets("cup.count", 1), when={"kettle.plugged": True}, overrides=["a"])
    result = kettle(a, b)
    assert result.standing == {"a"}
    assert result.stands_unless == {"a": ["kettle.plugged"]}
    assert result.live_undecided == {"b"}
    assert kettle(a, b, kettle__plugged=False).stands_unless == {}


def test_an_undecided_rule_that_is_overridden_concludes_and_asks_nothing() -> None:
    a = rule("a", sets("tea.strength", "weak"))
    b = rule("b", sets("tea.kind", "green"), when={"water.kind": "tap"}, overrides=["a"])
    c = rule("c", sets("cup.count", 1), overrides=["b"])
    reads = rule("reads", sets("tea.drinkers", ["bo"]), when={"tea.kind": "green"})
    result = kettle(a, b, c, reads)
    assert result.states["b"] == "undecided"
    assert result.live_undecided == set()
    assert result.stands_unless == {}
    assert result.open == set()
    assert result.states["reads"] == "silent"
    assert result.set_aside == {}


def test_a_stop_yields_only_to_a_rule_whose_unless_is_known() -> None:
    stop = rule("stop", STOP, sets("tea.kind", "white"))
    note = rule("note", sets("tea.strength", "weak"))
    pardon = rule(
        "pardon",
        sets("cup.count", 1),
        unless={"kettle.plugged": True},
        overrides=["stop", "note"],
    )
    unknown = kettle(stop, note, pardon)
    assert unknown.standing == {"stop", "pardon"}
    assert unknown.stands_unless == {"stop": ["kettle.plugged"]}
    assert unknown.set_aside == {"note": ["pardon"]}
    assert kettle(stop, note, pardon, kettle__plugged=False).set_aside == {
        "note": ["pardon"],
        "stop": ["pardon"],
    }
    assert kettle(stop, note, pardon, kettle__plugged=True).standing == {"stop", "note"}


def test_an_undecided_stop_is_guarded_too() -> None:
    stop = rule("stop", STOP, when={"water.kind": "rain"})
    pardon = rule(
        "pardon", sets("cup.count", 1), unless={"kettle.plugged": True}, overrides=["stop"]
    )
    assert kettle(stop, pardon).live_undecided == {"stop"}
    assert kettle(stop, pardon, kettle__plugged=False).live_undecided == set()


# --- demands ------------------------------------------------------------------------------


def test_demands_are_judged_on_final_values() -> None:
    demands = rule(
        "d",
        {"must": {"kettle.size": {"at_least": 1}}},
        {"must": {"kettle.size": {"above": {"fact": "cup.count"}}}},
        {"must": {"kettle.size": [{"fact": "cup.count"}, 2]}},
        {"must_not": {"kettle.size": 2}},
        {"should_not": {"water.level": 2}},
        {"should": {"kettle.size": {"at_most": 1}}},
    )
    result = kettle(demands, kettle__size=2)
    assert result.demands == {
        ("d", 0): "met",
        ("d", 1): "unproven",  # nothing sets cup.count: unproven, not broken
        ("d", 2): "met",  # one part of the any is yes
        ("d", 3): "broken",
        ("d", 4): "unproven",
        ("d", 5): "broken",
    }


def test_a_rule_may_demand_what_it_sets_and_only_standing_rules_demand() -> None:
    own = rule("own", sets("cup.count", 2), {"must": {"kettle.size": {"fact": "cup.count"}}})
    assert kettle(own, kettle__size=2).demands == {("own", 1): "met"}
    over = rule("over", sets("tea.kind", "black"), overrides=["own"])
    assert kettle(own, over, kettle__size=2).demands == {}


def test_refused_rules_and_facts() -> None:
    with pytest.raises(ValueError, match="twice"):
        kettle(GREEN, GREEN)
    with pytest.raises(ValueError, match="not a concluded fact"):
        kettle(rule("r", sets("water.kind", "tap")))
    with pytest.raises(ValueError, match="a concluded fact"):
        kettle(rule("r", {"must": {"tea.kind": "black"}}))
    with pytest.raises(ValueError, match="cannot be given"):
        kettle(GREEN, tea__kind="black")


# --- order --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "rules",
    [
        # a rule reads what it sets
        [rule("a", sets("tea.kind", "black"), when={"not": {"tea.kind": "green"}})],
        # two facts wait for each other
        [
            rule("a", sets("tea.kind", "black"), when={"tea.strength": "weak"}),
            rule("b", sets("tea.strength", "weak"), unless={"tea.kind": "green"}),
        ],
        # two rules override each other
        [
            rule("a", sets("tea.kind", "black"), overrides=["b"]),
            rule("b", sets("tea.kind", "green"), overrides=["a"]),
        ],
        # a rule overrides itself
        [rule("a", sets("tea.kind", "black"), overrides=["a"])],
        # a rule reads the fact of a rule it overrides
        [
            rule("a", sets("tea.kind", "black")),
            rule("b", sets("cup.count", 1), when={"tea.kind": "black"}, overrides=["a"]),
        ],
        # the same through `known` and through the other side of a test
        [
            rule("a", sets("cup.count", 1)),
            rule("b", sets("tea.kind", "black"), when={"cup.count": {"known": True}}),
            rule(
                "c",
                sets("tea.strength", "weak"),
                when={"water.kind": {"fact": "tea.kind"}},
                overrides=["a"],
            ),
        ],
    ],
)
def test_cycles_are_refused_and_spelled_out(rules: list[dict[str, Any]]) -> None:
    with pytest.raises(CycleError) as caught:
        kettle(*rules)
    assert caught.value.path[0] == caught.value.path[-1]
    assert len(caught.value.path) > 1
    assert caught.value.path[0][1] in str(caught.value)


def test_the_order_of_the_rules_changes_nothing() -> None:
    rules = [
        rule("a", sets("tea.kind", "black"), overrides=["d"]),
        rule("b", sets("tea.kind", "green"), when={"water.kind": "tap"}),
        rule("c", sets("cup.count", 1), when={"kettle.plugged": True}, overrides=["b"]),
        rule("d", sets("tea.strength", "weak"), STOP),
    ]
    results = [kettle(*some) for some in permutations(rules)]
    assert all(result == results[0] for result in results)
    assert results[0].stands_unless == {}  # b, which c could override, does not stand itself
    assert results[0].value_stands_unless == {"tea.kind": ["water.kind"]}
    assert results[0].live_undecided == {"b", "c"}
    assert results[0].set_aside == {"d": ["a"]}


# --- choosing: what to plant ----------------------------------------------------------------

GARDEN: dict[str, dict[str, Any]] = {
    "soil.kind": declare("choice", "given", choices=["clay", "sand"]),
    "frost.nights": declare("count", "given"),
    "plant.height": declare("quantity", "option"),
    "plant.spread": declare("quantity", "option"),
    "plant.colour": declare("choice", "option", choices=["red", "white", "blue"]),
    "plant.thirst": declare("quantity", "computed", within=1),
    "plant.price": declare("quantity", "computed"),
    "bed.shade": declare("choice", "concluded", choices=["full", "half"]),
}


def plants(*rows: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Write `height` for `plant.height`."""
    return [{f"plant.{name}": value for name, value in row.items()} for row in rows]


def garden(
    rules: Sequence[Mapping[str, Any]],
    builds: Sequence[Mapping[str, Any]],
    favours: Sequence[str] = (),
    facts: Mapping[str, Any] | None = None,
    needs: Mapping[str, Sequence[str]] | None = None,
) -> Choice:
    facts = facts or {}
    return choose(GARDEN, rules, facts, set(facts), builds, favours, needs=needs)


LOW = rule("low", {"must": {"plant.height": {"at_most": 50}}})
RED = rule("red", {"should": {"plant.colour": "red"}})


def test_status() -> None:
    tall, short = plants({"height": 60}, {"height": 40})
    assert garden([LOW], [tall, short]).status == "advised"
    assert garden([LOW], [short]).status == "judged"
    assert garden([LOW], [tall]).status == "rejected"
    stop_tall = rule("halt", STOP, when={"plant.height": {"above": 50}})
    stop_short = rule("wait", STOP, when={"plant.height": {"at_most": 50}})
    assert garden([stop_tall], [tall, short]).status == "advised"
    assert garden([stop_tall, LOW], [tall]).status == "stopped"
    both = garden([stop_tall, stop_short], [tall, short])
    assert both.status == "stopped"
    assert both.conflicts == [["halt", "wait"]]
    with pytest.raises(ValueError, match="no build"):
        garden([LOW], [])


def test_survivors_are_ranked_by_unproven_then_shoulds() -> None:
    wide = rule("wide", {"should": {"plant.spread": {"at_least": 30}}})
    wider = rule("wider", {"should": {"plant.spread": {"at_least": 40}}})
    builds = plants(
        {"height": None, "colour": "red", "spread": 50},  # 0: unproven, all shoulds met
        {"height": 40, "colour": "blue", "spread": 50},  # 1: fails colour
        {"height": 40, "colour": "red", "spread": 20},  # 2: fails spread, once
        {"height": 60, "colour": "red", "spread": 50},  # 3: breaks `low`
        {"height": 45, "colour": "blue", "spread": 20},  # 4: fails both
    )
    choice = garden([LOW, RED, wide, wider], builds)
    assert choice.groups == [[1, 2], [4], [0]]
    assert (choice.build, choice.equals, choice.nearest) == (1, [2], None)
    assert [build.unproven for build in choice.builds] == [1, 0, 0, 0, 0]
    assert choice.builds[2].should_failures == {(0, "plant.spread")}
    assert choice.builds[3].broken == [("low", 0)]
    assert [build.survives for build in choice.builds] == [True, True, True, False, True]
    assert choice.conflicts == []


def test_the_house_layer_goes_first() -> None:
    base = [
        rule("b1", {"should": {"plant.colour": "red"}}),
        rule("b2", {"should": {"plant.spread": 10}}),
    ]
    house = rule("h", {"should_not": {"plant.height": 40}}, layer=1)
    builds = plants(
        {"height": 40, "colour": "red", "spread": 10},
        {"height": 41, "colour": "blue"},  # spread not told: a should unproven is not met
    )
    choice = garden([*base, house], builds)
    assert choice.groups == [[1], [0]]
    assert choice.builds[0].should_failures == {(1, "plant.height")}
    assert choice.builds[1].should_failures == {(0, "plant.colour"), (0, "plant.spread")}


def favour(name: str, fact: str, which: str, **more: Any) -> dict[str, Any]:
    return rule(name, {"favour": {fact: which}}, **more)


def test_favours_keep_what_is_within_and_rank_the_rest_in_the_same_way() -> None:
    dry = favour("dry", "plant.thirst", "lowest")  # within 1
    cheap = favour("cheap", "plant.price", "lowest")  # within 0
    builds = plants(
        {"thirst": 5.0, "price": 3},  # rest of 2.0: best there
        {"thirst": 2.9, "price": 4},  # kept
        {"thirst": 2.0, "price": 6},  # the best, kept
        {"thirst": 6.0, "price": 2},  # with build 0, cheaper
        {"thirst": 3.0, "price": 4},  # kept: exactly within
        {"price": 1},  # unknown: behind all that are known
    )
    choice = garden([dry, cheap], builds, ["dry", "cheap"])
    assert choice.groups == [[1, 4], [2], [3], [0], [5]]
    assert (choice.build, choice.equals) == (1, [4])
    assert garden([dry, cheap], builds, ["cheap", "dry"]).groups == [
        [5],
        [3],
        [0],
        [1, 4],
        [2],
    ]


def test_favours_highest_unknown_for_all_rounded_differences_and_silent_rules() -> None:
    high = favour("high", "plant.price", "highest")
    dry = favour("dry", "plant.thirst", "lowest")
    builds = plants({"price": 1}, {"price": 2})
    assert garden([high, dry], builds, ["dry", "high"]).groups == [[1], [0]]
    # 1.3 - 0.3 is 1 only when rounded
    close = plants({"thirst": 1.3}, {"thirst": 0.3})
    assert garden([dry], close, ["dry"]).groups == [[0, 1]]
    sandy = favour("high", "plant.price", "highest", when={"soil.kind": "sand"})
    assert garden([sandy], builds, ["high", "gone"], {"soil.kind": "clay"}).groups == [[0, 1]]
    with pytest.raises(ValueError, match="not among the favours"):
        garden([high], builds)


def test_nearest_is_the_best_ranked_of_those_with_fewest_faults() -> None:
    halt = rule("halt", STOP, when={"plant.colour": "blue"})
    narrow = rule("narrow", {"must_not": {"plant.spread": {"above": 30}}})
    builds = plants(
        {"height": 60, "spread": 40, "colour": "red"},  # breaks two
        {"height": 60, "spread": 20, "colour": "white"},  # breaks one, misses the should
        {"height": 40, "spread": 40, "colour": "red"},  # breaks one, meets the should
        {"height": 60, "spread": 20, "colour": "blue"},  # one and a stop
    )
    choice = garden([LOW, narrow, halt, RED], builds)
    assert (choice.status, choice.nearest, choice.build) == ("rejected", 2, None)
    assert choice.groups == []
    assert choice.builds[3].stops == ["halt"]
    # 0: low, narrow; 1: low; 2: narrow; 3: low, halt. Only low with narrow covers 1 and 2.
    assert choice.conflicts == [["low", "narrow"]]


def test_conflict_sets_are_the_least_ones_smallest_first() -> None:
    def bad(name: str, *heights: int) -> dict[str, Any]:
        return rule(name, {"must_not": {"plant.height": list(heights)}})

    rules = [bad("d", 1, 2, 3), bad("c", 1), bad("b", 2, 3), bad("a", 3), bad("e", 1, 2)]
    choice = garden(rules, plants({"height": 1}, {"height": 2}, {"height": 3}))
    # 1: c d e   2: b d e   3: a b d
    assert choice.conflicts == [["d"], ["a", "e"], ["b", "c"], ["b", "e"]]
    assert not choice.more_conflicts


def test_at_most_twenty_conflict_sets_are_given() -> None:
    rules = [
        rule(f"r{height}{letter}", {"must_not": {"plant.height": height}})
        for height in (1, 2)
        for letter in "abcde"
    ]
    choice = garden(rules, plants({"height": 1}, {"height": 2}))
    assert len(choice.conflicts) == 20  # of five times five
    assert choice.conflicts[0] == ["r1a", "r2a"]
    assert choice.more_conflicts
    fewer = [one for one in rules if one["id"] != "r2e"]
    again = garden(fewer, plants({"height": 1}, {"height": 2}))
    assert (len(again.conflicts), again.more_conflicts) == (20, False)


def test_should_ties_need_each_met_and_none_both() -> None:
    white = rule("white", {"should": {"plant.colour": ["white"]}})
    blue = rule("blue", {"should": {"plant.colour": "blue"}})
    not_white = rule("not-white", {"should_not": {"plant.colour": "white"}})
    house = rule("house", {"should": {"plant.colour": "white"}}, layer=1)
    builds = plants({"colour": "red"}, {"colour": "white"})
    # nobody offers blue; red meets `red` and `not-white`
    choice = garden([RED, white, blue, not_white, house], builds)
    assert choice.should_ties == [(("not-white", 0), ("white", 0)), (("red", 0), ("white", 0))]
    assert garden([RED, house], builds).should_ties == []
    # a candidate that breaks a must is a candidate still
    three = [*plants({"colour": "blue", "height": 90}), *builds]
    tied = garden([LOW, RED, blue], three)
    assert tied.should_ties == [(("blue", 0), ("red", 0))]
    # only the shoulds that stand on the chosen build
    when_red = rule("w", {"should": {"plant.colour": "blue"}}, when={"plant.colour": "red"})
    red_first = plants({"colour": "red"}, {"colour": "blue"})
    seen_from_red = garden([RED, when_red], red_first)
    assert (seen_from_red.build, seen_from_red.should_ties) == (0, [(("red", 0), ("w", 0))])
    seen_from_blue = garden([RED, when_red], red_first[::-1])
    assert (seen_from_blue.build, seen_from_blue.should_ties) == (0, [])
    one_only = plants({"colour": "red"}, {"colour": "red"})
    assert garden([RED, white], one_only).should_ties == []


def test_should_ties_are_on_options_that_vary() -> None:
    equal = rule("equal", {"should": {"plant.spread": {"fact": "plant.height"}}})
    unequal = rule("unequal", {"should_not": {"plant.spread": {"fact": "plant.height"}}})
    varying = plants({"spread": 10, "height": 10}, {"spread": 20, "height": 10})
    pair = (("equal", 0), ("unequal", 0))
    assert garden([equal, unequal], varying).should_ties == [pair]
    fixed = plants({"spread": 10, "height": 10}, {"spread": 10, "height": 20})
    assert garden([equal, unequal], fixed).should_ties == []
    dear = rule("dear", {"should": {"plant.price": 2}})
    cheap = rule("cheap", {"should": {"plant.price": 1}})
    assert garden([dear, cheap], plants({"price": 1}, {"price": 2})).should_ties == []


def test_a_favour_counts_if_its_rule_stands_on_every_build() -> None:
    reads = favour("reads", "plant.price", "highest", when={"plant.colour": "red"})
    builds = plants({"price": 1, "colour": "blue"}, {"price": 2, "colour": "red"})
    assert garden([reads], builds, ["reads"]).groups == [[0, 1]]
    builds[0]["plant.colour"] = "red"
    assert garden([reads], builds, ["reads"]).groups == [[1], [0]]


def test_a_must_undecided_only_for_want_of_an_option_counts_as_unproven() -> None:
    narrow = {"must": {"plant.spread": {"at_most": 30}}}
    tall = rule("tall", narrow, STOP, when={"plant.height": {"above": 50}})
    builds = plants({"spread": 40}, {"spread": 20}, {"height": 40, "spread": 40})
    choice = garden([tall], builds)
    # not met: must and stop; met: the stop only; silent: nothing
    assert [build.unproven for build in choice.builds] == [2, 1, 0]
    assert choice.builds[0].unproven_items == [("tall", 0), ("tall", 1)]
    assert choice.groups == [[2], [1], [0]]

    given_too = rule("tall", narrow, when={"plant.height": {"above": 50}, "frost.nights": 3})
    assert [build.unproven for build in garden([given_too], builds).builds] == [0, 0, 0]


def test_the_want_is_followed_down() -> None:
    must = {"must": {"plant.spread": {"at_most": 30}}}
    by_thirst = rule("by-thirst", must, when={"plant.thirst": {"above": 2}})
    builds = plants({"spread": 40})
    needs_option = {"plant.thirst": ["plant.height", "plant.spread"]}
    needs_given = {"plant.thirst": ["plant.height", "frost.nights"]}
    needs_known = {"plant.thirst": ["plant.spread"]}

    def unproven(rules: Sequence[Mapping[str, Any]], needs: Any, **facts: Any) -> int:
        named = {name.replace("__", "."): value for name, value in facts.items()}
        return garden(rules, builds, facts=named, needs=needs).builds[0].unproven

    assert unproven([by_thirst], needs_option) == 1
    assert unproven([by_thirst], needs_given) == 0
    assert unproven([by_thirst], needs_given, frost__nights=1) == 1
    assert unproven([by_thirst], needs_known) == 0
    assert unproven([by_thirst], None) == 0

    by_shade = rule("by-shade", must, when={"bed.shade": "full"})
    tall = rule("tall", sets("bed.shade", "full"), when={"plant.height": {"above": 50}})
    frost = rule("frost", sets("bed.shade", "half"), when={"frost.nights": {"above": 5}})
    assert unproven([by_shade, tall], None) == 1
    assert unproven([by_shade, tall, frost], None) == 0
    assert unproven([by_shade, tall, frost], None, frost__nights=1) == 1
    calm = rule("calm", STOP, overrides=["tall"])
    assert unproven([by_shade, tall, calm], None) == 0  # shade is closed
    tie = [rule("t1", sets("bed.shade", "full")), rule("t2", sets("bed.shade", "half"))]
    assert unproven([by_shade, tall, *tie], None) == 0


def test_a_given_fact_chosen_in_a_run_is_an_option_of_that_run() -> None:
    clay = rule("clay", {"must": {"frost.nights": 0}}, when={"soil.kind": "clay"})
    stated = rule("stated", STOP, when={"soil.kind": {"stated": True}})
    builds: list[dict[str, Any]] = [{"soil.kind": "sand"}, {"soil.kind": None}]
    choice = garden([clay, stated], builds, facts={"frost.nights": 3})
    assert [build.unproven for build in choice.builds] == [0, 1]
    assert [build.stops for build in choice.builds] == [["stated"], []]
    assert choice.build == 1


def test_where_a_build_does_not_tell_the_setup_holds() -> None:
    choice = garden([LOW], plants({"height": None}, {"height": 90}), facts={"plant.height": 40})
    assert [build.survives for build in choice.builds] == [True, False]
    assert [build.unproven for build in choice.builds] == [0, 0]
