"""The cut rule, and dropping in samples: against a plain loop that re-times one sample at a time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.changes.change import apply, step_named
from planning_kit.changes.dropping import Drop, GivenUp
from planning_kit.explore.long_question import at_once
from planning_kit.explore.odds.foresight import Foresight
from planning_kit.explore.odds.hanging import ItemMoves
from planning_kit.explore.odds.played import Given, playing
from planning_kit.explore.odds.sampled_outing import Outing, left_out, part_without
from planning_kit.explore.odds.sampled_plans import cut_rules, time_samples
from planning_kit.explore.odds.study import Study
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts, outing_end
from tests.conftest import SCENARIOS
from tests.edits import edited
from tests.explore.one_sample import given_up_alone

SAMPLES = 16
TERN, CURLEW = (Path(__file__).parents[1] / "data" / name for name in ("tern-2", "curlew-deck"))
FAULTY = SCENARIOS / "faulty-plan"
TIGHT = {"SEN": 192, "SMP": 240, "ANT": 242, "LMP": 286, "SHD": 300}  # near the planned starts: many drops


@pytest.fixture(scope="module")
def tight(demo: pk.Scenario) -> pk.Plan:
    tasks = demo.tasks
    tasks["last_start_min"] = [TIGHT.get(task, own)
                               for task, own in zip(tasks["task"], tasks["last_start_min"], strict=True)]
    return pk.time_plan(demo.with_table("tasks", tasks))


def without(scenario: pk.Scenario, dropped: frozenset[str]) -> TimedPlan:
    """The plan of the scenario with tasks left out by editing its tables, not by the code under test."""
    steps = [step.step for step in scenario.records.steps if step.task in dropped]
    return TimedPlan.of(apply(scenario, [Drop(tuple(map(step_named, steps)))]))


def ruled(folder: Path, **cells: dict[str, object]) -> pk.Plan:
    """A plan of other tasks: by task, cells of its row."""
    scenario = pk.load_scenario(folder)
    if folder == FAULTY:  # without what no plan can keep: the plain loop goes on to look for one
        scenario = edited(scenario, "steps", "P3", after="B3")
        for step in ("B3", "F1"):
            scenario = edited(scenario, "steps", step, same_window="", light="any")
        scenario = scenario.with_table("gaps", scenario.gaps.iloc[:2])
    tasks = scenario.tasks.astype(object)
    columns = dict.fromkeys(("last_start_min", "put_back_min"), "")
    tasks = tasks.assign(**{name: value for name, value in columns.items() if name not in tasks})
    scenario = scenario.with_table("tasks", tasks)
    for task, row in cells.items():
        scenario = edited(scenario, "tasks", task, **row)
    return pk.time_plan(scenario)


def test_samples_are_timed_as_a_plain_loop_does_one_at_a_time(tight: pk.Plan) -> None:
    assert len(compared_one_by_one(tight)) > 3  # the comparison has met several ways of giving up


@pytest.mark.parametrize(("folder", "cells", "goes"), [
    # The foothold of all others comes out with FHD; nothing of them has begun.
    (TERN, {"FHD": {"last_start_min": 0}}, {"FHD", "KNU", "REG", "SEN", "SMP", "INS"}),
    (FAULTY, {}, {"DEK", "BOX"}),  # what SLT misses cannot be put back: it goes on
    (FAULTY, {"SLT": {"put_back_min": 6}, "BOX": {"put_back_min": 4}}, {"DEK", "BOX", "SLT"}),
    (FAULTY, {"SLT": {"put_back_min": 0}, "BOX": {"put_back_min": 0}}, {"DEK", "BOX", "SLT"}),
    (CURLEW, {"ANT": {"last_start_min": 1}}, {"ANT"}),
])
def test_what_hangs_on_a_task_by_its_items_goes_with_it(folder: Path, cells: dict, goes: set[str]) -> None:
    ways = compared_one_by_one(ruled(folder, **cells))
    assert {frozenset(task for task, _ in way) for way in ways} == {frozenset(goes)}


def compared_one_by_one(tight: pk.Plan) -> set[frozenset[tuple[str, str]]]:
    """The ways of giving up that samples met, each as the plain loop has it."""
    study = Study.of(tight.timed, seed=4)
    draws = study.draw(0, SAMPLES)
    plans = time_samples(study.outing, draws, study.rules)
    seen = set()
    for sample in range(SAMPLES):
        given_up, starts, end = given_up_alone(tight.timed, draws, sample)
        ours = {task: plans.ways[way - 1].put_back or "dropped"
                for task, way in zip(plans.tasks, plans.way[:, sample], strict=True) if way}
        assert ours == given_up
        for position, step in enumerate(tight.timed.steps):
            np.testing.assert_equal(plans.starts[position, sample], starts.get(step.step, np.nan))
        assert plans.end_min[sample] == pytest.approx(end, abs=1e-6)
        seen.add(frozenset(given_up.items()))
    return seen


def missed(scenario: pk.Scenario, gone: set[str]) -> tuple[str, ...]:
    return ItemMoves.of(pk.time_plan(scenario).timed).missed_by([GivenUp(frozenset(gone))])


def test_what_is_missed_is_told_by_hand(small: pk.Scenario) -> None:
    # C1 fetches the bag that C3 uses, and B1 the new lamp that B3 uses and leaves.
    assert missed(small, {"C1"}) == ("C3",)
    assert missed(small, {"B1"}) == ("B3",)
    assert missed(small, {"B3"}) == missed(small, {"A1", "Z1"}) == ()
    brought = edited(edited(small, "steps", "B1", leaves="driver"), "steps", "B2", takes="driver", uses="")
    # Without B1 the driver stays in the hands of EV1, who uses it in B3: for a take alone it has ended well.
    assert missed(brought, {"B1"}) == ("B3",)  # the lamp
    stays = edited(brought, "hardware", "driver", end_at="MST")
    assert missed(stays, {"B1"}) == ("B2", "B3")
    by_partner = edited(brought, "steps", "C3", uses="bag driver")  # never within reach: not because of B1
    assert missed(by_partner, {"B1"}) == ("B3",)


def test_dropped_tasks_are_gone_as_from_the_tables(demo: pk.Scenario, demo_plan: pk.Plan) -> None:
    outing = Outing.of(demo_plan.timed)
    for dropped in (frozenset({"SEN"}), frozenset({"SHD", "ANT"}), frozenset({"KNU", "VEN"})):
        edited_plan = without(demo, dropped)
        part = part_without(outing, left_out(outing, dropped))
        assert [demo_plan.timed.steps[i].step for i in part.kept] == [step.step for step in edited_plan.steps]
        starts = earliest_starts(part.network, demo_plan.timed.durations[part.kept])
        assert np.array_equal(starts, edited_plan.starts)


def test_no_kept_task_begins_late(tight: pk.Plan) -> None:
    study = Study.of(tight.timed, seed=1)
    draws = study.draw(0, 3_000)
    cut = time_samples(study.outing, draws, study.rules)
    for rule in study.rules:
        begins = cut.starts[study.outing.steps_of[rule.task]].min(axis=0)
        kept = cut.way[cut.tasks.index(rule.task)] == 0
        assert rule.last_start_min is not None
        assert (begins[kept] <= rule.last_start_min + 1e-6).all()
        assert np.isnan(begins[~kept]).all()
        assert 0 < kept.mean() < 1


def test_rules_are_decided_by_last_start_then_cut_order(demo_plan: pk.Plan, demo: pk.Scenario) -> None:
    rules = cut_rules(Outing.of(demo_plan.timed))
    assert [rule.task for rule in rules] == ["SEN", "SMP", "ANT", "LMP", "SHD"]
    same = edited(demo, "tasks", "SMP", last_start_min=265)  # as ANT, which has the lower cut order
    assert [rule.task for rule in cut_rules(Outing.of(pk.time_plan(same).timed))][1:3] == ["ANT", "SMP"]


def test_probabilities_follow_the_rule(demo: pk.Scenario) -> None:
    never = pk.time_plan(edited(demo, "tasks", "SEN", last_start_min=0)).odds(samples=300)
    sensor = never.tasks.set_index("task").loc["SEN"]
    assert sensor["p_hard"] == 0
    assert sensor["p_dropped"] == 1
    assert sensor["p_done"] == 0
    assert never.task_finish.set_index("task").loc["SEN", "share"] == 0
    assert not never.windows.set_index("step").loc["DK4", "p"]


def test_waits_add_up_in_every_sample(tight: pk.Plan) -> None:
    study = Study.of(tight.timed, seed=2)
    draws = study.draw(0, 12)
    plans = time_samples(study.outing, draws, study.rules)
    for sample in range(12):
        ways = {task: plans.ways[way - 1] for task, way in zip(plans.tasks, plans.way[:, sample], strict=True)
                if way}
        if any(way.put_back for way in ways.values()):
            continue
        left, end = without(tight.scenario, frozenset(ways)), plans.end_min[sample]
        for number, crew in enumerate(tight.timed.travels):
            work = sum(draws.durations[tight.timed.position(step.step), sample] for step in left.steps
                       if step.crew in (crew, "both"))
            extra = sum(step.travel_extra_min for step in left.steps if step.crew in (crew, "both"))
            walked = sum(a.minutes for a in left.lanes[crew] if a.kind == "travel") - extra
            way = extra + walked * draws.travel[crew][sample]
            ingress = tight.scenario.settings.airlock.ends_min
            assert plans.waits[number, sample] == pytest.approx(end - ingress - work - way, abs=1e-5)


def test_proposed_last_starts_keep_the_level_and_a_minute_more_does_not(demo_plan: pk.Plan) -> None:
    cuts = demo_plan.cuts(level=0.95, samples=1_000)
    assert cuts["task"].tolist() == ["INS", "ANT", "SHD", "LMP", "SMP", "SEN"]  # the scenario's cut order
    assert (cuts["p"] >= 0.95).all()
    stricter = demo_plan.cuts(level=0.99, samples=1_000)
    assert (stricter["last_start_min"] <= cuts["last_start_min"]).all()
    # By hand for the debris shield: with what goes before it (INS, ANT) gone, begun at L in each sample.
    study = Study.of(demo_plan.timed, 1)
    draws = study.draw(0, 1_000)
    left = without(demo_plan.scenario, frozenset({"INS", "ANT"}))
    rows = [demo_plan.timed.position(step.step) for step in left.steps]
    own = draws.durations[rows]
    ahead = Foresight(left.network, left.durations)
    free = at_once(playing(ahead, Given(own, draws.travel))).starts
    shield = [i for i, step in enumerate(left.steps) if step.task == "SHD"]
    begins, at = free[shield].min(axis=0), left.position("SH1")

    def in_time(minute: float) -> float:
        able = np.isfinite(free).all(axis=0) & (begins <= minute)
        travel = {who: factor[able] for who, factor in draws.travel.items()}
        floor = np.full(len(rows), -np.inf)
        floor[at] = minute
        starts = at_once(playing(ahead, Given(own[:, able], travel, floor))).starts
        return float((outing_end(left.network, starts, own[:, able], travel) <= 420).mean())

    row = cuts.set_index("task").loc["SHD"]
    assert in_time(row["last_start_min"]) == row["p"]
    assert in_time(row["last_start_min"] + 1) < 0.95


def test_tasks_without_a_cut_order_get_one(demo: pk.Scenario) -> None:
    tasks = demo.tasks
    tasks["cut_order"] = float("nan")
    cuts = pk.time_plan(demo.with_table("tasks", tasks)).cuts(samples=200)
    # Get-ahead (ANT, INS; both of priority 6, ANT planned later), then optional: priority 5 by planned start
    # from the end (SHD 293, LMP 284, SMP 237), then 4.
    assert cuts["task"].tolist() == ["ANT", "INS", "SHD", "LMP", "SMP", "SEN"]
    assert cuts["cut_order"].tolist() == [1, 2, 3, 4, 5, 6]


def test_a_task_that_never_fits_has_no_last_start_and_is_not_begun(demo: pk.Scenario) -> None:
    long = edited(demo, "steps", "SH5", minutes_low=200, minutes_likely=210, minutes_high=220)
    plan = pk.time_plan(long)
    cuts = plan.cuts(samples=200)
    shield = cuts.set_index("task").loc["SHD"]
    assert np.isnan(shield["last_start_min"])
    assert shield["p"] < 0.95
    ruled = long.with_cuts(cuts)
    assert ruled.tasks.set_index("task").loc["SHD", "last_start_min"] == 0
    assert ruled.tasks.set_index("task").loc["EGR"].equals(long.tasks.set_index("task").loc["EGR"])
    assert pk.time_plan(ruled).odds(200).tasks.set_index("task").loc["SHD", "p_hard"] == 0
    assert long.tasks.set_index("task").loc["SHD", "last_start_min"] == 325  # the old one did not move


def test_an_outing_of_required_work_has_nothing_to_cut(small: pk.Scenario, small_plan: pk.Plan) -> None:
    cuts = small_plan.cuts(samples=100)
    assert len(cuts) == 0
    assert small.with_cuts(cuts).records.tasks == small.records.tasks


@pytest.mark.parametrize("level", [0, 1, 1.5, "high", float("nan"), None])
def test_a_level_without_sense_is_refused(small_plan: pk.Plan, level: object) -> None:
    with pytest.raises(pk.ScenarioError, match="level"):
        small_plan.cuts(level=level)  # type: ignore[arg-type]


def test_cuts_of_a_task_that_there_is_not_are_refused(small: pk.Scenario, demo_plan: pk.Plan) -> None:
    with pytest.raises(pk.ScenarioError, match="INS"):
        small.with_cuts(demo_plan.cuts(samples=100))


def test_only_what_a_table_of_cuts_says_is_changed(demo: pk.Scenario) -> None:
    # SMP and SHD have last starts of 260 and 325; a table of the order alone leaves them, and a NaN order is
    # no order.
    cuts = pd.DataFrame({"task": ["SMP", "SHD"], "cut_order": [7, np.nan]})
    tasks = demo.with_cuts(cuts).tasks.set_index("task")
    assert tasks.loc[["SMP", "SHD"], "last_start_min"].tolist() == [260, 325]
    assert tasks.loc["SMP", "cut_order"] == 7
    assert np.isnan(tasks.loc["SHD", "cut_order"])
    with pytest.raises(pk.ScenarioError, match="stands twice"):
        demo.with_cuts(pd.concat([cuts, cuts[:1]]))


@pytest.mark.parametrize("minute", [60.0, 141.0, 195.0, 243.0, 290.0])
def test_nothing_given_up_or_begun_by_a_minute_rests_on_what_is_drawn_after_it(tight: pk.Plan,
                                                                               minute: float) -> None:
    study = Study.of(pk.time_plan(edited(tight.scenario, "tasks", "HTR", if_missed="drop")).timed, seed=3)
    draws = study.draw(0, 600)
    plans = time_samples(study.outing, draws, study.rules)
    other = np.random.default_rng(int(minute)).uniform(0.5, 40.0, draws.durations.shape)
    ran = np.clip(minute - np.nan_to_num(plans.starts, nan=np.inf), 0.0, None)
    changed = np.where(plans.starts + draws.durations <= minute, draws.durations, ran + other)
    again = time_samples(study.outing, replace(draws, durations=changed), study.rules)
    for one, two in ((plans, again), (again, plans)):
        by_then = one.starts <= minute
        np.testing.assert_array_equal(two.starts[by_then], one.starts[by_then])
    assert (again.end_min != plans.end_min).mean() > 0.9
