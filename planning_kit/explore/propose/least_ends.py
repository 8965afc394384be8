"""The least that one crew member's work can take, whatever the partner does: what makes proofs short.

One lane alone is a round trip with precedence and windows, from the airlock and back. The state of a
dynamic programme over it is the set of steps done and the last of them (Held and Karp 1962, "A dynamic
programming approach to sequencing problems"; only sets closed under precedence are ever reached), its value
the earliest finish. States are expanded in the order of a least end of the whole (A*: Hart, Nilsson and
Raphael 1968): finish so far, plus the work left, plus the least walk that is left. The least walk forgets the
windows, and then whoever stands at a place does all that can be done there before leaving (doing it later
costs as much work and no less walk), so that few states are left.

When the states run out the least end among those still open is a bound all the same, and where no more walks
are remembered the way to the farthest step and home stands for the rest. Neglected: the partner, hardware,
gaps and limits; each of them can only make the true end later. `add_lane_bounds` tells the solver.
"""

import heapq
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product

from planning_kit.explore.propose.order_model import minutes_of, start_windows, ticks_up
from planning_kit.explore.propose.order_problem import Problem
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.propose.timed_rules import lane_way
from planning_kit.inputs.records import BOTH
from planning_kit.plan.build import allowed_windows, step_demands, stops_into

_LOOK_EVERY = 500
_NEVER = 1 << 50
_MOST_TRADES = 3
_EXPANDED, _REMEMBERED = 2_000, 10_000
"""States expanded and walks remembered for one unit of effort."""


@dataclass(frozen=True, eq=False)
class Trip:
    """The work of one lane, in ticks: ``before`` are the steps that precede each one, as bits.

    ``way[i][j]`` is the way from step i into step j, in row -1 from the airlock; ``home`` the way back, with
    ingress. ``starts`` are the ranges of ticks [first, last] that a step may start in (None: any). Steps of
    one ``spot`` are left and reached alike.
    """

    lengths: Sequence[int]
    way: Sequence[Sequence[int]]
    home: Sequence[int]
    before: Sequence[int]
    starts: Sequence[Sequence[tuple[int, int]] | None]
    spots: Sequence[str]

    @cached_property
    def everything(self) -> int:
        """All steps, as bits."""
        return (1 << len(self.lengths)) - 1

    @cached_property
    def stays(self) -> list[list[int]]:
        """For each step those that cost no walk when it was the last one."""
        numbers = range(len(self.lengths))
        return [[j for j in numbers if self.spots[i] == self.spots[j] and self.way[i][j] == 0]
                for i in numbers]

    @cached_property
    def waiting(self) -> list[int]:
        """The steps that may have to wait for a window."""
        return [j for j, ranges in enumerate(self.starts) if ranges is not None]

    @cached_property
    def behind(self) -> list[int]:
        """For each step the ticks from its start to the end that no order can spare."""
        # Which step is the last is open, and the shortest way home is never too long.
        return [self.lengths[j] + min(self.home) + sum(
            length for length, before in zip(self.lengths, self.before, strict=True) if before >> j & 1)
            for j in range(len(self.lengths))]

    def can_follow(self, done: int) -> list[int]:
        """The steps that may come next."""
        left = ~done
        return [j for j, bit, before in self._bits if left & bit and not before & left]

    @cached_property
    def _bits(self) -> list[tuple[int, int, int]]:
        return [(j, 1 << j, before) for j, before in enumerate(self.before)]


@dataclass(eq=False)
class LeastWalk:
    """The least walk left, home and ingress included, by what is done and where; see the module."""

    trip: Trip
    most_known: int
    is_over: Callable[[], bool]
    known: dict[tuple[int, str], int] = field(default_factory=dict)

    def left(self, done: int, last: int) -> int:
        """Ticks of walking left; -1 as ``last`` is the airlock."""
        trip = self.trip
        if last >= 0:
            done, last = self._with_all_here(done, last)
        if done == trip.everything:
            return trip.home[last] if trip.lengths else 0
        key = (done, trip.spots[last] if last >= 0 else "")
        if key not in self.known:
            if len(self.known) % _LOOK_EVERY == 1 and self.is_over():
                self.most_known = 0
            if len(self.known) >= self.most_known:
                return max(trip.way[last][j] + trip.home[j]
                           for j in range(len(trip.home)) if not done >> j & 1)
            nearest: dict[str, int] = {}
            for j in trip.can_follow(done):
                if trip.spots[j] not in nearest or trip.way[last][j] < trip.way[last][nearest[trip.spots[j]]]:
                    nearest[trip.spots[j]] = j
            self.known[key] = min((trip.way[last][j] + self.left(done | 1 << j, j)
                                   for j in nearest.values()), default=0)
        return self.known[key]

    def _with_all_here(self, done: int, last: int) -> tuple[int, int]:
        trip, has_more = self.trip, True
        while has_more:
            has_more = False
            for j in trip.stays[last]:
                if not done >> j & 1 and not trip.before[j] & ~done:
                    done, last, has_more = done | 1 << j, j, True
        return done, last


