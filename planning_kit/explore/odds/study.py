"""One chunk of samples from random numbers to what is kept of it; any executor may run it, anywhere.

A sample has caught a window where the step lies in the window that the plan on likely durations uses, or in
an earlier one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import reduce

import numpy as np

from planning_kit.explore.odds.sampled_outing import Outing, cut_rules, no_plan_reasons, time_samples
from planning_kit.explore.odds.sampling import Draws, chunk_sizes, draw
from planning_kit.inputs.records import Task
from planning_kit.plan.network import Demand
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True, kw_only=True)
class PlannedWindow:
    """A window that the plan on likely durations uses: of one step, or of a group. PET minutes.

    ``asks_for`` is the kind of window asked for (``light:night``), ``window`` the one of them that is used.
    """

    subject: str
    members: tuple[int, ...]
    asks_for: str
    window: str
    task: str
    title: str
    planned_start_min: float
    begin_min: float
    end_min: float


@dataclass(frozen=True, eq=False)
class Study:
    """All that a worker needs for any chunk. Pickles."""

    outing: Outing
    rules: tuple[Task, ...]
    windows: tuple[PlannedWindow, ...]
    seed: int

    @classmethod
    def of(cls, plan: TimedPlan, seed: int, learns_pace: bool = False) -> Study:
        """The study of a plan, with the cut rule of its scenario."""
        outing = Outing.of(plan, learns_pace)
        return cls(outing, cut_rules(outing), tuple(planned_windows(plan)), seed)

    def draw(self, chunk: int, count: int) -> Draws:
        """The durations and travel factors of the first ``count`` samples of a chunk."""
        records = self.outing.records
        return draw(records.steps, self.outing.crew, records.settings.odds, self.seed, chunk, count,
                    self.outing.begun)


@dataclass(frozen=True, eq=False)
class Tally:
    """What is kept of samples. PET minutes; the last axis is the sample.

    ``end_min`` (inf: no plan), ``hard_min``: the hard limit of each; ``task_finish_min`` and
    ``task_inside_min`` (tasks with steps; NaN: dropped or no plan): the last finish, and inside when going
    straight home from there; ``caught`` (planned windows); ``waits_min`` (crew); ``reasons`` counts the
    samples without a plan.
    """

    end_min: np.ndarray
    hard_min: np.ndarray
    task_finish_min: np.ndarray
    task_inside_min: np.ndarray
    caught: np.ndarray
    waits_min: np.ndarray
    reasons: Counter[str]


def planned_windows(plan: TimedPlan) -> Iterator[PlannedWindow]:
    """Every window that a step must fit in (light, a link waited for, a named period) and every group's.

    Steps of a group that share its light are told by the group alone.
    """
    network, of_group = plan.network, set()
    for group in network.groups:
        of_group |= {(member, group.demand.label) for member in group.members}
        tasks = dict.fromkeys(plan.steps[member].task for member in group.members)
        title = " ".join(plan.steps[member].step for member in group.members)
        yield _planned(plan, group.name, group.members, group.demand, " ".join(tasks), title)
    for position, (step, demands) in enumerate(zip(plan.steps, network.demands, strict=True)):
        for demand in demands:
            if (position, demand.label) not in of_group:
                yield _planned(plan, step.step, (position,), demand, step.task, step.title)


def _planned(plan: TimedPlan, subject: str, members: tuple[int, ...], demand: Demand, task: str,
             title: str) -> PlannedWindow:
    start = float(plan.starts[list(members)].min())
    number = int(np.searchsorted(demand.windows[:, 0], start, side="right")) - 1
    begin, end = (float(edge) for edge in demand.windows[number])
    return PlannedWindow(subject=subject, members=members, asks_for=f"{demand.kind}:{demand.label}",
                         window=demand.name_at(start), task=task, title=title, planned_start_min=start,
                         begin_min=begin, end_min=end)


def run_chunk(study: Study, chunk: int, count: int) -> Tally:
    """Draw, time and tally one chunk."""
    draws = study.draw(chunk, count)
    outing = study.outing
    plans = time_samples(outing, draws, study.rules)
    # Of a sample without a plan nothing counts as done, not even the steps that could be placed.
    starts = np.where(np.isfinite(plans.end_min), plans.starts, np.nan)
    finishes = starts + draws.durations
    tasks = outing.steps_of.values()
    inside = _inside(outing, draws, finishes)
    # A step lies whole in one window: begun by this end, it is in this window or in an earlier one.
    caught = [(starts[list(each.members)] <= each.end_min).all(axis=0) for each in study.windows]
    samples = len(plans.end_min)
    return Tally(
        plans.end_min, plans.hard_min,
        np.array([finishes[steps].max(axis=0) for steps in tasks]).reshape(-1, samples),
        np.array([inside[steps].max(axis=0) for steps in tasks]).reshape(-1, samples),
        np.array(caught, dtype=bool).reshape(-1, samples),
        plans.waits, no_plan_reasons(outing, plans),
    )


def _inside(outing: Outing, draws: Draws, finishes: np.ndarray) -> np.ndarray:
    """PET at which those who worked on each step would be inside, going home at once; others: its finish."""
    inside, settings = finishes.copy(), outing.records.settings
    for row, step in zip(inside, outing.records.steps, strict=True):
        ways = [outing.travels[who].time_min(step.place, settings.airlock_place) * draws.travel[who]
                for who in step.people if who in outing.travels]
        if ways:  # the one who has the longer way ends it
            row += np.max(ways, axis=0) + settings.airlock.ends_min
    return inside


def run_study(study: Study, samples: int, executor: Executor | None) -> Tally:
    """All chunks, here or on ``executor``, joined in the order of the chunks."""
    sizes = chunk_sizes(samples)
    # Both kinds of map keep the order of the chunks, so that the samples of two plans stay pairs.
    work = map if executor is None else executor.map
    return joined(list(work(run_chunk, [study] * len(sizes), range(len(sizes)), sizes)))


def joined(parts: Sequence[Tally]) -> Tally:
    """The tallies of chunks as one, in their order."""
    names = ("end_min", "hard_min", "task_finish_min", "task_inside_min", "caught", "waits_min")
    arrays = {name: np.concatenate([getattr(part, name) for part in parts], axis=-1) for name in names}
    return Tally(reasons=reduce(Counter.__add__, (part.reasons for part in parts)), **arrays)
