"""The sweeps of `planning_kit.plan.order_timing`, compiled by numba: a search times orders by the 100,000.

What is compiled is kept beside this module, or in the user's cache where that cannot be written to, so that
the seconds that it takes are spent once; where neither can, once a session. Minutes throughout; steps and
lanes are numbers.
"""

from collections.abc import Callable, Sequence
from itertools import accumulate
from math import inf
from typing import Any, NamedTuple, ParamSpec, TypeVar

import numpy as np
from numba import njit

P = ParamSpec("P")
R = TypeVar("R")
FOUND, NONE, ASKS = 1, 0, -1
"""How a timing went; `ASKS` and less name, by ``ASKS - place``, a way of the flat table that is not known."""


class Lists(NamedTuple):
    """Lists of different lengths, one behind the other: list i is ``first[i]:first[i + 1]`` of each array."""

    first: np.ndarray
    numbers: np.ndarray
    minutes: np.ndarray


def lists(rows: Sequence[Sequence[tuple[int, float]]]) -> Lists:
    """Rows of numbers with minutes as `Lists`."""
    flat = [pair for row in rows for pair in row]
    return Lists(np.array([0, *accumulate(map(len, rows))], dtype=np.int64),
                 np.array([number for number, _ in flat], dtype=np.int64),
                 np.array([minutes for _, minutes in flat], dtype=float))


class Fixed(NamedTuple):
    """What does not depend on the order of n steps.

    ``follow``: by step those that come that much later; ``waits`` (n,) how many each waits for; ``windows``
    by step and ``group_windows`` by group: (begin, end) one after the other in ``minutes``; ``limited`` (n,):
    whether a step has windows, maybe none; ``most`` (k, 2) and ``most_min`` (k,): the steps of each greatest
    gap, and its weight; ``travel``: the lanes of those who travel; ``home_min`` (m,): by lane, when who has
    nothing to do is home (-inf: before it begins), and ``ends_min`` what comes then until they are inside.
    """

    lengths: np.ndarray
    follow: Lists
    waits: np.ndarray
    limited: np.ndarray
    windows: Lists
    groups: Lists
    group_windows: Lists
    most: np.ndarray
    most_min: np.ndarray
    travel: np.ndarray
    home_min: np.ndarray
    ends_min: float


def compiled(function: Callable[P, R], **options: Any) -> Callable[P, R]:
    """A function that Python calls."""
    try:
        made: Callable[P, R] = njit(cache=True, **options)(function)
    except RuntimeError:  # nowhere to keep it
        made = njit(**options)(function)
    return made


def inner(function: Callable[P, R]) -> Callable[P, R]:
    """A function that only compiled ones call: without the way in from Python it is compiled much sooner."""
    return compiled(function, no_cpython_wrapper=True, no_cfunc_wrapper=True)


@inner
def _fit(begin_ends: np.ndarray, low: int, high: int, start: float, length: float, misses: bool) -> float:
    """The first start at which the whole lies in one window; else never, or at once for who ``misses``."""
    for at in range(low, high, 2):
        placed = max(start, begin_ends[at])
        if begin_ends[at + 1] >= start + length and placed + length <= begin_ends[at + 1]:
            return float(placed)
    return start if misses else inf


@inner
def _raise_late(fixed: Fixed, starts: np.ndarray, place: np.ndarray, misses: bool) -> int:
    """Raise what comes too long before another, else groups into one window; the first place that moved."""
    moved = len(starts)
    for row in range(len(fixed.most_min)):
        before, after = fixed.most[row]
        if -np.inf < starts[after] < starts[before] + fixed.most_min[row]:
            starts[after] = starts[before] + fixed.most_min[row]
            moved = min(moved, place[after])
    if moved < len(starts):
        return moved
    groups, windows = fixed.groups, fixed.group_windows
    for group in range(len(groups.first) - 1):
        members, last_finish = groups.numbers[groups.first[group]:groups.first[group + 1]], -np.inf
        for step in members:
            if starts[step] > -np.inf:
                last_finish = max(last_finish, starts[step] + fixed.lengths[step])
        if last_finish == -np.inf:
            continue
        floor = -np.inf if misses else np.inf
        for at in range(windows.first[group], windows.first[group + 1], 2):
            if windows.minutes[at + 1] >= last_finish:
                floor = windows.minutes[at]
                break
        for step in members:
            if -np.inf < starts[step] < floor:
                starts[step] = floor
                moved = min(moved, place[step])
    return moved


@inner
def _missed_min(fixed: Fixed, starts: np.ndarray) -> float:
    """By how much steps end after the last of their windows and clocks run out, in all."""
    missed, windows = 0.0, fixed.windows
    for row in range(len(fixed.most_min)):
        before, after = fixed.most[row]
        if starts[before] > -np.inf and starts[after] > -np.inf:
            missed += max(starts[before] + fixed.most_min[row] - starts[after], 0.0)
    for step in range(len(starts)):
        if fixed.limited[step] and starts[step] > -np.inf:
            has_one = windows.first[step] < windows.first[step + 1]
            last = windows.minutes[windows.first[step + 1] - 1] if has_one else 0.0
            missed += max(starts[step] + fixed.lengths[step] - last, 0.0)
    return missed


