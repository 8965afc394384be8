"""The board of a campaign in the workbench: what is told, what a move comes to, what a keep writes."""

from __future__ import annotations

import shutil

import pytest

import planning_kit as pk
from tests.campaign.made_campaign import write_campaign
from tests.campaign.ridge import STEPS, write_ridge
from tests.desk.conftest import ATTACK, SCENARIOS, Talk

ROWS = ["AA,First,required,10,,,,P1,EV1,20,", "BB,Second,optional,5,,,,P2,EV2,20,",
        f"CC,{ATTACK},optional,4,,AA,3,P1,EV1,15,", "DD,Long,get-ahead,3,,,,P3,both,90,"]


@pytest.fixture
def ridge(tmp_path):
    """AA and BB on R1, CC on R2, DD on none."""
    folder = write_ridge(tmp_path / "ridge", ROWS)
    campaign = pk.load_campaign(folder)
    for task, outing in (("AA", "R1"), ("BB", "R1"), ("CC", "R2")):
        found = campaign.moved(task, outing)
        assert not found.why_not
        campaign = found.campaign
    for name in campaign.ids:
        campaign.scenario(name).save()
    return folder


def opened(folder, outing="r1"):
    talk = Talk(pk.load_scenario(folder / outing))
    talk.ask("hello")
    return talk


def columns(told):
    return {each["outing"]: each for each in told["board"]["columns"]}


def tasks(told):
    return {name: [card["task"] for card in each["cards"]] for name, each in columns(told).items()}


def facts(column):
    return {fact["what"]: fact["words"] for fact in column["facts"]}


