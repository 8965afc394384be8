"""Following an outing: entries, their faults, other writers, the clock."""

from __future__ import annotations

import os
import shutil
from datetime import timedelta

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.session.going_outside import first_clock
from planning_kit.explore.watch.logbook import Entry, Logbook, log_lines
from planning_kit.explore.watch.now import HELD, RUNNING, WALL, Clock, lanes_now
from planning_kit.explore.watch.watch import Watch
from planning_kit.inputs import log_append
from tests.conftest import LATE, TERN
from tests.explore.watch.conftest import SCENARIOS, called, far_off, start_of


def test_logged_a_step_that_ends_late_moves_what_follows_it_and_nothing_before(watch, wall, folder):
    called(watch, "EV1", "started", "A1")
    wall.at(13)  # likely are 10
    called(watch, "EV1", "finished", "A1")
    assert start_of(watch.plan, "A1") == 0
    assert start_of(watch.plan, "B1") == pytest.approx(14)  # the way to the rack takes one minute
    assert list(pk.read_log(folder)["event"]) == ["started", "finished"]
    assert pk.Plan(watch.plan).standing.startswith("PET 0:13")
    shown, ghosts = watch.shown
    assert (shown, start_of(ghosts, "B1")) == (watch.plan, 11)


def test_the_lanes_say_what_is_in_hand_and_what_may_be_logged(watch, wall):
    called(watch, "EV1", "started", "A1")
    ev1, ev2 = lanes_now(watch.plan)
    assert {(lane.steps[0].step, lane.steps[0].status) for lane in (ev1, ev2)} == {("A1", "in progress")}
    assert ev1.steps[0].events == ("finished", "partly", "skipped")
    assert [step.step for step in ev2.steps] == ["A1", "C1", "C2", "C3", "Z1"]
    wall.at(12)
    called(watch, "EV1", "finished", "A1")
    wall.at(12.5)
    watch.set_clock(WALL)
    ev1, ev2 = lanes_now(watch.plan)
    assert "in progress" not in {step.status for step in ev1.steps}
    assert ev1.between == "on the way to Mid rack"
    assert ev1.steps[0].events == ("started", "skipped")
    assert ev1.steps[0].late_min == pytest.approx(2)  # as late as A1: they are on their way


@pytest.mark.parametrize(("event", "step", "at", "column", "words"), [
    ("finished", "A1", "", "event", "not in progress"),
    ("started", "B3", "0:50", "at", "future"),
    ("started", "B2", "soon", "at", "PET like 1:23"),
    ("started", "B2", "400/13:00", "at", "day of the year"),
    ("started", "X9", "", "step", "no step of this plan"),
    ("teleported", "B2", "", "event", "must be one of"),
])
def test_what_cannot_be_is_refused_where_it_stands_and_kept_as_typed(watch, wall, folder, event, step, at,
                                                                     column, words):
    wall.at(5)
    entry = Entry("EV1", event, step, at, note="as called", by="Ines")
    assert watch.enter(entry) == ""
    kept = watch.refused["EV1"]
    assert kept.entry == entry
    assert (kept.faults[0].column, words in kept.faults[0].problem) == (column, True)
    assert len(pk.read_log(folder)) == 0
    watch.forget("EV1")
    assert watch.refused == {}


def test_every_fault_of_an_entry_is_said_at_once(watch):
    watch.enter(Entry("EV1", "partly", "A1", at="noon", remaining_min="two", metabolic_w="-5"))
    columns = [fault.column for fault in watch.refused["EV1"].faults]
    assert columns == ["at", "remaining_min", "metabolic_w"]


def test_an_entry_mended_is_taken_and_its_faults_go(watch, wall):
    wall.at(3)
    watch.enter(Entry("EV1", "started", "A1", at="0:09"))
    assert "EV1" in watch.refused
    called(watch, "EV1", "started", "A1", at="0:01")
    assert watch.refused == {}
    assert start_of(watch.plan, "A1") == 1


