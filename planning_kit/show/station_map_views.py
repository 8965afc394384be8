"""The three views of the station map: in space, from the side and from above, and how points go into them.

The format fixes the station body frame's axes but not which way is down: ``down`` says it ("+z", the common
practice of body frames with z to nadir, or "-z"). The longer horizontal axis lies across the page. All three
views keep the frame right-handed: nothing is mirrored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin
from typing import Any

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Place
from planning_kit.show.bars import Trace

Point = tuple[float, float, float]
_AXES = "xyz"
_TURN_DEG, _RAISE_DEG, _EYE_DISTANCE = 30.0, 30.0, 1.5
_EDGE_SHARE = 0.09  # of the extent, left free around the places
_LEAST_EXTENT_M = 4.0


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
    """The views of one station, and how far its places reach: ``lowest`` and ``highest`` by axis, metres."""

    space: View
    side: View
    above: View
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
                 View("from above", 5, across, page_up), lowest, highest)


def _corner(points: Sequence[Point], pick: Any) -> Point:
    x, y, z = (float(pick(values)) for values in zip(*points, strict=True))
    return x, y, z
