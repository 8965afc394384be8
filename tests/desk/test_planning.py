"""What the workbench says while planning: messages as a view sends them, answers as plain data, no widget."""

from __future__ import annotations

import pytest

import planning_kit as pk
from planning_kit.desk.actions import ACTIONS
from planning_kit.desk.answers import progress_message
from planning_kit.explore.long_question import Progress
from planning_kit.explore.session.session import Session
from tests.bench.bench_workbench import steps_repeated
from tests.desk.conftest import ATTACK, Talk
from tests.explore.session.conftest import add_a_step_behind_the_night


def test_a_view_that_opens_gets_everything_and_the_library_once(talk):
    said = talk.ask("hello")
    assert [message["kind"] for message in talk.said][:2] == ["library", "all"]
    assert set(said["all"]["tables"]) == set(said["all"]["schema"])
    assert said["all"]["schema"]["steps"]["fields"]["crew"]["refers_to"] == ["crew", "actors"]
    assert said["all"]["schema"]["steps"]["fields"]["crew"]["choices"] == ["both"]
    assert said["notes"]["margins"]
    assert said["left"]["offers"] == []
    assert "library" not in talk.ask("hello", has_library=True)


def test_a_typed_cell_comes_back_as_a_patch_of_one_row_with_the_chart(talk):
    said = talk.ask("cells", sheet="steps", cells=[[talk.line("Z1"), "minutes_likely", "12"]])
    assert list(said["patch"]["tables"]) == ["steps"]
    assert list(said["patch"]["tables"]["steps"]["rows"]) == [str(talk.line("Z1"))]
    assert "order" not in said["patch"]["tables"]["steps"]
    assert said["patch"]["chart"]["end"] == pytest.approx(talk.session.plan.end_min, abs=1e-3)
    assert said["done"]["echo"] == 1
    kinds = [message["kind"] for message in talk.said]
    assert kinds.index("patch") < kinds.index("notes")


def test_a_bad_cell_brings_its_fault_and_no_new_chart(talk):
    said = talk.ask("cells", sheet="steps", cells=[[talk.line("Z1"), "minutes_likely", ATTACK]])
    assert "chart" not in said["patch"]
    fault, = said["patch"]["faults"]
    assert (fault["sheet"], fault["line"], fault["column"]) == ("steps", talk.line("Z1"), "minutes_likely")


def test_low_and_high_minutes_that_make_room_are_told(talk):
    line = talk.line("B2")
    text = talk.session.draft["steps"].text
    low, high = text(line, "minutes_low"), text(line, "minutes_high")
    said = talk.ask("cells", sheet="steps", cells=[[line, "minutes_likely", "420"]])
    assert said["said"]["text"] == f"high minutes of B2 went from {high} to 420 with it"
    said = talk.ask("minutes", step="B2", minutes=2)
    assert said["said"]["text"] == f"low minutes of B2 went from {low} to 2 with it"
    assert "said" not in talk.ask("cells", sheet="steps", cells=[[line, "minutes_high", "30"]])


def test_how_columns_are_seen_is_kept_for_other_views_and_a_cell_run_again_and_is_no_edit(talk):
    look = {"order": ["title", "step"], "hidden": ["windows", ATTACK], "pinned": ["title"]}
    said = talk.ask("columns", sheet="steps", look=look, view="one")
    kept = {**look, "hidden": ["windows"]}
    assert said["columns"] == {"kind": "columns", "sheet": "steps", "look": kept, "by": "one"}
    assert not said["patch"]["undo"]
    assert not said["patch"]["unsaved"]
    assert talk.ask("hello")["all"]["looks"] == {"steps": kept}
    again = Talk(pk.load_scenario(talk.session.base.folder))
    assert again.ask("hello")["all"]["looks"] == {"steps": kept}
    assert again.ask("columns", sheet="steps", look=None)["columns"]["look"] is None
    assert talk.ask("hello")["all"]["looks"] == {}


def test_the_schema_says_what_a_form_and_an_order_by_number_need(talk):
    fields = talk.ask("hello")["all"]["schema"]["places"]["fields"]
    assert fields["x_m"]["units"]["ft"] == pytest.approx(0.3048)
    assert fields["place"]["about"] == "id"
    assert fields["place"]["form"].startswith("an id: letters")
    assert fields["title"]["units"] == {}


