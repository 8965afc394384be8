"""A quick look around an order: random moves, each timed by the plan's own timing; a start for the solver.

Late acceptance hill climbing (Burke and Bykov 2017, "The late acceptance hill-climbing heuristic"): a move is
kept when the order is no worse than the one some passes ago. Counted in passes of the timing and drawn from a
fixed seed, so that it is repeatable. Of what the timing does not know it keeps what `untimed` looks at; the
rest the solver sees to when it completes the order that was found.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cached_property
from itertools import pairwise

from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.moves import moved_blocks, undone
from planning_kit.explore.propose.problem import Problem
from planning_kit.explore.propose.random_moves import Orders, RandomMoves
from planning_kit.explore.propose.search import FINISH, Budget
from planning_kit.explore.propose.untimed import UntimedRules
from planning_kit.plan.order_timing import OrderTiming

PASSES = 8_000
"""Passes for one unit of effort: about a second at ninety steps."""
_MEMORY = 50
_LOOK_EVERY = 50
_SEED = 1
_EGRESS_SHARE = 0.05


@dataclass(frozen=True)
class Timed:
    """Orders with their times. ``cost``: smaller is better; the end first (minutes after egress)."""

    orders: Orders
    swapped: frozenset[str]
    egress_min: float
    starts: tuple[float, ...]
    cost: tuple[float, float]


@dataclass(eq=False)
class Neighbours:
    """How the orders of a problem are timed and judged, with some tasks left out."""

    problem: Problem
    dropped: frozenset[str] = frozenset()

    @cached_property
    def rules(self) -> UntimedRules:
        """What the timing does not know."""
        return UntimedRules(self.problem, self.dropped)

    @cached_property
    def timing(self) -> OrderTiming:
        """The timing of any order of these steps."""
        problem = self.problem
        return OrderTiming(problem.work.records, problem.almanac, problem.travels, problem.work.minutes,
                           problem.more_bounds)

    @cached_property
    def _ahead(self) -> list[int]:
        """For each step those that precede it whatever is chosen, as bits."""
        return [sum(1 << step for step in near) for near in self.problem.before]

    def _is_lane(self, who: str, order: tuple[int, ...]) -> bool:
        """Whether the model has this order of one lane."""
        if who not in self.problem.lanes:
            return not order
        number, to_come = self.problem.numbers[who], sum(1 << step for step in order)
        for before, step in pairwise((-1, *order, -1)):
            if (number[before], number[step]) not in self.problem.lanes[who].arcs:
                return False
            if step >= 0:
                to_come ^= 1 << step
                if self._ahead[step] & to_come:
                    return False
        return True

    def timed(self, orders: Orders, swapped: frozenset[str], egress_min: float) -> Timed | None:
        """The orders with their times; None where the model has no such order or there are none."""
        if not all(map(self._is_lane, orders, orders.values())):
            return None
        timing = self.timing
        starts = timing.starts(orders, egress_min)
        if starts is None:
            return None
        end = timing.end_min(orders, starts, egress_min) - egress_min
        ends = [starts[orders[who][-1]] + timing.way_min(who, orders[who][-1], -1)
                for who in self.problem.travels if orders[who]]
        return Timed(orders, swapped, egress_min, tuple(starts), (end, sum(ends) - len(ends) * egress_min))

    def are_kept(self, timed: Timed) -> bool:
        """Whether they keep what delays nobody in the timing, too."""
        return self.rules.are_kept(timed.starts, timed.swapped, timed.egress_min)

    def choice(self, timed: Timed) -> Choice:
        """The same in the words of the scenario."""
        steps = self.problem.work.steps
        lanes = {who: tuple(steps[step].step for step in order) for who, order in timed.orders.items()}
        egress = self.problem.freedom.earliest + timedelta(minutes=timed.egress_min)
        return Choice(lanes, timed.swapped, self.dropped, egress)


def improve(problem: Problem, start: Choice, passes: int, budget: Budget,
            forbidden: list[Choice]) -> list[Choice]:
    """Better and better orders, the best last, from ``start``; the same tasks are done in all of them.

    The last one comes without the moves that won nothing.
    """
    around = Neighbours(problem, start.dropped)
    index, freedom = problem.work.index, problem.freedom
    orders = {who: tuple(index[step] for step in lane) for who, lane in start.lanes.items()}
    here = around.timed(orders, start.swapped, (start.egress - freedom.earliest).total_seconds() / 60)
    if here is None or not around.are_kept(here):
        return []
    draws = random.Random(_SEED)
    moves = RandomMoves(problem.work, draws, start.dropped)
    best, found = here, []
    memory = [here.cost] * _MEMORY
    for number in range(passes):
        if number % _LOOK_EVERY == 0 and budget.is_over():
            break
        there = _drawn(around, moves, here, draws)
        late = memory[number % _MEMORY]
        if there is not None and (there.cost <= late or there.cost <= here.cost) and around.are_kept(there):
            here = there
            if here.cost < best.cost and not _is_forbidden(around.choice(here), forbidden):
                if here.cost[0] < best.cost[0]:
                    budget.tell(FINISH, here.cost[0])
                best = here
                found.append(around.choice(here))
        memory[number % _MEMORY] = min(late, here.cost)
    return [*found, _settled(around, best, start)] if found else []


def _settled(around: Neighbours, best: Timed, start: Choice) -> Choice:
    """The best with every block put back to where it was in ``start`` that does not need to be moved."""
    index, choice = around.problem.work.index, around.choice(best)
    has_changed = True
    while has_changed:
        has_changed = False
        for block in list(moved_blocks(start.lanes, choice.lanes)):
            simpler = undone(choice, start.lanes, block)
            orders = {who: tuple(index[step] for step in lane) for who, lane in simpler.lanes.items()}
            there = around.timed(orders, best.swapped, best.egress_min)
            if (there is not None and there.cost[0] <= best.cost[0] and around.are_kept(there)
                    and len(list(moved_blocks(start.lanes, simpler.lanes)))
                    < len(list(moved_blocks(start.lanes, choice.lanes)))):
                choice, has_changed = simpler, True
    return choice


def _drawn(around: Neighbours, moves: RandomMoves, here: Timed, draws: random.Random) -> Timed | None:
    """A neighbour with its times; None where it has none or nothing moved."""
    freedom = around.problem.freedom
    if freedom.earliest != freedom.latest and draws.random() < _EGRESS_SHARE:
        count = int((freedom.latest - freedom.earliest).total_seconds() / 60 // freedom.egress_every_min)
        return around.timed(here.orders, here.swapped, draws.randint(0, count) * freedom.egress_every_min)
    orders, traded = moves.draw(here.orders, here.starts)
    if orders == here.orders:
        return None
    return around.timed(orders, here.swapped ^ {traded} if traded else here.swapped, here.egress_min)


def _is_forbidden(choice: Choice, forbidden: list[Choice]) -> bool:
    return any(replace(choice, rules=()) == replace(each, rules=()) for each in forbidden)
