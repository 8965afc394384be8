"""The rules of `planning_kit.explore.propose.order_screen` as numbers; those of times and places, compiled.

Names are numbers here (`planning_kit.explore.propose.screen_arrays`): a "where" is a place (the first
numbers), inside, someone, or an item (the last numbers) that others are in. Items are asked about in
`planning_kit.explore.propose.screen_kernel`.
"""

from typing import NamedTuple

import numpy as np

from planning_kit.plan.order_kernel import Lists, compiled

UNKNOWN, NO = -1, -1
"""The answer; and no item, no place, nobody, no way."""
# What ``one`` has.
ASKED, AIRLOCK, INSIDE, EV1, EV2, FIRST_ITEM, PLACES, ALL_TRADED = range(8)
# Columns of ``step``, whoever does it; of ``way``, as written and traded; of ``moves``; of ``items``.
PLACE, WHERE, WAITS_AT, ONLY_OVER, FOOTHOLD, USES, USES_END = range(7)
PEOPLE, HOOKS, OTHERS, TAKES, LEAVES, LEAVES_END = 0, 2, 4, 6, 7, 8
AT, IS_FOOTHOLD, END_AT, TOUCHED, TOUCHED_END = range(5)
# Rows of ``let_go``, by the number of what it is about.
LAST_START, WINDOW, REACH, STILL_HOOKED, CROWDED, OVERLOADED, ENDS, MISHAP = range(8)
_SAME_MIN, _LONGEST_LINE = 1e-6, 500


class Rules(NamedTuple):
    """The rules of n steps, i items and p places for two crew members; minutes, and numbers of wheres.

    ``one``: single numbers, by the names above, such as whether it is asked here at all; ``kept`` are the
    steps of tasks that are not left out, ``acting`` those of them that touch items. ``step`` (n, 7), ``way``
    (2, n, 9), ``items`` (i, 5) by the columns above, ``USES``, ``TAKES``, ``TOUCHED`` as rows of ``uses``
    (items), ``moves`` (item, person, place or bag, bag or `NO`, is inside as good) and ``touching`` (steps).
    ``clash`` (n, n): whether two touch one item, ``waits`` (n, n): whether one waits for another.
    ``unsure_slots`` and ``unsure_m``: so near its limit a sum is not sure. An inhibit has its steps in ``held``.
    ``stays`` (2, p, n, 3): the way from a place into a step, its part to where they wait, and when it opens;
    ``home_min`` (2, p). ``stops`` by step, and home, the places that a walk into it leads over; ``paths`` by
    person, place and place, the places that follow on the way, with the metres of each leg.
    """

    one: np.ndarray
    kept: np.ndarray
    acting: np.ndarray
    minutes: np.ndarray
    step: np.ndarray
    way: np.ndarray
    moves: np.ndarray
    uses: np.ndarray
    items: np.ndarray
    touching: np.ndarray
    slots: np.ndarray
    room: np.ndarray
    unsure_slots: float
    has_socket: np.ndarray
    clash: np.ndarray
    waits: np.ndarray
    begins: Lists
    held: np.ndarray
    lead_min: np.ndarray
    windows: Lists
    narrow: np.ndarray
    let_go: np.ndarray
    stays: np.ndarray
    home_min: np.ndarray
    tether_m: np.ndarray
    unsure_m: float
    stops: Lists
    paths: Lists


class Order(NamedTuple):
    """What is asked about, as `count_broken` has it."""

    lanes: np.ndarray
    sizes: np.ndarray
    is_traded: np.ndarray
    starts: np.ndarray
    finishes: np.ndarray
    pet_zero_min: float


@compiled
def late(rules: Rules, order: Order, stops: bool) -> int:
    """How many tasks begin after their last start, and inhibits lie in no window."""
    count, begins, windows = 0, rules.begins, rules.windows
    for task in range(len(begins.first) - 1):
        low, high = begins.first[task], begins.first[task + 1]
        if low == high or (stops and rules.let_go[LAST_START, task]):
            continue
        first_min = np.inf
        for step in begins.numbers[low:high]:
            first_min = min(first_min, order.starts[step])
        # The limit stands beside each step of the task.
        count += first_min > order.pet_zero_min + begins.minutes[low] + _SAME_MIN
    for row in range(len(rules.held)):
        first, last = rules.held[row]
        begin_min, end_min = order.starts[first] - rules.lead_min[row], order.finishes[last]
        is_kept = stops and rules.let_go[WINDOW, row]
        for at in range(windows.first[row], windows.first[row + 1], 2):
            is_kept = is_kept or (windows.minutes[at] <= begin_min + _SAME_MIN
                                  and end_min <= windows.minutes[at + 1] + _SAME_MIN)
        count += not is_kept
    return count


@compiled
def _is_too_far(rules: Rules, who: int, row: int, line: np.ndarray, out_m: np.ndarray, length: int,
                most_m: float) -> tuple[int, bool]:
    """Lay a line along the walk over the stops of ``row``: its length then, and whether it was too long."""
    paths, places, reach_m, is_sure = rules.paths, rules.one[PLACES], out_m[length - 1], True
    for stop in rules.stops.numbers[rules.stops.first[row]:rules.stops.first[row + 1]]:
        path = (who * places + line[length - 1]) * places + stop
        for at in range(paths.first[path], paths.first[path + 1]):
            if paths.numbers[at] == NO:
                return UNKNOWN, False
            # As in `planning_kit.plan.tether_lines.after_leg`.
            if length > 1 and line[length - 2] == paths.numbers[at]:
                length -= 1
                continue
            if length == len(line):
                return UNKNOWN, False
            line[length], out_m[length] = paths.numbers[at], out_m[length - 1] + paths.minutes[at]
            reach_m, length = max(reach_m, out_m[length]), length + 1
    is_sure = abs(reach_m - most_m) >= rules.unsure_m  # Python may add up otherwise
    return length if is_sure else UNKNOWN, reach_m > most_m


