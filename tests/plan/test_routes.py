"""Fastest routes against networkx (an independent library) on random stations."""

from __future__ import annotations

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning_kit.inputs.records import Crew, Place, Route
from planning_kit.plan.travel import travel_for

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
