"""What the workbench says to its views: asked with messages as a view sends them, read as plain data."""

from __future__ import annotations

import asyncio
import json
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.desk.actions import ACTIONS
from planning_kit.desk.assets import library_text, module_text, style_text
from planning_kit.desk.snapshot import WIDGET_MIME
from planning_kit.show.chart import PLOTLY_MIME
from tests.bench.bench_workbench import steps_repeated
from tests.explore.session.conftest import add_a_step_behind_the_night

ROOT = Path(__file__).parents[2]
ATTACK = "<img src=x onerror=alert(1)>"


class Talk:
    """A workbench, and what it said since it was asked last."""

    def __init__(self, scenario):
        self.bench = pk.workbench(scenario)
        self.said = []
        self.bench._later = lambda name, seconds, do: do()  # whether or not a browser test has a loop running
        self.bench.send = lambda content, buffers=None: self.said.append(json.loads(json.dumps(content)))

    def ask(self, kind, **content):
        self.said.clear()
        self.bench._handle_custom_msg({"kind": kind, "n": 1, **content}, [])
        return {message["kind"]: message for message in self.said}

    def ask_alone(self, kind, **content):
        """Ask where no loop is running: the browser tests leave one in this thread."""
        with ThreadPoolExecutor(1) as thread:
            return thread.submit(lambda: self.ask(kind, **content)).result()

    def line(self, key, sheet="steps"):
        here = self.bench.session.draft[sheet]
        return here.find(here.columns[0], key)


@pytest.fixture
def talk(tmp_path, monkeypatch):
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "state"))
    shutil.copytree(ROOT / "scenarios" / "small-outing", tmp_path / "outing")
    return Talk(pk.load_scenario(tmp_path / "outing"))


def test_a_view_that_opens_gets_everything_and_the_library_once(talk):
    said = talk.ask("hello")
    assert [message["kind"] for message in talk.said][:2] == ["library", "all"]
    assert set(said["all"]["tables"]) == set(said["all"]["schema"])
    assert said["all"]["schema"]["steps"]["fields"]["crew"]["refers_to"] == ["crew", "actors"]
    assert said["all"]["schema"]["steps"]["fields"]["crew"]["choices"] == ["both"]
    assert said["notes"]["margins"]
    assert said["left"]["offers"] == []
    assert "library" not in talk.ask("hello", has_library=True)


def test_a_typed_cell_comes_back_as_a_patch_of_one_row_with_the_chart(talk):
    said = talk.ask("cells", sheet="steps", cells=[[talk.line("Z1"), "minutes_likely", "12"]])
    assert list(said["patch"]["tables"]) == ["steps"]
    assert list(said["patch"]["tables"]["steps"]["rows"]) == [str(talk.line("Z1"))]
    assert "order" not in said["patch"]["tables"]["steps"]
    assert said["patch"]["chart"]["end"] == pytest.approx(talk.bench.plan.end_min, abs=1e-3)
    assert said["done"]["echo"] == 1
    kinds = [message["kind"] for message in talk.said]
    assert kinds.index("patch") < kinds.index("notes")


def test_a_bad_cell_brings_its_fault_and_no_new_chart(talk):
    said = talk.ask("cells", sheet="steps", cells=[[talk.line("Z1"), "minutes_likely", ATTACK]])
    assert "chart" not in said["patch"]
    fault, = said["patch"]["faults"]
    assert (fault["sheet"], fault["line"], fault["column"]) == ("steps", talk.line("Z1"), "minutes_likely")


