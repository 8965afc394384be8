"""The moves of `planning_kit.explore.propose.random_moves`, compiled by numba. What they are stands there."""

from math import inf, nan

import numpy as np

from planning_kit.explore.propose.order_arrays import (
    BOTH_LANES,
    Moves,
    Order,
    below,
    copy,
    insert,
    room,
    slot_for,
    take_out,
    uniform,
)
from planning_kit.plan.order_kernel import compiled, inner

_REVERSED, _ALL = 0.5, 0.5
_TRADE, _SLAB, _TASK, _REGROUP = 0.11, 0.23, 0.31, 0.40  # of all draws up to here; the rest move neighbours
_LONGEST, _LONGEST_SLAB = 5, 10
_OF_TASK, _OF_PLACE = 0.3, 0.5  # of all runs up to here: those of one task, then those at one place
_MOST_TAKEN, _MOST_AT_ONCE, _MANY = 3, 7, 0.1  # of the tasks that are taken out together, and sometimes more
_TRADED, _BY_PLACE = 0.4, 0.7
_MEANWHILE, _TRADABLE = 0.7, 0.5  # how near to each other tasks are, beside one at the same place


@inner
def _put(moves: Moves, to: Order, pieces: np.ndarray, counts: np.ndarray, first: int,
         chance: np.ndarray) -> bool:
    """Put a piece of each lane (m, n), so long each, elsewhere, from lane ``first``; if there is room."""
    gone = np.zeros(len(moves.task), np.bool_)
    for lane in range(len(counts)):
        for at in range(counts[lane]):
            gone[pieces[lane, at]] = True
    take_out(to.lanes, to.sizes, gone)
    at_min = nan
    for turn in range(len(counts)):
        lane = (first + turn) % len(counts)
        if counts[lane] == 0:
            continue
        piece = pieces[lane, :counts[lane]]
        low, high = room(moves, to.lanes, to.sizes, lane, piece)
        if low > high:
            return False
        own = to.lanes[lane, :to.sizes[lane]]
        slot = slot_for(moves, own, piece, low, high, to.starts, at_min, chance)
        # In the other lane at about the same time, or one would wait long for the other.
        at_min = to.starts[own[slot - 1]] if slot else -1.0
        insert(to.lanes, to.sizes, lane, slot, piece)
    return True


@compiled
def draw(moves: Moves, here: Order, to: Order, chance: np.ndarray) -> bool:
    """Make ``to`` another order than ``here``, not yet timed; whether there was room for it."""
    copy(to, here)
    kind, lanes, sizes = uniform(chance), here.lanes, here.sizes
    if kind < moves.turns:
        turn(moves, to, chance)
        return True
    pieces, counts = np.empty_like(lanes), np.zeros_like(sizes)
    task = _pick(moves.tradable, chance) if kind < _TRADE else -1
    first = 0
    if task >= 0:
        for lane in range(len(sizes)):
            for at in range(sizes[lane] if moves.partner[lane] >= 0 else 0):
                step = lanes[lane, at]
                if moves.task[step] == task and not moves.is_both[step]:
                    other = moves.partner[lane]
                    pieces[other, counts[other]] = step
                    counts[other] += 1
        to.traded[task] = not to.traded[task]
    else:
        work = 0
        for size in sizes:
            work += size if size > 1 else 0
        if work == 0:
            return False
        at = below(chance, work)
        while at >= sizes[first] or sizes[first] < 2:
            at -= sizes[first] if sizes[first] > 1 else 0
            first += 1
        _take_piece(moves, here, first, kind, pieces, counts, chance)
    return _put(moves, to, pieces, counts, first, chance) and _differs(to, here)


@inner
def _differs(one: Order, other: Order) -> bool:
    for lane in range(len(one.sizes)):
        if one.sizes[lane] != other.sizes[lane]:
            return True
        for at in range(one.sizes[lane]):
            if one.lanes[lane, at] != other.lanes[lane, at]:
                return True
    return False


@inner
def _pick(among: np.ndarray, chance: np.ndarray) -> int:
    """One of the places that are true; -1 where none is."""
    left = 0
    for place in range(len(among)):
        left += among[place]
    left = below(chance, left)
    for place in range(len(among)):
        if among[place]:
            if left == 0:
                return place
            left -= 1
    return -1


