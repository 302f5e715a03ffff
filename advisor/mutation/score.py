"""The mutation score of a rule base: how many small changes of its rules its cases notice.

Every mutant (`mutants`) is run against the cases that could notice it (`noticing`), those first
that speak of its rule, until one of them fails. For one that survives, the case that would have to
be written is looked for (`surviving`). The order is that of the rules, whatever is run where.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple

from advisor.case_findings import CHANGED, Gate, Killed, Mutation, Survivor, Tally
from advisor.cases import Case, run_case
from advisor.coverage.exercised import Exercise, name_of, own_cases
from advisor.engine.rules import Rule
from advisor.mutation.mutants import Mutant, mutants_of, mutated, sample
from advisor.mutation.noticing import CANNOT, SURELY_LOOK, Noticing
from advisor.rulebase.model import RuleBase

Progress = Callable[[int, int], None]
"""Told how many mutants are done, and of how many."""

_AT_ONCE = 8
"""Mutants handed to another process at a time."""


def mutation(
    base: RuleBase,
    cases: Sequence[Case] | None = None,
    *,
    share: float = 1.0,
    only: str = "",
    workers: int = 1,
    propose: bool = True,
    progress: Progress | None = None,
) -> Mutation:
    """Return how many small changes of the top layer's rules are noticed by cases.

    Args:
        base: the rules.
        cases: that should notice; those of the top layer if None.
        share: how many of the mutants to try, from 0 to 1: the same ones each time.
        only: a part of the names of the mutants to try; all of them if empty.
        workers: processes to work in; more than one only with the rule base's own cases, which
            each of them reads for itself.
        propose: whether to look for the case that each survivor lacks.
        progress: told how far it is.

    Raises:
        Faults: about "rules", if a case file is refused.
    """
    held = own_cases(base) if cases is None else cases
    made = [m for m in sample(mutants_of(base), share) if only in m.name]
    if workers > 1 and cases is None:
        work = _apart(base, made, workers, propose=propose)
    else:
        work = _here(_Bench(base, held, propose=propose), made)
    found: list[Killed | Survivor] = []
    unfit = next(work).unfit
    for batch in work:
        found += batch.results
        if progress is not None:
            progress(len(found), len(made))
    killed = tuple(one for one in found if isinstance(one, Killed))
    return Mutation(
        name_of(base),
        len(held),
        share,
        Tally(len(found), len(killed)),
        {kind: _tally(kind, found) for kind in CHANGED},
        killed,
        tuple(one for one in found if isinstance(one, Survivor)),
        unfit,
    )


def gate(found: Mutation, least: float) -> Gate:
    """Return whether the score reaches a threshold, and which mutants survived.

    Args:
        found: the score.
        least: in percent; reached exactly it passes.
    """
    percent = found.total.percent
    survivors = tuple(one.mutant for one in found.survivors)
    return Gate(least, percent, percent >= least, survivors)


def _tally(kind: str, found: Sequence[Killed | Survivor]) -> Tally:
    mine = [one for one in found if one.kind == kind]
    return Tally(len(mine), sum(isinstance(one, Killed) for one in mine))


class _Batch(NamedTuple):
    """What becomes of some mutants; the first has none, and tells which cases do not hold."""

    results: tuple[Killed | Survivor, ...] = ()
    unfit: tuple[str, ...] = ()


def _here(bench: _Bench, made: Iterable[Mutant]) -> Iterator[_Batch]:
    yield _Batch(unfit=bench.unfit)
    for mutant in made:
        yield _Batch((bench.tried(mutant),))


def _apart(
    base: RuleBase, made: Sequence[Mutant], workers: int, *, propose: bool
) -> Iterator[_Batch]:
    """Yield what becomes of mutants that other processes try, in order."""
    from concurrent.futures import ProcessPoolExecutor

    names = [mutant.name for mutant in made]
    batches = [names[i : i + _AT_ONCE] for i in range(0, len(names), _AT_ONCE)]
    told = base.layers[-1].folder, base.digest, propose
    with ProcessPoolExecutor(workers, initializer=_set_up, initargs=told) as pool:
        yield from pool.map(_try_batch, [[], *batches])


class _Elsewhere:
    """What another process works with."""

    bench: _Bench
    mutants: dict[str, Mutant]


def _set_up(folder: str, digest: str, propose: bool) -> None:
    from advisor.rulebase.read import read_rule_base

    base = read_rule_base(folder)
    if base.digest != digest:
        raise RuntimeError(f"the rules in {folder} have changed meanwhile")
    _Elsewhere.bench = _Bench(base, own_cases(base), propose=propose)
    _Elsewhere.mutants = {mutant.name: mutant for mutant in mutants_of(base)}


def _try_batch(names: Sequence[str]) -> _Batch:
    bench = _Elsewhere.bench
    results = tuple(bench.tried(_Elsewhere.mutants[name]) for name in names)
    return _Batch(results, () if names else bench.unfit)


class _Tried(NamedTuple):
    """The cases that were run for a mutant, and what the last of them said."""

    run: int
    case: str = ""
    problem: str = ""


class _Bench:
    """Tries mutants on cases.

    Args:
        base: the rules as they are.
        cases: that should notice; those that do not hold as it is are left out.
        propose: whether to look for the case that a survivor lacks.
    """

    def __init__(self, base: RuleBase, cases: Sequence[Case], *, propose: bool) -> None:
        self.base = base
        self.propose = propose
        failing = [case.name for case in cases if run_case(case, base)]
        self.unfit = tuple(failing)
        self.exercises = [Exercise(case, base) for case in cases if case.name not in failing]
        self._speaking: dict[str, list[bool]] = {}

    def tried(self, mutant: Mutant) -> Killed | Survivor:
        """Return what becomes of a mutant."""
        entry = self.base.entries[mutant.rule.id]
        other = mutated(self.base, mutant.rule)
        done = self._run(mutant, entry.rule, other)
        if done.case:
            return Killed(mutant.name, mutant.kind, entry.id, done.case, done.problem, done.run)
        proposal = None
        if self.propose:
            from advisor.mutation.surviving import propose

            proposal = propose(self.base, mutant, other, self.exercises)
        file = self.base.file_words(entry.file)
        return Survivor(mutant.name, mutant.kind, entry.id, file, entry.line, done.run, proposal)

    def _run(self, mutant: Mutant, original: Rule, other: RuleBase) -> _Tried:
        noticing = Noticing(mutant, original, self.base.table)
        later: list[Exercise] = []
        run = 0
        for exercise in self._in_order(original.id):
            look = noticing.at_first(exercise)
            if look == SURELY_LOOK:
                run += 1
                problems = run_case(exercise.case, other)
                if problems:
                    return _Tried(run, exercise.case.name, problems[0])
            elif look != CANNOT:
                later.append(exercise)
        for exercise in later:
            if noticing.on_any_build(exercise):
                run += 1
                problems = run_case(exercise.case, other)
                if problems:
                    return _Tried(run, exercise.case.name, problems[0])
        return _Tried(run)

    def _in_order(self, rule_id: str) -> list[Exercise]:
        """Return the cases, those first that expect something of a rule."""
        speaking = self._speaking.get(rule_id)
        if speaking is None:
            speaking = [bool(one.case.expects(rule_id)) for one in self.exercises]
            self._speaking[rule_id] = speaking
        pairs = list(zip(self.exercises, speaking, strict=True))
        return [one for one, says in pairs if says] + [one for one, says in pairs if not says]
