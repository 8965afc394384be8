"""Where each crew member is, minute by minute: at a place, or on one route of a way; and cautions met there.

A passage is a stretch of one crew member's time at one place or on one route; a passage on a route is a leg.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd

from planning_kit.inputs.records import Place, Route
from planning_kit.inputs.shown_text import TextTable
from planning_kit.plan.activities import TRAVEL, WORK, Activity
from planning_kit.plan.network import grouped
from planning_kit.plan.travel import Travel, leg_minutes


class Spans:
    """Closed stretches (start, finish) in any order and however they overlap; minutes."""

    def __init__(self, spans: Iterable[tuple[float, float]]) -> None:
        """Kept as arrays, so that a look-up compares all of them at once."""
        self._starts, self._finishes = np.array([*spans], dtype=float).reshape(-1, 2).T

    def touching(self, begin: float, end: float) -> list[int]:
        """The positions of those that share a minute with [begin, end], ends included, in their order."""
        return list(np.flatnonzero((self._starts <= end) & (self._finishes >= begin)).tolist())

    def lasting(self, at: float) -> list[int]:
        """The positions of those that last at that minute: it is their first one, or before their finish."""
        return list(np.flatnonzero((self._starts <= at) & (at < self._finishes)).tolist())

    def any_inside(self, begin: float, end: float) -> bool:
        """Whether one of them begins before ``end`` and finishes after ``begin``."""
        return bool(((self._starts < end) & (self._finishes > begin)).any())


CAUTION_COLUMNS = ["crew", "at_min", "place", "to_place", "step", "class", "caution"]


@dataclass(frozen=True)
class Passage:
    """A stretch of one crew member's time (PET minutes): at ``place``, or on a ``route`` to ``to_place``.

    ``step`` is the step worked on, waited for or travelled to; "" on the way home and for ingress. Where
    they stand, ``route`` is None and ``to_place`` is "". ``doing``: work, travel or wait. ``is_known``: where
    they are; if not (in a step without a place, or behind it), travel counts from ``place``, and no more.
    """

    crew: str
    place: str
    to_place: str
    start_min: float
    finish_min: float
    step: str
    route: Route | None = None
    doing: str = WORK
    is_known: bool = True


def crew_passages(travel: Travel, metres_per_min: float, lane: Sequence[Activity],
                  airlock: str = "") -> tuple[Passage, ...]:
    """All passages of the crew member of a lane, in order, without a hole in time or place.

    The minutes of a way are shared out over its routes in proportion to their travel time, so that
    ``travel_extra_min`` is spread over the whole way. Behind a step without a place it is not known where
    they are until they come to one that has a place.
    """
    done: list[Passage] = []
    here, is_known = airlock, True
    for one in lane:
        is_known &= bool(one.place)
        here = one.place or here
        legs = [*_legs(travel, metres_per_min, one)] if one.kind == TRAVEL and one.to_place else [
            Passage(one.crew, here, "", one.start_min, one.finish_min, one.step, doing=one.kind)]
        if is_known := is_known or (one.kind == WORK and bool(one.place)):
            done += legs
        else:
            done += [replace(each, is_known=False) for each in legs]
            is_known = one.kind == TRAVEL
    return tuple(done)


def _legs(travel: Travel, metres_per_min: float, activity: Activity) -> Iterator[Passage]:
    way = travel.way_over((activity.place, *activity.via, activity.to_place))
    routes = travel.routes_on(way)
    minutes = [leg_minutes(route, metres_per_min) for route in routes]
    whole, begin, end = sum(minutes), activity.start_min, activity.finish_min
    spent, start = 0.0, begin
    for left, (place, to_place), route, took in zip(
            range(len(routes))[::-1], pairwise(way), routes, minutes, strict=True):
        spent += took
        finish = end if not left else begin + (spent / whole if whole else 0.0) * (end - begin)
        yield Passage(activity.crew, place, to_place, start, finish, activity.step, route, TRAVEL)
        start = finish


def stands(passages: Iterable[Passage]) -> dict[str, Spans]:
    """When someone stands at each place, for `stands_at`."""
    stays = grouped((passage.place, (passage.start_min, passage.finish_min)) for passage in passages
                    if passage.route is None and passage.is_known)
    return {place: Spans(spans) for place, spans in stays.items()}


def stands_at(standing: Mapping[str, Spans], place: str, at_min: float) -> bool:
    """Whether someone stands at ``place`` at that minute; the minutes of arriving and leaving count."""
    return place in standing and bool(standing[place].touching(at_min, at_min))


def cautions_table(places: Sequence[Place], passages: Mapping[str, Sequence[Passage]]) -> pd.DataFrame:
    """The cautions that a crew member meets on the way, in order, for the briefing.

    Columns: ``crew``, ``at_min`` (PET of arriving at the place, of passing it, or of entering the route),
    ``place``, ``to_place`` ("" for a place), ``step`` (worked on there or travelled to), ``class`` (warning,
    caution or note), ``caution``. A tight or snag route without words of its own is listed as such.
    """
    of_place = {place.place: (place.caution_class, place.caution) for place in places}
    rows = [row for crew, theirs in passages.items() for row in _cautions(crew, theirs, of_place)]
    frame = TextTable(rows, columns=CAUTION_COLUMNS)
    return frame.sort_values(["at_min", "crew"], kind="stable").reset_index(drop=True)


def _cautions(crew: str, passages: Sequence[Passage], of_place: Mapping[str, tuple[str, str]]
              ) -> Iterator[tuple[str, float, str, str, str, str, str]]:
    if passages and of_place[passages[0].place][1]:
        first = passages[0]
        yield crew, first.start_min, first.place, "", first.step, *of_place[first.place]
    for passage in passages:
        if passage.route is None:
            continue
        if words := route_caution(passage.route):
            yield (crew, passage.start_min, passage.place, passage.to_place, passage.step,
                   passage.route.caution_class, words)
        if of_place[passage.to_place][1]:
            yield crew, passage.finish_min, passage.to_place, "", passage.step, *of_place[passage.to_place]


def route_caution(route: Route) -> str:
    """The caution of a route, or what its flags say."""
    flags = " and ".join(word for word, is_set in (("tight", route.tight), ("snag", route.snag)) if is_set)
    return route.caution or (f"{flags} route" if flags else "")
