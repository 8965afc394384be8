"""Whether a response fits in what is left, and how far places to fall back to are."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.inputs.records import Records
from planning_kit.plan.procedures import left_with, needed_at, too_far
from tests.judge.test_procedure import found
from tests.procedures import RESPONSES, SMALL, TERN, new_outing, small_with_procedures, with_procedures


@pytest.fixture(scope="module")
def plain() -> pk.Scenario:
    return pk.load_scenario(SMALL)


def with_response(scenario: pk.Scenario, **cells: Any) -> pk.Scenario:
    """The small outing with one response to a cause: abort, of one crew member, without any minutes."""
    row = {"response": "R", "trigger": "glove cut", "call": "abort", "minutes_likely": 0, "source": "test"}
    return with_procedures(scenario, responses=[row | cells, RESPONSES[1]])


def least(scenario: pk.Scenario, name: str, **of: str) -> dict[str, float]:
    """The least margin of each crew member over the outing, until they go in: as ``plan.returns`` has it."""
    rows = pk.time_plan(scenario).returns
    return {crew: float(theirs[name].min()) for crew, theirs in rows.groupby("crew")}


# --- in time ------------------------------------------------------------------------------------------------


def test_an_abort_must_fit_in_the_emergency_oxygen(plain: pk.Scenario) -> None:
    reserve = plain.settings.limits.return_reserve_min or 0.0
    margin = least(plain, "emergency_margin_min")
    for crew, other in (("EV1", "EV2"), ("EV2", "EV1")):
        fits = with_response(plain, minutes_high=min(margin.values()) - reserve)
        assert found(fits) == []
        short = with_response(plain, minutes_high=margin[crew] - reserve + 0.5)
        mine = [each for each in found(short) if each[4] == crew]
        assert [each[:4] for each in mine] == [("concern", "responses", "not-in-time", "R")]
        assert other in plain.records.crew[0].crew + plain.records.crew[1].crew
    gone = with_response(plain, minutes_high=max(margin.values()) + 1)
    assert [each[:5] for each in found(gone)] == [
        ("stop", "responses", "not-in-time", "R", crew) for crew in ("EV1", "EV2")]
    rows = pk.time_plan(gone).findings.query("rule == 'not-in-time'")
    assert (rows["margin"] < -reserve).all()
    assert rows["message"].str.contains("of oxygen").all()


def test_the_minutes_until_the_call_count_too(plain: pk.Scenario) -> None:
    reserve = plain.settings.limits.return_reserve_min or 0.0
    spare = min(least(plain, "emergency_margin_min").values()) - reserve
    assert found(with_response(plain, minutes_high=spare - 1, decide_by_min=1)) == []
    assert found(with_response(plain, minutes_high=spare - 1, decide_by_min=1.5))
    assert found(with_response(plain, minutes_likely=spare + 0.5)), "likely where no high minutes are given"


def test_together_the_lesser_margin_counts(plain: pk.Scenario) -> None:
    reserve = plain.settings.limits.return_reserve_min or 0.0
    margin = least(plain, "emergency_margin_min")
    assert margin["EV1"] < margin["EV2"] - 1
    minutes = margin["EV1"] - reserve + 0.5
    assert {each[4] for each in found(with_response(plain, minutes_high=minutes))} == {"EV1"}
    along = found(with_response(plain, minutes_high=minutes, companion="along"))
    assert {each[4] for each in along} == {"EV1", "EV2"}


def test_to_be_brought_is_as_grave_as_the_scenario_says(plain: pk.Scenario) -> None:
    # At one moment brought in late: what the bare way home breaks is told by the check of that, once.
    plan = pk.time_plan(plain)
    reserve = plain.settings.limits.return_reserve_min or 0.0
    rows = plan.returns
    spare = float(rows["partner_margin_min"].max()) - reserve
    for typed, severity in (("stop", "stop"), ("concern", "concern"), (None, "concern")):
        scenario = with_response(plain, minutes_high=spare + 5, companion="brings").with_settings(
            {"limits.partner_rescue": typed})
        told = {each[0] for each in found(scenario) if each[1] == "responses"}
        assert told == {severity}


@pytest.mark.parametrize("call", ["terminate", "wait", "go on", "home alone"])
def test_all_else_must_leave_time_until_the_hard_limit(plain: pk.Scenario, call: str) -> None:
    plan = pk.time_plan(plain)
    left = plan.timed.hard_min - plan.end_min  # at the airlock, when they go in
    steps = plan.returns
    home = steps["terminate_min"] - plan.timed.safe_min + plan.end_min
    orderly = plan.timed.hard_min - steps["at_min"] - home
    spare = min(left, float(orderly[steps["at_min"] <= plan.records.returns[0].ingress_start_min].min()))
    assert found(with_response(plain, call=call, minutes_high=spare)) == []
    late = found(with_response(plain, call=call, minutes_high=spare + 1))
    assert {each[:4] for each in late} == {("concern", "responses", "not-in-time", "R")}


def test_brought_in_good_order_it_takes_the_way_of_both(plain: pk.Scenario) -> None:
    timed = pk.time_plan(pk.load_scenario(TERN)).timed
    response = next(each for each in timed.scenario.records.responses if each.response == "R-SILENT")
    for returns in timed.return_times:
        left, alone = (left_with(each, [returns], timed.suit_histories, 5.0)
                       for each in (response, replace(response, companion="")))
        longer = returns.partner_terminate.home_min - returns.terminate.home_min
        assert alone.limit_min - left.limit_min == pytest.approx(longer)
        assert longer.max() > 5


def test_suits_are_used_at_the_rate_of_the_work_under_way() -> None:
    timed = pk.time_plan(pk.load_scenario(TERN)).timed
    response = next(each for each in timed.scenario.records.responses if each.response == "R-GLOVE")
    returns = list(timed.return_times)
    left = left_with(response, returns, timed.suit_histories, 5.0)
    own = np.min([each.terminate.suit_margin_min for each in returns], axis=0)
    assert (left.supply_min <= own - response.most_min + 1e-9).all()
    assert (left.supply_min < own - response.most_min - 0.1).any(), "heavy work uses more than travel"
    going_in = returns[0].ingress_start_min
    for each in returns:
        own = left_with(replace(response, companion=""), [each], timed.suit_histories, 5.0)
        home = each.terminate.home_min - timed.safe_min + timed.end_min
        limit = timed.hard_min - each.at_min - home - response.most_min
        assert own.limit_min == pytest.approx(limit)
        assert (left.limit_min <= own.limit_min + 1e-9).all()
        at_end = timed.hard_min - timed.end_min - response.most_min
        assert 0 <= at_end - limit[each.at_min <= going_in].min() <= 2


def test_of_an_action_it_is_asked_while_its_step_lasts(plain: pk.Scenario) -> None:
    plan = pk.time_plan(small_with_procedures())
    turn = plan.scenario.records.responses[1]
    every = plan.records.actions
    assert needed_at(turn, every, "EV1", 200.0) == [plan.timed.span("B2"), plan.timed.span("B3")]
    assert needed_at(turn, every, "EV2", 200.0) == []
    water = plan.scenario.records.responses[0]
    assert needed_at(water, every, "EV2", 200.0) == [(0.0, 200.0)]
    demo = pk.time_plan(pk.load_scenario(TERN))
    live = next(each for each in demo.scenario.records.responses if each.response == "R-LIVE")
    # A step of the desk is nobody's in a suit: it concerns both.
    assert demo.timed.span("DK2") in needed_at(live, demo.records.actions, "EV2", 400.0)
    # One of EV2's that inside reads back concerns EV2 alone.
    assert demo.timed.span("VE1") not in needed_at(live, demo.records.actions, "EV1", 400.0)


def test_what_is_not_known_is_a_remark(plain: pk.Scenario, tmp_path: Path) -> None:
    assert found(with_response(plain, source="")) == [("remark", "responses", "no-source", "R", "", "")]
    bare = with_response(plain, minutes_likely="")
    assert found(bare) == [("remark", "responses", "no-minutes", "R", "", "")]
    assert found(with_response(plain, trigger="")) == [("remark", "responses", "not-used", "R", "", "")]
    new = new_outing(tmp_path / "new").edit_row("responses", "R-LOST", source="")
    assert found(new) == [("remark", "responses", "no-source", "R-LOST", "", "")]


# --- voice --------------------------------------------------------------------------------------------------


def with_fall_back(scenario: pk.Scenario, *places: str, most_min: float | None = None) -> pk.Scenario:
    frame = scenario.places
    frame["fall_back"] = ["yes" if place in places else "" for place in frame["place"]]
    keys = {"checks.voice_lost_min": most_min, "checks.voice_lost_min_source": "test"}
    return scenario.with_tables({"places": frame}, keys if most_min is not None else {})


def brute_force(plan: pk.Plan, crew: str, places: list[str], every_min: float = 0.05) -> float:
    """The longest way to the nearest of ``places`` at any moment, by small steps of time."""
    travel, worst = plan.timed.travels[crew], 0.0
    for each in plan.timed.passages[crew]:
        for at in np.arange(each.start_min, each.finish_min + every_min, every_min):
            here = min(travel.time_min(each.place, place) for place in places)
            if each.route is None:
                worst = max(worst, here)
                continue
            share = min(1.0, (at - each.start_min) / (each.finish_min - each.start_min))
            leg = travel.legs[each.place][each.to_place]
            there = min(travel.time_min(each.to_place, place) for place in places)
            worst = max(worst, min(here + share * leg, there + (1 - share) * leg))
    return worst


@pytest.mark.parametrize(("folder", "places"), [
    (SMALL, ["HAT"]), (SMALL, ["HAT", "POR"]), (SMALL, ["HAT", "MID", "MST", "POR"]),
    (TERN, ["AIR", "HUB", "BK"]), (TERN, ["AIR", "REG"])])
def test_the_farthest_moment_is_found(folder: Path, places: list[str]) -> None:
    plan = pk.time_plan(pk.load_scenario(folder))
    for crew in ("EV1", "EV2"):
        asked = plan.timed.passages[crew], plan.timed.travels[crew], places
        far = max(minutes for minutes, _, _ in too_far(*asked, 0.0))
        assert far == pytest.approx(brute_force(plan, crew, places), abs=0.06)
        assert too_far(*asked, far) == []
        assert too_far(*asked, far - 0.01)


def test_too_far_is_a_concern_with_its_minutes(plain: pk.Scenario) -> None:
    plan = pk.time_plan(plain)
    far = {crew: brute_force(plan, crew, ["HAT"]) for crew in ("EV1", "EV2")}
    most = max(far.values()) + 0.1
    assert found(with_fall_back(plain, "HAT", most_min=most)) == []
    told = found(with_fall_back(plain, "HAT", most_min=max(far.values()) - 0.1))
    assert [each[:4] for each in told] == [("concern", "voice", "too-far", "MST")]
    rows = pk.time_plan(with_fall_back(plain, "HAT", most_min=1)).findings.query("check == 'voice'")
    assert dict(zip(rows["crew"], rows["value"], strict=True)) == pytest.approx(far, abs=0.06)
    assert set(rows["source"]) == {"test"}


def test_what_is_not_given_of_voice_is_a_remark(plain: pk.Scenario) -> None:
    assert found(with_fall_back(plain, "HAT")) == [("remark", "voice", "no-limit", "HAT", "", "")]
    assert found(with_fall_back(plain, most_min=5)) == [("remark", "voice", "no-fall-back", "", "", "")]


def test_a_place_without_a_step_is_not_told_of(plain: pk.Scenario) -> None:
    """A block without a place: nobody knows where they are, which has a concern of its own."""
    block = with_fall_back(plain, "HAT", most_min=100).edit_row("steps", "C2", place="", uses="")
    assert isinstance(block.records, Records)
    assert found(block) == []
