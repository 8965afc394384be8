"""Hardware: one edit of a clean plan, exactly the expected findings.

Times of the small outing, derived from its tables (6 m/min): A1 ends at 10; B1 and C1 at the Mid rack (6 m)
start at 11 and end at 15 and 14; C2 at the Port deck (16 m back over the hatch) starts at 14 + 16/6.
"""

from __future__ import annotations

import pytest

import planning_kit as pk
from planning_kit.inputs.times import pet_label
from tests.edits import edited
from tests.judge.mutations import found, only_finding, with_camera, with_step


def test_good_plans_are_clean(small: pk.Scenario, demo_plan: pk.Plan) -> None:
    assert found(small) == found(with_camera(small)) == []
    ours = demo_plan.findings.query("check in ['custody', 'footholds', 'tethers', 'routes']")
    assert not (ours["severity"] == "stop").any()
    # The carrier (bulky) goes out and home over the snag route BK - BO; EV1 passes EV2 at the tool box.
    assert ours[["severity", "check", "step"]].to_numpy().tolist() == [
        ["concern", "tethers", "EG2"], ["concern", "routes", "RN3"], ["concern", "routes", "KN5"]]


def test_taken_where_it_is_not(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "hardware", "lamp-new", at="POR"))
    assert (finding["severity"], finding["check"], finding["crew"]) == ("stop", "custody", "EV1")
    assert (finding["step"], finding["start_min"]) == ("B1", 11.0)
    assert "takes lamp-new at Mid rack, but it lies at Port deck since the start" in str(finding["message"])


