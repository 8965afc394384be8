"""Check: required tasks that nothing in the plan does. Rule ``not-done``, about the task."""

from __future__ import annotations

from collections.abc import Iterator

from planning_kit.judge.findings import CONCERN, Finding
from planning_kit.plan.timed import TimedPlan

CHECK = "tasks"


def check_required_tasks(plan: TimedPlan) -> Iterator[Finding]:
    """A required task without steps (concern): it can be flown so, but the objective is not met."""
    with_steps = {step.task for step in plan.steps}
    for task in plan.scenario.records.tasks:
        if task.need == "required" and task.task not in with_steps:
            yield Finding(
                CONCERN, CHECK, "not-done", task.task, "", "", float("nan"),
                f"no step belongs to the required task {task.task} ({task.title or 'no title'}): add its "
                "steps, or have it accepted that this objective is not met (tasks.need)",
                "tasks.need",
            )
