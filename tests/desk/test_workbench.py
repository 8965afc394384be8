"""The workbench as a widget: views, the kernel's loop and threads, and what is seen without a kernel."""

from __future__ import annotations

import asyncio
import gc
import json
from concurrent.futures import ThreadPoolExecutor

import pytest

import planning_kit as pk
from planning_kit.desk import workbench as desk_workbench
from planning_kit.desk.assets import library_text, module_text, style_text
from planning_kit.desk.messages import tightest_message
from planning_kit.desk.snapshot import WIDGET_MIME
from planning_kit.desk.workbench import Workbench
from planning_kit.explore.long_question import at_once
from planning_kit.show.chart import PLOTLY_MIME
from tests.conftest import LATE, TERN
from tests.desk.conftest import ATTACK, SCENARIOS


class Screen:
    """A workbench, and what its views were sent since it was asked last."""

    def __init__(self, scenario, *where):
        self.bench, self.said = pk.workbench(scenario, *where), []
        self.bench.send = lambda content, buffers=None: self.said.append(json.loads(json.dumps(content)))

    def ask(self, kind, **content):
        self.said.clear()
        self.bench._handle_custom_msg({"kind": kind, "n": 1, **content}, [])
        return {message["kind"]: message for message in self.said}

    def ask_at_once(self, kind, **content):
        """Ask where no loop is running: the browser tests leave one in this thread."""
        with ThreadPoolExecutor(1) as thread:
            return thread.submit(lambda: self.ask(kind, **content)).result()

    async def wait_for(self, key, value=None):
        async with asyncio.timeout(60):
            while not any(message.get(key) and value in (None, message[key]) for message in self.said):
                await asyncio.sleep(0.01)


@pytest.fixture
def scenario(folder):
    return pk.load_scenario(folder)


@pytest.fixture
def published(monkeypatch):
    found = []
    monkeypatch.setattr("planning_kit.desk.snapshot.publish_display_data",
                        lambda data, transient=None, update=False: found.append((data, update)))
    return found


def as_in_a_kernel(work):
    """Run it in a loop of its own: the browser tests leave one running in this thread."""
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, work).result()


def test_it_shows_what_a_user_wants_and_nothing_else(scenario):
    assert {name for name in vars(Workbench) if name[0] != "_"} == {
        "plan", "scenario", "log", "film", "close"}
    screen = Screen(scenario)
    mine = {name for name in vars(screen.bench) if not name.startswith("_")}
    assert mine <= {"comm", "keys", "send"}  # of every widget; the last is ours, above
    assert (screen.bench.plan.scenario, screen.bench.scenario) == (scenario, scenario)
    with pytest.raises(pk.ScenarioError, match="no log before"):
        _ = screen.bench.log


def test_it_opens_outside_with_a_log_and_a_now(scenario):
    log = pk.read_log(LATE)
    screen = Screen(pk.load_scenario(TERN), log, "3:58")
    assert screen.bench.plan.now_min == 238
    assert len(screen.bench.log) == len(log)
    assert "outside" in screen.ask_at_once("hello", has_library=True)
    with pytest.raises(pk.ScenarioError, match="no moment of this outing"):
        pk.workbench(scenario, None, "9:00")


def test_an_answer_goes_to_the_view_that_asked_and_a_patch_to_all(scenario):
    said = Screen(scenario).ask_at_once("add", sheet="steps", after=None, view="v")
    assert (said["focus"]["view"], said["done"]["view"]) == ("v", "v")
    assert not {"view"} & {*said["patch"], *said["notes"]}


def test_the_first_view_after_a_run_comes_into_view_and_no_later_one(scenario, published):
    screen = Screen(scenario)
    assert "stand" not in screen.ask_at_once("hello", has_library=True, view="a")
    screen.bench._ipython_display_()
    assert screen.ask_at_once("hello", has_library=True, view="b")["stand"]["view"] == "b"
    assert "stand" not in screen.ask_at_once("hello", has_library=True, view="c")


