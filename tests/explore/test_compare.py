"""What moved between two plans."""

from __future__ import annotations

import pytest

import planning_kit as pk
from tests.edits import edited


def test_a_plan_compared_with_itself_is_empty(small_plan: pk.Plan) -> None:
    assert pk.compare(small_plan, small_plan).empty


def test_folders_and_scenarios_are_compared_as_revisions(small: pk.Scenario, small_plan: pk.Plan) -> None:
    revised = edited(small, "steps", "C2", minutes_likely=9)
    revision = pk.compare(small.folder, revised)
    assert revision.times["step"].tolist() == ["C2", "C3", "Z1"]
    assert pk.compare(small_plan, revised).overall == revision.overall


def test_a_longer_step_moves_what_waits_for_it(small: pk.Scenario, small_plan: pk.Plan) -> None:
    longer = pk.time_plan(edited(small, "steps", "C2", minutes_likely=9))
    moved = pk.compare(small_plan, longer).set_index("step")
    assert moved["change"].to_dict() == {"C2": "changed", "C3": "later", "Z1": "later"}
    assert moved.loc["C3", "moved_min"] == pytest.approx(2.0)


def test_dropped_and_added_steps_are_told(small: pk.Scenario, small_plan: pk.Plan) -> None:
    steps = small.steps
    without = pk.time_plan(small.with_table("steps", steps[steps["step"] != "Z1"]))
    assert pk.compare(small_plan, without).set_index("step")["change"].to_dict() == {"Z1": "dropped"}
    assert pk.compare(without, small_plan).set_index("step")["change"].to_dict() == {"Z1": "added"}
