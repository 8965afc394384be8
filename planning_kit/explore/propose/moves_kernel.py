"""The moves of `planning_kit.explore.propose.random_moves`, compiled by numba. What they are stands there.

Steps, tasks, places and lanes are numbers; sets of steps are bits, `_BITS` to a word. Chance comes from a
generator of its own (xorshift: Marsaglia 2003, "Xorshift RNGs"; from memory), so that an order is found again.
"""

from math import inf, nan
from typing import NamedTuple

import numpy as np

from planning_kit.plan.order_kernel import compiled, inner

_REVERSED, _ALL = 0.5, 0.5
_TRADE, _SLAB, _TASK, _REGROUP = 0.11, 0.23, 0.31, 0.40  # of all draws up to here; the rest move neighbours
_BESIDE, _NEAR = 0.45, 0.8  # of all slots up to here: at the same place, then not far from where it was
_FAR = 6
_LONGEST, _LONGEST_SLAB = 5, 10
_OF_TASK, _OF_PLACE = 0.3, 0.5  # of all runs up to here: those of one task, then those at one place
_MOST_TAKEN, _MOST_AT_ONCE, _MANY = 3, 7, 0.1  # of the tasks that are taken out together, and sometimes more
_TRADED, _BY_PLACE = 0.4, 0.7
_MEANWHILE, _TRADABLE = 0.7, 0.5  # how near to each other tasks are, beside one at the same place
_BITS = 32  # fewer than fit, so that no sign is in the way
BOTH_LANES = -1
"""Whose a piece is that both do."""


class Moves(NamedTuple):
    """What moves know of n steps in m lanes, of t tasks.

    ``partner`` (m,): the lane that trades places with it, or -1; ``ahead`` and ``behind`` (n, words): the steps
    that come before and after each one whatever is chosen, as bits; ``swappable`` (t,): the tasks whose crew may be
    traded, ``tradable`` those of them that a move may trade; ``by_runs``: what one does for a task stays together;
    ``turns``: how often a stretch of time is turned round.
    """

    task: np.ndarray
    place: np.ndarray
    is_both: np.ndarray
    is_fixed: np.ndarray
    minutes: np.ndarray
    ahead: np.ndarray
    behind: np.ndarray
    partner: np.ndarray
    swappable: np.ndarray
    tradable: np.ndarray
    by_runs: bool
    turns: float


class Order(NamedTuple):
    """One order: of lane i the first ``sizes[i]`` of ``lanes`` (m, n); ``starts`` (n,) and ``traded`` (t,).

    ``sums``: PET 0, the end after it with what is broken, the others' (`Timed.cost`), the guide, what is broken.
    """

    lanes: np.ndarray
    sizes: np.ndarray
    starts: np.ndarray
    traded: np.ndarray
    sums: np.ndarray


PET_ZERO, END, OTHERS, GUIDE, BROKEN = range(5)
"""The places in `Order.sums`."""


@inner
def copy(to: Order, of: Order) -> None:
    """Make one order equal another."""
    # Slices assigned take a second each to compile.
    for lane in range(len(to.sizes)):
        to.sizes[lane] = of.sizes[lane]
        for at in range(of.sizes[lane]):
            to.lanes[lane, at] = of.lanes[lane, at]
    for step in range(len(to.starts)):
        to.starts[step] = of.starts[step]
    for task in range(len(to.traded)):
        to.traded[task] = of.traded[task]
    for place in range(len(to.sums)):
        to.sums[place] = of.sums[place]


@inner
def uniform(chance: np.ndarray) -> float:
    """The next number in [0, 1) of the generator, whose state (1,) is never 0."""
    bits = chance[0]
    bits ^= bits << np.uint64(13)
    bits ^= bits >> np.uint64(7)
    bits ^= bits << np.uint64(17)
    chance[0] = bits
    return float(bits >> np.uint64(11)) / 9007199254740992.0


@inner
def below(chance: np.ndarray, count: int) -> int:
    """A whole number, 0 to count - 1."""
    return int(uniform(chance) * count)


