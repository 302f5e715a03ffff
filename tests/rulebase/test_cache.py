"""The cache: it changes how fast a rule base is read, and nothing that is read."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

import pytest

from advisor import documents
from advisor.errors import Faults
from advisor.rulebase import store
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base
from tests.rulebase.folders import KETTLE, rule, write, write_house, write_kettle


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "cache"
    monkeypatch.setenv("ADVISOR_CACHE", str(folder))
    return folder


@pytest.fixture
def kettle(tmp_path: Path) -> Path:
    return Path(write_kettle(tmp_path))


def all_of(base: RuleBase) -> dict[str, Any]:
    """Return everything that a rule base says."""
    return {
        "digest": base.digest,
        "layers": base.layers,
        "entries": base.entries,
        "rules": base.program.rules,
        "vocabulary": base.vocabulary.entries,
        "order of facts": tuple(base.vocabulary.entries),
        "sources": base.sources,
        "favours": base.favours,
        "assume": base.assume,
        "retired": base.retired,
        "ladder": base.ladder,
    }


@pytest.fixture
def no_yaml(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every attempt to read a document fail."""

    def refuse(path: str, *_args: object, **_more: object) -> None:
        raise AssertionError(f"{path} was read anew")

    monkeypatch.setattr(documents, "read_document", refuse)


def kept(cache: Path) -> list[Path]:
    return sorted(cache.glob("*.json"))


# A second reading.


