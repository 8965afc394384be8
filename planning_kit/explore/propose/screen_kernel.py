"""What `planning_kit.explore.propose.order_screen` asks of an order, compiled by numba, as a search asks often.

It says how often an order breaks a rule, not which. Exact: where it cannot be, it answers `UNKNOWN`, and the
rules in Python are asked. Functions that say yes or no say whether there is more to ask: with ``stops`` there
is not after the first fault. Without, it goes on as if an item were where the step with the fault needs it.
"""

from typing import NamedTuple

import numpy as np

from planning_kit.explore.propose.screen_rules import (
    AIRLOCK,
    ALL_TRADED,
    ASKED,
    AT,
    END_AT,
    ENDS,
    EV1,
    EV2,
    FIRST_ITEM,
    FOOTHOLD,
    INSIDE,
    IS_FOOTHOLD,
    LEAVES,
    LEAVES_END,
    MISHAP,
    NO,
    OVERLOADED,
    PEOPLE,
    PLACE,
    PLACES,
    TAKES,
    TOUCHED,
    TOUCHED_END,
    UNKNOWN,
    USES,
    USES_END,
    WHERE,
    Order,
    Rules,
    crowded,
    is_standing,
    late,
    pulled,
)
from planning_kit.plan.order_kernel import compiled

# Columns of ``tally``.
FOUND, ASKS, TOUCHES, UNDER_WAY = range(4)


class Custody(NamedTuple):
    """Where items are, the foothold in each socket, who has too much, the steps whose foothold was missed.

    ``touched`` are wheres to be weighed, ``active`` the steps under way; how many, ``tally`` says, and how
    often something was amiss, or Python must be asked.
    """

    at: np.ndarray
    socket: np.ndarray
    heavy: np.ndarray
    missed: np.ndarray
    touched: np.ndarray
    active: np.ndarray
    tally: np.ndarray


# --- which comes first ------------------------------------------------------------------------------------


@compiled
def _sorted(steps: np.ndarray, times: np.ndarray, rank: np.ndarray) -> np.ndarray:
    """Steps by their times, then by rank."""
    found = steps.copy()
    for number in range(1, len(found)):
        step, at = found[number], number
        while at and (times[found[at - 1]] > times[step] or (
                times[found[at - 1]] == times[step] and rank[found[at - 1]] > rank[step])):
            found[at] = found[at - 1]
            at -= 1
        found[at] = step
    return found


@compiled
def _clashes(steps: np.ndarray, times: np.ndarray, clash: np.ndarray) -> bool:
    """Whether two of the steps, sorted by these times, touch one item at one instant."""
    for number in range(1, len(steps)):
        at = number - 1
        while at >= 0 and times[steps[at]] == times[steps[number]]:
            if clash[steps[at], steps[number]]:
                return True
            at -= 1
    return False


@compiled
def _rank(order: Order) -> np.ndarray:
    """Steps as the rows of this order: of all that can be next in their lanes the one that stands first."""
    lanes, sizes, count = order.lanes, order.sizes, len(order.starts)
    rank, missing, turn = np.full(count, count), np.zeros(count, np.int64), np.zeros(len(sizes), np.int64)
    for who in range(len(sizes)):
        for step in lanes[who, :sizes[who]]:
            missing[step] += 1
        if sizes[who]:
            missing[lanes[who, 0]] -= 1
    for number in range(count):
        best = count
        for who in range(len(sizes)):
            if turn[who] < sizes[who] and missing[lanes[who, turn[who]]] == 0:
                best = min(best, lanes[who, turn[who]])
        if best == count:
            break
        rank[best] = number
        for who in range(len(sizes)):
            if turn[who] < sizes[who] and lanes[who, turn[who]] == best:
                turn[who] += 1
                if turn[who] < sizes[who]:
                    missing[lanes[who, turn[who]]] -= 1
    return rank


