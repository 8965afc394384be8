"""Tethers: one edit of a clean plan, exactly the expected findings.

Small outing: Hatch to Mid rack 6 m, on to the Mast head 12 m, Hatch to Port deck 10 m, both at 6 m/min.
"""

from __future__ import annotations

import pytest

import planning_kit as pk
from tests.edits import edited
from tests.judge.mutations import found, only_finding, with_anchor, with_step


def test_out_of_reach_for_one_spell(small: pk.Scenario) -> None:
    assert found(edited(small, "crew", "EV1", tether_m=18)) == []  # 6 + 12
    finding = only_finding(edited(small, "crew", "EV1", tether_m=17))
    assert (finding["severity"], finding["check"], finding["crew"]) == ("stop", "tethers", "EV1")
    assert (finding["value"], finding["limit"], finding["margin"]) == (18, 17, -1)
    # B1 ends at 15; the reach passes 17 m after 11 of the 12 m to the Mast head.
    assert (finding["step"], finding["start_min"]) == ("B2", pytest.approx(15 + 11 / 6))
    assert "no move of this hook" in str(finding["message"])


def test_the_step_whose_hook_move_mends_it_is_named_and_does(small: pk.Scenario) -> None:
    scenario = edited(with_anchor(small), "crew", "EV1", tether_m=17)
    assert "move the hook to Mid rack at 0:15, with hooks EV1 in B1" in only_finding(scenario)["message"]
    assert found(edited(scenario, "steps", "B1", hooks="EV1")) == []


def test_an_anchor_on_the_way_is_named_and_does(small: pk.Scenario) -> None:
    scenario = edited(with_anchor(small), "crew", "EV1", tether_m=17)
    scenario = edited(edited(scenario, "steps", "B1", place="HAT"), "hardware", "lamp-new", at="HAT")
    scenario = edited(scenario, "steps", "B1", minutes_likely=6)
    finding = only_finding(scenario)
    # B1 now ends at 16, after EV2 has passed the hatch; EV1 passes the Mid rack at 17.
    words = "move the hook to Mid rack at 0:17, with a step there that hooks EV1, on the way to B2"
    assert words in str(finding["message"])
    assert found(with_step(scenario, 4, "M1", "EV1", "MID", 1, hooks="EV1")) == []


def test_still_hooked_elsewhere_going_in(small: pk.Scenario, small_plan: pk.Plan) -> None:
    scenario = edited(edited(with_anchor(small), "steps", "B1", hooks="EV1"), "steps", "Z1", hooks="EV2")
    finding = only_finding(scenario)
    assert (finding["severity"], finding["check"], finding["crew"]) == ("stop", "tethers", "EV1")
    assert finding["start_min"] == small_plan.end_min - 8  # ingress
    assert "at Mid rack when EV1 goes in at 1:08: add EV1 to the hooks of Z1" in str(finding["message"])


def test_a_hook_left_behind_is_one_finding_for_all_that_it_is_out_of_reach_of(demo: pk.Scenario) -> None:
    # Without RG9 EV1 stays hooked at the knuckle until CL2. The porch is 19 + 4.5 + 4 + 4 + 4 m away.
    findings = pk.time_plan(edited(demo, "steps", "RG9", hooks="")).findings
    (stop,) = findings.query("severity == 'stop'").to_dict("records")
    assert (stop["crew"], stop["value"]) == ("EV1", pytest.approx(13 + 6 + 4.5 + 4 + 4 + 4))
    assert stop["message"].count(" to 3:57, ") == 1
    assert "move the hook to Hub ring at 3:06, with hooks EV1 in RG9" in stop["message"]


def test_two_moves_where_one_is_not_enough(small: pk.Scenario) -> None:
    # Hooked at the Mid rack, 15 m reach the Mast head (12 m) but not the Port deck (16 m): back at the hatch.
    scenario = edited(with_anchor(small), "crew", "EV1", tether_m=15)
    scenario = with_step(scenario, 6, "B4", "EV1", "POR", 1)
    message = str(only_finding(scenario)["message"])
    assert "move the hook to Mid rack at 0:15, with hooks EV1 in B1, and to Hatch at" in message
    assert "with a step there that hooks EV1, on the way to B4" in message
    mended = edited(scenario, "steps", "B1", hooks="EV1")
    position = mended.steps["step"].tolist().index("B4")
    assert found(with_step(mended, position, "M1", "EV1", "HAT", 1, hooks="EV1")) == []


