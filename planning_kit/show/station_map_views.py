"""The three views of the station map: in space, from the side and from above, and how points go into them.

The format fixes the station body frame's axes but not which way is down: ``down`` says it ("+z", the common
practice of body frames with z to nadir, or "-z"). The longer horizontal axis lies across the page. All three
views keep the frame right-handed: nothing is mirrored.

Here is also what does not move on the map: routes, worksites and their names.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, inf, radians, sin, tan
from typing import Any

import numpy as np

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Place, Records, Route
from planning_kit.inputs.shown_text import plotly_paragraph, plotly_text
from planning_kit.inputs.times import measure
from planning_kit.show.hazard_wording import caution_words
from planning_kit.show.palette import Theme
from planning_kit.show.swimlane_bars import Trace

Point = tuple[float, float, float]
_AXES = "xyz"
_TURN_DEG, _RAISE_DEG, _EYE_DISTANCE = 30.0, 30.0, 1.5
_EDGE_SHARE = 0.09  # of the extent, left free around the places
_MOST_BEYOND = 0.2  # of the longest side: how far a view is widened for what lies beyond all places
_HALF_HEIGHT = tan(radians(22.5))  # of what the view in space shows at distance 1: plotly.js sees 45 deg
_NARROWEST = 1.45  # width over height of the view in space on a narrow screen
_USED = 0.88  # of it, the rest is for names


@dataclass(frozen=True)
class View:
    """One view: ``across`` and ``up`` are axes of the frame with a sign, such as ``+y`` and ``-z``.

    ``number`` is that of its plotly axes; the view in space has 0, and a scene instead.
    """

    name: str
    number: int
    across: str
    up: str

    @property
    def is_space(self) -> bool:
        """Whether it is the view in space."""
        return self.number == 0

    @property
    def is_keyed(self) -> bool:
        """Whether the legend shows this view's traces."""
        return self.number == 4

    def trace(self, points: Sequence[Point | None], **look: Any) -> Trace:
        """A plotly trace through ``points``; None breaks a line."""
        where = {"type": "scatter3d", "scene": "scene"} if self.is_space else {
            "type": "scatter", "xaxis": f"x{self.number}", "yaxis": f"y{self.number}", "cliponaxis": False}
        return where | {"showlegend": False, "hoverinfo": "skip"} | self.coordinates(points) | look

    def coordinates(self, points: Sequence[Point | None]) -> Trace:
        """The points as plotly's lists of coordinates, to the nearest centimetre."""
        axes = _AXES if self.is_space else (self.across[1], self.up[1])
        found: Trace = {}
        for name, axis in zip(_AXES, axes, strict=False):
            index = _AXES.index(axis)
            found[name] = [None if point is None else round(point[index], 2) for point in points]
        return found

    def moved(self, point: Point, across_m: float, up_m: float) -> Point:
        """A point moved on the page of a flat view, metres to the right and up."""
        moved = list(point)
        for axis, metres in ((self.across, across_m), (self.up, up_m)):
            moved[_AXES.index(axis[1])] += metres if axis[0] == "+" else -metres
        return moved[0], moved[1], moved[2]


