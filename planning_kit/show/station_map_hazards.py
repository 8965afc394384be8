"""Hazards on the station map: spheres as rings, their places in rings, their routes as bands.

What lies inside is what the checks judge (`planning_kit.plan.hazard_reach`). The class is told by colour, by
the kind and width of a line, and as a word under the pointer.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import cos, pi, sin

import numpy as np

from planning_kit.inputs.records import HAZARD_CLASSES, Hazard, Records, Route
from planning_kit.inputs.shown_text import plotly_paragraph
from planning_kit.plan.hazard_reach import Reach
from planning_kit.show.hazard_wording import HazardWords, class_inks, class_rank, hazard_text
from planning_kit.show.palette import Theme
from planning_kit.show.station_map_views import Point, View, Views, place_points
from planning_kit.show.swimlane_bars import Trace

_CORNERS = 48
_LOOKS = {"warning": ("solid", 3.0), "caution": ("dash", 2.0), "note": ("dot", 1.5)}
_PLACE_PX, _SPACE_PLACE_PX, _BAND_PX = 20, 14, 11
_BAND_OPACITY, _THIN_PX = 0.35, 0.8


@dataclass(frozen=True)
class HazardMarks:
    """What there is to draw: the worst class of places and stretches of routes; words by place and route."""

    spheres: tuple[Hazard, ...]
    places: dict[str, str]
    stretches: tuple[tuple[str, Point, Point], ...]
    words: dict[str | tuple[str, str], tuple[str, ...]]
    when: dict[str, str]


def hazard_marks(records: Records) -> HazardMarks:
    """Where the hazards of a scenario are, worst first."""
    points, words = place_points(records.places), HazardWords(records)
    places: dict[str, str] = {}
    stretches: list[tuple[str, Point, Point]] = []
    whole: set[tuple[str, str]] = set()
    told: dict[str | tuple[str, str], tuple[str, ...]] = {}
    hazards = sorted(records.hazards, key=lambda each: class_rank(each.class_))
    when = {each.hazard: words.when(each) for each in hazards}
    for hazard in hazards:
        reach, line = Reach(records, hazard), hazard_text(hazard, when[hazard.hazard])
        for place in (place for place in points if reach.at(place)):
            places.setdefault(place, hazard.class_)
            told[place] = (*told.get(place, ()), line)
        for route in records.routes:
            key = route.from_place, route.to_place
            parts = list(_parts(reach, route, points))
            if key not in whole:  # as a worse one
                stretches += [(hazard.class_, *ends) for ends in parts]
            if parts:
                told[key] = (*told.get(key, ()), line)
            if parts == [(points[route.from_place], points[route.to_place])]:
                whole.add(key)
    return HazardMarks(tuple(each for each in hazards if each.centre is not None), places, tuple(stretches),
                       told, when)


def sphere_corners(records: Records) -> Iterator[Point]:
    """Two corners of the box around each sphere with the body; metres."""
    body_m = records.settings.checks.body_m or 0.0
    for hazard in records.hazards:
        if hazard.centre is not None and hazard.radius_m is not None:
            reach_m = hazard.radius_m + body_m
            for away_m in (-reach_m, reach_m):
                yield hazard.centre[0] + away_m, hazard.centre[1] + away_m, hazard.centre[2] + away_m


def _parts(reach: Reach, route: Route, points: dict[str, Point]) -> Iterator[tuple[Point, Point]]:
    """The parts of a route inside, on the straight line that it is drawn on; all of it where it bends."""
    start, end = np.array(points[route.from_place]), np.array(points[route.to_place])
    for begin, finish, _ in reach.on(route.from_place, route.to_place, route):
        shares = (0.0, 1.0) if route.via else (begin, finish)
        one, other = (tuple(float(x) for x in start + share * (end - start)) for share in shares)
        yield (one[0], one[1], one[2]), (other[0], other[1], other[2])


def hazard_traces(records: Records, marks: HazardMarks, views: Views, theme: Theme) -> list[Trace]:
    """All of it in all views, notes first, so that warnings lie on top; and the legend's entries."""
    inks = class_inks(theme)
    points, body_m = place_points(records.places), records.settings.checks.body_m
    traces: list[Trace] = []
    for view in views.all:
        for class_ in reversed(HAZARD_CLASSES):
            look = _Look(view, class_, inks[class_])
            traces += [look.bands(marks), look.places(marks, points), *_spheres(look, marks, body_m)]
    there = {*marks.places.values(), *(each.class_ for each in marks.spheres),
             *(class_ for class_, *_ in marks.stretches)}
    traces += [_Look(views.side, class_, inks[class_]).key() for class_ in HAZARD_CLASSES if class_ in there]
    return [trace for trace in traces if trace["x"]]


