"""Steps left out, and roles traded."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planning_kit as pk

TASKS = ("KNU", "CAB", "SUR", "HTR", "SEN", "VEN", "SMP", "ANT", "LMP", "INS", "SHD", "FHD")


def test_what_waited_for_a_dropped_step_waits_for_what_that_one_waited_for(demo_plan: pk.Plan) -> None:
    # DK2 waits for RG3; RG5 waits for DK2, and X1 through the least gap of 8 min.
    steps = demo_plan.what_if(drop="DK2").scenario.steps.set_index("step")
    assert "DK2" not in steps.index
    assert steps.loc["RG5", "after"] == "RG3"
    assert steps.loc["X1", "after"] == "RG3"


def test_precedence_passes_through_a_whole_dropped_chain(small: pk.Scenario) -> None:
    steps = small.steps
    steps.loc[steps["step"] == "C1", "after"] = "B1"
    steps.loc[steps["step"] == "C2", "after"] = "C1"
    steps.loc[steps["step"] == "Z1", "after"] = "C2 B3"
    plan = pk.time_plan(small.with_table("steps", steps))
    left = plan.what_if(drop=["C1", "C2"]).scenario.steps.set_index("step")
    assert left.loc["Z1", "after"] == "B1 B3"
    assert left.loc["C3", "after"] == "B1"  # through the gap that went with C2


def test_gaps_and_inhibits_go_with_a_note(demo_plan: pk.Plan) -> None:
    without = demo_plan.what_if(drop="VEN")
    assert "I-PMP" not in set(without.scenario.inhibits["inhibit"])
    assert not {"VE1", "VE2"} & set(without.scenario.gaps["first_step"])
    assert "VEN" not in set(without.scenario.tasks["task"])
    notes = without.changes.query("kind == 'note'")["change"].tolist()
    assert len(notes) == 2
    assert notes[0].startswith("the gap from VE1 to VE2 went with it")
    assert notes[1] == "inhibit I-PMP (Zenith coolant pump off) went with it"


def test_an_inhibit_that_others_need_stays_for_them(demo_plan: pk.Plan) -> None:
    # Without the exchange, the knuckle work still needs the boom drive off: KN1 to KN5 in row order.
    without = demo_plan.what_if(drop="REG")
    drive = without.scenario.inhibits.set_index("inhibit").loc["I-DRV"]
    assert (drive["from_step"], drive["until_step"]) == ("KN1", "KN5")
    assert drive["needed_by"] == "KN1 KN2 KN3 KN4 IN1 KN5"
    assert without.changes["change"].str.contains("now stands from KN1 to KN5, not RA1 to RG9").any()


def with_hazard(scenario: pk.Scenario, **cells: object) -> pk.Scenario:
    row = {"hazard": "HZ", "class": "warning", "limit": "keep_out"} | cells
    columns = scenario.hazards.columns
    frame = pd.DataFrame([{column: row.get(column, "") for column in columns}], dtype=object)
    return scenario.with_table("hazards", frame)


@pytest.mark.parametrize(("cells", "controls", "when", "rule"), [
    ({"controls": "I-LMP"}, "", "", "no-control"),
    ({"controls": "I-LMP I-2"}, "", "", "no-control"),
    ({"controls": "I-2 | (I-LMP I-3)"}, "I-2", "", None),
    ({"controls": "2 of (I-LMP I-2 I-3)"}, "I-2 I-3", "", None),
    ({"when": "day and off:I-LMP", "controls": "I-2 I-3"}, "I-2 I-3", "day", None),
    ({"when": "off:I-LMP"}, "", "", "no-control"),
])
def test_an_inhibit_that_goes_controls_no_hazard_any_more(small: pk.Scenario, cells: dict[str, str],
                                                          controls: str, when: str, rule: str | None) -> None:
    first = small.inhibits.astype(object).assign(needed_by="")
    others = [first.assign(inhibit=name, from_step="A1", until_step="Z1", lead_min=5)
              for name in ("I-2", "I-3")]
    scenario = small.with_table("inhibits", pd.concat([first, *others], ignore_index=True))
    plan = pk.time_plan(with_hazard(scenario, places="POR", **cells)).what_if(drop="LMP")
    assert plan.scenario.hazards.loc[0, ["controls", "when"]].tolist() == [controls, when]
    found = plan.findings.query("check == 'hazards'")["rule"].tolist()
    assert found == ([] if rule is None else [rule])
    assert "it controls HZ no more" in " ".join(plan.changes["change"])


def test_an_inhibit_that_nobody_confirms_any_more_controls_nothing(small: pk.Scenario) -> None:
    inhibits = small.inhibits.astype(object).assign(from_step="A1", until_step="Z1", confirmed_by="C1")
    scenario = with_hazard(small.with_table("inhibits", inhibits), places="POR", controls="I-LMP")
    plan = pk.time_plan(scenario)
    assert plan.findings.query("check == 'hazards'").empty
    without = plan.what_if(drop="C1")
    assert without.findings.query("check == 'hazards'")["rule"].tolist() == ["not-confirmed"]
    assert without.changes["change"].str.contains("nobody confirms inhibit I-LMP").any()


def test_a_closed_route_is_no_hazard_any_more(small: pk.Scenario) -> None:
    routes = small.routes.astype(object)
    routes = pd.concat([routes, routes[:1].assign(from_place="MST", to_place="POR", metres=40)])
    small = small.with_table("routes", routes)
    assert "MST" in set(small.routes["from_place"])
    for cells, left in (({}, []), ({"places": "POR"}, [""]), ({"routes": "MST:POR HAT:MID"}, ["HAT:MID"])):
        plan = pk.time_plan(with_hazard(small, **{"routes": "MST:POR"} | cells)).what_if(close="POR MST")
        assert plan.scenario.hazards["routes"].tolist() == left


def test_a_dropped_step_leaves_its_task(demo_plan: pk.Plan) -> None:
    scenario = demo_plan.what_if(drop="SE4").scenario
    assert "SEN" in set(scenario.tasks["task"])
    assert len(scenario.steps) == len(demo_plan.timed.steps) - 1


@settings(max_examples=12)
@given(st.sets(st.sampled_from(TASKS), min_size=1, max_size=3))
def test_compare_tells_just_the_dropped_steps_as_dropped(demo_plan: pk.Plan, tasks: set[str]) -> None:
    without = demo_plan.what_if(drop=tasks)
    moved = demo_plan.compare(without).times
    expected = {step.step for step in demo_plan.timed.steps if step.task in tasks}
    assert set(moved.loc[moved["change"] == "dropped", "step"]) == expected
    assert not (moved["change"] == "added").any()
    table = without.scenario.steps
    assert not table["after"].str.split().explode().isin(expected).any()


@settings(max_examples=12)
@given(st.sampled_from(["CAB", "SUR", "swappable", "all"]))
def test_swapping_twice_is_as_before(demo_plan: pk.Plan, swap: str) -> None:
    swapped = demo_plan.what_if(swap=swap)
    assert swapped.scenario != demo_plan.scenario
    assert swapped.what_if(swap=swap).scenario == demo_plan.scenario


def test_a_swap_trades_crew_prefixes_handovers_hooks_and_what_they_start_with(demo_plan: pk.Plan) -> None:
    steps = demo_plan.what_if(swap="all").scenario.steps.set_index("step")
    assert steps.loc["KN2", "crew"] == "EV2"
    assert steps.loc["X3", "crew"] == "both"
    assert steps.loc["X3", "takes"] == "EV2:reg-old"
    assert steps.loc["X3", "leaves"] == "EV2:reg-old>carrier EV1:reg-new>EV2"
    assert steps.loc["EG2", "hooks"] == "EV2"
    assert steps.loc["DK1", "crew"] == "DESK"
    before = demo_plan.scenario.hardware.set_index("item")["at"]
    after = demo_plan.what_if(swap="all").scenario.hardware.set_index("item")["at"]
    other = {"EV1": "EV2", "EV2": "EV1"}
    assert after.to_dict() == {item: other.get(at, at) for item, at in before.items()}
    assert set(before) & {"EV1", "EV2"}  # or this would show nothing


def test_a_swap_trades_who_rides_along(small: pk.Scenario) -> None:
    places = small.places.assign(zone=["", "", "mast", ""])
    steps = small.steps.assign(moves="", rides="")
    steps.loc[steps["step"] == "B2", ["moves", "rides"]] = "mast", "EV1"
    tasks = small.tasks.assign(swappable=["no", "yes", "no", "no"])
    plan = pk.time_plan(small.with_tables({"places": places, "steps": steps, "tasks": tasks}))
    traded = plan.what_if(swap="LMP").scenario.steps.set_index("step")
    assert (traded.loc["B2", "crew"], traded.loc["B2", "rides"]) == ("EV2", "EV2")


def test_one_task_is_swapped_and_no_other(demo_plan: pk.Plan) -> None:
    before, after = demo_plan.scenario.steps, demo_plan.what_if(swap="CAB").scenario.steps
    changed = before.loc[before["crew"] != after["crew"], "task"]
    assert set(changed) == {"CAB"}
    assert demo_plan.what_if(swap="swappable").changes["change"].tolist() == ["EV1 and EV2 trade CAB, SUR"]


def test_a_task_that_is_not_swappable_is_refused(demo_plan: pk.Plan) -> None:
    with pytest.raises(pk.ScenarioError, match="not swappable"):
        demo_plan.what_if(swap="REG")


def test_a_scenario_without_gaps_and_inhibits_can_drop_too(small: pk.Scenario) -> None:
    bare = small.with_table("gaps", small.gaps.iloc[:0]).with_table("inhibits", small.inhibits.iloc[:0])
    left = pk.time_plan(bare).what_if(drop="B1").scenario
    assert len(left.steps) == len(small.steps) - 1
    assert list(left.gaps) == list(small.gaps)
