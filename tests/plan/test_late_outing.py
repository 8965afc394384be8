"""A whole outing with late steps: every part that times it, or tells what follows, sees the late starts.

By hand (`tests.plan.late_outing`): night 1 lets K2 begin at 0:35.6; K1 takes 4 min and the way to K2 2.
M3 waits for K2 (14 min) and M2 (3 min) and the ground's G1 (2 min) come before it.
"""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.explore.sweep import PetZeroRange
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.table_words import held_words
from planning_kit.plan.timed import TimedPlan
from tests.explore.retime.rehearsal import as_planned
from tests.explore.retime.test_log import log_of
from tests.judge.test_hazards import with_hazards
from tests.plan.late_outing import LATE, late_outing

TERN_1 = Path(__file__).parents[1] / "data" / "tern-1"


@pytest.fixture(scope="module")
def early() -> pk.Plan:
    return pk.time_plan(late_outing(()))


@pytest.fixture(scope="module")
def late() -> pk.Plan:
    return pk.time_plan(late_outing())


def start(plan: pk.Plan, step: str) -> float:
    return float(plan.timed.starts[plan.timed.position(step)])


def test_only_the_late_steps_move(early: pk.Plan, late: pk.Plan) -> None:
    night = start(early, "K2")
    assert start(late, "K1") == pytest.approx(night - 4 - 2)
    assert start(late, "M2") == pytest.approx(night + 14 - 3)
    assert start(late, "G1") == pytest.approx(night + 14 - 3 - 2)
    for step in set(late.timed.network.steps) - set(LATE):
        assert start(late, step) == start(early, step)
    assert late.timed.end_min == early.timed.end_min


def test_a_clock_shows_its_true_margin_and_an_inhibit_is_held_shortest(early: pk.Plan, late: pk.Plan) -> None:
    assert early.clocks["actual"].tolist() == [pytest.approx(start(early, "K2") - 15)]
    assert late.clocks[["actual", "left"]].to_numpy().tolist() == [[pytest.approx(2), pytest.approx(43)]]
    # From the start of G1 to the finish of M3: 2 + 3 + 8.
    assert late.inhibits["hold_min"].tolist() == [pytest.approx(13)]
    assert early.inhibits["hold_min"].tolist() == [pytest.approx(start(early, "M3") + 8)]


def test_a_margin_is_kept_free_and_told(late: pk.Plan) -> None:
    plan = pk.time_plan(late_outing(margins={"K1": 3, "G1": 1.5}))
    assert start(plan, "K1") == pytest.approx(start(late, "K1") - 3)
    assert start(plan, "G1") == pytest.approx(start(late, "G1") - 1.5)
    assert start(plan, "M2") == start(late, "M2")
    assert plan.clocks["left"].tolist() == [pytest.approx(40)]
    assert "as late as it can, with 3 min kept free: K2 (Plug the box in) starts at" in plan.explain("K1", 1)
    slack = plan.timeline.set_index("step")["slack_to_plan_min"].dropna()
    assert slack["K1"] == pytest.approx(slack["K2"] + 3)


def test_it_is_told_what_needs_it_back_to_pet_zero(late: pk.Plan) -> None:
    told = late.explain("G1").splitlines()
    assert told[0] == ("G1 (Power off) starts at 0:45 as late as it can: M2 (See it dead) starts at 0:47 and "
                       "needs it; its earliest start is 0:00.")
    assert told[1].startswith("M2 (See it dead) starts at 0:47 as late as it can: M3 (Swap the panel) starts")
    assert "EV1 could be done with K1 (Box out) at 0:15" in late.explain("K2")
    for step in late.timed.network.steps:
        assert "But for the greatest gaps" not in late.explain(step)
        assert late.explain(step).splitlines()[-1] in (
            "K0 starts at 0:00 with PET 0: it is the first work of both crew members.",
            "G1 (Power off) starts at 0:00 with PET 0: it is the first work of GND.")


def test_holders_waits_and_hovers_say_so(late: pk.Plan) -> None:
    rows = late.timeline[late.timeline["kind"] == "work"].set_index("step")
    assert rows.loc[list(LATE), "held_by"].tolist() == ["late:K2", "late:M2", "late:M3"]
    waits = late.timeline[late.timeline["kind"] == "wait"].set_index("step")
    assert waits.loc["K1", "title"] == "Wait for K2 (as late as it can)"
    assert held_words("late:K2") == "Starts as late as it can: K2 needs it"
    assert held_words("late_end:night-2") == "Starts as late as it can: night 2 ends"
    lines = [line for day in late.briefing().text.splitlines() for line in [day.strip()]]
    assert any("K2 (Plug the box in) needs it no sooner" in line for line in lines)
    assert any("K1: Box out" in line and "Starts as late as it can." in line for line in lines)


def test_nothing_behind_it_but_the_end_of_the_outing() -> None:
    plan = pk.time_plan(late_outing(("G2",)))
    assert start(plan, "G2") == pytest.approx(plan.timed.end_min - 2)
    assert plan.explain("G2") == (
        "G2 starts at 1:15 as late as it can: the outing ends; its earliest start is 0:58.")


