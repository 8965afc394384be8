"""Better orders of small outings, against every order there is, timed and checked as plans."""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import permutations, product

import pytest

import planning_kit as pk
from planning_kit.explore.propose.proposals import Proposals
from planning_kit.plan.order_timing import OrderTiming
from tests.edits import edited, with_row
from tests.explore.propose.loose import loose, own_tasks, reordered, stops
from tests.explore.propose.outings import outing_of

# The solver counts in whole seconds, each link of a chain rounded up: at most ten links on this outing.
ROUNDING_MIN = 10 / 60


@pytest.fixture(scope="module")
def free(small: pk.Scenario) -> pk.Scenario:
    return loose(small)


@pytest.fixture(scope="module")
def proposals(free: pk.Scenario) -> Proposals:
    return pk.time_plan(free).propose(effort=5.0, seconds=120)


def best_of_all_orders(scenario: pk.Scenario) -> float:
    """The earliest end over all orders of both lanes that bring no stop finding."""
    lanes = [[s.step for s in scenario.records.steps if s.crew == crew] for crew in ("EV1", "EV2")]
    plans = []
    for one, other in product(*map(permutations, lanes)):
        try:
            plans.append(pk.time_plan(reordered(scenario, ["A1", *one, *other, "Z1"])))
        except pk.ScenarioError:
            continue
    plans.sort(key=lambda plan: plan.end_min)
    return next(plan.end_min for plan in plans if not stops(plan))


def test_the_proven_best_is_the_best_of_all_orders(free: pk.Scenario, proposals: Proposals) -> None:
    best = proposals.best
    assert best.is_proven
    assert best.verdict.startswith("proven best, in whole seconds, of all orders that bring no new stop")
    assert not best.moves["kind"].eq("rule").any()
    reached = best_of_all_orders(free)
    assert reached - 1e-6 <= best.end_min <= reached + ROUNDING_MIN
    assert best.end_min < pk.time_plan(free).end_min - 1


def test_ways_over_named_places_are_proven_too(free: pk.Scenario) -> None:
    # The Port deck by way of the Mid rack is 12 m farther from the Hatch, not from the Mid rack.
    steps = free.steps
    steps["via_places"] = steps["step"].map({"C2": "MID", "B2": "HAT MID"}).fillna("")
    scenario = free.with_table("steps", steps)
    best = pk.time_plan(scenario).propose(effort=5.0, seconds=120).best
    assert best is not None
    assert best.is_proven
    reached = best_of_all_orders(scenario)
    assert reached - 1e-6 <= best.end_min <= reached + ROUNDING_MIN


@pytest.mark.parametrize("seed", range(8))
def test_no_order_ends_before_its_own_bound(small: pk.Scenario, seed: int) -> None:
    # Uneven ways and minutes: what the solver counts in whole seconds is longer than it is.
    draw = random.Random(seed)
    scenario = loose(small)
    for step in scenario.records.steps:
        likely = round(step.minutes_likely * draw.uniform(0.5, 1.2), 3)
        scenario = edited(scenario, "steps", step.step, minutes_low=likely, minutes_likely=likely,
                          minutes_high=likely + 1.234)
    cushion = draw.choice([0.0, 0.37])
    found = pk.time_plan(scenario).propose(effort=0.5, seconds=120, limit_min=130, cushion=cushion)
    assert all(0 < each.bound_min <= each.cushioned_min for each in found)
    assert all(each.cushioned_min - each.bound_min < ROUNDING_MIN for each in found if each.is_proven)
    assert len(found) or found.verdict


def test_a_proposal_is_the_timing_of_its_own_scenario(free: pk.Scenario, proposals: Proposals) -> None:
    best = proposals.best
    again = pk.time_plan(best.scenario)
    assert again.end_min == best.end_min
    assert isinstance(best.plan, pk.Plan)
    assert not stops(best.plan) - stops(pk.time_plan(free))
    assert sorted(best.scenario.steps["step"]) == sorted(free.steps["step"])
    ends = [round(proposals.current.end_min, 1), round(best.end_min, 1)]
    assert proposals.table["end_min"].tolist() == ends


def test_the_same_effort_gives_the_same_answer(free: pk.Scenario, proposals: Proposals) -> None:
    again = pk.time_plan(free).propose(effort=5.0, seconds=120)
    assert again.is_repeatable
    assert again.best.scenario == proposals.best.scenario
    assert again.best.moves.equals(proposals.best.moves)
    assert again.best.bound_min == proposals.best.bound_min


def test_the_best_order_is_not_improved_again(proposals: Proposals) -> None:
    again = proposals.best.plan.propose(effort=5.0, seconds=120)
    assert len(again) == 0
    assert again.verdict.startswith("the current order is proven best, in whole seconds, of all orders")