@compiled
def _put_in_turn(rules: Rules, order: Order, steps: np.ndarray) -> None:
    """Steps that begin together, so that none comes before one that it waits for; a ring is opened."""
    for number in range(len(steps)):
        chosen = number
        for at in range(number, len(steps)):
            is_next = True
            for other in steps[number:]:
                is_next = is_next and not rules.waits[other, steps[at]]
                for who in range(len(order.sizes)):
                    for turn in range(1, order.sizes[who]):
                        if order.lanes[who, turn] == steps[at] and order.lanes[who, turn - 1] == other:
                            is_next = False
            if is_next:
                chosen = at
                break
        step = steps[chosen]
        for at in range(chosen, number, -1):
            steps[at] = steps[at - 1]
        steps[number] = step


# --- items ------------------------------------------------------------------------------------------------


@compiled
def _is_near(rules: Rules, where: int, traded: int, step: int) -> bool:
    """Whether a where is that of a step, or one of its people."""
    return (where == rules.step[step, WHERE] or where == rules.way[traded, step, PEOPLE]
            or where == rules.way[traded, step, PEOPLE + 1])


@compiled
def _goes_on(rules: Rules, now: Custody, item: int, stops: bool) -> bool:
    """Count what is amiss with an item."""
    # What is let go goes on by what is meant, in two places perhaps: Python knows.
    now.tally[ASKS if stops and rules.let_go[MISHAP, item] else FOUND] += 1
    return not stops


@compiled
def _move(rules: Rules, now: Custody, item: int, to: int) -> None:
    was, number = now.at[item], now.tally[TOUCHES]
    if now.socket[was] == item:
        now.socket[was] = NO
    now.at[item] = to
    if rules.has_socket[to] and rules.items[item, IS_FOOTHOLD] and now.socket[to] == NO:
        now.socket[to] = item
    now.touched[number], now.touched[number + 1] = was, to
    now.tally[TOUCHES] += 2


@compiled
def _carries(rules: Rules, now: Custody, holder: int, stops: bool) -> bool:
    """Whether hands or a bag begin to hold too much is counted."""
    room = rules.room[holder]
    if room == np.inf:
        return True
    slots, was_heavy = 0.0, now.heavy[holder]
    for item in range(len(now.at)):
        if now.at[item] == holder:
            slots += rules.slots[item]
    now.tally[ASKS] += abs(slots - room) < rules.unsure_slots  # Python may add up otherwise
    now.heavy[holder] = slots > room
    if was_heavy or slots <= room or (stops and rules.let_go[OVERLOADED, holder]):
        return True
    now.tally[FOUND] += 1
    return not stops


@compiled
def _settles(rules: Rules, order: Order, now: Custody, first: int, stops: bool) -> bool:
    """After things have moved: is all at hand that steps under way need, does everyone carry what they can?

    Where nothing has moved, the steps from ``first`` on alone are looked at.
    """
    first_item = rules.one[FIRST_ITEM]
    for step in now.active[0 if now.tally[TOUCHES] else first:now.tally[UNDER_WAY]]:
        traded = int(order.is_traded[step])
        for item in rules.uses[rules.step[step, USES]:rules.step[step, USES_END]]:
            where = now.at[item]
            if not (_is_near(rules, where, traded, step) or (
                    where >= first_item and _is_near(rules, now.at[where - first_item], traded, step))):
                if not _goes_on(rules, now, item, stops):
                    return False
                now.at[item] = rules.way[traded, step, PEOPLE]
        foothold = rules.step[step, FOOTHOLD]
        if foothold != NO and now.socket[rules.step[step, PLACE]] != foothold and not now.missed[step]:
            if not _goes_on(rules, now, foothold, stops):
                return False
            now.missed[step] = True
    for number in range(now.tally[TOUCHES]):
        if not _carries(rules, now, now.touched[number], stops):
            return False
    now.tally[TOUCHES] = 0
    return True


