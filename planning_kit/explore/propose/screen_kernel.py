"""What `planning_kit.explore.propose.order_screen` asks of an order, compiled by numba: a search asks often.

It says how often an order breaks a rule, not which. Exact: where it cannot be, it answers `UNKNOWN`, and the
rules in Python are asked. With ``stops`` it asks no more after the first fault; without, it goes on as if the
item were where the step with the fault needs it. As `planning_kit.plan.custody` plays a plan, up to a fault.
"""

import numpy as np

from planning_kit.explore.propose.screen_rules import (
    AIRLOCK,
    ALL_TRADED,
    ASKED,
    AT,
    BAG,
    CLASH,
    END_AT,
    ENDS,
    EV1,
    EV2,
    FIRST_ITEM,
    FOOTHOLD,
    INSIDE,
    IS_FOOTHOLD,
    ITEM,
    LEAVES,
    LEAVES_END,
    MISHAP,
    NEAR_SLOTS,
    NO,
    OR_INSIDE,
    OVERLOADED,
    PEOPLE,
    PERSON,
    PLACE,
    PLACE_OF,
    PLACES,
    SOCKETS,
    TAKES,
    TOUCHED,
    TOUCHED_END,
    UNKNOWN,
    USES,
    WAITS,
    WHERE,
    Rules,
    crowded,
    is_standing,
    late,
    pulled,
)
from planning_kit.plan.order_kernel import compiled, inner

# Rows of the state ``now``: where an item is, the foothold in a socket, who has too much, what steps missed;
# wheres to be weighed and steps under way, as many as the last row says, with how often something was amiss
# and how often Python must be asked.
_AT, _SOCKET, _HEAVY, _MISSED, _TOUCHED, _ACTIVE, _TALLY = range(7)
_FOUND, _ASKS, _TOUCHES, _UNDER_WAY = range(4)


@inner
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


@inner
def _clashes(steps: np.ndarray, times: np.ndarray, pairs: np.ndarray) -> bool:
    """Whether two of the steps, sorted by these times, touch one item at one instant."""
    for number in range(1, len(steps)):
        at = number - 1
        while at >= 0 and times[steps[at]] == times[steps[number]]:
            if pairs[CLASH, steps[at], steps[number]]:
                return True
            at -= 1
    return False


@inner
def _rank(lanes: np.ndarray, sizes: np.ndarray, count: int) -> np.ndarray:
    """Steps as the rows of this order: of all that can be next in their lanes the one that stands first."""
    rank, missing, turn = np.full(count, count), np.zeros(count, np.int64), np.zeros(len(sizes), np.int64)
    for who in range(len(sizes)):
        for number in range(1, sizes[who]):  # those at the front are there
            missing[lanes[who, number]] += 1
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


@inner
def _put_in_turn(steps: np.ndarray, begun: int, last: int, pairs: np.ndarray, lanes: np.ndarray,
                 sizes: np.ndarray) -> None:
    """Steps that begin together, so that none comes before one that it waits for; a ring is opened."""
    for number in range(begun, last):
        chosen = number
        for at in range(number, last):
            is_next = True
            for other in range(number, last):
                if pairs[WAITS, steps[other], steps[at]]:
                    is_next = False
                for who in range(len(sizes)):
                    for turn in range(1, sizes[who]):
                        if lanes[who, turn] == steps[at] and lanes[who, turn - 1] == steps[other]:
                            is_next = False
            if is_next:
                chosen = at
                break
        step = steps[chosen]
        for at in range(chosen, number, -1):
            steps[at] = steps[at - 1]
        steps[number] = step


@inner
def _is_near(way: np.ndarray, traded: int, step: int, where: int) -> bool:
    """Whether a where is that of a step, or one of its people."""
    return bool(where == way[traded, step, WHERE] or where == way[traded, step, PEOPLE]
                or where == way[traded, step, PEOPLE + 1])


@inner
def _ends_with(now: np.ndarray, about: np.ndarray, item: int, stops: bool) -> bool:
    """Count what is amiss with an item; whether no more is to be asked."""
    # What is let go goes on by what is meant, in two places perhaps: Python knows.
    now[_TALLY, _ASKS if about[MISHAP, item] else _FOUND] += 1
    return stops


