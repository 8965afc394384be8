"""Fastest routes against networkx (an independent library) on random stations."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning_kit.inputs.records import Crew, Place, Route
from planning_kit.plan.travel import TIE_MIN, Travel, travel_for

NAMES = [f"p{i}" for i in range(7)]


def place(name: str) -> Place:
    return Place(name, "", 0.0, 0.0, 0.0, None, False, False, "")


def route(a: str, b: str, metres: float, minutes: float | None = None) -> Route:
    return Route(a, b, metres, minutes, False, False, "")


routes = st.builds(
    route, st.sampled_from(NAMES), st.sampled_from(NAMES), st.floats(0.5, 60.0),
    st.none() | st.floats(0.1, 9.0),
).filter(lambda r: r.from_place != r.to_place)


@given(st.lists(routes, min_size=1, max_size=15), st.floats(1.0, 10.0))
def test_times_and_ways_agree_with_networkx(chosen: list[Route], speed: float) -> None:
    travel = travel_for(Crew("EV1", speed, None, None, None), [place(n) for n in NAMES], chosen)
    graph = nx.MultiGraph()
    graph.add_nodes_from(NAMES)
    for r in chosen:
        graph.add_edge(r.from_place, r.to_place, weight=r.metres / speed if r.minutes is None else r.minutes)
    expected = dict(nx.all_pairs_dijkstra_path_length(graph))
    for a in NAMES:
        for b in NAMES:
            if b not in expected[a]:
                assert travel.time_min(a, b) == float("inf")
                with pytest.raises(ValueError, match="no route"):
                    travel.way(a, b)
                continue
            assert travel.time_min(a, b) == pytest.approx(expected[a][b], abs=1e-9)
            way = travel.way(a, b)
            assert (way[0], way[-1]) == (a, b)
            legs = [r.metres / speed if r.minutes is None else r.minutes for r in travel.routes_on(way)]
            assert sum(legs) == pytest.approx(expected[a][b], abs=1e-9)


def test_minutes_override_metres_and_the_faster_of_two_routes_counts() -> None:
    chosen = [route("p0", "p1", 10.0), route("p1", "p0", 10.0, 1.5), route("p1", "p2", 0.0)]
    travel = travel_for(Crew("EV1", 5.0, None, None, None), [place(n) for n in NAMES[:3]], chosen)
    assert travel.time_min("p0", "p1") == 1.5
    assert travel.time_min("p1", "p2") == pytest.approx(0.0, abs=1e-5)
    assert travel.way("p0", "p2") == ("p0", "p1", "p2")


# Made to tie: few speeds and lengths, some a hair longer than others.
tying = st.builds(
    route, st.sampled_from(NAMES), st.sampled_from(NAMES), st.sampled_from([4.0, 5.0, 6.0, 10.0]),
    st.sampled_from([None, 1.0, 1.0004, 1.0008, 2.0, 2.0012]),
).filter(lambda r: r.from_place != r.to_place)


def all_ways(travel: Travel, a: str, b: str) -> dict[tuple[str, ...], tuple[float, float]]:
    """Every way without a place twice, by brute force: its minutes and metres."""
    graph = nx.Graph(list(travel.routes))
    found = {}
    for way in map(tuple, nx.all_simple_paths(graph, a, b) if {a, b} <= {*graph} else []):
        legs = [travel.routes[leg] for leg in pairwise(way)]
        found[way] = (sum(r.metres / 5.0 if r.minutes is None else r.minutes for r in legs),
                      sum(r.metres for r in legs))
    return found


@given(st.lists(tying, min_size=1, max_size=14))
def test_ties_go_to_fewer_metres_then_to_ids(chosen: list[Route]) -> None:
    travel = travel_for(Crew("EV1", 5.0, None, None, None), [place(n) for n in NAMES], chosen)
    other = travel_for(Crew("EV1", 5.0, None, None, None), [place(n) for n in NAMES[::-1]], chosen[::-1])
    for a, b in ((a, b) for a in NAMES for b in NAMES if a < b):
        ways = all_ways(travel, a, b)
        if ways:
            least = min(took for took, _ in ways.values())
            tied = {way: long for way, (took, long) in ways.items() if took <= least + TIE_MIN + 1e-9}
            best = min(tied, key=lambda way: (round(tied[way], 6), way))
            # Whatever the order of the tables is, and there and back alike.
            assert travel.way(a, b) == best == travel.way(b, a)[::-1]
            if {frozenset((r.from_place, r.to_place)) for r in chosen} == {*map(frozenset, travel.routes)}:
                assert other.way(a, b) == best
            told = travel.tied_ways(a, b)
            assert best not in told
            assert {*told} <= {*tied}
            # No tie is missed that would be of another length.
            if len({round(long, 6) for long in tied.values()}) > 1:
                assert {round(tied[way], 6) for way in told} - {round(tied[best], 6)}


def test_a_corridor_of_diamonds_is_walked_without_looking_at_all_its_ways() -> None:
    # 2 ** 60 ways tie; the ids decide at each diamond, and the metres before them at the last.
    names = [f"n{i:02}{side}" for i in range(61) for side in "abc"]
    chosen = [route(f"n{i:02}a", f"n{i:02}{side}", 5.0) for i in range(60) for side in "bc"]
    chosen += [route(f"n{i:02}{side}", f"n{i + 1:02}a", 5.0) for i in range(59) for side in "bc"]
    chosen += [route("n59b", "n60a", 5.0003, 1.0), route("n59c", "n60a", 5.0, 1.0005)]
    travel = travel_for(Crew("EV1", 5.0, None, None, None), [place(n) for n in names], chosen)
    way = travel.way("n00a", "n60a")
    assert (way[1:4], way[-2:]) == (("n00b", "n01a", "n01b"), ("n59c", "n60a"))
    assert travel.time_min("n00a", "n60a") == pytest.approx(120.0)


def test_a_small_tie_on_each_leg_does_not_add_up() -> None:
    # Each leg by the shorter way is 0.0006 min slower: it fits into the tie once, not twice.
    chosen = [route("p0", "p1", 5.0, 1.0), route("p1", "p2", 5.0, 1.0), route("p2", "p3", 5.0, 1.0),
              route("p0", "p4", 2.0, 0.5), route("p4", "p1", 2.0, 0.5006),
              route("p1", "p5", 2.0, 0.5), route("p5", "p2", 2.0, 0.5006)]
    travel = travel_for(Crew("EV1", 5.0, None, None, None), [place(n) for n in NAMES], chosen)
    assert travel.way("p0", "p1") == ("p0", "p4", "p1")
    assert travel.way("p1", "p2") == ("p1", "p5", "p2")
    assert travel.way("p0", "p3") == ("p0", "p1", "p5", "p2", "p3")  # before p0 p4 p1 p2 p3 by its ids
