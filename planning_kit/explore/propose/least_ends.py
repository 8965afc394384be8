"""The least that one crew member's work can take, whatever the partner does: what makes proofs short.

One lane alone is a round trip with precedence and windows, from the airlock and back. The state of a
dynamic programme over it is the set of steps done and the last of them (Held and Karp 1962, "A dynamic
programming approach to sequencing problems"; only sets closed under precedence are ever reached), its value
the earliest finish. States are expanded in the order of a least end of the whole (A*: Hart, Nilsson and
Raphael 1968): finish so far, plus the work left, plus the least walk that is left. The least walk forgets the
windows, and then whoever stands at a place does all that can be done there before leaving (doing it later
costs as much work and no less walk), so that few states are left.

When the states run out the least end among those still open is a bound all the same, and where no more walks
are remembered the way to the farthest step and home stands for the rest. Neglected: the partner, hardware,
gaps, limits, what one of them does for a task that may be traded; each of them can only make the true end
later. `add_lane_bounds` tells the solver.

`what_binds` tells people, exactly, with the least ends of all rules without an order of work (a longest path)
and of steps that have an item in turn. Neglected: room, tethers, hand-overs, bags.
"""

import heapq
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from math import isnan

import numpy as np

from planning_kit.explore.propose.order_model import start_windows, ticks_up
from planning_kit.explore.propose.order_problem import Problem
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.propose.timed_rules import lane_way
from planning_kit.explore.propose.untimed_rules import inhibit_windows
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.plan import network as kinds
from planning_kit.plan.build import allowed_windows, build_network, hatch_releases, step_demands, stops_into
from planning_kit.plan.network import (
    GRID_MIN,
    Bound,
    Demand,
    Group,
    Home,
    Network,
    Release,
    grouped,
    mirrored,
)
from planning_kit.plan.slack import find_holders
from planning_kit.plan.timing import earliest_starts

_LOOK_EVERY = 500
_NEVER = 1 << 50
_MOST_BEHIND = 2
_exactly = partial(ticks_up, per_min=round(1 / GRID_MIN))
Told = tuple[float, str, dict[str, float], list[str]]  # a least end, of what, its parts (all min), in words
_EXPANDED, _REMEMBERED = 2_000, 10_000
"""States expanded and walks remembered for one unit of effort."""


@dataclass(frozen=True, eq=False)
class Trip:
    """The work of one lane, in ticks: ``before`` are the steps that precede each one, as bits.

    ``way[i][j]`` is the way from step i into step j, in row -1 from the airlock; ``home`` the way back, with
    ingress. ``starts`` are the ranges of ticks [first, last] that a step may start in (None: any). Steps of
    one ``spot`` are left and reached alike.
    """

    lengths: Sequence[int]
    way: Sequence[Sequence[int]]
    home: Sequence[int]
    before: Sequence[int]
    starts: Sequence[Sequence[tuple[int, int]] | None]
    spots: Sequence[str]

    @cached_property
    def stays(self) -> list[list[int]]:
        """For each step those that cost no walk when it was the last one."""
        numbers = range(len(self.lengths))
        return [[j for j in numbers if self.spots[i] == self.spots[j] and self.way[i][j] == 0]
                for i in numbers]

    @cached_property
    def waiting(self) -> list[int]:
        """The steps that may have to wait for a window."""
        return [j for j, ranges in enumerate(self.starts) if ranges is not None]

    @cached_property
    def behind(self) -> list[int]:
        """For each step the ticks from its start to the end that no order can spare."""
        # Which step is the last is open, and the shortest way home is never too long.
        return [self.lengths[j] + min(self.home) + sum(
            length for length, before in zip(self.lengths, self.before, strict=True) if before >> j & 1)
            for j in range(len(self.lengths))]

    def can_follow(self, done: int) -> list[int]:
        """The steps that may come next."""
        left = ~done
        return [j for j, before in enumerate(self.before) if left >> j & 1 and not before & left]


