"""Many samples of one outing timed together: what they all share, the cut rule, and why some have no plan.

The cut rule drops a task in the samples in which it would begin later than its last start.

A planner states it beforehand (``tasks.last_start_min``, ``tasks.cut_order``): at PET L the task has not
begun, so it is not begun at all. Its steps then take no time and no travel, and what follows moves up.
Decisions fall in the order of the last starts (equal ones in drop order): a task is judged with all later
ones still in, and the next one on the plan that is then left. Without greatest gaps dropping a task makes no
other step later, so a task that was kept is never in doubt again and one pass is enough.

Samples that drop the same tasks are timed together over the network without them: the result is exactly that
of timing each sample alone (a test does). Idealised: the crew knows when leaving for the task that it would
begin too late, and does not set out for it. A start that no time can meet counts as too late.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from planning_kit.changes.dropping import without_tasks
from planning_kit.explore.odds.foresight import Foresight
from planning_kit.explore.odds.played import Given, play
from planning_kit.explore.odds.sampled_past import Begun, begun_of, with_estimates
from planning_kit.explore.odds.sampling import Draws
from planning_kit.inputs.records import Records, Step, Task
from planning_kit.judge.drop_order import drop_order
from planning_kit.plan.build import build_network
from planning_kit.plan.hard_limit import LimitRule, Timings
from planning_kit.plan.network import HATCH, ORDER, Home, Network, on_grid
from planning_kit.plan.plan_times import Almanac
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import outing_end
from planning_kit.plan.travel import Travel


@dataclass(frozen=True, eq=False)
class Outing:
    """A scenario and its PET 0, ready to be timed over and over. Equal keys are equal outings.

    Small and without open resources, so that it can be sent to another process.
    """

    key: tuple[str, ...]
    records: Records
    almanac: Almanac
    travels: Mapping[str, Travel]
    limit: LimitRule
    begun: Begun | None = None

    @classmethod
    def of(cls, plan: TimedPlan, learns_pace: bool = False) -> Outing:
        """The outing of a timed plan; of a re-timed one what is left of it."""
        begun = begun_of(plan, learns_pace)
        key = (plan.scenario.digest, plan.pet_zero.isoformat(), begun.key if begun else "")
        return cls(key, with_estimates(plan), plan.almanac, plan.travels, plan.limit_rule, begun)

    def __eq__(self, other: object) -> bool:
        return self.key == other.key if isinstance(other, Outing) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.key)

    @property
    def crew(self) -> tuple[str, ...]:
        """The suited crew members, in the order of the table."""
        return tuple(self.travels)

    @cached_property
    def steps_of(self) -> Mapping[str, np.ndarray]:
        """Positions of the steps of each task that has any."""
        of_task = np.array([step.task for step in self.records.steps], dtype=object)
        found = {task.task: np.flatnonzero(of_task == task.task) for task in self.records.tasks}
        return {task: positions for task, positions in found.items() if len(positions)}

    @property
    def tasks_to_come(self) -> list[Task]:
        """The tasks that have steps, none of which is history."""
        begun = self.begun.starts if self.begun else {}
        started = {step.task for step in self.records.steps if step.step in begun}
        to_come = self.steps_of.keys() - started
        return [task for task in self.records.tasks if task.task in to_come]


@dataclass(frozen=True, eq=False)
class Part:
    """What is left of an outing without some tasks: its network, steps and the positions of the ``kept``.

    ``begun``: what of it has happened, if any.
    """

    outing: Outing
    network: Network
    steps: tuple[Step, ...]
    kept: np.ndarray

    @property
    def begun(self) -> Begun | None:
        """What of it has happened."""
        return self.outing.begun

    @cached_property
    def foresight(self) -> Foresight:
        """What may be expected of its steps: the likely minutes, or what ``[odds] go_if`` asks of windows."""
        grouped = {member for group in self.network.groups for member in group.members}
        is_high = self.outing.records.settings.odds.go_if == "high"
        expected = []
        for row, step in enumerate(self.steps):
            needs_window = row in grouped or self.network.allowed[row] is not None
            minutes = step.minutes_high if is_high and needs_window else step.minutes_likely
            underway = self.begun.underway.get(step.step) if self.begun else None
            expected.append(underway.expected_min(minutes) if underway else minutes)
        return Foresight(self.network, on_grid(np.array(expected, dtype=float)))

    def timed(self, draws: Draws, not_before: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Starts (kept steps, samples) and outing end (samples,) in PET minutes; inf where not placed."""
        starts = play(self.foresight, Given(draws.durations, draws.travel, not_before)).starts
        end = outing_end(self.network, starts, draws.durations, draws.travel)
        if self.begun is not None:  # whatever is drawn, they are still outside now
            end = np.maximum(end, on_grid(self.begun.now_min))
        return starts, np.where(np.isfinite(starts).all(axis=0), end, np.inf)

    def hard_min(self, draws: Draws, starts: np.ndarray, end: np.ndarray) -> np.ndarray:
        """The hard limit of each sample (samples,), PET minutes; NaN where it has no plan and no number."""
        outing = self.outing
        return outing.limit.minutes(Timings(
            steps=self.steps, travels=outing.travels, settings=outing.records.settings,
            network=self.network, starts=starts, durations=draws.durations, end_min=end,
            travel_factor=draws.travel, begun=self.begun.starts if self.begun else {}))

    def waits(self, draws: Draws, end: np.ndarray) -> np.ndarray:
        """Minutes (crew, samples) neither at work nor on the way until both ingress."""
        # Waiting is what is left of the outing, so that no sample needs its lanes laid out.
        rows = []
        for home in self.network.homes:
            fixed, travel, busy = self._on_the_way(home.crew)
            way = fixed + (travel + home.travel_min) * draws.travel[home.crew]
            rows.append(end - self.network.ends_min - draws.durations[busy].sum(axis=0) - way
                        - self._past_min(home, draws))
        return np.array(rows)

    def _past_min(self, home: Home, draws: Draws) -> np.ndarray | float:
        """Minutes from PET 0 to the finish of what someone has begun last, but for the waits in them."""
        if self.begun is None:
            return 0.0
        network = self.network
        # The bounds into what has begun are gone (`with_past`), so that all of it counts in one piece.
        into = [bound.before for bound in network.bounds if bound.kind == ORDER and bound.crew == home.crew
                and bound.before in network.fixed] or [home.last]
        if into[0] not in network.fixed:
            return 0.0
        start = self.begun.starts[network.steps[into[0]]]
        return np.asarray(start + draws.durations[into[0]] - self.begun.waited_min[home.crew])

    def _on_the_way(self, crew: str) -> tuple[float, float, list[int]]:
        """Minutes of travel that do not scale and that do, before the way home, and the steps worked on."""
        network = self.network
        into = [bound for bound in network.bounds if bound.kind == ORDER and bound.crew == crew]
        first = [release for release in network.releases if release.crew == crew and release.kind != HATCH]
        fixed = sum(bound.fixed_min for bound in into) + sum(r.at_min - r.travel_min for r in first)
        travel = sum(bound.travel_min for bound in into) + sum(r.travel_min for r in first)
        return fixed, travel, [r.step for r in first] + [bound.after for bound in into]


