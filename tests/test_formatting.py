"""Formatting rule files: one shape, the same meaning, every comment kept."""

from __future__ import annotations

import glob
import os
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.authoring import formatting
from advisor.authoring.annotated import comments_of
from advisor.authoring.formatting import (
    WIDTH,
    format_file,
    format_rules,
    format_text,
    formatting_text,
    same_data,
)
from advisor.documents import read_document
from advisor.errors import Faults
from advisor.rulebase.read import read_rule_base
from tests.heavy import untraced

ROOT = Path(__file__).parent.parent
HOUSE = ROOT / "examples" / "quillmere" / "rules"


def shaped(text: str) -> str:
    return format_text("tea.yaml", text)


# --- what it makes of a file ----------------------------------------------------------------------

UNKEMPT = """\
# Tea.
- {id: warm-the-pot, evidence: {class: "common-practice"}, says: 'Warm the pot.',
   because: "A cold pot cools the water, and what is brewed in cool water stays thin and flat for as long as it stands.",
   then: [{step: {text: "Swill it with hot water, pour away.", phase: prepare}}]}
# Green leaves
# are soft.


- when:
    tea.kind:
    - green
    - white   # not tried
    # nor this
  id:   cooler-water
  says: "Let it cool: green leaves scorch."
  # why
  because: >
     Hot water
     scorches.
  then:
  - must: {  # one only
      water.temperature: {at_most: "80 degC"} }
  overrides: [ 'warm-the-pot' ]
  evidence: {class: published, source: a-book-about-tea, place: "chapter 3, water", note: "no, 12, true"}
  # the end of the rule
# the end
"""

KEMPT = """\
# Tea.
- id: warm-the-pot
  says: Warm the pot.
  then:
    - step:
        phase: prepare
        text: Swill it with hot water, pour away.
  because: >-
    A cold pot cools the water, and what is brewed in cool water stays thin and flat for as long as
    it stands.
  evidence: {class: common-practice}

# Green leaves
# are soft.

- id: cooler-water
  says: >-
    Let it cool: green leaves scorch.
  when:
    tea.kind:
      - green
      - white  # not tried
      # nor this
  then:
    - must: {water.temperature: {at_most: 80 degC}}  # one only
  # why
  because: >
    Hot water scorches.
  evidence:
    class: published
    source: a-book-about-tea
    place: chapter 3, water
    note: no, 12, true
  overrides: [warm-the-pot]
  # the end of the rule

# the end
"""


def test_one_shape_and_the_comments_kept() -> None:
    assert shaped(UNKEMPT) == KEMPT
    assert shaped(KEMPT) == KEMPT


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ('"no"', "no"),
        ("'12'", '"12"'),
        ('"true"', '"true"'),
        ("0.50", "0.50"),
        ("0x1F", "0x1F"),
        ('"~"', '"~"'),
        ("~", "~"),
        ("", ""),
        ('"a: b"', '"a: b"'),
        ("'a #b'", '"a #b"'),
        ("'it''s'", "it's"),
        ("""'say "so": no'""", """'say "so": no'"""),
        ('"tab\\there"', '"tab\\there"'),
        ('"- a"', '"- a"'),
        ("'{x}'", '"{x}"'),
        ('"x, y"', "x, y"),
        ('" x "', '" x "'),
        ("!!str 5", "!!str 5"),
        ('"caf\\xe9 \\u2028"', '"café \\u2028"'),
    ],
)
def test_quotes_only_where_they_are_needed(written: str, kept: str) -> None:
    assert shaped(f"- id: {written}\n") == f"- id: {kept}".rstrip() + "\n"


WHERE_COMMENTS_STAND = {
    "between a name and its text": ("- says:\n    # c\n    Do.\n", "- says: Do.  # c\n"),
    "before a closing bracket": (
        "- overrides: [\n   a,\n   # c\n  ]\n",
        "- overrides:\n    - a\n    # c\n",
    ),
    "in an empty list": ("- overrides: [\n   # c\n  ]\n", "- overrides: []  # c\n"),
    "two in one gap, the second further in": (
        "- when:\n    any:\n      - x: 1\n  # c\n      # d\n  id: a\n",
        "# c\n# d\n- id: a\n  when:\n    any:\n      - {x: 1}\n",
    ),
    "at the end of an inner part": (
        "- when:\n    any:\n      - x: 1\n      # c\n    # d\n# e\n- id: b\n",
        "- when:\n    any:\n      - {x: 1}\n      # c\n    # d\n\n# e\n- id: b\n",
    ),
    "behind a dash": ("- # c\n  id: a\n", "# c\n- id: a\n"),
    "beside the mark of a text": (
        "- says: >- # c\n    Do: so.\n",
        "- says: >-  # c\n    Do: so.\n",
    ),
    "before and after the document's mark": ("# c\n---\n# d\n- id: a\n", "# c\n# d\n- id: a\n"),
    "over one another beside one value": (
        "- says: # c\n    Do. # d\n",
        "# c\n- says: Do.  # d\n",
    ),
    "inside quotes it is none": ("- says: 'No. 1 # c'\n", "- says: >-\n    No. 1 # c\n"),
}


