"""Travel between places: the fastest chain of handrail routes for each crew member.

Shortest times by Dijkstra's algorithm (scipy.sparse.csgraph). A route takes its ``minutes`` where given,
else ``metres`` over the crew member's ``metres_per_min``. Travel never depends on what is carried.

Ways that take as long, within `TIE_MIN` (0.06 s) in all, are a tie: the one of fewest metres is walked, then
the one whose places come first by id, leg by leg from the end whose own id comes first. So a way is walked
back as it was walked out. Times told are the fastest ones, which keeps them a metric for the searches;
neglected is that the way walked may be slower by no more than `TIE_MIN`.
"""

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from heapq import heappop, heappush
from math import isfinite

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from planning_kit.inputs.records import Crew, Place, Route

Way = tuple[str, ...]
"""Places one after another, each joined to the next by a route."""
TIE_MIN = 0.001
# csgraph reads an explicit zero as "no edge": a route that costs nothing is given this instead (0.06 ms).
_LEAST_MINUTES = 1e-6
# A leg, far more than summed floats are off and far less than a tie: a way just in the tie stays in it.
_ROUNDING_MIN, _ROUNDING_M_DIGITS = 1e-10, 6


@dataclass(frozen=True, eq=False)
class Travel:
    """Fastest times (minutes, (n, n)) and ways between all places, by ``numbers``, for one crew member.

    ``routes``: by leg, the ones not to be taken too; ``legs``: by place, where those that may be taken lead,
    with their minutes. Ways found are remembered.
    """

    crew: str
    numbers: Mapping[str, int]
    minutes: NDArray[np.float64]
    routes: Mapping[tuple[str, str], Route]
    legs: Mapping[str, Mapping[str, float]]
    _known: dict[tuple[str, str], Way] = field(default_factory=dict, repr=False, compare=False)

    def time_min(self, from_place: str, to_place: str) -> float:
        """Minutes of the fastest way; infinite where no chain of routes joins the two places."""
        return float(self.minutes[self.numbers[from_place], self.numbers[to_place]])

    @cached_property
    def _least_m(self) -> NDArray[np.float64]:
        legs = {leg: max(route.metres, _LEAST_MINUTES) for leg, route in self.routes.items()
                if leg[1] in self.legs[leg[0]]}
        return _shortest(self.numbers, legs)

    def least_m(self, from_place: str, to_place: str) -> float:
        """Metres of the shortest chain of routes, however slow it is; infinite where there is none."""
        return float(self._least_m[self.numbers[from_place], self.numbers[to_place]])

    def way(self, from_place: str, to_place: str) -> Way:
        """The places along the fastest way, both ends included; one place when they are the same.

        Raises ValueError when no chain of routes joins them.
        """
        if from_place > to_place:
            return self.way(to_place, from_place)[::-1]
        if (from_place, to_place) not in self._known:
            self._known[from_place, to_place] = self._best_way(from_place, to_place)
        return self._known[from_place, to_place]

    def way_over(self, stops: Sequence[str]) -> Way:
        """The fastest way from the first of ``stops`` to the last, over the others in their order."""
        ways = (self.way(*pair)[1:] for pair in itertools.pairwise(stops))
        return (stops[0], *itertools.chain.from_iterable(ways))

    def time_over_min(self, stops: Sequence[str]) -> float:
        """Minutes of `way_over`; infinite where two of them are not joined."""
        return sum((self.time_min(*pair) for pair in itertools.pairwise(stops)), 0.0)

    def routes_on(self, way: Sequence[str]) -> tuple[Route, ...]:
        """The route taken on each leg of ``way``."""
        return tuple(self.routes[leg] for leg in itertools.pairwise(way))

    def tied_ways(self, from_place: str, to_place: str) -> list[Way]:
        """Other ways of the tie: at least one over each leg that lies on some of them, the best one."""
        chosen, limit = self.way(from_place, to_place), self.time_min(from_place, to_place) + TIE_MIN
        on_it, found = {*itertools.pairwise(chosen)}, dict[Way, None]()
        begin, left = (self.minutes[self.numbers[place]] for place in (from_place, to_place))
        places = [*self.numbers]
        for number in np.flatnonzero(begin + left <= limit).tolist():
            here = places[number]
            for ahead, took in self.legs[here].items():
                if (here, ahead) not in on_it and begin[number] + took + left[self.numbers[ahead]] <= limit:
                    way = (*self.way(from_place, here), *self.way(ahead, to_place))
                    walked_min = sum(self.legs[one][other] for one, other in itertools.pairwise(way))
                    if len({*way}) == len(way) and walked_min <= limit:
                        found[way] = None
        return list(found)

    def _best_way(self, start: str, goal: str) -> Way:
        """Of the ways in the tie that of fewest metres, then of the first ids: the first to arrive."""
        left = self.minutes[self.numbers[goal]]  # from every place: a route takes as long either way
        limit = self.time_min(start, goal) + TIE_MIN
        if not isfinite(limit):
            raise ValueError(f"no route from {start!r} to {goal!r}")
        soonest: dict[str, float] = {}  # of those that have come to a place before, and so the better way
        coming: list[tuple[float, Way, float]] = [(0.0, (start,), 0.0)]
        while True:
            metres, way, spent = heappop(coming)
            here = way[-1]
            if here == goal:
                return way
            if soonest.get(here, np.inf) <= spent + _ROUNDING_MIN / 2:
                continue
            soonest[here] = spent
            for ahead, took in self.legs[here].items():
                now = spent + took
                rounding = len(way) * _ROUNDING_MIN
                if ahead not in way and now + left[self.numbers[ahead]] <= limit + rounding:
                    walked = round(metres + self.routes[here, ahead].metres, _ROUNDING_M_DIGITS)
                    heappush(coming, (walked, (*way, ahead), now))


