"""Made outings of 40 to 90 steps of different kinds, each with a good order worked out by hand.

Each folder ``tests/data/orders-...`` is a scenario whose rows are a planner's first draft: they hold, but
walk to and fro and wait. Its ``good-order.csv`` has a row a lane: the step ids in the better order, and the
tasks that this one took over from the other. No search had a part in it. What is pinned here is a fact of
the data, so that a search can be measured against a person.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import Choice, as_written, rebuild
from planning_kit.explore.propose.order_search import Judge
from planning_kit.judge.all_checks import new_stops
from planning_kit.judge.findings import findings_table
from planning_kit.plan.timed import TimedPlan

DATA = Path(__file__).parents[2] / "data"
LEAST_GAIN = 0.08


@dataclass(frozen=True)
class Made:
    """A made outing: its folder, its size, whether its routes have a loop, and both outing ends (PET min)."""

    name: str
    steps: int
    places: int
    has_loop: bool
    rows_end_min: float
    hand_end_min: float


MADE = (
    Made("heron", 49, 18, True, 348.7, 275.2),
    Made("plover", 42, 15, False, 302.1, 197.7),
    Made("dunlin", 60, 16, True, 317.5, 285.5),
    Made("godwit", 75, 18, False, 477.3, 321.4),
    Made("whimbrel", 88, 19, False, 413.4, 287.0),
)


def scenario_of(name: str) -> pk.Scenario:
    """The made outing of that name, as its rows stand."""
    return pk.load_scenario(DATA / f"orders-{name}")


def good_order(scenario: pk.Scenario, name: str) -> Choice:
    """The order that a person worked out for it."""
    with (DATA / f"orders-{name}" / "good-order.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    written = as_written(scenario.records, scenario.settings.pet_zero_utc)
    return Choice({**written.lanes, **{row["lane"]: tuple(row["steps"].split()) for row in rows}},
                  frozenset(task for row in rows for task in row["traded"].split()), frozenset(),
                  written.pet_zero)


@dataclass(frozen=True)
class Played:
    """A made outing with the plans of its rows and of the order worked out by hand."""

    made: Made
    scenario: pk.Scenario
    rows: TimedPlan
    choice: Choice
    hand: TimedPlan


@pytest.fixture(scope="module", params=MADE, ids=lambda made: made.name)
def played(request: pytest.FixtureRequest) -> Played:
    scenario = scenario_of(request.param.name)
    choice = good_order(scenario, request.param.name)
    return Played(request.param, scenario, TimedPlan.of(scenario), choice,
                  rebuild(None, scenario, scenario.records, choice).plan)


def test_it_is_of_the_size_and_kind_that_it_is_said_to_be(played: Played) -> None:
    made, records = played.made, played.scenario.records
    assert 40 <= len(records.steps) <= 90
    assert (len(records.steps), len(records.places)) == (made.steps, made.places)
    # Every place can be reached, so that routes form a tree just where they are one fewer than the places.
    assert (len(records.routes) >= len(records.places)) == made.has_loop


def test_its_rows_hold_and_end_when_they_do(played: Played) -> None:
    assert not new_stops(findings_table(()), played.rows)
    assert not played.rows.network.given_way
    assert played.rows.end_min == pytest.approx(played.made.rows_end_min, abs=0.05)


def test_the_order_by_hand_holds_and_ends_when_it_does(played: Played) -> None:
    judge = Judge(scenario=played.scenario, records=played.scenario.records, current=played.rows,
                  limit_min=played.rows.hard_limit.minutes)
    assert judge.holds(played.hand)
    assert not played.hand.network.given_way
    assert played.hand.end_min == pytest.approx(played.made.hand_end_min, abs=0.05)
    assert played.hand.end_min <= (1 - LEAST_GAIN) * played.rows.end_min


def test_the_order_by_hand_is_one_that_a_search_may_offer(played: Played) -> None:
    """Nothing is left out or added, and steps of one task and crew member keep their row order."""
    records, lanes = played.scenario.records, played.choice.lanes
    row = {step.step: number for number, step in enumerate(records.steps)}
    task = {step.step: step.task for step in records.steps}
    assert {step for lane in lanes.values() for step in lane} == set(row)
    swappable = {each.task for each in records.tasks if each.swappable}
    assert played.choice.swapped <= swappable
    for lane in lanes.values():
        assert len(set(lane)) == len(lane)
        of_task = [(task[step], row[step]) for step in lane]
        for name in {name for name, _ in of_task}:
            numbers = [number for each, number in of_task if each == name]
            assert numbers == sorted(numbers), name