def test_how_likely_margins_are_missed_is_told_to_all_views_after_all_else(scenario):
    screen = Screen(scenario)
    said = screen.ask_at_once("hello", has_library=True, view="v")
    kinds = [message["kind"] for message in screen.said]
    assert kinds.index("all") < kinds.index("notes") < kinds.index("tightest")
    assert "view" not in said["tightest"]
    assert not any("missed in" in row["note"] for row in said["notes"]["margins"])
    assert any("missed in" in row["note"] for row in said["tightest"]["margins"])
    first = screen.bench.plan.timed
    assert said["tightest"] == json.loads(json.dumps(at_once(tightest_message(first))))


def test_an_edit_ends_what_still_follows_the_last_and_is_followed_itself(scenario):
    screen = Screen(scenario)

    async def edited_twice():
        screen.ask("minutes", step="Z1", minutes=12)
        await asyncio.sleep(0.05)  # some of what follows is done
        screen.said.clear()
        screen.bench._handle_custom_msg({"kind": "minutes", "step": "Z1", "minutes": 13, "n": 2}, [])
        assert [message["kind"] for message in screen.said] == ["patch", "done"]
        await screen.wait_for("kind", "tightest")

    as_in_a_kernel(edited_twice())
    told = [message for message in screen.said if message["kind"] in ("notes", "tightest")]
    assert [message["kind"] for message in told] == ["notes", "tightest"]
    assert told[1]["tightest"] == json.loads(json.dumps(
        at_once(tightest_message(screen.bench.plan.timed))))["tightest"]


def test_a_fault_of_ours_is_raised_and_the_page_is_answered_all_the_same(scenario, monkeypatch):
    def fail():
        raise RuntimeError("no such luck")

    screen = Screen(scenario)
    monkeypatch.setattr(screen.bench._session, "undo", fail)
    with pytest.raises(RuntimeError):
        screen.bench._on_message(screen.bench, {"kind": "undo", "n": 7, "view": "v"}, [])
    assert screen.said[-1] == {"kind": "done", "echo": 7, "view": "v"}


def test_what_is_shown_without_a_kernel_is_static_and_escaped(scenario, published):
    screen = Screen(scenario)
    line = screen.bench._session.draft["steps"].find("step", "B2")
    screen.ask_at_once("cells", sheet="steps", cells=[[line, "title", ATTACK]])
    assert screen.bench.plan.timed.steps[screen.bench.plan.timed.position("B2")].title == ATTACK
    screen.bench._ipython_display_()
    chart, tables = published[-2][0], published[-1][0]
    assert PLOTLY_MIME in chart
    assert WIDGET_MIME not in chart
    assert all("<img" not in json.dumps(part) for part in (chart[PLOTLY_MIME], tables["text/html"]))
    assert "Both inside" in tables["text/plain"]
    screen.ask_at_once("snapshot")
    count = len(published)
    screen.ask_at_once("minutes", step="Z1", minutes=12)
    assert [update for _, update in published[count:]] == [True, True]


def test_a_notebook_about_to_be_saved_gets_the_last_picture(scenario, published):
    async def edited_and_saved():
        screen = Screen(scenario)
        screen.bench._ipython_display_()
        count = len(published)
        screen.ask("minutes", step="Z1", minutes=12)  # the picture follows later, when the kernel is idle
        assert len(published) == count
        screen.ask("snapshot")
        assert [update for _, update in published[count:]] == [True, True]

    as_in_a_kernel(edited_and_saved())


def test_the_picture_without_a_kernel_is_that_of_the_outing_and_escaped(scenario, published):
    screen = Screen(scenario, None, "0:00")
    screen.ask_at_once("log", lane="EV1", event="started", step="A1", note=ATTACK, by=ATTACK)
    screen.bench._ipython_display_()
    view, chart, tables = (data for data, _ in published)
    assert WIDGET_MIME in view
    assert [shape["name"] for shape in chart[PLOTLY_MIME]["layout"]["shapes"]].count("now") == 1
    assert "EV1 as planned" in tables["text/plain"]
    assert ATTACK not in tables["text/html"]
    assert "&lt;img src=x" in tables["text/html"]


