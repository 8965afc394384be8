"""Orders repaired by helper steps: left out, done elsewhere, added; each worked out by hand."""

from __future__ import annotations

import random
from dataclasses import replace
from math import inf

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import as_written
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_search import Better, OrderSearch, judge_for
from planning_kit.explore.propose.proposals import Proposals
from planning_kit.explore.propose.repairs import looked_with_repairs
from planning_kit.explore.propose.solving import Budget
from tests.explore.propose.loose import stops
from tests.explore.propose.made import (
    item_row,
    made_outing,
    outing_with,
    place_row,
    route_row,
    step_row,
    task_row,
)
from tests.explore.propose.outings import frame_of

Row = dict[str, object]
HOOK = {"limits.helper_hook_min": 2.0, "limits.helper_hook_min_source": "test"}
ITEM = {"limits.helper_item_min": 3.0, "limits.helper_item_min_source": "test",
        "limits.helper_foothold_min": 4.0, "limits.helper_foothold_min_source": "test",
        "limits.emergency_oxygen_min": 60.0}


def rail(steps: list[Row], hardware: list[Row], tether_m: float = 100, **limits: object) -> pk.Scenario:
    """Three places in a line, each five minutes and 10 m from the next: the hatch, the rim, the deck."""
    places = [place_row(name, anchor="yes", socket="yes") for name in ("HAT", "RIM", "DEK")]
    ends = [step_row(name, task, "both", "HAT", 4, hooks="EV1 EV2" if name == "Z1" else "")
            for name, task in (("A1", "EGR"), ("Z1", "CLN"))]
    tasks = dict.fromkeys(str(step["task"]) for step in steps)
    routes = [route_row("HAT", "RIM", 10, 5), route_row("RIM", "DEK", 10, 5)]
    scenario = outing_with(places, routes, hardware, [ends[0], *steps, ends[1]],
                           [task_row(task, False) for task in tasks])
    for crew in ("EV1", "EV2"):
        scenario = scenario.edit_row("crew", crew, tether_m=tether_m, carry_slots=4)
    return scenario.with_settings(limits) if limits else scenario


def found_for(scenario: pk.Scenario, goal: str = "end") -> Proposals:
    """The proposals, each of which holds, loads, and is timed as it says."""
    current = pk.time_plan(scenario)
    found = current.propose(effort=0.5, seconds=120, goal=goal)
    for each in found:
        again = pk.time_plan(each.scenario)
        assert again.end_min == each.end_min
        assert not stops(again) - stops(current)
    return found


def helper_words(found: Proposals) -> list[str]:
    return [] if found.best is None else found.best.moves.query("kind == 'helper'")["words"].tolist()


def waits_for_the_desk(**limits: object) -> pk.Scenario:
    """W1 waits an hour and hooks at the rim; D1 at the deck needs that hook, as a tether has 14 m."""
    return rail([
        step_row("C1", "DSK", "EV2", "HAT", 60),
        step_row("W1", "W", "EV1", "RIM", 10, hooks="EV1", after="C1"),
        step_row("D1", "D", "EV1", "DEK", 20)], [], 14, **limits)


def test_a_hook_move_more_lets_an_order_hold_that_ends_half_an_hour_earlier() -> None:
    # As written W1 begins at 64, D1 ends at 64 + 10 + 5 + 20 = 99, Z1 at 99 + 10 + 4 = 113, the end 8 min
    # later. With a hook at the rim at 4 + 5 = 9 D1 ends at 9 + 2 + 5 + 20 = 36, long before 64; then W1 to
    # 74, 5 min home, Z1 to 83.
    scenario = waits_for_the_desk(**HOOK)
    found = found_for(scenario)
    assert found.current.end_min == pytest.approx(113 + 8)
    assert found.best.end_min == pytest.approx(83 + 8)
    assert helper_words(found) == ["HLP1 added behind A1: EV1, 2 min, hooks EV1 at RIM"]
    added = next(step for step in found.best.scenario.records.steps if step.step == "HLP1")
    assert (added.helper, added.task, added.hooks, added.exertion) == (True, "D", ("EV1",), "heavy")
    assert added.safe_now_min == added.safe_orderly_min == 2
    assert not found.best.is_proven
    assert "no bound" in found.best.verdict
    assert found_for(scenario).best.scenario == found.best.scenario


