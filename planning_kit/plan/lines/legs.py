"""Where each crew member is, minute by minute: standing at a place, or on one route of a way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import pandas as pd

from planning_kit.inputs.records import Route
from planning_kit.inputs.text_table import TextTable
from planning_kit.plan.activities import TRAVEL
from planning_kit.plan.routes import Travel, leg_minutes

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan

CAUTION_COLUMNS = ["crew", "at_min", "place", "to_place", "step", "caution"]


@dataclass(frozen=True)
class Passage:
    """A stretch of one crew member's time (PET minutes): at ``place``, or on a ``route`` to ``to_place``.

    ``step`` is the step worked on, waited for or travelled to; "" on the way home and for ingress. Where
    they stand, ``route`` is None and ``to_place`` is "".
    """

    crew: str
    place: str
    to_place: str
    start_min: float
    finish_min: float
    step: str
    route: Route | None = None


def crew_passages(plan: TimedPlan, crew: str) -> tuple[Passage, ...]:
    """All passages of a crew member, in order, without a hole in time or place.

    The minutes of a way are shared out over its routes in proportion to their travel time, so that
    ``travel_extra_min`` is spread over the whole way.
    """
    travel = plan.travels[crew]
    speed = next(c.metres_per_min for c in plan.scenario.records.crew if c.crew == crew)
    done: list[Passage] = []
    for activity in plan.lanes[crew]:
        start, finish, step = activity.start_min, activity.finish_min, activity.step
        if activity.kind == TRAVEL and activity.to_place:
            ends = (activity.place, activity.to_place)
            done += _legs(travel, speed, ends, (start, finish), step)
        else:
            done.append(Passage(crew, activity.place, "", start, finish, step))
    return tuple(done)


def _legs(travel: Travel, speed: float, ends: tuple[str, str], period: tuple[float, float],
          step: str) -> Iterator[Passage]:
    way = travel.way(*ends)
    routes = travel.routes_on(way)
    minutes = [leg_minutes(route, speed) for route in routes]
    whole, (begin, end) = sum(minutes), period
    spent, start = 0.0, begin
    for (place, to_place), route, took in zip(pairwise(way), routes, minutes, strict=True):
        spent += took
        is_last = to_place == way[-1]
        finish = end if is_last else begin + (spent / whole if whole else 0.0) * (end - begin)
        yield Passage(travel.crew, place, to_place, start, finish, step, route)
        start = finish


def stands_at(passages: Sequence[Passage], place: str, at_min: float) -> bool:
    """Whether someone stands at ``place`` at that minute; the minutes of arriving and leaving count."""
    return any(s.route is None and s.place == place and s.start_min <= at_min <= s.finish_min
               for s in passages)


def cautions_table(plan: TimedPlan) -> pd.DataFrame:
    """The cautions that a crew member meets on the way, in order, for the briefing.

    Columns: ``crew``, ``at_min`` (PET of arriving at the place, of passing it, or of entering the route),
    ``place``, ``to_place`` ("" for a place), ``step`` (worked on there or travelled to), ``caution``. A tight
    or snag route without words of its own is listed as such.
    """
    rows = [row for crew in plan.travels for row in _cautions(plan, crew)]
    frame = TextTable(rows, columns=CAUTION_COLUMNS)
    return frame.sort_values(["at_min", "crew"], kind="stable").reset_index(drop=True)


def _cautions(plan: TimedPlan, crew: str) -> Iterator[tuple[str, float, str, str, str, str]]:
    of_place = {place.place: place.caution for place in plan.scenario.records.places}
    passages = plan.passages[crew]
    if passages and of_place[passages[0].place]:
        yield crew, passages[0].start_min, passages[0].place, "", passages[0].step, of_place[
            passages[0].place]
    for passage in passages:
        if passage.route is None:
            continue
        words = route_caution(passage.route)
        if words:
            yield crew, passage.start_min, passage.place, passage.to_place, passage.step, words
        if of_place[passage.to_place]:
            yield crew, passage.finish_min, passage.to_place, "", passage.step, of_place[passage.to_place]


def route_caution(route: Route) -> str:
    """The caution of a route, or what its flags say."""
    flags = " and ".join(word for word, is_set in (("tight", route.tight), ("snag", route.snag)) if is_set)
    return route.caution or (f"{flags} route" if flags else "")
