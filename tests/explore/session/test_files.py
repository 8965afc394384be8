"""Saving, conflicts, export, and the journal that outlives a killed kernel."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.changes.amounts import LikelyMinutes
from planning_kit.explore.session.merge import both_sides
from planning_kit.explore.session.session import Session
from planning_kit.inputs.save import state_folder
from tests.edits import move_lines
from tests.explore.session.conftest import line_of

ROOT = Path(__file__).parents[3]
HOSTILE = ["<img src=x onerror=alert(1)>", "</script>", "=1+1", 'a "b"', "two\nlines", "ü–\u2028"]


def retitle(session, text, step="B2"):
    session.type_cells("steps", {(line_of(session, "steps", step), "title"): text})


def test_saved_work_is_in_the_folder_and_only_the_changed_file_is_touched(session, folder):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    retitle(session, "Another title")
    assert session.has_unsaved_work
    session.save()
    assert not session.has_unsaved_work
    after = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert {name for name in after if after[name] != before[name]} == {"steps.csv"}
    old, new = (files["steps.csv"].splitlines() for files in (before, after))
    assert sum(a != b for a, b in zip(old, new, strict=True)) == 1
    retitle(session, "A third title")
    session.save()  # our own save is no conflict
    assert pk.load_scenario(folder).steps["title"][4] == "A third title"


def test_work_with_faults_is_not_saved_and_not_lost(session, folder):
    before = (folder / "steps.csv").read_bytes()
    session.type_cells("steps", {(line_of(session, "steps", "B2"), "crew"): "EV3"})
    with pytest.raises(pk.ScenarioError, match="mend the 1 marked faults"):
        session.save()
    assert (folder / "steps.csv").read_bytes() == before
    assert session.draft["steps"].text(line_of(session, "steps", "B2"), "crew") == "EV3"


def test_a_conflict_shows_both_sides_and_overwrites_nothing(session, folder):
    other = Session(pk.load_scenario(folder))
    retitle(other, "Theirs")
    other.make(LikelyMinutes("C1", 4))
    other.save()
    theirs = (folder / "steps.csv").read_bytes()
    retitle(session, "Mine")
    with pytest.raises(pk.SaveConflict):
        session.save()
    assert (folder / "steps.csv").read_bytes() == theirs
    sides = both_sides(session.draft, session.base.folder).to_numpy().tolist()
    assert ["steps", "B2", "title", "Mine", "Theirs"] in sides
    assert ["steps", "C1", "minutes_likely", "3", "4"] in sides
    assert len(sides) == 2


def test_taking_theirs_keeps_mine_as_a_version_and_can_be_undone(session, folder):
    other = Session(pk.load_scenario(folder))
    retitle(other, "Theirs")
    other.save()
    retitle(session, "Mine")
    name = session.take_theirs()
    line = line_of(session, "steps", "B2")
    assert session.draft["steps"].text(line, "title") == "Theirs"
    assert session.versions[name]["steps"].text(line, "title") == "Mine"
    session.undo()
    assert session.draft["steps"].text(line, "title") == "Mine"
    session.redo()
    retitle(session, "Ours")
    session.save()
    assert pk.load_scenario(folder).steps["title"][4] == "Ours"


def test_a_folder_with_faults_is_not_taken(session, folder):
    (folder / "steps.csv").write_text("step\n")
    draft = session.draft
    with pytest.raises(pk.ScenarioError):
        session.take_theirs()
    assert session.draft is draft


def test_rows_added_deleted_and_reordered_by_others_are_told(session, folder):
    other = Session(pk.load_scenario(folder))
    other.delete_lines("tasks", [])
    other.add_line("gaps")
    line = other.draft["gaps"].lines[-1].id
    other.type_cells("gaps", {(line, "first_step"): "B1", (line, "then_step"): "B3"})
    move_lines(other, "tasks", [line_of(other, "tasks", "CLN")], line_of(other, "tasks", "EGR"))
    other.save()
    sides = both_sides(session.draft, session.base.folder).to_numpy().tolist()
    assert ["gaps", "B1 to B3", "", "(no such row)", ""] in sides
    assert ["tasks", "", "", "another order of rows", ""] in sides


def test_an_export_is_a_new_folder_and_the_session_stays(session, folder, tmp_path):
    for number, text in enumerate(HOSTILE):
        retitle(session, text, ("A1", "B1", "C1", "C2", "B2", "B3")[number])
    written = session.export(tmp_path / "copy")
    again = pk.load_scenario(written)
    assert [again.steps["title"][at] for at in (0, 1, 2, 3, 4, 5)] == HOSTILE
    assert session.base.folder == folder
    assert session.has_unsaved_work
    for taken in (written, folder):
        with pytest.raises(pk.ScenarioError, match="another name"):
            session.export(taken)


def test_what_a_spreadsheet_would_compute_is_saved_with_a_mark_and_read_without(session, folder, tmp_path):
    texts = {"B2": "=1+1", "B1": "@SUM(A1)", "C1": "-3", "C2": "'=2"}  # a number with a sign is a number
    for step, text in texts.items():
        retitle(session, text, step)
    session.save()
    for place in (folder, session.export(tmp_path / "copy")):
        by_step = pd.read_csv(place / "steps.csv", dtype=str).set_index("step")["title"]
        assert [by_step[step] for step in texts] == ["'=1+1", "'@SUM(A1)", "-3", "''=2"]
        titles = pk.load_scenario(place).steps.set_index("step")["title"]
        assert [titles[step] for step in texts] == list(texts.values())


def test_left_work_is_offered_to_the_next_session_and_gone_once_saved(session, folder):
    retitle(session, "Not saved yet")
    session.type_cells("steps", {(line_of(session, "steps", "B3"), "minutes_likely"): "abc"})
    session.keep_version("half")
    session.autosave()
    session.close()
    later = Session(pk.load_scenario(folder))
    left, = later.unsaved_work()
    later.restore(left)
    assert later.draft["steps"].text(line_of(later, "steps", "B2"), "title") == "Not saved yet"
    assert [fault.value for fault in later.faults] == ["abc"]
    assert "half" in later.versions
    assert later.unsaved_work() == []  # now its own
    third = Session(pk.load_scenario(folder))
    assert len(third.unsaved_work()) == 1
    later.undo()
    assert not later.has_unsaved_work


def test_nothing_is_left_when_nothing_is_unsaved(session, state):
    retitle(session, "x")
    session.autosave()
    session.undo()
    session.autosave()
    assert list(state.glob("*")) == []


def test_any_text_survives_the_journal(session, folder):
    for text in [*HOSTILE, "\ud800", "\x00"]:
        retitle(session, text)
        session.autosave()
        left, = Session(pk.load_scenario(folder)).unsaved_work()
        assert left.draft == session.draft


@pytest.mark.parametrize("content", [b"", b"{", b'{"format": 3}', b'{"format": 2}', b"[]", b"\xff"])
def test_a_journal_that_cannot_be_read_is_passed_over_and_kept(session, folder, content):
    retitle(session, "x")
    session.autosave()
    session.journal.path.write_bytes(content)
    assert Session(pk.load_scenario(folder)).unsaved_work() == []
    assert session.journal.path.exists()


def test_a_journal_with_rows_of_another_length_is_passed_over(session, folder):
    retitle(session, "x")
    session.autosave()
    content = json.loads(session.journal.path.read_text())
    content["draft"]["sheets"]["steps"]["lines"][0][1].pop()
    session.journal.path.write_text(json.dumps(content))
    assert Session(pk.load_scenario(folder)).unsaved_work() == []


def test_what_was_typed_survives_a_killed_process(folder):
    program = (
        "import os, sys, time, planning_kit as pk\n"
        "from planning_kit.explore.session.session import Session\n"
        f"session = Session(pk.load_scenario({str(folder)!r}))\n"
        "line = session.draft['steps'].find('step', 'B2')\n"
        "session.type_cells('steps', {(line, 'title'): 'typed before the end'})\n"
        "session.autosave()\n"
        "print('ready', flush=True); time.sleep(60)\n")
    command = [sys.executable, "-c", program]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT, text=True) as victim:
        assert victim.stdout.readline() == "ready\n"
        os.kill(victim.pid, signal.SIGKILL)
    left, = Session(pk.load_scenario(folder)).unsaved_work()
    assert "typed before the end" in left.draft["steps"].column("title")


def test_journals_lie_in_the_users_state_folder(monkeypatch, tmp_path):
    monkeypatch.delenv("PLANNING_KIT_STATE")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    if sys.platform != "win32":
        assert state_folder() == tmp_path / "planning_kit"
