"""The tables of an `Odds`: from what was kept of the samples to shares, quantiles and standard errors.

What drives the spread of the outing end: rank correlations, and the end when a driver runs long.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import spearmanr

from planning_kit.explore.odds.sampling import chunk_sizes, factor_streams, normals, step_stream
from planning_kit.explore.odds.study import Study, Tally
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import WAIT
from planning_kit.plan.timed import TimedPlan

BY_PLANNED = "both inside by the planned limit"
BY_HARD = "both inside by the hard limit"
REQUIRED_DONE = "all required tasks done, each by the hard limit"
ALL_DONE = "nothing dropped, both inside by the hard limit"
NO_PLAN = "no plan: see no_plan_reasons"
QUANTILES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)
_BANDS = {"q05": 0.05, "q25": 0.25, "q50": 0.5, "q75": 0.75, "q95": 0.95}


def share(happened: np.ndarray) -> tuple[float, float]:
    """Share of samples and its standard error, the latter of (k + 1) / (n + 2) (Laplace's rule)."""
    count = len(happened)
    likely = (happened.sum() + 1.0) / (count + 2.0)
    return float(happened.mean()), float(np.sqrt(likely * (1.0 - likely) / count))


def quantile(values: np.ndarray, at: float) -> float:
    """The least value that a share ``at`` of the samples does not exceed; NaN where that one is infinite."""
    if not len(values):
        return float("nan")
    found = float(np.quantile(values, at, method="inverted_cdf"))
    return found if np.isfinite(found) else float("nan")


def quantile_se(values: np.ndarray, at: float) -> float:
    """Standard error of a quantile: half the way between the order statistics one deviation aside."""
    deviation = float(np.sqrt(at * (1.0 - at) / len(values)))
    return (quantile(values, min(at + deviation, 1.0)) - quantile(values, max(at - deviation, 0.0))) / 2.0


def events(plan: TimedPlan, study: Study, tally: Tally) -> Mapping[str, np.ndarray]:
    """What can happen to an outing as a whole: for each item of the summary, in which samples it did."""
    limits = plan.scenario.settings.limits
    by_hard, placed = tally.end_min <= limits.hard_min, np.isfinite(tally.end_min)
    needs = {task.task: task.need for task in plan.scenario.records.tasks}
    required = np.array([needs[task] == "required" for task in study.outing.steps_of], dtype=bool)
    dropped = np.isnan(tally.task_finish_min).any(axis=0)
    return {
        BY_PLANNED: tally.end_min <= limits.planned_min,
        BY_HARD: by_hard,
        REQUIRED_DONE: placed & (tally.task_inside_min[required] <= limits.hard_min).all(axis=0),
        ALL_DONE: by_hard & ~dropped,
        NO_PLAN: ~placed,
    }


def summary_table(plan: TimedPlan, study: Study, tally: Tally) -> pd.DataFrame:
    """``item``, ``p``, ``se``."""
    rows = [(item, *share(happened)) for item, happened in events(plan, study, tally).items()]
    return TextTable(rows, columns=["item", "p", "se"])


def reasons_table(tally: Tally) -> pd.DataFrame:
    """``reason``, ``p``, ``se``, most frequent first."""
    count = len(tally.end_min)
    rows = [(reason, *share(np.arange(count) < number)) for reason, number in
            sorted(tally.reasons.items(), key=lambda entry: (-entry[1], entry[0]))]
    return TextTable(rows, columns=["reason", "p", "se"])


def tasks_table(plan: TimedPlan, study: Study, tally: Tally) -> pd.DataFrame:
    """P(each task done) by the planned and the hard limit, and P(dropped)."""
    limits, placed = plan.scenario.settings.limits, np.isfinite(tally.end_min)
    records = {task.task: task for task in plan.scenario.records.tasks}
    rows = []
    for task, inside in zip(study.outing.steps_of, tally.task_inside_min, strict=True):
        rows.append((task, records[task].title, records[task].need, *share(inside <= limits.planned_min),
                     *share(inside <= limits.hard_min), *share(np.isnan(inside) & placed)))
    shares = [name + end for name in ("p_planned", "p_hard", "p_dropped") for end in ("", "_se")]
    return TextTable(rows, columns=["task", "title", "need", *shares])


def windows_table(study: Study, tally: Tally) -> pd.DataFrame:
    """P(each planned window is caught), in order of the planned start."""
    rows = [(each.subject, each.title, each.task, each.window, each.planned_start_min, each.end_min,
             *share(caught)) for each, caught in zip(study.windows, tally.caught, strict=True)]
    table = TextTable(rows, columns=["step", "title", "task", "window", "planned_start_min", "latest_end_min",
                                     "p", "se"])
    return table.sort_values("planned_start_min", kind="stable").reset_index(drop=True)


def finish_table(tally: Tally) -> pd.DataFrame:
    """Quantiles of the outing end, a sample without a plan counting as endless."""
    rows = [(at, quantile(tally.end_min, at), quantile_se(tally.end_min, at)) for at in QUANTILES]
    table = TextTable(rows, columns=["quantile", "end_min", "se_min"])
    return table.assign(end=[pet_label(end) for end in table["end_min"]])


def task_finish_table(plan: TimedPlan, study: Study, tally: Tally) -> pd.DataFrame:
    """Quantiles of the last finish of each task, where it is done."""
    titles = {task.task: task.title for task in plan.scenario.records.tasks}
    rows = []
    for (task, steps), finishes in zip(study.outing.steps_of.items(), tally.task_finish_min, strict=True):
        done = finishes[np.isfinite(finishes)]
        rows.append((task, titles[task], float(plan.finishes[steps].max()),
                     *(quantile(done, at) for at in _BANDS.values()), len(done) / len(finishes)))
    return TextTable(rows, columns=["task", "title", "planned_min", *_BANDS, "share"])


def waiting_table(plan: TimedPlan, tally: Tally) -> pd.DataFrame:
    """Minutes of waiting by crew member."""
    rows = []
    for crew, waits in zip(plan.travels, tally.waits_min, strict=True):
        planned = sum(activity.minutes for activity in plan.lanes[crew] if activity.kind == WAIT)
        known = waits[np.isfinite(waits)]
        mean = float(known.mean()) if len(known) else float("nan")
        error = float(known.std(ddof=1) / np.sqrt(len(known))) if len(known) > 1 else float("nan")
        rows.append((crew, planned, mean, error, *(quantile(known, at) for at in (0.05, 0.5, 0.95))))
    return TextTable(rows, columns=["crew", "planned_min", "mean_min", "se_min", "q05", "q50", "q95"])


DRIVER_COLUMNS = ["driver", "kind", "title", "task", "own_rho", "se", "duration_rho", "end_if_short_min",
                  "end_if_long_min", "swing_min"]
MOST_USED = 20_000
_TENTH = 0.1
_TITLES = {"outing": "Pace of the whole outing", "pace": "Pace of {}", "travel": "Travel of {}"}


@dataclass(frozen=True, eq=False)
class _Driver:
    name: str
    kind: str
    title: str
    task: str
    own: np.ndarray
    whole: np.ndarray


def drivers_table(study: Study, tally: Tally) -> pd.DataFrame:
    """Steps and common factors against the outing end, strongest first, over samples with a plan.

    ``own_rho`` is Spearman's rank correlation of the outing end with a step's *own* part (its estimate alone,
    without the factors that it shares with others) or with a factor (``kind``: step, outing, pace, travel);
    ``se`` its standard error ``(1 - r^2) sqrt((1 + r^2 / 2) / (n - 3))`` (Bonett, Wright 2000, from memory).
    ``duration_rho``: the same for the whole duration, which a slow day lengthens with all others.
    ``end_if_short_min``, ``end_if_long_min``: median outing end (PET) over the tenth of the samples in which
    the own part is shortest, and longest; ``swing_min`` their difference. What never varies has no row. From
    the first `MOST_USED` samples. No promise: shortening a step that waits for night buys nothing.
    """
    used = min(len(tally.end_min), MOST_USED)
    end = tally.end_min[:used]
    placed = np.isfinite(end)
    if placed.sum() < 10 or np.ptp(end[placed]) == 0:
        return TextTable([], columns=DRIVER_COLUMNS)
    rows = [_row(driver, end, placed) for driver in _drivers(study, used)]
    table = TextTable(rows, columns=DRIVER_COLUMNS)
    order = table["own_rho"].abs().sort_values(ascending=False, kind="stable").index
    return table.loc[order].reset_index(drop=True)


def _drivers(study: Study, count: int) -> Iterator[_Driver]:
    records, sizes = study.outing.records, chunk_sizes(count)
    for name, sd in factor_streams(study.outing.crew, records.settings.odds).items():
        if sd:
            kind, _, crew = name.partition(":")
            own = _numbers(study, name, sizes)
            yield _Driver(name, kind, _TITLES[kind].format(crew), "", own, own)
    if records.settings.odds.distribution == "fixed":
        return
    drawn = [study.draw(chunk, size).durations for chunk, size in enumerate(sizes)]
    for step, whole in zip(records.steps, np.concatenate(drawn, axis=1), strict=True):
        is_history = study.outing.begun is not None and study.outing.begun.has_finished(step.step)
        if step.minutes_high > step.minutes_low and not is_history:
            own = _numbers(study, step_stream(step.step), sizes)
            yield _Driver(step.step, "step", step.title, step.task, own, whole)


def _numbers(study: Study, stream: str, sizes: list[int]) -> np.ndarray:
    """The numbers of a stream; a duration never falls with them, so their ranks are those of its own part."""
    return np.concatenate([normals(study.seed, chunk, stream, size) for chunk, size in enumerate(sizes)])


def _row(driver: _Driver, end: np.ndarray, placed: np.ndarray) -> tuple[object, ...]:
    own, whole, ends = driver.own[placed], driver.whole[placed], end[placed]
    rho = float(spearmanr(own, ends).statistic)
    whole_rho = float(spearmanr(whole, ends).statistic)
    error = (1.0 - rho**2) * np.sqrt((1.0 + rho**2 / 2.0) / (len(ends) - 3))
    order, tenth = np.argsort(own), max(1, round(_TENTH * len(own)))
    short, long = float(np.median(ends[order[:tenth]])), float(np.median(ends[order[-tenth:]]))
    return (driver.name, driver.kind, driver.title, driver.task, rho, float(error), whole_rho, short, long,
            long - short)
