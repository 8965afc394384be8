"""What a gain must reach, and every change but a move in the order of work that reaches it alone.

Of each change the least that is enough is found, in tenths of a minute.
"""

import bisect
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np

from planning_kit.changes.amounts import Amount, GapTo, PetZero, Set, Stretch
from planning_kit.changes.change import Change, step_named, task_named
from planning_kit.changes.dropping import Drop, without_tasks
from planning_kit.explore.retime.retiming import network_of
from planning_kit.explore.sweep import PetZeroRange
from planning_kit.inputs.faults import ScenarioError, is_number
from planning_kit.inputs.records import Gap, Records
from planning_kit.inputs.times import pet_label
from planning_kit.judge.review import may_go
from planning_kit.plan.late import planned_starts
from planning_kit.plan.network import GROUP, LIGHT, LINK, ROUNDING_MIN, WINDOW
from planning_kit.plan.timed import TimedPlan

_WINDOW_KINDS = (LIGHT, LINK, WINDOW, GROUP)


@dataclass(frozen=True)
class Target:
    """Met when the step at position ``judged`` starts at or before ``latest_min`` (PET).

    ``named`` is the position of the step that the planner named; ``words`` say what is wanted. ``mends``: any
    plan that keeps all rules meets it.
    """

    named: int
    judged: int
    latest_min: float
    words: str
    is_window: bool = False
    mends: bool = False

    def is_met(self, starts: np.ndarray) -> np.ndarray:
        """Whether starts (steps,) or (steps, samples) of a whole plan meet it."""
        return np.asarray((starts[self.judged] <= self.latest_min) & np.isfinite(starts).all(axis=0))


def find_target(plan: TimedPlan, step: str, minutes: float | None) -> Target:
    """What ``plan.gain(step, minutes)`` asks for.

    Without ``minutes``: the first step on the holding chain of ``step`` that is held by a window, or in one,
    is to start before that window begins; of a plan in which rules give way, that none does. Raises
    `ScenarioError` for a step that there is not, minutes that are not above 0, or no window on the chain.
    """
    named = plan.position(str(step))
    if named in plan.network.fixed:
        raise ScenarioError.single("has begun: only what is to come can start earlier", table="steps",
                                   column="step", value=step)
    if minutes is None and plan.network.given_way:
        return Target(named, named, np.inf, "a plan that keeps all rules", is_window=True, mends=True)
    if minutes is None:
        return _window_before(plan, named)
    if not is_number(minutes) or minutes <= 0:
        raise ScenarioError.single("must be above 0: by how many minutes earlier?", column="minutes",
                                   value=minutes)
    start = float(plan.starts[named])
    # Tenths lie off the grid of starts: without a hair more the next tenth would be needed.
    return Target(named, named, start - minutes + ROUNDING_MIN,
                  f"{step} {minutes:g} min earlier than {pet_label(start)}")


def _window_before(plan: TimedPlan, named: int) -> Target:
    position, seen = named, set[int]()
    while position >= 0 and position not in seen:
        seen.add(position)
        holder, windows = plan.holders.chosen[position], plan.network.allowed[position]
        if windows is not None and (position == named or holder.kind in _WINDOW_KINDS):
            begin = float(windows[windows[:, 0] <= plan.starts[position]][-1, 0])
            what = " and ".join(demand.label for demand in plan.network.demands[position])
            words = (f"{plan.steps[position].step} in a {what} window before the one that begins at "
                     f"{pet_label(begin)}")
            # Two searches for one window edge may stop a few billionths of a minute apart.
            return Target(named, position, begin - ROUNDING_MIN, words, is_window=True)
        position = holder.source
    raise ScenarioError.single(
        "no window is on what holds this step: say by how many minutes it shall start earlier (minutes=...)",
        table="steps", column="step", value=plan.steps[named].step)


ORDER, SHORTEN, MIN_GAP, MAX_GAP = "order", "shorten", "min gap", "max gap"
DROP, PET_ZERO = "drop", "pet_zero"
GUARD = "guard"
KINDS = (GUARD, ORDER, SHORTEN, MIN_GAP, MAX_GAP, DROP, PET_ZERO)
_TENTHS = 10  # of a minute: finer than anyone works
_MOST_EARLIER_MIN = 720


