"""One chunk of samples from random numbers to what is kept of it; any executor may run it, anywhere.

A sample has caught a window where the step lies whole in the window that the plan on likely durations uses,
or in an earlier one. A step that runs past the end of the window in which it was begun (inside its guard), or
was begun in none, has overrun it; so has a group of which any step has, or that lies in two windows.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, fields
from functools import reduce

import numpy as np

from planning_kit.explore.long_question import Report, mapped, silent, told
from planning_kit.explore.odds.sampled_outing import CHUNK, TOGETHER, Draws, Outing, chunk_sizes, draw
from planning_kit.explore.odds.sampled_plans import SampledPlans, broken_reasons, cut_rules, time_samples
from planning_kit.inputs.records import Gap, Task
from planning_kit.plan.build import last_places, work_order
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.plan_times import PlannedWindow, planned_windows
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True, eq=False)
class Study:
    """All that a worker needs for any chunk. Pickles."""

    outing: Outing
    rules: tuple[Task, ...]
    windows: tuple[PlannedWindow, ...]
    clocks: tuple[Gap, ...]
    seed: int

    @classmethod
    def of(cls, plan: TimedPlan, seed: int, learns_pace: bool = False) -> Study:
        """The study of a plan, with the cut rule of its scenario."""
        outing = Outing.of(plan, learns_pace)
        clocks = tuple(gap for gap in outing.records.gaps if gap.max_gap is not None)
        return cls(outing, cut_rules(outing), tuple(planned_windows(plan)), clocks, seed)

    def draw(self, chunk: int, count: int) -> Draws:
        """The durations and travel factors of the first ``count`` samples of a chunk and those behind."""
        records = self.outing.records
        return draw(records.steps, self.outing.crew, records.settings.odds, self.seed, chunk, count,
                    self.outing.begun)


@dataclass(frozen=True, eq=False)
class Tally:
    """What is kept of samples. PET minutes; the last axis is the sample.

    ``end_min``, ``hard_min``: outing end, and the hard limit of each; ``task_finish_min`` and
    ``task_inside_min`` (tasks with steps; NaN: given up): the last finish, and inside when going straight
    home from there; ``put_back`` (tasks): given up after it had begun; ``caught``, ``overrun`` (planned
    windows); ``over_min`` (clocks): minutes beyond the greatest gap, 0 where it is kept, NaN where an end is
    given up; ``broken`` (samples,): a step begun in no window, too late to be of use, past the end of its
    window, or past a clock; ``waits_min`` (crew); ``reasons`` counts the samples with a step that should not
    be begun.
    """

    end_min: np.ndarray
    hard_min: np.ndarray
    task_finish_min: np.ndarray
    task_inside_min: np.ndarray
    put_back: np.ndarray
    caught: np.ndarray
    overrun: np.ndarray
    over_min: np.ndarray
    broken: np.ndarray
    waits_min: np.ndarray
    reasons: Counter[str]


def run_chunk(study: Study, chunk: int, count: int) -> Tally:
    """Draw, time and tally the first ``count`` samples of a chunk and those behind."""
    draws, outing = study.draw(chunk, count), study.outing
    plans = time_samples(outing, draws, study.rules)
    starts, finishes = done(outing, plans, draws)
    tasks, gone = outing.steps_of.values(), outing.begun.put_back if outing.begun else ()
    is_back = plans.is_put_back | np.array([[task in gone] for task in outing.steps_of])
    is_given_up = is_back | (plans.way > 0)
    overrun = [_has_overrun(each, starts, finishes) for each in study.windows]
    caught = [is_caught(each, starts, finishes) for each in study.windows]
    over_min = np.array([_over_min(outing, gap, starts, finishes) for gap in study.clocks]).reshape(-1, count)

    def of_tasks(minutes: np.ndarray) -> np.ndarray:
        last = np.array([minutes[steps].max(axis=0) for steps in tasks]).reshape(-1, count)
        return np.where(is_given_up, np.nan, last)

    broken = plans.is_lost.any(axis=0) | plans.is_stuck.any(axis=0) | (over_min > 0).any(axis=0)
    return Tally(
        plans.end_min, plans.hard_min, of_tasks(finishes), of_tasks(_inside(outing, draws, finishes)),
        is_back, np.array(caught, dtype=bool).reshape(-1, count),
        np.array(overrun, dtype=bool).reshape(-1, count), over_min,
        np.logical_or.reduce([broken, *overrun]), plans.waits, broken_reasons(outing, plans))


def done(outing: Outing, plans: SampledPlans, draws: Draws) -> tuple[np.ndarray, np.ndarray]:
    """Starts and finishes (steps, samples) of what is done; NaN for what is given up or put back."""
    starts = plans.starts.copy()
    for number, way in enumerate(plans.ways, start=1):
        if way.put_back:
            starts[outing.row_of[way.put_back], (plans.way == number).any(axis=0)] = np.nan
    return starts, starts + draws.durations


def is_caught(each: PlannedWindow, starts: np.ndarray, finishes: np.ndarray) -> np.ndarray:
    """Samples (mask) that catch a window: begun by its end, in it or an earlier one, and not overrun."""
    begun = (starts[list(each.members)] <= each.end_min).all(axis=0)
    return np.asarray(begun & ~_has_overrun(each, starts, finishes))


def _has_overrun(each: PlannedWindow, starts: np.ndarray, finishes: np.ndarray) -> np.ndarray:
    """Samples (mask) in which a step runs out of the window it was begun in, or a group lies in two."""
    members = list(each.members)
    begins, ends = np.append(-np.inf, each.stretches[:, 0]), np.append(-np.inf, each.stretches[:, 1])
    window = np.searchsorted(begins, starts[members], side="right") - 1
    # What is given up is behind all windows in this search, and overruns none.
    is_done = np.isfinite(starts[members])
    over = (finishes[members] > ends[window] + ROUNDING_MIN) & is_done
    numbers = np.where(is_done, window, -1)
    apart = is_done & (numbers != numbers.max(axis=0))
    return np.asarray((over | apart).any(axis=0))


def _over_min(outing: Outing, gap: Gap, starts: np.ndarray, finishes: np.ndarray) -> np.ndarray:
    """Minutes (samples,) beyond a greatest gap; 0 where it is kept, NaN where an end of it is not done."""
    ends = [(finishes if at == "finish" else starts)[outing.row_of[step]]
            for step, at in ((gap.then_step, gap.then_at), (gap.first_step, gap.first_at))]
    over = ends[0] - ends[1] - (gap.max_gap or 0.0)
    return np.asarray(np.where(over > ROUNDING_MIN, over, over * 0.0))


def _inside(outing: Outing, draws: Draws, finishes: np.ndarray) -> np.ndarray:
    """PET at which those who worked on each step would be inside, going home at once; others: its finish."""
    inside, settings, steps = finishes.copy(), outing.records.settings, outing.records.steps
    airlock, orders = settings.airlock_place, {who: work_order(steps, who) for who in outing.travels}
    # From the last place known, as in the timing.
    here = {(who, number): place for who, order in orders.items()
            for number, place in zip(order, last_places(steps, order, airlock)[1:], strict=True)}
    for number, (row, step) in enumerate(zip(inside, steps, strict=True)):
        ways = [outing.travels[who].time_min(here[who, number], airlock) * draws.travel[who]
                for who in step.people if who in outing.travels]
        if ways:  # the one who has the longer way ends it
            row += np.max(ways, axis=0) + settings.airlock.ends_min
    return inside


def tallies(study: Study, samples: int, executor: Executor | None = None,
            report: Report = silent, together: int = TOGETHER) -> Iterator[Tally]:
    """The tally of each few chunks, worked out here or on ``executor``, in the order of the chunks."""
    sizes = chunk_sizes(samples, together * CHUNK)
    # Both kinds of map keep the order of the chunks, so that the samples of two plans stay pairs.
    work = mapped(executor)(run_chunk, [study] * len(sizes), range(0, together * len(sizes), together), sizes)
    return told(work, report, f"parts of {samples:,} samples", len(sizes))


def joined(parts: Sequence[Tally]) -> Tally:
    """The tallies of chunks as one, in their order."""
    names = [each.name for each in fields(Tally) if each.name != "reasons"]
    arrays = {name: np.concatenate([getattr(part, name) for part in parts], axis=-1) for name in names}
    return Tally(reasons=reduce(Counter.__add__, (part.reasons for part in parts)), **arrays)