def test_the_demo_without_a_hook_move(demo: pk.Scenario) -> None:
    """A hook move that is taken away is asked for, at a step that mends it."""
    findings = pk.time_plan(edited(demo, "steps", "RA1", hooks="")).findings
    stops = findings.query("severity == 'stop' and check == 'tethers'")
    assert stops[["check", "crew", "step"]].to_numpy().tolist() == [["tethers", "EV1", "IN1"]]
    # Hub to knuckle is 6 + 13 m, to the bay 14 + 9 m more: 42 m of 26 m.
    assert (stops["value"].iloc[0], stops["limit"].iloc[0]) == (42, 26)
    assert "move the hook to Boom knuckle at 1:14, with hooks EV1 in KN4" in stops["message"].iloc[0]
    mended = edited(edited(demo, "steps", "RA1", hooks=""), "steps", "KN4", hooks="EV1")
    assert found(mended, "tethers") == [("concern", "tethers", "EV1 EV2", "EG2")]  # as in the demo itself


def test_no_anchor(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "steps", "B1", hooks="EV1"))
    assert (finding["severity"], finding["step"], finding["start_min"]) == ("stop", "B1", 15.0)
    assert "to Mid rack, which has no anchor" in str(finding["message"])


def test_what_follows_from_a_hook_move_that_fails_names_it(small: pk.Scenario) -> None:
    scenario = edited(with_anchor(small), "crew", "EV1", tether_m=17)
    scenario = edited(edited(scenario, "steps", "B1", hooks="EV1"), "places", "MID", anchor="no")
    findings = pk.time_plan(scenario).findings
    assert findings[["severity", "step"]].to_numpy().tolist() == [["stop", "B1"], ["stop", "B2"]]
    assert "(the hook move of B1 does not count: see there)" in findings["message"][1]


def test_owner_elsewhere(small: pk.Scenario) -> None:
    # C1 ends at 14 with EV1 at the rack until 15; B1 ends at 15, when EV2 has left.
    scenario = with_anchor(small)
    assert found(edited(scenario, "steps", "C1", hooks="EV1")) == []
    finding = only_finding(edited(scenario, "steps", "B1", hooks="EV2"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV2", "B1")
    assert "while EV2 is elsewhere" in str(finding["message"])


def test_the_airlock_without_an_anchor(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "places", "HAT", anchor="no"))
    assert (finding["severity"], finding["source"]) == ("stop", "places.anchor")


def test_no_length_given(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "crew", "EV1", tether_m=""), "tethers")  # the way back tells it too
    assert (finding["severity"], finding["check"], finding["crew"]) == ("remark", "tethers", "EV1")


def test_a_crossing_on_a_route(small: pk.Scenario) -> None:
    # EV2 leaves the rack at 14 and is at the hatch at 15. EV1 leaves the hatch then, or half a minute before.
    scenario = with_step(small, 1, "B0", "EV1", "HAT", 5)
    assert found(scenario) == []
    finding = only_finding(edited(scenario, "steps", "B0", minutes_low=4, minutes_likely=4.5))
    assert (finding["severity"], finding["check"], finding["crew"]) == ("concern", "tethers", "EV1 EV2")
    assert (finding["step"], finding["start_min"]) == ("B1", pytest.approx(14.5))
    assert "meets EV2 between Hatch and Mid rack" in str(finding["message"])


def test_a_crossing_where_the_partner_stands(small: pk.Scenario) -> None:
    # EV1 takes the lamp at the hatch (to 14) and passes the rack at 15; EV2 works there from 11 to 15 or 16.
    scenario = edited(edited(small, "steps", "B1", place="HAT"), "hardware", "lamp-new", at="HAT")
    assert found(edited(scenario, "steps", "C1", minutes_likely=4)) == []
    scenario = edited(scenario, "steps", "C1", minutes_likely=5)
    finding = only_finding(scenario)
    assert (finding["severity"], finding["crew"], finding["start_min"]) == ("concern", "EV1 EV2", 15.0)
    assert "passes EV2, who stands at Mid rack" in str(finding["message"])
    # With the hook of EV2 at the rack itself, no two lines lie along a route into it.
    assert found(with_step(with_anchor(scenario), 2, "C0", "EV2", "MID", 1, hooks="EV2")) == []


def test_turning_back_where_the_partner_stands_is_no_passing(small: pk.Scenario) -> None:
    # EV1 goes to the rack (12), where EV2 works from 11 to 14, and straight back: nothing to wait for there.
    scenario = with_step(with_step(small, 1, "B0", "EV1", "HAT", 2), 1, "A2", "EV1", "HAT", 1)
    steps = scenario.steps
    steps["wait_at"] = ["MID" if step == "B0" else "" for step in steps["step"]]
    scenario = scenario.with_table("steps", steps)
    passages = pk.time_plan(scenario).timed.passages["EV1"]
    way = [(p.place, p.to_place) for p in passages if p.step == "B0" and p.route]
    assert way == [("HAT", "MID"), ("MID", "HAT")]
    assert found(scenario) == []
