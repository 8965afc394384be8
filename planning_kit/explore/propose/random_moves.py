"""Random moves of an order, drawn so that what must come first does.

A few steps, a run, a visit to a place or a whole task are taken out of their lanes and put back elsewhere: a
person moves such pieces, too. A slot lies between the last step that must precede the piece and the first
that must follow it, by the tables and by way of all lanes as they stand, so that no circle comes of a move.
Whole stretches change hands, or come in the opposite order, as in the 2-opt move of tours (Croes 1958, "A
method for solving traveling-salesman problems"; from memory), but by whole tasks.
"""

import random
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from planning_kit.explore.propose.order_problem import BY_RUNS, Work
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH
from planning_kit.plan.order_timing import Orders, matrix

if TYPE_CHECKING:
    from planning_kit.explore.propose.order_arrays import Moves, Order

_TURN, _FEW, _TURN_OF_FEW = 0.05, 12, 0.02
"""How often a stretch of time is turned round; of so few steps small moves find nearly all of that."""


def state(draws: random.Random) -> np.ndarray:
    """A state of the kernel's own generator (1,), drawn from another."""
    return np.array([draws.getrandbits(64) | 1], dtype=np.uint64)


Lanes = Mapping[str, tuple[int, ...]]


@dataclass(eq=False)
class RandomMoves:
    """Draws moves for one scenario; ``before`` are the steps that precede each one whatever is chosen.

    ``dropped`` tasks are in no order; without ``trades`` nothing changes hands.
    """

    work: Work
    before: Sequence[Collection[int]]
    random: random.Random
    dropped: Collection[str] = ()
    trades: bool = True
    fixed: "Moves" = field(init=False)

    def __post_init__(self) -> None:
        # The compiler is slow to load, and most plans are never searched.
        from planning_kit.explore.propose import moves_kernel, order_arrays

        self._drawn, self._order, bits = moves_kernel.draw, order_arrays.Order, order_arrays.bits
        work, names = self.work, self.work.records.lane_names
        self.tasks = list(dict.fromkeys(step.task for step in work.steps))
        places = list(dict.fromkeys(step.place for step in work.steps))
        behind: list[list[int]] = [[] for _ in work.steps]
        for step, near in enumerate(self.before):
            for first in near:
                behind[first].append(step)
        ends = {step for part in work.first_and_last for step in part}
        swappable = self._of_tasks(work.swappable)
        self.fixed = order_arrays.Moves(
            np.array([self.tasks.index(step.task) for step in work.steps], dtype=np.int64),
            np.array([places.index(step.place) for step in work.steps], dtype=np.int64),
            np.array([step.crew == BOTH for step in work.steps], dtype=bool),
            np.array([step in ends for step in range(len(work.steps))], dtype=bool),
            np.array(work.minutes, dtype=float), bits(self.before), bits(behind),
            np.array([names.index(PARTNER[who]) if PARTNER.get(who) in names else -1 for who in names],
                     dtype=np.int64),
            swappable, swappable & ~self._of_tasks(self.dropped) & self.trades, work.freedom.free == BY_RUNS,
            _TURN if len(work.steps) > _FEW else _TURN_OF_FEW)

    @cached_property
    def chance(self) -> np.ndarray:
        """The state of the kernel's own generator, (1,)."""
        return state(self.random)

    def _of_tasks(self, tasks: Collection[str]) -> np.ndarray:
        return np.array([task in tasks for task in self.tasks], dtype=bool)

    def order(self, orders: Orders, swapped: Collection[str] = (), starts: Sequence[float] = (),
              sums: Sequence[float] = ()) -> "Order":
        """An order as the kernel has it; what is not given is 0."""
        count = len(self.work.steps)
        return self._order(
            *matrix(self.work.records.lane_names, count, orders),
            np.array([*starts] or [0.0] * count, dtype=float), self._of_tasks(swapped),
            np.array([*sums, *[0.0] * (5 - len(sums))], dtype=float))

    def words(self, order: "Order") -> tuple[Lanes, frozenset[str]]:
        """The lanes and the traded tasks of an order of the kernel."""
        orders = {who: tuple(lane[:size]) for who, lane, size in zip(
            self.work.records.lane_names, order.lanes.tolist(), order.sizes.tolist(), strict=True)}
        return orders, frozenset(task for task, is_traded in zip(
            self.tasks, order.traded.tolist(), strict=True) if is_traded)

    def draw(self, orders: Orders, starts: Sequence[float]) -> tuple[Lanes, frozenset[str]] | None:
        """Other orders, and the tasks whose crew were traded; None where there is no room."""
        here, to = self.order(orders, (), starts), self.order({})
        return self.words(to) if self._drawn(self.fixed, here, to, self.chance) else None
