"""What two plans leave in hand: end and limits, slack, suits, ways back, waiting."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from planning_kit.inputs.shown_text import TextTable
from planning_kit.plan.activities import WAIT
from planning_kit.plan.timed import TimedPlan

MARGIN_COLUMNS = ["margin", "crew", "unit", "a", "b", "change", "at_a", "at_b"]

Margin = tuple[tuple[str, str, str], float, str]
"""What it is (margin, crew, unit), its value, and where it is least (a step or a place)."""


def compare_margins(a: TimedPlan, b: TimedPlan) -> pd.DataFrame:
    """The margins of plan ``a`` and of plan ``b`` beside each other; ``change`` is b minus a.

    ``margin``, ``crew`` (empty for the whole outing), ``unit``, ``a``, ``b``, ``change``; ``at_a`` and
    ``at_b``: the step or place where each is least. The end of the outing and each crew member's waiting
    stand with them. NaN where a plan has no such margin (no data, or nothing that depends on it); slack to
    window is inf where no step depends on a window.
    """
    before, after = ({key: (value, at) for key, value, at in _margins(plan)} for plan in (a, b))
    nothing = (float("nan"), "")
    rows = []
    for key in dict.fromkeys([*before, *after]):
        (value_a, at_a), (value_b, at_b) = before.get(key, nothing), after.get(key, nothing)
        change = 0.0 if value_a == value_b else value_b - value_a
        rows.append((*key, value_a, value_b, change, at_a, at_b))
    return TextTable(rows, columns=MARGIN_COLUMNS)


def _margins(plan: TimedPlan) -> Iterator[Margin]:
    limits = plan.scenario.settings.limits
    yield ("outing end", "", "PET min"), plan.end_min, ""
    yield ("to the planned limit", "", "min"), limits.planned_min - plan.end_min, ""
    yield ("to the hard limit", "", "min"), limits.hard_min - plan.end_min, ""
    for name, slack in (("least slack to limit", plan.slack.to_limit),
                        ("least slack to window", plan.slack.to_window)):
        if not np.isnan(slack).all():  # outside, steps that have started have none
            least = int(np.nanargmin(slack))
            yield (name, "", "min"), float(slack[least]), plan.steps[least].step
    yield from _suit_margins(plan)
    yield from _return_margins(plan)
    for crew in plan.travels:
        waits = sum(each.minutes for each in plan.lanes[crew] if each.kind == WAIT)
        yield ("waiting", crew, "min"), float(waits), ""


def _suit_margins(plan: TimedPlan) -> Iterator[Margin]:
    for row in plan.suit_summary.to_dict("records"):
        yield (f"{row['consumable']} over its reserve", row["crew"], row["unit"]), float(row["margin"]), ""


def _return_margins(plan: TimedPlan) -> Iterator[Margin]:
    for row in plan.return_summary.to_dict("records"):
        yield (f"way back, {row['case']}", row["crew"], "min"), float(row["margin_min"]), row["place"]
