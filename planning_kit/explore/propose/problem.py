"""A scenario as an order problem: choices of tasks, crew, egress and order, under what the timing knows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property, partial

import numpy as np
from ortools.sat.python import cp_model

from planning_kit.explore.propose.chains import Chain
from planning_kit.explore.propose.histories import forced_orders
from planning_kit.explore.propose.model import Lane, Literal, OrderModel, Placed, Requirement
from planning_kit.explore.propose.ticks import start_windows, ticks_down, ticks_up
from planning_kit.explore.propose.work import Work
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.omm import Elements
from planning_kit.inputs.records import BOTH, Gap
from planning_kit.inputs.times import pet_label
from planning_kit.plan.almanac import Almanac, almanac_for
from planning_kit.plan.build import allowed_windows, crew_travel, step_demands
from planning_kit.plan.network import AFTER, Bound
from planning_kit.plan.travel import Travel


@dataclass(frozen=True, eq=False)
class Past:
    """What an order problem of the rest must know of what has happened. PET minutes throughout.

    ``ready_min``: by lane and step, when that one could begin it as the next of all; ``home_min``: by crew
    member, when they could be back at the airlock; ``hooks``: the place of each hook; ``not_before`` and
    ``not_after``: first and last start by step; ``windows`` (n, 2): by step, those that the begun part of its
    group leaves. ``let_go``: requirements that the present order does not keep, and that no other is asked.
    """

    ready_min: Mapping[str, Mapping[str, float]]
    home_min: Mapping[str, float]
    hooks: Mapping[str, str]
    not_before: Mapping[str, float]
    not_after: Mapping[str, float]
    windows: Mapping[str, np.ndarray]
    let_go: frozenset[Requirement] = frozenset()


@dataclass(frozen=True)
class Freedom:
    """What may be chosen: egress from ``earliest`` to ``latest`` (UTC) in steps, and the limit of the outing.

    ``cushion`` is how far durations are planned from likely (0) towards high (1); ``free`` as in `Work`.
    ``past``: what has happened, where only the rest of an outing is to be ordered.
    """

    earliest: datetime
    latest: datetime
    limit_min: float
    egress_every_min: float = 1.0
    cushion: float = 0.0
    free: str = "steps"
    past: Past | None = None


@dataclass
class Problem:
    """The model of one scenario and its choices. ``done[task, is_swapped]`` says that a task is done so.

    ``positions`` are the steps that may be in each lane, ``before`` for each step those that precede it
    whatever is chosen, ``more_bounds`` what the model keeps by such precedence and the timing does not know.
    """

    work: Work
    elements: Elements
    freedom: Freedom
    model: OrderModel
    almanac: Almanac
    travels: Mapping[str, Travel]
    egress: cp_model.IntVar
    end: cp_model.IntVar
    done: dict[tuple[str, bool], Literal] = field(default_factory=dict)
    tasks: dict[str, Literal] = field(default_factory=dict)
    placed: list[Placed] = field(default_factory=list)
    lanes: dict[str, Lane] = field(default_factory=dict)
    positions: dict[str, list[int]] = field(default_factory=dict)
    chains: list[Chain] = field(default_factory=list)
    before: list[set[int]] = field(default_factory=list)
    more_bounds: list[Bound] = field(default_factory=list)

    def modes(self, task: str) -> tuple[bool, ...]:
        """The ways to do a task: as written, and with the crew traded where it is swappable."""
        return (False, True) if task in self.work.swappable else (False,)

    @cached_property
    def numbers(self) -> dict[str, dict[int, int]]:
        """By lane the number of each step in it; -1 is the airlock in both."""
        return {who: {-1: -1} | {position: number for number, position in enumerate(positions)}
                for who, positions in self.positions.items()}


def start_problem(work: Work, elements: Elements, freedom: Freedom, explains: bool = False) -> Problem:
    """Choices of egress and tasks, and a start for every step; no rule yet but the horizon."""
    records = work.records
    spread_min = (freedom.latest - freedom.earliest).total_seconds() / 60
    settings = records.settings
    longer = replace(records, settings=replace(settings, horizon_h=settings.horizon_h + spread_min / 60))
    almanac = almanac_for(longer, elements, freedom.earliest)
    longest = max(map(ticks_up, work.minutes), default=0)
    let_go = freedom.past.let_go if freedom.past else frozenset()
    model = OrderModel(ticks_down(almanac.horizon_min) + longest, explains, let_go)
    count = int(spread_min // freedom.egress_every_min)
    every = ticks_up(freedom.egress_every_min)
    egress = model.cp.new_int_var_from_domain(
        cp_model.Domain.from_values([every * number for number in range(count + 1)]), "egress")
    end = model.cp.new_int_var(0, model.horizon, "end")
    problem = Problem(work, elements, freedom, model, almanac, crew_travel(records), egress, end)
    for task in records.tasks:
        _choose_task(problem, task.task)
    for step, minutes in zip(work.steps, work.minutes, strict=True):
        placed = model.add_step(step.step, ticks_up(minutes), problem.tasks[step.task])
        problem.placed.append(placed)
        model.cp.add(placed.start >= egress)
        model.cp.add(placed.start <= egress + ticks_down(settings.horizon_h * 60))
    problem.positions |= {who: _may_do(work, who) for who in work.lanes}
    return problem


def _may_do(work: Work, who: str) -> list[int]:
    names = {who, PARTNER.get(who)}
    return [i for i, step in enumerate(work.steps)
            if step.crew == who or (who in PARTNER and step.crew == BOTH)
            or (step.crew in names and step.crew in PARTNER and step.task in work.swappable)]


def is_here(problem: Problem, who: str, position: int) -> Literal:
    """Whether a step is done in someone's lane."""
    step = problem.work.steps[position]
    if step.crew == BOTH:
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


