"""A look around an order: random moves, each timed by the plan's own timing, judged where it is a new best.

Simulated annealing (Kirkpatrick, Gelatt, Vecchi 1983, "Optimization by simulated annealing"): a worse order
is taken with odds that fall as it cools, so that it leaves a valley; some restarts begin hot with the first
order, most less hot with the best. Small moves are drawn by `RandomMoves`; now and then a few tasks, or many,
are taken out whole and put back piece by piece where they cost least, some with their crew traded (ruin and
recreate: Schrimpf et al. 2000, "Record breaking optimization results using the ruin and recreate principle").
Between restarts it looks where no small move leads: from the best order with another set of tasks traded, and
with what the end waits for asked earlier than it is.
Counted in passes of the timing and drawn from fixed seeds, so that it is repeatable.

Of the rules that delay nobody in the timing it keeps those of `UntimedRules`, but for what the order that it
begins with does not keep. All else is left to the checks, which cost a hundred passes: they are asked about
an order once nothing better came for a while, and where it does not hold, about those on the way, by halves.
"""

import random
from collections.abc import Callable, Collection, Hashable, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cached_property
from itertools import pairwise
from math import inf, log

from planning_kit.explore.propose.choices import Choice
from planning_kit.explore.propose.order_problem import Problem
from planning_kit.explore.propose.order_screen import Broken, Orders, Timed, UntimedRules
from planning_kit.explore.propose.random_moves import RandomMoves, bits
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.propose.traded_sets import TradedSets
from planning_kit.judge.findings import Identity
from planning_kit.plan.order_timing import OrderTiming

_SAME = 1e-6
PASSES = 2_400
"""Passes for one unit of effort and a step: about ten seconds at seventy steps."""
_LENGTHS = (3_000, 6_000, 10_000, 10_000, 15_000, 15_000, 20_000)
"""Passes of the restarts in turn: short ones bring something soon, long ones more."""
_ASIDE, _MENDED, _ON = 5_000, 8_000, 8_000
"""Passes of what comes between them: an order with other trades is mended first, and goes on if good."""
_LOOK_EVERY = 50
_SETTLED_AFTER = 150
_HOT, _WARM, _COLD = 0.025, 0.012, 0.001
"""How much worse an order may become, at first (from the first order, from the best) and in the end, as a
part of the best outing."""
_JUDGED = 400
"""What one judgement costs, in passes."""
_WALK_PART, _OTHER_PART = 0.3, 0.1
"""What a minute of walking, and one of whoever is home first, counts beside one of the end in the climb."""
_MISSED_PART, _CHEAP_MIN, _DEAR_MIN = 3.0, 15.0, 100.0
"""The same of a minute by which a step misses its windows or a clock, where it may, and the minutes of a rule
that delays nobody and is broken, at first and in the end."""
_PET_ZERO_SHARE, _RECREATED_SHARE = 0.05, 0.08
_PUT_TOGETHER, _PROMISING = 5, 1.04
"""Tries to put traded tasks back; how near the best (times its end) an order is that it goes on from."""
_LATE_PARTS, _EARLIER_MIN, _ANYWHERE = (0.02, 0.12), (3.0, 25.0), 0.3
"""What a step that is too late counts, as a part of the end; how much earlier one that waits for no window
should come, and how often it is such a one."""

AGAIN = "again"
Blocks = Collection[Identity]
"""The findings that keep an order from holding: check, rule, about, crew and step ("": none) of each.

With `AGAIN` as check: one more of a kind that the present plan has, or a worse one.
"""


