"""Odds of what is left of an outing, given the log."""

from __future__ import annotations

import pickle

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import planning_kit as pk
from planning_kit.explore.odds.distributions import durations_beyond, share_beyond
from planning_kit.plan.timing import earliest_starts
from tests.explore.retime.rehearsal import rehearsed
from tests.explore.retime.test_log import log_of

LOW, LIKELY, HIGH = 8.0, 10.0, 14.0  # A1 of the small outing
Z = np.linspace(-3.0, 3.0, 25)


def parents() -> dict[str, stats.rv_continuous]:
    """The distributions themselves, from scipy."""
    mode, width = (LIKELY - LOW) / (HIGH - LOW), HIGH - LOW
    return {"pert": stats.beta(1 + 4 * mode, 5 - 4 * mode, LOW, width),
            "triangular": stats.triang(mode, LOW, width), "uniform": stats.uniform(LOW, width)}


@pytest.mark.parametrize("name", ["pert", "triangular", "uniform"])
@pytest.mark.parametrize("elapsed", [0.0, 8.5, 10.0, 13.0, 13.9])
def test_what_is_left_is_the_truncated_distribution(name: str, elapsed: float) -> None:
    # The quantiles of a truncated distribution: F^-1(F(e) + (1 - F(e)) u), by scipy's F.
    parent = parents()[name]
    below = parent.cdf(elapsed)
    expected = parent.ppf(below + (1 - below) * stats.norm.cdf(Z))
    drawn = durations_beyond(Z, LOW, LIKELY, HIGH, name, np.full_like(Z, elapsed))
    assert drawn == pytest.approx(expected, abs=2e-3)
    assert share_beyond(np.array([elapsed]), LOW, LIKELY, HIGH, name)[0] == pytest.approx(
        1 - below, abs=2e-4)


@pytest.mark.parametrize("name", ["pert", "triangular", "uniform", "fixed"])
def test_beyond_the_highest_estimate_it_ends_now(name: str) -> None:
    assert (durations_beyond(Z, LOW, LIKELY, HIGH, name, np.full_like(Z, 20.0)) == 20.0).all()
    assert share_beyond(np.array([20.0]), LOW, LIKELY, HIGH, name)[0] == 0.0


def test_what_is_certain_stays_so() -> None:
    assert (durations_beyond(Z, 5, 5, 5, "pert", np.full_like(Z, 3.0)) == 5.0).all()
    assert (durations_beyond(Z, 4, 5, 8, "fixed", np.full_like(Z, 3.0)) == 5.0).all()


def plain(scenario: pk.Scenario) -> pk.Scenario:
    """Without common factors: a sample is then an outing with other likely durations."""
    return scenario.with_settings({f"odds.{name}": 0.0 for name in ("common_sd", "crew_sd", "travel_sd")})


@pytest.mark.parametrize(("seed", "now"), [(0, 100.0), (4, 205.0)])
def test_each_sample_is_a_re_timing_with_its_durations(demo: pk.Scenario, seed: int, now: float) -> None:
    plan = pk.time_plan(plain(demo))
    log = rehearsed(plan, seed, now - 3, slower=1.3)
    outing = plan.retime(log, now)
    found = outing.odds(samples=100, seed=2)
    draws = found.study.draw(0, 100)
    busy = outing.progress.query("status == 'in progress'")["step"].tolist()
    assert busy
    compared = 0
    for sample in range(0, 100, 9):
        minutes = dict(zip(outing.timed.network.steps, draws.durations[:, sample].tolist(), strict=True))
        steps = plan.scenario.steps
        for column in ("minutes_low", "minutes_likely", "minutes_high"):
            steps[column] = [minutes[name] if name not in set(log["step"]) else own
                             for name, own in zip(steps["step"], steps[column], strict=True)]
        other = pk.time_plan(plan.scenario.with_table("steps", steps))
        begun = {name: outing.timed.starts[outing.timed.position(name)] for name in busy}
        # What is in progress is said, at now, to take what the sample has for it.
        said = [{"step": name, "event": "partly", "at": now,
                 "remaining_min": max(0.0, begun[name] + minutes[name] - now)} for name in busy]
        alone = other.retime(pd.concat([log, pd.DataFrame(said)], ignore_index=True), now)
        if not np.isnan(found.tally.task_finish_min[:, sample]).any():  # no task was cut in this sample
            compared += 1
            assert found.tally.end_min[sample] == pytest.approx(alone.end_min, abs=1e-5)
    assert compared > 4