def test_a_rate_of_one_of_two_at_work_is_a_row_of_its_own(watch, wall, folder):
    called(watch, "EV2", "started", "A1")
    wall.at(10)
    called(watch, "EV2", "finished", "A1", metabolic_w="240")
    log = pk.read_log(folder)
    assert list(log["event"]) == ["started", "finished", "suit"]
    assert list(log["crew"]) == ["", "", "EV2"]
    assert list(watch.outside.states.suited) == ["EV2"]
    assert watch.outside.states.by_step["A1"].apart == []


def test_an_entry_of_two_rows_is_one_write_or_none(watch, wall, folder, monkeypatch):
    called(watch, "EV2", "started", "A1")
    wall.at(10)
    before, true_write, sizes = (folder / "log.csv").read_bytes(), os.write, []

    def half(handle: int, data: bytes) -> int:
        sizes.append(data.count(b"\n"))
        return true_write(handle, data[:data.index(b"\n") + 1])  # only the event's row fits on the disk

    with monkeypatch.context() as patch:
        patch.setattr(log_append.os, "write", half)
        assert watch.enter(Entry("EV2", "finished", "A1", metabolic_w="240")) == ""
    assert sizes == [2]
    assert (folder / "log.csv").read_bytes() == before
    assert "nothing was changed" in watch.refused["EV2"].faults[0].problem


def test_of_a_step_of_both_one_can_be_logged_alone(watch, wall):
    called(watch, "EV1", "started", "A1")
    wall.at(10)
    called(watch, "EV1", "finished", "A1", alone="yes")
    ev1, ev2 = lanes_now(watch.plan)
    assert (ev1.steps[0].step, ev2.steps[0].step, ev2.steps[0].events) == ("B1", "A1", ("finished",))
    assert (ev2.steps[0].awaits, ev1.steps[0].awaits) == (True, False)
    wall.at(12)
    called(watch, "EV2", "finished", "A1", alone="yes")
    assert watch.plan.finishes[watch.plan.position("A1")] == 12
    assert "2.0 min after EV1" in watch.outside.states.by_step["A1"].apart[0]
    assert lanes_now(watch.plan)[1].steps[0].step == "C1"


def test_who_goes_on_without_calling_the_end_of_a_step_of_both_is_not_asked_for_it(watch, wall):
    called(watch, "EV1", "started", "A1", alone="yes")
    assert lanes_now(watch.plan)[1].steps[0].events == ("started", "finished", "partly", "skipped")
    wall.at(10)
    called(watch, "EV1", "finished", "A1", alone="yes")
    wall.at(11)
    called(watch, "EV2", "started", "C1")
    assert [step.step for step in lanes_now(watch.plan)[1].steps] == ["C1", "C2", "C3", "Z1"]


def test_a_rate_that_cannot_be_believed_is_told_and_the_rest_is_timed(watch, wall):
    called(watch, "EV1", "started", "A1")
    wall.at(12)
    called(watch, "EV1", "finished", "A1", metabolic_w="1990")
    assert any("typing error" in fault.problem for fault in watch.log_so_far.faults)
    assert start_of(watch.plan, "B1") == pytest.approx(13)


def test_corrected_or_withdrawn_an_entry_counts_as_it_should_have_been(watch, wall):
    first = called(watch, "EV1", "started", "A1")
    wall.at(4)
    called(watch, "EV1", "correct", "", at="0:02", corrects=first)
    assert start_of(watch.plan, "A1") == 2
    called(watch, "EV1", "withdraw", "", corrects=first)
    assert watch.outside.states.by_step["A1"].status == "to do"
    assert watch.enter(Entry("EV1", "correct", corrects=first)) == ""
    assert "withdraw" in watch.refused[f"correct {first}"].faults[0].problem


def test_the_log_says_what_counts_after_corrections_of_corrections(watch, wall):
    wall.at(9)
    first = called(watch, "EV1", "started", "A1", at="0:01")
    second = called(watch, "EV1", "correct", "", at="0:02", corrects=first)
    pet = {line.event_id: line for line in log_lines(watch.log_so_far, watch.plan.pet_zero)}
    assert pet[first].corrected_by == (second,)
    assert (pet[first].at - pet[first].was_at).total_seconds() == 60
    third = called(watch, "EV1", "withdraw", "", corrects=second)
    line = log_lines(watch.log_so_far, watch.plan.pet_zero)[-1]
    assert (line.was_at, line.is_withdrawn) == (None, False)
    assert start_of(watch.plan, "A1") == 1
    called(watch, "EV1", "withdraw", "", corrects=first)
    line = log_lines(watch.log_so_far, watch.plan.pet_zero)[-1]
    assert line.is_withdrawn
    assert third == "e3"


