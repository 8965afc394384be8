"""How likely it is to fit: many sampled plans of one outing, and the same samples of two plans compared.

Two plans are compared on the same random numbers, so that a difference is no chance.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor

import numpy as np
import pandas as pd

from planning_kit.explore.long_question import Report, silent
from planning_kit.explore.odds.distributions import DISTRIBUTIONS
from planning_kit.explore.odds.odds_tables import OddsTables, overrun_words, quantile, share_words
from planning_kit.explore.odds.sampled_past import assumptions
from planning_kit.explore.odds.study import Study, joined, tallies
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, is_whole, must_be
from planning_kit.inputs.shown_text import TextTable, facts_html, shortened
from planning_kit.inputs.times import pet_label, pet_min
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
