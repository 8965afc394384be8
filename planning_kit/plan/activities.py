"""What each crew member and actor does: work, travel and wait, in order, and the first tables of a plan.

The lanes come from the times alone. From lanes and times come the timeline, the summary and the hand-overs.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from math import inf
from typing import NamedTuple

import pandas as pd

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.records import BOTH, Step
from planning_kit.inputs.setting_records import Settings
from planning_kit.inputs.shown_text import ShownTable, TextTable, one_line
from planning_kit.inputs.times import gmt_label, margin_label, moment_at, pet_label
from planning_kit.plan.build import is_outside, travel_into, work_order
from planning_kit.plan.network import HATCH, TURN, Release, on_grid
from planning_kit.plan.plan_times import Times
from planning_kit.plan.travel import Travel

WORK, TRAVEL, WAIT = "work", "travel", "wait"
INGRESS_TITLE, REPRESS_TITLE = "Ingress", "Repressurisation"
_NOT_GIVEN = float("nan")


@dataclass(frozen=True)
class Activity:
    """One bar of one lane. PET and slack in minutes; NaN slack for travel and wait.

    ``step`` and ``task`` of travel and wait are those of the step that they lead to; both are "" on the way
    home, for ingress and for repressurisation after the end. ``place`` is where it begins, ``to_place`` where
    travel ends, ``via`` the places that it leads over as planned.
    """

    crew: str
    kind: str
    step: str
    task: str
    title: str
    place: str
    to_place: str
    start_min: float
    finish_min: float
    slack_to_plan_min: float = _NOT_GIVEN
    slack_to_limit_min: float = _NOT_GIVEN
    slack_to_window_min: float = _NOT_GIVEN
    held_by: str = ""
    via: tuple[str, ...] = ()

    @property
    def minutes(self) -> float:
        """How long it takes."""
        return self.finish_min - self.start_min

    def is_work_on(self, step: str) -> bool:
        """Whether this is the work of ``step`` ("" is no step)."""
        return self.kind == WORK and step != "" and self.step == step


def lane_activities(times: Times) -> dict[str, tuple[Activity, ...]]:
    """The activities of each lane in order, without slack (NaN): EV1, EV2, then the other actors."""
    lanes = {crew: tuple(_crew_lane(times, crew)) for crew in times.travels}
    return lanes | {a.actor: tuple(_actor_lane(times, a.actor)) for a in times.scenario.records.actors}


def with_slack(times: Times, lanes: Mapping[str, Sequence[Activity]]) -> dict[str, tuple[Activity, ...]]:
    """The same lanes with the slack of each step: it may rest on suits, which rest on the lanes."""
    slack = times.slack

    def slacked(activity: Activity) -> Activity:
        if activity.kind != WORK or not activity.step:
            return activity
        position = times.position(activity.step)
        return replace(activity, slack_to_plan_min=float(slack.to_plan[position]),
                       slack_to_limit_min=float(slack.to_limit[position]),
                       slack_to_window_min=float(slack.to_window[position]))

    return {lane: tuple(map(slacked, activities)) for lane, activities in lanes.items()}


def activity_at(lane: Sequence[Activity], at_min: float) -> Activity | None:
    """The activity of a lane that begins at or before that minute of PET and finishes after it."""
    begun = bisect_right(lane, at_min, key=lambda activity: activity.start_min)
    return next((lane[number] for number in range(begun - 1, -1, -1)
                 if at_min < lane[number].finish_min), None)


def minutes_of(activities: Iterable[Activity], kind: str) -> float:
    """How long the ``activities`` of one kind (work, travel, wait) take together, minutes."""
    return sum(each.minutes for each in activities if each.kind == kind)


@dataclass
class _Lane:
    """One crew member walking through the plan; ``here`` and ``now`` move as activities are added."""

    times: Times
    crew: str
    here: str
    now: float = 0.0
    done: list[Activity] = field(default_factory=list)

    def add(self, kind: str, finish: float, title: str, step: Step | None = None, to_place: str = "",
            held_by: str = "", via: tuple[str, ...] = ()) -> None:
        """An activity from now to ``finish``; none where no time passes, except for work and moving on."""
        if finish > self.now or kind == WORK or to_place:
            self.done.append(Activity(
                self.crew, kind, step=step.step if step else "", task=step.task if step else "", title=title,
                place=self.here, to_place=to_place, start_min=self.now, finish_min=finish, held_by=held_by,
                via=via))
        self.now = finish
        self.here = to_place or self.here

    def go(self, to_place: str, finish: float, step: Step | None = None, via: tuple[str, ...] = ()) -> None:
        """Travel until ``finish``, which may take no time when the place is the same."""
        over = f" over {', '.join(map(self.times.place_title, via))}" if via else ""
        is_moving = to_place != self.here or any(place != self.here for place in via)
        self.add(TRAVEL, finish, f"To {self.times.place_title(to_place)}{over}", step,
                 to_place if is_moving else "", via=via if is_moving else ())

    def work(self, position: int, held_by: str) -> None:
        """The step at ``position``, at its start."""
        step = self.times.steps[position]
        self.now = float(self.times.starts[position])
        self.add(WORK, float(self.times.finishes[position]), step.title, step, held_by=held_by)


class Way(NamedTuple):
    """Minutes of a way into a step and of its part to where they wait; the PET before which none leaves."""

    whole_min: float
    to_wait_min: float
    opens_min: float


def way_into(settings: Settings, travel: Travel, step: Step, here: str) -> Way:
    """The way from one place into a step; from the airlock to the outside the hatch is waited for."""
    # The network rounds the whole way to the grid at once: the legs must add up to just that.
    whole = float(on_grid(travel_into(step, travel, here) + step.travel_extra_min))
    first = (here, *step.via_places, step.wait_at)
    opens, airlock = settings.airlock.hatch_open_min, settings.airlock_place
    is_held = opens is not None and here == airlock and is_outside(step, airlock)
    return Way(whole, float(on_grid(travel.time_over_min(first))) if step.wait_at else whole,
               opens if is_held and opens is not None else -inf)


def walked_in(way: Way, now: float, start: float) -> tuple[float, float, float]:
    """When one who is free at ``now`` leaves, has come to where they wait, goes on to begin at ``start``."""
    whole = max(0.0, min(way.whole_min, start - now))  # less only where a log says they were quicker
    to_wait = min(way.to_wait_min, whole)
    leaves = max(now, min(way.opens_min, start - whole))
    return leaves, leaves + to_wait, start - (whole - to_wait)


def _crew_lane(times: Times, crew: str) -> list[Activity]:
    travel, airlock = times.travels[crew], times.scenario.settings.airlock_place
    lane = _Lane(times, crew, airlock)
    turns = {release.step: release for release in times.network.releases
             if (release.kind, release.crew) == (TURN, crew)}
    for position in work_order(times.steps, crew):
        step, start = times.steps[position], float(times.starts[position])
        held_by = _held_by(times, position, crew)
        if position in turns:
            _turn(lane, turns[position])
        way = way_into(times.scenario.settings, travel, step, lane.here)
        leaves, waits, goes_on = walked_in(way, lane.now, start)
        lane.add(WAIT, leaves, f"Wait for {_waited_for(HATCH)}", step, held_by=f"{HATCH}:hatch")
        lane.go(step.wait_at or step.place, waits, step, step.via_places)
        lane.add(WAIT, goes_on, f"Wait for {_waited_for(held_by)}", step, held_by=held_by)
        lane.go(step.place, start, step)
        lane.work(position, held_by)
    lane.go(airlock, lane.now + float(on_grid(travel.time_min(lane.here, airlock))))
    lane.add(WAIT, times.end_min - times.network.ends_min, "Wait for the partner to ingress")
    lane.add(WORK, times.end_min, INGRESS_TITLE)
    if times.safe_min > times.end_min:
        lane.add(WORK, times.safe_min, REPRESS_TITLE)
    return lane.done


def _turn(lane: _Lane, turn: Release) -> None:
    """Where a decision found them underway to something else: there first, and until then."""
    times, step = lane.times, lane.times.steps[turn.step]
    if turn.name == lane.here:
        return
    travel = times.travels[lane.crew]
    leave = turn.at_min - float(on_grid(travel_into(step, travel, turn.name) + step.travel_extra_min))
    way = min(float(on_grid(travel.time_min(lane.here, turn.name))), max(0.0, leave - lane.now))
    lane.go(turn.name, lane.now + way, step)
    lane.add(WAIT, leave, "Sent elsewhere", step)


def _actor_lane(times: Times, actor: str) -> list[Activity]:
    lane = _Lane(times, actor, "")
    for position in work_order(times.steps, actor):
        lane.here = times.steps[position].place
        lane.work(position, _held_by(times, position, actor))
    return lane.done


def _held_by(times: Times, position: int, crew: str) -> str:
    return times.holders.for_crew(position, crew, shared=times.steps[position].crew == BOTH).text


def _waited_for(held_by: str) -> str:
    kind, _, name = held_by.partition(":")
    if kind == "light":
        return name.replace("-", " ")
    words = {
        "group": f"the window of {name}",
        "link": "a link",
        "late": f"{name} (as late as it can)",
        "late_end": f"the end of {name.replace('-', ' ')} (as late as it can)",
        "max_gap": f"{name}, which must follow closely",
        "min_gap": f"the gap after {name}",
        "now": "the start, not called yet",
        "turn": "a decision",
        "hatch": "the hatch",
        "logged": "the start",
    }
    return words.get(kind, name)


TIMELINE_COLUMNS = [
    "crew", "kind", "step", "task", "title", "place", "to_place", "start_min", "finish_min", "start_utc",
    "finish_utc", "slack_to_plan_min", "slack_to_limit_min", "slack_to_window_min", "held_by",
]
HANDOVER_COLUMNS = ["from_crew", "to_crew", "from_step", "to_step", "from_min", "to_min", "what"]


def timeline_table(lanes: Mapping[str, Sequence[Activity]], pet_zero: datetime) -> pd.DataFrame:
    """One row an activity, by start and then lane (columns: see `TimedPlan.timeline`)."""
    order = {crew: number for number, crew in enumerate(lanes)}
    activities = sorted(
        (activity for lane in lanes.values() for activity in lane),
        key=lambda activity: (activity.start_min, order[activity.crew]),
    )
    frame = ShownTable([asdict(activity) for activity in activities], columns=TIMELINE_COLUMNS)
    for end in ("start", "finish"):
        frame[f"{end}_utc"] = pd.Timestamp(pet_zero) + pd.to_timedelta(frame[f"{end}_min"], unit="min")
    return frame


def summarise(times: Times, lanes: Mapping[str, Sequence[Activity]]) -> pd.DataFrame:
    """``item`` and ``value`` (words and PET labels): when, how long, against which limits, how spent."""
    settings, limits = times.scenario.settings, times.scenario.settings.limits
    nights = int((times.light.night[:, 0] < times.end_min).sum())
    rows = [
        ("Station", settings.station),
        ("PET 0:00", f"{times.pet_zero:%Y-%m-%d} GMT {gmt_label(times.pet_zero)}"),
        ("PET 0:00 is", one_line(settings.pet_zero_event) or "not given"),
        ("Both inside", _moment(times.end_min, times.pet_zero)),
        ("The outing ends when", one_line(settings.outing_end_words)),
        *([("Pressure can be breathed", _moment(times.safe_min, times.pet_zero))]
          if times.safe_min > times.end_min else []),
        ("Planned limit", _against(limits.planned_min, times.end_min)),
        ("Hard limit", _against(times.hard_min, times.end_min, times.hard_limit.why)),
        ("Nights begun by then", str(nights)),
    ]
    for crew in times.travels:
        spent = [f"{kind} {pet_label(minutes_of(lanes[crew], kind))}" for kind in (WORK, TRAVEL, WAIT)]
        rows.append((crew, ", ".join(spent)))
    return TextTable(rows, columns=["item", "value"])


def _moment(at_min: float, pet_zero: datetime) -> str:
    return f"PET {pet_label(at_min)}, GMT {gmt_label(moment_at(at_min, pet_zero))}"


def _against(limit: float, end: float, why: str = "") -> str:
    return f"{pet_label(limit, 'down')} ({margin_label(limit - end)}{why and f'; {why}'})"


def find_handovers(times: Times) -> pd.DataFrame:
    """One row a hand-over, by time.

    ``what`` is ``after`` where the later step waits for another lane's step, or the item that one leaves and
    the other takes next. ``from_min`` is the finish of ``from_step``, ``to_min`` the start of ``to_step``,
    in PET minutes (equal for hand to hand).
    """
    rows = [*_waits(times), *_item_rows(times)]
    frame = ShownTable(rows, columns=HANDOVER_COLUMNS)
    return frame.sort_values(["from_min", "to_min"], kind="stable").reset_index(drop=True)


_Handover = tuple[str, str, str, str, float, float, str]
"""The columns of `find_handovers`."""


def _waits(times: Times) -> Iterator[_Handover]:
    for step in times.steps:
        for before in (times.steps[times.position(name)] for name in step.after):
            for crew in step.people:
                if len(before.people) == 1 and crew not in before.people:
                    yield _row(times, before, step, before.people[0], crew, "after")


def _item_rows(times: Times) -> Iterator[_Handover]:
    left: dict[str, tuple[Step, str]] = {}
    # At one minute leaves come before takes (False before True): what is left can be taken at once.
    for at, is_take, step, move in sorted(times.item_moves(), key=lambda event: event[:2]):
        crew = move.crew or step.crew
        if is_take and move.item in left:
            giver, left_by = left.pop(move.item)
            if left_by != crew:
                yield _row(times, giver, step, left_by, crew, move.item)
        elif not is_take and move.into in SUITED and move.into != crew:
            yield crew, move.into, step.step, step.step, at, at, move.item
        elif not is_take:
            left[move.item] = (step, crew)


def _row(times: Times, before: Step, then: Step, from_crew: str, to_crew: str, what: str) -> _Handover:
    (_, finish), (start, _) = times.span(before.step), times.span(then.step)
    return from_crew, to_crew, before.step, then.step, finish, start, what
