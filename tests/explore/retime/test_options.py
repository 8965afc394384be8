"""What can still be done, the decision table, and the ways home."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from tests.explore.retime.rehearsal import as_planned, carried_on, rehearsed
from tests.explore.retime.test_log import log_of


@pytest.fixture(scope="module")
def late(demo_plan: pk.Plan) -> pk.Plan:
    """A slow outing, nothing heard for a while: carrying on would miss the planned limit."""
    return demo_plan.retime(rehearsed(demo_plan, 0, 230.0, slower=1.4), 242.0)


@pytest.fixture(scope="module")
def options(late: pk.Plan) -> pd.DataFrame:
    return late.options(most=40)


def test_every_option_is_what_its_decision_gives(late: pk.Plan, options: pd.DataFrame) -> None:
    assert {"carry on", "drop"} <= set(options["kind"])
    for row in options.iloc[::4].to_dict("records"):
        plan = late.decide(**row["decide"])
        assert plan.end_min == row["end_min"]
        assert late.end_min - plan.end_min == row["gain_min"]


def test_the_first_option_keeps_the_planned_limit_for_the_least(late: pk.Plan, options: pd.DataFrame) -> None:
    assert late.end_min > late.scenario.settings.limits.planned_min
    best = options.iloc[0]
    assert (best["kind"], best["new_stops"]) == ("drop", 0)
    assert best["planned_margin_min"] >= 0
    others = options[(options["planned_margin_min"] >= 0) & (options["new_stops"] == 0)
                     & ~options["lost"].str.contains("required")]
    assert len(best["decide"]["skip"]) <= min(len(how["skip"]) for how in others["decide"] if "skip" in how)


def test_until_an_option_closes_both_ways_are_the_same(late: pk.Plan, options: pd.DataFrame) -> None:
    for row in options[options["kind"] != "carry on"].iloc[::4].to_dict("records"):
        other, until = late.decide(**row["decide"]), row["open_until_min"]
        for who, lane in late.timed.lanes.items():
            before, after = (
                [(each.kind, each.step, each.start_min, min(each.finish_min, until)) for each in activities
                 if each.start_min < until] for activities in (lane, other.timed.lanes[who]))
            assert before == after


def test_after_must_by_the_hard_limit_cannot_be_kept(late: pk.Plan, options: pd.DataFrame) -> None:
    hard = late.scenario.settings.limits.hard_min
    row = options[options["must_by_min"].notna()].iloc[0]
    step = min(row["decide"]["skip"], key=lambda name: late.timed.starts[late.timed.position(name)])
    room = row["must_by_min"] - late.timed.starts[late.timed.position(step)]
    curve = late.delay_curve(step, up_to_min=room + 1.0, every_min=room + 1.0)
    assert curve["end_min"].iloc[1] > hard
    assert late.delay_curve(step, up_to_min=room, every_min=room)["end_min"].iloc[1] <= hard + 1e-6


def test_a_swappable_task_not_begun_can_be_given_to_the_other(demo_plan: pk.Plan) -> None:
    now = demo_plan.retime(as_planned(demo_plan, 1.0), 1.0)
    given = now.decide(give=["SUR"])
    crews = {step.step: step.crew for step in given.timed.steps}
    assert (crews["SV1"], crews["SV3"]) == ("EV2", "EV1")


def test_of_a_task_that_has_begun_the_rest_can_be_given(demo_plan: pk.Plan) -> None:
    # At 2:30 SV0 to SV5 are done and SV6, EV2's, is left: the camera home.
    later = demo_plan.retime(as_planned(demo_plan, 150.0), 150.0)
    given = later.decide(give="SUR")
    before, after = ({step.step: step.crew for step in plan.timed.steps} for plan in (later, given))
    assert {step for step in before if before[step] != after[step]} == {"SV6"}
    assert "Give the rest of SUR to the other (the two trade its steps)" in set(
        later.options(most=60)["option"])
    # At 1:40 EV2 has the camera in hand: EV1 cannot bring it home, and it is no option.
    early = demo_plan.retime(as_planned(demo_plan, 100.0), 100.0)
    assert "give" not in set(early.options(most=60)["kind"])
    done = demo_plan.retime(as_planned(demo_plan, 340.0), 340.0)
    with pytest.raises(pk.ScenarioError, match="no step left that nobody has begun"):
        done.decide(give="SUR")


def test_another_order_comes_in_through_decide(small_plan: pk.Plan) -> None:
    now = small_plan.retime(log_of("A1 started 0:00"), 1)
    new = now.decide(order=["C1", "B1"])  # of different people: the order of work stays as it is
    assert new.end_min == now.end_min
    turned = now.decide(order=["B2", "B1"])
    assert turned.timed.starts[turned.timed.position("B2")] < turned.timed.starts[turned.timed.position("B1")]


@pytest.mark.parametrize(("how", "words"), [
    ({"skip": ["Q7"]}, "is no step or task here"), ({"skip": ["A1"]}, "is in progress"),
    ({"give": ["LMP"]}, "not swappable"), ({"order": ["B1", "B1"]}, "stands twice"),
])
def test_a_decision_about_what_there_is_not_is_refused(small_plan: pk.Plan, how: dict[str, list[str]],
                                                       words: str) -> None:
    with pytest.raises(pk.ScenarioError, match=words):
        small_plan.retime(log_of("A1 started 0:00"), 1).decide(**how)


def test_the_decision_table_has_a_line_a_task_that_may_be_dropped(demo_plan: pk.Plan) -> None:
    table = demo_plan.decision_table(samples=300)
    assert table["task"].tolist() == ["INS", "ANT", "SHD", "LMP", "SMP", "SEN"]  # the scenario's cut order
    assert table["words"].iloc[1].startswith("If AN1 has not begun by ")
    assert (table["p_dropped"].between(0, 1)).all()
    without = demo_plan.what_if(drop=["task:INS", "task:ANT"])
    assert table["end_without_min"].iloc[1] == without.end_min


# --- terminate and abort ----------------------------------------------------------------------------------


def test_an_abort_makes_safe_goes_home_and_waits_for_the_partner(demo_plan: pk.Plan) -> None:
    table = demo_plan.abort(150.0)
    # EV1 is in X4 at the end of the boom: 2 min to make it safe, 9 + 14 + 13 + 6 + 5 + 3 = 50 m at
    # 6.5 m/min, the hook moved once at the hub ring (27 m from the knuckle are too far for 26 m) and once at
    # the airlock, 1 min each, then 10 min in the airlock.
    inside = 150 + 2 + 50 / 6.5 + 2 + 10
    own = table[table["who"] == "EV1"]
    assert own["what"].tolist()[0] == "Make X4 safe: Two bolts in"
    assert own["minutes"].tolist() == pytest.approx([2, 50 / 6.5 + 2, 3, 2, 5])
    assert own["finish_min"].iloc[-1] == pytest.approx(inside)
    # EV2 in X6 has nothing to do first (0 min) and is there sooner, at 6.0 m/min: the wait fills the rest.
    other = table[table["who"] == "EV2"]
    assert other["minutes"].tolist()[:2] == pytest.approx([0, 50 / 6.0 + 2])
    assert other["what"].tolist()[2] == "Wait at the airlock for the partner"
    assert other["finish_min"].iloc[-1] == pytest.approx(inside)
    kept = table[~table["who"].isin(["EV1", "EV2"])]
    assert [text.split(" ")[1] for text in kept["what"]] == ["I-PWR", "I-DRV"]
    assert kept["finish_min"].tolist() == pytest.approx([inside, inside])


def test_an_orderly_return_takes_the_longer_making_safe(demo_plan: pk.Plan) -> None:
    orderly, at_once = demo_plan.ways_home("terminate", 5.0), demo_plan.ways_home("abort", 5.0)
    assert (orderly["total_min"] >= at_once["total_min"]).all()
    row = orderly[(orderly["crew"] == "EV1") & (orderly["at_min"] == 150)].iloc[0]
    assert (row["step"], row["safe_min"]) == ("X4", 4.0)
    assert row["oxygen_margin_min"] == pytest.approx(30 - row["total_min"])
    # The longer making safe is taken off; where the work is heavier than travel, what it uses more, too.
    lost = at_once["suit_margin_min"] - orderly["suit_margin_min"]
    longer = orderly["total_min"] - at_once["total_min"]
    assert (lost >= longer - 1e-9).all()
    exertion = orderly["step"].map(demo_plan.scenario.steps.set_index("step")["exertion"])
    is_light = ~exertion.isin(["moderate", "heavy"])
    assert lost[is_light].tolist() == pytest.approx(longer[is_light].tolist())
    assert (longer[is_light] > 0).any()
    assert (lost > longer + 0.1).any()


def test_a_step_without_words_says_so_and_going_in_is_the_rest_of_ingress(small_plan: pk.Plan) -> None:
    table = small_plan.ways_home("abort")
    in_step = table[table["step"] == "B3"]
    assert set(in_step["make_safe"]) == {"nothing given for this step"}
    last = table[table["at_min"] == np.floor(small_plan.end_min)].iloc[0]
    assert last["inside_min"] == pytest.approx(small_plan.end_min)
    with pytest.raises(pk.ScenarioError, match="no moment of the outing"):
        small_plan.terminate(1000.0)


def test_an_option_can_wait_until_it_closes_and_not_much_longer(demo_plan: pk.Plan,
                                                                options: pd.DataFrame) -> None:
    """By brute force: carry on until then, or a minute longer, and decide only there."""
    log = rehearsed(demo_plan, 0, 230.0, slower=1.4)
    late = demo_plan.retime(log, 242.0)
    worth_it = options[(options["gain_min"] > 0.5) & (options["open_until_min"] > 242)]
    lost = 0
    for row in worth_it.to_dict("records"):
        for wait_min in (-0.01, 1.0):
            then = row["open_until_min"] + wait_min
            there = demo_plan.retime(carried_on(late, log, then), then)
            assert wait_min > 0 or there.end_min == pytest.approx(late.end_min, abs=1e-5)
            try:
                end_min = there.decide(**row["decide"]).end_min
            except pk.ScenarioError:  # it has begun
                end_min = np.inf
            if wait_min < 0:
                assert end_min == pytest.approx(row["end_min"], abs=1e-5)
            else:
                assert end_min >= row["end_min"] - 1e-5
                lost += end_min > row["end_min"] + 0.1
    assert len(worth_it) >= 4
    assert lost >= 2  # where there is a wait, a minute more may still do
