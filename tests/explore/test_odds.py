"""Odds of a plan: against closed forms, published values, single timings and any number of workers."""

from __future__ import annotations

import pickle
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

import planning_kit as pk
from planning_kit.explore.odds.distributions import durations_from
from planning_kit.explore.odds.odds_tables import quantile, quantile_se, share
from planning_kit.explore.odds.sampled_outing import normals
from planning_kit.explore.odds.sampled_plans import time_samples
from planning_kit.explore.odds.study import Study
from planning_kit.plan.timing import earliest_starts, outing_end
from tests.edits import edited, with_row
from tests.plan.networks import activity_network


@pytest.fixture(scope="session")
def small_odds(small_plan: pk.Plan) -> pk.Odds:
    return small_plan.odds(samples=4_000)


@pytest.fixture(scope="session")
def demo_odds(demo_plan: pk.Plan) -> pk.Odds:
    return demo_plan.odds(samples=6_000)


def with_odds(scenario: pk.Scenario, **keys: object) -> pk.Scenario:
    return scenario.with_settings({f"odds.{key}": value for key, value in keys.items()})


# Low, likely, high and predecessors of a published three-point example (14 activities); see
# tests/plan/test_timing_published.py for its finish and slacks at mean durations.
PERT = {
    "A": (5, 5, 7, ""), "B": (1, 2, 5, ""), "C": (5, 5, 5, "A"), "D": (4, 8, 13, "A"),
    "E": (1, 10, 17, "B C"), "F": (1, 5, 7, "D"), "G": (2, 6, 9, "D"), "H": (4, 4, 6, "E F"),
    "I": (2, 7, 10, "G H"), "J": (2, 4, 7, "I"), "K": (6, 10, 13, "I"), "L": (2, 6, 6, "J"),
    "M": (2, 2, 3, "K"), "N": (7, 7, 12, "L M"),
}


