"""Rule bases that are refused, each with the exact report beside it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from advisor import documents
from advisor.errors import Faults
from advisor.rulebase.read import read_rule_base
from tests.rulebase.folders import KETTLE, MANIFEST, rule, write, write_house, write_kettle

REFUSED = Path(__file__).parents[1] / "refused" / "rules"
LESSONS = sorted(folder for folder in REFUSED.iterdir() if folder.is_dir())


def refusal(folder: str, *, cache: bool = True) -> str:
    """Return the whole report, as a command would end with it."""
    with pytest.raises(Faults) as raised:
        read_rule_base(folder, cache=cache)
    assert raised.value.about == "rules"
    assert raised.value.exit_status == 3
    return raised.value.text("the rules were not used")


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda folder: folder.name)
def test_a_refused_rule_base_gets_exactly_its_report(
    lesson: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(lesson)
    expected = (lesson / "expected.txt").read_text(encoding="utf-8")
    folder = "house" if (lesson / "house").is_dir() else "."
    assert refusal(folder) + "\n" == expected
    # Documents that hold by themselves are cached; the report must have its places all the same.
    monkeypatch.setenv("ADVISOR_CACHE", str(tmp_path / "cache"))
    assert refusal(folder) + "\n" == expected
    assert refusal(folder) + "\n" == expected


def test_every_lesson_teaches_something_of_its_own() -> None:
    assert len(LESSONS) >= 50
    assert len({(lesson / "expected.txt").read_text() for lesson in LESSONS}) == len(LESSONS)


def test_a_lesson_is_refused_for_nothing_but_its_fault(tmp_path: Path) -> None:
    # The rule base that the tests below spoil is sound.
    assert read_rule_base(write_kettle(tmp_path)).name == "kettle"


# Folders and files that cannot be read.


def test_a_folder_that_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert refusal("quillmere") == (
        "quillmere  the rule base cannot be read: no such file or directory\n"
        "           name a folder\n"
        "1 fault; the rules were not used"
    )


def test_a_file_given_as_a_rule_base(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write(tmp_path, {"tea.yaml": KETTLE["tea.yaml"]})
    assert refusal("tea.yaml") == (
        "tea.yaml  the rule base cannot be read: not a directory\n"
        "          name a folder\n"
        "1 fault; the rules were not used"
    )


def test_a_link_that_leads_out_of_the_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_kettle(tmp_path, {"pot.yaml": None, "vocabulary.yaml": None})
    write(tmp_path / "elsewhere", {"pot.yaml": KETTLE["pot.yaml"]})
    Path("kettle/pot.yaml").symlink_to("../elsewhere/pot.yaml")
    Path("kettle/vocabulary.yaml").symlink_to("../elsewhere/nowhere.yaml")
    # What the two files would have declared is nobody's fault: it is not told as missing.
    assert refusal("kettle") == (
        "kettle/pot.yaml         this file is a link that leads out of the rule base\n"
        "                        copy the file into the folder\n"
        "kettle/vocabulary.yaml  this file is a link that leads out of the rule base\n"
        "                        copy the file into the folder\n"
        "2 faults; the rules were not used"
    )


def test_a_manifest_that_is_a_link_out_of_the_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_kettle(tmp_path)
    Path("kettle/manifest.yaml").rename("manifest.yaml")
    Path("kettle/manifest.yaml").symlink_to("../manifest.yaml")
    assert refusal("kettle") == (
        "kettle/manifest.yaml  this file is a link that leads out of the rule base\n"
        "                      copy the file into the folder\n"
        "1 fault; the rules were not used"
    )


def test_a_link_inside_the_folder_is_read(tmp_path: Path) -> None:
    folder = Path(write_kettle(tmp_path))
    (folder / "pot.yaml").rename(folder / "pot.txt")
    (folder / "pot.yaml").symlink_to("pot.txt")
    assert "small-pot" in read_rule_base(str(folder)).entries


def test_a_folder_reached_through_a_link_is_read(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(write_kettle(tmp_path))
    assert read_rule_base(str(tmp_path / "link")).name == "kettle"


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_kettle(tmp_path)
    tmp_path.chmod(0o755)
    for parent in tmp_path.parents[:2]:
        parent.chmod(0o755)
    Path("kettle/pot.yaml").chmod(0)
    # The superuser may read everything, so he lays his power down for a moment.
    user = os.geteuid()
    if user == 0:
        os.seteuid(65534)
    try:
        told = refusal("kettle")
    finally:
        os.seteuid(user)
    assert told == (
        "kettle/pot.yaml  there is no permission to read this file\n"
        "                 change its permissions, or copy it to where you may read it\n"
        "1 fault; the rules were not used"
    )


def test_files_that_hold_no_text_are_told_with_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_kettle(tmp_path, {"empty.yaml": "", "twice.yaml": "- id: one\n  id: two\n"})
    Path("kettle/latin.yaml").write_bytes(b"- says: caf\xe9\n")
    Path("kettle/large.yaml").write_bytes(b"#" * (documents.LARGEST + 1))
    Path("kettle/folder.yaml").mkdir()
    assert refusal("kettle") == (
        "kettle/empty.yaml:1:1   this holds nothing\n"
        "                        write at least one line, or name another file\n"
        "kettle/folder.yaml      this is a folder, not a file\n"
        "                        name a file\n"
        "kettle/large.yaml       this is larger than 1 MiB\n"
        "                        check that it is the right file, or split it\n"
        "kettle/latin.yaml:1:12  the byte 0xE9 is not UTF-8\n"
        "                        save the file as UTF-8 (in Latin-1 this byte is `\u00e9`)\n"
        "kettle/twice.yaml:2:3   `id` is written twice\n"
        "                        keep one of them; the first is at line 1, column 3\n"
        "5 faults; the rules were not used"
    )


def test_a_file_whose_name_is_not_utf8_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ADVISOR_CACHE", str(tmp_path / "cache"))
    folder = write_kettle(tmp_path, {"pot.yaml": None})
    name = os.path.join(os.fsencode(folder), b"p\xf6t.yaml")
    try:
        Path(os.fsdecode(name)).write_text(KETTLE["pot.yaml"], encoding="utf-8")
    except OSError:  # pragma: no cover  # some file systems take UTF-8 only
        pytest.skip("this file system takes names in UTF-8 only")
    first, second = read_rule_base(folder), read_rule_base(folder)
    assert "small-pot" in first.entries
    assert first.entries == second.entries
    Path(os.fsdecode(name)).write_text(rule("small-pot", "[{should: {tea.knd: black}}]"))
    assert "kettle/p\\udcf6t.yaml:3:29" in refusal(folder)


# Size: what no eye would write, a program might.


def test_a_long_chain_of_steps_is_no_trouble(tmp_path: Path) -> None:
    chain = [rule("step-0", "[{step: {phase: bond, text: Begin.}}]")]
    chain += [
        rule(f"step-{i}", f"[{{step: {{phase: bond, text: Go on., after: [step-{i - 1}]}}}}]")
        for i in range(1, 3000)
    ]
    half = len(chain) // 2
    write_kettle(tmp_path, {"one.yaml": "".join(chain[:half]), "two.yaml": "".join(chain[half:])})
    base = read_rule_base(str(tmp_path / "kettle"))
    assert base.entries["step-2999"].steps[0].after == ("step-2998",)
    # The same chain closed to a circle, and the report of it is one fault.
    chain[0] = rule("step-0", "[{step: {phase: bond, text: Begin., after: [step-2999]}}]")
    write(tmp_path / "kettle", {"one.yaml": "".join(chain[:half])})
    with pytest.raises(Faults) as raised:
        read_rule_base(str(tmp_path / "kettle"))
    (fault,) = raised.value.faults
    assert fault.what.startswith("steps wait for each other: step-0 after step-2999 after ")
    assert fault.what.endswith(" after step-1 after step-0")


def test_what_a_user_wrote_is_cut_where_it_is_long(tmp_path: Path) -> None:
    long = "x" * 5000
    write_kettle(tmp_path, {"long.yaml": rule("long", f"[{{should: {{pot.lid: {long}}}}}]")})
    told = refusal(str(tmp_path / "kettle"))
    assert f"`{'x' * 57}...` is no choice of pot.lid" in " ".join(told.split())
    assert len(told) < 500


# Faults that only show between layers are in tests/refused/rules; these need several houses.


MIDDLE = "name: middle\nversion: 1.0.0\nextends: {name: kettle}\n"
TOP = "name: top\nversion: 1.0.0\nextends: {name: middle}\n"


def three(root: Path, top: dict[str, str], middle: dict[str, str]) -> None:
    """Write a top house over a middle one over the kettle."""
    write_kettle(root)
    write_house(root, {"manifest.yaml": MIDDLE, **middle}, "middle")
    write_house(root, {"manifest.yaml": TOP, **top}, "top")


def test_what_the_house_below_replaced_is_named_by_its_replacement(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    three(
        tmp_path,
        {
            "manifest.yaml": TOP + "retire: [{rule: boil-the-water, because: it comes hot}]\n",
            "habits.yaml": rule("ours", "[{should: {pot.lid: clay}}]", replaces="small-pot"),
        },
        {
            "habits.yaml": rule("theirs", "[{should: {pot.lid: clay}}]", replaces="boil-the-water"),
            "manifest.yaml": MIDDLE + "retire: [{rule: small-pot, because: there is one pot}]\n",
        },
    )
    assert refusal("top") == (
        "top/habits.yaml:6:13    `small-pot` is retired by `middle` already\n"
        "                        do one of them\n"
        "top/manifest.yaml:4:17  `boil-the-water` is replaced by `theirs` already\n"
        "                        name that rule instead\n"
        "2 faults; the rules were not used"
    )


def test_a_house_cannot_rule_the_house_above_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    three(
        tmp_path,
        {"habits.yaml": rule("ours", "[{should: {pot.lid: clay}}]")},
        {
            "habits.yaml": rule("theirs", "[{should: {pot.lid: clay}}]", replaces="ours"),
            "manifest.yaml": MIDDLE + "retire: [{rule: ours, because: we know better}]\n",
        },
    )
    assert refusal("top") == (
        "middle/habits.yaml:6:13    `ours` is no rule of a layer under this one\n"
        "                           edit or drop the rule itself\n"
        "middle/manifest.yaml:4:17  `ours` is no rule of a layer under this one\n"
        "                           edit or drop the rule itself\n"
        "2 faults; the rules were not used"
    )


@pytest.mark.parametrize(
    ("wanted", "fits"),
    [
        (">=1.2,<2", True),
        (">=1.2.0", True),
        (">1.1.9", True),
        (">1.2", False),
        ("<1.2", False),
        ("<=1.2", True),
        ("==1.2.0", True),
        ("==1.2.1", False),
        ("!=1.2.0", False),
        ("!=1.3", True),
        (" >= 1 , < 2 ", True),
        (">=2", False),
        (">=1.10", False),  # numbers, not letters: 10 is more than 2
    ],
)
def test_a_house_says_which_versions_it_was_written_for(
    wanted: str, fits: bool, tmp_path: Path
) -> None:
    write_kettle(tmp_path)
    manifest = f"name: house\nversion: 1.0.0\nextends: {{name: kettle, version: '{wanted}'}}\n"
    house = write_house(tmp_path, {"manifest.yaml": manifest})
    if fits:
        assert len(read_rule_base(house).layers) == 2
    else:
        assert f"`kettle` is at version 1.2.0, not `{wanted}`" in " ".join(refusal(house).split())


@pytest.mark.parametrize("wanted", ["1.2", "~=1.2", ">=1.2.3.4", ">=", ">=1,", "latest", "^1", " "])
def test_a_range_that_is_none_is_refused(wanted: str, tmp_path: Path) -> None:
    write_kettle(tmp_path)
    manifest = f"name: house\nversion: 1.0.0\nextends: {{name: kettle, version: '{wanted}'}}\n"
    house = write_house(tmp_path, {"manifest.yaml": manifest})
    assert "is no version bound" in " ".join(refusal(house).split())


@pytest.mark.parametrize("version", ["1.0", "v1.0.0", "1.0.0.0", "one", ""])
def test_a_version_is_a_semantic_one(version: str, tmp_path: Path) -> None:
    manifest = MANIFEST.replace("1.2.0", f"'{version}'")
    told = refusal(write_kettle(tmp_path, {"manifest.yaml": manifest}))
    assert "version must be" in " ".join(told.split())


def test_an_earlier_release_is_read_as_its_numbers(tmp_path: Path) -> None:
    write_kettle(tmp_path, {"manifest.yaml": MANIFEST.replace("1.2.0", "1.2.0-rc.1+build.5")})
    assert read_rule_base(write_house(tmp_path, {})).layers[0].version == "1.2.0-rc.1+build.5"
