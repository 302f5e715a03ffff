"""Questions about single rules: can it fire, stand, matter; can its exception hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from advisor.engine.conditions import All, Judge, Node, compile_condition, facts_of
from advisor.engine.rules import Demand, Rule
from advisor.engine.run import FIRED, Run
from advisor.engine.values import NO, YES
from advisor.proving.encoding import Encoding
from advisor.proving.found import Found
from advisor.proving.logic import Term, Three, conj, disj, neg
from advisor.proving.witness import Witnesses

_Part = tuple[Node, tuple[str | int, ...], bool]
"""A part of a condition, where it stands in its rule, and whether it must hold (or must not)."""


def about_rules(encoding: Encoding, witnesses: Witnesses) -> Iterator[Found]:
    """Yield what is found about single rules, in the order of their ids."""
    matters = Matters(encoding)
    for rule in sorted(encoding.base.program.rules, key=lambda rule: rule.id):
        terms = encoding.rules[rule.id]
        if encoding.possible(terms.fired) is False:
            yield from _never_fires(rule, encoding, witnesses)
            continue
        if encoding.possible(terms.stands) is False:
            yield from _always_set_aside(rule, encoding, witnesses)
        elif matters.can(rule) is False:
            yield from _never_matters(rule, encoding, witnesses, matters)
        if rule.unless is not None and encoding.possible(terms.when.yes, terms.unless.yes) is False:
            yield from _exception_never_holds(rule, encoding, witnesses)


def parts_of_rule(rule: Rule) -> list[_Part]:
    """Return what must hold, and must not, for a rule to fire."""
    found: list[_Part] = []
    if rule.when is not None:
        parts = rule.when.parts if isinstance(rule.when, All) else (rule.when,)
        found += [(part, ("when",), True) for part in parts]
    if rule.unless is not None:
        found.append((rule.unless, ("unless",), False))
    return found


def _never_fires(rule: Rule, encoding: Encoding, witnesses: Witnesses) -> Iterator[Found]:
    parts = parts_of_rule(rule)
    outcomes = [encoding.facts.condition(part) for part, _, _ in parts]
    named = [
        encoding.define(f"part {i} of {rule.id}", o.yes if wanted else neg(o.yes))
        for i, (o, (_, _, wanted)) in enumerate(zip(outcomes, parts, strict=True))
    ]
    core = encoding.core(*named)
    if not core:
        return
    words = encoding.base.words
    told = [_wanted(words.condition(parts[i][0]), parts[i][2]) for i in core]
    what = f"{told[0]} never holds" if len(told) == 1 else f"never together: {'; '.join(told)}"
    for left_out in core:
        rest = [i for i in core if i != left_out]
        part, path, wanted = parts[left_out]
        outcome = outcomes[left_out]
        against = outcome.no if wanted else outcome.yes
        judges = [_judge(encoding, parts[i]) for i in rest]
        missing = _judge(encoding, parts[left_out])

        def shows(run: Run, judges: Sequence[_Held] = judges, missing: _Held = missing) -> bool:
            held = all(judge.holds(run) for judge in judges)
            return held and missing.fails(run) and run.status(rule.id) < FIRED

        witness = witnesses.find(*(named[i] for i in rest), against, shows=shows)
        if witness is None:
            continue
        lacking = _wanted(words.condition(part), wanted)
        all_but = "all of these hold but one" if rest else "here it does not hold"
        yield Found(
            "never-fires",
            (rule.id,),
            f"`{rule.id}` can never fire: {what}.",
            "Correct the condition, or drop the rule.",
            path,
            witness.stated,
            f"{all_but}: {lacking}; `{rule.id}` does not fire",
            encoding.computed_behind([rule.id]),
        )
        return


class _Held:
    """A part of a condition, as the engine judges it."""

    def __init__(self, judge: Judge, wanted: bool) -> None:
        self._judge = judge
        self._wanted = wanted

    def holds(self, run: Run) -> bool:
        outcome = self._judge(run.values)
        return outcome == YES if self._wanted else outcome != YES

    def fails(self, run: Run) -> bool:
        return self._judge(run.values) == (NO if self._wanted else YES)


def _judge(encoding: Encoding, part: _Part) -> _Held:
    return _Held(compile_condition(part[0], encoding.base.table), part[2])


def _wanted(told: str, wanted: bool) -> str:
    return told if wanted else f"not ({told})"


def _always_set_aside(rule: Rule, encoding: Encoding, witnesses: Witnesses) -> Iterator[Found]:
    def shows(run: Run) -> bool:
        return run.status(rule.id) >= FIRED and not run.stands(rule.id)

    witness = witnesses.find(encoding.rules[rule.id].fired, shows=shows)
    if witness is None:
        return
    by = witnesses.judged(witness.stated).run.set_aside()[rule.id]
    winners = [winner.id for winner in encoding.winners(rule)]
    yield Found(
        "always-set-aside",
        (rule.id, *winners),
        f"`{rule.id}` is set aside wherever it fires, by {_listed(winners)}.",
        "Drop the rule, or give the override a condition under which the rule may stand.",
        (),
        witness.stated,
        f"`{rule.id}` fires, and {_listed(by)} sets it aside",
        encoding.computed_behind([rule.id]),
    )


def _exception_never_holds(rule: Rule, encoding: Encoding, witnesses: Witnesses) -> Iterator[Found]:
    def shows(run: Run) -> bool:
        return run.status(rule.id) >= FIRED

    witness = witnesses.find(encoding.rules[rule.id].fired, shows=shows)
    if witness is None or rule.unless is None:
        return
    words = encoding.base.words
    yield Found(
        "exception-never-holds",
        (rule.id,),
        f"The exception of `{rule.id}` never holds where its condition does: "
        f"{words.condition(rule.unless)}.",
        "Leave `unless` out, or correct it.",
        ("unless",),
        witness.stated,
        f"`{rule.id}` fires; no setup in which its condition holds keeps it from that",
        encoding.computed_behind([rule.id]),
    )


def _never_matters(
    rule: Rule, encoding: Encoding, witnesses: Witnesses, matters: Matters
) -> Iterator[Found]:
    base = encoding.base

    def shows(run: Run) -> bool:
        return run.stands(rule.id)

    witness = witnesses.find(encoding.rules[rule.id].stands, shows=shows)
    if witness is None:
        return
    idle = "; ".join(matters.why_idle(rule))
    yield Found(
        "never-matters",
        (rule.id,),
        f"`{rule.id}` can stand, and nothing ever hangs on it: {idle}.",
        "Drop the rule, or correct what it asks.",
        ("then",),
        witness.stated,
        f"`{rule.id}` stands",
        encoding.computed_behind([rule.id, *_rivals(rule, base.program.rules)]),
    )


def _rivals(rule: Rule, rules: Sequence[Rule]) -> list[str]:
    """Return the rules that speak of the facts that a rule speaks of."""
    facts = {demand.fact for demand in rule.demands} | {fact for fact, _ in rule.sets}
    return [
        other.id
        for other in rules
        if any(d.fact in facts for d in other.demands) or any(f in facts for f, _ in other.sets)
    ]


class Matters:
    """Asks whether anything could ever hang on a rule."""

    def __init__(self, encoding: Encoding) -> None:
        self.encoding = encoding
        base = encoding.base
        self._read = frozenset(base.named_in_texts).union(
            *(_reads(rule) for rule in base.program.rules)
        )

    def can(self, rule: Rule) -> bool | None:
        """Tell whether something hangs on a rule somewhere; None if the solver cannot say."""
        base = self.encoding.base
        entry = base.entries[rule.id]
        if entry.cautions or entry.steps or rule.stop or rule.favour is not None:
            return True
        stands = self.encoding.rules[rule.id].stands
        effects = [self._demanded(rule, demand) for demand in rule.demands]
        effects += [self._concluded(rule, fact) for fact, _ in rule.sets]
        effects += [self._beats(rule, loser) for loser in rule.overrides if loser in base.entries]
        return self.encoding.possible(stands, disj(*effects))

    def why_idle(self, rule: Rule) -> Iterator[str]:
        """Say of each thing that such a rule does why nothing hangs on it."""
        words, stands = self.encoding.base.words, self.encoding.rules[rule.id].stands
        for demand in rule.demands:
            unmet = neg(self.encoding.asked(demand).yes)
            always = self.encoding.possible(stands, unmet) is False
            why = "is so wherever it stands" if always else "is asked by other rules there, too"
            yield f"that {words.demand(demand)} {why}"
        for fact, value in rule.sets:
            told = f"that {fact} is {words.value(fact, value)}"
            read = fact in self._read
            yield f"{told} is {'concluded by others there, too' if read else 'read by nothing'}"
        for loser in rule.overrides:
            if loser in self.encoding.base.entries:
                yield f"`{loser}` is never there to be set aside, or others set it aside, too"

    def _demanded(self, rule: Rule, demand: Demand) -> Term:
        """Return whether a demand is not met where no like demand is offended just so."""
        outcome = self.encoding.asked(demand)
        others = [
            (other, theirs)
            for other in self.encoding.base.program.rules
            for theirs in other.demands
            if other.id != rule.id and _covers(other, theirs, rule, demand)
        ]
        broken = [
            conj(self.encoding.rules[other.id].stands, self._offends(theirs, demand))
            for other, theirs in others
        ]
        return conj(neg(outcome.yes), neg(disj(*broken)))

    def _offends(self, theirs: Demand, demand: Demand) -> Term:
        """Return whether another demand costs a build what this one would."""
        outcome: Three = self.encoding.asked(theirs)
        # What breaks a must is out, whatever else is unproven; a should not met is not met.
        return outcome.no if demand.is_must else neg(outcome.yes)

    def _concluded(self, rule: Rule, fact: str) -> Term:
        if fact not in self._read:
            return False
        mine = dict(rule.sets)[fact]
        same = [
            self.encoding.rules[other.id].stands
            for other, value in self.encoding.setters(fact)
            if other.id != rule.id and value == mine
        ]
        return neg(disj(*same))

    def _beats(self, rule: Rule, loser: str) -> Term:
        program = self.encoding.base.program
        beaten = program.rules[program.place[loser]]
        others = [
            self.encoding.defeat(winner, beaten)
            for winner in self.encoding.winners(beaten)
            if winner.id != rule.id
        ]
        terms = self.encoding.rules[loser]
        lost = disj(terms.fired, terms.undecided)
        return conj(self.encoding.defeat(rule, beaten), lost, neg(disj(*others)))


def _covers(other: Rule, theirs: Demand, rule: Rule, demand: Demand) -> bool:
    """Tell whether one demand could make another idle: a must any must, a should its own fact's."""
    if demand.is_must or theirs.is_must:
        return demand.is_must and theirs.is_must and theirs.fact == demand.fact
    return other.layer == rule.layer and theirs.fact == demand.fact


def _reads(rule: Rule) -> frozenset[str]:
    facts = set(rule.reads())
    for demand in rule.demands:
        facts |= facts_of(demand.test)
    if rule.favour is not None:
        facts.add(rule.favour.fact)
    return frozenset(facts)


def _listed(rules: Sequence[str]) -> str:
    told = [f"`{rule}`" for rule in rules]
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} or {told[-1]}"
