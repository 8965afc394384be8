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
    assert told["picks"] == look(talk, what="thread", name="no-such")["picks"][1:]
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


def test_with_a_fault_typed_it_says_that_the_last_good_plan_is_told(ridge):
    talk = opened(ridge)
    talk.ask("board_open")
    talk.ask("cells", sheet="steps", cells=[[talk.line("AA"), "minutes_likely", "soon"]])
    told = look(talk, what="end", outing="R1", minute=30)
    assert told["stands"] == "as it stands on the board, R1 as its last good plan (marked faults: 1)"


def test_a_campaign_that_cannot_be_read_is_not_called_not_read_yet(ridge):
    talk = opened(ridge)
    assert look(talk, what="season")["words"] == "The campaign is not read yet"
    (ridge / "backlog.csv").write_text("task,title\nAA,First,too,many\n", encoding="utf-8")
    talk.ask("board_open")
    assert look(talk, what="season")["words"] == "The campaign is not known: it cannot be read, see Board"


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
    beta = next(row["bars"] for row in told["rows"] if row["label"].startswith("beta"))
    assert len(beta) == len(night) > 20  # signs and digits of neighbours would run into each other
    assert [bar[2] != "" for bar in beta] == [day % 3 == 0 for day in range(len(beta))]  # where dates stand
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


def test_an_early_end_names_every_outing_that_pays_for_it_and_its_own_required_work(tmp_path):
    folder = write_ridge(tmp_path / "c", ["AA,First,required,10,2031-09-20,,,P1,EV1,20,",
                                          "BB,Needs A,required,5,,AA,,P2,EV2,15,"], 3, planned=250)
    campaign = pk.load_campaign(folder).moved("AA", "R1").campaign.moved("BB", "R3").campaign
    for name in campaign.ids:
        campaign.scenario(name).save()
    talk = opened(folder)
    talk.ask("board_open")
    told = look(talk, what="end", outing="R1", minute=30)
    assert "Not done of its own required work: CLN (15 min)" in told["words"]
    (line,) = [words for level, words in told["lines"] if level == "stop" and words.startswith("R3: ")]
    assert line.startswith("R3: BB needs AA first, and that is done only in part in R1")
    lines = look(talk, what="end", outing="R1", minute=64)["lines"]
    assert not [words for _, words in lines if "BB" in words]


def test_a_thread_tells_where_a_thing_lies_on_outings_that_have_no_row_of_it(ridge):
    with_box = pk.load_scenario(ridge / "r1").add_row(
        "hardware", item="box", title="Box", kind="spare", at="inside", slots=1, bulky="no", mass_kg=2)
    with_box.edit_row("steps", "AA", takes="box", leaves="box").save()
    talk = opened(ridge)
    talk.ask("board_open")
    told = look(talk, what="thread", name="box")
    assert told["words"].endswith("; R1 leaves it at P1; no row of it on R2")
    gone = look(talk, what="thread", name="crate")
    assert gone["name"] == gone["picks"][0][0] == "crate"
    assert [pick[0] for pick in gone["picks"][1:]] == ["box"]
    assert "crate is no item, state or inhibit" in gone["words"]
    assert "rows" not in gone


def test_an_item_and_a_state_of_one_id_are_two_threads(ridge):
    pk.load_scenario(ridge / "r1").add_row(
        "hardware", item="valve", title="Valve", kind="spare", at="inside", slots=1, bulky="no",
        mass_kg=2).save()
    pk.load_scenario(ridge / "r2").add_row(
        "states", state="valve", title="Valve", values="open shut", at_start="shut").save()
    talk = opened(ridge)
    talk.ask("board_open")
    told = look(talk, what="thread", name="state valve")
    assert [pick[:2] for pick in told["picks"]] == [["item valve", "valve Valve, item"],
                                                    ["state valve", "valve Valve, state"]]
    assert "nothing of it on R1" in told["words"]
    assert {bar[2] for row in told["rows"] for bar in row["bars"]} == {"shut"}
    told = look(talk, what="thread", name="item valve")
    assert {bar[2] for row in told["rows"] for bar in row["bars"]} == {"inside"}


@pytest.mark.parametrize(("by", "words"), [("2031-09-02", "missed: no outing to come is by then"),
                                           ("2031-09-05", "not planned"), ("2035-12-20", "not planned")])
def test_the_season_tells_of_each_open_task_and_of_the_light_in_words(tmp_path, by, words):
    talk = opened(write_ridge(tmp_path / "ridge", [f"AA,First,required,10,{by},,,P1,EV1,20,"], 2))
    talk.ask("board_open")
    told = look(talk, what="season")
    tables = {table["caption"]: table["rows"] for table in told["tables"]}
    assert [row[3:] for row in tables["Last dates of open tasks"]] == [[by, words]]
    night = next(row["bars"] for row in told["rows"] if row["label"] == "night, min")
    assert [bar[4].partition(":")[0] for bar in night] == [row[0] for row in tables["Light by day"]]
    assert all(row[2] in bar[4] for row, bar in zip(tables["Light by day"], night, strict=True))
    assert (f"too far from the outings: AA must be done by {by}" in told["words"]) == (by > "2034")
    fills = [bar[3] for row in told["rows"] for bar in row["bars"]]
    assert ("late" in fills) == words.startswith("missed")


def test_outings_too_far_apart_have_their_dates_without_light(tmp_path):
    talk = opened(write_ridge(tmp_path / "ridge", [ROWS[0]], 2, apart=1500))
    talk.ask("board_open")
    told = look(talk, what="season")
    assert [row["label"] for row in told["rows"]][:2] == ["R1", "R2"]
    assert "too far apart for night and beta" in told["words"]
    assert [row[0] for row in told["tables"][0]["rows"]] == ["R1", "R2"]
