"""Repairs of orders by helper steps, which only serve the order: left out, done elsewhere, or added.

The search keeps the steps that there are, and never looks at orders that a tether too short, or an item that
is elsewhere, forbids. Here a look around does: what blocks such an order is mended where somebody passes, by
a step of the scenario's standard minutes (`[helpers]`) or one that is done there instead, and the plan judged
as any. Helper steps that an order needs no more are left out. Counted in plans timed, so that it is
repeatable.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from heapq import heappop, heappush
from itertools import islice
from math import inf
from typing import NamedTuple

from planning_kit.changes.change import Change, made, step_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Add
from planning_kit.explore.propose.choices import Choice, Move, Rebuilt, tell_moves
from planning_kit.explore.propose.local_search import PASSES, Blocks, LocalSearch, Neighbours, Timed
from planning_kit.explore.propose.order_problem import Freedom, Work, find_precedence, start_problem
from planning_kit.explore.propose.order_screen import Broken
from planning_kit.explore.propose.order_search import Better, OrderSearch
from planning_kit.explore.propose.stages import Found
from planning_kit.explore.propose.timed_rules import add_lanes
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import INSIDE, Step
from planning_kit.judge.check_tethers import remedies
from planning_kit.judge.review import SAME_MIN, is_worse
from planning_kit.plan import custody_state as kinds
from planning_kit.plan.custody import is_at_end
from planning_kit.plan.custody_state import Holding
from planning_kit.plan.tether_lines import Remedy, hook_chances
from planning_kit.plan.timed import TimedPlan

_MOST_ADDED = 3
_TRIES, _TRIES_EACH = 30, 30
"""Plans timed for one unit of effort, and to mend one order."""
_LOOK_SHARE, _CHANCES, _FINALISTS = 0.25, 2, 3
_NOT_MENDED = ("last-start", "window", "crowded", "owner-away")
_BLOCKED: Blocks = (("repairs", "none", "", "", ""),)


def looked_with_repairs(search: OrderSearch, name: str, freedom: Freedom,
                        effort: float) -> Iterator[tuple[Better, str]]:
    """What the search finds under one freedom, under its ``name``, and what other helper steps win on it."""
    if found := search.look(freedom, effort):
        yield found, name
    records, start = search.judge.records, found.choice if found else search.before
    if (any(step.helper for step in records.steps) or any(vars(replace(
            records.settings.helpers, sources={})).values())) and (
            freedom.earliest <= start.pet_zero <= freedom.latest):
        repairs = _Repairs(search, round(_TRIES * effort))
        if better := repairs.best(freedom, start, round(PASSES * effort * _LOOK_SHARE)):
            yield better, f"{name}, other helper steps"


class _Wanted(NamedTuple):
    """A helper step that may mend something: who hooks, takes or leaves what, where, for which step."""

    who: str
    where: Remedy
    step: str
    does: str
    item: str = ""
    bag: str = ""


class _Mended(NamedTuple):
    """An order that holds with these changes, made after all others; ``plan`` has them."""

    rank: tuple[float, ...]
    choice: Choice
    rebuilt: Rebuilt
    plan: TimedPlan
    changes: tuple[Change, ...]


class _Around(Neighbours):
    """Orders around one, also those that a few helper steps may mend."""

    def broken(self, timed: Timed) -> Broken | None:
        """What no helper step mends, or the last of too much that is broken."""
        kept = self.rules.let_go
        self.rules.let_go_of(timed.orders, timed.starts, timed.swapped, timed.pet_zero_min)
        found, self.rules.let_go = sorted(self.rules.let_go - kept), kept
        bad = [each for each in found if each[0] in _NOT_MENDED] + found[_MOST_ADDED:]
        return Broken(bad[0][0], bad[0][1], ()) if bad else None


@dataclass(eq=False)
class _Repairs:
    """One phase: ``left`` plans may still be timed; ``kept`` are the orders that hold."""

    search: OrderSearch
    left: int
    kept: list[_Mended] = field(default_factory=list)

    def best(self, freedom: Freedom, start: Choice, passes: int) -> Better | None:
        """The best order that other helper steps make of those around ``start``, if it is better than all."""
        search, judge = self.search, self.search.judge
        if rebuilt := judge.try_out(start):
            self._keep(start, rebuilt, rebuilt.plan, ())
        problem = start_problem(Work(judge.records, freedom), judge.scenario.elements)
        find_precedence(problem)  # without chains of hardware: what they force may be mended
        add_lanes(problem)
        around = _Around(problem, start.dropped)
        if here := around.of(start):
            around.rules.let_go_of(here.orders, here.starts, here.swapped, here.pet_zero_min)
            LocalSearch(around, self._blocks, search.budget).improve(here, passes)
        for each in sorted(self.kept, key=lambda one: one.rank)[:_FINALISTS]:
            self._without_needless(each)
        best = min(self.kept, key=lambda one: one.rank, default=None)
        known = [each.rank for each in search.found] + ([judge.rank(judge.current)] if judge.current else [])
        if best is None or not all(is_worse(other, best.rank) for other in known):
            return None
        moves = [*tell_moves(judge.records, search.before, best.choice, best.rebuilt), *(
            Move("helper", "", "", change.words) for change in best.changes)]
        solved = Found(best.choice, 0.0, bool(search.last and search.last.tasks_proven), end_proven=False)
        return Better(choice=best.choice, rebuilt=replace(best.rebuilt, plan=best.plan), moves=tuple(moves),
                      solved=solved, rank=best.rank)

    def _keep(self, choice: Choice, rebuilt: Rebuilt, plan: TimedPlan, changes: tuple[Change, ...]) -> None:
        rank = self.search.judge.rank(plan, choice.dropped)
        self.kept.append(_Mended(rank, choice, rebuilt, plan, changes))

    def _blocks(self, choice: Choice) -> Blocks:
        """Judge an order of the look around: it holds where helper steps make it better than all so far."""
        rebuilt = self.search.judge.try_out(choice)
        least_min = min((each.plan.end_min for each in self.kept), default=inf) - SAME_MIN
        if rebuilt is None or rebuilt.plan.end_min > least_min:
            return _BLOCKED
        mended = self._mended(rebuilt.plan, least_min)
        if mended is None:
            return _BLOCKED
        self._keep(choice, rebuilt, *mended)
        return ()

    def _tried(self, plan: TimedPlan, change: Change) -> TimedPlan | None:
        """The plan with a change that brings nothing else with it; None where it cannot be made."""
        self.left -= 1
        try:
            changed = made(plan.scenario, [change])
            return None if changed.notes else TimedPlan.of(changed.scenario)
        except ScenarioError:
            return None

    def _mended(self, plan: TimedPlan, least_min: float,
                spare: Step | None = None) -> tuple[TimedPlan, tuple[Change, ...]] | None:
        """The plan with what lets it hold and end by then; ``spare`` may be done elsewhere."""
        judge, tries, number = self.search.judge, self.left - _TRIES_EACH, 0
        queue = [(len(judge.blocking(plan)), plan.end_min, 0, plan, tuple[Change, ...]())]
        while queue:
            blocks, _, _, plan, added = heappop(queue)
            if not blocks:
                return plan, added
            for add in self._adds(plan, spare) if len(added) < _MOST_ADDED else ():
                if self.left <= max(tries, 0) or self.search.budget.is_over():
                    return None
                there, number = self._tried(plan, add), number + 1
                if there and there.end_min <= least_min:
                    heappush(queue, (len(judge.blocking(there)), there.end_min, number, there, (*added, add)))
        return None

    def _without_needless(self, mended: _Mended) -> None:
        """Leave out, one after the other, helper steps that the order does not need, or do them elsewhere."""
        rank, choice, rebuilt, plan, changes = mended
        for step in (each for each in plan.scenario.records.steps if each.helper):
            drop = Drop((step_named(step.step),))
            there = self._tried(plan, drop) if self.left > 0 else None
            found = there and self._mended(there, plan.end_min, step)
            if found and not is_worse(other := self.search.judge.rank(found[0], choice.dropped), rank):
                rank, plan, changes = other, found[0], (*changes, drop, *found[1])
        self._keep(choice, rebuilt, plan, changes)

    def _adds(self, plan: TimedPlan, spare: Step | None) -> Iterator[Add]:
        """Helper steps, each of which may mend the first of what is wrong."""
        settings, names = plan.scenario.settings, {step.step for step in plan.steps}
        items = {item.item: item for item in plan.scenario.records.hardware}
        hardest = max(settings.exertion_w.keys() & {"rest", "light", "moderate", "heavy"},
                      key=lambda name: (settings.exertion_w[name], name), default="")
        free = next(name for number in range(1, len(names) + 2) if (name := f"HLP{number}") not in names)
        for each in self._wanted(plan):
            is_foothold = each.item and items[each.item].kind == "foothold"
            minutes = getattr(settings.helpers, "foothold_min" if is_foothold else f"{each.does}_min")
            name, last = free, next(a.step for a in reversed(plan.lanes[each.who]) if a.step)
            if spare and spare.step not in names and (spare.hooks if not each.item else any(
                    move.item == each.item for move in getattr(spare, f"{each.does}s"))):
                name, minutes = spare.step, spare.minutes_likely
            if minutes is not None:
                place = plan.place_title(each.where.place)
                what = f"Move the tether of {each.who} to" if not each.item else (
                    f"{each.does.capitalize()} {each.item} at")
                yield Add({
                    "step": name, "task": plan.steps[plan.position(each.step or last)].task, "crew": each.who,
                    "place": each.where.place, "title": f"{what} {place}", "minutes_likely": minutes,
                    # Nothing is known of breaking it off, nor how hard it is: the safe side of both.
                    "exertion": hardest, "safe_orderly_min": minutes, "safe_now_min": minutes,
                    f"{each.does}s": f"{each.item or each.who}{each.bag and f'<{each.bag}'}",
                }, each.where.step or last, each.where.is_on_the_way and bool(each.where.step))

    def _wanted(self, plan: TimedPlan) -> Iterator[_Wanted]:
        records, custody = plan.scenario.records, plan.tracked_custody
        airlock, anchors = records.settings.airlock_place, {each.place for each in records.places
                                                            if each.anchor}
        for who, tether in plan.tracked_tethers.items():
            for spells, moves in islice(remedies(plan, tether, tether.tether_m or inf), 1):
                late = _chances(plan, who, anchors, 0.0, spells[0].from_min)
                yield from (_Wanted(who, where, spells[0].first.passage.step, "hook")
                            for where in moves[:1] or late)
            if tether.lies[-1].line[0] != airlock:
                last = next(a.step for a in reversed(plan.lanes[who]) if a.step)
                yield from (_Wanted(who, _before(airlock, step), step, "hook") for step in (last, ""))
        for mishap in custody.mishaps[:1]:
            is_held = mishap.was.holder in plan.travels
            if mishap.kind in (kinds.USED_AWAY, kinds.NOT_HELD, kinds.NOT_IN_SOCKET) or is_held:
                yield from _brought(plan, mishap.was, mishap.place, mishap.step, mishap.at_min)
        for spell in custody.overloads[:1] if custody.overloads else ():
            step = plan.steps[plan.position(spell.step)] if spell.step else None
            for item in spell.items if step and spell.holder in plan.travels else ():
                if item not in step.touches:
                    yield _Wanted(spell.holder, _before(step.place, step.step), step.step, "leave", item)
        for item in records.hardware:
            endings = custody.endings[item.item]
            if item.end_at and not is_at_end(records, item, endings):
                yield from _brought(plan, endings[-1], item.end_at, "", inf)


def _before(place: str, step: str) -> Remedy:
    return Remedy(place, step, is_on_the_way=True, at_min=0.0, position=0)


def _chances(plan: TimedPlan, who: str, places: Collection[str], since_min: float,
             until_min: float) -> Sequence[Remedy]:
    """The last times at which somebody is done or passes at such a place."""
    found = hook_chances(places, plan.lanes[who], plan.passages[who])
    return [each for each in reversed(found) if since_min <= each.at_min <= until_min][:_CHANCES]


def _brought(plan: TimedPlan, was: Holding, place: str, step: str, by_min: float) -> Iterator[_Wanted]:
    """An item left by whoever has it, where it is needed, or taken where it lies by those who need it."""
    people = plan.steps[plan.position(step)].people if step else ()
    takers = [who for who in plan.travels if not step or who in people]
    does, where, whose, bag = ("leave", place, [was.holder], "") if was.holder in plan.travels else (
        "take", was.holder, takers, was.in_bag)
    if where == INSIDE:
        where = plan.scenario.settings.airlock_place
    for who in whose:
        chances = _chances(plan, who, {where}, was.from_min, by_min)
        for chance in (*chances, *([_before(where, step)] if who in people else ())):
            yield _Wanted(who, chance, step, does, was.item, bag)
