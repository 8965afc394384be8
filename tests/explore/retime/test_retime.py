"""Re-timing, case by case. Expected times are derived by hand from the small outing, as follows.

Small outing (PET 0 07:30): A1 both 10 min; EV1: B1 (6) at MID, B2 (13) and B3 (14, at night) at MST; EV2: C1
(3) at MID, C2 (7) and C3 (8) at POR, with C3 25 to 60 min after C2; Z1 both (10) at the hatch.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.plan.timing import earliest_starts
from tests.explore.retime.rehearsal import as_planned, rehearsed
from tests.explore.retime.test_log import log_of

BEGUN = ("A1 started 0:00", "A1 finished 0:10")


def row_of(plan: pk.Plan, step: str) -> Any:
    return plan.progress.set_index("step").loc[step]


def logged(plan: pk.Plan) -> pd.DataFrame:
    findings = plan.findings
    return findings[findings["check"] == "log"]


def start(plan: pk.Plan, step: str) -> float:
    return float(plan.timed.starts[plan.timed.position(step)])


def finish(plan: pk.Plan, step: str) -> float:
    return float(plan.timed.finishes[plan.timed.position(step)])


def test_a_late_step_pushes_what_waits_for_it(small_plan: pk.Plan) -> None:
    now = small_plan.retime(log_of("A1 started 0:00", "A1 finished 0:15"), 15)
    # Both begin 5 min later; EV1 still reaches night, which holds B3, so its start does not move.
    assert start(now, "B1") - start(small_plan, "B1") == pytest.approx(5)
    assert start(now, "C2") - start(small_plan, "C2") == pytest.approx(5)
    assert start(now, "B3") == start(small_plan, "B3")
    assert row_of(now, "A1")[["status", "late_min", "over_min"]].tolist() == ["done", 5.0, 5.0]
    assert now.now_min == 15
    assert now.standing.splitlines()[1].startswith("EV1 5 min behind: next is B1 at 0:1")


def test_a_step_in_progress_keeps_its_remaining_estimate(small_plan: pk.Plan) -> None:
    by_likely = small_plan.retime(log_of("A1 started 0:02"), 6)
    given = small_plan.retime(log_of("A1 started 0:02", "A1 partly 0:05 9"), 6)
    assert finish(by_likely, "A1") == 12.0  # 2 + 10
    assert finish(given, "A1") == 14.0  # 5 + 9
    assert logged(by_likely).empty


def test_a_used_up_estimate_is_taken_to_end_now_and_said(small_plan: pk.Plan) -> None:
    new = small_plan.retime(log_of("A1 started 0:00"), 18)
    assert finish(new, "A1") == 18.0
    assert logged(new)["message"].tolist()[0].startswith("A1 has used up its estimate (18.0 min since 0:00)")


def test_a_skipped_step_is_left_out_with_a_concern(small_plan: pk.Plan) -> None:
    new = small_plan.retime(log_of(*BEGUN, "C1 skipped 0:11"), 11)
    assert new.left_out[["step", "kind"]].to_numpy().tolist() == [["C1", "skipped"]]
    assert "C1" not in new.timed.network.steps
    assert row_of(new, "C1")["status"] == "skipped"
    # The bag that C1 would have taken is missing in C3: the checks see it.
    assert (new.findings["check"] == "custody").any()


def test_a_left_step_is_taken_up_again_with_its_rest(small_plan: pk.Plan) -> None:
    new = small_plan.retime(log_of(*BEGUN, "B1 started 0:12", "B1 partly 0:14 3", "B2 started 0:17"), 18)
    assert {"B1.part1", "B1"} <= set(new.timed.network.steps)
    assert (start(new, "B1.part1"), finish(new, "B1.part1")) == (12.0, 14.0)
    assert start(new, "B1") > finish(new, "B2")  # the rest comes after what EV1 is on now
    assert finish(new, "B1") - start(new, "B1") == pytest.approx(3)
    parts = {step.step: step for step in new.timed.steps}
    assert [move.item for move in parts["B1.part1"].takes] == ["lamp-new"]
    assert parts["B1"].takes == ()
    assert row_of(new, "B1")["status"] == "left"
    assert any("was left at 0:14 with 3.0 min to do" in text for text in logged(new)["message"])


def test_a_resumed_step_that_is_finished_has_its_parts_and_its_minutes(small_plan: pk.Plan) -> None:
    new = small_plan.retime(log_of(*BEGUN, "B1 started 0:12", "B1 partly 0:14 3", "B2 started 0:17",
                                   "B2 finished 0:30", "B1 started 0:33", "B1 finished 0:37"))
    assert new.now_min == 37
    assert (start(new, "B1"), finish(new, "B1")) == (33.0, 37.0)
    assert row_of(new, "B1")[["status", "start_min", "finish_min", "minutes"]].tolist() == [
        "done", 12.0, 37.0, 6.0]


def test_steps_out_of_order_stay_so_and_the_one_passed_over_follows(small_plan: pk.Plan) -> None:
    new = small_plan.retime(log_of(*BEGUN, "B2 started 0:14", "B2 finished 0:27"), 27)
    assert start(new, "B2") == 14.0
    assert start(new, "B1") > 27.0
    assert any(text.startswith("B1 comes before B2 in the order of work and is not logged")
               for text in logged(new)["message"])


def test_quicker_than_the_way_is_a_note_and_the_lanes_stay_whole(small_plan: pk.Plan) -> None:
    new = small_plan.retime(log_of(*BEGUN, "B1 started 0:10"), 12)
    remark = logged(new).iloc[0]
    assert (remark["severity"], remark["step"]) == ("remark", "B1")
    assert remark["value"] == pytest.approx(start(small_plan, "B1") - 10)
    for lane in new.timed.lanes.values():
        assert all(a.finish_min == b.start_min for a, b in pairwise(lane))


def test_a_broken_clock_is_let_go_with_a_stop(small_plan: pk.Plan) -> None:
    log = log_of(*BEGUN, "C1 started 0:11", "C1 finished 0:14", "C2 started 0:15", "C2 finished 0:22")
    new = small_plan.retime(log, 100)  # C2 to C3 may be 60 min: 82 was the last start
    assert start(new, "C3") == 100.0
    stop = logged(new)[lambda found: found["severity"] == "stop"].iloc[0]
    assert stop["step"] == "C2"
    assert ("the clock to C3 is broken, 78.0 of 60 min: 18.0 min too long (The cassette empties"
            in stop["message"])
    assert stop["value"] == pytest.approx(18)


def test_a_least_gap_broken_by_the_log_is_let_go_with_a_stop(small_plan: pk.Plan) -> None:
    log = log_of(*BEGUN, "C1 started 0:11", "C1 finished 0:14", "C2 started 0:15", "C2 finished 0:22",
                 "C3 started 0:30")
    stop = logged(small_plan.retime(log, 31))[lambda found: found["severity"] == "stop"].iloc[0]
    assert stop["step"] == "C3"
    assert "17.0 min sooner after C2 than the 25 min asked" in stop["message"]


def test_work_logged_outside_its_light_is_let_go_with_a_stop(small_plan: pk.Plan) -> None:
    night = float(small_plan.light.night[0, 0])
    log = pd.concat([log_of(*BEGUN), pd.DataFrame([
        {"step": "B3", "event": "started", "at": night - 6},
        {"step": "B3", "event": "finished", "at": night + 8}])])
    stop = logged(small_plan.retime(log))[lambda found: found["severity"] == "stop"].iloc[0]
    assert stop["step"] == "B3"
    assert "7.0 min outside it" in stop["message"]  # 6 before night and 1 of guard


def test_what_no_window_can_hold_any_more_is_timed_and_told(small_plan: pk.Plan) -> None:
    last = float(small_plan.light.night[-1, 1])
    new = small_plan.retime(log_of(*BEGUN), last - 5)  # 14 min of night are not left
    assert new.left_out.empty
    stop = new.findings.query("check == 'rules'")
    assert stop[["severity", "step", "rule"]].to_numpy().tolist() == [["stop", "B3", "outside-window"]]
    assert "needs 14.0 min of one night" in stop["message"].iloc[0]


def demo_log(plan: pk.Plan, until: str) -> pd.DataFrame:
    """As planned up to and with the start of a step."""
    return as_planned(plan, start(plan, until))


def test_a_group_torn_by_the_night_gives_way_so_that_the_hard_limit_is_kept(demo_plan: pk.Plan) -> None:
    # X1 starts with night 2; X4 waits for X3, and X3 of both is so long that X4 and X5 miss the dawn. In the
    # next night they would be inside at 7:49, after the hard limit.
    at = float(demo_plan.timed.starts[demo_plan.timed.position("X3")])
    log = pd.concat([demo_log(demo_plan, "X3"), pd.DataFrame([
        {"step": "X3", "event": "partly", "at": at + 1, "remaining_min": 24.0}])])
    new = demo_plan.retime(log, at + 2)
    dawn = float(new.light.night[1, 1])
    assert finish(new, "X3") == start(new, "X4") < dawn < finish(new, "X5")
    assert new.end_min <= new.scenario.settings.limits.hard_min
    stops = new.findings.query("severity == 'stop' and check == 'rules'")
    assert stops[["step", "rule", "about"]].to_numpy().tolist() == [["X4", "window-left", "exchange"]]
    assert any("the clock to X5 is broken" in text for text in logged(new)["message"])


def test_work_whose_last_window_is_lost_is_kept_and_told(demo_plan: pk.Plan) -> None:
    # With DK2 called at 9:10, no night that holds the exchange is left before the horizon at 10:00.
    new = demo_plan.retime(demo_log(demo_plan, "RG4"), 560)
    assert new.left_out.empty
    told = new.findings.query("check == 'rules' and severity == 'stop'")
    assert "X1 to X5 need 18.0 min of one night; the longest in reach, night 6" in " ".join(told["message"])
    assert np.isfinite(new.timed.starts).all()


def test_a_late_pet_zero_moves_the_sky(small_plan: pk.Plan) -> None:
    new = small_plan.retime(log_of("- pet_zero 0:12", "A1 started 0:00"), 1)
    assert new.pet_zero == small_plan.pet_zero + pd.Timedelta(minutes=12)
    assert start(new, "A1") == 0.0
    assert float(new.light.night[0, 0]) == pytest.approx(float(small_plan.light.night[0, 0]) - 12, abs=0.01)
    assert "PET 0 was 12 min later than planned." in new.standing


def test_a_logged_metabolic_rate_corrects_the_suit(small_plan: pk.Plan) -> None:
    log = log_of("A1 started 0:00", "A1 finished 0:10", "- suit 0:10")
    log = log.assign(crew=["", "", "EV1"], metabolic_w=["", "", 315.0])
    new = small_plan.retime(log)
    # A1 is light work, 210 W: 315 W is 1.5 times that, and all of EV1's use goes by that factor.
    before, after = (plan.scenario.records.crew for plan in (small_plan, new))
    assert after[0].exertion_factor == pytest.approx(1.5 * (before[0].exertion_factor or 1.0))
    assert after[1] == before[1]
    left = [plan.suit_summary.set_index(["crew", "consumable"])["left"] for plan in (small_plan, new)]
    assert left[1]["EV1", "oxygen"] < left[0]["EV1", "oxygen"]
    assert left[1]["EV2", "oxygen"] == pytest.approx(left[0]["EV2", "oxygen"])
    assert left[1]["EV1", "energy"] == pytest.approx(left[0]["EV1", "energy"])


def test_an_absurd_metabolic_rate_is_taken_for_a_typing_error(small_plan: pk.Plan) -> None:
    log = log_of("A1 started 0:00", "- suit 0:10")
    log = log.assign(crew=["", "EV1"], metabolic_w=["", 1900.0])
    with pytest.raises(pk.ScenarioError, match="typing error"):
        small_plan.retime(log)


@pytest.mark.parametrize(("log", "now", "words"), [
    (log_of("A1 started 0:20"), 15, "lies in the future"),
    (log_of("Z9 started 0:05"), 15, "no step of this plan"),
    (log_of("A1 started 0:05"), "noon", "write a UTC time"),
    (17, 15, "give a log"),
])
def test_impossible_logs_are_refused(small_plan: pk.Plan, log: object, now: object, words: str) -> None:
    with pytest.raises(pk.ScenarioError, match=words):
        small_plan.retime(log, now)


def test_what_if_and_re_timing_again_go_back_to_the_plan_outside(small_plan: pk.Plan) -> None:
    late = small_plan.retime(log_of("A1 started 0:05"), 6)
    again = late.retime(log_of(*BEGUN), 10)
    assert start(again, "A1") == 0.0
    longer = late.what_if(stretch={"Z1": "+7"})
    assert longer.now_min == 6
    assert start(longer, "A1") == 5.0
    assert longer.end_min == pytest.approx(late.end_min + 7)
    assert longer.timed.outside is not None
    assert longer.timed.outside.planned.starts.tolist() == small_plan.timed.starts.tolist()


def test_estimates_learn_from_what_was_done(small_plan: pk.Plan) -> None:
    new = small_plan.retime(log_of("A1 started 0:00", "A1 finished 0:16", "B1 started 0:18"), 19)
    table = new.updated_estimates()
    assert table["step"].tolist() == ["A1"]
    # 8, 10, 14 and 16 min worked: (2 * 10 + 16) / 3 = 12, and the spread reaches 16.
    assert table.iloc[0][["minutes_low", "minutes_likely", "minutes_high"]].tolist() == [8.0, 12.0, 16.0]
    next_time = {step.step: step for step in new.with_updated_estimates().records.steps}
    assert (next_time["A1"].minutes_likely, next_time["A1"].minutes_high) == (12.0, 16.0)
    assert next_time["B1"] == small_plan.timed.steps[small_plan.timed.position("B1")]


def test_a_plan_that_was_not_re_timed_says_so(small_plan: pk.Plan) -> None:
    assert small_plan.now_min is None
    with pytest.raises(pk.ScenarioError, match="needs a log"):
        _ = small_plan.standing


def test_the_window_at_stake_is_kept_until_the_minute_that_is_told_and_lost_soon_after(
        demo_plan: pk.Plan) -> None:
    told = 0
    for seed, now_min in ((0, 60.0), (1, 95.0), (2, 120.0), (3, 200.0)):
        now = demo_plan.retime(rehearsed(demo_plan, seed, now_min - 2), now_min)
        for name, label, step, by in re.findall(
                r"^(?:Steps of )?(\S+): (\w+ \d+), at .*is missed unless (\S+) starts by (\d+:\d\d)",
                now.standing, re.MULTILINE):
            members = [i for i, each in enumerate(now.timed.steps) if name in (each.step, each.same_window)
                       and i not in now.timed.network.fixed]
            until = int(by.split(":")[0]) * 60 + int(by.split(":")[1])
            kind, number = label.split(" ")
            window = getattr(now.light, kind)[int(number) - 1]
            for minute, is_kept in ((until, True), (until + 1, False)):
                floor = np.full(len(now.timed.steps), -np.inf)
                floor[now.timed.position(step)] = minute
                starts = earliest_starts(now.timed.network, now.timed.durations, not_before=floor)
                lies_in = (window[0] <= starts[members]) & (starts[members] <= window[1])
                assert lies_in.all() == is_kept
                told += 1
    assert told >= 8