def leg_minutes(route: Route, metres_per_min: float) -> float:
    """Minutes that one route takes at this speed (m/min); the route's own ``minutes`` override."""
    return route.minutes if route.minutes is not None else route.metres / metres_per_min


def travel_for(crew: Crew, places: Sequence[Place], routes: Sequence[Route],
               is_open: Callable[[Route], bool] = lambda route: True) -> Travel:
    """Fastest travel between all places for one crew member, over open routes.

    Of parallel routes the faster counts, then the shorter.
    """
    return _travel_for(crew, tuple(places), tuple(routes), is_open)


@lru_cache(maxsize=16)  # an edit changes a step, seldom a route
def _travel_for(crew: Crew, places: tuple[Place, ...], routes: tuple[Route, ...],
                is_open: Callable[[Route], bool]) -> Travel:
    numbers = {place.place: number for number, place in enumerate(places)}
    speed = crew.metres_per_min
    fastest: dict[tuple[str, str], Route] = {}
    for route in routes:
        for leg in ((route.from_place, route.to_place), (route.to_place, route.from_place)):
            fastest[leg] = min(fastest.get(leg, route), route,
                               key=lambda each: (leg_minutes(each, speed), each.metres))
    legs: dict[str, dict[str, float]] = {name: {} for name in numbers}
    for (here, ahead), route in fastest.items():
        if is_open(route):
            legs[here][ahead] = max(leg_minutes(route, speed), _LEAST_MINUTES)
    minutes = {(here, ahead): took for here, on in legs.items() for ahead, took in on.items()}
    return Travel(crew.crew, numbers, _shortest(numbers, minutes), fastest, legs)


def _shortest(numbers: Mapping[str, int], lengths: Mapping[tuple[str, str], float]) -> NDArray[np.float64]:
    ends = np.array([(numbers[here], numbers[ahead]) for here, ahead in lengths], dtype=int).reshape(-1, 2).T
    graph = csr_array(([*lengths.values()], ends), shape=(len(numbers),) * 2, dtype=float)
    return np.asarray(dijkstra(graph, directed=True))