def test_an_added_step_is_looked_at_in_its_form_by_the_view_that_asked(talk):
    said = talk.ask("add", sheet="steps", after=talk.line("B2"))
    line = talk.line("B4")
    assert said["focus"] == {"kind": "focus", "sheet": "steps", "line": line, "is_new": True}
    fault, = said["patch"]["faults"]
    assert (fault["line"], fault["column"]) == (line, "minutes_likely")
    assert "chart" not in said["patch"]
    assert "chart" in talk.ask("cells", sheet="steps", cells=[[line, "minutes_likely", "30"]])["patch"]


@pytest.mark.parametrize("content", [
    {"kind": "columns", "sheet": "nowhere", "look": None},
    {"kind": "columns", "sheet": "steps", "look": {"order": 1}},
    {"kind": "columns", "sheet": "steps", "look": ATTACK},
    {"kind": "add", "sheet": "steps", "after": 99999},
    {"kind": "cells", "sheet": "steps", "cells": [[99999, "minutes_likely", "3"]]},
    {"kind": "cells", "sheet": "nowhere", "cells": [[1, "step", "x"]]},
    {"kind": "cells", "sheet": "steps", "cells": [[1, "no column", "x"]]},
    {"kind": "cells", "sheet": "steps", "cells": "x"},
    {"kind": "move", "step": ATTACK, "lane": "EV1", "before": None},
    {"kind": "minutes", "step": "B2", "minutes": "long"},
    {"kind": "pet_zero", "ms": 1e300},
    {"kind": "switch", "name": ATTACK},
    {"kind": "keep", "name": ""},
    {"kind": "export", "folder": ""},
    {"kind": "shift", "sheet": "steps", "lines": [99999], "by": 1},
    {"kind": "ask", "question": "weather"},
    {"kind": "take", "number": 0},
    {"kind": "preview", "number": "x"},
    {"kind": "drop", "name": ATTACK},
    {"kind": "merge", "choices": [["steps"]]},
    {"kind": "paste", "sheet": "steps", "lines": [], "columns": ["step"], "text": ""},
])
def test_whatever_a_message_says_nothing_is_raised_and_nothing_changes(talk, content):
    draft = talk.session.draft
    said = talk.ask(**content)
    assert said["done"]["echo"] == 1
    assert talk.session.draft.says_the_same_as(draft)


def test_an_unknown_message_is_passed_over(talk):
    assert talk.ask("no such thing") == {}
    assert "greet" not in ACTIONS


def test_a_conflict_is_told_with_both_sides(talk):
    other = pk.load_scenario(talk.session.base.folder)
    steps = other.steps
    steps.loc[4, "title"] = "Theirs"
    other.with_table("steps", steps).save()
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Mine"]])
    clash, = talk.ask("save")["conflict"]["clashes"]
    assert [clash[name] for name in ("table", "row", "column", "yours", "theirs")] == [
        "steps", "B2", "title", "Mine", "Theirs"]
    assert talk.ask("merge", choices=[])["conflict"]["clashes"] == [clash]  # still to be answered
    said = talk.ask("merge", choices=[[*clash["where"], "theirs"]])
    assert said["patch"]["tables"]["steps"]["rows"][str(talk.line("B2"))][4] == "Theirs"
    assert "saved to" in talk.ask("save")["said"]["text"]


def test_a_folder_that_cannot_be_read_any_more_is_told_with_both_sides(talk):
    (talk.session.base.folder / "steps.csv").write_text("nonsense\n")
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Mine"]])
    said = talk.ask("save")["conflict"]
    assert said["problem"].startswith("steps:")
    assert ["steps", "B2", "", "", "(no such row)"] in said["sides"]["rows"]


def test_left_work_on_a_folder_that_has_changed_since_is_told_with_both_sides(talk):
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Mine"]])
    other = pk.load_scenario(talk.session.base.folder)
    steps = other.steps
    steps.loc[1, "title"] = "Theirs"
    other.with_table("steps", steps).save()
    later = Talk(pk.load_scenario(other.folder))
    offer, = later.ask("hello")["left"]["offers"]
    said = later.ask("restore", path=offer["path"])
    assert [row[:3] + row[4:] for row in said["conflict"]["taken"]] == [["steps", "B1", "title", "Theirs"]]
    assert said["conflict"]["clashes"] == []


