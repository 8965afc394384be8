"""A task moved off and back: every outing as it was, to the digest; what was changed meanwhile stays."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.campaign.campaign import TimedCampaign
from tests.campaign.ridge import after, write_ridge
from tests.campaign.test_left_behind import ROWS as TWO
from tests.campaign.test_left_behind import campaign as campaign
from tests.conftest import SCENARIOS

ROWS = ("AA,First,optional,10,,,,P1,EV1,20,", "BB,Second,optional,5,,,,P2,EV2,15,",
        "CC,Third,optional,4,,,,P3,EV1,15,", "DD,Fourth,get-ahead,3,,,,P3,both,20,",
        "EE,Fifth,get-ahead,3,,,,P4,EV2,12,")


def digests(campaign: TimedCampaign) -> dict[str, str]:
    return {name: campaign.scenario(name).digest for name in campaign.ids}


@pytest.fixture
def ridge(tmp_path: Path) -> pk.Campaign:
    """Tasks on three outings; what lies on the first must end somewhere, and a state, only by a task."""
    folder = write_ridge(tmp_path / "ridge", ROWS, 3, planned=200)
    (folder / "states.csv").write_text("state,title,values,at_start,at_end,safe_when\n"
                                       "lid,Lid,open shut,shut,,\n", encoding="utf-8")
    backlog = (folder / "backlog.csv").read_text(encoding="utf-8").splitlines()
    (folder / "backlog.csv").write_text("\n".join(
        f"{line},{'sets' if line.startswith('task') else 'lid=open' if line.startswith('BB') else ''}"
        for line in backlog) + "\n", encoding="utf-8")
    campaign = after(pk.load_campaign(folder), ("AA", "R1"), ("BB", "R1"), ("CC", "R2"), ("DD", "R2"))
    scenario = campaign.scenario("R1").add_row("hardware", item="box", title="Box", kind="spare", at="P2",
                                               end_at="inside", slots=1, holds="", bulky="no", mass_kg=2)
    scenario = scenario.edit_row("states", "lid", at_end="open")
    scenario = scenario.edit_row("steps", "BB", takes="box",
                                 caution="by hand").move_step("BB", after="E1")
    scenario = scenario.add_row("gaps", first_step="BB", then_step="AA", min_gap=1, reason="It settles")
    campaign = campaign.with_scenario("R1", scenario)
    for name in campaign.ids:
        campaign.scenario(name).save()
    # What lies outside is there on the outings that follow: so each begins as the ones before leave it.
    return after(pk.load_campaign(folder), ("EE", "R3")).after("R1").after("R2")


@pytest.mark.parametrize("way", [["R2"], [""], ["R3", "R2"], ["", "R2", "R3"]])
@pytest.mark.parametrize("task", ["AA", "BB"])
def test_off_and_back_is_as_before(ridge: pk.Campaign, task: str, way: list[str]) -> None:
    there = after(ridge, *((task, outing) for outing in way))
    assert digests(there) != digests(ridge)
    assert digests(after(there, (task, "R1"))) == digests(ridge)


@pytest.mark.parametrize("order", list(permutations(["AA", "BB", "CC"])))
def test_whatever_the_order_in_which_they_come_back(ridge: pk.Campaign, order: tuple[str, ...]) -> None:
    home = {"AA": "R1", "BB": "R1", "CC": "R2"}
    there = after(ridge, ("AA", "R3"), ("BB", ""), ("CC", "R1"))
    assert digests(after(there, *((task, home[task]) for task in order))) == digests(ridge)


def test_where_items_and_states_must_end_goes_and_comes_back(ridge: pk.Campaign) -> None:
    def ends(campaign: pk.Campaign) -> tuple[str, str]:
        scenario = campaign.scenario("R1")
        return (scenario.hardware.set_index("item").loc["box", "end_at"],
                scenario.states.set_index("state").loc["lid", "at_end"])

    off = after(ridge, ("BB", "R2"))
    assert ends(off) == ("", "")
    assert ends(after(off, ("BB", "R1"))) == ("inside", "open")


def test_what_was_changed_meanwhile_stays(ridge: pk.Campaign) -> None:
    off = after(ridge, ("BB", ""))
    scenario = off.scenario("R1").edit_row("steps", "AA", minutes_high=33).edit_row(
        "states", "lid", title="Lid of the box")
    back = after(off.with_scenario("R1", scenario), ("EE", "R1"), ("BB", "R1")).scenario("R1")
    assert back.steps.set_index("step").loc["AA", "minutes_high"] == 33
    assert back.steps.set_index("step").loc["BB", "caution"] == "by hand"
    assert "EE" in list(back.steps["step"])
    assert back.states["title"].tolist() == ["Lid of the box"]
    assert back.gaps["reason"].tolist() == ["It settles"]


def test_what_does_not_hold_as_it_was_comes_as_the_backlog_says(ridge: pk.Campaign) -> None:
    """The place of the step as it stood is gone; where the state must end comes back all the same."""
    scenario = ridge.scenario("R1").edit_row("steps", "BB", needs="lid=shut", uses="box")
    off = after(ridge.with_scenario("R1", scenario), ("BB", ""))
    hardware = off.scenario("R1").hardware
    off = off.with_scenario("R1", off.scenario("R1").with_table(
        "hardware", hardware[hardware["item"] != "box"]))
    back = after(off, ("BB", "R1")).scenario("R1")
    assert back.steps.set_index("step").loc["BB", "caution"] == ""
    assert back.states["at_end"].tolist() == ["open"]


def test_all_that_only_an_outing_says_comes_back(campaign: pk.Campaign) -> None:
    """Inhibits, hazards, gaps, actions, items, minutes: the campaign of what is lost, and two tasks of it."""
    assert len(TWO) == 2
    for way in ([("AA", "R2")], [("AA", ""), ("BB", "")]):
        there = after(campaign, *way)
        back = after(there, *((task, "R1") for task, _ in way))
        # A stop that it had then is no reason: it was there before the task left.
        assert digests(back)["R1"] == digests(campaign)["R1"]
        assert "stop" in set(back.plan("R1").findings["severity"])


def test_an_assignment_is_taken_back_move_by_move_and_by_another(ridge: pk.Campaign) -> None:
    there = ridge.assign("quick", progress=None).campaign
    moved = [(task, name) for name in ridge.ids for task in ridge.planned(name)
             if task not in there.planned(name)]
    away = moved or [("BB", "R1")]
    if not moved:
        there = after(there, ("BB", "R2"))
    back = after(there, *away)
    assert digests(back)["R1"] == digests(ridge)["R1"]
    bare = after(ridge, ("AA", ""), ("BB", ""))
    again = bare.assign("quick", progress=None).campaign.scenario("R1")
    if "BB" in list(again.tasks["task"]):
        assert again.states["at_end"].tolist() == ["open"]
        assert again.steps.set_index("step").loc["BB", "caution"] == "by hand"


def test_after_an_outing_that_was_cut_short_too(tmp_path: Path) -> None:
    """The outings as they begin after the log: from then on every move has its way back."""
    campaign = after(pk.load_campaign(SCENARIOS / "tern-campaign"), ("LMP", ""), ("LMP", "two"))
    for way in ([("HTR", "four")], [("LMP", "four"), ("LUB", "")], [("TRY", ""), ("SHD", ""), ("INS", "")]):
        home = {task: name for name in campaign.ids for task in campaign.planned(name)}
        back = after(campaign, *way, *((task, home[task]) for task, _ in way))
        assert digests(back) == digests(campaign)
