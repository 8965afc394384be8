"""The plan as tables: what all lanes do, where one waits for another, and the whole in a dozen lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime

import pandas as pd

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.records import ItemMove, Step
from planning_kit.inputs.text_table import ShownTable, TextTable
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.activities import TRAVEL, WAIT, WORK, Activity
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.plan_times import Times

TIMELINE_COLUMNS = [
    "crew", "kind", "step", "task", "title", "place", "to_place", "start_min", "finish_min", "start_utc",
    "finish_utc", "slack_to_plan_min", "slack_to_limit_min", "slack_to_window_min", "held_by",
]
HANDOVER_COLUMNS = ["from_crew", "to_crew", "from_step", "to_step", "from_min", "to_min", "what"]


def timeline_table(lanes: Mapping[str, Sequence[Activity]], egress: datetime) -> pd.DataFrame:
    """One row an activity, by start and then lane (columns: see `TimedPlan.timeline`)."""
    order = {crew: number for number, crew in enumerate(lanes)}
    activities = sorted(
        (activity for lane in lanes.values() for activity in lane),
        key=lambda activity: (activity.start_min, order[activity.crew]),
    )
    frame = ShownTable([asdict(activity) for activity in activities], columns=TIMELINE_COLUMNS)
    for end in ("start", "finish"):
        frame[f"{end}_utc"] = pd.Timestamp(egress) + pd.to_timedelta(frame[f"{end}_min"], unit="min")
    return frame


def summarise(times: Times, lanes: Mapping[str, Sequence[Activity]]) -> pd.DataFrame:
    """``item`` and ``value`` (words and PET labels): when, how long, against which limits, how spent."""
    settings, limits = times.scenario.settings, times.scenario.settings.limits
    inside = moment_at(times.end_min, times.egress)
    nights = int((times.light.night[:, 0] < times.end_min).sum())
    rows = [
        ("Station", settings.station),
        ("Egress, PET 0:00", f"{times.egress:%Y-%m-%d} GMT {gmt_label(times.egress)}"),
        ("Both inside", f"PET {pet_label(times.end_min)}, GMT {gmt_label(inside)}"),
        ("Planned limit", _against(limits.planned_min, times.end_min)),
        ("Hard limit", _against(limits.hard_min, times.end_min)),
        ("Nights begun by then", str(nights)),
    ]
    for crew in times.travels:
        minutes = {kind: sum(a.minutes for a in lanes[crew] if a.kind == kind)
                   for kind in (WORK, TRAVEL, WAIT)}
        spent = [f"{kind} {pet_label(total)}" for kind, total in minutes.items()]
        rows.append((crew, ", ".join(spent)))
    return TextTable(rows, columns=["item", "value"])


def _against(limit: float, end: float) -> str:
    margin = limit - end
    return f"{pet_label(limit)} ({pet_label(abs(margin))} {'left' if margin >= -ROUNDING_MIN else 'over'})"


def find_handovers(times: Times) -> pd.DataFrame:
    """One row a hand-over, by time.

    ``what`` is ``after`` where the later step waits for another lane's step, or the item that one leaves and
    the other takes next. ``from_min`` is the finish of ``from_step``, ``to_min`` the start of ``to_step``,
    in PET minutes (equal for hand to hand).
    """
    rows = [*_waits(times), *_item_rows(times)]
    frame = ShownTable(rows, columns=HANDOVER_COLUMNS)
    return frame.sort_values(["from_min", "to_min"], kind="stable").reset_index(drop=True)


def _waits(times: Times) -> Iterator[tuple[str, str, str, str, float, float, str]]:
    for step in times.steps:
        for name in step.after:
            before = times.steps[times.position(name)]
            waiting = [crew for crew in step.people if crew not in before.people]
            for crew in waiting:
                if len(before.people) == 1:
                    yield _row(times, before, step, before.people[0], crew, "after")


def _item_rows(times: Times) -> Iterator[tuple[str, str, str, str, float, float, str]]:
    left: dict[str, tuple[Step, str]] = {}
    for _, is_take, step, move in sorted(_moves(times), key=lambda event: event[:2]):
        crew = move.crew or step.crew
        if is_take and move.item in left:
            giver, left_by = left.pop(move.item)
            if left_by != crew:
                yield _row(times, giver, step, left_by, crew, move.item)
        elif not is_take and move.into in SUITED and move.into != crew:
            finish = float(times.finishes[times.position(step.step)])
            yield crew, move.into, step.step, step.step, finish, finish, move.item
        elif not is_take:
            left[move.item] = (step, crew)


def _moves(times: Times) -> Iterator[tuple[float, bool, Step, ItemMove]]:
    for position, step in enumerate(times.steps):
        for move in step.takes:
            yield float(times.starts[position]), True, step, move
        for move in step.leaves:
            yield float(times.finishes[position]), False, step, move


def _row(times: Times, before: Step, then: Step, from_crew: str, to_crew: str,
         what: str) -> tuple[str, str, str, str, float, float, str]:
    finish = float(times.finishes[times.position(before.step)])
    start = float(times.starts[times.position(then.step)])
    return from_crew, to_crew, before.step, then.step, finish, start, what
