"""A look around an order: random moves, each timed by the plan's own timing, judged where it is a new best.

Simulated annealing (Kirkpatrick, Gelatt, Vecchi 1983, "Optimization by simulated annealing"): a worse order
is taken with odds that fall as it cools, so that it leaves a valley; some restarts begin hot with the first
order, most less hot with the best. Small moves are drawn by `RandomMoves`; now and then a few tasks, or many,
are taken out whole and put back piece by piece where they cost least, some with their crew traded (ruin and
recreate: Schrimpf et al. 2000, "Record breaking optimization results using the ruin and recreate principle").
Between restarts it looks where no small move leads: from the best order with another set of tasks traded, and
with what the end waits for asked earlier than it is.
Counted in passes of the timing and drawn from fixed seeds, so that it is repeatable. A pass is compiled
(`climb_kernel`); what happens once in a while is here.

Of the rules that delay nobody in the timing it keeps those of `UntimedRules`, but for what the order that it
begins with does not keep. All else is left to the checks, which cost thousands of passes: they are asked
about an order once nothing better came for a while, and where it does not hold, about those on the way, by
halves.
"""

import random
from collections.abc import Callable, Collection, Hashable, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cached_property, partial
from math import inf
from types import ModuleType
from typing import TYPE_CHECKING

import numpy as np

from planning_kit.explore.propose.choices import Choice
from planning_kit.explore.propose.order_problem import Problem
from planning_kit.explore.propose.order_screen import Broken, Orders, Timed
from planning_kit.explore.propose.random_moves import RandomMoves, state
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.propose.timed_rules import lane_arcs
from planning_kit.explore.propose.traded_sets import TradedSets
from planning_kit.judge.findings import Identity
from planning_kit.plan.order_timing import OrderTiming

if TYPE_CHECKING:
    from planning_kit.explore.propose.climb_kernel import Outing
    from planning_kit.explore.propose.order_arrays import Order
    from planning_kit.explore.propose.screen_arrays import CompiledRules
    from planning_kit.explore.propose.screen_rules import Rules

PASSES = 25_000
"""Passes for one unit of effort and a step, of up to sixty: about fifteen seconds at seventy."""
_LENGTHS = (3_000, 18_000, 30_000, 30_000, 45_000, 45_000, 60_000)
"""Passes of the restarts in turn: short ones bring something soon, long ones more."""
_ASIDE, _MENDED, _ON = 5_000, 8_000, 8_000
"""Passes of what comes between them: an order with other trades is mended first, and goes on if good."""
_LOOK_EVERY = 200
_LOADING = "loading the compiled search (compiling it, once on a machine, takes up to a minute)"
_HOT, _WARM = 0.025, 0.012
"""How much worse an order may become at first (from the first order, from the best), as a part of the best
outing."""
_RECREATED_SHARE = 0.08
_JUDGED, _ASKED = 5_000, 60
"""What one judgement costs, in passes, and the rules of an order where Python is asked for them."""
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


