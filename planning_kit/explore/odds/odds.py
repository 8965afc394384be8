"""How likely it is to fit: many sampled plans of one outing, and the same samples of two plans compared.

Two plans are compared on the same random numbers, so that a difference is no chance.

Proposed cuts: which tasks go first when an outing runs late, and by when.
For each task that may be dropped: all that is cut before it is taken as dropped, all else is still to be
done, and the task is made to begin at minute L. The proposed last start is the greatest whole L at which both
are still inside by the hard limit in at least ``level`` of the samples (those in which the task can have
begun by L; nothing else is given up in them). Found by bisection: a later start does not end the outing
earlier.

Assumed: that the task begins late says nothing about the pace to come. On a day that is slow for a common
reason the true share is somewhat lower; `odds` with the table put into the
scenario (``scenario.with_cuts``) shows what the whole rule gives.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Self

import numpy as np
import pandas as pd

from planning_kit.explore.long_question import Report, silent, told
from planning_kit.explore.odds.distributions import DISTRIBUTIONS
from planning_kit.explore.odds.odds_tables import OddsTables, overrun_words, quantile, share, share_words
from planning_kit.explore.odds.sampled_outing import CHUNK, Draws, Part, left_out, part_without
from planning_kit.explore.odds.sampled_past import assumptions
from planning_kit.explore.odds.study import Study, joined, tallies
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, is_number, is_whole, must_be
from planning_kit.inputs.records import Task
from planning_kit.inputs.shown_text import TextTable, facts_html, shortened
from planning_kit.inputs.times import pet_label, pet_min
from planning_kit.judge.review import drop_order, may_go, task_starts
from planning_kit.plan.build import placeless
from planning_kit.plan.plan_times import PlannedWindow
from planning_kit.plan.timed import TimedPlan

FEWEST_SAMPLES = 100
MOST_SAMPLES = 2_000_000


def stop_if_senseless(plan: TimedPlan, samples: object, seed: object, most: int = MOST_SAMPLES) -> None:
    """Raise `ScenarioError` for a number of samples or a seed out of range, or an unknown distribution."""
    faults = Faults()
    if not is_whole(samples, FEWEST_SAMPLES, most):
        faults.add("", None, "samples", samples, f"must be a whole number from {FEWEST_SAMPLES} to {most}")
    if not is_whole(seed, 0, 2**128 - 1):
        faults.add("", None, "seed", seed, "must be a whole number, 0 or more")
    name, known = plan.scenario.settings.odds.distribution, tuple(DISTRIBUTIONS)
    if name and name not in known:
        faults.add("scenario.toml", None, "odds.distribution", name,
                   f"is no distribution of durations; the choices are {', '.join(known)}"
                   f"{did_you_mean(name, known)}")
    faults.stop_if_any()


def odds(plan: TimedPlan, samples: int = 10_000, seed: int = 1, executor: Executor | None = None,
         learn_pace: bool = False, report: Report = silent) -> TimedOdds:
    """Sample the durations and the travel of a plan, and time every sample: ``plan.odds`` says how.

    Raises `ScenarioError` for a number of samples, a seed, an executor or a distribution that makes no sense.
    """
    stop_if_senseless(plan, samples, seed)
    must_be(learn_pace, bool, "learn_pace", "must be True or False")
    study = Study.of(plan, int(seed), learn_pace)
    return TimedOdds(plan, study, joined(list(tallies(study, int(samples), executor, report))))


class TimedOdds(OddsTables):
    """What many samples of one outing say. Probabilities are shares of *all* samples.

    Every sample is played to its end by those who do not know how long anything will take
    (`planning_kit.explore.odds.played`); ``p_broken`` is the share in which a step does not lie in its window
    or a clock runs over. Standard errors of a share k of n are those of (k + 1) / (n + 2), so that none is
    zero only because all samples agreed.
    """

    @property
    def samples(self) -> int:
        """How many samples."""
        return len(self.tally.end_min)

    @property
    def seed(self) -> int:
        """The seed of the random numbers."""
        return self.study.seed

    @property
    def median_end_min(self) -> float:
        """Median of the outing end, PET minutes."""
        return quantile(self.tally.end_min, 0.5)

    @property
    def assumed(self) -> pd.DataFrame:
        """What they rest on, re-timed or with steps without a place: ``step`` ("": all) and ``words``."""
        begun = self.study.outing.begun
        rows = list(assumptions(begun, self.study.outing.records)) if begun else []
        lost = [(step, "has no place: travel to it is not counted, so the chances are lower than told")
                for step in placeless(self.timed.steps)]
        return TextTable([*rows, *lost], columns=["step", "words"])

    def __repr__(self) -> str:
        facts = "; ".join(f"{name} {value}" for name, value in _facts(self)[1:])
        return f"<Odds of {self.timed.scenario.settings.title!r}: {facts}>"

    def _repr_html_(self) -> str:
        return facts_html("Odds", _facts(self))


def as_odds(given: object, what: str = "odds") -> TimedOdds:
    """``given``, or a `ScenarioError` where these are no odds."""
    return must_be(given, TimedOdds, what, "must be what plan.odds() gives")


def _facts(odds: TimedOdds) -> list[tuple[str, str]]:
    """What both reprs show: name and value."""
    plan, limits = odds.timed, odds.timed.scenario.settings.limits
    own = "" if limits.fixed_hard_min is not None else "the hard limit of each sample, in the plan "
    planned, hard = (share_words(row["p"], row["se"]) for row in odds.summary[:2].to_dict("records"))
    known = [(f"inside by {pet_label(limits.planned_min, 'down')}", planned),
             (f"by {own}{plan.hard_limit.label}", hard)]
    return [("title", odds.timed.scenario.settings.title), ("samples", f"{odds.samples}, seed {odds.seed}"),
            *known, ("median end", pet_label(odds.median_end_min)),
            ("something broken", share_words(odds.p_broken)),
            *[("not counted", f"travel to {shortened(', '.join(lost), 80)}, without a place")
              for lost in [placeless(plan.steps)] if lost]]


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
    before, after = _outcomes(a), _outcomes(b)
    rows = [_row(*item, values, after[item]) for item, values in before.items() if item in after]
    return TextTable([*rows, *_window_rows(a, b)], columns=COLUMNS)


def _outcomes(odds: TimedOdds) -> dict[tuple[str, str], np.ndarray]:
    """By item and unit its value in each sample; of a clock with an end that is not done 0 minutes."""
    found = {(item, "share"): happens for item, happens in odds.events.items()}
    found["mean outing end", "min"] = odds.tally.end_min
    found |= {(f"{task} done by the hard limit", "share"): done for task, done in odds.tasks_done.items()}
    found |= {(overrun_words(each), "share"): over for each, _, over in odds.in_windows}
    for gap, over in zip(odds.study.clocks, odds.tally.over_min, strict=True):
        found[f"clock {gap.words} broken", "share"] = over > 0
        found[f"mean minutes over the clock {gap.words}", "min"] = np.nan_to_num(over)
    return found


def _window_rows(a: TimedOdds, b: TimedOdds) -> Iterator[tuple[object, ...]]:
    """A row for everything that both plans have in a window of one kind."""
    others = {(each.subject, each.asks_for): (each, caught) for each, caught, _ in b.in_windows}
    for one, before, _ in a.in_windows:
        other, after = others.get((one.subject, one.asks_for), (None, before))
        if other is None:
            continue
        if _is_same_stretch(a, one, b, other):
            yield _row(f"{one.subject} in {one.window} caught", "share", before, after)
        else:
            # Two windows are two questions: the difference of their shares would say nothing.
            item = f"{one.subject} caught: {one.window} of a, {other.window} of b, not the same"
            yield (item, "share", float(before.mean()), float(after.mean()), *[float("nan")] * 3)


def _is_same_stretch(a: TimedOdds, one: PlannedWindow, b: TimedOdds, other: PlannedWindow) -> bool:
    """Whether two windows of one kind, which never overlap, are one: they overlap in UTC."""
    # Each plan counts from its own PET 0. Of a window that is not known nothing is said in any case.
    later = pet_min(b.timed.pet_zero, a.timed.pet_zero)
    return (one.begin_min < other.end_min + later and other.begin_min + later < one.end_min
            ) or not (one.is_known and other.is_known)


def _row(item: str, unit: str, before: np.ndarray, after: np.ndarray) -> tuple[object, ...]:
    one, other = before.astype(float), after.astype(float)
    count = len(one)
    # A pair has the same luck: the error is the scatter of the differences; the other shows what that saves.
    paired = float((other - one).std(ddof=1) / np.sqrt(count))
    apart = float(np.sqrt((one.var(ddof=1) + other.var(ddof=1)) / count))
    return item, unit, one.mean(), other.mean(), (other - one).mean(), paired, apart


# Proposed cuts


CUT_COLUMNS = ["cut_order", "task", "title", "need", "planned_start_min", "last_start_min", "last_start", "p",
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
    return TextTable(rows, columns=CUT_COLUMNS)


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
