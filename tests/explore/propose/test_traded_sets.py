"""Sets of traded tasks, and what a search learns of what the end waits for."""

import random
from itertools import pairwise

import numpy as np
import pytest

from planning_kit.explore.propose.local_search import Neighbours
from planning_kit.explore.propose.order_problem import Freedom, Problem
from planning_kit.explore.propose.stages import build_problem
from planning_kit.explore.propose.traded_sets import TradedSets
from planning_kit.inputs.records import BOTH
from tests.explore.propose.test_made_outings import as_rows, good_order


def problem_of(name: str) -> Problem:
    """An outing with its PET 0 as it is."""
    scenario = as_rows(name).scenario
    pet_zero = scenario.settings.pet_zero_utc
    return build_problem(scenario.records, scenario.elements, Freedom(
        earliest=pet_zero, latest=pet_zero, limit_min=as_rows(name).hard_min))


@pytest.mark.parametrize("name", ["dunlin", "larch", "whimbrel"])
def test_the_sets_of_little_work_come_first_and_the_hands_is_one(name: str) -> None:
    problem = problem_of(name)
    sets = TradedSets(problem)
    by_hand = good_order(as_rows(name).scenario, name).swapped
    drawn, draws = [], random.Random(2)
    for _ in range(200):
        drawn.append(sets.draw(draws, drawn))
    assert len({*drawn}) == 200
    assert all(each is not None and each <= problem.work.swappable for each in drawn)
    # Of the work alone, by hand: what one keeps of a set is what the other does not.
    steps, minutes = problem.work.steps, problem.work.minutes

    def busy_min(traded: frozenset[str]) -> float:
        own = {"EV1": 0.0, "EV2": 0.0}
        for step, length in zip(steps, minutes, strict=True):
            for who in own:
                keeps = step.crew == BOTH or (step.crew == who) != (step.task in traded)
                own[who] += length * (keeps and step.crew in ("EV1", "EV2", BOTH))
        return max(own.values())

    some = [busy_min(each) for each in drawn if each is not None]
    assert np.mean(some[:50]) < np.mean(some[-50:])
    assert busy_min(by_hand) < np.quantile(some, 0.9)
    assert sets.least_min.min() >= min(some) - 60


def test_a_task_left_out_is_in_no_set_and_when_all_are_tried_there_is_none() -> None:
    problem = problem_of("hazel")
    sets, draws = TradedSets(problem, {"CON"}), random.Random(1)
    tried = [sets.draw(draws, ())]
    while (more := sets.draw(draws, tried)) is not None:
        tried.append(more)
    assert len(tried) == 2 ** len(problem.work.swappable - {"CON"})
    assert not any("CON" in each for each in tried if each)


@pytest.mark.parametrize("name", ["dunlin", "rowan", "godwit"])
def test_a_minute_more_of_what_holds_the_end_is_a_minute_more_of_it(name: str) -> None:
    problem = problem_of(name)
    around, timing = Neighbours(problem), Neighbours(problem).timing
    index = problem.work.index
    orders = {who: tuple(index[step.step] for step in problem.work.steps if who in step.people)
              for who in problem.work.records.lane_names}
    here = around.timed(orders, frozenset(), 0.0)
    assert here is not None
    held, chain = timing.what_holds(here.orders, here.starts)
    assert {*held} <= {*chain}
    # A longer step of a chain moves the end by as much, by more where a window is lost.
    for step in chain[:6]:
        longer = list(problem.work.minutes)
        longer[step] += 1.0
        slower = type(timing)(timing.records, timing.almanac, timing.travels, longer, timing.more)
        timed = slower.sums(here.orders)
        assert timed is None or timed[1].end_min >= here.cost[0] + 1.0 - 1e-6


def test_steps_that_begin_later_than_they_should_are_counted() -> None:
    problem = problem_of("rowan")
    timing = Neighbours(problem).timing
    index = problem.work.index
    orders = {who: tuple(index[step.step] for step in problem.work.steps if who in step.people)
              for who in problem.work.records.lane_names}
    starts, sums = timing.sums(orders) or pytest.fail("no times")
    assert sums.late == 0
    some = [step for lane in orders.values() for step, _ in pairwise(lane)][:4]
    timing.ask_by({step: starts[step] - 0.5 for step in some} | {orders["EV1"][-1]: 1e6})
    again, sums = timing.sums(orders) or pytest.fail("no times")
    assert again == starts
    assert sums.late == len({*some})
