"""What is forbidden for an order that does not hold forbids none that does: against every order there is."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from itertools import permutations, product

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import Choice, as_written
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_search import Judge, OrderSearch
from planning_kit.explore.propose.solving import Budget, hints_for
from planning_kit.explore.propose.stages import build_problem, causes_of
from tests.edits import edited
from tests.explore.propose.outings import outing_of

SEEDS = range(300 if "SLOW_TESTS" in os.environ else 12)


def tethered(seed: int) -> pk.Scenario:
    """Seven steps with hook moves, anchors and tethers drawn so that some orders are out of reach."""
    draw = random.Random(seed)
    scenario = outing_of(7)
    for place in ("MID", "POR"):
        scenario = edited(scenario, "places", place, anchor=draw.choice(["yes", "no"]))
    for crew in ("EV1", "EV2"):
        scenario = edited(scenario, "crew", crew, tether_m=draw.choice([11, 13, 17, 25]))
    for step in scenario.records.steps[1:-1]:
        place = draw.choice(["HAT", "MID", "POR"])
        scenario = edited(scenario, "steps", step.step, place=place, crew=draw.choice(["EV1", "EV2"]),
                          task=draw.choice(["T0", "T1"]), hooks="", light="any")
        if draw.random() < 0.5:
            crew = next(each.crew for each in scenario.records.steps if each.step == step.step)
            scenario = edited(scenario, "steps", step.step, hooks=crew)
    return scenario


def every_order(start: Choice) -> Iterator[Choice]:
    lanes = {who: lane for who, lane in start.lanes.items() if lane}
    for orders in product(*(permutations(lane[1:-1]) for lane in lanes.values())):
        yield Choice({**start.lanes, **{who: (lane[0], *order, lane[-1]) for (who, lane), order in zip(
            lanes.items(), orders, strict=True)}}, frozenset(), frozenset(), start.pet_zero)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_order_that_holds_is_lost_by_what_another_is_blocked_for(seed: int) -> None:
    scenario = tethered(seed)
    plan, pet_zero = pk.time_plan(scenario).timed, scenario.settings.pet_zero_utc
    judge = Judge(scenario=scenario, records=scenario.records, current=plan, limit_min=plan.hard_min)
    problem = build_problem(scenario.records, scenario.elements, Freedom(
        earliest=pet_zero, latest=pet_zero, limit_min=plan.hard_min))
    start = as_written(scenario.records, pet_zero)
    search = OrderSearch(judge=judge, before=start, budget=Budget(1.0, 300.0))
    held, causes = [], []
    for choice in every_order(start):
        hints = hints_for(problem, choice)
        if hints is None:  # against the row order of a task
            continue
        blocks = search.blocks(choice)
        if blocks:
            causes += causes_of(problem, choice, blocks)
        else:
            held.append({id(literal) for literal, value in hints if value})
    assert held
    for cause in causes:
        assert cause
        assert not any({id(literal) for literal in cause} <= known for known in held)
