"""Which findings came and went between two plans."""

from __future__ import annotations

import pandas as pd

from planning_kit.inputs.shown_text import TextTable
from planning_kit.judge.all_checks import BETTER, CAME, WENT, WORSE, finding_changes
from planning_kit.judge.findings import SEVERITIES
from planning_kit.plan.timed import TimedPlan

FINDING_CHANGES = ["change", "severity", "check", "rule", "about", "crew", "step", "start_min", "message"]
_RANK = {severity: rank for rank, severity in enumerate(SEVERITIES)}
_ORDER = {CAME: 0, WORSE: 1, BETTER: 2, WENT: 3}


def compare_findings(a: TimedPlan, b: TimedPlan) -> pd.DataFrame:
    """Findings that differ from plan ``a`` to plan ``b``: what came first, worst first; empty when none did.

    ``change``: ``came``, ``went``, or ``worse`` and ``better`` for one whose severity changed; the other
    columns are those of the plan that has the finding (b's where both have it). What makes two findings the
    same says `planning_kit.judge.findings.identity`: rule, subject, crew and step, not times and numbers; two
    of one identity are two.
    """
    rows = [{"change": change, **row} for change, row in finding_changes(a, b)]
    table = TextTable(rows, columns=FINDING_CHANGES)
    order = table["change"].map(_ORDER), table["severity"].map(_RANK)
    ranked = table.assign(order=order[0], rank=order[1])
    ranked = ranked.sort_values(["order", "rank", "start_min"], kind="stable", na_position="first")
    return ranked[FINDING_CHANGES].reset_index(drop=True)
