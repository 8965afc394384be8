"""Rows that no timing can place: the search mends them first, whatever they are."""

from __future__ import annotations

import random

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import as_written
from planning_kit.explore.propose.local_search import Neighbours
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.random_moves import RandomMoves
from planning_kit.explore.propose.stages import build_problem
from planning_kit.judge.all_checks import findings_of
from tests.conftest import TESTS
from tests.explore.propose.test_made_outings import scenario_of


def mixed_up(scenario: pk.Scenario, seed: int) -> pk.Scenario:
    """The tasks between the first and the last in any order, each as a whole: a list of objectives."""
    steps, draws = scenario.steps, random.Random(seed)
    tasks = [*dict.fromkeys(steps["task"])]
    first, last = steps["task"].iloc[0], steps["task"].iloc[-1]
    between = [task for task in tasks if task not in (first, last)]
    draws.shuffle(between)
    rank = {task: number for number, task in enumerate((first, *between, last))}
    return scenario.with_table("steps", steps.sort_values("task", key=lambda names: names.map(rank),
                                                          kind="stable"))


@pytest.mark.parametrize("name", ["heron", "alder", "larch"])  # larch breaks clocks and overloads hands
def test_a_list_of_tasks_becomes_a_plan_without_a_stop(name: str) -> None:
    written = pk.time_plan(scenario_of(name))
    found = pk.find_plan(mixed_up(scenario_of(name), seed=3), effort=1.0, seconds=300, progress=None)
    best = found.best
    assert best is not None
    assert not best.dropped
    assert not best.plan.timed.network.given_way
    assert "stop" not in set(findings_of(best.plan.timed)["severity"])
    # The rows as a person first wrote them are no better.
    assert best.end_min < written.end_min + 0.05


def test_where_no_order_holds_the_answer_says_what_the_nearest_one_breaks() -> None:
    scenario = mixed_up(pk.load_scenario(TESTS / "data" / "curlew-deck"), seed=3)
    found = pk.find_plan(scenario, effort=0.1, seconds=300, progress=None)
    assert not found
    said, first = found.verdict.split("; stops in the order that came nearest: ")
    assert said.startswith("no order found that breaks less: rules give way by ")
    count, words = first.split(", the first: ")
    assert int(count) <= sum(pk.time_plan(scenario).findings["severity"] == "stop")
    assert ": say whether it can be done, or do the work elsewhere" in words  # what would help


def test_what_may_be_broken_counts_most_and_what_keeps_all_counts_nothing() -> None:
    scenario = scenario_of("plover")
    problem = build_problem(scenario.records, scenario.elements, Freedom(
        earliest=scenario.settings.pet_zero_utc, latest=scenario.settings.pet_zero_utc, limit_min=600.0))
    rows = as_written(scenario.records, scenario.settings.pet_zero_utc)
    strict, lenient = Neighbours(problem), Neighbours(problem, misses=True)
    good = strict.of(rows)
    assert good is not None
    assert strict.kept(good) is good
    assert lenient.kept(good) == good
    moves = RandomMoves(problem.work, problem.before, random.Random(1))
    drawn = filter(None, (moves.draw(good.orders, good.starts) for _ in range(2_000)))
    tried = (strict.timed(orders, traded, good.pet_zero_min) for orders, traded in drawn)
    bad = next(each for each in tried if each is not None and strict.broken(each) is not None)
    assert strict.kept(bad) is None
    kept = lenient.kept(bad)
    assert kept is not None
    assert kept.broken >= 1
    assert kept.cost[0] > bad.cost[0] + 50
    assert lenient.kept(bad, 15.0, bad.guide + 14.0) is None
