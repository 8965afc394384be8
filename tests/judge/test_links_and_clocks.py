"""Links, clocks and last starts: one edit of the clean small outing, exactly the expected finding."""

from __future__ import annotations

import math

import numpy as np
import pytest

import planning_kit as pk
from tests.edits import edited
from tests.judge.only import all_of, only

ONE_RELAY = {"relays.longitudes_deg_east": [118.0]}


def gap_of(plan: pk.Plan) -> tuple[float, float]:
    """The first gap in coverage inside the outing."""
    (windows,) = plan.timed.relays.values()
    edges = [0.0, *np.ravel(windows).tolist(), plan.timed.horizon_min]
    return next((a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1)


def test_a_step_in_a_gap_is_a_concern_with_the_next_coverage(small: pk.Scenario) -> None:
    scenario = small.with_settings(ONE_RELAY)
    plan = pk.time_plan(scenario)
    begin, end = gap_of(plan)
    work = plan.timeline.query("kind == 'work' and step != ''")
    inside = work[(work["start_min"] < end) & (work["finish_min"] > begin)].iloc[0]
    share = 1 - (min(inside["finish_min"], end) - max(inside["start_min"], begin)) / (
        inside["finish_min"] - inside["start_min"])
    finding = only(edited(scenario, "steps", inside["step"], link="yes"))
    assert (finding["severity"], finding["check"], finding["step"]) == ("concern", "links", inside["step"])
    assert finding["value"] == pytest.approx(share, abs=1e-6)
    assert f"{math.floor(100 * share)} % is covered" in finding["message"]
    row = pk.time_plan(edited(scenario, "steps", inside["step"], link="yes")).links.iloc[0]
    assert row["next_cover_min"] == pytest.approx(end)
    assert row["gaps"] != ""


def test_steps_with_coverage_are_listed_and_no_finding(small: pk.Scenario) -> None:
    plan = pk.time_plan(edited(small, "steps", "B3", link="yes"))
    assert plan.findings.empty
    assert plan.links[["step", "share", "gaps"]].to_numpy().tolist() == [["B3", 1.0, ""]]


def test_a_step_that_waits_for_a_link_is_covered(small: pk.Scenario) -> None:
    plan = pk.time_plan(edited(small.with_settings(ONE_RELAY), "steps", "C3", link="wait"))
    assert plan.links["share"].tolist() == [1.0]
    assert "links" not in set(plan.findings["check"])


def test_no_relays_is_one_note(small: pk.Scenario) -> None:
    scenario = edited(edited(small, "steps", "B3", link="yes"), "steps", "C3", link="yes")
    finding = only(scenario.with_settings({"relays.longitudes_deg_east": []}))
    assert (finding["severity"], finding["check"]) == ("remark", "links")
    assert "B3, C3" in finding["message"]
    assert all_of(small.with_settings({"relays.longitudes_deg_east": []})) == []


def test_clocks_are_listed_by_what_is_left(demo_plan: pk.Plan) -> None:
    clocks = demo_plan.clocks
    assert clocks[["first_step", "then_step"]].to_numpy().tolist()[0] == ["RN1", "X5"]
    assert (clocks["left"] == clocks["max_gap"] - clocks["actual"]).all()
    assert (clocks["left"] >= 0).all()
    assert clocks["left"].is_monotonic_increasing
    work = demo_plan.timeline.query("kind == 'work'").drop_duplicates("step").set_index("step")
    actual = work.loc["X5", "finish_min"] - work.loc["RN1", "finish_min"]  # finish to finish, 46 at most
    assert clocks["actual"].iloc[0] == pytest.approx(actual)


def test_a_clock_without_margin_is_a_note(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # C3 comes 25 min after C2 (the least gap): at most 25 leaves nothing.
    assert small_plan.clocks["left"].tolist() == [pytest.approx(35)]
    finding = only(edited(small, "gaps", "C2", max_gap=25))
    assert (finding["severity"], finding["check"], finding["step"]) == ("remark", "clocks", "C3")
    assert "no margin" in finding["message"]
    assert finding["margin"] == pytest.approx(0)


def test_gaps_without_a_greatest_are_no_clocks(small: pk.Scenario) -> None:
    assert pk.time_plan(edited(small, "gaps", "C2", max_gap="")).clocks.empty


def test_a_task_begun_after_its_last_start_is_a_stop(small: pk.Scenario) -> None:
    tasks = small.tasks
    tasks["last_start_min"] = ["", 11.5, "", ""]  # LMP begins with B1 at 0:11
    assert all_of(small.with_table("tasks", tasks)) == []
    tasks["last_start_min"] = ["", 10.5, "", ""]
    finding = only(small.with_table("tasks", tasks))
    assert (finding["severity"], finding["check"], finding["step"]) == ("stop", "limits", "B1")
    assert (finding["limit"], finding["margin"]) == (10.5, pytest.approx(-0.5))
    assert not math.isnan(finding["value"])
