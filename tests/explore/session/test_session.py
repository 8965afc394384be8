"""Drags, slider, versions and baseline of a session."""

from __future__ import annotations

import pytest

import planning_kit as pk
from planning_kit.changes.amounts import LikelyMinutes
from planning_kit.changes.order import Drag
from tests.edits import type_setting
from tests.explore.session.conftest import line_of


def order(session, lane):
    sheet = session.draft["steps"]
    crew = sheet.column("crew")
    return [step for step, who in zip(sheet.column("step"), crew, strict=True) if who in (lane, "both")]


def test_a_bar_dropped_earlier_goes_before_the_step_it_was_dropped_on(session):
    session.make(Drag("C3", "EV2", "C2"))
    assert order(session, "EV2") == ["A1", "C1", "C3", "C2", "Z1"]
    assert order(session, "EV1") == ["A1", "B1", "B2", "B3", "Z1"]


def test_a_bar_dropped_at_the_end_of_the_lane_goes_behind_its_last_step(session):
    session.make(Drag("C1", "EV2", None))
    assert order(session, "EV2") == ["A1", "C2", "C3", "Z1", "C1"]


def test_a_bar_dropped_in_the_other_lane_changes_hands_and_takes_its_own_hook_along(session):
    line = line_of(session, "steps", "C1")
    session.type_cells("steps", {(line, "hooks"): "EV2", (line, "place"): "HAT"})
    session.make(Drag("C1", "EV1", "B2"))
    assert session.draft["steps"].text(line, "crew") == "EV1"
    assert session.draft["steps"].text(line, "hooks") == "EV1"
    assert order(session, "EV1") == ["A1", "B1", "C1", "B2", "B3", "Z1"]


def test_several_bars_keep_their_order_and_are_one_edit(session):
    session.make(Drag("C1", "EV1", "B2", ("C2",)))
    assert order(session, "EV1") == ["A1", "B1", "C1", "C2", "B2", "B3", "Z1"]
    session.make(Drag("B1", "EV1", None, ("C1", "C2")))
    assert order(session, "EV1") == ["A1", "B2", "B3", "Z1", "B1", "C1", "C2"]
    session.undo()
    session.undo()
    assert order(session, "EV2") == ["A1", "C1", "C2", "C3", "Z1"]
    draft = session.draft
    with pytest.raises(pk.ScenarioError, match="no such step"):
        session.make(Drag("C1", "EV2", None, ("nothing",)))
    assert session.draft is draft


def test_what_is_tried_changes_nothing_and_is_not_judged_again(session):
    draft, plan = session.draft, session.plan
    tried = session.tried(Drag("C3", "EV2", "C2"))
    assert (session.draft, session.plan, session.history.can_undo) == (draft, plan, "")
    session.make(Drag("C3", "EV2", "C2"))
    assert session.plan is tried.plan
    assert session.history.can_undo == "move C3"


def test_what_was_tried_before_a_save_is_judged_on_the_folder_of_now(session):
    session.make(Drag("C3", "EV2", "C2"))
    tried = session.tried(LikelyMinutes("B2", 15))
    session.save()
    session.make(LikelyMinutes("B2", 15))
    assert session.plan is not tried.plan
    session.save()  # no conflict: it is held against what was saved just now


@pytest.mark.parametrize(("step", "lane"), [("C1", "DESK"), ("C1", "nobody")])
def test_a_lane_that_is_not_open_is_refused_and_nothing_changes(session, step, lane):
    draft = session.draft
    with pytest.raises(pk.ScenarioError, match="lane"):
        session.make(Drag(step, lane, None))
    assert session.draft is draft


def test_a_step_of_both_keeps_both_wherever_it_is_dropped(session):
    session.make(Drag("Z1", "EV2", "C3"))
    assert session.draft["steps"].text(line_of(session, "steps", "Z1"), "crew") == "both"
    assert order(session, "EV2") == ["A1", "C1", "C2", "Z1", "C3"]


@pytest.mark.parametrize(("minutes", "low", "likely", "high"), [
    (12.43, "10", "12.4", "18"),  # B2 is 10, 13, 18
    (25.0, "10", "25", "25"),
    (4.0, "4", "4", "18"),
    (-3.0, "1", "1", "18"),
])
def test_a_dragged_edge_sets_the_likely_minutes_and_the_others_make_room(session, minutes, low, likely, high):
    session.make(LikelyMinutes("B2", minutes))
    line = line_of(session, "steps", "B2")
    texts = [session.draft["steps"].text(line, f"minutes_{name}") for name in ("low", "likely", "high")]
    assert texts == [low, likely, high]
    assert session.faults == ()


