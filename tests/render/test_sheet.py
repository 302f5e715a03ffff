"""The bench sheet: whole, safe, in the order of the work, and every caution in its place once."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from advisor.cases import case_files, read_cases
from advisor.decision import HANGS, Caution, Decision, Number, Step, from_plain, to_plain
from advisor.pipeline import advise
from advisor.render import FORMATS, renderer
from advisor.render.drawing_canvas import WIDTH
from advisor.render.drawing_style import STYLE as DRAWING_STYLE
from advisor.render.html import render
from advisor.render.sheet_places import EARLIER, PLACES, place
from advisor.render.sheet_style import STYLE
from advisor.render.sheet_words import PHASES, asked, esc, label, said
from advisor.rulebase.locate import base_folder
from advisor.rulebase.model import PHASES as RULE_PHASES
from advisor.rulebase.read import read_rule_base
from advisor.setups.read import read_setup, read_stock
from tests.heavy import untraced
from tests.render.test_svg import decision
from tests.render.test_text import kettle, stopped

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
VOID = {"meta", "input", "col", "br"}
HOSTILE = "\"><script>alert('1')</script>&\u202eevil\u2066\x07" + "W" * 300


class Page(HTMLParser):
    """The elements of a page in order, each with its attributes and all the text in it."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, dict[str, str], list[str]]] = []
        self._open: list[int] = []
        self.feed(page)
        self.close()
        assert not self._open, [self.found[n][0] for n in self._open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, {name: value or "" for name, value in attrs}, []))
        if tag not in VOID:
            self._open.append(len(self.found) - 1)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, {name: value or "" for name, value in attrs}, []))

    def handle_endtag(self, tag: str) -> None:
        if tag in {"td", "th"}:
            self.handle_data(" ")
        assert self.found[self._open.pop()][0] == tag

    def handle_data(self, data: str) -> None:
        for number in self._open:
            self.found[number][2].append(data)

    def all(self, tag: str, kind: str = "") -> list[tuple[dict[str, str], str]]:
        return [
            (attrs, _flat("".join(words)))
            for name, attrs, words in self.found
            if name == tag and (not kind or kind in attrs.get("class", "").split())
        ]

    def text(self, tag: str = "body") -> str:
        return self.all(tag)[0][1]

    def section(self, ids: str) -> str:
        return next(text for attrs, text in self.all("section") if attrs["id"] == ids)


