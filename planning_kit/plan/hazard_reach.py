"""Where a hazard reaches: the places inside, and the parts of each leg that are, on the safe side.

On a leg one moves evenly along the straight line between its ends, or over the ``via`` points of its route.
Where the route is more than `MOST_LONGER` times as long as that line, nobody knows where it bends: it may
touch every point x with |x - f1| + |x - f2| <= its length between f1 and f2, an ellipsoid. Neglected: how a
shorter one bends; where 20 m of it are 5 % too long, it may lie 3 m beside its line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from planning_kit.inputs.hazard_words import Point
from planning_kit.inputs.records import Hazard, Records, Route
from planning_kit.plan.network import joined

MOST_LONGER = 1.05
_TOUCH_M = 1e-9  # rounding: what lies on the rim is inside
_HALVINGS = 60

Part = tuple[float, float, str]
"""A stretch inside, as shares (0 to 1) of the time spent there; why it is assumed, "" where it is known."""
_WHOLE: tuple[Part, ...] = ((0.0, 1.0, ""),)


class Reach:
    """Which places and legs lie inside one hazard."""

    def __init__(self, records: Records, hazard: Hazard) -> None:
        """``[checks] body_m`` is added to the radius of a sphere."""
        self._points = {place.place: (place.x_m, place.y_m, place.z_m) for place in records.places}
        self._zones = {place.place: place.zone for place in records.places if place.zone in hazard.zones}
        self._named = frozenset(hazard.places)
        self._routes = {frozenset(pair) for pair in hazard.routes}
        self._centre = hazard.centre
        self._radius_m = (hazard.radius_m or 0.0) + (records.settings.checks.body_m or 0.0) + _TOUCH_M

    def at(self, place: str) -> tuple[Part, ...]:
        """Standing at a place: all of the time, or none."""
        if place in self._named or place in self._zones:
            return _WHOLE
        is_near = self._centre is not None and math.dist(self._points[place], self._centre) <= self._radius_m
        return _WHOLE if is_near else ()

    def passes(self, place: str) -> bool:
        """Whether it is named, so that passing by without a stop is being there, for a moment."""
        return place in self._named

    def on(self, place: str, to_place: str, route: Route) -> tuple[Part, ...]:
        """The parts of a leg, in order."""
        if frozenset((place, to_place)) in self._routes:
            return _WHOLE
        ends = [self._zones.get(place), self._zones.get(to_place)]
        if ends[0] is not None and ends[0] == ends[1]:
            return _WHOLE
        zone = ends[0] if ends[0] is not None else ends[1]
        if zone is not None:
            return ((0.0, 1.0, f"where zone {zone} begins between {place} and {to_place} is not known"),)
        if self._centre is None:
            return ()
        bends = route.via if place == route.from_place else route.via[::-1]
        line = [self._points[place], *bends, self._points[to_place]]
        straight_m = sum(math.dist(*leg) for leg in pairwise(line))
        spare_m = route.metres - straight_m
        # Any of the legs between via points may have all of the spare length.
        if route.metres > MOST_LONGER * straight_m and any(
                could_touch(*leg, math.dist(*leg) + spare_m, self._centre, self._radius_m)
                for leg in pairwise(line)):
            drawn = "over its via points" if bends else "straight"
            return ((0.0, 1.0, f"the way from {place} to {to_place} is {route.metres:g} m long, "
                     f"{straight_m:.1f} m {drawn}: where it bends is not known, and it could lead there"),)
        return tuple((begin, end, "") for begin, end in inside_sphere(line, self._centre, self._radius_m))


def inside_sphere(line: Sequence[Point], centre: Point, radius_m: float) -> list[tuple[float, float]]:
    """The parts of a line of points (metres) inside a sphere, as shares of its length, in order; exact."""
    lengths = [math.dist(*leg) for leg in pairwise(line)]
    whole, done, parts = sum(lengths), 0.0, []
    if whole == 0.0:
        return [(0.0, 1.0)] if math.dist(line[0], centre) <= radius_m else []
    for (one, other), length in zip(pairwise(line), lengths, strict=True):
        if found := _chord(one, other, length, centre, radius_m):
            parts.append(((done + found[0] * length) / whole, min((done + found[1] * length) / whole, 1.0)))
        done += length
    return joined(parts)  # what goes on over a bend


def _chord(one: Point, other: Point, length: float, centre: Point,
           radius_m: float) -> tuple[float, float] | None:
    """Where a straight leg is inside: |one + s (other - one) - centre|² <= radius² is a quadratic in s."""
    if length == 0.0:
        return None
    along = sum((b - a) * (c - a) for a, b, c in zip(one, other, centre, strict=True)) / length
    # Not |centre - one|² - along²: far away that would lose the metres.
    aside_m = math.dist(centre, [a + along / length * (b - a) for a, b in zip(one, other, strict=True)])
    if aside_m > radius_m:
        return None
    half = math.sqrt(radius_m * radius_m - aside_m * aside_m)
    begin, end = max(0.0, (along - half) / length), min(1.0, (along + half) / length)
    return (begin, end) if begin <= end else None


def could_touch(one: Point, other: Point, metres: float, centre: Point, radius_m: float) -> bool:
    """Whether a way of so many metres between two points can touch a ball; in doubt it can."""
    # No point of the ball is nearer to either end than its centre is, by more than the radius.
    if math.dist(centre, one) + math.dist(centre, other) > metres + 2 * radius_m:
        return False
    return gap_to_ellipsoid_m(centre, one, other, metres) <= radius_m


def gap_to_ellipsoid_m(point: Point, one: Point, other: Point, metres: float) -> float:
    """From a point to the ellipsoid of all points that a way of so many metres between two others can touch.

    0 inside; outside at most the true distance, and less by no more than rounding. Along the foci and across
    (u, v >= 0, semi-axes a and b) the nearest point is (a² u / (t + a²), b² v / (t + b²)), where the t >= 0
    puts it on the ellipse (a Lagrange multiplier: distance is minimal along the normal). Both of its
    coordinates fall as t grows. So t can be halved in upon, and the distance of any smaller t is shorter:
    the lower end of the bracket errs to the safe side.
    """
    focal_m = math.dist(one, other)
    if math.dist(point, one) + math.dist(point, other) <= metres:
        return 0.0
    a2 = metres * metres / 4
    b2 = max(0.0, a2 - focal_m * focal_m / 4)
    middle = [(p + q) / 2 for p, q in zip(one, other, strict=True)]
    away = [c - m for c, m in zip(point, middle, strict=True)]
    axis = [(q - p) / focal_m for p, q in zip(one, other, strict=True)] if focal_m else [1.0, 0.0, 0.0]
    u = abs(sum(x * y for x, y in zip(away, axis, strict=True)))
    v = math.sqrt(max(0.0, sum(x * x for x in away) - u * u))
    low, high = 0.0, math.sqrt(a2) * u + math.sqrt(b2) * v  # at which the point would lie inside
    for _ in range(_HALVINGS):
        middle_t = (low + high) / 2
        is_outside = (a2 * u * u / (middle_t + a2) ** 2
                      + (b2 * v * v / (middle_t + b2) ** 2 if b2 else 0.0)) > 1.0
        low, high = (middle_t, high) if is_outside else (low, middle_t)
    return low * math.hypot(u / (low + a2), v / (low + b2) if low + b2 else 0.0)
