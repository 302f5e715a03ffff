"""The identity of a rule base: its digest changes with its meaning and with nothing else."""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Callable, Iterator
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.documents import read_document
from advisor.rulebase.digest import canonical_json, digest
from advisor.rulebase.locate import base_folder
from advisor.rulebase.read import read_rule_base
from tests.rulebase.folders import KETTLE, POT, TEA, rule, write, write_house, write_kettle

# The definition, by hand.


def test_the_digest_of_a_small_rule_base_is_that_of_this_text(tmp_path: Path) -> None:
    folder = write(
        tmp_path / "small",
        {
            "manifest.yaml": "# a comment\nversion: 0.1.0\nname: small\n",
            "vocabulary.yaml": (
                "facts:\n  pot.size: {unit: ml, kind: quantity, origin: given, range: [0.50, 3e3]}\n"
                "  over: {origin: concluded, kind: flag}\n"
            ),
            "sources.yaml": "sources: {b-book: {title: Th\u00e9, year: 1950}}\n",
            "b.yaml": (
                "- id: z\n  says: Fill.\n  when: {pot.size: {above: 1.0}}\n  then: [set: {over: true}]\n"
                "  because: So.\n  evidence: {class: house}\n"
            ),
            "a.yaml": (
                "- {id: a, says: Wait., then: [{caution: {level: note, text: Hot}}], because: So.,\n"
                "   evidence: {class: house}}\n"
            ),
        },
    )
    text = (
        '[{"manifest":{"name":"small","version":"0.1.0"},'
        '"rules":{'
        '"a":{"because":"So.","evidence":{"class":"house"},"id":"a","says":"Wait.",'
        '"then":[{"caution":{"level":"note","text":"Hot"}}]},'
        '"z":{"because":"So.","evidence":{"class":"house"},"id":"z","says":"Fill.",'
        '"then":[{"set":{"over":true}}],"when":{"pot.size":{"above":1}}}},'
        '"sources":{"b-book":{"title":"Th\u00e9","year":1950}},'
        '"vocabulary":{'
        '"over":{"kind":"flag","origin":"concluded"},'
        '"pot.size":{"kind":"quantity","origin":"given","range":[0.5,3000],"unit":"ml"}}}]'
    )
    assert read_rule_base(folder).digest == hashlib.sha256(text.encode("utf-8")).hexdigest()


def plain(value: Any) -> Any:
    """Round numbers to nine digits, without a trailing `.0`; by other means than the program."""
    if isinstance(value, dict):
        return {key: plain(part) for key, part in value.items()}
    if isinstance(value, list):
        return [plain(part) for part in value]
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return value
    rounded = Decimal(f"{Decimal(value):.9g}")
    return int(rounded) if rounded == rounded.to_integral_value() else float(rounded)


