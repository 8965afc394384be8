"""Outings of some size for measuring better orders: one from the demo, and random ones of any length."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

import planning_kit as pk
from tests.conftest import TERN

SCENARIOS = Path(__file__).parents[3] / "scenarios"
_NOT_IN_HALF_A_DAY = ("REG", "INS", "HTR", "SMP", "ANT", "LMP", "SHD")


def half_a_day(without: tuple[str, ...] = _NOT_IN_HALF_A_DAY) -> pk.Scenario:
    """Forty steps of the demo as it stands, without its big exchange and the small work around it.

    What is left: the limit switch at the knuckle with the shared foothold, the data cable, the photo survey
    (day, quiet jets, the camera from hand to hand), the star sensor with its cold clock, the vent with its
    two gaps, out and back, an operator and a desk. Two tasks may be traded, one may be left out. Items that
    nobody touches any more may stay where they are.
    """
    demo = pk.load_scenario(TERN)
    left = pk.time_plan(demo).what_if(drop=without).scenario
    touched = " ".join(left.steps[column].str.cat(sep=" ")
                       for column in ("takes", "leaves", "uses", "foothold"))
    hardware = left.hardware
    hardware["end_at"] = hardware["end_at"].where([item in touched for item in hardware["item"]], "")
    return left.with_table("hardware", hardware)


def outing_of(count: int) -> pk.Scenario:
    """The small outing's station with ``count`` steps in tasks of three, some at night, in a random order."""
    small = pk.load_scenario(SCENARIOS / "small-outing")
    small = small.with_settings({"limits.planned_min": 12.0 * count, "limits.hard_min": 14.0 * count,
                                 "horizon_h": 0.3 * count + 3})
    for table in ("gaps", "inhibits"):
        small = small.with_table(table, small.table(table)[:0])
    random = np.random.default_rng(count)
    tasks = [{"task": f"T{n}", "title": f"T{n}", "need": "required", "priority": 1, "swappable": "no"}
             for n in range((count + 2) // 3)]
    rows = [_row(0, "T0", "both", "HAT", 10)]
    for number in range(1, count - 1):
        task = number // 3
        rows.append(_row(number, f"T{task}", ("EV1", "EV2")[task % 2],
                         str(random.choice(["HAT", "MID", "POR"])), int(random.integers(3, 12)),
                         "night" if random.random() < 0.1 else "any"))
    rows.append(_row(count - 1, tasks[-1]["task"], "both", "HAT", 10))
    changed = _with(small, "tasks", [*tasks, *small.tasks.to_dict("records")])
    changed = _with(changed, "steps", rows)
    changed = changed.with_table("tasks", frame_of(small, "tasks", tasks))
    return changed.with_table("hardware", changed.hardware[:0])


def _row(number: int, task: object, crew: str, place: str, minutes: int,
         light: str = "any") -> dict[str, object]:
    return {"step": f"S{number}", "task": task, "crew": crew, "place": place, "title": f"S{number}",
            "minutes_low": minutes, "minutes_likely": minutes, "minutes_high": minutes, "light": light,
            "exertion": "light"}


def frame_of(scenario: pk.Scenario, table: str, rows: list[dict[str, object]]) -> pd.DataFrame:
    """Rows as a table of a scenario; cells not named are empty."""
    columns = scenario.table(table).columns
    return pd.DataFrame([{column: row.get(column, "") for column in columns} for row in rows],
                        columns=columns, dtype=object)


def _with(scenario: pk.Scenario, table: str, rows: list[dict[str, object]]) -> pk.Scenario:
    return scenario.with_table(table, frame_of(scenario, table, rows))
