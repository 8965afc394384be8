"""What the numbers of a revision cannot judge: work that is no longer done, controls that were changed.

A plan with less work and fewer rules has fewer findings and more margin; that alone does not make it better.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pandas as pd

from planning_kit.explore.revising.input_changes import RENAMED
from planning_kit.plan.timed import TimedPlan

if TYPE_CHECKING:
    from planning_kit.explore.revising.revisions import Revision

STOP, WORSE, LOOK, BETTER, SAME = "stop", "worse", "look", "better", "same"
CONTROLS, TASKS = "controls", "tasks"
_TABLES = ("inhibits", "gaps", "windows")
_STEP_COLUMNS = ("light", "same_window", "windows", "foothold", "link", "after", "caution", "make_safe",
                 "safe_orderly_min", "safe_now_min")
_PLACE_COLUMNS = ("crew_at_once", "anchor", "socket", "tight", "snag", "caution")
_SECTIONS = ("lighting.", "suit.", "exertion_w.", "relays.")

Verdict = tuple[str, str, str]


def of_controls(inputs: pd.DataFrame) -> Iterator[Verdict]:
    """Limits, inhibits, greatest and least gaps, demands and cautions that changed, one by one."""
    for row in inputs.to_dict("records"):
        table, key, column = row["table"], str(row["row"]), row["column"]
        if table == "scenario.toml" and key.startswith("limits."):
            yield LOOK, "limits", f"a limit itself changed: {row['words']}"
        elif row["change"] != RENAMED and key and (
                table in _TABLES
                or (table == "steps" and column in _STEP_COLUMNS)
                or (table in ("places", "routes") and column in _PLACE_COLUMNS)
                or (table == "scenario.toml" and key.startswith(_SECTIONS))):
            yield LOOK, CONTROLS, f"a control changed: {row['words']}"


def of_tasks(revision: Revision) -> Iterator[Verdict]:
    """Tasks that are no longer done, that are new, or of which less is asked."""
    before, after = _done(revision.plan_a), _done(revision.plan_b)
    inputs = revision.inputs
    renamed = inputs[(inputs["table"] == "tasks") & (inputs["change"] == RENAMED)]
    new_names = dict(zip(renamed["before"], renamed["after"], strict=True))
    for task, (need, title) in before.items():
        now = after.pop(new_names.get(task, task), None)
        name = f"{task} ({title})" if title else task
        if now is None:
            yield (WORSE if need == "required" else LOOK, TASKS, f"{need} task {name} is no longer done")
        elif need == "required" and now[0] != need:
            yield LOOK, TASKS, f"task {name} is no longer required: {now[0]}"
    for task, (need, title) in after.items():
        yield LOOK, TASKS, f"{need} task {task}{f' ({title})' if title else ''} is new"


def _done(plan: TimedPlan | None) -> dict[str, tuple[str, str]]:
    """Need and title of each task of which a plan has a step."""
    if plan is None:
        return {}
    used = {step.task for step in plan.steps}
    return {task.task: (task.need, task.title.strip()) for task in plan.scenario.records.tasks
            if task.task in used}
