"""Beside the board of a campaign: what is told is what its tables say, with the move and the edit counted."""

from __future__ import annotations

import json
import shutil

import pytest

import planning_kit as pk
from planning_kit.desk.board_looks import look_told
from planning_kit.inputs.times import pet_label
from tests.campaign.ridge import write_ridge
from tests.desk.conftest import SCENARIOS
from tests.desk.test_board import ROWS, opened
from tests.desk.test_board import ridge as ridge


def look(talk, **asked):
    return talk.ask("board_look", ask=1, view="v", **asked)["board_look"]


@pytest.fixture
def tern(tmp_path):
    """The demo's campaign, whose first outing has a log."""
    shutil.copytree(SCENARIOS / "tern-campaign", tmp_path / "tern")
    return tmp_path / "tern"


def test_a_thread_is_that_of_the_campaign_and_picked_from_what_is_known(tern):
    talk = opened(tern, "two")
    talk.ask("board_open")
    campaign = pk.load_campaign(tern)
    told = look(talk, what="thread")
    assert [pick[0] for pick in told["picks"]] == list(campaign.threads_table["name"])
    for name in ("blanket-FWD", "reel"):
        told, table = look(talk, what="thread", name=name), campaign.thread_table(name)
        assert told["name"] == name
        assert [row["label"] for row in told["rows"]] == list(campaign.ids)
        bars = [(row["label"], bar[2]) for row in told["rows"] for bar in row["bars"]]
        assert bars == list(zip(table["outing"], table["is"], strict=True))
        last = max(campaign.plan(each).end_min for each in campaign.ids)
        first = [bar[0] * last for row in told["rows"] for bar in row["bars"]]
        assert first == pytest.approx(list(table["from_min"]), abs=0.01)
        assert len(told["tables"][0]["rows"]) == len(table)
    assert look(talk, what="thread", name="no-such")["name"] == "pump-new"
    json.dumps(told)


def test_an_inhibit_is_a_thread_too(ridge):
    scenario = pk.load_scenario(ridge / "r1").add_row(
        "inhibits", inhibit="I1", title="Antenna off", owner="Ground", from_step="AA", until_step="BB",
        needed_by="AA", lead_min=5)
    scenario.save()
    campaign, talk = pk.load_campaign(ridge), opened(ridge)
    (row,) = campaign.thread_table("I1").to_dict("records")
    (hold,) = campaign.plan("R1").inhibits.to_dict("records")
    assert (row["is"], row["from_min"], row["until_min"]) == (
        "in force", hold["set_by_min"], hold["lift_after_min"])
    talk.ask("board_open")
    told = look(talk, what="thread", name="I1")
    assert told["words"].endswith("nothing of it on R2")
    assert ["I1", "I1 Antenna off", "inhibits"] in told["picks"]


def test_the_move_that_is_asked_about_counts_and_says_so(tern):
    talk = opened(tern, "two")
    talk.ask("board_open")
    before = look(talk, what="season")
    assert before["stands"] == "as it stands on the board"
    talk.ask("board_move", task="LEK", outing="four", view="v")
    told = look(talk, what="season")
    assert told["stands"] == "as it stands on the board, LEK on four, not kept"
    outing_of = {row[0]: row[2] for row in told["tables"][1]["rows"]}
    assert outing_of["LEK"] == "four"
    assert {row[0]: row[2] for row in before["tables"][1]["rows"]}["LEK"] == "three"
    talk.ask("board_drop")
    assert look(talk, what="season") == before | {"ask": 1}
    talk.ask("board_move", task="LEK", outing="two", view="v")  # a no counts for nothing
    assert look(talk, what="season")["stands"] == "as it stands on the board"


def test_the_open_outing_counts_as_it_is_typed(ridge):
    talk = opened(ridge)
    talk.ask("board_open")
    before = look(talk, what="end", outing="R1", minute=30)
    talk.ask("cells", sheet="steps", cells=[[talk.line("AA"), "minutes_likely", "38"]])
    told = look(talk, what="end", outing="R1", minute=30)
    assert told["stands"] == "as it stands on the board, R1 as it is typed"
    assert told["words"] != before["words"]
    assert f"(planned: {pet_label(talk.session.plan.end_min)})" in told["words"]