def test_one_drag_of_the_slider_is_one_edit(session):
    start = session.plan.pet_zero
    for minute in ("31", "32", "33"):
        session.set_pet_zero(f"2031-09-03T07:{minute}:00Z", merges="drag 1")
    session.set_pet_zero("2031-09-03T07:50:00Z", merges="drag 2")
    assert f"{session.plan.pet_zero:%H:%M}" == "07:50"
    session.undo()
    assert f"{session.plan.pet_zero:%H:%M}" == "07:33"
    session.undo()
    assert session.plan.pet_zero == start


def test_undo_and_redo_say_what_they_do(session):
    session.make(LikelyMinutes("B2", 12))
    assert session.history.can_undo == "minutes of B2"
    session.undo()
    assert (session.history.can_undo, session.history.can_redo) == ("", "minutes of B2")
    session.make(LikelyMinutes("C1", 4))
    assert session.history.can_redo == ""


def test_versions_are_kept_switched_to_and_compared(session):
    session.make(LikelyMinutes("Z1", 14))
    session.keep_version("long count")
    session.make(LikelyMinutes("Z1", 9))
    moved, typed = session.compare_with("long count")
    # Low is 8, high 14: 14 and 9 both lie between, so that likely is all that differs.
    assert typed[["row", "column", "a", "b"]].to_numpy().tolist() == [["Z1", "minutes_likely", "14", "9"]]
    assert list(moved["step"]) == ["Z1"]
    session.switch_to("long count")
    assert session.draft.says_the_same_as(session.versions["long count"])
    session.undo()
    assert session.draft["steps"].text(line_of(session, "steps", "Z1"), "minutes_likely") == "9"


def test_a_version_that_holds_faults_is_compared_by_what_is_typed(session):
    session.type_cells("steps", {(line_of(session, "steps", "B2"), "place"): "nowhere"})
    session.keep_version("broken")
    session.undo()
    moved, typed = session.compare_with("broken")
    assert moved is None
    assert typed[["row", "a", "b"]].to_numpy().tolist() == [["B2", "nowhere", "MST"]]


def test_a_deleted_version_can_be_brought_back(session):
    session.make(LikelyMinutes("Z1", 14))
    session.keep_version("long count")
    session.set_baseline("long count")
    session.drop_version("long count")
    assert list(session.versions) == ["as loaded"]
    assert (session.baseline, session.baseline_name) == (None, None)
    assert session.bring_back() == "long count"
    assert session.versions["long count"].says_the_same_as(session.draft)
    assert session.bring_back() == ""
    for name in ("as loaded", "none"):
        with pytest.raises(pk.ScenarioError):
            session.drop_version(name)


def test_a_version_needs_a_free_name(session):
    session.keep_version("a")
    for name in ("a", " ", "as loaded"):
        with pytest.raises(pk.ScenarioError, match="version"):
            session.keep_version(name)
    with pytest.raises(pk.ScenarioError, match="no version"):
        session.switch_to("b")


def test_the_baseline_is_the_plan_of_a_version(session):
    end = session.plan.end_min
    session.set_baseline("as loaded")
    session.make(LikelyMinutes("Z1", 12))
    assert session.baseline.end_min == end
    assert session.plan.end_min == end + 2
    session.set_baseline(None)
    assert session.baseline is None


def test_a_version_with_faults_is_no_baseline(session):
    session.type_cells("steps", {(line_of(session, "steps", "B2"), "place"): "nowhere"})
    session.keep_version("broken")
    with pytest.raises(pk.ScenarioError, match=r"this version has no plan.*is not in places"):
        session.set_baseline("broken")
    assert session.baseline is None


def test_the_pet_zero_range_is_the_scenarios_else_the_day(session):
    first, last = session.pet_zero_range()
    assert f"{first:%Y-%m-%dT%H:%M} {last:%Y-%m-%dT%H:%M}" == "2031-09-03T00:00 2031-09-03T23:59"
    type_setting(session, "pet_zero_earliest", "2031-09-03T07:00:00Z")
    assert f"{session.pet_zero_range()[0]:%H:%M}" == "07:00"
