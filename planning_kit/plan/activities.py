"""What each crew member and actor does: work, travel and wait, in order, and the first tables of a plan.

The lanes come from the times alone. From lanes and times come the timeline, the summary and the hand-overs.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from math import inf
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.records import BOTH, Step
from planning_kit.inputs.setting_records import Settings
from planning_kit.inputs.shown_text import ShownTable, TextTable, one_line
from planning_kit.inputs.times import gmt_label, margin_label, moment_at, pet_label
from planning_kit.plan.build import is_outside, stops_into, travel_into, work_order
from planning_kit.plan.network import HATCH, TURN, Network, on_grid
from planning_kit.plan.plan_times import Times
from planning_kit.plan.timing import TravelFactor
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


Lanes = Mapping[str, tuple[Activity, ...]]


def lane_activities(times: Times) -> Lanes:
    """The activities of each lane in order: EV1, EV2, then the other actors.

    Without slack (NaN) and what holds them, each of which takes as long as the lanes; a wait for what holds a
    step is only called `WAIT`. `with_reasons` has it all.
    """
    lanes = {crew: tuple(_crew_lane(times, crew)) for crew in times.travels}
    return lanes | {a.actor: tuple(_actor_lane(times, a.actor)) for a in times.scenario.records.actors}


def with_reasons(times: Times, lanes: Lanes) -> Lanes:
    """The same lanes with what holds each step and its slack, which may rest on suits, and these on lanes."""
    slack = times.slack

    def told(activity: Activity) -> Activity:
        is_work = activity.kind == WORK
        if not activity.step or not (is_work or activity.title == WAIT):
            return activity
        position = times.position(activity.step)
        held_by = _held_by(times, position, activity.crew)
        if not is_work:
            return replace(activity, held_by=held_by, title=f"Wait for {_waited_for(held_by)}")
        return replace(activity, held_by=held_by, slack_to_plan_min=float(slack.to_plan[position]),
                       slack_to_limit_min=float(slack.to_limit[position]),
                       slack_to_window_min=float(slack.to_window[position]))

    return {lane: tuple(map(told, activities)) for lane, activities in lanes.items()}


def activity_at(lane: Sequence[Activity], at_min: float) -> Activity | None:
    """The activity of a lane that begins at or before that minute of PET and finishes after it."""
    begun = bisect_right(lane, at_min, key=lambda activity: activity.start_min)
    return next((lane[number] for number in range(begun - 1, -1, -1)
                 if at_min < lane[number].finish_min), None)


def minutes_of(activities: Iterable[Activity], kind: str) -> float:
    """How long the ``activities`` of one kind (work, travel, wait) take together, minutes."""
    return sum(each.minutes for each in activities if each.kind == kind)


@dataclass(frozen=True, eq=False, kw_only=True)
class Timings:
    """Many timings of one order of work, PET minutes; the last axis of all arrays, if any, is the timing.

    ``travel_factor`` scales the travel of each, but not that to the steps ``begun``, which is history.
    """

    steps: Sequence[Step]
    travels: Mapping[str, Travel]
    settings: Settings
    network: Network
    starts: np.ndarray
    durations: np.ndarray
    end_min: np.ndarray
    travel_factor: TravelFactor = field(default_factory=dict)
    begun: Mapping[str, float] = field(default_factory=dict)

    def only(self, which: np.ndarray) -> Timings:
        """Some of the timings, with durations on the grid as the timing has them."""
        factor = {crew: each[which] for crew, each in self.travel_factor.items()}
        return replace(self, starts=self.starts[:, which], durations=on_grid(self.durations[:, which]),
                       end_min=self.end_min[which], travel_factor=factor)


class Way(NamedTuple):
    """Minutes of a way into a step and of its part to where they wait; the PET before which none leaves.

    Numbers, or arrays (n,) of many timings.
    """

    whole_min: Any
    to_wait_min: Any
    opens_min: float


def way_into(settings: Settings, travel: Travel, step: Step, here: str,
             scale: np.ndarray | float = 1.0) -> Way:
    """The way from one place into a step; from the airlock to the outside the hatch is waited for."""
    # The network rounds the whole way to the grid at once: the legs must add up to just that.
    whole = on_grid(travel_into(step, travel, here) * scale + step.travel_extra_min)
    first = (here, *step.via_places, step.wait_at)
    opens, airlock = settings.airlock.hatch_open_min, settings.airlock_place
    is_held = opens is not None and here == airlock and is_outside(step, airlock)
    return Way(whole, on_grid(travel.time_over_min(first) * scale) if step.wait_at else whole,
               opens if is_held and opens is not None else -inf)


def walked_in(way: Way, now: Any, start: Any, least: Callable[..., Any] = min,
              most: Callable[..., Any] = max) -> tuple[Any, Any, Any]:
    """When one who is free at ``now`` leaves, has come to where they wait, goes on to begin at ``start``.

    ``least`` and ``most`` of two: those of numpy, where these are arrays.
    """
    whole = most(0.0, least(way.whole_min, start - now))  # less only where a log says they were quicker
    to_wait = least(way.to_wait_min, whole)
    leaves = most(now, least(way.opens_min, start - whole))
    return leaves, leaves + to_wait, start - (whole - to_wait)


@dataclass(frozen=True)
class Stretch:
    """One activity of a lane in each timing, which may take no time; ``step``: its position, -1 none.

    ``until_min`` is a number, or an array (n,) of many timings.
    ``title`` None is that of the step, or of the wait for what holds it; ``is_somewhere``: at a known place.
    """

    kind: str
    until_min: Any
    step: int = -1
    to_place: str = ""
    via: tuple[str, ...] = ()
    title: str | None = None
    held_by: str = ""
    is_somewhere: bool = True


def stretches(timings: Timings, crew: str) -> Iterator[Stretch]:
    """What one crew member does until the outing ends, in order, laid out for all timings at once.

    Of one timing (no last axis) in plain numbers, which takes a fraction of the time.
    """
    travel, airlock = timings.travels[crew], timings.settings.airlock_place
    is_one = np.ndim(timings.end_min) == 0
    least, most = (min, max) if is_one else (np.minimum, np.maximum)
    starts, durations = ((each.tolist() if is_one else each) for each in (timings.starts, timings.durations))
    here, now = airlock, 0.0 if is_one else np.zeros(np.shape(timings.end_min))
    factor = timings.travel_factor.get(crew, 1.0)
    turns = {turn.step: turn for turn in timings.network.releases if (turn.kind, turn.crew) == (TURN, crew)}
    for position in work_order(timings.steps, crew):
        step, start = timings.steps[position], starts[position]
        scale = 1.0 if step.step in timings.begun else factor
        turn = turns.get(position)
        if turn is not None and turn.name != here:
            # A decision found them underway to something else: there first, and until then.
            leave = turn.at_min - on_grid(travel_into(step, travel, turn.name) + step.travel_extra_min)
            there = now + on_grid(travel.time_min(here, turn.name) * scale)
            yield Stretch(TRAVEL, np.clip(there, now, most(leave, now)), position, turn.name)
            now, here = most(now, leave), turn.name
            yield Stretch(WAIT, now, position, title="Sent elsewhere")
        way = way_into(timings.settings, travel, step, here, scale)
        leaves, waits, goes_on = walked_in(way, now, start, least, most)
        if way.opens_min > -inf:
            yield Stretch(WAIT, leaves, position, title="Wait for the hatch", held_by=f"{HATCH}:hatch")
        if (way.whole_min if is_one else way.whole_min.any()) or {*stops_into(step)} - {here}:
            yield Stretch(TRAVEL, waits, position, step.wait_at or step.place, step.via_places)
        yield Stretch(WAIT, goes_on, position)
        if step.wait_at:
            yield Stretch(TRAVEL, start, position, step.place)
        now, here = start + durations[position], step.place or here
        yield Stretch(WORK, now, position, is_somewhere=bool(step.place))
    yield Stretch(TRAVEL, now + on_grid(travel.time_min(here, airlock) * factor), to_place=airlock)
    yield Stretch(WAIT, timings.end_min - timings.network.ends_min, title="Wait for the partner to ingress")
    yield Stretch(WORK, timings.end_min, title=INGRESS_TITLE)


def _crew_lane(times: Times, crew: str) -> Iterator[Activity]:
    """The stretches of one timing as activities, but for those of no time that are neither work nor a way."""
    settings = times.scenario.settings
    here, now, is_known = settings.airlock_place, 0.0, True
    for each in stretches(Timings(
            steps=times.steps, travels=times.travels, settings=settings, network=times.network,
            starts=times.starts, durations=times.durations, end_min=np.array(times.end_min)), crew):
        step, finish = times.steps[each.step] if each.step >= 0 else None, float(each.until_min)
        is_moving = each.kind == TRAVEL and {each.to_place, *each.via} != {here}
        if each.kind != WAIT:  # where they wait behind a step that is nowhere is not known either
            is_known = each.is_somewhere
        title = each.title
        if each.kind == TRAVEL:
            over = f" over {', '.join(map(times.place_title, each.via))}" if each.via else ""
            title = f"To {times.place_title(each.to_place)}{over}"
        elif title is None and step is not None:
            title = step.title if each.kind == WORK else WAIT
        if finish > now or each.kind == WORK or is_moving:
            yield Activity(
                crew, each.kind, step.step if step else "", step.task if step else "", title or "",
                here if is_known else "",
                each.to_place if is_moving else "", now, finish, held_by=each.held_by,
                via=each.via if is_moving else ())
        now, here = finish, each.to_place or here
    if times.safe_min > times.end_min:
        yield Activity(crew, WORK, "", "", REPRESS_TITLE, here, "", times.end_min, times.safe_min)


def _actor_lane(times: Times, actor: str) -> Iterator[Activity]:
    for position in work_order(times.steps, actor):
        step = times.steps[position]
        yield Activity(actor, WORK, step.step, step.task, step.title, step.place, "", *times.span(step.step))


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
        "logged": "the start",
    }
    return words.get(kind, name)


TIMELINE_COLUMNS = [
    "crew", "kind", "step", "task", "title", "place", "to_place", "start_min", "finish_min", "start_utc",
    "finish_utc", "slack_to_plan_min", "slack_to_limit_min", "slack_to_window_min", "held_by",
]
HANDOVER_COLUMNS = ["from_crew", "to_crew", "from_step", "to_step", "from_min", "to_min", "what"]
Handover = tuple[str, str, str, str, float, float, str]


def timeline_table(lanes: Mapping[str, Sequence[Activity]], pet_zero: datetime) -> pd.DataFrame:
    """One row an activity, by start and then lane (columns: see `TimedPlan.timeline`)."""
    order = {crew: number for number, crew in enumerate(lanes)}
    activities = sorted((activity for lane in lanes.values() for activity in lane),
                        key=lambda activity: (activity.start_min, order[activity.crew]))
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


def handover_table(times: Times) -> pd.DataFrame:
    """`find_handovers` as a table."""
    return ShownTable(find_handovers(times), columns=HANDOVER_COLUMNS)


def find_handovers(times: Times) -> list[Handover]:
    """Every hand-over (`HANDOVER_COLUMNS`), by time.

    ``what`` is ``after`` where the later step waits for another lane's step, or the item that one leaves and
    the other takes next. ``from_min`` is the finish of ``from_step``, ``to_min`` the start of ``to_step``,
    in PET minutes (equal for hand to hand).
    """
    rows: list[Handover] = []

    def add(before: Step, then: Step, from_crew: str, to_crew: str, what: str) -> None:
        rows.append((from_crew, to_crew, before.step, then.step, times.span(before.step)[1],
                     times.span(then.step)[0], what))

    for step in times.steps:
        for before in (times.steps[times.position(name)] for name in step.after):
            for crew in step.people:
                if len(before.people) == 1 and crew not in before.people:
                    add(before, step, before.people[0], crew, "after")
    left: dict[str, tuple[Step, str]] = {}
    # At one minute leaves come before takes (False before True): what is left can be taken at once.
    for at, is_take, step, move in sorted(times.item_moves(), key=lambda event: event[:2]):
        crew = move.crew or step.crew
        if is_take and move.item in left:
            giver, left_by = left.pop(move.item)
            if left_by != crew:
                add(giver, step, left_by, crew, move.item)
        elif not is_take and move.into in SUITED and move.into != crew:
            rows.append((crew, move.into, step.step, step.step, at, at, move.item))
        elif not is_take:
            left[move.item] = (step, crew)
    return sorted(rows, key=lambda row: row[4:6])
