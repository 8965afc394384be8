"""The order problem for the solver: steps, lanes with travel, windows, gaps, capacities. No scenario in it.

One named method a constraint; its docstring states the inequality (s a start, d a length, in ticks). A step
counts only where its ``present`` literal holds. Classic benchmarks go through the same methods
(`tests/explore/propose/`). The solver is CP-SAT of OR-Tools (Perron, Didier, Gay 2023, "The CP-SAT-LP
solver").

The solver counts in seconds, the ticks. Whatever holds a start back is rounded up and whatever lets it go is
rounded down, so that a set of starts that the solver accepts keeps every rule of the timing in exact minutes
too; the timing, which gives the earliest starts of that order, agrees or is earlier. The price: two orders
whose ends differ by less than a second a link of the chain can be told apart only by the timing.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from ortools.sat.python import cp_model

from planning_kit.plan.network import on_grid

TICKS_PER_MIN = 60
Literal = cp_model.LiteralT
Ticks = cp_model.IntVar | cp_model.LinearExpr | int
Way = Callable[[int, int], int | None]
"""Ticks from one member of a lane to another by number; -1 is where the lane begins and ends."""


def ticks_up(minutes: float, per_min: int = TICKS_PER_MIN) -> int:
    """Ticks that last at least ``minutes``."""
    # The timing rounds to its grid: what it counts must be kept, not what was typed.
    return math.ceil(float(on_grid(minutes)) * per_min)


def ticks_down(minutes: float) -> int:
    """Ticks that last at most ``minutes``."""
    return math.floor(float(on_grid(minutes)) * TICKS_PER_MIN)


def minutes_of(ticks: float) -> float:
    """Minutes of a number of ticks."""
    return ticks / TICKS_PER_MIN


def start_windows(windows: np.ndarray, length_min: float,
                  units: Callable[[float], int] = ticks_up) -> list[tuple[int, int]]:
    """Ranges of ticks in which a step of this length may start to lie wholly in one of ``windows`` (min)."""
    ranges = [(units(begin), -units(length_min - end)) for begin, end in windows.tolist()]
    return [(first, last) for first, last in ranges if first <= last]


@dataclass(frozen=True)
class Requirement:
    """What one line of the tables asks, in words: it can be let go of by itself."""

    table: str
    row: str
    words: str


@dataclass(frozen=True, eq=False)
class Placed:
    """A step with its start, length in ticks, and the literal that says whether it is done."""

    name: str
    start: cp_model.IntVar
    length: int
    present: Literal

    @property
    def finish(self) -> cp_model.LinearExpr:
        """s + d."""
        return self.start + self.length


@dataclass(frozen=True)
class Member:
    """A step as one lane has it: done by this lane where ``here`` holds."""

    step: Placed
    here: Literal


@dataclass(frozen=True, eq=False)
class Lane:
    """An order of work: ``arcs[i, j]`` holds when member j directly follows member i (-1: the ends)."""

    members: tuple[Member, ...]
    arcs: dict[tuple[int, int], Literal]
    walk: Ticks


def neighbours(count: int, way: Way, precedes: Callable[[int, int], bool],
               parted: Callable[[int, int], bool]) -> list[tuple[int, int]]:
    """Which of ``count`` members of a lane may directly follow which; any may be the first and the last.

    Not where ``precedes`` forbids it (j before i), nor ``parted`` (never neighbours), nor without a way.
    """
    numbers = range(count)
    return [*((i, j) for i in numbers for j in numbers
              if i != j and not precedes(j, i) and not parted(i, j) and way(i, j) is not None),
            *(pair for i in numbers for pair in ((-1, i), (i, -1)))]


@dataclass(frozen=True)
class Rule:
    """Something that the model keeps by choice and the timing does not know: then - first >= gap (ticks).

    Active where all ``when`` hold. ``first_at`` and ``then_at`` are ``start`` or ``finish``.
    """

    first: str
    then: str
    gap: int
    when: tuple[Literal, ...]
    why: str
    first_at: str = "finish"
    then_at: str = "start"


@dataclass
class OrderModel:
    """A model being built. With ``explains`` every requirement has a literal that switches it off.

    What is in ``let_go`` is not asked at all.
    """

    horizon: int
    explains: bool = False
    let_go: frozenset[Requirement] = frozenset()
    cp: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    switches: dict[Requirement, cp_model.IntVar] = field(default_factory=dict)
    rules: list[Rule] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.yes = self.cp.new_constant(1)

    def switch(self, requirement: Requirement | None) -> list[Literal]:
        """The literals under which a requirement is asked: none unless this model explains."""
        if requirement in self.let_go:
            # A condition that never holds, so that the constraint asks nothing.
            return [~self.yes]
        if requirement is None or not self.explains:
            return []
        if requirement not in self.switches:
            self.switches[requirement] = self.cp.new_bool_var(f"ask {len(self.switches)}")
        return [self.switches[requirement]]

    def literal(self, name: str) -> cp_model.IntVar:
        """A new yes-or-no choice."""
        return self.cp.new_bool_var(name)

    def add_step(self, name: str, length: int, present: Literal | None = None) -> Placed:
        """0 <= s and s + d <= horizon."""
        start = self.cp.new_int_var(0, self.horizon - length, f"start {name}")
        return Placed(name, start, length, self.yes if present is None else present)

    def order(self, before: Placed, after: Placed, weight: int, requirement: Requirement | None = None,
              when: Sequence[Literal] = ()) -> None:
        """s_after >= s_before + weight."""
        self.cp.add(after.start >= before.start + weight).only_enforce_if(
            before.present, after.present, *when, *self.switch(requirement))

    def start_within(self, step: Placed, ranges: Sequence[tuple[int, int]],
                     requirement: Requirement | None = None) -> None:
        """s lies in one of the ranges [first, last]."""
        domain = cp_model.Domain.from_intervals([list(each) for each in ranges])
        self.cp.add_linear_expression_in_domain(step.start, domain).only_enforce_if(
            step.present, *self.switch(requirement))

    def share_window(self, steps: Sequence[Placed], windows: Sequence[tuple[int, int]],
                     requirement: Requirement | None = None) -> None:
        """All members of a group lie in one and the same window: begin_w <= s and s + d <= end_w."""
        chosen = [self.literal(f"window {number}") for number in range(len(windows))]
        if chosen:
            self.cp.add_exactly_one(chosen)
        asked = self.switch(requirement)
        for is_it, (begin, end) in zip(chosen, windows, strict=True):
            for step in steps:
                self.cp.add(step.start >= begin).only_enforce_if(is_it, step.present, *asked)
                self.cp.add(step.finish <= end).only_enforce_if(is_it, step.present, *asked)
        if not chosen:
            for step in steps:
                self.cp.add_bool_or(False).only_enforce_if(step.present, *asked)

    def add_lane(self, who: str, members: Sequence[Member], pairs: Iterable[tuple[int, int]], way: Way,
                 begin: Ticks, end: Ticks, precedes: Callable[[int, int], bool]) -> Lane:
        """One at a time, in some order, with travel: if j directly follows i, s_j >= s_i + d_i + way(i, j).

        ``pairs``: what may follow directly upon what (see `neighbours`).
        """
        names = [member.step.name for member in members] + ["airlock"]
        arcs: dict[tuple[int, int], Literal] = {
            (i, j): self.literal(f"{who} {names[i]}->{names[j]}") for i, j in pairs}
        self._circuit(members, arcs)
        for (i, j), arc in arcs.items():
            leave = begin if i < 0 else members[i].step.finish
            arrive = end if j < 0 else members[j].step.start
            self.cp.add(arrive >= leave + (way(i, j) or 0)).only_enforce_if(arc)
        walk = cp_model.LinearExpr.weighted_sum(list(arcs.values()), [way(*pair) or 0 for pair in arcs])
        self._keep_apart(who, members, arcs, way, precedes)
        self._fill(members, walk, begin, end)
        return Lane(tuple(members), arcs, walk)

    def _circuit(self, members: Sequence[Member], arcs: dict[tuple[int, int], Literal]) -> None:
        """The chosen arcs form one round through all members that are here."""
        rounds = [(i + 1, j + 1, arc) for (i, j), arc in arcs.items()]
        rounds += [(i + 1, i + 1, ~member.here) for i, member in enumerate(members)
                   if member.here is not self.yes]
        # A round must pass through its ends (0), unless these may loop, too: so that a lane can be empty.
        if all(member.here is not self.yes for member in members):
            rounds.append((0, 0, self.literal("idle")))
        self.cp.add_circuit(rounds)

    def _keep_apart(self, who: str, members: Sequence[Member], arcs: dict[tuple[int, int], Literal],
                    way: Way, precedes: Callable[[int, int], bool]) -> None:
        """Redundant: for any two, s_j >= s_i + d_i + way(i, j) or the other way round."""
        for i, j in combinations(range(len(members)), 2):
            a, b = (j, i) if precedes(j, i) and not precedes(i, j) else (i, j)
            is_known, names = precedes(a, b), f"{members[a].step.name}<{members[b].step.name}"
            is_first = self.yes if is_known else self.literal(f"{who} {names}")
            turns = [(a, b, is_first)] if is_known else [(a, b, is_first), (b, a, ~is_first)]
            for a, b, when in turns:
                one, other = members[a], members[b]
                self.order(one.step, other.step, one.step.length + (way(a, b) or 0),
                           when=(when, one.here, other.here))
                if (a, b) in arcs and when is not self.yes:
                    self.cp.add_implication(arcs[a, b], when)
        intervals = [self.cp.new_optional_interval_var(m.step.start, m.step.length, m.step.finish, m.here,
                                                       f"{who} {m.step.name}") for m in members]
        self.cp.add_no_overlap(intervals)

    def _fill(self, members: Sequence[Member], walk: Ticks, begin: Ticks,
              end: Ticks) -> None:
        """Redundant, and what makes proofs short: end - begin >= sum of d + sum of way on chosen arcs."""
        self.cp.add(end >= begin + cp_model.LinearExpr.weighted_sum(
            [m.here for m in members], [m.step.length for m in members]) + walk)

    def no_more_than(self, capacity: int, spans: Iterable[tuple[cp_model.IntervalVar, int]]) -> None:
        """At every moment the demands of the spans over it sum to at most ``capacity``."""
        intervals, demands = zip(*spans, strict=True)
        self.cp.add_cumulative(intervals, demands, capacity)
