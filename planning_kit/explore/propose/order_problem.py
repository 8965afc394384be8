"""A scenario as an order problem: choices of tasks, crew, PET 0 and order, and what comes first in any case.

The rules are added by `timed_rules` and `untimed_rules`.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property, partial
from itertools import pairwise

from ortools.sat.python import cp_model

from planning_kit.changes.order import traded
from planning_kit.explore.propose.chains import Chain, forced_orders
from planning_kit.explore.propose.order_model import (
    Lane,
    Literal,
    OrderModel,
    Placed,
    Requirement,
    ticks_down,
    ticks_up,
)
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.oem import OrbitData
from planning_kit.inputs.records import BOTH, Records, Step
from planning_kit.judge.review import may_go
from planning_kit.plan.build import crew_travel, work_order
from planning_kit.plan.network import AFTER, Bound, grouped
from planning_kit.plan.past import Past
from planning_kit.plan.plan_times import Almanac, almanac_for
from planning_kit.plan.travel import Travel

BY_STEPS, BY_RUNS = "steps", "runs"


@dataclass(frozen=True, kw_only=True)
class Freedom:
    """What may be chosen: PET 0 from ``earliest`` to ``latest`` (UTC) in steps, and the limit of the outing.

    ``cushion`` is how far durations are planned from likely (0) towards high (1); ``free`` as in `Work`.
    ``past``: what has happened, where only the rest of an outing is to be ordered. ``let_go``: requirements
    that the present order does not keep, and that no other is asked.
    """

    earliest: datetime
    latest: datetime
    limit_min: float
    pet_zero_every_min: float = 1.0
    cushion: float = 0.0
    free: str = BY_STEPS
    past: Past | None = None
    let_go: frozenset[Requirement] = frozenset()


@dataclass(frozen=True)
class Work:
    """The steps of a scenario with their durations (minutes) and what is known of their order.

    Steps of one task and one crew member, but helper steps, keep their row order. A step of both that opens
    (closes) both crew members' work opens (closes) it still. With ``BY_RUNS`` what one crew member does for
    one task without a break stays so. ``explains`` leaves ``after`` and gaps out of ``before``, so that a
    clash can be told in them. The rest of an outing that has begun nothing opens any more.
    """

    records: Records
    freedom: Freedom
    explains: bool = False

    @cached_property
    def minutes(self) -> tuple[float, ...]:
        """The duration of each step, with the cushion."""
        return tuple(step.minutes_likely + self.freedom.cushion * (step.minutes_high - step.minutes_likely)
                     for step in self.steps)

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
        return {who: work_order(self.steps, who) for who in self.records.lane_names}

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
    def first_and_last(self) -> tuple[list[int], list[int]]:
        """The steps of both that open and that close the outing."""
        lanes = [self.lanes[crew] for crew in self.crews]
        ends = []
        for end in (0, -1):
            same = {lane[end] for lane in lanes if lane}
            ends.append([i for i in same if len(same) == 1 and self.steps[i].crew == BOTH])
        return ([] if self.freedom.past else ends[0]), ends[1]

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
        if not self.explains:
            yield from self._ruled_pairs()
        for who, lane in self.lanes.items():
            for mine in grouped((self.steps[i].task, i) for i in lane if not self.steps[i].helper).values():
                yield from pairwise(mine)
            if who in self.crews:
                first, last = self.first_and_last
                yield from ((a, b) for a in first for b in lane if a != b)
                yield from ((a, b) for b in last for a in lane if a != b)

    def _ruled_pairs(self) -> Iterator[tuple[int, int]]:
        for b, step in enumerate(self.steps):
            for name in step.after:
                yield from ((far, b) for far in (self.index[name], *self.through(name)))
        for gap in self.records.gaps:
            # Only such a gap says that one step is over before the other begins.
            if gap.min_gap >= 0 and (gap.first_at, gap.then_at) == ("finish", "start"):
                yield self.index[gap.first_step], self.index[gap.then_step]


@dataclass(kw_only=True)
class Problem:
    """The model of one scenario and its choices. ``done[task, is_swapped]`` says that a task is done so.

    ``positions`` are the steps that may be in each lane, ``before`` for each step those that precede it
    whatever is chosen, ``more_bounds`` what the model keeps by such precedence and the timing does not know.
    """

    work: Work
    model: OrderModel
    almanac: Almanac
    travels: Mapping[str, Travel]
    pet_zero: cp_model.IntVar
    end: cp_model.IntVar
    done: dict[tuple[str, bool], Literal] = field(default_factory=dict)
    tasks: dict[str, Literal] = field(default_factory=dict)
    placed: list[Placed] = field(default_factory=list)
    lanes: dict[str, Lane] = field(default_factory=dict)
    positions: dict[str, list[int]] = field(default_factory=dict)
    chains: list[Chain] = field(default_factory=list)
    before: list[set[int]] = field(default_factory=list)
    more_bounds: list[Bound] = field(default_factory=list)

    @property
    def freedom(self) -> Freedom:
        """What may be chosen."""
        return self.work.freedom

    @cached_property
    def ways(self) -> list[tuple[int, Step, Literal]]:
        """Every step by position in each way to do it: with its crew traded or not, and when it is so."""
        return [(i, traded(step) if is_swapped else step, self.done[step.task, is_swapped])
                for i, step in enumerate(self.work.steps) for is_swapped in self.modes(step.task)]

    def modes(self, task: str) -> tuple[bool, ...]:
        """The ways to do a task: as written, and with the crew traded where it is swappable."""
        return (False, True) if task in self.work.swappable else (False,)

    @cached_property
    def numbers(self) -> dict[str, dict[int, int]]:
        """By lane the number of each step in it; -1 is the airlock in both."""
        return {who: {-1: -1} | {position: number for number, position in enumerate(positions)}
                for who, positions in self.positions.items()}


def start_problem(work: Work, elements: OrbitData) -> Problem:
    """Choices of PET 0 and tasks, and a start for every step; no rule yet but the horizon."""
    records, freedom = work.records, work.freedom
    spread_min = (freedom.latest - freedom.earliest).total_seconds() / 60
    settings = records.settings
    # All times count from the earliest PET 0, so that the sky must be known so much longer.
    longer = replace(records, settings=replace(settings, horizon_h=settings.horizon_h + spread_min / 60))
    # What moves with PET 0 reaches as far as it may: no order is lost, and each that is found is timed.
    almanac = almanac_for(longer, elements, freedom.earliest, spread_min)
    # The timing asks that a step starts by the horizon, not that it is over by then.
    longest = max(map(ticks_up, work.minutes), default=0)
    model = OrderModel(ticks_down(almanac.horizon_min) + longest, work.explains, freedom.let_go)
    count = int(spread_min // freedom.pet_zero_every_min)
    every = ticks_up(freedom.pet_zero_every_min)
    pet_zero = model.cp.new_int_var_from_domain(
        cp_model.Domain.from_values([every * number for number in range(count + 1)]), "pet_zero")
    end = model.cp.new_int_var(0, model.horizon, "end")
    problem = Problem(work=work, model=model, almanac=almanac, travels=crew_travel(records),
                      pet_zero=pet_zero, end=end)
    for task in records.tasks:
        _choose_task(problem, task.task)
    for step, minutes in zip(work.steps, work.minutes, strict=True):
        placed = model.add_step(step.step, ticks_up(minutes), problem.tasks[step.task])
        problem.placed.append(placed)
        model.cp.add(placed.start >= pet_zero)
        # The longer sky is for a later PET 0; each outing keeps its own horizon.
        model.cp.add(placed.start <= pet_zero + ticks_down(settings.horizon_h * 60))
    problem.positions |= {who: _may_do(work, who) for who in work.lanes}
    return problem


def _may_do(work: Work, who: str) -> list[int]:
    return [i for i, step in enumerate(work.steps) if step.crew == who or (who in PARTNER and (
        step.crew == BOTH or (step.crew == PARTNER[who] and step.task in work.swappable)))]


def is_here(problem: Problem, who: str, position: int) -> Literal:
    """Whether a step is done in someone's lane."""
    step = problem.work.steps[position]
    if step.crew not in PARTNER:
        return problem.tasks[step.task]
    return problem.done[step.task, step.crew != who]


