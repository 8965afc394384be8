"""Pace learned from the work so far, against plain weighting of samples by how likely the log is in each."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import planning_kit as pk
from tests.explore.retime.test_log import log_of

ROWS = ("A1 started 0:00", "A1 finished 0:13", "B1 started 0:14", "B1 finished 0:19", "C1 started 0:14",
        "C1 finished 0:17", "B2 started 0:21", "B2 finished 0:37", "C2 started 0:20", "C2 finished 0:27")
COMMON_SD, CREW_SD = 0.15, 0.1


@pytest.fixture(scope="module")
def slow(small: pk.Scenario) -> pk.Plan:
    """EV1 takes about a quarter longer than likely, EV2 just as long; what both do is slow, too."""
    scenario = small.with_settings({"odds.common_sd": COMMON_SD, "odds.crew_sd": CREW_SD})
    return pk.time_plan(scenario).retime(log_of(*ROWS), 38)


def weighted(plan: pk.Plan) -> dict[str, tuple[float, float]]:
    """Mean and deviation of the log pace of each, over 200 000 prior samples weighted by the log."""
    draw, count = np.random.default_rng(3), 200_000
    common = draw.normal(-COMMON_SD**2 / 2, COMMON_SD, count)
    own = {who: draw.normal(-CREW_SD**2 / 2, CREW_SD, count) for who in ("EV1", "EV2")}
    pace = {who: np.exp(common + own[who]) for who in own}
    pace["both"] = (pace["EV1"] + pace["EV2"]) / 2
    weight = np.ones(count)
    for name, took in (("A1", 13), ("B1", 5), ("C1", 3), ("B2", 16), ("C2", 7)):
        state = plan.timed.outside.states.by_step[name] if plan.timed.outside else None
        assert state is not None
        step = state.step
        mode = (step.minutes_likely - step.minutes_low) / (step.minutes_high - step.minutes_low)
        estimate = stats.beta(1 + 4 * mode, 5 - 4 * mode, step.minutes_low,
                              step.minutes_high - step.minutes_low)
        weight *= estimate.pdf(took / pace[step.crew]) / pace[step.crew]
    found = {}
    for who in own:
        log = np.log(pace[who])
        mean = float(np.average(log, weights=weight))
        found[who] = mean, float(np.sqrt(np.average((log - mean) ** 2, weights=weight)))
    return found


def test_the_pace_learned_is_that_of_the_samples_in_which_the_log_is_likely(slow: pk.Plan) -> None:
    begun = slow.odds(500, learn_pace=True).study.outing.begun
    assert begun is not None
    assert begun.pace is not None
    draws = begun.pace.of_crew(np.random.default_rng(1).normal(size=(3, 100_000)))
    for who, (mean, deviation) in weighted(slow).items():
        log = np.log(draws[who])
        # A lognormal stands in for the estimate: that costs a few hundredths.
        assert log.mean() == pytest.approx(mean, abs=0.03)
        assert log.std() == pytest.approx(deviation, abs=0.02)
    assert np.log(draws["EV1"]).mean() > np.log(draws["EV2"]).mean() > -0.03
    words = slow.odds(100, learn_pace=True).assumed["words"].tolist()
    assert any(text.startswith("EV1 takes 1.") and text.endswith("as learned from 5 steps") for text in words)


def test_a_slow_start_makes_a_late_end_likelier_only_where_it_is_asked(slow: pk.Plan) -> None:
    plain, learned = slow.odds(2000), slow.odds(2000, learn_pace=True)
    assert learned.tally.end_min.mean() > plain.tally.end_min.mean()
    assert slow.odds(2000, learn_pace=True).tally.end_min.tolist() == learned.tally.end_min.tolist()


def test_with_nothing_done_and_without_factors_nothing_is_learned(small: pk.Scenario,
                                                                  small_plan: pk.Plan) -> None:
    scenario = small.with_settings({"odds.common_sd": COMMON_SD, "odds.crew_sd": CREW_SD})
    now = pk.time_plan(scenario).retime(log_of("- pet_zero 0:00"), 0)
    one, other = now.odds(500), now.odds(500, learn_pace=True)
    np.testing.assert_allclose(other.tally.end_min, one.tally.end_min, rtol=0, atol=1e-6)
    certain = small.with_settings({f"odds.{name}": 0.0 for name in ("common_sd", "crew_sd", "travel_sd")})
    late = pk.time_plan(certain).retime(log_of(*ROWS), 38)
    pd.testing.assert_series_equal(pd.Series(late.odds(500).tally.end_min),
                                   pd.Series(late.odds(500, learn_pace=True).tally.end_min))
    learned, plain = small_plan.odds(500, learn_pace=True), small_plan.odds(500)
    assert learned.tally.end_min.tolist() == plain.tally.end_min.tolist()
