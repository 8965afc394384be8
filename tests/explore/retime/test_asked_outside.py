"""Everything else that a re-timed plan can be asked: it works, or says in words why not."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from tests.explore.retime.rehearsal import as_planned, rehearsed
from tests.explore.retime.test_log import log_of


def start_of(plan: pk.Plan, step: str) -> float:
    return float(plan.timed.starts[plan.timed.position(step)])


def finish_of(plan: pk.Plan, step: str) -> float:
    return float(plan.timed.finishes[plan.timed.position(step)])


@pytest.fixture(scope="module")
def late(demo_plan: pk.Plan) -> pk.Plan:
    return demo_plan.retime(rehearsed(demo_plan, 0, 230.0, slower=1.4), 242.0)


def test_charts_pages_and_comparisons_are_made(late: pk.Plan, demo_plan: pk.Plan, tmp_path: Path) -> None:
    late.still(242.0)
    pk.suit_chart(late)
    pk.swimlane(late, baseline=demo_plan)
    pk.fan_chart(late.odds(200))
    pk.tornado_chart(late.odds(200))
    assert "Re-timed at PET 4:02" in str(late.briefing().minute)
    late.write_pack(tmp_path / "pack", baseline=demo_plan)
    assert (tmp_path / "pack" / "review.html").exists()
    assert {"later", "earlier"} & set(demo_plan.compare(late).times["change"])
    assert not demo_plan.compare(late).margins.empty
    assert "log" in set(demo_plan.compare(late).findings["check"])
    assert late.at(242.0).people


def test_as_planned_is_no_change(small_plan: pk.Plan) -> None:
    now = small_plan.retime(as_planned(small_plan, 30.0), 30.0)
    assert small_plan.compare(now).times.empty


@pytest.mark.parametrize(("ask", "words"), [
    (lambda plan: plan.sweep("2031-05-14", "2031-05-15", 60), "says what was done until"),
    (lambda plan: plan.propose(), "says what was done until 2031-05-14T15:22Z"),
    (lambda plan: pk.time_plan(plan).propose(), "give its plan.scenario"),
    (lambda plan: pk.time_plan(plan).sweep("2031-05-14", "2031-05-15", 60), "plan.scenario"),
    (lambda plan: pk.workbench(plan), "give its plan.scenario"),
    (lambda plan: pk.time_plan(plan.scenario), "says what was done until"),
    (lambda plan: plan.compare(plan.scenario), "says what was done until"),
    (lambda plan: pk.workbench(plan.scenario), "says what was done until"),
    (lambda plan: plan.what_if(slip_min=10), "pet_zero.*has happened"),
    (lambda plan: plan.what_if(pet_zero="2031-05-15"), "pet_zero.*has happened"),
    (lambda plan: plan.what_if(drop="task:KNU"), "KN1.*has begun at PET"),
    (lambda plan: plan.what_if(swap="SUR"), "SV1.*only a task that has not begun can change hands"),
    (lambda plan: plan.delay_curve("EG1"), "has begun"),
    (lambda plan: plan.gain("EG1", 3), "has begun"),
    (lambda plan: plan.cuts(level=2), "between 0 and 1"),
])
def test_what_makes_no_sense_outside_says_so(late: pk.Plan, ask: Callable[[pk.Plan], object],
                                             words: str) -> None:
    with pytest.raises(pk.ScenarioError, match=words):
        ask(late)


def test_the_record_never_overwrites_the_plan(small: pk.Scenario, tmp_path: Path) -> None:
    planned = small.save(tmp_path / "outing")
    now = pk.time_plan(planned).retime(log_of("A1 started 0:00", "A1 finished 0:13"), 14)
    with pytest.raises(pk.SaveConflict):
        now.scenario.save()
    record = now.scenario.save(tmp_path / "record")
    assert pk.load_scenario(tmp_path / "outing") == small
    # The files of a record are those of a scenario: read again they are a plan for another day.
    assert pk.time_plan(pk.load_scenario(tmp_path / "record")).timed.durations[0] == 13.0
    assert record.happened_until is None


def test_a_gain_outside_changes_only_what_is_to_come(late: pk.Plan) -> None:
    begun = {late.timed.steps[position].step for position in late.timed.network.fixed}
    table = late.gain("SH5", 3, most=3)
    helped = table[table["by_min"].notna()]
    assert len(helped) >= 2
    assert "pet_zero" not in set(table["kind"])
    for row in helped.to_dict("records"):
        changed = late.what_if(**row["what_if"])
        moved = start_of(late, "SH5") - start_of(changed, "SH5")
        assert moved >= 3 - 1e-6
        assert row["gain_min"] == pytest.approx(moved)
        for step in begun:
            assert start_of(changed, step) == start_of(late, step)


def test_what_if_of_finished_work_changes_nothing_and_of_work_in_hand_its_rest(small_plan: pk.Plan) -> None:
    now = small_plan.retime(log_of("A1 started 0:00", "A1 finished 0:12", "B1 started 0:14"), 15)
    assert now.what_if(stretch={"A1": "+9"}).timed.starts.tolist() == now.timed.starts.tolist()
    longer = now.what_if(stretch={"B1": "+9"})
    assert finish_of(longer, "B1") == finish_of(now, "B1") + 9


def test_one_name_is_a_name_and_not_its_letters(late: pk.Plan) -> None:
    assert late.decide(skip="SHD").end_min == late.decide(skip=["SHD"]).end_min


def test_the_decision_is_kept_by_a_second_one(late: pk.Plan) -> None:
    both = late.decide(skip="SHD").decide(skip="SMP")
    gone = set(both.left_out["step"])
    assert {"SH1", "SH5", "SM0"} <= gone
    one = late.decide(skip=["SHD", "SMP"])
    pd.testing.assert_frame_equal(both.left_out, one.left_out)
    assert both.end_min == one.end_min


def test_a_task_of_which_a_step_was_skipped_can_still_be_dropped(demo_plan: pk.Plan) -> None:
    log = pd.concat([as_planned(demo_plan, 200.0), pd.DataFrame([
        {"step": "SH1", "event": "skipped", "at": 199.0}])], ignore_index=True)
    late = demo_plan.retime(log, 200.0)
    assert "SH2" not in late.what_if(drop="task:SHD").timed.network.steps
    assert "SHD" in set(late.decision_table(samples=100)["task"])


MISTAKES: dict[str, Callable[[pk.Plan, Any], object]] = {
    "now_min": lambda plan, given: plan.retime(log_of("A1 started 0:00"), given),
    "at_min": lambda plan, given: plan.terminate(given),
    "every_min": lambda plan, given: plan.ways_home(every_min=given),
    "how": lambda plan, given: plan.home_now(given),
    "weight": lambda plan, given: plan.updated_estimates(given),
    "samples": lambda plan, given: plan.options(samples=given),
    "waits": lambda plan, given: plan.decide(waits=given),
    "rows of waits": lambda plan, given: plan.decide(waits=[given]),
    "a log": lambda plan, given: plan.retime(given),
    "a path": lambda plan, given: pk.read_log(given),
    "logged_at": lambda plan, given: pk.append_log("nowhere", "started", "A1", logged_at=given),
}


@pytest.mark.parametrize("asked", MISTAKES)
@pytest.mark.parametrize("given", [10**400, float("nan"), np.array([1, 2]), object()],
                         ids=["huge", "nan", "array", "object"])
def test_what_makes_no_sense_is_told_and_never_a_traceback(small_plan: pk.Plan, asked: str,
                                                           given: object) -> None:
    late = small_plan.retime(log_of("A1 started 0:00"), "0:05")
    with pytest.raises(pk.ScenarioError):
        MISTAKES[asked](late, given)