@dataclass(frozen=True)
class Views:
    """The views of one station, its places, and how far they reach by axis; metres."""

    space: View
    side: View
    above: View
    places: Sequence[Point]
    lowest: Point
    highest: Point

    @property
    def all(self) -> tuple[View, View, View]:
        """The three views."""
        return self.space, self.side, self.above

    def range_of(self, axis: str) -> tuple[float, float]:
        """What a signed axis of the frame shows, metres, from left to right or from below to above."""
        low, high = self.lowest[_AXES.index(axis[1])], self.highest[_AXES.index(axis[1])]
        free = max((high - low) * _EDGE_SHARE, 1.5)
        ends = (round(low - free, 1), round(high + free, 1))
        return ends if axis[0] == "+" else (ends[1], ends[0])

    @property
    def camera(self) -> dict[str, Any]:
        """Where the view in space is seen from: from above, turned from square on, the long axis across."""
        up = 1.0 if self.side.up == "+z" else -1.0
        # Looking along d, what lies to the right is d x up. Square on, "across" shall be to the right.
        square = (0.0, -up) if self.side.across == "+x" else (up, 0.0)
        turn = radians(_TURN_DEG)
        eye_x = square[0] * cos(turn) - square[1] * sin(turn)
        eye_y = square[0] * sin(turn) + square[1] * cos(turn)
        flat, height = _EYE_DISTANCE * cos(radians(_RAISE_DEG)), _EYE_DISTANCE * sin(radians(_RAISE_DEG))
        return {"eye": {"x": round(eye_x * flat, 3), "y": round(eye_y * flat, 3), "z": round(up * height, 3)},
                "up": {"x": 0, "y": 0, "z": up}, "center": {"x": 0, "y": 0, "z": 0}}

    @property
    def aspect(self) -> dict[str, float]:
        """Lengths of the axes in space, all to one scale: the largest at which every place is in view.

        A point is in view when its distance across the line of sight is at most a share of its distance along
        it; both grow with the scale, so that each point gives one greatest scale.
        """
        camera = self.camera
        eye = np.array(list(camera["eye"].values()))
        away = float(np.linalg.norm(eye))
        ahead = eye / away
        right = np.cross([0.0, 0.0, camera["up"]["z"]], ahead)
        right /= np.linalg.norm(right)
        upward = np.cross(ahead, right)
        ranges = [self.range_of(f"+{name}") for name in _AXES]
        scale = inf
        for place in self.places:
            point = np.array(place) - np.mean(ranges, axis=1)
            for across, share in ((right, _NARROWEST * _HALF_HEIGHT * _USED), (upward, _HALF_HEIGHT * _USED)):
                reach = float(abs(point @ across) + share * (point @ ahead))
                scale = min(scale, share * away / reach) if reach > 0 else scale
        longest = max(high - low for low, high in ranges)
        scale = min(scale, 2 / longest)  # a single place has no scale of its own
        return {name: round((high - low) * scale, 4) for name, (low, high) in zip(_AXES, ranges, strict=True)}


def views_of(places: Sequence[Place], down: str, also: Sequence[Point] = ()) -> Views:
    """The views of a station, wide enough for ``also``, but for what lies far beyond its places.

    Raises `ScenarioError` when ``down`` is neither ``+z`` nor ``-z``.
    """
    if not isinstance(down, str) or down not in ("+z", "-z"):
        raise ScenarioError.single("is no way down; use '+z' or '-z'", column="down", value=down)
    points = np.array([*place_points(places).values()], dtype=float)
    lowest, highest = points.min(axis=0), points.max(axis=0)
    most_m = _MOST_BEYOND * (highest - lowest).max()
    seen = np.vstack([points, np.clip(np.reshape([*also], (-1, 3)), lowest - most_m, highest + most_m)])
    z_up = "-z" if down == "+z" else "+z"
    if highest[0] - lowest[0] >= highest[1] - lowest[1]:
        across, page_up = "+x", "-y" if down == "+z" else "+y"
    else:
        across, page_up = "+y", "+x" if down == "+z" else "-x"
    return Views(View("in space", 0, across, z_up), View("from the side", 4, across, z_up),
                 View("from above", 5, across, page_up), points.tolist(), seen.min(axis=0).tolist(),
                 seen.max(axis=0).tolist())


LONGEST_PLACE_ID = 12
_ROUTE_LOOKS = {"route": ("solid", 2), "tight route": ("dash", 5), "snag route": ("dot", 5),
                "tight and snag route": ("dashdot", 5)}
_FLAT_LABEL_PX, _SPACE_LABEL_PX = 10, 12
NAME_CHAR_PX, _LINE_PX = 6.6, 12.0
_SCALE_M = 5.0
NOMINAL_FLAT_PX = (240.0, 118.0)  # of a flat view on a laptop's screen, in a notebook
# Where a name may stand beside its mark, best first: plotly's word, and where its middle is, in half widths.
NAME_SPOTS = (("top right", 1, 1), ("middle right", 1, 0), ("bottom right", 1, -1), ("middle left", -1, 0),
              ("top center", 0, 1), ("bottom center", 0, -1), ("top left", -1, 1), ("bottom left", -1, -1))


