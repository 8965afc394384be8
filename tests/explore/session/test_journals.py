"""Journals of several sessions: in use by the living, left by the dead, never the only copy gone."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import pytest
from filelock import FileLock

import planning_kit as pk
from planning_kit.explore.session import journal
from planning_kit.explore.session.journal import delete_left
from tests.edits import type_setting
from tests.explore.session.conftest import line_of, retitle, titles

ROOT = Path(__file__).parents[3]
needs_fork = pytest.mark.skipif(sys.platform == "win32", reason="forks, and kills")


@pytest.fixture
def left(opened):
    """What a session left that is gone."""
    dead = opened()
    retitle(dead, "Left")
    dead.autosave()
    dead.close()
    return dead.journal.path


def test_a_living_session_keeps_its_journal_whatever_another_does(session, opened):
    retitle(session, "Mine")
    session.autosave()
    other = opened()
    found, = other.unsaved_work()
    assert found.is_in_use
    other.restore(found)
    assert "Mine" in titles(other)
    with pytest.raises(pk.ScenarioError, match="in use by another session"):
        delete_left(found.path)
    assert session.journal.path.exists()

    # What is typed on is on the disk too, and a copy of it is only a copy.
    retitle(session, "Mine still")
    session.autosave()
    third = opened()
    assert [("Mine still" in each.draft["steps"].column("title"), each.is_in_use)
            for each in third.unsaved_work()] == [(True, True), (False, True)]
    session.save()
    assert not session.journal.path.exists()
    assert len(third.unsaved_work()) == 1


def test_what_a_closed_session_did_not_save_is_left_and_can_be_taken_up_or_discarded(left, opened, state):
    first, second = opened(), opened()
    found, = first.unsaved_work()
    assert not found.is_in_use
    first.restore(found)
    assert not left.exists()
    assert [each.is_in_use for each in second.unsaved_work()] == [True]
    first.close()
    again, = second.unsaved_work()
    assert not again.is_in_use
    delete_left(again.path)
    assert second.unsaved_work() == []
    assert list(state.glob("*.json*")) == []


def test_a_session_that_goes_on_after_it_was_closed_holds_its_journal_again(session, opened):
    retitle(session, "Mine")
    session.autosave()
    session.close()
    retitle(session, "Mine still")
    session.autosave()
    found, = opened().unsaved_work()
    assert found.is_in_use


def test_a_lock_that_was_swept_away_is_made_anew(session, opened, state):
    retitle(session, "Mine")
    session.autosave()
    for lock in state.glob("*.lock"):
        lock.unlink()
    retitle(session, "Mine still")
    session.autosave()
    found, = opened().unsaved_work()
    assert found.is_in_use
    assert "Mine still" in found.draft["steps"].column("title")


def test_two_sessions_that_take_up_the_same_work_both_have_it(left, opened):
    first, second = opened(), opened()
    (mine,), (yours,) = first.unsaved_work(), second.unsaved_work()
    first.restore(mine)
    second.restore(yours)  # as it was read; its file is gone by now
    for session in (first, second):
        assert "Left" in titles(session)
        assert session.journal.path.exists()
    assert [each.is_in_use for each in opened().unsaved_work()] == [True, True]


@pytest.mark.parametrize("damage", [
    lambda _text: "[" * 200_000,  # nested too deeply to be read
    lambda text: text.replace("+00:00", ""),  # a time without its zone
], ids=["deep", "no zone"])
def test_a_damaged_journal_hides_no_other(left, opened, damage):
    left.with_name(left.name.replace(".json", "0.json")).write_text(damage(left.read_text()))
    found, = opened().unsaved_work()
    assert found.path == left


def test_a_session_that_takes_its_lock_while_another_looks_has_it(left, opened, monkeypatch):
    """At the very moment at which the one that looks lets go of it."""
    taken = []

    class Looked(FileLock):
        def release(self, force=False):
            super().release(force)
            if not taken:
                taken.append(FileLock(f"{left}.lock", timeout=0))
                taken[0].acquire()

    with monkeypatch.context() as patched:
        patched.setattr(journal, "_lock_of", lambda path: Looked(f"{path}.lock", timeout=0))
        opened().unsaved_work()
    found, = opened().unsaved_work()
    assert found.is_in_use
    taken[0].release()


def test_sessions_that_open_and_restore_at_once_lose_nothing(opened, folder):
    for number in range(4):
        dead = opened()
        retitle(dead, f"Left {number}")
        dead.autosave()
        dead.close()
        both, start = [opened(), opened()], Barrier(2)

        def take_up(session, start=start):
            start.wait()
            for found in session.unsaved_work():
                session.restore(found)
            return f"Left {number}" in titles(session)  # noqa: B023 - done within the round

        with ThreadPoolExecutor(2) as threads:
            assert any(threads.map(take_up, both))
        kept = [each.draft["steps"].column("title") for each in opened().unsaved_work()]
        assert any(f"Left {number}" in each for each in kept)
        for session in both:
            session.close()
        last = opened()
        for found in last.unsaved_work():
            delete_left(found.path)


def test_restored_work_that_was_undone_is_still_there_after_a_kill(left, opened):
    session = opened()
    session.restore(session.unsaved_work()[0])
    session.undo()
    session.autosave()
    found, = opened().unsaved_work()
    assert "Left" in found.draft["steps"].column("title")
    session.redo()
    session.save()
    session.autosave()
    assert opened().unsaved_work() == []


def test_restored_versions_never_stand_in_for_others_of_the_same_name(opened):
    dead, session = opened(), opened()
    for each, text in ((dead, "Theirs"), (session, "Mine")):
        retitle(each, text)
        each.keep_version("half")
    dead.autosave()
    dead.close()
    session.restore(session.unsaved_work()[0])
    assert list(session.versions) == ["as loaded", "half", "half 2"]
    assert "Mine" in session.versions["half"]["steps"].column("title")
    assert "Theirs" in session.versions["half 2"]["steps"].column("title")


def test_work_stays_where_it_was_left_as_long_as_it_cannot_be_written_anew(left, opened, monkeypatch):
    session = opened()
    found, = session.unsaved_work()

    def full(*_paths):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("planning_kit.explore.session.journal.os.replace", full)
    session.restore(found)
    assert "Left" in titles(session)
    assert left.exists()
    assert session.journal.trouble == "No space left on device"
    monkeypatch.undo()


def test_without_a_place_for_locks_all_is_in_use_and_nothing_is_deleted(left, opened, monkeypatch):
    session = opened()

    def refuse(_folder):
        raise pk.ScenarioError.single("no lock")

    monkeypatch.setattr("planning_kit.explore.session.journal.locked", refuse)
    found, = session.unsaved_work()
    assert found.is_in_use
    with pytest.raises(pk.ScenarioError):
        delete_left(found.path)
    assert left.exists()


DYING = """
import os, signal, sys
from pathlib import Path
import planning_kit as pk
from planning_kit.explore.session.session import Session

