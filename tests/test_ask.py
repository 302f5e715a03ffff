from __future__ import annotations

import io
import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.ask import Interview
from advisor.ask import interview as hold_interview
from advisor.ask_answers import (
    LONGEST,
    command,
    due,
    example,
    listed,
    read_answer,
    read_title,
    scalar,
    understood,
)
from advisor.ask_order import Subjects
from advisor.ask_save import in_file_order, setup_text
from advisor.ask_terminal import Terminal
from advisor.ask_words import choices
from advisor.decision import Number, Question
from advisor.documents import parse_scalar
from advisor.errors import Faults
from advisor.pipeline import advise, weighed
from advisor.rulebase.read import read_rule_base
from advisor.setups.model import Given, Setup
from advisor.setups.read import read_setup
from advisor.trying import decides
from advisor.vocabulary import (
    CHOICE,
    COUNT,
    FLAG,
    QUANTITY,
    TEXT,
    FactEntry,
    UnfitError,
    Vocabulary,
)
from tests.heavy import untraced

ROOT = Path(__file__).resolve().parents[1]
EXAMPLES = ROOT / "examples"
BASE = read_rule_base()

HUNTING = {
    "rest.type": "drop",
    "discipline": "hunting",
    "bow.type": "compound",
    "point.type": "3",
    "point.bevel": "double",
    "point.cutting_width": "1 1/8 in",
    "point.mass": "100 gr",
    "shaft.length": "28 1/2 in",
    "shaft.outside_diameter": "5.8mm",
    "shaft.mass_per_length": "9 gpi",
    "insert.mass": "50 gr",
    "nock.mass": "9 gr",
    "bow.draw_weight": "65#",
    "shaft.condition": "sound",
    "bench.clamps": "right, straight",
    "law.checked": "y",
    "wind.exposure": "open",
}
HALL = {
    "discipline": "indoor",
    "point.type": "field-point",
    "shaft.outside_diameter": "27 series",
    "bow.type": "comp",
    "rest.type": "launcher",
    "bare_shaft.rotation": "right",
    "shaft.length": "29 in",
    "bench.clamps": "1 3",
    "bow.draw_weight": "50 lb",
}
YOUTH = {
    "discipline": "practice and outdoor",
    "archer.band": "youth",
    "archer.release": "fingers",
    "bow.type": "recurve",
    "bow.draw_weight": "22 lb",
    "rest.type": "plunger",
    "point.type": "target",
    "shaft.outside_diameter": "5.6 mm",
    "shaft.length": "25 1/2 in",
    "weather.wet": "YES",
    "arrow.quantity": "8",
}
INTERRUPTIBLE = (
    "import runpy, signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "runpy.run_module('advisor', run_name='__main__')"
)
"""Runs the program so that it can be interrupted, even where the tests run in the background."""
JOBS = {"hunting": HUNTING, "hall": HALL, "youth": YOUTH}


class Builder(io.StringIO):
    """A person who answers what is asked: by fact, from what was said last."""

    def __init__(self, known: Mapping[str, str], talk: io.StringIO) -> None:
        super().__init__()
        self.known = known
        self.talk = talk
        self.heard = 0
        self.lines: list[str] = []
        self.facts: list[str] = []

    def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]
        said = " ".join(self.talk.getvalue()[self.heard :].split())
        self.heard = len(self.talk.getvalue())
        for name, entry in BASE.vocabulary.entries.items():
            if entry.question and f". {entry.question}" in said:
                self.facts.append(name)
        self.lines.append(self.known.get(self.facts[-1], ""))
        return f"{self.lines[-1]}\n"


def held(known: Mapping[str, str], *, tries: bool = False) -> tuple[Interview, Builder, str]:
    """Hold an interview; trying answers is left out where the order is not what is asked about."""
    talk = io.StringIO()
    builder = Builder(known, talk)
    terminal = Terminal(builder, talk, colour=False)
    interview = Interview(Setup("", {}), BASE, None, terminal, tries=tries)
    interview.run()
    return interview, builder, talk.getvalue()


def scripted(*lines: str, stated: Setup | None = None) -> tuple[Interview, str]:
    talk = io.StringIO()
    answers = io.StringIO("".join(f"{line}\n" for line in lines))
    terminal = Terminal(answers, talk, colour=False)
    interview = Interview(stated or Setup("", {}), BASE, None, terminal, tries=False)
    interview.run()
    return interview, talk.getvalue()


def some_answer(entry: FactEntry) -> str:
    """An answer that the fact takes, whatever the rules ask first."""
    return {CHOICE: "1", FLAG: "yes"}.get(entry.kind) or example(entry)


ANYTHING = {name: some_answer(BASE.vocabulary[name]) for name in BASE.vocabulary.of_origin("given")}
FIRST = BASE.vocabulary[advise(Setup("", {}), BASE).questions[0].fact]
ONE = some_answer(FIRST)
TAKEN = read_answer(FIRST, ONE)


def program(*words: str, answers: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "advisor", *words],
        input=answers,
        capture_output=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        timeout=60,
    )


def placeless(data: Any) -> Any:
    """Leave out where facts stand."""
    if isinstance(data, dict):
        return {k: placeless(v) for k, v in data.items() if k not in ("file", "line", "seal")}
    return [placeless(item) for item in data] if isinstance(data, list) else data


# Whole interviews


@untraced
@pytest.mark.parametrize("job", JOBS)
def test_a_whole_interview_over_a_pipe(job: str, tmp_path: Path) -> None:
    known = JOBS[job]
    interview, builder, said = held(known, tries=True)
    # Everything the person knew that could matter was asked, and taken.
    assert set(interview.answers) == set(known) & set(builder.facts)
    assert len(interview.answers) >= 9
    assert "Nothing is left to ask that could matter." in said
    answers = "".join(f"{line}\n" for line in builder.lines).encode()
    saved = tmp_path / "dozen.yaml"
    done = program("ask", "--save", str(saved), "--format", "json", answers=answers)
    assert done.returncode == 0, done.stderr.decode()
    assert done.stdout == program("advise", str(saved), "--format", "json").stdout
    saved.unlink()
    told = program("ask", "--save", str(saved), answers=answers)
    assert told.stdout == program("advise", str(saved)).stdout
    # Unsaved it is the same Decision; only where the facts stand differs.
    unsaved = json.loads(program("ask", "--format", "json", answers=answers).stdout)
    assert json.dumps(placeless(unsaved)) == json.dumps(placeless(json.loads(done.stdout)))
    assert unsaved["stated"]["discipline"]["file"] == "your answer"