def files(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_scenario_in_no_campaign_has_no_board(talk, ridge):
    assert "board" not in talk.ask("hello")
    assert talk.ask("board_open") == {}
    shutil.copytree(ridge / "r1", ridge / "draft")  # beside the outings, and none of them
    other = Talk(pk.load_scenario(ridge / "draft"))
    assert "board" not in other.ask("hello")


def test_outings_and_cards_say_what_the_campaign_says(ridge):
    talk = opened(ridge)
    assert "columns" not in talk.ask("hello")["board"]  # it is read once its page is wanted
    talk.ask("board_open")
    first, told = (next(each for each in talk.said[::way] if each["kind"] == "board") for way in (1, -1))
    assert (first["is_reading"], told["is_reading"]) == (True, False)
    found, campaign = {"board": told}, pk.load_campaign(ridge)
    assert tasks(found) == {"R1": ["AA", "BB"], "R2": ["CC"], "": ["DD"]}
    here = columns(found)
    assert [here[name]["is_open"] for name in ("R1", "R2", "")] == [True, False, False]
    for name in campaign.ids:
        plan, said = campaign.plan(name), facts(here[name])
        assert said["date"].startswith(campaign.outings.set_index("outing")["pet_zero_utc"][name][:10])
        left = 150 - 10 - plan.end_min  # the ridge's planned limit and the campaign's reserve
        assert said["reserve"] == f"10 min kept, {pk.inputs.times.number_label(left, 'down')} more free"
        assert said["both inside"] == f"PET {pk.inputs.times.pet_label(plan.end_min)}"
        assert said["own stops"] == str((plan.findings["severity"] == "stop").sum() or "none")
    row = campaign.board_table.set_index("task").loc["CC"]
    card = here["R2"]["cards"][0]
    assert card["title"] == ATTACK
    assert card["asks"] == "after AA, 3 days later"
    assert card["chance"].endswith(f", margin {int(row['margin_min'])} min")
    assert here[""]["cards"][0]["why"] == "not tried on R1, R2"
    assert told["findings"] == []


def test_a_move_is_answered_for_both_outings_and_nothing_is_written(ridge):
    talk, before = opened(ridge), files(ridge)
    talk.ask("board_open")
    answer = talk.ask("board_move", task="BB", outing="R2", view="v")["board_answer"]
    assert files(ridge) == before
    assert talk.session.draft.says_the_same_as(talk.session.versions["as loaded"])
    campaign = pk.load_campaign(ridge)
    wanted = campaign.moved("BB", "R2").campaign
    assert (answer["task"], answer["outing"], answer["view"]) == ("BB", "R2", "v")
    assert answer["head"].startswith("BB on R2: chance ")
    assert "; now chance " in answer["head"]
    parts = {part["outing"]: [words for _, words in part["lines"]] for part in answer["parts"]}
    for name in campaign.ids:
        end = pk.inputs.times.pet_label(wanted.plan(name).end_min)
        assert parts[name][0].endswith(end)
        assert any(words.startswith("reserve 10 min kept, ") for words in parts[name])
        assert any(words.startswith("least chance ") for words in parts[name])
    assert answer["keep"] == "Saves R1, R2"
    off = talk.ask("board_move", task="AA", outing="")["board_answer"]
    assert "CC needs AA" in off["refused"] or "CC comes after it" in off["refused"]
    lost = talk.ask("board_move", task="BB", outing="")["board_answer"]
    assert lost["head"].startswith("BB on no outing: optional, value 5 is not done; now ")
    assert files(ridge) == before


def test_a_kept_move_is_saved_in_both_folders_and_in_the_draft(ridge):
    talk = opened(ridge)
    talk.ask("board_open")
    talk.ask("board_move", task="BB", outing="R2")
    said = talk.ask("board_keep", task="BB", outing="R2")
    assert said["said"]["text"] == ("BB goes on R2; saved: R1, R2. Undo is of R1 alone: R2 stays as saved")
    campaign = pk.load_campaign(ridge)
    starts = campaign.board_table.query("outing == 'R2'").sort_values("start_min")
    assert tasks(said) == {"R1": ["AA"], "R2": [*starts["task"]], "": ["DD"]}
    assert [campaign.planned(name) for name in campaign.ids] == [("AA",), ("CC", "BB")]
    assert talk.line("BB", "tasks") is None
    assert not talk.session.has_unsaved_work
    # The other outing was read again, so that the next move can be saved, too.
    talk.ask("board_move", task="BB", outing="R1")
    assert "saved: R1, R2" in talk.ask("board_keep", task="BB", outing="R1")["said"]["text"]
    assert pk.load_campaign(ridge).planned("R1") == ("AA", "BB")
    # Undo leads back in the outing that is open, and the board says what is wrong then.
    said = talk.ask("undo")
    assert tasks(said)["R1"] == ["AA"]
    assert talk.session.has_unsaved_work


def test_a_no_says_why_and_the_task_on_no_outing_keeps_it(ridge):
    talk = opened(ridge)
    talk.ask("board_open")
    said = talk.ask("board_move", task="DD", outing="R1")
    assert "min after PET 2:20, the limit less the reserve" in said["board_answer"]["refused"]
    assert "keep" not in said["board_answer"]
    why = columns(said)[""]["cards"][0]["why"]
    assert why.startswith("R1: both would be inside ")
    assert why.endswith("; not tried on R2")
    assert "bad" in talk.ask("board_keep", task="DD", outing="R1")["said"]["level"]


def test_an_edit_of_the_open_outing_is_in_its_column_and_ends_an_answer(ridge):
    talk = opened(ridge)
    before = facts(columns(talk.ask("board_open"))["R1"])
    talk.ask("board_move", task="BB", outing="R2")
    said = talk.ask("cells", sheet="steps", cells=[[talk.line("AA"), "minutes_likely", "35"]])
    assert facts(columns(said)["R1"])["both inside"] == (
        f"PET {pk.inputs.times.pet_label(talk.session.plan.end_min)}")
    assert facts(columns(said)["R1"]) != before
    refused = talk.ask("board_keep", task="BB", outing="R2")["said"]
    assert "move it again" in refused["text"]
    assert pk.load_campaign(ridge).planned("R1") == ("AA", "BB")
    # Asked again it is of what is typed, which is saved along with it: that is told.
    again = talk.ask("board_move", task="BB", outing="R2")["board_answer"]
    assert again["keep"] == "Saves R1 (with all that is typed in it), R2"
    talk.ask("board_keep", task="BB", outing="R2")
    steps = pk.load_scenario(ridge / "r1").steps.set_index("step")
    assert steps.loc["AA", "minutes_likely"] == 35
    assert "board" not in talk.ask("explain", step="AA")  # nothing has changed


def test_with_a_fault_typed_nothing_is_kept_and_nothing_is_lost(ridge):
    talk, before = opened(ridge), files(ridge)
    talk.ask("board_open")
    talk.ask("cells", sheet="steps", cells=[[talk.line("AA"), "place", "NOWHERE"]])
    talk.ask("board_move", task="BB", outing="R2")
    assert "mend the 1 marked faults" in talk.ask("board_keep", task="BB", outing="R2")["said"]["text"]
    assert files(ridge) == before
    assert talk.session.draft["steps"].text(talk.line("AA"), "place") == "NOWHERE"


def test_another_outing_changed_on_disk_is_a_conflict_and_no_folder_is_written(ridge):
    talk = opened(ridge)
    talk.ask("board_open")
    talk.ask("board_move", task="BB", outing="R2")
    path = ridge / "r2" / "steps.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("Hook", "Hook on"), encoding="utf-8")
    before = files(ridge)
    said = talk.ask("board_keep", task="BB", outing="R2")["said"]
    assert "changed on disk since it was read" in said["text"]
    assert files(ridge) == before
    assert not talk.session.has_unsaved_work
    talk.ask("board_read")
    talk.ask("board_move", task="BB", outing="R2")
    assert talk.ask("board_keep", task="BB", outing="R2")["said"]["level"] == "good"
    assert "Hook on" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(("file", "was", "now", "column"), [
    ("backlog.csv", "optional,5", "maybe,5", "need"),
    ("campaign.toml", "earliest = 2031-09-08", 'earliest = "soon"', "outings.R2.earliest"),
    ("campaign.toml", "format = 1", "format = [", ""),
    ("r2/steps.csv", "Hook,3", "Hook,x", "minutes_low")])
def test_a_campaign_with_faults_says_them_and_the_workbench_lives(ridge, file, was, now, column):
    path = ridge / file
    good = path.read_text(encoding="utf-8")
    assert was in good
    path.write_text(good.replace(was, now), encoding="utf-8")
    talk = opened(ridge)
    told = talk.ask("board_open")["board"]
    assert "columns" not in told
    assert any(column in row for row in told["faults"]["rows"])
    said = talk.ask("cells", sheet="steps", cells=[[talk.line("AA"), "minutes_likely", "22"]])
    assert said["patch"]["chart"]
    assert talk.ask("board_move", task="AA", outing="R2")["said"]["level"] == "bad"
    path.write_text(good, encoding="utf-8")
    assert tasks(talk.ask("board_read"))["R1"] == ["AA", "BB"]


def test_where_the_question_makes_no_sense_nothing_can_be_moved_and_the_board_says_why(ridge):
    path = ridge / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('work_after = "E2"', 'work_after = "AA"', 1),
                    encoding="utf-8")
    told = opened(ridge).ask("board_open")["board"]
    assert "Nothing can be moved" in told["words"]
    assert "name a step of its own" in told["words"]
    assert not any(card["can_move"] for each in told["columns"] for card in each["cards"])
    assert [card["task"] for card in told["columns"][0]["cards"]] == ["AA", "BB"]


