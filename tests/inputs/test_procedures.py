"""Tables of procedures: read, refused with their faults, edited by name, kept by every way to store them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import planning_kit as pk
from planning_kit.changes.order import Drag
from planning_kit.explore.session.draft import draft_of, with_change
from planning_kit.explore.session.session import Session
from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.procedure_records import CAUSES, StateValue, number_in
from tests.procedures import (
    ACTIONS,
    RESPONSES,
    SMALL,
    STATES,
    TERN,
    edited,
    frame_of,
    new_outing,
    small_with_procedures,
    with_procedures,
)


@pytest.fixture(scope="module")
def plain() -> pk.Scenario:
    return pk.load_scenario(SMALL)


@pytest.fixture(scope="module")
def tern() -> pk.Scenario:
    return pk.load_scenario(TERN)


@pytest.fixture(scope="module")
def outing() -> pk.Scenario:
    return small_with_procedures()


def test_rows_are_read_as_records(outing: pk.Scenario) -> None:
    records = outing.records
    look, setting, loosen = records.actions[:3]
    assert (look.name, look.people(("EV1",)), look.critical) == ("A1 1", SUITED, False)
    assert setting.setting == ("driver", "A3")
    assert loosen.setting == ("driver", "A3")
    assert loosen.people(("EV1",)) == ("EV1",)
    assert records.states[0].values == ("mated", "capped")
    water, turn = records.responses
    assert (water.most_min, turn.most_min, turn.trigger) == (2.0, 3.0, "")
    step = next(step for step in records.steps if step.step == "C2")
    assert (step.sets, step.needs) == ((StateValue("vent", "open"),), ())
    assert [str(each) for each in step.sets] == ["vent=open"]


@pytest.mark.parametrize(("text", "number"), [
    ("6", 6.0), (" 2.5 ", 2.5), (".5", 0.5), ("", None), ("-1", None), ("1e3", None), ("6 turns", None),
    ("nan", None)])
def test_only_plain_numbers_are_counted(text: str, number: float | None) -> None:
    assert number_in(text) == number


def refused(scenario: pk.Scenario, **tables: Any) -> list[tuple[str, str, str]]:
    with pytest.raises(pk.ScenarioError) as error:
        with_procedures(scenario, **tables)
    return [(row["table"], row["column"], row["problem"]) for row in error.value.problems.to_dict("records")]


@pytest.mark.parametrize(("cells", "column", "words"), [
    ({"number": 2}, "number", "stands in row 2 already"),
    ({"number": 0}, "number", "more than 0"),
    ({"who": "EV2"}, "who", "EV2 does not work in B2"),
    ({"who": "both"}, "who", "both does not work in B2"),
    ({"who": "nobody"}, "who", "is not in crew.csv or actors.csv"),
    ({"value": "six"}, "value", "is counted"),
    ({"value": "six", "unit": ""}, "value", "is counted"),
    ({"unit": "min", "value": "", "class": "wait"}, "value", "is counted"),
    ({"on": ""}, "on", "say what is turned"),
    ({"on": "vent", "class": "set", "value": "opne", "unit": ""}, "value", "'opne' is no value of vent"),
    ({"warning": "mind the ring"}, "warning", "must begin with warning: "),
    ({"warning": "warning: "}, "warning", "must begin with warning: "),
    ({"tool": "drivr:A3"}, "tool", "'drivr' is not in hardware.csv; did you mean 'driver'?"),
    ({"tool": "driver A3"}, "tool", "must be written ITEM or ITEM:SETTING"),
    ({"class": "set", "on": "it", "tool": ""}, "on", "is no item or state"),
    ({"class": "turn"}, "class", "must be one of"),
    ({"go": "EV1"}, "go", "is not in actors.csv"),
    ({"if_not": "R-TUNR"}, "if_not", "is not in responses.csv"),
    ({"step": "B9"}, "step", "is not in steps.csv"),
    ({"action": ""}, "action", "is empty"),
    ({"critical": "very"}, "critical", "must be one of: yes, no"),
])
def test_an_action_that_cannot_be_used_is_one_fault(plain: pk.Scenario, cells: dict[str, object], column: str,
                                                    words: str) -> None:
    actions = edited(ACTIONS, "B2", 1, **cells)
    if cells == {"number": 2}:
        actions = edited(ACTIONS, "A1", 2, number=1)
    faults = refused(plain, actions=actions)
    assert [(table, where) for table, where, _ in faults] == [("actions", column)]
    assert words in faults[0][2]


@pytest.mark.parametrize(("cells", "column", "words"), [
    ({"at_start": "ajar"}, "at_start", "is no value of vent"),
    ({"at_end": "ajar"}, "at_end", "is no value of vent"),
    ({"values": ""}, "values", "is empty"),
    ({"safe_when": "I-LPM"}, "safe_when", "is not in inhibits.csv (or the word none or never)"),
])
def test_a_state_that_cannot_be_used_is_one_fault(plain: pk.Scenario, cells: dict[str, object], column: str,
                                                  words: str) -> None:
    states = [STATES[0], STATES[1] | cells]
    faults = refused(plain, states=states, sets={})
    mine = [each for each in faults if each[0] == "states"]
    assert [where for _, where, _ in mine] == [column]
    assert words in mine[0][2]


def test_a_state_has_no_id_of_an_item(plain: pk.Scenario) -> None:
    states = [*STATES, {"state": "driver", "values": "on off", "at_start": "on"}]
    assert ("states", "state") in [each[:2] for each in refused(plain, states=states)]


@pytest.mark.parametrize(("sets", "words"), [
    ("vnet=open", "'vnet' is not in states.csv; did you mean 'vent'?"),
    ("vent=ajar", "'ajar' is no value of vent; write one of closed, open"),
    ("vent=open vent=closed", "names vent twice"), ("vent", "must be written STATE=VALUE"),
])
def test_what_a_step_sets_is_a_state_at_one_of_its_values(plain: pk.Scenario, sets: str, words: str) -> None:
    faults = refused(plain, sets={"C2": sets})
    assert {each[:2] for each in faults} == {("steps", "sets")}
    assert words in faults[0][2]


@pytest.mark.parametrize(("cells", "column", "words"), [
    ({"trigger": "water"}, "trigger", "must be one of"),
    ({"trigger": "water in the helmet"}, "trigger", "stands in row 2 already"),
    ({"call": ""}, "call", "is empty"), ({"call": "run"}, "call", "must be one of"),
    ({"companion": "yes"}, "companion", "must be one of"),
    ({"companion": "along"}, "companion", "both go home, which go on does not call"),
    ({"companion": "brings", "call": "home alone"}, "companion", "both go home, which home alone does not"),
    ({"minutes_low": 5}, "minutes_low", "is more than minutes_likely"),
    ({"minutes_high": 1}, "minutes_high", "is less than"),
    ({"leave_state": "vent=ajar"}, "leave_state", "is no value of vent"),
])
def test_a_response_that_cannot_be_used_is_a_fault(plain: pk.Scenario, cells: dict[str, object], column: str,
                                                   words: str) -> None:
    faults = refused(plain, responses=[RESPONSES[0], RESPONSES[1] | cells])
    assert ("responses", column) in [each[:2] for each in faults]
    assert any(words in each[2] for each in faults)


def test_the_causes_are_those_of_the_format() -> None:
    assert CAUSES == ("water in the helmet", "carbon dioxide symptoms", "oxygen use high", "glove cut",
                      "voice lost", "partner not answering", "tool lost", "cannot turn", "cannot seat")


@pytest.mark.parametrize(("start", "until", "words"), [
    ("1:00", "0:30", "must be later than from"), ("1:00", "2030-01-01T00:00:00Z", "is UTC where from is PET"),
    ("soon", "", "is not an ISO 8601 UTC time.*, or PET like 1:30")])
def test_an_actor_leaves_after_coming(plain: pk.Scenario, start: str, until: str, words: str) -> None:
    rows = frame_of(plain, "actors", {"actor": "DESK", "role": "ground", "from": start, "until": until})
    with pytest.raises(pk.ScenarioError, match=words):
        plain.with_table("actors", rows)


def test_an_actor_is_on_the_loop_from_and_until(plain: pk.Scenario) -> None:
    rows = frame_of(plain, "actors", {"actor": "A", "from": "0:30", "until": "2:00"}, {"actor": "B"},
                    {"actor": "C", "from": "0:00"}, {"actor": "D", "until": "0:00"})
    one, other, *ends = plain.with_table("actors", rows).records.actors
    assert [each.on_loop_min(plain.settings.pet_zero_utc) for each in ends] == [
        (0.0, float("inf")), (-float("inf"), 0.0)]
    assert one.on_loop_min(plain.settings.pet_zero_utc) == (30.0, 120.0)
    assert other.on_loop_min(plain.settings.pet_zero_utc) == (-float("inf"), float("inf"))


def test_the_actions_of_a_block_with_steps_are_theirs(outing: pk.Scenario) -> None:
    steps = outing.steps
    steps["block"] = ["" if step != "B3" else "B2" for step in steps["step"]]
    with pytest.raises(pk.ScenarioError) as error:
        outing.with_table("steps", steps)
    rows = error.value.problems
    assert ("actions", "step") in list(zip(rows["table"], rows["column"], strict=True))


def test_without_the_tables_the_digest_is_as_it_was(plain: pk.Scenario, outing: pk.Scenario) -> None:
    empty = {name: frame_of(plain, name) for name in ("actions", "states", "responses")}
    assert plain.with_tables(empty).digest == plain.digest
    assert outing.digest != plain.digest
    assert outing.edit_row("actions", "B2 1", expected="it turns").digest != outing.digest


def test_folder_and_workbook_keep_all_of_it(outing: pk.Scenario, tern: pk.Scenario, tmp_path: Path) -> None:
    for number, scenario in enumerate((outing, tern, new_outing(tmp_path / "new"))):
        saved = scenario.save(tmp_path / f"folder-{number}")
        assert pk.load_scenario(saved.folder).records == scenario.records
        book = pk.load_scenario(scenario.write_workbook(tmp_path / f"{number}.xlsx"))
        assert book.digest == scenario.digest
        assert book.records.actions == scenario.records.actions


def test_an_action_is_called_by_step_and_number(outing: pk.Scenario) -> None:
    changed = outing.edit_row("actions", "B3 2", action="Mate the plug", expected="click")
    assert changed.told == ("B3 2, action: was Plug in the new lamp, is Mate the plug",
                            "B3 2, expected: now click")
    assert [row.name for row in changed.drop_row("actions", "B3 2").records.actions if row.step == "B3"] == [
        "B3 1", "B3 3"]
    added = outing.add_row("actions", step="B3", number=2.1, action="Tug at it", after="B3 2")
    assert [row.number for row in added.records.actions if row.step == "B3"] == [1, 2, 2.1, 3]
    with pytest.raises(pk.ScenarioError, match="did you mean 'B3 2'"):
        outing.edit_row("actions", "B3 22", action="x")


def test_a_review_shows_the_words_that_differ(outing: pk.Scenario, tern: pk.Scenario) -> None:
    for scenario, key in ((outing, "B3 1"), (tern, "X1 2")):
        other = scenario.edit_row("actions", key, warning="caution: slowly")
        inputs = pk.time_plan(scenario).compare(pk.time_plan(other)).inputs
        assert [(row.table, row.row, row.column, row.after) for row in inputs.itertuples()] == [
            ("actions", key, "warning", "caution: slowly")]
    rows = outing.responses
    rows.loc[0, "call"] = "abort"
    inputs = pk.time_plan(outing).compare(pk.time_plan(outing.with_table("responses", rows))).inputs
    assert list(inputs["words"]) == ["R-WATER, call: was terminate, is abort"]


def test_a_step_that_is_dropped_takes_its_actions_along(outing: pk.Scenario) -> None:
    plan = pk.time_plan(outing).what_if(drop="task:CAS")
    assert {row.step for row in plan.scenario.records.actions} == {"A1", "B2", "B3"}


def test_a_state_whose_inhibit_is_dropped_is_never_safe(outing: pk.Scenario) -> None:
    # With both its steps the inhibit goes; what still touches the connector must not count as safe.
    scenario = outing.edit_row("steps", "Z1", sets="J-LMP=mated")
    plan = pk.time_plan(scenario).what_if(drop=["B2", "B3"])
    assert plan.scenario.records.states[0].safe_when == "never"
    told = plan.changes.query("kind == 'note'")["change"].str.cat(sep="\n")
    assert "it controls J-LMP no more" in told
    found = plan.findings.query("rule == 'not-safe'")
    assert list(found["step"]) == ["Z1"]


def test_who_trades_a_task_trades_its_actions(tern: pk.Scenario) -> None:
    actions = tern.edit_row("actions", "CB3 1", who="EV2")
    plan = pk.time_plan(actions).what_if(swap="CAB")
    by_name = {row.name: row for row in plan.scenario.records.actions}
    assert by_name["CB3 1"].who == "EV1"
    assert by_name["CB5 1"].who == "inside"
    back = plan.what_if(swap="CAB").scenario
    assert back.records.actions == actions.records.actions


def test_a_step_dragged_to_the_other_takes_its_actions_along(outing: pk.Scenario) -> None:
    draft = draft_of(outing.edit_row("actions", "C2 1", who="EV2"))
    dragged = with_change(draft, Drag("C2", "EV1", None))
    line = dragged["actions"].lines[-1]
    assert dict(zip(dragged["actions"].columns, line.cells, strict=True))["who"] == "EV1"
    back = with_change(dragged, Drag("C2", "EV2", None))
    assert back["actions"].lines == draft["actions"].lines
    assert with_change(draft, Drag("B1", "EV1", "B2"))["actions"] == draft["actions"]


def test_an_action_is_edited_in_a_session(outing: pk.Scenario, tmp_path: Path,
                                          monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "state"))
    session = Session(outing.save(tmp_path / "outing"))
    line = session.draft["actions"].lines[3]
    session.type_cells("actions", {(line.id, "action"): "Pull the plug slowly"})
    assert session.plan.actions["action"].tolist()[4] == "Pull the plug slowly"
    session.type_cells("actions", {(line.id, "if_not"): "R-NONE"})
    assert [(fault.sheet, fault.line, fault.column) for fault in session.faults] == [
        ("actions", line.id, "if_not")]
    new = session.add_line("actions")
    cells = {"step": "C3", "number": "1", "action": "Close the vent", "on": "vent", "value": "closed"}
    session.type_cells("actions", {(line.id, "if_not"): "",
                                   **{(new, name): text for name, text in cells.items()}})
    assert session.faults == ()
    assert session.scenario.records.actions[-1].name == "C3 1"


def test_a_period_in_utc_stays_where_it_is(tern: pk.Scenario) -> None:
    desk = tern.edit_row("actors", "DESK", until="2031-05-14T19:00:00Z", **{"from": ""})
    moved = desk.shift_dates("2031-05-15")
    assert any("DESK is on the loop as before" in words for words in moved.told)
    assert not any("OPR" in words for words in moved.told)


def test_rules_take_no_time_that_grows_with_the_square() -> None:
    """5,000 actions that all are faults are told, and not one by one against all others."""
    code = ("from tests.procedures import *\n"
            "small = pk.load_scenario(SMALL)\n"
            "rows = [{'step': 'A1', 'number': n + 1, 'action': 'x', 'tool': 'no'} for n in range(5000)]\n"
            "try: with_procedures(small, actions=rows)\n"
            "except pk.ScenarioError as error: print(len(error.problems))\n")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120,
                          cwd=Path(__file__).parents[2], check=True)
    assert int(done.stdout) == 5000
