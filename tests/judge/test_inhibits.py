"""Inhibits: one edit of the clean small outing, exactly the expected finding; the owner's list.

I-LMP stands from 5 min before B2 (0:17) to the finish of B3, a step of 14 min in the night.
"""

from __future__ import annotations

import pandas as pd
import pytest

import planning_kit as pk
from tests.edits import with_row
from tests.judge.only import all_of, only


def inhibit(scenario: pk.Scenario, **changes: object) -> pk.Scenario:
    """I-LMP with cells changed or columns added."""
    frame = scenario.inhibits
    for column, value in changes.items():
        frame[column] = [value]
    return scenario.with_table("inhibits", frame)


def night(plan: pk.Plan) -> tuple[float, float]:
    begin, end = plan.light.night[0]
    return float(begin), float(end)


def test_the_list_for_the_owner(small_plan: pk.Plan) -> None:
    (row,) = small_plan.inhibits.to_dict("records")
    until = night(small_plan)[0] + 1 + 14  # B3 begins a minute (the guard) after night does
    assert (row["set_by_min"], row["lift_after_min"]) == (pytest.approx(12), pytest.approx(until))
    assert row["hold_min"] == pytest.approx(until - 12)
    # PET 0 is at 07:30 on day 246 (3 September 2031).
    assert (row["set_by"], row["set_by_gmt"], row["overlaps"]) == ("0:12", "246/07:42", "")
    assert (row["owner"], row["from_step"], row["until_step"]) == ("Ground desk", "B2", "B3")


def test_overlaps_name_each_other(small: pk.Scenario) -> None:
    scenario = with_row(small, "inhibits", inhibit="I-B1", from_step="B1", until_step="B1", lead_min=0)
    scenario = with_row(scenario, "inhibits", inhibit="I-C3", from_step="C2", until_step="C3", lead_min=0)
    overlaps = pk.time_plan(scenario).inhibits.set_index("inhibit")["overlaps"].to_dict()
    # B1 is worked on from 0:11 to 0:15, C2 begins at 0:16:40.
    assert overlaps == {"I-LMP": "I-B1 I-C3", "I-B1": "I-LMP", "I-C3": "I-LMP"}


def test_steps_inside_are_no_finding(small: pk.Scenario) -> None:
    assert all_of(inhibit(small, needed_by="B2 B3 C2")) == []


@pytest.mark.parametrize(("step", "side"), [("B1", "from_step"), ("Z1", "until_step")])
def test_a_step_outside_is_a_stop(small: pk.Scenario, step: str, side: str) -> None:
    # B1 begins at 0:11, a minute before the lead; Z1 comes after all.
    finding = only(inhibit(small, needed_by=f"B2 {step} B3"))
    assert (finding["severity"], finding["check"], finding["step"]) == ("stop", "inhibits", step)
    assert f"let {side} reach {step}" in finding["message"]
    assert finding["source"] == "inhibits.needed_by"


def test_held_too_long_is_a_stop(small: pk.Scenario, small_plan: pk.Plan) -> None:
    hold = night(small_plan)[0] + 15 - 12
    assert all_of(inhibit(small, hold_max_min=hold + 1e-3)) == []
    finding = only(inhibit(small, hold_max_min=30))
    assert (finding["severity"], finding["step"], finding["limit"]) == ("stop", "B2", 30)
    assert finding["value"] == pytest.approx(hold)
    assert finding["margin"] == pytest.approx(30 - hold)


def test_outside_its_night_is_a_stop_that_says_how_long_the_night_is(small: pk.Scenario,
                                                                     small_plan: pk.Plan) -> None:
    assert all_of(inhibit(small, from_step="B3", lead_min=0, window="night")) == []
    finding = only(inhibit(small, window="night"))
    begin, end = night(small_plan)
    assert (finding["severity"], finding["source"]) == ("stop", "inhibits.window")
    assert f"the nearest lasts {end - begin - 2:.1f} min" in finding["message"]  # a minute of guard each side
    assert "shorten what lies between B2 and B3" in finding["message"]


def test_a_lead_before_the_night_is_outside(small: pk.Scenario) -> None:
    finding = only(inhibit(small, from_step="B3", lead_min=2, window="night"))
    assert "move B3 and B3 into it" in finding["message"]


def test_a_named_window(small: pk.Scenario) -> None:
    def quiet(begin: str) -> pk.Scenario:
        rows = [{"window": "quiet", "start": begin, "end": "2031-09-03T08:30:00Z", "source": "test"}]
        return small.with_table("windows", pd.DataFrame(rows))
    assert all_of(inhibit(quiet("2031-09-03T07:42:00Z"), window="quiet")) == []
    finding = only(inhibit(quiet("2031-09-03T07:42:06Z"), window="quiet"))
    assert "outside its window quiet: the nearest lasts 47.9 min, 0:13 to 1:00" in finding["message"]


def test_backwards_is_one_stop_and_nothing_else(small: pk.Scenario) -> None:
    finding = only(inhibit(small, from_step="B3", until_step="B1", needed_by="B2", window="night",
                           hold_max_min=1))
    assert (finding["severity"], finding["step"]) == ("stop", "B1")
    assert "before it begins" in finding["message"]


def test_before_pet_zero_is_a_note(small: pk.Scenario) -> None:
    finding = only(inhibit(small, lead_min=20))
    assert (finding["severity"], finding["start_min"]) == ("remark", pytest.approx(-3))
    assert "before PET 0, by −0:03" in finding["message"]