def test_a_second_reading_reads_no_document_and_gives_the_same(
    cache: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = all_of(read_rule_base(str(kettle)))
    assert kept(cache)
    with monkeypatch.context() as patch:
        patch.setattr(documents, "read_document", None)
        second = all_of(read_rule_base(str(kettle)))
    assert second == first
    assert first == all_of(read_rule_base(str(kettle), cache=False))
    # Where things stand is kept too, also in the ladder.
    assert second["entries"]["boil-the-water"].line == 10


def test_the_base_rules_come_from_the_cache_as_they_are(
    cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = all_of(read_rule_base())
    with monkeypatch.context() as patch:
        patch.setattr(documents, "read_document", None)
        second = all_of(read_rule_base())
    assert second == first
    assert all(item.line for item in second["ladder"].items["vane"])


def test_a_house_takes_each_layer_from_the_cache(
    cache: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_house(
        kettle.parent, {"habits.yaml": rule("ours", "[{should: {pot.lid: clay}}]")}
    )
    under = read_rule_base(str(kettle)).digest
    first = all_of(read_rule_base(folder))
    with monkeypatch.context() as patch:
        patch.setattr(documents, "read_document", None)
        assert all_of(read_rule_base(folder)) == first
        assert read_rule_base(str(kettle)).digest == under
    assert first["digest"] != under
    other = write_house(
        kettle.parent, {"habits.yaml": rule("ours", "[{should: {pot.lid: glass}}]")}, "other"
    )
    assert read_rule_base(other).digest not in (under, first["digest"])


def test_another_folder_with_the_same_files_keeps_its_own_places(
    cache: Path, kettle: Path, tmp_path: Path
) -> None:
    read_rule_base(str(kettle))
    elsewhere = write_kettle(tmp_path / "elsewhere")
    base = read_rule_base(elsewhere)
    assert base.entries["small-pot"].file == os.path.join(elsewhere, "pot.yaml")
    assert base.layers[0].folder == elsewhere


# Changes.


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("manifest.yaml", "How to make", "Now to make"),
        ("vocabulary.yaml", "How many", "Now many"),
        ("sources.yaml", "A. Leaf", "B. Leaf"),
        ("ladder.yaml", "kitchen", "kitchin"),
        ("tea.yaml", "tastes", "wastes"),
        ("pot.yaml", "lighter", "tighter"),
    ],
)
def test_a_changed_byte_is_noticed(
    name: str, old: str, new: str, cache: Path, kettle: Path
) -> None:
    before = all_of(read_rule_base(str(kettle)))
    file = kettle / name
    times = file.stat()
    file.write_text(file.read_text().replace(old, new, 1))
    # Same length, same time: only the bytes tell.
    os.utime(file, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert (file.stat().st_size, file.stat().st_mtime_ns) == (times.st_size, times.st_mtime_ns)
    after = all_of(read_rule_base(str(kettle)))
    assert new in str(after)
    assert after != before
    assert after == all_of(read_rule_base(str(kettle), cache=False))


def test_a_file_added_or_renamed_is_noticed(cache: Path, kettle: Path) -> None:
    read_rule_base(str(kettle))
    write(kettle, {"more.yaml": rule("ours", "[{should: {pot.lid: clay}}]")})
    assert "ours" in read_rule_base(str(kettle)).entries
    (kettle / "more.yaml").rename(kettle / "other.yaml")
    assert read_rule_base(str(kettle)).entries["ours"].file == str(kettle / "other.yaml")
    (kettle / "other.yaml").unlink()
    assert "ours" not in read_rule_base(str(kettle)).entries


def test_bytes_that_move_from_file_to_file_are_noticed(cache: Path, kettle: Path) -> None:
    one, two = (
        rule("one", "[{should: {pot.lid: clay}}]"),
        rule("two", "[{should: {pot.lid: clay}}]"),
    )
    write(kettle, {"x.yaml": one + two, "y.yaml": "[]\n"})
    assert read_rule_base(str(kettle)).entries["two"].file.endswith("x.yaml")
    write(kettle, {"x.yaml": one, "y.yaml": two})
    assert read_rule_base(str(kettle)).entries["two"].file.endswith("y.yaml")


def test_what_the_files_held_when_they_were_hashed_is_what_is_kept(
    cache: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An editor that saves between the two must not leave a cache that lies ever after."""
    read = documents.read_document
    pot = KETTLE["pot.yaml"]

    def saved_meanwhile(path: str, *args: Any, **more: Any) -> documents.Document:
        write(kettle, {"pot.yaml": pot.replace("Boil the water.", "Spoil the water.")})
        return read(path, *args, **more)

    with monkeypatch.context() as patch:
        patch.setattr(documents, "read_document", saved_meanwhile)
        read_rule_base(str(kettle))
    write(kettle, {"pot.yaml": pot})
    assert read_rule_base(str(kettle)).entries["boil-the-water"].says == "Boil the water."


def test_a_refused_rule_base_leaves_no_trace_that_could_accept_it(
    cache: Path, kettle: Path
) -> None:
    write(kettle, {"pot.yaml": rule("ours", "[{should: {pot.lid: clay}}]", because="''")})
    for _ in range(2):
        with pytest.raises(Faults, match="because is empty"):
            read_rule_base(str(kettle))
    write(kettle, {"pot.yaml": KETTLE["pot.yaml"]})
    read_rule_base(str(kettle))
    write(kettle, {"tea.yaml": KETTLE["tea.yaml"].replace("tea.kind: green", "tea.kind: grey")})
    for _ in range(2):
        with pytest.raises(Faults, match=r"tea\.yaml:19:20"):
            read_rule_base(str(kettle))


# A cache that was damaged.


def spoilt(whole: bytes) -> dict[str, bytes]:
    seal, text = whole.split(b"\n", 1)
    middle = len(text) // 2
    return {
        "empty": b"",
        "cut in the middle": whole[: len(whole) // 2],
        "cut by one byte": whole[:-1],
        "one byte more": whole + b" ",
        "one byte changed": seal + b"\n" + text[:middle] + b"#" + text[middle + 1 :],
        "a digit changed": whole.replace(b"2000", b"2001"),
        "no text": b"\xff\xfe\x00",
        "another shape": seal + b"\n{}",
        "another list": b'[["manifest.yaml", {}, {}]]',
        "nothing": seal + b"\nnull",
        "only the seal": seal + b"\n",
        "no seal": text,
        "far too deep": b"[" * 100_000,
        "deep under its seal": seal + b"\n" + b"[" * 100_000,
    }


@pytest.mark.parametrize("how", spoilt(b"seal\n[2000]"))
def test_a_damaged_cache_is_ignored_and_mended(how: str, cache: Path, kettle: Path) -> None:
    first = all_of(read_rule_base(str(kettle)))
    whole = {file: file.read_bytes() for file in kept(cache)}
    assert len(whole) == 2  # the documents, and the digest made of them
    for file, content in whole.items():
        file.write_bytes(spoilt(content)[how])
    assert all_of(read_rule_base(str(kettle))) == first
    assert {file: file.read_bytes() for file in kept(cache)} == whole


def test_a_cache_file_that_is_a_folder_is_ignored(cache: Path, kettle: Path) -> None:
    first = all_of(read_rule_base(str(kettle)))
    for file in kept(cache):
        file.unlink()
        file.mkdir()
    assert all_of(read_rule_base(str(kettle))) == first


def test_a_file_of_another_format_is_not_looked_at(
    cache: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_rule_base(str(kettle))
    before = set(kept(cache))
    monkeypatch.setattr(store, "FORMAT", "another")
    read_rule_base(str(kettle))
    assert not before.issuperset(kept(cache))
    assert len(kept(cache)) == 2 * len(before)


# Where it is, and where it is not.


def test_off_means_that_nothing_is_written_or_read(
    tmp_path: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ADVISOR_CACHE", "off")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    assert all_of(read_rule_base(str(kettle))) == all_of(read_rule_base(str(kettle)))
    assert sorted(tmp_path.rglob("*")) == before
    assert store.folder() is None


def test_a_reading_without_the_cache_neither_fills_nor_reads_it(
    cache: Path, kettle: Path, no_yaml: None
) -> None:
    with pytest.raises(AssertionError, match="was read anew"):
        read_rule_base(str(kettle), cache=False)
    assert not cache.exists()


def test_a_reading_without_the_cache_does_not_look_into_it(
    cache: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_rule_base(str(kettle))
    monkeypatch.setattr(documents, "read_document", lambda *_a, **_m: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        read_rule_base(str(kettle), cache=False)


def test_the_cache_stands_where_the_system_keeps_caches(
    tmp_path: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("ADVISOR_CACHE")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    read_rule_base(str(kettle))
    assert len(kept(tmp_path / "xdg" / "arrow-advisor")) == 2
    assert (tmp_path / "xdg" / "arrow-advisor").stat().st_mode & 0o777 == 0o700
    monkeypatch.delenv("XDG_CACHE_HOME")
    read_rule_base(str(kettle))
    assert len(kept(tmp_path / "home" / ".cache" / "arrow-advisor")) == 2


def test_a_cache_that_cannot_be_made_is_done_without(
    tmp_path: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("ADVISOR_CACHE", str(tmp_path / "file" / "cache"))
    first = all_of(read_rule_base(str(kettle)))
    assert all_of(read_rule_base(str(kettle))) == first
    assert (tmp_path / "file").read_text() == "in the way"


def test_a_cache_that_cannot_be_written_is_done_without(cache: Path, kettle: Path) -> None:
    cache.mkdir()
    cache.chmod(0o555)
    for folder in kettle.parents:
        if folder == Path(tempfile.gettempdir()).resolve():
            break
        folder.chmod(0o755)
    # The superuser may write everywhere, so he lays his power down for a moment.
    user = os.geteuid()
    if user == 0:
        os.seteuid(65534)
    try:
        first = all_of(read_rule_base(str(kettle)))
        second = all_of(read_rule_base(str(kettle)))
    finally:
        os.seteuid(user)
        cache.chmod(0o755)
    assert first == second == all_of(read_rule_base(str(kettle), cache=False))
    assert list(cache.iterdir()) == []


def test_the_cache_does_not_grow_without_end(cache: Path, kettle: Path) -> None:
    for i in range(40):
        write(kettle, {"more.yaml": rule(f"edit-{i}", "[{should: {pot.lid: clay}}]")})
        read_rule_base(str(kettle))
    assert len(kept(cache)) == 32
    assert {file.suffix for file in cache.iterdir()} == {".json"}  # nothing half written
    # What was read last is still there.
    names = {file.name for file in kept(cache)}
    read_rule_base(str(kettle))
    assert {file.name for file in kept(cache)} == names


def test_it_is_the_oldest_that_is_forgotten(cache: Path, kettle: Path) -> None:
    read_rule_base(str(kettle))
    fresh = kept(cache)
    for i in range(40):
        # Named so that neither the order of names nor that of making is the order of age.
        other = cache / f"{(i * 7) % 40:02}.json"
        other.write_text("of another rule base")
        os.utime(other, (1_000_000 + i, 1_000_000 + i))
    write(kettle, {"pot.yaml": KETTLE["pot.yaml"] + "# more\n"})
    read_rule_base(str(kettle))
    names = {file.name for file in kept(cache)}
    assert names >= {file.name for file in fresh}
    others = {f"{(i * 7) % 40:02}.json" for i in range(40)}
    assert names & others == {f"{(i * 7) % 40:02}.json" for i in range(12, 40)}


def test_a_house_from_the_cache_over_a_changed_base_has_its_places(
    cache: Path, kettle: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(kettle.parent)
    write_house(kettle.parent, {"habits.yaml": rule("ours", "[{should: {pot.lid: iron}}]")})
    for text in (KETTLE["pot.yaml"], KETTLE["pot.yaml"] + "# more\n"):
        write(kettle, {"pot.yaml": text})
        with pytest.raises(Faults, match=r"house/habits\.yaml:3:29"):
            read_rule_base("house")


def test_the_cache_holds_plain_data(cache: Path, kettle: Path) -> None:
    import json

    read_rule_base(str(kettle))
    held = [json.loads(file.read_bytes().split(b"\n", 1)[1]) for file in kept(cache)]
    assert sorted(type(one).__name__ for one in held) == ["list", "str"]
