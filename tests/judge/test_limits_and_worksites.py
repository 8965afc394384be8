"""One edit of a clean plan, exactly the expected findings."""

from __future__ import annotations

import pytest

import planning_kit as pk
from tests.edits import edited, with_row


def test_the_small_outing_is_clean(small_plan: pk.Plan) -> None:
    assert small_plan.findings.empty


def test_past_the_planned_limit_is_a_concern(small: pk.Scenario, small_plan: pk.Plan) -> None:
    plan = pk.time_plan(small.with_settings({"limits.planned_min": 70}))
    (finding,) = plan.findings.to_dict("records")
    assert (finding["severity"], finding["check"], finding["source"]) == ("concern", "limits", "demo value")
    assert (finding["limit"], finding["margin"]) == (70, pytest.approx(70 - small_plan.end_min))


def test_past_the_hard_limit_is_a_stop_and_not_told_twice(small: pk.Scenario) -> None:
    plan = pk.time_plan(small.with_settings({"limits.planned_min": 60, "limits.hard_min": 65}))
    (finding,) = plan.findings.to_dict("records")
    assert finding["severity"] == "stop"
    assert "hard limit of 1:05" in finding["message"]


def test_a_limit_without_a_source_is_a_note(small: pk.Scenario) -> None:
    plan = pk.time_plan(small.with_settings({"limits.hard_min_source": None}))
    (finding,) = plan.findings.to_dict("records")
    assert finding["severity"] == "remark"
    assert "hard_min" in finding["message"]


@pytest.mark.parametrize(("pet_zero", "words"), [
    ("2031-05-14T10:00:00Z", "20 min before the earliest PET 0, 2031-05-14 GMT 134/10:20"),
    ("2031-05-14T14:00:00Z", "40 min after the latest PET 0, 2031-05-14 GMT 134/13:20"),
])
def test_pet_zero_out_of_its_range_is_a_concern(demo: pk.Scenario, pet_zero: str, words: str) -> None:
    (finding,) = (f for f in pk.time_plan(demo, pet_zero).findings.to_dict("records")
                  if str(f["source"]).startswith("pet_zero"))
    assert (finding["severity"], finding["check"]) == ("concern", "limits")
    assert words in finding["message"]


def test_a_required_task_without_steps_is_a_concern(small: pk.Scenario) -> None:
    rows = {"task": "ANT", "title": "Antenna", "priority": 2, "swappable": "no"}
    for need, count in (("required", 1), ("optional", 0), ("get-ahead", 0)):
        findings = pk.time_plan(with_row(small, "tasks", need=need, **rows)).findings.to_dict("records")
        assert [(f["severity"], f["check"]) for f in findings] == [("concern", "tasks")] * count
    assert all("the required task ANT (Antenna)" in f["message"] for f in findings)


def test_two_people_at_a_one_person_worksite_is_a_stop(small: pk.Scenario) -> None:
    # EV2 takes the bag at the Mast head (room for one) from 0:13 to 0:16; EV1 comes there at 0:17. Three
    # minutes longer and they overlap.
    # (The bag is not there either, which is for the custody check to say.)
    plan = pk.time_plan(edited(small, "steps", "C1", place="MST"))
    assert plan.findings.query("check == 'worksites'").empty
    plan = pk.time_plan(edited(small, "steps", "C1", place="MST", minutes_likely=5))
    (finding,) = plan.findings.query("check == 'worksites'").to_dict("records")
    assert (finding["severity"], finding["check"], finding["crew"]) == ("stop", "worksites", "EV1 EV2")
    assert (finding["step"], finding["start_min"]) == ("B2", pytest.approx(17.0))
    assert "from 0:17 to 0:18" in finding["message"]


def test_passing_through_does_not_count(small: pk.Scenario) -> None:
    scenario = edited(small, "places", "HAT", crew_at_once=2)
    assert pk.time_plan(edited(scenario, "places", "MID", crew_at_once=2)).findings.empty
    crowded = pk.time_plan(edited(scenario, "places", "MID", crew_at_once=1)).findings
    assert crowded["step"].tolist() == ["C1"]  # both work there from 0:11; EV1's second pass does not count


def test_at_a_limit_to_the_last_digit_shown_is_within_it(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # Both are inside 76 and a third minutes after PET 0; written in decimals that is a hair less.
    assert small_plan.end_min == pytest.approx(76 + 1 / 3)
    plan = pk.time_plan(small.with_settings({"limits.hard_min": 76.33333333333333, "limits.planned_min": 76}))
    (finding,) = plan.findings.to_dict("records")
    assert (finding["severity"], finding["limit"]) == ("concern", 76)
    assert plan.summary.set_index("item").loc["Hard limit", "value"] == "1:16 (0:00 left)"


def test_a_room_that_is_not_given_is_a_note(small: pk.Scenario) -> None:
    places = small.places
    for emptied, named in ((places.assign(crew_at_once=""), "HAT, MID, MST, POR"),
                           (places.assign(crew_at_once=["2", "", "1", "2"]), "MID")):
        (finding,) = pk.time_plan(small.with_table("places", emptied)).findings.to_dict("records")
        assert (finding["severity"], finding["check"]) == ("remark", "worksites")
        assert f"no crew_at_once is given for {named} (places.csv)" in finding["message"]
