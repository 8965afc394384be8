"""Bounds on the finish from each crew member's own work, told to the solver: see `least_ends`."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from itertools import product

from planning_kit.explore.propose.lanes import lane_way
from planning_kit.explore.propose.least_ends import LeastWalk, Trip, least_end
from planning_kit.explore.propose.problem import Problem
from planning_kit.explore.propose.search import Budget
from planning_kit.explore.propose.ticks import start_windows, ticks_up
from planning_kit.inputs.records import BOTH
from planning_kit.plan.build import allowed_windows, step_demands

_MOST_TRADES = 3
_EXPANDED, _REMEMBERED = 2_000, 10_000
"""States expanded and walks remembered for one unit of effort."""


def add_lane_bounds(problem: Problem, done: Collection[str], enough: int, effort: float,
                    budget: Budget) -> int:
    """end - egress >= the least end of each lane with the tasks ``done``; the least of it, in ticks.

    For every way of trading the swappable ones among them its own bound, so far as these are few. ``enough``
    is the finish of an order that is known: no bound above it is wanted.
    """
    traded = sorted(problem.work.swappable & set(done))
    fixed, traded = set(done) - set(traded[_MOST_TRADES:]), traded[:_MOST_TRADES]
    bounds = _LaneBounds(problem, enough, effort, budget)
    trades = [frozenset(task for task, is_swapped in zip(traded, ways, strict=True) if is_swapped)
              for ways in product((False, True), repeat=len(traded))]
    least = {swapped: bounds.of(fixed, swapped, is_exact=False) for swapped in trades}
    exact: set[frozenset[str]] = set()
    while (weakest := min(trades, key=lambda swapped: least[swapped])) not in exact:
        exact.add(weakest)
        least[weakest] = bounds.of(fixed, weakest, is_exact=True)
    for swapped, bound in least.items():
        problem.model.cp.add(problem.end - problem.egress >= bound).only_enforce_if(
            *(problem.done[task, task in swapped] for task in traded))
    return min(least.values())


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
                self._walks[who, steps] = LeastWalk(trip, round(_REMEMBERED * self.effort))
            walk = self._walks[who, steps]
            if is_exact and problem.freedom.earliest == problem.freedom.latest:  # else windows move
                most = round(_EXPANDED * self.effort)
                bound = max(bound, least_end(walk, self.enough, most, self.budget.is_over))
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
    work, way = problem.work, lane_way(problem, who, problem.positions[who])
    positions = [problem.positions[who][number] for number in numbers]
    guard_min = work.records.settings.night_guard_s / 60
    starts = []
    for i in positions:
        windows = allowed_windows(step_demands(work.steps[i], problem.almanac, guard_min))
        starts.append(None if windows is None else start_windows(windows, work.minutes[i]))
    rows = [[_ticks(way(a, b)) for b in numbers] for a in (*numbers, -1)]
    return Trip(
        lengths=[ticks_up(work.minutes[i]) for i in positions],
        way=rows,
        home=[_ticks(way(a, -1)) for a in numbers],
        before=[sum(1 << k for k, near in enumerate(positions) if near in problem.before[i])
                for i in positions],
        starts=starts,
        spots=[_spot(problem, i) for i in positions],
    )


def _spot(problem: Problem, position: int) -> str:
    """The place of a step; its own where the way into it is not that into the place."""
    step = problem.work.steps[position]
    is_plain = step.wait_at in ("", step.place) and not step.travel_extra_min
    return step.place if is_plain else f"for {step.step}"


def _ticks(way: int | None) -> int:
    return 0 if way is None else way