@lru_cache(maxsize=1024)
def part_without(outing: Outing, dropped: frozenset[str]) -> Part:
    """The outing without some tasks; kept, because many samples drop the same ones."""
    left = without_tasks(outing.records, dropped)
    kept = [position for position, step in enumerate(outing.records.steps) if step.task not in dropped]
    network = build_network(left, outing.almanac, outing.travels)
    if outing.begun is not None:
        network = outing.begun.applied_to(network, left.steps, outing.travels, left.settings.airlock_place)
    return Part(outing, network, left.steps, np.array(kept, dtype=int))


@dataclass(frozen=True, eq=False)
class SampledPlans:
    """Many samples of one outing, each timed with the tasks that it drops left out.

    ``starts`` (steps, samples): NaN for a dropped step, inf for one that cannot be placed. ``end_min``
    (samples,): inf where there is no plan. ``hard_min`` (samples,): the hard limit of each. ``waits`` (crew,
    samples), minutes. ``dropped`` (rules, samples).
    """

    rules: tuple[Task, ...]
    starts: np.ndarray
    end_min: np.ndarray
    hard_min: np.ndarray
    waits: np.ndarray
    dropped: np.ndarray

    def groups(self, samples: np.ndarray) -> Iterator[tuple[frozenset[str], np.ndarray]]:
        """Dropped tasks and those of ``samples`` (positions) that drop just these."""
        if not len(samples):
            return
        pattern = np.zeros(len(samples), dtype=np.int64)  # numbered anew at each rule: it never overflows
        for row in self.dropped[:, samples]:
            if row.any():
                pattern = np.unique(2 * pattern + row, return_inverse=True)[1]
        for number in range(int(pattern.max()) + 1):
            members = samples[pattern == number]
            if len(members):
                rules = itertools.compress(self.rules, self.dropped[:, members[0]])
                yield frozenset(task.task for task in rules), members


