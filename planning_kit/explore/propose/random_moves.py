"""Random moves of an order, drawn so that what must come first does.

A few steps, a run, a visit to a place or a whole task are taken out of their lanes and put back elsewhere: a
person moves such pieces, too. A slot lies between the last step that must precede the piece and the first
that must follow it, by the tables and by way of all lanes as they stand, so that no circle comes of a move.
Whole stretches change hands, or come in the opposite order, as in the 2-opt move of tours (Croes 1958, "A
method for solving traveling-salesman problems"; from memory), but by whole tasks.
"""

import random
from bisect import bisect_left
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf

from planning_kit.explore.propose.order_problem import BY_RUNS, Work
from planning_kit.explore.propose.order_screen import Orders
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH

_TURN, _REVERSED, _ALL = 0.05, 0.5, 0.5
_FEW, _TURN_OF_FEW = 12, 0.02  # of so few steps small moves find nearly all that stretches would
_TRADE, _SLAB, _TASK, _REGROUP = 0.11, 0.23, 0.31, 0.40  # of all draws up to here; the rest move neighbours
_BESIDE, _NEAR = 0.45, 0.8  # of all slots up to here: at the same place, then not far from where it was
_FAR = 6
_LONGEST, _LONGEST_SLAB = 5, 10
_MOST_TAKEN, _MOST_AT_ONCE, _MANY = 3, 7, 0.1  # of the tasks that are taken out together, and sometimes more
_TRADED, _BY_PLACE = 0.4, 0.7
_MEANWHILE, _TRADABLE = 0.7, 0.5  # how near to each other tasks are, beside one at the same place
_NEAREST, _MORE_SLOTS, _WAIT_PART = 4, 2, 0.3


