"""Tightest first: every margin of a plan, with how likely each is to be missed.

A margin is missed in a sample where one of its terms is broken there (`planning_kit.judge.margins`). A window
and a last start are missed, too, where their task is dropped or the sample has no plan, as the odds count it;
of such samples clocks and inhibits say nothing.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd

from planning_kit.explore.long_question import InPieces, at_once
from planning_kit.explore.odds.odds import stop_if_senseless
from planning_kit.explore.odds.sampled_outing import Draws
from planning_kit.explore.odds.sampled_plans import SampledPlans, timing_samples
from planning_kit.explore.odds.study import Study, done, is_caught
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.shown_text import TextTable
from planning_kit.judge.every_margin import HARD_MIN, exact_margins
from planning_kit.judge.margins import IN_WINDOWS, LAST_START, LIMIT, Margin, by_tightness
from planning_kit.plan.activities import summarise
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

SAMPLES, SEED = 1_000, 1
TIGHTEST_COLUMNS = ["kind", "about", "crew", "step", "at_min", "margin", "unit", "lost", "end_slip_min",
                    "p_missed", "is_cliff"]
_ORDINALS = ("Tightest", "Second tightest", "Third tightest")


_SAMPLED: WeakKeyDictionary[TimedPlan, tuple[Margin, ...]] = WeakKeyDictionary()


def tightest_margins(plan: TimedPlan) -> tuple[Margin, ...]:
    """Every margin, the likeliest to be missed first; without samples where the odds cannot be asked."""
    return at_once(finding_tightest(plan))


def finding_tightest(plan: TimedPlan) -> InPieces[tuple[Margin, ...]]:
    """`tightest_margins` in pieces."""
    if plan not in _SAMPLED:
        try:
            stop_if_senseless(plan, SAMPLES, SEED)
        except ScenarioError:  # settings of the odds that make no sense: the odds say so
            return exact_margins(plan)
        study = Study.of(plan, SEED)
        yield
        draws = study.draw(0, SAMPLES)
        yield
        plans = yield from timing_samples(study.outing, draws, study.rules)
        yield
        _SAMPLED[plan] = tuple(by_tightness(_sampled(plan, study, draws, plans)))
    return _SAMPLED[plan]


def _sampled(plan: TimedPlan, study: Study, draws: Draws, plans: SampledPlans) -> Iterator[Margin]:
    """Every margin with the share of 1,000 fixed samples, timed as the odds time them, that misses it."""
    starts, finishes = done(study.outing, plans, draws)
    missed = {(each.name, frozenset(each.members)): 1.0 - float(is_caught(each, starts, finishes).mean())
              for each in study.windows}

    def p_missed(margin: Margin) -> float:
        if not margin.terms:
            return float("nan")
        if margin.kind in IN_WINDOWS:
            return missed[margin.about, frozenset(term.late.step for term in margin.terms)]
        short, counts_all = np.zeros(SAMPLES, dtype=bool), margin.kind in (LAST_START, LIMIT)
        for term in margin.terms:
            # A hard limit that follows from consumables is another in each sample.
            own_limit = plans.hard_min - term.most_min if margin.about == HARD_MIN else 0.0
            left = term.left_min(starts, finishes, plans.end_min) + own_limit
            short |= ~(left >= -ROUNDING_MIN) if counts_all else left < -ROUNDING_MIN
        return float(short.mean())

    return (replace(each, p_missed=p_missed(each)) for each in exact_margins(plan))


def tightest(plan: TimedPlan) -> pd.DataFrame:
    """Every margin of the plan, the tightest first: one row each.

    ``kind`` (night, day, named, link, clock, inhibit, exposure, tether, return, store, limit, last start),
    ``about`` (the window, the two steps of a clock, the inhibit, ...), ``crew``, ``step``, ``at_min`` (PET);
    ``margin`` in ``unit`` (negative: the plan misses it); ``lost`` by missing it, in words;
    ``end_slip_min``: how much later the outing ends for the minute beyond the margin (NaN where it does not,
    infinite where no later window is known); ``p_missed``: share of 1,000 fixed samples that miss it (NaN
    where samples say nothing); ``is_cliff``: that minute costs more than a minute at the end.

    The likeliest to be missed stands first, then cliffs, then by the margin over what the steps before it may
    take longer than likely. Of a re-timed plan what is history has no row.
    """
    return _table(tightest_margins(plan))


def tightest_exact(plan: TimedPlan) -> pd.DataFrame:
    """The same without samples, and sooner: ``p_missed`` is not known.

    What the plan misses stands first, then what its high estimates can miss.
    """
    return _table(exact_margins(plan))


def _table(margins: Iterable[Margin]) -> pd.DataFrame:
    rows = [[getattr(each, name) for name in TIGHTEST_COLUMNS] for each in margins]
    return TextTable(rows, columns=TIGHTEST_COLUMNS)


def told_summary(plan: TimedPlan) -> pd.DataFrame:
    """The plan in a dozen lines: ``item`` and ``value``; after the end its three tightest margins."""
    table = summarise(plan, plan.lanes)
    after = int((table["item"] == "Both inside").to_numpy().argmax()) + 1
    rows = [(name, each.words) for name, each in zip(_ORDINALS, exact_margins(plan), strict=False)]
    told = TextTable(rows, columns=["item", "value"])
    return TextTable(pd.concat([table[:after], told, table[after:]], ignore_index=True))
