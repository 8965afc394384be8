"""What is left of an outing, as records for the order problem and what that must know of the past."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planning_kit.explore.propose.problem import Past
from planning_kit.inputs.records import BOTH, INSIDE, Records, Step, Task
from planning_kit.plan.build import work_order
from planning_kit.plan.network import ORDER, TURN
from planning_kit.plan.past import Whereabouts
from planning_kit.plan.timed import TimedPlan

_ROUNDING_MIN = 1.0  # the solver counts in whole seconds and rounds up along a chain


@dataclass(frozen=True)
class Rest:
    """The records of what has not begun, and the past of it. ``lanes``: everyone's order as it stands."""

    records: Records
    past: Past
    lanes: Mapping[str, tuple[str, ...]]


def rest_of(plan: TimedPlan) -> Rest:
    """The rest of a re-timed plan, as a decision taken now finds it."""
    here, now_min = plan.whereabouts, plan.known_outside("a better order").now_min
    records, begun = plan.scenario.records, _begun(plan)
    steps = tuple(replace(step, after=tuple(name for name in step.after if name not in begun))
                  for step in records.steps if step.step not in begun)
    moved = _moved_by(plan, begun)
    hardware = tuple(replace(item, at=moved[item.item][0]) if item.item in moved else item
                     for item in records.hardware)
    names = {step.step for step in steps}
    inhibits = tuple(
        replace(each, needed_by=tuple(name for name in each.needed_by if name in names))
        for each in records.inhibits if {each.from_step, each.until_step} <= names)
    rest = replace(
        records, steps=steps, hardware=hardware, inhibits=inhibits, tasks=_tasks(records, steps, begun),
        gaps=tuple(gap for gap in records.gaps if {gap.first_step, gap.then_step} <= names))
    lanes = {who: tuple(records.steps[i].step for i in work_order(records.steps, who)
                        if records.steps[i].step in names)
             for who in (*plan.travels, *(actor.actor for actor in records.actors))}
    return Rest(rest, _past(plan, here, now_min, begun, moved, lanes), lanes)


def _begun(plan: TimedPlan) -> frozenset[str]:
    return frozenset(plan.steps[position].step for position in plan.network.fixed)


def _moved_by(plan: TimedPlan, begun: frozenset[str]) -> dict[str, tuple[str, float]]:
    """Where the steps that have begun leave each item that they move, and since when (PET minutes)."""
    events: list[tuple[float, int, str, str]] = []
    for position in sorted(plan.network.fixed, key=lambda position: float(plan.starts[position])):
        step = plan.steps[position]
        events += [(float(plan.starts[position]), position, move.item, move.crew or step.crew)
                   for move in step.takes]
        events += [(float(plan.finishes[position]), position, move.item, move.into or step.place or INSIDE)
                   for move in step.leaves]
    events.sort(key=lambda event: event[0])
    return {item: (where, at) for at, _, item, where in events}


def _tasks(records: Records, steps: Sequence[Step], begun: frozenset[str]) -> tuple[Task, ...]:
    """The tasks with something left; one that has begun cannot be traded, and has made its last start."""
    left = {step.task for step in steps}
    under_way = {step.task for step in records.steps if step.step in begun}
    handled = {name for step in records.steps if step.step in begun for name in _items(step)}
    tied = {step.task for step in steps if handled & set(_items(step))}
    return tuple(
        replace(task, swappable=task.swappable and task.task not in under_way | tied,
                last_start_min=None if task.task in under_way else task.last_start_min)
        for task in records.tasks if task.task in left)


def _items(step: Step) -> Iterator[str]:
    yield from (*step.uses, *([step.foothold] if step.foothold else ()))
    yield from (move.item for move in (*step.takes, *step.leaves))


def _past(plan: TimedPlan, here: Sequence[Whereabouts], now_min: float, begun: frozenset[str],
          moved: Mapping[str, tuple[str, float]], lanes: Mapping[str, tuple[str, ...]]) -> Past:
    rest = [position for position in range(len(plan.steps)) if position not in plan.network.fixed]
    outside = [i for i in rest if plan.steps[i].crew in (BOTH, *plan.travels)]
    ready = {each.crew: {plan.steps[i].step: _ready(plan, each, i) for i in outside} for each in here}
    for who, lane in lanes.items():
        if who not in ready:
            free = max((float(plan.finishes[i]) for i in work_order(plan.steps, who)
                        if i in plan.network.fixed), default=now_min)
            ready[who] = dict.fromkeys(lane, max(free, now_min))
    airlock = plan.scenario.settings.airlock
    return Past(
        ready, {each.crew: each.at_home_min(plan.travels[each.crew], airlock) for each in here},
        {crew: _hook(plan, crew) for crew in plan.travels},
        {plan.steps[i].step: _not_before(plan, i, now_min, moved, here) for i in rest},
        dict(_not_after(plan, begun)), dict(_windows(plan)))


