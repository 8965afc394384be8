"""The plan as rows: work, travel and wait of each lane."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from planning_kit.inputs.records import BOTH, Step
from planning_kit.inputs.times import moment_at
from planning_kit.plan.build import travel_into, work_order
from planning_kit.plan.network import on_grid

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan

TIMELINE_COLUMNS = [
    "crew", "kind", "step", "task", "title", "place", "to_place", "start_min", "finish_min", "start_utc",
    "finish_utc", "slack_to_plan_min", "slack_to_limit_min", "slack_to_window_min", "held_by",
]
WORK, TRAVEL, WAIT = "work", "travel", "wait"
INGRESS_TITLE = "Ingress"


@dataclass
class _Lane:
    """One crew member walking through the plan; ``here`` and ``now`` move as rows are added."""

    plan: TimedPlan
    crew: str
    here: str
    now: float = 0.0
    rows: list[dict[str, Any]] = field(default_factory=list)

    def add(self, kind: str, finish: float, title: str, step: Step | None = None, to_place: str = "",
            **extra: object) -> None:
        """A row from now to ``finish``; nothing where no time passes, except for work."""
        if finish > self.now or kind == WORK:
            self.rows.append({
                "crew": self.crew, "kind": kind, "step": step.step if step else "",
                "task": step.task if step else "", "title": title, "place": self.here, "to_place": to_place,
                "start_min": self.now, "finish_min": finish, **extra,
            })
        self.now = finish
        self.here = to_place or self.here

    def go(self, to_place: str, minutes: float, step: Step | None = None) -> None:
        """Travel, which may take no time when the place is the same."""
        title = f"To {self.plan.place_title(to_place)}"
        self.add(TRAVEL, self.now + minutes, title, step, to_place if to_place != self.here else "")


def build_timeline(plan: TimedPlan) -> pd.DataFrame:
    """All rows of a timed plan, by start (see `TimedPlan.timeline`)."""
    rows = [row for crew in plan.travels for row in _crew_rows(plan, crew)]
    rows += [row for actor in plan.scenario.records.actors for row in _actor_rows(plan, actor.actor)]
    frame = pd.DataFrame(rows, columns=TIMELINE_COLUMNS)
    for column in ("start", "finish"):
        moments = [moment_at(minute, plan.egress) for minute in frame[f"{column}_min"]]
        frame[f"{column}_utc"] = pd.to_datetime(pd.Series(moments, dtype="object"), utc=True)
    frame["held_by"] = frame["held_by"].fillna("")
    lanes = {name: number for number, name in enumerate(dict.fromkeys(frame["crew"]))}
    by_start = frame.assign(lane=frame["crew"].map(lanes)).sort_values(["start_min", "lane"], kind="stable")
    return by_start.drop(columns="lane").reset_index(drop=True)


def _crew_rows(plan: TimedPlan, crew: str) -> list[dict[str, Any]]:
    travel, airlock = plan.travels[crew], plan.scenario.settings.airlock
    lane = _Lane(plan, crew, here=airlock)
    for position in work_order(plan.steps, crew):
        step, start = plan.steps[position], float(plan.starts[position])
        held_by = _held_by(plan, position, crew)
        # The network rounds the whole way to the grid at once: the legs must add up to just that.
        whole_way = float(on_grid(travel_into(step, travel, lane.here) + step.travel_extra_min))
        to_wait = float(on_grid(travel.time_min(lane.here, step.wait_at))) if step.wait_at else whole_way
        lane.go(step.wait_at or step.place, to_wait, step)
        waited_for = f"Wait for {_waited_for(held_by)}"
        lane.add(WAIT, start - (whole_way - to_wait), waited_for, step, held_by=held_by)
        lane.go(step.place, whole_way - to_wait, step)
        _add_work(plan, lane, position, held_by)
    lane.go(airlock, float(on_grid(travel.time_min(lane.here, airlock))))
    ingress_start = plan.end_min - plan.network.ingress_min
    lane.add(WAIT, ingress_start, "Wait for the partner to ingress")
    lane.add(WORK, plan.end_min, INGRESS_TITLE)
    return lane.rows


def _actor_rows(plan: TimedPlan, actor: str) -> Iterator[dict[str, Any]]:
    lane = _Lane(plan, actor, here="")
    for position in work_order(plan.steps, actor):
        lane.here, lane.now = plan.steps[position].place, float(plan.starts[position])
        _add_work(plan, lane, position, _held_by(plan, position, actor))
    yield from lane.rows


def _add_work(plan: TimedPlan, lane: _Lane, position: int, held_by: str) -> None:
    step = plan.steps[position]
    lane.now = float(plan.starts[position])
    lane.add(
        WORK, float(plan.finishes[position]), step.title, step, held_by=held_by,
        slack_to_plan_min=plan.slack.to_plan[position], slack_to_limit_min=plan.slack.to_limit[position],
        slack_to_window_min=plan.slack.to_window[position],
    )


def _held_by(plan: TimedPlan, position: int, crew: str) -> str:
    is_shared = plan.steps[position].crew == BOTH
    return plan.holders.for_crew(position, crew, is_shared).text


def _waited_for(held_by: str) -> str:
    kind, _, name = held_by.partition(":")
    if kind == "light":
        return name.replace("-", " ")
    words = {
        "group": f"the window of {name}",
        "link": "a link",
        "max_gap": f"{name}, which must follow closely",
        "min_gap": f"the gap after {name}",
    }
    return words.get(kind, name)


def minutes_of(frame: pd.DataFrame, crew: str, kind: str) -> float:
    """Minutes that one crew member spends on one kind of activity."""
    rows = frame[(frame["crew"] == crew) & (frame["kind"] == kind)]
    return float(np.sum(rows["finish_min"] - rows["start_min"]))
