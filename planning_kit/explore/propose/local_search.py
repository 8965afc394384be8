"""A quick look around an order: random moves, each timed by the plan's own timing; a start for the solver.

Late acceptance hill climbing (Burke and Bykov 2017, "The late acceptance hill-climbing heuristic"): a move is
kept when the order is no worse than the one some passes ago. Counted in passes of the timing and drawn from a
fixed seed, so that it is repeatable.

The rules that delay nobody in the timing are those of `UntimedRules`.
"""

from __future__ import annotations

import random
from bisect import bisect_left
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cached_property
from itertools import pairwise

from planning_kit.explore.propose.choices import Choice, moved_blocks, undone
from planning_kit.explore.propose.order_problem import BY_RUNS, Problem, Work
from planning_kit.explore.propose.order_screen import Orders, UntimedRules
from planning_kit.explore.propose.solving import FINISH, Budget
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH
from planning_kit.plan.order_timing import OrderTiming

_SHIFT, _SWAP = 0.7, 0.95  # of all draws up to here; the rest are trades
_FAR = 24
_BESIDE = 0.6
_LONGEST = 4
PASSES = 8_000
"""Passes for one unit of effort: about a second at ninety steps."""
_MEMORY = 50
_LOOK_EVERY = 50
_SEED = 1
_PET_ZERO_SHARE = 0.05


@dataclass(eq=False)
class RandomMoves:
    """Draws moves for one scenario; ``dropped`` tasks are in no order."""

    work: Work
    random: random.Random
    dropped: Collection[str] = ()
    _trades: list[str] = field(init=False)

    def __post_init__(self) -> None:
        self._trades = sorted(self.work.swappable - set(self.dropped))

    def draw(self, orders: Orders, starts: Sequence[float]) -> tuple[Orders, str]:
        """Other orders, and the task whose crew were traded for it ("": none). May be the same orders."""
        kind = self.random.random()
        if kind > _SWAP and self._trades:
            task = self.random.choice(self._trades)
            return self._traded(orders, starts, task), task
        who = self._someone(orders)
        if who is None:
            return orders, ""
        lane = orders[who]
        first = self.random.randrange(len(lane))
        length = self._length(lane, first)
        if kind > _SHIFT:
            return self._swapped(orders, who, first, length), ""
        return self._shifted(orders, who, first, length, starts), ""

    def _someone(self, orders: Orders) -> str | None:
        lanes = [who for who, lane in orders.items() if len(lane) > 1]
        return self.random.choices(lanes, [len(orders[who]) for who in lanes])[0] if lanes else None

    def _length(self, lane: Sequence[int], first: int) -> int:
        """How many steps to move together: a few, or all of the same task that follow; none of both."""
        steps = self.work.steps
        # A step of both is in two lanes, and what stands around it there is not the same.
        if steps[lane[first]].crew == BOTH:
            return 1
        longest, task = 1, steps[lane[first]].task
        while first + longest < len(lane) and steps[lane[first + longest]].task == task \
                and steps[lane[first + longest]].crew != BOTH:
            longest += 1
        if self.work.freedom.free == BY_RUNS or self.random.random() < 1 / 3:
            return longest
        return min(self.random.randint(1, _LONGEST), longest)

    def _shifted(self, orders: Orders, who: str, first: int, length: int, starts: Sequence[float]) -> Orders:
        lane = orders[who]
        block, rest = lane[first:first + length], lane[:first] + lane[first + length:]
        slot = self._slot(rest, block, first)
        changed = {**orders, who: rest[:slot] + block + rest[slot:]}
        if self.work.steps[block[0]].crew == BOTH:
            # In the other lane at about the same time, or one would wait long for the other.
            partner = PARTNER[who]
            at_min = starts[rest[slot - 1]] if slot else -1.0
            others = [step for step in orders[partner] if step != block[0]]
            changed[partner] = self._inserted(others, block, starts, at_min)
        return changed

    def _slot(self, rest: Sequence[int], block: Sequence[int], first: int) -> int:
        """Where to put a block: somewhere near, or next to a step at the place where it begins or ends."""
        steps = self.work.steps
        if self.random.random() < _BESIDE:
            slots = [slot for slot in range(len(rest) + 1) if slot != first and (
                (slot and steps[rest[slot - 1]].place == steps[block[0]].place)
                or (slot < len(rest) and steps[rest[slot]].place == steps[block[-1]].place))]
            if slots:
                return self.random.choice(slots)
        slot = first + self.random.choice((-1, 1)) * self.random.randint(1, _FAR)
        return min(max(slot, 0), len(rest))

    def _swapped(self, orders: Orders, who: str, first: int, length: int) -> Orders:
        """Two blocks of one lane in each other's place."""
        lane, steps = orders[who], self.work.steps
        other = first + length + self.random.randrange(_FAR)
        if other >= len(lane) or BOTH in (steps[lane[first]].crew, steps[lane[other]].crew):
            return orders
        end = other + self._length(lane, other)
        return {**orders, who: lane[:first] + lane[other:end] + lane[first + length:other]
                + lane[first:first + length] + lane[end:]}

    def _traded(self, orders: Orders, starts: Sequence[float], task: str) -> Orders:
        """The steps of one crew member for a task in the partner's lane at about the same time."""
        steps, changed = self.work.steps, dict(orders)
        for who, partner in PARTNER.items():
            mine = [s for s in orders.get(who, ()) if steps[s].task == task and steps[s].crew != BOTH]
            if mine:
                changed[who] = tuple(s for s in changed[who] if s not in mine)
                lane = changed[partner]
                for step in mine:
                    lane = self._inserted([s for s in lane if s != step], (step,), starts, starts[step])
                changed[partner] = lane
        return changed

    def _inserted(self, lane: Sequence[int], block: Sequence[int], starts: Sequence[float],
                  at_min: float) -> tuple[int, ...]:
        slot = bisect_left(lane, at_min, key=lambda step: starts[step])
        slot = min(max(slot + self.random.randint(-1, 1), 0), len(lane))
        return (*lane[:slot], *block, *lane[slot:])


