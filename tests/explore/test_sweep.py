"""The finish as a function of egress."""

from __future__ import annotations

import pytest

import planning_kit as pk
from tests.edits import edited


def test_each_row_is_the_plan_of_that_egress(small: pk.Scenario) -> None:
    sweep = pk.sweep_egress(small, "2031-09-03T07:00:00Z", "2031-09-03T08:30:00Z", every_min=30)
    assert len(sweep) == 4
    for row in sweep.itertuples():
        plan = pk.time_plan(small, row.egress.to_pydatetime())
        assert row.end_min == plan.end_min
        assert row.hard_margin_min == 130 - plan.end_min
        waits = plan.timeline.query("kind == 'wait'")
        assert row.wait_min == pytest.approx((waits["finish_min"] - waits["start_min"]).sum())


def test_a_later_egress_shifts_the_wait_for_night_by_as_much(small: pk.Scenario) -> None:
    # Without the other work the outing is: 30 min to be ready, wait for night, 14 min, 3 min home, 8 in.
    steps = small.steps
    alone = small.with_table("gaps", small.gaps.iloc[:0])
    alone = alone.with_table("steps", steps[steps["step"].isin(["A1", "B1", "B2", "B3"])])
    sweep = pk.sweep_egress(alone, "2031-09-03T07:20:00Z", "2031-09-03T07:35:00Z", every_min=5)
    assert sweep["end_min"].diff().dropna().tolist() == pytest.approx([-5.0] * 3, abs=1e-3)


def test_a_row_without_a_plan_says_why(small: pk.Scenario) -> None:
    sweep = pk.sweep_egress(edited(small, "steps", "B3", minutes_likely=45, minutes_high=50),
                            "2031-09-03T07:00:00Z", "2031-09-03T07:00:00Z", every_min=10)
    assert sweep["end_min"].isna().all()
    assert "B3" in sweep["reason"].iloc[0]


@pytest.mark.parametrize(("stop", "every_min"), [
    ("2031-09-02", 10),  # before the start
    ("2031-09-04", 0),  # never moves on
    ("2031-09-04", float("nan")),
    ("2041-09-04", 1),  # five million plans
])
def test_a_range_without_sense_is_refused(small: pk.Scenario, stop: str, every_min: float) -> None:
    with pytest.raises(pk.ScenarioError, match="every_min"):
        pk.sweep_egress(small, "2031-09-03", stop, every_min)
