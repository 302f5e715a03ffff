"""What would be chosen if some facts were otherwise, worked out from a grid that is done.

Most rules do not care about one fact. A plan says which do: functions that need it, rules that
read it or what comes from it, those they override, and what all of these ask. Everything else is
taken from the grid as it stands. A combination that fails more by the rest than the best one fails
altogether is passed over, so few are looked at; and nothing of one is worked out before it is
asked for.

The answer is that of a new grid, exactly; tests hold the two together.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from advisor.engine.columns import project
from advisor.engine.conditions import Judge
from advisor.engine.grid import Grid, Offence
from advisor.engine.ranking import Wish, within_reach
from advisor.engine.rules import FIRING, STANDING
from advisor.engine.run import FIRED, FIRED_OPEN, SILENT, UNDECIDED, defeats, settle
from advisor.engine.values import MISSING, NO, UNKNOWN, YES, Value, has_value

Key = tuple[int, ...]
"""How a combination ranks before any favour: broken, unproven, failed by layer from the highest."""


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


class _Asked(NamedTuple):
    """Something that a rule asks of a combination, or its stop, with what offending costs."""

    rule: int  # its place
    judge: Judge | None  # None for a stop
    slots: tuple[int, ...]  # that the judge reads and that are not the same everywhere
    good: int
    broken: int  # a bit each
    unproven: int


class Nearby:
    """Chooses again and again, with a few facts otherwise each time.

    Args:
        grid: judged, with every option told of every combination (`grid.complete`).
        favours: what rules wish for, in order of weight, whether or not they stand.
    """

    def __init__(self, grid: Grid, favours: Sequence[Wish]) -> None:
        self.grid = grid
        self.favours = tuple(favours)
        self.chooser = grid.chooser
        self.table = grid.chooser.table
        self.program = grid.chooser.program
        self._bits = {(kind, what): bit for kind, what, bit in grid.offences_seen()}
        self._layers = sorted({rule.layer for rule in self.program.rules}, reverse=True)
        self._counted = self._count_bits()
        self._keys: dict[int, Key] = {}
        self._plans: dict[frozenset[int], _Plan] = {}
        self._grouped: dict[int, list[_Group]] = {}
        self._places: dict[int, tuple[int, ...]] = {}

    def outcome(self, facts: Mapping[str, Value]) -> Outcome:
        """Return what is chosen with some facts otherwise.

        Args:
            facts: the new value of each, MISSING where it has none any more. None of them may
                decide what there is to choose from.
        """
        plan = self.plan(facts)
        return self.now if plan.idle else _Case(plan, self._given(facts)).outcome()

    @cached_property
    def now(self) -> Outcome:
        """Return what is chosen as the facts are."""
        nothing = _Plan(self, frozenset(), frozenset())
        nothing.groups = self._groups(nothing.kept)
        return _Case(nothing, {}).outcome()

    def depends(self, facts: Iterable[str]) -> bool:
        """Tell whether anything that is chosen could depend on some facts."""
        return not self.plan(facts).idle

    def _given(self, facts: Mapping[str, Value]) -> dict[int, Value]:
        given: dict[int, Value] = {}
        for name, value in facts.items():
            given[self.table.slot[name]] = value
            given[self.table.stated_slot(name)] = has_value(value)
        return given

    # Verdicts

    def _bit(self, kind: str, what: Value) -> int:
        bit = self._bits.get((kind, what))
        if bit is None:
            bit = self._bits[kind, what] = 1 << len(self._bits)
            self._counted = self._count_bits()
        return bit

    def _count_bits(self) -> tuple[int, ...]:
        """Return the bits counted for each place of a key."""
        broken = unproven = 0
        failed = dict.fromkeys(self._layers, 0)
        for (kind, what), bit in self._bits.items():
            if kind == "broken":
                broken |= bit
            elif kind == "unproven":
                unproven |= bit
            else:
                failed[what[0]] |= bit
        return broken, unproven, *failed.values()

    def key(self, verdict: int) -> Key:
        """Return how a verdict ranks; the least is best."""
        found = self._keys.get(verdict)
        if found is None:
            found = tuple((verdict & bits).bit_count() for bits in self._counted)
            self._keys[verdict] = found
        return found

    @property
    def stops(self) -> int:
        """Return the bits of all stops."""
        return sum(
            bit
            for (kind, what), bit in self._bits.items()
            if kind == "broken" and isinstance(what, Offence) and what.place < 0
        )

    # What depends on what

    def plan(self, facts: Iterable[str]) -> "_Plan":
        """Return all that depends on some facts."""
        changed = frozenset(self.table.slot[name] for name in facts)
        plan = self._plans.get(changed)
        if plan is None:
            plan = self._plans[changed] = self._make_plan(changed)
        return plan

    def _make_plan(self, changed: frozenset[int]) -> "_Plan":
        slots, rules = self._closure(changed)
        plan = _Plan(self, slots, rules)
        by_mask: dict[int, list[_Asked]] = {}
        gone = 0
        for one in self._asked(plan):
            mask = plan.mask_of_rule(one.rule)
            for slot in one.slots:
                mask |= plan.mask_of(slot)
            by_mask.setdefault(mask, []).append(one)
            gone |= one.broken | one.unproven
        plan.asked = sorted(by_mask.items())
        wished = any(self._concerns(wish, slots, rules) for wish in self.favours)
        plan.kept = ~gone
        plan.idle = not by_mask and not wished
        # What all combinations do alike does not change which of them is best.
        plan.uniform = not wished and not any(by_mask)
        if not plan.uniform:
            plan.groups = self._groups(plan.kept)
        return plan

    def _concerns(self, wish: Wish, slots: frozenset[int], rules: frozenset[int]) -> bool:
        return self.table.slot[wish.fact] in slots or self.program.place[wish.rule] in rules

    def _closure(self, changed: frozenset[int]) -> tuple[frozenset[int], frozenset[int]]:
        """Return the slots and the rules that depend on what is in some slots."""
        size = self.table.size
        slots = set(changed) | {size + slot for slot in changed}
        stated = self.grid.values
        for function in self.chooser.functions:
            slot = self.table.slot[function.fact]
            if stated[size + slot] is not True and not slots.isdisjoint(
                self.chooser.slots_of(function)
            ):
                slots.add(slot)
        rules: set[int] = set()
        for kind, where, reads in self.chooser.settling:
            if kind == FIRING:
                if not slots.isdisjoint(reads):
                    rules.add(where)
            elif not rules.isdisjoint(reads):
                (rules if kind == STANDING else slots).add(where)
        return frozenset(slots), frozenset(rules)

    def _asked(self, plan: "_Plan") -> list[_Asked]:
        """Return all that must be asked again.

        Several rules may fail one should, of one layer on one fact: then all of them are.
        """
        reads, judges = self.chooser.split.demand_reads, self.chooser.split.demand_judges
        found: list[_Asked] = []
        again: set[Value] = set()
        moved = {
            (i, demand.place)
            for i, rule in enumerate(self.program.rules)
            for demand in rule.demands
            if i in plan.rules or not plan.slots.isdisjoint(reads[i, demand.place])
        }
        for i, place in moved:
            rule = self.program.rules[i]
            again.update((rule.layer, d.fact) for d in rule.demands if d.place == place)
        for i, rule in enumerate(self.program.rules):
            if i not in plan.rules:
                status = self.grid.status.get(i)
                if status is None or max(status.cells) < FIRED:
                    continue  # it stands nowhere, and that cannot change
            if rule.stop and i in plan.rules:
                broken = self._bit("broken", Offence(rule.id, -1))
                found.append(_Asked(i, None, (), YES, broken, 0))
            for demand in rule.demands:
                key = i, demand.place
                if demand.is_must and key in moved:
                    what = Offence(rule.id, demand.place)
                    bits = self._bit("broken", what), self._bit("unproven", what)
                elif not demand.is_must and (rule.layer, demand.fact) in again:
                    bit = self._bit("failed", (rule.layer, demand.fact))
                    bits = bit, bit
                else:
                    continue
                good = NO if demand.is_negative else YES
                found.append(_Asked(i, judges[key], plan.moving(reads[key]), good, *bits))
        return found

    def _groups(self, kept: int) -> list["_Group"]:
        """Group combinations by what is left of their verdicts, the least key first."""
        held = self._grouped.get(kept)
        if held is not None:
            return held
        found: dict[int, list[Sequence[int]]] = {}
        for verdict, alike in self.grid.alike.items():
            found.setdefault(verdict & kept, []).append(alike)
        groups = [_Group(self.key(rest), rest, several) for rest, several in found.items()]
        groups.sort(key=lambda group: group.least)
        self._grouped[kept] = groups
        return groups

    def places(self, mask: int) -> tuple[int, ...]:
        """Return, by combination, the place of its part on some axes."""
        found = self._places.get(mask)
        if found is None:
            found = self._places[mask] = project(self.grid.sizes, self.grid.everything, mask)
        return found


class _Group:
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


class _Plan:
    """All that depends on some facts, and on which axes; and what does not, as it was met.

    Attributes:
        slots: whose values may be otherwise.
        rules: that may stand otherwise.
        asked: what is asked again, by the axes it depends on.
        groups: the combinations, by the rest of their verdicts.
        kept: the bits of verdicts that stay as they are.
        idle: nothing that is chosen can depend on the facts.
        uniform: what is asked again comes to the same for all combinations.
    """

    def __init__(self, nearby: Nearby, slots: frozenset[int], rules: frozenset[int]) -> None:
        self.nearby = nearby
        self.slots = slots
        self.rules = rules
        self.asked: list[tuple[int, list[_Asked]]] = []
        self.groups: list[_Group] = []
        self.kept = -1
        self.idle = False
        self.uniform = False
        self._grid = nearby.grid
        self._masks: dict[int, int] = {}
        self._rule_masks: dict[int, int] = {}
        self._moving: dict[int, tuple[int, ...]] = {}
        self._places: dict[int, tuple[int, ...]] = {}
        self._rule_places: dict[int, tuple[int, ...]] = {}
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

    def moving_at(self, place: int) -> tuple[int, ...]:
        """Return the same of what a rule's condition and exception read."""
        found = self._moving.get(place)
        if found is None:
            found = self._moving[place] = self.moving(self.nearby.chooser.reads_at[place])
        return found

    @cached_property
    def apart(self) -> tuple[int, tuple[int, ...]]:
        """Return the axes on which what is asked again depends, and the place on them of each."""
        mask = 0
        for one, _ in self.asked:
            mask |= one
        return mask, self.nearby.places(mask)


