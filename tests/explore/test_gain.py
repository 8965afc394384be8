"""What would start a step earlier: every row is true, the smallest is the smallest, and none is missed."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Iterator
from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.gain import likely_moves, other_moves
from planning_kit.explore.gain_changes import dropped_tasks, find_target
from tests.edits import edited, with_row

SLIVER_MIN = 1e-5


def _helping(table: pd.DataFrame, kind: str | None = None) -> pd.DataFrame:
    rows = table[table["by_min"].notna()]
    return rows if kind is None else rows[rows["kind"] == kind]


def _a_tenth_less(plan: pk.Plan, row: Any) -> dict[str, Any]:
    """The arguments of a change that is 0.1 min smaller."""
    if row.kind == "shorten":
        (step, minutes), = row.what_if["stretch"].items()
        return {"stretch": {step: f"{float(minutes) + 0.1:+.1f}"}}
    if row.kind == "pet_zero":
        return {"slip_min": row.what_if["slip_min"] + 0.1}
    (pair, changes), = row.what_if["gaps"].items()
    (column, minutes), = changes.items()
    return {"gaps": {pair: {column: minutes + (0.1 if column == "min_gap" else -0.1)}}}


def _gained(before: pk.Plan, after: pk.Plan, step: str) -> float:
    """Minutes of UTC by which a step starts earlier."""
    slip = (after.pet_zero - before.pet_zero).total_seconds() / 60
    old, new = (plan.timed.starts[plan.timed.position(step)] for plan in (before, after))
    return float(old - new) - slip


def _needed(plan: pk.Plan, step: str, minutes: float | None) -> float:
    """How much earlier is wanted: the minutes, or more than the way to the begin of its window."""
    if minutes is not None:
        return minutes - SLIVER_MIN
    windows = plan.timed.network.allowed[plan.timed.position(step)]
    assert windows is not None
    start = plan.timed.starts[plan.timed.position(step)]
    return float(start - windows[windows[:, 0] <= start][-1, 0]) + SLIVER_MIN


@pytest.fixture(scope="module")
def late(demo_plan: pk.Plan) -> pk.Plan:
    return demo_plan.what_if(30)


@pytest.fixture(scope="module")
def asked(small_plan: pk.Plan, demo_plan: pk.Plan, late: pk.Plan) -> list[tuple[Any, ...]]:
    questions = [(small_plan, "C3", 1.0), (small_plan, "Z1", 5.0), (small_plan, "B3", None),
                 (demo_plan, "DK2", 1.0), (late, "X1", None), (late, "RN1", 12.0)]
    return [(plan, step, minutes, plan.gain(step, minutes, most=4)) for plan, step, minutes in questions]


@pytest.fixture(scope="module")
def dk2(asked: list[tuple[Any, ...]]) -> pd.DataFrame:
    return next(table for _, step, _, table in asked if step == "DK2")


def test_every_row_is_true_when_it_is_applied(asked: list[tuple[Any, ...]]) -> None:
    seen = set()
    for plan, step, minutes, table in asked:
        for row in _helping(table).itertuples():
            changed = plan.what_if(**row.what_if)
            assert row.gain_min == pytest.approx(_gained(plan, changed, step), abs=1e-9)
            assert row.gain_min >= _needed(plan, step, minutes)
            assert row.new_start_min == changed.timed.starts[changed.timed.position(step)]
            slip = (changed.pet_zero - plan.pet_zero).total_seconds() / 60
            assert row.end_slip_min == pytest.approx(changed.end_min + slip - plan.end_min, abs=1e-9)
            found = plan.compare(changed).findings.query("change in ['came', 'worse']")
            assert (row.new_findings, row.new_stops) == (len(found), (found["severity"] == "stop").sum())
            seen.add(row.kind)
    assert seen == {"order", "shorten", "min gap", "max gap", "drop",
                    "pet_zero"}  # or it would show too little


def test_a_tenth_of_a_minute_less_is_not_enough(asked: list[tuple[Any, ...]]) -> None:
    for plan, step, minutes, table in asked:
        for row in _helping(table).itertuples():
            if row.kind not in ("order", "drop") and row.by_min > 0.1:
                less = plan.what_if(**_a_tenth_less(plan, row))
                assert _gained(plan, less, step) < _needed(plan, step, minutes), row.change


def test_rows_come_smallest_first_and_those_with_new_stops_last(asked: list[tuple[Any, ...]]) -> None:
    for *_, table in asked:
        rows = _helping(table)
        ranks = [(stops > 0, by) for stops, by in zip(rows["new_stops"], rows["by_min"], strict=True)]
        assert ranks == sorted(ranks)
        assert rows.groupby("kind").size().max() <= 4


def test_all_that_helps_is_there(small_plan: pk.Plan) -> None:
    # C3 waits for A1, the way, C1, the way, C2 and the gap: a minute off any of them is a minute.
    table = small_plan.gain("C3", 1)
    shorter = _helping(table, "shorten")
    assert sorted(next(iter(w["stretch"])) for w in shorter["what_if"]) == ["step:A1", "step:C1", "step:C2"]
    assert _helping(table, "min gap")["what_if"].tolist() == [{"gaps": {"C2 C3": {"min_gap": 24}}}]
    assert set(_helping(table)["by_min"]) == {0.0, 1.0}


def test_no_helping_step_is_missed(small_plan: pk.Plan) -> None:
    # By trying: each step shorter by all but a tenth of it.
    needed, helps = 2.5, set()
    for step in small_plan.timed.steps:
        taken = round(step.minutes_likely - 0.1, 1)
        changed = small_plan.what_if(stretch={step.step: f"-{taken}"})
        if _gained(small_plan, changed, "Z1") >= needed - SLIVER_MIN:
            helps.add(f"step:{step.step}")
    rows = _helping(small_plan.gain("Z1", needed, most=99), "shorten")
    assert {next(iter(w["stretch"])) for w in rows["what_if"]} == helps
    assert helps


def test_a_row_says_when_a_step_would_be_shorter_than_its_low_estimate(small_plan: pk.Plan) -> None:
    # C1 takes 3, at the least 2: 1.0 less is its low estimate, 1.5 less is below.
    words = {by: small_plan.gain("C3", by).query("change.str.startswith('C1 takes')")["change"].iloc[0]
             for by in (1.0, 1.5)}
    assert words == {1.0: "C1 takes 2 min instead of 3",
                     1.5: "C1 takes 1.5 min instead of 3, below its low estimate of 2"}


def test_a_greatest_gap_that_holds_a_step_back_is_relaxed(small: pk.Scenario) -> None:
    # B3 waits for night at 0:35.6 and B2 must end at most 5 min before: it starts at 35.6 - 5 - 13 = 17.6,
    # not at 17.0 when EV1 is there. Half a minute earlier needs a gap of 5.5 min; a shorter B2 starts later.
    plan = pk.time_plan(with_row(small, "gaps", first_step="B2", then_step="B3", max_gap=5))
    assert plan.timed.starts[plan.timed.position("B2")] == pytest.approx(17.6, abs=0.05)
    rows = _helping(plan.gain("B2", 0.5))
    gap = rows[rows["kind"] == "max gap"]
    assert gap["by_min"].tolist() == [0.5]
    assert gap["what_if"].tolist() == [{"gaps": {"B2 B3": {"max_gap": 5.5}}}]
    assert not rows["change"].str.startswith("B2 takes").any()


def test_when_nothing_helps_it_says_so_for_every_kind(demo_plan: pk.Plan) -> None:
    table = demo_plan.gain("X1")  # night 2 is the first that anything could reach
    assert table["kind"].tolist() == ["order", "shorten", "min gap", "max gap", "drop", "pet_zero"]
    assert table["change"].str.startswith("no change of this kind helps: X1 in a night window before").all()
    assert table["by_min"].isna().all()
    assert table["what_if"].tolist() == [{}] * 6


def test_the_night_cannot_be_hurried(demo_plan: pk.Plan) -> None:
    # X1 waits for night 2 with time in hand: no minute anywhere brings night forward.
    assert demo_plan.gain("X1", 0.5)["by_min"].isna().all()


def test_the_window_before_is_that_of_the_step_that_a_window_holds(demo_plan: pk.Plan) -> None:
    # RN1 waits, through the cold clock, for X5, which waits for X4, X3 and so for the night of X1.
    table = demo_plan.gain("RN1")
    assert table["change"].str.endswith(": X1 in a night window before the one that begins at 2:21").all()


def test_the_pet_zero_that_catches_the_window_before_is_the_last_good_one(demo: pk.Scenario, late: pk.Plan,
                                                                        asked: list[tuple[Any, ...]]) -> None:
    table = next(table for plan, step, _, table in asked if plan is late and step == "X1")
    (by_min,) = _helping(table, "pet_zero")["by_min"]
    sweep = pk.time_plan(demo).sweep("2031-05-14T11:40:00Z", "2031-05-14T11:50:00Z", every_min=0.1)
    jump = sweep.loc[sweep["end_min"].diff() > 30,
                     "pet_zero"].iloc[0]  # the first PET 0 that misses the night
    assert (late.pet_zero - jump).total_seconds() / 60 == pytest.approx(by_min - 0.1, abs=1e-6)


def test_an_order_that_helps_is_found_and_keeps_first_and_last_steps(dk2: pd.DataFrame) -> None:
    # The look at the outer bracket can be done on the way back (notebook 02 finds it by hand).
    moves = [row["move"] for row in _helping(dk2, "order")["what_if"]]
    assert {"IN1": "RG8"} in moves
    assert not {"EG1", "CL2"} & {name for move in moves for pair in move.items() for name in pair}


def test_moves_inside_a_task_come_after_others_and_say_so(dk2: pd.DataFrame) -> None:
    words = _helping(dk2, "order").query("new_stops == 0")["change"]
    inside = words.str.contains("past other steps of").tolist()
    assert inside == sorted(inside)
    assert any(inside)
    assert not all(inside)


def _all_moved(plan: pk.Plan) -> Iterator[pk.Plan]:
    """Every row behind every other, where that makes a plan and keeps the first and last step of each."""
    ends = [(order[0], order[-1]) for order in _orders(plan)]
    names = [each.step for each in plan.timed.steps]
    for moved, after in itertools.permutations(names, 2):
        with contextlib.suppress(pk.ScenarioError):
            changed = plan.what_if(move={moved: after})
            keeps = not changed.timed.network.given_way
            if keeps and [(order[0], order[-1]) for order in _orders(changed)] == ends:
                yield changed


def _orders(plan: pk.Plan) -> tuple[tuple[str, ...], ...]:
    """The steps of each crew member in order of work."""
    return tuple(tuple(step.step for step in plan.timed.steps if step.crew in (who, "both"))
                 for who in plan.timed.travels)


def test_no_helping_move_is_missed(small: pk.Scenario) -> None:
    # Four errands of EV2 that nothing needs, near and far: many moves help what comes after them.
    wider = small
    for number, place in enumerate(["MID", "MST", "POR", "MID"]):
        wider = with_row(wider, "steps", at=2 + number, step=f"W{number}", task="CAS", crew="EV2",
                         place=place, title="Errand", minutes_low=2,
                         minutes_likely=3 + number, minutes_high=9)
    plan = pk.time_plan(wider)
    every, seen = list(_all_moved(plan)), 0
    for step, minutes in (("C3", 1.0), ("C3", 6.0), ("C2", 2.0), ("W3", 4.0), ("Z1", 1.0), ("B2", 0.5)):
        target = find_target(plan.timed, step, minutes)
        likely = list(likely_moves(plan.timed, target))
        moves = [*likely, *other_moves(plan.timed, target, likely)]
        found = [candidate.change.arguments()["move"] for candidate in moves]
        expected = {_orders(each) for each in every if _gained(plan, each, step) >= minutes - SLIVER_MIN}
        assert {_orders(plan.what_if(move=move)) for move in found} == expected
        assert len(found) == len(expected)  # each order of work once
        seen += len(expected)
    assert seen > 20


def test_moves_that_are_not_likely_are_found_before_it_says_that_none_helps(late: pk.Plan) -> None:
    # CL2 is the last step of both: nothing can go behind it, and no swap of neighbours brings night 2 back,
    # but one look moved behind the exchange does (as for X1).
    orders = _helping(late.gain("CL2", 20.0), "order")
    assert {"move": {"IN2": "KN5"}} in orders["what_if"].tolist()
    assert not orders["new_stops"].astype(bool).any()


def test_work_left_out_is_a_change_too(late: pk.Plan, asked: list[tuple[Any, ...]]) -> None:
    # INS is three looks of 6, 5 and 6 min; without it the exchange is in night 2 (notebook 05).
    table = next(table for plan, step, _, table in asked if plan is late and step == "X1")
    drops = _helping(table, "drop")
    assert drops["what_if"].tolist() == [{"drop": "task:INS"}]
    assert drops["by_min"].tolist() == [17.0]


def test_required_work_and_the_steps_own_task_are_never_left_out(demo_plan: pk.Plan) -> None:
    needs = {task.task: task.need for task in demo_plan.scenario.records.tasks}
    seen = set()
    for step in ("SH4", "LM2", "CL2"):
        for candidate in dropped_tasks(demo_plan.timed, find_target(demo_plan.timed, step, 0.5)):
            task = str(candidate.change.arguments()["drop"]).removeprefix("task:")
            assert needs[task] != "required"
            assert task != demo_plan.timed.steps[demo_plan.timed.position(step)].task
            seen.add(task)
    assert len(seen) > 2


def test_a_window_is_caught_by_more_than_the_rounding_of_its_edge(small_plan: pk.Plan) -> None:
    # Searches from another PET 0 find one window edge some billionths of a minute apart.
    target = find_target(small_plan.what_if(40).timed, "B3", None)
    assert not target.is_met(small_plan.what_if(39).timed.starts - 1.0)
    assert not target.is_met(small_plan.what_if(30).timed.starts - 10.0)


@pytest.mark.parametrize(("step", "minutes", "match"), [
    ("B3", True, "above 0"),  # no number, though Python counts it as one
    ("B9", 5, "no such step"), ("B3", 0, "above 0"), ("B3", -1, "above 0"), ("B3", float("nan"), "above 0"),
    ("B3", "x", "above 0"), (5, 1, "no such step"), ("C3", None, "no window is on what holds this step"),
])
def test_a_question_without_sense_is_refused(small_plan: pk.Plan, step: str, minutes: float | None,
                                             match: str) -> None:
    with pytest.raises(pk.ScenarioError, match=match):
        small_plan.gain(step, minutes)


def test_the_plan_itself_does_not_change(small: pk.Scenario, small_plan: pk.Plan) -> None:
    digest, starts = small_plan.scenario.digest, small_plan.timed.starts.copy()
    small_plan.gain("C3", 1)
    assert small_plan.scenario.digest == digest
    assert (small_plan.timed.starts == starts).all()


def test_minutes_in_thirds_are_met_too(small: pk.Scenario) -> None:
    # C2 of 7 1/3 min: what is searched and what the changed table says must be one and the same minutes.
    plan = pk.time_plan(edited(small, "steps", "C2", minutes_likely=22 / 3))
    rows = _helping(plan.gain("C3", 1 / 3), "shorten")
    assert rows["by_min"].tolist() == [0.4, 0.4, 0.4]