def _flat(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


@cache
def example(name: str) -> Decision:
    base = read_rule_base()
    return advise(read_setup(str(EXAMPLES / f"{name}.yaml"), [], base.vocabulary), base)


@cache
def alone(stated: str) -> Decision:
    base = read_rule_base()
    return advise(read_setup(None, [stated], base.vocabulary), base)


def _parts(told: Decision) -> set[str]:
    """What a sheet could do wrong with: the status and the rules of cautions and steps."""
    cautions, steps = (c.rule for c in told.cautions), (s.rule for s in told.steps)
    return {told.status, *cautions, *steps}


@cache
def many() -> dict[str, Decision]:
    """Decisions of every kind: made by hand, examples, cases that bring a caution or a step."""
    found = {"kettle": kettle(), "stopped kettle": stopped(), "drawn": decision()}
    files = (*EXAMPLES.glob("*.yaml"), *(EXAMPLES / "eleven-arrows").glob("*.yaml"))
    for file in sorted(files):
        name = str(file.relative_to(EXAMPLES).with_suffix(""))
        if name != "mistyped":
            found[name] = example(name)
    found["hunting alone"] = alone("discipline=[hunting]")
    base = read_rule_base()
    seen = {part for told in found.values() for part in _parts(told)}
    for path in case_files(base_folder()):
        for case in read_cases(path, base):
            told = advise(case.setup, base)
            if _parts(told) - seen:
                seen |= _parts(told)
                found[case.name] = told
    return found


@cache
def made_of_many() -> dict[str, tuple[Decision, str, Page]]:
    """Each of them with its sheet and what is in it, rendered once for all tests."""
    sheets = {name: (told, render(told, False)) for name, told in many().items()}
    return {name: (told, html, Page(html)) for name, (told, html) in sheets.items()}


def page(told: Decision) -> Page:
    return Page(render(told, False))


def test_html_is_a_format_of_the_advisor() -> None:
    assert "html" in FORMATS
    told = example("fixed-blade-hunting")
    assert renderer("html")(told, True) == render(told, False)
    assert render(from_plain(to_plain(told)), False) == render(told, False)


@untraced
def test_every_page_is_whole_and_accessible() -> None:
    for name, (_, _, made) in made_of_many().items():
        assert made.all("html")[0][0]["lang"] == "en", name
        ids = [attrs["id"] for _, attrs, _ in made.found if "id" in attrs]
        assert len(ids) == len(set(ids)), name
        for _, attrs, _ in made.found:
            for pointed in attrs.get("aria-labelledby", "").split():
                assert pointed in ids, (name, pointed)
            href = attrs.get("href", "#phase-")
            assert href.startswith("#"), (name, href)
            assert href == "#phase-" or href[1:] in ids, (name, href)
        levels = [int(tag[1]) for tag, _, _ in made.found if tag in {"h1", "h2", "h3", "h4"}]
        assert levels[0] == 1, name
        assert levels.count(1) == 1, name
        assert all(below <= above + 1 for above, below in pairwise(levels))
        assert all(text for tag in ("h1", "h2", "h3") for _, text in made.all(tag)), name
        assert all(attrs["scope"] in {"col", "row"} for attrs, _ in made.all("th")), name
        assert len(made.all("caption")) == len(made.all("table")), name


def test_every_square_has_a_name() -> None:
    for name, (_, html, _) in made_of_many().items():
        for box in re.finditer(r"(<label[^>]*>)?<input [^>]*>( <span>[^<]+)?", html):
            labelled = box.group(1) and box.group(2)
            assert labelled or re.search(r'aria-label="[^"]+"', box.group(0)), (name, box.group(0))


@untraced
def test_nothing_runs_and_nothing_is_fetched() -> None:
    for name, (_, html, made) in made_of_many().items():
        assert "<script" not in html, name
        assert "url(" not in html, name
        assert "@import" not in html, name
        assert re.sub(r'xmlns="http://www.w3.org/2000/svg"', "", html).count("http:") == 0, name
        assert not {"link", "img", "iframe", "object", "form"} & {t for t, _, _ in made.found}
        for _, attrs, _ in made.found:
            assert not [a for a in attrs if a.startswith("on") or a == "src"], name


def test_hostile_words_stay_words() -> None:
    told = kettle()._replace(
        title=HOSTILE,
        stock=HOSTILE,
        items={"vane": HOSTILE},
        given={"glue.type": HOSTILE, "stove.fuel": HOSTILE},
        build={"bench.clamp": HOSTILE, HOSTILE: HOSTILE},
        cautions=(Caution(HOSTILE, "caution", HOSTILE), Caution("x", HOSTILE, "y")),
        steps=(Step(HOSTILE, HOSTILE, HOSTILE),),
        labels={"stove.fuel": HOSTILE},
        stated={},
    )
    html = render(told, False)
    assert "<script" not in html
    assert not re.search("[\u202a-\u202e\u2066-\u2069\x00-\x08]", html)
    made = Page(html)
    assert "\"><script>alert('1')</script>&\ufffdevil" in made.text("h1")
    assert "W" * 300 in made.text("title")
    assert not [tag for tag, _, _ in made.found if tag == "script"]
    names = {name for _, attrs, _ in made.found for name in attrs}
    assert not [name for name in names if not re.fullmatch(r"[a-zA-Z][a-zA-Z0-9-]*", name)]


def test_quotes_are_safe_in_attributes() -> None:
    assert esc("""<a href="x" b='y'>&""") == "&lt;a href=&quot;x&quot; b=&#39;y&#39;&gt;&amp;"


# What stands where


def test_every_caution_is_told_exactly_once() -> None:
    for name, (told, _, made) in made_of_many().items():
        placed = place(told, steps=True)
        spread = [*placed.stops, *placed.front, *(c for g in placed.before.values() for c in g)]
        assert Counter(spread) == Counter(told.cautions), name
        body = made.text()
        for caution in told.cautions:
            assert body.count(_flat(f"{caution.text} ({caution.rule})")) == 1, (name, caution.rule)


def test_no_steps_where_a_stop_stands_or_no_build_does() -> None:
    seen = set()
    for name, (told, _, made) in made_of_many().items():
        stops = [c for c in told.cautions if c.level == "stop"]
        halted = told.status in {"stopped", "rejected"} or bool(stops)
        steps = made.all("ol")
        assert bool(steps) == (not halted and bool(told.steps)), name
        assert bool(made.all("svg")) == (not halted), name
        seen.add(halted)
        if not halted:
            continue
        halt = next(text for attrs, text in made.all("div") if "halt" in attrs.get("class", ""))
        assert halt.startswith("STOP"), name
        assert "do not build from it" in halt, name
        for caution in stops:
            assert _flat(caution.text) in halt, name
        for conflict in told.conflicts:
            for rule, says in zip(conflict.rules, conflict.says, strict=True):
                assert rule in halt, (name, rule)
                assert _flat(says) in halt, (name, rule)
    assert seen == {True, False}


def test_a_stop_forbids_building_whatever_the_status_says() -> None:
    told = kettle()._replace(status="judged", cautions=(Caution("leak", "stop", "It leaks."),))
    made = page(told)
    assert not made.all("ol")
    assert "STOP: do not build this" in made.text()
    assert "The build as stated holds" not in made.text()


def test_a_verdict_that_holds_does_not_say_stop() -> None:
    for name, words in (
        ("fixed-blade-hunting", "Advised build"),
        ("eleven-arrows/J", "The build as stated holds"),
    ):
        text = page(example(name)).text()
        assert words in text
        assert "STOP" not in text
    assert "no build satisfies every must" in page(example("left-bevel-right-clamp")).text()


def test_steps_are_numbered_as_the_decision_orders_them() -> None:
    for name, (told, _, made) in made_of_many().items():
        if not made.all("ol"):
            continue
        number, wanted = 0, {n: _flat(step.text) for n, step in enumerate(told.steps, 1)}
        for tag, attrs, words in made.found:
            if tag == "ol":
                number = int(attrs["start"]) - 1
            elif tag == "li" and number < len(told.steps):
                text = _flat("".join(words))
                if text.startswith(wanted[number + 1]):
                    number += 1
                    del wanted[number]
        assert not wanted, name


@pytest.mark.parametrize(
    ("caution", "phase", "step"),
    [
        ("keep-carbon-dust-out-of-the-lungs", "prepare", "wipe-the-shaft-clean"),
        ("solvents-away-from-flame", "prepare", "wipe-the-shaft-clean"),
        ("one-helical-clamp-fits-one-size", "set-up", "dry-fit-before-glue"),
        ("glue-bonds-skin-and-eyes", "bond", "small-beads-of-glue"),
        ("air-the-glue-bench", "bond", "small-beads-of-glue"),
        ("blades-cut-hands", "verify", "spin-every-arrow"),
        ("know-the-backstop-and-never-dry-fire", "shoot", "shoot-the-head-you-hunt-with"),
        ("flex-carbon-before-every-shot", "shoot", "shoot-the-head-you-hunt-with"),
        ("no-dry-heat-on-arrows", "care", "steam-bent-vanes"),
    ],
)
def test_cautions_stand_where_the_hand_meets_the_danger(
    caution: str, phase: str, step: str
) -> None:
    told = example("fixed-blade-hunting")
    section = page(told).section(f"phase-{phase}")
    danger = next(s for s in told.steps if s.rule == step)
    assert 0 <= section.find(f"({caution})") < section.index(_flat(danger.text))


def test_what_has_no_place_stands_before_the_first_step() -> None:
    told = kettle()
    made = page(told)
    assert "Steam scalds." in made.section("before")
    known = Caution("glue-bonds-skin-and-eyes", "caution", "It sticks.")
    assert "It sticks." in page(told._replace(cautions=(known,))).section("before")
    bond = (*told.steps, Step("x", "bond", "Glue it."))
    placed = page(told._replace(cautions=(known,), steps=bond))
    assert "It sticks. (glue-bonds-skin-and-eyes) Glue it." in placed.section("phase-bond")


def test_the_places_name_rules_and_phases_that_there_are() -> None:
    base = read_rule_base()
    told = {c.rule for d in many().values() for c in d.cautions}
    assert set(PHASES) == set(RULE_PHASES)
    for rule, spot in PLACES.items():
        assert rule in base.entries, rule
        assert spot.phase in RULE_PHASES, rule
        assert set(spot.steps) <= set(base.entries), rule
    for rule, phases in EARLIER.items():
        assert rule in base.entries, rule
        assert set(phases) <= set(RULE_PHASES), rule
    assert len(told & set(PLACES)) > 15


def test_a_step_that_meets_a_danger_early_sends_the_reader_to_its_cautions() -> None:
    told = example("fixed-blade-hunting")
    made = page(told)
    glue = made.section("phase-bond")
    assert "First read the cautions under Verify every arrow and Shooting test." in glue
    bare = told._replace(cautions=())
    assert "First read" not in page(bare).text()


def test_the_order_of_the_work() -> None:
    heads = [text for _, text in page(example("fixed-blade-hunting")).all("h2")]
    assert heads == [
        "Build",
        "Before the first step",
        "Drawings",
        "Lay out",
        "Prepare shafts and vanes",
        "Set up the jig",
        "Glue",
        "Cure",
        "Verify every arrow",
        "Shooting test",
        "Care",
        "Check and ask",
        "For the reviewer",
    ]


def test_what_is_for_the_reviewer_comes_last_and_the_first_page_says_so() -> None:
    made = page(example("fixed-blade-hunting"))
    said = "The bench needs the pages up to the heading For the reviewer"
    assert said in made.text("header")
    sections = [(attrs, text) for attrs, text in made.all("section")]
    at = next(n for n, (attrs, _) in enumerate(sections) if attrs["id"] == "reviewer")
    assert sections[at][0]["class"] == "apart"
    assert [attrs["id"] for attrs, _ in sections[at + 1 :]] == [
        "reasons",
        "other-builds",
        "not-known",
        "numbers",
        "stated",
        "rules",
    ]
    for attrs, text in sections[at + 1 :]:
        assert text in sections[at][1], attrs
    assert re.search(r"\.apart\{break-before:page", STYLE)
    # A sheet that forbids building has no part for the bench, and sends nobody to one.
    halted = page(example("too-light"))
    assert "The bench needs" not in halted.text("header")
    assert not halted.all("section", "apart")


def test_the_other_builds_are_told_in_words() -> None:
    told = example("fixed-blade-hunting")
    other = page(told).section("other-builds")
    assert len(told.alternatives) > 1
    assert "Vane length 2.75 in: flight in which most of the spin builds up" in other
    assert f"{told.builds - told.survivors} of {told.builds} builds break a must" in other
    for rejection in told.rejected:
        assert f"{rejection.builds} builds: " in other
        assert f"({rejection.rule})" in other


# Words


FACT = re.compile(r"\b[a-z][a-z0-9_]+\.[a-z][a-z0-9_]+\b")


def test_no_fact_is_told_by_its_raw_name() -> None:
    base = read_rule_base()
    house = read_rule_base(str(EXAMPLES / "quillmere" / "rules"))
    for name, (told, html, made) in made_of_many().items():
        raw = FACT.findall(re.sub(r"<style>.*?</style>|<[^>]*>", " ", html, flags=re.DOTALL))
        assert not [word for word in raw if word in base.vocabulary], (name, raw)
        assert not re.search(r"\b(?:UNPROVEN|BROKEN)\b", made.text()), name
        assert told.title or made.text("h1"), name
    reed = EXAMPLES / "quillmere" / "customers" / "reed-line.yaml"
    stock = EXAMPLES / "quillmere" / "stock.yaml"
    sold = advise(
        read_setup(str(reed), [], house.vocabulary), house, read_stock(str(stock), house.vocabulary)
    )
    built = page(sold).section("build")
    assert "vane.on_shelf" not in page(sold).text()
    assert f"{sold.labels['vane.on_shelf']} " in built


def test_a_fact_without_a_label_is_told_without_its_dots() -> None:
    told = kettle()._replace(labels={})
    assert "stove fuel" in page(told).section("stated").lower()
    assert asked(told, "some.long_name is at most <2 mm") == (
        "some long name is at most &lt;2\u00a0mm"
    )
    assert asked(told._replace(labels={"some.long_name": "the name"}), "some.long_name is 2") == (
        "the name is 2"
    )


def test_law_is_read_before_the_first_step() -> None:
    front = page(example("fixed-blade-hunting")).section("before")
    assert "law-decides-what-is-lawful" in front


def test_what_a_stop_waits_for_stands_on_the_first_page() -> None:
    told = kettle()
    asked = told.questions[0]._replace(because=HANGS, assumed=False)
    few = [asked._replace(fact=f"kettle.open_{i}") for i in range(7)]
    ((_, named),) = page(told._replace(questions=tuple(few))).all("div", "status")
    assert "Find out first, for a stop or a must hangs on it: kettle open 0, kettle open 1" in named
    assert "kettle open 4 and 2 more, under Check and ask" in named
    assumed = told._replace(questions=(asked._replace(assumed=True),))
    assert "Find out first" not in render(assumed, False)


def test_what_cannot_matter_is_not_to_be_checked() -> None:
    told = kettle()
    name = next(name for name in told.assumed if name not in told.rests_on)
    row = f"{label(told, name)}: checked"
    assert row in render(told._replace(cannot_matter=()), False)
    assert row not in render(told._replace(cannot_matter=(name,)), False)


def test_choices_are_told_in_words_and_quantities_as_they_were_written() -> None:
    stated = page(example("fixed-blade-hunting")).section("stated")
    assert "Use of the arrow hunting" in stated
    assert "Point type fixed blade" in stated or "Head type fixed blade" in stated
    assert "right, left, straight" in stated
    assert "9.0 gr/in" in stated  # as it was written
    assert not re.search(r"[\[\]]", stated)
    assert "Primer: needs primer" in page(example("fixed-blade-hunting")).section("build")
    assert said(True) == "yes"
    assert said(("outdoor-target", "field")) == "outdoor target, field"
    assert said(()) == "none"
    assert said("V-260-tall") == "V-260-tall"  # a number on a shelf is no choice


def test_the_wing_of_feathers_stands_beside_side_and_clamp() -> None:
    facts = {"vane.material": "feather", "bench.clamp": "left", "fletching.direction": "left"}
    told = kettle()._replace(build=facts, given={"feather.wing": "left"}, concluded={})
    line = "left side, left clamp, left-wing feathers"
    assert line in page(told).section("build")
    assert "Wing of the feathers left" in page(told).section("phase-set-up")
    concluded = told._replace(given={}, concluded={"feather.wing": "right"})
    assert "right-wing feathers" in page(concluded).section("build")
    plastic = told._replace(build={**facts, "vane.material": "vinyl"})
    assert "feathers" not in page(plastic).section("build")
    assert "Wing of" not in page(plastic).section("phase-set-up")


# What it tells


def test_the_jig_is_set_from_the_build() -> None:
    told = page(example("fixed-blade-hunting")).section("phase-set-up")
    for words in (
        "Clamp right",
        "Side right",
        "Offset angle 2 deg",
        "4 vanes, 90 deg apart",
        "rear of the vane 1 in",
        "Diameter the feet stand on 5.8 mm",
        "Dry fitted, no light under the foot Place marked Settings locked",
    ):
        assert words in told, words
    bare = page(kettle()).section("phase-set-up")
    assert bare.count("not settled") == 6


def test_a_row_for_every_arrow() -> None:
    def rows(count: float | None) -> tuple[int, str]:
        given = {} if count is None else {"arrow.quantity": Number(count, "")}
        made = page(kettle()._replace(given=given))
        names = [attrs.get("aria-label", "") for attrs, _ in made.all("input")]
        return sum(n.endswith(": spins true") for n in names), made.section("phase-verify")

    assert rows(12)[0] == 12
    assert rows(7)[0] == 7
    assert rows(None)[0] == 12
    assert "not known" in rows(None)[1]
    assert rows(2.5)[0] == 12
    assert rows(100)[0] == 72
    assert "the other 28" in rows(100)[1]
    told = page(example("fixed-blade-hunting")).section("phase-verify")
    assert "mass 445 gr +/- 2 %, balance point from the nock throat 17.9 in +/- 0.2 in" in told


def test_the_batch_is_laid_out_as_steps_and_numbers_say() -> None:
    steps = tuple(
        Step(f"s-{n}", "prepare", text)
        for n, text in enumerate(
            (
                "Wipe with alcohol on a lint-free cloth.",
                "Wipe the foot with primer.",
                "Again with alcohol.",
                "Dust with foot powder.",
            )
        )
    )
    made = example("fixed-blade-hunting")._replace(steps=steps)
    told = page(made).section("lay-out")
    for words in (
        "12 of each",
        "Vanes, V-260-tall-stiff 53, spares included",
        "Glue, medium cyanoacrylate 0.95 ml +/- 50 %, waste included",
        "isopropyl alcohol (step 1, 3)",
        "lint-free wipes (step 1)",
        "primer (step 2)",
        "eye protection (a caution)",
        "foot powder (step 4)",
    ):
        assert words in told, words
    ready = kettle()._replace(steps=(Step("r", "prepare", "Use no primer, the foot is ready."),))
    assert "primer" not in page(ready).section("lay-out")


def test_everything_open_is_told() -> None:
    made = page(kettle())
    before, check = made.section("before"), made.section("check")
    for words in ("rules of equal standing disagree", "Nobody could prove", "waits for clock hour"):
        assert words in before, words
    assert "whistle-on-gas stands unless sleeping-child" in before
    assert "bounded by the stock" in before
    first, _, others = check.partition("Assumed, to be checked")
    assert "the verdict rests on it: check these first Fact" in first
    assert "Rim width 3 mm Most are" in first
    assert "Rim width" not in others
    assert "What time is it? A choice waits for it." in check
    why = made.section("reasons")
    for words in (
        "Not met: kettle whistle is loud.",
        "Water costs gas. (small-for-one, published)",
        "Musts met: must-be-whole.",
        "quiet lost to whistle-on-gas: Flames.",
        "The model shows no difference.",
        "tea-first (kitchen): We drink coffee.",
    ):
        assert words in why, words
    assert "night-rule (clock hour)" in made.section("not-known")
    assert "old-rule" not in why
    assert "The spout is wider than the kettle: no kettle rate." in made.section("numbers")
    assert "Stove fuel gas" in made.section("stated")
    assert "As good: kettle volume 1.6 ml." in made.section("build")


def test_the_rules_are_named_in_full() -> None:
    told = example("fixed-blade-hunting")
    rules = page(told).section("rules")
    base = told.rulebase
    assert f"Rule base: {base.name}, version {base.version}" in rules
    assert base.digest in rules
    for number, step in enumerate(told.steps, 1):
        assert f"{number} {step.rule}" in rules
    why = page(told).section("reasons")
    for reasons in told.reasons.values():
        for reason in reasons:
            assert reason.rule in why, reason.rule


# The style


def test_print_keeps_together_what_belongs_together() -> None:
    printed = STYLE[STYLE.index("@media print") :]

    def holds(rule: str) -> set[str]:
        found = re.findall(rf"\n([^{{}}\n]+)\{{{rule}:avoid;\}}", printed)
        return {name for names in found for name in names.split(",")}

    assert {"tr", "li", ".caution", ".drawing", ".settings"} <= holds("break-inside")
    # A heading stays with what it heads, a table's head with its first rows, its last row with one.
    assert {"h2", "h3", "caption", "thead"} <= holds("break-after")
    assert {"tbody tr:nth-child(-n+2)", "tbody tr:nth-last-child(2)"} <= holds("break-after")


def test_the_drawings_can_be_read_in_print() -> None:
    printed = STYLE[STYLE.index("@media print") :]
    wide = re.search(r"\.arrow-drawing\{width:(\d+)mm", printed)
    sides = re.search(r"@page\{margin:\d+mm (\d+)mm", STYLE)
    sizes = [float(size) for size in re.findall(r"font-size:([\d.]+)px", DRAWING_STYLE)]
    assert wide
    assert sides
    assert int(wide[1]) + 2 * int(sides[1]) <= 210  # the width of A4, mm
    capital = 1409 / 2048  # height of a capital of the first face named, in sizes of type
    assert min(sizes) * int(wide[1]) / WIDTH * capital >= 2.2


def test_print_is_legible_and_needs_no_colour() -> None:
    printed = STYLE[STYLE.index("@media print") :]
    sizes = [float(size) for size in re.findall(r"font(?:-size)?:(?:\w+ )?([\d.]+)pt", STYLE)]
    bench = [size for size in sizes if size >= 10]
    assert len(bench) > 15
    # What is smaller is for the reviewer alone.
    rules = re.findall(r"\n([^{]*)\{[^}]*font-size:([\d.]+)pt", STYLE)
    small = [name for name, size in rules if float(size) < 10]
    assert small
    assert all(name.startswith(".review") for name in small), small
    assert min(sizes) >= 8.5
    assert re.search(r"html\{font-size:10pt", printed)
    assert "--paper:#fff" in printed
    assert set(re.findall(r"--(?:ink|thin|line|alarm):(#\w+)", printed)) == {"#000"}
    assert "prefers-color-scheme:dark" in STYLE
    assert "break-inside:avoid" in printed
