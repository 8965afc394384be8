"""An outing made for margins: not a minute of night is left, and EV2 waits almost two hours at a worksite."""

from __future__ import annotations

from pathlib import Path

import planning_kit as pk
from tests.edits import edited, with_row

SMALL = Path(__file__).parents[2] / "scenarios" / "small-outing"
NIGHT_LEFT_MIN = 0.95
WAIT_MIN = 112.0


def tight_outing(**limits: object) -> pk.Scenario:
    """The small outing with B3 so long that 0.95 min of night are left, and C3 112 min behind C2.

    L1, 5 min of EV2 alone behind C3, needs nothing of what is before it.
    """
    small = pk.load_scenario(SMALL)
    longer = small.with_settings({"horizon_h": 8.0, "limits.planned_min": 200, "limits.hard_min": 220,
                                  **{f"limits.{key}": value for key, value in limits.items()}})
    plan = pk.time_plan(longer).timed
    night_ends = float(plan.light.night[0][1]) - 1.0  # 60 s of guard
    minutes = night_ends - NIGHT_LEFT_MIN - plan.span("B3")[0]
    longer = edited(longer, "steps", "B3", minutes_low=11, minutes_likely=minutes, minutes_high=minutes + 5)
    gap = longer.table("gaps").astype(object)
    gap.loc[0, ["min_gap", "max_gap"]] = [WAIT_MIN, WAIT_MIN + 30.0]
    longer = longer.with_table("gaps", gap)
    at = int((longer.table("steps")["step"] == "C3").to_numpy().argmax()) + 1
    return with_row(longer, "steps", at, step="L1", task="CAS", crew="EV2", place="POR", exertion="light",
                    title="Look at the deck", minutes_low=4, minutes_likely=5, minutes_high=7)
