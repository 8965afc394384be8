"""The rules of an order that the timing knows, too: lanes with travel, gaps, windows, the past.

The steps that have begun are not in the model at all. What they leave behind is: where everyone is and when
they can be elsewhere, what is in whose hands (``hardware.at`` of the records), where the tethers are
hooked, and the rules that lead from history into the rest, as first and last starts. A last start that the
present order cannot keep either is moved to where that order has the step: no other order may make it
worse.
"""

from collections.abc import Callable
from functools import cache, partial

from planning_kit.explore.propose.order_model import (
    Member,
    Requirement,
    neighbours,
    start_windows,
    ticks_down,
    ticks_up,
)
from planning_kit.explore.propose.order_problem import BY_RUNS, Problem, is_here
from planning_kit.inputs.times import pet_label
from planning_kit.plan.build import allowed_windows, hatch_releases, step_demands, travel_into


def add_lanes(problem: Problem) -> None:
    """Everyone does one thing at a time; crew travel, from the airlock and back to it."""
    work, model = problem.work, problem.model
    # What an actor still does when both are inside does not keep the outing from ending.
    never_ends = model.cp.new_constant(2 * model.horizon)
    for who in work.lanes:
        positions = problem.positions[who]
        members = [Member(problem.placed[i], is_here(problem, who, i)) for i in positions]
        if members:
            problem.lanes[who] = model.add_lane(
                who, members, lane_arcs(problem, who), lane_way(problem, who), begin=problem.pet_zero,
                end=problem.end if who in work.crews else never_ends,
                precedes=partial(_precedes, problem, positions))


def lane_arcs(problem: Problem, who: str) -> list[tuple[int, int]]:
    """Which member of a lane may directly follow which, by number; -1 is the airlock."""
    positions = problem.positions[who]
    return neighbours(len(positions), lane_way(problem, who), partial(_precedes, problem, positions),
                      _parted(problem, who, positions))


def _precedes(problem: Problem, positions: list[int], a: int, b: int) -> bool:
    return positions[a] in problem.before[positions[b]]


def lane_way(problem: Problem, who: str,
             units: Callable[[float], int] = ticks_up) -> Callable[[int, int], int | None]:
    """Ticks of travel between members of a lane; home includes ingress; None where no route leads there."""
    records, positions, past = problem.work.records, problem.positions[who], problem.freedom.past
    airlock, travel = records.settings.airlock_place, problem.travels.get(who)

    @cache  # many steps end at one place
    def from_place(here: str, b: int) -> int | None:
        if travel is None:
            long = 0.0
        elif b < 0:
            long = travel.time_min(here, airlock) + records.settings.airlock.ends_min
        else:
            step = problem.work.steps[positions[b]]
            long = travel_into(step, travel, here) + step.travel_extra_min
        return units(long) if long < float("inf") else None

    def way(a: int, b: int) -> int | None:
        if a < 0 <= b and past:  # from where they are now, with what they must do before they can leave
            long = past.ready_min[who][problem.work.steps[positions[b]].step]
            return units(long) if long < float("inf") else None
        return from_place(airlock if a < 0 else problem.work.steps[positions[a]].place, b)

    return way


def _parted(problem: Problem, who: str, positions: list[int]) -> Callable[[int, int], bool]:
    """Whether two steps of the lane do not stay neighbours, as one of them has another one that it keeps."""
    then = problem.work.runs.get(who, {}) if problem.freedom.free == BY_RUNS else {}
    first = {b: a for a, b in then.items()}

    def parted(a: int, b: int) -> bool:
        one, other = positions[a], positions[b]
        return then.get(one, other) != other or first.get(other, one) != one

    return parted


def add_limit(problem: Problem) -> None:
    """end - PET 0 <= limit; the end is the later of both at the airlock, plus ingress (see `add_lanes`)."""
    limit = problem.freedom.limit_min
    asked = Requirement("limits", "limit", f"both are inside by {pet_label(limit, 'down')}")
    problem.model.cp.add(problem.end <= problem.pet_zero + ticks_down(limit)).only_enforce_if(
        *problem.model.switch(asked))


