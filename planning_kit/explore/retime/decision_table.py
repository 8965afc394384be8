"""The decision table: if by then this has not begun, drop it; and how likely that is.

Which task, and by when: `planning_kit.explore.odds.propose_cuts`. How likely it comes to that, with the whole
table in force: `planning_kit.explore.odds.odds`. What the outing is then: timed anew without what was cut.
Made before the outing, and made anew outside for the tasks that have not begun.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from planning_kit.explore.odds.odds import odds
from planning_kit.explore.odds.propose_cuts import propose_cuts, with_cuts
from planning_kit.inputs.text_table import TextTable
from planning_kit.inputs.times import pet_label

DECISION_COLUMNS = ["line", "task", "step", "drop_after_min", "planned_start_min", "p_dropped", "se",
                    "end_without_min", "words"]


def decision_table(plan: Any, level: float = 0.95, samples: int = 2_000, seed: int = 1) -> pd.DataFrame:
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
    ruled = plan.re_timed_as(type(plan).of(with_cuts(base.scenario, lines), base.egress))
    chances = odds(ruled, samples, seed).tasks
    p = chances.set_index("task")
    rows, dropped = [], []
    for line in cuts.to_dict("records"):
        task = line["task"]
        dropped.append(f"task:{task}")
        first = next(step for step in _by_start(plan) if step.task == task)
        rows.append((line["cut_order"], task, first.step, line["last_start_min"], line["planned_start_min"],
                     *_chance(p, task, line["last_start_min"]),
                     plan.what_if(drop=dropped).end_min, _words(line, first.step)))
    return TextTable(rows, columns=DECISION_COLUMNS)


def _chance(p: pd.DataFrame, task: str, by_min: float) -> tuple[float, float]:
    """P(dropped) and its standard error; NaN for a line that is not in force."""
    if by_min != by_min:
        return float("nan"), float("nan")
    row = p.loc[[task]].iloc[0]
    return float(row["p_dropped"]), float(row["p_dropped_se"])


def _by_start(plan: Any) -> list[Any]:
    return [plan.steps[position] for position in plan.starts.argsort(kind="stable").tolist()]


def _words(line: dict[Any, Any], step: str) -> str:
    by = line["last_start_min"]
    if by != by:
        return f"{line['task']} cannot keep the limit so surely, whenever it begins: decide before egress"
    return f"If {step} has not begun by {pet_label(by)}, drop {line['task']} ({line['title']})"
