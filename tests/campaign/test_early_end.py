"""An early end: what is left is never less than the end state says, and what it costs every later outing."""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.early_end import begins_otherwise, new_over_outings, onward
from tests.campaign.ridge import STEPS, write_ridge
from tests.conftest import SCENARIOS

NN = f"""{STEPS.replace(',caution', ',needs,sets,caution')}
N1,NN,EV1,LCK,Take the box,8,10,12,,,,,,box,,,,,,,
N2,NN,EV1,P2,Prepare the mount,25,30,40,N1,,,,,,,box,,,,,
N3,NN,EV1,P2,Mount it,15,20,30,N2,,,,,,box,,,,,lid=open,
"""
AA = "AA,First,required,10,2031-09-20,,,P1,EV1,20,"
BB = "BB,Needs A,required,5,,AA,,P2,EV2,15,"


def box(folder: Path) -> TimedCampaign:
    """A task of three steps on R1: a box is taken from inside, used, and left outside, which opens a lid."""
    write_ridge(folder, [AA], 3, planned=250)
    (folder / "steps-n.csv").write_text(NN, encoding="utf-8")
    (folder / "backlog.csv").write_text(
        "task,title,need,value,must_by,after,least_gap_days,place,crew,minutes_likely,trained,steps\n"
        "NN,Mount box,required,20,2031-09-04,,,,,,,steps-n.csv\n", encoding="utf-8")
    (folder / "states.csv").write_text("state,title,values,at_start,at_end,safe_when\n"
                                       "lid,Lid,open shut,shut,,\n", encoding="utf-8")
    with (folder / "hardware.csv").open("a", encoding="utf-8") as file:
        file.write("box,Box,spare,inside,,1,,no,2\n")
    return pk.load_campaign(folder).moved("NN", "R1").campaign


def test_steps_done_again_count_as_what_they_moved_comes_back_inside(tmp_path: Path) -> None:
    campaign = box(tmp_path / "c")
    table = campaign.early_end_table("R1").set_index("minute")
    # 10, 30 and 20 min. By 1:15 the first two are over, and the box goes home with whoever has it.
    assert table.loc[75.0, "minutes_left"] == 60
    assert table.loc[0.0, "minutes_left"] == 60
    assert table.loc[90.0, "minutes_left"] == 0


def test_what_is_left_is_never_less_than_the_end_state_says(tmp_path: Path) -> None:
    tern = pk.load_campaign(SCENARIOS / "tern-campaign")
    for campaign, outing in ((box(tmp_path / "c"), "R1"), (tern, "two"), (tern, "three")):
        for row in campaign.early_end_table(outing, 9.5).to_dict("records"):
            minute = min(row["minute"], campaign.timed_plan(outing).end_min)
            ends = campaign.end_state(outing, minute).tasks
            left = sum(each.left_min for each in ends if each.task.task in campaign.tasks)
            assert row["minutes_left"] >= left - 1e-6, (outing, row)


@pytest.mark.parametrize("on", ["R2", "R3"])
def test_a_prerequisite_that_is_lost_is_a_stop_of_any_outing_to_come(tmp_path: Path, on: str) -> None:
    folder = write_ridge(tmp_path / "c", [AA, BB], 3, planned=250)
    campaign = pk.load_campaign(folder).moved("AA", "R1").campaign.moved("BB", on).campaign
    now, then = onward(campaign, "R1"), onward(campaign, "R1", 30.0)
    found = {(row["outing"], row["rule"], row["about"]) for row in new_over_outings(now, then, ["R3"])}
    assert (on, "too-soon", "BB") in found
    assert not [*new_over_outings(now, onward(campaign, "R1", 62.0), ["R3"])]  # AA is over by then


def test_an_outing_after_the_next_begins_with_what_was_left_too(tmp_path: Path) -> None:
    campaign = box(tmp_path / "c")
    now, then = onward(campaign, "R1").campaign, onward(campaign, "R1", 75.0).campaign
    assert [each.scenario("R3").records.states[0].at_start for each in (now, then)] == ["open", "shut"]
    words = begins_otherwise(campaign.scenario("R3"), now.scenario("R3"), then.scenario("R3"))
    assert any("at_start: was open, is shut" in each for each in words)
    assert any("at: was P2, is inside" in each for each in words)
    assert campaign.timed_plan("R1").outside is None  # the campaign itself is as it was


def test_where_an_outing_has_no_plan_then_it_is_named(tmp_path: Path) -> None:
    campaign = box(tmp_path / "c")
    folder = campaign.folder / "r2"
    kept = (campaign.folder / "places.csv").read_text(encoding="utf-8").replace("P2,", "Q2,")
    (folder / "places.csv").write_text(kept, encoding="utf-8")
    routes = (campaign.folder / "routes.csv").read_text(encoding="utf-8").replace("P2", "Q2")
    (folder / "routes.csv").write_text(routes, encoding="utf-8")
    campaign = campaign.with_scenario("R2", pk.load_scenario(folder))
    found = onward(campaign, "R1")  # the box was left at P2, which R2 has not
    assert (found.stopped_at, "no place of this outing" in found.why) == ("R2", True)
    assert onward(campaign, "R1", 40.0).stopped_at == ""
    assert all(row["outing"] in ("", "R1") for row in new_over_outings(
        found, onward(campaign, "R1", 40.0), ["R3"]))


def test_a_last_outing_has_none_to_come(tmp_path: Path) -> None:
    campaign = box(tmp_path / "c")
    assert onward(campaign, "R3", 10.0).stopped_at == ""
