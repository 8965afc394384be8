"""What each lane does, minute by minute: work, travel and wait, in order."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from planning_kit.inputs.records import BOTH, Step
from planning_kit.plan.build import travel_into, work_order
from planning_kit.plan.network import TURN, Release, on_grid
from planning_kit.plan.plan_times import PlanTimes

WORK, TRAVEL, WAIT = "work", "travel", "wait"
INGRESS_TITLE = "Ingress"
_NOT_GIVEN = float("nan")


@dataclass(frozen=True)
class Activity:
    """One bar of one lane. PET and slack in minutes; NaN slack for travel and wait.

    ``step`` and ``task`` of travel and wait are those of the step that they lead to; both are "" on the way
    home and for ingress. ``place`` is where it begins, ``to_place`` where travel ends.
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

    @property
    def minutes(self) -> float:
        """How long it takes."""
        return self.finish_min - self.start_min

    def is_work_on(self, step: str) -> bool:
        """Whether this is the work of ``step`` ("" is no step)."""
        return self.kind == WORK and step != "" and self.step == step


def lane_activities(times: PlanTimes, with_slack: bool = True) -> dict[str, tuple[Activity, ...]]:
    """The activities of each lane in order: EV1, EV2, then the other actors.

    Without slack (NaN) they come in half the time, for a chart that is drawn at every edit.
    """
    lanes = {crew: tuple(_crew_lane(times, crew, with_slack)) for crew in times.travels}
    lanes |= {a.actor: tuple(_actor_lane(times, a.actor, with_slack)) for a in times.scenario.records.actors}
    return lanes


def activity_at(lane: Sequence[Activity], at_min: float) -> Activity | None:
    """The activity of a lane that begins at or before that minute of PET and finishes after it."""
    begun = bisect_right(lane, at_min, key=lambda activity: activity.start_min)
    return next((lane[number] for number in range(begun - 1, -1, -1)
                 if at_min < lane[number].finish_min), None)


@dataclass
class _Lane:
    """One crew member walking through the plan; ``here`` and ``now`` move as activities are added."""

    times: PlanTimes
    crew: str
    here: str
    with_slack: bool
    now: float = 0.0
    done: list[Activity] = field(default_factory=list)

    def add(self, kind: str, finish: float, title: str, step: Step | None = None, to_place: str = "",
            held_by: str = "") -> None:
        """An activity from now to ``finish``; none where no time passes, except for work and moving on."""
        if finish > self.now or kind == WORK or to_place:
            self.done.append(Activity(
                self.crew, kind, step=step.step if step else "", task=step.task if step else "", title=title,
                place=self.here, to_place=to_place, start_min=self.now, finish_min=finish, held_by=held_by,
                **self._slack(kind, step),
            ))
        self.now = finish
        self.here = to_place or self.here

    def go(self, to_place: str, minutes: float, step: Step | None = None) -> None:
        """Travel, which may take no time when the place is the same."""
        title = f"To {self.times.place_title(to_place)}"
        self.add(TRAVEL, self.now + minutes, title, step, to_place if to_place != self.here else "")

    def work(self, position: int, held_by: str) -> None:
        """The step at ``position``, at its start."""
        step = self.times.steps[position]
        self.now = float(self.times.starts[position])
        self.add(WORK, float(self.times.finishes[position]), step.title, step, held_by=held_by)

    def _slack(self, kind: str, step: Step | None) -> dict[str, float]:
        if kind != WORK or step is None or not self.with_slack:
            return {}
        position, slack = self.times.position(step.step), self.times.slack
        return {
            "slack_to_plan_min": float(slack.to_plan[position]),
            "slack_to_limit_min": float(slack.to_limit[position]),
            "slack_to_window_min": float(slack.to_window[position]),
        }


def _crew_lane(times: PlanTimes, crew: str, with_slack: bool) -> list[Activity]:
    travel, airlock = times.travels[crew], times.scenario.settings.airlock
    lane = _Lane(times, crew, airlock, with_slack)
    turns = {release.step: release for release in times.network.releases
             if (release.kind, release.crew) == (TURN, crew)}
    for position in work_order(times.steps, crew):
        step, start = times.steps[position], float(times.starts[position])
        held_by = _held_by(times, position, crew)
        if position in turns:
            _turn(lane, turns[position])
        # The network rounds the whole way to the grid at once: the legs must add up to just that.
        whole_way = float(on_grid(travel_into(step, travel, lane.here) + step.travel_extra_min))
        whole_way = max(0.0, min(whole_way, start - lane.now))  # less only where a log says they were quicker
        to_wait = float(on_grid(travel.time_min(lane.here, step.wait_at))) if step.wait_at else whole_way
        to_wait = min(to_wait, whole_way)
        lane.go(step.wait_at or step.place, to_wait, step)
        waited_for = f"Wait for {_waited_for(held_by)}"
        lane.add(WAIT, start - (whole_way - to_wait), waited_for, step, held_by=held_by)
        lane.go(step.place, whole_way - to_wait, step)
        lane.work(position, held_by)
    lane.go(airlock, float(on_grid(travel.time_min(lane.here, airlock))))
    lane.add(WAIT, times.end_min - times.network.ingress_min, "Wait for the partner to ingress")
    lane.add(WORK, times.end_min, INGRESS_TITLE)
    return lane.done


def _turn(lane: _Lane, turn: Release) -> None:
    """Where a decision found them underway to something else: there first, and until then."""
    times, step = lane.times, lane.times.steps[turn.step]
    if turn.name == lane.here:
        return
    travel = times.travels[lane.crew]
    leave = turn.at_min - float(on_grid(travel_into(step, travel, turn.name) + step.travel_extra_min))
    way = min(float(on_grid(travel.time_min(lane.here, turn.name))), max(0.0, leave - lane.now))
    lane.go(turn.name, way, step)
    lane.add(WAIT, leave, "Sent elsewhere", step)


def _actor_lane(times: PlanTimes, actor: str, with_slack: bool) -> Iterator[Activity]:
    lane = _Lane(times, actor, "", with_slack)
    for position in work_order(times.steps, actor):
        lane.here = times.steps[position].place
        lane.work(position, _held_by(times, position, actor))
    yield from lane.done


def _held_by(times: PlanTimes, position: int, crew: str) -> str:
    is_shared = times.steps[position].crew == BOTH
    return times.holders.for_crew(position, crew, is_shared).text


def _waited_for(held_by: str) -> str:
    kind, _, name = held_by.partition(":")
    if kind == "light":
        return name.replace("-", " ")
    words = {
        "group": f"the window of {name}",
        "link": "a link",
        "max_gap": f"{name}, which must follow closely",
        "min_gap": f"the gap after {name}",
        "now": "the start, not called yet",
        "turn": "a decision",
        "logged": "the start",
    }
    return words.get(kind, name)
