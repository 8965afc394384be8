"""A hard limit by consumables: by hand on small outings, held for slack, moved by the work, or refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.plan.activities import Timings
from planning_kit.plan.suits import co2_g_per_min, reserve_reached_min
from planning_kit.plan.timed import TimedPlan
from tests.explore.retime.rehearsal import rehearsed

PLENTY = {"suit.oxygen_g": 5000, "suit.co2_g": 5000, "suit.energy_wh": 5000, "suit.water_g": 50000}
BY_CONSUMABLES = {"limits.hard_min": "consumables", "horizon_h": 12.0, **PLENTY}


@pytest.fixture(scope="module")
def by_suits(small: pk.Scenario) -> pk.Scenario:
    """The small outing with a hard limit by consumables, of which there are plenty."""
    return small.with_settings(BY_CONSUMABLES)


def limit_of(scenario: pk.Scenario) -> tuple[float, str]:
    limit = pk.time_plan(scenario).timed.hard_limit
    return limit.minutes, limit.why


def test_energy_by_hand(by_suits: pk.Scenario) -> None:
    # 55 W whatever they do, 15 min of it before PET 0: (400 - 40) Wh / 55 W is 392.7 min, less 15 is 377.7.
    alike = by_suits.with_settings({"suit.energy_wh": 400})
    assert limit_of(alike) == (377.0, "EV1 energy reaches its reserve")
    # EV2 with 300 Wh: 270 Wh / 55 W is 294.5 min, less 15 is 279.5.
    less = alike.with_settings({"suit.EV2.energy_wh": 300})
    assert limit_of(less) == (279.0, "EV2 energy reaches its reserve")
    # The limits bound the closed hatch, 2 min after both are there; breathable is 6 min later.
    closed = less.with_settings({"airlock.hatch_closed_min": 2, "airlock.ends": "hatch_closed"})
    assert limit_of(closed) == (273.0, "EV2 energy reaches its reserve")
    # Without a reserve all of it counts: 300 Wh / 55 W is 327.3 min, less 15.
    bare = less.with_settings({"suit.energy_reserve_fraction": None})
    assert limit_of(bare) == (312.0, "EV2 energy runs out")


@pytest.mark.parametrize("over_min", [7.5, 60.5])
@pytest.mark.parametrize(("rates", "then"), [({}, 290), ({"exertion_w.wait": 350}, 350),
                                             ({"exertion_w.travel": 100}, 210)])
def test_co2_of_ev2_by_hand_after_the_end(by_suits: pk.Scenario, rates: dict[str, float], then: float,
                                          over_min: float) -> None:
    # W min from the timeline as text, then on at the most of travel, wait and going in (light, 210 W).
    plan = pk.time_plan(by_suits.with_settings(rates))
    watts = {"rest": 120, "light": 210, "moderate": 290} | {"travel": 290, "wait": 120} | {
        key.removeprefix("exertion_w."): value for key, value in rates.items()}
    levels = plan.scenario.steps.set_index("step")["exertion"]
    spent = 15 * 120.0
    for row in plan.timeline.query("crew == 'EV2'").itertuples():
        level = row.kind if row.kind != "work" else (levels[row.step] or "moderate") if row.step else "light"
        spent += watts[level] * (row.finish_min - row.start_min)
    usable = (co2_g_per_min(spent, 0.9) + over_min * co2_g_per_min(then, 0.9)) / 0.9  # a tenth is reserve
    limit = pk.time_plan(plan.scenario.with_settings({"suit.EV2.co2_g": usable})).timed.hard_limit
    assert limit.minutes == np.floor(plan.end_min + over_min)
    assert limit.label == f"{int(limit.minutes // 60)}:{int(limit.minutes % 60):02d} " \
                          "(EV2 CO2 capacity reaches its reserve)"


def test_a_reserve_reached_in_the_middle_is_found_where_it_is(by_suits: pk.Scenario) -> None:
    # 55 W and 15 min before PET 0: usable for 15 + 41.2 min above the tenth.
    plan = pk.time_plan(by_suits.with_settings({"suit.EV1.energy_wh": 55 * 56.2 / 60 / 0.9}))
    assert plan.end_min > 60
    assert plan.timed.hard_limit.minutes == 41.0
    found = plan.findings.query("rule == 'outing-end'").iloc[0]
    assert (found["severity"], found["limit"]) == ("stop", 41.0)
    assert "hard limit of 0:41 (EV1 energy reaches its reserve)" in found["message"]
    assert "planned-past-hard" in set(plan.findings["rule"])


def test_no_limit_lies_beyond_what_is_known_of_windows_or_before_pet_zero(by_suits: pk.Scenario) -> None:
    assert limit_of(by_suits) == (720.0, "no windows are known beyond")
    idle = by_suits.with_settings({"suit.power_w": 0, "suit.oxygen_g": None, "suit.co2_g": None,
                                   "suit.water_g": None})
    assert limit_of(idle) == (720.0, "no windows are known beyond")
    used_up = by_suits.with_settings({"suit.EV1.energy_wh": 1})
    assert limit_of(used_up) == (0.0, "EV1 energy reaches its reserve")


def test_it_is_held_where_slack_is_asked_for(by_suits: pk.Scenario) -> None:
    scenario = by_suits.with_settings({"suit.EV2.co2_g": 240})
    plan = pk.time_plan(scenario).timed
    assert plan.end_min < plan.hard_min < 240
    fixed = pk.time_plan(scenario.with_settings({"limits.hard_min": plan.hard_min})).timed
    np.testing.assert_array_equal(plan.slack.to_limit, fixed.slack.to_limit)
    assert plan.timeline.equals(pk.Plan(fixed).timeline)
    pd.testing.assert_frame_equal(plan.return_summary, fixed.return_summary)


def test_heavier_work_moves_it_and_so_does_what_was_logged(by_suits: pk.Scenario) -> None:
    plan = pk.time_plan(by_suits.with_settings({"suit.EV1.oxygen_g": 200}))
    before = plan.timed.hard_limit
    assert before.why == "EV1 oxygen reaches its reserve"
    heavier = plan.what_if(settings={"exertion_w.moderate": 340})
    assert heavier.timed.hard_min < before.minutes
    log = pd.DataFrame([["A1", "started", "0:00", "", ""], ["", "suit", "0:08", "EV1", 420]],
                       columns=["step", "event", "at", "crew", "metabolic_w"])
    late = plan.retime(log, "0:08").timed
    assert late.hard_min < before.minutes
    assert late.slack.to_limit[-1] == pytest.approx(late.hard_min - late.end_min)


def test_what_is_not_known_is_refused_or_said(by_suits: pk.Scenario) -> None:
    nothing = by_suits.with_settings({"suit.power_w": None, "suit.respiratory_quotient": None,
                                      "suit.water_g": None})
    with pytest.raises(pk.ScenarioError) as refused:
        pk.time_plan(nothing)
    problems = refused.value.problems
    assert list(problems["column"]) == ["limits.hard_min"] * 2
    assert list(problems["value"]) == ["consumables"] * 2
    for key in ("[suit] power_w", "[suit] respiratory_quotient", "[suit] water_g", "EV1"):
        assert key in problems["problem"].iloc[0]
    found = pk.time_plan(by_suits.with_settings({"suit.EV2.co2_g": 0, "suit.water_g": None})).findings
    left_out = found.query("rule == 'store-left-out'")
    assert list(left_out["about"]) == ["water"] * 2
    assert set(left_out["severity"]) == {"concern"}


def same_many_times(plan: TimedPlan, count: int = 3) -> np.ndarray:
    """The limits of ``count`` timings that are all the plan's own."""
    begun = plan.outside.happened.fixed if plan.outside else {}
    return plan.limit_rule.minutes(Timings(
        steps=plan.steps, travels=plan.travels, settings=plan.scenario.settings,
        network=plan.network, starts=np.repeat(plan.starts[:, None], count, 1),
        durations=np.repeat(plan.durations[:, None], count, 1), end_min=np.repeat(plan.end_min, count),
        travel_factor={crew: np.ones(count) for crew in plan.travels}, begun=begun))