@pytest.mark.parametrize("content", [
    {"kind": "cells", "sheet": "nowhere", "cells": [[1, "step", "x"]]},
    {"kind": "cells", "sheet": "steps", "cells": [[1, "no column", "x"]]},
    {"kind": "cells", "sheet": "steps", "cells": "x"},
    {"kind": "move", "step": ATTACK, "lane": "EV1", "before": None},
    {"kind": "minutes", "step": "B2", "minutes": "long"},
    {"kind": "egress", "ms": 1e300},
    {"kind": "switch", "name": ATTACK},
    {"kind": "keep", "name": ""},
    {"kind": "export", "folder": ""},
    {"kind": "shift", "sheet": "steps", "lines": [99999], "by": 1},
    {"kind": "ask", "question": "weather"},
    {"kind": "take", "number": 0},
    {"kind": "preview", "number": "x"},
    {"kind": "drop", "name": ATTACK},
    {"kind": "merge", "choices": [["steps"]]},
    {"kind": "paste", "sheet": "steps", "lines": [], "columns": ["step"], "text": ""},
])
def test_whatever_a_message_says_nothing_is_raised_and_nothing_changes(talk, content):
    draft = talk.bench.session.draft
    said = talk.ask(**content)
    assert said["done"]["echo"] == 1
    assert talk.bench.session.draft.says_the_same_as(draft)


def test_an_unknown_message_is_passed_over(talk):
    assert talk.ask("no such thing") == {}
    assert "greet" not in ACTIONS


def test_a_conflict_is_told_with_both_sides(talk):
    other = pk.load_scenario(talk.bench.session.base.folder)
    steps = other.steps
    steps.loc[4, "title"] = "Theirs"
    other.with_table("steps", steps).save()
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Mine"]])
    clash, = talk.ask("save")["conflict"]["clashes"]
    assert [clash[name] for name in ("table", "row", "column", "yours", "theirs")] == [
        "steps", "B2", "title", "Mine", "Theirs"]
    assert talk.ask("merge", choices=[])["conflict"]["clashes"] == [clash]  # still to be answered
    said = talk.ask("merge", choices=[[*clash["where"], "theirs"]])
    assert said["patch"]["tables"]["steps"]["rows"][str(talk.line("B2"))][4] == "Theirs"
    assert "saved to" in talk.ask("save")["said"]["text"]


def test_a_folder_that_cannot_be_read_any_more_is_told_with_both_sides(talk):
    (talk.bench.session.base.folder / "steps.csv").write_text("nonsense\n")
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Mine"]])
    said = talk.ask("save")["conflict"]
    assert said["problem"].startswith("steps:")
    assert ["steps", "B2", "", "", "(no such row)"] in said["sides"]["rows"]


def test_left_work_on_a_folder_that_has_changed_since_is_told_with_both_sides(talk):
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Mine"]])
    other = pk.load_scenario(talk.bench.session.base.folder)
    steps = other.steps
    steps.loc[1, "title"] = "Theirs"
    other.with_table("steps", steps).save()
    later = Talk(pk.load_scenario(other.folder))
    offer, = later.ask("hello")["left"]["offers"]
    said = later.ask("restore", path=offer["path"])
    assert [row[:3] + row[4:] for row in said["conflict"]["taken"]] == [["steps", "B1", "title", "Theirs"]]
    assert said["conflict"]["clashes"] == []


def test_versions_outlive_the_kernel_after_a_save(talk):
    talk.ask("keep", name="half")
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Saved"]])
    assert "saved to" in talk.ask("save")["said"]["text"]
    left, = pk.workbench(pk.load_scenario(talk.bench.session.base.folder)).session.unsaved_work()
    assert "half" in left.versions
    assert left.base.says_the_same_as(left.draft)


def test_an_export_to_the_home_of_nobody_is_said_and_answered(talk):
    said = talk.ask("export", folder="~nobody-of-this-name/x")
    assert "home folder of nobody" in said["said"]["text"]
    assert said["done"]["echo"] == 1


def test_a_fault_of_ours_is_raised_and_the_page_is_answered_all_the_same(talk, monkeypatch):
    def fail():
        raise RuntimeError("no such luck")

    monkeypatch.setattr(talk.bench.session, "undo", fail)
    with pytest.raises(RuntimeError):
        talk.bench._on_message(talk.bench, {"kind": "undo", "n": 7, "view": "v"}, [])
    assert talk.said[-1] == {"kind": "done", "echo": 7, "view": "v"}


def test_a_new_row_is_pointed_at_after_it_is_shown(talk):
    talk.ask("add", sheet="steps", after=talk.line("B2"))
    kinds = [message["kind"] for message in talk.said]
    assert kinds.index("patch") < kinds.index("focus") < kinds.index("done")


