"""One choice with some facts otherwise: what depends on them, worked out when it is needed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from advisor.engine.conditions import Judge
from advisor.engine.ranking import within_reach
from advisor.engine.run import FIRED, FIRED_OPEN, SILENT, UNDECIDED, defeats, settle
from advisor.engine.values import MISSING, UNKNOWN, YES, Value, has_value

if TYPE_CHECKING:
    from advisor.engine.chooser import Function
    from advisor.engine.nearby import Nearby
    from advisor.engine.rules import Rule

    Recipe = tuple[Function, list[Value], list[tuple[int, int]]]
    """A function, its row as it was, and which places of the row to fill in from which slots."""

Key = tuple[int, ...]
"""How a combination ranks before any favour: broken, unproven, failed by layer from the highest."""


_ANY_BROKEN: Key = (1,)
"""What ranks before every combination that breaks something, and behind every other."""


class Outcome(NamedTuple):
    """What is chosen: the combination, those as good, and how it ranks."""

    at: int
    equals: tuple[int, ...]
    key: Key
    stopped: bool  # a stop stands on every combination

    @property
    def survives(self) -> bool:
        """Tell whether the chosen combination breaks nothing."""
        return not self.key[0]


class Asked(NamedTuple):
    """Something that a rule asks of a combination, or its stop, with what offending costs."""

    rule: int  # its place
    judge: Judge | None  # None for a stop
    slots: tuple[int, ...]  # that the judge reads and that are not the same everywhere
    good: int
    broken: int  # a bit each
    unproven: int


class Group:
    """Combinations that offend alike, but for what is asked again."""

    def __init__(self, least: Key, rest: int, several: Sequence[Sequence[int]]) -> None:
        self.least = least
        self.rest = rest
        self._several = several
        self._classes: dict[int, list[list[int]]] = {}

    def classes(self, mask: int, places: Sequence[int]) -> list[list[int]]:
        """Return its combinations, those together that the axes in `mask` do not tell apart."""
        held = self._classes.get(mask)
        if held is None:
            found: dict[int, list[int]] = {}
            for alike in self._several:
                for at in alike:
                    found.setdefault(places[at], []).append(at)
            held = self._classes[mask] = list(found.values())
        return held


class Groups:
    """The groups of all combinations, the least key first.

    Those of combinations that break something by the rest alone come last, and are only made if
    somebody gets there.
    """

    def __init__(self, nearby: Nearby, kept: int) -> None:
        self._nearby = nearby
        self._kept = kept
        self._alive: list[Group] | None = None
        self._dead: list[Group] | None = None

    def __iter__(self) -> Iterator[Group]:
        if self._alive is None:
            self._alive = self._made(dead=False)
        yield from self._alive
        if self._dead is None:
            self._dead = self._made(dead=True)
        yield from self._dead

    def _made(self, *, dead: bool) -> list[Group]:
        kept, grid = self._kept, self._nearby.grid
        broken = kept & grid.broken_bits
        found: dict[int, list[Sequence[int]]] = {}
        for verdict, alike in grid.alike.items():
            if bool(verdict & broken) == dead:
                rest = verdict & kept
                if rest in found:
                    found[rest].append(alike)
                else:
                    found[rest] = [alike]
        key = self._nearby.key
        groups = [Group(key(rest), rest, several) for rest, several in found.items()]
        groups.sort(key=lambda group: group.least)
        return groups


class Plan:
    """All that depends on some facts, and on which axes; and what does not, as it was met.

    Attributes:
        slots: whose values may be otherwise.
        rules: that may stand otherwise.
        asked: what is asked again, by the axes it depends on.
        groups: the combinations, by the rest of their verdicts.
        kept: the bits of verdicts that stay as they are.
        idle: nothing that is chosen can depend on the facts.
        uniform: what is asked again comes to the same for all combinations.
        rival: the rest of its verdict, and a combination, that was last found to be better.
        live: rules through which the facts may bear on what is chosen, once somebody asked.
        preferred: a combination that a favour last preferred; -1 before there was one.
    """

    def __init__(self, nearby: Nearby, slots: frozenset[int], rules: frozenset[int]) -> None:
        self.nearby = nearby
        self.slots = slots
        self.rules = rules
        self.asked: list[tuple[int, list[Asked]]] = []
        self.groups: Iterable[Group] = ()
        self.kept = -1
        self.idle = False
        self.uniform = False
        self.rival: tuple[int, int] | None = None
        self.preferred = -1
        self.live: list[Rule] | None = None
        self._grid = nearby.grid
        self._masks: dict[int, int] = {}
        self._rule_masks: dict[int, int] = {}
        self._moving: dict[int, tuple[int, ...]] = {}
        self._places: dict[int, tuple[int, ...]] = {}
        self._rule_places: dict[int, tuple[int, ...]] = {}
        self._recipes: dict[int, Recipe | None] = {}
        self.values: dict[int, dict[int, Value]] = {}  # of slots that are as they were
        self.statuses: dict[int, dict[int, int]] = {}  # of rules that stand as they did

    def mask_of(self, slot: int) -> int:
        """Return the axes that a value may depend on."""
        found = self._masks.get(slot)
        if found is None:
            found = self._masks[slot] = self._find_mask(slot)
        return found

    def _find_mask(self, slot: int) -> int:
        nearby = self.nearby
        if slot >= nearby.table.size or slot not in self.slots:
            return self._grid.mask_of(slot)
        mask = 0
        function = nearby.chooser.function_at.get(slot)
        if function is not None:
            for need in nearby.chooser.slots_of(function):
                mask |= self.mask_of(need)
        for place, _ in nearby.program.setters.get(slot, ()):
            mask |= self.mask_of_rule(place)
        return mask

    def mask_of_rule(self, place: int) -> int:
        """Return the axes that a rule's standing may depend on."""
        found = self._rule_masks.get(place)
        if found is None:
            if place in self.rules:
                found = 0
                for slot in self.nearby.chooser.reads_at[place]:
                    found |= self.mask_of(slot)
                for winner in self.nearby.program.overriders[place]:
                    found |= self.mask_of_rule(winner)
            else:
                status = self._grid.status.get(place)
                found = status.mask if status is not None else 0
            self._rule_masks[place] = found
        return found

    def places_of(self, slot: int) -> tuple[int, ...]:
        """Return, by combination, where its value of a slot is kept."""
        found = self._places.get(slot)
        if found is None:
            found = self._places[slot] = self.nearby.places(self.mask_of(slot))
        return found

    def places_of_rule(self, place: int) -> tuple[int, ...]:
        """Return, by combination, where a rule's standing is kept."""
        found = self._rule_places.get(place)
        if found is None:
            found = self._rule_places[place] = self.nearby.places(self.mask_of_rule(place))
        return found

    def moving(self, slots: Iterable[int]) -> tuple[int, ...]:
        """Return those of some slots that do not hold the same in every case and combination."""
        return tuple(
            slot
            for slot in slots
            if slot in self.slots or self.mask_of(slot) or self._grid.is_untold(slot)
        )

    def recipe(self, slot: int) -> Recipe | None:
        """Return how a computed fact is worked out: of what it needs, most stays as it was."""
        if slot not in self._recipes:
            function = self.nearby.chooser.function_at.get(slot)
            self._recipes[slot] = None if function is None else self._make_recipe(function)
        return self._recipes[slot]

    def _make_recipe(self, function: Function) -> Recipe:
        needs = self.nearby.chooser.slots_of(function)
        moving = [
            (i, need) for i, need in enumerate(needs) if need in self.slots or self.mask_of(need)
        ]
        row = [MISSING if need in self.slots else self._grid.cell(need, 0, 0) for need in needs]
        return function, row, moving

    def moving_at(self, place: int) -> tuple[int, ...]:
        """Return the same of what a rule's condition and exception read."""
        found = self._moving.get(place)
        if found is None:
            found = self._moving[place] = self.moving(self.nearby.chooser.reads_at[place])
        return found

    @cached_property
    def deciding(self) -> tuple[int, ...]:
        """Return the slots of numbers that are computed anew and that something decides on."""
        nearby = self.nearby
        reads = {slot for place in self.rules for slot in nearby.chooser.reads_at[place]}
        reads.update(slot for _, ones in self.asked for one in ones for slot in one.slots)
        reads.update(nearby.table.slot[wish.fact] for wish in nearby.favours)
        computed = nearby.chooser.function_at
        return tuple(slot for slot in sorted(self.slots & reads) if slot in computed)

    @cached_property
    def apart(self) -> tuple[int, tuple[int, ...]]:
        """Return the axes on which what is asked again depends, and the place on them of each."""
        mask = 0
        for one, _ in self.asked:
            mask |= one
        return mask, self.nearby.places(mask)


