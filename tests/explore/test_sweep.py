"""The finish as a function of PET 0."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.sweep import sweep_pet_zero
from tests.edits import edited

SAME_MIN = 1e-6
"""Two searches for one window edge may stop a few billionths of a minute apart."""


def test_each_row_is_the_plan_of_that_pet_zero(small: pk.Scenario) -> None:
    sweep = pk.time_plan(small).sweep("2031-09-03T07:00:00Z", "2031-09-03T08:30:00Z", every_min=30)
    assert len(sweep) == 4
    for row in sweep.itertuples():
        plan = pk.time_plan(small, row.pet_zero.to_pydatetime())
        assert row.end_min == pytest.approx(plan.end_min, abs=SAME_MIN)
        assert row.hard_margin_min == pytest.approx(130 - plan.end_min, abs=SAME_MIN)
        waits = plan.timeline.query("kind == 'wait'")
        assert row.wait_min == pytest.approx((waits["finish_min"] - waits["start_min"]).sum())


def test_the_last_row_is_not_lost_to_rounding(small: pk.Scenario) -> None:
    rows = sweep_pet_zero(small, "2031-09-03T07:30:00Z", "2031-09-03T07:30:18Z", 0.1)
    assert rows["pet_zero"].dt.second.tolist() == [0, 6, 12, 18]


def test_a_later_pet_zero_shifts_the_wait_for_night_by_as_much(small: pk.Scenario) -> None:
    # Without the other work the outing is: 30 min to be ready, wait for night, 14 min, 3 min home, 8 in.
    steps = small.steps
    alone = small.with_table("gaps", small.gaps.iloc[:0])
    alone = alone.with_table("steps", steps[steps["step"].isin(["A1", "B1", "B2", "B3"])])
    sweep = pk.time_plan(alone).sweep("2031-09-03T07:20:00Z", "2031-09-03T07:35:00Z", every_min=5)
    assert sweep["end_min"].diff().dropna().tolist() == pytest.approx([-5.0] * 3, abs=1e-3)


def test_a_row_in_which_rules_give_way_says_why(small: pk.Scenario) -> None:
    sweep = sweep_pet_zero(edited(small, "steps", "B3", minutes_likely=45, minutes_high=50),
                         "2031-09-03T07:00:00Z", "2031-09-03T07:00:00Z", every_min=10)
    assert sweep["end_min"].notna().all()
    assert "B3 needs 45.0 min of one night" in sweep["reason"].iloc[0]


def test_what_a_group_lacks_is_told_once(demo: pk.Scenario) -> None:
    sweep = pk.time_plan(demo).sweep("2031-05-14T03:20:00Z", "2031-05-14T03:20:00Z", every_min=10)
    assert sweep["reason"].iloc[0].count("min of one night") <= 1
    assert "CB5 needs 10.0 min of the period quiet" in sweep["reason"].iloc[0]


@pytest.mark.parametrize(("stop", "every_min", "columns"), [
    ("2031-09-02", 10, ["stop"]),  # before the start
    ("2031-09-04", 0, ["every_min"]),  # never moves on
    ("2031-09-04", float("nan"), ["every_min"]),
    ("2031-09-04", float("inf"), ["every_min"]),
    ("2031-09-04", True, ["every_min"]),
    ("2031-09-02", "x", ["every_min", "stop"]),  # both are told
    ("2041-09-04", 1, ["every_min"]),  # five million plans
])
def test_a_range_without_sense_is_refused(small: pk.Scenario, stop: str, every_min: float,
                                          columns: list[str]) -> None:
    with pytest.raises(pk.ScenarioError) as refused:
        pk.time_plan(small).sweep("2031-09-03", stop, every_min)
    assert refused.value.problems["column"].tolist() == columns


def _alone(scenario: pk.Scenario, pet_zero: datetime) -> tuple[float, float, bool]:
    """End and waits of one PET 0 timed by itself, and whether it keeps all rules."""
    plan = pk.time_plan(scenario, pet_zero)
    waits = plan.timeline.query("kind == 'wait' and crew in ['EV1', 'EV2']")
    keeps = plan.findings.query("check == 'rules'").empty
    return plan.end_min, (waits["finish_min"] - waits["start_min"]).sum(), keeps


def _assert_rows_are_plans(scenario: pk.Scenario, sweep: pd.DataFrame) -> None:
    expected = [_alone(scenario, pet_zero.to_pydatetime()) for pet_zero in sweep["pet_zero"]]
    found = list(sweep[["end_min", "wait_min"]].itertuples(index=False, name=None))
    assert np.array(found) == pytest.approx(np.array([each[:2] for each in expected]), abs=SAME_MIN)
    assert (sweep["reason"] == "").tolist() == [keeps for *_, keeps in expected]


def test_a_sweep_of_days_has_the_same_rows_as_plans_one_by_one(small: pk.Scenario) -> None:
    sweep = pk.time_plan(small).sweep("2031-09-02T20:00:00Z", "2031-09-06T02:00:00Z", every_min=97)
    assert len(sweep) == 49
    _assert_rows_are_plans(small, sweep)


def test_named_windows_that_run_out_end_the_plans(demo: pk.Scenario) -> None:
    sweep = pk.time_plan(demo).sweep("2031-05-14T13:50:00Z", "2031-05-14T16:00:00Z", every_min=13)
    assert sweep["reason"].ne("").any()
    assert sweep["reason"].eq("").any()
    _assert_rows_are_plans(demo, sweep)


@pytest.mark.parametrize("changes", [
    {"lighting.night_guard_s": 240},
    {"horizon_h": 2.3},
])
def test_rows_at_the_edge_of_what_an_outing_sees_are_right(small: pk.Scenario,
                                                           changes: dict[str, object]) -> None:
    # Only the first step needs night: PET 0 inside one needs no guard behind it, PET 0 before one does.
    lit = edited(edited(small, "steps", "A1", light="night"), "steps", "B3", light="any")
    lit = lit.with_settings(changes)
    sweep = pk.time_plan(lit).sweep("2031-09-03T07:20:00Z", "2031-09-03T09:30:00Z", every_min=1.5)
    _assert_rows_are_plans(lit, sweep)


def test_a_sweep_beyond_what_the_orbit_tells_still_has_its_rows(small: pk.Scenario) -> None:
    sweep = pk.time_plan(small).sweep("2052-12-30T00:00:00Z", "2053-01-02T00:00:00Z", every_min=1440)
    assert len(sweep) == 4
    assert "1950 to 2052" in sweep["reason"].iloc[-1]


def test_stops_are_counted_when_asked_for(demo: pk.Scenario) -> None:
    sweep = pk.time_plan(demo).sweep("2031-05-14T11:20:00Z", "2031-05-14T12:00:00Z", every_min=40, stops=True)
    for row in sweep.itertuples():
        assert row.stops == (pk.time_plan(demo, row.pet_zero).findings["severity"] == "stop").sum()
    assert sweep["stops"].tolist()[0] == 0 < sweep["stops"].tolist()[1]
    without = pk.time_plan(demo).sweep("2031-05-14T11:20:00Z", "2031-05-14T12:00:00Z", every_min=40)
    assert "stops" not in without
