"""What the workbench says while the crew is outside: messages as a view sends them, no widget."""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.desk.actions import ACTIONS
from planning_kit.desk.outside import OUTSIDE_ACTIONS
from planning_kit.explore.long_question import STOPPED, at_once
from tests.block_outings import blocks_only
from tests.conftest import LATE, TERN
from tests.desk.conftest import ATTACK, Talk


@pytest.fixture
def talk(folder):
    opened = Talk(pk.load_scenario(folder), None, "0:00")
    opened.ask("hello", has_library=True)
    return opened


def test_going_outside_and_back_shows_one_plan_and_then_the_other(folder):
    talk = Talk(pk.load_scenario(folder))
    assert "outside" not in talk.ask("hello", has_library=True)
    said = talk.ask("outside")
    assert said["outside"]["chart"]["now"] == 0
    assert said["outside"]["chart"]["ghost_name"] == "planned"
    assert said["outside"]["log"]["words"] == "outing/log.csv"
    assert [lane["who"] for lane in said["outside"]["lanes"]] == ["EV1", "EV2"]
    kinds = [message["kind"] for message in talk.said]
    assert kinds.index("outside") < kinds.index("done")
    talk.ask("log", lane="EV1", event="started", step="A1")
    said = talk.ask("planning")
    assert "planning" in said
    assert "now" not in said["patch"]["chart"]
    assert talk.session.current_plan is talk.session.plan
    said = talk.ask("outside")
    assert said["outside"]["log"]["rows"] == 1
    assert len(pk.read_log(talk.session.watch.log.path)) == 1


def test_who_opens_outside_and_goes_back_at_once_sees_the_plan(talk):
    said = talk.ask("planning")
    assert "now" not in said["patch"]["chart"]
    assert "outside" not in said


def test_no_message_means_two_things():
    assert not ACTIONS.keys() & OUTSIDE_ACTIONS.keys()


def test_an_entry_comes_back_with_the_chart_and_what_may_be_logged_next(talk):
    said = talk.ask("log", lane="EV1", event="started", step="A1")
    phases = dict(zip([(bar[0], bar[2]) for bar in said["outside"]["chart"]["bars"]],
                      said["outside"]["chart"]["phases"], strict=True))
    assert phases[("A1", "work")] == "running"
    assert phases[("B1", "work")] == "ahead"
    talk.ask("clock", clock="held", text="0:12")
    said = talk.ask("log", lane="EV2", event="finished", step="A1", at="0:11")
    assert said["outside"]["chart"]["phases"][0] == "past"
    assert said["outside"]["lanes"][0]["steps"][0]["events"] == ["started", "skipped"]
    assert [line["event"] for line in said["outside_log"]["lines"]] == ["finished", "started"]
    assert said["said"]["text"] == "logged e2: A1 finished"
    assert pk.read_log(talk.session.base.folder)["event"].tolist() == ["started", "finished"]


def test_a_refused_entry_is_told_with_all_that_was_typed(talk):
    said = talk.ask("log", lane="EV1", event="started", step="A1", at="9:99", note=ATTACK, by=ATTACK)
    kept = said["outside"]["refused"]["EV1"]
    assert kept["entry"]["note"] == ATTACK
    assert kept["faults"][0]["column"] == "at"
    assert "chart" not in said["outside"] or said["outside"]["chart"]["now"] == 0
    assert talk.ask("forget", slot="EV1")["outside"]["refused"] == {}


def test_a_view_that_opens_later_gets_the_refused_entry_and_the_chart_too(talk):
    talk.ask("log", lane="EV1", event="started", step="A1", at="9:99")
    said = talk.ask("hello", has_library=True)
    assert "chart" in said["outside"]
    assert "EV1" in said["outside"]["refused"]


