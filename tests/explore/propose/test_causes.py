"""What is forbidden for an order that does not hold forbids none that does: against every order there is."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from itertools import permutations, product

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import Choice, as_written
from planning_kit.explore.propose.local_search import Neighbours
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_search import Judge, OrderSearch
from planning_kit.explore.propose.solving import Budget, hints_for
from planning_kit.explore.propose.stages import build_problem, cause_in
from tests.edits import edited
from tests.explore.propose.loose import own_tasks
from tests.explore.propose.outings import outing_of

SEEDS = range(300 if "SLOW_TESTS" in os.environ else 8)


def tethered(seed: int) -> pk.Scenario:
    """Seven steps with hook moves, anchors and tethers drawn so that some orders are out of reach."""
    draw = random.Random(seed)
    scenario = outing_of(7)
    for place in ("MID", "POR"):
        scenario = edited(scenario, "places", place, anchor="yes")
    for crew in ("EV1", "EV2"):
        scenario = edited(scenario, "crew", crew, tether_m=draw.choice([12, 14]))
    for step in scenario.records.steps[1:-1]:
        place = draw.choice(["HAT", "MID", "POR"])
        scenario = edited(scenario, "steps", step.step, place=place, crew=draw.choice(["EV1", "EV2"]),
                          hooks="", light="any")
        if draw.random() < 0.6:
            crew = next(each.crew for each in scenario.records.steps if each.step == step.step)
            scenario = edited(scenario, "steps", step.step, hooks=crew)
    scenario = own_tasks(scenario, [step.step for step in scenario.records.steps[1:-1]])
    # Hooked back before going in: else every other order has that stop.
    return edited(scenario, "steps", scenario.records.steps[-1].step, hooks="EV1 EV2")


def every_order(start: Choice) -> Iterator[Choice]:
    lanes = {who: lane for who, lane in start.lanes.items() if lane}
    for orders in product(*(permutations(lane[1:-1]) for lane in lanes.values())):
        yield Choice({**start.lanes, **{who: (lane[0], *order, lane[-1]) for (who, lane), order in zip(
            lanes.items(), orders, strict=True)}}, frozenset(), frozenset(), start.pet_zero)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_order_that_holds_is_lost_by_what_another_is_blocked_for(seed: int) -> None:
    scenario = tethered(seed)
    pet_zero = scenario.settings.pet_zero_utc
    # Without a plan to compare with, so that every stop finding blocks.
    judge = Judge(scenario=scenario, records=scenario.records, current=None, limit_min=500.0)
    problem = build_problem(scenario.records, scenario.elements, Freedom(
        earliest=pet_zero, latest=pet_zero, limit_min=500.0))
    start = as_written(scenario.records, pet_zero)
    search = OrderSearch(judge=judge, before=start, budget=Budget(1.0, 300.0))
    around, held, causes = Neighbours(problem), [], []
    for choice in every_order(start):
        hints = hints_for(problem, choice)
        if hints is None:  # against the row order of a task
            continue
        blocks = search.blocks(choice)
        if blocks:
            causes.append(cause_in(around, choice, blocks))
        else:
            held.append({id(literal) for literal, value in hints if value})
    for cause in causes:
        assert cause
        assert not any({id(literal) for literal in cause} <= known for known in held)