def test_a_task_that_two_outings_have_stands_on_both(tmp_path):
    folder = write_campaign(tmp_path / "made")
    talk = opened(folder, "two")
    told = talk.ask("board_open")
    assert tasks(told) == {"one": ["CAS", "CLN"], "two": ["CAS", "CLN"], "": []}
    assert [card["asks"] for card in columns(told)["one"]["cards"]] == [
        "after CLN, 1 day later", "by 2031-09-20"]
    assert facts(columns(told)["two"])["who"] == "not named"
    assert ["concern", "two: CLN is done in one already: leave it out"] in told["board"]["findings"]
    refused = talk.ask("board_move", task="CLN", outing="")["board_answer"]["refused"]
    assert refused.startswith("CLN does not go off: ")
    # What the first leaves is carried over: the second cannot begin as it is typed.
    refused = talk.ask("board_move", task="CAS", outing="")["board_answer"]["refused"]
    assert "two has a new stop: at 0:11 EV1 takes lamp-new at Mid rack" in refused


def test_an_outing_with_a_log_stands_by_it_and_what_it_left_is_on_no_outing(tmp_path):
    shutil.copytree(SCENARIOS / "tern-campaign", tmp_path / "tern")
    talk = opened(tmp_path / "tern", "two")
    here = columns(talk.ask("board_open"))
    assert not here["one"]["takes"]
    assert "log" in here["one"]["why_fixed"]
    assert not any(card["can_move"] for card in here["one"]["cards"])
    left = {card["task"]: card for card in here[""]["cards"]}
    assert left.keys() == {"CBL", "SEN", "BLC", "SUR", "ANT", "RAI"}
    assert left["BLC"]["why"].startswith("left undone on one; two: it comes after SEN")
    answer = talk.ask("board_move", task="LMP", outing="four")["board_answer"]
    assert [part["outing"] for part in answer["parts"]] == ["two", "three", "four", ""]
    assert "begins with what the one before it leaves then" in answer["parts"][1]["words"]
    assert "own" not in str(answer["parts"][1]["lines"])
    refused = talk.ask("board_move", task="LMP", outing="one")["board_answer"]["refused"]
    assert "is not one that is open" in refused


