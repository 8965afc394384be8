"""One sample of an outing, event by event, in plain Python: an independent judge of the samples in play.

Written from the rules: at each event the crew plans the rest by expected minutes, naively, rule by rule,
until nothing moves; whoever can begin and is due now begins. What can begin: all that it waits for is over
and all ways are walked, as drawn. What has no window left is begun as soon as that is seen. At the first
minute at which something is given up the past is kept, and the rest is played on without it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from planning_kit.changes.dropping import passed_through
from planning_kit.explore.odds.sampled_outing import Draws
from planning_kit.inputs.records import Records, Step, Task
from planning_kit.plan.build import build_network
from planning_kit.plan.network import MAX_GAP, ORDER, Bound, Network, Release, on_grid
from planning_kit.plan.timed import TimedPlan


def played_alone(network: Network, expected: np.ndarray, drawn: np.ndarray,
                 factors: Mapping[str, float] | None = None) -> list[float]:
    """Start of each step."""
    sample = OneSample(network, expected, drawn, factors or {})
    return sample.played()


def given_up_alone(plan: TimedPlan, draws: Draws,
                   sample: int) -> tuple[dict[str, str], dict[str, float], float]:
    """How each task is given up that is (dropped, or the step put back), starts by step, and the end."""
    factors = {crew: float(each[sample]) for crew, each in draws.travel.items()}
    drawn = {step.step: float(draws.durations[i, sample]) for i, step in enumerate(plan.steps)}
    records, given_up, now, past, late = _known(plan), {}, 0.0, dict[str, float](), set[str]()
    still = set[tuple[str, str]]()
    while True:
        network = build_network(records, plan.almanac, plan.travels)
        expected = np.array([step.minutes_likely for step in records.steps])
        ends = [_window_end(plan, step.step) if network.allowed[i] is not None or network.groups_of[i]
                else np.inf for i, step in enumerate(records.steps)]
        lengths = np.array([drawn[step.step] for step in records.steps])
        one = OneSample(network, expected, lengths, factors, ends)
        one.starts = {i: past[step.step] for i, step in enumerate(records.steps) if step.step in past}
        starts = one.played(now)
        found = [each for task in records.tasks if task.task not in given_up
                 for each in _reasons(plan, records, task, one)]
        if not found:
            by_step = {step.step: start for step, start in zip(records.steps, starts, strict=True)}
            end = one.end(np.inf)
            for home in network.homes:
                if home.crew in late:
                    end = max(end, now + home.travel_min * factors[home.crew] + network.ends_min)
            return given_up, by_step, end
        now, name, step = min((max(at, now), name, step) for at, name, step in found)
        past = {each.step: start for each, start in zip(records.steps, starts, strict=True) if start < now}
        while name:
            whole = [each for each in records.steps if each.task == name]
            own = [each for each in whole if each.step not in past]
            suited = [each.step for each in own if set(each.people) & set(plan.travels)]
            back, home = "", set[str]()
            if len(own) < len(whole) and suited:
                home = _way_home(whole, past)
                on_the_way = [other for other in suited if other not in home]
                back = step if step in suited else (on_the_way or suited)[0]
                drawn[back] = float(_put_back(records, name))
            given_up[name] = back or "dropped"
            gone = {each.step for each in own} - home - {back}
            gone |= {back} if back and not drawn[back] else set()
            late |= {who for each in own if each.step in gone for who in each.people}
            lost = _items(each for each in own if each.step in gone | {back})
            still |= {(each.step, item) for each in own for item in each.touches
                      if each.step in gone | {back} or item in lost}
            records = _without(records, gone, back, drawn)
            # What now misses an item goes with its task: the first of it in the order of the plan, and so on.
            step, name = "", ""
            for each in _missing_an_item(plan, still):
                whole = {other.step for other in records.steps if other.task == each.task}
                if each.task not in given_up and each.step not in past and (
                        not whole & past.keys() or _put_back(records, each.task) is not None):
                    name = each.task
                    break


def _known(plan: TimedPlan) -> Records:
    """The records; a named period that is over by PET 0 is not known for the day, and holds no step."""
    records = plan.scenario.records
    known = {each.window for each in records.windows if each.end > plan.pet_zero}
    return replace(records, steps=tuple(replace(step, windows=tuple(set(step.windows) & known))
                                        for step in records.steps))


def _items(steps: Iterable[Step]) -> set[str]:
    return {move.item for step in steps for move in (*step.takes, *step.leaves)}


def _way_home(steps: Sequence[Step], past: Collection[str]) -> set[str]:
    """What each does last for a task, if it only takes, leaves or hooks, and brings home what is out."""
    last = []
    for who in ("EV1", "EV2"):
        for step in reversed(steps):
            if who in step.people:
                is_work = step.uses or step.foothold or step.same_window or step.windows
                is_work = is_work or step.light != "any"
                if is_work or not (step.takes or step.leaves or step.hooks):
                    break
                last.append(step)
    last = [step for step in last if step.step not in past]
    out = _items(step for step in steps if step.step in past)
    out -= _items(step for step in steps if step.step not in past and step not in last)
    hooked = {who for step in steps if step.step in past for who in step.hooks}
    return {step.step for step in last if out & _items([step]) or hooked & set(step.hooks)}


def _missing_an_item(plan: TimedPlan, still: set[tuple[str, str]]) -> list[Step]:
    """Steps, in the order of the plan, that miss an item if what is ``still`` is not touched (FORMAT.md)."""
    times = {step.step: (start, finish) for step, start, finish in plan.each_step()}
    order = sorted(plan.steps, key=lambda step: times[step.step][0])
    events = []  # at one minute: what ends, then what begins in its order, a step of no minutes at once
    for number, step in enumerate(order):
        start, finish = times[step.step]
        row = plan.position(step.step)
        events.append((start, 1, row, 0, number))
        events.append((finish, 0 if finish > start else 1, row, 1, number))
    airlock, crew = plan.scenario.settings.airlock_place, list(plan.travels)
    items = {item.item: item for item in plan.scenario.records.hardware}
    as_planned = {name: item.at for name, item in items.items()}
    as_it_is, missing = dict(as_planned), set()

    def chain(where: dict[str, str], name: str) -> list[str]:
        found = [where[name]]
        while found[-1] in where:
            found.append(where[found[-1]])
        return found

    for _, _, _, is_finish, number in sorted(events):
        step = order[number]
        for move in step.leaves if is_finish else step.takes:
            to = (move.into or step.where) if is_finish else (move.crew or step.crew)
            ours, theirs = chain(as_it_is, move.item), chain(as_planned, move.item)
            as_planned[move.item] = to
            if (step.step, move.item) in still:
                continue
            if (ours[0], ours[-1]) == (theirs[0], theirs[-1]):
                as_it_is[move.item] = to
                continue
            end = items[move.item].end_at
            has_ended = len(ours) == 1 and end and (
                ours[0] == end or (end == "inside" and ours[0] in ("inside", airlock, *crew)))
            if not is_finish and not has_ended:
                missing.add(step.step)
        if is_finish:
            continue
        for name in step.uses:
            if (step.step, name) in still:
                continue
            ours, theirs = chain(as_it_is, name), chain(as_planned, name)
            at_hand = {step.place or "inside", *step.people}
            if (ours[0], ours[-1]) != (theirs[0], theirs[-1]) and ours[-1] not in at_hand:
                missing.add(step.step)
        if step.foothold and (step.step, step.foothold) not in still:
            ours, theirs = chain(as_it_is, step.foothold), chain(as_planned, step.foothold)
            if (ours[0], ours[-1]) != (theirs[0], theirs[-1]):
                missing.add(step.step)
    return [step for step in order if step.step in missing]


def _window_end(plan: TimedPlan, step: str) -> float:
    i = plan.position(step)
    ends = [np.inf]
    network = plan.network
    for windows in [network.allowed[i], *(network.group_windows[g] for g in network.groups_of[i])]:
        if windows is not None:
            ends.append(next(high for low, high in windows.tolist() if low <= plan.starts[i] <= high))
    return min(ends)


def _put_back(records: Records, name: str) -> float | None:
    task = next(each for each in records.tasks if each.task == name)
    safe = [step.safe_orderly_min for step in records.steps if step.task == name]
    return task.put_back_min if task.put_back_min is not None else max(
        (each for each in safe if each is not None), default=None)


def _without(records: Records, gone: set[str], back: str, drawn: Mapping[str, float]) -> Records:
    after = passed_through(records, frozenset(gone))
    steps = []
    for step in records.steps:
        if step.step in gone:
            continue
        if step.step == back:
            step = replace(step, light="", link="", same_window="", windows=(), minutes_low=drawn[back],
                           minutes_likely=drawn[back], minutes_high=drawn[back])
        steps.append(replace(step, after=after[step.step]))
    gaps = tuple(gap for gap in records.gaps if not (gone | {back}) & {gap.first_step, gap.then_step})
    return replace(records, steps=tuple(steps), gaps=gaps)


def _reasons(plan: TimedPlan, records: Records, task: Task, one: OneSample) -> list[tuple[float, str, str]]:
    """Minutes at which this task is given up, with the step for which it is."""
    rows = [i for i, step in enumerate(records.steps) if step.task == task.task]
    if not rows:
        return []
    found, starts = [], one.starts
    begins = min(starts[i] for i in rows)
    if task.last_start_min is not None:
        last = float(on_grid(task.last_start_min))
        if begins > last:
            found.append((last, rows[0]))
        roots = [i for i in rows if not any(b.before in rows and not one.looks_ahead(b)
                                            for b in one.network.bounds_into[i])]
        seen = max(one.seen_late(i, last) for i in roots)
        if seen <= begins and seen < np.inf:
            found.append((seen, rows[0]))
    for i in rows:
        if i in one.missed:
            at, lost = one.missed[i]
            goes = lost or task.if_missed == "drop" or (
                not task.if_missed and one.end(at) > plan.hard_min)
            if goes:
                found.append((at, i))
    known = _put_back(records, task.task) is not None
    return [(at, task.task, records.steps[i].step) for at, i in found
            if known or not any(starts[row] < at for row in rows)]


class OneSample:
    """One sample: its network, minutes as expected and as drawn, and where the windows of the plan end."""

    def __init__(self, network: Network, expected: np.ndarray, drawn: np.ndarray,
                 factors: Mapping[str, float], window_ends: list[float] | None = None) -> None:
        self.network, self.factors = network, dict(factors)
        self.expected = [float(each) for each in on_grid(expected)]
        self.drawn = [float(each) for each in on_grid(drawn)]
        self.window_ends = window_ends or [np.inf] * len(expected)
        self.starts: dict[int, float] = {}
        self.missed: dict[int, tuple[float, bool]] = {}

    def played(self, now: float = 0.0) -> list[float]:
        """Start of each step, from what has begun on."""
        count = len(self.expected)
        for _ in range(20_000):
            waiting = [i for i in range(count) if i not in self.starts]
            able = [i for i in waiting if self.can_begin(i, now)]
            if not able and not self.events(now):
                break
            due, without = self.plan(now, True), None
            for i in able:
                if due[i] == np.inf:
                    without = without or self.plan(now, False)
                    due[i] = without[i]
            for i in able:
                is_lost = due[i] == np.inf
                if due[i] > self.window_ends[i] or is_lost:
                    self.missed.setdefault(i, (now, is_lost))
                due[i] = now if is_lost else due[i]
            begins = [i for i in able if due[i] <= now]
            self.starts.update(dict.fromkeys(begins, now))
            if begins:
                continue  # others may begin with them
            later = self.events(now) + [due[i] for i in able if i not in begins and due[i] < np.inf]
            if not later:
                break
            now = min(later)
        return [self.starts.get(i, np.inf) for i in range(count)]

    def over(self, i: int) -> float:
        return self.starts[i] + self.drawn[i]

    def events(self, now: float) -> list[float]:
        """When something will be over or arrives."""
        times = [self.over(i) for i in self.starts]
        times += [self.arrival(bound) for bound in self.network.bounds if bound.before in self.starts]
        times += [self.released(release) for release in self.network.releases]
        return [each for each in times if each > now]

    def arrival(self, bound: Bound) -> float:
        since = self.over(bound.before) if bound.from_finish else self.starts[bound.before]
        way = float(on_grid(bound.fixed_min + bound.travel_min * self.factors.get(bound.crew, 1.0)))
        return since + way - (self.expected[bound.after] if bound.to_finish else 0.0)

    def looks_ahead(self, bound: Bound) -> bool:
        return bound.kind == MAX_GAP or self.least(bound) < 0

    def seen_late(self, i: int, last: float) -> float:
        """When someone free to go sees that they come too late for a step."""
        ways = [(self.over(b.before), self.least(b)) for b in self.network.bounds_into[i] if b.kind == ORDER]
        ways += [(0.0, r.at_min) for r in self.network.releases_of[i] if r.kind == ORDER]
        seen = np.inf
        for free, way in ways:
            begin, windows = free + way, self.network.allowed[i]
            if windows is not None:
                begin = next((max(begin, low) for low, high in windows.tolist()
                              if max(begin, low) + self.expected[i] <= high), np.inf)
            if begin > last:
                seen = min(seen, free)
        return seen

    def end(self, now: float) -> float:
        """When the outing ends, as expected at that minute (infinite: as it was played)."""
        if now == np.inf:
            finish = {i: self.over(i) for i in self.starts}
            ways = {home.crew: home.travel_min * self.factors[home.crew] for home in self.network.homes}
        else:
            starts = self.plan(now, True)
            finish = {i: self.seen_finish(i, start, now) for i, start in enumerate(starts)}
            ways = {home.crew: home.travel_min for home in self.network.homes}
        return max((finish[home.last] if home.last >= 0 else 0.0) + float(on_grid(ways[home.crew]))
                   for home in self.network.homes) + self.network.ends_min

    def has_begun(self, i: int, now: float) -> bool:
        return i in self.starts and (self.starts[i] < now or self.over(i) <= now)

    def seen_finish(self, i: int, start: float, now: float) -> float:
        if not self.has_begun(i, now):
            return start + self.expected[i]
        return self.over(i) if self.over(i) <= now else max(start + self.expected[i], now)

    def released(self, release: Release) -> float:
        factor = self.factors.get(release.crew, 1.0)
        return float(on_grid(release.at_min + (factor - 1.0) * release.travel_min))

    def least(self, bound: Bound) -> float:
        return float(on_grid(bound.fixed_min + bound.travel_min)) - (
            self.expected[bound.after] if bound.to_finish else 0.0)

    def can_begin(self, i: int, now: float) -> bool:
        """Bounds that ask for what is still to come are left to the plan of the rest."""
        for bound in self.network.bounds_into[i]:
            if self.looks_ahead(bound):
                continue
            if bound.before not in self.starts or self.arrival(bound) > now:
                return False
        return all(self.released(release) <= now for release in self.network.releases_of[i])

    def plan(self, now: float, with_gaps: bool) -> list[float]:
        count = len(self.expected)
        begun = {i for i in range(count) if self.has_begun(i, now)}
        start = [self.starts[i] if i in begun else now for i in range(count)]

        def finish(i: int) -> float:
            return self.seen_finish(i, start[i], now)

        for _ in range(3_000):
            before = list(start)
            for i in (each for each in range(count) if each not in begun):
                for release in self.network.releases_of[i]:
                    if self.released(release) > now:
                        start[i] = max(start[i], float(on_grid(release.at_min)))
                for bound in self.network.bounds_into[i]:
                    if bound.kind == MAX_GAP and not with_gaps:
                        continue
                    has_come = (bound.travel_min and bound.before in begun
                                and (not bound.from_finish or self.over(bound.before) <= now)
                                and self.arrival(bound) <= now)
                    if not has_come:
                        since = finish(bound.before) if bound.from_finish else start[bound.before]
                        start[i] = max(start[i], since + self.least(bound))
                windows = self.network.allowed[i]
                if windows is not None:
                    start[i] = next((max(start[i], low) for low, high in windows.tolist()
                                     if max(start[i], low) + self.expected[i] <= high), np.inf)
            for group, windows in zip(self.network.groups, self.network.group_windows, strict=True):
                rest = [i for i in group.members if i not in begun]
                last = max((finish(i) for i in rest), default=-np.inf)
                floor = next((low for low, high in windows.tolist() if last <= high), np.inf)
                for i in rest:
                    start[i] = max(start[i], floor)
            if start == before:
                return start
        moving = [a != b for a, b in zip(start, before, strict=True)]
        return [np.inf if each else at for each, at in zip(moving, start, strict=True)]