@pytest.mark.parametrize("content", [
    {"kind": "log"},
    {"kind": "log", "lane": ATTACK, "event": ATTACK, "step": ATTACK},
    {"kind": "clock", "clock": "sundial"},
    {"kind": "clock", "clock": "held", "text": ATTACK},
    {"kind": "clock", "clock": "held", "text": "999:00"},
    {"kind": "look", "number": 3},
    {"kind": "decide", "number": "first"},
    {"kind": "forget"},
])
def test_whatever_a_message_says_nothing_is_raised_and_nothing_logged(talk, content):
    assert talk.ask(**content)["done"]["echo"] == 1
    assert len(pk.read_log(talk.session.watch.log.path)) == 0


@pytest.mark.parametrize("kind", sorted(set(OUTSIDE_ACTIONS) - {"outside", "planning"}))
def test_nothing_of_the_outing_can_be_done_while_planning(folder, kind):
    talk = Talk(pk.load_scenario(folder))
    said = talk.ask(kind, lane="EV1", event="started", step="A1", clock="held", slot="EV1", number=0)
    assert said["said"]["level"] == "bad"
    assert not (folder / "log.csv").exists()


def test_marked_cells_and_unsaved_work_are_told_on_the_way_out(folder):
    talk = Talk(pk.load_scenario(folder))
    line = talk.session.draft["steps"].find("step", "Z1")
    talk.ask("cells", sheet="steps", cells=[[line, "minutes_likely", "12"]])
    assert "not saved" in talk.ask("outside")["said"]["text"]
    talk.ask("planning")
    talk.ask("cells", sheet="steps", cells=[[line, "minutes_likely", "long"]])
    assert "1 marked cells" in talk.ask("outside")["said"]["text"]


def test_an_edit_while_outside_is_another_plan_to_re_time(talk):
    talk.ask("log", lane="EV1", event="started", step="A1")
    before = talk.session.current_plan
    said = talk.ask("minutes", step="Z1", minutes=20)
    assert talk.session.watch.base is talk.session.plan
    assert said["outside"]["chart"]["end"] == pytest.approx(before.end_min + 10, abs=1e-3)


def test_ways_home_are_told_only_while_somebody_is_outside(talk):
    said = talk.ask("log", lane="EV1", event="started", step="A1")
    assert set(said["outside_home"]["ways"]) == {"terminate", "abort"}
    talk.ask("clock", clock="held", text="-0:10")
    said = talk.ask("hello", has_library=True)
    assert said["outside_home"]["ways"] == {}
    assert "no moment" in said["outside_home"]["words"]


def test_a_way_home_that_is_not_known_is_told_as_such(tmp_path):
    talk = Talk(blocks_only(tmp_path), None, "0:00")
    talk.ask("hello", has_library=True)
    said = talk.ask("log", lane="EV1", event="started", step="OUT")
    for way in said["outside_home"]["ways"].values():
        assert [one["is_known"] for one in way["crew"]] == [False, False]
        assert any("not known" in row[1] for row in way["sequence"])


def test_a_call_to_come_home_logs_what_is_left_as_one(talk):
    talk.ask("log", lane="EV1", event="started", step="A1")
    talk.ask("clock", clock="held", text="0:05")
    said = talk.ask("go_home", how="abort", by="kim")
    assert said["said"]["text"] == "abort called; logged as skipped: 7 steps"
    rows = pk.read_log(talk.session.watch.log.path)
    assert list(rows["event"]) == ["started", *["skipped"] * 7]
    assert set(rows["by"][1:]) == {"kim"}
    # Of A1, which is in hand, nobody says how long it takes to make it safe: its estimate stays.
    assert talk.session.watch.plan.starts.size == 1
    said = talk.ask("go_home", how="terminate")
    assert said["said"]["text"] == "terminate called: nothing is left to log but ingress"
    assert len(pk.read_log(talk.session.watch.log.path)) == 8


