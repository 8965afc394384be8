"""The three views of the station map: in space, from the side and from above, and how points go into them.

The format fixes the station body frame's axes but not which way is down: ``down`` says it ("+z", the common
practice of body frames with z to nadir, or "-z"). The longer horizontal axis lies across the page. All three
views keep the frame right-handed: nothing is mirrored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, hypot, inf, radians, sin, tan
from typing import Any

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Place
from planning_kit.show.bars import Trace

Point = tuple[float, float, float]
_AXES = "xyz"
_TURN_DEG, _RAISE_DEG, _EYE_DISTANCE = 30.0, 30.0, 1.5
_EDGE_SHARE = 0.09  # of the extent, left free around the places
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
    places: tuple[Point, ...]
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
        x_across = self.side.across == "+x"
        square = (0.0, -up) if x_across else (up, 0.0)
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
        eye = (camera["eye"]["x"], camera["eye"]["y"], camera["eye"]["z"])
        away = hypot(*eye)
        ahead = _unit(eye)
        right = _unit(_cross((0.0, 0.0, camera["up"]["z"]), ahead))
        upward = _cross(ahead, right)
        ranges = [self.range_of(f"+{name}") for name in _AXES]
        scale = inf
        for place in self.places:
            point = [value - (low + high) / 2 for value, (low, high) in zip(place, ranges, strict=True)]
            for across, share in ((right, _NARROWEST * _HALF_HEIGHT * _USED), (upward, _HALF_HEIGHT * _USED)):
                reach = abs(_dot(point, across)) + share * _dot(point, ahead)
                scale = min(scale, share * away / reach) if reach > 0 else scale
        longest = max(high - low for low, high in ranges)
        scale = min(scale, 2 / longest)  # a single place has no scale of its own
        return {name: round((high - low) * scale, 4) for name, (low, high) in zip(_AXES, ranges, strict=True)}


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return sum(x * y for x, y in zip(a, b, strict=True))


def _cross(a: Point, b: Point) -> Point:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def _unit(a: Point) -> Point:
    length = hypot(*a)
    return a[0] / length, a[1] / length, a[2] / length


def views_of(places: Sequence[Place], down: str) -> Views:
    """The views of a station. Raises `ScenarioError` when ``down`` is neither ``+z`` nor ``-z``."""
    if down not in ("+z", "-z"):
        raise ScenarioError.single("is no way down; use '+z' or '-z'", column="down", value=down)
    lowest = _corner([(p.x_m, p.y_m, p.z_m) for p in places], min)
    highest = _corner([(p.x_m, p.y_m, p.z_m) for p in places], max)
    z_up = "-z" if down == "+z" else "+z"
    if highest[0] - lowest[0] >= highest[1] - lowest[1]:
        across, page_up = "+x", "-y" if down == "+z" else "+y"
    else:
        across, page_up = "+y", "+x" if down == "+z" else "-x"
    return Views(View("in space", 0, across, z_up), View("from the side", 4, across, z_up),
                 View("from above", 5, across, page_up),
                 tuple((p.x_m, p.y_m, p.z_m) for p in places), lowest, highest)


def _corner(points: Sequence[Point], pick: Any) -> Point:
    x, y, z = (float(pick(values)) for values in zip(*points, strict=True))
    return x, y, z
