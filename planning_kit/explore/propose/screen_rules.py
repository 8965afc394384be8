"""The rules of `planning_kit.explore.propose.order_screen` as numbers; those of times and places, compiled.

Names are numbers here (`planning_kit.explore.propose.screen_arrays`): a "where" is a place (the first
numbers), inside, someone, or an item (the last numbers) that others are in. Items are asked about in
`planning_kit.explore.propose.screen_kernel`. Functions are given arrays, not `Rules`: a tuple of many arrays
handed on takes the compiler a minute, and the compiled code most of its time.
"""

from typing import NamedTuple

import numpy as np

from planning_kit.plan.order_kernel import Lists, inner

UNKNOWN, NO = -1, -1
"""The answer; and no item, no place, nobody, no way."""
# What ``one`` has, and ``sure``.
ASKED, AIRLOCK, INSIDE, EV1, EV2, FIRST_ITEM, PLACES, ALL_TRADED = range(8)
NEAR_SLOTS, NEAR_M = range(2)
# Columns of ``way``, of ``rows`` about moves, of ``items``, of ``held``; those of two are for EV1 and EV2.
PLACE, WAITS_AT, ONLY_OVER, FOOTHOLD, WHERE, PEOPLE, HOOKS, OTHERS = 0, 1, 2, 3, 4, 5, 7, 9
USES, TAKES, LEAVES, LEAVES_END = 11, 12, 13, 14
ITEM, PERSON, PLACE_OF, BAG, OR_INSIDE = range(5)
AT, IS_FOOTHOLD, END_AT, TOUCHED, TOUCHED_END = range(5)
FIRST, LAST, WINDOWS, WINDOWS_END = range(4)
# Rows of ``about``: whether a rule is let go, by the number of what it is about; whether there is a socket.
LAST_START, WINDOW, REACH, STILL_HOOKED, CROWDED, OVERLOADED, ENDS, MISHAP, SOCKETS = range(9)
CLASH, WAITS = range(2)
_SAME_MIN, _LONGEST_LINE = 1e-6, 500


class Rules(NamedTuple):
    """The rules of n steps, i items and p places for two crew members; minutes, and numbers of wheres.

    ``one``: single numbers, by the names above, such as whether it is asked here at all; ``sure``: so near
    its limit a sum of slots, or of metres, is not sure. ``kept`` are steps of tasks that are not left out,
    ``acting`` those of them that touch items. ``way`` (2, n, 15), as written and traded, ``items`` (i, 5) and
    ``held`` (inhibits, 4) by the columns above, where those of lists are the first and the end of them in
    ``rows`` (from ``USES`` to ``TAKES``: items; then moves; of items the steps that touch them) and in
    ``window_min``. ``pairs`` (2, n, n): whether two steps touch one item; whether one waits for another.
    ``stays`` (2, p, n, 3): the way from a place into a step, its part to where they wait, and when it opens;
    ``home_min`` (2, p). ``stops`` by step, and home, the places that a walk into it leads over; ``paths`` by
    person, place and place, the places that follow on the way, with the metres of each leg.
    """

    one: np.ndarray
    sure: np.ndarray
    kept: np.ndarray
    acting: np.ndarray
    minutes: np.ndarray
    way: np.ndarray
    rows: np.ndarray
    items: np.ndarray
    slots: np.ndarray
    room: np.ndarray
    about: np.ndarray
    pairs: np.ndarray
    begins: Lists
    held: np.ndarray
    lead_min: np.ndarray
    window_min: np.ndarray
    narrow: np.ndarray
    stays: np.ndarray
    home_min: np.ndarray
    tether_m: np.ndarray
    stops: Lists
    paths: Lists


