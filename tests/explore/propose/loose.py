"""The small outing with more freedom, for tests of better orders: every step between is a task of its own."""

from __future__ import annotations

import pandas as pd

import planning_kit as pk
from tests.edits import edited, with_row


def loose(small: pk.Scenario) -> pk.Scenario:
    """Eight free steps, four a crew member, in an order that walks to and fro; B3 needs night."""
    for number, (step, crew, place, minutes) in enumerate(
            [("B4", "EV1", "POR", 6), ("C4", "EV2", "MID", 9)]):
        small = with_row(small, "steps", at=2 + 2 * number, step=step, task="CAS", crew=crew, place=place,
                         title=step, exertion="light", minutes_low=minutes, minutes_likely=minutes,
                         minutes_high=minutes)
    return own_tasks(small, [step for step in small.steps["step"] if step not in ("A1", "Z1")])


def own_tasks(scenario: pk.Scenario, steps: list[str], **cells: object) -> pk.Scenario:
    """Each of these steps as a required task of its own, named T and the step."""
    for step in steps:
        scenario = with_row(scenario, "tasks", **({
            "task": f"T{step}", "title": step, "need": "required", "priority": 1, "swappable": "no"} | cells))
    for step in steps:
        scenario = edited(scenario, "steps", step, task=f"T{step}")
    return scenario


def reordered(scenario: pk.Scenario, order: list[str]) -> pk.Scenario:
    """The scenario with its rows in this order."""
    steps = scenario.steps.set_index("step", drop=False)
    return scenario.with_table("steps", pd.DataFrame(steps.loc[order]).reset_index(drop=True))


def stops(plan: pk.Plan) -> set[tuple[str, str, str]]:
    found = plan.findings.query("severity == 'stop'")
    return set(zip(found["check"], found["crew"], found["step"], strict=True))
