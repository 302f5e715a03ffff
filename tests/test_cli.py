from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from advisor.cli import app

ROOT = Path(__file__).resolve().parents[1]
HUNTING = str(ROOT / "examples" / "fixed-blade-hunting.yaml")
runner = CliRunner()


def run(*words: str, stdin: str | None = None) -> tuple[int, str, str]:
    result = runner.invoke(app, list(words), input=stdin)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


def test_advice_goes_to_standard_output_and_exits_with_0() -> None:
    status, out, err = run("advise", HUNTING)
    assert status == 0
    assert err == ""
    assert out.startswith("Ansel Brook, ridge elk dozen")
    assert "4 vanes, 2.6 in long" in out
    assert all(len(line) <= 80 for line in out.splitlines())
    assert "\x1b" not in out


def test_set_alone_is_enough() -> None:
    status, out, _ = run("advise", "--set", "point.type=fixed-blade")
    assert status == 0
    assert "4 vanes" in out


def test_set_stands_over_the_file() -> None:
    _, out, _ = run("advise", HUNTING, "--set", "point.type=mechanical", "--format", "json")
    decision = json.loads(out)
    assert decision["given"]["point.type"] == "mechanical"
    assert decision["stated"]["point.type"]["file"] == "--set point.type"


def test_a_setup_can_be_read_from_standard_input() -> None:
    status, out, _ = run("advise", "-", stdin="title: Piped\npoint: {type: field-point}\n")
    assert status == 0
    assert out.startswith("Piped")
    status, _, err = run("advise", "-", stdin="point: {type: field-pont}\n")
    assert status == 2
    assert "standard input:1:15" in err


def test_nothing_stated_is_refused() -> None:
    status, out, err = run("advise")
    assert (status, out) == (2, "")
    assert "nothing is stated" in err


@pytest.mark.parametrize(
    "example", ["left-bevel-right-clamp", "too-light"], ids=["rejected", "stopped"]
)
def test_no_build_exits_with_1(example: str) -> None:
    status, out, err = run("advise", str(ROOT / "examples" / f"{example}.yaml"))
    assert status == 1
    assert err == ""
    assert "Nearest build" in out


def test_a_refused_setup_exits_with_2_and_tells_all_faults() -> None:
    status, out, err = run("advise", str(ROOT / "examples" / "mistyped.yaml"))
    assert (status, out) == (2, "")
    assert err.rstrip().endswith("11 faults; nothing was advised")


def test_faults_of_setup_and_stock_are_told_together(tmp_path: Path) -> None:
    setup, stock = tmp_path / "setup.yaml", tmp_path / "stock.yaml"
    setup.write_text("point: {typ: blunt}\n")
    stock.write_text("vanes: [{lenght: 2 in}]\n")
    status, _, err = run("advise", str(setup), "--stock", str(stock))
    assert status == 2
    assert "`point.typ` is no fact" in err
    assert "`vane.lenght` is no fact" in err
    assert "2 faults" in err


def test_refused_rules_exit_with_3(tmp_path: Path) -> None:
    status, out, err = run("advise", HUNTING, "--rules", str(tmp_path))
    assert (status, out) == (3, "")
    assert "there is no manifest.yaml" in err
    assert err.rstrip().endswith("1 fault; the rules were not used")


def test_out_writes_a_whole_file_or_none(tmp_path: Path) -> None:
    target = tmp_path / "advice.json"
    status, out, _ = run("advise", HUNTING, "--format", "json", "--out", str(target))
    assert (status, out) == (0, "")
    assert json.loads(target.read_text())["status"] == "advised"
    assert [path.name for path in tmp_path.iterdir()] == ["advice.json"]
    status, _, err = run("advise", HUNTING, "--out", str(tmp_path / "no" / "advice.txt"))
    assert status == 2
    assert "this cannot be written" in err


def test_an_unknown_format_is_refused_with_a_remedy() -> None:
    status, _, err = run("advise", HUNTING, "--format", "jsn")
    assert status == 2
    assert "did you mean json?" in err


def test_rules_list_by_topic() -> None:
    status, out, _ = run("rules", "list", "--topic", "side")
    assert status == 0
    assert out.startswith("side (")
    assert "match-a-left-bevel" in out
    status, out, _ = run("rules", "list", "--format", "json")
    listed = json.loads(out)
    assert len(listed) >= 60
    assert {"id", "topic", "says", "does", "evidence", "layer", "contested"} <= set(listed[0])
    status, _, err = run("rules", "list", "--topic", "sides")
    assert status == 2
    assert "did you mean side?" in err


