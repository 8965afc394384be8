"""Scenarios that many tests share; loading and timing them once is enough, since they never change."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import planning_kit as pk

# Problems are drawn alike on every run (a new draw: --hypothesis-seed=random); infeasible ones are drawn
# again, which is what "filter too much" complains of.
settings.register_profile("repeatable", derandomize=True, deadline=None,
                          suppress_health_check=[HealthCheck.filter_too_much])
settings.load_profile("repeatable")

SCENARIOS = Path(__file__).parents[1] / "scenarios"


@pytest.fixture(scope="session", autouse=True)
def _state(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Locks and journals of tests lie in a folder of their own, not in the user's."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLANNING_KIT_STATE", str(tmp_path_factory.mktemp("state")))
        yield


@pytest.fixture(scope="session")
def small() -> pk.Scenario:
    return pk.load_scenario(SCENARIOS / "small-outing")


@pytest.fixture(scope="session")
def small_plan(small: pk.Scenario) -> pk.Plan:
    return pk.time_plan(small)


@pytest.fixture(scope="session")
def demo() -> pk.Scenario:
    return pk.load_scenario(SCENARIOS / "tern-station")


@pytest.fixture(scope="session")
def demo_plan(demo: pk.Scenario) -> pk.Plan:
    return pk.time_plan(demo)