def place_points(places: Sequence[Place]) -> dict[str, Point]:
    """Place id to its point, metres in the station body frame."""
    return {place.place: (place.x_m, place.y_m, place.z_m) for place in places}


Told = Mapping[str | tuple[str, str], Sequence[str]]
"""More lines for the pointer, as plain text, by place or by both ends of a route."""


def ground_traces(records: Records, views: Views, theme: Theme, told: Told) -> list[Trace]:
    """Routes and worksites in all views, the frame in the view in space, and the legend's entries."""
    places, points, traces = records.places, place_points(records.places), []
    for view in views.all:
        traces += _route_traces(records.routes, points, view, theme)
        traces += [_middles(records, points, view, told), _places(places, views, view, theme, told)]
    length = measure(_SCALE_M, "m", records.settings, "nearest")
    traces += [_scale(views, theme, length), *_key(views.side, theme)]
    return [trace for trace in traces if trace["x"]]


def route_kind(route: Route) -> str:
    """``route``, ``tight route``, ``snag route`` or ``tight and snag route``."""
    flags = " and ".join(word for word, is_set in (("tight", route.tight), ("snag", route.snag)) if is_set)
    return f"{flags} route" if flags else "route"


def _route_traces(routes: Sequence[Route], points: Mapping[str, Point], view: View,
                  theme: Theme) -> list[Trace]:
    colours = {"route": theme.quiet_ink, "tight route": theme.ink}
    traces = []
    for kind, (dash, width) in _ROUTE_LOOKS.items():
        ends = [end for route in routes if route_kind(route) == kind
                for end in (points[route.from_place], points[route.to_place], None)]
        traces.append(view.trace(
            ends, mode="lines", name=kind, showlegend=view.is_keyed and kind != "route",
            line={"color": colours.get(kind, theme.concern), "dash": dash,
                  "width": width + 2 if view.is_space else width}))
    return traces


def _middles(records: Records, points: Mapping[str, Point], view: View, told: Told) -> Trace:
    """Unseen marks in the middle of each route that say under the pointer what it is."""
    spans = [(points[each.from_place], points[each.to_place]) for each in records.routes]
    middles = [tuple(np.mean(ends, axis=0)) for ends in spans]
    return view.trace(middles, mode="markers", name="routes", marker={"size": 12, "opacity": 0},
                      hoverinfo="text", hovertext=[_route_text(r, records, told) for r in records.routes])


def _route_text(route: Route, records: Records, told: Told) -> str:
    took = "" if route.minutes is None else f", {route.minutes:g} min"
    far = measure(route.metres, "m", records.settings, "up")
    head = f"{route.from_place} to {route.to_place}: {far}{took}, {route_kind(route)}."
    more = told.get((route.from_place, route.to_place), ())
    caution = caution_words(route.caution_class, route.caution)
    return "<br>".join(plotly_paragraph(line) for line in (head, caution, *more) if line)


def _places(places: Sequence[Place], views: Views, view: View, theme: Theme, told: Told) -> Trace:
    """Marks with names: a diamond takes a foothold, a full mark takes a tether hook."""
    spots = ["top right"] * len(places) if view.is_space else _flat_spots(places, views, view)
    return view.trace(
        list(place_points(places).values()), mode="markers+text", name="places",
        text=[plotly_text(place.place, LONGEST_PLACE_ID) if spot else ""
              for place, spot in zip(places, spots, strict=True)],
        textposition=[spot or "middle right" for spot in spots],
        textfont={"size": _SPACE_LABEL_PX if view.is_space else _FLAT_LABEL_PX, "color": theme.ink},
        hoverinfo="text", hovertext=[_place_text(place, told.get(place.place, ())) for place in places],
        marker={"symbol": ["diamond" if place.socket else "circle" for place in places],
                "size": 5 if view.is_space else 8, "opacity": 1,
                "color": [theme.ink if place.anchor else theme.paper for place in places],
                "line": {"color": theme.ink, "width": 1.5}})


