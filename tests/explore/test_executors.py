"""Sweeps and searches on threads, processes and a cluster: the same answers as without."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.long_question import Progress
from tests.conftest import TESTS
from tests.explore.propose.loose import loose

SPAN = ("2031-09-03T07:00:00Z", "2031-09-03T08:30:00Z", 10)


@pytest.fixture(params=["threads", "processes", "a cluster"])
def executor(request: pytest.FixtureRequest) -> Iterator[Executor]:
    if request.param == "threads":
        with ThreadPoolExecutor(3) as pool:
            yield pool
    elif request.param == "processes":
        with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
            yield pool
    else:
        distributed = pytest.importorskip("distributed")
        with (distributed.LocalCluster(n_workers=1, threads_per_worker=2, processes=False,
                                       dashboard_address="127.0.0.1:0") as cluster,
              distributed.Client(cluster) as client):
            yield client.get_executor()


def test_a_sweep_is_the_same_on_any_executor(executor: Executor, small_plan: pk.Plan) -> None:
    for stops in (False, True):
        pd.testing.assert_frame_equal(small_plan.sweep(*SPAN, stops, executor=executor),
                                      small_plan.sweep(*SPAN, stops))


@pytest.fixture(scope="module")
def curlew() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(TESTS / "data" / "curlew-deck"))


@pytest.fixture(scope="module")
def searched(curlew: pk.Plan) -> pk.Proposals[pk.Plan]:
    return curlew.propose(0.3, 300, seeds=3)


def said(found: pk.Proposals[pk.Plan]) -> tuple[object, ...]:
    """What two searches must agree in."""
    return found.verdict, found.is_repeatable, [each.scenario.digest for each in found], found.table.to_csv()


def test_searches_are_the_same_on_any_executor(executor: Executor, curlew: pk.Plan,
                                               searched: pk.Proposals[pk.Plan]) -> None:
    told: list[Progress] = []
    found = curlew.propose(0.3, 300, progress=told.append, seeds=3, executor=executor)
    assert said(found) == said(searched)
    assert [each.words for each in told] == [f"{done} of 3 searches" for done in range(3)]


def test_of_several_searches_the_best_is_given(curlew: pk.Plan, searched: pk.Proposals[pk.Plan]) -> None:
    alone = curlew.propose(0.3, 300)
    assert searched.is_repeatable
    assert min(plan.end_min for plan in (searched.current, *(each.plan for each in searched))) <= min(
        plan.end_min for plan in (alone.current, *(each.plan for each in alone)))


def test_a_portfolio_that_was_stopped_says_how_far_it_went(curlew: pk.Plan) -> None:
    asked: list[Progress] = []
    with ThreadPoolExecutor(1) as pool:
        found = curlew.propose(0.1, 300, progress=asked.append, cancel=lambda: len(asked) >= 2, seeds=3,
                               executor=pool)
    assert not found.is_repeatable
    assert "2 of 3 searches went on to their end" in found.verdict


GOALS = ("end", "odds", "margin")


@pytest.fixture(scope="module")
def loosened(small: pk.Scenario) -> pk.Plan:
    return pk.time_plan(loose(small))


@pytest.fixture(scope="module")
def by_goals(loosened: pk.Plan) -> pk.Proposals[pk.Plan]:
    return loosened.propose(0.1, 300, goal=GOALS, seeds=2)


def test_searches_by_several_goals_are_the_same_on_any_executor(
        executor: Executor, loosened: pk.Plan, by_goals: pk.Proposals[pk.Plan]) -> None:
    told: list[Progress] = []
    found = loosened.propose(0.1, 300, goal=GOALS, seeds=2, progress=told.append, executor=executor)
    assert said(found) == said(by_goals)
    assert [each.best_by for each in found] == [each.best_by for each in by_goals] != []
    assert [each.words for each in told] == [f"{done} of 6 searches" for done in range(6)]


def test_of_each_goal_the_best_of_its_searches_is_told(
        loosened: pk.Plan, by_goals: pk.Proposals[pk.Plan]) -> None:
    alone = [loosened.propose(0.1, 300, goal=goal, seeds=2) for goal in GOALS]
    best = [each.best.scenario.digest for each in alone if each.best]
    assert [each.scenario.digest for each in by_goals] == list(dict.fromkeys(best))
    assert by_goals.verdict == "; ".join(
        f"by {goal}: {one.verdict}" for goal, one in zip(GOALS, alone, strict=True))


def test_goals_that_were_not_reached_are_told(small_plan: pk.Plan) -> None:
    asked: list[Progress] = []
    with ThreadPoolExecutor(1) as pool:
        found = small_plan.propose(0.1, 300, progress=asked.append, cancel=lambda: len(asked) >= 1,
                                   goal=GOALS, executor=pool)
    assert not found.is_repeatable
    assert "; by odds: not searched; by margin: not searched (1 of 3 searches went on" in found.verdict


@pytest.mark.parametrize("seeds", [0, 1.5, "two", None])
def test_how_many_searches_must_make_sense(curlew: pk.Plan, seeds: Any) -> None:
    with pytest.raises(pk.ScenarioError, match="seeds"):
        curlew.propose("quick", seeds=seeds)
