"""The decision table: if by then this has not begun, drop it; and how likely that is.

Which task, and by when: `planning_kit.explore.odds.propose_cuts`. How likely it comes to that, with the whole
table in force: `planning_kit.explore.odds.odds`. What the outing is then: timed anew without what was cut.
Made before the outing, and made anew outside for the tasks that have not begun.
"""

from __future__ import annotations

import pandas as pd

from planning_kit.explore.odds.odds import odds
from planning_kit.explore.odds.propose_cuts import propose_cuts
from planning_kit.explore.retime.retiming import re_timed_as
from planning_kit.explore.what_if import what_if
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_label
from planning_kit.plan.timed import TimedPlan

DECISION_COLUMNS = ["line", "task", "step", "drop_after_min", "planned_start_min", "p_dropped", "se",
                    "end_without_min", "words"]


def decision_table(plan: TimedPlan, level: float = 0.95, samples: int = 2_000, seed: int = 1) -> pd.DataFrame:
    """A line a task that may be dropped, in the order of the cuts.

    ``drop_after_min`` (PET): if ``step``, the task's first, has not begun by then, drop the task; the hard
    limit is then kept with probability ``level`` at least. ``p_dropped`` with its standard error ``se``: how
    likely it comes to that, all lines in force. ``end_without_min``: the outing end on likely durations
    without this task and all of the lines above. ``words``: the line as it is read out. A line whose time is
    NaN cannot keep the level at all: drop it beforehand, or accept less. It has no odds, and the other lines'
    are those with its task still to be done.
    """
    cuts = propose_cuts(plan, level, samples, seed)
    lines = cuts[cuts["last_start_min"].notna()]
    base = plan if plan.outside is None else plan.outside.base
    ruled = re_timed_as(plan, TimedPlan.of(base.scenario.with_cuts(lines), base.egress))
    p = odds(ruled, samples, seed).tasks.set_index("task")
    rows, dropped = [], []
    for line in cuts.to_dict("records"):
        task, by_min = line["task"], line["last_start_min"]
        dropped.append(f"task:{task}")
        first = min((step for step in plan.steps if step.task == task),
                    key=lambda step: float(plan.starts[plan.position(step.step)]))
        rows.append((line["cut_order"], task, first.step, by_min, line["planned_start_min"],
                     *_chance(p, task, by_min), what_if(plan, {"drop": dropped}).end_min,
                     _words(task, line["title"], by_min, first.step)))
    return TextTable(rows, columns=DECISION_COLUMNS)


def _chance(p: pd.DataFrame, task: str, by_min: float) -> tuple[float, float]:
    """P(dropped) and its standard error; NaN for a line that is not in force."""
    if by_min != by_min:
        return float("nan"), float("nan")
    row = p.loc[[task]].iloc[0]
    return float(row["p_dropped"]), float(row["p_dropped_se"])


def _words(task: str, title: str, by_min: float, step: str) -> str:
    if by_min != by_min:
        return f"{task} cannot keep the limit so surely, whenever it begins: decide before egress"
    return f"If {step} has not begun by {pet_label(by_min)}, drop {task} ({title})"