folder = Path(sys.argv[1])
def opened():
    return Session(pk.load_scenario(folder))
def texts():
    return [found for found in opened().unsaved_work() if 'Left' in found.draft['steps'].column('title')]
def forked(do):
    child = os.fork()
    if not child:
        do()
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
def leave():
    session = opened()
    line = session.draft['steps'].find('step', 'B2')
    session.type_cells('steps', {(line, 'title'): 'Left'})
    session.autosave()
    os.kill(os.getpid(), signal.SIGKILL)
def take_up(most):
    session = opened()
    found = session.unsaved_work()[0]
    count = 0
    def die(event, _arguments):
        nonlocal count
        if event in ('open', 'os.rename', 'os.remove'):
            count += 1
            if count > most:
                os.kill(os.getpid(), signal.SIGKILL)
    sys.addaudithook(die)
    session.restore(found)
"""


def run(program, folder):
    command = [sys.executable, "-c", program, str(folder)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


@needs_fork
def test_whenever_a_session_is_killed_while_it_takes_up_work_that_work_is_on_the_disk(folder):
    program = DYING + """
assert forked(leave) == -signal.SIGKILL
for most in range(100):
    code = forked(lambda: take_up(most))
    found = texts()
    assert found and not any(each.is_in_use for each in found), (most, code, found)
    if not code:
        break
    for more in found[1:]:
        more.path.unlink()
assert most >= 4, most
print('restored after', most)
"""
    done = run(program, folder)
    assert done.stdout.startswith("restored after"), done.stderr


@needs_fork
def test_what_dead_sessions_leave_beside_their_journals_is_swept_up(folder, state):
    program = DYING + """
def write_half():
    os.replace = lambda *_paths: os.kill(os.getpid(), signal.SIGKILL)
    leave()
assert forked(write_half) == -signal.SIGKILL
state = Path(os.environ['PLANNING_KIT_STATE'])
assert {path.suffix for path in state.iterdir()} == {'.lock', '.part'}
assert forked(leave) == -signal.SIGKILL
assert texts()
print(*sorted(path.suffix for path in state.glob('*-*')))
"""
    done = run(program, folder)
    assert done.stdout == ".json\n", done.stderr


def test_work_left_by_a_version_of_format_1_keeps_its_settings(opened):
    dead = opened()
    type_setting(dead, "pet_zero_utc", "2031-09-03T07:45:00Z")
    dead.autosave()
    dead.close()
    path = dead.journal.path
    path.write_bytes(path.read_bytes().replace(b'"pet_zero_utc"', b'"egress"'))
    session = opened()
    session.restore(session.unsaved_work()[0])
    settings = session.draft["settings"]
    assert settings.text(line_of(session, "settings", "pet_zero_utc"), "value") == "2031-09-03T07:45:00Z"
