"""One minute of a plan, against the tables that the plan gives of the same facts."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

import planning_kit as pk
from planning_kit.plan.moments import whole_minutes


def people(plan, minute):
    return {person.crew: person for person in plan.at(minute).people}


def point_of(plan, place):
    row = plan.scenario.places.set_index("place").loc[place]
    return tuple(float(row[name]) for name in ("x_m", "y_m", "z_m"))


def test_at_the_start_of_a_step_everybody_is_at_its_place(demo_plan):
    timeline = demo_plan.timeline
    work = timeline[(timeline.kind == "work") & timeline.crew.isin(["EV1", "EV2"])]
    for row in work.itertuples():
        person = people(demo_plan, row.start_min)[row.crew]
        assert (person.place, person.route, person.share) == (row.place, None, 0.0), row.step
        assert person.point_m == point_of(demo_plan, row.place)
        assert (person.doing.kind, person.doing.step) == ("work", row.step)


def test_midway_along_a_leg_is_in_the_middle_of_its_segment(demo_plan):
    passages = demo_plan.timed.passages
    legs = [leg for each in passages.values() for leg in each if leg.route is not None]
    assert len(legs) > 50
    for leg in legs:
        person = people(demo_plan, (leg.start_min + leg.finish_min) / 2)[leg.crew]
        ends = point_of(demo_plan, leg.place), point_of(demo_plan, leg.to_place)
        assert person.point_m == pytest.approx([(a + b) / 2 for a, b in zip(*ends, strict=True)], abs=1e-9)
        assert (person.place, person.to_place) == (leg.place, leg.to_place)


def test_nobody_jumps(demo_plan):
    """In a tenth of a minute at 6.5 m/min nobody is drawn further than 0.65 m along a straight line."""
    for crew in ("EV1", "EV2"):
        points = [people(demo_plan, minute)[crew].point_m for minute in whole_minutes(demo_plan, 0.1)]
        assert max(math.dist(a, b) for a, b in pairwise(points)) <= 0.65 + 1e-6


def test_holders_are_those_of_the_custody_table(demo_plan):
    custody = demo_plan.custody[demo_plan.custody.holder != "inside"]
    for minute in (0.0, 20.0, 42.0, 70.0, 130.0, 141.0, 148.0, 150.0, 200.0, 300.0, demo_plan.end_min - 0.01):
        now = custody[(custody.from_min <= minute) & (custody.until_min > minute)]
        wanted = {(row.item, row.holder, row.in_bag) for row in now.itertuples()}
        assert {(s.item, s.holder, s.in_bag) for s in demo_plan.at(minute).stays} == wanted, minute


def test_reach_is_that_of_the_tethers_table_at_the_end_of_each_of_its_rows(demo_plan):
    """The table gives the greatest reach of a row: on a leg outward that is at its end."""
    checked = 0
    for row in demo_plan.tethers.itertuples():
        person = people(demo_plan, (row.from_min + row.until_min) / 2)[row.crew]
        assert person.hook == row.hook
        if not row.to_place:
            assert person.reach_m == pytest.approx(row.reach_m, abs=1e-9)
            checked += 1
        else:
            assert person.reach_m <= row.reach_m
    assert checked > 40


def straightened(scenario):
    """The scenario with each route exactly as long as the straight line between its ends."""
    points = {row.place: (row.x_m, row.y_m, row.z_m) for row in scenario.places.itertuples()}
    routes = scenario.routes
    ends = zip(routes["from_place"], routes["to_place"], strict=True)
    routes["metres"] = [math.dist(points[start], points[end]) for start, end in ends]
    return scenario.with_table("routes", routes)


def test_the_tether_as_drawn_is_as_long_as_its_reach_out_and_back(demo):
    """With straight routes the line from the hook to the person has the length that the plan counts."""
    plan = pk.time_plan(straightened(demo))
    points = {place: point_of(plan, place) for place in plan.scenario.places.place}
    for minute in whole_minutes(plan.timed, 0.5):
        for person in plan.at(minute).people:
            way = [*(points[place] for place in person.line), person.point_m]
            drawn = sum(math.dist(a, b) for a, b in pairwise(way))
            assert drawn == pytest.approx(person.reach_m, abs=1e-6), (minute, person.crew)


def test_inhibits_light_and_others_change_at_their_own_minutes(demo_plan):
    power = demo_plan.inhibits.set_index("inhibit").loc["I-PWR"]
    in_force = [{hold.inhibit for hold in demo_plan.at(minute).inhibits}
                for minute in (power.set_by_min - 0.01, power.set_by_min, power.lift_after_min - 0.01,
                               power.lift_after_min)]
    assert ["I-PWR" in held for held in in_force] == [False, True, True, False]
    start, end = (float(edge) for edge in demo_plan.light.night[1])
    assert [demo_plan.at(minute).light for minute in (start - 0.01, start, end - 0.01, end)] == [
        "penumbra", "night 2", "night 2", "penumbra"]
    assert demo_plan.at(start).light_until_min == end
    desk = demo_plan.timeline[demo_plan.timeline.step == "DK2"].iloc[0]
    assert [other.step for other in demo_plan.at(desk.start_min).others] == ["DK2"]


def test_minutes_run_from_pet_zero_to_the_end_itself(small_plan):
    minutes = whole_minutes(small_plan)
    assert minutes[0] == 0.0
    assert minutes[-1] == small_plan.end_min
    assert all(0 < after - before <= 1 for before, after in pairwise(minutes))


@pytest.mark.parametrize("minute", [-0.1, 1e9, float("nan"), float("inf"), "soon", None])
def test_a_minute_outside_the_outing_is_refused(small_plan, minute):
    with pytest.raises(pk.ScenarioError, match="no minute of this outing"):
        small_plan.at(minute)


@pytest.mark.parametrize("every", [0.0, -1.0, float("nan"), float("inf")])
def test_steps_of_time_above_zero_only(small_plan, every):
    with pytest.raises(pk.ScenarioError, match="above 0"):
        whole_minutes(small_plan, every)


def test_the_table_of_a_moment_reads_like_the_timeline(demo_plan):
    table = demo_plan.at(150).table.set_index("crew")
    assert table.loc["EV1", ["kind", "step", "place", "hook"]].tolist() == ["work", "X4", "REG", "BK"]
    assert table.loc["EV1", "reach_m"] == 23.0  # BK to BO 14 m, BO to REG 9 m: routes.csv
    assert table.loc["EV1", "holds"] == "driver-1 reg-new"  # X3 hands reg-new to EV1: steps.csv
