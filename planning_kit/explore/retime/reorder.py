"""Better orders of the rest, found by the optimiser while the crew is outside.

The rest of the outing, what has not begun, becomes an order problem of its own. It is searched as any order
is (`planning_kit.explore.propose.order_search`): with all that is still to be done, and, where that misses
a limit, with optional and get-ahead tasks left out. What is found is a decision like any other: taken,
re-timed by the log and checked as a whole plan. Steps left out stay out.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planning_kit.explore.propose.choices import as_written
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_search import Better, Judge, OrderSearch
from planning_kit.explore.propose.solving import Budget
from planning_kit.inputs.records import BOTH, Records, Step, Task
from planning_kit.plan.build import placeless, travel_into, work_order
from planning_kit.plan.network import HATCH, ORDER, TURN, on_grid
from planning_kit.plan.past import Past, Whereabouts
from planning_kit.plan.timed import TimedPlan

_ROUNDING_MIN = 1.0  # the solver rounds up along a chain: the present order must fit its own limits


@dataclass(frozen=True)
class Rest:
    """The records of what has not begun, and the past of it."""

    records: Records
    past: Past


def rest_of(plan: TimedPlan) -> Rest:
    """The rest of a re-timed plan, as a decision taken now finds it."""
    here, now_min = plan.whereabouts, plan.known_outside("a better order").now_min
    records, begun = plan.scenario.records, {plan.steps[i].step for i in plan.network.fixed}
    steps = tuple(replace(step, after=tuple(name for name in step.after if name not in begun))
                  for step in records.steps if step.step not in begun)
    moved = _moved_by(plan, begun)
    hardware = tuple(replace(item, at=moved[item.item][0]) if item.item in moved else item
                     for item in records.hardware)
    names = {step.step for step in steps}
    # One that has begun is no rule here: `_not_after` keeps its longest hold, the checks judge the rest.
    inhibits = tuple(
        replace(each, needed_by=tuple(name for name in each.needed_by if name in names))
        for each in records.inhibits if {each.from_step, each.until_step} <= names)
    # Once anyone has worked outside, the hatch is open: then the re-timing asks for it no more.
    is_shut = any(release.kind == HATCH for release in plan.network.releases)
    settings = records.settings if is_shut else replace(
        records.settings, airlock=replace(records.settings.airlock, hatch_open_min=None))
    rest = replace(
        records, settings=settings, steps=steps, hardware=hardware, inhibits=inhibits,
        tasks=_tasks(records, steps, begun),
        gaps=tuple(gap for gap in records.gaps if {gap.first_step, gap.then_step} <= names))
    return Rest(rest, _past(plan, here, now_min, begun, moved))


def _moved_by(plan: TimedPlan, begun: set[str]) -> dict[str, tuple[str, float]]:
    """Where the steps that have begun leave each item that they move, and since when (PET minutes)."""
    moves = [each for each in plan.item_moves() if each[2].step in begun]
    moves.sort(key=lambda each: (each[0], plan.span(each[2].step)[0]))  # at one minute by their starts
    return {move.item: ((move.crew or step.crew) if is_take else (move.into or step.where), at)
            for at, is_take, step, move in moves}


def _tasks(records: Records, steps: Sequence[Step], begun: set[str]) -> tuple[Task, ...]:
    """The tasks with something left; one that has begun cannot be traded, and has made its last start."""
    left = {step.task for step in steps}
    under_way = {step.task for step in records.steps if step.step in begun}
    # Such an item is already where it is, and would not go along with a trade of what is left.
    handled = {name for step in records.steps if step.step in begun for name in step.touches} - {""}
    tied = {step.task for step in steps if handled & step.touches}
    return tuple(
        replace(task, swappable=task.swappable and task.task not in under_way | tied,
                last_start_min=None if task.task in under_way else task.last_start_min)
        for task in records.tasks if task.task in left)


def _past(plan: TimedPlan, here: Sequence[Whereabouts], now_min: float, begun: set[str],
          moved: Mapping[str, tuple[str, float]]) -> Past:
    rest = [position for position in range(len(plan.steps)) if position not in plan.network.fixed]
    outside = [i for i in rest if plan.steps[i].crew in (BOTH, *plan.travels)]
    ready = {each.crew: {plan.steps[i].step: _ready(plan, each, i) for i in outside} for each in here}
    begun_by = {who: [i for i in work_order(plan.steps, who) if i in plan.network.fixed]
                for who in plan.scenario.records.lane_names}
    # Actors have no way to go: they are free when what they have begun is over.
    for who in begun_by.keys() - ready.keys():
        free = max((float(plan.finishes[i]) for i in begun_by[who]), default=now_min)
        ready[who] = {plan.steps[i].step: max(free, now_min) for i in rest if plan.steps[i].crew == who}
    airlock = plan.scenario.settings.airlock_place
    return Past(
        ready_min=ready,
        home_min={each.crew: each.at_home_min(plan.travels[each.crew], airlock) for each in here},
        hooks={crew: _hook(plan, crew) for crew in plan.travels},
        not_before={plan.steps[i].step: _not_before(plan, i, now_min) for i in rest},
        free_min={plan.steps[i].step: _free_min(plan, i, moved) for i in rest},
        not_after=_not_after(plan, begun), windows=_windows(plan),
        last_begun={who: plan.steps[order[-1]].step for who, order in begun_by.items() if order})


def _ready(plan: TimedPlan, who: Whereabouts, position: int) -> float:
    """When someone can begin a step next of all, as the re-timing of that decision has it."""
    step, travel, free = plan.steps[position], plan.travels[who.crew], 0.0
    here = plan.scenario.settings.airlock_place
    for begun in (i for i in work_order(plan.steps, who.crew) if i in plan.network.fixed):
        here = plan.steps[begun].place or here
        free = float(plan.starts[begun] + on_grid(plan.durations[begun]))
    ready = free + float(on_grid(travel_into(step, travel, here) + step.travel_extra_min))
    # Who is underway to it goes on at no cost; to anything else the way begins where they can turn.
    return ready if step.step == who.bound_for else max(ready, who.quickest(travel, step)[0])


def _hook(plan: TimedPlan, crew: str) -> str:
    anchors = {place.place for place in plan.scenario.records.places if place.anchor}
    hooked = [position for position in plan.network.fixed
              if crew in plan.steps[position].hooks and plan.steps[position].place in anchors]
    last = max(hooked, key=lambda position: float(plan.finishes[position]), default=None)
    return plan.scenario.settings.airlock_place if last is None else plan.steps[last].place


def _not_before(plan: TimedPlan, position: int, now_min: float) -> float:
    """Now, and what history asks by rule."""
    network = plan.network
    return max([
        now_min,
        # Not what holds it only in the present order: another one has its own way in (`ready_min`).
        *(release.at_min for release in network.releases
          if release.step == position and release.kind not in (ORDER, TURN, HATCH)),
        *(float(plan.starts[bound.before] + bound.weight_min(plan.durations))
          for bound in network.bounds_into[position]
          if bound.before in network.fixed and bound.kind != ORDER)])


def _free_min(plan: TimedPlan, position: int, moved: Mapping[str, tuple[str, float]]) -> float:
    """When the items that it needs and a place for one are free."""
    step = plan.steps[position]
    crowded = {place.place for place in plan.scenario.records.places if place.crew_at_once == 1}
    in_the_way = [i for i in plan.network.fixed if step.place in crowded
                  and plan.steps[i].place == step.place and plan.steps[i].crew in plan.travels]
    # A step in hand leaves its items only at its finish, which may be still to come.
    return max([0.0, *(moved[name][1] for name in step.touches if name in moved),
                *(float(plan.finishes[i]) for i in in_the_way)])


def _not_after(plan: TimedPlan, begun: set[str]) -> dict[str, float]:
    """Last starts by greatest gaps and inhibits from history; where they are lost, as the plan has them."""
    latest: dict[str, float] = {}

    def ask(step: str, by: float) -> None:
        kept = max(by, float(plan.starts[plan.position(step)]) + _ROUNDING_MIN)
        latest[step] = min(kept, latest.get(step, kept))

    for gap in plan.scenario.records.gaps:
        if gap.max_gap is not None and gap.first_step in begun and gap.then_step not in begun:
            ask(gap.then_step, plan.span(gap.first_step)[gap.first_at == "finish"] + gap.max_gap - (
                _minutes(plan, gap.then_step) if gap.then_at == "finish" else 0.0))
    for inhibit in plan.scenario.records.inhibits:
        if inhibit.from_step in begun and inhibit.until_step not in begun:
            set_min = plan.span(inhibit.from_step)[0] - inhibit.lead_min
            if inhibit.hold_max_min is not None:
                ask(inhibit.until_step, set_min + inhibit.hold_max_min - _minutes(plan, inhibit.until_step))
    return latest


def _minutes(plan: TimedPlan, step: str) -> float:
    return float(plan.durations[plan.position(step)])


def _windows(plan: TimedPlan) -> dict[str, np.ndarray]:
    """For steps whose group has begun: the window that it began in."""
    # Fewer windows than the group was given: what has begun of it holds the rest to its own.
    return {plan.steps[member].step: windows
            for group, windows in zip(plan.network.groups, plan.network.group_windows, strict=True)
            if len(windows) < len(group.demand.windows) for member in group.members}


def better_orders(plan: TimedPlan, budget: Budget) -> Iterator[Better]:
    """Better orders of the rest of a re-timed plan: with all of it, then so that it keeps a limit."""
    rest = rest_of(plan)
    if placeless(plan.steps):
        return
    if not any(len(lane) > 1 for lane in as_written(rest.records, plan.pet_zero).lanes.values()):
        return
    is_lost = plan.end_min > plan.hard_min  # then what keeps a limit comes first, whatever it leaves out
    if is_lost:
        yield from _keeping_a_limit(plan, rest, plan.end_min, budget)
    # Where the hard limit is lost with all of it, a better order need only end no later.
    no_later = plan.end_min + _ROUNDING_MIN
    required = tuple(replace(task, need="required") for task in rest.records.tasks)
    whole = _looked(plan, replace(rest, records=replace(rest.records, tasks=required)), budget,
                    lambda other: max(other.hard_min, no_later))
    if whole is not None:
        yield whole
    if not is_lost:
        end_min = plan.end_min if whole is None else whole.plan.end_min
        yield from _keeping_a_limit(plan, rest, end_min, budget)


def _keeping_a_limit(plan: TimedPlan, rest: Rest, end_min: float, budget: Budget) -> Iterator[Better]:
    """An order that keeps the planned limit, or else the hard one, where ``end_min`` does not."""
    planned_min = plan.scenario.settings.limits.planned_min
    for limit in (lambda other: planned_min, lambda other: other.hard_min):
        if end_min > limit(plan):
            found = _looked(plan, rest, budget, limit)
            if found is not None:
                yield found
                return


def _looked(plan: TimedPlan, rest: Rest, budget: Budget,
            limit: Callable[[TimedPlan], float]) -> Better | None:
    """Searched up to the limit of the plan as it is; what is found is judged by its own."""
    limit_min = limit(plan)
    judge = Judge(scenario=plan.scenario, records=rest.records, current=plan, limit_min=limit_min,
                  own_limit=limit)
    start = as_written(rest.records, plan.pet_zero)
    freedom = Freedom(earliest=plan.pet_zero, latest=plan.pet_zero, limit_min=limit_min, past=rest.past)
    return OrderSearch(judge=judge, before=start, budget=budget).look(freedom, budget.effort / 2)
