"""What would be chosen if some facts were otherwise, worked out from a grid that is done.

Most rules do not care about one fact. A plan says which do: functions that need it, rules that
read it or what comes from it, those they override, and what all of these ask. Everything else is
taken from the grid as it stands. A combination that fails more by the rest than the best one fails
altogether is passed over, so few are looked at; and nothing of one is worked out before it is
asked for.

The answer is that of a new grid, exactly; tests hold the two together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

from advisor.engine.case import Asked, Case, Groups, Key, Outcome, Plan
from advisor.engine.columns import project
from advisor.engine.conditions import All, judge, slots_of
from advisor.engine.grid import Grid, Offence
from advisor.engine.ranking import Wish
from advisor.engine.rules import Demand, Rule
from advisor.engine.run import FIRED
from advisor.engine.values import NO, YES, Value, has_value


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
        self._happens = sum(self._bits.values())  # what some combination does as the facts are
        self._layers = sorted({rule.layer for rule in self.program.rules}, reverse=True)
        self._counted = self._count_bits()
        self._keys: dict[int, Key] = {}
        self._plans: dict[tuple[str, ...], Plan] = {}
        self._last: tuple[Mapping[str, Value], Case] | None = None
        self._grouped: dict[int, Groups] = {}
        self._places: dict[int, tuple[int, ...]] = {}

    def outcome(self, facts: Mapping[str, Value], *, nearest: bool = True) -> Outcome:
        """Return what is chosen with some facts otherwise.

        Args:
            facts: the new value of each, MISSING where it has none any more. None of them may
                decide what there is to choose from.
            nearest: whether to look for the nearest combination where none holds; else there is
                none, and its place is -1.
        """
        plan = self.plan(facts)
        if plan.idle:
            return self.now
        return self._case(plan, facts).outcome(nearest=nearest)

    def keeps(self, facts: Mapping[str, Value]) -> bool:
        """Tell whether what is chosen stays so, and holds as it does now.

        As `outcome`, but done as soon as something better turns up.
        """
        plan = self.plan(facts)
        return plan.idle or self._case(plan, facts).keeps()

    def is_beaten(self, facts: Mapping[str, Value]) -> bool:
        """Tell whether what is chosen now breaks something, or is beaten by what last was better.

        Much quicker than `keeps`, and a guess at its opposite: others may beat it, and a favour
        that prefers one of two may prefer neither of several.
        """
        plan = self.plan(facts)
        return not plan.uniform and self._case(plan, facts).is_beaten()

    def numbers(self, facts: Mapping[str, Value], names: Iterable[str]) -> list[Value]:
        """Return some numbers of what is chosen now, with some facts otherwise."""
        case, slot_of = self._case(self.plan(facts), facts), self.table.slot
        return [case.value(slot_of[name], self.now.at) for name in names]

    def live(self, facts: Iterable[str]) -> list[Rule]:
        """Return the rules that some facts may bear on, and through them on what is chosen.

        Those are left out that cannot fire, whatever the facts are.
        """
        plan = self.plan(facts)
        if plan.live is None:
            asked = {one.rule for _, ones in plan.asked for one in ones}
            rules = self.program.rules
            may = sorted((plan.rules | asked) & self.chooser.telling)
            plan.live = [rules[i] for i in may if not self._is_dead(rules[i], plan)]
        return plan.live

    def _is_dead(self, rule: Rule, plan: Plan) -> bool:
        """Tell whether some part of a rule's condition is no whatever may move."""
        if rule.when is None:
            return False
        parts = rule.when.parts if isinstance(rule.when, All) else (rule.when,)
        return any(
            not plan.moving(slots_of(part, self.table))
            and judge(part, self.table, self.grid.values).outcome == NO
            for part in parts
        )

    def deciding(self, facts: Iterable[str]) -> list[str]:
        """Return the names of the numbers computed from some facts on which something decides."""
        return [self.table.names[slot] for slot in self.plan(facts).deciding]

    def reads_computed(self, facts: Iterable[str]) -> bool:
        """Tell whether anything decides on a number that is computed from some facts."""
        return bool(self.plan(facts).deciding)

    @cached_property
    def now(self) -> Outcome:
        """Return what is chosen as the facts are."""
        nothing = Plan(self, frozenset(), frozenset())
        nothing.groups = self._groups(nothing.kept)
        return Case(nothing, {}).outcome()

    def depends(self, facts: Iterable[str]) -> bool:
        """Tell whether anything that is chosen could depend on some facts."""
        return not self.plan(facts).idle

    def _case(self, plan: Plan, facts: Mapping[str, Value]) -> Case:
        """Return the case of some facts: the last one if they are the same, for it knows much."""
        if self._last is None or self._last[0] != facts:
            self._last = dict(facts), Case(plan, self._given(facts))
        return self._last[1]

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

    def plan(self, facts: Iterable[str]) -> Plan:
        """Return all that depends on some facts."""
        names = tuple(facts)
        plan = self._plans.get(names)
        if plan is None:
            changed = frozenset(self.table.slot[name] for name in names)
            plan = self._plans[names] = self._make_plan(changed)
        return plan

    def _make_plan(self, changed: frozenset[int]) -> Plan:
        slots, rules = self._closure(changed)
        plan = Plan(self, slots, rules)
        by_mask: dict[int, list[Asked]] = {}
        gone = 0
        for one in self._asked(plan):
            mask = plan.mask_of_rule(one.rule)
            for slot in one.slots:
                mask |= plan.mask_of(slot)
            by_mask.setdefault(mask, []).append(one)
            gone |= one.broken | one.unproven
        # What is the same for many combinations comes first: it may save the rest.
        plan.asked = sorted(by_mask.items(), key=lambda item: (self.grid.size(item[0]), item[0]))
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
        size, stated, after = self.table.size, self.grid.values, self.chooser.followers
        slots = set(changed) | {size + slot for slot in changed}
        rules: set[int] = set()
        slots_left, rules_left = list(slots), [-1]
        while slots_left or rules_left:
            if slots_left:
                slot = slots_left.pop()
                # A number that was stated takes the place of what its function comes to.
                new = [s for s in after.computed.get(slot, ()) if stated[size + s] is not True]
                reached = after.rules.get(slot, ())
            else:
                place = rules_left.pop()
                new, reached = after.concluded.get(place, []), after.losers.get(place, ())
            for slot in new:
                if slot not in slots:
                    slots.add(slot)
                    slots_left.append(slot)
            for place in reached:
                if place not in rules:
                    rules.add(place)
                    rules_left.append(place)
        return frozenset(slots), frozenset(rules)

    def _asked(self, plan: Plan) -> list[Asked]:
        """Return all that must be asked again.

        Several rules may fail one should, of one layer on one fact: then all of them are.
        """
        rules, readers = self.program.rules, self.chooser.followers.demands
        moved = {(i, demand.place) for i in plan.rules for demand in rules[i].demands}
        moved.update(key for slot in plan.slots for key in readers.get(slot, ()))
        found = [
            Asked(i, None, (), YES, self._bit("broken", Offence(rules[i].id, -1)), 0)
            for i in sorted(plan.rules)
            if rules[i].stop
        ]
        again: set[Value] = set()
        for i, place in sorted(moved):
            demand = self._demand[i, place]
            if not demand.is_must:
                again.add((rules[i].layer, demand.fact))
            elif self._may_ask(i, plan):
                what = Offence(rules[i].id, place)
                bits = self._bit("broken", what), self._bit("unproven", what)
                found.append(self._ask_again(i, demand, plan, *bits))
        for what in sorted(again):
            for i, demand in self._shoulds[what]:
                if self._may_ask(i, plan):
                    bit = self._bit("failed", what)
                    found.append(self._ask_again(i, demand, plan, bit, bit))
        return found

    def _may_ask(self, place: int, plan: Plan) -> bool:
        """Tell whether a rule may stand somewhere: as it stands now, if that cannot change."""
        if place in plan.rules:
            return True
        status = self.grid.status.get(place)
        return status is not None and max(status.cells) >= FIRED

    def _ask_again(
        self, place: int, demand: Demand, plan: Plan, broken: int, unproven: int
    ) -> Asked:
        split, key = self.chooser.split, (place, demand.place)
        good = NO if demand.is_negative else YES
        slots = plan.moving(split.demand_reads[key])
        return Asked(place, split.demand_judges[key], slots, good, broken, unproven)

    @cached_property
    def _demand(self) -> dict[tuple[int, int], Demand]:
        rules = enumerate(self.program.rules)
        return {(i, demand.place): demand for i, rule in rules for demand in rule.demands}

    @cached_property
    def _shoulds(self) -> dict[Value, list[tuple[int, Demand]]]:
        """Return the shoulds by the layer and the fact on which a combination fails them."""
        found: dict[Value, list[tuple[int, Demand]]] = {}
        for (i, _), demand in self._demand.items():
            if not demand.is_must:
                layer = self.program.rules[i].layer
                found.setdefault((layer, demand.fact), []).append((i, demand))
        return found

    def _groups(self, kept: int) -> Groups:
        """Group combinations by what is left of their verdicts, the least key first."""
        kept &= self._happens
        held = self._grouped.get(kept)
        if held is None:
            held = self._grouped[kept] = Groups(self, kept)
        return held

    def places(self, mask: int) -> tuple[int, ...]:
        """Return, by combination, the place of its part on some axes."""
        found = self._places.get(mask)
        if found is None:
            found = self._places[mask] = project(self.grid.sizes, self.grid.everything, mask)
        return found


__all__ = ["Nearby", "Outcome"]
