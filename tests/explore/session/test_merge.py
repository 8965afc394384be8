"""Another saved meanwhile: what nobody else touched is taken, what both changed is asked, nothing is lost."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.explore.session.draft import draft_of
from planning_kit.explore.session.merge import THEIRS, YOURS, merged, same_lines
from planning_kit.explore.session.session import Session
from tests.edits import move_lines, type_setting
from tests.explore.session.conftest import SCENARIOS, line_of


@pytest.fixture
def other(folder):
    """Another planner on the same folder."""
    return Session(pk.load_scenario(folder))


def type_in(session, step, column, text, sheet="steps"):
    session.type_cells(sheet, {(line_of(session, sheet, step), column): text})


def text_of(session, step, column, sheet="steps"):
    return session.draft[sheet].text(line_of(session, sheet, step), column)


def words(clashes):
    return [[each.table, each.row, each.column, each.was, each.yours, each.theirs] for each in clashes]


def test_changes_of_other_cells_rows_and_settings_come_together(session, other, folder):
    before = text_of(session, "B1", "title")
    type_in(other, "B1", "title", "Theirs")
    type_in(other, "HAT", "title", "Their hatch", "places")
    type_setting(other, "limits.planned_min", "95")
    other.delete_lines("steps", [line_of(other, "steps", "C1")])
    new, = other.duplicate_lines("steps", [line_of(other, "steps", "B1")])
    other.type_cells("steps", {(new, "takes"): ""})
    other.save()
    type_in(session, "B1", "minutes_likely", "5")
    type_in(session, "B2", "title", "Mine")
    type_setting(session, "limits.hard_min", "131")
    with pytest.raises(pk.SaveConflict):
        session.save()
    merge = session.merging()
    assert merge.clashes == []
    assert sorted(words(merge.taken)) == sorted([
        ["steps", "B1", "title", before, before, "Theirs"],
        ["steps", "B1-2", "", "", "", "(new row)"], ["steps", "C1", "", "", "", "(row deleted)"],
        ["places", "HAT", "title", "Hatch", "Hatch", "Their hatch"],
        ["settings", "limits.planned_min", "value", "90", "90", "95"]])
    session.merge({})
    assert (text_of(session, "B1", "title"), text_of(session, "B1", "minutes_likely")) == ("Theirs", "5")
    assert text_of(session, "B2", "title") == "Mine"
    assert session.draft["steps"].column("step") == ["A1", "B1", "B1-2", "C2", "B2", "B3", "C3", "Z1"]
    assert session.has_unsaved_work  # looked at first, then saved
    session.save()
    saved = pk.load_scenario(folder)
    assert (saved.settings.limits.planned_min, saved.settings.limits.hard_min) == (95, 131)


def test_what_both_changed_is_asked_and_nothing_changes_before_the_answer(session, other):
    type_in(other, "B1", "title", "Theirs")
    type_in(other, "C1", "minutes_likely", "4")
    type_setting(other, "title", "Their title")
    other.save()
    type_in(session, "B1", "title", "Mine")
    type_in(session, "C1", "minutes_likely", "4")  # the same edit is no clash
    type_setting(session, "title", "My title")
    draft = session.draft
    merge = session.merge({})
    assert session.draft is draft
    assert [row[:3] + row[4:] for row in words(merge.open_clashes)] == [
        ["steps", "B1", "title", "Mine", "Theirs"],
        ["settings", "title", "value", "My title", "Their title"]]
    first, second = (clash.where for clash in merge.clashes)
    assert session.merge({first: THEIRS}).open_clashes[0].where == second
    session.merge({first: THEIRS, second: YOURS})
    assert (text_of(session, "B1", "title"), session.scenario.settings.title) == ("Theirs", "My title")
    session.save()


@pytest.mark.parametrize("side", [YOURS, THEIRS])
def test_a_row_that_one_deleted_and_the_other_changed_is_asked(session, other, side):
    other.delete_lines("steps", [line_of(other, "steps", "C1")])
    type_in(other, "B2", "title", "Theirs")
    other.save()
    type_in(session, "C1", "minutes_likely", "4")
    session.delete_lines("steps", [line_of(session, "steps", "B2")])
    clashes = session.merging().clashes
    assert words(clashes) == [["steps", "C1", "", "", "minutes_likely: 4", "(row deleted)"],
                              ["steps", "B2", "", "", "(row deleted)", "title: Theirs"]]
    session.merge({clash.where: side for clash in clashes})
    steps = session.draft["steps"].column("step")
    assert ("B2" in steps, "C1" in steps) == ((True, False) if side == THEIRS else (False, True))


def test_an_order_that_only_they_changed_is_taken_with_my_new_rows(session, other):
    move_lines(other, "steps", [line_of(other, "steps", "C3")], line_of(other, "steps", "C2"))
    other.save()
    session.duplicate_lines("steps", [line_of(session, "steps", "B1")])
    merge = session.merge({})
    assert [clash.theirs for clash in merge.taken] == ["moved C3"]
    assert session.draft["steps"].column("step") == ["A1", "B1", "B1-2", "C1", "C3", "C2", "B2", "B3", "Z1"]


@pytest.mark.parametrize(("side", "order"), [
    (YOURS, ["A1", "B1", "C2", "C1", "B2", "B3", "C3", "Z1"]),
    (THEIRS, ["A1", "B1", "C1", "C3", "C2", "B2", "B3", "Z1"])])
def test_two_orders_are_asked(session, other, side, order):
    move_lines(other, "steps", [line_of(other, "steps", "C3")], line_of(other, "steps", "C2"))
    other.save()
    move_lines(session, "steps", [line_of(session, "steps", "C2")], line_of(session, "steps", "C1"))
    clash, = session.merging().clashes
    assert (clash.yours, clash.theirs) == ("moved C2", "moved C3")
    session.merge({clash.where: side})
    assert session.draft["steps"].column("step") == order


def test_a_step_that_i_renamed_keeps_what_they_changed_in_it(session, other):
    type_in(other, "C2", "minutes_likely", "8")
    other.save()
    type_in(session, "C2", "step", "C9")
    session.merge({})
    assert text_of(session, "C9", "minutes_likely") == "8"
    assert "C2" not in session.draft["steps"].column("step")


def test_undo_of_a_merge_leads_back_before_it_and_never_over_theirs(session, other, folder):
    type_in(other, "B1", "title", "Theirs")
    other.save()
    type_in(session, "B2", "title", "Mine")
    session.merge({})
    session.undo()
    assert session.has_unsaved_work
    with pytest.raises(pk.SaveConflict):
        session.save()
    session.redo()
    session.save()
    assert list(pk.load_scenario(folder).steps["title"][[1, 4]]) == ["Theirs", "Mine"]


def test_a_version_from_before_is_never_saved_over_theirs(session, other, folder):
    type_in(session, "B2", "title", "Mine")
    session.keep_version("before")
    type_in(other, "B1", "title", "Theirs")
    other.save()
    session.take_theirs()
    session.switch_to("before")
    with pytest.raises(pk.SaveConflict):
        session.save()
    session.merge({})
    session.save()
    assert list(pk.load_scenario(folder).steps["title"][[1, 4]]) == ["Theirs", "Mine"]


def test_left_work_on_a_folder_that_has_changed_since_overwrites_nothing(session, other, folder):
    type_in(session, "B2", "title", "Mine")
    session.autosave()
    type_in(other, "B1", "title", "Theirs")
    other.save()
    later = Session(pk.load_scenario(folder))
    left, = later.unsaved_work()
    assert later.restore(left)
    assert (text_of(later, "B2", "title"), text_of(later, "B1", "title")[:4]) == ("Mine", "Take")
    with pytest.raises(pk.SaveConflict, match="changed after this work was left"):
        later.save()
    assert [clash.row for clash in later.merging().taken] == ["B1"]
    later.autosave()  # and killed once more
    last = Session(pk.load_scenario(folder))
    assert last.restore(last.unsaved_work()[0])
    last.merge({})
    last.save()
    assert list(pk.load_scenario(folder).steps["title"][[1, 4]]) == ["Theirs", "Mine"]


def test_left_work_on_an_unchanged_folder_is_saved_without_ado(session, folder):
    type_in(session, "B2", "title", "Mine")
    session.autosave()
    later = Session(pk.load_scenario(folder))
    assert not later.restore(later.unsaved_work()[0])
    later.save()
    assert pk.load_scenario(folder).steps["title"][4] == "Mine"


def test_left_work_of_another_version_of_the_package_fits_in(session, folder):
    type_in(session, "B2", "title", "Mine")
    session.autosave()
    left, = Session(pk.load_scenario(folder)).unsaved_work()
    steps, typed = left.draft["steps"], left.draft["settings"]
    at = steps.columns.index("make_safe")
    older = replace(left.draft.with_sheet(replace(
        steps, columns=(*steps.columns[:at], *steps.columns[at + 1:]),
        lines=tuple(replace(line, cells=(*line.cells[:at], *line.cells[at + 1:])) for line in steps.lines),
    )).with_sheet(replace(typed, lines=typed.lines[3:])))
    session.journal.write(older, older, {})
    later = Session(pk.load_scenario(folder))
    assert not later.restore(later.unsaved_work()[0]) or later.merging().clashes == []
    assert later.faults == ()
    assert text_of(later, "B2", "title") == "Mine"
    assert set(later.draft["steps"].columns) == set(session.draft["steps"].columns)


# Whatever two planners do: a side that did nothing gives way, and equal sides give the same.

SMALL = draft_of(pk.load_scenario(SCENARIOS / "small-outing"))
EDITS = st.lists(st.tuples(
    st.sampled_from(["type", "delete", "move", "copy"]), st.sampled_from(["steps", "gaps"]),
    st.integers(0, 30), st.integers(0, 30), st.sampled_from(["", "x", "12"])), max_size=6)


def edited(edits):
    session = Session(pk.load_scenario(SCENARIOS / "small-outing"))
    session._judge = lambda _before: None  # only what is typed matters here
    for kind, name, a, b, text in edits:
        sheet = session.draft[name]
        if not sheet.lines:
            continue
        line = sheet.lines[a % len(sheet.lines)].id
        if kind == "type":
            session.type_cells(name, {(line, sheet.columns[b % len(sheet.columns)]): text})
        elif kind == "delete":
            session.delete_lines(name, [line])
        elif kind == "move":
            move_lines(session, name, [line], sheet.lines[b % len(sheet.lines)].id)
        else:
            session.duplicate_lines(name, [line])
    return session.draft


@settings(max_examples=40, deadline=None)
@given(EDITS, EDITS)
def test_no_typed_text_is_lost_without_being_asked(mine_edits, their_edits):
    mine, theirs = edited(mine_edits), edited(their_edits)
    assert merged(SMALL, mine, SMALL, {}).draft.says_the_same_as(mine)
    assert merged(SMALL, SMALL, theirs, {}).draft.says_the_same_as(theirs)
    assert merged(SMALL, mine, mine, {}).clashes == []
    read = same_lines(theirs, SMALL, mine)
    merge = merged(SMALL, mine, read, {})
    asked = {clash.where for clash in merge.clashes}
    for name, sheet in merge.draft.sheets.items():
        ids = [line.id for line in sheet.lines]
        assert len(ids) == len(set(ids))
        for side in (mine, read):
            before = {line.id: line.cells for line in SMALL[name].lines}
            for line in side[name].lines:
                was = before.get(line.id, line.cells)
                for column, text, old in zip(side[name].columns, line.cells, was, strict=True):
                    if text == old:
                        continue
                    is_asked = {(name, line.id, column), (name, line.id, "")} & asked
                    assert is_asked or sheet.text(line.id, column) == text