def least_end(walk: LeastWalk, enough: int, most: int) -> int:
    """The least ticks from PET 0 to inside; a bound where it reaches ``enough`` or ``most`` are expanded.

    ``enough`` itself where no order meets the windows.
    """
    trip = walk.trip
    work = sum(trip.lengths)
    least = work + walk.left(0, -1)
    # No window, no wait: work and the least walk are all of it.
    if not trip.waiting:
        return least
    # Of equal ends the state with the fewest steps left comes first: it is soonest a whole order.
    open_ones = [(least, len(trip.lengths), 0, 0, -1, work)]
    earliest: dict[tuple[int, int], int] = {}
    expanded = 0
    while open_ones and least < enough:
        end, count_left, now, done, last, work_left = heapq.heappop(open_ones)
        least = max(least, end)
        if count_left == 0:
            return least  # no open state can end sooner
        if earliest.get((done, last), now) < now:
            continue  # the same work was done sooner in another order since this one was pushed
        expanded += 1
        if expanded > most or (expanded % _LOOK_EVERY == 0 and walk.is_over()):
            return least
        for j in trip.can_follow(done):
            start = _start(trip, j, now + trip.way[last][j])
            if start is None:
                continue
            then, key = start + trip.lengths[j], (done | 1 << j, j)
            if then < earliest.get(key, then + 1):  # of two orders of the same steps the sooner is enough
                earliest[key] = then
                rest = work_left - trip.lengths[j]
                end = max(then + rest + walk.left(*key), _after_windows(trip, key[0], then))
                if end < _NEVER:
                    heapq.heappush(open_ones, (end, count_left - 1, then, *key, rest))
    return max(least, enough)


def _start(trip: Trip, step: int, ready: int) -> int | None:
    """The first tick from ``ready`` on at which the step may start."""
    ranges = trip.starts[step]
    if ranges is None:
        return ready
    return next((max(ready, first) for first, last in ranges if ready <= last), None)


def _after_windows(trip: Trip, done: int, now: int) -> int:
    """The least end because of a step that has to wait for its window, and of all that comes behind it."""
    ends = [0]
    for j in trip.waiting:
        if not done >> j & 1:
            start = _start(trip, j, now)
            ends.append(_NEVER if start is None else start + trip.behind[j])
    return max(ends)


def add_lane_bounds(problem: Problem, done: Collection[str], enough: int, effort: float,
                    budget: Budget) -> int:
    """end - PET 0 >= the least end of each lane with the tasks ``done``; the least of it, in ticks.

    For every way of trading the swappable ones among them its own bound, so far as these are few. ``enough``
    is the finish of an order that is known: no bound above it is wanted.
    """
    traded = sorted(problem.work.swappable & set(done))
    # The swappable ones beyond these count in neither lane: that can only make the bound lower.
    fixed, traded = set(done) - set(traded[_MOST_TRADES:]), traded[:_MOST_TRADES]
    bounds = _LaneBounds(problem, enough, effort, budget)
    trades = [frozenset(task for task, is_swapped in zip(traded, ways, strict=True) if is_swapped)
              for ways in product((False, True), repeat=len(traded))]
    least = {swapped: bounds.of(fixed, swapped, is_exact=False) for swapped in trades}
    # The least of all trades is the bound: only the one that is least so far is worth the exact search.
    exact: set[frozenset[str]] = set()
    while (weakest := min(trades, key=lambda swapped: least[swapped])) not in exact:
        exact.add(weakest)
        least[weakest] = bounds.of(fixed, weakest, is_exact=True)
    for swapped, bound in least.items():
        problem.model.cp.add(problem.end - problem.pet_zero >= bound).only_enforce_if(
            *(problem.done[task, task in swapped] for task in traded))
    return min(least.values())


