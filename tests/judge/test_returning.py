"""Return: one edit of the clean small outing, exactly the expected finding.

The Mast head is 18 m from the Hatch, 3 min at 6 m/min, the Port deck 10 m; ingress takes 8 min, emergency
oxygen lasts 30. EV1 is at the Mast head from 0:17, EV2 at the Port deck from 0:16:40 (see the small outing).
"""

from __future__ import annotations

import math

import pytest

import planning_kit as pk
from planning_kit.inputs.times import pet_label
from tests.edits import with_row
from tests.judge.only import all_of, only


def far_alone(small: pk.Scenario) -> pk.Scenario:
    """Only the Mast head, 11 min from inside, is too far; the partner is left out (a note says so)."""
    return small.with_settings({"limits.return_reserve_min": 9, "limits.emergency_oxygen_min": 19.9,
                                "limits.partner_carry_factor": None,
                                "limits.partner_carry_factor_source": None})


def test_too_far_alone_is_a_stop_with_its_worst_point(small: pk.Scenario) -> None:
    finding, note = all_of(far_alone(small))
    assert (finding["severity"], finding["check"], finding["crew"]) == ("stop", "return", "EV1")
    assert (finding["value"], finding["limit"]) == (pytest.approx(19.9 - 11), 9)
    assert finding["margin"] == pytest.approx(-0.1)
    assert "11.0 min from being inside" in finding["message"]
    assert "Worst at 0:17 (Mast head)" in finding["message"]
    assert finding["source"] == "demo value"
    assert note["severity"] == "remark"


def test_a_stop_alone_does_not_hide_that_the_partner_comes_much_later(small: pk.Scenario) -> None:
    # Alone EV1 is 0.1 min short at the Mast head; with the partner (below) 19.9 - 17.17 = 2.73 of 9.
    scenario = far_alone(small).with_settings({"limits.partner_carry_factor": 1.5,
                                               "limits.partner_carry_factor_source": "demo value"})
    findings = all_of(scenario)
    assert [(f["severity"], f["crew"]) for f in findings] == [
        ("stop", "EV1"), ("concern", "EV1"), ("concern", "EV2")]
    assert findings[1]["value"] == pytest.approx(19.9 - 28 / 6 - 4.5 - 8)


def test_in_the_demo_one_short_stop_hides_nothing(demo: pk.Scenario) -> None:
    # EV1 in the regulator bay while EV2 is on the survey perch, at 1:30: `test_help_at_the_boom_end_by_hand`.
    # RG2, which EV1 has in hand, needs 1 min first (safe_now_min), EV2's SV3 none.
    findings = all_of(demo.with_settings({"limits.emergency_oxygen_min": 24.5}))
    least = min(f["value"] for f in findings if f["crew"] == "EV1" and "unable to move" in f["message"])
    assert least == pytest.approx(24.5 - (1 + 54.5 / 6 + 1 + 1.5 * 50 / 6 + 4 + 10))


def test_what_is_in_hand_is_made_safe_before_the_way(demo: pk.Scenario) -> None:
    # EV2 in X3, which is safe after 2 min: then 50 m at 6 m/min, two hook moves, 10 min of ingress. Of 30 min
    # that leaves 7.67: of a reserve of 8 it is a stop, and not for the 20.33 min of the way by itself. The
    # 22.33 are told as 22.4.
    plan = pk.time_plan(demo.with_settings({"limits.return_reserve_min": 8}))
    (stop,) = plan.findings.query("severity == 'stop'").to_dict("records")
    assert (stop["rule"], stop["crew"], stop["step"]) == ("alone-too-far", "EV2", "X3")
    assert stop["value"] == pytest.approx(30 - (2 + 50 / 6 + 2 + 10))
    assert "22.4 min from being inside (2 of them to make safe what is in hand)" in stop["message"]
    assert stop["start_min"] == pytest.approx(plan.timed.starts[plan.timed.position("X3")])


def test_a_spell_begins_and_ends_to_the_second(small: pk.Scenario) -> None:
    # Alone 10.9 min are left for ingress, 8, and the way: 2.9 min of 3. EV1 arrives at 17 and leaves after
    # B3 (night begins, 14 min): 0.1 min more on each side is too far.
    plan = pk.time_plan(far_alone(small))
    leaves = plan.timed.finishes[plan.timed.position("B3")]
    (finding, _) = plan.findings.to_dict("records")
    assert finding["start_min"] == pytest.approx(17 - 0.1)
    assert f"below from 0:16 to {pet_label(leaves + 0.1, 'up')}" in finding["message"]


def test_just_before_a_hook_move_counts(demo: pk.Scenario, demo_plan: pk.Plan) -> None:
    # EV2 at the hatch before CL2: with the hook still elsewhere one move, 1 min, is left to do.
    finish = demo_plan.timed.finishes[demo_plan.timed.position("CL2")]
    before = demo_plan.returns.query("crew == 'EV2' and at_min < @finish").iloc[-1]
    after = demo_plan.returns.query("crew == 'EV2' and at_min >= @finish").iloc[0]
    assert before["at_min"] == pytest.approx(finish)
    assert before["alone_min"] - after["alone_min"] == pytest.approx(1.0)


