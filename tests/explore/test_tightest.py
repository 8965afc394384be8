"""The tightest margins with their odds: the shares are the odds' own, and what is likeliest stands first."""

from __future__ import annotations

import math
from dataclasses import fields

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.tightest import SAMPLES, SEED, TIGHTEST_COLUMNS
from planning_kit.judge.margins import Margin
from tests.edits import edited
from tests.judge.tight_outing import tight_outing
from tests.test_scenarios import SCENARIOS


@pytest.fixture(scope="module")
def tern() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(SCENARIOS.parent / "tests" / "data" / "tern-1"))


def test_shares_are_those_of_the_odds_of_the_same_samples(tern: pk.Plan) -> None:
    chances, rows = tern.odds(SAMPLES, SEED), tern.tightest
    caught = {(each["window"].partition(":")[2].replace("-", " "), round(each["p"], 9))
              for each in chances.windows.to_dict("records")}
    windows = rows[rows["kind"].isin(["night", "day", "named"]) | (rows["about"].str.startswith("link "))]
    assert len(windows) > 5
    for row in windows.to_dict("records"):
        assert (row["about"], round(1.0 - row["p_missed"], 9)) in caught
    summary = dict(zip(chances.summary["item"], chances.summary["p"], strict=True))
    of = rows[rows["kind"] == "limit"].set_index("about")["p_missed"]
    assert of["planned_min"] == pytest.approx(1 - summary["both inside by the planned limit"])
    assert of["hard_min"] == pytest.approx(1 - summary["both inside by the hard limit"])


def test_the_likeliest_to_be_missed_stands_first_then_cliffs(tern: pk.Plan) -> None:
    rows = tern.tightest
    likely = rows["p_missed"].fillna((rows["margin"] < -1e-6).astype(float))
    assert likely.is_monotonic_decreasing
    order = list(zip(-likely, ~rows["is_cliff"], strict=True))
    assert order == sorted(order)
    assert rows["is_cliff"].sum() >= 3


def test_a_night_short_of_a_minute_leads_and_says_what_it_costs() -> None:
    plan = pk.time_plan(tight_outing())
    first = plan.tightest.iloc[0]
    assert (first["kind"], first["step"], first["is_cliff"]) == ("night", "B3", True)
    assert 0.2 < first["p_missed"] < 0.9
    assert first["lost"].startswith("night 1; the end moves by ")
    assert list(plan.summary["item"])[3:7] == ["Both inside", "Tightest", "Second tightest", "Third tightest"]
    assert plan.summary["value"].iloc[4].startswith("0.9 min left: 1 min later at B3 loses night 1: ")


def test_the_exact_table_is_the_same_without_shares(tern: pk.Plan) -> None:
    exact, sampled = tern.tightest_exact, tern.tightest
    assert list(exact.columns) == list(sampled.columns) == TIGHTEST_COLUMNS
    assert exact["p_missed"].isna().all()
    keys = ["kind", "about", "crew", "step", "lost"]
    one, other = (pd.DataFrame(each).drop(columns="p_missed").sort_values(keys).reset_index(drop=True)
                  for each in (exact, sampled))
    pd.testing.assert_frame_equal(one, other)


def test_records_are_what_the_table_is_made_of(tern: pk.Plan) -> None:
    assert len(tern.records.tightest) == len(tern.tightest)
    assert tern.records.tightest[0].lost == tern.tightest["lost"].iloc[0]
    assert {field.name for field in fields(Margin)} >= {"terms", "spread_min"}


def test_odds_that_make_no_sense_leave_the_shares_out(small: pk.Scenario) -> None:
    table = pk.time_plan(small.with_settings({"odds.distribution": "no-such"})).tightest
    assert len(table)
    assert table["p_missed"].isna().all()


def test_a_window_with_no_later_one_is_told_so(small: pk.Scenario) -> None:
    table = pk.time_plan(small.with_settings({"horizon_h": 2.2})).tightest
    night = table[table["kind"] == "night"]
    assert list(night["end_slip_min"]) == [math.inf]
    assert night["lost"].item() == "night 1; no later one is known"


def test_text_of_the_scenario_is_told_on_one_line(small: pk.Scenario) -> None:
    gap = small.table("gaps").astype(object)
    gap.loc[0, "reason"] = "<b>x</b>\u202e $y$"
    plan = pk.time_plan(edited(small.with_table("gaps", gap), "tasks", "LMP", title="<img src=x>"))
    shown = repr(plan.tightest) + plan.tightest._repr_html_() + plan.summary._repr_html_()
    assert "\u202e" not in shown
    assert "<b>x</b>" not in plan.tightest._repr_html_()
