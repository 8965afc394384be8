"""Bulky items on tight and snag routes: one edit of a clean plan, exactly the expected findings."""

from __future__ import annotations

import pytest

import planning_kit as pk
from tests.edits import edited
from tests.judge.mutations import found, only_finding


def with_route(scenario: pk.Scenario, to_place: str, **flags: str) -> pk.Scenario:
    """One of the small outing's routes changed; each leads to another place."""
    routes = scenario.routes
    for column, value in flags.items():
        routes[column] = routes[column].astype(object).where(routes["to_place"] != to_place, value)
    return scenario.with_table("routes", routes)


@pytest.mark.parametrize(("flag", "words"), [("tight", "that is tight"), ("snag", "that is a snag hazard")])
def test_bulky_item_in_hand(small: pk.Scenario, flag: str, words: str) -> None:
    scenario = with_route(small, "MST", **{flag: "yes"})
    assert found(scenario) == []
    finding = only_finding(edited(scenario, "hardware", "lamp-new", bulky="yes"))
    assert (finding["severity"], finding["check"], finding["crew"]) == ("concern", "routes", "EV1")
    assert (finding["step"], finding["start_min"]) == ("B2", 15.0)  # B1 ends at 15; it stays at the Mast head
    assert "carries bulky lamp-new from Mid rack to Mast head at 0:15" in str(finding["message"])
    assert words in str(finding["message"])


def test_a_bulky_bag_counts_each_way_and_what_is_in_a_slim_bag_does_not(small: pk.Scenario) -> None:
    scenario = with_route(small, "POR", snag="yes", caution="Hinge")
    assert found(edited(scenario, "hardware", "cassette", bulky="yes")) == []
    findings = pk.time_plan(edited(scenario, "hardware", "bag", bulky="yes")).findings
    assert findings[["severity", "check", "step"]].to_numpy().tolist() == [
        ["concern", "routes", "C2"], ["concern", "routes", "Z1"]]
    assert findings["message"].str.contains("(Hinge)", regex=False).all()


def test_things_on_one_leg_share_a_finding(small: pk.Scenario) -> None:
    scenario = edited(with_route(small, "MST", tight="yes", snag="yes"), "hardware", "lamp-new", bulky="yes")
    findings = pk.time_plan(edited(scenario, "hardware", "driver", bulky="yes")).findings
    assert findings["message"].str.contains("bulky driver and lamp-new").tolist() == [True, False]
    assert findings["source"].tolist() == ["routes.tight, routes.snag"] * 2


def test_flags_that_are_not_given_are_one_note(small: pk.Scenario) -> None:
    scenario = small.with_table("routes", small.routes.assign(tight="", snag=["", "no", "no"]))
    finding = only_finding(edited(scenario, "hardware", "bag", bulky=""))
    assert (finding["severity"], finding["check"]) == ("remark", "routes")
    assert ("routes.tight for HAT to MID, MID to MST, HAT to POR; routes.snag for HAT to MID; "
            "hardware.bulky for bag") in str(finding["message"])


def test_what_nobody_carries_need_not_be_known(small: pk.Scenario) -> None:
    assert found(edited(small, "hardware", "foothold", bulky="")) == []