class Case:
    """One choice with some facts otherwise; every value of it is worked out when it is needed."""

    def __init__(self, plan: Plan, given: Mapping[int, Value]) -> None:
        self.plan = plan
        self.nearby = plan.nearby
        self.grid = plan.nearby.grid
        self.chooser = plan.nearby.chooser
        self.given = given
        self._work = self.grid.values.copy()
        self._values: dict[int, tuple[tuple[int, ...], dict[int, Value]]] = {}
        self._statuses: dict[int, tuple[tuple[int, ...], dict[int, int]]] = {}

    @cached_property
    def _tables(self) -> list[tuple[tuple[int, ...], list[Asked], dict[int, int]]]:
        """What is asked again of rules that may stand, with what it came to, by place on axes."""
        found: list[tuple[tuple[int, ...], list[Asked], dict[int, int]]] = []
        for mask, ones in self.plan.asked:
            left = [one for one in ones if self._may_stand(one.rule)]
            if left:
                found.append((self.nearby.places(mask), left, {}))
        return found

    def outcome(self, *, nearest: bool = True) -> Outcome:
        """Choose."""
        if self.plan.uniform:
            return self._same_for_all()
        key, chosen = self._best(self._limit(nearest))
        first = self._wish(sorted(chosen)) if chosen else [-1]
        stopped = bool(key[0]) and self._is_stopped()
        return Outcome(first[0], tuple(first[1:]), key, stopped)

    def keeps(self) -> bool:
        """Tell whether what is chosen now still is."""
        now = self.nearby.now
        if self.plan.uniform or not now.survives:
            then = self.outcome()
            return (then.at, then.key[0] > 0, then.stopped) == (
                now.at,
                now.key[0] > 0,
                now.stopped,
            )
        plan = self.plan
        mine = self._mine()
        if self._loses(mine):
            return False
        as_good: list[int] = []
        for group in plan.groups:
            if group.least > mine:
                break
            for alike in group.classes(*plan.apart):
                key = self._key(group.rest, alike[0], mine)
                if key < mine:
                    # Whoever tries several values will most often be beaten by the same again.
                    plan.rival = group.rest, alike[0]
                    return False
                if key == mine:
                    as_good += alike
        first = self._wish(sorted(as_good))[0]
        if first != now.at:
            plan.preferred = first
        return first == now.at

    def is_beaten(self) -> bool:
        """Tell whether what is chosen now breaks something, or what last was better still is."""
        now, preferred = self.nearby.now, self.plan.preferred
        if not now.survives:
            return False
        mine = self._mine()
        if self._loses(mine):
            return True
        if preferred < 0:
            return False
        theirs = self._key(self.grid.verdicts[preferred] & self.plan.kept, preferred, mine)
        return theirs == mine and self._wish(sorted((now.at, preferred)))[0] == preferred

    def _mine(self) -> Key:
        now = self.nearby.now.at
        return self._key(self.grid.verdicts[now] & self.plan.kept, now, None)

    def _loses(self, mine: Key) -> bool:
        rival = self.plan.rival
        return bool(mine[0]) or (rival is not None and self._key(*rival, mine) < mine)

    def _same_for_all(self) -> Outcome:
        now, kept, stops = self.nearby.now, self.plan.kept, self.nearby.stops
        offends = self._offends(0)
        key = self.nearby.key(self.grid.verdicts[now.at] & kept | offends)
        stopped = bool(key[0]) and (
            bool(offends & stops) or all(verdict & kept & stops for verdict in self.grid.alike)
        )
        return Outcome(now.at, now.equals, key, stopped)

    def _limit(self, nearest: bool) -> Key:
        """Return a key behind which nothing need be looked at: of what is likely to be good."""
        plan = self.plan
        likely = next(iter(plan.groups))
        found = self._key(likely.rest, likely.classes(*plan.apart)[0][0], None)
        if plan.rival is not None:
            found = min(found, self._key(*plan.rival, found))
        return found if nearest else min(found, _ANY_BROKEN)

    def _best(self, limit: Key) -> tuple[Key, list[int]]:
        """Return the best key and the combinations that have it; none if all are behind a limit."""
        best = limit
        chosen: list[int] = []
        for group in self.plan.groups:
            if group.least > best:
                break
            for alike in group.classes(*self.plan.apart):
                key = self._key(group.rest, alike[0], best)
                if key < best:
                    best, chosen = key, alike.copy()
                elif key == best:
                    chosen += alike
        return best, chosen

    def _key(self, rest: int, at: int, limit: Key | None) -> Key:
        """Return how a combination ranks; where that is behind a limit, some key behind it."""
        key_of = self.nearby.key
        key = key_of(rest)
        for places, ones, known in self._tables:
            here = places[at]
            told = known.get(here)
            if told is None:
                told = known[here] = self._told(ones, at)
            if told:
                rest |= told
                key = key_of(rest)
                if limit is not None and key > limit:
                    break
        return key

    def _told(self, ones: list[Asked], at: int) -> int:
        told = 0
        for one in ones:
            told |= self._ask(one, at)
        return told

    def _may_stand(self, place: int) -> bool:
        """Tell whether a rule may stand on some combination, by what is the same on all of them."""
        plan = self.plan
        if not plan.mask_of_rule(place):
            return self.status(place, 0) >= FIRED
        if place not in plan.rules:
            return True
        guard = self.chooser.split.guards.get(place)
        if guard is None:
            return True
        for slot in plan.moving_at(place):
            if not plan.mask_of(slot):
                self._work[slot] = self.value(slot, 0)
        return guard(self._work) == YES

    def _is_stopped(self) -> bool:
        """Tell whether a stop stands on every combination."""
        stops = self.nearby.stops
        asked = [one for _, ones, _ in self._tables for one in ones if one.judge is None]
        alike_for_all = [one for one in asked if not self.plan.mask_of_rule(one.rule)]
        if any(self._ask(one, 0) for one in alike_for_all):
            return True
        for group in self.plan.groups:
            if not group.rest & stops:
                for alike in group.classes(*self.plan.apart):
                    if not any(self._ask(one, alike[0]) for one in asked):
                        return False
        return True

    def _wish(self, group: list[int]) -> list[int]:
        for wish in self.nearby.favours:
            if len(group) == 1:
                break
            slot = self.nearby.table.slot[wish.fact]
            if self.plan.mask_of(slot) and self._stands(wish.rule):
                values = {at: self.value(slot, at) for at in group}
                group, _ = within_reach(group, values, wish)
        return group

    def _stands(self, rule_id: str) -> bool:
        place = self.nearby.program.place[rule_id]
        all_of_them: Iterable[int] = range(self.grid.size(self.grid.everything))
        combinations = all_of_them if self.plan.mask_of_rule(place) else (0,)
        return all(self.status(place, at) >= FIRED for at in combinations)

    def _offends(self, at: int) -> int:
        """Return what a combination offends against, of all that is asked again."""
        verdict = 0
        for places, ones, known in self._tables:
            here = places[at]
            told = known.get(here)
            if told is None:
                told = known[here] = self._told(ones, at)
            verdict |= told
        return verdict

    def _ask(self, one: Asked, at: int) -> int:
        if self.status(one.rule, at) < FIRED:
            return 0
        if one.judge is None:
            return one.broken
        work = self._work
        for slot in one.slots:
            work[slot] = self.value(slot, at)
        outcome = one.judge(work)
        if outcome == one.good:
            return 0
        return one.unproven if outcome == UNKNOWN else one.broken

    def value(self, slot: int, at: int) -> Value:
        """Return a fact's value in a combination."""
        held = self._values.get(slot)
        if held is None:
            # What stays as it was is kept for the cases to come.
            known = {} if slot in self.plan.slots else self.plan.values.setdefault(slot, {})
            held = self._values[slot] = self.plan.places_of(slot), known
        places, known = held
        here = places[at]
        value = known.get(here)
        if value is None:
            value = known[here] = self._find_value(slot, at, here)
        return value

    def _find_value(self, slot: int, at: int, here: int) -> Value:
        if slot not in self.plan.slots:
            return self.grid.cell(slot, at, here)
        value = self.given.get(slot, MISSING)
        if has_value(value):
            return value
        recipe = self.plan.recipe(slot)
        if recipe is not None:
            function, row, moving = recipe
            for i, need in moving:
                row[i] = self.value(need, at)
            return function.value(row)
        setters = self.nearby.program.setters.get(slot)
        if setters is None:
            return value
        told = [(1 << n, claimed) for n, (_, claimed) in enumerate(setters)]
        statuses = [self.status(place, at) for place, _ in setters]
        standing = sum(1 << n for n, status in enumerate(statuses) if status >= FIRED)
        waiting = sum(1 << n for n, status in enumerate(statuses) if status == UNDECIDED)
        return settle(told, standing, waiting)[0]

    def status(self, place: int, at: int) -> int:
        """Return how a rule stands on a combination."""
        held = self._statuses.get(place)
        if held is None:
            known = {} if place in self.plan.rules else self.plan.statuses.setdefault(place, {})
            held = self._statuses[place] = self.plan.places_of_rule(place), known
        places, known = held
        here = places[at]
        status = known.get(here)
        if status is None:
            status = known[here] = self._find_status(place, at)
        return status

    def _find_status(self, place: int, at: int) -> int:
        program = self.nearby.program
        if place not in self.plan.rules:
            column = self.grid.status.get(place)
            return column.cells[self.nearby.places(column.mask)[at]] if column else SILENT
        fired = self._fire(place, at)
        if fired:
            stop = program.rules[place].stop
            if any(defeats(self.status(w, at), stop) for w in program.overriders[place]):
                return SILENT
        return fired

    def _fire(self, place: int, at: int) -> int:
        when, unless = self.chooser.conditions_at(place)
        work = self._work
        for slot in self.plan.moving_at(place):
            work[slot] = self.value(slot, at)
        held = YES if when is None else when(work)
        if held and unless is not None:
            barred = unless(work)
            if barred == YES:
                return SILENT
            if barred and held == YES:
                return FIRED_OPEN
        return held
