"""The timing of many orders against the timing of each as a scenario of its own."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.plan import order_kernel
from planning_kit.plan.build import build_network, work_order
from planning_kit.plan.order_timing import OrderTiming
from planning_kit.plan.timing import earliest_starts, outing_end

ORDERS = 60


def orders_of(plan: pk.Plan, steps: tuple[object, ...]) -> dict[str, list[int]]:
    """Everyone's order by the positions of the plan's own rows, as these rows have it."""
    position = {step.step: number for number, step in enumerate(plan.timed.steps)}
    names = (*plan.timed.travels, *(actor.actor for actor in plan.scenario.records.actors))
    return {who: [position[steps[number].step] for number in work_order(steps, who)] for who in names}


def shuffled(plan: pk.Plan, draws: random.Random) -> tuple[object, ...]:
    """The rows with some of them moved a little: some orders have no times."""
    steps = list(plan.timed.steps)
    for _ in range(draws.randint(1, 5)):
        at = draws.randrange(len(steps))
        steps.insert(min(max(at + draws.randint(-8, 8), 0), len(steps) - 1), steps.pop(at))
    return tuple(steps)


@pytest.fixture(scope="module")
def wandering_plan(small: pk.Scenario) -> pk.Plan:
    """The small outing with ways that lead over other places, one of them with a waiting place."""
    over = {"B1": "POR", "B2": "HAT MID", "C2": "MST", "Z1": "POR MID"}
    steps = small.steps
    steps["via_places"] = steps["step"].map(over).fillna("")
    steps["wait_at"] = ["MID" if step == "B2" else "" for step in steps["step"]]
    return pk.time_plan(small.with_table("steps", steps))


@pytest.mark.parametrize("name", ["demo_plan", "small_plan", "wandering_plan"])
def test_every_order_has_the_times_of_its_own_scenario(name: str, request: pytest.FixtureRequest) -> None:
    plan = request.getfixturevalue(name)
    timed = plan.timed
    timing = OrderTiming(plan.scenario.records, timed.almanac, timed.travels, timed.durations.tolist())
    draws, timed = random.Random(3), 0
    for _ in range(ORDERS):
        steps = shuffled(plan, draws)
        records = replace(plan.scenario.records, steps=steps)
        network = build_network(records, plan.timed.almanac, plan.timed.travels)
        durations = np.array([step.minutes_likely for step in steps])
        wanted = earliest_starts(network, durations)
        orders = orders_of(plan, steps)
        found = timing.starts(orders)
        if not np.isfinite(wanted).all():
            assert found is None
            continue
        assert found is not None
        by_name = dict(zip(network.steps, wanted.tolist(), strict=True))
        assert [by_name[step.step] for step in plan.timed.steps] == found
        _, sums = timing.sums(orders) or pytest.fail("no times")
        assert sums.end_min == outing_end(network, wanted, durations)
        timed += 1
    assert timed > ORDERS / 4


@pytest.mark.parametrize("name", ["demo_plan", "small_plan", "wandering_plan"])
def test_who_may_miss_windows_is_timed_the_same_and_told_how_late(
        name: str, request: pytest.FixtureRequest) -> None:
    plan = request.getfixturevalue(name)
    timed, orders = plan.timed, orders_of(plan, plan.timed.steps)
    given = plan.scenario.records, timed.almanac, timed.travels, timed.durations.tolist()
    timing = OrderTiming(*given, misses=True)
    starts, sums = timing.sums(orders) or pytest.fail("no times")
    assert starts == OrderTiming(*given).starts(orders) == timed.starts.tolist()
    assert sums.missed_min == 0
    # So late that no window is left: then nobody waits for one, and each is late by its own end.
    begun_min = timed.almanac.horizon_min + 5.0
    assert OrderTiming(*given).starts(orders, begun_min) is None
    late, sums = timing.sums(orders, begun_min) or pytest.fail("no times")
    ends = [late[i] + timed.durations[i] - windows[-1, 1]
            for i, windows in enumerate(timed.network.allowed) if windows is not None]
    assert ends
    assert sums.missed_min == pytest.approx(sum(ends), abs=1e-3)


def test_a_clock_that_no_timing_keeps_is_told_by_how_much_it_is_missed(small_plan: pk.Plan) -> None:
    gap = {"first_step": "A1", "then_step": "Z1", "max_gap": 1, "reason": "a clock"}
    scenario = small_plan.scenario.add_row("gaps", **gap)
    timed, orders = small_plan.timed, orders_of(small_plan, small_plan.timed.steps)
    given = scenario.records, timed.almanac, timed.travels, timed.durations.tolist()
    assert OrderTiming(*given).starts(orders) is None
    starts, sums = OrderTiming(*given, misses=True).sums(orders) or pytest.fail("no times")
    for lane in orders.values():  # the order is kept all the same
        assert all(starts[a] + timed.durations[a] <= starts[b] + 1e-6 for a, b in pairwise(lane))
    late_min = {}
    for first, then, most in (("A1", "Z1", 1), ("C2", "C3", 60)):
        out, back = map(timed.position, (first, then))
        late_min[first] = max(starts[back] - (starts[out] + timed.durations[out]) - most, 0.0)
    assert late_min["A1"] > 30
    assert sums.missed_min == pytest.approx(sum(late_min.values()), abs=1e-3)


def test_a_later_pet_zero_moves_what_no_window_holds(small_plan: pk.Plan) -> None:
    plan = small_plan
    timed = plan.timed
    timing = OrderTiming(plan.scenario.records, timed.almanac, timed.travels, timed.durations.tolist())
    orders = orders_of(plan, plan.timed.steps)
    starts = timing.starts(orders, pet_zero_min=3.0)
    assert starts is not None
    assert starts[plan.timed.position("A1")] == plan.timed.starts[plan.timed.position("A1")] + 3.0


def test_steps_in_no_order_hold_nobody(small_plan: pk.Plan) -> None:
    plan = small_plan
    timed = plan.timed
    timing = OrderTiming(plan.scenario.records, timed.almanac, timed.travels, timed.durations.tolist())
    orders = {who: [i for i in order if plan.timed.steps[i].step in ("A1", "Z1")]
              for who, order in orders_of(plan, plan.timed.steps).items()}
    starts = timing.starts(orders)
    assert starts is not None
    # Both stay at the hatch: Z1 follows A1 at once.
    assert starts[plan.timed.position("Z1")] == plan.timed.finishes[plan.timed.position("A1")]


def test_where_nothing_can_be_kept_it_is_compiled_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    def refusing(cache: bool = False) -> object:
        def made(function: object) -> object:
            if cache:
                raise RuntimeError("cannot cache function: no locator available")
            return function
        return made

    monkeypatch.setattr(order_kernel, "njit", refusing)
    assert order_kernel.compiled(abs)(-2) == 2
