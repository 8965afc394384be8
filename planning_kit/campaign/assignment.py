"""Which task on which outing, as a problem of its own: no scenario in it, so that published instances fit.

Each outing takes one of its dates and one of its pairs of persons; each task at most one outing. One named
method a constraint; its docstring states the inequality (x a task on an outing, d an outing on a date, z with
a pair, v a visit of a place, all 0 or 1). The solver is CP-SAT of OR-Tools (Perron, Didier, Gay 2023, "The
CP-SAT-LP solver"), with a fixed seed, one worker and a limit in its own deterministic time: the same answer
on every run.

Minutes are counted in seconds: those of a task are rounded down and those of an outing up, so that the bound
stays one, though by this the exact times may refuse an answer later.
"""

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from typing import Any

from ortools.sat.python import cp_model

TICKS_PER_MIN = 60
NEEDS = ("required", "optional", "get-ahead")
"""What counts first: no value of a later one weighs up one of an earlier."""
MOST_VALUE = 10**16
"""The largest objective: far below where the solver's numbers overflow."""
DAY_MIN = 24 * 60
Pair = tuple[str, ...]
Literal = Any


@dataclass(frozen=True)
class WantedTask:
    """A task as the problem has it.

    ``least_min`` is by outing and date the least minutes that it takes of each lane; one that it has not
    cannot have the task. ``after`` are its prerequisites with the least days between (0: the same outing will
    do); ``trained`` the allowed persons (empty: anybody) for each lane that it takes. ``places``: by lane
    where it is done, for what getting there takes.
    """

    task: str
    value: int
    need: str
    least_min: Mapping[tuple[str, date], Mapping[str, float]]
    after: Mapping[str, int] = field(default_factory=dict)
    must_by: date | None = None
    trained: Mapping[str, Collection[str]] = field(default_factory=dict)
    places: Mapping[str, Collection[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class OutingRoom:
    """An outing as the problem has it: its dates with the minutes of each lane, and who may go.

    ``least_way_min``: what the way to a place takes at least, of whoever works there, once an outing. With
    these ways the room is greater by ``own_way_min`` (by lane), which the outing's own ways take of it.
    ``present``: its date as it stands, taken where others are no better; ``begins_min``: its PET 0, and
    ``ends_min``: when it ends at the latest, minutes from 0 h of its date.
    """

    outing: str
    room_min: Mapping[date, Mapping[str, float]]
    pairs: tuple[Pair, ...] = ()
    least_way_min: Mapping[str, float] = field(default_factory=dict)
    own_way_min: Mapping[str, float] = field(default_factory=dict)
    present: date | None = None
    begins_min: float = 0.0
    ends_min: float = 0.0

    @property
    def lasts_days(self) -> int:
        """From its date to that on which it ends at the latest: so much later its work may be done."""
        return math.floor(self.ends_min / DAY_MIN)

    def least_days_to(self, then: "OutingRoom", between: int) -> int:
        """The least days to the date of the next: the rest kept, and begun after this one has ended."""
        return max(self.lasts_days + between,
                   math.floor((self.ends_min - then.begins_min) / DAY_MIN) + 1)


@dataclass(frozen=True)
class TooMuch:
    """What the timing has refused: these tasks together on this outing (on this date; None: on any)."""

    outing: str
    tasks: frozenset[str]
    on: date | None = None


@dataclass(frozen=True)
class AssignmentProblem:
    """Tasks and outings, these in their order. ``done`` are prerequisites that need no outing any more.

    ``present`` is the assignment that stands: of equals the one that moves the fewest tasks is taken.
    """

    tasks: tuple[WantedTask, ...]
    outings: tuple[OutingRoom, ...]
    least_days_between: int = 0
    done: frozenset[str] = frozenset()
    present: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Solved:
    """Which outing each task has, the date and pair of each outing, and how good it can be.

    ``value`` and ``bound`` are by need, in the order of ``NEEDS``: no assignment that keeps the problem has
    more than the bound, compared in that order. ``is_proven``: none is better.
    """

    outing_of: Mapping[str, str]
    dates: Mapping[str, date]
    pairs: Mapping[str, Pair]
    value: tuple[int, ...]
    bound: tuple[int, ...]
    is_proven: bool


class _Model:
    """The constraints, each in a method."""

    def __init__(self, problem: AssignmentProblem) -> None:
        self.problem, self.cp = problem, cp_model.CpModel()
        self.yes = self.cp.new_constant(1)
        self.by_name = {task.task: task for task in problem.tasks}
        self.at = {outing.outing: number for number, outing in enumerate(problem.outings)}
        self.dates: dict[tuple[str, date], Literal] = {}
        self.pairs: dict[tuple[str, Pair], Literal] = {}
        self.has: dict[tuple[str, str], Literal] = {}
        self.visits: dict[tuple[str, str], Literal] = {}
        for outing in problem.outings:
            for on in outing.room_min:
                self.dates[outing.outing, on] = self.cp.new_bool_var(f"d {outing.outing} {on}")
            for pair in outing.pairs:
                self.pairs[outing.outing, pair] = self.cp.new_bool_var(f"z {outing.outing} {pair}")
        for task in problem.tasks:
            for name in dict.fromkeys(name for name, _ in task.least_min):
                self.has[task.task, name] = self.cp.new_bool_var(f"x {task.task} {name}")

    def done(self, task: str) -> Any:
        """Whether a task is done at all: sum of x over the outings."""
        if task in self.problem.done:
            return 1
        return sum(self.has[each] for each in self.has if each[0] == task)

    def once(self) -> None:
        """Sum of x over the outings <= 1 for each task; sum of d = 1, sum of z = 1 for each outing."""
        for task in self.problem.tasks:
            self.cp.add(self.done(task.task) <= 1)
        for outing in self.problem.outings:
            self.cp.add_exactly_one(self.dates[outing.outing, on] for on in outing.room_min)
            if outing.pairs:
                self.cp.add_exactly_one(self.pairs[outing.outing, pair] for pair in outing.pairs)

    def on_a_possible_date(self) -> None:
        """x + d <= 1 for each date of an outing on which the task cannot be done, or after its must-by."""
        for (task, name), has in self.has.items():
            wanted = self.task(task)
            for on in self.problem.outings[self.at[name]].room_min:
                late = wanted.must_by is not None and on > wanted.must_by
                if late or (name, on) not in wanted.least_min:
                    self.cp.add_bool_or(~has, ~self.dates[name, on])

    def within_the_room(self) -> None:
        """d = 1: sum of x * least minutes <= room, for each outing, date and lane.

        And with the ways: sum of x * least minutes + sum of v * least way <= room + own ways.
        """
        for outing in self.problem.outings:
            for on, room in outing.room_min.items():
                for lane, minutes in room.items():
                    load = [self.has[task.task, outing.outing] * _down(taken.get(lane, 0.0))
                            for task, taken in self._taken(outing.outing, on)]
                    ways = [visit * _down(outing.least_way_min[place])
                            for place, visit in self._visits(outing, on, lane)]
                    here = self.dates[outing.outing, on]
                    if load:
                        self.cp.add(sum(load) <= _up(minutes)).only_enforce_if(here)
                    if ways:
                        more = minutes + outing.own_way_min.get(lane, 0.0)
                        self.cp.add(sum(load) + sum(ways) <= _up(more)).only_enforce_if(here)

    def _taken(self, outing: str, on: date) -> Iterator[tuple[WantedTask, Mapping[str, float]]]:
        return ((task, task.least_min[outing, on]) for task in self.problem.tasks
                if (outing, on) in task.least_min)

    def _visits(self, outing: OutingRoom, on: date, lane: str) -> Iterator[tuple[str, Literal]]:
        """v >= x for each task that takes the lane there."""
        there = dict[str, list[Literal]]()
        for task, _ in self._taken(outing.outing, on):
            for place in task.places.get(lane, ()):
                if outing.least_way_min.get(place, 0.0):
                    there.setdefault(place, []).append(self.has[task.task, outing.outing])
        for place, tasks in there.items():
            visit = self.visits.setdefault((f"{outing.outing} {on} {lane}", place), self.cp.new_bool_var("v"))
            for has in tasks:
                self.cp.add_implication(has, visit)
            yield place, visit

    def days_apart(self) -> None:
        """date of the next outing - date of an outing >= `OutingRoom.least_days_to`."""
        for before, then in pairwise(self.problem.outings):
            self._not_closer(before, then, before.least_days_to(then, self.problem.least_days_between), ())

    def _not_closer(self, before: OutingRoom, then: OutingRoom, days: int, when: Sequence[Literal]) -> None:
        for first in before.room_min:
            for second in then.room_min:
                if (second - first).days < days:
                    self.cp.add_bool_or(~self.dates[before.outing, first], ~self.dates[then.outing, second],
                                        *(~each for each in when))

    def after_its_prerequisites(self) -> None:
        """x of a task <= x of its prerequisite, on an outing not before it and so many days later.

        By the dates of PET 0, less the days that the outing lasts: when its work is done is not known here.
        """
        for task in self.problem.tasks:
            for earlier, days in task.after.items():
                if earlier in self.problem.done:
                    continue
                for (_, name), has in [each for each in self.has.items() if each[0][0] == task.task]:
                    last = self.at[name] if days <= 0 else self.at[name] - 1
                    able = [each for each in self.problem.outings[:last + 1]
                            if (earlier, each.outing) in self.has]
                    self.cp.add_bool_or(~has, *(self.has[earlier, each.outing] for each in able))
                    then = self.problem.outings[self.at[name]]
                    for each in able if days > 0 else ():
                        self._not_closer(each, then, days - then.lasts_days,
                                         (has, self.has[earlier, each.outing]))

    def by_the_trained(self) -> None:
        """x <= sum of z over the pairs in which each lane of the task has somebody trained."""
        for (task, name), has in self.has.items():
            outing, wanted = self.problem.outings[self.at[name]], self.task(task)
            if wanted.trained and outing.pairs:
                able = [self.pairs[name, pair] for pair in outing.pairs if _is_trained(wanted, pair)]
                self.cp.add_bool_or(~has, *able)

    def but_not(self, refused: Sequence[TooMuch]) -> None:
        """Sum of x over what was refused together <= one less (on that date)."""
        for each in refused:
            tasks = [~self.has[task, each.outing] for task in each.tasks if (task, each.outing) in self.has]
            if len(tasks) == len(each.tasks):
                on = [] if each.on is None else [~self.dates[each.outing, each.on]]
                self.cp.add_bool_or(*tasks, *on)

    def objective(self) -> None:
        """The greatest sum of values by need; of equals few moves, early outings and the present dates."""
        weights = _weights(self.problem)
        worth: list[Any] = []
        count, outings = _scale(self.problem), len(self.problem.outings)
        for (task, name), has in self.has.items():
            wanted = self.task(task)
            bonus = outings + 1 if self.problem.present.get(task) == name else outings - self.at[name]
            worth.append(has * (wanted.value * weights[wanted.need] * count + bonus))
        self.scale = count
        worth += [taken for (name, on), taken in self.dates.items()
                  if on == self.problem.outings[self.at[name]].present]
        self.cp.maximize(sum(worth))

    def task(self, name: str) -> WantedTask:
        """A task by its id."""
        return self.by_name[name]


def solve_assignment(problem: AssignmentProblem, refused: Sequence[TooMuch] = (),
                     effort: float = 5.0) -> Solved | None:
    """The best assignment that is found in ``effort`` (deterministic time); None where there is none.

    Raises `OverflowError` where values are too large to be told apart.
    """
    model = _Model(problem)
    model.once()
    model.on_a_possible_date()
    model.within_the_room()
    model.days_apart()
    model.after_its_prerequisites()
    model.by_the_trained()
    model.but_not(refused)
    model.objective()
    solver = cp_model.CpSolver()
    solver.parameters.random_seed = 1
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = effort
    solver.parameters.catch_sigint_signal = False
    status = solver.solve(model.cp)
    if status == cp_model.UNKNOWN:  # so little effort that not even one was found
        solver.parameters.max_deterministic_time = math.inf
        solver.parameters.stop_after_first_solution = True
        status = solver.solve(model.cp)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    outing_of = {task: name for (task, name), has in model.has.items() if solver.boolean_value(has)}
    worth = {need: sum(task.value for task in problem.tasks if task.need == need and task.task in outing_of)
             for need in NEEDS}
    bound = math.floor(solver.best_objective_bound / model.scale + 1e-9)
    return Solved(
        outing_of,
        {name: on for (name, on), taken in model.dates.items() if solver.boolean_value(taken)},
        {name: pair for (name, pair), taken in model.pairs.items() if solver.boolean_value(taken)},
        tuple(worth.values()), _by_need(problem, bound), status == cp_model.OPTIMAL)


def _weights(problem: AssignmentProblem) -> dict[str, int]:
    """What one of value weighs, by need: one of an earlier need outweighs all of the later ones."""
    weights, weight = dict[str, int](), 1
    for need in reversed(NEEDS):
        weights[need] = weight
        weight *= 1 + sum(task.value for task in problem.tasks if task.need == need)
    if weight > MOST_VALUE / _scale(problem):
        raise OverflowError(f"values of {len(problem.tasks)} tasks are too large to be told apart")
    return weights


def _scale(problem: AssignmentProblem) -> int:
    """More than what all ties together weigh."""
    return len(problem.tasks) * (len(problem.outings) + 1) + len(problem.outings) + 1


def _by_need(problem: AssignmentProblem, total: int) -> tuple[int, ...]:
    weights, found = _weights(problem), []
    for need in NEEDS:
        most = sum(task.value for task in problem.tasks if task.need == need)
        found.append(min(total // weights[need], most))
        total -= found[-1] * weights[need]
    return tuple(found)


def _is_trained(task: WantedTask, pair: Pair) -> bool:
    return all(not who or lane >= len(pair) or pair[lane] in who
               for lane, who in enumerate(task.trained.get(name, ()) for name in ("EV1", "EV2")))


def _down(minutes: float) -> int:
    return math.floor(minutes * TICKS_PER_MIN + 1e-6)


def _up(minutes: float) -> int:
    return math.ceil(minutes * TICKS_PER_MIN - 1e-6)