@inner
def _move(now: np.ndarray, items: np.ndarray, about: np.ndarray, item: int, to: int) -> None:
    was, number = now[_AT, item], now[_TALLY, _TOUCHES]
    if now[_SOCKET, was] == item:
        now[_SOCKET, was] = NO
    now[_AT, item] = to
    if about[SOCKETS, to] and items[item, IS_FOOTHOLD] and now[_SOCKET, to] == NO:
        now[_SOCKET, to] = item
    now[_TOUCHED, number], now[_TOUCHED, number + 1] = was, to
    now[_TALLY, _TOUCHES] += 2


@inner
def _settle(now: np.ndarray, way: np.ndarray, rows: np.ndarray, about: np.ndarray, slots: np.ndarray,
            room: np.ndarray, near: float, is_traded: np.ndarray, first_item: int, first: int,
            stops: bool) -> bool:
    """After things have moved: is all at hand that steps under way need, does everyone carry what they can?

    Where nothing has moved, the steps from ``first`` on alone are looked at. Whether no more is to be asked.
    """
    touches = now[_TALLY, _TOUCHES]
    for number in range(0 if touches else first, now[_TALLY, _UNDER_WAY]):
        step = now[_ACTIVE, number]
        traded = int(is_traded[step])
        for row in range(way[traded, step, USES], way[traded, step, TAKES]):
            item = rows[row, ITEM]
            where = now[_AT, item]
            if _is_near(way, traded, step, where) or (where >= first_item and _is_near(
                    way, traded, step, now[_AT, where - first_item])):
                continue
            if _ends_with(now, about, item, stops):
                return True
            now[_AT, item] = way[traded, step, PEOPLE]
        foothold = way[traded, step, FOOTHOLD]
        if foothold != NO and now[_SOCKET, way[0, step, PLACE]] != foothold and not now[_MISSED, step]:
            if _ends_with(now, about, foothold, stops):
                return True
            now[_MISSED, step] = 1
    for number in range(touches):
        holder = now[_TOUCHED, number]
        if room[holder] == np.inf:
            continue
        load = 0.0
        for item in range(len(slots)):
            if now[_AT, item] == holder:
                load += slots[item]
        if abs(load - room[holder]) < near:  # Python may add up otherwise
            now[_TALLY, _ASKS] += 1
        was_heavy, now[_HEAVY, holder] = now[_HEAVY, holder], int(load > room[holder])
        if load > room[holder] and not was_heavy and not (stops and about[OVERLOADED, holder]):
            now[_TALLY, _FOUND] += 1
            if stops:
                return True
    now[_TALLY, _TOUCHES] = 0
    return False


@inner
def _take(now: np.ndarray, one: np.ndarray, way: np.ndarray, rows: np.ndarray, items: np.ndarray,
          about: np.ndarray, traded: int, step: int, stops: bool) -> bool:
    """The start of a step; whether no more is to be asked."""
    now[_ACTIVE, now[_TALLY, _UNDER_WAY]] = step
    now[_TALLY, _UNDER_WAY] += 1
    for row in range(way[traded, step, TAKES], way[traded, step, LEAVES]):
        item, bag = rows[row, ITEM], rows[row, BAG]
        where = now[_AT, item]
        is_there = where == rows[row, PLACE_OF] or (rows[row, OR_INSIDE] == 1 and where == one[INSIDE])
        if bag != NO:
            is_there = is_there and _is_near(way, traded, step, now[_AT, bag - one[FIRST_ITEM]])
        if not is_there and _ends_with(now, about, item, stops):
            return True
        _move(now, items, about, item, rows[row, PERSON])
    return False