def by_hand(*folders: Path) -> str:
    """Recompute the digest of layers, lowest first, from their files."""
    layers = []
    for folder in folders:
        data = {path.name: read_document(str(path)).data for path in folder.glob("*.yaml")}
        special = {"manifest.yaml", "vocabulary.yaml", "sources.yaml", "ladder.yaml"}
        layers.append(
            {
                "manifest": data["manifest.yaml"],
                "vocabulary": data.get("vocabulary.yaml", {}).get("facts", {}),
                "sources": data.get("sources.yaml", {}).get("sources", {}),
                "rules": {one["id"]: one for name in data.keys() - special for one in data[name]},
            }
        )
    text = json.dumps(plain(layers), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def test_the_digest_of_the_base_rules_is_recomputed_from_their_files() -> None:
    assert read_rule_base().digest == by_hand(Path(base_folder()))


def test_the_digest_of_a_house_is_that_of_all_layers_lowest_first(tmp_path: Path) -> None:
    write_kettle(tmp_path)
    house = write_house(tmp_path, {"habits.yaml": rule("ours", "[{should: {pot.lid: clay}}]")})
    kettle = tmp_path / "kettle"
    assert read_rule_base(house).digest == by_hand(kettle, tmp_path / "house")
    assert read_rule_base(house).digest != by_hand(tmp_path / "house", kettle)
    assert read_rule_base(house).digest != read_rule_base(str(kettle)).digest


# What does not count.


def shuffled(text: str) -> str:
    """Put the rules of a topic in another order."""
    rules = ["- id:" + part for part in text.split("- id:")[1:]]
    return "\n".join(reversed(rules))


SAME: dict[str, dict[str, str | None]] = {
    "another name of a file": {"tea.yaml": None, "brewing.yaml": TEA},
    "another ending of a file": {"tea.yaml": None, "tea.yml": TEA},
    "rules in another order": {"tea.yaml": shuffled(TEA), "pot.yaml": shuffled(POT)},
    "all rules in one file": {"tea.yaml": None, "pot.yaml": POT + TEA},
    "rules in more files": {
        "tea.yaml": TEA[: TEA.index("- id: clay")],
        "clay.yaml": TEA[TEA.index("- id: clay") :],
    },
    "comments": {"tea.yaml": "# Of tea.\n" + TEA.replace("\n", "   # said at the bench\n", 1)},
    "spacing": {"tea.yaml": TEA.replace(": ", ":   ").replace("\n\n", "\n\n\n")},
    "keys in another order": {
        "pot.yaml": POT.replace(
            "  says: Boil the water.\n  then:\n"
            "    - step: {phase: prepare, text: Boil the water.}\n"
            "  because: Cold water draws nothing out.\n",
            "  because: Cold water draws nothing out.\n"
            "  then: [step: {text: Boil the water., phase: prepare}]\n"
            "  says: Boil the water.\n",
        )
    },
    "quotes": {
        "tea.yaml": TEA.replace("says: Make black tea strong.", 'says: "Make black tea strong."')
    },
    "line ends of another system": {"tea.yaml": TEA.replace("\n", "\r\n")},
    "numbers written otherwise": {
        "pot.yaml": POT.replace("{above: 4}", "{above: 4.0}"),
        "vocabulary.yaml": KETTLE["vocabulary.yaml"].replace("[200, 2000]", "[2e2, 2000.0000001]"),
    },
    "an alias in place of a value": {
        "tea.yaml": TEA.replace(
            "{class: common-practice}", "&usual {class: common-practice}", 1
        ).replace("\n  evidence: {class: common-practice}\n", "\n  evidence: *usual\n")
    },
}


@pytest.mark.parametrize("what", SAME)
def test_the_digest_does_not_count(what: str, tmp_path: Path) -> None:
    before = read_rule_base(write_kettle(tmp_path / "before")).digest
    changed = SAME[what]
    assert {name: KETTLE.get(name) for name in changed} != changed  # something is changed
    assert read_rule_base(write_kettle(tmp_path / "after", changed)).digest == before


def test_the_digest_does_not_count_cases_or_other_files(tmp_path: Path) -> None:
    folder = write_kettle(tmp_path)
    before = read_rule_base(folder).digest
    write(tmp_path / "kettle" / "cases", {"tea.yaml": "- case: one\n"})
    write(tmp_path / "kettle", {"README.md": "Of tea.", "tea.yaml.bak": TEA})
    assert read_rule_base(folder).digest == before


def test_the_digest_does_not_count_where_a_rule_base_stands(tmp_path: Path) -> None:
    assert (
        read_rule_base(write_kettle(tmp_path / "here")).digest
        == read_rule_base(write_kettle(tmp_path / "there")).digest
    )


# What counts: whatever is written anywhere.


Where = tuple[str | int, ...]


def leaves(data: Any, path: Where = ()) -> Iterator[Where]:
    """Yield the place of every value that is no mapping and no list."""
    if isinstance(data, dict):
        for key, part in data.items():
            yield from leaves(part, (*path, key))
    elif isinstance(data, list):
        for i, part in enumerate(data):
            yield from leaves(part, (*path, i))
    else:
        yield path


def changed(data: Any, path: Where, change: Callable[[Any], Any]) -> Any:
    """Return a copy with one value changed."""
    made = copy.deepcopy(data)
    inner = made
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = change(inner[path[-1]])
    return made


def another(value: Any) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, (int, float)):
        return value * 1.00001 + 1e-5
    return f"{value}."


LAYERS: list[dict[str, Any]] = [
    {
        "manifest": read_document("manifest", KETTLE["manifest.yaml"]).data,
        "vocabulary": read_document("vocabulary", KETTLE["vocabulary.yaml"]).data["facts"],
        "sources": read_document("sources", KETTLE["sources.yaml"]).data["sources"],
        "rules": {one["id"]: one for one in read_document("tea", TEA + POT).data},
    },
    {
        "manifest": {
            "name": "house",
            "version": "1.0.0",
            "retire": [{"rule": "small-pot", "because": "there is one"}],
            "assume": {"tea.guests": {"value": 2.5, "because": "usual"}},
        },
        "vocabulary": {},
        "sources": {},
        "rules": {},
    },
]


def test_every_value_counts() -> None:
    before = digest(LAYERS)
    places = list(leaves(LAYERS))
    assert len(places) > 80
    found = {path: digest(changed(LAYERS, path, another)) for path in places}
    assert [path for path, after in found.items() if after == before] == []
    assert len(set(found.values())) == len(places)  # and each in its own way


