"""A task that comes back loses nothing unseen: it comes as it stood, or not, or what is lost is told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.desk.board_told import answer_told
from tests.campaign.ridge import after, write_ridge

ROWS = ("AA,First,optional,10,,,,P1,EV1,20,", "BB,Second,optional,5,,,,P2,EV2,15,",
        "CC,Third,optional,4,,,,P1,EV2,15,")
BACK = "as it stood there before it left: "


def revised(campaign: pk.Campaign, **cells: object) -> pk.Campaign:
    """The campaign with another backlog row of AA."""
    source = replace(campaign.source, backlog=tuple(
        replace(each, **cells) if each.task == "AA" else each for each in campaign.source.backlog))
    return replace(campaign, source=source)


@pytest.fixture
def ridge(tmp_path: Path) -> pk.Campaign:
    """AA, BB and CC on R1, AA under an inhibit with BB after it, longer than the backlog says."""
    folder = write_ridge(tmp_path / "ridge", ROWS, 1, planned=200)
    with (folder / "hardware.csv").open("a", encoding="utf-8") as file:
        file.write("tool,Tool,tool,inside,,1,,no,2\n")
    campaign = after(pk.load_campaign(folder), ("AA", "R1"), ("BB", "R1"), ("CC", "R1"))
    scenario = campaign.scenario("R1").edit_row("steps", "BB", after="AA").move_step("CC", after="BB")
    scenario = scenario.add_row("inhibits", inhibit="I1", title="Antenna off", owner="Ground",
                                from_step="AA", until_step="BB", needed_by="AA BB", lead_min=5)
    scenario = scenario.add_row("inhibits", inhibit="I2", title="Heater off", owner="Ground",
                                from_step="AA", until_step="AA", needed_by="AA", lead_min=0)
    return campaign.with_scenario("R1", scenario.edit_row(
        "steps", "AA", caution="live connector", minutes_likely=24, minutes_high=30))


def longer(campaign: pk.Campaign, minutes: float) -> pk.Campaign:
    scenario = campaign.scenario("R1").edit_row(
        "steps", "BB", minutes_low=minutes, minutes_likely=minutes, minutes_high=minutes)
    return campaign.with_scenario("R1", scenario)


def test_no_room_is_won_by_what_protects(ridge: pk.Campaign) -> None:
    """BB is longer meanwhile: the backlog's rows, which wait for nothing, would fit and do not come."""
    off = after(ridge, ("AA", ""))
    assert pk.Campaign(longer(off, 128).source).moved("AA", "R1").why_not == ""
    found = longer(off, 128).moved("AA", "R1")
    end = after(longer(off, 80), ("AA", "R1")).timed_plan("R1").end_min + 48
    assert found.why_not.startswith(f"{BACK}both inside at PET ")
    assert f"{end - 190:.1f} min past the limit" in found.why_not
    assert answer_told(found, "")["refused"] == found.words
    assert "AA" not in found.campaign.planned("R1")


def test_another_order_with_all_that_protects_is_taken(ridge: pk.Campaign) -> None:
    found = longer(after(ridge, ("AA", "")), 120).moved("AA", "R1")
    scenario = found.campaign.scenario("R1")
    assert scenario.inhibits["needed_by"].tolist() == ["AA BB", "AA"]
    assert scenario.steps.set_index("step").loc["BB", "after"] == "AA"
    assert not any("not as before" in line for line in found.lost["R1"])


def test_an_assignment_wins_no_room_by_it_either(ridge: pk.Campaign) -> None:
    off = after(ridge, ("AA", ""))
    found = longer(off, 140).assign("quick", progress=None)
    assert found.found.outing_of["AA"] == "R1"
    assert found.scenarios["R1"].inhibits["needed_by"].tolist() == ["AA", "AA"]
    assert "BB" not in found.found.outing_of
    scenario = off.scenario("R1").edit_row("inhibits", "I1", needed_by="E2", from_step="E2", until_step="E2")
    scenario = scenario.edit_row("steps", "BB", after="")
    found = off.with_scenario("R1", scenario).assign("quick", progress=None)
    (why,) = found.left_out.query("task == 'AA'")["why"]
    assert why.startswith(f"R1: {BACK}inhibit I1 (Antenna off): AA needs it from ")


def test_an_inhibit_edited_meanwhile_still_guards_what_comes_back(ridge: pk.Campaign) -> None:
    off = after(ridge, ("AA", ""))
    scenario = off.scenario("R1").edit_row("inhibits", "I1", needed_by="BB CC", until_step="CC")
    back = after(off.with_scenario("R1", scenario), ("AA", "R1")).scenario("R1")
    (row,) = back.inhibits.query("inhibit == 'I1'").to_dict("records")
    assert (row["from_step"], row["until_step"], row["needed_by"]) == ("AA", "CC", "BB CC AA")
    assert back.steps.set_index("step").loc["BB", "after"] == "AA"