@compiled
def _takes(rules: Rules, order: Order, now: Custody, step: int, stops: bool) -> bool:
    """The start of a step."""
    now.active[now.tally[UNDER_WAY]] = step
    now.tally[UNDER_WAY] += 1
    traded = int(order.is_traded[step])
    for row in range(rules.way[traded, step, TAKES], rules.way[traded, step, LEAVES]):
        item, person, place, bag, is_inside_good = rules.moves[row]
        where = now.at[item]
        is_there = where == place or (is_inside_good == 1 and where == rules.one[INSIDE])
        if bag != NO:
            is_there = is_there and _is_near(rules, now.at[bag - rules.one[FIRST_ITEM]], traded, step)
        if not is_there and not _goes_on(rules, now, item, stops):
            return False
        _move(rules, now, item, person)
    return True


@compiled
def _leaves(rules: Rules, order: Order, now: Custody, step: int, stops: bool) -> bool:
    """The finish of a step."""
    first_item, traded, number = rules.one[FIRST_ITEM], int(order.is_traded[step]), 0
    while now.active[number] != step:
        number += 1
    now.tally[UNDER_WAY] -= 1
    for at in range(number, now.tally[UNDER_WAY]):
        now.active[at] = now.active[at + 1]
    for row in range(rules.way[traded, step, LEAVES], rules.way[traded, step, LEAVES_END]):
        item, person, to, _, _ = rules.moves[row]
        if now.at[item] != person and not _goes_on(rules, now, item, stops):
            return False
        is_good = True
        if to == rules.one[EV1] or to == rules.one[EV2]:
            is_there = is_standing(rules, order, int(to == rules.one[EV2]), rules.step[step, PLACE],
                                    order.finishes[step])
            now.tally[ASKS] += is_there == UNKNOWN
            is_good = is_there != 0
        elif to >= first_item:
            is_good, inner = _is_near(rules, now.at[to - first_item], traded, step), to
            for _ in range(len(now.at) + 1):  # not into itself
                if inner == first_item + item:
                    is_good, to, inner = False, rules.step[step, WHERE], NO
                elif inner >= first_item:
                    inner = now.at[inner - first_item]
        if not is_good and not _goes_on(rules, now, item, stops):
            return False
        _move(rules, now, item, to)
    return True


@compiled
def _plays(rules: Rules, order: Order, now: Custody, begin: np.ndarray, end: np.ndarray, stops: bool) -> bool:
    """The outing event by event; ``begin`` and ``end`` are the steps by start and by finish."""
    for holder in range(len(rules.room)):
        if not _carries(rules, now, holder, stops):
            return False
    starts, finishes, begun, done = order.starts, order.finishes, 0, 0
    while done < len(end):
        at_min = finishes[end[done]]
        if begun < len(begin):
            at_min = min(at_min, starts[begin[begun]])
        while done < len(end) and finishes[end[done]] == at_min:
            if starts[end[done]] < at_min and not _leaves(rules, order, now, end[done], stops):
                return False
            done += 1
        if not _settles(rules, order, now, now.tally[UNDER_WAY], stops):
            return False
        last, is_short = begun, False
        while last < len(begin) and starts[begin[last]] == at_min:
            is_short = is_short or finishes[begin[last]] == at_min
            last += 1
        if is_short and last > begun + 1:
            _put_in_turn(rules, order, begin[begun:last])
        for step in begin[begun:last]:
            if not _takes(rules, order, now, step, stops):
                return False
            if not _settles(rules, order, now, now.tally[UNDER_WAY] - 1, stops):
                return False
            if finishes[step] == at_min and not (_leaves(rules, order, now, step, stops) and _settles(
                    rules, order, now, now.tally[UNDER_WAY], stops)):
                return False
        begun = last
    return True


