"""Travel between places: the fastest chain of handrail routes for each crew member.

Shortest paths by Dijkstra's algorithm (scipy.sparse.csgraph). A route takes its ``minutes`` where given,
else ``metres`` over the crew member's ``metres_per_min``. Travel never depends on what is carried.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from planning_kit.inputs.records import Crew, Place, Route

_NO_PREDECESSOR = -9999
# csgraph reads an explicit zero as "no edge": a route that costs nothing is given this instead (0.06 ms).
_LEAST_MINUTES = 1e-6


@dataclass(frozen=True)
class Travel:
    """Fastest times and ways between all places for one crew member."""

    crew: str
    places: tuple[str, ...]
    minutes: np.ndarray
    predecessors: np.ndarray
    routes: Mapping[tuple[str, str], Route]

    def time_min(self, from_place: str, to_place: str) -> float:
        """Minutes of the fastest way; infinite where no chain of routes joins the two places."""
        return float(self.minutes[self.places.index(from_place), self.places.index(to_place)])

    def way(self, from_place: str, to_place: str) -> tuple[str, ...]:
        """The places along the fastest way, both ends included; one place when they are the same.

        Raises ValueError when no chain of routes joins them.
        """
        start, here = self.places.index(from_place), self.places.index(to_place)
        backwards = [here]
        while here != start:
            here = int(self.predecessors[start, here])
            if here == _NO_PREDECESSOR:
                raise ValueError(f"no route from {from_place!r} to {to_place!r}")
            backwards.append(here)
        return tuple(self.places[index] for index in reversed(backwards))

    def routes_on(self, way: Sequence[str]) -> tuple[Route, ...]:
        """The route taken on each leg of ``way``."""
        return tuple(self.routes[leg] for leg in itertools.pairwise(way))


def leg_minutes(route: Route, metres_per_min: float) -> float:
    """Minutes that one route takes at this speed (m/min); the route's own ``minutes`` override."""
    return route.minutes if route.minutes is not None else route.metres / metres_per_min


def travel_for(crew: Crew, places: Sequence[Place], routes: Sequence[Route]) -> Travel:
    """Fastest travel between all places for one crew member; of parallel routes the faster counts."""
    names = tuple(place.place for place in places)
    index = {name: position for position, name in enumerate(names)}
    fastest: dict[tuple[str, str], Route] = {}
    for route in routes:
        for leg in ((route.from_place, route.to_place), (route.to_place, route.from_place)):
            known = fastest.get(leg)
            if known is None or _minutes(route, crew) < _minutes(known, crew):
                fastest[leg] = route
    rows = [index[a] for a, _ in fastest]
    columns = [index[b] for _, b in fastest]
    weights = [max(_minutes(route, crew), _LEAST_MINUTES) for route in fastest.values()]
    graph = csr_array((weights, (rows, columns)), shape=(len(names), len(names)))
    minutes, predecessors = dijkstra(graph, directed=True, return_predecessors=True)
    return Travel(crew.crew, names, np.asarray(minutes), np.asarray(predecessors), fastest)


def _minutes(route: Route, crew: Crew) -> float:
    return leg_minutes(route, crew.metres_per_min)
