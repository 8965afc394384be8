"""Whatever is passed to the front door by mistake is told in the words of the trade, never as a traceback."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs.faults import is_number, is_whole

NO_SCENARIO: dict[str, Callable[[Any], object]] = {
    "time_plan": pk.time_plan,
    "find_plan": pk.find_plan,
    "workbench": pk.workbench,
}
NO_PLAN: dict[str, Callable[[Any, pk.Plan], object]] = {
    "swimlane": lambda given, plan: pk.swimlane(given),
    "baseline": lambda given, plan: pk.swimlane(plan, given or "none"),
    "suit_chart": lambda given, plan: pk.suit_chart(given),
}
NO_ODDS: dict[str, Callable[[Any, pk.Plan], object]] = {
    "compare": lambda given, plan: plan.odds(100).compare(given),
    "tornado_chart": lambda given, plan: pk.tornado_chart(given),
    "fan_chart": lambda given, plan: pk.fan_chart(given),
}
NO_TABLE: dict[str, Callable[[Any, pk.Scenario], object]] = {
    "sweep_chart": lambda given, scenario: pk.sweep_chart(given),
    "season_chart": lambda given, scenario: pk.season_chart(given),
    "with_cuts": lambda given, scenario: scenario.with_cuts(given),
}


@pytest.mark.parametrize("asked", NO_SCENARIO)
@pytest.mark.parametrize("given", ["scenarios/small-outing", None, 5])
def test_what_is_no_scenario_is_told(asked: str, given: object) -> None:
    with pytest.raises(pk.ScenarioError, match="must be a scenario, such as"):
        NO_SCENARIO[asked](given)


@pytest.mark.parametrize("asked", NO_PLAN)
def test_what_is_no_plan_is_told(asked: str, small: pk.Scenario, small_plan: pk.Plan) -> None:
    for given in (small, None, "plan"):
        with pytest.raises(pk.ScenarioError, match="must be a plan, such as"):
            NO_PLAN[asked](given, small_plan)


@pytest.mark.parametrize("asked", NO_ODDS)
def test_what_are_no_odds_is_told(asked: str, small_plan: pk.Plan) -> None:
    for given in (small_plan, None):
        with pytest.raises(pk.ScenarioError, match=r"must be what plan.odds\(\) gives"):
            NO_ODDS[asked](given, small_plan)


@pytest.mark.parametrize("asked", NO_TABLE)
@pytest.mark.parametrize("given", [None, 5, pd.DataFrame(), pd.DataFrame({"task": ["CAS"]})])
def test_what_is_no_such_table_is_told(asked: str, given: object, small: pk.Scenario) -> None:
    with pytest.raises(pk.ScenarioError, match="must be a table such as"):
        NO_TABLE[asked](given, small)


def test_a_sweep_without_some_of_its_columns_has_no_spells(small_plan: pk.Plan) -> None:
    sweep = small_plan.sweep("2031-09-03T07:30Z", "2031-09-03T07:40Z", 5)
    with pytest.raises(pk.ScenarioError, match=r"sweep\(\) gives; it has no hard_margin_min"):
        _ = sweep.drop(columns="hard_margin_min").good_spells


@pytest.mark.parametrize("other", [None, 5, ""])
def test_what_no_plan_can_be_compared_with_is_told(small_plan: pk.Plan, other: Any) -> None:
    with pytest.raises(pk.ScenarioError, match=r"must be a folder|is empty"):
        small_plan.compare(other)


@pytest.mark.parametrize("executor", [4, "processes", map])
def test_what_is_no_executor_is_told(small_plan: pk.Plan, executor: Any) -> None:
    with pytest.raises(pk.ScenarioError, match=r"concurrent\.futures\.Executor"):
        small_plan.odds(100, executor=executor)


@pytest.mark.parametrize("name", [None, ["B1"], 5, float("nan")])
def test_a_step_named_by_no_text_is_told(small: pk.Scenario, name: Any) -> None:
    asks = [lambda: small.move_step(name, after="B2"), lambda: small.move_step("B1", after=name)]
    if not isinstance(name, list):  # several rows may be edited at once
        asks.append(lambda: small.edit_row("steps", name, crew="EV2"))
    for ask in asks:
        with pytest.raises(pk.ScenarioError, match="there is no such"):
            ask()


@pytest.mark.parametrize(("asked", "columns"), [
    ({"every_min": "x"}, ["every_min"]), ({"every_min": 0, "up_to_min": -1}, ["every_min", "up_to_min"]),
    ({"up_to_min": float("inf")}, ["up_to_min"]), ({"every_min": 1e-9}, ["every_min"]),  # 10^11 delays
])
def test_a_delay_curve_says_which_minutes_make_no_sense(small_plan: pk.Plan, asked: dict[str, Any],
                                                        columns: list[str]) -> None:
    with pytest.raises(pk.ScenarioError) as refused:
        small_plan.delay_curve("B3", **asked)
    assert refused.value.problems["column"].tolist() == columns


@pytest.mark.parametrize("lines", ["3", -1, 1.5, True])
def test_what_is_no_number_of_lines_is_told(small_plan: pk.Plan, lines: Any) -> None:
    with pytest.raises(pk.ScenarioError, match="whole number of lines"):
        small_plan.explain("B3", lines=lines)


@pytest.mark.parametrize("key", ["common_sd", "crew_sd", "travel_sd"])
def test_a_percentage_is_no_factor(small: pk.Scenario, key: str) -> None:
    # 5 for 5 % would make a day a hundred times slower or faster: nobody means that.
    with pytest.raises(pk.ScenarioError, match="must be at most 1"):
        small.with_settings({f"odds.{key}": 5})


def test_yes_is_no_number_and_a_huge_one_neither() -> None:
    assert [is_number(each) for each in (1, 1.5, True, "1", None, float("nan"), float("inf"), 10**400)] == [
        True, True, False, False, False, False, False, False]
    assert [is_whole(each, 1, 9) for each in (1, 9, 0, 10, True, 1.0, "1")] == [True, True, *[False] * 5]
