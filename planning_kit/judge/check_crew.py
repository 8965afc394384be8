"""Checks of who does the work. ``crew``: rules ``not-trained`` (about the task), ``training-unknown``."""

from collections.abc import Iterator

from planning_kit.judge.findings import CONCERN, REMARK, Finding
from planning_kit.plan.build import work_order
from planning_kit.plan.timed import TimedPlan

CHECK, _SOURCE = "crew", "crew.csv, trained"


def check_training(plan: TimedPlan) -> Iterator[Finding]:
    """Where training is stated: a task of somebody not trained for it (concern), who is not told of."""
    people = plan.scenario.records.crew
    for each in people if any(each.trained for each in people) else ():
        work = [plan.steps[position] for position in work_order(plan.steps, each.crew)]
        if work and not each.trained:
            yield Finding(REMARK, CHECK, "training-unknown", crew=each.crew, source=_SOURCE, message=(
                f"What {each.label} is trained for is not stated: no task of theirs is checked for it"))
            continue
        firsts = {step.task: step for step in reversed(work) if step.task not in each.trained}
        for task, first in reversed(firsts.items()):
            yield Finding(
                CONCERN, CHECK, "not-trained", task, each.crew, first.step, plan.span(first.step)[0],
                f"{each.label} is not trained for {task}: let somebody do it who is, or train them", _SOURCE)
