"""What a gain must reach, and every single change that would meet it, each by the least that does."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from planning_kit.changes.amounts import Amount, Egress, GapTo, Stretch
from planning_kit.changes.change import Change, step_named, task_named
from planning_kit.changes.dropping import Drop, without_tasks
from planning_kit.explore.retime.retiming import network_of
from planning_kit.explore.sweep import EgressRange
from planning_kit.inputs.faults import ScenarioError, is_number
from planning_kit.inputs.records import Gap, Records
from planning_kit.inputs.times import pet_label
from planning_kit.plan.network import GROUP, LIGHT, LINK, ROUNDING_MIN, WINDOW
from planning_kit.plan.slack import Holder
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts

_WINDOW_KINDS = (LIGHT, LINK, WINDOW, GROUP)


@dataclass(frozen=True)
class Target:
    """Met when the step at position ``judged`` starts at or before ``latest_min`` (PET).

    ``asked`` is the position of the step that the planner named; ``words`` say what is wanted.
    """

    asked: int
    judged: int
    latest_min: float
    words: str
    is_window: bool = False

    def is_met(self, starts: np.ndarray) -> np.ndarray:
        """Whether starts (steps,) or (steps, samples) of a whole plan meet it."""
        return np.asarray((starts[self.judged] <= self.latest_min) & np.isfinite(starts).all(axis=0))


def find_target(plan: TimedPlan, step: str, minutes: float | None) -> Target:
    """What ``plan.gain(step, minutes)`` asks for.

    Without ``minutes``: the first step on the holding chain of ``step`` that is held by a window, or in one,
    is to start before that window begins. Raises `ScenarioError` for a step that there is not, minutes that
    are not above 0, or no window on the chain.
    """
    asked = plan.position(str(step))
    if asked in plan.network.fixed:
        raise ScenarioError.single("has begun: only what is to come can start earlier", table="steps",
                                   column="step", value=step)
    if minutes is None:
        return _window_before(plan, asked)
    if not is_number(minutes) or minutes <= 0:
        raise ScenarioError.single("must be above 0: by how many minutes earlier?", column="minutes",
                                   value=minutes)
    latest = float(plan.starts[asked]) - minutes + ROUNDING_MIN
    return Target(asked, asked, latest, f"{step} {minutes:g} min earlier than {_at(plan, asked)}")


def _window_before(plan: TimedPlan, asked: int) -> Target:
    position, seen = asked, set[int]()
    while position >= 0 and position not in seen:
        seen.add(position)
        holder = plan.holders.chosen[position]
        if plan.network.allowed[position] is not None and (
                position == asked or holder.kind in _WINDOW_KINDS):
            return _before_window_of(plan, asked, position, holder)
        position = holder.source
    raise ScenarioError.single(
        "no window is on what holds this step: say by how many minutes it shall start earlier (minutes=...)",
        table="steps", column="step", value=plan.steps[asked].step)


def _before_window_of(plan: TimedPlan, asked: int, position: int, holder: Holder) -> Target:
    windows, start = plan.network.allowed[position], plan.starts[position]
    assert windows is not None
    begin = float(windows[windows[:, 0] <= start][-1, 0])
    name = plan.steps[position].step
    what = " and ".join(demand.label for demand in plan.network.demands[position])
    words = f"{name} in a {what} window before the one that begins at {pet_label(begin)}"
    # Two searches for one window edge may stop a few billionths of a minute apart.
    return Target(asked, position, begin - ROUNDING_MIN, words, is_window=True)


def _at(plan: TimedPlan, position: int) -> str:
    return pet_label(float(plan.starts[position]))


ORDER, SHORTEN, MIN_GAP, MAX_GAP = "order", "shorten", "min gap", "max gap"
DROP, EGRESS = "drop", "egress"
_TENTHS = 10  # of a minute: finer than anyone works


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


def shortened_steps(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """For each step to come the least whole tenths by which it alone must be shorter; some are left."""
    tenths = [0 if position in plan.network.fixed else max(math.ceil(minutes * _TENTHS - 1e-9) - 1, 0)
              for position, minutes in enumerate(plan.durations)]
    owner = np.repeat(np.arange(len(tenths)), tenths)
    by_min = np.concatenate([np.arange(1, count + 1) / _TENTHS for count in tenths] or [np.zeros(0)])
    durations = np.repeat(plan.durations[:, None], len(owner), axis=1)
    durations[owner, np.arange(len(owner))] -= by_min
    starts = earliest_starts(plan.network, np.maximum(durations, 0.0))
    met = np.flatnonzero(target.is_met(starts))
    positions, first = np.unique(owner[met], return_index=True)
    for position, column in zip(positions, met[first], strict=True):
        yield _shortened(plan, int(position), float(by_min[column]))


def _shortened(plan: TimedPlan, position: int, by_min: float) -> Candidate:
    step, left = plan.steps[position], plan.durations[position] - by_min
    below = f", below its low estimate of {step.minutes_low:g}" if left < step.minutes_low - 1e-9 else ""
    words = f"{step.step} takes {left:.4g} min instead of {plan.durations[position]:g}{below}"
    share = by_min / float(plan.durations[position])
    shorter = Stretch((Amount(step_named(step.step), 1.0, -by_min),))
    return Candidate(SHORTEN, words, by_min, shorter, (share,))


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
                relaxed = _relaxed(gaps[number], kind, tenths / _TENTHS)
                changed = replace(records, gaps=(*gaps[:number], relaxed, *gaps[number + 1:]))
                return bool(target.is_met(_starts_of(plan, changed, plan.durations)))

            tenths = _least(is_met, math.floor(most * _TENTHS + 1e-9))
            if tenths:
                pair = f"{gap.first_step} {gap.then_step}"
                is_plain = sum(f"{other.first_step} {other.then_step}" == pair for other in gaps) == 1
                yield _gap_candidate(gap, kind, tenths / _TENTHS, pair if is_plain else gap.ends)


def _one_a_rule(gaps: Sequence[Gap]) -> Iterator[Gap]:
    """The gaps with several rows between the same ends as the one rule that they come to."""
    for ends in dict.fromkeys(gap.ends for gap in gaps):
        rows = [gap for gap in gaps if gap.ends == ends]
        greatest = [gap.max_gap for gap in rows if gap.max_gap is not None]
        yield replace(rows[0], min_gap=max(gap.min_gap for gap in rows), max_gap=min(greatest, default=None))


def _relaxed(gap: Gap, kind: str, by_min: float) -> Gap:
    if kind == MIN_GAP:
        return replace(gap, min_gap=gap.min_gap - by_min)
    assert gap.max_gap is not None
    return replace(gap, max_gap=gap.max_gap + by_min)


def _least(is_met: Callable[[int], bool], most: int) -> int:
    """The least of 1 to ``most`` that meets a rising test, or 0."""
    if most < 1 or not is_met(most):
        return 0
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_met(middle) else (middle, high)
    return high


def _gap_candidate(gap: Gap, kind: str, by_min: float, name: str) -> Candidate:
    relaxed, column = _relaxed(gap, kind, by_min), kind.replace(" ", "_")
    old, new = getattr(gap, column), round(getattr(relaxed, column), 9)
    which = "least" if kind == MIN_GAP else "greatest"
    words = f"{which} gap {gap.words} of {new:g} min instead of {old:g}"
    return Candidate(kind, words, by_min, GapTo(gap, {column: new}, name))


def dropped_tasks(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """Each optional or get-ahead task, not the step's own, without which the target is met.

    Its size is the work given up, in minutes, each shared step counted once.
    """
    records, steps = plan.scenario.records, plan.steps
    wanted = {steps[target.asked].step, steps[target.judged].step}
    begun = {steps[position].step for position in plan.network.fixed}
    for task in records.tasks:
        gone = {step.step for step in steps if step.task == task.task}
        if task.need == "required" or not gone or gone & (wanted | begun):
            continue
        kept = np.array([step.step not in gone for step in steps])
        starts = np.full(len(steps), 0.0)
        starts[kept] = _starts_of(plan, without_tasks(records, {task.task}), plan.durations[kept])
        if target.is_met(starts):
            minutes = round(float(plan.durations[~kept].sum()), 6)
            words = f"{task.need} task {task.task} left out, {minutes:g} min of work"
            yield Candidate(DROP, words, minutes, Drop((task_named(records, task.task),)))


def earlier_egress(plan: TimedPlan, target: Target, most_min: float = 720.0) -> Iterator[Candidate]:
    """The least whole tenths by which an earlier egress alone catches the window before, if any does.

    Only for windows: they stay where they are when egress moves. Any other step starts as much earlier as
    egress does, which is no gain.
    """
    if not target.is_window or plan.network.fixed:
        return
    tenths = np.arange(round(most_min * _TENTHS), 0, -1)
    most = float(tenths[0]) / _TENTHS
    egresses = EgressRange(plan.scenario, plan.egress - timedelta(minutes=most), most - tenths / _TENTHS)
    starts = egresses.starts(plan.durations)
    met = target.is_met(starts - tenths / _TENTHS)
    if met.any():
        by_min = float(tenths[np.flatnonzero(met)[-1]]) / _TENTHS
        earlier = Egress(plan.egress - timedelta(minutes=by_min), plan.egress)
        yield Candidate(EGRESS, f"egress {by_min:g} min earlier", by_min, earlier)


def _starts_of(plan: TimedPlan, records: Records, durations: np.ndarray) -> np.ndarray:
    """Starts under the plan's sky, and with its past, with other steps or gaps."""
    return earliest_starts(network_of(plan, records), durations)
