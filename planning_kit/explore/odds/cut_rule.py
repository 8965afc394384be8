"""The cut rule: a task that would begin later than its last start is dropped in that sample.

A planner states it beforehand (``tasks.last_start_min``, ``tasks.cut_order``): at PET L the task has not
begun, so it is not begun at all. Its steps then take no time and no travel, and what follows moves up.
Decisions fall in the order of the last starts (equal ones in drop order): a task is judged with all later
ones still in, and the next one on the plan that is then left. Without greatest gaps dropping a task makes no
other step later, so a task that was kept is never in doubt again and one pass is enough.

Samples that drop the same tasks are timed together over the network without them: the result is exactly that
of timing each sample alone (a test does). Idealised: the crew knows when leaving for the task that it would
begin too late, and does not set out for it. A start that no time can meet counts as too late.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from planning_kit.explore.odds.outing import Outing, grid, part_without
from planning_kit.explore.odds.sampling import Draws
from planning_kit.inputs.records import Task
from planning_kit.judge.drop_order import drop_order


@dataclass(frozen=True, eq=False)
class SampledPlans:
    """Many samples of one outing, each timed with the tasks that it drops left out.

    ``starts`` (steps, samples): NaN for a dropped step, inf for one that cannot be placed. ``end_min``
    (samples,): inf where there is no plan. ``waits`` (crew, samples), minutes. ``dropped`` (rules, samples).
    """

    rules: tuple[Task, ...]
    starts: np.ndarray
    end_min: np.ndarray
    waits: np.ndarray
    dropped: np.ndarray

    def groups(self) -> Iterator[tuple[frozenset[str], np.ndarray]]:
        """Dropped tasks and the samples (positions) that drop just these."""
        return _groups(self.rules, self.dropped, np.arange(len(self.end_min)))


def cut_rules(outing: Outing) -> tuple[Task, ...]:
    """The tasks with steps and a last start, in the order in which they are decided; none that has begun."""
    asked = [task for task in outing.records.tasks
             if task.last_start_min is not None and task.task in outing.steps_of
             and not outing.has_begun(task.task)]
    return tuple(sorted(drop_order(asked), key=lambda task: task.last_start_min or 0.0))


def time_samples(outing: Outing, draws: Draws, rules: Sequence[Task]) -> SampledPlans:
    """Time every sample, dropping by ``rules`` (in the order of decision; none: all tasks are done)."""
    steps, samples = draws.durations.shape
    plans = SampledPlans(tuple(rules), np.empty((steps, samples)), np.empty(samples),
                         np.empty((len(outing.crew), samples)), np.zeros((len(rules), samples), dtype=bool))
    _time_anew(outing, draws, plans, np.arange(samples))
    for number, rule in enumerate(rules):
        begins = plans.starts[outing.steps_of[rule.task]].min(axis=0)
        assert rule.last_start_min is not None
        plans.dropped[number] = begins > grid(rule.last_start_min)
        _time_anew(outing, draws, plans, np.flatnonzero(plans.dropped[number]))
    return plans


def _time_anew(outing: Outing, draws: Draws, plans: SampledPlans, samples: np.ndarray) -> None:
    for dropped, members in _groups(plans.rules, plans.dropped, samples):
        part = part_without(outing, dropped)
        own = draws.part(part.kept, members)
        starts, end = part.timed(own)
        plans.starts[:, members] = np.nan
        plans.starts[np.ix_(part.kept, members)] = starts
        plans.end_min[members] = end
        plans.waits[:, members] = part.waits(own, end)


def _groups(rules: Sequence[Task], dropped: np.ndarray,
            samples: np.ndarray) -> Iterator[tuple[frozenset[str], np.ndarray]]:
    if not len(samples):
        return
    pattern = np.zeros(len(samples), dtype=np.int64)  # numbered anew at each rule: it never overflows
    for row in dropped[:, samples]:
        if row.any():
            pattern = np.unique(2 * pattern + row, return_inverse=True)[1]
    for number in range(int(pattern.max()) + 1):
        members = samples[pattern == number]
        if len(members):
            own = dropped[:, members[0]]
            yield frozenset(rule.task for rule, gone in zip(rules, own, strict=True) if gone), members
