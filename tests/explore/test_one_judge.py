"""Options, cuts, better orders and the rest of an outing judge alike, over random outings."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.propose.order_search import Judge
from planning_kit.judge.all_checks import new_findings
from planning_kit.judge.review import drop_order
from tests.explore.retime.test_log import log_of

MINUTES, TASKS = 6, ("T1", "T2", "T3", "T4", "T5")
KINDS = ("all numbers", "no cut orders", "no priorities", "equal needs", "few numbers")


def random_outing(small: pk.Scenario, seed: int, kind: str) -> pk.Scenario:
    """Five tasks of EV1, one step each, all at the mid truss: any two of them win the same time."""
    draw = np.random.default_rng([seed, KINDS.index(kind)])
    own = [{"task": name, "title": name, "need": need, "priority": priority, "swappable": "no",
            "cut_order": cut} for name, need, priority, cut in zip(
                TASKS, _needs(draw, kind), _priorities(draw, kind), _cuts(draw, kind), strict=True)]
    tasks = filled(pd.concat([small.tasks.astype(object), pd.DataFrame(own).astype(object)]))
    steps = [step_row("A1", "EGR", "both", "HAT", 10), step_row("Z1", "CLN", "both", "HAT", 10)]
    steps[1:1] = [step_row(f"S{name}", name, "EV1", "MID", MINUTES) for name in TASKS]
    rows = filled(pd.DataFrame(steps).reindex(columns=small.steps.columns).astype(object))
    empty = {name: small.table(name)[:0] for name in ("gaps", "inhibits", "hardware")}
    scenario = small.with_table("gaps", empty["gaps"]).with_table("inhibits", empty["inhibits"])
    scenario = scenario.with_table("tasks", tasks).with_table("steps", rows)
    scenario = scenario.with_table("hardware", empty["hardware"])
    return scenario.with_table("tasks", tasks[tasks["task"].isin(["EGR", "CLN", *TASKS])])


def filled(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.where(frame.notna(), "").reset_index(drop=True)


def step_row(step: str, task: str, crew: str, place: str, minutes: int) -> dict[str, object]:
    return {"step": step, "task": task, "crew": crew, "place": place, "title": step, "exertion": "light",
            "minutes_low": minutes, "minutes_likely": minutes, "minutes_high": minutes, "light": "any"}


def _needs(draw: np.random.Generator, kind: str) -> list[str]:
    return ["optional"] * 5 if kind == "equal needs" else draw.choice(["optional", "get-ahead"], 5).tolist()


def _priorities(draw: np.random.Generator, kind: str) -> list[object]:
    some = [""] * 5 if kind == "no priorities" else draw.permutation([1, 2, 3, 4, 5]).tolist()
    return [each if kind != "few numbers" or number % 2 else "" for number, each in enumerate(some)]


def _cuts(draw: np.random.Generator, kind: str) -> list[object]:
    some = [""] * 5 if kind == "no cut orders" else draw.permutation([1, 2, 3, 4, 5]).tolist()
    return [each if kind != "few numbers" or number < 2 else "" for number, each in enumerate(some)]


CASES = [(seed, kind) for kind in KINDS for seed in (1, 2)]


@pytest.mark.parametrize(("seed", "kind"), CASES)
def test_options_and_cuts_drop_in_one_order(small: pk.Scenario, seed: int, kind: str) -> None:
    scenario = random_outing(small, seed, kind)
    plan = pk.time_plan(scenario)
    cuts = plan.cuts(samples=100)["task"].tolist()
    options = plan.retime(log_of("A1 started 0:00"), 1).options(most=60)
    together = max(options["decide"], key=lambda how: len(how.get("skip", ())))["skip"]
    assert [f"S{task}" for task in cuts[:4]] == together
    tasks = [task for task in scenario.records.tasks if task.need != "required"]
    in_order = [task.task for task in drop_order(tasks)]
    levels = {task.task: (task.cut_order, task.need, task.priority) for task in tasks}
    assert [levels[name] for name in cuts] == [levels[name] for name in in_order]


@pytest.mark.parametrize(("seed", "kind"), CASES[::3])
def test_better_orders_and_the_rest_drop_what_the_cuts_drop(small: pk.Scenario, seed: int, kind: str) -> None:
    scenario = random_outing(small, seed, kind)
    plan = pk.time_plan(scenario)
    cuts = plan.cuts(samples=100)["task"].tolist()
    lost = 2 * MINUTES  # to be won: two of five equal tasks must go
    limit_min = plan.end_min - lost + 0.5
    tight = scenario.with_settings({"limits.planned_min": limit_min, "limits.hard_min": limit_min + 0.1})
    best = pk.time_plan(tight).propose("quick", 60)[0]
    assert levels_of(scenario, best.dropped) == levels_of(scenario, cuts[:2])
    late = pk.time_plan(tight).retime(log_of("A1 started 0:00"), 1)
    rest = late.options(most=60, reorder="quick", seconds=60).query("kind == 'reorder'")
    skipped = next(how["skip"] for how in rest["decide"] if "skip" in how)
    assert levels_of(scenario, [name[1:] for name in skipped]) == levels_of(scenario, cuts[:2])


@pytest.mark.parametrize(("seed", "kind"), CASES[1::3])
def test_what_dropped_work_leaves_where_it_was_is_a_new_stop_for_nobody(small: pk.Scenario, seed: int,
                                                                        kind: str) -> None:
    scenario = with_items(small, random_outing(small, seed, kind))
    plan = pk.time_plan(scenario)
    assert plan.findings.query("severity == 'stop'").empty
    limit_min = plan.end_min - MINUTES + 0.5
    tight = scenario.with_settings({"limits.planned_min": limit_min, "limits.hard_min": limit_min + 0.1})
    best = pk.time_plan(tight).propose("quick", 60)[0]
    assert len(best.dropped) == 1
    assert best.plan.findings.query("severity == 'stop'").empty
    table = pk.time_plan(tight).retime(log_of("A1 started 0:00"), 1).options(
        most=60, reorder="quick", seconds=60)
    skips = [row for row in table.to_dict("records") if "skip" in row["decide"]]
    assert {row["kind"] for row in skips} == {"drop", "reorder"}
    assert {row["new_stops"] for row in skips} == {0}
    skipped = next(row["decide"]["skip"] for row in skips if row["kind"] == "reorder")
    assert levels_of(scenario, [name[1:] for name in skipped]) == levels_of(scenario, best.dropped)


def with_items(small: pk.Scenario, scenario: pk.Scenario) -> pk.Scenario:
    """EV1 goes out with five things; each of the tasks leaves one at the mid truss, where it must end."""
    items = [{"item": f"I{name}", "title": name, "kind": "tool", "at": "EV1", "slots": 0, "end_at": "MID"}
             for name in TASKS]
    rows = filled(pd.DataFrame(items).reindex(columns=small.hardware.columns).astype(object))
    steps = scenario.steps.astype(object)
    here = steps["task"].isin(TASKS)
    steps.loc[here, "leaves"] = [f"I{task}" for task in steps.loc[here, "task"]]
    return scenario.with_table("hardware", rows).with_table("steps", steps)


@pytest.mark.parametrize("seed", range(3))
def test_required_work_is_left_out_by_a_person_and_by_no_search(small: pk.Scenario, seed: int) -> None:
    """One task is required and the first of the cut order all the same."""
    scenario = random_outing(small, seed, "all numbers")
    first = min((task for task in scenario.records.tasks if task.task in TASKS),
                key=lambda task: task.cut_order or 0).task
    scenario = scenario.edit_row("tasks", first, need="required")
    plan = pk.time_plan(scenario)
    assert first not in set(plan.cuts(samples=100)["task"])
    limit_min = plan.end_min - MINUTES + 0.5
    tight = scenario.with_settings({"limits.planned_min": limit_min, "limits.hard_min": limit_min + 0.1})
    assert first not in pk.time_plan(tight).propose("quick", 60)[0].dropped
    table = pk.time_plan(tight).retime(log_of("A1 started 0:00"), 1).options(
        most=60, reorder="quick", seconds=60)
    skips = [(kind, how["skip"]) for kind, how in zip(table["kind"], table["decide"], strict=True)
             if f"S{first}" in how.get("skip", ())]
    assert skips == [("drop", [f"S{first}"])]
    assert any("skip" in how for how in table.query("kind == 'reorder'")["decide"])


def levels_of(scenario: pk.Scenario, names: object) -> Counter[tuple[object, ...]]:
    return Counter((task.cut_order, task.need, task.priority) for task in scenario.records.tasks
                   if task.task in set(names))  # type: ignore[call-overload]


@pytest.mark.parametrize("seed", range(4))
def test_all_see_the_same_new_stops(small: pk.Scenario, seed: int) -> None:
    draw = np.random.default_rng(seed)
    scenario = random_outing(small, seed, "all numbers")
    tasks, planned = scenario.tasks.astype(object), pk.time_plan(scenario).timed
    room = {step.task: float(start) + int(draw.integers(1, 9))  # it may begin so much later, and no more
            for step, start in zip(planned.steps, planned.starts, strict=True) if step.task in TASKS}
    tasks["last_start_min"] = [room.get(task, "") for task in tasks["task"]]
    plan = pk.time_plan(scenario.with_table("tasks", tasks))
    late = plan.retime(log_of("A1 started 0:00"), 1)
    judge = Judge(scenario=late.scenario, records=late.scenario.records, current=late.timed, limit_min=1e6)
    seen = set()
    for row in late.options(most=60).to_dict("records"):
        taken = late.decide(**row["decide"])
        told = new_findings(late.timed, taken.timed)
        assert row["new_stops"] == int((told["severity"] == "stop").sum())
        assert row["new_stops"] == judge.review(taken.timed).new_stops
        assert judge.holds(taken.timed) == (row["new_stops"] == 0)
        changes = late.compare(taken).findings.query("severity == 'stop' and change in ['came', 'worse']")
        assert row["new_stops"] == len(changes)
        seen.add(row["new_stops"])
    assert len(seen) > 1
