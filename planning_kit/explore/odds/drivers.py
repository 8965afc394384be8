"""What drives the spread of the outing end: rank correlations, and the end when a driver runs long."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import spearmanr

from planning_kit.explore.odds.sampling import chunk_sizes, factor_streams, normals, step_stream
from planning_kit.explore.odds.study import Study, Tally
from planning_kit.inputs.text_table import TextTable

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