@inner
def turn(moves: Moves, to: Order, chance: np.ndarray) -> None:
    """A stretch of time in which the tasks come in the opposite order, or tradable ones change hands.

    A person sees such an order at a glance; no small move leads to it, as all between is worse.
    """
    lanes, sizes, starts = to.lanes, to.sizes, to.starts
    count, tasks = len(moves.task), len(moves.swappable)
    is_free = np.zeros(count, np.bool_)
    for lane in range(len(sizes)):
        for at in range(sizes[lane] if moves.partner[lane] >= 0 else 0):
            is_free[lanes[lane, at]] = not moves.is_fixed[lanes[lane, at]]
    one, other = _pick(is_free, chance), _pick(is_free, chance)
    if one < 0:
        return
    low, high = min(starts[one], starts[other]), max(starts[one], starts[other])
    first, is_traded = np.full(tasks, inf), np.zeros(tasks, np.bool_)
    is_reversed = _pick(moves.tradable, chance) < 0 or uniform(chance) < _REVERSED
    if is_reversed:
        for lane in range(len(sizes)):
            for step in lanes[lane, :sizes[lane]]:
                if low <= starts[step] <= high:
                    first[moves.task[step]] = min(first[moves.task[step]], starts[step])
    else:
        most = 1.0 if uniform(chance) < _ALL else uniform(chance)
        is_there = np.zeros(tasks, np.bool_)
        for step in range(count):
            if is_free[step] and low <= starts[step] <= high:
                is_there[moves.task[step]] = True
        for task in range(tasks):
            is_traded[task] = moves.tradable[task] and is_there[task] and uniform(chance) < most
    old, old_sizes = lanes.copy(), sizes.copy()
    for lane in range(len(sizes)):
        sizes[lane] = 0
    for lane in range(len(sizes)):
        for step in old[lane, :old_sizes[lane]]:
            goes = is_free[step] and is_traded[moves.task[step]] and not moves.is_both[step]
            own = moves.partner[lane] if goes else lane
            lanes[own, sizes[own]] = step
            sizes[own] += 1
    for lane in range(len(sizes)):
        _sort(lanes[lane, :sizes[lane]], moves.task, first, starts, low, high, is_reversed)
    for task in range(tasks):
        to.traded[task] ^= is_traded[task]


@inner
def _sort(lane: np.ndarray, task: np.ndarray, first: np.ndarray, starts: np.ndarray, low: float, high: float,
          is_reversed: bool) -> None:
    """By start; in the stretch that is reversed by tasks first, the latest of them before the others."""
    for at in range(1, len(lane)):
        step = lane[at]
        is_there = is_reversed and low <= starts[step] <= high
        while at > 0:
            other = lane[at - 1]
            if is_there and low <= starts[other] <= high:
                mine, theirs = -first[task[step]], -first[task[other]]
            else:
                mine = theirs = 0.0
            if (theirs, starts[other], other) <= (mine, starts[step], step):
                break
            lane[at] = other
            at -= 1
        lane[at] = step


@inner
def _take_piece(moves: Moves, here: Order, who: int, kind: float, pieces: np.ndarray, counts: np.ndarray,
                chance: np.ndarray) -> None:
    """What to move, by lane."""
    lanes, starts, size, partner = here.lanes, here.starts, here.sizes[who], moves.partner[who]
    lane, first = lanes[who, :size], below(chance, size)
    step = lane[first]
    task = moves.task[step]
    if kind < _SLAB and partner >= 0:  # what both begin in a stretch of time
        last = min(first + below(chance, _LONGEST_SLAB), size - 1)
        for own in (who, partner):
            for each in lanes[own, :here.sizes[own]]:
                if starts[step] <= starts[each] <= starts[lane[last]]:
                    pieces[own, counts[own]] = each
                    counts[own] += 1
    elif kind < _TASK:  # a whole task, whoever does it
        for own in range(len(counts)):
            for each in lanes[own, :here.sizes[own]]:
                if moves.task[each] == task:
                    pieces[own, counts[own]] = each
                    counts[own] += 1
    elif moves.is_both[step]:
        for own in (who, partner):
            pieces[own, 0] = step
            counts[own] = 1
    elif kind < _REGROUP:  # all that one person does for it
        for each in lane:
            if moves.task[each] == task and not moves.is_both[each]:
                pieces[who, counts[who]] = each
                counts[who] += 1
    else:
        longest, kind, last = 1 + below(chance, _LONGEST), uniform(chance), first
        is_run = moves.by_runs or kind < _OF_TASK
        while last < size and not moves.is_both[lane[last]] and (
                moves.task[lane[last]] == task if is_run
                else moves.place[lane[last]] == moves.place[step] if kind < _OF_PLACE
                else last < first + longest):
            last += 1
        while moves.by_runs and first and moves.task[lane[first - 1]] == task and not moves.is_both[
                lane[first - 1]]:
            first -= 1
        counts[who] = last - first
        for at in range(first, last):
            pieces[who, at - first] = lane[at]