def test_a_move_onto_an_outing_that_is_under_way_by_now_is_not_saved(ridge):
    talk = opened(ridge)
    talk.ask("board_open")
    talk.ask("board_move", task="BB", outing="R2")
    asked = pk.load_campaign(ridge).assign("quick")
    (ridge / "r2" / "log.csv").write_text("step,event,at\n,pet_zero,0:00\n")
    before = files(ridge)
    said = talk.ask("board_keep", task="BB", outing="R2")["said"]
    assert said["level"] == "bad"
    assert "R2 is under way since: it has a log; read again" in said["text"]
    with pytest.raises(pk.ScenarioError, match="R2 is under way since"):
        asked.save()
    assert files(ridge) == before


def test_an_outing_that_began_since_makes_every_answer_old(ridge):
    """Also where the move does not write it: what it leaves is not what was counted on."""
    talk = opened(ridge)
    talk.ask("board_open")
    assert talk.ask("board_move", task="BB", outing="")["board_answer"]["keep"] == "Saves R1"
    (ridge / "r2" / "log.csv").write_text("step,event,at\n,pet_zero,0:00\n")
    before = files(ridge)
    assert "R2 is under way since" in talk.ask("board_keep", task="BB", outing="")["said"]["text"]
    assert files(ridge) == before


def test_off_kept_and_back_kept_is_the_same_outing(ridge):
    """Read again from the disk in between, and over another edit of the open outing."""
    talk = opened(ridge)
    scenario = pk.load_scenario(ridge / "r1")
    scenario.edit_row("steps", "BB", caution="by hand").add_row(
        "gaps", first_step="AA", then_step="BB", min_gap=1, reason="It settles").save()
    talk = opened(ridge)
    before = {name: pk.load_campaign(ridge).scenario(name).digest for name in ("R1", "R2")}
    talk.ask("board_open")
    for outing in ("R2", "", "R1"):
        talk.ask("board_move", task="BB", outing=outing)
        assert talk.ask("board_keep", task="BB", outing=outing)["said"]["level"] == "good"
    assert {name: pk.load_campaign(ridge).scenario(name).digest for name in ("R1", "R2")} == before


@pytest.mark.parametrize(("name", "was", "then"), [
    ("backlog.csv", "P1,EV1,20", "P1,EV1,60"), ("campaign.toml", "reserve_min = 10", "reserve_min = 25"),
    ("steps-DD.csv", "Far", "Farther")])
def test_a_keep_notices_what_changed_above_the_outings(ridge, name, was, then):
    """The answer rested on it: dates, reserve, minutes and steps of the work."""
    (ridge / "steps-DD.csv").write_text(f"{STEPS}\nD1,DD,EV1,P3,Far,8,9,12,,,,,,,,,,,\n")
    backlog = (ridge / "backlog.csv").read_text().splitlines()
    (ridge / "backlog.csv").write_text("\n".join(
        f"{line},{'steps' if line.startswith('task') else 'steps-DD.csv' if line.startswith('DD') else ''}"
        for line in backlog) + "\n")
    talk = opened(ridge)
    talk.ask("board_open")
    talk.ask("board_move", task="BB", outing="R2")
    assignment = pk.load_campaign(ridge).assign("quick", progress=None)
    path = ridge / name
    assert was in path.read_text()
    path.write_text(path.read_text().replace(was, then))
    before = files(ridge)
    said = talk.ask("board_keep", task="BB", outing="R2")["said"]
    assert said["text"].startswith(f"{name}: changed on disk since it was read; nothing was saved")
    with pytest.raises(pk.SaveConflict):
        assignment.save()
    assert files(ridge) == before
    talk.ask("board_read")
    talk.ask("board_move", task="BB", outing="R2")
    assert talk.ask("board_keep", task="BB", outing="R2")["said"]["level"] == "good"


def test_a_backlog_that_came_since_is_noticed_too(tmp_path):
    folder = write_ridge(tmp_path / "ridge", [])
    (folder / "backlog.csv").rename(folder / "later.csv")
    campaign = pk.load_campaign(folder)
    assignment = campaign.assign("quick", progress=None)
    assignment.save()
    (folder / "later.csv").rename(folder / "backlog.csv")
    with pytest.raises(pk.SaveConflict, match="is in the folder but was not read from it"):
        assignment.save()


def test_a_conflict_at_keep_names_the_outing_and_the_file(ridge):
    talk = opened(ridge)
    talk.ask("board_open")
    talk.ask("board_move", task="BB", outing="R2")
    path = ridge / "r2" / "tasks.csv"
    path.write_text(path.read_text().replace("Out", "Otherwise"))
    said = talk.ask("board_keep", task="BB", outing="R2")["said"]
    assert said["text"].startswith("r2/tasks.csv: changed on disk since it was read; nothing was saved")
