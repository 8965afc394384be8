"""How likely it is to fit: many sampled plans of one outing, and what they say."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from planning_kit.explore.odds import tables
from planning_kit.explore.odds.drivers import drivers_table
from planning_kit.explore.odds.past import assumptions
from planning_kit.explore.odds.request import stop_if_senseless
from planning_kit.explore.odds.study import Study, Tally, run_study
from planning_kit.inputs.arguments import must_be
from planning_kit.inputs.text_table import TextTable, facts_html
from planning_kit.inputs.times import pet_label
from planning_kit.plan.timed import TimedPlan


def odds(plan: TimedPlan, samples: int = 10_000, seed: int = 1, executor: Executor | None = None,
         learn_pace: bool = False) -> TimedOdds:
    """Sample the durations and the travel of a plan, and time every sample: ``plan.odds`` says how.

    Raises `ScenarioError` for a number of samples, a seed, an executor or a distribution that makes no sense.
    """
    stop_if_senseless(plan, samples, seed)
    if executor is not None:
        must_be(executor, Executor, "executor", "must be a concurrent.futures.Executor, or None")
    study = Study.of(plan, int(seed), bool(learn_pace))
    return TimedOdds(plan, study, run_study(study, int(samples), executor))


@dataclass(frozen=True, eq=False, repr=False)
class TimedOdds:
    """What many samples of one outing say. Probabilities are shares of *all* samples.

    A sample that cannot be timed (a greatest gap that its durations break, no window left) has no plan: it
    counts as nothing done and no window caught, and ``no_plan`` is the share of such samples. Standard errors
    of a share k of n are those of (k + 1) / (n + 2), so that none is zero only because all samples agreed.
    """

    timed: TimedPlan
    study: Study
    tally: Tally

    @property
    def samples(self) -> int:
        """How many samples."""
        return len(self.tally.end_min)

    @property
    def seed(self) -> int:
        """The seed of the random numbers."""
        return self.study.seed

    @property
    def no_plan(self) -> float:
        """Share of the samples that cannot be timed (see ``no_plan_reasons``)."""
        return float((~np.isfinite(self.tally.end_min)).mean())

    @property
    def no_plan_reasons(self) -> pd.DataFrame:
        """Why samples have no plan: ``reason``, ``p``, ``se``, most frequent first."""
        return tables.reasons_table(self.tally)

    @cached_property
    def _summary(self) -> pd.DataFrame:
        return tables.summary_table(self.timed, self.study, self.tally)

    @property
    def summary(self) -> pd.DataFrame:
        """The outing as a whole: ``item``, ``p`` and its standard error ``se``."""
        return self._summary.copy()

    @property
    def tasks(self) -> pd.DataFrame:
        """P(each task done): one row a task, in the order of the table.

        ``p_planned`` and ``p_hard``: its last step is finished early enough to go straight home from there
        and be inside by the planned or the hard limit (work by others: finished by then); ``p_dropped``: left
        out by the cut rule. Each with its standard error (``..._se``). What else is to do is not counted.
        """
        return tables.tasks_table(self.timed, self.study, self.tally)

    @property
    def windows(self) -> pd.DataFrame:
        """P(each planned window is caught on the first try): lit, linked and named windows, and groups.

        ``step`` (or the group), ``window`` that the plan on likely durations uses, ``planned_start_min``
        (PET), ``latest_end_min`` (end of the window inside its guard), ``p`` that it lies in this window or
        an earlier one, ``se``. A step of a dropped task catches none.
        """
        return tables.windows_table(self.study, self.tally)

    @property
    def finish(self) -> pd.DataFrame:
        """Quantiles of the outing end: ``quantile``, ``end_min`` (PET), ``se_min``, ``end`` as a PET label.

        Samples without a plan count as later than any limit, so high quantiles can be NaN.
        """
        return tables.finish_table(self.tally)

    @property
    def median_end_min(self) -> float:
        """Median of the outing end over the samples with a plan, PET minutes; NaN where none has one."""
        return tables.quantile(self.tally.end_min[np.isfinite(self.tally.end_min)], 0.5)

    @property
    def task_finish(self) -> pd.DataFrame:
        """Quantiles of the last finish of each task, PET minutes, over the samples in which it is done.

        ``planned_min``, ``q05``, ``q25``, ``q50``, ``q75``, ``q95``; ``share`` of the samples behind them.
        """
        return tables.task_finish_table(self.timed, self.study, self.tally)

    @property
    def waiting(self) -> pd.DataFrame:
        """Minutes that each crew member waits, for the partner's ingress too, over the samples with a plan.

        ``planned_min``, ``mean_min``, ``se_min``, ``q05``, ``q50``, ``q95``.
        """
        return tables.waiting_table(self.timed, self.tally)

    @property
    def assumed(self) -> pd.DataFrame:
        """What odds of a re-timed plan rest on: ``step`` ("" for all) and ``words``; else empty."""
        begun = self.study.outing.begun
        rows = list(assumptions(begun, self.study.outing.records)) if begun else []
        return TextTable(rows, columns=["step", "words"])

    @cached_property
    def _drivers(self) -> pd.DataFrame:
        return drivers_table(self.study, self.tally)

    @property
    def drivers(self) -> pd.DataFrame:
        """What drives the spread of the outing end, strongest first (see `drivers_table`)."""
        return self._drivers.copy()

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
    limits = odds.timed.scenario.settings.limits
    shares = {row["item"]: f"{100 * row['p']:.1f} % ± {100 * row['se']:.1f}"
              for row in odds.summary.to_dict("records")}
    known = [(f"inside by {pet_label(limits.planned_min)}", shares[tables.BY_PLANNED]),
             (f"by {pet_label(limits.hard_min)}", shares[tables.BY_HARD])]
    return [("title", odds.timed.scenario.settings.title), ("samples", f"{odds.samples}, seed {odds.seed}"),
            *known, ("median end", pet_label(tables.quantile(odds.tally.end_min, 0.5))),
            ("no plan", f"{100 * odds.no_plan:.1f} %")]
