"""Single moves in the order of work that would meet a target.

Tried are: each two neighbours in a lane swapped; each step that comes before the target taken off its way,
to the place behind it where it costs the least travel; and the target's own step brought forward. A move is
of one row, as `planning_kit.explore.editing.edits.move_step` makes it. The first and the last step of each
crew member stay where they are. The tables say which order is needed (``after``, gaps, what is in whose
hands), and the checks of a moved plan say what it breaks; whether a move makes sense at work they cannot
know. A step moved past others of its own task is the likeliest not to, so those come last and say so.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from planning_kit.explore.gaining.gain_changes import ORDER, Candidate
from planning_kit.explore.gaining.gain_target import Target
from planning_kit.inputs.records import BOTH
from planning_kit.plan.build import build_network, work_order
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts, outing_end

_PLACES_TRIED = 2  # for a step that is taken off the way: the cheapest places behind the target


def moved_steps(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """Each move of one row that meets the target."""
    tried: set[tuple[int, ...]] = set()
    for moved, after in _moves(plan, target):
        order = _order_with(len(plan.steps), moved, after)
        if order in tried:
            continue
        tried.add(order)
        starts, end_min = _timed(plan, order)
        if target.is_met(starts):
            name, behind = plan.steps[moved].step, plan.steps[after].step
            inside = _is_inside_task(plan, order, moved)
            words = f"{name} moved to just behind {behind}" + (
                f", past other steps of {plan.steps[moved].task}" if inside else "")
            rank = (inside, round(end_min, 3), abs(order.index(moved) - moved))
            yield Candidate(ORDER, words, 0.0, {"move": {name: behind}}, rank)


def _moves(plan: TimedPlan, target: Target) -> Iterator[tuple[int, int]]:
    """Pairs of positions: which row, and behind which."""
    goal = plan.starts[target.judged]
    ends = {lane[place] for who in plan.travels if (lane := work_order(plan.steps, who)) for place in (0, -1)}
    for who in plan.lanes:
        lane = work_order(plan.steps, who)
        before = [i for i in lane if plan.starts[i] < goal]
        for one, other in itertools.pairwise(lane[:len(before) + 1]):
            if not ends & {one, other}:
                yield one, other
        behind = [i for i in lane if plan.starts[i] >= goal]
        for one in before:
            for place in _cheapest_places(plan, who, one, behind) if one not in ends else ():
                if place not in ends:
                    yield one, place
        if target.judged in lane and target.judged not in ends:
            for one in before[:-1]:
                yield target.judged, one


def _is_inside_task(plan: TimedPlan, order: tuple[int, ...], moved: int) -> bool:
    """Whether the moved step passed another of its task in someone's lane."""
    row = plan.steps[moved]
    task = [i for i in order if plan.steps[i].task == row.task and (
        row.crew == plan.steps[i].crew or BOTH in (row.crew, plan.steps[i].crew))]
    return task != sorted(task)


def _cheapest_places(plan: TimedPlan, who: str, moved: int, behind: list[int]) -> list[int]:
    """Rows behind which ``moved`` costs the least detour, the nearest first among equals."""
    if who not in plan.travels:
        return behind[:1]
    travel, airlock = plan.travels[who], plan.scenario.settings.airlock
    here = plan.steps[moved].place
    places = [plan.steps[i].place for i in behind] + [airlock]
    detour = [travel.time_min(a, here) + travel.time_min(here, b) - travel.time_min(a, b)
              for a, b in itertools.pairwise(places)]
    return [behind[i] for i in np.argsort(np.round(detour, 6), kind="stable")[:_PLACES_TRIED]]


def _order_with(count: int, moved: int, after: int) -> tuple[int, ...]:
    rows = [i for i in range(count) if i != moved]
    cut = rows.index(after) + 1
    return (*rows[:cut], moved, *rows[cut:])


def _timed(plan: TimedPlan, order: tuple[int, ...]) -> tuple[np.ndarray, float]:
    """Starts in the plan's own row order, and the outing end, with the rows in another order."""
    records, rows = plan.scenario.records, list(order)
    steps = tuple(records.steps[i] for i in rows)
    network = build_network(replace(records, steps=steps), plan.almanac, plan.travels)
    moved = earliest_starts(network, plan.durations[rows])
    starts = np.empty_like(moved)
    starts[rows] = moved
    return starts, float(outing_end(network, moved, plan.durations[rows]))