@inner
def _sum_up(fixed: Fixed, way: np.ndarray, lanes: np.ndarray, sizes: np.ndarray, pet_zero_min: float,
            starts: np.ndarray, latest: np.ndarray, sums: np.ndarray) -> None:
    sums[0], sums[1], sums[2], sums[3], sums[4] = pet_zero_min, 0.0, 0.0, 0.0, 0.0
    for lane in range(len(sizes)):
        if sizes[lane] == 0:
            sums[0] = max(sums[0], fixed.home_min[lane])
    for step in range(len(starts)):
        sums[3] += starts[step] > latest[step]
    for lane in fixed.travel:
        before, walk_min = -1, 0.0
        for at in range(sizes[lane]):
            step = lanes[lane, at]
            walk_min += way[lane, before, step]
            before = step
        if before >= 0:
            home_min = way[lane, before, -1]
            sums[0] = max(sums[0], starts[before] + fixed.lengths[before] + home_min)
            sums[1] += starts[before] + home_min
            sums[2] += walk_min + home_min
    sums[0] += fixed.ends_min


@inner
def asking(lane: int, before: int, after: int, wide: int) -> int:
    """The word by which a way of a lane is asked for, -1 being the airlock, in a table so ``wide``."""
    return ASKS - ((lane * wide + (before + wide) % wide) * wide + (after + wide) % wide)


@compiled
def time_order(fixed: Fixed, way: np.ndarray, release: np.ndarray, lanes: np.ndarray, sizes: np.ndarray,
               pet_zero_min: float, horizon_min: float, most_sweeps: int, misses: bool,
               latest: np.ndarray, starts: np.ndarray, sums: np.ndarray) -> int:
    """Fill ``starts`` (n,) with the earliest of an order, -inf for steps in none; how it went.

    ``lanes`` (m, n): of lane i the first ``sizes[i]`` are its order; ``way`` (m, n + 1, n + 1) the
    minutes from the finish of one step to the next, -1 the airlock; ``release`` (m, n) when a lane can be at
    a step. ``sums``: when both are inside; of all lanes that travel and have work the last starts with the
    ways home, and all ways; then how many steps begin after ``latest`` (n,), and with ``misses`` by how many
    minutes windows and clocks are missed.
    """
    count, wide = len(starts), len(starts) + 1
    waits, follow, windows = fixed.waits.copy(), fixed.follow, fixed.windows
    behind, behind_min = np.empty((2, count), np.int64), np.empty((2, count))
    for step in range(count):
        starts[step], behind[0, step], behind[1, step] = -np.inf, -1, -1
    for lane in range(len(sizes)):
        before = -1
        for at in range(sizes[lane] + 1):
            if at == sizes[lane] and before < 0:
                break
            step = lanes[lane, at] if at < sizes[lane] else count  # count: home
            minutes = way[lane, before, step]
            if np.isnan(minutes):
                return asking(lane, before, step, wide)
            if step == count:
                break
            ready = release[lane, step]
            if before < 0:
                ready = max(ready, minutes)
            else:  # a step of both has one more behind it in the other lane
                twin = 0 if behind[0, before] < 0 else 1
                behind[twin, before] = step
                behind_min[twin, before] = fixed.lengths[before] + minutes
                waits[step] += 1
            starts[step] = max(starts[step], ready + pet_zero_min)
            before = step
    is_away, there = starts == -np.inf, count
    for step in range(count):
        if is_away[step]:
            waits[step], there = -1, there - 1
            for at in range(follow.first[step], follow.first[step + 1]):
                waits[follow.numbers[at]] -= 1
    queue, place, filled = np.empty(count, np.int64), np.zeros(count, np.int64), 0
    for step in range(count):
        if waits[step] == 0:
            queue[filled], place[step] = step, filled
            filled += 1
    soonest, turn = starts, 0
    for sweep in range(most_sweeps):
        while turn < filled:  # grows in the first sweep: each step comes behind those that it waits for
            step = queue[turn]
            turn += 1
            if fixed.limited[step]:
                starts[step] = _fit(windows.minutes, windows.first[step], windows.first[step + 1],
                                    starts[step], fixed.lengths[step], misses)
            if starts[step] > horizon_min:
                return NONE
            low, high = follow.first[step], follow.first[step + 1]
            for at in range(low, high + 2):
                if at < high:
                    after, minutes = follow.numbers[at], follow.minutes[at]
                else:
                    after, minutes = behind[at - high, step], behind_min[at - high, step]
                    if after < 0:
                        break
                starts[after] = max(starts[after], starts[step] + minutes)
                waits[after] -= 1
                if waits[after] == 0:
                    queue[filled], place[after] = after, filled
                    filled += 1
        for step in range(count):
            if is_away[step]:
                starts[step] = -np.inf
        if filled < there:  # they run in a circle
            return NONE
        if misses and sweep == 0:  # what nothing mends would go on pushing all that follows
            soonest = starts.copy()
        turn = _raise_late(fixed, starts, place, misses)
        if turn == count:
            break
        # Nothing before the first of them has moved.
    if turn < count:
        if not misses:
            return NONE
        for step in range(count):
            starts[step] = soonest[step]
    _sum_up(fixed, way, lanes, sizes, pet_zero_min, starts, latest, sums)
    if misses:
        sums[4] = _missed_min(fixed, starts)
    return FOUND
