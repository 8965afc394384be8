"""Watches on a scenario in a folder of its own, with a wall clock that the test turns."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.explore.watch.logbook import Entry, Logbook
from planning_kit.explore.watch.now import Clock
from planning_kit.explore.watch.watch import Watch
from planning_kit.plan.timed import TimedPlan

SCENARIOS = Path(__file__).parents[3] / "scenarios"


class Wall:
    """A wall clock: ``at`` minutes of PET of the small outing."""

    def __init__(self, pet_zero: datetime) -> None:
        self.pet_zero, self.moment = pet_zero, pet_zero

    def at(self, minutes: float) -> None:
        self.moment = self.pet_zero + timedelta(minutes=minutes)

    def __call__(self) -> datetime:
        return self.moment


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SCENARIOS / "small-outing", tmp_path / "outing"))


@pytest.fixture
def plan(folder: Path) -> pk.Plan:
    return pk.time_plan(pk.load_scenario(folder))


@pytest.fixture
def wall(plan: pk.Plan) -> Wall:
    return Wall(plan.pet_zero)


@pytest.fixture
def watch(plan: pk.Plan, wall: Wall, folder: Path) -> Watch:
    return Watch(plan.timed, Logbook.beside(folder), Clock.wall(wall()), wall)


def called(watch: Watch, lane: str, event: str, step: str, at: str = "", **more: str) -> str:
    """Log an event that must be taken."""
    done = watch.enter(Entry(lane, event, step, at, **more))
    assert done, watch.refused
    return done


def start_of(plan: TimedPlan, step: str) -> float:
    return float(plan.starts[plan.position(step)])


def far_off() -> datetime:
    """A wall clock of another year than any scenario here."""
    return datetime(2026, 1, 1, tzinfo=UTC)