def test_the_past_has_no_variance_and_the_rest_has(small_plan: pk.Plan) -> None:
    now = small_plan.retime(log_of("A1 started 0:00", "A1 finished 0:13", "B1 started 0:15"), 17)
    durations = now.odds(samples=500).study.draw(0, 500).durations
    spread = np.ptp(durations, axis=1)
    names = now.timed.network.steps
    assert spread[names.index("A1")] == 0.0
    assert (durations[names.index("A1")] == 13.0).all()
    assert (durations[names.index("B1")] >= 2.0).all()  # of 3, 4 or 6 min; two have run
    assert all(spread[names.index(step)] > 0 for step in ("B1", "C1", "B2", "Z1"))


def test_remaining_minutes_as_said_take_the_place_of_the_estimate(small_plan: pk.Plan) -> None:
    log = log_of("A1 started 0:00", "A1 partly 0:06 8")
    now = small_plan.retime(log, 7)
    durations = now.odds(samples=2000).study.draw(0, 2000).durations[0]
    # 8 min from 0:06, spread as 8 / 10 / 14 is: 6.4, 8 and 11.2, so 12.4 to 17.2 in all. One minute has run.
    assert durations.min() > 12.4
    assert durations.max() < 17.2
    mean = 6 + (6.4 + 4 * 8 + 11.2) / 6
    error = 4.8 / np.sqrt(7) / np.sqrt(2000)  # no pert deviates by more than its range over the root of 7
    assert durations.mean() == pytest.approx(mean, abs=4 * error)


def test_a_step_at_twice_its_estimate_is_taken_to_end_now_and_it_is_said(small_plan: pk.Plan) -> None:
    now = small_plan.retime(log_of("A1 started 0:00"), 28)
    scenario = plain(small_plan.scenario)
    found = pk.time_plan(scenario).retime(log_of("A1 started 0:00"), 28).odds(samples=100)
    assert (found.study.draw(0, 100).durations[0] == 28.0).all()
    assert now.now_min == 28
    words = found.assumed.set_index("step").loc["A1", "words"]
    assert "beyond its highest estimate" in words


def test_once_the_window_is_behind_it_its_odds_are_certain(small_plan: pk.Plan) -> None:
    start = float(small_plan.timed.starts[small_plan.timed.position("B3")])
    rows = ["A1 started 0:00", "A1 finished 0:10", "B1 started 0:11", "B1 finished 0:15", "B2 started 0:17",
            "B2 finished 0:30"]
    before = small_plan.retime(log_of(*rows), 30).odds(samples=500)
    assert before.windows["step"].tolist() == ["B3"]
    assert before.windows["p"].iloc[0] == 1.0
    begun = pd.concat([log_of(*rows), pd.DataFrame([{"step": "B3", "event": "started", "at": start}])])
    assert small_plan.retime(begun, start + 1).odds(samples=500).windows.empty


def test_odds_of_a_re_timed_plan_repeat_and_travel(demo_plan: pk.Plan) -> None:
    now = demo_plan.retime(rehearsed(demo_plan, 0, 230.0, slower=1.4), 242.0)
    one = now.odds(samples=300)
    study = pickle.loads(pickle.dumps(one.study))
    assert (study.draw(0, 300).durations == one.study.draw(0, 300).durations).all()
    assert (now.odds(samples=300).tally.end_min == one.tally.end_min).all()
    assert (one.tally.end_min >= 242.0).all()
    waits = one.waiting.set_index("crew")
    assert (waits["mean_min"] >= 0).all()