@inner
def _leave(now: np.ndarray, one: np.ndarray, way: np.ndarray, rows: np.ndarray, items: np.ndarray,
           about: np.ndarray, stays: np.ndarray, home_min: np.ndarray, lanes: np.ndarray, sizes: np.ndarray,
           starts: np.ndarray, finishes: np.ndarray, pet_zero_min: float, traded: int, step: int,
           stops: bool) -> bool:
    """The finish of a step; whether no more is to be asked."""
    first_item, number = one[FIRST_ITEM], 0
    while now[_ACTIVE, number] != step:
        number += 1
    now[_TALLY, _UNDER_WAY] -= 1
    for at in range(number, now[_TALLY, _UNDER_WAY]):
        now[_ACTIVE, at] = now[_ACTIVE, at + 1]
    for row in range(way[traded, step, LEAVES], way[traded, step, LEAVES_END]):
        item, to, is_good = rows[row, ITEM], rows[row, PLACE_OF], True
        if now[_AT, item] != rows[row, PERSON] and _ends_with(now, about, item, stops):
            return True
        if to == one[EV1] or to == one[EV2]:
            is_good = is_standing(way, stays, home_min, lanes, sizes, starts, finishes, pet_zero_min,
                                  one[AIRLOCK], int(to == one[EV2]), way[0, step, PLACE], finishes[step])
        elif to >= first_item:
            is_good, inner = _is_near(way, traded, step, now[_AT, to - first_item]), to
            for _ in range(len(items) + 1):  # not into itself
                if inner == first_item + item:
                    is_good, to, inner = False, way[0, step, WHERE], NO
                elif inner >= first_item:
                    inner = now[_AT, inner - first_item]
        if not is_good and _ends_with(now, about, item, stops):
            return True
        _move(now, items, about, item, to)
    return False


@inner
def _begin(now: np.ndarray, one: np.ndarray, kept: np.ndarray, rows: np.ndarray, items: np.ndarray,
           about: np.ndarray, is_traded: np.ndarray) -> None:
    """Where everything is at PET 0: what only traded tasks touch goes along with them."""
    now[:] = 0
    now[_SOCKET], are_all = NO, one[ALL_TRADED] == 1
    for number in range(len(kept)):
        are_all = are_all and is_traded[kept[number]]
    for item in range(len(items)):
        where = items[item, AT]
        if where == one[EV1] or where == one[EV2]:
            goes_along = items[item, TOUCHED] < items[item, TOUCHED_END]
            for row in range(items[item, TOUCHED], items[item, TOUCHED_END]):
                goes_along = goes_along and is_traded[rows[row, ITEM]]
            if goes_along or are_all:
                where = one[EV1] + one[EV2] - where
        now[_AT, item] = where
        if about[SOCKETS, where] and items[item, IS_FOOTHOLD] and now[_SOCKET, where] == NO:
            now[_SOCKET, where] = item


@inner
def _ended(now: np.ndarray, one: np.ndarray, items: np.ndarray, about: np.ndarray, stops: bool) -> int:
    """How many items end elsewhere than they must."""
    count, first_item = 0, one[FIRST_ITEM]
    for item in range(len(items)):
        end_at, where = items[item, END_AT], now[_AT, item]
        if end_at in (NO, where) or (stops and about[ENDS, item]):
            continue
        if end_at == one[INSIDE]:  # in a bag or not, and in someone's hands, too
            for _ in range(len(items)):
                where = now[_AT, where - first_item] if where >= first_item else where
        if end_at != one[INSIDE] or (where < one[PLACES] and where != one[AIRLOCK]):
            count += 1
    return count