@pytest.mark.parametrize("job", JOBS)
def test_answers_count_like_facts_of_a_setup(job: str) -> None:
    interview, _, _ = held(JOBS[job])
    sets = [f"{name}={fact.written}" for name, fact in interview.answers.items()]
    stated = advise(read_setup(None, sets, BASE.vocabulary), BASE)
    assert stated.given == interview.decision.given
    assert stated.build == interview.decision.build
    assert stated.numbers == interview.decision.numbers


@untraced
def test_lines_keep_to_the_width_and_no_question_is_put_twice() -> None:
    for known in (*JOBS.values(), {}):
        _, builder, said = held(known)
        assert len(builder.facts) == len(set(builder.facts))
        assert all(len(line) <= 80 for line in said.splitlines())
        assert "\x1b" not in said
    assert said.count("Answer what you know.") == 1
    assert said.count("No choice waits for any question that is left.") == 1


def test_what_moved_is_told_with_what_it_was() -> None:
    _, _, said = held(HALL)
    told = " ".join(said.split())
    assert "So far: 4 vanes, 2.6 in long" in told
    assert "Now: 3 vanes (was 4)" in told
    assert "Settled now: number of vanes" in told
    assert "It rests no longer on an assumption: head type." in told
    assert told.count("So far: ") == 1
    assert "builds hold, " in " ".join(held(HUNTING)[2].split())


def test_the_head_is_asked_before_its_blades() -> None:
    _, builder, _ = held({})
    for blades in ("point.bevel", "point.cutting_width"):
        if blades in builder.facts:
            assert builder.facts.index("point.type") < builder.facts.index(blades)
    assert BASE.vocabulary["point.type"].assume is not None


def test_other_assumed_facts_come_last() -> None:
    _, builder, _ = held({"point.type": "fixed-blade"})
    assumed = [name in BASE.assume and name != "point.type" for name in builder.facts]
    last_unknown = max(i for i, is_assumed in enumerate(assumed) if not is_assumed)
    late = [name for name in builder.facts[last_unknown:] if name in BASE.assume]
    # The age of the archer is not among them: stops depend on it.
    assert {"insert.length", "point.nose", "nock.throat"} <= set(late)
    assert "archer.band" not in late


@untraced
def test_what_matters_only_if_an_assumption_is_wrong_waits_for_it() -> None:
    _, builder, _ = held({"point.type": "field", "event.rule_book": "world"})
    asked = builder.facts
    # The gauge of the rule book is the one use of a point's diameter.
    assert asked.index("event.rule_book") < asked.index("point.diameter")
    _, uninspected, _ = held({"point.type": "field"})
    assert "event.rule_book" in uninspected.facts
    assert "point.diameter" not in uninspected.facts


# What a question is about


@untraced
@pytest.mark.parametrize("head", ["field-point", "target-point", "blunt", "mechanical"])
def test_nothing_is_asked_of_blades_that_the_head_has_not(head: str) -> None:
    _, builder, _ = held({"point.type": head, "discipline": "hunting"})
    assert "point.bevel" not in builder.facts
    if head != "mechanical":
        assert {f for f in builder.facts if "blade" in f or "width" in f} == set()
    else:
        assert {"point.blades", "point.closed_width"} <= set(builder.facts)
    # Advice itself still waits for the bevel: only its rule that checks the statement does.
    stated = read_setup(None, [f"point.type={head}", "discipline=[hunting]"], BASE.vocabulary)
    assert "point.bevel" in {question.fact for question in advise(stated, BASE).questions}


@untraced
def test_a_fixed_head_is_asked_about_its_blades() -> None:
    _, builder, _ = held({"point.type": "fixed-blade"})
    assert {"point.bevel", "point.blades", "point.cutting_width"} <= set(builder.facts)


@untraced
@pytest.mark.parametrize("answer", ["", "none", "0 gr"])
def test_without_a_wrap_nothing_else_is_asked_of_it(answer: str) -> None:
    _, builder, _ = held({"point.type": "fixed-blade", "wrap.mass": answer})
    assert [f for f in builder.facts if f.startswith("wrap.")] == ["wrap.mass"]


def test_a_wrap_that_is_there_is_asked_about() -> None:
    wrapped = {"wrap.mass": "6 gr", "wrap.length": "4 in", "shaft.outside_diameter": "6 mm"}
    _, builder, _ = held({"point.type": "fixed-blade", **wrapped})
    about = [f for f in builder.facts if f.startswith("wrap.")]
    assert about == ["wrap.mass", "wrap.length", "wrap.outside_diameter"]
    # While it is at hand: nothing else comes between.
    first = builder.facts.index("wrap.mass")
    assert builder.facts[first : first + 3] == about


def test_a_length_that_is_stated_tells_of_a_wrap_too() -> None:
    stated = read_setup(None, ["wrap.length=4 in"], BASE.vocabulary)
    talk = io.StringIO()
    builder = Builder({"wrap.mass": "", "point.type": "fixed"}, talk)
    Interview(stated, BASE, None, Terminal(builder, talk, colour=False), tries=False).run()
    assert {"wrap.mass", "wrap.outside_diameter"} <= set(builder.facts)


@untraced
def test_of_an_insert_that_is_not_there_no_length_is_asked() -> None:
    _, fitted, _ = held({"point.type": "fixed-blade", "insert.mass": "25 gr"})
    assert fitted.facts.index("insert.mass") < fitted.facts.index("insert.length")
    _, unknown, _ = held({"point.type": "fixed-blade"})
    assert "insert.length" in unknown.facts
    _, bare, _ = held({"point.type": "fixed-blade", "insert.mass": "0 gr"})
    assert "insert.length" not in bare.facts


def put(facts: Mapping[str, str], known: Mapping[str, Any], firm: set[str]) -> list[str]:
    """Return the order in which questions are put; each is given with a rule that waits."""
    questions = [
        Question(fact, "", {}, fact in BASE.assume, "", (rule,)) for fact, rule in facts.items()
    ]
    return [question.fact for _, question in Subjects(BASE).worth(questions, known, firm)]


