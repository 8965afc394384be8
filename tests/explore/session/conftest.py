"""Sessions on scenarios in folders of their own, and journals in a folder that the test owns."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.explore.session.session import Session

SCENARIOS = Path(__file__).parents[3] / "scenarios"


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "state"
    monkeypatch.setenv("PLANNING_KIT_STATE", str(folder))
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SCENARIOS / "small-outing", tmp_path / "outing"))


@pytest.fixture
def session(folder: Path) -> Session:
    return Session(pk.load_scenario(folder))


@pytest.fixture
def opened(folder: Path) -> Callable[[], Session]:
    return lambda: Session(pk.load_scenario(folder))


def retitle(session: Session, text: str, step: str = "B2") -> None:
    session.type_cells("steps", {(line_of(session, "steps", step), "title"): text})


def titles(session: Session) -> list[str]:
    return session.draft["steps"].column("title")


def line_of(session: Session, sheet: str, key: str) -> int:
    """The id of the line whose first column says ``key``."""
    line = session.draft[sheet].find(session.draft[sheet].columns[0], key)
    assert line is not None, key
    return line


def add_a_step_behind_the_night(session: Session, title: str = "Wipe the mast") -> None:
    """A required step X1 of EV1 behind B3, which waits for the night: before it, it costs nothing."""
    task, step = session.add_line("tasks"), session.add_line("steps", line_of(session, "steps", "B3"))
    cells = {"task": "XTR", "title": title, "need": "required", "priority": "1"}
    session.type_cells("tasks", {(task, column): text for column, text in cells.items()})
    cells = {"step": "X1", "task": "XTR", "crew": "EV1", "place": "MST", "title": title,
             "minutes_low": "10", "minutes_likely": "12", "minutes_high": "14"}
    session.type_cells("steps", {(step, column): text for column, text in cells.items()})
    assert session.faults == ()
