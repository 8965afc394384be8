"""A planner's promises as a notebook: run under nbval, an edit that breaks one fails and says which."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import planning_kit as pk
from tests.edits import edited

ROOT = Path(__file__).resolve().parents[2]
TEMPLATE = "10_regression_template.ipynb"
COLOURS = re.compile(r"\x1b\[[0-9;]*m")


def run(tmp_path: Path, scenario: pk.Scenario) -> tuple[int, str]:
    """The template, copied beside ``scenario``, as a test run: exit code and what it printed."""
    (tmp_path / "notebooks").mkdir()
    (tmp_path / "scenarios").mkdir()
    shutil.copy(ROOT / "notebooks" / TEMPLATE, tmp_path / "notebooks")
    scenario.save(tmp_path / "scenarios" / "tern-station")
    command = [sys.executable, "-m", "pytest", "--nbval", "-p", "no:cacheprovider", "-q", TEMPLATE]
    done = subprocess.run(command, cwd=tmp_path / "notebooks", capture_output=True, text=True, check=False,
                          env=os.environ | {"PYTHONPATH": str(ROOT)})
    return done.returncode, COLOURS.sub("", done.stdout)


def failed_cells(printed: str) -> int:
    found = re.search(r"(\d+) failed", printed)
    return int(found[1]) if found else 0


def test_a_harmless_edit_passes(demo: pk.Scenario, tmp_path: Path) -> None:
    code, printed = run(tmp_path, edited(demo, "tasks", "SUR", objective="Find the leak"))
    assert code == 0, printed


@pytest.mark.parametrize(("edit", "says"), [
    # CL2 is the last step of both: 6 min more are 6 min less of the 14.1 that notebook 02 finds
    (("steps", "CL2", {"minutes_likely": 26, "minutes_high": 33}),
     "AssertionError: only 8.1 min to the planned limit are left, 10 were promised"),
    (("hardware", "camera", {"end_at": "HUB"}), "camera ends inside, not HUB"),
])
def test_an_edit_that_breaks_a_promise_fails_readably(demo: pk.Scenario, tmp_path: Path,
                                                      edit: tuple[str, str, dict[str, object]],
                                                      says: str) -> None:
    table, key, cells = edit
    code, printed = run(tmp_path, edited(demo, table, key, **cells))
    assert code == 1
    assert says in printed
    assert 1 <= failed_cells(printed) < 4, "the broken promise and what hangs on it, not the whole notebook"


def test_a_table_that_changed_is_shown_as_it_was_and_as_it_is(demo: pk.Scenario, tmp_path: Path) -> None:
    code, printed = run(tmp_path, edited(demo, "inhibits", "I-TX", lead_min=8))
    assert code == 1
    assert failed_cells(printed) == 1
    assert "3:57" in printed  # the owner was told 3:57: 3 min before AN1
    assert "3:52" in printed  # 8 min before it
