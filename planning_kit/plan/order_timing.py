"""The timing of many orders of the same steps: what does not depend on the order is made ready once.

The same least fixed point as `planning_kit.plan.timing`, of the same network (`planning_kit.plan.build`), for
one outing at a time and without arrays, which at a hundred steps is ten times faster than building each
network. A test holds the two together. Where no times exist the answer is None, without a reason; a search
passes over an order whose times 40 sweeps do not find, too.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import accumulate, pairwise
from math import inf, nan

import numpy as np

from planning_kit.inputs.records import Records
from planning_kit.plan import build
from planning_kit.plan.network import MAX_GAP, Bound, on_grid
from planning_kit.plan.order_kernel import ASKS, FOUND, Fixed, Lists, lists, time_order
from planning_kit.plan.plan_times import Almanac
from planning_kit.plan.travel import Travel

# Circles with a greatest gap are not looked for here: one that is a little too long could rise for
# thousands of sweeps.
_MOST_SWEEPS, _FEW_SWEEPS = 40, 6
Orders = Mapping[str, Sequence[int]]
"""By crew member or actor the positions of steps, in the order of work."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Past:
    """What the rest of an outing that has begun must know of what has happened. PET minutes throughout.

    ``ready_min``: by lane and step, when that one could begin it as the next of all; ``home_min``: by crew
    member, when they could be back at the airlock; ``hooks``: the place of each hook; ``not_before``: first
    start by step, by the rules that delay it; ``windows`` (n, 2): by step, those that the begun part of its
    group leaves; ``last_begun``: by lane the step that was begun last, if any. What delays nobody but must be
    kept: ``free_min``, when the items of a step and a place for one are free, and ``not_after``, last starts.
    """

    ready_min: Mapping[str, Mapping[str, float]]
    home_min: Mapping[str, float]
    hooks: Mapping[str, str]
    not_before: Mapping[str, float]
    free_min: Mapping[str, float]
    not_after: Mapping[str, float]
    windows: Mapping[str, np.ndarray]
    last_begun: Mapping[str, str]