@compiled
def pulled(rules: Rules, order: Order, stops: bool) -> int:
    """How often a tether is too short for the way since its hook, or not at the airlock in the end."""
    count, is_known, home = 0, True, len(order.starts)
    line, out_m = np.empty(_LONGEST_LINE, np.int64), np.zeros(_LONGEST_LINE)
    for who in range(2):
        is_own = True
        for step in rules.kept:
            if rules.way[int(order.is_traded[step]), step, OTHERS + who]:
                is_own = False
        if not is_own:  # somebody else moves the hook: it hangs on when
            is_known = False
            continue
        line[0], length = rules.one[AIRLOCK], 1
        for number in range(order.sizes[who] + 1):
            step = order.lanes[who, number] if number < order.sizes[who] else home
            length, is_too_far = _is_too_far(rules, who, step, line, out_m, length, rules.tether_m[who])
            if length == UNKNOWN:
                is_known = False
                break
            if is_too_far and not (stops and rules.let_go[REACH, line[0]]):
                count += 1
            hook = NO if step == home else rules.way[int(order.is_traded[step]), step, HOOKS + who]
            if hook != NO:
                line[0], length = hook, 1
        if length != UNKNOWN and line[0] != rules.one[AIRLOCK] and not (
                stops and rules.let_go[STILL_HOOKED, line[0]]):
            count += 1
    return count if is_known or (stops and count) else UNKNOWN


# --- where people are -------------------------------------------------------------------------------------


@compiled
def _stays_at(rules: Rules, order: Order, who: int, before: int, step: int, place: int,
              spans: np.ndarray) -> int:
    """Fill ``spans`` (3, 2) with when someone is at a place from the end of one step to that of the next."""
    here = rules.step[before, PLACE] if before >= 0 else rules.one[AIRLOCK]
    free = order.finishes[before] if before >= 0 else order.pet_zero_min
    way = rules.stays[who, here, step]
    if np.isnan(way[0]):
        return UNKNOWN
    # As in `planning_kit.plan.activities.walked_in`.
    start, there = order.starts[step], rules.step[step, PLACE]
    whole = max(0.0, min(way[0], start - free))
    to_wait = min(way[1], whole)
    leaves = max(free, min(way[2] + order.pet_zero_min, start - whole))
    count = 0
    if here == place and leaves > free:
        spans[count, 0], spans[count, 1] = free, leaves
        count += 1
    begin = leaves if rules.step[step, ONLY_OVER] == here else leaves + to_wait
    end = start if rules.step[step, WAITS_AT] == there else start - (whole - to_wait)
    if rules.step[step, WAITS_AT] == place and end > begin:
        spans[count, 0], spans[count, 1] = begin, end
        count += 1
    if there == place:
        spans[count, 0], spans[count, 1] = start, order.finishes[step]
        count += 1
    return count


@compiled
def is_standing(rules: Rules, order: Order, who: int, place: int, at_min: float) -> int:
    """1 where someone is at a place at that minute, its ends included, else 0, or `UNKNOWN`."""
    spans, before, free = np.empty((3, 2)), -1, order.pet_zero_min
    for step in order.lanes[who, :order.sizes[who]]:
        if free <= at_min <= order.finishes[step]:
            found = _stays_at(rules, order, who, before, step, place, spans)
            if found == UNKNOWN:
                return UNKNOWN
            for row in range(found):
                if spans[row, 0] <= at_min <= spans[row, 1]:
                    return 1
        before, free = step, order.finishes[step]
    if place != rules.one[AIRLOCK]:
        return 0
    home_min = rules.home_min[who, rules.step[before, PLACE] if before >= 0 else place]
    return UNKNOWN if np.isnan(home_min) else int(free + home_min <= at_min)


@compiled
def crowded(rules: Rules, order: Order, stops: bool) -> int:
    """How often two are at once where one has room."""
    count, is_known = 0, True
    mine, theirs = np.empty((3, 2)), np.empty((3, 2))
    for place in rules.narrow:
        if stops and rules.let_go[CROWDED, place]:
            continue
        before = -1
        for one in order.lanes[0, :order.sizes[0]]:
            ahead, free = -1, order.finishes[before] if before >= 0 else order.pet_zero_min
            mines, others = NO, NO
            for other in order.lanes[1, :order.sizes[1]]:
                ready = order.finishes[ahead] if ahead >= 0 else order.pet_zero_min
                if (one != other and free < order.finishes[other] and ready < order.finishes[one]
                        and (rules.step[one, PLACE] == place or rules.step[one, WAITS_AT] == place)
                        and (rules.step[other, PLACE] == place or rules.step[other, WAITS_AT] == place)):
                    mines = _stays_at(rules, order, 0, before, one, place, mine)
                    others = _stays_at(rules, order, 1, ahead, other, place, theirs)
                    is_known = is_known and mines != UNKNOWN and others != UNKNOWN
                    meet = False
                    for a in range(mines):
                        for b in range(others):
                            meet = meet or max(mine[a, 0], theirs[b, 0]) < min(mine[a, 1], theirs[b, 1])
                    count += meet
                ahead = other
            before = one
    return count if is_known or (stops and count) else UNKNOWN