def what_binds(problem: Problem, done: Collection[str], effort: float, budget: Budget) -> str:
    """In words the least that the longest lane takes by itself, with what of it is work, way and wait."""
    told = [(0, "")]
    fixed = set(done) - problem.work.swappable
    for who in problem.work.crews:
        trip = trip_of(problem, who, tuple(_certain(problem, who, fixed, ())))
        walk = LeastWalk(trip, round(_REMEMBERED * effort), budget.is_over)
        work, least = sum(trip.lengths), sum(trip.lengths) + walk.left(0, -1)
        end = least_end(walk, _NEVER, round(_EXPANDED * effort)) if (
            problem.freedom.earliest == problem.freedom.latest and trip.lengths) else least
        parts = {"work": work, "ways and ingress": least - work, "waits for windows": end - least}
        words = ", ".join(f"{name} {minutes_of(ticks):.1f}" for name, ticks in parts.items() if ticks)
        told.append((end, f"the lane of {who} alone needs {minutes_of(end):.1f} min ({words})"))
    return max(told)[1]


@dataclass(eq=False)
class _LaneBounds:
    """Bounds in ticks by crew member and the steps that are certain, each found once."""

    problem: Problem
    enough: int
    effort: float
    budget: Budget
    _walks: dict[tuple[str, tuple[int, ...]], LeastWalk] = field(init=False, default_factory=dict)

    def of(self, done: Collection[str], swapped: Collection[str], is_exact: bool) -> int:
        """The later of both lanes; not ``is_exact``: its windows forgotten."""
        bound, problem = 0, self.problem
        for who in problem.work.crews:
            steps = tuple(_certain(problem, who, done, swapped))
            if not steps or bound >= self.enough:
                continue
            if (who, steps) not in self._walks:
                trip = trip_of(problem, who, steps)
                most = round(_REMEMBERED * self.effort)
                self._walks[who, steps] = LeastWalk(trip, most, self.budget.is_over)
            walk = self._walks[who, steps]
            if is_exact and problem.freedom.earliest == problem.freedom.latest:  # else windows move
                most = round(_EXPANDED * self.effort)
                bound = max(bound, least_end(walk, self.enough, most))
            else:
                bound = max(bound, sum(walk.trip.lengths) + walk.left(0, -1))
        return min(bound, self.enough)


def _certain(problem: Problem, who: str, done: Collection[str], swapped: Collection[str]) -> Iterator[int]:
    """Numbers in a lane of the steps that are in it when these tasks are done so."""
    for number, position in enumerate(problem.positions[who]):
        step = problem.work.steps[position]
        if step.task in done and (step.crew == BOTH or (step.crew == who) != (step.task in swapped)):
            yield number


def trip_of(problem: Problem, who: str, numbers: tuple[int, ...]) -> Trip:
    """The work of a lane with these members alone; precedence through the others stays."""
    work, way = problem.work, lane_way(problem, who)
    positions = [problem.positions[who][number] for number in numbers]
    guard_min = work.records.settings.night_guard_s / 60
    starts = []
    for i in positions:
        windows = allowed_windows(step_demands(work.steps[i], problem.almanac, guard_min))
        starts.append(None if windows is None else start_windows(windows, work.minutes[i]))
    # No route counts as no walk: too little, so that the bound is still safe.
    rows = [[way(a, b) or 0 for b in numbers] for a in (*numbers, -1)]
    return Trip(
        # Rounded as the model does, for the bound is one on its ticks.
        lengths=[ticks_up(work.minutes[i]) for i in positions],
        way=rows,
        home=[way(a, -1) or 0 for a in numbers],
        before=[sum(1 << k for k, near in enumerate(positions) if near in problem.before[i])
                for i in positions],
        starts=starts,
        spots=[_spot(problem, i) for i in positions],
    )


def _spot(problem: Problem, position: int) -> str:
    """The place of a step; its own where the way into it is not that into the place."""
    step = problem.work.steps[position]
    is_plain = {*stops_into(step)} == {step.place} and not step.travel_extra_min
    return step.place if is_plain else f"for {step.step}"