def test_rules_show_prints_a_page() -> None:
    status, out, _ = run("rules", "show", "match-a-left-bevel")
    assert status == 0
    for head in ("When", "Then", "Because", "Evidence", "Overrides", "Cases", "Written in"):
        assert f"\n{head}\n" in out, head
    assert all(len(line) <= 80 for line in out.splitlines() if " " in line.strip())
    page = json.loads(run("rules", "show", "match-a-left-bevel", "--format", "json")[1])
    assert page["cases"]
    assert page["line"] > 0


def test_rules_show_tells_near_misses() -> None:
    status, _, err = run("rules", "show", "match-left-bevel")
    assert status == 2
    assert "did you mean match-a-left-bevel?" in err


def process(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "advisor", *words],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        check=False,
    )


def test_shell_completion_completes_facts_choices_and_rules() -> None:
    def complete(line: str) -> list[str]:
        done = process(_ADVISOR_COMPLETE="complete_zsh", _TYPER_COMPLETE_ARGS=f"advisor {line}")
        return done.stdout.replace("\\", "").splitlines()

    assert any("point.type=" in line for line in complete("advise --set point.ty"))
    assert any("fixed-blade" in line for line in complete("advise --set point.type=fix"))
    assert any("match-a-left-bevel" in line for line in complete("rules show match"))
    assert any("json" in line for line in complete("advise --format js"))


def test_a_closed_pipe_is_no_fault() -> None:
    done = subprocess.run(
        f"{sys.executable} -m advisor advise {HUNTING} | head -n 1",
        shell=True,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )
    assert done.stdout.startswith("Ansel Brook")
    assert done.stderr == ""


def test_colour_only_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    from advisor.cli_common import colour

    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert colour(None)
    assert not colour("file")
    monkeypatch.setenv("NO_COLOR", "1")
    assert not colour(None)


def test_facts_lists_what_can_be_stated() -> None:
    status, out, _ = run("facts", "point")
    assert status == 0
    assert out.startswith("Stated by you\n  point.type: head type\n")
    assert "in gr, 30 to 400" in out
    assert "rest.type" not in out
    status, out, _ = run("facts")
    assert "Concluded by rules" in out
    assert all(len(line) <= 80 for line in out.splitlines())
    status, _, err = run("facts", "pont")
    assert status == 2
    assert "did you mean point?" in err


def test_the_version_is_told() -> None:
    status, out, _ = run("--version")
    assert status == 0
    assert out.startswith("advisor ")


def test_out_spares_what_it_must_not_replace(tmp_path: Path) -> None:
    setup = tmp_path / "setup.yaml"
    setup.write_text("point: {type: blunt}\n")
    status, _, err = run("advise", str(setup), "--out", str(setup))
    assert (status, "is what the advice is about" in err) == (2, True)
    assert setup.read_text() == "point: {type: blunt}\n"
    status, _, err = run("advise", str(setup), "--out", "/dev/null")
    assert (status, "is no plain file" in err) == (2, True)
    status, out, _ = run("advise", str(setup), "--out", "-")
    assert (status, "Build" in out) == (0, True)
    target, link = tmp_path / "advice.txt", tmp_path / "link.txt"
    target.write_text("old")
    target.chmod(0o600)
    link.symlink_to(target)
    assert run("advise", str(setup), "--out", str(link))[0] == 0
    assert link.is_symlink()
    assert "Build" in target.read_text()
    assert target.stat().st_mode & 0o777 == 0o600


def test_a_full_disk_is_no_rejection() -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "advisor", "advise", HUNTING],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            check=False,
        )
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_fact_set_twice_is_refused() -> None:
    status, _, err = run("advise", "--set", "point.type=blunt", "--set", "point.type=mechanical")
    assert status == 2
    assert "`point.type` is stated twice" in err


def test_every_command_tells_of_itself_in_the_same_plain_shape() -> None:
    """Commands are gathered from several modules, each of which could bring a shape of its own."""
    ours = [[], ["rules"]]
    for words in ours:
        told = run(*words, "--help")[1]
        names = re.findall(r"(?m)^  ([a-z-]+)  ", told.split("Commands:")[1])
        assert len(names) > 2
        for name in names:
            status, told, _ = run(*words, name, "--help")
            assert status == 0
            assert told.startswith(f"Usage: root {' '.join([*words, name])} ")
            assert told.isascii()