class _Case:
    """One choice with some facts otherwise; every value of it is worked out when it is needed."""

    def __init__(self, plan: _Plan, given: Mapping[int, Value]) -> None:
        self.plan = plan
        self.nearby = plan.nearby
        self.grid = plan.nearby.grid
        self.chooser = plan.nearby.chooser
        self.given = given
        self._work = self.grid.values.copy()
        self._values: dict[int, dict[int, Value]] = {}
        self._statuses: dict[int, dict[int, int]] = {}
        self._tables: list[tuple[tuple[int, ...], list[_Asked], dict[int, int]]] = []
        for mask, ones in plan.asked:
            left = [one for one in ones if self._may_stand(one.rule)]
            if left:
                self._tables.append((self.nearby.places(mask), left, {}))

    def outcome(self) -> Outcome:
        """Choose."""
        return self._same_for_all() if self.plan.uniform else self._choose()

    def _same_for_all(self) -> Outcome:
        now, kept, stops = self.nearby.now, self.plan.kept, self.nearby.stops
        offends = self._offends(0)
        key = self.nearby.key(self.grid.verdicts[now.at] & kept | offends)
        stopped = bool(key[0]) and (
            bool(offends & stops) or all(verdict & kept & stops for verdict in self.grid.alike)
        )
        return Outcome(now.at, now.equals, key, stopped)

    def _choose(self) -> Outcome:
        best: Key | None = None
        chosen: list[int] = []
        key_of, offends, apart = self.nearby.key, self._offends, self.plan.apart
        for group in self.plan.groups:
            if best is not None and group.least > best:
                break
            for alike in group.classes(*apart):
                key = key_of(group.rest | offends(alike[0]))
                if best is None or key < best:
                    best, chosen = key, alike.copy()
                elif key == best:
                    chosen += alike
        assert best is not None  # there is at least one combination
        first = self._wish(sorted(chosen))
        stopped = bool(best[0]) and self._is_stopped()
        return Outcome(first[0], tuple(first[1:]), best, stopped)

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
        stops, apart = self.nearby.stops, self.plan.apart
        return all(
            group.rest & stops or self._offends(alike[0]) & stops
            for group in self.plan.groups
            for alike in group.classes(*apart)
        )

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
                told = 0
                for one in ones:
                    told |= self._ask(one, at)
                known[here] = told
            verdict |= told
        return verdict

    def _ask(self, one: _Asked, at: int) -> int:
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
        plan = self.plan
        values = self._values if slot in plan.slots else plan.values
        known = values.get(slot)
        if known is None:
            known = values[slot] = {}
        here = plan.places_of(slot)[at]
        value = known.get(here)
        if value is None:
            value = known[here] = self._find_value(slot, at)
        return value

    def _find_value(self, slot: int, at: int) -> Value:
        if slot not in self.plan.slots:
            return self.grid.cells(slot, (at,))[at]
        value = self.given.get(slot, MISSING)
        if has_value(value):
            return value
        function = self.chooser.function_at.get(slot)
        if function is not None:
            return function.value([self.value(s, at) for s in self.chooser.slots_of(function)])
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
        plan = self.plan
        statuses = self._statuses if place in plan.rules else plan.statuses
        known = statuses.get(place)
        if known is None:
            known = statuses[place] = {}
        here = plan.places_of_rule(place)[at]
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