def _choose_task(problem: Problem, task: str) -> None:
    model, is_optional = problem.model, task in problem.work.optional
    present = model.literal(f"do {task}") if is_optional else model.yes
    problem.tasks[task] = problem.done[task, False] = present
    if task in problem.work.swappable:
        swap = model.literal(f"swap {task}")
        as_written = model.literal(f"keep {task}") if is_optional else ~swap
        if is_optional:
            model.cp.add(as_written + swap == present)
        problem.done[task, False], problem.done[task, True] = as_written, swap


def find_precedence(problem: Problem) -> None:
    """Fill ``before``: what the tables say and, unless a clash is to be told, what hardware forces.

    Nothing is forced where requirements are let go.
    """
    work, problem.before = problem.work, problem.work.before
    if work.explains:
        return
    is_sure = partial(_is_sure, problem)
    asked = [] if problem.model.let_go else problem.chains  # a chain that is let go forces nothing
    forced = {pair for chain in asked for pair in forced_orders(chain, work.number, is_sure)}
    into = [set(near) for near in work.before]
    for first, then in sorted(forced):
        into[then].add(first)
        problem.more_bounds.append(Bound(first, then, AFTER, work.steps[first].step))
    problem.before = work.closed(into)


def _is_sure(problem: Problem, position: int, whens: Iterable[Literal]) -> bool:
    """Whether one of these literals holds whoever does the task of a step, if it is done."""
    task = problem.work.steps[position].task
    ways = [problem.done[task, is_swapped] for is_swapped in problem.modes(task)]
    named = {id(when) for when in whens}
    return id(problem.tasks[task]) in named or all(id(way) in named for way in ways)
