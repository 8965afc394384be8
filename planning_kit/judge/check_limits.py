"""Checks: the limits of the outing, clocks that the plan uses up, and required tasks that nothing does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields

from planning_kit.inputs.records import Limits, Step
from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.needs import Clock
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

LIMITS = "limits"


def check_limits(plan: TimedPlan) -> Iterator[Finding]:
    """Outing end past the hard limit (stop) or the planned limit (concern)."""
    limits = plan.scenario.settings.limits
    for severity, key, limit in (
        (STOP, "hard_min", limits.hard_min), (CONCERN, "planned_min", limits.planned_min),
    ):
        if plan.end_min > limit + ROUNDING_MIN:
            over = plan.end_min - limit
            yield Finding(
                severity, LIMITS, "outing-end", "", "", "", plan.end_min,
                f"both are inside at {pet_label(plan.end_min)}, {over:.1f} min past the {key[:-4]} limit of "
                f"{pet_label(limit)}: drop or shorten work, or cut waits (see slack to limit)",
                limits.sources.get(key, ""), plan.end_min, limit, -over,
            )
            return


def check_egress(plan: TimedPlan) -> Iterator[Finding]:
    """Egress before ``egress_earliest`` or after ``egress_latest`` (concern)."""
    settings = plan.scenario.settings
    for key, limit, side, sign in (("egress_earliest", settings.egress_earliest, "before the earliest", 1),
                                   ("egress_latest", settings.egress_latest, "after the latest", -1)):
        if limit is None:
            continue
        margin = sign * (plan.egress - limit).total_seconds() / 60.0
        if margin < -ROUNDING_MIN:
            yield Finding(
                CONCERN, LIMITS, "egress-range", key, "", "", 0.0,
                f"egress at {plan.egress:%Y-%m-%d} GMT {gmt_label(plan.egress)} is {-margin:.0f} min {side} "
                f"egress, {limit:%Y-%m-%d} GMT {gmt_label(limit)}: leave within {key}, or have it changed by "
                "whoever set it",
                key, margin=margin,
            )


def check_limit_sources(plan: TimedPlan) -> Iterator[Finding]:
    """A remark for every limit that is given without a source."""
    limits = plan.scenario.settings.limits
    for key in (field.name for field in fields(Limits) if field.name != "sources"):
        if getattr(limits, key) is not None and not limits.sources.get(key):
            yield Finding(
                REMARK, LIMITS, "no-source", key, "", "", float("nan"),
                f"the limit {key} = {getattr(limits, key):g} gives no source: add {key}_source to [limits]",
            )


def check_last_starts(plan: TimedPlan) -> Iterator[Finding]:
    """A task whose first step starts after the task's ``last_start_min`` (stop)."""
    begins: dict[str, tuple[float, Step]] = {}
    for step, start in zip(plan.steps, plan.starts.tolist(), strict=True):
        if step.task not in begins or start < begins[step.task][0]:
            begins[step.task] = start, step
    for task in plan.scenario.records.tasks:
        if task.last_start_min is None or task.task not in begins:
            continue
        first, step = begins[task.task]
        if first > task.last_start_min + ROUNDING_MIN:
            late = first - task.last_start_min
            yield Finding(
                STOP, LIMITS, "last-start", task.task, step.crew, step.step, first,
                f"task {task.task} begins with {step.step} at {pet_label(first)}, {late:.1f} min after its "
                f"last start at {pet_label(task.last_start_min)}: drop it, or move it earlier in the order",
                "tasks.last_start_min", first, task.last_start_min, -late,
            )


CLOCKS = "clocks"


def check_clocks(plan: TimedPlan) -> Iterator[Finding]:
    """A remark for each clock without margin: the timing keeps it, any delay while it runs breaks it."""
    for clock in plan.gap_clocks:
        if clock.left_min < ROUNDING_MIN:
            yield _no_margin(clock)


def _no_margin(clock: Clock) -> Finding:
    first, then = clock.gap.first_step, clock.gap.then_step
    why = f" ({clock.gap.reason})" if clock.gap.reason else ""
    return Finding(
        REMARK, CLOCKS, "no-margin", f"{first} {then}", "", then, clock.begin_min,
        f"no margin on the clock from {first} at {pet_label(clock.begin_min)} to {then} at "
        f"{pet_label(clock.end_min)}: {clock.actual_min:g} of {clock.max_gap_min:g} min{why}. Any delay "
        "while it runs breaks it; a smaller max_gap keeps some in hand",
        "gaps.max_gap", clock.actual_min, clock.max_gap_min, clock.left_min,
    )


TASKS = "tasks"


def check_required_tasks(plan: TimedPlan) -> Iterator[Finding]:
    """A required task without steps (concern): it can be flown so, but the objective is not met."""
    with_steps = {step.task for step in plan.steps}
    for task in plan.scenario.records.tasks:
        if task.need == "required" and task.task not in with_steps:
            yield Finding(
                CONCERN, TASKS, "not-done", task.task, "", "", float("nan"),
                f"no step belongs to the required task {task.task} ({task.title or 'no title'}): add its "
                "steps, or have it accepted that this objective is not met (tasks.need)",
                "tasks.need",
            )
