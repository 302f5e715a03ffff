"""A comparison of two rule bases as plain text: what changed in meaning, and what that comes to."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence

from advisor.decision import FactValue, Number, RuleBaseName
from advisor.render.numbers import digits, plain, unit_words
from advisor.render.page import Page
from advisor.rules_compared import (
    ADDED,
    BUILD,
    BY_PROOF,
    BY_STRUCTURE,
    CHANGED,
    DIFFERS,
    FAVOURS,
    NO_DIFFERENCE_FOUND,
    NOT_LOOKED_AT,
    RENAMED,
    RETIRED,
    REWORDED,
    SETUP,
    STATED,
    Change,
    ComparedRule,
    RulePlace,
    RulesComparison,
    Said,
    Share,
    Topic,
    Witness,
)

_HEADS = {
    CHANGED: ("Changed in meaning", "1;33"),
    ADDED: ("Added", "1"),
    RETIRED: ("Retired", "1"),
    REWORDED: ("Reworded", "1"),
    RENAMED: ("Renamed", "1"),
}
_NINE = 9
_COMMAND_WIDTH = 68
_MOST_SHOWN = 3
_MOST_RULES = 4


def render(comparison: RulesComparison, colour: bool) -> str:
    """Return a comparison as text, at most eighty columns wide but for long names and paths."""
    page = Page(colour)
    page.lines.append(page.paint("Two rule bases compared", "1"))
    for word, base in (("from", comparison.old), ("to", comparison.new)):
        page.put(f"{word:5}{_base(base)}", hang=5)
    page.lines.append("")
    page.put(verdict(comparison), hang=2)
    for what, (head, code) in _HEADS.items():
        some = [rule for rule in comparison.rules if rule.what == what]
        if some:
            page.head(f"{head} ({len(some)})", code)
            for rule in some:
                _rule(page, rule)
    if comparison.vocabulary:
        page.head("Facts and defaults")
        for change in comparison.vocabulary:
            page.put(f"{_started(change)}.", hang=2)
    _stated(page, comparison)
    _setup(page, comparison)
    _build(page, comparison)
    page.head("How it is known")
    for line in basis(comparison):
        page.put(line, hang=2)
    return page.text()


def basis(comparison: RulesComparison) -> list[str]:
    """Return what a comparison rests on, a sentence for each thing."""
    told = []
    used = comparison.population
    if used is not None:
        left = f", {used.outside:,} of them left out" if used.outside else ""
        told.append(
            f"{used.drawn:,} setups of the population `{used.name}`{left}, seed {used.seed}; "
            "what it rests on is in its file."
        )
    elif DIFFERS in (comparison.setup, comparison.build):
        told.append("No setup of a population was looked at; a solver found those shown.")
    elif NOT_LOOKED_AT in (comparison.setup, comparison.build):
        told.append("No setup was looked at.")
    if _witnesses(comparison):
        told.append("Setups shown can be run with the rules of OLD and of NEW.")
    told += [f"{hint[:1].upper()}{hint[1:]}." for hint in comparison.hints]
    proved = BY_PROOF in (comparison.setup, comparison.build)
    return told or [_NO_SETUP[proved]]


_NO_SETUP = {
    False: "By comparing what all advice comes from; no setup was needed.",
    True: "By comparing what all advice comes from, and by a solver; no setup was needed.",
}


def _witnesses(comparison: RulesComparison) -> bool:
    shown = [topic.witness for topic in comparison.topics]
    shown += [topic.witness for topic in comparison.builds]
    return any(witness is not None for witness in shown)


_SAME = {
    BY_STRUCTURE: "No advice changed: all of it comes from what it came from before.",
    BY_PROOF: "No advice changed: no setup of the declared domain gets other advice (proved).",
}


def verdict(comparison: RulesComparison) -> str:
    """Return what a comparison comes to, in a sentence or two."""
    known = {comparison.setup, comparison.build}
    if DIFFERS in known:
        return "Advice changed."
    found = _SAME[BY_PROOF if BY_PROOF in known else BY_STRUCTURE]
    if not known <= set(_SAME):
        found = "No difference of advice was found; that is no proof."
    if known == {NOT_LOOKED_AT}:
        found = "Whether advice changed is not known: no setup was looked at."
    if comparison.stated == DIFFERS:
        same = f" For setups that both take: {found[:1].lower()}{found[1:]}"
        return f"Some setups are taken by one of both only.{same}{_texts_too(comparison)}"
    if comparison.has_other_texts:
        return f"Only texts changed: read them. Apart from them: {found[:1].lower()}{found[1:]}"
    if not comparison.rules and not comparison.vocabulary and known <= set(_SAME):
        if comparison.old.digest == comparison.new.digest:
            return "Nothing changed."
        return f"{found} What is otherwise is in no rule, fact or source: the manifest, say."
    return found


def _texts_too(comparison: RulesComparison) -> str:
    return " Texts changed, too: read them." if comparison.has_other_texts else ""


def _started(change: Change) -> str:
    """Return what is said of a change; a fact's name keeps its small letter."""
    if change.fact and change.says.startswith(change.fact):
        return change.says
    return f"{change.says[:1].upper()}{change.says[1:]}"