def cut_rules(outing: Outing) -> tuple[Task, ...]:
    """The tasks with steps and a last start, in the order in which they are decided; none that has begun."""
    ruled = [task for task in outing.tasks_to_come if task.last_start_min is not None]
    # The sort is stable: equal last starts stay in drop order.
    return tuple(sorted(drop_order(ruled), key=lambda task: task.last_start_min or 0.0))


def time_samples(outing: Outing, draws: Draws, rules: Sequence[Task]) -> SampledPlans:
    """Time every sample, dropping by ``rules`` (in the order of decision; none: all tasks are done)."""
    steps, samples = draws.durations.shape
    plans = SampledPlans(tuple(rules), np.empty((steps, samples)), np.empty(samples), np.empty(samples),
                         np.empty((len(outing.crew), samples)), np.zeros((len(rules), samples), dtype=bool))
    _time_anew(outing, draws, plans, np.arange(samples))  # with every task, which the first rule judges
    for number, rule in enumerate(rules):
        begins = plans.starts[outing.steps_of[rule.task]].min(axis=0)
        assert rule.last_start_min is not None
        # On the grid, as starts are: a task that begins on the very minute stays.
        plans.dropped[number] = begins > on_grid(rule.last_start_min)
        _time_anew(outing, draws, plans, np.flatnonzero(plans.dropped[number]))
    for dropped, members in plans.groups(np.arange(samples)):
        part = part_without(outing, dropped)
        own, starts = draws.part(part.kept, members), plans.starts[np.ix_(part.kept, members)]
        plans.hard_min[members] = part.hard_min(own, starts, plans.end_min[members])
    return plans


def _time_anew(outing: Outing, draws: Draws, plans: SampledPlans, samples: np.ndarray) -> None:
    for dropped, members in plans.groups(samples):
        part = part_without(outing, dropped)
        own = draws.part(part.kept, members)
        starts, end = part.timed(own)
        plans.starts[:, members] = np.nan
        plans.starts[np.ix_(part.kept, members)] = starts
        plans.end_min[members] = end
        plans.waits[:, members] = part.waits(own, end)


def no_plan_reasons(outing: Outing, plans: SampledPlans) -> Counter[str]:
    """How many samples have no plan, by reason in words: the first step, in row order, that is lost by itself."""
    reasons: Counter[str] = Counter()
    for dropped, failed in plans.groups(np.flatnonzero(~np.isfinite(plans.end_min))):
        network = (part := part_without(outing, dropped)).network
        lost = _first_lost(network, plans.starts[np.ix_(part.kept, failed)])
        reasons.update(f"{network.steps[step]} finds no window before the horizon" for step in lost)
    return reasons


def _first_lost(network: Network, starts: np.ndarray) -> np.ndarray:
    """The first step of each sample that is lost by itself, or else the first that is lost."""
    lost = ~np.isfinite(starts)
    waits = np.array([lost[[bound.before for bound in bounds]].any(axis=0) for bounds in network.bounds_into])
    # In a circle of bounds all wait for each other, and none is lost by itself.
    own = lost & ~waits
    return np.asarray(np.argmax(np.where(own.any(axis=0), own, lost), axis=0))
