"""The least that one crew member's work can take, whatever the partner does: what makes proofs short.

One lane alone is a round trip with precedence and windows, from the airlock and back. The state of a
dynamic programme over it is the set of steps done and the last of them (Held and Karp 1962, "A dynamic
programming approach to sequencing problems"; only sets closed under precedence are ever reached), its value
the earliest finish. States are expanded in the order of a least end of the whole (A*: Hart, Nilsson and
Raphael 1968): finish so far, plus the work left, plus the least walk that is left. The least walk forgets the
windows, and then whoever stands at a place does all that can be done there before leaving (doing it later
costs as much work and no less walk), so that few states are left.

When the states run out the least end among those still open is a bound all the same, and where no more walks
are remembered the way to the farthest step and home stands for the rest. Neglected: the partner, hardware,
gaps and limits; each of them can only make the true end later.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

_LOOK_EVERY = 500
_NEVER = 1 << 50


@dataclass(frozen=True, eq=False)
class Trip:
    """The work of one lane, in ticks: ``before`` are the steps that precede each one, as bits.

    ``way[i][j]`` is the way from step i into step j, in row -1 from the airlock; ``home`` the way back, with
    ingress. ``starts`` are the ranges of ticks [first, last] that a step may start in (None: any). Steps of
    one ``spot`` are left and reached alike.
    """

    lengths: Sequence[int]
    way: Sequence[Sequence[int]]
    home: Sequence[int]
    before: Sequence[int]
    starts: Sequence[Sequence[tuple[int, int]] | None]
    spots: Sequence[str]

    @cached_property
    def everything(self) -> int:
        """All steps, as bits."""
        return (1 << len(self.lengths)) - 1

    @cached_property
    def stays(self) -> list[list[int]]:
        """For each step those that cost no walk when it was the last one."""
        numbers = range(len(self.lengths))
        return [[j for j in numbers if self.spots[i] == self.spots[j] and self.way[i][j] == 0]
                for i in numbers]

    @cached_property
    def waiting(self) -> list[int]:
        """The steps that may have to wait for a window."""
        return [j for j, ranges in enumerate(self.starts) if ranges is not None]

    @cached_property
    def behind(self) -> list[int]:
        """For each step the ticks from its start to the end that no order can spare."""
        return [self.lengths[j] + min(self.home) + sum(
            length for length, before in zip(self.lengths, self.before, strict=True) if before >> j & 1)
            for j in range(len(self.lengths))]

    def can_follow(self, done: int) -> list[int]:
        """The steps that may come next."""
        left = ~done
        return [j for j, bit, before in self._bits if left & bit and not before & left]

    @cached_property
    def _bits(self) -> list[tuple[int, int, int]]:
        return [(j, 1 << j, before) for j, before in enumerate(self.before)]


@dataclass(eq=False)
class LeastWalk:
    """The least walk left, home and ingress included, by what is done and where; see the module."""

    trip: Trip
    most_known: int
    known: dict[tuple[int, str], int] = field(default_factory=dict)

    def left(self, done: int, last: int) -> int:
        """Ticks of walking left; -1 as ``last`` is the airlock."""
        trip = self.trip
        if last >= 0:
            done, last = self._with_all_here(done, last)
        if done == trip.everything:
            return trip.home[last] if trip.lengths else 0
        key = (done, trip.spots[last] if last >= 0 else "")
        if key not in self.known:
            if len(self.known) >= self.most_known:
                return max(trip.way[last][j] + trip.home[j]
                           for j in range(len(trip.home)) if not done >> j & 1)
            nearest: dict[str, int] = {}
            for j in trip.can_follow(done):
                if trip.spots[j] not in nearest or trip.way[last][j] < trip.way[last][nearest[trip.spots[j]]]:
                    nearest[trip.spots[j]] = j
            self.known[key] = min((trip.way[last][j] + self.left(done | 1 << j, j)
                                   for j in nearest.values()), default=0)
        return self.known[key]

    def _with_all_here(self, done: int, last: int) -> tuple[int, int]:
        trip, has_more = self.trip, True
        while has_more:
            has_more = False
            for j in trip.stays[last]:
                if not done >> j & 1 and not trip.before[j] & ~done:
                    done, last, has_more = done | 1 << j, j, True
        return done, last


def least_end(walk: LeastWalk, enough: int, most: int, is_over: Callable[[], bool]) -> int:
    """The least ticks from egress to inside; a bound where it reaches ``enough`` or ``most`` are expanded.

    ``enough`` itself where no order meets the windows.
    """
    trip = walk.trip
    work = sum(trip.lengths)
    least = work + walk.left(0, -1)
    if not trip.waiting:
        return least
    open_ones = [(least, len(trip.lengths), 0, 0, -1, work)]
    earliest: dict[tuple[int, int], int] = {}
    expanded = 0
    while open_ones and least < enough:
        end, count_left, now, done, last, work_left = heapq.heappop(open_ones)
        least = max(least, end)
        if count_left == 0:
            return least
        if earliest.get((done, last), now) < now:
            continue
        expanded += 1
        if expanded > most or (expanded % _LOOK_EVERY == 0 and is_over()):
            return least
        for j in trip.can_follow(done):
            start = _start(trip, j, now + trip.way[last][j])
            if start is None:
                continue
            then, key = start + trip.lengths[j], (done | 1 << j, j)
            if then < earliest.get(key, then + 1):
                earliest[key] = then
                rest = work_left - trip.lengths[j]
                end = max(then + rest + walk.left(*key), _after_windows(trip, key[0], then))
                if end < _NEVER:
                    heapq.heappush(open_ones, (end, count_left - 1, then, *key, rest))
    return max(least, enough)


def _start(trip: Trip, step: int, ready: int) -> int | None:
    """The first tick from ``ready`` on at which the step may start."""
    ranges = trip.starts[step]
    if ranges is None:
        return ready
    return next((max(ready, first) for first, last in ranges if ready <= last), None)


def _after_windows(trip: Trip, done: int, now: int) -> int:
    """The least end because of a step that has to wait for its window, and of all that comes behind it."""
    ends = [0]
    for j in trip.waiting:
        if not done >> j & 1:
            start = _start(trip, j, now)
            ends.append(_NEVER if start is None else start + trip.behind[j])
    return max(ends)