def test_the_partner_has_too_little_left_to_bring_the_other_home(small: pk.Scenario) -> None:
    # EV2's energy at 55 W lasts until 1:40, 24 min past the end: enough alone. Twenty times as slow with EV1
    # in tow, from the Mast head 28 / 6 + 20 * 3 min and 8 of ingress, it is not; nor is it the other way.
    scenario = small.with_settings({
        "suit.EV2.energy_wh": (100 + 15) / 60 * 55, "suit.EV2.energy_reserve_fraction": 0,
        "limits.partner_carry_factor": 20, "limits.emergency_oxygen_min": 200})
    findings = all_of(scenario)
    assert [(f["severity"], f["crew"]) for f in findings] == [("concern", "EV1"), ("concern", "EV2")]
    assert all("EV2's energy" in f["message"] for f in findings)
    plan = pk.time_plan(scenario)
    leaves = plan.timed.finishes[plan.timed.position("B3")]
    assert findings[0]["value"] == pytest.approx(100 - leaves - (28 / 6 + 60 + 8))


def test_the_partner_comes_too_late_is_a_concern(small: pk.Scenario) -> None:
    # EV2 needs 28 / 6 min to the Mast head and 1.5 * 3 back: with ingress 17.17, a margin of 12.83. From the
    # Mast head EV1 needs as long to the Port deck, 1.5 * 10 / 6 back: 15.17, a margin of 14.83.
    finding = only(small.with_settings({"limits.return_reserve_min": 13}))
    assert (finding["severity"], finding["check"], finding["crew"]) == ("concern", "return", "EV1")
    assert finding["value"] == pytest.approx(30 - 28 / 6 - 4.5 - 8)
    assert "until EV2 has brought them inside" in finding["message"]


def test_at_the_reserve_is_no_finding(small: pk.Scenario) -> None:
    # The binding margin is that of the line above, to the rounding of a float.
    assert all_of(small.with_settings({"limits.return_reserve_min": 30 - 28 / 6 - 4.5 - 8})) == []


def test_a_consumable_that_does_not_last_the_way_is_a_stop(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # EV1 ends with 100 W h less 55 W over the outing and 15 min before: 16.3 W h, above a reserve of none.
    # That lasts 17.8 min at the end of the outing and 25.8 at the hatch, with 8 of ingress to go: margin 17.8
    # of 20; 20 min earlier it is more.
    scenario = small.with_settings({"suit.EV1.energy_wh": 100, "suit.EV1.energy_reserve_fraction": 0,
                                    "limits.return_reserve_min": 20, "limits.emergency_oxygen_min": 60})
    finding = only(scenario)
    assert (finding["severity"], finding["check"], finding["crew"]) == ("stop", "return", "EV1")
    margin = 100 / 55 * 60 - 15 - small_plan.end_min
    assert finding["value"] == pytest.approx(margin)
    assert f"energy is left for {math.floor(10 * (margin + 8)) / 10:.1f} min of travel" in finding["message"]
    # The margin reaches 20 where end - time back is 2.2 min more: on the way, before the hatch is reached.
    assert "turn back by 1:" in finding["message"]


def test_spells_are_told_apart(small: pk.Scenario) -> None:
    # EV1 comes home and goes out to the Mast head again: two findings.
    scenario = far_alone(small).with_settings({"limits.planned_min": 120})
    for step, place in (("B4", "HAT"), ("B5", "MST")):
        scenario = with_row(scenario, "steps", len(scenario.steps) - 1, step=step, task="LMP", crew="EV1",
                            place=place, minutes_likely=1, exertion="light")
    stops = [f for f in all_of(scenario) if f["severity"] != "remark"]
    assert [(f["severity"], f["check"], f["crew"]) for f in stops] == [("stop", "return", "EV1")] * 2
    assert "Worst at 0:17" in stops[0]["message"]
    assert stops[1]["step"] == "B5"


@pytest.mark.parametrize(("key", "words"), [
    ("emergency_oxygen_min", "no return margin against emergency oxygen"),
    ("return_reserve_min", "checked only against zero"),
    ("hook_move_min", "counted as taking no time"),
    ("partner_carry_factor", "the return with the partner is not checked"),
])
def test_what_is_missing_is_a_note(small: pk.Scenario, key: str, words: str) -> None:
    finding = only(small.with_settings({f"limits.{key}": None, f"limits.{key}_source": None}))
    assert (finding["severity"], finding["check"]) == ("remark", "return")
    assert words in finding["message"]
    assert math.isnan(finding["start_min"])


def test_the_demo_can_always_go_home_alone(demo_plan: pk.Plan) -> None:
    found = demo_plan.findings.query("check == 'return'")
    assert set(found["severity"]) == {"concern"}
    assert found["message"].str.contains("unable to move").all()
