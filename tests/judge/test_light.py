"""Light: how well the windows are known, against the guard."""

from __future__ import annotations

from datetime import timedelta

import pytest

import planning_kit as pk
from tests.edits import edited
from tests.judge.mutations import only_finding

DAY_S = 86_400.0


def shift_s(scenario: pk.Scenario, days: float) -> float:
    """The formula of the design (section 4), with 1.5 times 50 m over the axis in place of its 0.02 s."""
    elements = scenario.elements
    period_s = DAY_S / elements.mean_motion_rev_per_day
    axis_m = (3.986004418e14 * (period_s / (2 * 3.141592653589793)) ** 2) ** (1 / 3)
    rate = 1.5 * 50 / axis_m * DAY_S
    return float((1 + (rate * days) ** 2 + (0.2 * elements.mean_motion_dot * period_s * days**2) ** 2) ** 0.5)


def test_old_elements_are_a_concern_and_useless_ones_a_stop(small: pk.Scenario) -> None:
    for days, severity in ((120, "concern"), (200, "stop")):
        plan = pk.time_plan(small, small.settings.pet_zero_utc + timedelta(days=days))
        (finding,) = plan.findings.query("check == 'light'").to_dict("records")
        assert (finding["severity"], finding["step"], finding["crew"]) == (severity, "B3", "EV1")
        # Elements of 2031-09-02 18:05, PET 0 2031-09-03 07:30: 13 h 25 min; the edge comes with the plan.
        age = days + (13 + 25 / 60 + finding["start_min"] / 60) / 24
        assert finding["value"] == pytest.approx(shift_s(small, age), rel=5e-3)
        assert finding["limit"] == 60
        assert f"{age:.1f} days before the edge of night" in finding["message"]
        assert ("say nothing about single nights" in finding["message"]) == (severity == "stop")


def test_no_guard_at_all_is_a_concern(small: pk.Scenario) -> None:
    finding = only_finding(small.with_settings({"lighting.night_guard_s": 0}))
    assert (finding["severity"], finding["check"], finding["limit"]) == ("concern", "light", 0)
    assert "more than the 0 s kept free" in str(finding["message"])


def test_where_nothing_waits_for_light_nothing_is_said(small: pk.Scenario) -> None:
    scenario = edited(small, "steps", "B3", light="any").with_settings({"lighting.night_guard_s": 0})
    assert pk.time_plan(scenario).findings.empty