def _base(base: RuleBaseName) -> str:
    under = "".join(f" over {layer}" for layer in reversed(base.layers[:-1]))
    return f"{base.name} {base.version}{under}, digest {base.digest[:12]}"


def _rule(page: Page, rule: ComparedRule) -> None:
    places = [place for place in (rule.old, rule.new) if place is not None]
    place = places[-1]
    was = ""
    if rule.old is not None and rule.old.rule != rule.rule:
        was = f", {'replaces' if rule.replaces else 'was'} {rule.old.rule}"
    page.put(f"{rule.rule} ({place.file}:{place.line}){was}", hang=2)
    if not rule.changes and rule.what != REWORDED:
        page.put(rule.says, indent=9, hang=2)
    for change in rule.changes:
        page.put(f"{change.says}.", indent=9, hang=2)
    for text in rule.texts:
        what = text.sort if text.what == "caution" else f"step of {text.sort}"
        page.put(f"{what}, before: {text.old}", indent=9, hang=2)
        page.put(f"{what}, now: {text.new}", indent=9, hang=2)
    if rule.words:
        page.put(f"only in words: {', '.join(rule.words)}", indent=9, hang=2)


def _stated(page: Page, comparison: RulesComparison) -> None:
    """Tell which setups one side refuses."""
    for topic in comparison.topics:
        if topic.topic != STATED:
            continue
        page.head("What can be stated")
        for share, refused in (
            (topic.refused_now, "refused from now on"),
            (topic.refused_before, "taken from now on that were refused"),
        ):
            if share:
                page.put(f"Setups are {refused}: {_percent(share)} of the population.", hang=2)
        if not topic.refused_now and not topic.refused_before:
            told = "No setup of the population is refused by one of both alone; others are."
            page.put(told, hang=2)
        _witness(page, topic.witness)
        page.put("All that follows is about setups that both take.", hang=2)


def _setup(page: Page, comparison: RulesComparison) -> None:
    topics = [t for t in comparison.topics if t.needs == SETUP and t.topic != STATED]
    page.head("Conclusions that need no build")
    page.put(_KNOWN[comparison.setup], hang=2)
    share, opened = comparison.share, comparison.opened
    if share is not None and share.changed:
        page.put(f"Some conclusion differs on {_share(share)}.", hang=2)
    if opened is not None and opened.changed:
        also = "others" if share is not None and share.changed else "setups"
        told = f"{opened.changed:,} of {opened.of:,} ({_percent(opened.changed / opened.of)})"
        page.put(f"On {also}, {told}, only that differs which is not decided yet.", hang=2)
    for topic in topics:
        if topic.known == BY_PROOF:
            continue
        page.lines.append("")
        told = f"{topic.topic}: {_counted(topic)}"
        page.put(told, hang=2)
        _witness(page, topic.witness)
    _same(page, topics)


_WEIGHED = {
    DIFFERS: "some of them get another build",
    NO_DIFFERENCE_FOUND: "no other build was found among those looked at",
}


def _counted(topic: Topic) -> str:
    if topic.known != DIFFERS:
        return "no difference found"
    opened = f"{topic.opened:,} not decided yet" if topic.opened else ""
    if topic.changed:
        return _of(topic.changed, topic.of) + (f"; {opened}" if opened else "")
    firm = topic.witness is not None and not topic.witness.undecided
    if opened:
        also = "on others more than that" if firm else "only undecided rules differ"
        return f"{opened}, of {topic.of:,} setups; {also}"
    unsure = "" if firm else "; only undecided rules differ"
    if topic.of:
        return f"on none of {topic.of:,} setups drawn, but on some{unsure}"
    return f"on some setup{unsure}"


def _same(page: Page, topics: Sequence[Topic]) -> None:
    proved = [topic for topic in topics if topic.known == BY_PROOF]
    if proved:
        page.lines.append("")
        names = ", ".join(topic.topic for topic in proved)
        page.put(f"Proved to be as before, though what it comes from changed: {names}.", hang=2)
    free = sorted({fact for topic in proved for fact in topic.free})
    if free:
        page.put(f"Taken for free within their range: {', '.join(free)}.", hang=2)


