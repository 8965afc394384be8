"""The timing against published worked examples (numbers and sources in each test)."""

from __future__ import annotations

import numpy as np
import pytest

from planning_kit.plan.network import MAX_GAP, MIN_GAP, Bound, Home, Network, Release
from planning_kit.plan.slack import latest_starts, slacks
from planning_kit.plan.timing import earliest_starts, outing_end
from tests.plan.networks import activity_network


def test_critical_path_of_a_public_example() -> None:
    # Critical path method, a public worked example (seven activities): finish 16, critical A-B-D-E-G;
    # C starts 6 at the earliest, 7 at the latest; F 8 and 9; each has a slack of 1.
    network = activity_network({"A": "", "B": "A", "C": "A", "D": "B", "F": "C", "E": "D F", "G": "E"})
    durations = np.array([6, 2, 2, 3, 2, 4, 1], dtype=float)
    starts = earliest_starts(network, durations)
    slack = slacks(network, durations, starts, hard_min=20.0)
    by_name = dict(zip(network.steps, starts, strict=True))
    assert outing_end(network, starts, durations) == 16
    assert (by_name["C"], by_name["F"]) == (6, 8)
    assert slack.to_plan.tolist() == [0, 0, 1, 0, 1, 0, 0]
    assert slack.to_limit.tolist() == [4, 4, 5, 4, 5, 4, 4]


def test_pert_example_at_its_mean_durations() -> None:
    # Three-point example with 14 activities (low, likely, high); mean (a + 4m + b) / 6. Published: slacks
    # of A to F; computed apart from this project by the same method: the rest, and the finish of 50.8333.
    estimates = {
        "A": (5, 5, 7, ""), "B": (1, 2, 5, ""), "C": (5, 5, 5, "A"), "D": (4, 8, 13, "A"),
        "E": (1, 10, 17, "B C"), "F": (1, 5, 7, "D"), "G": (2, 6, 9, "D"), "H": (4, 4, 6, "E F"),
        "I": (2, 7, 10, "G H"), "J": (2, 4, 7, "I"), "K": (6, 10, 13, "I"), "L": (2, 6, 6, "J"),
        "M": (2, 2, 3, "K"), "N": (7, 7, 12, "L M"),
    }
    network = activity_network({name: row[3] for name, row in estimates.items()})
    durations = np.array([(low + 4 * likely + high) / 6 for low, likely, high, _ in estimates.values()])
    starts = earliest_starts(network, durations)
    slack = dict(zip(network.steps, slacks(network, durations, starts, 60.0).to_plan, strict=True))
    assert outing_end(network, starts, durations) == pytest.approx(50.8333, abs=1e-4)
    expected = {"B": 8.0, "D": 1.833, "F": 1.833, "G": 5.0, "J": 2.5, "L": 2.5}
    for name, value in slack.items():
        assert value == pytest.approx(expected.get(name, 0.0), abs=1e-3), name


def commuting(then_minus_first: dict[tuple[int, int], tuple[float, float]]) -> Network:
    """A simple temporal network over x0..x4, x0 = 0, as durations of zero with least and greatest gaps."""
    bounds = []
    for (first, then), (low, high) in then_minus_first.items():
        bounds.append(Bound(first, then, MIN_GAP, "", low))
        bounds.append(Bound(then, first, MAX_GAP, "", -high))
    return Network(tuple(f"x{i}" for i in range(5)), (Release(0, 0.0),), tuple(bounds),
                   homes=(Home("EV1", 0, 0.0),))


# Dechter, Meiri, Pearl, "Temporal constraint networks", Artificial Intelligence 49 (1991), the commuting
# example (constraints from memory, confidence 95 %; the minimal network follows from them by shortest paths).
COMMUTING = {(0, 1): (10, 20), (1, 2): (30, 40), (3, 2): (10, 20), (3, 4): (40, 50), (0, 4): (60, 70)}


def test_simple_temporal_network_has_its_minimal_bounds() -> None:
    network, zero = commuting(COMMUTING), np.zeros(5)
    assert earliest_starts(network, zero).tolist() == [0, 10, 40, 20, 60]
    assert latest_starts(network, zero, 0.0).tolist() == [0, 20, 50, 30, 70]


def test_simple_temporal_network_of_another_day_is_inconsistent() -> None:
    assert np.isinf(earliest_starts(commuting(COMMUTING | {(1, 2): (60, 80)}), np.zeros(5))).any()


def test_simple_temporal_network_with_a_shorter_way_is_consistent() -> None:
    starts = earliest_starts(commuting(COMMUTING | {(3, 4): (20, 30)}), np.zeros(5))
    assert np.isfinite(starts).all()