def test_two_takers(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "steps", "C1", takes="bag driver"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV2", "C1")
    assert "takes driver at Mid rack, but EV1 has it since the start" in str(finding["message"])


def test_taken_by_who_has_it(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "steps", "B2", takes="driver"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("concern", "EV1", "B2")
    assert "EV1 has it since the start already" in str(finding["message"])


def test_in_a_bag_but_not_said_so(small: pk.Scenario) -> None:
    # At 11:00 min both are at the rack where the bag lies; B1 comes first in the table.
    scenario = edited(small, "hardware", "lamp-new", at="bag")
    finding = only_finding(scenario)
    assert (finding["severity"], finding["step"]) == ("stop", "B1")
    assert "it is in bag since the start, which lies at Mid rack: write lamp-new<bag" in finding["message"]
    assert found(edited(scenario, "steps", "B1", takes="lamp-new<bag")) == []


def test_not_in_the_bag_it_is_taken_out_of(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "steps", "B1", takes="lamp-new<bag"))
    assert (finding["severity"], finding["step"]) == ("stop", "B1")
    assert "out of bag at Mid rack, but it lies at Mid rack" in str(finding["message"])


def test_out_of_a_bag_that_is_elsewhere(small: pk.Scenario) -> None:
    scenario = edited(edited(small, "hardware", "bag", holds=3), "hardware", "lamp-old", at="bag")
    assert found(edited(scenario, "steps", "B3", takes="", leaves="lamp-new")) == []
    finding = only_finding(edited(scenario, "steps", "B3", takes="lamp-old<bag"))
    assert (finding["severity"], finding["step"], finding["crew"]) == ("stop", "B3", "EV1")
    assert "at Mast head needs bag for lamp-old, but EV2 has it since C1" in str(finding["message"])


def test_into_a_bag_that_was_never_fetched_and_what_comes_of_it(small: pk.Scenario) -> None:
    scenario = edited(small, "steps", "C3", uses="")
    assert found(scenario) == []
    findings = pk.time_plan(edited(scenario, "steps", "C1", takes="")).findings
    assert findings[["severity", "step"]].to_numpy().tolist() == [
        ["stop", "C3"], ["stop", ""], ["stop", "C3"]]
    first, bag, cassette = findings["message"]
    assert "at Port deck needs bag for cassette, but it lies at Mid rack since the start" in first
    assert "bag must be inside at the end, but it lies at Mid rack" in bag
    assert "cassette must be inside at the end, but it is in bag since C3, which lies at Mid rack" in cassette


def test_left_by_someone_who_does_not_have_it(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "steps", "B2", leaves="lamp-old"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV1", "B2")
    assert finding["start_min"] == 30.0  # B2 starts at 15 + 12/6 and takes 13 min
    assert "leaves lamp-old at Mast head, but it lies at Mast head since the start" in str(finding["message"])


def test_a_take_forgotten_is_found_once_where_the_item_is_first_missed(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "steps", "B1", takes=""))
    assert (finding["severity"], finding["step"]) == ("stop", "B3")
    assert "B3 at Mast head uses lamp-new, but it lies at Mid rack since the start" in str(finding["message"])


def test_used_while_the_partner_has_it(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "steps", "C2", uses="cassette driver"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV2", "C2")
    assert "uses driver, but EV1 has it since the start: let EV2 take it before" in str(finding["message"])


def test_used_and_taken_away_meanwhile(small: pk.Scenario) -> None:
    # B1 (11 to 15) uses the bag that lies at the rack; C1 takes it from there: at 11, or from 12.5 on.
    finding = only_finding(edited(small, "steps", "B1", uses="bag"))
    assert (finding["step"], finding["start_min"]) == ("B1", 11.0)
    assert "but EV2 has it since C1" in str(finding["message"])
    late = with_step(edited(small, "steps", "B1", uses="bag"), 1, "C0", "EV2", "HAT", 1.5)
    assert only_finding(late)["start_min"] == 12.5


def test_a_bag_that_is_here_gives_what_is_in_it_to_use_but_not_what_is_in_the_partners(
        small: pk.Scenario) -> None:
    bagged = edited(small, "steps", "C3", uses="bag", title="Bag it")
    bagged = with_step(bagged, 7, "C4", "EV2", "POR", 1, uses="cassette")
    assert found(bagged) == []
    elsewhere = edited(bagged, "steps", "C4", crew="EV1", place="MST")
    finding = only_finding(elsewhere)
    assert finding["step"] == "C4"
    assert "cassette" in str(finding["message"])


def test_partner_comes_before_the_item_does(small: pk.Scenario) -> None:
    scenario = edited(with_camera(small), "steps", "B1", leaves="camera")
    finding = only_finding(edited(scenario, "steps", "C1", takes="bag camera"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV2", "C1")
    # C1 starts at 11, B1 ends at 15.
    assert "B1 leaves it only at 0:15, 4.0 min later: add B1 to the after of C1" in str(finding["message"])
    assert (finding["value"], finding["limit"], finding["margin"]) == (4.0, 0.0, -4.0)
    assert found(edited(scenario, "steps", "C1", takes="bag camera", after="B1")) == []


def test_hand_to_hand(small: pk.Scenario) -> None:
    scenario = with_camera(small)
    assert found(edited(scenario, "steps", "A1", leaves="EV1:camera>EV2")) == []
    finding = only_finding(edited(scenario, "steps", "B2", leaves="camera>EV2"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV1", "B2")
    assert "hands camera to EV2 at Mast head, but EV2 is at Port deck" in str(finding["message"])


def test_bag_too_full(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "hardware", "cassette", slots=1.5))
    assert (finding["severity"], finding["step"], finding["source"]) == ("stop", "C3", "hardware.holds")
    assert (finding["value"], finding["limit"], finding["margin"]) == (1.5, 1.0, -0.5)


def test_hands_too_full_for_one_spell(small: pk.Scenario) -> None:
    # In B3 EV1 has the driver and both lamps. A bag counts its own slots only: EV2 never has more than 2.
    assert found(edited(small, "crew", "EV2", carry_slots=2)) == []
    plan = pk.time_plan(edited(small, "crew", "EV1", carry_slots=2))
    (finding,) = plan.findings.to_dict("records")
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV1", "B3")
    assert (finding["value"], finding["limit"], finding["margin"]) == (3, 2, -1)
    assert finding["start_min"] == plan.timed.starts[plan.timed.position("B3")]
    assert "(driver, lamp-new, lamp-old)" in finding["message"]


def test_a_spell_that_gets_worse_is_still_one(small: pk.Scenario) -> None:
    # With the first lamp EV1 has 2 slots of 1 from B1 on, with the second 3, and the old lamp stays in hand.
    finding = only_finding(edited(small, "crew", "EV1", carry_slots=1))
    assert (finding["step"], finding["start_min"], finding["value"]) == ("B1", 11.0, 3)


def test_not_home_at_the_end(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "steps", "C3", takes="", leaves=""))
    assert (finding["severity"], finding["source"]) == ("stop", "hardware.end_at")
    assert "cassette must be inside at the end, but it lies at Port deck since the start" in str(
        finding["message"])


@pytest.mark.parametrize(("item", "words"), [
    ("foothold", "foothold must be at Hatch at the end, but it lies at Mast head since the start"),
    ("driver", "driver must be at Hatch at the end, but EV1 has it since the start"),
])
def test_not_where_it_must_be_at_the_end(small: pk.Scenario, item: str, words: str) -> None:
    finding = only_finding(edited(small, "hardware", item, end_at="HAT"))
    assert (finding["severity"], finding["check"]) == ("stop", "custody")
    assert words in str(finding["message"])


def test_there_but_still_in_its_bag(small: pk.Scenario) -> None:
    scenario = edited(edited(small, "steps", "Z1", leaves="EV2:bag"), "hardware", "cassette", end_at="HAT")
    finding = only_finding(scenario)
    assert finding["severity"] == "concern"
    assert "it is in bag since C3, which lies at Hatch" in str(finding["message"])


def test_brought_out_and_left_outside(small: pk.Scenario) -> None:
    scenario = edited(small, "hardware", "driver", end_at="")
    assert found(scenario) == []
    finding = only_finding(edited(scenario, "steps", "B3", leaves="lamp-new driver"))
    assert (finding["severity"], finding["step"]) == ("concern", "B3")
    assert "driver was brought out and stays outside: it lies at Mast head since B3" in finding["message"]


def test_what_starts_outside_may_stay_outside(small: pk.Scenario) -> None:
    assert found(edited(small, "hardware", "lamp-new", end_at="")) == []


def test_inside_things_are_taken_at_the_airlock_only(small: pk.Scenario) -> None:
    scenario = edited(small, "hardware", "bag", at="inside")
    assert found(edited(edited(scenario, "steps", "C1", takes=""), "steps", "A1", takes="EV2:bag")) == []
    finding = only_finding(scenario)
    assert "takes bag at Mid rack, but it is inside since the start" in str(finding["message"])


def test_a_cable_has_two_ends(demo: pk.Scenario, demo_plan: pk.Plan) -> None:
    before = set(demo_plan.findings["message"])
    findings = pk.time_plan(edited(demo, "steps", "CB2", uses="")).findings
    (new,) = set(findings["message"]) - before
    assert new.startswith("the other end of cable must be at Hub patch panel, but no step there")


def test_missing_slots_are_one_note(small: pk.Scenario) -> None:
    scenario = edited(edited(small, "hardware", "driver", slots=""), "crew", "EV2", carry_slots="")
    finding = only_finding(edited(scenario, "hardware", "bag", holds=""))
    assert finding["severity"] == "remark"
    assert all(name in str(finding["message"]) for name in ("driver", "EV2", "bag"))
    assert "foothold" not in str(finding["message"])  # nobody ever carries it


def test_no_time_between_take_and_leave(small: pk.Scenario) -> None:
    """A step of no length takes, then leaves; one that follows it in the same instant finds the item."""
    scenario = with_step(with_camera(small), 1, "N0", "EV1", "HAT", 0, leaves="camera")
    scenario = with_step(scenario, 1, "N1", "EV2", "HAT", 0, takes="camera", after="N0")
    assert found(scenario) == []
    stays = pk.time_plan(scenario).custody.query("item == 'camera'")
    assert stays[["holder", "from_min", "by_step"]].to_numpy().tolist() == [["EV1", 0, ""], ["EV2", 10, "N1"]]


def test_a_leave_forgotten_is_one_fault_where_somebody_else_takes_the_item(demo: pk.Scenario,
                                                                           demo_plan: pk.Plan) -> None:
    # Without the leave in SV1 the camera would burden EV1, who later carries 4 slots of 4, all outing long.
    before = set(demo_plan.findings["message"])
    findings = pk.time_plan(edited(demo, "steps", "SV1", leaves="")).findings
    (new,) = findings[~findings["message"].isin(before)].to_dict("records")
    assert (new["severity"], new["crew"], new["step"]) == ("stop", "EV2", "SV2")
    assert "takes camera at Hub ring, but EV1 has it since SV0" in new["message"]


def test_until_the_place_where_it_should_have_been_left_it_weighs(demo: pk.Scenario) -> None:
    # EV1 has driver, bag and camera, 3 slots, until SV1 is done, and then 2.
    scenario = edited(edited(demo, "steps", "SV1", leaves=""), "crew", "EV1", carry_slots=2.5)
    plan = pk.time_plan(scenario)
    loads = plan.findings[plan.findings["message"].str.contains("slots in hand")].to_dict("records")
    assert (loads[0]["step"], loads[0]["value"]) == ("SV0", 3)
    assert f"to {pet_label(plan.timed.finishes[plan.timed.position('SV1')])} (" in loads[0]["message"]
    assert not any("camera" in load["message"] for load in loads[1:])


def test_an_overload_that_comes_of_a_fault_names_it(small: pk.Scenario) -> None:
    # EV2 at the Mid rack takes the old lamp, which is at the Mast head: bag and lamp are 2 slots of 1.5, till
    # EV1 takes it there in B3. That EV2 then has bag and cassette in hand is a load of its own.
    scenario = edited(edited(small, "steps", "C1", takes="bag lamp-old"), "crew", "EV2", carry_slots=1.5)
    first, second = pk.time_plan(scenario).findings.query("source == 'crew.carry_slots'")["message"]
    assert "(lamp-old, bag), of which EV2 is only meant to have lamp-old since C1 (see there)" in first
    assert "(bag, cassette): leave" in second


def test_inside_is_no_place_to_be_at(demo: pk.Scenario, demo_plan: pk.Plan) -> None:
    before = set(demo_plan.findings["message"])
    findings = pk.time_plan(edited(demo, "steps", "DK2", takes="camera")).findings
    new = [message for message in findings["message"] if message not in before]
    assert "DESK takes camera inside, but it lies at Tool box" in new[0]
