"""Searches from where a planner may stand: nothing planned yet, no plan at all, a plan beyond its limits."""

from __future__ import annotations

import threading

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.choices import as_written, rebuild
from planning_kit.explore.propose.solving import Budget
from planning_kit.plan.timed import TimedPlan
from tests.edits import edited
from tests.explore.propose.loose import loose, stops


def with_steps(scenario: pk.Scenario, names: list[str]) -> pk.Scenario:
    """Only these steps, with their hands empty, and no gaps, inhibits or hardware."""
    steps = scenario.steps
    steps = pd.DataFrame(steps[steps["step"].isin(names)]).reset_index(drop=True)
    steps[["takes", "leaves", "uses", "foothold", "after"]] = ""
    for table in ("gaps", "inhibits"):
        scenario = scenario.with_table(table, scenario.table(table)[:0])
    scenario = scenario.with_table("steps", steps)
    return scenario.with_table("hardware", scenario.hardware[:0])


@pytest.mark.parametrize("names", [[], ["A1"], ["A1", "Z1"]])
def test_where_there_is_nothing_to_order_the_current_order_is_best(small: pk.Scenario,
                                                                   names: list[str]) -> None:
    found = pk.time_plan(with_steps(small, names)).propose(effort=1.0, seconds=120)
    assert found.verdict.startswith("the current order is proven best, in whole seconds, of all orders")


@pytest.mark.parametrize("need", ["optional", "get-ahead"])
def test_optional_tasks_are_done_where_all_fit(small: pk.Scenario, need: str) -> None:
    wished = small.with_table("tasks", small.tasks.assign(need=need, priority=""))
    found = pk.time_plan(wished).propose(effort=1.0, seconds=120)
    assert found.verdict.startswith("the current order is proven best, in whole seconds, of all orders")


def test_rows_that_have_no_times_get_an_order_that_fits(small: pk.Scenario) -> None:
    """EV1's first step waits for EV2's second and the other way round: the rows run in a circle."""
    scenario = loose(small)
    firsts = {crew: [s.step for s in scenario.records.steps if s.crew == crew] for crew in ("EV1", "EV2")}
    scenario = edited(scenario, "steps", firsts["EV1"][0], after=firsts["EV2"][1])
    scenario = edited(scenario, "steps", firsts["EV2"][0], after=firsts["EV1"][1])
    assert not pk.time_plan(scenario).findings.query("check == 'rules'").empty
    found = pk.find_plan(scenario, effort=1.0, seconds=120)
    assert found.current is not None  # its rules give way
    assert found.verdict.startswith("an order that fits: ")
    assert found.best is not None
    assert not stops(found.best.plan)
    assert found.table["plan"].tolist() == ["current", "same PET 0"]


def test_a_plan_that_its_suits_do_not_last_for_can_still_get_better(small: pk.Scenario) -> None:
    """Cooling water is short in any order: where it happens to run out is no new stop."""
    scenario = loose(small)
    better = pk.time_plan(scenario).propose(effort=2.0, seconds=120).best
    assert better is not None
    short = scenario.with_settings({"suit.water_g": 500.0})
    known = stops(pk.time_plan(short))
    assert {check for check, _, _ in known} >= {"suits"}
    found = pk.time_plan(short).propose(effort=2.0, seconds=120)
    assert found.best is not None
    assert found.best.end_min == better.end_min
    assert len(stops(found.best.plan)) <= len(known)


def test_every_proposal_is_told_with_its_odds(small: pk.Scenario) -> None:
    found = pk.time_plan(loose(small)).propose(effort=1.0, seconds=120)
    assert found.best is not None
    row = found.table.iloc[1]
    for said in (repr(found), repr(found.best)):
        assert f"odds {row['p_planned']:.3f} for the planned limit, {row['p_hard']:.3f} for the hard" in said


def test_the_same_order_is_not_offered_twice(small: pk.Scenario) -> None:
    """Any PET 0 of the range with the same end is no second proposal."""
    found = pk.time_plan(loose(small)).propose(effort=1.0, seconds=120,
                                               pet_zero_window=("2031-09-03T07:30:00Z",
                                                                "2031-09-03T07:40:00Z"))
    ends = [proposal.end_min for proposal in found]
    assert len(set(ends)) == len(ends)


def test_an_item_that_no_order_brings_home_is_no_new_stop(small: pk.Scenario) -> None:
    """B3 leaves the driver at the mast, in any order: the plan has that stop already, and can get better."""
    scenario = edited(loose(small), "steps", "B3", leaves="lamp-new driver")
    known = stops(pk.time_plan(scenario))
    assert "custody" in {check for check, _, _ in known}
    found = pk.time_plan(scenario).propose(effort=2.0, seconds=120)
    assert found.best is not None
    assert stops(found.best.plan) == known
    words = found.best.moves["words"].tolist()
    assert "let go, as the plan so far does not keep it: driver ends where it must (inside)" in words
    assert found.best.end_min < pk.time_plan(scenario).end_min - 1


def test_while_the_search_is_loaded_that_is_told_and_its_clock_stands() -> None:
    """On a new machine the compiler takes most of a minute, before any order is tried."""
    heard, is_told = list[Progress](), threading.Event()

    def tell(progress: Progress) -> None:
        heard.append(progress)
        is_told.set()

    budget = Budget(1.0, 60.0, tell)
    begun = budget.begun
    assert budget.wait_for(lambda: is_told.wait(60.0), "loading")
    assert [progress.words for progress in heard][:1] == ["loading"]
    assert budget.begun > begun
    budget.tell(75.0)
    assert heard[-1].words == "best so far 1:15"
    assert heard[-1].doing != "loading"


def test_the_order_of_the_rows_is_not_timed_and_judged_again(demo: pk.Scenario) -> None:
    plan, records = TimedPlan.of(demo), demo.records
    rows = as_written(records, demo.settings.pet_zero_utc)
    assert rebuild(plan, demo, records, rows).plan is plan
    later = demo.settings.pet_zero_utc + pd.Timedelta(minutes=1)
    assert rebuild(plan, demo, records, as_written(records, later)).plan is not plan
