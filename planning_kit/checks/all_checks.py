"""Every check, in one list."""

from __future__ import annotations

import pandas as pd

from planning_kit.checks.findings import findings_table
from planning_kit.checks.limits import check_limit_sources, check_limits
from planning_kit.checks.worksites import check_capacity
from planning_kit.plan.timed import TimedPlan

CHECKS = (check_limits, check_limit_sources, check_capacity)


def find_all(plan: TimedPlan) -> pd.DataFrame:
    """The findings of all checks, worst first: columns as in `planning_kit.checks.findings.Finding`."""
    return findings_table(finding for check in CHECKS for finding in check(plan))
