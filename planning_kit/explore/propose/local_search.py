"""A look around an order: random moves, each timed by the plan's own timing, judged where it is a new best.

Late acceptance hill climbing (Burke and Bykov 2017, "The late acceptance hill-climbing heuristic"): a move is
kept when the order is no worse than the one some passes ago. Again and again it is begun from the best order
that holds, each time with another seed and more freedom to get worse at first. Counted in passes of the
timing and drawn from fixed seeds, so that it is repeatable.

Of the rules that delay nobody in the timing it keeps those of `UntimedRules`, but for what the order that it
begins with does not keep. All else is left to the checks, which cost a
hundred passes: they are asked about an order once nothing better came for a while, and where it does not
hold, about those on the way to it, by halves. What orders that do not hold have in common is not tried again.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cached_property
from itertools import pairwise
from math import inf

from planning_kit.explore.propose.choices import Choice, moved_blocks, undone
from planning_kit.explore.propose.order_problem import Problem
from planning_kit.explore.propose.order_screen import Broken, Orders, UntimedRules
from planning_kit.explore.propose.random_moves import RandomMoves, bits
from planning_kit.explore.propose.solving import Budget
from planning_kit.judge.findings import Identity
from planning_kit.plan.order_timing import OrderTiming

_SAME = 1e-6
PASSES = 8_000
"""Passes for one unit of effort: about two seconds at ninety steps."""
_MEMORY = 20
_LOOK_EVERY = 50
_SETTLED_AFTER = 40
_PATIENCE = 2_500
_SLACK = (0.0, 0.02, 0.04, 0.08)
"""How much worse than the best an order may be at first, in the restarts in turn."""
_JUDGED = 150
"""What one judgement costs, in passes."""
_WALK_PART, _OTHER_PART = 0.3, 0.1
"""What a minute of walking, and one of whoever is home first, counts beside one of the end in the climb."""
_PET_ZERO_SHARE = 0.05

AGAIN = "again"
Blocks = Collection[Identity]
"""The findings that keep an order from holding: check, rule, about, crew and step ("": none) of each.