def test_by_odds_a_hook_move_more_may_cost_minutes() -> None:
    # W1 hooks at the rim, only after P: so as written P 4 to 19, W1 24 to 26, at the deck at 31, where the
    # night is waited for; N, 10 min home, Z1 and 8 min: it ends at n0 + 32. A P of up to 90 min loses the
    # night, and the next one is too late. With a hook at the rim before N (9 to 11) the night is sure; then
    # 10 min back, P, 5 to the rim, W1, 5 home, Z1 and 8: n0 + 10 + 10 + 15 + 5 + 2 + 5 + 12 = n0 + 59.
    scenario = rail([
        step_row("P", "P", "EV1", "HAT", 15) | {"minutes_low": 10, "minutes_high": 90},
        step_row("W1", "W", "EV1", "RIM", 2, hooks="EV1", after="P"),
        step_row("N", "N", "EV1", "DEK", 10, light="night")], [], 14, **HOOK, **{
            "limits.planned_min": 140, "limits.hard_min": 145, "odds.distribution": "triangular",
            "odds.common_sd": 0, "odds.crew_sd": 0, "odds.travel_sd": 0})
    assert len(found_for(scenario)) == 0
    found = found_for(scenario, "odds")
    assert found.best.best_by == "odds"
    assert helper_words(found) == ["HLP1 added behind A1: EV1, 2 min, hooks EV1 at RIM"]
    assert found.best.end_min - found.current.end_min == pytest.approx(27)
    assert found.best.chances["p_required"] > found.table["p_required"][0] + 0.1


def searched(blocked: bool, effort: float = 0.05) -> list[Better]:
    """What repairs find where all that was searched is D1 before W1, which lacks a hook, or nothing."""
    scenario = waits_for_the_desk(**HOOK)
    judge, pet_zero = judge_for(scenario, None, 0.0, "end"), scenario.settings.pet_zero_utc
    before = as_written(scenario.records, pet_zero)

    class Search(OrderSearch):
        def look(self, freedom: Freedom, effort: float) -> None:
            if blocked:
                assert self.blocks(replace(before, lanes=before.lanes | {"EV1": ("A1", "D1", "W1", "Z1")}))

    search = Search(judge=judge, before=before, budget=Budget(effort, inf))
    freedom = Freedom(earliest=pet_zero, latest=pet_zero, limit_min=judge.limit_min,
                      pet_zero_every_min=5.0)
    found = [better for better, _ in looked_with_repairs(search, "same", freedom, effort)]
    assert {each.choice.lanes["EV1"] for each in search.rejected.values()} == (
        {("A1", "D1", "W1", "Z1")} if blocked else set())
    return found


def test_an_order_that_was_not_shown_is_mended() -> None:
    assert searched(blocked=False) == []
    mended, = searched(blocked=True)
    assert [move.words for move in mended.moves] == [
        "W1 now behind D1 (was behind A1)", "HLP1 added behind A1: EV1, 2 min, hooks EV1 at RIM"]
    assert mended.plan.end_min == pytest.approx(91)


def test_without_standard_minutes_nothing_is_added() -> None:
    for limits in ({}, ITEM):
        found = found_for(waits_for_the_desk(**limits))
        assert not any(helper_words(found))
        assert len(found) == 0


def test_a_hook_move_that_no_order_needs_is_left_out() -> None:
    # 20 m to the deck are within 25: its 6 minutes are won.
    steps = [step_row("H1", "D", "EV1", "RIM", 6, hooks="EV1", helper="yes"),
             step_row("D1", "D", "EV1", "DEK", 20)]
    found = found_for(rail(steps, [], 25))
    assert found.current.end_min - found.best.end_min == pytest.approx(6)
    assert helper_words(found) == ["H1 left out (was behind A1: EV1, 6 min, hooks EV1 at RIM)"]
    assert len(found_for(rail([steps[0] | {"helper": ""}, steps[1]], [], 25))) == 0


def test_the_last_step_of_a_task_may_be_a_helper_step_and_goes() -> None:
    steps = [step_row("H1", "H", "EV1", "RIM", 6, hooks="EV1", helper="yes"),
             step_row("D1", "D", "EV1", "DEK", 20)]
    best = found_for(rail(steps, [], 25)).best
    assert "H1" not in set(best.scenario.steps["step"])
    assert set(best.scenario.tasks["task"]) >= {"H", "D"}


def test_a_helper_step_of_work_or_of_a_gap_stays() -> None:
    tool = [item_row("tool", "tool", "EV1")]
    deck = step_row("D1", "D", "EV1", "DEK", 20)
    for cells in ({"hooks": "EV1", "uses": "tool"}, {"hooks": "EV1", "checks": "gloves"}, {"hooks": ""}):
        work = step_row("H1", "D", "EV1", "RIM", 6, helper="yes", **cells)
        assert len(found_for(rail([work, deck], tool))) == 0
    waited_for = rail([step_row("H1", "D", "EV1", "RIM", 6, helper="yes", hooks="EV1"), deck], tool)
    assert [words[:11] for words in helper_words(found_for(waited_for))] == ["H1 left out"]
    gap = {"first_step": "H1", "then_step": "D1", "min_gap": 0, "reason": "to cool down"}
    assert len(found_for(waited_for.with_table("gaps", frame_of(waited_for, "gaps", [gap])))) == 0


