"""The plan that breaks least: which rules give way, and by how much, where no plan keeps them all.

Never give way: the order of work, travel, the two of a step of both, durations, PET 0 and now. The rest gives
way by classes (`GIVING_WAY`, or as the scenario says), the first soonest. From the last class to the first,
all classes before it out of the way: the least amount by which all rules of the class, relaxed by it, leave a
plan; then row by row down to its own least. The earliest plan of what is left is the plan. Amounts are
minutes, rounded up to a tenth.

Relaxed by v minutes a bound may be missed by v, a window is v longer at each end, and a guard v less. A rule
that has no window at all (a named period not known for that day) is let go: its amount is infinite.

Every question is one timing of a relaxed network, which is monotone: so the amounts are exact, to a tenth.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from planning_kit.inputs.fields import GIVING_WAY
from planning_kit.inputs.records import Records
from planning_kit.plan import network as kinds
from planning_kit.plan.late import planned_starts
from planning_kit.plan.network import GRID_MIN, Bound, Broken, Demand, Network, on_grid
from planning_kit.plan.timing import earliest_starts, outing_end
from planning_kit.sky.windows import shrink

GUARD, SAME_WINDOW, NAMED = "night_guard", "same_window", "windows"
TENTHS = 10
_WINDOWED = (kinds.LINK, kinds.LIGHT, kinds.WINDOW)
Windows = np.ndarray


@dataclass(frozen=True)
class Rule:
    """One rule that may give way: of a step or group (its position), a bound (its position), or a demand.

    ``label`` tells the named windows of one step apart.
    """

    kind: str
    number: int
    label: str = ""


Amounts = dict[Rule, float]
"""Minutes that each rule gives way; inf where it is let go."""


class GivesWay(Exception):  # noqa: N818 - an answer, not an error
    """No plan keeps all rules, and the one that breaks least was not asked for."""


LOG_SECOND_MIN = 1.0 / 60.0
"""What is called is logged to a second: a rule that is missed by less is not broken."""


def keeping_most(network: Network, durations: np.ndarray, hard_min: Callable[[Network, np.ndarray], float],
                 order: Sequence[str] = GIVING_WAY, is_soon: bool = False) -> tuple[Network, np.ndarray]:
    """The network and the starts of its plan where it has one; else with what gives way taken out.

    The latter takes many timings: raises `GivesWay` instead where it ``is_soon`` that an answer is wanted.

    ``durations`` (steps,) minutes; ``hard_min`` tells the hard limit of a network with its starts. Plans that
    end by it come first, whatever more they break; then any before the horizon; then any at all. The
    network's ``given_way`` holds what the starts break of the rules as they were.
    """
    starts = planned_starts(network, durations)
    if np.isfinite(starts).all():
        return network, starts
    if is_soon:
        raise GivesWay
    amounts, whole, longer_end_min = least_amounts(network, durations, hard_min, order)
    kept = relaxed(whole, amounts)
    starts = planned_starts(kept, durations)
    broken = tuple(broken_rules(network, range(len(starts)), starts, durations, GRID_MIN))
    return replace(kept, given_way=broken, whole=network, longer_end_min=longer_end_min), starts


def gives_way_order(records: Records) -> tuple[str, ...]:
    """What gives way, the soonest first: as the scenario says, else as usual."""
    return records.settings.gives_way.order if records.settings.gives_way else GIVING_WAY


def least_amounts(network: Network, durations: np.ndarray, hard_min: Callable[[Network, np.ndarray], float],
                  order: Sequence[str] = GIVING_WAY) -> tuple[Amounts, Network, float]:
    """By how much each rule gives way, and the network with the horizon that this needs.

    Third the end (PET) of the plan that breaks less, where only the hard limit asks for these amounts: NaN
    where it does not. So to end by the limit work may leave its night though its own rule could be kept.
    """
    rules = _rules(network)
    free = dict.fromkeys((rule for kind in order for rule in rules[kind]), np.inf)
    classes = [rules[kind] for kind in reversed(order)]
    endless = replace(network, horizon_min=np.inf)
    loose = relaxed(endless, free)
    hard = hard_min(loose, earliest_starts(loose, durations))
    whole = network if _fits(relaxed(network, free), durations, np.inf) else endless
    amounts = _least(whole, durations, np.inf, classes, free)
    least = relaxed(whole, amounts)
    end = float(outing_end(least, earliest_starts(least, durations), durations))
    # Least of all and in time, it is the least of those that are in time.
    if end <= hard or not _fits(relaxed(network, free), durations, hard):
        return amounts, whole, np.nan
    pressed = _least(network, durations, hard, classes, free)
    return pressed, network, end if pressed != amounts else np.nan


def _fits(network: Network, durations: np.ndarray, limit_min: float) -> bool:
    return _fitting(network, durations, limit_min)[0]


def _fitting(network: Network, durations: np.ndarray, limit_min: float,
             not_before: np.ndarray | None = None) -> tuple[bool, np.ndarray]:
    """Whether there is a plan in time, and its starts; ``not_before``: starts of a looser network."""
    starts = earliest_starts(network, durations, not_before)
    does = bool(np.isfinite(starts).all()) and float(outing_end(network, starts, durations)) <= limit_min
    return does, starts


def _rules(network: Network) -> dict[str, list[Rule]]:
    """Every rule that may give way, by class, in row order."""
    found: dict[str, list[Rule]] = {kind: [] for kind in GIVING_WAY}
    for number, bound in enumerate(network.bounds):
        if bound.kind in (kinds.AFTER, kinds.MIN_GAP, kinds.MAX_GAP):
            found[bound.kind].append(Rule(bound.kind, number))
    for step, demands in enumerate(network.demands):
        for demand in demands:
            kind = NAMED if demand.kind == kinds.WINDOW else demand.kind
            found[kind].append(Rule(demand.kind, step, demand.label))
            if demand.guard_min > 0:
                found[GUARD].append(Rule(GUARD, step))
    found[SAME_WINDOW] = [Rule(SAME_WINDOW, number) for number in range(len(network.groups))]
    return found


def _least(network: Network, durations: np.ndarray, limit_min: float, classes: Sequence[Sequence[Rule]],
           free: Amounts) -> Amounts:
    """The least amounts, class by class, the first of ``classes`` first; the rest out of the way."""
    amounts = dict(free)
    starts = earliest_starts(relaxed(network, free), durations)
    # Relaxed by more than the whole outing a rule says nothing any more.
    last = float((starts + durations).max(initial=0.0))
    most = int(np.ceil(TENTHS * (max(last, limit_min if np.isfinite(limit_min) else last) + 1.0))) * 2
    floor = starts

    def least_tenths(rules: Sequence[Rule], high: int) -> int:
        """The least number of tenths, the same for all of these, where ``high`` does."""
        nonlocal floor
        low = -1
        while high - low > 1:
            middle = (low + high) // 2 if low >= 0 else 0
            tried = amounts | dict.fromkeys(rules, middle / TENTHS)
            # All that is tried is tighter than what fitted last: its starts are no earlier, and begin there.
            does, found = _fitting(relaxed(network, tried), durations, limit_min, floor)
            low, high, floor = (low, middle, found) if does else (middle, high, floor)
        return high

    for rules in classes:
        own = [rule for rule in rules if _can_be_kept(network, rule)]
        least = least_tenths(own, most)
        amounts |= dict.fromkeys(own, least / TENTHS)
        for rule in own if least else ():
            amounts[rule] = least_tenths([rule], least) / TENTHS
    return amounts


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
    left = [_wider(demand, amounts.get(Rule(GUARD, step), 0.0), wider) for demand in network.demands[step]
            if (wider := amounts.get(Rule(demand.kind, step, demand.label), 0.0)) < np.inf]
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
    return np.asarray(windows + np.array([-by, by]))


def _wider(demand: Demand, guard_less: float, wider: float) -> Windows:
    """The windows of a demand with less guard, each longer by ``wider`` at both ends: they may overlap."""
    if not guard_less and not wider:
        return demand.windows
    kept = demand.whole
    if guard_less < demand.guard_min:
        kept = shrink(demand.whole, demand.guard_min - guard_less, (0.0, demand.horizon_min))
    inward = Demand.of(demand.kind, demand.label, demand.whole, kept).windows
    return np.asarray(inward + on_grid(np.array([-wider, wider])))


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


def broken_rules(network: Network, steps: Collection[int], starts: np.ndarray, durations: np.ndarray,
                 tolerance_min: float) -> Iterator[Broken]:
    """The rules of ``network`` on these ``steps`` that the ``starts`` break by more than the tolerance.

    A group is broken, too, if only those of it that are not among the ``steps`` lie in another window.
    """
    lengths = on_grid(durations)
    for bound in network.bounds:
        if bound.after in steps:
            by = float(starts[bound.before] + bound.weight_min(lengths) - starts[bound.after])
            if by > tolerance_min:
                yield Broken(bound.after, by, bound)
    for release in network.releases:
        by = release.at_min - float(starts[release.step])
        if release.step in steps and by > tolerance_min:
            # As a bound of the step on itself: so callers tell one form of such rules.
            yield Broken(release.step, by, Bound(release.step, release.step, release.kind, release.name,
                                                 crew=release.crew))
    for step in sorted(steps):
        for demand in network.demands[step]:
            first, last = float(starts[step]), float(starts[step] + lengths[step])
            by = _outside(demand, first, last, tolerance_min)
            if by > tolerance_min:
                yield Broken(step, by, demand)
    for group in network.groups:
        members = list(group.members)
        if begun := [member for member in members if member in steps]:
            # Of all members, also those to come: a group is broken, too, if its rest lies in another window.
            first, last = float(starts[members].min()), float((starts[members] + lengths[members]).max())
            by = _outside(group.demand, first, last, tolerance_min)
            if by > tolerance_min:
                yield Broken(begun[0], by, group)


def _outside(demand: Demand, start: float, finish: float, tolerance_min: float) -> float:
    """How many minutes of [start, finish] stick out of the window that holds most of it."""
    window = demand.nearest(start, finish)
    if window is None:
        # Above the tolerance also for a step of no length: where there is no window it is broken.
        return max(finish - start, 2 * tolerance_min)
    return finish - start - (min(window[1], finish) - max(window[0], start))
