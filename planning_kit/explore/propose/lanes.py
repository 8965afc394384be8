"""Lanes of the order problem: who does what in which order, with travel, from the airlock and back to it."""

from __future__ import annotations

from collections.abc import Callable

from planning_kit.explore.propose.model import Member
from planning_kit.explore.propose.problem import Problem, first_way, is_here
from planning_kit.explore.propose.ticks import ticks_up
from planning_kit.explore.propose.work import BY_RUNS
from planning_kit.plan.build import travel_into


def add_lanes(problem: Problem) -> None:
    """Everyone does one thing at a time; crew travel, from the airlock and back to it."""
    work, model = problem.work, problem.model
    never_ends = model.cp.new_constant(2 * model.horizon)
    for who in work.lanes:
        positions = problem.positions[who]
        members = [Member(problem.placed[i], is_here(problem, who, i)) for i in positions]
        is_crew = who in work.crews
        if members:
            problem.lanes[who] = model.add_lane(
                who, members, lane_way(problem, who, positions), problem.egress,
                problem.end if is_crew else never_ends,
                _precedes(problem, positions),
                _parted(problem, who, members, positions),
            )


def _precedes(problem: Problem, positions: list[int]) -> Callable[[int, int], bool]:
    return lambda a, b: positions[a] in problem.before[positions[b]]


def lane_way(problem: Problem, who: str, positions: list[int]) -> Callable[[int, int], int | None]:
    """Ticks of travel between members of a lane; home includes ingress; None where no route leads there."""
    records = problem.work.records
    airlock, travel = records.settings.airlock, problem.travels.get(who)
    table: dict[tuple[int, int], int | None] = {}

    def way(a: int, b: int) -> int | None:
        if a < 0 <= b and problem.freedom.past:
            return first_way(problem, who, positions[b])
        if travel is None:
            return 0
        if (a, b) not in table:
            here = airlock if a < 0 else problem.work.steps[positions[a]].place
            if b < 0:
                minutes = travel.time_min(here, airlock) + records.settings.limits.ingress_min
            else:
                step = problem.work.steps[positions[b]]
                minutes = travel_into(step, travel, here) + step.travel_extra_min
            table[a, b] = ticks_up(minutes) if minutes < float("inf") else None
        return table[a, b]

    return way


def _parted(problem: Problem, who: str, members: list[Member],
            positions: list[int]) -> Callable[[int, int], bool]:
    """Whether some third step of the lane always stands between two, so that no arc joins them."""
    before, always = problem.before, problem.model.yes
    glued = problem.work.runs.get(who, {}) if problem.work.free == BY_RUNS else {}
    glued_from = {b: a for a, b in glued.items()}

    def parted(a: int, b: int) -> bool:
        first, second = positions[a], positions[b]
        if glued.get(first, second) != second or glued_from.get(second, first) != first:
            return True
        return any(
            first in before[third] and third in before[second]
            and (members[c].here is always or members[c].here is members[a].here
                 or members[c].here is members[b].here)
            for c, third in enumerate(positions)
        )

    return parted
