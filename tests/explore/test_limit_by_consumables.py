"""A hard limit by consumables wherever plans are compared: each sample, PET 0, option, order has its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.propose.order_search import Judge
from tests.explore.retime.rehearsal import rehearsed

CONSUMABLES = {"limits.hard_min": "consumables"}


def tight(scenario: pk.Scenario, share: float) -> pk.Scenario:
    """With a hard limit by consumables, of which there is only a share."""
    suits = vars(scenario.settings.suits["EV1"])
    amounts = {f"suit.{name}": share * suits[name] for name in ("oxygen_g", "co2_g", "energy_wh", "water_g")}
    return scenario.with_settings({**CONSUMABLES, **amounts})


@pytest.fixture(scope="module")
def by_suits(demo: pk.Scenario) -> pk.Plan:
    return pk.time_plan(tight(demo, 0.93))


def test_samples_that_are_the_plan_have_its_limit(by_suits: pk.Plan) -> None:
    certain = {"odds.distribution": "fixed", "odds.common_sd": None, "odds.crew_sd": None,
               "odds.travel_sd": None}
    plan = pk.time_plan(by_suits.scenario.with_settings(certain))
    tally = plan.odds(samples=100).tally
    assert (tally.end_min == plan.end_min).all()
    assert (tally.hard_min == plan.timed.hard_min).all()


def test_each_sample_has_the_limit_of_the_plan_that_it_is(by_suits: pk.Plan) -> None:
    # Sample by sample the durations are typed in and timed as any plan; travel does not vary here.
    scenario = by_suits.scenario.with_settings({"odds.travel_sd": None, "odds.crew_sd": None,
                                                "odds.common_sd": None})
    tasks = scenario.tasks.assign(last_start_min=np.nan)
    odds = pk.time_plan(scenario.with_table("tasks", tasks)).odds(samples=100, seed=3)
    drawn = odds.study.draw(0, 100).durations
    steps, limits = scenario.steps, set()
    for sample in np.flatnonzero(np.isfinite(odds.tally.end_min))[:12].tolist():
        minutes = dict.fromkeys(("minutes_low", "minutes_likely", "minutes_high"), drawn[:, sample])
        plan = pk.time_plan(scenario.with_table("steps", steps.assign(**minutes)))
        assert odds.tally.end_min[sample] == pytest.approx(plan.end_min, abs=1e-6)
        assert odds.tally.hard_min[sample] == plan.timed.hard_min
        limits.add(plan.timed.hard_min)
    assert len(limits) > 3
    share = (odds.tally.end_min <= odds.tally.hard_min).mean()
    hard = odds.summary.set_index("item").loc["both inside by the hard limit"]
    assert hard["p"] == share
    assert "hard limit of each sample, in the plan" in repr(odds)


def test_samples_with_dropped_tasks_and_of_a_re_timed_plan_have_a_limit(by_suits: pk.Plan) -> None:
    odds = by_suits.odds(samples=400)
    placed = np.isfinite(odds.tally.end_min)
    assert np.isfinite(odds.tally.hard_min[placed]).all()
    assert np.isnan(odds.tally.hard_min[~placed]).all()
    late = by_suits.retime(rehearsed(by_suits, 5, 150), 150)
    fixed = late.what_if(settings={"odds.distribution": "fixed", "odds.common_sd": 0, "odds.crew_sd": 0,
                                   "odds.travel_sd": 0})
    tally = fixed.odds(samples=100).tally
    same = np.abs(tally.end_min - fixed.end_min) < 1e-6
    assert same.any()
    assert (tally.hard_min[same] == fixed.timed.hard_min).all()


def test_each_pet_zero_has_the_limit_of_its_plan(by_suits: pk.Plan) -> None:
    pet_zero = by_suits.timed.pet_zero
    sweep = by_suits.sweep(pet_zero, pet_zero + pd.Timedelta(minutes=95), 19)
    hards = (sweep["end_min"] + sweep["hard_margin_min"]).round(6)
    for row, hard in zip(sweep.to_dict("records"), hards, strict=True):
        assert hard == pk.time_plan(by_suits.scenario, row["pet_zero"]).timed.hard_min
    assert hards.nunique() > 1
    lines = {trace["name"]: trace["y"] for trace in pk.sweep_chart(sweep).data}
    assert list(lines["hard limit of each plan"]) == hards.to_list()


def test_what_is_found_is_judged_by_its_own_limit(by_suits: pk.Plan) -> None:
    scenario, plan = by_suits.scenario, by_suits.timed
    judge = Judge(scenario=scenario, records=scenario.records, current=plan, limit_min=plan.end_min + 60)
    heavier = by_suits.what_if(settings={"exertion_w.light": 380}).timed
    assert heavier.end_min == plan.end_min > heavier.hard_min
    assert judge.review(heavier).over_min == (0.0,)
    own = replace(judge, own_limit=lambda other: other.hard_min)
    assert own.review(heavier).over_min == (heavier.end_min - heavier.hard_min,)
    told = by_suits.compare(pk.Plan(heavier)).verdict.query("verdict == 'stop' and about == 'limits'")
    assert f"the hard limit of {heavier.hard_limit.label} is missed" in told["words"].iloc[0]
    again = pk.Plan(heavier).compare(by_suits).verdict.query("about == 'limits' and verdict == 'better'")
    assert "is kept again" in again["words"].iloc[0]


def test_options_outside_keep_the_limit_of_each(by_suits: pk.Plan) -> None:
    late = by_suits.retime(rehearsed(by_suits, 2, 120), 120)
    options = late.options(most=30)
    assert (options["end_min"] + options["hard_margin_min"]).round(6).nunique() > 1
    for row in options.to_dict("records"):
        plan = late.decide(**row["decide"]) if row["decide"] else late
        assert row["hard_margin_min"] == plan.timed.hard_min - plan.end_min


def test_a_cut_is_proposed_by_each_samples_limit(by_suits: pk.Plan) -> None:
    cuts = by_suits.cuts(samples=200)
    fixed = pk.time_plan(by_suits.scenario.with_settings({"limits.hard_min": by_suits.timed.hard_min}))
    assert not cuts["last_start_min"].equals(fixed.cuts(samples=200)["last_start_min"])
    assert (cuts["last_start_min"].dropna() <= by_suits.timed.hard_min).all()