def _place_text(place: Place, more: Sequence[str]) -> str:
    takes = " and ".join(what for what, is_so in (("a tether hook", place.anchor),
                                                  ("a foothold", place.socket)) if is_so)
    lines = [f"{place.place} {place.title}", f"Takes {takes}." if takes else "No anchor, no socket."]
    if place.crew_at_once is not None:
        lines.append(f"Crew at once: {place.crew_at_once}.")
    caution = caution_words(place.caution_class, place.caution)
    return "<br>".join(plotly_paragraph(line) for line in (*lines, caution, *more) if line)


def _flat_spots(places: Sequence[Place], views: Views, view: View) -> list[str]:
    """Where names cover neither each other nor a mark; one that fits nowhere is left to the pointer."""
    ranges = [views.range_of(axis) for axis in (view.across, view.up)]
    # About where the places are on the screen, pixels to the right and up; one scale for both axes.
    px_per_m = min(px / abs(high - low) for px, (low, high) in zip(NOMINAL_FLAT_PX, ranges, strict=True))
    metres = view.coordinates(list(place_points(places).values()))
    x_px, y_px = ([(metre if high > low else -metre) * px_per_m for metre in metres[name]]
                  for name, (low, high) in zip("xy", ranges, strict=True))
    return name_spots(list(zip(x_px, y_px, strict=True)),
                      [len(place.place[:LONGEST_PLACE_ID]) * NAME_CHAR_PX for place in places])


def _scale(views: Views, theme: Theme, length: str) -> Trace:
    """The frame in the view in space: lines of 5 m along x, y and z, from a point above the middle."""
    low, high = views.lowest, views.highest
    x, y = ((a + b) / 2 for a, b in zip(low[:2], high[:2], strict=True))
    z = low[2] if views.side.up == "-z" else high[2]
    ends = ((x + _SCALE_M, y, z), (x, y + _SCALE_M, z), (x, y, z + _SCALE_M))
    return views.space.trace(
        [point for end in ends for point in ((x, y, z), end, None)], mode="lines+text", name="frame",
        text=[text for name in "xyz" for text in ("", f"{name} {length}", "")],
        textposition="middle right", textfont={"size": 10, "color": theme.quiet_ink},
        line={"color": theme.quiet_ink, "width": 3})


def _key(view: View, theme: Theme) -> list[Trace]:
    """Traces of one unseen point each, for the legend."""
    signs = (("takes a tether hook", "circle", theme.ink), ("takes none", "circle", theme.paper),
             ("takes a foothold", "diamond", theme.ink), ("hook", "square-open", theme.crew[0]),
             ("foothold", "triangle-up", theme.ink), ("bag", "square", theme.ink))
    return [view.trace([None], mode="markers", name=name, showlegend=True,
                       marker={"symbol": symbol, "size": 9, "color": colour, "opacity": 1,
                               "line": {"color": theme.crew[0] if symbol == "square-open" else theme.ink,
                                        "width": 1.5}})
            for name, symbol, colour in signs]


def name_spots(marks: Sequence[tuple[float, float]], widths: Sequence[float]) -> list[str]:
    """Where each name may stand (plotly's ``textposition``), "" for nowhere; greedy, in the given order.

    ``marks`` are pixels to the right and up, ``widths`` pixels.
    """
    taken = [(x - 4, y - 4, x + 4, y + 4) for x, y in marks]
    spots = []
    for (x, y), width in zip(marks, widths, strict=True):
        spots.append("")
        for spot, right, above in NAME_SPOTS:
            mid_x, mid_y = x + right * (width / 2 + 5), y + above * (_LINE_PX / 2 + (4 if right == 0 else 1))
            box = (mid_x - width / 2, mid_y - _LINE_PX / 2, mid_x + width / 2, mid_y + _LINE_PX / 2)
            if not any(box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3]
                       for other in taken):
                spots[-1] = spot
                taken.append(box)
                break
    return spots
