"""Properties that every timed plan has, on random problems."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planning_kit.plan.network import MAX_GAP, MIN_GAP, ORDER, Bound, Home, Network, Release, on_grid
from planning_kit.plan.slack import delay_curve, find_holders, latest_starts, slacks
from planning_kit.plan.timing import earliest_starts, outing_end
from tests.plan.networks import timing_problems, with_windows
from tests.plan.test_travel_by_crew import longer


def violations(network: Network, durations: np.ndarray, starts: np.ndarray) -> list[str]:
    """Every rule that these starts break, read from the rules' own words."""
    broken = [f"release {r.step}" for r in network.releases if starts[r.step] < r.at_min]
    for bound in network.bounds:
        left = starts[bound.after] + durations[bound.after] * bound.to_finish
        right = starts[bound.before] + durations[bound.before] * bound.from_finish
        if left < right + bound.fixed_min + bound.travel_min:
            broken.append(f"{bound.kind} {bound.before} -> {bound.after}")
    for step, windows in enumerate(network.allowed):
        if windows is not None and not _one_holds(windows, durations, starts, [step]):
            broken.append(f"window {step}")
    for group in network.groups:
        if not _one_holds(group.demand.windows, durations, starts, list(group.members)):
            broken.append(f"group {group.name}")
    return broken


def _one_holds(windows: np.ndarray, durations: np.ndarray, starts: np.ndarray, steps: list[int]) -> bool:
    return any(
        all(begin <= starts[step] and starts[step] + durations[step] <= end for step in steps)
        for begin, end in windows
    )


@settings(max_examples=300)
@given(timing_problems())
def test_no_rule_is_violated_and_every_step_has_a_holder(problem: tuple[Network, np.ndarray]) -> None:
    network, durations = problem
    starts = earliest_starts(network, durations)
    assume(np.isfinite(starts).all())
    assert violations(network, durations, starts) == []
    holders = find_holders(network, durations, starts)
    for step in range(len(starts)):
        seen, here = set(), step
        while here >= 0:
            assert here not in seen, "the chain of holders runs in a circle"
            seen.add(here)
            here = holders.chosen[here].source


@settings(max_examples=300)
@given(timing_problems(), st.data())
def test_nothing_can_start_earlier(problem: tuple[Network, np.ndarray], data: st.DataObject) -> None:
    network, durations = problem
    starts = earliest_starts(network, durations)
    assume(np.isfinite(starts).all())
    step = data.draw(st.integers(0, len(starts) - 1))
    earlier = starts.copy()
    earlier[step] -= 0.01
    assert violations(network, durations, earlier)


@settings(max_examples=150)
@given(timing_problems(), st.data())
def test_the_latest_plan_is_feasible_and_a_hundredth_later_is_not(
    problem: tuple[Network, np.ndarray], data: st.DataObject
) -> None:
    network, durations = problem
    starts = earliest_starts(network, durations)
    assume(np.isfinite(starts).all())
    deadline = float(outing_end(network, starts, durations)) + data.draw(st.integers(0, 60))
    latest = latest_starts(network, durations, deadline)
    bounded = np.isfinite(latest)
    assume(bounded.all())
    assert violations(network, durations, latest) == []
    assert outing_end(network, latest, durations) <= deadline
    step = data.draw(st.integers(0, len(starts) - 1))
    floor = np.full(len(starts), -np.inf)
    floor[step] = latest[step] + 0.01
    pushed = earliest_starts(network, durations, not_before=floor)
    assert not np.isfinite(pushed).all() or outing_end(network, pushed, durations) > deadline


@settings(max_examples=150)
@given(timing_problems(), st.data())
def test_slack_to_window_is_where_the_next_jump_is(problem: tuple[Network, np.ndarray],
                                                   data: st.DataObject) -> None:
    network, durations = problem
    starts = earliest_starts(network, durations)
    assume(np.isfinite(starts).all())
    slack = slacks(network, durations, starts, 1000.0).to_window
    step = data.draw(st.integers(0, len(starts) - 1))
    assume(np.isfinite(slack[step]))
    for delay, jumps in ((slack[step], False), (slack[step] + 0.01, True)):
        floor = np.full(len(starts), -np.inf)
        floor[step] = starts[step] + delay
        moved = earliest_starts(network, durations, not_before=floor)
        assert (_windows_used(network, moved) != _windows_used(network, starts)) == jumps


def _windows_used(network: Network, starts: np.ndarray) -> list[int]:
    return [
        -1 if windows is None or not np.isfinite(starts[step])
        else int(np.searchsorted(windows[:, 0], starts[step], side="right"))
        for step, windows in enumerate(network.allowed)
    ]