def bits(steps: Collection[int]) -> int:
    """Steps as the bits of a number."""
    return sum(1 << step for step in steps)


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
    _trades: list[str] = field(init=False)
    _ahead: list[int] = field(init=False)
    _behind: list[int] = field(init=False)
    _fixed: set[int] = field(init=False)

    def __post_init__(self) -> None:
        self._fixed = {step for part in self.work.first_and_last for step in part}
        self._trades = sorted(self.work.swappable - set(self.dropped)) if self.trades else []
        self._ahead, self._behind = [bits(near) for near in self.before], [0] * len(self.before)
        for step, near in enumerate(self.before):
            for first in near:
                self._behind[first] |= 1 << step

    def draw(self, orders: Orders, starts: Sequence[float]) -> tuple[Orders, frozenset[str]] | None:
        """Other orders, and the tasks whose crew were traded; None where there is no room."""
        kind = self.random.random()
        if kind < (_TURN if len(self.work.steps) > _FEW else _TURN_OF_FEW):
            return self._turned(orders, starts)
        if kind < _TRADE and self._trades:
            task = self.random.choice(self._trades)
            traded = self._put(orders, self._traded(orders, task), starts)
            return (traded, frozenset({task})) if traded else None
        lanes = [who for who, lane in orders.items() if len(lane) > 1]
        if not lanes:
            return None
        who = self.random.choices(lanes, [len(orders[who]) for who in lanes])[0]
        moved = self._put(orders, self._piece(orders, who, kind, starts), starts)
        return (moved, frozenset()) if moved and moved != orders else None

    def _turned(self, orders: Orders, starts: Sequence[float]) -> tuple[Orders, frozenset[str]]:
        """A stretch of time in which the tasks come in the opposite order, or tradable ones change hands.

        A person sees such an order at a glance; no small move leads to it, as all between is worse.
        """
        steps, draw, first, traded = self.work.steps, self.random.random, dict[str, float](), frozenset[str]()
        free = [s for who in PARTNER for s in orders.get(who, ()) if s not in self._fixed]
        low, high = sorted(starts[self.random.choice(free)] for _ in range(2)) if free else (0.0, -1.0)
        if not self._trades or draw() < _REVERSED:
            for s in (s for lane in orders.values() for s in lane if low <= starts[s] <= high):
                first[steps[s].task] = min(starts[s], first.get(steps[s].task, high))
        else:
            most = 1.0 if draw() < _ALL else draw()
            there = {steps[s].task for s in free if low <= starts[s] <= high}
            traded = frozenset(task for task in self._trades if task in there and draw() < most)
        gone = {s for s in free if steps[s].task in traded and steps[s].crew != BOTH}

        def rank(step: int) -> tuple[float, ...]:
            is_there = bool(first) and low <= starts[step] <= high
            return (low, -first[steps[step].task], starts[step]) if is_there else (starts[step],)

        come = {who: gone.intersection(orders.get(PARTNER.get(who, ""), ())) for who in orders}
        return {who: tuple(sorted(({*lane} - gone) | come[who], key=lambda step: (*rank(step), step)))
                for who, lane in orders.items()}, traded

    def _piece(self, orders: Orders, who: str, kind: float,
               starts: Sequence[float]) -> dict[str, tuple[int, ...]]:
        """What to move, by lane."""
        steps, lane = self.work.steps, orders[who]
        first = self.random.randrange(len(lane))
        step = steps[lane[first]]
        if kind < _SLAB and who in PARTNER:  # what both begin in a stretch of time
            last = min(first + self.random.randrange(_LONGEST_SLAB), len(lane) - 1)
            begun = range(len(lane))[first:last + 1]
            low, high = starts[lane[begun[0]]], starts[lane[begun[-1]]]
            return {each: tuple(s for s in orders.get(each, ()) if low <= starts[s] <= high)
                    for each in (who, PARTNER[who])}
        if kind < _TASK:  # a whole task, whoever does it
            return {each: own for each, order in orders.items()
                    if (own := tuple(s for s in order if steps[s].task == step.task))}
        if step.crew == BOTH:
            return dict.fromkeys((who, PARTNER[who]), (lane[first],))
        if kind < _REGROUP:  # all that one person does for it
            return {who: tuple(s for s in lane if steps[s].task == step.task and steps[s].crew != BOTH)}
        longest, draw = self.random.randint(1, _LONGEST), self.random.random()
        if self.work.freedom.free == BY_RUNS or draw < 0.3:
            alike = [steps[s].task == step.task for s in lane]
        elif draw < 0.5:
            alike = [steps[s].place == step.place for s in lane]
        else:
            alike = [number < first + longest for number in range(len(lane))]
        last = first
        while last < len(lane) and alike[last] and steps[lane[last]].crew != BOTH:
            last += 1
        while self.work.freedom.free == BY_RUNS and first and alike[first - 1] \
                and steps[lane[first - 1]].crew != BOTH:
            first -= 1
        return {who: lane[first:last]}

    def _traded(self, orders: Orders, task: str) -> dict[str, tuple[int, ...]]:
        """What each of the two does for a task alone, in the lane of the other."""
        steps = self.work.steps
        return {PARTNER[who]: own for who in PARTNER if (own := tuple(
            s for s in orders.get(who, ()) if steps[s].task == task and steps[s].crew != BOTH))}

    def taken_out(self, orders: Orders, starts: Sequence[float], swapped: frozenset[str],
                  all_traded: frozenset[str] = frozenset()) -> tuple[
            frozenset[str], Orders, list[tuple[str, tuple[int, ...]]]]:
        """Trades, the orders without a few tasks, and their pieces, whose and what; the last comes first.

        The tasks are near each other in place and time, or may be traded against each other; or those that
        are ``all_traded``.
        """
        steps, draw = self.work.steps, self.random.random
        own: dict[str, list[int]] = {}
        for step in sorted({step for lane in orders.values() for step in lane} - self._fixed):
            own.setdefault(steps[step].task, []).append(step)
        if not own:
            return swapped, orders, []
        if all_traded:
            out, traded = [task for task in own if task in all_traded], {*all_traded}
        else:
            out = self._near_each_other(own, starts)
            traded = {task for task in out if task in self._trades and draw() < _TRADED}
        gone = {step for task in out for step in own[task]}
        whose = {step: BOTH if steps[step].crew == BOTH else PARTNER[who] if steps[step].task in traded
                 and who in PARTNER else who for who, lane in orders.items() for step in lane if step in gone}
        pieces: list[list[tuple[str, tuple[int, ...]]]] = []
        for task in out:
            by_place, mine = draw() < _BY_PLACE, dict[str, list[list[int]]]()
            for step in own[task]:
                runs = mine.setdefault(whose[step], [])
                if runs and whose[step] != BOTH and (not by_place or (
                        steps[runs[-1][-1]].place == steps[step].place)):
                    runs[-1].append(step)
                else:
                    runs.append([step])
            pieces.append(sorted(((who, tuple(run)) for who, runs in mine.items() for run in runs),
                                 key=lambda piece: -piece[1][0]))
        self.random.shuffle(pieces)
        left = {who: tuple(step for step in lane if step not in gone) for who, lane in orders.items()}
        return swapped ^ traded, left, [piece for task in pieces for piece in task]

    def _near_each_other(self, own: Mapping[str, Sequence[int]], starts: Sequence[float]) -> list[str]:
        """A task and a few others of those in ``own``, by their steps."""
        steps, draw, first = self.work.steps, self.random.random, self.random.choice([*own])
        places = {steps[step].place for step in own[first]}
        low, high = (end(starts[step] for step in own[first]) for end in (min, max))
        nearness = {task: max((steps[step].place in places) + _MEANWHILE * (low <= starts[step] <= high)
                              for step in mine) + _TRADABLE * (task in self.work.swappable) + draw()
                    for task, mine in own.items() if task != first}
        most = _MOST_AT_ONCE if draw() < _MANY else _MOST_TAKEN
        return [first, *sorted(nearness, key=lambda task: -nearness[task])[:self.random.randrange(most)]]

    def put_back(self, lanes: Orders, who: str, piece: tuple[int, ...], starts: Sequence[float],
                 way_min: Callable[[str, int, int], float]) -> Iterator[Orders]:
        """The orders with a piece in some slots: those of the least walk and wait, and a few others."""
        one, *other = [each for each in PARTNER if each in lanes] if who == BOTH else [who]
        (low, high), lane = self._room(lanes, one, piece), lanes[one]
        ends = (-1, *lane, -1)
        minutes = self.work.minutes
        ready = max((starts[near] + minutes[near] for near in self.before[piece[0]]), default=-inf)
        behind = [start for step, start in enumerate(starts) if self._behind[piece[-1]] >> step & 1]
        until, length = min(behind, default=inf), sum(minutes[step] for step in piece)
        cost = dict[int, float]()
        for slot in range(low, high + 1):
            a, b = ends[slot], ends[slot + 1]
            there = way_min(one, a, piece[0])
            walk = there + way_min(one, piece[-1], b) - (way_min(one, a, b) if lane else 0.0)
            at = there + (starts[a] + minutes[a] if a >= 0 else 0.0)
            # As the times were: they show where it would wait long, or others for it.
            wait = max(ready - at, 0.0) + max(max(at, ready) + length - until, 0.0)
            cost[slot] = walk + _WAIT_PART * wait + 2 * self.random.random()
        slots = sorted(cost, key=lambda slot: cost[slot])
        for slot in slots[:_NEAREST] + self.random.sample(
                slots[_NEAREST:], max(0, min(_MORE_SLOTS, len(slots) - _NEAREST))):
            put = {**lanes, one: lane[:slot] + piece + lane[slot:]}
            for each in other:
                first, last = self._room(put, each, piece)
                if first > last:
                    break
                at_min = starts[lane[slot - 1]] if slot else -1.0
                at = self._slot(lanes[each], piece, first, last, starts, at_min)
                put[each] = lanes[each][:at] + piece + lanes[each][at:]
            else:
                yield put

    def _put(self, orders: Orders, piece: Mapping[str, tuple[int, ...]],
             starts: Sequence[float]) -> Orders | None:
        """The orders with the piece elsewhere, lane by lane; None where there is no room for it."""
        gone = {step for block in piece.values() for step in block}
        lanes = {who: tuple(step for step in lane if step not in gone) for who, lane in orders.items()}
        at_min: float | None = None
        for who, block in piece.items():
            low, high = self._room(lanes, who, block)
            if low > high:
                return None
            lane = lanes[who]
            slot = self._slot(lane, block, low, high, starts, at_min)
            # In the other lane at about the same time, or one would wait long for the other.
            at_min = starts[lane[slot - 1]] if slot else -1.0
            lanes[who] = lane[:slot] + block + lane[slot:]
        return lanes

    def _room(self, lanes: Orders, who: str, block: Sequence[int]) -> tuple[int, int]:
        """The first and the last slot of a lane in which a block may stand."""
        ahead, behind = self._reach(lanes, block, self._ahead, -1), self._reach(lanes, block, self._behind, 1)
        low, high = 0, len(lanes[who])
        for number, step in enumerate(lanes[who]):
            if ahead >> step & 1:
                low = number + 1
            if behind >> step & 1:
                return low, number
        return low, high

    def _reach(self, lanes: Orders, block: Sequence[int], links: Sequence[int], way: int) -> int:
        """What precedes a block (``way`` -1) or follows it, by the tables and by all lanes, as bits."""
        own = reached = bits(block)
        for step in block:
            reached |= links[step]
        more = 0
        while more != reached:
            more = reached
            for lane in lanes.values():
                is_reached = False
                for step in lane[::way]:
                    if is_reached:
                        reached |= 1 << step | links[step]
                    elif reached >> step & 1:
                        is_reached = True
        return reached & ~own

    def _slot(self, lane: Sequence[int], block: Sequence[int], low: int, high: int, starts: Sequence[float],
              at_min: float | None) -> int:
        if at_min is not None:
            slot = bisect_left(lane, at_min, key=lambda step: starts[step]) + self.random.randint(-1, 1)
            return min(max(slot, low), high)
        steps, draw = self.work.steps, self.random.random()
        if draw < _BESIDE:
            slots = [slot for slot in range(low, high + 1) if (
                (slot and steps[lane[slot - 1]].place == steps[block[0]].place)
                or (slot < len(lane) and steps[lane[slot]].place == steps[block[-1]].place))]
            if slots:
                return self.random.choice(slots)
        if draw < _NEAR:
            slot = bisect_left(lane, starts[block[0]], key=lambda step: starts[step])
            return min(max(slot + self.random.randint(-_FAR, _FAR), low), high)
        return self.random.randint(low, high)
