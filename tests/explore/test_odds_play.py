"""Samples in play: against an independent one, event by event, and without foresight whatever is drawn."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planning_kit.explore.long_question import at_once
from planning_kit.explore.odds.foresight import Foresight
from planning_kit.explore.odds.played import Given, playing
from planning_kit.plan.network import Network
from planning_kit.plan.timing import earliest_starts
from tests.explore.one_sample import played_alone
from tests.plan.networks import timing_problems

SAMPLES = 6


@st.composite
def played_problems(draw: st.DrawFn) -> tuple[Network, np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """A problem that has a plan on expected minutes (no step of none), drawn minutes and travel factors."""
    network, durations = draw(timing_problems())
    expected = durations + 1.0
    assume(np.isfinite(earliest_starts(network, expected)).all())
    random = np.random.default_rng(draw(st.integers(0, 10**6)))
    spread = random.uniform(0.4, 2.2, (len(expected), SAMPLES))
    drawn = np.maximum(np.round(expected[:, None] * spread, 1), 0.1)
    factors = {crew: random.uniform(0.7, 1.5, SAMPLES) for crew in ("EV1", "EV2")}
    return network, expected, drawn, factors


@settings(max_examples=300, deadline=None)
@given(played_problems())
def test_each_sample_is_played_as_an_independent_one_event_by_event(problem) -> None:
    network, expected, drawn, factors = problem
    starts = at_once(playing(Foresight(network, expected), Given(drawn, factors))).starts
    for sample in range(SAMPLES):
        alone = played_alone(network, expected, drawn[:, sample],
                             {crew: float(each[sample]) for crew, each in factors.items()})
        np.testing.assert_array_equal(starts[:, sample], alone)


@settings(max_examples=200, deadline=None)
@given(played_problems(), st.floats(0.0, 200.0), st.integers(0, 10**6))
def test_what_is_drawn_after_a_minute_moves_nothing_begun_by_then(problem, minute: float, seed: int) -> None:
    network, expected, drawn, factors = problem
    foresight = Foresight(network, expected)
    starts = at_once(playing(foresight, Given(drawn, factors))).starts
    other = np.random.default_rng(seed).uniform(0.1, 40.0, drawn.shape)
    # What is over by then took what it took; what is under way takes at least until then.
    ran = np.clip(minute - starts, 0.0, None)
    changed = np.where(starts + drawn <= minute, drawn, ran + other)
    again = at_once(playing(foresight, Given(changed, factors))).starts
    by_then = starts <= minute
    np.testing.assert_array_equal(again[by_then], starts[by_then])
    assert (again[~by_then] > minute).all()


@settings(max_examples=200, deadline=None)
@given(played_problems())
def test_the_play_of_what_is_expected_is_the_plan(problem) -> None:
    network, expected, _, _ = problem
    starts = at_once(playing(Foresight(network, expected), Given(expected[:, None]))).starts
    np.testing.assert_array_equal(starts[:, 0], earliest_starts(network, expected))