@inner
def late(begins: Lists, held: np.ndarray, lead_min: np.ndarray, window_min: np.ndarray, about: np.ndarray,
         starts: np.ndarray, finishes: np.ndarray, pet_zero_min: float, stops: bool) -> int:
    """How many tasks begin after their last start, and inhibits lie in no window."""
    count, first, steps, last_min = 0, begins.first, begins.numbers, begins.minutes
    for task in range(len(first) - 1):
        if first[task] == first[task + 1] or (stops and about[LAST_START, task]):
            continue
        begin_min = np.inf
        for at in range(first[task], first[task + 1]):
            begin_min = min(begin_min, starts[steps[at]])
        # The limit stands beside each step of the task.
        if begin_min > pet_zero_min + last_min[first[task]] + _SAME_MIN:
            count += 1
    for row in range(len(held)):
        begin_min, end_min = starts[held[row, FIRST]] - lead_min[row], finishes[held[row, LAST]]
        is_kept = stops and about[WINDOW, row]
        for at in range(held[row, WINDOWS], held[row, WINDOWS_END], 2):
            if window_min[at] <= begin_min + _SAME_MIN and end_min <= window_min[at + 1] + _SAME_MIN:
                is_kept = True
        if not is_kept:
            count += 1
    return count


@inner
def _is_too_far(first: np.ndarray, places: np.ndarray, metres: np.ndarray, stops: np.ndarray, stop: int,
                last: int, base: int, count: int, line: np.ndarray, out_m: np.ndarray, length: int,
                limits_m: np.ndarray) -> int:
    """Lay a line along a walk over some stops: twice its length then, and 1 where it was too long."""
    reach_m = out_m[length - 1]
    for at_stop in range(stop, last):
        path = (base + line[length - 1]) * count + stops[at_stop]
        for at in range(first[path], first[path + 1]):
            place = places[at]
            # As in `planning_kit.plan.tether_lines.after_leg`.
            if length > 1 and line[length - 2] == place:
                length -= 1
            elif place == NO or length == len(line):
                return UNKNOWN
            else:
                line[length], out_m[length] = place, out_m[length - 1] + metres[at]
                reach_m, length = max(reach_m, out_m[length]), length + 1
    if abs(reach_m - limits_m[0]) < limits_m[1]:  # Python may add up otherwise
        return UNKNOWN
    return 2 * length + int(reach_m > limits_m[0])


@inner
def pulled(one: np.ndarray, sure: np.ndarray, kept: np.ndarray, way: np.ndarray, about: np.ndarray,
           tether_m: np.ndarray, walks: Lists, paths: Lists, lanes: np.ndarray, sizes: np.ndarray,
           is_traded: np.ndarray, stops: bool) -> int:
    """How often a tether is too short for the way since its hook, or not at the airlock in the end."""
    count, is_known, home, airlock = 0, True, len(is_traded), one[AIRLOCK]
    path_first, path_places, path_m = paths.first, paths.numbers, paths.minutes
    stop_first, stop_places = walks.first, walks.numbers
    line, out_m, limits_m = np.empty(_LONGEST_LINE, np.int64), np.zeros(_LONGEST_LINE), np.empty(2)
    for who in range(2):
        is_own = True
        for at in range(len(kept)):
            if way[int(is_traded[kept[at]]), kept[at], OTHERS + who]:
                is_own = False
        if not is_own:  # somebody else moves the hook: it hangs on when
            is_known = False
            continue
        line[0], length = airlock, 1
        limits_m[0], limits_m[1] = tether_m[who], sure[NEAR_M]
        for number in range(sizes[who] + 1):
            step = lanes[who, number] if number < sizes[who] else home
            said = _is_too_far(path_first, path_places, path_m, stop_places, stop_first[step],
                               stop_first[step + 1], who * one[PLACES], one[PLACES], line, out_m, length,
                               limits_m)
            if said == UNKNOWN:
                is_known, line[0] = False, airlock
                break
            length = said >> 1
            if said & 1 and not (stops and about[REACH, line[0]]):
                count += 1
            if step != home and way[int(is_traded[step]), step, HOOKS + who] != NO:
                line[0], length = way[int(is_traded[step]), step, HOOKS + who], 1
        if line[0] != airlock and not (stops and about[STILL_HOOKED, line[0]]):
            count += 1
    return count if is_known or (stops and count > 0) else UNKNOWN