@dataclass(eq=False)
class LeastWalk:
    """The least walk left, home and ingress included, by what is done and where; see the module."""

    trip: Trip
    most_known: int
    is_over: Callable[[], bool]
    known: dict[tuple[int, str], int] = field(default_factory=dict)
    waits: dict[int, tuple[int, int]] = field(default_factory=dict)
    """By step when it was ready and began in its window, last first, once `least_end` has an order."""

    def left(self, done: int, last: int) -> int:
        """Ticks of walking left; -1 as ``last`` is the airlock."""
        trip = self.trip
        # Whoever stands at a place does all that can be done there before leaving.
        while last >= 0 and (here := [j for j in trip.stays[last]
                                      if not done >> j & 1 and not trip.before[j] & ~done]):
            done, last = done | sum(1 << j for j in here), here[-1]
        if done.bit_count() == len(trip.lengths):
            return trip.home[last] if trip.lengths else 0
        key = (done, trip.spots[last] if last >= 0 else "")
        if key not in self.known:
            if len(self.known) % _LOOK_EVERY == 1 and self.is_over():
                self.most_known = 0
            if len(self.known) >= self.most_known:
                return max(trip.way[last][j] + trip.home[j]
                           for j in range(len(trip.home)) if not done >> j & 1)
            nearest = {trip.spots[j]: j for j in sorted(
                trip.can_follow(done), key=trip.way[last].__getitem__, reverse=True)}
            self.known[key] = min((trip.way[last][j] + self.left(done | 1 << j, j)
                                   for j in reversed(nearest.values())), default=0)
        return self.known[key]


def least_end(walk: LeastWalk, enough: int, most: int) -> int:
    """The least ticks from PET 0 to inside; a bound where it reaches ``enough`` or ``most`` are expanded.

    ``enough`` itself where no order meets the windows.
    """
    trip = walk.trip
    work = sum(trip.lengths)
    least = work + walk.left(0, -1)
    # No window, no wait: work and the least walk are all of it.
    if not trip.waiting:
        return least
    # Of equal ends the state with the fewest steps left comes first: it is soonest a whole order.
    open_ones = [(least, len(trip.lengths), 0, 0, -1, work)]
    earliest: dict[tuple[int, int], int] = {}
    came_from: dict[tuple[int, int], tuple[int, int, int]] = {}
    expanded = 0
    while open_ones and least < enough:
        end, count_left, now, done, last, work_left = heapq.heappop(open_ones)
        least = max(least, end)
        if count_left == 0:
            while done:
                begun, (ready, *then_from) = earliest[done, last] - trip.lengths[last], came_from[done, last]
                walk.waits |= {last: (ready, begun)} if begun > ready else {}
                done, last = then_from
            return least  # no open state can end sooner
        if earliest.get((done, last), now) < now:
            continue  # the same work was done sooner in another order since this one was pushed
        expanded += 1
        if expanded > most or (expanded % _LOOK_EVERY == 0 and walk.is_over()):
            return least
        for j in trip.can_follow(done):
            start = _start(trip, j, now + trip.way[last][j])
            if start is None:
                continue
            then, key = start + trip.lengths[j], (done | 1 << j, j)
            if then < earliest.get(key, then + 1):  # of two orders of the same steps the sooner is enough
                earliest[key], came_from[key] = then, (now + trip.way[last][j], done, last)
                rest = work_left - trip.lengths[j]
                end = max(then + rest + walk.left(*key), _after_windows(trip, key[0], then))
                if end < _NEVER:
                    heapq.heappush(open_ones, (end, count_left - 1, then, *key, rest))
    return max(least, enough)


def _start(trip: Trip, step: int, ready: int) -> int | None:
    """The first tick from ``ready`` on at which the step may start."""
    ranges = trip.starts[step]
    if ranges is None:
        return ready
    return next((max(ready, first) for first, last in ranges if ready <= last), None)


def _after_windows(trip: Trip, done: int, now: int) -> int:
    """The least end because of a step that has to wait for its window, and of all that comes behind it."""
    starts = ((j, _start(trip, j, now)) for j in trip.waiting if not done >> j & 1)
    return max((_NEVER if start is None else start + trip.behind[j] for j, start in starts), default=0)


def add_lane_bounds(problem: Problem, done: Collection[str], enough: int, effort: float,
                    budget: Budget) -> int:
    """end - PET 0 >= the least end of each lane with the tasks ``done``; the greatest of these, in ticks.

    ``enough`` is the finish of an order that is known: no bound above it is wanted.
    """
    walks = (_walk_of(problem, who, done, effort, budget)[1] for who in problem.work.crews)
    bound = min(enough, max(least_end(walk, enough, round(_EXPANDED * effort)) for walk in walks))
    problem.model.cp.add(problem.end - problem.pet_zero >= bound)
    return bound


def _walk_of(problem: Problem, who: str, done: Collection[str], effort: float, budget: Budget,
             units: Callable[[float], int] = ticks_up) -> tuple[list[int], LeastWalk]:
    """The steps that are in a lane for certain when these tasks are done, not those that may be traded."""
    steps, sure = problem.work.steps, {*done} - problem.work.swappable
    own = [i for i in problem.positions[who] if steps[i].task in sure or (
        steps[i].task in done and steps[i].crew == BOTH)]
    numbers = [problem.numbers[who][i] for i in own]
    return own, LeastWalk(trip_of(problem, who, numbers, units), round(_REMEMBERED * effort), budget.is_over)