def test_the_log_says_what_a_correction_says_once_it_is_corrected(watch, wall):
    wall.at(9)
    first = called(watch, "EV1", "started", "A1", at="0:01")
    second = called(watch, "EV1", "correct", "", at="0:02", corrects=first)
    called(watch, "EV1", "correct", "", at="0:03", corrects=second)
    pet_zero = watch.plan.pet_zero
    pet = {line.event_id: [(at - pet_zero).total_seconds() / 60 for at in (line.was_at, line.at) if at]
           for line in log_lines(watch.log_so_far, pet_zero)}
    assert pet == {first: [1, 3], second: [2, 3], "e3": [3]}


def test_the_log_of_another_outing_is_said_once(plan, wall):
    frame = pk.read_log(LATE).head(40)
    book = Logbook.of_frame(frame.assign(at="0:05", logged_at=None))
    watch = Watch(plan.timed, book, Clock.wall(wall()), wall)
    wall.at(10)
    watch.set_clock(WALL)
    assert ["another outing" in fault.problem for fault in watch.log_so_far.faults] == [True]
    assert watch.outside.actuals.events == ()


def test_both_are_inside_and_the_rest_is_left(watch, wall):
    called(watch, "EV1", "started", "A1")
    wall.at(12)
    called(watch, "EV1", "finished", "A1")
    wall.at(30)
    called(watch, "", "ingress", "")
    assert [lane.steps for lane in lanes_now(watch.plan)] == [(), ()]
    assert pk.Plan(watch.plan).standing


def test_rows_of_another_writer_appear_with_the_next_tick(watch, wall, plan, folder):
    wall.at(2.5)
    assert watch.tick()  # another minute
    assert not watch.tick()
    pk.append_log(folder, "started", "A1", at="0:01", by="Tomas", plan=plan)
    assert watch.tick()
    assert start_of(watch.plan, "A1") == 1
    assert not watch.tick()
    wall.at(3.1)
    assert watch.tick()


def test_an_impossible_row_of_another_is_told_and_counts_for_nothing(watch, wall, folder):
    wall.at(20)
    called(watch, "EV1", "started", "A1", at="0:00")
    pk.append_log(folder, "finished", "B2", at="2031-09-03T07:35:00Z", by="no plan")
    with (folder / "log.csv").open("a") as file:
        file.write('e9,,,C1,started,"cut off\n')
    pk.append_log(folder, "finished", "A1", at="2031-09-03T07:42:00Z")
    watch.tick()
    assert [fault.row for fault in watch.log_so_far.faults] == [4, 3]
    assert watch.plan.finishes[watch.plan.position("A1")] == 12


def test_a_row_just_ahead_of_now_is_heard_as_soon_as_its_time_has_come(watch, wall, folder):
    wall.at(0.5)
    pk.append_log(folder, "started", "A1", at="2031-09-03T07:30:40Z")  # PET 0:00:40
    watch.tick()
    assert "future" in watch.log_so_far.faults[0].problem
    wall.at(0.75)
    assert watch.tick()
    assert watch.log_so_far.faults == ()


def test_a_log_that_cannot_be_read_leaves_the_last_picture_and_says_so(watch, wall, folder):
    called(watch, "EV1", "started", "A1")
    wall.at(1.5)
    good = start_of(watch.plan, "A1")
    (folder / "log.csv").write_bytes(b"\xff\xfe\x00not a log")
    assert watch.tick()
    assert watch.trouble.startswith("the log cannot be read")
    assert start_of(watch.plan, "A1") == good


def test_logged_pet_zero_moves_pet(watch, wall, plan):
    wall.at(6)
    called(watch, "", "pet_zero", "", at="07:36Z")
    assert watch.plan.pet_zero == plan.pet_zero + timedelta(minutes=6)
    assert watch.outside.actuals.pet_zero == watch.plan.pet_zero
    assert watch.now_min == 0