def test_questions_wait_their_turn() -> None:
    clear, gap = "vanes-must-clear", "fingers-want-a-full-inch"
    free = {"rest.clearance": clear, "point.nose": clear, "archer.release": gap}
    assert put(free, {}, {"archer.release"}) == ["archer.release", "point.nose", "rest.clearance"]
    wrap = {"wrap.outside_diameter": clear, "wrap.length": clear, "wrap.mass": clear}
    # Until it is told whether there is a wrap, one question of it is put.
    assert put(wrap, {}, {"wrap.outside_diameter"}) == ["wrap.length"]
    assert put(wrap, {"wrap.length": 0.0}, set()) == []
    assert put(wrap, {"wrap.length": 4.0}, set()) == list(wrap)
    # A number takes the diameter over the wrap where it is known, whatever else checks it.
    check = {"wrap.outside_diameter": "a-wrap-adds-to-the-shaft"}
    assert put(check, {"wrap.length": 4.0}, set()) == list(check)


def test_a_fact_is_not_asked_only_to_check_it() -> None:
    _, builder, _ = held({"point.type": "field-point"})
    assert "shaft.inside_diameter" not in builder.facts
    # The rule on it stands, for those who state it.
    sets = ["shaft.inside_diameter=6 mm", "shaft.outside_diameter=5 mm"]
    assert advise(read_setup(None, sets, BASE.vocabulary), BASE).status == "rejected"


def test_an_assumption_that_a_stop_rests_on_is_asked_first() -> None:
    stated = read_setup(None, ["archer.band=child"], BASE.vocabulary)
    talk = io.StringIO()
    builder = Builder({"point.type": "field-point"}, talk)
    interview = Interview(stated, BASE, None, Terminal(builder, talk, colour=False), tries=False)
    assert interview.decision.status == "stopped"
    interview.run()
    assert interview.decision.status == "advised"
    assert builder.facts[0] == "point.type"
    told = " ".join(talk.getvalue().split())
    assert "STOP: do not build this. " in told
    assert "Nearest, not to be built: " in told
    assert "Now a build satisfies every must." in told


def test_what_an_empty_line_keeps_is_told() -> None:
    _, _, said = held({})
    told = " ".join(said.split())
    assert "An empty line keeps 12: arrows are built by the dozen." in told
    assert "An empty line keeps no: a new dozen unless said." in told
    assert "An empty line keeps 0.3 in:" in told


def test_an_assumption_let_stand_spares_what_could_matter_only_without_it() -> None:
    _, kept, _ = held({})
    # With a fixed-blade head let stand, nobody asks how wide a mechanical one is when closed.
    assert "point.type" in kept.facts
    assert "point.closed_width" not in kept.facts
    _, mechanical, _ = held({"point.type": "mechanical"})
    assert "point.closed_width" in mechanical.facts


def test_an_answer_that_is_what_was_assumed_is_stated() -> None:
    interview, _, _ = held({"arrow.quantity": "12"})
    assert interview.decision.given["arrow.quantity"] == Number(12, "")
    assert "arrow.quantity" not in interview.decision.assumed


@untraced
@pytest.mark.parametrize("word", ["", "don't know", "Dont know", "dk", "I don\u2019t know."])
def test_not_knowing_anything_ends_and_states_nothing(word: str) -> None:
    interview, said = scripted(*[word] * 200)
    assert interview.setup.facts == {}
    assert interview.decision == advise(Setup("", {}), BASE)
    assert "Nothing is left to ask" in said
    assert "build stays" not in said, "what is passed by moves nothing"


def test_the_question_whose_answers_change_most_comes_first() -> None:
    _, builder, _ = held({}, tries=True)
    decision = advise(Setup("", {}), BASE)
    tried = weighed(decision.questions, Setup("", {}), BASE)
    assert -decides(tried[0])[0] > 0
    assert builder.facts[0] == tried[0].fact
    # The second as well, the first having been passed by; the rules alone would ask another.
    assert builder.facts[1] == tried[1].fact != decision.questions[1].fact


# Ending


def test_the_end_of_input_at_once_gives_the_advice_as_it_stands(tmp_path: Path) -> None:
    example = str(EXAMPLES / "target-recurve.yaml")
    for form in ("text", "json", "svg"):
        done = program("ask", example, "--format", form)
        assert done.stdout == program("advise", example, "--format", form).stdout
        assert done.returncode == 0
    saved = tmp_path / "nothing.yaml"
    done = program("ask", "--save", str(saved))
    assert saved.read_text() == "schema: 1\n"
    assert done.stdout == program("advise", str(saved)).stdout


def test_quit_ends_with_the_advice_and_leaves_the_rest_unread() -> None:
    interview, _ = scripted(ONE, "quit", "2", "2")
    assert interview.answers == {FIRST.name: TAKEN}


def test_a_rejected_build_is_told_at_once_and_ends_with_1() -> None:
    example = str(EXAMPLES / "left-bevel-right-clamp.yaml")
    done = program("ask", example)
    assert done.returncode == 1
    said = " ".join(done.stderr.decode().split())
    assert "No build satisfies every must. These cannot hold together:" in said
    assert "Set arrows for a left single bevel to the left" in said


@untraced
def test_coming_to_no_build_and_back_is_told() -> None:
    sets = ["point.type=fixed-blade", "point.bevel=single-left", "discipline=[hunting]"]
    stated = read_setup(None, sets, BASE.vocabulary)
    talk = io.StringIO()
    builder = Builder({"bench.clamps": "right"}, talk)
    interview = Interview(stated, BASE, None, Terminal(builder, talk, colour=False), tries=False)
    interview.run()
    assert interview.decision.status == "rejected"
    heard = " ".join(talk.getvalue().split())
    assert heard.count("No build satisfies every must. These cannot hold together:") == 1
    lines = [*builder.lines[: builder.facts.index("bench.clamps") + 1], "back", "quit"]
    again, said = scripted(*lines, stated=stated)
    assert again.decision.status == "advised"
    assert "Now a build satisfies every must." in " ".join(said.split())


def test_a_stop_is_told_at_once() -> None:
    interview, said = scripted(
        stated=read_setup(str(EXAMPLES / "too-light.yaml"), [], BASE.vocabulary)
    )
    assert interview.decision.status == "stopped"
    assert "STOP: do not build this." in said