@dataclass(frozen=True)
class Timed:
    """Orders with their times. ``cost``: smaller is better; the end first (minutes after PET 0)."""

    orders: Orders
    swapped: frozenset[str]
    pet_zero_min: float
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
        walked = sum(ends) - len(ends) * pet_zero_min
        return Timed(orders, swapped, pet_zero_min, tuple(starts), (end, walked))

    def of(self, choice: Choice) -> Timed | None:
        """A choice with its times, as `timed` gives them."""
        index, freedom = self.problem.work.index, self.problem.freedom
        orders = {who: tuple(index[step] for step in lane) for who, lane in choice.lanes.items()}
        return self.timed(orders, choice.swapped, (choice.pet_zero - freedom.earliest).total_seconds() / 60)

    def are_kept(self, timed: Timed) -> bool:
        """Whether they keep what delays nobody in the timing, too."""
        return self.rules.broken(timed.orders, timed.starts, timed.swapped, timed.pet_zero_min) is None

    def choice(self, timed: Timed) -> Choice:
        """The same in the words of the scenario."""
        steps = self.problem.work.steps
        lanes = {who: tuple(steps[step].step for step in order) for who, order in timed.orders.items()}
        pet_zero = self.problem.freedom.earliest + timedelta(minutes=timed.pet_zero_min)
        return Choice(lanes, timed.swapped, self.dropped, pet_zero)


def improve(problem: Problem, start: Choice, passes: int, budget: Budget,
            forbidden: list[Choice]) -> list[Choice]:
    """Better and better orders, the best last, from ``start``; the same tasks are done in all of them.

    The last one comes without the moves that won nothing.
    """
    around = Neighbours(problem, start.dropped)
    here = around.of(start)
    if here is None:
        return []
    # What the solver let pass, no other order is asked: the judge looks at what is new.
    around.rules.let_go_of(here.orders, here.starts, here.swapped, here.pet_zero_min)
    draws = random.Random(_SEED)
    moves = RandomMoves(problem.work, draws, start.dropped)
    best, found = here, []
    memory = [here.cost] * _MEMORY
    for number in range(passes):
        if number % _LOOK_EVERY == 0 and budget.is_over():
            break
        there = _drawn(around, moves, here, draws)
        late = memory[number % _MEMORY]  # so long ago: what was better since then may be left again
        # The rules that delay nobody cost most, and so are asked last.
        if there is not None and (there.cost <= late or there.cost <= here.cost) and around.are_kept(there):
            here = there
            # A forbidden order may lie on the way to a better one, but is not offered.
            if here.cost < best.cost and not _is_forbidden(around.choice(here), forbidden):
                if here.cost[0] < best.cost[0]:
                    budget.tell(FINISH, here.cost[0])
                best = here
                found.append(around.choice(here))
        memory[number % _MEMORY] = min(late, here.cost)
    return [*found, _settled(around, best, start)] if found else []


def _settled(around: Neighbours, best: Timed, start: Choice) -> Choice:
    """The best with every block put back to where it was in ``start`` that does not need to be moved."""
    choice = around.choice(best)
    has_changed = True
    while has_changed:
        has_changed = False
        for block in list(moved_blocks(start.lanes, choice.lanes)):
            simpler = undone(choice, start.lanes, block)
            there = around.of(simpler)
            # With fewer blocks each time, or two could be put back in turn without end.
            if (there is not None and there.cost[0] <= best.cost[0] and around.are_kept(there)
                    and len(list(moved_blocks(start.lanes, simpler.lanes)))
                    < len(list(moved_blocks(start.lanes, choice.lanes)))):
                choice, has_changed = simpler, True
    return choice


def _drawn(around: Neighbours, moves: RandomMoves, here: Timed, draws: random.Random) -> Timed | None:
    """A neighbour with its times; None where it has none or nothing moved."""
    freedom = around.problem.freedom
    if freedom.earliest != freedom.latest and draws.random() < _PET_ZERO_SHARE:
        count = int((freedom.latest - freedom.earliest).total_seconds() / 60 // freedom.pet_zero_every_min)
        return around.timed(here.orders, here.swapped, draws.randint(0, count) * freedom.pet_zero_every_min)
    orders, traded = moves.draw(here.orders, here.starts)
    if orders == here.orders:
        return None
    return around.timed(orders, here.swapped ^ {traded} if traded else here.swapped, here.pet_zero_min)


def _is_forbidden(choice: Choice, forbidden: list[Choice]) -> bool:
    # The solver tells the rules that it kept, this search does not: they must not tell two apart.
    return any(replace(choice, rules=()) == replace(each, rules=()) for each in forbidden)