def test_now_set_by_hand_runs_or_is_held_in_another_year(plan, folder):
    wall = [far_off()]
    clock = first_clock(plan.timed, Logbook.beside(folder), wall[0])
    assert (clock.kind, clock.now(wall[0])) == (HELD, plan.pet_zero)
    watch = Watch(plan.timed, Logbook.beside(folder), clock, lambda: wall[0])
    watch.set_clock(RUNNING, "0:20")
    wall[0] += timedelta(minutes=3)
    assert watch.tick()
    assert watch.now_min == pytest.approx(23)
    watch.set_clock(HELD)
    wall[0] += timedelta(minutes=3)
    assert not watch.tick()
    with pytest.raises(pk.ScenarioError, match="no moment of this outing"):
        watch.set_clock(WALL)
    with pytest.raises(pk.ScenarioError, match="PET like"):
        watch.set_clock(HELD, "soon")
    assert watch.now_min == pytest.approx(23)


def test_the_wall_clock_is_followed_where_it_lies_in_the_outing(plan, folder):
    clock = first_clock(plan.timed, Logbook.beside(folder), plan.pet_zero + timedelta(minutes=30))
    assert clock.kind == WALL


def test_a_whole_log_is_replayed_up_to_the_now_that_was_set(folder, plan):
    note = "'=1+1"  # which a file holds with an apostrophe more
    for step, event, minutes in (("A1", "started", 0), ("A1", "finished", 12), ("B1", "started", 13)):
        at = plan.pet_zero + timedelta(minutes=minutes)
        pk.append_log(folder, event, step, at=at, note=note, plan=plan, logged_at=at)
    watch = Watch(plan.timed, Logbook.beside(folder), Clock(HELD, plan.pet_zero, far_off()), far_off)
    assert (len(watch.log_so_far.rows), len(watch.log_so_far.later)) == (1, 2)
    watch.set_clock(HELD, "0:12")
    assert len(watch.log_so_far.later) == 1
    assert watch.enter(Entry("EV2", "started", "C1")) == ""  # the file goes on
    assert "1 of its rows" in watch.refused["EV2"].faults[0].problem
    before = (folder / "log.csv").read_bytes()
    watch.rehearse()
    assert watch.enter(Entry("EV2", "started", "C1"))
    assert (folder / "log.csv").read_bytes() == before
    assert not watch.log.is_kept
    assert [row.text("note") for row in watch.log_so_far.rows] == [note, note, ""]


def test_without_a_folder_the_log_is_kept_in_the_session(plan, wall, tmp_path):
    book = Logbook.beside(tmp_path / "nowhere")
    watch = Watch(plan.timed, book, Clock.wall(wall()), wall)
    called(watch, "EV1", "started", "A1")
    assert not book.is_kept
    assert list(tmp_path.iterdir()) == [tmp_path / "outing"]


def test_a_log_given_as_a_table_is_not_written_back():
    plan = pk.time_plan(pk.load_scenario(TERN))
    frame = pk.read_log(LATE)
    before = (LATE / "log.csv").read_bytes()
    book = Logbook.of_frame(frame)
    watch = Watch(plan.timed, book, first_clock(plan.timed, book, far_off()), far_off)
    assert watch.log_so_far.faults == ()
    assert watch.plan.end_min == pytest.approx(plan.retime(frame, watch.now_min).end_min)
    watch.set_clock(HELD, "1:40")
    by_then = frame[frame["logged_at"] <= "2031-05-14T13:00:00Z"]
    assert pk.Plan(watch.plan).standing == plan.retime(by_then, "1:40").standing
    assert (LATE / "log.csv").read_bytes() == before


def test_a_log_with_pet_only_is_a_log(plan, wall):
    frame = pd.DataFrame({"step": ["A1"], "event": ["started"], "at": ["0:01"]})
    wall.at(5)
    watch = Watch(plan.timed, Logbook.of_frame(frame), Clock.wall(wall()), wall)
    assert start_of(watch.plan, "A1") == 1
    called(watch, "EV1", "finished", "A1")


def test_home_is_told_for_now_with_what_is_in_hand_made_safe_first(watch, wall):
    called(watch, "EV1", "started", "A1")
    wall.at(14)  # the estimate of 10 is used up, but nobody has called it finished
    watch.set_clock(WALL)
    sequence, margins = watch.ways_home()["terminate"]
    assert sequence["what"].iloc[0].startswith("Make A1 safe")
    assert list(margins["step"]) == ["A1", "A1"]


