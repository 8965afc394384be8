"""The local search of the rest of an outing: its times, its screen, what the solver alone does not find."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

import planning_kit as pk
from planning_kit.changes.order import traded
from planning_kit.explore.propose.choices import as_written
from planning_kit.explore.propose.local_search import LocalSearch, Neighbours
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_screen import Timed
from planning_kit.explore.propose.order_search import Judge
from planning_kit.explore.propose.proposals import EFFORTS
from planning_kit.explore.propose.random_moves import RandomMoves
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.propose.stages import build_problem
from planning_kit.explore.retime.decisions import Decision, decide
from planning_kit.explore.retime.reorder import better_orders, rest_of
from planning_kit.inputs.records import Step
from planning_kit.plan.build import work_order
from planning_kit.plan.order_timing import OrderTiming
from planning_kit.plan.timed import TimedPlan
from tests.conftest import SCENARIOS, TERN, TESTS
from tests.explore.retime.rehearsal import rehearsed

DATA = TESTS / "data"
MOMENTS = 0.0, 0.05, 0.3, 0.7  # of the planned outing; at first the hatch is shut
OUTINGS = [SCENARIOS / "small-outing", TERN, DATA / "orders-alder", DATA / "orders-rowan"]


def outside(path: object, share: float, slower: float = 1.3, late_min: float = 1.5) -> TimedPlan:
    """The plan re-timed a little after the last event of a log that runs late."""
    plan = pk.time_plan(pk.load_scenario(path))  # type: ignore[arg-type]
    until_min = plan.end_min * share
    log = rehearsed(plan, round(share * 100), until_min, slower)
    return plan.retime(log, until_min + late_min).timed


def shuffled(plan: TimedPlan, draws: random.Random) -> Iterator[tuple[tuple[Step, ...], Decision]]:
    """Rows of the rest in other orders, sometimes with a task traded, and the decision for each."""
    records = rest_of(plan).records
    swappable = [task.task for task in records.tasks if task.swappable]
    for _ in range(8):
        steps, how = list(records.steps), Decision()
        for _ in range(draws.randint(0, 4)):
            at = draws.randrange(len(steps))
            steps.insert(min(max(at + draws.randint(-8, 8), 0), len(steps) - 1), steps.pop(at))
        if swappable and draws.random() < 0.4:
            how["give"] = [draws.choice(swappable)]
            steps = [traded(step) if step.task in how["give"] else step for step in steps]
        yield tuple(steps), Decision(order=[step.step for step in steps], **how)


@pytest.mark.parametrize("path", OUTINGS, ids=lambda path: path.name)
def test_every_order_of_the_rest_has_the_times_of_its_decision(path: object) -> None:
    same = 0
    for share in MOMENTS:
        plan = outside(path, share)
        rest, draws = rest_of(plan), random.Random(5)
        position = {step.step: number for number, step in enumerate(rest.records.steps)}
        timing = OrderTiming(rest.records, plan.almanac, plan.travels,
                             [step.minutes_likely for step in rest.records.steps], past=rest.past)
        for steps, how in shuffled(plan, draws):
            orders = {who: [position[steps[i].step] for i in work_order(steps, who)]
                      for who in rest.records.lane_names}
            found = timing.starts(orders)
            try:
                other = decide(plan, **how)
            except pk.ScenarioError:
                assert found is None
                continue
            if other.network.given_way:  # nothing keeps all of its rules
                assert found is None
                continue
            assert found is not None
            assert [float(other.starts[other.position(name)]) for name in position] == found
            sums = timing.sums(orders)
            assert sums is not None
            assert sums[1].end_min == other.end_min
            same += 1
    assert same > 12


@pytest.mark.parametrize("name", ["orders-alder", "orders-rowan", "orders-hazel"])
def test_what_the_screen_rejects_the_checks_reject_too(name: str) -> None:
    rejected = kept = 0
    for share in (0.05, 0.3):
        plan = outside(DATA / name, share)
        rest = rest_of(plan)
        start = as_written(rest.records, plan.pet_zero)
        problem = build_problem(rest.records, plan.scenario.elements, Freedom(
            earliest=plan.pet_zero, latest=plan.pet_zero, limit_min=900.0, past=rest.past))
        judge = Judge(scenario=plan.scenario, records=rest.records, current=plan, limit_min=900.0)
        around, draws = Neighbours(problem), random.Random(2)
        here = around.of(start)
        assert here is not None
        around.rules.let_go_of(here)
        moves = RandomMoves(problem.work, problem.before, draws)
        for _ in range(60):
            orders, trades = moves.draw(here.orders, here.starts) or (here.orders, frozenset[str]())
            there = around.timed(orders, here.swapped ^ trades, 0.0)
            if there is None:
                continue
            if broken := around.broken(there):
                rebuilt = judge.try_out(around.choice(there))
                assert rebuilt is None or judge.blocking(rebuilt.plan), broken
                rejected += 1
            else:
                here, kept = there, kept + 1
    assert rejected > 5
    assert kept > 5


def test_what_is_in_hand_is_screened_until_it_is_free() -> None:
    plan = outside(DATA / "orders-alder", 0.3)
    rest = rest_of(plan)
    first = rest.records.steps[0].step
    for past in (replace(rest.past, free_min={**rest.past.free_min, first: 800.0}),
                 replace(rest.past, not_after={first: 1.0})):
        freedom = Freedom(earliest=plan.pet_zero, latest=plan.pet_zero, limit_min=900.0, past=past)
        around = Neighbours(build_problem(rest.records, plan.scenario.elements, freedom))
        here = around.of(as_written(rest.records, plan.pet_zero))
        assert here is not None  # neither delays it
        broken = around.broken(here)
        assert broken is not None
        assert broken.about == first


def test_a_local_search_finds_what_the_solver_alone_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = outside(DATA / "orders-alder", 0.3, slower=1.4, late_min=5.0)

    def best_end() -> float:
        return min(found.plan.end_min for found in better_orders(plan, Budget(EFFORTS["quick"], 600.0)))

    together = best_end()

    def kept(self: LocalSearch, best: Timed, passes: int) -> Timed:
        return best

    monkeypatch.setattr(LocalSearch, "improve", kept)
    assert together < best_end() - 5.0