@pytest.mark.parametrize("where", WHERE_COMMENTS_STAND)
def test_a_comment_stays_where_it_stands(where: str) -> None:
    written, kept = WHERE_COMMENTS_STAND[where]
    assert shaped(written) == kept
    assert shaped(kept) == kept


def test_conclusions_and_acceptances_stand_below_each_other() -> None:
    text = "- accept: [{because: So., with: [b], finding: no-build}]\n  then: [{set: {x: 1}}]\n"
    assert shaped(text) == (
        "- then:\n    - set: {x: 1}\n"
        "  accept:\n    - finding: no-build\n      with: [b]\n      because: So.\n"
    )


def test_spaces_in_a_row_are_no_place_to_fold() -> None:
    text = "word  " * 30 + "end"
    assert shaped(f"- because: {text}\n") == f"- because: {text}\n"


def test_nothing_and_names_of_values_inside_brackets() -> None:
    text = "- when: &k {a: ~, b: null}\n  *k : *k\n"
    with pytest.raises(Faults):
        shaped(text)
    assert shaped("- when: {a: , b: ~}\n") == "- when:\n    a:\n    b: ~\n"
    assert shaped("- x: {&k a: [1, ], b: {*k : 2}}\n") == "- x: {&k a: [1], b: {*k : 2}}\n"
    assert shaped("- x: {a: }\n") == "- x: {a: null}\n"


def test_inside_brackets_more_needs_quotes() -> None:
    text = "- when: {tea.kind: ['a, b', 'c]', \"d\", '{e', ]}\n"
    assert shaped(text) == '- when: {tea.kind: ["a, b", "c]", d, "{e"]}\n'


def test_lines_of_a_text_that_are_its_own_are_kept() -> None:
    text = '- says: "one\\ntwo\\n"\n  because: |-\n   three\n\n   four\n'
    assert shaped(text) == "- says: |\n    one\n    two\n  because: |-\n    three\n\n    four\n"


def test_names_for_values_stay_before_their_use() -> None:
    text = "- unless: &rain {garden.wet: true}\n  when: *rain\n  id: odd\n"
    assert shaped(text) == text


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a: 1\n", "a topic file is a list of rules"),
        ("- 5\n- {}\n", "this is no rule"),
        ("- a: 1\n  a: 2\n", "is written twice"),
        ("- a: [\n", "bracket"),
    ],
)
def test_what_is_no_list_of_rules_is_refused(text: str, says: str) -> None:
    with pytest.raises(Faults) as refused:
        shaped(text)
    assert refused.value.about == "rules"
    assert says in refused.value.text("nothing was formatted")


