"""Legs, tethers and cautions on the way, followed by hand through the small outing.

Hatch to Mid rack 6 m, on to the Mast head 12 m, Hatch to Port deck 10 m; both at 6 m/min.
"""

from __future__ import annotations

from itertools import pairwise

import pytest

import planning_kit as pk
from planning_kit.plan.legs import stands, stands_at
from planning_kit.plan.tether_lines import after_leg
from tests.edits import edited
from tests.judge.mutations import with_anchor, with_step


def legs(plan: pk.Plan, crew: str) -> list[tuple[str, str, float, float]]:
    return [(p.place, p.to_place, p.start_min, p.finish_min) for p in plan.timed.passages[crew]]


@pytest.mark.parametrize("which", ["small_plan", "demo_plan"])
def test_passages_leave_no_hole(which: str, request: pytest.FixtureRequest) -> None:
    plan = request.getfixturevalue(which)
    for passages in plan.timed.passages.values():
        assert (passages[0].place, passages[0].start_min) == (plan.scenario.settings.airlock_place, 0)
        assert passages[-1].finish_min == plan.end_min
        for before, after in pairwise(passages):
            assert before.finish_min == after.start_min
            assert (before.to_place or before.place) == after.place


def test_a_way_is_cut_into_its_routes(small_plan: pk.Plan) -> None:
    # C1 ends at 14; 6 m back to the hatch, then 10 m.
    way = [leg for leg in legs(small_plan, "EV2") if leg[1]][1:3]
    assert way == [("MID", "HAT", 14, pytest.approx(15)),
                   ("HAT", "POR", pytest.approx(15), pytest.approx(14 + 16 / 6))]


def test_extra_travel_is_spread_over_the_way(demo_plan: pk.Plan) -> None:
    # RN2: 1 min more than the routes take, from the tool box over the hub (5 m), the boom root (6 m) to the
    # knuckle (13 m): EV2 at 6 m/min takes 4 min, spread over 5.
    way = [p for p in demo_plan.timed.passages["EV2"] if p.step == "RN2" and p.route]
    assert [p.to_place for p in way] == ["HUB", "BR", "BK"]
    assert [p.finish_min - p.start_min for p in way] == pytest.approx([5 / 24 * 5, 6 / 24 * 5, 13 / 24 * 5])


def test_a_way_that_takes_hardly_any_time_is_still_walked(small: pk.Scenario) -> None:
    routes = small.routes
    routes["minutes"] = routes["minutes"].astype(object).where(routes["to_place"] != "MID", 0)
    plan = pk.time_plan(small.with_table("routes", routes))
    assert ("HAT", "MID", 10, pytest.approx(10)) in legs(plan, "EV1")
    reach = plan.tethers.query("crew == 'EV1' and place == 'MST'")["reach_m"]
    assert reach.max() == 18


def test_standing_counts_from_arriving_to_leaving(small_plan: pk.Plan) -> None:
    passages = small_plan.timed.passages["EV2"]
    standing = stands(passages)
    assert [stands_at(standing, "MID", at) for at in (10.9, 11, 14, 14.1)] == [False, True, True, False]
    assert not stands_at(standing, "HAT", 15)  # passing is not standing


def test_a_leg_walked_back_is_taken_in() -> None:
    line: tuple[str, ...] = ("a",)
    for place, expected in (("b", "ab"), ("c", "abc"), ("b", "ab"), ("d", "abd"), ("a", "abda")):
        line = after_leg(line, place)
        assert line == tuple(expected)


def test_reach_along_the_way_really_travelled(small_plan: pk.Plan) -> None:
    rows = small_plan.tethers.query("crew == 'EV2'")
    seen = rows[["place", "to_place", "hook", "reach_m", "margin_m"]].to_numpy().tolist()
    assert seen == [
        ["HAT", "", "HAT", 0, 26], ["HAT", "MID", "HAT", 6, 20], ["MID", "", "HAT", 6, 20],
        ["MID", "HAT", "HAT", 6, 20], ["HAT", "POR", "HAT", 10, 16], ["POR", "", "HAT", 10, 16],
        ["POR", "HAT", "HAT", 10, 16], ["HAT", "", "HAT", 0, 26],
    ]


def test_a_hook_move_begins_a_new_row_and_a_new_reach(small: pk.Scenario) -> None:
    scenario = edited(with_anchor(small), "steps", "B1", hooks="EV1")
    rows = pk.time_plan(with_step(scenario, 4, "M1", "EV1", "MID", 1)).tethers.query("crew == 'EV1'")
    seen = rows[["place", "to_place", "hook", "reach_m"]].to_numpy().tolist()
    assert seen == [
        ["HAT", "", "HAT", 0], ["HAT", "MID", "HAT", 6], ["MID", "", "HAT", 6], ["MID", "", "MID", 0],
        ["MID", "MST", "MID", 12], ["MST", "", "MID", 12], ["MST", "MID", "MID", 12],
        ["MID", "HAT", "MID", 6], ["HAT", "", "MID", 6], ["HAT", "", "HAT", 0],
    ]
    stay = rows[(rows["place"] == "MID") & (rows["to_place"] == "")]
    assert stay[["from_min", "until_min"]].to_numpy().tolist() == [[11, 15], [15, 16]]  # B1 ends at 15


def test_the_demo_keeps_its_tethers_within_reach(demo_plan: pk.Plan) -> None:
    tethers = demo_plan.tethers
    assert (tethers["margin_m"] >= 0).all()
    # Knuckle to bay: 14 + 9 m.
    assert tethers.query("hook == 'BK'")["reach_m"].max() == 23


def test_cautions_on_the_way(small_plan: pk.Plan, small: pk.Scenario) -> None:
    # The Mast head has the only caution; B2 starts at 17. Z1 begins the way home past nothing.
    assert small_plan.cautions_on_the_way.to_numpy().tolist() == [
        ["EV1", 17, "MST", "", "B2", "caution", "Lamp glass: no touching"]]
    routes = small.routes
    tight = small.with_table("routes", routes.assign(tight=["yes", "no", "no"]))
    table = pk.time_plan(edited(tight, "places", "HAT", caution="Mind the seal")).cautions_on_the_way
    ev2 = table.query("crew == 'EV2'")[["place", "to_place", "step", "caution"]].to_numpy().tolist()
    assert ev2 == [
        ["HAT", "", "A1", "Mind the seal"], ["HAT", "MID", "C1", "tight route"],
        ["MID", "HAT", "C2", "tight route"], ["HAT", "", "C2", "Mind the seal"],
        ["HAT", "", "Z1", "Mind the seal"],
    ]