@settings(max_examples=100)
@given(timing_problems(), st.integers(0, 2**32 - 1))
def test_many_samples_are_timed_as_one_by_one(problem: tuple[Network, np.ndarray], seed: int) -> None:
    network, durations = problem
    random = np.random.default_rng(seed)
    many = durations[:, None] * random.uniform(0.5, 1.5, (len(durations), 7))
    together = earliest_starts(network, many)
    for sample in range(7):
        assert together[:, [sample]].tolist() == earliest_starts(network, many[:, [sample]]).tolist()
        # One plan is timed by other code: it must be the same to the bit.
        assert together[:, sample].tolist() == earliest_starts(network, many[:, sample]).tolist()


@settings(max_examples=150)
@given(timing_problems(with_max_gaps=False), st.data())
def test_longer_durations_never_start_anything_earlier_without_max_gaps(
    problem: tuple[Network, np.ndarray], data: st.DataObject
) -> None:
    # Gaps that count from or to a finish subtract a duration and are left out as well: see the design's
    # "monotone in what"; only plain order, after and start-to-start or finish-to-start gaps grow with it.
    network, durations = problem
    network = replace(network, bounds=tuple(b for b in network.bounds if not b.to_finish))
    step = data.draw(st.integers(0, len(durations) - 1))
    longer = durations.copy()
    longer[step] += data.draw(st.integers(1, 30))
    assert (earliest_starts(network, longer) >= earliest_starts(network, durations)).all()


@settings(max_examples=150)
@given(timing_problems(), st.data())
def test_later_releases_and_longer_travel_never_start_anything_earlier(
    problem: tuple[Network, np.ndarray], data: st.DataObject
) -> None:
    network, durations = problem
    starts = earliest_starts(network, durations)
    floor = np.array([data.draw(st.integers(-50, 200)) for _ in durations], dtype=float)
    assert (earliest_starts(network, durations, not_before=floor) >= starts).all()
    slow = longer(network, {"EV1": 1.5, "EV2": 1.5})
    assert (earliest_starts(slow, durations) >= starts).all()


def _within(first: int, then: int, minutes: float) -> Bound:
    """``then`` starts at most ``minutes`` after ``first`` finishes: a bound on ``first``."""
    return Bound(then, first, MAX_GAP, "", -minutes, from_finish=False, to_finish=True)


def max_gap_before_night(first_min: float) -> float:
    """Start of A, where B follows A within 5 min and waits for night at 100."""
    network = Network(
        ("A", "B"), (Release(0, 0.0, crew="EV1"),),
        (Bound(0, 1, ORDER, "A", crew="EV1"), _within(0, 1, 5.0)),
        homes=(Home("EV1", 1, 0.0),),
    )
    night = np.array([[100.0, 130.0]])
    network = with_windows(network, {1: night}, {}, night)
    return float(earliest_starts(network, np.array([first_min, 10.0]))[0])


def test_with_a_max_gap_a_longer_first_step_starts_earlier() -> None:
    # The worked case of the design: the clock pulls A back from the night that B waits for.
    assert max_gap_before_night(10.0) == 85.0
    assert max_gap_before_night(20.0) == 75.0


def test_equal_least_and_greatest_gaps_do_not_creep() -> None:
    # 0.1 is not exact in binary: without the grid the pair would raise each other for ever.
    network = Network(
        ("A", "B"), (Release(0, 0.3), Release(1, 0.7)),
        (Bound(0, 1, MIN_GAP, "A", 0.1), _within(0, 1, 0.1)), homes=(Home("EV1", 1, 0.0),),
    )
    starts = earliest_starts(network, np.array([0.1, 0.1]))
    assert starts == pytest.approx([0.5, 0.7], abs=1e-8)
    assert starts[1] - starts[0] == on_grid(0.1) + on_grid(0.1)


def test_delay_curve_shows_the_cliff() -> None:
    night = np.array([[20.0, 50.0], [110.0, 140.0]])
    network = Network(("A", "B"), (Release(0, 0.0),), (Bound(0, 1, ORDER, "A", crew="EV1"),),
                      homes=(Home("EV1", 1, 5.0),))
    network = with_windows(network, {1: night}, {}, night)
    durations = np.array([10.0, 25.0])
    curve = delay_curve(network, durations, earliest_starts(network, durations), 0, np.array([0, 15.0, 15.5]))
    assert curve["end_min"].tolist() == [50.0, 55.0, 140.0]
    assert curve["end_slip_min"].tolist() == [0.0, 5.0, 90.0]
