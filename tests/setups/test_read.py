"""Setups: what is stated, read as it was meant, or refused in the words beside the file."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from advisor.documents import read_document
from advisor.errors import Collector, Faults
from advisor.judge import Judgement
from advisor.rulebase.model import RuleBase
from advisor.setups.model import Given, Setup
from advisor.setups.read import read_setup, walk_setup
from advisor.vocabulary import Vocabulary
from tests.setups.toy import TOY

REFUSED = Path(__file__).parents[1] / "refused" / "setups"
LESSONS = sorted(REFUSED.glob("*.yaml"))


def refusal(path: str | None, words: Vocabulary, *sets: str) -> str:
    with pytest.raises(Faults) as raised:
        read_setup(path, sets, words)
    assert raised.value.exit_status == 2
    return raised.value.text("nothing was advised")


def told(text: str, words: Vocabulary = TOY, *sets: str) -> list[str]:
    """Return the faults of a setup given as text."""
    with pytest.raises(Faults) as raised:
        read_setup("x", sets, words, text=text)
    return [f"{f.place} {f.what} | {f.help}" for f in raised.value.faults]


def read(text: str, words: Vocabulary = TOY) -> Setup:
    return read_setup("x", [], words, text=text)


def values(setup: Setup) -> dict[str, object]:
    return {name: given.value for name, given in setup.facts.items()}


# Refused, with the exact report.


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda file: file.stem)
def test_a_refused_setup_gets_exactly_its_report(
    lesson: Path, words: Vocabulary, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(REFUSED)
    assert refusal(lesson.name, words) + "\n" == lesson.with_suffix(".txt").read_text("utf-8")


def test_every_report_has_its_setup() -> None:
    assert {f.stem for f in LESSONS} == {f.stem for f in REFUSED.glob("*.txt")}
    assert len(LESSONS) >= 30


def test_a_folder_a_missing_file_and_a_closed_one_are_told(
    words: Vocabulary, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "orders").mkdir()
    (tmp_path / "orders" / "elk.yaml").write_text("point: {type: blunt}\n")
    assert refusal("orders", words) == (
        "orders  this is a folder, not a file\n"
        "        name a file in it: elk.yaml\n"
        "1 fault; nothing was advised"
    )
    assert refusal("orders/elks.yaml", words) == (
        "orders/elks.yaml  there is no such file\n"
        "                  did you mean elk.yaml?\n"
        "1 fault; nothing was advised"
    )
    for folder in (tmp_path, *tmp_path.parents[:2]):
        folder.chmod(0o755)
    (tmp_path / "orders" / "elk.yaml").chmod(0)
    # The superuser may read everything, so he lays his power down for a moment.
    user = os.geteuid()
    if user == 0:
        os.seteuid(65534)
    try:
        report = refusal("orders/elk.yaml", words)
    finally:
        os.seteuid(user)
    assert report == (
        "orders/elk.yaml  there is no permission to read this file\n"
        "                 change its permissions, or copy it to where you may read it\n"
        "1 fault; nothing was advised"
    )


def test_faults_of_the_file_and_of_the_command_are_told_together(words: Vocabulary) -> None:
    assert told("poin: 1\n", words, "point.mass=100", "rest.type=shelf") == [
        "--set point.mass `100` has no unit | write the unit: 100 gr (or g)",
        "x:1:1 `poin` is no fact | did you mean point?",
    ]


# Refused for what the base rules have no fact of.


@pytest.mark.parametrize("word", ["yes", "no", "on", "0", "1", "'true'", "unknown"])
def test_a_flag_is_true_or_false_and_nothing_else(word: str) -> None:
    shown = word.strip("'")
    assert told(f"bow: {{let_off: {word}}}") == [
        f"x:1:16 `{shown}` is no answer to bow.let_off | write true or false"
    ]


@pytest.mark.parametrize("word", ["12", "1.50", "true", "0x10"])
def test_text_is_not_guessed_from_other_things(word: str) -> None:
    shown = {"1.50": "1.5", "0x10": "16"}.get(word, word)
    assert told(f"note: {word}") == [f'x:1:7 `{shown}` is not text | write it in quotes: "{shown}"']


def test_what_is_due_is_told_for_every_kind() -> None:
    assert told(
        "note: [a]\nbow: {let_off: [true]}\npoint: {type: {a: 1}, mass: [1], blades: {a: 1}}\n"
        "use: {hall: 1}\npoint.class: hard\nfletching: {offset: [1]}\n"
    ) == [
        "x:1:7 a list is written where note takes one value | write text",
        "x:2:16 a list is written where bow.let_off takes one value | write true or false",
        "x:3:15 point.type is one fact, not a group | write one of: field, blade",
        "x:3:29 a list is written where point.mass takes one value | write one value, such as 30 gr",
        "x:3:42 point.blades is one fact, not a group | write a whole number",
        "x:4:6 use is one fact, not a group | write a list of: hall, wood",
        "x:5:1 point.class is concluded by rules and cannot be stated | state what it is concluded from",
        "x:6:21 a list is written where fletching.offset takes one value | write one value, such as 2 deg",
    ]


def test_a_group_names_its_first_members() -> None:
    many = Vocabulary(TOY["note"]._replace(name=f"bow.part_{i}") for i in range(10))
    eight = Vocabulary(TOY["note"]._replace(name=f"bow.part_{i}") for i in range(8))
    (fault,) = told("bow: compound", eight)
    assert fault.endswith("part_6, part_7")
    (fault,) = told("bow: compound", many)
    assert fault.endswith(
        "write below it, two spaces in: " + ", ".join(f"part_{i}" for i in range(8)) + ", ..."
    )


# Read.


def test_every_kind_is_read_in_its_unit() -> None:
    setup = read(
        "schema: 1\ntitle: Ridge elk dozen\nnotes: |\n  second\n  try\n"
        "use: [hall, wood]\nnote: with care\nbow: {let_off: false}\n"
        "point:\n  type: blade\n  mass: 8.1 g\n  blades: 3.0\n"
        "vane: {length: 2 5/8 in}\nfletching: {offset: 2}\n"
    )
    assert setup.title == "Ridge elk dozen"
    assert values(setup) == {
        "use": ("hall", "wood"),
        "note": "with care",
        "bow.let_off": False,
        "point.type": "blade",
        "point.mass": 125.002103,  # 8.1 / 0.06479891, at nine digits
        "point.blades": 3,
        "vane.length": 2.625,
        "fletching.offset": 2.0,
    }


def test_nested_and_dotted_names_say_the_same() -> None:
    nested = read("point: {type: blade, mass: 100 gr}\nfletching: {count: 3}\n")
    dotted = read("point.type: blade\npoint.mass: 100 gr\nfletching.count: 3\n")
    mixed = read("point: {type: blade}\npoint.mass: 100 gr\nfletching.count: 3\n")
    assert values(nested) == values(dotted) == values(mixed)
    assert len(values(nested)) == 3


def test_a_name_of_three_parts_nests_by_any_of_its_dots() -> None:
    deep = Vocabulary([TOY["note"]._replace(name="bow.limb.upper.name")])
    for text in (
        "bow: {limb: {upper: {name: x}}}",
        "bow.limb: {upper.name: x}",
        "bow: {limb.upper: {name: x}}",
        "bow.limb.upper.name: x",
    ):
        assert values(read(text, deep)) == {"bow.limb.upper.name": "x"}
    assert told("bow.limb: {name: x}", deep) == [
        "x:1:12 `bow.limb.name` is no fact | did you mean bow.limb.upper.name?"
    ]


def test_each_fact_keeps_its_place_and_what_was_written() -> None:
    setup = read("point:\n  type: blade\n  mass: 8 g   # on the scale\nuse: [wood]\n")
    assert setup.facts == {
        "point.type": Given("blade", "x", 2, 9, "blade"),
        "point.mass": Given(123.458867, "x", 3, 9, "8 g"),
        "use": Given(("wood",), "x", 4, 6, "[wood]"),
    }


def test_one_value_of_several_need_not_be_a_list_and_none_is_counted_twice() -> None:
    assert values(read("use: wood")) == {"use": ("wood",)}
    assert values(read("use: [wood, hall, wood]")) == {"use": ("wood", "hall")}


def test_an_empty_list_says_that_there_is_none() -> None:
    # "No clamp is on the bench" is not "nobody said which".
    assert values(read("use: []")) == {"use": ()}


def test_an_empty_group_states_nothing() -> None:
    assert values(read("point:\nuse: wood\n")) == {"use": ("wood",)}


def test_a_computed_fact_may_be_stated_and_an_option_too() -> None:
    setup = read("point: {density: 0.25}\nvane: {area: 600 mm2, shape: swept}\n")
    assert values(setup) == {"point.density": 0.25, "vane.area": 600.0, "vane.shape": "swept"}


def test_a_range_includes_both_its_ends() -> None:
    assert values(read("point: {mass: 30 gr, blades: 0}")) == {
        "point.mass": 30.0,
        "point.blades": 0,
    }
    assert values(read("point: {mass: 400 gr, blades: 4}"))["point.mass"] == 400.0
    assert told("point: {mass: 400.001 gr, blades: 5}") == [
        "x:1:15 `400.001 gr` is outside point.mass (30 to 400 gr) | did you mean 40.0001 gr?",
        "x:1:35 `5` is outside point.blades (0 to 4) | write a whole number from 0 to 4",
    ]


def test_a_title_may_be_missing_and_a_version_written_as_a_number() -> None:
    assert read("use: wood").title == ""
    assert read("schema: 1.0\nuse: wood").title == ""
    assert told("schema: '1'\nuse: wood") == [
        "x:1:9 `1` is no schema version this program reads | this program reads schema: 1"
    ]


def test_a_weighed_mass_takes_the_place_of_the_computed_one(base: RuleBase) -> None:
    sets = [
        "point.mass=100 gr",
        "shaft.length=28 in",
        "shaft.mass_per_length=9 gr/in",
        "insert.mass=25 gr",
        "nock.mass=8 gr",
    ]
    computed = Judgement(read_setup(None, sets, base.vocabulary), base, base.ladder)
    weighed = read_setup(None, [*sets, "arrow.mass=444 gr"], base.vocabulary)
    assert computed.run.value("arrow.mass") not in (None, 444.0)
    assert Judgement(weighed, base, base.ladder).run.value("arrow.mass") == 444.0


def test_a_setup_may_stand_inside_another_document() -> None:
    document = read_document("cases.yaml", "- case: one\n  setup: {title: One, point.type: blad}\n")
    collector = Collector("rules")
    assert walk_setup(document, (0, "setup"), TOY, collector) == Setup("One", {})
    assert [fault.place for fault in collector.faults] == ["cases.yaml:2:35"]


# `--set`.


def test_set_states_a_fact_without_a_file() -> None:
    setup = read_setup(None, ["point.type=blade", "use=[hall, wood]", "point.mass=100 gr"], TOY)
    assert setup.facts == {
        "point.type": Given("blade", "--set point.type", 0, 0, "blade"),
        "use": Given(("hall", "wood"), "--set use", 0, 0, "[hall, wood]"),
        "point.mass": Given(100.0, "--set point.mass", 0, 0, "100 gr"),
    }
    assert read_setup(None, [], TOY) == Setup("", {})


def test_set_reads_its_value_as_in_a_file() -> None:
    for written in ("use=wood", "use=[wood]", "use= wood ", " use =wood", "use=wood # the hill"):
        assert values(read_setup(None, [written], TOY)) == {"use": ("wood",)}
    assert values(read_setup(None, ["note='a = b: c'"], TOY)) == {"note": "a = b: c"}
    assert values(read_setup(None, ["note=a=b"], TOY)) == {"note": "a=b"}
    assert values(read_setup(None, ["bow.let_off=TRUE"], TOY)) == {"bow.let_off": True}


def test_set_states_over_the_file() -> None:
    setup = read_setup("x", ["point.type=field", "use=hall"], TOY, text="point: {type: blade}\n")
    assert values(setup) == {"point.type": "field", "use": ("hall",)}
    assert setup.facts["point.type"].file == "--set point.type"
    # What the file says of it must be sound all the same.
    assert told("point: {type: blad}\n", TOY, "point.type=field") == [
        "x:1:15 `blad` is no choice of point.type | did you mean blade? choices: field, blade"
    ]


@pytest.mark.parametrize(
    ("written", "place", "what", "remedy"),
    [
        ("point.type", "--set point.type", "`point.type` states nothing",
         "write --set fact.name=value"),
        ("", "--set ", "`` states nothing", "write --set fact.name=value"),
        ("point.tipe=blade", "--set point.tipe", "`point.tipe` is no fact",
         "did you mean point.type?"),
        ("pont=blade", "--set pont", "`pont` is no fact", "did you mean point?"),
        ("point=blade", "--set point", "`point` is a group of facts, not one",
         "name one of its facts"),
        ("=blade", "--set ", "`` is no fact", "the vocabulary has no such fact"),
        ("point.type=", "--set point.type", "point.type has no value",
         "write one, or leave the line out if it is not known"),
        ("point.type={a: 1}", "--set point.type", "`{a: 1}` is a mapping",
         "write one of: field, blade"),
        ("point.mass=100", "--set point.mass", "`100` has no unit",
         "write the unit: 100 gr (or g)"),
        ("point.mass=[100 gr", "--set point.mass", "the list opened here is not closed",
         "close it with `]`, and put a comma between two items"),
        ("point.class=hard", "--set point.class",
         "point.class is concluded by rules and cannot be stated",
         "state what it is concluded from"),
        ("title=Elk", "--set title", "`title` is no fact", "the vocabulary has no such fact"),
        ("point.type=blade\nuse: hall", "--set point.type", "the value runs over several lines",
         "write it on one line"),
    ],
)  # fmt: skip
def test_a_set_that_cannot_be_read_is_told_by_its_name(
    written: str, place: str, what: str, remedy: str
) -> None:
    with pytest.raises(Faults) as raised:
        read_setup(None, [written], TOY)
    (fault,) = raised.value.faults
    assert (fault.place, fault.what, fault.help) == (place, what, remedy)


def test_a_set_is_not_stated_twice() -> None:
    with pytest.raises(Faults) as raised:
        read_setup(None, ["point.type=field", "use=hall", " point.type =blade"], TOY)
    assert [(f.place, f.what, f.help) for f in raised.value.faults] == [
        ("--set point.type", "`point.type` is stated twice", "state it once")
    ]


def test_every_faulty_set_is_told() -> None:
    with pytest.raises(Faults) as raised:
        read_setup(None, ["a=1", "use=wood", "b", "point.mass=1 gr"], TOY)
    assert len(raised.value.faults) == 3


# Bad inputs that no single value tells: they are read as they stand, nothing is changed silently,
# and rules that read them reject the build.


@pytest.mark.parametrize(
    ("sets", "value"),
    [
        (["fletching.count=5"], {"fletching.count": 5}),
        (["fletching.count=2"], {"fletching.count": 2}),
        (["bench.clamps=[]"], {"bench.clamps": ()}),
        (
            ["shaft.inside_diameter=6.2 mm", "shaft.outside_diameter=5.6 mm"],
            {"shaft.inside_diameter": 6.2, "shaft.outside_diameter": 5.6},
        ),
    ],
)
def test_a_bad_input_within_its_range_is_kept_and_rejected(
    sets: list[str], value: dict[str, object], base: RuleBase
) -> None:
    setup = read_setup(None, sets, base.vocabulary)
    assert values(setup) == value
    judgement = Judgement(setup, base, base.ladder)
    assert judgement.status == "rejected"
    for name, kept in value.items():
        assert judgement.run.value(name) == kept