@dataclass(eq=False)
class Neighbours:
    """How the orders of a problem are timed and judged, with some tasks left out.

    ``misses``: an order may miss windows and clocks and break the rules that delay nobody, at a cost.
    """

    problem: Problem
    dropped: frozenset[str] = frozenset()
    misses: bool = False
    late_min: float = 0.0

    @cached_property
    def rules(self) -> UntimedRules:
        """What the timing does not know."""
        return UntimedRules(self.problem, self.dropped)

    @cached_property
    def timing(self) -> OrderTiming:
        """The timing of any order of these steps."""
        problem = self.problem
        return OrderTiming(problem.work.records, problem.almanac, problem.travels, problem.work.minutes,
                           problem.more_bounds, problem.freedom.past, self.misses)

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
        return self.sketched(orders, swapped, pet_zero_min) if all(
            map(self._is_lane, orders, orders.values())) else None

    def sketched(self, orders: Orders, swapped: frozenset[str], pet_zero_min: float) -> Timed | None:
        """The same of orders in which steps may still be missing."""
        timed = self.timing.sums(orders, pet_zero_min)
        if timed is None:
            return None
        starts, sums = timed
        end = sums.end_min - pet_zero_min
        if self.misses:
            end += _MISSED_PART * self.timing.missed_min(starts)
        # The end alone does not show what is won in the lane of who is home first.
        others = sums.begun_min - sum(map(bool, map(orders.get, self.problem.travels))) * pet_zero_min
        guide = end + _WALK_PART * sums.walk_min + _OTHER_PART * others + self.late_min * sums.late
        return Timed(orders, swapped, pet_zero_min, tuple(starts), (end, others), guide)

    def of(self, choice: Choice) -> Timed | None:
        """A choice with its times, as `timed` gives them."""
        index, freedom = self.problem.work.index, self.problem.freedom
        orders = {who: tuple(index[step] for step in lane) for who, lane in choice.lanes.items()}
        return self.timed(orders, choice.swapped, (choice.pet_zero - freedom.earliest).total_seconds() / 60)

    def broken(self, timed: Timed) -> Broken | None:
        """What they break of the rules that delay nobody in the timing, if anything."""
        return self.rules.broken(timed)

    def kept(self, timed: Timed, broken_min: float = _DEAR_MIN, worst: float = inf) -> Timed | None:
        """The order where it keeps the rules, or what it breaks, ``broken_min`` each, is not too much."""
        if not self.misses:
            return timed if self.broken(timed) is None else None
        count = self.rules.count(timed)
        end, others = timed.cost
        return replace(timed, cost=(end + _DEAR_MIN * count, others), broken=count) \
            if timed.guide + broken_min * count <= worst else None

    def choice(self, timed: Timed) -> Choice:
        """The same in the words of the scenario."""
        steps = self.problem.work.steps
        lanes = {who: tuple(steps[step].step for step in order) for who, order in timed.orders.items()}
        pet_zero = self.problem.freedom.earliest + timedelta(minutes=timed.pet_zero_min)
        return Choice(lanes, timed.swapped, self.dropped, pet_zero)


