"""Actions with their times, states as they change, settings and turns; and what a log makes of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.changes.change import Named, made
from planning_kit.changes.dropping import Drop
from planning_kit.inputs.procedure_records import Action
from planning_kit.plan.procedures import Doing, before, off_loop, settings_needed, turn_counts
from tests.explore.retime.rehearsal import as_planned, rehearsed
from tests.procedures import (
    STATES,
    TERN,
    frame_of,
    new_outing,
    small_with_procedures,
    with_procedures,
)

CLASSES, UNITS = ("turn out", "turn in", "leave", "set"), ("turns", "turns", "", "N m", "min")
ACTION = dict.fromkeys(("who", "on", "value", "unit", "tool", "expected", "record", "class_", "warning", "go",
                        "if_not"), "")


@pytest.fixture(scope="module")
def plan() -> pk.Plan:
    return pk.time_plan(small_with_procedures())


def action(number: float, **cells: Any) -> Action:
    return Action(step="S", number=number, action="Do it", critical=False, **ACTION | cells)


def doing(number: float, **cells: Any) -> Doing:
    return Doing(action(number, **cells), pk.load_scenario(TERN).records.steps[0], 0.0, 1.0)


def test_an_action_has_the_moment_of_its_step_and_the_place_of_its_number(plan: pk.Plan) -> None:
    rows = plan.actions
    assert [f"{row.step} {row.number:g}" for row in rows.itertuples()] == [
        "A1 1", "A1 2", "C2 1", "B2 1", "B3 1", "B3 2", "B3 3"]
    for row in rows.itertuples():
        assert (row.start_min, row.finish_min) == plan.timed.span(row.step)
    assert list(rows["who"][:3]) == ["both", "EV1", "EV2"]
    assert [each.action.number for each in plan.records.actions] == list(rows["number"])
    mixed = plan.scenario.edit_row("actions", "B3 1", number=2.5)
    assert list(pk.time_plan(mixed).actions.query("step == 'B3'")["number"]) == [2.0, 2.5, 3.0]


def test_a_warning_is_shown_whole(plan: pk.Plan) -> None:
    warning = "warning: the boom drive must be stopped and inhibited by the ground before hands come near"
    actions = pk.time_plan(plan.scenario.edit_row("actions", "B3 1", warning=warning)).actions
    assert warning in actions._repr_html_()
    assert warning in repr(actions[["step", "warning"]])


def test_without_procedures_nothing_is_there(small_plan: pk.Plan) -> None:
    assert small_plan.actions.empty
    assert small_plan.states.empty
    assert not small_plan.findings["check"].isin(["procedure", "states", "responses", "voice"]).any()


def test_procedures_move_no_minute(plan: pk.Plan, small_plan: pk.Plan) -> None:
    assert plan.timeline.equals(small_plan.timeline)


def test_a_state_changes_at_the_finish_of_a_step(plan: pk.Plan) -> None:
    vent = plan.states.query("state == 'vent'")
    opened, closed = (plan.timed.span(step)[1] for step in ("C2", "C3"))
    rows = vent[["value", "from_min", "until_min", "by_step"]].itertuples(index=False)
    assert list(map(tuple, rows)) == [
        ("closed", 0.0, opened, ""), ("open", opened, closed, "C2"), ("closed", closed, plan.end_min, "C3")]
    spells = plan.records.states["vent"]
    assert before(spells, opened, "C3").value == "open"
    assert before(spells, opened, "C2").value == "closed", "what a step sets, it has not found so"
    assert before(spells, opened - 0.1, "C3").value == "closed"


def test_of_steps_that_finish_together_the_later_counts() -> None:
    scenario = with_procedures(small_with_procedures(), sets={"C2": "vent=open", "B3": "vent=closed"})
    # C2 made to finish with B3: it starts earlier, so that what B3 says counts, whatever the row.
    plan = pk.time_plan(scenario)
    finish = plan.timed.span("B3")[1]
    minutes = finish - plan.timed.span("C2")[0]
    longer = pk.time_plan(scenario.edit_row("steps", "C2", minutes_likely=minutes, minutes_high=minutes + 5))
    assert longer.timed.span("C2")[1] == pytest.approx(longer.timed.span("B3")[1])
    assert longer.states.query("state == 'vent'")["value"].iloc[-1] == "closed"


def test_settings_are_those_last_set(plan: pk.Plan) -> None:
    assert [(each.action.name, had, by) for each, had, by in settings_needed(plan.records.actions)] == [
        ("B2 1", "A3", "A1"), ("B3 3", "A3", "A1")]
    by_tool = [doing(1, tool="t:5", class_="set"), doing(2, tool="t:5"), doing(3, tool="t:6"),
               doing(4, tool="u:5")]
    assert [had for _, had, _ in settings_needed(by_tool)] == ["5", "5", ""]


@st.composite
def counted(draw: st.DrawFn) -> tuple[list[Doing], dict[str, tuple[float, float, float]]]:
    """Random actions, and by thing what was turned out, turned in and said to stay out."""
    step, rows, sums = pk.load_scenario(TERN).records.steps[0], [], dict[str, list[float]]()
    for number in range(draw(st.integers(0, 25))):
        thing, class_ = draw(st.sampled_from("abc")), draw(st.sampled_from(CLASSES))
        turns, unit = draw(st.integers(0, 40)) / 4, draw(st.sampled_from(UNITS))
        row = action(number + 1, on=thing, class_=class_, value=f"{turns:g}", unit=unit)
        rows.append(Doing(row, step, 0.0, 1.0))
        if unit == "turns" or (not unit and class_.startswith("turn")):
            column = {"turn out": 0, "turn in": 1, "leave": 2}.get(class_)
            if column is not None:
                sums.setdefault(thing, [0.0, 0.0, 0.0])[column] += turns
    return rows, {thing: (out, back, stays) for thing, (out, back, stays) in sums.items()}


@given(counted())
def test_counts_out_equal_counts_in_plus_what_stays_outside(
        drawn: tuple[list[Doing], dict[str, tuple[float, float, float]]]) -> None:
    rows, sums = drawn
    found = {thing: counts for thing, (_, counts) in turn_counts(rows).items()}
    assert {thing: tuple(counts) for thing, counts in found.items()} == sums
    for thing, (out, back, stays) in found.items():
        if (lost := out - back - stays) > 0:  # said to stay out, it is lost no more
            left = action(99, on=thing, class_="leave", value=f"{lost:g}", unit="turns")
            _, (out, back, stays) = turn_counts([*rows, Doing(left, rows[0].step, 0.0, 1.0)])[thing]
            assert out == pytest.approx(back + stays)


def test_who_is_on_the_loop(plan: pk.Plan) -> None:
    rows = frame_of(plan.scenario, "actors",
                    {"actor": "A", "role": "inside", "from": "0:10", "until": "0:30"},
                    {"actor": "B", "role": "inside", "from": "0:20", "until": "0:40"}, {"actor": "C"})
    timed = pk.time_plan(plan.scenario.with_table("actors", rows)).timed
    assert off_loop(timed, "inside", 10, 40) == []
    assert off_loop(timed, "inside", 0, 50) == [(0, 10), (40, 50)]
    assert off_loop(timed, "A", 20, 40) == [(30, 40)]
    assert off_loop(timed, "A", 35, 35) == [(35, 35)], "a step of no minutes, too"
    assert off_loop(timed, "C", 0, 50) == []
    assert off_loop(timed, "ground", 0, 50) == [], "of nobody known, never"


@pytest.mark.parametrize("seed", range(3))
def test_what_a_log_makes_of_it(plan: pk.Plan, seed: int) -> None:
    """Re-timed, every action is still there, at the minutes of its step as it was or will be."""
    now = plan.timed.span("B3")[0] + 2
    retimed = plan.retime(rehearsed(plan, seed, now))
    for row in retimed.actions.itertuples():
        assert (row.start_min, row.finish_min) == retimed.timed.span(row.step)
    assert len(retimed.actions) == len(plan.actions)


def test_a_step_left_and_taken_up_again_sets_its_state_once(plan: pk.Plan) -> None:
    start, _ = plan.timed.span("C2")
    log = as_planned(plan, start + 1)
    log.loc[len(log)] = ["C2", "partly", start + 2, "4"]
    log.loc[len(log)] = ["C3", "started", start + 3, ""]  # so C2 was left at that moment
    retimed = plan.retime(log, start + 4)
    assert "C2.part1" in {step.step for step in retimed.timed.steps}
    spells = retimed.states.query("state == 'vent' and value == 'open'")
    assert list(spells["by_step"]) == ["C2"]


def test_a_skipped_step_sets_nothing_and_its_end_is_told(plan: pk.Plan) -> None:
    now = plan.timed.span("C2")[1] + 1
    log = as_planned(plan, now)
    log.loc[len(log)] = ["C3", "skipped", now, ""]
    found = plan.retime(log, now).findings.query("check == 'states' and rule == 'not-at-end'")
    assert list(found["about"]) == ["vent"]


def test_an_outing_from_nothing(tmp_path: Path) -> None:
    plan = pk.time_plan(new_outing(tmp_path / "new"))
    assert list(plan.states["value"]) == ["shut", "open"]
    assert list(plan.actions["step"]) == ["work"]
    assert not plan.findings["check"].isin(["procedure", "states", "responses", "voice"]).any()


def test_the_demo_has_all_of_it() -> None:
    scenario = pk.load_scenario(TERN)
    plan, records = pk.time_plan(scenario), scenario.records
    required = {task.task for task in records.tasks if task.need == "required"}
    steps = {row.step for row in records.actions}
    assert {step.step for step in records.steps if step.task in required} <= steps
    assert len(records.responses) >= 10
    assert {each.source for each in records.responses} == {"invented for the demo"}
    found = plan.findings[plan.findings["check"].isin(["procedure", "states", "responses", "voice"])]
    assert list(zip(found["severity"], found["rule"], found["about"], strict=True)) == [
        ("remark", "not-confirmed", "I-HTR"), ("remark", "not-confirmed", "I-PMP"),
        ("remark", "safe-not-known", "J-LMP1 J-LMP2")]
    assert len(STATES) < len(records.states)


def test_what_only_skipped_work_would_have_set_is_a_concern() -> None:
    """The patch panel's socket, which the skipped cable was for: it is as it was, as decided."""
    plan = pk.time_plan(pk.load_scenario(TERN))
    log = as_planned(plan, 1.0)
    for step in (step.step for step in plan.timed.steps if step.task == "CAB"):
        log.loc[len(log)] = [step, "skipped", 1.0, ""]
    found = plan.retime(log, 1.0).findings.query("check == 'states' and rule == 'not-at-end'")
    assert sorted(zip(found["about"], found["severity"], strict=True)) == [
        ("J-HPP", "concern"), ("J-NAD", "concern")]
    dropped = plan.what_if(drop="task:CAB").findings.query("check == 'states' and rule == 'not-at-end'")
    assert sorted(dropped["severity"]) == ["stop", "stop"], "before the outing it says what is wanted still"


def test_a_search_may_leave_out_what_alone_would_have_set_a_state() -> None:
    row = {"state": "arm", "values": "loose strapped", "at_start": "loose", "at_end": "strapped",
           "safe_when": "none"}
    scenario = pk.load_scenario(TERN).add_row("states", **row)
    scenario = scenario.edit_row("steps", "AN3", sets="arm=strapped")
    task = Named("task", "ANT", ("AN1", "AN2", "AN3", "AN4"))
    for lets_stay, at_end in ((False, "strapped"), (True, "")):
        made_of = made(scenario, [Drop((task,), lets_stay=lets_stay)])
        assert made_of.scenario.records.states[-1].at_end == at_end
        stops = pk.time_plan(made_of.scenario).findings.query("about == 'arm'")
        assert len(stops) == (not lets_stay)
        assert any("arm stay" in note.words for note in made_of.notes) == lets_stay