@inner
def _stays_at(way: np.ndarray, stays: np.ndarray, who: int, here: int, step: int, place: int, free: float,
              start: float, finish: float, pet_zero_min: float, spans: np.ndarray) -> int:
    """Fill ``spans`` (2, 3, 2) of ``who`` with when they are at a place from the end of one step to that of
    the next; how many."""
    there, waits_at, count = way[0, step, PLACE], way[0, step, WAITS_AT], 0
    # As in `planning_kit.plan.activities.walked_in`.
    whole = max(0.0, min(stays[who, here, step, 0], start - free))
    to_wait = min(stays[who, here, step, 1], whole)
    leaves = max(free, min(stays[who, here, step, 2] + pet_zero_min, start - whole))
    if here == place and leaves > free:
        spans[who, count, 0], spans[who, count, 1] = free, leaves
        count += 1
    begin = leaves if way[0, step, ONLY_OVER] == here else leaves + to_wait
    end = start if waits_at == there else start - (whole - to_wait)
    if waits_at == place and end > begin:
        spans[who, count, 0], spans[who, count, 1] = begin, end
        count += 1
    if there == place:
        spans[who, count, 0], spans[who, count, 1] = start, finish
        count += 1
    return count


@inner
def is_standing(way: np.ndarray, stays: np.ndarray, home_min: np.ndarray, lanes: np.ndarray,
                sizes: np.ndarray, starts: np.ndarray, finishes: np.ndarray, pet_zero_min: float,
                airlock: int, who: int, place: int, at_min: float) -> bool:
    """Whether someone is at a place at that minute; those of coming and leaving count."""
    spans, here, free = np.empty((2, 3, 2)), airlock, pet_zero_min
    for number in range(sizes[who]):
        step = lanes[who, number]
        if free <= at_min <= finishes[step]:
            for row in range(_stays_at(way, stays, who, here, step, place, free, starts[step], finishes[step],
                                       pet_zero_min, spans)):
                if spans[who, row, 0] <= at_min <= spans[who, row, 1]:
                    return True
        here, free = way[0, step, PLACE], finishes[step]
    return bool(place == airlock and free + home_min[who, here] <= at_min)


@inner
def crowded(narrow: np.ndarray, way: np.ndarray, about: np.ndarray, stays: np.ndarray, lanes: np.ndarray,
            sizes: np.ndarray, starts: np.ndarray, finishes: np.ndarray, pet_zero_min: float, airlock: int,
            stops: bool) -> int:
    """How often two are at once where one has room."""
    count, spans = 0, np.empty((2, 3, 2))
    for row in range(len(narrow)):
        place = narrow[row]
        if stops and about[CROWDED, place]:
            continue
        here, free = airlock, pet_zero_min
        for number in range(sizes[0]):
            one = lanes[0, number]
            there, ready = airlock, pet_zero_min
            for turn in range(sizes[1] if place in (way[0, one, PLACE], way[0, one, WAITS_AT]) else 0):
                other = lanes[1, turn]
                if (one != other and free < finishes[other] and ready < finishes[one]
                        and place in (way[0, other, PLACE], way[0, other, WAITS_AT])):
                    mine = _stays_at(way, stays, 0, here, one, place, free, starts[one], finishes[one],
                                     pet_zero_min, spans)
                    theirs = _stays_at(way, stays, 1, there, other, place, ready, starts[other],
                                       finishes[other], pet_zero_min, spans)
                    meet = False
                    for a in range(mine):
                        for b in range(theirs):
                            if max(spans[0, a, 0], spans[1, b, 0]) < min(spans[0, a, 1], spans[1, b, 1]):
                                meet = True
                    if meet:
                        count += 1
                there, ready = way[0, other, PLACE], finishes[other]
            here, free = way[0, one, PLACE], finishes[one]
    return count
