"""Better orders of the demo, and searches that are stopped."""

from __future__ import annotations

from itertools import pairwise

import pytest

import planning_kit as pk
from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.proposals import Proposals
from tests.explore.propose.loose import stops


@pytest.fixture(scope="module")
def found(demo: pk.Scenario) -> Proposals:
    pet_zero = demo.settings.pet_zero_utc
    return pk.time_plan(demo).propose(effort=1.0, seconds=300, pet_zero_window=(pet_zero, pet_zero),
                                      order="runs")


def test_a_proposal_for_the_demo_holds_and_is_better(found: Proposals, demo_plan: pk.Plan) -> None:
    assert found.is_repeatable
    best = found.best
    assert best is not None
    assert best.end_min < demo_plan.end_min
    assert not best.dropped
    assert pk.time_plan(best.scenario).end_min == best.end_min
    assert not stops(best.plan) - stops(demo_plan)
    assert best.bound_min <= best.end_min + 1e-6
    assert f"{best.end_min - best.bound_min:.1f} min from best" in best.verdict


def test_steps_of_one_task_and_crew_member_keep_their_row_order(found: Proposals, demo: pk.Scenario) -> None:
    assert found.best is not None
    row = {step.step: number for number, step in enumerate(demo.records.steps)}
    last: dict[tuple[str, str], int] = {}
    for step in found.best.scenario.records.steps:
        for crew in ("EV1", "EV2") if step.crew == "both" else (step.crew,):
            assert row[step.step] > last.get((crew, step.task), -1), step.step
            last[crew, step.task] = row[step.step]


def test_a_search_that_is_cancelled_says_so(demo: pk.Scenario) -> None:
    asked = []

    def cancel() -> bool:
        asked.append(True)
        return len(asked) > 1

    found = pk.time_plan(demo).propose(effort=50.0, seconds=300, cancel=cancel)
    assert not found.is_repeatable
    assert "cancelled" in found.verdict


def test_a_search_that_the_clock_stops_says_so(demo: pk.Scenario) -> None:
    found = pk.time_plan(demo).propose(effort=50.0, seconds=1.5)
    assert not found.is_repeatable
    assert "clock" in found.verdict


def test_a_search_reports_its_progress(small: pk.Scenario) -> None:
    told: list[Progress] = []
    pk.time_plan(small).propose(effort=1.0, seconds=300, progress=told.append)
    assert told
    assert all(one.elapsed_s <= other.elapsed_s for one, other in pairwise(told))
