"""Which tasks go first when an outing runs late, and by when: a table of last starts, proposed.

For each task that may be dropped: all that is cut before it is taken as dropped, all else is still to be
done, and the task is made to begin at minute L. The proposed last start is the greatest whole L at which both
are still inside by the hard limit in at least ``level`` of the samples (those in which the task can have
begun by L; nothing else is given up in them). Found by bisection: a later start does not end the outing
earlier.

Assumed: that the task begins late says nothing about the pace to come. On a day that is slow for a common
reason the true share is somewhat lower; `planning_kit.explore.odds.odds` with the table put into the
scenario (``scenario.with_cuts``) shows what the whole rule gives.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
import pandas as pd

from planning_kit.explore.long_question import Report, silent, told
from planning_kit.explore.odds.odds import stop_if_senseless
from planning_kit.explore.odds.odds_tables import share
from planning_kit.explore.odds.sampled_outing import Part, left_out, part_without
from planning_kit.explore.odds.sampling import CHUNK, Draws
from planning_kit.explore.odds.study import Study
from planning_kit.inputs.faults import ScenarioError, is_number
from planning_kit.inputs.records import Task
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_label
from planning_kit.judge.drop_order import drop_order, may_go, task_starts
from planning_kit.plan.timed import TimedPlan

COLUMNS = ["cut_order", "task", "title", "need", "planned_start_min", "last_start_min", "last_start", "p",
           "se", "given_last_start_min"]
_ENOUGH = 0.05  # share of the samples: fewer of them say nothing of a late start


def propose_cuts(plan: TimedPlan, level: float = 0.95, samples: int = 2_000, seed: int = 1,
                 report: Report = silent) -> pd.DataFrame:
    """The latest start of each optional and get-ahead task at which P(inside by the hard limit) >= ``level``.

    ``plan.cuts`` says how. Raises `ScenarioError` for a level not between 0 and 1.
    """
    stop_if_senseless(plan, samples, seed, most=CHUNK)
    if not is_number(level) or not 0 < level < 1:
        raise ScenarioError.single("must lie between 0 and 1, such as 0.95", column="level", value=level)
    study = Study.of(plan, int(seed))
    draws = study.draw(0, int(samples))
    rows, dropped = [], frozenset[str]()
    tasks = drop_order(filter(may_go, study.outing.tasks_to_come), task_starts(plan))
    for number, task in enumerate(told(tasks, report, "tasks", len(tasks)), start=1):
        late = _LateStart.of(plan, study, draws, task, dropped)
        last = _last_start(late, level)
        p, se = late.chance(late.earliest_min if math.isnan(last) else last)
        given = math.nan if task.last_start_min is None else task.last_start_min
        rows.append((number, task.task, task.title, task.need, late.planned_min, last,
                     pet_label(last, "down"), p, se, given))
        dropped |= {task.task}
    return TextTable(rows, columns=COLUMNS)


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
    def of(cls, plan: TimedPlan, study: Study, draws: Draws, task: Task, dropped: frozenset[str]) -> Self:
        part = part_without(study.outing, left_out(study.outing, dropped))
        left = draws.part(part.kept, np.arange(draws.durations.shape[1]))
        starts, _ = part.timed(left)
        own = np.flatnonzero(np.isin(part.kept, study.outing.steps_of[task.task]))
        planned = plan.starts[part.kept[own]]
        return cls(part, left, int(own[np.argmin(planned)]), starts[own].min(axis=0), float(planned.min()),
                   plan.hard_min)

    @property
    def earliest_min(self) -> float:
        """The first whole minute by which the task can have begun in enough samples to say anything."""
        # Rounded up: by the whole minute below fewer samples than that could have begun.
        return float(np.ceil(np.quantile(self.begins, _ENOUGH, method="inverted_cdf")))

    def chance(self, minute: float) -> tuple[float, float]:
        """P(both inside by the hard limit) when the task begins at ``minute``, and its standard error."""
        able = np.flatnonzero(self.begins <= minute)
        if not len(able) or not math.isfinite(minute):
            return 0.0, math.nan
        floor = np.full(len(self.part.kept), -np.inf)
        floor[self.first] = minute
        draws = self.draws.part(np.arange(len(self.part.kept)), able)
        starts, end = self.part.timed(draws, not_before=floor)
        return share(end <= self.part.hard_min(draws, starts, end))


def _last_start(late: _LateStart, level: float) -> float:
    """The greatest whole minute that keeps the level, or NaN."""
    # The search ends at the hard limit of the plan, rounded up, even where a later start keeps the level.
    below, above = late.earliest_min, math.ceil(late.hard_min) + 1.0
    if not below < above or late.chance(below)[0] < level:
        return math.nan
    while above - below > 1:
        middle = float((above + below) // 2)
        below, above = (middle, above) if late.chance(middle)[0] >= level else (below, middle)
    return below