def test_the_season_has_every_date_that_the_campaign_says(tern):
    talk = opened(tern, "two")
    talk.ask("board_open")
    campaign, told = pk.load_campaign(tern), look(talk, what="season")
    dates = campaign.dates_table
    rows = {row["label"]: [bar[3] for bar in row["bars"]] for row in told["rows"]}
    assert rows["one"] == ["may", "is", "rest"]
    assert rows["two"] == ["may", "is", "rest", "by", "by"]
    assert rows["four"] == ["may", "is"]
    rest = dates.query("kind == 'rest' and outing == 'two'").iloc[0]
    # Three days from the date on which it ends: two of them are between.
    assert [str(rest["first"]), str(rest["last"])] == ["2031-05-20", "2031-05-21"]
    night = next(row["bars"] for row in told["rows"] if row["label"].startswith("night"))
    (orbit,) = (tern / "one").glob("orbit.*")
    lit = pk.season(pk.load_orbit(orbit), "2031-05-11", "2031-06-11")
    assert [bar[2] for bar in night] == [str(int(each)) for each in lit["night_min_per_rev"]]
    assert all(0 <= bar[0] <= bar[1] <= 1 for row in told["rows"] for bar in row["bars"])


@pytest.mark.parametrize("by", ["2031-09-20", "2031-09-01"])
def test_a_last_date_is_told_as_the_finding_tells_it(tmp_path, by):
    rows = [ROWS[0].replace("required,10,,", "required,10,2031-09-20,"), *ROWS[1:]]
    folder = write_ridge(tmp_path / "ridge", rows)
    pk.load_campaign(folder).moved("AA", "R1").campaign.scenario("R1").save()
    path = folder / "backlog.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("2031-09-20", by), encoding="utf-8")
    talk = opened(folder)
    talk.ask("board_open")
    told, findings = look(talk, what="season"), pk.load_campaign(folder).findings()
    late = list(findings.query("rule == 'must-by'")["message"])
    (row,) = told["tables"][1]["rows"]
    assert row[2:] == ["R1", by, late[0] if late else "in time"]
    fills = [bar[3] for each in told["rows"] for bar in each["bars"]]
    assert ("late" in fills) == bool(late) == (by < "2031-09-03")


@pytest.mark.parametrize(("outing", "minute"), [("R1", 30), ("R1", 0), ("R1", 50), ("R2", 33.5)])
def test_an_early_end_is_the_end_state_and_the_table_of_the_campaign(ridge, outing, minute):
    talk = opened(ridge)
    talk.ask("board_open")
    campaign, told = pk.load_campaign(ridge), look(talk, what="end", outing=outing, minute=minute)
    end = campaign.end_state(outing, minute)
    left = {table["caption"]: table["rows"] for table in told["tables"]}
    home = left["How they come home"]
    assert [row[0] for row in home] == ["EV1", "EV2"]
    assert [row[1] for row in home] == list(end.frame.query("kind == 'way home'")["is"])
    assert [row[1] for row in left["What the next outing must know, once all is made safe"]] == list(
        end.left["id"])
    assert f"both are inside by PET {pet_label(end.end_min, 'up')}" in told["words"]
    row = campaign.early_end_table(outing, 0.5).set_index("minute").loc[minute]
    for task in str(row["tasks_left"]).split():
        assert task in told["words"].partition("Left for later: ")[2]
    last = campaign.ids[-1] == outing
    assert ("none follows" in told["lines"][0][1]) == last


def test_what_it_costs_the_next_outing_is_told_against_the_planned_end(tern):
    talk = opened(tern, "two")
    talk.ask("board_open")
    lines = look(talk, what="end", outing="two", minute=115)["lines"]
    words = [words for _, words in lines]
    assert any(each.startswith("begins otherwise: pump-new") for each in words)
    campaign = pk.load_campaign(tern)
    end = pk.time_plan(campaign.next_scenario(campaign.end_state("two", 115), "three")).end_min
    assert any(pet_label(end) in each for each in words)
    told = look(talk, what="end", outing="one")  # it has a log: the open one instead
    assert told["outing"] == "two"
    assert [pick[0] for pick in told["picks"]] == ["two", "three", "four"]


def test_a_minute_beyond_the_outing_is_its_last_and_nonsense_is_the_middle(ridge):
    talk = opened(ridge)
    talk.ask("board_open")
    last = int(pk.load_campaign(ridge).plan("R1").end_min)
    assert look(talk, what="end", minute=1e9)["minute"] == last
    assert look(talk, what="end", minute=-3)["minute"] == 0
    assert look(talk, what="end", minute="soon")["minute"] == last // 2
    assert "not read" in talk.ask("board_look", what="nothing", ask=2, view="v")["board_look"]["words"]


def test_without_items_states_or_inhibits_there_is_nothing_to_follow(ridge):
    told = look_told(pk.load_campaign(ridge), {"what": "thread"}, "R1")
    assert told == {"words": "No outing has an item, a state or an inhibit to be followed."}
