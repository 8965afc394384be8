"""What holds for every re-timed plan."""

from __future__ import annotations

import random
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.judge.all_checks import findings_of
from tests.conftest import SCENARIOS
from tests.explore.retime.rehearsal import as_planned, rehearsed
from tests.plan.outings import random_outing

ROUNDING_MIN = 1e-6  # UTC is logged in whole microseconds


@cache
def plan_of(name: str) -> pk.Plan:
    """One of the scenarios by name, or a random outing by number (those that have no plan: the small one)."""
    if not name.isdigit():
        return pk.time_plan(pk.load_scenario(SCENARIOS / name))
    try:
        return pk.time_plan(random_outing(random.Random(int(name))))
    except pk.ScenarioError:
        return plan_of("small-outing")


names = st.one_of(st.sampled_from(["small-outing", "tern-station", "faulty-plan"]),
                  st.integers(0, 12).map(str))
shares = st.integers(0, 100).map(lambda percent: percent / 100)


def said(plan: pk.Plan) -> list[list[object]]:
    columns = ["severity", "check", "crew", "step", "message"]
    # Without what was accepted before the outing, cliffs, and work that could be given up: a past leaves
    # less that can go wrong.
    found = findings_of(plan.timed).query("check != 'quality' and rule != 'no-put-back'")
    return found[columns].sort_values(columns).to_numpy().tolist()


def drawn(plan: pk.Plan) -> pd.DataFrame:
    columns = ["crew", "kind", "step", "place", "to_place", "start_min", "finish_min", "start_utc"]
    return plan.timeline[columns].sort_values(columns).reset_index(drop=True)


def starts_of(plan: pk.Plan) -> dict[str, float]:
    return dict(zip(plan.timed.network.steps, plan.timed.starts.tolist(), strict=True))


# Not the faulty plan: what it breaks is let go once it is logged, so that less is weighed against the rest.
@pytest.mark.parametrize("name", ["small-outing", "tern-station", "../tests/data/curlew-deck", "3", "7"])
@pytest.mark.parametrize("share", [0.0, 0.2, 0.37, 0.5, 0.81, 1.0])
def test_a_log_equal_to_the_plan_changes_nothing(name: str, share: float) -> None:
    plan = plan_of(name)
    now = share * plan.end_min
    new = plan.retime(as_planned(plan, now), now)
    assert type(new) is pk.Plan
    assert starts_of(new) == starts_of(plan)
    assert new.end_min == pytest.approx(plan.end_min, abs=ROUNDING_MIN)
    assert said(new) == said(plan)
    assert drawn(new).equals(drawn(plan))


@settings(max_examples=25)
@given(names, st.integers(0, 10_000), shares)
def test_the_past_never_moves_and_nothing_else_comes_before_now(name: str, seed: int, share: float) -> None:
    plan = plan_of(name)
    now = share * plan.end_min
    log = rehearsed(plan, seed, now)
    new = plan.retime(log, now)
    logged: dict[str, Any] = {
        event: log[log["event"] == event].set_index("step")["at"].to_dict()
        for event in ("started", "finished")}
    for step, start in starts_of(new).items():
        if step in logged["started"]:
            assert start == pytest.approx(logged["started"][step], abs=ROUNDING_MIN)
        else:
            assert start >= now - ROUNDING_MIN
    for step, finish in zip(new.timed.network.steps, new.timed.finishes.tolist(), strict=True):
        if step in logged["finished"]:
            assert finish == pytest.approx(logged["finished"][step], abs=ROUNDING_MIN)
        else:
            assert finish >= now - ROUNDING_MIN


@settings(max_examples=25)
@given(names, st.integers(0, 10_000), shares, st.integers(0, 40))
def test_a_later_now_never_makes_anything_earlier(name: str, seed: int, share: float, later: int) -> None:
    plan = plan_of(name)
    now = share * plan.end_min
    log = rehearsed(plan, seed, now)
    before, after = plan.retime(log, now), plan.retime(log, now + later)
    old, new = starts_of(before), starts_of(after)
    if set(old) == set(new):
        assert all(new[step] >= old[step] - ROUNDING_MIN for step in old)
        assert after.end_min >= before.end_min - ROUNDING_MIN
    else:  # what no longer fits can only become more
        assert set(new) < set(old)


@settings(max_examples=25)
@given(names, st.integers(0, 10_000), shares, st.integers(1, 40))
def test_a_longer_step_in_progress_never_makes_anything_earlier(name: str, seed: int, share: float,
                                                               longer: int) -> None:
    # The design excludes max gaps for durations; a step in progress has a fixed start, which no rule moves.
    plan = plan_of(name)
    now = share * plan.end_min
    log = rehearsed(plan, seed, now)
    plan_now = plan.retime(log, now)
    busy = plan_now.progress[plan_now.progress["status"] == "in progress"]["step"].tolist()
    if not busy:
        return
    partly = [{"step": step, "event": "partly", "at": now, "remaining_min": left} for step in busy[:1]
              if log[(log["step"] == step) & (log["at"] < now)].shape[0] for left in (5.0, 5.0 + longer)]
    if not partly:
        return
    short, long = (plan.retime(pd.concat([log, pd.DataFrame([row])]), now) for row in partly)
    old, new = starts_of(short), starts_of(long)
    if set(old) == set(new):
        assert all(new[step] >= old[step] - ROUNDING_MIN for step in old)


@settings(max_examples=15)
@given(names, st.integers(0, 10_000), shares)
def test_everything_can_be_asked_of_a_re_timed_plan(name: str, seed: int, share: float) -> None:
    plan = plan_of(name)
    now = share * plan.end_min
    log = rehearsed(plan, seed, now, slower=1.8)
    draw = random.Random(seed)
    untouched = [step.step for step in plan.timed.steps if step.step not in set(log["step"])]
    skipped = [{"step": step, "event": "skipped", "at": now} for step in untouched if draw.random() < 0.15]
    new = plan.retime(pd.concat([log, pd.DataFrame(skipped)], ignore_index=True), now)
    assert np.isfinite(new.timed.starts).all()
    for name in ("timeline", "findings", "suits", "returns", "custody", "tethers", "handovers", "progress",
                 "task_progress", "inhibits", "clocks", "summary", "kit_list", "cautions_on_the_way"):
        assert getattr(new, name) is not None, name
    assert all(new.explain(step) for step in new.timed.network.steps)
    gone = set(new.left_out["step"])
    assert gone >= {row["step"] for row in skipped}
    assert set(new.timed.network.steps) | gone >= {step.step for step in plan.timed.steps}
    assert new.standing.startswith("PET")
    pk.swimlane(new, baseline=plan)


def test_nothing_of_the_plan_outside_has_changed(demo: pk.Scenario, demo_plan: pk.Plan) -> None:
    before = demo.digest, demo_plan.timed.starts.copy()
    demo_plan.retime(rehearsed(demo_plan, 5, 180.0), 180.0)
    assert demo.digest == before[0]
    assert (demo_plan.timed.starts == before[1]).all()