@pytest.mark.parametrize(
    ("wrong", "right"),
    [("# why\n", ""), ("80 degC", "81 degC"), ("common-practice", "house"), ("[warm", "[cold")],
)
def test_what_would_change_or_lose_anything_is_refused(
    wrong: str, right: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = formatting._Writer.write

    def spoilt(self: Any, root: Any) -> str:
        text = write(self, root)
        assert wrong in text
        return text.replace(wrong, right)

    monkeypatch.setattr(formatting._Writer, "write", spoilt)
    with pytest.raises(Faults, match="cannot be formatted without changing it"):
        shaped(UNKEMPT)


# --- whole rule bases -----------------------------------------------------------------------------


def test_the_shipped_rules_and_the_example_are_in_shape() -> None:
    for folder in (ROOT / "rules" / "base", HOUSE):
        found = format_rules(str(folder))
        assert len(found.files) > 2
        assert [file.path for file in found.changed] == []


def test_a_rule_base_means_the_same_afterwards(tmp_path: Path) -> None:
    house = tmp_path / "house"
    shutil.copytree(HOUSE, house)
    before = read_rule_base(str(house)).digest
    for path in glob.glob(str(house / "*.yaml")):
        name = os.path.basename(path)
        if name in ("manifest.yaml", "vocabulary.yaml"):
            continue
        text = Path(path).read_text(encoding="utf-8")
        shaken = text.replace("\n- id", "\n\n\n# shaken\n- id").replace(
            "  then:\n    - ", "  then:\n  - "
        )
        Path(path).write_text(
            re.sub(r"\n      (?!with:|because:)", "\n        ", shaken), encoding="utf-8"
        )
    formatting = format_rules(str(house))
    assert len(formatting.changed) == 3
    for file in formatting.changed:
        Path(file.path).write_text(file.text, encoding="utf-8")
    assert read_rule_base(str(house)).digest == before
    assert format_rules(str(house)).changed == ()


def test_it_is_told_what_changes(tmp_path: Path) -> None:
    (tmp_path / "manifest.yaml").write_text("name: x\nversion: 1.0.0\n")
    (tmp_path / "tea.yaml").write_text("- {id: x}\n")
    (tmp_path / "cups.yaml").write_text("- id: y\n")
    formatting = format_rules(str(tmp_path))
    path = tmp_path / "tea.yaml"
    assert (
        formatting_text(formatting, check=True) == f"Would change: 1 of 2 topic files\n  {path}\n"
    )
    assert formatting_text(formatting, check=False).startswith("Changed: 1 of 2")
    one = format_rules(str(tmp_path), ["cups.yaml"])
    assert formatting_text(one, check=True) == "1 topic file, all in shape.\n"


def test_only_topic_files_are_formatted(tmp_path: Path) -> None:
    with pytest.raises(Faults) as refused:
        format_rules(str(HOUSE), ["manifest.yaml", "tail.yaml"])
    told = refused.value.text("nothing was formatted")
    assert refused.value.exit_status == 2
    assert "did you mean tails.yaml?" in told
    assert "manifest.yaml" in told
    (one,) = format_rules(str(HOUSE), ["tails.yaml"]).files
    assert one == format_file(str(HOUSE / "tails.yaml"))
    with pytest.raises(Faults):
        format_rules(str(tmp_path))


def test_all_faulty_files_are_told_together(tmp_path: Path) -> None:
    (tmp_path / "manifest.yaml").write_text("name: x\nversion: 1.0.0\n")
    (tmp_path / "a.yaml").write_text("a: 1\n")
    (tmp_path / "b.yaml").write_text("- [\n")
    with pytest.raises(Faults) as refused:
        format_rules(str(tmp_path))
    assert {os.path.basename(fault.file) for fault in refused.value.faults} == {"a.yaml", "b.yaml"}


# --- anything that can be written -----------------------------------------------------------------

KEYS = ["id", "says", "when", "unless", "then", "because", "evidence", "overrides", "replaces"]
FACTS = st.sampled_from(
    ["tea.kind", "kettle.lid", "a b", "any", "not", "text", "step", "x: y", "12"]
)
WORDS = st.sampled_from(
    (
        *("no", "green tea", "x, y", "a: b", "5", "0.50", "true", "it's", 'say "so"', "", "#no"),
        *("a #b", "- dash", "[", "two\nlines\n", "three\n\nlines", " lead", "trail ", "é\u2028"),
        *("tab\t", "*a", "word " * 30 + "end", "long: " + "word " * 25 + "end", "{brace}", "%"),
        *("@x", "x" * 120, "?"),
    )
)
SEEN = st.characters(blacklist_categories=("C", "Zl", "Zp"))
SCALARS = st.one_of(WORDS, st.text(SEEN, max_size=12), st.integers(), st.booleans(), st.none())
TESTS = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(FACTS, inner, max_size=3)),
    max_leaves=6,
)


