"""What the samples of an outing say, as tables: shares, quantiles and standard errors.

With them the table of drivers, which is made of the same samples: what makes the outing end early or late.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

import numpy as np
import pandas as pd

from planning_kit.explore.odds.sampled_outing import STEP, factor_streams, normals, stream
from planning_kit.explore.odds.study import Study, Tally
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import WAIT, minutes_of
from planning_kit.plan.plan_times import PlannedWindow
from planning_kit.plan.timed import TimedPlan

BY_PLANNED = "both inside by the planned limit"
BY_HARD = "both inside by the hard limit"
REQUIRED_DONE = "all required tasks done, each by the hard limit"
REQUIRED_INSIDE = "both inside by the hard limit with all required tasks done"
ALL_DONE = "nothing dropped, both inside by the hard limit"
BROKEN = "a window overrun or a clock broken: see broken"
NOT_KNOWN = "not known"
QUANTILES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)
_BANDS = {"q05": 0.05, "q25": 0.25, "q50": 0.5, "q75": 0.75, "q95": 0.95}


def share(happens: np.ndarray) -> tuple[float, float]:
    """Share of samples and its standard error, the latter of (k + 1) / (n + 2) (Laplace's rule)."""
    count = len(happens)
    likely = (happens.sum() + 1.0) / (count + 2.0)
    return float(happens.mean()), float(np.sqrt(likely * (1.0 - likely) / count))


def _known(values: np.ndarray, is_known: bool) -> np.ndarray:
    return values if is_known else np.full(len(values), np.nan)


def share_words(p: float, se: float | None = None) -> str:
    """A share in percent, with its standard error where that is given; "not known" for NaN."""
    return NOT_KNOWN if np.isnan(p) else f"{100 * p:.1f} %" + (f" ± {100 * se:.1f}" if se is not None else "")


def overrun_words(each: PlannedWindow) -> str:
    """What is broken where a step or group overruns its window."""
    return f"{each.subject} does not end inside {each.asks_for.partition(':')[2]}"


def quantile(values: np.ndarray, at: float) -> float:
    """The least value that a share ``at`` of the samples does not exceed; NaN where that one is infinite."""
    if not len(values):
        return float("nan")
    # One of the values, never a mean of two.
    found = float(np.quantile(values, at, method="inverted_cdf"))
    return found if np.isfinite(found) else float("nan")


def quantile_se(values: np.ndarray, at: float) -> float:
    """Standard error of a quantile: half the way between the order statistics one deviation aside."""
    deviation = float(np.sqrt(at * (1.0 - at) / len(values)))
    return (quantile(values, min(at + deviation, 1.0)) - quantile(values, max(at - deviation, 0.0))) / 2.0


@dataclass(frozen=True, eq=False, repr=False)
class OddsTables:
    """Samples of a plan as tables. Probabilities are shares of *all* samples, with their standard errors."""

    timed: TimedPlan
    study: Study
    tally: Tally

    @property
    def events(self) -> Mapping[str, np.ndarray]:
        """What can happen to the outing as a whole: for each row of ``summary``, in which samples it did.

        NaN in all of them where it rests on what is not known.
        """
        tally, unknown = self.tally, self.study.outing.unknown
        required = {task.task for task in self.timed.scenario.records.tasks if task.need == "required"}
        rows = [task in required for task in self.study.outing.steps_of]
        is_known, is_undone = not required & unknown.keys(), np.isnan(tally.task_finish_min)
        in_time, by_hard = tally.task_inside_min <= tally.hard_min, tally.end_min <= tally.hard_min
        return {
            BY_PLANNED: tally.end_min <= self.timed.scenario.settings.limits.planned_min,
            BY_HARD: by_hard,
            REQUIRED_DONE: _known(np.all(in_time[rows], axis=0), is_known),
            REQUIRED_INSIDE: _known(by_hard & ~np.any(is_undone[rows], axis=0), is_known),
            ALL_DONE: _known(by_hard & ~is_undone.any(axis=0), not unknown),
            BROKEN: _known(tally.broken, not unknown),
        }

    @property
    def p_broken(self) -> float:
        """Share of the samples in which a window is overrun or a clock broken (see ``broken``)."""
        return float(self.events[BROKEN].mean())

    @property
    def p_required(self) -> float:
        """The chance to be inside by the hard limit with all required work done that has steps.

        What it breaks is told by ``p_broken``. NaN: not known, as a named period that it needs is not.
        """
        return float(self.events[REQUIRED_INSIDE].mean())

    @property
    def tasks_done(self) -> Mapping[str, np.ndarray]:
        """In which samples each task is done early enough to be inside by the hard limit; NaN: not known."""
        inside = zip(self.study.outing.steps_of, self.tally.task_inside_min, strict=True)
        return {task: self._of_task(task, row <= self.tally.hard_min) for task, row in inside}

    def _of_task(self, task: str, happens: np.ndarray) -> np.ndarray:
        return _known(happens, task not in self.study.outing.unknown)

    @property
    def in_windows(self) -> Iterator[tuple[PlannedWindow, np.ndarray, np.ndarray]]:
        """Each planned window, in which samples it is caught and in which overrun; NaN: not known."""
        for each, caught, over in zip(self.study.windows, self.tally.caught, self.tally.overrun, strict=True):
            yield each, _known(caught, each.is_known), _known(over, each.is_known)

    @property
    def summary(self) -> pd.DataFrame:
        """The outing as a whole: ``item``, ``p`` and its standard error ``se``."""
        rows = [(item, *share(happens)) for item, happens in self.events.items()]
        return TextTable(rows, columns=["item", "p", "se"])

    @property
    def broken(self) -> pd.DataFrame:
        """What is broken in samples: ``reason`` in words, ``p``, ``se``, most frequent first.

        Steps that run past the end of their window, groups that lie in two windows, clocks that run over,
        steps begun with no window left, and tasks that nobody knows how to put back. What is not known, as a
        named period that it needs is not, stands first (NaN).
        """
        tally, sample = self.tally, np.arange(len(self.tally.end_min))
        # Of the first two a share needs only how many: which samples they were is not kept.
        rows: list[tuple[str, float, float]] = [(reason, *share(sample < number))
                                                for reason, number in tally.reasons.items()]
        rows += [(overrun_words(each), *share(over)) for each, _, over in self.in_windows
                 if each.is_known and over.any()]
        rows += [(f"{gap.first_step} to {gap.then_step}: more than {gap.max_gap:g} min", *share(over > 0))
                 for gap, over in zip(self.study.clocks, tally.over_min, strict=True) if (over > 0).any()]
        rows.sort(key=lambda row: (-row[1], row[0]))
        unknown = self.study.outing.unknown.items()
        rows[:0] = [(f"{task} {NOT_KNOWN}: {why}", np.nan, np.nan) for task, why in unknown]
        return TextTable(rows, columns=["reason", "p", "se"])

    @property
    def clocks(self) -> pd.DataFrame:
        """P(each greatest gap broken): one row a gap that has one, in the order of the table.

        ``first_step``, ``then_step``, ``max_gap_min``; ``p_broken`` and its standard error ``se``: the share
        of all samples in which both ends are done and lie further apart; ``over_mean_min``, ``over_max_min``:
        by how many minutes, in those samples (NaN where there are none).
        """
        rows = []
        for gap, over in zip(self.study.clocks, self.tally.over_min, strict=True):
            found = pd.Series(over[over > 0])
            rows.append((gap.first_step, gap.then_step, gap.max_gap, *share(over > 0), found.mean(),
                         found.max()))
        return TextTable(rows, columns=["first_step", "then_step", "max_gap_min", "p_broken", "se",
                                        "over_mean_min", "over_max_min"])

    @property
    def tasks(self) -> pd.DataFrame:
        """P(each task done): one row a task, in the order of the table.

        ``p_done``: not given up, whenever it ends and whatever it breaks. ``p_planned`` and ``p_hard``: its
        last step is finished early enough to go straight home from there and be inside by the planned or the
        hard limit (work by others: finished by then). ``p_dropped``: left out before its first step;
        ``p_put_back``: given up after it. Each with its standard error (``..._se``). What else is to do is
        not counted. ``why``: why they are not known (NaN), as a named period that it needs is not; else "".
        """
        limits, tally = self.timed.scenario.settings.limits, self.tally
        rows = []
        for (task, by_hard), inside, back in zip(self.tasks_done.items(), tally.task_inside_min,
                                                 tally.put_back, strict=True):
            shares = (share(self._of_task(task, happens)) for happens in (
                ~np.isnan(inside), inside <= limits.planned_min, by_hard, np.isnan(inside) & ~back, back))
            rows.append((*self._named(task, "title", "need"), *chain(*shares),
                         self.study.outing.unknown.get(task, "")))
        names = [name + end for name in ("p_done", "p_planned", "p_hard", "p_dropped", "p_put_back")
                  for end in ("", "_se")]
        return TextTable(rows, columns=["task", "title", "need", *names, "why"])

    def _named(self, task: str, *columns: str) -> tuple[str, ...]:
        record = next(each for each in self.timed.scenario.records.tasks if each.task == task)
        return task, *(getattr(record, column) for column in columns)

    @property
    def windows(self) -> pd.DataFrame:
        """P(each planned window is caught on the first try): lit, linked and named windows, and groups.

        ``step`` (or the group), ``window`` that the plan on likely durations uses, ``planned_start_min``
        (PET), ``latest_end_min`` (end of the window inside its guard), ``p`` that it lies whole in this
        window or an earlier one, ``se``; ``p_overrun``, ``p_overrun_se``: it was begun in a window, this or
        another, and ran past its end, or in none, or a group lies in two. A step that is given up does
        neither. NaN: when the window is, is not known.
        """
        rows = [(each.subject, each.title, each.task, each.window, each.planned_start_min, each.end_min,
                 *share(caught), *share(over)) for each, caught, over in self.in_windows]
        table = TextTable(rows, columns=["step", "title", "task", "window", "planned_start_min",
                                         "latest_end_min", "p", "se", "p_overrun", "p_overrun_se"])
        return table.sort_values("planned_start_min", kind="stable").reset_index(drop=True)

    @property
    def finish(self) -> pd.DataFrame:
        """Quantiles of the outing end: ``quantile``, ``end_min`` (PET), ``se_min``, ``end`` as PET label."""
        ends = self.tally.end_min
        rows = [(at, quantile(ends, at), quantile_se(ends, at)) for at in QUANTILES]
        table = TextTable(rows, columns=["quantile", "end_min", "se_min"])
        return table.assign(end=[pet_label(end) for end in table["end_min"]])

    @property
    def task_finish(self) -> pd.DataFrame:
        """Quantiles of the last finish of each task, PET minutes, over the samples in which it is done.

        ``planned_min``, ``q05``, ``q25``, ``q50``, ``q75``, ``q95``; ``share`` of the samples behind them.
        """
        rows = []
        steps_of = self.study.outing.steps_of.items()
        for (task, steps), finishes in zip(steps_of, self.tally.task_finish_min, strict=True):
            finishes = self._of_task(task, finishes)
            done = finishes[np.isfinite(finishes)]
            rows.append((*self._named(task, "title"), float(self.timed.finishes[steps].max()),
                         *(quantile(done, at) for at in _BANDS.values()),
                         share(self._of_task(task, np.isfinite(finishes)))[0]))
        return TextTable(rows, columns=["task", "title", "planned_min", *_BANDS, "share"])

    @property
    def waiting(self) -> pd.DataFrame:
        """Minutes that each crew member waits, for the partner's ingress too.

        ``planned_min``, ``mean_min``, ``se_min``, ``q05``, ``q50``, ``q95``.
        """
        rows = []
        for crew, waits in zip(self.timed.travels, self.tally.waits_min, strict=True):
            planned, known = minutes_of(self.timed.lanes[crew], WAIT), waits[np.isfinite(waits)]
            rows.append((crew, planned, pd.Series(known).mean(), pd.Series(known).sem(),
                         *(quantile(known, at) for at in (0.05, 0.5, 0.95))))
        return TextTable(rows, columns=["crew", "planned_min", "mean_min", "se_min", "q05", "q50", "q95"])

    @property
    def drivers(self) -> pd.DataFrame:
        """What drives the spread of the outing end, strongest first (see `drivers_table`)."""
        return self._drivers.copy()

    @cached_property
    def _drivers(self) -> pd.DataFrame:
        return drivers_table(self.study, self.tally)


DRIVER_COLUMNS = ["driver", "kind", "title", "task", "own_rho", "se", "duration_rho", "end_if_short_min",
                  "end_if_long_min", "swing_min"]
MOST_USED = 20_000
_TENTH = 0.1
_TITLES = {"outing": "Pace of the whole outing", "pace": "Pace of {}", "travel": "Travel of {}"}


def drivers_table(study: Study, tally: Tally) -> pd.DataFrame:
    """Steps and common factors against the outing end, strongest first.

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
    rows = [(*names, *_effect(own[placed], whole[placed], end[placed]))
            for names, own, whole in _drivers(study, used)]
    table = TextTable(rows, columns=DRIVER_COLUMNS)
    order = table["own_rho"].abs().sort_values(ascending=False, kind="stable").index
    return table.loc[order].reset_index(drop=True)


def _drivers(study: Study, count: int) -> Iterator[tuple[tuple[str, ...], np.ndarray, np.ndarray]]:
    """What varies: its first four columns, and by sample its own part and the whole duration or factor."""
    records = study.outing.records
    for name, sd in factor_streams(study.outing.crew, records.settings.odds).items():
        if sd:
            kind, _, crew = name.partition(":")
            own = normals(study.seed, 0, name, count)
            yield (name, kind, _TITLES[kind].format(crew), ""), own, own
    if records.settings.odds.distribution == "fixed":
        return
    for step, whole in zip(records.steps, study.draw(0, count).durations, strict=True):
        is_history = study.outing.begun is not None and study.outing.begun.has_finished(step.step)
        if step.minutes_high > step.minutes_low and not is_history:
            # A duration never falls with its numbers, so their ranks are those of its own part.
            own = normals(study.seed, 0, stream(STEP, step.step), count)
            yield (step.step, "step", step.title, step.task), own, whole


def _effect(own: np.ndarray, whole: np.ndarray, ends: np.ndarray) -> tuple[float, ...]:
    from scipy.stats import spearmanr  # here, as it takes long to load

    rho = float(spearmanr(own, ends).statistic)
    whole_rho = float(spearmanr(whole, ends).statistic)
    error = (1.0 - rho**2) * np.sqrt((1.0 + rho**2 / 2.0) / (len(ends) - 3))
    # By the own part: by whole durations the two ends would show slow days and fast ones, not this step.
    order, tenth = np.argsort(own), max(1, round(_TENTH * len(own)))
    short, long = float(np.median(ends[order[:tenth]])), float(np.median(ends[order[-tenth:]]))
    return rho, float(error), whole_rho, short, long, long - short