def test_a_log_of_nothing_but_pet_zero_leaves_the_odds_as_they_were(small_plan: pk.Plan) -> None:
    before, after = small_plan.odds(500), small_plan.retime(log_of("- pet_zero 0:00"), 0).odds(500)
    assert after.tally.end_min.tolist() == before.tally.end_min.tolist()
    assert after.windows.equals(before.windows)
    assert after.waiting.equals(before.waiting)


def test_options_have_their_odds_and_dropping_more_does_not_lower_them(demo_plan: pk.Plan) -> None:
    late = demo_plan.retime(rehearsed(demo_plan, 0, 230.0, slower=1.4), 242.0)
    table = late.options(most=3, samples=300).set_index("kind")
    assert table["p_planned"].between(0, 1).all()
    assert table.loc["drop", "p_planned"].max() >= table.loc["carry on", "p_planned"]


def test_a_decision_table_outside_has_no_line_for_what_has_begun(demo_plan: pk.Plan) -> None:
    late = demo_plan.retime(rehearsed(demo_plan, 0, 230.0, slower=1.4), 242.0)
    table = late.decision_table(samples=200)
    begun = {row["task"] for row in late.progress.to_dict("records") if row["status"] != "to do"}
    assert set(table["task"]) == {"ANT", "SHD", "LMP", "SMP", "INS", "SEN"} - begun
    assert (table["drop_after_min"].isna() | (table["drop_after_min"] >= 242)).all()


def test_the_odds_of_each_line_of_a_decision_table_by_plain_sampling(demo: pk.Scenario) -> None:
    """An own sampler (numpy's beta) over the plans that dropping makes, one rule after the other."""
    limits = {"limits.planned_min": 375.0, "limits.hard_min": 385.0}  # so that lines are needed
    plan = pk.time_plan(plain(demo).with_settings(limits))
    table = plan.decision_table(samples=500)
    lines = table[table["drop_after_min"].notna()].sort_values(["drop_after_min", "line"], kind="stable")
    count, draw = 2000, np.random.default_rng(5)
    low, likely, high = (np.array([[getattr(step, f"minutes_{name}")] for step in plan.timed.steps])
                         for name in ("low", "likely", "high"))
    width = np.where(high > low, high - low, 1.0)
    mode = (likely - low) / width
    drawn = low + width * draw.beta(1 + 4 * mode, 5 - 4 * mode, (len(low), count))
    minutes = np.where(high > low, drawn, likely)
    gone = {frozenset[str](): np.arange(count)}  # tasks dropped, and the samples that drop just these
    for line in lines.to_dict("records"):
        after: dict[frozenset[str], list[np.ndarray]] = {}
        for dropped, samples in gone.items():
            other = plan.what_if(drop=[f"task:{task}" for task in sorted(dropped)]) if dropped else plan
            rows = [plan.timed.position(step) for step in other.timed.network.steps]
            starts = earliest_starts(other.timed.network, minutes[np.ix_(rows, samples)])
            own = [number for number, step in enumerate(other.timed.steps) if step.task == line["task"]]
            late = starts[own].min(axis=0) > line["drop_after_min"]
            after.setdefault(dropped, []).append(samples[~late])
            after.setdefault(dropped | {line["task"]}, []).append(samples[late])
        gone = {each: np.concatenate(parts) for each, parts in after.items()}
    shares = {task: sum(len(samples) for each, samples in gone.items() if task in each) / count
              for task in lines["task"]}
    assert max(shares.values()) > 0.05
    assert table.set_index("task").loc["ANT", ["drop_after_min", "p_dropped"]].isna().all()
    for line in lines.to_dict("records"):
        q = shares[line["task"]]
        error = np.hypot(line["se"], np.sqrt((q * (1 - q) + 1 / count) / count))
        assert line["p_dropped"] == pytest.approx(q, abs=4 * error)
