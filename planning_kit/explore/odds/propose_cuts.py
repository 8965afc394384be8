"""Which tasks go first when an outing runs late, and by when: a table of last starts, proposed.

For each task that may be dropped: all that is cut before it is taken as dropped, all else is still to be
done, and the task is made to begin at minute L. The proposed last start is the greatest whole L at which both
are still inside by the hard limit in at least ``level`` of the samples (those with a plan in which the task
can have begun by L). Found by bisection: a later start does not end the outing earlier.

Assumed: that the task begins late says nothing about the pace to come. On a day that is slow for a common
reason the true share is somewhat lower; `planning_kit.explore.odds.odds` with the table put into the
scenario (`with_cuts`) shows what the whole rule gives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from planning_kit.changes.change import Cells, apply
from planning_kit.explore.odds.odds import asked_of
from planning_kit.explore.odds.odds_tables import share
from planning_kit.explore.odds.sampled_outing import Part, part_without
from planning_kit.explore.odds.sampling import CHUNK, Draws
from planning_kit.explore.odds.study import Study
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, is_number, must_be
from planning_kit.inputs.records import Task
from planning_kit.inputs.scenario import Scenario, as_scenario
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_label
from planning_kit.judge.drop_order import drop_order, task_starts
from planning_kit.plan.timed import AnyPlan, TimedPlan

COLUMNS = ["cut_order", "task", "title", "need", "planned_start_min", "last_start_min", "last_start", "p",
           "se", "given_last_start_min"]
_CUTS = ("last_start_min", "cut_order")
_ENOUGH = 0.05  # share of the samples


def propose_cuts(plan: AnyPlan, level: float = 0.95, samples: int = 2_000, seed: int = 1) -> pd.DataFrame:
    """The latest start of each optional and get-ahead task at which P(inside by the hard limit) >= ``level``.

    Tasks that have begun are no lines. In the order in which they would be dropped (see
    `planning_kit.judge.drop_order.drop_order`), of equals the later in the plan first.
    Columns: ``cut_order`` (1 goes first), ``task``, ``title``, ``need``, ``planned_start_min``,
    ``last_start_min`` (PET minutes; NaN: even begun as early as it can be, it does not keep the level),
    ``last_start`` as a PET label, ``p`` at that start and its ``se``, ``given_last_start_min`` (the
    scenario's own). Raises `ScenarioError` for a level not between 0 and 1.
    """
    timed = asked_of(plan, samples, seed, most=CHUNK)
    if not is_number(level) or not 0 < level < 1:
        raise ScenarioError.single("must lie between 0 and 1, such as 0.95", column="level", value=level)
    study = Study.of(timed, int(seed))
    draws = study.draw(0, int(samples))
    rows, dropped = [], frozenset[str]()
    for number, task in enumerate(_in_cut_order(timed, study), start=1):
        late = _LateStart.of(timed, study, draws, task, dropped)
        last = _last_start(late, level)
        p, se = late.chance(late.earliest_min if math.isnan(last) else last)
        given = math.nan if task.last_start_min is None else task.last_start_min
        rows.append((number, task.task, task.title, task.need, late.planned_min, last, pet_label(last), p, se,
                     given))
        dropped |= {task.task}
    return TextTable(rows, columns=COLUMNS)


def with_cuts(scenario: Scenario, cuts: pd.DataFrame) -> Scenario:
    """The scenario with the ``last_start_min`` and ``cut_order`` of a table such as `propose_cuts` gives.

    A task whose last start is NaN there gets 0, which means that it is not begun. Tasks that the table does
    not name, and columns that it has not, stay as they are. Raises `ScenarioError` for tasks that there are
    not or that it names twice, and for what is no such table.
    """
    known, faults = tuple(task.task for task in as_scenario(scenario).records.tasks), Faults()
    named = list(_cut_table(cuts)["task"])
    for name in dict.fromkeys(named):
        if name not in known:
            faults.add("tasks", None, "task", name, f"there is no such task{did_you_mean(str(name), known)}")
        elif named.count(name) > 1:
            faults.add("tasks", None, "task", name, "stands twice in this table: which row counts?")
    faults.stop_if_any()
    by_task = cuts.set_index("task")
    if "last_start_min" in by_task:
        by_task = by_task.assign(last_start_min=by_task["last_start_min"].fillna(0.0))
    columns = {column: {str(task): value for task, value in by_task[column].items()}
               for column in _CUTS if column in by_task}
    return apply(scenario, [Cells("tasks", columns)])


def _cut_table(cuts: object) -> pd.DataFrame:
    how = f"must be a table such as pk.propose_cuts gives: task, and {' or '.join(_CUTS)}"
    table = must_be(cuts, pd.DataFrame, "cuts", how)
    if "task" not in table or not {*_CUTS} & {*table}:
        raise ScenarioError.single(how, column="cuts", value=", ".join(map(str, table)))
    return table


def _in_cut_order(plan: TimedPlan, study: Study) -> list[Task]:
    steps_of = study.outing.steps_of
    asked = [task for task in plan.scenario.records.tasks
             if task.need != "required" and task.task in steps_of
             and not study.outing.has_begun(task.task)]
    return drop_order(asked, task_starts(plan))


@dataclass(frozen=True, eq=False)
class _LateStart:
    """One task made to begin at some minute, with ``part`` of the outing still to be done."""

    part: Part
    draws: Draws
    first: int
    begins: np.ndarray
    planned_min: float
    hard_min: float

    @classmethod
    def of(cls, plan: TimedPlan, study: Study, draws: Draws, task: Task,
           dropped: frozenset[str]) -> _LateStart:
        part = part_without(study.outing, dropped)
        left = draws.part(part.kept, np.arange(draws.durations.shape[1]))
        starts, end = part.timed(left)
        own = np.flatnonzero(np.isin(part.kept, study.outing.steps_of[task.task]))
        planned = plan.starts[part.kept[own]]
        begins = np.where(np.isfinite(end), starts[own].min(axis=0), np.inf)
        return cls(part, left, int(own[np.argmin(planned)]), begins, float(planned.min()),
                   plan.scenario.settings.limits.hard_min)

    @property
    def earliest_min(self) -> float:
        """The first whole minute by which the task can have begun in enough samples to say anything."""
        return float(np.ceil(np.quantile(self.begins, _ENOUGH, method="inverted_cdf")))

    def chance(self, minute: float) -> tuple[float, float]:
        """P(both inside by the hard limit) when the task begins at ``minute``, and its standard error."""
        able = np.flatnonzero(self.begins <= minute)
        if not len(able) or not math.isfinite(minute):
            return 0.0, math.nan
        floor = np.full(len(self.part.kept), -np.inf)
        floor[self.first] = minute
        _, end = self.part.timed(self.draws.part(np.arange(len(self.part.kept)), able), not_before=floor)
        return share(end <= self.hard_min)


def _last_start(late: _LateStart, level: float) -> float:
    """The greatest whole minute that keeps the level, or NaN."""
    below, above = late.earliest_min, math.ceil(late.hard_min) + 1.0
    if not below < above or late.chance(below)[0] < level:
        return math.nan
    while above - below > 1:
        middle = float((above + below) // 2)
        below, above = (middle, above) if late.chance(middle)[0] >= level else (below, middle)
    return below
