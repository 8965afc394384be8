"""A task given up outside: what it costs, what comes home, and how options stand beside each other."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.changes.dropping import given_up
from planning_kit.explore.session.going_outside import take
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.logbook import Logbook
from planning_kit.explore.watch.now import HELD, Clock
from planning_kit.explore.watch.watch import Watch
from tests.conftest import LATE, TERN
from tests.edits import edited, with_row
from tests.explore.retime.rehearsal import as_planned
from tests.explore.retime.test_log import log_of
from tests.explore.watch.conftest import far_off

DATA = Path(__file__).parents[2] / "data"
SCENARIOS = Path(__file__).parents[3] / "scenarios"


def no_stop_is_new(before: pk.Plan, after: pk.Plan) -> bool:
    changes = before.compare(after).findings
    return changes[changes["change"].isin(["came", "worse"])].query("severity == 'stop'").empty


@pytest.fixture(scope="module")
def lamp(small: pk.Scenario) -> pk.Scenario:
    """The small outing; the lamp of LMP (required) takes 6 min to put back."""
    return edited(small, "tasks", "LMP", put_back_min=6)


@pytest.fixture(scope="module")
def night_lost(lamp: pk.Scenario) -> pk.Plan:
    """At 0:30 the ring of the lamp is loose (B2), EV2 has all done at 0:57; now it is 1:02, and EV1 waits.

    Night 1 ends at 1:06.5, a guard of 1 min off; the swap (B3) takes 14 min and waits for night 2, at 2:08.6.
    """
    plan = pk.time_plan(lamp)
    log = as_planned(plan, 57.0)
    return plan.retime(log[log["step"] != "B3"], 62.0)


def test_a_required_task_is_given_up_and_its_box_comes_home_for_a_price(night_lost: pk.Plan) -> None:
    assert night_lost.timed.span("B3")[0] == pytest.approx(128.59, abs=0.01)
    options = night_lost.options(most=40)
    row = options.query("kind == 'give up'").iloc[0]
    assert row["option"] == "Give up LMP: put LMP back at B3 in 6.0 min; lamp-new back inside"
    assert (row["lost"], row["put_back_min"]) == ("LMP (required)", 6)
    # By hand: EV1 begins at once, at 62; 6 min to put back; 3 min from the mast to the hatch; Z1 of both
    # takes 10 min and ingress 8. To carry on: 128.59 + 14 + 3 + 10 + 8 = 163.59, past the hard limit of 130.
    assert row["end_min"] == pytest.approx(62 + 6 + 3 + 10 + 8)
    assert row["gain_min"] == pytest.approx(163.59 - 89, abs=0.01)
    assert row["hard_margin_min"] == pytest.approx(130 - 89)
    assert (row["new_stops"], row["mended_stops"], row["new_concerns"]) == (0, 1, 1)  # the end; the lamp
    assert options["option"].iloc[0] == row["option"]
    given = night_lost.decide(**row["decide"])
    # It is never silent, and nothing is broken by it: the new lamp is home, the old one where it was.
    told = given.findings.query("rule == 'put-back'")
    assert told[["severity", "about", "step"]].to_numpy().tolist() == [["concern", "LMP", "B3"]]
    assert "LMP (required) is given up since 1:02: B3, 1:02 to 1:08, puts it back" in told["message"].iloc[0]
    assert no_stop_is_new(night_lost, given)
    lying = given.findings.query("about == 'lamp-old' and check == 'custody'")
    assert lying["severity"].tolist() == ["concern"]
    assert given.timed.explain("B3").splitlines()[0] == "B3 puts back LMP, which is given up"
    assert night_lost.options(most=40, samples=200).query("kind == 'give up'")["p_hard"].notna().all()


def test_what_is_put_back_is_work_like_any_and_is_logged_so(lamp: pk.Scenario) -> None:
    plan = pk.time_plan(lamp)
    more = pd.DataFrame([("B3", "skipped", 62.0, 6.0), ("B3", "started", 63.0, np.nan)],
                        columns=["step", "event", "at", "remaining_min"])
    log = pd.concat([as_planned(plan, 34.0), more], ignore_index=True)
    begun = plan.retime(log, 65.0)
    assert begun.timed.span("B3") == (63.0, 69.0)
    log.loc[len(log)] = ["B3", "finished", 70.0, np.nan]
    done = plan.retime(log, 75.0)
    assert done.timed.span("B3") == (63.0, 70.0)
    assert done.timed.steps[done.timed.position("B3")].title == "Put LMP back"
    assert "B2" in set(done.updated_estimates()["step"])
    assert "B3" not in set(done.updated_estimates()["step"])  # it says nothing of how long a swap takes
    assert "B3" not in set(done.odds(200).tally.reasons)


def test_odds_never_count_as_done_what_is_given_up(lamp: pk.Scenario, night_lost: pk.Plan) -> None:
    before = night_lost.odds(200).tasks.set_index("task")
    assert before.loc["LMP", "p_done"] > 0
    given = night_lost.decide(give_up="LMP")
    plan = pk.time_plan(lamp)
    more = log_of("B3 skipped 62 6", "B3 started 63", "B3 finished 70")
    back = plan.retime(pd.concat([as_planned(plan, 34.0), more], ignore_index=True), 75.0)
    for each in (given, back):  # still to be put back, and finished
        odds = each.odds(200)
        tasks = odds.tasks.set_index("task")
        assert tasks.loc["LMP", ["p_done", "p_hard", "p_dropped", "p_put_back"]].tolist() == [0, 0, 0, 1]
        assert tasks.loc["CLN", "p_done"] == 1
        assert odds.p_required == 0
        assert odds.summary.set_index("item")["p"]["both inside by the hard limit"] == 1


@pytest.mark.parametrize("folder", [DATA / "tern-2", SCENARIOS / "tern-station"])
def test_what_hangs_on_a_task_by_its_items_is_told_and_goes_with_it(folder: Path) -> None:
    """The foothold of the others comes out with FHD; KNU has begun, so that it is put back."""
    plan = pk.time_plan(pk.load_scenario(folder))
    late = plan.retime(as_planned(plan, 20.0), 35.0)
    row = late.options(most=60).query("option.str.contains('FHD')").iloc[0]
    assert row["option"].startswith("Give up FHD, with KNU and REG and SEN and SMP and INS for want of its "
                                    "items: put KNU back at KN1 in 3.0 min")
    assert set(row["lost"].split(", ")) == {
        "FHD (required)", "KNU (required)", "REG (required)", "SEN (optional)", "SMP (optional)",
        "INS (get-ahead)"}
    for how in (row["decide"], {"give_up": ["FHD"]}):  # who asks for one gets the same
        given = late.decide(**how)
        gone, kept = set(given.left_out["step"]), {step.step for step in given.timed.steps}
        own = {step.step for step in plan.timed.steps if step.task in {"FHD", "REG", "SEN", "SMP", "INS"}}
        assert own <= gone
        assert {step.task for step in plan.timed.steps if step.step in gone - own} == {"KNU"}
        assert "KN1" in kept
        assert given.findings.query("check == 'custody' and severity == 'stop' and about == 'foothold'").empty


def test_where_nothing_is_to_be_put_back_nobody_goes_there() -> None:
    """INS of the demo (looks, 0 min): once it has begun the rest of it is left, and odds know."""
    plan = pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station"))
    log = as_planned(plan, 100.0)
    late = plan.retime(log, 115.0)
    row = late.options(most=60).set_index("option").loc["Drop the rest of INS"]
    assert (row["kind"], row["put_back_min"], row["new_stops"]) == ("drop", 0, 0)
    given = late.decide(**row["decide"])
    skips = [(each.step, each.remaining_min) for each in given.timed.outside.actuals.events[len(log):]]
    assert {step for step, _ in skips} == set(given.left_out["step"])
    assert sum(minutes == 0 for _, minutes in skips) == 1
    assert not {step.step for step in given.timed.steps} & {step for step, _ in skips}
    odds = given.odds(200).tasks.set_index("task")
    assert odds.loc["INS", ["p_done", "p_put_back"]].tolist() == [0, 1]
    assert set(given.options(most=60)["option"].str.contains("INS")) == {False}


def test_both_prices_stand_beside_a_row(night_lost: pk.Plan) -> None:
    """Stops come first, even for required work; what each row loses and mends stands in it."""
    options = night_lost.options(most=40).set_index("option")
    mends = options[options["mended_stops"] > 0]
    assert mends["lost"].str.contains("required").iloc[0]
    others = options[(options["kind"] == "drop") & (options["mended_stops"] == 0)]
    assert not others.empty
    assert others["lost"].ne("").all()
    names = options.index.tolist()
    assert names.index(mends.index[0]) < min(map(names.index, others.index))


def test_both_go_in_before_it_is_put_back_and_that_is_a_stop(lamp: pk.Scenario) -> None:
    plan = pk.time_plan(lamp)
    log = pd.concat([as_planned(plan, 34.0), log_of("B3 skipped 62 6", "- ingress 90")], ignore_index=True)
    home = plan.retime(log, 91.0)
    assert home.left_out.set_index("step")["kind"]["B3"] == "not done"
    assert "stop" in set(home.findings.query("rule == 'not-done' and about == 'LMP'")["severity"])


def test_nobody_knows_how_is_no_option_and_says_what_is_missing(small: pk.Scenario) -> None:
    plan = pk.time_plan(edited(small, "tasks", "LMP", put_back_min=""))
    late = plan.retime(as_planned(plan, 34.0), 62.0)
    row = late.options(most=40).query("kind == 'give up'").iloc[0]
    assert "LMP" in row["option"]
    assert "tasks.put_back_min" in row["option"]
    assert row["decide"] == {}
    with pytest.raises(pk.ScenarioError, match=r"tasks\.put_back_min"):
        late.decide(give_up="LMP")
    with pytest.raises(pk.ScenarioError, match="is no task here"):
        late.decide(give_up="LAMP")


def test_what_brings_things_home_is_still_done() -> None:
    """Tern: given up once the carrier is set down at the bay, REG leaves neither it nor a tether behind."""
    plan = pk.time_plan(pk.load_scenario(DATA / "tern-1"))
    late = plan.retime(as_planned(plan, 130.0), 160.0)
    given = late.decide(give_up="REG")
    # Of safe_orderly_min of its steps the largest is 4 (X3, X4); the next of its steps in suits is X1.
    assert given.findings.query("rule == 'put-back'")["step"].tolist() == ["X1"]
    assert given.timed.span("X1")[1] - given.timed.span("X1")[0] == pytest.approx(4)
    kept = {"RB1", "RB2", "RB3", "RG8", "RG9"}  # take the carrier and the foothold, move both tethers, stow
    gone = {"X2", "X3", "X4", "X5", "X6", "DK3", "RG6", "RG7"}
    assert set(given.left_out["step"]) >= gone
    assert kept <= set(given.timed.network.steps)
    assert no_stop_is_new(late, given)
    assert given.findings.query("about == 'carrier' and rule == 'not-inside'").empty
    # Begun only by RN1: the carrier is in hand, nothing of RN3 or RB1 is to be done for it.
    early = plan.retime(as_planned(plan, 113.0), 114.0).decide(give_up="REG")
    assert {"RN3", "RB1", "RB3"} <= set(early.left_out["step"])
    assert early.findings.query("about == 'carrier' and rule == 'not-inside'").empty


def test_curlew_deck_tells_once_what_is_broken_in_all(tmp_path: Path) -> None:
    plan = pk.time_plan(pk.load_scenario(DATA / "curlew-deck"))
    late = plan.retime(as_planned(plan, 45.0), 75.0)
    options = late.options(most=40)
    told = options.query("kind == 'in all'")
    assert len(told) == 1
    assert told["option"].iloc[0].startswith("Broken in all of them: ")
    assert options["kind"].iloc[0] != "in all"
    stops = [set(map(tuple, (late.decide(**how).findings if any(how.values()) else late.findings).query(
        "severity == 'stop'")[["rule", "about"]].to_numpy().tolist()))
        for how, kind in zip(options["decide"], options["kind"], strict=True)
        if kind == "carry on" or any(how.values())]
    for rule, about in set.intersection(*stops):
        assert f"{rule} {about}" in told["option"].iloc[0]
    given = options.query("option.str.startswith('Give up ANT')").iloc[0]
    assert (given["lost"], given["put_back_min"]) == ("ANT (required)", 2)  # safe_orderly_min of N2


def test_a_clock_broken_in_all_is_told_once_and_the_rest_decides(lamp: pk.Scenario) -> None:
    """EV1 was late for B1: that clock is broken whatever is done. That to the swap goes with its night."""
    for first, then, most in (("A1", "B1", 2), ("B1", "B3", 45)):
        lamp = with_row(lamp, "gaps", first_step=first, then_step=then, max_gap=most)
    late = pk.time_plan(lamp).retime(log_of(
        "A1 started 0:00", "A1 finished 0:10", "C1 started 0:11", "B1 started 0:14", "C1 finished 0:14",
        "C2 started 0:17", "B1 finished 0:18", "B2 started 0:20", "C2 finished 0:24", "B2 finished 0:33"), 62)
    options = late.options(most=40)
    told = options.query("kind == 'in all'")["option"]
    assert told.tolist() == ["Broken in all of them: max-gap B1 at A1"]
    assert options["option"].str.startswith(("Give up LMP", "Carry on")).iloc[0]
    assert options["option"].iloc[0].startswith("Give up LMP")
    assert options["mended_stops"].iloc[0] == 2  # the clock to the swap, and the end
    # To drop clean-up mends nothing, and it is required: carrying on comes before it, though it ends later.
    names = options["option"].str[:8].tolist()
    assert names.index("Carry on") < names.index("Drop CLN")


def test_an_option_given_up_is_taken_into_the_log(demo_plan: pk.Plan, tmp_path: Path,
                                                  monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "state"))
    session = Session(demo_plan.scenario)
    log = pk.read_log(LATE)
    book = Logbook.of_frame(log[log["logged_at"] <= "2031-05-14T15:18:00Z"])
    watch = Watch(session.plan, book, Clock(HELD, session.plan.pet_zero, far_off()), far_off)
    watch.set_clock(HELD, "3:58")
    options = pk.Plan(watch.plan).options(most=60)
    row = options.query("kind == 'give up' and put_back_min > 0").iloc[0]
    decided = pk.Plan(watch.plan).decide(**row["decide"])
    draft = session.draft
    take(session, watch, row["option"], row["decide"], by="Ines")
    assert session.draft is draft  # all of it is in the log
    assert watch.plan.end_min == pytest.approx(decided.end_min, abs=1e-6)
    assert watch.outside.states.put_back


@pytest.mark.parametrize("folder", [TERN, DATA / "tern-1", DATA / "curlew-deck", SCENARIOS / "tern-station"])
def test_no_way_out_touches_what_has_begun(folder: Path) -> None:
    """Whatever has begun: gone, back and home are parts of what is left, and back is one in suits."""
    records = pk.load_scenario(folder).records
    for task in records.tasks:
        own = [step.step for step in records.steps if step.task == task.task]
        for count in range(1, len(own)):
            left, begun = own[count:], own[:count]
            way = given_up(records, task.task, left, begun)
            if way is not None and way.put_back:
                assert (way.put_back in way.gone) == (way.minutes == 0)
                parts: Sequence[frozenset[str]] = (way.gone - {way.put_back}, way.home - {way.put_back},
                                                   frozenset({way.put_back}))
                assert frozenset().union(*parts) == frozenset(left)
                assert sum(map(len, parts)) == len(left)