@compiled
def _begin(rules: Rules, order: Order, now: Custody) -> None:
    """Where everything is at PET 0: what only traded tasks touch goes along with them."""
    are_all, partners = rules.one[ALL_TRADED] == 1, rules.one[EV1] + rules.one[EV2]
    for step in rules.kept:
        are_all = are_all and order.is_traded[step]
    for item in range(len(now.at)):
        where = rules.items[item, AT]
        if where == rules.one[EV1] or where == rules.one[EV2]:
            steps = rules.touching[rules.items[item, TOUCHED]:rules.items[item, TOUCHED_END]]
            goes_along = len(steps) > 0
            for step in steps:
                goes_along = goes_along and order.is_traded[step]
            where = partners - where if goes_along or are_all else where
        now.at[item] = where
        if rules.has_socket[where] and rules.items[item, IS_FOOTHOLD] and now.socket[where] == NO:
            now.socket[where] = item


@compiled
def _ended(rules: Rules, at: np.ndarray, stops: bool) -> int:
    """How many items end elsewhere than they must."""
    count, first_item = 0, rules.one[FIRST_ITEM]
    for item in range(len(at)):
        end_at, where = rules.items[item, END_AT], at[item]
        if end_at in (NO, where) or (stops and rules.let_go[ENDS, item]):
            continue
        if end_at == rules.one[INSIDE]:  # in a bag or not, and in someone's hands, too
            for _ in range(len(at)):
                where = at[where - first_item] if where >= first_item else where
            count += where < rules.one[PLACES] and where != rules.one[AIRLOCK]
        else:
            count += 1
    return count


@compiled
def _misplaced(rules: Rules, order: Order, stops: bool) -> int:
    starts, finishes = order.starts, order.finishes
    rank = np.arange(len(starts))
    begin, end = _sorted(rules.acting, starts, rank), _sorted(rules.acting, finishes, rank)
    if _clashes(begin, starts, rules.clash) or _clashes(end, finishes, rules.clash):
        rank = _rank(order)
        begin, end = _sorted(begin, starts, rank), _sorted(end, finishes, rank)
    wheres, steps = len(rules.room), len(starts)
    now = Custody(np.empty(len(rules.items), np.int64), np.full(wheres, NO), np.zeros(wheres, np.bool_),
                  np.zeros(steps, np.bool_), np.empty(2 * len(rules.moves), np.int64),
                  np.empty(len(begin), np.int64), np.zeros(4, np.int64))
    _begin(rules, order, now)
    if _plays(rules, order, now, begin, end, stops):
        now.tally[FOUND] += _ended(rules, now.at, stops)
    is_known = now.tally[ASKS] == 0 or (stops and now.tally[FOUND] > 0)
    return now.tally[FOUND] if is_known else UNKNOWN


@compiled
def count_broken(rules: Rules, lanes: np.ndarray, sizes: np.ndarray, is_traded: np.ndarray,
                 starts: np.ndarray, pet_zero_min: float, stops: bool) -> int:
    """How often an order breaks a rule, 1 where it ``stops`` at the first that is not let go; or `UNKNOWN`.

    ``lanes`` (m, n): by lane the steps in their order, as many as ``sizes`` (m,) says; ``is_traded`` and
    ``starts`` by step.
    """
    if not rules.one[ASKED]:
        return UNKNOWN
    for step in rules.kept:
        if starts[step] == -np.inf:  # in no order
            return UNKNOWN
    order = Order(lanes, sizes, is_traded, starts, starts + rules.minutes, pet_zero_min)
    found, is_known = 0, True
    for rule in range(4):
        if rule == 0:
            said = late(rules, order, stops)
        elif rule == 1:
            said = pulled(rules, order, stops)
        elif rule == 2:
            said = crowded(rules, order, stops)
        else:
            said = _misplaced(rules, order, stops)
        if stops and said > 0:
            return 1
        is_known = is_known and said != UNKNOWN
        found += said
    return found if is_known else UNKNOWN
