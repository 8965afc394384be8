"""Typing, pasting and arranging rows: what is typed stays, what is wrong is told where it stands."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.changes.amounts import LikelyMinutes
from planning_kit.changes.order import Drag
from planning_kit.explore.session.draft import draft_of, scenario_of
from planning_kit.explore.session.session import Session
from planning_kit.explore.session.sheet import block_of
from planning_kit.judge.all_checks import findings_of
from tests.edits import move_lines, type_setting
from tests.explore.session.conftest import SCENARIOS, line_of


@pytest.mark.parametrize("name", ["small-outing", "tern-station", "faulty-plan"])
def test_a_draft_of_a_scenario_says_the_scenario_byte_for_byte(name):
    scenario = pk.load_scenario(SCENARIOS / name)
    again = scenario_of(draft_of(scenario), scenario)
    assert again == scenario
    assert again.checked.source.files() == scenario.checked.source.files()


def test_a_typed_duration_moves_the_plan(session):
    before = session.plan.end_min
    session.type_cells("steps", {(line_of(session, "steps", "B2"), "minutes_likely"): "17"})
    assert session.faults == ()
    # B3 waits for night at 35.6 min anyway: B2 may take 17 min (finish 34) without moving the end.
    assert session.plan.end_min == before
    session.type_cells("steps", {(line_of(session, "steps", "Z1"), "minutes_likely"): "12"})
    assert session.plan.end_min == before + 2


def test_a_unit_typed_stays_as_text_and_counts_as_its_value(session):
    type_setting(session, "limits.hard_min", "2.5 h")
    session.type_cells("steps", {(line_of(session, "steps", "Z1"), "minutes_likely"): "0.2 h"})
    assert session.faults == ()
    assert session.plan.scenario.settings.limits.hard_min == 150.0
    assert session.plan.scenario.records.steps[-1].minutes_likely == 12.0
    session.save()
    again = pk.load_scenario(session.scenario.folder)
    steps = again.checked.source.tables["steps"]
    assert steps.rows[-1][steps.header.index("minutes_likely")] == "0.2 h"
    assert b'hard_min = "2.5 h"' in again.checked.source.toml
    type_setting(session, "limits.hard_min", "2.5 kg")
    assert "these units: min, h, s" in session.faults[0].problem


def test_a_step_typed_late_starts_as_late_as_it_can(session):
    line, starts, end = line_of(session, "steps", "B2"), session.plan.starts, session.plan.end_min
    session.type_cells("steps", {(line, "when"): "late", (line, "late_margin_min"): "1.5"})
    assert session.faults == ()
    # B3 waits for night; B2 takes 13 min at the same place.
    b2, b3 = (session.plan.position(step) for step in ("B2", "B3"))
    assert session.plan.starts[b2] == pytest.approx(starts[b3] - 13 - 1.5)
    assert session.plan.end_min == end
    session.undo()
    session.type_cells("steps", {(line, "when"): "soon"})
    assert [(fault.sheet, fault.column) for fault in session.faults] == [("steps", "when")]


def test_a_bad_cell_is_told_where_it_stands_and_the_last_good_plan_stays(session):
    plan, line = session.plan, line_of(session, "steps", "B2")
    session.type_cells("steps", {(line, "minutes_likely"): "13,5"})
    fault, = session.faults
    assert (fault.sheet, fault.line, fault.column, fault.value) == ("steps", line, "minutes_likely", "13,5")
    assert "decimal point" in fault.problem
    assert session.plan is plan
    assert session.draft["steps"].text(line, "minutes_likely") == "13,5"
    session.type_cells("steps", {(line, "minutes_likely"): "13.5"})
    assert session.faults == ()
    assert session.plan is not plan


def test_a_circle_of_rules_is_timed_and_told_at_its_step(session):
    line = line_of(session, "steps", "B1")
    session.type_cells("steps", {(line, "after"): "B3"})  # B1 comes before B3 in EV1's own order
    assert session.faults == ()
    (stop,) = findings_of(session.plan).query("check == 'rules'").to_dict("records")
    assert (stop["step"], stop["rule"], stop["about"]) == ("B1", "after", "B3")


def test_two_tables_can_be_wrong_on_the_way_to_a_new_name(session):
    session.type_cells("places", {(line_of(session, "places", "MID"), "place"): "RACK"})
    assert {fault.sheet for fault in session.faults} >= {"routes", "steps", "hardware"}
    for sheet in ("routes", "steps", "hardware"):
        here = session.draft[sheet]
        texts = {(line.id, column): "RACK" for line in here.lines
                 for column, text in zip(here.columns, line.cells, strict=True) if text == "MID"}
        session.type_cells(sheet, texts)
    assert session.faults == ()
    assert "RACK" in set(session.scenario.places["place"])


def test_settings_are_typed_like_cells_and_keep_the_files_comments(session):
    type_setting(session, "limits.hard_min", "125")
    assert session.scenario.settings.limits.hard_min == 125
    assert b"# demo values, metabolic" in session.scenario.checked.source.toml
    type_setting(session, "limits.hard_min", "two hours")
    fault, = session.faults
    assert (fault.sheet, fault.column, fault.value) == ("settings", "value", "two hours")
    assert session.draft["settings"].line(fault.line).cells[0] == "limits.hard_min"
    assert session.scenario.settings.limits.hard_min == 125
    type_setting(session, "limits.hard_min", " consumables")
    assert session.faults == ()
    assert session.scenario.settings.limits.hard_min == "consumables"
    type_setting(session, "limits.hard_min", "consumable")
    assert "or consumables; did you mean 'consumables'?" in session.faults[0].problem


def test_a_key_emptied_is_a_key_not_given(session):
    type_setting(session, "limits.return_reserve_min", "")
    assert session.faults == ()
    assert session.scenario.settings.limits.return_reserve_min is None


def test_a_block_goes_in_from_the_chosen_cell_and_makes_new_rows_at_the_end(session):
    lines = [line.id for line in session.draft["tasks"].lines][2:]
    block = "CAS\tCassette, again\r\nCLN\tClean-up\nXTR\tExtra\tsurplus\n"
    lost = session.paste("tasks", lines, ["task", "title"], block)
    assert lost == 1
    sheet = session.draft["tasks"]
    assert sheet.column("title")[2:] == ["Cassette, again", "Clean-up", "Extra"]
    assert sheet.column("task")[-1] == "XTR"
    # The new task has no need yet: that cell is marked, and nothing is lost.
    fault, = session.faults
    assert (fault.sheet, fault.line, fault.column) == ("tasks", sheet.lines[-1].id, "need")


def test_one_pasted_cell_fills_the_whole_choice(session):
    lines = [line.id for line in session.draft["steps"].lines][1:3]
    cells = [(line, column) for line in lines for column in ("minutes_high", "exertion")]
    assert session.paste("steps", lines, ["minutes_high", "exertion"], "9", cells) == 0
    assert [session.draft["steps"].text(line, "minutes_high") for line in lines] == ["9", "9"]
    assert [session.draft["steps"].text(line, "exertion") for line in lines] == ["9", "9"]
    assert {fault.column for fault in session.faults} == {"exertion"}


def test_one_cell_pasted_where_there_is_no_row_yet_makes_one(session):
    assert session.paste("actors", [], ["actor", "title"], "DSK") == 0
    assert session.draft["actors"].column("actor") == ["DSK"]
    draft = session.draft
    assert session.paste("settings", [], ["value"], "5") == 1  # settings cannot grow
    assert session.draft is draft


def test_one_pasted_cell_with_a_line_break_goes_into_one_cell(session):
    before = session.draft["steps"]
    lines = [line.id for line in before.lines][1:]
    session.paste("steps", lines, ["title", "minutes_low"], '"one\ntwo"\n', [(lines[0], "title")])
    assert session.draft["steps"].text(lines[0], "title") == "one\ntwo"
    changed = [line.id for line, old in zip(session.draft["steps"].lines, before.lines, strict=True)
               if line != old]
    assert changed == [lines[0]]


def test_keys_of_settings_stay_where_a_block_is_pasted_over_them(session):
    lines = [line_of(session, "settings", key) for key in ("title", "station")]
    block = "title\tAnother title\nno such key\tAnother station\n"
    assert session.paste("settings", lines, ["key", "value", "unit", "about"], block) == 1
    values = [session.draft["settings"].text(line, "value") for line in lines]
    assert values == ["Another title", "Another station"]
    assert session.draft["settings"].text(lines[1], "key") == "station"


@pytest.mark.parametrize(("text", "block"), [
    ("a\tb\r\nc\td\r\n", [["a", "b"], ["c", "d"]]),
    ('"two\nlines"\tx', [["two\nlines", "x"]]),
    ('say ""hi""\t', [['say ""hi""', ""]]),
    ("a\n\nb", [["a"], [""], ["b"]]),
    ("=1+1", [["=1+1"]]),
])
def test_blocks_are_read_as_spreadsheets_write_them(text, block):
    assert block_of(text) == block


def test_a_new_step_has_a_free_id_and_what_the_one_before_it_says_and_misses_its_minutes(session):
    end_min = session.plan.end_min
    line = session.add_line("steps", after=line_of(session, "steps", "C1"))
    sheet = session.draft["steps"]
    typed = dict(zip(sheet.columns, sheet.line(line).cells, strict=True))
    assert {column: text for column, text in typed.items() if text} == {
        "step": "C4", "task": "CAS", "crew": "EV2", "place": sheet.text(sheet.find("step", "C1"), "place")}
    assert [(fault.line, fault.column) for fault in session.faults] == [(line, "minutes_likely")]
    assert session.plan.end_min == end_min
    session.type_cells("steps", {(line, "minutes_likely"): "2"})
    assert session.faults == ()
    assert [step.step for step in session.plan.steps][2:4] == ["C1", "C4"]


def test_a_new_row_of_a_table_without_ids_counts_once_something_is_typed(session):
    line = session.add_line("gaps")
    assert session.faults == ()
    session.type_cells("gaps", {(line, "first_step"): "A1"})
    assert {(fault.line, fault.column) for fault in session.faults} == {(line, "then_step")}


@pytest.mark.parametrize(("after", "free"), [("Z1", "Z2"), ("LID", "LID1"), ("A09", "A10"), ("", "S1")])
def test_a_new_id_counts_on(session, after, free):
    sheet = session.draft["steps"]
    session.type_cells("steps", {(sheet.ids[-1], "step"): after})
    line = session.add_line("steps")
    assert session.draft["steps"].text(line, "step") == free


def test_an_item_takes_no_id_of_a_place(session):
    session.type_cells("hardware", {(session.draft["hardware"].ids[-1], "item"): "BAG1"})
    session.type_cells("places", {(session.draft["places"].ids[0], "place"): "BAG2"})
    line = session.add_line("hardware")
    assert session.draft["hardware"].text(line, "item") == "BAG3"


def minutes_of(session, step):
    sheet = session.draft["steps"]
    line = sheet.find("step", step)
    return [sheet.text(line, f"minutes_{which}") for which in ("low", "likely", "high")]


@pytest.mark.parametrize(("typed", "minutes"), [
    ("30", ["12", "30", "30"]), ("3", ["3", "3", "20"]), ("0.5 h", ["12", "0.5 h", "30"]),
    ("15", ["12", "15", "20"]), ("soon", ["12", "soon", "20"]), ("-5", ["12", "-5", "20"]),
])
def test_a_likely_duration_typed_alone_moves_low_and_high_as_a_drag_does(session, typed, minutes):
    line = line_of(session, "steps", "B2")
    session.type_cells("steps", {(line, "minutes_low"): "12", (line, "minutes_likely"): "15",
                                 (line, "minutes_high"): "20"})
    session.type_cells("steps", {(line, "minutes_likely"): typed})
    assert minutes_of(session, "B2") == minutes
    assert {fault.column for fault in session.faults} <= {"minutes_likely"}
    if typed == "30":
        session.undo()
        session.make(LikelyMinutes("B2", 30))
        assert minutes_of(session, "B2") == minutes


def test_a_fault_of_two_cells_stands_where_it_was_typed_and_names_the_other(session):
    line = line_of(session, "steps", "B2")

    def told():
        return [(fault.column, fault.problem) for fault in session.faults]

    session.type_cells("steps", {(line, "minutes_low"): "40", (line, "minutes_high"): "40"})
    own = [("minutes_low", told()[0][1])]
    assert told() == own
    session.type_cells("steps", {(line, "minutes_likely"): "30", (line, "title"): "pasted together"})
    moved = [("minutes_likely", "minutes_low 40: is more than minutes_likely, 30")]
    assert told() == moved
    session.type_cells("steps", {(line, "title"): "something else"})
    assert told() == moved
    session.type_cells("steps", {(line, "minutes_low"): "35"})
    assert told() == [("minutes_low", "is more than minutes_likely, 30")]


def test_what_is_missing_is_missed_in_its_own_cell(session):
    line = session.add_line("gaps")
    session.type_cells("gaps", {(line, "min_gap"): "5"})
    assert {fault.column for fault in session.faults} == {"first_step", "then_step"}


def test_a_duplicate_gets_an_id_of_its_own(session):
    one = line_of(session, "steps", "C1")
    session.duplicate_lines("steps", [one])
    again, = session.duplicate_lines("steps", [one])
    assert session.draft["steps"].text(again, "step") == "C1-3"
    assert session.draft["steps"].column("step")[2:5] == ["C1", "C1-3", "C1-2"]


def test_rows_move_up_and_down_and_stop_at_the_ends(session):
    names = lambda: session.draft["tasks"].column("task")  # noqa: E731
    first, last = line_of(session, "tasks", "EGR"), line_of(session, "tasks", "CLN")
    session.shift_lines("tasks", [first], -1)
    session.shift_lines("tasks", [last], +1)
    assert names() == ["EGR", "LMP", "CAS", "CLN"]
    session.shift_lines("tasks", [first], +1)
    assert names() == ["LMP", "EGR", "CAS", "CLN"]
    session.shift_lines("tasks", [first, line_of(session, "tasks", "CAS")], +1)
    assert names() == ["LMP", "CLN", "EGR", "CAS"]


def test_among_some_rows_shown_a_row_moves_past_the_next_of_them(session):
    order = lambda: session.draft["steps"].column("step")  # noqa: E731
    assert order() == ["A1", "B1", "C1", "C2", "B2", "B3", "C3", "Z1"]
    shown = {line_of(session, "steps", step) for step in ("C1", "C2", "C3")}
    session.shift_lines("steps", [line_of(session, "steps", "C3")], -1, shown)
    assert order() == ["A1", "B1", "C1", "C3", "C2", "B2", "B3", "Z1"]
    session.shift_lines("steps", [line_of(session, "steps", "C1")], +1, shown)
    assert order() == ["A1", "B1", "C3", "C1", "C2", "B2", "B3", "Z1"]
    session.shift_lines("steps", [line_of(session, "steps", "C2")], +1, shown)
    assert order()[-1] == "Z1"


def test_settings_keep_their_rows(session):
    session.delete_lines("settings", [session.draft["settings"].lines[0].id])
    move_lines(session, "settings", [session.draft["settings"].lines[0].id], None)
    assert session.duplicate_lines("settings", [session.draft["settings"].lines[0].id]) == []
    assert not session.has_unsaved_work


# Any sequence of edits: undo leads back exactly, redo forth again, and every typed text is in the draft.

SMALL = pk.load_scenario(SCENARIOS / "small-outing")
ODD_TEXTS = ["", "EV1", "MID", "12", "=1+1", "</script>", "\ud800", "a\tb\n"]
ANY_TEXT = st.one_of(st.sampled_from(ODD_TEXTS), st.text(max_size=5))
EDITS = st.lists(st.tuples(
    st.sampled_from(["type", "paste", "add", "duplicate", "delete", "move", "setting", "drag", "minutes"]),
    st.sampled_from(["steps", "tasks", "gaps", "places"]), st.integers(0, 50), st.integers(0, 50), ANY_TEXT,
), min_size=1, max_size=8)


def act(session, edit):
    kind, name, a, b, text = edit
    sheet = session.draft[name]
    lines = [line.id for line in sheet.lines]
    line = lines[a % len(lines)] if lines else None
    column = sheet.columns[b % len(sheet.columns)]
    if kind == "setting":
        type_setting(session, "title", text)
    elif kind == "add":
        session.add_line(name, line)
    elif line is None:
        return
    elif kind == "type":
        session.type_cells(name, {(line, column): text})
        assert session.draft[name].text(line, column) == text
    elif kind == "paste":
        session.paste(name, [line], [column], text + "\tx\n" + text)
    elif kind == "duplicate":
        session.duplicate_lines(name, [line])
    elif kind == "delete":
        session.delete_lines(name, [line])
    elif kind == "move":
        move_lines(session, name, [line], lines[b % len(lines)])
    else:
        drag(session, kind, a, b)


def drag(session, kind, a, b):
    steps = [step.step for step in session.plan.steps]
    typed = session.draft["steps"].column("step")
    step = steps[a % len(steps)]
    if step not in typed:
        return
    if kind == "minutes":
        session.make(LikelyMinutes(step, b))
    else:
        session.make(Drag(step, ("EV1", "EV2")[b % 2], None))


@settings(max_examples=40)
@given(EDITS)
def test_undo_after_any_edits_restores_exactly(edits):
    session = Session(SMALL)
    drafts = [session.draft]
    for edit in edits:
        act(session, edit)
        if session.draft is not drafts[-1]:
            drafts.append(session.draft)
    for draft in reversed(drafts[:-1]):
        assert session.undo()
        assert session.draft is draft
    assert not session.undo()
    assert session.faults == ()
    assert session.plan.scenario == SMALL
    assert not session.has_unsaved_work
    for draft in drafts[1:]:
        assert session.redo()
        assert session.draft is draft
    assert not session.redo()
