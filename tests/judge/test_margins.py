"""Margins of a plan: each by hand, what missing it costs, and the slack that a sheet may print."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.judge.every_margin import exact_margins, nearest_edges
from planning_kit.judge.margins import IN_WINDOWS, by_tightness, spread, tightness
from tests.edits import edited
from tests.judge.tight_outing import NIGHT_LEFT_MIN, WAIT_MIN, tight_outing
from tests.test_scenarios import SCENARIOS

TERN = SCENARIOS.parent / "tests" / "data" / "tern-1"


@pytest.fixture(scope="module")
def tight() -> pk.Plan:
    return pk.time_plan(tight_outing())


@pytest.fixture(scope="module")
def tern() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(TERN))


def one(plan: pk.Plan, kind: str, about: str):
    return next(each for each in exact_margins(plan.timed) if (each.kind, each.about) == (kind, about))


def test_the_night_leads_with_what_is_left_of_it_and_what_a_minute_more_costs(tight: pk.Plan) -> None:
    night = one(tight, "night", "night 1")
    assert night.margin == pytest.approx(NIGHT_LEFT_MIN, abs=1e-6)
    # One minute more and B3 begins a minute of guard after the next night does; Z1 waits for it then.
    begins = float(tight.light.night[1][0]) + 1.0
    plan, (b3, b3_end) = tight.timed, tight.timed.span("B3")
    travel = plan.travels["EV1"].time_min("MST", "HAT")
    late = begins + (b3_end - b3) + travel - plan.span("Z1")[0]
    assert night.end_slip_min == pytest.approx(late, abs=1e-6)
    assert night.is_cliff
    assert "1 min later at B3 loses night 1: the end moves by " in night.words
    assert exact_margins(tight.timed)[0].kind == "night"


def test_what_a_miss_costs_is_that_of_the_minute_beyond(tern: pk.Plan) -> None:
    """So late, SV4 has cost the outing a night long before it loses its day: by that nothing is lost."""
    windows = [each for each in exact_margins(tern.timed) if each.kind in IN_WINDOWS and each.terms]
    assert len(windows) > 6
    for each in windows:
        ends = [tern.delay_curve(each.step, later, later)["end_min"].iloc[-1]
                for later in (max(each.margin, 1e-9), each.margin + 1.0)]
        slip = ends[1] - ends[0]
        assert (math.isnan(each.end_slip_min) and slip < 1e-6) or each.end_slip_min == pytest.approx(slip)
    assert {each.is_cliff for each in windows} == {True, False}


def test_margins_are_those_of_the_tables_and_checks(tern: pk.Plan) -> None:
    clocks = {f"{row['first_step']} {row['then_step']}": row["left"]
              for row in tern.clocks.to_dict("records")}
    told = {each.about: each.margin for each in exact_margins(tern.timed) if each.kind == "clock"}
    assert told == pytest.approx(clocks, abs=1e-6)
    reserve = tern.scenario.settings.limits.return_reserve_min
    ways = {(row["crew"], row["case"]): row["margin_min"] - reserve
            for row in tern.return_summary.to_dict("records")}
    told = {(each.crew, each.about): each.margin for each in exact_margins(tern.timed)
            if each.kind == "return"}
    assert told == pytest.approx(ways)
    stores = {(row["crew"], row["consumable"]): row["margin"] for row in tern.suit_summary.to_dict("records")}
    told = {(each.crew, each.about): each.margin for each in exact_margins(tern.timed)
            if each.kind == "store"}
    assert told == pytest.approx(stores)
    least = tern.tethers.groupby(["crew", "hook"])["margin_m"].min().to_dict()
    told = {(each.crew, each.about): each.margin for each in exact_margins(tern.timed)
            if each.kind == "tether"}
    assert told == pytest.approx(least)
    assert one(tern, "limit", "hard_min").margin == pytest.approx(tern.timed.hard_min - tern.end_min)


def test_what_the_plan_breaks_is_below_zero_just_where_a_check_says_so() -> None:
    plan = pk.time_plan(pk.load_scenario(SCENARIOS / "faulty-plan"))
    below = {(each.kind, each.about) for each in exact_margins(plan.timed) if each.is_missed}
    found = plan.findings
    held = found[(found["check"] == "inhibits") & found["rule"].isin(
        ["held-too-long", "outside-window", "not-in-force"])]
    assert {about for kind, about in below if kind == "inhibit"} == set(held["about"])
    assert ("limit", "hard_min") in below
    assert {about for kind, about in below if kind == "last start"} == set(
        found[found["rule"] == "last-start"]["about"])
    reach = found[found["rule"] == "reach"]
    assert {about for kind, about in below if kind == "tether"} == set(reach["about"])


def test_an_inhibit_that_the_order_of_work_keeps_in_force_is_no_margin(small_plan: pk.Plan) -> None:
    scenario = edited(small_plan.scenario, "inhibits", "I-LMP", needed_by="B2 B3", hold_max_min=60)
    told = [each for each in exact_margins(pk.time_plan(scenario).timed) if each.kind == "inhibit"]
    assert [each.what for each in told] == ["inhibit I-LMP, held at most 60 min"]
    hold = small_plan.records.inhibits[0]
    assert told[0].margin == pytest.approx(60 - hold.hold_min)


def test_an_inhibit_is_a_margin_for_who_may_come_out_of_it(small_plan: pk.Plan) -> None:
    scenario = edited(small_plan.scenario, "inhibits", "I-LMP", needed_by="C3")
    plan = pk.time_plan(scenario)
    told = next(each for each in exact_margins(plan.timed) if each.kind == "inhibit")
    hold, (start, finish) = plan.records.inhibits[0], plan.timed.span("C3")
    assert told.margin == pytest.approx(min(start - hold.set_by_min, hold.lift_after_min - finish))


def test_spread_is_what_high_durations_add_and_waits_take_off(tight: pk.Plan) -> None:
    late, plan = spread(tight.timed), tight.timed
    of = {step.step: late[plan.position(step.step)] for step in plan.steps}
    assert of["A1"] == pytest.approx(14 - 10)
    assert of["B1"] == pytest.approx(4 + (6 - 4))
    # C3 waits for the least gap behind C2, which nothing makes up for: C2 and what is before it are late.
    assert of["C3"] == pytest.approx((14 - 10) + (5 - 3) + (10 - 7) + (11 - 8))
    # B3 waits for night: what is before it is late by 4 + 2 + 5 = 11 min, less the wait.
    wait = plan.span("B3")[0] - plan.span("B2")[1]
    assert of["B3"] == pytest.approx(max(0.0, 11 - wait) + 5)


def test_what_is_missed_then_what_may_be_missed_then_cliffs_stand_first(tern: pk.Plan) -> None:
    told = exact_margins(tern.timed)
    ranks = [0 if each.is_missed else 1 if tightness(each) < 1 else 2 for each in told]
    assert ranks == sorted(ranks)
    assert by_tightness(reversed(told))[0].is_missed
    within = [each.is_cliff for each in told if not each.is_missed and tightness(each) < 1]
    assert within == sorted(within, reverse=True)


@pytest.mark.parametrize("name", ["tight", "tern"])
def test_a_sheet_never_says_more_slack_than_there_is(name: str, request: pytest.FixtureRequest) -> None:
    plan = request.getfixturevalue(name).timed
    edges = nearest_edges(plan)
    assert (edges <= np.minimum(plan.slack.to_limit, plan.slack.to_window) + 1e-9).all()
    for clock in plan.gap_clocks:
        if clock.gap.then_at == "start":
            assert edges[plan.position(clock.gap.then_step)] <= clock.left_min + 1e-9


def test_slack_is_to_the_nearest_edge_through_what_waits_behind(tight: pk.Plan) -> None:
    plan, edges = tight.timed, nearest_edges(tight.timed)
    of = {step.step: float(edges[plan.position(step.step)]) for step in plan.steps}
    assert of["B3"] == pytest.approx(NIGHT_LEFT_MIN, abs=1e-6)
    wait = plan.span("B3")[0] - plan.span("B2")[1]
    assert of["B2"] == pytest.approx(NIGHT_LEFT_MIN + wait, abs=1e-6)
    assert of["C3"] == pytest.approx(min(30.0, plan.slack.to_limit[plan.position("C3")]))
    # C2 is where the clock begins: to begin later uses up nothing of it.
    assert of["C2"] == pytest.approx(plan.slack.to_limit[plan.position("C2")])


def test_history_has_no_margins(tight: pk.Plan) -> None:
    steps = {"A1": (0, 10), "B1": (11, 15), "C1": (11, 14), "C2": (17, 24), "B2": (17, 30), "B3": (36, 64)}
    log = pd.DataFrame([{"step": step, "event": event, "at": at} for step, span in steps.items()
                        for event, at in zip(("started", "finished"), span, strict=True)])
    later = tight.retime(log, 70)
    rows = later.tightest_exact
    assert not (rows["kind"] == "night").any(), "B3 is done"
    assert set(rows.loc[rows["kind"] == "clock", "about"]) == {"C2 C3"}, "it runs"
    assert (rows["at_min"] >= 70).all()


def test_a_long_wait_and_what_would_fit_in_it_are_told() -> None:
    findings = pk.time_plan(tight_outing(wait_remark_min=60, wait_remark_min_source="demo value")).findings
    waits = findings[findings["rule"] == "long-wait"]
    assert list(waits["crew"]) == ["EV2", "EV1"]  # EV1 then waits for EV2 at the hatch
    assert f"EV2 waits {WAIT_MIN:g} min at Port deck" in waits["message"].iloc[0]
    assert set(waits["source"]) == {"demo value"}
    fits = findings[findings["rule"] == "fits-in-wait"]
    assert list(fits["about"]) == ["L1"]
    assert set(fits["severity"]) | set(waits["severity"]) == {"remark"}


def test_no_limit_for_waits_no_word_of_them(tight: pk.Plan) -> None:
    assert not tight.findings["rule"].isin(["long-wait", "fits-in-wait"]).any()


@pytest.mark.parametrize(("column", "value"), [
    ("after", "C3"), ("minutes_likely", 113), ("takes", "cassette"), ("uses", "cassette"), ("crew", "both"),
])
def test_a_step_that_is_bound_or_too_long_does_not_fit(column: str, value: object) -> None:
    high = {"minutes_high": 120} if column == "minutes_likely" else {}
    scenario = edited(tight_outing(wait_remark_min=60, hard_min=400, planned_min=390), "steps", "L1",
                      **{column: value}, **high)
    findings = pk.time_plan(scenario).findings
    assert "long-wait" in set(findings["rule"])
    assert "fits-in-wait" not in set(findings["rule"])


def test_a_cliff_nearer_than_the_estimates_vary_is_a_concern(tight: pk.Plan, small_plan: pk.Plan) -> None:
    found = tight.findings[tight.findings["rule"] == "cliff-near"]
    assert list(found["step"]) == ["B3"]
    assert set(found["severity"]) == {"concern"}
    assert found["value"].item() == pytest.approx(NIGHT_LEFT_MIN, abs=1e-6)
    assert "cliff-near" not in set(small_plan.findings["rule"])  # 16.9 min left, 10.4 of spread
