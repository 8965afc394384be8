"""The least end of one lane against all its orders, tried one by one."""

from __future__ import annotations

import random
from itertools import pairwise, permutations

import pytest

from planning_kit.explore.propose import least_ends
from planning_kit.explore.propose.least_ends import LeastWalk, Trip, least_end

PLACES = "ABC"
INGRESS = 8
# Ticks between three places and the airlock, which is at A: a path A - B - C.
BETWEEN = {("A", "B"): 5, ("B", "C"): 9, ("A", "C"): 14}


def between(one: str, other: str) -> int:
    return 0 if one == other else BETWEEN[min(one, other), max(one, other)]


def random_trip(seed: int) -> Trip:
    """Six steps, some behind others, two of them in windows."""
    draws = random.Random(seed)
    count = 6
    spots = [draws.choice(PLACES) for _ in range(count)]
    before = [sum(1 << i for i in range(j) if draws.random() < 0.25) for j in range(count)]
    starts: list[list[tuple[int, int]] | None] = [None] * count
    for step in draws.sample(range(count), 2):
        begin = draws.randint(0, 60)
        starts[step] = [(begin, begin + 10), (begin + 90, begin + 100), (begin + 180, begin + 400)]
    return Trip(
        lengths=[draws.randint(2, 20) for _ in range(count)],
        way=[[between(a, b) for b in spots] for a in (*spots, "A")],
        home=[between(a, "A") + INGRESS for a in spots],
        before=before, starts=starts, spots=spots,
    )


def end_of(trip: Trip, order: tuple[int, ...]) -> tuple[int, int] | None:
    """End and walk of one order, by the definition; None where it breaks precedence or meets no window."""
    now, done, walk = 0, 0, 0
    for last, step in pairwise((-1, *order)):
        if trip.before[step] & ~done:
            return None
        walk += trip.way[last][step]
        now += trip.way[last][step]
        ranges = trip.starts[step]
        if ranges is not None:
            fits = [max(now, first) for first, end in ranges if now <= end]
            if not fits:
                return None
            now = fits[0]
        now += trip.lengths[step]
        done |= 1 << step
    return now + trip.home[order[-1]], walk + trip.home[order[-1]]


@pytest.mark.parametrize("seed", range(25))
def test_the_least_end_is_that_of_the_best_order(seed: int) -> None:
    trip = random_trip(seed)
    all_orders = [end_of(trip, order) for order in permutations(range(6))]
    wanted = min(each[0] for each in all_orders if each is not None)
    walk = LeastWalk(trip, 10_000, bool)
    assert least_end(walk, 10_000, 10_000) == wanted
    assert walk.left(0, -1) == min(each[1] for each in all_orders if each is not None)


@pytest.mark.parametrize("states", [0, 1, 3, 10])
@pytest.mark.parametrize("seed", range(8))
def test_with_few_states_it_is_a_bound(seed: int, states: int) -> None:
    trip = random_trip(seed)
    exact = least_end(LeastWalk(trip, 10_000, bool), 10_000, 10_000)
    assert sum(trip.lengths) < least_end(LeastWalk(trip, states, bool), 10_000, states) <= exact


def test_it_stops_at_what_is_enough() -> None:
    trip = random_trip(1)
    assert least_end(LeastWalk(trip, 10_000, bool), 5, 10_000) >= 5


def test_steps_that_no_window_takes_reach_enough() -> None:
    trip = random_trip(1)
    never = Trip(trip.lengths, trip.way, trip.home, trip.before, [[], *trip.starts[1:]], trip.spots)
    assert least_end(LeastWalk(never, 10_000, bool), 777, 10_000) == 777


def test_a_stopped_walk_is_still_a_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(least_ends, "_LOOK_EVERY", 3)
    fewer = 0
    for seed in range(30):
        whole = LeastWalk(random_trip(seed), 10_000, bool)
        stopped = LeastWalk(random_trip(seed), 10_000, lambda: True)
        assert 0 < stopped.left(0, -1) <= whole.left(0, -1)
        fewer += len(stopped.known) < len(whole.known)
    assert fewer
