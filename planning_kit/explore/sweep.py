"""The same work at other egress times: the finish as a function of when they go out."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pandas as pd

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import as_utc
from planning_kit.plan.activities import WAIT
from planning_kit.plan.timed import TimedPlan

SWEEP_COLUMNS = ["egress", "end_min", "planned_margin_min", "hard_margin_min", "wait_min", "reason"]
_MOST_ROWS = 20_000


def sweep_egress(scenario: Scenario, start: str | date | datetime, stop: str | date | datetime,
                 every_min: float) -> pd.DataFrame:
    """Time the scenario at every ``every_min`` minutes of egress from ``start`` to ``stop`` (UTC, both ends).

    One plan a row: ``egress``, ``end_min`` (PET at which both are inside), margins to the planned and the
    hard limit (negative: past it), ``wait_min`` (both crew members' waits together). A row without a plan
    has NaN numbers and says why in ``reason``. Raises `ScenarioError` when the range makes no sense.
    """
    first, last = as_utc(start, "start"), as_utc(stop, "stop")
    if not every_min > 0 or last < first or (last - first).total_seconds() / 60 / every_min > _MOST_ROWS:
        raise ScenarioError.single(
            f"every_min must be above 0, stop not before start, and the sweep at most {_MOST_ROWS} rows long",
            column="every_min", value=every_min,
        )
    count = int((last - first).total_seconds() // (60 * every_min)) + 1
    moments = [first + timedelta(minutes=every_min * number) for number in range(count)]
    frame = pd.DataFrame([_row(scenario, moment) for moment in moments], columns=SWEEP_COLUMNS)
    return frame.assign(egress=pd.to_datetime(frame["egress"], utc=True))


def _row(scenario: Scenario, egress: datetime) -> dict[str, object]:
    limits = scenario.settings.limits
    try:
        plan = TimedPlan.of(scenario, egress)
    except ScenarioError as error:
        nothing = float("nan")
        return {"egress": egress, "end_min": nothing, "planned_margin_min": nothing,
                "hard_margin_min": nothing, "wait_min": nothing,
                "reason": "; ".join(error.problems["value"] + " " + error.problems["problem"])}
    waits = (a.minutes for crew in plan.travels for a in plan.lanes[crew] if a.kind == WAIT)
    return {"egress": egress, "end_min": plan.end_min,
            "planned_margin_min": limits.planned_min - plan.end_min,
            "hard_margin_min": limits.hard_min - plan.end_min, "wait_min": sum(waits), "reason": ""}
