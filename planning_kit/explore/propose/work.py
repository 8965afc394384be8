"""The work of a scenario as choices: which tasks, whose, and what comes first whatever is chosen."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from planning_kit.changes.order import tasks_touching
from planning_kit.explore.propose.model import Placed
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH, ItemMove, Records, Step
from planning_kit.judge.drop_order import may_go
from planning_kit.plan.build import work_order

BY_STEPS, BY_RUNS = "steps", "runs"


@dataclass(frozen=True)
class Work:
    """The steps of a scenario with their durations (minutes) and what is known of their order.

    Steps of one task and one crew member keep their row order. A step of both that opens (closes) both
    crew members' work opens (closes) it still. With ``BY_RUNS`` what one crew member does for one task
    without a break stays without a break. ``knows_rules`` False leaves ``after`` and gaps out of ``before``,
    so that a clash can be told in them. ``has_begun``: these steps are the rest of an outing, which nothing
    opens any more.
    """

    records: Records
    minutes: tuple[float, ...]
    free: str = BY_STEPS
    knows_rules: bool = True
    has_begun: bool = False

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps, in row order."""
        return self.records.steps

    @cached_property
    def index(self) -> dict[str, int]:
        """Row position by step id."""
        return {step.step: i for i, step in enumerate(self.steps)}

    def number(self, placed: Placed) -> int:
        """The row position of a step of the model."""
        return self.index[placed.name]

    @cached_property
    def crews(self) -> tuple[str, ...]:
        """The suited crew members."""
        return tuple(crew.crew for crew in self.records.crew)

    @cached_property
    def lanes(self) -> dict[str, list[int]]:
        """Everyone's steps as the rows have them, by position."""
        names = (*self.crews, *(actor.actor for actor in self.records.actors))
        return {who: work_order(self.steps, who) for who in names}

    @cached_property
    def optional(self) -> frozenset[str]:
        """Tasks that may be left out."""
        return frozenset(task.task for task in self.records.tasks if may_go(task))

    @cached_property
    def swappable(self) -> frozenset[str]:
        """Tasks whose crew members may trade places: those of which one crew member does a step."""
        of_one = {step.task for step in self.steps if step.crew in PARTNER}
        return frozenset(task.task for task in self.records.tasks if task.swappable and task.task in of_one)

    @cached_property
    def goes_along(self) -> frozenset[str]:
        """Items that only one swappable task touches: when its crew trade, so do those who have them."""
        return frozenset(item for item, tasks in tasks_touching(self.steps).items()
                         if len(tasks) == 1 and tasks <= self.swappable)

    @cached_property
    def first_and_last(self) -> tuple[list[int], list[int]]:
        """The steps of both that open and that close the outing."""
        lanes = [self.lanes[crew] for crew in self.crews]
        ends = []
        for end in (0, -1):
            same = {lane[end] for lane in lanes if lane}
            ends.append([i for i in same if len(same) == 1 and self.steps[i].crew == BOTH])
        return ([] if self.has_begun else ends[0]), ends[1]

    @cached_property
    def runs(self) -> dict[str, dict[int, int]]:
        """By crew member: which step directly follows which for the same task, as the rows have it."""
        return {crew: {a: b for a, b in pairwise(self.lanes[crew])
                       if self.steps[a].task == self.steps[b].task} for crew in self.crews}

    @cached_property
    def before(self) -> list[set[int]]:
        """For each step the steps that precede it whatever is chosen."""
        into: list[set[int]] = [set() for _ in self.steps]
        for a, b in self._known_pairs():
            into[b].add(a)
        return self.closed(into)

    def closed(self, into: Sequence[Collection[int]]) -> list[set[int]]:
        """What precedes each step, with what precedes that; not through a step that may be left out alone."""
        known = [set(near) for near in into]
        tasks = [step.task for step in self.steps]

        def is_sure(step: int, first: int, then: int) -> bool:
            return tasks[step] not in self.optional or tasks[step] in (tasks[first], tasks[then])

        for _ in known:
            grown = [near | {far for by in near for far in known[by] if is_sure(by, far, then)}
                     for then, near in enumerate(known)]
            if grown == known:
                break
            known = grown
        return known

    def through(self, name: str) -> list[int]:
        """The steps that a step waits for by way of ``name``, where the task of ``name`` may be left out."""
        step = self.steps[self.index[name]]
        if step.task not in self.optional:
            return []
        return [far for other in step.after for far in (self.index[other], *self.through(other))]

    def _known_pairs(self) -> Iterator[tuple[int, int]]:
        if self.knows_rules:
            yield from self._ruled_pairs()
        for who, lane in self.lanes.items():
            for task in dict.fromkeys(self.steps[i].task for i in lane):
                yield from pairwise([i for i in lane if self.steps[i].task == task])
            if who in self.crews:
                first, last = self.first_and_last
                yield from ((a, b) for a in first for b in lane if a != b)
                yield from ((a, b) for b in last for a in lane if a != b)

    def _ruled_pairs(self) -> Iterator[tuple[int, int]]:
        for b, step in enumerate(self.steps):
            for name in step.after:
                yield from ((far, b) for far in (self.index[name], *self.through(name)))
        for gap in self.records.gaps:
            if gap.min_gap >= 0 and (gap.first_at, gap.then_at) == ("finish", "start"):
                yield self.index[gap.first_step], self.index[gap.then_step]


def swapped_moves(moves: Sequence[ItemMove], crew: str,
                  is_swapped: bool) -> Iterator[tuple[ItemMove, str, str]]:
    """Each entry with who does it and into what, as written or with the crew members traded."""
    for move in moves:
        who, into = move.crew or crew, move.into
        if is_swapped:
            who, into = PARTNER.get(who, who), PARTNER.get(into, into)
        yield move, who, into