@dataclass(frozen=True)
class Candidate:
    """One change that meets the target in the timing.

    ``kind`` is the table's; ``rank`` orders changes of one kind and size.
    """

    kind: str
    words: str
    by_min: float
    change: Change
    rank: tuple[float, ...] = ()


def other_changes(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """Every change that is no move in the order of work and meets the target by itself."""
    for found in (less_guard, shortened_steps, relaxed_gaps, dropped_tasks, other_pet_zero):
        yield from found(plan, target)


def less_guard(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """The least whole seconds by which the guard of the light must be less, to mend what breaks a rule."""
    records, guard_s = plan.scenario.records, plan.scenario.settings.night_guard_s
    if not target.mends:
        return

    def is_met(seconds: int) -> bool:
        settings = replace(records.settings, night_guard_s=guard_s - seconds)
        return _is_met(plan, target, replace(records, settings=settings))

    seconds = _least(is_met, math.floor(guard_s))
    if seconds:
        words = f"night guard of {guard_s - seconds:g} s instead of {guard_s:g}"
        yield Candidate(GUARD, words, seconds / 60.0, Set({"lighting.night_guard_s": guard_s - seconds}))


def shortened_steps(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """For each step to come the least whole tenths by which it alone must be shorter; some are left."""
    # Some of the step is left: one of no minutes would be left out, not shortened. The hair keeps a rounding
    # from counting as one tenth more.
    tenths = [0 if position in plan.network.fixed else max(math.ceil(minutes * _TENTHS - 1e-9) - 1, 0)
              for position, minutes in enumerate(plan.durations)]
    owner = np.repeat(np.arange(len(tenths)), tenths)
    by_min = np.concatenate([np.arange(1, count + 1) / _TENTHS for count in tenths] or [np.zeros(0)])
    durations = np.repeat(plan.durations[:, None], len(owner), axis=1)
    durations[owner, np.arange(len(owner))] -= by_min
    starts = planned_starts(plan.network.as_asked, np.maximum(durations, 0.0))
    met = np.flatnonzero(target.is_met(starts))
    # The columns of a step begin with the least cut, so its first that meets the target is the least.
    positions, first = np.unique(owner[met], return_index=True)
    for position, by in zip(positions.tolist(), by_min[met[first]].tolist(), strict=True):
        step, minutes = plan.steps[position], float(plan.durations[position])
        left = minutes - by
        below = f", below its low estimate of {step.minutes_low:g}" if left < step.minutes_low - 1e-9 else ""
        yield Candidate(SHORTEN, f"{step.step} takes {left:.4g} min instead of {minutes:g}{below}", by,
                        Stretch((Amount(step_named(step.step), 1.0, -by),)), (by / minutes,))


def relaxed_gaps(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """For each gap the least whole tenths by which its least or greatest gap must give way.

    A least gap gives way at most to 0, and only where it is above 0.
    """
    records = plan.scenario.records
    gaps = list(_one_a_rule(records.gaps))
    for number, gap in enumerate(gaps):
        for kind, most in ((MIN_GAP, gap.min_gap), (MAX_GAP, plan.horizon_min)):
            if most <= 0 or (kind == MAX_GAP and gap.max_gap is None):
                continue

            def is_met(tenths: int, number: int = number, kind: str = kind) -> bool:
                relaxed = replace(gaps[number], **_relaxed(gaps[number], kind, tenths / _TENTHS))
                return _is_met(plan, target, replace(records, gaps=(*gaps[:number], relaxed,
                                                                    *gaps[number + 1:])))

            # A gap that gives way more makes no step later, so that the test rises and bisection is safe.
            tenths = _least(is_met, math.floor(most * _TENTHS + 1e-9))
            if tenths:
                pair = f"{gap.first_step} {gap.then_step}"
                is_plain = sum(f"{other.first_step} {other.then_step}" == pair for other in gaps) == 1
                column, minutes = _relaxed(gap, kind, tenths / _TENTHS).popitem()
                new = round(minutes, 9)
                which = "least" if kind == MIN_GAP else "greatest"
                words = f"{which} gap {gap.words} of {new:g} min instead of {getattr(gap, column):g}"
                yield Candidate(kind, words, tenths / _TENTHS,
                                GapTo(gap, {column: new}, pair if is_plain else gap.ends))


def _one_a_rule(gaps: Sequence[Gap]) -> Iterator[Gap]:
    """The gaps with several rows between the same ends as the one rule that they come to."""
    for ends in dict.fromkeys(gap.ends for gap in gaps):
        rows = [gap for gap in gaps if gap.ends == ends]
        greatest = [gap.max_gap for gap in rows if gap.max_gap is not None]
        yield replace(rows[0], min_gap=max(gap.min_gap for gap in rows), max_gap=min(greatest, default=None))


def _relaxed(gap: Gap, kind: str, by_min: float) -> dict[str, Any]:
    """What of a gap is another once it gives way so far."""
    return {"min_gap": gap.min_gap - by_min} if kind == MIN_GAP else {"max_gap": (gap.max_gap or 0) + by_min}


def _least(is_met: Callable[[int], bool], most: int) -> int:
    """The least of 1 to ``most`` that meets a rising test, or 0."""
    if most < 1 or not is_met(most):
        return 0
    return bisect.bisect_left(range(1, most), True, key=is_met) + 1


def dropped_tasks(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """Each optional or get-ahead task, not the step's own, without which the target is met.

    Its size is the work given up, in minutes, each shared step counted once.
    """
    records, steps = plan.scenario.records, plan.steps
    needed = {steps[target.named].step, steps[target.judged].step}
    begun = {steps[position].step for position in plan.network.fixed}
    for task in records.tasks:
        gone = {step.step for step in steps if step.task == task.task}
        if not may_go(task) or not gone or gone & (needed | begun):
            continue
        kept = np.array([step.step not in gone for step in steps])
        # What is left out must not count as a step without a place.
        starts = np.full(len(steps), 0.0)
        network = network_of(plan, without_tasks(records, {task.task}))
        starts[kept] = planned_starts(network, plan.durations[kept])
        if target.is_met(starts):
            minutes = round(float(plan.durations[~kept].sum()), 6)
            words = f"{task.need} task {task.task} left out, {minutes:g} min of work"
            yield Candidate(DROP, words, minutes, Drop((task_named(records, task.task),)))


def other_pet_zero(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """The least whole tenths by which an earlier PET 0 alone catches the window before, if any does.

    Only for windows: they stay where they are when PET 0 moves. Any other step starts as much earlier as
    PET 0 does, which is no gain. What breaks a rule may be mended by a later PET 0, too.
    """
    if not target.is_window or plan.network.fixed:
        return
    most = _MOST_EARLIER_MIN * _TENTHS
    earlier = np.concatenate((np.arange(most, 0, -1), -np.arange(1, most + 1) if target.mends else []))
    first = plan.pet_zero - timedelta(minutes=_MOST_EARLIER_MIN)
    pet_zeros = PetZeroRange(plan.scenario, first, _MOST_EARLIER_MIN - earlier / _TENTHS)
    starts = pet_zeros.starts(plan.durations)
    # Told from the plan's own PET 0. NaN, a PET 0 that has to be timed by itself, counts as not met: a
    # change may be missed, but none is made up.
    met = np.flatnonzero(target.is_met(starts - earlier / _TENTHS))
    if len(met):
        by_min = float(min(earlier[met], key=abs)) / _TENTHS
        words = f"PET 0 {abs(by_min):g} min {'earlier' if by_min > 0 else 'later'}"
        yield Candidate(PET_ZERO, words, abs(by_min),
                        PetZero(plan.pet_zero - timedelta(minutes=by_min), plan.pet_zero))


def _is_met(plan: TimedPlan, target: Target, records: Records) -> bool:
    """Whether other gaps or another guard meet the target, under the plan's sky and with its past."""
    return bool(target.is_met(planned_starts(network_of(plan, records), plan.durations)))
