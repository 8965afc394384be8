"""The plan as the front door gives it: times from `plan/`, and what the rooms to its right say of them."""

from __future__ import annotations

from datetime import date, datetime
from functools import cached_property

import pandas as pd

from planning_kit.checks.all_checks import find_all
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.timed import TimedPlan


class Plan(TimedPlan):
    """A timed plan with its findings.

    Times and words (``timeline``, ``summary``, ``explain``, ``delay_curve``, ``handovers``, ``light``,
    ``links``) come from `planning_kit.plan.timed.TimedPlan`.
    """

    @cached_property
    def _findings(self) -> pd.DataFrame:
        return find_all(self)

    @property
    def findings(self) -> pd.DataFrame:
        """Everything found wrong or worth knowing, worst first.

        Columns: ``severity`` (stop, caution, note), ``check``, ``crew``, ``step``, ``start_min`` (PET),
        ``message``, ``source``, then ``value``, ``limit`` and ``margin`` where the finding has numbers.
        """
        return self._findings.copy()


def time_plan(scenario: Scenario, egress: str | date | datetime | None = None) -> Plan:
    """Time a scenario: the earliest plan that keeps every rule. ``egress`` (UTC) replaces its own.

    Raises `ScenarioError` that names the steps when no plan exists: rules that run in a circle, a step
    longer than any window it needs, or a step pushed past the horizon.
    """
    return Plan.of(scenario, egress)
