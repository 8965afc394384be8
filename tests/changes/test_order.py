"""Moving a step in the order of work."""

from __future__ import annotations

import pytest

import planning_kit as pk


def test_a_moved_step_stands_behind_the_other_and_nothing_else_changes(small: pk.Scenario) -> None:
    before = small.steps
    moved = small.move_step("B1", after="C2")
    assert list(moved.steps["step"]) == ["A1", "C1", "C2", "B1", "B2", "B3", "C3", "Z1"]
    again = moved.move_step("B1", after="A1")
    assert again.steps.equals(before)
    assert small.steps.equals(before)


@pytest.mark.parametrize(("step", "after"), [("B9", "B1"), ("B1", "B9"), ("B1", "B1")])
def test_a_move_without_sense_is_refused(small: pk.Scenario, step: str, after: str) -> None:
    with pytest.raises(pk.ScenarioError):
        small.move_step(step, after=after)
