"""Comparing two versions of a rule base by what they mean.

First by structure: which rules are which, what of them is otherwise, and which effects (a value, a
caution, a step, a demand) come from something else than before. What comes from the same is the
same, whatever rules are called. For the rest a solver, where there is one, is asked for a setup on
which it differs. What is left is counted over a declared population: conclusions that need no build
setup by setup in columns, chosen builds on a sample. Every setup shown was run by both engines.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from advisor.decision import RuleBaseName
from advisor.engine.values import COMPUTED, OPTION, Value
from advisor.errors import Fault, Faults
from advisor.meanings.counted import Counted
from advisor.meanings.matching import OTHER_FORM, Matches, RuleChanges, match
from advisor.meanings.refusals import Weighed, refusals
from advisor.meanings.sampling import Builds, wilson
from advisor.meanings.sides import ASKED, SHOWN, Key, Sides, shown_by, sides_of
from advisor.meanings.witnessing import FIRM, UNDECIDED, Replay, Stated, place_of
from advisor.meanings.words_compared import choosing, vocabulary_changes
from advisor.meanings.written import vocabulary_of_both
from advisor.population import Population, read_population, sample, usual_population
from advisor.revisions import read_version
from advisor.rulebase.model import RuleBase
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
    BuildTopic,
    ComparedRule,
    PopulationUse,
    RulesComparison,
    Share,
    Topic,
    Witness,
)

if TYPE_CHECKING:
    from advisor.proving.same import Both

SETUPS = 1_000_000
BUILDS = 300
SEED = 1

MOST_SETUPS = 10_000_000
"""Of these the columns take some gigabytes."""
MOST_BUILDS = 100_000
"""So many setups are advised on in an hour or two."""

WITHOUT_NUMPY = 2000
"""Setups that are looked at one by one where numpy is not installed."""

NO_SOLVER = (
    "nothing was proved: the solver is not installed; add it, in the project's folder, with "
    "`pip install '.[prove]'`"
)
NO_NUMPY = (
    "numpy is not installed, so few setups were looked at, one by one; add it, in the project's "
    "folder, with `pip install '.[columns]'`"
)

Progress = Callable[[int, int, str], None]
"""Told how much of how many is done, and of what: setups, or builds."""


def compare_rules(
    old: RuleBase,
    new: RuleBase,
    population: Population | None = None,
    *,
    setups: int = SETUPS,
    builds: int = BUILDS,
    seed: int = SEED,
    proofs: bool = True,
    progress: Progress | None = None,
) -> RulesComparison:
    """Compare two versions of a rule base by what they mean.

    Args:
        old: the rules as they were.
        new: the rules as they are.
        population: the setups to count over, read against `vocabulary_of_both`; None for the one
            that is shipped.
        setups: how many are drawn for conclusions that need no build, at most MOST_SETUPS; 0 for
            none.
        builds: how many are advised on whole by both, at most MOST_BUILDS; 0 for none.
        seed: of both drawings.
        proofs: whether a solver is asked, where one is installed.
        progress: told of long work.

    Returns:
        What is otherwise, and how that is known.

    Raises:
        Faults: about the usage, of more setups than are taken.
    """
    _refuse_too_many(setups, builds)
    matches = match(old, new)
    hints: list[str] = []
    words = vocabulary_of_both(old, new)
    if population is None:
        population, hints = usual_population(words)
    given = frozenset(
        name
        for name in population.always
        if name in words and words[name].origin in (OPTION, COMPUTED)
    )
    sides = sides_of(old, new, matches, given)
    work = _Comparison(sides, matches, population, seed, progress)
    return work.done(setups, builds, hints, proofs=proofs)


def _refuse_too_many(setups: int, builds: int) -> None:
    """Refuse to draw more setups than there is room or time for, or fewer than none."""
    faults = [
        Fault(
            f"--{what}",
            None,
            None,
            f"{count:,} is no number of setups to look at",
            f"give 0 to {most:,}",
        )
        for what, count, most in (("setups", setups, MOST_SETUPS), ("builds", builds, MOST_BUILDS))
        if not 0 <= count <= most
    ]
    if faults:
        raise Faults(faults, "usage")


def compare_versions(
    old: str,
    new: str,
    population: str | None = None,
    *,
    setups: int = SETUPS,
    builds: int = BUILDS,
    seed: int = SEED,
    progress: Progress | None = None,
) -> RulesComparison:
    """Compare two versions of a rule base by their names; see `compare_rules`.

    Args:
        old: a folder, or `FOLDER@REVISION`.
        new: the same.
        population: a file; None for the population that is shipped.
        setups: how many are drawn for conclusions that need no build.
        builds: how many are advised on whole.
        seed: of both drawings.
        progress: told of long work.

    Raises:
        Faults: about the usage if a revision or the population is refused, else about the rules;
            those of both versions together.
    """
    _refuse_too_many(setups, builds)
    bases: list[RuleBase] = []
    hints: list[str] = []
    refused: list[Faults] = []
    for name in (old, new):
        try:
            bases.append(read_version(name, hints))
        except Faults as faults:
            refused.append(faults)
    if refused:
        told = [fault for faults in refused for fault in faults.faults]
        raise Faults(told, min((faults.about for faults in refused), key=_severity))
    before, after = bases
    people = None
    if population is not None:
        people = read_population(population, vocabulary_of_both(before, after))
    found = compare_rules(
        before, after, people, setups=setups, builds=builds, seed=seed, progress=progress
    )
    return found._replace(hints=(*hints, *found.hints))


def _severity(about: str) -> int:
    """Put what is wrong with the rules before what is wrong with how they were named."""
    return 0 if about == "rules" else 1


class _Found(NamedTuple):
    """What is known of one topic."""

    known: str
    changed: int = 0
    opened: int = 0
    of: int = 0
    witness: Witness | None = None
    free: tuple[str, ...] = ()


class _Comparison:
    """The work of one comparison."""

    def __init__(
        self,
        sides: Sides,
        matches: Matches,
        population: Population,
        seed: int,
        progress: Progress | None,
    ) -> None:
        self.sides = sides
        self.matches = matches
        self.population = population
        self.seed = seed
        self.progress = progress
        self.replay = Replay(sides)
        self.hints: list[str] = []
        self.levels: dict[tuple[str, str], int] = {}
        self.share: Share | None = None
        self.opened: Share | None = None
        self.drawn = self.outside = 0

    def done(
        self, setups: int, builds: int, hints: Sequence[str], *, proofs: bool
    ) -> RulesComparison:
        """Do all of it; `hints` are of the population, for where it is used."""
        refused = self._refusals()
        by_topic = _by_topic(self.sides.candidates, self.sides.needs)
        both = self._solver(by_topic) if proofs and by_topic else None
        found: dict[tuple[str, str], _Found] = {}
        for (needs, topic), keys in by_topic.items():
            if both is not None and both.possible(keys) is False:
                found[needs, topic] = _Found(BY_PROOF, free=both.free_for(keys))
        left = {kind: keys for kind, keys in by_topic.items() if kind not in found}
        settled = {
            kind: [key for key in keys if self.sides.is_settled(key)] for kind, keys in left.items()
        }
        self._count({kind: keys for kind, keys in settled.items() if keys}, setups, builds, found)
        if both is not None:
            self._ask_solver(both, {k: left[k] for k in left if k[1] != FAVOURS}, found)
        for kind in left:
            found.setdefault(kind, _Found(NOT_LOOKED_AT))
        setup = _verdict([one for (needs, _), one in found.items() if needs == SETUP])
        same = choosing(self.sides.old.base) == choosing(self.sides.new.base)
        build, share, topics = self._builds(list(found.values()), builds, same=same)
        if any(needs == BUILD and one.known == DIFFERS for (needs, _), one in found.items()):
            build = DIFFERS  # shown on a setup, however few of them there are
        told = [Topic(topic, needs, *found[needs, topic]) for needs, topic in by_topic]
        if self.drawn or refused:
            self.hints += hints
        old, new = self.sides.old.base, self.sides.new.base
        return RulesComparison(
            _name(old),
            _name(new),
            self._rules(),
            vocabulary_changes(old, new, self.matches),
            DIFFERS if refused else BY_STRUCTURE,
            setup,
            build,
            (*refused, *told),
            topics,
            self._population(),
            self.share,
            self.opened,
            share,
            tuple(self.hints),
        )

    def _refusals(self) -> tuple[Topic, ...]:
        spreads = (
            Weighed(name, spread.stated, spread.values, spread.weights)
            for name, spread in self.population.facts.items()
        )
        found = refusals(self.replay.carrier, self.sides.old, self.sides.new, spreads)
        return () if found is None else (found,)

    def _population(self) -> PopulationUse | None:
        if not self.drawn:
            return None
        name, because = self.population.name, self.population.because
        return PopulationUse(name, because, self.seed, self.drawn, self.outside)

    # Rules

    def _rules(self) -> tuple[ComparedRule, ...]:
        old, new = self.sides.old, self.sides.new
        changes = RuleChanges(old.base, new.base, self.matches)
        found = [
            ComparedRule(entry.id, ADDED, entry.says, None, place_of(new, entry.id))
            for entry in self.matches.added
        ]
        found += [
            ComparedRule(entry.id, RETIRED, entry.says, place_of(old, entry.id), None)
            for entry in self.matches.retired
        ]
        for pair in self.matches.pairs:
            told, words, texts = changes.of(pair), changes.words(pair), changes.texts(pair)
            renamed = pair.old.id != pair.new.id
            if not (told or words or texts or renamed) and pair.old.source != pair.new.source:
                words = (OTHER_FORM,)
            what = CHANGED if told else REWORDED if words or texts else RENAMED if renamed else ""
            if what:
                found.append(
                    ComparedRule(
                        pair.new.id,
                        what,
                        pair.new.says,
                        place_of(old, pair.old.id),
                        place_of(new, pair.new.id),
                        pair.replaces,
                        told,
                        words,
                        texts,
                    )
                )
        order = (CHANGED, ADDED, RETIRED, REWORDED, RENAMED)
        return tuple(sorted(found, key=lambda one: (order.index(one.what), one.rule)))

    # Proofs

    def _solver(self, by_topic: Mapping[tuple[str, str], Sequence[Key]]) -> Both | None:
        try:
            import z3  # noqa: F401
        except ImportError:
            self.hints.append(NO_SOLVER)
            return None
        from advisor.proving.same import Both

        both = Both(self.sides, [key for keys in by_topic.values() for key in keys])
        if both.differing:
            told = ", ".join(both.differing)
            self.hints.append(f"nothing was proved: {told} is not the same kind of fact in both")
            return None
        return both

    def _ask_solver(
        self,
        both: Both,
        left: Mapping[tuple[str, str], Sequence[Key]],
        found: dict[tuple[str, str], _Found],
    ) -> None:
        """Let the solver find a setup for topics of which none was found, or one more telling."""
        for kind, keys in left.items():
            before = found.get(kind, _Found(DIFFERS))
            least = 0 if any(key.kind == ASKED for key in keys) else FIRM
            level = self.levels.get(kind, UNDECIDED + 1)
            for firm in (True, False) if level > UNDECIDED else (True,):
                if level <= least:
                    break
                model = both.model(keys, firm=firm)
                told = None if model is None else self.replay.most_telling(keys, [model])
                if told is not None and told[0] < level:
                    level = told[0]
                    found[kind] = before._replace(known=DIFFERS, witness=told[1])
                    break

    # Counting

    def _count(
        self,
        by_topic: Mapping[tuple[str, str], Sequence[Key]],
        setups: int,
        builds: int,
        found: dict[tuple[str, str], _Found],
    ) -> None:
        if not by_topic or not setups:
            return
        keys = [key for keys in by_topic.values() for key in keys]
        told = self._in_columns(keys, setups) or self._one_by_one(keys, min(setups, WITHOUT_NUMPY))
        counted, setup_at, read = told
        self._tell_unstated(read)
        self.drawn = max(self.drawn, counted.looked_at + counted.outside)
        self.outside = counted.outside
        self.share = wilson(counted.changed, counted.looked_at)
        self.opened = wilson(counted.opened, counted.looked_at)
        for kind, some in by_topic.items():
            topic = kind[1]
            changed, opened = counted.by_topic[topic], counted.opened_by_topic[topic]
            witness = None
            tried = sorted(map(setup_at, counted.examples[topic]), key=len)
            if topic == FAVOURS:
                found[kind] = self._weighed(changed, counted.looked_at, tried if builds else None)
                continue
            if changed or opened:
                best = self.replay.most_telling(some, tried)
                if best is not None:
                    self.levels[kind], witness = best
            known = DIFFERS if changed or opened else NO_DIFFERENCE_FOUND
            found[kind] = _Found(known, changed, opened, counted.looked_at, witness)

    def _weighed(self, changed: int, of: int, tried: Sequence[Stated] | None) -> _Found:
        """Return what is known of favours that are weighed in another order on some setups."""
        if tried is None:
            return _Found(NOT_LOOKED_AT, changed, 0, of)
        judged = Builds(self.replay)
        for stated in tried:
            for topic in judged.differing(stated):
                witness = judged.witness(topic, [stated], [])
                return _Found(DIFFERS, changed, 0, of, witness)
        return _Found(NO_DIFFERENCE_FOUND, changed, 0, of)

    def _in_columns(self, keys: Sequence[Key], setups: int) -> _Counting | None:
        try:
            import numpy as np  # noqa: F401
        except ImportError:
            self.hints.append(NO_NUMPY)
            return None
        from advisor.columns.count import Counting

        counting = Counting(self.sides, keys, self.population, setups, self.seed)
        counted = counting.count(self._progress("setups"))
        read = counting.plans[0].read | counting.plans[1].read
        return _Counting(counted, counting.setup, read)

    def _one_by_one(self, keys: Sequence[Key], setups: int) -> _Counting:
        drawn = sample(self.population, self.seed, setups)
        topics = dict.fromkeys(key.topic for key in keys)
        by_topic, opened_by_topic = dict.fromkeys(topics, 0), dict.fromkeys(topics, 0)
        firm_at: dict[str, list[int]] = {topic: [] for topic in topics}
        unsure_at: dict[str, list[int]] = {topic: [] for topic in topics}
        looked_at = changed = opened = 0
        tell = self._progress("setups")
        for at, stated in enumerate(drawn):
            runs = self.replay.runs(stated)
            if runs is not None:
                looked_at += 1
                firm = {key.topic for key in self.replay.differing(keys, stated, firm=True)}
                unsure = {key.topic for key in self.replay.differing(keys, stated)} - firm
                changed += bool(firm - {FAVOURS})
                opened += bool(unsure and not firm - {FAVOURS})
                for topic in firm | unsure:
                    (by_topic if topic in firm else opened_by_topic)[topic] += 1
                    (firm_at if topic in firm else unsure_at)[topic].append(at)
            if tell is not None:
                tell(at + 1, setups)
        examples = {topic: firm_at[topic] or unsure_at[topic] for topic in topics}
        outside = setups - looked_at
        counted = Counted(looked_at, outside, changed, opened, by_topic, opened_by_topic, examples)
        read = self._read(keys)
        return _Counting(counted, drawn.__getitem__, read)

    def _read(self, keys: Sequence[Key]) -> frozenset[str]:
        found: set[str] = set()
        for side in (self.sides.old, self.sides.new):
            places = [source.place for key in keys for source in side.effects.get(key, ())]
            shown = [shown_by(key) for key in keys if key.kind == SHOWN]
            found |= side.behind(places, shown)[1]
        return frozenset(found)

    def _progress(self, what: str) -> Callable[[int, int], None] | None:
        progress = self.progress
        return None if progress is None else lambda done, of: progress(done, of, what)

    def _tell_unstated(self, read: Iterable[str]) -> None:
        """Say which facts that matter no setup of the population states."""
        words = self.sides.new.base.vocabulary
        missing = sorted(
            name
            for name in read
            if name in words and words[name].origin == "given" and name not in self.population.facts
        )
        if missing:
            told = ", ".join(missing)
            self.hints.append(f"no setup of the population states {told}")

    # Whole builds

    def _builds(
        self, found: Sequence[_Found], builds: int, *, same: bool
    ) -> tuple[str, Share | None, tuple[BuildTopic, ...]]:
        if same and not found:
            return BY_STRUCTURE, None, ()
        if same and all(one.known == BY_PROOF for one in found):
            return BY_PROOF, None, ()
        if not builds:
            return NOT_LOOKED_AT, None, ()
        setups = sample(self.population, self.seed, builds)
        share, topics, outside = Builds(self.replay).compare(
            setups, builds, self._progress("builds")
        )
        if not self.drawn:
            self.drawn, self.outside = builds, outside
        return DIFFERS if share.changed else NO_DIFFERENCE_FOUND, share, topics


class _Counting(NamedTuple):
    """What was counted, what gives one of the setups, and the facts that were read."""

    counted: Counted
    setup_at: Callable[[int], Mapping[str, Value]]
    read: frozenset[str]


def _by_topic(
    candidates: Iterable[Key], needs: Mapping[Key, str]
) -> dict[tuple[str, str], list[Key]]:
    found: dict[tuple[str, str], list[Key]] = {}
    for key in candidates:
        found.setdefault((needs[key], key.topic), []).append(key)
    return dict(sorted(found.items(), key=lambda one: (one[0][0] == BUILD, one[0][1])))


def _verdict(found: Sequence[_Found]) -> str:
    """Return what is known of all topics together."""
    kinds = {one.known for one in found}
    for known in (DIFFERS, NOT_LOOKED_AT, NO_DIFFERENCE_FOUND, BY_PROOF):
        if known in kinds:
            return known
    return BY_STRUCTURE


def _name(base: RuleBase) -> RuleBaseName:
    layers = tuple(f"{layer.name} {layer.version}" for layer in base.layers)
    return RuleBaseName(base.name, base.version, base.digest, layers)


__all__ = ["compare_rules", "compare_versions"]
