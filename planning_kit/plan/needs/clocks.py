"""The clocks of a plan: greatest times between two steps, and what is left of them.

The timing keeps every greatest gap (it is a bound on the earlier step); this says how near each one is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from planning_kit.inputs.records import Gap
from planning_kit.inputs.text_table import ShownTable

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class Clock:
    """One row of gaps.csv with a greatest gap; minutes. It runs from ``begin_min`` to ``end_min`` (PET)."""

    gap: Gap
    max_gap_min: float
    begin_min: float
    end_min: float

    @property
    def actual_min(self) -> float:
        """The gap in this plan."""
        return self.end_min - self.begin_min

    @property
    def left_min(self) -> float:
        """What is left of the greatest gap."""
        return self.max_gap_min - self.actual_min


def gap_clocks(plan: TimedPlan) -> tuple[Clock, ...]:
    """Every greatest gap, in row order."""
    return tuple(
        Clock(gap, gap.max_gap, _edge(plan, gap.first_step, gap.first_at),
              _edge(plan, gap.then_step, gap.then_at))
        for gap in plan.scenario.records.gaps if gap.max_gap is not None
    )


def _edge(plan: TimedPlan, step: str, at: str) -> float:
    times = plan.starts if at == "start" else plan.finishes
    return float(times[plan.position(step)])


CLOCK_COLUMNS = ["first_step", "then_step", "min_gap", "max_gap", "actual", "left", "first_at", "then_at",
                 "reason"]


def clocks_table(clocks: Sequence[Clock]) -> pd.DataFrame:
    """A row a clock, the nearest to its limit first; minutes."""
    rows = [(clock.gap.first_step, clock.gap.then_step, clock.gap.min_gap, clock.max_gap_min,
             clock.actual_min, clock.left_min, clock.gap.first_at, clock.gap.then_at, clock.gap.reason)
            for clock in sorted(clocks, key=lambda clock: clock.left_min)]
    return ShownTable(rows, columns=CLOCK_COLUMNS)
