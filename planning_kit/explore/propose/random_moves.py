"""Small random changes of an order: what a local search tries next. No rule is looked at here but lanes."""

from __future__ import annotations

import random
from bisect import bisect_left
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from planning_kit.explore.propose.work import BY_RUNS, Work
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH

Orders = Mapping[str, tuple[int, ...]]
"""By crew member or actor the positions of their steps, in the order of work."""

_SHIFT, _SWAP = 0.7, 0.95  # of all draws up to here; the rest are trades
_FAR = 24
_BESIDE = 0.6
_LONGEST = 4


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
        if steps[lane[first]].crew == BOTH:
            return 1
        longest, task = 1, steps[lane[first]].task
        while first + longest < len(lane) and steps[lane[first + longest]].task == task \
                and steps[lane[first + longest]].crew != BOTH:
            longest += 1
        if self.work.free == BY_RUNS or self.random.random() < 1 / 3:
            return longest
        return min(self.random.randint(1, _LONGEST), longest)

    def _shifted(self, orders: Orders, who: str, first: int, length: int, starts: Sequence[float]) -> Orders:
        lane = orders[who]
        block, rest = lane[first:first + length], lane[:first] + lane[first + length:]
        slot = self._slot(rest, block, first)
        changed = {**orders, who: rest[:slot] + block + rest[slot:]}
        if self.work.steps[block[0]].crew == BOTH:
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
