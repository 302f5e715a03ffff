"""Rule bases out of git revisions, and what is said where there is none."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from advisor.comparing_rules import compare_rules, compare_versions
from advisor.errors import Faults
from advisor.revisions import read_version
from tests.rulebase.folders import TEA, write_house, write_kettle


def git(folder: Path, *arguments: str) -> None:
    subprocess.run(
        [
            "git",
            "-C",
            str(folder),
            "-c",
            "user.name=t",
            "-c",
            "user.email=t@example.org",
            *arguments,
        ],
        check=True,
        capture_output=True,
    )


def committed_twice(root: Path, house: str) -> Path:
    """Make a repository with the kettle's rules, a house over them elsewhere, and a change."""
    root.mkdir()
    git(root, "init", "-q", "-b", "main")
    write_kettle(root / "rules")
    write_house(root / house, {})
    git(root, "add", ".")
    git(root, "commit", "-q", "-m", "first")
    git(root, "tag", "first")
    herb = TEA.replace("tea.kind: green", "tea.kind: herb")
    write_kettle(root / "rules", {"tea.yaml": herb})
    git(root, "commit", "-q", "-a", "-m", "second")
    return root


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    """Return a repository with a house over the kettle, changed once, not committed twice."""
    return committed_twice(tmp_path / "repository", "rules")


def refused(name: str) -> str:
    with pytest.raises(Faults) as faults:
        read_version(name)
    return " ".join(faults.value.text("nothing was compared").split())


def test_a_revision_is_compared_with_the_folder(repository: Path) -> None:
    folder = str(repository / "rules" / "kettle")
    found = compare_rules(
        read_version(f"{folder}@first"), read_version(folder), setups=2000, builds=20
    )
    (one,) = found.rules
    assert (one.rule, one.what) == ("glass-shows-the-leaves", "changed")
    assert one.old is not None
    assert one.old.file == "kettle/tea.yaml"
    assert compare_rules(read_version(f"{folder}@main"), read_version(folder)).rules == ()


def test_what_a_rule_base_extends_is_that_of_the_revision(repository: Path) -> None:
    house = str(repository / "rules" / "house")
    old, new = read_version(f"{house}@HEAD~1"), read_version(house)
    assert [layer.name for layer in old.layers] == ["kettle", "house"]
    found = compare_rules(old, new, setups=2000, builds=0)
    assert [one.rule for one in found.rules] == ["glass-shows-the-leaves"]


def test_a_folder_that_is_gone_can_still_be_named(repository: Path) -> None:
    git(repository, "rm", "-q", "-r", "rules/house")
    git(repository, "commit", "-q", "-m", "gone")
    assert read_version(str(repository / "rules" / "house@first")).name == "house"
    assert "there is no rule base in" in refused(str(repository / "rules" / "house@main"))


def test_a_folder_that_really_has_that_name_comes_first(repository: Path) -> None:
    os.rename(repository / "rules" / "kettle", repository / "rules" / "kettle@first")
    found = read_version(str(repository / "rules" / "kettle@first"))
    assert str(repository) in found.layers[0].folder


def test_a_relative_folder_is_found_from_where_the_user_stands(
    repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(repository / "rules" / "house")
    assert read_version("../kettle@first").name == "kettle"
    assert read_version(".@first").name == "house"


@pytest.mark.parametrize("revision", ["nowhere", "--help", "first:rules", "-1"])
def test_an_unknown_revision_is_one_clear_report(repository: Path, revision: str) -> None:
    report = refused(str(repository / "rules" / "kettle") + f"@{revision}")
    assert f"the repository has no revision `{revision}`" in report
    assert report.endswith("1 fault; nothing was compared")


def test_a_folder_in_no_repository_is_said_to_be(tmp_path: Path) -> None:
    assert "lies in no git repository" in refused(write_kettle(tmp_path) + "@first")


def test_git_that_is_not_there_is_said_to_be(
    repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(repository))
    assert "git is not installed" in refused(str(repository / "rules" / "kettle") + "@first")


def test_faults_of_a_revision_name_its_files(repository: Path) -> None:
    (repository / "rules" / "kettle" / "tea.yaml").write_text("- id: x\n", encoding="utf-8")
    git(repository, "commit", "-q", "-a", "-m", "broken")
    report = refused(str(repository / "rules" / "kettle") + "@main")
    assert "main:rules/kettle/tea.yaml:1:3" in report
    assert "arrow-advisor-" not in report


def test_a_name_without_a_folder_is_refused() -> None:
    assert "no folder and no FOLDER@REVISION" in refused("@first")


def test_faults_of_both_versions_are_told_together(repository: Path) -> None:
    folder = repository / "rules" / "kettle"
    (folder / "tea.yaml").write_text("- id: x\n", encoding="utf-8")
    with pytest.raises(Faults) as faults:
        compare_versions(f"{folder}@nowhere", str(folder))
    told = faults.value.text("nothing was compared")
    assert "no revision" in told
    assert "tea.yaml:1:3" in told
    assert faults.value.exit_status == 3
    with pytest.raises(Faults) as usage:
        compare_versions(f"{folder}@nowhere", f"{folder}@first")
    assert usage.value.exit_status == 2


def test_versions_are_compared_by_name_over_a_population(repository: Path, tmp_path: Path) -> None:
    folder = str(repository / "rules" / "kettle")
    people = tmp_path / "people.yaml"
    people.write_text(
        "population: herbs\nbecause: Made up.\nfacts:\n  tea.kind: {choices: {herb: 1}}\n",
        encoding="utf-8",
    )
    found = compare_versions(f"{folder}@first", folder, str(people), setups=500, builds=5)
    (topic,) = found.topics
    assert (topic.topic, topic.changed, topic.of) == ("pot.lid", 500, 500)
    assert found.population is not None
    assert found.population.name == "herbs"


@pytest.fixture
def moved(tmp_path: Path) -> Path:
    """Return a repository whose house does not lie beside what it extends, then both changed."""
    return committed_twice(tmp_path / "moved", "shops/corner")


def test_what_lies_elsewhere_in_the_repository_is_that_of_the_revision(moved: Path) -> None:
    house = str(moved / "shops" / "corner" / "house")
    hints: list[str] = []
    old, new = (read_version(f"{house}@{rev}", hints) for rev in ("first", "main"))
    assert hints == []
    (one,) = compare_rules(old, new, setups=2000, builds=0).rules
    assert one.rule == "glass-shows-the-leaves"
    assert one.old is not None
    assert one.old.file == "kettle/tea.yaml"


def test_faults_of_what_lies_elsewhere_name_where_it_lies(moved: Path) -> None:
    write_kettle(moved / "rules", {"pot.yaml": "- id: x\n"})
    git(moved, "commit", "-q", "-a", "-m", "broken")
    told = refused(f"{moved / 'shops' / 'corner' / 'house'}@main")
    assert "main:rules/kettle/pot.yaml" in told


def test_that_todays_rules_were_taken_is_said(moved: Path) -> None:
    """A house over the shipped rules, in a repository that has none of them."""
    house = moved / "shops" / "ours"
    house.mkdir()
    (house / "manifest.yaml").write_text(
        'name: ours\nversion: 1.0.0\nextends: {name: base, version: ">=0.1,<9"}\n',
        encoding="utf-8",
    )
    git(moved, "add", ".")
    git(moved, "commit", "-q", "-m", "ours")
    found = compare_versions(f"{house}@main", str(house), setups=0, builds=0)
    (hint,) = found.hints
    assert "`base`, are not in main: those that ship with the program were taken" in hint
