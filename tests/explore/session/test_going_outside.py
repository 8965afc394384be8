"""Options looked at and taken: skips go into the log, other orders and hands into the plan."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.changes.amounts import LikelyMinutes
from planning_kit.explore.session.going_outside import take
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.logbook import Logbook
from planning_kit.explore.watch.now import HELD, Clock
from planning_kit.explore.watch.watch import Watch
from tests.conftest import LATE, TERN
from tests.explore.watch.conftest import called, far_off, start_of


@pytest.fixture(scope="module")
def demo_plan_in_a_folder(tmp_path_factory: pytest.TempPathFactory) -> pk.Plan:
    folder = shutil.copytree(TERN, tmp_path_factory.mktemp("demo") / "tern")
    return pk.time_plan(pk.load_scenario(folder))


@pytest.fixture
def outing(demo_plan_in_a_folder: pk.Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A session on the demo, and a watch at PET 3:58 of the log that comes with it."""
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "state"))
    session = Session(demo_plan_in_a_folder.scenario)
    log = pk.read_log(LATE)
    book = Logbook.of_frame(log[log["logged_at"] <= "2031-05-14T15:18:00Z"])
    clock = Clock(HELD, session.plan.pet_zero, far_off())
    watch = Watch(session.plan, book, clock, far_off)
    watch.set_clock(HELD, "3:58")
    return session, watch


def test_an_option_is_looked_at_without_deciding_and_follows_the_log(outing):
    _, watch = outing
    carried_on, events = watch.plan, len(watch.log_so_far.rows)
    watch.look_at("Drop SHD", {"skip": ["SHD"]})
    shown, ghosts = watch.shown
    assert ghosts is carried_on
    assert shown.end_min < carried_on.end_min
    assert len(watch.log_so_far.rows) == events
    watch.set_clock(HELD, "4:00")
    assert watch.preview.plan.now_min == 240
    called(watch, "EV2", "finished", "HT4")
    assert watch.preview is None
    assert watch.shown[0] is watch.plan


def test_a_preview_that_is_not_open_any_more_ends_with_words(outing):
    _, watch = outing
    watch.look_at("Drop AN1", {"skip": ["AN1"]})
    pk.append_log(watch.log.path, "started", "AN1", at="3:58", plan=watch.base)
    assert watch.tick()
    assert watch.preview is None
    assert "not open any more" in watch.trouble


def test_a_drop_that_is_taken_is_logged_step_by_step(outing):
    session, watch = outing
    draft = session.draft
    said = take(session, watch, "Drop SHD", {"skip": ["SH1", "SH2", "SH3", "SH4", "SH5"]}, by="Ines")
    rows = pk.read_log(watch.log.path).tail(5)
    assert list(rows["event"]) == ["skipped"] * 5
    assert set(rows["note"]) == {"Drop SHD"}
    assert set(rows["by"]) == {"Ines"}
    assert "SH1 SH2 SH3 SH4 SH5" in said
    assert session.draft is draft
    assert set(pk.Plan(watch.plan).left_out["step"]) == {"SH1", "SH2", "SH3", "SH4", "SH5"}


def test_a_task_given_to_the_other_is_another_plan_to_re_time_and_can_be_undone(outing):
    session, watch = outing
    watch.log = Logbook.of_rows(())
    watch.set_clock(HELD, "0:06")
    called(watch, "DESK", "started", "OP1", at="0:00")
    planned = watch.planned
    watch.ask_options().run(lambda progress: None)
    assert not watch.are_options_old
    decided = pk.Plan(watch.plan).decide(give=["SUR"])
    before = [line.id for line in session.draft["steps"].lines]
    take(session, watch, "Give SUR to the other", {"give": ["SUR"]})
    assert session.history.can_undo == "Give SUR to the other"
    assert [line.id for line in session.draft["steps"].lines] == before
    assert watch.plan.end_min == decided.end_min
    assert watch.planned is planned
    assert watch.outside.planned is planned
    assert watch.are_options_old  # nothing was logged, but they are those of another plan
    crew = {step.step: step.crew for step in watch.plan.steps}
    assert (crew["SV1"], planned.steps[planned.position("SV1")].crew) == ("EV2", "EV1")
    assert start_of(watch.plan, "OP1") == 0
    session.undo()
    watch.rebase(session.plan)
    assert watch.plan.steps[watch.plan.position("SV1")].crew == "EV1"


def test_where_the_log_goes_on_no_half_of_an_option_is_taken(outing):
    session, watch = outing
    watch.set_clock(HELD, "3:00")
    draft, rows = session.draft, len(watch.log_so_far.rows) + len(watch.log_so_far.later)
    both = {"skip": ["SHD"], "order": ["AN1", "HT4"]}
    assert pk.Plan(watch.plan).decide(**both)  # it is open
    with pytest.raises(pk.ScenarioError, match="the log goes on"):
        take(session, watch, "Drop SHD and more", both)
    assert session.draft is draft
    assert len(pk.read_log(watch.log.path)) == rows


def test_while_cells_are_marked_no_option_changes_the_plan(outing):
    session, watch = outing
    watch.log = Logbook.of_rows(())
    watch.set_clock(HELD, "0:00")
    line = session.draft["steps"].find("step", "SM1")
    session.type_cells("steps", {(line, "minutes_likely"): "long"})
    with pytest.raises(pk.ScenarioError, match="marked cells"):
        take(session, watch, "Give SUR to the other", {"give": ["SUR"]})
    assert session.draft["steps"].text(line, "minutes_likely") == "long"


def test_the_plan_taken_outside_is_the_one_before_the_first_event(outing):
    session, watch = outing
    empty = Watch(session.plan, Logbook.of_rows(()), watch.clock, far_off)
    session.make(LikelyMinutes("EG1", 20))
    empty.rebase(session.plan)
    assert empty.planned is session.plan
    kept = watch.planned
    watch.rebase(session.plan)
    assert watch.planned is kept