def trip_of(problem: Problem, who: str, numbers: Sequence[int],
            units: Callable[[float], int] = ticks_up) -> Trip:
    """The work of a lane with these members alone; precedence through the others stays."""
    work, way = problem.work, lane_way(problem, who, units)
    positions = [problem.positions[who][number] for number in numbers]
    guard_min, starts = work.records.settings.night_guard_s / 60, []
    # Windows that move, or that a step is let off, hold nobody.
    is_free = problem.freedom.earliest != problem.freedom.latest or problem.model.let_go
    for i in positions:
        windows = allowed_windows(step_demands(work.steps[i], problem.almanac, guard_min))
        starts.append(None if windows is None or is_free else start_windows(windows, work.minutes[i], units))
    # No route counts as no walk: too little, so that the bound is still safe.
    rows = [[way(a, b) or 0 for b in numbers] for a in (*numbers, -1)]
    return Trip(
        # Rounded as the model does, where the bound is one on its ticks.
        lengths=[units(work.minutes[i]) for i in positions], way=rows, starts=starts,
        home=[way(a, -1) or 0 for a in numbers], spots=[_spot(problem, i) for i in positions],
        before=[sum(1 << k for k, near in enumerate(positions) if near in problem.before[i])
                for i in positions])


def _spot(problem: Problem, position: int) -> str:
    """The place of a step; its own where the way into it is not that into the place."""
    step = problem.work.steps[position]
    is_plain = {*stops_into(step)} == {step.place} and not step.travel_extra_min
    return step.place if is_plain else f"for {step.step}"


def what_binds(problem: Problem, done: Collection[str], effort: float, budget: Budget) -> tuple[float, str]:
    """The greatest least end of an outing with the tasks ``done`` (min), and in words what binds."""
    network, found = _sure_network(problem, [step.task in done for step in problem.work.steps]), list[Told]()
    for who in problem.work.crews:
        own, walk = _walk_of(problem, who, done, effort, budget, _exactly)
        ticks = least_end(walk, _NEVER, round(_EXPANDED * effort)), sum(walk.trip.lengths), walk.left(0, -1)
        end, work, ways = (each * GRID_MIN for each in ticks)
        parts = {"work": work, "ways and ingress": ways, "waits for windows": end - work - ways}
        found.append((end, f"the lane of {who}", parts, [
            _wait_words(problem, own[j], ready * GRID_MIN, start * GRID_MIN)
            for j, (ready, start) in reversed(walk.waits.items())]))
    starts = earliest_starts(network, np.array(problem.work.minutes))
    if network.homes and np.isfinite(starts).all():
        found += [_chain(problem, network, starts), *_items(problem, network, starts)]
    (most, name, parts_min, words), *others = sorted(found, key=lambda each: -each[0])
    told = ", ".join([*(f"{part} {minutes:.1f}" for part, minutes in parts_min.items() if minutes), *words])
    behind = "; ".join(f"{each[1]} {number_label(each[0], 'down')}" for each in others[:_MOST_BEHIND])
    return most, f"{name} alone needs {number_label(most, 'down')} min ({told}), behind it {behind}"


def _wait_words(problem: Problem, position: int, ready_min: float, start_min: float,
                groups: Sequence[Group] = ()) -> str:
    step, guard_min = problem.work.steps[position], problem.work.records.settings.night_guard_s / 60
    demands = *step_demands(step, problem.almanac, guard_min), *(
        each.demand for each in groups if position in each.members)
    names = " and ".join(dict.fromkeys(each.title_at(start_min) for each in demands))
    return f"{step.step} waits from {pet_label(ready_min)} to {pet_label(start_min)} for {names}"


def _inhibit_groups(problem: Problem) -> Iterator[Group]:
    """What begins and what ends an inhibit with a window lies in one of these, less the lead."""
    index = problem.work.index
    for each in problem.work.records.inhibits:
        members = tuple({index[each.from_step]: 0, index[each.until_step]: 0})
        # Only where one is over before the other does the window of one say something of both.
        if each.window and (len(members) == 1 or members[0] in problem.before[members[1]]):
            windows = np.add(inhibit_windows(problem, each), (each.lead_min, 0.0))
            yield Group(each.inhibit, members, Demand.of(
                kinds.LIGHT, f"inhibit {each.inhibit} in a {each.window}", windows,
                windows[windows[:, 0] < windows[:, 1]]))