def test_a_hook_move_is_done_where_it_serves() -> None:
    # H1 needs no standard minutes: it has its own, and its hook serves at the rim, 30 minutes as above and 2
    # that it took at the hatch.
    rows = waits_for_the_desk().steps.query("step in ('C1', 'W1', 'D1')").to_dict("records")
    found = found_for(rail([*rows, step_row("H1", "X", "EV1", "HAT", 2, hooks="EV1", helper="yes")], [], 14))
    assert helper_words(found) == ["H1 now behind A1: EV1, 2 min, hooks EV1 at RIM "
                                   "(was behind D1: EV1, 2 min, hooks EV1 at HAT)"]
    assert found.best.changes[-1].short == "H1 now behind A1: EV1, 2 min, hooks EV1 at RIM"
    assert found.current.end_min - found.best.end_min == pytest.approx(32)


def test_helper_steps_are_free_in_their_task() -> None:
    # The row of H1 stands behind D1 of its own task and lane; only before it does its hook let D1 be reached.
    steps = [step_row("D1", "D", "EV1", "DEK", 20),
             step_row("H1", "D", "EV1", "RIM", 2, hooks="EV1", helper="yes")]
    scenario = rail(steps, [], 14)
    assert ("tethers", "EV1", "D1") in stops(pk.time_plan(scenario))
    best = found_for(scenario).best
    assert best.scenario.steps["step"].tolist() == ["A1", "H1", "D1", "Z1"]
    assert not stops(best.plan)


@pytest.mark.parametrize("seed", range(8))
def test_no_repair_brings_a_new_stop(seed: int) -> None:
    draw = random.Random(seed)
    scenario = made_outing(seed, 6).with_settings({**HOOK, **ITEM})
    steps = scenario.steps
    steps["helper"] = [draw.choice(["yes", ""]) for _ in steps["step"]]
    may_go = {row["step"] for row in steps.to_dict("records") if row["helper"] and not row["uses"]
              and not row["foothold"] and (row["hooks"] or row["takes"] or row["leaves"])}
    for each in found_for(scenario.with_table("steps", steps)):
        assert set(steps["step"]) - set(each.scenario.steps["step"]) <= may_go
        assert "end_at" not in " ".join(each.moves["words"])


def test_a_foothold_is_taken_back_to_where_it_is_needed_later() -> None:
    # As written R1 64 to 74, F1 to 76, F2 81 to 83, D1 to 103, home 113, Z1 to 117. With D1 first (to 38) the
    # plate is taken at the deck, brought to the rim and set in its socket, 4 min each, long before 64; R1 to
    # 74, home 79, Z1 to 83: 34 minutes.
    steps = [step_row("C1", "DSK", "EV2", "HAT", 60),
             step_row("R1", "R", "EV1", "RIM", 10, foothold="plate", after="C1"),
             step_row("F1", "D", "EV1", "RIM", 2, takes="plate"),
             step_row("F2", "D", "EV1", "DEK", 2, leaves="plate"),
             step_row("D1", "D", "EV1", "DEK", 20, foothold="plate")]
    found = found_for(rail(steps, [item_row("plate", "foothold", "RIM")], **ITEM))
    assert found.current.end_min - found.best.end_min == pytest.approx(34)
    assert [words.rsplit(", ", 2)[1:] for words in helper_words(found)] == [
        ["4 min", "takes plate at DEK"], ["4 min", "leaves plate at RIM"]]


def test_a_hand_too_few_is_freed_and_filled_again() -> None:
    # As written U1 64 to 74, P1 at the hatch 79 to 81, K1 86 to 91, K2 to 111, home 116, Z1 to 120. With the
    # tool left at the rim and taken again, 3 min each, K1 and K2 come before U1; P1 to 81, Z1 to 85.
    steps = [step_row("C1", "DSK", "EV2", "HAT", 60),
             step_row("U1", "U", "EV1", "RIM", 10, uses="tool", after="C1"),
             step_row("P1", "U", "EV1", "HAT", 2, leaves="tool"),
             step_row("K1", "K", "EV1", "RIM", 5, takes="part"),
             step_row("K2", "K", "EV1", "RIM", 20, leaves="part")]
    hardware = [item_row("tool", "tool", "EV1", end_at="inside"), item_row("part", "unit", "RIM")]
    scenario = rail(steps, hardware, **ITEM).edit_row("crew", "EV1", carry_slots=1)
    found = found_for(scenario)
    assert found.current.end_min - found.best.end_min == pytest.approx(35)
    assert [words.rsplit(", ", 1)[1] for words in helper_words(found)] == [
        "leaves tool at RIM", "takes tool at RIM"]
