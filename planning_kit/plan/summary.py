"""The plan in a dozen lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from planning_kit.inputs.text_table import TextTable
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.activities import TRAVEL, WAIT, WORK
from planning_kit.plan.network import ROUNDING_MIN

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan


def summarise(plan: TimedPlan) -> pd.DataFrame:
    """``item`` and ``value`` (words and PET labels): when, how long, against which limits, how spent."""
    settings, limits = plan.scenario.settings, plan.scenario.settings.limits
    inside = moment_at(plan.end_min, plan.egress)
    nights = int((plan.light.night[:, 0] < plan.end_min).sum())
    rows = [
        ("Station", settings.station),
        ("Egress, PET 0:00", f"{plan.egress:%Y-%m-%d} GMT {gmt_label(plan.egress)}"),
        ("Both inside", f"PET {pet_label(plan.end_min)}, GMT {gmt_label(inside)}"),
        ("Planned limit", _against(limits.planned_min, plan.end_min)),
        ("Hard limit", _against(limits.hard_min, plan.end_min)),
        ("Nights begun by then", str(nights)),
    ]
    for crew in plan.travels:
        minutes = {kind: sum(a.minutes for a in plan.lanes[crew] if a.kind == kind)
                   for kind in (WORK, TRAVEL, WAIT)}
        spent = [f"{kind} {pet_label(total)}" for kind, total in minutes.items()]
        rows.append((crew, ", ".join(spent)))
    return TextTable(rows, columns=["item", "value"])


def _against(limit: float, end: float) -> str:
    margin = limit - end
    return f"{pet_label(limit)} ({pet_label(abs(margin))} {'left' if margin >= -ROUNDING_MIN else 'over'})"
