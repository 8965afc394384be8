"""Made outings of 40 to 90 steps of different kinds, each with a good order worked out by hand.

Each folder ``tests/data/orders-NAME`` is a scenario whose rows are a planner's first draft: they hold, but
walk to and fro and wait. Its ``good-order.csv``, which no scenario loads, has a row a lane: the step ids in
the order that a planner came to by regrouping whole tasks by place, splitting work between the two and laying
it into nights and windows, and the tasks that this lane took over from the other. No search had a part in it.
What is pinned here is a fact of the data, so that a search can be measured against a person.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from itertools import chain, pairwise
from typing import NamedTuple

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import Choice, as_written, rebuild
from planning_kit.explore.propose.local_search import Neighbours
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_search import Judge
from planning_kit.explore.propose.solving import Budget, completed
from planning_kit.explore.propose.stages import begin_problem, build_problem, complete
from planning_kit.explore.propose.timed_rules import lane_arcs
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.findings import STOP
from planning_kit.plan.timed import TimedPlan
from tests.conftest import TESTS


class Made(NamedTuple):
    """What is pinned of an outing: steps, places, independent loops of routes, and two ends (PET minutes)."""

    steps: int
    places: int
    loops: int
    rows_end: float
    hand_end: float


MADE: Mapping[str, Made] = {
    "alder": Made(45, 8, 1, 253.2, 209.3),  # a ring, bags, trades
    "rowan": Made(52, 12, 0, 310.0, 230.5),  # four branches, two clocks, a named window, holds
    "hazel": Made(64, 10, 2, 331.5, 267.2),  # hazards by zone, one foothold for three sockets
    "aspen": Made(70, 10, 0, 449.8, 325.5),  # 90 m of beam, work for both, relays
    "larch": Made(84, 13, 1, 367.9, 281.4),  # a range of PET 0, last starts, get-aheads
    "heron": Made(49, 18, 2, 348.7, 275.2),  # a night exchange, a clock, three inhibits, an operator
    "plover": Made(42, 15, 0, 302.1, 197.7),
    "dunlin": Made(60, 16, 2, 317.5, 285.5),  # two clocks that go together in one lane
    "godwit": Made(75, 18, 0, 477.3, 321.4),
    "whimbrel": Made(88, 19, 0, 413.4, 287.0),
}
LEAST_GAIN = 0.08
SHARE = 0.7
"""Of what the hand won, what a search must win at an effort of a few seconds."""

of_each = pytest.mark.parametrize("name", MADE)


def scenario_of(name: str) -> pk.Scenario:
    """The made outing of that name, as its rows stand."""
    return pk.load_scenario(TESTS / "data" / f"orders-{name}")


@cache
def as_rows(name: str) -> TimedPlan:
    return TimedPlan.of(scenario_of(name))


def good_order(scenario: pk.Scenario, name: str) -> Choice:
    """The order that a person worked out for it."""
    with (TESTS / "data" / f"orders-{name}" / "good-order.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    written = as_written(scenario.records, scenario.settings.pet_zero_utc)
    return Choice({**written.lanes, **{row["lane"]: tuple(row["steps"].split()) for row in rows}},
                  frozenset(task for row in rows for task in row["traded"].split()), frozenset(),
                  written.pet_zero)


@of_each
def test_the_rows_are_a_plan_without_a_stop(name: str) -> None:
    plan, made = as_rows(name), MADE[name]
    records = plan.scenario.records
    assert (len(records.steps), len(records.places)) == (made.steps, made.places)
    assert 40 <= len(records.steps) <= 90
    # All places hang together, so that each route beyond a tree of them closes one loop.
    assert len(records.routes) - len(records.places) + 1 == made.loops
    assert STOP not in set(findings_of(plan)["severity"])
    assert not plan.network.given_way
    assert plan.end_min == pytest.approx(made.rows_end, abs=0.05)


@of_each
def test_the_order_by_hand_is_one_that_a_search_may_choose(name: str) -> None:
    records = as_rows(name).scenario.records
    choice = good_order(as_rows(name).scenario, name)
    written = as_written(records, choice.pet_zero).lanes
    assert sorted(chain(*choice.lanes.values())) == sorted(chain(*written.values()))
    assert choice.swapped <= {task.task for task in records.tasks if task.swappable}
    row = {step.step: (step.task, number) for number, step in enumerate(records.steps)}
    for lane in choice.lanes.values():
        # Steps of one task and one crew member keep their row order: sorted by task alone, the rows rise.
        by_task = sorted((row[step] for step in lane), key=lambda at: at[0])
        assert all(first < then for first, then in pairwise(by_task))


@of_each
def test_the_order_by_hand_holds_and_ends_when_it_is_said_to(name: str) -> None:
    plan, made = as_rows(name), MADE[name]
    choice = good_order(plan.scenario, name)
    better = rebuild(plan, plan.scenario, plan.scenario.records, choice).plan
    for who, lane in as_written(better.scenario.records, choice.pet_zero).lanes.items():
        assert lane == choice.lanes[who]
    judge = Judge(scenario=plan.scenario, records=plan.scenario.records, current=plan,
                  limit_min=plan.hard_limit.minutes)
    assert judge.holds(better)
    assert not better.network.given_way
    assert better.end_min == pytest.approx(made.hand_end, abs=0.05)
    assert better.end_min <= (1 - LEAST_GAIN) * plan.end_min


@of_each
def test_neither_model_nor_screen_forbids_the_order_by_hand(name: str) -> None:
    scenario, choice = as_rows(name).scenario, good_order(as_rows(name).scenario, name)
    problem = build_problem(scenario.records, scenario.elements, Freedom(
        earliest=choice.pet_zero, latest=choice.pet_zero, limit_min=as_rows(name).hard_min))
    problem.model.cp.minimize(problem.end - problem.pet_zero)
    around = Neighbours(problem)
    timed, answer = around.of(choice), completed(problem, choice, Budget(1.0, 300.0))
    assert answer is not None
    assert timed is not None
    assert around.broken(timed) is None
    assert timed.cost[0] == pytest.approx(MADE[name].hand_end, abs=0.05)


@of_each
def test_the_local_search_knows_from_the_start_all_that_the_model_tells_it_later(name: str) -> None:
    scenario = scenario_of(name)
    pet_zero = scenario.settings.pet_zero_utc
    begun = begin_problem(scenario.records, scenario.elements, Freedom(
        earliest=pet_zero, latest=pet_zero, limit_min=as_rows(name).hard_min))
    bounds, before = [*begun.more_bounds], [{*near} for near in begun.before]
    bound = {step for each in bounds for step in (each.before, each.after)}
    for inhibit in scenario.records.inhibits:  # what needs one is timed inside it
        if inhibit.needed_by:
            assert {begun.work.index[inhibit.from_step], begun.work.index[inhibit.until_step]} <= bound
    complete(begun)
    assert begun.more_bounds == bounds
    assert begun.before == before
    for who, lane in begun.lanes.items():
        assert lane_arcs(begun, who) == [*lane.arcs]


@pytest.mark.parametrize("name", ["alder", "aspen", "godwit", "plover"])
def test_a_search_of_little_effort_wins_most_of_what_the_hand_won(name: str) -> None:
    plan, made = pk.time_plan(scenario_of(name)), MADE[name]
    pet_zero = (plan.timed.pet_zero,) * 2
    found = plan.propose(0.7, 3_000, pet_zero)
    assert found.is_repeatable
    assert found.best is not None
    assert plan.end_min - found.best.end_min >= SHARE * (made.rows_end - made.hand_end)
