"""Five made outings with an order worked out by hand: what a search of orders is measured by.

Each folder ``tests/data/orders-NAME`` holds rows that are a plausible first draft, and beside them
``good-order.csv``, which no scenario loads: by lane the step ids in the order that a planner came to by
regrouping whole tasks by place, splitting work between the two, and laying it into nights and windows. The
column ``traded`` names the tasks that came to that lane.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from itertools import chain, pairwise
from pathlib import Path
from typing import NamedTuple

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import Choice, as_written, rebuild
from planning_kit.judge.all_checks import findings_of, new_stops
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
}
LEAST_GAIN = 0.08

of_each = pytest.mark.parametrize("name", MADE)


def folder(name: str) -> Path:
    return TESTS / "data" / f"orders-{name}"


@cache
def as_rows(name: str) -> TimedPlan:
    return TimedPlan.of(pk.load_scenario(folder(name)))


@cache
def by_hand(name: str) -> Choice:
    with (folder(name) / "good-order.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return Choice(lanes={row["lane"]: tuple(row["steps"].split()) for row in rows},
                  swapped=frozenset(task for row in rows for task in row["traded"].split()),
                  dropped=frozenset(), pet_zero=as_rows(name).scenario.settings.pet_zero_utc)


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
    records, choice = as_rows(name).scenario.records, by_hand(name)
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
    plan, choice, made = as_rows(name), by_hand(name), MADE[name]
    better = rebuild(plan, plan.scenario, plan.scenario.records, choice).plan
    for who, lane in as_written(better.scenario.records, choice.pet_zero).lanes.items():
        assert lane == choice.lanes[who]
    assert new_stops(plan, better) == 0
    assert not better.network.given_way
    assert better.end_min == pytest.approx(made.hand_end, abs=0.05)
    assert better.end_min <= (1 - LEAST_GAIN) * plan.end_min
