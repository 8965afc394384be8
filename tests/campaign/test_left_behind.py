"""What an outing loses as a task leaves it is told before it is saved: made from nothing, each kind once."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.campaign.assigned import TimedAssignment, assign
from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.moving import moved
from planning_kit.campaign.open_work import question_of
from planning_kit.desk.board_told import answer_told
from tests.campaign.ridge import write_ridge

ROWS = ("AA,Mast,optional,5,,,,P2,EV1,20,", "BB,Near,optional,4,,,,P1,EV2,20,")
LOST = ("inhibits: I1 (Antenna off) removed: ", "hazards: RAD (Antenna radiates), controls: no longer I1",
        "gaps: E2 AA removed: ", "reason It cures", "actions: AA 1 removed: ",
        "hardware: box (Box), end_at: no longer P2", "hardware.csv becomes its own: ",
        "minutes_likely was 55, is 20", "caution no longer live connector", "safe_orderly_min no longer 7",
        "put_back_min no longer 9")


@pytest.fixture
def campaign(tmp_path: Path) -> pk.Campaign:
    """AA and BB on R1, where AA was given all that only an outing's tables can say."""
    folder = write_ridge(tmp_path / "ridge", ROWS, planned=180)
    with (folder / "hardware.csv").open("a", encoding="utf-8") as file:
        file.write("box,Box,spare,inside,P2,1,,no,2\n")
    found = pk.load_campaign(folder)
    for task in ("AA", "BB"):
        found = found.moved(task, "R1").campaign
    scenario = found.scenario("R1").edit_row(
        "steps", "AA", minutes_low=40, minutes_likely=55, minutes_high=70, caution="live connector",
        safe_orderly_min=7, takes="box", leaves="box")
    scenario = scenario.edit_row("tasks", "AA", put_back_min=9)
    scenario = scenario.add_row("gaps", first_step="E2", then_step="AA", max_gap=300, reason="It cures")
    scenario = scenario.add_row("inhibits", inhibit="I1", title="Antenna off", owner="Ground",
                                from_step="AA", until_step="AA", needed_by="AA", lead_min=5)
    scenario = scenario.add_row("hazards", hazard="RAD", title="Antenna radiates", places="P2",
                                limit="keep_out", controls="I1", source="demo value", **{"class": "warning"})
    scenario = scenario.add_row("actions", step="AA", number=1, action="Look at it")
    scenario.save()
    return pk.load_campaign(folder)


@pytest.mark.parametrize("outing", ["R2", ""])
def test_what_is_lost_is_told_of_a_move_and_on_the_board(campaign: pk.Campaign, outing: str) -> None:
    found = moved(TimedCampaign(campaign.source, campaign.known), "AA", outing)
    assert found.why_not == ""
    for words in LOST:
        assert words in found.words
    told = answer_told(found, "")
    part = next(part for part in told["parts"] if part["outing"] == "R1")
    level = {words: level for level, words in part["lines"]}
    assert all(level[line] == "concern" for line in found.lost["R1"])
    json.dumps(told)


def test_what_is_not_lost_is_not_told(campaign: pk.Campaign) -> None:
    """A task with what the backlog says of it, and one that comes back."""
    for found in (campaign.moved("BB", "R2"), campaign.moved("BB", ""), campaign.moved("BB", "R1"),
                  campaign.moved("AA", "").campaign.moved("AA", "R2")):
        assert found.why_not == ""
        # R2 begins with the box where R1 has left it, in a table of its own.
        assert "R1" not in found.lost
        assert all(line.startswith("hardware.csv becomes its own") for line in found.lost.get("R2", ()))


def test_an_inhibit_that_stays_for_another_is_told_for_the_one_that_goes(campaign: pk.Campaign) -> None:
    scenario = campaign.scenario("R1").edit_row("inhibits", "I1", needed_by="AA BB", until_step="BB")
    scenario = scenario.edit_row("steps", "BB", after="AA")
    found = campaign.with_scenario("R1", scenario).moved("AA", "R2")
    assert "inhibits: I1 (Antenna off), needed_by: was AA BB, is BB" in found.words


def test_an_assignment_tells_it_too(campaign: pk.Campaign) -> None:
    (task,) = [each for each in campaign.source.backlog if each.task == "AA"]
    late = replace(task, after=("BB",), least_gap_days=3)
    source = replace(campaign.source, backlog=tuple(
        late if each is task else each for each in campaign.source.backlog))
    found = pk.Campaign(source).assign(progress=None)
    assert found.found.outing_of == {"AA": "R2", "BB": "R1"}
    words = " ".join(found.moves["words"])
    for each in LOST:
        assert each in words
    assert "more than tasks changes on R1" in found.verdict
    assert "R1" not in assign(campaign).lost


def test_what_no_round_tried_is_tried(campaign: pk.Campaign) -> None:
    """An answer that leaves a task out, by hand: the outing that holds it says so, with its end."""
    question = question_of(campaign)
    found = assign(campaign).found
    on = question.on("R2", found.dates["R2"])
    without = replace(found, fitted={"R1": replace(found.fitted["R1"], order=("AA",), plan=question.on(
        "R1", found.dates["R1"]).without("BB")), "R2": on.fit([])}, refused={})
    (why,) = TimedAssignment(campaign, question, without).left_out["why"]
    end = moved(campaign, "BB", "R2").ends.partition("R2 ")[2]
    assert "R2: no round tried it there, but it does hold it: moved('BB', 'R2')" in why
    assert why.endswith(f"R2 {end}")


def test_words_and_numbers(campaign: pk.Campaign) -> None:
    off = campaign.moved("BB", "")
    assert off.ends.startswith("R1 ends at PET 1:41, as before")
    source = replace(off.campaign.source, backlog=tuple(
        replace(each, after=("AA",), least_gap_days=1) if each.task == "BB" else each
        for each in campaign.source.backlog))
    assert "1 day must lie between" in pk.Campaign(source).moved("BB", "R1").words
