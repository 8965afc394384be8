"""Where a hazard reaches, when it is there, and when its controls hold, all on the safe side.

Where: the places inside, and the parts of each leg that are. On a leg one moves evenly along the straight
line between its ends, or over the ``via`` points of its route. Where the route is more than `MOST_LONGER`
times as long as that line, nobody knows where it bends: it may touch every point x with |x - f1| + |x - f2|
<= its length between f1 and f2, an ellipsoid. Neglected: how a shorter one bends; where 20 m of it are 5 %
too long, it may lie 3 m beside its line.

When: what is not known counts as there, and as not held. Stretches are closed and in PET minutes, arrays (n,
2) that may reach to infinity. A `Doubt` says where the unsafe case is only assumed. An inhibit controls once
``safe_after_min`` have passed since it was set and the step ``confirmed_by`` is finished, until it is lifted.
``off:INHIBIT`` holds at all other times: as long as nobody knows that it works, the unsafe case is that it is
off.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from functools import cache, lru_cache, reduce
from itertools import pairwise
from math import inf

import numpy as np

from planning_kit.inputs.hazard_words import Controls, Point, Term
from planning_kit.inputs.oem import OrbitData
from planning_kit.inputs.records import Hazard, Records, Route
from planning_kit.inputs.times import measure, pet_label
from planning_kit.plan.custody_state import Custody
from planning_kit.plan.legs import Passage
from planning_kit.plan.needs import Hold
from planning_kit.plan.network import joined
from planning_kit.plan.plan_times import Times
from planning_kit.plan.surfaces import way_points
from planning_kit.sky.light import Light, beta_windows, light_between
from planning_kit.sky.orbit import Orbit, edge_uncertainty_s
from planning_kit.sky.windows import Windows, complement, covered_at_least, intersect, no_windows, union

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
        self._settings = records.settings
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
        line = way_points(self._points, place, to_place, route)
        straight_m = sum(math.dist(*leg) for leg in pairwise(line))
        spare_m = route.metres - straight_m
        # Any of the legs between via points may have all of the spare length.
        if route.metres > MOST_LONGER * straight_m and any(
                could_touch(*leg, math.dist(*leg) + spare_m, self._centre, self._radius_m)
                for leg in pairwise(line)):
            drawn = "over its via points" if route.via else "straight"
            long = measure(route.metres, "m", self._settings, "nearest")
            straight = measure(straight_m, "m", self._settings, "nearest", f"{straight_m:.1f}")
            return ((0.0, 1.0, f"the way from {place} to {to_place} is {long} long, {straight} {drawn}: "
                     "where it bends is not known, and it could lead there"),)
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


HELD, SAFE, CONFIRMED = "held", "safe", "confirmed"
_ALWAYS = (-inf, inf)

Doubt = tuple[float, float, str]
"""From when until when (PET minutes) the unsafe case is assumed, and why."""


def control_windows(holds: Sequence[Hold], stage: str = CONFIRMED) -> dict[str, Windows]:
    """By inhibit, when it controls: what is `HELD`, of that what is `SAFE`, of that what is `CONFIRMED`.

    One that ends before its first step begins never does.
    """
    found = {}
    for hold in holds:
        inhibit, begin = hold.inhibit, hold.set_by_min
        if stage != HELD and inhibit.safe_after_min is not None:
            begin = hold.safe_from_min
        if stage == CONFIRMED and inhibit.confirmed_by:
            begin = max(begin, hold.confirmed_min)
        is_forward = hold.lift_after_min >= hold.set_by_min + inhibit.lead_min
        found[inhibit.inhibit] = (np.array([[begin, hold.lift_after_min]])
                                  if is_forward and hold.lift_after_min > begin else no_windows())
    return found


def controlled(controls: Controls | str | None, by_inhibit: Mapping[str, Windows]) -> Windows:
    """When enough of the inhibits hold: of none never. One that is named twice in a group counts once."""
    if controls is None:
        return no_windows()
    if isinstance(controls, str):
        return by_inhibit.get(controls, no_windows())
    each = [controlled(one, by_inhibit) for one in dict.fromkeys(controls.of)]
    return covered_at_least(controls.least, *each)


class Conditions:
    """When the terms of ``when`` hold in one plan; each term is looked up once."""

    def __init__(self, times: Times, passages: Mapping[str, Sequence[Passage]], custody: Custody,
                 by_inhibit: Mapping[str, Windows]) -> None:
        """``by_inhibit``: when each inhibit controls."""
        self._times, self._passages, self._custody, self._by_inhibit = times, passages, custody, by_inhibit
        self._term = cache(self._found)

    def of(self, hazard: Hazard) -> tuple[Windows, list[Doubt]]:
        """When all terms of a hazard hold, and what of that is assumed."""
        found = [self._term(term) for term in hazard.when]
        windows = reduce(intersect, (windows for windows, _ in found), np.array([_ALWAYS]))
        return windows, [doubt for _, doubts in found for doubt in doubts]

    def _found(self, term: Term) -> tuple[Windows, list[Doubt]]:
        if term.kind in ("day", "night"):
            return self._light(term.kind)
        if term.kind in ("beta", "abs(beta)"):
            times = self._times
            windows = _beta(times.scenario.elements, times.pet_zero, times.horizon_min, term)
            return union(windows, np.array([[times.horizon_min, inf]])), [self._beyond("beta")]
        if term.kind == "item":
            return self._item(term)
        if term.kind == "off":
            return complement(self._by_inhibit.get(term.about, no_windows()), _ALWAYS), []
        return np.array([_ALWAYS]), []

    def _beyond(self, what: str) -> Doubt:
        horizon_min = self._times.horizon_min
        return horizon_min, inf, f"{what} is not known after {pet_label(horizon_min, 'down')} (horizon_h)"

    def _light(self, kind: str) -> tuple[Windows, list[Doubt]]:
        """Whenever it is not wholly the other: that one's windows, less guard and uncertainty, are free."""
        times, orbit = self._times, Orbit(self._times.scenario.elements)
        guard_s = times.scenario.settings.night_guard_s

        def wide_min(minutes: np.ndarray) -> np.ndarray:
            return np.asarray(edge_uncertainty_s(orbit, times.pet_zero, minutes * 60.0) + guard_s) / 60.0

        most = float(wide_min(np.array([0.0, times.horizon_min])).max()) + 0.1
        if most > orbit.period_min:
            return np.array([_ALWAYS]), [(-inf, inf, "the orbit is too old to tell day from night")]
        free, before = (light.night if kind == "day" else light.day for light in (
            times.light, _light_before(times.scenario.elements, times.pet_zero, most)))
        # What ended shortly before PET 0 still reaches into it, widened.
        free = union(before - most, free)
        free = free + wide_min(free) * (1.0, -1.0)
        return complement(free[free[:, 1] > free[:, 0]], _ALWAYS), [self._beyond("the light")]

    def _item(self, term: Term) -> tuple[Windows, list[Doubt]]:
        """It lies there, or is in the hands of somebody who stands there."""
        spans, doubts = [], []
        holdings = [each for each in self._custody.holdings if each.item == term.about]
        for each in holdings:
            if each.holder == term.place:
                spans.append((each.from_min, each.until_min))
            elif each.holder in self._passages:
                spans += [(max(each.from_min, stay.start_min), min(each.until_min, stay.finish_min))
                          for stay in self._passages[each.holder]
                          if stay.route is None and stay.place == term.place]
            elif each.holder in {actor.actor for actor in self._times.scenario.records.actors}:
                spans.append((each.from_min, each.until_min))
                doubts.append((*spans[-1], f"where {each.holder} has {term.about} is not known"))
        if not holdings:
            return np.array([_ALWAYS]), [(-inf, inf, f"where {term.about} is, is not known")]
        known = np.array([span for span in spans if span[1] > span[0]]).reshape(-1, 2)
        return covered_at_least(1, known), doubts


@lru_cache(maxsize=64)
def _beta(elements: OrbitData, pet_zero: datetime, horizon_min: float, term: Term) -> Windows:
    return beta_windows(Orbit(elements), pet_zero, pet_zero + timedelta(minutes=horizon_min), term.sign,
                        term.degrees, term.kind == "abs(beta)")


@lru_cache(maxsize=64)
def _light_before(elements: OrbitData, pet_zero: datetime, minutes: float) -> Light:
    # A minute more than that: cut at the same moment, rounding could part the two from each other.
    begin, end = pet_zero - timedelta(minutes=minutes), pet_zero + timedelta(minutes=1)
    return light_between(Orbit(elements), begin, end)


def assumed_in(doubts: Sequence[Doubt], begin: float, end: float) -> Iterator[str]:
    """Why the unsafe case is assumed between two minutes."""
    return (why for first, last, why in doubts if first <= end and last > begin)
