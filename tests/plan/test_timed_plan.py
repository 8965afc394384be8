"""A whole scenario, timed: rows, holders, words. Times are derived from the small outing's tables."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.plan.activities import TIMELINE_COLUMNS
from planning_kit.show.chart_rows import Words, activity_lines
from tests.edits import edited, with_row


def start_of(plan: pk.Plan, step: str) -> float:
    return float(plan.timeline.query("step == @step and kind == 'work'")["start_min"].iloc[0])


def work_row(plan: pk.Plan, step: str, crew: str) -> pd.Series:
    rows = plan.timeline.query("step == @step and crew == @crew and kind == 'work'")
    assert len(rows) == 1
    return rows.iloc[0]


@pytest.mark.parametrize("which", ["small_plan", "demo_plan"])
def test_rows_of_each_crew_member_leave_no_hole_in_time_or_place(which: str,
                                                                 request: pytest.FixtureRequest) -> None:
    plan = request.getfixturevalue(which)
    timeline = plan.timeline
    assert timeline.columns.tolist() == TIMELINE_COLUMNS
    for crew in ("EV1", "EV2"):
        rows = timeline[timeline["crew"] == crew]
        assert rows["start_min"].iloc[0] == 0
        assert rows["finish_min"].iloc[-1] == plan.end_min
        assert rows["start_min"].tolist()[1:] == rows["finish_min"].tolist()[:-1]
        stands = rows["to_place"].where(rows["to_place"] != "", rows["place"])
        assert rows["place"].tolist()[1:] == stands.tolist()[:-1]
        assert (rows["finish_min"] > rows["start_min"]).all()
        assert set(rows["kind"]) <= {"work", "travel", "wait"}


def test_every_step_stands_once_for_each_who_does_it(demo_plan: pk.Plan) -> None:
    work = demo_plan.timeline.query("kind == 'work' and step != ''")
    expected = sorted(
        (crew, step.step) for step in demo_plan.timed.steps
        for crew in (("EV1", "EV2") if step.crew == "both" else (step.crew,))
    )
    assert sorted(zip(work["crew"], work["step"], strict=True)) == expected


def test_travel_and_gap_give_the_starts_of_the_small_outing(small_plan: pk.Plan) -> None:
    # A1 takes 10 min; Hatch to Mid rack is 6 m at 6 m/min; Mid rack to Port deck goes back over the Hatch,
    # 16 m; C3 comes 25 min after C2 (7 min) at the earliest.
    assert start_of(small_plan, "B1") == pytest.approx(11.0)
    c1 = work_row(small_plan, "C1", "EV2")
    c2 = work_row(small_plan, "C2", "EV2")
    assert c2["start_min"] == pytest.approx(c1["finish_min"] + 16 / 6)
    c3 = work_row(small_plan, "C3", "EV2")
    assert c3["start_min"] == pytest.approx(c2["start_min"] + 7 + 25)
    assert c3["held_by"] == "min_gap:C2"


def test_a_night_step_waits_for_night_and_its_guard(small_plan: pk.Plan) -> None:
    row = work_row(small_plan, "B3", "EV1")
    begin, end = small_plan.light.night[0]
    assert row["start_min"] == pytest.approx(begin + 1.0)
    assert row["finish_min"] <= end - 1.0
    assert row["held_by"] == "light:night-1"
    wait = small_plan.timeline.query("step == 'B3' and kind == 'wait'").iloc[0]
    assert (wait["title"], wait["finish_min"]) == ("Wait for night 1", row["start_min"])


def test_a_step_that_is_lit_from_the_start_is_held_by_pet_zero_not_by_light(small: pk.Scenario) -> None:
    plan = pk.time_plan(edited(small, "steps", "A1", light="day"))
    assert work_row(plan, "A1", "EV1")["start_min"] == 0
    assert work_row(plan, "A1", "EV1")["held_by"] == "order:pet_zero"


def test_both_crew_steps_show_the_partner_who_holds(small_plan: pk.Plan) -> None:
    assert work_row(small_plan, "Z1", "EV1")["held_by"] == "partner:EV2"
    assert work_row(small_plan, "Z1", "EV2")["held_by"] == "order:C3"


def test_nobody_is_waited_for_when_both_are_ready_at_the_same_minute(demo_plan: pk.Plan) -> None:
    # SH5 follows SH4 for both, at the same place: each is held by the own order of work.
    for crew in ("EV1", "EV2"):
        assert work_row(demo_plan, "SH5", crew)["held_by"] == "order:SH4"


def test_outing_ends_with_the_way_home_and_ingress(small: pk.Scenario) -> None:
    # Without the clean-up EV2 ends at the Port deck: 10 m home, then 8 min of ingress for both.
    steps = small.steps
    plan = pk.time_plan(small.with_table("steps", steps[steps["step"] != "Z1"]))
    last = work_row(plan, "C3", "EV2")["finish_min"]
    assert plan.end_min == pytest.approx(last + 10 / 6 + 8)
    home = plan.timeline.query("crew == 'EV2' and step == ''")
    assert home["title"].tolist() == ["To Hatch", "Ingress"]
    assert home["to_place"].tolist() == ["HAT", ""]
    ingress = plan.timeline.query("title == 'Ingress'")
    assert ingress["start_min"].nunique() == 1
    assert set(ingress["crew"]) == {"EV1", "EV2"}


def test_utc_columns_are_pet_zero_plus_pet(small_plan: pk.Plan) -> None:
    timeline = small_plan.timeline
    minutes = (timeline["start_utc"] - pd.Timestamp(small_plan.pet_zero)).dt.total_seconds() / 60
    assert np.allclose(minutes, timeline["start_min"], atol=1e-6)


def test_explain_walks_back_to_pet_zero(small_plan: pk.Plan) -> None:
    lines = small_plan.explain("C3").splitlines()
    assert lines == [
        "C3 (Close the cassette and bag it) starts at 0:49 because it must start at least 25 min after "
        "C2 (Open the cassette vent) finishes, at 0:24.",
        "C2 (Open the cassette vent) starts at 0:17 because EV2 works on C1 (Take the cassette bag from the "
        "rack) until 0:14, and the way from Mid rack to Port deck takes 2.7 min.",
        "C1 (Take the cassette bag from the rack) starts at 0:11 because EV2 works on A1 (Step out; check "
        "tethers and suits) until 0:10, and the way from Hatch to Mid rack takes 1.0 min.",
        "A1 (Step out; check tethers and suits) starts at 0:00 with PET 0: it is the first work of both "
        "crew members.",
    ]


def test_explain_says_which_ends_a_gap_counts_between(small: pk.Scenario, demo_plan: pk.Plan) -> None:
    # The demo's cold clock runs from the finish of RN1 to the finish of X5.
    line = next(text for text in demo_plan.explain("X1").splitlines() if text.startswith("RN1"))
    assert "X5 (Mate the four power connectors) must finish within 46 min after RN1 finishes" in line
    assert line.endswith("finishes at 2:39.")
    gap = {"first_at": "start", "then_at": "finish", "min_gap": 50, "max_gap": 100}
    line = pk.time_plan(edited(small, "gaps", "C2", **gap)).explain("C3").splitlines()[0]
    assert "it must finish at least 50 min after C2 (Open the cassette vent) starts, at 0:17." in line


def test_ready_is_when_the_crew_really_was_ready(small: pk.Scenario) -> None:
    # A1 is pulled back by a clock that ends in the night step: EV1 is ready just as night begins (derived:
    # A1 begins 20 + 10 min before the night, the work between takes 30 min).
    clock = {"first_step": "A1", "then_step": "B3", "max_gap": 20, "reason": "a clock"}
    plan = pk.time_plan(with_row(small, "gaps", **clock))
    assert "EV1 was ready at 0:36" in plan.explain("B3").splitlines()[0]
    assert "EV1 works on B2" in plan.explain("B3").splitlines()[1]


def test_explain_names_the_waiting_place(small: pk.Scenario) -> None:
    plan = pk.time_plan(edited(small, "steps", "B2", place="MST", wait_at="HAT"))
    assert "by way of Hatch takes" in plan.explain("B2").splitlines()[0]


def test_the_horizon_gives_no_slack_to_those_who_can_work_on_past_ingress(demo_plan: pk.Plan) -> None:
    # DK5 (the desk) waits for links, and nobody waits for it: ingress and hard limit do not bound it.
    row = work_row(demo_plan, "DK5", "DESK")
    assert (row["slack_to_plan_min"], row["slack_to_limit_min"]) == (float("inf"), float("inf"))


def test_a_plan_has_a_short_name(small_plan: pk.Plan) -> None:
    assert repr(small_plan) == (
        "<Plan 'Beacon lamp and cassette': PET 0 2031-09-03T07:30Z, 8 steps, both inside at PET 1:16>"
    )


@pytest.mark.parametrize("every_min", [0, -1, float("nan")])
def test_a_delay_curve_without_sense_is_refused(small_plan: pk.Plan, every_min: float) -> None:
    with pytest.raises(pk.ScenarioError, match="every_min"):
        small_plan.delay_curve("B3", every_min=every_min)


def test_explain_can_be_cut_short_and_says_so(small_plan: pk.Plan) -> None:
    whole = small_plan.explain("C3").splitlines()
    cut = small_plan.explain("C3", lines=1).splitlines()
    assert cut == [whole[0], "... and 3 more lines, back to PET 0"]
    assert small_plan.explain("C3", lines=4).splitlines() == whole


def test_explain_names_the_night_and_when_the_crew_was_ready(small_plan: pk.Plan) -> None:
    first, second = small_plan.explain("B3").splitlines()[:2]
    assert "because night 1 begins then (after 60 s of guard); EV1 was ready at 0:30." in first
    assert second.strip().startswith("EV1 was ready at 0:30 because EV1 works on B2")


def test_every_step_of_the_demo_is_explained_back_to_pet_zero(demo_plan: pk.Plan) -> None:
    for step in demo_plan.timed.steps:
        assert "PET 0" in demo_plan.explain(step.step).splitlines()[-1]


def test_a_wait_before_the_place_is_spent_where_the_step_says(small: pk.Scenario) -> None:
    plan = pk.time_plan(edited(small, "steps", "B3", place="MST", wait_at="MID"))
    rows = plan.timeline.query("crew == 'EV1' and step == 'B3'")
    assert rows["kind"].tolist() == ["travel", "wait", "travel", "work"]
    assert rows["place"].tolist() == ["MST", "MID", "MID", "MST"]
    assert rows["finish_min"].iloc[2] == rows["start_min"].iloc[3]
    assert rows["finish_min"].iloc[2] - rows["start_min"].iloc[2] == pytest.approx(12 / 6)


def test_travel_extra_is_added_to_the_way_in(small: pk.Scenario, small_plan: pk.Plan) -> None:
    plan = pk.time_plan(edited(small, "steps", "B1", travel_extra_min=3))
    assert start_of(plan, "B1") == pytest.approx(start_of(small_plan, "B1") + 3)


def test_another_pet_zero_moves_the_night_not_the_work(small: pk.Scenario, small_plan: pk.Plan) -> None:
    plan = pk.time_plan(small, "2031-09-03T07:25:00Z")
    assert work_row(plan, "B2", "EV1")["start_min"] == work_row(small_plan, "B2", "EV1")["start_min"]
    later = work_row(plan, "B3", "EV1")["start_min"] - work_row(small_plan, "B3", "EV1")["start_min"]
    assert later == pytest.approx(5.0, abs=1e-3)
    assert plan.scenario.settings.pet_zero_utc != plan.pet_zero


def test_slack_to_limit_is_what_the_limit_leaves(small_plan: pk.Plan) -> None:
    # Z1 is the last step of both: it may slip by all that lies between the end and the hard limit.
    row = work_row(small_plan, "Z1", "EV2")
    assert row["slack_to_limit_min"] == pytest.approx(130 - small_plan.end_min)
    assert row["slack_to_plan_min"] == 0
    assert row["slack_to_window_min"] == float("inf")


def quiet_until(small: pk.Scenario, minute: float) -> pk.Plan:
    """Z1 waits for a period that begins at PET 1:15 and ends at ``minute``; the horizon is at 5:00."""
    begin, end = (f"{pd.Timestamp(small.settings.pet_zero_utc) + pd.Timedelta(minutes=at):%Y-%m-%dT%H:%M:%SZ}"
                  for at in (75.0, minute))
    frame = pd.DataFrame([{"window": "quiet", "start": begin, "end": end, "source": "test"}])
    return pk.time_plan(edited(small.with_table("windows", frame), "steps", "Z1", windows="quiet"))


@pytest.mark.parametrize(("minute", "slack_min"), [(120.0, 35.0), (300.0, 215.0), (301.0, np.inf)])
def test_the_horizon_is_no_windows_end(small: pk.Scenario, minute: float, slack_min: float) -> None:
    # Z1 takes 10 min from 75 on. A period that goes on at the horizon (300) has no end that is known.
    plan = quiet_until(small, minute)
    assert start_of(plan, "Z1") == 75.0
    row = work_row(plan, "Z1", "EV1")
    assert row["slack_to_window_min"] == pytest.approx(slack_min, abs=1e-6)
    assert row["slack_to_limit_min"] == pytest.approx(min(130 - plan.end_min, slack_min))


def test_a_night_cut_by_the_horizon_is_none_that_ends(small: pk.Scenario) -> None:
    # B3 is late for the first night (it ends at 66.5); the second begins at 127.6, the horizon is at 150.
    late = edited(small, "steps", "B2", minutes_likely=60, minutes_high=60)
    known, cut = pk.time_plan(late), pk.time_plan(late.with_settings({"horizon_h": 2.5}))
    for plan in (known, cut):
        assert start_of(plan, "B3") == pytest.approx(128.6, abs=0.05)
    assert cut.light.night[-1, 1] == 150.0
    to_window = known.timed.slack.to_window
    assert np.isfinite([to_window[known.timed.position(step)] for step in ("A1", "B2", "B3")]).all()
    assert (cut.timed.slack.to_window == np.inf).all()
    margins = known.compare(cut).margins.set_index("margin")
    assert margins.loc["least slack to window", "b"] == np.inf
    told = [activity_lines(next(a for a in plan.timed.lanes["EV1"] if a.is_work_on("B3")),
                          Words(plan.pet_zero))
            for plan in (known, cut)]
    assert ["to window" in "".join(lines) for lines in told] == [True, False]


def test_delay_curve_jumps_where_the_slack_to_window_ends(small: pk.Scenario, small_plan: pk.Plan) -> None:
    slack = work_row(small_plan, "B3", "EV1")["slack_to_window_min"]
    curve = small_plan.delay_curve("B3", up_to_min=40, every_min=0.5)
    jumps = curve["start_min"] - curve["delay_min"] > curve["start_min"].iloc[0] + 1
    assert curve.loc[jumps, "delay_min"].min() == pytest.approx(np.ceil(slack * 2) / 2)


def test_link_and_named_windows_hold_steps(small: pk.Scenario) -> None:
    frame = pd.DataFrame([{"window": "quiet", "start": "2031-09-03T08:40:00Z",
                           "end": "2031-09-03T09:00:00Z", "source": "test"}])
    scenario = edited(small.with_table("windows", frame), "steps", "C3", windows="quiet")
    row = work_row(pk.time_plan(edited(scenario, "gaps", "C2", max_gap=100)), "C3", "EV2")
    assert (row["start_min"], row["held_by"]) == (70.0, "window:quiet")


def test_others_at_work_have_a_lane_without_travel_or_wait(small: pk.Scenario) -> None:
    actors = pd.DataFrame([{"actor": "DESK", "title": "Ground desk"}])
    step = {"step": "D1", "task": "LMP", "crew": "DESK", "place": "MST", "title": "Lamp off",
            "minutes_low": 2, "minutes_likely": 3, "minutes_high": 4, "after": "B1"}
    plan = pk.time_plan(edited(with_row(small.with_table("actors", actors), "steps", **step), "steps", "B2",
                               after="D1"))
    rows = plan.timeline.query("crew == 'DESK'")
    assert rows["kind"].tolist() == ["work"]
    assert work_row(plan, "B2", "EV1")["held_by"] == "after:D1"
    waits = plan.handovers[["from_crew", "to_crew", "from_step", "to_step"]].to_numpy().tolist()
    assert ["EV1", "DESK", "B1", "D1"] in waits
    assert ["DESK", "EV1", "D1", "B2"] in waits


def test_nothing_that_a_plan_gives_can_change_it(small_plan: pk.Plan) -> None:
    before = small_plan.timeline
    timeline, findings = small_plan.timeline, small_plan.findings
    timeline["start_min"] += 100
    findings["message"] = "gone"
    pd.testing.assert_frame_equal(small_plan.timeline, before)
