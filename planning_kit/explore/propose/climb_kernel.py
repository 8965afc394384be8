"""The passes of `planning_kit.explore.propose.local_search`, compiled: a move, its times, taken or not.

What needs Python (a way that nobody has asked for yet, a rule, a new best order, the clock) is handed back,
with a word for it, and the climb goes on where it stopped.
"""

from math import inf, log
from typing import NamedTuple

import numpy as np

from planning_kit.explore.propose.moves_kernel import draw, pieces_of
from planning_kit.explore.propose.order_arrays import (
    BITS,
    BOTH_LANES,
    BROKEN,
    END,
    GUIDE,
    OTHERS,
    PET_ZERO,
    Moves,
    Order,
    below,
    copy,
    has,
    insert,
    room,
    slot_for,
    uniform,
)
from planning_kit.explore.propose.screen_kernel import count_broken
from planning_kit.explore.propose.screen_rules import UNKNOWN, Rules
from planning_kit.plan.order_kernel import ASKS, FOUND, NONE, Fixed, asking, compiled, inner, time_order

_SAME = 1e-6
_WALK_PART, _OTHER_PART = 0.3, 0.1
"""What a minute of walking, and one of whoever is home first, counts beside one of the end in the climb."""
_MISSED_PART, _CHEAP_MIN, DEAR_MIN = 3.0, 15.0, 100.0
"""The same of a minute by which a step misses its windows or a clock, where it may, and the minutes of a rule
that delays nobody and is broken, at first and in the end."""
COLD = 0.001
"""How much worse an order may become in the end, as a part of the best outing."""
_PET_ZERO_SHARE = 0.05
_NEAREST, _MORE_SLOTS, _WAIT_PART = 4, 2, 0.3
_SETTLED_AFTER = 1_500


class Outing(NamedTuple):
    """What does not depend on the order.

    ``arcs`` (m, n + 1, n + 1): whether one step may follow another in a lane, -1 being the airlock;
    ``latest`` (n,) and ``late_min``: by when a step should begin, and what it counts where it does not. The
    rest as for `planning_kit.plan.order_kernel.time_order`.
    """

    fixed: Fixed
    ways: np.ndarray
    release: np.ndarray
    moves: Moves
    arcs: np.ndarray
    latest: np.ndarray
    horizon_min: float
    most_sweeps: int
    misses: bool
    late_min: float


(LEFT, UNTIL, LENGTH, NUMBER, LOOK_AT, WAITED, HAS_TRAIL, HOT, BEST_END, ZEROS, EVERY_MIN, RECREATED, LIMIT,
 OTHER_LIMIT) = range(14)
"""The places of how a climb goes: passes left, how many are left when it ends, its length, how many have been
made, at which of them it looks up, how many since a new best and whether that is to be judged; how hot it
begins, the best end; how many PET 0 there are besides the first, and their steps; how often tasks are taken
out; what a new best costs less than."""
ASKED, WORST, BROKEN_MIN, IS_TAKEN = range(14, 18)
"""A way asked for; the guide that is still taken, and what a broken rule counts, when a rule was asked for;
whether that order is taken."""
PLACES = 18
DONE, ASK, LOOK, SETTLED, RULES, NEW = range(6)
"""Why a climb stops: at its end, for a way, for the clock, for a judgement, for the rules of an order; as one
is a new best."""


@compiled
def time_it(outing: Outing, to: Order) -> int:
    """Fill starts and sums of an order in which steps may be missing; how it went, as `time_order` says."""
    sums, pet_zero = np.empty(5), to.sums[PET_ZERO]
    said = time_order(outing.fixed, outing.ways, outing.release, to.lanes, to.sizes, pet_zero,
                      outing.horizon_min, outing.most_sweeps, outing.misses, outing.latest, to.starts, sums)
    if said != FOUND:
        return said
    end, working = sums[0] - pet_zero, 0
    for lane in outing.fixed.travel:
        working += to.sizes[lane] > 0
    if outing.misses:
        end += _MISSED_PART * sums[4]
    # The end alone does not show what is won in the lane of who is home first.
    others = sums[1] - working * pet_zero
    to.sums[END], to.sums[OTHERS], to.sums[BROKEN] = end, others, 0.0
    to.sums[GUIDE] = end + _WALK_PART * sums[2] + _OTHER_PART * others + outing.late_min * sums[3]
    return FOUND