def test_a_long_question_runs_beside_the_edits_and_stops(scenario):
    screen = Screen(scenario)

    async def swept():
        screen.ask("ask", question="sweep")
        await screen.wait_for("part")
        screen.bench._handle_custom_msg({"kind": "stop", "question": "sweep"}, [])
        await screen.wait_for("state", "stopped")

    as_in_a_kernel(swept())
    told = [message for message in screen.said if message["kind"] == "work"]
    parts = [message["part"] for message in told if message.get("part")]
    assert 0 < len(parts) < 288  # every 5 minutes of a day
    assert told[-1]["state"] == "stopped"
    assert len(told[-1]["result"]) >= len(parts)


def test_options_are_looked_for_beside_the_entries(scenario):
    screen = Screen(scenario, None, "0:00")

    async def looked():
        screen.ask("options")
        await screen.wait_for("rows")

    as_in_a_kernel(looked())
    told = [message for message in screen.said if message["kind"] == "options"][-1]
    assert (told["is_looking"], [row["kind"] for row in told["rows"]]) == (
        False, ["carry on", *["drop"] * 4])


def test_the_clock_ticks_outside_whatever_happens_and_not_while_planning(scenario, monkeypatch):
    monkeypatch.setattr(desk_workbench, "_TICK_S", 0.001)
    screen = Screen(scenario)

    def fail():
        raise RuntimeError("the disk is gone")

    async def outside_and_back():
        screen.ask("outside")
        monkeypatch.setattr(screen.bench._session.watch, "tick", lambda: True)
        screen.said.clear()
        await screen.wait_for("kind", "outside")
        monkeypatch.setattr(screen.bench._session.watch, "tick", fail)
        await screen.wait_for("text", "the outing cannot be followed: the disk is gone")
        screen.ask("planning")
        await screen.bench._ticking

    as_in_a_kernel(outside_and_back())


def test_no_full_collection_goes_through_what_stands_until_it_is_closed(scenario):
    gc.unfreeze()
    bench = pk.workbench(scenario)
    assert gc.get_freeze_count() > 10_000
    bench.close()
    assert gc.get_freeze_count() == 0


def test_the_scripts_make_no_markup_of_text():
    ours = module_text()
    for word in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "new Function"):
        assert word not in ours, word
    assert ours.rstrip().endswith("as default};")
    assert "Tabulator v" in library_text()
    assert "sourceMappingURL" not in library_text() + style_text()
    vendor = SCENARIOS.parent / "planning_kit" / "desk" / "static" / "vendor"
    assert f"Tabulator v{(vendor / 'tabulator.VERSION').read_text().strip()} " in library_text()


def test_its_film_follows_an_edit_and_goes_to_the_bar_that_is_chosen(scenario, monkeypatch):
    bench = pk.workbench(scenario)
    monkeypatch.setattr(bench, "_later", lambda name, seconds, work: at_once(work()))
    film = bench.film()
    before = film.scene["end_min"]
    bench._on_message(bench, {"kind": "explain", "step": "B3", "view": "a"}, [])
    starts = {each["step"]: each["from"] for each in film.scene["steps"]}
    assert film.minute == starts["B3"] > 0
    film.minute = 1.0
    bench._on_message(bench, {"kind": "explain", "step": "B3", "view": "a"}, [])
    assert film.minute == 1.0, "asked again after an edit, it is no new choice"
    bench._on_message(bench, {"kind": "explain", "step": "NONE", "view": "a"}, [])
    assert film.minute == 1.0
    bench._on_message(bench, {"kind": "minutes", "step": "B2", "minutes": 30, "view": "a"}, [])
    assert film.scene["end_min"] == pytest.approx(bench.plan.end_min, abs=1e-5)
    assert film.scene["end_min"] > before
    scene = film.scene
    film.follow(bench.plan)  # the same plan: its scene is not made again
    assert film.scene is scene
    bench.close()
