"""The station as solids: how far a point is from them, which way is out, what a line runs through.

All solids are convex, in the station body frame, metres. The distance to a convex solid, negative inside, is
a convex function of the point: so along a straight line it has one least value, which a ternary search finds.
A truss counts as full: what leads through its section is told, though one could see through it. A model is
the box around it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from planning_kit.inputs import station_records as rec
from planning_kit.inputs.hazard_words import Point
from planning_kit.inputs.records import Records, Route
from planning_kit.inputs.setting_records import Attitude
from planning_kit.inputs.station_records import Body, Model, Place
from planning_kit.sky.attitude import from_orbit_axes, turned

Vector = NDArray[np.float64]

SKIN_M = 0.1
"""How deep a drawn body may reach over a place or way without a word: bodies are simpler than hulls."""
THIN_M = 0.1
"""Thickness of a panel of which none is given."""
_STEP_M = 1e-5
_FINE_M = 1e-3  # how far along a line its nearest point may be missed
_PARALLEL = 0.05


@dataclass(frozen=True, eq=False)
class Solid:
    """A body with its own axes (rows of ``axes``): z along its ends where it has two, from the first one.

    ``half``: half its sizes along its axes, of box, panel and truss, whose ``middle`` it is counted from;
    empty for what is round, which is counted from its first end: ``radii`` there and at ``length``.
    """

    body: Body
    middle: Vector
    axes: Vector
    half: Vector
    radii: tuple[float, float]
    length: float

    @cached_property
    def centre(self) -> Vector:
        """The middle of a ball, ``around_m`` in radius, that holds all of it."""
        return self.middle if len(self.half) else self.middle + self.axes[2] * self.length / 2

    @cached_property
    def around_m(self) -> float:
        """Radius of that ball."""
        if len(self.half):
            return float(np.linalg.norm(self.half))
        widest = self.length if self.body.kind == rec.DOME else max(self.radii)
        return float(np.hypot(widest, self.length / 2))

    def distance_m(self, points: Vector) -> Vector:
        """From each of the points (n, 3) to its surface, negative inside; exact."""
        own = (points - self.middle) @ self.axes.T
        if len(self.half):
            over = np.abs(own) - self.half
            return np.asarray(np.linalg.norm(np.maximum(over, 0.0), axis=1) + np.minimum(over.max(axis=1), 0))
        aside, along = np.hypot(own[:, 0], own[:, 1]), own[:, 2]
        if self.body.kind == rec.DOME:
            beyond = np.hypot(aside, along) - self.length
            below = np.hypot(np.maximum(aside - self.length, 0.0), along)
            above = np.where(beyond > 0, beyond, np.maximum(beyond, -along))
            return np.asarray(np.where(along < 0, below, above))
        one, other = self.radii
        slant = np.hypot(self.length, other - one)
        inside = np.maximum.reduce([-along, along - self.length, (
            (aside - one) * self.length - along * (other - one)) / slant])
        corners = ((0.0, 0.0), (one, 0.0), (other, self.length), (0.0, self.length))
        edges = [_to_edge(aside, along, *ends) for ends in pairwise(corners)]
        return np.asarray(np.where(inside <= 0, inside, np.minimum.reduce(edges)))

    def outward(self, points: Vector) -> Vector:
        """Unit directions (n, 3) in which the distance grows fastest."""
        grown = np.stack([self.distance_m(points + step) - self.distance_m(points - step)
                          for step in np.eye(3) * _STEP_M], axis=1)
        size = np.linalg.norm(grown, axis=1, keepdims=True)
        return np.asarray(grown / np.where(size > 0, size, 1.0))


def _to_edge(aside: Vector, along: Vector, one: tuple[float, float], other: tuple[float, float]) -> Vector:
    (a, b), (c, d) = one, np.subtract(other, one)
    share = np.clip(((aside - a) * c + (along - b) * d) / ((c * c + d * d) or 1.0), 0.0, 1.0)
    return np.asarray(np.hypot(aside - a - share * c, along - b - share * d))


def solid_of(body: Body, model: Model | None = None) -> Solid:
    """The solid of a row of ``bodies.csv``; of one that has a ``model``, the box around that."""
    ends, none = np.array(body.ends), np.empty(0)
    if model is not None:
        turn = turned(body.yaw_deg, body.pitch_deg, body.roll_deg)
        least, most = np.array(model.least) * body.scale, np.array(model.most) * body.scale
        middle = ends[0] + turn @ (least + most) / 2
        return Solid(body, middle, turn.T, (most - least) / 2, (0.0, 0.0), float(most[2] - least[2]))
    if body.kind in (rec.BOX, rec.PANEL):
        sizes = np.array([body.length_m or 0.0, body.width_m or 0.0, body.height_m or THIN_M])
        axes = turned(body.yaw_deg, body.pitch_deg, body.roll_deg).T
        return Solid(body, ends[0], axes, sizes / 2, (0.0, 0.0), float(sizes[2]))
    length = float(np.linalg.norm(ends[1] - ends[0]))
    along = (ends[1] - ends[0]) / length
    beside = across(along, np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]))
    axes = np.array([beside, np.cross(along, beside), along])
    if body.kind == rec.TRUSS:
        axes = turned(body.roll_deg, 0.0, 0.0).T @ axes
        half = np.array([body.width_m or 0.0, body.width_m or 0.0, length]) / 2
        return Solid(body, ends.mean(axis=0), axes, half, (0.0, 0.0), length)
    radius = body.radius_m or 0.0
    other = (body.radius2_m or 0.0) if body.kind == rec.CONE else radius
    return Solid(body, ends[0], axes, none, (radius, other), length)


def across(along: Vector, wanted: Vector, instead: Vector) -> Vector:
    """``wanted`` made perpendicular to ``along``, of length 1; ``instead`` where the two are parallel."""
    for each in (wanted, instead, np.roll(instead, 1)):
        rest = each - along * (each @ along)
        if (size := np.linalg.norm(rest)) > _PARALLEL:
            return np.asarray(rest / size)
    raise ValueError("two perpendicular directions cannot both be parallel to a third")


@dataclass(frozen=True, eq=False)
class Surfaces:
    """All solids of a station; ``zenith`` and ``ahead`` are directions of its frame.

    ``frames``: outward and up of each place, unit vectors.
    """

    solids: tuple[Solid, ...]
    zenith: Vector
    ahead: Vector
    points: dict[str, Point]
    frames: dict[str, tuple[Vector, Vector]]

    def nearest(self, points: Vector) -> tuple[NDArray[np.intp], Vector]:
        """For each point the number of the nearest solid, and the distance (m); infinite where none is."""
        numbers, least = np.zeros(len(points), dtype=np.intp), np.full(len(points), np.inf)
        for number, solid in enumerate(self.solids):
            distance = solid.distance_m(points)
            numbers[distance < least] = number
            least = np.minimum(least, distance)
        return numbers, least

    def outward(self, point: Vector) -> Vector:
        """Away from the nearest body; away from Earth where there is none."""
        if not self.solids:
            return self.zenith
        number = int(self.nearest(point[None])[0][0])
        out = self.solids[number].outward(point[None])[0]
        return out if out.any() else self.zenith

    def up_for(self, out: Vector) -> Vector:
        """Along the surface, away from Earth; ahead on what faces it."""
        return across(out, self.zenith, self.ahead)

    def least_m(self, starts: Vector, stops: Vector,
                near_m: float = 0.0) -> tuple[NDArray[np.intp], Vector]:
        """For each line (n, 3) to (n, 3): the number of the solid that it comes nearest to, and how near.

        Solids that stay farther than ``near_m`` from a line may be passed over: then it is infinite.
        """
        numbers, least = np.zeros(len(starts), dtype=np.intp), np.full(len(starts), np.inf)
        along = stops - starts
        squared = np.maximum((along * along).sum(axis=1), 1e-12)
        longest = float(np.sqrt(squared.max(initial=1e-12)))
        turns = max(int(np.ceil(np.log(longest / _FINE_M) / np.log(1.5))), 1)
        for number, solid in enumerate(self.solids):
            nearest = np.clip(((solid.centre - starts) * along).sum(axis=1) / squared, 0.0, 1.0)
            away = np.linalg.norm(starts + nearest[:, None] * along - solid.centre, axis=1) - solid.around_m
            which = np.flatnonzero(away <= near_m)
            if not len(which):
                continue
            begin, way = starts[which], along[which]
            low, high = np.zeros(len(which)), np.ones(len(which))
            for _ in range(turns):
                third = (high - low) / 3
                is_later = (solid.distance_m(begin + (low + third)[:, None] * way)
                            > solid.distance_m(begin + (high - third)[:, None] * way))
                low, high = np.where(is_later, low + third, low), np.where(is_later, high, high - third)
            # The ends, too: where it is flat, as in the middle of a solid, the search may go either way.
            found = np.minimum.reduce([solid.distance_m(begin + share[:, None] * way)
                                       for share in (low * 0, low * 0 + 1, (low + high) / 2)])
            closer = which[found < least[which]]
            numbers[closer] = number
            least[which] = np.minimum(least[which], found)
        return numbers, least


def surfaces_of(records: Records) -> Surfaces:
    """The solids of a scenario; those of one station are made once."""
    return _surfaces(records.places, records.bodies, records.models, records.settings.attitude)


@lru_cache(maxsize=16)
def _surfaces(places: tuple[Place, ...], bodies: tuple[Body, ...], models: tuple[Model, ...],
              attitude: Attitude) -> Surfaces:
    turn = from_orbit_axes(attitude)
    points = {place.place: (place.x_m, place.y_m, place.z_m) for place in places}
    by_file = {model.file: model for model in models}
    solids = tuple(solid_of(body, by_file.get(body.model)) for body in bodies)
    found = Surfaces(solids, -turn[:, 2], turn[:, 0], points, {})
    for place in places:
        given = place.outward[0] if place.outward else found.outward(np.array(points[place.place]))
        out = np.array(given) / np.linalg.norm(given)
        up = across(out, np.array(place.up[0]), found.zenith) if place.up else found.up_for(out)
        found.frames[place.place] = out, up
    return found


def way_points(points: dict[str, Point], place: str, to_place: str, route: Route | None) -> list[Point]:
    """The points that a leg leads over: its ends with the ``via`` points between; of a stay the place."""
    if route is None:
        return [points[place]]
    bends = route.via if place == route.from_place else route.via[::-1]
    return [points[place], *bends, points[to_place]]


def shares_of(line: Sequence[Point]) -> Vector:
    """How much of a line's length (0 to 1) lies behind each of its points."""
    lengths = np.linalg.norm(np.diff(np.array(line), axis=0), axis=1)
    done = np.concatenate([[0.0], np.cumsum(lengths)])
    return done / done[-1] if done[-1] > 0 else np.linspace(0.0, 1.0, len(line))


def point_along(line: Sequence[Point], share: float) -> Point:
    """The point with so much of a line's length (0 to 1) behind it."""
    if len(line) == 1:
        return line[0]
    at, behind = np.array(line), shares_of(line)
    x, y, z = (float(np.interp(share, behind, at[:, axis])) for axis in range(3))
    return x, y, z