def _build(page: Page, comparison: RulesComparison) -> None:
    page.head("Whole builds")
    share = comparison.build_share
    if share is None:
        page.put(_KNOWN[comparison.build], hang=2)
    elif not share.changed:
        page.put(
            f"The same on all {share.of:,} setups that were advised on whole; so with 95 % "
            f"confidence at most {_percent(share.high)} of the population gets another.",
            hang=2,
        )
    else:
        page.put(f"Other advice on {_share(share)}.", hang=2)
    told = {topic.topic for topic in comparison.builds}
    for one in comparison.builds:
        page.lines.append("")
        text = f"{one.topic}: {_of(one.share.changed, one.share.of)}"
        page.put(text, hang=2)
        _witness(page, one.witness)
    topics = [topic for topic in comparison.topics if topic.needs == BUILD]
    for topic in topics:
        if topic.known == DIFFERS and topic.topic not in told:
            page.lines.append("")
            page.put(f"{topic.topic}: {_counted(topic)}")
            _witness(page, topic.witness)
    _same(page, topics)
    weighed = [topic for topic in topics if topic.changed and topic.topic == FAVOURS]
    for topic in weighed:
        page.put(
            f"Favours are weighed otherwise on {_of(topic.changed, topic.of)}; "
            f"{_WEIGHED.get(topic.known, 'what that comes to was not looked at')}.",
            hang=2,
        )
    left = [
        topic.topic
        for topic in topics
        if topic.known in (NOT_LOOKED_AT, NO_DIFFERENCE_FOUND)
        and topic.topic not in told
        and topic not in weighed
    ]
    if left:
        page.put(f"Neither proved nor shown: {', '.join(left)}.", hang=2)


_KNOWN = {
    BY_STRUCTURE: "As before: all that they come from is the same.",
    BY_PROOF: "As before: proved over the declared ranges and choices of all facts.",
    NO_DIFFERENCE_FOUND: "No difference was found among the setups looked at; that is no proof.",
    DIFFERS: "Changed.",
    NOT_LOOKED_AT: "No setup was looked at.",
}


def _share(share: Share) -> str:
    return (
        f"{_of(share.changed, share.of)} of the population "
        f"({_percent(share.low)} to {_percent(share.high)} with 95 % confidence)"
    )


def _of(changed: int, of: int) -> str:
    return f"{changed:,} of {of:,} setups, {_percent(changed / of if of else 0.0)}"


def _percent(share: float) -> str:
    if 0 < share < 0.00001:
        return "less than 0.001 %"
    return f"{digits(100 * share, 2 if share < 0.1 else 3)} %"


def _witness(page: Page, witness: Witness | None) -> None:
    if witness is None:
        return
    told = ", ".join(f"{fact} {exact(value)}" for fact, value in witness.setup.items())
    page.put(f"With {told}:" if told else "With nothing stated, a setup file of `{}`:", 9, 2)
    _said(page, "old", witness.old)
    _said(page, "new", witness.new)
    if witness.setup:
        page.lines += [f"{' ' * 9}{line}" for line in command(witness)]


def command(witness: Witness) -> list[str]:
    """Return the lines of a command that runs a witness, as a shell reads them."""
    parts = [
        f"--set {shlex.quote(f'{fact}={_as_set(value)}')}" for fact, value in witness.setup.items()
    ]
    lines = ["advisor advise --rules NEW"]
    for part in parts:
        if len(lines[-1]) + len(part) < _COMMAND_WIDTH:
            lines[-1] += f" {part}"
        else:
            lines.append(f"  {part}")
    return [f"{line} \\" for line in lines[:-1]] + lines[-1:]


def _as_set(value: FactValue) -> str:
    """Return a value as `--set` takes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Number):
        unit = "" if value.unit == "1" else value.unit
        return f"{digits(value.value, _NINE)} {unit}".strip()
    return value if isinstance(value, str) else f"[{', '.join(value)}]"


def _said(page: Page, word: str, said: Sequence[Said]) -> None:
    if not said:
        page.put(f"{word}: nothing of it", indent=9, hang=5)
    for one in said[:_MOST_SHOWN]:
        page.put(f"{word}: {one.says}{_places(one.rules)}", indent=9, hang=5)
    if len(said) > _MOST_SHOWN:
        page.put(f"{word}: and {len(said) - _MOST_SHOWN} more", indent=9, hang=5)


def _places(places: Iterable[RulePlace]) -> str:
    told = [f"{place.rule}, {place.file}:{place.line}" for place in places]
    more = len(told) - _MOST_RULES
    if more > 0:
        told[_MOST_RULES:] = [f"and {more} more"]
    return f" ({'; '.join(told)})" if told else ""


def exact(value: FactValue) -> str:
    """Show a value with all its digits, for on a witness every one of them may count."""
    if isinstance(value, Number):
        return f"{digits(value.value, _NINE)}{unit_words(value.unit)}"
    return plain(value)
