"""The findings of a plan numbered as the pack lists them, so that a step can point at those that it has."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

from planning_kit.judge.findings import CONCERN, REMARK, STOP
from planning_kit.judge.new_findings import findings_of
from planning_kit.plan.timed import TimedPlan


class OpenFindings:
    """What is open in one plan: the stops and concerns of each step by their number in the pack's list."""

    def __init__(self, plan: TimedPlan) -> None:
        """The findings of ``plan``, numbered from 1 in their order, worst first."""
        self.rows: list[dict[Hashable, Any]] = findings_of(plan).to_dict("records")

    @property
    def counted(self) -> str:
        """How many there are of each severity, in words."""
        severities = [row["severity"] for row in self.rows]
        counts = [(severities.count(name), name) for name in (STOP, CONCERN, REMARK)]
        return ", ".join(f"{n} {name}{'s' if n > 1 else ''}" for n, name in counts if n) or "none"

    def of_step(self, step: str, crew: str = "") -> str:
        """Stops and concerns of a step, such as ``stop 3 (custody), concern 7 (return)``; "" for none.

        With ``crew``, only those of this crew member or of nobody in particular.
        """
        return ", ".join(
            f"{row['severity']} {number} ({row['check']})" for number, row in enumerate(self.rows, start=1)
            if step and row["step"] == step and row["severity"] != REMARK
            and (not crew or not row["crew"] or crew in str(row["crew"]).split()))
