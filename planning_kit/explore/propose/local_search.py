"""A look around an order: random moves, each timed by the plan's own timing, judged where it is a new best.

Simulated annealing (Kirkpatrick, Gelatt, Vecchi 1983, "Optimization by simulated annealing"): a worse order
is taken with odds that fall as it cools, so that it leaves a valley; some restarts begin hot with the first
order, most less hot with the best. Small moves are drawn by `RandomMoves`; now and then a few tasks, or many,
are taken out whole and put back piece by piece where they cost least, some with their crew traded (ruin and
recreate: Schrimpf et al. 2000, "Record breaking optimization results using the ruin and recreate principle").
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
PASSES = 720
"""Passes for one unit of effort and a step: about ten seconds at seventy steps."""
_LENGTHS = {"first": 3_000, "traded": 4_000, "on": 15_000, "hot": 20_000, "best": 10_000}
_EARLY_HOT = 0.025
_PUSH = 3, 25
_ELSE=0.3
_MEND_PASSES, _MEND_HOT = 4000, 0.025
_KEEP=False
_PART=0.02,0.12
_STAY = ("traded",)
_KINDS = ("hot", "traded", "traded", "traded", "on", "best")
_MOST_POOLED, _KICKS = 12, 6
"""Passes of the restarts in turn: short ones bring something soon, long ones more."""
_LOOK_EVERY = 50
_SETTLED_AFTER = 40
_HOT, _WARM, _COLD = 0.025, 0.012, 0.001
"""How much worse an order may become, at first (from the first order, from the best) and in the end, as a
part of the best outing."""
_JUDGED = 150
"""What one judgement costs, in passes."""
_LATE_PART=0.05
_WALK_PART, _OTHER_PART = 0.3, 0.1
"""What a minute of walking, and one of whoever is home first, counts beside one of the end in the climb."""
_MISSED_PART, _CHEAP_MIN, _DEAR_MIN = 3.0, 15.0, 100.0
"""The same of a minute by which a step misses its windows or a clock, where it may, and the minutes of a rule
that delays nobody and is broken, at first and in the end."""
_PET_ZERO_SHARE, _RECREATED_SHARE = 0.05, 0.08

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
        starts, (end, others, walk, limited) = timed
        end -= pet_zero_min
        if self.misses:
            end += _MISSED_PART * self.timing.missed_min(starts)
        # The end alone does not show what is won in the lane of who is home first.
        others -= sum(map(bool, map(orders.get, self.problem.travels))) * pet_zero_min
        guide = end + _WALK_PART * walk + _OTHER_PART * others + self.late_min * limited
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

    ``blocks`` gives the findings for which an order does not hold (none: it does).
    """

    around: Neighbours
    blocks: Callable[[Choice], Blocks]
    budget: Budget
    _judged: dict[Hashable, bool] = field(default_factory=dict)
    _restarts: int = 0
    _left: int = 0
    _first: Timed | None = None
    _pool: list[Timed] = field(default_factory=list)
    _pushed: list[Timed] = field(default_factory=list)
    _tried: set[frozenset[str]] = field(default_factory=set)
    _sets: TradedSets | None = None

    def improve(self, best: Timed, passes: int) -> Timed:
        """The best order that holds, within so many passes from ``best``, which holds."""
        self._left, self._first = passes, self._first or best
        while self._left > 0 and not self.budget.is_over():
            kind = _KINDS[(self._restarts - 1) % len(_KINDS)] if self._restarts else "first"
            here, length, hot = self._first, _LENGTHS[kind], _HOT
            self.told=""
            if kind == "traded":
                there = self._traded(best)
                if there is None: 
                    self._restarts+=1
                    continue
                here = there
                self.told=f"t{there.cost[0]:.0f}"
            elif kind == "on":
                here, hot = (self._pool.pop(0) if self._pool else best), _WARM
            elif kind == "best":
                here, hot = best, _WARM
            latest=self.around.timing.latest
            latest[:] = inf
            self.around.late_min = _LATE_PART*best.cost[0]
            if kind in ("traded", "on") and _KEEP:
                for i, begins in enumerate(self.around.timing._begins):
                    if begins:
                        latest[i] = max([b for b in begins if b <= best.starts[i] + 1e-6], default=inf) + 60.0
                here = self.around.timed(here.orders, here.swapped, here.pet_zero_min) or here
                self.told = sorted(best.swapped)
            if kind == "early":
                here, hot = best, _EARLY_HOT
                draws = random.Random(self._restarts + 1_000 * self.budget.seed)
                self.around.late_min = draws.uniform(*_PART)*best.cost[0]
                heads, chain = self.around.timing.waits_for_windows(best.orders, best.starts)
                heads = {i: at for i, at in heads.items() if min(self.around.timing._begins[i]) < at}
                if not heads or draws.random() < _ELSE:
                    step = draws.choice(sorted(chain))
                    heads = {step: best.starts[step] - draws.uniform(*_PUSH)}
                for step, at in heads.items():
                    latest[step] = at - 1e-3
                self.told = [(self.around.problem.work.steps[i].step, round(at)) for i, at in heads.items()]
                here = self.around.timed(here.orders, here.swapped, here.pet_zero_min) or here
            best, low = self._climb(best, here, length, hot, kind in _STAY)
            if kind == "traded":
                self._pool = sorted([*self._pool, low], key=lambda timed: timed.cost)[:_MOST_POOLED]
            self._restarts += 1
        return best

    def _traded(self, best: Timed) -> Timed | None:
        """An order with another set of tasks traded; None where none was found that breaks nothing."""
        around, draws = self.around, random.Random(self._restarts + 1_000 * self.budget.seed)
        if self._sets is None:
            self._sets = TradedSets(around.problem, around.dropped)
            lenient = Neighbours(around.problem, around.dropped, misses=True)
            lenient.__dict__["rules"] = around.rules
            self._lenient = LocalSearch(lenient, lambda choice: (), self.budget)
        traded = self._sets.draw(draws, {*self._tried, best.swapped})
        if traded is None:
            self._tried.clear()
            return None
        self._tried.add(traded)
        look = self._lenient
        look._left, look._restarts = _MEND_PASSES, self._restarts
        moves = RandomMoves(around.problem.work, around.problem.before, draws, around.dropped)
        for _ in range(5):
            there = look._recreated(moves, best, traded ^ best.swapped)
            if there is not None:
                break
        else:
            return None
        there = look.around.kept(there) or there
        there, _ = look._climb(there, there, _MEND_PASSES, _MEND_HOT, True)
        self._left -= _MEND_PASSES - look._left
        back = around.timed(there.orders, there.swapped, there.pet_zero_min)
        return back if back is not None and around.broken(back) is None else None

    def _climb(self, best: Timed, here: Timed, length: int, hot: float, stays: bool) -> tuple[Timed, Timed]:
        """One restart, as it cools: the best order that holds, and the best of this restart."""
        around, draws = self.around, random.Random(self._restarts + 1_000 * self.budget.seed - 999)
        moves = RandomMoves(around.problem.work, around.problem.before, draws, around.dropped)
        if stays:
            moves._trades = []
        length, low = min(self._left, length), here
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
                low = min(low, here, key=lambda timed: timed.cost)
                if here.cost < (trail[-1] if trail else best).cost:
                    trail.append(here)
                    waited = 0
            if trail and waited >= _SETTLED_AFTER:
                last, best = trail[-1], self._best_that_holds(best, trail)
                trail, here = [], here if best is last else best
        return self._best_that_holds(best, trail) if trail else best, low

    def _recreated(self, moves: RandomMoves, here: Timed, traded: frozenset[str] = frozenset()) -> Timed | None:
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
