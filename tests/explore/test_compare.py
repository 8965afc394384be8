"""What moved between two plans."""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk
from tests.edits import edited


def test_a_plan_compared_with_itself_is_empty(small_plan: pk.Plan) -> None:
    assert small_plan.compare(small_plan).times.empty


def test_a_plan_is_compared_with_a_plan_a_scenario_and_a_folder(small: pk.Scenario, small_plan: pk.Plan,
                                                                tmp_path: Path) -> None:
    revised = edited(small, "steps", "C2", minutes_likely=9)
    found = small_plan.compare(revised)
    assert isinstance(found, pk.Comparison)
    assert found.times["step"].tolist() == ["C2", "C3", "Z1"]
    assert isinstance(found.plan_a, pk.Plan)
    assert isinstance(found.plan_b, pk.Plan)
    assert found.plan_a.timed is small_plan.timed
    revised.save(tmp_path / "revised")
    for other in (pk.time_plan(revised), pk.time_plan(revised).timed, tmp_path / "revised"):
        again = small_plan.compare(other)
        assert again.overall == found.overall
        assert again.margins.equals(found.margins)


def test_what_fits_in_no_night_is_a_verdict(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # longer than any night
    stuck = edited(small, "steps", "B3", minutes_low=50, minutes_likely=55, minutes_high=60)
    found = small_plan.compare(stuck)
    assert any("B3 needs 55.0 min" in row.words for row in found.verdict.itertuples())
    assert found.overall.startswith("Stop: ")


def test_a_longer_step_moves_what_waits_for_it(small: pk.Scenario, small_plan: pk.Plan) -> None:
    longer = pk.time_plan(edited(small, "steps", "C2", minutes_likely=9))
    moved = small_plan.compare(longer).times.set_index("step")
    assert moved["change"].to_dict() == {"C2": "changed", "C3": "later", "Z1": "later"}
    assert moved.loc["C3", "moved_min"] == pytest.approx(2.0)


def test_dropped_and_added_steps_are_told(small: pk.Scenario, small_plan: pk.Plan) -> None:
    steps = small.steps
    without = pk.time_plan(small.with_table("steps", steps[steps["step"] != "Z1"]))
    assert small_plan.compare(without).times.set_index("step")["change"].to_dict() == {"Z1": "dropped"}
    assert without.compare(small_plan).times.set_index("step")["change"].to_dict() == {"Z1": "added"}
