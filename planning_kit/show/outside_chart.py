"""What a chart of a plan that is under way shows beside the plan: now, and what is done or in hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from planning_kit.inputs.log_steps import DONE, IN_PROGRESS
from planning_kit.plan.activities import WORK
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import Outside, TimedPlan
from planning_kit.show.live_chart import live_chart

PAST, RUNNING, AHEAD = "past", "running", "ahead"


def outside_chart(plan: TimedPlan, ghosts: TimedPlan, ghost_name: str) -> dict[str, Any]:
    """`live_chart` of a re-timed plan with ``now`` (PET min), what the ghosts are, and each bar's phase.

    ``phases`` are in the order of ``bars``: past, running or ahead. A step is past when it was called
    finished, not when its estimate is used up.
    """
    chart, outside = live_chart(plan, ghosts), plan.known_outside("the chart")
    chart["phases"] = [_phase(bar, outside) for bar in chart["bars"]]
    return chart | {"now": round(outside.now_min, 4), "ghost_name": ghost_name}


def _phase(bar: Sequence[Any], outside: Outside) -> str:
    step, _, kind, start, finish = bar[:5]
    if kind == WORK and step:
        if step in outside.happened.parts:
            return PAST
        return {DONE: PAST, IN_PROGRESS: RUNNING}.get(outside.states.by_step[step].status, AHEAD)
    if finish <= outside.now_min + ROUNDING_MIN:
        return PAST
    return RUNNING if start < outside.now_min else AHEAD