@inner
def _has(words: np.ndarray, step: int) -> bool:
    return bool(words[step // _BITS] >> (step % _BITS) & 1)


@inner
def _reach(links: np.ndarray, lanes: np.ndarray, sizes: np.ndarray, piece: np.ndarray, way: int) -> np.ndarray:
    """What precedes a piece (``way`` -1) or follows it, by the tables and by all lanes, as bits."""
    width = links.shape[1]
    own, reached = np.zeros(width, np.int64), np.zeros(width, np.int64)
    for step in piece:
        own[step // _BITS] |= 1 << (step % _BITS)
        for word in range(width):
            reached[word] |= links[step, word]
    for word in range(width):
        reached[word] |= own[word]
    grows = True
    while grows:
        grows = False
        for lane in range(len(sizes)):
            is_reached, size = False, sizes[lane]
            for turn in range(size):
                step = lanes[lane, turn if way > 0 else size - 1 - turn]
                if is_reached:
                    word = step // _BITS
                    more = reached[word] | 1 << (step % _BITS)
                    grows |= more != reached[word]
                    reached[word] = more
                    for word in range(width):
                        more = reached[word] | links[step, word]
                        grows |= more != reached[word]
                        reached[word] = more
                elif _has(reached, step):
                    is_reached = True
    for word in range(width):
        reached[word] &= ~own[word]
    return reached


@inner
def room(moves: Moves, lanes: np.ndarray, sizes: np.ndarray, lane: int, piece: np.ndarray) -> tuple[int, int]:
    """The first and the last slot of a lane in which a piece may stand; the last is less where there is none."""
    low, high = 0, sizes[lane]
    for way in (-1, 1):
        reached = _reach(moves.ahead if way < 0 else moves.behind, lanes, sizes, piece, way)
        for number in range(sizes[lane]):
            if _has(reached, lanes[lane, number]):
                low = number + 1 if way < 0 else low
                high = number if way > 0 and number < high else high
    return low, high


@inner
def insert(lanes: np.ndarray, sizes: np.ndarray, lane: int, slot: int, piece: np.ndarray) -> None:
    """Put a piece into a slot of a lane."""
    size, count = sizes[lane], len(piece)
    for at in range(size - 1, slot - 1, -1):
        lanes[lane, at + count] = lanes[lane, at]
    for at in range(count):
        lanes[lane, slot + at] = piece[at]
    sizes[lane] = size + count


@inner
def take_out(lanes: np.ndarray, sizes: np.ndarray, gone: np.ndarray) -> None:
    """Leave the lanes without the steps that are ``gone`` (n,)."""
    for lane in range(len(sizes)):
        kept = 0
        for at in range(sizes[lane]):
            if not gone[lanes[lane, at]]:
                lanes[lane, kept] = lanes[lane, at]
                kept += 1
        sizes[lane] = kept


@inner
def _first_from(lane: np.ndarray, starts: np.ndarray, at_min: float) -> int:
    """The slot of a lane before the first that starts then or later."""
    for slot in range(len(lane)):
        if starts[lane[slot]] >= at_min:
            return slot
    return len(lane)


@inner
def slot_for(moves: Moves, lane: np.ndarray, piece: np.ndarray, low: int, high: int, starts: np.ndarray,
             at_min: float, chance: np.ndarray) -> int:
    """A slot of those from ``low`` to ``high``; near that minute, where one is given (else NaN)."""
    if not np.isnan(at_min):
        slot = _first_from(lane, starts, at_min) + below(chance, 3) - 1
        return min(max(slot, low), high)
    kind = uniform(chance)
    if kind < _BESIDE:
        found, count = -1, 0
        for slot in range(low, high + 1):
            if (slot and moves.place[lane[slot - 1]] == moves.place[piece[0]]) or (
                    slot < len(lane) and moves.place[lane[slot]] == moves.place[piece[-1]]):
                count += 1
                if below(chance, count) == 0:
                    found = slot
        if found >= 0:
            return found
    if kind < _NEAR:
        slot = _first_from(lane, starts, starts[piece[0]]) + below(chance, 2 * _FAR + 1) - _FAR
        return min(max(slot, low), high)
    return low + below(chance, high - low + 1)


@inner
def _put(moves: Moves, to: Order, pieces: np.ndarray, counts: np.ndarray, first: int,
         chance: np.ndarray) -> bool:
    """Put a piece of each lane (m, n), so long each, elsewhere, from lane ``first``; whether there is room."""
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
        while moves.by_runs and first and moves.task[lane[first - 1]] == task and not moves.is_both[lane[first - 1]]:
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
    """Take a few tasks, or all that are ``all_traded`` (t,), out of ``to``, some traded, and give their pieces.

    Of piece i, in turn: whose it is, and its steps, ``first[i]:first[i + 1]`` of the last result. The tasks are near
    each other in place and time, or may be traded against each other.
    """
    count, tasks, lanes = len(moves.task), len(moves.swappable), len(to.sizes)
    whose = np.full(count, lanes)  # in none
    for lane in range(lanes):
        for step in to.lanes[lane, :to.sizes[lane]]:
            if not moves.is_fixed[step]:
                whose[step] = BOTH_LANES if moves.is_both[step] else lane
    is_taken = all_traded if _pick(all_traded, chance) >= 0 else _near_each_other(moves, to, whose < lanes, chance)
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
    for task in turns:
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
    for run in range(runs):
        first[run + 1] += first[run]
    steps, filled = np.empty(first[runs], np.int64), first.copy()
    for step in range(count):
        if gone[step]:
            steps[filled[run_of[step]]] = step
            filled[run_of[step]] += 1
    take_out(to.lanes, to.sizes, gone)
    return owner[:runs], first, steps
