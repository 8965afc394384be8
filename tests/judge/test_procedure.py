"""Procedures against the plan: one edit, the finding that is expected and no other."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import planning_kit as pk
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

CHECKS = ("procedure", "states", "responses", "voice")


def found(scenario: pk.Scenario) -> list[tuple[str, str, str, str, str, str]]:
    findings = pk.time_plan(scenario).findings
    rows = findings[findings["check"].isin(CHECKS)]
    columns = ["severity", "check", "rule", "about", "crew", "step"]
    return list(rows[columns].itertuples(index=False, name=None))


def message(scenario: pk.Scenario, rule: str) -> str:
    rows = pk.time_plan(scenario).findings.query("rule == @rule")
    assert len(rows) == 1
    return str(rows["message"].iloc[0])


@pytest.fixture(scope="module")
def plain() -> pk.Scenario:
    return pk.load_scenario(SMALL)


@pytest.fixture(scope="module")
def outing() -> pk.Scenario:
    return small_with_procedures()


@pytest.fixture(scope="module")
def tern() -> pk.Scenario:
    """The demo with its inhibits confirmed and lamp connectors that need none: then no finding is here."""
    scenario = pk.load_scenario(TERN).edit_row("inhibits", ["I-HTR"], confirmed_by="EG1")
    scenario = scenario.edit_row("inhibits", ["I-PMP"], confirmed_by="EG1")
    return scenario.edit_row("states", ["J-LMP1", "J-LMP2"], safe_when="none")


def test_they_are_clean(outing: pk.Scenario, tern: pk.Scenario, tmp_path: Path) -> None:
    assert found(outing) == found(tern) == found(new_outing(tmp_path / "new")) == []


SET, TURN = ("concern", "procedure", "setting", "driver"), ("concern", "procedure", "turns", "ring")
ONE_ACTION: list[tuple[str, float, dict[str, Any], list[tuple[str, ...]]]] = [
    # a tool setting that nobody set, or another one
    ("A1", 2, {"class": "other"}, [(*SET, "EV1", "B2")]),
    ("A1", 2, {"value": "A2"}, [(*SET, "EV1", "B2")]),
    ("B3", 3, {"tool": "driver:B1"}, [(*SET, "EV1", "B3")]),
    ("B3", 3, {"tool": "driver"}, []),
    # turns
    ("B3", 3, {"value": "5"}, [(*TURN, "", "B3")]),
    ("B3", 3, {"value": "7.5"}, [(*TURN, "", "B3")]),
    ("B3", 3, {"unit": "N m"}, [("remark", "procedure", "turns-open", "ring", "", "B2")]),
    ("B2", 1, {"unit": "N m"}, []),  # only turned in: new
    # what is not there
    ("B3", 3, {"tool": "bag"}, [("stop", "procedure", "not-in-hand", "bag", "EV1", "B3")]),
    ("B3", 1, {"tool": "foothold"}, [("concern", "procedure", "not-in-hand", "foothold", "EV1", "B3")]),
    ("B2", 1, {"tool": "lamp-new"}, []),  # in hand since B1
    ("A1", 1, {"on": "lamp-old"}, [("stop", "procedure", "not-in-hand", "lamp-old", "both", "A1")]),
    ("B3", 1, {"who": "ground", "tool": "bag"}, [("remark", "procedure", "no-role", "ground", "", "")]),
    # a critical action, and minutes
    ("B3", 1, {"if_not": ""}, [("concern", "procedure", "no-response", "", "EV1", "B3")]),
    ("B2", 1, {"class": "wait", "unit": "min", "value": "13.5"},
     [("concern", "procedure", "too-many-minutes", "", "EV1", "B2")]),
    ("B2", 1, {"class": "wait", "unit": "min", "value": "13"}, []),
    # nobody knows who they are
    ("B2", 1, {"record": "turns"}, [("remark", "procedure", "no-role", "inside", "", "")]),
    ("B2", 1, {"go": "inside"}, [("remark", "procedure", "no-role", "inside", "", "")]),
    # what is mated is no connector that is known
    ("B3", 1, {"on": "the plug", "value": ""}, [("remark", "states", "safe-not-known", "B3", "", "")]),
]


@pytest.mark.parametrize(("step", "number", "cells", "expected"), ONE_ACTION)
def test_one_action_otherwise(plain: pk.Scenario, step: str, number: float, cells: dict[str, Any],
                              expected: list[tuple[str, ...]]) -> None:
    assert found(with_procedures(plain, edited(ACTIONS, step, number, **cells))) == expected


def test_what_is_said_to_stay_out_is_counted(plain: pk.Scenario) -> None:
    rows = edited(ACTIONS, "B3", 3, value="4")
    assert [each[2] for each in found(with_procedures(plain, rows))] == ["turns"]
    stays = {"step": "B3", "number": 4, "action": "Leave it loose", "on": "ring", "value": "2",
             "unit": "turns", "class": "leave"}
    assert found(with_procedures(plain, [*rows, stays])) == []
    too_many = [*rows, stays | {"value": "3"}]
    assert "1 too many" in message(with_procedures(plain, too_many), "turns")


def test_a_tool_that_the_step_uses_and_that_is_not_there_is_told_once(plain: pk.Scenario) -> None:
    scenario = with_procedures(plain.edit_row("hardware", "driver", at="inside"))
    rows = pk.time_plan(scenario).findings.query("about == 'driver' and severity == 'stop'")
    # A1 does not say that it uses the driver which it sets; B2 and B3 do.
    assert sorted(zip(rows["check"], rows["step"], strict=True)) == [("custody", "B2"), ("procedure", "A1")]


def test_minutes_of_one_person_add_up_in_one_step(plain: pk.Scenario) -> None:
    wait = {"step": "A1", "action": "Wait", "class": "wait", "unit": "min", "value": "6"}
    rows = [*ACTIONS, wait | {"number": 3, "who": "EV1"}, wait | {"number": 4, "who": "EV2"}]
    assert found(with_procedures(plain, rows)) == []
    rows.append(wait | {"number": 5, "who": "both"})
    assert found(with_procedures(plain, rows)) == [
        ("concern", "procedure", "too-many-minutes", "", who, "A1") for who in ("EV1", "EV2")]


# --- GO calls and records -----------------------------------------------------------------------------------


def with_actor(scenario: pk.Scenario, **cells: str) -> pk.Scenario:
    return scenario.with_table("actors", frame_of(scenario, "actors", {"actor": "DESK"} | cells))


def with_go(plain: pk.Scenario, go: str, role: str, start: str = "", until: str = "") -> pk.Scenario:
    scenario = with_actor(plain, role=role, **{"from": start, "until": until})
    return with_procedures(scenario, edited(ACTIONS, "B3", 1, go=go))


@pytest.mark.parametrize("go", ["DESK", "inside"])
def test_a_go_needs_its_owner_on_the_loop(plain: pk.Scenario, go: str) -> None:
    start, finish = pk.time_plan(plain).timed.span("B3")

    def pet(minute: float) -> str:
        return f"{int(minute) // 60}:{int(minute) % 60:02d}"

    assert found(with_go(plain, go, "inside", "0:00", pet(finish + 1))) == []
    assert found(with_go(plain, go, "inside", "0:00", pet(finish - 2))) == [
        ("concern", "procedure", "go-nobody", go, "EV1", "B3")]
    late = with_go(plain, go, "inside", pet(finish + 1), "9:00")
    assert found(late) == [("stop", "procedure", "go-nobody", go, "EV1", "B3")]
    assert "is off the loop" in message(late, "go-nobody")
    assert found(with_go(plain, go, "inside", "0:00", pet(start - 1)))[0][0] == "stop"


def test_a_go_of_the_ground_needs_a_link(tern: pk.Scenario) -> None:
    plan = pk.time_plan(tern)
    links, dark = plan.timed.almanac.any_link, None
    acted = {row.step for row in tern.records.actions}
    for step, start, finish in plan.timed.each_step():
        is_covered = any(begin <= start and finish <= end for begin, end in links.tolist())
        if not is_covered and step.link == "no" and step.step in acted:
            dark = dark or step
    assert dark is not None
    ask = tern.edit_row("actions", f"{dark.step} 1", go="ground")
    crew = next(row.who for row in tern.records.actions if row.step == dark.step) or dark.crew
    assert found(ask) == [("concern", "procedure", "go-no-link", "ground", crew, dark.step)]
    assert found(ask.edit_row("actions", f"{dark.step} 1", go="inside")) == []
    # A step that asks for a link itself is told by the check of links.
    rules = {each[2] for each in found(ask.edit_row("steps", dark.step, link="yes"))}
    assert "go-no-link" not in rules


def test_without_relays_nobody_knows_whether_the_ground_is_heard(tmp_path: Path) -> None:
    new = new_outing(tmp_path / "new").edit_row("actions", "work 1", go="ground")
    assert new.settings.relays is None
    told = [("remark", "procedure", "no-relays", "ground", "", "")]
    assert found(new) == [("remark", "procedure", "no-role", "ground", "", ""), *told]
    assert found(with_actor(new, role="ground")) == told
    assert found(with_actor(new, role="inside").edit_row("actions", "work 1", go="DESK")) == []


@pytest.mark.parametrize(("until", "expected"), [
    ("9:00", []), ("0:05", [("concern", "procedure", "record-nobody", "", "EV1", "B3")])])
def test_somebody_inside_writes_records_down(plain: pk.Scenario, until: str, expected: list[Any]) -> None:
    rows = edited(ACTIONS, "B3", 1, record="the time")
    scenario = with_actor(plain, role="inside", **{"from": "0:00", "until": until})
    assert found(with_procedures(scenario, rows)) == expected


# --- states -------------------------------------------------------------------------------------------------


def states(**cells: str) -> list[dict[str, str]]:
    return [STATES[0] | cells, STATES[1]]


def test_a_state_must_end_as_it_is_said(plain: pk.Scenario) -> None:
    scenario = with_procedures(plain, sets={"C2": "vent=open"})
    assert found(scenario) == [("stop", "states", "not-at-end", "vent", "", "C2")]
    assert "vent must be closed at the end, but is open since C2" in message(scenario, "not-at-end")
    ends = [STATES[0], STATES[1] | {"at_end": ""}]
    assert found(with_procedures(plain, states=ends, sets={"C2": "vent=open"})) == []


def test_needs_are_met_when_a_step_begins(outing: pk.Scenario, tern: pk.Scenario, tmp_path: Path) -> None:
    assert found(outing.edit_row("steps", "C3", needs="vent=open")) == []
    early = outing.edit_row("steps", "C2", needs="vent=open")
    assert found(early) == [("stop", "states", "needs", "vent", "EV2", "C2")]
    assert "but is closed as at PET 0" in message(early, "needs")
    assert found(tern.edit_row("steps", "X1", needs="cover-REG=closed"))[0][:5] == (
        "stop", "states", "needs", "cover-REG", "EV1")
    new = new_outing(tmp_path / "new")
    assert found(new.edit_row("steps", "clean-up", needs="lid=open")) == []
    assert found(new.edit_row("steps", "clean-up", needs="lid=shut")) == [
        ("stop", "states", "needs", "lid", "both", "clean-up")]


def test_nothing_live_is_mated(plain: pk.Scenario, outing: pk.Scenario, tern: pk.Scenario) -> None:
    # I-LMP stands from B2 less 5 min to the finish of B3: all of B3, and of B2.
    not_safe = ("stop", "states", "not-safe", "J-LMP", "EV1", "B3")
    assert found(with_procedures(plain, states=states(safe_when="never"))) == [not_safe]
    assert found(with_procedures(plain, states=states(safe_when="none"))) == []
    assert found(with_procedures(plain, states=states(safe_when=""))) == [
        ("remark", "states", "safe-not-known", "J-LMP", "", "")]
    # It is safe too late, or nobody has confirmed it when hands are on it.
    slow = outing.edit_row("inhibits", "I-LMP", safe_after_min=5 + 13 + 40)
    assert not_safe in found(slow)
    assert not_safe in found(outing.edit_row("inhibits", "I-LMP", confirmed_by="B3"))
    assert found(outing.edit_row("inhibits", "I-LMP", confirmed_by="B2")) == []
    # Lifted before it: B3 is not in it.
    assert not_safe in found(outing.edit_row("inhibits", "I-LMP", until_step="B2"))
    # Dead only by luck, and nobody says that it is.
    outside = outing.edit_row("inhibits", "I-LMP", from_step="A1", until_step="C3", confirmed_by="B2")
    assert found(outside) == [("concern", "states", "not-held", "J-LMP", "EV1", "B3")]
    assert found(outside.edit_row("inhibits", "I-LMP", needed_by="B3")) == []
    assert found(outing.edit_row("inhibits", "I-LMP", confirmed_by="")) == [
        ("remark", "states", "not-confirmed", "I-LMP", "", "")]
    assert found(pk.load_scenario(TERN)) == [
        ("remark", "states", "not-confirmed", "I-HTR", "", ""),
        ("remark", "states", "not-confirmed", "I-PMP", "", ""),
        ("remark", "states", "safe-not-known", "J-LMP1 J-LMP2", "", "")]
    lifted = tern.edit_row("inhibits", "I-PWR", until_step="X4", needed_by="X1")
    assert [each[3:] for each in found(lifted)] == [(f"J-REG{n}", "EV1", "X5") for n in (1, 2, 3, 4)]


def test_a_step_that_sets_a_connector_without_an_action_counts_too(plain: pk.Scenario) -> None:
    rows = [row for row in ACTIONS if row["step"] not in ("B3", "C2")]
    scenario = with_procedures(plain, [*rows, ACTIONS[-2]], states=states(safe_when="never"),
                               sets={"C3": "J-LMP=mated"})
    assert found(scenario) == [("stop", "states", "not-safe", "J-LMP", "EV2", "C3")]


def test_two_at_one_state_at_once_are_told(plain: pk.Scenario, outing: pk.Scenario) -> None:
    timed = pk.time_plan(outing).timed
    (start, finish), (begin, end) = timed.span("B2"), timed.span("C2")
    assert min(finish, end) > max(start, begin), "the two overlap"
    both = outing.edit_row("steps", "B2", sets="vent=open")
    assert found(both)[0][:4] == ("concern", "states", "in-parallel", "vent")
    needs = outing.edit_row("steps", "B2", needs="vent=closed")
    assert [each[2] for each in found(needs)] == ["in-parallel"]
    only_need = with_procedures(plain, sets={}, actions=ACTIONS[:-1])
    only_need = only_need.edit_row("steps", ["B2", "C2"], needs="vent=closed")
    assert found(only_need) == [], "nobody changes it"


def test_what_is_wrong_moves_no_minute_and_is_new_where_it_comes(tern: pk.Scenario) -> None:
    a, b = pk.time_plan(tern), pk.time_plan(tern.edit_row("actions", "X4 2", value="40"))
    assert a.timeline.equals(b.timeline)
    new = a.compare(b).findings
    assert "turns" in set(new["rule"])


def test_all_of_it_at_once_is_told_in_words(plain: pk.Scenario) -> None:
    for row in pk.time_plan(with_procedures(plain, edited(ACTIONS, "B3", 3, tool="bag:A1", value="2"),
                                            responses=RESPONSES)).findings.itertuples():
        if row.check in CHECKS:
            assert row.message.endswith((")", ".")) or ":" in row.message
            assert row.source


# --- the words against what the plan goes on with -----------------------------------------------------------


@pytest.mark.parametrize(("step", "number", "cells", "expected"), [
    # the crew leaves it as the last action says; the plan believes steps.sets
    ("C2", 1, {"value": "closed"}, [("stop", "states", "words", "vent", "EV2", "C2")]),
    ("B3", 2, {"value": "capped"}, [("stop", "states", "words", "J-LMP", "EV1", "B3")]),
    ("B3", 2, {"class": "inspect"}, [("stop", "states", "words", "J-LMP", "EV1", "B3")]),
    ("B3", 2, {"value": ""}, [("stop", "states", "words", "J-LMP", "EV1", "B3")]),  # nobody sets it
    ("C2", 1, {"value": ""}, []),  # its step sets it
    ("C2", 1, {"class": "", "value": "closed"}, []),  # no action that sets
    ("C2", 1, {"on": "lamp-old", "who": "inside"}, [("concern", "states", "no-action", "vent", "EV2", "C2")]),
])
def test_words_that_leave_a_state_other_than_the_plan_are_a_stop(
    plain: pk.Scenario, step: str, number: float, cells: dict[str, Any], expected: list[tuple[str, ...]]
) -> None:
    scenario = with_procedures(plain, edited(ACTIONS, step, number, **cells))
    assert [each for each in found(scenario) if each[1] == "states"] == expected


def test_who_works_or_calls_while_off_the_loop_is_told(tern: pk.Scenario) -> None:
    call = {"step": "X1", "number": 0.5, "who": "ground", "action": "Say that string 3 is dead",
            "class": "call"}
    scenario = tern.add_row("actions", **call).edit_row("actors", "DESK", **{"from": "6:00"})
    told = [(each[3], each[5]) for each in found(scenario) if each[2] == "off-loop"]
    assert ("DESK", "DK2") in told, "its own step"
    assert ("ground", "X1") in told
    assert "off-loop" not in {each[2] for each in found(tern.add_row("actions", **call))}
