"""Forty steps, in free order inside the rules, proven best; and what a local search hands on."""

from __future__ import annotations

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import Choice, as_written
from planning_kit.explore.propose.local_search import LocalSearch, Neighbours
from planning_kit.explore.propose.order_problem import Freedom, Problem
from planning_kit.explore.propose.order_search import Judge
from planning_kit.explore.propose.solving import Budget, completed
from planning_kit.explore.propose.stages import build_problem
from tests.explore.propose.loose import stops
from tests.explore.propose.outings import half_a_day, outing_of

PASSES = 9_000


@pytest.mark.parametrize("outing", [half_a_day, lambda: outing_of(40)])
def test_forty_steps_are_proven_best(outing: object) -> None:
    scenario = outing()  # type: ignore[operator]
    pet_zero = (scenario.settings.pet_zero_utc,) * 2
    plan = pk.time_plan(scenario)
    found = plan.propose(effort=2.0, seconds=300, pet_zero_window=pet_zero)
    assert len(scenario.steps) == 40
    assert found.is_repeatable
    assert found.best is not None
    assert found.best.is_proven
    assert found.best.end_min < plan.end_min - 30
    assert not stops(found.best.plan) - stops(plan)
    assert sorted(found.best.scenario.steps["step"]) == sorted(scenario.steps["step"])


def test_what_goes_along_with_a_traded_task_is_in_the_hands_of_the_partner() -> None:
    """EV2 with the camera, a driver and the cable would hold 5 slots of 4: no such order is offered."""
    scenario = half_a_day(("KNU", "SEN", "VEN", "REG", "INS", "HTR", "SMP", "ANT", "LMP", "SHD"))
    pet_zero = (scenario.settings.pet_zero_utc,) * 2
    found = pk.time_plan(scenario).propose(effort=1.0, seconds=120, pet_zero_window=pet_zero)
    assert "custody" not in set(found.rejected["check"])
    assert found.best is not None
    assert not stops(found.best.plan)


def problem_of(scenario: pk.Scenario) -> Problem:
    pet_zero = scenario.settings.pet_zero_utc
    freedom = Freedom(earliest=pet_zero, latest=pet_zero, limit_min=scenario.settings.limits.hard_min)
    problem = build_problem(scenario.records, scenario.elements, freedom)
    problem.model.cp.minimize(problem.end - problem.pet_zero)
    return problem


def search(problem: Problem, scenario: pk.Scenario) -> list[Choice]:
    """The orders that were judged, as if each held; the last is the best."""
    judged: list[Choice] = []
    around = Neighbours(problem)
    here = around.of(as_written(scenario.records, scenario.settings.pet_zero_utc))
    assert here is not None
    best = LocalSearch(around, lambda choice: judged.append(choice) or (), Budget(1.0, 300.0)).improve(
        here, PASSES)
    return [*judged, around.choice(best)]


@pytest.fixture(scope="module")
def problem(demo: pk.Scenario) -> Problem:
    return problem_of(demo)


def test_a_local_search_hands_on_only_what_holds(demo: pk.Scenario, demo_plan: pk.Plan,
                                                 problem: Problem) -> None:
    found = search(problem, demo)
    assert len(found) >= 3
    judge = Judge(scenario=demo, records=demo.records, current=demo_plan.timed,
                  limit_min=demo.settings.limits.hard_min)
    ends = []
    for choice in found:
        answer = completed(problem, choice, Budget(1.0, 300.0))
        assert answer is not None
        rules = tuple(rule for rule in problem.model.rules
                      if all(_holds(literal, answer.values) for literal in rule.when))
        rebuilt = judge.try_out(Choice(choice.lanes, choice.swapped, choice.dropped, choice.pet_zero, rules))
        assert rebuilt is not None
        assert not stops(pk.Plan(rebuilt.plan)) - stops(demo_plan)
        ends.append(rebuilt.plan.end_min)
    assert ends == sorted(ends, reverse=True)
    assert ends[-1] < demo_plan.end_min - 1


def _holds(literal: object, values: tuple[int, ...]) -> bool:
    index = literal.index  # type: ignore[attr-defined]
    return bool(values[index]) if index >= 0 else not values[-index - 1]


def test_a_local_search_is_repeatable(demo: pk.Scenario, problem: Problem) -> None:
    assert search(problem, demo) == search(problem_of(demo), demo)