def names(data: Any, path: Where = ()) -> Iterator[Where]:
    """Yield the place of every name in every mapping."""
    if isinstance(data, dict):
        for key, part in data.items():
            yield (*path, key)
            yield from names(part, (*path, key))
    elif isinstance(data, list):
        for i, part in enumerate(data):
            yield from names(part, (*path, i))


def test_every_name_counts() -> None:
    before = digest(LAYERS)
    # The four parts of a layer are named by the definition, the rest by the files.
    places = [path for path in names(LAYERS) if len(path) > 2]
    assert len(places) > 80
    for path in places:
        key = str(path[-1])
        assert digest(changed(LAYERS, path[:-1], partial(renamed, key))) != before, path
        assert digest(changed(LAYERS, path[:-1], partial(without, key))) != before, path


def renamed(key: str, inner: dict[str, Any]) -> dict[str, Any]:
    return {f"{k}-s" if k == key else k: part for k, part in inner.items()}


def without(key: str, inner: dict[str, Any]) -> dict[str, Any]:
    return {k: part for k, part in inner.items() if k != key}


def test_every_list_and_every_layer_counts_in_its_order() -> None:
    before = digest(LAYERS)
    assert digest(reversed(LAYERS)) != before
    assert digest(LAYERS[:1]) != before
    for path in (("rules", "large-pot-for-many", "then"), ("vocabulary", "pot.lid", "choices")):
        data = LAYERS[0]
        for step in path:
            data = data[step]
        assert isinstance(data, list)
        assert digest(changed(LAYERS, (0, *path), lambda items: items[::-1])) != before, path


MORE: dict[str, dict[str, str | None]] = {
    "a version": {"manifest.yaml": KETTLE["manifest.yaml"].replace("1.2.0", "1.2.1")},
    "a default": {"vocabulary.yaml": KETTLE["vocabulary.yaml"].replace("value: black", "value: herb")},
    "a label": {"vocabulary.yaml": KETTLE["vocabulary.yaml"].replace("label: lid", "label: cover")},
    "a source": {"sources.yaml": KETTLE["sources.yaml"].replace("1950", "1951")},
    "a bound": {"pot.yaml": POT.replace("{above: 4}", "{above: 5}")},
    "a ninth digit": {"vocabulary.yaml": KETTLE["vocabulary.yaml"].replace("[200, 2000]", "[200, 2000.00001]")},
    "a word of a reason": {"tea.yaml": TEA.replace("tastes", "smells")},
    "a missing rule": {"pot.yaml": POT[: POT.index("- id: boil")].replace(", after: [boil-the-water]", "")
                       + POT[POT.index("- id: small") :]},
    "an override more": {"tea.yaml": TEA.replace("  because: One sees", "  overrides: [clay-keeps-the-heat]\n  because: One sees")},
    "a strength": {"tea.yaml": TEA.replace("should: {pot.lid: clay}", "must: {pot.lid: clay}")},
    "text in place of a number": {"vocabulary.yaml": KETTLE["vocabulary.yaml"].replace("[200, 2000]", "[200, '2000']")},
}  # fmt: skip


@pytest.mark.parametrize("what", MORE)
def test_the_digest_counts(what: str, tmp_path: Path) -> None:
    before = read_rule_base(write_kettle(tmp_path / "before")).digest
    assert read_rule_base(write_kettle(tmp_path / "after", MORE[what])).digest != before


# Numbers.


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (3, "3"),
        (3.0, "3"),
        (-0.0, "0"),
        (0.1 + 0.2, "0.3"),
        (2.50, "2.5"),
        (1e3, "1000"),
        (123456789.4, "123456789"),
        (1234567894, "1234567890"),
        (0.1234567894, "0.123456789"),
        (1e-7, "1e-07"),
        (1e22, "10000000000000000000000"),
        (True, "true"),
        (None, "null"),
        ("3.0", '"3.0"'),
        ("Th\u00e9", '"Th\u00e9"'),
        ([1.0, {"b": 2, "a": False}], '[1,{"a":false,"b":2}]'),
    ],
)
def test_numbers_are_written_at_nine_digits(number: Any, text: str) -> None:
    assert canonical_json(number) == text


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e15, max_value=1e15))
def test_what_is_written_for_a_number_reads_back_within_nine_digits(number: float) -> None:
    text = canonical_json(number)
    assert not text.endswith(".0")
    assert float(text) == float(f"{number:.9g}")
    assert canonical_json(json.loads(text)) == text