def add_after(problem: Problem) -> None:
    """s_step >= s_named + d_named for every step named in ``after``; through tasks that are left out, too."""
    work = problem.work
    for step, placed in zip(work.steps, problem.placed, strict=True):
        for name in step.after:
            asked = Requirement("steps", step.step, f"{step.step} waits for {name} (after)")
            for i in (work.index[name], *work.through(name)):
                problem.model.order(problem.placed[i], placed, problem.placed[i].length, asked)


def add_gaps(problem: Problem) -> None:
    """least <= then - first <= greatest, between the ends that the gap names."""
    for gap in problem.work.records.gaps:
        a, b = problem.work.index[gap.first_step], problem.work.index[gap.then_step]
        lengths = between_ends(problem, a, b, gap.first_at, gap.then_at)
        why = f" ({gap.reason})" if gap.reason else ""
        least = Requirement("gaps", f"{gap.first_step} {gap.then_step}", f"{gap.then_step} comes at least "
                            f"{gap.min_gap:g} min after {gap.first_step}{why}")
        problem.model.order(problem.placed[a], problem.placed[b], ticks_up(gap.min_gap + lengths), least)
        if gap.max_gap is not None:
            most = Requirement("gaps", f"{gap.first_step} {gap.then_step}", f"{gap.then_step} comes at most "
                               f"{gap.max_gap:g} min after {gap.first_step}{why}")
            # Read backwards it is a least gap, so that rounding up is the strict side here, too.
            problem.model.order(problem.placed[b], problem.placed[a], ticks_up(-gap.max_gap - lengths), most)


def between_ends(problem: Problem, a: int, b: int, first_at: str, then_at: str) -> float:
    """What a gap between these ends of two steps means between their starts: minutes to add."""
    minutes = problem.work.minutes
    from_finish = minutes[a] if first_at == "finish" else 0.0
    return from_finish - (minutes[b] if then_at == "finish" else 0.0)


def add_hatch(problem: Problem) -> None:
    """s_step - PET 0 >= hatch_open_min + travel from the airlock, for whoever does a step outside."""
    work = problem.work
    releases = hatch_releases(work.records.settings, work.steps, problem.positions, problem.travels)
    for each in releases:
        problem.model.cp.add(
            problem.placed[each.step].start >= problem.pet_zero + ticks_up(each.at_min)
        ).only_enforce_if(is_here(problem, each.crew, each.step))


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
    """A task begins by its last start: s - PET 0 <= last_start for at least one of its steps."""
    work = problem.work
    for task in work.records.tasks:
        own = [i for i, step in enumerate(work.steps) if step.task == task.task]
        if task.last_start_min is None or not own:
            continue
        asked = Requirement("tasks", task.task, f"{task.task} begins by "
                            f"{pet_label(task.last_start_min, 'down')} (last_start_min)")
        early = [problem.model.literal(f"{task.task} early") for _ in own]
        problem.model.cp.add_bool_or(early).only_enforce_if(
            problem.tasks[task.task], *problem.model.switch(asked))
        for i, is_early in zip(own, early, strict=True):
            problem.model.cp.add(
                problem.placed[i].start <= problem.pet_zero + ticks_down(task.last_start_min)
            ).only_enforce_if(is_early)


TIMED_RULES = (add_limit, add_lanes, add_after, add_gaps, add_windows, add_hatch, add_last_starts)


def add_past(problem: Problem) -> None:
    """first <= s <= last, windows of groups that have begun, and nobody home sooner than they can be."""
    past, model, work = problem.freedom.past, problem.model, problem.work
    if past is None:
        return
    for placed, step, minutes in zip(problem.placed, work.steps, work.minutes, strict=True):
        name = step.step
        model.cp.add(placed.start >= ticks_up(max(past.not_before[name], past.free_min[name])))
        if name in past.not_after:
            model.cp.add(placed.start <= ticks_down(past.not_after[name])).only_enforce_if(placed.present)
        if name in past.windows:
            asked = Requirement("steps", name, f"{name} lies in the window in which its group has begun")
            model.start_within(placed, start_windows(past.windows[name], minutes), asked)
    ends_min = work.records.settings.airlock.ends_min
    # Who has nothing left to do has no arc home, and could seem to be inside already.
    for home_min in past.home_min.values():
        model.cp.add(problem.end >= ticks_up(home_min + ends_min))
