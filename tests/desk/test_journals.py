"""What is typed is on the disk before the page is answered, or the page is told that it is not."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.explore.session.session import Session
from tests.desk.conftest import Talk

ROOT = Path(__file__).parents[2]
KILLED = """
import asyncio, os, signal, sys
import planning_kit as pk
import planning_kit.desk.workbench
from planning_kit.explore.session.session import Session

folder, kills = sys.argv[1], 12

async def edit(text):  # in a loop, as in a kernel
    bench = pk.workbench(pk.load_scenario(folder))
    def send(content, buffers=None):
        if content['kind'] == 'done':
            os.kill(os.getpid(), signal.SIGKILL)
    bench.send = send
    line = bench._session.draft['steps'].find('step', 'B2')
    edit = {'kind': 'cells', 'sheet': 'steps', 'cells': [[line, 'title', text]], 'n': 1}
    bench._handle_custom_msg(edit, [])

for number in range(kills):
    child = os.fork()
    if not child:
        asyncio.run(edit(f'typed {number}'))
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
left = Session(pk.load_scenario(folder)).unsaved_work()
print(sum(any(f'typed {number}' in each.draft['steps'].column('title') for each in left)
          for number in range(kills)), 'of', kills)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="forks, and kills")
def test_an_edit_that_is_answered_survives_a_kill_at_once(talk):
    folder = str(talk.session.base.folder)
    command = [sys.executable, "-c", KILLED, folder]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stdout == "12 of 12\n", done.stderr


def test_work_that_cannot_be_kept_on_disk_is_told_and_stands(talk, tmp_path, monkeypatch):
    (tmp_path / "file").touch()
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "file" / "state"))
    for text in ("One", "Two"):
        said = talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", text]])
        assert "unsaved work cannot be kept on disk: Not a directory" in said["said"]["text"]
        assert (said["patch"]["unsaved"], said["patch"]["is_kept"]) == (True, False)
    assert "Two" in talk.session.draft["steps"].column("title")
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "state"))
    assert talk.ask("undo")["patch"]["is_kept"]
    kept, = Session(talk.session.base).unsaved_work()
    assert "One" in kept.draft["steps"].column("title")


def test_a_second_workbench_is_offered_a_copy_and_the_first_loses_nothing(talk):
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Mine"]])
    other = Talk(pk.load_scenario(talk.session.base.folder))
    offer, = other.ask("hello")["left"]["offers"]
    assert offer["in_use"]
    said = other.ask("discard", path=offer["path"])
    assert "in use by another session" in said["said"]["text"]
    assert said["left"]["offers"] == [offer]
    assert other.ask("restore", path=offer["path"])["said"]["text"].startswith("copied what was typed")
    assert "Mine" in other.session.draft["steps"].column("title")
    assert talk.session.journal.path.exists()

    # A closed workbench leaves its work to the next.
    talk.session.close()
    offer, = other.ask("hello")["left"]["offers"]
    assert not offer["in_use"]
    assert other.ask("discard", path=offer["path"])["left"]["offers"] == []
    assert "not here any more" in other.ask("restore", path=offer["path"])["said"]["text"]
    json.dumps(other.said)
