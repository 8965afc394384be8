"""The plan that breaks least: which rules give way, and by how much, where no plan keeps them all.

Never give way: the order of work, travel, the two of a step of both, durations, PET 0 and now. The rest gives
way by classes (`CLASSES`), the first soonest. From the last class to the first, all classes before it out of
the way: the least amount by which all rules of the class, relaxed by it, leave a plan; then row by row down
to its own least. The earliest plan of what is left is the plan. Amounts are minutes, rounded up to a tenth.

Relaxed by v minutes a bound may be missed by v, a window is v longer at each end, and a guard v less. A rule
that has no window at all (a named period not known for that day) is let go: its amount is infinite.

Every question is one timing of a relaxed network, which is monotone: so the amounts are exact, to a tenth.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import reduce

import numpy as np

from planning_kit.plan import network as kinds
from planning_kit.plan.network import Demand, GivenWay, Network, Rule, on_grid
from planning_kit.plan.timing import earliest_starts, outing_end
from planning_kit.sky.windows import shrink

GUARD, SAME_WINDOW = "night_guard", "same_window"
CLASSES = (GUARD, kinds.LINK, kinds.MIN_GAP, kinds.MAX_GAP, SAME_WINDOW, kinds.LIGHT, kinds.WINDOW,
           kinds.AFTER)
"""What gives way, soonest first."""
TENTHS = 10
_WINDOWED = (kinds.LINK, kinds.LIGHT, kinds.WINDOW)
Windows = np.ndarray


Amounts = Mapping[Rule, float]


def keeping_most(network: Network, durations: np.ndarray, hard_min: float,
                 order: Sequence[str] = CLASSES) -> Network:
    """The network itself where it has a plan, else with what gives way least taken out of its rules.

    ``durations`` (steps,) minutes. Plans that end by ``hard_min`` come first; then any before the horizon;
    then any at all. What gave way stands in ``given_way`` of the network.
    """
    if _fits(network, durations, np.inf):
        return network
    rules = {kind: [] for kind in order} | _rules(network)
    free = dict.fromkeys((rule for kind in order for rule in rules[kind]), np.inf)
    endless = replace(network, horizon_min=np.inf)
    for whole, limit in ((network, hard_min), (network, np.inf), (endless, np.inf)):
        if _fits(relaxed(whole, free), durations, limit):
            break
    amounts = _least(whole, durations, limit, [rules[kind] for kind in reversed(order)], free)
    given = tuple(GivenWay(rule, minutes) for kind in order for rule in rules[kind]
                  if (minutes := amounts[rule]) > 0)
    return replace(relaxed(whole, amounts), given_way=given)


def _fits(network: Network, durations: np.ndarray, limit_min: float) -> bool:
    starts = earliest_starts(network, durations)
    return bool(np.isfinite(starts).all()) and float(outing_end(network, starts, durations)) <= limit_min


def _rules(network: Network) -> dict[str, list[Rule]]:
    """Every rule that may give way, by class, in row order."""
    found: dict[str, list[Rule]] = {kind: [] for kind in CLASSES}
    for number, bound in enumerate(network.bounds):
        if bound.kind in (kinds.AFTER, kinds.MIN_GAP, kinds.MAX_GAP):
            found[bound.kind].append(Rule(bound.kind, number))
    for step, demands in enumerate(network.demands):
        for demand in demands:
            found[demand.kind].append(Rule(demand.kind, step, demand.label))
            if demand.guard_min > 0:
                found[GUARD].append(Rule(GUARD, step))
    found[SAME_WINDOW] = [Rule(SAME_WINDOW, number) for number in range(len(network.groups))]
    return found


def _least(network: Network, durations: np.ndarray, limit_min: float, classes: Sequence[Sequence[Rule]],
           free: Amounts) -> Amounts:
    """The least amounts, class by class, the first of ``classes`` made least first; the rest out of the way."""
    amounts = dict(free)
    starts = earliest_starts(relaxed(network, free), durations)
    # Relaxed by more than the whole outing a rule says nothing any more.
    last = float((starts + durations).max(initial=0.0))
    most = int(np.ceil(TENTHS * (max(last, limit_min if np.isfinite(limit_min) else last) + 1.0))) * 2

    def fits(changed: Amounts) -> bool:
        return _fits(relaxed(network, amounts | changed), durations, limit_min)

    for rules in classes:
        own = [rule for rule in rules if _can_be_kept(network, rule)]
        least = _least_tenths(lambda tenths, own=own: fits(dict.fromkeys(own, tenths / TENTHS)), most)
        amounts |= dict.fromkeys(own, least / TENTHS)
        for rule in own if least else ():
            amounts[rule] = _least_tenths(lambda tenths, rule=rule: fits({rule: tenths / TENTHS}),
                                          least) / TENTHS
    return amounts


def _least_tenths(fits: Callable[[int], bool], most: int) -> int:
    """The least number of tenths that fits, where ``most`` does and more never does harm."""
    low, high = -1, most
    if fits(0):
        return 0
    low = 0
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if fits(middle) else (middle, high)
    return high


def _can_be_kept(network: Network, rule: Rule) -> bool:
    """Whether there is any window to widen; other rules can always be kept by some amount."""
    if rule.kind == SAME_WINDOW:
        return bool(len(network.groups[rule.number].demand.whole))
    if rule.kind in _WINDOWED:
        return any(len(demand.whole) for demand in network.demands[rule.number]
                   if (demand.kind, demand.label) == (rule.kind, rule.label))
    return True


def relaxed(network: Network, amounts: Amounts) -> Network:
    """The network with each rule of ``amounts`` (minutes; inf: let go) relaxed by its amount."""
    bounds = []
    for number, bound in enumerate(network.bounds):
        minutes = amounts.get(Rule(bound.kind, number), 0.0)
        if minutes < np.inf:
            less = float(on_grid(bound.fixed_min - minutes)) if minutes else bound.fixed_min
            bounds.append(replace(bound, fixed_min=less) if minutes else bound)
    touched = {rule.number for rule, minutes in amounts.items()
               if minutes and rule.kind in (GUARD, *_WINDOWED)}
    allowed = tuple(_allowed(network, step, amounts) if step in touched else windows
                    for step, windows in enumerate(network.allowed))
    kept = [number for number in range(len(network.groups))
            if amounts.get(Rule(SAME_WINDOW, number), 0.0) < np.inf]
    groups = tuple(network.groups[number] for number in kept)
    return replace(network, bounds=tuple(bounds), allowed=allowed, groups=groups,
                   group_windows=tuple(_group_windows(network, number, amounts) for number in kept))


def _allowed(network: Network, step: int, amounts: Amounts) -> Windows | None:
    """What all demands of a step leave once each is relaxed; None where none is left."""
    left = []
    for demand in network.demands[step]:
        wider = amounts.get(Rule(demand.kind, step, demand.label), 0.0)
        if wider < np.inf:
            left.append(_wider(demand, amounts.get(Rule(GUARD, step), 0.0), wider))
    return reduce(_both, left) if left else None


def _group_windows(network: Network, number: int, amounts: Amounts) -> Windows:
    """The group's windows, as wide as its own amount and those of its members' light make them."""
    group, windows = network.groups[number], network.group_windows[number]
    light = [amounts.get(Rule(group.demand.kind, each, group.demand.label), 0.0) for each in group.members]
    guard = max((amounts.get(Rule(GUARD, each), 0.0) for each in group.members), default=0.0)
    # A member whose light is let go needs no window, and widens none.
    wider = amounts.get(Rule(SAME_WINDOW, number), 0.0) + max((each for each in light if each < np.inf),
                                                              default=0.0)
    if not wider and not guard:
        return windows
    if windows is group.demand.windows:
        return _wider(group.demand, guard, wider)
    by = wider + min(guard, group.demand.guard_min)
    return windows + np.array([-by, by])


def _wider(demand: Demand, guard_less: float, wider: float) -> Windows:
    """The windows of a demand with less guard, each longer by ``wider`` at both ends: they may overlap."""
    if not guard_less and not wider:
        return demand.windows
    kept = demand.whole
    if guard_less < demand.guard_min:
        kept = shrink(demand.whole, demand.guard_min - guard_less, (0.0, demand.horizon_min))
    inward = Demand.of(demand.kind, demand.label, demand.whole, kept).windows
    return inward + np.asarray(on_grid(np.array([-wider, wider])))


def _both(first: Windows, second: Windows) -> Windows:
    """Where one window of each holds, pair by pair: overlapping windows of one list are not joined.

    What lies within another pair is left out, so that begins and ends both rise.
    """
    begins = np.maximum(first[:, None, 0], second[None, :, 0]).ravel()
    ends = np.minimum(first[:, None, 1], second[None, :, 1]).ravel()
    pairs = sorted({(begin, -end) for begin, end in zip(begins.tolist(), ends.tolist(), strict=True)
                    if end >= begin})
    found: list[tuple[float, float]] = []
    for begin, minus_end in pairs:
        if not found or -minus_end > found[-1][1]:
            found.append((begin, -minus_end))
    return np.array(found).reshape(-1, 2)


def violations(given: Iterable[GivenWay], order: Sequence[str] = CLASSES) -> tuple[tuple[float, ...], ...]:
    """By class from the last to the first the amounts, largest first: the smaller, the better a plan is."""
    return tuple(tuple(sorted((each.minutes for each in given if each.rule.kind == kind), reverse=True))
                 for kind in reversed(order))