def _ready(plan: TimedPlan, who: Whereabouts, position: int) -> float:
    """When someone can begin a step next of all; as the plan has it for what they are bound for."""
    step = plan.steps[position]
    if step.step != who.bound_for:
        return who.ready_min(plan.travels[who.crew], step)
    network = plan.network
    asked = [float(plan.starts[bound.before] + bound.weight_min(plan.durations))
             for bound in network.bounds_into[position] if bound.kind == ORDER and bound.crew == who.crew]
    asked += [release.at_min for release in network.releases if release.step == position
              and release.kind in (ORDER, TURN) and release.crew == who.crew]
    return max(asked, default=who.ready_min(plan.travels[who.crew], step))


def _hook(plan: TimedPlan, crew: str) -> str:
    anchors = {place.place for place in plan.scenario.records.places if place.anchor}
    hooked = [position for position in plan.network.fixed
              if crew in plan.steps[position].hooks and plan.steps[position].place in anchors]
    last = max(hooked, key=lambda position: float(plan.finishes[position]), default=None)
    return plan.scenario.settings.airlock if last is None else plan.steps[last].place


def _not_before(plan: TimedPlan, position: int, now_min: float, moved: Mapping[str, tuple[str, float]],
                here: Sequence[Whereabouts]) -> float:
    """Now, what history asks by rule, and where something is needed that work in hand still has."""
    network, step = plan.network, plan.steps[position]
    asked = [now_min]
    asked += [release.at_min for release in network.releases
              if release.step == position and release.kind not in (ORDER, TURN)]
    asked += [float(plan.starts[bound.before] + bound.weight_min(plan.durations))
              for bound in network.bounds_into[position]
              if bound.before in network.fixed and bound.kind != ORDER]
    asked += [moved[name][1] for name in _items(step) if name in moved]
    asked += [float(plan.finishes[i]) for i in _in_the_way(plan, step)]
    return max(asked)


def _in_the_way(plan: TimedPlan, step: Step) -> Iterator[int]:
    """Work that has begun at this place where only one can be."""
    crowded = {place.place for place in plan.scenario.records.places if place.crew_at_once == 1}
    if step.place in crowded:
        yield from (i for i in plan.network.fixed
                    if plan.steps[i].place == step.place and plan.steps[i].crew in plan.travels)


def _not_after(plan: TimedPlan, begun: frozenset[str]) -> Iterator[tuple[str, float]]:
    """Last starts by greatest gaps and inhibits from history; where they are lost, as the plan has them."""
    latest: dict[str, float] = {}

    def ask(step: str, by: float) -> None:
        kept = max(by, float(plan.starts[plan.position(step)]) + _ROUNDING_MIN)
        latest[step] = min(kept, latest.get(step, kept))

    for gap in plan.scenario.records.gaps:
        if gap.max_gap is not None and gap.first_step in begun and gap.then_step not in begun:
            ask(gap.then_step, _end(plan, gap.first_step, gap.first_at) + gap.max_gap - (
                _minutes(plan, gap.then_step) if gap.then_at == "finish" else 0.0))
    for inhibit in plan.scenario.records.inhibits:
        if inhibit.from_step in begun and inhibit.until_step not in begun:
            set_min = _end(plan, inhibit.from_step, "start") - inhibit.lead_min
            if inhibit.hold_max_min is not None:
                ask(inhibit.until_step, set_min + inhibit.hold_max_min - _minutes(plan, inhibit.until_step))
    yield from latest.items()


def _end(plan: TimedPlan, step: str, which: str) -> float:
    position = plan.position(step)
    return float(plan.starts[position] if which == "start" else plan.finishes[position])


def _minutes(plan: TimedPlan, step: str) -> float:
    return float(plan.durations[plan.position(step)])


def _windows(plan: TimedPlan) -> Iterator[tuple[str, np.ndarray]]:
    """For steps whose group has begun: the window that it began in."""
    for group, windows in zip(plan.network.groups, plan.network.group_windows, strict=True):
        if len(windows) < len(group.demand.windows):
            yield from ((plan.steps[member].step, windows) for member in group.members)
