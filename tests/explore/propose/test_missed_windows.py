"""Rows that no timing can place: the search mends them first, whatever they are."""

from __future__ import annotations

import random

import pytest

import planning_kit as pk
from planning_kit.judge.all_checks import findings_of
from tests.explore.propose.test_made_outings import scenario_of


def mixed_up(scenario: pk.Scenario, seed: int) -> pk.Scenario:
    """The tasks between the first and the last in any order, each as a whole: a list of objectives."""
    steps, draws = scenario.steps, random.Random(seed)
    tasks = [*dict.fromkeys(steps["task"])]
    first, last = steps["task"].iloc[0], steps["task"].iloc[-1]
    between = [task for task in tasks if task not in (first, last)]
    draws.shuffle(between)
    rank = {task: number for number, task in enumerate((first, *between, last))}
    return scenario.with_table("steps", steps.sort_values("task", key=lambda names: names.map(rank),
                                                          kind="stable"))


@pytest.mark.parametrize("name", ["heron", "alder"])
def test_a_list_of_tasks_becomes_a_plan_without_a_stop(name: str) -> None:
    written = pk.time_plan(scenario_of(name))
    found = pk.find_plan(mixed_up(scenario_of(name), seed=3), effort=1.0, seconds=300, progress=None)
    best = found.best
    assert best is not None
    assert not best.dropped
    assert not best.plan.timed.network.given_way
    assert "stop" not in set(findings_of(best.plan.timed)["severity"])
    # The rows as a person first wrote them are no better.
    assert best.end_min < written.end_min + 0.05
