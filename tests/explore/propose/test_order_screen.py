"""The screen of an order, and the model, against the checks of its plan: small outings, every order."""

from __future__ import annotations

import random

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import Choice, rebuild
from planning_kit.explore.propose.order_problem import Freedom, Problem
from planning_kit.explore.propose.order_screen import Broken, Timed, UntimedRules, cause_of
from planning_kit.explore.propose.solving import Budget, completed
from planning_kit.explore.propose.stages import build_problem
from planning_kit.inputs.faults import ScenarioError
from planning_kit.judge import check_custody, check_places, check_tethers
from planning_kit.plan.timed import TimedPlan
from tests.explore.propose.made import (
    every_order,
    item_row,
    made_outing,
    outing_with,
    place_row,
    route_row,
    step_row,
    task_row,
)

CHECKS = (check_tethers.check_reach, check_tethers.check_hooks, check_tethers.check_hooks_going_in,
          check_custody.check_custody, check_custody.check_carrying, check_custody.check_endings,
          check_places.check_footholds, check_places.check_capacity)
# No order mends these, so that the screen leaves them out.
_LEFT_OUT = {"no-anchor", "no-length"}


def problem_of(scenario: pk.Scenario) -> Problem:
    pet_zero = scenario.settings.pet_zero_utc
    return build_problem(scenario.records, scenario.elements,
                         Freedom(earliest=pet_zero, latest=pet_zero, limit_min=500.0))


def told(plan: TimedPlan) -> set[tuple[str, str]]:
    """The rules that the checks of what delays nobody find broken, with what they are about."""
    found = [finding for check in CHECKS for finding in check(plan)]
    return {(each.rule, each.about) for each in found if each.rule not in _LEFT_OUT and (
        each.severity == "stop" or each.rule in ("has-it", "not-in-place"))}


def screened(rules: UntimedRules, choice: Choice, plan: TimedPlan) -> Broken | None:
    """What the screen says of a choice with the times of its plan."""
    index, steps = rules.problem.work.index, rules.problem.work.steps
    starts = tuple(float(plan.starts[plan.position(step.step)]) for step in steps)
    orders = {who: tuple(index[step] for step in lane) for who, lane in choice.lanes.items()}
    return rules.broken(Timed(orders, choice.swapped, 0.0, starts))


def plans_of(scenario: pk.Scenario, most: int) -> list[tuple[Choice, TimedPlan]]:
    """Every order with its plan, or ``most`` drawn of them; without those that cannot be timed."""
    choices, plans = list(every_order(scenario)), []
    for choice in choices if len(choices) <= most else random.Random(1).sample(choices, most):
        try:
            plans.append((choice, rebuild(None, scenario, scenario.records, choice).plan))
        except ScenarioError:
            continue
    return plans


@pytest.mark.parametrize("seed", range(12))
def test_the_screen_says_what_the_checks_say(seed: int) -> None:
    scenario = made_outing(seed)
    rules = UntimedRules(problem_of(scenario), frozenset())
    for choice, plan in plans_of(scenario, 40):
        found, broken = told(plan), screened(rules, choice, plan)
        assert (broken is None) == (not found), (choice, broken, found)


@pytest.mark.parametrize("seed", range(12))
def test_the_model_forbids_no_order_that_the_checks_allow(seed: int) -> None:
    scenario = made_outing(seed)
    problem, budget = problem_of(scenario), Budget(1.0, 60.0)
    for choice, plan in plans_of(scenario, 40):
        if not told(plan):
            assert completed(problem, choice, budget) is not None, choice


def outing_of(steps: list[dict[str, object]], hardware: list[dict[str, object]],
              swappable: str = "") -> pk.Scenario:
    """A ring of four routes of 8 m around which the line of 26 m does not reach."""
    ring = ("HAT", "RIM", "DEK", "POD")
    places = [place_row(name, anchor="yes" if name == "HAT" else "no") for name in ring]
    routes = [route_row(a, b, 8) for a, b in zip(ring, (*ring[1:], "HAT"), strict=True)]
    names = dict.fromkeys(str(step["task"]) for step in steps)
    ends = [step_row("A1", "EGR", "both", "HAT", 4), step_row("Z1", "CLN", "both", "HAT", 4)]
    return outing_with(places, routes, hardware, [ends[0], *steps, ends[1]],
                       [task_row(name, name == swappable) for name in names])