@pytest.mark.parametrize("name", ["small-outing", "tern-station", "faulty-plan"])
def test_going_outside_changes_no_file(name, tmp_path):
    folder = shutil.copytree(SCENARIOS / name, tmp_path / name)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    plan = pk.time_plan(pk.load_scenario(folder))
    watch = Watch(plan.timed, Logbook.beside(folder), Clock(HELD, plan.pet_zero, far_off()), far_off)
    watch.tick()
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_an_entry_that_makes_an_earlier_row_impossible_names_that_row(watch, wall):
    wall.at(20)
    called(watch, "EV1", "started", "A1", "0:00")
    called(watch, "EV1", "partly", "A1", "0:12", remaining_min="6")
    assert not watch.enter(Entry("EV1", "finished", "A1", "0:11"))
    problem = watch.refused["EV1"].faults[0].problem
    assert "with the new row, row 3 cannot be: A1 is not in progress" in problem


def test_who_has_not_called_a_step_of_both_is_not_said_to_be_at_it(watch, wall):
    called(watch, "EV1", "started", "A1", alone="yes")
    wall.at(2)
    watch.tick()
    told = pk.Plan(watch.plan).standing
    assert "EV2 as planned: EV1 is on A1 since 0:00, that EV2 has begun is not called." in told
    called(watch, "EV2", "started", "A1", alone="yes")
    assert "EV2 2 min behind: on A1 since 0:02" in pk.Plan(watch.plan).standing


def test_a_limit_that_is_kept_to_the_minute_is_not_told_as_over(watch, wall):
    """From 1:12, 10 min of Z1 and 8 of ingress end at the planned limit of 90 min; 9.5 from 1:13 do not."""
    wall.at(72)
    for step in ("A1", "B1", "B2", "B3", "C1", "C2", "C3"):
        called(watch, "EV2" if step[0] == "C" else "EV1", "skipped", step)
    called(watch, "EV1", "started", "Z1")
    assert "planned limit 0 min left" in pk.Plan(watch.plan).standing
    wall.at(73)
    called(watch, "EV1", "partly", "Z1", remaining_min="9.5")
    assert "planned limit less than 1 min over" in pk.Plan(watch.plan).standing


def test_options_that_were_found_before_something_was_logged_are_old(watch):
    watch.ask_options().run(lambda progress: None)
    # All work of this outing is required: to drop a task whole is for a person to take, one by one.
    assert list(watch.options.table["kind"]) == ["carry on", *["drop"] * 4]
    assert not watch.are_options_old
    called(watch, "EV1", "started", "A1")
    assert watch.are_options_old


def test_options_found_last_stay_until_others_are_found(watch):
    def told(progress):
        raise AssertionError(progress)

    first = watch.ask_options()
    assert (watch.is_looking, watch.options) == (True, None)
    first.run(told)  # without other orders nothing is searched
    found = watch.options
    assert (watch.is_looking, found.now_min) == (False, 0)
    second = watch.ask_options(with_orders=True)
    third = watch.ask_options()
    assert (second.is_stopping, third.is_stopping) == (True, False)
    second.run(lambda progress: None)  # it ends late, and is not what was asked last
    assert watch.options is found
    third.run(told)
    assert watch.options is third.result


def test_a_lane_has_the_name_of_the_person_and_an_actor_without_title_is_no_crew(plan, folder, wall):
    scenario = plan.scenario.edit_row("crew", "EV1", name="Ada Okafor").add_row(
        "actors", actor="DSK", title="").add_row("steps", after="A1", step="K1", task="EGR", crew="DSK",
        title="Power off", minutes_low=1, minutes_likely=2, minutes_high=3)
    scenario.save()
    watch = Watch(pk.time_plan(scenario).timed, Logbook.beside(folder), Clock.wall(wall()), wall)
    assert [(lane.who, lane.title, lane.is_crew) for lane in lanes_now(watch.plan)] == [
        ("EV1", "Ada Okafor", True), ("EV2", "", True), ("DSK", "", False)]
