"""What a planner asks of a plan all day."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planning_kit as pk
from tests.edits import edited, with_row


def _minutes(plan: pk.Plan) -> dict[str, float]:
    return {step.step: step.minutes_likely for step in plan.timed.steps}


def test_nothing_changed_is_the_same_plan(demo_plan: pk.Plan) -> None:
    same = demo_plan.what_if()
    assert same.scenario == demo_plan.scenario
    assert (same.timed.starts == demo_plan.timed.starts).all()
    assert same.changes.empty
    assert demo_plan.compare(same).times.empty
    assert demo_plan.compare(same).findings.empty


def test_a_late_pet_zero_is_the_plan_of_that_pet_zero(small: pk.Scenario, small_plan: pk.Plan) -> None:
    late = small_plan.what_if(20)
    moment = small.settings.pet_zero_utc + timedelta(minutes=20)
    assert late.pet_zero == moment
    assert (late.timed.starts == pk.time_plan(small, moment).timed.starts).all()
    assert "20 min later" in late.changes["change"].iloc[0]


@settings(max_examples=25)
@given(st.integers(0, 300), st.integers(1, 60))
def test_no_step_starts_earlier_for_a_later_pet_zero(small_plan: pk.Plan, slip: int, more: int) -> None:
    # In UTC a later PET 0 is a later release and nothing else, and starts never fall when releases rise.
    one, other = small_plan.what_if(slip), small_plan.what_if(slip + more)
    assert (other.timed.starts + more >= one.timed.starts - 1e-6).all()


def test_a_day_keeps_the_time_of_day_and_a_time_does_not(small_plan: pk.Plan) -> None:
    assert f"{small_plan.what_if(pet_zero='2031-09-05').pet_zero:%d %H:%M}" == "05 07:30"
    assert f"{small_plan.what_if(pet_zero='2031-09-05T08:10:00Z').pet_zero:%d %H:%M}" == "05 08:10"
    assert f"{small_plan.what_if(-10, pet_zero='2031-09-05').pet_zero:%d %H:%M}" == "05 07:20"


def test_an_pet_zero_outside_the_scenarios_range_is_noted(demo_plan: pk.Plan) -> None:
    # The demo's latest PET 0 is 2 h after its PET 0.
    assert list(demo_plan.what_if(119).changes["kind"]) == ["pet_zero"]
    late = demo_plan.what_if(121).changes
    assert list(late["kind"]) == ["pet_zero", "note"]
    assert "after the latest PET 0" in late["change"].iloc[1]


def test_a_factor_scales_all_three_estimates_and_minutes_shift_them(small_plan: pk.Plan) -> None:
    # B2 is 10, 13, 18 and C2 is 5, 7, 10.
    steps = small_plan.what_if(stretch={"B2": 1.5, "C2": "+2.5"}).scenario.steps.set_index("step")
    columns = ["minutes_low", "minutes_likely", "minutes_high"]
    assert list(steps.loc["B2", columns]) == [15.0, 19.5, 27.0]
    assert list(steps.loc["C2", columns]) == [7.5, 9.5, 12.5]


def test_a_shorter_step_has_no_estimate_below_nothing(small_plan: pk.Plan) -> None:
    # C2 is 5, 7, 10: six minutes less are 0 (not -1), 1, 4.
    steps = small_plan.what_if(stretch={"C2": "-6"}).scenario.steps.set_index("step")
    assert list(steps.loc["C2", ["minutes_low", "minutes_likely", "minutes_high"]]) == [0.0, 1.0, 4.0]


def test_a_task_or_a_crew_member_stretches_each_step(small_plan: pk.Plan) -> None:
    slow = _minutes(small_plan.what_if(stretch={"LMP": 2, "EV2": "+1"}))
    # LMP is B1 4, B2 13, B3 14; EV2 works on A1 and Z1 (10 each, both) and on C1 3, C2 7, C3 8.
    assert slow == {"A1": 11, "B1": 8, "C1": 4, "C2": 8, "B2": 26, "B3": 28, "C3": 9, "Z1": 11}


def test_the_closest_name_counts_and_of_two_crew_members_the_slower(small_plan: pk.Plan) -> None:
    slow = _minutes(small_plan.what_if(stretch={"EV1": 1.1, "EV2": 1.3, "LMP": 1.5, "B1": "+1"}))
    assert slow["A1"] == pytest.approx(13)  # both: EV2 is the slower
    assert slow["B1"] == 5
    assert slow["B2"] == pytest.approx(19.5)


@settings(max_examples=20)
@given(st.sampled_from(["A1", "B1", "B2", "C2", "Z1"]), st.integers(5, 20))
def test_a_stretch_is_the_edited_table_timed(small: pk.Scenario, small_plan: pk.Plan, step: str,
                                             tenths: int) -> None:
    before = next(each for each in small_plan.timed.steps if each.step == step)
    asked = small_plan.what_if(stretch={step: tenths / 10})
    table = edited(small, "steps", step, **{
        name: round(getattr(before, name) * tenths / 10, 9)
        for name in ("minutes_low", "minutes_likely", "minutes_high")
    })
    assert asked.scenario == table
    assert (asked.timed.starts == pk.time_plan(table).timed.starts).all()


def test_a_closed_route_makes_them_go_round(small: pk.Scenario) -> None:
    # By a way from port deck to mast it is 6 + 10 + 30 m from the rack, 7.67 min at 6 m/min, not 12 m, 2 min.
    plan = pk.time_plan(with_row(small, "routes", from_place="POR", to_place="MST", metres=30, tight="no",
                                 snag="no"))
    round_way = plan.what_if(close="MST MID")
    moved = plan.compare(round_way).times.set_index("step")["moved_min"]
    assert moved["B2"] == pytest.approx(46 / 6 - 2)
    assert plan.what_if(close=("MID", "MST")).scenario == round_way.scenario
    assert round_way.changes["kind"].tolist() == ["route"]


def test_a_place_that_no_way_leads_to_is_refused_unless_its_work_is_dropped(small_plan: pk.Plan) -> None:
    with pytest.raises(pk.ScenarioError, match="POR") as refused:
        small_plan.what_if(close="HAT POR")
    assert list(refused.value.problems["table"]) == ["places"]
    assert small_plan.what_if(close="HAT POR", drop="CAS").end_min > 0


def test_a_shorter_tether_and_a_leaner_suit_are_found(demo_plan: pk.Plan) -> None:
    # The far end of the boom lies 36 m and more from the hub, reached from a hook at the knuckle.
    found = demo_plan.compare(demo_plan.what_if(tether_m={"EV1": 15})).findings
    assert {("came", "stop", "tethers", "EV1")} <= set(
        found[["change", "severity", "check", "crew"]].itertuples(index=False, name=None))
    lean = demo_plan.what_if(settings={"suit.oxygen_g": 450})
    found = demo_plan.compare(lean).findings
    assert ("came", "stop", "suits") in set(
        found[["change", "severity", "check"]].itertuples(index=False, name=None))
    assert (lean.timed.starts == demo_plan.timed.starts).all()


def test_what_ifs_chain_keep_their_names_and_leave_the_first_plan_alone(small_plan: pk.Plan) -> None:
    digest, starts = small_plan.scenario.digest, small_plan.timed.starts.copy()
    second = small_plan.what_if(10, name="late").what_if(stretch={"B2": 1.2}, name="and slow")
    assert second.name == "and slow"
    told = second.changes[["name", "kind"]].to_numpy().tolist()
    assert told == [["late", "pet_zero"], ["and slow", "stretch"]]
    both = small_plan.what_if(10, {"B2": 1.2})
    assert (both.timed.starts == second.timed.starts).all()
    assert both.scenario == second.scenario
    assert second.what_if(5).name == "and slow"
    assert small_plan.scenario.digest == digest
    assert np.array_equal(small_plan.timed.starts, starts)
    assert small_plan.changes.empty


def test_every_fault_of_a_question_comes_at_once(demo_plan: pk.Plan) -> None:
    with pytest.raises(pk.ScenarioError) as refused:
        demo_plan.what_if(
            float("nan"), {"EV3": 1.1, "KN2": "5", "X1": "-9", "KN3": 0}, ["SENN", "KN22"], pet_zero="soon",
            swap=["REG", "KN2"], close="BK B0", tether_m={"EV4": 3, "EV1": -1}, settings={"pet_zero_utc": 1},
            move={"KN9": "KN2", "KN1": "KN1"}, gaps={"RN1 X4": {}, "RN1 X5": {"gap": 3}})
    problems = refused.value.problems
    assert problems["column"].value_counts().to_dict() == {
        "stretch": 4, "drop": 2, "swap": 2, "move": 2, "gaps": 2, "tether_m": 2, "close": 1,
        "slip_min": 1, "pet_zero": 1, "settings": 1}
    hints = problems.set_index("value")["problem"]
    assert "did you mean 'SEN'?" in hints["SENN"]
    assert "did you mean 'KN2'?" in hints["KN22"]
    assert "did you mean 'BK BO'?" in hints["BK B0"]
    assert "did you mean 'RN1 X5'?" in hints["RN1 X4"]


@pytest.mark.parametrize("asked", [
    {"drop": 5}, {"drop": [["A1"]]}, {"drop": "task:"},  # no names
    {"stretch": ["B2"]}, {"move": "B1"}, {"gaps": [1]}, {"settings": 5}, {"gaps": {"C2 C3": 5}},  # no mapping
    {"stretch": {"B2": None}}, {"stretch": {"B2": True}}, {"stretch": {"B2": float("nan")}},  # no amounts
    {"stretch": {"B2": "+1e5"}}, {"stretch": {"B2": -1}}, {"gaps": {"C2 C3": {"max_gap": float("nan")}}},
    {"move": {"B1": None}}, {"close": 5}, {"close": ("HAT", "MID", "MST")}, {"close": [("HAT",)]},  # no route
    {"tether_m": "x"}, {"tether_m": {"EV1": None}}, {"pet_zero": 5}, {"slip_min": "5"},  # no numbers
    {"slip_min": True}, {"slip_min": 10**400}, {"gaps": {"C2 C3": {"max_gap": True}}},
    {"swap": np.array(["LMP", "EGR"])}, {"tether_m": float("inf")},
    {"pet_zero": "9999-12-31", "slip_min": 3000}, {"settings": {"suit": 5}}, {"swap": ["all"]},
])
def test_nothing_that_can_be_typed_is_a_traceback(small_plan: pk.Plan, asked: dict[str, Any]) -> None:
    with pytest.raises(pk.ScenarioError):
        small_plan.what_if(**asked)


def test_a_thing_named_twice_is_told_once(small_plan: pk.Plan) -> None:
    once, twice = small_plan.what_if(drop="CAS"), small_plan.what_if(drop=["CAS", "task:CAS"])
    assert twice.changes.equals(once.changes)
    with pytest.raises(pk.ScenarioError) as refused:
        small_plan.what_if(tether_m=-1)
    assert len(refused.value.problems) == 1


def test_a_plan_with_every_step_dropped_is_a_plan(small_plan: pk.Plan) -> None:
    empty = small_plan.what_if(drop=["EGR", "LMP", "CAS", "CLN"])
    assert empty.end_min == 8  # nothing but ingress
    assert "task EGR dropped (1 step)" in set(empty.changes["change"])


def test_an_id_of_a_step_and_a_task_must_say_which(small: pk.Scenario) -> None:
    plan = pk.time_plan(with_row(small, "tasks", task="B2", title="Other", need="optional", priority=3,
                                 swappable="no"))
    with pytest.raises(pk.ScenarioError, match="step:B2 or task:B2"):
        plan.what_if(stretch={"B2": 1.1})
    assert _minutes(plan.what_if(stretch={"step:B2": "+1"}))["B2"] == 14


def test_of_several_gaps_between_two_steps_the_ends_say_which(small: pk.Scenario) -> None:
    # C2 takes 7: 25 min after it finishes, and at least 40 min after it starts. Two rules, never one.
    twice = with_row(small, "gaps", first_step="C2", then_step="C3", first_at="start", min_gap=40)
    plan = pk.time_plan(twice)
    with pytest.raises(pk.ScenarioError, match="write 'C2 finish C3 start' or 'C2 start C3 start'"):
        plan.what_if(gaps={"C2 C3": {"min_gap": 3}})
    shorter = plan.what_if(gaps={"C2 start C3 start": {"min_gap": 36}})
    assert shorter.scenario.gaps["min_gap"].tolist() == [25, 36]
    assert shorter.changes["change"].tolist() == [
        "gap from the start of C2 to the start of C3: min_gap 36 min"]
    # C3 is held by the 40 min from the start; 7 + 25 = 32 min by the other rule leave 8 to gain, no more.
    rows = plan.gain("C3", 8)
    assert rows.query("kind == 'min gap'")["what_if"].tolist() == [
        {"gaps": {"C2 start C3 start": {"min_gap": 32}}}]
    assert rows.query("kind == 'min gap'")["gain_min"].tolist() == pytest.approx([8])
    more = plan.gain("C3", 8.1).query("kind == 'min gap'")
    assert more["change"].str.startswith("no change of this kind helps").all()


def test_rows_between_the_same_ends_are_one_gap(small: pk.Scenario) -> None:
    # 25 and 30 min after C2: the greater holds; set to 10, both are.
    plan = pk.time_plan(with_row(small, "gaps", first_step="C2", then_step="C3", min_gap=30))
    assert plan.what_if(gaps={"C2 C3": {"min_gap": 10}}).scenario.gaps["min_gap"].tolist() == [10, 10]
    rows = plan.gain("C3", 7).query("kind == 'min gap'")
    assert rows["what_if"].tolist() == [{"gaps": {"C2 C3": {"min_gap": 23}}}]


def test_a_change_that_fits_in_no_night_says_what_gives_way(small_plan: pk.Plan) -> None:
    long = small_plan.what_if(stretch={"B3": 5})  # 70 min; the night offers 30.9
    (stop,) = long.findings.query("check == 'rules'").to_dict("records")
    assert (stop["severity"], stop["rule"], stop["step"]) == ("stop", "outside-window", "B3")
    assert "B3 needs 70.0 min of one night; night 1" in stop["message"]
    assert "offers 30.9 after guards" in stop["message"]
    assert stop["value"] == pytest.approx(70 - 30.9, abs=0.1)


def test_gaps_and_moves_are_edits_too(small_plan: pk.Plan) -> None:
    asked = small_plan.what_if(move={"B1": "C2"}, gaps={"C2 C3": {"min_gap": 20, "max_gap": 50}})
    assert asked.scenario.steps["step"].tolist() == ["A1", "C1", "C2", "B1", "B2", "B3", "C3", "Z1"]
    assert asked.scenario.gaps[["min_gap", "max_gap"]].to_numpy().tolist() == [[20, 50]]
    assert asked.changes["kind"].tolist() == ["gap", "move"]


@settings(max_examples=8)
@given(st.sampled_from([0.93, 0.97, 1.01, 1.03, 1.05, 1.07]))
def test_decimal_minutes_make_no_faults_of_their_own(demo_plan: pk.Plan, factor: float) -> None:
    # A step ends just where the next begins, whatever binary fractions make of 6.3 min: what is left in a
    # socket at that moment is there.
    found = demo_plan.compare(demo_plan.what_if(stretch={"EV1": factor})).findings
    assert not {"custody", "footholds"} & set(found["check"])