@inner
def _misplaced(one: np.ndarray, near: float, kept: np.ndarray, acting: np.ndarray, way: np.ndarray,
               rows: np.ndarray, items: np.ndarray, slots: np.ndarray, room: np.ndarray, about: np.ndarray,
               pairs: np.ndarray, stays: np.ndarray, home_min: np.ndarray, lanes: np.ndarray,
               sizes: np.ndarray, is_traded: np.ndarray, starts: np.ndarray, finishes: np.ndarray,
               pet_zero_min: float, stops: bool) -> int:
    """How often custody cannot do as written, or something ends elsewhere."""
    count, first_item = len(starts), one[FIRST_ITEM]
    rank = np.arange(count)
    begin, end = _sorted(acting, starts, rank), _sorted(acting, finishes, rank)
    if _clashes(begin, starts, pairs) or _clashes(end, finishes, pairs):
        rank = _rank(lanes, sizes, count)
        begin, end = _sorted(begin, starts, rank), _sorted(end, finishes, rank)
    now = np.empty((7, max(count, len(room), 2 * len(rows), 4)), np.int64)
    _begin(now, one, kept, rows, items, about, is_traded)
    for holder in range(len(room)):
        now[_TOUCHED, holder] = holder
    now[_TALLY, _TOUCHES] = len(room)
    if _settle(now, way, rows, about, slots, room, near, is_traded, first_item, 0, stops):
        return int(now[_TALLY, _FOUND])
    begun, done, is_over = 0, 0, False
    while done < len(end) and not is_over:
        at_min = finishes[end[done]]
        if begun < len(begin):
            at_min = min(at_min, starts[begin[begun]])
        while done < len(end) and finishes[end[done]] == at_min and not is_over:
            step = end[done]
            if starts[step] < at_min:
                is_over = _leave(now, one, way, rows, items, about, stays, home_min, lanes, sizes, starts,
                                 finishes, pet_zero_min, int(is_traded[step]), step, stops)
            done += 1
        is_over = is_over or _settle(now, way, rows, about, slots, room, near, is_traded, first_item,
                                     now[_TALLY, _UNDER_WAY], stops)
        last, is_short = begun, False
        while last < len(begin) and starts[begin[last]] == at_min:
            is_short = is_short or finishes[begin[last]] == at_min
            last += 1
        if is_short and last > begun + 1:
            _put_in_turn(begin, begun, last, pairs, lanes, sizes)
        while begun < last and not is_over:
            step = begin[begun]
            traded = int(is_traded[step])
            is_over = _take(now, one, way, rows, items, about, traded, step, stops) or _settle(
                now, way, rows, about, slots, room, near, is_traded, first_item,
                now[_TALLY, _UNDER_WAY] - 1, stops)
            if finishes[step] == at_min and not is_over:
                is_over = _leave(now, one, way, rows, items, about, stays, home_min, lanes, sizes, starts,
                                 finishes, pet_zero_min, traded, step, stops) or _settle(
                    now, way, rows, about, slots, room, near, is_traded, first_item,
                    now[_TALLY, _UNDER_WAY], stops)
            begun += 1
    found = int(now[_TALLY, _FOUND])
    if not is_over:
        found += _ended(now, one, items, about, stops)
    return found if now[_TALLY, _ASKS] == 0 or (stops and found > 0) else UNKNOWN


@compiled
def count_broken(rules: Rules, lanes: np.ndarray, sizes: np.ndarray, is_traded: np.ndarray,
                 starts: np.ndarray, pet_zero_min: float, stops: bool) -> int:
    """How often an order breaks a rule, 1 where it ``stops`` at the first that is not let go; or `UNKNOWN`.

    ``lanes`` (m, n): by lane the steps in their order, as many as ``sizes`` (m,) says; ``is_traded`` and
    ``starts`` by step.
    """
    one, about, way, stays, kept = rules.one, rules.about, rules.way, rules.stays, rules.kept
    if not one[ASKED]:
        return UNKNOWN
    for number in range(len(kept)):
        if starts[kept[number]] == -np.inf:  # in no order
            return UNKNOWN
    finishes = starts + rules.minutes
    found = late(rules.begins, rules.held, rules.lead_min, rules.window_min, about, starts, finishes,
                 pet_zero_min, stops)
    if stops and found > 0:
        return 1
    far = pulled(one, rules.sure, kept, way, about, rules.tether_m, rules.stops, rules.paths, lanes, sizes,
                 is_traded, stops)
    if stops and far > 0:
        return 1
    found += crowded(rules.narrow, way, about, stays, lanes, sizes, starts, finishes, pet_zero_min,
                     one[AIRLOCK], stops)
    if stops and found > 0:
        return 1
    amiss = _misplaced(one, rules.sure[NEAR_SLOTS], kept, rules.acting, way, rules.rows, rules.items,
                       rules.slots, rules.room, about, rules.pairs, stays, rules.home_min, lanes, sizes,
                       is_traded, starts, finishes, pet_zero_min, stops)
    if stops and amiss > 0:
        return 1
    return UNKNOWN if far == UNKNOWN or amiss == UNKNOWN else found + far + amiss
