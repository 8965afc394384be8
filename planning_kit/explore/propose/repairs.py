"""Repairs of orders by helper steps, which only serve the order: left out, done elsewhere, or added.

The search never looks at orders that a tether too short, or an item elsewhere, forbids. Here a look around
does: what blocks such an order is mended where somebody passes, by a step of the scenario's standard minutes
or one that is done there instead, and judged as any. Counted in plans timed, so that it is repeatable.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, product
from math import inf

from planning_kit.changes.change import Change, made, step_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Add
from planning_kit.explore.propose.choices import Choice, Move, tell_moves
from planning_kit.explore.propose.local_search import PASSES, Blocks, LocalSearch, Neighbours, Timed
from planning_kit.explore.propose.order_model import Requirement
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_screen import Broken
from planning_kit.explore.propose.order_search import Better, OrderSearch
from planning_kit.explore.propose.stages import Found
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import INSIDE, Step
from planning_kit.judge.review import SAME_MIN, is_worse
from planning_kit.plan.custody import is_at_end
from planning_kit.plan.custody_state import EARLY, NOT_HELD, NOT_IN_SOCKET, NOT_THERE, USED_AWAY
from planning_kit.plan.tether_lines import hook_chances, too_far
from planning_kit.plan.timed import TimedPlan

_MOST_ADDED, _MOST_TRIED, _TRIES, _PASSES = 3, 6, 30, PASSES // 4


def looked_with_repairs(search: OrderSearch, name: str, freedom: Freedom,
                        effort: float) -> Iterator[tuple[Better, str]]:
    """What the search finds under one freedom, under its ``name``, and what other helper steps win on it."""
    if found := search.look(freedom, effort):
        yield found, name
    judge, steps, start = search.judge, search.judge.records.steps, found.choice if found else search.before
    spare = [each for each in steps if each.helper and (each.hooks or each.takes or each.leaves) and not (
        each.uses or each.foothold or each.checks or each.clears or each.moves)]
    limits = vars(judge.records.settings.limits)
    if (spare or any(limits[key] for key in limits if key.startswith("helper_"))) and (
            freedom.earliest <= start.pet_zero <= freedom.latest):
        # Where something is let go, hardware forces no order.
        problem = search.problem(replace(freedom, let_go=frozenset({Requirement("", "", "")})))
        around = _Repairs(problem, start.dropped, search=search, spare=spare, left=round(_TRIES * effort))
        around.blocks(start)
        if here := around.of(start):
            around.rules.let_go_of(here.orders, here.starts, here.swapped, here.pet_zero_min)
            look = LocalSearch(around, around.blocks, search.budget)
            look.improve(here, round(_PASSES * effort), here.orders)
        known = [each.rank for each in search.found] + [judge.rank(plan) for plan in [judge.current] if plan]
        if around.best and all(is_worse(rank, around.best.rank) for rank in known):
            yield around.best, f"{name}, repaired"


@dataclass(eq=False)
class _Repairs(Neighbours):
    """Orders that a few helper steps may mend; ``left`` plans may be timed for the ``best`` that holds."""

    search: OrderSearch = field(kw_only=True)
    spare: Sequence[Step] = field(kw_only=True)
    left: int = field(kw_only=True)
    best: Better | None = None

    def broken(self, timed: Timed) -> Broken | None:
        kept = self.rules.let_go
        self.rules.let_go_of(timed.orders, timed.starts, timed.swapped, timed.pet_zero_min)
        found, self.rules.let_go = self.rules.let_go - kept, kept
        lost = {rule for rule, *_ in found} & {"last-start", "window", "crowded", "owner-away"}
        return Broken("", "", ()) if lost or len(found) > _MOST_ADDED else None

    def blocks(self, choice: Choice) -> Blocks:
        """Judge an order: it holds where helper steps, if need be, make it better than all so far."""
        judge, rebuilt, last = self.search.judge, self.search.judge.try_out(choice), self.search.last
        least_min = self.best.plan.end_min - SAME_MIN if self.best else inf
        found = self._mended(rebuilt.plan, [()], (), least_min) if rebuilt else None
        if not rebuilt or not found:
            return (("repairs", "none", "", "", ""),)
        self.best = self._without_needless(Better(
            choice=choice, rebuilt=replace(rebuilt, plan=found[0]), rank=judge.rank(found[0], choice.dropped),
            moves=(*tell_moves(judge.records, self.search.before, choice, rebuilt), *found[1]),
            solved=Found(choice, 0.0, bool(last and last.tasks_proven), end_proven=False)))
        return ()

    def _mended(self, plan: TimedPlan, changes: Iterable[Sequence[Change]], told: tuple[Move, ...],
                least_min: float, most: float = inf) -> tuple[TimedPlan, tuple[Move, ...]] | None:
        """The best plan with one of some changes, which blocks no more, and its mends; it ends by then."""
        best = None
        for each in changes:
            self.left -= 1
            if self.left < 0 or self.search.budget.is_over():
                break
            try:
                changed = made(plan.scenario, each)
                there = TimedPlan.of(changed.scenario)
            except ScenarioError:
                continue
            more = (*told, *(Move("helper", "", "", change.words) for change in each))
            if not changed.notes and there.end_min <= least_min and (
                    count := len(self.search.judge.blocking(there))) <= most:
                adds = islice(_adds(there, self.spare), _MOST_TRIED if len(told) < _MOST_ADDED else 0)
                if found := self._mended(there, adds, more, least_min, count) if count else (there, more):
                    best, least_min = found, found[0].end_min - SAME_MIN
        return best

    def _without_needless(self, better: Better) -> Better:
        """Without the helper steps that the order does not need, or with them where that wins something."""
        for name in (step.step for step in self.spare):
            if found := self._mended(better.plan, [[Drop((step_named(name),))]], (), better.plan.end_min):
                rank = self.search.judge.rank(found[0], better.choice.dropped)
                if is_worse(better.rank, rank) or not (found[1][1:] or is_worse(rank, better.rank)):
                    better = replace(better, rebuilt=replace(better.rebuilt, plan=found[0]), rank=rank,
                                     moves=(*better.moves, *found[1]))
        return better


def _adds(plan: TimedPlan, spare: Sequence[Step]) -> Iterator[tuple[Change, ...]]:
    """Helper steps, each of which may mend what is wrong; how hard and how soon broken off: the safe side."""
    settings, names = plan.scenario.settings, {step.step for step in plan.steps}
    kinds, watts = {each.item: each.kind for each in plan.scenario.records.hardware}, settings.exertion_w
    hardest = max(watts.keys() & {"rest", "light", "moderate", "heavy"}, key=watts.__getitem__, default="")
    free = next(name for number in range(1, len(names) + 2) if (name := f"HLP{number}") not in names)
    for who, places, since_min, until_min, step, column, entry in _wanted(plan):
        item, last = entry.split("<")[0], next((a.step for a in reversed(plan.lanes[who]) if a.step), "")
        key = "hook" if item == who else "foothold" if kinds[item] == "foothold" else "item"
        standard = getattr(settings.limits, f"helper_{key}_min")
        ways = [(free, standard)] * bool(standard) + [(each.step, each.minutes_likely) for each in spare if
                each.crew in plan.travels and getattr(each, column) and item in {*each.touches, who}]
        passed = [(each.place, each.step, each.is_on_the_way) for each in hook_chances(
            places, plan.lanes[who], plan.passages[who]) if since_min <= each.at_min <= until_min]
        there = [*passed[:-4:-1], *((place, step, True) for place in places if len(places) == 1)]
        for (place, beside, ahead), (name, minutes) in product(there if last else (), ways):
            drop = [Drop((step_named(name),))] if name in names else []
            at, title = plan.position(step or beside or last), f"{column[:-1].title()} {entry} at {place}"
            yield *drop, Add({
                "step": name, "task": plan.steps[at].task, "crew": who, "place": place, "title": title,
                "exertion": hardest, "minutes_likely": minutes, "safe_orderly_min": minutes,
                "safe_now_min": minutes, column: entry}, beside or last, ahead and beside != "")


def _wanted(plan: TimedPlan) -> Iterator[tuple[str, Collection[str], float, float, str, str, str]]:
    """Who, at one of which places, from when until when, for which step ("": going in), column, entry."""
    records, custody = plan.scenario.records, plan.tracked_custody
    airlock, anchors = records.settings.airlock_place, {each.place for each in records.places if each.anchor}
    for who, tether in plan.tracked_tethers.items():
        for spell in islice(too_far(tether.lies, tether.tether_m or inf), 1):
            yield who, anchors, 0.0, spell.from_min, spell.first.passage.step, "hooks", who
        if tether.lies[-1].line[0] != airlock:
            yield who, {airlock}, 0.0, inf, "", "hooks", who
    needs = [(each.item, each.was, each.place, each.step, each.at_min) for each in custody.mishaps
             if each.kind in (EARLY, NOT_THERE, NOT_HELD, NOT_IN_SOCKET, USED_AWAY)][:1]
    needs += [(item.item, ends[-1], item.end_at, "", inf) for item in records.hardware if item.end_at
              and not is_at_end(records, item, ends := custody.endings[item.item])]
    for item, was, place, step, by_min in needs:
        if was.holder in plan.travels:
            yield was.holder, {place}, was.from_min, by_min, step, "leaves", item
        else:
            entry, where = f"{item}<{was.in_bag}".strip("<"), airlock if was.holder == INSIDE else was.holder
            yield from ((who, {where}, was.from_min, by_min, step, "takes", entry) for who in plan.travels)
    for load in (each for each in custody.overloads if each.holder in plan.travels and each.step):
        yield from ((load.holder, {plan.steps[plan.position(load.step)].place}, 0.0, load.from_min, load.step,
                     "leaves", item) for item in load.items)