def test_versions_outlive_the_kernel_after_a_save(talk):
    talk.ask("keep", name="half")
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "title", "Saved"]])
    assert "saved to" in talk.ask("save")["said"]["text"]
    left, = Session(pk.load_scenario(talk.session.base.folder)).unsaved_work()
    assert "half" in left.versions
    assert left.base.says_the_same_as(left.draft)


def test_an_export_to_the_home_of_nobody_is_said_and_answered(talk):
    said = talk.ask("export", folder="~nobody-of-this-name/x")
    assert "home folder of nobody" in said["said"]["text"]
    assert said["done"]["echo"] == 1


def test_a_new_row_is_pointed_at_after_it_is_shown(talk):
    talk.ask("add", sheet="steps", after=talk.line("B2"))
    kinds = [message["kind"] for message in talk.said]
    assert kinds.index("patch") < kinds.index("focus") < kinds.index("done")


def test_an_answer_is_told_in_words_and_said_to_be_old_after_an_edit(talk):
    said = talk.ask("ask", question="odds")["work"]  # without a loop it is worked out at once
    assert said["state"] == "done"
    assert said["result"]["items"][0]["what"] == "both inside by the planned limit"
    odds = talk.session.asked["odds"].result
    share, error = odds.summary.loc[0, ["p", "se"]]
    told, _, off = said["result"]["items"][0]["odds"].removesuffix(" %").partition(" ± ")
    assert 0 <= 100 * share - float(told) < 0.1  # never told as likelier than it is, or as surer
    assert 0 <= float(off) - 100 * error < 0.1
    assert [row[0] for row in said["result"]["finish"]] == ["10 %", "50 %", "90 %", "95 %"]
    assert talk.ask("minutes", step="Z1", minutes=12)["patch"]["old"] == ["odds"]
    assert talk.ask("undo")["patch"]["old"] == []
    assert talk.ask("hello", has_library=True)["work"]["result"] == said["result"]  # a view that opens later


def test_a_better_order_is_told_with_odds_shown_as_ghosts_and_taken(talk):
    add_a_step_behind_the_night(talk.session, ATTACK)
    said = talk.ask("ask", question="order")["work"]
    order = said["result"]["orders"][0]
    assert order["moves"]
    assert "±" in order["chances"][0][1]
    chart = talk.ask("preview", number=0)["patch"]["chart"]
    assert (chart["ghost_name"], bool(chart["ghosts"])) == ("proposed", True)
    taken = talk.ask("take", number=0)["patch"]
    assert "order" in taken["tables"]["steps"]
    assert taken["chart"]["ghosts"] == []
    assert taken["undo"].startswith("take the order")


def test_a_hundred_and_fifty_steps_are_edited_and_told():
    talk = Talk(steps_repeated(150))
    said = talk.ask("minutes", step="KN1", minutes=5)
    assert len({bar[0] for bar in said["patch"]["chart"]["bars"] if bar[2] == "work" and bar[0]}) == 150


def test_a_search_tells_its_best_and_its_bound_as_the_front_door_does(talk):
    progress = Progress("searching", 12.4, best_min=363.0, bound_min=350.0)
    told = progress_message(talk.session.ask("order"), progress)
    assert told["words"] == "best so far 6:03, at least 5:50, 12 s"


def test_one_version_is_what_the_plan_is_held_against(talk):
    assert talk.ask("compare")["compared"]["name"] == ""
    talk.ask("keep", name="before")
    assert talk.ask("baseline", name="before")["patch"]["against"] == "0:00"
    patch = talk.ask("cells", sheet="steps", cells=[[talk.line("Z1"), "minutes_likely", "12"]])["patch"]
    assert (patch["baseline"], patch["against"]) == ("before", "+0:02")
    compared = talk.ask("compare")["compared"]
    assert compared["name"] == "before"
    assert compared["typed"]["rows"][0][:3] == ["steps", "Z1", "minutes_likely"]
    assert compared["moved"]["columns"] == ["step", "change", "start, PET", "moved, min", "crew", "held by"]
    talk.ask("move", step="B1", lane="EV2", before="C2")
    crews = {row[0]: row[4] for row in talk.ask("compare")["compared"]["moved"]["rows"]}
    assert crews["B1"] == "EV1 → EV2"
    assert talk.ask("baseline", name="")["patch"]["against"] == ""