def test_ctrl_c_ends_cleanly_and_writes_nothing(tmp_path: Path) -> None:
    saved, out = tmp_path / "kept.yaml", tmp_path / "advice.txt"
    running = subprocess.Popen(
        [sys.executable, "-c", INTERRUPTIBLE, "ask", "--save", str(saved), "--out", str(out)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert running.stdin is not None
    assert running.stderr is not None
    running.stdin.write(ONE.encode() + b"\n")
    running.stdin.flush()
    said = b""
    while said.count(b"> ") < 2:
        said += running.stderr.read(1)
    running.send_signal(signal.SIGINT)
    rest = running.communicate(timeout=30)
    assert running.returncode == 130
    assert rest == (b"", b"\nStopped.\n")
    assert list(tmp_path.iterdir()) == []


def test_an_interruption_while_a_file_is_written_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from advisor import cli_common

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("os.replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        cli_common.replace(str(tmp_path / "kept.yaml"), "schema: 1\n")
    assert list(tmp_path.iterdir()) == []


# Back, why, help


@untraced
def test_back_takes_back_one_step_at_a_time_to_the_first() -> None:
    start, _ = scripted()
    skipped = held(ANYTHING)[1].facts[1]
    _, builder, _ = held({k: v for k, v in ANYTHING.items() if k != skipped})
    lines = builder.lines[:3]
    assert lines[1] == ""
    three, _ = scripted(*lines)
    one, _ = scripted(*lines, "back", "BACK")
    assert list(three.answers) == [builder.facts[0], builder.facts[2]]
    assert one.asked == three.asked[:1]
    assert list(one.answers) == three.asked[:1]
    none, said = scripted(*lines, "back", "back", "back", "back")
    assert none.answers == {}
    assert none.asked == []
    assert none.decision == start.decision
    assert "There is no earlier answer to take back." in said
    again, _ = scripted(*lines, *["back"] * 3, *lines)
    assert again.decision == three.decision
    passed, _ = scripted(ONE, "back", "")
    assert (passed.asked, passed.answers) == ([FIRST.name], {})


def test_why_and_help_tell_and_ask_again() -> None:
    first = advise(Setup("", {}), BASE).questions[0]
    interview, said = scripted("why", "?", "help", ONE)
    assert list(interview.answers) == [first.fact]
    told = " ".join(said.split())
    assert f"{first.rules[0]}: {BASE.entries[first.rules[0]].says}" in told
    assert "28 1/2 in, 6.2 mm, 70 lb" in told
    assert f"The question is about {first.fact}: {FIRST.label}." in told
    counted = re.findall(r"\b1 of about (\d+)\. ", told)
    assert len(counted) == 1
    assert 1 < int(counted[0]) <= len(advise(Setup("", {}), BASE).questions)


# Answers


def unfit(fact: str, text: str) -> tuple[str, str]:
    with pytest.raises(UnfitError) as refused:
        read_answer(BASE.vocabulary[fact], text)
    return refused.value.what, refused.value.help


@pytest.mark.parametrize(
    ("fact", "text"),
    [
        ("shaft.length", "28"),
        ("shaft.length", "28 gr"),
        ("shaft.length", "28 inhces"),
        ("shaft.outside_diameter", "0.295 mm"),
        ("bow.draw_weight", "-65 lb"),
        ("point.mass", "100-125 gr"),
        ("point.mass", "true"),
        ("point.blades", "2.5"),
        ("point.blades", "7"),
        ("room.humidity", "500"),
    ],
)
def test_a_bad_answer_gets_the_fault_of_a_setup_file(fact: str, text: str) -> None:
    with pytest.raises(Faults) as refused:
        read_setup(None, [f"{fact}={text}"], BASE.vocabulary)
    fault = refused.value.faults[0]
    assert unfit(fact, text) == (fault.what, fault.help)


def test_a_bad_answer_is_not_taken_and_asked_again() -> None:
    interview, said = scripted("no such thing", ONE, "quit")
    assert interview.answers == {FIRST.name: TAKEN}
    told = "; ".join(unfit(FIRST.name, "no such thing"))
    assert "`no such thing` is no" in told
    assert told in " ".join(said.split())


@pytest.mark.parametrize(
    ("fact", "text", "value"),
    [
        ("point.type", "3", "fixed-blade"),
        ("point.type", "3.", "fixed-blade"),
        ("point.type", "fi", None),
        ("point.type", "fix", "fixed-blade"),
        ("point.type", "Fixed Blade", "fixed-blade"),
        ("shaft.material", "carbon", "carbon"),
        ("shaft.material", "carbon-a", "carbon-aluminium"),
        ("discipline", "3d", ("3d",)),
        ("discipline", "3", ("field",)),
        ("discipline", "hunt, 3d and indoor hunt", ("hunting", "3d", "indoor-target")),
        ("discipline", "[hunting, 3d]", ("hunting", "3d")),
        ("law.checked", "Y", True),
        ("law.checked", "false", False),
        ("shaft.length", "28 1/2 in", 28.5),
        ("shaft.length", '28 1/2"', 28.5),
        ("shaft.length", "72.39 cm", 28.5),
        ("shaft.outside_diameter", "6.2 mm", 6.2),
        ("bow.draw_weight", "70 #", 70.0),
        ("shaft.spine", "340", 0.34),
        ("point.blades", "3", 3),
        ("room.humidity", "50 %", 50.0),
    ],
)
def test_answers_are_read_as_a_builder_writes_them(fact: str, text: str, value: Any) -> None:
    if value is None:
        assert unfit(fact, text) == (
            "`fi` may be field-point or fixed-blade",
            "write more of it, or its number",
        )
    else:
        assert read_answer(BASE.vocabulary[fact], text).value == value


@pytest.mark.parametrize(
    ("fact", "text", "value"),
    [
        ("point.type", "mechancal", "mechanical"),
        ("point.type", "the field one", "field-point"),
        ("point.type", "expandable broadhead", "mechanical"),
        ("bow.type", "compound bow", "compound"),
        ("bow.type", "cross bow", "crossbow"),
        ("bow.type", "cams", "compound"),
        ("glue.type", "cement", "fletching-cement"),
        ("glue.type", "gel superglue", "gel-cyanoacrylate"),
        ("shaft.material", "carbon arrow", "carbon"),
        ("shaft.material", "aluminum", "aluminium"),
        ("shaft.material", "glass", "fibreglass"),
        ("shaft.condition", "cracked", "damaged"),
        ("shaft.condition", "not inspected", "unchecked"),
        ("bare_shaft.rotation", "no turn", "none"),
        ("point.bevel", "both faces", "double"),
        ("discipline", "hunnting; 3-D", ("hunting", "3d")),
        ("discipline", "under a roof", ("indoor-target",)),
        ("bench.clamps", "right helical and straight", ("right", "straight")),
        ("bench.clamps", "all", ("right", "left", "straight")),
        ("law.checked", "No, not yet.", False),
        ("law.checked", "no I have not", False),
        ("point.blades", "three", 3),
        ("point.blades", "3 blades", 3),
        ("arrow.quantity", "two dozen", 24),
        ("bow.draw_weight", "about 70 lb", 70.0),
        ("bow.draw_weight", "~70 pounds or so", 70.0),
        ("bow.draw_weight", "seventy-five pounds", 75.0),
        ("point.mass", "a hundred and twenty-five grains", 125.0),
        ("shaft.outside_diameter", "5,8 mm", 5.8),
        ("shaft.length", "28 and a half inches", 28.5),
        ("point.cutting_width", "three quarters of an inch", 0.75),
        ("shaft.mass_per_length", "nine grains an inch", 9.0),
        ("shaft.spine", "0,340", 0.34),
        ("wrap.mass", "no wrap", 0.0),
        ("wrap.length", "none", 0.0),
    ],
)
def test_plain_words_are_understood_and_told(fact: str, text: str, value: Any) -> None:
    entry = BASE.vocabulary[fact]
    read = read_answer(entry, text)
    assert read.value == value
    names = ", ".join(value) if isinstance(value, tuple) else str(value)
    told = {CHOICE: names, FLAG: "no"}.get(entry.kind, read.written)
    assert understood(entry, text, read) == told
    # What is told is taken for the same, and needs no telling.
    again = read_answer(entry, told)
    assert (again.value, understood(entry, told, again)) == (value, "")


@pytest.mark.parametrize(
    ("fact", "text", "told"),
    [
        ("point.type", "broadhead", "`broadhead` may be fixed-blade or mechanical"),
        ("point.type", "broad head", "`broad head` may be fixed-blade or mechanical"),
        ("point.type", "blunt or field", "`blunt or field` may be field-point or blunt"),
        ("point.type", "not mechanical", "`not mechanical` is no choice here"),
        ("point.type", "9", "`9` is no choice here"),
        ("point.type", "head", "`head` is no choice here"),
        (
            "glue.type",
            "superglue",
            "`superglue` may be thin-cyanoacrylate, medium-cyanoacrylate or gel-cyanoacrylate",
        ),
        ("shaft.material", "carbon or wood", "may be carbon, carbon-aluminium or wood"),
        ("shaft.condition", "not sound", "`not sound` is no choice here"),
        ("shaft.condition", "unsound", "`unsound` is no choice here"),
        ("shaft.condition", "undamaged", "`undamaged` is no choice here"),
        ("shaft.condition", "sound, but two are cracked", "is no choice here"),
        ("shaft.condition", "mostly sound, two cracked", "may be sound or damaged"),
        ("discipline", "hunting but not 3d", "is no choice here"),
        ("discipline", ",", "`,` names nothing"),
        ("bench.clamps", "helical", "`helical` may be right or left"),
        ("law.checked", "maybe", "`maybe` is neither yes nor no"),
        ("law.checked", "yes and no", "is neither yes nor no"),
        ("law.checked", "yes, but not all", "is neither yes nor no"),
        ("contact.marks", "no, yes", "is neither yes nor no"),
        ("contact.marks", "-", "is neither yes nor no"),
    ],
)
def test_what_could_be_several_or_none_is_not_guessed(fact: str, text: str, told: str) -> None:
    what, remedy = unfit(fact, text)
    assert told in what
    assert remedy


def test_what_fits_no_choice_is_told_what_can_be_typed() -> None:
    what, remedy = unfit("bow.type", "zither")
    assert what == "`zither` is no choice here"
    assert remedy == (
        "type its number (1 to 4), its name (compound, recurve, longbow, crossbow) or a word of "
        "its line"
    )
    assert unfit("law.checked", "perhaps")[1] == "type yes or no"


@pytest.mark.parametrize(
    ("fact", "text", "remedy"),
    [
        ("bow.draw_weight", "68-70", "write 68 lb or 70 lb"),
        ("bow.draw_weight", "between 68 and 70 lb", "write 68 lb or 70 lb"),
        ("bow.draw_weight", "68lb to 70lb", "write 68lb or 70lb"),
        ("shaft.outside_diameter", "5,8 - 6 mm", "write 5.8 mm or 6 mm"),
        ("shaft.length", "28 1/2 to 29 in", "write 28 1/2 in or 29 in"),
        ("shaft.spine", "300 or 340", "write 300 spine or 340 spine"),
        ("point.blades", "2-3", "write 2 or 3"),
    ],
)
def test_a_span_is_refused_with_its_ends(fact: str, text: str, remedy: str) -> None:
    assert unfit(fact, text) == (f"`{text}` is a span, not one value", remedy)
    for end in remedy.removeprefix("write ").split(" or "):
        assert read_answer(BASE.vocabulary[fact], end).value


@pytest.mark.parametrize(
    ("fact", "text"),
    [
        ("shaft.outside_diameter", "none"),  # a shaft has a diameter
        ("wrap.mass", "no glue"),
        ("bow.draw_weight", "over 70 lb"),
        ("bow.draw_weight", "about 70"),
        ("shaft.length", "1,234 in"),  # a decimal comma, or one between thousands
        ("arrow.quantity", "3 inches"),
        ("point.mass", "a hundred or two"),
    ],
)
def test_a_number_that_could_be_meant_otherwise_is_refused(fact: str, text: str) -> None:
    assert all(unfit(fact, text))


def test_what_was_understood_is_told_before_the_advice() -> None:
    _, said = scripted("feild point", "quit", stated=None)
    assert "  Understood as field-point.\n" in said
    _, plain = scripted("field-point", "quit")
    assert "Understood" not in plain


@given(st.text(max_size=40), st.sampled_from(sorted(BASE.vocabulary.of_origin("given"))))
@settings(max_examples=300, deadline=None)
def test_any_line_is_taken_or_refused_with_a_remedy(text: str, fact: str) -> None:
    entry = BASE.vocabulary[fact]
    try:
        read = read_answer(entry, text)
    except UnfitError:
        assert all(unfit(fact, text))
        return
    assert read_answer(entry, understood(entry, text, read) or text).value == read.value


def test_an_assumed_value_is_shown_as_it_is() -> None:
    _, _, said = held({})
    assert "An empty line keeps 1.225 kg/m3: " in " ".join(said.split())


def test_text_is_taken_as_it_is_typed() -> None:
    entry = FactEntry("maker.mark", "mark", TEXT, "given", question="What mark?")
    for text, value in (("no. 7: a {cut}", "no. 7: a {cut}"), ("12", "12"), ('"back"', "back")):
        read = read_answer(entry, text)
        assert (read.value, read.written) == (value, value)
    assert due(entry) == "In your own words."


def test_commands_are_words_of_their_own() -> None:
    assert command("  Quit ") == "quit"
    assert command("why?") == "why"
    assert command("backwards") is None
    assert command("?") == "help"


def test_every_example_shown_is_taken() -> None:
    for name in BASE.vocabulary.of_origin("given"):
        entry = BASE.vocabulary[name]
        shown = due(entry)
        if entry.kind in (QUANTITY, COUNT):
            text = shown.partition("such as ")[2].rstrip(".")
            assert read_answer(entry, text).value is not None, (name, shown)


def test_listing() -> None:
    assert listed(["a"]) == "a"
    assert listed(["a", "b"]) == "a and b"
    assert listed(["a", "b", "c"]) == "a, b and c"
    # To count a single one more takes as much room as to name it.
    assert listed(["a", "b", "c", "d"]) == "a, b, c and d"
    assert listed(["a", "b", "c", "d", "e"]) == "a, b, c and 2 more"


# Hostile input


@pytest.mark.parametrize(
    ("answers", "told"),
    [
        (b"x" * 3_000_000, "this answer is longer than 1000 letters"),
        (b"\x1b[2J\x07", "a character that cannot be seen stands here (U+001B)"),
        (b"\x00", "a character that cannot be seen stands here (U+0000)"),
        (b"caf\xe9", "the byte 0xE9 is not UTF-8"),
        ("\u202eevil".encode(), "a character that cannot be seen"),
        (b"{a: &b [*b]}", "is no"),
    ],
)
def test_hostile_answers_are_refused_and_asked_again(answers: bytes, told: str) -> None:
    script = answers + b"\n" + ONE.encode() + b"\r\nquit"
    done = program("ask", "--format", "json", answers=script)
    said = done.stderr.decode()
    assert "Traceback" not in said
    assert told in " ".join(said.split())
    assert not set(said) & {"\x1b", "\x07", "\x00", "\u202e"}
    assert len(said) < 20_000
    assert list(json.loads(done.stdout)["given"]) == [FIRST.name]


@pytest.mark.parametrize("word", ["maybe", "why", "?", "back"])
def test_a_pipe_that_never_answers_comes_to_an_end(word: str) -> None:
    interview, said = scripted(*[word] * 500)
    assert interview.answers == {}
    assert "50 lines in a row held no answer: the questions end here." in said


def test_closed_and_strange_streams_are_no_input() -> None:
    command_line = f"{sys.executable} -m advisor ask --format json"
    for redirected in ("<&-", "< /dev/zero", "2>&- < /dev/null", "<&- 2>/dev/full"):
        done = subprocess.run(
            f"{command_line} {redirected}",
            shell=True,
            capture_output=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            timeout=60,
        )
        assert done.returncode == 0, redirected
        assert json.loads(done.stdout)["given"] == {}, redirected
        assert b"Traceback" not in done.stderr, redirected


# A name for the setup


def named(*lines: str, stated: Setup | None = None, saves: bool = True) -> tuple[Setup, str]:
    talk = io.StringIO()
    answers = io.StringIO("".join(f"{line}\n" for line in lines))
    terminal = Terminal(answers, talk, colour=False)
    setup, decision = hold_interview(stated or Setup("", {}), BASE, None, terminal, saves=saves)
    assert decision.title == setup.title
    return setup, talk.getvalue()


NAME_ASKED = "A name for this setup (Enter for none)"


def test_a_name_is_asked_at_the_end_if_the_setup_is_saved() -> None:
    setup, said = named(ONE, "quit", " Ridge elk: dozen ")
    assert (setup.title, list(setup.facts)) == ("Ridge elk: dozen", [FIRST.name])
    assert said.count(NAME_ASKED) == 1
    assert said.rpartition("> quit")[2].lstrip().startswith(NAME_ASKED)
    text = setup_text(setup, BASE.vocabulary)
    assert read_setup("s", [], BASE.vocabulary, text=text).title == "Ridge elk: dozen"
    setup, said = named(ONE, "quit", "Ridge elk", saves=False)
    assert (setup.title, NAME_ASKED in said) == ("", False)
    setup, said = named("quit", "other", stated=Setup("kept", {}))
    assert (setup.title, NAME_ASKED in said) == ("kept", False)


def test_a_name_is_asked_over_a_pipe_only_if_the_setup_is_saved(tmp_path: Path) -> None:
    saved = tmp_path / "kept.yaml"
    answers = f"{ONE}\nquit\nRidge elk\n".encode()
    done = program("ask", "--save", str(saved), answers=answers)
    assert done.returncode == 0, done.stderr.decode()
    assert NAME_ASKED.encode() in done.stderr
    assert done.stdout.startswith(b"Ridge elk ")
    assert saved.read_text().startswith("schema: 1\ntitle: Ridge elk\n")
    assert done.stdout == program("advise", str(saved)).stdout
    unsaved = program("ask", answers=answers)
    assert NAME_ASKED.encode() not in unsaved.stderr
    for ending in (b"quit\n", b"quit\n\n", b""):
        saved.unlink()
        done = program("ask", "--save", str(saved), answers=ending)
        assert (done.returncode, saved.read_text()) == (0, "schema: 1\n"), ending


@pytest.mark.parametrize("lines", [("quit",), ("quit", ""), ("quit", "quit"), ("quit", "dk"), ()])
def test_a_setup_needs_no_name(lines: tuple[str, ...]) -> None:
    setup, said = named(*lines)
    assert setup.title == ""
    assert (NAME_ASKED in said) is bool(lines), "where answers have ended nothing more is asked"


def test_a_name_that_cannot_be_kept_is_asked_again() -> None:
    setup, said = named("quit", "a\x07b", "x" * (LONGEST + 1), "Ridge")
    assert setup.title == "Ridge"
    assert said.count(NAME_ASKED) == 3
    assert "U+0007" in said
    setup, said = named("quit", *["\x07"] * 100)
    assert (setup.title, said.count(NAME_ASKED)) == ("", 5)
    assert named(*["?"] * 200)[1].count(NAME_ASKED) == 0
    assert read_title(" Ridge ") == "Ridge"


# Saving


def test_a_saved_file_is_nested_and_readable(tmp_path: Path) -> None:
    example = tmp_path / "known.yaml"
    example.write_text(
        'title: "12: a dozen"\nnotes: "kept, and\\nkept whole"\nbow: {type: compound}\n'
        "point: {type: fixed-blade}\n"
    )
    saved = tmp_path / "kept.yaml"
    words = ["ask", str(example), "--set", "shaft.length=28 1/2 in", "--save", str(saved)]
    done = program(*words, "--set", "discipline=[hunting, 3d]", "--set", "law.checked=true")
    assert done.returncode == 0
    assert saved.read_text() == (
        'schema: 1\ntitle: "12: a dozen"\nnotes: "kept, and\\U0000000Akept whole"\n'
        "bow:\n  type: compound\npoint:\n  type: fixed-blade\n"
        "shaft:\n  length: 28 1/2 in\ndiscipline: [hunting, 3d]\nlaw:\n  checked: true\n"
    )
    assert f"What was stated is kept in {saved}." in done.stderr.decode()
    assert done.stdout == program("advise", str(saved)).stdout
    assert b"12: a dozen" in done.stdout


def test_answers_join_the_groups_that_were_stated_before() -> None:
    stated = read_setup(None, ["shaft.spine=0.340", "point.type=fixed-blade"], BASE.vocabulary)
    talk = io.StringIO()
    builder = Builder(HUNTING, talk)
    interview = Interview(stated, BASE, None, Terminal(builder, talk, colour=False), tries=False)
    interview.run()
    groups = [name.partition(".")[0] for name in interview.setup.facts]
    assert groups[0] == "shaft"
    assert len(list(dict.fromkeys(groups))) == sum(
        a != b for a, b in zip(groups, ["", *groups[:-1]], strict=True)
    )
    back = read_setup("s", [], BASE.vocabulary, text=setup_text(interview.setup, BASE.vocabulary))
    assert list(back.facts) == list(interview.setup.facts)


@pytest.mark.parametrize("example", sorted(p.name for p in EXAMPLES.glob("*.yaml")))
def test_every_example_survives_saving(example: str) -> None:
    try:
        setup = read_setup(str(EXAMPLES / example), [], BASE.vocabulary)
    except Faults:
        assert example == "mistyped.yaml"
        return
    text = setup_text(setup, BASE.vocabulary)
    back = read_setup("saved", [], BASE.vocabulary, text=text)
    assert back.title == setup.title
    assert {n: g.value for n, g in back.facts.items()} == {
        n: g.value for n, g in setup.facts.items()
    }
    assert list(back.facts) == list(in_file_order(setup.facts, BASE.vocabulary))


def test_saving_spares_what_it_must_not_replace(tmp_path: Path) -> None:
    setup = tmp_path / "setup.yaml"
    setup.write_text("point: {type: blunt}\n")
    both = str(tmp_path / "both")
    for words, told in (
        (["--save", str(setup)], "is there already"),
        (["--save", str(tmp_path)], "is no plain file"),
        (["--save", ""], "the name is empty"),
        (["--save", str(tmp_path / "no" / "kept.yaml")], "there is no folder for"),
        (["--out", str(tmp_path / "no" / "advice.txt")], "there is no folder for"),
        (["--save", both, "--out", both], "is named twice"),
        (["-"], "standard input is where the answers come from"),
        (["--format", "jsn"], "did you mean json?"),
        ([str(tmp_path / "setup.yml")], "did you mean setup.yaml?"),
        (["--set", "point.type=blont"], "did you mean blunt?"),
    ):
        done = program("ask", *words)
        assert (done.returncode, done.stdout) == (2, b""), words
        assert told in " ".join(done.stderr.decode().split()), words
        assert b"Answer what you know" not in done.stderr, words
    assert setup.read_text() == "point: {type: blunt}\n"
    assert [path.name for path in tmp_path.iterdir()] == ["setup.yaml"]


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a folder that takes no file")
def test_what_cannot_be_saved_is_shown_so_that_no_answer_is_lost() -> None:
    done = program("ask", "--save", "/proc/kept.yaml", answers=f"{ONE}\nquit\n".encode())
    assert (done.returncode, done.stdout) == (2, b"")
    assert f"  {FIRST.name.rpartition('.')[2]}: " in done.stderr.decode()
    assert b"this cannot be written" in done.stderr


ENTRIES = (
    FactEntry("one", "one", TEXT, "given"),
    FactEntry("a.text", "text", TEXT, "given"),
    FactEntry("a.b.size", "size", QUANTITY, "given", unit="in", bare=False),
    FactEntry("a.b.part", "part", QUANTITY, "given", unit="%"),
    FactEntry("null.choice", "choice", CHOICE, "given", choices={"3": "", "true": "", "x-y": ""}),
    FactEntry("c.several", "several", CHOICE, "given", several=True, choices={"3": "", "null": ""}),
    FactEntry("c.flag", "flag", FLAG, "given"),
    FactEntry("c.count", "count", COUNT, "given"),
    FactEntry("one.below", "below a fact", FLAG, "given"),
)
WORDS = Vocabulary(ENTRIES)
TEXTS = st.text(
    st.characters(codec="utf-8", categories=("L", "M", "N", "P", "S", "Zs")), max_size=30
)
SIZES = st.sampled_from(["28 1/2 in", '2"', "3 mm", "3'", ".5 in", "1e1 in", "\u00bd in", "6.2 mm"])
PARTS = st.floats(0, 100) | st.integers(0, 9)
WRITTEN = {
    "one": TEXTS,
    "a.text": TEXTS,
    "a.b.size": SIZES,
    "a.b.part": PARTS | st.just("12 %"),
    "null.choice": st.sampled_from(["3", "true", "x-y"]),
    "c.several": st.lists(st.sampled_from(["3", "null"]), unique=True),
    "c.flag": st.booleans(),
    "c.count": st.integers(0, 10**9),
    "one.below": st.booleans(),
}


@given(TEXTS, st.lists(st.sampled_from(sorted(WRITTEN)), unique=True), st.data())
@settings(max_examples=150, deadline=None)
def test_any_setup_reads_back_as_it_was_saved(
    title: str, names: list[str], data: st.DataObject
) -> None:
    facts = {}
    for name in names:
        raw = data.draw(WRITTEN[name])
        try:
            value = WORDS[name].read(raw)
        except UnfitError:
            continue
        shown = "true" if raw is True else "false" if raw is False else str(raw)
        facts[name] = Given(value, "", 0, 0, shown if not isinstance(raw, float) else f"{raw:.9g}")
    text = setup_text(Setup(title, facts), WORDS)
    back = read_setup("saved", [], WORDS, text=text)
    assert back.title == title
    assert {n: g.value for n, g in back.facts.items()} == {n: g.value for n, g in facts.items()}
    assert list(back.facts) == list(in_file_order(facts, WORDS))
    assert setup_text(back, WORDS) == text


@given(TEXTS)
@settings(deadline=None)
def test_a_scalar_reads_back_as_the_text_it_was(text: str) -> None:
    assert parse_scalar(scalar(text, as_text=True), "") == text


def test_another_trade_is_asked_about_as_well() -> None:
    garden = str(ROOT / "tests" / "garden" / "plot")
    done = program("ask", "--rules", garden, "--format", "json", answers=b"\n\nquit\n")
    assert done.returncode in (0, 1), done.stderr.decode()
    assert json.loads(done.stdout)["rulebase"]["name"] != "base"
    assert "1 of about " in done.stderr.decode()


def test_a_head_that_is_chosen_is_told_as_one() -> None:
    sets = [
        "vane.length=2 in",
        "vane.height=0.45 in",
        "fletching.count=3",
        "fletching.direction=right",
        "fletching.offset=2 deg",
    ]
    stated = read_setup(None, sets, BASE.vocabulary)
    talk = io.StringIO()
    builder = Builder({"discipline": "hunting"}, talk)
    interview = Interview(stated, BASE, None, Terminal(builder, talk, colour=False), tries=False)
    before = interview.decision.items["point"]
    interview.run()
    after = interview.decision.items["point"]
    told = " ".join(talk.getvalue().split())
    assert f"So far: head {before}, 3 vanes" in told
    assert before != after
    assert f"Now: head {after} (was {before}), 3 vanes" in told
    assert "point.type" not in builder.facts


def test_saving_writes_over_nothing_but_the_setup_it_goes_on_with(tmp_path: Path) -> None:
    kept = tmp_path / "kept.yaml"
    kept.write_text("schema: 1\npoint:\n  type: field-point\n", encoding="utf-8")
    before = kept.read_text(encoding="utf-8")
    done = program("ask", "--save", str(kept), answers=b"quit\n")
    assert done.returncode == 2
    assert "is there already" in " ".join(done.stderr.decode().split())
    assert kept.read_text(encoding="utf-8") == before
    words = ("ask", str(kept), "--set", "discipline=[hunting]", "--save", str(kept))
    done = program(*words, answers=b"quit\n")
    assert done.returncode == 0, done.stderr
    after = kept.read_text(encoding="utf-8")
    assert "type: field-point" in after
    assert len(after) > len(before)


# What is taken from stock


def test_what_is_taken_from_stock_is_not_asked_and_is_saved_as_it_was_named() -> None:
    setup = read_setup(None, ["from_stock.head=H-3-1125", "discipline=hunting"], BASE.vocabulary)
    talk, _ = scripted(*["don't know"] * 30, "quit", stated=setup)
    assert len(talk.asked) == 30
    listed = next(item for item in BASE.ladder.items["point"] if item.id == "H-3-1125")
    assert listed.facts.keys().isdisjoint(talk.asked)
    assert talk.decision.items["point"] == "H-3-1125"
    text = setup_text(talk.setup, BASE.vocabulary)
    assert "from_stock:\n  head: H-3-1125\n" in text
    assert "cutting_width" not in text
    again = read_setup("saved.yaml", [], BASE.vocabulary, text=text)
    assert {group: number.value for group, number in again.taken.items()} == {"point": "H-3-1125"}


# Numbers of choices


def test_a_digit_means_the_number_where_choices_are_numbers() -> None:
    entry = BASE.vocabulary["jig.indexes"]
    assert read_answer(entry, "3").value == ("three",)
    assert read_answer(entry, "3, 6").value == ("three", "six")
    with pytest.raises(UnfitError):
        read_answer(entry, "1")
    # Elsewhere it is the place in the list, which is shown with it.
    assert read_answer(BASE.vocabulary["point.type"], "1").value == "field-point"
    shown = choices(entry.choices)
    assert [line.split()[:2] for line in shown] == [["3", "three"], ["4", "four"], ["6", "six"]]


@untraced
def test_no_wrap_settles_all_of_the_wrap() -> None:
    talk, _ = scripted(*["don't know"] * 60, stated=Setup("", {}))
    assert "wrap.mass" in talk.asked
    assert not talk.setup.facts
    builder = {"wrap.mass": "no wrap", "point.type": "fixed-blade"}
    talk, _, _ = held(builder)
    stated = {name: given.value for name, given in talk.setup.facts.items()}
    assert stated["wrap.mass"] == stated["wrap.length"] == 0.0
    assert "wrap.length" not in talk.decision.rests_on
    assert "wrap.length: 0" not in setup_text(talk.setup, BASE.vocabulary)  # nested under wrap
    assert "  length: 0 in" in setup_text(talk.setup, BASE.vocabulary)
