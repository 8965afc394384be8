"""Ways over named places, ways that tie, and ways along which nobody can be brought home.

The small outing: HAT - 6 m - MID - 12 m - MST, and HAT - 10 m - POR; both go 6 m/min. EV1 works at MID and
MST, EV2 at POR. Ingress 8 min; with the partner half as slow again.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import planning_kit as pk
from tests.edits import edited, with_row
from tests.judge.only import all_of, only


def with_loop(small: pk.Scenario, metres: float, minutes: float | str = "") -> pk.Scenario:
    """Another way from the Mid rack to the Mast head, over a ledge: twice so many metres."""
    bare = small.with_table("bodies", small.bodies[:0])  # nothing is drawn where the ledge is
    scenario = with_row(bare, "places", place="LED", x_m=0, y_m=0, z_m=9, crew_at_once=2, anchor="no",
                        socket="no", rescue="yes")
    for end in ("MID", "MST"):
        scenario = with_row(scenario, "routes", from_place=end, to_place="LED", metres=metres,
                            minutes=minutes, tight="no", snag="no", rescue="yes")
    return scenario


def to_the_mast(scenario: pk.Scenario, **cells: str) -> pk.Scenario:
    """The straight route from the Mid rack with cells changed."""
    routes = scenario.routes.astype(object)
    routes.loc[routes.query("from_place == 'MID' and to_place == 'MST'").index, [*cells]] = [*cells.values()]
    return scenario.with_table("routes", routes)


def step_at(plan: pk.Plan, step: str) -> float:
    return float(plan.timed.starts[plan.timed.position(step)])


def legs(plan: pk.Plan, crew: str, step: str) -> list[tuple[str, str]]:
    return [(leg.place, leg.to_place) for leg in plan.timed.passages[crew] if leg.step == step and leg.route]


def via(scenario: pk.Scenario, step: str, places: str, **more: str) -> pk.Scenario:
    steps = scenario.steps.assign(via_places="", wait_at="")
    return edited(scenario.with_table("steps", steps), "steps", step, via_places=places, **more)


def test_the_way_leads_over_the_named_places_in_their_order(small: pk.Scenario, small_plan: pk.Plan) -> None:
    plan = pk.time_plan(via(with_loop(small, 9.0), "B2", "LED"))
    assert legs(plan, "EV1", "B2") == [("MID", "LED"), ("LED", "MST")]
    # 18 m instead of 12: one minute more, shared out by length.
    assert step_at(plan, "B2") == pytest.approx(step_at(small_plan, "B2") + 1.0)
    first, second = (leg for leg in plan.timed.passages["EV1"] if leg.step == "B2" and leg.route)
    assert first.finish_min - first.start_min == pytest.approx(1.5)
    assert second.finish_min == pytest.approx(step_at(plan, "B2"))
    assert "by way of LED" in plan.explain("B2")


def test_there_and_back_to_where_they_are_is_a_way_too(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # B3 follows B2 at the Mast head: a look at the Mid rack between the two is 24 m, then it waits for night.
    plan = pk.time_plan(via(small, "B3", "MID"))
    assert legs(plan, "EV1", "B3") == [("MST", "MID"), ("MID", "MST")]
    bars = plan.timeline.query("step == 'B3' and kind == 'travel'").to_dict("records")
    assert [(bar["place"], bar["to_place"]) for bar in bars] == [("MST", "MST")]
    assert bars[0]["finish_min"] - bars[0]["start_min"] == pytest.approx(4.0)
    assert step_at(plan, "B3") >= step_at(small_plan, "B3")


def test_it_waits_after_the_named_places(small: pk.Scenario) -> None:
    # Over the ledge, 0.25 min a leg, to the Mid rack and back to the ledge, where it waits for the night.
    plan = pk.time_plan(via(with_loop(small, 1.5), "B3", "MID", wait_at="LED"))
    assert legs(plan, "EV1", "B3") == [
        ("MST", "LED"), ("LED", "MID"), ("MID", "LED"), ("LED", "MST")]
    waits = plan.timeline.query("step == 'B3' and kind == 'wait'").to_dict("records")
    assert [wait["place"] for wait in waits] == ["LED"]
    assert waits[0]["start_min"] == pytest.approx(step_at(plan, "B2") + 13 + 0.75)
    assert waits[0]["finish_min"] == pytest.approx(step_at(plan, "B3") - 0.25)


@pytest.mark.parametrize("places", ["NOW", "MID NOW"])
def test_a_named_place_must_be_one(small: pk.Scenario, places: str) -> None:
    with pytest.raises(pk.ScenarioError, match="via_places"):
        via(small, "B2", places)


def test_a_better_order_keeps_to_the_named_places(small: pk.Scenario) -> None:
    # A look at the Mid rack by way of the Port deck, last of all; better while the cassette vents.
    scenario = with_row(small, "tasks", task="LOK", title="Look", need="required", swappable="no")
    scenario = with_row(scenario, "steps", len(scenario.steps) - 1, step="D1", task="LOK", crew="EV2",
                        place="MID", minutes_likely=5, exertion="light")
    plan = pk.time_plan(via(scenario, "D1", "POR"))
    best = plan.propose("quick").best
    assert best is not None
    assert best.bound_min <= best.end_min + 1e-6 < plan.end_min
    assert legs(best.plan, "EV2", "D1")[-2:] == [("POR", "HAT"), ("HAT", "MID")]


def test_a_tie_that_changes_the_reach_is_told(small: pk.Scenario) -> None:
    # 12 m straight, 2 min; over the ledge 14 m in the same 2 min.
    scenario = with_loop(small, 7.0, 1.0)
    finding, back = all_of(scenario)
    assert (finding["severity"], finding["check"], finding["rule"]) == ("remark", "tethers", "way-tie")
    assert (finding["about"], finding["crew"], finding["step"]) == ("MID MST", "EV1", "B2")
    # Back over the ledge the line would lie round it, also where both ways are as long.
    assert (back["rule"], back["about"], back["step"]) == ("way-tie", "HAT MST", "Z1")
    assert only(with_loop(small, 6.0))["about"] == "HAT MST"
    assert "(the tether reaches up to 18.0 m on the way, 18.0 m then)" in finding["message"]
    assert "up to 20.0 m" in finding["message"]
    assert legs(pk.time_plan(scenario), "EV1", "B2") == [("MID", "MST")]
    # A hair slower than the tie is wide: nothing to choose.
    assert all_of(with_loop(small, 7.0, 1.0006)) == []


def test_a_tie_of_fewer_metres_is_walked(small: pk.Scenario) -> None:
    plan = pk.time_plan(with_loop(small, 5.5, 1.0004))
    assert legs(plan, "EV1", "B2") == [("MID", "LED"), ("LED", "MST")]


def untyped(small: pk.Scenario) -> pk.Scenario:
    """No cell says where a rescue is possible."""
    for table in ("places", "routes"):
        small = small.with_table(table, small.table(table).assign(rescue=""))
    return small


def test_where_one_person_fits_nobody_is_helped(small: pk.Scenario) -> None:
    finding = only(untyped(small))
    assert (finding["severity"], finding["rule"], finding["crew"]) == ("concern", "helped-no-way", "EV1")
    assert finding["about"] == "MST"
    assert "no second person can work at Mast head" in finding["message"]
    assert math.isnan(finding["value"])
    plan = pk.time_plan(untyped(small))
    at = plan.returns.query("crew == 'EV1' and place == 'MST'")
    assert np.isinf(at[["with_partner_min", "partner_abort_min", "partner_terminate_min"]]).all(axis=None)
    assert np.isneginf(at[["partner_margin_min", "partner_suit_margin_min"]]).all(axis=None)
    assert np.isfinite(plan.returns.query("crew == 'EV2'")["with_partner_min"]).all()
    # They are there from 0:17 on: up to then, and not later, turning back is in time.
    rows = plan.return_summary.query("crew == 'EV1'").set_index("case")
    assert rows.loc["emergency oxygen, with the partner", "turn_back_by_min"] == pytest.approx(17.0)
    assert rows.loc["consumables, with the partner", "margin_min"] == -math.inf


@pytest.mark.parametrize("tight", ["yes", ""])
def test_along_a_tight_route_nobody_is_brought(small: pk.Scenario, tight: str) -> None:
    scenario = edited(untyped(small), "places", "MST", rescue="yes")
    scenario = to_the_mast(scenario, tight=tight)
    finding = next(each for each in all_of(scenario) if each["check"] == "return")
    assert (finding["rule"], finding["about"], finding["crew"]) == ("helped-no-way", "MST", "EV1")
    assert "no chain of routes allows it" in finding["message"]
    # From when they leave the Mid rack until they are back there.
    assert finding["start_min"] == pytest.approx(15.0)


def test_the_quickest_way_of_those_allowed_counts(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # Straight 12 m, closed for a rescue; over the ledge 18 m. Alone straight; EV2 comes straight, too.
    scenario = to_the_mast(with_loop(small, 9.0), rescue="no")
    before, after = (plan.returns.query("crew == 'EV1' and place == 'MST'")
                     for plan in (small_plan, pk.time_plan(scenario)))
    assert after["alone_min"].tolist() == pytest.approx(before["alone_min"].tolist())
    expected = before["with_partner_min"] + 1.5 * (18 - 12) / 6
    assert after["with_partner_min"].tolist() == pytest.approx(expected.tolist())


def test_without_a_carry_factor_no_way_is_told_all_the_same(small: pk.Scenario) -> None:
    plan = pk.time_plan(untyped(small).with_settings({"limits.partner_carry_factor": None,
                                                      "limits.partner_carry_factor_source": None,
                                                      "limits.emergency_oxygen_min": None,
                                                      "limits.emergency_oxygen_min_source": None}))
    assert "helped-no-way" in set(plan.findings["rule"])
    partner = plan.returns.query("crew == 'EV1'")["with_partner_min"]
    assert partner.isna().any()
    assert np.isinf(partner).any()


def test_how_grave_it_is_is_typed(small: pk.Scenario) -> None:
    stop = untyped(small).with_settings({"limits.partner_rescue": "stop"})
    assert only(stop)["severity"] == "stop"
    assert only(stop)["source"] == "demo value"
    late = small.with_settings({"limits.return_reserve_min": 13, "limits.partner_rescue": "stop"})
    assert (only(late)["rule"], only(late)["severity"]) == ("helped-too-far", "stop")
    with pytest.raises(pk.ScenarioError, match="partner_rescue"):
        small.with_settings({"limits.partner_rescue": "remark"})


def test_what_is_not_typed_is_a_remark(small: pk.Scenario) -> None:
    untold = {"limits.partner_rescue": None, "limits.partner_rescue_source": None}
    no_severity = only(small.with_settings(untold))
    assert (no_severity["severity"], no_severity["rule"], no_severity["about"]) == (
        "remark", "missing", "partner_rescue")
    no_source = only(small.with_settings({"limits.partner_rescue_source": None}))
    assert (no_source["rule"], no_source["about"]) == ("no-source", "partner_rescue")
    no_rate = only(small.with_settings({"exertion_w.carry": None}))
    assert (no_rate["severity"], no_rate["rule"], no_rate["about"]) == ("remark", "missing", "carry")


def test_a_helper_uses_more_while_carrying(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # EV2 brings EV1 from the Mast head, 1.5 * 3 min, at 580 W instead of the 290 of travel: of what lasts as
    # long as in travel, 4.5 min more are gone. EV1, who is brought, uses no more, nor does EV2 alone.
    scenario = small.with_settings({"exertion_w.carry": 580, "suit.EV2.oxygen_g": 200})
    before, after = (pk.time_plan(each).returns.query("crew == 'EV1' and at_min == 30").iloc[0]
                     for each in (scenario.with_settings({"exertion_w.carry": 290}), scenario))
    assert before["partner_first_out"] == after["partner_first_out"] == "EV2 oxygen"
    assert after["partner_suit_margin_min"] == pytest.approx(before["partner_suit_margin_min"] - 4.5)
    assert after["suit_margin_min"] == before["suit_margin_min"]
    brought = [pk.time_plan(each).returns.query("crew == 'EV2' and at_min == 30").iloc[0]
               for each in (scenario.with_settings({"exertion_w.carry": 290}), scenario)]
    assert brought[0]["partner_first_out"] == "EV2 oxygen"
    assert brought[0]["partner_suit_margin_min"] == brought[1]["partner_suit_margin_min"]


def test_charts_sheets_and_the_briefing_say_no_way(small: pk.Scenario) -> None:
    plan = pk.time_plan(untyped(small))
    texts = [text for trace in pk.suit_chart(plan).data for text in (trace.text or ())]
    assert any(str(text).startswith("no way at 0:17") for text in texts)
    told = str(plan.briefing())
    assert "least margin no way" in told
    assert "inf" not in told.lower().replace("information", "")


def test_bringing_someone_in_against_a_published_standard(small: pk.Scenario) -> None:
    """An unconscious partner is back in the airlock within 30 min.

    Source: rescue standard in training, an agency's public blog, 2012-05-28 (seen as an excerpt only). From
    the Mast head, at 6 m/min and with a factor f: EV2 comes from the Port deck, 28 m, then f * 3 min, then 8
    min of ingress: 30 min at f = (30 - 28 / 6 - 8) / 3 = 5.78.
    """
    just = (30 - 28 / 6 - 8) / 3
    within = {"limits.emergency_oxygen_min": 30, "limits.return_reserve_min": 0}
    assert all_of(small.with_settings({**within, "limits.partner_carry_factor": just})) == []
    over = all_of(small.with_settings({**within, "limits.partner_carry_factor": just + 0.01}))
    assert [(each["rule"], each["crew"]) for each in over] == [("helped-too-far", "EV1")]
    assert over[0]["margin"] == pytest.approx(-0.03)