def test_a_step_in_hand_takes_the_minutes_to_make_it_safe():
    talk = Talk(pk.load_scenario(TERN), pk.read_log(LATE), "3:58")
    talk.ask("hello", has_library=True)
    refused = talk.ask("go_home", how="terminate")["said"]
    assert (refused["level"], "the log goes on" in refused["text"]) == ("bad", True)
    talk.ask("rehearse")
    said = talk.ask("go_home", how="terminate")
    called = [row for row in said["outside_log"]["lines"] if row["note"].startswith("terminate called")]
    broken = [(row["step"], row["remaining_min"]) for row in called if row["event"] == "broken_off"]
    assert broken == [("HT4", "4")]
    assert {lane["who"]: [step["step"] for step in lane["steps"]] for lane in said["outside"]["lanes"]
            if lane["is_crew"]} == {"EV1": [], "EV2": ["HT4"]}
    assert [one["step"] for one in said["outside_home"]["ways"]["terminate"]["crew"]] == ["HT4", ""]


def test_no_call_before_the_outing_or_of_another_name(talk):
    talk.ask("clock", clock="held", text="-0:10")
    for how in ("abort", "elsewhere"):
        assert talk.ask("go_home", how=how)["said"]["level"] == "bad"
    assert not talk.session.watch.log_so_far.rows


@pytest.fixture(scope="module")
def late():
    log = pk.read_log(LATE)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLANNING_KIT_STATE", str(Path("/nonexistent")))
        yield Talk(pk.load_scenario(TERN), log, "3:58")


def test_options_are_told_ranked_looked_at_and_taken_into_the_log(late):
    late.ask("hello", has_library=True)
    told = late.ask("options")["options"]
    assert told["rows"][0]["words"] == "Drop SHD"
    assert told["rows"][0]["until"] == "5:10"
    assert not next(row for row in told["rows"] if row["kind"] == "carry on")["can_be_taken"]
    said = late.ask("look", number=0)
    assert said["outside"]["preview"] == "Drop SHD"
    assert said["outside"]["chart"]["ghost_name"] == "carrying on"
    assert late.ask("decide")["said"]["level"] == "bad"  # the log goes on after the now that was set
    late.ask("rehearse")
    said = late.ask("decide", number=0, words="Drop ANT")  # of a list that has been replaced meanwhile
    assert "choose again" in said["said"]["text"]
    late.ask("look", number=0, words="Drop SHD")
    said = late.ask("decide", by="Ines")
    assert "SH1 SH2 SH3 SH4 SH5" in said["said"]["text"]
    assert said["outside"]["preview"] == ""
    assert [line["event"] for line in said["outside_log"]["lines"][:5]] == ["skipped"] * 5


def test_that_options_are_looked_for_is_told_and_a_second_search_is_not_begun(talk):
    talk.conversation.answer({"kind": "options"})
    question, = talk.conversation.questions
    talk.conversation.answer({"kind": "options"})
    assert talk.conversation.questions == [question]
    at_once(talk.conversation.tell_details())
    looking = {"kind": "options", "is_looking": True, "is_old": False, "at": "", "rows": []}
    assert looking in talk.said
    said = talk.ask("stop_options")["options"]
    assert (question.state, said["is_looking"], said["at"]) == (STOPPED, False, "0:00")


def test_options_that_cannot_be_found_are_told_in_words(talk, monkeypatch):
    def fail(*how, **more):
        raise pk.ScenarioError.single("no such luck", table="log")

    monkeypatch.setattr("planning_kit.explore.watch.watch.options_table", fail)
    said = talk.ask("options")
    assert said["said"]["text"] == "no options could be found: no such luck"
    assert not said["options"]["is_looking"]


@pytest.mark.parametrize("now", ["-0:30", "1:40", "2:25", "5:41", "6:30", "9:00"])
def test_every_minute_can_be_told(late, now):
    said = late.ask("clock", clock="held", text=now)
    assert "said" not in said
    assert said["outside"]["standing"]
