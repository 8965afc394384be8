"""Edits of a scenario that a planner makes all day, each giving a new scenario."""

from __future__ import annotations

import pandas as pd

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario


def move_step(scenario: Scenario, step: str, *, after: str) -> Scenario:
    """The scenario with one row of ``steps.csv`` moved to just behind the row of ``after``.

    The row order is each crew member's order of work. Raises `ScenarioError` for a step that there is not,
    or for ``after`` the step itself.
    """
    steps = scenario.steps
    for name in (step, after):
        if name not in set(steps["step"]):
            raise ScenarioError.single("there is no such step", table="steps", column="step", value=name)
    if step == after:
        raise ScenarioError.single("a step cannot follow itself", table="steps", column="step", value=step)
    moved, others = steps[steps["step"] == step], steps[steps["step"] != step]
    cut = list(others["step"]).index(after) + 1
    ordered = pd.concat([others[:cut], moved, others[cut:]], ignore_index=True)
    return scenario.with_table("steps", ordered)
