"""Footholds: one edit of a clean plan, exactly the expected findings.

In the small outing EV1 needs the foothold of the Mast head in B2 (17 to 30); EV2 is at the Port deck in C2.
"""

from __future__ import annotations

import planning_kit as pk
from tests.edits import edited
from tests.judge.mutations import found, only_finding, with_item


def test_no_socket(small: pk.Scenario) -> None:
    finding = only_finding(edited(small, "places", "MST", socket="no"))
    assert (finding["severity"], finding["check"], finding["step"]) == ("stop", "footholds", "B2")
    assert "B2 and B3 need foothold at Mast head, which has no socket" in str(finding["message"])


def test_steps_that_miss_it_for_one_cause_share_a_finding(small: pk.Scenario) -> None:
    scenario = edited(small, "hardware", "foothold", at="MID", end_at="MID")
    finding = only_finding(edited(scenario, "steps", "B3", foothold="foothold"))
    assert (finding["severity"], finding["step"], finding["start_min"]) == ("stop", "B2", 17.0)
    assert "B2 and B3 need foothold in the socket of Mast head" in str(finding["message"])
    assert "it lies at Mid rack since the start" in str(finding["message"])


def test_needed_in_two_places_at_once(small: pk.Scenario) -> None:
    scenario = edited(small, "places", "POR", socket="yes")
    assert found(scenario) == []
    finding = only_finding(edited(scenario, "steps", "C2", foothold="foothold"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV2", "C2")
    assert "and B2 at Mast head from 0:17 to 0:30: one foothold cannot be in two places" in finding["message"]


def test_two_people_in_one_foothold(small: pk.Scenario) -> None:
    scenario = edited(edited(small, "places", "MST", crew_at_once=2), "steps", "C2", place="MST", uses="")
    assert found(scenario) == []
    finding = only_finding(edited(scenario, "steps", "C2", foothold="foothold"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("concern", "EV2 EV1", "B2")
    assert "EV2 (C2) and EV1 (B2) are both in foothold at Mast head from 0:17" in str(finding["message"])
    shared = edited(scenario, "steps", "A1", place="MST", foothold="foothold")
    assert [row for row in found(shared) if row[1] == "footholds"] == []  # one step of both


def test_taken_out_while_in_use(small: pk.Scenario) -> None:
    # C1 of 5 min ends at 16; EV2 comes to the Mast head (12 m) at 18, while EV1 is in the foothold since 17.
    scenario = edited(edited(small, "places", "MST", crew_at_once=2), "steps", "C1", minutes_likely=5)
    scenario = edited(scenario, "steps", "C2", place="MST", uses="")
    assert found(scenario) == []
    finding = only_finding(edited(scenario, "steps", "C2", takes="foothold", leaves="foothold"))
    assert (finding["severity"], finding["crew"], finding["step"]) == ("stop", "EV1", "B2")
    assert finding["start_min"] == 18.0
    assert "but EV2 has it since C2" in str(finding["message"])


def test_a_socket_holds_one(small: pk.Scenario) -> None:
    scenario = with_item(edited(small, "crew", "EV1", carry_slots=5), "second", kind="foothold", at="EV1",
                         end_at="MST", slots=2, bulky="no")
    finding = only_finding(edited(scenario, "steps", "B2", leaves="second"))
    assert (finding["severity"], finding["check"], finding["step"]) == ("concern", "footholds", "B2")
    scenario = edited(scenario, "steps", "B3", foothold="second")
    findings = pk.time_plan(edited(scenario, "steps", "B2", leaves="second")).findings
    assert findings[["severity", "step"]].to_numpy().tolist() == [["stop", "B3"], ["concern", "B2"]]
    assert "(the socket has foothold in it)" in findings["message"][0]


def test_two_footholds_in_one_socket_from_the_start(small: pk.Scenario) -> None:
    finding = only_finding(with_item(small, "second", kind="foothold", at="MST", end_at="MST", slots=2,
                                     bulky="no"))
    assert (finding["severity"], finding["check"], finding["start_min"]) == ("concern", "footholds", 0)
    assert "second is at Mast head at PET 0:00, but its socket has foothold in it" in str(finding["message"])