def test_one_that_would_not_be_in_force_long_enough_is_a_no(ridge: pk.Campaign) -> None:
    """The inhibit ends earlier by now; before, what comes back was taken off the list of who needs it."""
    off = after(ridge, ("AA", ""))
    scenario = off.scenario("R1").edit_row("steps", "BB", after="")
    scenario = scenario.edit_row("inhibits", "I1", needed_by="E2", from_step="E2", until_step="E2")
    found = off.with_scenario("R1", scenario).moved("AA", "R1")
    assert found.why_not.startswith(f"{BACK}inhibit I1 (Antenna off): AA needs it from ")
    assert found.why_not.endswith("it is not put in without what the outing said of it")


def test_order_edited_meanwhile_keeps_both(ridge: pk.Campaign) -> None:
    off = after(ridge, ("AA", ""))
    scenario = off.scenario("R1").move_step("BB", after="CC").edit_row("steps", "BB", after="CC")
    back = after(off.with_scenario("R1", scenario), ("AA", "R1")).scenario("R1")
    assert back.steps.set_index("step").loc["BB", "after"] == "CC AA"


def test_a_stop_of_its_own_meanwhile_is_not_held_against_it(ridge: pk.Campaign) -> None:
    off = after(ridge, ("AA", ""))
    scenario = off.scenario("R1").add_row("inhibits", inhibit="I9", title="Late", owner="Ground",
                                          from_step="CC", until_step="CC", needed_by="E2", lead_min=1)
    off = off.with_scenario("R1", scenario)
    assert "stop" in set(off.plan("R1").findings["severity"])
    assert "AA" in after(off, ("AA", "R1")).planned("R1")


@pytest.fixture
def without_tool(ridge: pk.Campaign) -> pk.Campaign:
    """AA, which used the tool, off; then the tool is deleted, and BB is off, too."""
    scenario = ridge.scenario("R1").edit_row("steps", "AA", uses="tool")
    off = after(ridge.with_scenario("R1", scenario), ("AA", ""))
    off = off.with_scenario("R1", off.scenario("R1").drop_row("hardware", "tool"))
    return after(off, ("BB", ""))


def losses(task: str) -> tuple[str, ...]:
    return (f"{task} does not come back as it stood before it left, but as the backlog says: steps uses: ",
            "'tool' is not in hardware.csv",
            f"not as before {task} left: inhibits: I2 (Heater off) removed: inhibit I2, owner Ground",
            f"not as before {task} left: steps: AA (First), minutes_likely: was 24, is 20",
            f"not as before {task} left: steps: AA (First), caution: no longer live connector")


def test_what_cannot_come_as_it_stood_tells_what_it_has_lost(without_tool: pk.Campaign) -> None:
    found = without_tool.moved("AA", "R1")
    assert found.why_not == ""
    for words in losses("AA"):
        assert words in found.words
    (part,) = [part for part in answer_told(found, "")["parts"] if part["outing"] == "R1"]
    assert all(["concern", line] in part["lines"] for line in found.lost["R1"])


def test_an_assignment_tells_it_too(without_tool: pk.Campaign) -> None:
    found = without_tool.assign("quick", progress=None)
    assert found.found.outing_of["AA"] == "R1"
    told = " ".join(found.moves["words"])
    for words in losses("AA"):
        assert words in told
    assert "more than tasks changes on R1" in found.verdict


def test_a_revised_backlog_counts_where_the_task_said_what_it_said(ridge: pk.Campaign) -> None:
    off = revised(after(ridge, ("AA", "")), title="First, revised", place="P3", minutes_likely=45.0)
    found = off.moved("AA", "R1")
    (step,) = found.campaign.scenario("R1").steps.query("step == 'AA'").to_dict("records")
    assert (step["title"], step["place"], step["caution"]) == ("First, revised", "P3", "live connector")
    assert found.campaign.scenario("R1").inhibits["inhibit"].tolist() == ["I1", "I2"]
    # Its minutes were typed on the outing: neither is taken unseen.
    assert step["minutes_likely"] == 24
    assert ("AA, minutes_likely: the backlog says 45 by now, and said 20 when it left; here it is 24"
            in found.words)
    told = off.assign("quick", progress=None).moves["words"]
    assert any("the backlog says 45 by now" in words for words in told)


def test_minutes_that_were_the_backlogs_are_those_of_the_new_one(ridge: pk.Campaign) -> None:
    scenario = ridge.scenario("R1").edit_row("steps", "AA", minutes_likely=20, minutes_high=20)
    off = revised(after(ridge.with_scenario("R1", scenario), ("AA", "")), minutes_likely=45.0)
    found = off.moved("AA", "R1")
    (step,) = found.campaign.scenario("R1").steps.query("step == 'AA'").to_dict("records")
    assert (step["minutes_low"], step["minutes_likely"], step["minutes_high"]) == (45, 45, 45)
    assert "backlog" not in found.words
