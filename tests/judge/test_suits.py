"""Suits: one edit of the clean small outing, exactly the expected finding."""

from __future__ import annotations

import math

import pytest

import planning_kit as pk
from tests.edits import edited
from tests.judge.only import all_of, only


def test_below_the_reserve_is_a_stop(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # Energy falls by 55 W from 15 min before PET 0: the same for both, so a reserve for EV1 alone.
    left = 400 - 55 / 60 * (small_plan.end_min + 15)
    finding = only(small.with_settings({"suit.EV1.energy_reserve_fraction": 0.8}))
    assert (finding["severity"], finding["check"], finding["crew"]) == ("stop", "suits", "EV1")
    assert finding["start_min"] == small_plan.end_min
    assert finding["value"] == pytest.approx(left)
    assert finding["limit"] == pytest.approx(320)
    assert finding["margin"] == pytest.approx(left - 320)
    assert "reserve of 320 W h (80 % of 400 W h)" in finding["message"]
    assert finding["source"] == "[suit] energy_reserve_fraction"


def test_just_the_reserve_left_is_no_finding(small: pk.Scenario, small_plan: pk.Plan) -> None:
    left = 400 - 55 / 60 * (small_plan.end_min + 15)
    assert all_of(small.with_settings({"suit.energy_reserve_fraction": left / 400 - 1e-6})) == []


def test_running_out_is_a_stop_that_says_when_and_the_late_return_names_its_cause(
    small: pk.Scenario,
) -> None:
    # 70 W h at 55 W last 76.36 min from 15 min before PET 0: to 1:01.
    found = all_of(small.with_settings({"suit.EV1.energy_wh": 70}))
    late, stop = sorted(found, key=lambda finding: finding["check"])
    assert (stop["severity"], stop["check"], stop["crew"], stop["step"]) == ("stop", "suits", "EV1", "Z1")
    assert stop["start_min"] == pytest.approx(70 / 55 * 60 - 15)
    assert "energy runs out at 1:01, 15 min before both are inside at 1:16" in stop["message"]
    assert (stop["limit"], stop["source"]) == (0, "[suit] energy_wh")
    assert (late["check"], late["crew"]) == ("return", "EV1")
    assert "energy has run out (see suits)" in late["message"]


@pytest.mark.parametrize(("key", "consumables"), [
    ("suit.oxygen_g", "oxygen"), ("suit.co2_g", "CO2 capacity"), ("suit.energy_wh", "energy"),
    ("suit.water_g", "cooling water"), ("suit.power_w", "energy"), ("suit.equipment_heat_w", "cooling water"),
    ("suit.respiratory_quotient", "oxygen, CO2 capacity"),
    ("exertion_w.rest", "oxygen, CO2 capacity, cooling water"),
])
def test_what_is_missing_is_a_note_that_names_what_is_not_checked(small: pk.Scenario, key: str,
                                                                  consumables: str) -> None:
    finding = only(small.with_settings({key: None}))
    assert (finding["severity"], finding["check"], finding["crew"]) == ("remark", "suits", "EV1 EV2")
    section, name = key.split(".")
    assert finding["message"] == (
        f"{consumables}: not checked, nor in the return margins: [{section}] {name} missing")
    assert math.isnan(finding["start_min"])


def test_a_level_that_only_one_needs_is_missing_for_that_one(small: pk.Scenario) -> None:
    finding = only(edited(small, "steps", "B2", exertion="heavy").with_settings({"exertion_w.heavy": None}))
    assert (finding["severity"], finding["crew"]) == ("remark", "EV1")


@pytest.mark.parametrize(("settings", "words"), [
    ({"suit.water_reserve_fraction": None}, "cooling water: checked only against running out: "
                                            "[suit] water_reserve_fraction missing"),
    ({"suit.used_before.battery_min": None}, "suit use before PET 0"),
])
def test_what_is_assumed_instead_is_a_note(small: pk.Scenario, settings: dict[str, object],
                                           words: str) -> None:
    finding = only(small.with_settings(settings))
    assert (finding["severity"], finding["check"]) == ("remark", "suits")
    assert words in finding["message"]


def test_steps_without_exertion_are_named_once(small: pk.Scenario) -> None:
    scenario = edited(edited(small, "steps", "B1", exertion=""), "steps", "C3", exertion="")
    finding = only(scenario)
    assert finding["message"] == "no exertion given, counted as moderate: B1, C3"
    as_moderate = edited(edited(small, "steps", "B1", exertion="moderate"), "steps", "C3",
                         exertion="moderate")
    assert pk.time_plan(scenario).suits.equals(pk.time_plan(as_moderate).suits)


def test_no_exertion_factor_counts_as_one(small: pk.Scenario, small_plan: pk.Plan) -> None:
    scenario = edited(small, "crew", "EV2", exertion_factor="")
    finding = only(scenario)
    assert (finding["severity"], finding["crew"]) == ("remark", "EV2")
    assert pk.time_plan(scenario).suits.equals(small_plan.suits)


def test_the_demo_keeps_its_reserves(demo_plan: pk.Plan) -> None:
    assert "suits" not in set(demo_plan.findings["check"])