def find_precedence(problem: Problem, explains: bool) -> None:
    """Fill ``before``: what the tables say and, unless a clash is to be told, what hardware forces.

    Nothing is forced where a plan outside has let requirements go.
    """
    work, problem.before = problem.work, problem.work.before
    if explains:
        return
    is_sure = partial(_is_sure, problem)
    asked = [chain for chain in problem.chains if not problem.model.let_go]
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


def add_limit(problem: Problem) -> None:
    """end - egress <= limit; the end is the later of both at the airlock, plus ingress (see `add_lanes`)."""
    limit = problem.freedom.limit_min
    asked = Requirement("limits", "limit", f"both are inside by {pet_label(limit)}")
    problem.model.cp.add(problem.end <= problem.egress + ticks_down(limit)).only_enforce_if(
        *problem.model.switch(asked))


def first_way(problem: Problem, who: str, position: int) -> int | None:
    """Ticks from egress until someone can begin a step next of all, where a part of the outing is history."""
    past = problem.freedom.past
    assert past is not None
    minutes = past.ready_min[who][problem.work.steps[position].step]
    return ticks_up(minutes) if minutes < float("inf") else None


def add_after(problem: Problem) -> None:
    """s_step >= s_named + d_named for every step named in ``after``; through tasks that are left out, too."""
    work = problem.work
    for b, step in enumerate(work.steps):
        for name in step.after:
            asked = Requirement("steps", step.step, f"{step.step} waits for {name} (after)")
            _follow(problem, work.index[name], b, asked)
            for far in work.through(name):
                _follow(problem, far, b, asked)


def _follow(problem: Problem, a: int, b: int, asked: Requirement) -> None:
    problem.model.order(problem.placed[a], problem.placed[b], problem.placed[a].length, asked)


def add_gaps(problem: Problem) -> None:
    """least <= then - first <= greatest, between the ends that the gap names."""
    for gap in problem.work.records.gaps:
        a, b = problem.work.index[gap.first_step], problem.work.index[gap.then_step]
        lengths = _ends(problem, gap, a, b)
        why = f" ({gap.reason})" if gap.reason else ""
        least = Requirement("gaps", f"{gap.first_step} {gap.then_step}", f"{gap.then_step} comes at least "
                            f"{gap.min_gap:g} min after {gap.first_step}{why}")
        problem.model.order(problem.placed[a], problem.placed[b], ticks_up(gap.min_gap + lengths), least)
        if gap.max_gap is not None:
            most = Requirement("gaps", f"{gap.first_step} {gap.then_step}", f"{gap.then_step} comes at most "
                               f"{gap.max_gap:g} min after {gap.first_step}{why}")
            problem.model.order(problem.placed[b], problem.placed[a], ticks_up(-gap.max_gap - lengths), most)


def _ends(problem: Problem, gap: Gap, a: int, b: int) -> float:
    """What a gap between ends means between starts: minutes to add."""
    minutes = problem.work.minutes
    from_finish = minutes[a] if gap.first_at == "finish" else 0.0
    return from_finish - (minutes[b] if gap.then_at == "finish" else 0.0)


def add_windows(problem: Problem) -> None:
    """Each step lies in one of its windows; the steps of a group in one and the same."""
    work, guard_min = problem.work, problem.work.records.settings.night_guard_s / 60
    groups: dict[str, list[int]] = {}
    for i, step in enumerate(work.steps):
        demands = step_demands(step, problem.almanac, guard_min)
        if step.same_window:
            groups.setdefault(step.same_window, []).append(i)
        windows = allowed_windows(demands)
        if windows is not None:
            names = " and ".join(demand.label for demand in demands)
            asked = Requirement("steps", step.step, f"{step.step} ({work.minutes[i]:g} min) lies in one "
                                f"window of {names}")
            problem.model.start_within(problem.placed[i], start_windows(windows, work.minutes[i]), asked)
    for name, members in groups.items():
        demand = step_demands(work.steps[members[0]], problem.almanac, guard_min)[0]
        asked = Requirement("steps", name, f"{' '.join(work.steps[i].step for i in members)} lie in one and "
                            f"the same {demand.label} (same_window {name})")
        windows_ticks = [(ticks_up(begin), ticks_down(end)) for begin, end in demand.windows.tolist()]
        problem.model.share_window([problem.placed[i] for i in members], windows_ticks, asked)


def add_last_starts(problem: Problem) -> None:
    """A task begins by its last start: s - egress <= last_start for at least one of its steps."""
    work = problem.work
    for task in work.records.tasks:
        own = [i for i, step in enumerate(work.steps) if step.task == task.task]
        if task.last_start_min is None or not own:
            continue
        asked = Requirement("tasks", task.task, f"{task.task} begins by {pet_label(task.last_start_min)} "
                            "(last_start_min)")
        early = [problem.model.literal(f"{task.task} early") for _ in own]
        problem.model.cp.add_bool_or(early).only_enforce_if(
            problem.tasks[task.task], *problem.model.switch(asked))
        for i, is_early in zip(own, early, strict=True):
            problem.model.cp.add(
                problem.placed[i].start <= problem.egress + ticks_down(task.last_start_min)
            ).only_enforce_if(is_early)


def crews_of(problem: Problem, position: int, is_swapped: bool) -> tuple[str, ...]:
    """Who works in a step when its task is done so."""
    people = problem.work.steps[position].people
    return tuple(PARTNER.get(who, who) for who in people) if is_swapped else people