def sampled_pert(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Finish, and length of the single path A-C-E-H-I-K-M-N, of the published example."""
    network = activity_network({name: row[3] for name, row in PERT.items()})
    durations = np.array([
        durations_from(normals(11, 0, f"step:{name}", count), low, likely, high, "pert")
        for name, (low, likely, high, _) in PERT.items()
    ])
    end = outing_end(network, earliest_starts(network, durations), durations)
    return end, durations[[list(PERT).index(name) for name in "ACEHIKMN"]].sum(axis=0)


def test_published_pert_example_and_its_merge_bias() -> None:
    # Finish 50.8333 at mean durations; variance 11.1944 along the critical path by ((b - a) / 6)^2;
    # P(<= 55) = 0.8935 by the normal approximation, computed apart from this project.
    mean, variance = 50.8333, 11.1944
    assert stats.norm.cdf((55 - mean) / np.sqrt(variance)) == pytest.approx(0.8935, abs=1e-4)
    end, path = sampled_pert(60_000)
    error = path.std() / np.sqrt(len(path))
    assert path.mean() == pytest.approx(mean, abs=4 * error)
    # The beta's own variance is (mean - a)(b - mean) / 7 a step: derived here, not the approximation.
    exact = sum(((a + 4 * m + b) / 6 - a) * (b - (a + 4 * m + b) / 6) / 7 for a, m, b, _ in
                (PERT[name] for name in "ACEHIKMN"))
    assert path.var() == pytest.approx(exact, rel=0.03)
    # Merge bias: where paths join, the later one counts, so the finish is later than along any one path.
    assert (end >= path - 1e-6).all()
    assert end.mean() > mean + 20 * error
    # About 0.02 less; ten standard errors of a share are 0.015.
    assert (end <= 55).mean() < stats.norm.cdf((55 - mean) / np.sqrt(exact)) - 0.015


def test_two_parallel_steps_against_numerical_integration() -> None:
    # E max(X, Y) = b - integral of F_X F_Y over [a, b], by scipy on scipy's own beta distributions.
    network = activity_network({"X": "", "Y": ""})
    estimates = {"X": (4.0, 8.0, 13.0), "Y": (5.0, 7.0, 15.0)}
    durations = np.array([durations_from(normals(5, 0, name, 60_000), *abc, "pert")
                          for name, abc in estimates.items()])
    end = outing_end(network, earliest_starts(network, durations), durations)
    betas = [stats.beta(1 + 4 * (m - a) / (b - a), 1 + 4 * (b - m) / (b - a), loc=a, scale=b - a)
             for a, m, b in estimates.values()]
    below, _ = integrate.quad(lambda t: betas[0].cdf(t) * betas[1].cdf(t), 4.0, 15.0)
    assert end.mean() == pytest.approx(15.0 - below, abs=4 * end.std() / np.sqrt(60_000))
    for t in (8.0, 9.0, 11.0):
        p = betas[0].cdf(t) * betas[1].cdf(t)
        assert (end <= t).mean() == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 60_000))


def test_nothing_random_gives_the_plan_itself(demo: pk.Scenario, demo_plan: pk.Plan) -> None:
    # The demo's own last starts lie after the planned ones, so nothing is dropped.
    fixed = with_odds(demo, common_sd=0, crew_sd=0, travel_sd=0, distribution="fixed")
    still = pk.time_plan(fixed).odds(samples=100)
    assert still.p_broken == 0
    assert (still.windows["p_overrun"] == 0).all()
    assert (still.clocks["p_broken"] == 0).all()
    assert (still.tasks["p_done"] == 1).all()
    assert np.allclose(still.tally.end_min, demo_plan.end_min, atol=1e-6)
    assert (still.windows["p"] == 1).all()
    assert (still.tasks["p_planned"] == 1).all()
    assert (still.tasks["p_dropped"] == 0).all()
    finish = still.task_finish
    assert finish["q50"].to_numpy() == pytest.approx(finish["planned_min"].to_numpy(), abs=1e-6)
    waits = still.waiting
    assert waits["mean_min"].to_numpy() == pytest.approx(waits["planned_min"].to_numpy(), abs=1e-6)
    assert len(still.drivers) == 0


@pytest.mark.parametrize("workers", ["threads", "processes"])
def test_results_do_not_depend_on_who_computes_them(demo_plan: pk.Plan, workers: str) -> None:
    alone = demo_plan.odds(samples=6_000)  # two chunks, the second one short
    pool = (ThreadPoolExecutor(3) if workers == "threads" else
            ProcessPoolExecutor(2, mp_context=get_context("spawn")))
    with pool as executor:
        shared = demo_plan.odds(samples=6_000, executor=executor)
    assert_same(alone, shared)


def test_a_dask_cluster_is_an_executor_like_any_other(demo_plan: pk.Plan) -> None:
    distributed = pytest.importorskip("distributed")
    with (distributed.LocalCluster(n_workers=1, threads_per_worker=2, processes=False,
                                   dashboard_address="127.0.0.1:0")
          as cluster, distributed.Client(cluster) as client):
        shared = demo_plan.odds(samples=6_000, executor=client.get_executor())
    assert_same(demo_plan.odds(samples=6_000), shared)


def assert_same(one: pk.Odds, other: pk.Odds) -> None:
    for name in ("end_min", "task_finish_min", "task_inside_min", "caught", "waits_min"):
        np.testing.assert_array_equal(getattr(one.tally, name), getattr(other.tally, name))
    assert one.tally.reasons == other.tally.reasons
    pd.testing.assert_frame_equal(one.drivers, other.drivers)


def test_more_samples_begin_with_the_same_ones(small_plan: pk.Plan, small_odds: pk.Odds) -> None:
    few = small_plan.odds(samples=700)
    assert np.array_equal(few.tally.end_min, small_odds.tally.end_min[:700])
    assert not np.array_equal(small_plan.odds(samples=700, seed=2).tally.end_min, few.tally.end_min)


def test_shares_are_counts_of_samples(demo_odds: pk.Odds) -> None:
    tally, rows = demo_odds.tally, demo_odds.summary.set_index("item")
    assert rows.loc["both inside by the hard limit", "p"] == np.mean(tally.end_min <= 420)
    assert rows.loc["both inside by the planned limit", "p"] == np.mean(tally.end_min <= 390)
    tasks = demo_odds.tasks.set_index("task")
    # Clean-up is the last task and ends at the airlock: it is done by the limit just when both are inside.
    assert tasks.loc["CLN", "p_hard"] == rows.loc["both inside by the hard limit", "p"]
    assert (tasks["p_planned"] <= tasks["p_hard"]).all()
    undone = np.isnan(tally.task_finish_min).mean(axis=1)
    assert (tasks["p_dropped"] + tasks["p_put_back"]).to_numpy() == pytest.approx(undone)
    assert tasks["p_done"].to_numpy() == pytest.approx(1 - undone)
    # Required work that has begun is put back where its night is missed, and told.
    assert tasks.loc["REG", "p_put_back"] > 0
    # The way home with its things takes time, so that now and then the jumper comes too late for its own.
    assert (tasks.drop(["REG", "HTR"])["p_put_back"] == 0).all()
    assert tasks.loc["HTR", "p_put_back"] < 0.01


def test_standard_errors_are_those_of_repeated_runs(small: pk.Scenario) -> None:
    plan = pk.time_plan(small.with_settings({"limits.planned_min": 78}))  # near the median end
    runs = [plan.odds(samples=400, seed=seed) for seed in range(40)]
    ends = [run.finish.set_index("quantile").loc[0.5] for run in runs]
    shares = [run.summary.set_index("item").loc["both inside by the planned limit"] for run in runs]
    for values, error in (([end["end_min"] for end in ends], np.mean([end["se_min"] for end in ends])),
                          ([each["p"] for each in shares], np.mean([each["se"] for each in shares]))):
        # The deviation of 40 runs is known to about 11 % (chi-square); four of that.
        assert np.std(values, ddof=1) == pytest.approx(error, rel=0.45)


def test_a_share_that_all_samples_agree_on_has_an_error_too() -> None:
    # (k + 1) / (n + 2) with n = k = 98 is 0.99; sqrt(0.99 x 0.01 / 98) = 0.01005.
    assert share(np.ones(98, dtype=bool)) == (1.0, pytest.approx(0.010051, abs=1e-6))
    assert share(np.array([True, False] * 50)) == (0.5, pytest.approx(0.05))


def test_quantiles_take_no_plan_as_never() -> None:
    values = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, np.inf])
    assert quantile(values, 0.5) == 5.0
    assert quantile(values, 0.9) == 9.0
    assert np.isnan(quantile(values, 0.95))
    assert quantile_se(np.arange(1.0, 401.0), 0.5) == pytest.approx(10.0)  # 400 x sqrt(.25 / 400) = 10 ranks


def test_drivers_are_the_rank_correlations_of_scipy(small_odds: pk.Odds) -> None:
    drivers = small_odds.drivers.set_index("driver")
    draws, end = small_odds.study.draw(0, 4_000), small_odds.tally.end_min
    placed = np.isfinite(end)
    for position, step in enumerate(small_odds.plan.timed.steps):
        own = normals(1, 0, f"step:{step.step}", 4_000)
        row = drivers.loc[step.step]
        assert row["own_rho"] == pytest.approx(stats.spearmanr(own[placed], end[placed]).statistic)
        whole = stats.spearmanr(draws.durations[position][placed], end[placed]).statistic
        assert row["duration_rho"] == pytest.approx(whole)
    assert (drivers["own_rho"].abs().diff().dropna() <= 0).all()  # strongest first
    # Z1 is the last step of both, with nothing to hide behind; after B1 EV1 waits for night in any case.
    assert drivers.loc["Z1", "own_rho"] > 0.3
    assert abs(drivers.loc["B1", "own_rho"]) < 0.1


def test_common_factors_are_drivers_where_they_vary(demo_odds: pk.Odds, small_odds: pk.Odds) -> None:
    kinds = demo_odds.drivers.set_index("driver")["kind"]
    assert kinds["outing"] == "outing"
    assert {"pace:EV1", "pace:EV2", "travel:EV1", "travel:EV2"} <= set(kinds.index)
    assert set(small_odds.drivers["kind"]) == {"step"}  # the small scenario has no [odds]
    assert demo_odds.drivers["driver"].iloc[0] == "outing"


def test_windows_are_those_of_the_plan_and_missed_by_later_starts(demo_odds: pk.Odds) -> None:
    windows = demo_odds.windows.set_index(["step", "window"])
    assert ("exchange", "light:night-2") in windows.index
    assert ("AN3", "light:day-4") in windows.index
    assert not {"X1", "X3"} & set(windows.index.get_level_values("step"))  # told by their group
    # The plan's slack to the link of DK2 is 3.3 minutes: a coin's toss. That of the night behind it is large.
    assert 0.3 < windows.loc[("DK2", "link:link-2"), "p"] < 0.7
    assert windows.loc[("exchange", "light:night-2"), "p"] > 0.9


def test_a_clock_is_judged_by_what_is_drawn(small: pk.Scenario) -> None:
    # C3 must begin within 36 min of the end of C1. Between them: 16 m at 6 m/min, C2, and 25 min of venting,
    # so the clock is broken just where C2 takes more than 36 - 25 - 16 / 6 = 8.333 min. C2 likely takes 7.
    scenario = with_row(small, "gaps", first_step="C1", then_step="C3", max_gap=36)
    plan = pk.time_plan(scenario)
    result = plan.odds(samples=4_000)
    most = 36 - 25 - 16 / 6
    over = result.study.draw(0, 4_000).durations[plan.timed.position("C2")] - most
    expected = stats.beta(1 + 4 * 2 / 5, 1 + 4 * 3 / 5, loc=5, scale=5).sf(most)
    clock = result.clocks.set_index("first_step").loc["C1"]
    assert clock["p_broken"] == pytest.approx(expected, abs=4 * np.sqrt(expected * (1 - expected) / 4_000))
    assert clock["p_broken"] == np.mean(over > 0) == result.p_broken
    assert clock["over_mean_min"] == pytest.approx(over[over > 0].mean(), abs=1e-6)
    assert clock["over_max_min"] == pytest.approx(over.max(), abs=1e-6)
    assert result.broken["reason"].tolist() == ["C1 to C3: more than 36 min"]
    assert (result.tasks["p_hard"] == 1).all()  # nothing else suffers


def test_a_clock_that_drops_its_task_is_kept_or_put_back(small: pk.Scenario) -> None:
    scenario = with_row(small, "gaps", first_step="C1", then_step="C3", max_gap=36, if_missed="drop")
    task = next(step.task for step in small.records.steps if step.step == "C3")
    broken = pk.time_plan(with_row(small, "gaps", first_step="C1", then_step="C3", max_gap=36)).odds(2_000)
    p = broken.clocks["p_broken"].max()
    assert p > 0.1
    result = pk.time_plan(edited(scenario, "tasks", task, put_back_min=4)).odds(2_000)
    line = result.tasks.set_index("task").loc[task]
    assert line["p_put_back"] == pytest.approx(p)
    assert line["p_done"] == pytest.approx(1 - p)
    assert result.clocks["p_broken"].max() == 0 == result.p_broken


def test_what_nobody_knows_how_to_put_back_goes_on_and_is_told(small: pk.Scenario) -> None:
    steps = small.steps
    if "safe_orderly_min" in steps:
        steps["safe_orderly_min"] = float("nan")
    bare = small.with_table("steps", steps)
    scenario = with_row(bare, "gaps", first_step="C1", then_step="C3", max_gap=36, if_missed="drop")
    result = pk.time_plan(scenario).odds(2_000)
    assert (result.tasks["p_done"] == 1).all()
    assert result.p_broken == result.clocks["p_broken"].max() > 0
    told = result.broken["reason"].tolist()
    assert any("C3 cannot be given up" in words and "put_back_min" in words for words in told)


def test_the_demo_says_how_often_its_cold_clock_is_broken(demo_odds: pk.Odds) -> None:
    clocks = demo_odds.clocks.set_index("then_step")
    assert 0.1 < clocks.loc["X5", "p_broken"] < 0.7
    assert clocks.loc["X5", "over_max_min"] > clocks.loc["X5", "over_mean_min"] > 0
    assert demo_odds.broken["reason"].iloc[0] == "RN1 to X5: more than 46 min"
    assert demo_odds.broken["p"].iloc[0] == clocks.loc["X5", "p_broken"]
    assert np.isfinite(demo_odds.tally.end_min).all()


def test_a_step_that_overruns_its_night_is_played_on(small: pk.Scenario) -> None:
    # B3 needs night and likely takes as long as before; drawn up to 60 min it may end behind its night.
    plan = pk.time_plan(edited(small, "steps", "B3", minutes_high=60))
    result = plan.odds(samples=2_000)
    row, position = result.windows.set_index("step").loc["B3"], plan.timed.position("B3")
    finish = plan.timed.starts[position] + result.study.draw(0, 2_000).durations[position]
    # What comes before it never keeps it from the begin of its night.
    assert row["p_overrun"] == np.mean(finish > row["latest_end_min"]) > 0
    assert row["p"] == 1 - row["p_overrun"]
    assert result.broken["reason"].tolist() == ["B3 does not end inside night"]


def test_who_goes_by_the_high_estimate_never_overruns(small: pk.Scenario) -> None:
    longer = edited(small, "steps", "B3", minutes_high=30)
    by_high = pk.time_plan(with_odds(longer, go_if="high")).odds(samples=2_000)
    assert (by_high.windows["p_overrun"] == 0).all()
    assert np.isfinite(by_high.tally.end_min).all()


def test_a_missed_window_is_waited_for_or_given_up_as_the_task_says(demo: pk.Scenario) -> None:
    waits = pk.time_plan(edited(demo, "tasks", "REG", if_missed="next_window")).odds(2_000)
    drops = pk.time_plan(edited(demo, "tasks", "REG", if_missed="drop")).odds(2_000)
    waiting, dropping = (each.tasks.set_index("task").loc["REG"] for each in (waits, drops))
    assert waiting["p_done"] == 1
    assert dropping["p_put_back"] + dropping["p_dropped"] > 0.3  # also where only the pass of DK2 is missed
    by_hard = [each.events["both inside by the hard limit"].mean() for each in (waits, drops)]
    assert by_hard[0] < by_hard[1]


def not_known(scenario: pk.Scenario, step: str, name: str = "quiet") -> pk.Scenario:
    """The scenario with a named period that a step needs, years after the day."""
    row = {"window": name, "start": "2039-09-03T07:30:00Z", "end": "2039-09-03T17:30:00Z", "source": "test"}
    known = scenario.table("windows").astype(object)
    kept = known[known["window"] != name].to_dict("records") if len(known) else []
    return edited(scenario.with_table("windows", pd.DataFrame([*kept, row])), "steps", step, windows=name)


def test_odds_say_not_known_where_a_period_is_not(small: pk.Scenario, small_odds: pk.Odds) -> None:
    result = pk.time_plan(not_known(small, "B2")).odds(4_000)
    tasks, before = result.tasks.set_index("task"), small_odds.tasks.set_index("task")
    shares = [name for name in tasks if name.startswith("p_")]
    assert tasks.loc["LMP", shares].isna().all()
    assert tasks.loc["LMP", "why"] == "B2 needs quiet, which is not known for this day"
    # The rest is what it was: the step is taken to be done all the same.
    others = ["EGR", "CAS", "CLN"]
    pd.testing.assert_frame_equal(tasks.loc[others, shares], before.loc[others, shares])
    np.testing.assert_array_equal(result.tally.end_min, small_odds.tally.end_min)
    told, was = (each.summary.set_index("item")["p"] for each in (result, small_odds))
    assert told.notna().tolist() == [True, True, False, False, False, False]
    assert told.iloc[:2].tolist() == was.iloc[:2].tolist()
    assert np.isnan([result.p_required, result.p_broken]).all()
    assert result.broken["reason"].iloc[0].startswith("LMP not known: B2 needs quiet")
    assert result.windows.set_index("step").loc["B2", ["p", "p_overrun"]].isna().all()
    assert "something broken not known" in repr(result)
    compared = small_odds.compare(result).set_index("item")
    assert compared.loc["LMP done by the hard limit", "a"] == before.loc["LMP", "p_hard"]
    assert compared.loc["LMP done by the hard limit", ["b", "difference"]].isna().all()
    assert compared.loc["CAS done by the hard limit", "difference"] == 0


def test_what_needs_items_of_work_that_is_not_known_is_not_known_either(demo: pk.Scenario) -> None:
    result = pk.time_plan(not_known(demo, "FH1", "calm")).odds(200)
    why = result.tasks.set_index("task")["why"]
    assert why[why != ""].index.tolist() == ["KNU", "REG", "SEN", "SMP", "INS", "FHD"]
    assert why["KNU"] == "KN2 needs an item that a task that is not known brings"
    optional = pk.time_plan(not_known(demo, "SE1", "calm")).odds(200)
    told = optional.summary.set_index("item")["p"]
    assert told.notna().tolist() == [True, True, True, True, False, False]  # all required work has its odds
    assert 0 < optional.p_required <= 1


def test_required_work_done_and_inside(demo_odds: pk.Odds) -> None:
    tally, needs = demo_odds.tally, demo_odds.tasks["need"].to_numpy()
    done = ~np.isnan(tally.task_finish_min[needs == "required"]).any(axis=0)
    assert demo_odds.p_required == np.mean(done & (tally.end_min <= tally.hard_min))
    rows = demo_odds.summary.set_index("item")["p"]
    assert demo_odds.p_required == rows["both inside by the hard limit with all required tasks done"]
    assert demo_odds.p_required < rows["both inside by the hard limit"]


def test_a_window_with_no_night_left_gives_its_task_up(small: pk.Scenario) -> None:
    # All that wait for it are lost at once, so that nobody asks when the outing would end without.
    long = edited(small, "steps", "B3", minutes_low=50, minutes_likely=55, minutes_high=60)
    tasks = pk.time_plan(long).odds(200).tasks.set_index("task")
    assert tasks.loc["LMP", "p_put_back"] == 1
    assert tasks.loc["CAS", "p_done"] == 1


@pytest.mark.parametrize(("changes", "named"), [
    ({"samples": 99}, "samples"),  # too few for any share
    ({"samples": 3_000_000}, "samples"),
    ({"samples": 1e3}, "samples"),  # no whole number by type
    ({"samples": True}, "samples"),
    ({"seed": -1}, "seed"),
    ({"seed": "one"}, "seed"),
    ({"seed": None}, "seed"),
    ({"samples": 5, "seed": 0.5}, "seed"),  # both are told
])
def test_requests_without_sense_are_refused(small_plan: pk.Plan, changes: dict, named: str) -> None:
    with pytest.raises(pk.ScenarioError) as refused:
        small_plan.odds(**changes)
    assert named in set(refused.value.problems["column"])
    assert len(refused.value.problems) == len(changes)


def test_an_unknown_distribution_is_refused(small: pk.Scenario) -> None:
    with pytest.raises(pk.ScenarioError, match="triangular"):
        pk.time_plan(with_odds(small, distribution="triangle")).odds()


def test_reprs_are_short_exact_and_escaped(small: pk.Scenario, small_odds: pk.Odds) -> None:
    rows = small_odds.summary.set_index("item")
    p, se = rows.loc["both inside by the planned limit", ["p", "se"]]
    assert repr(small_odds).startswith("<Odds of 'Beacon lamp and cassette': samples 4000, seed 1; ")
    assert f"inside by 1:30 {100 * p:.1f} % ± {100 * se:.1f}" in repr(small_odds)
    hostile = pk.time_plan(small.with_settings({"title": "<img src=x onerror=alert(1)>"}))
    page = hostile.odds(samples=100)._repr_html_()
    assert "<img" not in page
    assert "&lt;img" in page
    assert "samples" in page


def test_a_table_taken_is_a_copy(small_odds: pk.Odds) -> None:
    for name in ("summary", "tasks", "windows", "finish", "task_finish", "waiting", "drivers"):
        before, taken = getattr(small_odds, name), getattr(small_odds, name)
        taken.iloc[0, 0] = taken.iloc[-1, 0]
        pd.testing.assert_frame_equal(getattr(small_odds, name), before)
    with pytest.raises(AttributeError):
        small_odds.plan = None  # type: ignore[misc]


def test_a_study_pickles_small(demo_odds: pk.Odds) -> None:
    assert len(pickle.dumps(demo_odds.study)) < 200_000


def test_a_late_step_starts_as_planned_or_when_it_is_free(small: pk.Scenario) -> None:
    late = edited(small, "steps", "B2", when="late")
    plan = pk.time_plan(late)
    row = plan.timed.position("B2")
    assert plan.timed.starts[row] > pk.time_plan(small).timed.starts[row]
    study = Study.of(plan.timed, 1)
    draws = study.draw(0, 400)
    starts = time_samples(study.outing, draws, study.rules).starts
    own = [bound for bound in plan.timed.network.bounds_into[row] if bound.kind in ("order", "after")]
    free = np.max([starts[bound.before] + draws.durations[bound.before] + bound.fixed_min
                   + bound.travel_min * draws.travel.get(bound.crew, 1.0) for bound in own], axis=0)
    np.testing.assert_allclose(starts[row], np.maximum(free, plan.timed.starts[row]), atol=1e-6)
    still = pk.time_plan(with_odds(late, distribution="fixed")).odds(samples=100)
    assert np.allclose(still.tally.end_min, plan.end_min, atol=1e-6)
