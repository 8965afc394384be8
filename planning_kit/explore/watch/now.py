"""Now, for a watch: what time it is, who is on what, and what each can be logged to do next.

The time is that of the wall clock, or a now set by hand that runs on or is held: a rehearsal or a replay
happens in another year than the outing.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Self

from planning_kit.explore.retime.outing_progress import times_of
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.log_format import FINISHED, PARTLY, SKIPPED, STARTED, parse_when
from planning_kit.inputs.log_state import DONE, DROPPED, IN_PROGRESS, State
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.shown_text import shortened
from planning_kit.inputs.times import moment_at, pet_min
from planning_kit.plan.activities import TRAVEL, WAIT, Activity
from planning_kit.plan.build import work_order
from planning_kit.plan.timed import Outside, TimedPlan

WALL, RUNNING, HELD = "wall", "running", "held"
CLOCK_KINDS = (WALL, RUNNING, HELD)

_UTC_TIME = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?\s*[zZ]")
_GMT_TIME = re.compile(r"([0-9]{3})/([01][0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?\s*[zZ]?")
_DAY_MIN = 24 * 60.0


def utc_now() -> datetime:
    """The wall clock, UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Clock:
    """It was ``at`` (UTC) when the wall clock said ``since``; from then on it runs, or is held."""

    kind: str
    at: datetime
    since: datetime

    @classmethod
    def wall(cls, wall: datetime) -> Self:
        """The wall clock itself."""
        return cls(WALL, wall, wall)

    def now(self, wall: datetime) -> datetime:
        """Now, to the second below: what is called is logged to a second."""
        moment = self.at if self.kind == HELD else self.at + (wall - self.since)
        return moment.replace(microsecond=0)

    @property
    def is_by_hand(self) -> bool:
        """Whether now is something else than the wall clock's time."""
        return self.kind != WALL


def is_in_outing(moment: datetime, plan: TimedPlan) -> bool:
    """Whether a moment lies in the outing of a plan, or in the day before its PET 0."""
    return -_DAY_MIN <= pet_min(moment, plan.pet_zero) <= plan.horizon_min


def typed_moment(text: str, pet_zero: datetime, near: datetime) -> datetime:
    """UTC from what is typed on a console.

    PET as ``1:23``, ``1:23:30`` or minutes; UTC as ``13:02Z`` (of the day that lies nearest to ``near``), as
    GMT ``134/13:02`` (of the nearest year), or in full as ISO 8601. Raises `CellFault` for anything else.
    """
    text = text.strip()
    if clock := _UTC_TIME.fullmatch(text):
        hour, minute, second = (int(part or 0) for part in clock.groups())
        today = near.replace(hour=hour, minute=minute, second=second, microsecond=0)
        return _nearest(near, (today, today - timedelta(days=1), today + timedelta(days=1)))
    if gmt := _GMT_TIME.fullmatch(text):
        day, hour, minute, second = (int(part or 0) for part in gmt.groups())
        if not 1 <= day <= 366:
            raise CellFault("has no such day of the year; write GMT like 134/13:02")
        minutes = 1440.0 * (day - 1) + 60.0 * hour + minute + second / 60.0
        return _nearest(near, (moment_at(minutes, datetime(near.year + by, 1, 1, tzinfo=UTC))
                               for by in (-1, 0, 1)))
    try:
        return parse_when(text, pet_zero)
    except CellFault as fault:
        problem = str(fault).partition(";")[0]
        raise CellFault(f"{problem}; write PET like 1:23, or UTC like 13:02Z or 134/13:02") from None


def _nearest(near: datetime, moments: Iterable[datetime]) -> datetime:
    """The one of ``moments`` that lies nearest to ``near``, the first of equals."""
    return min(moments, key=lambda moment: abs(moment - near))


_BEFORE = (STARTED, SKIPPED)
_DURING = (FINISHED, PARTLY, SKIPPED)


@dataclass(frozen=True, kw_only=True)
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
    """One lane at now: its open steps, the one in progress first; ``between``: what is done between steps.

    ``title``: the name of a crew member, else what the actor is; empty where nobody says so.
    """

    who: str
    title: str
    is_crew: bool
    steps: tuple[OpenStep, ...]
    between: str


def lanes_now(plan: TimedPlan) -> list[LaneNow]:
    """Every lane of a re-timed plan that has steps: the crew, then the other actors."""
    outside, records = plan.known_outside("lanes"), plan.scenario.records
    activities = plan.bare_lanes
    crew = (LaneNow(each.crew, shortened(each.name, 40), True, _open_steps(plan, outside, each.crew),
                    _between(plan, outside, each.crew, activities[each.crew])) for each in records.crew)
    others = (LaneNow(actor.actor, actor.title, False, _open_steps(plan, outside, actor.actor), "")
              for actor in records.actors if work_order(outside.base.steps, actor.actor))
    return [*crew, *others]


def _open_steps(plan: TimedPlan, outside: Outside, who: str) -> tuple[OpenStep, ...]:
    base = outside.base
    states = [outside.states.by_step[base.steps[position].step] for position in work_order(base.steps, who)]
    last_min = max((state.pieces[-1][0] for state in states if state.pieces), default=math.nan)
    found = [_open_step(plan, outside, state, who) for state in states
             if state.status not in (DONE, DROPPED)
             # What the partner has finished stays while it is the last that this one has begun.
             or (state.status == DONE and _awaits(state, who) and state.pieces[-1][0] == last_min)]
    # What is in hand, then by start; what finds no place any more has none, and comes last.
    return tuple(sorted(found, key=lambda step: (step.status not in (IN_PROGRESS, DONE),
                                                 not math.isfinite(step.start_min), step.start_min)))


def _awaits(state: State, who: str) -> bool:
    return state.step.crew == BOTH and state.called_by != "" and state.called_by == PARTNER.get(who)


def _open_step(plan: TimedPlan, outside: Outside, state: State, who: str) -> OpenStep:
    name, is_running, awaits = state.step.step, state.status == IN_PROGRESS, _awaits(state, who)
    start, finish = times_of(plan, name)
    planned_start, planned_finish = times_of(outside.planned, name)
    late = finish - planned_finish if is_running else start - planned_start
    place = plan.place_title(state.step.place) if state.step.place else ""  # an actor's step may have none
    events = _DURING if is_running else (FINISHED,) if state.status == DONE else _BEFORE
    return OpenStep(step=name, title=state.step.title, place=place, status=state.status, start_min=start,
                    finish_min=finish, late_min=late, is_shared=state.step.crew == BOTH, awaits=awaits,
                    events=(STARTED, *events) if awaits and is_running else events)


def _between(plan: TimedPlan, outside: Outside, crew: str, activities: Sequence[Activity]) -> str:
    """What the re-timed plan has them do now if no step is in hand."""
    if crew in outside.states.at_work:
        return ""
    now = outside.now_min
    if now < 0:
        return "before PET 0"
    here = next((each for each in activities if each.start_min <= now < each.finish_min), None)
    if here is not None and here.kind in (TRAVEL, WAIT):
        return (f"on the way to {plan.place_title(here.to_place)}" if here.kind == TRAVEL else
                f"waiting at {plan.place_title(here.place)}")
    return "" if here is None or here.step else "going in"