def choice_of(scenario: pk.Scenario, *ev1: str, ev2: tuple[str, ...] = (), traded: str = "") -> Choice:
    wanted = {"EV1": ("A1", *ev1, "Z1"), "EV2": ("A1", *ev2, "Z1")}
    return next(each for each in every_order(scenario)
                if each.swapped == {*traded.split()} and wanted.items() <= dict(each.lanes).items())


def answers(scenario: pk.Scenario, choice: Choice) -> tuple[set[tuple[str, str]], Broken | None, bool]:
    """What the checks, the screen and the model (whether it allows it) say of a choice."""
    problem = problem_of(scenario)
    plan = rebuild(None, scenario, scenario.records, choice).plan
    return (told(plan), screened(UntimedRules(problem, frozenset()), choice, plan),
            completed(problem, choice, Budget(1.0, 60.0)) is not None)


def test_a_line_laid_round_a_loop_is_as_long_as_it_was_walked() -> None:
    # 16 m on the fastest way to each place; walked round, the line is 32 m long on the way home.
    scenario = outing_of([step_row(name, name, "EV1", name, 5) for name in ("RIM", "DEK", "POD")], [])
    choice = choice_of(scenario, "RIM", "DEK", "POD")
    found, broken, _ = answers(scenario, choice)
    assert found == {("reach", "HAT")}
    assert broken is not None
    steps = scenario.records.steps
    assert [steps[i].step for i in broken.steps] == ["A1", "RIM", "DEK", "POD", "Z1"]


def test_the_arcs_of_a_cause_forbid_that_order_and_none_that_holds() -> None:
    scenario = outing_of([step_row(name, name, "EV1", name, 5) for name in ("RIM", "DEK", "POD")], [])
    problem = problem_of(scenario)
    rules, plans = UntimedRules(problem, frozenset()), plans_of(scenario, 100)
    kept = [choice for choice, plan in plans if not told(plan)]
    assert 0 < len(kept) < len(plans)
    for choice, plan in plans:
        broken = screened(rules, choice, plan)
        if broken:
            problem.model.cp.add_bool_or(~literal for literal in cause_of(problem, broken))
    for choice, _ in plans:
        assert (completed(problem, choice, Budget(1.0, 60.0)) is not None) == (choice in kept), choice


@pytest.mark.parametrize("who", ["EV1", "EV2"])
def test_hands_are_counted_as_they_are_once_tasks_are_traded(who: str) -> None:
    """Three slots of a tool on EV1 go along with the trade; who takes two more then has 5 of 4, or 2."""
    hardware = [item_row("tool", "tool", "EV1", slots=3), item_row("spare", "spare", "RIM", slots=2)]
    scenario = outing_of([step_row("T1", "TT", "EV1", "RIM", 5, uses="tool"),
                          step_row("U1", "UU", who, "RIM", 5, takes="spare")], hardware, swappable="TT")
    for crew in ("EV1", "EV2"):
        scenario = scenario.edit_row("crew", crew, carry_slots=4)
    for traded in ("", "TT"):
        first = "EV2" if traded else "EV1"
        lanes: dict[str, list[str]] = {"EV1": [], "EV2": []}
        lanes[first].append("T1")
        lanes[who].append("U1")
        found, broken, is_allowed = answers(
            scenario, choice_of(scenario, *lanes["EV1"], ev2=tuple(lanes["EV2"]), traded=traded))
        is_too_much = first == who
        assert bool(found) == is_too_much
        assert (broken and broken.rule) == ("overloaded" if is_too_much else None)
        assert is_allowed != is_too_much


@pytest.mark.parametrize("traded", ["", "TA", "TB", "TA TB"])
def test_what_several_tasks_touch_goes_along_when_all_of_them_are_traded(traded: str) -> None:
    scenario = outing_of([step_row("A2", "TA", "EV1", "RIM", 5, uses="tool"),
                          step_row("B2", "TB", "EV1", "RIM", 5, uses="tool")],
                         [item_row("tool", "tool", "EV1")])
    for task in ("TA", "TB"):
        scenario = scenario.edit_row("tasks", task, swappable="yes")
    lanes: dict[str, list[str]] = {"EV1": [], "EV2": []}
    for task, step in (("TA", "A2"), ("TB", "B2")):
        lanes["EV2" if task in traded else "EV1"].append(step)
    found, broken, is_allowed = answers(
        scenario, choice_of(scenario, *lanes["EV1"], ev2=tuple(lanes["EV2"]), traded=traded))
    assert (not found, broken is None, is_allowed) == (traded in ("", "TA TB"),) * 3
