"""Two plans on the same random numbers: a difference that is a difference, not chance."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from planning_kit.explore.odds.odds import TimedOdds, as_odds
from planning_kit.explore.odds.study import PlannedWindow
from planning_kit.explore.odds.tables import events
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.text_table import TextTable
from planning_kit.inputs.times import pet_min

COLUMNS = ["item", "unit", "a", "b", "difference", "se", "se_if_independent"]


def compare_odds(a: TimedOdds, b: TimedOdds) -> pd.DataFrame:
    """What plan ``b`` makes likelier or later than plan ``a``, sample by sample.

    ``odds.compare`` says what the rows are. Raises `ScenarioError` when seed or number of samples differ:
    then the samples are no pairs.
    """
    as_odds(b, "other")
    faults = Faults()
    for name in ("seed", "samples"):
        one, other = getattr(a, name), getattr(b, name)
        if one != other:
            faults.add("", None, name, f"{one} and {other}",
                       "must be the same in both, so that their samples are pairs; ask for one of them again")
    faults.stop_if_any()
    rows = [_row(item, unit, before, after) for item, unit, before, after in _pairs(a, b)]
    rows += _window_rows(a, b)
    return TextTable(rows, columns=COLUMNS)


def _pairs(a: TimedOdds, b: TimedOdds) -> Iterator[tuple[str, str, np.ndarray, np.ndarray]]:
    """Each item with its values by sample in both."""
    before, after = (events(odds.timed, odds.study, odds.tally) for odds in (a, b))
    for item in before:
        yield item, "share", before[item], after[item]
    placed = np.isfinite(a.tally.end_min) & np.isfinite(b.tally.end_min)
    yield "mean outing end", "min", a.tally.end_min[placed], b.tally.end_min[placed]
    in_a, in_b = _tasks(a), _tasks(b)
    for task in in_a:
        if task in in_b:
            yield f"{task} done by the hard limit", "share", in_a[task], in_b[task]


def _tasks(odds: TimedOdds) -> dict[str, np.ndarray]:
    hard_min = odds.timed.scenario.settings.limits.hard_min
    inside = odds.tally.task_inside_min
    return {task: row <= hard_min for task, row in zip(odds.study.outing.steps_of, inside, strict=True)}


def _window_rows(a: TimedOdds, b: TimedOdds) -> Iterator[tuple[object, ...]]:
    """A row for everything that both plans have in a window of one kind."""
    others = {(each.subject, each.wanted): (each, caught) for each, caught in _windows(b)}
    for one, before in _windows(a):
        other, after = others.get((one.subject, one.wanted), (None, before))
        if other is None:
            continue
        if _is_same_stretch(a, one, b, other):
            yield _row(f"{one.subject} in {one.window} caught", "share", before, after)
        else:
            item = f"{one.subject} caught: {one.window} of a, {other.window} of b, not the same"
            yield (item, "share", float(before.mean()), float(after.mean()), *[float("nan")] * 3)


def _windows(odds: TimedOdds) -> Iterator[tuple[PlannedWindow, np.ndarray]]:
    return zip(odds.study.windows, odds.tally.caught, strict=True)


def _is_same_stretch(a: TimedOdds, one: PlannedWindow, b: TimedOdds, other: PlannedWindow) -> bool:
    """Whether two windows of one kind, which never overlap, are one: they overlap in UTC."""
    later = pet_min(b.timed.egress, a.timed.egress)
    return one.begin_min < other.end_min + later and other.begin_min + later < one.end_min


def _row(item: str, unit: str, before: np.ndarray, after: np.ndarray) -> tuple[object, ...]:
    one, other = before.astype(float), after.astype(float)
    count = len(one)
    if count < 2:
        return (item, unit, *[float("nan")] * 5)
    paired = float((other - one).std(ddof=1) / np.sqrt(count))
    apart = float(np.sqrt((one.var(ddof=1) + other.var(ddof=1)) / count))
    return item, unit, one.mean(), other.mean(), (other - one).mean(), paired, apart