@compiled
def is_allowed(outing: Outing, to: Order) -> bool:
    """Whether the model has such an order."""
    ahead = outing.moves.ahead
    for lane in range(len(to.sizes)):
        later, then = np.zeros(ahead.shape[1], np.int64), -1
        for at in range(to.sizes[lane] - 1, -1, -1):
            step = to.lanes[lane, at]
            if not outing.arcs[lane, step, then]:
                return False
            # Arcs join neighbours only; what must come first can stand anywhere behind.
            for word in range(len(later)):
                if ahead[step, word] & later[word]:
                    return False
            later[step // BITS] |= 1 << (step % BITS)
            then = step
        if not outing.arcs[lane, -1, then]:
            return False
    return True


@inner
def _next(costs: np.ndarray, is_tried: np.ndarray, is_least: bool, left: int) -> int:
    """The least of those not tried yet, or the one that has so many of them before it."""
    found = -1
    for slot in range(len(costs)):
        if is_tried[slot]:
            continue
        if left == 0 if not is_least else found < 0 or costs[slot] < costs[found]:
            found = slot
        left -= 1
    return found


@inner
def _put_back(outing: Outing, starts: np.ndarray, to: Order, owner: int, piece: np.ndarray, best: Order,
              tried: Order, chance: np.ndarray) -> tuple[int, int]:
    """Put a piece into ``to`` where it costs least of some slots; how it went, and how many were timed.

    Those of the least walk and wait are tried, and a few others.
    """
    moves, ways, lane, other = outing.moves, outing.ways, owner, -1
    if owner == BOTH_LANES:
        lane = 0
        while moves.partner[lane] < 0:
            lane += 1
        other = moves.partner[lane]
    low, high = room(moves, to.lanes, to.sizes, lane, piece)
    if low > high:
        return NONE, 0
    # As the times were: they show where it would wait long, or others for it.
    ready, until, length, size = -inf, inf, 0.0, to.sizes[lane]
    for step in range(len(starts)):
        if starts[step] > -inf and has(moves.ahead[piece[0]], step):
            ready = max(ready, starts[step] + moves.minutes[step])
        if starts[step] > -inf and has(moves.behind[piece[-1]], step):
            until = min(until, starts[step])
    for step in piece:
        length += moves.minutes[step]
    costs = np.empty(high - low + 1)
    for slot in range(low, high + 1):
        a = to.lanes[lane, slot - 1] if slot else -1
        b = to.lanes[lane, slot] if slot < size else -1
        for way in ((a, piece[0]), (piece[-1], b), (a, b)):
            if np.isnan(ways[lane, way[0], way[1]]) and (size or way[0] >= 0 or way[1] >= 0):
                return asking(lane, way[0], way[1], len(starts) + 1), 0
        walk = ways[lane, a, piece[0]] + ways[lane, piece[-1], b] - (ways[lane, a, b] if size else 0.0)
        at = ways[lane, a, piece[0]] + (starts[a] + moves.minutes[a] if a >= 0 else 0.0)
        wait = max(ready - at, 0.0) + max(max(at, ready) + length - until, 0.0)
        costs[slot - low] = walk + _WAIT_PART * wait + 2 * uniform(chance)
    used, found, is_tried = 0, False, np.zeros(len(costs), np.bool_)
    for turn in range(min(len(costs), _NEAREST + _MORE_SLOTS)):
        slot = low + _next(costs, is_tried, turn < _NEAREST, below(chance, len(costs) - turn))
        is_tried[slot - low] = True
        copy(tried, to)
        insert(tried.lanes, tried.sizes, lane, slot, piece)
        if other >= 0:
            first, last = room(moves, tried.lanes, tried.sizes, other, piece)
            if first > last:
                continue
            at_min = starts[to.lanes[lane, slot - 1]] if slot else -1.0
            own = tried.lanes[other, :tried.sizes[other]]
            insert(tried.lanes, tried.sizes, other,
                   slot_for(moves, own, piece, first, last, starts, at_min, chance), piece)
        used += 1
        said = time_it(outing, tried)
        if said <= ASKS:
            return said, used
        if said == FOUND and (not found or tried.sums[GUIDE] < best.sums[GUIDE]):
            copy(best, tried)
            found = True
    if not found:
        return NONE, used
    copy(to, best)
    return FOUND, used


@inner
def _recreate(outing: Outing, here: Order, to: Order, all_traded: np.ndarray, best: Order, tried: Order,
             chance: np.ndarray) -> tuple[int, int]:
    """A few tasks, or all ``all_traded``, taken out and put back, piece by piece, as `_put_back` says."""
    copy(to, here)
    owner, first, steps = pieces_of(outing.moves, to, all_traded, chance)
    used = 0
    for number in range(len(owner)):
        piece = steps[first[number]:first[number + 1]]
        said, more = _put_back(outing, here.starts, to, owner[number], piece, best, tried, chance)
        used += more
        if said == NONE and len(piece) > 1:  # a step of another task may have to come between
            for at in range(len(piece)):
                said, more = _put_back(outing, here.starts, to, owner[number], piece[at:at + 1], best, tried,
                                       chance)
                used += more
                if said != FOUND:
                    break
        if said != FOUND:
            return said, used
    return FOUND, used


@inner
def _by_step(moves: Moves, order: Order) -> np.ndarray:
    is_traded = np.empty(len(moves.task), np.bool_)
    for step in range(len(is_traded)):
        is_traded[step] = order.traded[moves.task[step]]
    return is_traded


@inner
def _take(here: Order, there: Order, low: Order) -> None:
    """Go on from ``there``; ``low`` is the best so far."""
    copy(here, there)
    if there.sums[END] < low.sums[END] or (
            there.sums[END] == low.sums[END] and there.sums[OTHERS] < low.sums[OTHERS]):
        copy(low, there)


@inner
def still_taken(guide: float, best_end: float, hot: float, part: float, draw: float) -> float:
    """The worst that is taken after a ``part`` of the climb, by a draw in [0, 1)."""
    return float(guide - hot * best_end * (COLD / hot) ** part * log(1 - draw))


@compiled
def climb(outing: Outing, rules: Rules, here: Order, there: Order, low: Order, best: Order, tried: Order,
          traded: np.ndarray, going: np.ndarray, chance: np.ndarray) -> int:
    """Passes from ``here`` until something needs Python; why it stops. ``best`` and ``tried`` are scratch.

    With some tasks ``traded`` (t,) it tries just once to put these into ``there``.
    """
    is_once = False
    for task in range(len(traded)):
        is_once |= traded[task]
    if going[IS_TAKEN]:
        _take(here, there, low)
        going[IS_TAKEN] = 0
    while going[LEFT] > max(going[UNTIL], 0.0):
        if going[HAS_TRAIL] and going[WAITED] >= _SETTLED_AFTER:
            return SETTLED
        if going[NUMBER] >= going[LOOK_AT]:
            return LOOK
        going[LEFT] -= 1
        going[NUMBER] += 1
        going[WAITED] += 1
        part = 1 - (going[LEFT] - going[UNTIL]) / going[LENGTH]
        broken_min = _CHEAP_MIN * (DEAR_MIN / _CHEAP_MIN) ** part
        worst = still_taken(here.sums[GUIDE] + broken_min * here.sums[BROKEN], going[BEST_END], going[HOT],
                            part, uniform(chance)) + _SAME
        said, is_timed = FOUND, False
        if is_once or uniform(chance) < going[RECREATED]:
            said, used = _recreate(outing, here, there, traded, best, tried, chance)
            going[LEFT] -= used
            is_timed = True
        elif going[ZEROS] > 0 and uniform(chance) < _PET_ZERO_SHARE:
            copy(there, here)
            there.sums[PET_ZERO] = below(chance, int(going[ZEROS]) + 1) * going[EVERY_MIN]
        elif not draw(outing.moves, here, there, chance):
            said = NONE
        if said == FOUND:
            if not is_allowed(outing, there):
                said = NONE
            elif not is_timed:
                said = time_it(outing, there)
        if said <= ASKS:
            going[ASKED] = said
            return ASK
        if is_once:
            return RULES if said == FOUND else DONE
        if said != FOUND or there.sums[GUIDE] > worst:
            continue
        # The rules that delay nobody cost most, and so are asked last.
        broken = count_broken(rules, there.lanes, there.sizes, _by_step(outing.moves, there), there.starts,
                              there.sums[PET_ZERO], not outing.misses)
        if broken > 0 and (not outing.misses or there.sums[GUIDE] + broken_min * broken > worst):
            continue
        if broken == UNKNOWN:
            going[WORST], going[BROKEN_MIN] = worst, broken_min
            return RULES
        there.sums[BROKEN] = broken
        there.sums[END] += DEAR_MIN * broken
        if there.sums[END] < going[LIMIT] or (
                there.sums[END] == going[LIMIT] and there.sums[OTHERS] < going[OTHER_LIMIT]):
            return NEW
        _take(here, there, low)
    return DONE