def test_crew_trade_a_swappable_task_where_that_is_better(small: pk.Scenario) -> None:
    # EV1 alone does the lamp and, as written, two more jobs at the port deck; EV2 would stand idle.
    scenario = own_tasks(small, ["C2", "C3"], swappable="no")
    for name, minutes in (("D1", 12), ("D2", 14)):
        scenario = _with_job(scenario, name, minutes)
    scenario = own_tasks(scenario, ["D1", "D2"], swappable="yes")
    best = pk.time_plan(scenario).propose(effort=5.0, seconds=120, limit_min=130).best
    assert best is not None
    assert best.is_proven
    crew = {step.step: step.crew for step in best.scenario.records.steps}
    assert "EV2" in (crew["D1"], crew["D2"])
    assert {"crew"} <= set(best.moves["kind"])
    assert not stops(best.plan) - stops(pk.time_plan(scenario))


def _with_job(scenario: pk.Scenario, name: str, minutes: float) -> pk.Scenario:
    return with_row(scenario, "steps", at=1, step=name, task="CAS", crew="EV1", place="POR", title=name,
                    exertion="light", minutes_low=minutes, minutes_likely=minutes, minutes_high=minutes)


def test_the_least_of_the_optional_tasks_is_left_out(small: pk.Scenario) -> None:
    one = own_tasks(_with_job(small, "D2", 30), ["D2"], need="optional", priority=3)
    two = own_tasks(_with_job(one, "D1", 30), ["D1"], need="optional", priority=4)
    ends = []
    for scenario in (one, two):
        found = pk.time_plan(scenario).propose(effort=5.0, seconds=120, limit_min=250.0)
        ends.append(found.best.end_min if found.best else found.current.end_min)
    assert ends[1] > ends[0] + 5
    found = pk.time_plan(two).propose(effort=5.0, seconds=120, limit_min=sum(ends) / 2)
    assert found.best is not None
    assert found.best.dropped == {"TD1"}
    assert found.best.is_proven
    assert abs(found.best.end_min - ends[0]) <= ROUNDING_MIN
    assert found.best.moves["what"].tolist()[0] == "TD1"


def test_an_order_that_the_timing_would_not_keep_is_written_down(small: pk.Scenario) -> None:
    """EV2 begins with the driver that EV1 leaves at the mast: custody delays nobody, so ``after`` has to."""
    scenario = own_tasks(small, ["B3"])
    scenario = edited(scenario, "steps", "B3", leaves="lamp-new driver", light="any")
    scenario = edited(scenario, "hardware", "driver", end_at="")
    scenario = _with_use(scenario)
    assert stops(pk.time_plan(scenario))
    best = pk.time_plan(scenario).propose(effort=5.0, seconds=120).best
    assert best is not None
    assert not stops(best.plan)
    assert "rule" in set(best.moves["kind"])
    taken = next(step for step in best.scenario.records.steps if step.step == "C5")
    assert "B3" in taken.after


def _with_use(scenario: pk.Scenario) -> pk.Scenario:
    return with_row(scenario, "steps", at=2, step="C5", task="CAS", crew="EV2", place="MST", title="Take it",
                        exertion="light", minutes_low=2, minutes_likely=2, minutes_high=2, takes="driver",
                    wait_at="MID")


def test_pet_zero_is_chosen_inside_the_window(small: pk.Scenario) -> None:
    found = pk.time_plan(small).propose(effort=5.0, seconds=120,
                                        pet_zero_window=("2031-09-03T07:00:00Z", "2031-09-03T08:30:00Z"))
    # Every PET 0 of the window at five minutes' steps, by timing.
    sweep = pk.time_plan(small).sweep("2031-09-03T07:00:00Z", "2031-09-03T08:30:00Z", 5)
    least = min([sweep["end_min"].min(), pk.time_plan(small).end_min])
    end = found.best.end_min if found.best else found.current.end_min
    assert least - 1e-6 <= end <= least + ROUNDING_MIN


def lane_orders(plan: pk.Plan, crew: str) -> Iterator[tuple[int, ...]]:
    """All orders of a lane of `outing_of` that keep the row order inside each task; both open and close."""
    tasks: dict[str, list[int]] = {}
    for position, step in enumerate(plan.timed.steps):
        if step.crew == crew:
            tasks.setdefault(step.task, []).append(position)
    names = [task for task, steps in tasks.items() for _ in steps]
    for order in sorted(set(permutations(names))):
        left = {task: iter(steps) for task, steps in tasks.items()}
        yield (0, *(next(left[task]) for task in order), len(plan.timed.steps) - 1)


@pytest.mark.parametrize("count", [11, 12, 13, 14, 15])
def test_no_order_of_a_random_outing_ends_before_a_proven_best(count: int) -> None:
    scenario = outing_of(count)
    plan = pk.time_plan(scenario)
    timed = plan.timed
    timing = OrderTiming(scenario.records, timed.almanac, timed.travels, timed.durations.tolist())
    ends = []
    for one, other in product(*(list(lane_orders(plan, crew)) for crew in ("EV1", "EV2"))):
        orders = {"EV1": one, "EV2": other}
        if timed := timing.sums(orders):
            ends.append(timed[1].end_min)
    assert len(ends) >= 20
    pet_zero = (scenario.settings.pet_zero_utc,) * 2
    found = pk.time_plan(scenario).propose(effort=2.0, seconds=120, pet_zero_window=pet_zero)
    end_min = found.best.end_min if found.best else plan.end_min
    assert found.best is None or found.best.is_proven
    assert min(ends) - 1e-6 <= end_min <= min(ends) + ROUNDING_MIN