def test_what_is_shown_without_a_kernel_is_static_and_escaped(talk, monkeypatch):
    published = []
    monkeypatch.setattr("planning_kit.desk.snapshot.publish_display_data",
                        lambda data, transient=None, update=False: published.append((data, update)))
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", ATTACK]])
    talk.bench._ipython_display_()
    chart, tables = published[-2][0], published[-1][0]
    assert PLOTLY_MIME in chart
    assert WIDGET_MIME not in chart
    assert all("<img" not in json.dumps(part) for part in (chart[PLOTLY_MIME], tables["text/html"]))
    assert "Both inside" in tables["text/plain"]
    talk.bench.refresh_snapshot()
    count = len(published)
    talk.ask("minutes", step="Z1", minutes=12)
    assert [update for _, update in published[count:]] == [True, True]


def test_a_long_question_runs_beside_the_edits_and_stops(talk):
    async def swept():
        talk.ask("ask", question="sweep")
        async with asyncio.timeout(60):
            while not any(message.get("part") for message in talk.said):
                await asyncio.sleep(0.01)
            talk.bench._handle_custom_msg({"kind": "stop", "question": "sweep"}, [])
            while not any(message.get("state") == "stopped" for message in talk.said):
                await asyncio.sleep(0.01)

    # In a thread of its own: the browser tests leave a loop running in this one.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, swept()).result()
    told = [message for message in talk.said if message["kind"] == "work"]
    parts = [message["part"] for message in told if message.get("part")]
    assert 0 < len(parts) < 288  # every 5 minutes of a day
    assert told[-1]["state"] == "stopped"
    assert len(told[-1]["result"]) >= len(parts)


def test_an_answer_is_told_in_words_and_said_to_be_old_after_an_edit(talk):
    said = talk.ask_alone("ask", question="odds")["work"]  # without a loop it is worked out at once
    assert said["state"] == "done"
    assert said["result"]["items"][0]["what"] == "both inside by the planned limit"
    odds = talk.bench.session.works["odds"].result
    share, error = odds.summary.loc[0, ["p", "se"]]
    assert said["result"]["items"][0]["odds"] == f"{100 * share:.1f} ± {100 * error:.1f} %"
    assert [row[0] for row in said["result"]["finish"]] == ["10 %", "50 %", "90 %", "95 %"]
    assert talk.ask("minutes", step="Z1", minutes=12)["patch"]["old"] == ["odds"]
    assert talk.ask("undo")["patch"]["old"] == []
    assert talk.ask("hello", has_library=True)["work"]["result"] == said["result"]  # a view that opens later


def test_a_better_order_is_told_with_odds_shown_as_ghosts_and_taken(talk):
    add_a_step_behind_the_night(talk.bench.session, ATTACK)
    said = talk.ask_alone("ask", question="order")["work"]
    order = said["result"]["orders"][0]
    assert order["moves"]
    assert "±" in order["chances"][0][1]
    chart = talk.ask("preview", number=0)["patch"]["chart"]
    assert (chart["ghost_name"], bool(chart["ghosts"])) == ("proposed", True)
    taken = talk.ask("take", number=0)["patch"]
    assert "order" in taken["tables"]["steps"]
    assert taken["chart"]["ghosts"] == []
    assert taken["undo"].startswith("take the order")


def test_a_hundred_and_fifty_steps_are_edited_and_told(monkeypatch, tmp_path):
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path))
    talk = Talk(steps_repeated(150))
    said = talk.ask("minutes", step="KN1", minutes=5)
    assert len({bar[0] for bar in said["patch"]["chart"]["bars"] if bar[2] == "work" and bar[0]}) == 150


def test_the_scripts_make_no_markup_of_text():
    ours = module_text()
    for word in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "new Function"):
        assert word not in ours, word
    assert ours.rstrip().endswith("as default};")
    assert "Tabulator v" in library_text()
    assert "sourceMappingURL" not in library_text() + style_text()
    version = (ROOT / "planning_kit" / "desk" / "static" / "vendor" / "tabulator.VERSION").read_text().strip()
    assert f"Tabulator v{version} " in library_text()