With `AGAIN` as check: one more of a kind that the present plan has, or a worse one.
"""


@dataclass(frozen=True)
class Timed:
    """Orders with their times. ``cost``: smaller is better; the end first (minutes after PET 0).

    ``guide`` is what the climb goes by: less walking comes before an earlier end shows.
    """

    orders: Orders
    swapped: frozenset[str]
    pet_zero_min: float
    starts: tuple[float, ...]
    cost: tuple[float, float]
    guide: float = inf


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
        return [bits(near) for near in self.problem.before]

    def _is_lane(self, who: str, order: tuple[int, ...]) -> bool:
        """Whether the model has this order of one lane."""
        if who not in self.problem.lanes:
            return not order
        number, to_come = self.problem.numbers[who], bits(order)
        for before, step in pairwise((-1, *order, -1)):
            if (number[before], number[step]) not in self.problem.lanes[who].arcs:
                return False
            if step >= 0:
                to_come ^= 1 << step
                # Arcs join neighbours only; what must come first can stand anywhere behind.
                if self._ahead[step] & to_come:
                    return False
        return True

    def timed(self, orders: Orders, swapped: frozenset[str], pet_zero_min: float) -> Timed | None:
        """The orders with their times; None where the model has no such order or there are none."""
        if not all(map(self._is_lane, orders, orders.values())):
            return None
        timing = self.timing
        starts = timing.starts(orders, pet_zero_min)
        if starts is None:
            return None
        end = timing.end_min(orders, starts, pet_zero_min) - pet_zero_min
        # The end alone does not show what is won in the lane of who is home first.
        ends = [starts[orders[who][-1]] + timing.way_min(who, orders[who][-1], -1)
                for who in self.problem.travels if orders[who]]
        others = sum(ends) - len(ends) * pet_zero_min
        walk = sum(timing.way_min(who, a, b) for who in self.problem.travels if orders[who]
                   for a, b in pairwise((-1, *orders[who], -1)))
        guide = end + _WALK_PART * walk + _OTHER_PART * others
        return Timed(orders, swapped, pet_zero_min, tuple(starts), (end, others), guide)

    def of(self, choice: Choice) -> Timed | None:
        """A choice with its times, as `timed` gives them."""
        index, freedom = self.problem.work.index, self.problem.freedom
        orders = {who: tuple(index[step] for step in lane) for who, lane in choice.lanes.items()}
        return self.timed(orders, choice.swapped, (choice.pet_zero - freedom.earliest).total_seconds() / 60)

    def broken(self, timed: Timed) -> Broken | None:
        """What they break of the rules that delay nobody in the timing, if anything."""
        return self.rules.broken(timed.orders, timed.starts, timed.swapped, timed.pet_zero_min)

    def choice(self, timed: Timed) -> Choice:
        """The same in the words of the scenario."""
        steps = self.problem.work.steps
        lanes = {who: tuple(steps[step].step for step in order) for who, order in timed.orders.items()}
        pet_zero = self.problem.freedom.earliest + timedelta(minutes=timed.pet_zero_min)
        return Choice(lanes, timed.swapped, self.dropped, pet_zero)


@dataclass(eq=False)
class _Causes:
    """What orders that do not hold have in common: how the other steps lie to the step of the finding.

    No proof: what an order that holds has as well is forgotten.
    """

    minutes: Sequence[float]
    index: Mapping[str, int]
    _common: dict[Hashable, tuple[int, int]] = field(default_factory=dict)

    def _signs(self, timed: Timed, step: int) -> int:
        """For every other step, as bits: whether it begins, and whether it is over, before this one does."""
        start, starts, shift = timed.starts[step], timed.starts, len(self.minutes)
        begun = bits([other for other, at in enumerate(starts) if at < start])
        over = bits([other for other, at in enumerate(starts) if at + self.minutes[other] <= start + _SAME])
        return begun | over << shift

    def learn(self, timed: Timed, blocks: Blocks) -> None:
        """Take what an order has whose findings these are, or that it holds where there are none."""
        for finding in blocks:
            if finding[-1] in self.index:
                step = self.index[finding[-1]]
                signs = self._signs(timed, step)
                self._common[finding] = step, self._common.get(finding, (step, signs))[1] & signs
        if not blocks:
            self._common = {finding: each for finding, each in self._common.items()
                            if not self._has(timed, *each)}

    def are_suspected(self, timed: Timed) -> bool:
        """Whether an order has all that some such orders have in common."""
        return any(self._has(timed, *each) for each in self._common.values())

    def _has(self, timed: Timed, step: int, common: int) -> bool:
        return timed.starts[step] > -inf and not common & ~self._signs(timed, step)


@dataclass(eq=False)
class LocalSearch:
    """Restarts from the best order that holds, with some tasks left out.

    ``blocks`` gives the findings for which an order does not hold (none: it does).
    """

    around: Neighbours
    blocks: Callable[[Choice], Blocks]
    budget: Budget
    _judged: dict[Hashable, bool] = field(default_factory=dict)
    _restarts: int = 0
    _left: int = 0

    def improve(self, best: Timed, passes: int) -> Timed:
        """The best order that holds, within so many passes from ``best``, which holds."""
        self._left, first = passes, best
        while self._left > 0 and not self.budget.is_over():
            # The first order with another seed may end in another valley; every third goes on from the best.
            best = self._climb(best, best if self._restarts % 3 == 2 else first)
            self._restarts += 1
        return best

    def _climb(self, best: Timed, here: Timed) -> Timed:
        """One restart: until nothing better comes for a while."""
        around, draws = self.around, random.Random(self._restarts + 1_000 * self.budget.seed - 999)
        problem = around.problem
        moves = RandomMoves(problem.work, problem.before, draws, around.dropped)
        causes = _Causes(problem.work.minutes, problem.work.index)
        slack_min = _SLACK[self._restarts // 3 % len(_SLACK)] * best.cost[0]
        low, memory, trail, waited = here.guide, [here.guide + slack_min] * _MEMORY, list[Timed](), 0
        for number in range(self._left):
            if waited > _PATIENCE or self._left <= 0 or (number % _LOOK_EVERY == 0 and self.budget.is_over()):
                break
            self._left -= 1
            there, late = _drawn(around, moves, here, draws), memory[number % _MEMORY]
            # The rules that delay nobody cost most, and so are asked last.
            if there is not None and (there.guide <= late + _SAME or there.guide <= here.guide) \
                    and self._judged.get(_key(there), True) and not causes.are_suspected(there) \
                    and around.broken(there) is None:
                here = there
                if here.guide < low - _SAME:
                    low, waited = here.guide, 0
                if here.cost < (trail[-1] if trail else best).cost:
                    trail.append(here)
                    waited = 0
            memory[number % _MEMORY] = min(late, here.guide)
            waited += 1
            if trail and waited >= _SETTLED_AFTER:
                last, best = trail[-1], self._best_that_holds(best, trail, causes)
                trail = []
                if best is not last:
                    here, memory = best, [best.guide] * _MEMORY
        return self._best_that_holds(best, trail, causes) if trail else best

    def _best_that_holds(self, best: Timed, trail: Sequence[Timed], causes: _Causes) -> Timed:
        """The last of the trail if it holds; else one before it that does, next to one that does not."""
        good, bad = -1, len(trail)
        while good < bad - 1:
            there = (good + bad) // 2 if bad < len(trail) else bad - 1
            if self._holds(trail[there], causes):
                good, best = there, trail[there]
            else:
                bad = there
        return best

    def _holds(self, timed: Timed, causes: _Causes) -> bool:
        key = _key(timed)
        if key not in self._judged:
            self._left -= _JUDGED
            blocks = self.blocks(self.around.choice(timed))
            causes.learn(timed, blocks)
            self._judged[key] = not blocks
        return self._judged[key]

    def settled(self, best: Timed, start: Choice) -> Choice:
        """The best with every block put back to where it was in ``start`` that does not need to be moved."""
        around, choice = self.around, self.around.choice(best)
        has_changed = True
        while has_changed:
            has_changed = False
            for block in list(moved_blocks(start.lanes, choice.lanes)):
                simpler = undone(choice, start.lanes, block)
                there = around.of(simpler)
                # With fewer blocks each time, or two could be put back in turn without end.
                if (there is not None and there.cost[0] <= best.cost[0] and around.broken(there) is None
                        and len(list(moved_blocks(start.lanes, simpler.lanes)))
                        < len(list(moved_blocks(start.lanes, choice.lanes)))):
                    choice, has_changed = simpler, True
        return choice


def _key(timed: Timed) -> Hashable:
    return tuple(timed.orders.values()), timed.swapped, timed.pet_zero_min


def _drawn(around: Neighbours, moves: RandomMoves, here: Timed, draws: random.Random) -> Timed | None:
    """A neighbour with its times; None where it has none or nothing moved."""
    freedom = around.problem.freedom
    if freedom.earliest != freedom.latest and draws.random() < _PET_ZERO_SHARE:
        count = int((freedom.latest - freedom.earliest).total_seconds() / 60 // freedom.pet_zero_every_min)
        return around.timed(here.orders, here.swapped, draws.randint(0, count) * freedom.pet_zero_every_min)
    drawn = moves.draw(here.orders, here.starts)
    if drawn is None:
        return None
    orders, traded = drawn
    return around.timed(orders, here.swapped ^ {traded} if traded else here.swapped, here.pet_zero_min)