def _sure_network(problem: Problem, sure: Sequence[bool]) -> Network:
    """What every order of the ``sure`` steps keeps; the others wait for nothing."""
    work, network = problem.work, build_network(problem.work.records, problem.almanac, problem.travels)
    lanes = [(lane_way(problem, who, _exactly), own) for who, own in problem.numbers.items()]
    has_windows, numbers = problem.freedom.earliest == problem.freedom.latest, range(len(sure))

    def way_min(a: int, b: int) -> float:
        """The least of whoever may do both; 0 unless one does, whatever is traded."""
        one, other = work.steps[a], work.steps[b]
        is_by_one = -1 in (a, b) or BOTH in (one.crew, other.crew) or (one.crew == other.crew and (
            one.task == other.task or work.swappable.isdisjoint({one.task, other.task})))
        return GRID_MIN * min((way(own[a], own[b]) or 0 for way, own in lanes
                               if is_by_one and a in own and b in own), default=0)

    out_min, groups = dict[int, float](), (*network.groups, *_inhibit_groups(problem))
    for each in hatch_releases(work.records.settings, work.steps, problem.positions, problem.travels):
        out_min[each.step] = min(each.at_min, out_min.get(each.step, each.at_min))  # whoever is there first
    bounds = [each for each in (*network.bounds, *problem.more_bounds) if each.kind != kinds.ORDER]
    bounds += [Bound(a, b, kinds.ORDER, "", way_min(a, b)) for b in numbers for a in problem.before[b]]
    return replace(
        network, late=(), ends_min=0.0, group_windows=(),
        releases=(*(Release(i, way_min(-1, i)) for i in numbers),
                  *(Release(i, at_min, kind=kinds.HATCH, name="hatch") for i, at_min in out_min.items())),
        homes=tuple(Home("", i, way_min(i, -1)) for i, step in enumerate(work.steps)
                    if sure[i] and step.crew in {BOTH, *work.crews}),
        bounds=tuple(each for each in bounds if sure[each.before] and sure[each.after]),
        allowed=tuple(each if has_windows and sure[i] else None for i, each in enumerate(network.allowed)),
        groups=tuple(each for each in groups if has_windows and all(sure[i] for i in each.members)))


def _chain(problem: Problem, network: Network, starts: np.ndarray) -> Told:
    """The longest path, with its waits for windows and its gaps."""
    minutes, words = np.array(problem.work.minutes), list[str]()
    end, at = max((starts[h.last] + minutes[h.last] + h.travel_min, h.last) for h in network.homes)
    holders = find_holders(network, minutes, starts).chosen
    while at >= 0:
        holder, name = holders[at], network.steps[at]
        if holder.bound and holder.kind != kinds.ORDER and (gap := holder.bound.fixed_min):
            far = f"at least {gap:g} min behind" if gap > 0 else f"at most {-gap:g} min before"
            name += f" {far} {network.steps[holder.source]}"
        if holder.kind == kinds.HATCH:
            name += f" not before {pet_label(float(starts[at]), 'down')} (hatch)"
        words.insert(0, name if isnan(holder.ready_min) else _wait_words(
            problem, at, holder.ready_min, float(starts[at]), network.groups))
        at = holder.source
    return float(end), "the chain of rules", {}, words


def _items(problem: Problem, network: Network, starts: np.ndarray) -> Iterator[Told]:
    """The steps that have an item in turn, from the first start of any to the least time behind any."""
    steps, minutes, sure = problem.work.steps, np.array(problem.work.minutes), [h.last for h in network.homes]
    items, crews = {item.item for item in problem.work.records.hardware}, {*problem.work.crews}
    free = replace(network, allowed=(), groups=(), group_windows=())
    behind = earliest_starts(mirrored(free, 0.0), minutes)
    for chain in (each for each in problem.chains if each.name in items):
        moving = {problem.work.number(event.step) for event in chain.events} & {*sure}
        needing = grouped(((steps[i].place, steps[i].crew, steps[i].task), i) for i in sure
                          if i not in moving and chain.name in steps[i].touches)
        # Two may have it at one place at once: there one's work for one task counts, the longest.
        most = {place: own for (place, *_), own in sorted(needing.items(), key=lambda e: minutes[e[1]].sum())}
        users = [*moving, *(i for own in most.values() for i in own)]
        # From hand to hand, or in a bag, no walk is sure.
        if len(users) > 1 and chain.initial not in items and (items | crews).isdisjoint(
                event.after for event in chain.events if event.at_finish):
            way = max(min(each.time_min(steps[a].place, steps[b].place) for each in problem.travels.values())
                      for a in users for b in users)
            parts = {"before": min(starts[users]), "work": minutes[users].sum(), "ways": way,
                     "behind": min(behind[users])}
            yield float(sum(parts.values())), f"{chain.name}, had in turn,", parts, []