@dataclass(eq=False)
class LocalSearch:
    """Restarts from the best order that holds, with some tasks left out.

    ``blocks`` gives the findings for which an order does not hold (none: it does); without it all do.
    """

    around: Neighbours
    blocks: Callable[[Choice], Blocks] | None
    budget: Budget
    _judged: dict[Hashable, bool] = field(default_factory=dict)
    _restarts: int = 0
    _left: int = 0
    _first: Timed | None = None
    _tried: set[frozenset[str]] = field(default_factory=set)

    def improve(self, best: Timed, passes: int) -> Timed:
        """The best order that holds, within so many passes from ``best``, which holds."""
        self._left, self._first = passes, self._first or best
        while self._left > 0 and not self.budget.is_over():
            # The first order with another seed may end in another valley; else on from the best, less hot.
            is_hot = self._restarts == 0 or self._restarts % 3 == 1
            here, heat = (self._first, _HOT) if is_hot else (best, _WARM)
            length = _LENGTHS[min(self._restarts, len(_LENGTHS) - 1)]
            best, _ = self._climb(best, here, heat, length, self._draws(0))
            if self._left > 0 and not self.budget.is_over():
                best = (self._with_trades if self._restarts % 2 and self._sets.tasks else self._earlier)(best)
            self._restarts += 1
        return best

    def _draws(self, turn: int) -> random.Random:
        return random.Random(self._restarts + 1_000 * self.budget.seed + 500_000 * turn - 999)

    @cached_property
    def _sets(self) -> TradedSets:
        return TradedSets(self.around.problem, self.around.dropped)

    @cached_property
    def _lenient(self) -> "LocalSearch":
        """The same where rules may be broken at a cost."""
        around = replace(self.around, misses=True)
        around.rules = self.around.rules
        return LocalSearch(around, None, self.budget)

    def _moves(self, draws: random.Random, trades: bool = True) -> RandomMoves:
        around = self.around
        return RandomMoves(around.problem.work, around.problem.before, draws, around.dropped, trades)

    def _with_trades(self, best: Timed) -> Timed:
        """Another set of tasks traded in the best order: what that breaks is mended first, without trades."""
        draws, look = self._draws(1), self._lenient
        traded = self._sets.draw(draws, {*self._tried, best.swapped})
        if traded is None:
            self._tried.clear()
            return best
        self._tried.add(traded)
        moves = self._moves(draws)
        put = (look._recreated(moves, best, traded ^ best.swapped) for _ in range(_PUT_TOGETHER))
        here = next(filter(None, put), None)
        if here is None:
            return best
        look._left = _MENDED
        here = look.around.kept(here) or here
        mended, _ = look._climb(here, here, _HOT, _MENDED, draws, trades=False)
        self._left -= _MENDED - look._left
        there = self.around.timed(mended.orders, mended.swapped, mended.pet_zero_min)
        if there is None or self.around.broken(there) is not None:
            return best
        best, there = self._climb(best, there, _HOT, _ASIDE, draws, trades=False)
        if there.cost[0] <= _PROMISING * best.cost[0]:
            best, _ = self._climb(best, there, _WARM, _ON, draws)
        return best

    def _earlier(self, best: Timed) -> Timed:
        """From the best order, but what the end waits for comes late: one that ends sooner has it earlier."""
        draws, around, timing = self._draws(2), self.around, self.around.timing
        held, chain = timing.what_holds(best.orders, best.starts)
        if not chain:
            return best
        if not held or draws.random() < _ANYWHERE:
            step = draws.choice(chain)
            held = {step: best.starts[step] - draws.uniform(*_EARLIER_MIN)}
        timing.ask_by(held)
        around.late_min = draws.uniform(*_LATE_PARTS) * best.cost[0]
        here = around.timed(best.orders, best.swapped, best.pet_zero_min)
        best, _ = self._climb(best, here or best, _HOT, _ASIDE, draws)
        timing.ask_by({})
        return best

    def _climb(self, best: Timed, here: Timed, hot: float, length: int, draws: random.Random,
               trades: bool = True) -> tuple[Timed, Timed]:
        """One restart, as it cools: the best order that holds, and the best of this restart."""
        around, moves, length, low = self.around, self._moves(draws, trades), min(self._left, length), here
        until, trail, waited, number = self._left - length, list[Timed](), 0, 0
        while self._left > max(until, 0) and (number % _LOOK_EVERY or not self.budget.is_over()):
            self._left, number, waited = self._left - 1, number + 1, waited + 1
            part = 1 - (self._left - until) / length
            broken_min = _CHEAP_MIN * (_DEAR_MIN / _CHEAP_MIN) ** part
            worst = here.guide + broken_min * here.broken - hot * best.cost[0] * (_COLD / hot) ** part * log(
                1 - draws.random())
            there = (self._recreated(moves, here) if draws.random() < _RECREATED_SHARE
                     else _drawn(around, moves, here, draws))
            # The rules that delay nobody cost most, and so are asked last.
            if there is not None and there.guide <= worst + _SAME and self._judged.get(_key(there), True) \
                    and (kept := around.kept(there, broken_min, worst + _SAME)) is not None:
                here = kept
                low = here if here.cost < low.cost else low
                if here.cost < (trail[-1] if trail else best).cost:
                    trail.append(here)
                    waited = 0
            if trail and waited >= _SETTLED_AFTER:
                last, best = trail[-1], self._best_that_holds(best, trail)
                trail, here = [], here if best is last else best
        return self._best_that_holds(best, trail) if trail else best, low

    def _recreated(self, moves: RandomMoves, here: Timed,
                   traded: frozenset[str] = frozenset()) -> Timed | None:
        """A few tasks taken out and put back, piece by piece, where each costs least of some slots."""
        swapped, lanes, pieces = moves.taken_out(here.orders, here.starts, here.swapped, traded)
        while pieces:
            who, piece = pieces.pop()
            best: Timed | None = None
            for orders in moves.put_back(lanes, who, piece, here.starts, self.around.timing.way_min):
                self._left -= 1
                there = self.around.sketched(orders, swapped, here.pet_zero_min)
                if there is not None and (best is None or there.guide < best.guide):
                    best = there
            if best is not None:
                lanes = best.orders
            elif len(piece) > 1:  # a step of another task may have to come between
                pieces += [(who, (step,)) for step in reversed(piece)]
            else:
                return None
        return self.around.timed(lanes, swapped, here.pet_zero_min)

    def _best_that_holds(self, best: Timed, trail: Sequence[Timed]) -> Timed:
        """The last of the trail if it holds; else one before it that does, next to one that does not."""
        good, bad = -1, len(trail)
        while good < bad - 1:
            there = (good + bad) // 2 if bad < len(trail) else bad - 1
            if self._holds(trail[there]):
                good, best = there, trail[there]
            else:
                bad = there
        return best

    def _holds(self, timed: Timed) -> bool:
        key = _key(timed)
        if self.blocks is None:
            return True
        if key not in self._judged:
            self._left -= _JUDGED
            self._judged[key] = not self.blocks(self.around.choice(timed))
        return self._judged[key]


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
    return around.timed(orders, here.swapped ^ traded, here.pet_zero_min)