@pytest.mark.parametrize(("share", "airlock"), [
    (0.35, {}), (0.6, {"hatch_open_min": 45}), (0.8, {}), (1.0, {"hatch_open_min": 33, "hatch_closed_min": 4,
                                                               "ends": "hatch_closed"})])
def test_many_timings_agree_with_the_plan_that_they_are(demo: pk.Scenario, share: float,
                                                        airlock: dict[str, object]) -> None:
    # By store and share the reserve is reached in work, travel or a wait, or after the end; in a re-timed
    # plan too, with a decision that finds someone underway.
    suits = {f"suit.{store}": amount * share for store, amount in
             {"oxygen_g": 590, "co2_g": 720, "energy_wh": 480, "water_g": 3700}.items()}
    suits |= {f"airlock.{key}": value for key, value in airlock.items()}
    plan = pk.time_plan(demo.with_settings({"limits.hard_min": "consumables", **suits}))
    assert (same_many_times(plan.timed) == plan.timed.hard_min).all()
    assert (plan.timed.hard_min < plan.end_min) == (share < 0.9)
    for minute in (31, 97, 201):
        late = plan.retime(rehearsed(plan, minute, minute), minute)
        assert (same_many_times(late.timed) == late.timed.hard_min).all()
        task = next(task for task in reversed(late.scenario.records.tasks) if task.need != "required")
        skip = [step.step for step in late.timed.steps if step.task == task.task]
        decided = late.decide(skip=skip)
        assert (same_many_times(decided.timed) == decided.timed.hard_min).all()


def test_a_reserve_is_reached_at_the_first_moment_of_a_flat_stretch() -> None:
    at_min = np.array([[0.0], [10.0], [20.0], [30.0]])
    rates = np.array([[2.0, 0.0, 1.0], [0.0, 0.0, 0.0], [3.0, 3.0, 3.0]])
    found = reserve_reached_min(at_min, np.array([25.0, 5.0, 7.0]), rates, np.array([5.0, 5.0, 7.0]),
                                np.array([1.0, 0.0, 1.0]))
    # 25 - 20 is the reserve at 10, where nothing is used; at it from the start; at it and used at once.
    assert found[:, 0].tolist() == [10.0, 0.0, 0.0]
    never = reserve_reached_min(at_min, np.array([9.0]), rates[1:2], np.array([5.0]), np.array([0.0]))
    assert np.isinf(never).all()