@dataclass(eq=False)
class OrderTiming:
    """Times the steps of ``records`` in any order. ``minutes`` are their durations, (steps,).

    ``more`` are bounds beyond those of the tables, ``past`` what has happened, where these are the rest of an
    outing. With ``misses`` a step that fits in no window any more comes as soon as it can (`missed_min`).
    All results are minutes of PET.
    """

    records: Records
    almanac: Almanac
    travels: Mapping[str, Travel]
    minutes: Sequence[float]
    more: Sequence[Bound] = ()
    past: Past | None = None
    misses: bool = False

    def __post_init__(self) -> None:
        # A search asks for the same ways again and again.
        self.way_min = cache(self._way_min)
        steps, names = self.records.steps, self.records.lane_names
        index = {step.step: position for position, step in enumerate(steps)}
        self._lengths = on_grid(np.asarray(self.minutes, dtype=float))
        follow: list[list[tuple[int, float]]] = [[] for _ in steps]
        most, self.waits = list[tuple[int, int, float]](), list[tuple[int, int]]()
        between = *build.after_bounds(steps, index), *build.gap_bounds(self.records.gaps, index), *self.more
        for bound in between:
            weight = float(bound.weight_min(self._lengths))
            # A greatest gap runs against the least gap of its row: with both there would be no order.
            if bound.kind == MAX_GAP:
                most.append((bound.before, bound.after, weight))
            else:
                follow[bound.before].append((bound.after, weight))
                self.waits.append((bound.before, bound.after))
        guard_min = self.records.settings.night_guard_s / 60.0
        demands = [build.step_demands(step, self.almanac, guard_min) for step in steps]
        allowed = [build.allowed_windows(each) for each in demands]
        left = self.past.windows if self.past else {}
        groups = [*build.same_window_groups(steps, demands)]
        self._fixed = Fixed(
            self._lengths, lists(follow),
            np.bincount([after for _, after in self.waits], minlength=len(steps)),
            np.array([windows is not None for windows in allowed], dtype=bool),
            _windows(() if windows is None else windows for windows in allowed),
            lists([[(i, 0.0) for i in group.members] for group in groups]),
            _windows(next((left[name] for i in group.members if (name := steps[i].step) in left),
                          group.demand.windows) for group in groups),
            np.array([row[:2] for row in most], dtype=np.int64).reshape(-1, 2),
            np.array([row[2] for row in most], dtype=float),
            np.array([names.index(who) for who in self.travels], dtype=np.int64))
        self._most = most
        self._begins = [set() if windows is None else {float(w[0]) for w in windows} for windows in allowed]
        self._last = [(i, float(windows[-1][1]) if len(windows) else 0.0)
                      for i, windows in enumerate(allowed) if windows is not None]
        self._ends_min = float(on_grid(self.records.settings.airlock.ends_min))
        self._lanes = names
        first = [float(on_grid(self.past.not_before[step.step])) if self.past else 0.0 for step in steps]
        self._release = np.array([[max(self._hatch_min(who, i), first[i]) for i in range(len(steps))]
                                  for who in names]).reshape(len(names), len(steps))
        self._ways = np.full((len(names), len(steps) + 1, len(steps) + 1), nan)
        self._starts, self._sums = np.empty(len(steps)), np.empty(4)
        self.latest = np.full(len(steps), inf)

    def starts(self, orders: Orders, pet_zero_min: float = 0.0) -> list[float] | None:
        """The earliest start of every step that is in some order (the rest: -inf); None where there is none.

        Rules with a step that is in no order hold nobody.
        """
        return self._starts.tolist() if self._is_timed(orders, pet_zero_min) else None

    def _is_timed(self, orders: Orders, pet_zero_min: float) -> bool:
        """Whether an order has times: then they are in ``_starts``, and what they come to in ``_sums``."""
        own = [orders.get(who, ()) for who in self._lanes]
        lanes = np.array([step for lane in own for step in lane], dtype=np.int64)
        first = np.array([0, *accumulate(map(len, own))])
        horizon_min = self.almanac.horizon_min * (1 + self.misses)
        while (said := time_order(self._fixed, self._ways, self._release, lanes, first, pet_zero_min, horizon_min,
                                  _FEW_SWEEPS if self.misses else _MOST_SWEEPS, self.misses,
                                  self._starts, self.latest, self._sums)) <= ASKS:
            # Ways are worked out as they are asked for: most pairs of steps never follow each other.
            lane, before, step = np.unravel_index(ASKS - said, self._ways.shape)
            self._ways[lane, before, step] = self.way_min(
                self._lanes[lane], *(-1 if i == len(self._starts) else int(i) for i in (before, step)))
        return said == FOUND

    def sums(self, orders: Orders, pet_zero_min: float = 0.0) -> tuple[
            list[float], tuple[float, float, float, float]] | None:
        """The `starts`; when both are inside, the last starts of all who travel, with their ways home, added
        up, and all their ways."""
        if not self._is_timed(orders, pet_zero_min):
            return None
        home_min, begun_min, walk_min, limited = self._sums.tolist()
        still = [float(on_grid(self.past.home_min[who])) for who in self.travels
                 if not orders[who]] if self.past else []
        return self._starts.tolist(), (max(home_min, pet_zero_min, *still) + self._ends_min, begun_min, walk_min, limited)

    def waits_for_windows(self, orders: Orders, starts: Sequence[float]) -> tuple[dict[int, float], set[int]]:
        """The steps whose window the end waits for, by the chains that make it, and when that begins."""
        into: dict[int, list[tuple[int, float]]] = {}
        first, after, minutes = (each.tolist() for each in self._fixed.follow)
        for step in range(len(starts)):
            for at in range(first[step], first[step + 1]):
                into.setdefault(after[at], []).append((step, minutes[at]))
        for who, lane in orders.items():
            for a, b in pairwise(lane):
                into.setdefault(b, []).append((a, float(self._lengths[a]) + self.way_min(who, a, b)))
        ends = {lane[-1]: starts[lane[-1]] + float(self._lengths[lane[-1]]) + self.way_min(who, lane[-1], -1)
                for who in self.travels if (lane := orders[who])}
        left = [step for step, end in ends.items() if end > max(ends.values()) - 1e-6]
        seen, heads = set(left), dict[int, float]()
        while left:
            step = left.pop()
            binds = [a for a, m in into.get(step, ()) if abs(starts[a] + m - starts[step]) < 1e-6]
            if not binds and self._fixed.limited[step] and starts[step] in self._begins[step]:
                heads[step] = starts[step]
            left += [a for a in binds if a not in seen]
            seen.update(binds)
        return heads, seen

    def missed_min(self, starts: Sequence[float]) -> float:
        """By how much steps end after the last of their windows and clocks run out, in all."""
        clocks = sum(max(starts[before] + weight - starts[after], 0.0) for before, after, weight in self._most
                     if min(starts[before], starts[after]) > -inf)
        return clocks + sum(max(starts[step] + float(self._lengths[step]) - last, 0.0)
                            for step, last in self._last if starts[step] > -inf)

    def _way_min(self, who: str, before: int, after: int) -> float:
        """Travel from one step into another, -1 being the airlock; 0 for those who do not travel.

        Once the outing has begun, -1 before a step is PET 0: until they can begin it as the next of all.
        """
        steps, airlock = self.records.steps, self.records.settings.airlock_place
        if before < 0 <= after and self.past:
            return float(on_grid(self.past.ready_min[who][steps[after].step]))
        # By the functions of the network: a way that is added up or rounded otherwise would give other times.
        if who not in self.travels:
            return 0.0
        travels = {who: self.travels[who]}
        if before < 0:
            return next(build.first_releases(steps, {who: [after]}, travels, airlock)).at_min
        if after < 0:
            return next(build.ways_home(steps, {who: [before]}, travels, airlock)).travel_min
        bound = next(build.order_bounds(steps, {who: [before, after]}, travels, airlock))
        return float(on_grid(bound.fixed_min + bound.travel_min))

    def _hatch_min(self, who: str, step: int) -> float:
        """When they can be there from an open hatch, from PET 0; -inf where nothing is said of it."""
        travels = {who: self.travels[who]} if who in self.travels else {}
        return max((release.at_min for release in build.hatch_releases(
            self.records.settings, self.records.steps, {who: [step]}, travels)), default=-inf)


def _windows(each: Iterable[Iterable[Sequence[float]]]) -> Lists:
    """Ordered, disjoint windows, (begin, end), of some steps or groups."""
    return lists([[(0, float(end)) for window in windows for end in window] for windows in each])
