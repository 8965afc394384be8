"""Planned against actual, step by step and task by task."""

from __future__ import annotations

import numpy as np
import pandas as pd

from planning_kit.inputs.faults import ScenarioError, is_number
from planning_kit.inputs.log_state import DONE, IN_PROGRESS, State
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable
from planning_kit.plan.timed import TimedPlan

PROGRESS_COLUMNS = ["step", "task", "crew", "title", "status", "planned_start_min", "start_min",
                    "planned_finish_min", "finish_min", "late_min", "planned_minutes", "minutes", "over_min"]
TASK_COLUMNS = ["task", "title", "need", "status", "steps", "done", "planned_minutes", "minutes", "over_min",
                "planned_finish_min", "finish_min", "late_min"]
LEFT_OUT_COLUMNS = ["step", "task", "crew", "title", "kind", "why"]
_NONE = float("nan")


def progress_table(plan: TimedPlan) -> pd.DataFrame:
    """A row a step of the plan that the crew took outside, in its row order. PET minutes.

    ``status``: done, in progress, to do, left (with a rest to do), skipped, not done (no place is left for
    it). ``start_min`` and ``finish_min`` are actual as far as they are history, else re-timed; ``late_min``
    compares the finish with the planned one. ``minutes`` is the work so far, and ``over_min`` what a finished
    step took beyond its likely duration. NaN where there is nothing to compare.
    """
    outside = plan.known_outside("progress")
    base, gone = outside.planned, {left.step: left.kind for left in outside.happened.left_out}
    rows = []
    for state in outside.states.by_step.values():
        step = state.step
        start, finish = times_of(plan, step.step)
        start = state.pieces[0][0] if state.pieces else start
        position = base.position(step.step)
        planned = float(base.starts[position]), float(base.finishes[position])
        worked = _worked(state, outside.now_min)
        over = worked - step.minutes_likely if state.status == DONE else _NONE
        rows.append((step.step, step.task, step.crew, step.title, gone.get(step.step, state.status),
                     planned[0], start, planned[1], finish, finish - planned[1], step.minutes_likely, worked,
                     over))
    return TextTable(rows, columns=PROGRESS_COLUMNS)


def times_of(plan: TimedPlan, step: str) -> tuple[float, float]:
    """Start and finish of a step, PET minutes; NaN where it is not in the plan."""
    if step not in plan.network.steps:
        return _NONE, _NONE
    position = plan.position(step)
    return float(plan.starts[position]), float(plan.finishes[position])


def _worked(state: State, now_min: float) -> float:
    if not state.pieces:
        return _NONE
    return state.worked_min + (now_min - state.pieces[-1][0] if state.status == IN_PROGRESS else 0.0)


def task_table(plan: TimedPlan) -> pd.DataFrame:
    """A row a task, in the order of the table.

    ``done`` of so many ``steps``; ``planned_minutes`` and ``minutes`` are those of its finished steps, and
    ``over_min`` their difference; ``late_min`` compares the finish of its last step with the planned one.
    """
    outside, rows = plan.known_outside("task_progress"), []
    steps = progress_table(plan)
    for task in outside.base.scenario.records.tasks:
        own = steps[steps["task"] == task.task]
        finished = own[own["status"] == DONE]
        planned, finish = own["planned_finish_min"].max(), own["finish_min"].max()
        minutes = float(finished["planned_minutes"].sum()), float(finished["minutes"].sum())
        rows.append((task.task, task.title, task.need, _status(own["status"]), len(own), len(finished),
                     *minutes, minutes[1] - minutes[0], planned, finish, finish - planned))
    return TextTable(rows, columns=TASK_COLUMNS)


def _status(states: pd.Series) -> str:
    seen = set(states)
    if len(seen) == 1:
        return str(states.iloc[0])
    if not seen - {DONE, "skipped", "not done"}:
        return "partly done" if DONE in seen else "not done"
    return IN_PROGRESS if seen & {DONE, IN_PROGRESS, "left"} else "to do"


def left_out_table(plan: TimedPlan) -> pd.DataFrame:
    """A row a step that the re-timed plan does not hold; ``kind``: skipped or not done, ``why`` in words."""
    outside, rows = plan.known_outside("left_out"), []
    for left in outside.happened.left_out:
        step = outside.base.steps[outside.base.position(left.step)]
        rows.append((step.step, step.task, step.crew, step.title, left.kind, left.why))
    return TextTable(rows, columns=LEFT_OUT_COLUMNS)


def with_updated_estimates(plan: TimedPlan, weight: float = 2.0) -> Scenario:
    """The scenario that was re-timed, with `updated_estimates` in it: the base of the next plan."""
    scenario = plan.known_outside("with_updated_estimates").base.scenario
    table, learned = scenario.steps, updated_estimates(plan, weight).set_index("step")
    for column in ("minutes_low", "minutes_likely", "minutes_high"):
        table[column] = table["step"].map(learned[column]).astype(float).fillna(table[column])
    return scenario.with_table("steps", table)


def updated_estimates(plan: TimedPlan, weight: float = 2.0) -> pd.DataFrame:
    """Three-point estimates that have learned from the outing: a row a finished step.

    With an actual time a the new likely one is ``(weight * likely + a) / (weight + 1)``: the estimate counts
    as ``weight`` earlier outings, the log as one more. ``low`` and ``high`` are widened to hold a, never
    narrowed: one more outing cannot show that a spread was too wide. A rule of thumb for the next plan, not a
    statistical law; what was left, skipped or not finished teaches nothing here.
    """
    if not is_number(weight) or weight < 0:
        raise ScenarioError.single("must be 0 (only the log counts) or more", table="updated_estimates",
                                   column="weight", value=weight)
    rows = []
    for state in plan.known_outside("updated_estimates").states.by_step.values():
        step, actual = state.step, round(state.worked_min, 2)
        if state.status == DONE:
            likely = round((weight * step.minutes_likely + actual) / (weight + 1.0), 2)
            low, high = min(step.minutes_low, actual), max(step.minutes_high, actual)
            rows.append((step.step, step.task, step.minutes_low, step.minutes_likely, step.minutes_high,
                         actual, low, float(np.clip(likely, low, high)), high))
    return TextTable(rows, columns=["step", "task", "low_before", "likely_before", "high_before", "actual",
                                    "minutes_low", "minutes_likely", "minutes_high"])
