"""The reviewer's commands, as a reviewer types them."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from advisor import cli_common
from tests.heavy import untraced
from tests.test_cli import run

ROOT = Path(__file__).resolve().parents[1]
HUNTING = str(ROOT / "examples" / "fixed-blade-hunting.yaml")
LIGHT = str(ROOT / "examples" / "too-light.yaml")
QUILLMERE = ROOT / "examples" / "quillmere"
HOUSE = ("--rules", str(QUILLMERE / "rules"), "--stock", str(QUILLMERE / "stock.yaml"))
COMMANDS: dict[str, tuple[str, ...]] = {
    "why": ("fletching.count",),
    "why-not": ("fletching.count=3",),
    "turning-points": (),
    "compare": ("--build", "fletching.count=3"),
    "review": (),
}


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("saved") / "hunting.json"
    status, _, _ = run("advise", HUNTING, "--format", "json", "--out", str(path))
    assert status == 0
    return str(path)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_saved_decision_is_answered_as_its_setup_is(command: str, saved: str) -> None:
    form = ("--format", "json")
    first = run(command, HUNTING, *COMMANDS[command], *form)
    again = run(command, saved, *COMMANDS[command], *form)
    assert first[0] == again[0] == 0, first[2] + again[2]
    assert json.loads(first[1]) == json.loads(again[1])


@untraced
@pytest.mark.parametrize("command", COMMANDS)
def test_every_form_is_written_and_no_other(command: str, tmp_path: Path) -> None:
    help_text = run(command, "--help")[1]
    (forms,) = re.findall(r"--format\s+([a-z|]+)", help_text)
    for form in forms.split("|"):
        out = tmp_path / f"{command}.{form}"
        status, shown, said = run(
            command, HUNTING, *COMMANDS[command], "--format", form, "--out", str(out)
        )
        assert (status, shown) == (0, ""), said
        text = out.read_text(encoding="utf-8")
        starts = {"json": "{", "svg": "<svg", "html": "<!doctype html>"}.get(form)
        assert text.lower().startswith(starts) if starts else len(text) > 200
    status, _, said = run(command, HUNTING, *COMMANDS[command], "--format", "pdf")
    assert status == 2
    assert "`pdf` is no format" in said


@pytest.mark.parametrize("command", COMMANDS)
def test_a_house_is_answered_by_its_own_rules(command: str) -> None:
    customer = str(QUILLMERE / "customers" / "walk-in.yaml")
    status, shown, said = run(command, customer, *COMMANDS[command], *HOUSE)
    assert status == 0, said
    assert "quillmere" in shown


@pytest.mark.parametrize("command", COMMANDS)
def test_faults_of_the_setup_are_told_together(command: str, tmp_path: Path) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("point: {type: fixed-bladed}\nbow: {draw_wieght: 60 lb}\n")
    status, shown, said = run(command, str(bad), *COMMANDS[command])
    assert (status, shown) == (2, "")
    assert "did you mean fixed-blade?" in said
    assert "did you mean bow.draw_weight?" in said
    assert re.search(r"2 faults; nothing was (told|compared)$", said.strip())
    missing = run(command, str(tmp_path / "none.yaml"), *COMMANDS[command])
    assert missing[0] == 2
    assert "Traceback" not in missing[2]
    rules = run(command, HUNTING, *COMMANDS[command], "--rules", str(tmp_path))
    assert rules[0] == 3


def test_names_that_are_none_are_refused_with_a_remedy() -> None:
    for words, remedy in (
        (("why", HUNTING, "fletching.cuont"), "did you mean fletching.count?"),
        (("why-not", HUNTING, "four-vanes-behind-blades"), "did you mean"),
        (("why-not", HUNTING, "fletching.count=5"), "offered: 3, 4"),
        (("why-not", HUNTING, "point.mass=90 gr", "vane.lenght=2 in"), "did you mean vane.length?"),
        (("compare", HUNTING, "--build", "fletching.count=5"), "--build fletching.count"),
    ):
        status, shown, said = run(*words)
        assert (status, shown) == (2, ""), words
        assert remedy in said, said
        assert ("--build" in said) == (words[0] == "compare")


def test_it_takes_two_to_compare(saved: str) -> None:
    assert "it takes two to compare" in run("compare", HUNTING)[2]
    many = [word for n in "345" for word in ("--build", f"fletching.count={n}")]
    assert "it takes two to compare" in run("compare", HUNTING, *many)[2]
    both = run("compare", HUNTING, saved, "--build", "fletching.count=3")
    assert both[0] == 2
    assert "two setups are named already" in both[2]


def test_two_setups_and_two_builds_are_compared(saved: str) -> None:
    status, shown, _ = run("compare", saved, str(ROOT / "examples" / "mechanical-head.yaml"))
    assert status == 0
    assert "Two Decisions side by side" in shown
    two = ("--build", "fletching.count=3", "--build", "fletching.count=4")
    status, shown, _ = run("compare", HUNTING, *two)
    assert status == 0
    assert "Two builds side by side" in shown
    assert "four-vanes-behind-exposed-blades" in shown
    # Where neither is to be built, the exit status says so.
    status, shown, _ = run("compare", LIGHT, *two)
    assert status == 1
    assert "Neither is to be built" in shown


def test_a_setup_may_come_by_standard_input() -> None:
    status, shown, said = run("turning-points", "-", stdin=Path(LIGHT).read_text())
    assert status == 0, said
    assert "standard input:" in shown
    assert "about 64.4 lb" in shown


def test_what_is_stated_beside_the_file_stands_over_it(saved: str) -> None:
    for subject in (HUNTING, saved):
        status, shown, _ = run("why", subject, "bow.draw_weight", "--set", "bow.draw_weight=61 lb")
        assert status == 0
        assert "61 lb" in shown


def test_a_decision_is_not_answered_by_other_rules(saved: str) -> None:
    status, _, said = run("why", saved, "fletching.count", "--rules", HOUSE[1])
    assert status == 2
    assert "this was decided by base" in said
    status, _, said = run("turning-points", saved, *HOUSE)
    assert status == 2
    assert "this was chosen from the stock" in said


def test_a_recheck_holds_or_says_what_does_not(saved: str, tmp_path: Path) -> None:
    status, shown, said = run("recheck", saved)
    assert status == 0, said
    assert shown.strip().splitlines()[-1].startswith("Holds")
    data = json.loads(Path(saved).read_text(encoding="utf-8"))
    data["numbers"]["arrow.mass"]["value"] += 1
    edited = tmp_path / "edited.json"
    edited.write_text(json.dumps(data))
    status, shown, _ = run("recheck", str(edited))
    assert status == 1
    assert "arrow.mass" in shown
    status, shown, _ = run("recheck", str(edited), "--format", "json")
    assert status == 1
    assert json.loads(shown)["holds"] is False
    for path in (HUNTING, str(tmp_path / "none.json")):
        status, shown, said = run("recheck", path)
        assert (status, shown) == (2, "")
        assert "nothing was checked" in said


def test_inputs_are_not_written_over(saved: str) -> None:
    before = Path(saved).read_bytes()
    for command, words in COMMANDS.items():
        status, _, said = run(command, saved, *words, "--out", saved)
        assert status == 2
        assert "is what the advice is about" in " ".join(said.split())
    assert run("recheck", saved, "--out", saved)[0] == 2
    assert Path(saved).read_bytes() == before


def test_progress_is_shown_on_a_terminal_alone(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: False, raising=False)
    assert cli_common.progress("builds judged") is None
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    show = cli_common.progress("builds judged")
    assert show is not None
    show(5, 10)
    show(10, 10)
    assert capsys.readouterr().err == (
        f"\r[{'#' * 15}{'.' * 15}] 5 of 10 builds judged\r[{'#' * 30}] 10 of 10 builds judged\n"
    )


def test_they_stand_in_the_list_of_commands_and_cost_the_others_nothing() -> None:
    listed = run("--help")[1]
    for command in (*COMMANDS, "recheck"):
        assert re.search(rf"^  {command} ", listed, re.MULTILINE)
    order = [line.split()[0] for line in listed.split("Commands:")[1].strip().splitlines()]
    assert order[:3] == ["advise", "ask", "why"]
    wrong = run("turning")
    assert wrong[0] == 2
