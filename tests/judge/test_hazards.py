"""Hazards where people are: on an earlier demo, on the small outing, and published rules as hazards."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs.hazard_words import parse_controls
from planning_kit.plan.hazard_presence import controlled
from planning_kit.sky.light import season
from planning_kit.sky.orbit import Orbit
from tests.betas import beta_deg
from tests.edits import edited

TERN = Path(__file__).parents[1] / "data" / "tern-1"
BOOM = ("BR", "BK", "BO", "REG")
CHECKS = ("hazards", "hazard-data", "looks")
SOURCE = {"source": "test"}


def added(scenario: pk.Scenario, table: str, *rows: dict[str, Any]) -> pd.DataFrame:
    """The table with rows added, and with the columns that they need."""
    frame = scenario.table(table).astype(object)
    return pd.concat([frame, pd.DataFrame(rows, dtype=object)], ignore_index=True).fillna("")


def with_hazards(scenario: pk.Scenario, *rows: dict[str, Any]) -> pk.Scenario:
    rows = tuple({"class": "warning", "limit": "keep_out", "source": "test"} | row for row in rows)
    return scenario.with_table("hazards", added(scenario, "hazards", *rows))


def found(scenario: pk.Scenario, checks: tuple[str, ...] = CHECKS) -> list[tuple[str, str, str, str, str]]:
    findings = pk.time_plan(scenario).findings
    rows = findings[findings["check"].isin(checks)]
    return list(rows[["severity", "rule", "about", "crew", "step"]].itertuples(index=False, name=None))


def finding(scenario: pk.Scenario, rule: str) -> dict[str, Any]:
    rows = pk.time_plan(scenario).findings.query("rule == @rule").to_dict("records")
    assert len(rows) == 1, [row["message"] for row in rows]
    return rows[0]


# --- the boom of an earlier demo ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tern() -> pk.Scenario:
    """The demo with its boom a hazard, held by the boom drive's inhibit.

    Two tasks fetch and put back the foothold at the boom's root before and after that inhibit: each is given
    a hold of its own, without which both are stops (see below).
    """
    scenario = pk.load_scenario(TERN)
    places = scenario.places.astype(object)
    places["zone"] = ["boom" if place in BOOM else "" for place in places["place"]]
    holds = [{"inhibit": "I-FH1", "from_step": "EG2", "until_step": "RA1", "lead_min": 0, "needed_by": "FH1"},
             {"inhibit": "I-FH4", "from_step": "FH4", "until_step": "SM3", "lead_min": 8, "needed_by": "FH4"}]
    scenario = scenario.with_tables({"places": places, "inhibits": added(scenario, "inhibits", *holds)})
    return with_hazards(scenario, {"hazard": "BOOM", "title": "Boom turns", "zones": "boom",
                                   "controls": "I-DRV | I-FH1 | I-FH4"})


def kn5_longer(scenario: pk.Scenario, by_min: float) -> pk.Scenario:
    return edited(scenario, "steps", "KN5", minutes_likely=2 + by_min, minutes_high=max(3, 2 + by_min))


@pytest.mark.parametrize("by_min", [0, 5, 13.4])
def test_off_the_boom_before_its_brake_is_released_is_no_finding(tern: pk.Scenario, by_min: float) -> None:
    assert found(kn5_longer(tern, by_min)) == []


@pytest.mark.parametrize("by_min", [13.5, 14, 14.5, 15, 15.5, 16, 16.5, 17, 17.5, 17.6])
def test_on_the_boom_when_its_brake_is_released_is_a_stop(tern: pk.Scenario, by_min: float) -> None:
    scenario = kn5_longer(tern, by_min)
    assert found(scenario) == [("stop", "lifted", "BOOM", "EV2", "RB2")]
    # What re-reads the typing has nothing to say: KN5 itself lies inside the hold.
    assert [row for row in found(scenario, ("inhibits",)) if row[0] == "stop"] == []
    plan = pk.time_plan(scenario)
    row = finding(scenario, "lifted")
    lift_min = plan.timed.span("RG9")[1]
    # EV2 leaves BK when KN5 is finished, for BR (13 m) and on to HUB (6 m), at 6 m/min and with an extra
    # minute for RB2: until then nobody knows that they are off the boom.
    off_min = plan.timed.span("KN5")[1] + 19 / 6 + 1
    assert row["start_min"] == pytest.approx(lift_min)
    assert row["value"] == pytest.approx(off_min - lift_min, abs=1e-6)
    assert "Be out before RG9 is finished" in row["message"]


def test_an_actor_moves_the_boom(tern: pk.Scenario) -> None:
    # OP3 releases the brake as soon as RG9 is finished; EV2 is still on the leg from the boom's root.
    moving = with_steps(tern, OP3={"moves": "boom"})
    assert found(moving) == []
    assert found(kn5_longer(moving, 13.5)) == [("stop", "lifted", "BOOM", "EV2", "RB2"),
                                               ("stop", "on-moving-zone", "boom", "EV2", "OP3")]


def test_a_hold_typed_too_short_is_a_stop_though_its_typing_agrees(tern: pk.Scenario) -> None:
    short = edited(tern, "inhibits", "I-DRV", until_step="RN3", needed_by="RA1 KN1", hold_max_min="")
    rules = found(short)
    assert [row[:4] for row in rules if row[0] == "stop"] == [
        ("stop", "lifted", "BOOM", "EV1"), ("stop", "lifted", "BOOM", "EV2")]
    assert ("remark", "needed-by", "I-DRV", "", "") in rules
    assert not [row for row in found(short, ("inhibits",)) if row[0] == "stop" and row[2] == "I-DRV"]


def test_steps_exposed_and_not_typed_and_typed_and_not_exposed_are_one_remark(tern: pk.Scenario) -> None:
    needed = "RA1 KN1 KN2 KN3 KN4 IN1 RG1 RG2 RG3 RG4 RN2 RN3 RG5 X1 X2 X3 X4 X5 RG6 RB1 RG7 KN5 RG8 CB3"
    row = finding(edited(tern, "inhibits", "I-DRV", needed_by=needed), "needed-by")
    assert (row["severity"], row["about"]) == ("remark", "I-DRV")
    assert "not typed: X6; typed, but without one: CB3" in row["message"]


def test_without_a_hold_of_its_own_the_foothold_is_fetched_from_a_boom_that_may_turn() -> None:
    scenario = pk.load_scenario(TERN)
    places = scenario.places.astype(object)
    places["zone"] = ["boom" if place in BOOM else "" for place in places["place"]]
    scenario = with_hazards(scenario.with_table("places", places),
                            {"hazard": "BOOM", "zones": "boom", "controls": "I-DRV"})
    assert [row for row in found(scenario) if row[0] == "stop"] == [
        ("stop", "no-control", "BOOM", "EV1", "FH1"), ("stop", "no-control", "BOOM", "EV2", "FH4")]


@pytest.mark.parametrize(("cells", "rule", "about"), [
    # I-DRV stands from 5 min before RA1, I-FH1 until RA1 is finished.
    ({"safe_after_min": 8}, None, None),
    ({"safe_after_min": 8.5}, "not-yet-safe", "8.5 min after being set, RA1 is over"),
    ({"confirmed_by": "OP1"}, None, None),
    ({"confirmed_by": "KN1"}, "not-confirmed", "KN1 ends after RA1"),
    ({"confirmed_by": "KN1", "safe_after_min": 30}, "not-yet-safe", "both, and the pressure goes last"),
])
def test_not_yet_safe_and_not_confirmed(tern: pk.Scenario, cells: dict[str, Any], rule: str | None,
                                        about: str | None) -> None:
    inhibits = tern.inhibits.astype(object)
    for column, value in cells.items():
        inhibits[column] = [value if name == "I-DRV" else "" for name in inhibits["inhibit"]]
    rules = [row[:4] for row in found(tern.with_table("inhibits", inhibits), ("hazards",))]
    assert rules == ([] if rule is None else [("stop", rule, "BOOM", "EV1")]), about


# --- the small outing: one edit, exactly the expected finding ---------------------------------------------
# A1 0:00 to 0:10 both; EV1 takes B1 at MID from 0:10:50 and B2 at MST from 0:17.


@pytest.mark.parametrize(("class_", "severity"),
                         [("warning", "stop"), ("caution", "stop"), ("note", "concern")])
def test_kept_out_and_not_touched(small: pk.Scenario, class_: str, severity: str) -> None:
    for limit in ("keep_out", "no_contact"):
        scenario = with_hazards(small, {"hazard": "LAMP", "class": class_, "places": "MST", "limit": limit})
        assert found(scenario) == [(severity, "no-control", "LAMP", "EV1", "B2")]


def test_one_finding_a_spell_however_many_activities(small: pk.Scenario) -> None:
    # EV1 goes MID to MST, waits and works there twice: one spell. EV2 goes once to POR for two steps.
    scenario = with_hazards(small, {"hazard": "ALL", "places": "MST POR", "routes": "MID:MST"})
    assert [row[3:] for row in found(scenario)] == [("EV1", "B2"), ("EV2", "C2")]
    assert len(pk.time_plan(scenario).exposures) > 4


def test_passing_a_named_place_is_being_there(small: pk.Scenario) -> None:
    # EV1 goes home from MST by way of MID without a stop.
    scenario = with_hazards(small, {"hazard": "RACK", "places": "MID", "applies_to": "EV1"})
    moments = pk.time_plan(scenario).exposures.query("minutes == 0")
    assert moments[["place", "step", "doing"]].to_numpy().tolist() == [["MID", "Z1", "travel"]]
    assert found(scenario)[-1] == ("stop", "no-control", "RACK", "EV1", "Z1")


@pytest.mark.parametrize(("class_", "severity"),
                         [("warning", "stop"), ("caution", "concern"), ("note", "remark")])
def test_stays_and_totals(small: pk.Scenario, class_: str, severity: str) -> None:
    # At POR EV2 works 7 and 8 min, and waits in between as long as the night is away.
    plan = pk.time_plan(with_hazards(small, {"hazard": "HOT", "places": "POR", "class": class_,
                                             "limit": "stay", "limit_min": 15}))
    minutes = plan.exposures["minutes"].sum()
    for limit, rule, most in (("stay", "stay-too-long", minutes), ("total", "total-too-long", minutes)):
        row = {"hazard": "HOT", "class": class_, "places": "POR", "limit": limit}
        assert found(with_hazards(small, row | {"limit_min": round(most + 0.1, 1)})) == []
        over = finding(with_hazards(small, row | {"limit_min": most - 0.5}), rule)
        assert (over["severity"], over["crew"], over["about"]) == (severity, "EV2", "HOT")
        assert over["margin"] == pytest.approx(-0.5)


def test_a_total_adds_up_stays_that_are_each_short_enough(small: pk.Scenario) -> None:
    row = {"hazard": "COLD", "places": "HAT", "applies_to": "EV1"}
    first, *last = pk.time_plan(with_hazards(small, row)).exposures["minutes"]
    assert first == 10
    row["limit_min"] = sum(last) + 1
    assert found(with_hazards(small, row | {"limit": "stay"})) == []
    total = finding(with_hazards(small, row | {"limit": "total", "class": "caution"}), "total-too-long")
    assert total["value"] == pytest.approx(sum(last) + 10)
    assert "in 2 stays" in total["message"]


def with_steps(scenario: pk.Scenario, **cells: dict[str, Any]) -> pk.Scenario:
    """Cells of steps, by step; columns are added where there are none."""
    steps = scenario.steps.astype(object)
    for step, values in cells.items():
        for column, value in values.items():
            if column not in steps:
                steps[column] = ""
            steps.loc[steps["step"] == step, column] = value
    return scenario.with_table("steps", steps)


def zoned(scenario: pk.Scenario, **zones: str) -> pk.Scenario:
    places = scenario.places.astype(object)
    places["zone"] = [zones.get(place, "") for place in places["place"]]
    return scenario.with_table("places", places)


@pytest.mark.parametrize(("moves", "rides", "rules"), [
    ("C2", "", [("EV1", "C2")]),       # EV1 is on the mast while C2 moves it
    ("C2", "EV1", [("EV1", "C2")]),    # as planned, but gets on to it meanwhile
    ("B2", "", [("EV1", "B2")]),       # moves it under its own feet
    ("B2", "EV1", []),                 # and rides
    ("A1", "", []),                    # both are still at the hatch
])
def test_a_moving_zone(small: pk.Scenario, moves: str, rides: str, rules: list[tuple[str, str]]) -> None:
    scenario = with_steps(zoned(small, MST="mast"), **{moves: {"moves": "mast", "rides": rides}})
    assert found(scenario) == [("stop", "on-moving-zone", "mast", *who) for who in rules]


def test_contamination_stays_until_it_is_cleared(small: pk.Scenario) -> None:
    vent = {"hazard": "VENT", "places": "POR", "limit": "total", "limit_min": 60, "kind": "contamination"}
    bare = with_hazards(small, vent)
    assert found(bare) == [("stop", "contamination-inside", "VENT", "EV2", "C3")]
    assert found(with_hazards(small, vent | {"class": "caution"}))[0][0] == "concern"
    assert found(with_steps(bare, Z1={"clears": "VENT"})) == []
    assert found(with_steps(bare, C2={"clears": "VENT"}))[0][1] == "contamination-inside"  # still in it
    assert found(with_steps(bare, B3={"clears": "VENT"}))[0][1] == "contamination-inside"  # the other's


def test_looks_at_the_gloves(small: pk.Scenario) -> None:
    looked = with_steps(small, A1={"checks": "gloves"}, Z1={"checks": "gloves helmet"})
    assert found(looked) == [("remark", "no-every-min", "gloves helmet", "", "")]
    end_min, plan = pk.time_plan(small).end_min, pk.time_plan(small)
    # From the start of A1 (0:00) to the finish of Z1, 8 min of ingress before the end.
    apart_min = plan.timed.span("Z1")[1]
    assert apart_min == pytest.approx(end_min - 8)
    for most, rules in ((apart_min + 0.1, ["no-source"]), (apart_min - 0.5, ["no-look"] * 4 + ["no-source"])):
        scenario = looked.with_settings({"checks.every_min": most})
        assert sorted(row[1] for row in found(scenario)) == rules
    sourced = {"checks.every_min": 5.0, "checks.every_min_source": "test"}
    gloves, other, *_ = [row for row in found(looked.with_settings(sourced)) if row[2] == "gloves"]
    assert {gloves[3], other[3]} == {"EV1", "EV2"}
    assert [row[1:3] for row in found(small.with_settings(sourced))] == [("no-look", "")] * 2
    never = with_steps(small, B1={"checks": "gloves"}).with_settings(sourced | {"checks.every_min": 200})
    assert found(never) == [("concern", "no-look", "gloves", "EV2", "")]


def test_an_inhibit_confirmed_after_its_lift_controls_nothing(small: pk.Scenario) -> None:
    inhibits = small.inhibits.astype(object)
    for cells in ({"confirmed_by": "Z1"}, {"safe_after_min": 500}):
        row = finding(small.with_table("inhibits", inhibits.assign(**cells)), "never-controls")
        assert (row["severity"], row["about"]) == ("concern", "I-LMP")
    assert found(small.with_table("inhibits", inhibits.assign(confirmed_by="B2", safe_after_min=5))) == []


def test_what_is_confirmed_before_it_must_stand_is_not_confirmed_by_that(small: pk.Scenario) -> None:
    # I-LMP must stand from 5 min before B2 on; A1 is finished long before that, B2 after it.
    row = finding(small.with_table("inhibits", small.inhibits.astype(object).assign(confirmed_by="A1")),
                  "confirmed-early")
    plan = pk.time_plan(small).timed
    assert (row["severity"], row["about"], row["step"]) == ("remark", "I-LMP", "A1")
    assert (row["value"], row["limit"]) == (plan.span("A1")[1], plan.span("B2")[0] - 5)
    at_that_minute = small.inhibits.astype(object).assign(confirmed_by="A1", from_step="A1", lead_min=-0.0)
    assert found(small.with_table("inhibits", at_that_minute)) == []


def test_where_a_turned_part_of_the_station_is_nobody_knows(small: pk.Scenario) -> None:
    places = small.places.assign(zone=["", "", "mast", ""])
    near = {"hazard": "NEAR", "x_m": 90, "y_m": 0, "z_m": 0, "radius_m": 1}
    turned = with_hazards(with_steps(small.with_table("places", places), Z1={"moves": "mast"}), near)
    row = finding(turned.with_settings({"checks.body_m": 1.0}), "moved-places")
    assert (row["severity"], row["about"]) == ("remark", "mast")
    assert "NEAR" in row["message"]


def test_who_leaves_at_once_was_at_the_airlock_at_pet_zero(small: pk.Scenario) -> None:
    steps = small.steps[small.steps["step"] != "A1"]
    scenario = with_hazards(small.with_table("steps", steps), {
        "hazard": "EDGE", "places": "HAT", "limit": "no_contact"})
    spells = pk.time_plan(scenario).exposures
    assert [(each.crew, each.until_min) for each in spells.itertuples() if each.from_min == 0] == [
        ("EV1", 0), ("EV2", 0)]


def test_off_an_inhibit_the_remedy_names_it(small: pk.Scenario) -> None:
    row = finding(with_hazards(small, {"hazard": "LIVE", "routes": "MID:MST", "when": "off:I-LMP"}),
                  "no-control")
    assert "while I-LMP does not control" in row["message"]


def test_what_is_not_given_is_told(small: pk.Scenario) -> None:
    far = {"hazard": "FAR", "x_m": 90, "y_m": 0, "z_m": 0, "radius_m": 1, "source": ""}
    assert sorted(row[1] for row in found(with_hazards(small, far))) == ["no-body-m", "no-source"]
    scenario = with_hazards(small, far | SOURCE).with_settings({"checks.body_m": 1.0})
    assert found(scenario) == [("remark", "no-source", "body_m", "", "")]


# --- published rules, as hazards ---------------------------------------------------------------------------
# The texts are known from excerpts only, not from their documents: fair as shapes of rules, not as quotes.


def test_less_than_27_feet_from_a_thruster(small: pk.Scenario) -> None:
    """Public inhibit list of a 2007 shuttle outing (an excerpt): less than 27 ft; a foot is 0.3048 m."""
    radius_m = 27 * 0.3048
    assert radius_m == pytest.approx(8.23, abs=0.005)
    # MST is at (12, 9, -1): a thruster 8.2 m away is too near, 8.3 m is not, 8.3 m with a body of 0.1 m is.
    small = straight(small)

    def plan(away_m: float, body_m: float) -> list[tuple[str, ...]]:
        scenario = with_hazards(small, {"hazard": "JET", "x_m": 12, "y_m": 9 + away_m, "z_m": -1,
                                        "radius_m": radius_m})
        settings = {"checks.body_m": body_m, "checks.body_m_source": "test"}
        return [row[1:4] for row in found(scenario.with_settings(settings))]

    assert plan(8.2, 0.0) == plan(8.3, 0.1) == [("no-control", "JET", "EV1")]
    assert plan(8.3, 0.0) == []


def straight(scenario: pk.Scenario) -> pk.Scenario:
    """Every route as long as the line between its ends, so that nobody has to ask where it bends."""
    points = {place.place: (place.x_m, place.y_m, place.z_m) for place in scenario.records.places}
    routes = scenario.routes.astype(object)
    routes["metres"] = [math.dist(points[one], points[other])
                        for one, other in zip(routes["from_place"], routes["to_place"], strict=True)]
    return scenario.with_table("routes", routes)


def days_of_beta(scenario: pk.Scenario, least: float, most: float) -> str:
    """A PET 0 in 2031 at which beta lies between."""
    days = season(Orbit(scenario.elements), "2031-06-01", "2031-12-31")
    day = days[(days["beta_deg"] > least) & (days["beta_deg"] < most)]["day"].iloc[0]
    return f"{day:%Y-%m-%d}T12:00:00Z"


@pytest.mark.parametrize(("least", "most", "is_found"), [(-45, -40.5, True), (-39.5, -35, False),
                                                         (40.5, 45, False)])
def test_no_contact_at_beta_of_minus_40_or_below(small: pk.Scenario, least: float, most: float,
                                                 is_found: bool) -> None:
    """Public US EVA 23 list (seen as an excerpt): certain hoses, the sign of beta counts."""
    scenario = with_hazards(small, {"hazard": "HOSE", "places": "MID", "limit": "no_contact",
                                    "when": "beta<=-40"})
    pet_zero = days_of_beta(scenario, least, most)
    rows = pk.time_plan(without_night(scenario), pet_zero).findings.query("check == 'hazards'")
    assert (len(rows) > 0) == is_found


@pytest.mark.parametrize(("least", "most", "is_found"), [(75.5, 90, True), (-90, -75.5, True),
                                                         (60, 74.5, False)])
def test_touch_limits_beyond_75(small: pk.Scenario, least: float, most: float, is_found: bool) -> None:
    """The same list (an excerpt): touch temperatures may be exceeded beyond |beta| 75."""
    scenario = with_hazards(small, {"hazard": "TOUCH", "places": "MID", "limit": "no_contact",
                                    "class": "caution", "when": "abs(beta)>75"})
    elements = scenario.elements
    pet_zero = days_of_beta(scenario, least, most)
    assert least < float(beta_deg(Orbit(elements), pet_zero)[0]) < most
    rows = pk.time_plan(without_night(scenario), pet_zero).findings.query("check == 'hazards'")
    assert (len(rows) > 0) == is_found


def without_night(scenario: pk.Scenario) -> pk.Scenario:
    """No step waits for light, which there may be none of at such a beta."""
    return edited(scenario, "steps", "B3", light="any")


def test_15_minutes_at_most_at_a_foot_from_a_hot_shield(small: pk.Scenario) -> None:
    """Public list of a 1990s flight (an excerpt): at least 1 ft, and at most 15 min, from hot shields.

    Two rules of one thing: nobody nearer than a foot, and nobody near for longer.
    """
    # EV1 works 13 min at MST, then waits for night and works on: longer than 15 min at a time.
    small = straight(small)
    near = {"x_m": 12, "y_m": 9, "z_m": -1 - 0.3048, "radius_m": 0.3048}
    stay = with_hazards(small, {"hazard": "HEAT", "limit": "stay", "limit_min": 15, **near})
    assert [row[:4] for row in found(stay, ("hazards",))] == [("stop", "stay-too-long", "HEAT", "EV1")]
    assert finding(stay, "stay-too-long")["limit"] == 15
    apart = with_hazards(small, {"hazard": "SHIELD", **near, "z_m": -1 - 0.31})
    assert found(apart, ("hazards",)) == []


def test_two_of_a_or_one_of_b() -> None:
    """Public inhibit list of a 2007 shuttle outing (an excerpt): "two of ... or ..." as controls."""
    controls = parse_controls("2 of (A1 A2 A3) | B")
    spans = {"A1": (0, 10), "A2": (5, 20), "A3": (18, 30), "B": (28, 40)}
    windows = {name: pd.DataFrame([span]).to_numpy(float) for name, span in spans.items()}
    # Two of A from 5 to 10 and from 18 to 20, B from 28 on.
    assert controlled(controls, windows).tolist() == [[5, 10], [18, 20], [28, 40]]


def test_an_hour_of_warm_up_is_time_to_restore_and_no_time_until_safe(tern: pk.Scenario) -> None:
    """Public inhibit list of a 2007 shuttle outing (an excerpt): up to one hour of warm-up.

    What warms up is the unit that was switched off, once it is on again: its owner loses it for so much
    longer, and the crew is as safe as before. Read as time until safe it would forbid the first hour of the
    hold, in which the unit is off and harmless, and would leave it out of what the owner must plan for.
    """
    inhibits = tern.inhibits.astype(object)
    hour = [60 if name == "I-DRV" else "" for name in inhibits["inhibit"]]
    assert found(tern.with_table("inhibits", inhibits.assign(restore_min=hour))) == []
    assert [row[1] for row in found(tern.with_table("inhibits", inhibits.assign(safe_after_min=hour)))] == [
        "not-yet-safe"]