def _spheres(look: _Look, marks: HazardMarks, body_m: float | None) -> Iterator[Trace]:
    """Each sphere as a ring, and thinner how far it reaches for a body."""
    for hazard in (each for each in marks.spheres if each.class_ == look.class_):
        assert hazard.radius_m is not None
        text = hazard_text(hazard, marks.when[hazard.hazard])
        if body_m:
            yield look.ring(hazard, hazard.radius_m + body_m, _THIN_PX,
                            f"{text} With {body_m:g} m for the body.")
        yield look.ring(hazard, hazard.radius_m, _LOOKS[hazard.class_][1], text)


@dataclass(frozen=True)
class _Look:
    """The traces of one class in one view."""

    view: View
    class_: str
    ink: str

    def bands(self, marks: HazardMarks) -> Trace:
        ends = [point for class_, one, other in marks.stretches if class_ == self.class_
                for point in (one, other, None)]
        return self.view.trace(ends, mode="lines", name="hazard routes", opacity=_BAND_OPACITY,
                               line={"color": self.ink, "width": _BAND_PX})

    def places(self, marks: HazardMarks, points: dict[str, Point]) -> Trace:
        own = [points[place] for place, class_ in marks.places.items() if class_ == self.class_]
        size = _SPACE_PLACE_PX if self.view.is_space else _PLACE_PX
        return self.view.trace(own, mode="markers", name="hazard places", marker={
            "symbol": "circle-open", "size": size, "color": self.ink, "opacity": 1,
            "line": {"color": self.ink, "width": _LOOKS[self.class_][1]}})

    def ring(self, hazard: Hazard, radius_m: float, width: float, text: str) -> Trace:
        assert hazard.centre is not None
        return self.view.trace(
            list(_rings(self.view, hazard.centre, radius_m)), mode="lines", name="hazard rings",
            hoverinfo="text", hovertext=plotly_paragraph(text),
            line={"color": self.ink, "width": width, "dash": _LOOKS[self.class_][0]},
            **({} if self.view.is_space else {"cliponaxis": True}))

    def key(self) -> Trace:
        """One unseen point for the legend."""
        dash, width = _LOOKS[self.class_]
        return self.view.trace([None], mode="lines+markers", name=f"hazard: {self.class_}", showlegend=True,
                               line={"color": self.ink, "width": width, "dash": dash},
                               marker={"symbol": "circle-open", "size": 11, "color": self.ink, "opacity": 1,
                                       "line": {"color": self.ink, "width": width}})


def _rings(view: View, centre: Point, radius_m: float) -> Iterator[Point | None]:
    """What a sphere looks like: a circle in a flat view, in space three great circles; None ends each."""
    planes: Sequence[tuple[int, int]] = ((0, 1), (0, 2), (1, 2))
    if not view.is_space:
        planes = [("xyz".index(view.across[1]), "xyz".index(view.up[1]))]
    for first, second in planes:
        for corner in range(_CORNERS + 1):
            point = list(centre)
            point[first] += radius_m * cos(2 * pi * corner / _CORNERS)
            point[second] += radius_m * sin(2 * pi * corner / _CORNERS)
            yield point[0], point[1], point[2]
        yield None
