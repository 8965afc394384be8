"""The timing of many orders of the same steps: what does not depend on the order is made ready once.

The same least fixed point as `planning_kit.plan.timing`, of the same network (`planning_kit.plan.build`), for
one outing at a time and without arrays, which at a hundred steps is ten times faster than building each
network. A test holds the two together. Where no times exist the answer is None, without a reason; a search
passes over an order whose times 40 sweeps do not find, too.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import repeat
from math import inf

import numpy as np

from planning_kit.inputs.records import Records
from planning_kit.plan import build
from planning_kit.plan.network import MAX_GAP, Bound, on_grid
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
        self.way_min, self._join = cache(self._way_min), cache(self._joined)
        steps = self.records.steps
        index = {step.step: position for position, step in enumerate(steps)}
        lengths = on_grid(np.asarray(self.minutes, dtype=float))
        self._lengths: list[float] = lengths.tolist()
        self._follow: list[list[tuple[int, float]]] = [[] for _ in steps]
        self._most: list[tuple[int, int, float]] = []
        self._waits = [0] * len(steps)
        between = *build.after_bounds(steps, index), *build.gap_bounds(self.records.gaps, index), *self.more
        for bound in between:
            weight = float(bound.weight_min(lengths))
            # A greatest gap runs against the least gap of its row: with both there would be no order.
            if bound.kind == MAX_GAP:
                self._most.append((bound.before, bound.after, weight))
            else:
                self._follow[bound.before].append((bound.after, weight))
                self._waits[bound.after] += 1
        guard_min = self.records.settings.night_guard_s / 60.0
        demands = [build.step_demands(step, self.almanac, guard_min) for step in steps]
        allowed = [build.allowed_windows(each) for each in demands]
        self._windows = [None if windows is None else _Windows(windows, self.misses) for windows in allowed]
        left = self.past.windows if self.past else {}
        self._groups = [(group.members, _Windows(next(
            (left[name] for i in group.members if (name := steps[i].step) in left), group.demand.windows),
            self.misses)) for group in build.same_window_groups(steps, demands)]
        self._ends_min = float(on_grid(self.records.settings.airlock.ends_min))

    def starts(self, orders: Orders, pet_zero_min: float = 0.0) -> list[float] | None:
        """The earliest start of every step that is in some order (the rest: -inf); None where there is none.

        Rules with a step that is in no order hold nobody.
        """
        follow, waits, starts = self._ordered(orders, pet_zero_min)
        away = [step for step, start in enumerate(starts) if start == -inf]
        for step in away:
            waits[step] = -1
            for after, _ in follow[step]:
                waits[after] -= 1
        sweep = [step for step, count in enumerate(waits) if not count]
        horizon_min = self.almanac.horizon_min * (1 + self.misses)
        all_windows, lengths, count = self._windows, self._lengths, len(starts) - len(away)
        soonest: list[float] | None = None
        turn = sweep
        for _ in range(_FEW_SWEEPS if self.misses else _MOST_SWEEPS):
            for step in turn:  # grows in the first sweep: each step comes behind those that it waits for
                start, windows = starts[step], all_windows[step]
                if windows is not None:
                    start = starts[step] = windows.fit(start, lengths[step])
                if start > horizon_min:
                    return None
                for after, weight in follow[step]:
                    if start + weight > starts[after]:
                        starts[after] = start + weight
                    waits[after] -= 1
                    if not waits[after]:
                        sweep.append(after)
            for step in away:
                starts[step] = -inf
            if len(sweep) < count:  # they run in a circle
                return None
            if self.misses and soonest is None:  # what nothing mends would go on pushing all that follows
                soonest = [*starts]
            raised = self._raised_back(starts) or self._raised_groups(starts)
            if not raised:
                return starts
            turn = sweep[min(map(sweep.index, raised)):]  # nothing before the first of them has moved
        return soonest

    def end_min(self, orders: Orders, starts: Sequence[float], pet_zero_min: float = 0.0) -> float:
        """Both inside: the later crew member at the airlock, plus ingress."""
        ends = [pet_zero_min]
        for who in self.travels:
            if orders[who]:
                last = orders[who][-1]
                ends.append(starts[last] + self._lengths[last] + self.way_min(who, last, -1))
            elif self.past:
                ends.append(float(on_grid(self.past.home_min[who])))
        return max(ends) + self._ends_min

    def missed_min(self, starts: Sequence[float]) -> float:
        """By how much steps end after the last of their windows and clocks run out, in all."""
        clocks = sum(max(starts[before] + weight - starts[after], 0.0) for before, after, weight in self._most
                     if min(starts[before], starts[after]) > -inf)
        return clocks + sum(max(start + length - (windows.ends[-1] if windows.ends else 0.0), 0.0)
                   for start, length, windows in zip(starts, self._lengths, self._windows, strict=True)
                   if windows is not None and start > -inf)

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

    @property
    def waits(self) -> list[tuple[int, int]]:
        """By position the steps of which the second waits for the first in any order."""
        return [(before, after) for before, links in enumerate(self._follow) for after, _ in links]

    def walk_min(self, orders: Orders) -> float:
        """Travel of all who travel, from the airlock and back."""
        return sum(sum(map(self.way_min, repeat(who), (-1, *orders[who]), (*orders[who], -1)))
                   for who in self.travels if orders[who])

    def _joined(self, who: str, before: int, step: int) -> tuple[
            float, tuple[int, float], list[tuple[int, float]]]:
        """When they can begin a step, from PET 0, how it follows that before, and all that follows that."""
        first = float(on_grid(self.past.not_before[self.records.steps[step].step])) if self.past else 0.0
        release, way = max(self._hatch_min(who, step), first), self.way_min(who, before, step)
        if before < 0:
            return max(release, way), (step, way), []
        link = step, self._lengths[before] + way
        return release, link, [*self._follow[before], link]

    def _ordered(self, orders: Orders, pet_zero_min: float) -> tuple[
            list[list[tuple[int, float]]], list[int], list[float]]:
        """What follows each step and how much later, how many it waits for, and where starts begin."""
        # Only the outer lists are copied: what is in them is shared by all orders, so it is never changed.
        follow, waits, starts = [*self._follow], [*self._waits], [-inf] * len(self._lengths)
        for who, order in orders.items():
            before = -1
            for step in order:
                release, link, links = self._join(who, before, step)
                release += pet_zero_min
                if before >= 0:
                    # A step of both has one more behind it in the other lane.
                    behind = follow[before]
                    follow[before] = links if behind is self._follow[before] else [*behind, link]
                    waits[step] += 1
                if release > starts[step]:
                    starts[step] = release
                before = step
        return follow, waits, starts

    def _raised_back(self, starts: list[float]) -> list[int]:
        """Raise what must not come too long before another; the steps that moved."""
        raised = []
        for before, after, weight in self._most:
            if -inf < starts[after] < starts[before] + weight:
                starts[after] = starts[before] + weight
                raised.append(after)
        return raised

    def _raised_groups(self, starts: list[float]) -> list[int]:
        """Raise each group to a window that holds its last finish; the steps that moved."""
        raised = []
        for members, windows in self._groups:
            here = [step for step in members if starts[step] > -inf]
            if here:
                floor = windows.begin_for(max(starts[step] + self._lengths[step] for step in here))
                late = [step for step in here if starts[step] < floor]
                raised += late
                for step in late:
                    starts[step] = floor
        return raised


class _Windows:
    """Ordered, disjoint windows, an array (n, 2), as lists; whoever ``misses`` all of them waits for none."""

    def __init__(self, windows: np.ndarray, misses: bool) -> None:
        self._misses = misses
        self.begins: list[float] = windows[:, 0].tolist()
        self.ends: list[float] = windows[:, 1].tolist()

    def fit(self, start: float, length: float) -> float:
        """The first start from ``start`` on at which the whole step lies in one window, else inf."""
        for number in range(bisect_left(self.ends, start + length), len(self.ends)):
            placed = max(start, self.begins[number])
            if placed + length <= self.ends[number]:
                return placed
        return start if self._misses else inf

    def begin_for(self, last_finish: float) -> float:
        """The begin of the first window that ends at or after ``last_finish``, else inf."""
        number = bisect_left(self.ends, last_finish)
        return self.begins[number] if number < len(self.ends) else -inf if self._misses else inf

