"""What the workbench says while the crew is outside: messages as a view sends them, answers as plain data."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.desk.actions import ACTIONS
from planning_kit.desk.outside_actions import OUTSIDE_ACTIONS
from planning_kit.desk.snapshot import WIDGET_MIME
from planning_kit.show.chart import PLOTLY_MIME

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ATTACK = "<img src=x onerror=alert(1)>"


class Talk:
    """A workbench on a copy of a scenario, and what it said since it was asked last."""

    def __init__(self, scenario, *where):
        self.bench = pk.workbench(scenario, *where)
        self.said = []
        self.bench._later = lambda name, seconds, do: do()  # whether or not a browser test has a loop running
        self.bench.beside = lambda do, then: then(do())
        self.bench.outside._start = lambda: None
        self.bench.send = lambda content, buffers=None: self.said.append(
            json.loads(json.dumps(content, allow_nan=False)))

    def ask(self, kind, **content):
        self.said.clear()
        self.bench._handle_custom_msg({"kind": kind, "n": 1, **content}, [])
        return {message["kind"]: message for message in self.said}


@pytest.fixture
def state(tmp_path, monkeypatch):
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "state"))


@pytest.fixture
def folder(tmp_path, state):
    return shutil.copytree(SCENARIOS / "small-outing", tmp_path / "outing")


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
    assert talk.bench.plan.timed is talk.bench.session.plan
    said = talk.ask("outside")
    assert said["outside"]["log"]["rows"] == 1
    assert len(talk.bench.log) == 1


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
    assert pk.read_log(talk.bench.session.base.folder)["event"].tolist() == ["started", "finished"]


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
    assert len(talk.bench.log) == 0


@pytest.mark.parametrize("kind", sorted(set(OUTSIDE_ACTIONS) - {"outside", "planning"}))
def test_nothing_of_the_outing_can_be_done_while_planning(folder, kind):
    talk = Talk(pk.load_scenario(folder))
    said = talk.ask(kind, lane="EV1", event="started", step="A1", clock="held", slot="EV1", number=0)
    assert said["said"]["level"] == "bad"
    assert not (folder / "log.csv").exists()


def test_marked_cells_and_unsaved_work_are_told_on_the_way_out(folder):
    talk = Talk(pk.load_scenario(folder))
    line = talk.bench.session.draft["steps"].find("step", "Z1")
    talk.ask("cells", sheet="steps", cells=[[line, "minutes_likely", "12"]])
    assert "not saved" in talk.ask("outside")["said"]["text"]
    talk.ask("planning")
    talk.ask("cells", sheet="steps", cells=[[line, "minutes_likely", "long"]])
    assert "1 marked cells" in talk.ask("outside")["said"]["text"]


def test_an_edit_while_outside_is_another_plan_to_re_time(talk):
    talk.ask("log", lane="EV1", event="started", step="A1")
    before = talk.bench.plan
    said = talk.ask("minutes", step="Z1", minutes=20)
    assert talk.bench.watch.base is talk.bench.session.plan
    assert said["outside"]["chart"]["end"] == pytest.approx(before.end_min + 10, abs=1e-3)


def test_ways_home_are_told_only_while_somebody_is_outside(talk):
    said = talk.ask("log", lane="EV1", event="started", step="A1")
    assert set(said["outside_home"]["ways"]) == {"terminate", "abort"}
    talk.ask("clock", clock="held", text="-0:10")
    said = talk.ask("hello", has_library=True)
    assert said["outside_home"]["ways"] == {}
    assert "no moment" in said["outside_home"]["words"]


@pytest.fixture(scope="module")
def late():
    log = pk.read_log(SCENARIOS / "running-late")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLANNING_KIT_STATE", str(Path("/nonexistent")))
        yield Talk(pk.load_scenario(SCENARIOS / "tern-station"), log, "3:58")


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


@pytest.mark.parametrize("now", ["-0:30", "1:40", "2:25", "5:41", "6:30", "9:00"])
def test_every_minute_can_be_told(late, now):
    said = late.ask("clock", clock="held", text=now)
    assert "said" not in said
    assert said["outside"]["standing"]


def test_the_picture_without_a_kernel_is_that_of_the_outing_and_escaped(talk, monkeypatch):
    shown = []
    monkeypatch.setattr("planning_kit.desk.snapshot.publish_display_data",
                        lambda data, **more: shown.append(data))
    talk.ask("log", lane="EV1", event="started", step="A1", note=ATTACK, by=ATTACK)
    talk.bench._ipython_display_()
    view, chart, tables = shown
    assert WIDGET_MIME in view
    assert [shape["name"] for shape in chart[PLOTLY_MIME]["layout"]["shapes"]].count("now") == 1
    assert "EV1 as planned" in tables["text/plain"]
    assert ATTACK not in tables["text/html"]
    assert "&lt;img src=x" in tables["text/html"]