def kernel() -> ModuleType:
    """The compiled passes: the compiler is slow to load, and most plans are never searched."""
    from planning_kit.explore.propose import climb_kernel

    return climb_kernel


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
    def rules(self) -> "CompiledRules":
        """What the timing does not know."""
        from planning_kit.explore.propose.screen_arrays import CompiledRules  # loads the compiler, too

        return CompiledRules(self.problem, self.dropped)

    @property
    def kernel_rules(self) -> "Rules":
        """The same for the kernel, as they are now."""
        return self.rules.kernel_rules

    @cached_property
    def timing(self) -> OrderTiming:
        """The timing of any order of these steps."""
        problem = self.problem
        return OrderTiming(problem.work.records, problem.almanac, problem.travels, problem.work.minutes,
                           problem.more_bounds, problem.freedom.past, self.misses)

    @cached_property
    def moves(self) -> RandomMoves:
        """The steps as the kernel numbers them; its chance is used for nothing."""
        return RandomMoves(self.problem.work, self.problem.before, random.Random(0), self.dropped)

    @cached_property
    def _arcs(self) -> np.ndarray:
        """Whether one step may follow another in a lane of the model (m, n + 1, n + 1), -1: the airlock."""
        names, count = self.problem.work.records.lane_names, len(self.problem.work.steps)
        arcs = np.zeros((len(names), count + 1, count + 1), dtype=bool)
        for row, who in enumerate(names):
            step = {number: at for at, number in self.problem.numbers[who].items()}
            for a, b in lane_arcs(self.problem, who) or [(-1, -1)]:
                arcs[row, step[a], step[b]] = True
        return arcs

    def outing(self, moves: RandomMoves) -> "Outing":
        """What the kernel is to know of all orders."""
        timing = self.timing
        outing: Outing = kernel().Outing(
            timing.fixed, timing.ways, timing.release, moves.fixed, self._arcs, timing.latest,
            timing.horizon_min, timing.most_sweeps, self.misses, self.late_min)
        return outing

    def timed(self, orders: Orders, swapped: frozenset[str], pet_zero_min: float) -> Timed | None:
        """The orders with their times; None where the model has no such order or there are none."""
        to, outing = self.moves.order(orders, swapped, (), (pet_zero_min,)), self.outing(self.moves)
        if not kernel().is_allowed(outing, to):
            return None
        while (said := kernel().time_it(outing, to)) <= kernel().ASKS:
            self.timing.answer(said)
        return self.read(to) if said == kernel().FOUND else None

    def read(self, order: "Order") -> Timed:
        """An order of the kernel in words."""
        pet_zero_min, end, others, guide, broken = order.sums.tolist()
        return Timed(*self.moves.words(order), pet_zero_min, tuple(order.starts.tolist()), (end, others),
                     guide, int(broken))

    def written(self, timed: Timed) -> "Order":
        """The same for the kernel."""
        return self.moves.order(timed.orders, timed.swapped, timed.starts,
                                (timed.pet_zero_min, *timed.cost, timed.guide, timed.broken))

    def of(self, choice: Choice) -> Timed | None:
        """A choice with its times, as `timed` gives them."""
        index, freedom = self.problem.work.index, self.problem.freedom
        orders = {who: tuple(index[step] for step in lane) for who, lane in choice.lanes.items()}
        return self.timed(orders, choice.swapped, (choice.pet_zero - freedom.earliest).total_seconds() / 60)

    def broken(self, timed: Timed) -> Broken | None:
        """What they break of the rules that delay nobody in the timing, if anything."""
        return self.rules.broken(timed)

    def kept(self, timed: Timed, broken_min: float = 0.0, worst: float = inf) -> Timed | None:
        """The order where it keeps the rules, or what it breaks, ``broken_min`` each, is not too much."""
        if not self.misses:
            return timed if self.broken(timed) is None else None
        count = self.rules.count_at(timed, stops=False)
        end, others = timed.cost
        return replace(timed, cost=(end + kernel().DEAR_MIN * count, others), broken=count) \
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

    def load(self, choice: Choice) -> Timed | None:
        """A choice with its times; for that the compiled search is loaded or, once on a machine, compiled."""
        return self.budget.wait_for(partial(self._loaded, choice), _LOADING)

    def _loaded(self, choice: Choice) -> Timed | None:
        k, around = kernel(), self.around
        here, moves = around.of(choice), around.moves
        orders = [moves.order({}, frozenset()) for _ in range(5)]
        k.climb(around.outing(moves), around.kernel_rules, *orders, orders[0].traded, np.zeros(k.PLACES),
                moves.chance)
        return here

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

    def _with_trades(self, best: Timed) -> Timed:
        """Another set of tasks traded in the best order: what that breaks is mended first, without trades."""
        draws, look = self._draws(1), self._lenient
        traded = self._sets.draw(draws, {*self._tried, best.swapped})
        if traded is None:
            self._tried.clear()
            return best
        self._tried.add(traded)
        put = (look._put_together(best, traded ^ best.swapped, draws) for _ in range(_PUT_TOGETHER))
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

    def _climb(self, best: Timed, start: Timed, hot: float, length: int, draws: random.Random,
               trades: bool = True) -> tuple[Timed, Timed]:
        """One restart, as it cools: the best order that holds, and the best of this restart."""
        k, around, trail = kernel(), self.around, list[Timed]()
        moves = RandomMoves(around.problem.work, around.problem.before, draws, around.dropped, trades)
        orders, outing = [around.written(start) for _ in range(5)], around.outing(moves)
        here, there, low, *_ = orders
        length, going, freedom = min(self._left, length), np.zeros(k.PLACES), around.problem.freedom
        nobody = np.zeros_like(here.traded)
        room_min = (freedom.latest - freedom.earliest).total_seconds() / 60
        going[[k.UNTIL, k.LENGTH, k.HOT]] = self._left - length, length, hot
        going[k.ZEROS] = room_min // freedom.pet_zero_every_min
        going[[k.EVERY_MIN, k.RECREATED]] = freedom.pet_zero_every_min, _RECREATED_SHARE
        while True:
            last = trail[-1] if trail else best
            going[[k.LEFT, k.HAS_TRAIL, k.BEST_END]] = self._left, bool(trail), best.cost[0]
            going[[k.LIMIT, k.OTHER_LIMIT]] = last.cost
            said = k.climb(outing, around.kernel_rules, *orders, nobody, going, moves.chance)
            self._left = int(going[k.LEFT])
            if said == k.ASK:
                around.timing.answer(int(going[k.ASKED]))
            elif said in (k.RULES, k.NEW):
                found = around.read(there)  # its rules the kernel may not know
                kept = around.kept(found, going[k.BROKEN_MIN], going[k.WORST]) if said == k.RULES else found
                self._left -= _ASKED if said == k.RULES else 0
                if kept is not None and self._judged.get(_key(kept), True):
                    if kept.cost < last.cost:
                        trail.append(kept)
                        going[k.WAITED] = 0
                    there.sums[[k.END, k.BROKEN]] = kept.cost[0], kept.broken
                    going[k.IS_TAKEN] = True
            elif said == k.SETTLED:
                best = self._best_that_holds(best, trail)
                if best is not last:
                    orders[0] = around.written(best)
                trail = []
            elif said == k.DONE or self.budget.is_over():
                break
            else:
                going[k.LOOK_AT] += _LOOK_EVERY
        return self._best_that_holds(best, trail) if trail else best, around.read(low)

    def _put_together(self, here: Timed, traded: frozenset[str], draws: random.Random) -> Timed | None:
        """The order with these tasks traded, put back piece by piece where each costs least of some slots."""
        k, around, moves = kernel(), self.around, self.around.moves
        orders, going = [around.written(here) for _ in range(5)], np.zeros(k.PLACES)
        going[[k.LEFT, k.LENGTH, k.HOT, k.LOOK_AT]] = 1e9, 1, 1, 1e9
        all_traded, chance = moves.order({}, traded).traded, state(draws)
        while (said := k.climb(around.outing(moves), around.kernel_rules, *orders, all_traded, going,
                               chance)) == k.ASK:
            around.timing.answer(int(going[k.ASKED]))
        return around.read(orders[1]) if said == k.RULES else None

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
