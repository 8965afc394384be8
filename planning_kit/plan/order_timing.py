"""The timing of many orders of the same steps: what does not depend on the order is made ready once.

The same least fixed point as `planning_kit.plan.timing`, of the same network (`planning_kit.plan.build`), for
one outing at a time and by compiled sweeps (`planning_kit.plan.order_kernel`), which at a hundred steps is
fifty times faster than building each network. A test holds the two together. Where no times exist the answer
is None, without a reason; a search passes over an order whose times 40 sweeps do not find, too.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from math import inf, nan
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from planning_kit.inputs.records import Records
from planning_kit.plan import build
from planning_kit.plan.network import MAX_GAP, Bound, on_grid
from planning_kit.plan.past import Past
from planning_kit.plan.plan_times import Almanac
from planning_kit.plan.travel import Travel

if TYPE_CHECKING:
    from planning_kit.plan.order_kernel import Lists

# Circles with a greatest gap are not looked for here: one that is a little too long could rise for
# thousands of sweeps.
_MOST_SWEEPS, _FEW_SWEEPS = 40, 6
_SAME_MIN = 1e-6
Orders = Mapping[str, Sequence[int]]
"""By crew member or actor the positions of steps, in the order of work."""


def matrix(names: Sequence[str], count: int, orders: Orders) -> tuple[np.ndarray, np.ndarray]:
    """Orders of ``count`` steps as the kernel has them: (lanes, steps), and how much of each row is used."""
    lanes = np.full((len(names), count), -1, dtype=np.int64)
    sizes = np.zeros(len(names), dtype=np.int64)
    for row, who in enumerate(names):
        lane = orders.get(who, ())
        lanes[row, :len(lane)], sizes[row] = lane, len(lane)
    return lanes, sizes


class Sums(NamedTuple):
    """When both are inside; the last starts of all who travel with their ways home, and all their ways, added
    up (all min); how many steps begin later than they should (`OrderTiming.ask_by`); by how many minutes
    steps end after the last of their windows and clocks run out, in all, where they may."""

    end_min: float
    begun_min: float
    walk_min: float
    late: int
    missed_min: float


@dataclass(eq=False)
class OrderTiming:
    """Times the steps of ``records`` in any order. ``minutes`` are their durations, (steps,).

    ``more`` are bounds beyond those of the tables, ``past`` what has happened, where these are the rest of an
    outing. With ``misses`` a step that fits in no window any more comes as soon as it can
    (`Sums.missed_min`). All results are minutes of PET.
    """

    records: Records
    almanac: Almanac
    travels: Mapping[str, Travel]
    minutes: Sequence[float]
    more: Sequence[Bound] = ()
    past: Past | None = None
    misses: bool = False

    def __post_init__(self) -> None:
        # The compiler is slow to load, and most plans are never searched.
        from planning_kit.plan import order_kernel

        self._kernel = order_kernel
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
        self.fixed = order_kernel.Fixed(
            self._lengths, order_kernel.lists(follow),
            np.bincount([after for _, after in self.waits], minlength=len(steps)),
            np.array([windows is not None for windows in allowed], dtype=bool),
            self._flat_windows(() if windows is None else windows for windows in allowed),
            order_kernel.lists([[(i, 0.0) for i in group.members] for group in groups]),
            self._flat_windows(next((left[name] for i in group.members if (name := steps[i].step) in left),
                                    group.demand.windows) for group in groups),
            np.array([row[:2] for row in most], dtype=np.int64).reshape(-1, 2),
            np.array([row[2] for row in most], dtype=float),
            np.array([names.index(who) for who in self.travels], dtype=np.int64),
            # Who has nothing left to do once the outing has begun is home as history has it.
            np.array([float(on_grid(self.past.home_min[who])) if self.past and who in self.travels
                      else -inf for who in names]),
            float(on_grid(self.records.settings.airlock.ends_min)))
        self._allowed: dict[int, list[list[float]]] = {
            i: windows.tolist() for i, windows in enumerate(allowed) if windows is not None}
        self._lanes = names
        first = [float(on_grid(self.past.not_before[step.step])) if self.past else 0.0 for step in steps]
        self.release = np.array([[max(self._hatch_min(who, i), first[i]) for i in range(len(steps))]
                                  for who in names]).reshape(len(names), len(steps))
        self.ways = np.full((len(names), len(steps) + 1, len(steps) + 1), nan)
        self.horizon_min = self.almanac.horizon_min * (1 + self.misses)
        self.most_sweeps = _FEW_SWEEPS if self.misses else _MOST_SWEEPS
        self.ask_by({})

    def _flat_windows(self, each: Iterable[Iterable[Sequence[float]]]) -> "Lists":
        """Ordered, disjoint windows, (begin, end), of some steps or groups."""
        return self._kernel.lists([[(0, float(end)) for window in windows for end in window]
                                   for windows in each])

    def starts(self, orders: Orders, pet_zero_min: float = 0.0) -> list[float] | None:
        """The earliest start of every step that is in some order (the rest: -inf); None where there is none.

        Rules with a step that is in no order hold nobody.
        """
        timed = self._timed(orders, pet_zero_min)
        return None if timed is None else timed[0]

    def _timed(self, orders: Orders, pet_zero_min: float) -> tuple[list[float], list[float]] | None:
        """The starts, and what they come to (`time_order`)."""
        lanes, sizes = matrix(self._lanes, len(self._lengths), orders)
        starts, sums, kernel = np.empty(len(self._lengths)), np.empty(5), self._kernel
        while (said := kernel.time_order(
                self.fixed, self.ways, self.release, lanes, sizes, pet_zero_min, self.horizon_min,
                self.most_sweeps, self.misses, self.latest, starts, sums)) <= kernel.ASKS:
            self.answer(said)
        return (starts.tolist(), sums.tolist()) if said == kernel.FOUND else None

    def answer(self, said: int) -> None:
        """Work out the way that the kernel has asked for: most pairs of steps never follow each other."""
        lane, *ends = map(int, np.unravel_index(self._kernel.ASKS - said, self.ways.shape))
        self.ways[lane, *ends] = self.way_min(
            self._lanes[lane], *(-1 if end == len(self._lengths) else end for end in ends))

    def ask_by(self, latest: Mapping[int, float]) -> None:
        """From now on these steps should begin by these minutes: `sums` counts those that do not."""
        self.latest = np.full(len(self.minutes), inf)
        for step, late in latest.items():
            self.latest[step] = late

    def sums(self, orders: Orders, pet_zero_min: float = 0.0) -> tuple[list[float], Sums] | None:
        """The `starts`, and what they come to."""
        timed = self._timed(orders, pet_zero_min)
        if timed is None:
            return None
        starts, (end_min, begun_min, walk_min, late, missed_min) = timed
        return starts, Sums(end_min, begun_min, walk_min, int(late), missed_min)

    def what_holds(self, orders: Orders, starts: Sequence[float]) -> tuple[dict[int, float], list[int]]:
        """What the end waits for: steps at the begin of a window, not their first, and when just before that
        would be; then all steps of the chains that make the end."""
        into: dict[int, list[tuple[int, float]]] = {}
        first, after, minutes = (each.tolist() for each in self.fixed.follow)
        for step in range(len(starts)):
            for at in range(first[step], first[step + 1]):
                into.setdefault(after[at], []).append((step, minutes[at]))
        ends = dict[int, float]()
        for who, lane in orders.items():
            for a, b in pairwise(lane):
                into.setdefault(b, []).append((a, float(self._lengths[a]) + self.way_min(who, a, b)))
            if lane and who in self.travels:
                last = lane[-1]
                ends[last] = starts[last] + float(self._lengths[last]) + self.way_min(who, last, -1)
        left = [step for step, end in ends.items() if end > max(ends.values()) - _SAME_MIN]
        seen, held = dict.fromkeys(left), dict[int, float]()
        while left:
            step = left.pop()
            binding = [a for a, weight in into.get(step, ()) if starts[a] + weight > starts[step] - _SAME_MIN]
            later = self._allowed.get(step, [])[1:]
            if not binding and any(starts[step] == begin for begin, _ in later):
                held[step] = starts[step] - _SAME_MIN
            left += [a for a in binding if a not in seen]
            seen |= dict.fromkeys(binding)
        return held, [*seen]

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
