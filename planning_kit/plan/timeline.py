"""The activities of all lanes as one table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime

import pandas as pd

from planning_kit.inputs.text_table import ShownTable
from planning_kit.plan.activities import Activity

TIMELINE_COLUMNS = [
    "crew", "kind", "step", "task", "title", "place", "to_place", "start_min", "finish_min", "start_utc",
    "finish_utc", "slack_to_plan_min", "slack_to_limit_min", "slack_to_window_min", "held_by",
]


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