@inner
def _near_each_other(moves: Moves, here: Order, is_own: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """A task and a few others of those with a step among ``is_own`` (n,): (t,) bool."""
    tasks, starts = len(moves.swappable), here.starts
    is_there, is_taken = np.zeros(tasks, np.bool_), np.zeros(tasks, np.bool_)
    for step in range(len(is_own)):
        is_there[moves.task[step]] |= is_own[step]
    first = _pick(is_there, chance)
    if first < 0:
        return is_taken
    is_taken[first] = True
    at, low, high = np.zeros(len(is_own), np.bool_), inf, -inf
    for step in range(len(is_own)):
        if is_own[step] and moves.task[step] == first:
            at[moves.place[step]] = True
            low, high = min(low, starts[step]), max(high, starts[step])
    near = np.zeros(tasks)
    for step in range(len(is_own)):
        if is_own[step]:
            own = 1.0 * at[moves.place[step]] + _MEANWHILE * (low <= starts[step] <= high)
            near[moves.task[step]] = max(near[moves.task[step]], own)
    for task in range(tasks):
        near[task] = near[task] + _TRADABLE * moves.swappable[task] + uniform(
            chance) if is_there[task] and task != first else -inf
    most = below(chance, _MOST_AT_ONCE if uniform(chance) < _MANY else _MOST_TAKEN)
    for _ in range(most):
        nearest = first
        for task in range(tasks):
            if near[task] > near[nearest]:
                nearest = task
        is_taken[nearest], near[nearest] = True, -inf
    return is_taken


@inner
def pieces_of(moves: Moves, to: Order, all_traded: np.ndarray,
              chance: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Take a few tasks, or all that are ``all_traded`` (t,), out of ``to``, some traded; their pieces.

    Of piece i, in turn: whose it is, and its steps, ``first[i]:first[i + 1]`` of the last result. The tasks
    are near each other in place and time, or may be traded against each other.
    """
    count, tasks, lanes = len(moves.task), len(moves.swappable), len(to.sizes)
    whose = np.full(count, lanes)  # in none
    for lane in range(lanes):
        for step in to.lanes[lane, :to.sizes[lane]]:
            if not moves.is_fixed[step]:
                whose[step] = BOTH_LANES if moves.is_both[step] else lane
    is_taken = all_traded if _pick(all_traded, chance) >= 0 else _near_each_other(
        moves, to, whose < lanes, chance)
    turns = np.empty(tasks, np.int64)
    for task in range(tasks):
        is_traded = is_taken[task] and (all_traded[task] or (
            moves.tradable[task] and uniform(chance) < _TRADED))
        to.traded[task] ^= is_traded
        for step in range(count if is_traded else 0):
            if moves.task[step] == task and 0 <= whose[step] < lanes and moves.partner[whose[step]] >= 0:
                whose[step] = moves.partner[whose[step]]
        other = below(chance, task + 1)  # tasks in any turn
        turns[task] = turns[other] if other < task else task
        turns[other] = task
    gone, run_of, owner = np.zeros(count, np.bool_), np.empty(count, np.int64), np.empty(count, np.int64)
    first, last, runs = np.zeros(count + 1, np.int64), np.empty(lanes + 1, np.int64), 0
    for number in range(tasks):
        task = int(turns[number])
        if not is_taken[task]:
            continue
        by_place = uniform(chance) < _BY_PLACE
        for lane in range(lanes + 1):
            last[lane] = -1
        for step in range(count):
            if moves.task[step] != task or whose[step] == lanes:
                continue
            before, gone[step] = last[whose[step]], True
            if before >= 0 and whose[step] != BOTH_LANES and (
                    not by_place or moves.place[before] == moves.place[step]):
                run_of[step] = run_of[before]
            else:
                run_of[step], owner[runs] = runs, whose[step]
                runs += 1
            first[run_of[step] + 1] += 1
            last[whose[step]] = step
    for number in range(runs):
        first[number + 1] += first[number]
    steps, filled = np.empty(first[runs], np.int64), first.copy()
    for step in range(count):
        if gone[step]:
            steps[filled[run_of[step]]] = step
            filled[run_of[step]] += 1
    take_out(to.lanes, to.sizes, gone)
    return owner[:runs], first, steps
