"""What does not move on the station map: routes, worksites and their names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from planning_kit.inputs.records import Place, Route
from planning_kit.show.bars import Trace
from planning_kit.show.escape import plotly_paragraph, plotly_text
from planning_kit.show.palette import Theme
from planning_kit.show.station_map_views import Point, View, Views

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


def ground_traces(places: Sequence[Place], routes: Sequence[Route], views: Views,
                  theme: Theme) -> list[Trace]:
    """Routes and worksites in all views, the frame in the view in space, and the legend's entries."""
    points = place_points(places)
    traces = []
    for view in views.all:
        traces += _route_traces(routes, points, view, theme)
        traces += [_middles(routes, points, view), _places(places, views, view, theme)]
    traces += [_scale(views, theme), *_key(views.side, theme)]
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


def _middles(routes: Sequence[Route], points: Mapping[str, Point], view: View) -> Trace:
    """Unseen marks in the middle of each route that say under the pointer what it is."""
    middles = [_middle(points[route.from_place], points[route.to_place]) for route in routes]
    return view.trace(middles, mode="markers", name="routes", marker={"size": 12, "opacity": 0},
                      hoverinfo="text", hovertext=[_route_text(route) for route in routes])


def _middle(start: Point, end: Point) -> Point:
    x, y, z = ((a + b) / 2 for a, b in zip(start, end, strict=True))
    return x, y, z


def _route_text(route: Route) -> str:
    took = "" if route.minutes is None else f", {route.minutes:g} min"
    head = f"{route.from_place} to {route.to_place}: {route.metres:g} m{took}, {route_kind(route)}."
    return "<br>".join(plotly_paragraph(line) for line in (head, route.caution) if line)


def _places(places: Sequence[Place], views: Views, view: View, theme: Theme) -> Trace:
    """Marks with names: a diamond takes a foothold, a full mark takes a tether hook."""
    spots = ["top right"] * len(places) if view.is_space else _flat_spots(places, views, view)
    return view.trace(
        [(place.x_m, place.y_m, place.z_m) for place in places], mode="markers+text", name="places",
        text=[plotly_text(place.place, LONGEST_PLACE_ID) if spot else ""
              for place, spot in zip(places, spots, strict=True)],
        textposition=[spot or "middle right" for spot in spots],
        textfont={"size": _SPACE_LABEL_PX if view.is_space else _FLAT_LABEL_PX, "color": theme.ink},
        hoverinfo="text", hovertext=[_place_text(place) for place in places],
        marker={"symbol": ["diamond" if place.socket else "circle" for place in places],
                "size": 5 if view.is_space else 8, "opacity": 1,
                "color": [theme.ink if place.anchor else theme.paper for place in places],
                "line": {"color": theme.ink, "width": 1.5}})


def _place_text(place: Place) -> str:
    takes = " and ".join(what for what, is_so in (("a tether hook", place.anchor),
                                                  ("a foothold", place.socket)) if is_so)
    lines = [f"{place.place} {place.title}", f"Takes {takes}." if takes else "No anchor, no socket."]
    if place.crew_at_once is not None:
        lines.append(f"Crew at once: {place.crew_at_once}.")
    return "<br>".join(plotly_paragraph(line) for line in (*lines, place.caution) if line)


def _flat_spots(places: Sequence[Place], views: Views, view: View) -> list[str]:
    """Where names cover neither each other nor a mark; one that fits nowhere is left to the pointer."""
    return name_spots([_pixels(place, views, view) for place in places],
                      [len(place.place[:LONGEST_PLACE_ID]) * NAME_CHAR_PX for place in places])


def _pixels(place: Place, views: Views, view: View) -> tuple[float, float]:
    """About where a place is on the screen, pixels to the right and up; one scale for both axes."""
    ranges = [views.range_of(axis) for axis in (view.across, view.up)]
    px_per_m = min(px / abs(high - low) for px, (low, high) in zip(NOMINAL_FLAT_PX, ranges, strict=True))
    metres = view.coordinates([(place.x_m, place.y_m, place.z_m)])
    x, y = (metres[name][0] * (1 if high > low else -1)
            for name, (low, high) in zip("xy", ranges, strict=True))
    return x * px_per_m, y * px_per_m


def _scale(views: Views, theme: Theme) -> Trace:
    """The frame in the view in space: lines of 5 m along x, y and z, from a point above the middle."""
    low, high = views.lowest, views.highest
    x, y = ((a + b) / 2 for a, b in zip(low[:2], high[:2], strict=True))
    z = low[2] if views.side.up == "-z" else high[2]
    ends = ((x + _SCALE_M, y, z), (x, y + _SCALE_M, z), (x, y, z + _SCALE_M))
    return views.space.trace(
        [point for end in ends for point in ((x, y, z), end, None)], mode="lines+text", name="frame",
        text=[text for name in "xyz" for text in ("", f"{name} {_SCALE_M:g} m", "")],
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
            if not any(_overlap(box, other) for other in taken):
                spots[-1] = spot
                taken.append(box)
                break
    return spots


def _overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