def test_custody_and_exposures_see_the_late_starts(early: pk.Plan, late: pk.Plan) -> None:
    for plan in (early, late):
        held = plan.custody[(plan.custody["item"] == "lamp-new") & (plan.custody["holder"] == "EV1")]
        assert held["from_min"].tolist() == [start(plan, "K1")]
    hazard = {"hazard": "LIVE", "title": "Live panel", "class": "caution", "places": "POR",
              "when": "off:P-OFF", "limit": "keep_out", "source": "demo value"}

    def open_min(scenario: Scenario) -> float:
        return float(pk.time_plan(with_hazards(scenario, hazard)).exposures["open_min"].sum())

    # EV2 is there from 10 min on; the panel is off from PET 0 in the one, from G1 on in the other.
    assert open_min(early.scenario) == 0
    assert open_min(late.scenario) == pytest.approx(start(late, "G1") - start(late, "M1"), abs=2)


def test_what_ifs_and_sweeps_time_it_the_same_way(late: pk.Plan) -> None:
    longer = late.what_if(stretch={"step:K1": "+2"})
    assert start(longer, "K1") == pytest.approx(start(late, "K1") - 2)
    assert start(late.what_if(slip_min=7), "K1") == pytest.approx(start(late, "K1") - 7)
    offsets = np.arange(0.0, 200.0, 3.3)
    scenario = late_outing((*LATE, "G2"), {"K1": 2})
    pet_zeros = PetZeroRange(scenario, late.timed.pet_zero, offsets)
    durations = np.array([step.minutes_likely for step in scenario.records.steps], dtype=float)
    starts, timed = pet_zeros.starts(durations), 0
    for row in range(len(offsets)):
        alone = TimedPlan.of(scenario, pet_zeros.pet_zero(row))
        if np.isfinite(starts[:, row]).all():
            timed += 1
            assert starts[:, row] == pytest.approx(alone.starts, abs=1e-6)
    assert timed > 40
    sweep = late.sweep("2031-09-03T07:30Z", "2031-09-03T09:30Z", 10)
    assert sweep["end_min"].iloc[0] == pytest.approx(late.timed.end_min)


BEGUN = ("K0 started 0:00", "K0 finished 0:10")


def test_outside_it_is_as_late_as_it_still_can_and_not_before_now(late: pk.Plan) -> None:
    on_time = late.retime(log_of(*BEGUN), 12)
    assert start(on_time, "K1") == start(late, "K1")
    # Not called by when it should have begun: at once, and what needs it moves.
    overdue = late.retime(log_of(*BEGUN), 35)
    assert start(overdue, "K1") == 35
    assert start(overdue, "K2") == 35 + 4 + 2
    assert overdue.timeline.set_index("step").loc["K1", "held_by"].tolist()[-1] == "now:now"
    # Begun early it stays where it is.
    begun = late.retime(log_of(*BEGUN, "K1 started 0:14"), 16)
    assert start(begun, "K1") == 14
    assert start(begun, "M2") == start(late, "M2")


@pytest.mark.parametrize("now_min", range(0, 78, 7))
def test_an_outing_that_goes_as_planned_is_re_timed_as_planned(now_min: int) -> None:
    plan = pk.time_plan(late_outing((*LATE, "G2"), {"K1": 3, "M2": 1}))
    now = plan.retime(as_planned(plan, now_min), now_min)
    # What is called is called to the second.
    assert [start(now, step) for step in plan.timed.network.steps] == pytest.approx(
        plan.timed.starts.tolist(), abs=1 / 60)
    assert now.timed.end_min == pytest.approx(plan.timed.end_min, abs=1 / 60)


@pytest.mark.parametrize("seed", range(4))
def test_in_a_large_outing_nothing_else_moves(seed: int) -> None:
    scenario, draw = pk.load_scenario(TERN_1), random.Random(seed)
    steps = scenario.table("steps").astype(object)
    late = {step for step in range(len(steps)) if draw.random() < 0.3}
    steps["when"] = ["late" if step in late else "" for step in range(len(steps))]
    steps["late_margin_min"] = [draw.choice([0, 2, 5]) for _ in range(len(steps))]
    before, plan = (pk.time_plan(each) for each in (scenario, scenario.with_table("steps", steps)))
    moved = plan.timed.starts - before.timed.starts
    assert (moved >= 0).all()
    assert moved.any()
    assert set(np.flatnonzero(moved)) <= late
    assert plan.timed.end_min == before.timed.end_min
    assert {each.text.partition(":")[0] for step, each in enumerate(plan.timed.holders.chosen) if moved[step]
            } <= {"late", "late_end"}


def test_a_gain_never_takes_a_late_start_for_the_earliest(late: pk.Plan) -> None:
    gains = late.gain("M3", minutes=1)
    assert "K2 takes 13 min instead of 14" in gains["change"].iloc[0]
    # Nothing moves K1 to 2 min sooner: the night does not.
    assert late.gain("K1", minutes=2)["change"].str.startswith("no change of this kind helps").all()


def test_the_columns_are_typed_kept_and_compared(small: Scenario, late: pk.Plan) -> None:
    typed = small.edit_row("steps", "B1", when="late", late_margin_min=2)
    assert (typed.records.steps[1].when, typed.records.steps[1].late_margin_min) == ("late", 2.0)
    assert typed.digest != small.digest
    assert small.edit_row("steps", "B1", when="", late_margin_min="").digest == small.digest
    changes = pk.time_plan(small).compare(pk.time_plan(typed))
    assert changes.verdict["words"].str.contains("B1").any()
    for cells in ({"when": "later"}, {"late_margin_min": -1}):
        with pytest.raises(pk.ScenarioError) as caught:
            small.edit_row("steps", "B1", **cells)
        assert caught.value.problems[["table", "column"]].to_numpy().tolist() == [["steps", *cells]]