class Scribe:
    """Writes data as YAML in ways that people do, with comments wherever one may stand."""

    def __init__(self, draw: Any) -> None:
        self.draw = draw
        self.count = 0

    def chance(self, parts: int = 3) -> bool:
        return bool(self.draw(st.integers(0, parts - 1)) == 0)

    def comment(self) -> str:
        self.count += 1
        return f"# comment {self.count}: [{{'x'"

    def aside(self) -> str:
        return f"  {self.comment()}" if self.chance(4) else ""

    def lines_before(self, indent: int) -> list[str]:
        if not self.chance(4):
            return [""] if self.chance(6) else []
        shift = self.draw(st.integers(0, 4))
        blank = [""] if self.chance(4) else []
        return [*blank, " " * max(0, indent + shift - 3) + self.comment(), *blank]

    def scalar(self, value: Any, *, flow: bool) -> str:
        if value is None:
            return "null" if flow else str(self.draw(st.sampled_from(["", "~", "null"])))
        if isinstance(value, bool):
            return str(value).lower()
        if isinstance(value, int):
            return str(value)
        for plain in (value, "'" + value.replace("'", "''") + "'"):
            if value != "-" and self.chance(2) and reads(plain, value, flow=flow):
                return str(plain)
        escaped = "".join(
            c if c.isprintable() and c not in '\\"' else f"\\U{ord(c):08x}" for c in value
        )
        return f'"{escaped}"'

    def flow(self, value: Any) -> str:
        """One line, or with breaks and comments between the parts."""
        broken = self.chance(4)

        def gap() -> str:
            if not broken:
                return " "
            return (f" {self.comment()}" if self.chance(3) else "") + "\n" + " " * 60

        if isinstance(value, list):
            parts = [f"{self.flow(one)}," + gap() for one in value]
            return "[" + gap() + "".join(parts) + "]"
        if isinstance(value, dict):
            parts = [
                f"{self.scalar(k, flow=True)}: {self.flow(v)}," + gap() for k, v in value.items()
            ]
            return "{" + gap() + "".join(parts) + "}"
        return self.scalar(value, flow=True)

    def value(self, value: Any, indent: int, *, below: bool) -> list[str]:
        """The value of a name or of a dash: its first line goes beside that."""
        if isinstance(value, str) and below and self.chance(2):
            block = literal(value)
            if block is not None:
                pad = " " * (indent + 2)
                body = [pad + line if line else "" for line in value.removesuffix("\n").split("\n")]
                return [f" {block}{self.aside()}", *body]
        if not isinstance(value, (list, dict)) or not value or self.chance(3):
            return [f" {self.flow(value)}{self.aside()}"]
        return [self.aside(), *self.block(value, indent + self.draw(st.integers(2, 4)))]

    def block(self, value: Any, indent: int) -> list[str]:
        lines: list[str] = []
        pad = " " * indent
        for part in value.items() if isinstance(value, dict) else value:
            lines += self.lines_before(indent)
            if isinstance(value, dict):
                name, inner = part
                first, *more = self.value(inner, indent, below=True)
                lines += [f"{pad}{self.scalar(name, flow=True)}:{first}", *more]
            elif isinstance(part, dict) and part and self.chance(2):
                inside = self.block(part, indent + 2)
                if inside[0].strip() and not inside[0].lstrip().startswith("#"):
                    inside[0] = f"{pad}- {inside[0].lstrip()}"
                else:
                    inside.insert(0, f"{pad}-")
                lines += inside
            else:
                first, *more = self.value(part, indent, below=False)
                lines += [f"{pad}-{first}", *more]
        return lines + self.lines_before(indent)


def reads(written: str, meant: str, *, flow: bool) -> bool:
    text = f"k: [{written}]" if flow else f"k: {written}"
    try:
        found = read_document("", text).data["k"]
    except (Faults, TypeError, KeyError):
        return False
    return same_data(found, [meant] if flow else meant)


def literal(value: str) -> str | None:
    text = value.removesuffix("\n")
    fits = text.strip() == text and text and all(c.isprintable() or c == "\n" for c in text)
    return None if not fits else "|" if value.endswith("\n") else "|-"


@st.composite
def files(draw: Any, *, in_order: bool) -> tuple[str, list[Any], int]:
    rules = []
    for _ in range(draw(st.integers(1, 3))):
        names = draw(st.lists(st.sampled_from(KEYS), min_size=1, max_size=5, unique=True))
        if in_order:
            names.sort(key=KEYS.index)
        rule: dict[str, Any] = {}
        for name in names:
            rule[name] = draw(TESTS)
        if in_order and "evidence" in rule:
            rule["evidence"] = draw(SCALARS)
        rules.append(rule)
    scribe = Scribe(draw)
    text = "\n".join(scribe.block(rules, 0)) + "\n"
    return text, rules, scribe.count


def has_ordered_parts(data: Any) -> bool:
    if isinstance(data, dict):
        return "step" in data or any(map(has_ordered_parts, data.values()))
    return isinstance(data, list) and any(map(has_ordered_parts, data))


@untraced
@settings(max_examples=int(os.environ.get("FUZZ", "300")), deadline=None)
@given(files(in_order=False))
def test_nothing_is_lost_of_any_file(made: tuple[str, list[Any], int]) -> None:
    text, rules, count = made
    written = comments_of(text)
    assert len(written) == count, text
    formatted = shaped(text)
    assert same_data(read_document("", formatted).data, read_document("", text).data)
    assert same_data(read_document("", formatted).data, rules)
    assert sorted(comments_of(formatted)) == sorted(written)
    assert shaped(formatted) == formatted


@untraced
@settings(max_examples=int(os.environ.get("FUZZ", "300")), deadline=None)
@given(files(in_order=True))
def test_where_no_key_moves_comments_keep_their_order(made: tuple[str, list[Any], int]) -> None:
    text, rules, _ = made
    formatted = shaped(text)
    if not has_ordered_parts(rules):
        assert comments_of(formatted) == comments_of(text), text


@settings(max_examples=100, deadline=None)
@given(st.lists(st.text("abc,{}.", min_size=1, max_size=30), min_size=2, max_size=60))
def test_no_line_of_words_is_too_wide(words: list[str]) -> None:
    text = " ".join(words)
    formatted = shaped(f"- because: '{text}'\n  then: [{{step: {{text: '{text}'}}}}]\n")
    assert max(map(len, formatted.split("\n"))) <= WIDTH
