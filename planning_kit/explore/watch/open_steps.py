"""Who is on what now, and what each can be logged to do next."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from planning_kit.explore.retime.progress import times_of
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.log_format import FINISHED, PARTLY, SKIPPED, STARTED
from planning_kit.inputs.log_state import DONE, DROPPED, IN_PROGRESS, State
from planning_kit.inputs.records import BOTH
from planning_kit.plan.activities import TRAVEL, WAIT, Activity, lane_activities
from planning_kit.plan.build import work_order
from planning_kit.plan.timed import Outside, TimedPlan

_BEFORE = (STARTED, SKIPPED)
_DURING = (FINISHED, PARTLY, SKIPPED)


@dataclass(frozen=True)
class OpenStep:
    """A step of a lane that is in progress or still to do. PET minutes; NaN where no place is left for it.

    ``late_min``: how much later it starts, or finishes once it is in progress, than in the plan that the crew
    took outside. ``events``: what may be logged of it; ``is_shared``: it is a step of both; ``awaits``: the
    partner has begun or finished it alone, this one has not called that yet.
    """

    step: str
    title: str
    place: str
    status: str
    start_min: float
    finish_min: float
    late_min: float
    events: tuple[str, ...]
    is_shared: bool
    awaits: bool


@dataclass(frozen=True)
class LaneNow:
    """One lane at now: its open steps, the one in progress first; ``between``: what is done between steps."""

    who: str
    title: str
    steps: tuple[OpenStep, ...]
    between: str


def lanes_now(plan: TimedPlan) -> list[LaneNow]:
    """Every lane of a re-timed plan that has steps: the crew, then the other actors."""
    outside, records = plan.known_outside("lanes"), plan.scenario.records
    activities = lane_activities(plan, with_slack=False)
    lanes = [LaneNow(crew, "", tuple(_open_steps(plan, outside, crew)),
                     _between(plan, outside, crew, activities[crew])) for crew in plan.travels]
    lanes += [LaneNow(actor.actor, actor.title, tuple(_open_steps(plan, outside, actor.actor)), "")
              for actor in records.actors if len(work_order(outside.base.steps, actor.actor))]
    return lanes


def _open_steps(plan: TimedPlan, outside: Outside, who: str) -> Iterator[OpenStep]:
    base = outside.base
    states = [outside.states.by_step[base.steps[position].step]
              for position in work_order(base.steps, who)]
    last_min = max((state.pieces[-1][0] for state in states if state.pieces), default=math.nan)
    found = [_open_step(plan, outside, state, who) for state in states
             if state.status not in (DONE, DROPPED) or _still_awaits(state, who, last_min)]
    yield from sorted(found, key=lambda step: (step.status not in (IN_PROGRESS, DONE),
                                               not math.isfinite(step.start_min), step.start_min))


def _awaits(state: State, who: str) -> bool:
    return state.step.crew == BOTH and state.called_by != "" and state.called_by == PARTNER.get(who)


def _still_awaits(state: State, who: str, last_min: float) -> bool:
    """Whether a step that the partner has finished is the last that this one has begun."""
    return state.status == DONE and _awaits(state, who) and state.pieces[-1][0] == last_min


def _open_step(plan: TimedPlan, outside: Outside, state: State, who: str) -> OpenStep:
    name, is_running, awaits = state.step.step, state.status == IN_PROGRESS, _awaits(state, who)
    start, finish = times_of(plan, name)
    planned_start, planned_finish = times_of(outside.planned, name)
    late = finish - planned_finish if is_running else start - planned_start
    place = plan.place_title(state.step.place) if state.step.place else ""  # an actor's step may have none
    events = _DURING if is_running else (FINISHED,) if state.status == DONE else _BEFORE
    return OpenStep(name, state.step.title, place, state.status, start, finish, late,
                    (STARTED, *events) if awaits and is_running else events, state.step.crew == BOTH, awaits)


def _between(plan: TimedPlan, outside: Outside, crew: str, activities: Sequence[Activity]) -> str:
    """What the re-timed plan has them do now if no step is in hand."""
    if crew in outside.states.at_work:
        return ""
    now = outside.now_min
    if now < 0:
        return "before egress"
    here = next((each for each in activities if each.start_min <= now < each.finish_min), None)
    return _words(plan, here) if here else ""


def _words(plan: TimedPlan, activity: Activity) -> str:
    if activity.kind == TRAVEL:
        return f"on the way to {plan.place_title(activity.to_place)}"
    if activity.kind == WAIT:
        return f"waiting at {plan.place_title(activity.place)}"
    return "" if activity.step else "going in"
