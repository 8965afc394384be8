"""Orders by what the planner asks for: an early end, likely required work, or wide margins; and carrying."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from pathlib import Path

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.explore.propose.goals import GOALS, aimed_at, chances_of, least_margins, told_gain
from planning_kit.explore.propose.proposals import Proposals
from planning_kit.judge.all_checks import new_stops
from planning_kit.judge.review import carry_h, is_worse, worth
from planning_kit.plan.timed import TimedPlan
from tests.edits import with_row
from tests.explore.propose.made import (
    item_row,
    outing_with,
    place_row,
    route_row,
    step_row,
    task_row,
)

DATA = Path(__file__).parents[2] / "data"
ENDS = [step_row(name, task, "both", "HAT", 4) for name, task in (("A1", "EGR"), ("Z1", "CLN"))]


def asked(scenario: pk.Scenario, goal: str | Sequence[str], effort: float = 0.5) -> Proposals[pk.Plan]:
    pet_zero = scenario.settings.pet_zero_utc
    return pk.time_plan(scenario).propose(effort, 300, (pet_zero, pet_zero), None, goal=goal)


def timed(found: Proposals[pk.Plan]) -> TimedPlan:
    """The best that a search knows: its best proposal, else the current plan."""
    best = found.best.plan if found.best else found.current
    assert best is not None
    return best.timed


# A night exchange and work of unknown length, both of EV1 at the hatch. Steps: A1 both 4 min, P likely 20 min
# (15 to 90), N 10 min at night, Z1 both 4 min; 8 min from the hatch until the end. The night begins at n0,
# about 36 min, and ends at n1. P first fills the wait for the night, so that the outing ends at n0 + 22; but
# a P longer than n1 - 14 loses the night, and the next one is more than 110 min off: too late for the hard
# limit of 145 min. N first always has its night; the outing then ends at n0 + 10 + P + 12.

def night_work(first: str) -> pk.Scenario:
    own = {"P": step_row("P", "PRP", "EV1", "HAT", 20) | {"minutes_low": 15, "minutes_high": 90},
           "N": step_row("N", "EXC", "EV1", "HAT", 10, light="night")}
    steps = [own.pop(first), *own.values()]
    scenario = outing_with(
        [place_row("HAT", anchor="yes"), place_row("RIM")], [route_row("HAT", "RIM", 6)], [],
        [ENDS[0], *steps, ENDS[1]], [task_row("PRP", False), task_row("EXC", False)])
    return scenario.with_settings({
        "limits.planned_min": 140, "limits.hard_min": 145, "odds.distribution": "triangular",
        "odds.common_sd": 0, "odds.crew_sd": 0, "odds.travel_sd": 0})


def test_the_earliest_end_loses_the_night_and_the_odds_choose_the_other_order() -> None:
    early, sure = pk.time_plan(night_work("P")).timed, pk.time_plan(night_work("N")).timed
    nights = early.almanac.light.night
    begin, end = nights[0][0] + 1, nights[0][1] - 1  # a guard of a minute at each end
    assert nights[1][0] > 145 - 12 - 10
    assert (early.end_min, sure.end_min) == (pytest.approx(begin + 22), pytest.approx(begin + 42))
    # Triangular, a = 15, c = 20, b = 90: P is longer than x with the chance (b - x)^2 / ((b - a) (b - c)).
    lost = (90 - (end - 14)) ** 2 / (75 * 70)
    assert lost > 0.1
    error = 4 * np.sqrt(lost * (1 - lost) / 2_000)
    assert chances_of(early)["p_required"] == pytest.approx(1 - lost, abs=error)
    late = max(90 - (145 - 22 - begin), 0) ** 2 / (75 * 70)
    assert chances_of(sure)["p_required"] == pytest.approx(1 - late, abs=0.005)

    by_end, by_odds = asked(night_work("N"), "end"), asked(night_work("P"), "odds")
    assert timed(by_end).end_min == early.end_min
    assert timed(by_odds).end_min == sure.end_min
    likelier = 100 * (chances_of(sure)["p_required"] - chances_of(early)["p_required"])
    assert f"20.0 min later, {likelier:.1f} % likelier with the required work: best found by odds" in (
        by_odds.verdict)
    for goal, first in (("end", "P"), ("odds", "N")):
        assert asked(night_work(first), goal).best is None
    # An order that is no better than the plan as it stands is not shown beside an earlier one.
    assert len(by_end) == 1


def test_all_three_are_told_of_every_order() -> None:
    found = asked(night_work("N"), "end")
    assert found.best is not None
    table = found.table.set_index("plan")
    assert table["p_required"].tolist() == [
        round(chances_of(plan.timed)["p_required"], 3) for plan in (found.current, found.best.plan) if plan]
    assert table["margin_min"].between(0, 60).all()
    assert "HAT" not in table.loc["current", "margin_at"]
    assert f"{found.best.chances['p_required']:.3f} with the required work; " in repr(found)
    assert "min left" in repr(found.best)


def test_a_goal_that_there_is_not_is_a_fault() -> None:
    for goal in ("safe", "", None, 1, [], {"end"}, ["safe"], ("end", ["odds"])):
        with pytest.raises(pk.ScenarioError) as told:
            asked(night_work("N"), goal)  # type: ignore[arg-type]
        assert told.value.problems["column"].tolist() == ["goal"]
        assert "end, odds or margin" in told.value.problems["problem"].iloc[0]
    with pytest.raises(pk.ScenarioError) as told:
        pk.find_plan(night_work("N"), goal=["safe", "odds", "soon"], seeds=0)
    assert told.value.problems["value"].tolist() == ["safe", "soon", "0"]


def test_several_goals_are_searched_for_and_the_best_by_each_is_told() -> None:
    # The outing of N first is best by odds, that of P first by its end (see above).
    for order, goals, best in (("N", ("end", "odds"), ["P"]), ("P", ["end", "odds"], ["N"]),
                               ("P", ("odds", "end"), ["N"])):
        found = asked(night_work(order), goals)
        assert [each.scenario.steps["step"][1] for each in found] == best
        for goal, said in zip(goals, found.verdict.split("; by "), strict=True):
            alone = asked(night_work(order), goal)
            assert said.removeprefix("by ") == f"{goal}: {alone.verdict}"
            assert [each.best_by for each in alone] == [goal] * len(alone)
        assert found.is_repeatable


def test_what_is_best_by_several_goals_is_told_once() -> None:
    # Both goals want P away from N: the night is soon, and P behind N ends 20 min before the other way round.
    found = asked(slow := night_work("P").edit_row("steps", "P", minutes_low=70, minutes_likely=75), GOALS)
    assert [(each.best_by, each.name) for each in found] == [
        ("end and odds and margin", "same PET 0, by end and odds and margin")]
    assert found.best is not None
    assert found.best.scenario == asked(slow, "end")[0].scenario
    again = asked(slow, ("end", "end"))
    assert [each.best_by for each in again] == ["end"]


def test_a_plan_is_found_by_goal() -> None:
    for goals in ("odds", ("end", "odds")):
        found = pk.find_plan(night_work("P"), 0.5, 300, progress=None, goal=goals)
        assert found.best is not None
        assert (found.best.best_by, found.best.scenario.steps["step"][1]) == ("odds", "N")


@pytest.mark.parametrize("name", ["tern-1", "curlew-deck", "orders-heron", "orders-plover"])
def test_each_goal_is_best_reached_by_the_order_that_is_sought_for_it(name: str) -> None:
    scenario = pk.load_scenario(DATA / name)
    current = pk.time_plan(scenario).timed
    best = {goal: timed(asked(scenario, goal, effort=0.25)) for goal in GOALS}
    for goal, plan in best.items():
        assert not new_stops(current, plan)
        for other in [*best.values(), current]:
            own = [*aimed_at(goal, plan), plan.end_min]
            assert not is_worse(own, [*aimed_at(goal, other), other.end_min]), goal


def test_what_is_the_same_in_both_hides_no_margin_behind_it() -> None:
    plan = pk.time_plan(pk.load_scenario(DATA / "tern-1")).timed
    least = [each.minutes for each in least_margins(plan)]
    assert least == sorted(least)
    aims = aimed_at("margin", plan)
    assert len(aims) == 12
    assert list(aims) == [-float(np.floor(minutes)) for minutes in least[:12]]
    assert is_worse(aims, [*aims[:5], aims[5] - 1, *aims[6:]])


def test_an_accepted_finding_is_no_margin_that_counts(tmp_path: Path) -> None:
    scenario = pk.load_scenario(DATA / "tern-1").save(tmp_path / "own")
    plan = pk.time_plan(scenario)
    worst = least_margins(plan.timed)[0]
    assert worst.is_missed
    finding = plan.findings.query("crew == @worst.crew and rule == 'helped-too-far'").nsmallest(1, "margin")
    assert finding["margin"].iloc[0] == pytest.approx(worst.margin)
    plan.accept(finding.iloc[0], "A. Person", "The reserve was waived for this outing")
    assert worst not in least_margins(plan.timed)
    assert len(least_margins(plan.timed)) > 3


# Carrying. A bag of two slots and a night exchange N of 10 min, both at the rim, 2 min from the hatch. EV1
# takes the bag (T, 6 min) in the wait for the night and has it in hand through N: from 6 on until it is left
# at the hatch (L, 1 min, after N) at n0 + 13. T behind N ends 6 min later, with the bag in hand from n0 + 10
# until n0 + 19. So the early end costs n0 - 2 min more of two slots; with n0 = 35.6 that is 1.12 slot hours,
# worth 6 min at 5.36 min an hour.

def bag_outing(*order: str, weight: float | None = None) -> pk.Scenario:
    own = {"T": step_row("T", "BAG", "EV1", "RIM", 6, takes="bag"),
           "N": step_row("N", "EXC", "EV1", "RIM", 10, light="night"),
           "L": step_row("L", "BAG", "EV1", "HAT", 1, leaves="bag", after="N")}
    scenario = outing_with(
        [place_row("HAT", anchor="yes"), place_row("RIM")], [route_row("HAT", "RIM", 12, 2)],
        [item_row("bag", "bag", "RIM", slots=2, holds=1, end_at="inside"), item_row("part", "unit", "bag")],
        [ENDS[0], *(own[name] for name in order), ENDS[1]], [task_row("BAG", False), task_row("EXC", False)])
    return scenario.with_settings({"limits.carry_weight": weight, "limits.carry_weight_source": "test"})


def begin_of_night(plan: TimedPlan) -> float:
    return float(plan.starts[plan.position("N")])


def test_carrying_is_counted_in_slot_hours() -> None:
    early, late = (pk.time_plan(bag_outing(*order)).timed for order in ("TNL", "NTL"))
    begin = begin_of_night(early)
    assert late.end_min == pytest.approx(early.end_min + 6)
    assert carry_h(early) == pytest.approx(2 * (begin + 13 - 6) / 60)
    assert carry_h(late) == pytest.approx(2 * 9 / 60)
    # The part is carried with its bag; an item whose slots are not given takes one.
    unknown = early.scenario.edit_row("hardware", "bag", slots="")
    assert carry_h(pk.time_plan(unknown).timed) == pytest.approx(carry_h(early) / 2)


def test_a_weight_of_carrying_makes_the_later_end_with_empty_hands_the_better_one() -> None:
    early = pk.time_plan(bag_outing("T", "N", "L")).timed
    turns_at = 6 / (2 * (begin_of_night(early) - 2) / 60)
    assert 5 < turns_at < 6
    for weight, best in ((None, "TNL"), (5, "TNL"), (6, "NTL")):
        for order in ("TNL", "NTL"):
            found = asked(bag_outing(*order, weight=weight), "end")
            steps = timed(found).scenario.steps["step"].tolist()
            assert steps == ["A1", *best, "Z1"], (weight, order)
            # The proof is of the end alone.
            assert ("proven" in found.verdict) == (weight is None)


def test_what_is_carried_for_longer_is_told() -> None:
    found = asked(bag_outing("N", "T", "L"), "end")
    begin = begin_of_night(timed(found))
    assert found.best is not None
    words = [words for words in found.best.moves["words"] if "carried" in words]
    assert words == [f"bag is carried for {ceil(begin + 7)} min, {ceil(begin - 2)} more than now"]
    assert found.table["carry_h"].tolist() == [0.3, round(2 * (begin + 7) / 60, 2)]


def test_what_is_won_where_the_end_is_not_is_told() -> None:
    early, late = (pk.time_plan(bag_outing(*order)).timed for order in ("TNL", "NTL"))
    assert told_gain(late, early) == "6.0 min earlier"
    # The bag in hand from 6 until n0 + 13, and for 9 min (above), in two slots.
    less = 2 * (begin_of_night(early) + 13 - 6 - 9)
    assert told_gain(early, late) == f"6.0 min later, {less:.1f} min less of carrying a slot"
    # To the rim and back by EV2 in the wait for the night: 4 min that the end does not see.
    def walked(place: str) -> TimedPlan:
        scenario = bag_outing("T", "N", "L")
        return pk.time_plan(with_row(scenario, "steps", at=1, **step_row(
            "W", "EXC", "EV2", place, 5))).timed
    assert told_gain(walked("RIM"), walked("HAT")) == "the same end, 4.0 min less walking"
    assert told_gain(walked("HAT"), walked("HAT")) == "the same end"


def test_of_equal_ends_less_carrying_is_better_than_less_walking() -> None:
    early, late = (pk.time_plan(bag_outing(*order)).timed for order in ("TNL", "NTL"))
    tasks = early.scenario.records.tasks
    assert worth(early, tasks) < worth(late, tasks)
    heavy = pk.time_plan(bag_outing("T", "N", "L", weight=6)).timed
    assert worth(heavy, tasks)[1] == pytest.approx(early.end_min + 6 * carry_h(early))
    assert worth(heavy, tasks)[2:] == worth(early, tasks)[2:]
